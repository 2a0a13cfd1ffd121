"""The evidence rule against numbers worked by hand, by scipy.stats, and by scikit-learn's naive Bayes."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm
from sklearn.naive_bayes import BernoulliNB

from idkey.table.schema import Trait

from .tables import NONE, STATE_KINDS, likelihoods, nominal, posterior, table_of

TINY = 1e-12
TAIL = nominal("tail", ("straight", "concave", "forked"), error=0.1)
SIZE = Trait(id="size", kind="ceiling", unit="mm", error=0.01, spread=0.05)
EYE = Trait(id="eye", kind="measure", error=0.05, spread=1.5, spread_is_relative=False)
RAYS = Trait(id="rays", kind="measure", error=0.05)


def one_trait(trait, **cells):
    return table_of([trait], {taxon: {trait.id: cell} for taxon, cell in cells.items()})


@pytest.mark.parametrize(
    ("answer", "n", "weights"),
    [
        ("forked", 1, [1, 0.5, 0.25, 0]),
        ("concave", 1, [0, 0.5, 0, 0]),
        # an unsure answer is either state
        ("concave|forked", 2, [1, 1, 0.25, 0]),
        (["forked", "concave"], 2, [1, 1, 0.25, 0]),
    ],
)
def test_nominal_states_by_hand(answer, n, weights):
    # (1 - e) w + n e / K with e = 0.1, K = 3, and n states in the answer
    rows = {"a": "forked", "b": "concave|forked", "c": "straight:0.75|forked:0.25", "d": "straight"}
    found = likelihoods(one_trait(TAIL, **rows, never="-", blank=""), tail=answer)
    known = [0.9 * w + n * 0.1 / 3 for w in weights]
    assert found[[*rows]].tolist() == pytest.approx(known)
    # what does not apply counts as an error of observation; a blank is the mean of the known
    assert found["never"] == pytest.approx(n * 0.1 / 3)
    assert found["blank"] == pytest.approx(sum(known) / 4)
    # none of these by the rule of succession (Laplace): the known rows and one more that is flat
    assert found[NONE] == pytest.approx((sum(known) + n / 3) / 5)
    # a column in which nothing is known says nothing
    assert set(likelihoods(one_trait(TAIL, a="", b="-", c=""), tail=answer)) == {n}


def test_numbers_that_do_not_apply_or_are_blank():
    found = likelihoods(one_trait(RAYS, a="7..9", b="11..12", never="-", blank=""), rays=8)
    assert found["never"] == pytest.approx(0.05)
    assert found["blank"] == pytest.approx((found["a"] + found["b"]) / 2)
    assert found[NONE] == pytest.approx((found["a"] + found["b"] + 1) / 3)
    assert likelihoods(one_trait(SIZE, a="100", never="-"), size=60)["never"] == pytest.approx(0.01)


def test_ordinal_states_by_hand():
    # An erring observer names a state d steps off with weight 0.3 ** d. Seen from the first of three states
    # the weights are 1, .3, .09, together 1.39; from the middle one .3, 1, .3, together 1.6.
    trait = Trait(id="size", kind="ordinal", states=("small", "medium", "large"), error=0.2)
    table = one_trait(trait, a="small", b="medium", c="small|medium")
    first = [0.8 + 0.2 / 1.39, 0.2 * 0.3 / 1.39, 0.2 * 0.09 / 1.39]
    middle = [0.2 * 0.3 / 1.6, 0.8 + 0.2 / 1.6, 0.2 * 0.3 / 1.6]
    for answer, a, b in zip(trait.states, first, middle, strict=True):
        found = likelihoods(table, size=answer)
        assert found[[*"abc"]].tolist() == pytest.approx([a, b, (a + b) / 2])


@pytest.mark.parametrize("kind", STATE_KINDS)
@pytest.mark.parametrize("cell", ["p", "q", "s", "p|r", "q:0.9|s:0.1"])
def test_answers_of_a_kind_sum_to_one(kind, cell):
    trait = Trait(id="x", kind=kind, states=("p", "q", "r", "s"), error=0.3)
    table = one_trait(trait, a=cell, b="r")
    assert sum(likelihoods(table, x=state) for state in trait.states).tolist() == pytest.approx([1, 1, 1])


def by_scipy(x, low, high, sigma, span, error, step=0.0):
    """A range widened by the measuring error, relative to a flat density over the column."""
    low, high = low - step, high + step
    density = (norm.cdf(x, low, sigma) - norm.cdf(x, high, sigma)) / (high - low)
    return (1 - error) * density * (span + 2 * step) + error


@pytest.mark.parametrize("relative", [False, True])
def test_measure_by_scipy(relative):
    trait = replace(EYE, spread=0.1, spread_is_relative=True) if relative else EYE
    table = one_trait(trait, a="8..12", b="11..28")
    for x in (3, 8, 9.5, 10, 12, 14, 20, 21, 30, 60):
        found, sigma = likelihoods(table, eye=x), 0.1 * x if relative else 1.5
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


def within(x, record):
    """1 - F((x - c) / (edge c)) with an edge of 5 %, mixed with the observer error."""
    return 0.99 * norm.sf(x, record, 0.05 * record) + 0.01


def grown(x, record):
    """Adult from about half the record, width a tenth of it."""
    return np.clip(norm.cdf(x, 0.5 * record, 0.1 * record), 1e-6, 1 - 1e-6)


@pytest.mark.parametrize("x", [20, 30, 60, 90, 95, 100, 108, 130, 200, 400])
def test_record_and_said_life_stage_by_scipy(x):
    # 3 of 100 statements of the stage are wrong
    table = one_trait(SIZE, a="100", b="500")
    unsaid, adult, young = (
        likelihoods(table, size=x, **said) for said in ({}, {"life_stage": "adult"}, {"life_stage": "young"})
    )
    for name, record in (("a", 100), ("b", 500)):
        length, old = within(x, record), grown(x, record)
        assert unsaid[name] == pytest.approx(length, rel=1e-9)
        assert adult[name] == pytest.approx(length * (0.97 * old + 0.03 * (1 - old)), rel=1e-9)
        assert young[name] == pytest.approx(length * (0.03 * old + 0.97 * (1 - old)), rel=1e-9)


@pytest.mark.parametrize("x", [20, 45, 52, 90])
def test_young_column_is_weighed_by_the_chance_of_being_young(x):
    spots = nominal("spots", ("large", "small"), error=0.1)
    a = {"size": "100", "spots": "small", "spots_young": "large"}
    table = table_of([SIZE, spots], {"a": a, "b": {"size": "500", "spots": "small"}})
    found, old = likelihoods(table, size=x, spots="large"), grown(x, 100)
    assert found["a"] == pytest.approx(within(x, 100) * (old * 0.05 + (1 - old) * 0.95), rel=1e-9)
    said = likelihoods(table, size=x, spots="large", life_stage="young")["a"]
    assert said == pytest.approx(within(x, 100) * (0.03 * old * 0.05 + 0.97 * (1 - old) * 0.95), rel=1e-9)
    # a row that says nothing of young fish holds for them too
    assert found["b"] == pytest.approx(within(x, 500) * 0.05, rel=1e-9)


# Probabilistic identification after Willcox, Lapage, Bascomb & Curtis 1973 (J. gen. Microbiol. 77:317-330,
# doi from memory 10.1099/00221287-77-2-317): share p of positives for each kind and test, equal priors.
SHARES = {"A": (0.99, 0.01, 0.90, 0.50), "B": (0.99, 0.99, 0.10, 0.50), "C": (0.01, 0.95, 0.80, 0.05)}
TESTS = ("t1", "t2", "t3", "t4")
# "Other" gives every result with the same chance (.5 ** 4 = .0625) and has a prior of .05, the rest shared by
# A, B and C. Written as a row of its own: our "none of these" follows the smoothed marginals instead.
OPEN = {**SHARES, "other": (0.5,) * 4}
OPEN_PRIOR = dict.fromkeys("ABC", 0.95 / 3) | {"other": 0.05}


def share_table(error=TINY, shares=SHARES):
    tests = [nominal(t, ("pos", "neg"), error=error) for t in TESTS]
    return table_of(tests, {k: " ".join(f"pos:{p}|neg:{1 - p}" for p in ps) for k, ps in shares.items()})


def scores(table, results, names="ABC", **options):
    """Posterior of these kinds without "none of these", for results such as "+-?+"."""
    answers = {t: {"+": "pos", "-": "neg"}[r] for t, r in zip(TESTS, results, strict=True) if r != "?"}
    return posterior(table, answers, none_prior=0, **options)[list(names)].to_numpy()


@pytest.mark.parametrize(
    ("error", "shares", "results", "expected"),
    [
        # Worked by hand from L = product of p or 1 - p: .441045, .000495, .00002; .891, .099, .008; a tie.
        (TINY, SHARES, "+-++", [0.998833681, 0.001121025, 0.000045294]),
        (TINY, SHARES, "+?+?", [0.892786, 0.099198, 0.008016]),
        (TINY, SHARES, "---+", [0.478261, 0.043478, 0.478261]),
        # Errors turn a result round with probability e = .1 there: p' = p (1 - 2 e) + e. Here who errs names
        # either of the two states by chance, P = p (1 - E) + E / 2: the same with E = 2 e.
        (0.2, SHARES, "+-++", [0.969575, 0.025769, 0.004656]),
        (TINY, OPEN, "+-++", [0.976999, 0.001097, 0.000044, 0.021860]),
        (TINY, OPEN, "---+", [0.045399, 0.004127, 0.045399, 0.905076]),
    ],
)
def test_worked_scores(error, shares, results, expected):
    prior = OPEN_PRIOR if shares is OPEN else "uniform"
    found = scores(share_table(error, shares), results, [*shares], prior=prior)
    np.testing.assert_allclose(found, expected, atol=5e-7)


@pytest.mark.parametrize("results", ["+-++", "---+", "++--", "-+-+", "++++"])
def test_worked_scores_as_naive_bayes_of_scikit_learn(results):
    bayes = BernoulliNB(fit_prior=False).fit(np.eye(3, 4), list("ABC"))
    bayes.feature_log_prob_ = np.log(np.array(list(SHARES.values())))
    expected = bayes.predict_proba([[r == "+" for r in results]])[0]
    np.testing.assert_allclose(scores(share_table(), results), expected, rtol=1e-9)
    # answers that are pure chance say nothing
    np.testing.assert_allclose(scores(share_table(1.0), results), [1 / 3] * 3, rtol=1e-12)


def test_worked_example_of_a_textbook():
    # Fourteen mornings, 9 yes and 5 no: counts of each state (Quinlan 1986, Machine Learning 1:81-106).
    states = {"outlook": "sunny overcast rain", "temperature": "hot mild cool"}
    states |= {"humidity": "high normal", "wind": "weak strong"}
    rows = {
        "yes": "sunny:2|overcast:4|rain:3 hot:2|mild:4|cool:3 high:3|normal:6 weak:6|strong:3",
        "no": "sunny:3|rain:2 hot:2|mild:2|cool:1 high:4|normal:1 weak:2|strong:3",
    }
    play = table_of([nominal(name, of.split(), error=TINY) for name, of in states.items()], rows)
    # Mitchell 1997, Machine Learning (McGraw-Hill): .0053 for yes, .0206 for no, so no with .795.
    cold = {"outlook": "sunny", "temperature": "cool", "humidity": "high", "wind": "strong"}
    found = posterior(play, cold, prior={"yes": 9, "no": 5}, none_prior=0)
    yes, no = 9 / 14 * 2 / 9 * 3 / 9 * 3 / 9 * 3 / 9, 5 / 14 * 3 / 5 * 1 / 5 * 4 / 5 * 3 / 5
    assert (round(yes, 4), round(no, 4)) == (0.0053, 0.0206)
    np.testing.assert_allclose(found[["yes", "no", NONE]], [yes / (yes + no), no / (yes + no), 0], rtol=1e-9)
    assert found["no"] == pytest.approx(0.795417, abs=5e-7)
