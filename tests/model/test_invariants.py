"""What must hold for every table and every set of answers; tables and answers drawn at random."""

import warnings

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from idkey import Identification, NearestMatch, TraitTable
from idkey.errors import AnswerError
from idkey.model.answers import code_answers
from idkey.model.combine import TableModel
from idkey.table.schema import Trait
from idkey.table.table import YOUNG

from .tables import (
    NONE,
    answered,
    answers,
    answers_to,
    cells,
    nominal,
    posterior,
    probabilities,
    rows_of,
    shuffled,
    table_of,
    tables,
    tables_with_answers,
)

randoms = st.randoms(use_true_random=False)


def held(fish):
    """Return all that an identification holds: two are the same where this is, to the bit."""
    return dict(fish.answers), set(fish.unseen), fish.ranking().to_csv()


def frame_of(*fish):
    """Return answers as a frame, one row a fish."""
    columns = dict.fromkeys(t for said in fish for t in said)
    return pd.DataFrame(
        [[said.get(t) for t in columns] for said in fish], columns=list(columns), dtype=object
    )


# -- probabilities are probabilities ---------------------------------------------------------------------


@given(tables_with_answers())
def test_probabilities_sum_to_one_and_rule_no_kind_out_for_good(case):
    # one slip must not exclude a kind: every probability stays above 0
    table, said = case
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = answered(table, said).ranking()["probability"].to_numpy()
    assert len(found) == len(table) + 1
    assert np.isfinite(found).all()
    assert (found > 0).all()
    assert found.sum() == pytest.approx(1, abs=1e-12)


@given(tables_with_answers())
def test_all_ways_in_agree(case):
    table, said = case
    ranking = answered(table, said).ranking()
    match = NearestMatch().fit(table)
    assert match.rank(said).equals(ranking)
    frame = frame_of(said)
    row = dict(zip(match.classes_, match.predict_proba(frame)[0], strict=True))
    assert row == dict(zip(ranking["taxon"], ranking["probability"], strict=True))
    assert row[match.predict(frame)[0]] == ranking["probability"].max()


@given(tables_with_answers(), st.integers(0, 3), randoms)
def test_a_specimen_does_not_depend_on_the_others_in_the_frame(case, n, random):
    table, said = case
    everyone = [said, *({t: v for t, v in said.items() if random.random() < 0.5} for _ in range(n))]
    match = NearestMatch().fit(table)
    for row, fish in zip(match.predict_proba(frame_of(*everyone)), everyone, strict=True):
        np.testing.assert_allclose(row, posterior(table, fish)[match.classes_], rtol=1e-9, atol=1e-15)


# -- order -----------------------------------------------------------------------------------------------


@given(tables_with_answers(), randoms)
def test_order_of_answers_rows_and_columns_changes_no_bit(case, random):
    table, said = case
    found = probabilities(answered(table, said))
    other = dict(random.sample(sorted(said.items()), len(said)))
    assert found == probabilities(answered(table, other))
    assert found == probabilities(answered(shuffled(table, random), said))


# -- what says nothing changes nothing -------------------------------------------------------------------


@given(tables_with_answers(), st.data())
def test_a_blank_column_changes_nothing(case, data):
    table, said = case
    kind = data.draw(st.sampled_from(["nominal", "ordinal", "measure", "ceiling"]))
    blank = Trait(id="blank", kind=kind, states=("x", "y") if kind in ("nominal", "ordinal") else ())
    wider = table.with_trait(blank)
    before = probabilities(answered(table, said))
    assert before == probabilities(answered(wider, said))
    after = probabilities(answered(wider, said | {"blank": data.draw(answers_to(blank))}))
    assert after == pytest.approx(before, rel=1e-9)


@given(tables_with_answers(), st.data())
def test_an_unanswered_trait_changes_nothing(case, data):
    table, said = case
    more = Trait(id="more", kind=data.draw(st.sampled_from(["nominal", "ordinal"])), states=("x", "y", "z"))
    values = {t: data.draw(cells(more)) for t in table.ids}
    before, after = answered(table, said), answered(table.with_trait(more, values), said)
    assert before.ranking().equals(after.ranking())


@given(tables_with_answers())
def test_cant_see_it_changes_nothing_and_takes_an_answer_back(case):
    table, said = case
    fish = answered(table, said)
    before = fish.ranking()
    for trait in set(table.trait_ids) - set(said):
        fish.answer(trait, None)
    assert before.equals(fish.ranking())
    assert set(fish.unseen) == set(table.trait_ids) - set(said)
    for trait in set(table.trait_ids) & set(said):
        fish.answer(trait, None)
    stage = {t: v for t, v in said.items() if t == "life_stage"}
    assert dict(fish.answers) == stage
    assert fish.ranking().equals(answered(table, stage).ranking())


@given(tables_with_answers())
def test_every_state_at_once_is_no_answer(case):
    table, said = case
    before = answered(table, said).ranking()
    for trait in table.traits:
        if trait.has_states and trait.id not in said:
            fish = answered(table, said).answer(trait.id, "|".join(trait.states))
            assert before.equals(fish.ranking())
            assert trait.id not in fish.answers


@given(tables_with_answers(), st.data())
def test_taking_an_answer_back_is_never_having_given_it(case, data):
    table, said = case
    fish = answered(table, said)
    gone = data.draw(st.lists(st.sampled_from(sorted(said)), unique=True)) if said else []
    for trait in gone:
        fish.answer(trait, None)
    assert fish.ranking().equals(answered(table, {t: v for t, v in said.items() if t not in gone}).ranking())


# -- undo, bad answers ---------------------------------------------------------------------------


@given(tables(), st.data())
def test_undo_is_the_inverse_of_answer(table, data):
    fish = answered(table, data.draw(answers(table)))
    before = held(fish)
    steps = data.draw(st.lists(st.sampled_from(table.traits), min_size=1, max_size=4))
    for trait in steps:
        fish.answer(trait.id, data.draw(st.one_of(st.none(), answers_to(trait))))
    for _ in steps:
        fish.undo()
    assert held(fish) == before
    assert Identification(table).undo().undo().answers == {}


@given(tables_with_answers())
def test_a_bad_answer_leaves_the_identification_as_it_was(case):
    table, said = case
    fish = answered(table, said)
    before = held(fish)
    bad = [("no such trait", "a"), ("life_stage", "old")]
    for t in table.traits:
        bad += [(t.id, value) for value in (["no such state"] if t.has_states else ["x", "9..2"])]
        bad += [(t.id, -1)] if t.unit or t.has_states else []  # a measure without a unit may be negative
    for trait, value in bad:
        with pytest.raises(AnswerError):
            fish.answer(trait, value)
    assert held(fish) == before


# -- names that are alike, sets of names -----------------------------------------------------------------


@given(tables_with_answers())
def test_identical_kinds_get_equal_probability(case):
    table, said = case
    rows = rows_of(table)
    first = next(iter(rows))
    found = probabilities(answered(table_of(table.traits, rows | {"twin": rows[first]}), said))
    assert found["twin"] == pytest.approx(found[first], rel=1e-12)


@given(tables_with_answers(), st.sampled_from([0.5, 0.8, 0.95, 0.99, 1.0]))
def test_candidates_are_the_smallest_set_that_reaches_coverage(case, coverage):
    table, said = case
    fish = answered(table, said, coverage=coverage)
    found, chance = fish.candidates(), probabilities(fish)
    assert sum(chance[t] for t in found) >= coverage - 1e-9
    # no set of fewer names would do: the likeliest of that number fall short
    assert sum(sorted(chance.values(), reverse=True)[: len(found) - 1]) < coverage
    assert list(found) == sorted(found, key=lambda t: (-chance[t], t))
    assert set(NearestMatch(coverage=coverage).fit(table).candidates(frame_of(said))[0]) == set(found)


@given(tables_with_answers())
def test_reasons_add_up_to_the_odds(case):
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


@given(tables_with_answers())
def test_terms_of_the_answers_add_up_exactly(case):
    table, said = case
    model, coded = TableModel(table), code_answers(table, said)
    terms, rest = model.contributions(coded)
    assert set(terms) == set(said) - {"life_stage"}
    total = sum(terms.values(), rest)
    np.testing.assert_allclose(total, model.log_likelihoods(coded)[0], rtol=1e-12, atol=1e-12)


@given(tables_with_answers())
def test_one_good_answer_never_counts_against_the_state_a_kind_has(case):
    table, _ = case
    for trait in table.traits:
        if trait.kind != "nominal" or trait.id + YOUNG in table.cells:
            continue
        for state in trait.states:
            alone = [t for t in table.ids if getattr(table.cell(t, trait.id), "names", ()) == (state,)]
            found = probabilities(answered(table, {trait.id: state}, prior="uniform"))
            top = max(found[t] for t in table.ids)
            assert all(found[t] == pytest.approx(top, rel=1e-9) for t in alone)


# -- corner cases ----------------------------------------------------------------------------------------

TAIL = nominal("tail", ("forked", "straight"))
SIZE = Trait(id="size", kind="ceiling", unit="mm", error=0.001)


def test_one_kind():
    fish = Identification(table_of([TAIL], {"only": "forked"}))
    assert probabilities(fish) == {"only": pytest.approx(0.95), NONE: pytest.approx(0.05)}
    assert fish.candidates() == ("only",)
    fish.answer("tail", "forked")
    assert probabilities(fish)["only"] > 0.95
    assert fish.next_question() is None
    assert (fish.outcome().kind, fish.outcome().taxa) == ("one name", ("only",))


def test_two_identical_kinds_are_not_told_apart():
    fish = Identification(table_of([TAIL], {"a": "forked", "b": "forked", "c": "straight"}))
    assert fish.next_question().trait.id == "tail"
    fish.answer("tail", "forked")
    assert fish.next_question() is None
    found, outcome = probabilities(fish), fish.outcome()
    assert found["a"] == found["b"]
    assert (outcome.kind, outcome.taxa) == ("not told apart", ("a", "b"))
    assert "a and b" in outcome.text


@pytest.mark.parametrize("cell", [".", "-"])
def test_every_cell_blank_or_not_applicable(cell):
    fish = Identification(table_of([TAIL, SIZE], {"a": cell, "b": cell, "c": cell}))
    before = fish.ranking()
    fish.answer("tail", "forked").answer("size", 80)
    assert list(fish.ranking()["probability"]) == pytest.approx(list(before["probability"]))
    assert fish.ranking()["agreement"].isna().all()
    assert fish.next_question() is None
    assert fish.outcome().kind == "not told apart"


def test_answers_that_all_contradict():
    traits = [nominal(f"t{i}", "xy") for i in range(60)]
    everything = {t.id: "x" for t in traits}
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        table = table_of(traits, {"a": everything, "b": everything | {"t0": "y"}})
        fish = answered(table, {t.id: "y" for t in traits})
        ranking = fish.ranking()
        assert fish.outcome().kind == "none of these"
        # nor does a length far beyond every record break anything
        long = answered(table_of([SIZE], {"a": "80", "b": "400"}), {"size": 1e9})
        assert sum(probabilities(long).values()) == pytest.approx(1)
        assert long.outcome().kind == "none of these"
    assert np.isfinite(ranking["probability"]).all()
    assert ranking["probability"].sum() == pytest.approx(1)
    # b agrees in one trait of the sixty
    assert ranking["taxon"].tolist() == [NONE, "b", "a"]


def test_a_thousand_specimens_at_once():
    # more than one block of the matcher
    rng = np.random.default_rng(0)
    tails = rng.choice(["forked", "straight", None], 3000)
    frame = pd.DataFrame({"tail": tails, "size": rng.uniform(10, 500, 3000)})
    match = NearestMatch().fit(table_of([TAIL, SIZE], {"a": "forked 100", "b": "straight 400"}))
    found = match.predict_proba(frame)
    np.testing.assert_allclose(found.sum(axis=1), 1)
    for i in (0, 1023, 1024, 2999):
        alone = posterior(match.table_, frame.iloc[i].dropna().to_dict())
        np.testing.assert_allclose(found[i], alone[match.classes_], rtol=1e-9)


def test_from_frame_pools_rows_in_any_order():
    frame = pd.DataFrame({"kind": list("aabbb"), "tail": list("xyxxy"), "rays": [7.0, 9.0, 8.0, 12.0, None]})
    one, other = (TraitTable.from_frame(f, taxon="kind") for f in (frame, frame.iloc[::-1]))
    said = {"tail": "x", "rays": 8}
    found = probabilities(answered(other, said))
    assert probabilities(answered(one, said)) == pytest.approx(found, rel=1e-12)
