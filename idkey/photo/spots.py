"""The spots inside flank and head of a fish on a picture: found, and put right by hand."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from idkey.arguments import checked, shown
from idkey.errors import IdkeyError
from idkey.photo.points import json_of

_DIGITS = 2
_RIGHT = "spots: give outlines of three corners or more, in pixels, as to_json() does"


@checked
@dataclass(frozen=True, slots=True, eq=False)
class Spots:
    """Spots on a picture, n of them, in pixels of the upright picture.

    `outlines` are closed polygons, (corners, 2) each; `head` and `by_hand`, (n,), say which lie on the head,
    and which a person added; `light` is None where it is not known whether they are lighter than the ground.
    """

    outlines: Sequence[Any] = ()
    head: Sequence[bool] = ()
    by_hand: Sequence[bool] = ()
    light: bool | None = None

    def __post_init__(self) -> None:
        for name in ("head", "by_hand"):
            flags = np.array(
                getattr(self, name) if len(getattr(self, name)) else [False] * len(self), dtype=bool
            )
            if flags.shape != (len(self),):
                raise IdkeyError(f"spots: {name}: {flags.size} values for {len(self)} spots")
            object.__setattr__(self, name, flags)
        outlines = tuple(map(_outline, self.outlines))
        object.__setattr__(self, "outlines", outlines)

    def __len__(self) -> int:
        return len(self.outlines)

    @property
    def area(self) -> np.ndarray:
        """Area of each, in square pixels, by the formula of the shoelace."""
        return np.array([abs(_doubled(line).sum()) / 2 for line in self.outlines])

    @property
    def diameter(self) -> np.ndarray:
        """Diameter of the disc of the same area, in pixels."""
        return 2 * np.sqrt(self.area / np.pi)

    @property
    def roundness(self) -> np.ndarray:
        """4 pi times the area by the square of the girth: 1 of a disc, less of what is long or jagged."""
        girth = np.array([np.hypot(*(np.roll(line, -1, axis=0) - line).T).sum() for line in self.outlines])
        return 4 * np.pi * self.area / np.maximum(girth, 1e-9) ** 2

    @property
    def centre(self) -> np.ndarray:
        """Centre of gravity of each, (n, 2)."""
        return np.array([_centre(line) for line in self.outlines]).reshape(-1, 2)

    def only(self, kept: np.ndarray) -> Spots:
        """Return some of the spots, by flag or by place."""
        try:
            at = np.arange(len(self))[kept]
        except IndexError:
            raise IdkeyError(f"spots: {shown(kept)}: give places below {len(self)}, or a flag each") from None
        return Spots(tuple(self.outlines[i] for i in at), self.head[at], self.by_hand[at], self.light)

    def with_spot(self, outline: np.ndarray, head: bool = False) -> Spots:
        """Return the spots and one that a person outlined."""
        return Spots((*self.outlines, outline), [*self.head, head], [*self.by_hand, True], self.light)

    def at(self, x: float, y: float) -> int | None:
        """Return which spot lies at a place; None where none does."""
        inside = (i for i, line in enumerate(self.outlines) if _encloses(line, x, y))
        return next(inside, None)

    def without(self, index: int) -> Spots:
        """Return the spots but one."""
        return self.only(np.arange(len(self)) != index)

    def to_json(self) -> str:
        """Write the spots as JSON; outlines to a hundredth of a pixel."""
        lines = [np.round(line, _DIGITS).tolist() for line in self.outlines]
        flags = {"head": self.head.tolist(), "by_hand": self.by_hand.tolist(), "light": self.light}
        return json.dumps({"outlines": lines, **flags})

    @classmethod
    def from_json(cls, text: str) -> Spots:
        """Read spots from JSON. Raises IdkeyError."""
        read = json_of(text, "spots")
        try:
            lines = tuple(np.array(line, dtype=float) for line in read["outlines"])
            light = read.get("light")
            return cls(lines, read["head"], read["by_hand"], None if light is None else bool(light))
        except (KeyError, TypeError, ValueError):
            raise IdkeyError(_RIGHT) from None


def _outline(line: Any) -> np.ndarray:
    try:
        corners = np.array(line, dtype=float).reshape(-1, 2)
    except (TypeError, ValueError, OverflowError):
        raise IdkeyError(_RIGHT) from None
    if len(corners) < 3 or not np.isfinite(corners).all():
        raise IdkeyError(_RIGHT)
    return corners


def _doubled(line: np.ndarray) -> np.ndarray:
    """Return twice the signed area under each side of a polygon."""
    x, y = line.T
    return x * np.roll(y, -1) - np.roll(x, -1) * y


def _centre(line: np.ndarray) -> np.ndarray:
    near = line - line[0]
    weight = _doubled(near)
    total = weight.sum()
    if not total:
        return line.mean(axis=0)
    return line[0] + (weight[:, None] * (near + np.roll(near, -1, axis=0))).sum(axis=0) / (3 * total)


def _encloses(line: np.ndarray, x: float, y: float) -> bool:
    """Whether a polygon holds a place: a ray to the right crosses its edge an odd number of times."""
    ax, ay = line.T
    bx, by = np.roll(line, -1, axis=0).T
    crossing = (ay > y) != (by > y)
    with np.errstate(divide="ignore", invalid="ignore"):
        at = ax + (y - ay) / (by - ay) * (bx - ax)
    return bool((crossing & (x < at)).sum() % 2)
