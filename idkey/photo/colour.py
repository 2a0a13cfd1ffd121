"""Colours of spots and ground in CIELAB (CIE 015:2018, D65, 2 degrees), by a white patch if there is one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from skimage.color import rgb2lab

from idkey.photo.picture import Picture
from idkey.photo.points import Points
from idkey.photo.spots import Spots

WHITE_SHARE = 0.9
"""Share of the light that a white patch throws back: paper, judgement."""
_CLIPPED, _PATCH, _LEAST_PATCH = 254, 0.006, 3.0
_TURNS = np.linspace(0, 2 * np.pi, 12, endpoint=False)
_CORE, _RINGS = 0.6, (0.0, 0.5, 1.0)


@dataclass(frozen=True, slots=True)
class Colours:
    """CIELAB of each spot and of the ground beside it, (n, 3) each.

    `why` says what is wrong with the colours, blank where they are balanced by a white patch.
    """

    spots: np.ndarray
    ground: np.ndarray
    why: str


def linear(srgb: np.ndarray) -> np.ndarray:
    """Return sRGB, 0 to 255, as shares of light (IEC 61966-2-1)."""
    share = np.asarray(srgb, dtype=float) / 255
    return np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)


def lab(light: np.ndarray) -> np.ndarray:
    """Return CIELAB of shares of light in red, green and blue of sRGB, (..., 3)."""
    light = np.clip(light, 0, 1)
    coded = np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055)
    return rgb2lab(coded)


def spot_colours(picture: Picture, points: Points, spots: Spots, gaps: np.ndarray) -> Colours:
    """Return the colours of spots and of the ground half-way across the `gaps` around them, in pixels."""
    radius = spots.diameter / 2
    cores = _sampled(picture, spots.centre, radius[:, None] * _CORE * np.array(_RINGS))
    grounds = _sampled(picture, spots.centre, (radius + np.maximum(gaps / 2, 1.5))[:, None])
    gain, why = _gain(picture, points)
    return Colours(lab(cores * gain), lab(grounds * gain), why)


def _gain(picture: Picture, points: Points) -> tuple[np.ndarray, str]:
    """Return by what the light of each channel is multiplied, and what is wrong with the white patch."""
    if not points.has("white"):
        return np.ones(3), "no white patch: the colour of the lamp is not taken out"
    x, y = points.at["white"]
    reach = max(_LEAST_PATCH, _PATCH * max(picture.width, picture.height))
    left, top = max(0, int(x - reach)), max(0, int(y - reach))
    patch = picture.pixels[top : int(y + reach) + 1, left : int(x + reach) + 1].reshape(-1, 3)
    if not len(patch):
        return np.ones(3), "the white patch lies outside the picture"
    white = np.median(patch, axis=0)
    if white.max() >= _CLIPPED:
        return np.ones(3), "the white patch is overexposed and tells nothing of the lamp"
    if white.min() < 40:
        return np.ones(3), "the white patch is too dark to be one"
    return WHITE_SHARE / linear(white), ""


def _sampled(picture: Picture, centres: np.ndarray, radii: np.ndarray) -> np.ndarray:
    """Return the median light on circles around places; `radii` are (n, circles)."""
    around = np.stack([np.cos(_TURNS), np.sin(_TURNS)], axis=-1)
    places = centres[:, None, None, :] + radii[:, :, None, None] * around
    columns = np.clip(places[..., 0].astype(int), 0, picture.width - 1)
    rows = np.clip(places[..., 1].astype(int), 0, picture.height - 1)
    found = picture.pixels[rows, columns].reshape(len(centres), -1, 3)
    return linear(np.median(found, axis=1)) if len(centres) else np.zeros((0, 3))
