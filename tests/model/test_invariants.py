"""What must hold for every table and every set of answers; tables and answers drawn at random."""

import math
import warnings
from dataclasses import replace
from random import Random

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from idkey import Identification, NearestMatch
from idkey.errors import AnswerError
from idkey.model import distinguish
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
    again = answered(shuffled(table, random), said)
    assert probabilities(again) == dict(zip(ranking["taxon"], chance, strict=True))
    for taxon in (*table.ids, NONE):
        assert again.reasons(taxon) == answered(table, said).reasons(taxon)
    # and a specimen does not depend on the others in the frame
    everyone = [said, *({t: v for t, v in said.items() if random.random() < 0.5} for _ in range(n))]
    alone = np.vstack([match.predict_proba(frame_of(fish)) for fish in everyone])
    np.testing.assert_allclose(match.predict_proba(frame_of(*everyone)), alone, rtol=1e-9, atol=1e-15)


def mixed_up(table):
    """Return all that is said of the pairs of a table, and what a look at each trait is worth, by id."""
    alike, young, review = table.lookalikes(), table.lookalikes("young"), table.review()
    order = np.argsort(table.ids)
    matrices = [found.matrix[np.ix_(order, order)].tobytes() for found in (alike, young)]
    nearest = {taxon: found.nearest(taxon) for found in (alike, young) for taxon in table.ids}
    worth = {w.trait.id: (w.known, w.tells, w.only, w.best) for w in review.worth}
    frames = alike.frame.to_csv(), young.frame.to_csv(), review.fill_next.to_csv()
    return matrices, nearest, alike.nearest(), frames, worth


@settings(max_examples=20)
@given(tables(), randoms)
def test_rows_and_columns_in_any_order_change_no_bit_of_who_is_mistaken_for_whom(table, random):
    if len(table) > 1:
        same = mixed_up(shuffled(table, random)) == mixed_up(table)
        assert same


def test_rows_in_another_order_change_no_bit_of_the_shipped_table(shipped):
    # Two records of one length are not the same where one is better known.
    again = shuffled(shipped, Random(1))
    same = mixed_up(again) == mixed_up(shipped)
    assert same
    said = {"pattern": "light_spots", "spot_vs_nostril": "larger", "basin": "orinoco", "adult_size": "77.3"}
    fish, other = answered(shipped, said), answered(again, said)
    assert all(fish.reasons(taxon) == other.reasons(taxon) for taxon in shipped.ids)


def test_many_kinds_are_held_against_each_other_a_few_at_a_time(shipped, monkeypatch):
    some = shipped.only(shipped.ids[::5])
    whole, worth = some.lookalikes(), some.review().worth
    monkeypatch.setattr(distinguish, "BLOCK", 3)
    again = replace(some)
    found = again.lookalikes()
    assert found.matrix == pytest.approx(whole.matrix, rel=1e-12)
    assert (found.matrix == found.matrix.T).all()
    pd.testing.assert_frame_equal(found.frame, whole.frame, rtol=1e-12)
    assert again.review().worth == worth


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
