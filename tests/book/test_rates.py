"""How often do we err? Against published intervals, counts by hand, and answers drawn by the model."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import beta

import idkey
from idkey.book.rates import FEWEST, jeffreys, rates

from .rows import look_at, named

FRAME = pd.DataFrame(
    {
        "kind": ["alpha", "beta", "gamma"],
        "spots": ["white", "white|yellow", "orange"],
        "eye": ["red", "blue", "red"],
        "rays": ["7..9", "12..13", "20..22"],
    }
)
TABLE = idkey.TraitTable.from_frame(FRAME, taxon="kind")


def held(taxon, answers, ground="bred", table=TABLE, **more):
    """The rates of fish of one kind, one for each set of answers."""
    looks = [look_at(table, i, a, **more) for i, a in enumerate(answers)]
    return rates(table, looks, [named(i, taxon, ground) for i in range(len(answers))])


def of(found, trait):
    return next(rate for rate in found.traits if rate.trait.id == trait)


# -- the interval ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("k", "n", "low", "high"),
    [
        # The manual of the R package RSurveillance 0.2.1 (CRAN), binom.jeffreys.
        (25, 200, 0.08462743, 0.176126),
        (10, 200, 0.02599340, 0.08687509),
        (30, 200, 0.10567714, 0.20436243),
        (90, 200, 0.38218245, 0.51925306),
    ],
)
def test_the_interval_is_that_of_a_published_table(k, n, low, high):
    assert jeffreys(k, n)[1:] == pytest.approx((low, high), abs=1e-6)


@pytest.mark.parametrize("n", [1, 7, 20, 300])
def test_the_interval_holds_95_percent_of_the_posterior_but_for_the_ends(n):
    for k in range(n + 1):
        mean, low, high = jeffreys(k, n)
        posterior = beta(k + 0.5, n - k + 0.5)
        assert mean == pytest.approx(posterior.mean())
        assert low == pytest.approx(posterior.ppf(0.025) if k else 0)
        assert high == pytest.approx(posterior.ppf(0.975) if k < n else 1)


# -- what counts -----------------------------------------------------------------------------------------


def test_what_was_measured_is_no_error_of_an_eye():
    by_eye = [{"spots": "white"}] * 20 + [{"spots": "orange"}] * 3
    found = held("alpha", [*by_eye, *({"spots": "orange measured on a photo"} for _ in range(9))])
    assert of(found, "spots") == of(held("alpha", by_eye), "spots")


def test_answers_outside_the_row_are_counted_and_set_against_the_chance_of_seeing_an_error():
    """Of 40 fish 6 were called orange that are white; an error shows in two cases of three."""
    found = held("alpha", [{"spots": "white"}] * 34 + [{"spots": "orange"}] * 6)
    rate = of(found, "spots")
    assert (rate.answers, rate.outside, found.fish) == (40, 6, 40)
    assert rate.seen == pytest.approx(2 / 3)
    posterior = beta(6.5, 34.5)
    expected = [p * 3 / 2 for p in (posterior.mean(), posterior.ppf(0.025), posterior.ppf(0.975))]
    assert (rate.rate, rate.low, rate.high) == pytest.approx(expected)
    assert rate.assumed == TABLE.trait("spots").error
    assert rate.differs
    assert "more than the table takes 5 %" in rate.text


def test_where_the_kind_varies_only_what_is_outside_of_all_its_states_counts():
    found = held("beta", [{"spots": s} for s in ["white", "yellow", "white|orange", "orange", "yellow"] * 8])
    rate = of(found, "spots")
    assert (rate.answers, rate.outside) == (40, 8)
    assert rate.seen == pytest.approx(1 / 3)


def test_a_number_is_outside_by_more_than_three_measuring_errors():
    trait = TABLE.trait("rays")
    edge = 9 / (1 - 3 * trait.spread) if trait.spread_is_relative else 9 + 3 * trait.spread
    found = held("alpha", [{"rays": value} for value in (8, 9, edge - 0.01, edge + 0.01, 22)])
    assert (of(found, "rays").answers, of(found, "rays").outside) == (5, 2)


@pytest.mark.parametrize(
    ("ground", "days", "fish"), [("bred", 0, 1), ("looked at", 0, 0), ("bred", 200, 0), ("grown out", 99, 1)]
)
def test_only_looks_before_a_name_that_rests_on_other_grounds_count(ground, days, fish):
    found = held("alpha", [{"spots": "orange"}], ground, day=days)
    assert (found.fish, of(found, "spots").answers) == (fish, fish)


def test_of_each_fish_the_last_answer_counts_once():
    looks = [look_at(TABLE, 1, {"spots": "orange"}, day=1), look_at(TABLE, 1, {"spots": "white"}, day=2)]
    looks.append(look_at(TABLE, 1, {"eye": "blue"}, day=3))
    found = rates(TABLE, looks, [named(1, "beta", day=50), named(1, "alpha", "sent to a specialist", day=60)])
    assert (of(found, "spots").answers, of(found, "spots").outside) == (1, 0)
    assert (of(found, "eye").answers, of(found, "eye").outside) == (1, 1)


def test_a_young_fish_is_held_against_what_the_young_show():
    frame = FRAME.assign(spots_young=["orange", "orange", "white"])
    table = idkey.TraitTable.from_frame(frame, taxon="kind")
    for stage, wrong in (("adult", 1), ("young", 0), (None, 0)):
        found = held("alpha", [{"spots": "orange", "life_stage": stage}], table=table)
        assert (of(found, "spots").answers, of(found, "spots").outside) == (1, wrong)


def test_a_fish_that_the_table_does_not_know_is_left_out_and_told_of():
    found = held("none of these", [{"spots": "white"}])
    assert (found.fish, found.left_out) == (0, ("fish 0: None Of These is not in the table",))


# -- the estimator ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("error", [0.05, 0.3])
def test_the_error_that_answers_were_drawn_with_is_found_again(error, shipped):
    """Answers of adults are drawn as the model says: with the share of each state, or a misreading that says
    nothing of the fish. The estimate must come within three standard errors of a binomial count."""
    rng = np.random.default_rng(3)
    wanted, n = ("pattern", "tail_fork", "spot_colour"), 6000
    looks, names = [], []
    pattern = look_at(shipped, 0, {"pattern": "light_spots", "life_stage": "adult"})
    for number in range(n):
        taxon, answers = shipped.ids[number % len(shipped)], {"life_stage": "adult"}
        for trait in map(shipped.trait, wanted):
            cell = shipped.cell(taxon, trait.id)
            if not hasattr(cell, "names"):
                continue
            true = rng.choice(cell.names, p=cell.shares)
            if rng.random() < error:
                steps = np.abs(np.arange(len(trait.states)) - trait.states.index(true))
                chance = 0.3**steps if trait.kind == "ordinal" else np.ones(len(steps))
                true = rng.choice(trait.states, p=chance / chance.sum())
            answers[trait.id] = str(true)
        looks.append(type(pattern)(**vars(pattern) | {"number": number, "answers": answers}))
        names.append(named(number, taxon))
    found = rates(shipped, looks, names)
    for trait in wanted:
        rate = of(found, trait)
        outside = error * rate.seen
        spread = np.sqrt(outside * (1 - outside) / rate.answers) / rate.seen
        assert rate.answers > 1000
        assert rate.rate == pytest.approx(error, abs=3 * spread)
        assert rate.low < rate.rate < rate.high


# -- offered, not taken ----------------------------------------------------------------------------------


def test_too_few_fish_are_said_so_and_nothing_is_offered():
    found = held("alpha", [{"spots": "orange"}] * (FEWEST - 1))
    assert found.offered == ()
    assert "too few to say how often you err" in of(found, "spots").text
    assert found.accept().traits == TABLE.traits
    assert "nothing can be said" in rates(TABLE, [], []).text


def test_rates_are_used_only_once_they_are_accepted():
    answers = [{"spots": "white", "eye": "red"}] * 30 + [{"spots": "orange", "eye": "blue"}] * 10
    found = held("alpha", answers)
    assert [rate.trait.id for rate in found.offered] == ["spots", "eye"]
    own = found.accept(["spots"])
    assert own.trait("spots").error == pytest.approx(of(found, "spots").rate, abs=1e-4)
    assert own.trait("spots").error_basis == "own count: 10 of 40 answers outside what the kind shows"
    assert own.trait("eye") == TABLE.trait("eye")
    # Of two states an error shows in one case of two; what says next to nothing is taken as one half.
    assert of(found, "eye").rate == pytest.approx(10.5 / 41 * 2)
    assert found.accept().trait("eye").error == 0.5
    # A keeper who errs more often learns less from the same answer.
    sure, unsure = (
        idkey.Identification(table).answer("spots", "white").ranked()[0].probability for table in (TABLE, own)
    )
    assert unsure < sure
    assert own.own_cells == TABLE.own_cells
    with pytest.raises(idkey.IdkeyError, match="traits: 'rays': use a trait that a rate is offered for"):
        found.accept(["rays"])
