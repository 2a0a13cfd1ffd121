"""No claim of the table is held for more than its passage gives, and what no source says stays blank.

facts_packs.csv lists the claims that were noted down from the sources before the table was coded, and the
class each was given when it was read: what it is about (a kind, a genus, a care group, or a fish in words),
the attribute (the column of the table where there is one), the value (a cell, or in words), the source and
the class; "falls" marks a claim that was noted once and found wrong. A few rows stand for what was told
beside the claims only: two keys that were read in full (CRAMER2015, DESOUZA2019), and figures of AQB_L260,
AQDOMAIN, AQFACH2019, LIM2003 and WIKIPEDIA_PARAN. Sources are those of traits/sources.bib.

A claim of the table is held against what comes nearest to it: the same claim; else all that was noted from
its source about the kind, its genus or its group; else all that was noted from its source. In the last two
cases the test can tell no more than that the source was read at all. A difference is a fault of the table,
not of the list.
"""

import csv
from collections import Counter, defaultdict
from functools import cache
from pathlib import Path

import pytest
from shipped import rows

import idkey
from idkey.display import text
from idkey.table.fields import CLASSES
from idkey.table.schema import YOUNG

FALLS = "falls"
# A length in care.csv is that of the trait, in whole millimetres.
SAME_FIGURE = {"adult_length_mm": "adult_size"}
NOWHERE = {"common practice": 72, "memory": 65}
FAR = {"read": 19, "secondary": 86}


@cache
def noted():
    """Return all rows of the list."""
    with (Path(__file__).parent / "facts_packs.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@cache
def noted_by(*columns):
    """Return the claims of the list by these columns, without those that fall."""
    found = defaultdict(list)
    for row in noted():
        if row["class"] != FALLS:
            found[tuple(row[c] for c in columns)].append(row)
    return found


@cache
def kinds():
    return {row["id"]: row for row in rows("taxa.csv")}


def subject(claim):
    return claim["taxon"] or claim["genus"] or claim["care_group"]


def subjects(claim):
    """Return what a claim can be noted under: a kind and its genus; a genus or a group, and its kinds."""
    about = subject(claim)
    if claim["taxon"]:
        return {about, kinds()[about]["genus"]}
    own = {i: k["genus"] for i, k in kinds().items() if about in (k["genus"], k["careGroup"])}
    return {about, *own, *(own.values() if claim["care_group"] else ())}


def nearest(claim):
    """Return how near the list comes to a claim, and what it says there."""
    about, source = subjects(claim), claim["source"]
    name = claim["attribute"].removesuffix(YOUNG)
    for attribute in (claim["attribute"], name, SAME_FIGURE.get(name, name)):
        found = [r for a in about for r in noted_by("about", "attribute", "source")[a, attribute, source]]
        equal = [r for r in found if r["value"] == claim["value"]]
        # Without a source a claim is the same only where it says the same.
        if same := equal or (found if source else []):
            return "claim", same
    if source:
        if found := [r for a in about for r in noted_by("about", "source")[a, source]]:
            return "kind", found
        if found := noted_by("source")[source,]:
            return "source", found
    return "nowhere", []


def test_the_list_is_what_it_says():
    assert {row["class"] for row in noted()} == {*CLASSES, FALLS}
    assert len({tuple(row.values()) for row in noted()}) == len(noted())
    assert len(noted()) > 2000
    assert {r["source"] for r in noted()} - {""} <= {e["source"] for e in rows("evidence.csv")}
    assert CLASSES == ("read", "secondary", "common practice", "memory")  # the strongest first


def test_no_class_is_raised():
    rank = {name: at for at, name in enumerate(CLASSES)}
    raised = []
    for claim in rows("evidence.csv"):
        _, given = nearest(claim)
        if given and rank[claim["class"]] < min(rank[r["class"]] for r in given):
            raised.append((subject(claim), claim["attribute"], claim["value"], claim["class"], given[0]))
    assert raised == []


def test_a_claim_with_a_source_is_noted_from_that_source():
    """How near the list comes is pinned, so that a claim which came from nowhere is seen."""
    far = Counter((nearest(claim)[0], claim["class"]) for claim in rows("evidence.csv"))
    # What stands nowhere in the list has no source: house targets and rules of the trade, and what rests on
    # memory, which the list names in other words or not at all.
    assert {name: n for (how, name), n in far.items() if how == "nowhere"} == NOWHERE
    # Care that is said of all suckermouths, or of a fish that is no kind of the table, and of its group here.
    assert {name: n for (how, name), n in far.items() if how == "source"} == FAR


def test_no_claim_that_was_found_wrong_is_in_the_table():
    fallen = [
        tuple(r[c] for c in ("about", "attribute", "value", "source")) for r in noted() if r["class"] == FALLS
    ]
    here = {(subject(c), c["attribute"], c["value"], c["source"]) for c in rows("evidence.csv")}
    assert len(fallen) >= 50
    assert [f for f in fallen if f in here] == []


# -- what no source says -------------------------------------------------------------------------------------

SPOTS = (
    "spot_size",
    "spot_vs_nostril",
    "spot_vs_pupil",
    "head_spots",
    "spot_density",
    "spots_in_row",
    "spot_colour",
)
# A shape that a source gives of the whole genus; all others are given of a kind.
SHAPES_OF_A_GENUS = {
    ("Leporacanthicus", "snout_shape"): "WIKIPEDIA_LEP",  # genus page: narrow pointed head
    ("Pseudolithoxus", "body_depth"): "COLLINS2015",  # identification note
}
# Counts that a source gives of the whole genus.
COUNTS_OF_A_GENUS = {
    ("Leporacanthicus", "teeth_upper"): "WIKIPEDIA_LEP",  # genus page
    ("Spectracanthicus", "teeth_lower"): "CHAMON2014",  # diagnoses, four of its five kinds
    ("Spectracanthicus", "teeth_upper"): "CHAMON2014",
    ("Pseudancistrus", "teeth_lower"): "ARMBRUSTER2004Z",  # genus description, p. 6-8
    ("Pseudancistrus", "teeth_upper"): "ARMBRUSTER2004Z",
    ("Lasiancistrus", "teeth_lower"): "ARMBRUSTER2005L",  # genus diagnosis
    ("Lasiancistrus", "teeth_upper"): "ARMBRUSTER2005L",
}
# The bellies and cheeks of these were looked for and not found, and their relatives differ among themselves.
BELLIES = (
    *("hemiancistrus_guahiborum", "hemiancistrus_l128", "hemiancistrus_subviridis"),
    *("baryancistrus_beggini", "baryancistrus_l142", "scobinancistrus_raonii", "hypostomus_multidens"),
    *("panaqolus_orcesi", "panaqolus_pantostiktos", "panaqolus_claustellifer"),
)
BLANK = [
    *((taxon, "belly_plates") for taxon in BELLIES),
    ("spectracanthicus_immaculatus", "cheek_spines"),
    ("chaetostoma_formosae", "adipose_fin"),  # CHAMON2016 says absent, SALCEDO2015 describes one
    ("chaetostoma_spondylus", "adipose_fin"),
    ("hopliancistrus_sp", "pattern"),
]


@pytest.mark.parametrize(("taxon", "trait"), BLANK)
def test_a_cell_that_no_source_fills_is_blank(shipped, taxon, trait):
    assert shipped.cell(taxon, trait) is None


def said_of_a_genus(*traits):
    """Return genus and trait of every claim about a genus, with its sources, and the kinds it is lent to."""
    found = defaultdict(set)
    for claim in rows("evidence.csv"):
        if claim["scope"] == "genus" and claim["attribute"].removesuffix(YOUNG) in traits:
            found[claim["genus"] or kinds()[claim["taxon"]]["genus"], claim["attribute"]].add(claim["source"])
    return found


def test_shapes_are_not_lent_by_a_genus_unless_its_source_says_so():
    lent = said_of_a_genus("dorsal_height", "body_depth", "snout_shape")
    assert lent == {place: {source} for place, source in SHAPES_OF_A_GENUS.items()}


def test_tooth_counts_are_not_lent_by_a_genus_unless_its_source_says_so():
    lent = said_of_a_genus("teeth_lower", "teeth_upper")
    assert {place: sources - {""} for place, sources in lent.items()} == {
        place: {source} for place, source in COUNTS_OF_A_GENUS.items()
    }


def test_spots_are_said_of_a_kind_only():
    assert said_of_a_genus(*SPOTS, "fin_spots", "belly_spots") == {}


def test_pattern_tail_and_size_are_not_taken_from_a_congener():
    taken = {c["attribute"] for c in rows("evidence.csv") if "inferred from congeners" in c["note"]}
    assert taken
    assert taken.isdisjoint({*SPOTS, "pattern", "tail_fork", "adult_size", "fin_edging"})


def test_there_is_no_tank_volume_for_a_fish_of_600_mm(shipped):
    care = idkey.care_for(shipped, "pseudacanthicus_major")
    assert "tank volume" in [line for line in text(care).splitlines() if line.startswith("Not known")][0]
