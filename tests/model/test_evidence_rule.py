"""The evidence rule against numbers worked by hand, by scipy.stats, and by scikit-learn's naive Bayes.

The likelihoods are read off the posterior: with a known prior, posterior over prior is the likelihood but for
one factor, which the ratios below do not see.
"""

from dataclasses import replace
from math import prod

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm
from sklearn.naive_bayes import BernoulliNB

from idkey.table.schema import Trait

from .tables import NONE, likelihoods, nominal, posterior, table_of

TINY = 1e-12
TAIL = nominal("tail", ("straight", "concave", "forked"), error=0.1)
SIZE = Trait(id="size", kind="ceiling", unit="mm", error=0.01, spread=0.05)
EYE = Trait(id="eye", kind="measure", error=0.05, spread=1.5, spread_is_relative=False)
RAYS = Trait(id="rays", kind="measure", error=0.05)


def one_trait(trait, **cells):
    return table_of([trait], {taxon: {trait.id: cell} for taxon, cell in cells.items()})


def test_nominal_states_by_hand():
    # (1 - e) w + e / K with e = 0.1 and K = 3
    table = one_trait(TAIL, a="forked", b="concave|forked", c="straight:0.75|forked:0.25")
    found = likelihoods(table, tail="forked")
    assert found["a"] == pytest.approx(0.9 + 0.1 / 3)
    assert found["b"] == pytest.approx(0.45 + 0.1 / 3)
    assert found["c"] == pytest.approx(0.225 + 0.1 / 3)
    assert likelihoods(table, tail="concave")["a"] == pytest.approx(0.1 / 3)


def test_an_unsure_answer_is_either_state():
    table = one_trait(TAIL, a="forked", b="straight")
    found = likelihoods(table, tail="concave|forked")
    assert found["a"] == pytest.approx(0.9 + 2 * 0.1 / 3)
    assert found["b"] == pytest.approx(2 * 0.1 / 3)
    assert likelihoods(table, tail=["forked", "concave"]) == found


def test_ordinal_states_by_hand():
    # An erring observer names a state d steps off with weight 0.3 ** d. Seen from the first of three states
    # the weights are 1, .3, .09, together 1.39; from the middle one .3, 1, .3, together 1.6.
    trait = Trait(id="size", kind="ordinal", states=("small", "medium", "large"), error=0.2)
    table = one_trait(trait, a="small", b="medium", c="small|medium")
    first = [0.8 + 0.2 / 1.39, 0.2 * 0.3 / 1.39, 0.2 * 0.09 / 1.39]
    middle = [0.2 * 0.3 / 1.6, 0.8 + 0.2 / 1.6, 0.2 * 0.3 / 1.6]
    for i, answer in enumerate(trait.states):
        found = likelihoods(table, size=answer)
        assert found["a"] == pytest.approx(first[i])
        assert found["b"] == pytest.approx(middle[i])
        assert found["c"] == pytest.approx((first[i] + middle[i]) / 2)


@pytest.mark.parametrize("kind", ["nominal", "ordinal"])
@pytest.mark.parametrize("cell", ["p", "q", "s", "p|r", "q:0.9|s:0.1"])
def test_answers_of_a_kind_sum_to_one(kind, cell):
    trait = Trait(id="x", kind=kind, states=("p", "q", "r", "s"), error=0.3)
    table = one_trait(trait, a=cell, b="r")
    found = [likelihoods(table, x=state) for state in trait.states]
    for name in ("a", "b", NONE):
        assert sum(f[name] for f in found) == pytest.approx(1)


def test_blank_is_the_mean_of_the_known():
    table = one_trait(TAIL, a="forked", b="straight", c="forked|straight", blank="")
    found = likelihoods(table, tail="forked")
    assert found["blank"] == pytest.approx((found["a"] + found["b"] + found["c"]) / 3)


def test_not_applicable_counts_as_an_error_of_observation():
    table = one_trait(TAIL, a="forked", b="straight", never="-", blank="")
    found = likelihoods(table, tail="forked")
    assert found["never"] == pytest.approx(0.1 / 3)
    # and it is no known row: the blank does not take it in
    assert found["blank"] == pytest.approx((found["a"] + found["b"]) / 2)
    number = one_trait(RAYS, a="7..9", never="-")
    assert likelihoods(number, rays=8)["never"] == pytest.approx(0.05)
    record = one_trait(Trait(id="size", kind="ceiling", error=0.02), a="100", never="-")
    assert likelihoods(record, size=60)["never"] == pytest.approx(0.02)


def test_none_of_these_is_the_rule_of_succession():
    # Laplace: the known rows and one more that is flat. Here (L(a) + L(b) + 1/3) / 3.
    table = one_trait(TAIL, a="forked", b="straight", never="-", blank="")
    found = likelihoods(table, tail="forked")
    assert found[NONE] == pytest.approx((0.9 + 0.1 / 3 + 0.1 / 3 + 1 / 3) / 3)
    number = one_trait(RAYS, a="7..9", b="11..12", blank="")
    found = likelihoods(number, rays=8)
    assert found[NONE] == pytest.approx((found["a"] + found["b"] + 1) / 3)


def test_a_column_in_which_nothing_is_known_says_nothing():
    table = one_trait(TAIL, a="", b="-", c="")
    assert set(likelihoods(table, tail="forked").values()) == {1.0}


def by_scipy(x, low, high, sigma, span, error, step=0.0):
    """A range widened by the measuring error, relative to a flat density over the column."""
    low, high = low - step, high + step
    density = (norm.cdf(x, low, sigma) - norm.cdf(x, high, sigma)) / (high - low)
    return (1 - error) * density * (span + 2 * step) + error


@pytest.mark.parametrize("x", [3, 8, 9.5, 10, 12, 14, 20, 21, 30, 60])
@pytest.mark.parametrize("relative", [False, True])
def test_measure_by_scipy(x, relative):
    trait = replace(EYE, spread=0.1, spread_is_relative=True) if relative else EYE
    sigma = 0.1 * x if relative else 1.5
    found = likelihoods(one_trait(trait, a="8..12", b="11..28"), eye=x)
    assert found["a"] == pytest.approx(by_scipy(x, 8, 12, sigma, 20, 0.05), rel=1e-9)
    assert found["b"] == pytest.approx(by_scipy(x, 11, 28, sigma, 20, 0.05), rel=1e-9)


@pytest.mark.parametrize("x", [7, 8, 9, 10])
def test_counts_reach_half_a_step_beyond_the_range(x):
    # A count of 8 stands for 7.5 to 8.5 (the usual continuity correction).
    trait = replace(EYE, unit="count", spread=0.5)
    found = likelihoods(one_trait(trait, a="8..8", b="7..9", c="12..12"), eye=x)
    assert found["a"] == pytest.approx(by_scipy(x, 8, 8, 0.5, 5, 0.05, step=0.5), rel=1e-9)
    assert found["b"] == pytest.approx(by_scipy(x, 7, 9, 0.5, 5, 0.05, step=0.5), rel=1e-9)


@pytest.mark.parametrize(("low", "high"), [(8, 12), (10, 10), (8, 30)])
def test_measure_is_a_density(low, high):
    # Without observer error it integrates to 1 over all lengths, in units of the width of the column (22).
    table = one_trait(replace(EYE, error=TINY, spread=0.8), a=f"{low}..{high}", b="8..30")
    total, _ = quad(lambda x: likelihoods(table, eye=x)["a"], 0, 40, points=[low, high], limit=200)
    assert total / 22 == pytest.approx(1, abs=1e-5)


def test_an_unsure_number_is_between_its_ends():
    table = one_trait(EYE, a="8..12", b="11..28")
    found = likelihoods(table, eye="9..15")["a"]
    average, _ = quad(lambda x: by_scipy(x, 8, 12, 1.5, 20, 0.05), 9, 15)
    assert found == pytest.approx(average / 6, rel=0.01)  # nine points stand for the range


@pytest.mark.parametrize("x", [20, 60, 95, 100, 108, 130, 400])
def test_record_by_scipy(x):
    # 1 - F((x - c) / (edge c)) with an edge of 5 %, mixed with the observer error
    found = likelihoods(one_trait(SIZE, a="100", b="500"), size=x)
    assert found["a"] == pytest.approx(0.99 * norm.sf(x, 100, 5) + 0.01, rel=1e-9)
    assert found["b"] == pytest.approx(0.99 * norm.sf(x, 500, 25) + 0.01, rel=1e-9)


@pytest.mark.parametrize("x", [30, 60, 90, 200])
@pytest.mark.parametrize("stage", ["adult", "young"])
def test_said_life_stage_by_scipy(x, stage):
    # Adult from about half the record (width a tenth of it); 3 of 100 statements of the stage are wrong.
    found = likelihoods(one_trait(SIZE, a="100", b="500"), size=x, life_stage=stage)
    for name, record in (("a", 100), ("b", 500)):
        within = 0.99 * norm.sf(x, record, 0.05 * record) + 0.01
        adult = np.clip(norm.cdf(x, 0.5 * record, 0.1 * record), 1e-6, 1 - 1e-6)
        said = 0.97 * adult + 0.03 * (1 - adult) if stage == "adult" else 0.03 * adult + 0.97 * (1 - adult)
        assert found[name] == pytest.approx(within * said, rel=1e-9)


@pytest.mark.parametrize("x", [20, 45, 52, 90])
def test_young_column_is_weighed_by_the_chance_of_being_young(x):
    spots = nominal("spots", ("large", "small"), error=0.1)
    a = {"size": "100", "spots": "small", "spots_young": "large"}
    table = table_of([SIZE, spots], {"a": a, "b": {"size": "500", "spots": "small"}})
    found = likelihoods(table, size=x, spots="large")
    within = 0.99 * norm.sf(x, 100, 5) + 0.01
    adult = np.clip(norm.cdf(x, 50, 10), 1e-6, 1 - 1e-6)
    assert found["a"] == pytest.approx(within * (adult * 0.05 + (1 - adult) * 0.95), rel=1e-9)
    # a row that says nothing of young fish holds for them too
    assert found["b"] == pytest.approx((0.99 * norm.sf(x, 500, 25) + 0.01) * 0.05, rel=1e-9)


def test_answers_multiply():
    table = table_of([TAIL, RAYS], {"a": "forked 7..9", "b": "straight 8..12"})
    both = likelihoods(table, tail="forked", rays=8)
    tail, rays = likelihoods(table, tail="forked"), likelihoods(table, rays=8)
    for name in both:
        assert both[name] == pytest.approx(tail[name] * rays[name])


# -- a worked example of probabilistic identification ----------------------------------------------------
# The method of Willcox, Lapage, Bascomb & Curtis 1973 (J. gen. Microbiol. 77:317-330, doi from memory
# 10.1099/00221287-77-2-317): share p of positive results for each kind and test, equal priors, Bayes.

SHARES = {"A": (0.99, 0.01, 0.90, 0.50), "B": (0.99, 0.99, 0.10, 0.50), "C": (0.01, 0.95, 0.80, 0.05)}
TESTS = ("t1", "t2", "t3", "t4")


def share_table(error=TINY, shares=SHARES):
    tests = [nominal(t, ("pos", "neg"), error=error) for t in TESTS]
    return table_of(tests, {k: " ".join(f"pos:{p}|neg:{1 - p}" for p in ps) for k, ps in shares.items()})


def scores(table, results, names="ABC", **options):
    """Posterior of these kinds without "none of these", for results such as "+-?+"."""
    answers = {t: {"+": "pos", "-": "neg"}[r] for t, r in zip(TESTS, results, strict=True) if r != "?"}
    return posterior(table, answers, none_prior=0, **options)[list(names)].to_numpy()


def test_worked_scores():
    # Worked by hand from L = product of p or 1 - p: .441045, .000495, .00002; .891, .099, .008; A and C tie.
    expected = {
        "+-++": [0.998833681, 0.001121025, 0.000045294],
        "+?+?": [0.892786, 0.099198, 0.008016],
        "---+": [0.478261, 0.043478, 0.478261],
    }
    for results, values in expected.items():
        np.testing.assert_allclose(scores(share_table(), results), values, atol=5e-7, err_msg=results)


@pytest.mark.parametrize("results", ["+-++", "---+", "++--", "-+-+", "++++"])
def test_worked_scores_as_naive_bayes_of_scikit_learn(results):
    bayes = BernoulliNB(fit_prior=False).fit(np.eye(3, 4), list("ABC"))
    bayes.feature_log_prob_ = np.log(np.array(list(SHARES.values())))
    expected = bayes.predict_proba([[r == "+" for r in results]])[0]
    np.testing.assert_allclose(scores(share_table(), results), expected, rtol=1e-9)


def test_observer_error_in_the_worked_example():
    # The worked example errs by turning the result round with probability e: p' = p (1 - e) + (1 - p) e
    # = p (1 - 2 e) + e. Here an erring observer names either of the two states by chance, right half of the
    # time: P = p (1 - E) + E / 2. The two are the same with E = 2 e; so e = .1 there is an error of .2 here.
    np.testing.assert_allclose(scores(share_table(0.2), "+-++"), [0.969575, 0.025769, 0.004656], atol=5e-7)
    # e = .5 there, 1 here: the answers are pure chance and say nothing
    np.testing.assert_allclose(scores(share_table(1.0), "+-++"), [1 / 3] * 3, rtol=1e-12)


def test_worked_open_set():
    # "Other" gives every result with the same chance (.5 ** 4 = .0625) and has a prior of .05, the rest
    # shared by A, B and C; worked by hand. Written as a row of its own: our "none of these" follows the
    # smoothed marginals of the table instead.
    table = share_table(shares={**SHARES, "other": (0.5,) * 4})
    prior = {**dict.fromkeys("ABC", 0.95 / 3), "other": 0.05}
    expected = {
        "+-++": [0.976999, 0.001097, 0.000044, 0.021860],
        "---+": [0.045399, 0.004127, 0.045399, 0.905076],
    }
    for results, shares in expected.items():
        found = scores(table, results, [*"ABC", "other"], prior=prior)
        np.testing.assert_allclose(found, shares, atol=1e-6)


def test_one_clear_difference_and_two():
    # With .99 against .01, which is an observer error of .02 on two states, one clear difference is 99 : 1,
    # so .99, below the usual threshold of .999 for a definite name; two are 9801 : 1, so .999898.
    traits = [nominal(t, ("pos", "neg"), error=0.02) for t in TESTS]
    table = table_of(traits, {"A": "pos pos pos pos", "B": "neg neg pos pos"})
    assert scores(table, "+???", "A")[0] == pytest.approx(0.99)
    assert scores(table, "++??", "A")[0] == pytest.approx(9801 / 9802)


PLAY = {
    # Quinlan 1986, Machine Learning 1:81-106, fourteen mornings: counts of each state among 9 yes and 5 no.
    "outlook": {"yes": {"sunny": 2, "overcast": 4, "rain": 3}, "no": {"sunny": 3, "rain": 2}},
    "temperature": {"yes": {"hot": 2, "mild": 4, "cool": 3}, "no": {"hot": 2, "mild": 2, "cool": 1}},
    "humidity": {"yes": {"high": 3, "normal": 6}, "no": {"high": 4, "normal": 1}},
    "wind": {"yes": {"weak": 6, "strong": 3}, "no": {"weak": 2, "strong": 3}},
}
COLD_DAY = {"outlook": "sunny", "temperature": "cool", "humidity": "high", "wind": "strong"}


def play_table(error):
    traits = [nominal(name, counts["yes"], error=error) for name, counts in PLAY.items()]
    rows = {
        label: " ".join(
            "|".join(f"{s}:{n / sum(counts[label].values())}" for s, n in counts[label].items())
            for counts in PLAY.values()
        )
        for label in ("yes", "no")
    }
    return table_of(traits, rows)


def test_worked_example_of_a_textbook():
    # Mitchell 1997, Machine Learning (McGraw-Hill): .0053 for yes, .0206 for no, so no with .795.
    found = posterior(play_table(TINY), COLD_DAY, prior={"yes": 9, "no": 5}, none_prior=0)
    yes = 9 / 14 * prod((2 / 9, 3 / 9, 3 / 9, 3 / 9))
    no = 5 / 14 * prod((3 / 5, 1 / 5, 4 / 5, 3 / 5))
    assert (round(yes, 4), round(no, 4)) == (0.0053, 0.0206)
    np.testing.assert_allclose(found[["yes", "no", NONE]], [yes / (yes + no), no / (yes + no), 0], rtol=1e-9)
    assert found["no"] == pytest.approx(0.795417, abs=5e-7)


def test_a_state_never_seen_does_not_rule_out():
    # Overcast never occurs with "no" there; unsmoothed its product is 0.
    found = posterior(play_table(0.05), {"outlook": "overcast"})
    assert 0 < found["no"] < found["yes"]
