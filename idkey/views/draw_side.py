"""The fish from the side, and the close-up of its tail."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from matplotlib.path import Path
from matplotlib.transforms import Affine2D

from .draw_fins import draw_adipose, draw_dorsal, draw_folded_dorsal, draw_tail_fin
from .draw_look import Look
from .draw_pattern import draw_marks, fin_spot_radius
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
    Profile,
    Tone,
    border,
    fin_tone,
    frame,
    ground_tone,
    shape,
    smooth,
)

__all__ = ["SIDE", "SNOUT", "TAIL_BASE", "draw_side", "draw_tail"]

# Upper and lower profile, snout to tail base, in the units of the card.
_TOP: list[Point] = [
    (7, 57.6), (8, 55.0), (11, 51.0), (16.5, 46.7), (22, 43.1), (28, 40.4), (35, 38.5), (43, 37.4),
    (54, 39.1), (64, 41.5), (74, 43.9), (82, 45.3), (88.5, 45.9),
]  # fmt: skip
_BOTTOM: list[Point] = [
    (7, 57.6), (8.6, 59.6), (14, 60.5), (30, 60.8), (45, 60.7), (55, 60), (64, 58.8), (74, 57), (82, 55.7),
    (88.5, 55.2),
]  # fmt: skip
SNOUT, TAIL_BASE = 7.0, 88.5
_EYE_X, _EYE_DEEP, _NOSTRIL_X, _NOSTRIL_DEEP = 24.8, 3.5, 17.8, 3.0
_EYE, _PUPIL, _NOSTRIL = 2.45, 1.35, 0.9
SIDE = (3.0, 2.0, 120.0)


def draw_side(
    ax: Canvas, look: Look, *, focus: Iterable[str] | None = None, window: tuple[float, float, float] = SIDE
) -> None:
    """Draw the fish from the side, head to the left.

    Parameters
    ----------
    ax : matplotlib.axes.Axes or Card
        Axes whose sides are as 3 to 2, or a card.
    look : Look
        The fish; unknown traits are dotted or left blank.
    focus : iterable of str, optional
        Parts to ink, the rest is a ghost: flank, dorsal, adipose, tail, keels, nostril, eye; and folded
        (the dorsal fin laid back) or depth (a measure of body and fin). Without it everything is inked.
    window : (float, float, float)
        What is shown: left, top and width.
    """
    frame(ax, window)
    pen = Pen(ax)
    parts = None if focus is None else frozenset(focus)

    def toned(part: str, tone: Tone) -> Tone:
        return tone if parts is None or part in parts else GHOST

    body = _body(look)
    ground = ground_tone(look.ground_colour, look.pattern)
    fin = fin_tone(look.ground_colour, look.pattern) if parts is None or "flank" in parts else SKIN
    skin = toned("flank", ground)
    fin_spots = fin_spot_radius(look)
    back = np.stack([np.linspace(43.0, 64.0, 8), body.top(np.linspace(43.0, 64.0, 8)) + 0.3], axis=1)
    base = np.array([76.0, float(body.top(76.0)) + 0.3])
    spine = np.array([base, base + [6.5, -6.2]])

    draw_tail_fin(
        pen.at(Affine2D().translate(TAIL_BASE, 50.5)),
        look.tail_fork,
        toned("tail", fin),
        edging=look.fin_edging,
        spots=fin_spots,
    )
    if parts is not None and "folded" in parts and look.dorsal_reach:
        draw_folded_dorsal(pen, back, spine, toned("dorsal", fin), look.dorsal_reach)
    else:
        tip = draw_dorsal(
            pen,
            back,
            toned("dorsal", fin),
            height=look.dorsal_height,
            edging=look.fin_edging,
            spots=fin_spots,
            reach=look.dorsal_reach,
        )
        if look.dorsal_reach == "joined" and look.adipose_fin == "present":
            rise = back[-1] + [1.9, 0.45 * (tip - back[-1])[1]]
            web = shape(
                [tuple(back[-1]), tuple(rise)],
                [tuple(rise), tuple((rise + spine[1]) / 2 + [0.0, 1.6]), tuple(spine[1])],
                [tuple(spine[1]), tuple(base)],
                [tuple(base), tuple(back[-1])],
            )
            pen.area(web, toned("dorsal", fin).face, toned("dorsal", fin).edge, PART)
    if look.dorsal_reach is None and parts is None and look.adipose_fin != "absent":
        pen.line(
            smooth(
                [
                    tuple(back[-1] + [1.6, -7.0]),
                    tuple((back[-1] + spine[1]) / 2 + [0.6, -1.6]),
                    tuple(spine[1]),
                ]
            ),
            fin.edge,
            FINE * 1.2,
            dotted=True,
        )
    draw_adipose(pen, spine, (84.5, float(body.top(84.5)) + 0.3), toned("adipose", fin), look.adipose_fin)
    _low_fins(pen, toned("fins", fin), (_PELVIC, _ANAL))
    _mouth(pen, toned("mouth", SKIN if parts else fin))
    pen.area(body.outline(), skin.face, skin.edge, CONTOUR)
    _armour(pen, body, skin, plates=look.pattern in {None, "plain"} or skin is GHOST)
    if look.body_keels is None and parts is None:
        keels = [[(x, float(body.at(x, v))) for x in (48.0, 60.0, 72.0, 86.0)] for v in (0.46, 0.68)]
        pen.line([smooth(keel) for keel in keels], skin.mark, FINE, dotted=True)
    if look.body_keels == "strong":
        _keels(pen, body, toned("keels", Tone(PAPER, INK, INK, INK)))
    _head(pen, body, skin)
    if skin is not GHOST:
        if look.pattern is None:
            pen.line(
                smooth([(36, 49), (50, 43.5), (66, 46.5), (76, 50.5), (60, 55), (46, 56), (36, 49)]),
                INK,
                PART,
                dotted=True,
            )
        holes = [
            (x, float(body.top(x)) + deep, radius + (1.2 if parts and part in parts else 0.2))
            for part, x, deep, radius in (
                ("eye", _EYE_X, _EYE_DEEP, _EYE),
                ("nostril", _NOSTRIL_X, _NOSTRIL_DEEP, _NOSTRIL),
            )
        ]
        draw_marks(pen, body, look, skin, holes=holes, end=min(TAIL_BASE, window[0] + window[2] + 4))
    _eye(pen, body, skin, parts)
    _low_fins(pen, toned("fins", fin), (_PECTORAL,))
    if parts is not None and "depth" in parts:
        _depth_guide(pen, body)
    border(ax)


def draw_tail(ax: Canvas, look: Look, *, focus: Iterable[str] | None = None) -> None:
    """Draw the tail fin spread, from the side.

    Parameters
    ----------
    ax, look, focus
        As for `draw_side`; the only part to ink is the tail.
    """
    frame(ax, (0.0, 0.0, 120.0))
    pen = Pen(ax, Affine2D().scale(2.45).translate(31.0, 39.0))
    ground = ground_tone(look.ground_colour, look.pattern)
    skin = ground if focus is None else GHOST
    spots = fin_spot_radius(look)
    draw_tail_fin(
        pen,
        look.tail_fork,
        fin_tone(look.ground_colour, look.pattern) if focus is None else SKIN,
        edging=look.fin_edging,
        spots=spots,
    )
    trunk = Profile(
        [(-12.5, -6.1), (-7, -5.0), (-1.5, -4.7), (0.3, -4.9)],
        [(-12.5, 6.1), (-7, 5.2), (-1.5, 4.8), (0.3, 4.9)],
    )
    # Cut off where the card ends.
    cut = [trunk.bottom_points[0], trunk.top_points[0]]
    pen.area(shape(trunk.top_points, trunk.bottom_points[::-1], cut), skin.face, skin.edge, CONTOUR)
    _armour(pen, trunk, skin, plates=True, start=-12.0, step=4.2)
    border(ax)


def _body(look: Look) -> Profile:
    if look.body_depth != "flat":
        return Profile(_TOP, _BOTTOM)
    low = _BOTTOM[3][1]
    return Profile(
        [(x, low - (low - y) * (0.68 if x < 70 else 0.68 + (x - 70) * 0.0173)) for x, y in _TOP], _BOTTOM
    )


# Lower fins: the spine from base to tip, then the rear edge back to the base.
_Fin = tuple[list[Point], list[Point]]
_PECTORAL: _Fin = (
    [(32.5, 58.4), (42, 63.4), (54.5, 68.2)],
    [(54.5, 68.2), (56.2, 64.6), (52.5, 61.8), (38.5, 58.8)],
)
_PELVIC: _Fin = ([(51, 59.0), (57, 63.6), (64.5, 66.8)], [(64.5, 66.8), (64.8, 62.8), (59, 58.8)])
_ANAL: _Fin = ([(69, 57.0), (71.5, 61.0), (74.5, 64.0)], [(74.5, 64.0), (75.6, 60.6), (73.8, 56.4)])


def _low_fins(pen: Pen, tone: Tone, fins: Iterable[_Fin]) -> None:
    """Draw the pectoral, the pelvic and the anal fin."""
    for spine, rear in fins:
        pen.area(shape(spine, rear), tone.face, tone.edge, FINE * 1.2)
        foot, tip = spine[0], spine[-1]
        end = rear[-1]
        pen.segments(
            [
                (
                    (foot[0] + (end[0] - foot[0]) * k, foot[1] + (end[1] - foot[1]) * k + 0.7),
                    (tip[0] + k * 0.8 - 0.6, tip[1] - k * 3.4),
                )
                for k in (0.35, 0.7)
            ],
            tone.fine,
        )
        pen.line(smooth(spine), tone.edge, CONTOUR * (1.5 if foot[0] < 40 else 1.0))


def _mouth(pen: Pen, tone: Tone) -> None:
    """Draw the sucker mouth under the head and its barbel."""
    pen.area(
        shape(
            [(10.5, 59.4), (12.4, 62.2), (17, 63.6), (21.6, 63.0), (22.8, 60.2)], [(22.8, 60.2), (10.5, 59.4)]
        ),
        tone.face,
        tone.edge,
        PART,
    )
    pen.line(smooth([(21.8, 61.8), (23.8, 63.0), (26.4, 63.0)]), tone.edge, PART)


def _head(pen: Pen, body: Profile, tone: Tone) -> None:
    """Draw the cheek and the rear edge of the head."""
    line = tone.fine if tone is not GHOST else GHOST.edge
    top = float(body.top(31.0))
    deep = float(body.bottom(31.0)) - top
    pen.line(
        [
            smooth(
                [
                    (30.5, top + 0.6),
                    (33.6, top + deep * 0.3),
                    (33.4, top + deep * 0.65),
                    (30.5, top + deep * 0.97),
                ]
            ),
            smooth([(20.5, 59.0), (21.6, 54.2), (26.0, 51.6), (31.8, 52.4)]),
        ],
        line,
        PART,
    )
    bristles = [((26.2 + k * 1.6, 55.4 + k * 0.3), (28.2 + k * 1.6, 57.0 + k * 0.4)) for k in range(3)]
    pen.segments(bristles, line, FINE)


def _eye(pen: Pen, body: Profile, tone: Tone, parts: frozenset[str] | None) -> None:
    """Draw the eye and the nostril; where one is the measure of the spots, the other steps back."""
    inked = parts is None or "flank" in parts
    edge = INK if inked else GHOST.edge
    eye = [(_EYE_X, float(body.top(_EYE_X)) + _EYE_DEEP)]
    nostril = [(_NOSTRIL_X, float(body.top(_NOSTRIL_X)) + _NOSTRIL_DEEP)]
    iris = PAPER if tone is GHOST else tone.fine if parts and "nostril" in parts else SKIN.face
    rim = tone.fine if tone is GHOST or (parts and "eye" in parts) else SKIN.face
    pen.dots(eye, _EYE, edge)
    pen.dots(eye, _EYE - 0.45, iris)
    pen.dots(eye, _PUPIL, edge)
    pen.dots(nostril, _NOSTRIL + 0.4, rim)
    pen.dots(nostril, _NOSTRIL, edge)


def _armour(
    pen: Pen, body: Profile, tone: Tone, *, plates: bool, start: float = 35.0, step: float = 3.8
) -> None:
    """Draw the plate rows as fine lines, and the rear edges of the plates where there is room for them."""
    end = body.top_points[-1][0] - 0.8
    x = np.linspace(start, end, 6)
    rows = (0.24, 0.46, 0.68, 0.87)
    pen.line([smooth([(a, float(body.at(a, v))) for a in x.tolist()]) for v in rows], tone.fine, FINE)
    if plates:
        bounds = (0.03, *rows, 0.97)
        pen.segments(
            [
                ((a, float(body.at(a, up))), (a - 1.3, float(body.at(a - 1.3, down))))
                for row, (up, down) in enumerate(zip(bounds[:-1], bounds[1:], strict=True))
                for a in np.arange(start + 2.6 + (row % 2) * step / 2, end, step).tolist()
            ],
            tone.fine,
            FINE,
        )


def _keels(pen: Pen, body: Profile, tone: Tone) -> None:
    """Draw the spiny ridges: one backward hook on every plate."""
    thorns, ridges = [], []
    for row, v in enumerate((0.24, 0.46, 0.68, 0.88)):
        x = np.arange(36.0 + 1.6 * (row % 2), 86.0 if row % 2 else 74.0, 3.6)
        ridges.append(smooth([(a, float(body.at(a, v))) for a in x[::4].tolist()]))
        for a in x.tolist():
            y = float(body.at(a, v))
            thorns.append(
                Path([(a, y + 0.4), (a + 3.3, y - 1.5), (a + 2.6, y + 0.6), (a, y + 0.4)], closed=True)
            )
    pen.line(ridges, tone.edge, PART)
    pen.area(Path.make_compound_path(*thorns), tone.edge, tone.edge, FINE)


def _depth_guide(pen: Pen, body: Profile) -> None:
    """Draw two measures: the depth of the body, and the same length set upon the back."""
    x, top, low = 43.0, float(body.top(43.0)), float(body.bottom(43.0))
    high = 2 * top - low
    bars = [((x, top), (x, low)), ((x, high), (x, top))]
    ends = [((x - 1.6 - k, y), (x + 1.6 - k, y)) for y, k in ((low, 0), (top, 0), (top, 5), (high, 5))]
    pen.segments([bars[0], ((x - 5, high), (x - 5, top)), *ends], INK, PART)
