"""A keeper's spreadsheet laid over a trait table: new kinds and changed cells, with a report row by row."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Literal

import pandas as pd

from idkey.arguments import checked
from idkey.display import Shown
from idkey.errors import Problem, TableError, one_of
from idkey.table.claims import Claim
from idkey.table.columns import ColumnNames, ColumnRead
from idkey.table.csvfile import Grid, cell_problem, read_grid
from idkey.table.edit import Place
from idkey.table.names import AN_ID, folded, is_id, new_id, trade_codes, without_codes
from idkey.table.reading import MADE_A_DATE, is_date, reading
from idkey.table.schema import YOUNG
from idkey.table.table import TraitTable
from idkey.table.units import first_up

KEY, NAME, QUALIFIER = "id", "scientificName", "identificationQualifier"
CODE, GENUS, CARE, COMMON = "tradeCode", "genus", "careGroup", "vernacularName"
_WORDS: dict[str, tuple[str, ...]] = {
    KEY: ("taxon", "taxon id", "kind id"),
    CODE: ("trade number", "L number", "L no", "L nr", "L code", "L numbers", "LDA number", "code"),
    NAME: ("name", "species", "latin name", "kind", "fish"),
    QUALIFIER: ("qualifier",),
    COMMON: ("common name", "english name", "trade name"),
    "nameAccordingTo": ("name source", "according to"),
    CARE: ("care",),
    "commonness": ("how common", "in trade"),
    "source": ("source", "reference", "citation", "literature"),
    "locator": ("locator", "page", "pages", "where"),
}
"""What keepers call the columns that are no traits; a trait goes by its id or its label."""
_BEHIND = {"{} source": "source", "source of {}": "source", "{} locator": "locator", "{} page": "locator"}
_OF_YOUNG = ("{} young", "young {}", "{} juvenile", "juvenile {}")
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


@checked
@dataclass(frozen=True, eq=False, repr=False)
class Import(Shown):
    """A spreadsheet as it was understood.

    `table` is the table with all of that, `changes` and `claims` what sets it apart, as `with_rows` takes it;
    `rows` those that are not blank, `problems` everything that was not taken: columns, rows, cells; `notes`
    how the file itself was read. `place` is the file, and the sheet in it.
    """

    place: str
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


@checked
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
    names = _columns_of_kinds(table)
    grid = read_grid(Path(path), sheet, names.known)
    columns = names.read(
        grid.header, {at for _, cells in grid.lines for at, text in enumerate(cells) if text}
    )
    top = str(grid.header_row)
    if not any(c.meaning in (KEY, CODE, NAME) for c in columns):
        right = "no column says which kind a row is; name one id, trade code or scientific name"
        raise TableError([Problem(grid.place, top, "", ", ".join(grid.header[:12]), right)])
    reader = _Reader(table, grid, columns)
    rows = [reader.read(*line) for line in grid.lines]
    changes = {row.taxon: row.taken for row in rows if row.what in ("new", "changed")}
    grown = table.with_rows(changes, reader.claims) if changes else table
    rows = [replace(row, label=grown.label(row.taxon)) if row.what == "new" else row for row in rows]
    wrong = [Problem(grid.place, top, c.name, c.name, c.text) for c in columns if not c.meaning]
    problems = (*wrong, *(problem for row in rows for problem in row.problems))
    return Import(grid.place, tuple(rows), columns, problems, grown, changes, reader.claims, grid.notes)


# -- its columns -----------------------------------------------------------------------------------------


def _columns_of_kinds(table: TraitTable) -> ColumnNames:
    """Return the words that the columns of a table go by, each with the column it means."""
    columns = (KEY, *table.taxa.columns, *(c for t in table.traits for c in (t.id, t.id + YOUNG)))
    words = [(column, column) for column in columns]
    words += [(t.id, t.label) for t in table.traits]
    words += [(t.id + YOUNG, form.format(t.name)) for form in _OF_YOUNG for t in table.traits]
    words += [(f"{column} {kind}", f.format(word)) for f, kind in _BEHIND.items() for column, word in words]
    known = {*columns, "source", "locator"}
    words += [(column, word) for column, some in _WORDS.items() if column in known for word in some]
    # A table that keeps no names knows its kinds by their ids alone.
    words += [(KEY, word) for word in _WORDS[NAME] if NAME not in known]
    labels = (t.label for t in table.traits if t.label)
    return ColumnNames(columns, words, (*columns, *labels), (KEY, CODE, NAME))


# -- its rows --------------------------------------------------------------------------------------------


class _NotTaken(Exception):  # noqa: N818 - never leaves the reading of a row
    """A row that is of no kind, or of no one kind: column, value, what would be right."""


class _Reader:
    """Reads the rows of a sheet, one after the other; gathers the claims behind their cells."""

    def __init__(self, table: TraitTable, grid: Grid, columns: Iterable[ColumnRead]):
        self.table, self.grid = table, grid
        self.columns = {c.meaning: c for c in columns if c.meaning}
        self.traits = {c for t in table.trait_ids for c in (t, t + YOUNG)}
        self.rows = table.to_frame().fillna("").to_dict("index")
        self.allowed = {c: known for c, known in table.allowed().items() if known}
        shorts = [folded(source.short) for source in table.sources.values()]
        named = zip(shorts, table.sources, strict=True)
        self.sources = {short: key for short, key in named if shorts.count(short) == 1}
        self.sources |= {folded(key): key for key in table.sources}
        self.genera = {folded(row[GENUS]): row[GENUS] for row in self.rows.values() if row.get(GENUS)}
        self.seen: dict[str, int] = {}
        self.claims: dict[Place, Claim] = {}

    def read(self, number: int, row: Sequence[str]) -> ImportRow:
        """Read one row."""
        self.said: list[str] = []
        self.wrong: list[tuple[str, str, str]] = []
        cells = self.cells(row)
        label = next((cells[c] for c in (NAME, CODE, KEY) if c in cells), "")
        name, codes = without_codes(cells.get(NAME, ""))
        if name and codes and CODE not in cells and not self.table.names.whole(folded(cells[NAME])):
            cells |= {NAME: name, CODE: codes}
        try:
            taxon, names = self.kind(number, row, cells)
        except _NotTaken as error:
            # It may be its name that could not be had.
            self.wrong.insert(0, error.args)
            return self.told(ImportRow(number, "", label, "not taken"))
        old = self.rows.get(taxon)
        texts = {column: text for column, text in names.items() if column in self.table.taxa.columns}
        for column, text in cells.items():
            if column in self.traits:
                texts[column] = self.trait(column, text, old)
            elif column in self.table.taxa.columns and column not in (NAME, QUALIFIER, GENUS):
                texts[column] = self.other(column, text, (old or {}).get(column, ""))
        texts = {c: text for c, text in texts.items() if text}
        new = old is None
        before = {} if new else {c: old.get(c, "") for c, text in texts.items() if text != old.get(c, "")}
        what, label = "changed" if before else "unchanged", label if new else self.table.label(taxon)
        read = ImportRow(number, taxon, label, "new" if new else what, texts, before)
        self.source(taxon, [c for c, text in read.taken.items() if c in self.traits and text != "?"], cells)
        return self.told(read)

    def told(self, row: ImportRow) -> ImportRow:
        """Return a row with what was made of its cells and what is wrong with them."""
        who, names = row.taxon or row.label, {meaning: c.name for meaning, c in self.columns.items()}
        where = f"{row.number} ({who})" if who else str(row.number)
        problems = [Problem(self.grid.place, where, names.get(c, c), *wrong) for c, *wrong in self.wrong]
        return replace(row, said=tuple(self.said), problems=tuple(problems))

    def cells(self, row: Sequence[str]) -> dict[str, str]:
        """Return the cells of a row that are filled and may be text."""
        cells: dict[str, str] = {}
        for meaning, column in self.columns.items():
            text = row[column.at] if column.at < len(row) else ""
            dated = meaning not in self.traits and is_date(text)
            if right := cell_problem(text) or (MADE_A_DATE if dated else ""):
                self.wrong.append((meaning, text[:60], right))
            elif text:
                cells[meaning] = text if meaning in self.traits else " ".join(text.split())
        return cells

    def kind(self, number: int, row: Sequence[str], cells: Mapping[str, str]) -> tuple[str, dict[str, str]]:
        """Return the kind that a row is about, and the names that it gives to it; raises _NotTaken."""
        wide, given, names = len(self.grid.header), cells.get(KEY, ""), self.written_names(cells)
        if len(row) > wide:
            right = f"the row has more cells than the header has ({wide}); quote a cell with a comma"
            raise _NotTaken("", str(len(row)), right)
        known = [given] if given in self.rows else self.table.names.called.get(folded(given), [])
        taxon = known[0] if len(known) == 1 else given or self.called(cells, names)
        new, has_names = taxon not in self.rows, NAME in self.table.taxa.columns
        if new and given and has_names and not is_id(given):
            raise _NotTaken(KEY, given, f"{AN_ID}; it may be left blank")
        if new and (len(names[NAME].split()) < 2 if has_names else not given):
            right = "name the kind: genus and species, such as 'Hypancistrus sp.'" if has_names else "name it"
            raise _NotTaken(NAME if has_names else KEY, cells.get(NAME, ""), right)
        taxon = taxon or new_id(self.rows, names[NAME], cells.get(CODE, ""), names[QUALIFIER])
        if self.seen.setdefault(taxon, number) != number:
            right = f"row {self.seen[taxon]} is of this kind already; keep one, or give each its own id"
            raise _NotTaken("", taxon, right)
        if new and not given:
            self.said.append(f"id made: {taxon}")
        return taxon, self.new_names(names, cells) if new else self.known_names(taxon, names, cells)

    def written_names(self, cells: Mapping[str, str]) -> dict[str, str]:
        """Return name, qualifier and genus as the table writes them."""
        words, genus, qualifier = cells.get(NAME, "").split(), cells.get(GENUS, ""), cells.get(QUALIFIER, "")
        if len(words) > 2 and words[1].casefold() in _QUALIFIERS and not qualifier:
            qualifier = words.pop(1)
        if len(words) == 1 and genus and folded(genus) != folded(words[0]):
            words = [genus, words[0]]
        if len(words) == 1 and folded(words[0]) in self.genera or not words and genus and CODE in cells:
            words = [*(words or [genus]), "sp."]
        if len(words) == 2 and words[1].casefold() in ("sp", "spec", "spec."):
            words[1] = "sp."
        genus = self.genera.get(folded(genus), genus)
        if words:
            words[0] = self.genera.get(folded(words[0])) or first_up(words[0])
            genus = genus or words[0]
        return {
            NAME: " ".join(words),
            QUALIFIER: _QUALIFIERS.get(qualifier.casefold(), qualifier),
            GENUS: genus,
        }

    def called(self, cells: Mapping[str, str], names: Mapping[str, str]) -> str:
        """Return the kind of this trade code or name; blank for one that the table does not have."""
        written, code, name = cells.get(NAME, ""), cells.get(CODE, ""), names[NAME]
        genus, _, species = name.partition(" ")
        named = self.table.names.called.get(folded(f"{genus} {names[QUALIFIER]} {species}"), ())
        named = named or (() if names[QUALIFIER] else self.table.names.whole(folded(written)))
        coded = self.table.names.coded(code)
        both = [taxon for taxon in coded if taxon in named]
        unnamed = not name or name.endswith(" sp.")
        kinds = both or coded or (() if code and unnamed else list(named))
        # Codes on bags are often wrong: a name of its own speaks against the kind that has the code.
        has_another = code and not coded and any(self.rows[taxon].get(CODE) for taxon in kinds)
        if has_another or coded and not both and not unnamed:
            listed = ", ".join(dict.fromkeys([*coded, *named]))
            right = f"trade code and name are not of one kind ({listed}); leave one blank, or give an id"
            raise _NotTaken(CODE, code, right)
        if len(kinds) > 1:
            right = f"several kinds are called so; give the id of one: {', '.join(kinds)}"
            raise _NotTaken(CODE if coded else NAME, code if coded else written, right)
        return next(iter(kinds), "")

    def new_names(self, names: dict[str, str], cells: Mapping[str, str]) -> dict[str, str]:
        """Return what a new kind is called, and whose care it needs."""
        genus, written = names[GENUS], cells.get(NAME, "") or cells.get(GENUS, "")
        if names[NAME] != written:
            more = f", qualifier {names[QUALIFIER]}" if names[QUALIFIER] else ""
            self.said.append(f"{written!r} read as {names[NAME]}{more}")
        if genus and folded(genus) not in self.genera:
            self.said.append(f"genus {genus} is new to the table; look whether that is a scientific name")
        if CARE not in self.table.taxa.columns or CARE in cells:
            return names
        groups = {row[CARE] for row in self.rows.values() if row[GENUS] == genus and row[CARE]}
        group = groups.pop() if len(groups) == 1 else ""
        self.said.append(f"care group {group}, as all of its genus" if group else "no care group given")
        return names | {CARE: group}

    def known_names(self, taxon: str, names: dict[str, str], cells: Mapping[str, str]) -> dict[str, str]:
        """Return what a kind of the table is called: it is renamed only where the row gives its id."""
        old, written = self.rows[taxon], cells.get(NAME, "")
        if KEY in cells and taxon not in self.table.names.whole(folded(written)):
            return names
        if KEY in cells:
            return names | {c: old[c] for c in (NAME, GENUS) if c in old and (c == NAME or c not in cells)}
        if folded(written) != folded(old.get(NAME, "")) and written:
            self.said.append(f"{written!r} read as {self.table.label(taxon)}")
        return {}

    def trait(self, column: str, text: str, row: Mapping[str, str] | None) -> str:
        """Return a cell of a trait as the table writes it; blank where it takes nothing."""
        trait, unit, old = self.table.trait_of(column), self.columns[column].unit, (row or {}).get(column, "")
        read = reading(trait, f"{text} {unit}" if unit and text[-1].isdigit() else text)
        said, lengths = [read.said], (old, read.text)
        if read.text is None:
            self.wrong.append((column, text, read.right))
        elif text == "?" and old:
            said = ["? read as not known, which takes nothing away"]
        elif text == "-" != old:
            said = ["- read as not applicable to this kind; leave blank what is not known"]
        elif trait.kind == "ceiling" and not {*lengths} & {"", "-", "?"} and float(read.text) < float(old):
            said.append(f"less than the largest length so far, {old} {trait.unit}")
        self.said += [f"{self.columns[column].name}: {one}" for one in said if one]
        # What a sheet does not know takes nothing away; a new kind may say so in spite of its genus.
        return "" if read.text is None or (read.text == "?" and row is not None) else read.text

    def other(self, column: str, text: str, old: str) -> str:
        """Return a cell that is no trait and no name; blank where it is not understood."""
        read = text
        if text == " ".join(old.split()):
            return old
        if column == CODE:
            # Trade codes that the table has already are kept.
            fresh = [code for code in trade_codes(text) if code not in trade_codes(old)]
            read = "|".join(filter(None, (old, *fresh)))
        elif column in self.allowed:
            read = next((value for value in self.allowed[column] if folded(value) == folded(text)), "")
        if not read:
            right = one_of(text, self.allowed[column]) if column in self.allowed else "write it such as L046"
            self.wrong.append((column, text, right))
        elif read not in (text, old):
            self.said.append(f"{self.columns[column].name}: {text!r} read as {read}")
        return read

    def source(self, taxon: str, columns: Iterable[str], cells: Mapping[str, str]) -> None:
        """Put the sources that the row names behind the cells that it fills."""
        keys: dict[str, str] = {}
        for meaning in (m for m in cells if m.split()[-1] == "source"):
            key = self.sources.get(folded(cells[meaning]), cells[meaning])
            wrong = [(meaning, *problem) for problem in Claim(key).problems(self.table.sources)]
            self.wrong += wrong
            keys[meaning] = "" if wrong else key
        for column in columns:
            own = {f"{column} source", f"{column} locator"} & cells.keys()
            before = f"{column} " if own else ""
            claim = Claim(source=keys.get(f"{before}source", ""), locator=cells.get(f"{before}locator", ""))
            if claim.source or claim.locator:
                self.claims[taxon, column] = claim
