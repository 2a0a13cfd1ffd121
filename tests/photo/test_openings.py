"""How wide a dark opening is: ellipses of known width, drawn by Pillow, with points set off by chance."""

import math

import numpy as np
import pytest
from PIL import Image, ImageDraw
from render_fish import srgb
from scipy.ndimage import gaussian_filter

from idkey.photo.openings import opening_width
from idkey.photo.picture import Picture

SIDE, FINE = 96, 6


def drawn(width, height, turn, dark=10, ground=160, lamp=False):
    """A picture of an ellipse in its middle, in thousandths of light, drawn large, blurred and made small."""
    image = Image.new("F", (SIDE * FINE, SIDE * FINE), ground)
    middle = SIDE * FINE / 2
    box = [middle + side * FINE / 2 for side in (-width, -height, width, height)]
    ImageDraw.Draw(image).ellipse(box, fill=dark)
    if lamp:
        size = width * FINE / 5
        ImageDraw.Draw(image).ellipse([middle, middle - size, middle + size, middle], fill=900)
    image = image.rotate(turn, Image.Resampling.BILINEAR, fillcolor=ground)
    light = gaussian_filter(np.asarray(image) / 1000, 1.3 * FINE)
    light = light.reshape(SIDE, FINE, SIDE, FINE).mean(axis=(1, 3))
    light += np.random.default_rng(int(width * 10)).normal(0, 0.004, light.shape)
    return Picture("drawn", "", np.repeat(srgb(light)[..., None], 3, axis=2))


def ends(width, turn):
    half = width / 2 * np.array([math.cos(math.radians(turn)), -math.sin(math.radians(turn))])
    return SIDE / 2 - half, SIDE / 2 + half


@pytest.mark.parametrize("lamp", [False, True])
def test_the_picture_says_finer_than_points_how_wide_an_ellipse_is_and_how_surely(lamp):
    random, off, by_points, held = np.random.default_rng(3), [], [], []
    for width in np.linspace(7, 34, 30):
        turn, sd = random.uniform(-20, 20), 1.3
        front, back = ends(width, turn) + random.normal(0, sd, (2, 2))
        found, spread = opening_width(
            drawn(width, width * random.uniform(0.8, 1.2), turn, lamp=lamp), front, back, sd
        )
        off.append(found - width)
        by_points.append(math.dist(front, back) - width)
        held.append(abs(off[-1]) <= 1.645 * spread)
    assert np.std(off) < 0.4 * np.std(by_points)
    assert abs(np.median(off)) < 0.3
    assert np.mean(held) >= 0.85


@pytest.mark.parametrize(("dark", "ground"), [(100, 100), (500, 40)])
def test_where_nothing_dark_is_seen_the_points_say_it(dark, ground):
    front, back = ends(14.0, 10)
    found, spread = opening_width(drawn(14, 14, 10, dark, ground), front, back, 1.3)
    assert found == pytest.approx(14, abs=1.3)
    assert spread == pytest.approx(1.3 * 2**0.5, rel=0.15)
    blank = Picture("blank", "", np.zeros((12, 12, 3), np.uint8))
    assert opening_width(blank, front, back, 1.3) == pytest.approx((14.0, 1.3 * 2**0.5))
