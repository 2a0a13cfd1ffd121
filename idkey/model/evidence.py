"""What one answer says about every kind: the likelihoods. The only module that knows them.

For taxon t, trait j with observer error e and K states, and the answer x:

* nominal: ``P(x|t) = (1 - e) w(x) + e / K`` with w the shares of the states that the row allows;
* ordinal: the same, but an erring observer names a state at distance d with weight `ORDINAL_DECAY` ** d;
* measure: the row's range widened by the measuring error s,
  ``[F((x - low) / s) - F((x - high) / s)] / (high - low)``, F the normal distribution function, relative
  to a flat density over the whole column, again mixed with the observer error;
* ceiling: ``1 - F((x - c) / (edge c))``: longer than the record is against, shorter says nothing. A record
  is the longest fish that somebody measured, not the longest there is, so its edge is as soft as the record
  is weak (`RECORD_EDGES`);
* blank: the mean of the congeners whose cell is known and of the mean of all known rows, which counts as
  `TABLE_AS_KIN` congeners (a Dirichlet prior centred on the table; Gelman et al. 2013, Bayesian Data
  Analysis, ch. 5: from memory); a congener to which the trait does not apply says nothing of it;
* not applicable: an error of observation;
* an answer that is not sure: ``P(x|t) = sum over states s of l(s) P(s|t)`` with l how sure the person is of
  each, over the largest of them. This is virtual evidence (Pearl 1988, Probabilistic Reasoning in Intelligent
  Systems, section 2.2.2: from memory): what was seen speaks for the states as l to l, whatever the kinds
  make of them; only ratios count, and ``a|b`` is ``a:0.5|b:0.5``. It is not Jeffrey's rule, by which the
  shares would be those that hold in the end;
* "none of these": a stranger belongs to a genus, too. There is one name for a stranger of each genus, judged
  as a blank cell of that genus is, and one for a stranger of none of them: the marginal of the column with
  one more, flat, row (Laplace's rule of succession), about which a length says nothing, since it has no
  record. `combine.py` says how likely each is.

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
from idkey.table.schema import Trait, cell_text
from idkey.table.table import Column, TraitTable

ORDINAL_DECAY = 0.3
"""How much rarer each further step of misreading is, along the states of an ordinal trait (judgement)."""
ADULT_FROM = 0.5
ADULT_WIDTH = 0.1
STAGE_ERROR = 0.03
"""Share of statements "it is adult" or "it is young" that are wrong (judgement)."""

TABLE_AS_KIN = 2.0
"""As how many congeners the whole table counts where a blank cell is taken from the genus: with 2 the cells
of the shipped table, each hidden in turn, are foretold best (`tests/benchmarks/strangers.py`)."""

RECORD_EDGES = {"measured": 1.0, "second hand": 2.0, "lent": 4.0}
"""How soft the edge of a record is, in spreads of the trait (5 % in the shipped table; judgement).

Measured: a length of this kind that was read where it was published. Second hand: one of this kind in a
secondary source, such as a hobby page, or converted from a length with the tail. Lent: that of a congener
or of the genus, a rule of thumb, or memory. A fish 10 % and 20 % over the record counts as much as one below
it times 0.024 and 0.001 (measured), 0.16 and 0.024 (second hand), 0.31 and 0.16 (lent).
"""

POINTS = 9
"""Numbers that stand for all of a range that was answered."""
_TINY = 1e-9


def misread(trait: Trait) -> np.ndarray:
    """P(answer | true state, the observer errs), shape (n_states answer, n_states true)."""
    k = len(trait.states)
    if trait.kind == "nominal":
        return np.full((k, k), 1.0) / max(k, 1)
    distance = np.abs(np.subtract.outer(np.arange(k), np.arange(k)))
    weight = ORDINAL_DECAY**distance
    return weight / weight.sum(axis=0)


def _complete(p: np.ndarray, column: Column, kin: np.ndarray, na: float, flat: float) -> np.ndarray:
    """Fill blank and not-applicable columns and append the strangers, shape (n_answers, n_names).

    `p`, (n_answers, n_known), is the likelihood where the cell is known, `na` where the trait does not apply,
    `flat` under a flat row; `kin`, (n_taxa, n_genera), is 1 for the genus of a taxon.
    """
    n, width = p.shape[1], len(kin) + kin.shape[1] + 1
    if n == 0:
        # A column in which nothing is known says nothing about anyone.
        return np.ones((p.shape[0], width))
    full = np.full((p.shape[0], width), na)
    full[:, np.flatnonzero(column.known)] = p
    total = p.sum(axis=1)[:, None]
    table = total / n
    known = kin[column.known]
    genera = (p @ known + TABLE_AS_KIN * table) / (known.sum(axis=0) + TABLE_AS_KIN)
    blank = np.flatnonzero(column.applies & ~column.known)
    alone = 1 - kin[blank].sum(axis=1)
    full[:, blank] = genera @ kin[blank].T + table * alone
    full[:, len(kin) : -1] = genera
    full[:, -1:] = (total + flat) / (n + 1)
    return full


@dataclass(frozen=True, slots=True)
class TraitModel:
    """The likelihoods of one trait.

    Its columns are in canonical taxon order, the same object where nothing differs; `kin`, (n_taxa,
    n_genera), is 1 for the genus of a taxon; `edge`, (n_taxa,), is how soft its record is; `states_adult` and
    `states_young`, (n_states, n_names), are P(state | name), without rows for numbers. The names are the
    taxa, a stranger of each genus, and a stranger of none of them.
    """

    trait: Trait
    adult: Column
    young: Column
    kin: np.ndarray
    edge: np.ndarray
    states_adult: np.ndarray
    states_young: np.ndarray

    @classmethod
    def of(
        cls, trait: Trait, adult: Column, young: Column, kin: np.ndarray, edge: np.ndarray | None = None
    ) -> TraitModel:
        """Compile a column; without an `edge` every record is a measured one."""
        edge = np.ones(len(kin)) if edge is None else edge
        if not trait.has_states:
            none = np.zeros((0, sum(kin.shape) + 1))
            return cls(trait, adult, young, kin, edge, none, none)
        states_adult = _state_likelihoods(trait, adult, kin)
        if young is adult:
            return cls(trait, adult, young, kin, edge, states_adult, states_adult)
        states_young = _as_young(trait, states_adult, _state_likelihoods(trait, young, kin), young)
        return cls(trait, adult, young, kin, edge, states_adult, states_young)

    @property
    def depends_on_stage(self) -> bool:
        """Whether a young fish is judged differently."""
        return self.young is not self.adult

    def likelihoods(self, answers: Distinct) -> tuple[np.ndarray, np.ndarray]:
        """P(answer | taxon) for adults and for young, both of shape (n_distinct, n_names)."""
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
        return _complete((1 - e) * density + e, column, self.kin, na=e, flat=1.0)

    def density(self, column: Column, x: np.ndarray) -> np.ndarray:
        """Density of a measurement relative to a flat one over the column, shape (len(x), n_known)."""
        trait = self.trait
        step = half_step(trait)
        # Kinds of a genus often share a range.
        (low, high), of_kind = np.unique(
            [column.low[column.known], column.high[column.known]], axis=1, return_inverse=True
        )
        span = scale_of(column) + 2 * step
        sigma = trait.spread * np.abs(x) if trait.spread_is_relative else np.full(len(x), trait.spread)
        sigma = np.maximum(sigma, 0.01 * span)[:, None]
        middle = (low + high) / 2
        half = np.maximum((high - low) / 2 + step, 0.05 * sigma)
        from_middle = x[:, None] - middle
        inside = ndtr((from_middle + half) / sigma) - ndtr((from_middle - half) / sigma)
        return (inside / (2 * half) * span)[:, of_kind]

    def record(self, answers: Distinct) -> tuple[np.ndarray, np.ndarray]:
        """Ceiling: P(a fish this long | taxon) and P(adult | length, taxon), (n_distinct, n_names)."""
        trait, column = self.trait, self.adult
        ceiling = column.high[column.known]
        edge = trait.spread * ceiling if trait.spread_is_relative else np.full(len(ceiling), trait.spread)
        edge = edge * self.edge[column.known]
        points = _spread_points(answers)
        within = mature = 0.0
        for q in range(points.shape[1]):
            x = points[:, q][:, None]
            within = within + ndtr((ceiling - x) / edge)
            mature = mature + ndtr((x - ADULT_FROM * ceiling) / (ADULT_WIDTH * ceiling))
        within, mature = within / points.shape[1], mature / points.shape[1]
        e = trait.error
        within = _complete((1 - e) * within + e, column, self.kin, na=e, flat=1.0)
        # A kind that is not in the table has no record to be longer than.
        within[:, -1] = 1.0
        # Where no record is known, a length says nothing about the age.
        known = column.known.any()
        mature = _complete(mature, column, self.kin, na=0.5, flat=0.5) if known else np.full_like(within, 0.5)
        return within, np.clip(mature, 1e-6, 1 - 1e-6)

    def expected(self, points: int) -> tuple[np.ndarray, np.ndarray]:
        """How often each answer comes from an adult and from a young fish, (n_answers, n_names).

        The states, or so many numbers of a measure, of which columns sum to 1; the same object where nothing
        differs.
        """
        if self.trait.has_states:
            return self.states_adult, self.states_young
        adult, young = self.likelihoods(exact_numbers(number_grid(self, points)))
        shares = [p / p.sum(axis=0) for p in ((adult,) if young is adult else (adult, young))]
        return shares[0], shares[-1]

    def adult_lengths(self, points: int) -> np.ndarray:
        """How often each of so many lengths is met among adults, shape (n_numbers, n_names).

        Adults lie between the length at which the fish matures and the record, both edges as soft as in
        `record`; columns sum to 1.
        """
        within, mature = self.record(exact_numbers(number_grid(self, points)))
        met = within * mature
        return met / met.sum(axis=0)


def record_edges(table: TraitTable, trait_id: str) -> np.ndarray:
    """Return how soft the record of each kind is, by the best claim that gives it; shape (n_taxa,)."""
    claims = table.claims_by_kind
    if claims.empty or "taxon" not in claims.columns:
        return np.ones(len(table))
    claims = claims[(claims["attribute"] == trait_id) & (claims["taxon"] != "")]
    best: dict[tuple[str, str], float] = {}
    for taxon, value, class_, scope in claims[["taxon", "value", "class", "scope"]].itertuples(index=False):
        of_the_kind = scope == "species" and class_ in ("read", "secondary")
        word = "lent" if not of_the_kind else "measured" if class_ == "read" else "second hand"
        best[taxon, value] = min(RECORD_EDGES[word], best.get((taxon, value), np.inf))
    records = [cell_text(table.trait(trait_id), cell) for cell in table.cells[trait_id]]
    return np.array([best.get(place, RECORD_EDGES["lent"]) for place in zip(table.ids, records, strict=True)])


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


def half_step(trait: Trait) -> float:
    """Half of what lies between two numbers that the trait may have: a count is whole."""
    return 0.5 if trait.unit == "count" else 0.0


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
    at = (np.arange(POINTS) + 0.5) / POINTS
    return answers.low[:, None] + at * (answers.high - answers.low)[:, None]


def _as_young(trait: Trait, adult: np.ndarray, young: np.ndarray, column: Column) -> np.ndarray:
    """Return what holds for a young fish: nothing where an adult is needed and the table lacks its young."""
    if not trait.needs_adult:
        return young
    said = np.zeros(adult.shape[1], dtype=bool)
    said[: len(column.known)] = column.known
    return np.where(said, young, adult[:, -1:])


def _state_likelihoods(trait: Trait, column: Column, kin: np.ndarray) -> np.ndarray:
    # A column of any table may be blank all through, and then has no states.
    e, k = trait.error, max(len(trait.states), 1)
    shares = column.shares[column.known].T
    p = (1 - e) * shares + e * (misread(trait) @ shares)
    return _complete(p, column, kin, na=e / k, flat=1.0 / k)
