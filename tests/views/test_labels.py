"""Labels: the name as certain as it is, what a phone reads of the printed sheet, and what is said of care.

The codes are read by ZXing, which is none of the project's own; what a QR code of a number must hold is
ISO/IEC 18004:2015, 7.4.3 (numeric mode).
"""

import numpy as np
import pypdfium2
import pytest
import zxingcpp
from answered import answered
from hypothesis import given
from hypothesis import strategies as st
from markup import Page, page_texts

from idkey import Identification, display, open_book
from idkey.book.labels import Label, Labels
from idkey.table.schema import NONE
from idkey.views import html, labels, print
from idkey.views.words import CAUTION_IN_SHORT

ZEBRA = "hypancistrus_zebra"


def fish(table, **answers):
    return answered(table, answers)


@pytest.fixture(scope="module")
def some(shipped):
    looked_at = fish(shipped, pattern="light_spots", basin="xingu")
    return Labels(
        shipped,
        (
            Label(7, looked_at, tank="rack 3 <b>left</b>", tag="A7"),
            Label(18, looked_at, ZEBRA, "grown out", name="Hypancistrus zebra (L046, L098)", count=6),
            *(Label(number, fish(shipped)) for number in range(99_990, 100_004)),
        ),
    )


@given(st.integers(1, 10**12))
def test_a_phone_reads_the_number_alone(number):
    svg = labels.code_svg(number)
    side = int(svg.split('viewBox="0 0 ')[1].split()[0])
    pixels = np.full((side, side), 255, np.uint8)
    for piece in svg.split('fill="#000" d="M')[1].split('"')[0].removesuffix("z").split("zM"):
        corner, width = piece.split("v")[0].split("h")
        x, y = map(int, corner.split())
        pixels[y, x : x + int(width)] = 0
    (code,) = zxingcpp.read_barcodes(np.kron(pixels, np.ones((4, 4), np.uint8)))
    assert (code.text, code.format) == (str(number), zxingcpp.BarcodeFormat.QRCode)


@pytest.mark.parametrize(("paper", "width"), [("A4", 210), ("Letter", 215.9)])
def test_every_code_of_the_printed_sheets_is_read(some, tmp_path, paper, width):
    file = tmp_path / "labels.pdf"
    Labels(some.table, some.labels, paper).save(file)
    read = []
    for page in pypdfium2.PdfDocument(file):
        assert page.get_width() == pytest.approx(width / 25.4 * 72, abs=0.1)
        found = zxingcpp.read_barcodes(page.render(scale=2, grayscale=True).to_numpy().squeeze())
        assert len(found) == 8
        read += [int(code.text) for code in found]
    assert sorted(read) == [label.number for label in some.labels]


def test_each_label_has_its_number_place_care_and_caution_and_text_is_text(some):
    page = Page(html.printed(display.document(some)))
    assert "b" not in page.tags
    text = page_texts(print.pdf(display.document(some)))[0]
    for words in (page.words, text, display.text(some)):
        for part in ("No. 18", "6 fish", "rack 3 <b>left</b>", "A7", "grown out", "26 to 30 °C", "115 L"):
            assert part in words
        assert " ".join(words.split()).count(CAUTION_IN_SHORT) >= 2


def test_a_name_is_as_certain_as_it_is(shipped):
    blank, young = fish(shipped), fish(shipped, pattern="light_spots", basin="xingu")
    said = {
        "settled": labels.name_words(shipped, Label(1, young, ZEBRA, "bred")),
        "sure by looks": labels.name_words(shipped, Label(1, young, ZEBRA, "looked at", probability=0.96)),
        "by looks": labels.name_words(shipped, Label(1, young, ZEBRA, "looked at", probability=0.7)),
        "open": labels.name_words(shipped, Label(1, young)),
        "blank": labels.name_words(shipped, Label(1, blank)),
        "gone": labels.name_words(shipped, Label(1, young, "gone", "bred", "Genus gone (L999)")),
    }
    assert said["settled"] == ("Hypancistrus zebra (L046, L098)", "bred")
    assert said["sure by looks"] == ("Hypancistrus zebra (L046, L098)", "by its looks, 96 %")
    assert said["by looks"] == ("probably Hypancistrus zebra (L046, L098)", "by its looks, 70 %")
    assert said["open"][0] == f"one of {sum(r.candidate and r.taxon != NONE for r in young.ranked())} names"
    assert said["blank"] == ("not looked at yet", "")
    assert said["gone"] == ("Genus gone (L999)", "bred")


def test_the_labels_of_a_book_go_by_the_latest_look_and_a_name_that_was_settled_stands(shipped, tmp_path):
    with open_book(tmp_path / "book.sqlite") as book:
        bag = book.add_bag(book.add_box("seller 4"), "L046", 3, "rack 2")
        looked_at = fish(shipped, pattern="bars", spot_colour="white")
        numbers = [book.keep(looked_at, bag, tag=tag, count=2).number for tag in ("a", "b", "c")]
        for number in numbers:
            book.name(number, "L201")
        book.look(numbers[1], looked_at.answer("tail_fork", "forked"))
        book.name(numbers[2], "L260", "grown out")
        book.look(numbers[2], looked_at)
        made = book.labels(numbers, shipped).labels
        book.name(numbers[0], NONE, "sent to a specialist")
        none = book.labels(numbers[:1], shipped).labels[0]
    assert [label.taxon for label in made] == ["hypancistrus_l201", "", "hypancistrus_l260"]
    assert [label.settled for label in made] == [False, False, True]
    assert {(label.tank, label.count) for label in made} == {("rack 2", 2)}
    assert made[1].identification.answers["tail_fork"] == "forked"
    assert labels.name_words(shipped, none) == ("None of the kinds in the table", "sent to a specialist")
    assert "vet" in display.text(Labels(shipped, (none,)))


def test_how_certain_the_answers_alone_make_it(shipped):
    two = shipped.only(["hypancistrus_zebra", "hypancistrus_l201"])
    striped = Identification(two, none_prior=0.0).answer("pattern", "bars")
    assert labels.standing_words(striped)[0].startswith("Hypancistrus zebra (L046")
    shared = Identification(two, prior="uniform", none_prior=0.0).answer("adult_size", "40")
    head, _ = labels.standing_words(shared)
    assert head.startswith(("one of: ", "probably "))
    stranger = Identification(two, none_prior=0.999).answer("spot_size", "large")
    assert labels.standing_words(stranger)[0] == "none of the kinds in the table"


def test_care_that_rests_on_no_source_and_names_that_disagree_are_said(shipped):
    both = Identification(shipped.only([ZEBRA, "panaque_nigrolineatus"]), none_prior=0.0)
    text = display.text(Labels(both.table, (Label(1, both.answer("spot_size", "small")),)))
    assert "the names disagree, see the care sheet" in text
    claims = shipped.evidence[shipped.evidence["attribute"] == "temperature_c"]
    claims = claims.groupby("care_group")["class"].agg(set)
    (group, *_) = [group for group, classes in claims.items() if group and classes == {"common practice"}]
    taxon = shipped.taxa.index[shipped.taxa["careGroup"] == group][0]
    settled = Labels(shipped, (Label(1, fish(shipped), taxon, "bred"),))
    assert "\u00b0F) (common practice, no source); pH" in " ".join(display.text(settled).split())
