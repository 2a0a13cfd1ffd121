"""Traits that repeat one another, and how well a fish fits a kind on its own."""

import itertools
import warnings
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import entropy

from idkey.model import match
from idkey.model.answers import code_answers
from idkey.model.combine import NONE_PRIOR, TableModel, prior_vector
from idkey.model.fit import POOR_FIT, fit_of
from idkey.table.schema import Trait

from .tables import NONE, SHIPPED, answered, nominal, posterior, table_of

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


def test_a_copied_trait_of_one_group_counts_once_and_is_not_asked():
    # The test that methods of probabilistic identification ask for (dependent characters make a naive Bayes
    # overconfident): a duplicate character must not count twice.
    one, two = doubled("teeth"), doubled("")
    for teeth, tail in itertools.product(TEETH.states, ("forked", "straight")):
        twice = shares(one, teeth=teeth, teeth_again=teeth, tail=tail)
        np.testing.assert_allclose(shares(one, teeth=teeth, tail=tail), twice, rtol=1e-12)
    # outside a group it counts again
    assert shares(two, teeth="brush", teeth_again="brush")["c"] > shares(two, teeth="brush")["c"]
    asked = {q.trait.id for q in answered(one, {"teeth": "spoon"}, prior="uniform").questions()}
    assert asked == {"tail", "keels"}


def test_the_gain_of_a_trait_that_repeats_another_is_what_its_answers_bring():
    # By hand: each answer weighed by its chance, the posterior after it from NearestMatch itself. The
    # question is judged at the likelier age of each kind, the posterior over both ages: hence the tolerance.
    answers = {"pattern": "light_spots", "spot_size": "large", "basin": "orinoco"}
    fish, model, trait = answered(SHIPPED, answers), TableModel(SHIPPED), SHIPPED.trait("spot_vs_nostril")
    # A kind to which it does not apply hardly gives an answer: the gain is that of an answer that comes.
    now, after, total = posterior(SHIPPED, answers), 0.0, 0.0
    prior = prior_vector(SHIPPED, "commonness", NONE_PRIOR)
    of_names = match.posterior(model, code_answers(SHIPPED, answers), prior, by_genus=True)[0]
    for chance, state in zip(model.models[trait.id].states_adult, trait.states, strict=True):
        after += of_names @ chance * entropy(posterior(SHIPPED, answers | {trait.id: state}), base=2)
        total += of_names @ chance
    gain = next(q.gain for q in fish.questions() if q.trait.id == trait.id)
    assert gain == pytest.approx(entropy(now, base=2) - after / total, rel=0.05)


def fraction(table, taxon, **answers):
    return fit_of(TableModel(table), code_answers(table, answers))[0][table.position(taxon)]


def test_the_modal_likelihood_fraction_by_hand():
    # Dybowski & Franklin 1968: the product of p(x) / max p. With an observer error of .05 on two states the
    # chances are .975 and .025; on three states .05 / 3 and .95 + .05 / 3.
    once, again = 0.025 / 0.975, (0.05 / 3) / (0.95 + 0.05 / 3)
    assert fraction(TABLE, "a", teeth="spoon", tail="forked") == pytest.approx(1.0)
    assert fraction(TABLE, "a", teeth="spoon", tail="straight") == pytest.approx(once)
    assert fraction(TABLE, "a", teeth="brush", tail="straight") == pytest.approx(once * again)
    # a blank cell is no misfit
    blank = table_of(TRAITS, ROWS | {"a": "spoon . strong"})
    assert fraction(blank, "a", teeth="spoon", tail="straight") == pytest.approx(1.0)


def test_a_fish_that_is_wrong_everywhere_fits_poorly_and_the_outcome_says_so():
    table = table_of([nominal(f"t{i}", "xy") for i in range(6)], {"a": "x x x x x x", "b": "y y y y y y"})
    fish = answered(table, {f"t{i}": "x" if i < 4 else "y" for i in range(6)}, none_prior=0.0)
    best = fish.ranking().iloc[0]
    assert best["taxon"] == "a"
    assert best["probability"] > 0.95
    assert best["deviation"] < POOR_FIT
    assert "fits poorly" in fish.outcome().text


def test_answers_that_all_contradict():
    traits = [nominal(f"t{i}", "xy") for i in range(60)]
    table = table_of(traits, {"a": "x " * 60, "b": "y " + "x " * 59})
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        fish = answered(table, {t.id: "y" for t in traits})
        # nor does a length far beyond every record break anything
        size = Trait(id="size", kind="ceiling", unit="mm", error=0.001)
        long = answered(table_of([size], {"a": "80", "b": "400"}), {"size": 1e9})
        for other in (fish, long):
            assert other.ranking()["probability"].sum() == pytest.approx(1)
            assert other.outcome().kind == "none of these"
    # b agrees in one trait of the sixty
    assert fish.ranking()["taxon"].tolist() == [NONE, "b", "a"]
