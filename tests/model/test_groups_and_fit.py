"""Traits that repeat one another, and how well a fish fits a kind on its own."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from idkey import Identification, load_table
from idkey.model.answers import code_answers
from idkey.model.combine import TableModel
from idkey.model.fit import POOR_FIT, fit_of

from .tables import NONE, answered, entropy, nominal, posterior, table_of

TEETH = nominal("teeth", ("spoon", "brush", "fangs"))
TRAITS = [TEETH, nominal("tail", ("forked", "straight")), nominal("keels", ("strong", "weak"))]
ROWS = {
    "a": "spoon forked strong",
    "b": "spoon straight weak",
    "c": "brush forked weak",
    "d": "fangs straight strong",
}
TABLE = table_of(TRAITS, ROWS)


def doubled(group):
    """Return the table with the column teeth copied, the copy in the same group or in none."""
    teeth = [replace(TEETH, group=group), replace(TEETH, id="teeth_again", group=group)]
    rows = {kind: f"{row} {row.split()[0]}" for kind, row in ROWS.items()}
    return table_of([teeth[0], *TRAITS[1:], teeth[1]], rows)


def shares(table, **answers):
    return posterior(table, answers, prior="uniform").sort_index()


@given(st.sampled_from(["spoon", "brush", "fangs"]), st.sampled_from(["forked", "straight"]))
def test_a_copied_trait_of_one_group_leaves_the_score_unchanged(teeth, tail):
    # The test that methods of probabilistic identification ask for (dependent characters make a naive Bayes
    # overconfident): a duplicate character must not count twice.
    table = doubled("teeth")
    twice = shares(table, teeth=teeth, teeth_again=teeth, tail=tail)
    np.testing.assert_allclose(shares(table, teeth=teeth, tail=tail), twice, rtol=1e-12)


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
    fish, model = answered(table, answers), TableModel(table)
    now = posterior(table, answers)
    trait = table.trait("spot_vs_nostril")
    chance = pd.DataFrame(
        {s: model.to_table_order(model.models[trait.id].states_adult[trait.index(s)]) for s in trait.states},
        index=[*table.ids, NONE],
    )
    after = sum(
        (chance[state] * now.reindex(chance.index)).sum()
        * entropy(posterior(table, {**answers, trait.id: state}))
        for state in trait.states
    )
    gain = next(q.gain for q in fish.questions() if q.trait.id == trait.id)
    assert gain == pytest.approx(max(entropy(now) - after, 0.0), rel=0.05)


def fraction(table, taxon, **answers):
    return fit_of(TableModel(table), code_answers(table, answers)).fraction[table.position(taxon)]


def test_the_modal_likelihood_fraction_by_hand():
    # Dybowski & Franklin 1968: the product of p(x) / max p. With an observer error of .05 on two states the
    # chances are .975 and .025; on three states .05 / 3 and .95 + .05 / 3.
    once, again = 0.025 / 0.975, (0.05 / 3) / (0.95 + 0.05 / 3)
    assert fraction(TABLE, "a", teeth="spoon", tail="forked") == pytest.approx(1.0)
    assert fraction(TABLE, "a", teeth="spoon", tail="straight") == pytest.approx(once)
    assert fraction(TABLE, "a", teeth="brush", tail="straight") == pytest.approx(once * again)


def test_a_fish_that_is_wrong_everywhere_fits_poorly_and_the_outcome_says_so():
    table = table_of([nominal(f"t{i}", "xy") for i in range(6)], {"a": "x x x x x x", "b": "y y y y y y"})
    fish = answered(table, {f"t{i}": "x" if i < 4 else "y" for i in range(6)}, none_prior=0.0)
    best = fish.ranking().iloc[0]
    assert best["taxon"] == "a"
    assert best["probability"] > 0.95
    assert best["deviation"] < POOR_FIT
    assert "fits poorly" in fish.outcome().text


def test_a_blank_cell_is_no_misfit():
    table = table_of(TRAITS, ROWS | {"a": "spoon . strong"})
    assert fraction(table, "a", teeth="spoon", tail="straight") == pytest.approx(1.0)
