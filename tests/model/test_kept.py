"""A table is compiled once, and what is worked out for it goes when it goes."""

import copy
import gc
import pickle
import weakref

import pytest

from idkey import Identification, NearestMatch, compare
from idkey.model import combine

from .tables import nominal, table_of


def small_table():
    return table_of([nominal("tail"), nominal("fin")], {"a": "a a", "b": "b b"})


def test_a_table_is_compiled_once_whatever_is_asked_of_it(monkeypatch):
    table, made = small_table(), []
    compile_ = combine.TableModel.__init__
    monkeypatch.setattr(
        combine.TableModel, "__init__", lambda self, of: (made.append(of), compile_(self, of))[0]
    )
    NearestMatch().fit(table).rank({"tail": "a"})
    Identification(table).answer("tail", "a").questions()
    compare(table, "a", "b")
    table.lookalikes()
    table.changes(table.with_cell("a", "fin", "b"))
    assert [of is table for of in made].count(True) == 1


def test_a_copy_and_a_pickle_take_nothing_of_it_along():
    table = small_table()
    plain = len(pickle.dumps(table))
    combine.model_of(table)
    assert len(pickle.dumps(table)) == plain
    for other in (copy.copy(table), copy.deepcopy(table), pickle.loads(pickle.dumps(table))):
        assert combine.model_of(other) is not combine.model_of(table)
        assert combine.model_of(other).table is other
        with pytest.raises(TypeError):
            other.cells["tail"] = ()


def test_a_table_out_of_use_is_let_go():
    table = small_table()
    Identification(table).questions()
    compare(table, "a", "b")
    gone = weakref.ref(table)
    del table
    gc.collect()
    assert gone() is None
