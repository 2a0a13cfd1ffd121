"""A keeper's spreadsheet laid over a trait table: new kinds and changed cells, with a report row by row."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from typing import TYPE_CHECKING, Literal

import pandas as pd

from idkey.display import Shown
from idkey.errors import Problem, TableError, one_of
from idkey.table.claims import Claim
from idkey.table.csvfile import ODD_CHARACTER
from idkey.table.edit import Place
from idkey.table.ids import is_id
from idkey.table.names import folded, new_id, trade_codes, without_codes
from idkey.table.reading import reading
from idkey.table.schema import YOUNG
from idkey.table.sheets import NAMING, ColumnNames, ColumnRead, Grid, Line, read_grid

if TYPE_CHECKING:
    from idkey.table.table import TraitTable

KEY, NAME, QUALIFIER = "id", "scientificName", "identificationQualifier"
CODE, GENUS, CARE, COMMON = "tradeCode", "genus", "careGroup", "vernacularName"
_WHOLE_ROW = ""
_ODD = "the cell holds a control character; write it again"
_QUALIFIERS = {"cf": "cf.", "cf.": "cf.", "aff": "aff.", "aff.": "aff."}


@dataclass(frozen=True)
class ImportRow:
    """How one row of a spreadsheet was read; without a taxon where it was not taken.

    `understood` is cell text by column of the table, `before` what the table held in the cells that the row
    changes, `said` what was made of cells that were not written as the table writes them.
    """

    number: int
    taxon: str
    label: str
    what: Literal["new", "changed", "unchanged", "not taken"]
    understood: Mapping[str, str] = field(default_factory=dict)
    before: Mapping[str, str] = field(default_factory=dict)
    said: tuple[str, ...] = ()
    problems: tuple[Problem, ...] = ()

    @property
    def taken(self) -> Mapping[str, str]:
        """The cells that go into the table."""
        changed = {column: self.understood[column] for column in self.before}
        return self.understood if self.what == "new" else changed


@dataclass(frozen=True, eq=False, repr=False)
class Import(Shown):
    """A spreadsheet as it was understood.

    `table` is the table with all of that, `changes` and `claims` what sets it apart, as `with_rows` takes it;
    `rows` those that are not blank, `problems` everything that was not taken: columns, rows, cells; `notes`
    how the file itself was read.
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
            (row.number, row.taxon, row.label, row.what)
            + ("; ".join(f"{column}: {text}" for column, text in row.understood.items()),)
            + ("; ".join(row.said), "; ".join(f"{p.column}: {p.value!r}: {p.right}" for p in row.problems))
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

    Of a workbook `sheet` is read, by default the first that names kinds. Printed, the `Import` says row by
    row what was understood; its ``.table`` is the table with that. Raises TableError where the file can't be
    read as a sheet of kinds at all.
    """
    names = ColumnNames(table)
    grid = read_grid(path, sheet, names.known)
    filled = {at for line in grid.lines for at, text in enumerate(line.cells) if text}
    columns = names.read(grid.header, {at for at in filled if at < len(grid.header) or not grid.packed})
    top = str(grid.header_row)
    if not any(c.meaning in NAMING for c in columns):
        right = "no column says which kind a row is; name one id, trade code or scientific name"
        raise TableError([Problem(grid.place, top, "", ", ".join(grid.header[:12]), right)])
    reader = _Reader(table, grid, columns)
    rows = [reader.read(line) for line in grid.lines]
    changes, claims, grown = _laid_over(table, grid.place, rows, reader.claims)
    rows = [replace(row, label=grown.label(row.taxon)) if row.what == "new" else row for row in rows]
    wrong = [Problem(grid.place, top, c.name, c.name, c.text) for c in columns if not c.meaning]
    problems = (*wrong, *(problem for row in rows for problem in row.problems))
    return Import(grid.file, grid.sheet, tuple(rows), columns, problems, grown, changes, claims, grid.notes)


def _laid_over(
    table: TraitTable, place: str, rows: list[ImportRow], claims: Mapping[Place, Claim]
) -> tuple[dict[str, Mapping[str, str]], dict[Place, Claim], TraitTable]:
    """Return changes, the claims behind them, and the table with both; a row that it refuses is not taken."""
    while True:
        changes = {row.taxon: row.taken for row in rows if row.what in ("new", "changed")}
        behind = {at: claim for at, claim in claims.items() if at[1] in changes.get(at[0], ())}
        try:
            return changes, behind, table.with_rows(changes, behind) if changes else table
        except TableError as error:
            wrong = [(p.row.removeprefix("new (").removesuffix(")"), p) for p in error.problems]
            if not all(taxon in changes for taxon, _ in wrong):
                raise
        for i, row in enumerate(rows):
            where = f"{row.number} ({row.taxon})"
            more = [replace(p, file=place, row=where) for taxon, p in wrong if taxon == row.taxon]
            if more:
                rows[i] = ImportRow(row.number, "", row.label, "not taken", problems=(*row.problems, *more))


class _NotTaken(Exception):  # noqa: N818 - never leaves the reading of a row
    """A row that is of no kind, or of no one kind: column, value, what would be right."""


class _Reader:
    """Reads the rows of a grid, one after the other; gathers the claims behind their cells."""

    def __init__(self, table: TraitTable, grid: Grid, columns: Iterable[ColumnRead]):
        self.table, self.grid = table, grid
        self.columns = {c.meaning: c for c in columns if c.meaning}
        traits = {c for t in table.trait_ids for c in (t, t + YOUNG)}
        self.traits = {m: table.trait_of(m) for m in self.columns if m in traits}
        self.rows = table.to_frame().fillna("").to_dict("index")
        self.allowed = {c: known for c, known in table.allowed().items() if known}
        shorts = [folded(source.short) for source in table.sources.values()]
        named = zip(shorts, table.sources, strict=True)
        self.sources = {short: key for short, key in named if short and shorts.count(short) == 1}
        self.sources |= {folded(key): key for key in table.sources}
        # The nearest key is looked for once for each wrong one.
        self.nearest = cache(lambda text: one_of(text, list(table.sources), "the key of a source"))
        self.genera: dict[str, str] = {}
        self.groups: dict[str, set[str]] = {}
        for row in self.rows.values():
            genus = folded(row.get(GENUS, ""))
            self.genera[genus] = row.get(GENUS, "")
            self.groups.setdefault(genus, set()).update(filter(None, [row.get(CARE)]))
        self.seen: dict[str, int] = {}
        self.claims: dict[Place, Claim] = {}

    def header(self, meaning: str) -> str:
        """Return what the sheet calls a column."""
        return self.columns[meaning].name if meaning in self.columns else meaning

    def wrong(self, meaning: str, value: str, right: str) -> None:
        """Note what was not taken of the row."""
        self.problems.append(Problem(self.grid.place, self.where, self.header(meaning), value, right))

    def read(self, line: Line) -> ImportRow:
        """Read one row."""
        self.said: list[str] = []
        self.problems: list[Problem] = []
        number, row, unread = line
        cells: dict[str, str] = {}
        wrong: list[tuple[str, str, str]] = []
        for meaning, column in self.columns.items():
            text = row[column.at] if column.at < len(row) else ""
            right = unread.get(column.at) or (_ODD if ODD_CHARACTER.search(text) else "")
            if right:
                wrong.append((meaning, text, right))
            elif text:
                cells[meaning] = text
        plain = {m: " ".join(text.split()) for m, text in cells.items() if m not in self.traits}
        label = next((plain[c] for c in (NAME, CODE, KEY) if c in plain), "")
        name, codes = without_codes(plain.get(NAME, ""))
        if name and codes and CODE not in plain and not self.table.names.whole(folded(plain[NAME])):
            plain |= {NAME: name, CODE: codes}
            cells |= {NAME: name, CODE: codes}
        try:
            taxon, names = self.kind(line, plain)
        except _NotTaken as error:
            # It may be its name that could not be had.
            taxon, names, wrong = "", {}, [error.args, *wrong]
        self.where = f"{number} ({taxon or label})" if taxon or label else str(number)
        for problem in wrong:
            self.wrong(*problem)
        if not taxon:
            return ImportRow(number, "", label, "not taken", problems=tuple(self.problems))
        old = self.rows.get(taxon)
        texts = self.names(taxon, names, plain, old)
        for column, text in cells.items():
            if column in self.traits:
                texts[column] = self.trait(column, text, old)
            elif column in self.table.taxa.columns and column not in (NAME, QUALIFIER, GENUS):
                texts[column] = self.other(column, text, plain[column], old or {})
        texts = {c: text for c, text in texts.items() if text}
        new = old is None
        before = {} if new else {c: old.get(c, "") for c, text in texts.items() if text != old.get(c, "")}
        what, label = "changed" if before else "unchanged", label if new else self.table.label(taxon)
        read = ImportRow(number, taxon, label, "new" if new else what, texts, before)
        self.source(taxon, [c for c, text in read.taken.items() if c in self.traits and text != "?"], plain)
        return replace(read, said=tuple(self.said), problems=tuple(self.problems))

    def kind(self, line: Line, plain: Mapping[str, str]) -> tuple[str, dict[str, str]]:
        """Return the kind that a row is about, and what the row calls it; raises _NotTaken."""
        wide, width = len(self.grid.header), len(line.cells)
        if self.grid.packed and width > wide:
            right = f"the row has more cells than the header has ({wide}); quote a cell with a comma"
            raise _NotTaken(_WHOLE_ROW, str(width), right)
        table, given = self.table, plain.get(KEY, "")
        names, said = self.written_names(plain)
        if given:
            known = [given] if given in self.rows else table.names.called.get(folded(given), [])
            taxon = known[0] if len(known) == 1 else given
            if taxon not in self.rows and NAME in table.taxa.columns and not is_id(given):
                right = "an id is lower-case letters, digits and _, starting with a letter"
                raise _NotTaken(KEY, given, f"{right}; it may be left blank")
        elif taxon := self.called(plain, names):
            common = self.rows[taxon].get(COMMON, "")
            if common and folded(plain.get(NAME, "")) == folded(common):
                # The name that keepers use stands in the sheet.
                said, names = f"{plain[NAME]!r} read as the common name of {table.label(taxon)}", {}
        else:
            taxon = new_id(self.rows, names[NAME], plain.get(CODE, ""), names[QUALIFIER])
            self.said += ["", f"id made: {taxon}"]
        if self.seen.setdefault(taxon, line.number) != line.number:
            right = f"row {self.seen[taxon]} is of this kind already; keep one, or give each its own id"
            raise _NotTaken(_WHOLE_ROW, taxon, right)
        self.said = list(filter(None, [said, *self.said]))
        return taxon, {c: text for c, text in names.items() if text and c in table.taxa.columns}

    def called(self, plain: Mapping[str, str], names: Mapping[str, str]) -> str:
        """Return the kind of this trade code or name; blank for one that the table does not have."""
        table, written, code, name = self.table, plain.get(NAME, ""), plain.get(CODE, ""), names[NAME]
        genus, _, species = name.partition(" ")
        named = table.names.called.get(folded(f"{genus} {names[QUALIFIER]} {species}"), [])
        named = list(named or ([] if names[QUALIFIER] else table.names.whole(folded(written))))
        coded = table.names.coded(code)
        coded = [taxon for taxon in coded if taxon in named] or coded
        unnamed, kind, other = name.endswith(" sp."), next(iter(coded), ""), next(iter(named), "")
        label, kinds = table.label(kind) if kind else "", ", ".join(named)
        # Codes on bags are often wrong: a name of its own speaks against the kind that has the code.
        against = kind and name and not unnamed and kind not in named
        no_name = not named and len(name.split()) < 2
        blank = "leave the name blank if it is that, or give an id"
        taken = other and code and self.rows[other][CODE]
        clash, by_code = against and named, kind or (code and unnamed)
        for wrong, column, right in (
            (len(coded) > 1, CODE, f"several kinds have this trade code; give the id: {', '.join(coded)}"),
            (clash, CODE, f"this trade code is {kind}, but the name is that of {kinds}; give the id"),
            (against, NAME, f"{code} is the trade code of {label}; {blank}"),
            (by_code, "", ""),
            (len(named) > 1, NAME, f"several kinds go by this name; give the trade code or the id: {kinds}"),
            (taken, CODE, f"{other} goes by another trade code; give its id to add this one, or a new id"),
            (no_name and NAME not in table.taxa.columns, KEY, "name it"),
            (no_name, NAME, "name the kind: genus and species, such as 'Hypancistrus sp.'"),
        ):
            if wrong and not column:
                return kind
            if wrong:
                raise _NotTaken(column, code if column == CODE else written, right)
        return other

    def written_names(self, plain: Mapping[str, str]) -> tuple[dict[str, str], str]:
        """Return name, qualifier and genus as the table writes them, and what was made of them."""
        written, genus, qualifier = (plain.get(c, "") for c in (NAME, GENUS, QUALIFIER))
        qualifier = _QUALIFIERS.get(qualifier.casefold(), qualifier)
        words = written.split()
        if len(words) > 2 and words[1].casefold() in _QUALIFIERS and not qualifier:
            qualifier = _QUALIFIERS[words.pop(1).casefold()]
        if len(words) == 1 and genus and folded(genus) != folded(words[0]):
            words = [genus, words[0]]
        if len(words) == 1 and folded(words[0]) in self.genera or not words and genus and plain.get(CODE):
            words = [*(words or [genus]), "sp."]
        if len(words) == 2 and words[1].casefold() in ("sp", "sp.", "spec", "spec."):
            words[1] = "sp."
        if words:
            words[0] = self.genera.get(folded(words[0])) or words[0][0].upper() + words[0][1:]
        name = " ".join(words)
        more = f", qualifier {qualifier}" if qualifier else ""
        same = not name or (name, qualifier) == (written, plain.get(QUALIFIER, ""))
        said = "" if same else f"{written or genus!r} read as {name}{more}"
        return {NAME: name, QUALIFIER: qualifier, GENUS: genus or (words[0] if words else "")}, said

    def names(
        self, taxon: str, names: dict[str, str], plain: Mapping[str, str], old: Mapping[str, str] | None
    ) -> dict[str, str]:
        """Return what a kind is called: one that is known is renamed only where the row gives its id."""
        genus, texts = names.get(GENUS, ""), {}
        if old is None:
            if genus and folded(genus) not in self.genera:
                self.said.append(f"genus {genus} is new to the table; look whether that is a scientific name")
            if CARE not in self.table.taxa.columns or CARE in plain:
                return dict(names)
            groups = self.groups.get(folded(genus), ())
            group = min(groups) if len(groups) == 1 else ""
            self.said.append(f"care group {group}, as all of its genus" if group else "no care group given")
            return {**names, CARE: group}
        for column, text in names.items():
            written = plain.get(column, text)
            if column == GENUS and column not in plain:
                continue
            if old[column] in (text, written) or folded(text) == folded(old[column]):
                texts[column] = old[column]
            elif KEY in plain:
                texts[column] = text
            elif taxon not in self.table.names.whole(folded(written)):
                right = f"the table calls this kind {self.table.label(taxon)}; give its id to rename it"
                self.wrong(column, written, right)
        if genus and texts.get(NAME, old.get(NAME)) != old.get(NAME):
            texts.setdefault(GENUS, genus)
        return texts

    def trait(self, column: str, text: str, row: Mapping[str, str] | None) -> str:
        """Return a cell of a trait as the table writes it; blank where it takes nothing."""
        trait, old = self.traits[column], row and row.get(column, "")
        read = reading(trait, text, self.columns[column].unit)
        if read.text is None:
            self.wrong(column, text, read.right)
            return ""
        said = [read.said]
        if text == "?" and old and not read.said:
            said = ["? read as not known, which takes nothing away"]
        elif text == "-" != old:
            said = ["- read as not applicable to this kind; leave blank what is not known"]
        known = trait.kind == "ceiling" and not {old, read.text} & {"", "-", "?", None}
        if known and float(read.text) < float(old):
            said.append(f"less than the largest length so far, {old} {trait.unit}")
        self.said += [f"{self.header(column)}: {one}" for one in said if one]
        # What a sheet does not know takes nothing away; a new kind may say so in spite of its genus.
        return "" if read.text == "?" and old is not None else read.text

    def other(self, column: str, text: str, plain: str, old: Mapping[str, str]) -> str:
        """Return a cell that is no trait and no name; blank where it is not understood."""
        if text == old.get(column) or column not in (CODE, *self.allowed):
            return text if text == old.get(column) else plain
        if column == CODE:
            # Trade codes that the table has already are kept.
            known = trade_codes(old.get(CODE, ""))
            fresh = [code for code in trade_codes(plain) if code not in known]
            read = "|".join(filter(None, (old.get(CODE, ""), *fresh)))
        else:
            fresh = [a for a in self.allowed[column] if folded(a) == folded(plain)][:1]
            read = "".join(fresh)
            if not fresh:
                self.wrong(column, plain, one_of(plain, self.allowed[column]))
        if fresh and read != plain:
            self.said.append(f"{self.header(column)}: {plain!r} read as {read}")
        return read

    def source(self, taxon: str, columns: list[str], plain: Mapping[str, str]) -> None:
        """Put the sources that the row names behind the cells that it fills."""
        keys = {m: self.sources.get(folded(plain[m]), "") for m in plain if m.split()[-1] == "source"}
        for meaning in (m for m, key in keys.items() if not key):
            right = f"{self.nearest(plain[meaning])}; a new source is added first, with with_source"
            self.wrong(meaning, plain[meaning], right)
        for column in columns:
            own = f"{column} source" in plain or f"{column} locator" in plain
            source, locator = (f"{column} source", f"{column} locator") if own else ("source", "locator")
            claim = Claim(source=keys.get(source, ""), locator=plain.get(locator, ""))
            if claim.source or claim.locator:
                self.claims[taxon, column] = claim
