"""Where spots are looked for: outlines of flank and head, as far as the points tell of them.

The points give the depth of the body at one place. That the outline runs from there to the snout and to the
tail as it does in suckermouth catfishes is judgement; so the outlines keep away from its edges.
"""

from __future__ import annotations

import numpy as np

from idkey.photo.points import Points

OUTLINED_BY = ("snout", "tail_base", "gill", "back", "belly")
"""The points that the outlines run by."""
_INSET = 0.86
"""Share of the depth of the body in which spots are looked for: its edges lie in shade, and turn away."""
_TAIL_DEPTH = 0.42
"""Depth at the tail base as a share of that below the dorsal fin: judgement."""
_TAIL_END, _BEHIND_GILL = 0.98, 0.015
_HEAD_START, _SNOUT_DEPTH = 0.25, 0.35
_STEPS = 24


def flank_outline(points: Points) -> np.ndarray:
    """Return the outline of the flank, (corners, 2), in pixels, by the points `OUTLINED_BY`."""
    gill = points.frame().of(np.array(points.at["gill"]))[0]
    return _band(points, gill + _BEHIND_GILL, _TAIL_END)


def head_outline(points: Points) -> np.ndarray:
    """Return the outline of the head from the snout, not its tip, to the gill opening, as `flank_outline`."""
    gill = points.frame().of(np.array(points.at["gill"]))[0]
    return _band(points, gill * _HEAD_START, gill)


def _band(points: Points, start: float, end: float) -> np.ndarray:
    frame = points.frame()
    back, belly = (frame.of(np.array(points.at[name])) for name in ("back", "belly"))
    tail = _TAIL_DEPTH * (back[1] - belly[1]) / 2
    u = np.linspace(start, max(end, start + 0.01), _STEPS)
    upper, lower = (_profile(u, place, end) for place, end in ((back, tail), (belly, -tail)))
    middle, half = (upper + lower) / 2, (upper - lower) / 2 * _INSET
    above, below = np.stack([u, middle + half], -1), np.stack([u, middle - half], -1)
    return frame.on_picture(np.concatenate([above, below[::-1]]))


def _profile(u: np.ndarray, place: np.ndarray, tail: float) -> np.ndarray:
    """Return how high an edge of the body runs: an arc from the snout to the place, a line on to the tail."""
    at = float(np.clip(place[0], 0.1, 0.9))
    rising = place[1] * np.sqrt(np.clip(1 - (1 - u / at) ** 2, 0, 1))
    return np.where(u < at, rising, place[1] + (tail - place[1]) * (u - at) / (1 - at))
