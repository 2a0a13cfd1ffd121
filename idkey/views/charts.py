"""Charts as SVG without ids, on an opaque card so that they read on a dark page too; every text is escaped.

The map of lookalikes is a square of kinds by kinds, the mark the larger the oftener two are mixed up.
Lookalikes stand together: the kinds are in the order of a clustering by likeness (average linkage, leaves
turned so that neighbours are as alike as can be: Bar-Joseph, Gifford & Jaakkola 2001, Bioinformatics 17
Suppl. 1:S22-29). Rows carry the names, columns only their numbers, so that no text stands on its head.

The grid of a review is kinds by traits, the mark the fuller, the better the evidence a cell rests on; marks
differ in shape, so that nothing rests on colour. It is cut into sheets that fit a page each.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from html import escape

import numpy as np
from scipy.cluster.hierarchy import leaves_list, linkage
from scipy.spatial.distance import squareform

from idkey.model.lookalikes import Lookalikes
from idkey.model.review import BLANK, CODES, KNOWN, NOT_APPLICABLE, Review
from idkey.table.claims import CLASSES
from idkey.views.doc import clean, one_line
from idkey.views.fish import BORDER, INK, PAPER
from idkey.views.words import cut

_STRIPE, _LINE, _FAINT = "#f3f0ea", "#d3cdc3", "#aaa398"
_WEAK = "#b4530f"
"""Colour of what rests on no source; on the card it stands out as text would (contrast 5 to 1)."""
_TEXT, _CELL, _MARGIN = 11.0, 13.0, 8.0
_LETTER = 0.58
"""Width of a letter as a share of the text size, on the generous side."""
_LONGEST, _LONGEST_TRAIT = 38, 30
"""Letters of a name that are shown; the rest are trade codes."""
_LEAST_MARK = 0.02
_SHARES = ((0.5, "50 %: a guess", False), (0.25, "25 %", False), (0.1, "10 %", False), (0.02, "2 %", False))
_END, _MIDDLE, _BOLD = ' text-anchor="end"', ' text-anchor="middle"', ' font-weight="bold"'
_SMALL = ' font-size="9.5"'
_TURNED_UP_TO = 300
"""Kinds up to which the leaves are turned; it takes the cube of their number."""
MOST_ROWS, MOST_COLUMNS, MOST_SHEETS = 90, 60, 4
"""Kinds and traits on one sheet of the grid, the most that can be read on a page; and sheets."""
_GENUS_GAP = 5.0
_RING = "m-{0} 0a{0} {0} 0 1 0 {1} 0a{0} {0} 0 1 0 -{1} 0z"
_FULL = ("m-4 -4h8v8h-8z", f'fill="{INK}"')
_DOUBT = "doubt"
_SHAPES = {
    "read": _FULL,
    KNOWN: _FULL,
    # Half of the square filled; the other two sides go there and back, so that they enclose nothing.
    "secondary": ("m-4 -4v8h8zm0 0h8v8v-8z", f'fill="{INK}" stroke="{INK}" stroke-width="0.9"'),
    "common practice": (_RING.format(3.3, 6.6), f'fill="none" stroke="{_WEAK}" stroke-width="1.6"'),
    "memory": (_RING.format(2.4, 4.8), f'fill="{_WEAK}"'),
    NOT_APPLICABLE: ("m-3 -0.75h6v1.5h-6z", f'fill="{_FAINT}"'),
    BLANK: ("m-4 -4h8v8h-8z", f'fill="none" stroke="{_FAINT}" stroke-width="0.9"'),
    _DOUBT: ("m-6 -6h12v12h-12z", f'fill="none" stroke="{_WEAK}" stroke-width="1.2"'),
}
"""By what a cell rests on: the outline of its mark about the middle of the cell, and how it is painted."""
_CODE_WORDS = {
    "read": "read at the source",
    "secondary": "second-hand",
    "memory": "from memory",
    NOT_APPLICABLE: "does not apply",
    _DOUBT: "framed: in doubt",
}


def _card(width: float, height: float, title: str, body: Sequence[str]) -> str:
    """Return a chart: an SVG of this size with a title for who cannot see it."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="0 0 {width:.0f} {height:.0f}" '
        f'width="{width:.0f}" height="{height:.0f}" font-family="sans-serif" font-size="{_TEXT:g}">'
        f"<title>{escape(clean(title))}</title>"
        f'<rect x="0.5" y="0.5" width="{width - 1:g}" height="{height - 1:g}" fill="{PAPER}" '
        f'stroke="{BORDER}"/>{"".join(body)}</svg>'
    )


def _label(x: float, y: float, text: str, more: str = "") -> str:
    """Return a line of text, its middle at the height `y`; `more` are attributes."""
    return f'<text x="{x:.1f}" y="{y + 0.36 * _TEXT:.1f}" fill="{INK}"{more}>{escape(clean(text))}</text>'


def _wide(words: Sequence[str]) -> float:
    """Return the width of the longest of some words."""
    return _TEXT * _LETTER * max(map(len, words), default=0)


def _field(left: float, ys: Sequence[float], columns: int) -> str:
    """Return every other row and a line at every fifth column, to lead the eye."""
    side = columns * _CELL
    stripes = "".join(f"M{left:g} {y:g}h{side:g}v{_CELL:g}h-{side:g}z" for y in ys[::2])
    ends = f"{ys[0]:g}V{ys[-1] + _CELL:g}"
    lines = "".join(f"M{left + i * _CELL:g} {ends}" for i in range(0, columns + 1, 5))
    return f'<path d="{stripes}" fill="{_STRIPE}"/><path d="{lines}" stroke="{_LINE}"/>'


def on_map(pairs: Lookalikes, least: float = 0.0, most: int = 100) -> tuple[str, ...]:
    """Return the kinds that have a lookalike, in the order of the table; of many, those most mixed up.

    With some other kind the mix-up must be `least` or more, pairs hardly compared left out.
    """
    alike = _alike(pairs)
    np.fill_diagonal(alike, 0.0)
    worst = alike.max(axis=1)
    keep = np.flatnonzero(worst >= least)
    keep = keep[np.argsort(-worst[keep], kind="stable")][:most]
    return tuple(pairs.ids[i] for i in sorted(keep))


def _alike(pairs: Lookalikes) -> np.ndarray:
    """Mix-up of each pair, 0 where the two are hardly compared, shape (n_taxa, n_taxa)."""
    return np.where(pairs.hardly_compared, 0.0, pairs.matrix)


def _order(alike: np.ndarray) -> np.ndarray:
    """Return an order in which kinds that are mixed up stand together."""
    n = len(alike)
    if n < 3:
        return np.arange(n)
    apart = 0.5 - alike
    np.fill_diagonal(apart, 0.0)
    return leaves_list(linkage(squareform(apart), "average", optimal_ordering=n <= _TURNED_UP_TO))


def map_svg(pairs: Lookalikes, taxa: tuple[str, ...] | None = None) -> str:
    """Return the map of lookalikes, of all kinds or of some."""
    at = np.array([pairs.table.position(t) for t in (pairs.ids if taxa is None else taxa)], dtype=int)
    at = at[_order(_alike(pairs)[np.ix_(at, at)])]
    names = [cut(pairs.table.label(pairs.ids[i]), _LONGEST) for i in at]
    n, half, side = len(at), 0.5 * _CELL, len(at) * _CELL
    left, top = _MARGIN + _wide(names) + 2.6 * _TEXT, _MARGIN + 1.6 * _TEXT
    xs, ys = ([start + i * _CELL for i in range(n)] for start in (left, top))
    body = [_field(left, ys, n), f'<path d="M{left:g} {top:g}l{side:g} {side:g}" stroke="{_FAINT}"/>']
    for i, (y, name) in enumerate(zip(ys, names, strict=True), start=1):
        body.append(_label(left - 2.1 * _TEXT, y + half, name, _END))
        body.append(_label(left - 6, y + half, str(i), _BOLD + _END))
        body.append(_label(left + side + 5, y + half, str(i), _BOLD))
    # Three digits do not fit a column: number every fifth where there are many.
    for i in range(0, n, 1 if n < 100 else 5):
        body += [_label(xs[i] + half, y, str(i + 1), _MIDDLE + _SMALL) for y in (top - 9, top + side + 8)]
    alike, few = pairs.matrix[np.ix_(at, at)], pairs.hardly_compared[np.ix_(at, at)]
    shown = (alike >= _LEAST_MARK) & ~np.eye(n, dtype=bool)
    for hollow in (False, True):
        places = zip(*np.nonzero(shown & (few == hollow)), strict=True)
        body.append(_dots([(xs[j], ys[i], alike[i, j]) for i, j in places], hollow))
    x, y = _MARGIN + half, top + side + 3.4 * _TEXT
    for share, words, hollow in (*_SHARES, (0.5, "hardly compared", True)):
        body += [_dots([(x, y - half, share)], hollow), _label(x + _CELL * 1.3, y, words)]
        x += _CELL * 1.6 + _wide([words]) + 6
    title = f"{n} kinds by {n} kinds: the larger the mark, the oftener the two are mixed up"
    return _card(left + side + _MARGIN + 2.0 * _TEXT, top + side + 5.0 * _TEXT, title, body)


def _dots(places: Sequence[tuple[float, float, float]], hollow: bool) -> str:
    """Return marks at the corners of their cells, their areas the shares, full or hollow."""
    style = f'fill="none" stroke="{_FAINT}"' if hollow else f'fill="{INK}"'
    half, drawn = 0.5 * _CELL, []
    for x, y, share in places:
        radius = max(0.47 * _CELL * math.sqrt(share / 0.5) - 0.5 * hollow, 0.3)
        drawn.append(f'<circle cx="{x + half:g}" cy="{y + half:g}" r="{radius:.1f}"/>')
    return f"<g {style}>{''.join(drawn)}</g>"


def grid_sheets(review: Review) -> tuple[tuple[str, str], ...]:
    """Return the grid of a review in sheets of as even a length as can be.

    Each is the drawing, and in words what it shows. What is beyond `MOST_SHEETS` sheets is left out.
    """
    rows = _by_genus(review)[: MOST_SHEETS * MOST_ROWS]
    columns = list(review.grid.columns)[:MOST_COLUMNS]
    if not columns:
        return ()
    deep = math.ceil(len(rows) / math.ceil(len(rows) / MOST_ROWS))
    parts = [rows[i : i + deep] for i in range(0, len(rows), deep)]
    sheets = []
    for number, part in enumerate(parts, start=1):
        of = f" (sheet {number} of {len(parts)})" if len(parts) > 1 else ""
        title = f"What is known of {len(part)} kinds in {len(columns)} traits, and what it rests on{of}"
        sheets.append(_sheet(review, part, columns, title))
    return tuple(sheets)


def _by_genus(review: Review) -> list[tuple[str, str]]:
    """Return genus and id of the kinds: by genus, then by name; as in the table where it names no genus."""
    table = review.table
    if "genus" not in table.taxa.columns:
        return [("", taxon) for taxon in table.ids]
    rows = list(zip(map(str, table.taxa["genus"]), table.ids, strict=True))
    return sorted(rows, key=lambda row: (row[0].casefold(), table.label(row[1]).casefold(), row[1]))


def _sheet(
    review: Review, rows: Sequence[tuple[str, str]], columns: Sequence[str], title: str
) -> tuple[str, str]:
    table, half = review.table, 0.5 * _CELL
    genera, taxa = zip(*rows, strict=True)
    names = [cut(one_line(table.label(taxon)), _LONGEST) for taxon in taxa]
    traits = [cut(one_line(table.trait(c).name), _LONGEST_TRAIT) for c in columns]
    left, top = (_MARGIN + _wide(words) + 8 for words in (names, traits))
    # A little more room where a genus begins.
    gaps = [0, *(a != b for a, b in itertools.pairwise(genera))]
    ys = [top + i * _CELL + gap * _GENUS_GAP for i, gap in enumerate(itertools.accumulate(gaps))]
    xs = [left + j * _CELL for j in range(len(columns))]
    side, bottom = len(columns) * _CELL, ys[-1] + _CELL
    doubted = {(d.taxon, d.column) for d in review.doubts}
    places: dict[str, list[str]] = {code: [] for code in (*CODES, _DOUBT)}
    for y, taxon, codes in zip(
        ys, taxa, review.grid.loc[[*taxa], [*columns]].to_numpy(dtype=object), strict=True
    ):
        for x, column, code in zip(xs, columns, codes, strict=True):
            for mark in (code, _DOUBT) if (taxon, column) in doubted else (code,):
                places[mark].append(f"M{x + half:g} {y + half:g}")
    body = [_field(left, ys, len(columns))]
    body += [_painted(code, at) for code, at in places.items() if code != BLANK and at]
    for y, name, taxon in zip(ys, names, taxa, strict=True):
        body.append(_label(left - 6, y + half, name, _END))
        body.append(_label(left + side + 5, y + half, str(review.taxa.at[taxon, "filled"]), _SMALL))
    body.append(_label(left + side + 5, top - 10, "known", _SMALL))
    body.append(_label(left - 6, bottom + 9, "kinds known", _END + _SMALL))
    counts = [str(review.traits.at[column, "filled"]) for column in columns]
    turn = max(map(len, counts)) > 2
    for x, trait, count in zip(xs, traits, counts, strict=True):
        body.append(_turned(x + half, top - 6, trait))
        if turn:
            body.append(_turned(x + half, bottom + 4, count, _END + _SMALL))
        else:
            body.append(_label(x + half, bottom + 9, count, _MIDDLE + _SMALL))
    width = max(left + side + 40.0, 420.0)
    codes = [
        *(CLASSES if review.has_evidence else (KNOWN,)),
        NOT_APPLICABLE,
        BLANK,
        *[_DOUBT] * bool(doubted),
    ]
    x, y = _MARGIN, bottom + (36.0 if turn else 18.0)
    for code in codes:
        words = _CODE_WORDS.get(code, code)
        wide = _CELL + 4 + _wide([words]) + 12
        if x > _MARGIN and x + wide > width:
            x, y = _MARGIN, y + 1.7 * _TEXT
        body.append(_painted(code, [f"M{x + half:g} {y + half:g}"]))
        body.append(_label(x + _CELL + 4, y + half, words))
        x += wide
    shown = [code for code in (*CODES[1:], BLANK) if places[code]]
    says = f"{title}. {', '.join(f'{_CODE_WORDS.get(c, c)}: {len(places[c])}' for c in shown)}"
    return _card(width, y + _CELL + _MARGIN, says, body), says


def _painted(code: str, places: Sequence[str]) -> str:
    shape, paint = _SHAPES[code]
    return f'<path d="{"".join(place + shape for place in places)}" {paint}/>'


def _turned(x: float, y: float, text: str, more: str = "") -> str:
    """Return a line of text that is read from below upwards, its middle at `x`."""
    return _label(x, y, text, f'{more} transform="rotate(-90 {x:.1f} {y:.1f})"')
