"""Any pandas table: which kind a column is, how rows of one taxon are pooled, and what is refused."""

import math
import time

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from idkey.errors import TableError
from idkey.table.schema import NOT_APPLICABLE, Range, States
from idkey.table.table import TraitTable


def table(columns: dict, **rest) -> TraitTable:
    """A table whose taxa are a, b, c ... unless they are given."""
    n = len(next(iter(columns.values())))
    return TraitTable.from_frame(pd.DataFrame({"kind": list("abcdefgh"[:n])} | columns), "kind", **rest)


def problems(frame: pd.DataFrame, **rest) -> list[tuple[str, str, str]]:
    """Row, column and value of every problem; each message stays on one line."""
    with pytest.raises(TableError) as caught:
        TraitTable.from_frame(frame, **{"taxon": "kind", **rest})
    for problem in caught.value.problems:
        assert len(str(problem).splitlines()) == 1
        assert problem.right
    return [(p.row, p.column, p.value) for p in caught.value.problems]


# -- kinds and states ------------------------------------------------------------------------------------

SIZES = pd.CategoricalDtype(["s", "m", "l"])
RAYS = pd.CategoricalDtype([8, 6, 4], ordered=True)


@pytest.mark.parametrize(
    ("values", "given", "kind", "states"),
    [
        ([1, 2], None, "measure", ""),
        (pd.array([1, None], dtype="Int64"), None, "measure", ""),
        ([0, 1, 2], None, "measure", ""),
        ([1, 1, 1], None, "measure", ""),
        ([math.nan, math.nan], None, "measure", ""),
        ([None, None], None, "nominal", ""),
        # Noughts and ones are a yes or no.
        ([0.0, 1.0, math.nan], None, "nominal", "0 1"),
        ([True, False], None, "nominal", "no yes"),
        (pd.array([True, None], dtype="boolean"), None, "nominal", "yes"),
        (["b", "c", "a"], None, "nominal", "a b c"),
        (["7", "8"], None, "nominal", "7 8"),
        (pd.to_datetime(["2020-01-01", "2021-01-01"]), None, "nominal", None),
        # Categories keep their order, and those that nobody has.
        (pd.Series(["m", "s"], dtype=SIZES), None, "nominal", "s m l"),
        (pd.Series([4, 8], dtype=RAYS), None, "ordinal", "8 6 4"),
        # Numbers are sorted as numbers and written short, whole ones and those beside gaps alike.
        ([10, 2, 4.0], "nominal", "nominal", "2 4 10"),
        (["10", "2", "many"], "ordinal", "ordinal", "2 10 many"),
        ([2, 4, math.nan, 6], "nominal", "nominal", "2 4 6"),
        # What stands behind a colon and is no share is part of the state.
        (["on:off|b", "b|on:-1"], None, "nominal", "b on:-1 on:off"),
    ],
)
def test_kind_and_states_are_inferred_or_given(values, given, kind, states):
    # Columns that are left out of the kinds that are given keep the default.
    made = table({"x": values, "y": [3] * len(values)}, kinds={"x": given} if given else {"y": "ceiling"})
    assert made.trait("x").kind == kind
    assert made.trait("y").kind == ("measure" if given else "ceiling")
    assert states is None or made.trait("x").states == tuple(states.split())
    assert [cell is None for cell in made.cells["x"]] == pd.isna(values).tolist()


@pytest.mark.parametrize(
    "names", [["ratio 1:2", "ratio 1:3"], ["12:30", "12:45"], ["a:0.5", "a:1"], [":", "x:"], ["<b>", "a&b"]]
)
def test_a_colon_does_not_split_a_state_that_stands_alone(names):
    made = table({"x": names})
    assert set(made.trait("x").states) == set(names)
    assert [cell.names for cell in made.cells["x"]] == [(name,) for name in names]


@pytest.mark.parametrize("dtype", [object, "str", "string", "category"])
def test_every_dtype_of_text_gives_the_same_table(dtype):
    made = table({"x": pd.Series([" forked", "straight ", "straight|forked", None], dtype=dtype)})
    assert made.trait("x").states == ("forked", "straight")
    both = States(("forked", "straight"), (0.5, 0.5))
    assert made.cells["x"] == (States(("forked",), (1.0,)), States(("straight",), (1.0,)), both, None)


@pytest.mark.parametrize("gap", [None, math.nan, pd.NA, pd.NaT, "", "  "])
def test_gaps_of_every_sort_are_not_known(gap):
    columns = {"x": pd.Series(["p", gap, "q"], dtype=object), "y": pd.Series([1, gap, 2], dtype=object)}
    made = table(columns, kinds={"y": "measure"})
    assert made.cells["x"][1] is None
    assert made.cells["y"] == (Range(1, 1), None, Range(2, 2))
    assert made.trait("x").states == ("p", "q")
    frame = pd.DataFrame({"kind": pd.Series(["a", gap], dtype=object), "x": [1, 2]})
    assert [(row, column) for row, column, _ in problems(frame)] == [("3", "kind")]


# -- pooled rows -----------------------------------------------------------------------------------------


P, Q, MORE_P = States(("p",), (1.0,)), States(("q",), (1.0,)), States(("p", "q"), (0.75, 0.25))


@pytest.mark.parametrize(
    ("kinds", "values", "kind", "cells"),
    [
        ("aaaabb", ["p", "p", "p", "q", "q", None], "nominal", [MORE_P, Q]),
        ("aa", ["p|q", "p"], "nominal", [MORE_P]),
        ("aaab", ["3..4", "2", None, "-"], "measure", [Range(2, 4), NOT_APPLICABLE]),
        ("aab", [90, 120, 60], "ceiling", [Range(0, 120), Range(0, 60)]),
        # Not applicable gives way to what was seen.
        ("aabb", ["-", "p", "-", None], "nominal", [P, NOT_APPLICABLE]),
        ("aabb", ["-", "3", "-", "-"], "measure", [Range(3, 3), NOT_APPLICABLE]),
    ],
)
def test_rows_of_one_taxon_are_pooled(kinds, values, kind, cells):
    made = table({"kind": list(kinds), "x": values}, kinds={"x": kind})
    assert made.ids == tuple(dict.fromkeys(kinds))
    assert list(made.cells["x"]) == cells


@pytest.mark.parametrize(
    ("names", "ids"),
    [
        (["z", "b", "z", "a"], ("z", "b", "a")),
        ([2, 1, 2], ("2", "1")),
        (pd.Categorical(["b", "a"], categories=["a", "b", "c"]), ("b", "a")),
        ([2**53, 2**53 + 1], (str(2**53), str(2**53 + 1))),
    ],
)
def test_taxa_of_any_dtype_stand_in_order_of_first_appearance(names, ids):
    assert table({"kind": names, "x": range(len(names))}).ids == ids


# -- measuring error -------------------------------------------------------------------------------------


def test_measuring_error_is_half_the_scatter_within_taxa_or_a_share_of_the_range_and_never_nought():
    # Pooled standard deviation of two groups, by hand: squares 2 + 8 over 4 degrees of freedom.
    trait = table({"kind": list("aaabbb"), "x": [1, 2, 3, 10, 12, 14]}).trait("x")
    assert not trait.spread_is_relative
    assert trait.spread == pytest.approx(0.5 * math.sqrt(10 / 4))
    for values in ([0, 50, 100], ["0..50", "60..100"]):
        assert table({"x": values}, kinds={"x": "measure"}).trait("x").spread == pytest.approx(2.0)
    made = table({"kind": list("aabb"), "x": [5, 5, 5, 5], "y": [1, 1, 2, 2], "z": [math.nan] * 4})
    assert all(made.trait(t).spread > 0 for t in "xyz")


@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=8), st.floats(0.01, 100), st.floats(-1e3, 1e3))
def test_measuring_error_goes_with_the_unit(values, factor, shift):
    frame = pd.DataFrame({"kind": ["a", "b"] * len(values), "x": [v for v in values for _ in range(2)]})
    frame["x"] += np.arange(len(frame)) % 3
    one, other = (
        TraitTable.from_frame(made, "kind", {"x": "measure"}).trait("x").spread
        for made in (frame, frame.assign(x=frame["x"] * factor + shift))
    )
    assert other == pytest.approx(one * factor, rel=1e-3)


# -- young fish ------------------------------------------------------------------------------------------


def test_a_young_column_is_the_companion_of_its_trait():
    tail = {"tail": ["straight", "forked"], "tail_young": ["rounded", None]}
    made = table(tail | {"n": [3, 4], "n_young": [1, 2]})
    assert made.trait_ids == ("tail", "n")
    assert made.trait("tail").states == ("forked", "rounded", "straight")
    assert made.cell("a", "tail_young") == States(("rounded",), (1.0,))
    assert made.cell("b", "tail_young") is None
    assert made.cell("a", "n_young") == Range(1, 1)
    assert made.differs_when_young("n")
    assert list(made.to_frame().columns) == ["tail", "tail_young", "n", "n_young"]


def test_a_young_column_without_its_trait_is_a_trait_and_a_wrong_one_is_reported():
    made = table({"n_young": [1, 2]})
    assert made.trait_ids == ("n_young",)
    assert made.to_frame()["n_young"].tolist() == ["1..1", "2..2"]
    assert made.with_taxon("z", n_young="3").cell("z", "n_young") == Range(3, 3)
    frame = pd.DataFrame({"kind": ["a"], "n": [1], "n_young": ["few"]})
    assert problems(frame) == [("2 (a)", "n_young", "few")]


# -- what is refused -------------------------------------------------------------------------------------


def test_all_problems_are_listed_at_once_each_with_what_would_be_right():
    columns = {"rays": ["7..8", "9..7", "many", "8"], "size": [120, -5, 0, 60]}
    columns |= {"tail": ["p", "p|p", "q:0.5|p", "q"], "fine": [1, 2, 3, 4]}
    frame = pd.DataFrame({"kind": list("abcd"), **columns})
    assert problems(frame, kinds={"rays": "measure", "size": "ceiling"}) == [
        ("3 (b)", "rays", "9..7"),
        ("4 (c)", "rays", "many"),
        ("3 (b)", "size", "-5"),
        ("4 (c)", "size", "0"),
        ("3 (b)", "tail", "p|p"),
        ("4 (c)", "tail", "q:0.5|p"),
    ]
    with pytest.raises(TableError) as caught:
        TraitTable.from_frame(frame[["kind", "rays"]][:2], "kind", {"rays": "measure"}, name="delivery")
    assert str(caught.value) == (
        "1 problem in the table; nothing was loaded\n"
        "delivery, row 3 (b), rays: '9..7': the range runs backwards; write 7..9"
    )


def test_taxon_column_and_kinds_that_are_wrong_are_listed_with_rows_without_a_name():
    frame = pd.DataFrame({"kind": ["a", " "], "x": [1, 2]})
    with pytest.raises(TableError, match=r"(?s)did you mean 'measure'.*'y'.*' '") as caught:
        TraitTable.from_frame(frame, "kind", {"x": "mesure", "y": "nominal"})
    assert [(p.row, p.column) for p in caught.value.problems] == [("", "x"), ("", "y"), ("3", "kind")]
    with pytest.raises(TableError, match="did you mean 'kind'"):
        TraitTable.from_frame(frame, taxon="kinds")
    for empty in ({"kind": [], "x": []}, {"kind": ["a"]}, {}):
        assert len(problems(pd.DataFrame(empty))) == 1


def test_columns_twice():
    columns = {"x": ["kind", "x", "x"], "kind": ["kind", "kind", "x"], "1": ["kind", 1, "1"]}
    for twice, names in columns.items():
        assert [p[1] for p in problems(pd.DataFrame([["a", "b", "c"]], columns=names))] == [twice]


DAYS = pd.to_datetime(["2020-01-01", "2021-01-01"])
NO_NUMBERS = (DAYS, [*DAYS.date], [(1,), [2]], [1j, 3 + 4j], [math.inf, -math.inf], [{}, {1}])


@pytest.mark.parametrize("values", NO_NUMBERS)
def test_what_is_no_number_is_refused_as_a_measure(values):
    frame = pd.DataFrame({"kind": ["a", "b"], "x": values})
    found = problems(frame, kinds={"x": "measure"})
    assert [(row, column) for row, column, _ in found] == [("2 (a)", "x"), ("3 (b)", "x")]


# -- the frame itself ------------------------------------------------------------------------------------


def test_the_frame_is_left_as_it_was_and_is_not_held():
    frame = pd.DataFrame({"kind": ["a", "b"], "x": ["p", "q"]}, index=[7, 7])
    before = frame.copy()
    made = TraitTable.from_frame(frame, taxon="kind")
    pd.testing.assert_frame_equal(frame, before)
    frame.iloc[0, 1] = "other"
    assert made.cell("a", "x") == States(("p",), (1.0,))


def test_columns_that_are_no_text_get_their_text_as_id():
    made = table({0: [1, 2], 1.5: ["p", "q"]}, kinds={0: "nominal"})
    assert made.trait_ids == ("0", "1.5")
    trait = made.trait("1.5")
    assert (made.trait("0").kind, trait.id, trait.name, trait.words) == ("nominal", "1.5", "1.5", ("p", "q"))
    assert trait.applies_when is None
    assert 0 < trait.error < 1


cell_texts = st.sampled_from(["p", "q", "p|q", "q|r", "p:0.25|r:0.75", "-", "", "r"])


@given(st.lists(st.tuples(st.sampled_from("abc"), cell_texts, st.integers(0, 50)), min_size=1, max_size=12))
def test_any_table_reads_back_from_its_own_frame_and_in_any_order_of_rows(rows):
    frame = pd.DataFrame(rows, columns=["kind", "x", "y"])
    one, other = (TraitTable.from_frame(f, taxon="kind") for f in (frame, frame[::-1]))
    assert one.trait("y").spread == pytest.approx(other.trait("y").spread)
    back = one.to_frame().reset_index(names="kind")
    again = TraitTable.from_frame(back, taxon="kind", kinds={"y": "measure"})
    assert again.ids == one.ids
    for taxon, same in [(taxon, same) for taxon in one.ids for same in (again, other)]:
        a, b = one.cell(taxon, "x"), same.cell(taxon, "x")
        assert one.cell(taxon, "y") == same.cell(taxon, "y")
        assert type(a) is type(b)
        if isinstance(a, States):
            assert a.names == b.names
            assert a.shares == pytest.approx(b.shares, abs=1e-9)


def test_time_grows_with_the_rows_and_not_with_their_square():
    columns = {"kind": [f"t{i}" for i in range(10_000)], "x": ["p"] * 10_000}
    start = time.process_time()
    assert len(table(columns)) == 10_000
    # About 0.5 s; looking through all earlier names for each name takes 10 s and more.
    assert time.process_time() - start < 6


def test_a_column_that_is_blank_all_through_says_nothing():
    from idkey.model.identify import Identification

    tail = {"tail": ["forked", "straight"]}
    plain, wider = table(tail), table(tail | {"fins": ["", ""]})
    rankings = []
    for made in (plain, wider):
        fish = Identification(made).answer("tail", "forked")
        assert Identification(made).next_question().trait.id == "tail"
        rankings.append(dict(zip(fish.ranking()["taxon"], fish.ranking()["probability"], strict=True)))
    assert rankings[1] == pytest.approx(rankings[0])
    assert wider.lookalikes().matrix == pytest.approx(plain.lookalikes().matrix)
