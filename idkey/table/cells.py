"""The cells of kinds that count: their own, and what a blank one takes over; and a column of them as arrays.

An own cell wins, and ``?`` says that it is not known in spite of the genus. A trait that only has a meaning
while another is in some states does not apply to a kind that shows none of them. Else a blank cell takes over
what the genus says.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from idkey.table.schema import (
    NOT_APPLICABLE,
    Cell,
    NotApplicable,
    NotKnown,
    OwnCell,
    Range,
    States,
    Trait,
)

GENUS = "genus"
"""Basis of a cell that is taken over from the genus."""

OwnCells = Mapping[str, Sequence[OwnCell]]
Genera = Mapping[str, Mapping[str, Cell]]
"""What holds for every kind of a genus: its cells by column."""
Basis = Mapping[str, tuple[str, ...]]
"""By column, what each cell rests on: blank for itself, `GENUS`, or the trait by which it does not apply."""


def effective(
    traits: Sequence[Trait], own: OwnCells, genera: Genera, genus: Sequence[str]
) -> tuple[dict[str, tuple[Cell, ...]], Basis]:
    """Return the cells that count, by column, and what each rests on; `genus` is that of each kind."""
    conditions = {trait.id: trait.applies_when for trait in traits if trait.applies_when}
    of_genus = [genera.get(name, {}) for name in genus]
    cells: dict[str, tuple[Cell, ...]] = {}
    basis: dict[str, tuple[str, ...]] = {}

    def work_out(column: str, asked: tuple[str, ...]) -> None:
        other, wanted = conditions.get(column, ("", ()))
        # Two traits that lean on each other decide nothing.
        leans = other in own and other not in (*asked, column)
        if leans and other not in cells:
            work_out(other, (*asked, column))
        made: list[tuple[Cell, str]] = []
        for i, cell in enumerate(own[column]):
            if cell is not None:
                made.append((None if isinstance(cell, NotKnown) else cell, ""))
            elif leans and _rules_out(cells[other][i], wanted):
                made.append((NOT_APPLICABLE, other))
            else:
                taken = of_genus[i].get(column)
                made.append((taken, "" if taken is None else GENUS))
        cells[column] = tuple(cell for cell, _ in made)
        basis[column] = tuple(rests for _, rests in made)

    for column in own:
        if column not in cells:
            work_out(column, ())
    return {c: cells[c] for c in own}, {c: basis[c] for c in own}


def _rules_out(cell: Cell, wanted: Sequence[str]) -> bool:
    """Whether a kind that has this cell shows none of the states that another trait needs."""
    if isinstance(cell, States):
        return not set(cell.names) & set(wanted)
    return isinstance(cell, NotApplicable)


def records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Return the rows of a frame by column, of text ten times as fast as pandas does."""
    columns = [frame[column].to_numpy(object).tolist() for column in frame]
    return [dict(zip(frame.columns, row, strict=True)) for row in zip(*columns, strict=True)]


def claims_by_kind(
    evidence: pd.DataFrame, ids: Sequence[str], genus: Sequence[str], basis: Basis
) -> pd.DataFrame:
    """Return the claims with those that a kind's cells rest on repeated for the kind.

    A claim about the genus names the kind beside it; one that shows that a trait does not apply has the value
    ``-``. Claims about care stay as they are.
    """
    if "taxon" not in evidence.columns or not any(map(any, basis.values())):
        return evidence
    behind: dict[tuple[str, str], list[dict[str, Any]]] = defaultdict(list)
    for row in records(evidence):
        behind[row["taxon"] or row.get(GENUS, ""), row["attribute"]].append(row)

    def taken(i: int, column: str) -> list[dict[str, Any]]:
        """Return the claims that a cell rests on, beside its own."""
        rests = basis[column][i]
        if not rests:
            return []
        if rests == GENUS:
            return [row | {"taxon": ids[i]} for row in behind[genus[i], column]]
        others = [*behind[ids[i], rests], *taken(i, rests)]
        return [row | {"attribute": column, "value": "-"} for row in others]

    more = [row for column in basis for i in range(len(ids)) for row in taken(i, column)]
    return pd.concat([pd.DataFrame(more, columns=evidence.columns, dtype="str"), evidence], ignore_index=True)


@dataclass(frozen=True, slots=True)
class Column:
    """One column of the table as arrays that can't be written to, one entry a taxon.

    `known` and `applies` say whether a cell holds a value, and whether it is not "not applicable". `shares`,
    shape (n_taxa, n_states), are those of fish in each state, 0 where unknown, and of width 0 for numbers;
    `low` and `high` are the ends of the range in the unit of the trait, NaN where unknown and for states.
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
