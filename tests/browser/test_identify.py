"""The identify notebook in JupyterLab, in a real browser, as a keeper uses it.

The fish is the holotype of Hypancistrus phantasma as its authors describe it (Tan & Armbruster 2016, ZooKeys
552:123-135, p.124-127, doi 10.3897/zookeys.552.5956).
"""

import re

import pytest
from lab import answer, asked, open_notebook
from playwright.sync_api import expect

pytestmark = pytest.mark.browser

PHANTASMA = {
    "Pattern": "dark spots on pale",
    "Fin edging": "dark or black",
    "Tail fin edge": "shallow hollow",
    "Spots on the head": "smaller on the head",
    "Belly armour": "partly plated",
    "River, if the seller says": "Negro (Branco and Uaupes included)",
}


def start(page, lab):
    open_notebook(page, lab, "identify.ipynb")
    screen = page.locator(".idk.widget-vbox").first
    screen.locator("h3").first.wait_for()
    return screen


def test_a_published_fish_is_named_and_its_care_is_opened(page, lab):
    screen = start(page, lab)
    assert asked(page) == "What is the main pattern on the side of the body?"
    for feature, words in PHANTASMA.items():
        menu = screen.get_by_label("Answer another feature")
        if feature != "Pattern":
            menu.select_option(label=feature)
        answer(page, words)
    first = screen.locator("details.idk-name").first
    expect(first).to_contain_text("Hypancistrus phantasma")
    first.locator("summary").first.click()
    expect(first).to_contain_text("Speaks for it")
    first.get_by_text("Care sheet").click()
    expect(first.locator("table")).to_contain_text("Temperature")
    screen.get_by_role("button", name="Undo", exact=True).click()
    expect(screen.get_by_role("button", name=re.compile("^Change river"))).to_have_count(0)


def test_by_keyboard_alone(page, lab):
    screen = start(page, lab)
    page.get_by_role("button", name="light spots on dark", exact=True).focus()
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(screen.get_by_text("Pattern: dark spots on pale")).to_be_visible()
    summary = screen.locator("details.idk-name > summary").first
    summary.focus()
    page.keyboard.press("Enter")
    expect(screen.locator("details.idk-name[open]").first).to_contain_text("Speaks for it")


@pytest.mark.parametrize("theme", ["JupyterLab Light", "JupyterLab Dark"])
def test_text_can_be_read_in_both_themes(page, lab, theme):
    lab.set_theme(theme)
    screen = start(page, lab)
    answer(page, "light spots on dark")
    for selector in ("h3", ".idk-outcome", "details.idk-name summary", ".idk-soft", "button.idk-answer"):
        element = screen.locator(selector).first
        element.wait_for()
        ratio = element.evaluate(CONTRAST)
        assert ratio >= 4.5, (selector, ratio)


def test_a_narrow_window_needs_no_sideways_scroll(page, lab):
    page.set_viewport_size({"width": 700, "height": 2200})
    screen = start(page, lab)
    answer(page, "light spots on dark")
    wider = screen.evaluate("e => e.scrollWidth - e.clientWidth")
    assert wider <= 1


def test_a_notebook_opened_without_running_shows_the_saved_picture(page, lab):
    open_notebook(page, lab, "identify.ipynb", run=False)
    expect(page.get_by_text("Run this cell to use the controls.").first).to_be_visible()
    expect(page.get_by_text("Nothing answered yet").first).to_be_visible()


# Contrast of the text with the nearest background that is not transparent (WCAG 2.1 relative luminance).
CONTRAST = """
element => {
  const rgb = c => c.match(/[\\d.]+/g).map(Number);
  const lum = ([r, g, b]) => {
    const f = v => { v /= 255; return v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; };
    return 0.2126 * f(r) + 0.7152 * f(g) + 0.0722 * f(b);
  };
  let node = element, back = [255, 255, 255];
  while (node) {
    const c = rgb(getComputedStyle(node).backgroundColor);
    if (c.length < 4 || c[3] > 0) { back = c; break; }
    node = node.parentElement;
  }
  const over = (c, b) => c.length < 4 ? c : c.slice(0, 3).map((v, i) => v * c[3] + b[i] * (1 - c[3]));
  const [a, b] = [lum(over(rgb(getComputedStyle(element).color), back)), lum(back)];
  return (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
}
"""
