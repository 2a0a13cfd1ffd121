"""TraitTable -> the files of a folder; the way back of `idkey.table.files`."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING

import pandas as pd

from idkey.errors import IdkeyError, TableError
from idkey.table.check import check_sheets
from idkey.table.claims import Source
from idkey.table.csvfile import Found, write_sheet
from idkey.table.describe import describe
from idkey.table.files import parts_from
from idkey.table.layout import CARE_COLUMNS, EVIDENCE_COLUMNS, META, TRAIT_COLUMNS
from idkey.table.schema import cell_text
from idkey.table.sources import SOURCES
from idkey.table.stamp import PACKAGE
from idkey.table.trait_rows import trait_row

if TYPE_CHECKING:
    from idkey.table.table import TraitTable

__all__ = ["bibtex", "files_of"]


def files_of(table: TraitTable) -> dict[str, bytes]:
    """Return the files of a folder that holds this table.

    What is said of kinds that are not in the table, as in a table of some of the kinds, is left out.

    Returns
    -------
    dict of str to bytes
        Content by file name. datapackage.json is among them where something is stated of the whole.

    Raises
    ------
    IdkeyError
        Where the folder could not be loaded again; a TableError lists every reason.
    """
    _has_the_columns(table)
    traits = [trait_row(trait) for trait in table.traits]
    try:
        files = {
            "taxa.csv": write_sheet([*META, *table.cells], _taxa(table)),
            "traits.csv": write_sheet(TRAIT_COLUMNS, (list(row.values()) for row in traits)),
            "care.csv": write_sheet(CARE_COLUMNS, _rows(_of_the_table(table, table.care), CARE_COLUMNS)),
            "evidence.csv": write_sheet(
                EVIDENCE_COLUMNS, _rows(_of_the_table(table, table.evidence), EVIDENCE_COLUMNS)
            ),
            SOURCES: bibtex(table.sources.values()).encode(),
        }
        if table.about:
            files[PACKAGE] = describe(table.about, traits, list(table.cells))
    except (TypeError, ValueError) as error:
        msg = f"{table.name}: the table holds what cannot be written as text ({error})"
        raise IdkeyError(msg) from None
    _can_be_loaded(files, table)
    return files


def _has_the_columns(table: TraitTable) -> None:
    wanted = {"taxa": META[1:], "care": CARE_COLUMNS, "evidence": EVIDENCE_COLUMNS}
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


# -- rows ------------------------------------------------------------------------------------------------


def _taxa(table: TraitTable) -> Iterable[Sequence[str]]:
    columns = [_texts(table.taxa[column]) for column in META[1:]]
    columns += [
        [cell_text(table.trait_of(column), cell) for cell in cells] for column, cells in table.cells.items()
    ]
    return zip(table.ids, *columns, strict=True)


def _of_the_table(table: TraitTable, frame: pd.DataFrame) -> pd.DataFrame:
    """Return the rows that are about a kind of this table, or about a care group."""
    return frame[frame["taxon"].isin(["", *table.ids])]


def _rows(frame: pd.DataFrame, columns: Sequence[str]) -> Iterable[Sequence[str]]:
    return zip(*(_texts(frame[column]) for column in columns), strict=True)


def _texts(column: pd.Series) -> list[str]:
    return ["" if missing else str(value) for value, missing in zip(column, column.isna(), strict=True)]


# -- sources ---------------------------------------------------------------------------------------------


def bibtex(sources: Iterable[Source]) -> str:
    """Return sources as the text of sources.bib: each entry as it was read, or made of what is known."""
    text = ""
    for source in sources:
        entry = source.entry or _entry(source)
        if text and entry.startswith("@"):
            text += "\n" if text.endswith("\n") else "\n\n"
        text += entry
    return f"{text}\n" if text and not text.endswith("\n") else text


def _entry(source: Source) -> str:
    title = source.full.removesuffix(f"doi:{source.doi}").rstrip(". ") if source.doi else source.full
    fields = {"title": title, "doi": source.doi}
    lines = [f"  {name} = {{{_plain(value)}}},\n" for name, value in fields.items() if value]
    return f"@misc{{{source.key},\n{''.join(lines)}}}\n"


def _plain(text: str) -> str:
    """Return text without what would end a field of BibTeX too early."""
    return " ".join("".join(c for c in text if c not in "{}\\").split())
