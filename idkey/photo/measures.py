"""What points and spots measure, each with the interval that holds the true value nine times of ten.

The interval comes of `DRAWS` draws with a fixed seed: every point is set anew with the standard deviation
that `Points.sd` states, all outlines are widened or narrowed by `EDGE` and each by `EACH`, and of the spots
that were found some are left out, by `UNSURE`, for others of them, so that points, ruler and spots all count.
A measure whose points are missing is not guessed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType

import numpy as np
from scipy.spatial import cKDTree

from idkey.arguments import checked
from idkey.photo.answers import answers_of
from idkey.photo.colour import Colours, spot_colours
from idkey.photo.openings import opening_width
from idkey.photo.picture import Picture
from idkey.photo.points import Points
from idkey.photo.region import OUTLINED_BY, flank_outline, head_outline
from idkey.photo.spots import Spots
from idkey.table.table import TraitTable

DRAWS, INTERVAL = 1000, (5.0, 95.0)
EDGE, EDGE_PIXELS, EACH = 0.02, 0.2, 0.03
"""Standard deviations by which all outlines of a picture are too wide or narrow, as a share of the diameter
and in pixels, flank and head by as much again, and by which each is besides: judgement, held against coins
and rendered fish."""
UNSURE = 0.05
"""Share of the spots that may be none, or stand for others that were missed: judgement."""
RULER, RULER_TURN = 0.025, 0.14
"""Standard deviations by which a ruler beside a fish is nearer to the camera or further from it, as a share,
and turned out of the plane of the picture, which makes it shorter, in radians: judgement."""
ROW_LINES = 21
"""Lines along the middle of the side that are tried for the row of spots nearest to it."""
LEAST_SPOTS = 5
LEAST_ROUND = 0.6
"""Roundness (4 pi area / girth squared, 1 of a disc) below which marks are no spots: judgement."""
_HUE = {True: 2.5, False: 9.0}
"""Standard deviation of a* and b* of all spots with and without a white patch: judgement."""
_SEED = 20160


@dataclass(frozen=True, slots=True)
class Measure:
    """One measure: its value and the interval that holds the true one nine times of ten, in `unit`.

    `formula` says how it is worked out, `source` who defined it so; `note` what speaks against it here.
    """

    id: str
    label: str
    value: float
    low: float
    high: float
    unit: str
    formula: str
    source: str
    note: str = ""


@checked
@dataclass(frozen=True, slots=True, eq=False)
class Measures(Mapping[str, Measure]):
    """What was measured, by id; `missing` says of every other measure what it lacks.

    `draws` are, by id, values that could all be the true one, each as likely, (`DRAWS`,).
    """

    found: Mapping[str, Measure]
    missing: Mapping[str, str]
    draws: Mapping[str, np.ndarray] = field(repr=False)

    def __getitem__(self, name: str) -> Measure:
        return self.found[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self.found)

    def __len__(self) -> int:
        return len(self.found)

    def answers(self, table: TraitTable) -> dict[str, str]:
        """Return an answer for each trait that these measures tell of: trait id -> ``state:weight|...``."""
        return answers_of(table, self.draws)


class _LackError(Exception):
    """What a measure lacks."""


class _Drawn:
    """Points and spots set anew in each draw; the first draw is as they were set."""

    def __init__(self, picture: Picture, points: Points, spots: Spots | None):
        self.picture, self.points, self.spots = picture, points, spots
        self.random = np.random.default_rng(_SEED)
        self.at = {n: np.array(p) + self.noise(points.sd(n), 2) for n, p in points.at.items()}
        # Flank and head turn to the lamp otherwise.
        pixels = self.noise(EDGE_PIXELS, 1) + self.noise(EDGE_PIXELS, 2)
        self._wider = 1 + self.noise(EDGE, 1), pixels
        self.notes: list[str] = []

    def noise(self, sd: float, width: int) -> np.ndarray:
        """Return errors, (1 + DRAWS, width), none of them in the first draw."""
        errors = self.random.normal(0.0, sd, (1 + DRAWS, width))
        errors[0] = 0
        return errors

    def apart(self, a: str, b: str) -> np.ndarray:
        """Distance of two points."""
        self.need(a, b)
        return np.hypot(*(self.at[a] - self.at[b]).T)

    def opening(self, front: str, back: str) -> np.ndarray:
        """Width of pupil or nostril, as the picture shows it near these points."""
        self.need(front, back)
        edges = (np.array(self.points.at[name]) for name in (front, back))
        width, sd = opening_width(self.picture, *edges, self.points.sd(front))
        return width + self.noise(sd, 1)[:, 0]

    def need(self, *names: str) -> None:
        """Stop where one of these points is not set."""
        lacking = [name for name in names if name not in self.at]
        if lacking:
            raise _LackError(f"not set: {', '.join(lacking)}")

    def flank(self) -> Spots:
        """The spots of the flank, of which there are enough."""
        return self._enough(head=False)

    def head(self) -> Spots:
        """The spots of the head, of which there are enough."""
        return self._enough(head=True)

    def all_spots(self) -> Spots:
        """All spots that were found."""
        if self.spots is None:
            raise _LackError("spots were not looked for")
        return self.spots

    @cached_property
    def colours(self) -> Colours:
        """Colours of the spots of the flank and beside them."""
        flank = self.flank()
        other, away = nearest(flank)
        gaps = away - (flank.diameter + flank.diameter[other]) / 2
        return spot_colours(self.picture, self.points, flank, gaps)

    def _enough(self, head: bool) -> Spots:
        part = "head" if head else "flank"
        spots = self.all_spots()
        found = spots.only(spots.head == head)
        if len(found) < LEAST_SPOTS:
            raise _LackError(f"{len(found)} spots on the {part}, fewer than {LEAST_SPOTS}")
        return found

    def by_lot(self, spots: Spots) -> np.ndarray:
        """Return which spots each draw holds, (1 + DRAWS, n)."""
        shape = 1 + DRAWS, len(spots)
        other, unsure = self.random.integers(0, len(spots), shape), self.random.random(shape) < UNSURE
        lots = np.where(unsure, other, np.arange(len(spots)))
        lots[0] = np.arange(len(spots))
        return lots

    def widths(self, spots: Spots) -> np.ndarray:
        """Return the diameters of spots, (1 + DRAWS, n)."""
        share, more = self._wider
        each = 1 + self.noise(EACH, len(spots))
        return np.maximum((spots.diameter * share + more[:, spots.head.astype(int)]) * each, 0.1)

    def width(self, spots: Spots, quantile: float = 0.5) -> np.ndarray:
        """Return a quantile of the diameters."""
        return np.quantile(
            np.take_along_axis(self.widths(spots), self.by_lot(spots), axis=1), quantile, axis=1
        )


@checked
def measure(
    picture: Picture, points: Points | Mapping[str, tuple[float, float]], spots: Spots | None = None
) -> Measures:
    """Measure a fish on a picture by its points, and by its spots where they were found.

    Points may be a mapping name -> (x, y), without the length on a ruler.
    """
    points = points if isinstance(points, Points) else Points(points)
    drawn = _Drawn(picture, points, spots)
    found, missing, draws = {}, {}, {}
    for kind in _FORMULAS:
        drawn.notes = []
        try:
            values = kind.work(drawn)
        except _LackError as lack:
            missing[kind.id] = str(lack)
            continue
        low, high = np.percentile(values[1:], INTERVAL)
        value = float(values[0])
        note = "; ".join(drawn.notes)
        found[kind.id] = Measure(
            kind.id,
            kind.label,
            value,
            min(low, value),
            max(high, value),
            kind.unit,
            kind.formula,
            kind.source,
            note,
        )
        draws[kind.id] = values[1:]
    return Measures(*map(MappingProxyType, (found, missing, draws)))


# -- the formulas ----------------------------------------------------------------------------------------


def _length(drawn: _Drawn) -> np.ndarray:
    length, ruler = drawn.apart("snout", "tail_base"), drawn.apart("ruler_a", "ruler_b")
    if drawn.points.ruler_mm is None:
        raise _LackError("not given: the millimetres between the two marks of the ruler")
    off = (1 + drawn.noise(RULER, 1)) * np.cos(drawn.noise(RULER_TURN, 1))
    return length / ruler * drawn.points.ruler_mm * off[:, 0]


def _against(part: str, quantile: float = 0.5) -> Callable[[_Drawn], np.ndarray]:
    def work(drawn: _Drawn) -> np.ndarray:
        across = drawn.apart if part == "eye" else drawn.opening
        return drawn.width(drawn.flank(), quantile) / np.maximum(
            across(f"{part}_front", f"{part}_back"), 1e-6
        )

    return work


@checked
def nearest(spots: Spots) -> tuple[np.ndarray, np.ndarray]:
    """Return of each of two spots or more which other leaves the smallest gap, and how far its centre is."""
    centre, radius = spots.centre, spots.diameter / 2
    away, which = cKDTree(centre).query(centre, k=min(7, len(spots)))
    best = 1 + np.argmin(away[:, 1:] - radius[which[:, 1:]], axis=1)
    at = np.arange(len(spots))
    return which[at, best], away[at, best]


def _gap(drawn: _Drawn) -> np.ndarray:
    flank = drawn.flank()
    other, away = nearest(flank)
    widths = drawn.widths(flank)
    gaps = np.maximum(away - (widths + widths[:, other]) / 2, 0)
    lots = drawn.by_lot(flank)
    typical = [np.median(np.take_along_axis(values, lots, axis=1), axis=1) for values in (gaps, widths)]
    return typical[0] / typical[1]


def _row(drawn: _Drawn) -> np.ndarray:
    drawn.need("snout", "tail_base", "back", "belly")
    flank = drawn.flank()
    spots, frame = drawn.all_spots(), drawn.points.frame()
    u, v = frame.of(spots.centre).T
    back, belly = (frame.of(np.array(drawn.points.at[name])) for name in ("back", "belly"))
    middle = (back + belly) / 2
    line = np.interp(u, [0, np.clip(middle[0], 0.01, 0.99), 1], [0, middle[1], 0])
    away = (v - line) * frame.length + drawn.noise(drawn.points.sd("back") / 2**0.5, 1)
    radius, lots = drawn.widths(spots) / 2, drawn.by_lot(spots)
    apart = np.median(nearest(flank)[1])
    rows = []
    # Rows are no further apart than spots: one runs within half that of the middle.
    for shift in np.linspace(-apart / 2, apart / 2, ROW_LINES):
        cut = (np.abs(away - shift) <= radius) & (u > 0) & (u < 1)
        rows.append(np.take_along_axis(cut, lots, axis=1).sum(axis=1))
    return np.max(rows, axis=0).astype(float)


def _head(drawn: _Drawn) -> np.ndarray:
    return drawn.width(drawn.head()) / drawn.width(drawn.flank())


def _bare(drawn: _Drawn) -> np.ndarray:
    drawn.need(*OUTLINED_BY)
    body, spots = drawn.flank(), drawn.all_spots()
    areas = [
        Spots((outline,)).area[0] for outline in (head_outline(drawn.points), flank_outline(drawn.points))
    ]
    expected = len(body) * areas[0] / areas[1]
    # A head on which few are to be expected tells little: counts as by chance (Poisson).
    seen = drawn.random.gamma(np.sum(spots.head) + 0.5, 1.0, 1 + DRAWS)
    seen[0] = np.sum(spots.head)
    return np.clip(1 - seen / expected, 0, 1)


def _darker(drawn: _Drawn) -> np.ndarray:
    flank = drawn.flank()
    if np.median(flank.roundness) < LEAST_ROUND:
        raise _LackError("the marks are not round: lines, bars or blotches are left to the eye")
    colours = drawn.colours
    return np.median((colours.ground - colours.spots)[:, 0][drawn.by_lot(flank)], axis=1)


def _hue(axis: int) -> Callable[[_Drawn], np.ndarray]:
    def work(drawn: _Drawn) -> np.ndarray:
        flank = drawn.flank()
        colours = drawn.colours
        if np.median(colours.spots[:, 0] - colours.ground[:, 0]) < 0:
            raise _LackError("the spots are dark")
        drawn.notes += [colours.why] if colours.why else []
        typical = np.median(colours.spots[:, axis][drawn.by_lot(flank)], axis=1)
        return typical + drawn.noise(_HUE[not colours.why], 1)[:, 0]

    return work


def _fork(drawn: _Drawn) -> np.ndarray:
    drawn.need("tail_base", "tail_upper", "tail_middle", "tail_lower")
    upper, lower = drawn.at["tail_upper"], drawn.at["tail_lower"]
    edge = lower - upper
    width = np.maximum(np.hypot(*edge.T), 1e-6)
    across = np.stack([edge[:, 1], -edge[:, 0]], axis=1) / width[:, None]
    length, middle = (
        ((drawn.at[name] - upper) * across).sum(axis=1) for name in ("tail_base", "tail_middle")
    )
    return np.where(length == 0, 0.0, middle / np.where(length == 0, 1.0, length))


def _dorsal(drawn: _Drawn) -> np.ndarray:
    return drawn.apart("dorsal_tip", "back") / np.maximum(drawn.apart("back", "belly"), 1e-6)


def _eye(drawn: _Drawn) -> np.ndarray:
    return 100 * drawn.apart("eye_front", "eye_back") / np.maximum(drawn.apart("snout", "gill"), 1e-6)


@dataclass(frozen=True, slots=True)
class _Formula:
    id: str
    label: str
    unit: str
    formula: str
    source: str
    work: Callable[[_Drawn], np.ndarray]


_OWN = "own definition, after the question of the trait"
_GAPS = "Tan & Armbruster 2016, where gaps are given in widths of spots"
_LAB = "CIELAB, CIE 015:2018"
_FORMULAS = (
    _Formula(
        *("standard_length", "Standard length", "mm", "snout to tail base / ruler, times its millimetres"),
        *("common practice", _length),
    ),
    _Formula(
        *(
            "spot_vs_eye",
            "Spot against eye",
            "ratio",
            "median diameter of the flank spots / eye opening",
            _OWN,
        ),
        _against("eye"),
    ),
    _Formula(
        *("spot_vs_pupil", "Spot against pupil", "ratio"),
        *(
            "diameter that one flank spot of ten exceeds / pupil",
            _OWN,
            _against("pupil", 0.9),
        ),
    ),
    _Formula(
        *("spot_vs_nostril", "Spot against nostril", "ratio", "median diameter of the flank spots / nostril"),
        *("Tan & Armbruster 2016, as to what is compared", _against("nostril")),
    ),
    _Formula(
        *("gap_vs_spot", "Gap against spot", "ratio"),
        *("median of the gaps from each flank spot to the nearest / median diameter", _GAPS, _gap),
    ),
    _Formula(
        *("spots_in_row", "Spots in a row", "count"),
        *(
            "most spots that a line from snout to tail base cuts, by half a spot's distance off the middle",
            _OWN,
            _row,
        ),
    ),
    _Formula(
        *("head_vs_flank", "Spots on the head against the flank", "ratio"),
        *("median diameter on the head / median diameter on the flank", _OWN, _head),
    ),
    _Formula(
        *("head_bare", "Spots that the head lacks", "ratio"),
        *("1 - spots on the head / spots as dense there as on the flank", _OWN, _bare),
    ),
    _Formula(
        *("spot_darker", "Ground lighter than the spots", "L*"),
        *("median over the flank spots of L* beside the spot - L* of the spot", _LAB, _darker),
    ),
    _Formula(
        *("spot_red", "Spot colour, red against green", "a*", "median a* of the flank spots", _LAB, _hue(1)),
    ),
    _Formula(
        *(
            "spot_yellow",
            "Spot colour, yellow against blue",
            "b*",
            "median b* of the flank spots",
            _LAB,
            _hue(2),
        ),
    ),
    _Formula(
        *("fork_depth", "Depth of the tail's fork", "ratio"),
        *("middle of the edge to the line between the tips / tail base to that line", _OWN, _fork),
    ),
    _Formula(
        *("dorsal_height", "Height of the dorsal fin", "ratio"),
        *("tip to the base of the first ray / depth of the body below it", _OWN, _dorsal),
    ),
    _Formula(
        *("eye_vs_head", "Eye against head", "% HL"),
        *(
            "eye opening / snout to gill opening, times 100",
            "own definition; the head as far as the gill opening",
            _eye,
        ),
    ),
)
MEASURED = tuple(formula.id for formula in _FORMULAS)
"""Ids of all measures."""
