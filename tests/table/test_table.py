"""The table: extended without being changed, written out as it was read, and never changed in place."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from idkey.errors import IdkeyError, TableError, UnknownName
from idkey.table.schema import NOT_APPLICABLE, Range, States, Trait, cell_text
from idkey.table.table import Source, TraitTable

COLOUR = Trait("belly_colour", "nominal", question="Colour?", states=("white", "black"))


def small() -> TraitTable:
    columns = {"tail": ["straight|forked", "forked"], "rays": ["7..8", "-"], "tail_young": ["straight", ""]}
    frame = pd.DataFrame({"kind": ["a", "b"], **columns})
    return TraitTable.from_frame(frame, taxon="kind", kinds={"rays": "measure"})


def state(table: TraitTable) -> str:
    """All that a table holds, as text."""
    frames = [frame.to_csv() for frame in (table.taxa, table.care, table.evidence)]
    return repr((table.traits, dict(table.cells), frames, table.name))


def places(error: pytest.ExceptionInfo[TableError]) -> list[tuple[str, str]]:
    for problem in error.value.problems:
        assert len(str(problem).splitlines()) == 1
    return [(p.column, p.value) for p in error.value.problems]


# -- to_frame --------------------------------------------------------------------------------------------


def test_a_table_from_a_frame_with_one_kind_more_as_a_frame():
    new = small().with_taxon("c", tail="straight", rays=9)
    assert new.cell("c", "rays") == Range(9, 9)
    frame = new.to_frame()
    assert list(frame.index) == ["a", "b", "c"]
    assert frame.to_dict("list") == {
        "tail": ["forked|straight", "forked", "straight"],
        "tail_young": ["straight", "", ""],
        "rays": ["7..8", "-", "9..9"],
    }
    assert all(pd.api.types.is_string_dtype(frame[c]) for c in frame)


def test_every_cell_that_counts_is_its_own_or_that_of_its_genus_or_does_not_apply(shipped):
    frame, own = shipped.to_frame(), shipped.to_frame(own=True)
    seen = set()
    for taxon in shipped.ids:
        genus = shipped.genera.get(shipped.taxa.loc[taxon, "genus"], {})
        for column in shipped.cells:
            text, kept, rests = frame.loc[taxon, column], own.loc[taxon, column], shipped.basis[column]
            rest = rests[shipped.position(taxon)]
            if rest == "genus":
                assert (kept, text) == ("", cell_text(shipped.trait_of(column), genus[column]))
            elif rest:
                assert (kept, text, rest) == ("", "-", shipped.trait(column).applies_when[0])
            else:
                assert text == kept.removeprefix("?")
            seen.add(rest)
    assert seen == {"", "genus", "pattern"}


# -- with_taxon ------------------------------------------------------------------------------------------


def test_with_taxon_returns_a_new_table(shipped):
    before = state(shipped)
    names = {"scientificName": "Hypancistrus sp.", "tradeCode": "L999", "careGroup": "hypancistrus"}
    given = {
        "adult_size": ("3 1/2 in", Range(0, 89)),
        "tail_fork": ("concave:0.8|forked:0.2", States(("concave", "forked"), (0.8, 0.2))),
        "dorsal_rays": ("7 to 8", Range(7, 8)),
        "fin_spots": ("?", None),
        "belly_spots": (True, States(("yes",), (1.0,))),
        "spot_colour": ("-", NOT_APPLICABLE),
        "belly_plates_young": ("naked", States(("naked",), (1.0,))),
        "head_spots": (None, None),
    }
    values = {column: value for column, (value, _) in given.items()}
    new = shipped.with_taxon("hypancistrus_new", commonness="rare", **names, **values)
    assert state(shipped) == before
    assert new.ids == (*shipped.ids, "hypancistrus_new")
    assert {column: new.cell("hypancistrus_new", column) for column in given} == {
        column: cell for column, (_, cell) in given.items()
    }
    # Left out: not known, or what holds for the genus.
    assert new.cell("hypancistrus_new", "eye_size") is None
    assert new.cell("hypancistrus_new", "mouth_shape") == States(("small",), (1.0,))
    assert new.label("hypancistrus_new") == "Hypancistrus sp. (L999)"
    assert new.taxa.loc["hypancistrus_new", "vernacularName"] == ""
    # All that was there is there still.
    pd.testing.assert_frame_equal(new.to_frame().iloc[:-1], shipped.to_frame())
    assert new.traits == shipped.traits
    assert dict(new.sources) == dict(shipped.sources)


def test_with_taxon_may_leave_all_traits_blank_or_add_the_first_young_cell(shipped):
    new = shipped.with_taxon("mystery", scientificName="Mystery sp.")
    assert all(new.cell("mystery", column) is None for column in new.cells)
    assert (new.label("mystery"), new.taxa.loc["mystery", "genus"]) == ("Mystery sp.", "Mystery")
    assert not shipped.differs_when_young("mouth_shape")
    new = shipped.with_taxon("mystery", scientificName="Mystery sp.", mouth_shape_young="small")
    assert new.differs_when_young("mouth_shape")
    assert new.cell("mystery", "mouth_shape_young") == States(("small",), (1.0,))
    assert new.cell(shipped.ids[0], "mouth_shape_young") is None
    assert not shipped.differs_when_young("mouth_shape")
    # A column for young fish that nothing is written in is no column.
    blank = replace(shipped, own_cells={**shipped.own_cells, "mouth_shape_young": (None,) * len(shipped)})
    assert not blank.differs_when_young("mouth_shape")


def test_with_taxon_lists_everything_that_is_wrong(shipped):
    before = state(shipped)
    wrong = {
        "tail_fork": "forkd",
        "dorsal_rays": "9..7",
        "adult_size": "0",
        "colour": "red",
        "belly_plates_young": "plate",
        "commonness": "weekly",
        "careGroup": "hypancistrs",
        "nameAccordingTo": "ARM2003",
    }
    with pytest.raises(TableError) as error:
        shipped.with_taxon("hypancistrus_new", **wrong)
    assert places(error) == [("scientificName", ""), *wrong.items()]
    text = str(error.value)
    assert "traits, row new (hypancistrus_new), tail_fork: 'forkd': " in text
    assert "did you mean 'forked'?" in text
    assert "did you mean 'hypancistrus'?" in text
    with pytest.raises(TableError, match="'hypancistrus_zebra': a taxon of this id is there") as error:
        shipped.with_taxon("hypancistrus_zebra", **wrong)
    assert places(error) == [("id", "hypancistrus_zebra"), *wrong.items()]
    assert state(shipped) == before


def test_with_taxon_needs_a_name(shipped):
    for table in (shipped, small()):
        for name in ("", " "):
            with pytest.raises(TableError, match="an id is lower-case letters"):
                table.with_taxon(name)
        with pytest.raises(IdkeyError, match="with_taxon: taxon: NoneType: give a text"):
            table.with_taxon(None)


def test_a_state_with_a_line_break_does_not_break_the_message():
    frame = pd.DataFrame({"kind": ["a", "b"], "x": ["one\ntwo", "three"]})
    with pytest.raises(TableError) as error:
        TraitTable.from_frame(frame, taxon="kind").with_taxon("c", x="four\nfive")
    assert places(error) == [("x", "four\nfive")]


# -- with_trait ------------------------------------------------------------------------------------------


def test_with_trait_returns_a_new_table(shipped):
    before, (a, b, _, c, d) = state(shipped), shipped.ids[:5]
    new = shipped.with_trait(COLOUR, {a: "white", c: "white|black", d: "-"})
    assert state(shipped) == before
    assert new.traits == (*shipped.traits, COLOUR)
    cells = [States(("white",), (1.0,)), None, States(("white", "black"), (0.5, 0.5)), NOT_APPLICABLE]
    assert [new.cell(taxon, "belly_colour") for taxon in (a, b, c, d)] == cells
    with pytest.raises(UnknownName):
        shipped.trait("belly_colour")
    pd.testing.assert_frame_equal(new.to_frame().drop(columns="belly_colour"), shipped.to_frame())


def test_with_trait_takes_values_as_python_has_them_or_none():
    new = small().with_trait(COLOUR)
    assert new.cells["belly_colour"] == (None, None)
    assert not new.column("belly_colour").known.any()
    new = small().with_trait(Trait("n", "measure"), {"a": 3, "b": None})
    assert new.cells["n"] == (Range(3, 3), None)
    new = small().with_trait(Trait("n", "nominal", states=("yes", "no")), {"a": True, "b": np.False_})
    assert new.cells["n"] == (States(("yes",), (1.0,)), States(("no",), (1.0,)))


def test_with_trait_lists_everything_that_is_wrong():
    table = small()
    before = state(table)
    twice = Trait("tail", "ordnal", states=("p", "p", "x|y"), words=("one",))  # type: ignore[arg-type]
    with pytest.raises(TableError) as error:
        table.with_trait(twice, {"a": "q", "z": "p"})
    wrong = "tail", "ordnal", "p, p, x|y", "one", "x|y", "z", "q"
    assert places(error) == [("tail", value) for value in wrong]
    assert state(table) == before


def test_with_trait_refuses_names_that_are_taken_and_kinds_and_states_that_cannot_be(shipped):
    for name in ("tail_fork", "genus"):
        with pytest.raises(TableError, match="there already"):
            shipped.with_trait(Trait(name, "measure"))
    for name in ("tail_fork", "mouth_shape"):
        with pytest.raises(TableError, match=f"is kept for what a young fish shows of {name}"):
            shipped.with_trait(Trait(f"{name}_young", "measure"))
    with pytest.raises(TableError, match="did you mean 'hypancistrus_zebra'"):
        shipped.with_trait(COLOUR, {"hypancistrus_zebr": "white"})
    with pytest.raises(TableError, match=r"'pink'.*white, black(?s:.)*'grey'"):
        shipped.with_trait(COLOUR, {"L46": "pink", "L136": "grey"})
    for state_name in ("", "-", "a|b", " a", "a "):
        with pytest.raises(TableError, match="a state is not blank"):
            small().with_trait(Trait("n", "nominal", states=("good", state_name)))


# -- immutability ----------------------------------------------------------------------------------------


def test_nothing_of_a_table_can_be_changed(shipped):
    for name in ("traits", "taxa", "cells", "care", "evidence", "sources", "name"):
        with pytest.raises(AttributeError):
            setattr(shipped, name, None)
    with pytest.raises(TypeError):
        shipped.cells["tail_fork"] = ()
    with pytest.raises(TypeError):
        shipped.sources["X"] = Source("X", "X", "X")
    assert all(isinstance(cells, tuple) for cells in shipped.cells.values())
    for trait in shipped.trait_ids:
        column = shipped.column(trait)
        for array in (column.known, column.applies, column.shares, column.low, column.high):
            with pytest.raises(ValueError, match="read-only"):
                array[...] = 0
        with pytest.raises(AttributeError):
            column.known = None
    frame = shipped.to_frame()
    frame.iloc[:, :] = "changed"
    assert shipped.to_frame().iloc[0, 0] != "changed"


def test_tables_share_no_frame_and_no_mapping_with_one_another_or_with_their_maker():
    frame = pd.DataFrame({"tradeCode": ["L1", "L2"]}, index=pd.Index(["a", "b"], name="id"))
    cells = {"belly_colour": (None, None)}
    one = TraitTable(traits=(COLOUR,), taxa=frame, own_cells=cells)
    frame.loc["a", "tradeCode"] = "changed"
    assert one.taxa.loc["a", "tradeCode"] == "L1"
    cells["belly_colour"] = (NOT_APPLICABLE, None)
    assert one.cell("a", "belly_colour") is None
    for other in (one.with_trait(Trait("n", "measure")), one.with_taxon("c")):
        other.taxa.loc["a", "tradeCode"] = "changed"
        assert one.taxa.loc["a", "tradeCode"] == "L1"


# -- always valid ----------------------------------------------------------------------------------------


def test_a_table_made_by_hand_is_checked():
    with pytest.raises(TableError) as error:
        TraitTable(traits=(), taxa=pd.DataFrame(), own_cells={})
    assert [p.right for p in error.value.problems] == [
        "no trait; a table needs at least one",
        "no taxon; a table needs at least one",
    ]
    taxa, young = pd.DataFrame(index=pd.Index(["a", "b", "a"])), "belly_colour_young"
    with pytest.raises(TableError) as error:
        TraitTable(traits=(COLOUR, COLOUR, Trait(young, "measure")), taxa=taxa, own_cells={})
    assert places(error) == [("belly_colour", "belly_colour"), (young, young), ("id", "a")]
    assert error.value.problems[-1].row == "4"


# -- looking things up -----------------------------------------------------------------------------------


def test_an_unknown_trait_comes_with_the_nearest(shipped):
    for call, *kind in (shipped.trait,), (shipped.column,), (shipped.cell, "hypancistrus_zebra"):
        with pytest.raises(UnknownName, match="did you mean 'tail_fork'"):
            call(*kind, "tail_forc")


def test_columns_agree_with_cells(shipped):
    for trait in shipped.traits:
        column, cells = shipped.column(trait.id), shipped.cells[trait.id]
        nothing, nan = dict.fromkeys(trait.states, 0.0), (np.nan, np.nan)
        stated = [dict(zip(c.names, c.shares, strict=True)) if isinstance(c, States) else {} for c in cells]
        assert column.known.tolist() == [isinstance(cell, (States, Range)) for cell in cells]
        assert column.applies.tolist() == [cell != NOT_APPLICABLE for cell in cells]
        assert column.shares.tolist() == [[*(nothing | shares).values()] for shares in stated]
        ends = [(c.low, c.high) if isinstance(c, Range) else nan for c in cells]
        np.testing.assert_array_equal(np.c_[column.low, column.high], ends)


def test_young_column_falls_back_to_the_row():
    column = small().column("tail", young=True)
    assert column.shares.tolist() == [[0.0, 1.0], [1.0, 0.0]]
    rays = small().column("rays", young=True)
    assert (rays.low[0], rays.high[0], rays.applies.tolist()) == (7, 8, [True, False])


def test_label_claims_length_and_repr(shipped):
    assert shipped.label("hypancistrus_cf_inspector_l102") == "Hypancistrus cf. inspector (L102)"
    assert shipped.label("hypancistrus_zebra") == "Hypancistrus zebra (L046, L098)"
    assert shipped.label("hypancistrus_inspector") == "Hypancistrus inspector"
    assert small().label("a") == "a"
    claimed = shipped.claims("hypancistrus_inspector", "fin_edging")[["taxon", "attribute"]]
    assert {*claimed.itertuples(index=False, name=None)} == {("hypancistrus_inspector", "fin_edging")}
    assert not len(small().claims("a", "tail"))
    assert len(small()) == 2
    assert repr(small()) == "TraitTable: 2 taxa, 2 traits, 4 of 4 cells filled"
    assert "table" in shipped._repr_html_()


# -- any table -------------------------------------------------------------------------------------------

texts = st.sampled_from(["white", "black", "white|black", "white:0.25|black:0.75", "-", ""])


@given(texts, texts, texts)
def test_what_is_added_in_any_order_reads_back_as_written(a, b, c):
    one = small().with_trait(COLOUR, {"a": a, "b": b}).with_taxon("c", belly_colour=c)
    other = small().with_taxon("c").with_trait(COLOUR, {"a": a, "b": b, "c": c})
    assert (dict(one.cells), one.ids) == (dict(other.cells), other.ids)
    assert one.to_frame()["belly_colour"].to_dict() == {"a": a, "b": b, "c": c}
