"""The drawings of states and fish: one for every state, they differ, stay inside, are always the same."""

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
from idkey.views import fish
from idkey.views.fish import STATES, outlines, picture, read_art, rows, sown, state_svg

ROOT = Path(__file__).parents[2]
ART = sorted((ROOT / "idkey" / "views" / "art").glob("*.svg"))
VIEWS = [file.stem for file in ART]
BODY = [(t.id, s) for t in load_table().traits for s in t.states if t.id != "basin"]
PARTS = {trait: row for trait, row in rows("pictures").items() if row["part"] and trait != "pattern"}
GREY = np.array([0.299, 0.587, 0.114]) * 255
EVIL = '<script>alert("1")</script> & co'
SVG = "{http://www.w3.org/2000/svg}"


@cache
def grey(trait: str, state: str, width: int = 96) -> np.ndarray:
    """Return the drawing as grey levels 0 to 255; 96 wide is as small as it is ever shown."""
    page = "#set page(width: 120pt, height: 80pt, margin: 0pt)\n"
    source = f'{page}#image(bytes({json.dumps(state_svg(trait, state))}), format: "svg", width: 120pt)'
    return imread(io.BytesIO(typst.compile(source.encode(), format="png", ppi=0.6 * width)))[..., :3] @ GREY


def test_the_states_of_the_table_are_drawn_and_no_others_and_every_genus_has_a_form():
    assert sorted(BODY) == sorted((trait, state) for trait, states in STATES.items() for state in states)
    assert not any(state_svg(*other) for other in (("basin", "xingu"), ("tail_fork", "round"), ("a", "b")))
    assert set(load_table().taxa["genus"]) <= set(rows("forms"))
    assert {f"side-{r['form']}" for r in rows("forms").values()} == {v for v in VIEWS if "side" in v}


@pytest.mark.parametrize(("trait", "state"), BODY)
def test_every_state_of_the_body_is_drawn(trait, state):
    svg = state_svg(trait, state)
    root = ET.fromstring(svg)
    assert [root.tag, *map(root.get, ("role", "width", "height"))] == [f"{SVG}svg", "img", "120", "80"]
    assert (root[0].tag, root[0].text) == (f"{SVG}title", f"{trait}: {state}".replace("_", " "))
    assert 1_500 < len(svg.encode()) < 16_000
    assert "nan" not in svg
    # It stands in a page any number of times, and reaches for nothing; its title is text.
    assert not re.search(r"\sid=|class=|<style|url\(|href|<\?xml|<!DOCTYPE|<script|inkscape", svg)
    assert ET.fromstring(state_svg(trait, state, EVIL))[0].text == EVIL


@pytest.mark.parametrize("trait", STATES)
def test_drawings_of_one_trait_differ_in_grey_at_the_smallest_size(trait):
    for a, b in itertools.combinations(STATES[trait], 2):
        assert (np.abs(grey(trait, a) - grey(trait, b)) > 40).mean() > 0.002


@pytest.mark.parametrize("state", ["light_spots", "dark_spots", "lines", "bars"])
def test_nothing_of_the_pattern_spills_over_the_outline(state):
    plain = grey("pattern", "plain", 480)
    marks = np.abs(grey("pattern", state, 480) - plain) > 60
    assert marks.sum() > 1000
    assert not (marks & (plain > 215)).any()


def test_same_bytes_in_another_process_without_pyplot_or_notebook():
    code = (
        "import sys; from idkey.views.fish import state_svg; print(state_svg('pattern', 'bars'), end='')\n"
        "assert not {'matplotlib', 'scipy', 'ipywidgets', 'IPython'} & set(sys.modules)"
    )
    there = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True, cwd=ROOT).stdout
    assert there.decode() == state_svg("pattern", "bars")


def test_a_drawing_takes_over_the_answers_given_already():
    seen = {"pattern": "dark_spots", "ground_colour": "pale", "life_stage": "adult", "teeth_lower": "5..6"}
    for trait, state in (("spot_size", "small"), ("spot_density", "dense"), ("head_spots", "same")):
        svg = state_svg(trait, state, answers=seen)
        assert rows("colours")["ground"]["pale"] in svg
        assert set(re.findall(r'h\.01" stroke="([^"]*)"', svg)) == {fish.INK}
    # The answer to the trait itself gives way, a lean is no state, and what is asked of spots has spots.
    answers = {"tail_fork": "straight", "basin": "xingu", "pattern": "bars:0.5|plain:0.5"}
    assert state_svg("tail_fork", "forked", answers=answers) == state_svg("tail_fork", "forked")
    assert "h.01" in state_svg("spot_size", "small", answers={"pattern": "bars"})


def test_colours_are_even_steps_in_black_and_white():
    grounds = [fish.ground_tone({"ground_colour": g})["ground"] for g in ("pale", "olive", "dark")]
    marks = [fish.MARKS[colour] for colour in ("white", "yellow", "orange")]
    for colours, least in (([*marks, grounds[2]], 40), (grounds, 60)):
        assert (np.diff([np.dot(to_rgb(colour), GREY) for colour in colours]) < -least).all()


@pytest.mark.parametrize("trait", PARTS)
def test_button_and_fish_show_a_state_by_the_same_layer_and_the_unknown_by_none(trait):
    view, part = PARTS[trait]["view"], PARTS[trait]["part"]
    drawn = {state: picture(view, {trait: state}) for state in STATES[trait]}
    for state, whole in drawn.items():
        (pieces,) = (pieces for *layer, pieces in read_art(view).layers if layer == [part, state])
        shown = [path for kind, _, path in pieces if kind != "hem" and path]
        assert shown
        assert all(path in whole and path in state_svg(trait, state) for path in shown)
    assert picture(view, {}) not in drawn.values()


def test_a_spotted_fish_of_which_little_is_known_wears_plain_spots_and_no_rings():
    spotted = {"pattern": "light_spots"}
    for trait in ("spot_size", "spot_density", "head_spots", "spot_colour", "ground_colour"):
        drawn = {picture("side-deep", spotted | {trait: state}) for state in STATES[trait]}
        assert picture("side-deep", spotted) not in drawn
    assert not any("dasharray" in picture(view, spotted) for view in VIEWS)


SIZES = [  # "at least as wide as the eye"; the others as their names say
    ("spot_size", "eye-rim", {"small": (0.1, 0.5), "medium": (0.5, 0.9), "large": (1, 2)}),
    ("spot_vs_pupil", "pupil", {"under_half": (0.1, 0.5), "smaller": (0.5, 0.9), "larger": (1.1, 2)}),
    ("spot_vs_nostril", "nostril-opening", {"smaller": (0.1, 0.9), "equal": (0.9, 1.1), "larger": (1.1, 2)}),
]


@pytest.mark.parametrize(("trait", "measure", "states"), SIZES)
def test_spots_are_as_large_as_the_eye_the_pupil_or_the_nostril_says(trait, measure, states):
    for state, (least, most) in states.items():
        shapes = picture("side-deep", {"pattern": "light_spots", trait: state})
        width = float(re.search(r'h\.01" stroke="[^"]*" stroke-width="([\d.]+)"', shapes)[1])
        assert least <= width / 2 / read_art("side-deep").circles[measure][2] <= most


@pytest.mark.parametrize("view", VIEWS)
def test_spots_stay_inside_apart_and_in_place(view):
    fins = [outlines(p) for *_, pieces in read_art(view).layers for k, _, p in pieces if k == "clip-fins"]
    for polygons in (*read_art(view).clips.values(), *fins):
        for radius in (1.2, 4.0):
            hole = (*polygons[0].mean(axis=0), 4.0)
            xy = sown(polygons, 3 * radius, radius, [hole])
            assert len(xy)
            assert Outline.make_compound_path(*map(Outline, polygons)).contains_points(xy).all()
            assert (np.hypot(*(xy - hole[:2]).T) >= hole[2] + radius).all()
            apart = np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1)) + 1e3 * np.eye(len(xy))
            assert apart.min() >= 3 * radius
        np.testing.assert_array_equal(xy, sown(polygons, 3 * radius, radius, [hole]))


@pytest.mark.parametrize("file", ART, ids=lambda f: f.stem)
def test_a_file_of_the_art_is_one_an_illustrator_can_work_on(file):
    text = file.read_text(encoding="utf-8")
    elements = list(ET.fromstring(text).iter())
    ids = [e.get("id") for e in elements if e.get("id")]
    assert len(text.encode()) < 40_000
    assert len(ids) == len(set(ids))
    assert all(re.fullmatch(r"[a-z]+(-[a-z]+)*(--[a-z]+(_[a-z]+)*)?", name) for name in ids)
    assert not any(re.search(r"\d\.\d\d", e.get("d", "")) for e in elements)
    swatches = {row["swatch"] for row in rows("colours").values()}
    assert set(re.findall(r"#[0-9a-f]{6}", text)) <= swatches | {fish.PAPER, "#ffffff", "#000000"}
    states = {row["part"]: STATES[trait] for trait, row in rows("pictures").items()}
    assert all(state in ("", "plain", *states.get(part, ())) for part, state, _ in read_art(file.stem).layers)


def test_paths_are_read_as_any_editor_writes_them():
    for path in ("M0 0H10V10H0Z", "m0,0h10v10h-10z", "M0 0l10 0 0 10-10 0z", "M0,0L1e1,0L10,10L0,10"):
        np.testing.assert_allclose(outlines(path), [[(0, 0), (10, 0), (10, 10), (0, 10)]])
    for path in ("M0 0C3 0 6 0 10 0Q10 5 10 10S5 10 0 10", "M0 0A9 9 0 0 1 10 0T10 10L0 10"):
        (round_square,) = outlines(path)
        assert all((round_square == corner).all(axis=1).any() for corner in [(10, 0), (10, 10), (0, 10)])
