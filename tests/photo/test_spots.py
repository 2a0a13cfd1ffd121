"""Spots: their sizes against plain geometry and coins, and those of rendered fish against the truth."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from render_fish import Fish, drawn_at_random, jpeg, render
from skimage import data
from skimage.draw import ellipse

from idkey.errors import IdkeyError
from idkey.photo.finding import find_spots, toggled
from idkey.photo.measures import EACH, EDGE, EDGE_PIXELS
from idkey.photo.picture import Picture, read_picture
from idkey.photo.points import Points
from idkey.photo.spots import Spots

COINS = """
22-67x35-74 81-120x39-74 132-179x29-74 192-239x30-73 255-297x33-72 305-364x16-72
25-67x104-145 84-122x107-145 134-173x110-145 186-226x105-144 245-296x95-144 317-356x105-145
25-63x177-217 80-124x175-217 135-174x179-217 189-237x170-217 251-297x172-217 315-379x156-218
18-75x233-288 93-136x244-288 144-201x236-288 220-269x240-288 276-326x239-288 335-380x247-289
"""
"""Left, right, top and bottom edge of each of the 24 coins of skimage.data.coins (Brooklyn Museum), read by
eye to a pixel off the picture five times as large, with a grid of ten pixels laid over it."""
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


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_spots_as_small_as_the_blur_keep_their_width(seed):
    # Five pixels wide on the head and eight on the flank, under a blur of two.
    fish = Fish(length=420, spot=0.02, gap=1.6, head_spots="smaller", blur=1.9, seed=seed)
    pixels, truth = render(fish)
    spots = find_spots(read_picture(jpeg(pixels, 90)), Points(truth["points"]))
    head, flank = (np.median(spots.only(part).diameter) for part in (spots.head, ~spots.head))
    assert head / flank == pytest.approx(truth["measures"]["head_vs_flank"], rel=0.08)


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


def test_the_coins_of_a_picture_that_nobody_here_made_are_counted_and_measured():
    left, right, top, bottom = np.array(
        [[edge for side in coin.split("x") for edge in side.split("-")] for coin in COINS.split()], float
    ).T
    width = np.sqrt((right - left) * (bottom - top))  # of the disc as large as an ellipse in that box
    pixels = np.repeat(data.coins()[..., None], 3, axis=2)
    # As if they were the spots of a fish that reaches beyond the picture.
    at = {"snout": (-408, 151), "tail_base": (792, 151), "gill": (-168, 151)}
    points = Points({**at, "back": (192, -180), "belly": (192, 482)})
    spots = find_spots(Picture("coins", "", pixels), points)
    assert len(spots) == 24
    assert spots.light
    which = [spots.at(*centre) for centre in zip((left + right) / 2, (top + bottom) / 2, strict=True)]
    assert sorted(which) == list(range(24))
    off = spots.diameter[which] / width - 1
    # The error of an outline that is stated: nine of ten lie within 1.645 standard deviations of it.
    held = abs(off) <= 1.645 * np.sqrt(EDGE**2 + 2 * (EDGE_PIXELS / width) ** 2 + EACH**2)
    assert held.mean() >= 0.85
    assert np.median(abs(off)) <= 0.03
    assert abs(off).max() <= 0.1
