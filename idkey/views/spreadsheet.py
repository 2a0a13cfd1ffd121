"""A spreadsheet as it was understood, as text and as HTML. Pure functions; every text is escaped."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from html import escape
from typing import TYPE_CHECKING

from idkey.views.html import page

if TYPE_CHECKING:
    from idkey.errors import Problem
    from idkey.table.spreadsheet import Import, ImportRow

__all__ = ["import_html", "import_page", "import_text"]

_WIDTH = 100
_MOST_ROWS = 12
_MOST_IN_TEXT = 40
_MOST_IN_LIST = 200
_LONGEST = 120
_MORE = "More rows than can be shown here; .to_frame() lists them all."
_SIGNS = {"new": "+", "changed": "\u2260", "unchanged": "=", "not taken": "\u2715"}
"""A sign beside each word; the order is that of the counts."""


def _counts(found: Import) -> str:
    """Say how many rows there are and what became of them."""
    n = {what: found.count(what) for what in _SIGNS}
    said = (
        (n["new"], f"{n['new']} new {'kind' if n['new'] == 1 else 'kinds'}"),
        (n["changed"], f"{n['changed']} changed"),
        (n["unchanged"], f"{n['unchanged']} as {'it is' if n['unchanged'] == 1 else 'they are'}"),
        (n["not taken"], f"{n['not taken']} not taken"),
    )
    rows = "1 row" if len(found.rows) == 1 else f"{len(found.rows)} rows"
    return f"{rows}: {', '.join(text for count, text in said if count) or 'nothing in it'}"


def _place(found: Import) -> str:
    return f"{found.file}, sheet {found.sheet}" if found.sheet else found.file


def _short(text: str) -> str:
    return text if len(text) <= _LONGEST else f"{text[:_LONGEST]}\u2026"


def _change(row: ImportRow, column: str) -> str:
    """Say what a row says of a column, and what stood there before."""
    text = _short(row.understood[column])
    if column not in row.before:
        return f"{column}: {text}"
    return f"{column}: {_short(row.before[column]) or 'not known'} \u2192 {text}"


def _taken(row: ImportRow) -> list[str]:
    """Say what of a row went into the table."""
    return [_change(row, c) for c in row.understood if row.what == "new" or c in row.before]


def _wrong(problem: Problem) -> str:
    value = f" {_short(problem.value)!r}" if problem.value else ""
    return f"{problem.column or 'the row'}{value}: {problem.right}"


def _head(row: ImportRow) -> str:
    return f"row {row.number}, {_short(row.label) or 'no name'}"


# -- text -------------------------------------------------------------------------------------------


def import_text(found: Import, width: int = _WIDTH) -> str:
    """Return an import as plain text: counts, then each row that is not as it was.

    Parameters
    ----------
    found : Import
    width : int
        Longest line.
    """
    lines = [*_wrap(f"{_place(found)}: {_counts(found)}", width, ""), *found.notes]
    lines += [
        line
        for c in found.columns
        if not c.meaning
        for line in _wrap(_column_words(c.name, c.text), width, "  ")
    ]
    told = [row for row in found.rows if row.what != "unchanged" or row.said or row.problems]
    for row in told[:_MOST_IN_TEXT]:
        lines += _wrap(f"{_SIGNS[row.what]} {_head(row)}: {row.what}", width, "  ")
        said = [*_taken(row), *row.said, *(f"not taken: {_wrong(p)}" for p in row.problems)]
        lines += [line for text in said for line in _wrap(f"    {text}", width, "      ")]
    if len(told) > _MOST_IN_TEXT:
        lines.append(f"and {len(told) - _MOST_IN_TEXT} more rows; .to_frame() lists them all")
    return "\n".join(lines)


def _column_words(name: str, text: str) -> str:
    return f"column {_short(name)!r} not taken: {text}"


def _wrap(text: str, width: int, indent: str) -> list[str]:
    return textwrap.wrap(text, width, subsequent_indent=indent, break_on_hyphens=False) or [""]


# -- HTML -------------------------------------------------------------------------------------------


def import_page(found: Import) -> str:
    """Return an import that stands on its own."""
    return page(import_html(found))


def import_html(found: Import) -> str:
    """Return an import: counts, columns and cells that were not taken, then what each row became.

    Parameters
    ----------
    found : Import

    Returns
    -------
    str
        A piece of HTML without ids; every text is escaped, long lists are folded.
    """
    notes = "".join(f'<p class="idk-soft">{escape(note)}</p>' for note in found.notes)
    return (
        f"<h3>{escape(_place(found))}</h3>\n"
        f'<p class="idk-outcome" role="status">{escape(_counts(found))}</p>\n{notes}'
        f"{_columns_html(found)}\n{_rows_html(found)}"
    )


def _columns_html(found: Import) -> str:
    wrong = [f"{_short(c.name)}: {c.text}" for c in found.columns if not c.meaning]
    read = [f"{_short(c.name)}: {c.text or 'read as it is'}" for c in found.columns if c.meaning]
    heading = f"<h4>Columns that were not taken ({len(wrong)})</h4>{_list(wrong)}" if wrong else ""
    return f"{heading}{_fold(f'How the columns were read ({len(read)})', _list(read))}"


def _rows_html(found: Import) -> str:
    parts = []
    for what, title in (
        ("not taken", "Rows that were not taken"),
        ("new", "New kinds"),
        ("changed", "Changed"),
        ("unchanged", "As they are"),
    ):
        rows = [row for row in found.rows if row.what == what]
        if not rows:
            continue
        heading = f"{title} ({len(rows)})"
        shown = _rows_table(heading, rows[:_MOST_ROWS])
        if what == "unchanged" and not any(row.said or row.problems for row in rows):
            parts.append(_fold(heading, _list([_head(row) for row in rows])))
            continue
        rest = rows[_MOST_ROWS:]
        if rest:
            more = f"<p>{escape(_MORE)}</p>" if len(rest) > _MOST_IN_LIST else ""
            shown += _fold(f"and {len(rest)} more", _rows_table(heading, rest[:_MOST_IN_LIST]) + more)
        parts.append(shown)
    return "\n".join(parts)


def _rows_table(caption: str, rows: list[ImportRow]) -> str:
    body = "\n".join(_row(row) for row in rows)
    return (
        f'<div class="idk-scroll"><table class="idk-grid"><caption>{escape(caption)}</caption>\n'
        '<thead><tr><th scope="col">Row</th><th scope="col">Kind</th><th scope="col">Taken</th>'
        f'<th scope="col">Not taken</th></tr></thead>\n<tbody>\n{body}\n</tbody></table></div>'
    )


def _row(row: ImportRow) -> str:
    sign = f'<span aria-hidden="true">{_SIGNS[row.what]}</span>'
    name = escape(_short(row.label) or "no name")
    taken = _folded_list(_taken(row), "cells")
    said = _fold(f"How it was read ({len(row.said)})", _list(map(_short, row.said))) if row.said else ""
    wrong = _folded_list([_wrong(p) for p in row.problems], "problems")
    return (
        f'<tr><td>{row.number}</td><th scope="row">{sign} {name}</th>'
        f"<td>{taken}{said}</td><td>{wrong}</td></tr>"
    )


def _folded_list(texts: list[str], what: str) -> str:
    if len(texts) <= _MOST_ROWS:
        return _list(texts)
    return _fold(f"{len(texts)} {what}", _list(texts))


def _list(texts: Iterable[str]) -> str:
    lines = list(texts)
    items = "".join(f"<li>{escape(text)}</li>" for text in lines[:_MOST_IN_LIST])
    if len(lines) > _MOST_IN_LIST:
        items += f"<li>and {len(lines) - _MOST_IN_LIST} more</li>"
    return f"<ul>{items}</ul>" if items else ""


def _fold(summary: str, body: str) -> str:
    return f"<details><summary>{escape(summary)}</summary>{body}</details>"
