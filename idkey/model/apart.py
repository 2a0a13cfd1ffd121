"""One kind against all others of its table: which it can't be told from, and what would settle it.

A look *tells* two kinds if it is right clearly oftener than a guess (`CLEAR`); what the seller says is no
look. `idkey.model.tell` has the arithmetic.

What would settle a pair is a trait of the table that is blank for one of the two, or both. What filling the
blank would bring is judged by the kinds of the same genus that are known in the trait (of the whole table,
where fewer than `KIN` are): the blank may come out as any of them. A trait known of fewer still is passed
over. The traits stand in the order of the worth to be expected for a second of looking.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from idkey.display import Shown
from idkey.model.combine import kept
from idkey.model.compare import FEW, HARDLY
from idkey.model.prior import check_table
from idkey.model.tell import HEARSAY, Tell
from idkey.model.worth import CLEAR
from idkey.table.schema import States, Trait
from idkey.table.table import TraitTable

__all__ = ["MOST_PAIRS", "RELIABLE", "SAME", "Apart", "Pair", "Settle", "apart"]

RELIABLE = 0.9
"""A look that is right less often is not to be relied on by itself (judgement): it errs once in ten. The look
is judged and not the bound on the mix-ups after all looks, which is the most there can be and would warn of
pairs that several looks tell well."""
SAME = 1e-9
"""Rounding: a look that is this little better than a guess says nothing at all."""
KIN = 3
"""Kinds that must be known in a trait before they say what a blank may hold (judgement)."""
MOST_PAIRS = 5
"""Pairs of each sort that are gone into."""
MOST_SETTLE = 3
_MOST_KIN = 60
"""Kinds that stand for a large genus where two blanks are judged, taken evenly."""


@dataclass(frozen=True, slots=True)
class Settle:
    """A trait that would settle a pair if it were known.

    Attributes
    ----------
    trait : Trait
    blank : tuple of str
        The kinds of the pair of which it is not known.
    among : str
        The genus by which it is judged; blank where it is the whole table.
    known : int
        Kinds known there.
    differ : float
        Share of these that differ clearly from the kind that is known; of two blanks, share of the pairs of
        them that do.
    worth : float
        How much one look is expected to tell, 0 (a guess) to 1.
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

    Attributes
    ----------
    other : str
        Taxon id of the other.
    why : {"never", "one look", "adults only"}
        All that is known of both is the same; one look alone tells adults, and it is not reliable; young fish
        are not told apart.
    compared : int
        Traits, what the seller says aside, that hold a value for both.
    trait : Trait or None
        The best look at an adult; None where none says anything.
    right : float
        How often that look gives the right one of the two.
    settle : tuple of Settle
        Traits that would settle it, best first; empty where it takes a new trait.
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
    table : TraitTable
    taxon : str
    others : int
        Kinds it is held against.
    never : tuple of str
        Kinds that are the same in all that is known of both, which is `FEW` traits or more.
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
    others: int
    never: tuple[str, ...]
    hardly_known: tuple[str, ...]
    one_look: tuple[str, ...]
    adults_only: tuple[str, ...]
    pairs: tuple[Pair, ...]

    @property
    def is_told(self) -> bool:
        """Whether it is told from every other kind, adult and young, by looks that can be relied on."""
        return not (self.never or self.hardly_known or self.one_look or self.adults_only)


def apart(table: TraitTable, taxon: str) -> Apart:
    """Hold one kind against all others.

    Parameters
    ----------
    table : TraitTable
    taxon : str

    Returns
    -------
    Apart

    Raises
    ------
    UnknownName

    Examples
    --------
    >>> import pandas as pd
    >>> frame = pd.DataFrame({"kind": list("abc"), "tail": list("xyy"), "fin": list("uuu"), "eye": [2, 2, 2]})
    >>> found = apart(TraitTable.from_frame(frame, taxon="kind"), "b")
    >>> found.never, found.hardly_known, found.one_look
    (('c',), (), ())
    """
    check_table(table)
    looks = _looks(table)
    return looks.against_all(table.position(taxon))


@kept
def _looks(table: TraitTable) -> _Looks:
    return _Looks(table)


class _Looks:
    """The looks at the fish of a table, and what filling a blank cell would bring."""

    def __init__(self, table: TraitTable):
        self.table = table
        self.tell = Tell(table)
        self.traits = tuple(t for t in table.traits if t.id not in HEARSAY)
        known = [table.column(t.id).known for t in self.traits]
        self.filled = np.array(known, dtype=bool).reshape(-1, len(table))
        self.genus = (
            table.taxa["genus"].astype(str).to_numpy(dtype=object)
            if "genus" in table.taxa.columns
            else np.full(len(table), "", dtype=object)
        )
        self._two_blanks: dict[tuple[str, str, str, str], tuple[float, float]] = {}

    # -- one against all --------------------------------------------------------------------------

    def against_all(self, at: int) -> Apart:
        n = len(self.table)
        all_kinds = np.arange(n)
        adult = self._right(at, all_kinds, "adult")
        best, best_young = (
            adult.max(axis=0, initial=0.5),
            self._right(at, all_kinds, "young").max(axis=0, initial=0.5),
        )
        compared = (self.filled & self.filled[:, [at]]).sum(axis=0)
        alike = (best <= 0.5 + SAME) & (best_young <= 0.5 + SAME)
        other = all_kinds != at
        told = best >= CLEAR - SAME
        unsure = ~alike & (self._telling(at, adult) <= 1) & (best < RELIABLE - SAME)
        groups = {
            "never": alike & (compared >= FEW),
            "hardly known": alike & (compared < FEW),
            "one look": unsure,
            "adults only": told & (best_young < CLEAR - SAME),
        }
        rows = {why: np.flatnonzero(found & other) for why, found in groups.items()}
        pairs: dict[int, Pair] = {}
        for why in ("never", "one look", "adults only"):
            stage = "young" if why == "adults only" else "adult"
            # Of many pairs, those of which most is known: they are the least likely to sort themselves out.
            first = rows[why][np.argsort(-compared[rows[why]], kind="stable")][:MOST_PAIRS]
            for b in first.tolist():
                if b not in pairs:
                    trait = self.traits[int(adult[:, b].argmax())] if best[b] > 0.5 + SAME else None
                    settle = tuple(self._settling(at, b, stage))
                    pairs[b] = Pair(self.table.ids[b], why, int(compared[b]), trait, float(best[b]), settle)
        names = {why: tuple(self.table.ids[b] for b in found) for why, found in rows.items()}
        return Apart(
            table=self.table,
            taxon=self.table.ids[at],
            others=n - 1,
            never=names["never"],
            hardly_known=names["hardly known"],
            one_look=names["one look"],
            adults_only=names["adults only"],
            pairs=tuple(pairs.values()),
        )

    def _right(self, a: int, b: np.ndarray, stage: str) -> np.ndarray:
        """How often each look gives the right one of two kinds, shape (n_traits, n_others)."""
        found = [self.tell.right(t.id, np.full(len(b), a), b, stage) for t in self.traits]
        return np.array(found).reshape(len(self.traits), len(b))

    def _telling(self, at: int, right: np.ndarray) -> np.ndarray:
        """Count the groups of traits that tell the kind from each other; shape (n_taxa,)."""
        tells: dict[tuple[str, str], np.ndarray] = {}
        for trait, found in zip(self.traits, right, strict=True):
            clear = found >= CLEAR - SAME
            absent = ~self.table.column(trait.id).applies
            absent = absent | absent[at]
            for group, where in (
                (self.tell.group(trait.id), clear & ~absent),
                (
                    self.tell.group(trait.id, np.flatnonzero(~self.table.column(trait.id).applies)[:1]),
                    clear & absent,
                ),
            ):
                tells[group] = tells.get(group, False) | where
        return np.array(list(tells.values())).reshape(-1, right.shape[1]).sum(axis=0)

    # -- what would settle it ---------------------------------------------------------------------

    def _settling(self, a: int, b: int, stage: str) -> list[Settle]:
        found = [s for trait in self.traits if (s := self._settle(trait, a, b, stage)) is not None]
        found = [s for s in found if s.worth >= HARDLY]
        return sorted(found, key=lambda s: (-s.worth / s.trait.effort, s.trait.id))[:MOST_SETTLE]

    def _settle(self, trait: Trait, a: int, b: int, stage: str) -> Settle | None:
        known = self.tell.known(trait.id, stage)
        blank = [i for i in (a, b) if not known[i]]
        if not blank or not all(self._may_apply(trait, i) for i in blank):
            return None
        kin = [self._kin(trait, i, stage, without=(a, b)) for i in blank]
        if not all(len(rows) >= KIN for _, rows in kin):
            return None
        if len(blank) == 1:
            genus, rows = kin[0]
            right = self.tell.right(trait.id, np.full(len(rows), a if blank[0] == b else b), rows, stage)
            differ, worth = float(np.mean(right >= CLEAR - SAME)), float(2 * right.mean() - 1)
        else:
            differ, worth = self._of_two_blanks(trait, kin, stage)
            genus = kin[0][0] if kin[0][0] == kin[1][0] else ""
        count = len(np.unique(np.concatenate([rows for _, rows in kin])))
        return Settle(trait, tuple(self.table.ids[i] for i in blank), genus, count, differ, worth)

    def _may_apply(self, trait: Trait, at: int) -> bool:
        """Whether the trait may exist in a kind, by the trait that decides it."""
        if trait.applies_when is None or trait.applies_when[0] not in self.table.trait_ids:
            return True
        cell = self.table.cells[trait.applies_when[0]][at]
        return not isinstance(cell, States) or bool(set(cell.names) & set(trait.applies_when[1]))

    def _kin(self, trait: Trait, at: int, stage: str, *, without: tuple[int, int]) -> tuple[str, np.ndarray]:
        """Return the genus of a kind and its members known in the trait, or of the whole table."""
        known = self.tell.known(trait.id, stage).copy()
        known[list(without)] = False
        genus = self.genus[at]
        of_genus = known & (self.genus == genus)
        if genus and of_genus.sum() >= KIN:
            return genus, np.flatnonzero(of_genus)
        return "", np.flatnonzero(known)

    def _of_two_blanks(
        self, trait: Trait, kin: list[tuple[str, np.ndarray]], stage: str
    ) -> tuple[float, float]:
        """Share of the pairs of kin that differ, and how much a look is expected to tell."""
        # Both are blank, so neither is among the kin: these depend on the genera alone.
        key = trait.id, stage, kin[0][0], kin[1][0]
        if key not in self._two_blanks:
            one, other = (_some(rows) for _, rows in kin)
            x, y = (i.ravel() for i in np.meshgrid(one, other, indexing="ij"))
            x, y = x[x != y], y[x != y]
            right = self.tell.right(trait.id, x, y, stage)
            clear = float(np.mean(right >= CLEAR - SAME)) if len(x) else 0.0
            self._two_blanks[key] = clear, float(2 * right.mean() - 1) if len(x) else 0.0
        return self._two_blanks[key]


def _some(rows: np.ndarray) -> np.ndarray:
    if len(rows) <= _MOST_KIN:
        return rows
    return rows[np.linspace(0, len(rows) - 1, _MOST_KIN).astype(int)]
