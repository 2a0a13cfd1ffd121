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
from idkey.table.edit import Place
from idkey.table.names import folded, trade_codes, without_codes
from idkey.table.reading import reading
from idkey.table.schema import YOUNG
from idkey.table.sheet_names import (
    CARE,
    CODE,
    GENUS,
    KEY,
    NAME,
    NAMING,
    QUALIFIER,
    ColumnNames,
    ColumnRead,
    Kind,
    KindNames,
    NotTaken,
)
from idkey.table.sheets import Grid, read_grid

if TYPE_CHECKING:
    from idkey.table.table import TraitTable

__all__ = ["Import", "ImportRow", "read_spreadsheet"]

_WHOLE_ROW = ""
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
    understood, before : mapping of str to str
        Cell text by column of the table, and what the table held in the cells that the row changes.
    said : tuple of str
        What was made of cells that were not written as the table writes them.
    problems : tuple of Problem
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
    rows : tuple of ImportRow
        The rows that are not blank.
    columns : tuple of ColumnRead
    problems : tuple of Problem
        Everything that was not taken: columns, rows, cells.
    table : TraitTable
        The table with all that was understood.
    changes, claims : mapping
        What sets it apart, as `TraitTable.with_rows` takes it.
    notes : tuple of str
        How the file itself was read.
    """

    file: str
    sheet: str
    rows: tuple[ImportRow, ...]
    columns: tuple[ColumnRead, ...]
    problems: tuple[Problem, ...]
    table: TraitTable
    changes: Mapping[str, Mapping[str, str]]
    claims: Mapping[Place, Claim]
    notes: tuple[str, ...] = ()

    def count(self, what: str) -> int:
        """Return how many rows are "new", "changed", "unchanged" or "not taken"."""
        return sum(row.what == what for row in self.rows)

    def to_frame(self) -> pd.DataFrame:
        """Return the report, one row a row of the sheet, in the order of `ImportRow`."""
        lines = [
            (
                row.number,
                row.taxon,
                row.label,
                row.what,
                "; ".join(f"{column}: {text}" for column, text in row.understood.items()),
                "; ".join(row.said),
                "; ".join(f"{p.column}: {p.value!r}: {p.right}" for p in row.problems),
            )
            for row in self.rows
        ]
        names = ["row", "taxon", "label", "what", "understood", "said", "problems"]
        return pd.DataFrame(lines, columns=names).astype({"row": int} | dict.fromkeys(names[1:], "str"))


def read_spreadsheet(path: str | os.PathLike[str], table: TraitTable, *, sheet: str | None = None) -> Import:
    """Read a keeper's spreadsheet, CSV or XLSX, onto a table, which stays as it is.

    A row is a kind, found by its id, else its trade code, else its scientific name; one that the table does
    not have is new. Columns go by their id, their label or a plain word ("L number", "Tail fin edge",
    "Pattern young"); "source" and "page" stand behind all cells of a row, "Pattern source" behind one. Cells
    may be written as people write them ("forked or concave", "17,8 cm", "12 to 16"); what was made of them
    is said. A blank cell changes nothing, and what is not understood is left as it is in the table.

    Parameters
    ----------
    path : str or path
    table : TraitTable
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
    changes, claims, grown = _laid_over(table, grid, rows, reader.claims)
    rows = [replace(row, label=grown.label(row.taxon)) if row.what == "new" else row for row in rows]
    top = str(grid.header_row)
    wrong = [Problem(grid.place, top, c.name, c.name, c.text) for c in columns if not c.meaning]
    problems = (*wrong, *(problem for row in rows for problem in row.problems))
    return Import(grid.file, grid.sheet, tuple(rows), columns, problems, grown, changes, claims, grid.notes)


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
    table: TraitTable, grid: Grid, rows: list[ImportRow], claims: Mapping[Place, Claim]
) -> tuple[dict[str, Mapping[str, str]], dict[Place, Claim], TraitTable]:
    """Return changes, the claims behind them, and the table with both; a row that it refuses is not taken."""
    while True:
        changes = {
            row.taxon: row.understood if row.what == "new" else {c: row.understood[c] for c in row.before}
            for row in rows
            if row.what in ("new", "changed")
        }
        behind = {place: claim for place, claim in claims.items() if place[1] in changes.get(place[0], ())}
        try:
            return changes, behind, table.with_rows(changes, behind) if changes else table
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
        traits = {c for t in table.trait_ids for c in (t, t + YOUNG)}
        self._traits = {m: table.trait_of(m) for m in self._columns if m in traits}
        self._old = table.to_frame().fillna("").to_dict("index")
        self._allowed = {c: known for c, known in table.allowed().items() if known}
        shorts = [folded(source.short) for source in table.sources.values()]
        self._sources = {
            name: key
            for name, key in zip(shorts, table.sources, strict=True)
            if name and shorts.count(name) == 1
        } | {folded(key): key for key in table.sources}
        self._kinds = KindNames(table)
        # The nearest key is looked for once for each wrong one.
        self._no_source = lru_cache(maxsize=None)(self._no_such_source)
        self._seen: dict[str, int] = {}
        self.claims: dict[Place, Claim] = {}

    def read(self, number: int, line: tuple[str, ...]) -> ImportRow:
        """Read one row."""
        given = {m: line[c.at] for m, c in self._columns.items() if c.at < len(line)}
        unread = {m: _ODD for m, text in given.items() if ODD_CHARACTER.search(text)}
        places = {m: (number, self._columns[m].at) for m in given}
        unread |= {m: self._grid.unread[at] for m, at in places.items() if at in self._grid.unread}
        cells = {m: text for m, text in given.items() if text and m not in unread}
        plain = {m: " ".join(text.split()) for m, text in cells.items() if m not in self._traits}
        label = next((plain[c] for c in (NAME, CODE, KEY) if c in plain), "")
        name, codes = without_codes(plain.get(NAME, ""))
        if name and codes and CODE not in plain and not self._table.names.whole(folded(plain[NAME])):
            plain |= {NAME: name, CODE: codes}
            cells |= {NAME: name, CODE: codes}
        row = _Row(self._grid.place, f"{number} ({label})" if label else str(number), self._columns)
        try:
            self._fits(line)
            kind = self._kinds.find(plain)
            self._is_first(number, kind.taxon)
        except NotTaken as error:
            row.wrong(*error.args)
            # It may be its name that could not be had.
            for meaning, right in unread.items():
                row.wrong(meaning, given[meaning], right)
            return ImportRow(number, "", label, "not taken", problems=tuple(row.problems))
        taxon = kind.taxon
        row.where = f"{number} ({taxon})"
        row.said += kind.said
        for meaning, right in unread.items():
            row.wrong(meaning, given[meaning], right)
        old = {} if kind.new else self._old[taxon]
        self._names(row, kind, plain, old)
        for column, text in cells.items():
            if column in self._traits:
                self._trait(row, column, text, None if kind.new else old.get(column, ""))
            elif column in self._table.taxa.columns and column not in (NAME, QUALIFIER, GENUS):
                same = text == old.get(column)
                row.texts[column] = text if same else self._meta(row, column, plain[column], old)
        texts = {c: text for c, text in row.texts.items() if text}
        before = {c: old.get(c, "") for c, text in texts.items() if text != old.get(c, "") and not kind.new}
        filled = [c for c in (texts if kind.new else before) if c in self._traits and texts[c] != "?"]
        self._claims(row, taxon, filled, plain)
        what = "new" if kind.new else "changed" if before else "unchanged"
        name = label if kind.new else self._table.label(taxon)
        return ImportRow(number, taxon, name, what, texts, before, tuple(row.said), tuple(row.problems))

    # -- which kind it is -------------------------------------------------------------------------

    def _fits(self, line: tuple[str, ...]) -> None:
        wide = len(self._grid.header)
        if self._grid.packed and len(line) > wide:
            right = f"the row has more cells than the header has ({wide}); quote a cell with a comma"
            raise NotTaken(_WHOLE_ROW, str(len(line)), right)

    def _is_first(self, number: int, taxon: str) -> None:
        if self._seen.setdefault(taxon, number) != number:
            right = f"row {self._seen[taxon]} is of this kind already; keep one, or give each its own id"
            raise NotTaken(_WHOLE_ROW, taxon, right)

    # -- what it says -----------------------------------------------------------------------------

    def _names(self, row: _Row, kind: Kind, plain: Mapping[str, str], old: Mapping[str, str]) -> None:
        """Read what a kind is called: a kind is renamed only where the row gives its id."""
        names = {c: text for c, text in kind.names.items() if text and c in self._table.taxa.columns}
        if kind.new:
            row.texts |= names
            genus = names.get(GENUS, "")
            if genus and folded(genus) not in self._kinds.genera:
                row.said.append(f"genus {genus} is new to the table; look whether that is a scientific name")
            if CARE in self._table.taxa.columns and CARE not in plain:
                group = row.texts[CARE] = self._kinds.group(genus)
                said = f"care group {group}, as all of its genus" if group else "no care group given"
                row.said.append(said)
            return
        for column, text in names.items():
            if column == GENUS and column not in plain:
                continue
            same = old[column] in (text, plain.get(column)) or folded(text) == folded(old[column])
            if same or kind.by_id:
                row.texts[column] = old[column] if same else text
            elif kind.taxon not in self._table.names.whole(folded(plain.get(column, text))):
                right = f"the table calls this kind {self._table.label(kind.taxon)}; give its id to rename it"
                row.wrong(column, plain.get(column, text), right)
        if row.texts.get(NAME, old.get(NAME)) != old.get(NAME) and GENUS in names and GENUS not in row.texts:
            row.texts[GENUS] = names[GENUS]

    def _trait(self, row: _Row, column: str, text: str, old: str | None) -> None:
        trait = self._traits[column]
        read = reading(trait, text, self._columns[column].unit)
        if read.text is None:
            row.wrong(column, text, read.right)
            return
        # What a sheet does not know takes nothing away; a new kind may say so in spite of its genus.
        row.texts[column] = "" if read.text == "?" and old is not None else read.text
        if read.said:
            row.say(column, read.said)
        elif text == "?" and old:
            row.say(column, "? read as not known, which takes nothing away")
        elif text == "-" != old:
            row.say(column, "- read as not applicable to this kind; leave blank what is not known")
        known = trait.kind == "ceiling" and not {old, read.text} & {"", "-", "?", None}
        if known and float(read.text) < float(old):
            row.say(column, f"less than the largest length so far, {old} {trait.unit}")

    def _meta(self, row: _Row, column: str, plain: str, old: Mapping[str, str]) -> str:
        """Read a cell that is no trait and no name; blank where it is not understood."""
        if column == CODE:
            # Trade codes that the table has already are kept.
            known = trade_codes(old.get(CODE, ""))
            fresh = [code for code in trade_codes(plain) if code not in known]
            read = "|".join(filter(None, (old.get(CODE, ""), *fresh)))
        elif column not in self._allowed:
            return plain
        else:
            allowed = self._allowed[column]
            read, fresh = next((a for a in allowed if folded(a) == folded(plain)), ""), [column]
            if not read:
                row.wrong(column, plain, one_of(plain, allowed))
        if read and fresh and read != plain:
            row.say(column, f"{plain!r} read as {read}")
        return read

    def _no_such_source(self, text: str) -> str:
        right = one_of(text, list(self._table.sources), "the key of a source")
        return f"{right}; a new source is added first, with with_source"

    def _claims(self, row: _Row, taxon: str, columns: list[str], plain: Mapping[str, str]) -> None:
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
                claim = Claim(source=keys.get(source, ""), locator=plain.get(locator, ""))
                self.claims[taxon, column] = claim


@dataclass
class _Row:
    """A row while it is read."""

    file: str
    where: str
    columns: Mapping[str, ColumnRead]
    texts: dict[str, str] = field(default_factory=dict)
    said: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)

    def wrong(self, meaning: str, value: str, right: str) -> None:
        name = self.columns[meaning].name if meaning in self.columns else meaning
        self.problems.append(Problem(self.file, self.where, name, value, right))

    def say(self, meaning: str, text: str) -> None:
        name = self.columns[meaning].name if meaning in self.columns else meaning
        self.said.append(f"{name}: {text}")
