"""The key against the least that any key can cost: published bounds, other solvers, other people's trees.

Data: the zoo table (Forsyth 1990, UCI Machine Learning Repository), see ``data/ORIGIN.md``. The least costs
of its keys were found by solvers written apart from this package, which split the legs one number against
the rest as this package does.
"""

import math

import numpy as np
import pandas as pd
import pytest
from scipy.stats import entropy
from sklearn.tree import DecisionTreeClassifier

from idkey import TraitTable, build_key
from idkey.table.schema import Trait

from .solvers import least_by_trees, least_path_length, questions_of, walk
from .tables import DATA, nominal, of_genera, table_of
from .tables import zoo as zoo_table

LETTERS = "abcdefghijklm"
many_classes = pytest.mark.filterwarnings("ignore:The number of unique classes")


def random_table(seed, n, n_traits, most_states=2):
    """Return a crisp table of n different rows, in which every question costs the same."""
    rng = np.random.default_rng(seed)
    sizes = rng.integers(2, most_states + 1, n_traits)
    rows = {}
    while len(rows) < n:
        rows[tuple(int(rng.integers(k)) for k in sizes)] = None
    traits = [nominal(f"t{j}", LETTERS[:k], error=0.0, effort=1.0) for j, k in enumerate(sizes)]
    return table_of(traits, {f"k{i:02d}": " ".join(LETTERS[s] for s in row) for i, row in enumerate(rows)})


def test_one_couplet_for_a_set_that_two_would_serve_better_is_not_called_the_least():
    # Question t leaves v, w and z on both sides, in other proportions: v is common on one side and w on the
    # other. The best tree asks for the common one first on either side; a key prints the set once.
    rows = {
        "x": "b b a|b a a",
        "y": "a a|b b a a",
        "v": "a:0.1|b:0.9 a a b a",
        "w": "a:0.9|b:0.1 a a a b",
        "z": "a|b a a a a",
    }
    table = table_of([nominal(i, error=0.0, effort=1.0) for i in "tuspq"], rows)
    prior = {"x": 20.0, "y": 20.0, "v": 9.0, "w": 9.0, "z": 1.0}
    key = build_key(table, prior)
    least = least_by_trees(table, prior)
    assert key.optimum_seconds == pytest.approx(least)
    assert key.seconds > least + 0.1
    assert not key.is_exact
    assert "not proven" in repr(key)


def greedy_path_length(table):
    """Return the total path length of the plain greedy key: the most even split, first come first served."""
    splits = [frozenset(t for t, s in share.items() if s == 1) for _, share in questions_of(table)]

    def total(kinds):
        ways = [a for a in splits if kinds & a and kinds - a]
        if not ways:
            return 0
        a = min(ways, key=lambda a: abs(len(kinds & a) - len(kinds - a)))
        return len(kinds) + total(kinds & a) + total(kinds - a)

    return total(frozenset(table.ids))


@pytest.mark.parametrize("n", range(8, 15))
@pytest.mark.parametrize("seed", range(6))
def test_bound_optimum_greedy(seed, n):
    # Adler & Heeringa 2008 (APPROX, DOI 10.1007/978-3-540-85363-3_1): for two-state characters and equal
    # weights the greedy key's total path length is at most ln n + 1 times the least. The lookahead is held to
    # the same.
    table = random_table(seed, n, 4 + seed % 3)
    best = build_key(table)
    assert best.is_exact
    optimum = n * best.questions
    assert least_path_length(n) <= optimum + 1e-9
    # and no sensible key is worse than one that sends off a kind at a time
    assert optimum <= n * (n + 1) / 2 - 1 + 1e-9
    for total in (greedy_path_length(table), n * build_key(table, exact_states=0).questions):
        assert optimum <= total + 1e-9
        assert total <= (math.log(n) + 1) * optimum + 1e-9


ZOO, TYPES = zoo_table(dtype=str)
NAMES = pd.read_csv(DATA / "zoo.csv")["animal"]


def zoo(kind=None):
    """Return the table of the different rows of the zoo, named by their first animals, and their numbers."""
    animals = ZOO.assign(animal=NAMES)[(kind == TYPES) | (kind is None)]
    rows = animals.groupby(list(ZOO), sort=False).agg(animal=("animal", "first"), n=("animal", "size"))
    rows = rows.reset_index().set_index("animal", drop=False)
    return TraitTable.from_frame(rows.drop(columns="n"), taxon="animal"), rows["n"].astype(float).to_dict()


@pytest.mark.parametrize(
    ("kind", "total"), [("bird", 44), ("fish", 12), ("reptile", 12), ("amphibian", 9)], ids=str
)
def test_least_total_of_one_class_of_the_zoo(kind, total):
    # Two solvers. In these classes the legs have at most two states, so a key of two-way questions is no
    # different. Both fishes and reptiles meet the bound for five kinds.
    table, _ = zoo(kind)
    key = build_key(table)
    assert key.is_exact
    assert key.questions * len(table) == pytest.approx(total)
    shown = f"{total / len(table):.1f} questions expected, bound {math.log2(len(table)):.1f}"
    assert f"{shown} (least possible cost)" in repr(key)


def tree_questions(table, prior):
    """Return the mean depth of scikit-learn's entropy tree, grown out, on one column a state."""
    x = pd.get_dummies(table.to_frame().astype(str)).to_numpy(dtype=float)
    tree = DecisionTreeClassifier(criterion="entropy", random_state=0)
    weights = [prior[t] for t in table.ids]
    tree.fit(x, range(len(table)), sample_weight=weights)
    nodes = np.asarray(tree.decision_path(x).sum(axis=1)).ravel()
    return float(np.average(nodes - 1, weights=weights))


@many_classes
@pytest.mark.parametrize(
    ("weighted", "total", "greedy", "bits"), [(False, 350, 354, math.log2(59)), (True, 585, 591, 5.516051)]
)
def test_the_whole_zoo(weighted, total, greedy, bits):
    # 59 different rows, equal or weighted by the animals that have them (101 in all). The greedy totals are
    # those of the plain information rule; the bits of the weighted were computed apart from this package.
    table, animals = zoo()
    prior = animals if weighted else dict.fromkeys(animals, 1.0)
    best, quick = (build_key(table, prior, exact_states=most) for most in (100_000, 0))
    assert best.is_exact
    assert best.questions * sum(prior.values()) == pytest.approx(total)
    asked = quick.questions
    assert total - 1e-9 <= asked * sum(prior.values()) <= greedy + 1e-9
    assert asked <= tree_questions(table, prior) + 1e-9
    assert best.least_questions == pytest.approx(bits, abs=1e-6)


@pytest.mark.parametrize(
    ("weighted", "least", "most", "bits"), [(False, 174, 176, None), (True, 265, 265, 2.390560)]
)
def test_the_zoo_to_its_classes(weighted, least, most, bits):
    # The least totals, and the bits of the classes of the 101 animals, were found apart from this package. No
    # row is shared by two classes, so each can be told.
    table, animals = zoo()
    classes = dict(zip(NAMES, TYPES, strict=True))
    table = of_genera(table, [classes[t] for t in table.ids])
    prior = animals if weighted else dict.fromkeys(animals, 1.0)
    key = build_key(table, prior, genera=True)
    total, whole = 0.0, sum(prior.values())
    before = min(key.genera.values())
    for number, lead, part, depth in ways_of(key, prior):
        if number < before and (lead.goes_to is None or lead.genus):
            total += depth * sum(part.values())
            assert {classes[t] for t, w in part.items() if w} == {lead.genus or classes[lead.taxa[0]]}
    assert least - 1e-9 <= total <= most + 1e-9
    assert bits is None or total >= bits * whole
    assert {classes[t] for names in key.endings() for t in names} == set(TYPES)
    assert all(len({classes[t] for t in names}) == 1 for names in key.endings())


def ways_of(key, prior):
    """Yield each lead with the number of its couplet, the weight of each kind that takes it, and how deep."""
    by_lead = {id(lead): c.number for c in key.couplets for lead in (c.a, c.b)}
    for _, lead, part, depth in walk(key, prior):
        yield by_lead[id(lead)], lead, part, depth


@many_classes
def test_a_key_asks_no_more_than_a_tree_and_now_and_then_less():
    both = []
    for seed in range(25):
        table = random_table(seed, 8 + 2 * seed, 7 + seed % 4, most_states=2 + seed % 2)
        ours = build_key(table, exact_states=1_000).questions
        both.append((ours, tree_questions(table, dict.fromkeys(table.ids, 1.0))))
    assert all(ours <= theirs + 1e-9 for ours, theirs in both)
    assert any(ours < theirs - 1e-9 for ours, theirs in both)


@pytest.mark.parametrize(
    ("weights", "mean", "bits"),
    [
        # Huffman 1952, Proc. IRE 40:1098-1101, the example of 13 messages (numbers from memory)
        ([20, 18, 10, 10, 10, 6, 6, 4, 4, 4, 4, 3, 1], 3.42, 3.354561),
        # Cormen et al., Introduction to Algorithms, the example of six letters (from memory)
        ([45, 16, 13, 12, 9, 5], 2.24, None),
    ],
)
def test_a_scale_of_sorted_kinds_is_keyed_as_huffman_codes(weights, mean, bits):
    # A code that keeps the order of sorted weights is as short as Huffman's (from memory), and a key by one
    # ordered trait is such a code.
    trait = Trait(id="place", kind="ordinal", states=tuple(LETTERS[: len(weights)]), error=0.0, effort=7.0)
    table = table_of([trait], {f"k{s}": s for s in trait.states})
    key = build_key(table, dict(zip(table.ids, map(float, weights), strict=True)))
    assert key.questions == pytest.approx(mean)
    assert (key.seconds, key.optimum_seconds) == pytest.approx((7 * mean, 7 * mean))
    assert key.least_questions == pytest.approx(entropy(weights, base=2))
    assert key.least_seconds == pytest.approx(7 * entropy(weights, base=2))
    if bits is not None:
        assert key.least_questions == pytest.approx(bits, abs=1e-6)
