"""A CSV file <-> rows of text, each with its number in a spreadsheet. Formulas are written as text."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from idkey.errors import Problem, one_of
from idkey.table import layout

Wrong = Callable[[str, str], None]
"""Notes what is wrong in a column of one row: column, what would be right."""

ODD_CHARACTER = re.compile(r"[\x00-\x08\x0e-\x1b\x7f]")
"""Control characters that are no white space; no text that a person wrote holds one."""

_NUMBER = r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_HARMLESS = re.compile(rf"-|{_NUMBER}(?:\.\.{_NUMBER})?")
_FORMULA = re.compile(r"'*[=+\-@\t]")
_NEEDS_QUOTES = re.compile(r'[",\r\n]')
_SHOWN = 60
_MOST_COMPARED = 50_000


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a file: its number as a spreadsheet shows it, and its cells by column."""

    number: int
    values: dict[str, str]
    file: str

    def __getitem__(self, column: str) -> str:
        return self.values[column]

    @property
    def who(self) -> str:
        """Whom the row is about: a trait, a taxon, a genus or a care group; blank where it does not say."""
        return self.about[1]

    @property
    def about(self) -> tuple[str, str]:
        """Whom the row is about, and whether that is a kind, a genus or a care group."""
        kinds = {"id": "taxon", "taxon": "taxon", "genus": "genus", "care_group": "care_group"}
        return next(((kind, self.values[c]) for c, kind in kinds.items() if self.values.get(c)), ("", ""))

    @property
    def place(self) -> str:
        """Number, with the id where there is one."""
        return f"{self.number} ({self.who})" if self.who else str(self.number)


@dataclass(frozen=True, slots=True)
class Sheet:
    """A file as text: header and rows. `readable` is False also where a row had to be left out."""

    file: str
    header: tuple[str, ...]
    rows: tuple[Row, ...]
    readable: bool = True

    def names(self, column: str, without: str = "") -> set[str] | None:
        """Return what stands in a column (of the rows where `without` is blank); None if not readable."""
        if not self.readable:
            return None
        return {row[column] for row in self.rows if row[column] and not (without and row[without])}

    def frame(self, columns: Sequence[str] = ()) -> pd.DataFrame:
        """Return the rows as text: these columns, or all in the order of the header."""
        texts = {h: [row.values[h] for row in self.rows] for h in columns or self.header}
        return pd.DataFrame(texts, dtype="str")


class Found(list[Problem]):
    """The problems found so far, up to a limit; `folder` is the name of what is read."""

    def __init__(self, folder: str = ""):
        super().__init__()
        self.folder = folder
        self._compared = 0

    @property
    def full(self) -> bool:
        """Whether so much is wrong that nothing more is looked for."""
        return len(self) > layout.MOST_PROBLEMS

    def add(self, file: str, row: str, column: str, value: Any, right: str) -> None:
        """Note a problem; past the limit, note once that there is more."""
        if len(self) < layout.MOST_PROBLEMS:
            self.append(Problem(file, row, column, str(value), right))
        elif len(self) == layout.MOST_PROBLEMS:
            self.append(Problem(file, "", "", "", "there is more wrong from here on; mend these first"))

    def at(self, row: Row) -> Wrong:
        """Return a function that notes what is wrong in a column of this row."""
        return lambda column, right: self.add(row.file, row.place, column, row[column], right)

    def one_of(self, value: str, known: Collection[str], what: str) -> str:
        """Say which values are allowed; long lists are searched for a near spelling only so many times."""
        if self._compared + len(known) > _MOST_COMPARED:
            return f"use {what}; this one is not there"
        self._compared += len(known)
        return one_of(value[: layout.MOST_NAME], sorted(known), what)


# -- cells -----------------------------------------------------------------------------------------------


def guarded_cell(text: str) -> str:
    """Return a cell as it is written: an apostrophe goes before what a spreadsheet would run as a formula.

    Examples
    --------
    >>> guarded_cell("=1+1"), guarded_cell("-3..4"), guarded_cell("-"), guarded_cell("'=x")
    ("'=1+1", '-3..4', '-', "''=x")
    """
    return f"'{text}" if _FORMULA.match(text) and not _HARMLESS.fullmatch(text) else text


def plain_cell(text: str) -> str:
    """Return the text of a written cell; the inverse of `guarded_cell`."""
    return text[1:] if text.startswith("'") and _FORMULA.match(text) else text


# -- reading ---------------------------------------------------------------------------------------------


def text_of(name: str, data: bytes | None, found: Found, most: int) -> str | None:
    """Return the bytes of a file as text, or None where there are none, too many or no UTF-8."""
    if data is None:
        found.add(name, "", "", found.folder, "the file is missing from this folder")
        return None
    if len(data) > most:
        found.add(name, "", "", len(data), f"the file is larger than {most} bytes; this is no trait table")
        return None
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        found.add(name, "", "", f"byte {error.start}", "the file is not UTF-8; save it again as CSV UTF-8")
        return None


def read_sheet(
    name: str,
    data: bytes | None,
    found: Found,
    columns: Sequence[str],
    later: Collection[str] = (),
    *,
    more: bool = False,
) -> Sheet:
    """Read a CSV file as text, `data` None where it is missing; what is wrong is added to `found`.

    `columns` must be there, save for those that came `later`: an older file is blank in them. With `more` it
    may have others.
    """
    unreadable = Sheet(name, (), (), readable=False)
    text = text_of(name, data, found, layout.MOST_BYTES)
    if text is None:
        return unreadable
    rows: list[Row] = []
    number, whole, taken = 0, True, 0

    def lines() -> Iterator[str]:
        nonlocal taken
        for line in io.StringIO(text, newline=""):
            taken += len(line)
            if taken > layout.MOST_ROW:
                msg = f"row longer than {layout.MOST_ROW} characters"
                raise csv.Error(msg)
            yield line

    reader = csv.reader(lines(), strict=True)
    try:
        first = next(reader, None)
        if first is None:
            found.add(name, "1", "", "", f"the file is empty; the first row holds {', '.join(columns)}")
            return unreadable
        number, header = 1, tuple(h.strip() for h in first)
        missing = [c for c in columns if c in later and c not in header]
        if not _header_is_good(name, header, [c for c in columns if c not in missing], found, more=more):
            return unreadable
        blank = dict.fromkeys(missing, "")
        odd = ODD_CHARACTER.search(text) is not None
        most = min(layout.MOST_ROWS, layout.MOST_CELLS // len(header))
        for number, line in enumerate(reader, start=2):
            taken = 0
            if not any(map(str.strip, line)):
                if number <= layout.MOST_LINES:
                    continue
                found.add(name, str(number), "", "", "blank rows up to here; delete them")
                return unreadable
            if len(rows) == most:
                right = f"the file has more than {most} rows of {len(header)} columns; this is no trait table"
                found.add(name, str(most + 2), "", most + 1, right)
            if len(rows) == most or found.full:
                return unreadable
            cells = _cells(name, number, header, line, found, odd=odd)
            whole = whole and cells is not None
            if cells is not None:
                rows.append(Row(number, cells | blank, name))
    except csv.Error as error:
        found.add(name, str(number + 1), "", str(error), _why(error))
        return unreadable
    return Sheet(name, (*header, *missing), tuple(rows), readable=whole)


def _why(error: csv.Error) -> str:
    long = "larger" in str(error) or "longer" in str(error)
    most = f"a cell has at most {layout.MOST_CELL} characters, a row {layout.MOST_ROW}"
    right = most if long else "the file is not well-formed CSV from here on"
    return f"{right}; look for an unclosed quotation mark"


def _cells(
    name: str, number: int, header: tuple[str, ...], line: list[str], found: Found, *, odd: bool
) -> dict[str, str] | None:
    """Return the cells of a row, or None where it has to be left out."""
    who = ODD_CHARACTER.sub("", line[0][: layout.MOST_NAME]).strip()
    place = f"{number} ({who})" if who else str(number)
    if len(line) != len(header):
        right = f"the row has {len(line)} cells; the header has {len(header)}"
        found.add(name, place, "", len(line), right)
        return None
    good = True
    long = max(map(len, line)) > layout.MOST_CELL
    for column, cell in zip(header, line, strict=True) if odd or long else ():
        sign = ODD_CHARACTER.search(cell)
        if len(cell) > layout.MOST_CELL:
            right = f"the cell has {len(cell)} characters; {layout.MOST_CELL} are the most"
            found.add(name, place, column, f"{cell[:_SHOWN]}...", right)
        if sign:
            right = f"the cell holds the control character {sign.group()!r}; delete it"
            found.add(name, place, column, cell[:_SHOWN], right)
        good = good and not sign and len(cell) <= layout.MOST_CELL
    return {h: _stripped(c) for h, c in zip(header, line, strict=True)} if good else None


def _stripped(cell: str) -> str:
    cell = cell.strip()
    return plain_cell(cell).strip() if cell.startswith("'") else cell


def _header_is_good(
    name: str, header: tuple[str, ...], columns: Sequence[str], found: Found, *, more: bool
) -> bool:
    before = len(found)
    if len(header) > layout.MOST_COLUMNS:
        right = f"the file has {len(header)} columns; {layout.MOST_COLUMNS} are the most"
        found.add(name, "1", "", len(header), right)
        return False
    if len(header) == 1 and ";" in header[0]:
        right = "cells are parted by semicolons; save as CSV with commas"
        found.add(name, "1", "", header[0][:_SHOWN], right)
        return False
    shown = ", ".join(h[:_SHOWN] for h in header[:12])
    for column in columns:
        if column not in header:
            found.add(name, "1", column, shown, f"column {column} is missing from the header")
    for i, column in enumerate(header):
        place, right = column, ""
        if not column:
            place, right = f"column {i + 1}", "the header cell is blank; name the column or delete it"
        elif len(column) > layout.MOST_NAME or ODD_CHARACTER.search(column):
            most = f"a name of at most {layout.MOST_NAME} characters, without control characters"
            place, right = f"column {i + 1}", f"a column has {most}"
        elif column in header[:i]:
            right = "two columns have this name"
        elif not more and column not in columns:
            right = one_of(column, list(columns), "a column")
        if right:
            found.add(name, "1", place, column[:_SHOWN] if place != column else column, right)
    return len(found) == before


# -- writing ---------------------------------------------------------------------------------------------


def write_sheet(header: Sequence[str], rows: Iterable[Sequence[str]]) -> bytes:
    """Write a CSV file: UTF-8, a line feed after each row, quotation marks only where they are needed."""
    lines = [",".join(map(_written, row)) for row in (header, *rows)]
    return "".join(f"{line}\n" for line in lines).encode("utf-8")


def _written(cell: str) -> str:
    text = guarded_cell(cell.strip())
    return '"' + text.replace('"', '""') + '"' if _NEEDS_QUOTES.search(text) else text
