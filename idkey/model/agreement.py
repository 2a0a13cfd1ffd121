"""Plain agreement between answers and rows: Gower's general similarity, which a keeper can check by hand.

Gower JC 1971, A general coefficient of similarity and some of its properties, Biometrics 27:857-871,
doi 10.2307/2528823: the mean over comparable traits of s, with s = 1 or 0 for states and
``1 - |x - y| / R`` for numbers, R the range of the trait over the table.
"""

from __future__ import annotations

import numpy as np

from idkey.model.answers import Coded, Distinct
from idkey.model.evidence import scale_of
from idkey.table.schema import Trait
from idkey.table.table import Column, TraitTable

__all__ = ["agreement"]


def agreement(table: TraitTable, coded: Coded, *, counts: bool = False) -> np.ndarray:
    """Gower similarity of specimens to the rows of the table.

    A row that varies agrees where any of its states, or its range, agrees. Ordinal states count as
    1..K. A number outside the table's range is clipped at 0. Traits that are not answered, not known or
    not applicable are left out; where nothing is left the similarity is NaN. With `counts` the number of
    comparable traits is returned instead; either of shape (n_specimens, n_taxa).
    """
    total, comparable = np.zeros((2, coded.n, len(table)))
    for trait in table.traits:
        if trait.id not in coded.codes:
            continue
        column, codes = table.column(trait.id), coded.codes[trait.id]
        similarity = _similarity(trait, column, coded.distinct[trait.id])
        known = np.broadcast_to(column.known.astype(float), similarity.shape)
        silence = np.zeros((1, len(table)))
        total += np.vstack([silence, np.where(known > 0, similarity, 0.0)])[codes]
        comparable += np.vstack([silence, known])[codes]
    if counts:
        return comparable
    with np.errstate(invalid="ignore"):
        return np.where(comparable > 0, total / np.where(comparable > 0, comparable, 1.0), np.nan)


def _similarity(trait: Trait, column: Column, answers: Distinct) -> np.ndarray:
    """Similarity of each distinct answer to each row, shape (n_distinct, n_taxa)."""
    if trait.kind == "nominal":
        return ((answers.allowed @ (column.shares > 0).T) > 0).astype(float)
    if trait.kind == "ordinal":
        k = len(trait.states)
        step = np.abs(np.subtract.outer(np.arange(k), np.arange(k))) / max(k - 1, 1)
        # Nearest pair of states: the smallest step over what the answer and the row allow.
        row_step = np.min(np.where(column.shares.T[None] > 0, step[:, :, None], 1.0), axis=1)
        near = np.min(np.where(answers.allowed[:, :, None] > 0, row_step[None], 1.0), axis=1)
        return 1.0 - near
    low, high = np.nan_to_num(column.low), np.nan_to_num(column.high)
    if trait.kind == "ceiling":
        tops = column.high[column.known]
        scale = float(np.ptp(tops)) if len(tops) and np.ptp(tops) > 0 else 1.0
    else:
        scale = scale_of(column)
    gap = np.maximum(low - answers.high[:, None], answers.low[:, None] - high)
    return 1.0 - np.clip(gap / scale, 0.0, 1.0)
