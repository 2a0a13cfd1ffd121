"""The care screen without a browser: what a choice does, what is shown, what is saved."""

import dataclasses
import html
import re
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import idkey
from idkey.care.tank import Tank
from idkey.errors import IdkeyError
from idkey.widgets.care import _MEASURES, _TYPE_IN

ZEBRA, L201 = "hypancistrus_zebra", "hypancistrus_l201"
PLAIN = pd.DataFrame({"kind": ["a", "b"], "tail": ["forked", "straight"]})
ROOM = Path(__file__).parents[2] / "notebooks" / "fish_room.csv"
SIZE = {"length_cm": "100", "width_cm": "50", "height_cm": "50"}
COLD = Tank("cold <b>tank</b>", 100, 50, 50, temperature_c=15)
SMALL = Tank("small", 30, 20, 20, fill_cm=18)


@pytest.fixture
def screen():
    return idkey.care_view(ZEBRA, room=[COLD, SMALL])


def words(widget):
    return html.unescape(re.sub(r"<[^>]+>", " ", widget.value))


def type_in(screen, **texts):
    for key, text in texts.items():
        screen._fields[key].value = text


def test_with_nothing_chosen_it_asks_for_a_kind_and_shows_no_care():
    screen = idkey.care_view(room=[COLD])
    assert (screen.care, screen.tank, screen.check, screen.room_check) == (None,) * 4
    assert "Choose a kind" in screen._verdict.value
    assert screen._sheet.value == screen._checks.value == screen._ranked.value == ""
    screen._kind.value = ZEBRA
    assert screen.care.names == (ZEBRA,)
    assert "Hypancistrus zebra" in words(screen._sheet)


def test_an_identification_gives_the_care_of_its_names():
    fish = idkey.Identification(idkey.load_table())
    fish.answer("pattern", "light_spots").answer("ground_colour", "olive").answer("basin", "orinoco")
    screen = idkey.care_view(fish, room=[COLD])
    assert screen.care == idkey.care_for(fish)
    assert len(screen.care.names) > 1
    assert screen.table is fish.table
    screen._kind.value = ZEBRA
    assert screen.care.names == (ZEBRA,)
    screen._kind.value = "*"
    assert screen.care == idkey.care_for(fish)


def test_an_identification_with_no_name_left_says_so_and_another_kind_can_be_chosen():
    screen = idkey.care_view(idkey.Identification(idkey.load_table(), none_prior=0.99))
    assert "none of the kinds in the table" in screen._alert.value
    assert screen._sheet.value == ""
    screen._kind.value = ZEBRA
    assert screen._alert.value == ""
    assert screen.care.names == (ZEBRA,)


def test_several_kinds_together_and_every_kind_can_be_chosen_once(screen):
    both = idkey.care_view([ZEBRA, L201])
    assert both.care == idkey.care_for(idkey.load_table(), ZEBRA, L201)
    assert both._kind.label == "2 kinds together"
    both._which.value = _TYPE_IN
    labels = [label for label, _ in screen._kind.options]
    assert len(set(labels)) == len(labels) == len(screen.table) + 1
    # Two screens share nothing.
    assert screen.tank is COLD
    assert screen.care.names == (ZEBRA,)


def test_errors_at_the_start():
    for start, match in (
        (("hypancistrus_zebr",), "did you mean"),
        (("a", idkey.TraitTable.from_frame(PLAIN, taxon="kind")), "no care sheets"),
        ((ZEBRA, None, ROOM.with_name("no_such_room.csv")), "the file is missing"),
    ):
        with pytest.raises(IdkeyError, match=match):
            idkey.care_view(*start)


def test_the_verdict_is_said_first_and_a_tank_that_fails_reads_as_failing(screen):
    assert screen.tank is COLD
    assert screen.check.fails
    assert not screen.check.ok
    assert 'role="status"' in screen._verdict.value
    assert html.unescape(screen.check.verdict) in words(screen._verdict)
    assert screen.check == idkey.check_tank(screen.care, COLD)
    assert "fails" in words(screen._checks).casefold()
    checked = next(child for child in screen.children if screen._checks in getattr(child, "children", ()))
    order = [screen.children.index(part) for part in (screen._verdict, checked, screen._sheet)]
    assert order == sorted(order)
    # The room is ranked for the fish that is chosen.
    before = screen._ranked.value
    assert "small" in words(screen._ranked)
    screen._kind.value = "pterygoplichthys_gibbiceps"
    assert screen._ranked.value != before


def test_a_tank_typed_in_is_asked_for_its_size_and_stands_when_it_is_come_back_to(screen):
    assert idkey.care_view(ZEBRA)._which.value == _TYPE_IN
    screen._which.value = _TYPE_IN
    assert screen._measures.layout.display == ""
    assert "length, width and height" in screen._verdict.value
    assert screen._checks.layout.display == "none"
    assert screen.tank is None
    type_in(screen, length_cm="100", width_cm="50")
    assert screen.tank is None
    assert screen._alert.value == ""
    type_in(screen, height_cm="50")
    assert (screen.tank.length_cm, screen.tank.width_cm, screen.tank.height_cm) == (100, 50, 50)
    assert screen._checks.layout.display == ""
    assert screen.tank.temperature_c is None
    assert not screen.check.ok
    type_in(screen, temperature_c="15", ph="6.5")
    assert "temperature_c" in {check.attribute for check in screen.check.fails}
    screen._which.value = 1
    assert screen._fields["length_cm"].value == "30"
    assert screen._measures.layout.display == "none"
    screen._which.value = _TYPE_IN
    assert screen._fields["ph"].value == "6.5"
    assert screen.tank.ph == 6.5


@pytest.mark.parametrize(("key", "text"), [("ph", "20"), ("temperature_c", "warm"), ("length_cm", "-3")])
def test_a_measure_that_cant_be_is_one_line_and_nothing_typed_is_lost(key, text):
    screen = idkey.care_view(ZEBRA)
    typed = {**SIZE, "temperature_c": "28", "ph": "6.5"}
    type_in(screen, **typed)
    assert screen._checks.value
    type_in(screen, **{key: text})
    alert = words(screen._alert).strip()
    assert text in alert
    assert "\n" not in alert
    assert screen._verdict.value == screen._checks.value == ""
    assert screen._sheet.value
    assert {k: f.value for k, f in screen._fields.items() if f.value} == {**typed, key: text}
    # It is still said after another fish is chosen.
    screen._kind.value = L201
    assert text in screen._alert.value
    assert (screen.care.names, screen.check) == ((L201,), None)
    type_in(screen, **{key: typed[key]})
    assert screen._alert.value == ""
    assert screen._checks.value


def test_a_tank_of_the_room_can_be_tried_with_other_measures(screen):
    assert screen._back.layout.display == "none"
    screen._change.click()
    assert screen._measures.layout.display == ""
    type_in(screen, temperature_c="28")
    assert screen.tank.temperature_c == 28
    assert screen.tank.name == COLD.name
    assert COLD.temperature_c == 15
    assert "temperature_c" not in {check.attribute for check in screen.check.fails}
    assert "changed here" in screen._verdict.value
    changed = screen.room_check
    screen._back.click()
    assert screen.tank is COLD
    assert "changed here" not in screen._verdict.value
    assert screen._measures.layout.display == ""
    assert changed != screen.room_check


def test_the_invented_fish_room_is_read():
    screen = idkey.care_view(ZEBRA, room=ROOM)
    assert [label for label, _ in screen._which.options][:-1] == [tank.name for tank in screen._tanks]
    assert len(screen.room_check.checks) == len(screen._tanks) >= 4
    # Companions and substrate stay when a measure is changed.
    tank = next(t for t in screen._tanks if t.companions)
    screen._which.value = screen._tanks.index(tank)
    type_in(screen, ph="7.1")
    assert screen.tank == dataclasses.replace(tank, ph=7.1)
    same = idkey.care_view(ZEBRA, room=[SMALL, SMALL])
    assert len({label for label, _ in same._which.options}) == 3


ONE_SCREEN = idkey.care_view(ZEBRA)  # for all examples: it is slow to make


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.dictionaries(st.sampled_from([key for key, _ in _MEASURES]), st.text(max_size=6), max_size=4))
def test_whatever_is_typed_stays_and_is_checked_or_refused(typed):
    screen = ONE_SCREEN
    wanted = {key: typed.get(key, SIZE.get(key, "")) for key, _ in _MEASURES}
    type_in(screen, **wanted)
    assert {key: field.value for key, field in screen._fields.items()} == wanted
    complete = all(wanted[key].strip() for key in SIZE)
    if screen._alert.value:
        assert screen.check is None
        assert complete
    else:
        assert (screen.check is not None) == complete


def test_what_is_saved_is_a_static_picture(screen):
    bundle = screen._repr_mimebundle_()
    saved = bundle["text/html"]
    assert "Run this cell to use the controls" in saved
    assert html.escape(screen.check.verdict) in saved
    assert 'role="status"' not in saved
    assert bundle == screen._repr_mimebundle_()
    assert "cold <b>tank</b>" in bundle["text/plain"]
    assert "Temperature" in bundle["text/plain"]
    for widget in (screen._verdict, screen._checks, screen._ranked):
        assert "<b>tank</b>" not in widget.value
    assert "&lt;b&gt;tank&lt;/b&gt;" in screen._ranked.value
    assert "No kind" in idkey.care_view()._repr_mimebundle_()["text/plain"]
