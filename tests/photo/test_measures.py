"""Measures against exact geometry, a colour chart, and fish that were rendered; and the answers of them."""

import json
import math

import numpy as np
import pytest
from answered import answered
from hypothesis import given
from hypothesis import strategies as st
from render_fish import DEMO, FOLDER, Fish, jpeg, render, srgb
from skimage.draw import disk

from idkey.photo.answers import answers_of
from idkey.photo.colour import lab, linear
from idkey.photo.finding import find_spots
from idkey.photo.measures import MEASURED, measure
from idkey.photo.picture import Picture, open_picture, read_picture
from idkey.photo.points import Points
from idkey.photo.spots import Spots
from idkey.table.reading import parse_answer
from idkey.table.schema import Range

BLANK = Picture("blank", "", np.zeros((64, 64, 3), np.uint8))
TRUTH = {
    fish["file"]: fish for fish in json.loads((FOLDER / "truth.json").read_text(encoding="utf-8"))["fish"]
}


@given(st.floats(0, 0.9), st.floats(20, 400), st.floats(0.2, 3), st.floats(0, 6.28))
def test_the_fork_of_exact_shapes_is_exact(depth, length, slant, turn):
    # A fin of this length with a notch of this depth; its edge may be cut obliquely, which is no fork.
    spin = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    upper, lower = np.array([length, -slant * length]), np.array([length, slant * length / 2])
    middle = np.array([length * (1 - depth), -0.1 * length])
    flat = {"tail_base": (0, 0), "tail_upper": upper, "tail_lower": lower, "tail_middle": middle}
    found = measure(BLANK, Points({name: spin @ np.array(place) + 900 for name, place in flat.items()}))[
        "fork_depth"
    ]
    assert found.value == pytest.approx(depth, abs=1e-6)
    assert found.low <= found.value <= found.high


def test_lengths_come_by_the_ruler_and_ratios_without_it():
    at = {
        "snout": (100, 500),
        "tail_base": (900, 500),
        "gill": (300, 500),
        "eye_front": (150, 480),
        "eye_back": (190, 480),
    }
    at |= {
        "ruler_a": (100, 700),
        "ruler_b": (600, 700),
        "back": (400, 400),
        "belly": (400, 600),
        "dorsal_tip": (400, 100),
    }
    found = measure(BLANK, Points(at, 50.0))
    assert found["standard_length"].value == pytest.approx(80)
    assert found["eye_vs_head"].value == pytest.approx(20)
    assert found["dorsal_height"].value == pytest.approx(1.5)
    without = measure(BLANK, at)
    assert "millimetres" in without.missing["standard_length"]
    assert without["eye_vs_head"].value == pytest.approx(20)
    assert {*without, *without.missing} == {*MEASURED}


def test_what_is_missing_is_not_guessed():
    nothing = measure(BLANK, {})
    assert not nothing
    assert {*nothing.missing} == {*MEASURED}
    assert "pupil" in measure(BLANK, {"snout": (1, 1)}, find_spots_of("photo_1.jpg")).missing["spot_vs_pupil"]


def test_a_point_taken_away_after_the_spots_were_found_is_said_to_be_missing():
    points, spots = Points(TRUTH["photo_1.jpg"]["points"]), find_spots_of("photo_1.jpg")
    assert "head_bare" in measure(BLANK, points, spots)
    for name in ("snout", "tail_base", "gill", "back", "belly"):
        assert measure(BLANK, points.moved(name, None), spots).missing["head_bare"] == f"not set: {name}"


def find_spots_of(name):
    truth = TRUTH[name]
    return find_spots(open_picture(FOLDER / name), Points(truth["points"], truth["ruler_mm"]))


# sRGB and CIELAB (D50) published for patches of the chart of 24 colours (McCamy, Marcus & Davidson 1976); the
# figures are from memory. The two were measured on different charts, which differ by up to 6 (orange).
CHART = {
    "white": ((243, 243, 242), (96.5, -0.4, 1.2)),
    "yellow": ((231, 199, 31), (81.7, 4.0, 79.8)),
    "orange": ((214, 126, 44), (62.7, 36.1, 57.1)),
    "light skin": ((194, 150, 130), (65.7, 18.1, 17.8)),
    "neutral 6.5": ((160, 160, 160), (66.8, -0.7, -0.5)),
}
# White points of CIE 015, and the cone responses of Bradford (ICC.1:2022, annex E).
D50, D65 = np.array([0.9642, 1, 0.8251]), np.array([0.95047, 1, 1.08883])
BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])


def under_d65(published):
    """CIELAB under D65 of what is published under D50."""
    lightness, a, b = published
    y = (lightness + 16) / 116
    xyz = np.array([y + a / 500, y, y - b / 200]) ** 3 * D50
    xyz = np.linalg.solve(BRADFORD, BRADFORD @ xyz * (BRADFORD @ D65) / (BRADFORD @ D50))
    x, y, z = np.cbrt(xyz / D65)
    return 116 * y - 16, 500 * (x - y), 200 * (y - z)


@pytest.mark.parametrize("name", CHART)
def test_colours_of_the_chart_are_those_published(name):
    coded, published = CHART[name]
    assert np.linalg.norm(lab(linear(np.array(coded))) - under_d65(published)) < 6


@pytest.mark.parametrize(
    ("coded", "known"),
    # CIELAB of the primaries of sRGB under D65, as published by Lindbloom; from memory.
    [
        ((255, 0, 0), (53.24, 80.09, 67.20)),
        ((0, 255, 0), (87.73, -86.18, 83.18)),
        ((0, 0, 255), (32.30, 79.19, -107.86)),
    ],
)
def test_primaries_have_their_colour(coded, known):
    assert np.allclose(lab(linear(np.array(coded))), known, atol=0.05)


@pytest.mark.parametrize("lamp", [(1, 1, 1), (1, 0.85, 0.55)])
@pytest.mark.parametrize("name", ["white", "yellow", "orange"])
def test_spots_of_the_colours_of_the_chart_are_named_under_a_warm_lamp_too(name, lamp, shipped):
    light = np.full((260, 700, 3), 0.02)
    for i in range(8):
        light[disk((130, 200 + 56 * i), 12)] = linear(np.array(CHART[name][0]))
    light[:40, :40] = 0.9
    picture = Picture("chart", "", srgb(0.8 * light * lamp))
    at = {
        "snout": (10, 130),
        "tail_base": (690, 130),
        "gill": (150, 130),
        "back": (300, 40),
        "belly": (300, 220),
    }
    with_white, without = (Points(at | white) for white in ({"white": (20, 20)}, {}))
    spots = find_spots(picture, with_white)
    assert len(spots) == 8
    answer = parse_answer(
        shipped.trait("spot_colour"), measure(picture, with_white, spots).answers(shipped)["spot_colour"]
    )
    assert dict(zip(answer.names, answer.shares, strict=True))[name] > 0.5
    bare = measure(picture, without, spots)["spot_yellow"]
    balanced = measure(picture, with_white, spots)["spot_yellow"]
    assert "no white patch" in bare.note
    assert bare.high - bare.low > 2 * (balanced.high - balanced.low)


@pytest.mark.parametrize("name", DEMO)
def test_the_pictures_of_the_demo_are_measured(name, shipped):
    truth = TRUTH[name]
    picture, points = open_picture(FOLDER / name), Points(truth["points"], truth["ruler_mm"])
    found = measure(picture, points, find_spots(picture, points))
    for measured in ("spot_vs_eye", "gap_vs_spot", "fork_depth", "dorsal_height"):
        assert found[measured].low <= truth["measures"][measured] <= found[measured].high
    answers = found.answers(shipped)
    assert {*answered(shipped, answers).answers} == {*answers}
    assert answers["pattern"] == f"{truth['answers']['pattern']} measured on a photo"


def test_the_files_of_the_demo_are_what_the_script_gives():
    for name, fish in DEMO.items():
        pixels, truth = render(fish)
        # Other versions of the JPEG library may round otherwise.
        off = np.abs(
            open_picture(FOLDER / name).pixels.astype(int) - read_picture(jpeg(pixels, fish.quality)).pixels
        )
        assert off.max() <= 4
        assert json.loads(json.dumps(truth)).items() <= TRUTH[name].items()
    assert {*DEMO} == {*TRUTH}


def test_a_measure_at_a_border_leans_to_neither_and_one_far_off_is_sure(shipped):
    at = {"tail_base": (0, 0), "tail_upper": (300, -100), "tail_lower": (300, 100)}
    border = shipped.trait("tail_fork").borders[1]
    shares = {}
    for depth in (border, 0.4):
        text = measure(BLANK, at | {"tail_middle": (300 * (1 - depth), 0)}).answers(shipped)["tail_fork"]
        answer = parse_answer(shipped.trait("tail_fork"), text)
        shares[depth] = dict(zip(answer.names, answer.shares, strict=True))
    assert 0.35 < shares[border]["forked"] < 0.65
    assert shares[0.4] == {"forked": 1.0}


def test_a_measure_that_leans_to_no_state_at_all_is_no_answer(shipped):
    border = shipped.trait("dorsal_height").borders[0]
    draws = {"dorsal_height": border + np.array([-0.1, 0.1, 0.2, -0.2])}
    assert answers_of(shipped, draws) == {}
    assert answers_of(shipped, draws | {"fork_depth": np.zeros(4)}) == {
        "tail_fork": "straight measured on a photo"
    }


@pytest.mark.parametrize("rows", [(0.5, -0.5), (0.4, -0.6, 1.4), (0.0, 1.0, -1.0)])
def test_the_row_nearest_the_middle_is_counted_where_the_middle_runs_between_rows_too(rows):
    at = {"snout": (0, 0), "tail_base": (1000, 0), "gill": (200, 0), "back": (400, -150), "belly": (400, 150)}
    turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    disc = 12 * np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    spots = Spots(tuple(disc + (x, 70 * row) for row in rows for x in range(220, 980, 70)))
    found = measure(BLANK, at, spots)["spots_in_row"]
    assert found.value == len(range(220, 980, 70))
    assert found.low >= found.value - 2


@pytest.mark.parametrize("on_head", ["none", "same"])
def test_a_head_without_spots_is_answered_and_one_with_spots_is_not_taken_for_it(on_head, shipped):
    pixels, truth = render(Fish(length=420, gap=1.5, head_spots=on_head, seed=4))
    picture, points = read_picture(jpeg(pixels, 90)), Points(truth["points"])
    text = measure(picture, points, find_spots(picture, points)).answers(shipped)["head_spots"]
    answer = parse_answer(shipped.trait("head_spots"), text)
    shares = dict(zip(answer.names, answer.shares, strict=True))
    assert max(shares, key=shares.get) == on_head


def test_numbers_are_answered_by_the_interval_and_every_measure_of_the_table_exists(shipped):
    # The ruler lies nearer than the fish, and not quite flat.
    fish = Fish(length=360, seed=3, ruler_near=0.03, ruler_turn=6)
    pixels, truth = render(fish)
    points = Points(truth["points"], truth["ruler_mm"])
    answer = measure(read_picture(jpeg(pixels, 90)), points).answers(shipped)["adult_size"]
    read = parse_answer(shipped.trait("adult_size"), answer)
    assert isinstance(read, Range)
    assert read.low < fish.mm < read.high
    assert read.measured
    assert {name for trait in shipped.traits for name in trait.measured} <= {*MEASURED}
