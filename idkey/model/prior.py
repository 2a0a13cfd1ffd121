"""How likely each kind is before anyone looks: commonness in the trade, or as the user says."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from numbers import Real
from typing import Any, Literal

import numpy as np

from idkey.errors import IdkeyError, UnknownName, one_of
from idkey.model.evidence import NONE
from idkey.table.names import every
from idkey.table.table import TraitTable

Prior = Literal["commonness", "uniform"] | Mapping[str, float] | Collection[str] | None

COMMONNESS_WEIGHT = {"common": 3.0, "occasional": 1.0, "rare": 1.0 / 3.0}
"""Common to rare is 9 : 1, less than one clear answer (judgement: two clear answers must overturn it)."""
NAMED_WEIGHT = 9.0
"""What a name on the invoice counts more: labels are often wrong (judgement)."""
NONE_PRIOR = 0.05
"""Share of fish that are none of the kinds in the table, unless told otherwise (judgement)."""
LEAST_SHARE = 1e-3
"""Least weight, as a share of the largest: two clear answers are worth about 30 : 1 each."""
_NOT_STATED = 1.0


def weights(table: TraitTable, prior: Prior = "commonness") -> np.ndarray:
    """Weights of the taxa, summing to 1, in the order of the table.

    Beside "commonness" (or None) and "uniform" a prior may be a mapping of kind to a weight of 0 or more, or
    a sequence of kinds, the names on an invoice: each gets `NAMED_WEIGHT` times its weight by commonness.
    Kinds may be ids, trade codes or names; a code that means several kinds counts for all of them. No taxon
    gets less than `LEAST_SHARE` of the weight of the largest, so that two clear answers can overturn any
    prior. Raises IdkeyError for an unknown word or taxon, a negative weight, or weights that are all 0.
    """
    if isinstance(prior, Mapping):
        return _floored(_from_mapping(table, prior))
    if isinstance(prior, (list, tuple, set, frozenset)):
        found = weights(table, "commonness")
        found[_positions(table, prior)] *= NAMED_WEIGHT
        return _floored(found)
    word = "commonness" if prior is None else prior if isinstance(prior, str) else None
    found = np.ones(len(table))
    if word == "commonness" and "commonness" in table.taxa.columns:
        found = np.array([COMMONNESS_WEIGHT.get(str(c), _NOT_STATED) for c in table.taxa["commonness"]])
    elif word not in ("commonness", "uniform"):
        right = one_of(word, ["commonness", "uniform"], "a mapping of taxon to weight, or one of")
        raise IdkeyError(f"prior: {type(prior).__name__ if word is None else repr(word)}: {right}")
    return found / found.sum()


def _floored(found: np.ndarray) -> np.ndarray:
    found = np.maximum(found, LEAST_SHARE * found.max())
    return found / found.sum()


def _positions(table: TraitTable, names: Collection[Any]) -> list[int]:
    try:
        return [table.position(taxon) for taxon in every(table, names)]
    except UnknownName as error:
        raise UnknownName(f"prior: {error}") from None


def _from_mapping(table: TraitTable, prior: Mapping[str, Any]) -> np.ndarray:
    found = np.zeros(len(table))
    # What is said of an id counts more than what is said of a code that several kinds have.
    for taxon, weight in sorted(prior.items(), key=lambda item: item[0] in table.ids):
        positions = _positions(table, (taxon,))
        try:
            value = float(weight)
        except (TypeError, ValueError):
            value = float("nan")
        if not (np.isfinite(value) and value >= 0):
            raise IdkeyError(f"prior: {taxon}: {weight!r}: a weight is a number, 0 or more")
        found[positions] = value
    if not found.sum() > 0:
        raise IdkeyError("prior: every weight is 0; at least one taxon must be possible")
    return found / found.sum()


def prior_vector(table: TraitTable, prior: Prior, none_prior: float) -> np.ndarray:
    """Prior of the taxa and, last, of "none of these", shape (n_taxa + 1,); sums to 1."""
    if not (isinstance(none_prior, Real) and 0 <= none_prior < 1):
        msg = f"none_prior: {none_prior!r}: the share of fish that are {NONE!r} is 0 or more and less than 1"
        raise IdkeyError(msg)
    return np.append(weights(table, prior) * (1 - none_prior), none_prior)


def check_table(table: Any) -> None:
    """Raise IdkeyError unless this is a trait table."""
    if not isinstance(table, TraitTable):
        right = "give a trait table, from load_table() or TraitTable.from_frame(df, ...)"
        raise IdkeyError(f"{type(table).__name__}: {right}")


def check_coverage(coverage: Any) -> None:
    """Raise IdkeyError unless the posterior that a set of names is to hold makes sense."""
    if not (isinstance(coverage, Real) and 0 < coverage <= 1):
        msg = f"coverage: {coverage!r}: the share of the posterior to hold is more than 0 and at most 1"
        raise IdkeyError(msg)
