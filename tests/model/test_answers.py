"""Every refusal: one line that says what was given and what would be right."""

import math

import numpy as np
import pandas as pd
import pytest

from idkey import Identification, IdkeyError, NearestMatch, build_key
from idkey.errors import AnswerError, UnknownName
from idkey.model.lookalikes import lookalikes
from idkey.model.review import review
from idkey.table.reading import parse_answer
from idkey.table.schema import States, Trait

from .tables import SHIPPED, nominal, table_of

TAIL = nominal("tail", ("straight", "concave", "forked"))
SPOTS = Trait(id="spots", kind="ordinal", states=("small", "large"))
SIZE = Trait(id="size", kind="ceiling", unit="mm")
RAYS = Trait(id="rays", kind="measure", unit="count")
RATIO = Trait(id="ratio", kind="measure")
TABLE = table_of([TAIL, SPOTS, SIZE, RAYS, RATIO], {"a": "forked small 100", "b": "straight . . 7..9"})

MATCH, KEY = NearestMatch().fit(TABLE), build_key(TABLE)
TAILS = "straight, concave, forked"
TRAITS = "tail, spots, size, rays, ratio, life_stage"


def refused(error, call, *parts):
    """Check that a call is refused on one line that holds all the parts."""
    with pytest.raises(error) as caught:
        call()
    text = str(caught.value)
    assert "\n" not in text
    for part in parts:
        assert part in text, text


BAD_ANSWERS = [
    ("tial", "forked", "'tial'", TRAITS, "did you mean 'tail'?"),
    (None, "forked", "None", TRAITS),
    ("tail", "fork", "tail", "'fork'", TAILS, "did you mean 'forked'?"),
    ("tail", ["forked", "wavy"], "['forked', 'wavy']", TAILS),
    ("tail", 3, "3", TAILS),
    ("tail", "forked\nstraight", "'forked\\nstraight'", TAILS),
    ("spots", "largo", "spots", "'largo'", "small, large", "did you mean 'large'?"),
    ("size", -60, "size", "-60", "more than 0 mm"),
    ("size", "6 stone", "size", "'6 stone'", "not a number", "12..16", "in mm", "mm, cm or in"),
    ("size", "6 ft", "size", "'6 ft'", "feet are not read", "in inches, 12 to the foot", "or in cm"),
    ("size", "70-60", "size", "'70-60'", "backwards", "60..70"),
    ("size", math.inf, "size", "inf", "not a number"),
    ("size", {"mm": 60}, "size", "{'mm': 60}", "not a number", "5..6"),
    ("ratio", True, "ratio", "True", "the unit of the trait", "5..6"),
    ("rays", "-2..3", "rays", "'-2..3'", "negative", "0 or more count"),
    ("rays", (None, 3), "rays", "(None, 3)", "not a number"),
    ("rays", "1_000", "rays", "'1_000'", "not a number"),
    ("life_stage", "old", "life_stage", "'old'", "adult, young"),
]


@pytest.mark.parametrize(("trait", "value", "parts"), [(t, v, p) for t, v, *p in BAD_ANSWERS])
def test_a_bad_answer_is_refused_everywhere_alike(trait, value, parts):
    refused(AnswerError, lambda: Identification(TABLE).answer(trait, value), *parts)
    refused(AnswerError, lambda: MATCH.rank({trait: value}), *parts)
    in_key = [p.replace(", life_stage", "") for p in parts]
    refused(AnswerError, lambda: KEY.classify({trait: value}), *in_key)
    if trait in (*TABLE.trait_ids, "life_stage"):
        good = {"life_stage": "young", "tail": "forked", "spots": "small"}.get(trait, 8)
        frame = pd.DataFrame({trait: [good, value]}, index=["fish 1", "fish 2"], dtype=object)
        for call in (MATCH.predict_proba, MATCH.predict, MATCH.candidates, MATCH.agreement):
            refused(AnswerError, lambda call=call: call(frame), "row fish 2", *parts)


@pytest.mark.parametrize(
    ("frame", "parts"),
    [
        ({"size": [60.0, np.inf]}, ("row 1", "size", "inf", "not a number")),
        ({"size": [True, False]}, ("row 0", "size", "True", "not a number")),
        ({"fins": ["x"]}, ("'fins'", TRAITS)),
        ({0: ["x"]}, ("0", TRAITS)),
        (pd.DataFrame([["forked"] * 2], columns=["tail"] * 2), ("'tail'", "two columns have this name")),
    ],
)
def test_a_frame_that_cannot_be_read(frame, parts):
    refused(AnswerError, lambda: MATCH.predict_proba(pd.DataFrame(frame)), *parts)


@pytest.mark.parametrize("what", [{"tail": ["forked"]}, [["forked"]], np.zeros((1, 1)), None])
def test_what_is_no_frame_and_no_table(what):
    refused(AnswerError, lambda: MATCH.predict(what), type(what).__name__, "DataFrame")
    kind = type(what).__name__
    refused(IdkeyError, lambda: NearestMatch().fit(what), kind, "TraitTable", "DataFrame with y=")
    for make in (Identification, build_key, lookalikes, review):
        refused(IdkeyError, lambda make=make: make(what), f"{kind}: give a trait table")


def test_an_unknown_name_is_refused():
    fish = Identification(table_of([TAIL], {"panaqolus_nix": {}, "panaqolus_maccus": {}}))
    meant = "did you mean 'panaqolus_nix'?"
    refused(UnknownName, lambda: fish.why("panaqolus_nux"), "'panaqolus_nux'", meant)
    fish = Identification(SHIPPED)
    refused(AnswerError, lambda: fish.answer("Length", 60), "'Length'", "its id is 'adult_size'")


@pytest.mark.parametrize(
    ("option", "border", "right"),
    [("coverage", 0, "more than 0 and at most 1"), ("none_prior", 1, "0 or more and less than 1")],
)
def test_an_option_that_makes_no_sense(option, border, right):
    for value in (border, -0.1, 1.01, 95, math.nan, math.inf, "0.5", None):
        given = {option: value}
        refused(IdkeyError, lambda given=given: Identification(TABLE, **given), option, repr(value), right)
        refused(IdkeyError, lambda given=given: NearestMatch(**given).fit(TABLE), option, repr(value), right)


BAD_PRIORS = [
    ("common", "'common'", "commonness, uniform", "did you mean 'commonness'?"),
    ([1, 2], "1", "is not in the table", "a, b"),
    (pd.Series({"a": 1.0}), "Series", "a mapping of taxon to weight", "commonness, uniform"),
    ({"c": 1}, "'c'", "a, b"),
    ({"a": -1}, "a", "-1", "0 or more"),
    ({"a": "much"}, "a", "'much'", "0 or more"),
    ({"a": math.nan}, "a", "nan", "0 or more"),
    ({"a": 0, "b": 0}, "every weight is 0", "at least one"),
]


@pytest.mark.parametrize(("prior", "parts"), [(p, parts) for p, *parts in BAD_PRIORS])
def test_prior_that_makes_no_sense(prior, parts):
    refused(IdkeyError, lambda: Identification(TABLE, prior=prior), "prior", *parts)
    refused(IdkeyError, lambda: NearestMatch(prior=prior).fit(TABLE), "prior", *parts)
    refused(IdkeyError, lambda: build_key(TABLE, prior), "prior", *parts)


@pytest.mark.parametrize("value", [None, math.nan, pd.NA, pd.NaT, "", "  "])
def test_nothing_is_no_answer(value):
    for trait in TABLE.trait_ids:
        fish = Identification(TABLE).answer(trait, value)
        assert (dict(fish.answers), fish.unseen) == ({}, (trait,))


def test_what_is_read_in_another_way_than_it_is_written():
    fish = Identification(SHIPPED).answer("adult_size", "60 mm").answer("life_stage", "Juvenile")
    assert dict(fish.answers) == {"adult_size": "60", "life_stage": "young"}
    # a state may hold the sign that parts states
    assert parse_answer(nominal("band", ("a|b", "c")), "a|b") == States(("a|b",), (1.0,))
