"""Every refusal: one line that says what was given and what would be right."""

import math

import numpy as np
import pandas as pd
import pytest
from sklearn.exceptions import NotFittedError

from idkey import Identification, IdkeyError, NearestMatch, build_key, load_table
from idkey.errors import AnswerError, UnknownName
from idkey.table.schema import Range, States, Trait, parse_answer, parse_cell, parse_range

from .tables import table_of

TAIL = Trait(id="tail", kind="nominal", states=("straight", "concave", "forked"))
SPOTS = Trait(id="spots", kind="ordinal", states=("small", "large"))
SIZE = Trait(id="size", kind="ceiling", unit="mm")
RAYS = Trait(id="rays", kind="measure", unit="count")
RATIO = Trait(id="ratio", kind="measure")
TABLE = table_of(
    [TAIL, SPOTS, SIZE, RAYS, RATIO],
    {"a": {"tail": "forked", "spots": "small", "size": "100"}, "b": {"tail": "straight", "rays": "7..9"}},
)

TAILS = "straight, concave, forked"
TRAITS = "tail, spots, size, rays, ratio, life_stage"


def refused(error, call, *parts):
    """Check that a call is refused on one line that holds all the parts."""
    with pytest.raises(error) as caught:
        call()
    assert isinstance(caught.value, error)
    text = str(caught.value)
    assert "\n" not in text
    for part in parts:
        assert part in text, text


BAD_ANSWERS = [
    ("no such trait", "forked", "'no such trait'", TRAITS),
    ("tial", "forked", "'tial'", TRAITS, "did you mean 'tail'?"),
    (None, "forked", "None", TRAITS),
    ("tail", "fork", "tail", "'fork'", TAILS, "did you mean 'forked'?"),
    ("tail", "forked|wavy", "'forked|wavy'", TAILS),
    ("tail", ["forked", "wavy"], "['forked', 'wavy']", TAILS),
    ("tail", 3, "3", TAILS),
    ("tail", True, "True", TAILS),
    ("tail", "forked\nstraight", "'forked\\nstraight'", TAILS),
    ("spots", "largo", "spots", "'largo'", "small, large", "did you mean 'large'?"),
    ("size", -60, "size", "-60", "more than 0 mm"),
    ("size", 0, "size", "0", "more than 0 mm"),
    ("size", "0..60", "size", "'0..60'", "more than 0 mm"),
    ("size", "long", "size", "'long'", "not a number", "12..16"),
    ("size", "6 ft", "size", "'6 ft'", "not a number", "in mm", "mm, cm or in"),
    ("size", "70-60", "size", "'70-60'", "backwards", "60..70"),
    ("size", "12 cm TL", "size", "'12 cm TL'", "a total length"),
    ("size", "90..20", "size", "'90..20'", "backwards", "20..90"),
    ("size", (90, 20), "size", "(90, 20)", "backwards", "20..90"),
    ("size", math.inf, "size", "inf", "not a finite number"),
    ("size", "nan", "size", "'nan'", "not a finite number"),
    ("size", True, "size", "True", "not a number", "mm", "5..6"),
    ("size", (1, 2, 3), "size", "(1, 2, 3)", "not a number", "5..6"),
    ("size", {"mm": 60}, "size", "{'mm': 60}", "not a number", "5..6"),
    ("ratio", True, "ratio", "True", "the unit of the trait", "5..6"),
    ("rays", -1, "rays", "-1", "negative", "0 or more count"),
    ("rays", "-2..3", "rays", "'-2..3'", "negative", "0 or more count"),
    ("rays", (None, 3), "rays", "(None, 3)", "not a number"),
    ("rays", "1_000", "rays", "'1_000'", "not a number"),
    ("life_stage", "old", "life_stage", "'old'", "adult, young"),
    ("life_stage", 3, "life_stage", "3", "adult, young"),
]


@pytest.mark.parametrize(("trait", "value", "parts"), [(t, v, p) for t, v, *p in BAD_ANSWERS])
def test_a_bad_answer_is_refused_everywhere_alike(trait, value, parts):
    refused(AnswerError, lambda: Identification(TABLE).answer(trait, value), *parts)
    refused(AnswerError, lambda: NearestMatch().fit(TABLE).rank({trait: value}), *parts)
    kept = {"answers": {trait: value}}
    refused(AnswerError, lambda: Identification.from_dict(TABLE, kept), *parts)


@pytest.mark.parametrize(("trait", "value", "parts"), [(t, v, p) for t, v, *p in BAD_ANSWERS])
def test_a_bad_answer_is_refused_by_the_key(trait, value, parts):
    parts = [p.replace(", life_stage", "") for p in parts]
    refused(AnswerError, lambda: build_key(TABLE).classify({trait: value}), *parts)


@pytest.mark.parametrize(
    ("trait", "value", "parts"),
    [(t, v, p) for t, v, *p in BAD_ANSWERS if t in (*TABLE.trait_ids, "life_stage")],
)
def test_a_bad_answer_in_a_frame_names_its_row(trait, value, parts):
    good = {"life_stage": "young"}.get(
        trait, "forked" if trait == "tail" else "small" if trait == "spots" else 8
    )
    column = pd.Series([good, value], index=["fish 1", "fish 2"], dtype=object)
    match = NearestMatch().fit(TABLE)
    for call in (match.predict_proba, match.predict, match.candidates, match.agreement):
        refused(AnswerError, lambda call=call: call(pd.DataFrame({trait: column})), "row fish 2", *parts)


@pytest.mark.parametrize(
    ("values", "parts"),
    [
        ([60.0, -5.0], ("row 1", "size", "-5.0", "more than 0 mm")),
        ([0.0, 60.0], ("row 0", "size", "0.0", "more than 0 mm")),
        ([60.0, np.inf], ("row 1", "size", "inf", "not a finite number")),
        ([True, False], ("row 0", "size", "True", "not a number")),
    ],
)
def test_a_bad_number_in_a_column_of_numbers_names_its_row(values, parts):
    refused(
        AnswerError, lambda: NearestMatch().fit(TABLE).predict_proba(pd.DataFrame({"size": values})), *parts
    )


def test_a_frame_of_other_traits_is_refused():
    match = NearestMatch().fit(TABLE)
    refused(AnswerError, lambda: match.predict(pd.DataFrame({"fins": ["x"]})), "'fins'", TRAITS)
    refused(AnswerError, lambda: match.predict(pd.DataFrame({0: ["x"]})), "0", TRAITS)


def test_a_frame_with_a_column_twice_is_refused():
    frame = pd.DataFrame([["forked", "straight"]], columns=["tail", "tail"])
    refused(
        AnswerError, lambda: NearestMatch().fit(TABLE).predict(frame), "'tail'", "two columns have this name"
    )


@pytest.mark.parametrize("what", [{"tail": ["forked"]}, [["forked"]], np.zeros((1, 1)), None])
def test_what_is_no_frame_is_refused(what):
    refused(AnswerError, lambda: NearestMatch().fit(TABLE).predict(what), type(what).__name__, "DataFrame")


def test_forgetting_an_unknown_trait_is_refused():
    refused(
        AnswerError, lambda: Identification(TABLE).forget("tial"), "'tial'", TRAITS, "did you mean 'tail'?"
    )


def test_an_unknown_name_is_refused():
    fish = Identification(table_of([TAIL], {"panaqolus_nix": {}, "panaqolus_maccus": {}}))
    refused(
        UnknownName, lambda: fish.why("panaqolus_nux"), "'panaqolus_nux'", "did you mean 'panaqolus_nix'?"
    )


# -- options ---------------------------------------------------------------------------------------------

NOT_SHARES = [0, -0.1, 1.01, 95, math.nan, math.inf, "0.95", None]


@pytest.mark.parametrize("coverage", NOT_SHARES)
def test_coverage_that_makes_no_sense(coverage):
    parts = ("coverage", repr(coverage), "more than 0 and at most 1")
    refused(IdkeyError, lambda: Identification(TABLE, coverage=coverage), *parts)
    refused(IdkeyError, lambda: NearestMatch(coverage=coverage).fit(TABLE), *parts)


@pytest.mark.parametrize("none_prior", [-0.1, 1, 1.5, 5, math.nan, "0.05", None])
def test_none_prior_that_makes_no_sense(none_prior):
    parts = ("none_prior", repr(none_prior), "0 or more and less than 1")
    refused(IdkeyError, lambda: Identification(TABLE, none_prior=none_prior), *parts)
    refused(IdkeyError, lambda: NearestMatch(none_prior=none_prior).fit(TABLE), *parts)


BAD_PRIORS = [
    ("common", "'common'", "commonness, uniform", "did you mean 'commonness'?"),
    (3, "int", "a mapping of taxon to weight", "commonness, uniform"),
    ([1, 2], "1", "is not in the table", "a, b"),
    (["a", "c"], "'c'", "is not in the table", "a, b"),
    (np.ones(2), "ndarray", "a mapping of taxon to weight", "commonness, uniform"),
    (pd.Series({"a": 1.0}), "Series", "a mapping of taxon to weight", "commonness, uniform"),
    ({"c": 1}, "'c'", "a, b"),
    ({"a": -1}, "a", "-1", "0 or more"),
    ({"a": "much"}, "a", "'much'", "0 or more"),
    ({"a": math.nan}, "a", "nan", "0 or more"),
    ({"a": math.inf}, "a", "inf", "0 or more"),
    ({"a": 0, "b": 0}, "every weight is 0", "at least one"),
    ({}, "every weight is 0", "at least one"),
]


@pytest.mark.parametrize(("prior", "parts"), [(p, parts) for p, *parts in BAD_PRIORS])
def test_prior_that_makes_no_sense(prior, parts):
    refused(IdkeyError, lambda: Identification(TABLE, prior=prior), "prior", *parts)
    refused(IdkeyError, lambda: NearestMatch(prior=prior).fit(TABLE), "prior", *parts)
    refused(IdkeyError, lambda: build_key(TABLE, prior), "prior", *parts)


@pytest.mark.parametrize("what", ["predict", "predict_proba", "candidates", "agreement", "rank"])
def test_an_estimator_that_is_not_fitted(what):
    refused(
        NotFittedError, lambda: getattr(NearestMatch(), what)({}), "NearestMatch", "call fit(table) first"
    )


@pytest.mark.parametrize("what", [[["forked"]], None, pd.DataFrame({"tail": ["forked"]})])
def test_fit_to_what_is_no_table(what):
    refused(
        IdkeyError, lambda: NearestMatch().fit(what), type(what).__name__, "TraitTable", "DataFrame with y="
    )


# -- cells -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("trait", "text", "parts"),
    [
        (TAIL, "fork", (TAILS, "did you mean 'forked'?")),
        (TAIL, "forked|", (TAILS,)),
        (TAIL, "forked|forked", ("'forked' stands twice", "once")),
        (TAIL, "forked:some|straight:0.5", ("not a number", "forked:0.2")),
        (TAIL, "forked:inf|straight:0.5", ("not a finite number", "forked:0.2")),
        (TAIL, "forked:0|straight:1", ("more than 0",)),
        (TAIL, "forked:-1|straight:1", ("more than 0",)),
        (TAIL, "forked:0.5|straight", ("each state", "concave:0.8|forked:0.2")),
        (SIZE, "0", ("more than 0",)),
        (SIZE, "-5", ("more than 0",)),
        (SIZE, "60..70", ("not a number", "mm", "126")),
        (SIZE, "long", ("not a number", "mm", "126")),
        (RAYS, "9..7", ("backwards", "7..9")),
        (RAYS, "7-9", ("not a number", "12..16")),
        (RAYS, "7..", ("not a number", "12..16")),
        (RAYS, "-2", ("negative", "0 or more count")),
        (RATIO, "nan", ("not a finite number", "12..16")),
    ],
)
def test_a_bad_cell_says_what_would_be_right(trait, text, parts):
    # the caller adds the place and the value
    refused(ValueError, lambda: parse_cell(trait, text), *parts)


def test_a_bad_range_says_what_would_be_right():
    refused(ValueError, lambda: parse_range("16..12"), "backwards", "12..16")
    refused(ValueError, lambda: parse_range("12_16"), "not a number", "12..16")


def test_an_unknown_state_has_no_place_and_no_words():
    with pytest.raises(KeyError, match="wavy"):
        TAIL.index("wavy")
    with pytest.raises(KeyError, match="wavy"):
        TAIL.word("wavy")


# -- and what is taken -----------------------------------------------------------------------------------


@pytest.mark.parametrize("value", [None, math.nan, np.nan, pd.NA, pd.NaT, "", "  "])
@pytest.mark.parametrize("trait", TABLE.trait_ids)
def test_nothing_is_no_answer(trait, value):
    fish = Identification(TABLE).answer(trait, value)
    assert dict(fish.answers) == {}
    assert fish.unseen == (trait,)


@pytest.mark.parametrize(
    ("trait", "value", "expected"),
    [
        (TAIL, " forked ", States(("forked",), (1.0,))),
        (TAIL, "forked|concave", States(("concave", "forked"), (0.5, 0.5))),
        (TAIL, {"forked"}, States(("forked",), (1.0,))),
        (TAIL, np.str_("forked"), States(("forked",), (1.0,))),
        (SPOTS, ["small", "large"], None),
        (SIZE, "60", Range(60, 60)),
        (SIZE, np.int64(60), Range(60, 60)),
        (SIZE, np.float32(60.5), Range(60.5, 60.5)),
        (SIZE, "50..60", Range(50, 60)),
        (SIZE, (50, 60), Range(50, 60)),
        (RATIO, -0.5, Range(-0.5, -0.5)),
        (Trait(id="keel", kind="nominal", states=("no", "yes")), True, States(("yes",), (1.0,))),
        (Trait(id="keel", kind="nominal", states=("no", "yes")), np.bool_(False), States(("no",), (1.0,))),
        (Trait(id="legs", kind="nominal", states=("2", "4")), 4.0, States(("4",), (1.0,))),
        # a state that itself holds the sign that parts states
        (Trait(id="band", kind="nominal", states=("a|b", "c")), "a|b", States(("a|b",), (1.0,))),
    ],
)
def test_answers_that_are_taken(trait, value, expected):
    assert parse_answer(trait, value) == expected
    if expected is not None:
        assert parse_answer(trait, expected) == expected


@pytest.mark.parametrize("data", [None, [], {"answers": ["a"]}, {"answers": {}, "unseen": "pattern"}])
def test_kept_answers_of_another_shape(data):
    with pytest.raises(AnswerError, match="write what to_dict"):
        Identification.from_dict(TABLE, data)


def test_a_label_is_answered_with_the_id():
    with pytest.raises(AnswerError, match="its id is 'adult_size'"):
        Identification(load_table()).answer("Length", 60)


def test_a_length_may_carry_its_unit_and_a_young_fish_its_darwin_core_word():
    fish = Identification(load_table()).answer("adult_size", "60 mm").answer("life_stage", "Juvenile")
    assert dict(fish.answers) == {"adult_size": "60", "life_stage": "young"}


@pytest.mark.parametrize("make", [Identification, build_key])
def test_what_is_no_table(make):
    with pytest.raises(IdkeyError, match="str: give a trait table"):
        make("traits")
