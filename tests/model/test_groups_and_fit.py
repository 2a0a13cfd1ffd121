"""Traits that repeat one another, and how well a fish fits a kind on its own."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from idkey import Identification, NearestMatch, TraitTable, load_table
from idkey.model.answers import code_answers
from idkey.model.combine import TableModel
from idkey.model.fit import POOR_FIT, fit_of

FRAME = pd.DataFrame(
    {
        "kind": ["a", "b", "c", "d"],
        "teeth": ["spoon", "spoon", "brush", "fangs"],
        "tail": ["forked", "straight", "forked", "straight"],
        "keels": ["strong", "weak", "weak", "strong"],
    }
)


def doubled(group):
    """Return the table with the column teeth copied, the copy in the same group or in none."""
    table = TraitTable.from_frame(FRAME.assign(teeth_again=FRAME["teeth"]), taxon="kind")
    traits = tuple(replace(t, group=group) if t.id.startswith("teeth") else t for t in table.traits)
    return replace(table, traits=traits)


def shares(table, **answers):
    return (
        NearestMatch(prior="uniform").fit(table).rank(answers).set_index("taxon")["probability"].sort_index()
    )


@given(st.sampled_from(["spoon", "brush", "fangs"]), st.sampled_from(["forked", "straight"]))
def test_a_copied_trait_of_one_group_leaves_the_score_unchanged(teeth, tail):
    # The test that methods of probabilistic identification ask for (dependent characters make a naive Bayes
    # overconfident): a duplicate character must not count twice.
    table = doubled("teeth")
    once, twice = (
        shares(table, teeth=teeth, tail=tail),
        shares(table, teeth=teeth, teeth_again=teeth, tail=tail),
    )
    np.testing.assert_allclose(once, twice, rtol=1e-12)


def test_outside_a_group_the_copy_counts_again():
    table = doubled("")
    assert shares(table, teeth="brush", teeth_again="brush")["c"] > shares(table, teeth="brush")["c"]


def test_a_copied_trait_is_not_asked():
    fish = Identification(doubled("teeth"), prior="uniform").answer("teeth", "spoon")
    gains = {q.trait.id: q.gain for q in fish.questions()}
    assert "teeth_again" not in gains
    assert {"tail", "keels"} <= set(gains)


def test_the_gain_of_a_trait_that_repeats_another_is_what_its_answers_bring():
    # By hand: each answer weighed by its chance, the posterior after it from NearestMatch itself. The
    # question is judged at the likelier age of each kind, the posterior over both ages: hence the tolerance.
    table = load_table()
    answers = {"pattern": "light_spots", "spot_size": "large", "basin": "orinoco"}
    fish = Identification(table)
    for trait, value in answers.items():
        fish.answer(trait, value)
    match = NearestMatch().fit(table)
    model = TableModel(table)
    now = match.rank(answers).set_index("taxon")["probability"]
    trait = table.trait("spot_vs_nostril")
    chance = pd.DataFrame(
        {s: model.to_table_order(model.models[trait.id].states_adult[trait.index(s)]) for s in trait.states},
        index=match.classes_,
    )
    before = -(now * np.log2(now)).sum()
    after = 0.0
    for state in trait.states:
        then = match.rank({**answers, trait.id: state})["probability"]
        after += (chance[state] * now.reindex(chance.index)).sum() * -(then * np.log2(then)).sum()
    gain = next(q.gain for q in fish.questions() if q.trait.id == trait.id)
    assert gain == pytest.approx(max(before - after, 0.0), rel=0.05)


def deviation(table, taxon, answers):
    fit = fit_of(TableModel(table), code_answers(table, answers))
    i = table.position(taxon)
    return fit.fraction[i], fit.deviation[i]


def test_the_modal_likelihood_fraction_by_hand():
    # Dybowski & Franklin 1968: the product of p(x) / max p. With an observer error of .05 on two states the
    # chances are .975 and .025; on three states .05 / 3 and .95 + .05 / 3.
    table = TraitTable.from_frame(FRAME, taxon="kind")
    assert deviation(table, "a", {"teeth": "spoon", "tail": "forked"})[0] == pytest.approx(1.0)
    one = deviation(table, "a", {"teeth": "spoon", "tail": "straight"})[0]
    assert one == pytest.approx(0.025 / 0.975)
    two = deviation(table, "a", {"teeth": "brush", "tail": "straight"})[0]
    assert two == pytest.approx(0.025 / 0.975 * (0.05 / 3) / (0.95 + 0.05 / 3))


def test_a_fish_that_is_wrong_everywhere_fits_poorly_and_the_outcome_says_so():
    rows = {"kind": ["a", "b"], **{f"t{i}": ["x", "y"] for i in range(6)}}
    table = TraitTable.from_frame(pd.DataFrame(rows), taxon="kind")
    fish = Identification(table, none_prior=0.0)
    for i in range(6):
        fish.answer(f"t{i}", "x" if i < 4 else "y")
    best = fish.ranking().iloc[0]
    assert best["taxon"] == "a"
    assert best["probability"] > 0.95
    assert best["deviation"] < POOR_FIT
    assert "fits poorly" in fish.outcome().text


def test_a_blank_cell_is_no_misfit():
    frame = FRAME.assign(tail=[None, *FRAME["tail"][1:]])
    table = TraitTable.from_frame(frame, taxon="kind")
    assert deviation(table, "a", {"teeth": "spoon", "tail": "straight"})[0] == pytest.approx(1.0)
