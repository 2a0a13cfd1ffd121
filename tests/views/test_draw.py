"""The drawings: there is one for every state of the body, they differ, and they are always the same."""

from __future__ import annotations

import csv
import itertools
import re
import subprocess
import sys
from dataclasses import fields
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from matplotlib import colors, rc_context
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from idkey.views import draw
from idkey.views.draw_look import STATES, Look
from idkey.views.draw_style import MARKS, PAPER, Profile, ground_tone, spread

ROOT = Path(__file__).parents[2]
SVG = "{http://www.w3.org/2000/svg}"
NOT_OF_THE_BODY = {"basin"}


def body_states() -> list[tuple[str, str]]:
    with open(ROOT / "traits" / "traits.csv", encoding="utf-8", newline="") as lines:
        return [
            (row["id"], state)
            for row in csv.DictReader(lines)
            if row["kind"] in {"nominal", "ordinal"} and row["id"] not in NOT_OF_THE_BODY
            for state in row["states"].split("|")
        ]


BODY = body_states()
TRAITS = sorted({trait for trait, _ in BODY})
FISH = {
    "all known": Look.of({trait: states[0] for trait, states in STATES.items()}),
    "the other way": Look.of({trait: states[-1] for trait, states in STATES.items()}),
    "spots only": Look(pattern="light_spots"),
    "nothing known": Look(),
}


def grey(trait: str, state: str, width: int = 96) -> np.ndarray:
    """Return the drawing as grey levels 0 to 255, as small as it is ever shown."""
    figure = Figure(figsize=(120 / 72, 80 / 72), dpi=72 * width / 120)
    canvas = FigureCanvasAgg(figure)
    draw.draw_state(figure.add_axes((0, 0, 1, 1)), trait, state)
    canvas.draw()
    return np.asarray(canvas.buffer_rgba())[..., :3] @ np.array([0.299, 0.587, 0.114])


def test_look_and_states_are_the_drawable_traits_of_the_table():
    assert {trait: tuple(s for t, s in BODY if t == trait) for trait in TRAITS} == STATES
    assert [f.name for f in fields(Look)] == list(STATES)


@pytest.mark.parametrize(("trait", "state"), BODY)
def test_every_state_of_the_body_is_drawn(trait, state):
    svg = draw.state_svg(trait, state)
    assert svg is not None
    root = ET.fromstring(svg)
    assert root.tag == f"{SVG}svg"
    assert root.get("role") == "img"
    assert root.get("viewBox") == "0 0 120 80"
    assert root[0].tag == f"{SVG}title"
    assert root[0].text == f"{trait}: {state}".replace("_", " ")
    assert len(list(root.iter(f"{SVG}path"))) > 5
    assert len(svg.encode()) < 12_000
    assert "nan" not in svg


@pytest.mark.parametrize(
    ("trait", "state"), [("basin", "xingu"), ("tail_fork", "round"), ("petal_width", "wide")]
)
def test_what_cannot_be_drawn_is_none(trait, state):
    assert draw.state_svg(trait, state) is None


@pytest.mark.parametrize("trait", TRAITS)
def test_drawings_of_one_trait_differ_in_grey_at_the_smallest_size(trait):
    pictures = [grey(t, s) for t, s in BODY if t == trait]
    for a, b in itertools.combinations(pictures, 2):
        assert (np.abs(a - b) > 40).mean() > 0.002


@pytest.mark.parametrize("trait", TRAITS)
def test_same_bytes_again_whatever_the_notebook_has_set(trait):
    state = STATES[trait][-1]
    first = draw._state_shapes(trait, state)
    rough = {"savefig.bbox": "tight", "figure.dpi": 200, "path.sketch": (1, 100, 2), "svg.fonttype": "path",
             "lines.linewidth": 9, "figure.autolayout": True, "axes.facecolor": "black"}  # fmt: skip
    with rc_context(rough):
        assert draw._state_shapes.__wrapped__(trait, state) == first


def test_same_bytes_in_another_process():
    code = "from idkey.views.draw import state_svg; print(state_svg('pattern', 'light_spots'), end='')"
    there = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True, cwd=ROOT).stdout
    assert there.decode() == draw.state_svg("pattern", "light_spots")


def test_title_is_escaped_and_may_be_given():
    title = '<script>alert("1")</script> & co'
    svg = draw.state_svg("tail_fork", "forked", title)
    assert "<script" not in svg
    assert ET.fromstring(svg)[0].text == title
    assert draw.state_svg("tail_fork", "forked").count("<title>") == 1


def test_can_stand_in_a_page_many_times_and_reaches_for_nothing():
    for state in BODY:
        svg = draw.state_svg(*state)
        assert not re.search(r"\sid=|<style|url\(|href|<\?xml|<!DOCTYPE|<script", svg)
    for view in draw.VIEWS:
        assert " id=" not in draw.fish_svg(FISH["all known"], view, "a fish")


@pytest.mark.parametrize("view", list(draw.VIEWS))
@pytest.mark.parametrize("name", list(FISH))
def test_a_whole_fish_is_drawn_from_every_side(name, view):
    svg = draw.fish_svg(FISH[name], view, name)
    assert ET.fromstring(svg)[0].text == name
    assert len(svg.encode()) < 16_000


def test_what_is_not_known_is_dotted():
    for view in ("side", "under", "tail", "front", "jaws", "teeth"):
        assert "stroke-dasharray" in draw.fish_svg(FISH["nothing known"], view, "")
        assert "stroke-dasharray" not in draw.fish_svg(FISH["all known"], view, "")


def test_look_of_a_row_leaves_out_what_cannot_be_drawn():
    row = {"pattern": "bars", "tail_fork": "forked|concave", "fin_spots": float("nan"), "basin": "xingu"}
    assert Look.of(row) == Look(pattern="bars")


def test_spots_stay_inside_apart_and_in_place():
    body = Profile([(0, 20), (30, 0), (90, 10), (100, 20)], [(0, 20), (20, 30), (100, 26)])
    hole = (30.0, 12.0, 4.0)
    for radius in (0.8, 1.6, 3.0):
        distance = 2.6 * radius
        xy = spread((0, 0, 100, 30), distance, profile=body, margin=radius, holes=[hole])
        assert len(xy) > 12
        assert body.inside(xy, radius).all()
        assert (np.hypot(*(xy - hole[:2]).T) >= hole[2] + radius).all()
        apart = np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1)) + 1e3 * np.eye(len(xy))
        assert apart.min() >= 2 * radius
        np.testing.assert_array_equal(
            xy, spread((0, 0, 100, 30), distance, profile=body, margin=radius, holes=[hole])
        )


def test_nothing_of_the_pattern_spills_over_the_outline():
    plain = grey("pattern", "plain", 480)
    outside = plain > 215
    for state in ("light_spots", "lines", "bars"):
        marks = np.abs(grey("pattern", state, 480) - plain) > 60
        assert marks.sum() > 1000
        assert not (marks & outside).any()


def test_colours_are_even_steps_in_black_and_white():
    def level(colour: str) -> float:
        return float(np.dot(colors.to_rgb(colour), [0.299, 0.587, 0.114])) * 255

    marks = [level(MARKS[c]) for c in ("white", "yellow", "orange")] + [
        level(ground_tone("dark", "plain").face)
    ]
    grounds = [level(ground_tone(g, "plain").face) for g in ("pale", "olive", "dark")]
    assert (np.diff(marks) < -40).all()
    assert (np.diff(grounds) < -60).all()
    assert level(PAPER) > 245


def test_pyplot_and_the_notebook_are_left_alone():
    code = (
        "import sys, idkey; assert 'matplotlib' not in sys.modules; "
        "from idkey.views.draw import state_svg; state_svg('pattern', 'bars'); "
        "assert not {'matplotlib.pyplot', 'ipywidgets', 'IPython'} & set(sys.modules)"
    )
    subprocess.run([sys.executable, "-c", code], check=True, cwd=ROOT)
