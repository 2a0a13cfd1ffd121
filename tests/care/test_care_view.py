"""The care sheet as HTML and as text."""

import os
import re

import pytest
from care_tables import CLAIMS, EVIL, GOOD, GROUPS, RAPIDS, TABLE, TAXA, make_table, safe_words, sheet_of
from markup import Page
from process import python

from idkey import care_for, compare
from idkey.care.room import check_room, check_tank
from idkey.care.tank import Companion
from idkey.display import text
from idkey.table.table import Source
from idkey.views import html as on_screen
from idkey.views.care import care_blocks
from idkey.views.charts import flow_svg, size_svg, temperature_svg


def care_html(sheet):
    return on_screen.blocks(care_blocks(sheet))


def svgs(html):
    return re.findall(r"<svg.*?</svg>", html, re.DOTALL)


def test_the_table_is_semantic_in_the_colours_of_the_theme_and_says_in_words_what_is_not_settled():
    page = Page(care_html(care_for(TABLE, "zebra", "stripe")))
    assert page.tags.count("caption") == 1
    scopes = page.all("scope")
    # What stands in front, and all of it.
    assert (scopes.count("col"), scopes.count("row")) == (6, page.tags.count("th") - 6)
    words = safe_words(care_html(care_for(TABLE, "worm", "stripe", "ghost")))
    for part in (
        "conflict",
        "not known for Ghost",
        "Author 1999, p. 2 (read in the source): 26 to 30 °C",
        "common practice, no source: 6 mg/L",
        "PAGE2 (second-hand): 22 to 24 °C (72 to 75 °F). Not followed: too cold",
    ):
        assert part in words
    assert "Not known" in safe_words(care_html(care_for(TABLE, "ghost")))
    style = re.search(r"<style>(.*?)</style>", care_for(TABLE, "zebra")._repr_html_(), re.DOTALL)[1]
    assert not re.search(r"#[0-9a-fA-F]{3,8}\b|rgb|hsl", style)
    for colour in re.findall(r"[^-]color: ([^;]+);", style):
        assert colour.startswith("var(--") or colour == "inherit"


def test_in_front_stands_what_a_tank_needs_and_the_rest_is_behind_a_fold():
    sheet = care_for(TABLE, "worm", "stripe")
    words = safe_words(care_html(sheet))
    front, _, rest = words.partition("All that is known")
    # What nothing suits comes first, and what to do meanwhile stands in front, with who says so.
    assert front.index("No one answer suits") < front.index("What is right")
    assert f"until then: {sheet.safest['flow']}" in front
    assert "Author 1999" in front
    for label in ("Turnover", "Oxygen"):
        assert label in rest
        assert label not in front
    assert "<summary>Not known</summary>" in care_html(sheet)


def test_the_same_sheet_gives_the_same_bytes_in_any_process():
    show = "s = care_for(TABLE, 'zebra', 'stripe'); print(ascii(s._repr_html_() + repr(s)), end='')"
    folders = os.pathsep.join((".", "tests/care", "tests/tools"))
    # Each process has a hash seed of its own.
    run = python("-R", "-c", f"from care_tables import TABLE, care_for; {show}", path=folders)
    sheet = care_for(TABLE, "zebra", "stripe")
    assert run.stdout == ascii(sheet._repr_html_() + repr(sheet)), run.stderr


def test_nothing_from_the_data_reaches_html_unescaped():
    cells = {"diet_offer": EVIL, "cautions": EVIL, "temperament": EVIL, "temperature_c": "1..2"}
    said = dict.fromkeys(("value", "source", "locator", "class", "scope", "note"), EVIL)
    fish = make_table(
        {"all": {"cautions": EVIL}, "g": cells},
        {"a": ("g", {}), "b": ("g", {"diet_offer": EVIL + "2"})},
        evidence=tuple({"care_group": g, "attribute": a, **said} for g in ("g", "all") for a in cells),
        sources={EVIL: Source(EVIL, EVIL, EVIL)},
        names={"a": EVIL, "b": EVIL + "b"},
    )
    for names in (("a",), ("a", "b")):
        safe_words(care_html(care_for(fish, *names)))
    tank = {**GOOD, "name": EVIL, "substrate": EVIL, "companions": [Companion(EVIL)]}
    for check in (check_tank(care_for(fish, "a"), tank), check_room(care_for(fish, "a"), [tank])):
        safe_words(check._repr_html_())


def test_drawings_have_a_title_and_follow_the_theme_and_hold_no_id():
    drawings = svgs(care_html(care_for(TABLE, "zebra", "stripe")))
    assert len(drawings) == 3
    for svg in drawings:
        assert "<title>" in svg
        assert 'role="img"' in svg
        assert not re.search(r"\sid=|#[0-9a-fA-F]{3}|url\(", svg)
        assert set(re.findall(r'(?:fill|stroke)="([^"]+)"', svg)) <= {"currentColor", "none"}
    assert not svgs(care_html(care_for(TABLE, "ghost")))
    assert "width not known" in size_svg(sheet_of({"adult_length_mm": "50..90", "tank_length_cm": "60"}))


def numbers(svg, tag, *names):
    """The attributes of these names, as numbers, of each shape of a kind."""
    pattern = rf"<{tag}[^>]*" + "[^>]*".join(rf' {name}="([0-9.]+)"' for name in names)
    return [tuple(map(float, found)) for found in re.findall(pattern, svg)]


def test_the_temperature_bar_lies_where_its_figures_are():
    svg = temperature_svg(care_for(TABLE, "zebra"))
    ticks = {int(t): float(x) for x, t in re.findall(r'<text x="([0-9.]+)"[^>]*middle">(\d+)</text>', svg)}
    ((x, wide),) = numbers(svg, "rect", "x", "width")
    assert (x, x + wide) == pytest.approx((ticks[26], ticks[30]), abs=0.2)
    ((x, wide),) = numbers(temperature_svg(sheet_of({"temperature_c": "4..40"})), "rect", "x", "width")
    assert 0 < x < x + wide < 300
    # 18 °C is 64.4 °F, 34 °C is 93.2 °F (definition of the scale)
    assert ">64<" in svg
    assert ">93<" in svg


def test_only_what_is_right_for_all_is_filled_and_unknown_is_dotted():
    together = temperature_svg(care_for(TABLE, "zebra", "worm"))
    assert together.count("<rect") == 1
    assert "Right for all" not in together
    apart = temperature_svg(care_for(TABLE, "worm", "stripe"))
    assert "Right for all: none" in apart
    assert [svg.count('fill-opacity="0.3"') for svg in (together, apart)] == [1, 0]
    assert "stroke-dasharray" in temperature_svg(care_for(TABLE, "worm", "ghost"))
    assert "Ghost: not known" in flow_svg(care_for(TABLE, "worm", "ghost"))
    steps = re.findall(r">([✓–?] \w+)<", flow_svg(care_for(TABLE, "worm")))
    assert steps == ["– gentle", "✓ moderate", "✓ strong"]


def test_fish_tank_and_bar_are_to_one_scale():
    svg = size_svg(sheet_of({"adult_length_mm": "200..300", "tank_length_cm": "120", "tank_width_cm": "45"}))
    ((wide, high),) = numbers(svg, "rect", "width", "height")
    assert wide / high == pytest.approx(120 / 45, abs=0.05)
    ten = max(x1 - x0 for x0, y0, x1, y1 in numbers(svg, "line", "x1", "y1", "x2", "y2") if y0 == y1)
    assert wide / ten == pytest.approx(12, abs=0.1)
    scale, outline = re.search(r'scale\(([0-9.]+)\)" d="([^"]+)"', svg).groups()
    xs = [float(x) for x in re.findall(r"[ML](-?[0-9.]+) -?[0-9.]+", outline)]
    # 300 mm to the base of the tail fin, a fifth more to its end
    assert (max(xs) - min(xs)) * float(scale) / ten == pytest.approx(3.6, abs=0.1)


def test_two_lengths_on_one_page_say_what_each_measures(shipped):
    # The trait is the greatest length without the tail fin; what care plans for is as the sources report it.
    page = compare(shipped, "hypancistrus_l201", "pseudacanthicus_spinosus")._repr_html_()
    assert "Adult, greatest length without the tail fin: 110 mm" in page
    assert "adult length as reported (" in page
    assert "106 to 110 mm" in page
    # The two small white-spotted ones grow as long by either measure.
    page = compare(shipped, "hypancistrus_l201", "hypancistrus_l471")._repr_html_()
    assert set(re.findall(r"Adult, greatest length without the tail fin: (\d+ mm)", page)) == {"110 mm"}
    assert "adult length as reported (" not in page


def test_cautions_of_the_kind_come_first_and_those_for_every_fish_last_and_folded():
    every = {"handling": "Wet your hands.", "law": "Laws change."}
    sheet = sheet_of({"cautions": "It bites."}, every, law="Trade needs papers.", handling="Wet your hands.")
    html = care_html(sheet)
    assert html.index("It bites.") < html.index("<table")
    fold = html[html.index("Before you handle, move or sell it") :]
    assert fold.count("Wet your hands.") == html.count("Wet your hands.") == 1
    assert fold.index("Wet your hands.") < fold.index("Trade needs papers.") < fold.index("Laws change.")


def test_the_plain_text_is_one_screen():
    groups = {**GROUPS, "rapids": {**RAPIDS, "gh_dgh": "", "tank_length_cm": "", "temperament": ""}}
    sheet = care_for(make_table(groups, TAXA, CLAIMS), "zebra", "stripe")
    lines = repr(sheet).splitlines()
    assert len(lines) <= 24
    assert max(map(len, lines)) <= 100
    assert any("conflict" in line for line in lines)
    full = text(sheet, full=True)
    assert "Trade needs papers." in full
    assert "PAGE2" in full
