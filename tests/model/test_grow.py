"""A key that is grown: every kind still ends where it is named, and what can be told apart is told apart."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from idkey import TraitTable, build_key, load_table
from idkey.errors import IdkeyError
from idkey.model.grow import grow_key
from idkey.model.solve import Builder
from idkey.model.splits import all_splits
from idkey.table.schema import States, Trait

from .tables import table_of, tables
from .test_key import count_both_ways, crisp_tables, fish_of, priors, state_tables

EXACT = st.sampled_from([0, 5000])


@st.composite
def grown(draw, any_table):
    """Draw a table, the same with some kinds left out and the rows of some others mixed up, and its key."""
    new = draw(any_table)
    kept = draw(st.lists(st.sampled_from(new.ids), min_size=1, unique=True))
    rows = draw(st.permutations(range(len(new)))) if draw(st.booleans()) else list(range(len(new)))
    mixed = replace(new, cells={c: tuple(cells[i] for i in rows) for c, cells in new.cells.items()})
    old = mixed.only(kept)
    exact = draw(EXACT)
    changed = [
        t for t in new.ids if t not in old.ids or any(old.cell(t, c) != new.cell(t, c) for c in new.cells)
    ]
    return new, old, exact, grow_key(build_key(old, exact_states=exact), new, changed)


@given(grown(tables()))
def test_every_combination_a_kind_allows_ends_where_it_is_listed(case):
    table, _, _, key = case
    for taxon in table.ids:
        for fish in fish_of(table, key, taxon, most=100):
            assert taxon in key.classify(fish), (taxon, fish)


@given(grown(tables()))
def test_couplets_are_numbered_and_reached(case):
    table, _, _, key = case
    leads = [lead for c in key.couplets for lead in (c.a, c.b)]
    assert [c.number for c in key.couplets] == list(range(1, len(key.couplets) + 1))
    reached = {1} | {lead.goes_to for lead in leads if lead.goes_to is not None}
    assert not key.couplets or reached == {c.number for c in key.couplets}
    assert all((lead.goes_to is None) == bool(lead.taxa) for lead in leads)
    assert all(lead.goes_to is None or lead.goes_to > 1 for lead in leads)
    named = {t for ending in key.endings() for t in ending}
    assert named == (set(table.ids) if key.couplets else set())
    assert key.classify({}) == table.ids
    assert key.table is table


@given(grown(crisp_tables()))
def test_a_crisp_table_is_told_apart_as_by_a_key_built_afresh(case):
    table, _, _, key = case
    assert set(key.endings()) == set(build_key(table).endings())
    for taxon in table.ids:
        row = {t: table.cell(taxon, t).names[0] for t in table.trait_ids}
        assert key.classify(row) == build_key(table).classify(row)


@given(grown(state_tables()))
def test_no_end_of_an_exact_key_holds_what_a_couplet_could_part(case):
    table, _, exact, key = case
    if exact:
        for ending in key.endings() or (table.ids,):
            few = table.only(ending)
            w = np.ones(len(few)) / len(few)
            builder = Builder(all_splits(few, w), w)
            assert not len(builder.useful(builder.full)), ending


@given(grown(st.one_of(crisp_tables(), state_tables())))
def test_expected_questions_are_those_of_walking_the_couplets(case):
    table, _, _, key = case
    entering, ends = count_both_ways(table, key, dict.fromkeys(table.ids, 1 / len(table)))
    assert entering == pytest.approx(ends, abs=1e-9)
    assert key.expected_questions() == pytest.approx(entering, abs=1e-9)


@given(crisp_tables(), st.data())
def test_expected_questions_go_by_the_prior(table, data):
    prior = data.draw(priors(table))
    old = table.only(table.ids[: max(1, len(table) - 1)])
    key = grow_key(build_key(old), table, [table.ids[-1]], prior=prior)
    total = sum(prior.values())
    entering, _ = count_both_ways(table, key, {t: w / total for t, w in prior.items()})
    assert key.expected_questions() == pytest.approx(entering, abs=1e-9)


def behind(key, lead):
    """Return the kinds that stand behind a lead."""
    if lead.goes_to is None:
        return set(lead.taxa)
    couplet = key.couplets[lead.goes_to - 1]
    return behind(key, couplet.a) | behind(key, couplet.b)


@given(grown(st.one_of(crisp_tables(), state_tables())))
def test_traits_that_confirm_a_lead_hold_for_all_behind_it(case):
    table, _, _, key = case
    for couplet in key.couplets:
        for lead in (couplet.a, couplet.b):
            for trait, states in lead.confirms:
                for taxon in behind(key, lead):
                    cell = table.cell(taxon, trait.id)
                    assert isinstance(cell, States)
                    assert set(cell.names) <= set(states)
            shown = {n for t in behind(key, lead) if (c := table.cell(t, couplet.trait.id)) for n in c.names}
            assert set(lead.shown) == shown & set(lead.states)


# -- what stays, and what goes ---------------------------------------------------------------------------


def asked(key):
    return [(c.trait.id, c.a.states) for c in key.couplets]


@given(crisp_tables(), EXACT)
def test_old_couplets_stay(table, exact):
    old = table.only(table.ids[: max(1, len(table) - 2)])
    before = build_key(old, exact_states=exact)
    after = grow_key(before, table, set(table.ids) - set(old.ids))
    assert asked(after)[:1] == asked(before)[:1] or not before.couplets
    for question in set(asked(before)):
        assert asked(after).count(question) >= asked(before).count(question)


@given(tables(), EXACT)
def test_a_table_that_stays_keeps_its_key(table, exact):
    key = build_key(table, exact_states=exact)
    same = grow_key(key, table, [])
    assert same.couplets == key.couplets
    assert same.bounds().questions == key.bounds().questions


def test_a_kind_taken_out_takes_its_couplet_along():
    two = [Trait(id=i, kind="nominal", states=("x", "y")) for i in ("t", "u")]
    rows = {"a": {"t": "x", "u": "x"}, "b": {"t": "y", "u": "x"}, "c": {"t": "y", "u": "y"}}
    table = table_of(two, rows)
    key = grow_key(build_key(table), table.only(["a", "b"]), [])
    assert key.endings() == (("a",), ("b",))
    assert grow_key(key, table.only(["b"]), []).couplets == ()


def test_a_new_trait_is_asked_at_the_ends_alone():
    one = Trait(id="t", kind="nominal", states=("x", "y"), effort=30.0)
    table = table_of([one], {"a": {"t": "x"}, "b": {"t": "y"}, "c": {"t": "y"}})
    quick = Trait(id="quick", kind="nominal", states=("x", "y"), effort=1.0)
    wider = table.with_trait(quick, {"a": "x", "b": "x", "c": "y"})
    key = grow_key(build_key(table), wider, [])
    assert asked(key) == [("t", ("x",)), ("quick", ("x",))]
    assert key.endings() == (("a",), ("b",), ("c",))


@pytest.mark.parametrize("changed", [{"effort": 99.0}, {"error": 0.4}, {"states": ("x", "y", "z")}])
def test_a_trait_asked_in_another_way_means_a_key_afresh(changed):
    two = [Trait(id=i, kind="nominal", states=("x", "y"), effort=9.0) for i in ("t", "u")]
    rows = {"a": {"t": "x", "u": "x"}, "b": {"t": "y", "u": "y"}}
    other = replace(two[0], words=(), **changed)
    new = table_of([other, two[1]], rows)
    assert grow_key(build_key(table_of(two, rows)), new, []).couplets == build_key(new).couplets
    assert grow_key(build_key(table_of(two, rows)), table_of(two[1:], rows), []).endings() == (("a",), ("b",))


def test_a_threshold_stays_where_it_was_printed():
    length = Trait(id="n", kind="measure", unit="count")
    old = table_of([length], {"a": {"n": "1..4"}, "b": {"n": "20..30"}})
    before = build_key(old)
    table = table_of(
        [length], {"a": {"n": "1..4"}, "b": {"n": "20..30"}, "c": {"n": "10..16"}, "d": {"n": "3..25"}}
    )
    key = grow_key(before, table, ["c", "d"])
    assert key.couplets[0].threshold == before.couplets[0].threshold
    assert {"c", "d"} <= set(key.classify({"n": 12}))
    assert "c" not in key.classify({"n": 25})


def test_a_record_length_runs_down_both_sides_of_an_old_threshold():
    length = Trait(id="n", kind="ceiling", unit="mm")
    before = build_key(table_of([length], {"a": {"n": "100"}, "b": {"n": "500"}}))
    table = table_of([length], {"a": {"n": "100"}, "b": {"n": "500"}, "c": {"n": "220"}})
    key = grow_key(before, table, ["c"])
    assert key.couplets[0].threshold == before.couplets[0].threshold == 200
    for adult in (150, 215):
        assert "c" in key.classify({"n": adult, "life_stage": "adult"})


X_OR_Y = [Trait(id=i, kind="nominal", states=("x", "y")) for i in ("t", "u")]


def test_a_kind_that_changes_at_its_end_is_told_apart_there():
    rows = {"a": {"t": "x", "u": "x"}, "b": {"t": "x", "u": "x"}, "c": {"t": "y", "u": "x"}}
    key = build_key(table_of(X_OR_Y, rows))
    assert ("a", "b") in key.endings()
    new = table_of(X_OR_Y, {**rows, "b": {"t": "x", "u": "y"}})
    assert set(grow_key(key, new, ["b"]).endings()) == {("a",), ("b",), ("c",)}


def test_kinds_that_a_third_kept_together_are_told_apart_without_it():
    # u does not exist in c, so it can't be asked while c is possible
    table = table_of(X_OR_Y, {"a": {"u": "x"}, "b": {"u": "y"}, "c": {"u": "-"}})
    key = build_key(table)
    assert key.couplets == ()
    assert set(grow_key(key, table.only(["a", "b"]), []).endings()) == {("a",), ("b",)}


def test_behind_a_couplet_that_goes_the_old_couplets_stay():
    rows = {"a": {"t": "x", "u": "x"}, "b": {"t": "x", "u": "y"}, "c": {"t": "y", "u": "-"}}
    table = table_of(X_OR_Y, rows)
    quick = Trait(id="quick", kind="nominal", states=("x", "y"), effort=1.0)
    new = table.only(["a", "b"]).with_trait(quick, {"a": "x", "b": "y"})
    assert asked(build_key(table))[0] == ("t", ("x",))
    assert asked(grow_key(build_key(table), new, [])) == [("u", ("x",))]


def test_a_kind_of_which_too_little_is_known_is_left_out():
    traits = [Trait(id=f"t{j}", kind="nominal", states=("x", "y")) for j in range(10)]
    rows = {"a": {t.id: "x" for t in traits}, "b": {t.id: "y" for t in traits}}
    old = table_of(traits, rows)
    new = table_of(traits, rows | {"c": {"t0": "x"}})
    key = grow_key(build_key(old), new, ["c"])
    assert key.left_out == ("c",)
    assert set(key.endings()) == {("a",), ("b",)}
    known = table_of(traits, rows | {"c": rows["b"] | {"t1": "x"}})
    assert set(grow_key(key, known, ["c"]).endings()) == {("a",), ("b",), ("c",)}


def test_a_key_to_groups_is_built_afresh():
    table = table_of([Trait(id="t", kind="nominal", states=("x", "y"))], {"a": {"t": "x"}, "b": {"t": "y"}})
    with pytest.raises(IdkeyError, match="groups"):
        grow_key(build_key(table, groups={"a": "one", "b": "two"}), table, [])


def test_shipped_kinds_put_back_one_by_one():
    # the grown key stays near the one that is built afresh: a tenth more questions at most
    table = load_table()
    out = table.ids[5::20]
    old = table.only([t for t in table.ids if t not in out])
    key = build_key(old)
    for i, taxon in enumerate(out):
        some = table.only([*old.ids, *out[: i + 1]])
        key = grow_key(key, some, [taxon])
    afresh = build_key(table)
    assert key.expected_questions() <= 1.1 * afresh.expected_questions()
    assert len(key.couplets) <= 1.1 * len(afresh.couplets)
    for taxon in out:
        fish = {
            c.trait.id: cell.names[0]
            for c in key.couplets
            if isinstance(cell := table.cell(taxon, c.trait.id), States)
        }
        assert taxon in key.classify(fish)
    assert isinstance(key.table, TraitTable)
