"""The cells of kinds that count: their own, and what a blank one takes over; as arrays; from any frame.

An own cell wins, and ``?`` says that it is not known in spite of the genus. A trait that only has a meaning
while another is in some states does not apply to a kind that shows none of them. Else a blank cell takes over
what the genus says. In a table from elsewhere the rows of one taxon are pooled.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from pandas.api import types

from idkey.arguments import shown, text_problem
from idkey.errors import Problem, TableError, one_of
from idkey.table.fields import KINDS, LEAST, number_in
from idkey.table.schema import (
    NOT_APPLICABLE,
    YOUNG,
    Cell,
    NotApplicable,
    NotKnown,
    OwnCell,
    Range,
    States,
    Trait,
    is_missing,
    parse_cell,
    parse_range,
    state_text,
)

GENUS = "genus"
"""Basis of a cell that is taken over from the genus."""
# A measuring error for columns whose error nobody stated: this share of the column's range.
_SPREAD_OF_RANGE = 0.02
# Of the standard deviation within a taxon; the range itself already carries the rest.
_SPREAD_WITHIN = 0.5
_ERROR = 0.05

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
            shown = cells[other][i] if leans else None
            if cell is not None:
                made.append((None if isinstance(cell, NotKnown) else cell, ""))
            elif shown == NOT_APPLICABLE or (isinstance(shown, States) and not {*shown.names} & {*wanted}):
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
                shares[i, trait.states.index(name)] = share
        elif isinstance(cell, Range):
            low[i], high[i] = cell.low, cell.high
    known = np.array([isinstance(c, (States, Range)) for c in cells], dtype=bool)
    applies = np.array([not isinstance(c, NotApplicable) for c in cells], dtype=bool)
    for array in (known, applies, shares, low, high):
        array.setflags(write=False)
    return Column(known, applies, shares, low, high)


# -- from any pandas table ---------------------------------------------------------------------------------


def read_frame(
    df: pd.DataFrame, taxon: str, kinds: Mapping[Any, str] | None, name: str
) -> tuple[tuple[Trait, ...], list[str], dict[str, tuple[Cell, ...]]]:
    """Read a frame into traits, taxa in order of first appearance, and cells; see `TraitTable.from_frame`."""
    kinds = dict(kinds or {})
    problems = _check(df, taxon, kinds, name)
    if problems:
        raise TableError(problems)
    labels = [state_text(v) for v in df[taxon]]
    rows, ids = pd.factorize(np.array(labels, dtype=object))
    traits, cells = [], {}
    by_name = {str(c): c for c in df.columns if c != taxon}
    young = {c: by_name[name + YOUNG] for name, c in by_name.items() if name + YOUNG in by_name}
    for column in df.columns:
        if column == taxon or column in young.values():
            continue
        columns = [df[c] for c in (column, young.get(column)) if c is not None]
        kind = kinds.get(column, _default_kind(columns[0]))
        states = _states(columns, kind) if kind in ("nominal", "ordinal") else ()
        trait = Trait(id=str(column), kind=kind, states=states, error=_ERROR)  # type: ignore[arg-type]
        for values, cells_id in zip(columns, (trait.id, trait.id + YOUNG), strict=False):
            pooled, wrong = _pool(trait, values, rows, len(ids), labels)
            problems += [Problem(name, row, cells_id, value, right) for row, value, right in wrong]
            cells[cells_id] = tuple(_pooled(trait, gathered) for gathered in pooled)
            if kind == "measure" and cells_id == trait.id:
                trait = replace(trait, spread=_spread(pooled), spread_is_relative=False)
        traits.append(trait)
    if problems:
        raise TableError(problems)
    return tuple(traits), list(ids), cells


def _check(df: pd.DataFrame, taxon: str, kinds: Mapping[str, str], name: str) -> list[Problem]:
    columns = [str(c) for c in df.columns]
    if taxon not in df.columns:
        asked = shown(taxon).strip("'")
        return [Problem(name, "", "", asked, one_of(asked, columns, "a column of the frame for taxon="))]
    found = [("", c, k, one_of(k, KINDS, "a trait kind")) for c, k in kinds.items() if k not in KINDS]
    missing = [str(c) for c in kinds if c not in df.columns]
    found += [("", c, c, one_of(c, columns, "a column of the frame in kinds=")) for c in missing]
    for i, value in enumerate(df[taxon], start=2):
        try:
            named = not is_missing(value)
            right = text_problem(state_text(value)) if named else "every row needs the name of its taxon"
        except ValueError as error:
            right = str(error)
        if right:
            found.append((str(i), taxon, value if is_missing(value) else shown(value), right))
    twice = sorted({c for c in columns if columns.count(c) > 1})
    found += [("", c, c, "two columns have this name; rename one") for c in twice]
    if len(columns) < 2:
        found.append(("", "", "", "no trait column; a table needs at least one beside the taxon"))
    return [Problem(name, row, str(column), str(value), right) for row, column, value, right in found]


def _default_kind(values: pd.Series) -> str:
    if isinstance(values.dtype, pd.CategoricalDtype):
        return "ordinal" if values.dtype.ordered else "nominal"
    if types.is_bool_dtype(values.dtype):
        return "nominal"
    if not types.is_numeric_dtype(values.dtype):
        return "measure" if _are_ranges(values) else "nominal"
    # Noughts and ones are a yes or no, not a measurement.
    return "nominal" if set(values.dropna().unique()) == {0, 1} else "measure"


def _are_ranges(values: pd.Series) -> bool:
    """Whether text cells are all numbers or ranges, at least one a range."""
    cells = [value for value in values if not is_missing(value)]
    texts = [cell.strip() for cell in cells if isinstance(cell, str)]
    try:
        ranges = [parse_range(text) for text in texts if text != "-"]
    except ValueError:
        return False
    return len(texts) == len(cells) and bool(ranges) and any(".." in text for text in texts)


Wrong = list[tuple[str, str, str]]


def _pool(
    trait: Trait, values: pd.Series, rows: np.ndarray, n_taxa: int, labels: Sequence[str]
) -> tuple[list[list[Cell]], Wrong]:
    """Read the cells of a column, gathered by taxon; `Wrong` lists those that cannot be read."""
    pooled: list[list[Cell]] = [[] for _ in range(n_taxa)]
    wrong: Wrong = []
    for i, (row, value) in enumerate(zip(rows, values, strict=True)):
        if is_missing(value):
            continue
        try:
            pooled[row].append(parse_cell(trait, state_text(value)))
        except ValueError as error:
            wrong.append((f"{i + 2} ({labels[i]})", str(value), str(error)))
    return pooled, wrong


def _states(columns: Sequence[pd.Series], kind: str) -> tuple[str, ...]:
    found: dict[str, None] = {}
    for values in columns:
        categorical = isinstance(values.dtype, pd.CategoricalDtype)
        for value in values.cat.categories if categorical else values:
            # What is no state is told when the cell is read.
            with suppress(ValueError):
                found.update(dict.fromkeys(_names_in("" if is_missing(value) else state_text(value))))
    if isinstance(columns[0].dtype, pd.CategoricalDtype):
        return tuple(found)
    if all(types.is_numeric_dtype(v.dtype) and not types.is_bool_dtype(v.dtype) for v in columns):
        return tuple(sorted(found, key=float))
    # Sorted, so that the same table in another row order is the same table.
    return tuple(sorted(found)) if kind == "nominal" else tuple(sorted(found, key=_natural))


def _names_in(text: str) -> Iterator[str]:
    """Names of the states in a cell. Only a cell of several states has shares: 12:30 alone is a state."""
    parts = [part.strip() for part in text.split("|")]
    for part in parts:
        name, colon, share = part.rpartition(":")
        state = name.strip() if len(parts) > 1 and colon and number_in(share, above=0) else part
        if state and state != "-":
            yield state


def _natural(name: str) -> tuple[bool, float, str]:
    number = number_in(name)
    return number is None, number or 0.0, name


def _pooled(trait: Trait, cells: Sequence[Cell]) -> Cell:
    """Return the cells of one taxon as one: shares added up, the hull of ranges."""
    seen = [c for c in cells if isinstance(c, (States, Range))]
    if not seen:
        return NOT_APPLICABLE if any(c is NOT_APPLICABLE for c in cells) else None
    if not trait.has_states:
        return Range(min(c.low for c in seen), max(c.high for c in seen))
    shares = dict.fromkeys(trait.states, 0.0)
    for cell in seen:
        for name, share in zip(cell.names, cell.shares, strict=True):
            shares[name] += share
    total = sum(shares.values())
    kept = {name: share / total for name, share in shares.items() if share > 0}
    return States(tuple(kept), tuple(kept.values()))


def _spread(pooled: Sequence[Sequence[Cell]]) -> float:
    """Measuring error of a column, in its unit: from the scatter within taxa where there is any."""
    middles = [np.array([(c.low + c.high) / 2 for c in cells if isinstance(c, Range)]) for cells in pooled]
    ranges = [c for cells in pooled for c in cells if isinstance(c, Range)]
    if not ranges:
        return 1.0
    span = max(c.high for c in ranges) - min(c.low for c in ranges)
    scatter = [m - m.mean() for m in middles if len(m) > 1]
    freedom = sum(len(s) - 1 for s in scatter)
    floor = _SPREAD_OF_RANGE * span if _SPREAD_OF_RANGE * span >= LEAST else 1.0
    if not freedom:
        return float(floor)
    within = np.sqrt(sum(float(s @ s) for s in scatter) / freedom)
    return float(max(_SPREAD_WITHIN * within, floor))
