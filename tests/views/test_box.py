"""A box on one page, and the letter to the seller: what was seen, what the table says, and no accusation."""

import re
from datetime import date

import pandas as pd
import pytest
from markup import Page, page_texts

import idkey
from idkey import display
from idkey.book.letter import Letter
from idkey.views import html, print

EVIL = "L201 <b onclick=x()>&amp; =1+1 'L' \"q\" *a* #b $c$"
ACCUSING = re.compile(
    r"\b(wrong\w*|false\w*|fraud\w*|cheat\w*|mislabel\w*|misl\w*|faults?|blame\w*|lie[sd]?|deceiv\w*|"
    r"your (error|mistake)|incorrect\w*|you (sold|sent|claim\w*|said))\b",
    re.IGNORECASE,
)
"""Words that lay something at the seller's door."""

ROWS = [  # invented; bags 1, 3 and 5 hold what the table rules out for their labels
    {
        "bag": 1,
        "label": EVIL,
        "count": 6,
        "tank": "rack 2",
        "pattern": "light_spots",
        "spot_size": "large",
        "tail_fork": "forked",
        "spot_colour": "white",
    },
    {"bag": 2, "label": "L046", "pattern": "bars"},
    {
        "bag": 3,
        "label": "L014",
        "pattern": "light_spots",
        "jaw_angle": "wide",
        "tooth_form": "brush",
        "dorsal_reach": "joined",
    },
    {"bag": 4, "label": "no such fish"},
    {
        "bag": 5,
        "label": "L018",
        "fish": "a",
        "pattern": "light_spots",
        "dorsal_reach": "joined",
        "jaw_angle": "wide",
        "tooth_form": "brush",
    },
    {
        "bag": 5,
        "label": "L018",
        "fish": "b",
        "pattern": "bars",
        "dorsal_reach": "gap",
        "jaw_angle": "acute",
        "tooth_form": "larger_below",
    },
]


@pytest.fixture(scope="module")
def check(shipped):
    return idkey.check_box(pd.DataFrame(ROWS), shipped)


@pytest.fixture(scope="module")
def letter(check):
    pictures = {"1": ("side.jpg", "tail <i>.jpg")}
    return Letter(check, "Seller & Sons", date(2026, 11, 20), "4711", "I. B.", pictures)


def told(thing):
    """The same document in a console, on the screen, on a page of HTML and on paper, without blanks."""
    document = display.document(thing)
    pages = display.text(thing), Page(display.html(thing)).words, Page(html.printed(document)).words
    paper = " ".join(page_texts(print.pdf(document)))
    return [close(text) for text in (*pages, paper)]


def close(text):
    """A text without its blanks: paper breaks a line behind a hyphen, too."""
    return "".join(text.replace("\u200b", "").split())


def test_a_page_says_of_each_bag_what_its_label_comes_to_and_what_to_look_at_next(check):
    assert [bag.verdict for bag in check.bags][::2] == ["does not fit"] * 3
    for text in told(check):
        for bag in check.bags:
            assert close(bag.label) in text
            assert close(bag.text) in text
        assert close(check.prior) in text
        look = check.next_look()
        assert close(f"{look.fish.name[1:]}: {look.question.trait.question}") in text
        assert close(check.bags[4].pairs[0].text) in text
    page = Page(display.html(check))
    assert page.tags.count("tr") == 1 + len(check.bags)
    assert "rack 2" in page.words
    assert "tail fin edge: clearly forked" in page.words
    assert not {"b", "i", "script"} & {*page.tags}


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_a_box_of_eight_bags_fits_on_one_page(check, shipped, paper):
    rows = [row | {"bag": n} for n, row in enumerate((*ROWS, *ROWS[:2]), start=1)]
    eight = idkey.check_box(pd.DataFrame(rows), shipped)
    assert len(page_texts(print.pdf(display.document(eight), paper))) == 1


def test_cells_that_were_not_taken_are_told_on_the_page(shipped):
    rows = pd.DataFrame([{"label": "L201", "pattern": "lite spots", "odd": 1}])
    check = idkey.check_box(rows, shipped)
    for text in told(check):
        assert "litespots" in text
        assert "odd" in text


def test_the_letter_states_what_was_seen_with_the_source_of_what_the_table_says(check, letter):
    wrong = check.of("does not fit")
    assert [bag.number for bag in wrong] == ["1", "3", "5"]
    claims = check.table.claims("scobinancistrus_aureatus", "dorsal_reach")
    (source,) = {check.table.sources[key].full for key in claims["source"]}
    for text in told(letter):
        for bag in wrong:
            for reason in bag.worst.against:
                assert close(reason.row) in text
        for part in (EVIL, "Seller & Sons", "20 November 2026", "4711", "I. B.", "side.jpg and tail <i>.jpg"):
            assert close(part) in text
        for part in ("(read in the source)", "(common practice, no source)", source):
            assert close(part) in text
        assert "L014" in text


def test_no_bag_that_fits_or_is_open_is_held_up_in_the_letter(check, letter):
    headings = re.findall(r"Bag (\d+), labelled", display.text(letter))
    assert headings == ["1", "3", "5"]
    rest = display.text(letter)
    assert re.search(r"Of bags? [\d, and]+ we\s+can't say yet", rest)


def test_the_letter_accuses_no_one(check, letter, shipped):
    quiet = idkey.check_box(pd.DataFrame(ROWS[1:2]), shipped)
    for text in map(display.text, (letter, Letter(quiet))):
        assert not ACCUSING.search(text.replace(EVIL, ""))
        assert "We draw no conclusion about how these names came about" in " ".join(text.split())
    # What would be found if it stood there.
    assert ACCUSING.search("The bags were mislabelled")
    assert "nothing rules out a name on a bag" in display.text(Letter(quiet))
    assert display.text(Letter(quiet)).splitlines()[1] == "Dear Sir or Madam,"


def test_two_fish_of_one_bag_that_differ_are_told_by_what_was_seen(check, letter):
    bag = check.bags[4]
    assert bag.mixed
    for text in told(letter):
        for reason in bag.mixed[0].reasons:
            assert close(f"{reason.label}: {reason.said[0]}, and {reason.said[1]}") in text
