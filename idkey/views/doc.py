"""The one model of a document: what stands in it, not how it looks; and how it reads as plain text.

A view is a pure function from an object to a `Document`; `as_text`, `html` and `print` draw it in a console,
on the screen and on paper. Text is given as it is and cleaned and escaped by them, so nothing here is markup.

Runs are words on a line: a string, a piece such as `Strong`, or a tuple of them. A line break in a string is
a line break everywhere. Content, in a cell of a table, may hold blocks too.
"""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import TypeAlias, dataclass_transform

SCREEN, TEXT, PRINT = "screen", "text", "print"
"""Where a document is drawn: a notebook, a console, paper (PDF, or HTML to be printed)."""

_HIDDEN = ("Cc", "Cf", "Cs", "Co", "Cn")


def clean(text: object) -> str:
    """Return text that can be shown: what has no shape (control, direction, half characters) is a space."""
    words = str(text)
    if words.isascii() and words.isprintable():
        return words
    return "".join(c if c in "\n\t " or unicodedata.category(c) not in _HIDDEN else " " for c in words)


def one_line(text: object) -> str:
    """Return text that can be shown, on one line."""
    return " ".join(clean(text).split())


@dataclass_transform(frozen_default=True)
class _Part:
    """A part of a document: made of what its body names, in that order, and never changed."""

    def __init_subclass__(cls) -> None:
        dataclass(frozen=True)(cls)


class _Words(_Part):
    text: str


class Strong(_Words):
    """Words set in bold."""


class Soft(_Words):
    """Words that may be passed over: quieter on the screen, small on paper."""


class Code(_Words):
    """A name of the program, to be typed as it stands."""


class Link(_Words):
    """Words that lead to a web address, or with ``#c12`` to couplet 12 of the same document."""

    to: str


class Tag(_Words):
    """A word in a frame: loud for what is wrong, open for what is not known yet, mark for a plain one."""

    style: str = "loud"


class Bar(_Part):
    """A share from 0 to 1 as a bar, its figure before it and what it is the share of behind it."""

    share: float
    figure: str = ""
    label: str = ""


class Icon(_Part):
    """A small drawing on a line, such as a state of a trait; `words` say it to who cannot see it."""

    svg: str
    words: str = ""


Inline: TypeAlias = str | _Words | Bar | Icon
Runs: TypeAlias = Inline | tuple[Inline, ...]


class Block(_Part):
    """What stands on lines of its own."""


Content: TypeAlias = Inline | Block | tuple[Inline | Block, ...]


class Heading(Block):
    """A heading of a part (level 1) or of a part of it (2); it never ends a page."""

    text: Runs
    level: int = 1


class Lines(Block):
    """Paragraphs, or a list with the marks "bullets" or "numbered".

    A style is "soft" or "small" (small on paper), "outcome" (the one sentence that counts) or "alert". In a
    console all lines of an item but the first are set in by `indent`.
    """

    items: tuple[Runs, ...]
    marks: str = ""
    style: str = ""
    indent: int = 0


def line(text: Runs, style: str = "") -> Lines:
    """Return one paragraph; none where there is nothing to say."""
    return Lines((text,) if text else (), style=style)


def headed(heading: str, items: tuple[Runs, ...], marks: str, style: str = "") -> tuple[Block, ...]:
    """Return a list under its heading; nothing where there is nothing to list."""
    return (Heading(heading), Lines(items, marks, style)) if items else ()


class Table(Block):
    """A table; without heads one of pairs. The first cell of a row names it, unless told otherwise.

    `style` is a class beside ``idk-grid``, without its ``idk-``; `shares` are the widths of the columns to
    each other, on paper.
    """

    heads: tuple[Runs, ...]
    rows: tuple[tuple[Content, ...], ...]
    caption: Runs = ""
    style: str = ""
    shares: tuple[float, ...] = ()
    row_heads: bool = True


class Picture(Block):
    """A drawing over the width of the page, with a small note below it and a heading above it.

    `words` say it to who cannot see it. On paper it is no taller than `tallest`, in mm; on the screen it is
    made to fit the page, or scrolled.
    """

    svg: str
    words: str = ""
    note: Runs = ""
    heading: Runs = ""
    tallest: float = 110.0
    fit: bool = True


class Fold(Block):
    """Blocks behind a line that opens them; open in a console and on paper."""

    summary: Runs
    blocks: tuple[Block, ...]
    style: str = ""


class Held(Block):
    """What `idkey.views.html.held` put into the page of a screen under this name; it stands here, too."""

    name: str


class Columns(Block):
    """Short entries in columns, read down each."""

    entries: tuple[Runs, ...]
    count: int = 3


class Lead(_Part):
    """One lead of a couplet: what it says, its drawings, and the couplet or the names it goes to.

    On paper `shows` stands beside the one name, as large as there is room.
    """

    letter: str
    words: Runs
    icons: tuple[Icon, ...] = ()
    to: int | None = None
    head: str = ""
    names: tuple[str, ...] = ()
    shows: tuple[Icon, ...] = ()


class Couplet(_Part):
    """A numbered couplet of a key, the couplets that lead to it, and what it asks."""

    number: int
    before: tuple[int, ...]
    question: str
    leads: tuple[Lead, ...]


class Couplets(Block):
    """A key: couplets whose ends stand at the right; in a console dots lead to them."""

    couplets: tuple[Couplet, ...]


class Group(Block):
    """Blocks that stay together on a page; side by side (`across`) or in a frame where asked for."""

    blocks: tuple[Block, ...]
    across: bool = False
    frame: bool = False


class Card(_Part):
    """A card: a code that a phone reads, with words for who cannot see it; what is below it, and beside."""

    svg: str
    words: str
    below: tuple[Block, ...]
    blocks: tuple[Block, ...]


class Cards(Block):
    """Cards of one size to be cut apart, two a row; each is whole."""

    cards: tuple[Card, ...]


class On(Block):
    """Blocks for some places only: ``On(PRINT, ...)``, ``On((SCREEN, TEXT), ...)``."""

    media: str | tuple[str, ...]
    blocks: tuple[Block, ...]


class Document(_Part):
    """A whole document.

    The stamp, at the foot of each printed page, says which table it was made from; the day, written into a
    PDF, is that of the table: no clock is read. `width` is the longest line in a console; `titled` are the
    places where the title stands above the blocks.
    """

    title: str
    blocks: tuple[Block, ...]
    stamp: str = ""
    day: date | None = None
    width: int = 78
    titled: tuple[str, ...] = (SCREEN, TEXT, PRINT)


def pick(blocks: Iterable[Inline | Block], medium: str) -> Iterator[Inline | Block]:
    """Return what is shown in a place, one after the other, `On` opened."""
    for block in blocks:
        if not isinstance(block, On):
            yield block
        elif medium in block.media:
            yield from pick(block.blocks, medium)


def plain(runs: Runs) -> str:
    """Return runs as plain text; a drawing has no words here, a bar is 20 signs wide."""
    match runs:
        case tuple():
            return "".join(map(plain, runs))
        case Bar(share, figure, label):
            return f"{clean(figure):>9}  {'#' * max(1, round(share * 20)):<20}  {clean(label)}"
        case Icon():
            return ""
    return clean(runs if isinstance(runs, str) else runs.text)


def as_text(document: Document) -> str:
    """Return a document as lines of plain text: what a console shows, and what a message can hold."""
    title = _wrap(document.title, document.width) if TEXT in document.titled else []
    return "\n".join([*title, *_lines(document.blocks, document.width)])


def _wrap(runs: Runs, width: int, first: str = "", rest: str = "") -> list[str]:
    """Break words into lines, never inside a word; `first` and `rest` stand before them."""
    lines: list[str] = []
    wrapper = textwrap.TextWrapper(width, "", rest, break_long_words=False, break_on_hyphens=False)
    for line in plain(runs).split("\n"):
        wrapper.initial_indent = before = rest if lines else first
        # Runs of spaces that line a column up are kept in a line that fits.
        lines += [f"{before}{line}"] if len(before) + len(line) <= width else wrapper.wrap(line)
    return lines


def _lines(blocks: Iterable[Block], width: int) -> list[str]:
    return [line for block in pick(blocks, TEXT) for line in _block(block, width)]


def _block(block: Block, width: int) -> list[str]:
    lines = []
    match block:
        case Heading(text):
            lines = ["", *_wrap(text, width)]
        case Lines(items, marks, _, indent):
            for number, item in enumerate(items, start=1):
                mark = {"bullets": "  - ", "numbered": f"{number}. "}.get(marks, "")
                lines += _wrap(item, width, mark, " " * (indent + len(mark)))
        case Table():
            lines = _table(block, width)
        case Fold(summary, blocks):
            lines = [*_wrap(summary, width), *(f"  {line}" for line in _lines(blocks, width - 2))]
        case Columns(entries):
            lines = [line for entry in entries for line in _wrap(entry, width, rest="    ")]
        case Couplets(couplets):
            lines = [line for couplet in couplets for line in ("", *_couplet(couplet, width))][1:]
        case Group(blocks):
            lines = _lines(blocks, width)
        case Cards(cards):
            lines = [line for card in cards for line in ("", *_lines((*card.below, *card.blocks), width))][1:]
    return lines  # a picture has none


def _table(table: Table, width: int) -> list[str]:
    heads = f"({'; '.join(map(plain, table.heads))}):" if table.heads else ""
    head = f"{plain(table.caption)} {heads}".strip()
    lines = _wrap(head, width) if head else []
    rows = [[_cell(cell) for cell in row] for row in table.rows]
    # Of pairs the heads stand in a column of their own.
    label = max((len(row[0]) for row in rows), default=0) + 2
    for row in rows:
        cells = "; ".join(filter(None, row if table.heads else row[1:]))
        first, rest = ("  ", 6) if table.heads else (f"{row[0]:<{label}}", label)
        lines += _wrap(cells, width, first, " " * rest)
    return lines


def _cell(content: Content) -> str:
    """Return the content of a cell on one line."""
    lines = []
    pieces = pick(content if isinstance(content, tuple) else (content,), TEXT)
    for is_block, some in groupby(pieces, lambda piece: isinstance(piece, Block)):
        alike = tuple(some)
        lines += _lines(alike, 10**6) if is_block else plain(alike).split("\n")
    return " / ".join(filter(None, lines)).strip()


def _couplet(couplet: Couplet, width: int) -> list[str]:
    """Return a couplet, dots before the ends of its leads."""
    lines = []
    for lead in couplet.leads:
        names = "; ".join(map(plain, lead.names))
        end = str(lead.to) if lead.to is not None else f"{plain(lead.head)} {names}".strip()
        lines += _wrap(lead.words, width, f"{couplet.number}{lead.letter}".ljust(6), " " * 6)
        room = width - len(lines[-1]) - len(end) - 2
        if room >= 3:
            lines[-1] += f" {'.' * room} {end}"
        else:
            lines += _wrap(end, width, " " * 10, " " * 10)
    return lines
