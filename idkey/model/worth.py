"""What each trait is worth in a whole table, and which no longer earn their place. Arrays only.

All pairs of kinds are gone through, adults, each kind as likely as the other; `idkey.model.tell` has the
arithmetic of one look. A trait *tells* a pair if one look is right clearly oftener than a guess (`CLEAR`). It
is the *only* one if no other trait tells the pair, and the *best* if no other look is right oftener; of looks
as good, the one that is least trouble. What the seller says is no look and is not judged.

Where a trait does not apply to one of two kinds, the trait that it depends on has told them apart already
(spots, beside the pattern), so the pair does not count for it.

A trait that is neither the only nor the best look for any pair could be left out and no pair would be told
less well by its best look. It may still confirm a name, or tell young fish.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial.distance import pdist, squareform

from idkey.model.combine import kept
from idkey.model.compare import HARDLY
from idkey.model.tell import HEARSAY, Tell
from idkey.table.schema import Trait
from idkey.table.table import TraitTable

__all__ = ["CLEAR", "Looks", "Worth", "worth"]

CLEAR = 0.5 + HARDLY / 2
"""Chance of the right one of two kinds from which on a look tells them apart; below it hardly tells."""
_BLOCK = 128
"""Kinds at a time: the arrays of a block stay in the processor's cache."""
_SAME = 1e-6
"""Looks that differ less are as good as one another."""


@dataclass(frozen=True, slots=True)
class Worth:
    """What one trait does for a table.

    Attributes
    ----------
    trait : Trait
    known : int
        Kinds of which it is known.
    tells : int
        Pairs of kinds that one look tells apart.
    only : int
        Pairs of these that no other trait tells.
    best : int
        Pairs of which it is the best look.
    earns : bool
        Whether it is the only or the best look for some pair.
    text : str
        What it does, or why it does not earn its place; one sentence.
    """

    trait: Trait
    known: int
    tells: int
    only: int
    best: int
    earns: bool
    text: str


@kept
def worth(table: TraitTable) -> tuple[Worth, ...]:
    """Return what each trait is worth, what the seller says aside.

    Parameters
    ----------
    table : TraitTable

    Returns
    -------
    tuple of Worth
        In the order of the table; worked out once for each table.

    Examples
    --------
    >>> import pandas as pd
    >>> frame = pd.DataFrame({"kind": ["a", "b", "c"], "tail": list("xyy"), "spots": list("uvw")})
    >>> [(w.tells, w.only, w.best, w.earns) for w in worth(TraitTable.from_frame(frame, taxon="kind"))]
    [(2, 0, 0, False), (3, 1, 3, True)]
    """
    tell = Tell(table)
    # Of looks as good the first counts: the one that is least trouble, whatever the order of the table.
    traits = sorted((t for t in table.traits if t.id not in HEARSAY), key=lambda t: (t.effort, t.id))
    known = {t.id: int(_said(table, t).sum()) for t in traits}
    counted = _count([Looks(tell, t) for t in traits if known[t.id] > 1], len(table))
    found = {t.id: _worth(t, known[t.id], *counted.get(t.id, (0, 0, 0))) for t in traits}
    return tuple(found[t.id] for t in table.traits if t.id in found)


def _said(table: TraitTable, trait: Trait) -> np.ndarray:
    """Return of which kinds the trait itself says something, shape (n_taxa,)."""
    column = table.column(trait.id)
    return column.known if trait.applies_when else column.known | ~column.applies


class Looks:
    """One trait: which kinds have the same cell, and how often a look tells two cells apart.

    Parameters
    ----------
    tell : Tell
    trait : Trait

    Attributes
    ----------
    id : str
    kind_of : ndarray of int, shape (n_taxa,)
        Which of the different cells each kind has.
    right : ndarray of float32, shape (n_cells, n_cells)
        Chance that one look gives the right one of two kinds that have these cells; 1/2 where the trait says
        nothing of one of them.
    """

    def __init__(self, tell: Tell, trait: Trait):
        self.id = trait.id
        column = tell.table.column(trait.id)
        cells = np.column_stack([column.known, column.applies, column.low, column.high, column.shares])
        # Kinds of the same cell stand for one another: a table has far fewer cells than pairs of kinds.
        _, first, kind_of = np.unique(np.nan_to_num(cells), axis=0, return_index=True, return_inverse=True)
        right = 0.5 + 0.25 * squareform(pdist(tell.distributions(trait.id)[:, first].T, "cityblock"))
        silent = ~_said(tell.table, trait)[first]
        right[silent] = 0.5
        right[:, silent] = 0.5
        self.right = right.astype(np.float32)
        self.kind_of = kind_of.reshape(-1)

    def tells(self) -> np.ndarray:
        """Whether a look tells two cells apart, ndarray of bool, shape (n_cells, n_cells)."""
        return self.right >= np.float32(CLEAR - _SAME)

    def block(self, start: int, stop: int) -> np.ndarray:
        """Return how often a look is right between some kinds and all from the first of them on."""
        return self.right[self.kind_of[start:stop]][:, self.kind_of[start:]]


def _count(looks: list[Looks], n: int) -> dict[str, tuple[int, int, int]]:
    """Count the pairs that each trait tells, tells alone, and tells best."""
    total = np.zeros((3, len(looks)), dtype=np.int64)
    for start in range(0, n, _BLOCK):
        stop = min(start + _BLOCK, n)
        shape = (stop - start, n - start)
        tellers = np.zeros(shape, dtype=np.int16)
        last = np.full(shape, -1, dtype=np.int16)
        best = np.full(shape, -1, dtype=np.int16)
        most = np.full(shape, CLEAR - 2 * _SAME, dtype=np.float32)
        # A kind is no pair with itself, and each pair counts once.
        later = np.arange(shape[1]) > np.arange(shape[0])[:, None]
        for j, look in enumerate(looks):
            right = look.block(start, stop)
            tells = (right >= np.float32(CLEAR - _SAME)) & later
            total[0, j] += np.count_nonzero(tells)
            tellers += tells
            np.copyto(last, j, where=tells)
            better = right > most + np.float32(_SAME)
            np.copyto(best, j, where=better)
            np.copyto(most, right, where=better)
        for row, winner in ((1, last[(tellers == 1) & later]), (2, best[(best >= 0) & later])):
            total[row] += np.bincount(winner, minlength=len(looks))
    return {look.id: tuple(map(int, total[:, j])) for j, look in enumerate(looks)}


def _worth(trait: Trait, known: int, tells: int, only: int, best: int) -> Worth:
    earns = only > 0 or best > 0
    if earns:
        text = f"tells {_pairs(tells)}, {only} that nothing else tells; the best look for {_pairs(best)}"
    elif known < 2:
        text = f"known of {'1 kind' if known else 'no kind'} only, so it compares no two"
    elif not tells:
        text = f"known of {known} kinds, but a look tells none of them apart"
    else:
        text = (
            f"tells {_pairs(tells)}, but for each another look tells as well for no more trouble, or better"
        )
    return Worth(trait, known, tells, only, best, earns, text)


def _pairs(count: int) -> str:
    return "1 pair" if count == 1 else f"{count:,} pairs"
