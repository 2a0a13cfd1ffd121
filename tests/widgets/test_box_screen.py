"""The box screen without a browser: bags in, looks, verdicts, the book, page, letter and labels out."""

import sqlite3

import pandas as pd
import pytest
from markup import page_texts, words

import idkey
from idkey import display
from idkey.book.box import check_bag
from idkey.views.box import bag_html
from idkey.widgets import box_parts

ROWS = [  # invented
    {"bag": 1, "label": "L201", "count": 6, "tank": "rack 2", "spot_size": "large", "tail_fork": "forked"},
    {"bag": 2, "label": "L018 <b>gold</b>", "pattern": "light_spots", "dorsal_reach": "joined"},
    {"bag": 3, "label": "L046"},
]


@pytest.fixture
def screen(shipped, book):
    return idkey.box_view(shipped, book, pd.DataFrame(ROWS))


def told(screen):
    return [words(line._told.value) for line in screen._list.children]


def test_a_box_is_typed_in_bag_by_bag_and_an_empty_label_is_no_bag(shipped):
    screen = idkey.box_view(shipped)
    assert screen.check is None
    assert "No bag yet" in words(screen._stands.value)
    assert "No bag yet" in screen._repr_mimebundle_()["text/plain"]
    screen.add.click()
    assert "write it as it stands on the bag" in screen._alert.value
    for label, count in (("L201", 6), ("L046", 2)):
        screen.label.value, screen.count.value = label, count
        screen.add.click()
        assert screen._alert.value == ""
    assert [(bag.number, bag.label, bag.count) for bag in screen.check.bags] == [
        ("1", "L201", 6),
        ("2", "L046", 2),
    ]
    assert screen.label.value == ""
    assert ["L201" in text for text in told(screen)] == [True, False]


def test_the_screen_says_what_check_box_says_and_asks_what_settles_most(screen, shipped):
    same = idkey.check_box(pd.DataFrame(ROWS), shipped)
    pd.testing.assert_frame_equal(screen.check.to_frame(), same.to_frame())
    for text, bag in zip(told(screen), same.bags, strict=True):
        assert bag.text in text
        assert bag.label in text
    look = same.next_look()
    assert f"Look next at {look.fish.name}: {look.question.trait.question}" in words(screen._stands.value)
    screen.go.click()
    assert screen.opened.bag.number == look.bag.number
    assert screen.opened.looking.asking.trait == look.question.trait
    screen._list.children[2].look.click()
    asking = screen.opened.looking.asking
    choice_trait, choice = asking.trait.id, asking.states.children[0]
    state = choice.state
    choice.button.click()
    assert dict(screen.check.bags[2].fish[0].fish.answers) == {choice_trait: state}
    assert screen.check.bags[2].text in told(screen)[2]
    assert "idk-box-open" in screen._list.children[2]._dom_classes
    assert "idk-box-open" not in screen._list.children[0]._dom_classes


def test_a_bag_has_more_than_one_fish_and_its_label_may_be_mended(screen):
    screen._list.children[0].look.click()
    opened = screen.opened
    opened.more.click()
    assert [label for label, _ in opened.fish.options] == ["1", "2"]
    assert opened.looking.fish.answers == {}
    opened.looking.fish.answer("spot_size", "small")
    opened.fish.value = 0
    assert opened.looking.fish.answers["spot_size"] == "large"
    opened.label.value = "L201a"
    opened.tank.value = "rack 9"
    bag = screen.check.bags[0]
    assert (bag.label, bag.tank, len(bag.fish), bag.count) == ("L201a", "rack 9", 2, 6)
    assert bag.taxa == ("hypancistrus_contradens",)
    opened.label.value = " "
    assert "the last one stays" in screen._alert.value
    assert screen.check.bags[0].label == "L201a"


def test_a_spreadsheet_adds_its_bags_and_what_was_not_taken_is_told(screen, tmp_path):
    file = tmp_path / "more.csv"
    file.write_text("bag,label,Tail fin edge,odd\n1,L260,forkd,x\n7,L004,clearly forked,\n")
    screen.folds["Read a spreadsheet"].button.click()
    screen.path.value = str(tmp_path / "none.csv")
    screen.read.click()
    assert "none.csv" in screen._alert.value
    assert len(screen.bags) == 3
    screen.path.value = str(file)
    screen.read.click()
    assert screen._alert.value == ""
    assert [bag.number for bag in screen.check.bags] == ["1", "2", "3", "4", "7"]
    assert "2 bags read" in words(screen._was_read.value)
    text = display.text(screen.check)
    assert "forkd" in text
    assert "odd" in text


def test_a_box_is_kept_once_however_often_the_button_is_pressed(screen, book):
    screen.keep.click()
    assert "who sold the box" in screen._alert.value
    screen.seller.value, screen.invoice.value, screen.day.value = "seller 4", "4711", "2026-11-20"
    screen.keep.click()
    screen.keep.click()
    box = book.box(1)
    assert (box.seller, box.invoice, box.date.isoformat()) == ("seller 4", "4711", "2026-11-20")
    assert [(bag.label, bag.count, bag.tank) for bag in box.bags] == [
        ("L201", 6, "rack 2"),
        ("L018 <b>gold</b>", 1, ""),
        ("L046", 1, ""),
    ]
    assert [fish.count for bag in box.bags for fish in bag.fish] == [6, 1, 1]
    assert "Nothing new" in words(screen._said.value)
    screen._list.children[2].look.click()
    screen.opened.looking.fish.answer("pattern", "bars")
    screen.keep.click()
    assert [len(book.fish(n).looks) for n in (1, 2, 3)] == [1, 1, 2]
    # What the book holds comes out as the screen has it.
    kept = idkey.check_box(1, screen.table, book)
    assert [bag.verdict for bag in kept.bags] == [bag.verdict for bag in screen.check.bags]
    assert screen.opened.label.disabled
    assert screen.heading == "Box 1 of the book, from seller 4, of 2026-11-20, invoice 4711."


def test_a_book_that_fails_half_way_is_gone_on_with_and_nothing_is_written_twice(screen, book, tmp_path):
    screen.seller.value = "seller 4"
    with sqlite3.connect(tmp_path / "room.sqlite") as other:
        other.execute(
            "CREATE TRIGGER full BEFORE INSERT ON fish WHEN NEW.number = 2 BEGIN "
            "SELECT RAISE(FAIL, 'no room'); END"
        )
    other.close()
    screen.keep.click()
    assert str(tmp_path) in words(screen._alert.value)
    assert screen.seller.value == "seller 4"
    assert len(screen.bags) == 3
    with sqlite3.connect(tmp_path / "room.sqlite") as other:
        other.execute("DROP TRIGGER full")
    other.close()
    screen.keep.click()
    assert screen._alert.value == ""
    assert [[fish.number for fish in bag.fish] for bag in book.box(1).bags] == [[1], [2], [3]]
    assert len(book.boxes()) == 1


def test_summary_letter_and_labels_are_saved_and_a_file_is_not_written_over_unasked(screen, tmp_path):
    printing = screen.printing
    for what, control in printing.files.items():
        control.value = str(tmp_path / f"{what}.pdf")
    save = {row.children[0].description.split()[2]: row.children[1] for row in printing.children[1:4]}
    screen.seller.value = "Seller <b>"
    assert printing._letter.value == ""
    screen.folds["Summary and letter"].button.click()
    screen.sender.value = "I. B."
    # An open letter follows what is typed.
    assert "Dear Seller <b>," in words(printing._letter.value)
    assert "I. B." in words(printing._letter.value)
    save["labels"].click()
    assert "Keep this box first" in screen._alert.value
    screen.keep.click()
    for what in ("summary", "letter", "labels"):
        save[what].click()
        assert screen._alert.value == "", what
    pages = {what: " ".join(page_texts((tmp_path / f"{what}.pdf").read_bytes())) for what in save}
    assert "Box 1 of the book, from Seller <b>" in pages["summary"]
    assert "Dear Seller <b>," in pages["letter"]
    assert "I. B." in pages["letter"]
    assert "No. 3" in pages["labels"]
    save["letter"].click()
    assert "is there already" in screen._alert.value
    printing.over.value = True
    save["letter"].click()
    assert screen._alert.value == ""


def test_a_day_that_is_none_is_said_and_stays_and_the_saved_picture_stands_all_the_same(screen):
    screen.day.value = "20.11."
    assert "2026-05-31" in screen._alert.value
    assert screen.day.value == "20.11."
    bundle = screen._repr_mimebundle_()
    assert "L201" in bundle["text/html"]
    assert screen.check.text in bundle["text/plain"]
    assert "<b>gold</b>" not in bundle["text/html"]
    assert "Run this cell" in bundle["text/html"]


def test_a_step_judges_the_bag_that_changed_and_no_other(screen, shipped, monkeypatch):
    judged = []
    monkeypatch.setattr(
        box_parts, "check_bag", lambda table, bag: judged.append(bag.number) or check_bag(table, bag)
    )
    screen._list.children[1].look.click()
    assert judged == []
    looking = screen.opened.looking
    looking.ask("spot_size")
    for step in (looking.asking.states.children[0].button.click, looking.undo.click):
        judged.clear()
        step()
        assert judged == ["2"]
        assert told(screen) == [words(bag_html(check_bag(shipped, bag))) for bag in screen.bags]
    screen.opened.label.value = "L046"
    assert judged == ["2", "2"]
    assert "L046" in told(screen)[1]
