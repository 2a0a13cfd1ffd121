"""The map of lookalikes: a square of kinds by kinds, the mark the larger the oftener two are mixed up.

Lookalikes stand together: the kinds are put in the order of a clustering by likeness (average linkage, leaves
turned so that neighbours are as alike as can be: Bar-Joseph, Gifford & Jaakkola 2001, Bioinformatics 17
Suppl. 1:S22-29). Rows carry the names, columns only their numbers, so that no text stands on its head.
"""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

import numpy as np
from scipy.cluster.hierarchy import leaves_list, linkage
from scipy.spatial.distance import squareform

from idkey.views.draw_style import BORDER, GHOST, INK, PAPER

if TYPE_CHECKING:
    from idkey.model.lookalikes import Lookalikes

__all__ = ["map_svg", "on_map"]

_CELL = 13.0
_TEXT = 11.0
_MARGIN = 8.0
_LETTER = 0.58
"""Width of a letter as a share of the text size, on the generous side."""
_LONGEST = 38
"""Letters of a name that are shown; the rest are trade codes."""
_LEAST_MARK = 0.02
_TURNED_UP_TO = 300
"""Kinds up to which the leaves are turned; it takes the cube of their number."""


def on_map(found: Lookalikes, least: float = 0.0, most: int = 100) -> tuple[str, ...]:
    """Return the kinds that have a lookalike, in the order of the table.

    Parameters
    ----------
    found : Lookalikes
    least : float
        Mix-up that some other kind must reach, pairs hardly compared left out; 0 for all kinds.
    most : int
        Where there are more, those most often mixed up.
    """
    alike = _alike(found)
    np.fill_diagonal(alike, 0.0)
    worst = alike.max(axis=1)
    keep = np.flatnonzero(worst >= least)
    keep = keep[np.argsort(-worst[keep], kind="stable")][:most]
    return tuple(found.ids[i] for i in sorted(keep))


def _alike(found: Lookalikes) -> np.ndarray:
    """Mix-up of each pair, 0 where the two are hardly compared, shape (n_taxa, n_taxa)."""
    return np.where(found.hardly_compared, 0.0, found.matrix)


def map_svg(found: Lookalikes, taxa: tuple[str, ...] | None = None) -> str:
    """Return the map as an ``<svg>`` element without ids.

    Parameters
    ----------
    found : Lookalikes
    taxa : tuple of str, optional
        The kinds to show; all of them by default.

    Returns
    -------
    str
        Text is escaped; an opaque card, so that it reads on a dark page too.
    """
    at = np.array([found.table.position(t) for t in (found.ids if taxa is None else taxa)], dtype=int)
    at = at[_order(_alike(found)[np.ix_(at, at)])]
    labels = [_cut(found.table.label(found.ids[i])) for i in at]
    n = len(at)
    left = _MARGIN + _TEXT * (_LETTER * max(map(len, labels), default=0) + 2.6)
    top = _MARGIN + 1.6 * _TEXT
    width, height = left + n * _CELL + _MARGIN + 2.0 * _TEXT, top + n * _CELL + 1.6 * _TEXT + 3.4 * _TEXT
    parts = [_box(0.5, 0.5, width - 1, height - 1, PAPER, BORDER), *_stripes(n, left, top)]
    parts += _names(labels, left, top)
    parts += _marks(found, at, left, top)
    parts += _legend(left, top + n * _CELL + 3.4 * _TEXT)
    title = f"{n} kinds by {n} kinds: the larger the mark, the oftener the two are mixed up"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="0 0 {width:.0f} {height:.0f}" '
        f'width="{width:.0f}" height="{height:.0f}" font-family="sans-serif" font-size="{_TEXT:g}">'
        f"<title>{escape(title)}</title>{''.join(parts)}</svg>"
    )


def _cut(label: str) -> str:
    return label if len(label) <= _LONGEST else label[: _LONGEST - 1].rstrip(" ,") + "…"


def _order(alike: np.ndarray) -> np.ndarray:
    """Return an order in which kinds that are mixed up stand together."""
    n = len(alike)
    if n < 3:
        return np.arange(n)
    apart = 0.5 - alike
    np.fill_diagonal(apart, 0.0)
    return leaves_list(linkage(squareform(apart), "average", optimal_ordering=n <= _TURNED_UP_TO))


def _box(x: float, y: float, width: float, height: float, face: str, edge: str = "none") -> str:
    return f'<rect x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}" fill="{face}" stroke="{edge}"/>'


def _stripes(n: int, left: float, top: float) -> list[str]:
    """Return every other row and a line at every fifth column, to lead the eye; and the diagonal."""
    side = n * _CELL
    rows = [_box(left, top + i * _CELL, side, _CELL, GHOST.face) for i in range(0, n, 2)]
    lines = [
        f'<path d="M{left + i * _CELL:g} {top:g}v{side:g}" stroke="{GHOST.fine}"/>'
        for i in range(0, n + 1, 5)
    ]
    diagonal = f'<path d="M{left:g} {top:g}l{side:g} {side:g}" stroke="{GHOST.edge}"/>'
    return [*rows, *lines, diagonal]


def _names(labels: list[str], left: float, top: float) -> list[str]:
    side = len(labels) * _CELL
    parts = [f'<g fill="{INK}">']
    for i, label in enumerate(labels):
        y = top + (i + 0.5) * _CELL + 0.36 * _TEXT
        parts.append(
            f'<text x="{left - 6:g}" y="{y:.1f}" text-anchor="end">{escape(label)} '
            f'<tspan font-weight="bold">{i + 1}</tspan></text>'
        )
        parts.append(f'<text x="{left + side + 5:g}" y="{y:.1f}" font-weight="bold">{i + 1}</text>')
    # Three digits do not fit a column: number every fifth where there are many.
    step = 1 if len(labels) < 100 else 5
    for i in range(0, len(labels), step):
        x = left + (i + 0.5) * _CELL
        for y in (top - 5, top + side + _TEXT + 1):
            parts.append(
                f'<text x="{x:g}" y="{y:g}" text-anchor="middle" font-size="{_TEXT - 1.5:g}">{i + 1}</text>'
            )
    return [*parts, "</g>"]


def _marks(found: Lookalikes, at: np.ndarray, left: float, top: float) -> list[str]:
    alike, few = found.matrix[np.ix_(at, at)], found.hardly_compared[np.ix_(at, at)]
    parts = []
    for hollow in (False, True):
        rows, columns = np.nonzero((alike >= _LEAST_MARK) & (few == hollow))
        dots = [
            _dot(left + (j + 0.5) * _CELL, top + (i + 0.5) * _CELL, alike[i, j], hollow)
            for i, j in zip(rows, columns, strict=True)
            if i != j
        ]
        parts.append(f"<g {_style(hollow)}>{''.join(dots)}</g>")
    return parts


def _style(hollow: bool) -> str:
    return f'fill="none" stroke="{GHOST.edge}"' if hollow else f'fill="{INK}"'


def _dot(x: float, y: float, share: float, hollow: bool) -> str:
    radius = 0.47 * _CELL * np.sqrt(share / 0.5) - 0.5 * hollow
    return f'<circle cx="{x:g}" cy="{y:g}" r="{max(radius, 0.3):.1f}"/>'


def _legend(left: float, y: float) -> list[str]:
    parts, x = [], _MARGIN + _CELL
    for share, words in ((0.5, "50 %: a guess"), (0.25, "25 %"), (0.1, "10 %"), (0.02, "2 %")):
        parts.append(f"<g {_style(False)}>{_dot(x, y, share, False)}</g>")
        parts.append(_words(x + _CELL * 0.8, y, words))
        x += _CELL * 1.6 + _TEXT * _LETTER * len(words) + 6
    parts.append(f"<g {_style(True)}>{_dot(x, y, 0.5, True)}</g>")
    parts.append(_words(x + _CELL * 0.8, y, "hardly compared"))
    return parts


def _words(x: float, y: float, text: str) -> str:
    return f'<text x="{x:.1f}" y="{y + 0.36 * _TEXT:.1f}" fill="{INK}">{escape(text)}</text>'
