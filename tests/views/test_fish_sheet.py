"""The kinds drawn: from the row and nothing else, to scale, escaped, always the same."""

import re
from xml.etree import ElementTree as ET

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from idkey import TraitTable, load_table
from idkey.errors import IdkeyError
from idkey.table.schema import Range, States
from idkey.views.fish import STATES
from idkey.views.sheet import DRAWN_NOTE, can_draw, look_of, scale_svg, taxon_svg

SVG = "{http://www.w3.org/2000/svg}"
EVIL = '<script>alert("1")</script> & co'
TABLE = load_table()


def table(**cells: str) -> TraitTable:
    """Return the traits of the shipped table with one invented kind."""
    return TABLE.only([TABLE.ids[0]]).with_taxon("invented", scientificName="Invented fish", **cells)


def texts(svg: str) -> str:
    return " ".join(t.text or "" for t in ET.fromstring(svg).iter(f"{SVG}text"))


def fish_scales(svg: str) -> list[float]:
    """Units of the sheet per unit of the art, for each side view."""
    scales = re.findall(r"<g transform=\"translate\([-\d. ]+\) scale\(([\d.]+)\)", svg)
    return [float(s) for s in scales if s != "0.9"]


def bar_width(svg: str) -> float:
    return float(re.search(r'h([\d.]+)" stroke="[^"]+" stroke-width="5"', svg)[1])


def test_one_state_is_drawn_and_of_several_the_likeliest():
    made = table(pattern="bars", tail_fork="concave:0.2|forked:0.8", fin_edging="none|dark", spot_size="-")
    look = look_of(made, "invented")
    assert look.states == {"pattern": "bars", "tail_fork": "forked", "fin_edging": "none"}
    outline, varies, blank = look.notes
    assert "most kinds" in outline
    assert "Tail fin edge: clearly forked; also shallow hollow. Fin edging: no edging; also dark" in varies
    assert "Mouth" in blank
    assert not re.search("Spot size|Pattern", blank)


def test_a_young_fish_has_the_young_cell_and_else_the_adult_one():
    made = table(pattern="plain", pattern_young="light_spots", tail_fork="forked", adult_size="120")
    for young, pattern in ((True, "light_spots"), (False, "plain")):
        assert look_of(made, "invented", young=young).states == {"pattern": pattern, "tail_fork": "forked"}
    young, adult = taxon_svg(made, "invented", young=True), taxon_svg(made, "invented")
    assert "Young fish, drawn at half the greatest length: 60 mm" in young
    assert "Adult, greatest length without the tail fin: 120 mm" in adult
    for same in ("plain", ""):  # the young do not differ
        made = table(pattern="plain", adult_size="120", pattern_young=same)
        assert taxon_svg(made, "invented", young=True) == taxon_svg(made, "invented")


@given(st.sampled_from(TABLE.ids), st.booleans())
def test_the_look_says_nothing_that_the_row_does_not(taxon, young):
    look = look_of(TABLE, taxon, young=young)
    for trait in map(TABLE.trait, STATES):
        state = look.states.get(trait.id)
        cells = [TABLE.cell(taxon, c) for c in (trait.id, f"{trait.id}_young") if c in TABLE.cells]
        if state is None:
            assert not isinstance(cells[0], States)
            assert (trait.name in look.notes[-1]) == (cells[0] is None)
        else:
            assert any(isinstance(cell, States) and state in cell.names for cell in cells)


@pytest.mark.parametrize(
    "row", ["Ancistrus  broad", "Ancistrus flat flat", "Chaetostoma normal broad", "Nosuch  deep"]
)
def test_the_body_form_is_that_of_the_row_before_that_of_the_genus(row):
    genus, depth, form = row.split(" ")
    made = table().with_taxon("k", scientificName=f"{genus} k", body_depth=depth)
    assert look_of(made, "k").form == form


@pytest.mark.parametrize("taxon", TABLE.ids[::8])
def test_a_sheet_says_what_it_is_and_stays_small(taxon):
    svg = taxon_svg(TABLE, taxon)
    root, look = ET.fromstring(svg), look_of(TABLE, taxon)
    assert root.get("role") == "img"
    assert root[0].text == f"{TABLE.label(taxon)}. {look.stage}. {DRAWN_NOTE}"
    assert DRAWN_NOTE in texts(svg)
    for note in look.notes:
        assert note in root[1].text
        assert all(word in texts(svg) for word in note.split())
    assert len(svg.encode()) < 60_000
    assert not any("n" in path.get("d") for path in root.iter(f"{SVG}path"))  # no nan, no inf
    assert not re.search(r"\sid=|<style|url\(|href|<script|<image", svg)
    assert svg == taxon_svg(load_table(), taxon)


def test_a_side_of_which_nothing_is_known_is_left_out_and_a_length_not_known_gives_no_ruler():
    svg = taxon_svg(table(pattern="bars"), "invented")
    assert "length not known" in texts(svg)
    assert not re.search(" mm|Head from above", texts(svg))
    assert 'stroke-width="5"' not in svg
    said = texts(taxon_svg(table(**{trait: states[0] for trait, states in STATES.items()}), "invented"))
    assert all(w in said for w in ("Head from above", "Underside", "From the front", "Teeth", "Tail fin"))
    assert "Not known" not in said


@given(st.floats(20, 1200))
def test_the_bar_is_to_the_fish_as_100_mm_to_its_length(length):
    svg = taxon_svg(table(adult_size=f"{length:.1f}"), "invented")
    units = fish_scales(svg)[0] * 163  # snout to base of the tail fin, in the units of the art
    assert bar_width(svg) / units == pytest.approx(100 / float(f"{length:.1f}"), rel=2e-3)
    assert max(28 + bar_width(svg), 20 + fish_scales(svg)[0] * 231) < 700


@given(st.lists(st.sampled_from(TABLE.ids), min_size=1, max_size=5, unique=True))
def test_lengths_are_drawn_in_proportion(taxa):
    svg = scale_svg(TABLE, taxa)
    cells = [TABLE.cell(taxon, "adult_size") for taxon in taxa]
    lengths = [cell.high if isinstance(cell, Range) else 100.0 for cell in cells]
    scales = fish_scales(svg)
    assert [s / scales[0] for s in scales] == pytest.approx([x / lengths[0] for x in lengths], rel=5e-3)
    known = any(cell is not None for cell in cells)
    assert svg.count("stroke-dasharray") == (sum(cell is None for cell in cells) if known else 0)
    assert ('stroke-width="5"' in svg) == known
    if known:
        assert bar_width(svg) / (scales[0] * 163) == pytest.approx(100 / lengths[0], rel=5e-3)
    assert all(TABLE.label(taxon).split()[0] in texts(svg) for taxon in taxa)


def test_only_kinds_whose_young_differ_are_drawn_young_and_text_stays_text():
    made = table(adult_size="100", pattern="plain", pattern_young="light_spots")
    made = made.with_taxon("other", scientificName="Other fish", adult_size="100", pattern="plain")
    svg = scale_svg(made, ["invented", "other"], young=True)
    assert fish_scales(svg)[0] == pytest.approx(fish_scales(svg)[1] / 2, rel=2e-3)
    assert all(stage in texts(svg) for stage in ("Young fish", "Adult"))
    evil = made.with_taxon("evil", scientificName=EVIL, pattern="bars")
    for svg in (taxon_svg(evil, "evil"), scale_svg(evil, ["evil", "invented"])):
        assert EVIL in ET.fromstring(svg)[0].text


def test_what_cannot_be_drawn_is_refused_and_one_trait_is_enough():
    flowers = TraitTable.from_frame(pd.DataFrame({"kind": ["a", "b"], "petal": [1.0, 2.0]}), taxon="kind")
    assert (can_draw(flowers), can_draw(TABLE)) == (False, True)
    for made, taxa, why in (
        (TABLE, ["hypancistrus_zebr"], "hypancistrus_zebra"),
        (TABLE, [], "at least one"),
        (flowers, ["a", "b"], "no trait that can be drawn"),
    ):
        with pytest.raises(IdkeyError, match=why):
            scale_svg(made, taxa)
    with pytest.raises(IdkeyError, match="no trait that can be drawn"):
        taxon_svg(flowers, "a")
    frame = pd.DataFrame({"kind": ["a", "b"], "tail_fork": ["forked", "bent"], "adult_size": [7, 9]})
    made = TraitTable.from_frame(frame, taxon="kind")
    assert [look_of(made, k).states for k in "ab"] == [{"tail_fork": "forked"}, {}]
    assert "length not known" in texts(taxon_svg(made, "a"))
