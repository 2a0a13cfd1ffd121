"""Spots found on flank and head: what stands out at the scale of a spot, cut out at half its height.

The picture is taken as light, not as coded, so that a blurred edge lies where it is half as bright; shade is
divided out. Places come from the Laplacian of Gaussians over several scales (Lindeberg 1998), touching spots
are parted by a watershed. What is much whiter than the rest and long, or far larger or fainter, is left out:
glare on wet plates is not told from spots in every case, and the rest is left to a click.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from PIL import Image
from scipy import ndimage
from scipy.special import ive
from skimage.feature import peak_local_max
from skimage.measure import find_contours, points_in_poly
from skimage.segmentation import watershed

from idkey.arguments import checked
from idkey.errors import IdkeyError
from idkey.photo.colour import linear
from idkey.photo.picture import Picture
from idkey.photo.points import Points
from idkey.photo.region import OUTLINED_BY, flank_outline, head_outline
from idkey.photo.spots import Spots

_WORKED_LENGTH = 1000.0
"""Length in pixels of the fish where spots are looked for; a larger picture is made smaller for it."""
_SCALES = np.geomspace(0.0035, 0.022, 7)
"""Radii looked for, over the square root of two, as shares of the standard length."""
_SHADE, _LEAST_RESPONSE, _OF_STRONG, _STRONG = 0.06, 0.03, 0.35, 12
_FOOT, _MANY, _WIDE, _SCALES_APART = 0.08, 0.05, 0.2, 1.9
_LEAST_CONTRAST, _LEAST_ROUND, _LEAST_PIXELS = 0.12, 0.55, 6.0
_LARGEST, _SMALLEST = 2.2, 0.4  # against the median of the spots
_FAINTEST = 0.5  # against the clearer spots
_GLARING, _LONG, _DAZZLING, _MOST_LONG = 1.45, 1.4, 2.2, 2.4
_EYE_RIM = 1.35
_CORE, _BESIDE, _SMEARED = 0.6, 2.1, 0.5
_GRAIN, _OWN_REACH = 0.15, 1.2  # of the scale of a spot, and of its radius


@dataclass(frozen=True, slots=True)
class _Sight:
    """A part of a picture, made smaller: `light` with the shade divided out, 1 where it is as all around.

    `scale` and `corner` lead back to the picture; `raw` is the light as it is, 0 to 1, the least of the three
    channels; `inside` is 1 on the flank, 2 on the head, 0 elsewhere. `typical` is the light of the ground, as
    spots cover less than half.
    """

    light: np.ndarray
    raw: np.ndarray
    inside: np.ndarray
    typical: float
    corner: np.ndarray
    scale: float
    length: float

    def on_picture(self, line: np.ndarray) -> np.ndarray:
        """Return rows and columns, (n, 2), as x and y on the picture."""
        return self.corner + (line[:, ::-1] + 0.5) / self.scale


@checked
def find_spots(
    picture: Picture, points: Points | Mapping[str, tuple[float, float]], light: bool | None = None
) -> Spots:
    """Find the spots inside flank and head, lighter or darker than the ground: whichever are the rounder.

    The points of snout, tail base, gill, back and belly say where to look. With `light` only lighter ones
    are looked for, or only darker. Raises IdkeyError where one of these points is missing.
    """
    points = points if isinstance(points, Points) else Points(points)
    sight = _seen(picture, points)
    each = [_found(sight, sign, *seen) for sign, seen in _responses(sight, light).items()]
    spots, _ = max(each, key=lambda pair: pair[1])
    return spots


@checked
def toggled(picture: Picture, points: Points, spots: Spots, x: float, y: float) -> Spots:
    """Return the spots after a click at a place: without the spot that lies there, or with the one that does.

    Raises IdkeyError where neither is so.
    """
    at = spots.at(x, y)
    if at is not None:
        return spots.without(at)
    sight = _seen(picture, points)
    row, column = np.array([y, x]) * sight.scale - sight.corner[::-1] * sight.scale - 0.5
    height, width = sight.light.shape
    if 0 <= row < height and 0 <= column < width:
        for sign, (response, scale) in _responses(sight, spots.light).items():
            near = _peak_near(response, row, column, 0.012 * sight.length)
            basins = watershed(
                -response,
                _marked(response.shape, np.array([near])),
                mask=response > _FOOT * response[tuple(near)],
            )
            cut = _cut_out(sight, sign, basins, 1, near, float(scale[tuple(near)]), _LEAST_CONTRAST / 2)
            if cut is not None:
                # Beyond the outlines a click still says which part is meant by what lies behind the gill.
                gill = points.frame().of(np.array(points.at["gill"]))[0]
                head = bool(points.frame().of(np.array([x, y]))[0] < gill)
                return replace(spots.with_spot(cut.line(sight), head), light=sign > 0)
    raise IdkeyError(
        f"spots: ({x:.0f}, {y:.0f}): nothing there stands out from the ground; outline it by hand"
    )


# -- the part of the picture -----------------------------------------------------------------------------


def _seen(picture: Picture, points: Points) -> _Sight:
    if not points.has(*OUTLINED_BY):
        right = f"set {', '.join(OUTLINED_BY[:-1])} and {OUTLINED_BY[-1]} first"
        raise IdkeyError(f"points: {', '.join(points.at) or 'none'}: flank and head are not known; {right}")
    flank, head = flank_outline(points), head_outline(points)
    length = points.length
    scale = min(1.0, _WORKED_LENGTH / length)
    corners = np.concatenate([flank, head])
    margin = 0.05 * length
    low = np.clip(np.floor(corners.min(axis=0) - margin), 0, None).astype(int)
    high = np.minimum(np.ceil(corners.max(axis=0) + margin), [picture.width, picture.height]).astype(int)
    if (high - low < 8).any():
        raise IdkeyError(
            f"points: snout {points.at['snout']}: the fish lies outside the picture; set it anew"
        )
    part = picture.pixels[low[1] : high[1], low[0] : high[0]]
    size = np.maximum(np.round((high - low) * scale), 1).astype(int)
    if scale < 1:
        part = np.asarray(Image.fromarray(part).resize(tuple(size), Image.Resampling.BOX))
    light = linear(np.arange(256))[part]
    sight_length = length * scale
    inside = _filled(light.shape[:2], (flank - low) * scale) + 2 * _filled(
        light.shape[:2], (head - low) * scale
    )
    inside = np.where(inside > 2, 1, inside)
    for a, b in (("eye_front", "eye_back"), ("nostril_front", "nostril_back")):
        if points.has(a, b):
            centre = ((np.array(points.at[a]) + points.at[b]) / 2 - low) * scale
            reach = np.hypot(*np.subtract(points.at[a], points.at[b])) / 2 * scale * _EYE_RIM + 1
            rows, columns = np.ogrid[: inside.shape[0], : inside.shape[1]]
            inside[np.hypot(columns + 0.5 - centre[0], rows + 0.5 - centre[1]) < reach] = 0
    # Red and green: all spots, white to orange, are far lighter or darker in these than their ground.
    grey = light[..., :2].mean(axis=2)
    body = inside > 0
    wide = _SHADE * sight_length
    around = ndimage.gaussian_filter(np.where(body, grey, 0), wide, truncate=2.5)
    around /= np.maximum(ndimage.gaussian_filter(body.astype(float), wide, truncate=2.5), 1e-3)
    grey /= np.maximum(around, 1e-4)
    typical = float(np.median(grey[body])) if body.any() else 1.0
    return _Sight(grey, light.min(axis=2), inside, typical, low.astype(float), scale, sight_length)


def _filled(shape: tuple[int, ...], outline: np.ndarray) -> np.ndarray:
    rows, columns = np.mgrid[: shape[0], : shape[1]]
    places = np.stack([columns.ravel(), rows.ravel()], -1) + 0.5
    return points_in_poly(places, outline).reshape(shape).astype(int)


# -- the spots -------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Cut:
    edge: np.ndarray
    place: np.ndarray
    contrast: float
    shine: float
    long: float
    blur: float

    def line(self, sight: _Sight, blur: float | None = None) -> np.ndarray:
        """Return the outline on the picture, by the blur of the whole picture where that is known."""
        return sight.on_picture(_unblurred(self.edge, self.blur if blur is None else blur))


def _responses(sight: _Sight, light: bool | None) -> dict[int, tuple[np.ndarray, np.ndarray]]:
    """Return how much each place stands out at its best scale, and that scale in pixels, by sign."""
    sigmas = np.maximum(_SCALES * sight.length, 1.0)
    image = np.clip(sight.light, 0, 4)
    stack = np.array([-(s**2) * ndimage.gaussian_laplace(image, s, truncate=3) for s in sigmas])
    signs = (1, -1) if light is None else (1 if light else -1,)
    return {sign: _best(sight, sign * stack, sigmas) for sign in signs}


def _best(sight: _Sight, stack: np.ndarray, sigmas: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    # Spots of one fish are of one size, or nearly: of the scales those count at which most stands out. By
    # sigma, since what is wide stands for more than the grain within it.
    many = max(50, int(_MANY * (sight.inside > 0).sum()))
    weight = [
        s**_WIDE * np.sort(r[sight.inside > 0])[-many:].mean() for s, r in zip(sigmas, stack, strict=True)
    ]
    typical = sigmas[int(np.argmax(weight))]
    near = (sigmas >= typical / _SCALES_APART) & (sigmas <= typical * _SCALES_APART)
    stack, sigmas = stack[near], sigmas[near]
    best = stack.argmax(axis=0)
    return np.take_along_axis(stack, best[None], axis=0)[0], sigmas[best]


def _found(sight: _Sight, sign: int, response: np.ndarray, scale: np.ndarray) -> tuple[Spots, float]:
    """Return the spots that are lighter (1) or darker (-1), and how good they look together."""
    places = peak_local_max(
        response, min_distance=2, threshold_abs=_LEAST_RESPONSE, labels=(sight.inside > 0).astype(int)
    )
    if not len(places):
        return Spots(light=sign > 0), 0.0
    strength = response[tuple(places.T)]
    # The strong ones are spots if anything is; what is far weaker is the grain of the skin.
    strong = np.median(np.sort(strength)[-_STRONG:])
    places = _apart(places[strength >= _OF_STRONG * strong], scale)
    basins = watershed(-response, _marked(response.shape, places), mask=response > _FOOT * strong)
    cuts = []
    for i, place in enumerate(places, start=1):
        cut = _cut_out(sight, sign, basins, i, place, float(scale[tuple(place)]), _LEAST_CONTRAST)
        if cut is not None and sight.inside[tuple(place)]:
            cuts.append(cut)
    if not cuts:
        return Spots(light=sign > 0), 0.0
    head = np.array([sight.inside[tuple(cut.place)] == 2 for cut in cuts])
    # The lens blurs all of them alike.
    blur = float(np.median([cut.blur for cut in cuts]))
    spots = Spots(tuple(cut.line(sight, blur) for cut in cuts), head, [False] * len(cuts), sign > 0)
    contrast, shine, long = np.array([(cut.contrast, cut.shine, cut.long) for cut in cuts]).T
    width, round_ = spots.diameter, spots.roundness
    typical = np.median(width)
    kept = (round_ >= _LEAST_ROUND) & (width < _LARGEST * typical) & (width > _SMALLEST * typical)
    kept &= contrast > _FAINTEST * np.quantile(contrast, 0.8)
    if sign > 0:
        brighter = shine / max(np.median(shine), 1e-6)
        glare = (brighter > _DAZZLING) | ((brighter > _GLARING) & (long > _LONG))
        kept &= ~glare & (long < _MOST_LONG)
    spots = spots.only(kept)
    return spots, float(
        (np.clip(spots.roundness, 0, 1) ** 4 * spots.area * np.minimum(contrast[kept], 1)).sum()
    )


def _marked(shape: tuple[int, ...], places: np.ndarray) -> np.ndarray:
    marks = np.zeros(shape, dtype=np.int32)
    marks[tuple(places.T)] = np.arange(1, len(places) + 1)
    return marks


def _apart(places: np.ndarray, scale: np.ndarray) -> np.ndarray:
    """Return the places that lie in no disc about one that stands out more: what is there is part of it.

    `places` come from the strongest on. The radius of a disc is the scale times the square root of two.
    """
    reach = _OWN_REACH * np.sqrt(2) * scale[tuple(places.T)]
    kept: list[int] = []
    for i, place in enumerate(places):
        if not kept or (np.hypot(*(places[kept] - place).T) >= reach[kept]).all():
            kept.append(i)
    return places[kept]


def _peak_near(response: np.ndarray, row: float, column: float, reach: float) -> np.ndarray:
    """Return the place that stands out most within reach of another."""
    low = np.maximum(np.array([row, column]) - reach, 0).astype(int)
    part = response[low[0] : int(row + reach) + 1, low[1] : int(column + reach) + 1]
    return low + np.unravel_index(part.argmax(), part.shape)


def _cut_out(
    sight: _Sight, sign: int, basins: np.ndarray, label: int, place: np.ndarray, sigma: float, least: float
) -> _Cut | None:
    """Return the outline half-way between a spot and the ground beside it; None where it is no spot."""
    reach = int(np.ceil(3.2 * sigma)) + 2
    low = np.maximum(place - reach, 0)
    window = np.s_[low[0] : place[0] + reach + 1, low[1] : place[1] + reach + 1]
    image, own = sign * sight.light[window], basins[window] == label
    rows, columns = np.ogrid[: image.shape[0], : image.shape[1]]
    away = np.hypot(rows + low[0] - place[0], columns + low[1] - place[1])
    core = away <= max(_CORE * sigma, 1.0)
    ground = (basins[window] == 0) & (away <= 3.2 * sigma)
    if ground.sum() < 8:
        # A spot far off from others and far from faint is felt further than that.
        ground = own & (away > 2.2 * sigma) & (away <= 3.2 * sigma)
    if ground.sum() < 8:
        return None
    top, bottom = np.median(image[core]), np.median(image[ground])
    contrast = sign * (abs(top) - sight.typical) / max(abs(top) + sight.typical, 1e-6)
    if contrast < least or top <= bottom:
        return None
    # What belongs to another spot counts as ground.
    near = np.pad(np.where((basins[window] == 0) | own, image, bottom), 1, constant_values=bottom)
    # What is much smaller than a spot is grain in it.
    near = ndimage.gaussian_filter(near, _GRAIN * sigma)
    seed = place - low + 1
    around = [
        line
        for line in find_contours(near, (top + bottom) / 2)
        if len(line) > 3 and np.allclose(line[0], line[-1]) and points_in_poly([seed], line)[0]
    ]
    if not around:
        return None
    # The widest: the place may lie in a hollow of the spot.
    line = max(around, key=lambda line: np.ptp(line, axis=0).prod())
    line = line[:-1]
    blur = _blur(line, near, top - bottom)
    spread = np.linalg.svd(line - line.mean(axis=0), compute_uv=False) / np.sqrt(len(line))
    if Spots((line,)).area[0] < _LEAST_PIXELS:
        return None
    shine = float(np.quantile(sight.raw[window][core], 0.5))
    long = float(spread[0] / max(spread[1], 1e-6))
    return _Cut(line - 1 + low, place, float(contrast), shine, long, blur)


def _blur(line: np.ndarray, image: np.ndarray, step: float) -> float:
    """Return the standard deviation of the blur by how steep the light falls at an outline, in pixels."""
    slopes = [ndimage.map_coordinates(slope, line.T, order=1) for slope in np.gradient(image)]
    slope = max(float(np.median(np.hypot(*slopes))), 1e-9)
    radius = np.sqrt(Spots((line,)).area[0] / np.pi)
    steep, blur, _ = _blurred_discs()
    # The slope is taken across two pixels and between them, which flattens it.
    return float(np.sqrt(max((np.interp(step / slope / radius, steep, blur) * radius) ** 2 - _SMEARED, 0)))


def _unblurred(line: np.ndarray, blur: float) -> np.ndarray:
    """Return an outline at half height where the edge of the disc was before the blur moved it."""
    middle = line.mean(axis=0)
    radius = np.sqrt(Spots((line,)).area[0] / np.pi)
    _, blurs, true = _blurred_discs()
    return middle + (line - middle) * np.interp(blur / radius, blurs, true)


@cache
def _blurred_discs() -> tuple[np.ndarray, ...]:
    """Return height / slope, blur and true radius, by the radius at half height, of discs ever more blurred.

    A disc of radius 1 blurred by a Gaussian of sigma s is worked out along its radius: the integral over r of
    r / s^2 exp(-(r^2 + x^2) / 2 s^2) I0(r x / s^2). Half height lies inside the edge of a disc blurred a
    little, and outside that of one whose top is gone, too.
    """
    x, r = np.linspace(0, 3.5, 281), np.linspace(0, 1, 81)
    seen = []
    for s in np.linspace(0.04, 1.2, 20):
        inner = r / s**2 * np.exp(-((r - x[:, None]) ** 2) / (2 * s**2)) * ive(0, r * x[:, None] / s**2)
        height = np.trapezoid(inner, r, axis=1)
        half = np.interp(-height[0] / 2, -height, x)
        # Top and bottom as `_cut_out` takes them: in the core, and beside the spot, which its light reaches.
        top, bottom = (np.interp(at * half, x, height) for at in (_CORE / 2, _BESIDE))
        half = np.interp(-(top + bottom) / 2, -height, x)
        slope = np.interp(half, x, -np.gradient(height, x))
        seen.append(((top - bottom) / slope / half, s / half, 1 / half))
    return tuple(np.array(seen).T)
