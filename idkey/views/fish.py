"""The fish: its art read into layers, which of them are drawn, in what colours, with what spots on them.

An illustrator works on `art/*.svg` in a vector editor. A group ``part--state`` is the layer of a state; a
``part`` alone is always drawn; ``pattern`` is empty, the place of the spots. These lie in the clip paths
``clip-flank``, ``clip-head`` and ``clip-belly``, in a fin in its area of class ``clip-fins``. A line of class
``hem`` takes a coloured edging; class ``detail`` is left out of a ghost. In a body form, ``side-*``, the line
``standard-length`` runs from the snout to the base of the tail fin, below the lowest fin. `forms.csv` says in
which form a genus is drawn: a sketch, no claim of a table; only the eye and the stalk of the tail follow
published figures where there are any (`test_fish.py` names them). `colours.csv` says what a swatch becomes,
`pictures.csv` how a trait is shown: states, the usual one, view and window, its part, the parts inked, and
what is marked on a whole fish: a part, circle or clip path. A figure has no states: its picture says how it
is taken, by layers named ``measure``, which no other picture shows.

A state has one layer, on a button and in a whole fish. What a button is about is inked, the rest a ghost.
White, yellow, orange and a dark body are steps of grey. What is not known is left out or drawn plain, as no
state is: a dorsal fin half raised, a closed tail, a snout without outline, spots between two sizes.
"""

from __future__ import annotations

import csv
import itertools
import re
from collections.abc import Iterable, Mapping
from functools import cache, lru_cache
from html import escape
from importlib.resources import files
from typing import NamedTuple
from xml.etree import ElementTree as ET

import numpy as np
from numpy.typing import NDArray

from idkey.table.schema import ON_A_PHOTO
from idkey.views.doc import clean

INK, PAPER, BORDER = "#1d1a18", "#fffdf8", "#a8a196"
Points = NDArray[np.float64]
Circle = tuple[float, float, float]
_ART = files("idkey.views") / "art"
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
    table = csv.DictReader((_ART / f"{name}.csv").read_text(encoding="utf-8").splitlines())
    return {next(iter(row.values())): row for row in table}


@cache
def read_art(name: str) -> Art:
    """Read a file of the art: layers from back to front, clip paths, named circles, snout and lowest fin."""
    text = (_ART / f"{name}.svg").read_text(encoding="utf-8")
    root = ET.fromstring(re.sub(r'\sxmlns="[^"]*"', "", text))
    clips, circles, layers, foot = {}, {}, [], np.zeros(2)
    for element in root.iter():
        id_ = element.get("id", "")
        if element.tag == "clipPath":
            clips[id_] = outlines(" ".join(path.get("d", "") for path in element))
        elif element.tag == "circle" and id_:
            circles[id_] = tuple(float(element.get(a, 0)) for a in ("cx", "cy", "r"))
        elif id_ == "standard-length":
            foot = outlines(element.get("d"))[0][0]
    for group in root.findall("g"):
        part, _, state = group.get("id", "").partition("--")
        texts = (_NAME.sub("", ET.tostring(shape, encoding="unicode").strip()) for shape in group)
        shapes = [(s.get("class", ""), text, s.get("d", "")) for s, text in zip(group, texts, strict=True)]
        layers.append((part, state, shapes))
    return Art(root.findtext("title", ""), layers, clips, circles, foot)


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


STATES = {trait: tuple(row["states"].split()) for trait, row in rows("pictures").items() if row["states"]}
"""Trait id -> the states that can be drawn."""
MARKS = {"white": PAPER, "yellow": "#f0bd33", "orange": "#dd6a22"}
_HEMS = {"dark": INK, "white": PAPER, "orange": MARKS["orange"]}
_SPOTTED = ("light_spots", "dark_spots")
_TRAIT_OF = {row["part"]: trait for trait, row in rows("pictures").items() if row["part"]}
_USUAL = {trait: row["usual"] for trait, row in rows("pictures").items() if row["usual"]}
_ROLE_OF = {row["swatch"]: role for role, row in rows("colours").items()}
_COLOUR, _WEIGHT = re.compile(r"#[0-9a-fA-F]{6}\b"), re.compile(r'(stroke-width[=:]\s*"?)([\d.]+)')
# Radius of a spot as a share of what it is held against; the first trait that is known decides.
_SIZES = {
    "spot_size": ("eye-rim", {"small": 0.33, "medium": 0.66, "large": 1.05}),
    "spot_vs_pupil": ("pupil", {"under_half": 0.42, "smaller": 0.75, "larger": 1.35}),
    "spot_vs_nostril": ("nostril-opening", {"smaller": 0.55, "equal": 1.0, "larger": 1.7}),
}
_GAPS = {"sparse": 5.4, "moderate": 3.4, "dense": 2.3, "": 4.3}  # least, from middle to middle, in radii


def ground_tone(states: Mapping[str, str]) -> dict[str, str]:
    """Return the colour of each role; a ground not known is grey, dark or light as its spots need it."""
    pattern = states.get("pattern", "")
    ground = states.get("ground_colour") or (pattern if pattern in _SPOTTED else "unknown")
    tone = {role: row[ground] for role, row in rows("colours").items()}
    if pattern in _SPOTTED:
        known = MARKS.get(states.get("spot_colour", "")) if pattern == "light_spots" else None
        tone["mark"] = known or rows("colours")["mark"][pattern]
    return tone


@lru_cache(maxsize=512)
def _shapes(file: str, known: frozenset[tuple[str, str]], inked: frozenset[str], weight: float) -> str:
    art, states, shapes, spots = read_art(file), dict(known), [], ""
    inks, ghost = ground_tone(states), {role: row["ghost"] for role, row in rows("colours").items()}
    hem = _HEMS.get(states.get("fin_edging", ""), "")
    if states.get("dorsal_reach") in {"reaches", "joined"}:
        states.setdefault("adipose_fin", "present")  # there is a fin to reach
    for part, state, pieces in art.layers:
        full = part in inked if inked else "measure" not in part
        if state not in {"", states.get(_TRAIT_OF.get(part, ""), "plain")}:
            continue
        if not full and ("measure" in part or part in {"plates", "pattern"}):
            continue
        if (part, state) == ("pattern", "") and states.get("pattern") in _SPOTTED:
            shapes.append(_spots(art, states, inks["mark"]))
        for kind, text, path in pieces:
            if kind == "clip-fins" and full and states.get("fin_spots") == "yes":
                radius = min(0.75 * _radius(art, states), 2.6)
                apart = max(_GAPS[states.get("spot_density", "")] * radius, 7.0)
                spots = _dots(sown(outlines(path), apart, radius + 1.0), radius, inks["mark"])
            if kind not in {"clip-fins", "detail"}:  # they lie on the rays
                shapes.append(spots)
                spots = ""
            if (full or kind != "detail") and (kind != "hem" or (full and hem)):
                tone = (inks | {"fin": hem} if kind == "hem" else inks) if full else ghost
                text = _COLOUR.sub(lambda c, tone=tone: tone.get(_ROLE_OF.get(c[0].lower(), ""), c[0]), text)  # noqa: PLW2901
                shapes.append(_WEIGHT.sub(lambda w: f"{w[1]}{float(w[2]) * weight:.3g}", text))
    return "".join(shapes)


def _dots(points: Iterable[tuple[float, float]], radius: float, colour: str) -> str:
    data = "".join(f"M{x:.1f} {y:.1f}h.01" for x, y in points)
    return f'<path d="{data}" stroke="{colour}" stroke-width="{2 * radius:.3g}"/>'


def _radius(art: Art, states: Mapping[str, str]) -> float:
    """Return the radius of the body spots, held against the eye, the pupil or the nostril as drawn."""
    radii = {name.removesuffix("-left"): circle[2] for name, circle in art.circles.items()}
    for trait, (measure, shares) in _SIZES.items():
        if trait in states and measure in radii:
            return radii[measure] * shares[states[trait]]
    return radii.get("eye-rim", 6.0) * 0.5  # between small and medium


def _spots(art: Art, states: Mapping[str, str], colour: str) -> str:
    """Sow the spots of the body; where nothing is known of those on the head the face stays plain."""
    gap, on_head, body = _GAPS[states.get("spot_density", "")], states.get("head_spots"), _radius(art, states)
    holes = [(x, y, r + 1.4) for name, (x, y, r) in art.circles.items() if not name.startswith("pupil")]

    def spots(clips: Iterable[str], radius: float, gap: float = gap, start: float = 0.0) -> str:
        area = [outline for clip in clips for outline in art.clips[clip]]
        apart = max(min(gap * radius, 27.0), 2 * radius + 1.4)
        return _dots(sown(area, apart, radius + 0.6, holes, start), radius, colour)

    if "clip-belly" in art.clips:
        return spots(art.clips, max(body, 2.0), 4.0) if states.get("belly_spots") == "yes" else ""
    if on_head in {"same", None}:
        return spots(art.clips, body, gap, 0.0 if on_head else max(x + r for x, _, r in holes))
    return spots(["clip-flank"], body) + (spots(["clip-head"], 0.55 * body) if on_head == "smaller" else "")


def picture(view: str, states: Mapping[str, str], inked: Iterable[str] = (), weight: float = 1.0) -> str:
    """Return the shapes of a view of a fish, 240 wide and 160 high, as SVG text without ids.

    The view is a file of the art; what is left out of the states is not known; where parts are inked the rest
    is a ghost; the weight is that of the lines against the art's.
    """
    return _shapes(view, frozenset(_drawable(states).items()), frozenset(inked), weight)


def _drawable(states: Mapping) -> dict[str, str]:
    plain = {t: s.removesuffix(f" {ON_A_PHOTO}") for t, s in states.items() if isinstance(s, str)}
    return {t: s for t, s in plain.items() if s in STATES.get(t, ())}


def state_svg(
    trait_id: str, state: str, title: str = "", answers: Mapping | None = None, wide: int = 120
) -> str | None:
    """Return a small drawing of one state of one trait, None where there is nothing to draw.

    Its title is by default the ids in plain words. It takes over the answers given already, so that dark
    spots on pale stay so; what of them cannot be drawn is passed over. It is so many pixels wide.
    """
    if state not in STATES.get(trait_id, ()):
        return None
    return _card(
        trait_id, {trait_id: state}, title or f"{trait_id}: {state}".replace("_", " "), answers, wide
    )


def how_svg(trait_id: str, title: str = "", answers: Mapping | None = None) -> str | None:
    """Return a small drawing of how a figure is taken, such as a length; None where there is none."""
    if trait_id in STATES or trait_id not in rows("pictures"):
        return None
    return _card(trait_id, {}, title or trait_id.replace("_", " "), answers, 120)


def _card(trait_id: str, own: Mapping[str, str], title: str, answers: Mapping | None, wide: int) -> str:
    row = rows("pictures")[trait_id]
    states = _USUAL | _drawable(answers or {}) | own
    if trait_id == "spot_colour" or ("spot" in trait_id and states["pattern"] not in _SPOTTED):
        states["pattern"] = "light_spots"
    if trait_id in _SIZES:
        states = {t: s for t, s in states.items() if t == trait_id or t not in _SIZES}
    shapes = picture(row["view"], states, row["inked"].split(), 1.15 * float(row["window"].split()[2]) / 240)
    return svg_text(shapes, title, row["window"], f'width="{wide}" height="{wide * 2 // 3}"')


def place_of(view: str, trait_id: str, states: Mapping[str, str]) -> Circle | None:
    """Return the circle around what is looked at for a trait, on a whole fish; None where it is not drawn."""
    name = rows("pictures").get(trait_id, {}).get("mark", "")
    return _around(view, name, states.get(_TRAIT_OF.get(name, ""), "plain"))


@cache
def _around(view: str, name: str, shown: str) -> Circle | None:
    art = read_art(view)
    if name in art.circles:
        x, y, radius = art.circles[name]
        return x, y, radius + 3.0
    pieces = [p for part, state, p in art.layers if part == name and state in ("", shown)]
    runs = art.clips.get(name) or [run for *_, path in itertools.chain(*pieces) for run in outlines(path)]
    if not runs:
        return None
    low, high = (edge(np.concatenate(runs), axis=0) for edge in (np.min, np.max))
    x, y = ((low + high) / 2).tolist()
    return x, y, min(float(max(high - low)) / 2 + 2.0, 14.0 if name in art.clips else 25.0)


def svg_text(shapes: str, title: str, window: str, more: str, desc: str = "") -> str:
    """Return a drawing on a card, with a title and a description for those who do not see it."""
    left, top, width, height = window.split()
    card = f'd="M{left} {top}h{width}v{height}h-{width}z" fill="{PAPER}" stroke="{BORDER}" stroke-width="2"'
    said = f"<title>{escape(clean(title))}</title>" + (f"<desc>{escape(clean(desc))}</desc>" if desc else "")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="{window}" {more} fill="none" '
        f'stroke-linejoin="round" stroke-linecap="round">{said}<path {card}/>{shapes}</svg>'
    )
