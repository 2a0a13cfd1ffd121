"""The unpaired fins, which carry most of the traits: tail, dorsal and adipose fin."""

from __future__ import annotations

import numpy as np
from matplotlib.path import Path

from .draw_style import CONTOUR, INK, MARKS, PAPER, PART, Array, Pen, Point, Tone, shape, smooth, thinned

__all__ = ["draw_adipose", "draw_dorsal", "draw_folded_dorsal", "draw_tail_fin"]

_EDGES = {"dark": INK, "white": PAPER, "orange": MARKS["orange"]}

# Tail: length of the upper lobe, of the middle, of the lower lobe, sharpness of the hollow, streamers.
_TAILS = {
    "straight": (20.0, 21.6, 24.5, 1.0, 0.0),
    "concave": (22.5, 19.0, 26.0, 2.0, 0.0),
    "forked": (25.0, 10.5, 28.0, 1.15, 0.0),
    "streamers": (20.0, 12.0, 21.5, 1.5, 9.8),
}


def draw_tail_fin(
    pen: Pen, fork: str | None, tone: Tone, *, edging: str | None = "none", spots: float | None = 0.0
) -> None:
    """Draw the tail fin, its base from (0, -4.8) to (0, 4.8), spread to the right.

    Parameters
    ----------
    pen : Pen
        Pen placed at the base of the fin.
    fork, edging : str or None
        States of the traits; None is dotted.
    tone : Tone
        Tone of the fin.
    spots : float or None
        Radius of the spots, 0 for none, None where it is not known whether there are any.
    """
    upper, middle, lower, power, thread = _TAILS[fork or "concave"]
    s = np.linspace(-1.0, 1.0, 17)
    s = np.sign(s) * np.abs(s) ** 0.75
    tip_y = np.where(s < 0, 12.2, 13.2) - (1.2 if fork == "streamers" else 0.0)
    edge = np.stack(
        [middle + (np.where(s < 0, upper, lower) - middle) * np.abs(s) ** power, s * tip_y], axis=1
    )
    edge[:, 0] += thread * np.where(s < 0, 1.0, 1.12) * np.abs(s) ** 16
    if fork == "straight":
        edge[:, 0] = upper + (lower - upper) * (s + 1) / 2
    base = np.stack([np.zeros_like(s), 4.6 * s], axis=1)
    far = [(16.0, -10.6), (16.0, 11.4)] if thread else []
    margins = [
        [(-1.5, -4.6), (2.0, -5.6), (9.0, -9.2), *far[:1], _point(edge[0])],
        [_point(edge[-1]), *far[1:], (9.0, 9.6), (2.0, 5.6), (-1.5, 4.6)],
    ]
    outline = shape(
        [(-1.5, 4.6), (-1.9, 0.0), (-1.5, -4.6)],
        margins[0],
        [_point(p) for p in edge],
        margins[1],
    )
    pen.area(outline, tone.face, tone.edge, PART, dotted=fork is None)
    rays = np.linspace(0, 16, 9).astype(int)[1:-1]
    pen.segments([(_point(base[i]), _point(base[i] + (edge[i] - base[i]) * 0.97)) for i in rays], tone.fine)
    _edge_band(pen, base, edge, edging, 0.8)
    if fork is not None:
        pen.line([smooth(margins[0]), smooth(margins[1])], tone.edge, CONTOUR)
    if spots is None:
        pen.rings(_fin_spots(base, edge, (3, 8, 13), (0.55,), 2.6), 1.1, tone.mark)
    elif spots:
        pen.dots(_fin_spots(base, edge, (2, 5, 8, 11, 14), (0.28, 0.46, 0.63), 2.3 * spots), spots, tone.mark)


def draw_dorsal(
    pen: Pen,
    back: Array,
    tone: Tone,
    *,
    height: str | None = "normal",
    edging: str | None = "none",
    spots: float | None = 0.0,
    reach: str | None = None,
) -> Array:
    """Draw the spread dorsal fin.

    Parameters
    ----------
    pen : Pen
        Pen in the units of the fish.
    back : array of shape (n, 2)
        Bases of the spine and of the soft rays, front to rear.
    tone : Tone
        Tone of the fin.
    height, edging, reach : str or None
        States of the traits; an unknown height is dotted.
    spots : float or None
        Radius of the spots, 0 for none, None where it is not known whether there are any.

    Returns
    -------
    array of shape (2,)
        Tip of the last ray.
    """
    t = np.linspace(0.0, 1.0, len(back))
    tall = height == "tall"
    rise = (33.0 if tall else 23.4) * (1 - (0.1 * t + 0.22 * t**2) - (0.12 if tall else 0.2) * t**4)
    lean = 4.5 + (7.0 if tall else 3.0) * t + (1.5 * t if reach != "gap" else 0.0)
    tips = back + np.stack([lean, -rise], axis=1)
    outline = shape(
        [_point(back[0]), _point(back[0] + [1.6, -rise[0] * 0.5]), _point(tips[0])],
        [_point(p) for p in tips],
        [_point(tips[-1]), _point(back[-1] + [1.9, -rise[-1] * 0.45]), _point(back[-1] + [0.6, 0.4])],
        [_point(back[-1]), _point(back[len(back) // 2]), _point(back[0])],
    )
    pen.area(outline, tone.face, tone.edge, PART, dotted=height is None)
    pen.segments(
        [(_point(b), _point(b + (e - b) * 0.97)) for b, e in zip(back[1:-1], tips[1:-1], strict=True)],
        tone.fine,
    )
    _edge_band(pen, back, tips, edging, 0.8)
    if height is not None:
        pen.line(
            smooth([_point(back[0]), _point(back[0] + [1.6, -rise[0] * 0.5]), _point(tips[0])]),
            tone.edge,
            CONTOUR * 1.25,
        )
    if spots is None:
        pen.rings(_fin_spots(back, tips, (1, 3, 5), (0.45,), 2.6), 1.1, tone.mark)
    elif spots:
        middle = (back[1:] + back[:-1]) / 2
        pen.dots(
            _fin_spots(
                middle,
                (tips[1:] + tips[:-1]) / 2,
                range(0, len(middle) - 2, 2),
                (0.2, 0.42, 0.62),
                2.3 * spots,
            ),
            spots,
            tone.mark,
        )
    return np.asarray(tips[-1])


def draw_folded_dorsal(pen: Pen, back: Array, adipose: Array, tone: Tone, reach: str) -> None:
    """Draw the dorsal fin laid back, so far as its reach says.

    Parameters
    ----------
    pen, back, tone
        As for `draw_dorsal`.
    adipose : array of shape (2, 2)
        Base and tip of the spine of the adipose fin.
    reach : str
        State of the trait.
    """
    end = {
        "gap": back[-1] + [3.5, -2.0],
        "reaches": adipose[0] + [1.2, -1.6],
        "joined": back[-1] + [6.0, -3.6],
    }[reach]
    front = back[0]
    span = end - front
    ridge = [
        front,
        front + [5.0, -4.4],
        front + [span[0] * 0.5, -6.0],
        front + [span[0] * 0.8, span[1] - 3.4],
        end,
    ]
    if reach == "joined":
        web = shape(
            [_point(end), _point((end + adipose[1]) / 2 + [0, 1.4]), _point(adipose[1])],
            [_point(adipose[1]), _point(adipose[0])],
            [_point(adipose[0]), _point(back[-1])],
            [_point(back[-1]), _point(end)],
        )
        pen.area(web, tone.face, tone.edge, PART)
        between = [
            (back[-1] + (adipose[0] - back[-1]) * k + [0.0, -0.5], end + (adipose[1] - end) * k + [0.0, 1.2])
            for k in (0.2, 0.4, 0.6, 0.8)
        ]
        pen.segments([(_point(a), _point(b)) for a, b in between], tone.fine)
    pen.area(
        shape([_point(p) for p in ridge], [_point(end), _point(back[-1])], [_point(p) for p in back[::-1]]),
        tone.face,
        tone.edge,
        PART,
    )
    k = np.linspace(0.0, 1.0, len(back) - 1)[:, None]
    fore, aft = ridge[2] + (ridge[3] - ridge[2]) * 2 * k, ridge[3] + (end - ridge[3]) * (2 * k - 1)
    rear = np.where(k < 0.5, fore, aft)
    pen.segments(
        [(_point(b), _point(b + (e - b) * 0.9)) for b, e in zip(back[:-1], rear, strict=True)], tone.fine
    )
    pen.line(smooth([_point(p) for p in ridge[:4]]), tone.edge, CONTOUR * 1.25)


def draw_adipose(pen: Pen, spine: Array, rear: Point, tone: Tone, present: str | None = "present") -> None:
    """Draw the small fin with its spine, from the base and tip of the spine and the rear end of its base."""
    base, tip = spine
    if present == "absent":
        return
    fin = shape(
        [_point(base), _point(tip)], [_point(tip), (tip[0] + 0.4, tip[1] + 3.0), rear], [rear, _point(base)]
    )
    pen.area(fin, tone.face, tone.edge, PART, dotted=present is None)
    if present:
        pen.line(Path([_point(base), _point(tip)]), tone.edge, CONTOUR * 1.25)


def _edge_band(pen: Pen, base: Array, edge: Array, edging: str | None, share: float) -> None:
    """Draw the coloured seam between the share of the rays and their ends."""
    inner = base + (edge - base) * share
    if edging is None:
        pen.line(smooth([_point(p) for p in inner]), INK, PART, dotted=True)
    if edging not in _EDGES:
        return
    band = shape(
        [_point(p) for p in edge],
        [_point(edge[-1]), _point(inner[-1])],
        [_point(p) for p in inner[::-1]],
        [_point(inner[0]), _point(edge[0])],
    )
    pen.area(band, _EDGES[edging], INK, PART)


def _fin_spots(
    base: Array, edge: Array, rays: range | tuple[int, ...], shares: tuple[float, ...], distance: float
) -> Array:
    """Return spots in rows across the fin, every other row shifted by half a ray."""
    xy = np.array(
        [
            base[i] + (edge[i] - base[i]) * (share + 0.08 * (k % 2))
            for share in shares[::-1]
            for k, i in enumerate(rays)
        ]
    )
    return thinned(xy, distance)


def _point(p: Array) -> Point:
    return float(p[0]), float(p[1])
