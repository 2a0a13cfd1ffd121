"""One fish through all screens: what each step shows of it, and that it goes with the answers."""

import pytest
from markup import words

import idkey
from idkey.care.tank import Tank
from idkey.widgets.way import AGAIN, BESIDE, CARE, KEEP, TANK

ZEBRA = "hypancistrus_zebra"
RACK = Tank("rack 3", 80, 35, 40, fill_cm=36, temperature_c=15)


@pytest.fixture
def screen():
    screen = idkey.identify(room=[RACK])
    screen.identification.answer("pattern", "light_spots").answer("spot_colour", "white")
    screen.show_fish(screen.identification)
    return screen


@pytest.fixture
def on(monkeypatch):
    """Where the keyboard was put, one after the other."""
    on = []
    monkeypatch.setattr("ipywidgets.DOMWidget.focus", lambda *widget: on.extend(widget))
    return on


def head(screen, step):
    """The buttons at the head of a step: back to the question, and on."""
    return screen.way.folds[step].box.children[0].children[1:]


def press(screen, step):
    screen.way.folds[step].button.click()


def test_a_fish_goes_from_step_to_step_with_one_press_each(screen, on, tmp_path):
    press(screen, BESIDE)
    two = screen.identification.outcome().taxa[:2]
    assert screen.way.beside.comparison.taxa == two
    # The keyboard is in what was opened, and the next step stands at its head.
    assert on[-1] is head(screen, BESIDE)[0]
    for step, after in ((BESIDE, CARE), (CARE, TANK), (TANK, KEEP)):
        _, further = head(screen, step)
        assert further.description.startswith(after)
        further.click()
        assert screen.way.folds[after].is_open
        assert on[-1] is head(screen, after)[0]
    caring = screen.way.caring
    assert caring.care == idkey.care_for(screen.identification)
    assert caring.check == idkey.check_tank(caring.care, RACK)
    # Without a book it asks for one; the tank that was checked is the one it goes into.
    screen.way._address.value = str(tmp_path / "room.sqlite")
    screen.way._parts[KEEP].children[0].children[1].click()
    screen.way.keeping.press.click()
    with idkey.open_book(tmp_path / "room.sqlite") as book:
        assert (book.fish(1).tank, book.fish(1).look.answers) == ("rack 3", screen.identification.answers)
    screen.way.keeping.book.close()
    assert len(head(screen, KEEP)) == len(head(screen, AGAIN)) == 1


def test_what_is_opened_stays_open_and_goes_with_the_answers(screen):
    for step in (BESIDE, CARE, TANK):
        press(screen, step)
    before = screen.way.beside.comparison.taxa
    fish = screen.identification
    for trait, state in (("pattern", "dark_spots"), ("basin", "upper_amazon")):
        fish.answer(trait, state)
        screen.show_fish(fish)
    assert screen.way.beside.comparison.taxa == fish.outcome().taxa[:2] != before
    assert screen.way.caring.care == idkey.care_for(fish)
    assert all(screen.way.folds[step].is_open for step in (BESIDE, CARE, TANK))
    # What the person chose instead stays, as long as the fish may be the same.
    screen.way.caring._kind.value = ZEBRA
    fish.answer("tail_fork", "forked")
    screen.show_fish(fish)
    assert screen.way.caring.care.names == (ZEBRA,)
    screen.looking.restart.click()
    assert screen.way.caring._kind.value != ZEBRA
    assert "answer a question first" in words(screen.way._alerts[BESIDE])
    assert screen.way.folds[BESIDE].button.disabled


def test_a_name_alone_stands_beside_the_kind_most_like_it():
    table = idkey.load_table().only([ZEBRA, "hypancistrus_l201", "panaque_nigrolineatus"])
    screen = idkey.identify(
        table, {"pattern": "bars", "ground_colour": "pale", "fin_edging": "none", "basin": "xingu"}
    )
    assert screen.identification.outcome().taxa == (ZEBRA,)
    press(screen, BESIDE)
    assert screen.way.beside.comparison.taxa == table.lookalikes().nearest(ZEBRA)


def test_what_cant_be_is_said_in_the_step_and_the_answers_go_on(screen):
    press(screen, TANK)
    screen.way.caring._fields["ph"].value = "20"
    said = words(screen.way._alerts[TANK])
    assert "20" in said
    assert screen._alert.value == ""
    screen.identification.answer("tail_fork", "forked")
    screen.show_fish(screen.identification)
    # It is still said, and what was typed stands.
    assert words(screen.way._alerts[TANK]) == said
    assert screen.way.caring._fields["ph"].value == "20"
