"""A keeper's spreadsheet laid over a trait table: new kinds and changed cells, with a report row by row."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

import pandas as pd

from idkey.display import Shown
from idkey.errors import Problem, TableError, one_of
from idkey.table.claims import Claim
from idkey.table.csvfile import ODD_CHARACTER
from idkey.table.names import folded
from idkey.table.reading import reading
from idkey.table.schema import YOUNG
from idkey.table.sheet_cells import NAMING, ColumnNames, ColumnRead
from idkey.table.sheet_grid import Grid, read_grid
from idkey.table.sheet_kinds import (
    CARE,
    CODE,
    COMMON,
    GENUS,
    NAME,
    QUALIFIER,
    Kind,
    Kinds,
    NotTaken,
    code_text,
    trade_codes,
)

if TYPE_CHECKING:
    from idkey.table.table import TraitTable

__all__ = ["Import", "ImportRow", "read_spreadsheet"]

_ODD = "the cell holds a control character; write it again"


@dataclass(frozen=True)
class ImportRow:
    """How one row of a spreadsheet was read.

    Attributes
    ----------
    number : int
        The row as a spreadsheet shows it.
    taxon, label : str
        Id and name of the kind; the id is blank where the row was not taken.
    what : {"new", "changed", "unchanged", "not taken"}
    understood : mapping of str to str
        Cell text by column of the table.
    before : mapping of str to str
        What the table held in the cells that the row changes.
    said : tuple of str
        What was made of cells that were not written as the table writes them.
    problems : tuple of Problem
        What was not taken, and why.
    """

    number: int
    taxon: str
    label: str
    what: Literal["new", "changed", "unchanged", "not taken"]
    understood: Mapping[str, str] = field(default_factory=dict)
    before: Mapping[str, str] = field(default_factory=dict)
    said: tuple[str, ...] = ()
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True, eq=False, repr=False)
class Import(Shown):
    """A spreadsheet as it was understood.

    Attributes
    ----------
    file, sheet : str
        File name, and the sheet of a workbook.
    rows : tuple of ImportRow
        The rows that are not blank.
    columns : tuple of ColumnRead
    problems : tuple of Problem
        Everything that was not taken: columns, rows, cells.
    table : TraitTable
        The table with all that was understood.
    notes : tuple of str
        How the file itself was read.
    """

    file: str
    sheet: str
    rows: tuple[ImportRow, ...]
    columns: tuple[ColumnRead, ...]
    problems: tuple[Problem, ...]
    table: TraitTable
    notes: tuple[str, ...] = ()

    def count(self, what: str) -> int:
        """Return how many rows are "new", "changed", "unchanged" or "not taken"."""
        return sum(row.what == what for row in self.rows)

    def to_frame(self) -> pd.DataFrame:
        """Return the report, one row a row of the sheet.

        Returns
        -------
        pandas.DataFrame
            Columns ``row``, ``taxon``, ``label``, ``what``, ``understood``, ``said``, ``problems``.
        """
        lines = [
            {
                "row": row.number,
                "taxon": row.taxon,
                "label": row.label,
                "what": row.what,
                "understood": "; ".join(f"{column}: {text}" for column, text in row.understood.items()),
                "said": "; ".join(row.said),
                "problems": "; ".join(f"{p.column}: {p.value!r}: {p.right}" for p in row.problems),
            }
            for row in self.rows
        ]
        names = ["row", "taxon", "label", "what", "understood", "said", "problems"]
        return pd.DataFrame(lines, columns=names).astype({"row": int} | dict.fromkeys(names[1:], "str"))


def read_spreadsheet(path: str | os.PathLike[str], table: TraitTable, *, sheet: str | None = None) -> Import:
    """Read a keeper's spreadsheet onto a table.

    A row is a kind, found by its id, else its trade code, else its scientific name; one that the table does
    not have is new. Columns go by their id, their label or a plain word ("L number", "Tail fin edge",
    "Pattern young"); "source" and "page" stand behind all cells of a row, "Pattern source" behind one. Cells
    may be written as people write them ("forked or concave", "17,8 cm", "12 to 16"); what was made of them
    is said. A blank cell changes nothing, and what is not understood is left as it is in the table.

    Parameters
    ----------
    path : str or path
        CSV (commas, semicolons or tabs) or XLSX.
    table : TraitTable
        Stays as it is.
    sheet : str, optional
        Name of a sheet of a workbook; by default the first that names kinds.

    Returns
    -------
    Import
        ``.table`` is the table with what was understood; printed, it says row by row what that was.

    Raises
    ------
    TableError
        Where the file can't be read as a sheet of kinds at all.
    """
    names = ColumnNames(table)
    grid = read_grid(path, sheet, names.known)
    columns = names.read(grid.header)
    if not any(c.meaning in NAMING for c in columns):
        right = "no column says which kind a row is; name one id, trade code or scientific name"
        header = ", ".join(grid.header[:12])
        raise TableError([Problem(grid.place, str(grid.header_row), "", header, right)])
    columns = _with_cells(columns, grid)
    reader = _Rows(table, grid, columns)
    rows = [reader.read(number, line) for number, line in grid.rows]
    grown, rows = _laid_over(table, grid, rows, reader.claims)
    wrong = [
        Problem(grid.place, str(grid.header_row), c.name, c.name, c.text) for c in columns if not c.meaning
    ]
    return Import(
        file=grid.file,
        sheet=grid.sheet,
        rows=tuple(rows),
        columns=columns,
        problems=(*wrong, *(problem for row in rows for problem in row.problems)),
        table=grown,
        notes=grid.notes,
    )


def _with_cells(columns: tuple[ColumnRead, ...], grid: Grid) -> tuple[ColumnRead, ...]:
    """Leave out columns that have neither a name nor a cell; add those to the right of the header."""
    filled = {at for _, line in grid.rows for at, text in enumerate(line) if text}
    named = [c for c in columns if grid.header[c.at] or c.at in filled]
    if grid.packed:
        return tuple(named)
    right = "the header cell is blank; name the column"
    beyond = sorted(at for at in filled if at >= len(grid.header))
    return (*named, *(ColumnRead(f"column {at + 1}", "", right, at) for at in beyond))


def _laid_over(
    table: TraitTable, grid: Grid, rows: list[ImportRow], claims: Mapping[tuple[str, str], Claim]
) -> tuple[TraitTable, list[ImportRow]]:
    """Return the table with the rows in it; a row that the table refuses is not taken."""
    while True:
        changes = {
            row.taxon: row.understood if row.what == "new" else {c: row.understood[c] for c in row.before}
            for row in rows
            if row.what in ("new", "changed")
        }
        if not changes:
            return table, rows
        behind = {place: claim for place, claim in claims.items() if place[1] in changes.get(place[0], ())}
        try:
            return table.with_rows(changes, behind), rows
        except TableError as error:
            refused: dict[str, list[Problem]] = {}
            for problem in error.problems:
                named = next((t for t in changes if problem.row in (t, f"new ({t})")), None)
                if named is None:
                    raise
                refused.setdefault(named, []).append(problem)
        for i, row in enumerate(rows):
            if row.what in ("new", "changed") and row.taxon in refused:
                where = f"{row.number} ({row.taxon})"
                more = [replace(p, file=grid.place, row=where) for p in refused[row.taxon]]
                rows[i] = ImportRow(row.number, "", row.label, "not taken", problems=(*row.problems, *more))


# -- a row ------------------------------------------------------------------------------------------


class _Rows:
    """Reads the rows of a grid, one after the other; gathers the claims behind their cells."""

    def __init__(self, table: TraitTable, grid: Grid, columns: tuple[ColumnRead, ...]):
        self._table = table
        self._grid = grid
        self._columns = {c.meaning: c for c in columns if c.meaning}
        self._kinds = Kinds(table)
        self._old = table.to_frame().fillna("").to_dict("index")
        self._allowed = {c: known for c, known in table.allowed().items() if known}
        self._readers = {
            c.meaning: (table.trait_of(c.meaning), c.unit)
            for c in columns
            if c.meaning.removesuffix(YOUNG) in table.trait_ids
        }
        self._sources = {folded(key): key for key in table.sources}
        shorts = [folded(source.short) for source in table.sources.values()]
        self._sources |= {
            folded(s.short): key for key, s in table.sources.items() if shorts.count(folded(s.short)) == 1
        }
        # The nearest key is looked for once for each wrong one.
        self._no_source = lru_cache(maxsize=None)(self._no_such_source)
        self._seen: dict[str, int] = {}
        self.claims: dict[tuple[str, str], Claim] = {}

    def read(self, number: int, line: tuple[str, ...]) -> ImportRow:
        """Read one row."""
        grid = self._grid
        found = {m: line[c.at] for m, c in self._columns.items() if c.at < len(line)}
        unread = {m: _ODD for m, text in found.items() if ODD_CHARACTER.search(text)}
        unread |= {
            m: grid.unread[number, self._columns[m].at]
            for m in found
            if (number, self._columns[m].at) in grid.unread
        }
        cells = {m: text for m, text in found.items() if text and m not in unread}
        plain = {m: " ".join(text.split()) for m, text in cells.items() if m not in self._readers}
        label = next((plain[c] for c in (NAME, CODE, "id") if c in plain), "")
        if grid.packed and len(line) > len(grid.header):
            right = (
                f"the row has more cells than the header has ({len(grid.header)}); quote a cell with a comma"
            )
            return self._refused(number, label, "", str(len(line)), right)
        try:
            kind = self._kinds.find(plain)
        except NotTaken as error:
            refused = self._refused(number, label, *error.args)
            # It may be its name that could not be had.
            more = [self._problem(number, label, m, found[m], right) for m, right in unread.items()]
            return replace(refused, problems=(*refused.problems, *more))
        taxon = kind.taxon
        if taxon in self._seen:
            right = f"row {self._seen[taxon]} is of this kind already; keep one, or give each its own id"
            return self._refused(number, label, "", taxon, right)
        self._seen[taxon] = number
        row = _Reading(grid.place, f"{number} ({taxon})", self._columns)
        row.said += kind.said
        for meaning, right in unread.items():
            row.wrong(meaning, found[meaning], right)
        old = {} if kind.new else self._old[taxon]
        self._names(row, kind, plain, old)
        for column, text in cells.items():
            if column in self._readers:
                self._trait(row, column, text, old)
            elif column in self._table.taxa.columns and column not in (NAME, QUALIFIER, GENUS):
                row.texts[column] = (
                    old[column] if text == old.get(column) else self._meta(row, column, plain[column], old)
                )
        texts = {c: text for c, text in row.texts.items() if text}
        before = {c: old.get(c, "") for c, text in texts.items() if text != old.get(c, "") and not kind.new}
        self._claims(row, taxon, [c for c in (texts if kind.new else before) if c in self._readers], plain)
        what = "new" if kind.new else "changed" if before else "unchanged"
        shown = _label(taxon, texts) if kind.new else self._table.label(taxon)
        return ImportRow(number, taxon, shown, what, texts, before, tuple(row.said), tuple(row.problems))

    def _refused(self, number: int, label: str, column: str, value: str, right: str) -> ImportRow:
        problem = self._problem(number, label, column, value, right)
        return ImportRow(number, "", label, "not taken", problems=(problem,))

    def _problem(self, number: int, label: str, column: str, value: str, right: str) -> Problem:
        named = self._columns[column].name if column in self._columns else column
        where = f"{number} ({label})" if label else str(number)
        return Problem(self._grid.place, where, named, value, right)

    def _names(self, row: _Reading, kind: Kind, plain: Mapping[str, str], old: Mapping[str, str]) -> None:
        """Read what a kind is called: a kind is renamed only where the row gives its id."""
        found = {c: text for c, text in kind.names.items() if text and c in self._table.taxa.columns}
        if kind.new:
            row.texts |= found
            genus = found.get(GENUS, "")
            if genus and not self._kinds.has_genus(genus):
                row.said.append(f"genus {genus} is new to the table; look whether that is a scientific name")
            group = self._kinds.group(genus)
            if CARE in self._table.taxa.columns and CARE not in plain:
                row.texts[CARE] = group
                row.said.append(
                    f"care group {group}, as all of its genus" if group else "no care group given"
                )
            return
        for column, text in found.items():
            if column == GENUS and column not in plain:
                continue
            if column == NAME and old.get(COMMON) and folded(plain.get(NAME, "")) == folded(old[COMMON]):
                # The name that keepers use stands in the sheet; the kind was found by something else.
                continue
            same = old[column] in (text, plain.get(column)) or folded(text) == folded(old[column])
            if same or kind.by_id:
                row.texts[column] = old[column] if same else text
            else:
                right = f"the table calls this kind {self._table.label(kind.taxon)}; give its id to rename it"
                row.wrong(column, plain.get(column, text), right)
        renamed = row.texts.get(NAME, old.get(NAME)) != old.get(NAME)
        if renamed and GENUS in found and GENUS not in row.texts:
            row.texts[GENUS] = found[GENUS]

    def _trait(self, row: _Reading, column: str, text: str, old: Mapping[str, str]) -> None:
        trait, unit = self._readers[column]
        read = reading(trait, text, unit)
        if read.text is None:
            row.wrong(column, text, read.right)
            return
        row.texts[column] = read.text
        if read.said:
            row.said.append(f"{self._columns[column].name}: {read.said}")
        elif text == "-" != old.get(column):
            said = "- read as not applicable to this kind; leave blank what is not known"
            row.said.append(f"{self._columns[column].name}: {said}")
        if trait.kind == "ceiling" and old.get(column) and _less(read.text, old[column]):
            said = f"less than the largest length so far, {old[column]} {trait.unit}"
            row.said.append(f"{self._columns[column].name}: {said}")

    def _meta(self, row: _Reading, column: str, plain: str, old: Mapping[str, str]) -> str:
        """Read a cell that is no trait and no name; blank where it is not understood."""
        if column == CODE:
            return self._code(row, plain, old.get(column, ""))
        allowed = self._allowed.get(column)
        if not allowed:
            return plain
        read = next((a for a in allowed if folded(a) == folded(plain)), "")
        if not read:
            row.wrong(column, plain, one_of(plain, allowed))
        elif read != plain:
            row.said.append(f"{self._columns[column].name}: {plain!r} read as {read}")
        return read

    def _code(self, row: _Reading, plain: str, old: str) -> str:
        """Read trade codes; those that the table has already are kept."""
        known = trade_codes(old)
        fresh = [code_text(code) for code in trade_codes(plain) if code not in known]
        read = "|".join([*filter(None, [old]), *fresh])
        if fresh and read != plain:
            row.said.append(f"{self._columns[CODE].name}: {plain!r} read as {read}")
        return read

    def _no_such_source(self, text: str) -> str:
        right = one_of(text, list(self._table.sources), "the key of a source")
        return f"{right}; a new source is added first, with with_source"

    def _claims(self, row: _Reading, taxon: str, columns: list[str], plain: Mapping[str, str]) -> None:
        """Put the sources that the row names behind the cells that it fills."""
        keys = {}
        for meaning in (m for m in plain if m == "source" or m.endswith(" source")):
            keys[meaning] = self._sources.get(folded(plain[meaning]), "")
            if not keys[meaning]:
                row.wrong(meaning, plain[meaning], self._no_source(plain[meaning]))
        for column in columns:
            own = f"{column} source" in plain or f"{column} locator" in plain
            source, locator = (f"{column} source", f"{column} locator") if own else ("source", "locator")
            if keys.get(source) or plain.get(locator):
                self.claims[taxon, column] = Claim(
                    source=keys.get(source, ""), locator=plain.get(locator, "")
                )


@dataclass
class _Reading:
    """A row while it is read."""

    file: str
    where: str
    columns: Mapping[str, ColumnRead]
    texts: dict[str, str] = field(default_factory=dict)
    said: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)

    def wrong(self, meaning: str, value: str, right: str) -> None:
        self.problems.append(Problem(self.file, self.where, self.columns[meaning].name, value, right))


def _less(text: str, before: str) -> bool:
    try:
        return float(text) < float(before)
    except ValueError:
        # Blank, or not applicable.
        return False


def _label(taxon: str, texts: Mapping[str, str]) -> str:
    codes = texts.get(CODE, "").replace("|", ", ")
    genus, _, rest = (texts.get(NAME) or taxon).partition(" ")
    name = " ".join(filter(None, (genus, texts.get(QUALIFIER), rest)))
    return f"{name} ({codes})" if codes else name
