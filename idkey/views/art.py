"""The art of the fish: SVG files read into layers, and spots sown into them.

An illustrator works on `art/*.svg` in a vector editor. A group ``part--state`` is the layer of a state; a
``part`` alone is always drawn; ``pattern`` is empty, the place of the spots. These lie in the clip paths
``clip-flank``, ``clip-head`` and ``clip-belly``, in a fin in its area of class ``clip-fins``. A line of class
``hem`` takes a coloured edging; class ``detail`` is left out of a ghost. In a body form, ``side-*``, the line
``standard-length`` runs from the snout to the base of the tail fin, below the lowest fin. `forms.csv` says
which genera are drawn so, `colours.csv` what a swatch becomes, `pictures.csv` how a trait is shown.
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

__all__ = ["BORDER", "INK", "PAPER", "Art", "genera", "outlines", "read_art", "rows", "sown"]

INK, PAPER, BORDER = "#1d1a18", "#fffdf8", "#a8a196"

Points = NDArray[np.float64]
_ART = files("idkey.views").joinpath("art")
_TOKEN = re.compile(r"[A-Za-z]|[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
_NUMBERS = {"M": 2, "L": 2, "T": 2, "H": 1, "V": 1, "S": 4, "Q": 4, "C": 6, "A": 7}


class Art(NamedTuple):
    """One file. A layer is a part, a state, and of each shape the class, the SVG text and the path data."""

    title: str
    layers: list[tuple[str, str, list[tuple[str, str, str]]]]
    clips: dict[str, list[Points]]
    circles: dict[str, tuple[float, float, float]]
    foot: tuple[float, float]


@cache
def rows(name: str) -> dict[str, Mapping[str, str]]:
    """Read a table of the art: the rows by their first column."""
    table = csv.DictReader(_ART.joinpath(f"{name}.csv").read_text(encoding="utf-8").splitlines())
    return {next(iter(row.values())): row for row in table}


@cache
def genera() -> dict[str, str]:
    """Return the body form that each genus is drawn in: a way of drawing, no claim of a table."""
    forms = {name: row["genera"].split() for name, row in rows("forms").items()}
    return {genus: form for form, names in forms.items() for genus in names}


@cache
def read_art(name: str) -> Art:
    """Read a file of the art: layers from back to front, clip paths, named circles, snout and lowest fin."""
    root = ET.fromstring(
        re.sub(r'\sxmlns="[^"]*"', "", _ART.joinpath(f"{name}.svg").read_text(encoding="utf-8"))
    )
    ids = {e.get("id", ""): e for e in root.iter() if "id" in e.attrib}
    clips = {k: outlines(" ".join(p.get("d", "") for p in e)) for k, e in ids.items() if e.tag == "clipPath"}
    circles = {
        k: (float(e.get("cx", 0)), float(e.get("cy", 0)), float(e.get("r", 0)))
        for k, e in ids.items()
        if e.tag == "circle"
    }
    foot = (
        outlines(ids["standard-length"].get("d", ""))[0][0].tolist()
        if "standard-length" in ids
        else (0.0, 0.0)
    )
    layers = []
    for group in root.findall("g"):
        part, _, state = group.get("id", "").partition("--")
        layers.append((part, state, [(e.get("class", ""), _text(e), e.get("d", "")) for e in group]))
    return Art(root.findtext("title", ""), layers, clips, circles, foot)


def _text(element: ET.Element) -> str:
    """Write an element without names: no id, no class, nothing of the editor's own."""
    for part in element.iter():
        for key in [key for key in part.attrib if key in {"id", "class"} or "}" in key]:
            del part.attrib[key]
    return ET.tostring(element, encoding="unicode").strip().replace(" />", "/>")


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
    polygons: list[Points],
    distance: float,
    margin: float,
    holes: Iterable[tuple[float, float, float]] = (),
    start: float = 0.0,
) -> Points:
    """Spread points at least so far apart, inside by the margin and off the holes; always the same ones.

    Inside is between the uppermost and the lowest edge of the polygons, and right of the start.
    """
    a = np.concatenate(polygons)
    b = np.concatenate([np.roll(polygon, -1, axis=0) for polygon in polygons])
    left, right, high, low = max(a[:, 0].min(), start), a[:, 0].max(), a[:, 1].min(), a[:, 1].max()
    along = np.arange(a[:, 0].min() + 0.05, right, 0.5)
    crossed = (np.minimum(a, b)[:, 0] < along[:, None]) & (along[:, None] < np.maximum(a, b)[:, 0])
    with np.errstate(divide="ignore", invalid="ignore"):
        y = a[:, 1] + (along[:, None] - a[:, 0]) / (b - a)[:, 0] * (b - a)[:, 1]
    met = crossed.any(axis=1)
    top, bottom = (np.where(crossed, y, far)[met] for far in (np.inf, -np.inf))
    # The additive recurrence of the plastic number fills a plane evenly from its first points on.
    size = np.array([max(right - left, 0.0), low - high])
    count = np.arange(1, int(12 * size.prod() / distance**2) + 40)[:, None]
    ground = [left, high] + count * [0.7548776662466927, 0.5698402909980532] % 1.0 * size
    x, y = ground.T
    keep = (x >= left + margin) & (x <= right - margin)
    for near in (x - margin, x, x + margin):
        keep &= y - np.interp(near, along[met], top.min(axis=1)) >= margin
        keep &= np.interp(near, along[met], bottom.max(axis=1)) - y >= margin
    for hole_x, hole_y, radius in holes:
        keep &= np.hypot(x - hole_x, y - hole_y) >= radius + margin
    ground = ground[keep]
    tries = (
        _thinned(np.roll(ground, -k, axis=0), distance) for k in range(0, 60 if len(ground) < 400 else 1, 10)
    )
    return max(tries, key=len)


def _thinned(ground: Points, distance: float) -> Points:
    kept = []
    while len(ground):
        kept.append(ground[0])
        ground = ground[((ground - ground[0]) ** 2).sum(axis=1) >= distance**2]
    return np.array(kept).reshape(-1, 2)
