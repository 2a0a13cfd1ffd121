"""The card a picture is drawn on: as little of matplotlib as turns paths into SVG, without figure and axes.

Making axes, with ticks nobody sees, takes longer than drawing the fish. A `Card` answers to the few methods
of axes that the drawings use and hands each path straight to matplotlib's SVG renderer.
"""

from __future__ import annotations

import functools
import io
import re
from collections.abc import Sequence

import numpy as np
from matplotlib.backend_bases import GraphicsContextBase
from matplotlib.backends.backend_svg import RendererSVG
from matplotlib.colors import to_rgba
from matplotlib.path import Path
from matplotlib.transforms import IdentityTransform

__all__ = ["CARD", "Card"]

CARD = (120.0, 80.0)
_AS_IT_IS = IdentityTransform()
_PATH = re.compile(r'<path d="([^"]*)" style="([^"]*)"/>')
_colour = functools.lru_cache(maxsize=64)(to_rgba)


class Card:
    """A blank card of `CARD` units that a pen can draw on as on axes.

    Parameters
    ----------
    border : bool
        Whether the card shows its paper and its border; a picture that stands on a larger sheet has neither.
    digits : int
        Decimals of the coordinates.
    weight : float
        Thickness of all lines against those of a small card; a large picture is drawn with a finer pen.
    """

    def __init__(self, *, border: bool = True, digits: int = 2, weight: float = 1.0) -> None:
        self.border = border
        self.weight = weight
        self._digits = digits
        self._x, self._y = (0.0, CARD[0]), (CARD[1], 0.0)
        self._stream = io.StringIO()
        self._renderer = RendererSVG(
            *CARD, self._stream, metadata={"Date": None, "Creator": None, "Format": None, "Type": None}
        )
        self._start = self._stream.tell()

    def set_axis_off(self) -> None:
        """A card has no axes to hide."""

    def set_xlim(self, left: float, right: float) -> None:
        """Say which x lie on the left and the right edge."""
        self._x = (left, right)

    def set_ylim(self, bottom: float, top: float) -> None:
        """Say which y lie on the lower and the upper edge."""
        self._y = (bottom, top)

    def get_xlim(self) -> tuple[float, float]:
        """Return the x of the left and the right edge."""
        return self._x

    def get_ylim(self) -> tuple[float, float]:
        """Return the y of the lower and the upper edge."""
        return self._y

    def draw(
        self, path: Path, face: str | None, edge: str | None, width: float, dashes: Sequence[float] | None
    ) -> None:
        """Draw a path: its area, its contour, the contour's width and dashes in units of the card."""
        (left, right), (low, high) = self._x, self._y
        scale = np.array([CARD[0] / (right - left), CARD[1] / (high - low)])
        # Rounded here, the renderer writes them short.
        vertices = np.round((path.vertices - [left, low]) * scale, self._digits)
        short = Path(vertices, path.codes)
        short.should_simplify = False
        pen = GraphicsContextBase()
        pen.set_joinstyle("round")
        pen.set_linewidth(round(width, 2) if edge else 0.0)
        if edge:
            pen.set_foreground(_colour(edge), isRGBA=True)
        if dashes is not None:
            pen.set_dashes(0, [round(dash, 2) for dash in dashes])
        self._renderer.draw_path(pen, short, _AS_IT_IS, _colour(face) if face else None)

    def shapes(self) -> str:
        """Return what was drawn: ``path`` elements with nothing but data and style, short."""
        text = self._stream.getvalue()[self._start :]
        return "".join(f'<path d="{_tight(d)}" style="{_style(style)}"/>' for d, style in _PATH.findall(text))


def _tight(d: str) -> str:
    """Take the blanks out of path data; the stroke of a dot keeps a hair of length."""
    d = " ".join(d.split())
    for letter in "MLCz":
        d = d.replace(f" {letter}", letter).replace(f"{letter} ", letter)
    return re.sub(r"M([-\d. ]+)L\1(?![\d.])", r"M\1h.01", d)


@functools.lru_cache(maxsize=256)
def _style(style: str) -> str:
    # The element that holds the drawing says these once for all paths.
    style = style.replace("fill: none", "").replace("stroke-dashoffset: 0", "")
    return re.sub(r"(;\s*)+", ";", re.sub(r":\s+", ":", style)).strip("; ")
