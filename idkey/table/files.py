"""The files of a folder <-> TraitTable. A table loads whole or not at all, with every problem named."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from idkey.errors import IdkeyError, Problem, TableError
from idkey.table import layout
from idkey.table.claims import NOT_FOLLOWED, SOURCES, Source, bibtex, read_sources
from idkey.table.csvfile import Found, Sheet, read_sheet, write_sheet
from idkey.table.disagreements import disagreements
from idkey.table.fields import FIELDS, HEADERS, META
from idkey.table.layout import shipped_folder
from idkey.table.package import PACKAGE, describe, read_about
from idkey.table.rows import care_column_row, check_sheets, shipped_care_sheet, trait_row
from idkey.table.schema import cell_text
from idkey.table.table import TraitTable

__all__ = ["Files", "Parts", "disagreeing", "files_of", "parts_from", "shipped_folder", "table_from"]

Files = Mapping[str, bytes]
"""The files of one folder: content by name."""

_CARE_COLUMNS = "care_columns.csv"
_GENERA = "genera.csv"


@dataclass(frozen=True)
class Parts:
    """The files of a table, read but not yet checked; `sources` is None where they could not be read."""

    sheets: Mapping[str, Sheet]
    sources: dict[str, Source] | None
    about: Mapping[str, Any]


def parts_from(files: Files, found: Found, *, partial: bool = False) -> Parts:
    """Read the files of a folder, content by name; what is wrong is added to `found`.

    What an older table does not have is taken from the shipped one. With `partial` a missing file is an empty
    one and a missing column a blank one, as in a folder of additions that an older version began.
    """
    sheets = {_CARE_COLUMNS: shipped_care_sheet()}
    if _CARE_COLUMNS in files:
        data, columns = files[_CARE_COLUMNS], HEADERS[_CARE_COLUMNS]
        sheets[_CARE_COLUMNS] = read_sheet(_CARE_COLUMNS, data, found, columns)
    care = [row["id"] for row in sheets[_CARE_COLUMNS].rows]
    for name in (*layout.TABLES, _GENERA):
        columns = (*HEADERS[name], *care) if name == "care.csv" else HEADERS[name]
        if name not in files and (partial or name == _GENERA):
            sheets[name] = Sheet(name, columns, ())
            continue
        more = name in ("taxa.csv", _GENERA)
        later = columns[1:] if partial else [c for c, field in FIELDS[name].items() if field.later]
        sheets[name] = read_sheet(name, files.get(name), found, columns, later, more=more)
    sources = {} if partial and SOURCES not in files else read_sources(files.get(SOURCES), found)
    return Parts(sheets, sources, read_about(files.get(PACKAGE), found))


def table_from(parts: Parts, name: str, found: Found) -> TraitTable:
    """Check the parts of a table and put them together. Raises TableError with all that `found` holds."""
    checked = check_sheets(parts.sheets, parts.sources, found)
    if found or parts.sources is None:
        raise TableError(found)
    return TraitTable(
        traits=checked.traits,
        taxa=parts.sheets["taxa.csv"].frame(META).set_index("id"),
        own_cells=checked.cells,
        genera=checked.genera,
        care=parts.sheets["care.csv"].frame(),
        care_columns=checked.care_columns,
        evidence=parts.sheets["evidence.csv"].frame(HEADERS["evidence.csv"]),
        sources=parts.sources,
        name=name,
        about=parts.about,
    )


def disagreeing(parts: Parts, table: TraitTable) -> Iterator[Problem]:
    """Yield where the cells of a table say something else than their claims, with the places in its files."""
    rows = {
        (file, row.about): row
        for file in ("taxa.csv", _GENERA, "care.csv")
        for row in parts.sheets[file].rows
    }
    for odd in disagreements(table):
        file = {"taxon": "taxa.csv", "genus": _GENERA}.get(odd.about[0], "care.csv")
        file = file if odd.column in table.cells else "care.csv"
        if odd.at is None:
            right = f"its claims have only {odd.claimed}; mend the cell, or add the claim to evidence.csv"
            yield Problem(file, rows[file, odd.about].place, odd.column, odd.held, right)
        else:
            row = parts.sheets["evidence.csv"].rows[odd.at]
            right = f"{file} has {odd.held}; mend one of the two, or begin the note with '{NOT_FOLLOWED}'"
            yield Problem(row.file, row.place, odd.column, odd.claimed, right)


# -- writing ---------------------------------------------------------------------------------------------


def files_of(table: TraitTable) -> dict[str, bytes]:
    """Return the files of a folder that holds this table: content by file name.

    What is said of kinds that are not in the table, as in a table of some of the kinds, is left out.
    datapackage.json is among them where something is stated of the whole.

    Raises
    ------
    IdkeyError
        Where the folder could not be loaded again; a TableError lists every reason.
    """
    _has_the_columns(table)
    traits = {column: table.trait_of(column) for column in table.cells}
    care_columns = {column.id: column for column in table.care_columns}
    care = [column for column in table.care.columns if column in care_columns]
    try:
        files = {
            "taxa.csv": write_sheet([*META, *table.own_cells], _taxa(table)),
            "traits.csv": _records("traits.csv", map(trait_row, table.traits)),
            "care.csv": _frame(table, table.care, (*HEADERS["care.csv"], *care)),
            _CARE_COLUMNS: _records(_CARE_COLUMNS, map(care_column_row, table.care_columns)),
            "evidence.csv": _frame(table, table.evidence, HEADERS["evidence.csv"]),
            SOURCES: bibtex(table.sources.values()).encode(),
        }
        columns = [c for c in traits if any(c in said for said in table.genera.values())]
        if columns:
            files[_GENERA] = write_sheet([*HEADERS[_GENERA], *columns], _genera(table, columns))
        if table.about:
            described = [care_columns[column] for column in care]
            files[PACKAGE] = describe(table.about, traits, described, columns)
    except (TypeError, ValueError) as error:
        msg = f"{table.name}: the table holds what cannot be written as text ({error})"
        raise IdkeyError(msg) from None
    _can_be_loaded(files, table)
    return files


def _has_the_columns(table: TraitTable) -> None:
    care = tuple(column.id for column in table.care_columns)
    wanted = {
        "taxa": META[1:],
        "care": (*HEADERS["care.csv"], *care),
        "evidence": HEADERS["evidence.csv"],
    }
    for name, columns in wanted.items():
        missing = [c for c in columns if c not in getattr(table, name).columns]
        if missing:
            msg = (
                f"{table.name}: {name}: column {missing[0]} is missing; "
                "only a table of the shape of the shipped one can be written as a folder"
            )
            raise IdkeyError(msg)


def _can_be_loaded(files: Mapping[str, bytes], table: TraitTable) -> None:
    """Read the files back: what cannot be loaded is not to be written."""
    found = Found(table.name)
    parts = parts_from(files, found)
    check_sheets(parts.sheets, parts.sources, found)
    lost = sorted(set(table.sources).difference(parts.sources or ()))
    if lost and not found:
        found.add(SOURCES, "", "", lost[0], "no entry of this key was written; write its BibTeX entry anew")
    if found:
        raise TableError(found, "written")


def _taxa(table: TraitTable) -> Iterable[Sequence[str]]:
    frame = table.to_frame(own=True)
    return zip(table.ids, *(_texts(frame[column]) for column in (*META[1:], *table.own_cells)), strict=True)


def _genera(table: TraitTable, columns: Sequence[str]) -> Iterator[Sequence[str]]:
    for genus, cells in table.genera.items():
        yield [genus, *(cell_text(table.trait_of(column), cells.get(column)) for column in columns)]


def _records(file: str, rows: Iterable[Mapping[str, str]]) -> bytes:
    return write_sheet(HEADERS[file], ([row[column] for column in HEADERS[file]] for row in rows))


def _frame(table: TraitTable, frame: pd.DataFrame, header: Sequence[str]) -> bytes:
    """Write the rows that are about a kind of this table, or about a care group."""
    kept = frame[frame["taxon"].isin(["", *table.ids])]
    return write_sheet(header, zip(*(_texts(kept[column]) for column in header), strict=True))


def _texts(column: pd.Series) -> list[str]:
    return ["" if missing else str(value) for value, missing in zip(column, column.isna(), strict=True)]
