"""A spreadsheet file, CSV or XLSX, as a grid of text. Knows nothing of kinds and traits.

A cell is the text that a person sees in it. What can't be shown so, such as a formula without a result, is
kept apart with a sentence that says what would be right.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import os
import re
import stat
import warnings
import zipfile
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, closing, contextmanager
from dataclasses import dataclass, field, replace
from itertools import islice
from pathlib import Path
from typing import Any

from idkey.errors import IdkeyError, Problem, TableError, one_of
from idkey.table.csvfile import plain_cell
from idkey.table.layout import MOST_BYTES, MOST_CELL, MOST_CELLS, MOST_COLUMNS, MOST_ROWS
from idkey.table.reading import MADE_A_DATE

__all__ = ["Grid", "read_grid"]

_NO_RESULT = "a formula without its result; save the file in the spreadsheet program, or write the result"
_MOST_LOOKED_AT = 10 * MOST_CELLS
"""Cells of a sheet, the blank ones counted."""
_LAST_ROW = 1_048_576
"""No spreadsheet program writes a row beyond this."""
_HEADER_WITHIN = 10
"""The header stands in one of the first so many rows that are not blank."""
_DELIMITERS = {",": "commas", ";": "semicolons", "\t": "tabs"}

Known = Callable[[Sequence[str]], int]
"""How many cells of a row are names of columns; 0 where none of them names the kinds."""
Lines = list[tuple[int, tuple[str, ...]]]


@dataclass(frozen=True)
class Grid:
    """One sheet as text: rows by the number that a spreadsheet shows, as wide as the header or wider.

    `notes` say how the file was read, `unread` what would be right for a cell (row number, column from 0)
    whose value can't be had. Where a comma parts cells (`packed`) a row that is too wide may have slipped.
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


def read_grid(path: str | os.PathLike[str], sheet: str | None, known: Known) -> Grid:
    """Read a sheet of a file, by default the first whose header names the kinds. Raises TableError."""
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
        if not stat.S_ISREG(file.stat().st_mode):
            # A pipe would be waited on for ever.
            raise _refused(file.name, "", "the file cannot be read (it is a folder, a pipe or a device)")
        with file.open("rb") as opened:
            data = opened.read(MOST_BYTES + 1)
    except FileNotFoundError:
        raise _refused(file.name, file.name, "there is no such file; give a CSV or XLSX file") from None
    except IdkeyError:
        raise
    except (OSError, ValueError) as error:
        what = getattr(error, "strerror", None) or error
        raise _refused(file.name, "", f"the file cannot be read ({what})") from None
    if len(data) > MOST_BYTES:
        raise _refused(file.name, "", f"the file is larger than {MOST_BYTES} bytes; split it")
    if not data.strip():
        raise _refused(file.name, "", "the file is empty; the first row names the columns")
    return data


def _grid(place: str, rows: Iterable[tuple[int, list[str]]], known: Known) -> Grid | None:
    """Return the rows that are not blank below the first that names the kinds; refuse what is too large."""
    lines: Lines = []
    cells = 0
    for number, row in rows:
        filled = [at for at, text in enumerate(row) if text]
        if not filled:
            continue
        cells += len(filled)
        long = next((at for at in filled if len(row[at]) > MOST_CELL), None)
        limits = (
            (filled[-1] >= MOST_COLUMNS, filled[-1], f"a table has at most {MOST_COLUMNS} columns"),
            (number > MOST_ROWS + 1, filled[0], f"a table has at most {MOST_ROWS} rows"),
            (cells > MOST_CELLS, filled[0], f"a table has at most {MOST_CELLS} cells"),
            (long is not None, long, f"a cell has at most {MOST_CELL} characters"),
        )
        for beyond, at, right in limits:
            if beyond:
                raise _refused(place, row[at][:60], right, str(number), f"column {at + 1}")
        lines.append((number, tuple(row[: filled[-1] + 1])))
    if not lines:
        return None
    top = next((i for i, (_, line) in enumerate(lines[:_HEADER_WITHIN]) if known(line)), 0)
    number, header = lines[top]
    notes = (f"the header is row {number}; what stands above it was not read",) if top else ()
    below = tuple((n, line + ("",) * (len(header) - len(line))) for n, line in lines[top + 1 :])
    return Grid(place, "", header, number, below, notes)


# -- CSV --------------------------------------------------------------------------------------------


def _csv(name: str, data: bytes, known: Known) -> Grid:
    text, notes = _decoded(name, data)
    first, _, rest = text.partition("\n")
    told = re.fullmatch(r"sep=([,;\t])\s*", first.strip(" \r"), re.IGNORECASE)
    text = rest if told else text
    delimiter = told[1] if told else _delimiter(text, known)
    if delimiter != ",":
        notes = (*notes, f"cells are parted by {_DELIMITERS[delimiter]}")
    lines: list[list[str]] = []
    try:
        lines.extend(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True))
    except csv.Error as error:
        right = "not well-formed CSV from here on; look for an unclosed quotation mark"
        raise _refused(name, error, right, str(len(lines) + 1)) from None
    cells = ((number, [plain_cell(c.strip()) for c in line]) for number, line in enumerate(lines, start=1))
    grid = _grid(name, cells, known)
    if grid is None:
        raise _refused(name, "", "every cell of the file is blank; the first row names the columns")
    return replace(grid, notes=(*notes, *grid.notes), packed=delimiter == ",")


def _decoded(name: str, data: bytes) -> tuple[str, tuple[str, ...]]:
    """Return the text of a CSV file, and a note where it is not UTF-8."""
    tries = {"utf-16": "the file is UTF-16"}
    if not data.startswith((b"\xff\xfe", b"\xfe\xff")):
        note = "the file is not UTF-8; it was read as Windows-1252: look whether its accents are right"
        tries = {"utf-8-sig": "", "cp1252": note}
    for encoding, note in tries.items():
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\0" not in text:
            return text, (note,) if note else ()
    raise _refused(name, "", "this is neither CSV nor XLSX; save it as one of them")


def _delimiter(text: str, known: Known) -> str:
    """Return what parts the cells: that which gives most names of columns, else most columns."""
    head = io.StringIO(text).readlines(MOST_CELL)

    def names(delimiter: str) -> tuple[int, int]:
        rows = []
        try:
            for row in csv.reader(head, delimiter=delimiter):
                rows += [row] if any(c.strip() for c in row) else []
        except csv.Error:
            # The head may end within a cell; the rows before it still count.
            pass
        return max(map(known, rows[:_HEADER_WITHIN]), default=0), len(rows[0]) if rows else 0

    return max(_DELIMITERS, key=names)


# -- XLSX -------------------------------------------------------------------------------------------


def _workbook(name: str, data: bytes, sheet: str | None, known: Known) -> Grid:
    with _reading(name):
        formulas = _look_inside(name, data)
        with _opened(data, results=True) as book:
            titles = [page.title for page in book.worksheets]
            if sheet is not None:
                titles = [t for t in titles if t.strip().casefold() == str(sheet).strip().casefold()]
                if not titles:
                    right = one_of(sheet, [page.title for page in book.worksheets], "the name of a sheet")
                    raise _refused(name, sheet, right)
            grids = [grid for title in titles if (grid := _page(name, book[title], known))]
        if not grids:
            raise _refused(name, sheet or "", "no sheet of this workbook holds anything")
        grid = next((g for g in grids if known(g.header)), grids[0])
        if len(grids) > 1:
            others = ", ".join(g.sheet for g in grids if g is not grid)
            grid = replace(grid, notes=(f"sheet {grid.sheet} was read; not read: {others}", *grid.notes))
        return replace(grid, unread={**_without_result(data, grid), **grid.unread}) if formulas else grid


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


def _opened(data: bytes, *, results: bool) -> AbstractContextManager[Any]:
    """Open a workbook; `results` gives what formulas came to, else the formulas."""
    # Fetched for a workbook only: it takes longer to load than all of this package.
    import openpyxl

    book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=results, keep_links=False)
    return closing(book)


def _page(name: str, page: Any, known: Known) -> Grid | None:
    unread: dict[tuple[int, int], str] = {}
    place = f"{name}, sheet {page.title}"

    def texts() -> Iterator[tuple[int, list[str]]]:
        for number, cells in _rows(place, page):
            row = [""] * (cells[-1][0] + 1)
            for at, cell in cells:
                row[at] = plain_cell(_seen(cell))
                if isinstance(cell.value, (dt.date, dt.time, dt.timedelta)):
                    unread[number, at] = MADE_A_DATE
            yield number, row

    grid = _grid(place, texts(), known)
    return grid and replace(grid, file=name, sheet=page.title, unread=unread)


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


def _seen(cell: Any) -> str:
    """Return a cell as a person sees it."""
    value, share = cell.value, "%" in str(cell.number_format)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if share and isinstance(value, int | float):
        return f"{value * 100:.12g}%"
    if isinstance(value, float):
        # More than 15 digits are the computer's, not the keeper's.
        return f"{value:.15g}"
    if isinstance(value, dt.datetime) and value.time() == dt.time():
        return str(value.date())
    return str(value).strip()


def _without_result(data: bytes, grid: Grid) -> dict[tuple[int, int], str]:
    """Return the cells of a sheet that hold a formula but not what it came to."""
    above = (grid.header_row, grid.header)
    filled = {(number, at) for number, line in (above, *grid.rows) for at, text in enumerate(line) if text}
    with _opened(data, results=False) as book:
        return {
            (number, at): _NO_RESULT
            for number, cells in _rows(grid.place, book[grid.sheet])
            for at, cell in cells
            if cell.data_type == "f" and (number, at) not in filled
        }
