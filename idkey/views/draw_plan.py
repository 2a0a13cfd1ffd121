"""The fish from above, from below and from the front."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from matplotlib.path import Path
from matplotlib.transforms import Affine2D

from .draw_look import Look
from .draw_mouth import draw_mouth
from .draw_pattern import draw_marks
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
    frame,
    ground_tone,
    shape,
    smooth,
    spread,
)

__all__ = ["draw_front", "draw_head", "draw_under"]

# Half the width of head and body at a distance from the snout; the snout by its shape, then the rest.
_SNOUTS: dict[str, list[Point]] = {
    "rounded": [(8, 0), (8.6, 4.5), (11.5, 10.2), (17.5, 15.8), (25, 19.4), (35, 22.6)],
    "pointed": [(0.5, 0), (1.6, 2.0), (6.5, 5.6), (15, 10.8), (25, 16.6), (35, 21.6)],
    "broad": [(10.5, 0), (10.8, 9), (12.2, 15.8), (16, 20.4), (24, 22.8), (35, 23.6)],
}
_TRUNK: list[Point] = [
    (45, 24.6),
    (53, 25.2),
    (60, 24.0),
    (72, 21.8),
    (88, 19.0),
    (104, 15.6),
    (124, 11.0),
    (150, 7.0),
    (170, 6.0),
]
_SCALE = 1.7
_SNOUT_END = 26.0
_MOUTHS = {"small": 0.44, "medium": 0.66, "wide": 0.92}


def draw_head(
    ax: Canvas,
    look: Look,
    *,
    focus: Iterable[str] | None = None,
    window: tuple[float, float, float] = (-14.0, -2.67, 128.0),
) -> None:
    """Draw head and shoulders from above, snout to the left.

    Parameters
    ----------
    ax : matplotlib.axes.Axes or Card
        Axes whose sides are as 3 to 2, or a card.
    look : Look
        The fish; unknown traits are dotted or left blank.
    focus : iterable of str, optional
        Parts to ink, the rest is a ghost: flank, snout, tentacles, cheek. Without it everything is inked.
    window : (float, float, float)
        What is shown: left, top and width.
    """
    frame(ax, window)
    pen = Pen(ax)
    parts = None if focus is None else frozenset(focus)
    ground = ground_tone(look.ground_colour, look.pattern)
    full = parts is None or "flank" in parts
    skin = ground if full else GHOST
    body = _plan(look, window[0] + window[2])
    _pectorals(pen, ground if parts is None else GHOST)
    if look.cheek_spines or parts is None:
        _cheeks(pen, look.cheek_spines, INK if parts is None or "cheek" in parts else GHOST.edge)
    _outlined(pen, body, skin, snout_known=look.snout_shape is not None or parts is not None)
    if parts and "cheek" in parts:
        for s in (-1, 1):
            pen.area(
                shape(
                    [(38, 40 + 22.6 * s), (46, 40 + 24.3 * s), (54, 40 + 24.8 * s)],
                    [(54, 40 + 24.8 * s), (51, 40 + 19.8 * s), (44, 40 + 18.8 * s), (38, 40 + 22.6 * s)],
                ),
                SKIN.face,
                INK,
                PART,
            )
    if parts and "snout" in parts:
        _snout_inked(pen, body, look)
    line = skin.edge if skin is GHOST else skin.fine
    pen.line(
        [
            smooth([(50, 17), (56, 19.4), (61, 23)]),
            smooth([(50, 63), (56, 60.6), (61, 57)]),
            smooth([(54, 29), (63, 33), (68, 40), (63, 47), (54, 51)]),
            smooth([(44, 20.5), (50, 24.0), (54, 29)]),
            smooth([(44, 59.5), (50, 56), (54, 51)]),
        ],
        line,
        PART if skin is GHOST else FINE,
    )
    rows = [
        smooth([(a, 40 + side * share * (float(body.bottom(a)) - 40)) for a in (70.0, 84.0, 98.0, 113.5)])
        for side in (-1, 1)
        for share in (0.4, 0.75)
    ]
    pen.line(rows, line if skin is not GHOST else skin.fine, FINE)
    eyes = [(38.0, 40 - 14.0), (38.0, 40 + 14.0)]
    nostrils = [(27.0, 33.4), (27.0, 46.6)]
    if full:
        holes = [
            *((x, y, 5.0) for x, y in eyes),
            *((x, y, 2.4) for x, y in nostrils),
            *((x, 40.0, 1.8) for x in np.arange(89.0, 120.0, 2.0).tolist()),
        ]
        draw_marks(pen, body, look, skin, holes=holes, head_end=58.0, scale=_SCALE, end=window[0] + window[2])
    edge = skin.edge
    for radius, colour in ((4.4, edge), (3.5, PAPER if skin is GHOST else SKIN.face), (2.3, edge)):
        pen.dots(eyes, radius, colour)
    pen.dots(nostrils, 2.2, skin.fine if skin is GHOST else SKIN.face)
    pen.dots(nostrils, 1.5, edge)
    pen.line(Path([(88, 40), (113, 40)]), skin.edge, CONTOUR * 2.2)
    if look.snout_tentacles == "present" or (look.snout_tentacles is None and parts is None):
        inked = parts is None or "tentacles" in parts
        _tentacles(pen, body, INK if inked else GHOST.edge, dotted=look.snout_tentacles is None)
    border(ax)


def draw_under(ax: Canvas, look: Look, *, focus: Iterable[str] | None = None, upright: bool = False) -> None:
    """Draw the fish from below.

    Parameters
    ----------
    ax : matplotlib.axes.Axes or Card
        Axes whose sides are as 3 to 2, or a card.
    look : Look
        The fish; unknown traits are dotted or left blank.
    focus : iterable of str, optional
        Parts to ink, the rest is a ghost: mouth, belly. Without it everything is inked.
    upright : bool
        Show the head only, snout up, as it hangs on the glass; otherwise to the vent, snout to the left.
    """
    parts = None if focus is None else frozenset(focus)
    frame(ax, (22.0, 1.5, 76.0) if upright else (3.0, -10.0, 150.0))
    turn = (
        Affine2D(np.array([[0.0, -1.0, 100.0], [1.0, 0.0, -3.0], [0.0, 0.0, 1.0]])) if upright else Affine2D()
    )
    pen = Pen(ax, turn)
    body = _plan(look, 170.0 if upright else 153.0)
    belly = _belly_tone(look)
    full = parts is None or "belly" in parts
    skin = belly if full else GHOST
    _pectorals(pen, belly if parts is None else GHOST)
    pelvic = GHOST if parts is not None else belly
    _outlined(pen, body, skin, snout_known=look.snout_shape is not None or parts is not None)
    line = skin.fine if skin is not GHOST else skin.edge
    pen.line([smooth([(48, 40 + 12 * s), (52, 40 + 16 * s), (53, 40 + 20 * s)]) for s in (-1, 1)], line, PART)
    girth = [
        (50.0, 0.0),
        (51.0, 14.0),
        (57.0, 19.5),
        (72.0, 18.6),
        (90.0, 15.6),
        (104.0, 12.0),
        (118.0, 8.0),
        (119.0, 0.0),
    ]
    region = Profile([(x, 40 - w) for x, w in girth], [(x, 40 + w) for x, w in girth])
    if full:
        _belly(pen, look, belly, region)
    pen.dots([(123.0, 40.0)], 1.4, skin.edge)
    anal = pelvic
    for side in (-1, 1):
        y = 40 + 12.5 * side
        pen.area(
            shape(
                [(92, y), (102, y + 9 * side), (112, y + 15.5 * side)],
                [
                    (112, y + 15.5 * side),
                    (117, y + 10 * side),
                    (116, y + 3 * side),
                    (104, y - 1 * side),
                    (92, y),
                ],
            ),
            pelvic.face,
            pelvic.edge,
            PART,
        )
        pen.segments([((95, y + k * side), (115 - k, y + 4 * k * side)) for k in (1, 2, 3)], pelvic.fine)
    pen.area(
        shape(
            [(126, 40), (132, 38.2), (141, 38.6)],
            [(141, 38.6), (142, 40), (141, 41.4)],
            [(141, 41.4), (132, 41.8), (126, 40)],
        ),
        anal.face,
        anal.edge,
        PART,
    )
    half = float(body.bottom(25.0) - 40)
    width = _MOUTHS[look.mouth_shape or "medium"] * half
    length = 9.0 + 0.24 * width
    place = Affine2D(np.array([[0.0, length, 12.0 + length], [-width, 0.0, 40.0], [0.0, 0.0, 1.0]]))
    lips = SKIN if parts is None or "mouth" in parts else GHOST
    if look.mouth_shape is None:
        pen.at(place).line(
            smooth([(np.cos(a), np.sin(a)) for a in np.linspace(0, 2 * np.pi, 13)]), INK, PART, dotted=True
        )
    else:
        draw_mouth(pen.at(place), look, lips=lips, jaws=lips if lips is GHOST else Tone(PAPER, INK, INK, INK))
    if upright and parts is not None and "mouth" in parts:
        _width_guide(pen, half, width)
    border(ax)


def draw_front(ax: Canvas, look: Look, *, focus: Iterable[str] | None = None) -> None:
    """Draw the fish from the front.

    Parameters
    ----------
    ax : matplotlib.axes.Axes or Card
        Axes whose sides are as 3 to 2, or a card.
    look : Look
        The fish.
    focus : iterable of str, optional
        flank: ink body and eyes, the fins are a ghost. Without it everything is inked.
    """
    frame(ax, (0.0, 0.0, 120.0))
    flat = look.body_depth == "flat"
    low = 64.0
    fins = SKIN if focus is None else GHOST
    pen = Pen(ax)
    half: list[Point] = (
        [(0, 46), (10, 46.2), (18, 49.0), (31, 54.5), (38, 59.5), (37, 63)]
        if flat
        else [(0, 27), (7, 28.2), (14, 33.0), (22, 42.5), (28, 53.0), (27.5, 61.5)]
    )
    top = half[0][1]
    pen.area(
        shape(
            [(58.8, top + 3), (59.1, top - 9), (60, top - 17)],
            [(60, top - 17), (60.9, top - 9), (61.2, top + 3)],
        ),
        fins.face,
        fins.edge,
        PART,
    )
    for side in (-1, 1):
        x, reach = 60 + half[-2][0] * side * 0.9, 60 + (half[-2][0] + 17) * side
        pen.area(
            shape(
                [(x, 57), ((x + reach) / 2, 58.5), (reach, 65.5)],
                [(reach, 65.5), ((x + reach) / 2, 65.0), (x, 63)],
            ),
            fins.face,
            fins.edge,
            PART,
        )
        pen.line(smooth([(x, 57), ((x + reach) / 2, 58.5), (reach, 65.5)]), fins.edge, CONTOUR * 1.5)
    right = [(60 + x, y) for x, y in half]
    left = [(60 - x, y) for x, y in half]
    dotted = look.body_depth is None
    pen.area(
        shape(
            [*left[::-1], *right[1:]],
            [
                right[-1],
                (60 + half[-1][0] * 0.7, low + 1),
                (60, low + 1.4),
                (60 - half[-1][0] * 0.7, low + 1),
                left[-1],
            ],
        ),
        SKIN.face,
        SKIN.edge,
        CONTOUR,
        dotted=dotted,
    )
    eye_x, eye_y = (12.0, 46.6) if flat else (19.2, 39.8)
    eyes = [(60 - eye_x, eye_y), (60 + eye_x, eye_y)]
    for radius, colour in ((3.7, INK), (2.8, PAPER), (1.7, INK)):
        pen.dots(eyes, radius, colour)
    pen.dots([(60 - eye_x * 0.42, eye_y + 6), (60 + eye_x * 0.42, eye_y + 6)], 1.3, INK)
    lip = half[-1][0] * 0.6
    pen.line(
        smooth(
            [
                (60 - lip - 4, low - 1.5),
                (60 - lip * 0.95, (top + low) / 2 + 3),
                (60 - lip * 0.5, (top + low) / 2 - 1),
                (60 + lip * 0.5, (top + low) / 2 - 1),
                (60 + lip * 0.95, (top + low) / 2 + 3),
                (60 + lip + 4, low - 1.5),
            ]
        ),
        SKIN.fine,
        PART,
    )
    pen.area(
        shape(
            [
                (60 - lip, low + 0.6),
                (60 - lip * 0.6, low - 1.0),
                (60 + lip * 0.6, low - 1.0),
                (60 + lip, low + 0.6),
                (60 + lip * 0.85, low + 2.4),
                (60 - lip * 0.85, low + 2.4),
                (60 - lip, low + 0.6),
            ]
        ),
        GHOST.face,
        INK,
        PART,
    )
    pen.segments([((8.0, low + 3.4), (112.0, low + 3.4))], GHOST.edge, FINE)
    border(ax)


def _plan(look: Look, end: float) -> Profile:
    """Return head and trunk from above, as far as the card reaches: nothing is drawn past its edge."""
    half = [*_SNOUTS[look.snout_shape or "rounded"], *_TRUNK]
    if end < half[-1][0]:
        width = float(np.interp(end, *np.transpose(half)))
        half = [*[p for p in half if p[0] < end - 4.0], (end, width)]
    return Profile([(x, 40 - w) for x, w in half], [(x, 40 + w) for x, w in half])


def _outlined(pen: Pen, body: Profile, tone: Tone, *, snout_known: bool) -> None:
    """Draw the body; the contour of a snout whose shape is not known is dotted."""
    if snout_known:
        pen.area(body.outline(), tone.face, tone.edge, CONTOUR)
        return
    pen.area(body.outline(), tone.face, None)
    rear = [i for i, (x, _) in enumerate(body.top_points) if x >= _SNOUT_END - 1.0]
    front = body.top_points[: rear[0] + 1]
    pen.line(smooth([*body.bottom_points[: rear[0] + 1][::-1], *front[1:]]), tone.edge, CONTOUR, dotted=True)
    pen.line([smooth(side[rear[0] :]) for side in (body.top_points, body.bottom_points)], tone.edge, CONTOUR)


def _belly_tone(look: Look) -> Tone:
    ground = ground_tone(look.ground_colour, look.pattern)
    if ground.face == PAPER:
        return ground
    if ground.mark == INK:
        return Tone("#efe7d6", INK, "#b5a98f", INK)
    return Tone("#8f867b", INK, "#6a6258", PAPER)


def _pectorals(pen: Pen, tone: Tone) -> None:
    for side in (-1, 1):
        spine = [(54.0, 40 + 22.5 * side), (68.0, 40 + 31.5 * side), (86.0, 40 + 37.0 * side)]
        pen.area(
            shape(spine, [spine[-1], (89, 40 + 30 * side), (82, 40 + 22 * side), (66, 40 + 19 * side)]),
            tone.face,
            tone.edge,
            FINE,
        )
        pen.segments(
            [((60 + 4 * k, 40 + (23.5 - k) * side), (87 - k, 40 + (36 - 4.2 * k) * side)) for k in (1, 2, 3)],
            tone.fine,
        )
        pen.line(smooth(spine), tone.edge, CONTOUR * 2)


def _cheeks(pen: Pen, state: str | None, colour: str) -> None:
    """Draw the bristles behind the cheek, spread or short, or dotted where that is not known."""
    for side in (-1, 1):
        if state is None:
            fan = [
                [(44 + 3 * k, 40 + 24 * side), (47 + 4.5 * k, 40 + (33 - 0.8 * k) * side)] for k in range(3)
            ]
            pen.line([smooth(bristle) for bristle in fan], colour, PART, dotted=True)
        elif state == "long":
            fan = [
                smooth(
                    [
                        (43 + 0.9 * k, 40 + 22.5 * side),
                        (44.5 + 1.6 * k + 1.5, 40 + (29.0 - 0.4 * k) * side),
                        (44 + 3.0 * k, 40 + (37.5 - 1.3 * k) * side),
                    ]
                )
                for k in range(6)
            ]
            pen.line(fan, colour, CONTOUR)
        else:
            pen.segments(
                [((44 + 1.4 * k, 40 + 23.5 * side), (45.6 + 1.4 * k, 40 + 27.0 * side)) for k in range(5)],
                colour,
                CONTOUR,
            )


def _snout_inked(pen: Pen, body: Profile, look: Look) -> None:
    """Ink the front of the head, back to the eyes."""
    front = [p for p in body.top_points if p[0] <= _SNOUT_END]
    run = [*[(x, 80 - y) for x, y in front[::-1]], *front[1:]]
    pen.area(
        shape(run, [run[-1], (run[-1][0] + 3, 40), run[0]]), SKIN.face if look.snout_shape else PAPER, None
    )
    pen.line(smooth(run), INK, CONTOUR * 1.4, dotted=look.snout_shape is None)


def _tentacles(pen: Pen, body: Profile, colour: str, *, dotted: bool) -> None:
    """Draw fleshy threads along the edge of the snout, some of them forked."""
    front = np.array([p for p in body.bottom_points if p[0] <= _SNOUT_END])
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(front, axis=0).T))])
    threads = []
    for k, share in enumerate((0.08, 0.27, 0.46, 0.65, 0.84)):
        root = np.array([np.interp(run[-1] * share, run, front[:, i]) for i in (0, 1)])
        out = root - [26.0, 40.0]
        out /= np.hypot(*out)
        across = np.array([-out[1], out[0]])
        long = 10.5 if k % 2 == 0 else 7.0
        bend = across * long * (0.14 if k % 2 else -0.14)
        arms = [[root - out, root + out * long * 0.5 - bend * 0.5, root + out * long + bend]]
        if k == 4:
            arms.append([root + out * long * 0.5 - bend * 0.5, root + out * long * 0.92 - bend * 1.6])
        threads += [smooth([(x, 40 + side * (y - 40)) for x, y in arm]) for arm in arms for side in (-1, 1)]
    pen.line(threads, colour, PART if dotted else CONTOUR * 1.5, dotted=dotted)


def _belly(pen: Pen, look: Look, tone: Tone, region: Profile) -> None:
    """Draw spots or plates on the belly."""
    if look.belly_plates is None:
        pen.line(
            smooth([(60, 40), (70, 30), (90, 31), (110, 40), (90, 49), (70, 50), (60, 40)]),
            INK,
            PART,
            dotted=True,
        )
    elif look.belly_plates != "naked":
        step = 4.7
        xy = np.array(
            [(54 + step * 0.87 * i, 40 + step * (j + 0.5 * (i % 2))) for i in range(18) for j in range(-5, 5)]
        )
        xy = xy[region.inside(xy, 1.2)]
        if look.belly_plates == "partly":
            middle = (np.abs(xy[:, 1] - 40) < 0.62 * (region.bottom(xy[:, 0]) - 40)) & (xy[:, 0] > 60)
            xy = xy[~middle]
        pen.dots(xy, 2.45, tone.edge)
        pen.dots(xy, 1.85, PAPER if tone.mark == INK else "#b3aa9e")
    if look.belly_spots is None and look.pattern in {"light_spots", "dark_spots"}:
        pen.rings([(72.0, 36.0), (82.0, 44.0), (92.0, 36.0)], 2.3, tone.mark)
    elif look.belly_spots == "yes":
        xy = spread((44, 18, 124, 62), 6.2, profile=region, margin=2.6)
        pen.dots(xy, 2.3, tone.mark)


def _width_guide(pen: Pen, half: float, width: float) -> None:
    """Draw two measures beside the mouth: the width of the lips within the width of the head."""
    for x, reach, tick in ((43.0, half + 3.0, 1.6), (43.0, width, 1.6)):
        pen.segments(
            [((x - tick, 40 + side * reach), (x + tick, 40 + side * reach)) for side in (-1, 1)], INK, PART
        )
        pen.segments([((x, 40 - reach), (x, 40 + reach))], INK, PART)
