"""One kind against all others: what can't be told, what hangs on one look, and what would settle it."""

from functools import partial

import pytest
from hypothesis import given
from hypothesis import strategies as st

from idkey import compare
from idkey.model.lookalikes import apart

from .tables import kinds_of, nominal, of_genera, shuffled, table_of, tables, zoo

UNSURE, SURE = 0.3, 0.05  # a look that errs this often gives the wrong one of two kinds half as often
trait = partial(nominal, states="xy", error=SURE)


@pytest.mark.parametrize("legs", ["nominal", "measure"])
def test_zoo_animals_of_identical_rows_are_those_never_told_apart(legs):
    # Forsyth 1990 (data/ORIGIN.md): 101 animals, 59 different rows.
    frame, _ = zoo()
    rows = [tuple(row) for row in frame.to_numpy()]
    same = {(i, j) for i in range(len(rows)) for j in range(len(rows)) if i != j and rows[i] == rows[j]}
    assert len(same) == 2 * 104
    table = kinds_of(frame, kinds=dict.fromkeys(frame, "nominal") | {"legs": legs})
    found = {t: apart(table, t) for t in table.ids}
    assert {(table.position(t), table.position(o)) for t in found for o in found[t].never} == same
    assert not any(found[t].hardly_known or found[t].adults_only for t in found)


@given(tables(), st.randoms(use_true_random=False))
def test_any_table(table, random):
    other = shuffled(table, random)
    for a in table.ids:
        found, again, same = apart(table, a), apart(other, a), []
        # never is what a comparison finds nothing in
        for b in (b for b in table.ids if b != a):
            rights = [r for c in compare(table, a, b).contrasts for r in (c.right, c.right_young or 0.5)]
            same += [b] if max(rights) <= 0.5 + 1e-9 else []
        assert sorted(found.never + found.hardly_known) == sorted(same)
        # the order of the kinds makes no difference
        for sort in ("never", "hardly_known", "one_look", "adults_only"):
            assert set(getattr(found, sort)) == set(getattr(again, sort)), sort
        # only blanks are proposed, and chances are chances
        for pair in found.pairs:
            assert 0.5 - 1e-9 <= pair.right <= 1
            for settle in pair.settle:
                assert set(settle.blank) <= {a, pair.other}
                assert 0 <= settle.differ <= 1
                assert 0 < settle.worth <= 1
                if pair.why != "adults only":
                    assert all(table.cell(t, settle.trait.id) is None for t in settle.blank)


def test_little_known_in_common_is_no_alarm():
    three = [trait("t1"), trait("t2"), trait("t3")]
    found = apart(table_of(three, {"a": "x x x", "b": "x x x", "c": "x x"}), "a")
    assert (found.never, found.hardly_known) == (("b",), ("c",))
    assert [(p.other, p.why, p.compared) for p in found.pairs] == [("b", "never", 3)]
    assert not found.is_told
    # what the seller says tells nothing
    found = apart(table_of([trait("basin"), trait("tail")], {"a": "x x", "b": "y x"}), "a")
    assert found.hardly_known == ("b",)


def test_told_as_adults_only():
    rows = {"a": "x x", "b": "y x", "c": "x y"}
    table = table_of([trait("tail", needs_adult=True), trait("fin")], rows)
    found = apart(table, "a")
    assert found.adults_only == ("b",)
    assert [(p.other, p.why, p.trait.id) for p in found.pairs] == [("b", "adults only", "tail")]
    assert apart(table, "c").adults_only == ()
    rows = {k: {"tail": state, "tail_young": state} for k, state in zip("ab", "xy", strict=True)}
    assert apart(table_of(table.traits, rows), "a").is_told


@pytest.mark.parametrize(
    ("traits", "b", "alone"),
    [
        ([trait("t")], "y", False),
        ([trait("t", error=UNSURE)], "y", True),
        ([trait("t", error=UNSURE, group="g"), trait("u", error=UNSURE, group="g")], "y y", True),
        ([trait("t", error=UNSURE), trait("u", error=UNSURE)], "y y", False),
        # b is x a little less often than a: right in 0.5 + 0.95 * 0.08 / 2 = 0.538 of cases, no second look
        ([trait("t", error=UNSURE), trait("u")], "y x:0.92|y:0.08", True),
        # what does not apply is one look with what decides
        ([trait("t", error=UNSURE), trait("u", error=UNSURE, applies_when=("t", ("x",)))], "y -", True),
    ],
)
def test_one_unreliable_look(traits, b, alone):
    found = apart(table_of(traits, {"a": "x x", "b": b}), "a")
    assert found.one_look == (("b",) if alone else ())
    if alone:
        assert found.pairs[0].trait.id == "t"
        assert found.pairs[0].right == pytest.approx(1 - UNSURE / 2)


KNOWN = {f"t{j}": "x" for j in range(3)}
SAME = [trait(f"t{j}") for j in range(3)]


def relatives(states, column="fin"):
    return {f"kin{i}": KNOWN | {"t0": "y", column: state} for i, state in enumerate(states)}


def test_a_blank_is_judged_by_its_genus():
    rows = {"a": KNOWN | {"fin": "x"}, "b": KNOWN} | relatives("yyyx") | {"far": {"t0": "y", "fin": "x"}}
    table = of_genera(table_of([*SAME, trait("fin")], rows), ["G"] * 6 + ["Other"])
    (settle,) = apart(table, "a").pairs[0].settle
    assert (settle.trait.id, settle.blank, settle.among, settle.known) == ("fin", ("b",), "G", 4)
    assert settle.differ == pytest.approx(3 / 4)
    # a look at a difference is right in 1 - error / 2, which is 1 - error of the way from a guess
    assert settle.worth == pytest.approx(3 / 4 * (1 - SURE))


def test_two_blanks_or_too_few_of_the_genus_are_judged_by_the_table():
    rows = {"a": KNOWN | {"fin": "x"}, "b": KNOWN} | relatives("yyxx")
    table = of_genera(table_of([*SAME, trait("fin")], rows), ["G"] * 4 + ["Other"] * 2)
    (settle,) = apart(table, "b").pairs[0].settle
    assert (settle.among, settle.known, settle.differ) == ("", 4, pytest.approx(1 / 2))
    (settle,) = apart(table_of([*SAME, trait("fin")], rows | {"a": KNOWN}), "a").pairs[0].settle
    # of the 6 pairs of the four, 4 differ
    assert (settle.blank, settle.known, settle.differ) == (("a", "b"), 4, pytest.approx(4 / 6))


def test_the_cheaper_of_two_looks_stands_first():
    traits = [*SAME, trait("dear", effort=60.0), trait("cheap", effort=5.0)]
    kin = {name: row | {"dear": row["cheap"]} for name, row in relatives("yyyy", "cheap").items()}
    found = apart(table_of(traits, {"a": KNOWN | {"dear": "x", "cheap": "x"}, "b": KNOWN} | kin), "a")
    assert [s.trait.id for s in found.pairs[0].settle] == ["cheap", "dear"]


@pytest.mark.parametrize(
    ("fin", "cell", "kin"),
    [
        (trait("fin"), "x", relatives("xxxx")),  # known, but nobody differs
        (trait("fin"), "x", relatives("yy")),  # too few known to say
        (trait("fin", applies_when=("t1", ("y",))), "-", relatives("yyyy")),  # can not apply
    ],
)
def test_nothing_promises_to_settle_it(fin, cell, kin):
    rows = {"a": KNOWN | {"fin": cell}, "b": KNOWN} | kin
    assert apart(table_of([*SAME, fin], rows), "a").pairs[0].settle == ()
