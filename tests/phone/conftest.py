"""One Chromium, and pages of it that ask nothing of anyone."""

from contextlib import contextmanager

import pytest

from idkey.phone.file import pocket

PHONE = {"width": 390, "height": 844}


@contextmanager
def opened_page(browser, path, **options):
    """Open a file as a phone does; at the end nothing was asked for but the file, and nothing went wrong."""
    wrong = []
    context = browser.new_context(viewport=PHONE, **options)
    page = context.new_page()
    page.on("request", lambda r: None if r.url.startswith(("file://", "blob:")) else wrong.append(r.url))
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on("console", lambda said: wrong.append(said.text) if said.type == "error" else None)
    page.on("dialog", lambda dialog: (wrong.append(dialog.message), dialog.dismiss()))
    page.goto(path.as_uri())
    yield page
    context.close()
    assert not wrong, wrong


@pytest.fixture
def opened(chromium, tmp_path):
    """Return a function that writes the file of a table and opens it; the pages are looked at in the end."""
    pages = []

    def open_it(table, **options):
        path = tmp_path / f"pocket{len(pages)}.html"
        pocket(table, path)
        pages.append(opened_page(chromium, path, **options))
        return pages[-1].__enter__()

    yield open_it
    for page in pages:
        page.__exit__(None, None, None)


@pytest.fixture(scope="session")
def shipped_page(chromium, shipped, tmp_path_factory):
    """The shipped table, open; for what leaves no trace in it."""
    path = tmp_path_factory.mktemp("pocket") / "pocket.html"
    pocket(shipped, path)
    with opened_page(chromium, path) as page:
        yield page
