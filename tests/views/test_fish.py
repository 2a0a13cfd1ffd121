"""The drawings: one for every state, they differ, stay inside, are always the same; kinds to scale."""

import io
import itertools
import json
import re
import subprocess
import sys
from functools import cache
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pandas as pd
import pytest
import typst
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.colors import to_rgb
from matplotlib.image import imread
from matplotlib.path import Path as Outline

from idkey import TraitTable, load_table
from idkey.errors import IdkeyError
from idkey.table.schema import Range, States
from idkey.views import fish
from idkey.views.doc import plain
from idkey.views.fish import STATES, how_svg, outlines, picture, place_of, read_art, rows, sown, state_svg
from idkey.views.sheet import DRAWN_NOTE, can_draw, fish_svg, look_of, side_by_side, taxon_svg

TABLE = load_table()

ROOT = Path(__file__).parents[2]
ART = sorted((ROOT / "idkey" / "views" / "art").glob("*.svg"))
VIEWS = [file.stem for file in ART]
BODY = [(t.id, s) for t in TABLE.traits for s in t.states if t.id != "basin"]
PARTS = {trait: row for trait, row in rows("pictures").items() if row["part"] and trait != "pattern"}
GREY = np.array([0.299, 0.587, 0.114]) * 255
EVIL = '<script>alert("1")</script> & co'
SVG = "{http://www.w3.org/2000/svg}"


@cache
def grey(trait: str, state: str, width: int = 96) -> np.ndarray:
    """Return the drawing as grey levels 0 to 255; 96 wide is as small as it is ever shown."""
    page = "#set page(width: 120pt, height: 80pt, margin: 0pt)\n"
    source = f'{page}#image(bytes({json.dumps(state_svg(trait, state))}), format: "svg", width: 120pt)'
    return imread(io.BytesIO(typst.compile(source.encode(), format="png", ppi=0.6 * width)))[..., :3] @ GREY


def test_the_states_of_the_table_are_drawn_and_no_others_and_every_genus_has_a_form():
    assert sorted(BODY) == sorted((trait, state) for trait, states in STATES.items() for state in states)
    assert not any(state_svg(*other) for other in (("basin", "xingu"), ("tail_fork", "round"), ("a", "b")))
    assert set(TABLE.taxa["genus"]) <= set(rows("forms"))
    assert {f"side-{r['form']}" for r in rows("forms").values()} == {v for v in VIEWS if "side" in v}


@pytest.mark.parametrize(("trait", "state"), BODY)
def test_every_state_of_the_body_is_drawn(trait, state):
    svg = state_svg(trait, state)
    root = ET.fromstring(svg)
    assert [root.tag, *map(root.get, ("role", "width", "height"))] == [f"{SVG}svg", "img", "120", "80"]
    assert (root[0].tag, root[0].text) == (f"{SVG}title", f"{trait}: {state}".replace("_", " "))
    assert 1_500 < len(svg.encode()) < 16_000
    assert "nan" not in svg
    # It stands in a page any number of times, and reaches for nothing; its title is text.
    assert not re.search(r"\sid=|class=|<style|url\(|href|<\?xml|<!DOCTYPE|<script|inkscape", svg)
    assert ET.fromstring(state_svg(trait, state, EVIL))[0].text == EVIL


@pytest.mark.parametrize("trait", STATES)
def test_drawings_of_one_trait_differ_in_grey_at_the_smallest_size(trait):
    for a, b in itertools.combinations(STATES[trait], 2):
        assert (np.abs(grey(trait, a) - grey(trait, b)) > 40).mean() > 0.002


@pytest.mark.parametrize("state", ["light_spots", "dark_spots", "lines", "bars"])
def test_nothing_of_the_pattern_spills_over_the_outline(state):
    plain = grey("pattern", "plain", 480)
    marks = np.abs(grey("pattern", state, 480) - plain) > 60
    assert marks.sum() > 1000
    assert not (marks & (plain > 215)).any()


def test_same_bytes_in_another_process_without_pyplot_or_notebook():
    code = (
        "import sys; from idkey.views.fish import state_svg; print(state_svg('pattern', 'bars'), end='')\n"
        "assert not {'matplotlib', 'scipy', 'ipywidgets', 'IPython'} & set(sys.modules)"
    )
    there = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True, cwd=ROOT).stdout
    assert there.decode() == state_svg("pattern", "bars")


def test_a_drawing_takes_over_the_answers_given_already():
    seen = {"pattern": "dark_spots", "ground_colour": "pale", "life_stage": "adult", "teeth_lower": "5..6"}
    for trait, state in (("spot_size", "small"), ("spot_density", "dense"), ("head_spots", "same")):
        svg = state_svg(trait, state, answers=seen)
        assert rows("colours")["ground"]["pale"] in svg
        assert set(re.findall(r'h\.01" stroke="([^"]*)"', svg)) == {fish.INK}
    # The answer to the trait itself gives way, a lean is no state, and what is asked of spots has spots.
    answers = {"tail_fork": "straight", "basin": "xingu", "pattern": "bars:0.5|plain:0.5"}
    assert state_svg("tail_fork", "forked", answers=answers) == state_svg("tail_fork", "forked")
    assert "h.01" in state_svg("spot_size", "small", answers={"pattern": "bars"})


def test_colours_are_even_steps_in_black_and_white():
    grounds = [fish.ground_tone({"ground_colour": g})["ground"] for g in ("pale", "olive", "dark")]
    marks = [fish.MARKS[colour] for colour in ("white", "yellow", "orange")]
    for colours, least in (([*marks, grounds[2]], 40), (grounds, 60)):
        assert (np.diff([np.dot(to_rgb(colour), GREY) for colour in colours]) < -least).all()


@pytest.mark.parametrize("trait", PARTS)
def test_button_and_fish_show_a_state_by_the_same_layer_and_the_unknown_by_none(trait):
    view, part = PARTS[trait]["view"], PARTS[trait]["part"]
    drawn = {state: picture(view, {trait: state}) for state in STATES[trait]}
    for state, whole in drawn.items():
        (pieces,) = (pieces for *layer, pieces in read_art(view).layers if layer == [part, state])
        shown = [path for kind, _, path in pieces if kind != "hem" and path]
        assert shown
        assert all(path in whole and path in state_svg(trait, state) for path in shown)
    assert picture(view, {}) not in drawn.values()


def test_a_spotted_fish_of_which_little_is_known_wears_plain_spots_and_no_rings():
    spotted = {"pattern": "light_spots"}
    for trait in ("spot_size", "spot_density", "head_spots", "spot_colour", "ground_colour"):
        drawn = {picture("side-deep", spotted | {trait: state}) for state in STATES[trait]}
        assert picture("side-deep", spotted) not in drawn
    assert not any("dasharray" in picture(view, spotted) for view in VIEWS)


SIZES = [  # "at least as wide as the eye"; the others as their names say
    ("spot_size", "eye-rim", {"small": (0.1, 0.5), "medium": (0.5, 0.9), "large": (1, 2)}),
    ("spot_vs_pupil", "pupil", {"under_half": (0.1, 0.5), "smaller": (0.5, 0.9), "larger": (1.1, 2)}),
    ("spot_vs_nostril", "nostril-opening", {"smaller": (0.1, 0.9), "equal": (0.9, 1.1), "larger": (1.1, 2)}),
]


@pytest.mark.parametrize(("trait", "measure", "states"), SIZES)
def test_spots_are_as_large_as_the_eye_the_pupil_or_the_nostril_says(trait, measure, states):
    for state, (least, most) in states.items():
        shapes = picture("side-deep", {"pattern": "light_spots", trait: state})
        width = float(re.search(r'h\.01" stroke="[^"]*" stroke-width="([\d.]+)"', shapes)[1])
        assert least <= width / 2 / read_art("side-deep").circles[measure][2] <= most


@pytest.mark.parametrize("view", VIEWS)
def test_spots_stay_inside_apart_and_in_place(view):
    fins = [outlines(p) for *_, pieces in read_art(view).layers for k, _, p in pieces if k == "clip-fins"]
    for polygons in (*read_art(view).clips.values(), *fins):
        for radius in (1.2, 4.0):
            hole = (*polygons[0].mean(axis=0), 4.0)
            xy = sown(polygons, 3 * radius, radius, [hole])
            assert len(xy)
            assert Outline.make_compound_path(*map(Outline, polygons)).contains_points(xy).all()
            assert (np.hypot(*(xy - hole[:2]).T) >= hole[2] + radius).all()
            apart = np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1)) + 1e3 * np.eye(len(xy))
            assert apart.min() >= 3 * radius
        np.testing.assert_array_equal(xy, sown(polygons, 3 * radius, radius, [hole]))


@pytest.mark.parametrize("file", ART, ids=lambda f: f.stem)
def test_a_file_of_the_art_is_one_an_illustrator_can_work_on(file):
    text = file.read_text(encoding="utf-8")
    elements = list(ET.fromstring(text).iter())
    ids = [e.get("id") for e in elements if e.get("id")]
    assert len(text.encode()) < 40_000
    assert len(ids) == len(set(ids))
    assert all(re.fullmatch(r"[a-z]+(-[a-z]+)*(--[a-z]+(_[a-z]+)*)?", name) for name in ids)
    assert not any(re.search(r"\d\.\d\d", e.get("d", "")) for e in elements)
    swatches = {row["swatch"] for row in rows("colours").values()}
    assert set(re.findall(r"#[0-9a-f]{6}", text)) <= swatches | {fish.PAPER, "#ffffff", "#000000"}
    states = {row["part"]: STATES.get(trait, ()) for trait, row in rows("pictures").items()}
    assert all(state in ("", "plain", *states.get(part, ())) for part, state, _ in read_art(file.stem).layers)


# Orbit in % of head length, from the descriptions named.
EYES = {
    "Acanthicus": (4.1, 13.6),  # A. hystrix, Chamon 2016, table 1
    "Ancistrus": (15.4, 22.0),  # A. leucostictus, de Souza, Taphorn & Armbruster 2019
    "Chaetostoma": (7.9, 14.5),  # C. spondylus, Salcedo & Ortega 2015, table 1
    "Panaqolus": (16.0, 19.9),  # P. albomaculatus, Cramer & Rapp Py-Daniel 2015, diagnosis
    "Pseudacanthicus": (9.6, 16.4),  # P. pitanga, Chamon 2015, table 1
    "Spectracanthicus": (15.4, 20.3),  # S. tocantinensis, Chamon & Rapp Py-Daniel 2014
}


@pytest.mark.parametrize("genus", EYES)
def test_an_eye_is_as_large_against_the_head_as_it_was_measured(genus):
    art = read_art(f"side-{rows('forms')[genus]['form']}")
    head = np.concatenate(art.clips["clip-head"])[:, 0].max() - art.foot[0]  # snout to gill opening
    assert EYES[genus][0] <= 200 * art.circles["eye-rim"][2] / head <= EYES[genus][1]


def test_the_stalk_of_a_tail_is_as_deep_as_it_was_measured():
    # Scobinancistrus: 9.8 to 13.5 % of the standard length, Chaves et al. 2023, diagnosis.
    (body,) = (pieces for part, _, pieces in read_art("side-snouted").layers if part == "body")
    end = np.concatenate([run for *_, path in body[:1] for run in outlines(path)])
    stalk = np.ptp(end[end[:, 0] > 176][:, 1])
    assert 9.8 <= 100 * stalk / 163 <= 13.5


def test_paths_are_read_as_any_editor_writes_them():
    for path in ("M0 0H10V10H0Z", "m0,0h10v10h-10z", "M0 0l10 0 0 10-10 0z", "M0,0L1e1,0L10,10L0,10"):
        np.testing.assert_allclose(outlines(path), [[(0, 0), (10, 0), (10, 10), (0, 10)]])
    for path in ("M0 0C3 0 6 0 10 0Q10 5 10 10S5 10 0 10", "M0 0A9 9 0 0 1 10 0T10 10L0 10"):
        (round_square,) = outlines(path)
        assert all((round_square == corner).all(axis=1).any() for corner in [(10, 0), (10, 10), (0, 10)])


# -- whole kinds, from the row and nothing else ------------------------------------------------------------


def table(**cells: str) -> TraitTable:
    """Return the traits of the shipped table with one invented kind."""
    return TABLE.only([TABLE.ids[0]]).with_taxon("invented", scientificName="Invented fish", **cells)


def texts(svg: str) -> str:
    return " ".join(t.text or "" for t in ET.fromstring(svg).iter(f"{SVG}text"))


def fish_scales(svg: str) -> list[float]:
    """Units of the sheet per unit of the art, for each side view."""
    scales = re.findall(r"<g transform=\"translate\([-\d. ]+\) scale\(([\d.]+)\)", svg)
    return [float(s) for s in scales if s != "0.9"]


def mm_wide(svg: str) -> float:
    """Units of the sheet for each millimetre of the ruler."""
    units, last = re.search(r"h([\d.]+)M28\.0 [\d.]+v7", svg)[1], re.findall(r">(\d+) mm</text>", svg)[0]
    return float(units) / int(last)


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
    "row", ["Ancistrus  broad", "Ancistrus flat flat", "Dekeyseria normal broad", "Nosuch  deep"]
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
    assert "mm</text>" not in svg
    said = texts(taxon_svg(table(**{trait: states[0] for trait, states in STATES.items()}), "invented"))
    assert all(w in said for w in ("Head from above", "Underside", "From the front", "Teeth", "Tail fin"))
    assert "Not known" not in said


@settings(max_examples=30)
@given(st.floats(20, 1200))
def test_the_ruler_is_to_the_fish_as_its_millimetres_to_its_length(length):
    svg = taxon_svg(table(adult_size=f"{length:.1f}"), "invented")
    units = fish_scales(svg)[0] * 163  # snout to base of the tail fin, in the units of the art
    assert mm_wide(svg) / units == pytest.approx(1 / float(f"{length:.1f}"), rel=2e-3)
    assert 20 + fish_scales(svg)[0] * 231 < 720


@settings(max_examples=25)
@given(st.lists(st.sampled_from(TABLE.ids), min_size=1, max_size=5, unique=True))
def test_lengths_are_drawn_in_proportion(taxa):
    pictures = side_by_side(TABLE, taxa)
    cells = [TABLE.cell(taxon, "adult_size") for taxon in taxa]
    lengths = [cell.high if isinstance(cell, Range) else 100.0 for cell in cells]
    scales = [fish_scales(p.svg)[0] for p in pictures]
    assert [s / scales[0] for s in scales] == pytest.approx([x / lengths[0] for x in lengths], rel=5e-3)
    assert len({(ET.fromstring(p.svg).get("viewBox"), p.tallest) for p in pictures}) == 1  # nor scaled later
    known = any(cell is not None for cell in cells)
    for shown, taxon, cell, length, scale in zip(pictures, taxa, cells, lengths, scales, strict=True):
        assert shown.svg.count("stroke-dasharray") == (cell is None and known)
        assert ("mm</text>" in shown.svg) == known
        assert not known or mm_wide(shown.svg) / (scale * 163) == pytest.approx(1 / length, rel=5e-3)
        assert TABLE.label(taxon) in plain(shown.note)


def test_what_is_looked_at_is_ringed_where_it_is_drawn():
    made = table(pattern="plain", tail_fork="forked")
    ring = re.compile(r'cx="([\d.]+)" cy="([\d.]+)" r="([\d.]+)" stroke="')
    (under, over) = ring.findall(fish_svg(made, "invented", mark="tail_fork"))
    assert under == over
    assert float(over[0]) - float(over[2]) > 160  # behind the body, which ends at 177
    assert fish_svg(made, "invented", mark="basin") == fish_svg(made, "invented")
    for view, trait in itertools.product((v for v in VIEWS if "side" in v), rows("pictures")):
        x, y, radius = place_of(view, trait, {"cheek_spines": "long"})
        assert 0 < y < 160
        assert 0 < x - radius / 2 < x + radius < 245


def test_side_by_side_each_mark_has_its_number_and_none_hides_another():
    shown = side_by_side(TABLE, TABLE.ids[:2], marks=("pattern", "tail_fork", "body_keels"))[0].svg
    places = re.findall(r'<text x="([\d.]+)" y="([\d.]+)" [^>]*font-weight="600">(\d)<', shown)
    assert [number for *_, number in places] == ["1", "2", "3"]
    assert len({place[:2] for place in places}) == 3
    last_ring = [m.start() for m in re.finditer(r'r="[\d.]+" stroke="', shown)][-1]
    assert last_ring < shown.index('font-weight="600"')
    both = table(pattern="plain", adult_size="600").with_taxon(
        "small", scientificName="Small fish", pattern="plain", adult_size="60"
    )
    ringed = [p.svg for p in side_by_side(both, ["invented", "small"], marks=("pattern", "tail_fork"))]
    assert ["<text" in svg.split("</g>")[0] for svg in ringed] == [True, False]


def test_the_pictures_of_figures_say_how_they_are_taken():
    drawn = {t.id: svg for t in TABLE.traits if (svg := how_svg(t.id))}
    assert {"adult_size", "eye_size", "barbel_length"} < set(drawn)
    assert not set(drawn) & set(STATES)
    lines = {f'd="{pieces[-1][2]}"' for part, _, pieces in read_art("side-deep").layers if "measure" in part}
    assert all(any(path in svg for path in lines) for svg in drawn.values())
    assert not any(path in fish_svg(TABLE, TABLE.ids[0]) for path in lines)


def test_only_kinds_whose_young_differ_are_drawn_young_and_text_stays_text():
    made = table(adult_size="100", pattern="plain", pattern_young="light_spots")
    made = made.with_taxon("other", scientificName="Other fish", adult_size="100", pattern="plain")
    young, adult = side_by_side(made, ["invented", "other"], young=True)
    assert fish_scales(young.svg)[0] == pytest.approx(fish_scales(adult.svg)[0] / 2, rel=2e-3)
    assert ("Young fish" in plain(young.note), "Adult" in plain(adult.note)) == (True, True)
    evil = made.with_taxon("evil", scientificName=EVIL, pattern="bars")
    for svg in (taxon_svg(evil, "evil"), side_by_side(evil, ["evil", "invented"])[0].svg):
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
            side_by_side(made, taxa)
    with pytest.raises(IdkeyError, match="no trait that can be drawn"):
        taxon_svg(flowers, "a")
    frame = pd.DataFrame({"kind": ["a", "b"], "tail_fork": ["forked", "bent"], "adult_size": [7, 9]})
    made = TraitTable.from_frame(frame, taxon="kind")
    assert [look_of(made, k).states for k in "ab"] == [{"tail_fork": "forked"}, {}]
    assert "length not known" in texts(taxon_svg(made, "a"))
