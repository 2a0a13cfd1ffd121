"""How long it takes to be told what a new kind does: run by hand, ``python tests/benchmarks/extend.py``.

One kind is added to a random crisp table of 1,000 kinds x 40 traits, fully filled, with a third of its cells
blank, and with a claim behind each cell; with 1,000 past identifications and the old key at hand. The whole
is timed first, on tables that nothing has been worked out for; then its parts, each on such tables again.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from time import perf_counter
from typing import Any

import numpy as np
import pandas as pd
from timing import TRAITS, measure, random_cells, show, table_of

from idkey import TraitTable, build_key
from idkey.model.changes import renamed, what_changes
from idkey.model.distinguish import worth
from idkey.model.lookalikes import apart
from idkey.model.suspect_cells import doubts
from idkey.table.claims import Claim, Source

KINDS, PAST, ANSWERED = 1_000, 1_000, 12
NEW = "new"


def in_genera(cells: pd.DataFrame, *, claimed: bool) -> TraitTable:
    """Return a table of these cells, in genera of ten; `claimed` puts a claim behind each filled cell."""
    table = table_of(cells)
    names = {"scientificName": table.ids, "genus": [f"Genus{i // 10}" for i in range(len(table))]}
    table = replace(table, taxa=pd.DataFrame(names, index=table.taxa.index, dtype="str"))
    if not claimed:
        return table
    filled = cells.set_index(table.taxa.index).stack()
    rows = [Claim("invented", "p. 1").row(*place, cell) for place, cell in filled[filled != ""].items()]
    sources = {"invented": Source("invented", "Nobody 2000", "An invented source")}
    return replace(table, evidence=pd.DataFrame(rows, dtype="str"), sources=sources)


def past_fish(cells: pd.DataFrame) -> list[dict[str, Any]]:
    """Return past identifications: some answers as the row of a kind has them, one in twenty another."""
    rng = np.random.default_rng(2)
    found = []
    for i in rng.integers(0, len(cells), PAST):
        asked = rng.choice(cells.columns, ANSWERED, replace=False)
        answers = {t: cells[t].iloc[i] if rng.random() < 0.95 else "s0" for t in asked}
        found.append({"answers": {t: s for t, s in answers.items() if s}, "unseen": []})
    return found


def report(name: str, blank: float, *, claimed: bool) -> None:
    """Time the whole and its parts on one table."""
    cells = random_cells(KINDS + 1, blank=blank)
    old, past = in_genera(cells.iloc[:-1], claimed=claimed), past_fish(cells.iloc[:-1])
    values = {t: v for t, v in cells.iloc[-1].items() if v}
    claims = {t: Claim("invented", "p. 2") for t in values} if claimed else None
    add = partial(TraitTable.with_taxon, claims=claims, scientificName="Genus0 nova", genus="Genus0")
    print(f"\n{name}: {KINDS:,} kinds x {TRAITS} traits, {len(old.evidence):,} claims")
    key = build_key(old)
    # Copies, of which nothing is worked out yet.
    fresh, again = replace(old), replace(old)
    start = perf_counter()
    change = what_changes(fresh, add(fresh, NEW, **values), key=key, past=past)
    show("one kind added, with all that is told", [perf_counter() - start])
    new = add(again, NEW, **values)
    parts = {
        "with_taxon": lambda: add(again, NEW, **values),
        "told from the others": lambda: apart(new, NEW),
        "past identifications": lambda: renamed(again, new, past),
        "cells in doubt": lambda: doubts(new, [NEW]),
        "worth of the traits, both tables": lambda: (worth(again), worth(new)),
        "in words": lambda: (repr(change), change._repr_html_()),
    }
    for what, part in parts.items():
        show(f"  {what}", *measure(part, warm_up=False))
    print(f"{len(change.past)} of {PAST:,} past names change")


if __name__ == "__main__":
    report("fully filled", 0.0, claimed=False)
    report("a third blank", 1 / 3, claimed=False)
    report("with claims", 0.0, claimed=True)
