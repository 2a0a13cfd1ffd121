"""A table with more in it: what is accepted, what is refused, and what stands behind each cell.

The kinds added here are invented.
"""

from dataclasses import replace

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shipped import TABLE

from idkey.errors import TableError, UnknownName
from idkey.table.claims import UNSOURCED, Claim
from idkey.table.schema import Trait, cell_text
from idkey.table.table import TraitTable

ZEBRA = "hypancistrus_zebra"
NEW = {"scientificName": "Hypancistrus sp.", "careGroup": "hypancistrus", "tail_fork": "forked"}
UNBACKED = ("", "memory", UNSOURCED)
BOOK = "@book{INVENTED1,\n  title = {An invented book},\n  year = {2026},\n}\n"


def claims(table: TraitTable, taxon: str, attribute: str) -> list[tuple[str, str, str, str]]:
    found = table.claims(taxon, attribute)
    return list(zip(found["value"], found["source"], found["class"], found["note"], strict=True))


def right(error: pytest.ExceptionInfo) -> list[tuple[str, str]]:
    return [(p.column, p.value) for p in error.value.problems]


# -- kinds -----------------------------------------------------------------------------------------------


def test_a_claim_names_its_source_and_a_cell_without_one_says_so():
    new = TABLE.with_taxon("invented", **NEW)
    assert claims(new, "invented", "tail_fork") == [("forked", *UNBACKED)]
    assert len(new.evidence) == len(TABLE.evidence) + 1
    new = TABLE.with_taxon("invented", claims={"tail_fork": Claim("ARM2002", "p. 3", "read")}, **NEW)
    row = new.claims("invented", "tail_fork").iloc[0][["source", "locator", "class", "scope", "note"]]
    assert row.tolist() == ["ARM2002", "p. 3", "read", "species", ""]
    new = TABLE.with_cell(ZEBRA, "tail_fork", "straight", source="ARM2002", locator="fig. 1")
    assert claims(new, ZEBRA, "tail_fork")[-1] == ("straight", "ARM2002", "secondary", "")


def test_a_kind_needs_its_name_and_gets_its_genus():
    with pytest.raises(TableError, match="name the kind"):
        TABLE.with_taxon("invented", tail_fork="forked")
    assert TABLE.with_taxon("invented", **NEW).taxa.loc["invented", "genus"] == "Hypancistrus"


def test_everything_wrong_in_a_claim_is_listed():
    claims = {"tail_fork": Claim("NOBODY", evidence_class="sure", scope="world"), "pattern": Claim("ARM2002")}
    claims |= {"genus": Claim("ARM2002"), "mouth_shape": Claim(evidence_class="read")}
    with pytest.raises(TableError, match="nothing was changed") as error:
        TABLE.with_taxon("invented", claims=claims, mouth_shape="small", **NEW)
    wrong = [("mouth_shape", "read"), *(("tail_fork", value) for value in ("sure", "world", "NOBODY"))]
    assert right(error) == [*wrong, ("pattern", "ARM2002"), ("genus", "ARM2002")]


def test_many_rows_at_once_are_all_or_nothing():
    ids = ("Hyp", "1a", "a b", "a-b", "é")
    with pytest.raises(TableError, match="an id is lower-case letters") as error:
        TABLE.with_rows({"invented": NEW, ZEBRA: {"tail_fork": "forkd"}, **dict.fromkeys(ids, NEW)})
    assert right(error) == [("tail_fork", "forkd"), *(("id", name) for name in ids)]
    new = TABLE.with_rows({"invented": NEW, ZEBRA: {"tail_fork": "straight"}})
    assert new.ids == (*TABLE.ids, "invented")
    assert new.to_frame().loc[ZEBRA, "tail_fork"] == "straight"


# -- cells -----------------------------------------------------------------------------------------------


def test_a_changed_cell_keeps_its_claims_and_says_that_the_new_value_has_no_source():
    taxon, before = "hypancistrus_l201", claims(TABLE, "hypancistrus_l201", "tail_fork")
    assert before
    new = TABLE.with_cell(taxon, "tail_fork", "forked")
    assert claims(new, taxon, "tail_fork") == [*before, ("forked", *UNBACKED)]
    again = new.with_cell(taxon, "tail_fork", "concave")
    assert claims(again, taxon, "tail_fork") == [*before, ("concave", *UNBACKED)]
    sourced = again.with_evidence(taxon, "tail_fork", source="ARM2002", locator="p. 1", evidence_class="read")
    assert claims(sourced, taxon, "tail_fork") == [*before, ("concave", "ARM2002", "read", "")]


# Of its own, taken over from its genus, and not applicable to its pattern.
@pytest.mark.parametrize("column", ["adult_size", "tail_fork", "spot_size"])
def test_a_cell_that_stays_as_it_is_gets_no_new_claim(column):
    text = TABLE.to_frame().loc[ZEBRA, column]
    assert text
    same = TABLE.with_cell(ZEBRA, column, text)
    pd.testing.assert_frame_equal(same.evidence, TABLE.evidence)
    assert same.own_cells == TABLE.own_cells


def test_a_cell_made_blank_loses_its_claims_and_says_what_its_genus_says():
    taxon, own = "hypancistrus_l201", len(TABLE.claims("hypancistrus_l201", "tail_fork"))
    blank, unknown = (TABLE.with_cell(taxon, "tail_fork", text) for text in ("", "?"))
    assert len(blank.evidence) == len(unknown.evidence) == len(TABLE.evidence) - own
    assert cell_text(TABLE.trait("tail_fork"), blank.cell(taxon, "tail_fork")) == "concave|forked"
    assert set(blank.claims(taxon, "tail_fork")["genus"]) == {"Hypancistrus"}
    assert unknown.cell(taxon, "tail_fork") is None
    assert not len(unknown.claims(taxon, "tail_fork"))
    assert unknown.to_frame(own=True).loc[taxon, "tail_fork"] == "?"


def test_a_kind_of_a_known_genus_is_known_at_once_and_another_genus_makes_it_another():
    new = TABLE.with_taxon("invented", scientificName="Hypancistrus sp.")
    known = {t: new.to_frame().loc["invented", t] for t in TABLE.trait_ids if new.cell("invented", t)}
    assert known["tooth_form"] == "larger_below"
    assert known == {t: cell_text(TABLE.trait(t), c) for t, c in TABLE.genera["Hypancistrus"].items()}
    assert len(new.evidence) == len(TABLE.evidence)
    moved = new.with_cell("invented", "genus", "Panaqolus")
    assert moved.to_frame().loc["invented", "tooth_form"] == "spoon"
    assert not any(moved.to_frame(own=True).loc["invented", t] for t in TABLE.trait_ids)
    plain = new.with_cell("invented", "pattern", "bars")
    assert plain.to_frame().loc["invented", "spot_size"] == "-"


def test_a_claim_may_stand_behind_a_cell_that_is_taken_over():
    claim = {"jaw_angle": Claim("ARM2002")}
    new = TABLE.with_taxon("invented", scientificName="Hypancistrus sp.", claims=claim)
    assert claims(new, "invented", "jaw_angle")[-1] == ("acute", "ARM2002", "secondary", "")
    assert "Hypancistrus" in set(new.claims("invented", "jaw_angle")["genus"])
    with pytest.raises(TableError, match="a claim for a blank cell"):
        TABLE.with_taxon("other", scientificName="Nogenus sp.", claims=claim)


def test_the_last_young_cell_takes_its_column_along():
    new = TABLE.with_cell(ZEBRA, "mouth_shape_young", "small")
    assert "mouth_shape_young" in new.cells
    assert "mouth_shape_young" not in new.with_cell(ZEBRA, "mouth_shape_young", None).cells


def test_names_can_be_changed_but_not_taken_away():
    new = TABLE.with_cell(ZEBRA, "tradeCode", "L46|L98")
    assert new.position(ZEBRA) == TABLE.position(ZEBRA)
    assert "L98" in new.label(ZEBRA)
    with pytest.raises(TableError, match="fill this cell"):
        TABLE.with_cell(ZEBRA, "genus", "")
    with pytest.raises(UnknownName, match=ZEBRA):
        TABLE.with_cell("hypancistrus_zebr", "tail_fork", "forked")


# -- claims and sources ----------------------------------------------------------------------------------


def test_a_claim_for_a_care_group_and_for_a_blank_cell():
    new = TABLE.with_evidence("hypancistrus", "ph", source="ARM2002", locator="p. 9", scope="group")
    row = new.evidence.iloc[-1][["taxon", "care_group", "attribute", "source", "value"]]
    ph = TABLE.care.set_index("care_group").loc["hypancistrus", "ph"].iloc[0]
    assert row.tolist() == ["", "hypancistrus", "ph", "ARM2002", ph]
    blank = next(t for t in TABLE.ids if TABLE.cell(t, "spot_vs_pupil") is None)
    for who, column, error, said in (
        (blank, "spot_vs_pupil", TableError, "a claim for a blank cell"),
        ("hypancistrus", "phh", UnknownName, "did you mean 'ph'"),
        ("nobody", "ph", UnknownName, "use a taxon id"),
    ):
        with pytest.raises(error, match=said):
            TABLE.with_evidence(who, column, source="ARM2002")


def test_a_source_is_added_and_then_named():
    new = TABLE.with_source(BOOK)
    assert new.sources["INVENTED1"].short == "An invented book 2026"
    named = new.with_evidence(ZEBRA, "tail_fork", source="INVENTED1")
    assert claims(named, ZEBRA, "tail_fork")[-1][1] == "INVENTED1"
    assert new.with_source(BOOK) is new
    assert len(named.with_evidence(ZEBRA, "tail_fork", source="INVENTED1").evidence) == len(named.evidence)
    with pytest.raises(TableError, match="stands for another source"):
        new.with_source(BOOK.replace("2026", "2027"))
    with pytest.raises(TableError):
        TABLE.with_source("no entry at all")


# -- traits ----------------------------------------------------------------------------------------------

GLOW = Trait("belly_glow", "nominal", question="Does the belly glow?", states=("yes", "no"), error=0.1)


def test_a_trait_is_added_with_cells_and_claims():
    new = TABLE.with_trait(GLOW, {ZEBRA: "yes", "hypancistrus_l260": "no"}, {ZEBRA: Claim("ARM2002")})
    assert claims(new, ZEBRA, "belly_glow") == [("yes", "ARM2002", "secondary", "")]
    assert claims(new, "hypancistrus_l260", "belly_glow") == [("no", *UNBACKED)]
    assert new.version.endswith(" with additions")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"question": ""}, "question in plain words"),
        ({"id": "Belly glow"}, "an id is lower-case"),
        ({"applies_when": ("no_such_trait", ("a",))}, "another trait"),
        ({"kind": "measure", "states": (), "words": ()}, "needs a unit"),
        ({"id": "flow"}, "column of this name is there already"),
        ({"id": "adult_length_mm"}, "column of this name is there already"),
    ],
)
def test_a_trait_that_no_file_could_hold_is_refused(change, said):
    with pytest.raises(TableError, match=said) as error:
        TABLE.with_trait(replace(GLOW, **change), {ZEBRA: "?", "nobody": "yes"}, {ZEBRA: Claim("NOBODY")})
    assert {"nobody", "NOBODY"} <= {problem.value for problem in error.value.problems}


# -- taking away -----------------------------------------------------------------------------------------


def test_a_kind_goes_with_its_claims_and_its_care():
    new = TABLE.without_taxon(ZEBRA)
    assert ZEBRA not in new.ids
    assert ZEBRA not in set(new.evidence["taxon"]) | set(new.care["taxon"])
    assert len(new) == len(TABLE) - 1
    with pytest.raises(UnknownName):
        new.without_taxon(ZEBRA)
    table = TraitTable.from_frame(pd.DataFrame({"kind": ["a"], "tail": ["forked"]}), taxon="kind")
    with pytest.raises(TableError, match="at least one"):
        table.without_taxon("a")


# -- what always holds -----------------------------------------------------------------------------------

CELLS = {
    "tail_fork": ["forked", "straight|concave", "-", ""],
    "adult_size": ["120", ""],
    "teeth_lower": ["5..9", "7", ""],
    "pattern_young": ["bars", ""],  # no kind of these has one: the column comes and goes with the cell
    "tradeCode": ["L999", ""],
}
CELLS = st.fixed_dictionaries({}, optional={c: st.sampled_from(texts) for c, texts in CELLS.items()})


FEW = TABLE.only([ZEBRA, "hypancistrus_l201", "hypancistrus_l260", "hypancistrus_l316"])
ABOUT = FEW.evidence["taxon"].isin(FEW.ids) | FEW.evidence["genus"].eq("Hypancistrus")
FEW = replace(FEW, evidence=FEW.evidence[ABOUT]).without_taxon("hypancistrus_l316")
"""Three kinds of the shipped table, with the claims on them and on their genus alone."""


def state(table: TraitTable) -> tuple:
    return table.to_frame(own=True).to_csv(), sorted(map(tuple, table.evidence.to_numpy().tolist()))


@settings(max_examples=25, deadline=None)
@given(cells=CELLS, seed=st.randoms())
def test_every_cell_is_backed_and_what_is_undone_or_done_in_another_order_comes_to_the_same(cells, seed):
    new = FEW.with_taxon("invented", scientificName="Hypancistrus sp.", **cells)
    row = new.to_frame(own=True).loc["invented"]
    for column, text in cells.items():
        assert row.get(column, "") == ("7..7" if (column, text) == ("teeth_lower", "7") else text)
    backed = set(zip(new.claims_by_kind["taxon"], new.claims_by_kind["attribute"], strict=True))
    for column in new.cells:
        for taxon in new.ids:
            assert ((taxon, column) in backed) == (new.cell(taxon, column) is not None)
    assert state(new.without_taxon("invented")) == state(FEW)
    one_by_one, order = FEW, list(cells.items())
    seed.shuffle(order)
    for column, text in order:
        one_by_one = one_by_one.with_cell(ZEBRA, column, text)
    assert state(one_by_one) == state(FEW.with_rows({ZEBRA: cells}))


def test_what_somebody_wrote_beside_a_claim_is_not_taken_for_a_placeholder():
    first = TABLE.with_evidence(ZEBRA, "adult_size", value="81 mm", locator="tank book, p. 3")
    second = first.with_evidence(ZEBRA, "adult_size", locator="second book, p. 9")
    third = second.with_cell(ZEBRA, "adult_size", 101)
    locators = list(third.claims(ZEBRA, "adult_size")["locator"])
    assert {"tank book, p. 3", "second book, p. 9"} <= set(locators)
