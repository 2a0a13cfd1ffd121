"""One kind against all others: what can't be told, what hangs on one look, and what would settle it."""

from functools import partial

import pytest
from hypothesis import given
from hypothesis import strategies as st

from idkey import compare
from idkey.errors import UnknownName
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


@given(tables())
def test_never_is_what_a_comparison_finds_nothing_in(table):
    for a in table.ids:
        found = apart(table, a)
        same = []
        for b in table.ids:
            if a != b:
                looks = compare(table, a, b).contrasts
                rights = [c.right for c in looks] + [
                    c.right_young for c in looks if c.right_young is not None
                ]
                same += [b] if max(rights) <= 0.5 + 1e-9 else []
        assert sorted(found.never + found.hardly_known) == sorted(same)


@given(tables(), st.randoms(use_true_random=False))
def test_the_order_of_the_kinds_makes_no_difference(table, random):
    other = shuffled(table, random)
    for taxon in table.ids:
        one, two = apart(table, taxon), apart(other, taxon)
        for sort in ("never", "hardly_known", "one_look", "adults_only"):
            assert set(getattr(one, sort)) == set(getattr(two, sort)), sort


def test_little_known_in_common_is_no_alarm():
    three = [trait("t1"), trait("t2"), trait("t3")]
    found = apart(table_of(three, {"a": "x x x", "b": "x x x", "c": "x x"}), "a")
    assert (found.never, found.hardly_known) == (("b",), ("c",))
    assert [(p.other, p.why, p.compared) for p in found.pairs] == [("b", "never", 3)]
    assert not found.is_told


def test_what_the_seller_says_tells_nothing():
    found = apart(table_of([trait("basin"), trait("tail")], {"a": "x x", "b": "y x"}), "a")
    assert found.hardly_known == ("b",)


def test_the_name_must_be_in_the_table():
    with pytest.raises(UnknownName, match="did you mean"):
        apart(table_of([trait("t")], {"ancistrus": {"t": "x"}}), "ancistrvs")


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
    ("traits", "alone"),
    [
        ([trait("t")], False),
        ([trait("t", error=UNSURE)], True),
        ([trait("t", error=UNSURE), trait("u", error=UNSURE)], False),
        ([trait("t", error=UNSURE, group="g"), trait("u", error=UNSURE, group="g")], True),
        ([trait("t", error=UNSURE), trait("u")], False),
    ],
)
def test_one_unreliable_look(traits, alone):
    rows = {"a": {t.id: "x" for t in traits}, "b": {t.id: "y" for t in traits}}
    found = apart(table_of(traits, rows), "a")
    assert found.one_look == (("b",) if alone else ())
    if alone:
        assert found.pairs[0].trait.id == "t"
        assert found.pairs[0].right == pytest.approx(1 - UNSURE / 2)


def test_a_trait_that_does_not_apply_is_one_look_with_the_one_that_decides():
    spots = trait("spots", error=UNSURE, applies_when=("pattern", ("x",)))
    table = table_of([trait("pattern", error=UNSURE), spots], {"a": "x x", "b": "y -"})
    assert apart(table, "a").one_look == ("b",)


def test_a_look_that_hardly_tells_is_no_second_look():
    # b is x a little less often than a: right in 0.5 + 0.95 * 0.08 / 2 = 0.538 of cases
    table = table_of([trait("t", error=UNSURE), trait("u")], {"a": "x x", "b": "y x:0.92|y:0.08"})
    assert apart(table, "a").one_look == ("b",)


# -- what would settle it --------------------------------------------------------------------------------

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


def test_a_genus_of_which_too_few_are_known_gives_way_to_the_table():
    rows = {"a": KNOWN | {"fin": "x"}, "b": KNOWN} | relatives("yyxx")
    table = of_genera(table_of([*SAME, trait("fin")], rows), ["G"] * 4 + ["Other"] * 2)
    (settle,) = apart(table, "b").pairs[0].settle
    assert (settle.among, settle.known, settle.differ) == ("", 4, pytest.approx(1 / 2))


def test_two_blanks_are_judged_by_pairs_of_relatives():
    rows = {"a": KNOWN, "b": KNOWN} | relatives("yyxx")
    (settle,) = apart(table_of([*SAME, trait("fin")], rows), "a").pairs[0].settle
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
        (trait("fin"), "x", {}),
        (trait("fin", applies_when=("t1", ("y",))), "-", relatives("yyyy")),  # can not apply
    ],
)
def test_nothing_promises_to_settle_it(fin, cell, kin):
    rows = {"a": KNOWN | {"fin": cell}, "b": KNOWN} | kin
    assert apart(table_of([*SAME, fin], rows), "a").pairs[0].settle == ()


@given(tables())
def test_only_blanks_are_proposed_and_chances_are_chances(table):
    for taxon in table.ids:
        for pair in apart(table, taxon).pairs:
            assert 0.5 - 1e-9 <= pair.right <= 1
            for settle in pair.settle:
                assert set(settle.blank) <= {taxon, pair.other}
                assert 0 <= settle.differ <= 1
                assert 0 < settle.worth <= 1
                if pair.why != "adults only":
                    assert all(table.cell(t, settle.trait.id) is None for t in settle.blank)
