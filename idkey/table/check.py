"""Is a table whole? Kinds, cells, care and evidence are checked against one another; all problems at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from idkey.table.cells import effective
from idkey.table.claims import SOURCED, Source
from idkey.table.csvfile import Found, Sheet
from idkey.table.fields import HEADERS
from idkey.table.rows import Known, checked, read_care_columns, read_traits
from idkey.table.schema import (
    EVERY_GROUP,
    YOUNG,
    CareColumn,
    Cell,
    NotKnown,
    OwnCell,
    Trait,
    parse_care,
    parse_cell,
)

__all__ = ["Checked", "check_sheets", "taken_over"]

Sheets = Mapping[str, Sheet]
Cells = dict[str, tuple[OwnCell, ...]]


@dataclass(frozen=True, slots=True)
class Checked:
    """What the files of a table say: its traits, its cells by column, its genera, the columns of its care."""

    traits: tuple[Trait, ...]
    cells: Cells
    genera: dict[str, dict[str, Cell]]
    care_columns: tuple[CareColumn, ...]


def check_sheets(sheets: Sheets, sources: Mapping[str, Source] | None, found: Found) -> Checked:
    """Check the files of a table; what is wrong is added to `found`.

    Where sources.bib could not be read, `sources` is None and no name of a source is to blame.
    """
    traits = tuple(read_traits(sheets["traits.csv"], found))
    _not_empty(sheets["traits.csv"], "trait", found)
    care_columns = tuple(read_care_columns(sheets["care_columns.csv"], found))
    known: dict[str, set[str] | None] = {
        "taxa.id": sheets["taxa.csv"].names("id"),
        "genera.genus": sheets["genera.csv"].names("genus"),
        "care.care_group": sheets["care.csv"].names("care_group"),
        "sources": None if sources is None else set(sources),
    }
    groups = sheets["care.csv"].names("care_group", without="taxon")
    of_a_kind = known | {"care.care_group": None if groups is None else groups - {EVERY_GROUP}}
    _columns_agree(sheets, found)
    by_column = {t.id: t for t in traits} | {t.id + YOUNG: t for t in traits}
    cells = _cells(sheets["taxa.csv"], by_column, found, of_a_kind)
    _not_empty(sheets["taxa.csv"], "taxon", found)
    of_genera = _cells(sheets["genera.csv"], by_column, found)
    genera: dict[str, dict[str, Cell]] = {
        row["genus"]: {c: cells[i] for c, cells in of_genera.items() if cells[i : i + 1] not in ((), (None,))}
        for i, row in enumerate(sheets["genera.csv"].rows)
    }
    _care(sheets["care.csv"], care_columns, known, found)
    whole = Checked(traits, cells, genera, care_columns)
    _evidence(sheets, whole, known, found)
    return whole


def _not_empty(sheet: Sheet, what: str, found: Found) -> None:
    if sheet.readable and not sheet.rows:
        found.add(sheet.file, "2", "id", "", f"no {what}; a table needs at least one")


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
                right = "a trait has the name of this column; rename the trait"
                found.add(file, "1", column, column, right)
            elif column not in HEADERS[file] and column not in known:
                right = found.one_of(column, ids, "a trait of traits.csv (or that with _young)")
                found.add(file, "1", column, column, right)
    for trait_id in sorted(ids.difference(taxa.header)):
        right = "the trait stands in traits.csv but has no column here"
        found.add(taxa.file, "1", trait_id, trait_id, right)


def _cells(sheet: Sheet, by_column: Mapping[str, Trait], found: Found, known: Known | None = None) -> Cells:
    """Read the cells of traits, of kinds or of genera."""
    of_genera = sheet.file == "genera.csv"
    cells: dict[str, list[OwnCell]] = {c: [] for c in sheet.header if c in by_column}
    for row, wrong in checked(sheet, found, "row" if of_genera else "taxon", known):
        for column, column_cells in cells.items():
            cell = None
            try:
                cell = parse_cell(by_column[column], row[column]) if row[column] else None
            except ValueError as error:
                wrong(column, str(error))
            if of_genera and isinstance(cell, NotKnown):
                wrong(column, "leave it blank where nothing holds for the whole genus")
                cell = None
            column_cells.append(cell)
    return {column: tuple(column_cells) for column, column_cells in cells.items()}


def _care(sheet: Sheet, columns: tuple[CareColumn, ...], known: Known, found: Found) -> None:
    seen: set[tuple[str, str]] = set()
    for row, wrong in checked(sheet, found, known=known):
        about = ("taxon", row["taxon"]) if row["taxon"] else ("group", row["care_group"])
        if about in seen:
            wrong("care_group", "this group or taxon has a row already")
        seen.add(about)
        for column in columns:
            text = row.values.get(column.id, "")
            if not text or column.kind == "text":
                continue
            try:
                parse_care(column, text)
            except ValueError as error:
                wrong(column.id, str(error))


def _evidence(sheets: Sheets, table: Checked, known: Known, found: Found) -> None:
    """Check each claim, and that every filled cell has one."""
    complete = all(sheet.readable for sheet in sheets.values())
    care = sheets["care.csv"].header[len(HEADERS["care.csv"]) :]
    attributes = {*_trait_columns(sheets), *care}
    for row, wrong in checked(sheets["evidence.csv"], found, known=known):
        if sum(bool(row[column]) for column in ("taxon", "genus", "care_group")) != 1:
            wrong("taxon", "fill one of taxon, genus and care_group, and no other")
        if complete and row["attribute"] and row["attribute"] not in attributes:
            right = found.one_of(row["attribute"], attributes, "a trait column or a care column")
            wrong("attribute", right)
        if not row["source"] and row["class"] in SOURCED:
            wrong("source", f"class {row['class']} needs a key of sources.bib")
    if complete and not found.full:
        _every_cell_is_backed(sheets, care, table, found)


def _every_cell_is_backed(sheets: Sheets, care: Sequence[str], table: Checked, found: Found) -> None:
    evidence = sheets["evidence.csv"]
    backed = {(row.about, row["attribute"]) for row in evidence.rows}
    filled: set[tuple[tuple[str, str], str]] = set()
    known: set[tuple[str, str]] = set()
    columns: set[str] = set()
    unknown = {
        (row.about, column)
        for column, cells in table.cells.items()
        for row, cell in zip(sheets["taxa.csv"].rows, cells, strict=False)
        if isinstance(cell, NotKnown)
    }
    for file in ("taxa.csv", "genera.csv", "care.csv"):
        names = care if file == "care.csv" else _trait_columns(sheets, file)
        columns.update(names)
        for row in sheets[file].rows:
            if found.full:
                return
            known.add(row.about)
            for column in names:
                place = row.about, column
                if not row[column] or place in unknown:
                    continue
                filled.add(place)
                if place not in backed:
                    right = "no row of evidence.csv stands behind this cell; add one or blank the cell"
                    found.at(row)(column, right)
    odd = [row for row in evidence.rows if (row.about, row["attribute"]) not in filled]
    taken = taken_over(sheets, table) if odd else set()
    for row in odd:
        if row.about in known and row["attribute"] in columns and (row.about, row["attribute"]) not in taken:
            right = "evidence for a blank cell; fill the cell or delete this row"
            found.add(row.file, row.place, row["attribute"], row["value"], right)


def taken_over(sheets: Sheets, table: Checked) -> set[tuple[tuple[str, str], str]]:
    """Return the cells of kinds that are blank in taxa.csv and still say something."""
    rows = sheets["taxa.csv"].rows
    genus = [row["genus"] for row in rows]
    _, basis = effective(table.traits, table.cells, table.genera, genus)
    return {
        (rows[i].about, column) for column, rests in basis.items() for i, rest in enumerate(rests) if rest
    }
