"""Public tables through `from_frame`: as good as scikit-learn's plain classifiers on the same splits."""

import numpy as np
import pandas as pd
import pytest
from palmerpenguins import load_penguins
from sklearn.compose import make_column_selector, make_column_transformer
from sklearn.datasets import load_iris
from sklearn.impute import SimpleImputer
from sklearn.model_selection import StratifiedShuffleSplit
from sklearn.naive_bayes import GaussianNB
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import OneHotEncoder
from sklearn.tree import DecisionTreeClassifier

from idkey import NearestMatch, TraitTable

NONE = "none of these"
SPLITS = StratifiedShuffleSplit(n_splits=25, test_size=0.3, random_state=0)
MOST_BEHIND = 0.03


def iris():
    """Fisher's iris, as scikit-learn ships it: 150 flowers, 4 measurements."""
    data = load_iris(as_frame=True)
    return data.data, data.target.map(dict(enumerate(data.target_names))).astype(str)


def penguins(*columns):
    """Penguins of the Palmer Archipelago (package palmerpenguins): 344 birds, some cells missing."""
    data = load_penguins()
    return data[list(columns)], data["species"].astype(str)


MEASURES = ("bill_length_mm", "bill_depth_mm", "flipper_length_mm", "body_mass_g")
TABLES = {
    "iris": iris,
    "penguins, measurements": lambda: penguins(*MEASURES),
    "penguins, measurements and sex": lambda: penguins(*MEASURES, "sex"),
}


def ours(x, y):
    table = TraitTable.from_frame(x.assign(species=y), taxon="species")
    return NearestMatch().fit(table)


def reference(classifier):
    """A scikit-learn classifier behind imputation; text columns as one column a state."""
    text = make_pipeline(SimpleImputer(strategy="most_frequent"), OneHotEncoder(sparse_output=False))
    return make_pipeline(
        make_column_transformer(
            (SimpleImputer(), make_column_selector(dtype_include="number")),
            (text, make_column_selector(dtype_exclude="number")),
        ),
        classifier,
    )


def accuracy(x, y, fit):
    """Mean share of right names over the splits."""
    right = []
    for train, test in SPLITS.split(x, y):
        model = fit(x.iloc[train], y.iloc[train])
        right.append(np.mean(model.predict(x.iloc[test]) == y.iloc[test].to_numpy()))
    return float(np.mean(right))


@pytest.mark.parametrize("name", TABLES)
def test_accuracy_beside_bayes_and_tree(name):
    x, y = TABLES[name]()
    plain = x.astype({c: object for c in x if not pd.api.types.is_numeric_dtype(x[c])})
    found = accuracy(x, y, ours)
    others = {
        type(c).__name__: accuracy(plain, y, reference(c).fit)
        for c in (GaussianNB(), DecisionTreeClassifier(random_state=0))
    }
    assert found >= max(others.values()) - MOST_BEHIND, (found, others)


@pytest.mark.parametrize("name", TABLES)
def test_probabilities_of_a_public_table(name):
    x, y = TABLES[name]()
    model = ours(x, y)
    assert model.classes_.tolist() == [*dict.fromkeys(y), NONE]
    found = model.predict_proba(x)
    assert found.shape == (len(x), len(model.classes_))
    assert np.all(found > 0)
    np.testing.assert_allclose(found.sum(axis=1), 1, rtol=1e-12)


def test_a_bird_without_a_value_keeps_the_prior():
    # palmerpenguins: row 3 (Adelie, Torgersen) has no measurement and no sex.
    x, y = penguins(*MEASURES, "sex")
    nothing_known = x.isna().all(axis=1)
    assert nothing_known.sum() == 2
    np.testing.assert_allclose(
        ours(x, y).predict_proba(x[nothing_known]), [[0.95 / 3] * 3 + [0.05]] * 2, rtol=1e-12
    )


def test_a_flower_far_from_every_kind_is_none_of_these():
    x, y = iris()
    strange = pd.DataFrame([[20.0, 20.0, 0.1, 9.0]], columns=x.columns)
    assert ours(x, y).predict(strange).tolist() == [NONE]
