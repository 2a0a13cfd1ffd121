"""The art of the fish: SVG files read into layers, and spots sown into them.

An illustrator works on `art/*.svg` in a vector editor. A group ``part--state`` is the layer of a state; a
``part`` alone is always drawn; ``pattern`` is empty, the place of the spots. These lie in the clip paths
``clip-flank``, ``clip-head`` and ``clip-belly``, in a fin in its area of class ``clip-fins``. A line of class
``hem`` takes a coloured edging; class ``detail`` is left out of a ghost. In a body form, ``side-*``, the line
``standard-length`` runs from the snout to the base of the tail fin, below the lowest fin. `forms.csv` says in
which form a genus is drawn (a way of drawing, no claim of a table), `colours.csv` what a swatch becomes, and
`pictures.csv` how a trait is shown: states, the usual one, view and window, its part, and the parts inked.
"""

from __future__ import annotations

import csv
import itertools
import re
from collections.abc import Iterable, Mapping
from functools import cache
from importlib.resources import files
from typing import NamedTuple
from xml.etree import ElementTree as ET

import numpy as np
from numpy.typing import NDArray

INK, PAPER, BORDER = "#1d1a18", "#fffdf8", "#a8a196"
Points = NDArray[np.float64]
Circle = tuple[float, float, float]
_ART = files("idkey.views").joinpath("art")
_TOKEN = re.compile(r"[A-Za-z]|[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
_NAME = re.compile(r'\s(?:(?:id|class|\w+:[\w-]+)="[^"]*"|(?=/>))')  # nor what is the editor's own
_NUMBERS = {"M": 2, "L": 2, "T": 2, "H": 1, "V": 1, "S": 4, "Q": 4, "C": 6, "A": 7}


class Art(NamedTuple):
    """One file. A layer is a part, a state, and of each shape the class, the SVG text and the path data."""

    title: str
    layers: list[tuple[str, str, list[tuple[str, str, str]]]]
    clips: dict[str, list[Points]]
    circles: dict[str, Circle]
    foot: Points


@cache
def rows(name: str) -> dict[str, Mapping[str, str]]:
    """Read a table of the art: the rows by their first column."""
    table = csv.DictReader(_ART.joinpath(f"{name}.csv").read_text(encoding="utf-8").splitlines())
    return {next(iter(row.values())): row for row in table}


@cache
def read_art(name: str) -> Art:
    """Read a file of the art: layers from back to front, clip paths, named circles, snout and lowest fin."""
    text = _ART.joinpath(f"{name}.svg").read_text(encoding="utf-8")
    root = ET.fromstring(re.sub(r'\sxmlns="[^"]*"', "", text))
    ids = {e.get("id"): e for e in root.iter() if "id" in e.attrib}
    of = {tag: [(name, e) for name, e in ids.items() if e.tag == tag] for tag in ("clipPath", "circle")}
    clips = {name: outlines(" ".join(p.get("d", "") for p in e)) for name, e in of["clipPath"]}
    circles = {name: tuple(float(e.get(a, 0)) for a in ("cx", "cy", "r")) for name, e in of["circle"]}
    foot = outlines(ids["standard-length"].get("d"))[0][0] if "standard-length" in ids else np.zeros(2)
    groups = [(group.get("id", "").partition("--"), group) for group in root.findall("g")]
    layers = [(part, state, list(map(_piece, group))) for (part, _, state), group in groups]
    return Art(root.findtext("title", ""), layers, clips, circles, foot)


def _piece(element: ET.Element) -> tuple[str, str, str]:
    text = _NAME.sub("", ET.tostring(element, encoding="unicode").strip())
    return element.get("class", ""), text, element.get("d", "")


def outlines(path: str) -> list[Points]:
    """Return the outlines of path data as polygons; an elliptic arc is taken for its chord."""
    runs: list[list[Points]] = []
    tokens, i, letter = _TOKEN.findall(path), 0, "M"
    pen = start = np.zeros(2)
    while i < len(tokens):
        if tokens[i].isalpha():
            letter, i = tokens[i], i + 1
        if letter in "Zz":
            pen = start
            continue
        count = _NUMBERS[letter.upper()]
        numbers, i = np.array(tokens[i : i + count], dtype=float), i + count
        here = pen if letter.islower() else np.zeros(2)
        if letter in "HhVv":
            points = np.where([letter in "Hh", letter in "Vv"], numbers[0] + here, pen)[None]
        else:
            points = numbers[-2 if letter in "Aa" else 0 :].reshape(-1, 2) + here
        if letter in "Mm":
            start, letter = points[0], "L" if letter == "M" else "l"
            runs.append([])
        curve = [pen[None], *points[:, None]]
        while len(points) > 1 and len(curve) > 1:  # de Casteljau
            curve = [a + (b - a) * np.linspace(0, 1, 9)[1:, None] for a, b in itertools.pairwise(curve)]
        runs[-1].append(curve[-1])
        pen = points[-1]
    return [np.concatenate(run) for run in runs]


def sown(
    polygons: list[Points], apart: float, margin: float, holes: Iterable[Circle] = (), start: float = 0.0
) -> Points:
    """Spread points so far apart or more, inside by the margin, off the holes and right of the start.

    They are always the same. What is inside goes by even and odd, on a grid of half units.
    """
    a = np.concatenate(polygons)
    b = np.concatenate([np.roll(polygon, -1, axis=0) for polygon in polygons])
    along = np.arange(0.05, 260.0, 0.5)
    before, after = np.minimum(a, b)[:, 0] <= along[:, None], along[:, None] < np.maximum(a, b)[:, 0]
    column, edge = np.nonzero(before & after)
    (ax, ay), (bx, by) = a[edge].T, b[edge].T
    crossings = np.zeros((len(along), 400), dtype=int)
    row = np.ceil(2 * (ay + (along[column] - ax) / (bx - ax) * (by - ay))).astype(int)
    np.add.at(crossings, (column, row.clip(0, 399)), 1)
    solid = crossings.cumsum(axis=1) % 2 == 1
    # The additive recurrence of the plastic number fills a plane evenly from its first points on.
    low, size = a.min(axis=0), np.ptp(a, axis=0)
    count = np.arange(1, int(12 * size.prod() / apart**2) + 40)[:, None]
    ground = low + count * [0.7548776662466927, 0.5698402909980532] % 1.0 * size
    keep = ground[:, 0] >= start + margin
    for turn in np.exp(2j * np.pi * np.arange(12) / 12):
        x, y = (2 * (ground + margin * np.array([turn.real, turn.imag]))).astype(int).T
        keep &= solid[x.clip(0, len(along) - 1), y.clip(0, 399)]
    for x, y, radius in holes:
        keep &= np.hypot(*(ground - [x, y]).T) >= radius + margin
    best: list[Points] = []
    for first in range(0, 200 if keep.sum() < 300 else 1, 8):
        left, kept = np.roll(ground[keep], -first, axis=0), []
        while len(left):
            kept.append(left[0])
            left = left[((left - left[0]) ** 2).sum(axis=1) >= apart**2]
        best = max(best, kept, key=len)
    return np.array(best).reshape(-1, 2)
