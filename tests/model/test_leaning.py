"""Answers with a leaning: virtual evidence, held against sums written out here, on every way in and out."""

import math
import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from idkey import Identification, NearestMatch, build_key
from idkey.errors import AnswerError
from idkey.model.answers import code_answers, code_frame
from idkey.model.fit import agreement
from idkey.table.reading import more_like, parse_answer
from idkey.table.schema import States, Trait, answer_text

from .tables import (
    NONE,
    answered,
    cases,
    likelihoods,
    nominal,
    posterior,
    probabilities,
    shuffled,
    table_of,
    tables,
)

TAIL = nominal("tail", ("straight", "concave", "forked"), error=0.1)
SPOTS = Trait(id="spots", kind="ordinal", states=("small", "medium", "large"), error=0.2)
ROWS = {"a": "forked small", "b": "concave|forked medium", "c": "straight:0.75|forked:0.25 large", "d": "- ."}
TABLE = table_of([TAIL, SPOTS], ROWS)
randoms = st.randoms(use_true_random=False)


@st.composite
def leanings(draw, trait):
    """Draw states of a trait with whole weights, as (state, weight)."""
    states = draw(st.lists(st.sampled_from(trait.states), min_size=1, unique=True))
    return [(state, draw(st.integers(1, 9))) for state in states]


def written(weights):
    total = sum(weight for _, weight in weights)
    return "|".join(f"{state}:{weight / total!r}" for state, weight in weights)


@st.composite
def leaning_cases(draw):
    """Draw a table and answers, each with a leaning, as weights."""
    table = draw(tables(kinds=("nominal", "ordinal")))
    return table, {t.id: draw(leanings(t)) for t in table.traits if draw(st.booleans())}


def test_the_likelihood_is_the_weighted_sum_by_hand():
    # (1 - e) w + e / K of each state, e = 0.1 and K = 3; the likelier state counts once, the other 0.2 / 0.8.
    found = likelihoods(TABLE, tail="forked:0.8|concave:0.2")
    error = 0.1 / 3
    forked, concave = {"a": 1, "b": 0.5, "c": 0.25}, {"a": 0, "b": 0.5, "c": 0}
    for kind in "abc":
        expected = 0.9 * forked[kind] + error + (0.9 * concave[kind] + error) / 4
        assert found[kind] == pytest.approx(expected, rel=1e-14)
    # What does not apply is an error of observation, with either state.
    assert found["d"] == pytest.approx(error * 1.25, rel=1e-14)


def test_a_burglar_alarm():
    # Two states of the world and a witness who is 4 to 1 sure (after Pearl 1988, section 2.2.2; the figures
    # are our own): odds before times 4.
    table = table_of([nominal("alarm", ("rang", "silent"), error=0.0)], {"burglar": "rang", "none": "silent"})
    found = posterior(table, {"alarm": "rang:0.8|silent:0.2"}, prior={"burglar": 1, "none": 99}, none_prior=0)
    assert found["burglar"] / found["none"] == pytest.approx(4 / 99, rel=1e-12)


@given(leaning_cases())
def test_virtual_evidence_from_the_likelihoods_of_single_states(case):
    table, said = case
    for trait_id, weights in said.items():
        if len({weight for _, weight in weights}) == 1:
            continue
        found = likelihoods(table, **{trait_id: written(weights)})
        most = max(weight for _, weight in weights)
        single = sum(likelihoods(table, **{trait_id: s}) * w / most for s, w in weights)
        # A trait of which nothing is known says nothing: all are alike there, whatever their sum.
        np.testing.assert_allclose(found / found[NONE], single / single[NONE], rtol=1e-12)


@given(leaning_cases(), randoms)
def test_every_way_in_gives_the_same_and_text_leads_back(case, random):
    table, weights = case
    said = {trait: written(w) for trait, w in weights.items()}
    fish = answered(table, said)
    chance = probabilities(fish)
    assert probabilities(answered(table, fish.answers)) == chance
    assert answered(table, fish.answers).answers == fish.answers
    mappings = {
        trait: {s: w / sum(dict(pairs).values()) for s, w in pairs} for trait, pairs in weights.items()
    }
    assert probabilities(answered(table, mappings)) == chance
    turned = {trait: "|".join(text.split("|")[::-1]) for trait, text in said.items()}
    assert probabilities(answered(shuffled(table, random), turned)) == chance
    match = NearestMatch().fit(table)
    for answers in (said, mappings):
        frame = pd.DataFrame([answers], dtype=object)
        found = dict(zip(match.classes_, match.predict_proba(frame)[0], strict=True))
        # Not to the bit: a column that no fish answers may still tell young from adult.
        assert found == pytest.approx(chance, rel=1e-12)
    for trait_id, text in fish.answers.items():
        trait = table.trait(trait_id)
        answer = parse_answer(trait, text)
        assert parse_answer(trait, answer) == answer
        assert answer_text(trait, answer) == text


@given(leaning_cases())
def test_who_leans_to_none_says_no_more_than_who_names_them(case):
    table, said = case
    even = {trait: "|".join(f"{s}:{1 / len(w)!r}" for s, _ in w) for trait, w in said.items()}
    plain = {trait: "|".join(s for s, _ in w) for trait, w in said.items()}
    leaning, named = answered(table, even), answered(table, plain)
    # To the bit, and written alike.
    assert leaning.answers == named.answers
    assert leaning.ranking().equals(named.ranking())


@given(leaning_cases())
def test_agreement_and_the_key_count_a_leaning_by_its_states(case):
    table, said = case
    leaning = {t: written(w) for t, w in said.items() if len(w) < len(table.trait(t).states)}
    plain = {t: "|".join(s for s, _ in said[t]) for t in leaning}
    for found, expected in zip(
        agreement(table, code_answers(table, leaning)),
        agreement(table, code_answers(table, plain)),
        strict=True,
    ):
        np.testing.assert_array_equal(found, expected)
    key = build_key(table)
    assert key.classify(leaning) == key.classify(plain)


@given(leaning_cases())
def test_reasons_add_up_to_the_odds(case):
    table, said = case
    fish = answered(table, {t: written(w) for t, w in said.items()}, prior="uniform")
    before, after = probabilities(Identification(table, prior="uniform")), probabilities(fish)
    first = fish.why(table.ids[0])["decibans"].sum()
    for other in table.ids[1:]:
        odds = after[table.ids[0]] / after[other] * before[other] / before[table.ids[0]]
        # What the age adds is left off the list where it is less than half a deciban, for either kind.
        assert first - fish.why(other)["decibans"].sum() == pytest.approx(10 * np.log10(odds), abs=1.0)
    assert fish.outcome().text
    assert ((fish.ranking()["fit"].dropna() >= 0) & (fish.ranking()["fit"].dropna() <= 1)).all()


def test_the_surer_the_nearer_to_the_one_state():
    chances = [
        posterior(TABLE, {"spots": f"small:{p}|medium:{1 - p!r}"})["a"] for p in (0.6, 0.75, 0.9, 0.999)
    ]
    assert chances == sorted(chances)
    assert posterior(TABLE, {"spots": "small|medium"})["a"] < chances[0]
    assert chances[-1] < posterior(TABLE, {"spots": "small"})["a"]
    assert Identification(TABLE).answer("spots", "small:1").answers["spots"] == "small"


def test_a_leaning_stands_in_the_reasons_in_words():
    fish = Identification(TABLE).answer("spots", "medium:0.2|small:0.8")
    assert fish.answers["spots"] == "small:0.8|medium:0.2"
    reason = fish.why("a").iloc[0]
    assert reason["answer"] == "small:0.8|medium:0.2"
    assert "you said small (80 %) or medium (20 %)" in reason["text"]


@given(cases)
def test_what_was_measured_is_judged_as_what_was_seen_and_says_so_wherever_it_goes(case):
    table, said = case
    seen = answered(table, said)
    measured = answered(
        table, {t: x if t == "life_stage" else f"{x} measured on a photo" for t, x in seen.answers.items()}
    )
    assert measured.ranking().equals(seen.ranking())
    assert {q.trait.id for q in measured.questions()} == {q.trait.id for q in seen.questions()}
    for trait_id, text in measured.answers.items():
        if trait_id != "life_stage":
            trait = table.trait(trait_id)
            answer = parse_answer(trait, text)
            assert answer == replace(parse_answer(trait, seen.answers[trait_id]), measured=True)
            assert parse_answer(trait, answer) == answer
            assert answer_text(trait, answer) == text
    assert answered(table, measured.answers).answers == measured.answers


def test_the_reasons_say_that_it_was_measured_and_so_does_an_answer_taken_back():
    fish = Identification(TABLE).answer("spots", "medium:0.2|small:0.8 measured on a photo")
    assert "you said small (80 %) or medium (20 %), measured on a photo" in fish.why("a").iloc[0]["text"]
    assert fish.answer("spots", "small").undo().answers["spots"] == "small:0.8|medium:0.2 measured on a photo"
    assert Identification(TABLE).answer("spots", "small|medium|large measured on a photo").unseen == (
        "spots",
    )


def test_a_question_that_applies_is_still_asked_after_a_leaning():
    colour = nominal("colour", ("white", "gold"), applies_when=("spots", ("small",)))
    table = table_of([SPOTS, colour], {"a": "small white", "b": "small gold", "c": "large ."})
    asked = [q.trait.id for q in Identification(table).answer("spots", "small:0.8|medium:0.2").questions()]
    assert asked == ["colour"]
    measured = Identification(table).answer("spots", "small:0.8|medium:0.2 measured on a photo")
    assert [q.trait.id for q in measured.questions()] == asked
    assert not Identification(table).answer("spots", "medium:0.8|large:0.2").questions()


def test_a_frame_codes_each_leaning_once():
    frame = pd.DataFrame({"spots": ["small:0.8|medium:0.2", "small", None, "small:0.8|medium:0.2"]})
    coded = code_frame(TABLE, frame)
    assert coded.codes["spots"].tolist() == [1, 2, 0, 1]
    assert coded.distinct["spots"].allowed.tolist() == [[1, 0.2 / 0.8, 0], [1, 0, 0]]


REFUSED = [
    ("small:0.8|medium:0.3", "adds up to 1.1, not to 1", "write small:0.73|medium:0.27"),
    ("small:80|medium:20", "adds up to 100", "write small:0.8|medium:0.2"),
    ("small:0.2", "adds up to 0.2", "write small:1"),
    ("small:-0.2|medium:1.2", "more than 0"),
    ("small:0|medium:1", "more than 0"),
    ("small:0.8|medum:0.2", "small, medium, large", "did you mean 'medium'?"),
    ("small:0.8|medium", "give each state its share"),
    ("small:0.5|small:0.5", "stands twice"),
    ("small:0.5|medium:x", "not a number"),
    ({"small": 0.8, "huge": 0.2}, "small, medium, large"),
    ({"small": math.nan, "medium": 1}, "not a number"),
]


@pytest.mark.parametrize(("value", "parts"), [(v, p) for v, *p in REFUSED])
def test_a_wrong_leaning_is_refused_in_one_line_and_changes_nothing(value, parts):
    fish = Identification(TABLE).answer("spots", "large")
    frame = pd.DataFrame({"spots": ["small", value]}, dtype=object)
    for call in (
        lambda: fish.answer("spots", value),
        lambda: NearestMatch().fit(TABLE).predict_proba(frame),
        lambda: build_key(TABLE).classify({"spots": value}),
    ):
        with pytest.raises(AnswerError, match="spots") as caught:
            call()
        text = str(caught.value)
        assert "\n" not in text
        assert all(part in text for part in (repr(value), *parts)), text
    assert dict(fish.answers) == {"spots": "large"}


def test_shares_may_be_rounded_and_a_colon_of_a_state_is_no_share():
    assert parse_answer(SPOTS, "small:0.33|medium:0.33|large:0.33") is None
    found = parse_answer(SPOTS, "small:0.6|medium:0.2|large:0.195")
    assert sum(found.shares) == pytest.approx(1)
    ratio = nominal("ratio", ("1:2", "1:3", "1"), words=("ratio 1:2", "three : 3", "none"))
    assert parse_answer(ratio, "1:2") == States(("1:2",), (1.0,))
    assert parse_answer(ratio, "ratio 1:2") == States(("1:2",), (1.0,))
    assert parse_answer(ratio, "1:2|1:3") == States(("1:2", "1:3"), (0.5, 0.5))
    leaning = parse_answer(ratio, "1:2:0.25|1: 0.75")
    assert leaning == States(("1:2", "1"), (0.25, 0.75))
    assert parse_answer(ratio, answer_text(ratio, leaning)) == leaning


@given(st.lists(st.sampled_from(SPOTS.states), min_size=1, unique=True), st.sampled_from(["", *SPOTS.states]))
def test_more_like_this_one(states, leaning):
    text = more_like(SPOTS, states, leaning)
    answer = parse_answer(SPOTS, text)
    names = tuple(s for s in SPOTS.states if s in states)
    if leaning not in states or len(states) == 1:
        assert text == "|".join(names)
    else:
        assert answer.names == names
        # Three in four for it; of the rest each the same.
        share = 0.25 / (len(names) - 1)
        assert answer.shares == tuple(0.75 if name == leaning else share for name in names)
        assert not re.search(r"\s", text)
