"""TraitTable: the kinds of fish, their traits, and what is known of each. Immutable and always valid."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, fields, replace
from functools import cached_property, partial
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from idkey import display
from idkey.arguments import checked
from idkey.errors import Problem, TableError, UnknownName, one_of
from idkey.table.cells import Column, OwnCells, claims_by_kind, column_of, effective, read_frame, records
from idkey.table.claims import Source
from idkey.table.edit import Editable
from idkey.table.fields import COMMONNESS
from idkey.table.names import Names, every, one
from idkey.table.rows import shipped_care_columns
from idkey.table.schema import (
    EVERY_GROUP,
    NONE,
    YOUNG,
    CareColumn,
    Cell,
    Trait,
    cell_text,
    cell_words,
    trait_problems,
)


@dataclass(frozen=True, slots=True)
class Origin:
    """The folder a table was loaded from or saved to, and the SHA-256 of each file that was there by name.

    `base` is, of a table of one's own, the shipped files that it started from; see `idkey.table.merge`.
    """

    folder: Path
    digests: Mapping[str, str]
    base: Mapping[str, bytes] | None = None


_MAPPINGS = ("own_cells", "genera", "sources", "about")


def _label(taxon: str, row: Mapping[str, Any]) -> str:
    name, qualifier = str(row["scientificName"]) or taxon, str(row.get("identificationQualifier", "") or "")
    if qualifier:
        genus, _, rest = name.partition(" ")
        name = f"{genus} {qualifier} {rest}".strip()
    codes = str(row.get("tradeCode", "") or "").replace("|", ", ")
    return f"{name} ({codes})" if codes else name


@checked
@dataclass(frozen=True, eq=False)
class TraitTable(Editable):
    """Kinds of fish by traits; validated when made, never changed afterwards.

    Made by `load_table` from a folder, by `from_frame` from any pandas table, or by `with_taxon`, `with_cell`
    and the like from another table.

    `traits` stand in the order of the file. `taxa`, one row a taxon, indexed by id, holds names, trade code,
    care group and commonness. `own_cells` holds, by column (a trait id, or that with ``_young``) and in the
    order of `taxa`, the cells as they stand in the rows of the kinds; `cells` those that count, with what
    blank ones take over from `genera`, which holds by genus and column what is so for every kind of a genus.

    `care` and `evidence` hold needs and claims as text, empty for a table that has none; `care_columns` the
    columns of `care` in the order of a care sheet, by default those of the shipped table.
    `comments` is what sources.bib says while it has no source, which goes with the first that is added.
    `name` says in messages where the table came from, `about` is what datapackage.json states of it, `origin`
    the folder it was loaded from or saved to, and `conflicts` are the places where the shipped table and the
    keeper's own additions say different things; see `idkey.table.merge`.
    """

    traits: tuple[Trait, ...]
    taxa: pd.DataFrame
    own_cells: OwnCells
    genera: Mapping[str, Mapping[str, Cell]] = field(default_factory=dict)
    care: pd.DataFrame = field(default_factory=pd.DataFrame)
    evidence: pd.DataFrame = field(default_factory=pd.DataFrame)
    care_columns: tuple[CareColumn, ...] = field(default_factory=shipped_care_columns)
    sources: Mapping[str, Source] = field(default_factory=dict)
    comments: str = ""
    name: str = "table"
    about: Mapping[str, Any] = field(default_factory=dict)
    origin: Origin | None = None
    conflicts: tuple[Any, ...] = ()

    def __post_init__(self) -> None:
        for frame in ("taxa", "care", "evidence"):
            # A copy: two tables never share a frame, so that changing one cannot change the other.
            object.__setattr__(self, frame, getattr(self, frame).copy())
        # What is said of a genus alone has a column of the kinds, too.
        columns = (c for said in self.genera.values() for c in said if c not in self.own_cells)
        own = {**self.own_cells} | dict.fromkeys(columns, (None,) * len(self.taxa))
        object.__setattr__(self, "own_cells", own)
        for name in _MAPPINGS:
            object.__setattr__(self, name, MappingProxyType(dict(getattr(self, name))))
        problems = list(self._problems())
        if problems:
            raise TableError(problems)

    def __reduce__(self) -> tuple[Any, ...]:
        # A read-only mapping can be neither pickled nor copied; a plain one can, and is made read-only again.
        parts = {f.name: getattr(self, f.name) for f in fields(self)}
        return partial(type(self), **parts | {name: dict(parts[name]) for name in _MAPPINGS}), ()

    def _problems(self) -> Iterator[Problem]:
        for what, many in (("trait", self.traits), ("taxon", self.taxa.index)):
            if not len(many):
                yield Problem(self.name, "", "", "", f"no {what}; a table needs at least one")
        for column, value, right in trait_problems(self.traits):
            yield Problem(self.name, "", column, value, right)
        for i in np.flatnonzero(self.taxa.index.duplicated()):
            taxon = str(self.taxa.index[i])
            yield Problem(self.name, str(i + 2), "id", taxon, "a taxon of this id is there already")
        called = [c for c in ("scientificName", "vernacularName", "tradeCode") if c in self.taxa.columns]
        for column, names in (("id", self.taxa.index), *((c, self.taxa[c]) for c in called)):
            for i in (i for i, name in enumerate(names) if str(name).strip().casefold() == NONE):
                right = "this is what a fish is called that is no kind of the table; write another name"
                yield Problem(self.name, str(i + 2), column, NONE, right)

    # -- how it is made -------------------------------------------------------------------------

    @classmethod
    def from_frame(
        cls,
        df: pd.DataFrame,
        taxon: str | int,
        kinds: Mapping[Any, str] | None = None,
        *,
        name: str = "frame",
    ) -> TraitTable:
        """Make a table from any pandas table: a row a taxon, or many rows (specimens) a taxon.

        Raises TableError with every problem found: row, column, value, what would be right.

        Parameters
        ----------
        df : pandas.DataFrame, shape (n_rows, n_columns)
            Text cells may use the cell syntax (``a|b``, ``lo..hi``, ``-``); NaN and blank are not known.
            A column ``<trait>_young`` beside ``<trait>`` holds what young fish show.
        taxon : str
            The column that names the taxon. Rows that share a name are pooled: states get the shares
            seen, numbers the range seen, and the measuring error is taken from the spread within taxa.
        kinds : mapping of str to str, optional
            Trait kind by column. By default numbers are "measure" unless all are 0 or 1, ordered categories
            "ordinal", all else "nominal". Columns missing from a given mapping still get the default.

        Examples
        --------
        >>> import pandas as pd
        >>> frame = pd.DataFrame({"kind": ["a", "b"], "tail": ["forked", "straight"], "rays": [7, 9]})
        >>> TraitTable.from_frame(frame, taxon="kind")
        TraitTable: 2 taxa, 2 traits, 4 of 4 cells filled
        """
        traits, ids, cells = read_frame(df, taxon, kinds, name)
        return cls(traits, pd.DataFrame(index=pd.Index(ids, name="id")), cells, name=name)

    def only(self, taxa: str | Collection[str]) -> TraitTable:
        """Return a table of some of the taxa, in the order of this one. Raises UnknownName.

        `taxa` are ids, trade codes or names, at least one; a code that means several kinds gives all of them.
        """
        keep = sorted(map(self.position, every(self, taxa)))
        if len(keep) == len(self):
            return self
        cells = {column: tuple(found[i] for i in keep) for column, found in self.own_cells.items()}
        return replace(self, taxa=self.taxa.iloc[keep], own_cells=cells)

    def save(self, folder: str | Path | None = None) -> TraitTable:
        """Write the table to a folder of plain files, all of it or nothing; the last versions are kept.

        `folder` is a new or empty one, for the whole table; by default that which the table was loaded from.
        Returns the table as it now stands in the folder; go on with this one, as in ``new = new.save()``.

        Raises TableError where the table would not load again, IdkeyError for no folder, a folder that holds
        another table, or a file that was changed since it was loaded.
        """
        return display.save_table(self, folder)

    def changes(self, old: TraitTable, *, key: Any = None, past: Iterable[Any] = ()) -> Any:
        """Return what sets this table apart from an older one; see `idkey.model.changes.what_changes`."""
        return display.what_changes(old, self, key=key, past=past)

    def allowed(self) -> dict[str, tuple[str, ...]]:
        """Return which values a column of `taxa` may take, where that is limited."""
        groups = self.care.loc[self.care["taxon"] == "", "care_group"] if len(self.care) else ()
        return {
            "commonness": COMMONNESS,
            "careGroup": tuple(group for group in groups if group != EVERY_GROUP),
            "nameAccordingTo": tuple(self.sources),
        }

    # -- what it holds --------------------------------------------------------------------------

    @cached_property
    def ids(self) -> tuple[str, ...]:
        """Taxon ids in the order of the table."""
        return tuple(str(i) for i in self.taxa.index)

    @cached_property
    def trait_ids(self) -> tuple[str, ...]:
        """Trait ids in the order of the table."""
        return tuple(t.id for t in self.traits)

    @cached_property
    def _traits(self) -> dict[str, Trait]:
        return {trait.id: trait for trait in self.traits}

    @cached_property
    def _effective(self) -> tuple[Mapping[str, tuple[Cell, ...]], Mapping[str, tuple[str, ...]]]:
        return effective(self.traits, self.own_cells, self.genera, self.genus)

    @cached_property
    def genus(self) -> list[str]:
        """Genus of each kind, in the order of the table; blank where the table says none."""
        return [str(genus) for genus in self.taxa.get("genus", [""] * len(self))]

    @cached_property
    def cells(self) -> Mapping[str, tuple[Cell, ...]]:
        """The cells that count, by column, in the order of `taxa`."""
        return MappingProxyType(dict(self._effective[0]))

    @property
    def basis(self) -> Mapping[str, tuple[str, ...]]:
        """What each cell rests on, by column: blank for itself; see `idkey.table.cells`."""
        return self._effective[1]

    @cached_property
    def claims_by_kind(self) -> pd.DataFrame:
        """The evidence, with the claims that a blank cell of a kind rests on repeated for that kind."""
        return claims_by_kind(self.evidence, self.ids, self.genus, self.basis)

    @cached_property
    def _positions(self) -> dict[str, int]:
        return {taxon: i for i, taxon in enumerate(self.ids)}

    @cached_property
    def _columns(self) -> dict[str, Column]:
        columns = {}
        for trait in self.traits:
            adult = self.cells[trait.id]
            columns[trait.id] = column_of(trait, adult)
            if self.differs_when_young(trait.id):
                young = self.cells.get(trait.id + YOUNG, (None,) * len(self))
                # Where nothing is said of young fish, the row holds for them too, unless it needs an adult.
                if not trait.needs_adult:
                    young = [a if y is None else y for a, y in zip(adult, young, strict=True)]
                columns[trait.id + YOUNG] = column_of(trait, young)
        return columns

    @cached_property
    def names(self) -> Names:
        """What its kinds are called; see `idkey.table.names`."""
        return Names(self)

    def position(self, taxon: Any) -> int:
        """Row number of a kind, by its id, trade code or name. Raises UnknownName with the nearest."""
        try:
            return self._positions[taxon]
        except (KeyError, TypeError):
            return self._positions[one(self, taxon)]

    def trait(self, trait_id: str) -> Trait:
        """Return the trait of this id. Raises UnknownName with the nearest spelling."""
        if trait_id in self._traits:
            return self._traits[trait_id]
        msg = f"trait {trait_id!r} is not in the table: {one_of(trait_id, self.trait_ids, 'a trait id')}"
        raise UnknownName(msg)

    def trait_of(self, column: str) -> Trait:
        """Return the trait of a column, its own or that whose young fish it describes."""
        return self.trait(column if column in self.trait_ids else column.removesuffix(YOUNG))

    def column(self, trait_id: str, *, young: bool = False) -> Column:
        """Return a column as arrays; `young` gives the companion column where there is one."""
        self.trait(trait_id)
        return self._columns.get(trait_id + YOUNG if young else trait_id, self._columns[trait_id])

    def differs_when_young(self, trait_id: str) -> bool:
        """Whether a young fish is judged by other cells: its own column, or none where an adult is needed."""
        young = self.cells.get(trait_id + YOUNG, ())
        return self.trait(trait_id).needs_adult or any(cell is not None for cell in young)

    def cell(self, taxon: str, column: str) -> Cell:
        """Return the value of one cell."""
        i = self.position(taxon)
        if column not in self.cells:
            msg = f"column {column!r} is not in the table: {one_of(column, list(self.cells), 'a column')}"
            raise UnknownName(msg)
        return self.cells[column][i]

    def young_cell(self, taxon: str, trait_id: str) -> Cell:
        """Return what is said of young fish; None where nothing else is said than of adults."""
        young = self.cell(taxon, trait_id + YOUNG) if trait_id + YOUNG in self.cells else None
        return None if young == self.cell(taxon, trait_id) else young

    def words(self, taxon: str, trait_id: str) -> str:
        """Return a cell in plain words, with what is said of young fish where that differs."""
        trait, young = self.trait(trait_id), self.young_cell(taxon, trait_id)
        words = cell_words(trait, self.cell(taxon, trait_id))
        return words if young is None else f"{words}, young: {cell_words(trait, young)}"

    def label(self, taxon: str) -> str:
        """Name of a taxon for a screen: scientific name with qualifier, and the trade code."""
        return self._labels[self.position(taxon)]

    @cached_property
    def _labels(self) -> tuple[str, ...]:
        if "scientificName" not in self.taxa.columns:
            return self.ids
        return tuple(map(_label, self.ids, records(self.taxa)))

    def claims(self, taxon: str, attribute: str) -> pd.DataFrame:
        """Evidence rows behind one cell of a taxon; of a cell that it takes over, those behind that cell."""
        taxon = one(self, taxon)
        if not len(self.evidence):
            return self.evidence
        claims = self.claims_by_kind
        return claims[(claims["taxon"] == taxon) & (claims["attribute"] == attribute)]

    @property
    def version(self) -> str:
        """Version as datapackage.json states it; blank where not stated."""
        return str(self.about.get("version") or "")

    @property
    def date(self) -> str:
        """Day on which the facts of the table were last changed, YYYY-MM-DD; blank where not stated."""
        return str(self.about.get("created") or "")[:10]

    def review(self) -> Any:
        """Return what is known, how well, and what is weakest; see `idkey.model.review.review`."""
        return display.review(self)

    def lookalikes(self, stage: str = "adult") -> Any:
        """Return who is mistaken for whom among these kinds; see `idkey.model.lookalikes.lookalikes`."""
        return display.lookalikes(self, stage)

    def to_frame(self, *, own: bool = False) -> pd.DataFrame:
        """Return the whole table as text, shape (n_taxa, n_meta + n_columns), in the shape of taxa.csv.

        With `own` cells that are taken over from the genus are left blank, as they are in taxa.csv.
        """
        held = self.own_cells if own else self.cells
        columns = {c: list(map(partial(cell_text, self.trait_of(c)), cells)) for c, cells in held.items()}
        return pd.concat([self.taxa, pd.DataFrame(columns, index=self.taxa.index, dtype="str")], axis=1)

    def __len__(self) -> int:
        return len(self.taxa)

    def __repr__(self) -> str:
        taxa, traits = len(self.taxa), len(self.traits)
        filled = sum(cell is not None for trait in self.traits for cell in self.cells[trait.id])
        text = f"TraitTable: {taxa} taxa, {traits} traits, {filled} of {taxa * traits} cells filled"
        return f"{text}; to settle, see .conflicts: {len(self.conflicts)}" if self.conflicts else text

    def _repr_html_(self) -> str:
        return display.html(self)
