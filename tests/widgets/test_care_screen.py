"""The care screen without a browser: what a choice does, what is shown, what is saved."""

import dataclasses
import html
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from markup import words

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


def shown_in(widget):
    """All that a box holds, in its order."""
    for child in getattr(widget, "children", ()):
        yield child
        yield from shown_in(child)


def type_in(screen, **texts):
    for key, text in texts.items():
        screen.caring._fields[key].value = text


def test_with_nothing_chosen_it_asks_for_a_kind_and_every_kind_can_be_chosen_once(screen):
    empty = idkey.care_view(room=[COLD])
    assert (empty.care, empty.tank, empty.check, empty.room_check) == (None,) * 4
    assert "Choose a kind" in empty.caring._verdict.value
    assert empty.caring._sheet.value == empty.caring._checks.value == empty.caring._ranked.value == ""
    assert "No kind" in empty._repr_mimebundle_()["text/plain"]
    labels = [label for label, _ in empty.caring._kind.options]
    assert len(set(labels)) == len(labels) == len(empty.table) + 1
    empty.caring._kind.value = L201
    assert empty.care.names == (L201,)
    assert "Hypancistrus sp. (L201)" in words(empty.caring._sheet)
    # Two screens share nothing.
    assert (screen.care.names, screen.tank) == ((ZEBRA,), COLD)


def test_the_names_of_an_identification_or_several_kinds_are_taken_together():
    fish = idkey.Identification(idkey.load_table())
    fish.answer("pattern", "light_spots").answer("ground_colour", "olive").answer("basin", "orinoco")
    screen = idkey.care_view(fish, room=[COLD])
    assert screen.table is fish.table
    for kind, names in ((ZEBRA, (ZEBRA,)), ("*", idkey.care_for(fish).names)):
        screen.caring._kind.value = kind
        assert screen.care.names == names
    assert screen.care == idkey.care_for(fish)
    both = idkey.care_view([ZEBRA, L201])
    assert both.care == idkey.care_for(idkey.load_table(), ZEBRA, L201)
    assert both.caring._kind.label == "2 kinds together"


def test_an_identification_with_no_name_left_says_so_and_another_kind_can_be_chosen():
    screen = idkey.care_view(idkey.Identification(idkey.load_table(), none_prior=0.99))
    assert "none of the kinds in the table" in screen._alert.value
    assert screen.caring._sheet.value == ""
    screen.caring._kind.value = ZEBRA
    assert screen._alert.value == ""
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
    assert screen.check == idkey.check_tank(screen.care, COLD)
    assert screen.check.fails
    assert 'role="status"' in screen.caring._verdict.value
    assert html.unescape(screen.check.verdict) in words(screen.caring._verdict)
    assert "fails" in words(screen.caring._checks).casefold()
    order = [*shown_in(screen)]
    order = [order.index(getattr(screen.caring, part)) for part in ("_verdict", "_checks", "_sheet")]
    assert order == sorted(order)
    # The room is ranked for the fish that is chosen.
    before = screen.caring._ranked.value
    assert "small" in words(screen.caring._ranked)
    screen.caring._kind.value = "pterygoplichthys_gibbiceps"
    assert screen.caring._ranked.value != before


def test_a_tank_typed_in_is_asked_for_its_size_and_stands_when_it_is_come_back_to(screen):
    screen.caring._which.value = _TYPE_IN
    assert screen.caring._measures.layout.display == ""
    assert "length, width and height" in screen.caring._verdict.value
    type_in(screen, length_cm="100", width_cm="50")
    assert (screen.tank, screen._alert.value, screen.caring._checks.layout.display) == (None, "", "none")
    type_in(screen, height_cm="50")
    assert screen.tank == Tank("the tank typed in", 100, 50, 50)
    assert screen.caring._checks.layout.display == ""
    assert not screen.check.ok
    type_in(screen, temperature_c="15", ph="6.5")
    assert "temperature_c" in {check.attribute for check in screen.check.fails}
    screen.caring._which.value = 1
    assert screen.caring._fields["length_cm"].value == "30"
    assert screen.caring._measures.layout.display == "none"
    screen.caring._which.value = _TYPE_IN
    assert (screen.caring._fields["ph"].value, screen.tank.ph) == ("6.5", 6.5)


def test_a_measure_that_cant_be_is_one_line_and_nothing_typed_is_lost():
    screen = idkey.care_view(ZEBRA)
    assert screen.caring._which.value == _TYPE_IN
    typed = {**SIZE, "temperature_c": "28", "ph": "6.5"}
    type_in(screen, **typed)
    for key, text in (("ph", "20"), ("temperature_c", "warm"), ("length_cm", "-3")):
        assert screen.caring._checks.value
        type_in(screen, **{key: text})
        alert = words(screen._alert.value).strip()
        assert text in alert
        assert "\n" not in alert
        assert screen.caring._verdict.value == screen.caring._checks.value == ""
        assert screen.caring._sheet.value
        assert {k: f.value for k, f in screen.caring._fields.items() if f.value} == {**typed, key: text}
        type_in(screen, **{key: typed[key]})
        assert screen._alert.value == ""
    # It is still said after another fish is chosen.
    type_in(screen, ph="20")
    screen.caring._kind.value = L201
    assert "20" in screen._alert.value
    assert (screen.care.names, screen.check) == ((L201,), None)


def test_a_size_that_few_tanks_have_is_asked_back_and_taken_when_it_is_said_to_be_so():
    screen = idkey.care_view(ZEBRA)
    caring = screen.caring
    type_in(screen, **{**SIZE, "length_cm": "800"})
    assert "800 cm: did you mean 80 cm?" in words(caring._verdict)
    assert (caring.tank, caring.check, caring._is_so.layout.display) == (None, None, "")
    caring._is_so.click()
    assert caring.tank == Tank("the tank typed in", 800, 50, 50)
    assert caring._is_so.layout.display == "none"
    # Of other measures it is asked again; in inches it is no question.
    type_in(screen, length_cm="12")
    assert "12 cm: did you mean 120 cm or 12 in?" in words(caring._verdict)
    type_in(screen, length_cm="31 in", temperature_c="79 \u00b0F")
    assert (round(caring.tank.length_cm, 1), round(caring.tank.temperature_c)) == (78.7, 26)
    # What can't be is said in the words of the fields.
    type_in(screen, temperature_c="79")
    assert "Temperature (\u00b0C): '79'" in words(screen._alert)
    assert "temperature_c" not in words(screen._alert)


def test_a_tank_of_the_room_can_be_tried_with_other_measures(screen):
    assert screen.caring._back.layout.display == "none"
    screen.caring._change.click()
    assert screen.caring._measures.layout.display == ""
    type_in(screen, temperature_c="28")
    assert screen.tank == dataclasses.replace(COLD, temperature_c=28)
    assert "temperature_c" not in {check.attribute for check in screen.check.fails}
    assert "changed here" in screen.caring._verdict.value
    changed = screen.room_check
    screen.caring._back.click()
    assert screen.tank is COLD
    assert "changed here" not in screen.caring._verdict.value
    assert screen.caring._measures.layout.display == ""
    assert changed != screen.room_check


def test_the_invented_fish_room_is_read():
    screen = idkey.care_view(ZEBRA, room=ROOM)
    assert [label for label, _ in screen.caring._which.options][:-1] == [
        tank.name for tank in screen.caring._tanks
    ]
    assert len(screen.room_check.checks) == len(screen.caring._tanks) >= 4
    # Companions and substrate stay when a measure is changed.
    tank = next(t for t in screen.caring._tanks if t.companions)
    screen.caring._which.value = screen.caring._tanks.index(tank)
    type_in(screen, ph="7.1")
    assert screen.tank == dataclasses.replace(tank, ph=7.1)
    same = idkey.care_view(ZEBRA, room=[SMALL, SMALL])
    assert len({label for label, _ in same.caring._which.options}) == 3


@pytest.fixture(scope="module")
def one_screen():
    """For all examples: it is slow to make."""
    return idkey.care_view(ZEBRA)


@settings(max_examples=25)
@given(typed=st.dictionaries(st.sampled_from(list(_MEASURES)), st.text(max_size=6), max_size=4))
def test_whatever_is_typed_stays_and_is_checked_or_refused(one_screen, typed):
    screen = one_screen
    wanted = {key: typed.get(key, SIZE.get(key, "")) for key in _MEASURES}
    type_in(screen, **wanted)
    assert {key: field.value for key, field in screen.caring._fields.items()} == wanted
    complete = all(wanted[key].strip() for key in SIZE)
    asked = "?" in screen.caring._verdict.value
    assert (screen.check is not None) == (complete and not screen._alert.value and not asked)
    assert complete or not screen._alert.value


def test_what_is_saved_is_a_static_picture(screen):
    bundle = screen._repr_mimebundle_()
    assert bundle == screen._repr_mimebundle_()
    assert "Run this cell to use the controls" in bundle["text/html"]
    assert html.escape(screen.check.verdict) in bundle["text/html"]
    assert 'role="status"' not in bundle["text/html"]
    assert "cold <b>tank</b>" in bundle["text/plain"]
    assert "Temperature" in bundle["text/plain"]
    assert all(
        "<b>tank</b>" not in part.value
        for part in (screen.caring._verdict, screen.caring._checks, screen.caring._ranked)
    )
    assert "&lt;b&gt;tank&lt;/b&gt;" in screen.caring._ranked.value
