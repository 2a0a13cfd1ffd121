"""The drawing style of every fish picture, and the pen that keeps to it.

The rules
---------
Card
    120 x 80, near-white, opaque, one thin grey border, square corners. It reads the same on a light and
    on a dark page; rounding, if wanted, is left to the page.
Ink and ghost
    What the picture is about is inked: dark contour, full tone. The rest of the fish is there only to say
    where we are, as a ghost in pale grey. A picture of a whole fish has no ghost.
Line weights (on a card 120 wide)
    contour 1.3, part 0.9, fine 0.5 (fin rays, plate rows). Round joins, round ends. A picture shown large
    is drawn with a finer pen, all three in proportion.
Tone before colour
    Colour appears only where a colour is the state asked for, and never alone: in black and white, white,
    yellow, orange and the dark body are four even steps of grey, and so are the grounds.
Facing
    The fish looks to the left; seen from below for its mouth it hangs on the glass, snout up.
Unknown
    What is not known is dotted (a contour) or hollow (a spot), never guessed: a part that may or may not be
    there (tentacles, bristles, keels, spots in the fins) is dotted where it would be, a ground colour
    that is not known stays blank paper, and spots of unknown size or spacing are rings.
Sheet
    Several pictures of one fish stand on one sheet of the same paper; the fish lies on a ruler in millimetres
    of standard length with a bar of 100 mm, and says in words what varies and what is not known.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
from matplotlib.patches import PathPatch
from matplotlib.path import Path
from matplotlib.transforms import Affine2D
from numpy.typing import NDArray

from .draw_card import CARD, Card

if TYPE_CHECKING:
    # Loading axes takes as long as some twenty drawings, and a card does without them.
    from matplotlib.axes import Axes

__all__ = [
    "BORDER", "CARD", "CONTOUR", "FINE", "GHOST", "INK", "MARKS", "PAPER", "PART", "SKIN", "Array", "Canvas",
    "Pen", "Point", "Profile", "Tone", "border", "fin_tone", "frame", "ground_tone", "shape", "smooth",
    "spread", "thinned",
]  # fmt: skip

Point = tuple[float, float]
Array = NDArray[np.float64]
Canvas: TypeAlias = "Axes | Card"
"""What can be drawn on: matplotlib axes whose sides are as 3 to 2, or a `Card`."""

CONTOUR, PART, FINE = 1.3, 0.9, 0.5
INK, PAPER, BORDER = "#1d1a18", "#fffdf8", "#a8a196"


@dataclass(frozen=True, slots=True)
class Tone:
    """The four tones of one part: its area, its contour, its fine lines, and marks on it."""

    face: str
    edge: str
    fine: str
    mark: str


GHOST = Tone("#f3f0ea", "#aaa398", "#d3cdc3", "#d3cdc3")
SKIN = Tone("#cfc7ba", INK, "#7d756a", INK)
# Tone of the body, and its tone of the fins, by ground colour.
_GROUNDS = {
    "dark": (Tone("#3b3632", INK, "#625b54", PAPER), Tone("#6f675f", INK, INK, PAPER)),
    "olive": (Tone("#80864f", INK, "#626739", PAPER), Tone("#a4a878", INK, "#626739", PAPER)),
    "pale": (Tone("#e9dfc8", INK, "#b5a98f", "#8d7f66"), Tone("#f4eedf", INK, "#b5a98f", "#8d7f66")),
}
_BLANK = Tone(PAPER, INK, "#b5ada2", INK)
MARKS = {"white": PAPER, "yellow": "#f0bd33", "orange": "#dd6a22"}


def ground_tone(ground: str | None, pattern: str | None) -> Tone:
    """Return the tone of the body; an unknown ground is blank, unless the pattern says what it lies on."""
    return _toned(ground, pattern, 0)


def fin_tone(ground: str | None, pattern: str | None) -> Tone:
    """Return the tone of the fins that goes with the body's."""
    return _toned(ground, pattern, 1)


def _toned(ground: str | None, pattern: str | None, part: int) -> Tone:
    if ground is None and pattern not in {"light_spots", "dark_spots"}:
        return _BLANK
    tone = _GROUNDS[ground or ("pale" if pattern == "dark_spots" else "dark")][part]
    marks = {"dark_spots": INK, "light_spots": PAPER}
    return replace(tone, mark=marks.get(pattern or "", tone.mark))


def smooth(points: Sequence[Point]) -> Path:
    """Return a smooth open curve through the points (cubic, tangents by chord length)."""
    p = np.asarray(points, dtype=float)
    if len(p) < 3:
        return Path(p)
    t = np.concatenate([[0.0], np.cumsum(np.sqrt(np.hypot(*np.diff(p, axis=0).T)))])
    m = np.empty_like(p)
    m[1:-1] = (p[2:] - p[:-2]) / (t[2:] - t[:-2])[:, None]
    m[0] = 2 * (p[1] - p[0]) / (t[1] - t[0]) - m[1]
    m[-1] = 2 * (p[-1] - p[-2]) / (t[-1] - t[-2]) - m[-2]
    step = (np.diff(t) / 3)[:, None]
    out = np.empty((3 * len(p) - 2, 2))
    out[0::3], out[1::3], out[2::3] = p, p[:-1] + m[:-1] * step, p[1:] - m[1:] * step
    return Path(out, [Path.MOVETO, *[Path.CURVE4] * (len(out) - 1)])


def shape(*runs: Sequence[Point]) -> Path:
    """Return a closed area bounded by smooth runs; where one run ends and the next begins is a corner."""
    vertices: list[Array] = []
    codes: list[int] = []
    for run in runs:
        part = smooth(run)
        points = np.asarray(part.vertices, dtype=float)
        kinds = [int(Path.LINETO if len(run) < 3 else Path.CURVE4)] * len(points)
        kinds[0] = int(Path.LINETO if codes else Path.MOVETO)
        skip = bool(vertices) and bool(np.abs(vertices[-1][-1] - points[0]).max() < 1e-6)
        vertices.append(points[skip:])
        codes += kinds[skip:]
    return Path(np.concatenate([*vertices, vertices[0][:1]]), [*codes, int(Path.CLOSEPOLY)])


class Profile:
    """A body lying along x between two profiles; knows its outline and what lies inside.

    Parameters
    ----------
    top, bottom : sequence of (float, float)
        Points of the upper and the lower profile, from the snout to the rear.
    """

    def __init__(self, top: Sequence[Point], bottom: Sequence[Point]) -> None:
        self.top_points, self.bottom_points = list(top), list(bottom)
        self._top, self._bottom = np.asarray(top, dtype=float), np.asarray(bottom, dtype=float)

    def top(self, x: float | Array) -> Array:
        """Return the height of the upper profile at x."""
        return np.asarray(np.interp(x, *self._top.T), dtype=float)

    def bottom(self, x: float | Array) -> Array:
        """Return the height of the lower profile at x."""
        return np.asarray(np.interp(x, *self._bottom.T), dtype=float)

    def at(self, x: float | Array, v: float | Array) -> Array:
        """Return the height at x that lies the share v of the way from the upper to the lower profile."""
        top = self.top(x)
        return top + (self.bottom(x) - top) * v

    def outline(self) -> Path:
        """Return the closed outline."""
        return shape([*self.bottom_points[::-1], *self.top_points[1:]])

    def inside(self, xy: Array, margin: float) -> NDArray[np.bool_]:
        """Tell which points lie inside by at least the margin."""
        x, y = xy.T
        keep = np.ones(len(xy), dtype=bool)
        for dx in (-margin, 0.0, margin):
            keep &= (y - self.top(x + dx) >= margin) & (self.bottom(x + dx) - y >= margin)
        return np.asarray(keep & (x - self._top[0, 0] >= margin) & (self._top[-1, 0] - x >= margin))


def spread(
    box: tuple[float, float, float, float],
    distance: float,
    *,
    profile: Profile | None = None,
    margin: float = 0.0,
    holes: Sequence[tuple[float, float, float]] = (),
) -> Array:
    """Spread points evenly but not in rows, always the same ones.

    Parameters
    ----------
    box : (float, float, float, float)
        Left, top, right and bottom of the region.
    distance : float
        Distance between neighbours aimed at; no two are nearer than twice the margin, or than this if less.
    profile : Profile, optional
        Body inside which the points must lie, by the margin.
    margin : float
        See profile.
    holes : sequence of (x, y, radius)
        Round places to leave free, by the margin.

    Returns
    -------
    array of shape (n, 2)
        The points.
    """
    x0, y0, x1, y1 = box
    count = int(6 * (x1 - x0) * (y1 - y0) / distance**2) + 20
    share = (np.arange(1, count + 1)[:, None] * [0.7548776662466927, 0.5698402909980532]) % 1.0
    xy = np.array([x0, y0]) + share * np.array([x1 - x0, y1 - y0])

    def allowed(xy: Array) -> NDArray[np.bool_]:
        keep = np.ones(len(xy), dtype=bool) if profile is None else profile.inside(xy, margin)
        for x, y, radius in holes:
            keep &= np.hypot(xy[:, 0] - x, xy[:, 1] - y) >= radius + margin
        return keep

    xy = xy[allowed(xy)]
    points = thinned(xy, distance)
    for _ in range(
        (_ROUNDS if len(points) > 60 else 3 * _ROUNDS) if len(points) > 1 else 0
    ):  # each point to the middle of what lies nearest to it
        owner = _distances(points, xy).argmin(axis=0)
        share_of = np.maximum(np.bincount(owner, minlength=len(points)), 1)[:, None]
        middle = np.stack(
            [np.bincount(owner, weights=xy[:, k], minlength=len(points)) for k in (0, 1)], axis=1
        )
        points = middle / share_of
    outside = ~allowed(points)
    points[outside] = xy[_distances(points[outside], xy).argmin(axis=1)]
    return thinned(points, min(0.95 * distance, 2.0 * margin) if margin else 0.95 * distance)


def thinned(xy: Array, distance: float) -> Array:
    """Return the points without those too near to an earlier one that stays."""
    chosen: list[Array] = []
    while len(xy):
        chosen.append(xy[0])
        xy = xy[np.hypot(*(xy - xy[0]).T) >= distance]
    return np.array(chosen).reshape(-1, 2)


def _distances(a: Array, b: Array) -> Array:
    """Return the squared distances of all pairs."""
    dx, dy = a[:, None, 0] - b[None, :, 0], a[:, None, 1] - b[None, :, 1]
    return np.asarray(dx * dx + dy * dy)


def frame(ax: Canvas, window: tuple[float, float, float]) -> None:
    """Turn the axes into a card that shows the window (left, top, width; y runs down).

    Parameters
    ----------
    ax : matplotlib.axes.Axes
        Axes whose sides are as 3 to 2, or a card.
    window : (float, float, float)
        Left, top and width, in the units of the fish.
    """
    left, top, width = window
    ax.set_axis_off()
    ax.set_xlim(left, left + width)
    ax.set_ylim(top + width * CARD[1] / CARD[0], top)
    if not isinstance(ax, Card) or ax.border:
        Pen(ax).area(_box(left, top, width), PAPER, None)


def border(ax: Canvas) -> None:
    """Draw the border of the card, last of all."""
    if isinstance(ax, Card) and not ax.border:
        return
    (left, right), top = ax.get_xlim(), ax.get_ylim()[1]
    inset = (right - left) / CARD[0] / 2
    box = _box(left + inset, top + inset, right - left - 2 * inset, (right - left) * 2 / 3 - 2 * inset)
    Pen(ax).line(box, BORDER, 1.0)


def _box(left: float, top: float, width: float, height: float | None = None) -> Path:
    height = width * CARD[1] / CARD[0] if height is None else height
    corners = [
        (left, top),
        (left + width, top),
        (left + width, top + height),
        (left, top + height),
        (left, top),
    ]
    return Path(corners, closed=True)


class Pen:
    """Draws on axes in the units of the fish; line weights follow the size of the card.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
        Axes prepared by `frame`.
    place : matplotlib.transforms.Affine2D, optional
        Where the drawn part sits (its own units to the units of the fish).
    """

    def __init__(self, ax: Canvas, place: Affine2D | None = None) -> None:
        self._ax = ax
        self._place = Affine2D() if place is None else place
        self._point, self._weight = 1.0, 1.0
        if isinstance(ax, Card):
            self._weight = ax.weight
        else:
            figure = ax.get_figure(root=True)
            self._point = ax.bbox.width * 72.0 / (figure.dpi if figure else 72.0) / CARD[0]

    def at(self, place: Affine2D) -> Pen:
        """Return a pen for a part that sits elsewhere."""
        return Pen(self._ax, Affine2D((place + self._place).get_matrix()))

    def area(
        self, path: Path, face: str, edge: str | None = INK, width: float = PART, *, dotted: bool = False
    ) -> None:
        """Fill an area and draw its contour; dotted, it stays blank."""
        self._add(path, PAPER if dotted else face, edge, width * self._weight if edge else 0.0, dotted)

    def line(
        self, path: Path | Iterable[Path], colour: str, width: float = PART, *, dotted: bool = False
    ) -> None:
        """Draw one or several lines as one stroke."""
        if not isinstance(path, Path):
            path = Path.make_compound_path(*path)
        self._add(path, None, colour, width * self._weight, dotted)

    def segments(self, ends: Iterable[tuple[Point, Point]], colour: str, width: float = FINE) -> None:
        """Draw straight lines as one stroke."""
        points = np.array([point for pair in ends for point in pair], dtype=float)
        if len(points):
            self.line(Path(points, [Path.MOVETO, Path.LINETO] * (len(points) // 2)), colour, width)

    def dots(self, xy: Array | Sequence[Point], radius: float, colour: str) -> None:
        """Draw round dots of one size, the radius in the units of the part."""
        xy = np.asarray(xy, dtype=float).reshape(-1, 2)
        if not len(xy):
            return
        points = np.repeat(xy, 2, axis=0)
        points[1::2, 0] += 1e-3
        span = abs(self._ax.get_xlim()[1] - self._ax.get_xlim()[0])
        scale = np.sqrt(abs(np.linalg.det(self._place.get_matrix()[:2, :2]))) * CARD[0] / span
        strokes = Path(points, [Path.MOVETO, Path.LINETO] * len(xy))
        self._add(strokes, None, colour, 2 * radius * float(scale), dotted=False)

    def rings(self, xy: Array | Sequence[Point], radius: float, colour: str) -> None:
        """Draw dotted rings: spots of which nobody knows whether they are there."""
        circles = [Path.circle((float(x), float(y)), radius) for x, y in np.asarray(xy).reshape(-1, 2)]
        if circles:
            self.line(circles, colour, FINE * 1.2, dotted=True)

    def _add(self, path: Path, face: str | None, edge: str | None, width: float, dotted: bool) -> None:
        path = path.transformed(self._place)
        if isinstance(self._ax, Card):
            self._ax.draw(path, face, edge, width, [dash * width for dash in _DOTS] if dotted else None)
            return
        path.should_simplify = False
        self._ax.add_artist(
            PathPatch(
                path,
                fill=face is not None,
                facecolor=face,
                edgecolor=edge or "none",
                linewidth=width * self._point,
                linestyle=(0, _DOTS) if dotted else "-",
                capstyle="round",
                joinstyle="round",
                snap=False,
            )
        )


_DOTS = (0.01, 2.2)
_ROUNDS = 3
