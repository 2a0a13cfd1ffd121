"""A tank against a care sheet: what passes, fails, and can't be said."""

import dataclasses
import re

import pytest
from care_tables import GOOD, RAPIDS, TABLE, WORM, sheet_of
from hypothesis import given, settings
from hypothesis import strategies as st

from idkey import care_for
from idkey.care.needs import format_value
from idkey.care.room import TankCheck, check_tank
from idkey.care.rules import Check
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
    assert check.labels == ("Worm",)
    # The ends of a range, and the minimum itself, are right.
    ends = {"temperature_c": 26, "ph": 7.2, "gh_dgh": 6, "oxygen_mg_l": 6, "fill_cm": 30, "length_cm": 100}
    assert check_tank(WORM, {**GOOD, **ends, "pump_l_h": 480}).ok


# Names, what is other than in a good tank, the row that is looked at, its verdict, and what it says.
ROWS = """
worm  temperature_c=24  temperature_c  fails  by 2 °C (3.6 °F) too cool: Raise it to 26 °C (79 °F)
worm  temperature_c=31  temperature_c  fails  by 1 °C (1.8 °F) too warm: Lower it to 30 °C (86 °F)
worm  ph=7.5  ph  fails  by 0.3 too high: Lower it to 7.2, slowly, by small changes of water (common practice)
worm  ph=5.5  ph  fails  by 0.3 too low: Raise it to 5.8
worm  gh_dgh=8  gh_dgh  fails  by 2 °dGH (35.7 mg/L as CaCO3) too hard: ... with softer water
worm  gh_dgh=0.5  gh_dgh  fails  by 0.5 °dGH (8.9 mg/L as CaCO3) too soft: Raise it to 1 °dGH
worm  oxygen_mg_l=5  oxygen_mg_l  fails  by 1 mg/L too little: Aerate more
worm  fill_cm=25  tank_volume_l  fails  by 20 L (5.3 US gal) too little: Fill it to 30 cm (12 in)
worm  length_cm=80  tank_length_cm  fails  by 10 cm (3.9 in) too little: ... at least 90 cm (35 in)
worm  pump_l_h=480  turnover_per_hour  fails  by 1 tank volume an hour too little: ... add a pump
worm  width_cm=8, length_cm=400  adult_length_mm  fails  by 2 cm (0.8 in) too narrow: ... 10 cm (4 in)
# A strong flow takes more than the range, a gentle one does not, and of an unknown one it can't be said.
worm  pump_l_h=3000  turnover_per_hour  pass
stripe  pump_l_h=3000  turnover_per_hour  fails  too much
worm ghost  pump_l_h=3000  turnover_per_hour  fails
worm  oxygen_mg_l=, altitude_m=3000  oxygen_mg_l  fails  can't hold
worm  oxygen_mg_l=  oxygen_mg_l  not measured
worm  oxygen_mg_l=9  oxygen_mg_l  pass
worm  oxygen_mg_l=12  oxygen_mg_l  not measured  check the meter
worm  ammonia_mg_l=  ammonia_mg_l  not measured  Measure: total ammonia.
worm  ph=  ammonia_mg_l  not measured  Measure: pH.
worm  temperature_c=  ammonia_mg_l  not measured  Measure: temperature.
# 1 mg/L total at pH 8.0 and 24 degC is 0.0502: FA16, figure 3.
worm  ph=8.0, temperature_c=24, ammonia_mg_l=1  ammonia_mg_l  fails
ghost  ph=8, ammonia_mg_l=2  ammonia_mg_l  fails
# Water of unknown height is never enough, but it is said from where it would be.
worm  fill_cm=  tank_volume_l  not measured  enough from 30 cm (12 in) up
worm  fill_cm=  turnover_per_hour  not measured
worm  fill_cm=, height_cm=25  tank_volume_l  fails  : It needs a tank of at least 120 L (32 US gal).;
# A group counts once another of the kind is there.
pair  as it is  group_volume_l  read
pair  companions=pair:90:5  group_volume_l  fails
pair  companions=airpair:90  group_volume_l  read
# Companions are read and never pass, save a snail beside a mollusc-eater, and a larger fish beside one that
# larger ones bully.
worm  as it is  companions  read
worm  companions=tetra:30:12|cory  companions  read  : Placid.; here: 12 tetra, 30 mm (1.2 in); 1 cory
worm  companions=worm:60  companions  read  1 worm, 60 mm (2.4 in) (its own kind)
stripe  companions=tetra  companions  need not known
fang  companions=nerite snail:25:4|tetra  companions  fails  Take out: nerite snail. Fang would eat them.
worm  companions=nerite snail:25:4  companions  read
worm fang  companions=Snails  companions  fails
shy  companions=royal pleco:400|tetra:30  companions  fails  by 300 mm (11.8 in) larger ... from: royal pleco.
shy  companions=tetra:30  companions  read
shy  companions=pleco  companions  not measured
worm  companions=royal pleco:400  companions  read
# How long it has in the tank is not known; the adult must have room.
worm  as it is  adult_length_mm  pass  house the adult from the start ... wanted: ... 100 mm (3.9 in)
ghost  as it is  adult_length_mm  need not known
# Names without a common range disagree, unless the tank suits none of them; an overlap holds for all.
worm stripe  temperature_c=24  temperature_c  names disagree  for Stripe, not for Worm. Settle ... 26 to 30 °C
worm stripe  temperature_c=  temperature_c  names disagree  wanted: ... 22 to 25 °C
worm stripe  temperature_c=20  temperature_c  fails  by 2 °C (3.6 °F) too cool: It suits none of the names.
worm stripe  temperature_c=25.5  temperature_c  fails
worm stripe  ph=7  ph  pass
worm stripe  ph=6.5  ph  fails
worm stripe  fill_cm=35  tank_volume_l  fails
worm giant  as it is  adult_length_mm  fails  60 cm
# A need not known for one name is no pass, but can fail for the other.
worm ghost  as it is  temperature_c  need not known  : Right for Worm.; ... not known for Ghost
worm ghost  temperature_c=20  temperature_c  fails
worm ghost  gh_dgh=  gh_dgh  not measured
worm ghost  fill_cm=20  tank_volume_l  fails
worm ghost  as it is  tank_volume_l  need not known
worm ghost  as it is  adult_length_mm  need not known
worm ghost  width_cm=8  adult_length_mm  fails
"""


@pytest.mark.parametrize("line", [line for line in ROWS.splitlines() if line and line[0] != "#"])
def test_what_a_row_says(line):
    names, changes, attribute, verdict, says = (*re.split(" {2,}", line), "")[:5]
    changes = dict(change.split("=") for change in changes.split(", ") if "=" in change)
    check = check_tank(care_for(TABLE, *names.split()), {**GOOD, **changes})
    found = row(check, attribute)
    words = f"by {found.short_by}: {found.change}; wanted: {found.wanted}; here: {found.found}"
    assert found.verdict == verdict
    for part in says.split(" ... "):
        assert part in words
    assert (found in check.fails) == (verdict == "fails")
    if check.fails:
        assert not check.ok
        assert check.verdict.startswith("Fails: ")
        assert all(c.short_by in check.verdict for c in check.fails)


def test_oxygen_is_held_against_saturation_and_the_ammonia_limit_is_of_the_unionised_form():
    found = checked("oxygen_mg_l", oxygen_mg_l=None)
    assert f"{oxygen_saturation(28):.2f} mg/L" in found.found
    assert f"{6 / oxygen_saturation(28) * 100:.0f} % of saturation" in found.wanted
    # Limit 0.05 mg/L un-ionised nitrogen: a copy of the University of Florida sheet FA16, figure 2.
    total = 0.05 / ammonia_fraction(7.0, 28)
    assert checked("ammonia_mg_l", ph=7.0, ammonia_mg_l=total * 0.99).verdict == "pass"
    over = checked("ammonia_mg_l", ph=7.0, ammonia_mg_l=total * 1.1)
    assert over.verdict == "fails"
    assert "Do not raise the pH" in over.change


def test_what_the_names_disagree_on_or_is_not_known_is_no_fit():
    between = {**GOOD, "temperature_c": 24, "ph": 7, "fill_cm": 45, "pump_l_h": 900}
    for names, tank, says in (
        ("worm stripe", between, "Can't be said yet. The names disagree on: temperature, flow."),
        ("worm ghost", GOOD, "Can't be said yet."),
        ("ghost", GOOD, "Not known what it needs: room to turn round, volume, temperature, pH, oxygen."),
    ):
        check = check_tank(care_for(TABLE, *names.split()), tank)
        assert not check.ok
        assert says in check.verdict
    assert [c.attribute for c in check.checks if c.verdict == "pass"] == ["ammonia_mg_l"]
    # One vital need that is not known is enough, and so is a sheet emptied by hand.
    for attribute in ("adult_length_mm", "tank_volume_l", "temperature_c", "ph", "oxygen_mg_l"):
        check = check_tank(sheet_of({a: v for a, v in RAPIDS.items() if a != attribute}), GOOD)
        assert row(check, attribute).verdict == "need not known"
        assert not check.ok
    assert not check_tank(dataclasses.replace(care_for(TABLE, "worm", "stripe"), attributes={}), GOOD).ok


def test_no_kind_of_the_shipped_table_passes_an_unmeasured_tank(shipped):
    for name in shipped.ids:
        check = check_tank(care_for(shipped, name), {"length_cm": 900, "width_cm": 300, "height_cm": 100})
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


@given(SHEETS, TANKS, st.tuples(*[st.floats(1, 3)] * 3))
def test_a_larger_tank_never_fails_where_a_smaller_passes(care, tank, times):
    sides = ("length_cm", "width_cm", "height_cm", "fill_cm")
    large = {s: tank[s] and tank[s] * by for s, by in zip(sides, (*times, times[-1]), strict=True)}
    checks = [check_tank(care, t) for t in (tank, {**tank, **large})]
    order = {"fails": 0, "not measured": 1, "need not known": 1, "pass": 2}
    for attribute in ("adult_length_mm", "tank_volume_l", "tank_length_cm", "tank_width_cm"):
        before, after = (order[row(check, attribute).verdict] for check in checks)
        assert after >= before


@settings(max_examples=120)
@given(SHEETS, TANKS, st.sets(st.sampled_from(list(SPANS))))
def test_the_verdict_says_what_the_rows_say_and_a_blank_never_makes_a_tank_fit(care, tank, blank):
    check = check_tank(care, tank)
    head = "Fails: " if check.fails else "Fits" if check.ok else "Can't be said yet. "
    assert check.verdict.startswith(head)
    assert check.ok or not check_tank(care, {**tank, **dict.fromkeys(blank)}).ok
    failure = Check("x", "X", "a", "b", "fails", "much")
    assert not dataclasses.replace(check, checks=(*check.checks, failure)).ok
    assert not dataclasses.replace(check, checks=()).ok
    for c in check.checks:
        assert (c.verdict == "fails") == bool(c.short_by)
        assert c.wanted
        assert c.found
        assert c.off >= 0


def test_each_verdict_is_a_word_with_a_sign_and_what_fails_comes_first():
    both = care_for(TABLE, "worm", "stripe")
    html = check_tank(both, {**GOOD, "temperature_c": 24, "ph": 5, "oxygen_mg_l": None})._repr_html_()
    for word in ("✕ fails", "≠ names disagree", "? not measured", "✓ pass", "→ read", "– need not known"):
        assert f">{word}<" in html
    assert html.index("fails</span>") < html.index("names disagree</span>") < html.index("✓ pass<")
    # What is known of some of the names is not called unknown.
    some = check_tank(care_for(TABLE, "worm", "ghost"), GOOD)
    assert row(some, "temperature_c").verdict == "need not known"
    assert ">– known of 1 of 2 names<" in some._repr_html_()
    assert "– known of 1 of 2 names; wanted: " in repr(some)


def test_one_amount_has_one_wording_on_the_sheet_the_tank_check_in_text_and_frame(shipped):
    # 26 °C was 79 and 78.8 °F, 115 L 30 and 30.4 US gal, 5.6 °dGH 100 and 99.9 mg/L as CaCO3.
    care = care_for(shipped, "hypancistrus_zebra", "hypancistrus_l260")
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
    assert max(map(len, repr(check).splitlines())) <= 100
    frame = check.to_frame()
    assert list(frame.columns[:5]) == ["attribute", "label", "wanted", "found", "verdict"]
    assert len(frame) == len(check.checks) == 14
