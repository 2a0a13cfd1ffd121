"""Cells held against their genus and their source. The tables are invented."""

from dataclasses import replace

import pandas as pd
import pytest
from hypothesis import given
from shipped import TABLE

from idkey.model.suspect_cells import doubts
from idkey.table.schema import Range, Trait, cell_text, parse_cell

from .tables import kinds_of, nominal, of_genera, table_of, tables, with_claims

TAIL = nominal("tail", ("forked", "straight", "round"), label="Tail")
RAYS = Trait(id="rays", kind="measure", label="Rays", unit="count", spread=1, spread_is_relative=False)
SIZE = Trait(id="size", kind="ceiling", label="Length", unit="mm")
EVIL = "<script>alert(1)</script>"
KNOWN = table_of([TAIL], {"k": "forked"})


def genus(cells, trait=TAIL, column="tail", name="Testus"):
    """One genus whose kinds have these cells in one column, ``.`` for a blank."""
    rows = {f"k{i}": {column: "" if cell == "." else cell} for i, cell in enumerate(cells.split())}
    return of_genera(table_of([trait], rows), name)


def test_the_only_one_of_an_agreeing_genus_is_in_doubt():
    # Whoever shows a doubt escapes it; here markup must come through whole.
    (found,) = doubts(genus("forked forked forked|round straight", replace(TAIL, label=EVIL), name=EVIL))
    assert (found.taxon, found.column, found.against) == ("k3", "tail", "genus")
    told = "the table has straight, which no other"
    assert found.text == f"{EVIL} of k3: {told} {EVIL} has; 3 of the 3 known have forked"
    (found,) = doubts(genus("7 7 7 9", RAYS, "rays"))
    assert found.text == "Rays of k3: the table has 9..9, far from the 7 of the 3 other Testus known"
    # young fish are held against young fish
    (found,) = doubts(genus("forked forked forked straight", column="tail_young"))
    assert (found.column, found.text[:16]) == ("tail_young", "Tail of young k3")


@pytest.mark.parametrize(
    ("trait", "cells", "doubted"),
    [
        (TAIL, "forked forked . straight", []),  # two others are too few
        (TAIL, "forked forked round straight", []),  # the others do not agree
        (TAIL, "forked forked forked|straight straight", []),  # one of them has it too
        (TAIL, "forked forked forked straight|forked", []),  # it shares one state
        (TAIL, "forked forked forked -", []),
        (TAIL, "forked forked forked .", []),
        (TAIL, "forked " * 9 + "round straight", ["k9", "k10"]),  # one does not hide another
        # the others span 8 to 12, which is 4 wide
        *((RAYS, f"8..10 9..11 10..12 {cell}", ["k3"]) for cell in ("20..22", "17", "3")),
        *((RAYS, f"8..10 9..11 10..12 {cell}", []) for cell in ("13..14", "16", "4", "8..40")),
        (RAYS, "7 7 7 8", []),  # without a width there is room for a slip of measuring
        (SIZE, "50 60 70 900", []),  # a genus has small and large kinds
    ],
)
def test_cells_against_the_genus(trait, cells, doubted):
    assert [d.taxon for d in doubts(genus(cells, trait, trait.id))] == doubted
    assert doubts(genus(cells, trait, trait.id, name="")) == ()  # no genus is no genus


def test_what_is_stated_of_the_genus_counts_once_however_many_take_it_over():
    table = replace(genus(". . . . straight"), genera={"Testus": {"tail": parse_cell(TAIL, "forked")}})
    (found,) = doubts(table)
    assert found.text == "Tail of k4: the table has straight, genera.csv has forked for Testus"
    assert doubts(replace(table, genera={"Testus": {"tail": parse_cell(TAIL, "forked|straight")}})) == ()


@pytest.mark.parametrize(
    ("trait", "cell", "claim", "doubted"),
    [
        (TAIL, "forked", "straight", True),
        (TAIL, "forked", "forked|straight", True),
        (TAIL, "forked|straight", "straight", False),
        (TAIL, "forked", "deeply cut", False),
        (TAIL, "-", "forked", True),
        (TAIL, "forked", "-", True),
        (TAIL, "", "forked", False),
        (TAIL, "forked", "", False),
        (RAYS, "8..10", "9", False),
        (RAYS, "8..10", "8..11", True),
        (RAYS, "8..10", "about 9", False),
        (SIZE, "120", "150", True),
        (SIZE, "120", "90", False),
    ],
)
def test_a_claim_that_is_not_within_the_cell(trait, cell, claim, doubted):
    table = table_of([trait], {"k": {trait.id: cell}})
    # Another claim says what the cell says, so that only this one can be in doubt.
    found = doubts(with_claims(table, ("k", trait.id, claim, {}), ("k", trait.id, cell, {})))
    assert len(found) == doubted
    for doubt in found:
        assert doubt.against == "source"
        held = table.to_frame().at["k", trait.id]
        assert doubt.text == f"{trait.label} of k: the table has {held}, BOOK (p. 3) has {claim}"


def test_claims_about_the_genus_or_another_column_are_left_alone_and_one_without_source_says_so():
    of_genus = ("k", "tail", "straight", {"scope": "genus"})
    table = with_claims(KNOWN, of_genus, ("k", "diet", "straight", {}), ("", "tail", "x", {}))
    assert doubts(table) == ()
    (found,) = doubts(with_claims(KNOWN, ("k", "tail", "round", {"source": "", "locator": ""})))
    assert "a claim without source has round" in found.text


@given(tables())
def test_a_claim_that_says_what_the_cell_says_is_never_a_doubt(table):
    said = [
        (taxon, column, cell_text(table.trait(column.removesuffix("_young")), table.cell(taxon, column)), {})
        for column in table.cells
        for taxon in table.ids
    ]
    assert [d for d in doubts(with_claims(table, *said)) if d.against == "source"] == []


def test_only_the_kinds_asked_for_in_the_order_of_the_table():
    table = genus("straight forked forked forked forked forked round")
    assert [d.taxon for d in doubts(table)] == ["k0", "k6"]
    assert [d.taxon for d in doubts(table, taxa=["k6", "k1"])] == ["k6"]
    assert doubts(table, taxa=[]) == ()
    # a table without genus or evidence has none
    assert doubts(kinds_of(pd.DataFrame({"tail": ["forked"] * 3 + ["straight"]}))) == ()


@pytest.mark.parametrize(
    ("column", "value", "text"),
    [
        ("careGroup", "", "no care sheet; the other Hypancistrus have hypancistrus"),
        ("careGroup", "acanthicus", "acanthicus, which no other Hypancistrus has"),
        ("tradeCode", "L998|l201", "of invented: L201 is also that of hypancistrus_l201"),
        ("adult_size", 12, "12 mm, less than half of all others"),  # 12 cm was meant
        ("adult_size", 40, None),
        ("adult_size", 120, None),
    ],
)
def test_a_slip_in_a_new_kind(column, value, text):
    cells = {"scientificName": "Hypancistrus sp.", "careGroup": "hypancistrus", column: value}
    table = TABLE.with_taxon("invented", **cells)
    found = [d for d in doubts(table, ["invented"]) if d.against == "table"]
    assert [d.column for d in found] == [column] * (text is not None)
    assert all(text in d.text for d in found)


def test_the_shipped_table_holds_to_its_sources_and_has_two_codes_for_two_kinds_each_as_the_trade_does():
    found = {(d.taxon, d.column) for d in doubts(TABLE) if d.against != "genus"}
    # L155: Chamon 2016 has it under A. hystrix, the trade under A. adonis.
    shared = {"L200": "baryancistrus_demantoides hemiancistrus_subviridis"}
    shared["L155"] = "acanthicus_adonis acanthicus_hystrix"
    assert found == {(kind, "tradeCode") for kinds in shared.values() for kind in kinds.split()}
    assert all(code in TABLE.taxa.at[kind, "tradeCode"] for code in shared for kind in shared[code].split())


def test_a_cell_changed_by_hand_says_more_than_its_claims():
    zebra, sizes = "hypancistrus_zebra", list(TABLE.cells["adult_size"])
    sizes[TABLE.position(zebra)] = Range(0.0, 125.0)
    changed = replace(TABLE, own_cells={**TABLE.cells, "adult_size": tuple(sizes)})
    (found,) = [d for d in doubts(changed, [zebra]) if d.column == "adult_size"]
    assert "has 125, but its claims have only 64, 80, 100, 92" in found.text
    through = TABLE.with_cell(zebra, "adult_size", 125)
    assert not [d for d in doubts(through, [zebra]) if d.column == "adult_size"]
