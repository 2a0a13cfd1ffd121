"""From an unopened box to a kept fish with two names left and a tank checked; all but the fish is invented.

The same way by mouse, by touch and by keys alone, at the widths of a desk, a phone and a half window, which
is also a desk at 200 % zoom. The answers are those of the holotype of Hypancistrus phantasma (Tan &
Armbruster 2016, ZooKeys 552:124-127).
"""

import pytest
from lab import CONTRAST, choose, choose_in_menu, scrolls_sideways, show, until_idle, until_it_answers
from playwright.sync_api import expect

SEEN = {
    "Pattern": "dark spots on pale",
    "Fin edging": "dark or black",
    "Tail fin edge": "shallow hollow",
    "River, if the seller says": "Negro (Branco and Uaupes included)",
}
TEXTS = "p, li, th, td, h3, h4, summary, label, select, button:enabled, strong, span:not([aria-hidden])"
PRESSED = "button, select, summary, input"
# What moves, as the Layout Instability draft counts it, but after a press, too.
SHIFTS = """
() => {
  window.moved = 0;
  new PerformanceObserver(list => {
    for (const e of list.getEntries()) window.moved += e.value;
  }).observe({ type: "layout-shift" });
}
"""
SMALL = """
(screen, pressed) => [...screen.querySelectorAll(pressed)].filter(e => e.checkVisibility()).map(e => {
  const box = (e.matches("input:not([type=text])") ? e.closest("label") ?? e : e).getBoundingClientRect();
  return [box.width, box.height, e.innerText || e.labels?.[0]?.innerText || e.outerHTML];
}).filter(([wide, tall]) => Math.min(wide, tall) < 43.9)
"""


def by_mouse(thing):
    thing.click()


def by_touch(thing):
    thing.tap()


def by_keys(thing):
    reach(thing)
    thing.page.keyboard.press("Enter")


def reach(thing):
    """Press Tab, or Shift and Tab where it stands before, until the keyboard is on it."""
    before = thing.evaluate("e => e.compareDocumentPosition(document.activeElement) & 4")
    for _ in range(150):
        if thing.evaluate("e => e === document.activeElement"):
            return
        thing.page.keyboard.press("Shift+Tab" if before else "Tab")
    raise AssertionError(f"the keyboard does not come to {thing}")


@pytest.fixture
def at(page, request):
    """A window of a width, with a theme, and the list of files shut."""
    width, theme = request.param
    choose_in_menu(page, "Settings", "Theme", f"JupyterLab {theme}")
    page.keyboard.press("Control+B")
    page.set_viewport_size({"width": width, "height": 900})
    yield width
    page.set_viewport_size({"width": 1400, "height": 900})
    page.keyboard.press("Control+B")
    choose_in_menu(page, "Settings", "Theme", "JupyterLab Light")


@pytest.mark.parametrize(
    ("at", "press"),
    [((1400, "Dark"), by_mouse), ((390, "Light"), by_touch), ((700, "Dark"), by_keys)],
    indirect=["at"],
)
def test_from_an_unopened_box_to_a_kept_fish_with_two_names_left_and_a_tank_checked(scratch, at, press):
    page, file = scratch.page, f"{press.__name__}.sqlite"

    def button(part, words):
        return part.get_by_role("button", name=words, exact=True).locator("visible=true").first

    def fill(field, text):
        reach(field) if press is by_keys else press(field)
        page.keyboard.type(text)

    def select(field, option):
        reach(field) if press is by_keys else field.focus()
        choose(page, field.locator("option", has_text=option).get_attribute("value"))

    box = show(scratch, f'import idkey\nidkey.box_view(book="{file}")')
    # The keyboard is put into each screen once; from there the keys alone go on.
    box.get_by_label("Seller").focus()
    fill(box.get_by_label("Seller"), "seller 4")
    fill(box.get_by_label("Label", exact=True), "L201 <b>")
    press(button(box, "Add this bag"))
    expect(box.locator(".idk-stands").first).to_contain_text("1 bag")
    press(button(box, "Keep this box"))
    expect(box).to_contain_text("1 box")
    looks_right(box, at)

    screen = show(scratch, f'idkey.identify(book="{file}", room="fish_room.csv")')
    screen.get_by_label("Answer another feature").focus()
    page.evaluate(SHIFTS)
    for feature, words in SEEN.items():
        select(screen.get_by_label("Answer another feature"), feature)
        state = button(screen.locator(".idk-states"), words)
        expect(state).to_be_visible()
        until_it_answers(screen)
        page.evaluate("window.moved = 0")
        press(state)
        expect(screen.locator(".idk-seen")).to_contain_text(f"{feature}: {words}")
        until_idle(page)
        # Where it is narrow one thing stands below the other and gives way to the next question.
        assert at < 1400 or page.evaluate("window.moved") < 0.05, feature
    stands = screen.locator(".idk-stands")
    expect(stands).to_contain_text("2 names still possible, likeliest Hypancistrus phantasma")
    if at == 390:
        # The first three names are in sight wherever the page stands.
        expect(stands).to_contain_text("Then Pseudolithoxus dumus")
        screen.locator(".idk-names").evaluate("e => e.scrollIntoView({ block: 'start' })")
        expect(stands).to_be_in_viewport()
    press(button(screen, "Check a tank"))
    tank = screen.locator(".idk-way").locator("visible=true")
    # What was opened has the keyboard and is in view, not below the fold.
    expect(button(tank, "Back to the question")).to_be_focused()
    assert 0 < button(tank, "Back to the question").bounding_box()["y"] < 450
    expect(tank).to_contain_text("Rapids for")
    looks_right(screen, at)
    press(button(tank, "Keep this fish \u2192"))
    kept = screen.locator(".idk-keeping").locator("visible=true")
    expect(kept.get_by_label("Tank", exact=True)).to_have_value("Rapids")
    select(kept.get_by_label("Bag", exact=True), "box 1, bag 1: L201 <b>")
    press(button(kept, "Keep this fish"))
    # It goes on under the number that it got with the bag, as the box came.
    expect(kept).to_contain_text(
        "No. 1, the fish of this bag: what was seen now and where it went is in the book."
    )
    looks_right(screen, at)
    # All of it is still open after one more answer.
    press(button(screen, "Can't see it"))
    until_idle(page)
    expect(screen.locator(".idk-way").locator("visible=true")).to_have_count(2)


def looks_right(screen, width):
    """Texts stand out, nothing scrolls sideways, and on a phone what is pressed is large enough."""
    assert screen.evaluate(CONTRAST, TEXTS) >= 4.5
    assert not scrolls_sideways(screen)
    if width == 390:
        assert not screen.evaluate(SMALL, PRESSED)
