"""The files of a folder <-> TraitTable. A table loads whole or not at all, with every problem named.

Cells are held against the claims behind them by one rule, for loading and for a review. A claim that reads as
a cell must lie within the cell that it stands behind: no state that the cell lacks, no number outside its
range, no length beyond the largest. And together the claims must say all that the cell says. Left alone are
claims in free words, those whose note begins with "Not followed", and those about the genus that stand behind
the cell of a kind, which may depart from it. A cell of care.csv may say less than its claims, as where a
sheet keeps to the safe part of a range, and never more.
"""

from __future__ import annotations

import io
import zipfile
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from idkey.errors import IdkeyError, Problem, TableError
from idkey.table import layout
from idkey.table.cells import records
from idkey.table.claims import (
    NOT_FOLLOWED,
    SOURCES,
    Source,
    bibtex,
    claimed_cell,
    is_covered,
    is_within,
    parse_sources,
)
from idkey.table.csvfile import Found, Sheet, read_sheet, write_sheet
from idkey.table.fields import FIELDS, HEADERS, META
from idkey.table.package import PACKAGE, describe, read_about
from idkey.table.rows import care_column_row, check_sheets, shipped_care_sheet, trait_row
from idkey.table.schema import Cell, cell_text, parse_care
from idkey.table.table import TraitTable

_CARE_COLUMNS = "care_columns.csv"
_GENERA = "genera.csv"
_ABOUT = ("taxon", "genus", "care_group")
_Behind = Mapping[tuple[tuple[str, str], str], Sequence[dict[str, Any]]]
"""The claims that count, by whom they are about and the column."""


@dataclass(frozen=True)
class Parts:
    """The files of a table, read but not yet checked; `sources` is None where they could not be read.

    `comments` are what sources.bib says where it has no source.
    """

    sheets: Mapping[str, Sheet]
    sources: dict[str, Source] | None
    about: Mapping[str, Any]
    comments: str = ""


def parts_from(files: Mapping[str, bytes], found: Found, *, partial: bool = False) -> Parts:
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
    sources = {} if partial and SOURCES not in files else parse_sources(files.get(SOURCES), found)
    comments = files.get(SOURCES, b"").decode("utf-8-sig") if sources == {} else ""
    return Parts(sheets, sources, read_about(files.get(PACKAGE), found), comments)


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
        comments=parts.comments,
        name=name,
        about=parts.about,
    )


# -- cells held against their claims ---------------------------------------------------------------------


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
    behind: dict[tuple[tuple[str, str], str], list[dict[str, Any]]] = defaultdict(list)
    for at, row in zip(evidence.index, records(evidence), strict=True):
        about = next(((kind, row[kind]) for kind in _ABOUT if row.get(kind)), ("", ""))
        if not str(row.get("note") or "").startswith(NOT_FOLLOWED):
            behind[about, row["attribute"]].append(row | {"at": at})
    read: dict[tuple[str, str], Cell] = {}
    for (about, column), rows in behind.items():
        cell, taken_over = _cell(table, *about, column)
        if cell is None:
            continue
        trait, claims = table.trait_of(column), []
        for row in rows:
            said = column, row["value"]
            if said not in read:
                read[said] = claimed_cell(trait, row["value"])
            claims.append(None if about[0] == "taxon" and row["scope"] == "genus" else read[said])
        held, whole = cell_text(trait, cell), None not in claims and not taken_over
        for row, claim in zip(rows, claims, strict=True):
            if claim and not is_within(claim, cell):
                yield Disagreement(about, column, held, row["value"], row["at"])
                whole = False
        if whole and not is_covered(cell, claims):
            texts = dict.fromkeys(cell_text(trait, claim) for claim in claims)
            yield Disagreement(about, column, held, ", ".join(texts))
    if taxa is None and len(table.care):
        yield from _care(table, behind)


def _cell(table: TraitTable, kind: str, who: str, column: str) -> tuple[Cell, str]:
    """Return a cell of a trait, and what it rests on; None for what is none."""
    if kind == "genus":
        return table.genera.get(who, {}).get(column), ""
    if kind != "taxon" or column not in table.cells or who not in table.taxa.index:
        return None, ""
    at = table.position(who)
    return table.cells[column][at], table.basis[column][at]


def _care(table: TraitTable, behind: _Behind) -> Iterator[Disagreement]:
    """Yield the needs of care that say more than is claimed."""
    columns = [column for column in table.care_columns if column.kind in ("range", "states")]
    for row in records(table.care):
        about = ("taxon", row["taxon"]) if row["taxon"] else ("care_group", row["care_group"])
        for column in columns:
            # A blank claim stands for what the cell says.
            values = [claim["value"] or row[column.id] for claim in behind.get((about, column.id), ())]
            try:
                cell, *claims = (parse_care(column, text) for text in (row.get(column.id, ""), *values))
            except ValueError:
                continue
            if cell is not None and claims and not is_covered(cell, claims):
                yield Disagreement(about, column.id, row[column.id], ", ".join(dict.fromkeys(values)))


def disagreeing(parts: Parts, table: TraitTable) -> Iterator[Problem]:
    """Yield where the cells of a table say something else than their claims, with the places in its files.

    Left out are cells that the keeper's own word, a claim without a source, says as they stand: what that
    departs from is told by `changes` when it is written, and by a review.
    """
    claims = parts.sheets["evidence.csv"].rows
    said = {(row["taxon"], row["attribute"], row["value"]) for row in claims if not row["source"]}
    rows = {
        (file, row.about): row
        for file in ("taxa.csv", _GENERA, "care.csv")
        for row in parts.sheets[file].rows
    }
    for odd in disagreements(table):
        if (odd.about[1], odd.column, odd.held) in said and odd.about[0] == "taxon":
            continue
        file = {"taxon": "taxa.csv", "genus": _GENERA}.get(odd.about[0], "care.csv")
        file = file if odd.column in table.cells else "care.csv"
        if odd.at is None:
            right = f"its claims have only {odd.claimed}; mend the cell, or add the claim to evidence.csv"
            yield Problem(file, rows[file, odd.about].place, odd.column, odd.held, right)
        else:
            row = claims[odd.at]
            right = f"{file} has {odd.held}; mend one of the two, or begin the note with '{NOT_FOLLOWED}'"
            yield Problem(row.file, row.place, odd.column, odd.claimed, right)


# -- writing ---------------------------------------------------------------------------------------------


def written(table: TraitTable, name: str) -> tuple[dict[str, bytes], TraitTable]:
    """Return the files of a table, and the table that is read of them, which says the same.

    Raises IdkeyError where they can't be read back so; a TableError lists every reason.
    """
    new, found = files_of(table), Found(table.name)
    try:
        again = table_from(parts_from(new, found), name, found)
    except TableError as error:
        raise TableError(error.problems, "written") from None
    if lost := sorted(set(table.sources).difference(again.sources)):
        found.add(SOURCES, "", "", lost[0], "no entry of this key was written; write its BibTeX entry anew")
        raise TableError(found, "written")
    got = files_of(again)
    other = sorted(file for file in {*new, *got} if new.get(file) != got.get(file))
    if other or again.cells != table.cells:
        what = ", ".join(other) or "a cell of taxa.csv"
        raise IdkeyError(f"{name}: {what} would not be read back as the table has it; nothing was written")
    return new, again


def files_of(table: TraitTable) -> dict[str, bytes]:
    """Return the files of a folder that holds this table, not checked: content by file name.

    What is said of kinds that are not in the table, as in a table of some of the kinds, is left out.
    datapackage.json is among them where something is stated of the whole. Raises IdkeyError for a table of
    another shape, and for what is no text.
    """
    own, traits = table.to_frame(own=True), {column: table.trait_of(column) for column in table.cells}
    care_columns = {column.id: column for column in table.care_columns}
    care = [column for column in table.care.columns if column in care_columns]
    try:
        files = {
            "taxa.csv": _frame(own.assign(id=table.ids), (*META, *table.own_cells)),
            "traits.csv": _records("traits.csv", map(trait_row, table.traits)),
            "care.csv": _frame(_about(table, table.care), (*HEADERS["care.csv"], *care)),
            _CARE_COLUMNS: _records(_CARE_COLUMNS, map(care_column_row, table.care_columns)),
            "evidence.csv": _frame(_about(table, table.evidence), HEADERS["evidence.csv"]),
            SOURCES: (bibtex(table.sources.values()) or table.comments).encode(),
        }
        columns = [c for c in traits if any(c in said for said in table.genera.values())]
        if columns:
            rows = ([cell_text(traits[c], cells.get(c)) for c in columns] for cells in table.genera.values())
            lines = ([genus, *row] for genus, row in zip(table.genera, rows, strict=True))
            files[_GENERA] = write_sheet([*HEADERS[_GENERA], *columns], lines)
        if table.about:
            described = [care_columns[column] for column in care]
            files[PACKAGE] = describe(table.about, traits, described, columns)
    except KeyError as error:
        missing = f"{table.name}: column {error.args[0]} is missing"
        raise IdkeyError(f"{missing}; only a table of the shape of the shipped one is written") from None
    except (TypeError, ValueError) as error:
        raise IdkeyError(f"{table.name}: the table holds what cannot be written as text ({error})") from None
    return files


def _records(file: str, rows: Iterable[Mapping[str, str]]) -> bytes:
    return write_sheet(HEADERS[file], ([row[column] for column in HEADERS[file]] for row in rows))


def _about(table: TraitTable, frame: pd.DataFrame) -> pd.DataFrame:
    """Return the rows that are about a kind of this table, or about a care group."""
    return frame[frame["taxon"].isin(["", *table.ids])]


def _frame(frame: pd.DataFrame, header: Sequence[str]) -> bytes:
    return write_sheet(header, zip(*(_texts(frame[column]) for column in header), strict=True))


def _texts(column: pd.Series) -> list[str]:
    missing = column.array.isna()
    return ["" if none else str(value) for value, none in zip(column.tolist(), missing, strict=True)]


# -- in one piece ----------------------------------------------------------------------------------------


def packed(content: Mapping[str, bytes]) -> bytes:
    """Return files as a zip; the same files make the same bytes."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in sorted(content):
            # A day that is always the same.
            info = zipfile.ZipInfo(name, (2020, 1, 1, 0, 0, 0))
            archive.writestr(info, content[name], zipfile.ZIP_DEFLATED)
    return out.getvalue()


def unpacked(data: bytes, place: str, right: str) -> dict[str, bytes]:
    """Return the files of a table in a zip. Raises TableError: in this `place`, and what is `right`."""
    content = {}
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            for name in {*archive.namelist()} & {*layout.FILES}:
                with archive.open(name) as file:
                    content[name] = file.read(layout.MOST_BYTES + 1)
    except Exception as error:
        # Whatever the archive trips over, it can't be read.
        raise TableError([Problem(place, "", "", f"{type(error).__name__}: {error}"[:100], right)]) from error
    return content
