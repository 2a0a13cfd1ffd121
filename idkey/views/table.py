"""A trait table as a document: its first rows; and where the shipped one and a keeper's own differ."""

from __future__ import annotations

from idkey.table.merge import Conflict
from idkey.table.table import TraitTable
from idkey.views.doc import SCREEN, TEXT, Block, Code, Document, Lines, On, Runs, Table
from idkey.views.words import number_of

_MOST_ROWS = 12
_NONE = "Nothing to settle: the shipped table and your own additions agree."
_KEEP = {"own": "keep yours", "shipped": "take what the shipped table says"}


def table_document(table: TraitTable) -> Document:
    """Return the first rows and columns of a trait table, below what is to be settled in it."""
    shown = [t for t in table.traits if t.core] or list(table.traits[:6])
    frame = table.to_frame()
    rows = tuple(
        (table.label(taxon), *(str(frame.at[taxon, t.id]) for t in shown)) for taxon in table.ids[:_MOST_ROWS]
    )
    conflicts = conflicts_document(table).blocks if table.conflicts else ()
    grid = Table(("Taxon", *(t.name for t in shown)), rows, repr(table))
    more = len(table) - _MOST_ROWS
    left = (Lines((f"and {more} more taxa",)),) if more > 0 else ()
    return Document(table.name, (*conflicts, grid, *left), titled=())


def conflicts_document(table: TraitTable) -> Document:
    """Return each conflict: what was, what the shipped table says now, what is yours, how to settle it."""
    if not table.conflicts:
        return Document("Conflicts", (Lines((_NONE,)),), titled=())
    heading = f"{number_of(len(table.conflicts), 'conflict')} to settle"
    rows, lines = [], [heading]
    for conflict in table.conflicts:
        ways = [(f"{what}: ", Code(code)) for what, code in _ways(table, conflict)]
        sides = (conflict.before, conflict.shipped, conflict.own)
        rows.append((conflict.text, *sides, Lines(tuple(ways), "bullets")))
        said: list[Runs] = [f"  {words}: {side}" for words, side in zip(_SIDES, sides, strict=True) if side]
        lines += ["", conflict.text, *said, *(("  to ", *way) for way in ways)]
    heads = ("What happened", *(words[0].upper() + words[1:] for words in _SIDES), "To settle it")
    on_page: tuple[Block, ...] = (Table(heads, tuple(rows), heading),)
    return Document("Conflicts", (On(SCREEN, on_page), On(TEXT, (Lines(tuple(lines)),))), titled=())


_SIDES = ("it was", "shipped table now", "yours")


def _ways(table: TraitTable, conflict: Conflict) -> list[tuple[str, str]]:
    """Return what can be done, and the call that does it."""
    folder = str(table.origin.folder) if table.origin else table.name
    return [
        (
            _KEEP[keep],
            f"table = idkey.table.folder.settle({folder!r}, {conflict.id!r}, {keep!r})",
        )
        for keep in conflict.choices
    ]
