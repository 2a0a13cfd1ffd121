"""Kinds identified from their published description alone, and the same descriptions as strangers.

descriptions.csv holds one statement a row, as an answer, with the paper and where in it. Only passages
that were read and speak of the kind itself are taken, none from memory. A range stays a range and "one or
the other" stays so, since a description is of many fish; the length is that of the holotype or of the largest
fish listed. What it does not say is not answered.

COLLINS2018, COLLINS2018MS, COLLINSDRAFT
    Collins RA et al. (2018), Pseudolithoxus kinja; the description in the manuscript of the authors and the
    pattern in the abstract of their draft, which may differ from the printed paper.
WERNEKE2005a
    Werneke DC et al. (2005) Baryancistrus demantoides and Hemiancistrus subviridis. Neotrop. Ichthyol.
    3(4):533-542. DOI 10.1590/S1679-62252005000400011.
LUJAN2013
    Panaqolus albivermis; as in traits/sources.bib.
DESOUZA2019
    de Souza LS et al. (2019) Review of Ancistrus from the northwestern Guiana Shield. Zootaxa 4552(1):1-67.
    DOI 10.11646/zootaxa.4552.1.1: Ancistrus leucostictus and seven of its kin.
ARMBRUSTER2004Z
    Armbruster JW (2004) Pseudancistrus sidereus. Zootaxa 628:1-15. DOI 10.5281/zenodo.158521.

The cells of these kinds rest on the same papers: that the name comes out tests the model against all other
kinds, and not the table. The second half takes each kind out of the table first: there the description is
held against the cells of all others, which rest on other papers in part only (DESOUZA2019 has eight of them).
"""

from collections import defaultdict
from functools import cache
from pathlib import Path

import pandas as pd
import pytest
from shipped import TABLE, rows

from idkey import Identification

NONE = "none of these"
SAID = pd.read_csv(Path(__file__).parent / "descriptions.csv", dtype=str)
KINDS = tuple(SAID["kind"].unique())
RIVER = "basin"


@cache
def told(kind, without=(), *, held_back=False):
    """Return the identification by what is said of a kind, the kind itself held back or not."""
    table = TABLE.only([t for t in TABLE.ids if t != kind]) if held_back else TABLE
    fish = Identification(table)
    for row in SAID[SAID["kind"] == kind].itertuples():
        if row.trait not in without:
            fish.answer(row.trait, row.answer)
    return fish


def place(fish, kind):
    """Return where a kind stands in the ranking: 1 is first."""
    return list(fish.ranking()["taxon"]).index(kind) + 1


def genus(kind):
    return TABLE.taxa.loc[kind, "genus"]


def test_each_answer_names_a_source_of_the_table_and_where_in_it():
    assert list(SAID.columns) == ["kind", "trait", "answer", "source", "locator"]
    assert SAID.notna().all(axis=None)
    assert not SAID.duplicated(["kind", "trait"]).any()
    assert {key for cell in SAID["source"] for key in cell.split("; ")} <= set(TABLE.sources)
    assert len(KINDS) == 12
    assert SAID.groupby("kind").size().median() >= 15


def test_no_answer_is_from_memory():
    classes = defaultdict(set)
    for claim in rows("evidence.csv"):
        classes[claim["taxon"], claim["attribute"], claim["source"]].add(claim["class"])
    for row in SAID.itertuples():
        # The holotype of P. kinja is no record of the largest, so the table does not claim it.
        if (row.kind, row.trait) != ("pseudolithoxus_kinja", "adult_size"):
            found = [classes[row.kind, row.trait, key] for key in row.source.split("; ")]
            assert all("read" in one for one in found), row


@pytest.mark.parametrize("kind", KINDS)
def test_a_kind_comes_first_by_its_description(kind):
    fish = told(kind)
    assert place(fish, kind) == 1
    assert kind in fish.candidates()


@pytest.mark.parametrize("kind", KINDS)
def test_it_is_among_the_first_when_the_river_is_not_known(kind):
    # Of Ancistrus amaris and A. triradiatus little more than the couplets of the key was read, and these part
    # them by the length of the tentacles of males, which is no trait of the table.
    fish = told(kind, (RIVER,))
    assert place(fish, kind) == (2 if kind == "ancistrus_triradiatus" else 1)
    assert kind in fish.candidates()


@pytest.mark.parametrize("kind", KINDS)
def test_it_is_among_the_first_three_without_river_and_counts(kind):
    measured = tuple(t.id for t in TABLE.traits if t.kind == "measure")
    fish = told(kind, (RIVER, *measured))
    assert place(fish, kind) <= 3
    assert kind in fish.candidates()


# -- the same descriptions as strangers --------------------------------------------------------------------


@pytest.mark.parametrize("kind", KINDS)
def test_a_kind_that_is_not_in_the_table_is_not_given_one_name(kind):
    fish = told(kind, held_back=True)
    assert len(fish.candidates()) > 1
    if NONE not in fish.candidates():
        assert genus(fish.candidates()[0]) == genus(kind)


@pytest.mark.parametrize("kind", KINDS)
def test_a_stranger_is_said_to_look_like_its_own_genus_or_like_none(kind):
    assert told(kind, held_back=True).stranger()[0] in (genus(kind), "")
    assert told(kind).stranger()[0] in (genus(kind), "")
