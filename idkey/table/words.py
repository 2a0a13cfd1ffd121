"""A cell, a range and a share in words, the same for the model, the care sheets and every view."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from idkey.table.schema import YOUNG, Cell, NotApplicable, NotKnown, States, Trait
from idkey.table.table import TraitTable

__all__ = ["cell_words", "listed", "percent", "range_words", "row_words", "young_cell"]


def listed(words: Iterable[str], last: str = "and", between: str = ", ") -> str:
    """Return words as a list in a sentence; blank without any.

    Examples
    --------
    >>> listed(["red", "blue", "green"]), listed(["red"])
    ('red, blue and green', 'red')
    """
    *first, end = [*words] or [""]
    return f"{between.join(first)} {last} {end}" if first else end


def percent(share: float) -> str:
    """Write a share as per cent, without ever claiming 0 or 100.

    Examples
    --------
    >>> percent(0.463), percent(0.0004), percent(0.9999)
    ('46 %', 'under 1 %', 'over 99 %')
    """
    if share < 0.01:
        return "under 1 %"
    return "over 99 %" if share > 0.99 else f"{share * 100:.0f} %"


def range_words(trait: Trait, low: float, high: float) -> str:
    """Write a range with the unit of its trait; a single number where both ends are one."""
    return trait.number(low) if low == high else f"{low:g} to {trait.number(high)}"


def cell_words(trait: Trait, cell: Cell) -> str:
    """Write a cell, or an answer, in plain words; states of unlike shares with their shares."""
    if cell is None or isinstance(cell, NotKnown):
        return "not known"
    if isinstance(cell, NotApplicable):
        return "does not apply"
    if isinstance(cell, States):
        return " or ".join(_states(trait, cell.names, cell.shares))
    if trait.kind == "ceiling" and cell.low == 0:
        return f"up to {trait.number(cell.high)}"
    return range_words(trait, cell.low, cell.high)


def _states(trait: Trait, names: Sequence[str], shares: Sequence[float]) -> list[str]:
    words = [trait.word(name) for name in names]
    if max(shares) - min(shares) < 1e-9:
        return words
    return [f"{word} ({percent(share)})" for word, share in zip(words, shares, strict=True)]


def young_cell(table: TraitTable, taxon: str, trait: Trait) -> Cell:
    """Return what is said of young fish; None where nothing else is said than of adults."""
    column, at = trait.id + YOUNG, table.position(taxon)
    young = table.cells[column][at] if column in table.cells else None
    return None if young == table.cells[trait.id][at] else young


def row_words(table: TraitTable, taxon: str, trait: Trait) -> str:
    """Write what the table holds of one kind in one trait, and of its young where that differs."""
    words = cell_words(trait, table.cells[trait.id][table.position(taxon)])
    young = young_cell(table, taxon, trait)
    return words if young is None else f"{words}, young: {cell_words(trait, young)}"
