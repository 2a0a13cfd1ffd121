"""The pattern on a body: spots, worm-like lines or bars, the same every time and never past the outline."""

from __future__ import annotations

import numpy as np
from matplotlib.path import Path

from .draw_look import Look
from .draw_style import MARKS, Array, Pen, Profile, Tone, shape, smooth, spread

__all__ = ["draw_marks", "fin_spot_radius", "spot_radius"]

# Radii in the units of the side view, where the eye has 2.45, the pupil 1.35 and the nostril 0.9.
_SPOTS = {"small": 0.75, "medium": 1.6, "large": 2.55}
_VS_PUPIL = {"under_half": 0.5, "smaller": 0.95, "larger": 1.65}
_VS_NOSTRIL = {"smaller": 0.5, "equal": 0.9, "larger": 1.65}
# Least distance from spot to spot, in radii, and the largest least distance in units.
_GAPS = {"sparse": 6.0, "moderate": 3.7, "dense": 2.3}
_WIDEST_GAP = 9.4
_HEAD_END = 32.0
_TRUNK_END = 88.5


def spot_radius(look: Look) -> float:
    """Return the radius of the body spots in the units of the side view."""
    if look.spot_size:
        return _SPOTS[look.spot_size]
    if look.spot_vs_pupil:
        return _VS_PUPIL[look.spot_vs_pupil]
    return _VS_NOSTRIL[look.spot_vs_nostril] if look.spot_vs_nostril else _SPOTS["medium"]


def fin_spot_radius(look: Look) -> float | None:
    """Return the radius of the spots in the fins; 0 for none, None for a spotted fish if not known."""
    if look.fin_spots is None and look.pattern in {"light_spots", "dark_spots"}:
        return None
    return min(spot_radius(look) * 0.75, 1.25) if look.fin_spots == "yes" else 0.0


def draw_marks(
    pen: Pen,
    body: Profile,
    look: Look,
    tone: Tone,
    *,
    holes: list[tuple[float, float, float]],
    head_end: float = _HEAD_END,
    scale: float = 1.0,
    end: float = _TRUNK_END,
) -> None:
    """Draw the pattern onto a body: spots, lines or bars.

    Parameters
    ----------
    pen : Pen
        Pen in the units of the body.
    body : Profile
        The body that the marks lie on.
    look : Look
        The fish.
    tone : Tone
        Tone of the body.
    holes : list of (x, y, radius)
        Places to leave free, such as the eye.
    head_end, scale, end : float
        Where the head ends, the size of the units against the side view, where the body ends.
    """
    colour = MARKS.get(look.spot_colour or "", tone.mark) if look.pattern == "light_spots" else tone.mark
    if look.pattern in {"light_spots", "dark_spots"}:
        r = spot_radius(look) * scale
        gap = min(_GAPS[look.spot_density or "moderate"], _WIDEST_GAP * scale / r)
        sized = look.spot_size or look.spot_vs_nostril or look.spot_vs_pupil
        unknown = not (sized and look.spot_density)
        x0, (y0, y1) = body.top_points[0][0], _span(body)
        whole = look.head_spots == "same"
        trunk = spread(
            (x0 if whole else head_end + 1.5 * r, y0, end, y1),
            max(gap * r, 2 * r + 0.6 * scale),
            profile=body,
            margin=r + 0.5 * scale,
            holes=holes,
        )
        _spots(pen, trunk, r, colour, tone, hollow=unknown)
        if look.head_spots not in {"same", "none"}:
            rh = r * (0.55 if look.head_spots == "smaller" else 1.0)
            head = spread(
                (x0, y0, head_end, y1),
                max(gap * rh, 2 * rh + 0.6 * scale),
                profile=body,
                margin=rh + 0.6 * scale,
                holes=holes,
            )
            _spots(pen, head, rh, colour, tone, hollow=unknown or look.head_spots is None)
    elif look.pattern == "lines":
        pen.line(_worms(body, end), colour, 1.5 * scale)
    elif look.pattern == "bars":
        for x in np.linspace(body.top_points[0][0] + 12, end - 5, 6):
            v = np.linspace(0.05, 0.93, 7)
            lead = np.stack([x + 5.5 * (v - 0.5) - 2.1 * (1 - 0.5 * v), np.zeros(7)], axis=1)
            rear = lead[::-1] + np.stack([2 * 2.1 * (1 - 0.5 * v[::-1]), np.zeros(7)], axis=1)
            lead[:, 1], rear[:, 1] = body.at(lead[:, 0], v), body.at(rear[:, 0], v[::-1])
            pen.area(shape([tuple(p) for p in lead], [tuple(p) for p in rear]), colour, None)


def _spots(pen: Pen, xy: Array, radius: float, colour: str, tone: Tone, *, hollow: bool) -> None:
    pen.dots(xy, radius, colour)
    if hollow:
        pen.dots(xy, radius * 0.68, tone.face)


def _worms(body: Profile, end: float) -> list[Path]:
    """Return worm-like lines along the body, broken here and there."""
    lines = []
    x0 = body.top_points[0][0]
    for row, v in enumerate((0.16, 0.34, 0.52, 0.7, 0.88)):
        start, stop = x0 + (21.0, 13.0, 8.0, 4.5, 3.0)[row], end - (1.5 if row % 2 == 0 else 17.0)
        cuts = np.linspace(start, stop, 5 if row % 2 == 0 else 4)
        cuts[1:-1] += 4.0 * ((row * 0.618) % 1.0 - 0.5) + 2.0
        for left, right in zip(cuts[:-1], cuts[1:] - 2.2, strict=True):
            x = np.linspace(left, right, 7)
            sway = (
                0.055
                * np.sin(x / 2.0 + 0.9 * row)
                * np.minimum(1.0, 12.0 / (body.bottom(x) - body.top(x)) + 0.3)
            )
            lines.append(
                smooth(
                    [(a, float(body.at(a, v + b))) for a, b in zip(x.tolist(), sway.tolist(), strict=True)]
                )
            )
    return lines


def _span(body: Profile) -> tuple[float, float]:
    return min(y for _, y in body.top_points), max(y for _, y in body.bottom_points)
