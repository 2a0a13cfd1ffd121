"""A table with more in it: kinds, cells, traits, claims. The old table stays as it is.

Each function checks all it is given first and raises one TableError that lists everything wrong. A filled
cell always has a claim behind it: where none is given, the claim is of class memory and says that no source
was named.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pandas as pd

from idkey.errors import Problem, TableError, UnknownName, one_of
from idkey.table.claims import UNSOURCED, Claim, Source
from idkey.table.csvfile import Found, Row, Sheet
from idkey.table.ids import is_id
from idkey.table.names import one
from idkey.table.origin import added_to
from idkey.table.rows import read_traits, trait_row
from idkey.table.schema import (
    YOUNG,
    Cell,
    Trait,
    cell_text,
    is_missing,
    parse_cell,
    state_text,
    trait_problems,
)
from idkey.table.sources import parse_sources

if TYPE_CHECKING:
    from idkey.table.table import TraitTable

__all__ = ["with_evidence", "with_rows", "with_source", "with_trait", "without_taxon"]

_NAME = "scientificName"

Place = tuple[str, str]
"""A taxon and a column."""


def with_rows(
    table: TraitTable,
    rows: Mapping[str, Mapping[str, Any]],
    claims: Mapping[Place, Claim] | None = None,
    *,
    only_new: bool = False,
) -> TraitTable:
    """Return a table with these taxa added, or changed where they are there; see `TraitTable.with_rows`."""
    change = _Change(table, only_new=only_new)
    for taxon, values in rows.items():
        if not change.names(taxon):
            continue
        texts = {column: "" if is_missing(v) else state_text(v) for column, v in values.items()}
        if taxon not in table.taxa.index and _NAME in table.taxa.columns:
            _name(change, taxon, texts)
        for column, text in texts.items():
            change.put(taxon, column, text)
    for (taxon, column), claim in (claims or {}).items():
        change.claim(taxon, column, claim)
    return change.made()


def _name(change: _Change, taxon: str, texts: dict[str, str]) -> None:
    """A kind needs its scientific name; the genus, where it is left out, is the first word of that."""
    if not texts.get(_NAME):
        right = "name the kind; 'Hypancistrus sp.' will do where the species has no name yet"
        change.wrong(taxon, _NAME, "", right)
    elif not texts.get("genus"):
        texts["genus"] = texts[_NAME].split()[0]


class _Change:
    """What is to be changed, gathered with all that is wrong in it."""

    def __init__(self, table: TraitTable, *, only_new: bool):
        self.table = table
        self._only_new = only_new
        self.problems: list[Problem] = []
        self.new: list[str] = []
        self.meta: dict[Place, str] = {}
        self.cells: dict[Place, tuple[Cell, str]] = {}
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
                self.cells[taxon, column] = parse_cell(self._traits[column], text), text
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
        """Return what a cell will say."""
        if (taxon, column) in self.cells:
            return cell_text(self._traits[column], self.cells[taxon, column][0])
        if column not in self.table.cells or taxon not in self.table.taxa.index:
            return ""
        return cell_text(self._traits[column], self.table.cell(taxon, column))

    def made(self) -> TraitTable:
        if self.problems:
            raise TableError(self.problems, "changed")
        evidence = self._evidence()
        return replace(
            self.table,
            taxa=self._taxa(),
            cells=self._cells(),
            evidence=evidence,
            about=added_to(self.table.about),
        )

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

    def _cells(self) -> dict[str, tuple[Cell, ...]]:
        n = len(self.table)
        positions = {taxon: n + i for i, taxon in enumerate(self.new)}
        by_column: dict[str, dict[int, Cell]] = {}
        for (taxon, column), (cell, _) in self.cells.items():
            at = positions[taxon] if taxon in positions else self.table.position(taxon)
            by_column.setdefault(column, {})[at] = cell
        columns = dict(self.table.cells)
        for column, put in by_column.items():
            # A companion column for young fish may be the first of its kind.
            if column not in columns and any(cell is not None for cell in put.values()):
                columns[column] = (None,) * n
        blank = (None,) * len(self.new)
        for column, cells in columns.items():
            grown = cells + blank
            if column in by_column:
                changed = list(grown)
                for at, cell in by_column[column].items():
                    changed[at] = cell
                grown = tuple(changed)
            columns[column] = grown
        return _without_blank_companions(columns, self.table)

    def _evidence(self) -> pd.DataFrame:
        """Return the claims: those of cells now blank are gone, new ones stand at the end."""
        old = self.table.evidence
        if "taxon" not in old.columns:
            return old
        fresh: list[dict[str, str]] = []
        outdated: list[tuple[Place, bool]] = []
        for place in dict.fromkeys([*self.cells, *self.claims]):
            text = self.text(*place)
            if not text:
                outdated.append((place, True))
                continue
            claim = self.claims.get(place)
            if claim is None and not self._differs(place):
                continue
            outdated.append((place, False))
            fresh.append((claim or Claim()).row(*place, text))
        return _with_claims(old, fresh, outdated)

    def _differs(self, place: Place) -> bool:
        taxon, column = place
        if taxon in self.new or column not in self.table.cells:
            return True
        return self.cells[place][0] != self.table.cell(taxon, column)


def _without_blank_companions(
    cells: Mapping[str, tuple[Cell, ...]], table: TraitTable
) -> dict[str, tuple[Cell, ...]]:
    """Leave out a column for young fish that nothing is known in any more."""
    ids = {t.id for t in table.traits}
    return {c: found for c, found in cells.items() if c in ids or any(cell is not None for cell in found)}


def _with_claims(
    evidence: pd.DataFrame, fresh: Sequence[Mapping[str, str]], outdated: Iterable[tuple[Place, bool]]
) -> pd.DataFrame:
    """Add claims; of the places outdated take all claims away (True), or those that name no source yet."""
    gone = pd.Series(False, index=evidence.index)
    places = dict(outdated)
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


def with_trait(
    table: TraitTable,
    trait: Trait,
    values: Mapping[str, Any] | None = None,
    claims: Mapping[str, Claim] | None = None,
) -> TraitTable:
    """Return a table with one more trait; see `TraitTable.with_trait`."""
    problems = [Problem(table.name, "", trait.id, value, right) for value, right in trait_problems(trait)]
    if not problems and _NAME in table.taxa.columns:
        problems = _as_a_row(table, trait)
    if trait.id in ("id", *(column.id for column in table.care_columns)) and _NAME in table.taxa.columns:
        problems.append(Problem(table.name, "", trait.id, trait.id, "this name is a column of another file"))
    if trait.id in table.cells or trait.id in table.taxa.columns:
        problems.append(Problem(table.name, "", trait.id, trait.id, "a column of this name is there already"))
    if trait.id.endswith(YOUNG) and trait.id.removesuffix(YOUNG) in table.trait_ids:
        right = f"this name is kept for what a young fish shows of {trait.id.removesuffix(YOUNG)}"
        problems.append(Problem(table.name, "", trait.id, trait.id, right))
    rows = {}
    for name, value in (values or {}).items():
        try:
            taxon = one(table, name)
        except UnknownName as error:
            problems.append(Problem(table.name, "", trait.id, str(name), str(error)))
            continue
        text = "" if is_missing(value) else state_text(value)
        try:
            parse_cell(trait, text)
        except ValueError as error:
            problems.append(Problem(table.name, taxon, trait.id, text, str(error)))
        rows[taxon] = {trait.id: text}
    if problems:
        raise TableError(problems, "changed")
    wider = replace(
        table,
        traits=(*table.traits, trait),
        cells={**table.cells, trait.id: (None,) * len(table)},
        about=added_to(table.about),
    )
    behind = {(one(table, name), trait.id): claim for name, claim in (claims or {}).items()}
    return with_rows(wider, rows, behind)


def _as_a_row(table: TraitTable, trait: Trait) -> list[Problem]:
    """Say what would be wrong with the trait as a row of traits.csv, where the old traits stand before it."""
    rows = [Row(i, trait_row(t), "traits.csv") for i, t in enumerate((*table.traits, trait), start=2)]
    found = Found()
    deque(read_traits(Sheet("traits.csv", (), tuple(rows)), found), maxlen=0)
    return [replace(problem, file=table.name, row="") for problem in found if problem.row == rows[-1].place]


def with_evidence(table: TraitTable, who: str, attribute: str, claim: Claim) -> TraitTable:
    """Return a table with one more claim; see `TraitTable.with_evidence`."""
    groups = set(table.care["care_group"]) if len(table.care) else set()
    who = who if who in groups else one(table, who)
    text, group = _behind(table, who, attribute)
    problems = [
        Problem(table.name, who, attribute, value, right) for value, right in claim.problems(table.sources)
    ]
    if not text:
        right = "a claim for a blank cell; fill the cell first, with with_cell"
        problems.append(Problem(table.name, who, attribute, claim.source, right))
    if "taxon" not in table.evidence.columns:
        problems.append(Problem(table.name, who, attribute, claim.source, "this table keeps no evidence"))
    if problems:
        raise TableError(problems, "changed")
    row = claim.row("" if group else who, attribute, text, care_group=who if group else "")
    evidence = _with_claims(table.evidence, [row], [((who, attribute), False)])
    return replace(table, evidence=evidence, about=added_to(table.about))


def _behind(table: TraitTable, who: str, attribute: str) -> tuple[str, bool]:
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


def with_source(table: TraitTable, bibtex: str) -> TraitTable:
    """Return a table with more sources; see `TraitTable.with_source`."""
    found = Found(table.name)
    sources = parse_sources(bibtex, found) or {}
    if not sources and not found:
        right = "write a BibTeX entry, such as @book{KEY, title = {...}}"
        found.add(table.name, "", "source", bibtex[:60], right)
    for key, source in sources.items():
        if key in table.sources and _said(table.sources[key]) != _said(source):
            found.add(table.name, "", "source", key, "this key stands for another source already")
    if found:
        raise TableError(found, "changed")
    new = {key: source for key, source in sources.items() if key not in table.sources}
    return replace(table, sources={**table.sources, **new}, about=added_to(table.about)) if new else table


def _said(source: Source) -> tuple[str, str]:
    # How the entry is spaced, and what comments stand before it, makes no other source of it.
    return source.full, source.doi


def without_taxon(table: TraitTable, taxon: str) -> TraitTable:
    """Return a table without a kind, its claims and its own care row; see `TraitTable.without_taxon`."""
    taxon = one(table, taxon)
    at = table.position(taxon)
    cells = {column: found[:at] + found[at + 1 :] for column, found in table.cells.items()}
    care, evidence = (
        frame[frame["taxon"] != taxon].reset_index(drop=True) if "taxon" in frame.columns else frame
        for frame in (table.care, table.evidence)
    )
    return replace(
        table,
        taxa=table.taxa.drop(index=taxon),
        cells=_without_blank_companions(cells, table),
        care=care,
        evidence=evidence,
        about=added_to(table.about),
    )
