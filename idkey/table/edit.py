"""A table with more in it: kinds, cells, traits, sources, claims. Each call gives a new table.

All that is given is checked first; one TableError lists everything wrong. A filled cell always has a claim
behind it: where none is given, the claim is of class memory and says that no source was named.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Self

import pandas as pd

from idkey.errors import Problem, TableError, UnknownName, one_of
from idkey.table.claims import UNSOURCED, Claim, Source
from idkey.table.csvfile import Found, Row, Sheet
from idkey.table.genera import Genera, OwnCells
from idkey.table.ids import is_id
from idkey.table.names import one
from idkey.table.package import added_to
from idkey.table.reading import read_cell
from idkey.table.rows import read_traits, trait_row
from idkey.table.schema import (
    YOUNG,
    Cell,
    NotKnown,
    OwnCell,
    Trait,
    cell_text,
    is_missing,
    state_text,
    trait_problems,
)
from idkey.table.sources import parse_sources

__all__ = ["Editable", "Place"]

Place = tuple[str, str]
"""A taxon and a column."""

_NAME = "scientificName"


class Editable:
    """The part of `TraitTable` that makes tables with more, or less, in them."""

    traits: tuple[Trait, ...]
    trait_ids: tuple[str, ...]
    taxa: pd.DataFrame
    cells: Mapping[str, tuple[Cell, ...]]
    own_cells: OwnCells
    genera: Genera
    care: pd.DataFrame
    evidence: pd.DataFrame
    sources: Mapping[str, Source]
    name: str
    about: Mapping[str, Any]

    def with_taxon(self, taxon: str, /, claims: Mapping[str, Claim] | None = None, **values: Any) -> Self:
        """Return a new table with one more taxon, under this id.

        Parameters
        ----------
        claims : mapping of str to Claim, optional
            Where it stands written, by column. A filled cell without a claim gets one of class memory that
            says that no source was named.
        **values
            Cell text by column: traits, ``<trait>_young``, or a column of `taxa`. A table that keeps names
            needs ``scientificName``; a genus that is left out is its first word. All else that is left
            out is what holds for the genus, or not known.

        Raises TableError with everything that is wrong; this table stays as it is.
        """
        behind = {(taxon, column): claim for column, claim in (claims or {}).items()}
        return _with_rows(self, {taxon: values}, behind, only_new=True)

    def with_cell(
        self, taxon: str, column: str, value: Any, claim: Claim | None = None, **claimed: str
    ) -> Self:
        """Return a new table with one cell changed.

        Parameters
        ----------
        taxon : str
            Id, trade code or name of a taxon of the table.
        column : str
            A trait, ``<trait>_young``, or a column of `taxa`.
        value : object
            Cell text, or a plain value. A blank is what holds for the genus, or not known where nothing does;
            ``?`` is not known in spite of the genus.
        claim : Claim, optional
            Where it stands written; or give its parts by name: ``source="KEY", locator="p. 3"``.

        Raises UnknownName, TableError.
        """
        taxon = one(self, taxon)
        if claimed:
            claim = Claim(**claimed)
        return _with_rows(self, {taxon: {column: value}}, {(taxon, column): claim} if claim else {})

    def with_rows(
        self, rows: Mapping[str, Mapping[str, Any]], claims: Mapping[Place, Claim] | None = None
    ) -> Self:
        """Return a new table with these taxa added, or changed where they are there.

        Cell text by column, by taxon; claims by (taxon, column). Raises TableError.
        """
        return _with_rows(self, rows, claims or {})

    def with_trait(
        self, trait: Trait, values: Mapping[str, Any] | None = None, claims: Mapping[str, Claim] | None = None
    ) -> Self:
        """Return a new table with one more trait; `values` (cell text) and `claims` go by taxon.

        Taxa that are left out are not known. Raises TableError.
        """
        problems = _trait_problems(self, trait)
        rows = {}
        for name, value in (values or {}).items():
            try:
                taxon = one(self, name)
            except UnknownName as error:
                problems.append(Problem(self.name, "", trait.id, str(name), str(error)))
                continue
            text = "" if is_missing(value) else state_text(value)
            try:
                read_cell(trait, text)
            except ValueError as error:
                problems.append(Problem(self.name, taxon, trait.id, text, str(error)))
            rows[taxon] = {trait.id: text}
        if problems:
            raise TableError(problems, "changed")
        cells = {**self.own_cells, trait.id: (None,) * len(self.taxa)}
        wider = replace(self, traits=(*self.traits, trait), own_cells=cells, about=added_to(self.about))
        behind = {(one(self, name), trait.id): claim for name, claim in (claims or {}).items()}
        return _with_rows(wider, rows, behind)

    def with_evidence(self, who: str, attribute: str, claim: Claim | None = None, **claimed: str) -> Self:
        """Return a new table with one more claim behind a filled cell. Raises UnknownName, TableError.

        Parameters
        ----------
        who : str
            A care group, or the id, trade code or name of a taxon.
        attribute : str
            The trait column or the care column.
        claim : Claim, optional
            Or its parts by name, such as ``source="KEY"``.
        """
        claim = claim or Claim(**claimed)
        groups = set(self.care["care_group"]) if len(self.care) else set()
        who = who if who in groups else one(self, who)
        text, group = _behind(self, who, attribute)
        problems = [Problem(self.name, who, attribute, *wrong) for wrong in claim.problems(self.sources)]
        if not text:
            right = "a claim for a blank cell; fill the cell first, with with_cell"
            problems.append(Problem(self.name, who, attribute, claim.source, right))
        if "taxon" not in self.evidence.columns:
            problems.append(Problem(self.name, who, attribute, claim.source, "this table keeps no evidence"))
        if problems:
            raise TableError(problems, "changed")
        row = claim.row("" if group else who, attribute, text, care_group=who if group else "")
        evidence = _with_claims(self.evidence, [row], {(who, attribute): False})
        return replace(self, evidence=evidence, about=added_to(self.about))

    def with_source(self, bibtex: str) -> Self:
        """Return a new table with one or more sources, given as BibTeX entries.

        Raises TableError for what is no BibTeX, and for a key that stands for another source.
        """
        found = Found(self.name)
        sources = parse_sources(bibtex, found) or {}
        if not sources and not found:
            right = "write a BibTeX entry, such as @book{KEY, title = {...}}"
            found.add(self.name, "", "source", bibtex[:60], right)
        for key, source in sources.items():
            there = self.sources.get(key, source)
            # How the entry is spaced, and what comments stand before it, makes no other source of it.
            if (there.full, there.doi) != (source.full, source.doi):
                found.add(self.name, "", "source", key, "this key stands for another source already")
        if found:
            raise TableError(found, "changed")
        new = {key: source for key, source in sources.items() if key not in self.sources}
        return replace(self, sources={**self.sources, **new}, about=added_to(self.about)) if new else self

    def without_taxon(self, taxon: str) -> Self:
        """Return a new table without a taxon, its claims and its own care row. Raises UnknownName."""
        taxon = one(self, taxon)
        at = self.position(taxon)
        cells = {column: found[:at] + found[at + 1 :] for column, found in self.own_cells.items()}
        care, evidence = (
            frame[frame["taxon"] != taxon].reset_index(drop=True) if "taxon" in frame.columns else frame
            for frame in (self.care, self.evidence)
        )
        return replace(
            self,
            taxa=self.taxa.drop(index=taxon),
            own_cells=_without_blank_companions(cells, self),
            care=care,
            evidence=evidence,
            about=added_to(self.about),
        )


def _with_rows(
    table: Editable,
    rows: Mapping[str, Mapping[str, Any]],
    claims: Mapping[Place, Claim],
    *,
    only_new: bool = False,
) -> Any:
    change = _Change(table, only_new=only_new)
    for taxon, values in rows.items():
        if change.names(taxon):
            change.put_row(taxon, {c: "" if is_missing(v) else state_text(v) for c, v in values.items()})
    for (taxon, column), claim in claims.items():
        change.claim(taxon, column, claim)
    return change.made()


class _Change:
    """What is to be changed, gathered with all that is wrong in it."""

    def __init__(self, table: Editable, *, only_new: bool):
        self.table = table
        self._only_new = only_new
        self.problems: list[Problem] = []
        self.new: list[str] = []
        self.meta: dict[Place, str] = {}
        self.cells: dict[Place, OwnCell] = {}
        self.claims: dict[Place, Claim] = {}
        self._traits = {t.id: t for t in table.traits} | {t.id + YOUNG: t for t in table.traits}
        self._allowed = table.allowed()

    def wrong(self, taxon: str, column: str, value: Any, right: str) -> None:
        row = taxon if taxon in self.table.taxa.index and not self._only_new else f"new ({taxon})"
        self.problems.append(Problem(self.table.name, row, column, str(value), right))

    def names(self, taxon: Any) -> bool:
        """Take note of a taxon; False where it can't be one."""
        if is_missing(taxon):
            self.wrong("", "id", taxon, "name the new taxon")
            return False
        if taxon in self.table.taxa.index:
            if self._only_new:
                self.wrong(taxon, "id", taxon, "a taxon of this id is there already")
            return True
        self.new.append(taxon)
        if _NAME in self.table.taxa.columns and not is_id(str(taxon)):
            right = "an id is lower-case letters, digits and _, starting with a letter"
            self.wrong(taxon, "id", taxon, right)
        return True

    def put_row(self, taxon: str, texts: dict[str, str]) -> None:
        """Set the cells of a kind; a new one needs its name, the first word of which is its genus."""
        if taxon not in self.table.taxa.index and _NAME in self.table.taxa.columns:
            if not texts.get(_NAME):
                right = "name the kind; 'Hypancistrus sp.' will do where the species has no name yet"
                self.wrong(taxon, _NAME, "", right)
            elif not texts.get("genus"):
                texts["genus"] = texts[_NAME].split()[0]
        for column, text in texts.items():
            self.put(taxon, column, text)

    def put(self, taxon: str, column: str, text: str) -> None:
        """Set a cell, or one of the names of the kind."""
        if column in self.table.taxa.columns:
            known = self._allowed.get(column)
            if text and known and text not in known:
                self.wrong(taxon, column, text, one_of(text, known))
            elif not text and column in (_NAME, "genus") and taxon in self.table.taxa.index:
                self.wrong(taxon, column, text, "fill this cell")
            self.meta[taxon, column] = text
        elif column in self._traits:
            try:
                self.cells[taxon, column] = read_cell(self._traits[column], text)
            except ValueError as error:
                self.wrong(taxon, column, text, str(error))
        else:
            right = one_of(column, [*self._traits, *self.table.taxa.columns], "a column")
            self.wrong(taxon, column, text, right)

    def claim(self, taxon: str, column: str, claim: Claim) -> None:
        """Put a claim behind a cell that is filled or is being filled."""
        if column not in self._traits or (taxon not in self.new and taxon not in self.table.taxa.index):
            self.wrong(taxon, column, claim.source, "a claim stands behind a trait cell of a kind")
            return
        for value, right in claim.problems(self.table.sources):
            self.wrong(taxon, column, value, right)
        if not self.text(taxon, column):
            self.wrong(taxon, column, claim.source, "a claim for a blank cell; fill the cell first")
        self.claims[taxon, column] = claim

    def text(self, taxon: str, column: str) -> str:
        """Return what a cell will say, of itself or by its genus; blank for not known."""
        table, at = self.table, None if taxon in self.new else self.table.position(taxon)
        own = table.own_cells[column][at] if at is not None and column in table.own_cells else None
        cell = self.cells.get((taxon, column), own)
        if cell is None:
            cell = self._of_genus(taxon, column)
        if cell is None and at is not None and (taxon, column) not in self.cells and column in table.cells:
            cell = table.cells[column][at]
        return "" if isinstance(cell, NotKnown) else cell_text(self._traits[column], cell)

    def _of_genus(self, taxon: str, column: str) -> Cell:
        """Return what holds for the genus that a kind will have."""
        if not self.table.genera:
            return None
        genus = self.meta.get((taxon, "genus")) or str(self.table.taxa["genus"].get(taxon, ""))
        return self.table.genera.get(genus, {}).get(column)

    def made(self) -> Any:
        if self.problems:
            raise TableError(self.problems, "changed")
        for place in [place for place in self.cells if self._stays_taken_over(*place)]:
            del self.cells[place]
        for place, cell in self.cells.items():
            if isinstance(cell, NotKnown) and not self._of_genus(*place):
                self.cells[place] = None
        changed = {"taxa": self._taxa(), "own_cells": self._cells(), "evidence": self._evidence()}
        return replace(self.table, **changed, about=added_to(self.table.about))

    def _stays_taken_over(self, taxon: str, column: str) -> bool:
        """Whether a cell says no more than what the kind takes over already."""
        table, place = self.table, (taxon, column)
        if taxon in self.new or place in self.claims or (taxon, "genus") in self.meta:
            return False
        at = table.position(taxon)
        there = column in table.cells and bool(table.basis[column][at])
        return there and self.cells[place] == table.cells[column][at]

    def _taxa(self) -> pd.DataFrame:
        old = self.table.taxa
        changed = [(place, text) for place, text in self.meta.items() if place[0] not in self.new]
        if changed:
            old = old.copy()
            for place, text in changed:
                old.loc[place] = text
        if not self.new:
            return old
        rows = [{c: self.meta.get((taxon, c), "") for c in old.columns} for taxon in self.new]
        index = pd.Index(self.new, name=old.index.name)
        return pd.concat([old, pd.DataFrame(rows, index=index, columns=old.columns)])

    def _cells(self) -> dict[str, tuple[OwnCell, ...]]:
        n = len(self.table.taxa)
        positions = {taxon: n + i for i, taxon in enumerate(self.new)}
        by_column: dict[str, dict[int, OwnCell]] = {}
        for (taxon, column), cell in self.cells.items():
            at = positions[taxon] if taxon in positions else self.table.position(taxon)
            by_column.setdefault(column, {})[at] = cell
        columns = dict(self.table.own_cells)
        for column, new in by_column.items():
            # A companion column for young fish may be the first of its kind.
            if column not in columns and any(cell is not None for cell in new.values()):
                columns[column] = (None,) * n
        blank = (None,) * len(self.new)
        for column, cells in columns.items():
            put = by_column.get(column, {})
            columns[column] = tuple(put.get(i, cell) for i, cell in enumerate(cells + blank))
        return _without_blank_companions(columns, self.table)

    def _evidence(self) -> pd.DataFrame:
        """Return the claims: those of cells now blank are gone, new ones stand at the end."""
        old = self.table.evidence
        if "taxon" not in old.columns:
            return old
        fresh: list[dict[str, str]] = []
        outdated: dict[Place, bool] = {}
        for place in dict.fromkeys([*self.cells, *self.claims]):
            text, claim = self.text(*place), self.claims.get(place)
            if not text or (place in self.cells and self.cells[place] is None):
                outdated[place] = True
            if not text or (claim is None and (place in outdated or not self._differs(place))):
                continue
            outdated.setdefault(place, False)
            fresh.append((claim or Claim()).row(*place, text))
        return _with_claims(old, fresh, outdated)

    def _differs(self, place: Place) -> bool:
        taxon, column = place
        if taxon in self.new or column not in self.table.own_cells:
            return True
        return self.cells[place] != self.table.own_cells[column][self.table.position(taxon)]


def _without_blank_companions(cells: OwnCells, table: Editable) -> dict[str, tuple[OwnCell, ...]]:
    """Leave out a column for young fish that nothing is known in any more."""
    ids = {t.id for t in table.traits}
    return {c: found for c, found in cells.items() if c in ids or any(cell is not None for cell in found)}


def _with_claims(
    evidence: pd.DataFrame, fresh: Sequence[Mapping[str, str]], places: Mapping[Place, bool]
) -> pd.DataFrame:
    """Add claims; of these places take all claims away (True), or those that name no source yet."""
    gone = pd.Series(False, index=evidence.index)
    of_these = evidence[evidence["taxon"].isin({taxon for taxon, _ in places})]
    # Where somebody wrote a page or a source beside it, it is a claim.
    unwritten = (of_these["source"] == "") & (of_these["locator"] == "")
    placeholder = (of_these["note"] == UNSOURCED) & unwritten
    said = zip(of_these.index, of_these["taxon"], of_these["attribute"], placeholder, strict=True)
    for i, taxon, attribute, is_placeholder in said:
        whole = places.get((taxon, attribute))
        gone.loc[i] = whole is True or (whole is False and is_placeholder)
    kept = evidence[~gone] if gone.any() else evidence
    known = set(kept[kept["taxon"].isin({row["taxon"] for row in fresh})].itertuples(index=False, name=None))
    rows = [row for row in fresh if tuple(row[c] for c in evidence.columns) not in known]
    if not rows:
        return kept.reset_index(drop=True)
    return pd.concat([kept, pd.DataFrame(rows, columns=evidence.columns, dtype="str")], ignore_index=True)


def _trait_problems(table: Editable, trait: Trait) -> list[Problem]:
    """Say what is wrong with a new trait."""
    wrong = list(trait_problems(trait))
    problems = [] if wrong or _NAME not in table.taxa.columns else _as_a_row(table, trait)
    if trait.id in ("id", *(column.id for column in table.care_columns)) and _NAME in table.taxa.columns:
        wrong.append((trait.id, "this name is a column of another file"))
    if trait.id in table.cells or trait.id in table.taxa.columns:
        wrong.append((trait.id, "a column of this name is there already"))
    if trait.id.endswith(YOUNG) and trait.id.removesuffix(YOUNG) in table.trait_ids:
        right = f"this name is kept for what a young fish shows of {trait.id.removesuffix(YOUNG)}"
        wrong.append((trait.id, right))
    return [*problems, *(Problem(table.name, "", trait.id, value, right) for value, right in wrong)]


def _as_a_row(table: Editable, trait: Trait) -> list[Problem]:
    """Say what would be wrong with the trait as a row of traits.csv, where the old traits stand before it."""
    rows = [Row(i, trait_row(t), "traits.csv") for i, t in enumerate((*table.traits, trait), start=2)]
    found = Found()
    deque(read_traits(Sheet("traits.csv", (), tuple(rows)), found), maxlen=0)
    return [replace(problem, file=table.name, row="") for problem in found if problem.row == rows[-1].place]


def _behind(table: Editable, who: str, attribute: str) -> tuple[str, bool]:
    """Return the text of a trait cell or a care cell, and whether `who` is a care group."""
    if who in table.taxa.index and attribute in table.cells:
        return cell_text(table.trait_of(attribute), table.cell(who, attribute)), False
    care = table.care
    attributes = [c for c in care.columns if c not in ("care_group", "taxon")]
    if attribute not in attributes:
        columns = [*table.cells, *attributes]
        msg = f"column {attribute!r} is not in the table: {one_of(attribute, columns, 'a column')}"
        raise UnknownName(msg)
    group = who not in table.taxa.index
    found = care[(care["care_group"] == who) & (care["taxon"] == "")] if group else care[care["taxon"] == who]
    return (str(found[attribute].iloc[0]) if len(found) else ""), group
