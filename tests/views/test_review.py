"""The page of a review: what it says, its grid, what is printed; and what a change does, in words."""

import itertools
import re
import xml.etree.ElementTree as ET
from functools import cache
from html import unescape

import numpy as np
import pandas as pd
import pytest
from markup import Page, page_texts, pages_of
from shipped import TABLE

from idkey import TraitTable, load_table
from idkey.model.changes import what_changes
from idkey.model.lookalikes import apart
from idkey.model.review import CODES, review
from idkey.table.schema import Trait
from idkey.views import html, print
from idkey.views.charts import MOST_COLUMNS, MOST_ROWS, MOST_SHEETS, grid_sheets
from idkey.views.doc import Table
from idkey.views.review import review_document

SVG = "{http://www.w3.org/2000/svg}"


looked_over = cache(lambda: review(TABLE))


@pytest.fixture
def shipped():
    return looked_over()


def review_page(found):
    return html.printed(review_document(found))


@cache
def pdf(paper):
    return print.pdf(review_document(looked_over()), paper)


@cache
def pdf_texts(paper):
    return page_texts(pdf(paper))


def tables(found):
    """The short tables of the weakest points, by heading."""
    blocks = review_document(found).blocks
    return {t.caption: t for block in blocks for t in getattr(block, "blocks", ()) if isinstance(t, Table)}


def words_of(svg):
    return [text.text for text in ET.fromstring(svg).iter(f"{SVG}text")]


@pytest.fixture(scope="module")
def small():
    frame = pd.DataFrame({"kind": ["a", "b", "c"], "tail": ["forked", None, "forked"], "rays": [7, 9, 7]})
    return review(TraitTable.from_frame(frame, taxon="kind"))


def wide(kinds, traits):
    rng = np.random.default_rng(3)
    columns = {f"t{j:03d}": rng.integers(0, 3, kinds).astype(str) for j in range(traits)}
    frame = pd.DataFrame({"kind": [f"kind {i:04d}" for i in range(kinds)], **columns})
    return review(TraitTable.from_frame(frame, taxon="kind"))


def test_the_figures_come_first_in_the_text_the_html_and_on_paper(shipped):
    taxa = shipped.taxa
    filled, blank = taxa["filled"].sum(), taxa["blank"].sum()
    text = " ".join(repr(shipped).split())
    assert text.startswith(f"{len(taxa)} kinds by {len(shipped.traits)} traits: {filled:,} of the ")
    assert f"({100 * filled / (filled + blank):.0f} %)" in text[:120]
    told = f"{len(shipped.untold):,} of 4,950 pairs of adults"  # 100 kinds: 100 x 99 / 2
    for page in (text, unescape(shipped._repr_html_()), unescape(review_page(shipped)), pdf_texts("A4")[0]):
        assert told in " ".join(page.split())


def test_a_keeper_finds_the_cell_to_act_on(shipped):
    by_heading = tables(shipped)
    first, doubt = shipped.fill_next.iloc[0], shipped.doubts[0]
    kind, look = by_heading["Fill next"].rows[0][:2]
    # An id that the name gives away is not said twice.
    for cell, id_, name in (
        (kind, first["taxon"], shipped.table.label(first["taxon"])),
        (look, first["trait"], shipped.table.trait(first["trait"]).name),
    ):
        assert cell == (name if name.lower().replace(" ", "_") == id_ else f"{name} [{id_}]")
    assert by_heading["Cells in doubt"].rows[0] == (doubt.column, doubt.text)
    text = repr(shipped)
    assert f"and {len(shipped.doubts) - 4} more, in .doubts" in text
    for name in re.findall(r"more, in \.(\w+)", text):
        assert hasattr(shipped, name)


def test_a_table_without_evidence_says_so(small):
    assert "does not say what its cells rest on" in repr(small)
    assert not re.search("memory|Weakest evidence", repr(small))
    assert "source" not in small._repr_html_()
    assert "known" in words_of(grid_sheets(small)[0][0])


def kinds_of(words):
    """The kinds on a sheet: each is followed by how much of it is known."""
    return words[: words.index("known") : 2]


def test_the_grid_names_every_kind_and_trait_and_counts_them(shipped):
    drawn = [svg for svg, _ in grid_sheets(shipped)]
    sheets = [words_of(svg) for svg in drawn]
    assert all(t.name in words for words in sheets for t in shipped.table.traits)
    words = [*itertools.chain.from_iterable(sheets)]
    counts = [str(n) for n in shipped.taxa["filled"]]
    assert all(words.count(n) >= counts.count(n) for n in counts)
    on_sheet = [[kind.split()[0] for kind in kinds_of(words)] for words in sheets]
    genera = [*itertools.chain.from_iterable(on_sheet)]
    assert len(genera) == len(shipped.table)
    assert len([a for a, b in itertools.pairwise(genera) if a != b]) == len(set(genera)) - 1
    # No genus is torn, and the columns stand at one place on every sheet.
    assert all(len(part) <= MOST_ROWS for part in on_sheet)
    assert not any(set(a) & set(b) for a, b in itertools.combinations(on_sheet, 2))
    assert len({ET.fromstring(svg).get("viewBox").split()[2] for svg in drawn}) == 1


def test_every_sort_of_cell_has_a_shape_of_its_own_and_is_counted_in_words(shipped):
    sheets = grid_sheets(shipped)
    svg, says = sheets[0]
    drawn = ET.fromstring(svg)
    # The legend comes last, a path for each sort and one for the frame of a doubt.
    legend = list(drawn.iter(f"{SVG}path"))[-7:]
    steps = [re.sub(r"M[-\d.]+ [-\d.]+", "", path.get("d")) for path in legend]
    assert len({(step, path.get("fill") == "none") for step, path in zip(steps, legend, strict=True)}) == 7
    assert drawn.get("role") == "img"
    assert drawn.find(f"{SVG}title").text == says
    for words, code in (("blank", CODES[0]), ("from memory, no source", "memory")):
        told = [int(re.search(rf"{words}: (\d+)", says)[1]) for _, says in sheets]
        assert sum(told) == (shipped.grid == code).sum().sum()
    width, height = map(float, drawn.get("viewBox").split()[2:])
    for word in drawn.iter(f"{SVG}text"):  # words lie on the card
        assert 0 <= float(word.get("x")) <= width
        assert 0 <= float(word.get("y")) <= height


def test_a_large_table_is_cut_into_even_sheets_and_what_is_left_out_is_said():
    found = wide(MOST_SHEETS * MOST_ROWS + 7, MOST_COLUMNS + 1)
    sheets = grid_sheets(found)
    assert len(sheets) == MOST_SHEETS
    shown = [word for svg, _ in sheets for word in words_of(svg) if word.startswith("kind 0")]
    assert len(shown) == MOST_SHEETS * MOST_ROWS
    left_out = "Not shown: 7 more kinds and 1 more trait; .grid has all."
    assert left_out in found._repr_html_()
    assert left_out in review_page(found)
    assert "sheet 2 of 4" in sheets[1][1]
    found = wide(MOST_ROWS + 2, 2)
    lengths = [sum(w.startswith("kind 0") for w in words_of(svg)) for svg, _ in grid_sheets(found)]
    assert lengths == [46, 46]
    assert "Not shown" not in found._repr_html_()


@pytest.mark.parametrize(("paper", "size"), [("A4", (595, 842)), ("Letter", (612, 792))])
def test_the_grid_stands_whole_on_one_page_and_no_heading_alone_at_the_foot(shipped, paper, size):
    assert {tuple(round(float(n)) for n in p.mediabox[2:]) for p in pages_of(pdf(paper))} == {size}
    grids = [t for t in pdf_texts(paper) if "kinds known" in t]
    assert "What each cell rests on" in grids[0]
    for (svg, _), grid in zip(grid_sheets(shipped), grids, strict=True):
        assert all(" ".join(kind.split()[:2]) in grid for kind in kinds_of(words_of(svg)))
        assert "framed: in doubt" in grid
    for text in pdf_texts(paper):
        for heading, table in tables(shipped).items():
            if heading in text and table.heads[0] in text:
                assert table.rows[0][0].split()[0] in text


def test_the_same_bytes_every_time(shipped):
    again = review(load_table())
    assert again._repr_html_() == shipped._repr_html_()
    assert review_page(again) == review_page(shipped)
    assert print.pdf(review_document(again)) == pdf("A4")


@pytest.mark.parametrize("kinds", [1, 2])
def test_tables_of_hardly_anything(kinds):
    frame = pd.DataFrame({"kind": ["a", "b"][:kinds], "tail": ["forked", None][:kinds]})
    found = review(TraitTable.from_frame(frame, taxon="kind"))
    assert repr(found)
    assert "<svg" in found._repr_html_()
    assert print.pdf(review_document(found)).startswith(b"%PDF")


# -- a change ----------------------------------------------------------------------------------------------

THREE = ("tail", "fin", "eye")


def table_of(rows):
    frame = pd.DataFrame([{"kind": kind, **dict(zip(THREE, row, strict=True))} for kind, row in rows.items()])
    return TraitTable.from_frame(frame, taxon="kind")


OLD = table_of({"a": "xxx", "b": "yyy"})
SAME = {"tail": "x", "fin": "x", "eye": "x"}


def said(change):
    """Return the words of both forms, which are the same; blanks squeezed."""
    text = " ".join(line.strip().removeprefix("- ") for line in repr(change).splitlines())
    assert " ".join(" ".join(Page(change._repr_html_()).data).split()) == " ".join(text.split())
    return text


def test_a_kind_that_can_not_be_told_comes_first():
    text = said(what_changes(OLD, OLD.with_taxon("new", **SAME)))
    assert text.startswith(
        "Added: new. new can't be told from a by anything in the table. "
        "a: the same in all 3 traits known of both. To settle it takes a new trait."
    )
    assert text.endswith("In the key: 1 couplet, as before; questions to a name: 1.0, as before.")


def test_of_many_lookalikes_each_is_named():
    many = table_of(dict.fromkeys("abcdefg", "xxx"))
    text = said(what_changes(many, many.with_taxon("new", **SAME), key=False))
    assert "can't be told from a, b, c and 4 more by anything" in text
    assert "All 7: a, b, c, d, e, f and g." in text
    little = said(what_changes(many, many.with_taxon("new", tail="x"), key=False))
    assert "All 7: a, b, c, d, e, f and g." in little


def test_all_is_well_or_nothing_changed():
    assert said(what_changes(OLD, OLD)) == "Nothing has changed."
    assert "key" not in said(what_changes(OLD, OLD.with_taxon("new", **SAME), key=False))
    text = said(what_changes(OLD, OLD.with_taxon("new", tail="x", fin="y", eye="x"), past=[{"tail": "y"}]))
    assert "new is told from every other kind." in text
    assert "can't" not in text
    assert "In the key: 1 couplet more, 2 in all; questions to a name: 1.0 -> 1.7." in text


def test_what_would_settle_it():
    kin = {f"kin{i}": f"y{state}y" for i, state in enumerate("yyyx")}
    table = table_of({"a": "xxx", **kin})
    spots = Trait(id="spots", kind="nominal", states=("p", "q"))
    new = table.with_trait(spots, {"a": "p", **dict.fromkeys(kin, "q")})
    text = said(what_changes(new, new.with_taxon("new", **SAME)))
    assert "settle it: spots, blank for new (of the 4 kinds known, 4 differ from the other kind)." in text


def test_past_names():
    new = table_of({"a": "yyy", "b": "xxx"})
    text = said(what_changes(OLD, new, past=[SAME] * 9))
    assert "Past identifications that get another name: 9 of 9." in text
    assert re.search(r"number 1: was a \(\d+ %\), now b \(\d+ %\)", text)
    assert "and 4 more" in text
    calm = said(what_changes(OLD, OLD.with_taxon("c", tail="y", fin="y", eye="x"), past=[{}]))
    assert "Past identifications looked at: 1; nothing changes." in calm


def test_a_trait_taken_out():
    frame = pd.DataFrame({"kind": ["a", "b"], "tail": list("xx"), "fin": list("xx")})
    less = TraitTable.from_frame(frame, taxon="kind")
    text = said(what_changes(table_of({"a": "xxx", "b": "xxy"}), less))
    assert "What is lost with the traits taken out: eye: tells 1 pair, 1 that nothing else tells" in text


@pytest.mark.parametrize("taxon", TABLE.ids[::11])
def test_a_shipped_kind_left_out_and_put_back(taxon):
    table = looked_over().table
    text = said(what_changes(table.only([t for t in table.ids if t != taxon]), table, key=False))
    assert text.startswith(f"Added: {table.label(taxon)}.")
    assert len(text) < 6_000
    assert max(map(len, repr(apart(table, taxon)).splitlines())) <= 78
