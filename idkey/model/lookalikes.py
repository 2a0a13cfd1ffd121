"""Who is mistaken for whom: in a whole table, and one kind against all others with what would settle it.

What would settle a pair is a trait of the table that is blank for one of the two, or both. What filling the
blank would bring is judged by the kinds of the same genus that are known in the trait (of the whole table,
where fewer than `KIN` are): the blank may come out as any of them. A trait known of fewer still is passed
over. The traits stand in the order of the worth to be expected for a second of looking.
`idkey.model.distinguish` has the arithmetic.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from idkey.arguments import checked
from idkey.display import Shown
from idkey.errors import IdkeyError
from idkey.model.distinguish import CLEAR, HARDLY, SAME, Distinguisher, distinguisher, is_clear
from idkey.table.schema import States, Trait
from idkey.table.table import TraitTable

FEW = 3
"""Traits that must be known of both for a pair to count as compared (judgement)."""
LEAST = 0.05
"""Mix-ups of a pair below which it is left out of the list of lookalikes."""
RELIABLE = 0.9
"""A look that is right less often is not to be relied on by itself (judgement): it errs once in ten."""
KIN = 3
"""Kinds that must be known in a trait before they say what a blank may hold (judgement)."""
MOST_PAIRS = 5
"""Pairs of each sort that are gone into."""
MOST_SETTLE = 3
_MOST_KIN = 60
"""Kinds that stand for a large genus where two blanks are judged, taken evenly."""


# -- the whole table --------------------------------------------------------------------------------


@checked
@dataclass(frozen=True, eq=False, repr=False)
class Lookalikes(Shown):
    """Who is mistaken for whom; see `lookalikes`.

    Attributes
    ----------
    ids : tuple of str
        Taxon ids in the order of the table.
    matrix : ndarray, shape (n_taxa, n_taxa)
        The most that the chance of a mix-up of two kinds can be, 0 to 1/2; 1/2 on the diagonal.
    compared : ndarray of int, shape (n_taxa, n_taxa)
        Number of traits, what the seller says aside, that hold a value for both.
    frame : pandas.DataFrame
        The pairs with `LEAST` or more, most alike first (of equals the best known, then by id), those hardly
        compared last. Columns a, b, mix_up_at_most, compared, best_trait (blank where none tells),
        adults_only (the best trait does not tell young fish), mix_up_young_at_most and hardly_compared.
    """

    table: TraitTable
    stage: str
    ids: tuple[str, ...]
    matrix: np.ndarray
    compared: np.ndarray
    frame: pd.DataFrame

    @property
    def hardly_compared(self) -> np.ndarray:
        """Pairs that look alike because little is known, ndarray of bool, shape (n_taxa, n_taxa)."""
        return self.compared < FEW

    def nearest(self, taxon: str | None = None) -> tuple[str, str]:
        """Return the two kinds most alike that can be compared, or a given kind and the one most like it.

        Of pairs equally alike, the one of which most is known. Raises UnknownName, and IdkeyError for a table
        of one kind.
        """
        if len(self.ids) < 2:
            raise IdkeyError(f"{self.table.name}: 1 kind: give a table with at least two")
        rows = sorted(range(len(self.ids)), key=lambda i: self.ids[i])
        asked = rows if taxon is None else [self.table.position(taxon)]
        best = -np.inf, 0, 0
        for row in asked:
            score = np.where(self.compared[row] < FEW, self.matrix[row] - 1.0, self.matrix[row]).round(9)
            score += 1e-12 * self.compared[row]
            score[row] = -np.inf
            other = rows[int(np.argmax(score[rows]))]
            best = max(best, (score[other], row, other), key=lambda found: found[0])
        return self.ids[best[1]], self.ids[best[2]]


@checked
def lookalikes(table: TraitTable, stage: str = "adult") -> Lookalikes:
    """Return who is mistaken for whom in a whole table, adults or young fish.

    A pair is mixed up in at most ``matrix[a, b]`` of cases, if the best look of each group of traits is taken
    and both kinds are equally likely: half the Bhattacharyya coefficient, an upper bound. Many blanks make
    two kinds look alike only because nothing is known; `compared` tells. Raises IdkeyError.
    """
    tell = distinguisher(table)
    alike = tell.affinity(stage)
    alike /= 2
    alike.setflags(write=False)
    return Lookalikes(table, stage, table.ids, alike, tell.compared, _pairs_frame(tell, stage, alike))


def _pairs_frame(tell: Distinguisher, stage: str, alike: np.ndarray) -> pd.DataFrame:
    best = tell.best_looks(stage)[0]
    parts = [_pairs_of(tell, stage, alike, best, *block) for block in tell.blocks()]
    a, b, mix_up, compared, best, told_young, young = map(np.concatenate, zip(*parts, strict=True))
    few = compared < FEW
    order = np.lexsort((-compared, -mix_up.round(9), few))
    ids = np.array(tell.table.ids, dtype=object)
    names = np.array([*(trait.id for trait in tell.by_trouble), ""], dtype=object)
    columns = {
        "a": ids[a[order]],
        "b": ids[b[order]],
        "mix_up_at_most": mix_up[order],
        "compared": compared[order].astype(int),
        "best_trait": names[best[order]],
        "adults_only": ((best >= 0) & ~told_young)[order],
        "mix_up_young_at_most": young[order],
        "hardly_compared": few[order],
    }
    return pd.DataFrame(columns)


def _pairs_of(
    tell: Distinguisher, stage: str, alike: np.ndarray, best: np.ndarray, rows: np.ndarray, kinds: np.ndarray
) -> tuple[np.ndarray, ...]:
    """Return the columns of the pairs of one block, which stand by id."""
    start = len(best) - len(kinds)
    one, other = np.nonzero(np.triu(alike[np.ix_(rows, kinds)] >= LEAST, k=1))
    a, b = rows[one].astype(np.int32), kinds[other].astype(np.int32)
    best, told_young = best[start + one, start + other], np.zeros(len(one), dtype=bool)
    for j in np.unique(best[best >= 0]).tolist():
        of_it = best == j
        right = tell.right(tell.by_trouble[j].id, rows, "young")
        told_young[of_it] = right[one[of_it], b[of_it]] >= CLEAR
    mix_up = alike[a, b]
    young = mix_up if stage == "young" else tell.affinity_of(rows, kinds, "young")[one, other] / 2
    return a, b, mix_up, tell.compared[a, b], best, told_young, young


# -- one kind against all others --------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Settle:
    """A trait that would settle a pair if it were known of the kinds `blank`.

    It is judged by the `known` kinds of the genus `among` (of the whole table where that is ""), of which the
    share `differ` is clearly unlike the other kind; of two blanks, so many of the pairs of them are unlike.
    `worth` is how much one look is expected to tell, 0 (a guess) to 1.
    """

    trait: Trait
    blank: tuple[str, ...]
    among: str
    known: int
    differ: float
    worth: float


@dataclass(frozen=True, slots=True)
class Pair:
    """A kind and another that it is hard to tell from.

    `compared` traits hold a value for both. The best look at an adult is `trait`, `right` so often; None
    where none says anything. `settle` would settle it, the best first; without any it takes a new trait.
    """

    other: str
    why: Literal["never", "one look", "adults only"]
    compared: int
    trait: Trait | None
    right: float
    settle: tuple[Settle, ...]


@dataclass(frozen=True, eq=False, repr=False)
class Apart(Shown):
    """How well one kind is told from all others; see `apart`.

    Attributes
    ----------
    never : tuple of str
        Kinds that no look tells it from (`CLEAR`), though `FEW` traits or more are known of both.
    hardly_known : tuple of str
        Kinds that it can't be told from because fewer traits are known of both.
    one_look : tuple of str
        Kinds of which adults are told by one look at most, and that is right less often than `RELIABLE`.
    adults_only : tuple of str
        Kinds of which adults are told, young fish not.
    pairs : tuple of Pair
        The first `MOST_PAIRS` of `never`, `one_look` and `adults_only`.
    """

    table: TraitTable
    taxon: str
    never: tuple[str, ...]
    hardly_known: tuple[str, ...]
    one_look: tuple[str, ...]
    adults_only: tuple[str, ...]
    pairs: tuple[Pair, ...]

    @property
    def is_told(self) -> bool:
        """Whether it is told from every other kind, adult and young, by looks that can be relied on."""
        return not (self.never or self.hardly_known or self.one_look or self.adults_only)


@checked
def apart(table: TraitTable, taxon: str) -> Apart:
    """Hold one kind against all others. Raises UnknownName."""
    at, tell = table.position(taxon), distinguisher(table)
    adult, young = (
        np.array([tell.right(t.id, [at], stage)[0] for t in tell.looks]).reshape(len(tell.looks), len(table))
        for stage in ("adult", "young")
    )
    best, best_young = adult.max(axis=0, initial=0.5), young.max(axis=0, initial=0.5)
    compared = tell.compared[at]
    # As in a review: a look that is right little more often than a coin tells nothing.
    told, told_young = is_clear(best), is_clear(best_young)
    alike = ~told & ~told_young
    unsure = ~alike & (_telling(tell, at, adult) <= 1) & (best < RELIABLE - SAME)
    groups = {
        "never": alike & (compared >= FEW),
        "hardly known": alike & (compared < FEW),
        "one look": unsure,
        "adults only": told & ~told_young,
    }
    other = np.arange(len(table)) != at
    rows = {why: np.flatnonzero(group & other) for why, group in groups.items()}
    names = {why: tuple(table.ids[b] for b in members) for why, members in rows.items()}
    pairs: dict[int, Pair] = {}
    for why in ("never", "one look", "adults only"):
        # Of many pairs, those of which most is known: they are the least likely to sort themselves out.
        first = rows[why][np.argsort(-compared[rows[why]], kind="stable")][:MOST_PAIRS]
        for b in (b for b in first.tolist() if b not in pairs):
            trait = tell.looks[int(adult[:, b].argmax())] if told[b] else None
            settle = _settling(tell, at, b, "young" if why == "adults only" else "adult")
            pairs[b] = Pair(table.ids[b], why, int(compared[b]), trait, float(best[b]), settle)
    return Apart(table, taxon, *names.values(), pairs=tuple(pairs.values()))


def _telling(tell: Distinguisher, at: int, right: np.ndarray) -> np.ndarray:
    """Count the groups of traits that tell one kind from each other, shape (n_taxa,)."""
    tells: dict[tuple[str, str], np.ndarray] = {}
    for trait, row in zip(tell.looks, right, strict=True):
        absent = ~tell.table.column(trait.id).applies
        either = absent | absent[at]
        clear = is_clear(row)
        without = np.flatnonzero(absent)[:1]
        for group, where in ((tell.group(trait.id), ~either), (tell.group(trait.id, without), either)):
            tells[group] = tells.get(group, False) | (clear & where)
    return np.array(list(tells.values())).reshape(-1, right.shape[1]).sum(axis=0)


def _settling(tell: Distinguisher, a: int, b: int, stage: str) -> tuple[Settle, ...]:
    """Return the traits that would settle a pair, the best first."""
    table, ways = tell.table, []
    genera = np.array(table.genus, dtype=object)
    for trait in tell.looks:
        known = tell.known(trait.id, stage)
        blank = [i for i in (a, b) if not known[i]]
        if not blank or not all(_may_apply(table, trait, i) for i in blank):
            continue
        others = known & ~np.isin(np.arange(len(table)), (a, b))
        kin = {i: _kin(others, genera, i, tell.order) for i in blank}
        if any(len(rows) < KIN for _, rows in kin.values()):
            continue
        # A blank may come out as any of its kin; of a large genus some stand for all, taken evenly.
        sides = (kin[i][1] if i in kin else np.array([i]) for i in (a, b))
        one, other = (rows[:: -(-len(rows) // _MOST_KIN)] for rows in sides)
        right = tell.right(trait.id, one, stage)[:, other][one[:, None] != other]
        worth = float(2 * right.mean() - 1)
        if worth >= HARDLY:
            among = {genus for genus, _ in kin.values()}
            count = len(np.unique(np.concatenate([rows for _, rows in kin.values()])))
            differ = float(np.mean(is_clear(right)))
            ids = tuple(table.ids[i] for i in blank)
            ways.append(Settle(trait, ids, among.pop() if len(among) == 1 else "", count, differ, worth))
    ways.sort(key=lambda way: (-way.worth / way.trait.effort, way.trait.id))
    return tuple(ways[:MOST_SETTLE])


def _may_apply(table: TraitTable, trait: Trait, at: int) -> bool:
    """Whether the trait may exist in a kind, by the trait that decides it."""
    if trait.applies_when is None or trait.applies_when[0] not in table.trait_ids:
        return True
    cell = table.cells[trait.applies_when[0]][at]
    return not isinstance(cell, States) or bool(set(cell.names) & set(trait.applies_when[1]))


def _kin(known: np.ndarray, genera: np.ndarray, at: int, order: np.ndarray) -> tuple[str, np.ndarray]:
    """Return the genus of a kind and its known members, or of the whole table where they are few."""
    of_genus = order[(known & (genera == genera[at]))[order]]
    if genera[at] and len(of_genus) >= KIN:
        return genera[at], of_genus
    return "", order[known[order]]
