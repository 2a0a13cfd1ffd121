"""Kinds side by side: what tells them apart, best first; and who is mistaken for whom in a whole table.

A contrast is *shared* where the cells of all kinds read the same, for adults and for young; *unknown* where
the cell of one of them is blank; otherwise it *differs*, strongest first, however little it tells. The three
best looks are those that together leave the smallest chance of a mix-up, of the `TRIED` strongest differing
traits that tell at all (`HARDLY`), never two of one group and never what the seller says. `idkey.model.tell`
has the arithmetic.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd

from idkey.display import Printed, Shown
from idkey.errors import IdkeyError
from idkey.model.combine import kept
from idkey.model.prior import check_table
from idkey.model.tell import HEARSAY, Tell
from idkey.table.schema import YOUNG, Cell, NotApplicable, Range, States, Trait
from idkey.table.table import TraitTable

__all__ = [
    "FEW",
    "HARDLY",
    "Comparison",
    "Contrast",
    "Lookalikes",
    "compare",
    "lookalikes",
]

HARDLY = 0.1
"""Share of the way from a guess to certainty below which a look hardly tells; of two, 0.55 (judgement)."""
TRIED = 8
"""Differing traits of which the best looks are chosen."""
LOOKS = 3
FEW = 3
"""Traits that must be known of both for a pair to count as compared (judgement)."""
LEAST = 0.05
"""Mix-ups of a pair below which it is left out of the list of lookalikes."""
_PAIRS_AT_A_TIME = 20_000


@dataclass(frozen=True, slots=True)
class Contrast:
    """One trait of the kinds compared.

    Attributes
    ----------
    trait : Trait
    cells : tuple of str
        What the table has for each kind, in words; "not known", "does not apply".
    right : float
        Chance that one look at an adult gives the right kind, all being equally likely: ``1/k`` is a guess.
    right_young : float or None
        The same for a young fish; None where a young fish does not show it.
    kind : {"differs", "shared", "unknown"}
    hearsay : bool
        It is what the seller says, not a look at the fish.
    """

    trait: Trait
    cells: tuple[str, ...]
    right: float
    right_young: float | None
    kind: str
    hearsay: bool = False

    @property
    def hardly(self) -> bool:
        """Whether the cells differ but one look at an adult hardly tells."""
        return self.kind == "differs" and not _tells(self.right, len(self.cells))


@dataclass(frozen=True, eq=False, repr=False)
class Comparison(Printed):
    """Two or more kinds side by side; see `compare`.

    Attributes
    ----------
    table : TraitTable
    taxa, labels : tuple of str
        Taxon ids in the order given, and their names.
    differ, shared, unknown : tuple of Contrast
        `differ` strongest first, the others in the order of the table.
    looks, looks_young : tuple of Trait
        Up to three looks that together tell best, best first, for adults and for young fish; one that could
        never overturn the others is left out.
    mix_up, mix_up_young : float
        Chance that the fish is named wrongly after those looks.
    """

    table: TraitTable
    taxa: tuple[str, ...]
    labels: tuple[str, ...]
    differ: tuple[Contrast, ...]
    shared: tuple[Contrast, ...]
    unknown: tuple[Contrast, ...]
    looks: tuple[Trait, ...]
    looks_young: tuple[Trait, ...]
    mix_up: float
    mix_up_young: float

    @property
    def contrasts(self) -> tuple[Contrast, ...]:
        """All of them: differing, shared, unknown."""
        return self.differ + self.shared + self.unknown

    def to_frame(self) -> pd.DataFrame:
        """Return one row a trait.

        Returns
        -------
        pandas.DataFrame, shape (n_traits, 4 + n_kinds)
            Columns trait, label, one a kind (its id), right, right_young (NaN where young fish do not show
            it) and kind.
        """
        rows = [
            {"trait": c.trait.id, "label": c.trait.name}
            | dict(zip(self.taxa, c.cells, strict=True))
            | {"right": c.right, "right_young": np.nan if c.right_young is None else c.right_young}
            | {"kind": c.kind}
            for c in self.contrasts
        ]
        return pd.DataFrame(rows)

    def to_dict(self) -> dict[str, Any]:
        """Return the comparison as plain lists, numbers and text, ready for JSON."""
        return {
            "taxa": list(self.taxa),
            "labels": list(self.labels),
            "looks": [t.id for t in self.looks],
            "looks_young": [t.id for t in self.looks_young],
            "mix_up": self.mix_up,
            "mix_up_young": self.mix_up_young,
            "contrasts": [
                {
                    "trait": c.trait.id,
                    "cells": list(c.cells),
                    "right": c.right,
                    "right_young": c.right_young,
                    "kind": c.kind,
                    "hearsay": c.hearsay,
                }
                for c in self.contrasts
            ],
        }


def compare(table: TraitTable, a: str, b: str, *more: str) -> Comparison:
    """Put two or more kinds side by side.

    Parameters
    ----------
    table : TraitTable
    a, b, *more : str
        Taxon ids; a repeated one counts once.

    Returns
    -------
    Comparison

    Raises
    ------
    UnknownName
        An id that is not in the table.
    IdkeyError
        Fewer than two different kinds.

    Examples
    --------
    >>> columns = {"kind": ["a", "b"], "tail": ["forked", "straight"], "spots": ["white", "white"]}
    >>> frame = pd.DataFrame(columns)
    >>> found = compare(TraitTable.from_frame(frame, taxon="kind"), "a", "b")
    >>> [c.trait.id for c in found.differ], [c.trait.id for c in found.shared], round(found.mix_up, 3)
    (['tail'], ['spots'], 0.025)
    """
    check_table(table)
    taxa = tuple(dict.fromkeys((a, b, *more)))
    at = [table.position(taxon) for taxon in taxa]
    if len(taxa) < 2:
        msg = f"{a!r} is given twice: give two different kinds to compare"
        raise IdkeyError(msg)
    tell = _tell(table)
    contrasts = [_contrast(tell, trait, taxa, at) for trait in table.traits]
    differ = sorted(
        (c for c in contrasts if c.kind == "differs"),
        key=lambda c: (-round(c.right, 12), -round(c.right_young or 0.0, 12)),
    )
    looks, mix_up = _best_looks(tell, differ, at, "adult")
    looks_young, mix_up_young = _best_looks(tell, differ, at, "young")
    return Comparison(
        table=table,
        taxa=taxa,
        labels=tuple(table.label(taxon) for taxon in taxa),
        differ=tuple(differ),
        shared=tuple(c for c in contrasts if c.kind == "shared"),
        unknown=tuple(c for c in contrasts if c.kind == "unknown"),
        looks=looks,
        looks_young=looks_young,
        mix_up=mix_up,
        mix_up_young=mix_up_young,
    )


@kept
def _tell(table: TraitTable) -> Tell:
    return Tell(table)


def _tells(right: float, k: int) -> bool:
    """Whether a look that is right this often is more than hardly better than a guess among k kinds."""
    return right - 1 / k >= HARDLY * (1 - 1 / k) - 1e-12


def _contrast(tell: Tell, trait: Trait, taxa: Sequence[str], at: list[int]) -> Contrast:
    cells = [(_cell(tell.table, taxon, trait.id), _young_cell(tell.table, taxon, trait)) for taxon in taxa]
    right = 1 - tell.mix_up([trait.id], at)
    shows_young = bool(tell.known(trait.id, "young")[at].all())
    right_young = 1 - tell.mix_up([trait.id], at, "young") if shows_young else None
    if any(adult is None for adult, _ in cells):
        kind = "unknown"
    else:
        kind = "shared" if all(cell == cells[0] for cell in cells) else "differs"
    words = tuple(_both_words(trait, *cell) for cell in cells)
    return Contrast(trait, words, right, right_young, kind, trait.id in HEARSAY)


def _cell(table: TraitTable, taxon: str, column: str) -> Cell:
    return table.cells[column][table.position(taxon)] if column in table.cells else None


def _young_cell(table: TraitTable, taxon: str, trait: Trait) -> Cell:
    """What is said of young fish, None where nothing else is said than of adults."""
    young = _cell(table, taxon, trait.id + YOUNG)
    return None if young == _cell(table, taxon, trait.id) else young


def _both_words(trait: Trait, adult: Cell, young: Cell) -> str:
    words = _words(trait, adult)
    return words if young is None else f"{words}; young: {_words(trait, young)}"


def _words(trait: Trait, cell: Cell) -> str:
    """Return a cell in words; of states with stated shares the rarer are named as such."""
    if cell is None:
        return "not known"
    if isinstance(cell, NotApplicable):
        return "does not apply"
    if isinstance(cell, States):
        if max(cell.shares) - min(cell.shares) < 1e-9:
            return " or ".join(trait.word(s) for s in cell.names)
        return " or ".join(f"{trait.word(n)} ({s:.0%})" for n, s in zip(cell.names, cell.shares, strict=True))
    if trait.kind == "ceiling":
        return f"up to {trait.number(cell.high)}"
    return _range_words(trait, cell)


def _range_words(trait: Trait, cell: Range) -> str:
    return trait.number(cell.low) if cell.low == cell.high else f"{cell.low:g} to {trait.number(cell.high)}"


def _best_looks(
    tell: Tell, differ: Sequence[Contrast], at: list[int], stage: str
) -> tuple[tuple[Trait, ...], float]:
    """Return the looks that together leave the smallest chance of a mix-up, and that chance."""
    worth = {c.trait.id: c.right_young if stage == "young" else c.right for c in differ if not c.hearsay}
    ranked = sorted(
        (t for t, right in worth.items() if right is not None and _tells(right, len(at))),
        key=lambda t: -round(worth[t], 12),
    )[:TRIED]
    best: tuple[str, ...] = ()
    least = (tell.mix_up([], at), 0.0)
    for size in range(1, LOOKS + 1):
        for chosen in combinations(ranked, size):
            groups = {tell.group(t, at, stage) for t in chosen}
            if len(groups) == size:
                trouble = sum(tell.table.trait(t).effort for t in chosen)
                # Of looks that leave the same chance, those that are least trouble.
                found = (round(tell.mix_up(chosen, at, stage), 12), trouble)
                if found < least:
                    best, least = chosen, found
    return tuple(tell.table.trait(t) for t in best), least[0]


# -- the whole table --------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False, repr=False)
class Lookalikes(Shown):
    """Who is mistaken for whom; see `lookalikes`.

    Attributes
    ----------
    table : TraitTable
    stage : {"adult", "young"}
    ids : tuple of str
        Taxon ids in the order of the table.
    matrix : ndarray, shape (n_taxa, n_taxa)
        The most that the chance of a mix-up of two kinds can be, 0 to 1/2; 1/2 on the diagonal.
    compared : ndarray of int, shape (n_taxa, n_taxa)
        Number of traits, what the seller says aside, that hold a value for both.
    frame : pandas.DataFrame
        The pairs with `LEAST` or more, most alike first (of equals the best known), those hardly compared
        last. Columns a, b, mix_up_at_most, compared, best_trait (blank where none tells), adults_only (the
        best trait does not tell young fish), mix_up_young_at_most and hardly_compared.
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

        Of pairs equally alike, the one of which most is known.

        Raises
        ------
        UnknownName
        IdkeyError
            A table of one kind.
        """
        if len(self.ids) < 2:
            msg = f"{self.table.name}: 1 kind: give a table with at least two"
            raise IdkeyError(msg)
        score = np.where(self.hardly_compared, self.matrix - 1.0, self.matrix).round(9)
        score += 1e-12 * self.compared
        np.fill_diagonal(score, -np.inf)
        row = self.table.position(taxon) if taxon is not None else int(np.argmax(score.max(axis=1)))
        return self.ids[row], self.ids[int(np.argmax(score[row]))]


def lookalikes(table: TraitTable, stage: str = "adult") -> Lookalikes:
    """Return who is mistaken for whom in a whole table.

    A pair is mixed up in at most ``matrix[a, b]`` of cases, if the best look of each group of traits is taken
    and both kinds are equally likely: half the Bhattacharyya coefficient (see `idkey.model.tell`), an upper
    bound. Many blanks make two kinds look alike only because nothing is known; `compared` tells.

    Parameters
    ----------
    table : TraitTable
    stage : {"adult", "young"}
        Age of the fish.

    Returns
    -------
    Lookalikes

    Raises
    ------
    IdkeyError
        No trait table, or no such stage.

    Examples
    --------
    >>> frame = pd.DataFrame({"kind": ["a", "b", "c"], "tail": ["forked", "straight", "straight"]})
    >>> lookalikes(TraitTable.from_frame(frame, taxon="kind")).matrix.round(2).tolist()[1]
    [0.16, 0.5, 0.5]
    """
    check_table(table)
    tell = _tell(table)
    alike = tell.affinity(stage) / 2
    young = alike if stage == "young" else tell.affinity("young") / 2
    known = np.array([table.column(t.id).known for t in table.traits if t.id not in HEARSAY], dtype=float)
    known = known.reshape(-1, len(table))
    compared = (known.T @ known).astype(int)
    for array in (alike, compared):
        array.setflags(write=False)
    return Lookalikes(
        table, stage, table.ids, alike, compared, _pairs_frame(tell, stage, alike, young, compared)
    )


def _pairs_frame(
    tell: Tell, stage: str, alike: np.ndarray, young: np.ndarray, compared: np.ndarray
) -> pd.DataFrame:
    a, b = np.nonzero(np.triu(alike >= LEAST, k=1))
    few = compared[a, b] < FEW
    order = np.lexsort((b, a, -compared[a, b], -alike[a, b].round(9), few))
    a, b, few = a[order], b[order], few[order]
    ids = np.array(tell.table.ids, dtype=object)
    best, right = _best_traits(tell, stage, a, b)
    in_young = np.full(len(a), 0.5)
    for j, trait in enumerate(tell.traits):
        of_it = best == j
        in_young[of_it] = tell.right(trait.id, a[of_it], b[of_it], "young")
    none = right < 0.5 + HARDLY / 2
    names = np.array([*tell.table.trait_ids, ""], dtype=object)
    return pd.DataFrame(
        {
            "a": ids[a],
            "b": ids[b],
            "mix_up_at_most": alike[a, b],
            "compared": compared[a, b],
            "best_trait": names[np.where(none, -1, best)],
            "adults_only": ~none & (in_young < 0.5 + HARDLY / 2),
            "mix_up_young_at_most": young[a, b],
            "hardly_compared": few,
        }
    )


def _best_traits(tell: Tell, stage: str, a: np.ndarray, b: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return, for each pair, the position of the trait that tells best and how often it is right."""
    best = np.zeros(len(a), dtype=int)
    right = np.full(len(a), 0.5)
    for start in range(0, len(a), _PAIRS_AT_A_TIME):
        some = slice(start, start + _PAIRS_AT_A_TIME)
        for j, trait in enumerate(tell.traits):
            if trait.id not in HEARSAY:
                found = tell.right(trait.id, a[some], b[some], stage)
                better = found > right[some] + 1e-12
                best[some] = np.where(better, j, best[some])
                right[some] = np.where(better, found, right[some])
    return best, right
