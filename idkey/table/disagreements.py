"""Cells held against the claims behind them: the one rule, for loading and for a review.

A claim that reads as a cell must lie within the cell that it stands behind: no state that the cell lacks, no
number outside its range, no length beyond the largest. And together the claims must say all that the cell
says. Left alone are claims in free words, those whose note begins with "Not followed", and those about the
genus that stand behind the cell of a kind, which may depart from it. A cell of care.csv may say less than
its claims, as where a sheet keeps to the safe part of a range, and never more.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from idkey.table.claims import NOT_FOLLOWED, claimed_cell, is_covered, is_within
from idkey.table.schema import CareColumn, Cell, Range, States, cell_text, parse_care
from idkey.table.table import TraitTable

__all__ = ["Disagreement", "disagreements"]

_ABOUT = ("taxon", "genus", "care_group")
_Place = tuple[tuple[str, str], str]


@dataclass(frozen=True, slots=True)
class Disagreement:
    """One cell, as it is held, that says something else than what is claimed for it.

    `about` is ``("taxon", id)``, ``("genus", name)`` or ``("care_group", name)``; `at` the place in the
    evidence of the claim that is not within the cell, or None for a cell that says more than all its claims.
    """

    about: tuple[str, str]
    column: str
    held: str
    claimed: str
    at: int | None = None


def disagreements(table: TraitTable, taxa: Collection[str] | None = None) -> Iterator[Disagreement]:
    """Yield the disagreements of a table, cell by cell; of some taxa only those in their traits."""
    evidence = table.evidence
    if "taxon" not in evidence.columns:
        return
    if taxa is not None:
        evidence = evidence[evidence["taxon"].isin(list(taxa))]
    behind: dict[_Place, list[tuple[Any, dict[str, str]]]] = defaultdict(list)
    for at, row in zip(evidence.index, evidence.to_dict("records"), strict=True):
        about = next(((kind, row[kind]) for kind in _ABOUT if row.get(kind)), ("", ""))
        if not str(row.get("note") or "").startswith(NOT_FOLLOWED):
            behind[about, row["attribute"]].append((at, row))
    read: dict[tuple[str, str], Cell] = {}
    for ((kind, who), column), rows in behind.items():
        cell, taken_over = _cell(table, kind, who, column)
        if cell is None:
            continue
        trait, claims = table.trait_of(column), []
        for _, row in rows:
            value = row["value"]
            if (column, value) not in read:
                read[column, value] = claimed_cell(trait, value)
            claims.append(None if kind == "taxon" and row["scope"] == "genus" else read[column, value])
        held = cell_text(trait, cell)
        beside = [i for i, claim in enumerate(claims) if claim and not is_within(trait, claim, cell)]
        for i in beside:
            yield Disagreement((kind, who), column, held, rows[i][1]["value"], rows[i][0])
        if not beside and None not in claims and not taken_over and not is_covered(trait, cell, claims):
            said = dict.fromkeys(cell_text(trait, claim) for claim in claims)
            yield Disagreement((kind, who), column, held, ", ".join(said))
    if taxa is None and len(table.care):
        yield from _care(table, behind)


def _cell(table: TraitTable, kind: str, who: str, column: str) -> tuple[Cell, bool]:
    """Return a cell of a trait, and whether a kind takes it over; None for what is none."""
    if kind == "genus":
        return table.genera.get(who, {}).get(column), False
    if kind != "taxon" or column not in table.cells or who not in table.taxa.index:
        return None, False
    at = table.position(who)
    return table.cells[column][at], bool(table.basis[column][at])


def _care(
    table: TraitTable, behind: Mapping[_Place, Sequence[tuple[Any, Mapping[str, str]]]]
) -> Iterator[Disagreement]:
    """Yield the needs of care that say more than is claimed."""
    columns = [column for column in table.care_columns if column.kind in ("range", "states")]
    for row in table.care.to_dict("records"):
        about = ("taxon", row["taxon"]) if row["taxon"] else ("care_group", row["care_group"])
        for column in columns:
            # A blank claim stands for what the cell says.
            values = [claim["value"] or row[column.id] for _, claim in behind.get((about, column.id), ())]
            try:
                cell, *claims = (_need(column, text) for text in (row.get(column.id, ""), *values))
            except ValueError:
                continue
            if cell is not None and claims and not is_covered(None, cell, claims):
                yield Disagreement(about, column.id, row[column.id], ", ".join(dict.fromkeys(values)))


def _need(column: CareColumn, text: str) -> Cell:
    need = parse_care(column, text)
    if isinstance(need, tuple):
        return States(need, (1.0 / len(need),) * len(need))
    return need if isinstance(need, Range) else None
