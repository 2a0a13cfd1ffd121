"""Keep this fish: what the identify screen writes into the book, and a fish opened from it again."""

import sqlite3

import pandas as pd
import pytest
from markup import words

import idkey
from idkey.errors import IdkeyError
from idkey.widgets.way import AGAIN, KEEP

ANSWERS = {"pattern": "light_spots", "spot_colour": "white"}


@pytest.fixture
def screen(book, shipped):
    return idkey.identify(shipped, ANSWERS, book)


def test_without_a_book_nothing_speaks_of_one_and_an_address_opens_one(shipped, tmp_path):
    assert idkey.identify(shipped).way.keeping is None
    screen = idkey.identify(shipped, book=tmp_path / "new.sqlite")
    assert str(tmp_path / "new.sqlite") in words(screen.way.keeping._where)
    assert "0 fish" in words(screen.way.keeping._where)
    screen.way.keeping.book.close()
    with pytest.raises(IdkeyError, match="no folder"):
        idkey.identify(shipped, book=tmp_path / "missing" / "new.sqlite")


def test_a_fish_is_kept_once_with_bag_tank_and_tag_and_what_is_seen_later_stands_beside(book, screen):
    bag = book.add_bag(book.add_box("seller 4"), "L201 <b>", 3, "rack 2")
    keeping = screen.way.keeping
    screen.way.folds[KEEP].button.click()
    keeping.bag.label = "box 1, bag 1: L201 <b>"
    keeping.tank.value, keeping.tag.value, keeping.who.value = "rack 3", "A7", "IB"
    keeping.press.click()
    keeping.press.click()
    kept = book.fish(1)
    assert (kept.bag.id, kept.tank, kept.tag, kept.look.who) == (bag.id, "rack 3", "A7", "IB")
    assert [look.answers for look in kept.looks] == [ANSWERS]
    assert "Nothing new" in words(keeping._said.value)
    screen.identification.answer("tail_fork", "forked")
    keeping.tank.value = "rack 9"
    keeping.press.click()
    kept = book.fish(1)
    assert [look.answers for look in kept.looks] == [ANSWERS, {**ANSWERS, "tail_fork": "forked"}]
    assert kept.tank == "rack 9"
    assert "1 fish, 2 looks" in words(keeping._where.value)
    for text in screen._repr_mimebundle_().values():
        if isinstance(text, str):
            assert "No. 1 in the book" in text


def test_the_fish_of_a_bag_that_is_in_the_book_goes_on_under_its_number(book, screen, shipped):
    box, keeping = book.add_box("seller 4"), screen.way.keeping
    one, several = book.add_bag(box, "L201", 1, "rack 2"), book.add_bag(box, "L046", 3)
    for bag in (one, several):
        book.keep(idkey.Identification(shipped).answer("pattern", "light_spots"), bag)
    screen.way.folds[KEEP].button.click()
    keeping.bag.label = "box 1, bag 1: L201"
    keeping.tag.value, keeping.tank.value = "A7", "rack 9"
    keeping.press.click()
    kept = book.fish(1)
    assert [look.answers for look in kept.looks] == [{"pattern": "light_spots"}, ANSWERS]
    assert kept.tank == "rack 9"
    assert [event.detail for event in kept.events if event.what == "note"] == ["tag A7"]
    assert "No. 1, the fish of this bag: " in words(keeping._said.value)
    assert len(book.last()) == 2
    # A bag of several gives each fish a number of its own.
    keeping.next.click()
    screen.identification.answer("tail_fork", "forked")
    keeping.bag.label = "box 1, bag 2: L046"
    keeping.press.click()
    assert (keeping.number, len(book.last())) == (3, 3)
    # With nothing new to say of it nothing is written.
    keeping.next.click()
    for trait, answer in ANSWERS.items():
        screen.identification.answer(trait, answer)
    keeping.bag.label = "box 1, bag 1: L201"
    keeping.press.click()
    assert "Nothing new to write down of No. 1, the fish of this bag." in words(keeping._said.value)
    assert len(book.fish(1).looks) == 2


def test_the_name_typed_from_a_bag_that_is_in_no_box_is_kept_and_finds_the_fish(book, screen):
    screen._bag.value = "Zebra L46 <b>"
    screen.way.keeping.press.click()
    assert [fish.number for fish in book.find("zebra l46")] == [1]


def test_another_fish_is_begun_or_opened_and_nothing_that_is_not_kept_is_lost_unasked(book, screen):
    keeping = screen.way.keeping
    keeping.tank.value = "rack 3"
    keeping.next.click()
    assert "not in the book yet" in screen.way.keep_alert.value
    assert dict(screen.identification.answers) == ANSWERS
    keeping.press.click()
    keeping.next.click()
    assert (dict(screen.identification.answers), keeping.number) == ({}, None)
    assert keeping.tank.value == "rack 3"
    screen.identification.answer("pattern", "bars")
    keeping.tag.value = "B2"
    keeping.press.click()
    screen.way.folds[AGAIN].button.click()
    assert [label.split(":")[0] for label, _ in keeping.choice.options] == ["No. 2", "No. 1"]
    keeping.find.value = "b2"
    assert [number for _, number in keeping.choice.options] == [2]
    keeping.find.value = "1"
    keeping.opens.click()
    assert (dict(screen.identification.answers), keeping.number) == (ANSWERS, 1)
    assert keeping.tank.value == "rack 3"
    # The controls work on the fish that was opened.
    screen.looking.undo.click()
    assert list(screen.identification.answers) == ["pattern"]
    screen.looking.restart.click()
    assert not screen.identification.answers
    keeping.find.value = "nothing like it"
    keeping.opens.click()
    assert "no fish to open" in screen.way.keep_alert.value
    # Asked twice, it is left.
    screen.identification.answer("pattern", "plain")
    keeping.next.click()
    assert keeping.number == 1
    keeping.next.click()
    assert keeping.number is None
    assert [len(book.fish(n).looks) for n in (1, 2)] == [1, 1]


def test_a_book_that_cannot_be_written_is_one_line_and_all_that_was_typed_stays(book, screen, tmp_path):
    keeping = screen.way.keeping
    keeping.tank.value, keeping.tag.value = "rack 3", "A7"
    with sqlite3.connect(tmp_path / "room.sqlite") as other:
        other.execute("ALTER TABLE event RENAME TO hidden")
        other.commit()
        keeping.press.click()
        assert str(tmp_path) in words(screen.way.keep_alert)
        assert words(screen.way.keep_alert).strip().count("\n") == 0
        assert (keeping.tank.value, keeping.tag.value, keeping.number) == ("rack 3", "A7", None)
        assert dict(screen.identification.answers) == ANSWERS
        other.execute("ALTER TABLE hidden RENAME TO event")
    other.close()
    keeping.press.click()
    assert screen.way.keep_alert.value == ""
    assert [(fish.tag, fish.tank) for fish in book.last()] == [("A7", "rack 3")]


def test_the_last_twenty_are_at_hand_newest_first(book, screen, shipped):
    for n in range(22):
        book.keep(idkey.Identification(shipped), tag=f"t{n}")
    screen.way.folds[AGAIN].button.click()
    assert [number for _, number in screen.way.keeping.choice.options] == [*range(22, 2, -1)]


def test_what_a_table_can_no_longer_take_is_said_when_a_fish_is_opened(book, screen, shipped):
    screen.way.keeping.press.click()
    frame = pd.DataFrame({"kind": ["a", "b"], "pattern": ["light_spots", "bars"]})
    smaller = idkey.identify(idkey.TraitTable.from_frame(frame, taxon="kind"), book=book)
    smaller.way.folds[AGAIN].button.click()
    smaller.way.keeping.opens.click()
    assert list(smaller.identification.answers) == ["pattern"]
    assert "left out" in words(smaller.way.keeping._said)
