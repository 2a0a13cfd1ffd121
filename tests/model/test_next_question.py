"""The next question: there always is one or a reason why not, and it is the best by exhaustive search."""

import random
from itertools import accumulate

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import entropy
from shipped import TABLE

from idkey import Identification
from idkey.model.ask import MIN_GAIN, MIN_MOVE, READING

from .tables import NONE, answered, answers_to, crisp_tables, posterior, rows_of, table_of, tables


def check_not_stuck(fish):
    """There is a next question, or an outcome that gives the one name left, or names the pair.

    A kind that is known in fewer than half of the answers is not given as the name, at the end neither: it is
    said to be little known, and the likeliest that is better known is named beside it.
    """
    left = [t for t in fish.candidates() if t != NONE]
    question, outcome = fish.next_question(), fish.outcome()
    if question is not None:
        assert question.trait.id not in fish.answers
        assert question.trait.id not in fish.unseen
    if not left or not fish.answers:
        return
    assert outcome.taxa == tuple(left)
    best, *kinds = sorted(fish.ranked(), key=lambda row: row.taxon == NONE)[:-1]
    looks = len([trait for trait in fish.answers if trait != "life_stage"])
    hardly = 2 * best.compared < looks and fish.ranked()[0] is best
    assert (outcome.kind == "little known") == hardly
    if hardly:
        known = [row for row in kinds if 2 * row.compared >= looks][:1]
        assert f"{best.name} comes first" in outcome.text
        assert all(f"{row.name} (" in outcome.text for row in known)
        return
    if question is not None:
        assert outcome.kind in ("several names", "none of these", "no answers")
        return
    assert outcome.kind in ("one name" if len(left) == 1 else "not told apart", "none of these"), outcome
    if outcome.kind == "not told apart":
        assert all(fish.table.label(t) in outcome.text for t in left[:2])


def any_answer(trait, rng):
    if trait.has_states:
        return rng.choice([*trait.states, None])
    return rng.choice([20, 45, 80, 110, 200, 450, None] if trait.kind == "ceiling" else [3, 8, 22, 40, None])


def answer_of_the_row(taxon, trait, rng):
    cell = TABLE.cell(taxon, trait.id)
    if hasattr(cell, "names"):
        return rng.choice(cell.names)
    if not hasattr(cell, "high"):
        return None
    return 0.8 * cell.high if trait.kind == "ceiling" else cell.low + rng.random() * (cell.high - cell.low)


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("by_its_row", [True, False])
def test_walks_over_the_shipped_table(by_its_row, seed):
    # A fish that answers as its row does is never lost; another answers at random, with "can't see it" and
    # now and then a trait out of turn.
    rng = random.Random(seed)
    taxon = rng.choice(TABLE.ids)
    fish = Identification(TABLE)
    while (question := fish.next_question()) is not None:
        trait = question.trait if by_its_row or rng.random() < 0.8 else rng.choice(TABLE.traits)
        fish.answer(trait.id, answer_of_the_row(taxon, trait, rng) if by_its_row else any_answer(trait, rng))
        check_not_stuck(fish)
    assert fish.answers
    assert taxon in fish.candidates() or not by_its_row, (taxon, fish.ranking().head(3))


@given(tables(), st.data())
def test_random_tables(table, data):
    rows, twins = rows_of(table), data.draw(st.booleans())
    if twins:
        rows["twin"] = rows["k0"]
    fish = Identification(table_of(table.traits, rows))
    for _ in table.traits:
        if (question := fish.next_question()) is not None:
            fish.answer(question.trait.id, data.draw(st.one_of(st.none(), answers_to(question.trait))))
            check_not_stuck(fish)
    if twins:
        found = fish.ranking().set_index("taxon")["probability"]
        assert found["twin"] == pytest.approx(found["k0"], rel=1e-12)


def test_a_question_that_does_not_apply_is_not_asked():
    # spot_colour applies when the pattern is light_spots (traits.csv)
    fish = Identification(TABLE).answer("pattern", "lines")
    assert "spot_colour" not in {q.trait.id for q in fish.questions()}
    fish.answer("pattern", "light_spots")
    assert "spot_colour" in {q.trait.id for q in fish.questions()}


def by_search(table, said, trait, left):
    """H(now) - sum over answers of P(answer) H(then), and how likely the names still possible change.

    Every posterior by `NearestMatch.rank`; P(answer) by Bayes's rule turned round for one kind whose
    likelihood is known, (1 - e) w + e / K.
    """
    now = posterior(table, said)
    kind = max(table.ids, key=now.get)
    expected, total, moved = 0.0, 0.0, 0.0
    for state in trait.states:
        then = posterior(table, said | {trait.id: state})
        has = table.cell(kind, trait.id).names == (state,)
        chance = now[kind] * ((1 - trait.error) * has + trait.error / len(trait.states)) / then[kind]
        expected += chance * entropy(then, base=2)
        total += chance
        moved += chance * (names_left(then, left) != left)
    assert total == pytest.approx(1, abs=1e-12)
    return entropy(now, base=2) - expected, moved


def names_left(shares, left, coverage=0.95):
    """The smallest set that holds the coverage; of equals those that were left before."""
    shares = dict(shares)
    by_share = sorted(shares, key=lambda name: (-round(shares[name], 12), name not in left))
    upto = accumulate(shares[name] for name in by_share)
    return {*by_share[: sum(held < coverage - 1e-12 for held in upto) + 1]}


@given(crisp_tables(taxa=(2, 6), errors=(0.01, 0.05, 0.2), efforts=(1, 30), kinds=["nominal"]), st.data())
def test_next_question_is_the_best_by_exhaustive_search(table, data):
    # the greatest expected drop in entropy per second, over the posterior with "none of these"; a question
    # of which an answer hardly ever changes the names still possible is left out
    asked = data.draw(st.lists(st.sampled_from(table.traits), max_size=2, unique_by=lambda t: t.id))
    said = {trait.id: data.draw(st.sampled_from(trait.states)) for trait in asked}
    fish = answered(table, said)
    searched = {
        t.id: by_search(table, said, t, {*fish.candidates()}) for t in table.traits if t.id not in said
    }
    found = {q.trait.id: q for q in fish.questions()}
    for trait_id, (gain, moved) in searched.items():
        if trait_id in found:
            assert found[trait_id].gain == pytest.approx(gain, abs=1e-9)
            assert moved > MIN_MOVE - 1e-9
        else:
            assert gain < MIN_GAIN + 1e-9 or moved < MIN_MOVE + 1e-9
    rates = {t: searched[t][0] / (READING + table.trait(t).effort) for t in found}
    question = fish.next_question()
    if said and len(fish.candidates()) == 1 or not rates:
        assert question is None
    else:
        assert question.rate == pytest.approx(max(rates.values()), abs=1e-9)
        assert rates[question.trait.id] == pytest.approx(max(rates.values()), abs=1e-9)
