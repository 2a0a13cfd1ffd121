"""How long it takes to be told what a new kind does: run by hand, ``python tests/benchmarks/extend.py``.

One kind is added to a random crisp table of 1,000 kinds x 40 traits, fully filled, with a third of its cells
blank, and with a claim behind each cell; with 1,000 past identifications and the old key at hand. The whole
is timed first, on tables that nothing has been worked out for; then its parts, each on such tables again.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from time import perf_counter
from typing import Any

import numpy as np
import pandas as pd

from idkey import TraitTable, build_key
from idkey.model.changes import renamed, what_changes
from idkey.model.distinguish import worth
from idkey.model.lookalikes import apart
from idkey.model.suspect_cells import doubts
from idkey.table.claims import Claim, Source

KINDS, TRAITS, PAST, ANSWERED = 1_000, 40, 1_000, 12
LIMIT = 2.0
NEW = "new"


def random_frame(n: int, blank: float, seed: int = 1) -> pd.DataFrame:
    """Return n kinds by 40 traits of 2 to 5 states, a share of the cells blank."""
    rng = np.random.default_rng(seed)
    columns = {f"t{j:02d}": rng.integers(0, rng.integers(2, 6), n).astype(str) for j in range(TRAITS)}
    frame = pd.DataFrame(columns)
    return frame.mask(rng.random(frame.shape) < blank, "")


def table_of(frame: pd.DataFrame, *, claimed: bool) -> TraitTable:
    """Return a table of these cells, in genera of ten; `claimed` puts a claim behind each filled cell."""
    kinds = [f"k{i}" for i in range(len(frame))]
    table = TraitTable.from_frame(frame.assign(kind=kinds), taxon="kind")
    names = {"scientificName": kinds, "genus": [f"Genus{i // 10}" for i in range(len(frame))]}
    taxa = pd.DataFrame(names, index=table.taxa.index, dtype="str")
    if not claimed:
        return replace(table, taxa=taxa)
    claim = Claim("invented", "p. 1")
    rows = [
        claim.row(taxon, trait, cell)
        for trait in frame.columns
        for taxon, cell in zip(kinds, frame[trait], strict=True)
        if cell
    ]
    sources = {"invented": Source("invented", "Nobody 2000", "An invented source")}
    return replace(table, taxa=taxa, evidence=pd.DataFrame(rows, dtype="str"), sources=sources)


def past_fish(frame: pd.DataFrame, seed: int = 2) -> list[dict[str, Any]]:
    """Return past identifications: some answers as the row of a kind has them, one in twenty another."""
    rng = np.random.default_rng(seed)
    found = []
    for i in rng.integers(0, len(frame), PAST):
        asked = rng.choice(frame.columns, ANSWERED, replace=False)
        said = {t: frame[t].iloc[i] if rng.random() < 0.95 else "0" for t in asked}
        found.append({t: s for t, s in said.items() if s})
    return found


def seconds(work: Callable[[], Any]) -> tuple[float, Any]:
    """Return how long it takes and what comes of it."""
    start = perf_counter()
    found = work()
    return perf_counter() - start, found


def measure(name: str, blank: float, *, claimed: bool) -> None:
    """Time the whole and its parts on one table."""
    frame = random_frame(KINDS + 1, blank)
    old = table_of(frame.iloc[:-1], claimed=claimed)
    values = {t: v for t, v in frame.iloc[-1].items() if v}
    claims = {t: Claim("invented", "p. 2") for t in values} if claimed else None
    past = past_fish(frame.iloc[:-1])
    built, key = seconds(lambda: build_key(old))

    def added(table: TraitTable) -> TraitTable:
        return table.with_taxon(NEW, claims, scientificName="Genus0 nova", genus="Genus0", **values)

    # A fresh copy, of which nothing is worked out yet.
    fresh = replace(old)
    whole, change = seconds(lambda: what_changes(fresh, added(fresh), key=key, past=past))
    print(f"\n{name}: {KINDS:,} kinds x {TRAITS} traits, {len(old.evidence):,} claims")
    print(f"{whole:8.3f} s  one kind added, with all that is told (at most {LIMIT:g})")
    fresh = replace(old)
    adding, new = seconds(lambda: added(fresh))
    parts = {
        "with_taxon": adding,
        "told from the others": seconds(lambda: apart(new, NEW))[0],
        "past identifications": seconds(lambda: renamed(fresh, new, past))[0],
        "cells in doubt": seconds(lambda: doubts(new, [NEW]))[0],
        "worth of the traits, both tables": seconds(lambda: (worth(fresh), worth(new)))[0],
        "in words": seconds(lambda: (repr(change), change._repr_html_()))[0],
    }
    for what, took in parts.items():
        print(f"{took:8.3f} s    {what}")
    print(f"{built:8.3f} s  the old key, built beforehand: {len(key.couplets):,} couplets")
    print(f"{'':11}{len(change.past)} of {PAST:,} past names change")


if __name__ == "__main__":
    measure("fully filled", 0.0, claimed=False)
    measure("a third blank", 1 / 3, claimed=False)
    measure("with claims", 0.0, claimed=True)
