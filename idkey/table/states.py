"""The rows of a table by file and key: compared, renamed, taken from one state of the table to another."""

from __future__ import annotations

import re
from collections.abc import Callable, Hashable, Iterable, Mapping
from dataclasses import replace
from functools import partial
from typing import Any

from idkey.table.care import parse_care
from idkey.table.check import check_sheets
from idkey.table.claims import Source
from idkey.table.csvfile import Found, Row, Sheet
from idkey.table.fields import HEADERS
from idkey.table.genera import effective
from idkey.table.rows import read_care_columns, read_traits
from idkey.table.schema import YOUNG, parse_cell

Rows = dict[str, dict[Hashable, Row]]
"""The rows of a table by file and key."""
Place = tuple[str, Hashable, str]
"""File, key and column; the column is blank for a whole row."""

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
_KEY = re.compile(r"(@\w+\s*[{(]\s*)([^\s,={}]+)")


def rows_of(sheets: Mapping[str, Sheet], sources: Mapping[str, Source]) -> Rows:
    """Return the rows of a table by file and key."""
    rows: Rows = {
        file: {key_of(row): row for row in sheets[file].rows} if file in sheets else {} for file in KEYS
    }
    rows[SOURCES] = {k: Row(0, {"key": k, "entry": s.entry}, SOURCES) for k, s in sources.items()}
    return rows


def sheets_of(rows: Rows, headers: Mapping[str, Iterable[str]]) -> dict[str, Sheet]:
    """Return rows as the files of a table, their columns in the order of these headers."""
    sheets = {}
    for file in KEYS.keys() - {SOURCES}:
        of = next((f for f, others in COLUMNS_OF.items() if file in others), "")
        used = {c for row in rows[file].values() for c, text in row.values.items() if text}
        known = {*HEADERS[file], *(rows[of] if of and file != GENERA else ())}
        young = {f"{name}{YOUNG}" for name in rows.get(of, ())} | {*rows.get(of, ())}
        columns = (c for row in rows[file].values() for c in row.values)
        header = [
            c
            for c in dict.fromkeys([*HEADERS[file], *headers.get(file, ()), *columns])
            if c in known or (c in young and c in used)
        ]
        lines = (replace(r, values={c: r.values.get(c, "") for c in header}) for r in rows[file].values())
        sheets[file] = Sheet(file, tuple(header), tuple(lines))
    return sheets


def key_of(row: Row) -> Hashable:
    """Return the key of a row."""
    if row.file == EVIDENCE:
        return frozenset(filled(row).items())
    if row.file == CARE:
        return ("", row["taxon"]) if row["taxon"] else (row["care_group"], "")
    return row[KEYS[row.file][0]]


def filled(row: Row | None) -> dict[str, str] | None:
    """Return what a row says; of a source no more than counts."""
    if row is None:
        return None
    if row.file == SOURCES:
        entry, found = row["entry"], _KEY.search(row["entry"])
        at = found.start() if found else 0
        return {"key": row["key"], "entry": " ".join(entry[at:].split())}
    return {column: text for column, text in row.values.items() if text}


def text_at(rows: Rows, place: Place) -> str:
    """Return what a cell says; blank where there is none."""
    file, key, column = place
    row = rows[file].get(key)
    return row.values.get(column, "") if row else ""


def with_cells(row: Row, **cells: str) -> Row:
    """Return a row with some cells changed."""
    return replace(row, values={**row.values, **cells})


def put(rows: dict[Hashable, Row], key: Hashable, row: Row | None) -> None:
    """Set a row, or take it out."""
    if row is None:
        rows.pop(key, None)
    else:
        rows[key] = row


def speaks_of(place: Place) -> Callable[[Row], bool]:
    """Return whether a claim is about a row or a cell."""
    file, key, column = place

    def speaks(claim: Row) -> bool:
        attribute = claim["attribute"]
        if file in COLUMNS_OF:
            return not column and attribute in (key, f"{key}{YOUNG}")
        if column not in ("", attribute):
            return False
        if file == CARE:
            return (claim["care_group"], claim["taxon"]) == key
        return claim.values.get({TAXA: "taxon", GENERA: "genus"}.get(file, "")) == key

    return speaks


def take(target: Rows, source: Rows, place: Place) -> None:
    """Make all that one state says of a row, a column or a cell what another says of it, claims included."""
    file, key, column = place
    speaks = speaks_of(place)
    claims = {k: r for k, r in source[EVIDENCE].items() if speaks(r)}
    if column:
        if key in target[file]:
            target[file][key] = with_cells(target[file][key], **{column: text_at(source, place)})
    else:
        put(target[file], key, source[file].get(key))
    if file == TAXA and not column:
        put(target[CARE], ("", key), source[CARE].get(("", key)))
    if file in COLUMNS_OF and not column:
        readers = readers_of(source)
        for other in COLUMNS_OF[file]:
            for who, row in list(target[other].items()):
                for name in (key, f"{key}{YOUNG}"):
                    text = row.values.get(name, "")
                    if who in source[other]:
                        text = text_at(source, (other, who, name))
                    elif not text or not reads(readers, name, text):
                        text = ""
                    elif key in source[file]:
                        # The row is the target's alone, and can still be read.
                        own = speaks_of((other, who, name))
                        claims |= {k: r for k, r in target[EVIDENCE].items() if own(r)}
                    if text or name in row.values:
                        target[other][who] = with_cells(target[other][who], **{name: text})
    for name, row in list(target[TRAITS].items()) if file == TRAITS and not column else ():
        if leans_on(row) == key and name in source[TRAITS] and name != key:
            target[TRAITS][name] = with_cells(row, applies_when=source[TRAITS][name]["applies_when"])
    target[EVIDENCE] = {k: r for k, r in target[EVIDENCE].items() if not speaks(r)} | claims


def readers_of(rows: Rows, amiss: set[Place] | None = None) -> dict[str, Callable[[str], Any]]:
    """Return how the cells of each column are read; note the rows that define none."""
    readers: dict[str, Callable[[str], Any]] = {}
    for file, read, parse in (
        (TRAITS, read_traits, parse_cell),
        (CARE_COLUMNS, read_care_columns, parse_care),
    ):
        found = Found()
        for made in read(Sheet(file, (), tuple(rows[file].values())), found):
            readers[made.id] = readers[made.id + YOUNG] = partial(parse, made)
        by_place = {row.place: row for row in rows[file].values()} if found else {}
        for problem in found if amiss is not None else ():
            row = by_place[problem.row]
            # Whose states it names is to blame, not the trait that leans on them.
            of = leans_on(row) if problem.column == "applies_when" else ""
            amiss.add((file, of if of in rows[file] else key_of(row), ""))
    return readers


def leans_on(trait: Row) -> str:
    """Return the trait by which it is told whether this one applies."""
    return trait["applies_when"].partition("=")[0].strip()


def reads(readers: Mapping[str, Callable[[str], Any]], column: str, text: str) -> bool:
    """Whether a text can be read as a cell of a column."""
    try:
        readers[column](text)
    except (KeyError, ValueError):
        return False
    return True


_LEANS: dict[str, dict[str, tuple[str, ...]]] = {
    TRAITS: {EVIDENCE: ("attribute",)},
    SOURCES: {EVIDENCE: ("source",), TAXA: ("nameAccordingTo",)},
    CARE: {EVIDENCE: ("care_group",), TAXA: ("careGroup",)},
}
"""Where the names that a file gives are used elsewhere."""


def rename(rows: Rows, file: str, was: str, now: str) -> None:
    """Give a trait, a source or a care group another name, and all that leans on it."""
    both = {was: now, f"{was}{YOUNG}": f"{now}{YOUNG}"} if file == TRAITS else {was: now}

    def renamed(row: Row) -> Row:
        columns = _LEANS[file].get(row.file, ()) if row.file != file else (KEYS[file][0],)
        values = {c: both.get(t, t) if c in columns else t for c, t in row.values.items()}
        if row.file in COLUMNS_OF.get(file, ()):
            for old, new in both.items():
                if old in values:
                    values[new] = values.pop(old) or values.get(new, "")
        if file == TRAITS and values.get("applies_when", "").partition("=")[0].strip() == was:
            values["applies_when"] = f"{now}={values['applies_when'].partition('=')[2]}"
        if row.file == file == SOURCES:
            values["entry"] = _KEY.sub(lambda m: m[1] + both.get(m[2], m[2]), values["entry"])
        return replace(row, values=values)

    for name in KEYS:
        rows[name] = {key_of(row): row for row in map(renamed, rows[name].values())}


def let_go(rows: Rows, place: Place) -> None:
    """Blank what leans on a row that is gone, and drop the claims that do."""
    file, key, column = place
    name = key[0] if file == CARE else key
    for other, columns in _LEANS.get(file, {}).items() if not column else ():
        for at, row in list(rows[other].items()):
            if any(row.values.get(c) == name for c in columns):
                gone = None if other == EVIDENCE else with_cells(row, **dict.fromkeys(columns, ""))
                put(rows[other], at, gone)


def ask_always(rows: Rows) -> None:
    """Have a trait asked always whose condition can't be read any more."""
    amiss: set[Place] = set()
    readers_of(rows, amiss)
    for name, row in list(rows[TRAITS].items()):
        of = leans_on(row)
        if of and (of not in rows[TRAITS] or (TRAITS, of, "") in amiss):
            rows[TRAITS][name] = with_cells(row, applies_when="")


def fold(mine: Rows, readers: Mapping[str, Callable[[str], Any]], names: tuple[str, str, str]) -> None:
    """Have what leans on the keeper's own lean on the shipped one of that name, as far as it can."""
    file, own, theirs = names
    if file == TRAITS:
        for taxon, row in list(mine[TAXA].items()):
            for name, other in ((own, theirs), (f"{own}{YOUNG}", f"{theirs}{YOUNG}")):
                text = row.values.get(name, "")
                if text and (row.values.get(other) or not reads(readers, other, text)):
                    mine[TAXA][taxon] = with_cells(mine[TAXA][taxon], **{name: ""})
                    speaks = speaks_of((TAXA, taxon, name))
                    mine[EVIDENCE] = {k: r for k, r in mine[EVIDENCE].items() if not speaks(r)}
    key = (own, "") if file == CARE else own
    if file == CARE:
        take(mine, dict.fromkeys(KEYS, {}), (CARE, key, ""))
    mine[file].pop(key, None)
    rename(mine, file, own, theirs)


def taken_over(rows: Rows) -> set[Place]:
    """Return the cells of kinds that are blank and still say something."""
    checked = check_sheets(sheets_of(rows, {}), None, Found())
    genus = [row["genus"] for row in rows[TAXA].values()]
    _, basis = effective(checked.traits, checked.cells, checked.genera, genus)
    ids = list(rows[TAXA])
    return {(TAXA, ids[i], c) for c, rests in basis.items() for i, rest in enumerate(rests) if rest}


def called(row: Row) -> str:
    """Return the name of a kind, with its trade codes."""
    codes = row["tradeCode"].replace("|", ", ")
    return f"{row['scientificName']} ({codes})" if codes else row["scientificName"]


def words_of(row: Row | None) -> str:
    """Return a row on one line, its name left out."""
    said = filled(row) or {}
    if row is not None and row.file == SOURCES:
        return _KEY.sub(lambda m: m[1], said["entry"])
    if row is not None and row.file == TAXA:
        return called(row)
    return "; ".join(text for column, text in said.items() if column not in KEYS[row.file])


def shown(text: str) -> str:
    """Return a text for a sentence."""
    return repr(text) if text else "nothing"
