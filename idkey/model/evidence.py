"""What one answer says about every kind: the likelihoods. The only module that knows them.

For taxon t, trait j with observer error e and K states, and the answer x:

* nominal: ``P(x|t) = (1 - e) w(x) + e / K`` with w the shares of the states that the row allows;
* ordinal: the same, but an erring observer names a state at distance d with weight `ORDINAL_DECAY` ** d;
* measure: the row's range widened by the measuring error s,
  ``[F((x - low) / s) - F((x - high) / s)] / (high - low)``, F the normal distribution function, relative
  to a flat density over the whole column, again mixed with the observer error;
* ceiling: ``1 - F((x - c) / (edge c))``: longer than the record is against, shorter says nothing;
* traits of one group repeat one another: k of them answered count as one, each log-likelihood over k;
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

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array
from scipy.special import expit, ndtr

from idkey.model.answers import Coded, Distinct
from idkey.table.schema import Trait
from idkey.table.table import Column, TraitTable

__all__ = [
    "ADULT_FROM",
    "NONE",
    "STAGE_ERROR",
    "Repeated",
    "TableModel",
    "TraitModel",
    "group_weights",
    "number_grid",
    "scale_of",
]

NONE = "none of these"

ORDINAL_DECAY = 0.3
"""How much rarer each further step of misreading is, along the states of an ordinal trait (judgement)."""
ADULT_FROM = 0.5
ADULT_WIDTH = 0.1
STAGE_ERROR = 0.03
"""Share of statements "it is adult" or "it is young" that are wrong (judgement)."""

_POINTS = 9
_BLOCK = 512
"""Specimens at a time: the arrays of a block stay in the processor's cache."""
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
    p : ndarray, shape (n_answers, n_known)
        Likelihood where the cell is known.
    na : float
        Likelihood where the trait does not apply.
    flat : float
        Likelihood under a flat row.

    Returns
    -------
    ndarray, shape (n_answers, n_taxa + 1)
    """
    full = np.empty((p.shape[0], len(column.known) + 1))
    n = p.shape[1]
    if n == 0:
        # A column in which nothing is known says nothing about anyone.
        full[:] = 1.0
        return full
    total = p.sum(axis=1)
    full[:, :-1] = (total / n)[:, None]
    full[:, np.flatnonzero(column.known)] = p
    full[:, np.flatnonzero(~column.applies)] = na
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
        P(state | taxon); no rows for numbers.
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
        if young is adult:
            return cls(trait, adult, young, states_adult, states_adult)
        states_young = _as_young(trait, states_adult, _state_likelihoods(trait, young), young)
        return cls(trait, adult, young, states_adult, states_young)

    @property
    def depends_on_stage(self) -> bool:
        """Whether a young fish is judged differently."""
        return self.young is not self.adult

    def likelihoods(self, answers: Distinct) -> tuple[np.ndarray, np.ndarray]:
        """P(answer | taxon) for adults and for young, both of shape (n_distinct, n_taxa + 1)."""
        if self.trait.has_states:
            adult = answers.allowed @ self.states_adult
            return adult, adult if not self.depends_on_stage else answers.allowed @ self.states_young
        adult = self._measure(self.adult, answers)
        if self.young is self.adult:
            return adult, adult
        return adult, _as_young(self.trait, adult, self._measure(self.young, answers), self.young)

    def _measure(self, column: Column, answers: Distinct) -> np.ndarray:
        points = _spread_points(answers)
        density = sum(self.density(column, points[:, q]) for q in range(points.shape[1])) / points.shape[1]
        e = self.trait.error
        return _complete((1 - e) * density + e, column, na=e, flat=1.0)

    def density(self, column: Column, x: np.ndarray) -> np.ndarray:
        """Density of a measurement relative to a flat one over the column, shape (len(x), n_known)."""
        trait = self.trait
        step = 0.5 if trait.unit == "count" else 0.0
        low, high = column.low[column.known], column.high[column.known]
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
        ceiling = column.high[column.known]
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
        # Where no record is known, a length says nothing about the age.
        mature = (
            _complete(mature, column, na=0.5, flat=0.5) if column.known.any() else np.full_like(within, 0.5)
        )
        return within, np.clip(mature, 1e-6, 1 - 1e-6)


def number_grid(model: TraitModel, points: int = 16) -> np.ndarray:
    """Numbers that stand for the answers a measure or a ceiling may get, smallest first."""
    column = model.adult
    if not column.known.any():
        return np.ones(1)
    low, high = float(np.nanmin(column.low)), float(np.nanmax(column.high))
    if model.trait.kind == "ceiling":
        return np.geomspace(0.3 * float(np.nanmin(column.high)), 1.1 * high, points)
    margin = 0.05 * scale_of(column)
    return np.linspace(low - margin, high + margin, points)


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


def _as_young(trait: Trait, adult: np.ndarray, young: np.ndarray, column: Column) -> np.ndarray:
    """Return what holds for a young fish: nothing where an adult is needed and the table lacks its young."""
    if not trait.needs_adult:
        return young
    said = np.append(column.known, False)
    return np.where(said, young, adult[:, -1:])


def _state_likelihoods(trait: Trait, column: Column) -> np.ndarray:
    e, k = trait.error, len(trait.states)
    shares = column.shares[column.known].T
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
    width : int
        Number of taxa and 1, for "none of these".
    """

    def __init__(self, table: TraitTable):
        self.table = table
        self._order = np.array(sorted(range(len(table)), key=lambda i: table.ids[i]), dtype=np.intp)
        self._back = np.append(np.argsort(self._order), len(table))
        self.width = len(table) + 1
        self.models = {}
        for trait_id in sorted(table.trait_ids):
            trait = table.trait(trait_id)
            adult = self._sorted(table.column(trait_id))
            differs = table.differs_when_young(trait_id)
            young = self._sorted(table.column(trait_id, young=True)) if differs else adult
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
        out = np.empty((coded.n, self.width))
        for rows, cases in self.log_cases(coded):
            out[rows] = np.logaddexp.reduce(cases, axis=1)
        return out

    def log_cases(self, coded: Coded) -> Iterator[tuple[slice, np.ndarray]]:
        """Log P(all answers, and how old the fish is | taxon), taxa in canonical order, block by block.

        Yields
        ------
        rows : slice
            The specimens of the block.
        cases : ndarray, shape (n_in_block, n_cases, n_taxa + 1)
            Two cases, the fish is adult and the fish is young; or one, where its age makes no difference to
            any answer. The likelihood of a taxon is the sum over the cases.
        """
        by_age = coded.stage.any() or any(self.models[t].depends_on_stage for t in coded.codes)
        look_up = _LookUp(self, coded, by_age=bool(by_age))
        for start in range(0, coded.n, _BLOCK):
            rows = slice(start, min(start + _BLOCK, coded.n))
            yield rows, look_up.cases(rows)

    def stage_weights(self, coded: Coded) -> np.ndarray:
        """P(adult | answers, taxon), shape (n_specimens, n_taxa + 1), taxa in canonical order."""
        cases = _LookUp(self, coded, by_age=True).cases(slice(0, coded.n))
        return expit(cases[:, 0] - cases[:, 1])

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
        shared = group_weights(self.table, coded)
        terms = {}
        for trait_id, model in self.models.items():
            if trait_id not in coded.codes or not coded.codes[trait_id][0]:
                continue
            if model.trait.kind == "ceiling":
                terms[trait_id] = np.log(model.record(coded.distinct[trait_id])[0][0])
            else:
                adult, young = model.likelihoods(coded.distinct[trait_id])
                terms[trait_id] = np.log(np.where(adult_first, adult[0], young[0]))
            if trait_id in shared:
                terms[trait_id] *= shared[trait_id][0]
        rest = total - sum(terms.values(), np.zeros_like(total))
        return terms, rest

    def repeated(self, coded: Coded) -> dict[str, Repeated]:
        """Return, for one specimen, the traits not answered whose group has answers, with those answers."""
        groups = {m.trait.group for t, m in self.models.items() if m.trait.group and t in coded.codes}
        if not groups:
            return {}
        terms, _ = self.contributions(coded)
        found = {}
        for group in sorted(groups):
            worth = [terms[t] for t, m in self.models.items() if m.trait.group == group and t in terms]
            if worth:
                # The terms carry their weight, so their sum is the mean.
                average = Repeated(len(worth), sum(worth, np.zeros(self.width)))
                members = (t for t, m in self.models.items() if m.trait.group == group)
                found |= {t: average for t in members if t not in terms}
        return found


@dataclass(frozen=True, slots=True)
class Repeated:
    """What is answered already in the group of a trait.

    Attributes
    ----------
    answered : int
        Number of other traits of the group that are answered.
    average : ndarray, shape (n_taxa + 1,)
        Mean of their log-likelihoods, taxa in canonical order.
    """

    answered: int
    average: np.ndarray


def group_weights(table: TraitTable, coded: Coded) -> dict[str, np.ndarray]:
    """What an answer counts where the specimen also has answers to traits that repeat it.

    Returns
    -------
    dict of str to ndarray, shape (n_specimens,)
        For traits that share their group with another answered one: 1 over the number answered. Traits that
        are not here count 1.
    """
    groups: dict[str, list[str]] = {}
    for trait in table.traits:
        if trait.group and trait.id in coded.codes:
            groups.setdefault(trait.group, []).append(trait.id)
    found = {}
    for members in groups.values():
        if len(members) > 1:
            count = sum((coded.codes[trait_id] > 0).astype(float) for trait_id in members)
            found |= dict.fromkeys(members, 1.0 / np.maximum(count, 1.0))
    return found


class _LookUp:
    """The log-likelihoods of all distinct answers, and which of them each specimen gave.

    Parameters
    ----------
    model : TableModel
    coded : Coded
    by_age : bool
        Whether adult and young are kept apart.
    """

    def __init__(self, model: TableModel, coded: Coded, *, by_age: bool):
        self._coded = coded
        self._by_age = by_age
        alike, by_stage, ripe = {}, {}, {}
        for trait_id, trait_model in model.models.items():
            if trait_id not in coded.codes:
                continue
            answers = coded.distinct[trait_id]
            if trait_model.trait.kind == "ceiling":
                within, mature = trait_model.record(answers)
                alike[trait_id] = np.log(within)
                if by_age:
                    ripe[trait_id] = np.log(np.stack([mature, 1 - mature], axis=1))
                continue
            adult, young = trait_model.likelihoods(answers)
            if trait_model.depends_on_stage:
                by_stage[trait_id] = np.log(np.stack([adult, young], axis=1))
            else:
                alike[trait_id] = np.log(adult)
        shared = group_weights(model.table, coded)
        self._alike = _Rows(alike, np.empty((0, model.width)), shared)
        # How old a fish of this length is, is no repetition of anything.
        of_age = {t: w for t, w in shared.items() if t not in ripe}
        self._by_stage = _Rows(ripe | by_stage, np.empty((0, 2, model.width)), of_age)
        self._ripe = _Rows(ripe, np.empty((0, 2, model.width)), {})

    def cases(self, specimens: slice) -> np.ndarray:
        """Return `TableModel.log_cases` of some specimens."""
        alike = self._alike.added(self._coded, specimens)[:, None]
        if not self._by_age:
            return alike
        said = [[1.0, 1.0], [1 - STAGE_ERROR, STAGE_ERROR], [STAGE_ERROR, 1 - STAGE_ERROR]]
        cases = self._by_stage.added(self._coded, specimens)
        cases += alike
        cases += np.log(said)[self._coded.stage[specimens]][:, :, None] - self._both_ages(specimens)
        return cases

    def _both_ages(self, specimens: slice) -> np.ndarray:
        """Log of what adult and young add up to by the lengths alone; without a length both stand at 1."""
        if len(self._ripe.traits) > 1:
            return np.logaddexp.reduce(self._ripe.added(self._coded, specimens), axis=1, keepdims=True)
        measured = np.zeros(specimens.stop - specimens.start, dtype=bool)
        for trait_id in self._ripe.traits:
            measured = self._coded.codes[trait_id][specimens] > 0
        return np.where(measured, 0.0, np.log(2.0))[:, None, None]


class _Rows:
    """Rows of logs that belong to the distinct answers of some traits.

    Parameters
    ----------
    tables : dict of str to ndarray, shape (n_distinct, ...)
        By trait.
    silence : ndarray, shape (0, ...)
        What is added where there is no trait at all.
    shared : dict of str to ndarray, shape (n_specimens,)
        What an answer counts, for traits that repeat one another; see `group_weights`.
    """

    def __init__(self, tables: dict[str, np.ndarray], silence: np.ndarray, shared: dict[str, np.ndarray]):
        self.traits = tuple(tables)
        self._shared = {trait_id: w for trait_id, w in shared.items() if trait_id in tables}
        self._before = np.cumsum([0, *(len(table) for table in tables.values())])[:-1]
        self._rows = np.concatenate([silence, *tables.values()])

    def added(self, coded: Coded, specimens: slice) -> np.ndarray:
        """Add up, for each specimen, the rows of its answers; no answer adds nothing.

        This is a matrix of weights, specimens x distinct answers, times the rows. It is sparse, so that
        each sum runs over the answers given, in the order of the traits, whatever the others gave.

        Returns
        -------
        ndarray, shape (n_specimens, ...)
        """
        n = specimens.stop - specimens.start
        if not len(self._rows):
            return np.zeros((n, *self._rows.shape[1:]))
        codes = np.stack([coded.codes[trait_id][specimens] for trait_id in self.traits], axis=1)
        answered = codes > 0
        columns = (codes - 1 + self._before)[answered]
        ends = np.append(0, np.cumsum(answered.sum(axis=1)))
        weights = np.ones(codes.shape)
        for trait_id, counts in self._shared.items():
            weights[:, self.traits.index(trait_id)] = counts[specimens]
        gave = csr_array((weights[answered], columns, ends), shape=(n, len(self._rows)))
        sums = gave @ self._rows.reshape(len(self._rows), -1)
        return sums.reshape(n, *self._rows.shape[1:])
