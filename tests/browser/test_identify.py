"""The identify notebook in JupyterLab, in a real browser, as a keeper uses it.

The fish are the holotypes of Hypancistrus phantasma and H. margaritatus as their authors describe them (Tan &
Armbruster 2016, ZooKeys 552:123-135, p.124-127, doi 10.3897/zookeys.552.5956).
"""

import re
import shutil

import pytest
from lab import (
    NOTEBOOKS,
    SCREEN,
    answer,
    choose,
    open_notebook,
    opened_once,
    reads_in_both_themes,
    scrolls_sideways,
    tab_to,
    until_idle,
)
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
MARGARITATUS = {
    "Tail fin edge": "shallow hollow",
    "Spots against nostril": "about as wide",
    "Spots on the head": "the same size",
    "Spot spacing": "many, close together",
    "Spot colour": "cream to golden yellow",
    "Dorsal fin against adipose fin": "reaches the small fin or the plate before it",
    "River, if the seller says": "Negro (Branco and Uaupes included)",
}


@pytest.fixture(scope="module")
def opened(chromium, lab):
    with opened_once(chromium, lab, "identify.ipynb", "h3") as page:
        yield page


@pytest.fixture
def screen(opened):
    opened.set_viewport_size({"width": 1600, "height": 2000})
    screen = opened.locator(SCREEN).first
    start_again(screen)
    return screen


def start_again(screen):
    screen.get_by_role("button", name="Start again", exact=True).click()
    expect(screen.locator(".idk-stands")).to_contain_text("Nothing answered yet")
    expect(screen.locator("h3").first).to_contain_text("main pattern")


def test_a_published_fish_is_named_and_its_care_and_a_comparison_are_opened(screen):
    page = screen.page
    expect(screen.locator("h3").first).to_have_text("What is the main pattern on the side of the body?")
    for feature, words in PHANTASMA.items():
        if feature != "Pattern":
            screen.get_by_label("Answer another feature").select_option(label=feature)
        answer(page, words)
    first = screen.locator("details.idk-name").first
    expect(first).to_contain_text("Hypancistrus phantasma")
    expect(first.get_by_text("Care sheet")).to_be_attached()
    first.locator("summary").first.click()
    expect(first).to_contain_text("Speaks for it")
    first.get_by_text("Care sheet").click()
    expect(first.locator("table")).to_contain_text("Temperature")
    screen.get_by_role("button", name="Undo", exact=True).click()
    expect(screen.get_by_role("button", name=re.compile("^Change river"))).to_have_count(0)
    start_again(screen)
    answer(page, "light spots on dark")
    screen.get_by_role("button", name="Compare the first two", exact=True).click()
    expect(screen.get_by_role("button", name="Hide the comparison")).to_be_visible()
    expect(screen.locator("table.idk-cmp").first).to_be_visible()


def test_by_keyboard_alone_to_a_published_name(screen):
    page = screen.page
    # From here on the mouse and the script touch nothing: the keys go where the focus is.
    screen.get_by_role("button", name="Can't see it", exact=True).focus()
    page.keyboard.press("Enter")
    expect(screen.get_by_text("Pattern: can't be seen")).to_be_visible()
    for count, (feature, words) in enumerate(MARGARITATUS.items()):
        # After an answer the focus is on the next question, which stands after the menu.
        tab_to(page, "Answer another feature", backwards=count > 0)
        choose(page, feature)
        expect(screen.get_by_role("button", name=words, exact=True)).to_be_visible()
        tab_to(page, words)
        page.keyboard.press("Enter")
        expect(screen.get_by_text(f"{feature}: {words}")).to_be_visible()
    until_idle(page)
    expect(screen.locator("details.idk-name").first).to_contain_text("Hypancistrus margaritatus")
    expect(screen.locator("details.idk-name").first.get_by_text("Care sheet")).to_be_attached()
    tab_to(page, "SUMMARY")
    page.keyboard.press("Enter")
    expect(screen.locator("details.idk-name[open]").first).to_contain_text("Speaks for it")


def test_nothing_that_is_pressed_moves_when_an_answer_arrives(screen):
    page = screen.page
    first = where(screen)
    answer(page, "light spots on dark")
    assert where(screen) == first
    for feature in ("Teeth", "Length", "River, if the seller says", "Keels on the body"):
        screen.get_by_label("Answer another feature").select_option(label=feature)
        until_idle(page)
        assert where(screen) == first, feature
    answer(page, "none or weak")
    assert where(screen) == first


def test_a_click_on_a_drawing_answers_and_enter_takes_inches(screen):
    drawing = screen.locator(".idk-drawing svg").first.bounding_box()
    screen.page.mouse.click(drawing["x"] + drawing["width"] / 2, drawing["y"] + drawing["height"] / 2)
    expect(screen.get_by_text("Pattern: light spots on dark")).to_be_visible()
    screen.get_by_label("Answer another feature").select_option(label="Length")
    screen.get_by_label("Length (mm)").fill("2.5 in")
    expect(screen.get_by_text("read as 64 mm")).to_be_visible()
    screen.get_by_label("Length (mm)").press("Enter")
    expect(screen.get_by_text("Length: 64 mm")).to_be_visible()


def test_a_narrow_window_needs_no_sideways_scroll(screen):
    page = screen.page
    page.set_viewport_size({"width": 700, "height": 2200})
    answer(page, "light spots on dark")
    assert not scrolls_sideways(screen)


def test_a_notebook_opened_without_running_shows_the_saved_picture(page, lab):
    # A copy of its own: JupyterLab saves what the other tests have run.
    shutil.copy(NOTEBOOKS / "identify.ipynb", lab.root / "as_saved.ipynb")
    open_notebook(page, lab, "as_saved.ipynb", run=False)
    expect(page.get_by_text("Run this cell to use the controls.").first).to_be_visible()
    expect(page.get_by_text("Nothing answered yet").first).to_be_visible()


def test_text_can_be_read_in_both_themes_and_the_page_loaded_again(screen):
    page = screen.page
    answer(page, "light spots on dark")
    name = "details.idk-name summary"
    reads_in_both_themes(screen, "h3", ".idk-outcome", name, ".idk-soft", "button.idk-answer")
    answer(page, "medium")
    page.reload()
    page.locator(".jp-Notebook").first.wait_for()
    expect(page.locator(".idk-outcome").first).to_be_visible()


def where(screen):
    """Where the buttons and the list of names stand, in pixels."""
    names = ("Can't see it", "Undo", "Start again")
    things = [screen.get_by_role("button", name=name, exact=True) for name in names]
    things.append(screen.get_by_label("Answer another feature"))
    things.append(screen.get_by_role("heading", name="Names still possible"))
    return [(box["x"], box["y"]) for box in (thing.bounding_box() for thing in things)]
