"""Kinds side by side and the map of lookalikes, as HTML, SVG and text."""

import html
import re
import xml.etree.ElementTree as ET

import numpy as np
import pandas as pd
import pytest
from shipped import TABLE

from idkey import TraitTable, build_key, compare, display
from idkey.model.lookalikes import lookalikes
from idkey.table.units import number_of
from idkey.views.charts import map_svg, on_map
from idkey.views.compare import care_line, mix_up_words
from idkey.views.words import chance_words, look_words, one_in

L201, CONTRADENS = "hypancistrus_l201", "hypancistrus_contradens"


@pytest.fixture(scope="module")
def found():
    return compare(TABLE, CONTRADENS, L201)


@pytest.fixture(scope="module")
def alike():
    return lookalikes(TABLE)


def test_the_strongest_difference_stands_first_in_words_with_its_drawings_and_the_rest_is_folded(found):
    text = display.html(found)
    table = text[text.index("What differs") : text.index("What they share")]
    assert re.findall(r'<th scope="row">([^<]+)', table) == [c.trait.name for c in found.differ]
    for fold in ("What they share: 12 traits", "being unknown: 16 traits", "Where it is written"):
        assert re.search(rf"<details><summary>[^<]*{fold}", text)
    assert "Spots against nostril" in text[text.index("being unknown") :]
    assert "Schaefer" in text[text.index("Where it is written") :]
    # Neither a bar nor a picture stands alone.
    bars = re.findall(r"([a-z ]+, \d+ in \d+)<br><span class=\"idk-bar\" aria-hidden=\"true\">", text)
    assert len(bars) == text.count('class="idk-bar"') == len(found.differ)
    assert text.index("<svg") < text.index("What differs")
    row = text[text.index(">Tail fin edge") : text.index(">Dorsal fin against")]
    assert row.count("<svg") == 4
    assert "shallow hollow or clearly forked" in row


def test_for_young_fish_the_sentence_and_the_order_change():
    found = compare(TABLE, "hypancistrus_l471", "pseudacanthicus_pitanga")
    adult, young = display.html(found), display.html(found, young=True)
    first = re.compile(r'idk-outcome">([^<]*)')
    assert "adults" in first.search(adult)[1]
    assert "young fish" in first.search(young)[1]
    assert young.index(">Length<") > young.index(">Spot colour<")


def test_what_the_seller_says_is_marked():
    found = compare(TABLE, "hypancistrus_cf_inspector_l102", L201)
    row = re.search(r"River, if the seller says<br><span[^>]*>([^<]*)", display.html(found))
    assert row[1] == "no look at the fish"
    assert "River, if the seller says (no look at the fish)" in display.text(found)


def test_the_care_difference_is_one_line_with_what_suits_none():
    found = compare(TABLE, "hypancistrus_zebra", "panaqolus_maccus")
    line = care_line(found)
    assert "\n" not in line
    assert line.startswith("Care differs in diet (nothing suits all: Hypancistrus zebra mixed food")
    assert "wood with other food" in line
    assert line in html.unescape(display.html(found))


def test_the_same_bytes_without_ids_or_anything_from_outside(found, alike):
    for shown, again in ((found, compare(TABLE, CONTRADENS, L201)), (alike, lookalikes(TABLE))):
        text = display.html(shown)
        assert text == shown._repr_html_() == display.html(again)
        assert not re.search(r"""\sid=|(src|href)=|url\(|@import|<script""", text)


def table_of(**columns):
    kinds = list("abc")[: len(next(iter(columns.values())))]
    return TraitTable.from_frame(pd.DataFrame({"kind": kinds} | columns), taxon="kind")


def test_a_table_without_drawings_care_or_sources_and_kinds_that_nothing_tells_apart():
    found = compare(table_of(rays=[7, 9], leaf=["round", "long"]), "a", "b")
    assert not re.search("<svg|Care|Where it is written", display.html(found))
    assert care_line(found) == ""
    assert "rays" in display.text(found)
    found = compare(table_of(tail=["forked", "forked"]), "a", "b")
    assert "it would be a guess" in mix_up_words(found)
    assert "differs" in display.html(found)


def test_chances_of_a_look_and_of_a_mix_up():
    assert (number_of(1, "name"), number_of(3200, "name", "more")) == ("1 name", "3,200 more names")
    looks = {0.9: "well, 9 in 10", 0.52: "hardly, 5 in 10", None: "tells nothing"}
    assert {right: look_words(right) for right in looks} == looks
    chances = {0.5: "5 in 10", 0.88: "9 in 10", 0.9: "9 in 10", 0.95: "19 in 20", 0.96: "24 in 25"}
    chances |= dict.fromkeys((0.99, 0.999, 1.0), "99 in 100")
    assert {chance: chance_words(chance) for chance in chances} == chances
    chances = {0.5: "5 in 10", 0.4: "4 in 10", 0.26: "3 in 10", 0.2: "1 in 5", 0.0279: "1 in 36"}
    chances |= dict.fromkeys((0.001, 0.0), "fewer than 1 in 200")
    assert {chance: one_in(chance) for chance in chances} == chances


def test_a_stronger_look_never_has_the_weaker_word():
    order = ["hardly", "weakly", "fairly", "well", "very well"]
    for k in (2, 3, 5):
        said = [order.index(look_words(r, k).split(",")[0]) for r in np.linspace(1 / k, 1, 400)]
        assert said == sorted(said)
        assert set(said) == set(range(5))


def test_text_keeps_to_a_console_and_says_what_html_says(found):
    text = repr(found)
    assert max(map(len, text.splitlines())) <= 78
    flat = " ".join(text.split())
    assert all(words in flat for words in (mix_up_words(found), *(c.trait.name for c in found.differ)))


def test_the_map_names_every_kind_and_hollow_marks_are_hardly_compared(alike):
    root = ET.fromstring(map_svg(alike))
    texts = "".join(root.itertext())
    assert all(TABLE.label(taxon)[:30] in texts for taxon in alike.ids)
    marks = [(g.get("fill") == "none", len(g.findall("{*}circle"))) for g in root.findall(".//{*}g")]
    full, hollow = (sum(count for none, count in marks if none == which) for which in (False, True))
    shown = (alike.matrix >= 0.02) & ~np.eye(len(alike.ids), dtype=bool)
    few = alike.hardly_compared
    # Four and one marks of the legend.
    assert full - 4 == (shown & ~few).sum()
    assert hollow - 1 == (shown & few).sum()


def test_the_area_of_a_mark_is_the_mix_up():
    found = lookalikes(table_of(**{t: ["x", "x", "y"] for t in "tuv"}))
    circles = [float(c.get("r")) for c in ET.fromstring(map_svg(found)).findall(".//{*}circle")]
    guess, quarter = circles[-5], circles[-4]
    assert (quarter / guess) ** 2 == pytest.approx(0.5, abs=0.02)
    # a and b can't be told apart, twice on the map; c is alike to neither.
    assert circles.count(guess) == 3


def test_the_map_can_be_limited_to_kinds_with_a_lookalike(alike):
    some = on_map(alike, 0.3)
    assert 2 < len(some) < len(alike.ids)
    true = alike.matrix * ~alike.hardly_compared * ~np.eye(len(alike.ids), dtype=bool)
    assert set(some) == {t for t, worst in zip(alike.ids, true.max(axis=1), strict=True) if worst >= 0.3}
    assert len(on_map(alike, 0.0, 5)) == 5
    assert on_map(alike) == alike.ids


def test_lookalikes_stand_together(alike):
    labels = re.findall(r'y="[0-9.]+" text-anchor="end">([^<]+)<', map_svg(alike))
    at = {label: i for i, label in enumerate(labels)}
    assert abs(at["Panaqolus orcesi"] - at["Panaqolus pantostiktos"]) == 1
    text = display.html(alike)
    pairs = text[text.index("Most alike") :]
    first = alike.frame.iloc[0]
    assert TABLE.label(first.a) in pairs
    assert "50 % (a guess)" in pairs
    assert "at most" in display.text(alike)


def test_pairs_hardly_compared_are_listed_apart_and_counted(alike):
    # Of every two kinds of the shipped table three traits or more are known of both.
    assert not alike.frame["hardly_compared"].any()
    assert "hardly compared:" not in display.text(alike)
    assert "young fish" in display.text(lookalikes(TABLE, "young"))
    known = {t: ["x", "x", "x"] for t in "tu"} | {t: ["x", "x", None] for t in "vw"}
    few = lookalikes(table_of(**known))
    assert "2 pairs hardly compared: fewer than three traits" in display.text(few)
    well, poorly = display.html(few).split("2 pairs hardly compared")
    pair = r'<th scope="row">(\w)<.*?(\w)<'
    assert (re.findall(pair, well), re.findall(pair, poorly)) == ([("a", "b")], [("a", "c"), ("b", "c")])


def test_one_pair_is_one_pair():
    two = table_of(t=["x", "x"])
    assert "\n  1 pair hardly compared: " in display.text(lookalikes(two))
    assert "1 of 1 pair of adults are told apart by no single look" in display.text(two.review())
    assert "2 taxa, 1 couplet, " in repr(build_key(table_of(t=["x", "y"])))
