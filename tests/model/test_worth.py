"""What each trait is worth: every pair gone through one by one, public tables, the traits of printed keys.

Zoo: the UCI repository, see ``data/ORIGIN.md``. Iris: Fisher 1936, Annals of Eugenics 7:179-188, as
scikit-learn ships it. CRAMER2015 and DESOUZA2019: the two keys in ``tests/published``.
"""

import itertools
import json
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from sklearn.datasets import load_iris

from idkey import TraitTable, load_table
from idkey.model.distinguish import CLEAR, HEARSAY, Distinguisher, worth
from idkey.table.schema import Trait

from .tables import table_of, tables

DATA = Path(__file__).parent / "data"
PUBLISHED = Path(__file__).parents[1] / "published"
KEYS = ("panaqolus_cramer2015", "ancistrus_desouza2019")


def zoo():
    """101 animals, each a kind of its own, by 16 characters."""
    data = pd.read_csv(DATA / "zoo.csv").drop(columns="type")
    data["animal"] = [f"{name} {i}" for i, name in enumerate(data["animal"])]
    return TraitTable.from_frame(data, taxon="animal")


def iris():
    data = load_iris(as_frame=True)
    kinds = data.target.map(dict(enumerate(data.target_names))).astype(str)
    return TraitTable.from_frame(data.data.assign(species=kinds), taxon="species")


def one_by_one(table):
    """Tells, only and best of each trait, counted pair by pair."""
    tell = Distinguisher(table)
    traits = [t for t in table.traits if t.id not in HEARSAY]
    rights = {t.id: tell.right(t.id, range(len(table))) for t in traits}
    counts = {t.id: [0, 0, 0] for t in traits}
    for a, b in itertools.combinations(range(len(table)), 2):
        right = {}
        for t in traits:
            applies = table.column(t.id).applies
            if t.applies_when and not (applies[a] and applies[b]):
                continue
            right[t.id] = float(rights[t.id][a, b])
        clear = [t for t, r in right.items() if r >= CLEAR - 1e-9]
        for t in clear:
            counts[t][0] += 1
        if len(clear) == 1:
            counts[clear[0]][1] += 1
        if clear:
            most = max(right.values())
            as_good = [table.trait(t) for t in clear if right[t] > most - 1e-6]
            counts[min(as_good, key=lambda t: (t.effort, t.id)).id][2] += 1
    return {t: tuple(found) for t, found in counts.items()}


def counted(table):
    return {w.trait.id: (w.tells, w.only, w.best) for w in worth(table)}


@pytest.mark.parametrize("make", [zoo, iris, load_table])
def test_counts_are_those_of_every_pair_gone_through(make):
    table = make()
    assert counted(table) == one_by_one(table)


@given(tables())
def test_counts_of_any_table(table):
    assert counted(table) == one_by_one(table)
    for w in worth(table):
        assert w.earns == (w.only > 0 or w.best > 0)
        assert w.tells >= max(w.only, w.best)


def test_the_104_pairs_of_animals_that_are_alike_are_told_by_nothing():
    table = zoo()
    rows = table.to_frame()
    alike = sum(rows.iloc[a].equals(rows.iloc[b]) for a, b in itertools.combinations(range(101), 2))
    assert alike == 104
    assert sum(w.best for w in worth(table)) == 101 * 100 // 2 - alike


@pytest.mark.parametrize("name", KEYS)
def test_every_couplet_of_a_printed_key_asks_a_trait_that_earns_its_place(name):
    # CRAMER2015 p. 468-469, DOI 10.1590/1982-0224-20140099; DESOUZA2019 p. 8-9, DOI 10.11646/zootaxa.4552.1.1
    key = json.loads((PUBLISHED / f"{name}_couplets.json").read_text(encoding="utf-8"))
    frame = pd.read_csv(PUBLISHED / f"{name}.csv", dtype=str)
    found = {w.trait.id: w for w in worth(TraitTable.from_frame(frame, taxon="taxon", kinds=key["kinds"]))}
    for couplet in key["couplets"]:
        asked = [t for t in couplet["a"]["says"] if t in couplet["b"]["says"]]
        assert all(found[t].tells for t in asked)
        assert any(found[t].earns for t in asked)


@given(tables())
def test_a_blank_column_never_earns(table):
    blank = Trait(id="blank", kind="nominal", states=("a", "b"))
    cells = {**table.cells, "blank": (None,) * len(table)}
    grown = replace(table, traits=(*table.traits, blank), own_cells=cells)
    *others, last = worth(grown)
    assert (last.known, last.tells, last.earns) == (0, 0, False)
    assert "no kind" in last.text
    assert [(w.tells, w.only, w.best) for w in others] == [(w.tells, w.only, w.best) for w in worth(table)]


@given(tables(), st.randoms(use_true_random=False))
def test_the_order_of_rows_and_columns_does_not_matter(table, random):
    rows = random.sample(range(len(table)), len(table))
    mixed = replace(
        table,
        traits=tuple(random.sample(table.traits, len(table.traits))),
        taxa=table.taxa.iloc[rows],
        own_cells={c: tuple(cells[i] for i in rows) for c, cells in table.cells.items()},
    )
    assert counted(mixed) == counted(table)


@given(tables())
def test_of_a_trait_and_its_copy_neither_is_the_only_one_and_one_is_idle(table):
    first = table.traits[0]
    copy = replace(first, id="z" + first.id)
    assume(copy.id not in table.trait_ids)
    copies = {copy.id + c.removeprefix(first.id): x for c, x in table.cells.items() if c.startswith(first.id)}
    grown = replace(table, traits=(*table.traits, copy), own_cells={**table.cells, **copies})
    found = {w.trait.id: w for w in worth(grown)}
    assert found[first.id].only == found[copy.id].only == 0
    assert found[first.id].tells == found[copy.id].tells
    assert not found[copy.id].earns


def test_of_looks_as_good_the_least_trouble_counts():
    slow = Trait(id="a", kind="nominal", states=("x", "y"), effort=60)
    quick = Trait(id="b", kind="nominal", states=("x", "y"), effort=5)
    found = worth(table_of([slow, quick], {"k": {"a": "x", "b": "x"}, "l": {"a": "y", "b": "y"}}))
    assert [(w.tells, w.only, w.best, w.earns) for w in found] == [(1, 0, 0, False), (1, 0, 1, True)]
    assert "no more trouble" in found[0].text


def test_that_a_trait_does_not_apply_is_no_news_beside_the_one_it_depends_on():
    pattern = Trait(id="pattern", kind="nominal", states=("spots", "plain"), error=0.2)
    size = Trait(
        id="size", kind="nominal", states=("small", "large"), error=0.01, applies_when=("pattern", ("spots",))
    )
    rows = {"k": {"pattern": "spots", "size": "small"}, "l": {"pattern": "plain", "size": "-"}}
    assert [(w.tells, w.only) for w in worth(table_of([pattern, size], rows))] == [(1, 1), (0, 0)]


def test_what_the_seller_says_is_not_judged():
    basin = Trait(id="basin", kind="nominal", states=("xingu", "negro"))
    tail = Trait(id="tail", kind="nominal", states=("forked", "straight"))
    rows = {"k": {"basin": "xingu", "tail": "forked"}, "l": {"basin": "negro", "tail": "forked"}}
    assert [(w.trait.id, w.tells) for w in worth(table_of([basin, tail], rows))] == [("tail", 0)]


def test_it_is_worked_out_once_for_a_table():
    table = iris()
    assert worth(table) is worth(table)


@pytest.mark.parametrize("count", [1, 2])
def test_small_tables(count):
    frame = pd.DataFrame({"kind": ["a", "b"][:count], "tail": ["forked", "straight"][:count]})
    (found,) = worth(TraitTable.from_frame(frame, taxon="kind"))
    assert (found.known, found.tells) == (count, count - 1)
    assert ("known of 1 kind only" in found.text) == (count == 1)
