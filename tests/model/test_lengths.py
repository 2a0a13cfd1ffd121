"""Lengths as keepers write them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from idkey.model.lengths import in_millimetres


# An inch is 25.4 mm exactly (international yard and pound agreement, 1959).
@pytest.mark.parametrize(
    ("typed", "read"),
    [
        ("2.5 in", "64"),
        ('2.5"', "64"),
        ("1 in", "25"),
        ("10 inches", "254"),
        ("2 1/2 in", "64"),
        ("1/4 in", "6.4"),
        ("6 cm", "60"),
        ("5,5 cm", "55"),
        ("6-7 cm", "60..70"),
        ("2 to 3 in", "51..76"),
        ("2 in..6 cm", "51..60"),
        ("64", "64"),
        ("45.6 mm", "45.6"),
        ("60..65", "60..65"),
    ],
)
def test_a_length_is_read(typed, read):
    assert in_millimetres(typed) == read


@pytest.mark.parametrize("typed", ["-4", "abc", "1/0 in", "1..2..3", "1e3", "6 ft", ""])
def test_what_is_no_length_is_left_as_it_came(typed):
    assert in_millimetres(typed) == typed


@given(st.integers(1, 999))
def test_centimetres_are_ten_millimetres(n):
    assert in_millimetres(f"{n} cm") == in_millimetres(f"{n * 10} mm") == str(n * 10)
