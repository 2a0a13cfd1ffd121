"""The drawings of states and fish: one for every state, they differ, stay inside, are always the same."""

from __future__ import annotations

import csv
import io
import itertools
import json
import re
import subprocess
import sys
from functools import cache
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest
import typst
from matplotlib.colors import to_rgb
from matplotlib.image import imread
from matplotlib.path import Path as Outline

from idkey import load_table
from idkey.views.art import INK, PAPER, outlines, read_art, rows, sown
from idkey.views.fish import MARKS, STATES, ground_tone, picture, state_svg

ROOT = Path(__file__).parents[2]
ART = sorted((ROOT / "idkey" / "views" / "art").glob("*.svg"))
SVG = "{http://www.w3.org/2000/svg}"
VIEWS = sorted(file.stem for file in ART)
GREY = np.array([0.299, 0.587, 0.114]) * 255


def body_states() -> list[tuple[str, str]]:
    with open(ROOT / "traits" / "traits.csv", encoding="utf-8", newline="") as lines:
        return [
            (row["id"], state)
            for row in csv.DictReader(lines)
            if row["kind"] in {"nominal", "ordinal"} and row["id"] != "basin"
            for state in row["states"].split("|")
        ]


BODY = body_states()
TRAITS = sorted({trait for trait, _ in BODY})


@cache
def grey(trait: str, state: str, width: int = 96) -> np.ndarray:
    """Return the drawing as grey levels 0 to 255; 96 wide is as small as it is ever shown."""
    page = "#set page(width: 120pt, height: 80pt, margin: 0pt)\n"
    source = f'{page}#image(bytes({json.dumps(state_svg(trait, state))}), format: "svg", width: 120pt)'
    png = typst.compile(source.encode(), format="png", ppi=72 * width / 120)
    return imread(io.BytesIO(png))[..., :3] @ GREY


# -- the drawings of states ------------------------------------------------------------------------------


def test_the_drawable_states_are_those_of_the_table():
    assert {trait: tuple(s for t, s in BODY if t == trait) for trait in TRAITS} == dict(
        sorted(STATES.items())
    )


@pytest.mark.parametrize(("trait", "state"), BODY)
def test_every_state_of_the_body_is_drawn(trait, state):
    svg = state_svg(trait, state)
    root = ET.fromstring(svg)
    assert root.tag == f"{SVG}svg"
    assert root.get("role") == "img"
    assert (root.get("width"), root.get("height")) == ("120", "80")
    assert root[0].tag == f"{SVG}title"
    assert root[0].text == f"{trait}: {state}".replace("_", " ")
    assert len(list(root.iter(f"{SVG}path"))) > 3
    assert 1_500 < len(svg.encode()) < 16_000
    assert "nan" not in svg
    # It stands in a page any number of times, and reaches for nothing.
    assert not re.search(r"\sid=|class=|<style|url\(|href|<\?xml|<!DOCTYPE|<script|inkscape", svg)


@pytest.mark.parametrize(
    ("trait", "state"), [("basin", "xingu"), ("tail_fork", "round"), ("petal_width", "wide")]
)
def test_what_cannot_be_drawn_is_none(trait, state):
    assert state_svg(trait, state) is None


@pytest.mark.parametrize("trait", TRAITS)
def test_drawings_of_one_trait_differ_in_grey_at_the_smallest_size(trait):
    pictures = [grey(t, s) for t, s in BODY if t == trait]
    for a, b in itertools.combinations(pictures, 2):
        assert (np.abs(a - b) > 40).mean() > 0.002


def test_nothing_of_the_pattern_spills_over_the_outline():
    plain = grey("pattern", "plain", 480)
    fish = {state: grey("pattern", state, 480) for state in ("light_spots", "dark_spots", "lines", "bars")}
    for shown in fish.values():
        # The paper, the ghost of the fins and the contour stay as they are.
        assert not ((np.abs(shown - plain) > 60) & (plain > 215)).any()
        assert (np.abs(shown - plain) > 60).sum() > 1000


def test_same_bytes_in_another_process_without_pyplot_or_notebook():
    code = (
        "import sys; from idkey.views.fish import state_svg;"
        "print(state_svg('pattern', 'light_spots'), end='');"
        "assert not {'matplotlib', 'scipy', 'ipywidgets', 'IPython'} & set(sys.modules)"
    )
    there = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True, cwd=ROOT).stdout
    assert there.decode() == state_svg("pattern", "light_spots")


def test_the_title_is_escaped_and_may_be_given():
    title = '<script>alert("1")</script> & co'
    svg = state_svg("tail_fork", "forked", title)
    assert "<script" not in svg
    assert ET.fromstring(svg)[0].text == title
    assert svg.count("<title>") == 1


def test_a_drawing_takes_over_the_answers_given_already():
    seen = {"pattern": "dark_spots", "ground_colour": "pale", "life_stage": "adult", "teeth_lower": "5..6"}
    for trait, state in (("spot_size", "small"), ("spot_density", "dense"), ("head_spots", "same")):
        svg = state_svg(trait, state, answers=seen)
        assert rows("colours")["ground"]["pale"] in svg
        assert re.search(rf'h\.01" stroke="{INK}"', svg)
        assert not re.search(rf'h\.01" stroke="{PAPER}"', svg)
    same = state_svg("tail_fork", "forked", answers={"tail_fork": "straight", "basin": "xingu"})
    assert same == state_svg("tail_fork", "forked")
    # A lean is no state, and a question about spots is drawn on a spotted fish.
    assert state_svg("spot_size", "small", answers={"pattern": "bars:0.5|plain:0.5"}) == state_svg(
        "spot_size", "small"
    )
    assert "h.01" in state_svg("spot_size", "small", answers={"pattern": "bars"})


def test_colours_are_even_steps_in_black_and_white():
    def level(colour: str) -> float:
        return float(np.dot(to_rgb(colour), GREY))

    grounds = [ground_tone({"ground_colour": g})["ground"] for g in ("pale", "olive", "dark")]
    assert (
        np.diff([level(MARKS[c]) for c in ("white", "yellow", "orange")] + [level(grounds[2])]) < -40
    ).all()
    assert (np.diff([level(ground) for ground in grounds]) < -60).all()
    assert level(PAPER) > 245


# -- known and not known ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("trait", "row"), [(t, r) for t, r in rows("pictures").items() if r["part"]])
def test_button_and_fish_show_a_state_by_the_same_layer(trait, row):
    for state in STATES[trait]:
        layers = [pieces for p, s, pieces in read_art(row["view"]).layers if (p, s) == (row["part"], state)]
        data = [
            path for pieces in layers for kind, _, path in pieces if kind not in {"hem", "detail"} and path
        ]
        for path in data:
            assert path in state_svg(trait, state)
            assert path in picture(row["view"], {trait: state})
        assert data or trait == "pattern" or state == "none"


def test_what_is_not_known_is_drawn_as_no_state_and_wears_no_ring():
    parts = {t: r for t, r in rows("pictures").items() if r["part"] and t not in {"pattern"}}
    for trait, row in parts.items():
        unknown = picture(row["view"], {})
        assert unknown not in {picture(row["view"], {trait: state}) for state in STATES[trait]}
    spotted = picture("side-deep", {"pattern": "light_spots"})
    for trait in ("spot_size", "spot_density", "head_spots", "spot_colour", "ground_colour"):
        drawn = {picture("side-deep", {"pattern": "light_spots", trait: state}) for state in STATES[trait]}
        assert spotted not in drawn
    assert not any("dasharray" in picture(view, {"pattern": "light_spots"}) for view in VIEWS)


@pytest.mark.parametrize(
    ("trait", "measure"),
    [("spot_size", "eye-rim"), ("spot_vs_pupil", "pupil"), ("spot_vs_nostril", "nostril-opening")],
)
def test_spots_are_as_large_as_the_eye_the_pupil_or_the_nostril_says(trait, measure):
    art = read_art("side-deep")
    for state in STATES[trait]:
        shapes = picture("side-deep", {"pattern": "light_spots", trait: state})
        share = (
            float(re.search(r'h\.01" stroke="[^"]*" stroke-width="([\d.]+)"', shapes)[1])
            / 2
            / art.circles[measure][2]
        )
        # "at least as wide as the eye"; the others as their names say
        least, most = {
            "small": (0.1, 0.5), "medium": (0.5, 0.9), "large": (1.0, 2.0), "under_half": (0.1, 0.5),
            "smaller": (0.1, 0.9), "equal": (0.9, 1.1), "larger": (1.1, 2.0),
        }[state]  # fmt: skip
        assert least <= share <= most


@pytest.mark.parametrize("view", VIEWS)
def test_spots_stay_inside_apart_and_in_place(view):
    for polygons in read_art(view).clips.values():
        for radius in (0.8, 1.6, 4.0):
            hole = (*polygons[0].mean(axis=0), 4.0)
            xy = sown(polygons, 3 * radius, radius, [hole])
            assert len(xy)
            outline = Outline.make_compound_path(*(Outline(p, closed=False) for p in polygons))
            assert outline.contains_points(xy).all()
            assert (np.hypot(*(xy - hole[:2]).T) >= hole[2] + radius).all()
            apart = np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1)) + 1e3 * np.eye(len(xy))
            assert apart.min() >= 3 * radius
            np.testing.assert_array_equal(xy, sown(polygons, 3 * radius, radius, [hole]))


# -- the art ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("file", ART, ids=lambda f: f.stem)
def test_a_file_of_the_art_is_one_an_illustrator_can_work_on(file):
    text = file.read_text(encoding="utf-8")
    root = ET.fromstring(text)
    ids = [e.get("id") for e in root.iter() if e.get("id")]
    assert len(text.encode()) < 40_000
    assert len(ids) == len(set(ids))
    assert all(re.fullmatch(r"[a-z]+(-[a-z]+)*(--[a-z]+(_[a-z]+)*)?", name) for name in ids)
    assert not re.search(r"\d\.\d\d", "".join(e.get("d", "") for e in root.iter()))
    swatches = {row["swatch"] for row in rows("colours").values()} | {PAPER, "#ffffff", "#000000"}
    assert set(re.findall(r"#[0-9a-f]{6}", text)) <= swatches


def test_every_layer_of_a_state_is_a_state_and_every_genus_of_the_table_has_a_form():
    traits = {row["part"]: trait for trait, row in rows("pictures").items()}
    for view in VIEWS:
        for part, state, _ in read_art(view).layers:
            assert not state or state == "plain" or state in STATES[traits[part]], (view, part, state)
    assert set(load_table().taxa["genus"]) <= set(rows("forms"))
    forms = {f"side-{row['form']}" for row in rows("forms").values()}
    assert forms == {view for view in VIEWS if view.startswith("side")}


def test_paths_are_read_as_any_editor_writes_them():
    square = [[(0, 0), (10, 0), (10, 10), (0, 10)]]
    for path in (
        "M0 0H10V10H0Z",
        "m0,0h10v10h-10z",
        "M 0 0 10 0 10 10 0 10 Z",
        "M0 0l10 0 0 10-10 0z",
        "M0,0L1e1,0L10,10L0,10",
    ):
        np.testing.assert_allclose(outlines(path), square)
    for path in (
        "M0 0C0 5 5 10 10 10",
        "m0 0c0 5 5 10 10 10",
        "M0 0Q0 10 10 10",
        "M0 0S0 10 10 10T20 20A5 5 0 0 1 30 30",
    ):
        (curve,) = outlines(path)
        assert tuple(curve[0]) == (0, 0)
        assert tuple(curve[-1]) in {(10, 10), (30, 30)}
