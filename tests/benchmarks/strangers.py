"""Blank cells and strangers: run by hand, ``python tests/benchmarks/strangers.py``.

Three figures of the model are chosen by this, and each is printed beside its neighbours:

* `TABLE_AS_KIN`: each state that the table itself says of a kind is hidden in turn and foretold from its
  congeners and the whole table; the mean log of the chance that it gets.
* `OF_A_GENUS`: fish of each kind held back in turn, and of each genus held back in turn, with 30 to 70 % of
  the traits not answered. How often "none of these" comes first, or would if 5 % of the table's own fish were
  turned away, and how often another name gets 90 %.
* the least that a kind must be known to be named first: how often the first name of a fish of a well-known
  kind (65 % of its cells known) is one of which fewer than half of the answers can be compared.

Beside these stands what is said of strangers, and of the table's own fish: "none of these" first, which turns
a fish away; a remark, which leaves it its names: fair evidence for a stranger (`FAIR`, a word of Jeffreys's
scale, not chosen by this), or a poor fit; and how many strangers would be found at other prices.

The bound: no test finds more strangers at the same cost than the ratio of the two laws does (Neyman & Pearson
1933, Phil. Trans. R. Soc. A 231:289-337). So strangers are drawn from the law itself, too: as often as those
are found, and no oftener, can strangers that follow it be.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd
from specimens import draw

from idkey import NearestMatch, TraitTable, load_table
from idkey.model import combine
from idkey.model.answers import code_answers
from idkey.model.combine import model_of
from idkey.model.fit import POOR_FIT, fit_of
from idkey.model.identify import FAIR

OWN, HELD_BACK = 4_000, 40
TURNED_AWAY = 0.05
PRICES = (0.01, 0.02, 0.05, 0.1, 0.2)
GAPS = {"30 to 70 % not answered": (0.3, 0.7), "everything seen": (0.0, 0.0)}
SURE = 0.9
WELL_KNOWN, HALF = 0.65, 0.5


def hidden_cells(table: TraitTable, as_kin: float) -> float:
    """Mean log of the chance of each state that a kind has of its own, told from the others."""
    genus, logs = np.array(table.genus), []
    for trait in (t for t in table.traits if t.has_states):
        own = (
            np.array([cell is not None for cell in table.own_cells[trait.id]]) & table.column(trait.id).known
        )
        shares, e, k = table.column(trait.id).shares, trait.error, len(trait.states)
        for i in np.flatnonzero(own):
            others = own & (np.arange(len(table)) != i)
            kin = others & (genus == genus[i])
            whole = (shares[others].sum(axis=0) + 1 / k) / (others.sum() + 1)
            chance = (shares[kin].sum(axis=0) + as_kin * whole) / (kin.sum() + as_kin)
            logs.append(shares[i] @ np.log((1 - e) * chance + e / k))
    return float(np.mean(logs))


def without(
    table: TraitTable, fish: dict[str, pd.DataFrame]
) -> Iterator[tuple[str, TraitTable, pd.DataFrame]]:
    """Give the table without each kind, then without each genus, and the fish that were held back."""
    genus = dict(zip(table.ids, table.genus, strict=True))
    for taxon in table.ids:
        yield "kinds", table.only([t for t in table.ids if t != taxon]), fish[taxon]
    for name in sorted(set(genus.values())):
        held = pd.concat([fish[t] for t in table.ids if genus[t] == name])
        yield "genera", table.only([t for t in table.ids if genus[t] != name]), held


def strangers(table: TraitTable, own: pd.DataFrame, fish: dict[str, pd.DataFrame]) -> dict[str, float]:
    """Say what becomes of the table's own fish and of those held back, with the model as it is set."""
    p = NearestMatch().fit(table).predict_proba(own)
    enough = np.quantile(p[:, -1], 1 - TURNED_AWAY)
    rows = [
        (
            what,
            *(
                test.mean()
                for test in (q.argmax(1) == q.shape[1] - 1, q[:, -1] > enough, q[:, :-1].max(1) >= SURE)
            ),
        )
        for what, rest, held in without(table, fish)
        for q in [NearestMatch().fit(rest).predict_proba(held)]
    ]
    found = pd.DataFrame(rows, columns=["", "first", "found at 5 %", "sure and wrong"]).groupby("").mean()
    law = draw(table, OWN, seed=5, none_prior=0.999).answers
    at_best = (NearestMatch().fit(table).predict_proba(law)[:, -1] > enough).mean()
    flat = {f"{what}: {name}": value for what, row in found.iterrows() for name, value in row.items()}
    return {"own turned away": (p.argmax(1) == p.shape[1] - 1).mean(), **flat, "of the law itself": at_best}


def verdicts(match: NearestMatch, fish: pd.DataFrame) -> pd.DataFrame:
    """Return what is said of each fish, and how likely it is to be none of the kinds."""
    p, before = match.predict_proba(fish), match.none_prior
    none, first, sure = p[:, -1], p.argmax(axis=1) == p.shape[1] - 1, p[:, :-1].max(axis=1) >= SURE
    remark = ~first & (10 * np.log10(none / (1 - none) * (1 - before) / before) >= FAIR)
    model, best = model_of(match.table_), p[:, :-1].argmax(axis=1)
    fits = (fit_of(model, code_answers(model.table, one))[1] for one in fish.to_dict("records"))
    poor = np.array([deviation[name] < POOR_FIT for deviation, name in zip(fits, best, strict=True)])
    said = {"none first": first, "remark": remark, "none first or remark": first | remark, "poor fit": poor}
    of_sure = {"sure": sure, "sure, with a remark": sure & remark, "sure, poor fit": sure & poor}
    said["any of the three"] = first | remark | poor
    return pd.DataFrame({**said, **of_sure, "none": none})


def said_of_strangers(table: TraitTable, gaps: tuple[float, float]) -> pd.DataFrame:
    """Say how often each is said of the table's own fish and of strangers, and how many could be found."""
    own = verdicts(NearestMatch().fit(table), draw(table, OWN, seed=1, none_prior=0.0, gaps=gaps).answers)
    fish = {t: draw(table, HELD_BACK, seed=7, kind=t, gaps=gaps).answers for t in table.ids}
    limits = {f"found at {price:.0%} of the own": own["none"].quantile(1 - price) for price in PRICES}
    held = [(what, verdicts(NearestMatch().fit(rest), some)) for what, rest, some in without(table, fish)]
    rows = [
        {
            "": what,
            **found.drop(columns="none").mean(),
            **{price: (found["none"] > limit).mean() for price, limit in limits.items()},
        }
        for what, found in [("own", own), *held]
    ]
    return pd.DataFrame(rows).groupby("", sort=False).mean()


def hardly_known_first(table: TraitTable) -> dict[str, float]:
    """Say how often a kind known in fewer than half of the answers comes first, and how often with 90 %."""
    known = np.column_stack([table.column(t).known | ~table.column(t).applies for t in table.trait_ids])
    well = [t for t, share in zip(table.ids, known.mean(axis=1), strict=True) if share >= WELL_KNOWN]
    drawn = draw(table, OWN, seed=3, prior=dict.fromkeys(well, 1.0), none_prior=0.0)
    p = NearestMatch().fit(table).predict_proba(drawn.answers)
    first = p.argmax(axis=1)
    answered = drawn.answers[list(table.trait_ids)].notna().to_numpy()
    compared = (answered & np.vstack([known, np.ones(known.shape[1], dtype=bool)])[first]).sum(axis=1)
    few = (compared < HALF * answered.sum(axis=1)) & (first < len(table)) & np.isin(drawn.truth, well)
    return {
        "well-known kinds": len(well),
        "first": few.mean(),
        "with 90 %": (few & (p.max(axis=1) >= SURE)).mean(),
    }


def main() -> None:
    table = load_table()
    print("as how many congeners the whole table counts, mean log of the chance of a hidden state")
    for as_kin in (0.5, 1.0, 2.0, 4.0, 1e9):
        print(f"  {as_kin:>12g}  {hidden_cells(table, as_kin):.4f}")
    own = draw(table, OWN, seed=1, none_prior=0.0).answers
    fish = {t: draw(table, HELD_BACK, seed=7, kind=t).answers for t in table.ids}
    rows = {}
    for share in (0.001, 0.5, 0.8, 0.9, 0.95, 0.99):
        combine.OF_A_GENUS = share
        # A model is kept with its table: a new table is compiled afresh.
        rows[share] = strangers(load_table(), own, fish)
    print("\nshare of strangers that belong to a genus of the table")
    print(pd.DataFrame(rows).T.round(3).to_string())
    for how, gaps in GAPS.items():
        print(f"\nwhat is said of strangers, and how many are found where so many of the own are: {how}")
        print(said_of_strangers(load_table(), gaps).T.round(3).to_string())
    print("\nfirst names of which fewer than half of the answers can be compared")
    print(pd.Series(hardly_known_first(load_table())).round(4).to_string())


if __name__ == "__main__":
    main()
