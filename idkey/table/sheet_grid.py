"""A spreadsheet file, CSV or XLSX, as a grid of text. Knows nothing of kinds and traits.

A cell is the text that a person sees in it. What can't be shown so, such as a formula without a result, is
kept apart with a sentence that says what would be right.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import os
import warnings
import zipfile
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from itertools import islice
from pathlib import Path
from typing import Any

from idkey.errors import IdkeyError, Problem, TableError, one_of
from idkey.table.csvfile import plain_cell
from idkey.table.layout import MOST_BYTES, MOST_CELL, MOST_CELLS, MOST_COLUMNS, MOST_ROWS
from idkey.table.reading import MADE_A_DATE

__all__ = ["Grid", "read_grid"]

NO_RESULT = "a formula without its result; save the file in the spreadsheet program, or write the result"

_MOST_LOOKED_AT = 10 * MOST_CELLS
"""Cells of a sheet, the blank ones counted."""
_LAST_ROW = 1_048_576
"""No spreadsheet program writes a row beyond this."""
_HEADER_WITHIN = 10
"""The header stands in one of the first so many rows that are not blank."""
_DELIMITERS = {",": "commas", ";": "semicolons", "\t": "tabs"}

Known = Callable[[Sequence[str]], int]
"""How many cells of a row are names of columns; 0 where none of them names the kinds."""


@dataclass(frozen=True)
class Grid:
    """One sheet as text.

    Attributes
    ----------
    file, sheet : str
        File name, and the name of the sheet (blank for CSV).
    header : tuple of str
    header_row : int
        Number of the header as a spreadsheet shows it.
    rows : tuple of (int, tuple of str)
        The rows below it that are not blank: number, cells. As wide as the header or wider.
    notes : tuple of str
        How the file was read, where that is not plain.
    unread : mapping of (int, int) to str
        Cells (row number, column from 0) whose value can't be had, and what would be right.
    packed : bool
        Cells may have slipped into the next column where a row is wider than the header: a comma parts them.
    """

    file: str
    sheet: str
    header: tuple[str, ...]
    header_row: int
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    notes: tuple[str, ...] = ()
    unread: Mapping[tuple[int, int], str] = field(default_factory=dict)
    packed: bool = False

    @property
    def place(self) -> str:
        """The file, and the sheet in it, as a message names them."""
        return f"{self.file}, sheet {self.sheet}" if self.sheet else self.file


Lines = list[tuple[int, tuple[str, ...]]]


def read_grid(path: str | os.PathLike[str], sheet: str | None, known: Known) -> Grid:
    """Read a sheet of a spreadsheet file.

    Parameters
    ----------
    path : str or path
    sheet : str, optional
        Name of the sheet of an XLSX file; by default the first whose header names the kinds.
    known : callable
        Takes a row; says how many of its cells name a column, 0 where none of them names the kinds.

    Raises
    ------
    TableError
        With the file name, and what would be right.
    """
    try:
        file = Path(path)
    except TypeError:
        msg = f"read_spreadsheet: {path!r}: write the path of a CSV or XLSX file"
        raise IdkeyError(msg) from None
    data = _bytes(file)
    if data.startswith(b"PK"):
        return _workbook(file.name, data, sheet, known)
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        raise _refused(file.name, "", "an old workbook, or one with a password; save it as .xlsx without one")
    if file.suffix.lower() in (".xlsx", ".xlsm"):
        raise _refused(file.name, "", "this is no workbook, or only a part of one; save it again as .xlsx")
    if sheet is not None:
        raise _refused(file.name, sheet, "a CSV file has one sheet without a name; leave sheet= away")
    return _csv(file.name, data, known)


def _refused(file: str, value: object, right: str, row: str = "", column: str = "") -> TableError:
    return TableError([Problem(file, row, column, str(value), right)])


def _bytes(file: Path) -> bytes:
    try:
        size = file.stat().st_size
        if size > MOST_BYTES:
            raise _refused(file.name, size, f"the file is larger than {MOST_BYTES} bytes; split it")
        data = file.read_bytes()
    except FileNotFoundError:
        raise _refused(file.name, file.name, "there is no such file; give a CSV or XLSX file") from None
    except (OSError, ValueError) as error:
        what = getattr(error, "strerror", None) or error
        raise _refused(file.name, "", f"the file cannot be read ({what})") from None
    if not data.strip():
        raise _refused(file.name, "", "the file is empty; the first row names the columns")
    return data


# -- CSV --------------------------------------------------------------------------------------------


def _csv(name: str, data: bytes, known: Known) -> Grid:
    text, notes = _decoded(name, data)
    told = ""
    first, _, rest = text.partition("\n")
    if first.strip().lower().startswith("sep=") and first.strip()[4:5] in _DELIMITERS:
        told, text = first.strip()[4:5], rest
    elif first.rstrip("\r\n").lower() == "sep=\t":
        told, text = "\t", rest
    delimiter = told or _delimiter(text, known)
    if delimiter != ",":
        notes.append(f"cells are parted by {_DELIMITERS[delimiter]}")
    lines: list[list[str]] = []
    try:
        lines.extend(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True))
    except csv.Error as error:
        right = "not well-formed CSV from here on; look for an unclosed quotation mark"
        raise _refused(name, error, right, str(len(lines) + 1)) from None
    cells = ((number, [plain_cell(c.strip()) for c in line]) for number, line in enumerate(lines, start=1))
    return _grid(name, "", _checked(name, cells), known, notes, packed=delimiter == ",")


def _decoded(name: str, data: bytes) -> tuple[str, list[str]]:
    """Return the text of a CSV file, and a note where it is not UTF-8."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        tries = (("utf-16", "the file is UTF-16"),)
    else:
        note = "the file is not UTF-8; it was read as Windows-1252: look whether its accents are right"
        tries = (("utf-8-sig", ""), ("cp1252", note))
    for encoding, note in tries:
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\0" in text:
            break
        return text, [note] if note else []
    raise _refused(name, "", "this is neither CSV nor XLSX; save it as one of them")


def _delimiter(text: str, known: Known) -> str:
    """Return what parts the cells: that which gives most names of columns, else most columns."""
    best, most = ",", (0, 1)
    head = "".join(io.StringIO(text).readlines(MOST_CELL))
    for delimiter in _DELIMITERS:
        rows = []
        try:
            for row in csv.reader(io.StringIO(head, newline=""), delimiter=delimiter):
                rows.append(row)
        except csv.Error:
            # The head may end within a cell; the rows before it still count.
            pass
        rows = [row for row in rows if any(c.strip() for c in row)][:_HEADER_WITHIN]
        found = max((known(row) for row in rows), default=0), len(rows[0]) if rows else 0
        if found > most:
            best, most = delimiter, found
    return best


# -- XLSX -------------------------------------------------------------------------------------------


def _workbook(name: str, data: bytes, sheet: str | None, known: Known) -> Grid:
    with _reading(name):
        formulas = _look_inside(name, data)
        with _opened(data, results=True) as book:
            pages = {page.title: page for page in book.worksheets}
            title = _title(name, sheet, tuple(pages)) if sheet is not None else None
            grids = _grids(name, [pages[title]] if title is not None else list(pages.values()), known)
        if not grids:
            raise _refused(name, sheet or "", "no sheet of this workbook holds anything")
        grid = next((g for g in grids if known(g.header)), grids[0])
        if len(grids) > 1:
            others = ", ".join(g.sheet for g in grids if g is not grid)
            grid = replace(grid, notes=(f"sheet {grid.sheet} was read; not read: {others}", *grid.notes))
        if formulas:
            grid = replace(grid, unread={**_without_result(data, grid), **grid.unread})
    return grid


@contextmanager
def _reading(name: str) -> Iterator[None]:
    try:
        with warnings.catch_warnings():
            # It warns of styles and rules that it leaves out; no cell depends on them.
            warnings.simplefilter("ignore")
            yield
    except IdkeyError:
        raise
    except Exception as error:
        # A broken workbook makes its reader fail in any of a dozen ways.
        what = " ".join(str(error).split())[:80] or type(error).__name__
        right = "the workbook is broken or only a part of one; save it again as .xlsx, or as CSV"
        raise _refused(name, what, right) from error


def _look_inside(name: str, data: bytes) -> bool:
    """Refuse a file that grows too large when unpacked; say whether there is a formula in it."""
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        size = sum(part.file_size for part in packed.infolist())
        if size > MOST_BYTES:
            right = f"the workbook unpacks to more than {MOST_BYTES} bytes; save the sheet alone"
            raise _refused(name, size, right)
        names = packed.namelist()
        if "[Content_Types].xml" not in names:
            raise _refused(name, "", "this is no XLSX workbook; save it as .xlsx or as CSV")
        sheets = (n for n in names if n.startswith("xl/worksheets/") and n.endswith(".xml"))
        return any(b"<f" in packed.read(n) for n in sheets)


@contextmanager
def _opened(data: bytes, *, results: bool) -> Iterator[Any]:
    """Open a workbook; `results` gives what formulas came to, else the formulas."""
    # Fetched for a workbook only: it takes longer to load than all of this package.
    import openpyxl

    book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=results, keep_links=False)
    try:
        yield book
    finally:
        book.close()


def _title(name: str, sheet: object, titles: Sequence[str]) -> str:
    same = [t for t in titles if t == sheet] or [
        t for t in titles if t.strip().casefold() == str(sheet).strip().casefold()
    ]
    if not same:
        raise _refused(name, sheet, one_of(sheet, titles, "the name of a sheet"))
    return same[0]


def _grids(name: str, pages: Iterable[Any], known: Known) -> list[Grid]:
    """Read the sheets that hold anything."""
    found = []
    for page in pages:
        unread: dict[tuple[int, int], str] = {}
        place = f"{name}, sheet {page.title}"
        lines = _checked(place, _texts(place, page, unread))
        if lines:
            grid = _grid(name, page.title, lines, known, ())
            found.append(replace(grid, unread=unread))
    return found


def _rows(place: str, page: Any) -> Iterator[tuple[int, list[tuple[int, Any]]]]:
    """Give the rows that hold a cell: number, and each cell with its place."""
    # The size that a file states of itself is often wrong.
    page.reset_dimensions()
    blank: Sequence[Any] = ()
    looked_at = 0
    for number, row in enumerate(islice(page.iter_rows(), _LAST_ROW), start=1):
        if row is blank:
            continue
        looked_at += len(row)
        if looked_at > _MOST_LOOKED_AT:
            right = (
                f"the sheet holds more than {_MOST_LOOKED_AT} cells, blank ones counted; copy what is filled"
            )
            raise _refused(place, "", right, str(number))
        cells = [(at, cell) for at, cell in enumerate(row) if cell.value is not None]
        if cells:
            yield number, cells
        else:
            # Rows that are not in the file all come as one and the same row.
            blank = row


def _texts(place: str, page: Any, unread: dict[tuple[int, int], str]) -> Iterator[tuple[int, list[str]]]:
    for number, cells in _rows(place, page):
        texts = [""] * (cells[-1][0] + 1)
        for at, cell in cells:
            texts[at] = plain_cell(_seen(cell))
            if isinstance(cell.value, (dt.date, dt.time, dt.timedelta)):
                unread[number, at] = MADE_A_DATE
        yield number, texts


def _seen(cell: Any) -> str:
    """Return a cell as a person sees it."""
    value = cell.value
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        # More than 15 digits are the computer's, not the keeper's.
        share = "%" in str(cell.number_format)
        return f"{value * 100:.12g}%" if share else f"{value:.15g}"
    if isinstance(value, int) and "%" in str(cell.number_format):
        return f"{value * 100}%"
    if isinstance(value, dt.datetime) and value.time() == dt.time():
        return str(value.date())
    return str(value).strip()


def _without_result(data: bytes, grid: Grid) -> dict[tuple[int, int], str]:
    """Return the cells of a sheet that hold a formula but not what it came to."""
    above = (grid.header_row, grid.header)
    filled = {(number, at) for number, line in (above, *grid.rows) for at, text in enumerate(line) if text}
    with _opened(data, results=False) as book:
        return {
            (number, at): NO_RESULT
            for number, cells in _rows(grid.place, book[grid.sheet])
            for at, cell in cells
            if cell.data_type == "f" and (number, at) not in filled
        }


# -- both -------------------------------------------------------------------------------------------


def _checked(place: str, rows: Iterable[tuple[int, list[str]]]) -> Lines:
    """Return the rows that are not blank; refuse what is too large to be a table."""
    lines: Lines = []
    cells = 0
    for number, row in rows:
        filled = [at for at, text in enumerate(row) if text]
        if not filled:
            continue
        if filled[-1] >= MOST_COLUMNS:
            right = f"a table has at most {MOST_COLUMNS} columns"
            raise _refused(place, row[filled[-1]][:60], right, str(number), f"column {filled[-1] + 1}")
        if number > MOST_ROWS + 1:
            raise _refused(place, row[filled[0]][:60], f"a table has at most {MOST_ROWS} rows", str(number))
        cells += len(filled)
        if cells > MOST_CELLS:
            raise _refused(place, row[filled[0]][:60], f"a table has at most {MOST_CELLS} cells", str(number))
        for at in filled:
            if len(row[at]) > MOST_CELL:
                right = f"a cell has at most {MOST_CELL} characters"
                raise _refused(place, f"{row[at][:60]}...", right, str(number), f"column {at + 1}")
        lines.append((number, tuple(row[: filled[-1] + 1])))
    return lines


def _grid(
    file: str, sheet: str, lines: Lines, known: Known, notes: Iterable[str], *, packed: bool = False
) -> Grid:
    """Part the header from the rows below it: the first row that names the kinds, else the first row."""
    if not lines:
        raise _refused(file, "", "every cell of the file is blank; the first row names the columns")
    top = next((i for i, (_, line) in enumerate(lines[:_HEADER_WITHIN]) if known(line)), 0)
    number, header = lines[top]
    said = list(notes)
    if top:
        said.append(f"the header is row {number}; what stands above it was not read")
    rows = tuple((n, line + ("",) * (len(header) - len(line))) for n, line in lines[top + 1 :])
    return Grid(file, sheet, header, number, rows, tuple(said), packed=packed)
