"""The rows of a keeper's own table as they stand in its files: read, renamed, written."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from idkey.table.csvfile import Row, Sheet, write_sheet
from idkey.table.fields import HEADERS, META
from idkey.table.rows import shipped_care_columns
from idkey.table.schema import YOUNG
from idkey.table.sources import SOURCES, bibtex

if TYPE_CHECKING:
    from idkey.table.claims import Source
    from idkey.table.files import Parts

__all__ = ["CHANGES", "CHANGE_COLUMNS", "ID", "OVERLAY", "Own", "TwoMeanings", "own_row"]

OVERLAY = "overlay.json"
"""What the additions were made to."""
CHANGES = "changes.csv"
"""Cells of the shipped table that the keeper changed."""
CHANGE_COLUMNS = ("taxon", "column", "shipped", "own")
ID = "id"
"""Column of a change that leaves out a whole kind."""

TRAIT_COLUMNS = HEADERS["traits.csv"]
CARE_COLUMNS = (*HEADERS["care.csv"], *(column.id for column in shipped_care_columns()))
EVIDENCE_COLUMNS = HEADERS["evidence.csv"]
_HEADERS = {
    "traits.csv": TRAIT_COLUMNS,
    "care.csv": CARE_COLUMNS,
    "evidence.csv": EVIDENCE_COLUMNS,
    CHANGES: CHANGE_COLUMNS,
}
_KEY = re.compile(r"(@\w+\s*[{(]\s*)([^\s,={}]+)")


@dataclass(frozen=True, slots=True)
class TwoMeanings:
    """A name that the keeper gave and that the shipped table now uses for something else.

    The keeper's own goes by `now` until one of the two is chosen.
    """

    kind: str  # "trait", "source" or "care"
    was: str
    now: str
    shipped: str
    own: str


def own_row(file: str, values: Mapping[str, str]) -> Row:
    """Return a row that does not stand in a file yet."""
    return Row(0, dict(values), file)


class Own:
    """The keeper's own rows, by file.

    Attributes
    ----------
    rows : dict of str to list of Row
    columns : tuple of str
        Columns of taxa.csv, in order.
    sources : dict of str to Source
    stated : dict of str to object
        What overlay.json states.
    """

    def __init__(
        self,
        rows: Mapping[str, Iterable[Row]],
        columns: Iterable[str],
        sources: Mapping[str, Source],
        stated: Mapping[str, Any],
    ):
        self.rows = {file: list(rows.get(file, ())) for file in ("taxa.csv", *_HEADERS)}
        self.columns = tuple(columns) or META
        self.sources = dict(sources)
        self.stated = dict(stated)

    @classmethod
    def read(cls, parts: Parts, changes: Sheet) -> Own:
        """Take the rows out of what was read."""
        sheets: dict[str, Sheet] = {**parts.sheets, CHANGES: changes}
        rows = {file: sheet.rows for file, sheet in sheets.items()}
        return cls(rows, sheets["taxa.csv"].header, parts.sources or {}, parts.about)

    def __iter__(self) -> Iterator[Row]:
        return (row for rows in self.rows.values() for row in rows)

    @property
    def empty(self) -> bool:
        """Whether nothing was added or changed."""
        return not self.sources and not any(self.rows.values())

    def files(self) -> dict[str, bytes]:
        """Return the files of the overlay."""
        headers = {"taxa.csv": self.columns, **_HEADERS}
        files = {
            file: write_sheet(header, ([row.values.get(c, "") for c in header] for row in self.rows[file]))
            for file, header in headers.items()
        }
        files[SOURCES] = bibtex(self.sources.values()).encode()
        files[OVERLAY] = (json.dumps(self.stated, indent=2, ensure_ascii=False) + "\n").encode()
        return files

    def put_back(self, asides: Iterable[tuple[str, tuple[tuple[str, str], ...]]]) -> None:
        """Take in rows and cells that were set aside, where nothing else stands in their place by now."""
        live = {file: {_place(row) for row in rows} for file, rows in self.rows.items()}
        for file, cells in asides:
            row = own_row(file, dict(cells))
            if file == "taxa.csv" or not {*_HEADERS[file]} <= {*row.values}:
                self._put_cell(row)
            elif _place(row) not in live[file] or file == "evidence.csv":
                self.rows[file].append(row)

    def _put_cell(self, cell: Row) -> None:
        names = {ID, "care_group", "taxon"}
        for i, row in enumerate(self.rows[cell.file]):
            if row.who != cell.who:
                continue
            for column, text in cell.values.items():
                if column not in names and not row.values.get(column):
                    self.rows[cell.file][i] = _with(row, column, text)
                    if cell.file == "taxa.csv" and column not in self.columns:
                        self.columns = (*self.columns, column)

    def take_out(self, asides: Iterable[tuple[str, tuple[tuple[str, str], ...]]]) -> None:
        """Give up rows and cells that were set aside."""
        for file, cells in asides:
            given = dict(cells)
            if file != "taxa.csv" and {*_HEADERS[file]} <= {*given}:
                self.rows[file] = [row for row in self.rows[file] if row.values != given]
                continue
            who = own_row(file, given).who
            for column in given.keys() - {ID, "care_group", "taxon"}:
                self.rows[file] = [_with(r, column, "") if r.who == who else r for r in self.rows[file]]

    # -- names ----------------------------------------------------------------------------------

    def part_names(self, shipped: Parts) -> list[TwoMeanings]:
        """Give the keeper's traits, sources and care groups another name where theirs is taken by now.

        What is word for word the same in both is left to the shipped table.
        """
        found = []
        groups = [row for row in self.rows["care.csv"] if not row["taxon"]]
        theirs = {
            "trait": {row[ID]: _words(row, TRAIT_COLUMNS) for row in shipped.sheets["traits.csv"].rows},
            "source": {key: _entry(source) for key, source in (shipped.sources or {}).items()},
            "care": {
                row["care_group"]: _words(row, CARE_COLUMNS)
                for row in shipped.sheets["care.csv"].rows
                if not row["taxon"]
            },
        }
        mine = {
            "trait": {row[ID]: _words(row, TRAIT_COLUMNS) for row in self.rows["traits.csv"]},
            "source": {key: _entry(source) for key, source in self.sources.items()},
            "care": {row["care_group"]: _words(row, CARE_COLUMNS) for row in groups},
        }
        for kind, now, was in self.stated.get("renamed", ()):
            if now in mine.get(kind, ()) and was in theirs[kind]:
                found.append(TwoMeanings(kind, was, now, theirs[kind][was], mine[kind][now]))
        for kind, names in mine.items():
            taken = {*theirs[kind], *names}
            for name, words in names.items():
                if name not in theirs[kind]:
                    continue
                if words == theirs[kind][name]:
                    self.drop(kind, name)
                    continue
                now = _free(name, taken)
                taken.add(now)
                self.rename(kind, name, now)
                found.append(TwoMeanings(kind, name, now, theirs[kind][name], words))
        return found

    def drop(self, kind: str, name: str) -> None:
        """Take out a trait, a source or a care group; what leans on it stays."""
        if kind == "source":
            del self.sources[name]
            return
        file, column = ("traits.csv", ID) if kind == "trait" else ("care.csv", "care_group")
        rows = self.rows[file]
        self.rows[file] = [r for r in rows if r[column] != name or (kind == "care" and r["taxon"])]

    def rename(self, kind: str, name: str, now: str) -> None:
        """Give a trait, a source or a care group another name, and all that leans on it."""
        if kind == "source":
            self.sources = {now if k == name else k: _renamed(s, name, now) for k, s in self.sources.items()}
            self._replace("evidence.csv", "source", {name: now})
            self._replace_meta("nameAccordingTo", name, now)
        elif kind == "care":
            self._replace("care.csv", "care_group", {name: now})
            self._replace("evidence.csv", "care_group", {name: now})
            self._replace_meta("careGroup", name, now)
        else:
            self._replace("traits.csv", ID, {name: now})
            self.rename_column(name, now)
            for i, row in enumerate(self.rows["traits.csv"]):
                trait, sign, states = row["applies_when"].partition("=")
                if sign and trait.strip() == name:
                    self.rows["traits.csv"][i] = _with(row, "applies_when", f"{now}={states}")

    def rename_column(self, name: str, now: str) -> None:
        """Rename a trait's column, and that of its young fish, in all that leans on it."""
        both = {name: now, name + YOUNG: now + YOUNG}
        self._replace(CHANGES, "column", both)
        self._replace("evidence.csv", "attribute", both)
        columns = [both.get(c, c) for c in self.columns]
        self.columns = tuple(dict.fromkeys(columns))
        self.rows["taxa.csv"] = [
            replace(row, values={both.get(c, c): text for c, text in row.values.items()})
            for row in self.rows["taxa.csv"]
        ]

    def _replace(self, file: str, column: str, names: Mapping[str, str]) -> None:
        self.rows[file] = [
            _with(row, column, names[row[column]]) if row[column] in names else row for row in self.rows[file]
        ]

    def _replace_meta(self, column: str, name: str, now: str) -> None:
        self._replace("taxa.csv", column, {name: now})
        self.rows[CHANGES] = [
            _with(row, "own", now) if row["column"] == column and row["own"] == name else row
            for row in self.rows[CHANGES]
        ]


def _with(row: Row, column: str, text: str) -> Row:
    return replace(row, values={**row.values, column: text})


def _place(row: Row) -> tuple[str, str]:
    """Return what a row is about: of two rows on one thing only one can stand."""
    return row.who, row.values.get("column", row.values.get("attribute", ""))


def _words(row: Row, columns: Iterable[str]) -> str:
    """Return a row on one line, its name left out."""
    return "; ".join(row[c] for c in columns if row[c] and c not in (ID, "care_group"))


def _entry(source: Source) -> str:
    """Return what a source is, its key and the comments before it left out."""
    entry = source.entry
    found = _KEY.search(entry)
    return (
        " ".join((entry[: found.start(2)] + entry[found.end(2) :])[found.start() :].split()) if found else ""
    )


def _renamed(source: Source, name: str, now: str) -> Source:
    if source.key != name:
        return source
    entry = _KEY.sub(lambda m: m[1] + (now if m[2] == name else m[2]), source.entry)
    short = now if source.short == name else source.short
    return replace(source, key=now, short=short, entry=entry)


def _free(name: str, taken: set[str]) -> str:
    """Return a name like this one that nothing has yet."""
    now, n = f"{name}_own", 2
    while now in taken:
        now, n = f"{name}_own{n}", n + 1
    return now
