"""Documents as plain text: what a console shows, and what can be pasted into a message."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from idkey.views.doc import (
    TEXT,
    Block,
    Columns,
    Content,
    Couplets,
    Document,
    Fold,
    Group,
    Heading,
    Lead,
    Lines,
    Picture,
    Runs,
    Table,
    clean,
    parts,
    pick,
    plain,
)

__all__ = ["render", "wrap"]


def render(document: Document, width: int | None = None) -> str:
    """Return a document as lines of plain text.

    Parameters
    ----------
    document : Document
    width : int, optional
        Longest line; that of the document by default.
    """
    width = width or document.width
    lines = wrap(clean(document.title), width) if TEXT in document.titled else []
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


def _lines(blocks: Iterable[Block], width: int) -> list[str]:
    return [line for block in pick(blocks, TEXT) for line in _block(block, width)]


def _block(block: Block, width: int) -> list[str]:  # noqa: C901
    if isinstance(block, Heading):
        return ["", *wrap(plain(block.text), width)]
    if isinstance(block, Lines):
        return _paragraphs(block, width)
    if isinstance(block, Table):
        return _table(block, width)
    if isinstance(block, Fold):
        return [*wrap(plain(block.summary), width), *(f"  {s}" for s in _lines(block.blocks, width - 2))]
    if isinstance(block, Columns):
        return [line for entry in block.entries for line in wrap(plain(entry), width, rest="    ")]
    if isinstance(block, Couplets):
        return _key(block, width)
    if isinstance(block, Group):
        return _lines(block.blocks, width)
    if isinstance(block, Picture):
        return []
    msg = f"{type(block).__name__} is no block"
    raise TypeError(msg)


def _paragraphs(block: Lines, width: int) -> list[str]:
    lines = []
    for number, item in enumerate(block.items, start=1):
        mark = {"bullets": "  - ", "numbered": f"{number}. "}.get(block.marks, "")
        lines += wrap(plain(item), width, mark, " " * (block.indent + len(mark)))
    return lines


def _table(table: Table, width: int) -> list[str]:
    heads = f"({'; '.join(map(plain, table.heads))})" if table.heads else ""
    head = " ".join(filter(None, (plain(table.caption), heads)))
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


def _cell(content: Content) -> str:
    """Return the content of a cell on one line."""
    said = (
        plain(part) if isinstance(part, tuple) else " / ".join(_block(part, 10**6)) for part in _of(content)
    )
    return " / ".join(line for text in said for line in text.split("\n") if line).strip()


def _of(content: Content) -> list[Runs | Block]:
    return parts(content, TEXT)


# -- a key ------------------------------------------------------------------------------------------


def _key(block: Couplets, width: int) -> list[str]:
    lines: list[str] = []
    for couplet in block.couplets:
        lines += [""] if lines else []
        for lead in couplet.leads:
            lines += _lead(f"{couplet.number}{lead.letter}", lead, width)
    return lines


def _lead(number: str, lead: Lead, width: int) -> list[str]:
    names = "; ".join(map(plain, lead.names))
    end = str(lead.to) if lead.to is not None else f"{plain(lead.head)} {names}".strip()
    lines = wrap(plain(lead.words), width, f"{number:<6}", " " * 6)
    room = width - len(lines[-1]) - len(end) - 2
    if room >= 3:
        lines[-1] += f" {'.' * room} {end}"
        return lines
    return [*lines, *wrap(end, width, " " * 10, " " * 10)]
