"""The identify screen without a browser: what a click does, what is shown, what is saved."""

import html

import pandas as pd
import pytest

import idkey
from idkey.errors import IdkeyError
from idkey.views.fish import state_svg
from idkey.widgets import base


@pytest.fixture
def screen():
    return idkey.identify()


def shown(screen):
    return [c for c in screen._states.children if c.layout.display != "none"]


def click(screen, words):
    choice = next(c for c in shown(screen) if c.button.description.removeprefix("\u2713 ") == words)
    choice.button.click()


def seen(screen):
    """What was seen, line by line, and the buttons that ask it again."""
    rows = screen._seen.children[1:]
    return [row.children[0].value for row in rows], [row.children[1] for row in rows]


def test_a_click_is_one_step_that_answers_the_question_and_asks_the_next(screen):
    other = idkey.identify()
    assert "main pattern" in screen._question.value
    assert len(shown(screen)) == 5
    click(screen, "light spots on dark")
    assert dict(screen.identification.answers) == {"pattern": "light_spots"}
    assert "main pattern" not in screen._question.value
    assert "still possible" in screen._outcome.value
    assert 'href="https://doi.org/10.' in screen._names.value
    screen.identification.undo()
    assert not screen.identification.answers
    # Two screens share nothing.
    assert "main pattern" in other._question.value


def test_the_drawings_take_over_what_was_answered(screen):
    screen.identification.answer("pattern", "dark_spots").answer("ground_colour", "pale")
    screen._other.value = "spot_size"
    for choice in shown(screen):
        drawn = state_svg("spot_size", choice.state, choice.button.description, screen.identification.answers)
        assert (
            choice.drawing.value == drawn != state_svg("spot_size", choice.state, choice.button.description)
        )


def test_cant_see_it_asks_something_else(screen):
    screen._skip.click()
    assert screen.identification.unseen == ("pattern",)
    assert "main pattern" not in screen._question.value
    assert "can't be seen" in html.unescape(seen(screen)[0][0])


def test_several_possible_states_are_one_answer(screen):
    screen._several.value = True
    click(screen, "light spots on dark")
    click(screen, "dark spots on pale")
    assert not screen.identification.answers
    screen._take.click()
    assert screen.identification.answers["pattern"] == "light_spots|dark_spots"


def test_a_number_out_of_turn_and_a_bad_number(screen):
    screen._other.value = "adult_size"
    assert "How long is the fish" in screen._question.value
    screen._number.value = "-4"
    screen._take.click()
    assert "more than 0" in screen._alert.value
    assert 'role="alert"' in screen._alert.value
    assert not screen.identification.answers
    screen._number.value = "60..65"
    screen._take.click()
    assert screen.identification.answers["adult_size"] == "60..65"
    assert screen._alert.value == ""


def test_a_length_in_inches_is_read_as_millimetres_while_it_is_typed(screen):
    screen._other.value = "adult_size"
    screen._number.value = "2.5 in"
    assert "read as 64 mm" in screen._read_as.value
    screen._number._handle_custom_msg({"event": "submit"}, [])
    assert screen.identification.answers["adult_size"] == "64"
    assert screen._read_as.value == ""
    # Inches are for lengths only.
    screen._other.value = "dorsal_rays"
    screen._number.value = "7 in"
    screen._take.click()
    assert "dorsal_rays" in screen._alert.value
    assert "dorsal_rays" not in screen.identification.answers


def test_change_an_answer_undo_and_start_again(screen):
    click(screen, "light spots on dark")
    seen(screen)[1][0].click()
    assert "main pattern" in screen._question.value
    assert "So far: <strong>light spots on dark" in screen._question.value
    click(screen, "no marks")
    assert screen.identification.answers["pattern"] == "plain"
    for button in (screen._undo, screen._restart, screen._undo):
        button.click()
        expected = {} if button is screen._restart else {"pattern": "light_spots"}
        assert dict(screen.identification.answers) == expected


def test_the_age_is_an_answer_like_any_other(screen):
    screen._age.value = "adult"
    assert screen.identification.answers["life_stage"] == "adult"
    screen._undo.click()
    assert screen._age.value == ""


def test_until_the_name_is_settled_the_care_for_all_is_shown(screen):
    # Two trade forms that the sources give the same marks (Glaser archive on L201a and L471).
    for trait, value in {
        "pattern": "light_spots",
        "spot_vs_nostril": "larger",
        "head_spots": "none",
        "spot_density": "sparse",
        "spots_in_row": 12,
        "spot_colour": "orange",
        "basin": "orinoco",
        "fin_edging": "none",
        "spot_size": "large",
        "mouth_shape": "small",
        "tooth_form": "larger_below",
        "ground_colour": "dark",
    }.items():
        screen.identification.answer(trait, value)
    screen._refresh()
    left = [n for n in screen.identification.candidates() if n != "none of these"]
    assert {"hypancistrus_contradens", "hypancistrus_l471"} <= set(left)
    assert len(left) <= 6
    assert "until the name is settled" in screen._together.value


def test_what_is_saved_is_a_static_picture(screen):
    click(screen, "light spots on dark")
    bundle = screen._repr_mimebundle_()
    assert "Run this cell to use the controls" in bundle["text/html"]
    assert "still possible" in bundle["text/plain"]
    assert bundle == screen._repr_mimebundle_()


def test_starting_answers_and_a_bad_one():
    screen = idkey.identify(answers={"pattern": "plain"})
    assert screen.identification.answers["pattern"] == "plain"
    with pytest.raises(IdkeyError, match="did you mean 'plain'"):
        idkey.identify(answers={"pattern": "plane"})


def test_markup_in_a_table_is_shown_as_text():
    evil = "<script>alert(1)</script>"
    frame = pd.DataFrame({"kind": [evil, "b"], evil: [evil, "<b>x</b>"]})
    screen = idkey.identify(idkey.TraitTable.from_frame(frame, taxon="kind"))
    click(screen, evil)
    pages = [screen._names.value, screen._outcome.value, screen._question.value, screen._static_html()]
    assert seen(screen)[0]
    assert "<script" not in "".join([*pages, *seen(screen)[0]])
    assert "&lt;script&gt;" in screen._names.value


def test_the_name_on_the_bag_is_told_and_is_no_evidence(screen):
    screen._bag.value = "L046"
    assert "Hypancistrus zebra" in screen._bag_says.value
    assert not screen.identification.answers
    click(screen, "light spots on dark")
    assert "of 88" in screen._bag_says.value
    screen._bag.value = "<script>"
    assert "<script" not in screen._bag_says.value


def test_the_first_two_can_be_compared_while_two_are_possible(screen):
    assert screen._side_by_side.layout.visibility == "hidden"
    click(screen, "light spots on dark")
    assert screen._side_by_side.layout.visibility == "visible"
    screen._side_by_side.click()
    for taxon in screen.identification.outcome().taxa[:2]:
        assert screen.identification.table.label(taxon) in html.unescape(screen._comparison.value)
    screen._side_by_side.click()
    assert screen._comparison.value == ""
    screen._side_by_side.click()
    # It goes when the first two change.
    screen._restart.click()
    assert screen._comparison.value == ""
    assert screen._side_by_side.layout.visibility == "hidden"


def test_only_the_rows_that_changed_are_made_anew(screen):
    click(screen, "light spots on dark")
    row = screen._seen.children[1]
    for button in (screen._skip, screen._undo):
        button.click()
        assert screen._seen.children[1] is row


def test_after_an_answer_the_keyboard_is_on_the_next_question(screen, monkeypatch):
    on = []
    monkeypatch.setattr("ipywidgets.DOMWidget.focus", lambda *widget: on.extend(widget))
    click(screen, "light spots on dark")
    assert on == [shown(screen)[0].button]
    seen(screen)[1][0].click()
    assert on == [shown(screen)[0].button] * 2
    screen._other.value = "adult_size"
    assert len(on) == 2, "the arrow keys must be able to go on through the menu"


def test_the_effect_is_shown_before_the_rest(screen):
    order = []
    for name in ("_outcome", "_names", "_question", "_together", "_bag_says"):
        getattr(screen, name).observe(lambda _c, name=name: order.append(name), names="value")
    screen._bag.value = "L046"
    order.clear()
    click(screen, "light spots on dark")
    assert order[:3] == ["_outcome", "_names", "_question"]
    assert order[-1] == "_names"
    assert "Care sheet" in screen._names.value


def test_no_callback_loses_an_error(screen, monkeypatch, caplog):
    monkeypatch.setattr(base, "RAISE", False)
    click(screen, "light spots on dark")

    def fail(*_args, **_options):
        raise RuntimeError("boom")

    for name in ("_refresh", "_ask", "_show_comparison"):
        monkeypatch.setattr(type(screen), name, fail)
    monkeypatch.setattr("idkey.views.identify.bag_html", fail)
    acts = {
        "state": shown(screen)[0].button.click,
        "skip": screen._skip.click,
        "undo": screen._undo.click,
        "restart": screen._restart.click,
        "compare": screen._side_by_side.click,
        "change": seen(screen)[1][0].click,
        "age": lambda: setattr(screen._age, "value", "young"),
        "other": lambda: setattr(screen._other, "value", "basin"),
        "bag": lambda: setattr(screen._bag, "value", "L046"),
    }
    for name, act in acts.items():
        screen.say("")
        act()
        assert "boom" in screen._alert.value, name
        assert "out of date" in screen._alert.value, name
    assert [r for r in caplog.records if r.name == "idkey.widgets"]
    caplog.clear()


def test_the_menu_of_features_holds_the_feature_asked_until_it_is_answered(screen):
    best = screen._question.value
    screen._other.value = "tail_fork"
    assert "tail fin" in screen._question.value
    assert screen._other.value == "tail_fork"
    screen._other.value = ""
    assert screen._question.value == best
    screen._other.value = "tail_fork"
    click(screen, "clearly forked")
    assert screen._other.value == ""
