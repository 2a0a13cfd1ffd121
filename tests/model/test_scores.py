"""Is the percentage honest: known scores of forecasts, through scikit-learn on what `predict_proba` returns.

The Brier score here is that of the paper, the sum over all names, 0 to 2 (Brier GW 1950, Monthly Weather
Review 78:1-3). Forecasts are put in as priors: with no answer the posterior is the prior.
"""

import itertools
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import specimens
from sklearn.metrics import brier_score_loss, log_loss

from idkey import NearestMatch

from .tables import NONE, SHIPPED, kinds_of, posterior

THRESHOLDS = (0.3, 0.5, 0.7, 0.8, 0.9, 0.95, 0.99, 0.999)


def forecast(names, rows, none_prior=0):
    """Posterior without an answer under each row of priors, and the names, in the order scores expect."""
    # a table whose kinds differ in one trait, which nobody answers here
    table = kinds_of(pd.DataFrame({"tail": [f"tail of {name}" for name in names]}), list(names))
    priors = ["uniform" if row == "uniform" else dict(zip(names, row, strict=True)) for row in rows]
    found = [posterior(table, {}, prior=prior, none_prior=none_prior).sort_index() for prior in priors]
    return np.array(found), found[0].index.to_numpy(dtype=object)


def brier(truth, probabilities, names):
    """Brier score over all names, through scikit-learn, which must agree with the formula of the paper."""
    happened = np.array(truth)[:, None] == names[None]
    by_formula = float(((probabilities - happened) ** 2).sum(axis=1).mean())
    by_package = brier_score_loss(truth, probabilities, labels=names, scale_by_half=False)
    assert by_package == pytest.approx(by_formula, abs=1e-12)
    return by_package


@pytest.mark.parametrize(("n", "q"), [(2, 0), (3, 0), (10, 0), (59, 0), (4, 0.05)])
def test_a_uniform_guess_scores_as_arithmetic_says(n, q):
    # A share q for "none of these" leaves (1 - q) / n for each kind: log loss ln n - ln(1 - q).
    kinds, share = [f"kind {i}" for i in range(n)], (1 - q) / n
    probabilities, names = forecast(kinds, ["uniform"] * n, none_prior=q)
    assert probabilities[:, names == NONE].ravel() == pytest.approx(q)
    assert log_loss(kinds, probabilities, labels=names) == pytest.approx(np.log(n) - np.log(1 - q), abs=1e-9)
    assert brier(kinds, probabilities, names) == pytest.approx(
        (1 - share) ** 2 + (n - 1) * share**2 + q**2, abs=1e-12
    )


# Brier 1950, table 1 (figures from memory; they give the 0.19 of the paper): rain on days 2, 3 and 4. A prior
# is never quite 0 here, which moves the score by no more than the floor. Then the examples in scikit-learn's
# documentation of brier_score_loss, whose scale_by_half gives half of what is computed here.
@pytest.mark.parametrize(
    ("names", "rows", "truth", "score"),
    [
        ("rd", [(p, 1 - p) for p in (0.7, 0.9, 0.8, 0.4, 0.2, 0, 0, 0, 0, 0.1)], "drrrdddddd", 0.19),
        ("ny", [(0.9, 0.1), (0.1, 0.9), (0.2, 0.8), (0.7, 0.3)], "nyyn", 0.0375 * 2),
        ("xyz", [(0.8, 0.1, 0.1), (0.2, 0.7, 0.1), (0.1, 0.1, 0.8)], "xyz", 0.0433333 * 2),
    ],
)
def test_brier_scores_that_others_print(names, rows, truth, score):
    assert brier([*truth], *forecast([*names], rows)) == pytest.approx(score, abs=1e-6)


def test_log_loss_example_of_scikit_learn():
    # scikit-learn's documentation of log_loss, ham and spam: 0.21616.
    probabilities, names = forecast(["h", "s"], [(0.1, 0.9), (0.9, 0.1), (0.8, 0.2), (0.35, 0.65)])
    assert log_loss([*"shhs"], probabilities, labels=names) == pytest.approx(0.21616, abs=1e-5)


@pytest.fixture(scope="module")
def drawn():
    """4000 fish of the shipped table by the model's own law, how sure the model is, and where it is wrong.

    Groups are lifted, because a drawn fish shows each trait of a group on its own.
    """
    table = replace(SHIPPED, traits=tuple(replace(t, group="") for t in SHIPPED.traits))
    fish = specimens.draw(table, 4000, seed=11, gaps=(0.0, 0.5))
    match = NearestMatch().fit(table)
    found = match.predict_proba(fish.answers)
    return match, fish, found.max(axis=1), match.classes_[found.argmax(axis=1)] != fish.truth


def noise(share, n):
    """Three standard errors of a share of n."""
    return 3 * np.sqrt(max(share * (1 - share), 1 / n) / n)


def test_a_higher_threshold_names_fewer_fish_and_errs_as_the_posterior_promises(drawn):
    # Chow 1970, IEEE Trans. Inf. Theory 16:41-46: a fish is named where its largest posterior passes the
    # threshold. On data from the model the error among those named may not rise (allowed is noise); it is the
    # mean of 1 - largest posterior, so less than 1 - threshold.
    *_, largest, wrong = drawn
    found = []
    for threshold in THRESHOLDS:
        named = largest >= threshold
        promised, error = float((1 - largest[named]).mean()), float(wrong[named].mean())
        assert promised <= 1 - threshold
        assert error == pytest.approx(promised, abs=noise(promised, named.sum())), threshold
        found.append((int(named.sum()), error))
    assert found[0][0] > found[-1][0] > 100
    assert found[0][1] > found[-1][1]
    for (n, error), (n_next, error_next) in itertools.pairwise(found):
        assert n_next <= n
        assert error_next <= error + noise(error, n_next)


def test_a_higher_coverage_never_drops_a_name_and_holds_what_it_promises(drawn):
    # Class-selective rejection (Ha 1996, doi 10.1109/ICPR.1996.546727): the smallest set of names that holds
    # enough of the posterior. Sets are nested, and the share of fish outside theirs is at most 1 - coverage.
    match, fish, *_ = drawn
    before = None
    for coverage in (0.5, 0.8, 0.95, 0.99):
        sets = [set(s) for s in match.set_params(coverage=coverage).candidates(fish.answers)]
        missed = np.mean([t not in s for t, s in zip(fish.truth, sets, strict=True)])
        assert missed <= 1 - coverage + noise(1 - coverage, len(sets))
        assert before is None or all(a <= b for a, b in zip(before, sets, strict=True))
        before = sets
