"""Same kind? Against sums over every pair of names and every answer, and a ratio worked elsewhere."""

from itertools import product

import numpy as np
import pandas as pd
import pytest
from answered import answered
from hypothesis import given
from hypothesis import strategies as st
from sklearn.naive_bayes import BernoulliNB

import idkey
from idkey.book.pair import ORIGINS, STRANGERS_ONE, pairs, same_kind, weighed
from idkey.model.combine import NONE_PRIOR, OF_A_GENUS

FRAME = pd.DataFrame(
    {
        "kind": ["a", "b", "c", "d"],
        "tail": ["forked", "straight", "straight|forked", "straight"],
        "spots": ["white", "white", "yellow", "yellow"],
        "eye": ["red", "blue", "red|blue", "green"],
    }
)
TABLE = idkey.TraitTable.from_frame(FRAME, taxon="kind")
STATES = {trait.id: trait.states for trait in TABLE.traits}
ANSWERS = st.fixed_dictionaries({}, optional={t: st.sampled_from(states) for t, states in STATES.items()})
EVERY = [dict(zip(STATES, states, strict=True)) for states in product(*STATES.values())]


def likelihood(answers):
    """P(answers | name) by the text of the model: errors, a stranger by the marginal of the column."""
    names = dict.fromkeys(["a", "b", "c", "d", "stranger"], 1.0)
    for trait, answer in answers.items():
        k, e = len(STATES[trait]), TABLE.trait(trait).error
        rows = {}
        for taxon in "abcd":
            states = FRAME.set_index("kind").at[taxon, trait].split("|")
            rows[taxon] = (1 - e) * (answer in states) / len(states) + e / k
        rows["stranger"] = (sum(rows.values()) + 1 / k) / 5
        names = {name: p * rows[name] for name, p in names.items()}
    return names


PRIOR = dict.fromkeys("abcd", (1 - NONE_PRIOR) / 4) | {"stranger": NONE_PRIOR}


def by_every_pair(one, other, together):
    """The ratio and the probability, name by name: each pair of names is drawn, and its answers are given."""
    first, second = likelihood(one), likelihood(other)
    once = twice = is_one = whole = 0.0
    for k, q in product(PRIOR, PRIOR):
        seen = first[k] * second[q]
        drawn_once, drawn_twice = PRIOR[k] * (k == q), PRIOR[k] * PRIOR[q]
        once, twice = once + drawn_once * seen, twice + drawn_twice * seen
        joint = (together * drawn_once + (1 - together) * drawn_twice) * seen
        whole += joint
        if k == q:
            is_one += joint * (STRANGERS_ONE if k == "stranger" else 1.0)
    return once / twice, is_one / whole


# -- the formulas ----------------------------------------------------------------------------------------


@given(one=ANSWERS, other=ANSWERS, origin=st.sampled_from(list(ORIGINS)))
def test_ratio_and_probability_are_sums_over_every_pair_of_names(one, other, origin):
    found = same_kind(one, other, TABLE, prior=origin)
    ratio, probability = by_every_pair(one, other, ORIGINS[origin])
    assert found.ratio == pytest.approx(ratio)
    assert found.probability == pytest.approx(probability)
    assert found.before == pytest.approx(by_every_pair({}, {}, ORIGINS[origin])[1])


def test_over_all_answers_the_ratio_is_one_on_average_and_the_probability_what_it_was_before():
    """The mean likelihood ratio is 1 where the denominator is true (Good 1950, after Turing), and what is
    expected of a probability after the looks is that before them."""
    mean_ratio = mean_probability = 0.0
    together = ORIGINS["same bag"]
    for one, other in product(EVERY, EVERY):
        found = same_kind(one, other, TABLE, prior="same bag")
        first, second = (sum(PRIOR[k] * p for k, p in likelihood(x).items()) for x in (one, other))
        both = sum(PRIOR[k] * likelihood(one)[k] * likelihood(other)[k] for k in PRIOR)
        mean_ratio += first * second * found.ratio
        mean_probability += (together * both + (1 - together) * first * second) * found.probability
    assert mean_ratio == pytest.approx(1)
    assert mean_probability == pytest.approx(found.before)


def test_a_match_beyond_doubt_weighs_one_over_its_frequency_as_in_a_worked_case():
    """A stain and a suspect match at D16 (10/10) and D8 (11/13), which chance brings with 0.0117 and 0.0574:
    the likelihood ratio is 1489 (University of the West of England, CALCscience, question DNA 06)."""
    loci = []
    for chance in (0.0117, 0.0574):
        prior, profile = np.array([chance, 1 - chance]), np.array([1.0, 0.0])
        loci.append(weighed(prior, 2, profile, profile, 0.5).ratio)
    assert np.prod(loci) == pytest.approx(1489, abs=0.5)


@given(st.lists(st.booleans(), min_size=8, max_size=8))
def test_it_is_what_a_mixture_of_bernoulli_laws_says_in_another_package(bits):
    """BernoulliNB of scikit-learn gives each fish its posterior p over kinds and strangers; the ratio is the
    sum of p1 p2 over the prior, and of fish from elsewhere the sum of p1 p2 is the chance of one name."""
    rows = np.array([[0, 0, 0, 1], [0, 1, 1, 0], [1, 0, 1, 1]])
    traits = [f"t{j}" for j in range(4)]
    frame = pd.DataFrame(np.where(rows, "yes", "no"), columns=traits).assign(kind=["a", "b", "c"])
    table = idkey.TraitTable.from_frame(frame, taxon="kind")
    error = np.array([table.trait(t).error for t in traits])
    yes = (1 - error) * rows + error / 2
    yes = np.vstack([yes, (yes.sum(axis=0) + 0.5) / 4])
    prior = np.array([*[(1 - NONE_PRIOR) / 3] * 3, NONE_PRIOR])
    law = BernoulliNB().fit(np.eye(4), range(4))
    law.class_log_prior_, law.feature_log_prob_ = np.log(prior), np.log(yes)
    fish = np.array(bits, dtype=int).reshape(2, 4)
    first, second = law.predict_proba(fish)
    answers = [dict(zip(traits, np.where(one, "yes", "no"), strict=True)) for one in fish]
    found = same_kind(*answers, table, prior="elsewhere")
    assert found.ratio == pytest.approx((first * second / prior).sum())
    assert found.probability == pytest.approx((first * second * [1, 1, 1, STRANGERS_ONE]).sum())


# -- what changes nothing --------------------------------------------------------------------------------


@given(one=ANSWERS, other=ANSWERS)
def test_swapping_the_fish_and_the_order_of_answers_changes_nothing(one, other):
    found = same_kind(one, other, TABLE, prior="same bag")
    swapped = same_kind(dict(reversed(other.items())), dict(reversed(one.items())), TABLE, prior="same bag")
    assert (found.ratio, found.probability, found.kinds) == (
        swapped.ratio,
        swapped.probability,
        swapped.kinds,
    )
    looks = [[(x.trait.id, round(x.gain, 12)) for x in pair.looks] for pair in (found, swapped)]
    assert looks[0] == looks[1]


@given(one=ANSWERS, other=ANSWERS, blank=st.sampled_from(list(STATES)))
def test_a_blank_answer_changes_nothing_and_a_fish_without_answers_says_nothing(one, other, blank):
    found = same_kind(one, other, TABLE)
    if blank not in one:
        assert same_kind(one | {blank: None}, other, TABLE).probability == found.probability
    assert same_kind(one, {}, TABLE, prior="same bag").ratio == pytest.approx(1)


def test_what_the_seller_says_of_the_river_is_no_look(shipped):
    fish = {"pattern": "light_spots"}
    for river in ("xingu", "orinoco"):
        found = same_kind(fish | {"basin": river}, fish | {"basin": "xingu"}, shipped, prior="same bag")
        assert found.probability == same_kind(fish, fish, shipped, prior="same bag").probability
        assert [reason.trait for reason in found.reasons] == ["pattern"]
        assert "basin" not in [look.trait.id for look in found.looks]


# -- strangers -------------------------------------------------------------------------------------------


def test_two_strangers_of_one_genus_are_one_kind_in_half_of_the_cases():
    """However sure it is that both are none of the kinds, it is no surer that they are one kind."""
    frame = pd.DataFrame({"kind": ["a", "b"]} | {f"t{i}": ["x", "y"] for i in range(6)})
    frame = pd.concat([frame, frame.assign(kind=["c", "d"])])
    table = idkey.TraitTable.from_frame(frame, taxon="kind")
    odd = {f"t{i}": "xy"[i % 2] for i in range(6)}
    found = same_kind(odd, odd, table, prior="same bag")
    assert found.kinds[0][0] == "none of these"
    assert found.kinds[0][1] > 0.9
    assert STRANGERS_ONE - 0.05 < found.probability < STRANGERS_ONE + 0.05
    assert found.verdict == "can't be told"


def test_the_strangers_of_each_genus_are_names_of_their_own(shipped):
    """Where nothing is answered what is left is the prior, kind by kind and genus by genus."""
    found = same_kind({}, {}, shipped, prior=0.5)
    kinds = np.array(
        [3.0 if c == "common" else 1 / 3 if c == "rare" else 1.0 for c in shipped.taxa["commonness"]]
    )
    kinds = kinds / kinds.sum() * (1 - NONE_PRIOR)
    genera = np.full(len({*shipped.genus}), NONE_PRIOR * OF_A_GENUS / len({*shipped.genus}))
    strangers = np.append(genera, NONE_PRIOR * (1 - OF_A_GENUS))
    chance = 0.5 * (1 - NONE_PRIOR * (1 - STRANGERS_ONE))
    chance += 0.5 * ((kinds**2).sum() + STRANGERS_ONE * (strangers**2).sum())
    assert found.before == found.probability == pytest.approx(chance)


# -- what to look at, and why ----------------------------------------------------------------------------


def test_the_gain_of_a_look_is_what_it_brings_on_average():
    one, other, together = {"spots": "white"}, {"spots": "yellow", "eye": "red"}, ORIGINS["same bag"]

    def entropy(p):
        return -p * np.log2(p) - (1 - p) * np.log2(1 - p)

    def chance(a, b):
        first, second = likelihood(a), likelihood(b)
        once = sum(PRIOR[k] * first[k] * second[k] for k in PRIOR)
        twice = np.prod([sum(PRIOR[k] * p[k] for k in PRIOR) for p in (first, second)])
        return together * once + (1 - together) * twice

    found = same_kind(one, other, TABLE, prior="same bag", names=("A", "B"))
    gains = {look.trait.id: look for look in found.looks}
    for trait, fish in (("tail", ("A", "B")), ("eye", ("A",))):
        states = STATES[trait]
        after = 0.0
        for x, y in product(states, states if len(fish) == 2 else [other.get(trait)]):
            a, b = one | {trait: x}, other | {trait: y}
            after += chance(a, b) * entropy(same_kind(a, b, TABLE, prior="same bag").probability)
        expected = entropy(found.probability) - after / chance(one, other)
        assert gains[trait].gain == pytest.approx(expected)
        assert gains[trait].fish == fish
        assert gains[trait].rate == pytest.approx(expected / (TABLE.trait(trait).effort * len(fish)))
    assert "spots" not in gains


def test_a_reason_is_by_how_much_the_ratio_would_be_another_without_it():
    one, other = {"spots": "white", "tail": "forked"}, {"spots": "yellow", "tail": "forked"}
    found = same_kind(one, other, TABLE)
    assert [(r.trait, r.decibans > 0) for r in found.reasons] == [("spots", False), ("tail", True)]
    for reason in found.reasons:
        without = [{t: x for t, x in fish.items() if t != reason.trait} for fish in (one, other)]
        expected = 10 * np.log10(found.ratio / same_kind(*without, TABLE).ratio)
        assert reason.decibans == pytest.approx(expected)


def test_a_bag_in_common_is_not_enough_to_call_two_fish_one_kind():
    found = same_kind({}, {}, TABLE, prior=0.99)
    assert found.probability > 0.95
    assert found.verdict == "can't be told"
    sure = {"tail": "forked", "spots": "white", "eye": "red"}
    wide = pd.concat([FRAME, *(FRAME.assign(kind=FRAME["kind"] + str(i), eye=f"e{i}") for i in range(9))])
    table = idkey.TraitTable.from_frame(wide, taxon="kind")
    assert same_kind(sure, sure, table, prior=0.99).verdict == "one kind"
    assert same_kind(sure, {"tail": "straight", "spots": "yellow", "eye": "e3"}, table).verdict == "two kinds"


def test_many_fish_are_held_against_each_other_two_by_two():
    fish = [{"tail": "forked"}, {"tail": "straight"}, {"tail": "forked"}]
    found = pairs(TABLE, fish, ["A", "B", "C"], "same bag")
    assert [pair.names for pair in found] == [("A", "B"), ("B", "C"), ("A", "C")]
    for pair in found:
        one, other = (fish["ABC".index(name)] for name in pair.names)
        assert pair.probability == pytest.approx(same_kind(one, other, TABLE, prior="same bag").probability)


def test_a_book_knows_where_two_fish_came_from(tmp_path, shipped):
    light, lines = {"pattern": "light_spots"}, {"pattern": "lines"}
    with idkey.open_book(tmp_path / "room.sqlite") as book:
        box = book.add_box("AB")
        bags = [book.add_bag(box, label) for label in ("L 201", "l-201", "Zebra")]
        for bag, answers in (
            (bags[0], light),
            (bags[0], lines),
            (bags[1], light),
            (bags[2], light),
            (None, light),
        ):
            book.keep(answered(shipped, answers, ["L201"]), bag)
        for other, answers, origin in (
            (2, lines, "same bag"),
            (3, light, "same label"),
            (4, light, "elsewhere"),
        ):
            found = book.same_kind(1, other, shipped)
            plain = same_kind(light, answers, shipped, prior=origin)
            assert (found.probability, found.origin) == (plain.probability, plain.origin)
            assert found.names == ("No. 1", f"No. {other}")
        assert book.same_kind(4, 5, shipped).together == 0
        with pytest.raises(idkey.IdkeyError, match="fish 1: is given twice"):
            book.same_kind(1, 1, shipped)


@pytest.mark.parametrize(
    ("fish", "prior", "message"),
    [
        ({"tail": "forked"}, "next door", "prior: 'next door': use a chance from 0 to 1, or one of"),
        ({"tail": "forked"}, 1.5, "prior: 1.5: use a chance"),
        ({"tail": "folded"}, "elsewhere", "tail: 'folded': use a state of tail"),
        ("forked", "elsewhere", "fish: str: give an Identification, or its answers"),
    ],
)
def test_what_is_no_fish_or_no_prior_is_one_clear_error(fish, prior, message):
    with pytest.raises(idkey.IdkeyError, match=message):
        same_kind(fish, {}, TABLE, prior=prior)
