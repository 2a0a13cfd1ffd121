"""Care for one name and for several: overlaps, conflicts, unknowns."""

from __future__ import annotations

import itertools
import json
import pickle

import pandas as pd
import pytest
from care_tables import ATTRIBUTES, FOR_EVERY_FISH, make_table, room
from hypothesis import given
from hypothesis import strategies as st

from idkey import CareSheet, IdkeyError, TraitTable, care_for, check_tank
from idkey.care.needs import format_value, read_cell
from idkey.errors import UnknownName


@pytest.fixture(scope="module")
def table() -> TraitTable:
    return room()


# ---------------------------------------------------------------------------------------- one name


def test_the_row_of_the_kind_stands_over_its_group(table):
    sheet = care_for(table, "zebra")
    assert sheet.attributes["ph"].value == (6.5, 7.0)
    assert sheet.attributes["ph"].origin == "species"
    assert [c.source for c in sheet.attributes["ph"].evidence] == ["PAGE2"]
    assert sheet.attributes["temperature_c"].value == (26.0, 30.0)
    assert sheet.attributes["temperature_c"].origin == "group"
    assert care_for(table, "worm").attributes["ph"].value == (5.8, 7.2)


def test_cautions_of_kind_and_group_add_up_and_what_concerns_every_fish_stands_apart(table):
    needs = care_for(table, "zebra").attributes
    assert needs["cautions"].value == "Trade needs papers. Do not disturb a brood."
    assert needs["handling"].value == "Dry your hands. See a vet about a sick fish."
    assert needs["handling"].origin == "all"


def test_every_column_is_on_the_sheet_and_unknown_is_said(table):
    sheet = care_for(table, "ghost")
    assert set(sheet.attributes) == set(ATTRIBUTES)
    for need in sheet.attributes.values():
        if need.attribute != "handling":
            assert need.value is None
            assert not need.settled
            assert need.unknown_for == ("ghost",)
            caution = need.attribute in ("cautions", *FOR_EVERY_FISH)
            assert need.text == ("none on record" if caution else "not known")


def test_a_figure_that_was_set_aside_is_kept_but_lends_no_weight(table):
    need = care_for(table, "worm").attributes["temperature_c"]
    assert len(need.evidence) == 2
    assert need.classes == ("read",)
    assert need.sources == ("Author 1999",)
    # a source that is not described goes by its key
    assert care_for(table, "zebra").attributes["ph"].sources == ("PAGE2",)


# ------------------------------------------------------------------------------------ several names


def test_ranges_overlap_or_are_a_conflict_without_a_value(table):
    sheet = care_for(table, "worm", "stripe")
    need = sheet.attributes["ph"]
    assert (need.value, need.text, need.settled) == ((6.8, 7.2), "6.8 to 7.2", True)
    assert dict(need.by_name) == {"worm": "5.8 to 7.2", "stripe": "6.8 to 7.6"}
    need = sheet.attributes["temperature_c"]
    assert need.value is None
    assert "Worm: 26 to 30 °C" in need.conflict
    assert "Stripe: 22 to 25 °C" in need.conflict
    assert need in sheet.conflicts
    assert not need.settled
    need = care_for(table, "worm", "stripe", "ghost").attributes["temperature_c"]
    assert need.conflict
    assert need.unknown_for == ("ghost",)


def test_of_minimums_the_largest_counts_lengths_are_spanned_and_it_is_said_for_whom(table):
    needs = care_for(table, "worm", "stripe").attributes
    assert needs["tank_volume_l"].value == 160
    assert needs["tank_volume_l"].text == "160 L (42 US gal), set by Stripe"
    assert needs["adult_length_mm"].value == (60, 150)
    assert "plan for the largest, 150 mm (5.9 in), Worm" in needs["adult_length_mm"].text


def test_states_are_shared_or_in_conflict(table):
    assert care_for(table, "zebra", "worm").attributes["flow"].value == frozenset({"moderate", "strong"})
    for attribute in ("flow", "diet_type"):
        need = care_for(table, "worm", "stripe").attributes[attribute]
        assert need.value is None
        assert "Worm" in need.conflict
        assert "Stripe" in need.conflict
        assert "Until the name is settled" in need.text


def test_texts_are_listed_by_name_where_they_differ(table):
    assert care_for(table, "zebra", "worm").attributes["shelters"].text == "Caves."
    need = care_for(table, "worm", "stripe").attributes["shelters"]
    assert need.value is None
    assert need.text.splitlines() == ["Worm: Caves.", "Stripe: Wood."]
    assert not need.conflict
    cautions = care_for(table, "zebra", "worm").attributes["cautions"].text
    assert cautions.splitlines() == ["Zebra and Worm: Do not disturb a brood.", "Zebra: Trade needs papers."]


def test_what_is_unknown_for_one_is_never_settled(table):
    sheet = care_for(table, "worm", "ghost")
    for need in sheet.attributes.values():
        if need.attribute == "handling":
            continue
        assert need.value is None
        assert not need.settled
        assert "ghost" in need.unknown_for
    assert sheet.attributes["temperature_c"].text == (
        "not known for Ghost; for Worm: 26 to 30 °C (79 to 86 °F)"
    )


def test_the_order_of_names_changes_only_the_display(table):
    assert care_for(table, "zebra", "zebra") == care_for(table, "zebra")
    assert care_for(table, "zebra", "worm", "zebra") == care_for(table, "zebra", "worm")
    for chosen in itertools.chain.from_iterable(
        itertools.combinations(table.taxa.index, n) for n in (2, 3, 4)
    ):
        sheets = [care_for(table, *order) for order in itertools.permutations(chosen)]
        for sheet in sheets[1:]:
            for a, b in zip(sheets[0].attributes.values(), sheet.attributes.values(), strict=True):
                assert a.value == b.value
                assert a.by_name == b.by_name
                assert a.origin == b.origin
                assert bool(a.conflict) == bool(b.conflict)
                assert set(a.evidence) == set(b.evidence)
                assert set(a.unknown_for) == set(b.unknown_for)


NUMBERS = st.integers(0, 40).map(lambda n: n / 2)
RANGES = st.tuples(NUMBERS, NUMBERS).map(sorted).map(lambda r: f"{r[0]:g}..{r[1]:g}")
STATES = st.sets(st.sampled_from(["gentle", "moderate", "strong"]), min_size=1).map(
    lambda s: "|".join(sorted(s))
)
CELLS = st.fixed_dictionaries(
    {
        "temperature_c": st.one_of(st.just(""), RANGES),
        "adult_length_mm": st.one_of(st.just(""), RANGES),
        "flow": st.one_of(st.just(""), STATES),
        "tank_volume_l": st.one_of(st.just(""), st.integers(1, 500).map(str)),
        "breeding": st.sampled_from(["", "Eggs in caves.", "Eggs on wood."]),
    }
)


@given(st.lists(CELLS, min_size=1, max_size=4), st.randoms(use_true_random=False))
def test_the_common_answer_suits_every_name(rows, random):
    names = [f"kind{i}" for i in range(len(rows))]
    fish = make_table({"all": {}, "g": {}}, {n: ("g", row) for n, row in zip(names, rows, strict=True)})
    sheet = care_for(fish, *names)
    alone = {n: care_for(fish, n).attributes for n in names}
    for need in sheet.attributes.values():
        own = [alone[n][need.attribute].value for n in names]
        known = [v for v in own if v is not None]
        assert bool(need.unknown_for) == (len(known) < len(own))
        if need.unknown_for or need.conflict:
            assert need.value is None
        elif need.attribute == "temperature_c":
            assert all(low <= need.value[0] <= need.value[1] <= high for low, high in own)
        elif need.attribute == "adult_length_mm":
            assert need.value == (min(v[0] for v in own), max(v[1] for v in own))
        elif need.attribute == "tank_volume_l":
            assert need.value == max(own)
        elif need.attribute == "flow":
            assert need.value
            assert all(need.value <= v for v in own)
        assert bool(need.conflict) == _nothing_suits(need.attribute, known)
    shuffled = names.copy()
    random.shuffle(shuffled)
    other = care_for(fish, *shuffled)
    assert [n.value for n in other.attributes.values()] == [n.value for n in sheet.attributes.values()]


def _nothing_suits(attribute: str, known: list) -> bool:
    if not known:
        return False
    if attribute == "temperature_c":
        return max(v[0] for v in known) > min(v[1] for v in known)
    return attribute == "flow" and not frozenset.intersection(*known)


@given(st.lists(CELLS, min_size=2, max_size=4), st.integers(0, 3))
def test_one_more_name_never_widens_what_is_right(rows, last):
    rows.append(rows[last % len(rows)] | {"temperature_c": rows[0]["temperature_c"]})
    names = [f"kind{i}" for i in range(len(rows))]
    fish = make_table({"all": {}, "g": {}}, {n: ("g", row) for n, row in zip(names, rows, strict=True)})
    few, more = care_for(fish, *names[:-1]).attributes, care_for(fish, *names).attributes
    for before, after in zip(few.values(), more.values(), strict=True):
        assert bool(before.conflict) <= bool(after.conflict)
        assert set(before.unknown_for) <= set(after.unknown_for)
        if after.value is None or before.attribute not in ("temperature_c", "flow", "tank_volume_l"):
            continue
        assert before.value is not None
        if before.attribute == "temperature_c":
            assert before.value[0] <= after.value[0] <= after.value[1] <= before.value[1]
        elif before.attribute == "flow":
            assert after.value <= before.value
        else:
            assert after.value >= before.value


def test_what_a_brood_is_like_is_listed_and_never_in_conflict():
    fish = make_table(
        {"g": {"eggs": "6..12"}}, {"a": ("g", {}), "b": ("g", {"eggs": "100..100"}), "c": ("g", {})}
    )
    need = care_for(fish, "a", "b", "c").attributes["eggs"]
    assert not need.conflict
    assert need.text == "A and C: 6 to 12; B: 100"


def test_what_holds_for_every_fish_and_what_a_kind_adds_stand_together_each_sentence_once():
    fish = make_table(
        {"all": {"handling": "Wet your hands. Use a box."}, "g": {"handling": "It bites. Use a box."}},
        {"a": ("g", {}), "b": ("g", {"handling": "It stings."})},
    )
    assert care_for(fish, "a").attributes["handling"].text == "It bites. Use a box. Wet your hands."
    both = care_for(fish, "a", "b").attributes["handling"].text
    assert both.splitlines() == ["It bites. Use a box. Wet your hands.", "B: It stings."]


# ------------------------------------------------------------------------------- shapes and wording


def test_to_frame(table):
    frame = care_for(table, "worm", "stripe").to_frame()
    assert list(frame.columns) == ["attribute", "need", "evidence class", "sources", "conflict"]
    assert list(frame["attribute"]) == list(ATTRIBUTES)
    assert not frame.isna().any(axis=None)
    row = frame.set_index("attribute").loc["temperature_c"]
    assert row["evidence class"] == "read"
    assert row["conflict"]


def test_to_dict_is_plain(table):
    sheet = care_for(table, "zebra", "stripe")
    plain = json.loads(json.dumps(sheet.to_dict()))
    assert plain == sheet.to_dict()
    assert plain["names"] == ["zebra", "stripe"]
    assert plain["needs"]["ph"]["value"] == [6.8, 7.0]


def test_a_sheet_cannot_be_changed_and_survives_pickling(table):
    sheet = care_for(table, "zebra")
    with pytest.raises(AttributeError):
        sheet.names = ()
    with pytest.raises(TypeError):
        sheet.attributes["ph"] = None
    assert pickle.loads(pickle.dumps(sheet)) == sheet
    assert isinstance(hash(sheet), int)


@pytest.mark.parametrize(
    ("attribute", "cell", "words"),
    [
        # 27 °C = 80.60 °F, 32 °C = 89.60 °F: published in the L081 table of a fish wiki (FISHYWIKI_L081)
        ("temperature_c", "27..32", "27 to 32 °C (81 to 90 °F)"),
        # 240 L = 63.40 US gal: the same table
        ("tank_volume_l", "240", "240 L (63 US gal)"),
        # 3.03 and 15.02 dGH = 54 and 268 ppm: the same table
        ("gh_dgh", "3.03..15.02", "3.03 to 15.02 °dGH (54 to 268 mg/L as CaCO3)"),
        # 10 dGH = 178 ppm: table of a pet wiki (PETWIKI_LEO)
        ("gh_dgh", "10", "10 °dGH (178 mg/L as CaCO3)"),
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


def test_a_sheet_and_a_tank_check_say_the_same_of_an_amount(table):
    sheet = care_for(table, "worm")
    check = check_tank(sheet, {"name": "rack", "length_cm": 10, "width_cm": 10, "height_cm": 10})
    wanted = {row.attribute: row.wanted for row in check.checks}
    shared = [a for a in ("temperature_c", "tank_volume_l", "gh_dgh") if sheet.attributes[a].value]
    assert shared
    for attribute in shared:
        assert sheet.attributes[attribute].text.partition(",")[0] in wanted[attribute]


# -------------------------------------------------------------------------------------------- errors


def test_no_name_is_an_error(table):
    with pytest.raises(IdkeyError, match="at least one taxon id"):
        care_for(table)


@pytest.mark.parametrize("name", ["zebbra", "", 3, None, ["zebra"]])
def test_an_unknown_name_is_one_line_with_the_nearest_spelling(table, name):
    with pytest.raises(UnknownName) as caught:
        care_for(table, "worm", name)
    message = str(caught.value)
    assert repr(name) in message
    assert "\n" not in message
    assert ("did you mean 'zebra'" in message) == (name == "zebbra")


@pytest.mark.parametrize("group", ["", "nowhere"])
def test_a_table_or_a_kind_without_care_says_so(group):
    frame = pd.DataFrame({"kind": ["a", "b"], "colour": ["red", "blue"]})
    with pytest.raises(IdkeyError, match="no care sheets"):
        care_for(TraitTable.from_frame(frame, taxon="kind"), "a")
    fish = make_table({"g": {}}, {"a": (group, {}), "b": ("g", {})})
    with pytest.raises(IdkeyError, match="no care sheets"):
        care_for(fish, "a")
    assert isinstance(care_for(fish, "b"), CareSheet)


def test_a_bad_cell_names_its_column():
    fish = make_table({"g": {"ph": "7..6"}}, {"a": ("g", {})})
    with pytest.raises(IdkeyError, match=r"care\.csv, ph: '7\.\.6'"):
        care_for(fish, "a")
