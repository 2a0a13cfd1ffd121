"""The printed key, care sheet and comparison: what stands in them, on which paper, and that nothing runs.

Paper sizes: A4 is 210 x 297 mm (ISO 216:2007, table 1); Letter is 8.5 x 11 in (ANSI/ASME Y14.1, size A).
A point is 1/72 in (ISO 32000-1:2008, 8.3.2.3). The published key is CRAMER2015, see
`tests/published/test_published_keys.py`; its species are counted there on the printed page.
"""

import io
import re
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

import pandas as pd
import pypdf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import idkey
from idkey.model.compare import compare
from idkey.views import report, report_words

PUBLISHED = Path(__file__).parents[1] / "published" / "panaqolus_cramer2015.csv"
MM = 72 / 25.4
SIZES = {"A4": (210 * MM, 297 * MM), "Letter": (8.5 * 72, 11 * 72)}
HOSTILE = "<script>alert(1)</script> \"'&amp; </style> {nb} **b** \x00\x1b\u202e\ud800 魚 \U0001f41f\n2. line"
PAIR = ("hypancistrus_zebra", "hypancistrus_l260")


@cache
def shipped():
    return idkey.load_table()


@cache
def key():
    return idkey.build_key(shipped())


@cache
def pdf(paper):
    return report.key_pdf(key(), paper=paper)


@cache
def page():
    return report.key_page(key())


def pages_of(data):
    return pypdf.PdfReader(io.BytesIO(data)).pages


@cache
def texts(paper):
    return [p.extract_text() for p in pages_of(pdf(paper))]


def squeezed(text):
    return re.sub(r"\s+", "", text)


class Elements(HTMLParser):
    """Collects elements, ids and text."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.ids, self.links, self.loads, self.handlers, self.data = [], [], [], [], [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        for name, value in attrs:
            if name == "id":
                self.ids.append(value)
            elif name == "href":
                self.links.append(value)
            elif name in ("src", "srcset", "xlink:href", "data", "action"):
                self.loads.append(value)
            elif name.startswith("on"):
                self.handlers.append(name)

    def handle_data(self, data):
        self.data.append(data)


def hostile_table():
    frame = pd.DataFrame(
        {
            "kind": [f"{HOSTILE} one", f"{HOSTILE} two", "plain"],
            HOSTILE: [f"{HOSTILE} yes", "no", "no"],
            "rays": ["5", "5", "9"],
        }
    )
    return idkey.TraitTable.from_frame(frame, taxon="kind", name=HOSTILE)


# -- what stands in the key ------------------------------------------------------------------------------


@pytest.mark.parametrize("paper", SIZES)
def test_every_couplet_stands_once_and_whole_on_one_page(paper):
    before = report_words.came_from(key())
    at = {}
    for number, text in enumerate(texts(paper)):
        for couplet in key().couplets:
            back = f"(from {', '.join(map(str, before[couplet.number]))})" if before[couplet.number] else ""
            asked = couplet.trait.question.split()[0]
            head = rf"(?m)^{couplet.number}\s*{re.escape(back)}\s*{re.escape(asked)}"
            for _ in re.findall(head, text):
                assert couplet.number not in at
                at[couplet.number] = number
    assert sorted(at) == [c.number for c in key().couplets]
    for couplet in key().couplets:
        here = squeezed(texts(paper)[at[couplet.number]])
        for lead in (couplet.a, couplet.b):
            assert squeezed(report_words.lead_line(couplet, lead)) in here
            names = squeezed("; ".join(shipped().label(t) for t in lead.taxa))
            assert names in here


def test_every_lead_goes_to_a_couplet_or_to_names():
    found = Elements(page())
    numbers = {f"c{c.number}" for c in key().couplets}
    assert [i for i in found.ids if re.fullmatch(r"c\d+", i)] == [f"c{c.number}" for c in key().couplets]
    assert len(found.ids) == len(set(found.ids))
    assert {link.removeprefix("#") for link in found.links} <= set(found.ids)
    assert numbers - {"c1"} <= {link.removeprefix("#") for link in found.links}


@pytest.mark.parametrize("paper", SIZES)
def test_the_links_of_the_pdf_are_as_many_as_the_leads_that_go_on(paper):
    leads = [lead for c in key().couplets for lead in (c.a, c.b) if lead.goes_to is not None]
    links = [a for p in pages_of(pdf(paper)) for a in p.get("/Annots", [])]
    assert len(links) == len(leads) > 80


def test_back_references_are_the_leads_turned_round():
    before = report_words.came_from(key())
    leads = {(c.number, x.goes_to) for c in key().couplets for x in (c.a, c.b) if x.goes_to is not None}
    assert {(f, to) for to, froms in before.items() for f in froms} == leads
    assert [n for n, froms in before.items() if not froms] == [1]


@pytest.mark.parametrize("paper", SIZES)
def test_every_name_stands_in_the_index_or_among_those_left_out(paper):
    document = squeezed(" ".join(texts(paper)))
    listed = {name for name, _ in report_words.index(key())}
    out = {shipped().label(t) for t in key().left_out}
    assert listed | out == {shipped().label(t) for t in shipped().ids}
    assert not listed & out
    assert out
    last = document[document.index(squeezed("Left out")) :]
    for name, where in report_words.index(key()):
        assert squeezed(f"{name}:{', '.join(where)}")[:40] in last
    for name in out:
        assert squeezed(name) in last


def test_the_index_gives_the_leads_that_name_a_kind():
    leads = {f"{c.number}{x}": getattr(c, x).taxa for c in key().couplets for x in "ab"}
    for (label, where), taxon in zip(
        report_words.index(key()),
        sorted(set(shipped().ids) - set(key().left_out), key=lambda t: shipped().label(t).casefold()),
        strict=True,
    ):
        assert label == shipped().label(taxon)
        assert set(where) == {lead for lead, taxa in leads.items() if taxon in taxa}
        assert where


@pytest.mark.parametrize("caution", report_words.CAUTIONS + report_words.HOW_TO_USE)
def test_cautions_and_how_to_use_stand_on_the_first_page(caution):
    assert squeezed(caution) in squeezed(texts("A4")[0])
    assert squeezed(caution) in squeezed(texts("Letter")[0])
    assert caution in "".join(Elements(page()).data)


def test_the_published_key_stands_in_print_with_every_species():
    # CRAMER2015 p. 468-469: ten species of Panaqolus.
    frame = pd.read_csv(PUBLISHED, dtype=str)
    assert len(frame) == 10
    made = idkey.build_key(idkey.TraitTable.from_frame(frame, taxon="taxon"))
    text = " ".join(p.extract_text() for p in pages_of(report.key_pdf(made)))
    couplets, _, ending = text.partition("Index of names")
    written = "".join(Elements(report.key_page(made)).data)
    for name in frame["taxon"]:
        assert squeezed(name) in squeezed(couplets)
        assert squeezed(name) in squeezed(ending)
        assert written.count(name) >= 2


def test_what_cannot_be_told_apart_is_said():
    frame = pd.DataFrame({"kind": ["one", "two"], "tail": ["forked", "forked"]})
    made = idkey.build_key(idkey.TraitTable.from_frame(frame, taxon="kind"))
    assert not made.couplets
    (only,) = pages_of(report.key_pdf(made))
    assert "can't be told apart by this table: one; two" in only.extract_text()
    written = "".join(Elements(report.key_page(made)).data)
    assert "can't be told apart by this table: one; two" in written


# -- paper -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("paper", SIZES)
def test_paper_size_page_numbers_and_foot(paper):
    pages = pages_of(pdf(paper))
    assert 8 <= len(pages) <= 25
    for number, (found, text) in enumerate(zip(pages, texts(paper), strict=True), start=1):
        assert (float(found.mediabox.width), float(found.mediabox.height)) == pytest.approx(
            SIZES[paper], abs=0.02
        )
        assert f"page {number} of {len(pages)}" in text
        assert report_words.stamp(shipped()) in text
    assert len(pdf(paper)) < 1_000_000


@pytest.mark.parametrize(("paper", "size"), [("A4", "A4"), ("Letter", "letter")])
def test_page_rules_of_the_html(paper, size):
    document = report.key_page(key(), paper)
    assert f"@page {{ size: {size};" in document
    assert 'counter(page) " of " counter(pages)' in document


def test_metadata_is_set_and_reads_no_clock():
    reader = pypdf.PdfReader(io.BytesIO(pdf("A4")))
    assert reader.metadata.title == "Key to 87 kinds"
    assert reader.metadata.author.startswith("idkey")
    assert reader.trailer["/Root"]["/Lang"] == "en-GB"
    day = report_words.text_date(shipped())
    assert reader.metadata.creation_date.year == (day.year if day else 1970)


def test_text_is_text_and_drawings_are_vectors():
    assert "Pattern: light spots on dark" in texts("A4")[0]
    for found in pages_of(pdf("A4")):
        assert not list(found.images)


@pytest.mark.parametrize("paper", SIZES)
def test_the_same_key_gives_the_same_bytes(paper):
    again = idkey.build_key(idkey.load_table())
    assert report.key_pdf(again, paper=paper) == pdf(paper)
    assert report.key_page(again, paper) == report.key_page(key(), paper)


def test_a_date_of_the_table_is_printed_and_written():
    from dataclasses import replace

    table = replace(shipped().only(PAIR), about={"version": "7.1", "created": "2026-03-09"})
    data = report.key_pdf(idkey.build_key(table))
    reader = pypdf.PdfReader(io.BytesIO(data))
    assert reader.metadata.creation_date.date().isoformat() == "2026-03-09"
    assert "version 7.1, 9 March 2026" in reader.pages[0].extract_text()


# -- nothing of a table runs -----------------------------------------------------------------------------


def documents(table):
    made = idkey.build_key(table)
    both = compare(table, *table.ids[:2])
    return (
        (report.key_page(made, title=HOSTILE), report.key_pdf(made, title=HOSTILE)),
        (report.compare_page(both), report.compare_pdf(both)),
    )


def test_hostile_texts_are_text():
    for html, data in documents(hostile_table()):
        found = Elements(html)
        assert "script" not in found.tags
        assert found.tags.count("style") == 1
        assert not found.handlers
        assert "<script>alert(1)</script>" in "".join(found.data)
        html.encode("utf-8")
        text = " ".join(p.extract_text() for p in pages_of(data))
        assert squeezed("<script>alert(1)</script>") in squeezed(text)
        assert squeezed("{nb} **b**") in squeezed(text)
        assert "\ufffd" in text


@pytest.mark.parametrize("kind", ["key", "care", "comparison"])
def test_html_is_self_contained(kind):
    document = {
        "key": page,
        "care": lambda: report.care_page(idkey.care_for(shipped(), PAIR[0])),
        "comparison": lambda: report.compare_page(compare(shipped(), *PAIR)),
    }[kind]()
    found = Elements(document)
    assert not {"script", "link", "iframe", "object", "img", "image"} & set(found.tags)
    assert not found.loads
    assert not found.handlers
    assert all(link.startswith("#") for link in found.links)
    assert "url(" not in document
    assert "@import" not in document


@settings(max_examples=15)
@given(st.text(max_size=40), st.text(min_size=1, max_size=300))
def test_any_text_can_be_printed(title, label):
    frame = pd.DataFrame({"kind": ["a", "b"], "tail": ["forked", "straight"]})
    table = idkey.TraitTable.from_frame(frame, taxon="kind", name=label)
    made = idkey.build_key(table)
    assert pages_of(report.key_pdf(made, title=title))
    assert report.key_page(made, title=title).encode("utf-8")


def test_a_list_longer_than_a_page_goes_on_over_the_page():
    names = [f"kind number {i:04d} of a long list" for i in range(900)]
    frame = pd.DataFrame({"kind": [*names, "other"], "tail": ["forked"] * 900 + ["straight"]})
    made = idkey.build_key(idkey.TraitTable.from_frame(frame, taxon="kind"))
    pages = pages_of(report.key_pdf(made))
    text = squeezed(" ".join(p.extract_text() for p in pages))
    foot = squeezed(f"Key to 901 kinds | {report_words.stamp(made.table)}")
    text = re.sub(rf"{re.escape(foot)}page\d+of{len(pages)}", "", text)
    assert all(text.count(squeezed(name)) == 2 for name in names)


# -- care sheet and comparison ---------------------------------------------------------------------------


@pytest.mark.parametrize("taxa", [PAIR[:1], (PAIR[0], "baryancistrus_xanthellus")])
def test_every_need_of_a_care_sheet_is_printed(taxa):
    sheet = idkey.care_for(shipped(), *taxa)
    data = report.care_pdf(sheet)
    text = squeezed(" ".join(p.extract_text() for p in pages_of(data))).replace("•", "")
    for need in sheet.attributes.values():
        assert squeezed(need.label) in text
        # A page may break a long need.
        assert squeezed(need.text)[:60] in text
        assert squeezed(need.text)[-60:] in text
    assert ("CONFLICT" in text) == bool(sheet.conflicts)
    assert report.care_pdf(sheet) == data
    assert "<svg" in report.care_page(sheet)
    assert "<svg" not in report.care_page(replace(sheet, table=None))


def test_every_contrast_of_a_comparison_is_printed():
    both = compare(shipped(), *PAIR)
    text = squeezed(" ".join(p.extract_text() for p in pages_of(report.compare_pdf(both)))).casefold()
    written = squeezed("".join(Elements(report.compare_page(both)).data)).casefold()
    for contrast in both.contrasts:
        for where in (text, written):
            assert squeezed(contrast.trait.name).casefold() in where
            assert all(squeezed(cell).casefold() in where for cell in contrast.cells)
    for trait in both.looks:
        assert squeezed(trait.question).casefold() in text
    assert report.compare_pdf(both) == report.compare_pdf(compare(shipped(), *PAIR))
