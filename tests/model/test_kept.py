"""A table is compiled once, and what is worked out for it goes when it goes."""

from __future__ import annotations

import copy
import gc
import pickle
import weakref

import pandas as pd

from idkey import Identification, NearestMatch, TraitTable, compare
from idkey.model import combine


def small_table() -> TraitTable:
    frame = pd.DataFrame({"kind": ["a", "b"], "tail": ["forked", "straight"], "rays": [7, 9]})
    return TraitTable.from_frame(frame, taxon="kind")


def test_a_table_is_compiled_once_whatever_is_asked_of_it(monkeypatch):
    table, made = small_table(), []
    compile_ = combine.TableModel.__init__
    monkeypatch.setattr(
        combine.TableModel, "__init__", lambda self, of: (made.append(of), compile_(self, of))[0]
    )
    NearestMatch().fit(table).rank({"tail": "forked"})
    Identification(table).answer("tail", "forked").questions()
    compare(table, "a", "b")
    table.lookalikes()
    table.changes(table.with_cell("a", "rays", 8))
    assert [of is table for of in made].count(True) == 1


def test_a_copy_and_a_pickle_take_nothing_of_it_along():
    table = small_table()
    plain = len(pickle.dumps(table))
    combine.model_of(table)
    assert len(pickle.dumps(table)) == plain
    for other in (copy.copy(table), copy.deepcopy(table), pickle.loads(pickle.dumps(table))):
        assert combine.model_of(other) is not combine.model_of(table)
        assert combine.model_of(other).table is other
    match = pickle.loads(pickle.dumps(NearestMatch().fit(table)))
    assert match.predict(pd.DataFrame({"tail": ["forked"]})).tolist() == ["a"]


def test_a_table_out_of_use_is_let_go():
    table = small_table()
    Identification(table).questions()
    compare(table, "a", "b")
    gone = weakref.ref(table)
    del table
    gc.collect()
    assert gone() is None
