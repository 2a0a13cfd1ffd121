"""A keeper's own table over the shipped one: nothing of it is lost, a newer shipped table is taken in."""

from __future__ import annotations

import csv
import io
import json
import os
import shutil
import warnings
import zipfile
from dataclasses import replace
from functools import partial
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from idkey.errors import IdkeyError, TableError, TableWarning, UnknownName
from idkey.table import folder, layout
from idkey.table.files import files_of
from idkey.table.folder import BASE, load_table, restore, settle, start_table, versions
from idkey.table.layout import FILES
from idkey.table.schema import cell_text
from idkey.table.table import TraitTable
from idkey.views import html as on_screen
from idkey.views.doc import as_text
from idkey.views.edit import conflicts_document

from .small_folder import (
    CLAIM,
    FINS,
    NEWER,
    READ,
    SMALL,
    WITH_GENUS,
    Files,
    added,
    laid,
    own_kind,
    put_down,
    rows_of,
    saved,
    source,
    started,
    step,
    steps,
    upgraded,
    whole,
    with_cell,
    without,
    without_kind,
    without_trait,
)

BOTH = pytest.mark.parametrize("keep", ["own", "shipped"])


def content(table: TraitTable) -> dict[str, list[str]]:
    """What a table says; claims, sources and kinds in no order."""
    written = {n: d for n, d in files_of(table).items() if n != "datapackage.json"}
    said = {n: sorted(filter(None, d.decode().splitlines())) for n, d in written.items()}
    return said | {"taxa.csv": table.to_frame().sort_index().sort_index(axis=1).to_csv()}


def ids(table: TraitTable) -> list[str]:
    return [conflict.id for conflict in table.conflicts]


def text(table: TraitTable, taxon: str, column: str) -> str:
    return cell_text(table.trait_of(column), table.cell(taxon, column))


def texts(own: Files) -> set[str]:
    """Every text of all cells of all rows."""
    lines = [list(csv.reader(io.StringIO(own[name].decode()))) for name in own if name.endswith(".csv")]
    return {cell for rows in lines for row in rows[1:] for cell in row}


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Two folders: the shipped table as the package holds it, and the keeper's own."""
    shipped, mine = tmp_path / "shipped", tmp_path / "mine"
    monkeypatch.setattr(layout, "shipped_folder", lambda: shipped)
    monkeypatch.setattr(os, "fsync", lambda handle: None)  # no power is cut here

    put_down(shipped, SMALL)
    return partial(put_down, shipped), mine


# -- what is added is kept -------------------------------------------------------------------------------


def test_nothing_added_is_the_shipped_table_and_what_both_say_is_no_conflict():
    table = started()
    assert files_of(table) == files_of(whole(SMALL))
    assert files_of(laid(NEWER, saved(table))) == files_of(whole(NEWER))
    own = saved(table.with_cell("delta", "rays", "8", CLAIM))
    same = upgraded(with_cell(SMALL, "taxa.csv", "delta", "rays", "8..8"))
    assert table.conflicts == laid(NEWER, own).conflicts == laid(same, own).conflicts == ()


def test_an_own_folder_is_a_whole_table_with_the_base_beside_it(place):
    _, mine = place
    own_kind(start_table(mine), tail="forked").with_cell("alpha", "tail", "hollow", CLAIM).save()
    read = {path.name: path.read_bytes() for path in mine.iterdir() if path.is_file()}
    assert {*read} == {*FILES, BASE} - {"genera.csv"}
    assert [row["id"] for row in rows_of(read, "taxa.csv")] == [*whole(SMALL).ids, "mine"]
    with zipfile.ZipFile(mine / BASE) as base:
        assert {name: base.read(name) for name in base.namelist()} == SMALL
    assert len(whole({n: d for n, d in read.items() if n != BASE})) == 6


def test_what_a_keeper_overrode_is_told_on_the_change_and_not_at_each_load(place):
    old = start_table(place[1])
    new = old.with_cell("alpha", "tail", "hollow")
    assert [(d.taxon, d.against) for d in new.changes(old, key=False).doubts] == [("alpha", "source")]
    new.save()
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        load_table(place[1])
    assert any(d.taxon == "alpha" for d in load_table(place[1]).review().doubts)
    # A cell that was changed by hand has nobody's word.
    taxa = place[1] / "taxa.csv"
    taxa.write_bytes(taxa.read_bytes().replace(b"hollow,light,7..8", b"straight,light,7..8"))
    with pytest.warns(TableWarning, match="taxa.csv has straight"):
        load_table(place[1])


def test_a_shipped_table_that_changed_without_a_new_version_is_taken_in(place):
    ship, mine = place
    own_kind(start_table(mine), tail="forked").save()
    ship(with_cell(SMALL, "taxa.csv", "beta", "vernacularName", "Spotty"))
    table = load_table(mine)
    assert (table.taxa.at["beta", "vernacularName"], table.conflicts) == ("Spotty", ())
    assert "mine" in table.save().ids


def test_a_kind_left_out_is_not_brought_back_by_a_claim_of_a_trait_in_conflict():
    # The keeper gave the trait a state more, and the shipped table has neither the trait nor the kind by now.
    own = saved(started())
    for column in ("states", "state_words"):
        own = with_cell(own, "traits.csv", "teeth", column, "few|many|none")
    later = laid(upgraded(without_trait("teeth")(without_kind("omega")(SMALL))), own)
    assert (ids(later), "omega" in later.ids) == (["trait:teeth"], False)


def test_a_kind_or_a_cell_may_be_taken_out_and_written_anew():
    table = own_kind(started().without_taxon("beta"), "beta", tail="forked")
    table = table.with_cell("alpha", "tail", "").with_cell("alpha", "tail", "straight", CLAIM)
    for shipped in (SMALL, NEWER):
        again = laid(shipped, saved(table))
        assert again.conflicts == ()
        assert text(again, "beta", "tail") == "forked"
        assert again.taxa.at["beta", "scientificName"] == "Testia mine"
        assert list(again.claims("alpha", "tail")["note"]) == ["seen in the tank"]


def test_what_could_not_be_said_as_an_addition_is_kept_by_now():
    table = started()
    care = table.care.copy()
    care.loc[0, "flow"] = "gentle"
    fewer = table.evidence[table.evidence["note"] != "a second look"].reset_index(drop=True)
    longer = (replace(table.traits[0], question="Longer?"), *table.traits[1:])
    again = laid(NEWER, saved(replace(table, traits=longer, care=care, evidence=fewer)))
    assert again.conflicts == ()
    assert again.traits[0].question == "Longer?"
    assert again.care.loc[0, "flow"] == "gentle"
    assert "a second look" not in set(again.evidence["note"])


@settings(phases=[Phase.generate], max_examples=10)
@given(st.lists(steps, max_size=8), st.lists(steps, max_size=6))
def test_a_newer_shipped_table_that_touches_nothing_of_it_keeps_all_changes(changes, then):
    table = started()
    for change in changes:
        table = step(table, *change)
    later = laid(NEWER, saved(table))
    assert later.conflicts == ()
    assert "zeta" in later.ids
    assert later.taxa.at["gamma", "scientificName"] == "Testia gammoides"
    # Made over the newer table from the start, it is the same; and it goes on as any other.
    fresh = started(NEWER)
    for change in changes:
        fresh = step(fresh, *change)
    assert content(later) == content(fresh)
    for change in then:
        later = step(later, *change)
    again = laid(NEWER, saved(later))
    assert (files_of(again), again.conflicts) == (files_of(later), ())


@settings(phases=[Phase.generate], max_examples=20)
@given(st.lists(steps, max_size=10), st.data())
def test_whatever_is_taken_from_the_shipped_table_an_own_table_loads_and_loses_nothing(changes, data):
    table = started()
    for change in changes:
        table = step(table, *change)
    own, newer = saved(table), upgraded(SMALL)
    for _ in range(data.draw(st.integers(1, 3))):
        newer = data.draw(st.sampled_from(CUTS))(newer)
    later = laid(newer, own)
    assert texts(own) - texts(saved(later)) <= texts(SMALL)
    kept = saved(later)
    again = laid(newer, kept)
    assert set(ids(again)) == set(ids(later))
    assert content(again) == content(later)
    # Each can be settled either way, and then nothing is open.
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(folder, "_shipped", lambda: dict(newer))
        open_now = folder._Own(kept, "mine")
        for _ in range(2 * len(again.conflicts) + 2):
            if not open_now.merge.conflicts:
                break
            conflict = data.draw(st.sampled_from(open_now.merge.conflicts))
            keep = data.draw(st.sampled_from(["own", "shipped"]))
            open_now.merge = open_now.merge.settled(conflict.id, keep)
            assert conflict.id not in [c.id for c in open_now.merge.conflicts]
            open_now.table()
        assert open_now.merge.conflicts == ()


def without_cell(taxon: str, column: str):
    def cut(shipped: Files) -> Files:
        if column not in rows_of(shipped, "taxa.csv")[0]:
            return shipped
        shipped = with_cell(shipped, "taxa.csv", taxon, column, "")
        place = (taxon, column)
        return without(shipped, "evidence.csv", lambda row: (row["taxon"], row["attribute"]) == place)

    return cut


def without_source(key: str, rest: str):
    """A source is gone: its claims are by now another's."""

    def cut(shipped: Files) -> Files:
        first, *entries = shipped["sources.bib"].decode().split("\n@")
        if len(entries) < 2:
            return shipped
        kept = [entry for entry in entries if f"{{{key}," not in entry]
        shipped = {**shipped, "sources.bib": "\n@".join([first, *kept]).encode()}
        for name in ("evidence.csv", "taxa.csv"):
            shipped = {**shipped, name: shipped[name].replace(f",{key},".encode(), f",{rest},".encode())}
        return shipped

    return cut


SHIPPED_FINS = "fins,Fins,nominal,,long|round,long|round,no,Fins?,,0.1,invented,,5,,no,yes,,,,\n"


def with_fins(shipped: Files) -> Files:
    if b"fins" in shipped["traits.csv"]:
        return shipped
    newer = {**shipped, "traits.csv": shipped["traits.csv"] + SHIPPED_FINS.encode()}
    newer = added(newer, "taxa.csv", id="fish", scientificName="Testia fish", genus="Testia", fins="round")
    return added(newer, "evidence.csv", taxon="fish", attribute="fins", value="round", **READ)


def with_note(shipped: Files) -> Files:
    """The shipped table has a source of the keeper's name by now."""
    more = b"" if b"{MINE," in shipped["sources.bib"] else source("MINE", "Something else").encode()
    return {**shipped, "sources.bib": shipped["sources.bib"] + more}


CUTS = [
    with_fins,
    with_note,
    without_kind("beta"),
    without_kind("alpha"),
    without_trait("teeth"),
    without_trait("spots"),
    without_trait("tail"),
    without_cell("alpha", "tail"),
    without_cell("gamma", "spots"),
    without_source("JONES", "SMITH"),
    without_source("SMITH", "JONES"),
]


# -- what the keeper mistyped ----------------------------------------------------------------------------


SLIP = {"id": "mine", "scientificName": "Testia mine", "genus": "Testia"}
SMYTH = {"taxon": "alpha", "attribute": "tail", "source": "SMYTH", "class": "read", "scope": "species"}


@pytest.mark.parametrize("shipped", [SMALL, upgraded(with_cell(SMALL, "taxa.csv", "beta", "size", "91"))])
@pytest.mark.parametrize(
    ("file", "row", "place", "column", "value"),
    [
        ("taxa.csv", {**SLIP, "tail": "fork"}, "7 (mine)", "tail", "fork"),
        ("taxa.csv", {**SLIP, "careGroup": "stone"}, "7 (mine)", "careGroup", "stone"),
        ("evidence.csv", SMYTH, "32 (alpha)", "source", "SMYTH"),
        ("traits.csv", {"id": "fins", "kind": "nominl"}, "7 (fins)", "kind", "nominl"),
    ],
)
def test_a_slip_of_the_pen_is_named_with_its_own_row(shipped, file, row, place, column, value):
    with pytest.raises(TableError) as error:
        laid(shipped, added(saved(started()), file, **row))
    assert (file, place, column, value) in [(p.file, p.row, p.column, p.value) for p in error.value.problems]


@pytest.mark.parametrize("file", ["taxa.csv", "traits.csv", "sources.bib"])
def test_a_file_that_is_gone_from_the_own_folder_is_missed(place, file):
    ship, mine = place
    own_kind(start_table(mine), tail="forked").save()
    (mine / file).unlink()
    for shipped in (SMALL, NEWER):
        ship(shipped)
        with pytest.raises(TableError) as error:
            load_table(mine)
        missed = [(p.file, p.right) for p in error.value.problems]
        assert missed == [(file, "the file is missing from this folder")]


@pytest.mark.parametrize("damage", [b"", b"PK", b"not a zip"])
def test_a_base_that_can_not_be_read_is_said_and_an_old_version_brings_it_back(place, damage):
    _, mine = place
    own_kind(start_table(mine), tail="forked").save()
    load_table(mine).with_cell("alpha", "tail", "hollow").save()
    with zipfile.ZipFile(mine / BASE, "a") as base:
        base.writestr("../escaped.csv", "x")  # touches nothing
    assert load_table(mine).conflicts == ()
    assert not list(mine.parent.rglob("escaped.csv"))
    (mine / BASE).write_bytes(damage)
    with pytest.raises(TableError, match=r"base\.zip: .*put an old version back"):
        load_table(mine)
    assert "mine" in restore(mine, versions(mine)[0]).ids


# -- conflicts -------------------------------------------------------------------------------------------


def met(place, table: TraitTable, newer: Files, *conflicts: str) -> TraitTable:
    """Save a table and load it over a newer one: just these are open, and stay so when it is saved again."""
    ship, mine = place
    table.save()
    ship(newer)
    table = load_table(mine)
    assert set(ids(table)) == {*conflicts}
    table.save()
    assert sorted(ids(load_table(mine))) == sorted(conflicts)
    return load_table(mine)


def settled(place, keep: str, *conflicts: str) -> TraitTable:
    """Settle these one after the other; nothing is open then, and it stays so."""
    for conflict in conflicts:
        table = settle(place[1], conflict, keep)
    assert table.conflicts == load_table(place[1]).conflicts == ()
    assert content(load_table(place[1])) == content(table)
    return table


def test_a_cell_that_both_changed(place):
    ship, mine = place
    table = start_table(mine).with_cell("alpha", "tail", "hollow", CLAIM)
    changed = with_cell(SMALL, "taxa.csv", "alpha", "tail", "straight")
    table = met(place, table, upgraded(changed), "cell:alpha:tail")
    (conflict,) = table.conflicts
    assert conflict.place == ("taxa.csv", "alpha", "tail")
    assert (conflict.before, conflict.shipped, conflict.own) == ("forked", "straight", "hollow")
    assert text(table, "alpha", "tail") == "hollow"
    # Saving something else leaves it open.
    assert ids(own_kind(table).save()) == ids(load_table(mine)) == ["cell:alpha:tail"]
    assert text(settled(place, "own", "cell:alpha:tail"), "alpha", "tail") == "hollow"
    ship(upgraded(changed, "3.0"))
    assert load_table(mine).conflicts == ()
    ship(upgraded(with_cell(SMALL, "taxa.csv", "alpha", "tail", "straight|forked"), "4.0"))
    given = settled(place, "shipped", "cell:alpha:tail")
    assert text(given, "alpha", "tail") == "straight|forked"
    assert "seen in the tank" not in set(given.evidence["note"])
    assert ("mine" in given.ids, given.version) == (True, "4.0 with additions")


@BOTH
def test_a_kind_left_out_stays_out_unless_its_row_was_changed(place, keep):
    ship, mine = place
    table = start_table(mine).without_taxon("beta").save()
    ship(NEWER)
    assert "beta" not in load_table(mine).ids
    newer = upgraded(with_cell(SMALL, "taxa.csv", "beta", "size", "95"), "3.0")
    assert "beta" not in met(place, table, newer, "taxon:beta").ids
    done = settled(place, keep, "taxon:beta")
    assert {"beta" in done.ids, "beta" in set(done.care["taxon"])} == {keep == "shipped"}


def own_kind_shipped() -> Files:
    nova = {"scientificName": "Testia nova", "genus": "Testia", "tail": "straight", "size": "50"}
    newer = added(SMALL, "taxa.csv", id="mine", **nova)
    for column in ("tail", "size"):
        newer = added(newer, "evidence.csv", taxon="mine", attribute=column, value=nova[column], **READ)
    return upgraded(newer)


@BOTH
def test_an_own_kind_that_is_shipped_by_now(place, keep):
    mine = own_kind(start_table(place[1]), tail="forked", spots="light")
    table = met(place, mine, own_kind_shipped(), "taxon:mine")
    assert (text(table, "mine", "tail"), text(table, "mine", "size")) == ("forked", "")
    table.with_cell("alpha", "teeth", "many", CLAIM).save()
    done = settled(place, keep, "taxon:mine")
    kept = [text(done, "mine", column) for column in ("tail", "size", "spots")]
    assert kept == (["forked", "", "light"] if keep == "own" else ["straight", "50", ""])
    assert text(done, "alpha", "teeth") == "many"


@BOTH
def test_an_own_kind_under_the_trade_code_of_a_new_shipped_one(place, keep):
    table = own_kind(start_table(place[1]), tradeCode="T001|T777", tail="forked").save()
    assert load_table(place[1]).conflicts == ()  # T001 was shared, and said, from the start
    place[0](NEWER)
    (conflict,) = load_table(place[1]).conflicts
    assert (conflict.id, conflict.own, conflict.shipped) == ("taxon:mine=zeta", "mine", "zeta")
    assert "T777" in conflict.text
    assert {"mine", "zeta"} <= set(met(place, table, NEWER, conflict.id).ids)
    done = settled(place, keep, conflict.id)
    assert ("mine" in done.ids) == (keep == "own")
    done.save()
    assert load_table(place[1]).conflicts == ()


@BOTH
def test_an_own_trait_whose_name_is_taken_by_now(place, keep):
    mine = own_kind(start_table(place[1]).with_trait(FINS, {"alpha": "short", "beta": "long"}), fins="short")
    newer = with_cell(with_fins(SMALL), "taxa.csv", "alpha", "fins", "round")
    newer = added(newer, "evidence.csv", taxon="alpha", attribute="fins", value="round", **READ)
    table = met(place, mine.with_cell("mine", "fins_young", "long"), upgraded(newer), "trait:fins")
    # Neither is taken for the other: until it is settled only yours is in the table.
    taxa = ("alpha", "beta", "mine", "fish")
    assert [text(table, taxon, "fins") for taxon in taxa] == ["short", "long", "short", ""]
    assert table.trait("fins").states == ("long", "short")
    done = settled(place, keep, "trait:fins")
    # What can be read as the shipped trait is kept, what can't is in the old versions of the folder.
    left = ["short", "long", "short", ""] if keep == "own" else ["round", "long", "", "round"]
    assert [text(done, taxon, "fins") for taxon in taxa] == left
    assert text(done, "mine", "fins_young") == "long"


def test_an_own_source_whose_key_is_taken_by_now_gets_another(place):
    table = start_table(place[1]).with_source(source("MINE", "A note of mine"))
    table = table.with_cell("alpha", "teeth", "many", source="MINE")
    table = met(place, table, upgraded(with_note(SMALL)))
    assert set(table.claims("alpha", "teeth")["source"]) == {"MINE_own", "SMITH"}
    assert "A note of mine" in table.sources["MINE_own"].full
    assert "Something else" in table.sources["MINE"].full


def with_own_care(table: TraitTable) -> TraitTable:
    rows = pd.DataFrame([("caves", "", "strong"), ("sand", "gamma", "gentle")])
    rows.columns = ["care_group", "taxon", "flow"]
    claims = pd.DataFrame({"care_group": ["caves", ""], "taxon": ["", "gamma"]})
    claims = claims.assign(**{"attribute": "flow", "class": "memory", "scope": "group"})
    pairs = ((table.care, rows), (table.evidence, claims))
    care, evidence = (pd.concat(pair, ignore_index=True).fillna("") for pair in pairs)
    return replace(table, care=care, evidence=evidence)


@BOTH
def test_own_care_that_is_shipped_by_now(place, keep):
    mine = with_own_care(own_kind(start_table(place[1]))).with_cell("mine", "careGroup", "caves")
    mine = mine.with_evidence("gamma", "spots", CLAIM)
    newer = added(SMALL, "care.csv", care_group="caves", flow="moderate", ph="5..6")
    newer = added(newer, "care.csv", care_group="sand", taxon="gamma", ph="7..8")
    for who, column in (("caves", "flow"), ("caves", "ph"), ("gamma", "ph")):
        about = {"care_group" if who == "caves" else "taxon": who, "attribute": column}
        newer = added(newer, "evidence.csv", class_="memory", scope="group", **about)
    met(place, mine, upgraded(newer), "care:gamma", "group:caves")
    done = settled(place, keep, "group:caves", "care:gamma")
    assert done.taxa.at["mine", "careGroup"] == "caves"
    rows = done.care.set_index(["care_group", "taxon"])[["flow", "ph"]].T.to_dict("list")
    assert rows["sand", "gamma"] == (["gentle", ""] if keep == "own" else ["", "7..8"])
    assert rows["caves", ""] == (["strong", ""] if keep == "own" else ["moderate", "5..6"])
    # What is claimed of its traits has nothing to do with its care.
    assert "seen in the tank" in set(done.claims("gamma", "spots")["note"])


@BOTH
def test_a_cell_of_care_that_both_changed(place, keep):
    table = start_table(place[1])
    care = table.care.copy()
    care.loc[care["care_group"] == "sand", "substrate"] = "Gravel."
    newer = upgraded(with_cell(SMALL, "care.csv", "sand", "substrate", "Stones."))
    met(place, replace(table, care=care), newer, "group:sand:substrate")
    done = settled(place, keep, "group:sand:substrate")
    assert set(done.care["substrate"]) == {"", "Gravel." if keep == "own" else "Stones."}


def test_a_column_of_care_and_a_group_of_its_name_are_two_conflicts():
    def with_ph(files: Files, flow: str, unit: str) -> Files:
        files = added(files, "care.csv", care_group="ph", flow=flow)
        claim = {"attribute": "flow", "class_": "memory", "scope": "group"}
        files = added(files, "evidence.csv", care_group="ph", **claim)
        return with_cell(files, "care_columns.csv", "ph", "unit", unit)

    mine = laid(SMALL, with_ph(saved(started()), "strong", "count"))
    table = laid(with_ph(SMALL, "gentle", "% SL"), saved(mine))
    assert ids(table) == ["column:ph", "group:ph"]


def leaning(mine: Path) -> TraitTable:
    """Save a table with something that leans on each of the kinds of things that may go."""
    table = own_kind(start_table(mine).with_trait(FINS, {"beta": "long"}), teeth="few", careGroup="stones")
    table = table.with_cell("beta", "size", "95", source="JONES").with_cell("alpha", "teeth", "many", CLAIM)
    return table.with_evidence("gamma", "spots", source="JONES").with_cell("mine", "spots", "light").save()


def much_gone() -> Files:
    newer = upgraded(SMALL)
    for cut in (without_kind("beta"), without_trait("teeth"), without_cell("gamma", "spots")):
        newer = cut(newer)
    newer = with_cell(newer, "traits.csv", "spots", "states", "pale|dark|none")
    for file in ("taxa.csv", "traits.csv"):
        newer[file] = newer[file].replace(b"light", b"pale")
    return newer


GONE = {"taxon:beta", "gone:trait:teeth", "trait:spots", "cell:gamma:spots"}


def test_what_leans_on_what_is_gone_stays_and_the_shipped_may_come_back(place):
    before = leaning(place[1])
    table = met(place, before, much_gone(), *GONE)
    for taxon, column in (("beta", "size"), ("mine", "teeth"), ("alpha", "teeth"), ("gamma", "spots")):
        assert text(table, taxon, column) == text(before, taxon, column)
    assert table.trait("fins").applies_when == ("spots", ("light",))
    own_kind(table, "another").save()
    assert set(ids(load_table(place[1]))) == GONE
    place[0](upgraded(SMALL, "3.0"))
    table = load_table(place[1])
    assert table.conflicts == ()
    assert content(table.without_taxon("another")) == content(before)


@BOTH
@pytest.mark.parametrize("turned", [False, True])
def test_what_is_gone_can_be_kept_or_given_up_one_by_one_in_any_order(place, keep, turned):
    ship, mine = place
    leaning(mine)
    ship(much_gone())
    for conflict in sorted(GONE, reverse=turned):
        if conflict in ids(load_table(mine)):
            table = settle(mine, conflict, keep)
            assert conflict not in ids(table)
    assert table.conflicts == load_table(mine).conflicts == ()
    own = keep == "own"
    assert ("beta" in table.ids, "teeth" in table.trait_ids, "mine" in table.ids) == (own, own, True)
    assert text(table, "mine", "spots") == ("light" if own else "")
    assert text(table, "alpha", "spots") == ("light" if own else "pale")
    assert table.trait("fins").applies_when == (("spots", ("light",)) if own else None)
    assert table.version == "2.0 with additions"


@BOTH
def test_a_source_or_a_care_group_that_is_gone_stays_where_the_keeper_uses_it(place, keep):
    mine = own_kind(start_table(place[1]), careGroup="stones").with_cell("gamma", "careGroup", "stones")
    newer = without_source("JONES", "SMITH")(SMALL)
    newer = {name: data.replace(b"stones", b"rocks") for name, data in newer.items()}
    table = mine.with_cell("alpha", "teeth", "many", source="JONES")
    table = met(place, table, upgraded(newer), "gone:group:stones", "gone:source:JONES")
    assert list(table.taxa.loc[["mine", "alpha"], "careGroup"]) == ["stones", "rocks"]
    table = settled(place, keep, "gone:group:stones", "gone:source:JONES")
    groups = ["stones", "stones"] if keep == "own" else ["", "sand"]
    assert list(table.taxa.loc[["mine", "gamma"], "careGroup"]) == groups
    assert text(table, "alpha", "teeth") == "many"
    assert ("JONES" in table.sources) == (keep == "own")


def test_a_trait_that_both_changed_so_that_it_can_not_be_read_is_one_conflict():
    table = started()
    spots = replace(table.traits[2], states=("light", "dark", "none", "odd"), words=("a", "b", "c", "d"))
    mine = saved(replace(table, traits=(*table.traits[:2], spots, *table.traits[3:])))
    newer = with_cell(SMALL, "traits.csv", "spots", "states", "light|dark|none|blue")
    newer = with_cell(newer, "traits.csv", "spots", "state_words", "light|dark|no spots|blue")
    newer = upgraded(with_cell(newer, "taxa.csv", "gamma", "spots", "blue"))
    later = laid(newer, mine)
    assert "trait:spots" in ids(later)
    assert later.trait("spots").states[-1] == "odd"


def test_settling_what_is_not_open_or_not_so(place):
    ship, mine = place
    start_table(mine).with_cell("alpha", "tail", "hollow", CLAIM).save()
    with pytest.raises(UnknownName, match="none is"):
        settle(mine, "cell:alpha:tail", "own")
    ship(upgraded(with_cell(SMALL, "taxa.csv", "alpha", "tail", "straight")))
    with pytest.raises(UnknownName, match="did you mean 'cell:alpha:tail'"):
        settle(mine, "cell:alpha:tial", "own")
    with pytest.raises(IdkeyError, match="shipped, own"):
        settle(mine, "cell:alpha:tail", "both")
    with pytest.raises(IdkeyError, match="nothing to settle"):
        settle(mine.parent / "shipped", "cell:alpha:tail", "own")


def test_conflicts_are_listed_with_both_sides_and_how_to_settle_them():
    own = saved(started().with_cell("alpha", "vernacularName", "<b>mine</b>"))
    newer = upgraded(with_cell(SMALL, "taxa.csv", "alpha", "vernacularName", "<i>theirs</i>"))
    document = conflicts_document(laid(newer, own))
    words, page = as_text(document), on_screen.render(document)
    for part in ("it was: Alpha", "<i>theirs</i>", "<b>mine</b>", "'cell:alpha:vernacularName', 'own')"):
        assert part in words
    assert "&lt;i&gt;theirs" in page
    assert page.count("<b>mine") + page.count("<i>theirs") == 0
    assert page.count("settle(") == 2
    assert as_text(conflicts_document(started())).count("\n") == 0


# -- the table that is shipped, and tables written by version 0.1.0 ----------------------------------------


def test_the_real_table_with_a_changed_cell_and_a_newer_version():
    real = folder._shipped()
    first, second = whole(real).ids[:2]
    own = saved(started(real).with_cell(first, "tail_fork", "forked"))
    newer = upgraded(with_cell(real, "taxa.csv", second, "vernacularName", "Another name"), "9.0")
    table = laid(newer, own)
    assert table.conflicts == ()
    assert text(table, first, "tail_fork") == "forked"
    assert table.taxa.at[second, "vernacularName"] == "Another name"
    other = upgraded(with_cell(real, "taxa.csv", first, "tail_fork", "straight"), "9.0")
    assert ids(laid(other, own)) == [f"cell:{first}:tail_fork"]


def over(newer: Files, own: Files, keep: str, conflict: str) -> tuple[TraitTable, TraitTable]:
    """Load an own table over a newer one, where just this is open, before and after it is settled."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(folder, "_shipped", lambda: dict(newer))
        merged = folder._Own(own, "mine")
        before = merged.table()
        assert ids(before) == [conflict]
        merged.merge = merged.merge.settled(conflict, keep)
        assert merged.table().conflicts == ()
        return before, merged.table()


@BOTH
def test_what_holds_for_a_genus_is_merged_too(keep):
    table = started(WITH_GENUS).with_taxon("mine", scientificName="Testia sp.")
    said, own = WITH_GENUS["genera.csv"], saved(table)
    newer = upgraded({**WITH_GENUS, "genera.csv": said.replace(b"hollow", b"forked")})
    later = laid(newer, own)
    assert (later.conflicts, text(later, "mine", "tail")) == ((), "forked")
    own["genera.csv"] = said.replace(b"hollow", b"hollow|forked")
    _, done = over(newer, own, keep, "genus:Testia:tail")
    assert text(done, "mine", "tail") == ("hollow|forked" if keep == "own" else "forked")


@BOTH
def test_a_genus_that_is_gone_stays_where_the_keeper_backed_what_it_says(keep):
    claim = {"genus": "Testia", "attribute": "tail", "value": "hollow", "class_": "memory"}
    mine = added(saved(started(WITH_GENUS)), "evidence.csv", scope="genus", note="seen in the tank", **claim)
    newer = without(WITH_GENUS, "genera.csv", lambda row: row["genus"] == "Testia")
    newer = upgraded(without(newer, "evidence.csv", lambda row: row["genus"] == "Testia"))
    before, done = over(newer, mine, keep, "gone:genus:Testia")
    assert "tail" in before.genera["Testia"]
    assert ("Testia" in done.genera) == (keep == "own")


@pytest.mark.parametrize("form", ["own", "whole"])
def test_a_table_written_by_version_0_1_0_loads_with_all_it_had(tmp_path, form):
    here, mine = Path(__file__).parent, tmp_path / "mine"
    with zipfile.ZipFile(here / "whole_0_1_0.zip") as archive:
        archive.extractall(tmp_path / "whole")
    shutil.copytree(here / "own_0_1_0" if form == "own" else tmp_path / "whole", mine)
    old = {path.name: path.read_bytes() for path in mine.iterdir()}
    read = pd.read_csv(tmp_path / "whole" / "taxa.csv", dtype=str, keep_default_na=False).set_index("id")
    with warnings.catch_warnings():
        warnings.simplefilter(
            "error"
        )  # The keeper's 95 stands beside a claim for 100, and is the keeper's word.
        table = load_table(mine)
    assert table.conflicts == ()
    found = table.to_frame()
    assert found.columns.symmetric_difference(read.columns).empty
    expected = read
    if form == "own":
        # What the keeper changed, over the shipped table of today in all else; to blank a cell is a change.
        ours = load_table().to_frame().drop("panaqolus_maccus")
        expected = pd.concat([ours.assign(cheek_patch=""), found.loc[["hypancistrus_lamplight"]]])
        changed = {"hypancistrus_zebra": ("adult_size", "cheek_patch"), "hypancistrus_l260": ("tail_fork",)}
        changed["hypancistrus_lamplight"] = read.columns[read.loc["hypancistrus_lamplight"] != ""]
        for kind, columns in changed.items():
            for column in columns:
                expected.at[kind, column] = read.at[kind, column]
    columns = sorted(read.columns)
    pd.testing.assert_frame_equal(found.sort_index()[columns], expected.sort_index()[columns])
    claims = table.claims("hypancistrus_lamplight", "tail_fork")
    assert claims[["source", "locator", "class"]].to_numpy().tolist() == [["FIELD2026", "p. 12", "read"]]
    assert "An invented field guide" in table.sources["FIELD2026"].full
    assert table.trait("cheek_patch").states == ("yes", "no")
    new = table.with_cell("hypancistrus_lamplight", "adult_size", 91).save()
    left_out = {"genera.csv", BASE} if form == "whole" else set()
    assert {path.name for path in mine.iterdir()} - {".idkey"} == {*FILES, BASE} - left_out
    pd.testing.assert_frame_equal(load_table(mine).to_frame(), new.to_frame())
    assert load_table(mine).conflicts == ()
    assert folder.disk.version_files(mine, versions(mine)[0].name) == old
    again = restore(mine, versions(mine)[0])
    assert again.cell("hypancistrus_lamplight", "adult_size").high == 90


def test_a_cell_of_the_real_table_changed_in_version_0_1_0_and_since_is_a_conflict(tmp_path):
    # The rule of thumb for L471 was written down anew: "tall" then, "normal|tall" now (traits/evidence.csv).
    mine = tmp_path / "mine"
    shutil.copytree(Path(__file__).parent / "own_0_1_0", mine)
    with (mine / "changes.csv").open("ab") as file:
        file.write(b"hypancistrus_l471,dorsal_height,tall,normal\n")
    with pytest.warns(TableWarning):
        table = load_table(mine)
    (conflict,) = table.conflicts
    assert (conflict.id, conflict.before) == ("cell:hypancistrus_l471:dorsal_height", "tall")
    assert (conflict.shipped, conflict.own) == ("normal|tall", "normal")


def test_what_version_0_1_0_changed_and_the_shipped_table_has_changed_since_is_a_conflict(place):
    mine = place[1]
    said = {"taxon": "alpha", "attribute": "tail", "class": "memory", "scope": "species"}
    own = {name: SMALL[name].splitlines(keepends=True)[0] for name in ("taxa.csv", "traits.csv", "care.csv")}
    own["evidence.csv"] = added(
        {"evidence.csv": SMALL["evidence.csv"].splitlines(keepends=True)[0]}, "evidence.csv", **said
    )["evidence.csv"]
    own |= {"sources.bib": b"", "overlay.json": json.dumps({"version": "1.0"}).encode()}
    own["changes.csv"] = b"taxon,column,shipped,own\nalpha,tail,straight,hollow\nbeta,id,beta,\n"
    table = load_table(put_down(mine, own))
    assert (ids(table), table.conflicts[0].before) == (["cell:alpha:tail"], "straight")
    assert "beta" not in table.ids
    assert text(settle(mine, "cell:alpha:tail", "own"), "alpha", "tail") == "hollow"
    assert not (mine / "overlay.json").exists()
    for line in (b"alfa,tail,,forked", b"alpha,tial,,forked"):
        slip = own | {"changes.csv": b"taxon,column,shipped,own\n" + line + b"\n"}
        with pytest.raises(TableError, match=r"changes\.csv, row 2.*no such cell"):
            load_table(put_down(mine.parent / "slip", slip))
