"""The table editor in JupyterLab in a browser; the kinds added are invented."""

import pytest
from lab import (
    EVIL,
    NARROW,
    press,
    reads_in_both_themes,
    says,
    scrolls_sideways,
    show,
    tab_to,
    until_idle,
)
from playwright.sync_api import expect

import idkey


@pytest.fixture(scope="module")
def screen(scratch):
    return show(scratch, "import idkey; idkey.table_editor(folder='own_kinds')")


def test_circles_stand_beside_their_words_and_arrows_have_the_colour_of_theirs(screen):
    head = screen.get_by_text("Look at", exact=True).bounding_box()
    for words in ("one kind as a form", "all kinds as a sheet"):
        circle = screen.get_by_role("radio", name=words).bounding_box()
        assert abs(head["y"] + head["height"] / 2 - circle["y"] - circle["height"] / 2) < 6, words
    chosen = "s => [getComputedStyle(s).backgroundImage, getComputedStyle(s).color]"
    arrow, colour = screen.get_by_label("Kind of fish").evaluate(chosen)
    assert colour in arrow


def test_by_mouse_a_kind_is_added_told_at_once_and_saved(screen, lab):
    press(screen, "Add a kind")
    screen.get_by_label("Scientific name").fill("Testia sp.")
    screen.get_by_label("Trade code").fill("L999")
    screen.get_by_label("Trade code").press("Tab")
    expect(screen.get_by_label("Id in the table")).to_have_value("testia_l999")
    screen.get_by_label("Care group").select_option(label="hypancistrus")
    press(screen, "Add this kind")
    kind = screen.get_by_label("Kind of fish").locator("option:checked")
    expect(kind).to_have_text("Testia sp. (L999), new")
    for trait, state in (
        ("Change tail fin edge", "tips drawn out into streamers"),
        ("Change fin edging", "no edging"),
        ("Change mouth", "very wide, almost as wide as the head"),
    ):
        press(screen, trait)
        press(screen, state)
        expect(screen.get_by_role("button", name=f"\u2713 {state}")).to_be_visible()
    says(screen, "can't be told from Acanthicus adonis")
    press(screen, "Give a source")
    screen.get_by_label("Source", exact=True).select_option(index=2)
    screen.get_by_label("Page or table").fill("p. 3")
    press(screen, "Put it behind this cell")
    says(screen, "given now, not saved")
    # A trait of one's own settles it.
    press(screen, "Add a trait")
    screen.get_by_label("Short name").fill("Cheek patch")
    screen.get_by_label("Question").fill("Is there a pale patch on the cheek?")
    screen.get_by_label("States, one a line").fill("no patch\na pale patch")
    press(screen, "Add this trait")
    press(screen, "a pale patch")
    expect(screen.get_by_role("button", name="\u2713 a pale patch")).to_be_visible()
    # A cell of a kind that is there already, taken over from its genus so far.
    screen.get_by_label("Kind of fish").select_option(label="Hypancistrus zebra (L046, L098)")
    press(screen, "Change tail fin edge")
    press(screen, "clearly forked")
    expect(screen.locator(".idk-edit-line", has_text="Tail fin edge")).to_contain_text("changed, was")
    expect(screen.locator(".idk-edit-head")).to_contain_text("changed in 2 kinds")
    press(screen, "Check")
    says(screen, "In the key")
    press(screen, "Save")
    says(screen, "Saved to")
    expect(screen.locator(".idk-edit-head")).to_contain_text("Nothing is changed")
    table = idkey.load_table(lab.root / "own_kinds")
    assert table.cell("testia_l999", "tail_fork").names == ("streamers",)
    assert list(table.claims("testia_l999", "mouth_shape")["locator"]) == ["p. 3"]
    assert table.cell("testia_l999", "cheek_patch").names == ("a_pale_patch",)
    assert table.cell("hypancistrus_zebra", "tail_fork").names == ("forked",)


def test_by_keyboard_alone_a_kind_is_added_and_saved(screen, lab):
    page = screen.page
    # From here on the mouse and the script touch nothing: the keys go where the focus is.
    screen.get_by_label("Kind of fish").focus()
    tab_to(page, "Add a kind")
    page.keyboard.press("Enter")
    expect(screen.get_by_label("Scientific name")).to_be_focused()
    page.keyboard.type("Testia nova")
    tab_to(page, "Add this kind")
    expect(screen.get_by_label("Id in the table")).to_have_value("testia_nova")
    page.keyboard.press("Enter")
    expect(screen.get_by_label("Longest known (mm)")).to_be_focused()
    page.keyboard.type("6 in")
    tab_to(page, "Next trait")
    expect(screen.locator(".idk-edit-line", has_text="up to 152 mm")).to_be_visible()
    page.keyboard.press("Enter")
    tab_to(page, "clearly forked")
    page.keyboard.press("Enter")
    expect(screen.get_by_role("button", name="\u2713 clearly forked")).to_be_focused()
    tab_to(page, "Done")
    page.keyboard.press("Enter")
    expect(screen.get_by_role("button", name="Change tail fin edge")).to_be_focused()
    tab_to(page, "Change fin edging")
    page.keyboard.press("Enter")
    # The cell stands under its line, and Tab goes through it before the next line.
    tab_to(page, "Done")
    page.keyboard.press("Tab")
    expect(screen.get_by_role("button", name="Change spot size")).to_be_focused()
    tab_to(page, "Save", backwards=True)
    page.keyboard.press("Enter")
    says(screen, "Saved to")
    table = idkey.load_table(lab.root / "own_kinds")
    assert table.cell("testia_nova", "adult_size").high == 152
    assert table.cell("testia_nova", "tail_fork").names == ("forked",)


def test_markup_that_is_typed_is_text(screen):
    page = screen.page
    screen.get_by_label("Show").select_option(label="names and care group")
    press(screen, "Change scientific name")
    cell = screen.get_by_label("Write it")
    # What is typed before the cell has opened goes when it does.
    expect(cell).to_have_value("Testia nova")
    cell.fill(EVIL)
    cell.press("Enter")
    expect(screen.locator(".idk-edit-head")).to_contain_text("not saved")
    screen.get_by_role("radio", name="all kinds as a sheet").click()
    expect(screen.locator(".idk-edit-sheet")).to_contain_text("<script>window.ran=1</script>")
    screen.get_by_label("Column").select_option(label="Tail fin edge")
    expect(cell).to_have_value("forked")
    cell.fill(EVIL)
    cell.press("Enter")
    expect(screen.locator(".idk-tag-loud").first).to_contain_text("To mend")
    press(screen, "Check")
    says(screen, "to mend before this can be checked")
    until_idle(page)
    assert screen.locator("img, script").count() == 0
    assert page.evaluate("window.ran") is None


def test_text_can_be_read_in_both_themes_and_a_narrow_window_is_enough(screen):
    tags = (".idk-tag-mark", ".idk-tag-loud", ".idk-soft")
    reads_in_both_themes(screen, ".idk-outcome", ".idk-edit-sheet th", ".idk-edit-sheet td", *tags)
    screen.page.set_viewport_size(NARROW)
    assert not scrolls_sideways(screen)
    screen.get_by_role("radio", name="one kind as a form").click()
    screen.get_by_label("Show").select_option(label="all traits")
    press(screen, "Change tail fin edge")
    expect(screen.get_by_label("Write it")).to_be_visible()
    assert not scrolls_sideways(screen)
    press(screen, "Undo all changes")
    press(screen, "Yes, undo all of it")
    expect(screen.locator(".idk-edit-head")).to_contain_text("Nothing is changed")
