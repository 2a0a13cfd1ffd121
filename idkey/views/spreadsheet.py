"""A spreadsheet as it was understood, as a document: counts, what was not taken, what each row became."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import partial

from idkey.table.spreadsheet import Import, ImportRow
from idkey.views import html
from idkey.views.doc import PRINT, SCREEN, TEXT, Block, Document, Fold, Heading, Lines, On
from idkey.views.words import cut, number_of, some

_MOST_SHOWN, _MOST_IN_LIST = 12, 200
_ALL = ".to_frame() lists them all"
_TITLES = {"not taken": "\u2715 Rows that were not taken", "new": "+ New kinds"}
_TITLES |= {"changed": "\u2260 Changed", "unchanged": "= As they are"}


def import_document(found: Import) -> Document:
    """Return a spreadsheet that was read as a document."""
    return Document(f"{found.place}: {_counts(found)}", tuple(_blocks(found)), width=100)


def report_html(found: Import) -> str:
    """Return the same for a screen that has its style: a screen reader says the counts."""
    return f"{html.status(_counts(found), 'outcome')}\n{html.blocks(_blocks(found))}"


def _counts(found: Import) -> str:
    """Say how many rows there are and what became of them."""
    new, changed, same, refused = map(found.count, ("new", "changed", "unchanged", "not taken"))
    became = (
        (new, number_of(new, "kind", "new")),
        (changed, f"{changed} changed"),
        (same, f"{same} as {'it is' if same == 1 else 'they are'}"),
        (refused, f"{refused} not taken"),
    )
    texts = ", ".join(text for count, text in became if count) or "nothing in it"
    return f"{number_of(len(found.rows), 'row')}: {texts}"


_short = partial(cut, longest=120)


def _blocks(found: Import) -> Iterator[Block]:
    wrong = [f"{_short(c.name)}: {c.text}" for c in found.columns if not c.meaning]
    read = [f"{_short(c.name)}: {c.text or 'read as it is'}" for c in found.columns if c.meaning]
    if found.notes:
        yield Lines(found.notes, style="soft")
    if wrong:
        yield from (Heading(f"Columns that were not taken ({len(wrong)})"), *_list(wrong))
    yield On((SCREEN, PRINT), (Fold(f"How the columns were read ({len(read)})", _list(read)),))
    for what, title in _TITLES.items():
        rows = [row for row in found.rows if row.what == what]
        told = [row for row in rows if what != "unchanged" or row.said or row.problems]
        if told:
            yield Heading(f"{title} ({len(rows)})")
            yield from _rows(told)
        elif rows:
            yield On((SCREEN, PRINT), (Fold(f"{title} ({len(rows)})", _list(map(_head, rows))),))


def _rows(rows: Sequence[ImportRow]) -> Iterator[Block]:
    """Tell each row; of many the most are folded, or counted in a console."""
    for row in rows[:_MOST_SHOWN]:
        yield from _row(row)
    if rest := rows[_MOST_SHOWN:]:
        folded = [block for row in rest[:_MOST_IN_LIST] for block in _row(row)]
        if len(rest) > _MOST_IN_LIST:
            folded.append(Lines((f"More rows than can be shown here; {_ALL}.",)))
        yield On((SCREEN, PRINT), (Fold(f"and {len(rest)} more", tuple(folded)),))
        yield On(TEXT, (Lines((f"and {number_of(len(rest), 'row', 'more')}; {_ALL}",)),))


def _row(row: ImportRow) -> Iterator[Block]:
    """Say what of a row went into the table, what stood there before, how it was read, what was not taken."""
    before = {c: f"{_short(text) or 'not known'} \u2192 " for c, text in row.before.items()}
    taken = [f"{c}: {before.get(c, '')}{_short(text)}" for c, text in row.taken.items()]
    places = [f"{p.column or 'the row'} {_short(p.value)!r}" if p.value else p.column for p in row.problems]
    wrong = [f"not taken: {place}: {p.right}" for place, p in zip(places, row.problems, strict=True)]
    told = _list([*taken, *map(_short, row.said)])
    yield Lines((_head(row),))
    yield from (Fold(f"{len(taken)} cells", told),) if len(taken) > _MOST_SHOWN else told
    yield from _list(wrong)


def _head(row: ImportRow) -> str:
    return f"row {row.number}, {_short(row.label) or 'no name'}"


def _list(lines: Iterable[str]) -> tuple[Block, ...]:
    shown = some(lines, _MOST_IN_LIST)
    return (Lines(shown, "bullets"),) if shown else ()
