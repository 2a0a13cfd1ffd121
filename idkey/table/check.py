"""Is a table whole? Kinds, cells, care and evidence are checked against one another; all problems at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from idkey.table.care import EVERY_GROUP, CareColumn, parse_care
from idkey.table.claims import SOURCED, Source
from idkey.table.csvfile import Found, Sheet
from idkey.table.fields import META
from idkey.table.rows import Known, checked, read_care_columns, read_traits
from idkey.table.schema import YOUNG, Cell, Trait, parse_cell

__all__ = ["Checked", "check_sheets"]

Sheets = Mapping[str, Sheet]
Cells = dict[str, tuple[Cell, ...]]


@dataclass(frozen=True, slots=True)
class Checked:
    """What the files of a table say: its traits, its cells by column, and the columns of its care."""

    traits: tuple[Trait, ...]
    cells: Cells
    care_columns: tuple[CareColumn, ...]


def check_sheets(sheets: Sheets, sources: Mapping[str, Source] | None, found: Found) -> Checked:
    """Check the files of a table.

    Parameters
    ----------
    sheets : mapping of str to Sheet
        By file name.
    sources : mapping of str to Source, or None
        None where sources.bib could not be read: then no name of a source is to blame.
    found : Found
        What is wrong is added to it.
    """
    traits = tuple(read_traits(sheets["traits.csv"], found))
    _not_empty(sheets["traits.csv"], "trait", found)
    care_columns = tuple(read_care_columns(sheets["care_columns.csv"], found))
    known: dict[str, set[str] | None] = {
        "taxa.id": sheets["taxa.csv"].names("id"),
        "care.care_group": sheets["care.csv"].names("care_group"),
        "sources": None if sources is None else set(sources),
    }
    groups = sheets["care.csv"].names("care_group", without="taxon")
    of_a_kind = known | {"care.care_group": None if groups is None else groups - {EVERY_GROUP}}
    cells = _taxa(sheets, traits, of_a_kind, found)
    _care(sheets["care.csv"], care_columns, known, found)
    _evidence(sheets, known, found)
    return Checked(traits, cells, care_columns)


def _not_empty(sheet: Sheet, what: str, found: Found) -> None:
    if sheet.readable and not sheet.rows:
        found.add(sheet.file, "2", "id", "", f"no {what}; a table needs at least one")


def _trait_columns(sheets: Sheets) -> list[str]:
    """Columns of taxa.csv that belong to a trait of traits.csv, also where that trait is wrong in itself."""
    ids = sheets["traits.csv"].names("id") or set()
    return [c for c in sheets["taxa.csv"].header if c in ids or c.removesuffix(YOUNG) in ids]


def _columns_agree(sheets: Sheets, found: Found) -> None:
    """Check that taxa.csv has a column for each trait, and no other."""
    taxa, ids = sheets["taxa.csv"], sheets["traits.csv"].names("id")
    if not taxa.readable or ids is None:
        return
    known = set(_trait_columns(sheets))
    for column in taxa.header:
        if column in META and column in ids:
            found.add(taxa.file, "1", column, column, "a trait has the name of this column; rename the trait")
        elif column not in META and column not in known:
            right = found.one_of(column, ids, "a trait of traits.csv (or that with _young)")
            found.add(taxa.file, "1", column, column, right)
    for trait_id in sorted(ids - known):
        right = "the trait stands in traits.csv but has no column here"
        found.add(taxa.file, "1", trait_id, trait_id, right)


def _taxa(sheets: Sheets, traits: tuple[Trait, ...], known: Known, found: Found) -> Cells:
    _columns_agree(sheets, found)
    table = sheets["taxa.csv"]
    by_column = {t.id: t for t in traits} | {t.id + YOUNG: t for t in traits}
    cells: dict[str, list[Cell]] = {c: [] for c in table.header if c in by_column}
    for row, wrong in checked(table, found, "taxon", known):
        for column, column_cells in cells.items():
            text = row[column]
            try:
                column_cells.append(parse_cell(by_column[column], text) if text else None)
            except ValueError as error:
                column_cells.append(None)
                wrong(column, str(error))
    _not_empty(table, "taxon", found)
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


def _evidence(sheets: Sheets, known: Known, found: Found) -> None:
    """Check each claim, and that every filled cell of taxa.csv and care.csv has one."""
    complete = all(sheet.readable for sheet in sheets.values())
    columns = {
        "taxa.csv": _trait_columns(sheets),
        "care.csv": [c for c in sheets["care.csv"].header if c not in ("care_group", "taxon")],
    }
    attributes = {c for names in columns.values() for c in names}
    for row, wrong in checked(sheets["evidence.csv"], found, known=known):
        if bool(row["taxon"]) == bool(row["care_group"]):
            wrong("taxon", "fill either taxon or care_group, not both")
        if complete and row["attribute"] and row["attribute"] not in attributes:
            right = found.one_of(row["attribute"], attributes, "a trait column or a care column")
            wrong("attribute", right)
        if not row["source"] and row["class"] in SOURCED:
            wrong("source", f"class {row['class']} needs a key of sources.bib")
    if complete:
        _every_cell_is_backed(sheets, columns, found)


def _every_cell_is_backed(sheets: Sheets, columns: Mapping[str, list[str]], found: Found) -> None:
    evidence = sheets["evidence.csv"]
    backed = {(row.who, row["attribute"]) for row in evidence.rows}
    filled: set[tuple[str, str]] = set()
    known: set[str] = set()
    for file, names in columns.items():
        for row in sheets[file].rows:
            if found.full:
                return
            who = row.who
            known.add(who)
            for column in names:
                if not row.values[column]:
                    continue
                filled.add((who, column))
                if (who, column) not in backed:
                    right = "no row of evidence.csv stands behind this cell; add one or blank the cell"
                    found.at(row)(column, right)
    every_column = {c for names in columns.values() for c in names}
    for row in evidence.rows:
        who, attribute = row.who, row["attribute"]
        if who in known and attribute in every_column and (who, attribute) not in filled:
            right = "evidence for a blank cell; fill the cell or delete this row"
            found.add(row.file, row.place, attribute, row["value"], right)
