"""The identify screen without a browser: what a click does, what is shown, what is saved."""

import html
import re

import pypdf
import pytest
from markup import words

import idkey
from idkey.errors import IdkeyError
from idkey.model import genus
from idkey.views.fish import state_svg
from idkey.views.identify import kinds_shown
from idkey.views.sheet import fish_shapes, fish_svg
from idkey.widgets import base
from idkey.widgets.way import BESIDE

QUESTION = ".idk-asking h3"


@pytest.fixture
def screen():
    return idkey.identify()


@pytest.fixture
def on(monkeypatch):
    """Where the keyboard was put, one after the other."""
    on = []
    monkeypatch.setattr("ipywidgets.DOMWidget.focus", lambda *widget: on.extend(widget))
    monkeypatch.setattr("idkey.widgets.frame.Frame.focus_on", lambda _frame, selector: on.append(selector))
    return on


def shown(screen):
    return [c for c in screen.looking.asking.states.children if c.layout.display != "none"]


def click(screen, words):
    choice = next(c for c in shown(screen) if c.button.description.removeprefix("\u2713 ") == words)
    choice.button.click()


def seen(screen):
    """What was seen, line by line, and the buttons that ask it again."""
    rows = screen.looking.seen.children[1:-1]
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
    assert on == [QUESTION]
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
        for word in picked:
            click(screen, word)
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
    assert "Dorsal soft rays" in screen._alert.value
    assert "dorsal_rays" not in screen.identification.answers


def test_skip_change_an_answer_undo_and_start_again(screen, on):
    screen.looking.asking.skip.click()
    assert screen.identification.unseen == ("pattern",)
    assert "main pattern" not in screen.looking.asking.question.value
    assert "can't be seen" in html.unescape(seen(screen)[0][0])
    screen.looking.undo.click()
    click(screen, "light spots on dark")
    row = screen.looking.seen.children[1]
    seen(screen)[1][0].click()
    assert on[-1] == QUESTION
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
    assert order.count("names") == 1
    # Why it is hardly that stands there, and opens.
    says = html.unescape(screen._bag_says.value)
    assert "It hardly is what the bag says. Pattern: you saw light spots on dark" in says
    assert "<summary" in says
    assert "Speaks against it" in says
    screen._bag.value = "<script>"
    assert "<script" not in screen._bag_says.value


def test_a_second_tap_answers_nothing(screen, monkeypatch):
    now = 100.0
    monkeypatch.setattr(base, "SETTLING", 0.35)
    screen.looking.asking._since = 0.0
    monkeypatch.setattr("idkey.widgets.asking.time.monotonic", lambda: now)
    for later, answers in ((0.0, 1), (0.3, 1), (0.36, 2)):
        now = 100.0 + later
        shown(screen)[0].button.click()
        assert len(screen.identification.answers) == answers, later
    screen.looking.asking.skip.click()
    assert not screen.identification.unseen
    # What is picked answers nothing yet, so it can be picked at once.
    now += 1.0
    screen.looking.asking.several.value = True
    for choice in shown(screen)[:2]:
        choice.button.click()
    assert len(screen.looking.asking.picked) == 2


def test_another_fish_has_another_bag(screen):
    screen._bag.value = "L046"
    screen.looking.restart.click()
    assert screen._bag.value == screen._bag_says.value == ""


def test_no_callback_loses_an_error(screen, monkeypatch, caplog):
    monkeypatch.setattr(base, "RAISE", False)
    click(screen, "light spots on dark")

    def fail(*_args, **_options):
        raise RuntimeError("boom")

    for name in ("show_next", "_show_question"):
        monkeypatch.setattr(type(screen.looking), name, fail)
    monkeypatch.setattr("idkey.widgets.way.Way._fill", fail)
    monkeypatch.setattr("idkey.views.identify.bag_html", fail)
    acts = {
        "state": shown(screen)[0].button.click,
        "skip": screen.looking.asking.skip.click,
        "undo": screen.looking.undo.click,
        "restart": screen.looking.restart.click,
        "compare": screen.way.folds[BESIDE].button.click,
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


def test_a_length_that_can_hardly_be_is_asked_back(screen):
    asking = screen.looking.asking
    for typed, meant, answer in (("4.6", "4.6 cm, 46 mm", "46"), ("4.6", "It is 4.6 mm", "4.6")):
        screen.looking.other.value = "adult_size"
        asking.number.value = typed
        asking.take.click()
        assert "4.6 mm? That is very small." in asking._doubt.value
        assert "adult_size" not in screen.identification.answers
        next(b for b in asking.readings if b.description == meant).click()
        assert screen.identification.answers["adult_size"] == answer
        screen.looking.restart.click()
        assert asking.asked_back.layout.display == "none"
    # Striped fish of the Xingu with a naked belly are small in this table.
    for trait, state in (("pattern", "bars"), ("basin", "xingu"), ("belly_plates", "naked")):
        screen.identification.answer(trait, state)
    screen.looking.other.value = "adult_size"
    asking.number.value = "460"
    asking.take.click()
    assert [b.description for b in asking.readings if b.description] == ["46 mm", "It is 460 mm"]
    asking.number.value = "46"
    assert asking.asked_back.layout.display == "none"
    asking.take.click()
    assert screen.identification.answers["adult_size"] == "46"


def test_messages_name_the_feature_as_the_screen_does(screen):
    screen.looking.other.value = "adult_size"
    screen.looking.asking.number.value = "long"
    screen.looking.asking.take.click()
    assert "Length:" in html.unescape(screen._alert.value)
    assert "adult_size" not in screen._alert.value


def test_the_ending_says_what_it_is_what_it_could_be_and_where_to_look(screen):
    marks = "pattern light_spots, spot_vs_nostril larger, head_spots none, spot_density sparse"
    for mark in f"{marks}, spots_in_row 12, spot_colour orange, basin orinoco, fin_edging none".split(", "):
        screen.identification.answer(*mark.split())
    screen.looking.enough.click()
    table, (first, other, *_) = screen.identification.table, screen.identification.outcome().taxa
    said = html.unescape(screen.looking.asking.question.value)
    assert f"Perhaps {table.label(first)}." in said
    assert f"Could be <strong>{table.label(other)}</strong>: look at the " in said
    assert said.count("<svg") >= 2
    assert "Until then: " in said
    # What was looked at already is not asked for again.
    looked_at = said.partition(f"{table.label(other)}</strong>: look at the ")[2].partition(".")[0]
    trait = next(t for t in table.traits if t.name.lower() == looked_at)
    screen.identification.answer(trait.id, None)
    assert screen.looking.enough.description == "Go on asking"
    screen.looking.enough.click()
    assert screen.looking.asking.trait == screen.identification.next_question().trait
    screen.looking.enough.click()
    assert f"look at the {looked_at}." not in html.unescape(screen.looking.asking.question.value)


def test_with_many_names_left_the_ending_says_what_can_be_acted_on(screen):
    marks = "pattern bars, ground_colour pale, basin xingu, adult_size 70, tail_fork forked"
    for mark in marks.split(", "):
        screen.identification.answer(*mark.split())
    screen.looking.enough.click()
    fish, said = screen.identification, html.unescape(screen.looking.asking.question.value)
    assert re.search(r"<h3>(Probably a|A) Hypancistrus", said)
    for row in fish.kinds(possible=True)[:3]:
        assert f"<strong>{row.name}</strong> ({row.probability * 100:.0f} %)" in said
    assert said.count("<svg") == 3
    most = sorted(fish.questions(), key=lambda question: -question.gain)[:2]
    assert f"What would settle most: {'; '.join(q.trait.name.lower() for q in most)}." in said
    assert "Until then, for the 8 likeliest: " in said
    sheet = idkey.care_for(fish)
    need = sheet.attributes["temperature_c"]
    assert need.known
    assert need.unknown
    assert f", known of {len(need.known)} of {len(sheet.names)};" in said


def test_the_screen_offers_to_stop_and_tells_of_an_answer_that_alone_turns_the_genus(screen):
    fish = screen.identification
    for mark in ["pattern lines", "body_keels none", "basin tapajos"]:
        fish.answer(*mark.split())
    screen.show_fish(fish)
    assert "you can stop" not in screen.looking.asking.question.value
    screen.show_fish(fish.answer("mouth_shape", "small"))
    assert re.search(
        r"A Hypancistrus, almost surely \(9\d %\)\.</strong> .*you can stop here",
        screen.looking.asking.question.value,
    )
    # Who asks for a feature does not want to stop.
    screen.looking.other.value = "teeth_lower"
    assert "you can stop" not in screen.looking.asking.question.value
    assert screen.looking.turned.value == ""
    fish.clear()
    marks = "pattern dark_spots, tail_fork straight, dorsal_reach reaches, spot_size large"
    for mark in f"{marks}, snout_tentacles present, body_keels none, body_depth normal".split(", "):
        fish.answer(*mark.split())
    screen.show_fish(fish)
    (turn,) = genus.turning(fish)
    told = f"this would be a {turn.genus} ({turn.share * 100:.0f} %): look again."
    assert f"Without 'keels on the body: none or weak' {told}" in words(screen.looking.turned.value)


def test_each_name_has_its_fish_with_what_decides_next_ringed_and_its_care_each_brought_once(screen):
    table, brought = screen.identification.table, []
    for place in screen._kinds:
        place.observe(lambda change: brought.append(change["new"]), names="value")
    while screen.looking.asking.trait is not None and len(screen.identification.answers) < 6:
        before = set(screen._kinds.values())
        brought.clear()
        shown(screen)[0].button.click()
        kinds, names = kinds_shown(screen.identification), screen._names.value
        assert names.count("<svg") == names.count("<use") == len(kinds)
        assert len(brought) == len(set(kinds) - before)
        for kind, place in zip(kinds, re.findall('<use href="#([^"]+)"', names), strict=True):
            [held] = [p.value for p in screen._kinds if f'id="{place}"' in p.value]
            assert fish_shapes(table, kind) in held
            assert f'<template id="{place}-more"><details class="idk-care">' in held
            assert f'data-idk-from="{place}"' in names
    mark = screen.looking.asking.trait.id
    use = f'<use href="#{place}"/>'
    ringed = fish_svg(table, kind, mark=mark, wide=96, shapes=use)
    assert ringed in names
    assert ringed != fish_svg(table, kind, wide=96, shapes=use)


def test_length_eye_and_barbel_show_how_they_are_taken(screen):
    for feature in ("adult_size", "eye_size", "barbel_length"):
        screen.looking.other.value = feature
        assert "<svg" in screen.looking.asking.question.value, feature


def test_the_pocket_file_is_made_beside_the_notebook(screen, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    screen._make_pocket()
    assert "http-equiv" in (tmp_path / "idkey_pocket.html").read_text(encoding="utf-8")
    assert str(tmp_path) in screen._file_says.value


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_key_for_the_wall_is_made_on_the_paper_chosen(shipped, tmp_path, monkeypatch, paper):
    monkeypatch.chdir(tmp_path)
    screen = idkey.identify(shipped.only(shipped.ids[:4]))
    screen._paper.value = paper
    screen._make_key()
    (page, *_) = pypdf.PdfReader(tmp_path / "idkey_key.pdf").pages
    # ISO 216 and ANSI Y14.1, in points of 1/72 in.
    wide, high = {"A4": (210 / 25.4 * 72, 297 / 25.4 * 72), "Letter": (8.5 * 72, 11 * 72)}[paper]
    assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx((wide, high), abs=1)
    assert str(tmp_path) in screen._file_says.value


def test_where_none_of_the_kinds_is_likeliest_the_sentence_says_so_and_the_list_begins_with_it(screen):
    fish = screen.identification
    marks = "pattern dark_spots, basin upper_amazon, body_keels none, dorsal_reach joined, cheek_spines long"
    for mark in f"{marks}, ground_colour olive".split(", "):
        fish.answer(*mark.split())
    screen.show_fish(fish)
    none = fish.ranked()[0]
    assert none.taxon == "none of these"
    assert none.probability < 0.5
    likelier = f"That it is none of the kinds in this table is likelier ({none.probability * 100:.0f} %)."
    assert likelier in screen._outcome.value
    listed = words(screen._names.value)
    assert listed.index("None of the kinds in the table") < listed.index(fish.kinds()[0].name)
