"""The compare screen without a browser: what a choice does, what is shown, what is saved."""

import pandas as pd
import pytest

import idkey
from idkey.errors import IdkeyError

CONTRADENS, L201, ZEBRA = "hypancistrus_contradens", "hypancistrus_l201", "hypancistrus_zebra"


@pytest.fixture
def screen():
    return idkey.compare_view(a=CONTRADENS, b=L201)


def test_the_two_asked_for_are_shown_and_a_choice_changes_them(screen):
    other = idkey.compare_view(a=CONTRADENS, b=L201)
    assert screen.comparison.taxa == (screen.beside._a.value, screen.beside._b.value) == (CONTRADENS, L201)
    assert "Hypancistrus contradens (L201a) and Hypancistrus sp. (L201)" in screen.beside._result.value
    for control, kind, taxa in (
        (screen.beside._b, ZEBRA, (CONTRADENS, ZEBRA)),
        (screen.beside._c, L201, (CONTRADENS, ZEBRA, L201)),
        (screen.beside._c, "", (CONTRADENS, ZEBRA)),
    ):
        control.value = kind
        assert screen.comparison.taxa == taxa
        assert "Hypancistrus zebra" in screen.beside._result.value
    # Two screens share nothing.
    assert other.comparison.taxa == (CONTRADENS, L201)


def test_young_fish_and_the_same_kind_twice(screen):
    screen.beside._b.value = "pseudacanthicus_pitanga"
    before = screen.beside._result.value
    screen.beside._young.value = True
    assert screen.beside._result.value != before
    screen.beside._young.value = False
    assert screen.beside._result.value == before
    # Nothing stale is left standing.
    screen.beside._b.value = CONTRADENS
    assert "chosen twice" in screen._alert.value
    assert 'role="alert"' in screen._alert.value
    assert screen.beside._result.value == ""
    screen.beside._b.value = L201
    assert screen._alert.value == ""
    assert "L201" in screen.beside._result.value


def test_left_open_the_kind_most_like_the_first_is_taken_and_what_cannot_be_is_said():
    alike = idkey.load_table().lookalikes()
    assert idkey.compare_view().comparison.taxa == alike.nearest(alike.ids[0])
    assert idkey.compare_view(a=ZEBRA).comparison.taxa == alike.nearest(ZEBRA)
    assert idkey.compare_view(b=ZEBRA).comparison.taxa == alike.nearest(ZEBRA)[::-1]
    for a, words in (("hypancistrus_zebr", "did you mean"), (L201, "two different kinds")):
        with pytest.raises(IdkeyError, match=words):
            idkey.compare_view(a=a, b=L201)


def test_any_table_and_every_kind_can_be_chosen_once(screen):
    frame = pd.DataFrame({"kind": ["<b>a</b>", "b", "c"], "tail": ["forked", "straight", "straight"]})
    other = idkey.compare_view(idkey.TraitTable.from_frame(frame, taxon="kind"), "<b>a</b>", "b")
    assert "<b>a</b>" not in other.beside._result.value
    assert "&lt;b&gt;a&lt;/b&gt;" in other.beside._result.value
    labels = [label for label, _ in screen.beside._a.options]
    assert len(set(labels)) == len(labels) == len(screen.table)
    assert labels == sorted(labels, key=str.casefold)
