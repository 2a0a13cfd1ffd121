"""Is a table whole? Kinds, cells, care and evidence are checked against one another; all problems at once."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from idkey.errors import one_of
from idkey.table.care import CARE_ATTRIBUTES, EVERY_GROUP, parse_care
from idkey.table.claims import Source
from idkey.table.csvfile import Found, Row, Sheet, Wrong
from idkey.table.ids import is_id
from idkey.table.layout import CLASSES, META, SCOPES
from idkey.table.schema import YOUNG, Cell, Trait, parse_cell
from idkey.table.table import COMMONNESS
from idkey.table.trait_rows import read_traits

__all__ = ["check_sheets"]

_CARE = tuple(a.id for a in CARE_ATTRIBUTES)

Sheets = Mapping[str, Sheet]
Cells = dict[str, tuple[Cell, ...]]


def check_sheets(
    sheets: Sheets, sources: Mapping[str, Source] | None, found: Found
) -> tuple[tuple[Trait, ...], Cells]:
    """Check the four files of a table.

    Parameters
    ----------
    sheets : mapping of str to Sheet
        By file name.
    sources : mapping of str to Source, or None
        None where sources.bib could not be read: then no name of a source is to blame.
    found : Found
        What is wrong is added to it.

    Returns
    -------
    tuple of (traits, cells)
        The cells by column, in the order of the rows of taxa.csv.
    """
    traits = tuple(read_traits(sheets["traits.csv"], found))
    if sheets["traits.csv"].readable and not sheets["traits.csv"].rows:
        found.add("traits.csv", "2", "id", "", "no trait; a table needs at least one")
    cells = _taxa(sheets, traits, sources, found)
    _care(sheets, found)
    _evidence(sheets, sources, found)
    return traits, cells


def _must_know(
    row: Row, column: str, known: Collection[str] | None, what: str, found: Found, wrong: Wrong
) -> None:
    """Check that the name in a cell stands in the file that lists such names.

    `known` is None where that file could not be read: then no cell is to blame.
    """
    if row[column] and known is not None and row[column] not in known:
        wrong(column, found.one_of(row[column], known, what))


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


def _taxa(
    sheets: Sheets, traits: tuple[Trait, ...], sources: Mapping[str, Source] | None, found: Found
) -> Cells:
    _columns_agree(sheets, found)
    table = sheets["taxa.csv"]
    by_column = {t.id: t for t in traits} | {t.id + YOUNG: t for t in traits}
    groups = sheets["care.csv"].names("care_group", without="taxon")
    if groups is not None:
        groups -= {EVERY_GROUP}
    ids: set[str] = set()
    cells: dict[str, list[Cell]] = {c: [] for c in table.header if c in by_column}
    for row in table.rows:
        if found.full:
            break
        wrong = found.at(row)
        _check_names(row, ids, wrong)
        ids.add(row["id"])
        _must_know(row, "careGroup", groups, "a care group of care.csv", found, wrong)
        _must_know(row, "nameAccordingTo", sources, "a key of sources.bib", found, wrong)
        for column, column_cells in cells.items():
            text = row[column]
            try:
                column_cells.append(parse_cell(by_column[column], text) if text else None)
            except ValueError as error:
                column_cells.append(None)
                wrong(column, str(error))
    if table.readable and not table.rows:
        found.add(table.file, "2", "id", "", "no taxon; a table needs at least one")
    return {column: tuple(column_cells) for column, column_cells in cells.items()}


def _check_names(row: Row, ids: set[str], wrong: Wrong) -> None:
    if not is_id(row["id"]):
        wrong("id", "an id is lower-case letters, digits and _, starting with a letter")
    if row["id"] in ids:
        wrong("id", "a taxon of this id is there already")
    for column in ("scientificName", "genus"):
        if not row[column]:
            wrong(column, "fill this cell")
    if row["commonness"] and row["commonness"] not in COMMONNESS:
        wrong("commonness", one_of(row["commonness"], COMMONNESS))


def _care(sheets: Sheets, found: Found) -> None:
    table, ids = sheets["care.csv"], sheets["taxa.csv"].names("id")
    seen: set[tuple[str, str]] = set()
    for row in table.rows:
        if found.full:
            break
        about = ("taxon", row["taxon"]) if row["taxon"] else ("group", row["care_group"])
        wrong = found.at(row)
        _must_know(row, "taxon", ids, "a taxon of taxa.csv, or blank", found, wrong)
        if not row["care_group"]:
            wrong("care_group", "name the care group")
        if about in seen:
            wrong("care_group", "this group or taxon has a row already")
        seen.add(about)
        for attribute in CARE_ATTRIBUTES:
            text = row[attribute.id]
            if not text or attribute.kind == "text":
                continue
            try:
                parse_care(attribute, text)
            except ValueError as error:
                wrong(attribute.id, str(error))


def _evidence(sheets: Sheets, sources: Mapping[str, Source] | None, found: Found) -> None:
    """Check each claim, and that every filled cell of taxa.csv and care.csv has one."""
    table = sheets["evidence.csv"]
    ids, groups = sheets["taxa.csv"].names("id"), sheets["care.csv"].names("care_group")
    complete = all(sheet.readable for sheet in sheets.values())
    attributes = {*_trait_columns(sheets), *_CARE} if complete else None
    for row in table.rows:
        if found.full:
            return
        wrong = found.at(row)
        if bool(row["taxon"]) == bool(row["care_group"]):
            wrong("taxon", "fill either taxon or care_group, not both")
        else:
            _must_know(row, "taxon", ids, "a taxon of taxa.csv", found, wrong)
            _must_know(row, "care_group", groups, "a care group of care.csv", found, wrong)
        _must_know(row, "attribute", attributes, "a trait column or a care column", found, wrong)
        if not row["attribute"]:
            wrong("attribute", "name the trait column or the care column")
        if row["class"] not in CLASSES:
            wrong("class", one_of(row["class"], CLASSES, "an evidence class"))
        if row["scope"] not in SCOPES:
            wrong("scope", one_of(row["scope"], SCOPES, "a scope"))
        _must_know(row, "source", sources, "a key of sources.bib", found, wrong)
        if not row["source"] and row["class"] in ("read", "secondary"):
            wrong("source", f"class {row['class']} needs a key of sources.bib")
    if complete:
        _every_cell_is_backed(sheets, found)


def _every_cell_is_backed(sheets: Sheets, found: Found) -> None:
    evidence = sheets["evidence.csv"]
    backed = {(row.who, row["attribute"]) for row in evidence.rows}
    columns = {"taxa.csv": _trait_columns(sheets), "care.csv": list(_CARE)}
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
