"""The identify notebook in JupyterLab, in a real browser, as a keeper uses it.

The fish are the holotypes of Hypancistrus phantasma and H. margaritatus as their authors describe them (Tan &
Armbruster 2016, ZooKeys 552:123-135, p.124-127, doi 10.3897/zookeys.552.5956).
"""

import pytest
from lab import (
    NARROW,
    answer,
    choose,
    choose_in_menu,
    open_notebook,
    press,
    reads_in_both_themes,
    scrolls_sideways,
    show,
    tab_to,
    until_idle,
    until_it_answers,
)
from playwright.sync_api import expect

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


NAME = "details.idk-name"


@pytest.fixture(scope="module")
def notebook(page):
    return open_notebook(page, "identify.ipynb")


@pytest.fixture(scope="module")
def opened(notebook):
    choose_in_menu(notebook.page, "Run", "Run All Cells")
    return notebook.locator(".idk.widget-vbox").first


@pytest.fixture
def screen(opened):
    start_again(opened)
    return opened


def start_again(screen):
    press(screen.locator(".idk-tools"), "Start again")
    expect(screen.locator(".idk-stands")).to_contain_text("Nothing answered yet")
    expect(screen.locator("h3").first).to_have_text("What is the main pattern on the side of the body?")


def ask(screen, feature):
    screen.locator(".idk-tools").get_by_label("Answer another feature").select_option(label=feature)


def test_a_notebook_that_is_not_run_shows_the_saved_picture(notebook):
    picture = notebook.locator(".jp-OutputArea-output").first
    for words in ("Run this cell to use the controls.", "Nothing answered yet"):
        expect(picture.get_by_text(words).first).to_be_visible()


def test_a_published_fish_is_named_with_its_care_and_nothing_that_is_pressed_moves(screen):
    stood = where(screen)
    for feature in ("Teeth", "Length", "Keels on the body"):
        ask(screen, feature)
        until_idle(screen.page)
        assert where(screen) == stood, feature
    for feature, words in PHANTASMA.items():
        ask(screen, feature)
        answer(screen, words)
        until_idle(screen.page)
        assert where(screen) == stood, feature
    first = screen.locator(NAME).first
    expect(first).to_contain_text("Hypancistrus phantasma")
    first.locator("summary").first.click()
    expect(first).to_contain_text("Speaks for it")
    first.get_by_text("Care sheet").click()
    expect(first.locator("table").first).to_contain_text("Temperature")
    press(screen.locator(".idk-tools"), "Undo")
    expect(screen.locator(".idk-seen")).not_to_contain_text("River")
    start_again(screen)
    answer(screen, "light spots on dark")
    press(screen, "Side by side")
    expect(screen.get_by_role("button", name="Hide: side by side")).to_be_visible()
    expect(screen.locator("caption", has_text="What differs")).to_be_visible()
    press(screen, "Hide: side by side")


def test_a_double_click_answers_once_and_what_is_open_stays_open_in_view(screen):
    screen.get_by_role("button", name="light spots on dark").dblclick()
    expect(screen.locator("h3").first).to_be_focused()
    until_idle(screen.page)
    expect(screen.locator(".idk-seen button")).to_have_count(1)
    screen.locator(NAME).nth(1).locator("summary").first.click()
    press(screen, "Side by side")
    expect(screen.locator(".idk-way-head:visible h3")).to_be_in_viewport()
    ask(screen, "Spot size")
    answer(screen, "medium")
    until_idle(screen.page)
    expect(screen.locator(f"{NAME}[open]")).to_have_count(1)
    expect(screen.locator(".idk-way:visible")).to_have_count(1)
    press(screen, "Hide: side by side")


def test_by_keyboard_alone_to_a_published_name(screen):
    page, cells = screen.page, screen.page.locator(".jp-NotebookPanel:not(.lm-mod-hidden) .jp-Cell")
    stood = cells.count()
    # From here on the mouse and the script touch nothing: the keys go where the focus is.
    screen.get_by_role("button", name="Start again", exact=True).focus()
    for count, (feature, words) in enumerate(MARGARITATUS.items()):
        # After an answer the focus is on the next question, which stands after the menu. What is typed there
        # is no command for the cells of the notebook.
        for key in ("x", "d", "d", "a", "z", "ArrowDown", "Shift+Enter") if count else ():
            page.keyboard.press(key)
        tab_to(page, "Answer another feature", backwards=count > 0)
        choose(page, feature)
        expect(screen.locator(".idk-states").get_by_role("button", name=words, exact=True)).to_be_visible()
        tab_to(page, words)
        until_it_answers(screen)
        page.keyboard.press("Enter")
        expect(screen.locator(".idk-seen")).to_contain_text(f"{feature}: {words}")
    until_idle(page)
    assert cells.count() == stood
    first = screen.locator(NAME).first
    expect(first).to_contain_text("Hypancistrus margaritatus")
    tab_to(page, "SUMMARY")
    page.keyboard.press("Enter")
    expect(screen.locator(f"{NAME}[open]").first).to_contain_text("Speaks for it")
    expect(first.get_by_text("Care sheet")).to_be_visible()


def test_a_click_on_a_drawing_answers_and_enter_takes_inches(screen):
    drawing = screen.locator(".idk-drawing svg").first.bounding_box()
    until_it_answers(screen)
    screen.page.mouse.click(drawing["x"] + drawing["width"] / 2, drawing["y"] + drawing["height"] / 2)
    seen = screen.locator(".idk-seen")
    expect(seen).to_contain_text("Pattern: light spots on dark")
    ask(screen, "Length")
    length = screen.locator(".idk-asking").get_by_label("Length (mm)")
    until_it_answers(screen)
    length.fill("2.5 in")
    expect(screen.locator(".idk-asking")).to_contain_text("read as 64 mm")
    length.press("Enter")
    expect(seen).to_contain_text("Length: 64 mm")


def test_by_keyboard_one_of_several_is_said_to_be_more_like_it(screen):
    ask(screen, "Spot size")
    page, menu = screen.page, screen.get_by_label("More like this one")
    expect(menu).to_be_hidden()
    screen.get_by_label("Not sure: let me pick several").focus()
    page.keyboard.press("Space")
    press(screen.locator(".idk-states"), "small")
    expect(screen.get_by_role("button", name="\u2713 small")).to_be_visible()
    menu.focus()
    choose(page, "medium")
    # What is leant to is picked.
    expect(screen.get_by_role("button", name="\u2713 medium")).to_be_visible()
    page.set_viewport_size(NARROW)
    assert not scrolls_sideways(screen)
    tab_to(page, "Take this answer")
    page.keyboard.press("Enter")
    expect(screen.locator(".idk-seen")).to_contain_text("Spot size: small (25 %) or medium (75 %)")
    expect(menu).to_be_hidden()


def test_text_can_be_read_in_both_themes_in_a_narrow_window_and_when_opened_again(screen):
    page = screen.page
    answer(screen, "light spots on dark")
    texts = ("h3", ".idk-outcome", f"{NAME} summary", ".idk-soft", "button.idk-answer")
    reads_in_both_themes(screen, *texts)
    page.set_viewport_size(NARROW)
    ask(screen, "Spot size")
    answer(screen, "medium")
    assert not scrolls_sideways(screen)
    # Saved, closed and opened again, it goes on where it stood.
    until_idle(page)
    page.keyboard.press("Control+S")
    expect(page.locator(".lm-TabBar-tab.jp-mod-dirty", has_text="identify.ipynb")).to_have_count(0)
    choose_in_menu(page, "File", "Close Tab")
    expect(page.locator(".lm-TabBar-tab", has_text="identify.ipynb")).to_have_count(0)
    again = open_notebook(page, "identify.ipynb").locator(".idk.widget-vbox").first
    expect(again.locator(".idk-seen")).to_contain_text("medium")
    start_again(again)


def where(screen):
    """Where the buttons and the list of names stand, in pixels."""
    tools, names = screen.locator(".idk-tools"), ("Undo", "Start again")
    things = [tools.get_by_role("button", name=name, exact=True) for name in names]
    things.append(tools.get_by_label("Answer another feature"))
    things.append(screen.get_by_role("heading", name="Names still possible"))
    return [(box["x"], box["y"]) for box in (thing.bounding_box() for thing in things)]


def test_on_a_computer_too_slow_for_anywidget_the_keyboard_still_goes_to_the_question(scratch):
    # After two seconds it gives a widget up: here at once.
    at_once = "AbortSignal.timeout = () => timeout.call(AbortSignal, 0);"
    scratch.page.evaluate(f"() => {{ window.timeout = AbortSignal.timeout; {at_once} }}")
    screen = show(scratch, "import idkey\nidkey.identify()")
    answer(screen, "light spots on dark")
    expect(screen.locator("h3").first).to_be_focused()
    scratch.page.evaluate("() => { AbortSignal.timeout = window.timeout; }")
