"""The icons that are shipped ready drawn."""

import draw_icons
import pytest

from idkey.views.draw import state_svg
from idkey.views.draw_look import STATES
from idkey.views.icons import icon_svg


def test_the_file_is_what_the_drawing_code_draws():
    assert draw_icons.FILE.read_text(encoding="utf-8") == draw_icons.icons_text()


@pytest.mark.parametrize(("trait", "state"), [("tail_fork", "forked"), ("pattern", "plain")])
def test_a_ready_icon_is_the_drawing_with_its_title_escaped(trait, state):
    assert icon_svg(trait, state, '<b> & "c"') == state_svg(trait, state, '<b> & "c"')
    assert "<b>" not in icon_svg(trait, state, "<b>")


def test_every_state_that_can_be_drawn_has_one_and_others_have_none():
    assert all(icon_svg(t, s, "x") for t, states in STATES.items() for s in states)
    assert icon_svg("basin", "xingu", "x") is None
    assert icon_svg("tail_fork", "bent", "x") is None
