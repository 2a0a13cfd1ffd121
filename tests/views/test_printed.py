"""What is printed: what stands in it, on which paper, where it is written, and that nothing in it runs.

Paper sizes: A4 is 210 x 297 mm (ISO 216:2007, table 1); Letter is 8.5 x 11 in (ANSI/ASME Y14.1, size A).
A point is 1/72 in (ISO 32000-1:2008, 8.3.2.3). The published key is CRAMER2015, see
`tests/published/test_published_keys.py`; its species are counted there on the printed page.
"""

import io
import os
import re
import sys
import time
from dataclasses import replace
from functools import cache, partial
from pathlib import Path

import numpy as np
import pandas as pd
import pypdf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from markup import Page, pages_of, pdf_texts

import idkey
from idkey import display
from idkey.errors import IdkeyError
from idkey.model.compare import compare
from idkey.views import html, key, print, words
from idkey.views.doc import Couplets, Lines
from idkey.views.words import introduced

PUBLISHED = Path(__file__).parents[1] / "published" / "panaqolus_cramer2015.csv"
MM = 72 / 25.4
SIZES = {"A4": (210 * MM, 297 * MM), "Letter": (8.5 * 72, 11 * 72)}
# What broke a printed page: quotation marks, dashes, letters of many scripts, emoji, accents that combine.
LETTERS = "‘ ’ “ ” – … ł č α ß 🐟 👨‍👩‍👧 é̂ 漢 ﷽"
PAIR = ("hypancistrus_zebra", "hypancistrus_l260")


shipped = cache(idkey.load_table)
shipped_key = cache(lambda: idkey.build_key(shipped()))


def pdf_of(thing, paper="A4", **options):
    return print.pdf(display.document(thing, **options), paper)


def page_of(thing, paper="A4", **options):
    return html.printed(display.document(thing, **options), paper)


KEYS = {"A4": shipped_key, "Letter": cache(lambda: idkey.build_key(shipped().only(shipped().ids[::3])))}
"""The key to all kinds on the paper that is usual, a shorter one on the other."""


@cache
def key_pdf(paper):
    return pdf_of(KEYS[paper](), paper)


@cache
def texts(paper):
    return pdf_texts(key_pdf(paper))


def squeezed(text):
    return re.sub(r"[\s\u200b\u2060]+", "", text)


def all_text(data):
    return squeezed(" ".join(pdf_texts(data)))


def small_key(tail=("forked", "straight"), kinds=("one", "two"), name="table"):
    frame = pd.DataFrame({"kind": kinds, "tail": tail})
    return idkey.build_key(idkey.TraitTable.from_frame(frame, taxon="kind", name=name))


@pytest.mark.parametrize("paper", SIZES)
def test_every_couplet_stands_once_and_whole_on_one_page(paper):
    made = KEYS[paper]()
    before, at = key.came_from(made), {}
    for number, text in enumerate(texts(paper)):
        for couplet in made.couplets:
            back = f" (from {', '.join(map(str, before[couplet.number]))})" if before[couplet.number] else ""
            asked = r"\s+".join(map(re.escape, f"{couplet.number} {couplet.trait.question}{back}".split()))
            for _ in re.findall(rf"(?m)^{asked}\s*a\s", text):
                assert couplet.number not in at
                at[couplet.number] = number
    assert sorted(at) == [c.number for c in made.couplets]
    for couplet in made.couplets:
        here = squeezed(texts(paper)[at[couplet.number]])
        for lead in (couplet.a, couplet.b):
            assert squeezed(key.lead_words(couplet, lead)) in here
            assert squeezed("; ".join(shipped().label(t) for t in lead.taxa)) in here


def test_every_lead_goes_to_a_couplet_or_to_names_and_back_references_are_leads_turned_round():
    couplets, before = shipped_key().couplets, key.came_from(shipped_key())
    page, numbers = Page(page_of(shipped_key())), [f"c{c.number}" for c in couplets]
    ids = page.all("id")
    assert [i for i in ids if re.fullmatch(r"c\d+", i)] == numbers
    assert len(ids) == len(set(ids))
    assert set(numbers[1:]) <= {link.removeprefix("#") for link in page.all("href")} <= set(ids)
    leads = {(c.number, x.goes_to) for c in couplets for x in (c.a, c.b) if x.goes_to is not None}
    assert {(f, to) for to, froms in before.items() for f in froms} == leads
    assert [n for n, froms in before.items() if not froms] == [1]
    on = sum(lead.goes_to is not None for c in couplets for lead in (c.a, c.b))
    places = on + sum(map(len, before.values())) + sum(len(where) for _, where in key.index(shipped_key()))
    links = [a for p in pages_of(key_pdf("A4")) for a in p.get("/Annots", [])]
    # A link that is broken over two lines stands twice.
    assert places <= len(links) <= 1.1 * places


def test_every_name_stands_in_the_index_with_its_leads_or_among_those_left_out():
    document, index, label = squeezed(" ".join(texts("A4"))), key.index(shipped_key()), shipped().label
    last = document[document.index(squeezed("Index of names")) :]
    assert all(squeezed(f"{name}:{', '.join(where)}")[:40] in last for name, where in index)
    out = shipped_key().left_out
    assert out
    for taxon in out:
        # once, on the first page, with what would place it
        places = ", ".join(t.name.lower() for t in shipped_key().would_place(taxon))
        assert document.count(squeezed(label(taxon))) == 1
        assert squeezed(f"{label(taxon)}: {places}") in squeezed(texts("A4")[0])
    leads = {f"{c.number}{x}": getattr(c, x).taxa for c in shipped_key().couplets for x in "ab"}
    keyed = sorted(set(shipped().ids) - set(out), key=lambda t: label(t).casefold())
    for (name, where), taxon in zip(index, keyed, strict=True):
        assert name == introduced(shipped(), taxon)
        assert set(where) == {lead for lead, taxa in leads.items() if taxon in taxa} != set()


def test_counts_are_whole_and_the_first_page_says_what_to_cross_out():
    counts = [c for c in shipped_key().couplets if c.trait.unit == "count"]
    assert 7 in {int(c.threshold) for c in counts}
    for c in counts:
        leads = [key.lead_words(c, lead).partition(";")[0] for lead in (c.a, c.b)]
        most = int(c.threshold)
        assert leads == [f"{c.trait.name}: {words}" for words in (f"{most} or fewer", f"{most + 1} or more")]
    first, (taxon, more), *_ = squeezed(texts("A4")[0]), *shipped_key().crossed_out()
    assert squeezed(f"{more} more ends would hold one name without {shipped().label(taxon)}") in first


def test_the_published_key_stands_in_print_with_every_species():
    # CRAMER2015 p. 468-469: ten species of Panaqolus.
    frame = pd.read_csv(PUBLISHED, dtype=str)
    assert len(frame) == 10
    made = idkey.build_key(idkey.TraitTable.from_frame(frame, taxon="taxon"))
    couplets, _, ending = all_text(pdf_of(made)).partition(squeezed("Index of names"))
    written = Page(page_of(made)).words
    for name in frame["taxon"]:
        assert squeezed(name) in couplets
        assert squeezed(name) in ending
        assert written.count(name) >= 2


def test_what_cannot_be_told_apart_is_said():
    made, words = small_key(tail=["forked", "forked"]), "can't be told apart by this table: one; two"
    assert squeezed(words) in all_text(pdf_of(made))
    assert all(words in text for text in (Page(page_of(made)).words, Page(made.html()).words, made.text()))


def test_an_end_longer_than_a_page_goes_on_over_the_page():
    names = [f"kind number {i:04d} of a long list" for i in range(500)] + ["x" * 2000]
    made = small_key(["forked"] * len(names) + ["straight"], [*names, "other"])
    data = pdf_of(made)
    foot = squeezed(f"Key to 502 kinds | {words.stamp(made.table)}")
    text = re.sub(rf"{re.escape(foot)}page\d+of{len(pages_of(data))}", "", all_text(data))
    assert all(text.count(squeezed(name)) == 2 for name in names)


def test_a_key_to_a_thousand_kinds_is_set_in_seconds():
    document = display.document(shipped_key())
    (block,) = (b for b in document.blocks if isinstance(b, Couplets))
    bare = [(c, tuple(replace(x, to=1 if x.to else None) for x in c.leads)) for c in block.couplets]
    many = [replace(c, number=c.number + 1000 * i, before=(), leads=x) for i in range(5) for c, x in bare]
    start = time.process_time()
    data = print.pdf(replace(document, blocks=(Couplets(tuple(many)),)))
    assert time.process_time() - start < 30
    assert len(pages_of(data)) > 50


@pytest.mark.parametrize("paper", SIZES)
def test_paper_size_page_numbers_foot_and_first_page(paper):
    pages = pages_of(key_pdf(paper))
    assert len(pages) <= 25
    for number, (page, text) in enumerate(zip(pages, texts(paper), strict=True), start=1):
        assert [*map(float, page.mediabox[2:])] == pytest.approx(SIZES[paper], abs=0.02)
        assert f"page {number} of {len(pages)}" in text
        assert words.stamp(KEYS[paper]().table) in text
    assert "Pattern: light spots on dark" in texts(paper)[0]
    assert not re.search(rb"/Subtype\s*/Image", key_pdf(paper))  # drawings are vectors
    assert len(key_pdf(paper)) < 1_500_000
    document = page_of(KEYS[paper](), paper)
    assert f"@page {{ size: {paper.replace('L', 'l')};" in document
    assert 'counter(page) " of " counter(pages)' in document
    cautions = [line for block in words.CAUTIONS if isinstance(block, Lines) for line in block.items]
    for line in (*cautions, *key.how_to_use(KEYS[paper]())):
        assert line in Page(document).words
        assert squeezed(line) in squeezed(texts(paper)[0])


@cache
def pocket_pdf():
    return pdf_of(KEYS["Letter"](), "Letter pocket")


def cards(data):
    """The width in mm of each drawing on the pages of a PDF: its card is half as wide again as it is high."""
    for page in pages_of(data):
        scales, points = [1.0], []
        for args, operator in page.get_contents().operations:
            match operator:
                case b"q":
                    scales.append(scales[-1])
                case b"Q":
                    scales.pop()
                case b"cm":
                    scales[-1] *= abs(float(args[0]))
                case b"m" | b"l":
                    points = [*(points if operator == b"l" else []), [float(v) for v in args]]
                case b"h" if len(points) == 4:
                    wide, high = np.ptp(points, axis=0)
                    if high and abs(wide / high - 1.5) < 0.01:
                        yield wide * scales[-1] / MM


@pytest.mark.parametrize("data", [partial(key_pdf, "A4"), partial(key_pdf, "Letter"), pocket_pdf])
def test_drawings_of_a_key_are_22_mm_wide_or_more(data):
    widths = [*cards(data())]
    assert len(widths) > 100
    assert min(widths) >= 21.9


@pytest.mark.parametrize("paper", SIZES)
def test_what_a_lead_says_and_where_it_goes_is_read_at_a_metre(paper):
    # Letters 1 in high are read at 30 ft (MUTCD 2009, section 2A.13); capitals of DejaVu Sans are 0.729 em.
    least, sizes = 72 / (30 * 0.3048) / 0.729, {}
    made = KEYS[paper]()

    def seen(text, cm, matrix, _font, size):
        sizes.setdefault(squeezed(text), set()).add(size * abs(cm[3] * matrix[3]))

    for page in pages_of(key_pdf(paper)):
        page.extract_text(visitor_text=seen)
    assert least == pytest.approx(10.8, abs=0.01)
    for couplet in made.couplets:
        assert max(sizes[str(couplet.number)]) >= 2 * least
        for lead in (couplet.a, couplet.b):
            start = squeezed(couplet.trait.name)[:12]
            assert any(max(s) >= least for text, s in sizes.items() if text.startswith(start))
            if len(lead.taxa) == 1:
                name = squeezed(shipped().label(lead.taxa[0]))
                assert any(
                    max(s) >= least for text, s in sizes.items() if text and name.startswith(text[:12])
                )


def test_a_key_to_be_folded_has_four_panels_a_side_and_all_that_the_wall_has():
    pages = pages_of(pocket_pdf())
    assert [*map(float, pages[0].mediabox[2:])] == pytest.approx(SIZES["Letter"][::-1], abs=0.02)
    panel, lefts = SIZES["Letter"][1] / 4, []
    pages[1].extract_text(visitor_text=lambda text, cm, *_: text.strip() and lefts.append(cm[4]))
    assert {int(left // panel) for left in lefts} == {0, 1, 2, 3}
    text = squeezed(" ".join(pdf_texts(pocket_pdf())))
    assert all(
        squeezed(shipped().label(t)) in text for c in KEYS["Letter"]().couplets for t in c.a.taxa + c.b.taxa
    )
    with pytest.raises(IdkeyError, match="only a key with a question in it is folded"):
        idkey.care_for(shipped(), PAIR[0]).save("care.pdf", "A4 pocket")


def test_the_example_of_a_wrong_turn_stands_in_the_key():
    for made in (*(make() for make in KEYS.values()), small_key()):
        told = re.findall(r"\(from (\d+)\) beside (\d+) says", " ".join(key.how_to_use(made)))
        before = key.came_from(made)
        assert len(told) == any(before.values())
        assert all(int(a) in before[int(b)] for a, b in told)


def test_an_end_with_one_name_shows_its_fish():
    made = KEYS["Letter"]()
    ends = [lead for c in made.couplets for lead in (c.a, c.b) if len(lead.taxa) == 1]
    document = display.document(made)
    leads = [lead for b in document.blocks if isinstance(b, Couplets) for c in b.couplets for lead in c.leads]
    assert len(ends) > 5
    assert sum(bool(lead.shows) for lead in leads) == len(ends)
    assert all(lead.names[0] in lead.shows[0].svg for lead in leads if lead.shows)


def test_metadata_is_set_and_the_date_is_that_of_the_table():
    reader = pypdf.PdfReader(io.BytesIO(key_pdf("A4")))
    assert reader.metadata.title == "Key to 89 kinds"
    assert reader.metadata.author.startswith("idkey")
    assert reader.trailer["/Root"]["/Lang"] == "en-GB"
    undated = pypdf.PdfReader(io.BytesIO(pdf_of(small_key())))
    assert undated.metadata.creation_date is None
    table = replace(shipped().only(PAIR), about={"version": "7.1", "created": "2026-03-09"})
    reader = pypdf.PdfReader(io.BytesIO(pdf_of(idkey.build_key(table))))
    assert reader.metadata.creation_date.date().isoformat() == "2026-03-09"
    assert "version 7.1, 9 March 2026" in reader.pages[0].extract_text()


def test_the_same_key_gives_the_same_bytes():
    again = idkey.build_key(idkey.load_table())
    assert pdf_of(again) == key_pdf("A4")
    assert page_of(again) == page_of(shipped_key())


def test_any_letter_prints_in_a_key_a_care_sheet_and_a_comparison():
    table = shipped().only(PAIR)
    for taxon in PAIR:
        table = table.with_cell(taxon, "scientificName", f"Hypancistrus {LETTERS} {taxon[-4:]}")
    things = idkey.build_key(table), idkey.care_for(table, *PAIR), compare(table, *PAIR), table.review()
    for thing in things:
        text = all_text(pdf_of(thing))
        assert all(letter in text for letter in "‘’“”–…łčαß漢")


@settings(max_examples=10)
@given(st.text(max_size=40), st.text(st.characters(exclude_categories="C"), min_size=1, max_size=300))
def test_any_text_can_be_printed(title, label):
    made = small_key(name=label)
    assert pages_of(pdf_of(made, title=title))
    assert page_of(made, title=title).encode("utf-8")


MAKE = {
    "key": shipped_key,
    "care": lambda: idkey.care_for(shipped(), PAIR[0]),
    "comparison": lambda: compare(shipped(), *PAIR),
    "review": lambda: shipped().review(),
}


@pytest.mark.parametrize("make", MAKE.values(), ids=MAKE)
def test_html_is_self_contained(make, tmp_path):
    make().save(tmp_path / "it.html")
    document = (tmp_path / "it.html").read_text(encoding="utf-8")
    page = Page(document)
    assert not {"script", "link", "iframe", "object", "img", "image"} & set(page.tags)
    assert not page.all("src", "srcset", "xlink:href", "data", "action")
    assert not any(name.startswith("on") for name, _ in page.attributes)
    assert all(link.startswith("#") for link in page.all("href"))
    assert not re.search(r"url\(|@import", document)


@pytest.mark.parametrize("taxa", [PAIR[:1], (PAIR[0], "baryancistrus_xanthellus")])
def test_every_need_of_a_care_sheet_is_printed(tmp_path, taxa):
    sheet = idkey.care_for(shipped(), *taxa)
    for name in ("a.pdf", "b.pdf", "c.html"):
        sheet.save(tmp_path / name)
    data = (tmp_path / "a.pdf").read_bytes()
    text = all_text(data).replace("•", "").casefold()
    for need in sheet.attributes.values():
        # What is not known at all stands in one row.
        label = need.label if need.origin else need.label.removesuffix(", at least")
        assert squeezed(label).casefold() in text
        # A page may break a long need.
        assert all(squeezed(need.text)[part].casefold() in text for part in (slice(60), slice(-60, None)))
        for claim in need.evidence:
            if claim.followed and claim.source:
                assert squeezed(shipped().sources[claim.source].full)[:40].casefold() in text
    assert ("conflict" in text) == bool(sheet.conflicts)
    assert (tmp_path / "b.pdf").read_bytes() == data
    assert "<svg" in (tmp_path / "c.html").read_text(encoding="utf-8")


def test_every_contrast_of_a_comparison_is_printed_with_its_drawings():
    both = compare(shipped(), *PAIR)
    text, page = all_text(pdf_of(both)).casefold(), page_of(both)
    written = squeezed(Page(page).words).casefold()
    for contrast in both.contrasts:
        for where in (text, written):
            assert squeezed(contrast.trait.name).casefold() in where
            assert all(squeezed(cell).casefold() in where for cell in contrast.cells)
    for trait in both.looks:
        assert squeezed(trait.question).casefold() in text
    row = page[page.index(f'<th scope="row">{both.looks[0].name}') :].partition("</tr>")[0]
    assert row.count("<svg") >= 2
    assert pdf_of(both) == pdf_of(compare(shipped(), *PAIR))


@pytest.mark.parametrize(
    ("name", "start"), [("key.html", b"<!DOCTYPE html>"), ("key.pdf", b"%PDF"), ("KEY.PDF", b"%PDF")]
)
def test_the_ending_decides(tmp_path, name, start):
    small_key().save(tmp_path / name)
    assert (tmp_path / name).read_bytes().startswith(start)
    assert os.listdir(tmp_path) == [name]
    if sys.platform != "win32":  # others may read it
        assert (tmp_path / name).stat().st_mode & 0o444 == 0o444


REFUSED = [
    *((name, "A4", r"end in \.html or \.pdf") for name in ("key.txt", "key", ".pdf", "key.pdf.gz")),
    *(
        ("key.pdf", paper, r"one of \(A4, Letter, A4 pocket, Letter pocket\)")
        for paper in ("A5", "a4", "", None, ["A4"], 4)
    ),
    ("no/key.html", "A4", "cannot be written here"),
    ("key.html", "A4 pocket", "only a key with a question in it is folded, and as a PDF; say paper='A4'"),
]


@pytest.mark.parametrize(("name", "paper", "why"), REFUSED)
def test_another_ending_paper_or_place_is_refused_in_one_line(tmp_path, name, paper, why):
    with pytest.raises(IdkeyError, match=why) as caught:
        small_key().save(tmp_path / name, paper)
    assert "\n" not in str(caught.value)
    assert not os.listdir(tmp_path)


@pytest.mark.parametrize("ending", [".html", ".pdf"])
def test_a_file_that_is_there_is_kept_unless_told_and_a_folder_always(tmp_path, ending):
    place, folder = tmp_path / f"key{ending}", tmp_path / f"folder{ending}"
    place.write_text("mine")
    folder.mkdir()
    with pytest.raises(IdkeyError, match="overwrite=True"):
        small_key().save(place)
    assert place.read_text() == "mine"
    small_key().save(place, overwrite=True)
    assert place.read_bytes() != b"mine"
    with pytest.raises(IdkeyError, match="this is no file"):
        small_key().save(folder, overwrite=True)
    assert sorted(os.listdir(tmp_path)) == sorted([place.name, folder.name])


def test_a_file_that_comes_meanwhile_is_kept_and_a_failed_write_leaves_the_old_one(tmp_path, monkeypatch):
    place = tmp_path / "key.html"
    with monkeypatch.context() as patch:
        patch.setattr(html, "printed", lambda *_: (place.write_text("mine"), "<!DOCTYPE html>")[1])
        with pytest.raises(IdkeyError, match="is there already"):
            small_key().save(place)

    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(IdkeyError, match="no room is left on the disk"):
        small_key().save(place, overwrite=True)
    assert place.read_text() == "mine"
    assert os.listdir(tmp_path) == [place.name]


def test_a_table_with_additions_says_so_once():
    table = replace(shipped(), about={"version": "2.5", "created": "2026-03-09T10:00:00Z"})
    for some in (table, table.only(PAIR)):
        assert (some.version, some.date) == ("2.5", "2026-03-09")
    for taxon in ("new_kind", "newer_kind"):
        table = table.with_taxon(taxon, scientificName=f"{taxon} sp.")
        assert table.version == "2.5 with additions"
    assert (replace(table, about={}).version, replace(table, about={}).date) == ("", "")
