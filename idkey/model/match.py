"""NearestMatch: posterior of every kind, plain agreement, and the smallest set of names that will do."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from sklearn.base import BaseEstimator, ClassifierMixin
from sklearn.exceptions import NotFittedError

from idkey.errors import IdkeyError
from idkey.model.agreement import agreement
from idkey.model.answers import Coded, code_answers, code_frame
from idkey.model.evidence import NONE, TableModel
from idkey.model.fit import fit_of
from idkey.model.prior import Prior, check_coverage, prior_vector
from idkey.table.table import TraitTable

__all__ = ["NearestMatch", "candidate_names", "candidate_set", "posterior", "rank_frame"]

_TARGET = "taxon"


def posterior(model: TableModel, coded: Coded, prior: np.ndarray) -> np.ndarray:
    """P(taxon | answers), in the order of the table, "none of these" last.

    Parameters
    ----------
    model : TableModel
    coded : Coded
    prior : ndarray, shape (n_taxa + 1,)
        In the order of the table.

    Returns
    -------
    ndarray, shape (n_specimens, n_taxa + 1)
        Rows sum to 1.
    """
    with np.errstate(divide="ignore"):
        log_prior = np.log(model.to_canonical_order(prior))
    found = np.empty((coded.n, model.width))
    for rows, cases in model.log_cases(coded):
        found[rows] = model.to_table_order(_normalised(cases + log_prior))
    return found


def _normalised(log_joint: np.ndarray) -> np.ndarray:
    """Logs that may be overwritten, (n, n_cases, n_names) -> shares that sum to 1, (n, n_names)."""
    log_joint -= log_joint.max(axis=(1, 2), keepdims=True)
    joint = np.exp(log_joint, out=log_joint).sum(axis=1)
    joint /= joint.sum(axis=1, keepdims=True)
    return joint


def candidate_set(probabilities: np.ndarray, coverage: float) -> np.ndarray:
    """Smallest set of names that holds `coverage` of the posterior.

    Parameters
    ----------
    probabilities : ndarray, shape (n_specimens, n_names)
    coverage : float
        More than 0, at most 1.

    Returns
    -------
    ndarray of bool, shape (n_specimens, n_names)
    """
    order = np.argsort(-probabilities, axis=1, kind="stable")
    ranked = np.take_along_axis(probabilities, order, axis=1)
    # A name is needed while the names before it hold less than asked.
    needed = np.cumsum(ranked, axis=1) - ranked < coverage - 1e-12
    found = np.empty(needed.shape, dtype=bool)
    np.put_along_axis(found, order, needed, axis=1)
    return found


def candidate_names(
    names: Sequence[str] | np.ndarray, probabilities: np.ndarray, coverage: float
) -> list[tuple[str, ...]]:
    """Names of each specimen's `candidate_set`, likeliest first; a tie goes by name.

    Parameters
    ----------
    names : sequence of str, shape (n_names,)
    probabilities : ndarray, shape (n_specimens, n_names)
    coverage : float
    """
    by_name = np.argsort(np.array(names), kind="stable")
    probabilities = probabilities[:, by_name]
    order = np.argsort(-probabilities, axis=1, kind="stable")
    chosen = candidate_set(probabilities, coverage)
    return [
        tuple(str(names[by_name[k]]) for k in ranked if keep[k])
        for ranked, keep in zip(order, chosen, strict=True)
    ]


def rank_frame(model: TableModel, coded: Coded, probabilities: np.ndarray, coverage: float) -> pd.DataFrame:
    """Ranking of one specimen, best first, as a frame.

    Parameters
    ----------
    model : TableModel
    coded : Coded
        One specimen.
    probabilities : ndarray, shape (n_taxa + 1,)
        Its posterior, in the order of the table.
    coverage : float

    Returns
    -------
    pandas.DataFrame, shape (n_taxa + 1, 8)
        Columns taxon, name, probability; agreement (Gower, 0 to 1, NaN where nothing compares) and compared
        (number of traits compared); fit (modal likelihood fraction) and deviation (standard deviations from
        the kind's own fish; see `idkey.model.fit`), NaN for "none of these"; and candidate.
    """
    table = model.table
    fit = fit_of(model, coded)
    frame = pd.DataFrame(
        {
            "taxon": [*table.ids, NONE],
            "name": [*(table.label(t) for t in table.ids), NONE],
            "probability": probabilities,
            "agreement": np.append(agreement(table, coded)[0], np.nan),
            "compared": np.append(agreement(table, coded, counts=True)[0], 0).astype(int),
            "fit": np.append(fit.fraction, np.nan),
            "deviation": np.append(fit.deviation, np.nan),
        }
    )
    frame = frame.sort_values(["probability", "taxon"], ascending=[False, True], ignore_index=True)
    frame["candidate"] = candidate_set(frame["probability"].to_numpy()[None], coverage)[0]
    return frame


class NearestMatch(ClassifierMixin, BaseEstimator):
    """Score answers against every kind of a trait table.

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

    Examples
    --------
    >>> import pandas as pd
    >>> from idkey.table.table import TraitTable
    >>> frame = pd.DataFrame({"kind": ["a", "b"], "tail": ["forked", "straight"]})
    >>> match = NearestMatch().fit(TraitTable.from_frame(frame, taxon="kind"))
    >>> match.predict(pd.DataFrame({"tail": ["forked", "straight"]})).tolist()
    ['a', 'b']
    """

    def __init__(self, prior: Prior = "commonness", none_prior: float = 0.05, coverage: float = 0.95):
        self.prior = prior
        self.none_prior = none_prior
        self.coverage = coverage

    def fit(self, X: TraitTable | pd.DataFrame, y: Any = None) -> NearestMatch:
        """Take a trait table, or pool a frame of specimens into one.

        Parameters
        ----------
        X : TraitTable or pandas.DataFrame, shape (n_specimens, n_traits)
        y : array-like, shape (n_specimens,), optional
            Taxon of each specimen; needed with a frame.

        Raises
        ------
        IdkeyError
        """
        check_coverage(self.coverage)
        if isinstance(X, TraitTable):
            table = X
        elif isinstance(X, pd.DataFrame) and y is not None:
            table = TraitTable.from_frame(X.assign(**{_TARGET: np.asarray(y)}), taxon=_TARGET)
        else:
            got = type(X).__name__
            msg = f"fit takes a TraitTable, or a DataFrame with y= the taxon of each row; got {got}"
            raise IdkeyError(msg)
        self.table_ = table
        self.classes_ = np.array([*table.ids, NONE])
        self._model = TableModel(table)
        self._prior = prior_vector(table, self.prior, self.none_prior)
        return self

    def _fitted(self) -> TraitTable:
        if not hasattr(self, "table_"):
            msg = "This NearestMatch is not fitted yet; call fit(table) first."
            raise NotFittedError(msg)
        return self.table_

    def predict_proba(self, frame: pd.DataFrame) -> np.ndarray:
        """Posterior of every kind.

        Parameters
        ----------
        frame : pandas.DataFrame, shape (n_specimens, n_answered_traits)
            One column a trait, NaN for not answered; a column ``life_stage`` may say adult or young.

        Returns
        -------
        ndarray, shape (n_specimens, n_taxa + 1)
            Rows sum to 1; columns as in `classes_`.

        Raises
        ------
        AnswerError
        """
        coded = code_frame(self._fitted(), frame)
        return posterior(self._model, coded, self._prior)

    def predict(self, frame: pd.DataFrame) -> np.ndarray:
        """Return the likeliest name of each specimen, which may be "none of these"; shape (n_specimens,)."""
        probabilities = self.predict_proba(frame)
        return self.classes_[probabilities.argmax(axis=1)]

    def candidates(self, frame: pd.DataFrame) -> list[tuple[str, ...]]:
        """Return, for each specimen, the names that hold `coverage` of the posterior, likeliest first."""
        probabilities = self.predict_proba(frame)
        return candidate_names(self.classes_, probabilities, self.coverage)

    def agreement(self, frame: pd.DataFrame) -> np.ndarray:
        """Gower similarity (Gower 1971) of each specimen to each row.

        Returns
        -------
        ndarray, shape (n_specimens, n_taxa)
            0 to 1; NaN where no trait can be compared.
        """
        table = self._fitted()
        return agreement(table, code_frame(table, frame))

    def rank(self, answers: Mapping[str, Any]) -> pd.DataFrame:
        """Rank the kinds for one specimen; see `rank_frame` for the columns.

        Parameters
        ----------
        answers : mapping of str to object
            Trait id to answer.
        """
        table = self._fitted()
        coded = code_answers(table, answers)
        return rank_frame(self._model, coded, posterior(self._model, coded, self._prior)[0], self.coverage)
