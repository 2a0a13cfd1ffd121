"""A spreadsheet as it was understood, as a document: counts, what was not taken, what each row became."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial

from idkey.table.spreadsheet import Import, ImportRow
from idkey.views import html
from idkey.views.doc import PRINT, SCREEN, TEXT, Block, Document, Fold, Heading, Lines, On, Table
from idkey.views.words import cut, number_of, some

_MOST_ROWS, _MOST_IN_TEXT, _MOST_IN_LIST = 12, 40, 200
_ALL = ".to_frame() lists them all"
_SIGNS = {"new": "+", "changed": "\u2260", "unchanged": "=", "not taken": "\u2715"}
"""A sign beside each word; the order is that of the counts."""
_TITLES = {"not taken": "Rows that were not taken", "new": "New kinds", "changed": "Changed"}
_TITLES["unchanged"] = "As they are"


def import_document(found: Import) -> Document:
    """Return a spreadsheet that was read as a document."""
    place = f"{found.file}, sheet {found.sheet}" if found.sheet else found.file
    counts = _counts(found)
    blocks = (
        On((SCREEN, PRINT), (Lines((counts,), style="outcome"), *_blocks(found))),
        On(TEXT, (Lines((f"{place}: {counts}", *found.notes)), *_told(found))),
    )
    return Document(place, blocks, width=100, titled=(SCREEN, PRINT))


def report_html(found: Import) -> str:
    """Return the same for a screen that has its style: a screen reader says the counts."""
    return f"{html.status(_counts(found), 'outcome')}\n{html.blocks(_blocks(found))}"


def _blocks(found: Import) -> Iterator[Block]:
    wrong = [f"{_short(c.name)}: {c.text}" for c in found.columns if not c.meaning]
    read = [f"{_short(c.name)}: {c.text or 'read as it is'}" for c in found.columns if c.meaning]
    if found.notes:
        yield Lines(found.notes, style="soft")
    if wrong:
        yield from (Heading(f"Columns that were not taken ({len(wrong)})"), _list(wrong))
    yield Fold(f"How the columns were read ({len(read)})", (_list(read),))
    for what in _TITLES:
        yield from _rows(found, what)


def _counts(found: Import) -> str:
    """Say how many rows there are and what became of them."""
    new, changed, same, refused = (found.count(what) for what in _SIGNS)
    became = (
        (new, number_of(new, "kind", "new")),
        (changed, f"{changed} changed"),
        (same, f"{same} as {'it is' if same == 1 else 'they are'}"),
        (refused, f"{refused} not taken"),
    )
    texts = ", ".join(text for count, text in became if count) or "nothing in it"
    return f"{number_of(len(found.rows), 'row')}: {texts}"


_short = partial(cut, longest=120)


def _taken(row: ImportRow) -> list[str]:
    """Say what of a row went into the table, and what stood there before."""
    before = {c: f"{_short(text) or 'not known'} \u2192 " for c, text in row.before.items()}
    return [f"{c}: {before.get(c, '')}{_short(text)}" for c, text in row.taken.items()]


def _wrong(row: ImportRow) -> list[str]:
    """Say what of a row was not taken."""
    places = [f"{p.column or 'the row'} {_short(p.value)!r}" if p.value else p.column for p in row.problems]
    return [f"{place or 'the row'}: {p.right}" for place, p in zip(places, row.problems, strict=True)]


def _head(row: ImportRow) -> str:
    return f"row {row.number}, {_short(row.label) or 'no name'}"


def _told(found: Import) -> Iterator[Block]:
    """Tell each row that is not as it was, for a console."""
    for column in found.columns:
        if not column.meaning:
            yield Lines((f"column {_short(column.name)!r} not taken: {column.text}",), indent=2)
    told = [row for row in found.rows if row.what != "unchanged" or row.said or row.problems]
    for row in told[:_MOST_IN_TEXT]:
        yield Lines((f"{_SIGNS[row.what]} {_head(row)}: {row.what}",), indent=2)
        texts = (*_taken(row), *row.said, *(f"not taken: {text}" for text in _wrong(row)))
        yield Lines(tuple(f"    {text}" for text in texts), indent=6)
    if len(told) > _MOST_IN_TEXT:
        yield Lines((f"and {number_of(len(told) - _MOST_IN_TEXT, 'row', 'more')}; {_ALL}",))


def _rows(found: Import, what: str) -> Iterator[Block]:
    """Return the rows of one outcome as a table; many are folded, and so are rows that say nothing."""
    rows = [row for row in found.rows if row.what == what]
    title, rest = f"{_TITLES[what]} ({len(rows)})", rows[_MOST_ROWS:]
    if rows and what == "unchanged" and not any(row.said or row.problems for row in rows):
        yield Fold(title, (_list([_head(row) for row in rows]),))
        return
    if rows:
        yield _table(title, rows[:_MOST_ROWS])
    if rest:
        more = (Lines((f"More rows than can be shown here; {_ALL}.",)),) if len(rest) > _MOST_IN_LIST else ()
        yield Fold(f"and {len(rest)} more", (_table(title, rest[:_MOST_IN_LIST]), *more))


def _table(title: str, rows: Sequence[ImportRow]) -> Table:
    """Return rows as a table; what is long in a cell is folded."""
    cells = [
        (
            f"{_SIGNS[row.what]} {_short(row.label) or 'no name'}",
            str(row.number),
            (
                *_folded(_taken(row), f"{len(row.taken)} cells", _MOST_ROWS),
                *_folded([_short(text) for text in row.said], f"How it was read ({len(row.said)})"),
            ),
            _folded(_wrong(row), f"{len(row.problems)} problems", _MOST_ROWS),
        )
        for row in rows
    ]
    return Table(("Kind", "Row", "Taken", "Not taken"), tuple(cells), title)


def _folded(texts: list[str], summary: str, most: int = 0) -> tuple[Block, ...]:
    lines = (_list(texts),) if texts else ()
    return (Fold(summary, lines),) if len(texts) > most else lines


def _list(lines: list[str]) -> Lines:
    return Lines(some(lines, _MOST_IN_LIST), "bullets")
