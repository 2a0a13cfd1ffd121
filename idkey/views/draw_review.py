"""The grid of a review: kinds by traits, each cell a mark that says what it rests on.

The marks differ in shape, so that nothing rests on colour: the fuller, the better the evidence. Kinds stand
by genus. A grid is cut into sheets of `MOST_ROWS` kinds, each of which fits a page of paper. A sheet keeps
its shapes and its words apart: on a screen they are one drawing, on paper the words are set in the type of
the page.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING, Literal

from idkey.model.review import BLANK, CODES, KNOWN, NOT_APPLICABLE
from idkey.table.claims import CLASSES
from idkey.views.draw_style import BORDER, GHOST, INK, PAPER
from idkey.views.report_words import plain

if TYPE_CHECKING:
    from idkey.model.review import Review

__all__ = [
    "MOST_COLUMNS",
    "MOST_ROWS",
    "MOST_SHEETS",
    "GridSheet",
    "Word",
    "grid_note",
    "grid_sheets",
    "grid_svg",
]

MOST_ROWS = 90
"""Kinds on one sheet; with a name in each row the most that can be read on a page."""
MOST_SHEETS = 4
MOST_COLUMNS = 60

_CELL = 13.0
_MARK = 8.0
_TEXT = 11.0
_SMALL = 9.5
_MARGIN = 8.0
_GENUS_GAP = 5.0
_LETTER = 0.58
"""Width of a letter as a share of the text size, on the generous side."""
_LONGEST_KIND, _LONGEST_TRAIT = 38, 30
_WEAK = "#b4530f"
"""Colour of what rests on no source; on the card it stands out as text would (contrast 5 to 1)."""
_FILL = {"read": INK, KNOWN: INK, "secondary": INK, "memory": _WEAK, NOT_APPLICABLE: GHOST.edge}
_STROKE = {"secondary": INK, "common practice": _WEAK, BLANK: GHOST.edge}
_LEGEND = {
    BLANK: "blank",
    NOT_APPLICABLE: "does not apply",
    KNOWN: "known",
    "read": "read at the source",
    "secondary": "second-hand",
    "common practice": "common practice",
    "memory": "from memory",
}
_DOUBT = "framed: in doubt"


@dataclass(frozen=True, slots=True)
class Word:
    """A piece of text on a sheet, at the left, middle or right end of its base line.

    Attributes
    ----------
    x, y : float
        Where that end of the base line is.
    text : str
        As it stands in the table: not escaped.
    anchor : {"start", "middle", "end"}
    size : float
    turned : bool
        Read from below upwards.
    """

    x: float
    y: float
    text: str
    anchor: Literal["start", "middle", "end"] = "start"
    size: float = _TEXT
    turned: bool = False


@dataclass(frozen=True, slots=True)
class GridSheet:
    """One sheet of the grid.

    Attributes
    ----------
    width, height : float
    shapes : str
        SVG elements without text.
    words : tuple of Word
    title, says : str
        What the sheet shows, and its figures, for who can't see it.
    """

    width: float
    height: float
    shapes: str
    words: tuple[Word, ...]
    title: str
    says: str

    def svg(self, *, words: bool = True) -> str:
        """Return the sheet as an ``<svg>`` element without ids; an opaque card, text escaped."""
        text = "".join(_word_svg(word) for word in self.words) if words else ""
        box = f"{self.width:.0f} {self.height:.0f}"
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="0 0 {box}" '
            f'width="{self.width:.0f}" height="{self.height:.0f}" font-family="sans-serif">'
            f"<title>{escape(self.title)}</title><desc>{escape(self.says)}</desc>"
            f'{self.shapes}<g fill="{INK}">{text}</g></svg>'
        )


def grid_svg(review: Review) -> str:
    """Return all sheets of the grid, one below the other."""
    return "\n".join(sheet.svg() for sheet in grid_sheets(review))


def grid_sheets(review: Review) -> tuple[GridSheet, ...]:
    """Return the grid in sheets of as even a length as can be.

    Parameters
    ----------
    review : Review

    Returns
    -------
    tuple of GridSheet
        At most `MOST_SHEETS`; kinds and traits beyond that are left out. None for a table without traits.
    """
    columns = list(review.grid.columns)[:MOST_COLUMNS]
    if not columns:
        return ()
    rows = _ordered(review)[: MOST_SHEETS * MOST_ROWS]
    count = math.ceil(len(rows) / MOST_ROWS)
    deep = math.ceil(len(rows) / count)
    parts = [rows[i : i + deep] for i in range(0, len(rows), deep)]
    return tuple(_sheet(review, part, columns, i, len(parts)) for i, part in enumerate(parts, start=1))


def grid_note(review: Review) -> str:
    """Say what the grid leaves out; blank where it is whole."""
    kinds = len(review.taxa) - MOST_SHEETS * MOST_ROWS
    traits = len(review.traits) - MOST_COLUMNS
    left = [
        f"{n:,} {what}{'s' if n > 1 else ''}"
        for n, what in ((kinds, "more kind"), (traits, "more trait"))
        if n > 0
    ]
    return f"Not shown: {' and '.join(left)}; to_frame() has all." if left else ""


def _ordered(review: Review) -> list[tuple[str, str]]:
    """Return genus and id of the kinds: by genus, then by name; as in the table where it names no genus."""
    table = review.table
    if "genus" not in table.taxa.columns:
        return [("", taxon) for taxon in table.ids]
    rows = list(zip(map(str, table.taxa["genus"]), table.ids, strict=True))
    return sorted(rows, key=lambda row: (row[0].casefold(), table.label(row[1]).casefold(), row[1]))


def _sheet(
    review: Review, rows: Sequence[tuple[str, str]], columns: Sequence[str], number: int, count: int
) -> GridSheet:
    table = review.table
    names = [_cut(table.label(taxon), _LONGEST_KIND) for _, taxon in rows]
    traits = [_cut(table.trait(c).name, _LONGEST_TRAIT) for c in columns]
    tops = list(_tops([genus for genus, _ in rows]))
    left = _MARGIN + _TEXT * _LETTER * max(map(len, names)) + 8
    top = _MARGIN + _TEXT * _LETTER * max(map(len, traits)) + 8
    side = len(columns) * _CELL
    bottom = top + tops[-1] + _CELL
    many = review.traits["filled"].max() > 99
    foot = bottom + (36.0 if many else 18.0)
    shapes = _ground(tops, len(columns), left, top)
    xs = [left + j * _CELL for j in range(len(columns))]
    ys = [top + y for y in tops]
    doubted = {(d.taxon, d.column) for d in review.doubts}
    marks: dict[str, list[str]] = {code: [] for code in CODES}
    framed = []
    grid = review.grid.loc[[taxon for _, taxon in rows], list(columns)].to_numpy(dtype=object)
    for y, (_, taxon), codes in zip(ys, rows, grid, strict=True):
        for x, column, code in zip(xs, columns, codes, strict=True):
            if code != BLANK:
                marks[code].append(_mark(code, x, y))
            if (taxon, column) in doubted:
                framed.append(f"M{x + 0.5:g} {y + 0.5:g}h{_CELL - 1:g}v{_CELL - 1:g}h{1 - _CELL:g}z")
    shapes += [_painted(code, "".join(found)) for code, found in marks.items() if found]
    shapes += [_frame("".join(framed))] if framed else []
    words = [
        Word(left - 6, y + 0.5 * _CELL + 0.36 * _TEXT, name, "end") for y, name in zip(ys, names, strict=True)
    ]
    words += [
        Word(x + 0.5 * _CELL + 0.36 * _TEXT, top - 6, name, turned=True)
        for x, name in zip(xs, traits, strict=True)
    ]
    known = [Word(left + side + 5, top - 6, "known", size=_SMALL)]
    known += [
        Word(
            left + side + 5,
            y + 0.5 * _CELL + 0.36 * _SMALL,
            str(review.taxa.at[taxon, "filled"]),
            size=_SMALL,
        )
        for y, (_, taxon) in zip(ys, rows, strict=True)
    ]
    known.append(Word(left - 6, bottom + 4 + _SMALL, "kinds known", "end", _SMALL))
    for x, column in zip(xs, columns, strict=True):
        text = str(review.traits.at[column, "filled"])
        middle = x + 0.5 * _CELL
        known.append(
            Word(middle + 0.36 * _SMALL, bottom + 4, text, "end", _SMALL, turned=True)
            if many
            else Word(middle, bottom + 4 + _SMALL, text, "middle", _SMALL)
        )
    width = max(left + side + 40.0, 420.0)
    keys, said, height = _legend(review, foot, width, framed=bool(doubted))
    title = f"What is known of {len(rows)} kinds in {len(columns)} traits, and what it rests on"
    if count > 1:
        title += f" (sheet {number} of {count})"
    figures = ", ".join(f"{_LEGEND[code]}: {len(marks[code])}" for code in CODES if marks[code])
    blank = len(rows) * len(columns) - sum(map(len, marks.values()))
    return GridSheet(
        width,
        height,
        _box(0.5, 0.5, width - 1, height - 1, PAPER, BORDER) + "".join([*shapes, *keys]),
        (*words, *known, *said),
        title,
        f"{figures + ', ' if figures else ''}blank: {blank}",
    )


def _tops(genera: Sequence[str]) -> Iterator[float]:
    """Return how far down each row stands: a little more where a genus begins."""
    y = 0.0
    for i, genus in enumerate(genera):
        y += _GENUS_GAP if i and genus != genera[i - 1] else 0.0
        yield y
        y += _CELL


def _cut(label: str, longest: int) -> str:
    label = " ".join(plain(label).split())
    return label if len(label) <= longest else label[: longest - 1].rstrip(" ,") + "…"


def _ground(tops: Sequence[float], n: int, left: float, top: float) -> list[str]:
    """Return every other row and a line at every fifth column, to lead the eye."""
    side, high = n * _CELL, tops[-1] + _CELL
    rows = [_box(left, top + y, side, _CELL, GHOST.face) for y in tops[::2]]
    at = [left + i * _CELL for i in range(0, n + 1, 5)]
    lines = "".join(f"M{x:g} {top:g}v{high:g}" for x in at)
    return [*rows, f'<path d="{lines}" fill="none" stroke="{GHOST.fine}"/>']


def _box(x: float, y: float, width: float, height: float, face: str, edge: str = "none") -> str:
    return f'<rect x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}" fill="{face}" stroke="{edge}"/>'


def _mark(code: str, x: float, y: float) -> str:
    """Return the outline of a mark in the cell whose corner is given."""
    a, b = x + (_CELL - _MARK) / 2, y + (_CELL - _MARK) / 2
    middle = y + _CELL / 2
    if code in ("read", KNOWN):
        return f"M{a:g} {b:g}h{_MARK:g}v{_MARK:g}h{-_MARK:g}z"
    if code == "secondary":
        # Half of the square filled; the other two sides go there and back, so that they enclose nothing.
        m = f"{_MARK:g}"
        return f"M{a:g} {b:g}v{m}h{m}zM{a:g} {b:g}h{m}v{m}v-{m}z"
    if code == NOT_APPLICABLE:
        return f"M{a + 1:g} {middle - 0.75:g}h{_MARK - 2:g}v1.5h{2 - _MARK:g}z"
    if code == BLANK:
        return f"M{a:g} {b:g}h{_MARK:g}v{_MARK:g}h{-_MARK:g}z"
    r = 3.3 if code == "common practice" else 2.4
    return f"M{x + _CELL / 2 - r:g} {middle:g}a{r:g} {r:g} 0 1 0 {2 * r:g} 0a{r:g} {r:g} 0 1 0 {-2 * r:g} 0z"


def _painted(code: str, path: str) -> str:
    face, edge = _FILL.get(code, "none"), _STROKE.get(code, "none")
    width = 1.6 if code == "common practice" else 0.9
    return f'<path d="{path}" fill="{face}" stroke="{edge}" stroke-width="{width:g}"/>'


def _frame(path: str) -> str:
    return f'<path d="{path}" fill="none" stroke="{_WEAK}" stroke-width="1.2"/>'


def _legend(review: Review, y: float, width: float, *, framed: bool) -> tuple[list[str], list[Word], float]:
    """Return the marks and the words of the legend, and where the sheet ends."""
    codes = [*CLASSES, NOT_APPLICABLE, BLANK] if review.has_evidence else [KNOWN, NOT_APPLICABLE, BLANK]
    entries = [(code, _LEGEND[code]) for code in codes]
    entries += [("", _DOUBT)] if framed else []
    shapes, words = [], []
    x = _MARGIN
    for code, text in entries:
        wide = _CELL + 4 + _TEXT * _LETTER * len(text) + 12
        if x > _MARGIN and x + wide > width:
            x, y = _MARGIN, y + 1.7 * _TEXT
        if code:
            shapes.append(_painted(code, _mark(code, x, y)))
        else:
            shapes.append(_frame(f"M{x + 0.5:g} {y + 0.5:g}h{_CELL - 1:g}v{_CELL - 1:g}h{1 - _CELL:g}z"))
        words.append(Word(x + _CELL + 4, y + 0.5 * _CELL + 0.36 * _TEXT, text))
        x += wide
    return shapes, words, y + _CELL + _MARGIN


def _word_svg(word: Word) -> str:
    anchor = f' text-anchor="{word.anchor}"' if word.anchor != "start" else ""
    at = f'x="{word.x:.1f}" y="{word.y:.1f}"'
    turn = f' transform="rotate(-90 {word.x:.1f} {word.y:.1f})"' if word.turned else ""
    return f'<text {at}{anchor}{turn} font-size="{word.size:g}">{escape(word.text)}</text>'
