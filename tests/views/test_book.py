"""What a book tells, as documents: fish judged again, how often we err, whether two fish are one kind."""

import dataclasses

import pytest
from answered import answered
from markup import Page

import idkey
from idkey import display
from idkey.book.pair import CAUTION
from idkey.views.book import fish_words
from idkey.views.words import claims_of

ZEBRA, L201, L260 = "hypancistrus_zebra", "hypancistrus_l201", "hypancistrus_l260"


def fish(table, **answers):
    return answered(table, answers)


@pytest.fixture(scope="module")
def book(shipped, tmp_path_factory):
    with idkey.open_book(tmp_path_factory.mktemp("book") / "room.sqlite") as book:
        for n in range(21):
            seen = fish(shipped, pattern="lines", tail_fork="concave" if n else "forked", basin="tapajos")
            book.keep(seen, tag=f"<b>A{n}</b>", tank="rack 2")
        for n in range(1, 22):
            book.name(n, L260, "grown out")
        book.tell(3, "sold", "buyer 12")
        yield book


def test_a_fish_is_one_line_as_certain_as_it_is(book, shipped):
    first = book.fish(1)
    assert fish_words(shipped, first) == "No. 1: Hypancistrus sp. (L260), tank rack 2, <b>A0</b>"
    bare = book.fish(book.keep(idkey.Identification(shipped), tag="x", count=4).number)
    assert fish_words(shipped, bare) == f"No. {bare.number}: not looked at yet, x, 4 fish"
    open_ = book.keep(fish(shipped, pattern="lines", basin="tapajos"))
    likeliest = open_.look.names
    assert f"likeliest {shipped.label(max(likeliest, key=likeliest.get))} (" in fish_words(shipped, open_)
    book.name(open_.number, L201)
    assert "Hypancistrus sp. (L201), by its looks" in fish_words(shipped, book.fish(open_.number))


def test_fish_judged_again_are_told_with_what_changed_and_whom_they_went_to(book, shipped):
    same, other = book.recheck(shipped), book.recheck(shipped.without_taxon(L260))
    assert "None comes out otherwise" in display.text(same)
    page = Page(display.html(other))
    assert page.tags.count("tr") == 1 + len(other.fish)
    assert "b" not in page.tags
    for text in (page.words, display.text(other)):
        for words in ("<b>A2</b>", "sold buyer 12", "grown out", "the table says otherwise"):
            assert words in text
        assert "No name in the book was changed" in " ".join(text.split())
        assert other.fish[0].causes[0].text in " ".join(text.split())


def test_each_change_of_the_table_is_told_once_with_its_sources(book, shipped):
    found = book.recheck(shipped.with_cell(L260, "pattern", "bars"))
    text = " ".join(display.text(found).split())
    cause = found.fish[0].causes[0]
    part = text[text.index("What has changed in the table") : text.index("(Fish; Then; Now")]
    assert part.count(cause.text) == 1
    assert f"({len(found.fish)} fish; source: " in part
    assert all(claim in part for claim in claims_of(found.table, cause.taxon, cause.trait))


def test_of_very_many_fish_the_first_are_shown_and_the_rest_counted(book, shipped):
    found = book.recheck(shipped.without_taxon(L260))
    many = dataclasses.replace(found, fish=found.fish[:1] * 300)
    assert Page(display.html(many)).tags.count("tr") == 1 + 200
    assert "Not shown: 100 more" in display.text(many)


def test_own_rates_are_told_trait_by_trait(book, shipped):
    found = book.rates(shipped)
    text = " ".join(display.text(found).split())
    offered = {rate.trait.id for rate in found.offered}
    assert {"pattern", "tail_fork"} <= offered
    for rate in found.offered:
        assert rate.text in text
    assert text.index("Offered as your own rates") < text.index(found.offered[0].text)
    few = dataclasses.replace(found, traits=(dataclasses.replace(found.offered[0], answers=3),))
    assert "Too few answers yet" in display.text(few)


def test_whether_two_are_one_kind_is_told_with_what_settles_it_and_the_caution(shipped):
    one, other = fish(shipped, pattern="bars", tail_fork="forked"), fish(shipped, pattern="light_spots")
    pair = idkey.same_kind(one, other, prior="same bag", names=("<i>tag 1</i>", "tag 2"))
    for shown in (display.text(pair), Page(display.html(pair)).words):
        text = " ".join(shown.split())
        assert pair.text in text
        assert pair.reasons[0].text in text
        assert pair.looks[0].trait.question in text
        for caution in CAUTION:
            assert caution in text
    assert "i" not in Page(display.html(pair)).tags
