"""The sucker mouth, its jaws and its teeth, seen from below with the snout up."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from matplotlib.path import Path
from matplotlib.transforms import Affine2D

from .draw_look import Look
from .draw_style import (
    CONTOUR,
    FINE,
    GHOST,
    INK,
    PAPER,
    PART,
    SKIN,
    Canvas,
    Pen,
    Point,
    Tone,
    border,
    frame,
    shape,
    smooth,
)

__all__ = ["draw_jaws", "draw_mouth", "draw_teeth"]

_BONE = Tone("#efe6d2", INK, INK, INK)
# Lower tooth rows in a disc of radius 1: outer end and inner end of the right row.
_LOWER: dict[str, tuple[Point, Point]] = {
    "parallel": ((0.15, -0.06), (0.12, 0.50)),
    "acute": ((0.36, -0.06), (0.09, 0.46)),
    "wide": ((0.52, 0.16), (0.05, 0.30)),
}
_UPPER: tuple[Point, Point] = ((0.36, -0.20), (0.05, -0.36))


def draw_mouth(pen: Pen, look: Look, *, lips: Tone, jaws: Tone, detail: bool = False) -> None:
    """Draw the mouth as a disc of radius 1 around the origin.

    Parameters
    ----------
    pen : Pen
        Pen placed on the middle of the mouth.
    look : Look
        The fish.
    lips, jaws : Tone
        Tones of the lips and of the lower tooth rows.
    detail : bool
        Whether the disc is large enough for single teeth and for the bumps of the lips.
    """
    for side in (-1, 1):
        barbel = [(0.80 * side, 0.12), (1.02 * side, 0.30), (1.10 * side, 0.62)]
        pen.line(smooth(barbel), lips.edge, CONTOUR * 1.6)
    disc = [(0.0, -0.86), (0.55, -0.74), (0.93, -0.28), (0.97, 0.18), (0.72, 0.70), (0.30, 0.94), (0.0, 0.97)]
    ring = [*disc, *[(-x, y) for x, y in disc[-2::-1]]]
    pen.area(shape(ring), lips.face, lips.edge, CONTOUR if detail else PART)
    if detail:
        bumps = [
            (r * np.cos(a), 0.04 + r * np.sin(a))
            for r, n in ((0.70, 17), (0.83, 21))
            for a in np.linspace(0.12, np.pi - 0.12, n)
        ]
        pen.dots([p for p in bumps if p[1] > 0.3], 0.026, lips.fine)
        pen.line(
            smooth([(-0.74, -0.14), (-0.45, -0.56), (0.0, -0.66), (0.45, -0.56), (0.74, -0.14)]),
            lips.fine,
            FINE,
        )
    hole = [(0.0, -0.44), (0.42, -0.34), (0.60, 0.04), (0.40, 0.44), (0.0, 0.58)]
    pen.area(
        shape([*hole, *[(-x, y) for x, y in hole[-2::-1]]]),
        _inside(lips),
        lips.edge,
        PART if detail else FINE,
    )
    if jaws is GHOST:
        return
    upper = GHOST if detail else jaws
    for side in (-1, 1):
        _row(pen, _UPPER, side, upper, -1.0, detail=detail)
        if look.jaw_angle:
            _row(pen, _LOWER[look.jaw_angle], side, jaws, 1.0, detail=detail)
        else:
            ends = [(x * side, y) for x, y in _LOWER["acute"]]
            pen.line(Path(ends), INK, PART, dotted=True)


def draw_jaws(ax: Canvas, look: Look, *, focus: Iterable[str] | None = None) -> None:
    """Draw the mouth close up, with the two rows of lower teeth.

    Parameters
    ----------
    ax : matplotlib.axes.Axes or Card
        Axes whose sides are as 3 to 2, or a card.
    look : Look
        The fish.
    focus : iterable of str, optional
        jaws: ink the tooth rows only. Without it everything is inked.
    """
    frame(ax, (0.0, 0.0, 120.0))
    pen = Pen(ax, Affine2D().scale(44.0, 40.0).translate(60.0, 39.0))
    draw_mouth(pen, look, lips=SKIN if focus is None else GHOST, jaws=_BONE, detail=True)
    border(ax)


def draw_teeth(ax: Canvas, look: Look, *, focus: Iterable[str] | None = None) -> None:
    """Draw upper and lower teeth large, side by side, the jaws pulled straight.

    Parameters
    ----------
    ax, look, focus
        As for `draw_jaws`.
    """
    del focus
    frame(ax, (0.0, 0.0, 120.0))
    pen = Pen(ax)
    form = look.tooth_form
    upper, lower = _TEETH[form or "even"]
    for (kind, count, length, width), sign, gum in ((upper, 1, 13.0), (lower, -1, 67.0)):
        teeth: list[Path] = []
        for i in range(count):
            x = 4.5 + (i + 0.5) * (46.0 / count)
            y = gum - 0.0012 * x**2 * sign - 1.5 * sign
            for mirror in (-1, 1):
                place = Affine2D().scale(mirror * width, (length + 1.5) * sign).translate(60 + mirror * x, y)
                teeth.append(_tooth(kind).transformed(place))
        if kind == "hair":
            pen.line(teeth, INK, PART)
        else:
            pen.area(Path.make_compound_path(*teeth), _BONE.face, INK, PART, dotted=form is None)
        edge = [(4.0, gum - 4.5 * sign), (30.0, gum - 0.6 * sign), (57.0, gum)]
        back = 0.5 if sign > 0 else 79.5
        for mirror in (1, -1):
            jaw = [(60 + (x - 60) * mirror, y) for x, y in edge]
            pen.area(
                shape(
                    jaw,
                    [jaw[-1], (jaw[-1][0], back)],
                    [(jaw[-1][0], back), (jaw[0][0], back)],
                    [(jaw[0][0], back), jaw[0]],
                ),
                SKIN.face,
                GHOST.edge,
                PART,
            )
    border(ax)


# Upper and lower jaw: kind of tooth, teeth per side, length, width.
_TEETH = {
    "larger_below": (("two", 4, 10.0, 5.0), ("two", 3, 30.0, 12.0)),
    "even": (("two", 6, 15.0, 6.0), ("two", 6, 15.0, 6.0)),
    "stout": (("stout", 4, 23.0, 11.0), ("stout", 4, 23.0, 11.0)),
    "spoon": (("spoon", 3, 24.0, 14.0), ("spoon", 3, 24.0, 14.0)),
    "fangs": (("fang", 1, 46.0, 9.0), ("two", 4, 8.0, 4.4)),
    "brush": (("hair", 20, 18.0, 2.0), ("hair", 20, 18.0, 2.0)),
}


def _tooth(kind: str) -> Path:
    """Return a tooth one wide and one long, rooted at the origin, its tip up; the large cusp lies inward."""
    if kind == "two":
        return shape(
            [(-0.14, 0.0), (-0.16, 0.5), (-0.36, 0.82), (-0.22, 1.0)],
            [(-0.22, 1.0), (0.02, 0.86), (0.06, 0.72)],
            [(0.06, 0.72), (0.22, 0.86), (0.42, 0.84)],
            [(0.42, 0.84), (0.26, 0.6), (0.16, 0.4), (0.14, 0.0)],
        )
    if kind == "stout":
        return shape(
            [(-0.2, 0.0), (-0.22, 0.3), (-0.4, 0.6), (-0.36, 0.9), (-0.16, 1.0)],
            [(-0.16, 1.0), (0.04, 0.84), (0.1, 0.62)],
            [(0.1, 0.62), (0.26, 0.78), (0.46, 0.74)],
            [(0.46, 0.74), (0.4, 0.45), (0.24, 0.25), (0.2, 0.0)],
        )
    if kind == "spoon":
        return shape(
            [(-0.12, 0.0), (-0.13, 0.28), (-0.4, 0.62), (-0.5, 0.96)],
            [(-0.5, 0.96), (0.0, 1.04), (0.5, 0.96)],
            [(0.5, 0.96), (0.4, 0.62), (0.13, 0.28), (0.12, 0.0)],
        )
    if kind == "fang":
        return shape(
            [(-0.5, 0.0), (-0.46, 0.4), (-0.2, 0.8), (-0.02, 1.0)],
            [(-0.02, 1.0), (0.26, 0.75), (0.5, 0.35), (0.5, 0.0)],
        )
    return smooth([(0.0, 0.0), (0.0, 0.5), (-0.3, 0.85), (-0.9, 1.0)])


def _inside(lips: Tone) -> str:
    return PAPER if lips is GHOST else "#a2988b"


def _row(pen: Pen, ends: tuple[Point, Point], side: int, tone: Tone, sign: float, *, detail: bool) -> None:
    """Draw one tooth row: the jaw below it and, where there is room, its teeth pointing into the mouth."""
    a, b = (np.array([x * side, y]) for x, y in ends)
    along = (b - a) / np.hypot(*(b - a))
    normal = np.array([-along[1], along[0]])
    into = normal if normal @ (np.array([0.0, -0.3 * sign]) - a - b) > 0 else -normal
    if not detail:
        pen.line(Path([a, b]), tone.edge, CONTOUR)
        return
    back = -into * 0.11
    jaw = shape(
        [tuple(a), tuple(b)],
        [
            tuple(b),
            tuple(b + back * 1.1 + along * 0.03),
            tuple((a + b) / 2 + back * 1.5),
            tuple(a + back * 1.1 - along * 0.05),
            tuple(a),
        ],
    )
    pen.area(jaw, tone.face, tone.edge, PART)
    pen.segments(
        [(tuple(a + (b - a) * k), tuple(a + (b - a) * k + into * 0.11)) for k in np.linspace(0.06, 0.88, 7)],
        tone.edge,
        CONTOUR,
    )
