"""The next question: there always is one or a reason why not, and it is the best by exhaustive search."""

import random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from idkey import Identification, NearestMatch, load_table
from idkey.model.ask import MIN_GAIN
from idkey.table.schema import Trait

from .tables import answers_to, table_of, tables

NONE = "none of these"


# -- never stuck without a word --------------------------------------------------------------------------


def check_not_stuck(fish):
    """With two or more kinds left there is a next question, or an outcome that names the pair."""
    left = [t for t in fish.candidates() if t != NONE]
    question, outcome = fish.next_question(), fish.outcome()
    if len(left) < 2:
        return
    assert outcome.taxa == tuple(left)
    if question is not None:
        assert question.trait.id not in fish.answers
        assert question.trait.id not in fish.unseen
        assert outcome.kind in ("several names", "none of these", "no answers")
        return
    assert outcome.kind in ("not told apart", "none of these"), outcome
    if outcome.kind == "not told apart":
        assert all(fish.table.label(t) in outcome.text for t in left[:2])


def some_answer(trait, rng):
    if trait.has_states:
        return rng.choice([*trait.states, None])
    return (
        rng.choice([20, 45, 80, 110, 200, 450, None])
        if trait.kind == "ceiling"
        else rng.choice([3, 8, 22, 40, None])
    )


@pytest.mark.parametrize("seed", range(12))
def test_random_walks_over_the_shipped_table(seed):
    # answers at random, in the order asked, with "can't see it" and now and then a trait out of turn
    rng = random.Random(seed)
    table = load_table()
    fish = Identification(table)
    while (question := fish.next_question()) is not None:
        trait = question.trait if rng.random() < 0.8 else rng.choice(table.traits)
        fish.answer(trait.id, some_answer(trait, rng))
        if fish.answers:
            check_not_stuck(fish)
    assert fish.answers


@pytest.mark.parametrize("seed", range(12))
def test_walks_of_a_fish_of_the_shipped_table(seed):
    # a fish that answers as its row does is never lost: at the end its kind is among the names left
    rng = random.Random(seed)
    table = load_table()
    taxon = rng.choice(table.ids)
    fish = Identification(table)
    while (question := fish.next_question()) is not None:
        fish.answer(
            question.trait.id, answer_of_the_row(table.cell(taxon, question.trait.id), question.trait, rng)
        )
        check_not_stuck(fish) if fish.answers else None
    found = fish.ranking().set_index("taxon")["probability"]
    assert taxon in fish.candidates(), (taxon, found.head(3))


def answer_of_the_row(cell, trait, rng):
    if hasattr(cell, "names"):
        return rng.choice(cell.names)
    if not hasattr(cell, "high"):
        return None
    return 0.8 * cell.high if trait.kind == "ceiling" else cell.low + rng.random() * (cell.high - cell.low)


@given(tables(), st.data())
def test_random_tables(table, data):
    rows = table.to_frame().to_dict("index")
    if data.draw(st.booleans()):
        rows["twin"] = rows[next(iter(rows))]
    fish = Identification(table_of(table.traits, rows))
    for _ in range(len(table.traits)):
        question = fish.next_question()
        if question is None:
            break
        fish.answer(question.trait.id, data.draw(st.one_of(st.none(), answers_to(question.trait))))
        if fish.answers:
            check_not_stuck(fish)


def test_lookalikes_end_as_a_named_pair():
    tail = Trait(id="tail", kind="nominal", states=("forked", "straight"), error=0.01)
    rows = {"a": {"tail": "forked"}, "a_twin": {"tail": "forked"}, "b": {"tail": "straight"}}
    fish = Identification(table_of([tail], rows))
    assert fish.next_question().trait.id == "tail"
    fish.answer("tail", "forked")
    assert fish.next_question() is None
    assert fish.outcome().kind == "not told apart"
    assert fish.outcome().taxa == ("a", "a_twin")


def test_what_cant_be_seen_is_not_asked_again():
    traits = [Trait(id=f"t{i}", kind="nominal", states=("x", "y")) for i in range(3)]
    rows = {"a": {"t0": "x", "t1": "x", "t2": "x"}, "b": {"t0": "y", "t1": "y", "t2": "y"}}
    fish = Identification(table_of(traits, rows))
    asked = []
    while (question := fish.next_question()) is not None:
        asked.append(question.trait.id)
        fish.answer(question.trait.id, None)
    assert sorted(asked) == ["t0", "t1", "t2"]


def test_a_question_that_does_not_apply_is_not_asked():
    # spot_colour applies when the pattern is light_spots (traits.csv)
    fish = Identification(load_table()).answer("pattern", "lines")
    assert "spot_colour" not in {q.trait.id for q in fish.questions()}
    fish.answer("pattern", "light_spots")
    assert "spot_colour" in {q.trait.id for q in fish.questions()}


# -- the best one ----------------------------------------------------------------------------------------


@st.composite
def crisp_tables(draw):
    """Draw a table of nominal traits in which every cell holds one state."""
    n, width = draw(st.integers(2, 6)), draw(st.integers(1, 4))
    traits = [
        Trait(
            id=f"t{j}",
            kind="nominal",
            states=tuple("wxyz"[: draw(st.integers(2, 4))]),
            error=draw(st.sampled_from([0.01, 0.05, 0.2])),
            effort=float(draw(st.integers(1, 30))),
        )
        for j in range(width)
    ]
    rows = {f"k{i}": {t.id: draw(st.sampled_from(t.states)) for t in traits} for i in range(n)}
    return table_of(traits, rows)


def entropy(p):
    p = np.asarray(p)[np.asarray(p) > 0]
    return float(-(p * np.log2(p)).sum())


def gain_by_search(table, said, trait):
    """H(now) - sum over answers of P(answer) H(then), every posterior by `NearestMatch.rank`.

    P(answer) by Bayes's rule turned round for one kind whose likelihood is known, (1 - e) w + e / K.
    """
    match = NearestMatch().fit(table)
    now = match.rank(said).set_index("taxon")["probability"]
    kind = max(table.ids, key=now.get)
    expected, total = 0.0, 0.0
    for state in trait.states:
        then = match.rank(said | {trait.id: state}).set_index("taxon")["probability"]
        has = table.cell(kind, trait.id).names == (state,)
        chance = now[kind] * ((1 - trait.error) * has + trait.error / len(trait.states)) / then[kind]
        expected += chance * entropy(then)
        total += chance
    assert total == pytest.approx(1, abs=1e-12)
    return entropy(now) - expected


@given(crisp_tables(), st.data())
def test_next_question_is_the_best_by_exhaustive_search(table, data):
    # the greatest expected drop in entropy per second of effort, over the posterior with "none of these"
    fish = Identification(table)
    said = {}
    for trait in data.draw(st.lists(st.sampled_from(table.traits), max_size=2, unique_by=lambda t: t.id)):
        said[trait.id] = data.draw(st.sampled_from(trait.states))
        fish.answer(trait.id, said[trait.id])
    gains = {t.id: gain_by_search(table, said, t) for t in table.traits if t.id not in said}
    found = {q.trait.id: q for q in fish.questions()}
    for trait_id, gain in gains.items():
        if trait_id in found:
            assert found[trait_id].gain == pytest.approx(gain, abs=1e-9)
        else:
            assert gain < MIN_GAIN + 1e-9
    rates = {t: gain / table.trait(t).effort for t, gain in gains.items() if t in found}
    question = fish.next_question()
    if said and len(fish.candidates()) == 1 or not rates:
        assert question is None
    else:
        assert question.rate == pytest.approx(max(rates.values()), abs=1e-9)
        assert rates[question.trait.id] == pytest.approx(max(rates.values()), abs=1e-9)


def test_a_cheap_question_goes_before_a_dear_one_that_settles_as_much():
    traits = [
        Trait(id=i, kind="nominal", states=("x", "y"), effort=s) for i, s in (("dear", 90.0), ("cheap", 5.0))
    ]
    rows = {"a": {"dear": "x", "cheap": "x"}, "b": {"dear": "y", "cheap": "y"}}
    assert Identification(table_of(traits, rows)).next_question().trait.id == "cheap"
