"""The two-way questions a key may ask: a state against the rest, or a threshold."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from idkey.model.evidence import ADULT_FROM
from idkey.table.schema import Trait
from idkey.table.table import Column, TraitTable

__all__ = ["Split", "all_splits"]

MOST_THRESHOLDS = 12
"""Thresholds tried for one measured trait; more are thinned out evenly."""
_LEAST_SHARE = 0.01


@dataclass(frozen=True)
class Split:
    """One way to part the kinds in two; the arrays are of shape (n_taxa,).

    Lead a has these `states` (lead b the rest), or is at most the `threshold`, NaN for states. A `share` of
    each taxon goes down it, 1 or 0, or between where the kind varies or is unknown; `both` marks those that
    go down both. Where the trait does not exist (not `applies`) the question makes no sense. The `cost` is
    the seconds of effort for one answer that can be relied on.
    """

    trait: Trait
    states: tuple[str, ...]
    threshold: float
    share: np.ndarray
    both: np.ndarray
    applies: np.ndarray
    cost: float


def all_splits(table: TraitTable, weights: np.ndarray) -> list[Split]:
    """Every split of the table that parts at least one taxon from another.

    A kind whose state is not known goes down both leads in the shares of the kinds that are known, weighted.
    """
    found = []
    for trait in table.traits:
        if not trait.in_key:
            continue
        column = table.column(trait.id)
        known = column.known
        expected = weights[known].sum() > 0
        for states, threshold, share in _shares(trait, column):
            if (share[known] == 1).any() and (share[known] == 0).any():
                mean = float(np.average(share[known], weights=weights[known])) if expected else 0.5
                both = ~known | ((share > 0) & (share < 1))
                cost = trait.effort / (1 - trait.error)
                filled = np.where(known, share, mean)
                found.append(Split(trait, states, threshold, filled, both, column.applies, cost))
    return found


def _shares(trait: Trait, column: Column) -> list[tuple[tuple[str, ...], float, np.ndarray]]:
    if trait.kind == "nominal":
        k = len(trait.states)
        # With two states the second split is the first one upside down.
        return [((trait.states[i],), np.nan, column.shares[:, i]) for i in range(k if k > 2 else k - 1)]
    if trait.kind == "ordinal":
        upto = np.cumsum(column.shares, axis=1)
        upto[upto > 1 - 1e-12] = 1.0
        return [(trait.states[: i + 1], np.nan, upto[:, i]) for i in range(len(trait.states) - 1)]
    low, high = column.low, column.high
    if trait.kind == "ceiling":
        low = ADULT_FROM * high
    cuts = _thresholds(low[column.known], high[column.known])
    return [((), cut, _share_below(low, high, cut)) for cut in cuts]


def _share_below(low: np.ndarray, high: np.ndarray, cut: float) -> np.ndarray:
    """Share of the fish of each kind that are at most the cut, 0 where nothing is known, shape (n_taxa,)."""
    width = np.where(high > low, high - low, 1.0)
    # A range that begins at the cut has fish on both sides of it.
    crossing = np.maximum((cut - low) / width, _LEAST_SHARE)
    share = np.where(high <= cut, 1.0, np.where(low > cut, 0.0, crossing))
    return np.nan_to_num(share)


def _thresholds(low: np.ndarray, high: np.ndarray) -> list[float]:
    """Cuts in the gaps between an upper end and the next lower end."""
    cuts = set()
    lows = np.unique(low)
    for top in np.unique(high):
        above = lows[lows > top]
        if len(above):
            cuts.add(_plain(float(top), float(above[0])))
    ordered = sorted(cuts)
    if len(ordered) > MOST_THRESHOLDS:
        at = np.linspace(0, len(ordered) - 1, MOST_THRESHOLDS).round().astype(int)
        ordered = [ordered[i] for i in at]
    return ordered


def _plain(low: float, high: float) -> float:
    """Return the roundest number that is at least `low` and less than `high`."""
    middle = (low + high) / 2
    for digits in range(-3, 6):
        cut = round(middle, digits)
        if low <= cut < high:
            return cut
    return low
