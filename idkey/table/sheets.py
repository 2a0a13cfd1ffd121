"""A spreadsheet file, CSV or XLSX, as a grid of text, and which columns of a table its header names.

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
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from contextlib import AbstractContextManager, closing, nullcontext, suppress
from dataclasses import dataclass, replace
from itertools import islice, repeat
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from idkey.errors import IdkeyError, Problem, TableError, one_of
from idkey.table.csvfile import plain_cell
from idkey.table.layout import MOST_BYTES, MOST_CELL, MOST_CELLS, MOST_COLUMNS, MOST_ROWS
from idkey.table.reading import MADE_A_DATE
from idkey.table.schema import YOUNG

if TYPE_CHECKING:
    from idkey.table.table import TraitTable

NAMING = ("id", "tradeCode", "scientificName")
_WORDS: dict[str, tuple[str, ...]] = {
    "id": ("taxon", "taxon id", "kind id"),
    "tradeCode": ("trade number", "L number", "L no", "L nr", "L code", "L numbers", "LDA number", "code"),
    "scientificName": ("name", "species", "latin name", "kind", "fish"),
    "identificationQualifier": ("qualifier",),
    "vernacularName": ("common name", "english name", "trade name"),
    "nameAccordingTo": ("name source", "according to"),
    "careGroup": ("care",),
    "commonness": ("how common", "in trade"),
    "source": ("source", "reference", "citation", "literature"),
    "locator": ("locator", "page", "pages", "where"),
}
"""What keepers call the columns that are no traits; a trait goes by its id or its label."""
_BEHIND = {"{} source": "source", "source of {}": "source", "{} locator": "locator", "{} page": "locator"}
_UNIT_IN_HEADER = re.compile(
    r"(?:\s*[(\[]\s*(?:in\s+)?(mm|cm|inches|inch|in)\s*[)\]]|\s+in\s+(mm|cm|inches|inch)|[\s_](mm|cm))\s*\Z",
    re.IGNORECASE,
)
_NO_RESULT = "a formula without its result; save the file in the spreadsheet program, or write the result"
_MOST_LOOKED_AT = 10 * MOST_CELLS
"""Cells of a sheet, the blank ones counted."""
_LAST_ROW = 1_048_576
"""No spreadsheet program writes a row beyond this."""
_HEADER_WITHIN, _MOST_HEADER = 10, 500
"""The header stands in one of the first so many rows that are not blank; a name in it is no longer."""
_DELIMITERS = {",": "commas", ";": "semicolons", "\t": "tabs"}

Known = Callable[[Sequence[str]], int]
"""How many cells of a row are names of columns; 0 where none of them names the kinds."""


class Line(NamedTuple):
    """A row by the number that a spreadsheet shows; `unread` by place, and what would be right."""

    number: int
    cells: list[str]
    unread: dict[int, str]


@dataclass(frozen=True)
class Grid:
    """One sheet as text: its header, the rows below that are not blank, and how the file was read.

    Where a comma parts cells (`packed`) a row that is too wide may have slipped.
    """

    file: str
    sheet: str
    header: list[str]
    header_row: int
    lines: list[Line]
    notes: tuple[str, ...] = ()
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
        try:
            # It warns of styles and rules that it leaves out; no cell depends on them.
            with warnings.catch_warnings(action="ignore"):
                return _workbook(file.name, data, sheet, known)
        except IdkeyError:
            raise
        except Exception as error:
            # A broken workbook makes its reader fail in any of a dozen ways.
            what = " ".join(str(error).split())[:80] or type(error).__name__
            right = "the workbook is broken or only a part of one; save it again as .xlsx, or as CSV"
            raise _refused(file.name, what, right) from error
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


def _grid(file: str, sheet: str, rows: Iterable[Line], known: Known) -> Grid | None:
    """Return the rows that are not blank below the first that names the kinds; refuse what is too large."""
    grid = Grid(file, sheet, [], 0, [])
    lines: list[Line] = []
    cells = 0
    for number, row, unread in rows:
        filled = [at for at, text in enumerate(row) if text]
        if not filled:
            continue
        cells += len(filled)
        long = next((at for at in filled if len(row[at]) > MOST_CELL), None)
        for beyond, at, right in (
            (filled[-1] >= MOST_COLUMNS, filled[-1], f"a table has at most {MOST_COLUMNS} columns"),
            (number > MOST_ROWS + 1, filled[0], f"a table has at most {MOST_ROWS} rows"),
            (cells > MOST_CELLS, filled[0], f"a table has at most {MOST_CELLS} cells"),
            (long is not None, long, f"a cell has at most {MOST_CELL} characters"),
        ):
            if beyond:
                raise _refused(grid.place, row[at][:60], right, str(number), f"column {at + 1}")
        lines.append(Line(number, row[: filled[-1] + 1], unread))
    if not lines:
        return None
    top = next((i for i, line in enumerate(lines[:_HEADER_WITHIN]) if known(line.cells)), 0)
    number, header, _ = lines[top]
    notes = (f"the header is row {number}; what stands above it was not read",) if top else ()
    return replace(grid, header=header, header_row=number, lines=lines[top + 1 :], notes=notes)


def _csv(name: str, data: bytes, known: Known) -> Grid:
    text, notes = _decoded(name, data)
    first, _, rest = text.partition("\n")
    told = re.fullmatch(r"sep=([,;\t])\s*", first.strip(" \r"), re.IGNORECASE)
    text = rest if told else text
    delimiter = told[1] if told else _delimiter(text, known)
    if delimiter != ",":
        notes.append(f"cells are parted by {_DELIMITERS[delimiter]}")
    lines: list[Line] = []
    try:
        for row in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True):
            lines.append(Line(len(lines) + 1, [plain_cell(cell.strip()) for cell in row], {}))
    except csv.Error as error:
        right = "not well-formed CSV from here on; look for an unclosed quotation mark"
        raise _refused(name, error, right, str(len(lines) + 1)) from None
    grid = _grid(name, "", lines, known)
    if grid is None:
        raise _refused(name, "", "every cell of the file is blank; the first row names the columns")
    return replace(grid, notes=(*notes, *grid.notes), packed=delimiter == ",")


def _decoded(name: str, data: bytes) -> tuple[str, list[str]]:
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
            return text, [note] if note else []
    raise _refused(name, "", "this is neither CSV nor XLSX; save it as one of them")


def _delimiter(text: str, known: Known) -> str:
    """Return what parts the cells: that which gives most names of columns, else most columns."""
    head = io.StringIO(text).readlines(MOST_CELL)

    def names(delimiter: str) -> tuple[int, int]:
        rows: list[list[str]] = []
        # The head may end within a cell; the rows before it still count.
        with suppress(csv.Error):
            rows.extend(csv.reader(head, delimiter=delimiter))
        rows = [row for row in rows if any(map(str.strip, row))]
        return max(map(known, rows[:_HEADER_WITHIN]), default=0), len(rows[0]) if rows else 0

    return max(_DELIMITERS, key=names)


def _workbook(name: str, data: bytes, sheet: str | None, known: Known) -> Grid:
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        size = sum(part.file_size for part in packed.infolist())
        if size > MOST_BYTES:
            right = f"the workbook unpacks to more than {MOST_BYTES} bytes; save the sheet alone"
            raise _refused(name, size, right)
        names = packed.namelist()
        if "[Content_Types].xml" not in names:
            raise _refused(name, "", "this is no XLSX workbook; save it as .xlsx or as CSV")
        parts = (n for n in names if n.startswith("xl/worksheets/") and n.endswith(".xml"))
        has_formulas = any(b"<f" in packed.read(n) for n in parts)
    with _book(data, data_only=True) as book, _book(data) if has_formulas else nullcontext() as formulas:
        titles = [page.title for page in book.worksheets]
        asked = [t for t in titles if sheet is None or t.strip().casefold() == str(sheet).strip().casefold()]
        if sheet is not None and not asked:
            raise _refused(name, sheet, one_of(sheet, titles, "the name of a sheet"))
        grids = []
        for title in asked:
            rows = _rows(f"{name}, sheet {title}", book[title], formulas and formulas[title])
            grids += filter(None, [_grid(name, title, rows, known)])
    if not grids:
        raise _refused(name, sheet or "", "no sheet of this workbook holds anything")
    grid = next((g for g in grids if known(g.header)), grids[0])
    others = ", ".join(g.sheet for g in grids if g is not grid)
    note = (f"sheet {grid.sheet} was read; not read: {others}",) if others else ()
    return replace(grid, notes=(*note, *grid.notes))


def _book(data: bytes, *, data_only: bool = False) -> AbstractContextManager[Any]:
    """Open a workbook, with the formulas in it or with `data_only` what they came to."""
    # Fetched for a workbook only: it takes longer to load than all of this package.
    import openpyxl

    book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=data_only, keep_links=False)
    return closing(book)


def _rows(place: str, page: Any, formulas: Any) -> Iterator[Line]:
    """Give the rows of a sheet that hold a cell; `formulas` is the same sheet with its formulas."""
    # The size that a file states of itself is often wrong.
    for one in filter(None, (page, formulas)):
        one.reset_dimensions()
    both = zip(page.iter_rows(), formulas.iter_rows() if formulas else repeat(()), strict=False)
    blank: Sequence[Any] = ()
    looked_at = 0
    for number, (row, written) in enumerate(islice(both, _LAST_ROW), start=1):
        # Rows that are not in the file all come as one and the same row.
        if row is blank:
            continue
        looked_at += len(row)
        if looked_at > _MOST_LOOKED_AT:
            most = f"more than {_MOST_LOOKED_AT} cells, blank ones counted"
            raise _refused(place, "", f"the sheet holds {most}; copy what is filled", str(number))
        if all(cell.value is None for cell in row):
            blank = row
            continue
        cells = zip(row, written, strict=False)
        unread = {at: _NO_RESULT for at, (c, f) in enumerate(cells) if f.data_type == "f" and not _seen(c)}
        dates = (dt.date, dt.time, dt.timedelta)
        unread |= {at: MADE_A_DATE for at, cell in enumerate(row) if isinstance(cell.value, dates)}
        yield Line(number, [plain_cell(_seen(cell)) for cell in row], unread)


def _seen(cell: Any) -> str:
    """Return a cell as a person sees it."""
    value, share = cell.value, "%" in str(cell.number_format)
    if value is None or isinstance(value, bool):
        return {None: "", True: "yes", False: "no"}[value]
    if share and isinstance(value, int | float):
        return f"{value * 100:.12g}%"
    if isinstance(value, float):
        # More than 15 digits are the computer's, not the keeper's.
        return f"{value:.15g}"
    if isinstance(value, dt.datetime) and value.time() == dt.time():
        return str(value.date())
    return str(value).strip()


@dataclass(frozen=True, slots=True)
class ColumnRead:
    """How a column of a spreadsheet was read.

    `meaning` is the column of the table; ``source`` or ``locator``, or that after the column it is for; blank
    where the column was not taken. `text` is what it was read as, or why it was not taken.
    """

    name: str
    meaning: str
    text: str
    at: int
    unit: str = ""


class ColumnNames:
    """The words that the columns of a table go by, each with the column it means."""

    def __init__(self, table: TraitTable):
        traits = {column: t for t in table.traits for column in (t.id, t.id + YOUNG)}
        self._lengths = {column for column, trait in traits.items() if trait.unit == "mm"}
        self._columns = dict.fromkeys(("id", *table.taxa.columns, *traits))
        labels = [(t.id, t.label) for t in table.traits if t.label]
        labels += [(t + YOUNG, f"{label} young") for t, label in labels]
        own = [(column, column) for column in self._columns]
        known = {*self._columns, "source", "locator"}
        young = ("young {}", "juvenile {}", "{} juvenile")
        more = [(t.id + YOUNG, form.format(t.name)) for t in table.traits for form in young]
        for form, kind in _BEHIND.items():
            more += [(f"{column} {kind}", form.format(word)) for column, word in (*own, *labels)]
        words = {column: words for column, words in _WORDS.items() if column in known}
        # A table that keeps no names knows its kinds by their ids alone.
        words["id"] += () if "scientificName" in known else _WORDS["scientificName"]
        plain = [(column, word) for column, some in words.items() for word in some]
        # What comes first counts, for two columns that mean the same and for a word with two meanings.
        self._words: dict[str, tuple[int, str]] = {}
        for rank, pairs in enumerate((own, labels, more, plain)):
            meanings: dict[str, set[str]] = {}
            for column, word in pairs:
                meanings.setdefault(_letters(word), set()).add(column)
            for word, (column, *others) in meanings.items():
                if word and not others:
                    self._words.setdefault(word, (rank, column))
        self._shown = [*self._columns, *(label for _, label in labels)]

    def known(self, header: Sequence[str]) -> int:
        """Return how many cells are names of columns; 0 where none of them names the kinds."""
        meanings = {meaning for _, meaning, _ in map(self._meaning, header) if meaning}
        return len(meanings) if not meanings.isdisjoint(NAMING) else 0

    def read(self, header: Sequence[str], filled: Collection[int] = ()) -> tuple[ColumnRead, ...]:
        """Read a header that has cells below these places; of columns that mean the same one is taken."""
        names = [*header, *[""] * (max(filled, default=0) + 1 - len(header))]
        meanings = [self._meaning(name) for name in names]
        taken: dict[str, int] = {}
        for at in sorted(range(len(names)), key=lambda at: (meanings[at][0], at)):
            taken.setdefault(meanings[at][1], at)
        columns = []
        for at, (name, (_, meaning, unit)) in enumerate(zip(names, meanings, strict=True)):
            first = names[taken[meaning]]
            text = "" if meaning == name else f"read as {meaning}"
            text += f", numbers in {unit}" if unit and unit != "mm" else ""
            if not name:
                text = "the header cell is blank; name the column"
            elif not meaning:
                text = one_of(name, self._shown, "a column")
            elif taken[meaning] != at:
                text = f"means the same as {first!r}, which was taken; keep one of the two"
            if name or at in filled:
                mine = meaning if taken[meaning] == at else ""
                columns.append(ColumnRead(name or f"column {at + 1}", mine, text, at, unit))
        return tuple(columns)

    def _meaning(self, name: str) -> tuple[int, str, str]:
        """Return how near the name is, the column that it means, and the unit in it."""
        if name in self._columns:
            return -1, name, ""
        rank, meaning = self._words.get(_letters(name), (0, ""))
        match = None if meaning else _UNIT_IN_HEADER.search(" ".join(name.split())[:_MOST_HEADER])
        if match is None:
            return rank, meaning, ""
        rank, meaning = self._words.get(_letters(match.string[: match.start()]), (0, ""))
        return (rank, meaning, match[match.lastindex].lower()) if meaning in self._lengths else (0, "", "")


def _letters(name: str) -> str:
    return "".join(c for c in name.casefold() if c.isalnum())
