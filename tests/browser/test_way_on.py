"""One fish through all screens in a browser; fish, tanks and book are invented."""

from lab import answer, run, scrolls_sideways, until_idle
from playwright.sync_api import expect

CODE = 'import idkey\nidkey.identify(room="fish_room.csv")'


def test_from_the_questions_to_the_book_with_one_press_each_on_a_phone(scratch):
    page = scratch.page
    screen = run(scratch, 0, CODE)
    answer(screen, "light spots on dark")
    page.set_viewport_size({"width": 390, "height": 900})
    shows = {
        "Side by side": "What differs",
        "Its care": "What is right",
        "Check a tank": "Rapids for",
        "Keep this fish": "Your book",
    }
    for n, (step, words) in enumerate(shows.items()):
        name = f"{step} \u2192" if n else step
        screen.get_by_role("button", name=name, exact=True).locator("visible=true").first.click()
        part = screen.locator(".idk-way").locator("visible=true").nth(n)
        expect(part).to_contain_text(words)
        until_idle(page)
        # What was opened has the keyboard and is in view, not below the fold.
        back = part.get_by_role("button", name="Back to the question")
        expect(back).to_be_focused()
        assert 0 < back.bounding_box()["y"] < 450, step
        assert not scrolls_sideways(screen), step
    part.get_by_label("Your book").fill("way.sqlite")
    part.get_by_role("button", name="Open the book", exact=True).click()
    kept = screen.locator(".idk-keeping").locator("visible=true")
    expect(kept.get_by_label("Tank", exact=True)).to_have_value("Rapids")
    kept.get_by_role("button", name="Keep this fish").click()
    expect(kept).to_contain_text("Kept as No. 1")
    # All of it is still open after one more answer.
    screen.locator(".idk-states button").locator("visible=true").first.click()
    until_idle(page)
    expect(screen.locator(".idk-way").locator("visible=true")).to_have_count(4)
