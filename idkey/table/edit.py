"""A table with more in it: kinds, cells, traits, sources, claims. Each call gives a new table.

All that is given is checked first; one TableError lists everything wrong. A filled cell always has a claim
behind it: where none is given, the claim is of class memory and says that no source was named.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Self

import pandas as pd

from idkey.arguments import checked, shown
from idkey.errors import TableError, UnknownName, one_of
from idkey.table.cells import OwnCells, effective
from idkey.table.claims import UNSOURCED, Claim, parse_sources
from idkey.table.csvfile import Found, Row, Sheet, cell_problem
from idkey.table.names import AN_ID, is_id, one
from idkey.table.package import added_to
from idkey.table.reading import read_cell
from idkey.table.rows import read_traits, trait_row
from idkey.table.schema import (
    YOUNG,
    NotKnown,
    OwnCell,
    Trait,
    cell_text,
    is_missing,
    state_text,
    trait_problems,
)

Place = tuple[str, str]
"""A taxon and a column."""

_NAME = "scientificName"


@checked
class Editable:
    """The part of `TraitTable` that makes tables with more, or less, in them; it holds nothing itself."""

    def with_taxon(self, taxon: str, /, claims: Mapping[str, Claim] | None = None, **values: Any) -> Self:
        """Return a new table with one more taxon, under this id. Raises TableError with all that is wrong.

        Parameters
        ----------
        claims : mapping of str to Claim, optional
            Where it stands written, by column.
        **values
            Cell text by column: traits, ``<trait>_young``, or a column of `taxa`. A table that keeps names
            needs ``scientificName``; a genus that is left out is its first word. All else that is left out
            is what holds for the genus, or not known.
        """
        found = Found(self.name)
        if taxon in self.taxa.index:
            found.add(self.name, f"new ({taxon})", "id", taxon, "a taxon of this id is there already")
        behind = {(taxon, column): claim for column, claim in (claims or {}).items()}
        return self._changed({taxon: values}, behind, found)

    def with_cell(
        self, taxon: str, column: str, value: Any, claim: Claim | None = None, **claimed: str
    ) -> Self:
        """Return a new table with one cell changed. Raises UnknownName, TableError.

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
        """
        taxon, claim = one(self, taxon), Claim(**claimed) if claimed else claim
        return self.with_rows({taxon: {column: value}}, {(taxon, column): claim} if claim else {})

    def with_rows(
        self, rows: Mapping[str, Mapping[str, Any]], claims: Mapping[Place, Claim] | None = None
    ) -> Self:
        """Return a new table with these taxa added, or changed where they are there.

        Cell text by column, by taxon; claims by (taxon, column). Raises TableError.
        """
        return self._changed(rows, claims or {}, Found(self.name))

    def _changed(
        self, rows: Mapping[str, Mapping[str, Any]], claims: Mapping[Place, Claim], found: Found, *more: Trait
    ) -> Self:
        """Return a new table with these rows, claims and traits; what is wrong joins what was `found`."""

        def wrong(taxon: str, column: str, value: Any, right: str) -> None:
            row = taxon if taxon in self.taxa.index else f"new ({taxon})"
            found.add(self.name, row, column, value, right)

        new = dict.fromkeys(taxon for taxon in rows if taxon not in self.taxa.index)
        names: dict[Place, str] = {}
        cells: dict[Place, OwnCell] = {}
        traits = {column: t for t in (*self.traits, *more) for column in (t.id, t.id + YOUNG)}
        allowed, named = self.allowed(), _NAME in self.taxa.columns
        for taxon, values in rows.items():
            texts: dict[str, str] = {}
            for column, value in values.items():
                try:
                    text = "" if is_missing(value) else state_text(value)
                    right = cell_problem(text)
                except ValueError as error:
                    right = str(error)
                if right:
                    wrong(taxon, column, shown(value), right)
                else:
                    texts[column] = text
            if taxon in new and (is_missing(taxon) or (named and not is_id(taxon))):
                wrong(taxon, "id", taxon, AN_ID)
            if taxon in new and named and not texts.get(_NAME):
                right = "name the kind; 'Hypancistrus sp.' will do where the species has no name yet"
                wrong(taxon, _NAME, "", right)
            elif taxon in new and named and not texts.get("genus"):
                texts["genus"] = texts[_NAME].split()[0]
            for column, text in texts.items():
                if column in self.taxa.columns:
                    names[taxon, column] = text
                    if text and allowed.get(column) and text not in allowed[column]:
                        wrong(taxon, column, text, one_of(text, allowed[column]))
                    elif not text and column in (_NAME, "genus") and taxon not in new:
                        wrong(taxon, column, text, "fill this cell")
                elif column in traits:
                    try:
                        cells[taxon, column] = read_cell(traits[column], text)
                    except ValueError as error:
                        wrong(taxon, column, text, str(error))
                else:
                    wrong(taxon, column, text, one_of(column, [*traits, *self.taxa.columns], "a column"))

        taxa = self.taxa.reindex([*self.taxa.index, *new], fill_value="")
        for place, text in names.items():
            taxa.loc[place] = text
        genus = list(map(str, taxa["genus"])) if "genus" in taxa.columns else [""] * len(taxa)
        at = {taxon: i for i, taxon in enumerate(taxa.index)}
        columns = [*self.own_cells, *(t.id for t in more), *(c for _, c in (*cells, *claims) if c in traits)]
        blank = (None,) * len(self.taxa)
        own = {c: [*self.own_cells.get(c, blank), *(None,) * len(new)] for c in dict.fromkeys(columns)}
        for (taxon, column), cell in list(cells.items()):
            i, place = at[taxon], (taxon, column)
            if taxon not in new and column in self.cells and place not in claims:
                takes_over = self.basis[column][i] and (taxon, "genus") not in names
                if cell is not None and cell in (own[column][i], takes_over and self.cells[column][i]):
                    # It says no more than is there already.
                    del cells[place]
                    continue
            if isinstance(cell, NotKnown) and not self.genera.get(genus[i], {}).get(column):
                cells[place] = None
            own[column][i] = cells[place]
        counted, _ = effective(tuple(dict.fromkeys(traits.values())), own, self.genera, genus)

        fresh: list[dict[str, str]] = []
        outdated: dict[Place, bool] = {}
        for place in dict.fromkeys([*cells, *claims]):
            (taxon, column), claim = place, claims.get(place)
            if column not in traits or taxon not in at:
                wrong(taxon, column, claim and claim.source, "a claim stands behind a trait cell of a kind")
                continue
            text = cell_text(traits[column], counted[column][at[taxon]])
            for value, right in claim.problems(self.sources) if claim else ():
                wrong(taxon, column, value, right)
            if claim and not text:
                wrong(taxon, column, claim.source, "a claim for a blank cell; fill the cell first")
            outdated[place] = not text or (place in cells and cells[place] is None)
            if text and (claim or not outdated[place]):
                fresh.append((claim or Claim()).row(*place, text))
        if found:
            raise TableError(found, "changed")
        return replace(
            self,
            traits=(*self.traits, *more),
            taxa=taxa,
            own_cells=_without_blank_companions(own, (*self.traits, *more)),
            evidence=_with_claims(self.evidence, fresh, outdated),
            about=added_to(self.about),
        )

    def with_trait(
        self, trait: Trait, values: Mapping[str, Any] | None = None, claims: Mapping[str, Claim] | None = None
    ) -> Self:
        """Return a new table with one more trait; `values` (cell text) and `claims` go by taxon.

        Taxa that are left out are not known. Raises TableError.
        """
        found, named = Found(self.name), _NAME in self.taxa.columns
        for _, value, right in trait_problems((*self.traits, trait)):
            found.add(self.name, "", trait.id, value, right)
        for column, text in () if found else trait_row(trait).items():
            if right := cell_problem(text):
                found.add(self.name, "", trait.id, f"{column} {shown(text)}", right)
        if named and not found:
            lines = [Row(i, trait_row(t), "traits.csv") for i, t in enumerate((*self.traits, trait), start=2)]
            in_file = Found()
            list(read_traits(Sheet("traits.csv", (), tuple(lines)), in_file))
            found += [replace(p, file=self.name, row="") for p in in_file if p.row == lines[-1].place]
        others = ("id", *(column.id for column in self.care_columns)) if named else ()
        if trait.id in (*others, *self.taxa.columns):
            found.add(self.name, "", trait.id, trait.id, "a column of this name is there already")
        values, claims, ids = values or {}, claims or {}, {}
        for name in [*values, *claims]:
            try:
                ids[name] = one(self, name)
            except UnknownName as error:
                found.add(self.name, "", trait.id, name, str(error))
        rows = {ids[name]: {trait.id: value} for name, value in values.items() if name in ids}
        behind = {(ids[name], trait.id): claim for name, claim in claims.items() if name in ids}
        return self._changed(rows, behind, found, trait)

    def with_evidence(self, who: str, attribute: str, claim: Claim | None = None, **claimed: str) -> Self:
        """Return a new table with one more claim behind a filled cell. Raises UnknownName, TableError.

        `who` is a care group, or the id, trade code or name of a taxon, `attribute` the trait column or the
        care column; instead of a claim its parts may be given by name, such as ``source="KEY"``.
        """
        claim, care = claim or Claim(**claimed), self.care
        who = who if len(care) and who in set(care["care_group"]) else one(self, who)
        group = who not in self.taxa.index
        needs = [column for column in care.columns if column not in ("care_group", "taxon")]
        if not group and attribute in self.cells:
            text = cell_text(self.trait_of(attribute), self.cell(who, attribute))
        elif attribute in needs:
            rows = care[care["taxon"].eq("") & care["care_group"].eq(who) if group else care["taxon"].eq(who)]
            text = str(rows[attribute].iloc[0]) if len(rows) else ""
        else:
            right = one_of(attribute, [*self.cells, *needs], "a column")
            raise UnknownName(f"column {attribute!r} is not in the table: {right}")
        found = Found(self.name)
        for wrong in claim.problems(self.sources):
            found.add(self.name, who, attribute, *wrong)
        if not text:
            right = "a claim for a blank cell; fill the cell first, with with_cell"
            found.add(self.name, who, attribute, claim.source, right)
        if "taxon" not in self.evidence.columns:
            found.add(self.name, who, attribute, claim.source, "this table keeps no evidence")
        if found:
            raise TableError(found, "changed")
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
        if self.comments and not self.sources:
            first = next(iter(new.values()))
            new[first.key] = replace(first, entry=f"{self.comments.rstrip()}\n\n{first.entry}")
        return replace(self, sources={**self.sources, **new}, about=added_to(self.about)) if new else self

    def without_taxon(self, taxon: str) -> Self:
        """Return a new table without a taxon, its claims and its own care row. Raises UnknownName."""
        at = self.position(taxon)
        cells = {column: found[:at] + found[at + 1 :] for column, found in self.own_cells.items()}
        care, evidence = (
            f[f["taxon"] != self.ids[at]].reset_index(drop=True) if "taxon" in f.columns else f
            for f in (self.care, self.evidence)
        )
        return replace(
            self,
            taxa=self.taxa.drop(index=self.taxa.index[at]),
            own_cells=_without_blank_companions(cells, self.traits),
            care=care,
            evidence=evidence,
            about=added_to(self.about),
        )


def _without_blank_companions(cells: OwnCells, traits: Sequence[Trait]) -> dict[str, tuple[OwnCell, ...]]:
    """Leave out a column for young fish that nothing is known in any more."""
    ids = {t.id for t in traits}
    return {c: tuple(own) for c, own in cells.items() if c in ids or any(cell is not None for cell in own)}


def _with_claims(
    evidence: pd.DataFrame, fresh: Sequence[Mapping[str, str]], places: Mapping[Place, bool]
) -> pd.DataFrame:
    """Add claims; of these places take all claims away (True), or those that name no source yet."""
    if "taxon" not in evidence.columns:
        return evidence
    # Where somebody wrote a page or a source beside it, it is a claim.
    bare = (evidence["note"] == UNSOURCED) & (evidence["source"] == "") & (evidence["locator"] == "")
    there = zip(zip(evidence["taxon"], evidence["attribute"], strict=True), bare, strict=True)
    kept = evidence.loc[[not (places.get(place) or (place in places and b)) for place, b in there]]
    known = set(kept[kept["taxon"].isin({row["taxon"] for row in fresh})].itertuples(index=False, name=None))
    rows = [row for row in fresh if tuple(row[c] for c in evidence.columns) not in known]
    if not rows:
        return kept.reset_index(drop=True)
    return pd.concat([kept, pd.DataFrame(rows, columns=evidence.columns, dtype="str")], ignore_index=True)
