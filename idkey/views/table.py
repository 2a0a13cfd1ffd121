"""A trait table as a document: its first rows; and where the shipped one and a keeper's own differ."""

from __future__ import annotations

from idkey.table.table import TraitTable
from idkey.views.doc import SCREEN, TEXT, Code, Document, Lines, On, Runs, Table
from idkey.views.words import number_of

_MOST_ROWS = 12
_NONE = "Nothing to settle: the shipped table and your own additions agree."
_KEEP = {"shipped": "take what the shipped table says", "own": "keep yours"}
_SIDES = ("it was", "shipped table now", "yours")


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
    heading = f"{number_of(len(table.conflicts), 'conflict')} to settle"
    folder = str(table.origin.folder) if table.origin else table.name
    rows: list[tuple] = []
    lines: list[Runs] = [heading]
    for conflict in table.conflicts:
        call = f"table = idkey.table.folder.settle({folder!r}, {conflict.id!r}, "
        ways = [(f"{_KEEP[keep]}: ", Code(f"{call}{keep!r})")) for keep in _KEEP]
        sides = (conflict.before, conflict.shipped, conflict.own)
        rows.append((conflict.text, *sides, Lines(tuple(ways), "bullets")))
        told = [f"  {words}: {side}" for words, side in zip(_SIDES, sides, strict=True) if side]
        lines += ["", conflict.text, *told, *(("  to ", *way) for way in ways)]
    heads = ("What happened", *(words[0].upper() + words[1:] for words in _SIDES), "To settle it")
    on_page = On(SCREEN, (Table(heads, tuple(rows), heading),))
    blocks = (on_page, On(TEXT, (Lines(tuple(lines)),))) if rows else (Lines((_NONE,)),)
    return Document("Conflicts", blocks, titled=())
