"""Unsaved changes to a table, held as the text that was typed, until they make a table that is valid.

What can't be read is kept as it was typed and named in `Draft.problems`; nothing is raised while typing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import TypeVar

from idkey.errors import IdkeyError, Problem, TableError, UnknownName, one_of
from idkey.table import files
from idkey.table.claims import UNSOURCED, Claim, Source
from idkey.table.edit import added_to
from idkey.table.folder import save_table, start_table
from idkey.table.schema import YOUNG, Trait, parse_cell
from idkey.table.table import TraitTable
from idkey.table.typed import text_in

__all__ = ["Draft", "Place", "is_shipped", "own_folder"]

Place = tuple[str, str]
"""A taxon and a column."""
_T = TypeVar("_T")
_NAME = "scientificName"
_OF_CELLS = ("ids", "changed", "claims", "wrong", "sound", "_made")
_OF_COLUMNS = ("wide", "columns", *_OF_CELLS)


class Draft:
    """Changes to a table that are not saved yet.

    Attributes
    ----------
    saved : TraitTable
        The table as it is saved; it stays as it is.
    new : list of str
        Kinds that are not in the saved table.
    traits, sources : dict
        Those that are not in the saved table, by id and by key.

    Examples
    --------
    >>> import pandas as pd
    >>> frame = pd.DataFrame({"kind": ["a", "b"], "tail": ["forked", "straight"]})
    >>> draft = Draft(TraitTable.from_frame(frame, taxon="kind"))
    >>> draft.set("b", "tail", "froked")
    >>> draft.wrong["b", "tail"]
    "use a state of tail (forked, straight); did you mean 'forked'?"
    >>> draft.set("b", "tail", "forked")
    >>> draft.made().to_frame()["tail"].tolist()
    ['forked', 'forked']
    """

    def __init__(self, table: TraitTable):
        self._start_from(table)

    def _start_from(self, table: TraitTable) -> None:
        self.saved = table
        self.new: list[str] = []
        self.traits: dict[str, Trait] = {}
        self.sources: dict[str, Source] = {}
        self._texts: dict[Place, str] = {}
        self._claims: dict[Place, Claim] = {}
        self._removed: set[str] = set()
        self._forget(_OF_COLUMNS)

    def _forget(self, names: tuple[str, ...] = _OF_CELLS) -> None:
        """Forget what was worked out from what stood there before."""
        for name in names:
            self.__dict__.pop(name, None)

    # -- what is in it ----------------------------------------------------------------------------

    @cached_property
    def wide(self) -> TraitTable:
        """The saved table with the new sources and traits, its cells as they were."""
        wide = self.saved
        if self.sources:
            wide = replace(wide, sources={**wide.sources, **self.sources}, about=added_to(wide.about))
        for trait in self.traits.values():
            wide = wide.with_trait(trait)
        return wide

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
    def removed(self) -> tuple[str, ...]:
        """Kinds of the saved table that are to be left out."""
        return tuple(taxon for taxon in self.saved.ids if taxon in self._removed)

    @cached_property
    def changed(self) -> Mapping[Place, str]:
        """Text of every cell that differs from the saved table, by kind and column."""
        return self._in_order(self._texts)

    @cached_property
    def claims(self) -> Mapping[Place, Claim]:
        """Claims that were given, by kind and column."""
        return self._in_order(self._claims)

    @property
    def is_changed(self) -> bool:
        """Whether anything is not saved."""
        return any((self._texts, self._claims, self.new, self._removed, self.traits, self.sources))

    def was(self, taxon: str, column: str) -> str:
        """Return the text of a cell in the saved table; blank for a kind or a column that is new."""
        return text_in(self.saved, taxon, column)

    def text(self, taxon: str, column: str) -> str:
        """Return the text of a cell as it stands now."""
        place = self._place(taxon, column)
        return self._texts[place] if place in self._texts else self.was(*place)

    def label(self, taxon: str) -> str:
        """Name of a kind for a screen."""
        for table in (self.sound, self.saved):
            if taxon in table.taxa.index:
                return table.label(taxon)
        return self._texts.get((taxon, _NAME), "").strip() or taxon

    def _in_order(self, by_place: dict[Place, _T]) -> dict[Place, _T]:
        """Put places in the order of the table, so that the order of typing changes nothing."""
        rows = {taxon: i for i, taxon in enumerate(self.ids)}
        columns = {column: j for j, column in enumerate(self.columns)}
        return dict(sorted(by_place.items(), key=lambda item: (rows[item[0][0]], columns[item[0][1]])))

    def _place(self, taxon: str, column: str) -> Place:
        for what, name, names in (("taxon", taxon, self.ids), ("column", column, self.columns)):
            if name not in names:
                msg = f"{what} {name!r} is not in the table: {one_of(name, names, f'a {what}')}"
                raise UnknownName(msg)
        return taxon, column

    # -- changing it ------------------------------------------------------------------------------

    def set(self, taxon: str, column: str, text: str) -> None:
        """Set the text of a cell; a cell set back to what it was is not changed.

        Raises UnknownName for the kind or the column; what the cell says is never raised.
        """
        place = self._place(taxon, column)
        if self._same(column, text, self.was(*place)):
            self._texts.pop(place, None)
        else:
            self._texts[place] = text
        self._forget()

    def _same(self, column: str, text: str, other: str) -> bool:
        if text.strip() == other.strip() or column in self.names:
            return text.strip() == other.strip()
        trait = self.wide.trait_of(column)
        try:
            return parse_cell(trait, text) == parse_cell(trait, other)
        except ValueError:
            return False

    def claim(self, taxon: str, column: str, claim: Claim | None) -> None:
        """Say where a trait cell stands written; None takes it back. It waits while the cell is blank."""
        place = self._place(taxon, column)
        self._claims.pop(place, None)
        if claim is not None:
            self._claims[place] = claim
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
        if taxon in self.ids:
            right = "is there already: give the new kind another id"
            if taxon in self._removed:
                right = "was taken out and that is not saved yet: put it back instead"
            msg = f"kind {taxon!r} {right}"
            raise IdkeyError(msg)
        try:
            self.wide.with_taxon(taxon, **texts)
        except TableError as error:
            # What is wrong with a cell can be mended in the cell; the id has none.
            wrong = [problem for problem in error.problems if problem.column == "id"]
            if wrong:
                raise TableError(wrong, "added") from None
        self.new.append(taxon)
        self._forget()
        for column, text in texts.items():
            self.set(taxon, column, text)

    def remove(self, taxon: str) -> None:
        """Take a kind out; a new one is forgotten, one of the saved table can be put back."""
        if taxon in self.new:
            self.new.remove(taxon)
            self._texts = {place: text for place, text in self._texts.items() if place[0] != taxon}
            self._claims = {place: claim for place, claim in self._claims.items() if place[0] != taxon}
        else:
            taxon = self.saved.ids[self.saved.position(taxon)]
            self._removed.add(taxon)
        self._forget()

    def put_back(self, taxon: str) -> None:
        """Put back a kind that was taken out, with what was changed in it."""
        self._removed.discard(taxon)
        self._forget()

    def add_trait(self, trait: Trait) -> None:
        """Add a trait, not known of any kind yet. Raises TableError."""
        self.wide.with_trait(trait)
        self.traits[trait.id] = trait
        self._forget(_OF_COLUMNS)

    def add_source(self, bibtex: str) -> tuple[str, ...]:
        """Add sources given as BibTeX entries; return their keys. Raises TableError."""
        wider = self.wide.with_source(bibtex)
        new = {key: source for key, source in wider.sources.items() if key not in self.wide.sources}
        self.sources |= new
        self._forget(_OF_COLUMNS)
        return tuple(new)

    def take_over(self, table: TraitTable) -> int:
        """Take over what another table says otherwise than this draft does now; return how many cells.

        Its new kinds are added. `table` came from `sound`: it has the same traits and sources.
        """
        now = self.sound
        for taxon in table.ids:
            if taxon not in self.ids:
                self.add(taxon)
        texts = {
            (taxon, column): text
            for column in (*table.taxa.columns, *table.cells)
            for taxon in table.ids
            if (text := text_in(table, taxon, column)) != text_in(now, taxon, column)
        }
        for place, text in texts.items():
            self.set(*place, text)
        for place, claim in _new_claims(now, table):
            self.claim(*place, claim)
        return len(texts)

    def rebase(self, table: TraitTable) -> None:
        """Carry the changes over to another state of the saved table; what it says already is no change."""
        texts, claims = self._texts, self._claims
        self.saved = table
        self.new = [taxon for taxon in self.new if taxon not in table.taxa.index]
        self.traits = {k: trait for k, trait in self.traits.items() if k not in table.trait_ids}
        self.sources = {k: source for k, source in self.sources.items() if k not in table.sources}
        self._removed &= set(table.ids)
        self._texts = {}
        self._forget(_OF_COLUMNS)
        self._claims = {p: claim for p, claim in claims.items() if p[0] in self.ids and p[1] in self.columns}
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
        try:
            return self._table_without(frozenset())
        except TableError as error:
            return error

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
        try:
            return self._table_without(frozenset(self.wrong)) if self.wrong else self.made()
        except TableError:
            return self.wide

    def _table_without(self, left_out: frozenset[Place]) -> TraitTable:
        """Return the changed table, some of the places left as they were."""
        nameless = {taxon for taxon, column in left_out if column == _NAME and taxon in self.new}
        rows: dict[str, dict[str, str]] = {t: {} for t in self.new if t not in nameless}
        skipped = self._removed | nameless
        for (taxon, column), text in self.changed.items():
            if taxon not in skipped and (taxon, column) not in left_out:
                rows.setdefault(taxon, {})[column] = text
        claims = {
            place: claim
            for place, claim in self.claims.items()
            if place[0] not in skipped and place not in left_out and self.text(*place).strip()
        }
        table = self.wide.with_rows(rows, claims) if rows or claims else self.wide
        for taxon in self.removed:
            table = table.without_taxon(taxon)
        return table

    def save(self, folder: str | Path | None = None) -> None:
        """Save what it makes; afterwards nothing of it is unsaved. Raises as `TraitTable.save`.

        Parameters
        ----------
        folder : str or pathlib.Path, optional
            By default the table's own folder. Additions to the shipped table start an own table in a new
            folder; any other table is written whole to a new folder.
        """
        table = self.made()
        if folder is not None and is_shipped(self.saved):
            self.rebase(start_table(folder))
            table, folder = self.made(), None
        self._start_from(save_table(table, folder))


def is_shipped(table: TraitTable) -> bool:
    """Whether a table is the shipped one, which is not saved over."""
    return table.origin is not None and table.origin.folder == files.shipped_folder().resolve()


def own_folder(table: TraitTable) -> Path | None:
    """Return the folder that a table can be saved to without asking."""
    return None if table.origin is None or is_shipped(table) else table.origin.folder


def _new_claims(old: TraitTable, new: TraitTable) -> Iterator[tuple[Place, Claim]]:
    """Yield the claims on trait cells that only the new table has and that say where they come from."""
    if "taxon" not in new.evidence.columns:
        return
    known = set(old.evidence.itertuples(index=False, name=None))
    for row in new.evidence.to_dict("records"):
        on_cell = row["taxon"] and row["attribute"] in new.cells and row["note"] != UNSOURCED
        if on_cell and tuple(row.values()) not in known:
            parts = (row[name] for name in ("source", "locator", "class", "scope", "value", "note"))
            yield (row["taxon"], row["attribute"]), Claim(*parts)
