"""What a notebook keeps of a screen: a static picture, the same each time it is asked for."""

import html

import pytest
from plain_fish import png, set_all

import idkey
from idkey.photo.picture import read_picture

ZEBRA, L201 = "hypancistrus_zebra", "hypancistrus_l201"


def changed_editor():
    screen = idkey.table_editor()
    screen.draft.set(ZEBRA, "tail_fork", "forked")
    return screen


def measured_photo():
    screen = idkey.photo_view()
    screen.measuring.show_picture(read_picture(png()))
    set_all(screen.measuring)
    screen.measuring.find.click()
    return screen


@pytest.mark.parametrize(
    ("opened", "in_html", "in_text"),
    [
        (lambda: idkey.identify(answers={"pattern": "light_spots"}), "still possible", "still possible"),
        (lambda: idkey.compare_view(a=ZEBRA, b=L201), "What differs", "Hypancistrus zebra (L046, L098) and"),
        (measured_photo, "Spot against eye", "Spot against eye"),
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
