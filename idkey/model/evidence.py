"""What one answer says about every kind: the likelihoods. The only module that knows them.

For taxon t, trait j with observer error e and K states, and the answer x:

* nominal: ``P(x|t) = (1 - e) w(x) + e / K`` with w the shares of the states that the row allows;
* ordinal: the same, but an erring observer names a state at distance d with weight `ORDINAL_DECAY` ** d;
* measure: the row's range widened by the measuring error s,
  ``[F((x - low) / s) - F((x - high) / s)] / (high - low)``, F the normal distribution function, relative
  to a flat density over the whole column, again mixed with the observer error;
* ceiling: ``1 - F((x - c) / (edge c))``: longer than the record is against, shorter says nothing;
* blank: the mean of the rows that are known; not applicable: an error of observation;
* "none of these": the marginal of the column with one more, flat, row (Laplace's rule of succession).

Whether the fish is adult is not observed but matters: for a length x and a record c it is adult with
probability ``F((x - 0.5 c) / (0.1 c))``. Columns that differ in young fish are mixed over both cases.
Half the record is where males of Hypancistrus debilittera (70 of 120 mm) and H. zebra (50-60 of 64-80 mm)
are about to mature in the trade's own reports; the width is judgement.

Everything is computed with the taxa sorted by id and the traits sorted by id, so that the order of the
table changes no bit of a result.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from idkey.model.answers import Coded, Distinct
from idkey.table.schema import Trait
from idkey.table.table import Column, TraitTable

__all__ = ["ADULT_FROM", "NONE", "STAGE_ERROR", "TableModel", "TraitModel"]

NONE = "none of these"

ORDINAL_DECAY = 0.3
"""How much rarer each further step of misreading is, along the states of an ordinal trait (judgement)."""
ADULT_FROM = 0.5
ADULT_WIDTH = 0.1
STAGE_ERROR = 0.03
"""Share of statements "it is adult" or "it is young" that are wrong (judgement)."""

_POINTS = 9
_BLOCK = 1024
_TINY = 1e-9


def _misread(trait: Trait) -> np.ndarray:
    """P(answer | true state, the observer errs), shape (n_states answer, n_states true)."""
    k = len(trait.states)
    if trait.kind == "nominal":
        return np.full((k, k), 1.0 / k)
    distance = np.abs(np.subtract.outer(np.arange(k), np.arange(k)))
    weight = ORDINAL_DECAY**distance
    return weight / weight.sum(axis=0)


def _complete(p: np.ndarray, column: Column, na: float, flat: float) -> np.ndarray:
    """Fill blank and not-applicable columns and append "none of these".

    Parameters
    ----------
    p : ndarray, shape (n_answers, n_taxa)
        Right where the cell is known.
    na : float
        Likelihood where the trait does not apply.
    flat : float
        Likelihood under a flat row.

    Returns
    -------
    ndarray, shape (n_answers, n_taxa + 1)
    """
    known = column.known
    full = np.empty((p.shape[0], p.shape[1] + 1))
    n = int(known.sum())
    if n == 0:
        # A column in which nothing is known says nothing about anyone.
        full[:] = 1.0
        return full
    total = p[:, known].sum(axis=1)
    full[:, :-1] = np.where(known, p, (total / n)[:, None])
    full[:, :-1][:, ~column.applies] = na
    full[:, -1] = (total + flat) / (n + 1)
    return full


@dataclass(frozen=True, slots=True)
class TraitModel:
    """The likelihoods of one trait.

    Attributes
    ----------
    trait : Trait
    adult, young : Column
        In canonical taxon order; the same object where nothing differs.
    states_adult, states_young : ndarray, shape (n_states, n_taxa + 1)
        P(state | taxon); no rows for numbers. For a trait that needs an adult, `states_young` is the
        same for all taxa.
    """

    trait: Trait
    adult: Column
    young: Column
    states_adult: np.ndarray
    states_young: np.ndarray

    @classmethod
    def of(cls, trait: Trait, adult: Column, young: Column) -> TraitModel:
        """Compile a column."""
        if not trait.has_states:
            none = np.zeros((0, len(adult.known) + 1))
            return cls(trait, adult, young, none, none)
        states_adult = _state_likelihoods(trait, adult)
        states_young = states_adult if young is adult else _state_likelihoods(trait, young)
        if trait.needs_adult:
            states_young = np.broadcast_to(states_adult[:, -1:], states_adult.shape)
        return cls(trait, adult, young, states_adult, states_young)

    @property
    def depends_on_stage(self) -> bool:
        """Whether a young fish is judged differently."""
        return self.young is not self.adult or self.trait.needs_adult

    def likelihoods(self, answers: Distinct) -> tuple[np.ndarray, np.ndarray]:
        """P(answer | taxon) for adults and for young, both of shape (n_distinct, n_taxa + 1)."""
        if self.trait.has_states:
            adult = answers.allowed @ self.states_adult
            return adult, adult if not self.depends_on_stage else answers.allowed @ self.states_young
        adult = self._measure(self.adult, answers)
        if self.trait.needs_adult:
            return adult, np.broadcast_to(adult[:, -1:], adult.shape)
        return adult, adult if self.young is self.adult else self._measure(self.young, answers)

    def _measure(self, column: Column, answers: Distinct) -> np.ndarray:
        points = _spread_points(answers)
        density = sum(self.density(column, points[:, q]) for q in range(points.shape[1])) / points.shape[1]
        e = self.trait.error
        return _complete((1 - e) * density + e, column, na=e, flat=1.0)

    def density(self, column: Column, x: np.ndarray) -> np.ndarray:
        """Density of a measurement relative to a flat one over the column, shape (len(x), n_taxa)."""
        trait = self.trait
        step = 0.5 if trait.unit == "count" else 0.0
        low, high = np.nan_to_num(column.low), np.nan_to_num(column.high)
        span = scale_of(column) + 2 * step
        sigma = trait.spread * np.abs(x) if trait.spread_is_relative else np.full(len(x), trait.spread)
        sigma = np.maximum(sigma, 0.01 * span)[:, None]
        middle = (low + high) / 2
        half = np.maximum((high - low) / 2 + step, 0.05 * sigma)
        from_middle = x[:, None] - middle
        inside = ndtr((from_middle + half) / sigma) - ndtr((from_middle - half) / sigma)
        return inside / (2 * half) * span

    def record(self, answers: Distinct) -> tuple[np.ndarray, np.ndarray]:
        """Ceiling: P(a fish this long | taxon) and P(adult | length, taxon).

        Returns
        -------
        within, mature : ndarray, shape (n_distinct, n_taxa + 1)
        """
        trait, column = self.trait, self.adult
        ceiling = np.where(column.known, column.high, 1.0)
        edge = trait.spread * ceiling if trait.spread_is_relative else np.full(len(ceiling), trait.spread)
        points = _spread_points(answers)
        within = mature = 0.0
        for q in range(points.shape[1]):
            x = points[:, q][:, None]
            within = within + ndtr((ceiling - x) / edge)
            mature = mature + ndtr((x - ADULT_FROM * ceiling) / (ADULT_WIDTH * ceiling))
        within, mature = within / points.shape[1], mature / points.shape[1]
        e = trait.error
        within = _complete((1 - e) * within + e, column, na=e, flat=1.0)
        mature = _complete(mature, column, na=0.5, flat=0.5)
        return within, np.clip(mature, 1e-6, 1 - 1e-6)


def scale_of(column: Column) -> float:
    """Width of a column of numbers: largest upper end less smallest lower end; 1 where there is none."""
    if not column.known.any():
        return 1.0
    span = float(np.nanmax(column.high) - np.nanmin(column.low))
    return span if span > _TINY else max(abs(float(np.nanmax(column.high))), 1.0)


def _spread_points(answers: Distinct) -> np.ndarray:
    """Points that stand for each answer: the number, or points across a range; shape (n_distinct, q)."""
    if np.array_equal(answers.low, answers.high):
        return answers.low[:, None]
    at = (np.arange(_POINTS) + 0.5) / _POINTS
    return answers.low[:, None] + at * (answers.high - answers.low)[:, None]


def _state_likelihoods(trait: Trait, column: Column) -> np.ndarray:
    e, k = trait.error, len(trait.states)
    shares = column.shares.T
    p = (1 - e) * shares + e * (_misread(trait) @ shares)
    return _complete(p, column, na=e / k, flat=1.0 / k)


class TableModel:
    """A compiled table: log-likelihoods of many specimens against every taxon at once.

    Parameters
    ----------
    table : TraitTable

    Attributes
    ----------
    table : TraitTable
    models : dict of str to TraitModel
        By trait, traits sorted by id.
    """

    def __init__(self, table: TraitTable):
        self.table = table
        self._order = np.array(sorted(range(len(table)), key=lambda i: table.ids[i]), dtype=np.intp)
        self._back = np.append(np.argsort(self._order), len(table))
        self.models = {}
        for trait_id in sorted(table.trait_ids):
            trait = table.trait(trait_id)
            adult = self._sorted(table.column(trait_id))
            young = (
                self._sorted(table.column(trait_id, young=True))
                if table.differs_when_young(trait_id)
                else adult
            )
            self.models[trait_id] = TraitModel.of(trait, adult, young)

    def _sorted(self, column: Column) -> Column:
        o = self._order
        return Column(column.known[o], column.applies[o], column.shares[o], column.low[o], column.high[o])

    def to_table_order(self, values: np.ndarray) -> np.ndarray:
        """Reorder the last axis (n_taxa + 1) from canonical order to the order of the table."""
        return values[..., self._back]

    def to_canonical_order(self, values: np.ndarray) -> np.ndarray:
        """Reorder the last axis (n_taxa + 1) from the order of the table to canonical order."""
        return values[..., np.append(self._order, len(self._order))]

    def log_likelihoods(self, coded: Coded) -> np.ndarray:
        """Log P(all answers | taxon), taxa in canonical order.

        Returns
        -------
        ndarray, shape (n_specimens, n_taxa + 1)
            The last column is "none of these". Always finite.
        """
        width = len(self._order) + 1
        parts = self._look_up_tables(coded, width)
        out = np.empty((coded.n, width))
        buffer = np.empty((min(_BLOCK, coded.n), width))
        for start in range(0, coded.n, _BLOCK):
            rows = slice(start, min(start + _BLOCK, coded.n))
            parts.score(coded, rows, out[rows], buffer[: rows.stop - rows.start])
        return out

    def stage_weights(self, coded: Coded) -> np.ndarray:
        """P(adult | answers, taxon), shape (n_specimens, n_taxa + 1), taxa in canonical order."""
        parts = self._look_up_tables(coded, len(self._order) + 1)
        adult, young = parts.stages(coded, slice(0, coded.n))
        return np.exp(adult - np.logaddexp(adult, young))

    def contributions(self, coded: Coded) -> tuple[dict[str, np.ndarray], np.ndarray]:
        """Split the log-likelihood of one specimen into one term an answer.

        Where the life stage matters, an answer is taken at the stage that is likelier for the taxon, and
        what this leaves over stands in `rest`, so that the terms add up exactly.

        Returns
        -------
        terms : dict of str to ndarray, shape (n_taxa + 1,)
        rest : ndarray, shape (n_taxa + 1,)
        """
        total = self.log_likelihoods(coded)[0]
        adult_first = self.stage_weights(coded)[0] >= 0.5
        terms = {}
        for trait_id, model in self.models.items():
            if trait_id not in coded.codes or not coded.codes[trait_id][0]:
                continue
            if model.trait.kind == "ceiling":
                terms[trait_id] = np.log(model.record(coded.distinct[trait_id])[0][0])
            else:
                adult, young = model.likelihoods(coded.distinct[trait_id])
                terms[trait_id] = np.log(np.where(adult_first, adult[0], young[0]))
        rest = total - sum(terms.values(), np.zeros_like(total))
        return terms, rest

    def _look_up_tables(self, coded: Coded, width: int) -> _LookUp:
        shared, adult, young, mature, immature = {}, {}, {}, {}, {}
        for trait_id, model in self.models.items():
            if trait_id not in coded.codes:
                continue
            answers = coded.distinct[trait_id]
            if model.trait.kind == "ceiling":
                within, ripe = model.record(answers)
                shared[trait_id] = _with_silence(np.log(within))
                mature[trait_id] = _with_silence(np.log(ripe))
                immature[trait_id] = _with_silence(np.log1p(-ripe))
                continue
            a, y = model.likelihoods(answers)
            if model.depends_on_stage:
                adult[trait_id] = _with_silence(np.log(a))
                young[trait_id] = _with_silence(np.log(y))
            else:
                shared[trait_id] = _with_silence(np.log(a))
        return _LookUp(width, shared, adult, young, mature, immature)


def _with_silence(log_p: np.ndarray) -> np.ndarray:
    """Put a row of zeros on top: not answered is a factor of 1."""
    return np.vstack([np.zeros((1, log_p.shape[1])), log_p])


@dataclass(frozen=True, slots=True)
class _LookUp:
    """Log-likelihoods by trait, row 0 for "not answered", in canonical taxon order."""

    width: int
    shared: dict[str, np.ndarray]
    adult: dict[str, np.ndarray]
    young: dict[str, np.ndarray]
    mature: dict[str, np.ndarray]
    immature: dict[str, np.ndarray]

    def score(self, coded: Coded, rows: slice, out: np.ndarray, buffer: np.ndarray) -> None:
        """Fill `out` with the log-likelihoods of some specimens."""
        out[:] = 0.0
        _gather(self.shared, coded, rows, out, buffer)
        if self.adult or coded.stage[rows].any():
            adult, young = self.stages(coded, rows)
            out += np.logaddexp(adult, young)

    def stages(self, coded: Coded, rows: slice) -> tuple[np.ndarray, np.ndarray]:
        """Log P(stage and what is said of it | taxon), for adult and for young."""
        shape = (rows.stop - rows.start, self.width)
        adult, young, buffer = np.zeros(shape), np.zeros(shape), np.empty(shape)
        _gather(self.mature, coded, rows, adult, buffer)
        _gather(self.immature, coded, rows, young, buffer)
        either = np.logaddexp(adult, young)
        said = np.log(np.array([[1.0, 1.0], [1 - STAGE_ERROR, STAGE_ERROR], [STAGE_ERROR, 1 - STAGE_ERROR]]))
        adult += said[coded.stage[rows], 0][:, None] - either
        young += said[coded.stage[rows], 1][:, None] - either
        _gather(self.adult, coded, rows, adult, buffer)
        _gather(self.young, coded, rows, young, buffer)
        return adult, young


def _gather(
    tables: dict[str, np.ndarray], coded: Coded, rows: slice, out: np.ndarray, buffer: np.ndarray
) -> None:
    for trait_id, table in tables.items():
        np.take(table, coded.codes[trait_id][rows], axis=0, out=buffer, mode="clip")
        out += buffer
