"""Charts as SVG without ids, on an opaque card so that they read on a dark page too; every text is escaped.

The map of lookalikes is a square of kinds by kinds, the mark the larger the oftener two are mixed up.
Lookalikes stand together: the kinds are in the order of a clustering by likeness (average linkage, leaves
turned so that neighbours are as alike as can be: Bar-Joseph, Gifford & Jaakkola 2001, Bioinformatics 17
Suppl. 1:S22-29). Rows carry the names, columns only their numbers, so that no text stands on its head.
"""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

import numpy as np
from scipy.cluster.hierarchy import leaves_list, linkage
from scipy.spatial.distance import squareform

from idkey.views.doc import clean

if TYPE_CHECKING:
    from idkey.model.lookalikes import Lookalikes

__all__ = ["BORDER", "INK", "PAPER", "card", "label", "map_svg", "on_map"]

INK, PAPER, BORDER = "#1d1a18", "#fffdf8", "#a8a196"
_STRIPE, _LINE, _FAINT = "#f3f0ea", "#d3cdc3", "#aaa398"
_TEXT = 11.0
_LETTER = 0.58
"""Width of a letter as a share of the text size, on the generous side."""
_CELL = 13.0
_MARGIN = 8.0
_LONGEST = 38
"""Letters of a name that are shown; the rest are trade codes."""
_LEAST_MARK = 0.02
_TURNED_UP_TO = 300
"""Kinds up to which the leaves are turned; it takes the cube of their number."""


def card(width: float, height: float, title: str, body: str) -> str:
    """Return a chart: an SVG of this size with a title for who cannot see it."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="0 0 {width:.0f} {height:.0f}" '
        f'width="{width:.0f}" height="{height:.0f}" font-family="sans-serif" font-size="{_TEXT:g}">'
        f"<title>{escape(clean(title))}</title>"
        f'<rect x="0.5" y="0.5" width="{width - 1:g}" height="{height - 1:g}" fill="{PAPER}" '
        f'stroke="{BORDER}"/>{body}</svg>'
    )


def label(x: float, y: float, text: str, more: str = "") -> str:
    """Return a line of text, its middle at the height `y`; `more` are attributes."""
    return f'<text x="{x:.1f}" y="{y + 0.36 * _TEXT:.1f}" fill="{INK}"{more}>{escape(clean(text))}</text>'


def on_map(pairs: Lookalikes, least: float = 0.0, most: int = 100) -> tuple[str, ...]:
    """Return the kinds that have a lookalike, in the order of the table.

    Parameters
    ----------
    pairs : Lookalikes
    least : float
        Mix-up that some other kind must reach, pairs hardly compared left out; 0 for all kinds.
    most : int
        Where there are more, those most often mixed up.
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
    """Return the map of lookalikes, of all kinds or of some."""
    at = np.array([pairs.table.position(t) for t in (pairs.ids if taxa is None else taxa)], dtype=int)
    at = at[_order(_alike(pairs)[np.ix_(at, at)])]
    names = [_cut(pairs.table.label(pairs.ids[i])) for i in at]
    n = len(at)
    left = _MARGIN + _TEXT * (_LETTER * max(map(len, names), default=0) + 2.6)
    top = _MARGIN + 1.6 * _TEXT
    width, height = left + n * _CELL + _MARGIN + 2.0 * _TEXT, top + n * _CELL + 5.0 * _TEXT
    title = f"{n} kinds by {n} kinds: the larger the mark, the oftener the two are mixed up"
    parts = [*_field(n, left, top), *_names(names, left, top), *_marks(pairs, at, left, top)]
    return card(width, height, title, "".join([*parts, *_legend(top + n * _CELL + 3.4 * _TEXT)]))


def _cut(name: str) -> str:
    return name if len(name) <= _LONGEST else name[: _LONGEST - 1].rstrip(" ,") + "…"


def _order(alike: np.ndarray) -> np.ndarray:
    """Return an order in which kinds that are mixed up stand together."""
    n = len(alike)
    if n < 3:
        return np.arange(n)
    apart = 0.5 - alike
    np.fill_diagonal(apart, 0.0)
    return leaves_list(linkage(squareform(apart), "average", optimal_ordering=n <= _TURNED_UP_TO))


def _field(n: int, left: float, top: float) -> list[str]:
    """Return every other row and a line at every fifth column, to lead the eye; and the diagonal."""
    side = n * _CELL
    rows = "".join(f"M{left:g} {top + i * _CELL:g}h{side:g}v{_CELL:g}h-{side:g}z" for i in range(0, n, 2))
    lines = "".join(f"M{left + i * _CELL:g} {top:g}v{side:g}" for i in range(0, n + 1, 5))
    diagonal = f"M{left:g} {top:g}l{side:g} {side:g}"
    return [
        f'<path d="{rows}" fill="{_STRIPE}"/>',
        *(f'<path d="{d}" stroke="{tone}"/>' for d, tone in ((lines, _LINE), (diagonal, _FAINT))),
    ]


def _names(names: list[str], left: float, top: float) -> list[str]:
    side, bold = len(names) * _CELL, ' font-weight="bold"'
    parts = []
    for i, name in enumerate(names, start=1):
        y = top + (i - 0.5) * _CELL
        parts.append(label(left - 2.1 * _TEXT, y, name, ' text-anchor="end"'))
        parts.append(label(left - 6, y, str(i), bold + ' text-anchor="end"'))
        parts.append(label(left + side + 5, y, str(i), bold))
    # Three digits do not fit a column: number every fifth where there are many.
    small = f' text-anchor="middle" font-size="{_TEXT - 1.5:g}"'
    for i in range(0, len(names), 1 if len(names) < 100 else 5):
        x = left + (i + 0.5) * _CELL
        parts += [label(x, y, str(i + 1), small) for y in (top - 9, top + side + 8)]
    return parts


def _marks(pairs: Lookalikes, at: np.ndarray, left: float, top: float) -> list[str]:
    alike, few = pairs.matrix[np.ix_(at, at)], pairs.hardly_compared[np.ix_(at, at)]
    parts = []
    for hollow in (False, True):
        rows, columns = np.nonzero((alike >= _LEAST_MARK) & (few == hollow) & ~np.eye(len(at), dtype=bool))
        places = zip(rows, columns, strict=True)
        parts.append(_dots([(left + j * _CELL, top + i * _CELL, alike[i, j]) for i, j in places], hollow))
    return parts


def _dots(places: list[tuple[float, float, float]], hollow: bool) -> str:
    """Return marks at the corners of their cells, their areas the shares, full or hollow."""
    style = f'fill="none" stroke="{_FAINT}"' if hollow else f'fill="{INK}"'
    half, drawn = 0.5 * _CELL, []
    for x, y, share in places:
        radius = max(0.47 * _CELL * np.sqrt(share / 0.5) - 0.5 * hollow, 0.3)
        drawn.append(f'<circle cx="{x + half:g}" cy="{y + half:g}" r="{radius:.1f}"/>')
    return f"<g {style}>{''.join(drawn)}</g>"


def _legend(y: float) -> list[str]:
    parts, x = [], _MARGIN + 0.5 * _CELL
    known = ((0.5, "50 %: a guess", False), (0.25, "25 %", False), (0.1, "10 %", False), (0.02, "2 %", False))
    for share, words, hollow in (*known, (0.5, "hardly compared", True)):
        parts.append(_dots([(x, y - 0.5 * _CELL, share)], hollow))
        parts.append(label(x + _CELL * 1.3, y, words))
        x += _CELL * 1.6 + _TEXT * _LETTER * len(words) + 6
    return parts
