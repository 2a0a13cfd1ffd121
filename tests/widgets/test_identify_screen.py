"""The identify screen without a browser: what a click does, what is shown, what is saved."""

import html

import pytest

import idkey
from idkey.errors import IdkeyError
from idkey.views.fish import state_svg
from idkey.widgets import base


@pytest.fixture
def screen():
    return idkey.identify()


@pytest.fixture
def on(monkeypatch):
    """Where the keyboard was put, one after the other."""
    on = []
    monkeypatch.setattr("ipywidgets.DOMWidget.focus", lambda *widget: on.extend(widget))
    return on


def shown(screen):
    return [c for c in screen.looking.asking.states.children if c.layout.display != "none"]


def click(screen, words):
    choice = next(c for c in shown(screen) if c.button.description.removeprefix("\u2713 ") == words)
    choice.button.click()


def seen(screen):
    """What was seen, line by line, and the buttons that ask it again."""
    rows = screen.looking.seen.children[1:]
    return [row.children[0].value for row in rows], [row.children[1] for row in rows]


def test_a_click_is_one_step_that_answers_the_question_and_asks_the_next(screen, on):
    other = idkey.identify()
    assert "main pattern" in screen.looking.asking.question.value
    assert len(shown(screen)) == 5
    click(screen, "light spots on dark")
    assert dict(screen.identification.answers) == {"pattern": "light_spots"}
    assert "main pattern" not in screen.looking.asking.question.value
    assert "still possible" in screen._outcome.value
    assert 'href="https://doi.org/10.' in screen._names.value
    # The keyboard is on the next question; two screens share nothing.
    assert on == [shown(screen)[0].button]
    assert "main pattern" in other.looking.asking.question.value
    screen.looking.asking.several.value = True
    for choice in shown(screen)[:2]:
        choice.button.click()
    assert len(screen.identification.answers) == 1
    picked = "|".join(choice.state for choice in shown(screen)[:2])
    screen.looking.asking.take.click()
    assert picked in screen.identification.answers.values()


def test_one_of_several_may_be_said_to_be_more_like_it(screen):
    screen.looking.other.value = "spot_size"
    assert screen.looking.asking.leaning.layout.display == "none"
    screen.looking.asking.several.value = True
    assert screen.looking.asking.leaning.layout.display == ""
    assert [word for word, _ in screen.looking.asking.leaning.options] == [
        "can't say",
        "small",
        "medium",
        "large",
    ]
    click(screen, "small")
    # Who leans to a state picks it; what is not picked any more is leant to no more.
    screen.looking.asking.leaning.value = "medium"
    assert [c.state for c in shown(screen) if "\u2713" in c.button.description] == ["small", "medium"]
    click(screen, "medium")
    assert screen.looking.asking.leaning.value == ""
    screen.looking.asking.leaning.value = "medium"
    screen.looking.asking.take.click()
    # Three in four for it.
    assert screen.identification.answers["spot_size"] == "small:0.25|medium:0.75"
    assert "small (25 %) or medium (75 %)" in seen(screen)[0][0]
    # Asked again, it starts afresh; a state alone is that state, and no leaning leaves all alike.
    for picked, leaning, answer in (
        (["large"], "large", "large"),
        (["medium", "large"], "", "medium|large"),
        (["small", "medium", "large"], "large", "small:0.125|medium:0.125|large:0.75"),
    ):
        seen(screen)[1][0].click()
        assert screen.looking.asking.leaning.value == ""
        assert screen.looking.asking.leaning.layout.display == "none"
        screen.looking.asking.several.value = True
        for words in picked:
            click(screen, words)
        screen.looking.asking.leaning.value = leaning
        screen.looking.asking.take.click()
        assert screen.identification.answers["spot_size"] == answer
    # With the tick taken out it is one question and one click again.
    seen(screen)[1][0].click()
    screen.looking.asking.several.value = True
    screen.looking.asking.leaning.value = "small"
    screen.looking.asking.several.value = False
    assert (
        screen.looking.asking.picked,
        screen.looking.asking.leaning.value,
        screen.looking.asking.leaning.layout.display,
    ) == (
        [],
        "",
        "none",
    )
    click(screen, "small")
    assert screen.identification.answers["spot_size"] == "small"


def test_the_drawings_take_over_what_was_answered(screen):
    screen.identification.answer("pattern", "dark_spots").answer("ground_colour", "pale")
    screen.looking.other.value = "spot_size"
    for choice in shown(screen):
        drawn = state_svg("spot_size", choice.state, choice.button.description, screen.identification.answers)
        assert choice.drawing.value == drawn
        assert drawn != state_svg("spot_size", choice.state, choice.button.description)


def test_a_number_out_of_turn_in_inches_and_a_bad_one(screen, on):
    best = screen.looking.asking.question.value
    for chosen in ("adult_size", "", "adult_size"):
        screen.looking.other.value = chosen
        assert screen.looking.other.value == chosen
        assert (screen.looking.asking.question.value == best) is (chosen == "")
    assert not on, "the arrow keys must be able to go on through the menu"
    assert "How long is the fish" in screen.looking.asking.question.value
    screen.looking.asking.number.value = "-4"
    screen.looking.asking.take.click()
    assert "more than 0" in screen._alert.value
    assert 'role="alert"' in screen._alert.value
    assert not screen.identification.answers
    screen.looking.asking.number.value = "2.5 in"
    assert "read as 64 mm" in screen.looking.asking.read_as.value
    screen.looking.asking.number._handle_custom_msg({"event": "submit"}, [])
    assert screen.identification.answers["adult_size"] == "64"
    assert screen.looking.other.value == ""
    assert screen._alert.value == screen.looking.asking.read_as.value == ""
    # Inches are for lengths only.
    screen.looking.other.value = "dorsal_rays"
    screen.looking.asking.number.value = "7 in"
    screen.looking.asking.take.click()
    assert "dorsal_rays" in screen._alert.value
    assert "dorsal_rays" not in screen.identification.answers


def test_skip_change_an_answer_undo_and_start_again(screen, on):
    screen.looking.skip.click()
    assert screen.identification.unseen == ("pattern",)
    assert "main pattern" not in screen.looking.asking.question.value
    assert "can't be seen" in html.unescape(seen(screen)[0][0])
    screen.looking.undo.click()
    click(screen, "light spots on dark")
    row = screen.looking.seen.children[1]
    seen(screen)[1][0].click()
    assert on[-1] is shown(screen)[0].button
    assert "main pattern" in screen.looking.asking.question.value
    assert "So far: <strong>light spots on dark" in screen.looking.asking.question.value
    click(screen, "no marks")
    assert screen.identification.answers["pattern"] == "plain"
    # Only a row that changed is made anew.
    assert screen.looking.seen.children[1] is row
    for button in (screen.looking.undo, screen.looking.restart, screen.looking.undo):
        button.click()
        expected = {} if button is screen.looking.restart else {"pattern": "light_spots"}
        assert dict(screen.identification.answers) == expected
    screen.looking.age.value = "adult"
    assert screen.identification.answers["life_stage"] == "adult"
    screen.looking.undo.click()
    assert screen.looking.age.value == ""


def test_until_the_name_is_settled_the_care_for_all_is_shown():
    # Two trade forms that the sources give the same marks (Glaser archive on L201a and L471).
    marks = "pattern light_spots, spot_vs_nostril larger, head_spots none, spot_density sparse"
    marks += ", spots_in_row 12, spot_colour orange, basin orinoco, fin_edging none, spot_size large"
    marks += ", mouth_shape small, tooth_form larger_below, ground_colour dark"
    screen = idkey.identify(answers=dict(mark.split() for mark in marks.split(", ")))
    left = [n for n in screen.identification.candidates() if n != "none of these"]
    assert {"hypancistrus_contradens", "hypancistrus_l471"} <= set(left)
    assert len(left) <= 6
    assert "until the name is settled" in screen._together.value


def test_a_bad_starting_answer():
    with pytest.raises(IdkeyError, match="did you mean 'plain'"):
        idkey.identify(answers={"pattern": "plane"})


def test_an_answer_shows_its_effect_first_and_the_name_on_the_bag_is_no_evidence(screen):
    screen._bag.value = "L046"
    assert "Hypancistrus zebra" in screen._bag_says.value
    assert not screen.identification.answers
    order = []
    parts = {name: getattr(screen, f"_{name}") for name in ("outcome", "names", "together", "bag_says")}
    for name, part in {**parts, "question": screen.looking.asking.question}.items():
        part.observe(lambda _c, name=name: order.append(name), names="value")
    click(screen, "light spots on dark")
    # What the answer did is shown before the rest.
    assert order[:3] == ["outcome", "names", "question"]
    assert order[-1] == "names"
    assert "Care sheet" in screen._names.value
    assert "of 100" in screen._bag_says.value
    screen._bag.value = "<script>"
    assert "<script" not in screen._bag_says.value


def test_the_first_two_can_be_compared_while_two_are_possible(screen):
    compare = screen._beside
    assert compare.button.layout.visibility == "hidden"
    click(screen, "light spots on dark")
    assert compare.button.layout.visibility == "visible"
    compare.button.click()
    for taxon in screen.identification.outcome().taxa[:2]:
        assert screen.identification.table.label(taxon) in html.unescape(screen._comparison.value)
    compare.button.click()
    assert not compare.is_open
    compare.button.click()
    # It goes when the first two change.
    screen.looking.restart.click()
    assert not compare.is_open
    assert compare.button.layout.visibility == "hidden"


def test_no_callback_loses_an_error(screen, monkeypatch, caplog):
    monkeypatch.setattr(base, "RAISE", False)
    click(screen, "light spots on dark")

    def fail(*_args, **_options):
        raise RuntimeError("boom")

    for name in ("show_next", "_show_question"):
        monkeypatch.setattr(type(screen.looking), name, fail)
    monkeypatch.setattr("idkey.widgets.identify.compare", fail)
    monkeypatch.setattr("idkey.views.identify.bag_html", fail)
    acts = {
        "state": shown(screen)[0].button.click,
        "skip": screen.looking.skip.click,
        "undo": screen.looking.undo.click,
        "restart": screen.looking.restart.click,
        "compare": screen._beside.button.click,
        "change": seen(screen)[1][0].click,
        "age": lambda: setattr(screen.looking.age, "value", "young"),
        "other": lambda: setattr(screen.looking.other, "value", "basin"),
        "bag": lambda: setattr(screen._bag, "value", "L046"),
    }
    for name, act in acts.items():
        screen.say("")
        act()
        assert "boom" in screen._alert.value, name
        assert "out of date" in screen._alert.value, name
    assert [r for r in caplog.records if r.name == "idkey.widgets"]
    caplog.clear()


def test_the_pocket_file_is_made_beside_the_notebook(screen, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    screen._make_pocket()
    assert "http-equiv" in (tmp_path / "idkey_pocket.html").read_text(encoding="utf-8")
    assert str(tmp_path) in screen._pocket_says.value
