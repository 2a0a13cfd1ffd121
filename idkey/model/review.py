"""A table looked over: how full it is, what its cells rest on, whom it leaves mixed up, what to fill next.

Of the claims behind a cell those count that are within it; see `idkey.table.files`. What a cell rests on is
the first of `read`, `secondary`, `common practice` and `memory` by which, with the stronger ones, its claims
say all that it says: a cell that was changed no longer rests on what was read of it before. Claims in free
words count, as saying all, where those that read as a cell do not say it all together. Among the pairs mixed
up and the blanks the adults count.

What to fill next: two kinds that no single look tells apart are *untold*. A blank cell is worth the number of
untold partners of its kind that it would tell, if it came out like the cell of a kind drawn at random from
those of which the trait is known. That is a plain guess, made alike for all blanks, to say where to begin.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from idkey.arguments import checked
from idkey.display import Printed
from idkey.model.distinguish import BLOCK, Worth, distinguisher, is_clear, worth
from idkey.model.lookalikes import Lookalikes, lookalikes
from idkey.model.suspect_cells import Doubt, doubts
from idkey.table.claims import CLASSES, NOT_FOLLOWED, UNSOURCED, claimed_cell, is_covered, is_within
from idkey.table.schema import Cell, NotApplicable, Range, States
from idkey.table.table import TraitTable

BLANK, NOT_APPLICABLE, KNOWN = "blank", "not applicable", "known"
CODES = (BLANK, NOT_APPLICABLE, KNOWN, *CLASSES)
"""What a cell of the grid may say; `KNOWN` in a table that keeps no evidence."""


@dataclass(frozen=True, eq=False, repr=False)
class Review(Printed):
    """A table looked over; see `review`.

    Attributes
    ----------
    grid : pandas.DataFrame
        Kinds by traits, a word of `CODES` in each cell: what it rests on. Cells for adults.
    taxa : pandas.DataFrame
        A row a kind: filled, not_applicable, blank, core and core_filled (traits that every row should have),
        the number of cells of each evidence class, and one_source (cells that rest on one source or none).
    traits : pandas.DataFrame
        The same a trait, without the two of the core.
    cells : pandas.DataFrame
        A row a filled cell, young fish included: taxon, column, class, sources (how many different ones),
        genus_only (no claim is about the kind itself), unsourced (a source is still to be given).
    lookalikes : Lookalikes
        Of adults.
    fill_next : pandas.DataFrame
        Blank cells that would help, the most helpful first: taxon, trait, untold (kinds that nothing tells
        from this one and of which the trait is known), likely (of these, how many it would tell by the guess
        above), effort_s.
    """

    table: TraitTable
    grid: pd.DataFrame
    taxa: pd.DataFrame
    traits: pd.DataFrame
    cells: pd.DataFrame
    lookalikes: Lookalikes
    doubts: tuple[Doubt, ...]
    worth: tuple[Worth, ...]
    fill_next: pd.DataFrame

    @property
    def has_evidence(self) -> bool:
        """Whether the table says what its cells rest on."""
        return "taxon" in self.table.evidence.columns

    @property
    def single_source(self) -> pd.DataFrame:
        """Filled cells that rest on one source or none, rows of `cells`; none without evidence."""
        return _single(self.cells)

    @property
    def unsourced(self) -> pd.DataFrame:
        """Filled cells whose source is still to be given, rows of `cells`."""
        return self.cells[self.cells["unsourced"]]

    @property
    def untold(self) -> pd.DataFrame:
        """Pairs that no single look tells apart, rows of ``lookalikes.frame``."""
        return self.lookalikes.frame[self.lookalikes.frame["best_trait"] == ""]

    @property
    def idle(self) -> tuple[Worth, ...]:
        """Traits that do not earn their place; see `idkey.model.distinguish.Worth`."""
        return tuple(w for w in self.worth if not w.earns)


@checked
def review(table: TraitTable) -> Review:
    """Look over a whole table. Raises IdkeyError for no trait table."""
    alike = lookalikes(table)
    cells = _cells(table)
    grid = _grid(table, cells)
    core = [trait.id for trait in table.traits if trait.core]
    taxa = _counts(grid)
    taxa.insert(3, "core", len(core))
    taxa.insert(4, "core_filled", _counts(grid[core])["filled"])
    traits = _counts(grid.T)
    single = _single(cells[cells["column"].isin(table.trait_ids)])
    for frame, by in ((taxa, "taxon"), (traits, "column")):
        frame["one_source"] = single[by].value_counts().reindex(frame.index, fill_value=0)
    return Review(
        table=table,
        grid=grid,
        taxa=taxa,
        traits=traits,
        cells=cells,
        lookalikes=alike,
        doubts=doubts(table),
        worth=worth(table),
        fill_next=_fill_next(table, alike),
    )


def _single(cells: pd.DataFrame) -> pd.DataFrame:
    return cells[(cells["sources"] < 2) & (cells["class"] != KNOWN)]


# -- what the cells rest on -------------------------------------------------------------------------


def _cells(table: TraitTable) -> pd.DataFrame:
    """Return a row a filled cell, in the order of the columns, then of the taxa."""
    columns = ["taxon", "column", "class", "sources", "genus_only", "unsourced"]
    behind: dict[tuple[str, str], list[_Behind]] = defaultdict(list)
    said: dict[tuple[str, str], Cell] = {}
    if kept := "taxon" in table.evidence.columns:
        parts = ("taxon", "attribute", "value", "class", "source", "scope", "note")
        for taxon, column, value, *claim in zip(*(table.claims_by_kind[part] for part in parts), strict=True):
            if column in table.cells and (column, value) not in said:
                said[column, value] = claimed_cell(table.trait_of(column), value)
            behind[taxon, column].append(_Behind(value and said.get((column, value)), *claim))
    rows = []
    for column, cells in table.cells.items():
        for taxon, cell in zip(table.ids, cells, strict=True):
            if isinstance(cell, (States, Range)):
                # A blank claim stands for what the cell says.
                claims = [c._replace(said=cell) if c.said == "" else c for c in behind[taxon, column]]
                rests_on = _rests_on(cell, claims) if kept else (KNOWN, 0, False, False)
                rows.append((taxon, column, *rests_on))
    return pd.DataFrame(rows, columns=columns).astype(dict.fromkeys(columns[:3], "str"))


class _Behind(NamedTuple):
    """A claim behind a cell, and what it says: None for free words, blank for what the cell says."""

    said: Any
    evidence_class: str
    source: str
    scope: str
    note: str


def _rests_on(cell: Cell, claims: list[_Behind]) -> tuple[str, int, bool, bool]:
    """Return the class, the number of sources, whether none is about the kind itself, or none is named."""

    def is_said(by: list[_Behind]) -> bool:
        said = [claim.said for claim in by]
        return None in said or is_covered(cell, said)

    followed = [claim for claim in claims if not claim.note.startswith(NOT_FOLLOWED)]
    counted = [claim for claim in followed if claim.said is not None and is_within(claim.said, cell)]
    if not is_said(counted):
        counted += [claim for claim in followed if claim.said is None]

    # What no claim says rests on memory, and its source is still to be given.
    upto = ([c for c in counted if c.evidence_class in CLASSES[: i + 1]] for i in range(len(CLASSES)))
    name = next((name for name, some in zip(CLASSES, upto, strict=True) if is_said(some)), CLASSES[-1])
    genus = bool(counted) and all(claim.scope != "species" for claim in counted)
    unsourced = not is_said([claim for claim in counted if claim.note != UNSOURCED])
    return name, len({claim.source for claim in counted} - {""}), genus, unsourced


def _grid(table: TraitTable, cells: pd.DataFrame) -> pd.DataFrame:
    classes = {(taxon, column): name for taxon, column, name in cells.iloc[:, :3].itertuples(index=False)}
    words = {
        trait: [
            NOT_APPLICABLE if isinstance(cell, NotApplicable) else classes.get((taxon, trait), BLANK)
            for taxon, cell in zip(table.ids, table.cells[trait], strict=True)
        ]
        for trait in table.trait_ids
    }
    grid = pd.DataFrame(words, index=pd.Index(table.ids, name="taxon"), dtype="str")
    return grid.rename_axis(columns="trait")


def _counts(grid: pd.DataFrame) -> pd.DataFrame:
    """Count the cells of each row of a grid: filled, not applicable, blank, and by evidence class."""
    words = grid.to_numpy(dtype=object)
    count = {code: (words == code).sum(axis=1) for code in CODES}
    away, blank = count[NOT_APPLICABLE], count[BLANK]
    filled = grid.shape[1] - away - blank
    counts = {"filled": filled, "not_applicable": away, "blank": blank}
    return pd.DataFrame(counts | {name: count[name] for name in CLASSES}, index=grid.index)


# -- what to fill next ------------------------------------------------------------------------------


def _fill_next(table: TraitTable, alike: Lookalikes) -> pd.DataFrame:
    untold = np.zeros((len(table), len(table)), dtype=bool)
    pairs = alike.frame[alike.frame["best_trait"] == ""]
    a, b = (pd.Index(table.ids).get_indexer(pairs[side]) for side in "ab")
    untold[a, b] = untold[b, a] = True
    tell, rows = distinguisher(table), []
    for trait in tell.looks:
        column = table.column(trait.id)
        known = tell.order[column.known[tell.order]]
        blank = np.flatnonzero(~column.known & column.applies)
        if not len(known) or not len(blank):
            continue
        # Of the kinds known, the share that a look tells from each of them.
        would_tell = np.concatenate(
            [
                is_clear(tell.right(trait.id, some, news=True)[:, known]).mean(axis=1)
                for some in np.split(known, range(BLOCK, len(known), BLOCK))
            ]
        )
        for k in blank.tolist():
            partners = untold[k, known]
            if (likely := would_tell[partners].sum().round(9)) > 0:
                count = int(partners.sum())
                rows.append((table.ids[k], trait.id, count, float(likely), trait.effort))
    frame = pd.DataFrame(rows, columns=["taxon", "trait", "untold", "likely", "effort_s"])
    order = ["likely", "effort_s", "taxon", "trait"]
    return frame.sort_values(order, ascending=[False, True, True, True], ignore_index=True)
