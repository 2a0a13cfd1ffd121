"""The points that are set on a side picture of a fish, and the fish they span."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np

from idkey.arguments import checked, shown
from idkey.errors import IdkeyError, one_of

_MOST_COORDINATE, _MOST_MM = 1e5, 2000.0


@dataclass(frozen=True, slots=True)
class PointKind:
    """One point: its name, what it is called, where it is set, and whether it is set on a sharp edge."""

    name: str
    label: str
    where: str
    sharp: bool = False


KINDS: tuple[PointKind, ...] = (
    PointKind("snout", "Snout", "The foremost point of the head, without barbels or tentacles."),
    PointKind("tail_base", "Base of the tail fin", "Where the body ends and the rays of the tail fin begin."),
    PointKind("gill", "Gill opening", "The rearmost edge of the gill cover."),
    PointKind("eye_front", "Eye, front edge", "The edge of the eye opening towards the snout.", True),
    PointKind("eye_back", "Eye, rear edge", "The edge of the eye opening away from the snout.", True),
    PointKind("pupil_front", "Pupil, front edge", "The edge of the dark pupil towards the snout.", True),
    PointKind("pupil_back", "Pupil, rear edge", "The edge of the dark pupil away from the snout.", True),
    PointKind("nostril_front", "Nostril, front edge", "The edge of the opening towards the snout.", True),
    PointKind("nostril_back", "Nostril, rear edge", "The edge of the opening away from the snout.", True),
    PointKind("back", "Back below the dorsal fin", "Where the first ray of the dorsal fin leaves the back."),
    PointKind(
        "belly", "Belly below the dorsal fin", "The lower edge of the body, straight below that point."
    ),
    PointKind("dorsal_tip", "Tip of the dorsal fin", "The tip of the longest ray; the fin is spread."),
    PointKind("tail_upper", "Tail fin, upper tip", "The tip of the upper lobe; the fin is spread."),
    PointKind("tail_middle", "Tail fin, middle", "The rear edge of the fin at its middle rays."),
    PointKind("tail_lower", "Tail fin, lower tip", "The tip of the lower lobe; the fin is spread."),
    PointKind(
        "ruler_a",
        "Ruler, one mark",
        "A mark of a ruler that lies beside the fish, as near as the fish.",
        True,
    ),
    PointKind(
        "ruler_b", "Ruler, another mark", "Another mark of the same ruler, as far off as can be.", True
    ),
    PointKind("white", "White patch", "The middle of something white in the same light, such as paper."),
)
"""The points, in the order in which they are asked for; each may be left out."""
NAMES = tuple(kind.name for kind in KINDS)
_KIND = {kind.name: kind for kind in KINDS}

_SET_AT_LEAST, _SHARP, _SOFT = 1.0, 0.0005, 0.0015


@checked
@dataclass(frozen=True, slots=True)
class Points:
    """Points set on a picture, name -> (x, y), in pixels of the upright picture; see `KINDS`.

    `ruler_mm` is how far apart the two marks of the ruler are, in millimetres.
    """

    at: Mapping[str, Any]
    ruler_mm: float | None = None

    def __post_init__(self) -> None:
        read = {}
        for name, place in self.at.items():
            read[_kind(name).name] = _place(name, place)
        object.__setattr__(self, "at", MappingProxyType({name: read[name] for name in NAMES if name in read}))
        if self.ruler_mm is not None and not 0 < self.ruler_mm <= _MOST_MM:
            msg = f"points: ruler_mm: {shown(self.ruler_mm)}: give the millimetres between the two marks"
            raise IdkeyError(f"{msg}, more than 0 and at most {_MOST_MM:g}")

    def has(self, *names: str) -> bool:
        """Whether all of these points are set."""
        return all(name in self.at for name in names)

    def moved(self, name: str, place: tuple[float, float] | None) -> Points:
        """Return the points with one of them set anew, or taken away."""
        rest = {known: where for known, where in self.at.items() if known != name}
        return Points(rest if place is None else {**rest, name: place}, self.ruler_mm)

    def to_json(self) -> str:
        """Write the points as JSON."""
        return json.dumps({"points": {n: list(p) for n, p in self.at.items()}, "ruler_mm": self.ruler_mm})

    @classmethod
    def from_json(cls, text: str) -> Points:
        """Read points from JSON. Raises IdkeyError."""
        read = json_of(text, "points")
        if not isinstance(read.get("points"), dict):
            raise IdkeyError(f"points: {shown(text)}: write them as to_json() does")
        return cls(read["points"], read.get("ruler_mm"))

    @property
    def facing(self) -> str:
        """Which way the fish looks, "left" or "right"; blank where snout or tail base is not set."""
        if not self.has("snout", "tail_base"):
            return ""
        return "left" if self.at["snout"][0] < self.at["tail_base"][0] else "right"

    def sd(self, name: str) -> float:
        """Standard deviation with which this point is set, in pixels along each axis: judgement.

        One pixel, and 0.05 % of the standard length for a sharp edge, 0.15 % for a place on the body.
        """
        return _SET_AT_LEAST + (_SHARP if _kind(name).sharp else _SOFT) * self.length

    @property
    def length(self) -> float:
        """Snout to tail base in pixels; 0 where one is not set."""
        return math.dist(self.at["snout"], self.at["tail_base"]) if self.has("snout", "tail_base") else 0.0

    def frame(self) -> Frame:
        """Return the axes of the fish. Raises IdkeyError where snout or tail base is not set."""
        if not self.has("snout", "tail_base"):
            raise IdkeyError("points: snout and tail_base are not set; set both ends of the body first")
        start = np.array(self.at["snout"])
        along = np.array(self.at["tail_base"]) - start
        length = float(np.hypot(*along))
        if length < _SET_AT_LEAST:
            raise IdkeyError(
                "points: snout and tail_base stand in one place; set them at both ends of the body"
            )
        along /= length
        up = np.array([along[1], -along[0]])
        above = next(
            (
                np.array(self.at[a]) - (start if b not in self.at else np.array(self.at[b]))
                for a, b in _UPWARDS
                if a in self.at
            ),
            np.array([0.0, -1.0]),
        )
        return Frame(start, along, up if up @ above >= 0 else -up, length)


_UPWARDS = (("dorsal_tip", "back"), ("back", "belly"))
"""Points of which the first lies further towards the back."""


@dataclass(frozen=True, slots=True)
class Frame:
    """Axes of a fish on a picture: from the snout to the tail, and from the axis to the back, by its length.

    A place is (u, v): 0 at the snout and 1 at the tail base, and above the line between them, whichever way
    the fish looks and however the picture is tilted.
    """

    snout: np.ndarray
    along: np.ndarray
    up: np.ndarray
    length: float

    def of(self, places: np.ndarray) -> np.ndarray:
        """Return places of the picture, (..., 2), in the frame."""
        away = (np.asarray(places, dtype=float) - self.snout) / self.length
        return np.stack([away @ self.along, away @ self.up], axis=-1)

    def on_picture(self, places: np.ndarray) -> np.ndarray:
        """Return places of the frame, (..., 2), in pixels of the picture."""
        u, v = np.moveaxis(np.asarray(places, dtype=float) * self.length, -1, 0)
        return self.snout + u[..., None] * self.along + v[..., None] * self.up


def json_of(text: str, what: str) -> dict[str, Any]:
    """Read an object from JSON. Raises IdkeyError."""
    try:
        read = json.loads(text)
    except (ValueError, RecursionError):
        read = None
    if not isinstance(read, dict):
        raise IdkeyError(f"{what}: {shown(text)}: no JSON object; write it as to_json() does")
    return read


def _kind(name: str) -> PointKind:
    if name not in _KIND:
        raise IdkeyError(f"points: {shown(name)}: {one_of(name, NAMES, 'a point')}")
    return _KIND[name]


def _place(name: str, place: Any) -> tuple[float, float]:
    try:
        x, y = (math.nan, math.nan) if isinstance(place, str) else (float(value) for value in place)
    except (TypeError, ValueError, OverflowError):
        x = y = math.nan
    if not (abs(x) <= _MOST_COORDINATE and abs(y) <= _MOST_COORDINATE):
        raise IdkeyError(f"points: {name}: {shown(place)}: give a pair (x, y) in pixels of the picture")
    return x, y
