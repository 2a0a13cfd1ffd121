"""What people write, read as a cell and as an answer: the same wherever it is written."""

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shipped import TABLE

from idkey import Identification, NearestMatch, build_key
from idkey.errors import AnswerError, TableError
from idkey.table.reading import parse_answer, quantity, read_cell, reading
from idkey.table.schema import Trait

ZEBRA = "hypancistrus_zebra"


@pytest.fixture(scope="module")
def fitted():
    return NearestMatch().fit(TABLE), build_key(TABLE.only(TABLE.ids[:8]))


@pytest.mark.parametrize(
    ("trait", "read", "ways"),
    [
        ("tail_fork", "forked", ["Forked", "clearly forked"]),
        ("tail_fork", "concave|forked", ["forked / concave", "forked or concave"]),
        ("tail_fork", "straight|forked", ["straight or cut obliquely; forked"]),
        ("tail_fork", "concave|forked|streamers", ["concave to streamers"]),
        ("tail_fork", "concave:0.8|forked:0.2", ["concave:0.8|forked:0.2"]),
        ("tail_fork", "?", ["?", "n/a"]),
        ("tail_fork", "-", ["none"]),
        ("tail_fork", None, ["forkd", "forked?", "2016-12-01"]),
        ("fin_edging", "none", ["None"]),
        ("fin_edging", "-", ["not applicable"]),
        ("fin_edging", "dark|white", ["white or pale / dark or black"]),
        ("pattern", "light_spots", ["Light spots"]),
        ("pattern", "light_spots|bars", ["light-spots & bars"]),
        ("pattern", None, ["bars to plain"]),
        ("teeth_lower", "12..16", ["12-16", "12 \u2013 16"]),
        ("teeth_lower", "12..12", ["12"]),
        ("teeth_lower", None, ["16-12", "12,5", "12 mm", "12-Jun", "-5"]),
        # An inch is 25.4 mm exactly (international yard and pound agreement, 1959).
        ("adult_size", "178", ["17,8 cm", "7 in", '7"', "15 \u2013 17.8 cm SL", "up to 178"]),
        ("adult_size", "64", ["2 1/2 inches"]),
        ("adult_size", None, ["1,234", "18 cm TL", "15 cm - 17", "1/0 in"]),
        ("eye_size", "25.5..25.5", ["25,5 %"]),
        ("eye_size", "25..28", ["25-28 % HL"]),
        ("eye_size", None, ["25 % SL"]),
    ],
)
def test_cells_as_people_write_them(trait, read, ways):
    for written in ways:
        found = reading(TABLE.trait(trait), written)
        assert found.text == read
        assert bool(found.right) == (read is None)
        assert bool(found.said) == (read is not None and read not in (written, f"{written}..{written}"))
        if read is None:
            with pytest.raises(TableError):
                TABLE.with_cell(ZEBRA, trait, written)
        else:
            assert TABLE.with_cell(ZEBRA, trait, written).to_frame().at[ZEBRA, trait] == read.removeprefix(
                "?"
            )


@pytest.mark.parametrize(
    ("trait", "read", "ways"),
    [
        ("tail_fork", "concave|forked", ["Forked or concave"]),
        ("tail_fork", "straight|concave", ["straight to concave"]),
        ("pattern", "light_spots", ["Light spots"]),
        ("teeth_lower", "7..10", ["7\u201310", "7 to 10"]),
        ("eye_size", "25.5", ["25,5 %"]),
        ("adult_size", "64", ['2.5"', "2 1/2 in"]),
        ("adult_size", "6.4", ["1/4 in"]),
        ("adult_size", "55", ["5,5 cm"]),
        ("adult_size", "60..70", ["6\u20137 cm"]),
        ("adult_size", "51..76", ["2 to 3 in"]),
        ("adult_size", "51..60", ["2 in..6 cm"]),
        ("adult_size", "45.6", ["45.6 mm"]),
        ("adult_size", "60..65", ["60..65"]),
        # A length with the tail fin: half of it to the whole.
        ("adult_size", "60..120", ["12 cm TL", "120 mm (total length)"]),
        # About so much is 10 % either way.
        ("adult_size", "63..77", ["about 7 cm", "~7 cm", "ca. 70 mm", "Approx. 70", "c. 70", "roughly 7 cm"]),
        ("adult_size", "54..77", ["about 6 to 7 cm"]),
        ("dorsal_rays", "6.3..7.7", ["around 7"]),
        ("adult_size", None, ["-4", "abc", "1/0 in", "1..2..3", "6 ft", "1,234", "12 x TL", "-", "about"]),
        ("adult_size", None, ["about 6 ft", "caution 7 cm"]),
    ],
)
def test_answers_are_read_as_cells_are(fitted, trait, read, ways):
    match, key = fitted
    for written in ways:
        if read is None:
            with pytest.raises(AnswerError, match=re.escape(f"{trait}: {written!r}")):
                Identification(TABLE).answer(trait, written)
            continue
        assert Identification(TABLE).answer(trait, written).answers[trait] == read
        assert parse_answer(TABLE.trait(trait), written) == parse_answer(TABLE.trait(trait), read)
        assert match.rank({trait: written}).equals(match.rank({trait: read}))
        assert key.classify({trait: written}) == key.classify({trait: read})


@given(st.integers(1, 999))
def test_centimetres_are_ten_millimetres(n):
    trait = TABLE.trait("adult_size")
    assert reading(trait, f"{n} cm").text == reading(trait, f"{n * 10} mm").text == str(n * 10)


def test_feet_are_refused_with_what_would_be_right():
    for trait, written in (("adult_size", "6 ft"), ("adult_size", "about 1/2 foot")):
        with pytest.raises(AnswerError, match="feet are not read; write it in inches, 12 to the foot"):
            Identification(TABLE).answer(trait, written)
    with pytest.raises(ValueError, match="such as 48 in for 4 ft"):
        quantity("4 ft", "cm")


def test_the_flow_of_a_pump_may_be_in_gallons():
    # A US gallon is 231 cubic inches of 2.54 cm each way, exactly.
    litres = 231 * 2.54**3 / 1000
    for written, flow in (
        ("200 gph", 200 * litres),
        ("200 gal/h", 200 * litres),
        ("750 l/h", 750),
        ("750", 750),
    ):
        assert quantity(written, "L/h") == pytest.approx(flow)
    with pytest.raises(ValueError, match="write it in L/h"):
        quantity("4 ft", "L/h")


def test_not_sure_is_no_answer():
    for written in ("?", "not sure", "can't see it", "Unknown", "n/a"):
        fish = Identification(TABLE).answer("tail_fork", written)
        assert (dict(fish.answers), fish.unseen) == ({}, ("tail_fork",))
    # Where the answer is a state of the trait it counts as that.
    colour = Trait("colour", "nominal", states=("red", "unknown"))
    assert parse_answer(colour, "unknown").names == ("unknown",)


@settings(max_examples=120, deadline=None)
@given(
    st.sampled_from(TABLE.traits),
    st.text(max_size=40) | st.from_regex(r"[0-9 /.,-]{1,9}(mm|cm|in|\")?", fullmatch=True),
)
def test_any_cell_is_read_as_the_table_writes_it_or_not_at_all(trait, text):
    found = reading(trait, text)
    if found.text is None:
        assert found.right
    else:
        assert reading(trait, found.text).text == found.text
        read_cell(trait, text)
