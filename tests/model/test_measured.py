"""Answers measured on a photo: an error of their own, held against sums written out here; kept as such."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from idkey import Identification, NearestMatch
from idkey.table.reading import parse_answer
from idkey.table.schema import Trait, answer_text

from .tables import (
    answered,
    cases,
    likelihoods,
    nominal,
    posterior,
    probabilities,
    shuffled,
    table_of,
)

TAIL = nominal("tail", ("straight", "concave", "forked"), error=0.1, photo_error=0.03)
SPOTS = Trait("spots", "ordinal", states=("small", "medium", "large"), error=0.2, photo_error=0.06)
ROWS = Trait("rows", "measure", unit="count", error=0.2, spread=0.1, photo_error=0.05)
TABLE = table_of([TAIL, SPOTS], {"a": "forked small", "b": "concave|forked medium", "c": "- large"})
randoms = st.randoms(use_true_random=False)


def on_a_photo(table, said, chosen=None):
    """The same answers, all or the chosen ones measured."""
    read = {t: parse_answer(table.trait(t), x) for t, x in said.items() if t != "life_stage"}
    marked = {t: replace(x, measured=True) for t, x in read.items() if x and (chosen is None or t in chosen)}
    return said | {t: answer_text(table.trait(t), x) for t, x in marked.items()}


@st.composite
def measured_cases(draw):
    """Draw a table whose traits have an error on a photo, or none, and answers, some of them measured."""
    table, said = draw(cases)
    errors = [draw(st.sampled_from([None, 0.01, 0.1, 0.4])) for _ in table.traits]
    traits = tuple(replace(t, photo_error=e) for t, e in zip(table.traits, errors, strict=True))
    table = replace(table, traits=traits)
    return table, on_a_photo(table, said, draw(st.sets(st.sampled_from(sorted(said)))) if said else ())


def test_the_likelihood_by_hand():
    # (1 - e) w + e / K of each state, e of the photo; the likelier state counts once, the other 0.2 / 0.8.
    found = likelihoods(TABLE, tail="forked:0.8|concave:0.2 measured on a photo")
    error = 0.03 / 3
    assert found["a"] == pytest.approx(0.97 + error + error / 4, rel=1e-14)
    assert found["b"] == pytest.approx((0.97 * 0.5 + error) * 1.25, rel=1e-14)
    assert found["c"] == pytest.approx(error * 1.25, rel=1e-14)
    # Whoever errs names the next state as often as 0.3 to 1, the one after it as 0.09.
    found = likelihoods(TABLE, spots="small measured on a photo")
    assert found["a"] == pytest.approx(0.94 + 0.06 / 1.39, rel=1e-14)
    assert found["b"] == pytest.approx(0.06 * 0.3 / 1.6, rel=1e-14)
    assert found["c"] == pytest.approx(0.06 * 0.09 / 1.39, rel=1e-14)


def test_a_number_by_hand():
    table = table_of([ROWS], {"a": "10..12", "b": "40..44"})
    # Half a count more at both ends: 5 of the 35 of the column, and a tenth of 41 to err by.
    density = 35 / 5 * (norm.cdf(44.5, 41, 4.1) - norm.cdf(39.5, 41, 4.1))
    for said, error in (("41", 0.2), ("41 measured on a photo", 0.05)):
        found = likelihoods(table, rows=said)
        assert found["a"] == pytest.approx(error, rel=1e-6)
        assert found["b"] == pytest.approx((1 - error) * density + error, rel=1e-12)


def test_posterior_by_hand():
    # Even priors: the odds are those of the likelihoods, 0.94 + 0.06 / 1.39 to 0.06 * 0.3 / 1.6.
    chance = posterior(TABLE, {"spots": "small measured on a photo"}, prior="uniform", none_prior=0)
    assert chance["a"] / chance["b"] == pytest.approx((0.94 + 0.06 / 1.39) / (0.018 / 1.6), rel=1e-12)


def test_the_reasons_say_that_it_was_measured_and_what_applies_is_still_asked():
    colour = nominal("colour", ("white", "gold"), applies_when=("spots", ("small",)))
    table = table_of([SPOTS, colour], {"a": "small white", "b": "small gold", "c": "large ."})
    fish = Identification(table).answer("spots", "medium:0.2|small:0.8 measured on a photo")
    assert "small (80 %) or medium (20 %), measured on a photo" in fish.why("a").iloc[0]["text"]
    assert [q.trait.id for q in fish.questions()] == ["colour"]
    assert fish.answer("spots", "small").undo().answers["spots"] == "small:0.8|medium:0.2 measured on a photo"


@given(measured_cases(), randoms)
def test_probabilities_sum_to_1_in_any_order_and_text_leads_back(case, random):
    table, said = case
    fish = answered(table, said)
    chance = probabilities(fish)
    assert sum(chance.values()) == pytest.approx(1, rel=1e-12)
    turned = dict(random.sample(list(said.items()), len(said)))
    assert probabilities(answered(shuffled(table, random), turned)) == chance
    again = answered(table, fish.answers)
    assert again.answers == fish.answers
    assert again.ranking().equals(fish.ranking())
    found = NearestMatch().fit(table).predict_proba(pd.DataFrame([said], dtype=object))[0]
    np.testing.assert_allclose(
        found, [chance[name] for name in NearestMatch().fit(table).classes_], rtol=1e-9
    )


@given(cases)
def test_without_an_error_of_its_own_it_is_judged_as_seen(case):
    table, said = case
    seen, measured = answered(table, said), answered(table, on_a_photo(table, said))
    assert seen.ranking().equals(measured.ranking())


@given(cases)
def test_one_that_leans_to_no_state_changes_nothing(case):
    table, said = case
    table = replace(table, traits=tuple(replace(t, photo_error=0.01) for t in table.traits))
    before = answered(table, said)
    for trait in table.traits:
        if trait.has_states and trait.id not in said:
            flat = "|".join(f"{s}:{1 / len(trait.states)!r}" for s in trait.states)
            after = answered(table, said | {trait.id: f"{flat} measured on a photo"})
            assert after.ranking().equals(before.ranking())


@given(measured_cases())
def test_a_frame_of_seen_and_measured_gives_each_its_own(case):
    table, said = case
    by_eye = {t: x.removesuffix(" measured on a photo") if isinstance(x, str) else x for t, x in said.items()}
    frame = pd.DataFrame([said, by_eye, said], dtype=object)
    together = NearestMatch().fit(table).predict_proba(frame)
    for row, answers in zip(together, (said, by_eye, said), strict=True):
        alone = NearestMatch().fit(table).predict_proba(pd.DataFrame([answers], dtype=object))[0]
        np.testing.assert_allclose(row, alone, rtol=1e-9)
