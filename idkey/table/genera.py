"""What the blank cells of a kind take over: what holds for its genus, and what does not apply to it.

An own cell wins, and ``?`` says that it is not known in spite of the genus. A trait that only has a meaning
while another is in some states does not apply to a kind that shows none of them. Else a blank cell takes over
what the genus says.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from idkey.table.schema import NOT_APPLICABLE, Cell, NotApplicable, NotKnown, OwnCell, States, Trait

__all__ = ["GENUS", "Basis", "Genera", "OwnCells", "claims_by_kind", "effective"]

GENUS = "genus"
"""Basis of a cell that is taken over from the genus."""

OwnCells = Mapping[str, tuple[OwnCell, ...]]
Genera = Mapping[str, Mapping[str, Cell]]
"""What holds for every kind of a genus: its cells by column."""
Basis = Mapping[str, tuple[str, ...]]
"""By column, what each cell rests on: blank for itself, `GENUS`, or the trait by which it does not apply."""


def effective(
    traits: Sequence[Trait], own: OwnCells, genera: Genera, genus: Sequence[str]
) -> tuple[dict[str, tuple[Cell, ...]], Basis]:
    """Return the cells that count, by column, and what each rests on; `genus` is that of each kind."""
    by_id = {trait.id: trait for trait in traits}
    said = dict.fromkeys(c for g in dict.fromkeys(genus) for c in genera.get(g, ()))
    cells: dict[str, tuple[Cell, ...]] = {}
    basis: dict[str, tuple[str, ...]] = {}

    def work_out(column: str, asked: tuple[str, ...]) -> None:
        kept = own[column]
        applies = by_id[column].applies_when if column in by_id else None
        other: Sequence[Cell] = ()
        # Two traits that lean on each other decide nothing.
        if applies and applies[0] in own and applies[0] not in (*asked, column):
            if applies[0] not in cells:
                work_out(applies[0], (*asked, column))
            other = cells[applies[0]]
        if column not in said and not other:
            cells[column] = tuple(None if isinstance(cell, NotKnown) else cell for cell in kept)
            basis[column] = ("",) * len(genus)
            return
        made: list[Cell] = []
        rests: list[str] = []
        for i, cell in enumerate(kept):
            taken = genera.get(genus[i], {}).get(column) if column in said else None
            away = applies is not None and bool(other) and _rules_out(other[i], applies[1])
            if cell is not None or not (away or taken is not None):
                made.append(None if isinstance(cell, NotKnown) else cell)
                rests.append("")
            else:
                made.append(NOT_APPLICABLE if away else taken)
                rests.append(applies[0] if away and applies else GENUS)
        cells[column], basis[column] = tuple(made), tuple(rests)

    for column in own:
        if column not in cells:
            work_out(column, ())
    return {c: cells[c] for c in own}, {c: basis[c] for c in own}


def _rules_out(cell: Cell, wanted: Sequence[str]) -> bool:
    """Whether a kind that has this cell shows none of the states that another trait needs."""
    if isinstance(cell, States):
        return not set(cell.names) & set(wanted)
    return isinstance(cell, NotApplicable)


def claims_by_kind(
    evidence: pd.DataFrame, ids: Sequence[str], genus: Sequence[str], basis: Basis
) -> pd.DataFrame:
    """Return the claims with those that a kind's cells rest on repeated for the kind.

    A claim about the genus names the kind beside it; one that shows that a trait does not apply has the value
    ``-``. Claims about care stay as they are.
    """
    if "taxon" not in evidence.columns or not any(map(any, basis.values())):
        return evidence
    behind: dict[tuple[str, str], list[dict[str, Any]]] = {}
    for row in evidence.to_dict("records"):
        behind.setdefault((row["taxon"] or row.get(GENUS, ""), row["attribute"]), []).append(row)

    def rows(i: int, column: str) -> list[dict[str, Any]]:
        own, rests = behind.get((ids[i], column), []), basis[column][i]
        if rests == GENUS:
            return [*own, *({**row, "taxon": ids[i]} for row in behind.get((genus[i], column), ()))]
        if rests:
            return [*own, *({**row, "attribute": column, "value": "-"} for row in rows(i, rests))]
        return own

    more = [
        row
        for column, rests in basis.items()
        for i, rest in enumerate(rests)
        if rest
        for row in rows(i, column)[len(behind.get((ids[i], column), ())) :]
    ]
    taken = pd.DataFrame(more, columns=evidence.columns, dtype="str")
    return pd.concat([taken, evidence], ignore_index=True)
