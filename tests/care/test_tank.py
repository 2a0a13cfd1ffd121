"""A tank against a care sheet: what passes, fails, and can't be said."""

import dataclasses
from fnmatch import fnmatchcase

import pytest
from care_tables import EVIL, GOOD, RAPIDS, TABLE, WORM, make_table, safe_words, sheet_of
from hypothesis import given, settings
from hypothesis import strategies as st

from idkey import care_for, load_table
from idkey.care.needs import format_value
from idkey.care.room import TankCheck, check_room, check_tank
from idkey.care.rules import Check
from idkey.care.tank import Companion
from idkey.care.water import ammonia_fraction, oxygen_saturation


def row(check: TankCheck, attribute: str) -> Check:
    return next(c for c in check.checks if c.attribute == attribute)


def checked(attribute: str, care=WORM, **changes) -> Check:
    return row(check_tank(care, {**GOOD, **changes}), attribute)


def test_a_good_tank_fits_and_says_what_is_left_to_read():
    check = check_tank(WORM, GOOD)
    assert check.ok
    assert not check.fails
    assert check.verdict.startswith("Fits, in all that can be measured.")
    assert "To judge by reading: flow, companions." in check.verdict
    assert check.names == ("worm",)
    # The ends of a range, and the minimum itself, are right.
    ends = {"temperature_c": 26, "ph": 7.2, "gh_dgh": 6, "oxygen_mg_l": 6, "fill_cm": 30, "length_cm": 100}
    assert check_tank(WORM, {**GOOD, **ends, "pump_l_h": 480}).ok


@pytest.mark.parametrize(
    ("changes", "attribute", "short_by", "change"),
    [
        ({"temperature_c": 24}, "temperature_c", "2 °C (3.6 °F) too cool", "Raise it to 26 °C (79 °F)"),
        ({"temperature_c": 31}, "temperature_c", "1 °C (1.8 °F) too warm", "Lower it to 30 °C (86 °F)"),
        ({"ph": 7.5}, "ph", "0.3 too high", "small changes of water (common practice)"),
        ({"ph": 5.5}, "ph", "0.3 too low", "Raise it to 5.8"),
        ({"gh_dgh": 8}, "gh_dgh", "2 °dGH (35.7 mg/L as CaCO3) too hard", "softer water"),
        ({"gh_dgh": 0.5}, "gh_dgh", "0.5 °dGH (8.9 mg/L as CaCO3) too soft", "Raise it to 1 °dGH"),
        ({"oxygen_mg_l": 5}, "oxygen_mg_l", "1 mg/L too little", "Aerate more"),
        ({"fill_cm": 25}, "tank_volume_l", "20 L (5.3 US gal) too little", "Fill it to 30 cm (12 in)"),
        ({"length_cm": 80}, "tank_length_cm", "10 cm (3.9 in) too little", "at least 90 cm (35 in)"),
        ({"pump_l_h": 480}, "turnover_per_hour", "1 tank volume an hour too little", "add a pump"),
        ({"width_cm": 8, "length_cm": 400}, "adult_length_mm", "2 cm (0.8 in) too narrow", "10 cm (4 in)"),
    ],
)
def test_each_need_can_fail_and_says_by_how_much_and_what_to_do(changes, attribute, short_by, change):
    check = check_tank(WORM, {**GOOD, **changes})
    found = row(check, attribute)
    assert (found.verdict, found.short_by) == ("fails", short_by)
    assert change in found.change
    assert found in check.fails
    assert not check.ok
    assert check.verdict.startswith("Fails: ")
    assert short_by in check.verdict


# Names, attribute, what is other than in a good tank -> the verdict, and what the row says (* is any text).
ROWS = [
    # A strong flow takes more than the range, a gentle one does not, and of an unknown one it can't be said.
    ("worm", "turnover_per_hour", {"pump_l_h": 3000}, "pass", {}),
    ("stripe", "turnover_per_hour", {"pump_l_h": 3000}, "fails", {"short_by": "*too much*"}),
    ("worm ghost", "turnover_per_hour", {"pump_l_h": 3000}, "fails", {}),
    ("worm", "oxygen_mg_l", {"oxygen_mg_l": None, "altitude_m": 3000}, "fails", {"change": "*can't hold*"}),
    ("worm", "oxygen_mg_l", {"oxygen_mg_l": 9}, "pass", {}),
    ("worm", "oxygen_mg_l", {"oxygen_mg_l": 12}, "not measured", {"change": "*check the meter*"}),
    ("worm", "ammonia_mg_l", {"ammonia_mg_l": None}, "not measured", {"change": "Measure: *"}),
    ("worm", "ammonia_mg_l", {"ph": None}, "not measured", {"change": "Measure: *"}),
    ("worm", "ammonia_mg_l", {"temperature_c": None}, "not measured", {"change": "Measure: *"}),
    # 1 mg/L total at pH 8.0 and 24 degC is 0.0502: FA16, figure 3.
    ("worm", "ammonia_mg_l", {"ph": 8.0, "temperature_c": 24, "ammonia_mg_l": 1}, "fails", {}),
    ("ghost", "ammonia_mg_l", {"ph": 8, "ammonia_mg_l": 2}, "fails", {}),
    # Companions are read and never pass, save a snail beside a mollusc-eater, and a larger fish beside one
    # that larger ones bully.
    ("worm", "companions", {}, "read", {}),
    (
        "worm",
        "companions",
        {"companions": "tetra:30:12|cory"},
        "read",
        {"wanted": "Placid.", "found": "*12 tetra, 30 mm (1.2 in); 1 cory*"},
    ),
    ("stripe", "companions", {"companions": "tetra"}, "need not known", {}),
    (
        "fang",
        "companions",
        {"companions": "nerite snail:25:4|tetra"},
        "fails",
        {"change": "*Take out: nerite snail.*"},
    ),
    ("worm", "companions", {"companions": "nerite snail:25:4"}, "read", {}),
    ("worm fang", "companions", {"companions": "Snails"}, "fails", {}),
    (
        "shy",
        "companions",
        {"companions": "royal pleco:400|tetra:30"},
        "fails",
        {"short_by": "300 mm (11.8 in) larger than it", "change": "*Keep it apart from: royal pleco. *"},
    ),
    ("shy", "companions", {"companions": "tetra:30"}, "read", {}),
    ("shy", "companions", {"companions": "pleco"}, "not measured", {}),
    ("worm", "companions", {"companions": "royal pleco:400"}, "read", {}),
    ("worm", "growth", {}, "read", {"found": "*can't be told*", "wanted": "*100 mm (3.9 in)*"}),
    ("ghost", "growth", {}, "need not known", {}),
    # Names without a common range disagree, unless the tank suits none of them; an overlap holds for all.
    (
        "worm stripe",
        "temperature_c",
        {"temperature_c": 24},
        "names disagree",
        {"change": "Right for Stripe, not for Worm. Settle the name first.", "wanted": "*26 to 30 °C*"},
    ),
    ("worm stripe", "temperature_c", {"temperature_c": None}, "names disagree", {"wanted": "*22 to 25 °C*"}),
    (
        "worm stripe",
        "temperature_c",
        {"temperature_c": 20},
        "fails",
        {"short_by": "2 °C (3.6 °F) too cool", "change": "It suits none of the names.*"},
    ),
    ("worm stripe", "temperature_c", {"temperature_c": 25.5}, "fails", {}),
    ("worm stripe", "ph", {"ph": 7}, "pass", {}),
    ("worm stripe", "ph", {"ph": 6.5}, "fails", {}),
    ("worm stripe", "tank_volume_l", {"fill_cm": 35}, "fails", {}),
    ("worm giant", "adult_length_mm", {}, "fails", {"change": "*60 cm*"}),
    # A need not known for one name is no pass, but can fail for the other.
    (
        "worm ghost",
        "temperature_c",
        {},
        "need not known",
        {"wanted": "*not known for Ghost*", "change": "Right for Worm."},
    ),
    ("worm ghost", "temperature_c", {"temperature_c": 20}, "fails", {}),
    ("worm ghost", "gh_dgh", {"gh_dgh": None}, "not measured", {}),
    ("worm ghost", "tank_volume_l", {"fill_cm": 20}, "fails", {}),
    ("worm ghost", "tank_volume_l", {}, "need not known", {}),
    ("worm ghost", "adult_length_mm", {}, "need not known", {}),
    ("worm ghost", "adult_length_mm", {"width_cm": 8}, "fails", {}),
]


@pytest.mark.parametrize(("names", "attribute", "changes", "verdict", "says"), ROWS)
def test_what_a_row_says(names, attribute, changes, verdict, says):
    found = checked(attribute, care_for(TABLE, *names.split()), **changes)
    assert found.verdict == verdict
    for part, words in says.items():
        assert fnmatchcase(getattr(found, part), words), part


def test_water_of_unknown_height_is_never_enough_but_says_from_where_it_would_be():
    check = check_tank(WORM, {**GOOD, "fill_cm": ""})
    found = row(check, "tank_volume_l")
    assert found.verdict == row(check, "turnover_per_hour").verdict == "not measured"
    assert "enough from 30 cm (12 in) up" in found.change
    assert not check.ok
    assert check.tank.volume_l is check.tank.turnover is None
    small = checked("tank_volume_l", height_cm=25, fill_cm=None)
    assert (small.verdict, small.change) == ("fails", "It needs a tank of at least 120 L (32 US gal).")


def test_oxygen_is_held_against_saturation_and_the_ammonia_limit_is_of_the_unionised_form():
    found = checked("oxygen_mg_l", oxygen_mg_l=None)
    assert found.verdict == "not measured"
    assert f"{oxygen_saturation(28):.2f} mg/L" in found.found
    assert f"{6 / oxygen_saturation(28) * 100:.0f} % of saturation" in found.wanted
    # Limit 0.05 mg/L un-ionised nitrogen: a copy of the University of Florida sheet FA16, figure 2.
    total = 0.05 / ammonia_fraction(7.0, 28)
    assert checked("ammonia_mg_l", ph=7.0, ammonia_mg_l=total * 0.99).verdict == "pass"
    over = checked("ammonia_mg_l", ph=7.0, ammonia_mg_l=total * 1.1)
    assert over.verdict == "fails"
    assert "Do not raise the pH" in over.change


def test_a_group_counts_once_another_of_the_kind_is_there():
    care = sheet_of({**RAPIDS, "group_volume_l": "300"})
    assert checked("group_volume_l", care).verdict == "read"
    assert check_tank(care, GOOD).ok
    assert checked("group_volume_l", care, companions="worm:90:5").verdict == "fails"
    assert checked("group_volume_l", care, companions="ringworm:90").verdict == "read"
    eater = sheet_of({"diet_type": "molluscs"})
    assert checked("companions", eater, companions="snail").wanted == "It eats snails and the like."


def test_a_sheet_of_names_that_disagree_or_are_not_known_is_no_fit():
    tank = {**GOOD, "temperature_c": 24, "ph": 7, "fill_cm": 45, "pump_l_h": 900}
    check = check_tank(care_for(TABLE, "worm", "stripe"), tank)
    assert not check.fails
    assert not check.ok
    assert "The names disagree on: temperature, flow." in check.verdict
    assert not check_tank(care_for(TABLE, "worm", "ghost"), GOOD).ok
    check = check_tank(care_for(TABLE, "ghost"), GOOD)
    assert not check.ok
    assert [c.attribute for c in check.checks if c.verdict == "pass"] == ["ammonia_mg_l"]
    assert "Not known what it needs: room to turn round, volume, temperature, pH, oxygen." in check.verdict


@pytest.mark.parametrize("names", [("worm",), ("worm", "stripe")])
def test_a_sheet_emptied_by_hand_never_passes(names):
    assert not check_tank(dataclasses.replace(care_for(TABLE, *names), attributes={}), GOOD).ok


def test_one_vital_need_that_is_not_known_is_enough():
    for attribute in ("adult_length_mm", "tank_volume_l", "temperature_c", "ph", "oxygen_mg_l"):
        check = check_tank(sheet_of({a: v for a, v in RAPIDS.items() if a != attribute}), GOOD)
        assert row(check, attribute).verdict == "need not known"
        assert not check.ok


def test_no_kind_of_the_shipped_table_passes_an_unmeasured_tank():
    table = load_table()
    for name in table.ids:
        check = check_tank(care_for(table, name), {"length_cm": 900, "width_cm": 300, "height_cm": 100})
        assert not check.ok
        passed = {c.attribute for c in check.checks if c.verdict == "pass"}
        assert passed <= {"adult_length_mm", "tank_length_cm", "tank_width_cm"}


SIDES = {"length_cm": (40, 200), "width_cm": (5, 80), "height_cm": (50, 80), "altitude_m": (0, 5000)}
SPANS = {
    "fill_cm": (10, 45),
    "pump_l_h": (0, 5000),
    "temperature_c": (15, 35),
    "ph": (5, 9),
    "gh_dgh": (0, 20),
    "oxygen_mg_l": (0, 14),
    "ammonia_mg_l": (0, 8),
}
# The good tank with some measures moved or left out, so that all kinds of answers are met.
TANKS = st.fixed_dictionaries(
    {"companions": st.sampled_from(["", "tetra:30", "pleco:400", "pleco", "snail"])},
    optional={measure: st.floats(*span) for measure, span in SIDES.items()}
    | {measure: st.none() | st.floats(*span) for measure, span in SPANS.items()},
).map(lambda changes: {**GOOD, **changes})
SHEETS = st.sampled_from(
    [
        care_for(TABLE, *names.split())
        for names in ("worm", "stripe", "ghost", "shy", "fang", "worm stripe", "worm ghost", "worm fang")
    ]
)


@settings(max_examples=150, deadline=None)
@given(SHEETS, TANKS, st.sets(st.sampled_from(list(SPANS))))
def test_blanking_a_measurement_never_makes_a_tank_fit(care, tank, blank):
    if not check_tank(care, tank).ok:
        assert not check_tank(care, {**tank, **dict.fromkeys(blank)}).ok


@settings(max_examples=80, deadline=None)
@given(SHEETS, TANKS, st.tuples(*[st.floats(1, 3)] * 3))
def test_a_larger_tank_never_fails_where_a_smaller_passes(care, tank, times):
    sides = ("length_cm", "width_cm", "height_cm", "fill_cm")
    large = {s: tank[s] and tank[s] * by for s, by in zip(sides, (*times, times[-1]), strict=True)}
    order = {"fails": 0, "not measured": 1, "need not known": 1, "pass": 2}
    for attribute in ("adult_length_mm", "tank_volume_l", "tank_length_cm", "tank_width_cm"):
        before, after = (row(check_tank(care, t), attribute).verdict for t in (tank, {**tank, **large}))
        assert order[after] >= order[before]


@settings(max_examples=80, deadline=None)
@given(SHEETS, TANKS)
def test_the_verdict_says_what_the_rows_say(care, tank):
    check = check_tank(care, tank)
    head = "Fails: " if check.fails else "Fits" if check.ok else "Can't be said yet. "
    assert check.verdict.startswith(head)
    failure = Check("x", "X", "a", "b", "fails", "much")
    assert not dataclasses.replace(check, checks=(*check.checks, failure)).ok
    assert not dataclasses.replace(check, checks=()).ok
    for c in check.checks:
        assert (c.verdict == "fails") == bool(c.short_by)
        assert c.wanted
        assert c.found
        assert c.off >= 0
        assert c.open == (c.verdict in ("not measured", "need not known", "names disagree"))
    assert check.ok == (not check.fails and not check.vital)


def test_rendering_escapes_and_has_no_ids():
    table = make_table({"all": {}, "g": {**RAPIDS, "temperament": EVIL}}, {"a": ("g", {})}, names={"a": EVIL})
    tank = {**GOOD, "name": EVIL, "substrate": EVIL, "companions": [Companion(EVIL)]}
    for made in (check_tank, lambda care, tank: check_room(care, [tank])):
        html = made(care_for(table, "a"), tank)._repr_html_()
        safe_words(html)
        assert html == made(care_for(table, "a"), tank)._repr_html_()


def test_each_verdict_is_a_word_with_a_sign():
    both = care_for(TABLE, "worm", "stripe")
    html = check_tank(both, {**GOOD, "temperature_c": 24, "ph": 5, "oxygen_mg_l": None})._repr_html_()
    for sign, word in (
        ("✕", "fails"),
        ("≠", "names disagree"),
        ("?", "not measured"),
        ("✓", "pass"),
        ("→", "read"),
        ("–", "need not known"),
    ):
        assert f">{sign} {word}<" in html
    # What fails stands before what passes.
    assert html.index("fails</span>") < html.index("names disagree</span>") < html.index("✓ pass<")


def test_one_amount_has_one_wording_on_the_sheet_the_tank_check_in_text_and_frame():
    # 26 °C was 79 and 78.8 °F, 115 L 30 and 30.4 US gal, 5.6 °dGH 100 and 99.9 mg/L as CaCO3.
    care = care_for(load_table(), "hypancistrus_zebra", "hypancistrus_l260")
    check = check_tank(care, {**GOOD, "temperature_c": 26, "length_cm": 115, "gh_dgh": 5.6})
    same = ("temperature_c", "tank_volume_l", "group_volume_l", "gh_dgh", "ph", "turnover_per_hour")
    for attribute in same:
        need = care.attributes[attribute]
        words = format_value(need.column, need.shared)
        assert words in need.text
        assert words in row(check, attribute).wanted
    assert row(check, "temperature_c").found == "26 °C (79 °F)"
    assert row(check, "gh_dgh").found == "5.6 °dGH (100 mg/L as CaCO3)"
    assert f"{row(check, 'tank_volume_l').found}, turned over" in repr(check)
    check = check_tank(WORM, {**GOOD, "temperature_c": 24})
    lines = repr(check).splitlines()
    assert max(map(len, lines)) <= 100
    assert lines[1] == "Fails: temperature, 2 °C (3.6 °F) too cool."
    assert "160 L (42 US gal)" in repr(check)
    frame = check.to_frame()
    assert list(frame.columns[:5]) == ["attribute", "label", "wanted", "found", "verdict"]
    assert len(frame) == len(check.checks) == 15
