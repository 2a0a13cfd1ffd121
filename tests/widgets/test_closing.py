"""A screen that is closed leaves nothing behind, and one that is used makes no widgets without end.

ipywidgets keeps every widget that is not closed, by its id, in `ipywidgets.widgets.widget._instances`.
"""

import gc
import weakref

import pytest
from ipywidgets.widgets import widget

import idkey
from idkey.widgets import base


def used_identify(table):
    screen = idkey.identify(table)
    fish = screen.identification
    for trait in table.trait_ids[:3]:
        screen.looking.other.value = trait
        screen.looking.asking.skip.click()
    while fish.unseen:
        screen.looking.undo.click()
    screen.looking.age.value = "adult"
    return screen


def used_care(table):
    screen = idkey.care_view(table=table)
    for taxon in table.ids:
        screen.caring._kind.value = taxon
    return screen


def used_comparison(table):
    screen = idkey.compare_view(table)
    for taxon in table.ids[2:]:
        screen.beside._c.value = taxon
    return screen


def used_editor(table):
    screen = idkey.table_editor(table)
    screen._kind.value = table.ids[1]
    for show in ("names", "all"):
        screen.form._show.value = show
    for column in screen.draft.columns[:3]:
        screen.form.open_cell(column)
    for fold in screen.folds.values():
        fold.button.click()
    return screen


SCREENS = {"identify": used_identify, "care": used_care, "compare": used_comparison, "editor": used_editor}


@pytest.fixture(scope="module")
def some(shipped):
    return shipped.only(shipped.ids[:4])


@pytest.mark.parametrize("open_one", SCREENS.values(), ids=SCREENS)
def test_a_closed_screen_leaves_no_widget_behind(some, open_one):
    before = set(widget._instances)
    screen = open_one(some)
    made = [weakref.ref(w) for key, w in widget._instances.items() if key not in before]
    assert len(made) > 20
    screen.close()
    screen.close()  # a second time does nothing
    assert not set(widget._instances) - before
    del screen
    gc.collect()
    assert not [ref() for ref in made if ref() is not None]


def test_two_screens_are_closed_each_by_itself(some):
    one, other = idkey.compare_view(some), idkey.compare_view(some)
    one.close()
    other.beside._c.value = some.ids[3]
    assert other.comparison.taxa[-1] == some.ids[3]
    assert other.comm is not None
    assert all(part.comm is not None for part in base._widgets_in(other))
    other.close()
