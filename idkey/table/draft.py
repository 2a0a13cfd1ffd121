"""Unsaved changes to a table, held as the text that was typed, until they make a table that is valid.

What can't be read is kept as it was typed and named in `Draft.problems`; nothing is raised while typing.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from functools import cached_property
from itertools import product
from pathlib import Path

from idkey.arguments import checked
from idkey.errors import IdkeyError, Problem, TableError, UnknownName, one_of
from idkey.table import layout
from idkey.table.claims import Claim, Source
from idkey.table.edit import Place
from idkey.table.folder import save_table, start_table
from idkey.table.names import is_id
from idkey.table.package import added_to
from idkey.table.reading import reading
from idkey.table.schema import YOUNG, Cell, Trait
from idkey.table.table import TraitTable

_NAME = "scientificName"


@checked
class Draft:
    """Changes to a table that are not saved yet.

    `saved` is the table as it is saved, `wide` the same with the new sources and traits; `new` and `removed`
    are kinds; `changed` and `claims` hold the text of each cell that differs and the claims that were given,
    by kind and column.
    """

    @checked
    def __init__(self, table: TraitTable):
        self._start_from(table)

    def _start_from(self, table: TraitTable) -> None:
        self.new: list[str] = []
        self.removed: list[str] = []
        self.changed: dict[Place, str] = {}
        self.claims: dict[Place, Claim] = {}
        self.saved = self.wide = table
        self.rebase(table)

    def _forget(self) -> None:
        """Forget what was worked out from what stood there before."""
        for name in ("ids", "columns", "wrong", "sound", "_made"):
            self.__dict__.pop(name, None)

    # -- what is in it ----------------------------------------------------------------------------

    @cached_property
    def ids(self) -> tuple[str, ...]:
        """All kinds: those of the saved table, the removed ones too, then the new ones."""
        return (*self.saved.ids, *self.new)

    @property
    def names(self) -> tuple[str, ...]:
        """The columns that are no traits: names, care group, commonness."""
        return tuple(str(c) for c in self.saved.taxa.columns)

    @cached_property
    def columns(self) -> tuple[str, ...]:
        """All columns that a cell can be in; a trait is followed by what young fish show of it."""
        return (*self.names, *(c for t in self.wide.traits for c in (t.id, t.id + YOUNG)))

    @property
    def traits(self) -> list[Trait]:
        """Those that are not in the saved table."""
        return [trait for trait in self.wide.traits if trait.id not in self.saved.trait_ids]

    @property
    def sources(self) -> dict[str, Source]:
        """Those that are not in the saved table, by key."""
        return {key: source for key, source in self.wide.sources.items() if key not in self.saved.sources}

    @property
    def is_changed(self) -> bool:
        """Whether anything is not saved."""
        return any((self.changed, self.claims, self.new, self.removed, self.traits, self.sources))

    def was(self, taxon: str, column: str) -> str:
        """Return the own text of a cell in the saved table; blank for a kind or a column that is new."""
        return self._saved_texts.get(taxon, {}).get(column, "")

    def text(self, taxon: str, column: str) -> str:
        """Return the text of a cell as it stands now."""
        place = self._place(taxon, column)
        return self.changed[place] if place in self.changed else self.was(*place)

    def label(self, taxon: str) -> str:
        """Name of a kind for a screen."""
        for table in (self.sound, self.saved):
            if taxon in table.taxa.index:
                return table.label(taxon)
        return self.changed.get((taxon, _NAME), "").strip() or taxon

    def _place(self, taxon: str, column: str) -> Place:
        for what, name, names in (("taxon", taxon, self.ids), ("column", column, self.columns)):
            if name not in names:
                raise UnknownName(f"{what} {name!r} is not in the table: {one_of(name, names, f'a {what}')}")
        return taxon, column

    # -- changing it ------------------------------------------------------------------------------

    def set(self, taxon: str, column: str, text: str) -> None:
        """Set the text of a cell, as people write it; a cell set back to what it was is not changed.

        Raises UnknownName for the kind or the column; what the cell says is never raised.
        """
        place = self._place(taxon, column)
        if column not in self.names:
            read = reading(self.wide.trait_of(column), text)
            text = read.text if read.said or read.text == self.was(*place) else text
        self.changed.pop(place, None)
        if text.strip() != self.was(*place).strip():
            self.changed[place] = text
        self._forget()

    def claim(self, taxon: str, column: str, claim: Claim | None) -> None:
        """Say where a trait cell stands written; None takes it back. It waits while the cell is blank."""
        place = self._place(taxon, column)
        self.claims = {p: c for p, c in {**self.claims, place: claim}.items() if c is not None}
        self._forget()

    def revert(self, taxon: str, column: str) -> None:
        """Set a cell back to what it was, and take back the claim given for it."""
        self.set(taxon, column, self.was(taxon, column))
        self.claim(taxon, column, None)

    def revert_all(self) -> None:
        """Forget all changes."""
        self._start_from(self.saved)

    def add(self, taxon: str, **texts: str) -> None:
        """Add a kind, with the text of some of its cells. Raises IdkeyError for an id that can't be used."""
        right = ""
        if taxon in self.removed:
            right = "was taken out and that is not saved yet: put it back instead"
        elif taxon in self.ids:
            right = "is there already: give the new kind another id"
        elif self.names and not is_id(taxon):
            right = "can't be added: an id is lower-case letters, digits and _, starting with a letter"
        if right:
            raise IdkeyError(f"kind {taxon!r} {right}")
        for column in texts:
            self._place(self.ids[0], column)
        self.new.append(taxon)
        self.take({taxon: texts}, {})

    def take(self, rows: Mapping[str, Mapping[str, str]], claims: Mapping[Place, Claim]) -> int:
        """Take over rows and claims, as for `TraitTable.with_rows`; return how many cells they set."""
        self._forget()
        for taxon, texts in rows.items():
            if taxon not in self.ids:
                self.add(taxon)
            for column, text in texts.items():
                self.set(taxon, column, text)
        for place, claim in claims.items():
            self.claim(*place, claim)
        return sum(map(len, rows.values()))

    def remove(self, taxon: str) -> None:
        """Take a kind out; a new one is forgotten, one of the saved table can be put back."""
        if taxon in self.new:
            self.new.remove(taxon)
            self._keep_known()
        elif taxon not in self.removed:
            self.removed.append(self.saved.ids[self.saved.position(taxon)])
        self._forget()

    def put_back(self, taxon: str) -> None:
        """Put back a kind that was taken out, with what was changed in it. Raises UnknownName."""
        if taxon not in self.removed:
            raise UnknownName(f"kind {taxon!r} was not taken out: {one_of(taxon, self.removed, 'one of')}")
        self.removed.remove(taxon)
        self._forget()

    def add_trait(self, trait: Trait) -> None:
        """Add a trait, not known of any kind yet. Raises TableError."""
        self.wide = self.wide.with_trait(trait)
        self._forget()

    def add_source(self, bibtex: str) -> tuple[str, ...]:
        """Add sources given as BibTeX entries; return their keys. Raises TableError."""
        known, self.wide = self.wide.sources, self.wide.with_source(bibtex)
        self._forget()
        return tuple(key for key in self.wide.sources if key not in known)

    def rebase(self, table: TraitTable) -> None:
        """Carry the changes over to another state of the saved table; what it says already is no change."""
        traits = [trait for trait in self.traits if trait.id not in table.trait_ids]
        sources = {key: source for key, source in self.sources.items() if key not in table.sources}
        self.saved = self.wide = table
        self._saved_texts = table.to_frame(own=True).to_dict("index")
        self.new = [taxon for taxon in self.new if taxon not in table.ids]
        self.removed = [taxon for taxon in self.removed if taxon in table.ids]
        if sources:
            self.wide = replace(table, sources={**table.sources, **sources}, about=added_to(table.about))
        for trait in traits:
            self.wide = self.wide.with_trait(trait)
        self._keep_known()

    def _keep_known(self) -> None:
        """Keep the changes whose kind and column are still there, and that still change something."""
        self._forget()
        self.claims = {p: c for p, c in self.claims.items() if p[0] in self.ids and p[1] in self.columns}
        texts, self.changed = self.changed, {}
        for (taxon, column), text in texts.items():
            if taxon in self.ids and column in self.columns:
                self.set(taxon, column, text)

    # -- what it makes ----------------------------------------------------------------------------

    def made(self) -> TraitTable:
        """Return the changed table. Raises TableError with everything that is wrong."""
        if isinstance(self._made, TableError):
            raise self._made
        return self._made

    @cached_property
    def _made(self) -> TraitTable | TableError:
        return self._without(())

    @property
    def problems(self) -> tuple[Problem, ...]:
        """Everything that is wrong; empty where the table can be saved."""
        return self._made.problems if isinstance(self._made, TableError) else ()

    @cached_property
    def wrong(self) -> Mapping[Place, str]:
        """What would be right, by the kind and the column of each cell that can't be read."""
        taxa = {taxon: taxon for taxon in self.saved.ids} | {f"new ({taxon})": taxon for taxon in self.new}
        wrong: dict[Place, str] = {}
        for problem in self.problems:
            if problem.row in taxa:
                wrong.setdefault((taxa[problem.row], problem.column), problem.right)
        return wrong

    @cached_property
    def sound(self) -> TraitTable:
        """The table with all changes that can be read; the others are left as they were."""
        table = self._without(self.wrong) if self.wrong else self._made
        return self.wide if isinstance(table, TableError) else table

    def _without(self, left_out: Collection[Place]) -> TraitTable | TableError:
        """Return the changed table, some of the places left as they were; or what is wrong with it."""
        skipped = {*self.removed, *(t for t in self.new if (t, _NAME) in left_out)}
        rows: dict[str, dict[str, str]] = {t: {} for t in self.new if t not in skipped}
        claims: dict[Place, Claim] = {}
        # In the order of the table, so that the order of typing changes nothing.
        for taxon, column in product((t for t in self.ids if t not in skipped), self.columns):
            place = taxon, column
            if place in self.changed and place not in left_out:
                rows.setdefault(taxon, {})[column] = self.changed[place]
            if place in self.claims and place not in left_out and self.text(*place).strip():
                claims[place] = self.claims[place]
        try:
            table = self.wide.with_rows(rows, claims) if rows or claims else self.wide
            for taxon in self.removed:
                table = table.without_taxon(taxon)
        except TableError as error:
            return error
        return table

    def save(self, folder: str | Path | None = None) -> None:
        """Save what it makes; afterwards nothing of it is unsaved. Raises as `TraitTable.save`.

        By default to the table's own folder. Additions to the shipped table start an own table in a new
        folder; any other table is written whole to a new folder.
        """
        table = self.made()
        if folder is not None and is_shipped(self.saved):
            self.rebase(start_table(folder))
            table, folder = self.made(), None
        self._start_from(save_table(table, folder))


def is_shipped(table: TraitTable) -> bool:
    """Whether a table is the shipped one, which is not saved over."""
    return table.origin is not None and table.origin.folder == layout.shipped_folder().resolve()


def own_folder(table: TraitTable) -> Path | None:
    """Return the folder that a table can be saved to without asking."""
    return None if table.origin is None or is_shipped(table) else table.origin.folder


def taken_over(table: TraitTable, taxon: str, column: str) -> tuple[Cell, str]:
    """Return what a blank cell takes over, and what it rests on; None and blank for any other cell."""
    basis = table.basis.get(column) if taxon in table.taxa.index else None
    by = basis[table.position(taxon)] if basis else ""
    return (table.cells[column][table.position(taxon)] if by else None), by
