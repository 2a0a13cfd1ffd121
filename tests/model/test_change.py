"""What a change of the table does: kinds, key, traits, doubts, and names that were given before."""

from dataclasses import replace
from functools import partial

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from idkey import NearestMatch, build_key
from idkey.errors import AnswerError, IdkeyError
from idkey.model import changes
from idkey.model.changes import renamed, what_changes
from idkey.table.schema import LIFE_STAGE, Trait

from .tables import SHIPPED as TABLE
from .tables import answered, answers, nominal, of_genera, table_of, tables

trait = partial(nominal, states="xy")
TWO = [trait("t"), trait("u")]
ROWS = {"a": {"t": "x", "u": "x"}, "b": {"t": "y", "u": "x"}}
OLD = table_of(TWO, ROWS)


def test_kinds_taken_out_and_altered_young_fish_included():
    found = what_changes(OLD, table_of(TWO, {"b": "y y", "c": {}}))
    assert (found.added, found.removed, found.altered) == (("c",), ("a",), ("b",))
    assert {a.taxon for a in found.apart} == {"b", "c"}
    rows = {**ROWS, "b": ROWS["b"] | {"t_young": "x"}}
    assert what_changes(OLD, table_of(TWO, rows)).altered == ("b",)
    assert what_changes(table_of(TWO, rows), OLD).altered == ("b",)


def test_nothing_or_traits_alone_are_another():
    found = what_changes(OLD, table_of(TWO, ROWS), past=[{"t": "x"}])
    assert found.is_empty
    assert (found.apart, found.past) == ((), ())
    # nor is the order of the kinds a change
    assert what_changes(OLD, table_of(TWO, dict(reversed(ROWS.items())))).is_empty
    new = table_of([replace(TWO[0], error=0.2), trait("v")], {"a": "x", "b": "y"})
    found = what_changes(OLD, new)
    which = found.traits_added, found.traits_removed, found.traits_altered
    assert [t.id for traits in which for t in traits] == ["v", "u", "t"]
    assert found.altered == ()


def test_care_sources_and_what_is_said_of_all_are_changes_too():
    bib = "@misc{NOTE, title = {Invented}}"
    assert what_changes(TABLE, TABLE.with_source(bib), key=False).sources == ("NOTE",)
    found = what_changes(TABLE, TABLE.with_evidence("hypancistrus", "ph", note="measured"), key=False)
    assert (found.groups, found.touched, found.is_empty) == (("hypancistrus",), (), False)
    care = TABLE.care.copy()
    care.loc[0, "flow"] = "gentle"
    found = what_changes(TABLE, replace(TABLE, care=care), key=False)
    assert found.groups == (care.loc[0, "taxon"] or care.loc[0, "care_group"],)
    assert not found.is_empty
    said = {genus: dict(cells) for genus, cells in TABLE.genera.items()}
    del said["Hypancistrus"]["mouth_shape"]
    claims = TABLE.evidence
    gone = (claims["genus"] == "Hypancistrus") & (claims["attribute"] == "mouth_shape")
    fewer = replace(TABLE, genera=said, evidence=claims[~gone])
    assert what_changes(TABLE, fewer, key=False).groups == ("Hypancistrus",)
    columns = (replace(TABLE.care_columns[0], label="Else"), *TABLE.care_columns[1:])
    found = what_changes(TABLE, replace(TABLE, care_columns=columns), key=False)
    assert found.groups == (columns[0].id,)


def test_the_worst_told_comes_first():
    three = [trait(f"t{j}") for j in range(3)]
    new = table_of(three, {"a": "x x x", "b": "y y y", "well": "x x y", "same": "x x x"})
    found = what_changes(new.only(["a", "b"]), new)
    assert [a.taxon for a in found.apart] == ["same", "well"]
    assert [len(a.never) for a in found.apart] == [1, 0]


def test_a_key_at_hand_is_taken_and_none_is_made_unasked_or_where_it_takes_long(monkeypatch):
    new, key = OLD.with_taxon("c", t="y", u="y"), build_key(OLD)
    assert what_changes(OLD, new, key=key).key_before is key
    without = what_changes(OLD, new, key=False)
    assert (without.key_before, without.key_after) == (None, None)
    with pytest.raises(IdkeyError, match="key to the old table"):
        what_changes(OLD, new, key=build_key(new))
    monkeypatch.setattr(changes, "KEYED_AFRESH", 2)
    found = what_changes(OLD, new)
    assert found.key_before is not None
    assert found.key_after is None
    assert "left to build_key" in repr(found)


def test_a_trait_that_a_better_one_pushes_out():
    new = OLD.with_trait(nominal("quick", "pq", effort=1.0), {"a": "p", "b": "q"})
    found = what_changes(OLD, new)
    # u told nothing before either, so that is no news
    assert [w.trait.id for w in found.idle] == ["t"]
    assert [w.trait.id for w in found.useful] == ["quick"]
    # a new one that tells nothing is
    assert [w.trait.id for w in what_changes(OLD, OLD.with_trait(trait("v"), {"a": "x"})).idle] == ["v"]


def test_cells_in_doubt_are_those_of_the_kinds_that_changed():
    table = of_genera(table_of(TWO, {f"k{i}": "x x" for i in range(5)}), "G")
    found = what_changes(table, table.with_taxon("odd", genus="G", t="y", u="x"), key=False)
    assert [(d.taxon, d.column, d.against) for d in found.doubts] == [("odd", "t", "genus")]
    odd = found.new
    assert what_changes(odd, odd.with_taxon("k9", genus="G", t="x", u="x"), key=False).doubts == ()
    # another genus is a change that may bring a doubt
    found = what_changes(of_genera(odd, ["G"] * 5 + ["H"]), odd, key=False)
    assert (found.touched, found.altered) == (("odd",), ())
    assert [d.taxon for d in found.doubts] == ["odd"]


def test_a_claim_added_or_taken_away_touches_its_kind():
    last = TABLE.evidence.iloc[-1:].assign(taxon=TABLE.ids[3], locator="p. 999, invented")
    more = replace(TABLE, evidence=pd.concat([TABLE.evidence, last], ignore_index=True))
    for old, new in ((TABLE, more), (more, TABLE)):
        found = what_changes(old, new, key=False)
        assert (found.touched, found.altered) == ((TABLE.ids[3],), ())


@st.composite
def tables_with_past(draw):
    """Draw a table, the same without some kinds, and answers to it."""
    new = draw(tables())
    old = new.only(draw(st.lists(st.sampled_from(new.ids), min_size=1, unique=True)))
    return old, new, draw(st.lists(answers(new), max_size=6))


def first_and_possible(fish):
    """Return the likeliest name of a fish and the names that hold 95 %, by plain counting; ties by name."""
    rows = sorted(fish.ranked(), key=lambda row: (-round(row.probability, 12), row.taxon))
    held = np.cumsum([0, *(row.probability for row in rows)])
    return rows[0], {row.taxon for row, before in zip(rows, held, strict=False) if before < 0.95 - 1e-12}


@given(tables_with_past())
def test_past_names_are_those_of_identifications_one_by_one(case):
    old, new, past = case
    found = {p.index: p for p in renamed(old, new, past)}
    for i, said in enumerate(past):
        fish = [answered(table, said) for table in (old, new)]
        (first, before), (second, after) = map(first_and_possible, fish)
        if not fish[0].answers or (first.taxon == second.taxon and before == after):
            assert i not in found
            continue
        assert (found[i].before, found[i].after) == (first.taxon, second.taxon)
        assert found[i].probability_before == pytest.approx(first.probability)
        assert found[i].probability_after == pytest.approx(second.probability)
        assert set(found[i].gained) == after - before
        assert set(found[i].lost) == before - after
        assert found[i].unread == ()


def test_rounding_does_not_break_a_tie():
    # All six are equally likely for a fish of 20 mm, and of k4 and k5 a record is known; judged along with
    # another, k5 comes out ahead in the seventeenth digit.
    lengths = [Trait(id=f"n{j}", kind="ceiling", unit="mm", error=0.001) for j in range(3)]
    rows = {f"k{i}": {"t_young": ""} for i in range(4)} | {"k4": {"n2": "34"}, "k5": {"n2": "43"}}
    new = table_of([nominal("t", error=0.001), *lengths], rows)
    fish = [{"t": "a"}, {"n2": 20.0}]
    equal = NearestMatch().fit(new).predict_proba(pd.DataFrame(fish))[1, :6]
    np.testing.assert_allclose(equal, 0.95 / 6, rtol=1e-12)
    assert [(p.before, p.after) for p in renamed(new.only(["k0"]), new, fish)] == [("k0", "k0"), ("k0", "k4")]


def test_answers_that_can_no_longer_be_taken_are_told():
    new = table_of([nominal("t", "yz")], {"a": "z", "b": "y"})
    past = [{"t": "x", "u": "x"}, {"t": "y"}, {"t": "y", "u": "y", LIFE_STAGE: "young"}]
    found = {p.index: p for p in renamed(OLD, new, past)}
    assert found[0].unread == ("t: x", "u: x")
    assert found[2].unread == ("u: y",)
    assert 1 not in found
    # an identification and its answers are the same
    one, two = renamed(OLD, new, [answered(OLD, past[0]), past[0]])
    assert two == replace(one, index=1)
    # what neither table can take is no news
    assert renamed(OLD, OLD, [{"t": "x", "colour": "blue"}, {"t": "purple"}, {}]) == ()
    assert renamed(OLD, OLD, []) == ()
    for bad in (None, "t", 3, ["t", "x"]):
        with pytest.raises(AnswerError, match="past, item 1"):
            renamed(OLD, OLD, [{"t": "x"}, bad])
