"""The rows of a table by file and key: compared, renamed, taken from one state of the table to another."""

from __future__ import annotations

import re
from collections.abc import Callable, Hashable, Iterable, Mapping
from functools import partial
from typing import Any

from idkey.table.claims import Source
from idkey.table.csvfile import Found, Row, Sheet
from idkey.table.fields import HEADERS
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
_LEANS: dict[str, dict[str, tuple[str, ...]]] = {
    TRAITS: {EVIDENCE: ("attribute",)},
    SOURCES: {EVIDENCE: ("source",), TAXA: ("nameAccordingTo",)},
    CARE: {EVIDENCE: ("care_group",), TAXA: ("careGroup",)},
}
"""Where the names that a file gives are used elsewhere."""
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
            lines = (Row(0, {c: row.get(c, "") for c in header}, file) for row in self[file].values())
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
            about = {"attribute": (key, f"{key}{YOUNG}")} if not column else {"attribute": ()}
        elif file == CARE:
            about = {"care_group": key[:1], "taxon": key[1:]}
        else:
            about = {{TAXA: "taxon", GENERA: "genus"}.get(file, ""): (key,)}
        about |= {"attribute": (column,)} if column and file not in COLUMNS_OF else {}
        claims = self[EVIDENCE].items()
        return {k: row for k, row in claims if all(row.get(c) in names for c, names in about.items())}

    def take(self, source: State, place: Place) -> None:
        """Say of a row, a column or a cell all that another state says of it, claims included."""
        file, key, column = place
        old, claims = self.claims(place), source.claims(place)
        if not column:
            self.put(file, key, source[file].get(key))
        elif key in self[file]:
            self.fill(place, source.text(place))
        if file == TAXA and not column:
            self.put(CARE, ("", key), source[CARE].get(("", key)))
        readers = source.readers() if file in COLUMNS_OF and not column else {}
        for other in COLUMNS_OF.get(file, ()) if not column else ():
            for who, row in list(self[other].items()):
                for name in (key, f"{key}{YOUNG}"):
                    text = row.get(name, "")
                    if who in source[other]:
                        text = source.text((other, who, name))
                    elif not reads(readers, name, text):
                        text = ""
                    elif text and key in source[file]:
                        # The row stands here alone, and can still be read.
                        claims |= self.claims((other, who, name))
                    if text or name in row:
                        self.fill((other, who, name), text)
        for name, row in list(self[TRAITS].items()) if file == TRAITS and not column else ():
            if leans_on(row) == key and name in source[TRAITS] and name != key:
                self.fill((TRAITS, name, "applies_when"), source[TRAITS][name]["applies_when"])
        self[EVIDENCE] = {k: row for k, row in self[EVIDENCE].items() if k not in old} | claims

    def readers(self, amiss: set[Place] | None = None) -> Readers:
        """Return how the cells of each column are read; note the rows that define none."""
        readers: Readers = {}
        for file, read, parse in (
            (TRAITS, read_traits, parse_cell),
            (CARE_COLUMNS, read_care_columns, parse_care),
        ):
            found, rows = Found(), [Row(0, row, file) for row in self[file].values()]
            for made in read(Sheet(file, (), tuple(rows)), found):
                readers[made.id] = readers[made.id + YOUNG] = partial(parse, made)
            by_place = {row.place: row for row in rows} if found and amiss is not None else {}
            for problem in found if by_place else ():
                row = by_place[problem.row]
                # Whose states it names is to blame, not the trait that leans on them.
                of = leans_on(row.values) if problem.column == "applies_when" else ""
                amiss.add((file, of if of in self[file] else row["id"], ""))
        return readers

    def rename(self, file: str, was: str, now: str) -> None:
        """Give a trait, a source or a care group another name, and all that leans on it."""
        both = {was: now, f"{was}{YOUNG}": f"{now}{YOUNG}"} if file == TRAITS else {was: now}
        for name, rows in self.items():
            columns = KEYS[file][:1] if name == file else _LEANS[file].get(name, ())
            renamed = []
            for row in rows.values():
                cells = {c: both.get(text, text) if c in columns else text for c, text in row.items()}
                for old, new in both.items() if name in COLUMNS_OF.get(file, ()) else ():
                    if old in cells:
                        cells[new] = cells.pop(old) or cells.get(new, "")
                if name == file == TRAITS and leans_on(cells) == was:
                    cells["applies_when"] = f"{now}={cells['applies_when'].partition('=')[2]}"
                if name == file == SOURCES:
                    cells["entry"] = _ENTRY.sub(lambda m: m[1] + both.get(m[2], m[2]), cells["entry"])
                renamed.append(cells)
            self[name] = {key_of(name, cells): cells for cells in renamed}

    def let_go(self, place: Place) -> None:
        """Blank what leans on a row that is gone, and drop the claims that do."""
        file, key, column = place
        for other, columns in _LEANS.get(file, {}).items() if not column else ():
            for at, row in list(self[other].items()):
                if any(row.get(c) == name_of(key) for c in columns):
                    self.put(other, at, None if other == EVIDENCE else row | dict.fromkeys(columns, ""))

    def ask_always(self) -> None:
        """Have a trait asked always whose condition can't be read any more."""
        amiss: set[Place] = set()
        self.readers(amiss)
        for name, row in list(self[TRAITS].items()):
            of = leans_on(row)
            if of and (of not in self[TRAITS] or (TRAITS, of, "") in amiss):
                self.fill((TRAITS, name, "applies_when"), "")

    def fold(self, readers: Readers, file: str, own: str, theirs: str) -> None:
        """Have what leans on the keeper's own lean on the shipped one of that name, as far as it can."""
        for taxon, row in self[TAXA].items() if file == TRAITS else ():
            for name, other in ((own, theirs), (f"{own}{YOUNG}", f"{theirs}{YOUNG}")):
                text = row.get(name, "")
                if text and (row.get(other) or not reads(readers, other, text)):
                    self.take(State(), (TAXA, taxon, name))
        if file == CARE:
            self.take(State(), (CARE, (own, ""), ""))
        self[file].pop(own, None)
        self.rename(file, own, theirs)


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


def words_of(file: str, row: Cells | None) -> str:
    """Return a row on one line, its name left out; of a kind its name, with its trade codes."""
    said = filled(file, row)
    if row and file == TAXA:
        codes = row["tradeCode"].replace("|", ", ")
        return f"{row['scientificName']} ({codes})" if codes else row["scientificName"]
    if row and file == SOURCES:
        return _ENTRY.sub(lambda m: m[1], said["entry"])
    return "; ".join(text for column, text in said.items() if column not in KEYS[file])
