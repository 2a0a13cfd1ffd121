"""Documents as plain text: what a console shows, and what can be pasted into a message."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from idkey.views import doc


def render(document: doc.Document, width: int | None = None) -> str:
    """Return a document as lines of plain text, none longer than `width` (by default the document's)."""
    width = width or document.width
    lines = wrap(doc.clean(document.title), width) if doc.TEXT in document.titled else []
    return "\n".join([*lines, *_lines(document.blocks, width)])


def wrap(text: str, width: int, first: str = "", rest: str = "") -> list[str]:
    """Break text into lines, never inside a word; `first` and `rest` stand before them."""
    lines: list[str] = []
    for line in text.split("\n"):
        before = rest if lines else first
        broken = textwrap.wrap(
            line,
            width,
            initial_indent=before,
            subsequent_indent=rest,
            break_long_words=False,
            break_on_hyphens=False,
        )
        # Runs of spaces that line a column up are kept in a line that fits.
        lines += [f"{before}{line}"] if len(before) + len(line) <= width else broken
    return lines


def _lines(blocks: Iterable[doc.Block], width: int) -> list[str]:
    return [line for block in doc.pick(blocks, doc.TEXT) for line in _block(block, width)]


def _block(block: doc.Block, width: int) -> list[str]:  # noqa: C901
    if isinstance(block, doc.Heading):
        return ["", *wrap(doc.plain(block.text), width)]
    if isinstance(block, doc.Lines):
        return _paragraphs(block, width)
    if isinstance(block, doc.Table):
        return _table(block, width)
    if isinstance(block, doc.Fold):
        return [*wrap(doc.plain(block.summary), width), *(f"  {s}" for s in _lines(block.blocks, width - 2))]
    if isinstance(block, doc.Columns):
        return [line for entry in block.entries for line in wrap(doc.plain(entry), width, rest="    ")]
    if isinstance(block, doc.Couplets):
        return _key(block, width)
    if isinstance(block, doc.Group):
        return _lines(block.blocks, width)
    if isinstance(block, doc.Picture):
        return []
    msg = f"{type(block).__name__} is no block"
    raise TypeError(msg)


def _paragraphs(block: doc.Lines, width: int) -> list[str]:
    lines = []
    for number, item in enumerate(block.items, start=1):
        mark = {"bullets": "  - ", "numbered": f"{number}. "}.get(block.marks, "")
        lines += wrap(doc.plain(item), width, mark, " " * (block.indent + len(mark)))
    return lines


def _table(table: doc.Table, width: int) -> list[str]:
    heads = f"({'; '.join(map(doc.plain, table.heads))}):" if table.heads else ""
    head = " ".join(filter(None, (doc.plain(table.caption), heads)))
    lines = wrap(head, width) if head else []
    rows = [[_cell(cell) for cell in row] for row in table.rows]
    if not table.heads:  # pairs: the heads in a column of their own
        label = max((len(row[0]) for row in rows), default=0) + 2
        for first, *cells in rows:
            lines += wrap("; ".join(filter(None, cells)), width, f"{first:<{label}}", " " * label)
        return lines
    for row in rows:
        lines += wrap("; ".join(filter(None, row)), width, "  ", " " * 6)
    return lines


def _cell(content: doc.Content) -> str:
    """Return the content of a cell on one line."""
    lines = []
    for part in doc.parts(content, doc.TEXT):
        lines += doc.plain(part).split("\n") if isinstance(part, tuple) else _block(part, 10**6)
    return " / ".join(filter(None, lines)).strip()


def _key(block: doc.Couplets, width: int) -> list[str]:
    lines: list[str] = []
    for couplet in block.couplets:
        lines += [""] if lines else []
        for lead in couplet.leads:
            lines += _lead(f"{couplet.number}{lead.letter}", lead, width)
    return lines


def _lead(number: str, lead: doc.Lead, width: int) -> list[str]:
    names = "; ".join(map(doc.plain, lead.names))
    end = str(lead.to) if lead.to is not None else f"{doc.plain(lead.head)} {names}".strip()
    lines = wrap(doc.plain(lead.words), width, f"{number:<6}", " " * 6)
    room = width - len(lines[-1]) - len(end) - 2
    if room >= 3:
        lines[-1] += f" {'.' * room} {end}"
        return lines
    return [*lines, *wrap(end, width, " " * 10, " " * 10)]
