"""The files of a folder -> TraitTable. A table loads whole or not at all, with every problem named."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from idkey.errors import IdkeyError, TableError
from idkey.table import layout
from idkey.table.check import check_sheets
from idkey.table.claims import Source
from idkey.table.csvfile import Found, Sheet, read_sheet
from idkey.table.sources import SOURCES, read_sources
from idkey.table.stamp import PACKAGE, read_about
from idkey.table.table import TraitTable

__all__ = ["Files", "Parts", "load_table", "parts_from", "shipped_folder", "table_from"]

Files = Mapping[str, bytes]
"""The files of one folder: content by name."""

_COLUMNS = {
    "traits.csv": layout.TRAIT_COLUMNS,
    "taxa.csv": layout.META,
    "care.csv": layout.CARE_COLUMNS,
    "evidence.csv": layout.EVIDENCE_COLUMNS,
}


@dataclass(frozen=True)
class Parts:
    """The files of a table, read but not yet checked against one another.

    Attributes
    ----------
    sheets : mapping of str to Sheet
        taxa.csv, traits.csv, care.csv and evidence.csv, by file name.
    sources : dict of str to Source, or None
        None where sources.bib could not be read.
    about : mapping of str to object
        What datapackage.json says of the table as a whole.
    """

    sheets: Mapping[str, Sheet]
    sources: dict[str, Source] | None
    about: Mapping[str, Any]


def parts_from(files: Files, found: Found, *, partial: bool = False) -> Parts:
    """Read the files of a folder.

    Parameters
    ----------
    files : mapping of str to bytes
        A file that is not there is left out.
    found : Found
        What is wrong is added to it.
    partial : bool
        Whether a missing file is an empty one and a missing column a blank one, as in a folder of additions
        that an older version of this package began.
    """
    sheets = {}
    for name in layout.TABLES:
        if partial and name not in files:
            sheets[name] = Sheet(name, _COLUMNS[name], ())
        else:
            also = None if name == "taxa.csv" else ()
            sheets[name] = read_sheet(name, files.get(name), found, _COLUMNS[name], also, older=partial)
    sources = {} if partial and SOURCES not in files else read_sources(files.get(SOURCES), found)
    return Parts(sheets, sources, read_about(files.get(PACKAGE), found))


def table_from(parts: Parts, name: str, found: Found) -> TraitTable:
    """Check the parts of a table and put them together.

    Raises
    ------
    TableError
        Where anything is wrong, with all that `found` holds.
    """
    traits, cells = check_sheets(parts.sheets, parts.sources, found)
    if found or parts.sources is None:
        raise TableError(found)
    return TraitTable(
        traits=traits,
        taxa=parts.sheets["taxa.csv"].frame(layout.META).set_index("id"),
        cells=cells,
        care=parts.sheets["care.csv"].frame(layout.CARE_COLUMNS),
        evidence=parts.sheets["evidence.csv"].frame(layout.EVIDENCE_COLUMNS),
        sources=parts.sources,
        name=name,
        about=parts.about,
    )


def shipped_folder() -> Path:
    """Return the folder of the table that comes with the package.

    Raises
    ------
    IdkeyError
        When the package was installed without its table.
    """
    package = Path(__file__).resolve().parents[1]
    for folder in (package / "traits", package.parent / "traits"):
        if (folder / "taxa.csv").is_file():
            return folder
    msg = f"{package / 'traits'}: the shipped trait table is missing; install the package again"
    raise IdkeyError(msg)


def load_table(path: str | Path | None = None) -> TraitTable:
    """Load a trait table and check all of it.

    Parameters
    ----------
    path : str or pathlib.Path, optional
        A folder of taxa.csv, traits.csv, care.csv, evidence.csv and sources.bib, or one made by
        `start_table`; by default the shipped one.

    Returns
    -------
    TraitTable

    Raises
    ------
    TableError
        With every problem: file, row, column, value, and what would be right. Nothing is loaded then.
    """
    if path is not None and not isinstance(path, (str, Path)):
        msg = f"load_table: {path!r}: write the path of a folder"
        raise IdkeyError(msg)
    folder = shipped_folder() if path is None else Path(path)
    # The store reads files with the functions of this module.
    from idkey.table.store import load_folder

    return load_folder(folder)
