"""What a change does, in words: what needs doing first, calm where all is well, names as text."""

import re

import pandas as pd
import pytest
from markup import Page

from idkey import TraitTable, load_table
from idkey.model.changes import what_changes
from idkey.model.lookalikes import apart
from idkey.table.schema import Trait

THREE = ("tail", "fin", "eye")


def table_of(rows):
    frame = pd.DataFrame([{"kind": kind, **dict(zip(THREE, row, strict=True))} for kind, row in rows.items()])
    return TraitTable.from_frame(frame, taxon="kind")


OLD = table_of({"a": "xxx", "b": "yyy"})
SAME = {"tail": "x", "fin": "x", "eye": "x"}


def said(change):
    """Return the words of both forms, which are the same; blanks squeezed."""
    text = " ".join(line.strip().removeprefix("- ") for line in repr(change).splitlines())
    assert " ".join(" ".join(Page(change._repr_html_()).data).split()) == " ".join(text.split())
    return text


def test_a_kind_that_can_not_be_told_comes_first():
    text = said(what_changes(OLD, OLD.with_taxon("new", **SAME)))
    assert text.startswith(
        "Added: new. new can't be told from a by anything in the table. "
        "a: the same in all 3 traits known of both. To settle it takes a new trait."
    )
    assert text.endswith("In the key: 1 couplet, as before; questions to a name: 1.0, as before.")


def test_all_is_well_or_nothing_changed():
    assert said(what_changes(OLD, OLD)) == "Nothing has changed."
    assert "key" not in said(what_changes(OLD, OLD.with_taxon("new", **SAME), key=False))
    text = said(what_changes(OLD, OLD.with_taxon("new", tail="x", fin="y", eye="x"), past=[{"tail": "y"}]))
    assert "new is told from every other kind." in text
    assert "can't" not in text
    assert "In the key: 1 couplet more, 2 in all; questions to a name: 1.0 -> 1.7." in text


def test_what_would_settle_it():
    kin = {f"kin{i}": f"y{state}y" for i, state in enumerate("yyyx")}
    table = table_of({"a": "xxx", **kin})
    spots = Trait(id="spots", kind="nominal", states=("p", "q"))
    new = table.with_trait(spots, {"a": "p", **dict.fromkeys(kin, "q")})
    text = said(what_changes(new, new.with_taxon("new", **SAME)))
    assert "settle it: spots, blank for new (of the 4 kinds known, 4 differ from the other kind)." in text


def test_past_names():
    new = table_of({"a": "yyy", "b": "xxx"})
    text = said(what_changes(OLD, new, past=[SAME] * 9))
    assert "Past identifications that get another name: 9 of 9." in text
    assert re.search(r"number 1: was a \(\d+ %\), now b \(\d+ %\)", text)
    assert "and 4 more" in text
    calm = said(what_changes(OLD, OLD.with_taxon("c", tail="y", fin="y", eye="x"), past=[{}]))
    assert "Past identifications looked at: 1; nothing changes." in calm


def test_a_trait_taken_out():
    frame = pd.DataFrame({"kind": ["a", "b"], "tail": list("xx"), "fin": list("xx")})
    less = TraitTable.from_frame(frame, taxon="kind")
    text = said(what_changes(table_of({"a": "xxx", "b": "xxy"}), less))
    assert "What is lost with the traits taken out: eye: tells 1 pair, 1 that nothing else tells" in text


@pytest.mark.parametrize("taxon", load_table().ids[::11])
def test_a_shipped_kind_left_out_and_put_back(taxon):
    table = load_table()
    text = said(what_changes(table.only([t for t in table.ids if t != taxon]), table, key=False))
    assert text.startswith(f"Added: {table.label(taxon)}.")
    assert len(text) < 6_000
    assert max(map(len, repr(apart(table, taxon)).splitlines())) <= 78
