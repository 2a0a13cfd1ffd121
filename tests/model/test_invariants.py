"""What must hold for every table and every set of answers; tables and answers drawn at random."""

import math
import warnings

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from idkey import Identification, NearestMatch
from idkey.errors import AnswerError
from idkey.model.answers import code_answers
from idkey.model.combine import TableModel

from .tables import NONE, answered, answers_to, cases, cells, nominal, probabilities, shuffled, tables, traits

randoms = st.randoms(use_true_random=False)


def held(fish):
    """Return all that an identification holds: two are the same where this is, to the bit."""
    return dict(fish.answers), set(fish.unseen), fish.ranking().to_csv(), fish.outcome()


def frame_of(*fish):
    """Return answers as a frame, one row a fish."""
    return pd.DataFrame(list(fish), dtype=object)


@given(cases, st.integers(0, 3), randoms)
def test_all_ways_in_any_order_agree_and_rule_no_kind_out_for_good(case, n, random):
    table, said = case
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        ranking = answered(table, said).ranking()
    chance = ranking["probability"].to_numpy()
    assert len(chance) == len(table) + 1
    # one slip must not exclude a kind: every probability stays above 0
    assert (chance > 0).all()
    assert chance.sum() == pytest.approx(1, abs=1e-12)
    match = NearestMatch().fit(table)
    assert match.rank(said).equals(ranking)
    frame = frame_of(said)
    row = dict(zip(match.classes_, match.predict_proba(frame)[0], strict=True))
    assert row == dict(zip(ranking["taxon"], chance, strict=True))
    assert row[match.predict(frame)[0]] == chance.max()
    # the order of answers, rows and columns changes no bit
    other = dict(random.sample(sorted(said.items()), len(said)))
    assert ranking.equals(answered(table, other).ranking())
    again = probabilities(answered(shuffled(table, random), said))
    assert again == dict(zip(ranking["taxon"], chance, strict=True))
    # and a specimen does not depend on the others in the frame
    everyone = [said, *({t: v for t, v in said.items() if random.random() < 0.5} for _ in range(n))]
    alone = np.vstack([match.predict_proba(frame_of(fish)) for fish in everyone])
    np.testing.assert_allclose(match.predict_proba(frame_of(*everyone)), alone, rtol=1e-9, atol=1e-15)


@given(cases, st.data())
def test_what_says_nothing_changes_nothing(case, data):
    table, said = case
    before = answered(table, said).ranking()
    chance = dict(zip(before["taxon"], before["probability"], strict=True))
    # a trait that is not answered
    more = data.draw(traits("more"))
    wider = table.with_trait(more, {t: data.draw(cells(more)) for t in table.ids})
    assert before.equals(answered(wider, said).ranking())
    # every state at once
    for trait in table.traits:
        if trait.has_states and trait.id not in said:
            fish = answered(table, said).answer(trait.id, "|".join(trait.states))
            assert before.equals(fish.ranking())
            assert trait.id not in fish.answers
    # an answer to a trait that is blank all through
    blank = data.draw(traits("blank"))
    fish = answered(table.with_trait(blank), said)
    assert probabilities(fish) == chance
    fish.answer("blank", data.draw(answers_to(blank)))
    assert probabilities(fish) == pytest.approx(chance, rel=1e-9)


def bad_answers(trait):
    """What is refused, and changes nothing; a measure without a unit may be negative."""
    values = ["no such state", -1] if trait.has_states else ["x", "9..2", *([-1] if trait.unit else [])]
    return [("no such trait", "a"), *((trait.id, value) for value in values)]


@given(tables(), st.data())
def test_an_identification_is_what_was_said_less_what_was_taken_back(table, data):
    # Held against a plain list: what had been said (None is "can't see it") at each step that may be undone.
    stage = nominal("life_stage", ("adult", "young"))
    fish, steps = Identification(table), [{}]
    for _ in range(data.draw(st.integers(1, 8))):
        trait = data.draw(st.sampled_from([*table.traits, stage]))
        fish.outcome()  # what is worked out before a step must not outlast it
        match data.draw(st.sampled_from(["answer", "answer", "clear", "undo", "bad"])):
            case "answer":
                steps.append(steps[-1] | {trait.id: data.draw(st.one_of(st.none(), answers_to(trait)))})
                fish.answer(trait.id, steps[-1][trait.id])
            case "clear":
                steps.append({})
                fish.clear()
            case "undo":
                steps = steps[:-1] or steps
                fish.undo()
            case "bad":
                for trait_id, value in bad_answers(trait):
                    with pytest.raises(AnswerError):
                        fish.answer(trait_id, value)
    said = {t: value for t, value in steps[-1].items() if value is not None}
    assert held(fish) == held(answered(table, steps[-1]))
    assert set(fish.unseen) == set(steps[-1]) - set(said)
    assert fish.ranking().equals(answered(table, said).ranking())


@given(cases, st.sampled_from([0.5, 0.8, 0.95, 0.99, 1.0]))
def test_candidates_are_the_smallest_set_that_reaches_coverage(case, coverage):
    table, said = case
    fish = answered(table, said, coverage=coverage)
    found, chance = fish.candidates(), probabilities(fish)
    assert sum(chance[t] for t in found) >= coverage - 1e-9
    # no set of fewer names would do: the likeliest of that number fall short
    assert sum(sorted(chance.values(), reverse=True)[: len(found) - 1]) < coverage
    compared = dict(zip(*(fish.ranking()[c] for c in ("taxon", "compared")), strict=True))
    assert list(found) == sorted(found, key=lambda t: (round(-math.log(chance[t]), 12), -compared[t], t))
    assert set(NearestMatch(coverage=coverage).fit(table).candidates(frame_of(said))[0]) == set(found)


@given(cases)
def test_reasons_add_up_to_the_odds_and_their_terms_exactly(case):
    # the decibans of one kind less those of another are 10 log10 of what the answers did to their odds
    table, said = case
    fish = answered(table, said, prior="uniform")
    before, after = probabilities(Identification(table, prior="uniform")), probabilities(fish)
    first = fish.why(table.ids[0])["decibans"].sum()
    for other in [*table.ids[1:], NONE]:
        odds = after[table.ids[0]] / after[other] * before[other] / before[table.ids[0]]
        difference = first - fish.why(other)["decibans"].sum()
        # what the age adds is left off the list where it is less than half a deciban, for either kind
        assert difference == pytest.approx(10 * np.log10(odds), abs=1.0)
    model, coded = TableModel(table), code_answers(table, said)
    terms, rest = model.contributions(coded)
    assert set(terms) == set(said) - {"life_stage"}
    total = sum(terms.values(), rest)
    np.testing.assert_allclose(total, model.log_likelihoods(coded)[0], rtol=1e-12, atol=1e-12)
