"""Care for one name and for several: overlaps, conflicts, unknowns; what is safest, and what settles it."""

import pickle
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from care_tables import ATTRIBUTES, TABLE, make_table, sheet_of
from hypothesis import given, settings
from hypothesis import strategies as st
from shipped import TABLE as SHIPPED

from idkey import CareSheet, Identification, IdkeyError, TraitTable, care_for
from idkey.care.needs import format_value, read_cell
from idkey.model.ask import MIN_GAIN
from idkey.table.schema import NONE, States, Trait


def need_of(attribute: str, *names: str):
    return care_for(TABLE, *names).attributes[attribute]


def test_the_row_of_the_kind_stands_over_its_group_and_what_was_set_aside_lends_no_weight():
    needs = care_for(TABLE, "zebra").attributes
    assert (needs["ph"].value, needs["ph"].origin) == ((6.5, 7.0), "species")
    # A source that is not described goes by its key.
    assert needs["ph"].sources == ("PAGE2",)
    assert (needs["temperature_c"].value, needs["temperature_c"].origin) == ((26.0, 30.0), "group")
    assert needs["handling"].origin == "all"
    need = need_of("temperature_c", "worm")
    assert (len(need.evidence), need.classes, need.sources) == (2, ("read",), ("Author 1999",))


def test_a_conflict_has_no_value_and_says_who_needs_what():
    sheet = care_for(TABLE, "worm", "stripe")
    assert {p.name: p.value for p in sheet.attributes["ph"].parts} == {
        "worm": (5.8, 7.2),
        "stripe": (6.8, 7.6),
    }
    assert [need.attribute for need in sheet.conflicts] == ["temperature_c", "flow", "diet_type"]
    for need in sheet.conflicts:
        assert need.value is None
        assert "Until the name is settled" in need.text
        assert "Worm: " in need.conflict
        assert "Stripe: " in need.conflict
    need = need_of("temperature_c", "worm", "stripe", "ghost")
    assert need.conflict.startswith("Worm: 26 to 30 °C")
    assert [p.name for p in need.unknown] == ["ghost"]


# Names, a column, and what their sheet says of it, line by line.
SAID = """
zebra  handling  Dry your hands. See a vet about a sick fish.
zebra  cautions  Trade needs papers. Do not disturb a brood.
worm stripe  ph  6.8 to 7.2
worm stripe  tank_volume_l  160 L (42 US gal), set by Stripe
worm stripe  adult_length_mm  80 to 130 mm (3.1 to 5.1 in); plan for the largest, 130 mm (5.1 in), Stripe
worm ghost  temperature_c  not known for Ghost; for Worm: 26 to 30 °C (79 to 86 °F)
# Texts are listed by name where they differ, each sentence once.
zebra worm  shelters  Caves.
worm stripe  shelters  Worm: Caves. / Stripe: Wood.
zebra worm  cautions  Zebra and Worm: Do not disturb a brood. / Zebra: Trade needs papers.
nip  handling  It bites. Dry your hands. See a vet about a sick fish.
nip sting  handling  It bites. Dry your hands. See a vet about a sick fish. / Sting: It stings.
# What a brood is like is listed and never in conflict.
nip sting gnaw  eggs  Nip and Gnaw: 6 to 12; Sting: 100
"""


@pytest.mark.parametrize("line", [line for line in SAID.splitlines() if line and line[0] != "#"])
def test_what_a_sheet_says_for_one_name_and_for_several(line):
    names, attribute, words = line.split("  ")
    need = need_of(attribute, *names.split())
    assert (need.text.splitlines(), need.conflict) == (words.split(" / "), "")


def test_every_column_is_on_the_sheet_and_what_is_unknown_for_one_is_said_and_never_settled():
    assert list(care_for(TABLE, "ghost").attributes) == list(ATTRIBUTES)
    for names in (("ghost",), ("worm", "ghost")):
        needs = [n for n in care_for(TABLE, *names).attributes.values() if n.attribute != "handling"]
        assert all(n.value is None and n.unknown[-1].name == "ghost" for n in needs)
        assert all(n.known or n.text == "not known" for n in needs)


NUMBERS = st.integers(0, 40).map(lambda n: n / 2)
RANGES = st.just("") | st.tuples(NUMBERS, NUMBERS).map(sorted).map(lambda r: f"{r[0]:g}..{r[1]:g}")
STATES = st.sets(st.sampled_from(["gentle", "moderate", "strong"])).map(lambda s: "|".join(sorted(s)))
CELLS = st.fixed_dictionaries(
    {
        "temperature_c": RANGES,
        "adult_length_mm": RANGES,
        "flow": STATES,
        "tank_volume_l": st.just("") | st.integers(1, 500).map(str),
        "breeding": st.sampled_from(["", "Eggs in caves.", "Eggs on wood."]),
    }
)


# What suits all names that have a need of it: exactly so, so that one more name never widens it.
RIGHT = {
    "temperature_c": lambda own: (max(low for low, _ in own), min(high for _, high in own)),
    "adult_length_mm": lambda own: (min(low for low, _ in own), max(high for _, high in own)),
    "flow": lambda own: frozenset.intersection(*own),
    "tank_volume_l": max,
    "breeding": lambda own: own[0] if len(set(own)) == 1 else None,
}


@given(st.lists(CELLS, min_size=1, max_size=4), st.randoms(use_true_random=False))
def test_the_common_answer_suits_every_name_in_any_order(rows, random):
    kinds = {f"kind{i}": ("g", row) for i, row in enumerate(rows)}
    fish, names = make_table({"all": {}, "g": {}}, kinds), list(kinds)
    both = care_for(fish, *names)
    needs = both.attributes
    alone = [care_for(fish, name).attributes for name in names]
    for attribute, right_for in RIGHT.items():
        need, own = needs[attribute], [sheet[attribute].value for sheet in alone]
        known = [value for value in own if value is not None]
        right = right_for(known) if known else None
        nothing_suits = right == frozenset() or (
            attribute == "temperature_c" and known and right[0] > right[1]
        )
        assert bool(need.conflict) == bool(nothing_suits)
        assert len(need.unknown) == len(own) - len(known)
        assert need.value == (None if need.unknown or nothing_suits else right)
    random.shuffle(names)
    again = care_for(fish, *names, names[0])
    for need in again.attributes.values():
        first = needs[need.attribute]
        assert (need.value, need.origin, set(need.parts)) == (first.value, first.origin, set(first.parts))
        assert bool(need.conflict) == bool(first.conflict)
    if not needs["temperature_c"].unknown:
        one, other = (sheet.safest.get("temperature_c", "").split(" as a ")[0] for sheet in (both, again))
        assert one == other


def test_a_sheet_as_a_frame_and_pickled_and_that_it_cannot_be_changed():
    frame = care_for(TABLE, "worm", "stripe").to_frame().set_index("attribute")
    assert list(frame.columns) == ["need", "evidence class", "sources", "conflict"]
    assert list(frame.index) == list(ATTRIBUTES)
    assert not frame.isna().any(axis=None)
    assert frame.loc["temperature_c", "evidence class"] == "read"
    assert frame.loc["temperature_c", "conflict"]
    sheet = care_for(TABLE, "zebra")
    with pytest.raises(AttributeError):
        sheet.names = ()
    assert pickle.loads(pickle.dumps(sheet)) == sheet


def test_units_are_shown_metric_first():
    for attribute, cell, words in (
        # The L081 table of a fish wiki (FISHYWIKI_L081): 27 °C = 80.60 °F, 32 °C = 89.60 °F, 240 L = 63.40 US
        # gal, 3.03 and 15.02 dGH = 54 and 268 ppm
        ("temperature_c", "27..32", "27 to 32 °C (81 to 90 °F)"),
        ("tank_volume_l", "240", "240 L (63 US gal)"),
        ("gh_dgh", "3.03..15.02", "3.03 to 15.02 °dGH (54 to 268 mg/L as CaCO3)"),
        ("gh_dgh", "10", "10 °dGH (178 mg/L as CaCO3)"),  # 178 ppm: table of a pet wiki (PETWIKI_LEO)
        # 50 mm = 2 in to the nearest tenth: definition of the inch, 25.4 mm
        ("adult_length_mm", "50.8..254", "50.8 to 254 mm (2.0 to 10.0 in)"),
        ("tank_length_cm", "127", "127 cm (50 in)"),
        ("oxygen_mg_l", "6", "6 mg/L"),
        ("ph", "6..7.5", "6.0 to 7.5"),
        ("flow", "strong|gentle|moderate", "gentle, moderate or strong"),
    ):
        assert format_value(ATTRIBUTES[attribute], read_cell(ATTRIBUTES[attribute], cell)) == words


@pytest.mark.parametrize("group", ["", "nowhere"])
def test_a_table_or_a_kind_without_care_or_with_a_bad_cell_says_so(group):
    with pytest.raises(IdkeyError, match="at least one taxon id"):
        care_for(TABLE)
    frame = pd.DataFrame({"kind": ["a", "b"], "colour": ["red", "blue"]})
    with pytest.raises(IdkeyError, match="no care sheets"):
        care_for(TraitTable.from_frame(frame, taxon="kind"), "a")
    fish = make_table({"g": {}}, {"a": (group, {}), "b": ("g", {})})
    with pytest.raises(IdkeyError, match="no care sheets"):
        care_for(fish, "a")
    assert isinstance(care_for(fish, "b"), CareSheet)
    with pytest.raises(IdkeyError, match=r"care\.csv, ph: '7\.\.6'"):
        sheet_of({"ph": "7..6"})


# -- until the name is settled -----------------------------------------------------------------------

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
    assert (sheet, sheet.settling) == (plain, ())
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


def test_a_stranger_is_cared_for_as_for_its_genus_and_the_names_still_possible_count_too():
    kinds = {"a": ("warm", "dark dark"), "b": ("warm", "dark dark"), "c": ("cool", "pale pale")}
    table = colours(kinds, "st")
    table = replace(table, taxa=table.taxa.assign(genus=["Warmia", "Warmia", "Coolia"]))
    fish = Identification(table, none_prior=0.9, coverage=0.9).answer("s", "dark").answer("t", "dark")
    assert (fish.outcome().kind, fish.stranger()[0]) == ("none of these", "Warmia")
    sheet = care_for(fish)
    assert (sheet.stranger_of, sheet.names) == ("Warmia", ("a", "b"))
    assert (
        sheet.attributes["temperature_c"].value == care_for(table, "a", "b").attributes["temperature_c"].value
    )
    fish = Identification(table, none_prior=0.9, coverage=0.9999).answer("s", "dark").answer("t", "dark")
    assert care_for(fish).names == ("a", "b", "c")
    assert care_for(fish).attributes["temperature_c"].conflict


def test_water_between_ranges_that_do_not_meet_is_a_stopgap_and_it_is_said_for_whom_it_is_wrong():
    # ENCYC3 p.132: Ancistrus dolichopterus 23-25 °C; SF_L081: Baryancistrus 27-32 °C, not cooler.
    sheet = care_for(SHIPPED, "ancistrus_dolichopterus", "baryancistrus_xanthellus")
    need, safest = sheet.attributes["temperature_c"], sheet.safest["temperature_c"]
    kinds = "Ancistrus dolichopterus and Baryancistrus xanthellus"
    assert need.conflict
    assert need.value is None
    assert safest == f"25 to 27 °C (77 to 81 °F) as a stopgap, not right for {kinds}"
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


def entropy(p):
    p = np.array([x for x in p if x > 0])
    return float(-(p / p.sum() * np.log2(p / p.sum())).sum())


def test_a_question_settles_what_the_formula_says_and_is_not_asked_again():
    fish = Identification(TWO, prior="uniform")
    # By hand: P(x | kind) = 1 - e + e / 2 for its own state, e / 2 for the other; two kinds at one half each.
    own, other = 1 - ERROR + ERROR / 2, ERROR / 2
    (settling,) = care_for(fish).settling
    assert (settling.attribute, settling.trait, settling.question) == ("temperature_c", "colour", "colour?")
    assert settling.settles == pytest.approx(1 - entropy([own, other]))
    assert "To settle it, look next: colour?" in settling.text
    sheet = care_for(fish.answer("colour", None))  # it cannot be seen
    assert [(s.trait, s.settles) for s in sheet.settling] == [(None, 0)]
    assert "No question left in this table settles it" in sheet.attributes["temperature_c"].text
    alike = colours({"a": ("warm", "dark"), "b": ("cool", "dark")})
    assert [s.trait for s in care_for(Identification(alike, prior="uniform")).settling] == [None]


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
        (settling,) = care_for(
            Identification(colours(kinds, ("one", "two"), **{cheap: 2.0, dear: 20.0}), prior="uniform")
        ).settling
        assert settling.trait == cheap


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
