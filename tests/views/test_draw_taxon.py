"""The kinds drawn: from the row and nothing else, to scale, escaped, always the same."""

from __future__ import annotations

import re
from dataclasses import fields
from functools import cache
from xml.etree import ElementTree as ET

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from idkey import TraitTable, load_table
from idkey.errors import IdkeyError, UnknownName
from idkey.table.schema import NOT_APPLICABLE, Range, States
from idkey.views.draw_look import STATES, Look
from idkey.views.draw_taxon import DRAWN_NOTE, can_draw, look_of, scale_svg, taxon_svg, unknown, varies

SVG = "{http://www.w3.org/2000/svg}"
BLANK = Look()
EVIL = '<script>alert("1")</script> & co'


@cache
def shipped() -> TraitTable:
    return load_table()


def table(**cells: str) -> TraitTable:
    """Return the traits of the shipped table with one invented kind."""
    return shipped().only([shipped().ids[0]]).with_taxon("invented", scientificName="Invented fish", **cells)


def texts(svg: str) -> str:
    return " ".join(t.text or "" for t in ET.fromstring(svg).iter(f"{SVG}text"))


def fish_scales(svg: str) -> list[float]:
    """Units of the sheet per unit of the side view, for each side view."""
    return [float(s) for s in re.findall(r"<g transform=\"translate\([-\d. ]+\) scale\(([\d.]+)\)", svg)]


def bar_width(svg: str) -> float:
    return float(re.search(r'h([\d.]+)v5h-\1z"', svg)[1])


# -- what is drawn of a row -------------------------------------------------------------------------


def test_one_state_is_drawn_and_of_several_the_likeliest():
    made = table(pattern="bars", tail_fork="concave:0.2|forked:0.8", fin_edging="none|dark", spot_size="-")
    look = look_of(made, "invented")
    assert look == Look(pattern="bars", tail_fork="forked", fin_edging="none")
    assert varies(made, "invented") == (
        "Tail fin edge: clearly forked; also shallow hollow",
        "Fin edging: no edging; also dark or black",
    )
    blank = unknown(made, "invented")
    assert "Spot size" not in blank
    assert "Pattern" not in blank
    assert "Mouth" in blank


def test_a_young_fish_has_the_young_cell_and_else_the_adult_one():
    made = table(pattern="plain", pattern_young="light_spots", tail_fork="forked", adult_size="120")
    assert look_of(made, "invented", young=True) == Look(pattern="light_spots", tail_fork="forked")
    assert look_of(made, "invented") == Look(pattern="plain", tail_fork="forked")
    young, adult = taxon_svg(made, "invented", young=True), taxon_svg(made, "invented")
    assert "Young fish, drawn at half the recorded length: 60 mm" in young
    assert "Adult, largest recorded length: 120 mm" in adult


def test_where_the_young_do_not_differ_the_adult_is_drawn_and_called_so():
    for cells in ({}, {"pattern_young": "plain"}, {"pattern_young": ""}):
        made = table(pattern="plain", adult_size="120", **cells)
        assert taxon_svg(made, "invented", young=True) == taxon_svg(made, "invented")


@given(st.sampled_from(shipped().ids), st.booleans())
def test_the_look_says_nothing_that_the_row_does_not(taxon, young):
    look = look_of(shipped(), taxon, young=young)
    names = unknown(shipped(), taxon)
    for field in fields(Look):
        trait, state = shipped().trait(field.name), getattr(look, field.name)
        cells = [shipped().cell(taxon, c) for c in (trait.id, f"{trait.id}_young") if c in shipped().cells]
        if state is None:
            assert not any(isinstance(cell, States) for cell in cells[:1])
        else:
            assert any(isinstance(cell, States) and state in cell.names for cell in cells)
        assert (trait.name in names) == (cells[0] is None)


# -- the sheet --------------------------------------------------------------------------------------


@pytest.mark.parametrize("taxon", shipped().ids[::8])
def test_a_sheet_says_what_it_is_and_stays_small(taxon):
    svg = taxon_svg(shipped(), taxon)
    root = ET.fromstring(svg)
    assert root[0].tag == f"{SVG}title"
    assert shipped().label(taxon) in root[0].text
    assert root[0].text.endswith(DRAWN_NOTE)
    said = texts(svg)
    assert DRAWN_NOTE in said
    for words in (*varies(shipped(), taxon), *unknown(shipped(), taxon)):
        assert words in root[1].text
        assert all(word in said for word in words.split())
    assert len(svg.encode()) < 60_000
    assert not any("n" in path.get("d") for path in root.iter(f"{SVG}path"))  # no nan, no inf
    assert not re.search(r"\sid=|<style|url\(|href|<script|<image", svg)


def test_the_same_bytes_again():
    taxon = shipped().ids[3]
    assert taxon_svg(shipped(), taxon) == taxon_svg(load_table(), taxon)


def test_what_is_not_known_is_dotted_and_what_is_known_is_not():
    assert "stroke-dasharray" in taxon_svg(table(adult_size="100"), "invented")
    everything = {trait: states[0] for trait, states in STATES.items()}
    assert "stroke-dasharray" not in taxon_svg(table(adult_size="100", **everything), "invented")


def test_a_length_that_is_not_known_gives_no_ruler():
    svg = taxon_svg(table(pattern="bars"), "invented")
    assert "length not known" in texts(svg)
    assert " mm" not in texts(svg)
    assert not re.search(r'v5h-[\d.]+z"', svg)


@given(st.floats(20, 1200))
def test_the_bar_is_to_the_fish_as_100_mm_to_its_length(length):
    svg = taxon_svg(table(adult_size=f"{length:.1f}"), "invented")
    units = fish_scales(svg)[0] * 81.5  # snout to base of the tail fin, in the units of the side view
    assert bar_width(svg) / units == pytest.approx(100 / float(f"{length:.1f}"), rel=2e-3)
    assert 20 + 8 + bar_width(svg) < 700
    assert 20 + fish_scales(svg)[0] * 116 < 700


def test_text_of_the_table_is_escaped():
    made = table(pattern="bars").with_taxon("evil", scientificName=EVIL, pattern="bars")
    for svg in (taxon_svg(made, "evil"), scale_svg(made, ["evil", "invented"])):
        assert "<script" not in svg
        assert EVIL in ET.fromstring(svg)[0].text


# -- several on one scale ---------------------------------------------------------------------------


@given(st.lists(st.sampled_from(shipped().ids), min_size=1, max_size=5, unique=True))
def test_lengths_are_drawn_in_proportion(taxa):
    svg = scale_svg(shipped(), taxa)
    cells = [shipped().cell(taxon, "adult_size") for taxon in taxa]
    lengths = [cell.high if isinstance(cell, Range) else 100.0 for cell in cells]
    scales = fish_scales(svg)
    assert len(scales) == len(taxa)
    for scale, length in zip(scales, lengths, strict=True):
        assert scale / scales[0] == pytest.approx(length / lengths[0], rel=5e-3)
    assert svg.count("stroke-dasharray:0.01,3.5") == sum(cell is None for cell in cells)
    known = any(cell is not None for cell in cells)
    assert bool(re.search(r'v5h-[\d.]+z"', svg)) == known
    if known:
        assert bar_width(svg) / (scales[0] * 81.5) == pytest.approx(100 / lengths[0], rel=5e-3)
    for taxon in taxa:
        assert shipped().label(taxon).split()[0] in texts(svg)


def test_only_kinds_whose_young_differ_are_drawn_young():
    made = table(adult_size="100", pattern="plain", pattern_young="light_spots")
    made = made.with_taxon("other", scientificName="Other fish", adult_size="100", pattern="plain")
    svg = scale_svg(made, ["invented", "other"], young=True)
    assert fish_scales(svg)[0] == pytest.approx(fish_scales(svg)[1] / 2, rel=2e-3)
    assert "Young fish" in texts(svg)
    assert "Adult" in texts(svg)


# -- what cannot be drawn ---------------------------------------------------------------------------


def test_errors_say_what_would_be_right():
    with pytest.raises(UnknownName, match="hypancistrus_zebra"):
        taxon_svg(shipped(), "hypancistrus_zebr")
    with pytest.raises(IdkeyError, match="at least one"):
        scale_svg(shipped(), [])


def test_a_table_of_flowers_is_not_drawn():
    flowers = TraitTable.from_frame(pd.DataFrame({"kind": ["a", "b"], "petal": [1.0, 2.0]}), taxon="kind")
    assert not can_draw(flowers)
    assert can_draw(shipped())
    for attempt in (lambda: taxon_svg(flowers, "a"), lambda: scale_svg(flowers, ["a", "b"])):
        with pytest.raises(IdkeyError, match="no trait that can be drawn"):
            attempt()


def test_a_table_with_one_drawable_trait_and_no_length_is_drawn():
    frame = pd.DataFrame({"kind": ["a", "b"], "tail_fork": ["forked", "straight"], "adult_size": [7, 9]})
    made = TraitTable.from_frame(frame, taxon="kind")
    assert look_of(made, "a") == Look(tail_fork="forked")
    assert "length not known" in texts(taxon_svg(made, "a"))


def test_what_does_not_apply_is_neither_drawn_nor_called_unknown():
    zebra = "hypancistrus_zebra"
    assert shipped().cell(zebra, "spot_size") is NOT_APPLICABLE
    assert look_of(shipped(), zebra).spot_size is None
    assert "Spot size" not in unknown(shipped(), zebra)
