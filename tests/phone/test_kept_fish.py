"""Fish kept on a phone come into the book: as they were seen, once, and a text that is none is told."""

import datetime as dt
import json
from pathlib import Path

import pytest

import idkey
from idkey.book.editions import edition_id
from idkey.errors import IdkeyError, TableWarning


@pytest.fixture
def book(tmp_path):
    with idkey.open_book(tmp_path / "book.sqlite") as book:
        yield book


def text_of(shipped, **changed):
    seen = {
        "id": "0b9a3b1e-7d6c-4c4e-9d3a-111111111111",
        "at": "2026-05-31T12:00:00.000+02:00",
        "tag": "A7",
        "bag": "L46 wild",
        "tank": "rack 3",
        "answers": {
            "pattern": {"bars": 1},
            "adult_size": [60, 62.5],
            "fin_edging": {"dark": 0.75, "white": 0.25},
        },
        "unseen": ["tail_fork"],
        "stage": "adult",
        "named": ["hypancistrus_zebra"],
        "edition": edition_id(shipped),
    }
    return json.dumps({"idkey pocket": 1, "fish": [seen | changed]})


def test_a_fish_is_kept_as_it_was_seen_and_once(book, shipped):
    [fish] = book.read_pocket(text_of(shipped))
    assert (fish.tag, fish.tank, fish.kept_at) == (
        "A7",
        "rack 3",
        dt.datetime(2026, 5, 31, 10, tzinfo=dt.UTC),
    )
    look = fish.look
    assert look.answers["adult_size"] == "60..62.5"
    assert look.answers["fin_edging"] == "dark:0.75|white:0.25"
    assert (look.young, look.unseen, look.label, look.zone) == (False, ["tail_fork"], "L46 wild", "+02:00")
    assert look.prior["prior"] == ["hypancistrus_zebra"]
    assert [(e.what, e.detail) for e in fish.events] == [("kept", "rack 3"), ("note", "bag: L46 wild")]
    assert [f.number for f in book.find("l46")] == [fish.number]
    [again] = book.read_pocket(text_of(shipped))
    assert again.number == fish.number
    assert len(book.last()) == len(again.looks) == 1
    with pytest.raises(IdkeyError, match="other answers"):
        book.read_pocket(text_of(shipped, answers={}))


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"answers": {"no_such": {"x": 1}}}, "fish 1: .*no_such.* is no trait of this table"),
        ({"answers": {"adult_size": [-3, 4]}}, "fish 1: adult_size"),
        ({"id": "7"}, "fish 1: fish_id: '7': give a UUID"),
        ({"at": "2026-05-31T12:00:00"}, "fish 1: at: .* a time has its zone"),
        ({"at": None}, "fish 1: .*give the text of the fish kept"),
        ({"named": ["no such fish"]}, "fish 1: prior: "),
    ],
)
def test_what_is_wrong_is_told_and_nothing_is_written(book, shipped, changed, told):
    with pytest.raises(IdkeyError, match=told):
        book.read_pocket(text_of(shipped, **changed))
    assert book.last() == []


@pytest.mark.parametrize("text", ["", "{}", "[1]", '{"idkey pocket": 2, "fish": []}', "[" * 5000])
def test_a_text_that_is_none_is_told(book, text):
    with pytest.raises(IdkeyError, match="pocket: .*give the text of the fish kept"):
        book.read_pocket(text)


def test_a_table_that_is_not_there_is_told_and_one_in_the_book_is_used(book, shipped):
    with pytest.warns(TableWarning, match="made from another table"):
        book.read_pocket(text_of(shipped, edition="0" * 64))
    some = shipped.only([*shipped.ids[:5], "hypancistrus_zebra"])
    book.keep(idkey.Identification(some))
    other = text_of(shipped, edition=edition_id(some), id="0b9a3b1e-7d6c-4c4e-9d3a-222222222222")
    assert book.read_pocket(other)[0].look.edition_id == edition_id(some)


def test_what_the_phone_hands_over_is_what_the_book_takes(book, shipped, opened, tmp_path):
    page = opened(shipped, timezone_id="America/Manaus")
    page.select_option("#other", "pattern")
    page.get_by_role("button", name="light spots on dark").click()
    page.select_option("#other", "adult_size")
    page.get_by_label("Length, mm").fill("64,5")
    page.get_by_label("to, if not sure").fill("70")
    page.get_by_role("button", name="Take this answer").click()
    page.select_option("#other", "fin_edging")
    page.get_by_label("Not sure: let me").check()
    page.get_by_role("button", name="dark or black").click()
    page.get_by_label("More like this one").select_option("white")
    page.get_by_role("button", name="Take this answer").click()
    page.get_by_label("Age of the fish").select_option("young")
    page.get_by_text("Names on the bag").click()
    page.get_by_label("Find a kind").fill("l201")
    page.locator("#bag").get_by_label("sp. (L201)").check()
    names = page.evaluate("found.names.slice(0, 5).map(row => [row.id, row.probability])")
    page.get_by_label("Tag", exact=True).fill('</script><b>"Ä7"')
    page.get_by_label("Bag, as labelled", exact=True).fill("L201?")
    page.get_by_role("button", name="Keep this fish").click()
    assert "Kept on this phone" in page.locator("#keptSays").inner_text()
    page.reload()  # what is kept outlasts the page
    with page.expect_download() as saved:
        page.get_by_role("button", name="Save as a text file").click()
    text = Path(saved.value.path()).read_text(encoding="ascii")
    assert text == page.locator("#handedOver").input_value()
    [fish] = book.read_pocket(text)
    assert (fish.tag, fish.look.zone, fish.look.label) == ('</script><b>"Ä7"', "-04:00", "L201?")
    assert fish.look.answers == {
        "pattern": "light_spots",
        "adult_size": "64.5..70",
        "fin_edging": "dark:0.25|white:0.75",
        "life_stage": "young",
    }
    assert {taxon: fish.look.names[taxon] for taxon, _ in names} == pytest.approx(dict(names), abs=1e-9)
    assert abs(fish.kept_at - dt.datetime.now(dt.UTC)) < dt.timedelta(minutes=5)
    forget = page.get_by_role("button", name="Delete them from this phone")
    forget.click()
    assert page.locator("#kept li").count() == 1
    page.get_by_role("button", name="Press again").click()
    assert page.locator("#kept li").count() == 0
