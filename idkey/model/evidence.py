"""What one answer says about every kind: the likelihoods. The only module that knows them.

For taxon t, trait j with observer error e and K states, and the answer x:

* nominal: ``P(x|t) = (1 - e) w(x) + e / K`` with w the shares of the states that the row allows;
* ordinal: the same, but an erring observer names a state at distance d with weight `ORDINAL_DECAY` ** d;
* measure: the row's range widened by the measuring error s,
  ``[F((x - low) / s) - F((x - high) / s)] / (high - low)``, F the normal distribution function, relative
  to a flat density over the whole column, again mixed with the observer error;
* ceiling: ``1 - F((x - c) / (edge c))``: longer than the record is against, shorter says nothing;
* blank: the mean of the rows that are known; not applicable: an error of observation;
* "none of these": the marginal of the column with one more, flat, row (Laplace's rule of succession); a
  length says nothing about it, since it has no record.

Whether the fish is adult is not observed but matters: for a length x and a record c it is adult with
probability ``F((x - 0.5 c) / (0.1 c))``. Columns that differ in young fish are mixed over both cases.
Half the record is where males of Hypancistrus debilittera (70 of 120 mm) and H. zebra (50-60 of 64-80 mm)
are about to mature in the trade's own reports; the width is judgement.

How answers are put together, `combine.py` says.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from idkey.model.answers import Distinct
from idkey.table.schema import Trait
from idkey.table.table import Column

NONE = "none of these"

ORDINAL_DECAY = 0.3
"""How much rarer each further step of misreading is, along the states of an ordinal trait (judgement)."""
ADULT_FROM = 0.5
ADULT_WIDTH = 0.1
STAGE_ERROR = 0.03
"""Share of statements "it is adult" or "it is young" that are wrong (judgement)."""

_POINTS = 9
_TINY = 1e-9


def _misread(trait: Trait) -> np.ndarray:
    """P(answer | true state, the observer errs), shape (n_states answer, n_states true)."""
    k = len(trait.states)
    if trait.kind == "nominal":
        return np.full((k, k), 1.0) / max(k, 1)
    distance = np.abs(np.subtract.outer(np.arange(k), np.arange(k)))
    weight = ORDINAL_DECAY**distance
    return weight / weight.sum(axis=0)


def _complete(p: np.ndarray, column: Column, na: float, flat: float) -> np.ndarray:
    """Fill blank and not-applicable columns and append "none of these", shape (n_answers, n_taxa + 1).

    `p`, (n_answers, n_known), is the likelihood where the cell is known, `na` where the trait does not apply,
    `flat` under a flat row.
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

    Its columns are in canonical taxon order, the same object where nothing differs; `states_adult` and
    `states_young`, (n_states, n_taxa + 1), are P(state | taxon), without rows for numbers.
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
        if not self.depends_on_stage:
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
        """Ceiling: P(a fish this long | taxon) and P(adult | length, taxon), (n_distinct, n_taxa + 1)."""
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
        # A kind that is not in the table has no record to be longer than.
        within[:, -1] = 1.0
        # Where no record is known, a length says nothing about the age.
        known = column.known.any()
        mature = _complete(mature, column, na=0.5, flat=0.5) if known else np.full_like(within, 0.5)
        return within, np.clip(mature, 1e-6, 1 - 1e-6)

    def expected(self, points: int) -> tuple[np.ndarray, np.ndarray]:
        """How often each answer comes from an adult and from a young fish, (n_answers, n_taxa + 1).

        The states, or so many numbers of a measure, of which columns sum to 1; the same object where nothing
        differs.
        """
        if self.trait.has_states:
            return self.states_adult, self.states_young
        adult, young = self.likelihoods(exact_numbers(number_grid(self, points)))
        shares = [p / p.sum(axis=0) for p in ((adult,) if young is adult else (adult, young))]
        return shares[0], shares[-1]

    def adult_lengths(self, points: int) -> np.ndarray:
        """How often each of so many lengths is met among adults, shape (n_numbers, n_taxa + 1).

        Adults lie between the length at which the fish matures and the record, both edges as soft as in
        `record`; columns sum to 1.
        """
        within, mature = self.record(exact_numbers(number_grid(self, points)))
        met = within * mature
        return met / met.sum(axis=0)


def exact_numbers(numbers: np.ndarray) -> Distinct:
    """Return numbers as answers without a doubt."""
    return Distinct(np.zeros((len(numbers), 0)), numbers, numbers)


def number_grid(model: TraitModel, points: int) -> np.ndarray:
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
    # A column of any table may be blank all through, and then has no states.
    e, k = trait.error, max(len(trait.states), 1)
    shares = column.shares[column.known].T
    p = (1 - e) * shares + e * (_misread(trait) @ shares)
    return _complete(p, column, na=e / k, flat=1.0 / k)
