"""Cells that contradict what is known of their genus, the source named for them, or the rest of the table.

A doubt is no error: the kind may well be the odd one of its genus, and a source may be wrong. It is worth a
second look at the fish and at the page.

*Against its genus*: at least `CONGENERS` other kinds of the genus are known and agree among themselves.
Of states, at least `AGREE` of them share one, and the kind has none that any of them has. Of numbers, the
kind's range lies outside the range that they span, farther off than that range is wide (or than a
measurement may be out, where that is more). What genera.csv states of the genus is one statement, not one
for each kind that takes it over; a cell that has nothing in common with it is told as such. Lengths are left
out: a genus has small and large kinds.

*Against its source*: a claim for the cell reads as a cell of the trait and is not within the cell: a state
that the cell lacks, a number outside its range, a length beyond the largest. Claims in free words are left
alone, and so are those about the genus, which the kind itself may depart from. Or all claims read as cells,
and together they do not say what the cell says, as after a cell was changed by hand.

*Against the table*: slips that come with typing. A care group that is left out, or that no other kind of the
genus has; a trade code that another kind has too; a length of less than half of all others, as of a fish
that was measured in centimetres.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from idkey.arguments import checked
from idkey.table.files import disagreements
from idkey.table.names import every, trade_codes
from idkey.table.schema import Cell, Range, States, Trait, cell_text
from idkey.table.table import TraitTable

CONGENERS = 3
"""Other kinds of the genus that must be known before a cell can contradict them (judgement)."""
AGREE = 0.8
"""Share of them that must show one and the same state (judgement); of three or four that is all."""


@dataclass(frozen=True, slots=True)
class Doubt:
    """One cell that something speaks against.

    The `text` is one sentence: what the cell holds, what speaks against it, and where that comes from.
    """

    taxon: str
    column: str
    against: Literal["genus", "source", "table"]
    text: str


@checked
def doubts(table: TraitTable, taxa: str | Collection[str] | None = None) -> tuple[Doubt, ...]:
    """Return the cells that contradict their genus, their source or the rest of the table, in table order.

    Those of these `taxa`, which are held against the whole genus; all by default. Raises UnknownName.
    """
    wanted = table.ids if taxa is None else every(table, taxa)
    rows = {taxon: table.position(taxon) for taxon in wanted}
    place = {column: i for i, column in enumerate(table.cells)}
    all_ = [*_against_genus(table, rows), *_against_source(table, rows), *_against_table(table, rows)]
    return tuple(sorted(all_, key=lambda d: (rows[d.taxon], place.get(d.column, -1))))


def _of(trait: Trait, taxon: str, column: str) -> str:
    return f"{trait.name} of {'' if column == trait.id else 'young '}{taxon}"


# -- the genus --------------------------------------------------------------------------------------


def _against_genus(table: TraitTable, rows: Mapping[str, int]) -> Iterator[Doubt]:
    genera = table.genus
    for genus in sorted({genera[i] for i in rows.values()} - {""}):
        members = [i for i, name in enumerate(genera) if name == genus]
        for column, held in table.cells.items():
            trait = table.trait_of(column)
            if trait.kind == "ceiling":
                continue
            # What is taken over from the genus is one statement, however many kinds take it over.
            cells = {i: held[i] for i in members if not table.basis[column][i]}
            asked = [i for i in cells if table.ids[i] in rows]
            stated = table.genera.get(genus, {}).get(column)
            told = f"genera.csv has {cell_text(trait, stated)} for {genus}"
            odd = dict.fromkeys(_unlike(cells, asked, stated), told)
            judge = _odd_states if trait.has_states else _odd_numbers
            for i, others in (odd | dict(judge(trait, cells, genus, asked))).items():
                text = f"{_of(trait, table.ids[i], column)}: the table has {cell_text(trait, cells[i])}"
                yield Doubt(table.ids[i], column, "genus", f"{text}, {others}")


def _unlike(cells: Mapping[int, Cell], asked: list[int], stated: Cell) -> list[int]:
    """Return the rows asked for that have nothing in common with what is stated of the genus."""
    known = {i: cells[i] for i in asked if type(cells[i]) is type(stated)}
    if isinstance(stated, States):
        return [i for i, cell in known.items() if not set(cell.names) & set(stated.names)]
    if isinstance(stated, Range):
        return [i for i, span in known.items() if span.low > stated.high or span.high < stated.low]
    return []


def _odd_states(
    trait: Trait, cells: Mapping[int, Cell], genus: str, asked: list[int]
) -> Iterator[tuple[int, str]]:
    """Give the rows asked for that share no state with an agreeing genus, and what the others have."""
    known = {i: cell for i, cell in cells.items() if isinstance(cell, States)}
    counts = Counter(name for cell in known.values() for name in cell.names)
    others = len(known) - 1
    if others < CONGENERS:
        return
    for i in asked:
        if i not in known or any(counts[name] > 1 for name in known[i].names):
            continue
        common = max((s for s in trait.states if s not in known[i].names), key=lambda s: counts[s])
        if counts[common] >= AGREE * others:
            yield i, f"which no other {genus} has; {counts[common]} of the {others} known have {common}"


def _odd_numbers(
    trait: Trait, cells: Mapping[int, Cell], genus: str, asked: list[int]
) -> Iterator[tuple[int, str]]:
    """Give the rows asked for that lie far outside what the others span, and that span."""
    known = {i: cell for i, cell in cells.items() if isinstance(cell, Range)}
    if len(known) <= CONGENERS:
        return
    low, high = sorted(c.low for c in known.values()), sorted(c.high for c in known.values())
    for i in (i for i in asked if i in known):
        least, most = low[known[i].low == low[0]], high[-1 - (known[i].high == high[-1])]
        out = abs(trait.spread) * ((least + most) / 2 if trait.spread_is_relative else 1.0)
        if max(known[i].low - most, least - known[i].high) > max(most - least, out):
            span = f"{least:g}" if least == most else f"{least:g} to {most:g}"
            yield i, f"far from the {span} of the {len(known) - 1} other {genus} known"


# -- the source -------------------------------------------------------------------------------------


def _against_source(table: TraitTable, rows: Mapping[str, int]) -> Iterator[Doubt]:
    for odd in disagreements(table, None if len(rows) == len(table) else rows):
        (kind, taxon), column = odd.about, odd.column
        if kind != "taxon" or column not in table.cells:
            continue
        where = f"but its claims have only {odd.claimed}"
        if odd.at is not None:
            source, locator = table.evidence.loc[odd.at, ["source", "locator"]]
            page = f" ({locator})" if locator else ""
            where = f"{source or 'a claim without source'}{page} has {odd.claimed}"
        text = f"{_of(table.trait_of(column), taxon, column)}: the table has {odd.held}, {where}"
        yield Doubt(taxon, column, "source", text)


# -- the table --------------------------------------------------------------------------------------


def _against_table(table: TraitTable, rows: Mapping[str, int]) -> Iterator[Doubt]:
    columns = table.taxa.columns
    if {"genus", "careGroup"} <= set(columns) and len(table.care):
        yield from _odd_care_groups(table, rows)
    if "tradeCode" in columns:
        yield from _shared_codes(table, rows)
    for trait in (trait for trait in table.traits if trait.kind == "ceiling"):
        yield from _tiny(table, trait, rows)


def _odd_care_groups(table: TraitTable, rows: Mapping[str, int]) -> Iterator[Doubt]:
    groups = [str(group) for group in table.taxa["careGroup"]]
    genera = table.genus
    members: dict[str, Counter[str]] = defaultdict(Counter)
    for genus, group in zip(genera, groups, strict=True):
        members[genus][group] += bool(group)
    for taxon, i in rows.items():
        others = members[genera[i]] - Counter([groups[i]])
        names = ", ".join(sorted(others))
        if not groups[i]:
            text = f"Care group of {taxon}: none, so it has no care sheet"
            text += f"; the other {genera[i]} have {names}" if names else ""
        elif others and not others[groups[i]]:
            text = f"Care group of {taxon}: {groups[i]}, which no other {genera[i]} has; they have {names}"
        else:
            continue
        yield Doubt(taxon, "careGroup", "table", text)


def _shared_codes(table: TraitTable, rows: Mapping[str, int]) -> Iterator[Doubt]:
    for taxon, i in rows.items():
        for code in sorted(trade_codes(str(table.taxa["tradeCode"].iloc[i]))):
            if others := [t for t in table.names.coded(code) if t != taxon]:
                text = f"Trade code of {taxon}: {code} is also that of {', '.join(others)}"
                yield Doubt(taxon, "tradeCode", "table", text)


def _tiny(table: TraitTable, trait: Trait, rows: Mapping[str, int]) -> Iterator[Doubt]:
    high = table.column(trait.id).high
    known = np.flatnonzero(~np.isnan(high))
    if len(known) <= CONGENERS:
        return
    least, next_least = np.sort(high[known])[:2]
    for taxon, i in rows.items():
        smallest = next_least if high[i] == least else least
        if high[i] < smallest / 2:
            size = f"{trait.number(high[i])}, less than half of all others, from {trait.number(smallest)}"
            text = f"{trait.name} of {taxon}: {size}; was it measured in another unit?"
            yield Doubt(taxon, trait.id, "table", text)
