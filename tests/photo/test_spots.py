"""Spots: their sizes against plain geometry and coins, and those of rendered fish against the truth."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from render_fish import Fish, drawn_at_random, jpeg, render
from skimage.draw import ellipse

from idkey.errors import IdkeyError
from idkey.photo.finding import find_spots, toggled
from idkey.photo.picture import Picture, read_picture
from idkey.photo.points import Points
from idkey.photo.spots import Spots

SQUARE = np.array([(0, 0), (4, 0), (4, 4), (0, 4)], float)


@pytest.fixture(scope="module")
def small():
    """A picture of a rendered fish, its points and its truth."""
    fish = Fish(length=360, spot=0.03, gap=1.6, blur=1.0, seed=11)
    pixels, truth = render(fish)
    return read_picture(jpeg(pixels, 90)), Points(truth["points"], truth["ruler_mm"]), truth


@given(st.floats(0.1, 50), st.tuples(st.floats(-900, 900), st.floats(-900, 900)))
def test_area_centre_and_roundness_are_those_of_geometry(size, away):
    spots = Spots((SQUARE * size + away,))
    assert spots.area[0] == pytest.approx(16 * size**2)
    assert np.allclose(spots.centre[0], np.array(away) + 2 * size)
    # Of a square pi / 4: 4 pi a^2 / (4 a)^2.
    assert spots.roundness[0] == pytest.approx(np.pi / 4)
    assert spots.at(away[0] + size, away[1] + size) == 0
    assert spots.at(away[0] + 5 * size, away[1] + size) is None


def test_spots_come_back_from_json_and_what_are_none_is_refused():
    spots = Spots((SQUARE, SQUARE + 9), [True, False], [False, True], light=True)
    back = Spots.from_json(spots.to_json())
    assert np.array_equal(back.outlines, spots.outlines)
    assert (back.head.tolist(), back.by_hand.tolist(), back.light) == ([True, False], [False, True], True)
    for text in (
        "[]",
        "{}",
        '{"outlines": [[[1, 2]]], "head": [], "by_hand": []}',
        '{"outlines": 5, "head": 1, "by_hand": 1}',
    ):
        with pytest.raises(IdkeyError):
            Spots.from_json(text)


@pytest.mark.parametrize("seed", [0, 2, 5, 9])
def test_spots_of_a_rendered_fish_are_found(seed):
    fish = drawn_at_random(seed, longest=500)
    pixels, truth = render(fish)
    spots = find_spots(read_picture(jpeg(pixels, fish.quality)), Points(truth["points"]))
    assert spots.light == fish.light_spots
    hit = {spots.at(x, y) for x, y, _ in truth["spots"]} - {None}
    assert len(hit) >= 0.9 * len(spots)
    assert len(hit) >= 0.6 * len(truth["spots"])
    assert np.median(spots.only(~spots.head).diameter) == pytest.approx(
        truth["measures"]["spot_diameter"], rel=0.1
    )


def test_a_click_takes_a_spot_away_and_another_brings_it_back(small):
    picture, points, _ = small
    spots = find_spots(picture, points)
    x, y = spots.centre[3]
    fewer = toggled(picture, points, spots, x, y)
    assert len(fewer) == len(spots) - 1
    again = toggled(picture, points, fewer, x, y)
    assert len(again) == len(spots)
    assert again.by_hand.sum() == 1
    assert again.diameter[again.at(x, y)] == pytest.approx(spots.diameter[3], rel=0.1)
    with pytest.raises(IdkeyError, match="set snout"):
        find_spots(picture, Points({"snout": (3, 3)}))


def test_ellipses_have_their_area():
    pixels = np.full((300, 900, 3), 40, np.uint8)
    sizes = [(8, 8), (10, 8), (12, 10), (9, 9), (7, 8), (11, 12)]
    for i, (a, b) in enumerate(sizes):
        pixels[ellipse(150, 250 + 90 * i, a, b)] = 200
    points = Points(
        {
            "snout": (20, 150),
            "tail_base": (880, 150),
            "gill": (190, 150),
            "back": (400, 40),
            "belly": (400, 260),
        }
    )
    spots = find_spots(Picture("drawn", "", pixels), points)
    found = spots.diameter[np.argsort(spots.centre[:, 0])]
    assert np.allclose(found, [2 * np.sqrt(a * b) for a, b in sizes], rtol=0.08)
