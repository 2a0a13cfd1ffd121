"""Rows of the files <-> traits, cells and columns of care; all that can be wrong in a table, all at once.

Each row is held against the fields of its file, and the files against one another.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from typing import Any

from idkey.errors import one_of
from idkey.table.cells import effective
from idkey.table.claims import SOURCED, Source
from idkey.table.csvfile import Found, Row, Sheet, Wrong, read_sheet
from idkey.table.fields import FIELDS, HEADERS, KINDS, UNITS, number_in, parts_of
from idkey.table.layout import MOST_NAME, MOST_STATES, shipped_folder
from idkey.table.names import is_id
from idkey.table.schema import (
    EVERY_GROUP,
    YOUNG,
    CareColumn,
    Cell,
    NotKnown,
    OwnCell,
    Trait,
    number_text,
    parse_care,
    parse_cell,
)

_DEFAULT_SPREAD = "5%"
"""Measuring error of a trait with states, which has no use for one."""
_WHAT = {"taxa.csv": "taxon", "genera.csv": "row", "traits.csv": "trait", "care_columns.csv": "column"}
_WORDS = "write one wording for each of the {} states, joined by |"

Known = Mapping[str, Collection[str] | None]
"""The names that a field may point to, by ``Field.to``; None where their file could not be read."""
Sheets = Mapping[str, Sheet]
Place = tuple[tuple[str, str], str]
"""Whom a row is about, and a column."""


@dataclass(frozen=True, slots=True)
class Checked:
    """What the files of a table say: its traits, its cells by column, its genera, the columns of its care."""

    traits: tuple[Trait, ...]
    cells: dict[str, tuple[OwnCell, ...]]
    genera: dict[str, dict[str, Cell]]
    care_columns: tuple[CareColumn, ...]


def checked(sheet: Sheet, found: Found, known: Known | None = None) -> Iterator[tuple[Row, Wrong]]:
    """Yield the rows of a file, each held against its fields, with a function that notes what else is wrong.

    Where nothing is `known` of the names that a field points to, no cell is to blame.
    """
    seen: set[str] = set()
    for row in sheet.rows:
        if found.full:
            return
        wrong = found.at(row)
        for field in FIELDS[sheet.file].values():
            text = row[field.name]
            names = known.get(field.to) if known and field.to and text else None
            if names is not None and text not in names:
                wrong(field.name, found.one_of(text, names, field.right))
            elif field.name == "id" and not is_id(text):
                wrong(field.name, field.problem(text) or field.right)
            elif right := field.problem(text):
                wrong(field.name, right)
            if field.unique:
                if text in seen:
                    wrong(field.name, f"a {_WHAT[sheet.file]} of this {field.name} is there already")
                seen.add(text)
        yield row, wrong


# -- traits and care columns -----------------------------------------------------------------------------

_ATTRIBUTES = {"state_words": "words", "how_to_look": "how", "effort_s": "effort"}
"""What is called otherwise in a trait than in traits.csv."""


def _values(row: Row, file: str) -> dict[str, Any]:
    """Return the cells of a row as values: yes and no, numbers, states, texts."""
    values: dict[str, Any] = {column: row[column] for column in FIELDS[file]}
    for column, field in FIELDS[file].items():
        if field.type == "boolean":
            values[column] = row[column] == "yes"
        elif field.type == "number":
            values[column] = number_in(row[column], field.above, field.below)
        elif column in ("states", "state_words", "measured"):
            values[column] = parts_of(row[column])
    return values


def _text(value: Any) -> str:
    """Return a value as a cell."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return "|".join(map(_text, value))
    return number_text(value) if isinstance(value, (int, float)) else value or ""


def read_traits(sheet: Sheet, found: Found) -> Iterator[Trait]:
    """Yield the traits that can be made of the rows; what is wrong is added to `found`."""
    states = {row["id"]: parts_of(row["states"]) for row in sheet.rows}
    for row, wrong in checked(sheet, found):
        if row["id"].endswith(YOUNG):
            wrong("id", f"the ending {YOUNG} is kept for what a young fish shows; choose another id")
        if row["kind"] in KINDS and (trait := _trait(row, states, wrong)):
            yield trait


def _trait(row: Row, states: Mapping[str, tuple[str, ...]], wrong: Wrong) -> Trait | None:
    values = _values(row, "traits.csv")
    kind, numeric = row["kind"], row["kind"] in ("measure", "ceiling")
    good = _check_states(kind, values["states"], values["state_words"], wrong)
    if numeric and not row["unit"]:
        wrong("unit", f"a {kind} needs a unit: {', '.join(UNITS[1:])}")
    text = row["spread"] or ("" if numeric else _DEFAULT_SPREAD)
    values["spread"], values["spread_is_relative"] = _spread(text), text.endswith("%")
    if values["spread"] is None:
        wrong("spread", FIELDS["traits.csv"]["spread"].right)
    values["borders"] = _borders(row["borders"], values["states"], values["measured"], wrong)
    try:
        values["applies_when"] = _applies_when(row["applies_when"], {**states, row["id"]: ()})
    except ValueError as error:
        wrong("applies_when", str(error))
        good = False
    if not good or None in (values["error"], values["effort_s"], values["spread"]):
        return None
    if len(values["state_words"]) != len(values["states"]):
        values["state_words"] = values["states"]
    return Trait(**{_ATTRIBUTES.get(column, column): value for column, value in values.items()})


def _check_states(kind: str, states: tuple[str, ...], words: tuple[str, ...], wrong: Wrong) -> bool:
    """Whether cells can be read by these states; a wording that is missing does not stand in the way."""
    if kind not in ("nominal", "ordinal"):
        if states:
            wrong("states", f"a {kind} has no states; leave this blank")
        return True
    if len(states) > MOST_STATES or any(len(state) > MOST_NAME for state in states):
        wrong("states", f"write at most {MOST_STATES} states, each of at most {MOST_NAME} characters")
        return False
    if len(states) < 2 or len(set(states)) != len(states):
        wrong("states", "write at least two different states joined by |")
    if {"-", "?"} & {*states}:
        wrong("states", "- (does not apply) and ? (not known) are kept; give the state another name")
    if len(words) != len(states):
        wrong("state_words", _WORDS.format(len(states)))
    return True


def _spread(text: str) -> float | None:
    """Read a measuring error; per cent by moving the point, so that it is written back exactly."""
    value = number_in(text.removesuffix("%"), 0)
    if value is None or not text.endswith("%"):
        return value
    return float(Decimal(text.removesuffix("%")).scaleb(-2)) or None


def _borders(
    text: str, states: Sequence[str], measured: Sequence[str], wrong: Wrong
) -> tuple[float | None, ...]:
    """Read the borders between the states of a trait that is measured, ``0.5|1``."""
    cells = text.split("|") if text else []
    borders = tuple(number_in(cell) for cell in cells)
    if not (text or (states and measured)):
        return ()
    if not measured or len(borders) != len(states) - 1:
        wrong(
            "borders",
            "write one number less than there are states, of a trait that is measured, such as 0.5|1",
        )
    elif any(cell.strip() and border is None for cell, border in zip(cells, borders, strict=True)):
        wrong("borders", "write numbers joined by |, such as 0.5|1")
    elif len(measured) not in (1, len(borders)):
        wrong("measured", "write one measure, or one for each border, joined by |")
    return borders


def _applies_when(text: str, all_states: Mapping[str, tuple[str, ...]]) -> tuple[str, tuple[str, ...]] | None:
    """Read ``trait=state|state``. Raises ValueError that says what would be right."""
    if not text:
        return None
    trait, _, rest = (part.strip() for part in text.partition("="))
    states = all_states.get(trait, ())[:MOST_STATES]
    wanted = tuple(state.strip() for state in rest.split("|"))
    wrong = next((state for state in wanted if state not in states), None)
    if not states or not rest:
        raise ValueError("write trait=state|state with the id of another trait that has states")
    if wrong is not None:
        raise ValueError(one_of(wrong, states, f"a state of {trait}"))
    return trait, wanted


def trait_row(trait: Trait) -> dict[str, str]:
    """Return a trait as a row of traits.csv, by column."""
    row = {c: getattr(trait, _ATTRIBUTES.get(c, c)) for c in HEADERS["traits.csv"]}
    if trait.applies_when:
        row["applies_when"] = f"{trait.applies_when[0]}={'|'.join(trait.applies_when[1])}"
    if trait.spread_is_relative:
        text = f"{Decimal(repr(float(trait.spread))).scaleb(2).normalize():f}%"
        row["spread"] = "" if trait.has_states and text == _DEFAULT_SPREAD else text
    return {column: _text(value).strip() for column, value in row.items()}


_GOES_WITH = {
    "range": (("overlap", "span", "list"), ("", "within", "room")),
    "minimum": (("largest",), ("", "at_least")),
    "states": (("shared",), ("", "read")),
    "text": (("text",), ("", "read")),
}
"""How needs may be combined and by which rule a tank is held against them, by the kind of the column."""


def read_care_columns(sheet: Sheet, found: Found) -> Iterator[CareColumn]:
    """Yield the columns of care.csv that can be made of the rows; what is wrong is added to `found`."""
    for row, wrong in checked(sheet, found):
        values = _values(row, sheet.file)
        if (row["kind"] == "states") != bool(values["states"]):
            wrong("states", "a column of kind states has states, and no other has")
        elif len(values["state_words"]) != len(values["states"]):
            wrong("state_words", _WORDS.format(len(values["states"])))
        for name, allowed in zip(("combine", "tank_rule"), _GOES_WITH.get(row["kind"], ()), strict=False):
            if row[name] not in allowed:
                right = " or ".join(filter(None, allowed))
                wrong(name, f"of a column of kind {row['kind']} it is {right}")
        if row["kind"] == "minimum" and not row["unit"]:
            wrong("unit", "a minimum needs a unit")
        yield CareColumn(**values)


def care_column_row(column: CareColumn) -> dict[str, str]:
    """Return a column of care.csv as a row of care_columns.csv."""
    return {name: _text(getattr(column, name)) for name in HEADERS["care_columns.csv"]}


@cache
def shipped_care_sheet() -> Sheet:
    """Return care_columns.csv of the table that comes with the package."""
    name = "care_columns.csv"
    return read_sheet(name, (shipped_folder() / name).read_bytes(), Found(), HEADERS[name])


@cache
def shipped_care_columns() -> tuple[CareColumn, ...]:
    """Return the columns of care.csv in the table that comes with the package."""
    return tuple(read_care_columns(shipped_care_sheet(), Found()))


# -- the whole table -------------------------------------------------------------------------------------


def check_sheets(sheets: Sheets, sources: Mapping[str, Source] | None, found: Found) -> Checked:
    """Check the files of a table; what is wrong is added to `found`.

    Where sources.bib could not be read, `sources` is None and no name of a source is to blame.
    """
    taxa, genera, care = (sheets[f"{name}.csv"] for name in ("taxa", "genera", "care"))
    traits = tuple(read_traits(sheets["traits.csv"], found))
    care_columns = tuple(read_care_columns(sheets["care_columns.csv"], found))
    known: dict[str, set[str] | None] = {
        "taxa.id": taxa.names("id"),
        "genera.genus": genera.names("genus"),
        "care.care_group": care.names("care_group"),
        "sources": None if sources is None else set(sources),
    }
    groups = care.names("care_group", without="taxon")
    of_a_kind = known | {"care.care_group": None if groups is None else groups - {EVERY_GROUP}}
    _columns_agree(sheets, found)
    by_column = {t.id: t for t in traits} | {t.id + YOUNG: t for t in traits}
    rows = _read_cells(taxa, by_column, parse_cell, found, of_a_kind)
    cells = {column: tuple(row[column] for row in rows) for column in taxa.header if column in by_column}
    for sheet in (sheets["traits.csv"], taxa):
        if sheet.readable and not sheet.rows:
            found.add(sheet.file, "2", "id", "", f"no {_WHAT[sheet.file]}; a table needs at least one")
    said = {
        row["genus"]: {column: cell for column, cell in of_genus.items() if cell is not None}
        for row, of_genus in zip(genera.rows, _read_cells(genera, by_column, parse_cell, found), strict=False)
    }
    numbers = {column.id: column for column in care_columns if column.kind != "text"}
    _read_cells(care, numbers, parse_care, found, known)
    whole = Checked(traits, cells, said, care_columns)
    _evidence(sheets, whole, known, found)
    return whole


def _trait_columns(sheets: Sheets, file: str = "taxa.csv") -> list[str]:
    """Columns that belong to a trait of traits.csv, also where that trait is wrong in itself."""
    ids = sheets["traits.csv"].names("id") or set()
    return [c for c in sheets[file].header if c in ids or c.removesuffix(YOUNG) in ids]


def _columns_agree(sheets: Sheets, found: Found) -> None:
    """Check that taxa.csv has a column for each trait, and no other; genera.csv for traits only."""
    taxa, ids = sheets["taxa.csv"], sheets["traits.csv"].names("id")
    if not taxa.readable or ids is None:
        return
    for file in ("taxa.csv", "genera.csv"):
        known = _trait_columns(sheets, file)
        # A table without genera has no such file to blame.
        for column in sheets[file].header if file == taxa.file or sheets[file].rows else ():
            if column in HEADERS[file] and column in ids:
                found.add(file, "1", column, column, "a trait has the name of this column; rename the trait")
            elif column not in HEADERS[file] and column not in known:
                right = found.one_of(column, ids, "a trait of traits.csv (or that with _young)")
                found.add(file, "1", column, column, right)
    for trait_id in sorted(ids.difference(taxa.header)):
        right = "the trait stands in traits.csv but has no column here"
        found.add(taxa.file, "1", trait_id, trait_id, right)


def _read_cells(
    sheet: Sheet,
    columns: Mapping[str, Any],
    parse: Callable[[Any, str], Any],
    found: Found,
    known: Known | None = None,
) -> list[dict[str, Any]]:
    """Read the cells of each row, by column: those of traits or of needs."""
    read: list[dict[str, Any]] = []
    seen: set[tuple[str, str]] = set()
    here = [column for column in sheet.header if column in columns]
    for row, wrong in checked(sheet, found, known):
        if sheet.file == "care.csv":
            if row.about in seen:
                wrong("care_group", "this group or taxon has a row already")
            seen.add(row.about)
        cells = dict.fromkeys(here)
        for column in here:
            try:
                cells[column] = parse(columns[column], row[column]) if row[column] else None
            except ValueError as error:
                wrong(column, str(error))
            if sheet.file == "genera.csv" and isinstance(cells[column], NotKnown):
                wrong(column, "leave it blank where nothing holds for the whole genus")
                cells[column] = None
        read.append(cells)
    return read


def _evidence(sheets: Sheets, table: Checked, known: Known, found: Found) -> None:
    """Check each claim, and that every filled cell has one."""
    complete = all(sheet.readable for sheet in sheets.values())
    care = sheets["care.csv"].header[len(HEADERS["care.csv"]) :]
    attributes = {*_trait_columns(sheets), *care, "tradeCode"}
    for row, wrong in checked(sheets["evidence.csv"], found, known):
        if sum(bool(row[column]) for column in ("taxon", "genus", "care_group")) != 1:
            wrong("taxon", "fill one of taxon, genus and care_group, and no other")
        if complete and row["attribute"] and row["attribute"] not in attributes:
            wrong("attribute", found.one_of(row["attribute"], attributes, "a trait column or a care column"))
        if not row["source"] and row["class"] in SOURCED:
            wrong("source", f"class {row['class']} needs a key of sources.bib")
    if complete and not found.full:
        _every_cell_is_backed(sheets, care, table, found)


def _every_cell_is_backed(sheets: Sheets, care: Sequence[str], table: Checked, found: Found) -> None:
    evidence = sheets["evidence.csv"]
    claimed = [(row, (row.about, row["attribute"])) for row in evidence.rows]
    backed = {place for _, place in claimed}
    filled: set[Place] = set()
    known: set[tuple[str, str]] = set()
    columns: set[str] = set()
    for file in ("taxa.csv", "genera.csv", "care.csv"):
        names = care if file == "care.csv" else _trait_columns(sheets, file)
        columns.update(names)
        for row in sheets[file].rows:
            if found.full:
                return
            about = row.about
            known.add(about)
            said = [column for column in names if row[column] not in ("", "?")]
            filled.update((about, column) for column in said)
            for column in said:
                if (about, column) not in backed:
                    right = "no row of evidence.csv stands behind this cell; add one or blank the cell"
                    found.at(row)(column, right)
    odd = [(row, place) for row, place in claimed if place not in filled]
    taken = taken_over(sheets, table) if odd else set()
    for row, place in odd:
        if place[0] in known and place[1] in columns and place not in taken:
            right = "evidence for a blank cell; fill the cell or delete this row"
            found.add(row.file, row.place, row["attribute"], row["value"], right)


def taken_over(sheets: Sheets, table: Checked) -> set[Place]:
    """Return the cells of kinds that are blank in taxa.csv and still say something."""
    rows = sheets["taxa.csv"].rows
    genus = [row["genus"] for row in rows]
    _, basis = effective(table.traits, table.cells, table.genera, genus)
    return {
        (rows[i].about, column) for column, rests in basis.items() for i, rest in enumerate(rests) if rest
    }
