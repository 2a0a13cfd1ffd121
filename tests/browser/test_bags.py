"""The box notebook in JupyterLab in a browser, as a keeper uses it; box, seller and fish are invented."""

import pytest
from lab import (
    NARROW,
    choose_in_menu,
    open_notebook,
    press,
    reads_in_both_themes,
    run,
    scrolls_sideways,
    tab_to,
    until_idle,
    until_it_answers,
)
from playwright.sync_api import expect

PHONE = {"width": 390, "height": 2600}


@pytest.fixture(scope="module")
def notebook(page):
    return open_notebook(page, "box.ipynb")


@pytest.fixture(scope="module")
def opened(notebook):
    choose_in_menu(notebook.page, "Run", "Run All Cells")
    screen = notebook.locator(".idk.widget-vbox").first
    screen.wait_for()
    until_idle(notebook.page)
    return screen


def bag(screen, number):
    return screen.locator(".idk-box-list > div").nth(number - 1)


def stands(screen):
    return screen.locator(".idk-stands").first


def test_a_notebook_that_is_not_run_shows_the_box_the_letter_and_the_labels(notebook):
    outputs = notebook.locator(".jp-OutputArea-output")
    expect(outputs.first.locator("table.idk-box-grid")).to_contain_text("Zebra, L46")
    expect(outputs.filter(has_text="Run this cell to use the controls.").first).to_contain_text(
        "does not fit"
    )
    expect(outputs.filter(has_text="Dear Seller 4").first).to_be_visible()
    # JupyterLab takes drawings out of what was not run here; the number stands below the code in words.
    expect(outputs.locator(".idk-card").first).to_contain_text("No. 1")


def test_from_a_label_typed_in_to_a_verdict_and_the_letter_by_keyboard_alone(notebook, opened):
    screen, page = opened, opened.page
    expect(stands(screen)).to_contain_text("4 bags")
    expect(notebook.locator(".idk-card .idk-code svg").first).to_be_visible()
    # From here on the mouse and the script touch nothing: the keys go where the focus is.
    screen.get_by_label("Label", exact=True).focus()
    page.keyboard.type("Zebra L46, second bag")
    tab_to(page, "Add this bag")
    page.keyboard.press("Enter")
    expect(stands(screen)).to_contain_text("5 bags")
    expect(screen.get_by_label("Label", exact=True)).to_be_focused()
    expect(bag(screen, 5)).to_contain_text("can't be told")
    tab_to(page, "Look at bag 5")
    page.keyboard.press("Enter")
    question = screen.locator(".idk-asking h3")
    expect(question).to_have_text("What is the main pattern on the side of the body?")
    tab_to(page, "light spots on dark")
    until_it_answers(screen)
    page.keyboard.press("Enter")
    expect(bag(screen, 5)).to_contain_text("pattern: light spots on dark")
    expect(question).not_to_have_text("What is the main pattern on the side of the body?")
    for feature, words in (
        ("Teeth", "many, fine, brush-like"),
        ("Tail fin edge", "straight or cut obliquely"),
    ):
        screen.get_by_label("Answer another feature").select_option(label=feature)
        press(screen.locator(".idk-states"), words)
        expect(bag(screen, 5)).to_contain_text(words)
    expect(bag(screen, 5)).to_contain_text("does not fit")
    press(screen, "Summary and letter")
    expect(screen.get_by_role("heading", name="Bag 5, labelled")).to_be_visible()
    press(screen, "Close: summary and letter")


def test_the_box_is_kept_and_what_can_not_be_kept_is_said_with_everything_still_there(opened):
    screen = opened
    screen.get_by_label("Day", exact=True).fill("20.11.2026")
    press(screen, "Keep this box")
    expect(screen.get_by_role("alert")).to_contain_text("write the day as 2026-05-31")
    expect(screen.get_by_label("Day", exact=True)).to_have_value("20.11.2026")
    # While the kernel is at it, the next day would be sent after the press and not before.
    until_idle(screen.page)
    screen.get_by_label("Day", exact=True).fill("2026-11-20")
    screen.page.keyboard.press("Tab")
    # It goes with the day that it was about, and what stands below it moves up.
    expect(screen.get_by_role("alert")).to_have_count(0)
    # The notebook's last cell has closed the book.
    press(screen, "Keep this box")
    expect(screen.get_by_role("alert")).to_contain_text("the book was closed")
    expect(bag(screen, 5)).to_contain_text("Zebra L46, second bag")


def test_text_can_be_read_in_both_themes_and_on_a_phone_nothing_scrolls_sideways(opened):
    screen, page = opened, opened.page
    press(screen, "Look at bag 1")
    texts = (".idk-outcome", ".idk-box-line p", ".idk-box-line .idk-soft", ".idk-tag", "button.idk-answer")
    reads_in_both_themes(screen, *texts)
    for size in (NARROW, PHONE):
        page.set_viewport_size(size)
        until_idle(page)
        assert not scrolls_sideways(screen)


def kept(screen):
    """The step with the book that is open."""
    return screen.locator(".idk-keeping").locator("visible=true")


def test_a_fish_is_kept_from_the_identify_screen_and_opened_again_after_the_cell_is_run_anew(scratch):
    code = 'import idkey\nidkey.identify(answers={"pattern": "light_spots"}, book="room.sqlite")'
    number = scratch.locator(".jp-CodeCell").count() - 1
    screen = run(scratch, number, code)
    press(screen, "Keep this fish")
    expect(kept(screen)).to_contain_text("room.sqlite: 0 boxes")
    screen.get_by_label("Tank", exact=True).fill("rack <b>3</b>")
    kept(screen).get_by_role("button", name="Keep this fish").click()
    expect(kept(screen)).to_contain_text("Kept as No. 1")
    # Run anew the screen knows nothing of the fish, but the book does.
    again = run(scratch, number)
    press(again, "Open a fish again")
    expect(kept(again)).to_contain_text("1 fish")
    expect(again.get_by_label("Fish", exact=True)).to_contain_text("tank rack <b>3</b>")
    # The answers that the cell begins with are in no book, so leaving them is asked twice.
    press(again, "Open it")
    expect(again.get_by_role("alert").locator("visible=true")).to_contain_text("not in the book yet")
    press(again, "Open it")
    expect(kept(again)).to_contain_text("No. 1 again")
    expect(again.locator(".idk-seen")).to_contain_text("Pattern: light spots on dark")
