"""The page in Chromium: what it may do, what a hostile table does to it, who can use it, how large it is."""

import re

import lab
import pytest
from markup import Page
from playwright.sync_api import expect

import idkey
from idkey.errors import IdkeyError
from idkey.phone.file import page as page_text
from idkey.phone.file import pocket
from idkey.table.reading import parse_answer
from idkey.table.schema import Trait

MOST = 1_500_000
# Controls that a finger can't hit: smaller than 44 px either way (WCAG 2.1, 2.5.5), a tick with its label.
SMALL = """() => [...document.querySelectorAll("button, select, input, summary, textarea")]
  .filter(e => e.checkVisibility()).map(e => e.type === "checkbox" ? e.closest("label") : e)
  .filter(e => { const r = e.getBoundingClientRect(); return r.height < 44 || r.width < 44; })
  .map(e => e.outerHTML.slice(0, 80))"""
NAMELESS = """() => [...document.querySelectorAll(
    "button, select, input, textarea, summary, section, svg[role=img], [tabindex='0']")]
  .filter(e => e.checkVisibility())
  .filter(e => !(e.ariaLabel || e.getAttribute("aria-labelledby") || e.labels?.length || e.innerText?.trim()))
  .map(e => e.outerHTML.slice(0, 80))"""


# What is off the screen is laid out, too.
ALL = """() => {
  for (const part of document.querySelectorAll(".later")) part.style.contentVisibility = "visible";
}"""


def answer(page, trait, words):
    page.select_option("#other", trait)
    page.locator("#states").get_by_role("button", name=words, exact=True).click()


def test_the_shipped_table_makes_a_file_of_less_than_one_and_a_half_megabytes(shipped):
    text = page_text(shipped)
    assert len(text.encode()) < MOST
    found = Page(re.sub(r"<script.*?</script>", "", text, flags=re.DOTALL))
    assert not found.all("src", "href", "action", "onclick", "style")


def test_it_may_ask_nothing_and_run_nothing_but_its_own(chromium, shipped, tmp_path):
    pocket(shipped.only(["hypancistrus_zebra", "hypancistrus_l260"]), tmp_path / "pocket.html")
    page = chromium.new_page()
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
    expect(page.locator("#seen")).to_contain_text(evil)
    expect(page.locator("#outcome")).to_contain_text(evil)
    for fold in page.locator(".name > summary").all():
        fold.click()
    page.get_by_text("Two kinds side by side").click()
    expect(page.locator("#beside")).to_contain_text(evil)
    page.get_by_role("button", name="Undo").click()
    page.get_by_role("button", name="Enough: what is it?").click()
    page.get_by_text("Sources", exact=True).click()
    assert page.evaluate("window.ran") is None
    assert page.locator("img, main script, iframe, object").count() == 0


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_can_be_read_hit_and_named_in_both_themes(opened, shipped, scheme):
    page = opened(shipped, color_scheme=scheme)
    page.evaluate(ALL)
    selectors = [
        "#outcome",
        ".soft",
        "button",
        "#take",
        "#undo",
        "#enough",
        "li",
        "th",
        "td",
        "label",
        "summary",
    ]

    def hold_it_good():
        assert page.evaluate(SMALL) == []
        assert page.evaluate(NAMELESS) == []
        for selector in selectors:
            if page.locator(selector).filter(visible=True).count():
                assert page.locator("body").evaluate(lab.CONTRAST, selector) >= 4.5, selector

    answer(page, "pattern", "light spots on dark")
    answer(page, "spot_colour", "white")
    page.get_by_label("Not sure: let me").check()
    page.locator("#states button").first.click()
    page.locator(".name > summary").first.click()
    page.get_by_text("Two kinds side by side").click()
    page.get_by_text("Names on the bag").click()
    page.get_by_text("Sources", exact=True).click()
    page.get_by_label("Tag", exact=True).fill("A7")
    hold_it_good()
    page.select_option("#other", "adult_size")
    page.fill("#from", "4.6")
    page.get_by_role("button", name="Take this answer").click()
    hold_it_good()
    page.get_by_role("button", name="Enough: what is it?").click()
    hold_it_good()
    page.get_by_role("button", name="Keep this fish").click()
    expect(page.locator("#kept")).to_contain_text("A7")
    hold_it_good()
    for large in ("100%", "200%"):
        page.evaluate("size => { document.documentElement.style.fontSize = size; }", large)
        for width, height in ((390, 844), (844, 390), (320, 640)):
            page.set_viewport_size({"width": width, "height": height})
            assert not lab.scrolls_sideways(page.locator("html")), (large, width)


def test_a_number_that_can_hardly_be_is_asked_back_and_one_with_the_tail_fin_is_a_bound(opened, shipped):
    page = opened(shipped)
    page.select_option("#other", "adult_size")
    page.fill("#from", "4.6")
    page.keyboard.press("Enter")
    expect(page.locator("#askedBack")).to_contain_text("4.6 mm? That is very small.")
    assert page.evaluate("Object.keys(fish.answers)") == []
    page.get_by_role("button", name="4.6 cm, 46 mm").click()
    assert page.evaluate("fish.answers.adult_size") == [46, 46]
    expect(page.locator("#askedBack")).to_be_empty()
    page.select_option("#other", "adult_size")
    page.fill("#from", "85")
    page.get_by_label("With the tail fin").check()
    page.get_by_role("button", name="Take this answer").click()
    bound = parse_answer(shipped.trait("adult_size"), "85 mm TL")
    assert page.evaluate("fish.answers.adult_size") == [bound.low, bound.high]


def test_enough_says_what_it_probably_is_and_goes_back_to_the_question(opened, shipped):
    page = opened(shipped)
    answer(page, "pattern", "light spots on dark")
    asked = page.locator("#question").inner_text()
    page.get_by_role("button", name="Enough: what is it?").click()
    expect(page.locator("#question")).to_contain_text("No name to go by yet")
    expect(page.locator("#shown")).to_contain_text("What would settle most: ")
    expect(page.locator("#shown svg path").first).to_be_attached()
    assert page.evaluate("document.activeElement.id") == "question"
    page.get_by_role("button", name="Go on asking").click()
    assert page.locator("#question").inner_text() == asked


def test_a_name_that_is_open_stays_open_and_says_what_the_new_answer_does(opened, shipped):
    page = opened(shipped)
    answer(page, "pattern", "light spots on dark")
    name = page.locator(".name").first
    words = name.locator("summary").inner_text().split("\n")[0]
    name.locator("summary").click()
    expect(name).to_contain_text("Pattern: you said light spots on dark")
    answer(page, "spot_size", "small")
    still = page.locator(".name[open]")
    expect(still).to_contain_text("Spot size: you said small")
    assert words in still.locator("summary").inner_text()


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
    expect(page.locator("#seen")).to_contain_text("can't be seen")
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
