"""The one document model: the same words on the screen, in a console and on paper, and no markup in them."""

import re
from dataclasses import replace
from xml.etree import ElementTree as ET

import pandas as pd
import pytest
from markup import Page, page_texts

from idkey import Identification, TraitTable, build_key, compare, display, load_table
from idkey.model.changes import what_changes
from idkey.model.lookalikes import apart
from idkey.views import doc, html, print

EVIL = "<b onclick='x()'>&amp; \x00\u202e *a* _b_ #c $d$ \\e</b>"
SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="5 9 3 2"><title>t</title><path d="M0 0h3v2z"/></svg>'
LINKS = (doc.Link(EVIL, to) for to in ("https://example.org/?a=1&b='2'", "javascript:alert(1)", "#c9"))
WORDS = (piece(EVIL) for piece in (doc.Strong, doc.Soft, doc.Code, doc.Tag))
PIECES = (EVIL, *WORDS, *LINKS, doc.Bar(0.3, EVIL, EVIL), doc.Icon(SVG, EVIL))
LEAD = doc.Lead("a", EVIL, (doc.Icon(SVG),), None, EVIL, (EVIL, EVIL))
BLOCKS = {
    "heading": doc.Heading(PIECES),
    "lines": doc.Lines((PIECES, EVIL), "numbered", "soft"),
    "table": doc.Table((EVIL, EVIL), ((EVIL, (*PIECES, doc.Lines((EVIL,)))),), PIECES, shares=(1.0, 2.0)),
    "ragged table": doc.Table((), ((EVIL, EVIL), (EVIL,))),
    "picture": doc.Picture(SVG, EVIL, PIECES, PIECES, 20.0),
    "fold": doc.Fold(PIECES, (doc.Lines((EVIL,)),)),
    "columns": doc.Columns((PIECES, EVIL)),
    "couplets": doc.Couplets((doc.Couplet(1, (), EVIL, (LEAD, doc.Lead("b", EVIL, to=1))),)),
    "group": doc.Group((doc.Lines((EVIL,)), doc.Picture(SVG)), across=True),
    "frame": doc.Group((doc.Lines((EVIL,)),), frame=True),
}


@pytest.mark.parametrize("block", BLOCKS.values(), ids=BLOCKS)
def test_every_block_and_piece_shows_its_text_as_text_everywhere(block):
    document = doc.Document(EVIL, (block,), EVIL)
    for page in (html.render(document), html.printed(document)):
        assert not any(part in page for part in ("<b ", "javascript:", "\x00", "\u202e"))
        assert "&lt;b onclick=" in page
    for words in (doc.as_text(document), page_texts(print.pdf(document))[0]):
        assert "*a* _b_ #c $d$ \\e</b>" in words
        assert "\x00" not in words
    assert print.pdf(document) == print.pdf(document)


HOSTILE = "<script>alert(1)</script> \"'&amp; </style> {nb} **b** #x $m$ \\n \u202e 魚\n2. line"
# No table takes these; a document is given them all the same.
UNWRITABLE = "\x00\x1b\ud800"


def hostile(evidence=False):
    """A table with markup in every text that a table may hold; its claims speak against its cells."""
    rows = {"kind": [f"{HOSTILE} {i}" for i in range(5)], HOSTILE: [f"{HOSTILE}a"] * 4 + [f"{HOSTILE}b"]}
    table = TraitTable.from_frame(pd.DataFrame(rows), taxon="kind", name=HOSTILE)
    claim = dict.fromkeys(("attribute", "source", "locator", "class", "note"), HOSTILE)
    claim |= {"care_group": "", "value": f"{HOSTILE}a", "scope": "species"}
    claims = pd.DataFrame([claim | {"taxon": taxon} for taxon in table.ids], dtype="str")
    return replace(table, evidence=claims, taxa=table.taxa.assign(genus=HOSTILE)) if evidence else table


def change():
    past = [{HOSTILE: f"{HOSTILE}a", f"{HOSTILE}x": HOSTILE}]
    return what_changes(hostile(), hostile().with_taxon("new", **{HOSTILE: f"{HOSTILE}a"}), past=past)


THINGS = {
    "key": lambda: build_key(hostile()),
    "comparison": lambda: compare(hostile(evidence=True), *hostile().ids[:2]),
    "lookalikes": lambda: display.lookalikes(hostile()),
    "review": lambda: display.review(hostile(evidence=True)),
    "change": change,
    "apart": lambda: apart(hostile(), hostile().ids[0]),
    "identification": lambda: Identification(hostile()).answer(HOSTILE, f"{HOSTILE}a"),
    "table": hostile,
}


@pytest.mark.parametrize("make", THINGS.values(), ids=THINGS)
def test_markup_in_a_table_is_text_in_every_document(make):
    thing = make()
    document = replace(display.document(thing), title=HOSTILE + UNWRITABLE, titled=(doc.PRINT,))
    for page in map(Page, (display.html(thing), html.printed(document))):
        assert "script" not in page.tags
        assert page.tags.count("style") == 1
        assert not any(name.startswith("on") for name, _ in page.attributes)
        assert "<script>alert(1)</script>" in page.words
        page.words.encode("utf-8")
    words = "".join(" ".join(page_texts(print.pdf(document))).replace("\u200b", "").split())
    assert "<script>alert(1)</script>" in words
    assert "{nb}**b**#x$m$\\n" in words
    assert not {*"\x00\x1b\u202e\ud800"} & {*display.text(thing)}
    for svg in re.findall(r"<svg.*?</svg>", display.html(thing), re.DOTALL):
        ET.fromstring(svg)


def test_a_block_is_shown_where_it_is_meant_to_be():
    places = (doc.SCREEN, doc.TEXT, doc.PRINT)
    blocks = tuple(doc.On(place, (doc.Lines((f"on {place}",)),)) for place in places)
    blocks += (doc.On((doc.SCREEN, doc.PRINT), (doc.On(doc.PRINT, (doc.Lines(("on both",)),)),)),)
    document = doc.Document("Title", blocks, titled=(doc.PRINT,))
    assert doc.as_text(document) == "on text"
    screen, page = html.render(document), html.printed(document)
    assert [f"on {place}" in screen for place in places] == [True, False, False]
    assert [f"on {place}" in page for place in places] == [False, False, True]
    assert ("Title</h3>" in screen, "Title</h1>" in page) == (False, True)
    assert ("on both" in screen, "on both" in page) == (False, True)


def test_a_cell_may_hold_blocks_and_what_is_for_one_place():
    bare = doc.On((doc.TEXT, doc.PRINT), (doc.Lines(("bare",)),))
    lists = doc.Lines(("one", "two"), "bullets"), doc.On(doc.SCREEN, (doc.Lines(("seen",)),))
    mixed = ("runs ", doc.Strong("bold"), *lists)
    document = doc.Document("", (doc.Table((), (("head", mixed, bare),)),), titled=())
    for words in (doc.as_text(document), *page_texts(print.pdf(document))):
        assert all(part in words for part in ("head", "runs bold", "one", "two", "bare"))
        assert "seen" not in words
    assert "seen" in html.render(document)
    assert "bare" not in html.render(document)


def test_a_line_break_is_a_line_break_and_a_list_is_numbered():
    document = doc.Document("", (doc.Lines(("one\ntwo", "three"), "numbered"),), titled=())
    assert doc.as_text(document).splitlines() == ["1. one", "   two", "2. three"]
    assert "one<br>two" in html.render(document)


def test_pairs_are_lined_up_and_long_lines_broken_in_a_console():
    rows = (("Flow", "fast"), ("Temperature", "word " * 30))
    lines = doc.as_text(doc.Document("", (doc.Table((), rows),), titled=())).splitlines()
    assert lines[0] == "Flow         fast"
    assert all(line.startswith(" " * 13) for line in lines[2:])
    assert max(map(len, lines)) <= 78


def test_a_small_drawing_stands_once_in_a_page_however_often_it_is_shown():
    icons = doc.Lines(((doc.Icon(SVG, "one"), doc.Icon(SVG, "two")),))
    page = html.printed(doc.Document("", (icons,)))
    assert page.count("<path") == page.count("<symbol") == 1
    assert page.count('aria-label="') == 2
    # Wherever the drawing's own corner lies, it is shown from its corner.
    assert page.count('viewBox="0 0 3 2"') == 2


def test_an_identification_gives_the_same_bytes_and_one_answer_is_not_answers():
    fish, same = (Identification(load_table()).answer("pattern", "light_spots") for _ in range(2))
    assert display.html(fish) == display.html(same)
    assert "over the 1 answer that it can compare" in display.html(fish)
    fish.answer("spot_colour", "white")
    assert "over the 2 answers that it can compare" in display.html(fish)
