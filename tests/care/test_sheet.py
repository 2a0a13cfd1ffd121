"""Care for one name and for several: overlaps, conflicts, unknowns."""

import pickle

import pandas as pd
import pytest
from care_tables import ATTRIBUTES, TABLE, make_table, sheet_of
from hypothesis import given
from hypothesis import strategies as st

from idkey import CareSheet, IdkeyError, TraitTable, care_for
from idkey.care.needs import format_value, read_cell
from idkey.errors import UnknownName


def need_of(attribute: str, *names: str):
    return care_for(TABLE, *names).attributes[attribute]


def test_the_row_of_the_kind_stands_over_its_group_and_what_was_set_aside_lends_no_weight():
    needs = care_for(TABLE, "zebra").attributes
    assert (needs["ph"].value, needs["ph"].origin) == ((6.5, 7.0), "species")
    # A source that is not described goes by its key.
    assert needs["ph"].sources == ("PAGE2",)
    assert (needs["temperature_c"].value, needs["temperature_c"].origin) == ((26.0, 30.0), "group")
    assert needs["cautions"].value == "Trade needs papers. Do not disturb a brood."
    assert needs["handling"].value == "Dry your hands. See a vet about a sick fish."
    assert needs["handling"].origin == "all"
    need = need_of("temperature_c", "worm")
    assert (len(need.evidence), need.classes, need.sources) == (2, ("read",), ("Author 1999",))


def test_ranges_and_states_are_shared_or_a_conflict_without_a_value():
    sheet = care_for(TABLE, "worm", "stripe")
    need = sheet.attributes["ph"]
    assert (need.value, need.text, need.conflict) == ((6.8, 7.2), "6.8 to 7.2", "")
    assert [(p.name, p.value) for p in need.parts] == [("worm", (5.8, 7.2)), ("stripe", (6.8, 7.6))]
    assert [need.attribute for need in sheet.conflicts] == ["temperature_c", "flow", "diet_type"]
    for need in sheet.conflicts:
        assert need.value is None
        assert "Until the name is settled" in need.text
        assert "Worm: " in need.conflict
        assert "Stripe: " in need.conflict
    need = need_of("temperature_c", "worm", "stripe", "ghost")
    assert need.conflict.startswith("Worm: 26 to 30 °C")
    assert [p.name for p in need.unknown] == ["ghost"]
    assert need_of("flow", "zebra", "worm").value == frozenset({"moderate", "strong"})


def test_of_minimums_the_largest_counts_lengths_are_spanned_and_facts_are_listed():
    needs = care_for(TABLE, "worm", "stripe").attributes
    assert needs["tank_volume_l"].value == 160
    assert needs["tank_volume_l"].text == "160 L (42 US gal), set by Stripe"
    assert needs["adult_length_mm"].value == (80, 130)
    assert "plan for the largest, 130 mm (5.1 in), Stripe" in needs["adult_length_mm"].text
    # What a brood is like is listed and never in conflict.
    kinds = {"a": ("g", {}), "b": ("g", {"eggs": "100..100"}), "c": ("g", {})}
    need = care_for(make_table({"g": {"eggs": "6..12"}}, kinds), "a", "b", "c").attributes["eggs"]
    assert (need.conflict, need.text) == ("", "A and C: 6 to 12; B: 100")


def test_texts_are_listed_by_name_where_they_differ():
    assert need_of("shelters", "zebra", "worm").text == "Caves."
    need = need_of("shelters", "worm", "stripe")
    assert (need.value, need.conflict) == (None, "")
    assert need.text.splitlines() == ["Worm: Caves.", "Stripe: Wood."]
    cautions = need_of("cautions", "zebra", "worm").text
    assert cautions.splitlines() == ["Zebra and Worm: Do not disturb a brood.", "Zebra: Trade needs papers."]
    # What holds for every fish and what a kind adds stand together, each sentence once.
    fish = make_table(
        {"all": {"handling": "Wet your hands. Use a box."}, "g": {"handling": "It bites. Use a box."}},
        {"a": ("g", {}), "b": ("g", {"handling": "It stings."})},
    )
    assert care_for(fish, "a").attributes["handling"].text == "It bites. Use a box. Wet your hands."
    both = care_for(fish, "a", "b").attributes["handling"].text
    assert both.splitlines() == ["It bites. Use a box. Wet your hands.", "B: It stings."]


def test_every_column_is_on_the_sheet_and_what_is_unknown_for_one_is_said_and_never_settled():
    assert list(care_for(TABLE, "ghost").attributes) == list(ATTRIBUTES)
    for names in (("ghost",), ("worm", "ghost")):
        for need in care_for(TABLE, *names).attributes.values():
            if need.attribute != "handling":
                assert need.value is None
                assert "ghost" in [p.name for p in need.unknown]
                assert need.known or need.text == "not known"
    text = need_of("temperature_c", "worm", "ghost").text
    assert text == "not known for Ghost; for Worm: 26 to 30 °C (79 to 86 °F)"


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
    needs = care_for(fish, *names).attributes
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
    for need in care_for(fish, *names, names[0]).attributes.values():
        first = needs[need.attribute]
        assert (need.value, need.origin, set(need.parts)) == (first.value, first.origin, set(first.parts))
        assert bool(need.conflict) == bool(first.conflict)


def test_a_sheet_as_a_frame_and_pickled_and_that_it_cannot_be_changed():
    frame = care_for(TABLE, "worm", "stripe").to_frame()
    assert list(frame.columns) == ["attribute", "need", "evidence class", "sources", "conflict"]
    assert list(frame["attribute"]) == list(ATTRIBUTES)
    assert not frame.isna().any(axis=None)
    row = frame.set_index("attribute").loc["temperature_c"]
    assert row["evidence class"] == "read"
    assert row["conflict"]
    sheet = care_for(TABLE, "zebra")
    with pytest.raises(AttributeError):
        sheet.names = ()
    assert pickle.loads(pickle.dumps(sheet)) == sheet


@pytest.mark.parametrize(
    ("attribute", "cell", "words"),
    [
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
    ],
)
def test_units_are_shown_metric_first(attribute, cell, words):
    assert format_value(ATTRIBUTES[attribute], read_cell(ATTRIBUTES[attribute], cell)) == words


@pytest.mark.parametrize("name", ["zebbra", "", 3, None, ["zebra"]])
def test_an_unknown_name_is_one_line_with_the_nearest_spelling(name):
    with pytest.raises(UnknownName) as caught:
        care_for(TABLE, "worm", name)
    message = str(caught.value)
    assert repr(name) in message
    assert "\n" not in message
    assert ("did you mean 'zebra'" in message) == (name == "zebbra")


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
