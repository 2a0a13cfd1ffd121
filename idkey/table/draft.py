"""Unsaved changes to a table, held as the text that was typed, until they make a table that is valid.

What can't be read is kept as it was typed and named in `Draft.problems`; nothing is raised while typing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType

from idkey.errors import IdkeyError, Problem, TableError, UnknownName, one_of
from idkey.table.claims import Claim, Source
from idkey.table.origin import added_to
from idkey.table.schema import YOUNG, Trait, parse_cell
from idkey.table.table import TraitTable
from idkey.table.typed import text_in

__all__ = ["Draft", "Place"]

Place = tuple[str, str]
"""A taxon and a column."""

_NAME = "scientificName"


class Draft:
    """Changes to a table that are not saved yet.

    Parameters
    ----------
    table : TraitTable
        The table as it is saved; it stays as it is.

    Attributes
    ----------
    saved : TraitTable

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
        self.saved = table
        self._forget()

    def _forget(self) -> None:
        self._texts: dict[Place, str] = {}
        self._claims: dict[Place, Claim] = {}
        self._new: list[str] = []
        self._removed: set[str] = set()
        self._traits: dict[str, Trait] = {}
        self._sources: dict[str, Source] = {}
        self._widened()

    def _widened(self) -> None:
        """Forget what was worked out from the columns and the sources as they were before."""
        self._wide: TraitTable | None = None
        self._columns: tuple[str, ...] = ()
        self._touched()

    def _touched(self) -> None:
        """Forget what was worked out from the cells as they stood before."""
        self._result: TraitTable | TableError | None = None
        self._readable: TraitTable | None = None

    # -- what is in it ----------------------------------------------------------------------------

    @property
    def wide(self) -> TraitTable:
        """The saved table with the new sources and traits, its cells as they were."""
        if self._wide is None:
            wide = self.saved
            if self._sources:
                sources = {**wide.sources, **self._sources}
                wide = replace(wide, sources=sources, about=added_to(wide.about))
            for trait in self._traits.values():
                wide = wide.with_trait(trait)
            self._wide = wide
        return self._wide

    @property
    def ids(self) -> tuple[str, ...]:
        """All kinds: those of the saved table, the removed ones too, then the new ones."""
        return (*self.saved.ids, *self._new)

    @property
    def names(self) -> tuple[str, ...]:
        """The columns that are no traits: names, care group, commonness."""
        return tuple(str(c) for c in self.saved.taxa.columns)

    @property
    def columns(self) -> tuple[str, ...]:
        """All columns that a cell can be in; a trait is followed by what young fish show of it."""
        if not self._columns:
            self._columns = (*self.names, *(c for t in self.wide.traits for c in (t.id, t.id + YOUNG)))
        return self._columns

    @property
    def new(self) -> tuple[str, ...]:
        """Kinds that are not in the saved table."""
        return tuple(self._new)

    @property
    def removed(self) -> tuple[str, ...]:
        """Kinds of the saved table that are to be left out."""
        return tuple(taxon for taxon in self.saved.ids if taxon in self._removed)

    @property
    def traits(self) -> tuple[Trait, ...]:
        """Traits that are not in the saved table."""
        return tuple(self._traits.values())

    @property
    def sources(self) -> tuple[Source, ...]:
        """Sources that are not in the saved table."""
        return tuple(self._sources.values())

    @property
    def changed(self) -> Mapping[Place, str]:
        """Text of every cell that differs from the saved table, by kind and column."""
        return MappingProxyType(self._in_order(self._texts))

    @property
    def claims(self) -> Mapping[Place, Claim]:
        """Claims that were given, by kind and column."""
        return MappingProxyType(self._in_order(self._claims))

    @property
    def is_changed(self) -> bool:
        """Whether anything is not saved."""
        parts = (self._texts, self._claims, self._new, self._removed, self._traits, self._sources)
        return any(parts)

    def was(self, taxon: str, column: str) -> str:
        """Return the text of a cell in the saved table; blank for a kind or a column that is new."""
        return text_in(self.saved, taxon, column)

    def text(self, taxon: str, column: str) -> str:
        """Return the text of a cell as it stands now."""
        place = self._place(taxon, column)
        return self._texts[place] if place in self._texts else self.was(*place)

    def label(self, taxon: str) -> str:
        """Name of a kind for a screen."""
        table = self.sound()
        if taxon in table.taxa.index:
            return table.label(taxon)
        if taxon in self.saved.taxa.index:
            return self.saved.label(taxon)
        return self._texts.get((taxon, _NAME), "").strip() or taxon

    def _in_order(self, by_place: Mapping[Place, object]) -> dict[Place, object]:
        """Put places in the order of the table, so that the order of typing changes nothing."""
        if not by_place:
            return {}
        rows = {taxon: i for i, taxon in enumerate(self.ids)}
        columns = {column: j for j, column in enumerate(self.columns)}
        return dict(sorted(by_place.items(), key=lambda item: (rows[item[0][0]], columns[item[0][1]])))

    def _place(self, taxon: str, column: str) -> Place:
        if taxon not in self.saved.taxa.index and taxon not in self._new:
            msg = f"taxon {taxon!r} is not in the table: {one_of(taxon, self.ids, 'a taxon id')}"
            raise UnknownName(msg)
        if column not in self.columns:
            msg = f"column {column!r} is not in the table: {one_of(column, self.columns, 'a column')}"
            raise UnknownName(msg)
        return taxon, column

    # -- changing it ------------------------------------------------------------------------------

    def set(self, taxon: str, column: str, text: str) -> None:
        """Set the text of a cell; a cell set back to what it was is not changed.

        Raises
        ------
        UnknownName
            The kind or the column; what the cell says is never raised.
        """
        place = self._place(taxon, column)
        if self._same(column, text, self.was(*place)):
            self._texts.pop(place, None)
        else:
            self._texts[place] = text
        self._touched()

    def _same(self, column: str, text: str, other: str) -> bool:
        if text.strip() == other.strip():
            return True
        if column in self.names:
            return False
        trait = self.wide.trait_of(column)
        try:
            return parse_cell(trait, text) == parse_cell(trait, other)
        except ValueError:
            return False

    def claim(self, taxon: str, column: str, claim: Claim | None) -> None:
        """Say where a trait cell stands written; None takes it back. It waits while the cell is blank."""
        place = self._place(taxon, column)
        if claim is None:
            self._claims.pop(place, None)
        else:
            self._claims[place] = claim
        self._touched()

    def add(self, taxon: str, **texts: str) -> None:
        """Add a kind, with the text of some of its cells.

        Raises
        ------
        IdkeyError
            The id is taken, or is none.
        UnknownName
            A column.
        """
        if taxon in self._removed:
            msg = f"kind {taxon!r} was taken out and that is not saved yet: put it back instead"
            raise IdkeyError(msg)
        if taxon in self.ids:
            msg = f"kind {taxon!r} is there already: give the new kind another id"
            raise IdkeyError(msg)
        try:
            self.wide.with_taxon(taxon, **texts)
        except TableError as error:
            # What is wrong with a cell can be mended in the cell; the id has none.
            wrong = [problem for problem in error.problems if problem.column == "id"]
            if wrong:
                raise TableError(wrong, "added") from None
        self._new.append(taxon)
        self._touched()
        for column, text in texts.items():
            self.set(taxon, column, text)

    def remove(self, taxon: str) -> None:
        """Take a kind out; a new one is forgotten, one of the saved table can be put back."""
        if taxon in self._new:
            self._new.remove(taxon)
            for by_place in (self._texts, self._claims):
                for place in [p for p in by_place if p[0] == taxon]:
                    del by_place[place]
        else:
            taxon = self.saved.ids[self.saved.position(taxon)]
            self._removed.add(taxon)
        self._touched()

    def put_back(self, taxon: str) -> None:
        """Put back a kind that was taken out, with what was changed in it."""
        self._removed.discard(taxon)
        self._touched()

    def add_trait(self, trait: Trait) -> None:
        """Add a trait, not known of any kind yet. Raises TableError."""
        self.wide.with_trait(trait)
        self._traits[trait.id] = trait
        self._widened()

    def drop_trait(self, trait_id: str) -> None:
        """Forget a trait that is not saved yet, and what was typed in its column."""
        if self._traits.pop(trait_id, None) is None:
            msg = f"trait {trait_id!r} is not new: only a trait that is not saved yet can be taken back"
            raise UnknownName(msg)
        self._keep_known()

    def add_source(self, bibtex: str) -> tuple[str, ...]:
        """Add sources given as BibTeX entries; return their keys. Raises TableError."""
        wider = self.wide.with_source(bibtex)
        new = {key: source for key, source in wider.sources.items() if key not in self.wide.sources}
        self._sources |= new
        self._widened()
        return tuple(new)

    def revert(self, taxon: str, column: str) -> None:
        """Set a cell back to what it was, and take back the claim given for it."""
        place = self._place(taxon, column)
        self._texts.pop(place, None)
        self._claims.pop(place, None)
        self._touched()

    def revert_all(self) -> None:
        """Forget all changes."""
        self.start_from(self.saved)

    def start_from(self, table: TraitTable) -> None:
        """Forget all changes and start from another table, such as the one just saved."""
        self.saved = table
        self._forget()

    def rebase(self, table: TraitTable) -> None:
        """Carry the changes over to another state of the saved table; what it says already is no change."""
        self.saved = table
        self._new = [taxon for taxon in self._new if taxon not in table.taxa.index]
        self._removed &= set(table.ids)
        self._traits = {k: trait for k, trait in self._traits.items() if k not in table.trait_ids}
        self._sources = {k: source for k, source in self._sources.items() if k not in table.sources}
        self._keep_known()

    def _keep_known(self) -> None:
        """Keep the changes whose kind and column are still there, and that still change something."""
        self._widened()
        texts, claims, ids, columns = self._texts, self._claims, set(self.ids), set(self.columns)
        self._texts = {}
        self._claims = {p: c for p, c in claims.items() if p[0] in ids and p[1] in columns}
        for (taxon, column), text in texts.items():
            if taxon in ids and column in columns:
                self.set(taxon, column, text)

    # -- what it makes ----------------------------------------------------------------------------

    def made(self) -> TraitTable:
        """Return the changed table.

        Raises
        ------
        TableError
            With everything that is wrong.
        """
        if self._result is None:
            try:
                self._result = self._table_without(frozenset())
            except TableError as error:
                self._result = error
        if isinstance(self._result, TableError):
            raise self._result
        return self._result

    def problems(self) -> tuple[Problem, ...]:
        """Return everything that is wrong; empty where the table can be saved."""
        try:
            self.made()
        except TableError as error:
            return error.problems
        return ()

    @property
    def wrong(self) -> Mapping[Place, str]:
        """What would be right, by the kind and the column of each cell that can't be read."""
        taxa = {taxon: taxon for taxon in self.saved.ids} | {f"new ({taxon})": taxon for taxon in self._new}
        found: dict[Place, str] = {}
        for problem in self.problems():
            if problem.row in taxa:
                found.setdefault((taxa[problem.row], problem.column), problem.right)
        return found

    def sound(self) -> TraitTable:
        """Return the table with all changes that can be read; the others are left as they were."""
        if self._readable is None:
            left_out = frozenset(self.wrong)
            try:
                self._readable = self._table_without(left_out) if left_out else self.made()
            except TableError:
                self._readable = self.wide
        return self._readable

    def _table_without(self, left_out: frozenset[Place]) -> TraitTable:
        """Return the changed table, some of the places left as they were."""
        nameless = {taxon for taxon, column in left_out if column == _NAME and taxon in self._new}
        rows: dict[str, dict[str, str]] = {t: {} for t in self._new if t not in nameless}
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
