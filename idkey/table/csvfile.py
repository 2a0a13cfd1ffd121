"""A CSV file <-> rows of text, each with its number in a spreadsheet; a keeper's sheet as text."""

from __future__ import annotations

import csv
import io
import re
import warnings
import zipfile
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any, NamedTuple

import pandas as pd

from idkey.arguments import ODD_CHARACTER, text_problem
from idkey.errors import IdkeyError, Problem, TableError, one_of, refusal
from idkey.table import layout

Wrong = Callable[[str, str], None]
"""Notes what is wrong in a column of one row: column, what would be right."""
Known = Callable[[Sequence[str]], int]
"""How many cells of a row are names of columns; 0 where none of them names the kinds."""

_NUMBER = r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_HARMLESS = re.compile(rf"-|{_NUMBER}(?:\.\.{_NUMBER})?")
_BEFORE, _SIGN = r"(?:^|(?<=[;\t\r\n]))", r"(?=[ \"']*[=+\-@\t])"
_FORMULA, _GUARDED = re.compile(_BEFORE + _SIGN), re.compile(_BEFORE + "'" + _SIGN)
"""Where a formula would begin, also for a program that parts cells by semicolons or tabs and then takes no
notice of quotation marks, and the apostrophe that stands there."""
_LINE = re.compile(r"[^\r\n]*(?:\r\n|\r|\n)|[^\r\n]+")
_NEEDS_QUOTES = re.compile(r'[",\r\n]')
_NOT_CSV = f"not well-formed CSV from here on, or a cell of more than {layout.MOST_CELL} characters; "
_NOT_CSV += "look for an unclosed quotation mark"
_SHOWN = 60
_MOST_COMPARED = 50_000
_HEADER_WITHIN = 10
"""The header of a keeper's sheet stands in one of the first so many rows that are not blank."""
_MOST_LOOKED_AT = 10 * layout.MOST_CELLS
"""Cells of a keeper's sheet, the blank ones counted."""
_LAST_ROW = 1_048_576
"""No spreadsheet program writes a row beyond this."""
_DELIMITERS = {",": "commas", ";": "semicolons", "\t": "tabs"}


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a file: its number as a spreadsheet shows it, and its cells by column."""

    number: int
    values: dict[str, str]
    file: str

    def __getitem__(self, column: str) -> str:
        return self.values[column]

    @property
    def about(self) -> tuple[str, str]:
        """Whether the row is about a kind, a genus or a care group, and which; blank where none is named."""
        kinds = {"id": "taxon", "taxon": "taxon", "genus": "genus", "care_group": "care_group"}
        return next(((kind, self.values[c]) for c, kind in kinds.items() if self.values.get(c)), ("", ""))

    @property
    def place(self) -> str:
        """Number, with the id where there is one."""
        who = self.about[1]
        return f"{self.number} ({who})" if who else str(self.number)


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

    >>> guarded_cell("=1+1"), guarded_cell("-3..4"), guarded_cell("'=x"), guarded_cell("a;=x")
    ("'=1+1", '-3..4', "''=x", "a;'=x")
    """
    return text if _HARMLESS.fullmatch(text) else _FORMULA.sub("'", text)


def plain_cell(text: str) -> str:
    """Return the text of a written cell; the inverse of `guarded_cell`."""
    return _GUARDED.sub("", text) if "'" in text else text


def cell_problem(text: str) -> str:
    """Say why a text can't stand in a cell, and what would be right; blank where it can."""
    if len(text) > layout.MOST_CELL:
        return f"the cell has {len(text)} characters; {layout.MOST_CELL} are the most"
    return text_problem(text)


# -- reading ---------------------------------------------------------------------------------------------


def bytes_of(file: Path) -> bytes | None:
    """Return what stands in a file, no more than shows that it is too long; None where there is none.

    A pipe or a device is no file: it would be waited on for ever. Raises TableError.
    """
    try:
        if not file.is_file():
            return None
        with file.open("rb") as opened:
            return opened.read(layout.MOST_BYTES + 1)
    except OSError as error:
        raise _refused(file.name, "", f"the file cannot be read ({refusal(error)})") from None


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
    if right := _too_much(text):
        found.add(name, "", "", len(text), right)
        return unreadable
    reader = csv.reader(_lines(text), strict=True)
    odd = ODD_CHARACTER.search(text) is not None
    rows: list[Row] = []
    number, whole = 0, True
    try:
        header = tuple(h.strip() for h in next(reader, ()))
        number = 1
        missing = [c for c in columns if c in later and c not in header]
        wrong = list(_wrong_in_header(header, [c for c in columns if c not in missing], more=more))
        for place, value, right in wrong:
            found.add(name, "1", place, value, right)
        if wrong:
            return unreadable
        blank = dict.fromkeys(missing, "")
        most = min(layout.MOST_ROWS, layout.MOST_CELLS // len(header))
        for number, line in enumerate(reader, start=2):
            if not any(map(str.strip, line)):
                continue
            if len(rows) == most:
                right = f"the file has more than {most} rows of {len(header)} columns; this is no trait table"
                found.add(name, str(most + 2), "", most + 1, right)
            if len(rows) == most or found.full:
                return unreadable
            wrong = []
            if len(line) != len(header):
                wrong = [("", len(line), f"the row has {len(line)} cells; the header has {len(header)}")]
            elif odd or max(map(len, line)) > layout.MOST_CELL:
                rights = zip(header, line, map(cell_problem, line), strict=True)
                wrong = [(column, cell[:_SHOWN], right) for column, cell, right in rights if right]
            whole = whole and not wrong
            if not wrong:
                rows.append(Row(number, dict(zip(header, map(_stripped, line), strict=True)) | blank, name))
            who = ODD_CHARACTER.sub("", line[0][: layout.MOST_NAME]).strip() if wrong else ""
            for column, value, right in wrong:
                found.add(name, f"{number} ({who})" if who else str(number), column, value, right)
    except csv.Error as error:
        found.add(name, str(number + 1), "", str(error), _NOT_CSV)
        return unreadable
    return Sheet(name, (*header, *missing), tuple(rows), readable=whole)


def _too_much(text: str) -> str:
    """Say that a text has more lines than are gone through; blank where it has not."""
    # Windows ends a line with two characters.
    if max(text.count("\n"), text.count("\r")) <= layout.MOST_LINES:
        return ""
    return f"the file has more than {layout.MOST_LINES} lines, blank ones counted; copy what is filled"


def _lines(text: str) -> Iterator[str]:
    """Cut a text into lines, one at a time. Raises csv.Error for one that is too long to be taken apart."""
    for found in _LINE.finditer(text):
        if found.end() - found.start() > layout.MOST_LINE:
            raise csv.Error(f"a line of more than {layout.MOST_LINE} characters")
        yield found.group()


def _stripped(cell: str) -> str:
    cell = cell.strip()
    return plain_cell(cell).strip() if "'" in cell else cell


def _wrong_in_header(
    header: Sequence[str], columns: Sequence[str], *, more: bool
) -> Iterator[tuple[str, str, str]]:
    """Yield what is wrong with a header: column, value, what would be right."""
    if not header:
        yield "", "", f"the file is empty; the first row holds {', '.join(columns)}"
    elif len(header) > layout.MOST_COLUMNS:
        right = f"the file has {len(header)} columns; {layout.MOST_COLUMNS} are the most"
        yield "", str(len(header)), right
    elif len(header) == 1 and ";" in header[0]:
        yield "", header[0][:_SHOWN], "cells are parted by semicolons; save as CSV with commas"
    else:
        shown = ", ".join(h[:_SHOWN] for h in header[:12])
        for column in (c for c in columns if c not in header):
            yield column, shown, f"column {column} is missing from the header"
        for i, column in enumerate(header):
            if not column:
                yield f"column {i + 1}", "", "the header cell is blank; name the column or delete it"
            elif len(column) > layout.MOST_NAME or ODD_CHARACTER.search(column):
                most = f"a name of at most {layout.MOST_NAME} characters, without control characters"
                yield f"column {i + 1}", column[:_SHOWN], f"a column has {most}"
            elif column in header[:i]:
                yield column, column, "two columns have this name"
            elif not more and column not in columns:
                yield column, column, one_of(column, list(columns), "a column")


# -- writing ---------------------------------------------------------------------------------------------


def write_sheet(header: Sequence[str], rows: Iterable[Sequence[str]]) -> bytes:
    """Write a CSV file: UTF-8, a line feed after each row, quotation marks only where they are needed."""
    lines = [",".join(map(_written, row)) for row in (header, *rows)]
    return "".join(f"{line}\n" for line in lines).encode("utf-8")


def _written(cell: str) -> str:
    text = guarded_cell(cell.strip())
    return '"' + text.replace('"', '""') + '"' if _NEEDS_QUOTES.search(text) else text


# -- a keeper's sheet, CSV or XLSX -----------------------------------------------------------------------


class Grid(NamedTuple):
    """One sheet as text: its header, the rows below by number that are not blank, and how it was read."""

    place: str
    header: list[str]
    header_row: int
    lines: list[tuple[int, list[str]]]
    notes: tuple[str, ...]


def read_grid(file: Path, sheet: str | None, known: Known) -> Grid:
    """Read a sheet of a file, by default the first whose header names the kinds. Raises TableError."""
    data = bytes_of(file)
    if data is None:
        raise _refused(file.name, file.name, "there is no such file; give a CSV or XLSX file")
    if len(data) > layout.MOST_BYTES:
        raise _refused(file.name, "", f"the file is larger than {layout.MOST_BYTES} bytes; split it")
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        raise _refused(file.name, "", "an old workbook, or one with a password; save it as .xlsx without one")
    if not data.startswith(b"PK"):
        return _csv_grid(file.name, data, known)
    try:
        # It warns of styles and rules that it leaves out; no cell depends on them.
        with warnings.catch_warnings(action="ignore"):
            return _workbook_grid(file.name, data, sheet, known)
    except IdkeyError:
        raise
    except Exception as error:
        # A broken workbook makes its reader fail in any of a dozen ways.
        what = " ".join(str(error).split())[:_SHOWN] or type(error).__name__
        right = "the workbook is broken or of another kind; save it again as .xlsx, or as CSV"
        raise _refused(file.name, what, right) from error


def _refused(file: str, value: object, right: str, row: str = "") -> TableError:
    return TableError([Problem(file, row, "", str(value), right)])


def _grid(place: str, rows: Iterable[list[str]], known: Known, *, packed: bool = False) -> Grid:
    """Find the header; where a comma parts the cells (`packed`) a row that is wider may have slipped."""
    lines: list[tuple[int, list[str]]] = []
    number = looked_at = 0
    try:
        for number, row in enumerate(rows, start=1):
            looked_at += 1 + len(row)
            width = max((at for at, text in enumerate(row, start=1) if text), default=0)
            if width > layout.MOST_COLUMNS or looked_at > _MOST_LOOKED_AT:
                most = f"{layout.MOST_COLUMNS} columns and {_MOST_LOOKED_AT} cells, blank ones counted"
                raise _refused(place, "", f"a sheet has at most {most}; copy what is filled", str(number))
            if width and len(lines) > layout.MOST_SHEET_ROWS:
                right = f"a sheet has at most {layout.MOST_SHEET_ROWS} rows that are filled; split it"
                raise _refused(place, "", right, str(number))
            if width:
                lines.append((number, row[:width]))
    except csv.Error as error:
        raise _refused(place, error, _NOT_CSV, str(number + 1)) from None
    top = next((i for i, (_, cells) in enumerate(lines[:_HEADER_WITHIN]) if known(cells)), 0)
    number, header = lines[top] if lines else (1, [])
    widest = 0 if packed else max((len(cells) for _, cells in lines), default=0)
    notes = (f"the header is row {number}; what stands above it was not read",) if top else ()
    return Grid(place, header + [""] * (widest - len(header)), number, lines[top + 1 :], notes)


def _csv_grid(name: str, data: bytes, known: Known) -> Grid:
    text, notes = _decoded(name, data)
    if right := _too_much(text):
        raise _refused(name, "", right)
    head = text[: layout.MOST_CELL].splitlines()[: 2 * _HEADER_WITHIN]
    delimiter = max(
        _DELIMITERS, key=lambda sign: max(map(known, csv.reader(head, delimiter=sign)), default=0)
    )
    if delimiter != ",":
        notes.append(f"cells are parted by {_DELIMITERS[delimiter]}")
    rows = csv.reader(_lines(text), delimiter=delimiter, strict=True)
    cells = ([plain_cell(cell.strip()) for cell in row] for row in rows)
    grid = _grid(name, cells, known, packed=delimiter == ",")
    return grid._replace(notes=(*notes, *grid.notes))


def _decoded(name: str, data: bytes) -> tuple[str, list[str]]:
    """Return the text of a keeper's CSV file, and a note where it is not UTF-8."""
    note = "the file is not UTF-8; it was read as Windows-1252: look whether its accents are right"
    is_utf_16 = data.startswith((b"\xff\xfe", b"\xfe\xff"))
    for encoding in ("utf-16",) if is_utf_16 else ("utf-8-sig", "cp1252"):
        with suppress(UnicodeDecodeError):
            text = data.decode(encoding)
            if "\0" not in text:
                return text, [note] if encoding == "cp1252" else []
    raise _refused(name, "", "this is neither CSV nor XLSX; save it as one of them")


def _workbook_grid(name: str, data: bytes, sheet: str | None, known: Known) -> Grid:
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        size = sum(part.file_size for part in packed.infolist())
    if size > layout.MOST_BYTES:
        right = f"the workbook unpacks to more than {layout.MOST_BYTES} bytes; save the sheet alone"
        raise _refused(name, size, right)
    # Fetched for a workbook only: it takes longer to load than all of this package.
    import openpyxl

    grids: dict[str, Grid] = {}
    book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True, keep_links=False)
    with closing(book):
        titles = [page.title for page in book.worksheets]
        asked = [t for t in titles if sheet is None or t.strip().casefold() == sheet.strip().casefold()]
        if not asked:
            raise _refused(name, sheet, one_of(sheet, titles, "the name of a sheet"))
        for title in asked:
            # The size that a sheet states of itself is often wrong.
            book[title].reset_dimensions()
            rows = ([_seen(cell) for cell in row] for row in islice(book[title].iter_rows(), _LAST_ROW))
            grids[title] = _grid(f"{name}, sheet {title}", rows, known)
    title = next((t for t, grid in grids.items() if known(grid.header)), asked[0])
    others = ", ".join(t for t, grid in grids.items() if grid.header and t != title)
    note = (f"sheet {title} was read; not read: {others}",) if others else ()
    return grids[title]._replace(notes=(*note, *grids[title].notes))


def _seen(cell: Any) -> str:
    """Return a cell of a workbook as a person sees it."""
    value = cell.value
    if value is None or isinstance(value, bool):
        return {None: "", True: "yes", False: "no"}[value]
    if isinstance(value, int | float) and "%" in str(cell.number_format):
        return f"{value * 100:.12g}%"
    # More than 15 digits are the computer's, not the keeper's.
    return f"{value:.15g}" if isinstance(value, float) else plain_cell(str(value).strip())
