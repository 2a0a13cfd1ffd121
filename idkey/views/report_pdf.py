"""Paper: text, tables and drawings put on pages as PDF. Knows no fish.

A document is a list of blocks; a block is never split over two pages unless it is taller than a page. All
blocks are placed before any is drawn, so that each page can say how many there are.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

from fpdf import FPDF

from idkey.views.report_words import made_with, plain

__all__ = ["PAPERS", "Block", "Line", "Paper", "Piece", "Row"]

PAPERS = {"A4": "a4", "Letter": "letter"}
"""Paper sizes: A4 is 210 x 297 mm (ISO 216), Letter 8.5 x 11 in (ANSI Y14.1)."""

_STYLES = {
    "title": ("B", 17.0, 7.4),
    "head": ("B", 11.5, 6.4),
    "number": ("B", 10.5, 4.6),
    "text": ("", 9.0, 4.1),
    "bold": ("B", 9.0, 4.1),
    "small": ("", 7.5, 3.5),
    "small bold": ("B", 7.5, 3.5),
}
"""Style: weight, size in points, height of a line in mm."""

_SIDE, _TOP, _BOTTOM = 16.0, 14.0, 18.0
_FAMILY = "dejavu"
_TITLE = re.compile(r"<(title|desc)>.*?</\1>", re.DOTALL)
_NO_DATE = datetime(1970, 1, 1, tzinfo=UTC)
"""Creation date of a document whose table states none: a file must state one, and always the same."""

Piece = tuple[str, str]
"""Text and its style."""
Line = list[tuple[float, str, str]]
"""What stands on one line: offset from the left in mm, style, text."""


@dataclass(frozen=True, slots=True)
class Row:
    """A strip over the width of the page: its height in mm, and what draws it at a given top edge."""

    height: float
    draw: Callable[[float], None]


@dataclass(frozen=True, slots=True)
class Block:
    """Rows that stay together.

    Attributes
    ----------
    rows : tuple of Row
    outline : str
        Entry in the document's outline; blank for none.
    link : int or None
        Place that links lead to.
    keep : bool
        Stay on one page with the block that follows.
    """

    rows: tuple[Row, ...]
    outline: str = ""
    link: int | None = None
    keep: bool = False

    @property
    def height(self) -> float:
        """Height in mm."""
        return sum(row.height for row in self.rows)


class Paper:
    """A document being made.

    Parameters
    ----------
    paper : {"A4", "Letter"}
    title, foot : str
        Title of the document; what stands at the foot of each page beside the page number.
    fonts : pathlib.Path
        Folder of DejaVuSans.ttf and DejaVuSans-Bold.ttf.
    day : datetime.date or None
        Date written into the file as that of its making.
    """

    def __init__(self, paper: str, title: str, foot: str, fonts: Path, day: date | None):
        self.pdf = pdf = FPDF(unit="mm", format=PAPERS[paper])
        for weight, file in (("", "DejaVuSans.ttf"), ("B", "DejaVuSans-Bold.ttf")):
            pdf.add_font(_FAMILY, weight, fonts / file)
        self._glyphs = {w: frozenset(pdf.fonts[_FAMILY + w].cmap) for w in ("", "B")}
        self._widths: dict[tuple[str, str], float] = {}
        pdf.set_auto_page_break(False)
        pdf.set_margin(0)
        pdf.set_title(self.clean(title))
        pdf.set_author(made_with())
        pdf.set_creator(made_with())
        pdf.set_lang("en-GB")
        pdf.set_creation_date(datetime(day.year, day.month, day.day, tzinfo=UTC) if day else _NO_DATE)
        self.left, self.width = _SIDE, pdf.w - 2 * _SIDE
        self._foot = self._cut(self.clean(title), self.clean(f"  |  {foot}"))
        self.blocks: list[Block] = []

    def _cut(self, title: str, foot: str) -> str:
        """Return the line at the foot; a title that is too long is cut, the table's version never."""
        room = self.width - self.wide("page 1000 of 1000", "small") - 6.0
        if self.wide(title + foot, "small") <= room:
            return title + foot
        while title and self.wide(title + "…" + foot, "small") > room:
            title = title[:-1]
        return title.rstrip() + "…" + foot

    # -- text ---------------------------------------------------------------------------------------

    def clean(self, text: str) -> str:
        """Return text that the font can show; a character that it lacks becomes the replacement character."""
        glyphs = self._glyphs[""] & self._glyphs["B"]
        return "".join(c if ord(c) in glyphs or c in "\n\t" else "\ufffd" for c in plain(text))

    def wide(self, text: str, style: str) -> float:
        """Return the width of a text in mm."""
        if (text, style) not in self._widths:
            weight, size, _ = _STYLES[style]
            self.pdf.set_font(_FAMILY, weight, size)
            self._widths[text, style] = self.pdf.get_string_width(text)
        return self._widths[text, style]

    def wrap(self, pieces: Iterable[Piece], width: float) -> list[Line]:
        """Break text into lines; a word wider than a line is broken inside."""
        lines: list[Line] = [[]]
        x = 0.0
        for text, style in pieces:
            space = self.wide(" ", style)
            # A line break is a word of its own here.
            for word in self.clean(text).replace("\n", " \n ").split(" "):
                if word == "\n":
                    lines.append([])
                    x = 0.0
                for part in self._parts(word.strip(), style, width):
                    if x and x + space + self.wide(part, style) > width:
                        lines.append([])
                        x = 0.0
                    line = lines[-1]
                    if x and line[-1][1] == style:
                        at, _, before = line[-1]
                        line[-1] = (at, style, f"{before} {part}")
                        x = at + self.wide(line[-1][2], style)
                    else:
                        at = x + space if x else 0.0
                        line.append((at, style, part))
                        x = at + self.wide(part, style)
        return lines

    def _parts(self, word: str, style: str, width: float) -> list[str]:
        parts, rest = [], word
        while len(rest) > 1 and self.wide(rest, style) > width:
            fits = next((n for n in range(len(rest) - 1, 1, -1) if self.wide(rest[:n], style) <= width), 1)
            parts.append(rest[:fits])
            rest = rest[fits:]
        return [*parts, rest] if rest else parts

    @staticmethod
    def line_height(line: Line, default: str = "text") -> float:
        """Return the height of a line in mm: that of its tallest style."""
        return max((_STYLES[style][2] for _, style, _ in line), default=_STYLES[default][2])

    @staticmethod
    def end_of(line: Line, wide: Callable[[str, str], float]) -> float:
        """Return where a line ends, from its left edge, in mm."""
        return line[-1][0] + wide(line[-1][2], line[-1][1]) if line else 0.0

    def put(self, line: Line, x: float, y: float) -> None:
        """Write a line whose top edge is at `y`."""
        base = y + 0.76 * self.line_height(line)
        for at, style, text in line:
            weight, size, _ = _STYLES[style]
            self.pdf.set_font(_FAMILY, weight, size)
            self.pdf.text(x + at, base, text)

    # -- blocks -------------------------------------------------------------------------------------

    def rows(self, pieces: Iterable[Piece], indent: float = 0.0, width: float | None = None) -> list[Row]:
        """Return text as rows, one a line."""
        room = self.width - indent if width is None else width
        return [self.row(line, indent) for line in self.wrap(pieces, room)]

    def row(self, line: Line, indent: float = 0.0) -> Row:
        """Return one line as a row."""
        return Row(self.line_height(line), lambda y: self.put(line, self.left + indent, y))

    def gap(self, height: float) -> None:
        """Leave some room."""
        self.blocks.append(Block((Row(height, lambda y: None),)))

    def head(self, text: str, style: str = "head") -> None:
        """Put a heading, which stays with what follows and stands in the outline."""
        lines = self.rows([(text, style)])
        self.blocks.append(Block(tuple(lines), outline=self.clean(text), keep=True))

    def paragraph(self, text: str, style: str = "text", mark: str = "") -> None:
        """Put a paragraph; `mark` stands before it."""
        indent = 6.0 if mark else 0.0
        rows = self.rows([(text, style)], indent)
        if mark:
            first = rows[0]
            line: Line = [(0.0, style, mark)]

            def both(y: float) -> None:
                self.put(line, self.left, y)
                first.draw(y)

            rows[0] = Row(first.height, both)
        self.blocks.append(Block((*rows, Row(1.0, lambda y: None))))

    def grid(self, cells: Sequence[Sequence[Sequence[Piece]]], shares: Sequence[float]) -> None:
        """Put a table with a rule under each row; `shares` are the columns' shares of the width."""
        gutter = 4.0
        widths = [share / sum(shares) * self.width for share in shares]
        starts = [sum(widths[:i]) for i in range(len(widths))]
        for row in cells:
            wrapped = [self.wrap(cell, w - gutter) for cell, w in zip(row, widths, strict=True)]
            self.blocks.append(Block((*self._grid_row(wrapped, starts), Row(0.8, self._rule))))

    def _grid_row(self, cells: list[list[Line]], starts: list[float]) -> list[Row]:
        """Return a row of a table: written cell by cell, or by the line if it is taller than a page."""
        gap = Row(0.8, lambda y: None)
        height = max(sum(self.line_height(line) for line in lines) for lines in cells)
        if height < self.pdf.h - _TOP - _BOTTOM - 2.0:
            return [gap, Row(height, self._beside(list(zip(starts, cells, strict=True))))]
        rows = [gap]
        for k in range(max(len(lines) for lines in cells)):
            found = [(s, [lines[k]]) for s, lines in zip(starts, cells, strict=True) if k < len(lines)]
            rows.append(Row(max(self.line_height(line) for _, (line,) in found), self._beside(found)))
        return rows

    def _beside(self, columns: list[tuple[float, list[Line]]]) -> Callable[[float], None]:
        """Return what writes columns of lines one after the other, as they are read and copied."""

        def draw(y: float) -> None:
            for start, lines in columns:
                top = y
                for line in lines:
                    self.put(line, self.left + start, top)
                    top += self.line_height(line)

        return draw

    def _rule(self, y: float) -> None:
        self.pdf.set_draw_color(0)
        self.pdf.set_line_width(0.15)
        self.pdf.line(self.left, y + 0.8, self.left + self.width, y + 0.8)

    def columns(self, entries: Sequence[Sequence[Piece]], count: int) -> None:
        """Put short entries side by side, in parts that are read down each column."""
        gutter = 5.0
        width = (self.width - (count - 1) * gutter) / count
        found: list[list[Line]] = []
        for entry in entries:
            first, *more = self.wrap(entry, width - 4.0)
            found.append([first, *([(at + 4.0, style, text) for at, style, text in line] for line in more)])
        if not found:
            return
        height = max(self.line_height(line) for lines in found for line in lines)
        # Half a page at most, so that a list can begin at the foot of a page.
        deepest = int((self.pdf.h - _TOP - _BOTTOM - 16.0) / 2 / height)
        while found:
            # As even as can be: the least depth at which all that is left fits, or the deepest.
            total = sum(map(len, found))
            depths = range(min(deepest, max(1, total // count)), deepest + 1)
            filled = (_fill(found, count, deep) for deep in depths)
            columns, left = next((f for f in filled if not f[1]), _fill(found, count, deepest))
            tall = max(map(len, columns))
            beside = [(c * (width + gutter), lines) for c, lines in enumerate(columns)]
            self.blocks.append(Block((Row(tall * height + 1.5, self._beside(beside)),)))
            found = left

    def drawing(self, svg: str, words: str, tallest: float = 110.0) -> None:
        """Put an SVG drawing over the width of the page."""
        box = _viewbox(svg)
        width = min(self.width, tallest * box[0] / box[1])
        height = width * box[1] / box[0]
        said = self.clean(words)

        def draw(y: float) -> None:
            self.picture(svg, self.left, y, width, height, said)

        self.blocks.append(Block((Row(height + 2.0, draw),)))

    def picture(self, svg: str, x: float, y: float, width: float, height: float, words: str = "") -> None:
        """Draw an SVG at a place on the page."""
        shapes = _TITLE.sub("", svg)  # its title is said by `words`
        with self.pdf.rect_clip(x, y, width, height):
            self.pdf.image(io.BytesIO(shapes.encode()), x, y, width, height, alt_text=words or None)

    def leader(self, start: float, end: float, y: float) -> None:
        """Draw dots from one place on a line to another."""
        if end - start < 3.0:
            return
        self.pdf.set_draw_color(0)
        self.pdf.set_line_width(0.25)
        self.pdf.set_dash_pattern(dash=0.3, gap=1.2)
        self.pdf.line(start, y, end, y)
        self.pdf.set_dash_pattern()

    # -- pages --------------------------------------------------------------------------------------

    def finish(self) -> bytes:
        """Place all blocks, draw them, and return the file."""
        pages = self._pages()
        for number, page in enumerate(pages, start=1):
            for y, block, rows in page:
                if block.link is not None and rows is block.rows:
                    self.pdf.set_link(block.link, y=y, x=self.left, page=number)
        for number, page in enumerate(pages, start=1):
            self.pdf.add_page()
            for y, block, rows in page:
                self.pdf.set_xy(self.left, y)
                if block.outline and rows is block.rows:
                    self.pdf.start_section(block.outline)
                top = y
                for row in rows:
                    row.draw(top)
                    top += row.height
            self._footer(f"page {number} of {len(pages)}")
        return bytes(self.pdf.output())

    def _pages(self) -> list[list[tuple[float, Block, tuple[Row, ...]]]]:
        bottom = self.pdf.h - _BOTTOM
        pages: list[list[tuple[float, Block, tuple[Row, ...]]]] = [[]]
        y = _TOP
        for i, block in enumerate(self.blocks):
            need = block.height
            if block.keep and i + 1 < len(self.blocks):
                need += self.blocks[i + 1].height
            if y + need > bottom and y > _TOP and _TOP + block.height <= bottom:
                pages.append([])
                y = _TOP
            if _TOP + block.height <= bottom:
                pages[-1].append((y, block, block.rows))
                y += block.height
                continue
            for row in block.rows:  # taller than a page
                if y + row.height > bottom and y > _TOP:
                    pages.append([])
                    y = _TOP
                pages[-1].append((y, block, (row,)))
                y += row.height
        return [page for page in pages if page] or [[]]

    def _footer(self, count: str) -> None:
        y = self.pdf.h - _BOTTOM + 5.0
        self._rule(y - 2.4)
        room = self.width - self.wide(count, "small") - 6.0
        self.put(self.wrap([(self._foot, "small")], room)[0], self.left, y)
        self.put([(0.0, "small", count)], self.left + self.width - self.wide(count, "small"), y)


def _viewbox(svg: str) -> tuple[float, float]:
    """Return width and height of an SVG's view box."""
    _, _, width, height = svg.partition('viewBox="')[2].partition('"')[0].split()
    return float(width), float(height)


def _fill(entries: list[list[Line]], count: int, deep: int) -> tuple[list[list[Line]], list[list[Line]]]:
    """Fill columns of `deep` lines with whole entries; return the columns and the entries that are left.

    Only an entry longer than a column is split.
    """
    columns: list[list[Line]] = [[] for _ in range(count)]
    left = [list(lines) for lines in entries]
    for column in columns:
        while left and len(column) + len(left[0]) <= deep:
            column.extend(left.pop(0))
        if left and not column:
            column.extend(left[0][:deep])
            left[0] = left[0][deep:]
    return columns, left
