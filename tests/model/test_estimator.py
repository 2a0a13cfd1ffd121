"""NearestMatch among scikit-learn's tools: parameters, pipelines, searches, and scikit-learn's own checks."""

import copy
import pickle
import warnings

import numpy as np
import pandas as pd
import pytest
from sklearn.base import clone
from sklearn.exceptions import NotFittedError
from sklearn.model_selection import GridSearchCV
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import FunctionTransformer
from sklearn.utils.estimator_checks import check_estimator
from sklearn.utils.validation import check_is_fitted

from idkey import NearestMatch
from idkey.errors import AnswerError, IdkeyError
from idkey.table.schema import state_text

from .tables import MEASURES, NONE, SHIPPED, penguins

ROUNDING = 1e-11  # traits are added up in the order of their names


def same_but_for_rounding(found, expected):
    np.testing.assert_allclose(found, expected, rtol=ROUNDING)


def test_fit_returns_itself_and_forgets_the_last_fit():
    x, y = penguins()
    match = NearestMatch(prior={"Adelie": 2.0, "Gentoo": 1.0, "Chinstrap": 1.0})
    assert match.fit(x, y) is match
    assert match.n_features_in_ == 5
    assert match.feature_names_in_.tolist() == [*MEASURES, "sex"]
    assert match.set_params(prior="uniform").fit(SHIPPED) is match
    assert match.n_features_in_ == len(SHIPPED.traits)
    assert match.feature_names_in_.tolist() == list(SHIPPED.trait_ids)
    assert match.classes_.tolist() == [*SHIPPED.ids, NONE]
    again = clone(match)
    assert again.get_params() == match.get_params()
    with pytest.raises(NotFittedError):
        check_is_fitted(again)


@pytest.mark.parametrize("method", ["predict", "predict_proba", "candidates", "agreement", "rank"])
def test_nothing_works_before_fit(method):
    with pytest.raises(NotFittedError, match="call fit"):
        getattr(NearestMatch(), method)({} if method == "rank" else penguins()[0])


@pytest.mark.parametrize("again", [copy.deepcopy, lambda match: pickle.loads(pickle.dumps(match))])
def test_a_copy_of_a_fitted_match_says_the_same(again):
    answers = pd.DataFrame({"dorsal_rays": [7, None], "adult_size": [90, 300]})
    match = NearestMatch().fit(SHIPPED)
    found = again(match)
    np.testing.assert_array_equal(found.predict_proba(answers), match.predict_proba(answers))
    pd.testing.assert_frame_equal(found.table_.to_frame(), match.table_.to_frame())
    with pytest.raises(TypeError):
        found.table_.cells["adult_size"] = ()


def test_names_go_by_position_not_by_index_and_frames_stay_as_they_are():
    # scikit-learn pairs rows of X and y by position, whatever a pandas index says.
    x, y = penguins()
    before, shuffled = x.copy(), y.set_axis(y.index[::-1])
    found = NearestMatch().fit(x, shuffled).predict_proba(x)
    np.testing.assert_array_equal(found, NearestMatch().fit(x, y).predict_proba(x))
    pd.testing.assert_frame_equal(x, before)
    pd.testing.assert_series_equal(y, penguins()[1])


def test_an_array_is_a_frame_with_columns_x0_and_on():
    x, y = penguins(*MEASURES)
    named = NearestMatch().fit(x.set_axis(["x0", "x1", "x2", "x3"], axis=1), y)
    match = NearestMatch().fit(x.to_numpy(), y)
    assert match.feature_names_in_.tolist() == ["x0", "x1", "x2", "x3"]
    for answers in (x.to_numpy(), x.to_numpy().tolist(), x.set_axis(match.feature_names_in_, axis=1)):
        np.testing.assert_array_equal(match.predict_proba(answers), named.predict_proba(answers))
    # an array answers the traits of a frame, or of an array of text and numbers, in their order
    x, y = penguins()
    known = x.notna().all(axis=1)
    x, y = x[known].astype({"sex": object}), y[known]
    framed, match = NearestMatch().fit(x, y), NearestMatch().fit(x.to_numpy(dtype=object), y)
    assert [t.kind for t in match.table_.traits] == ["measure"] * 4 + ["nominal"]
    array = x.to_numpy(dtype=object)
    np.testing.assert_array_equal(framed.predict_proba(array), framed.predict_proba(x))
    same_but_for_rounding(match.predict_proba(array), framed.predict_proba(x))
    with pytest.raises(AnswerError, match="X has 3 features, but NearestMatch is expecting 5"):
        match.predict(array[:, :3])
    # a frame may answer some traits in any order
    some, whole = x[["sex", "body_mass_g"]], x.assign(**dict.fromkeys(MEASURES[:3], np.nan))
    np.testing.assert_array_equal(framed.predict_proba(some), framed.predict_proba(whole))


@pytest.mark.parametrize("names", [range(5), [*MEASURES, "taxon"]])
def test_columns_named_by_numbers_or_taxon(names):
    x, y = penguins()
    renamed = x.set_axis(names, axis=1)
    match = NearestMatch().fit(renamed, y)
    assert match.feature_names_in_.tolist() == [str(name) for name in names]
    same_but_for_rounding(match.predict_proba(renamed), NearestMatch().fit(x, y).predict_proba(x))


@pytest.mark.parametrize(
    ("x", "y", "said"),
    [
        (penguins()[0], None, "requires y to be passed.*TraitTable"),
        (penguins()[0], ["a", "b"], r"inconsistent numbers of samples: \[344, 2\]"),
        (penguins()[0], [None] * 344, "every row needs the name of its taxon"),
        ("a file name", ["a"], "Expected 2D array"),
        (np.zeros(3), list("abc"), "Expected 2D array, got 1D array"),
    ],
)
def test_what_cannot_be_fitted_is_said(x, y, said):
    with pytest.raises(IdkeyError, match=said):
        NearestMatch().fit(x, y)


def in_kilograms(frame):
    return frame.assign(body_mass_g=frame["body_mass_g"] / 1000).rename(columns={"body_mass_g": "kilograms"})


def test_a_pipeline_may_change_the_frame_first():
    x, y = penguins()
    piped = make_pipeline(FunctionTransformer(in_kilograms), NearestMatch()).fit(x, y)
    assert "kilograms" in piped[-1].feature_names_in_
    # A unit makes no difference, beyond rounding.
    np.testing.assert_allclose(piped.predict_proba(x), NearestMatch().fit(x, y).predict_proba(x), rtol=1e-6)
    assert piped.score(x, y) == np.mean(piped.predict(x) == y) > 0.9


def test_a_grid_search_takes_the_share_of_strangers():
    # With nearly every fish held to be a stranger hardly any is named, so such a share can't be the best.
    x, y = penguins()
    search = GridSearchCV(NearestMatch(), {"none_prior": [0.0, 0.05, 0.999]}, cv=3).fit(x, y)
    scores = search.cv_results_["mean_test_score"]
    assert scores[0] >= scores[1] > scores[2]
    assert search.best_params_["none_prior"] == [0.0, 0.05, 0.999][int(np.argmax(scores))]
    assert search.predict(x).tolist() == NearestMatch(**search.best_params_).fit(x, y).predict(x).tolist()


# -- scikit-learn's own checks ---------------------------------------------------------------------

# Labels of the checks are numbers, and names of kinds are text, so predictions come back as "0", "1"; and
# classes_ ends with a name that no label has, "none of these" (check_classifiers_classes).
CANNOT_APPLY = {
    "check_classifier_data_not_an_array",
    "check_classifiers_classes",
    "check_classifiers_one_label",
    "check_classifiers_train",
    "check_estimators_pickle",
    "check_fit_idempotent",
    "check_fit_score_takes_y",
    "check_methods_sample_order_invariance",
    "check_methods_subset_invariance",
    "check_pipeline_consistency",
    "check_supervised_y_2d",
}


class Numbered(NearestMatch):
    """NearestMatch with both reasons taken away: labels of any type, sorted, and no "none of these"."""

    def __init__(self, prior="uniform", none_prior=0.0, coverage=0.95):
        super().__init__(prior, none_prior, coverage)

    def fit(self, X, y=None):
        super().fit(X, y)
        labels = np.unique(np.asarray(y))
        texts = self.classes_.tolist()
        self.columns_ = [texts.index(state_text(label)) for label in labels]
        self.classes_ = labels
        return self

    def predict_proba(self, frame):
        return super().predict_proba(frame)[:, self.columns_]


def verdicts(estimator):
    """Names of scikit-learn's checks that ran, and of those that failed; many run more than once."""
    with warnings.catch_warnings():
        # The checks hand over what deserves a warning, such as labels in a column.
        warnings.simplefilter("ignore")
        found = check_estimator(estimator(), on_skip=None, on_fail=None)
    ran = {check["check_name"] for check in found if check["status"] != "skipped"}
    return ran, {check["check_name"]: check["exception"] for check in found if check["status"] == "failed"}


def test_checks_of_scikit_learn_fail_where_they_cannot_apply_and_nowhere_else():
    ran, failed = verdicts(NearestMatch)
    assert len(ran) > 30
    assert set(failed) == CANNOT_APPLY, failed
    # with numbers for names every check passes: the two reasons above are the only ones
    ran, failed = verdicts(Numbered)
    assert ran >= CANNOT_APPLY
    assert not failed, failed
