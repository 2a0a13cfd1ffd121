"""Cell syntax and answers: what is written reads back as the same value, for any value there can be."""

import decimal
import fractions
import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st

from idkey.errors import AnswerError, IdkeyError
from idkey.table.reading import parse_answer
from idkey.table.schema import (
    NOT_APPLICABLE,
    NOT_KNOWN,
    Range,
    States,
    Trait,
    answer_text,
    cell_text,
    is_missing,
    parse_cell,
    parse_range,
    state_text,
)

# -- anything a table from elsewhere may call a state ------------------------------------------------------

HOSTILE = (Path(__file__).parent / "hostile_names.txt").read_text(encoding="utf-8").splitlines()


def is_state_name(name: str) -> bool:
    return bool(name.strip()) and name == name.strip() and "|" not in name and name != "-"


names = st.one_of(
    st.sampled_from(HOSTILE),
    st.text(st.characters(exclude_characters="|", exclude_categories=("Cs", "Cc")), min_size=1, max_size=12),
).filter(is_state_name)

state_traits = st.builds(
    lambda kind, states: Trait("t", kind, states=tuple(states)),
    st.sampled_from(["nominal", "ordinal"]),
    st.lists(names, min_size=1, max_size=6, unique=True),
)
numbers = st.floats(min_value=-1e9, max_value=1e9).map(lambda x: x + 0.0)
lengths = st.floats(min_value=1e-6, max_value=1e9)
big = st.floats(min_value=0, max_value=1e100)
measure = Trait("m", "measure")
ceiling = Trait("c", "ceiling", unit="mm")
tail = Trait("tail", "ordinal", states=("straight", "hollow", "forked"), words=("cut", "hollow", "forked"))


@st.composite
def state_cells(draw):
    """A trait and a cell of it: some of its states, in order, with equal or with unequal shares."""
    trait = draw(state_traits)
    chosen = draw(st.lists(st.sampled_from(trait.states), min_size=1, unique=True))
    chosen.sort(key=trait.states.index)
    n = len(chosen)
    if draw(st.booleans()):
        return trait, States(tuple(chosen), (1.0 / n,) * n)
    parts = draw(st.lists(st.floats(0.001, 1.0), min_size=n, max_size=n))
    shares = [p / sum(parts) for p in parts]
    # Shares nearer to one another than a thousand-millionth count as equal, and are written so.
    assume(n == 1 or max(shares) - min(shares) > 1e-8)
    return trait, States(tuple(chosen), tuple(shares) if n > 1 else (1.0,))


ranges = st.tuples(numbers, numbers).map(lambda p: Range(min(p), max(p)))


# -- cells -----------------------------------------------------------------------------------------------


@given(state_cells())
@example((Trait("t", "nominal", states=("a", "a:0.25", "b")), States(("a", "b"), (0.25, 0.75))))
@example((Trait("t", "nominal", states=("a", "a:0.25", "a: 0.25", "b")), States(("a", "b"), (0.25, 0.75))))
@example((Trait("t", "nominal", states=("ratio 1", "ratio 1:2")), States(("ratio 1:2",), (1.0,))))
@example((Trait("t", "nominal", states=("a", "b")), States(("a", "b"), (1 / 3, 2 / 3))))
@example((Trait("t", "nominal", states=("a", "b")), States(("a", "b"), (1e-5, 1 - 1e-5))))
def test_states_read_back_as_cells_and_as_answers_with_shares_in_any_order(drawn):
    trait, cell = drawn
    assert parse_cell(trait, cell_text(trait, cell)) == cell
    again = parse_cell(trait, "|".join(reversed(cell_text(trait, cell).split("|"))))
    assert again == cell
    assert math.isclose(sum(again.shares), 1.0)
    assert [trait.states.index(n) for n in again.names] == sorted(trait.states.index(n) for n in again.names)
    answer = parse_answer(trait, cell)
    if len(cell.names) == len(trait.states) > 1 and cell.even:
        assert answer is None
    else:
        assert answer == cell
        assert parse_answer(trait, answer_text(trait, answer)) == answer
        named = parse_answer(trait, list(answer.names))
        assert named is None or named == States(cell.names, (1.0 / len(cell.names),) * len(cell.names))


@given(ranges | st.tuples(big, big).map(lambda p: Range(min(p), max(p))))
@example(Range(0.0, 0.0))
@example(Range(24.0, 24.0))
@example(Range(-1e9, 1e9))
@example(Range(0.1, 0.30000000000000004))
def test_ranges_and_ceilings_read_back(cell):
    for trait, of_it in ((measure, cell), (ceiling, Range(0.0, abs(cell.high) + 1e-6))):
        text = cell_text(trait, of_it)
        assert (".." in text) == (trait is measure)
        assert parse_cell(trait, text) == of_it


@pytest.mark.parametrize("trait", [tail, measure, ceiling, Trait("n", "nominal", states=("a", "b"))])
def test_blank_not_known_and_not_applicable_read_back(trait):
    for cell, text in ((None, ""), (NOT_APPLICABLE, "-"), (NOT_KNOWN, "?")):
        assert cell_text(trait, cell) == text
        assert parse_cell(trait, f" {text} ") == parse_cell(trait, text) == cell


@given(st.text(max_size=20))
def test_any_text_is_read_or_refused_in_one_sentence(text):
    for trait in (tail, measure, ceiling):
        refusal = ""
        try:
            cell = parse_cell(trait, text)
        except ValueError as error:
            refusal = str(error)
        assert refusal or parse_cell(trait, cell_text(trait, cell)) == cell


count, share = Trait("m", "measure", unit="count"), Trait("m", "measure", unit="% SL")


@pytest.mark.parametrize(
    ("trait", "right", "texts"),
    [
        (tail, "did you mean 'forked'?", ["frked"]),
        (tail, "name it once", ["forked|forked"]),
        (tail, "more than 0", ["forked:0|hollow:1", "forked:-1"]),
        (tail, "a share such as", ["forked:x"]),
        (tail, "not a number", ["forked:inf"]),
        (tail, "or none of them", ["straight:0.8|forked"]),
        (tail, "use a state of tail", ["straight|"]),
        (measure, "lo..hi", ["12-16", "12_16", "12..", ".."]),
        (measure, "write 12..16", ["16..12"]),
        (measure, "not a number", ["nan", "inf", "0x10"]),
        (measure, "at most 1e+100", ["1..1e999", "-1e308..1e308"]),
        (ceiling, "more than 0", ["5e-324"]),
        (tail, "at most 1e+100", ["forked:1e308|straight:1e308"]),
        (tail, "more than 0", ["forked:5e-324|straight:1"]),
        (ceiling, "the largest recorded length in mm", ["100..120"]),
        (ceiling, "126", ["long"]),
        (ceiling, "more than 0", ["0", "-5"]),
        (count, "0 or more count", ["-1..3"]),
        (share, "0 or more % SL", ["-1"]),
    ],
)
def test_what_cannot_be_read_says_what_would_be_right(trait, right, texts):
    for text in texts:
        with pytest.raises(ValueError, match=".") as caught:
            parse_cell(trait, text)
        assert right in str(caught.value)
        assert "\n" not in str(caught.value)


def test_syntax_that_is_seldom_used():
    assert parse_cell(Trait("t", "nominal", states=("?", "a")), "?") == States(("?",), (1.0,))
    assert parse_range("7") == Range(7.0, 7.0)
    assert parse_range(" 7 .. 8.5 ") == Range(7.0, 8.5)
    assert cell_text(measure, Range(7.0, 7.0)) == "7..7"
    # Shares need not be scaled by hand.
    assert parse_cell(tail, "straight:3|hollow:1") == States(("straight", "hollow"), (0.75, 0.25))
    assert parse_cell(tail, "hollow | straight") == States(("straight", "hollow"), (0.5, 0.5))
    assert parse_cell(tail, "hollow:0.2").shares == (1.0,)


# -- answers ---------------------------------------------------------------------------------------------


@given(ranges, lengths, lengths)
def test_number_answers_read_back(span, a, b):
    for trait, answer in ((measure, span), (ceiling, Range(min(a, b), max(a, b)))):
        assert parse_answer(trait, answer_text(trait, answer)) == answer
        assert parse_answer(trait, answer) == answer
        assert parse_answer(trait, (answer.low, answer.high)) == answer


def test_nothing_is_no_answer_and_something_is_not_missing():
    for value in (None, "", "  ", math.nan, np.nan, pd.NA, pd.NaT, np.float32("nan")):
        assert is_missing(value)
        assert [parse_answer(trait, value) for trait in (tail, measure, ceiling)] == [None] * 3
    for value in (0, "0", False, [], States((), ()), Range(0, 0), "nan", decimal.Decimal(0)):
        assert not is_missing(value)


def test_every_state_at_once_is_no_answer():
    assert parse_answer(tail, "straight|hollow|forked") is None
    assert parse_answer(tail, []) is None
    # One state alone is an answer, even where there is no other.
    assert parse_answer(Trait("t", "nominal", states=("only",)), "only") == States(("only",), (1.0,))


def test_several_states_and_a_number_in_any_shape():
    several = ["forked", "hollow"]
    for value in (
        "hollow|forked",
        "forked | hollow | forked",
        several,
        {*several},
        np.array(several),
        pd.Series(several),
    ):
        assert parse_answer(tail, value) == States(("hollow", "forked"), (0.5, 0.5))
    for value in (7, 7.0, np.int64(7), np.float32(7), "7", "7.0", fractions.Fraction(7), (7, 7), [7, "7"]):
        assert parse_answer(measure, value) == Range(7.0, 7.0)


@pytest.mark.parametrize(
    ("states", "state", "values"),
    [
        (("yes", "no"), "yes", [True, np.True_]),
        (("True", "False"), "False", [False]),
        (("0", "1"), "1", [True]),
        (("0", "1"), "0", [np.False_]),
        (("false", "true"), "true", [True]),
        (("2", "4", "6"), "4", [4.0, np.int8(4)]),
        (("0.5", "1"), "0.5", [0.5]),
    ],
)
def test_truth_and_numbers_as_states(states, state, values):
    for value in values:
        assert parse_answer(Trait("t", "nominal", states=states), value) == States((state,), (1.0,))


@pytest.mark.parametrize(
    ("trait", "right", "values"),
    [
        (tail, "did you mean 'forked'?", ["frked"]),
        (tail, "use a state of tail", [3, True, ["forked", "frked"], "forked|frked"]),
        (measure, "lo..hi", ["many"]),
        (measure, "write 7..8", ["8..7", (8, 7)]),
        (measure, "a range such as 5..6", [(1, 2, 3), True, np.True_]),
        (measure, "not a number", [math.inf]),
        (ceiling, "a length is more than 0 mm", [0, "-3"]),
        (count, "0 or more count", [-1]),
        (share, "0 or more % SL", ["-1..5"]),
    ],
)
def test_a_wrong_answer_says_trait_value_and_what_would_be_right(trait, right, values):
    for value in values:
        with pytest.raises(AnswerError) as caught:
            parse_answer(trait, value)
        text = str(caught.value)
        assert isinstance(caught.value, IdkeyError)
        assert text.startswith(f"{trait.id}: {value!r}: ")
        assert right in text
        assert len(text.splitlines()) == 1
    with pytest.raises(AnswerError, match="m: object: not a number"):
        parse_answer(measure, object())


# -- raw values as states --------------------------------------------------------------------------------


def test_state_text():
    for text, values in {
        "4": (4, 4.0, np.float64(4.0), np.int32(4)),
        "0": (-0.0,),
        "0.1": (0.1, np.float64(0.1)),
        "yes": (True, np.True_),
        "no": (False,),
        "forked": (" forked ",),
        "4.0": ("4.0",),
    }.items():
        assert [state_text(value) for value in values] == [text] * len(values)


@example(10**400, 0.1)
@given(st.integers(), st.floats(allow_nan=False, allow_infinity=False))
def test_every_digit_of_a_number_is_kept(whole, value):
    # Catalogue numbers of museum fish are longer than what a float holds.
    assert state_text(whole) == str(whole)
    assert float(state_text(value)) == value
    if abs(whole) <= 2**53:
        assert state_text(float(whole)) == state_text(whole)


# -- a trait ---------------------------------------------------------------------------------------------


def test_a_trait_knows_its_words_and_cannot_be_changed():
    assert Trait("t", "nominal", states=("a", "b")).words == ("a", "b")
    assert tail.word("straight") == "cut"
    with pytest.raises(ValueError, match="frked|not in"):
        tail.word("frked")
    assert (tail.name, Trait("t", "nominal", label="Tail").name) == ("tail", "Tail")
    assert (ceiling.number(12.5), count.number(12)) == ("12.5 mm", "12")
    assert [t.has_states for t in (tail, measure, ceiling)] == [True, False, False]
    with pytest.raises(AttributeError):
        tail.error = 0.5
    with pytest.raises(AttributeError):
        Range(1, 2).low = 0
