"""A folder of plain files <-> TraitTable. A table loads whole or not at all, with every problem named."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from idkey.errors import IdkeyError, Problem, TableError, one_of
from idkey.table.care import CARE_ATTRIBUTES, parse_care
from idkey.table.schema import KINDS, Cell, Trait, parse_cell
from idkey.table.sources import read_sources
from idkey.table.stamp import read_stamp
from idkey.table.table import COMMONNESS, YOUNG, Source, TraitTable

__all__ = [
    "CLASSES",
    "COMMONNESS",
    "EVIDENCE_COLUMNS",
    "META",
    "SCOPES",
    "TRAIT_COLUMNS",
    "UNITS",
    "load_table",
    "shipped_folder",
]

CLASSES = ("read", "secondary", "memory", "common practice")
SCOPES = ("species", "genus", "group")
UNITS = ("", "mm", "count", "% HL", "% SL", "degrees", "ratio")
META = (
    "id",
    "scientificName",
    "identificationQualifier",
    "vernacularName",
    "genus",
    "nameAccordingTo",
    "tradeCode",
    "careGroup",
    "commonness",
)
TRAIT_COLUMNS = (
    "id",
    "label",
    "kind",
    "unit",
    "states",
    "state_words",
    "core",
    "question",
    "how_to_look",
    "error",
    "error_basis",
    "spread",
    "effort_s",
    "applies_when",
    "needs_adult",
    "in_key",
    "group",
)
EVIDENCE_COLUMNS = (
    "taxon",
    "care_group",
    "attribute",
    "value",
    "source",
    "locator",
    "class",
    "scope",
    "note",
)
_ID = re.compile(r"[a-z][a-z0-9_]*\Z")
_MOST_BYTES = 50_000_000


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
        A folder of taxa.csv, traits.csv, care.csv, evidence.csv and sources.bib; by default the shipped one.

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
    found = _Found()
    if not folder.is_dir():
        found.add(str(folder), "", "", folder.name, "no such folder; give the folder that holds taxa.csv")
        raise TableError(found)
    rows = {
        "traits.csv": _read(folder / "traits.csv", found, TRAIT_COLUMNS, also=()),
        "taxa.csv": _read(folder / "taxa.csv", found, META, also=None),
        "care.csv": _read(folder / "care.csv", found, ("care_group", "taxon", *_CARE), also=()),
        "evidence.csv": _read(folder / "evidence.csv", found, EVIDENCE_COLUMNS, also=()),
    }
    sources = read_sources(folder / "sources.bib", found)
    traits = tuple(_traits(rows["traits.csv"], found))
    cells = _taxa(rows, traits, sources, found)
    _care(rows, found)
    _evidence(rows, sources, found)
    stamp = read_stamp(folder / "datapackage.json", found)
    if found or sources is None:
        raise TableError(found)
    return TraitTable(
        traits=traits,
        taxa=rows["taxa.csv"].frame()[list(META)].set_index("id"),
        cells=cells,
        care=rows["care.csv"].frame(),
        evidence=rows["evidence.csv"].frame(),
        sources=sources,
        name=folder.name,
        **stamp,
    )


_CARE = tuple(a.id for a in CARE_ATTRIBUTES)


class _Found(list[Problem]):
    """The problems found so far."""

    def add(self, file: str, row: str, column: str, value: Any, right: str) -> None:
        self.append(Problem(file, row, column, str(value), right))

    def at(self, file: str, number: int, who: str, row: dict[str, str]) -> Wrong:
        """Return a function that notes what is wrong in a column of this row."""
        return lambda column, right: self.add(file, _where(number, who), column, row[column], right)


@dataclass(frozen=True)
class _Rows:
    """A file as text: header and rows, each row with its number in a spreadsheet."""

    file: str
    header: tuple[str, ...]
    rows: tuple[tuple[int, dict[str, str]], ...]
    readable: bool = True  # False also where a row had to be left out

    def names(self, column: str, without: str = "") -> set[str] | None:
        """Return what stands in a column (of the rows where `without` is blank); None if not readable."""
        if not self.readable:
            return None
        return {row[column] for _, row in self.rows if row[column] and not (without and row[without])}

    def frame(self) -> pd.DataFrame:
        return pd.DataFrame([row for _, row in self.rows], columns=list(self.header), dtype="str")


def _where(number: int, who: str) -> str:
    """Row as a spreadsheet shows it, with the id where there is one."""
    return f"{number} ({who})" if who else str(number)


def _who(row: dict[str, str]) -> str:
    """Whom a row of taxa.csv, care.csv or evidence.csv is about."""
    return row.get("id") or row.get("taxon") or row.get("care_group") or ""


Wrong = Callable[[str, str], None]


def _must_know(
    row: dict[str, str], column: str, known: Collection[str] | None, what: str, wrong: Wrong
) -> None:
    """Check that the name in a cell stands in the file that lists such names.

    `known` is None where that file could not be read: then no cell is to blame.
    """
    if row[column] and known is not None and row[column] not in known:
        wrong(column, one_of(row[column], sorted(known), what))


def _read(path: Path, found: _Found, columns: Sequence[str], also: tuple[()] | None) -> _Rows:
    """Read a CSV file as text; `also` is None where columns beyond `columns` are allowed."""
    name = path.name
    unreadable = _Rows(name, (), (), readable=False)
    try:
        size = path.stat().st_size
        if size > _MOST_BYTES:
            found.add(
                name, "", "", size, f"the file is larger than {_MOST_BYTES} bytes; this is no trait table"
            )
            return unreadable
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        found.add(name, "", "", path.parent.name, "the file is missing from this folder")
        return unreadable
    except OSError as error:
        found.add(name, "", "", path.parent.name, f"the file cannot be read ({error.strerror})")
        return unreadable
    except UnicodeDecodeError as error:
        found.add(name, "", "", f"byte {error.start}", "the file is not UTF-8; save it again as CSV UTF-8")
        return unreadable
    lines: list[list[str]] = []
    try:
        lines.extend(csv.reader(io.StringIO(text, newline=""), strict=True))
    except csv.Error as error:
        right = "the file is not well-formed CSV from here on; look for an unclosed quotation mark"
        found.add(name, str(len(lines) + 1), "", str(error), right)
        return unreadable
    if not lines:
        found.add(name, "1", "", "", f"the file is empty; the first row holds {', '.join(columns)}")
        return unreadable
    header = tuple(h.strip() for h in lines[0])
    if len(header) == 1 and ";" in header[0]:
        found.add(name, "1", "", header[0][:60], "cells are parted by semicolons; save as CSV with commas")
        return unreadable
    if not _header_is_good(name, header, columns, also, found):
        return unreadable
    rows = []
    whole = True
    for number, line in enumerate(lines[1:], start=2):
        if not any(cell.strip() for cell in line):
            continue
        if len(line) != len(header):
            whole = False
            right = f"the row has {len(line)} cells; the header has {len(header)}"
            found.add(name, _where(number, line[0].strip()), "", len(line), right)
            continue
        rows.append((number, {h: c.strip() for h, c in zip(header, line, strict=True)}))
    return _Rows(name, header, tuple(rows), readable=whole)


def _header_is_good(
    name: str, header: tuple[str, ...], columns: Sequence[str], also: tuple[()] | None, found: _Found
) -> bool:
    before = len(found)
    for column in columns:
        if column not in header:
            found.add(
                name, "1", column, ", ".join(header[:12]), f"column {column} is missing from the header"
            )
    for i, column in enumerate(header):
        if not column:
            found.add(
                name, "1", f"column {i + 1}", "", "the header cell is blank; name the column or delete it"
            )
        elif column in header[:i]:
            found.add(name, "1", column, column, "two columns have this name")
        elif also is not None and column not in columns:
            found.add(name, "1", column, column, one_of(column, list(columns), "a column"))
    return len(found) == before


def _traits(rows: _Rows, found: _Found) -> Iterator[Trait]:
    seen: dict[str, tuple[str, ...]] = {
        row["id"]: tuple(s.strip() for s in row["states"].split("|") if s.strip()) for _, row in rows.rows
    }
    ids: list[str] = []
    for number, row in rows.rows:
        trait_id = row["id"]
        wrong = found.at(rows.file, number, trait_id, row)
        if not _ID.match(trait_id):
            wrong("id", "an id is lower-case letters, digits and _ and starts with a letter")
        if trait_id in ids:
            wrong("id", "a trait of this id is there already")
        if trait_id.endswith(YOUNG):
            wrong("id", f"the ending {YOUNG} is kept for what a young fish shows; choose another id")
        ids.append(trait_id)
        kind = row["kind"]
        if kind not in KINDS:
            wrong("kind", one_of(kind, KINDS, "a trait kind"))
            continue
        states = seen[trait_id]
        words = tuple(w.strip() for w in row["state_words"].split("|") if w.strip())
        if kind in ("nominal", "ordinal"):
            if len(states) < 2 or len(set(states)) != len(states):
                wrong("states", "write at least two different states joined by |")
            if len(words) != len(states):
                wrong("state_words", f"write one wording for each of the {len(states)} states, joined by |")
        elif states:
            wrong("states", f"a {kind} has no states; leave this blank")
        if row["unit"] not in UNITS:
            wrong("unit", one_of(row["unit"], UNITS[1:], "a unit"))
        elif kind in ("measure", "ceiling") and not row["unit"]:
            wrong("unit", f"a {kind} needs a unit: {', '.join(UNITS[1:])}")
        if not row["question"]:
            wrong("question", "write the question in plain words")
        error = _number(row["error"], lambda x: 0 < x < 1)
        if error is None:
            wrong("error", "write a share more than 0 and less than 1, such as 0.1")
        effort = _number(row["effort_s"], lambda x: x > 0)
        if effort is None:
            wrong("effort_s", "write the seconds it takes to look, more than 0")
        spread_text = row["spread"] or ("" if kind in ("measure", "ceiling") else "5%")
        spread = _number(spread_text.removesuffix("%"), lambda x: x > 0)
        if spread is None:
            wrong("spread", "write the measuring error in the unit of the trait, or per cent such as 5%")
        flags = {}
        for column in ("core", "needs_adult", "in_key"):
            if row[column] not in ("yes", "no"):
                wrong(column, "write yes or no")
            flags[column] = row[column] == "yes"
        applies = _applies_when(row["applies_when"], {k: v for k, v in seen.items() if v and k != trait_id})
        if isinstance(applies, str):
            wrong("applies_when", applies)
        if error is None or effort is None or spread is None or isinstance(applies, str):
            continue
        relative = spread_text.endswith("%")
        yield Trait(
            id=trait_id,
            kind=kind,  # type: ignore[arg-type]
            label=row["label"],
            question=row["question"],
            how=row["how_to_look"],
            unit=row["unit"],
            states=states,
            words=words if len(words) == len(states) else states,
            error=error,
            error_basis=row["error_basis"],
            spread=spread / 100 if relative else spread,
            spread_is_relative=relative,
            effort=effort,
            applies_when=applies,
            needs_adult=flags["needs_adult"],
            in_key=flags["in_key"],
            group=row["group"],
            core=flags["core"],
        )


def _number(text: str, good: Callable[[float], bool]) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) and good(value) else None


def _applies_when(text: str, states: dict[str, tuple[str, ...]]) -> tuple[str, tuple[str, ...]] | str | None:
    """Read ``trait=state|state``; a str is a sentence on what is wrong."""
    if not text:
        return None
    trait, sign, rest = text.partition("=")
    wanted = tuple(s.strip() for s in rest.split("|"))
    if not sign or trait.strip() not in states:
        return "write trait=state|state with the id of another trait that has states"
    wrong = [s for s in wanted if s not in states[trait.strip()]]
    if wrong:
        return one_of(wrong[0], states[trait.strip()], f"a state of {trait.strip()}")
    return trait.strip(), wanted


def _trait_columns(rows: dict[str, _Rows]) -> list[str]:
    """Columns of taxa.csv that belong to a trait of traits.csv, also where that trait is wrong in itself."""
    ids = rows["traits.csv"].names("id") or set()
    return [c for c in rows["taxa.csv"].header if c in ids or c.removesuffix(YOUNG) in ids]


def _columns_agree(rows: dict[str, _Rows], found: _Found) -> None:
    """Check that taxa.csv has a column for each trait, and no other."""
    taxa, ids = rows["taxa.csv"], rows["traits.csv"].names("id")
    if not taxa.readable or ids is None:
        return
    known = _trait_columns(rows)
    for column in taxa.header:
        if column not in META and column not in known:
            right = one_of(column, sorted(ids), "a trait of traits.csv (or that with _young)")
            found.add(taxa.file, "1", column, column, right)
    for trait_id in sorted(ids.difference(known)):
        right = "the trait stands in traits.csv but has no column here"
        found.add(taxa.file, "1", trait_id, trait_id, right)


def _taxa(
    rows: dict[str, _Rows], traits: tuple[Trait, ...], sources: dict[str, Source] | None, found: _Found
) -> dict[str, tuple[Cell, ...]]:
    _columns_agree(rows, found)
    table = rows["taxa.csv"]
    by_column = {t.id: t for t in traits} | {t.id + YOUNG: t for t in traits}
    groups = rows["care.csv"].names("care_group", without="taxon")
    ids: set[str] = set()
    cells: dict[str, list[Cell]] = {c: [] for c in table.header if c in by_column}
    for number, row in table.rows:
        taxon = row["id"]
        wrong = found.at(table.file, number, taxon, row)
        if not _ID.match(taxon):
            wrong("id", "an id is lower-case letters, digits and _, starting with a letter")
        if taxon in ids:
            wrong("id", "a taxon of this id is there already")
        ids.add(taxon)
        for column in ("scientificName", "genus"):
            if not row[column]:
                wrong(column, "fill this cell")
        if row["commonness"] and row["commonness"] not in COMMONNESS:
            wrong("commonness", one_of(row["commonness"], COMMONNESS))
        _must_know(row, "careGroup", groups, "a care group of care.csv", wrong)
        _must_know(row, "nameAccordingTo", sources, "a key of sources.bib", wrong)
        for column, column_cells in cells.items():
            try:
                column_cells.append(parse_cell(by_column[column], row[column]))
            except ValueError as error:
                column_cells.append(None)
                wrong(column, str(error))
    if table.readable and not table.rows:
        found.add(table.file, "2", "id", "", "no taxon; a table needs at least one")
    return {column: tuple(column_cells) for column, column_cells in cells.items()}


def _care(rows: dict[str, _Rows], found: _Found) -> None:
    table, ids = rows["care.csv"], rows["taxa.csv"].names("id")
    seen: set[tuple[str, str]] = set()
    for number, row in table.rows:
        who = ("taxon", row["taxon"]) if row["taxon"] else ("group", row["care_group"])
        wrong = found.at(table.file, number, _who(row), row)
        _must_know(row, "taxon", ids, "a taxon of taxa.csv, or blank", wrong)
        if not row["care_group"]:
            wrong("care_group", "name the care group")
        if who in seen:
            wrong("care_group", "this group or taxon has a row already")
        seen.add(who)
        for attribute in CARE_ATTRIBUTES:
            try:
                parse_care(attribute, row[attribute.id])
            except ValueError as error:
                wrong(attribute.id, str(error))


def _evidence(rows: dict[str, _Rows], sources: dict[str, Source] | None, found: _Found) -> None:
    """Check each claim, and that every filled cell of taxa.csv and care.csv has one."""
    table = rows["evidence.csv"]
    ids, groups = rows["taxa.csv"].names("id"), rows["care.csv"].names("care_group")
    complete = all(r.readable for r in rows.values())
    attributes = {*_trait_columns(rows), *_CARE} if complete else None
    for number, row in table.rows:
        wrong = found.at(table.file, number, _who(row), row)
        if bool(row["taxon"]) == bool(row["care_group"]):
            wrong("taxon", "fill either taxon or care_group, not both")
        else:
            _must_know(row, "taxon", ids, "a taxon of taxa.csv", wrong)
            _must_know(row, "care_group", groups, "a care group of care.csv", wrong)
        _must_know(row, "attribute", attributes, "a trait column or a care column", wrong)
        if not row["attribute"]:
            wrong("attribute", "name the trait column or the care column")
        if row["class"] not in CLASSES:
            wrong("class", one_of(row["class"], CLASSES, "an evidence class"))
        if row["scope"] not in SCOPES:
            wrong("scope", one_of(row["scope"], SCOPES, "a scope"))
        _must_know(row, "source", sources, "a key of sources.bib", wrong)
        if not row["source"] and row["class"] in ("read", "secondary"):
            wrong("source", f"class {row['class']} needs a key of sources.bib")
    if complete:
        _every_cell_is_backed(rows, found)


def _every_cell_is_backed(rows: dict[str, _Rows], found: _Found) -> None:
    evidence = rows["evidence.csv"]
    backed = {(_who(row), row["attribute"]) for _, row in evidence.rows}
    columns = {"taxa.csv": _trait_columns(rows), "care.csv": list(_CARE)}
    filled: set[tuple[str, str]] = set()
    known: set[str] = set()
    for file, names in columns.items():
        for number, row in rows[file].rows:
            known.add(_who(row))
            for column in (c for c in names if row[c]):
                filled.add((_who(row), column))
                if (_who(row), column) not in backed:
                    right = "no row of evidence.csv stands behind this cell; add one or blank the cell"
                    found.at(file, number, _who(row), row)(column, right)
    for number, row in evidence.rows:
        who, attribute = _who(row), row["attribute"]
        is_column = any(attribute in names for names in columns.values())
        if who in known and is_column and (who, attribute) not in filled:
            right = "evidence for a blank cell; fill the cell or delete this row"
            found.add(evidence.file, _where(number, who), attribute, row["value"], right)
