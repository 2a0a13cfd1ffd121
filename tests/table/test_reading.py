"""What people write, read as a cell and as an answer: the same wherever it is written."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shipped import TABLE

from idkey import Identification, NearestMatch, build_key
from idkey.errors import AnswerError, TableError
from idkey.table.reading import read_cell, reading, trait_answer
from idkey.table.schema import Trait, parse_answer

ZEBRA = "hypancistrus_zebra"


@pytest.fixture(scope="module")
def fitted():
    return NearestMatch().fit(TABLE), build_key(TABLE.only(TABLE.ids[:8]))


@pytest.mark.parametrize(
    ("trait", "written", "read"),
    [
        ("tail_fork", "Forked", "forked"),
        ("tail_fork", "clearly forked", "forked"),
        ("tail_fork", "forked / concave", "concave|forked"),
        ("tail_fork", "forked or concave", "concave|forked"),
        ("tail_fork", "straight or cut obliquely; forked", "straight|forked"),
        ("tail_fork", "concave to streamers", "concave|forked|streamers"),
        ("tail_fork", "?", "?"),
        ("tail_fork", "n/a", "?"),
        ("tail_fork", "none", "-"),
        ("tail_fork", "concave:0.8|forked:0.2", "concave:0.8|forked:0.2"),
        ("fin_edging", "None", "none"),
        ("fin_edging", "not applicable", "-"),
        ("fin_edging", "white or pale / dark or black", "dark|white"),
        ("pattern", "Light spots", "light_spots"),
        ("pattern", "light-spots & bars", "light_spots|bars"),
        ("pattern", "bars to plain", None),
        ("tail_fork", "forkd", None),
        ("tail_fork", "forked?", None),
        ("tail_fork", "2016-12-01", None),
        ("teeth_lower", "12-16", "12..16"),
        ("teeth_lower", "12 \u2013 16", "12..16"),
        ("teeth_lower", "12", "12..12"),
        ("teeth_lower", "16-12", None),
        ("teeth_lower", "12,5", None),
        ("teeth_lower", "12 mm", None),
        ("teeth_lower", "12-Jun", None),
        ("teeth_lower", "-5", None),
        ("adult_size", "17,8 cm", "178"),
        ("adult_size", "7 in", "178"),
        ("adult_size", '7"', "178"),
        ("adult_size", "2 1/2 inches", "64"),
        ("adult_size", "15 \u2013 17.8 cm SL", "178"),
        ("adult_size", "up to 178", "178"),
        ("adult_size", "1,234", None),
        ("adult_size", "18 cm TL", None),
        ("adult_size", "15 cm - 17", None),
        ("adult_size", "1/0 in", None),
        ("eye_size", "25,5 %", "25.5..25.5"),
        ("eye_size", "25-28 % HL", "25..28"),
        ("eye_size", "25 % SL", None),
    ],
)
def test_cells_as_people_write_them(trait, written, read):
    found = reading(TABLE.trait(trait), written)
    assert found.text == read
    assert bool(found.right) == (read is None)
    assert bool(found.said) == (read is not None and read not in (written, f"{written}..{written}"))
    if read is None:
        with pytest.raises(TableError):
            TABLE.with_cell(ZEBRA, trait, written)
    else:
        assert TABLE.with_cell(ZEBRA, trait, written).to_frame().at[ZEBRA, trait] == read.removeprefix("?")


# An inch is 25.4 mm exactly (international yard and pound agreement, 1959).
@pytest.mark.parametrize(
    ("typed", "read"),
    [
        ('2.5"', "64"),
        ("1 in", "25"),
        ("2 1/2 in", "64"),
        ("1/4 in", "6.4"),
        ("6 cm", "60"),
        ("5,5 cm", "55"),
        ("6\u20137 cm", "60..70"),
        ("2 to 3 in", "51..76"),
        ("2 in..6 cm", "51..60"),
        ("45.6 mm", "45.6"),
        ("60..65", "60..65"),
    ],
)
def test_a_length_is_read(typed, read):
    fish = Identification(TABLE).answer("adult_size", typed)
    assert fish.answers["adult_size"] == read
    assert trait_answer(TABLE.trait("adult_size"), typed) == parse_answer(TABLE.trait("adult_size"), read)


@pytest.mark.parametrize("typed", ["-4", "abc", "1/0 in", "1..2..3", "6 ft", "1,234", "12 cm TL", "-"])
def test_what_is_no_length_is_an_error_that_shows_it(typed):
    with pytest.raises(AnswerError, match="adult_size: ") as caught:
        Identification(TABLE).answer("adult_size", typed)
    assert repr(typed) in str(caught.value)


@given(st.integers(1, 999))
def test_centimetres_are_ten_millimetres(n):
    trait = TABLE.trait("adult_size")
    assert reading(trait, f"{n} cm").text == reading(trait, f"{n * 10} mm").text == str(n * 10)


@pytest.mark.parametrize(
    ("trait", "written", "read"),
    [
        ("tail_fork", "Forked or concave", "concave|forked"),
        ("tail_fork", "straight to concave", "straight|concave"),
        ("pattern", "Light spots", "light_spots"),
        ("teeth_lower", "7\u201310", "7..10"),
        ("teeth_lower", "7 to 10", "7..10"),
        ("eye_size", "25,5 %", "25.5"),
    ],
)
def test_answers_are_read_as_cells_are(fitted, trait, written, read):
    assert Identification(TABLE).answer(trait, written).answers[trait] == read
    match, key = fitted
    assert match.rank({trait: written}).equals(match.rank({trait: read}))
    assert key.classify({trait: written}) == key.classify({trait: read})


@pytest.mark.parametrize("written", ["?", "not sure", "can't see it", "Unknown", "n/a"])
def test_not_sure_is_no_answer(written):
    fish = Identification(TABLE).answer("tail_fork", written)
    assert not fish.answers
    assert fish.unseen == ("tail_fork",)
    # Where the answer is a state of the trait it counts as that.
    colour = Trait("colour", "nominal", states=("red", "unknown"))
    assert trait_answer(colour, "unknown").names == ("unknown",)


def test_cells_in_code_are_read_as_in_a_sheet():
    new = TABLE.with_taxon(
        "ancistrus_novus",
        scientificName="Ancistrus novus",
        adult_size="3 1/2 in",
        tail_fork="forked or concave",
        teeth_lower="7 to 10",
        pattern="?",
    )
    row = new.to_frame().loc["ancistrus_novus"]
    read = (row["adult_size"], row["tail_fork"], row["teeth_lower"], row["pattern"])
    assert read == ("89", "concave|forked", "7..10", "")
    with pytest.raises(TableError, match="tail_fork.*'forkd'.*did you mean 'forked'"):
        TABLE.with_cell(ZEBRA, "tail_fork", "forkd")


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
