"""Charts as SVG without ids; every text is escaped.

The map of lookalikes is a square of kinds by kinds, the mark the larger the oftener two are mixed up.
Lookalikes stand together: the kinds are in the order of a clustering by likeness (average linkage, leaves
turned so that neighbours are as alike as can be: Bar-Joseph, Gifford & Jaakkola 2001, Bioinformatics 17
Suppl. 1:S22-29). The grid of a review is kinds by traits, the mark the fuller, the better the evidence a cell
rests on, cut into sheets that fit a page each. Both lie on an opaque card, to read on a dark page too; marks
differ in shape, so that nothing rests on colour.

The gauges of a care sheet are in the ink of the page: filled is right, hollow is what one kind alone needs,
dotted is not known. Every number stays in words, too.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from html import escape

import numpy as np
from scipy.cluster.hierarchy import leaves_list, linkage
from scipy.spatial.distance import squareform

from idkey.care.needs import CLASS_WORDS, Need, Value, alike
from idkey.care.sheet import CareSheet
from idkey.model.lookalikes import Lookalikes
from idkey.model.review import BLANK, CODES, KNOWN, NOT_APPLICABLE, Review
from idkey.table.claims import CLASSES
from idkey.table.units import amount
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
_LEGEND = ((0.5, "50 %: a guess"), (0.25, "25 %"), (0.1, "10 %"), (0.02, "2 %"), (0.5, "hardly compared"))
_END, _MIDDLE, _BOLD = ' text-anchor="end"', ' text-anchor="middle"', ' font-weight="bold"'
_SMALL = ' font-size="9.5"'
MOST_ROWS, MOST_COLUMNS, MOST_SHEETS = 90, 60, 4
"""Kinds and traits on one sheet of the grid, the most that can be read on a page; and sheets."""
_LEAST_MARK, _GENUS_GAP = 0.02, 5.0
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
_CODE_WORDS = CLASS_WORDS | {NOT_APPLICABLE: "does not apply", _DOUBT: "framed: in doubt"}


def _svg(width: float, height: float, title: str, body: Sequence[str], look: str) -> str:
    """Return a chart of this size, with a title for who cannot see it."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="0 0 {width:.0f} {height:.0f}" '
        f'font-family="sans-serif" font-size="{_TEXT:g}" {look}>'
        f"<title>{escape(clean(title))}</title>{''.join(body)}</svg>"
    )


def _card(width: float, height: float, title: str, body: Sequence[str]) -> str:
    card = f'<rect x="0.5" y="0.5" width="{width - 1:g}" height="{height - 1:g}" fill="{PAPER}"'
    look = f'width="{width:.0f}" height="{height:.0f}" fill="{INK}"'
    return _svg(width, height, title, [f'{card} stroke="{BORDER}"/>', *body], look)


def _text(x: float, y: float, text: str, look: str = "") -> str:
    """Return a line of text, its middle at the height `y`; blank where there is none."""
    words = escape(clean(text))
    return f'<text x="{x:.1f}" y="{y + 0.36 * _TEXT:.1f}"{look}>{words}</text>' if words else ""


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


def map_svg(pairs: Lookalikes, taxa: tuple[str, ...] | None = None) -> str:
    """Return the map of lookalikes, of all kinds or of some; those that are mixed up stand together."""
    at = np.array([pairs.table.position(t) for t in (pairs.ids if taxa is None else taxa)], dtype=int)
    apart = 0.5 - _alike(pairs)[np.ix_(at, at)]
    np.fill_diagonal(apart, 0.0)
    if len(at) > 2:
        at = at[leaves_list(linkage(squareform(apart), "average", optimal_ordering=True))]
    names = [cut(pairs.table.label(pairs.ids[i]), _LONGEST) for i in at]
    n, half, side = len(at), 0.5 * _CELL, len(at) * _CELL
    left, top = _MARGIN + _wide(names) + 2.6 * _TEXT, _MARGIN + 1.6 * _TEXT
    xs, ys = ([start + i * _CELL for i in range(n)] for start in (left, top))
    body = [_field(left, ys, n), f'<path d="M{left:g} {top:g}l{side:g} {side:g}" stroke="{_FAINT}"/>']
    for i, (y, name) in enumerate(zip(ys, names, strict=True), start=1):
        body.append(_text(left - 2.1 * _TEXT, y + half, name, _END))
        body.append(_text(left - 6, y + half, str(i), _BOLD + _END))
        body.append(_text(left + side + 5, y + half, str(i), _BOLD))
    for i in range(n):
        body += [_text(xs[i] + half, y, str(i + 1), _MIDDLE + _SMALL) for y in (top - 9, top + side + 8)]
    alike, few = pairs.matrix[np.ix_(at, at)], pairs.hardly_compared[np.ix_(at, at)]
    shown = (alike >= _LEAST_MARK) & ~np.eye(n, dtype=bool)
    for hollow in (False, True):
        places = zip(*np.nonzero(shown & (few == hollow)), strict=True)
        body.append(_dots([(xs[j], ys[i], alike[i, j]) for i, j in places], hollow))
    x, y = _MARGIN + half, top + side + 3.4 * _TEXT
    for share, words in _LEGEND:
        hollow = words == "hardly compared"
        body += [_dots([(x, y - half, share)], hollow), _text(x + _CELL * 1.3, y, words)]
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
    left = _MARGIN + _wide([_kind_words(review, taxon) for _, taxon in rows]) + 8
    parts, sheets = _cut_in_sheets(rows), []
    for number, part in enumerate(parts, start=1):
        of = f" (sheet {number} of {len(parts)})" if len(parts) > 1 else ""
        title = f"What is known of {len(part)} kinds in {len(columns)} traits, and what it rests on{of}"
        sheets.append(_sheet(review, part, columns, title, left))
    return tuple(sheets)


def _cut_in_sheets(rows: Sequence[tuple[str, str]]) -> list[Sequence[tuple[str, str]]]:
    """Cut rows of genus and id evenly, or where a genus begins, if one does within the room that is left."""
    deep = math.ceil(len(rows) / math.ceil(len(rows) / MOST_ROWS))
    spare = (MOST_ROWS - deep) // 2
    cuts = [0]
    for even in range(deep, len(rows), deep):
        near = range(max(even - spare, cuts[-1] + 1), min(even + spare + 1, len(rows)))
        begins = [i for i in near if rows[i][0] != rows[i - 1][0]]
        cuts.append(min(begins, key=lambda i, even=even: abs(i - even), default=even))
    return [rows[a:b] for a, b in itertools.pairwise((*cuts, len(rows)))]


def _kind_words(review: Review, taxon: str) -> str:
    return cut(one_line(review.table.label(taxon)), _LONGEST)


def _by_genus(review: Review) -> list[tuple[str, str]]:
    """Return genus and id of the kinds: by genus, where the table names one, then by name."""
    table, taxa = review.table, review.table.taxa
    genera = taxa["genus"].astype(str) if "genus" in taxa.columns else [""] * len(table.ids)
    rows = zip(genera, table.ids, strict=True)
    return sorted(rows, key=lambda row: (row[0].casefold(), table.label(row[1]).casefold(), row[1]))


def _sheet(
    review: Review, rows: Sequence[tuple[str, str]], columns: Sequence[str], title: str, left: float
) -> tuple[str, str]:
    table, half = review.table, 0.5 * _CELL
    genera, taxa = zip(*rows, strict=True)
    names = [_kind_words(review, taxon) for taxon in taxa]
    traits = [cut(one_line(table.trait(c).name), _LONGEST_TRAIT) for c in columns]
    top = _MARGIN + _wide(traits) + 8
    # A little more room where a genus begins.
    gaps = [0, *(a != b for a, b in itertools.pairwise(genera))]
    ys = [top + i * _CELL + gap * _GENUS_GAP for i, gap in enumerate(itertools.accumulate(gaps))]
    xs = [left + j * _CELL for j in range(len(columns))]
    side, bottom = len(columns) * _CELL, ys[-1] + _CELL
    doubted = {(d.taxon, d.column) for d in review.doubts}
    places: dict[str, list[str]] = {code: [] for code in (*CODES, _DOUBT)}
    grid = review.grid.loc[[*taxa], [*columns]].to_numpy(dtype=object)
    for y, taxon, codes in zip(ys, taxa, grid, strict=True):
        for x, column, code in zip(xs, columns, codes, strict=True):
            for mark in (code, _DOUBT) if (taxon, column) in doubted else (code,):
                places[mark].append(f"M{x + half:g} {y + half:g}")
    body = [_field(left, ys, len(columns))]
    body += [_painted(code, at) for code, at in places.items() if code != BLANK and at]
    for y, name, taxon in zip(ys, names, taxa, strict=True):
        body.append(_text(left - 6, y + half, name, _END))
        body.append(_text(left + side + 5, y + half, str(review.taxa.at[taxon, "filled"]), _SMALL))
    body.append(_text(left + side + 5, top - 10, "known", _SMALL))
    body.append(_text(left - 6, bottom + 9, "kinds known", _END + _SMALL))
    for x, trait, column in zip(xs, traits, columns, strict=True):
        body.append(_turned(x + half, top - 6, trait))
        body.append(_turned(x + half, bottom + 4, str(review.traits.at[column, "filled"]), _END + _SMALL))
    width = max(left + side + 40.0, 420.0)
    codes = [*(CLASSES if review.has_evidence else (KNOWN,)), NOT_APPLICABLE, BLANK]
    x, y = _MARGIN, bottom + 30.0
    for code in (*codes, _DOUBT) if doubted else codes:
        words = _CODE_WORDS.get(code, code)
        wide = _CELL + 4 + _wide([words]) + 12
        if x > _MARGIN and x + wide > width:
            x, y = _MARGIN, y + 1.7 * _TEXT
        body.append(_painted(code, [f"M{x + half:g} {y + half:g}"]))
        body.append(_text(x + _CELL + 4, y + half, words))
        x += wide
    shown = [code for code in (*CODES[1:], BLANK) if places[code]]
    says = f"{title}. {', '.join(f'{_CODE_WORDS.get(c, c)}: {len(places[c])}' for c in shown)}"
    return _card(width, y + _CELL + _MARGIN, says, body), says


def _painted(code: str, places: Sequence[str]) -> str:
    shape, paint = _SHAPES[code]
    return f'<path d="{"".join(place + shape for place in places)}" {paint}/>'


def _turned(x: float, y: float, text: str, more: str = "") -> str:
    """Return a line of text that is read from below upwards, its middle at `x`."""
    return _text(x, y, text, f'{more} transform="rotate(-90 {x:.1f} {y:.1f})"')


# -- the gauges of a care sheet ------------------------------------------------------------------------

_WIDE, _LEFT = 300.0, 12.0
_ROOM = _WIDE - 2 * _LEFT
_FITS, _FIRST = 46, 26
"""Letters that fit over the width, and those left for a name before "and 3 more: not known"."""
_DOTTED = 'stroke-dasharray="1 3" stroke-linecap="round"'
_DRAWN, _THICK, _SOFT = 'stroke="currentColor"', 'stroke-width="1.6"', ' fill-opacity="0.75"'
_PAGE = 'fill="currentColor" style="width:100%;height:auto"'
_FISH_LONG, _FISH_WIDE = 1.2, 0.46
"""Length with the tail fin and width across the spread fins, as shares of standard length."""
_FISH = (
    "M.22 -.138L.44 -.23L.47 -.207L.36 -.129ZM.22 .138L.44 .23L.47 .207L.36 .129ZM.5 -.092L.63 -.143"
    "L.57 -.083ZM.5 .092L.63 .143L.57 .083ZM1 -.023L1.2 -.005L1.2 .005L1 .023ZM0 -.032L.03 -.083"
    "L.09 -.12L.18 -.147L.28 -.152L.4 -.129L.55 -.092L.75 -.055L1 -.028L1 .028L.75 .055L.55 .092L.4 .129"
    "L.28 .152L.18 .147L.09 .12L.03 .083L0 .032ZM.36 0L.6 0"
    "M.16 -.078a.01 .01 0 1 0 .02 0a.01 .01 0 1 0 -.02 0M.16 .078a.01 .01 0 1 0 .02 0a.01 .01 0 1 0 -.02 0"
)
"""Fins, tail fin, body, back fin and eyes from above, the snout at 0: to show size, no portrait."""


def temperature_svg(sheet: CareSheet) -> str:
    """Return the temperatures of a sheet on a scale in °C, with °F below; blank where none is known."""
    need = sheet.attributes.get("temperature_c")
    ends = [end for part in need.known for end in part.value] if need else []
    if not ends:
        return ""
    first, last = min(18, 2 * math.floor(min(ends) / 2)), max(34, 2 * math.ceil(max(ends) / 2))
    # About eight steps, whatever a table of one's own holds.
    step = 2 * math.ceil((last - first) / 16)
    last = first + step * math.ceil((last - first) / step)
    parts, y = [], 4.0

    def at(t: float) -> float:
        return _LEFT + (t - first) / (last - first) * _ROOM

    for who, span, right in _lines(need):
        parts.append(_text(_LEFT, y + 5, who, _BOLD if right else ""))
        y += 14 * bool(who)
        if span is not None:
            x, wide = at(span[0]), max(at(span[1]) - at(span[0]), 2.0)
            parts += [_box(x, y, wide, 10, filled=right), _text(x - 4, y + 5, f"{span[0]:g}", _END)]
            parts.append(_text(x + wide + 4, y + 5, f"{span[1]:g}"))
        elif not right:
            parts.append(_line(_LEFT, y + 5, _WIDE - _LEFT, y + 5, _DOTTED))
        y += 16
    y += 4
    parts.append(_line(_LEFT, y, _WIDE - _LEFT, y))
    for t in range(first, last + 1, step):
        parts += [_line(at(t), y, at(t), y + 4), _text(at(t), y + 11, f"{t}", _MIDDLE)]
        parts.append(_text(at(t), y + 24, f"{t * 9 / 5 + 32:.0f}", _MIDDLE + _SOFT))
    return _svg(_WIDE, y + 33, f"Temperature: {need.text.splitlines()[0]}", parts, _PAGE)


def flow_svg(sheet: CareSheet) -> str:
    """Return three steps of flow, those that are right filled; blank where none is known."""
    need = sheet.attributes.get("flow")
    if need is None or not need.known:
        return ""
    wide = _ROOM / len(need.column.states)
    parts, y = [], 4.0
    for who, value, right in _lines(need):
        parts.append(_text(_LEFT, y + 5, who, _BOLD if right else ""))
        y += 14 * bool(who)
        if value is None and right:
            continue
        for i, state in enumerate(need.column.states):
            fits, x = value is not None and state in value, _LEFT + i * wide
            words = f"{'?' if value is None else '✓' if fits else '–'} {state}"
            style = _DOTTED if value is None else f'stroke-width="{1.6 if fits else 0.6}"'
            parts.append(_box(x, y, wide - 6, 22, style, filled=right and fits))
            parts.append(_text(x + wide / 2 - 3, y + 11, words, _MIDDLE + _BOLD * fits))
        y += 30
    return _svg(_WIDE, y, f"Flow: {need.text.splitlines()[0]}", parts, _PAGE)


def _lines(need: Need) -> list[tuple[str, Value, bool]]:
    """Return who needs what, names of equal need together, and last what is right for all."""
    groups = alike(need.parts)
    if len(groups) == 1:
        return [("", need.value, True)]
    lines = []
    for value, (first, *more) in groups.items():
        # The table below names all of them.
        who = f"{cut(first.label, _FIRST)} and {len(more)} more" if more else first.label
        lines.append((cut(f"{who}: not known" if value is None else who, _FITS), value, False))
    rest = ": none" if need.conflict else ": not known" if need.unknown else ""
    return [*lines, (f"Right for all{rest}", need.value, True)]


def size_svg(sheet: CareSheet) -> str:
    """Return the largest adult fish on the smallest right tank, both from above, with a bar of 10 cm.

    Blank where no adult length is known; without both sides of a tank only the fish and the bar are drawn.
    """
    columns = ("adult_length_mm", "tank_length_cm", "tank_width_cm")
    length, long, deep = (need and need.value for need in map(sheet.attributes.get, columns))
    if length is None:
        return ""
    fish, known, parts = length[1] / 10, bool(long and deep), []
    scale = _ROOM / max(long if known else 0.0, fish * _FISH_LONG * 1.15, 30.0)
    height = fish * _FISH_WIDE * scale + 8
    tank = "Tank length not known"
    if known:
        height = max(deep * scale, height)
        parts.append(_box(_LEFT, 4, long * scale, height))
        tank = f"Tank at least {amount(long, deep, unit='cm', between=' × ')}"
    elif long:
        tank = f"Tank at least {amount(long, unit='cm')} long, width not known"
    words = [f"Adult reported up to {amount(length[1], unit='mm')}", tank]
    place = f"translate({_LEFT + 4 * known:.1f} {4 + height / 2:.1f}) scale({fish * scale:.2f})"
    thin = f'fill-opacity="0.3" stroke-width="{1.2 / fish / scale:.4f}"'
    parts.append(f'<path transform="{place}" d="{_FISH}" {_DRAWN} {thin}/>')
    y, ten = height + 14, _LEFT + 10 * scale
    parts += [_line(_LEFT, y, ten, y, 'stroke-width="2"'), *(_line(x, y - 3, x, y + 3) for x in (_LEFT, ten))]
    parts.append(_text(ten + 6, y, amount(10, unit="cm"), _SOFT))
    parts += [_text(_LEFT, y + 4 + 13 * n, line) for n, line in enumerate(words, start=1)]
    return _svg(_WIDE, y + 40, "; ".join(["Seen from above, to scale", *words]), parts, _PAGE)


def _box(x: float, y: float, wide: float, high: float, style: str = _THICK, filled: float = 0) -> str:
    place = f'x="{x:.1f}" y="{y:.1f}" width="{wide:.1f}" height="{high:.1f}"'
    return f'<rect {place} fill-opacity="{0.3 * filled:g}" {_DRAWN} {style}/>'


def _line(x0: float, y0: float, x1: float, y1: float, style: str = "") -> str:
    return f'<line x1="{x0:.1f}" y1="{y0:.1f}" x2="{x1:.1f}" y2="{y1:.1f}" {_DRAWN} {style}/>'
