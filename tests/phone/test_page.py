"""The page in Chromium: what it may do, what a hostile table does to it, who can use it, how large it is."""

import re

import lab
import pytest
from markup import Page

import idkey
from idkey.errors import IdkeyError
from idkey.phone.file import page as page_text
from idkey.phone.file import pocket
from idkey.table.schema import Trait

MOST = 1_500_000
# Controls that a finger can't hit: smaller than 44 px either way (WCAG 2.1, 2.5.5), a tick with its label.
SMALL = """() => [...document.querySelectorAll("button, select, input, summary, textarea")]
  .filter(e => e.checkVisibility()).map(e => e.type === "checkbox" ? e.closest("label") : e)
  .filter(e => { const r = e.getBoundingClientRect(); return r.height < 44 || r.width < 44; })
  .map(e => e.outerHTML.slice(0, 80))"""
NAMELESS = """() => [...document.querySelectorAll("button, select, input, textarea, svg[role=img]")]
  .filter(e => e.checkVisibility())
  .filter(e => !(e.getAttribute("aria-label") || e.labels?.length || e.innerText?.trim()))
  .map(e => e.outerHTML.slice(0, 80))"""


def answer(page, trait, words):
    page.select_option("#other", trait)
    page.locator("#states").get_by_role("button", name=words, exact=True).click()


def test_the_shipped_table_makes_a_file_of_less_than_one_and_a_half_megabytes(shipped):
    text = page_text(shipped)
    assert len(text.encode()) < MOST
    found = Page(re.sub(r"<script.*?</script>", "", text, flags=re.DOTALL))
    assert not found.all("src", "href", "action", "onclick", "style")


def test_it_may_ask_nothing_and_run_nothing_but_its_own(browser, shipped, tmp_path):
    pocket(shipped.only(["hypancistrus_zebra", "hypancistrus_l260"]), tmp_path / "pocket.html")
    page = browser.new_page()
    page.goto((tmp_path / "pocket.html").as_uri())
    blocked = page.evaluate("""async () => {
      const said = [];
      document.addEventListener("securitypolicyviolation", e => said.push(e.effectiveDirective));
      const script = document.createElement("script");
      script.textContent = "window.ran = 1";
      document.body.append(script);
      const picture = new Image();
      picture.src = "data:image/gif;base64,R0lGODlhAQABAAAAACw=";
      document.body.append(picture);
      await fetch("data:,x").catch(() => said.push("no fetch"));
      await new Promise(done => setTimeout(done, 200));
      return [said, window.ran || 0];
    }""")
    assert {"script-src-elem", "img-src", "connect-src", "no fetch"} <= {*blocked[0]}
    assert blocked[1] == 0
    page.close()


def test_a_table_full_of_markup_is_shown_as_text(opened, shipped):
    evil = lab.EVIL.replace("|", " ") + "</script><!-- {name} $& ${1} ]]>"
    patch = Trait(
        id="evil", kind="nominal", label=evil, question=evil, how=evil, states=("a", "b"), words=(evil, "b")
    )
    table = shipped.only(["hypancistrus_zebra", "hypancistrus_l260"])
    table = table.with_trait(patch, {"hypancistrus_zebra": "a", "hypancistrus_l260": "b"})
    table = table.with_cell("hypancistrus_zebra", "scientificName", evil)
    page = opened(table)
    answer(page, "evil", evil)
    assert evil in page.locator("#seen").inner_text()
    assert evil in page.locator("#outcome").inner_text()
    for fold in page.locator(".name > summary").all():
        fold.click()
    page.get_by_text("Two kinds side by side").click()
    assert evil in page.locator("#beside").inner_text()
    assert page.evaluate("window.ran") is None
    assert page.locator("img, main script, iframe, object").count() == 0


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_can_be_read_hit_and_named_in_both_themes(opened, shipped, scheme):
    page = opened(shipped, color_scheme=scheme)
    answer(page, "pattern", "light spots on dark")
    answer(page, "spot_colour", "white")
    page.get_by_label("Not sure: let me").check()
    page.locator("#states button").first.click()
    page.locator(".name > summary").first.click()
    page.get_by_text("Two kinds side by side").click()
    page.get_by_label("Tag", exact=True).fill("A7")
    assert page.evaluate(SMALL) == []
    assert page.evaluate(NAMELESS) == []
    body = page.locator("body")
    for selector in ["#outcome", ".soft", "button", "#take", "#undo", "li", "th", "label", "summary"]:
        assert body.evaluate(lab.CONTRAST, selector) >= 4.5, selector
    for size in ({"width": 390, "height": 844}, {"width": 844, "height": 390}, {"width": 320, "height": 640}):
        page.set_viewport_size(size)
        assert not lab.scrolls_sideways(page.locator("html"))


def test_it_goes_by_keys_alone_in_the_order_it_is_read(opened, shipped):
    page = opened(shipped)
    lab.tab_to(page, "light spots on dark")
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "question"
    assert "still possible" in page.locator("[role=status]#outcome").inner_text()
    first = page.evaluate("trait.states.length ? trait.words[0] : trait.name")
    page.keyboard.press("Tab")
    assert first in page.evaluate("(e => e.innerText || e.labels[0].innerText)(document.activeElement)")
    tops = page.evaluate("""() => [...document.querySelectorAll("button, select, input, summary")]
      .filter(e => e.checkVisibility()).map(e => e.getBoundingClientRect().top)""")
    assert all(after > before - 1 for before, after in zip(tops, tops[1:], strict=False))
    lab.tab_to(page, "Undo", backwards=True)
    page.keyboard.press("Enter")
    assert page.evaluate("Object.keys(fish.answers).length") == 0


def test_answers_outlast_the_page_and_a_wrong_number_is_told_and_kept(opened, shipped):
    page = opened(shipped)
    answer(page, "pattern", "light spots on dark")
    page.select_option("#other", "adult_size")
    page.fill("#from", "8 cm")
    page.keyboard.press("Enter")
    assert "write a number in mm" in page.locator("[role=alert]").inner_text()
    assert page.input_value("#from") == "8 cm"
    page.get_by_role("button", name="Can't see it").click()
    page.reload()
    assert page.evaluate("[Object.keys(fish.answers), fish.unseen]") == [["pattern"], ["adult_size"]]
    assert "can't be seen" in page.locator("#seen").inner_text()
    page.get_by_role("button", name="Start again").click()
    page.get_by_role("button", name="Undo").click()
    assert page.evaluate("Object.keys(fish.answers)") == ["pattern"]


def test_a_file_is_not_written_over_unasked_nor_under_another_ending(shipped, tmp_path):
    some, place = shipped.only(["hypancistrus_zebra"]), tmp_path / "pocket.html"
    idkey.pocket(some, place)
    first = place.read_bytes()
    with pytest.raises(IdkeyError, match="pocket.html"):
        pocket(shipped, place)
    assert place.read_bytes() == first
    with pytest.raises(IdkeyError, match="let the file's name end in .html"):
        pocket(some, tmp_path / "pocket.pdf")
