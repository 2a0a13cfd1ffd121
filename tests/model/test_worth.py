"""What each trait is worth: every pair gone through one by one, public tables, the traits of printed keys.

Zoo: the UCI repository, see ``data/ORIGIN.md``. Iris: Fisher 1936, Annals of Eugenics 7:179-188, as
scikit-learn ships it. CRAMER2015 and DESOUZA2019: the two keys in ``tests/published``.
"""

import itertools
import json
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shipped import TABLE

from idkey import TraitTable
from idkey.model.distinguish import CLEAR, HEARSAY, Distinguisher, worth

from .tables import iris, kinds_of, nominal, shuffled, table_of, tables, zoo

PUBLISHED = Path(__file__).parents[1] / "published"
KEYS = ("panaqolus_cramer2015", "ancistrus_desouza2019")
# 101 animals, each a kind of its own, by 16 characters; 150 flowers pooled into three
ZOO, IRIS = kinds_of(zoo()[0]), kinds_of(*iris())


def one_by_one(table):
    """Tells, only and best of each trait, counted pair by pair."""
    tell = Distinguisher(table)
    traits = [t for t in table.traits if t.id not in HEARSAY]
    rights = {t.id: tell.right(t.id, range(len(table))) for t in traits}
    counts = {t.id: [0, 0, 0] for t in traits}
    for a, b in itertools.combinations(range(len(table)), 2):
        right = {}
        for t in traits:
            if not t.applies_when or table.column(t.id).applies[[a, b]].all():
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


@pytest.mark.parametrize("table", [ZOO, IRIS, TABLE], ids=["zoo", "iris", "shipped"])
def test_counts_are_those_of_every_pair_gone_through(table):
    assert counted(table) == one_by_one(table)
    assert worth(table) is worth(table)  # worked out once


@given(tables(), st.randoms(use_true_random=False))
def test_counts_of_any_table(table, random):
    assert counted(table) == one_by_one(table) == counted(shuffled(table, random))
    for w in worth(table):
        assert w.earns == (w.only > 0 or w.best > 0)
        assert w.tells >= max(w.only, w.best)
    # a blank column never earns
    grown = table.with_trait(nominal("blank"))
    last = worth(grown)[-1]
    assert (last.known, last.tells, last.earns) == (0, 0, False)
    assert "no kind" in last.text
    assert counted(grown) == counted(table) | {"blank": (0, 0, 0)}


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


def test_of_looks_as_good_the_least_trouble_counts():
    found = worth(table_of([nominal("slow", effort=60), nominal("z", effort=5)], {"k": "a a", "l": "b b"}))
    assert [(w.tells, w.only, w.best, w.earns) for w in found] == [(1, 0, 0, False), (1, 0, 1, True)]
    assert "no more trouble" in found[0].text


def test_that_a_trait_does_not_apply_is_no_news_beside_the_one_it_depends_on():
    pattern = nominal("pattern", ("spots", "plain"), error=0.2)
    size = nominal("size", ("small", "large"), error=0.01, applies_when=("pattern", ("spots",)))
    table = table_of([pattern, size], {"k": "spots small", "l": "plain -"})
    assert [(w.tells, w.only) for w in worth(table)] == [(1, 1), (0, 0)]


def test_what_the_seller_says_is_not_judged_and_one_kind_is_compared_with_none():
    (found,) = worth(table_of([nominal("basin"), nominal("tail")], {"k": "a a", "l": "b a"}))
    assert (found.trait.id, found.known, found.tells) == ("tail", 2, 0)
    (found,) = worth(table_of([nominal("tail")], {"k": "a"}))
    assert (found.known, found.tells) == (1, 0)
    assert "known of 1 kind only" in found.text
