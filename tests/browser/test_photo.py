"""Measuring on a photo in JupyterLab, in a real browser: points by mouse, by touch and by keys.

The picture has 12 megapixels; its fish is drawn, so that the places of its points and spots are known.
"""

import re

import pytest
from lab import (
    NARROW,
    press,
    reads_in_both_themes,
    scrolls_sideways,
    show,
    tab_to,
    until_idle,
)
from plain_fish import POINTS, SIZE, SPOTS, draw
from playwright.sync_api import expect

from idkey.photo.points import KINDS

SCALE = 3.55
FULL = tuple(round(side * SCALE) for side in SIZE)


@pytest.fixture(scope="module")
def screen(scratch, lab):
    draw().resize(FULL).save(lab.root / "fish.jpg", quality=90)
    screen = show(scratch, "import idkey; view = idkey.photo_view('fish.jpg'); view")
    screen.locator(".idk-photo-view").wait_for()
    return screen


@pytest.fixture
def view(screen):
    """The picture, whole, with no point set."""
    undo = screen.get_by_role("button", name="Undo", exact=True)
    while undo.is_enabled():
        # By the page itself, which does nothing where it was disabled meanwhile.
        undo.evaluate("button => button.click()")
        until_idle(screen.page)
    press(screen, "Whole picture")
    view = screen.locator(".idk-photo-view")
    expect(view.locator(".idk-photo-point")).to_have_count(0)
    view.scroll_into_view_if_needed()
    return view


def on_screen(view, at):
    """Where a place of the small picture lies in the window, while the whole of it is shown."""
    box = view.bounding_box()
    share = min(box["width"] / SIZE[0], box["height"] / SIZE[1])
    left, top = (box["width"] - share * SIZE[0]) / 2, (box["height"] - share * SIZE[1]) / 2
    return box["x"] + left + share * at[0], box["y"] + top + share * at[1]


def point(view, label):
    return view.locator(f".idk-photo-point[aria-label^='{label}']")


def place(view, label):
    """Where a point is set, in pixels of the picture."""
    words = point(view, label).get_attribute("aria-label")
    return tuple(map(int, re.search(r"(\d+) across, (\d+) down", words).groups()))


def is_near(found, wanted, most):
    return all(abs(a - SCALE * b) <= most for a, b in zip(found, wanted, strict=True))


def asks(screen, label):
    expect(screen.locator(".idk-photo-asked h3")).to_have_text(label)


def test_by_mouse_points_spots_and_answers_that_are_accepted_one_by_one(screen, view):
    mouse = screen.page.mouse
    labels = {kind.name: kind.label for kind in KINDS}
    # On the screen the edges of the pupil are so near to the eye that a press there is on its edges, too.
    pupil = {"pupil_front": (229.0, 360.0), "pupil_back": (247.0, 360.0)}
    order = {kind.name: POINTS.get(kind.name, pupil.get(kind.name)) for kind in KINDS}
    for name, at in ((name, at) for name, at in order.items() if at):
        if name == "back":
            for _ in range(2):  # nostril
                press(screen, "Leave it out")
        asks(screen, labels[name])
        mouse.click(*on_screen(view, at))
        expect(point(view, labels[name])).to_be_attached()
        # Half a pixel of the screen is so many of the picture.
        assert is_near(place(view, labels[name]), at, 4), name
    # A point that is dragged shows what is below it, and stays where it is let go.
    x, y = on_screen(view, POINTS["eye_back"])
    mouse.move(x, y)
    mouse.down()
    mouse.move(x + 40, y + 30, steps=4)
    expect(view.locator(".idk-photo-lens")).to_be_visible()
    mouse.up()
    expect(view.locator(".idk-photo-lens")).to_be_hidden()
    moved = place(view, "Eye, rear")
    share = view.bounding_box()["width"] / FULL[0]
    assert abs(moved[0] - SCALE * POINTS["eye_back"][0] - 40 / share) <= 4
    screen.page.keyboard.press("Control+z")
    expect(point(view, "Eye, rear")).not_to_have_attribute("aria-label", re.compile(f"{moved[0]} across"))
    press(screen, "Find the spots")
    said = screen.get_by_text("light spots outlined")
    expect(said).to_be_visible()
    count = int(re.search(r"(\d+) light", said.inner_text())[1])
    assert abs(count - len(SPOTS)) <= 0.1 * len(SPOTS)
    press(screen, "Add or take away spots")
    expect(screen.get_by_role("button", name="\u2713 Add or take away spots")).to_be_visible()
    for left in (count - 1, count):
        mouse.click(*on_screen(view, SPOTS[len(SPOTS) // 2]))
        expect(screen.get_by_text(f"{left} light spots outlined")).to_be_visible()
    press(screen, "\u2713 Add or take away spots")
    expect(screen.locator(".idk-stands")).to_contain_text("Nothing answered yet")
    press(screen, "Accept spot size")
    expect(screen.get_by_role("button", name="\u2713 Accept spot size")).to_be_visible()
    expect(screen.locator(".idk-stands")).to_contain_text("possible")
    reads_in_both_themes(screen, ".idk-photo-said", ".idk-photo-file", ".idk-photo-tools button", ".idk-soft")
    screen.page.set_viewport_size(NARROW)
    assert not scrolls_sideways(screen)
    screen.page.set_viewport_size({"width": 390, "height": 2200})
    file = screen.locator("input[type=file]")
    expect(file).to_have_css("min-height", "44px")


def test_by_touch_a_point_is_set_and_two_fingers_zoom(screen, view):
    touch = screen.page.context.new_cdp_session(screen.page)

    def put(kind, *fingers):
        points = [{"x": x, "y": y, "id": i} for i, (x, y) in enumerate(fingers)]
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    x, y = on_screen(view, POINTS["snout"])
    put("touchStart", (x + 30, y))
    put("touchMove", (x + 10, y))
    expect(view.locator(".idk-photo-lens")).to_be_visible()
    put("touchMove", (x, y))
    put("touchEnd")
    expect(point(view, "Snout")).to_be_attached()
    assert is_near(place(view, "Snout"), POINTS["snout"], 4)
    asks(screen, "Base of the tail fin")
    # Two fingers set no point: they zoom about the place between them.
    x, y = on_screen(view, POINTS["tail_base"])
    put("touchStart", (x - 20, y))
    put("touchStart", (x - 20, y), (x + 20, y))
    put("touchMove", (x - 80, y), (x + 80, y))
    put("touchEnd")
    asks(screen, "Base of the tail fin")
    expect(view.locator(".idk-photo-point")).to_have_count(1)
    put("touchStart", (x, y))
    put("touchEnd")
    expect(point(view, "Base of the tail fin")).to_be_attached()
    # Four times as large, a pixel of the screen is a fourth of what it was.
    assert is_near(place(view, "Base of the tail fin"), POINTS["tail_base"], 2)


def test_by_keyboard_alone_a_point_is_set_moved_taken_away_and_got_back(screen, view):
    page, keys = screen.page, screen.page.keyboard
    screen.get_by_role("button", name="Whole picture").focus()
    tab_to(page, "Move the picture")
    keys.press("Tab")
    expect(view).to_be_focused()
    assert "Enter sets: Snout" in view.get_attribute("aria-label")
    keys.press("Enter")
    middle = tuple(round(side / 2) for side in FULL)
    expect(point(view, "Snout")).to_be_focused()
    assert place(view, "Snout") == middle
    asks(screen, "Base of the tail fin")
    for _ in range(3):
        keys.press("ArrowLeft")
    keys.press("Shift+ArrowDown")
    assert place(view, "Snout") == (middle[0] - 3, middle[1] + 10)
    expect(view.locator(".idk-photo-lens")).to_be_visible()
    # The cross goes further; with Enter the next point is set there.
    keys.press("Enter")
    expect(view).to_be_focused()
    keys.press("+")
    keys.press("ArrowRight")
    keys.press("Enter")
    expect(point(view, "Base of the tail fin")).to_be_focused()
    assert place(view, "Base of the tail fin")[0] > middle[0]
    keys.press("Delete")
    expect(view.locator(".idk-photo-point")).to_have_count(1)
    keys.press("Control+z")
    expect(view.locator(".idk-photo-point")).to_have_count(2)
    assert place(view, "Snout") == (middle[0] - 3, middle[1] + 10)


def test_points_set_faster_than_the_kernel_answers_are_those_that_follow(screen, view):
    # While a script runs no answer can come between.
    enter = "view => view.dispatchEvent(new KeyboardEvent('keydown', { key: 'Enter', bubbles: true }))"
    view.evaluate(f"view => {{ for (let i = 0; i < 3; i++) ({enter})(view); }}")
    asks(screen, "Eye, front edge")
    for label in ("Snout", "Base of the tail fin", "Gill opening"):
        expect(point(view, label)).to_be_attached()
    expect(view.locator(".idk-photo-point")).to_have_count(3)


def test_a_picture_is_handed_over_in_pieces(screen, view, lab):
    # Larger than one message may be.
    path = lab.root / "large.png"
    draw().resize((2400, 1600)).save(path, compress_level=0)
    assert path.stat().st_size > 4_000_000
    screen.locator("input[type=file]").set_input_files(path)
    expect(screen.get_by_label("Picture", exact=True)).to_have_value("")
    expect(view.locator("img")).to_have_css("width", "2400px")
    # Enter opens the path as it was typed.
    typed = screen.get_by_label("Picture", exact=True)
    typed.fill("fish.jpg")
    typed.press("Enter")
    expect(view.locator("img")).to_have_css("width", f"{FULL[0]}px")
