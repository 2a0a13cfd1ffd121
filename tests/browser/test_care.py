"""The care notebook in JupyterLab in a browser, as a keeper uses it; the fish and tanks are invented."""

import pytest
from lab import NARROW, choose, open_notebook, press, reads_in_both_themes, run, scrolls_sideways, tab_to
from playwright.sync_api import expect


@pytest.fixture(scope="module")
def opened(page):
    notebook = open_notebook(page, "care_check.ipynb")
    run(notebook, 0)
    return run(notebook, 1)


@pytest.fixture
def screen(opened):
    opened.get_by_label("Kind of fish").select_option(index=0)
    opened.get_by_label("Tank", exact=True).select_option(label="Rapids")
    expect(verdict(opened)).to_contain_text("Fails")
    return opened


def verdict(screen):
    return screen.get_by_role("status").first


def test_after_the_identification_its_care_and_a_tank_that_fails_reads_as_failing(screen):
    expect(screen.locator("table.idk-care-grid").first).to_contain_text("Leporacanthicus sp.")
    expect(screen.locator("table.idk-care-grid").first).to_contain_text("Temperature")
    expect(verdict(screen)).to_contain_text("Fails: volume")
    row = screen.locator("table.idk-tank-grid").first.locator("tbody tr").first
    for words in ("Volume", "fails", "too little"):
        expect(row).to_contain_text(words)
    # The room, ranked: the tank that fails is not the first.
    expect(screen.locator("table.idk-tank-room tbody tr").first).to_contain_text("Large show")


def test_by_keyboard_alone_to_a_tank_that_fails_and_one_typed_in(screen):
    page = screen.page
    # From here on the mouse and the script touch nothing: the keys go where the focus is.
    screen.get_by_label("Kind of fish").focus()
    choose(page, "Hypancistrus zebra (L046, L098)")
    expect(screen.locator("h3").first).to_contain_text("Rapids for Hypancistrus zebra")
    tab_to(page, "Tank")
    choose(page, "Window")
    expect(verdict(screen)).to_contain_text("too cool")
    tab_to(page, "Change its measures")
    page.keyboard.press("Enter")
    expect(screen.get_by_label("Temperature (\u00b0C)")).to_be_visible()
    tab_to(page, "Temperature (\u00b0C)")
    page.keyboard.press("Control+A")
    page.keyboard.type("27.5")
    page.keyboard.press("Enter")
    expect(verdict(screen)).not_to_contain_text("too cool")
    expect(screen.get_by_text("With measures changed here")).to_be_visible()
    tab_to(page, "Back to the tank as listed", backwards=True)
    page.keyboard.press("Enter")
    expect(verdict(screen)).to_contain_text("too cool")
    expect(screen.get_by_role("button", name="Hide its measures")).to_be_focused()
    tab_to(page, "Tank", backwards=True)
    choose(page, "a tank I type in")
    expect(verdict(screen)).to_contain_text("length, width and height")
    size = {"Length (cm)": "30", "Width, front to back (cm)": "20", "Height (cm)": "20"}
    for label, text in {**size, "pH": "65"}.items():
        tab_to(page, label)
        page.keyboard.type(text)
    page.keyboard.press("Enter")
    expect(screen.get_by_role("alert")).to_contain_text("65")
    expect(screen.get_by_label("Length (cm)")).to_have_value("30")
    page.keyboard.press("Control+A")
    page.keyboard.type("6.5")
    page.keyboard.press("Enter")
    expect(screen.get_by_role("alert")).to_have_count(0)
    expect(verdict(screen)).to_contain_text("Fails")


def test_text_can_be_read_in_both_themes_and_a_narrow_window_needs_no_sideways_scroll(screen):
    cells = ("table.idk-tank-grid td", "table.idk-care-grid td")
    reads_in_both_themes(screen, ".idk-outcome", ".idk-tag", *cells, "summary", "select")
    screen.page.set_viewport_size(NARROW)
    press(screen, "Change its measures")
    expect(screen.get_by_label("pH")).to_be_visible()
    assert not scrolls_sideways(screen)
