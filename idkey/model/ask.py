"""The best next question: the greatest expected drop in the entropy of the posterior per second it takes.

For a trait with answers x the expected drop, in bits, is ``H(posterior) - sum_x P(x) H(posterior | x)``,
which is the mutual information of answer and name (Shannon 1948; as a rule for choosing tests with costs,
Garey & Graham 1974, Acta Informatica 3:347-355, doi 10.1007/BF00263588). What hardly any answer to it would
change, the names still possible, it is not asked for.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from idkey.display import Shown
from idkey.model.combine import kept, model_of, stronger
from idkey.model.evidence import TraitModel, exact_numbers, number_grid
from idkey.table.schema import Trait
from idkey.table.table import TraitTable

MIN_GAIN = 0.005
"""Expected drop in bits below which a question is not worth asking."""
MIN_MOVE = 0.05
"""Chance that the answer changes which names are still possible, below which a question is not asked."""
READING = 5.0
"""Seconds that a question takes beside the effort of the look: to read it and to answer (judgement)."""
_POINTS = 16
"""Numbers that stand for all that a measure or a length may come out at."""
NEARLY = 1e-12
"""By how much sums may be off that are to be the same."""
_Pair = tuple[np.ndarray, np.ndarray]
"""Answers of an adult and of a young fish, each a row over the taxa, (n_answers, n_names)."""


@dataclass(frozen=True, slots=True, repr=False)
class Question(Shown):
    """A question to put to the person at the tank.

    The `gain` is the expected drop in entropy, bits; the `rate` that per second of reading and looking.
    """

    trait: Trait
    gain: float

    @property
    def rate(self) -> float:
        """Bits per second."""
        return self.gain / (READING + self.trait.effort)


class Ahead(NamedTuple):
    """What every answer would make of the names that are not out of the race; see `Asker.ahead`.

    `keep`, (n_names,), are those, and `p`, (n_kept,), is their posterior; `chance`, (n_answers,), is that of
    each answer to each question in turn, `joint`, (n_answers, n_kept), with each name; the names begin at
    `firsts` once the strangers are one.
    """

    keep: np.ndarray
    p: np.ndarray
    chance: np.ndarray
    joint: np.ndarray
    firsts: np.ndarray


class Asker:
    """Values every question of a table at once; its `traits` stand in the order of the results."""

    def __init__(self, table: TraitTable):
        models = model_of(table).models.values()
        self.traits = [model.trait for model in models]
        given, judged = zip(*map(expected_answers, models), strict=True)
        self._starts = np.cumsum([0, *(len(adult) for adult, _ in given)])[:-1]
        self._given = _ByAge(given)
        # Only a length is met with one chance and judged by another.
        differs = any(pair is not rule for pair, rule in zip(given, judged, strict=True))
        self._judged = _ByAge(judged) if differs else self._given
        self._applies = np.vstack([model.adult.applies for model in models])

    def ahead(
        self, posterior: np.ndarray, adult: np.ndarray, said: Mapping[str, np.ndarray] | None = None
    ) -> Ahead:
        """Return what every answer to every question would make of the names.

        `posterior`, `adult` = P(adult | answers, taxon) and what follows are of shape (n_names,), in
        canonical order. `said` is for traits that would repeat what is answered already; see
        `TableModel.said_in_group`.
        """
        # Names that are out of the race cost time and change nothing.
        keep = posterior > 1e-7 * posterior.max()
        p = posterior[keep] / posterior[keep].sum()
        given, judged = self._given_and_judged(adult, said, keep)
        # The strangers stand last.
        firsts = np.arange(min(len(p), keep[: self._applies.shape[1]].sum() + 1))
        return Ahead(keep, p, given @ p, judged * p, firsts)

    def gains(self, ahead: Ahead, classes: np.ndarray | None = None) -> np.ndarray:
        """Return the expected drop in entropy for every trait of `TableModel.models`, in bits, 0 or more.

        All strangers are one name: which genus one belongs to is asked by nobody. With `classes`, (n_names,),
        the entropy is that over these classes of names (those fed alike, say).
        """
        keep, p, chance, joint, firsts = ahead
        mass = joint.sum(axis=1)
        if classes is None:
            joint, p = np.add.reduceat(joint, firsts, axis=1), np.add.reduceat(p, firsts)
        else:
            member = np.equal.outer(classes[keep], np.unique(classes[keep])).astype(float)
            joint, p = joint @ member, p @ member
        after = np.log2(mass) - _xlog2x(joint).sum(axis=1) / mass
        before = -_xlog2x(p).sum()
        spent = np.add.reduceat(chance * after, self._starts)
        total = np.add.reduceat(chance, self._starts)
        return np.maximum(before - spent / total, 0.0)

    def moves(self, ahead: Ahead, left: np.ndarray, coverage: float) -> np.ndarray:
        """Return how likely an answer is to change which names are still possible, for every trait.

        Those, `left` of shape (n_names,), are the smallest set that holds `coverage`.
        """
        keep, _, chance, joint, firsts = ahead
        upto = coverage - NEARLY
        then, left = np.add.reduceat(joint, firsts, axis=1), left[keep][firsts]
        total, held = then.sum(axis=1), then[:, left].sum(axis=1)
        least, most = then[:, left].min(axis=1), then[:, ~left].max(axis=1, initial=0.0)
        stays = (held >= upto * total) & (held - least < upto * total) & (most <= least * (1 + NEARLY))
        moved = np.add.reduceat(chance * ~stays, self._starts)
        return moved / np.add.reduceat(chance, self._starts)

    def foreseen(
        self, adult: np.ndarray, said: Mapping[str, np.ndarray]
    ) -> dict[str, tuple[np.ndarray, np.ndarray]]:
        """Return, by trait, how likely each answer is for every name, and how it would be judged.

        Both (n_answers, n_names), names in canonical order; `adult` and `said` as for `ahead`.
        """
        both = self._given_and_judged(adult, said, np.ones(len(adult), dtype=bool))
        parts = zip(*(np.split(of, self._starts[1:]) for of in both), strict=True)
        return {trait.id: part for trait, part in zip(self.traits, parts, strict=True)}

    def _given_and_judged(
        self, adult: np.ndarray, said: Mapping[str, np.ndarray] | None, keep: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray]:
        """Return how likely each answer is for the names in `keep`, and how it would be judged."""
        given = self._given.mixed(keep, adult[keep])
        judged = given if self._judged is self._given else self._judged.mixed(keep, adult[keep])
        return given, self._outdone(judged, said, keep, adult[-1]) if said else judged

    def _outdone(
        self, judged: np.ndarray, said: Mapping[str, np.ndarray], keep: np.ndarray, adult_none: float
    ) -> np.ndarray:
        """Judge answers that count for a taxon only if they say more than what is answered already."""
        judged = judged.copy()
        none = self._judged.mixed(
            np.append(np.zeros(len(keep) - 1, dtype=bool), True), np.array([adult_none])
        )
        ends = np.append(self._starts[1:], len(judged))
        for trait, start, end in zip(self.traits, self._starts, ends, strict=True):
            if trait.id in said:
                before = said[trait.id][keep]
                says = np.log(judged[start:end]) - np.log(none[start:end])
                judged[start:end] = np.exp(stronger(before, says) - before)
        return judged

    def applicable(self, posterior: np.ndarray) -> np.ndarray:
        """Posterior share of the kinds to which each trait applies, shape (n_traits,)."""
        p = posterior[: self._applies.shape[1]]
        return self._applies @ p / max(p.sum(), 1e-300)


asker_of = kept(Asker)
"""The one valuer of the questions of a table."""


def expected_answers(model: TraitModel) -> tuple[_Pair, _Pair]:
    """Return how likely each answer that may come is, and how it is judged; one object if they are alike."""
    if model.trait.kind == "ceiling":
        grid = number_grid(model, _POINTS)
        met, rule = _lengths_met(model, grid), model.record(exact_numbers(grid))[0]
        return (met, met), (rule, rule)
    given = model.expected(_POINTS)
    if not len(given[0]):
        # A column that is blank all through: whatever is answered says nothing.
        given = (np.ones((1, sum(model.kin.shape) + 1)),) * 2
    return given, given


def _lengths_met(model: TraitModel, grid: np.ndarray) -> np.ndarray:
    """Lengths at which a kind is met: evenly from 0.4 of its record to the record (judgement)."""
    column, strangers = model.adult, model.kin.shape[1] + 1
    top = np.where(column.known, column.high, np.nan)
    met = ((grid[:, None] >= 0.4 * top) & (grid[:, None] <= top)).astype(float) + 1e-6
    met = met / met.sum(axis=0)
    if not column.known.any():
        return np.ones((len(grid), len(top) + strangers)) / len(grid)
    average = met[:, column.known].mean(axis=1, keepdims=True)
    return np.hstack([np.where(column.known, met, average), np.repeat(average, strangers, axis=1)])


class _ByAge:
    """Likelihoods of the answers to several traits, as adult and as young."""

    def __init__(self, pairs: Sequence[_Pair]):
        self._young = np.vstack([young for _, young in pairs])
        differs = any(adult is not young for adult, young in pairs)
        self._more_if_adult = np.vstack([adult for adult, _ in pairs]) - self._young if differs else None

    def mixed(self, keep: np.ndarray, adult: np.ndarray) -> np.ndarray:
        """Return the rows for the taxa in `keep`, each adult with its probability in `adult`."""
        young = self._young[:, keep]
        return young if self._more_if_adult is None else young + adult * self._more_if_adult[:, keep]


def _xlog2x(x: np.ndarray) -> np.ndarray:
    return x * np.log2(np.maximum(x, 1e-300))
