"""Tables of other subjects, with gaps and mixed characters, beside the classifiers of scikit-learn.

Zoo and Soybean: the UCI repository; see ``data/ORIGIN.md``.
"""

import numpy as np
import pandas as pd
import pytest
from sklearn.compose import make_column_selector, make_column_transformer
from sklearn.impute import SimpleImputer
from sklearn.model_selection import RepeatedStratifiedKFold, StratifiedShuffleSplit, cross_val_score
from sklearn.naive_bayes import CategoricalNB, GaussianNB
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import OneHotEncoder, OrdinalEncoder
from sklearn.tree import DecisionTreeClassifier

from idkey import NearestMatch
from idkey.errors import AnswerError

from .tables import MEASURES, NONE, iris, penguins, soybean, zoo

MOST_BEHIND = 0.03


def as_states(frame):
    """Every column as categories, so that a state that no training row shows is a state all the same."""
    return frame.apply(lambda c: c.astype(object).where(c.isna(), c.astype(str)).astype("category"))


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
