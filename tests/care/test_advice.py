"""Until the name is settled: shares, the safest choice, and the question that settles a conflict."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from care_tables import TABLE, make_table
from hypothesis import given, settings
from hypothesis import strategies as st

from idkey import Identification, IdkeyError, TraitTable, care_for, load_table
from idkey.model.ask import MIN_GAIN
from idkey.model.evidence import NONE
from idkey.table.schema import States, Trait

ERROR = 0.1
NEEDS = {"warm": {"temperature_c": "28..30"}, "cool": {"temperature_c": "22..24"}}


def colours(kinds: dict[str, tuple[str, str]], traits=("colour",), **effort: float) -> TraitTable:
    """Kind -> (its group, its state in each trait, separated by blanks); two states, error 0.1."""
    base = make_table(NEEDS, {kind: (group, {}) for kind, (group, _) in kinds.items()})
    columns = list(zip(*(states.split() for _, states in kinds.values()), strict=True))
    made = tuple(
        Trait(t, "nominal", states=("dark", "pale"), error=ERROR, effort=effort.get(t, 5.0), question=f"{t}?")
        for t in traits
    )
    cells = {
        t: tuple(States((s,), (1.0,)) for s in column) for t, column in zip(traits, columns, strict=True)
    }
    return replace(base, traits=made, own_cells=cells)


TWO = colours({"a": ("warm", "dark"), "b": ("cool", "pale")})
SHIPPED = load_table()


def test_the_names_are_those_still_possible_with_their_shares():
    fish = Identification(SHIPPED).answer("pattern", "light_spots").answer("spot_colour", "orange")
    sheet = care_for(fish)
    left = [row for row in fish.ranked() if row.candidate and row.taxon != NONE]
    assert sheet.names == tuple(sheet.shares)
    assert sheet.shares == {row.taxon: row.probability for row in left[:8]}
    assert sheet.others == max(len(left) - 8, 0)
    assert sheet.none_share == {row.taxon: row.probability for row in fish.ranked()}[NONE]
    assert sum(sheet.shares.values()) + sheet.others_share + sheet.none_share <= 1 + 1e-9
    # Shares stand in words; they move no need, and an unlikely name is in it like any other.
    plain = care_for(SHIPPED, *sheet.names)
    for attribute, need in sheet.attributes.items():
        assert need.value == plain.attributes[attribute].value
        assert bool(need.conflict) == bool(plain.attributes[attribute].conflict)
    # Every conflict of a fish has its settling, by a question that is not answered yet.
    assert [s.attribute for s in sheet.settling] == [need.attribute for need in sheet.conflicts] != []
    assert not {settling.trait for settling in sheet.settling} & set(fish.answers)


def test_a_settled_fish_has_the_sheet_of_its_name():
    table = colours({"a": ("warm", "dark dark dark dark"), "b": ("cool", "pale pale pale pale")}, "stuv")
    fish = Identification(table, none_prior=0.001)
    for trait in "stuv":
        fish.answer(trait, "dark")
    assert fish.candidates() == ("a",)
    sheet, plain = care_for(fish), care_for(table, "a")
    assert sheet == plain
    assert sheet.settling == ()
    assert (repr(sheet), sheet._repr_html_()) == (repr(plain), plain._repr_html_())


def test_shares_stand_beside_who_needs_what():
    # Nothing answered: one half each of the 95 % that "none of these" leaves.
    conflict = care_for(Identification(TWO, prior="uniform")).attributes["temperature_c"].conflict
    assert "A (48 %): 28 to 30 °C" in conflict
    assert "B (48 %): 22 to 24 °C" in conflict
    # A name at a few per cent is in the conflict as much as any.
    fish = Identification(TWO, prior={"a": 97, "b": 3}, none_prior=0.001, coverage=0.99)
    assert care_for(fish).attributes["temperature_c"].value is None
    assert "B (3 %): 22 to 24 °C" in care_for(fish).attributes["temperature_c"].conflict
    assert "%" not in care_for(TWO, "a", "b").attributes["temperature_c"].conflict
    with pytest.raises(IdkeyError, match="give one, or a table and taxon ids"):
        care_for(Identification(TABLE), "zebra")
    with pytest.raises(IdkeyError, match="none of the kinds"):
        care_for(Identification(TABLE, none_prior=0.99))


def test_water_between_ranges_that_do_not_meet_is_a_stopgap_and_it_is_said_for_whom_it_is_wrong():
    # ENCYC3 p.132: Ancistrus dolichopterus 23-25 °C; SF_L081: Baryancistrus 27-32 °C, not cooler.
    sheet = care_for(SHIPPED, "ancistrus_dolichopterus", "baryancistrus_xanthellus")
    need, safest = sheet.attributes["temperature_c"], sheet.safest["temperature_c"]
    assert need.conflict
    assert need.value is None
    assert safest.startswith("25 to 27 °C (77 to 81 °F) as a stopgap, not right for")
    assert safest.endswith("not right for Ancistrus dolichopterus and Baryancistrus xanthellus")
    assert safest in need.text
    # Where shares are known, the likeliest two decide.
    ranges = {"likely": "26..28", "next": "27..30", "far": "18..20"}
    table = make_table({k: {"temperature_c": v} for k, v in ranges.items()}, {k: (k, {}) for k in ranges})
    fish = Identification(table, prior={"likely": 6, "next": 3, "far": 1}, none_prior=0.01)
    assert set(care_for(fish).names) == set(ranges)
    safest = care_for(fish).safest["temperature_c"]
    assert safest.startswith("27 to 28 °C")
    assert safest.endswith("not right for Far (10 %)")


def test_of_room_and_oxygen_the_most_and_of_unlike_flow_both_ends():
    assert dict(care_for(TABLE, "zebra").safest) == {}
    safest = care_for(TABLE, "worm", "stripe").safest
    assert safest["tank_volume_l"] == "at least 160 L (42 US gal)"
    assert safest["oxygen_mg_l"] == "not known for Stripe; for Worm: at least 6 mg/L"
    assert "a brisk end and a slack end" in safest["flow"]
    assert safest["diet_type"].startswith("keep the food of each on offer (")
    assert "nothing that one of them should avoid" in safest["diet_type"]
    assert safest["ph"] == "6.8 to 7.2; change it slowly"
    assert safest["adult_length_mm"] == "plan for 130 mm (5.1 in)"


RANGES = st.tuples(*[st.integers(10, 40)] * 2).map(lambda r: f"{min(r)}..{max(r)}")


@settings(max_examples=25)
@given(st.lists(RANGES, min_size=2, max_size=3))
def test_the_safest_choice_is_the_same_in_any_order_of_names(rows):
    kinds = {f"k{i}": ("g", {"temperature_c": r}) for i, r in enumerate(rows)}
    table = make_table({"g": {}}, kinds)
    choices = {
        care_for(table, *order).safest["temperature_c"].partition(" as a stopgap")[0]
        for order in itertools.permutations(kinds)
    }
    assert len(choices) == 1


def entropy(p):
    p = np.array([x for x in p if x > 0])
    return float(-(p / p.sum() * np.log2(p / p.sum())).sum())


def test_a_question_settles_what_the_formula_says():
    # By hand: P(x | kind) = 1 - e + e / 2 for its own state, e / 2 for the other; two kinds at one half each.
    own, other = 1 - ERROR + ERROR / 2, ERROR / 2
    (settling,) = care_for(Identification(TWO, prior="uniform")).settling
    assert (settling.attribute, settling.trait, settling.question) == ("temperature_c", "colour", "colour?")
    assert settling.settles == pytest.approx(1 - entropy([own, other]))
    assert "To settle it, look next: colour?" in settling.text


def test_a_question_that_parts_names_of_the_same_need_settles_nothing_and_a_dear_one_is_not_asked():
    kinds = {"a": "warm dark dark", "b": "warm pale dark", "c": "cool dark pale", "d": "cool pale pale"}
    kinds = {kind: tuple(needs.split(" ", 1)) for kind, needs in kinds.items()}
    fish = Identification(colours(kinds, ("vain", "telling"), vain=1.0, telling=60.0), prior="uniform")
    assert fish.next_question().trait.id == "vain"  # it tells names apart and takes a second
    (settling,) = care_for(fish).settling
    assert settling.trait == "telling"
    assert "telling?" in care_for(fish).attributes["temperature_c"].text
    # The cheaper of two equal questions is asked.
    kinds = {"a": ("warm", "dark dark"), "b": ("cool", "pale pale")}
    for cheap, dear in (("one", "two"), ("two", "one")):
        table = colours(kinds, ("one", "two"), **{cheap: 2.0, dear: 20.0})
        (settling,) = care_for(Identification(table, prior="uniform")).settling
        assert settling.trait == cheap


def test_what_is_answered_or_cannot_be_seen_is_not_asked_again():
    sheet = care_for(Identification(TWO, prior="uniform").answer("colour", None))
    assert [(s.trait, s.settles) for s in sheet.settling] == [(None, 0)]
    alike = colours({"a": ("warm", "dark"), "b": ("cool", "dark")})
    assert [s.trait for s in care_for(Identification(alike, prior="uniform")).settling] == [None]
    assert "No question left in this table settles it" in sheet.attributes["temperature_c"].text


KINDS = st.tuples(st.sampled_from(["warm", "cool"]), st.sampled_from(["dark", "pale"]))


@settings(max_examples=25)
@given(st.lists(KINDS, min_size=2, max_size=6))
def test_telling_the_need_is_never_more_than_telling_the_name(kinds):
    table = colours({f"k{i}": kind for i, kind in enumerate(kinds)})
    for settling in care_for(Identification(table, prior="uniform")).settling:
        if settling.trait is None:
            continue
        assert MIN_GAIN <= settling.settles <= 1
        p = {"warm": np.zeros(2), "cool": np.zeros(2)}
        for group, state in kinds:
            own = [1 - ERROR / 2, ERROR / 2]
            p[group] += own if state == "dark" else own[::-1]
        joint = np.array(list(p.values())) / len(kinds)
        after = sum(joint[:, x].sum() * entropy(joint[:, x]) for x in range(2))
        assert settling.settles == pytest.approx(entropy(joint.sum(axis=1)) - after)
