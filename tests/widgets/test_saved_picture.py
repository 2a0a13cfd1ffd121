"""What a notebook keeps of a screen: a static picture, the same each time it is asked for."""

import html

import pytest

import idkey

ZEBRA, L201 = "hypancistrus_zebra", "hypancistrus_l201"


def changed_editor():
    screen = idkey.table_editor()
    screen.draft.set(ZEBRA, "tail_fork", "forked")
    return screen


@pytest.mark.parametrize(
    ("opened", "in_html", "in_text"),
    [
        (lambda: idkey.identify(answers={"pattern": "light_spots"}), "still possible", "still possible"),
        (lambda: idkey.compare_view(a=ZEBRA, b=L201), "What differs", "Hypancistrus zebra (L046, L098) and"),
        (
            changed_editor,
            "Hypancistrus zebra (L046, L098), tail_fork: forked",
            "1 cell changed in 1 kind; not saved",
        ),
    ],
)
def test_what_is_saved_is_a_static_picture(opened, in_html, in_text):
    screen = opened()
    bundle = screen._repr_mimebundle_()
    assert "Run this cell to use the controls" in bundle["text/html"]
    assert in_html in html.unescape(bundle["text/html"])
    assert in_text in bundle["text/plain"]
    assert bundle == screen._repr_mimebundle_()
