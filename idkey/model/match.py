"""NearestMatch: posterior of every kind, plain agreement, and the smallest set of names that will do."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import reduce
from typing import Any

import numpy as np
import pandas as pd
from sklearn.base import BaseEstimator, ClassifierMixin
from sklearn.exceptions import NotFittedError
from sklearn.utils import Tags, check_array, check_consistent_length, column_or_1d
from sklearn.utils.multiclass import check_classification_targets

from idkey.arguments import checked
from idkey.errors import AnswerError, IdkeyError
from idkey.model.answers import Coded, code_answers, code_frame
from idkey.model.combine import (
    COVERAGE,
    NONE_PRIOR,
    Prior,
    TableModel,
    check_coverage,
    model_of,
    prior_vector,
)
from idkey.model.fit import agreement, compared, fit_of
from idkey.table.schema import NONE, is_missing
from idkey.table.table import TraitTable

_TIE_DIGITS = 12


def posterior(model: TableModel, coded: Coded, prior: np.ndarray, *, by_genus: bool = False) -> np.ndarray:
    """P(taxon | answers), shape (n_specimens, n_taxa + 1), in the order of the table; rows sum to 1.

    `prior`, shape (n_taxa + 1,), or one row a specimen, is in the order of the table, too: "none of these"
    last. With `by_genus` the strangers stay apart: (n_specimens, n_names), in canonical order.
    """
    found = np.empty((coded.n, model.width if by_genus else model.n_taxa + 1))
    logs = model.log_prior(prior)
    for rows, cases in model.log_cases(coded, logs if logs.ndim == 1 else 0.0):
        shares = _normalised(cases if logs.ndim == 1 else cases + logs[rows, None])
        found[rows] = shares if by_genus else model.gathered(shares)
    return found


def _normalised(log_joint: np.ndarray) -> np.ndarray:
    """Logs that may be overwritten, (n, n_cases, n_names) -> shares that sum to 1, (n, n_names)."""
    log_joint -= log_joint.max(axis=(1, 2), keepdims=True)
    first, *others = np.moveaxis(np.exp(log_joint, out=log_joint), 1, 0)
    joint = reduce(np.add, others, first)
    joint /= joint.sum(axis=1, keepdims=True)
    return joint


def name_order(table: TraitTable, coded: Coded, probabilities: np.ndarray) -> np.ndarray:
    """Positions of the names, likeliest first, shape (n_specimens, n_taxa + 1).

    Of equals the one against which more answers can be held leads, and then they go by name. Equal is what
    differs by rounding alone, which depends on what is judged together.
    """
    with np.errstate(divide="ignore"):
        unlikely = -np.log(probabilities).round(_TIE_DIGITS)
    by_name = np.argsort(np.argsort([*table.ids, NONE]))
    few = np.pad(-compared(table, coded), ((0, 0), (0, 1)))
    keys = np.broadcast_to(by_name, few.shape), few, unlikely
    return np.lexsort(keys, axis=1)


def candidate_set(ranked: np.ndarray, coverage: float | np.ndarray) -> np.ndarray:
    """Smallest set of names that holds `coverage`, bool, of shares with the largest first, (..., n_names).

    The coverage is one for all, or (..., 1).
    """
    # A name is needed while the names before it hold less than asked.
    return np.cumsum(ranked, axis=-1) - ranked < coverage - 1e-12


def candidate_names(
    table: TraitTable, coded: Coded, probabilities: np.ndarray, coverage: float
) -> list[tuple[str, ...]]:
    """Names of each specimen's `candidate_set`, likeliest first by `name_order`."""
    order, names = name_order(table, coded, probabilities), np.array([*table.ids, NONE])
    keep = candidate_set(np.take_along_axis(probabilities, order, axis=1), coverage)
    return [tuple(names[ranked[kept]].tolist()) for ranked, kept in zip(order, keep, strict=True)]


def rank_frame(model: TableModel, coded: Coded, probabilities: np.ndarray, coverage: float) -> pd.DataFrame:
    """Ranking of one specimen with this posterior, best first, as a frame of shape (n_taxa + 1, 8).

    Columns taxon, name, probability; agreement (Gower, 0 to 1, NaN where nothing compares) and compared
    (number of traits compared); fit (modal likelihood fraction) and deviation (standard deviations from the
    kind's own fish; see `idkey.model.fit`), NaN for "none of these"; and candidate.
    """
    table = model.table
    (fraction, deviation), (similarity, count) = fit_of(model, coded), agreement(table, coded)
    frame = pd.DataFrame(
        {
            "taxon": [*table.ids, NONE],
            "name": [*(table.label(t) for t in table.ids), NONE],
            "probability": probabilities,
            "agreement": np.append(similarity[0], np.nan),
            "compared": np.append(count[0], 0).astype(int),
            "fit": np.append(fraction, np.nan),
            "deviation": np.append(deviation, np.nan),
        }
    )
    frame = frame.iloc[name_order(table, coded, probabilities[None])[0]].reset_index(drop=True)
    frame["candidate"] = candidate_set(frame["probability"].to_numpy(), coverage)
    return frame


def _as_frame(X: Any) -> pd.DataFrame:
    """Return a frame as it is, its columns named by text; the columns of an array are named x0, x1, ..."""
    if isinstance(X, pd.DataFrame):
        return X if all(isinstance(c, str) for c in X.columns) else X.rename(columns=str)
    try:
        array = check_array(X, dtype=None, ensure_all_finite="allow-nan", estimator="NearestMatch")
    except (TypeError, ValueError) as error:
        raise IdkeyError(re.sub(r"<[^<>]* at 0x\w+>", "an object", " ".join(str(error).split()))) from None
    return pd.DataFrame(array, columns=[f"x{j}" for j in range(array.shape[1])]).infer_objects()


def _pooled(X: Any, y: Any) -> TraitTable:
    """Pool specimens, one row each, into a table of the kinds that `y` names."""
    if y is None:
        raise IdkeyError(
            "NearestMatch requires y to be passed, but the target y is None: fit takes a TraitTable alone, "
            f"or a DataFrame with y= the taxon of each row; got {type(X).__name__}"
        )
    frame = _as_frame(X)
    try:
        labels = column_or_1d(y, warn=True)
        check_consistent_length(frame, labels)
        if not any(is_missing(label) for label in labels):
            check_classification_targets(labels)
    except ValueError as error:
        raise IdkeyError(" ".join(str(error).split())) from None
    target = "taxon"
    while target in frame.columns:
        target += "_"
    return TraitTable.from_frame(frame.assign(**{target: labels}), taxon=target)


class NearestMatch(ClassifierMixin, BaseEstimator):
    """Score answers against every kind of a trait table.

    A classifier of scikit-learn, with two habits of its own: names are text, and `classes_` has one more
    name than the table, "none of these".

    Parameters
    ----------
    prior : {"commonness", "uniform"} or mapping of taxon id to weight, default="commonness"
    none_prior : float, default=0.05
        Prior share of fish that are none of the kinds in the table.
    coverage : float, default=0.95
        Posterior that the candidate set holds.

    Attributes
    ----------
    table_ : TraitTable
    classes_ : ndarray of str, shape (n_taxa + 1,)
        Taxon ids in the order of the table, then "none of these".
    n_features_in_ : int
        Number of traits.
    feature_names_in_ : ndarray of str, shape (n_traits,)
        Trait ids in the order of the table; x0, x1, ... where an array was pooled.

    Examples
    --------
    >>> import pandas as pd
    >>> from idkey.table.table import TraitTable
    >>> frame = pd.DataFrame({"kind": ["a", "b"], "tail": ["forked", "straight"]})
    >>> match = NearestMatch().fit(TraitTable.from_frame(frame, taxon="kind"))
    >>> match.predict(pd.DataFrame({"tail": ["forked", "straight"]})).tolist()
    ['a', 'b']
    """

    def __init__(
        self, prior: Prior = "commonness", none_prior: float = NONE_PRIOR, coverage: float = COVERAGE
    ):
        self.prior = prior
        self.none_prior = none_prior
        self.coverage = coverage

    def __sklearn_tags__(self) -> Tags:
        """Return what scikit-learn may expect: gaps and text are fine."""
        tags = super().__sklearn_tags__()
        tags.input_tags.allow_nan = True
        tags.input_tags.categorical = True
        tags.input_tags.string = True
        return tags

    def fit(self, X: TraitTable | pd.DataFrame | np.ndarray, y: Any = None) -> NearestMatch:
        """Take a trait table, or pool specimens into one.

        Parameters
        ----------
        X : TraitTable, DataFrame or array-like, shape (n_specimens, n_traits)
            Columns of specimens are read as by `TraitTable.from_frame`.
        y : array-like, shape (n_specimens,), optional
            Taxon of each specimen; needed without a TraitTable.

        Raises
        ------
        IdkeyError
        """
        check_coverage(self.coverage)
        table = X if isinstance(X, TraitTable) else _pooled(X, y)
        self.table_ = table
        self.classes_ = np.array([*table.ids, NONE])
        self.n_features_in_ = len(table.traits)
        self.feature_names_in_ = np.array(table.trait_ids, dtype=object)
        self._model = model_of(table)
        self._prior = prior_vector(table, self.prior, self.none_prior)
        return self

    def _fitted(self) -> TraitTable:
        if not hasattr(self, "table_"):
            raise NotFittedError("This NearestMatch is not fitted yet; call fit(table) first.")
        return self.table_

    def _coded(self, frame: Any) -> Coded:
        table = self._fitted()
        if not isinstance(frame, pd.DataFrame):
            frame = self._named(frame)
        return code_frame(table, _as_frame(frame))

    def _named(self, array: Any) -> pd.DataFrame:
        """Name the columns of an array by the traits, in the order of the table."""
        right = (
            f"answers: {type(array).__name__}: give a DataFrame, one row a specimen, one column a trait, "
            "or an array of all traits in the order of the table"
        )
        try:
            frame = _as_frame(array)
        except IdkeyError as error:
            raise AnswerError(f"{right}: {error}") from None
        n = frame.shape[1]
        if n != self.n_features_in_:
            expected = f"NearestMatch is expecting {self.n_features_in_} features as input"
            raise AnswerError(f"X has {n} features, but {expected}; {right}")
        return frame.set_axis(self.feature_names_in_, axis=1)

    def _judged(self, frame: Any) -> tuple[Coded, np.ndarray]:
        coded = self._coded(frame)
        return coded, posterior(self._model, coded, self._prior)

    def predict_proba(self, frame: pd.DataFrame | np.ndarray) -> np.ndarray:
        """Posterior of every kind.

        Parameters
        ----------
        frame : pandas.DataFrame or array-like, shape (n_specimens, n_answered_traits)
            One column a trait, NaN for not answered; a column ``life_stage`` may say adult or young. An
            array has all the traits, in the order of the table.

        Returns
        -------
        ndarray, shape (n_specimens, n_taxa + 1)
            Rows sum to 1; columns as in `classes_`.

        Raises
        ------
        AnswerError
        """
        return self._judged(frame)[1]

    def predict(self, frame: pd.DataFrame | np.ndarray) -> np.ndarray:
        """Return the likeliest name of each specimen, which may be "none of these"; shape (n_specimens,)."""
        table = self._fitted()
        likeliest = name_order(table, *self._judged(frame))[:, 0]
        return np.array([*table.ids, NONE])[likeliest]

    def candidates(self, frame: pd.DataFrame | np.ndarray) -> list[tuple[str, ...]]:
        """Return, for each specimen, the names that hold `coverage` of the posterior, likeliest first."""
        return candidate_names(self._fitted(), *self._judged(frame), self.coverage)

    def agreement(self, frame: pd.DataFrame | np.ndarray) -> np.ndarray:
        """Gower similarity (Gower 1971) of each specimen to each row, shape (n_specimens, n_taxa).

        0 to 1; NaN where no trait can be compared.
        """
        coded = self._coded(frame)
        return agreement(self.table_, coded)[0]

    @checked
    def rank(self, answers: Mapping[Any, Any]) -> pd.DataFrame:
        """Rank the kinds for one specimen, trait id to answer; see `rank_frame` for the columns."""
        table = self._fitted()
        coded = code_answers(table, answers)
        return rank_frame(self._model, coded, posterior(self._model, coded, self._prior)[0], self.coverage)
