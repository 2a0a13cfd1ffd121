"""What must hold for every table and every set of answers; tables and answers drawn at random."""

import json
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

from .tables import answers, answers_to, cells, probabilities, table_of, tables, tables_with_answers

NONE = "none of these"


def answered(table, said, **options):
    fish = Identification(table, **options)
    for trait, value in said.items():
        fish.answer(trait, value)
    return fish


def rows_of(table):
    """Return the table as `{taxon: {column: cell text}}`."""
    return table.to_frame().to_dict("index")


def same(first, second):
    """Whether two identifications hold the same in every bit."""
    return (
        first.answers == second.answers
        and set(first.unseen) == set(second.unseen)
        and first.ranking().equals(second.ranking())
    )


# -- probabilities are probabilities ---------------------------------------------------------------------


@given(tables_with_answers())
def test_probabilities_sum_to_one_and_are_finite(case):
    table, said = case
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = answered(table, said).ranking()["probability"].to_numpy()
    assert len(found) == len(table) + 1
    assert np.isfinite(found).all()
    assert (found >= 0).all()
    assert found.sum() == pytest.approx(1, abs=1e-12)


@given(tables_with_answers())
def test_no_answer_rules_a_kind_out_for_good(case):
    # one slip must not exclude a kind: every probability stays above 0
    table, said = case
    assert all(p > 0 for p in probabilities(answered(table, said)).values())


@given(tables_with_answers())
def test_all_ways_in_agree(case):
    table, said = case
    ranking = answered(table, said).ranking()
    match = NearestMatch().fit(table)
    assert match.rank(said).equals(ranking)
    frame = pd.DataFrame(
        {trait: pd.Series([value], dtype=object) for trait, value in said.items()}, index=[0]
    )
    row = dict(zip(match.classes_, match.predict_proba(frame)[0], strict=True))
    assert row == dict(zip(ranking["taxon"], ranking["probability"], strict=True))
    assert (
        match.predict(frame)[0]
        in ranking.loc[ranking["probability"] == ranking["probability"].max(), "taxon"].tolist()
    )


@given(tables_with_answers(), st.integers(0, 3), st.randoms(use_true_random=False))
def test_a_specimen_does_not_depend_on_the_others_in_the_frame(case, n, random):
    table, said = case
    traits = list(said)
    others = [{t: said[t] for t in traits if random.random() < 0.5} for _ in range(n)]
    everyone = [said, *others]
    columns = {t: pd.Series([fish.get(t) for fish in everyone], dtype=object) for t in traits}
    match = NearestMatch().fit(table)
    together = match.predict_proba(pd.DataFrame(columns, index=range(len(everyone))))
    for row, fish in zip(together, everyone, strict=True):
        alone = match.rank(fish).set_index("taxon")["probability"]
        np.testing.assert_allclose(row, alone[match.classes_], rtol=1e-9, atol=1e-15)


# -- order -----------------------------------------------------------------------------------------------


@given(tables_with_answers(), st.randoms(use_true_random=False))
def test_order_of_answers_never_matters(case, random):
    table, said = case
    shuffled = list(said.items())
    random.shuffle(shuffled)
    assert probabilities(answered(table, said)) == probabilities(answered(table, dict(shuffled)))


@given(tables_with_answers(), st.randoms(use_true_random=False))
def test_order_of_rows_changes_no_bit(case, random):
    table, said = case
    rows = list(rows_of(table).items())
    random.shuffle(rows)
    assert probabilities(answered(table, said)) == probabilities(
        answered(table_of(table.traits, dict(rows)), said)
    )


@given(tables_with_answers(), st.randoms(use_true_random=False))
def test_order_of_columns_changes_no_bit(case, random):
    table, said = case
    traits = list(table.traits)
    random.shuffle(traits)
    assert probabilities(answered(table, said)) == probabilities(
        answered(table_of(traits, rows_of(table)), said)
    )


# -- what says nothing changes nothing -------------------------------------------------------------------


@given(tables_with_answers(), st.data())
def test_a_blank_column_changes_nothing(case, data):
    table, said = case
    kind = data.draw(st.sampled_from(["nominal", "ordinal", "measure", "ceiling"]))
    blank = Trait(id="blank", kind=kind, states=("x", "y") if kind in ("nominal", "ordinal") else ())
    wider = table.with_trait(blank)
    before = answered(table, said)
    assert probabilities(before) == probabilities(answered(wider, said))
    value = data.draw(answers_to(blank))
    after = answered(wider, said | {"blank": value})
    for taxon, p in probabilities(before).items():
        assert probabilities(after)[taxon] == pytest.approx(p, rel=1e-9)


@given(tables_with_answers(), st.data())
def test_an_unanswered_trait_changes_nothing(case, data):
    table, said = case
    more = Trait(id="more", kind=data.draw(st.sampled_from(["nominal", "ordinal"])), states=("x", "y", "z"))
    values = {t: data.draw(cells(more)) for t in table.ids}
    before, after = answered(table, said), answered(table.with_trait(more, values), said)
    assert before.ranking().equals(after.ranking())


@given(tables_with_answers())
def test_cant_see_it_changes_nothing(case):
    table, said = case
    fish = answered(table, said)
    before = fish.ranking()
    for trait in table.trait_ids:
        if trait not in said:
            fish.answer(trait, None)
    assert before.equals(fish.ranking())
    assert set(fish.unseen) == set(table.trait_ids) - set(said)


@given(tables_with_answers())
def test_cant_see_it_after_all_takes_the_answer_back(case):
    table, said = case
    fish = answered(table, said)
    for trait in said:
        if trait != "life_stage":
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
    for trait in data.draw(st.lists(st.sampled_from(sorted(said)), unique=True)) if said else []:
        fish.forget(trait)
        said = {t: v for t, v in said.items() if t != trait}
    assert same(fish, answered(table, said))


# -- undo, bad answers, keeping --------------------------------------------------------------------------


@given(tables(), st.data())
def test_undo_is_the_inverse_of_answer(table, data):
    fish = answered(table, data.draw(answers(table)))
    before = (dict(fish.answers), fish.unseen, fish.ranking())
    steps = data.draw(st.lists(st.sampled_from(table.traits), min_size=1, max_size=4))
    for trait in steps:
        fish.answer(trait.id, data.draw(st.one_of(st.none(), answers_to(trait))))
    for _ in steps:
        fish.undo()
    assert (dict(fish.answers), fish.unseen) == before[:2]
    assert fish.ranking().equals(before[2])


def test_undo_with_nothing_to_undo():
    table = table_of([Trait(id="t", kind="nominal", states=("x", "y"))], {"a": {"t": "x"}})
    fish = Identification(table)
    assert fish.undo().undo().answers == {}


@given(tables_with_answers())
def test_a_bad_answer_leaves_the_identification_as_it_was(case):
    table, said = case
    fish = answered(table, said)
    before = (dict(fish.answers), fish.unseen, fish.ranking())
    bad = [("no such trait", "a"), ("life_stage", "old")]
    bad += [
        (t.id, "no such state" if t.has_states else value)
        for t in table.traits
        for value in ("x", "9..2", -1)
    ]
    for trait, value in bad:
        if trait in table.trait_ids and table.trait(trait).unit == "" and value == -1:
            continue  # a measure without a unit may be negative
        with pytest.raises(AnswerError):
            fish.answer(trait, value)
    assert (dict(fish.answers), fish.unseen) == before[:2]
    assert fish.ranking().equals(before[2])


@given(tables_with_answers(), st.data())
def test_from_dict_gives_back_what_to_dict_took(case, data):
    table, said = case
    fish = answered(table, said)
    for trait in data.draw(st.lists(st.sampled_from(table.trait_ids), unique=True)):
        fish.answer(trait, None)
    kept = json.loads(json.dumps(fish.to_dict()))
    again = Identification.from_dict(table, kept)
    assert again.to_dict() == fish.to_dict()
    assert same(again, fish)


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
    best = sorted(chance.values(), reverse=True)[: len(found) - 1]
    assert sum(best) < coverage
    assert list(found) == sorted(found, key=lambda t: (-chance[t], t))
    frame = pd.DataFrame({t: pd.Series([v], dtype=object) for t, v in said.items()}, index=[0])
    assert set(NearestMatch(coverage=coverage).fit(table).candidates(frame)[0]) == set(found)


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
    np.testing.assert_allclose(
        sum(terms.values(), rest), model.log_likelihoods(coded)[0], rtol=1e-12, atol=1e-12
    )


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

TAIL = Trait(id="tail", kind="nominal", states=("forked", "straight"))
SIZE = Trait(id="size", kind="ceiling", unit="mm", error=0.001)


def test_one_kind():
    fish = Identification(table_of([TAIL], {"only": {"tail": "forked"}}))
    assert probabilities(fish) == {"only": pytest.approx(0.95), NONE: pytest.approx(0.05)}
    assert fish.candidates() == ("only",)
    fish.answer("tail", "forked")
    assert probabilities(fish)["only"] > 0.95
    assert fish.next_question() is None
    assert fish.outcome().kind == "one name"
    assert fish.outcome().taxa == ("only",)


def test_two_identical_kinds_are_not_told_apart():
    fish = Identification(table_of([TAIL], {"a": {"tail": "forked"}, "b": {"tail": "forked"}}))
    fish.answer("tail", "forked")
    found = probabilities(fish)
    assert found["a"] == found["b"]
    assert fish.next_question() is None
    outcome = fish.outcome()
    assert outcome.kind == "not told apart"
    assert outcome.taxa == ("a", "b")
    assert "a and b" in outcome.text


def test_every_cell_blank():
    fish = Identification(table_of([TAIL, SIZE], {"a": {}, "b": {}, "c": {}}))
    before = fish.ranking()
    fish.answer("tail", "forked").answer("size", 80)
    assert list(fish.ranking()["probability"]) == pytest.approx(list(before["probability"]))
    assert fish.ranking()["agreement"].isna().all()
    assert fish.next_question() is None
    assert fish.outcome().kind == "not told apart"


def test_not_applicable_everywhere():
    fish = Identification(table_of([TAIL], {"a": {"tail": "-"}, "b": {"tail": "-"}}))
    before = fish.ranking()
    assert list(fish.answer("tail", "forked").ranking()["probability"]) == list(before["probability"])


def test_answers_that_all_contradict():
    traits = [Trait(id=f"t{i}", kind="nominal", states=("x", "y")) for i in range(60)]
    everything = {t.id: "x" for t in traits}
    rows = {"a": everything, "b": everything | {"t0": "y"}}
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        fish = answered(table_of(traits, rows), {t.id: "y" for t in traits})
        ranking = fish.ranking()
        outcome = fish.outcome()
    assert np.isfinite(ranking["probability"]).all()
    assert ranking["probability"].sum() == pytest.approx(1)
    assert outcome.kind == "none of these"
    # b agrees in one trait of the sixty
    assert ranking["taxon"].tolist() == [NONE, "b", "a"]


def test_lengths_far_beyond_every_record():
    fish = Identification(table_of([SIZE], {"a": {"size": "80"}, "b": {"size": "400"}}))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = probabilities(fish.answer("size", 1e9))
    assert sum(found.values()) == pytest.approx(1)
    assert fish.outcome().kind == "none of these"


def test_a_thousand_specimens_at_once():
    # more than one block of the matcher
    rng = np.random.default_rng(0)
    frame = pd.DataFrame(
        {"tail": rng.choice(["forked", "straight", None], 3000), "size": rng.uniform(10, 500, 3000)}
    )
    table = table_of(
        [TAIL, SIZE], {"a": {"tail": "forked", "size": "100"}, "b": {"tail": "straight", "size": "400"}}
    )
    match = NearestMatch().fit(table)
    found = match.predict_proba(frame)
    np.testing.assert_allclose(found.sum(axis=1), 1)
    for i in (0, 1023, 1024, 2999):
        alone = match.rank(frame.iloc[i].dropna().to_dict()).set_index("taxon")["probability"]
        np.testing.assert_allclose(found[i], alone[match.classes_], rtol=1e-9)


def test_from_frame_pools_rows_in_any_order():
    frame = pd.DataFrame({"kind": list("aabbb"), "tail": list("xyxxy"), "rays": [7.0, 9.0, 8.0, 12.0, None]})
    table = TraitTable.from_frame(frame, taxon="kind")
    other = TraitTable.from_frame(frame.iloc[::-1], taxon="kind")
    said = {"tail": "x", "rays": 8}
    assert probabilities(answered(table, said)) == pytest.approx(
        probabilities(answered(other, said)), rel=1e-12
    )
