"""The rows of a table by file and key, as the merge holds them, and what a cell leans on."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping
from functools import partial
from typing import Any

from idkey.table.claims import Source
from idkey.table.csvfile import Found, Row, Sheet
from idkey.table.fields import HEADERS
from idkey.table.rows import read_care_columns, read_traits
from idkey.table.schema import YOUNG, parse_care, parse_cell

Cells = dict[str, str]  # one row, by column; never changed in place
Place = tuple[str, Hashable, str]  # file, key and column; the column is blank for a whole row
Readers = dict[str, Callable[[str], Any]]  # how the cells of each column are read

TAXA, TRAITS, CARE, EVIDENCE, SOURCES = "taxa.csv", "traits.csv", "care.csv", "evidence.csv", "sources.bib"
CARE_COLUMNS, GENERA = "care_columns.csv", "genera.csv"
FILES = (CARE_COLUMNS, TRAITS, GENERA, TAXA, CARE, SOURCES, EVIDENCE)
COLUMNS_OF = {TRAITS: (TAXA, GENERA), CARE_COLUMNS: (CARE,)}  # files in which each row has a column
NAMED_IN = {SOURCES: "nameAccordingTo", CARE: "careGroup"}  # the columns of taxa.csv that name a row


class State(dict[str, dict[Hashable, Cells]]):
    """The rows of a table by file and key."""

    def __init__(
        self, sheets: Mapping[str, Sheet] | None = None, sources: Mapping[str, Source] | None = None
    ):
        super().__init__({file: {} for file in FILES})
        for file, sheet in (sheets or {}).items():
            rows = (row.values for row in sheet.rows)
            # A genus of which nothing is said is not written, and so is none.
            self[file] = {key_of(file, row): row for row in rows if file != GENERA or len(filled(row)) > 1}
        self[SOURCES] = {key: {"key": key, "entry": s.entry} for key, s in (sources or {}).items()}

    def copy(self) -> State:
        """Return a state that can be changed without changing this one."""
        other = State()
        other.update({file: dict(rows) for file, rows in self.items()})
        return other

    def sheets(self, headers: Mapping[str, Iterable[str]]) -> dict[str, Sheet]:
        """Return the rows as the files of a table, their columns in the order of these headers."""
        sheets = {}
        for file in (file for file in FILES if file != SOURCES):
            names = [name for f, others in COLUMNS_OF.items() if file in others for name in self[f]]
            used = {c for row in self[file].values() for c, text in row.items() if text}
            known = [*HEADERS[file], *names, *sorted(used & {f"{name}{YOUNG}" for name in names})]
            header = dict.fromkeys([*HEADERS[file], *headers.get(file, ()), *known])
            header = tuple(c for c in header if c in known)
            rows = ({c: row.get(c, "") for c in header} for row in self[file].values())
            sheets[file] = Sheet(
                file, header, tuple(Row(i, row, file) for i, row in enumerate(rows, start=2))
            )
        return sheets

    def text(self, place: Place) -> str:
        """Return what a cell says; blank where there is none."""
        file, key, column = place
        return self[file].get(key, {}).get(column, "")

    def fill(self, place: Place, text: str) -> None:
        """Set a cell of a row that is there."""
        file, key, column = place
        self[file][key] = self[file][key] | {column: text}

    def cell_of(self, claim: Cells) -> Place:
        """Return the cell that a claim stands behind."""
        taxon, attribute = claim["taxon"], claim["attribute"]
        if claim.get("genus"):
            return GENERA, claim["genus"], attribute
        if taxon and attribute not in self[CARE_COLUMNS]:
            return TAXA, taxon, attribute
        return CARE, key_of(CARE, claim), attribute

    def claims(self, place: Place) -> dict[Hashable, Cells]:
        """Return the claims about a row or a cell."""
        file, key, column = place
        claims, end = self[EVIDENCE].items(), 3 if column else 2
        if file in COLUMNS_OF:
            names = () if column else (key, f"{key}{YOUNG}")
            return {k: row for k, row in claims if row["attribute"] in names}
        return {k: row for k, row in claims if self.cell_of(row)[:end] == place[:end]}

    def take(self, source: State, place: Place) -> None:
        """Say of a row, a column or a cell what another state says of it, claims included.

        What stands in a column here alone stays where it can be read.
        """
        file, key, column = place
        old, claims = self.claims(place), source.claims(place)
        if column and key in self[file]:
            self.fill(place, source.text(place))
        elif not column and key in source[file]:
            self[file][key] = source[file][key]
        elif not column:
            self[file].pop(key, None)
        if file in COLUMNS_OF and not column:
            readers, _ = source.readers()
            rows = [(other, who) for other in COLUMNS_OF[file] for who in self[other]]
            for cell in ((*row, name) for row in rows for name in (key, f"{key}{YOUNG}")):
                if source.text(cell) or not reads(readers, cell[2], self.text(cell)):
                    self.fill(cell, source.text(cell))
                elif self.text(cell):
                    claims |= self.claims(cell)
        for name, row in list(self[TRAITS].items()) if file == TRAITS and not column else ():
            if leans_on(row) == key and name in source[TRAITS] and name != key:
                self.fill((TRAITS, name, "applies_when"), source[TRAITS][name]["applies_when"])
        self[EVIDENCE] = {k: row for k, row in self[EVIDENCE].items() if k not in old} | claims
        if file == TAXA and not column:
            self.take(source, (CARE, ("", key), ""))

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

    def let_go(self, file: str, name: str, source: State) -> None:
        """Name what another state names for a source or a care group that is gone; drop its claims."""
        column = NAMED_IN.get(file, "")
        for taxon in [taxon for taxon, row in self[TAXA].items() if row.get(column) == name]:
            self.fill((TAXA, taxon, column), source.text((TAXA, taxon, column)))
        if file == SOURCES:
            self[EVIDENCE] = {k: row for k, row in self[EVIDENCE].items() if row["source"] != name}

    def ask_always(self) -> None:
        """Have a trait asked always whose condition can't be read any more."""
        for name, row in [(name, row) for name, row in self[TRAITS].items() if leans_on(row)]:
            found, both = Found(), [self[TRAITS].get(leans_on(row)), row]
            lines = tuple(Row(0, cells, TRAITS) for cells in both if cells)
            list(read_traits(Sheet(TRAITS, (), lines), found))
            if any(problem.column == "applies_when" for problem in found):
                self.fill((TRAITS, name, "applies_when"), "")


def key_of(file: str, row: Cells) -> Hashable:
    """Return what names a row in its file; a claim is named by all it says."""
    if file == EVIDENCE:
        return frozenset(filled(row).items())
    if file == CARE:
        return ("", row["taxon"]) if row["taxon"] else (row["care_group"], "")
    return row.get("id") or row.get("genus") or row["key"]


def filled(row: Cells | None) -> Cells:
    """Return what a row says, however it is spaced; no row says nothing."""
    return {column: " ".join(text.split()) for column, text in (row or {}).items() if text}


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
