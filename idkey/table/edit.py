"""A table with more in it: kinds, cells, traits, sources, claims. Each call gives a new table.

All that is given is checked first; one TableError lists everything wrong. A filled cell always has a claim
behind it: where none is given, the claim is of class memory and says that no source was named.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Self

import pandas as pd

from idkey.errors import Problem, TableError, UnknownName, one_of
from idkey.table.cells import OwnCells, effective
from idkey.table.claims import UNSOURCED, Claim, parse_sources
from idkey.table.csvfile import Found, Row, Sheet
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

__all__ = ["Editable", "Place"]

Place = tuple[str, str]
"""A taxon and a column."""

_NAME = "scientificName"


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
        if taxon in self.taxa.index:
            right = "a taxon of this id is there already"
            raise TableError([Problem(self.name, f"new ({taxon})", "id", taxon, right)], "changed")
        return self.with_rows({taxon: values}, {(taxon, c): claim for c, claim in (claims or {}).items()})

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
        claims = claims or {}
        problems: list[Problem] = []

        def wrong(taxon: str, column: str, value: Any, right: str) -> None:
            row = taxon if taxon in self.taxa.index else f"new ({taxon})"
            problems.append(Problem(self.name, row, column, str(value), right))

        new = dict.fromkeys(taxon for taxon in rows if taxon not in self.taxa.index)
        names: dict[Place, str] = {}
        cells: dict[Place, OwnCell] = {}
        traits = {t.id: t for t in self.traits} | {t.id + YOUNG: t for t in self.traits}
        allowed, named = self.allowed(), _NAME in self.taxa.columns
        for taxon, values in rows.items():
            texts = {c: "" if is_missing(value) else state_text(value) for c, value in values.items()}
            if taxon in new and (is_missing(taxon) or (named and not is_id(str(taxon)))):
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
        own = {column: [*there, *(None,) * len(new)] for column, there in self.own_cells.items()}
        touched = {*claims, *names}
        for (taxon, column), cell in list(cells.items()):
            i, place = at[taxon], (taxon, column)
            taken_over = taxon not in new and column in self.cells and self.basis[column][i]
            if taken_over and cell == self.cells[column][i] and not {place, (taxon, "genus")} & touched:
                # It says no more than what the kind takes over already.
                del cells[place]
                continue
            if isinstance(cell, NotKnown) and not self.genera.get(genus[i], {}).get(column):
                cells[place] = None
            own.setdefault(column, [None] * len(taxa))[i] = cells[place]
        counted, _ = effective(self.traits, own, self.genera, genus)

        def text_at(place: Place) -> str:
            cell = counted[place[1]][at[place[0]]] if place[1] in counted else None
            return cell_text(traits[place[1]], cell)

        for (taxon, column), claim in claims.items():
            if column not in traits or taxon not in at:
                wrong(taxon, column, claim.source, "a claim stands behind a trait cell of a kind")
                continue
            for value, right in claim.problems(self.sources):
                wrong(taxon, column, value, right)
            if not text_at((taxon, column)):
                wrong(taxon, column, claim.source, "a claim for a blank cell; fill the cell first")
        if problems:
            raise TableError(problems, "changed")

        fresh: list[dict[str, str]] = []
        outdated: dict[Place, bool] = {}
        for place in dict.fromkeys([*cells, *claims]):
            (taxon, column), claim, text = place, claims.get(place), text_at(place)
            blank = not text or (place in cells and cells[place] is None)
            there = self.own_cells.get(column) if taxon not in new and place in cells else None
            same = there is not None and cells[place] == there[at[taxon]]
            if blank:
                outdated[place] = True
            if text and (claim or not (blank or same)):
                outdated.setdefault(place, False)
                fresh.append((claim or Claim()).row(*place, text))
        return replace(
            self,
            taxa=taxa,
            own_cells=_without_blank_companions({c: tuple(column) for c, column in own.items()}, self),
            evidence=_with_claims(self.evidence, fresh, outdated),
            about=added_to(self.about),
        )

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
                rows[one(self, name)] = {trait.id: value}
            except UnknownName as error:
                problems.append(Problem(self.name, "", trait.id, str(name), str(error)))
        if problems:
            raise TableError(problems, "changed")
        cells = {**self.own_cells, trait.id: (None,) * len(self.taxa)}
        wider = replace(self, traits=(*self.traits, trait), own_cells=cells, about=added_to(self.about))
        behind = {(one(self, name), trait.id): claim for name, claim in (claims or {}).items()}
        return wider.with_rows(rows, behind)

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
        at = self.position(taxon)
        cells = {column: found[:at] + found[at + 1 :] for column, found in self.own_cells.items()}
        care, evidence = (
            f[f["taxon"] != self.ids[at]].reset_index(drop=True) if "taxon" in f.columns else f
            for f in (self.care, self.evidence)
        )
        return replace(
            self,
            taxa=self.taxa.drop(index=self.taxa.index[at]),
            own_cells=_without_blank_companions(cells, self),
            care=care,
            evidence=evidence,
            about=added_to(self.about),
        )


def _without_blank_companions(cells: OwnCells, table: Editable) -> dict[str, tuple[OwnCell, ...]]:
    """Leave out a column for young fish that nothing is known in any more."""
    ids = {t.id for t in table.traits}
    return {c: there for c, there in cells.items() if c in ids or any(cell is not None for cell in there)}


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


def _trait_problems(table: Editable, trait: Trait) -> list[Problem]:
    """Say what is wrong with a new trait, of itself and as the last row of traits.csv."""
    wrong, problems, named = list(trait_problems(trait)), [], _NAME in table.taxa.columns
    if named and not wrong:
        rows = [Row(i, trait_row(t), "traits.csv") for i, t in enumerate((*table.traits, trait), start=2)]
        found = Found()
        list(read_traits(Sheet("traits.csv", (), tuple(rows)), found))
        last = rows[-1].place
        problems = [replace(problem, file=table.name, row="") for problem in found if problem.row == last]
    if named and trait.id in ("id", *(column.id for column in table.care_columns)):
        wrong.append((trait.id, "this name is a column of another file"))
    if trait.id in table.cells or trait.id in table.taxa.columns:
        wrong.append((trait.id, "a column of this name is there already"))
    if trait.id.endswith(YOUNG) and trait.id.removesuffix(YOUNG) in table.trait_ids:
        right = f"this name is kept for what a young fish shows of {trait.id.removesuffix(YOUNG)}"
        wrong.append((trait.id, right))
    return [*problems, *(Problem(table.name, "", trait.id, value, right) for value, right in wrong)]
