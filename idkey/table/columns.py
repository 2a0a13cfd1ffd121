"""One column of the table as arrays, for the model."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from idkey.table.schema import Cell, NotApplicable, Range, States, Trait

__all__ = ["Column", "column_of"]


@dataclass(frozen=True, slots=True)
class Column:
    """One column of the table as arrays, one entry a taxon.

    Attributes
    ----------
    known, applies : ndarray of bool, shape (n_taxa,)
        The cell holds a value; it is not "not applicable".
    shares : ndarray of float, shape (n_taxa, n_states)
        Share of fish in each state; rows of unknown cells are 0. Width 0 for a measure.
    low, high : ndarray of float, shape (n_taxa,)
        Ends of the range in the unit of the trait; NaN where unknown, and for states.
    """

    known: np.ndarray
    applies: np.ndarray
    shares: np.ndarray
    low: np.ndarray
    high: np.ndarray


def column_of(trait: Trait, cells: Sequence[Cell]) -> Column:
    """Return cells, one a taxon, as arrays."""
    n = len(cells)
    shares = np.zeros((n, len(trait.states)))
    low = np.full(n, np.nan)
    high = np.full(n, np.nan)
    for i, cell in enumerate(cells):
        if isinstance(cell, States):
            for name, share in zip(cell.names, cell.shares, strict=True):
                shares[i, trait.index(name)] = share
        elif isinstance(cell, Range):
            low[i], high[i] = cell.low, cell.high
    known = np.array([isinstance(c, (States, Range)) for c in cells], dtype=bool)
    applies = np.array([not isinstance(c, NotApplicable) for c in cells], dtype=bool)
    for array in (known, applies, shares, low, high):
        array.setflags(write=False)
    return Column(known, applies, shares, low, high)
