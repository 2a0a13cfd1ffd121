"""The kinds drawn: from the row and nothing else, to scale, escaped, always the same."""

from __future__ import annotations

import re
from functools import cache
from xml.etree import ElementTree as ET

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from idkey import TraitTable, load_table
from idkey.errors import IdkeyError, UnknownName
from idkey.table.schema import NOT_APPLICABLE, Range, States
from idkey.views.fish import STATES
from idkey.views.sheet import DRAWN_NOTE, can_draw, look_of, scale_svg, taxon_svg

SVG = "{http://www.w3.org/2000/svg}"
EVIL = '<script>alert("1")</script> & co\x07'


@cache
def shipped() -> TraitTable:
    return load_table()


def table(**cells: str) -> TraitTable:
    """Return the traits of the shipped table with one invented kind."""
    return shipped().only([shipped().ids[0]]).with_taxon("invented", scientificName="Invented fish", **cells)


def texts(svg: str) -> str:
    return " ".join(t.text or "" for t in ET.fromstring(svg).iter(f"{SVG}text"))


def fish_scales(svg: str) -> list[float]:
    """Units of the sheet per unit of the art, for each side view."""
    scales = re.findall(r"<g transform=\"translate\([-\d. ]+\) scale\(([\d.]+)\)", svg)
    return [float(s) for s in scales if s != "0.9"]


def bar_width(svg: str) -> float:
    return float(re.search(r'h([\d.]+)" stroke="[^"]+" stroke-width="5"', svg)[1])


# -- what is drawn of a row ------------------------------------------------------------------------------


def test_one_state_is_drawn_and_of_several_the_likeliest():
    made = table(pattern="bars", tail_fork="concave:0.2|forked:0.8", fin_edging="none|dark", spot_size="-")
    look = look_of(made, "invented")
    assert look.states == {"pattern": "bars", "tail_fork": "forked", "fin_edging": "none"}
    outline, varies, blank = look.notes
    assert "most kinds" in outline
    assert varies == (
        "Varies, the first is drawn. Tail fin edge: clearly forked; also shallow hollow. "
        "Fin edging: no edging; also dark or black."
    )
    assert "Mouth" in blank
    assert "Spot size" not in blank
    assert "Pattern" not in blank


def test_a_young_fish_has_the_young_cell_and_else_the_adult_one():
    made = table(pattern="plain", pattern_young="light_spots", tail_fork="forked", adult_size="120")
    assert look_of(made, "invented", young=True).states == {"pattern": "light_spots", "tail_fork": "forked"}
    assert look_of(made, "invented").states == {"pattern": "plain", "tail_fork": "forked"}
    young, adult = taxon_svg(made, "invented", young=True), taxon_svg(made, "invented")
    assert "Young fish, drawn at half the greatest length: 60 mm" in young
    assert "Adult, greatest length without the tail fin: 120 mm" in adult


def test_where_the_young_do_not_differ_the_adult_is_drawn_and_called_so():
    for cells in ({}, {"pattern_young": "plain"}, {"pattern_young": ""}):
        made = table(pattern="plain", adult_size="120", **cells)
        assert taxon_svg(made, "invented", young=True) == taxon_svg(made, "invented")


@given(st.sampled_from(shipped().ids), st.booleans())
def test_the_look_says_nothing_that_the_row_does_not(taxon, young):
    look = look_of(shipped(), taxon, young=young)
    blank = look.notes[-1] if look.notes[-1].startswith("Not known") else ""
    for trait in map(shipped().trait, STATES):
        state = look.states.get(trait.id)
        cells = [shipped().cell(taxon, c) for c in (trait.id, f"{trait.id}_young") if c in shipped().cells]
        if state is None:
            assert not isinstance(cells[0], States)
        else:
            assert any(isinstance(cell, States) and state in cell.names for cell in cells)
        if cells[0] is None:
            assert trait.name in blank or cells[1:] != [None]


def test_the_body_form_is_that_of_the_row_before_that_of_the_genus():
    def form(genus: str, **cells: str) -> str:
        return look_of(table().with_taxon("k", scientificName=f"{genus} k", **cells), "k").form

    assert form("Ancistrus") == form("Chaetostoma", body_depth="normal") == "broad"
    assert form("Ancistrus", body_depth="flat") == form("Chaetostoma") == "flat"
    assert form("Pterygoplichthys") == "sail"
    assert form("Nosuchgenus") == "deep"


def test_what_does_not_apply_is_neither_drawn_nor_called_unknown():
    zebra = "hypancistrus_zebra"
    assert shipped().cell(zebra, "spot_size") is NOT_APPLICABLE
    assert "spot_size" not in look_of(shipped(), zebra).states
    assert "Spot size" not in look_of(shipped(), zebra).notes[-1]


# -- the sheet -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("taxon", shipped().ids[::8])
def test_a_sheet_says_what_it_is_and_stays_small(taxon):
    svg = taxon_svg(shipped(), taxon)
    root, look = ET.fromstring(svg), look_of(shipped(), taxon)
    assert root.get("role") == "img"
    assert root[0].text == f"{shipped().label(taxon)}. {look.stage}. {DRAWN_NOTE}"
    assert DRAWN_NOTE in texts(svg)
    for note in look.notes:
        assert note in root[1].text
        assert all(word in texts(svg) for word in note.split())
    assert len(svg.encode()) < 80_000
    assert not any("n" in path.get("d") for path in root.iter(f"{SVG}path"))  # no nan, no inf
    assert not re.search(r"\sid=|<style|url\(|href|<script|<image", svg)
    assert svg == taxon_svg(load_table(), taxon)


def test_a_side_of_which_nothing_is_known_is_left_out():
    assert "Head from above" not in texts(taxon_svg(table(pattern="bars"), "invented"))
    known = table(**{trait: states[0] for trait, states in STATES.items()}, adult_size="100")
    said = texts(taxon_svg(known, "invented"))
    assert all(w in said for w in ("Head from above", "Underside", "From the front", "Teeth", "Tail fin"))
    assert "Not known" not in said


def test_a_length_that_is_not_known_gives_no_ruler():
    svg = taxon_svg(table(pattern="bars"), "invented")
    assert "length not known" in texts(svg)
    assert " mm" not in texts(svg)
    assert 'stroke-width="5"' not in svg


@given(st.floats(20, 1200))
def test_the_bar_is_to_the_fish_as_100_mm_to_its_length(length):
    svg = taxon_svg(table(adult_size=f"{length:.1f}"), "invented")
    units = fish_scales(svg)[0] * 163  # snout to base of the tail fin, in the units of the art
    assert bar_width(svg) / units == pytest.approx(100 / float(f"{length:.1f}"), rel=2e-3)
    assert 20 + 8 + bar_width(svg) < 700
    assert 20 + fish_scales(svg)[0] * 231 < 700


def test_text_of_the_table_is_escaped():
    made = table(pattern="bars").with_taxon("evil", scientificName=EVIL, pattern="bars")
    for svg in (taxon_svg(made, "evil"), scale_svg(made, ["evil", "invented"])):
        assert "<script" not in svg
        assert EVIL.strip("\x07") in ET.fromstring(svg)[0].text


# -- several on one scale --------------------------------------------------------------------------------


@given(st.lists(st.sampled_from(shipped().ids), min_size=1, max_size=5, unique=True))
def test_lengths_are_drawn_in_proportion(taxa):
    svg = scale_svg(shipped(), taxa)
    cells = [shipped().cell(taxon, "adult_size") for taxon in taxa]
    lengths = [cell.high if isinstance(cell, Range) else 100.0 for cell in cells]
    scales = fish_scales(svg)
    assert len(scales) == len(taxa)
    for scale, length in zip(scales, lengths, strict=True):
        assert scale / scales[0] == pytest.approx(length / lengths[0], rel=5e-3)
    known = any(cell is not None for cell in cells)
    assert svg.count("stroke-dasharray") == (sum(cell is None for cell in cells) if known else 0)
    assert ('stroke-width="5"' in svg) == known
    if known:
        assert bar_width(svg) / (scales[0] * 163) == pytest.approx(100 / lengths[0], rel=5e-3)
    for taxon in taxa:
        assert shipped().label(taxon).split()[0] in texts(svg)


def test_only_kinds_whose_young_differ_are_drawn_young():
    made = table(adult_size="100", pattern="plain", pattern_young="light_spots")
    made = made.with_taxon("other", scientificName="Other fish", adult_size="100", pattern="plain")
    svg = scale_svg(made, ["invented", "other"], young=True)
    assert fish_scales(svg)[0] == pytest.approx(fish_scales(svg)[1] / 2, rel=2e-3)
    assert "Young fish" in texts(svg)
    assert "Adult" in texts(svg)


# -- what cannot be drawn --------------------------------------------------------------------------------


def test_errors_say_what_would_be_right():
    with pytest.raises(UnknownName, match="hypancistrus_zebra"):
        taxon_svg(shipped(), "hypancistrus_zebr")
    with pytest.raises(IdkeyError, match="at least one"):
        scale_svg(shipped(), [])


def test_a_table_of_flowers_is_not_drawn_and_one_drawable_trait_is_enough():
    flowers = TraitTable.from_frame(pd.DataFrame({"kind": ["a", "b"], "petal": [1.0, 2.0]}), taxon="kind")
    assert not can_draw(flowers)
    assert can_draw(shipped())
    for attempt in (lambda: taxon_svg(flowers, "a"), lambda: scale_svg(flowers, ["a", "b"])):
        with pytest.raises(IdkeyError, match="no trait that can be drawn"):
            attempt()
    frame = pd.DataFrame({"kind": ["a", "b"], "tail_fork": ["forked", "straight"], "adult_size": [7, 9]})
    made = TraitTable.from_frame(frame, taxon="kind")
    assert look_of(made, "a").states == {"tail_fork": "forked"}
    assert "length not known" in texts(taxon_svg(made, "a"))
