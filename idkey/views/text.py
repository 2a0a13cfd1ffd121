"""Documents as plain text: what a console shows, and what can be pasted into a message."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from idkey.views import doc
from idkey.views.doc import plain


def render(document: doc.Document, width: int | None = None) -> str:
    """Return a document as lines of plain text, none longer than `width` (by default the document's)."""
    width = width or document.width
    lines = wrap(doc.clean(document.title), width) if doc.TEXT in document.titled else []
    return "\n".join([*lines, *_lines(document.blocks, width)])


def wrap(text: str, width: int, first: str = "", rest: str = "") -> list[str]:
    """Break text into lines, never inside a word; `first` and `rest` stand before them."""
    lines: list[str] = []
    words = textwrap.TextWrapper(width, "", rest, break_long_words=False, break_on_hyphens=False)
    for line in text.split("\n"):
        words.initial_indent = before = rest if lines else first
        # Runs of spaces that line a column up are kept in a line that fits.
        lines += [f"{before}{line}"] if len(before) + len(line) <= width else words.wrap(line)
    return lines


def _lines(blocks: Iterable[doc.Block], width: int) -> list[str]:
    return [line for block in doc.pick(blocks, doc.TEXT) for line in _block(block, width)]


def _block(block: doc.Block, width: int) -> list[str]:
    if isinstance(block, doc.Heading):
        return ["", *wrap(plain(block.text), width)]
    if isinstance(block, doc.Lines):
        return _paragraphs(block, width)
    if isinstance(block, doc.Table):
        return _table(block, width)
    if isinstance(block, doc.Fold):
        return [*wrap(plain(block.summary), width), *(f"  {s}" for s in _lines(block.blocks, width - 2))]
    if isinstance(block, doc.Columns):
        return [line for entry in block.entries for line in wrap(plain(entry), width, rest="    ")]
    if isinstance(block, doc.Couplets):
        return [line for couplet in block.couplets for line in _couplet(couplet, width)][1:]
    return _lines(block.blocks, width) if isinstance(block, doc.Group) else []  # no pictures


def _paragraphs(block: doc.Lines, width: int) -> list[str]:
    lines = []
    for number, item in enumerate(block.items, start=1):
        mark = {"bullets": "  - ", "numbered": f"{number}. "}.get(block.marks, "")
        lines += wrap(plain(item), width, mark, " " * (block.indent + len(mark)))
    return lines


def _table(table: doc.Table, width: int) -> list[str]:
    heads = f"({'; '.join(map(plain, table.heads))}):" if table.heads else ""
    head = f"{plain(table.caption)} {heads}".strip()
    lines = wrap(head, width) if head else []
    rows = [[_cell(cell) for cell in row] for row in table.rows]
    # Of pairs the heads stand in a column of their own.
    label = max((len(row[0]) for row in rows), default=0) + 2
    for row in rows:
        cells = "; ".join(filter(None, row if table.heads else row[1:]))
        first, rest = ("  ", 6) if table.heads else (f"{row[0]:<{label}}", label)
        lines += wrap(cells, width, first, " " * rest)
    return lines


def _cell(content: doc.Content) -> str:
    """Return the content of a cell on one line."""
    lines = []
    for part in doc.parts(content, doc.TEXT):
        lines += plain(part).split("\n") if isinstance(part, tuple) else _block(part, 10**6)
    return " / ".join(filter(None, lines)).strip()


def _couplet(couplet: doc.Couplet, width: int) -> list[str]:
    """Return a couplet below a blank line, dots before the ends of its leads."""
    lines = [""]
    for lead in couplet.leads:
        names = "; ".join(map(plain, lead.names))
        end = str(lead.to) if lead.to is not None else f"{plain(lead.head)} {names}".strip()
        lines += wrap(plain(lead.words), width, f"{couplet.number}{lead.letter}".ljust(6), " " * 6)
        room = width - len(lines[-1]) - len(end) - 2
        if room >= 3:
            lines[-1] += f" {'.' * room} {end}"
        else:
            lines += wrap(end, width, " " * 10, " " * 10)
    return lines
