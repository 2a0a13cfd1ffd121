"""How well two kinds can be told apart by looking at the fish: the one place that reckons it. Arrays only.

For each trait, `Distinguisher.answers` holds P(answer | kind, age): how often a look, with its errors, brings
each answer. Everything else follows from these, kinds being equally likely and looks independent:

* one look at one of two fish, a or b: the likelier name is right with probability
  ``1/2 + 1/4 sum_x |P(x|a) - P(x|b)|``; of k kinds, ``sum_x max_t P(x|t) / k``
  (the Bayes rule and its error: Devroye, Gyorfi & Lugosi 1996, A Probabilistic Theory of Pattern
  Recognition, ch. 2);
* several looks: the same over the joint answers;
* the whole table at once: the Bhattacharyya coefficient ``sum_x sqrt(P(x|a) P(x|b))``, 1 where two kinds
  give the same answers, multiplied over the groups of traits. Half of it is the most that the chance of a
  mix-up can be (Bhattacharyya 1943, Bull. Calcutta Math. Soc. 35:99-109; Kailath 1967, IEEE Trans. Commun.
  Technol. 15:52-60). Of a group, whose traits repeat one another, the trait that tells best counts.

A look *tells* two kinds if it is right clearly oftener than a guess (`CLEAR`); what the seller says is no
look. A blank cell says nothing: the two are as alike as before. Where a trait does not apply to a kind, a
look finds nothing to answer, and an answer is an error of observation, as `evidence` has it; that there is
nothing to answer is no news beside the trait it depends on (spots, beside the pattern): it counts as one with
it, and is never the best look.

Numbers are taken on a grid of `POINTS`, which can only make kinds look a little more alike than they are. The
length of a young fish tells nothing, since every kind was once as short.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.spatial.distance import cdist

from idkey.errors import IdkeyError, one_of
from idkey.model.combine import kept, model_of
from idkey.table.schema import LIFE_STAGES, Trait
from idkey.table.table import Column, TraitTable
from idkey.table.units import number_of

HEARSAY = frozenset({"basin"})
"""Traits that are not seen on the fish but told by the seller: no look, so not among the looks."""
HARDLY = 0.1
"""Share of the way from a guess to certainty below which a look hardly tells; of two, 0.55 (judgement)."""
CLEAR = 0.5 + HARDLY / 2
"""Chance of the right one of two kinds from which on a look tells them apart; below it hardly tells."""
SAME = 1e-9
"""Rounding: chances that differ less are one."""
POINTS = 64
"""Numbers that stand for all that a measure or a length may come out at."""
_AS_GOOD = 1e-6
"""Looks that differ less are as good as one another."""
BLOCK = 128
"""Kinds at a time that are held against all: the arrays of a block stay in the processor's cache."""


class Distinguisher:
    """What a look at each trait of a table is worth between any two kinds.

    Its `looks` are the traits that are seen on the fish, in the order of the table; `by_trouble` are the
    same, the least trouble first: of looks as good, that one counts, whatever the order of the table. So do
    the kinds, which whole tables are gone through in the `order` of their ids, positions in the table.
    """

    def __init__(self, table: TraitTable):
        self.table = table
        self.looks = tuple(t for t in table.traits if t.id not in HEARSAY)
        self.by_trouble = tuple(sorted(self.looks, key=lambda t: (t.effort, t.id)))
        self._model = model_of(table)
        self.order = self._model.order
        self._answers: dict[tuple[str, str], np.ndarray] = {}
        self._cells: dict[tuple[str, str], tuple[np.ndarray, np.ndarray]] = {}

    # -- one trait ------------------------------------------------------------------------------

    def answers(self, trait_id: str, stage: str = "adult") -> np.ndarray:
        """P(answer | kind) for one trait, shape (n_answers, n_taxa); columns sum to 1.

        Where the trait does not apply to some kind, the last row is "there is nothing to answer". The column
        of a blank cell is the mean of those known. Raises UnknownName, and IdkeyError for no such stage.
        """
        key = trait_id, _checked(stage)
        if key not in self._answers:
            model, young = self._model.models[trait_id], stage == "young"
            if model.trait.kind == "ceiling":
                given = model.adult_lengths(POINTS)
                given = np.full_like(given, 1 / len(given)) if young else given
            else:
                given = model.expected(POINTS)[young]
            given = self._model.to_table_order(given)[:, : len(self.table)]
            given, absent = given / given.sum(axis=0), ~self._column(*key).applies
            if absent.any():
                error = model.trait.error
                nothing = np.where(absent, 1 - error, 0.0)
                given = np.vstack([np.where(absent, error / len(given), given), nothing])
            given.setflags(write=False)
            self._answers[key] = given
        return self._answers[key]

    def _column(self, trait_id: str, stage: str) -> Column:
        return self.table.column(trait_id, young=stage == "young")

    def known(self, trait_id: str, stage: str = "adult") -> np.ndarray:
        """Whether a look at a fish of this age says something about each kind, shape (n_taxa,).

        True where the cell is not blank, "does not apply" included; for young fish False for a length, and
        for a trait that needs an adult unless its young are described.
        """
        if self.table.trait(trait_id).kind == "ceiling" and _checked(stage) == "young":
            return np.zeros(len(self.table), dtype=bool)
        column = self._column(trait_id, stage)
        return column.known | ~column.applies

    def news(self, trait_id: str, stage: str = "adult") -> np.ndarray:
        """Whether it says something that the trait it depends on has not said, shape (n_taxa,)."""
        known, depends = self.known(trait_id, stage), self.table.trait(trait_id).applies_when
        return known & self._column(trait_id, stage).known if depends else known

    def right(
        self, trait_id: str, rows: Sequence[int] | np.ndarray, stage: str = "adult", *, news: bool = False
    ) -> np.ndarray:
        """Chance that one look at this trait gives the right one of two kinds, shape (n_rows, n_taxa).

        1/2 (a guess) to 1; 1/2 where the cell of either is blank. `rows` are positions in the table, held
        against all kinds; with `news` it says nothing that the trait it depends on has not said.
        """
        right, of_row, of_kind = self._between_cells(trait_id, rows, stage, news=news)
        return right[of_row][:, of_kind]

    def _between_cells(
        self, trait_id: str, rows: Sequence[int] | np.ndarray, stage: str, *, news: bool
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """As `right`, of cells, (n_cells_of_rows, n_cells); and which of the cells each row, and kind, has.

        Kinds of the same cell stand for one another, and there are far fewer cells.
        """
        answers = self.answers(trait_id, stage)
        first, of_kind = self._different_cells(trait_id, stage)
        cells, of_row = np.unique(of_kind[np.asarray(rows)], return_inverse=True)
        right = 0.5 + 0.25 * cdist(answers[:, first[cells]].T, answers[:, first].T, "cityblock")
        says = self.news(trait_id, stage) if news else self.known(trait_id, stage)
        right[~says[first[cells]]] = 0.5
        right[:, ~says[first]] = 0.5
        return right, of_row, of_kind

    def _different_cells(self, trait_id: str, stage: str) -> tuple[np.ndarray, np.ndarray]:
        """Return a kind for each different cell, and which of the cells each kind has.

        Two records of one length differ where one is better known.
        """
        key = trait_id, stage
        if key not in self._cells:
            column = self._column(*key)
            cells = np.column_stack([column.known, column.applies, self.answers(*key).T])
            first: dict[bytes, int] = {}
            same_as = [first.setdefault(cell.tobytes(), i) for i, cell in enumerate(cells)]
            self._cells[key] = np.unique(same_as, return_inverse=True)
        return self._cells[key]

    # -- several traits -------------------------------------------------------------------------

    def mix_up(self, trait_ids: Sequence[str], taxa: Sequence[int], stage: str = "adult") -> float:
        """Chance that a fish of one of these kinds is named wrongly after these looks, 0 to ``1 - 1/k``.

        The kinds are positions in the table, all different. Every joint answer is gone through, so give three
        traits or so; none leaves a guess. A trait that is blank for one of the kinds contributes nothing.
        """
        at = list(taxa)
        joint = np.ones((1, len(at)))
        for trait_id in trait_ids:
            if self.known(trait_id, stage)[at].all():
                one = self.answers(trait_id, stage)[:, at]
                joint = (joint[:, None, :] * one[None, :, :]).reshape(-1, len(at))
        return max(0.0, 1.0 - float(joint.max(axis=1).sum()) / len(at))

    def group(self, trait_id: str, taxa: Sequence[int] = (), stage: str = "adult") -> tuple[str, str]:
        """Return what this trait is one with; two traits of one group are not two looks.

        If the trait does not apply to some of `taxa`, it is one with the trait that it depends on, and that
        perhaps on another.
        """
        trait, seen = self.table.trait(trait_id), {trait_id}
        if not self._column(trait_id, stage).applies[list(taxa)].all():
            while (rule := trait.applies_when) and rule[0] in self.table.trait_ids and rule[0] not in seen:
                trait = self.table.trait(rule[0])
                seen.add(trait.id)
        return ("group", trait.group) if trait.group else ("trait", trait.id)

    # -- the whole table ------------------------------------------------------------------------

    @cached_property
    def compared(self) -> np.ndarray:
        """Number of looks that hold a value for both kinds, shape (n_taxa, n_taxa)."""
        known = np.array([self.table.column(t.id).known for t in self.looks], dtype=np.float32)
        known = known.reshape(-1, len(self.table))
        compared = (known.T @ known).astype(np.int16)
        compared.setflags(write=False)
        return compared

    def blocks(self) -> Iterator[tuple[np.ndarray, np.ndarray]]:
        """Go through all pairs of kinds: some kinds, and with each of them those from the first of them on.

        Both are positions in the table, in the order of the ids.
        """
        for start in range(0, len(self.order), BLOCK):
            yield self.order[start : start + BLOCK], self.order[start:]

    def affinity(self, stage: str = "adult") -> np.ndarray:
        """How alike the kinds are by all that can be seen on the fish, shape (n_taxa, n_taxa).

        0 (never mixed up) to 1; symmetric, 1 on the diagonal. Half of it is the most that the chance of a
        mix-up of the two can be after the best look of each group.
        """
        found = np.empty((len(self.table), len(self.table)))
        for rows, kinds in self.blocks():
            alike = self.affinity_of(rows, kinds, stage)
            found[np.ix_(rows, kinds)] = alike
            found[np.ix_(kinds, rows)] = alike.T
        np.fill_diagonal(found, 1.0)
        return found

    def affinity_of(self, rows: np.ndarray, kinds: np.ndarray, stage: str) -> np.ndarray:
        """As `affinity`, of the kinds of a block, shape (n_rows, n_kinds)."""
        by_group: dict[tuple[str, str], np.ndarray] = {}
        for trait in self.by_trouble:
            known = self.known(trait.id, stage)
            if known.sum() < 2:
                continue
            root = np.sqrt(self.answers(trait.id, stage))
            alike = root[:, rows].T @ root[:, kinds]
            alike[~known[rows]] = 1.0
            alike[:, ~known[kinds]] = 1.0
            own = by_group.setdefault(self.group(trait.id), np.ones_like(alike))
            absent = ~self._column(trait.id, stage).applies
            if absent.any():
                either = absent[rows][:, None] | absent[kinds]
                group = self.group(trait.id, np.flatnonzero(absent)[:1], stage)
                other = by_group.setdefault(group, np.ones_like(alike))
                np.minimum(other, alike, out=other, where=either)
                if other is not own:
                    alike[either] = 1.0
            np.minimum(own, alike, out=own)
        found = np.ones((len(rows), len(kinds)))
        for alike in by_group.values():
            found *= alike
        # Only rounding differs between a, b and b, a.
        both = found[:, : len(rows)]
        both[:] = (both + both.T) / 2
        return found.clip(0.0, 1.0, out=found)

    def best_looks(self, stage: str = "adult") -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Go through all pairs of kinds for their best look.

        That is which of `by_trouble`, (n_taxa, n_taxa) in the order of the ids, -1 where none tells; each
        pair once, above the diagonal. Beside it how many pairs each look tells, and how many that no other
        does, (n_looks,).
        """
        n, looks = len(self.table), self.by_trouble
        best = np.full((n, n), -1, dtype=np.int16)
        tells, only = np.zeros((2, len(looks)), dtype=int)
        for rows, kinds in self.blocks():
            start = n - len(kinds)
            mine = best[start : start + len(rows), start:]
            later = np.arange(len(kinds)) > np.arange(len(rows))[:, None]
            tellers, last = np.zeros((2, *later.shape), dtype=np.int16)
            most = np.full(later.shape, CLEAR - 2 * _AS_GOOD, dtype=np.float32)
            for j, trait in enumerate(looks):
                right, of_row, of_kind = self._between_cells(trait.id, rows, stage, news=True)
                right = right.astype(np.float32)[of_row][:, of_kind[kinds]]
                clear = (right >= np.float32(CLEAR - _AS_GOOD)) & later
                tells[j] += np.count_nonzero(clear)
                tellers += clear
                np.copyto(last, j, where=clear)
                better = (right > most + np.float32(_AS_GOOD)) & later
                np.copyto(mine, j, where=better)
                np.copyto(most, right, where=better)
            only += np.bincount(last[tellers == 1], minlength=len(looks))
        return best, tells, only


distinguisher = kept(Distinguisher)
"""The one distinguisher of a table."""


def is_clear(right: np.ndarray) -> np.ndarray:
    """Whether looks that are right so often, as by `Distinguisher.right`, tell two kinds apart."""
    return right >= CLEAR - SAME


def _checked(stage: str) -> str:
    if stage not in LIFE_STAGES:
        raise IdkeyError(f"stage: {stage!r}: {one_of(stage, LIFE_STAGES)}")
    return stage


# -- what each trait is good for --------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Worth:
    """What one trait does for a table.

    It is known of `known` kinds. One look at it `tells` so many pairs of kinds, adults, apart, `only` so many
    that no other trait tells, and it is the `best` look for so many. A trait that is neither the only nor the
    best look for any pair could be left out and no pair would be told less well by its best look. It may
    still confirm a name, or tell young fish.
    """

    trait: Trait
    known: int
    tells: int
    only: int
    best: int

    @property
    def earns(self) -> bool:
        """Whether it is the only or the best look for some pair."""
        return self.only > 0 or self.best > 0

    @property
    def text(self) -> str:
        """What it does, or why it does not earn its place; one sentence."""
        tells = f"tells {number_of(self.tells, 'pair')}"
        if self.earns:
            best = number_of(self.best, "pair")
            return f"{tells}, {self.only} that nothing else tells; the best look for {best}"
        if self.known < 2:
            return f"known of {'1 kind' if self.known else 'no kind'} only, so it compares no two"
        if not self.tells:
            return f"known of {self.known} kinds, but a look tells none of them apart"
        return f"{tells}, but for each another look tells as well for no more trouble, or better"


@kept
def worth(table: TraitTable) -> tuple[Worth, ...]:
    """Return what each trait is worth, in the order of the table; what the seller says is not judged."""
    tell = distinguisher(table)
    best, tells, only = tell.best_looks()
    counts = np.stack([tells, only, np.bincount(best[best >= 0], minlength=len(tells))], axis=1)
    of = {trait.id: map(int, row) for trait, row in zip(tell.by_trouble, counts, strict=True)}
    return tuple(Worth(trait, int(tell.news(trait.id).sum()), *of[trait.id]) for trait in tell.looks)
