"""TraitTable: the kinds of fish, their traits, and what is known of each. Immutable and always valid."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from functools import cached_property, partial
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from idkey.errors import Problem, TableError, UnknownName, one_of
from idkey.table.frames import read_frame
from idkey.table.schema import (
    KINDS,
    YOUNG,
    Cell,
    NotApplicable,
    Range,
    States,
    Trait,
    cell_text,
    is_missing,
    parse_cell,
    state_text,
)

if TYPE_CHECKING:
    from idkey.model.compare import Lookalikes

__all__ = ["COMMONNESS", "YOUNG", "Column", "Source", "TraitTable"]

COMMONNESS = ("common", "occasional", "rare")
"""How often a kind is offered in the trade."""


@dataclass(frozen=True, slots=True)
class Source:
    """Where a claim is written: a paper, a page, a book.

    Attributes
    ----------
    key : str
        BibTeX key.
    short : str
        Author and year, for a screen.
    full : str
        The whole reference on one line.
    doi : str
        Blank where there is none.
    """

    key: str
    short: str
    full: str
    doi: str = ""


@dataclass(frozen=True, slots=True)
class Column:
    """One column of the table as arrays, one entry a taxon.

    Attributes
    ----------
    known : ndarray of bool, shape (n_taxa,)
        The cell holds a value.
    applies : ndarray of bool, shape (n_taxa,)
        False where the cell is "not applicable".
    shares : ndarray of float, shape (n_taxa, n_states)
        Share of fish in each state; rows of unknown cells are 0. Width 0 for a measure.
    low, high : ndarray of float, shape (n_taxa,)
        Ends of the range in the unit of the trait; NaN where unknown. NaN for states.
    """

    known: np.ndarray
    applies: np.ndarray
    shares: np.ndarray
    low: np.ndarray
    high: np.ndarray


def _column(trait: Trait, cells: Sequence[Cell]) -> Column:
    n = len(cells)
    shares = np.zeros((n, len(trait.states)))
    low = np.full(n, np.nan)
    high = np.full(n, np.nan)
    for i, cell in enumerate(cells):
        if isinstance(cell, States):
            for name, share in zip(cell.names, cell.shares, strict=True):
                shares[i, trait.index(name)] = share
        elif isinstance(cell, Range):
            low[i], high[i] = cell.low, cell.high
    known = np.array([isinstance(c, (States, Range)) for c in cells], dtype=bool)
    applies = np.array([not isinstance(c, NotApplicable) for c in cells], dtype=bool)
    for array in (known, applies, shares, low, high):
        array.setflags(write=False)
    return Column(known, applies, shares, low, high)


def _text(value: Any) -> str:
    """Cell text of a value that was given in Python."""
    return "" if is_missing(value) else state_text(value)


def _trait_problems(trait: Trait, name: str) -> Iterator[Problem]:
    """Say what is wrong with the kind and the states of a trait that was made in Python."""
    if trait.kind not in KINDS:
        yield Problem(name, "", trait.id, str(trait.kind), one_of(trait.kind, KINDS, "a trait kind"))
    if len(set(trait.states)) != len(trait.states):
        yield Problem(name, "", trait.id, ", ".join(trait.states), "two states have the same name")
    if len(trait.words) != len(trait.states):
        right = f"write one wording for each of the {len(trait.states)} states"
        yield Problem(name, "", trait.id, ", ".join(trait.words), right)
    for state in trait.states:
        if not state or state == "-" or "|" in state or state != state.strip():
            right = "a state is not blank, not - alone, and holds no | and no blank at its ends"
            yield Problem(name, "", trait.id, state, right)


def _label(taxon: str, row: Mapping[str, Any]) -> str:
    name = str(row["scientificName"]) or taxon
    qualifier = str(row.get("identificationQualifier", "") or "")
    if qualifier:
        genus, _, rest = name.partition(" ")
        name = f"{genus} {qualifier} {rest}".strip()
    codes = str(row.get("tradeCode", "") or "").replace("|", ", ")
    return f"{name} ({codes})" if codes else name


def _changed(version: str) -> str:
    """Return the version of a table that has been added to: it is no longer the one that was given out."""
    return f"{version.removesuffix(' with additions')} with additions".strip()


@dataclass(frozen=True, eq=False)
class TraitTable:
    """Kinds of fish by traits; validated when made, never changed afterwards.

    Made by `load_table` from a folder, by `from_frame` from any pandas table, or by `with_taxon` and
    `with_trait` from another table.

    Attributes
    ----------
    traits : tuple of Trait
        In the order of the file.
    taxa : pandas.DataFrame
        One row a taxon, indexed by id: names, trade code, care group, commonness.
    cells : mapping of str to tuple of Cell
        Column name (a trait id, or that with ``_young``) to its cells, in the order of `taxa`.
    care, evidence : pandas.DataFrame
        Care needs and claims as text; empty for a table that has none.
    sources : mapping of str to Source
    name : str
        Where the table came from, for messages.
    version, date : str
        As datapackage.json states them (date: YYYY-MM-DD); blank where not stated.
    """

    traits: tuple[Trait, ...]
    taxa: pd.DataFrame
    cells: Mapping[str, tuple[Cell, ...]]
    care: pd.DataFrame = field(default_factory=pd.DataFrame)
    evidence: pd.DataFrame = field(default_factory=pd.DataFrame)
    sources: Mapping[str, Source] = field(default_factory=dict)
    name: str = "table"
    version: str = ""
    date: str = ""

    def __post_init__(self) -> None:
        for frame in ("taxa", "care", "evidence"):
            # A copy: two tables never share a frame, so that changing one cannot change the other.
            object.__setattr__(self, frame, getattr(self, frame).copy())
        object.__setattr__(self, "cells", MappingProxyType(dict(self.cells)))
        object.__setattr__(self, "sources", MappingProxyType(dict(self.sources)))
        problems = list(self._problems())
        if problems:
            raise TableError(problems)

    def __reduce__(self) -> tuple[Any, ...]:
        # A read-only mapping can be neither pickled nor copied; a plain one can, and is made read-only again.
        found = {f.name: getattr(self, f.name) for f in fields(self)}
        found |= {"cells": dict(self.cells), "sources": dict(self.sources)}
        return partial(type(self), **found), ()

    def _problems(self) -> Iterator[Problem]:
        if not self.traits:
            yield Problem(self.name, "", "", "", "no trait; a table needs at least one")
        if not len(self.taxa):
            yield Problem(self.name, "", "", "", "no taxon; a table needs at least one")
        seen: set[str] = set()
        for trait in self.traits:
            if trait.id in seen:
                yield Problem(self.name, "", trait.id, trait.id, "a trait of this name is there already")
            seen.add(trait.id)
            yield from _trait_problems(trait, self.name)
        for trait in self.traits:
            if trait.id.endswith(YOUNG) and trait.id.removesuffix(YOUNG) in seen:
                right = f"this name is kept for what a young fish shows of {trait.id.removesuffix(YOUNG)}"
                yield Problem(self.name, "", trait.id, trait.id, right)
        for i in np.flatnonzero(self.taxa.index.duplicated()):
            taxon = str(self.taxa.index[i])
            yield Problem(self.name, str(i + 2), "id", taxon, "a taxon of this id is there already")

    # -- how it is made -------------------------------------------------------------------------

    @classmethod
    def from_frame(
        cls,
        df: pd.DataFrame,
        taxon: str,
        kinds: Mapping[str, str] | None = None,
        *,
        name: str = "frame",
    ) -> TraitTable:
        """Make a table from any pandas table: a row a taxon, or many rows (specimens) a taxon.

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
        name : str
            Name used in messages.

        Returns
        -------
        TraitTable

        Raises
        ------
        TableError
            With every problem found: row, column, value, what would be right.

        Examples
        --------
        >>> import pandas as pd
        >>> frame = pd.DataFrame({"kind": ["a", "b"], "tail": ["forked", "straight"], "rays": [7, 9]})
        >>> TraitTable.from_frame(frame, taxon="kind")
        TraitTable: 2 taxa, 2 traits, 4 of 4 cells filled
        """
        traits, ids, cells = read_frame(df, taxon, kinds, name)
        return cls(traits=traits, taxa=pd.DataFrame(index=pd.Index(ids, name="id")), cells=cells, name=name)

    def only(self, taxa: Collection[str]) -> TraitTable:
        """Return a table of some of the taxa, in the order of this one.

        Parameters
        ----------
        taxa : collection of str
            Taxon ids; at least one.

        Raises
        ------
        UnknownName
        """
        wanted = {self.position(taxon) for taxon in taxa}
        if len(wanted) == len(self):
            return self
        keep = sorted(wanted)
        cells = {column: tuple(found[i] for i in keep) for column, found in self.cells.items()}
        return replace(self, taxa=self.taxa.iloc[keep], cells=cells)

    def with_taxon(self, taxon: str, **values: Any) -> TraitTable:
        """Return a new table with one more taxon.

        Parameters
        ----------
        taxon : str
            Id of the new taxon.
        **values
            Cell text by column name: traits, ``<trait>_young``, or a column of `taxa`.

        Raises
        ------
        TableError
            With everything that is wrong; this table stays as it is.
        """
        problems: list[Problem] = []
        row = f"new ({taxon})"
        if is_missing(taxon):
            problems.append(Problem(self.name, row, "id", str(taxon), "name the new taxon"))
        elif taxon in self.taxa.index:
            problems.append(Problem(self.name, row, "id", taxon, "a taxon of this id is there already"))
        texts = {column: _text(value) for column, value in values.items()}
        allowed = self._allowed()
        cells = {column: list(column_cells) for column, column_cells in self.cells.items()}
        names = [*cells, *(t.id + YOUNG for t in self.traits if t.id + YOUNG not in cells)]
        for column, value in texts.items():
            if column in self.taxa.columns:
                known = allowed.get(column)
                if value and known and value not in known:
                    problems.append(Problem(self.name, row, column, value, one_of(value, known)))
                continue
            if column not in names:
                right = one_of(column, [*names, *self.taxa.columns], "a column")
                problems.append(Problem(self.name, row, column, value, right))
                continue
            try:
                cell = parse_cell(self._trait_of(column), value)
            except ValueError as error:
                problems.append(Problem(self.name, row, column, value, str(error)))
                continue
            cells.setdefault(column, [None] * len(self.taxa)).append(cell)
        if problems:
            raise TableError(problems)
        for column_cells in cells.values():
            if len(column_cells) == len(self.taxa):
                column_cells.append(None)
        meta = {c: texts.get(c, "") for c in self.taxa.columns}
        new = pd.DataFrame(
            [meta], index=pd.Index([taxon], name=self.taxa.index.name), columns=self.taxa.columns
        )
        frozen = {column: tuple(column_cells) for column, column_cells in cells.items()}
        return replace(self, taxa=pd.concat([self.taxa, new]), cells=frozen, version=_changed(self.version))

    def with_trait(self, trait: Trait, values: Mapping[str, str] | None = None) -> TraitTable:
        """Return a new table with one more trait.

        Parameters
        ----------
        trait : Trait
        values : mapping of str to str, optional
            Cell text by taxon id; taxa left out are not known.

        Raises
        ------
        TableError
        """
        problems = list(_trait_problems(trait, self.name))
        if trait.id in self.cells or trait.id in self.taxa.columns:
            problems.append(
                Problem(self.name, "", trait.id, trait.id, "a column of this name is there already")
            )
        cells: list[Cell] = [None] * len(self.taxa)
        for taxon, value in (values or {}).items():
            text = _text(value)
            if taxon not in self.taxa.index:
                right = one_of(taxon, list(self.ids), "a taxon")
                problems.append(Problem(self.name, "", trait.id, taxon, right))
                continue
            try:
                cells[self.position(taxon)] = parse_cell(trait, text)
            except ValueError as error:
                problems.append(Problem(self.name, taxon, trait.id, text, str(error)))
        if problems:
            raise TableError(problems)
        return replace(
            self,
            traits=(*self.traits, trait),
            cells={**self.cells, trait.id: tuple(cells)},
            version=_changed(self.version),
        )

    def _allowed(self) -> dict[str, tuple[str, ...]]:
        """Which values a column of `taxa` may take, where that is limited."""
        groups = self.care.loc[self.care["taxon"] == "", "care_group"] if len(self.care) else ()
        return {
            "commonness": COMMONNESS,
            "careGroup": tuple(groups),
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
    def _positions(self) -> dict[str, int]:
        return {taxon: i for i, taxon in enumerate(self.ids)}

    @cached_property
    def _columns(self) -> dict[str, Column]:
        columns = {}
        for trait in self.traits:
            adult = self.cells[trait.id]
            columns[trait.id] = _column(trait, adult)
            if self.differs_when_young(trait.id):
                young = self.cells.get(trait.id + YOUNG, (None,) * len(self))
                # Where nothing is said of young fish, the row holds for them too, unless it needs an adult.
                if not trait.needs_adult:
                    young = [a if y is None else y for a, y in zip(adult, young, strict=True)]
                columns[trait.id + YOUNG] = _column(trait, young)
        return columns

    def position(self, taxon: str) -> int:
        """Row number of a taxon. Raises UnknownName with the nearest spelling."""
        try:
            return self._positions[taxon]
        except (KeyError, TypeError):
            coded = self._with_trade_code(taxon)
            right = f"as a trade code it is {' or '.join(map(repr, coded))}" if coded else ""
            msg = f"taxon {taxon!r} is not in the table: {right or one_of(taxon, self.ids, 'a taxon id')}"
            raise UnknownName(msg) from None

    def _with_trade_code(self, code: Any) -> list[str]:
        if "tradeCode" not in self.taxa.columns:
            return []
        wanted = str(code).strip().upper()
        codes = [str(found).upper().split("|") for found in self.taxa["tradeCode"]]
        return [taxon for taxon, found in zip(self.ids, codes, strict=True) if wanted in found]

    def trait(self, trait_id: str) -> Trait:
        """Return the trait of this id. Raises UnknownName with the nearest spelling."""
        for trait in self.traits:
            if trait.id == trait_id:
                return trait
        msg = f"trait {trait_id!r} is not in the table: {one_of(trait_id, self.trait_ids, 'a trait id')}"
        raise UnknownName(msg)

    def _trait_of(self, column: str) -> Trait:
        """Return the trait of a column, its own or that whose young fish it describes."""
        return self.trait(column if column in self.trait_ids else column.removesuffix(YOUNG))

    def column(self, trait_id: str, *, young: bool = False) -> Column:
        """Return a column as arrays; `young` gives the companion column where there is one."""
        self.trait(trait_id)
        return self._columns.get(trait_id + YOUNG if young else trait_id, self._columns[trait_id])

    def differs_when_young(self, trait_id: str) -> bool:
        """Whether a young fish is judged by other cells: its own column, or none where an adult is needed."""
        return trait_id + YOUNG in self.cells or self.trait(trait_id).needs_adult

    def cell(self, taxon: str, column: str) -> Cell:
        """Return the value of one cell."""
        i = self.position(taxon)
        if column not in self.cells:
            msg = f"column {column!r} is not in the table: {one_of(column, list(self.cells), 'a column')}"
            raise UnknownName(msg)
        return self.cells[column][i]

    def label(self, taxon: str) -> str:
        """Name of a taxon for a screen: scientific name with qualifier, and the trade code."""
        return self._labels[self.position(taxon)]

    @cached_property
    def _labels(self) -> tuple[str, ...]:
        if "scientificName" not in self.taxa.columns:
            return self.ids
        rows = self.taxa.to_dict("records")
        return tuple(_label(taxon, row) for taxon, row in zip(self.ids, rows, strict=True))

    def claims(self, taxon: str, attribute: str) -> pd.DataFrame:
        """Evidence rows behind one cell of a taxon."""
        self.position(taxon)
        if not len(self.evidence):
            return self.evidence
        return self.evidence[(self.evidence["taxon"] == taxon) & (self.evidence["attribute"] == attribute)]

    def lookalikes(self, stage: str = "adult") -> Lookalikes:
        """Return who is mistaken for whom among these kinds; see `idkey.model.compare.lookalikes`."""
        from idkey.model.compare import lookalikes

        return lookalikes(self, stage)

    def to_frame(self) -> pd.DataFrame:
        """Return the whole table as text, one row a taxon, in the shape of taxa.csv.

        Returns
        -------
        pandas.DataFrame, shape (n_taxa, n_meta + n_columns)
        """
        columns = {
            column: [cell_text(self._trait_of(column), cell) for cell in cells]
            for column, cells in self.cells.items()
        }
        return pd.concat([self.taxa, pd.DataFrame(columns, index=self.taxa.index, dtype="str")], axis=1)

    def __len__(self) -> int:
        return len(self.taxa)

    def __repr__(self) -> str:
        filled = sum(cell is not None for t in self.traits for cell in self.cells[t.id])
        total = len(self.taxa) * len(self.traits)
        return (
            f"TraitTable: {len(self.taxa)} taxa, {len(self.traits)} traits, {filled} of {total} cells filled"
        )

    def _repr_html_(self) -> str:
        from idkey.views.html import table_html

        return table_html(self)
