"""Points, and the frame of the fish that they span."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from idkey.errors import IdkeyError
from idkey.photo.points import KINDS, NAMES, Points

PLACES = st.tuples(*[st.floats(0, 5000)] * 2)


@given(st.dictionaries(st.sampled_from(NAMES), PLACES), st.none() | st.floats(0.1, 500))
def test_points_come_back_from_json(at, mm):
    points = Points(at, mm)
    assert Points.from_json(points.to_json()) == points


@pytest.mark.parametrize(
    ("made", "why"),
    [
        (lambda: Points({"snuot": (1, 2)}), "did you mean 'snout'"),
        (lambda: Points({"snout": (1, math.nan)}), "a pair"),
        (lambda: Points({"snout": (1, 2, 3)}), "a pair"),
        (lambda: Points({"snout": "12"}), "a pair"),
        (lambda: Points({}, -5.0), "millimetres"),
        (lambda: Points.from_json("[" * 100_000), "no JSON object"),
        (lambda: Points.from_json('{"points": 1}'), "to_json"),
        (lambda: Points({"snout": (1, 1)}).frame(), "tail_base"),
        (lambda: Points({"snout": (1, 1), "tail_base": (1, 1)}).frame(), "one place"),
    ],
)
def test_what_are_no_points_is_refused(made, why):
    with pytest.raises(IdkeyError, match=why) as caught:
        made()
    assert len(str(caught.value).splitlines()) == 1


@given(st.floats(-60, 60), st.booleans(), st.tuples(st.floats(0, 1), st.floats(-0.3, 0.3)))
def test_the_frame_is_the_same_however_the_picture_is_held(tilt, mirrored, place):
    turn = math.radians(tilt)
    spin = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    # Left-facing, back up, before it is mirrored and tilted: y runs down.
    flat = {"snout": (0, 0), "tail_base": (400, 0), "back": (150, -50), "belly": (150, 40)}
    side = np.array([-1 if mirrored else 1, 1])
    points = Points({name: spin @ (side * where) + 700 for name, where in flat.items()})
    assert points.facing == ("right" if mirrored else "left")
    on_picture = points.frame().on_picture(np.array(place))
    assert np.allclose(on_picture, spin @ (side * [place[0] * 400, -place[1] * 400]) + 700, atol=1e-6)
    assert np.allclose(points.frame().of(on_picture), place, atol=1e-9)


def test_each_point_is_explained_and_can_be_moved_and_left_out():
    assert all(kind.label and kind.where.endswith(".") for kind in KINDS)
    points = Points({"snout": (1, 2), "white": (3, 4)}, 50.0)
    assert points.moved("snout", None).moved("eye_back", (5, 6)) == Points(
        {"white": (3, 4), "eye_back": (5, 6)}, 50.0
    )
