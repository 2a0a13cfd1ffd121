"""The rows of a table by file and key: compared, and taken from one state of the table to another."""

from __future__ import annotations

import re
from collections.abc import Callable, Hashable, Iterable, Mapping
from functools import partial
from typing import Any

from idkey.table.claims import Source
from idkey.table.csvfile import Found, Row, Sheet
from idkey.table.fields import HEADERS
from idkey.table.names import trade_codes
from idkey.table.rows import read_care_columns, read_traits
from idkey.table.schema import YOUNG, parse_care, parse_cell

Cells = dict[str, str]
"""One row, by column; never changed in place."""
Place = tuple[str, Hashable, str]
"""File, key and column; the column is blank for a whole row."""
Readers = dict[str, Callable[[str], Any]]
"""How the cells of each column are read."""

TAXA, TRAITS, CARE, EVIDENCE, SOURCES = "taxa.csv", "traits.csv", "care.csv", "evidence.csv", "sources.bib"
CARE_COLUMNS, GENERA = "care_columns.csv", "genera.csv"
KEYS = {
    CARE_COLUMNS: ("id",),
    TRAITS: ("id",),
    GENERA: ("genus",),
    TAXA: ("id",),
    CARE: ("care_group", "taxon"),
    SOURCES: ("key",),
    EVIDENCE: (),
}
"""The columns that name a row of each file; a claim is named by all it says."""
COLUMNS_OF = {TRAITS: (TAXA, GENERA), CARE_COLUMNS: (CARE,)}
"""The files whose columns the rows of a file stand for."""
_NAMED_IN = {SOURCES: "nameAccordingTo", CARE: "careGroup"}
"""The columns of taxa.csv that name a row of these files."""
_ENTRY = re.compile(r"(@\w+\s*[{(]\s*)([^\s,={}]+)")


class State(dict[str, dict[Hashable, Cells]]):
    """The rows of a table by file and key."""

    def __init__(
        self, sheets: Mapping[str, Sheet] | None = None, sources: Mapping[str, Source] | None = None
    ):
        super().__init__({file: {} for file in KEYS})
        for file, sheet in (sheets or {}).items():
            self[file] = {key_of(file, row.values): row.values for row in sheet.rows}
        self[SOURCES] = {key: {"key": key, "entry": s.entry} for key, s in (sources or {}).items()}

    def copy(self) -> State:
        """Return a state that can be changed without changing this one."""
        other = State()
        other.update({file: dict(rows) for file, rows in self.items()})
        return other

    def sheets(self, headers: Mapping[str, Iterable[str]]) -> dict[str, Sheet]:
        """Return the rows as the files of a table, their columns in the order of these headers."""
        sheets = {}
        for file in KEYS.keys() - {SOURCES}:
            names = next((self[f].keys() for f, others in COLUMNS_OF.items() if file in others), set())
            used = {c for row in self[file].values() for c, text in row.items() if text}
            known = {*HEADERS[file], *(names if file != GENERA else ())}
            known |= used & {*names, *(f"{name}{YOUNG}" for name in names)}
            columns = (c for row in self[file].values() for c in row)
            header = dict.fromkeys([*HEADERS[file], *headers.get(file, ()), *columns])
            header = tuple(c for c in header if c in known)
            rows = ({c: row.get(c, "") for c in header} for row in self[file].values())
            lines = (Row(i, row, file) for i, row in enumerate(rows, start=2))
            sheets[file] = Sheet(file, header, tuple(lines))
        return sheets

    def text(self, place: Place) -> str:
        """Return what a cell says; blank where there is none."""
        file, key, column = place
        return self[file].get(key, {}).get(column, "")

    def fill(self, place: Place, text: str) -> None:
        """Set a cell of a row that is there."""
        file, key, column = place
        self[file][key] = self[file][key] | {column: text}

    def put(self, file: str, key: Hashable, row: Cells | None) -> None:
        """Set a row, or take it out."""
        if row is None:
            self[file].pop(key, None)
        else:
            self[file][key] = row

    def claims(self, place: Place) -> dict[Hashable, Cells]:
        """Return the claims about a row or a cell."""
        file, key, column = place
        if file in COLUMNS_OF:
            about = {"attribute": () if column else (key, f"{key}{YOUNG}")}
        elif file == CARE:
            about = {"care_group": key[:1], "taxon": key[1:]}
        else:
            about = {{TAXA: "taxon", GENERA: "genus"}.get(file, ""): (key,)}
        about |= {"attribute": (column,)} if column and file not in COLUMNS_OF else {}
        claims = self[EVIDENCE].items()
        return {k: row for k, row in claims if all(row.get(c) in names for c, names in about.items())}

    def take(self, source: State, place: Place) -> None:
        """Say of a row, a column or a cell what another state says of it, claims included.

        What stands in a column here alone stays where it can be read.
        """
        file, key, column = place
        old, claims = self.claims(place), source.claims(place)
        if not column:
            self.put(file, key, source[file].get(key))
        elif key in self[file]:
            self.fill(place, source.text(place))
        if file == TAXA and not column:
            self.put(CARE, ("", key), source[CARE].get(("", key)))
        if file in COLUMNS_OF and not column:
            readers, _ = source.readers()
            cells = [
                (other, who, name)
                for other in COLUMNS_OF[file]
                for who, row in self[other].items()
                for name in (key, f"{key}{YOUNG}")
                if name in row or source.text((other, who, name))
            ]
            for cell in cells:
                if source.text(cell) or not reads(readers, cell[2], self.text(cell)):
                    self.fill(cell, source.text(cell))
                elif self.text(cell):
                    claims |= self.claims(cell)
        for name, row in list(self[TRAITS].items()) if file == TRAITS and not column else ():
            if leans_on(row) == key and name in source[TRAITS] and name != key:
                self.fill((TRAITS, name, "applies_when"), source[TRAITS][name]["applies_when"])
        self[EVIDENCE] = {k: row for k, row in self[EVIDENCE].items() if k not in old} | claims

    def readers(self) -> tuple[Readers, set[Place]]:
        """Return how the cells of each column are read, and the rows that define no column."""
        readers: Readers = {}
        amiss: set[Place] = set()
        for file, read, parse in (
            (TRAITS, read_traits, parse_cell),
            (CARE_COLUMNS, read_care_columns, parse_care),
        ):
            found, rows = Found(), [Row(0, row, file) for row in self[file].values()]
            for made in read(Sheet(file, (), tuple(rows)), found):
                readers[made.id] = readers[made.id + YOUNG] = partial(parse, made)
            by_place = {row.place: row for row in rows} if found else {}
            for problem in found:
                row = by_place[problem.row]
                # Whose states it names is to blame, not the trait that leans on them.
                of = leans_on(row.values) if problem.column == "applies_when" else ""
                amiss.add((file, of if of in self[file] else row["id"], ""))
        return readers, amiss

    def rename_source(self, was: str, now: str) -> None:
        """Give a source another key, in all that names it."""
        entry = _ENTRY.sub(lambda m: m[1] + now, self[SOURCES].pop(was)["entry"])
        self[SOURCES][now] = {"key": now, "entry": entry}
        for file, column in ((EVIDENCE, "source"), (TAXA, _NAMED_IN[SOURCES])):
            rows = (row | {column: now} if row[column] == was else row for row in self[file].values())
            self[file] = {key_of(file, row): row for row in rows}

    def let_go(self, file: str, name: str) -> None:
        """Blank the name of a source or a care group that is gone, and drop the claims of that source."""
        column = _NAMED_IN.get(file, "")
        for taxon in [taxon for taxon, row in self[TAXA].items() if row.get(column) == name]:
            self.fill((TAXA, taxon, column), "")
        if file == SOURCES:
            self[EVIDENCE] = {k: row for k, row in self[EVIDENCE].items() if row["source"] != name}

    def ask_always(self) -> None:
        """Have a trait asked always whose condition can't be read any more."""
        _, amiss = self.readers()
        for name, row in list(self[TRAITS].items()):
            of = leans_on(row)
            if of and (of not in self[TRAITS] or (TRAITS, of, "") in amiss):
                self.fill((TRAITS, name, "applies_when"), "")


def key_of(file: str, row: Cells) -> Hashable:
    """Return the key of a row."""
    if file == EVIDENCE:
        return frozenset(filled(file, row).items())
    if file == CARE:
        return ("", row["taxon"]) if row["taxon"] else (row["care_group"], "")
    return row[KEYS[file][0]]


def name_of(key: Hashable) -> str:
    """Return the name in a key: of care that of the kind, or of the group."""
    return str(key[1] or key[0]) if isinstance(key, tuple) else str(key)


def filled(file: str, row: Cells | None) -> Cells:
    """Return what a row says, no row nothing; of a source no more than counts."""
    if row and file == SOURCES:
        entry = _ENTRY.search(row["entry"])
        return {"key": row["key"], "entry": " ".join(row["entry"][entry.start() if entry else 0 :].split())}
    return {column: text for column, text in (row or {}).items() if text}


def leans_on(trait: Cells) -> str:
    """Return the trait by which it is told whether this one applies."""
    return trait.get("applies_when", "").partition("=")[0].strip()


def reads(readers: Readers, column: str, text: str) -> bool:
    """Whether a text can be read as a cell of a column."""
    try:
        readers[column](text)
    except (KeyError, ValueError):
        return False
    return True


def codes_of(row: Cells | None) -> set[str]:
    """Return the trade codes of a kind."""
    return {*trade_codes((row or {}).get("tradeCode", ""))}


def words_of(file: str, row: Cells | None) -> str:
    """Return a row on one line, its name left out; of a kind its name, with its trade codes."""
    said = filled(file, row)
    if row and file == TAXA:
        codes = row["tradeCode"].replace("|", ", ")
        return f"{row['scientificName']} ({codes})" if codes else row["scientificName"]
    if row and file == SOURCES:
        return _ENTRY.sub(lambda m: m[1], said["entry"])
    return "; ".join(text for column, text in said.items() if column not in KEYS[file])
