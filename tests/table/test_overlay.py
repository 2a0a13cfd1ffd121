"""A keeper's own table over the shipped one: nothing of it is lost, a newer shipped table is taken in."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

import idkey.views.html
import idkey.views.text
from idkey.errors import IdkeyError, TableError, UnknownName
from idkey.table import files, folder
from idkey.table.claims import Claim
from idkey.table.csvfile import Found
from idkey.table.files import files_of
from idkey.table.merge import lay_over
from idkey.table.overlay import CHANGES, OVERLAY, OVERLAY_FILES, is_overlay, own_files, read_overlay, settle
from idkey.table.schema import Trait, cell_text
from idkey.table.table import TraitTable
from idkey.views.table import conflicts_document

from .small_folder import SMALL, added, rows_of, source, upgraded, with_cell, without

CLAIM = Claim(evidence_class="memory", note="seen in the tank")
FINS = Trait(
    "fins",
    "nominal",
    label="Fins",
    question="Fins?",
    states=("long", "short"),
    applies_when=("spots", ("light",)),
)
Files = dict[str, bytes]


def whole(shipped: Files) -> TraitTable:
    return _whole(tuple(shipped.items()))


@lru_cache(maxsize=8)
def _whole(shipped: tuple[tuple[str, bytes], ...]) -> TraitTable:
    shipped = dict(shipped)
    found = Found("small")
    return files.table_from(files.parts_from(shipped, found), "small", found)


def laid(shipped: Files, own: Files) -> TraitTable:
    """Load an own table over a shipped one."""
    found = Found("mine")
    parts = files.parts_from(shipped, found)
    parts, conflicts = lay_over(parts, *read_overlay(own, found), found)
    return replace(files.table_from(parts, "mine", found), conflicts=conflicts)


def started(shipped: Files = SMALL) -> TraitTable:
    table = whole(shipped)
    return laid(shipped, own_files(table, table))


def saved(table: TraitTable, shipped: Files = SMALL) -> Files:
    return own_files(whole(shipped), table)


def content(table: TraitTable) -> Files:
    return {name: data for name, data in files_of(table).items() if name != "datapackage.json"}


def ids(table: TraitTable) -> list[str]:
    return [conflict.id for conflict in table.conflicts]


def text(table: TraitTable, taxon: str, column: str) -> str:
    return cell_text(table.trait_of(column), table.cell(taxon, column))


def own_kind(table: TraitTable, taxon: str = "mine", **cells: str) -> TraitTable:
    return table.with_taxon(taxon, **{"scientificName": "Testia mine", **cells})


def texts(own: Files) -> set[str]:
    """Every text that the keeper wrote: all cells of all rows."""
    found = set()
    for name, data in own.items():
        if name.endswith(".csv"):
            found |= {cell for row in list(csv.reader(io.StringIO(data.decode())))[1:] for cell in row}
    return found


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Two folders: the shipped table as the package holds it, and the keeper's own."""
    shipped, mine = tmp_path / "shipped", tmp_path / "mine"
    shipped.mkdir()
    monkeypatch.setattr(files, "shipped_folder", lambda: shipped)

    def ship(content: Files) -> None:
        for name, data in content.items():
            (shipped / name).write_bytes(data)

    ship(SMALL)
    return ship, mine


# -- what is added is kept -------------------------------------------------------------------------------


def test_nothing_added_is_the_shipped_table():
    own = saved(whole(SMALL))
    assert set(own) == set(OVERLAY_FILES)
    assert is_overlay(own)
    assert not is_overlay(SMALL)
    again = laid(SMALL, own)
    assert again.conflicts == ()
    assert files_of(again) == files_of(whole(SMALL))
    assert json.loads(own[OVERLAY]) == {"over": "small", "version": "1.0", "created": "2020-01-01T00:00:00Z"}


def test_only_what_was_added_stands_in_the_own_files():
    table = own_kind(started(), tail="forked", tradeCode="T900").with_cell("alpha", "tail", "hollow", CLAIM)
    own = saved(table)
    assert [row["id"] for row in rows_of(own, "taxa.csv")] == ["mine"]
    assert rows_of(own, CHANGES) == [
        {"taxon": "alpha", "column": "tail", "shipped": "forked", "own": "hollow"}
    ]
    assert len(rows_of(own, "evidence.csv")) == 2
    assert rows_of(own, "traits.csv") == rows_of(own, "care.csv") == []


def test_a_kind_left_out_takes_its_care_and_claims_with_it():
    table = started().without_taxon("beta")
    own = saved(table)
    assert rows_of(own, CHANGES) == [{"taxon": "beta", "column": "id", "shipped": "beta", "own": ""}]
    assert content(laid(SMALL, own)) == content(table)


def test_a_kind_left_out_may_be_written_anew():
    table = own_kind(started().without_taxon("beta"), "beta", tail="forked")
    again = laid(SMALL, saved(table))
    assert again.conflicts == ()
    assert content(again) == content(table)


def test_a_cell_blanked_and_filled_again_does_not_get_its_old_claims_back():
    table = started().with_cell("alpha", "tail", "").with_cell("alpha", "tail", "straight", CLAIM)
    again = laid(SMALL, saved(table))
    assert list(again.claims("alpha", "tail")["note"]) == ["seen in the tank"]
    assert content(again) == content(table)


def test_formulas_quotes_and_line_breaks_are_kept():
    table = own_kind(started(), vernacularName="=1+1", scientificName='Testia "odd"\nname', tail="forked")
    assert content(laid(SMALL, saved(table))) == content(table)


STATES = {
    "tail": ("straight", "hollow", "forked"),
    "spots": ("light", "dark", "none"),
    "teeth": ("few", "many"),
}
cells = st.one_of(
    *(st.tuples(st.just(c), st.sampled_from(["", "-", *s, "|".join(s[:2])])) for c, s in STATES.items()),
    st.tuples(st.sampled_from(["tail_young", "spots_young"]), st.sampled_from(["", "-"])),
    st.tuples(st.just("size"), st.integers(1, 900).map(str)),
    st.tuples(st.just("rays"), st.floats(0, 90).map(repr)),
    st.tuples(st.sampled_from(["vernacularName", "tradeCode"]), st.sampled_from(["", "T001", "'=x", "<b>&"])),
    st.tuples(st.just("careGroup"), st.sampled_from(["", "stones", "sand"])),
)
claims = st.sampled_from(
    [None, CLAIM, Claim(source="SMITH", locator="p. 9"), Claim(source="JONES", scope="genus")]
)
steps = st.one_of(
    st.tuples(st.just("cell"), st.sampled_from(["alpha", "beta", "gamma", "delta", "omega"]), cells, claims),
    st.tuples(
        st.just("kind"), st.sampled_from(["mine", "other", "beta"]), st.lists(cells, max_size=4), claims
    ),
    st.tuples(st.just("out"), st.sampled_from(["beta", "delta", "mine"]), st.none(), st.none()),
    st.tuples(st.just("claim"), st.sampled_from(["alpha", "stones"]), st.none(), claims),
    st.tuples(st.just("trait"), st.just("fins"), st.sampled_from(["long", "short", "long|short"]), claims),
    st.tuples(st.just("source"), st.sampled_from(["MINE", "OTHER"]), st.none(), st.none()),
)


def step(table: TraitTable, what: str, who: str, given, claim: Claim | None) -> TraitTable:
    """Make one change, as far as it can be made to this table."""
    try:
        if what == "cell":
            column, value = given
            has_cell = column in STATES or column in ("size", "rays", "tail_young")
            return table.with_cell(who, column, value, claim if value and has_cell else None)
        if what == "kind":
            return own_kind(table, who, **dict(given))
        if what == "out":
            return table.without_taxon(who)
        if what == "claim":
            return table.with_evidence(who, "tail" if who == "alpha" else "flow", claim or CLAIM)
        if what == "trait":
            return table.with_trait(FINS, {"alpha": given}, {"alpha": claim} if claim else None)
        return table.with_source(source(who))
    except (TableError, UnknownName):
        return table


@given(st.lists(steps, max_size=12))
def test_whatever_is_changed_loads_again_as_it_was(changes):
    table = started()
    for change in changes:
        table = step(table, *change)
    own = saved(table)
    again = laid(SMALL, own)
    assert content(again) == content(table)
    assert again.conflicts == ()
    assert saved(again) == own


@given(st.lists(steps, max_size=8), st.lists(steps, max_size=8))
def test_saving_in_between_makes_no_difference(first, then):
    table = started()
    for change in first:
        table = step(table, *change)
    table = laid(SMALL, saved(table))
    for change in then:
        table = step(table, *change)
    assert content(laid(SMALL, saved(table))) == content(table)


NEWER = upgraded(
    added(
        added(
            with_cell(SMALL, "taxa.csv", "gamma", "scientificName", "Testia gammoides"),
            "taxa.csv",
            id="zeta",
            scientificName="Testia zeta",
            genus="Testia",
            tradeCode="T777",
            size="70",
        ),
        "evidence.csv",
        taxon="zeta",
        attribute="size",
        value="70",
        source="SMITH",
        class_="read",
        scope="species",
    )
)


@given(st.lists(steps, max_size=10))
def test_a_newer_shipped_table_that_touches_nothing_of_it_keeps_all_changes(changes):
    table = started()
    for change in changes:
        table = step(table, *change)
    later = laid(NEWER, saved(table))
    assert later.conflicts == ()
    assert "zeta" in later.ids
    assert later.taxa.at["gamma", "scientificName"] == "Testia gammoides"
    back = own_files(whole(NEWER), later)
    assert {n: d for n, d in back.items() if n != OVERLAY} == {
        n: d for n, d in own_files(whole(SMALL), table).items() if n != OVERLAY
    }


@settings(phases=[Phase.generate])
@given(st.lists(steps, max_size=10), st.data())
def test_whatever_is_taken_from_the_shipped_table_an_own_table_loads_and_loses_nothing(changes, data):
    table = started()
    for change in changes:
        table = step(table, *change)
    own = saved(table)
    newer = upgraded(SMALL)
    for _ in range(data.draw(st.integers(1, 3))):
        newer = data.draw(st.sampled_from(CUTS))(newer)
    later = laid(newer, own)
    kept = own_files(whole(newer), later)
    # What the shipped table now says too is left to it.
    now = {row["id"]: row for row in rows_of(newer, "taxa.csv")}
    mine = without(
        own, CHANGES, lambda row: now.get(row["taxon"], {}).get(row["column"], "") == row["own"] == ""
    )
    assert texts(mine) - texts(kept) <= texts(newer)
    again = laid(newer, kept)
    assert set(ids(again)) == set(ids(later))
    assert content(again) == content(later)
    assert own_files(whole(newer), again) == kept


def without_kind(taxon: str):
    def cut(shipped: Files) -> Files:
        for file, column in (("taxa.csv", "id"), ("care.csv", "taxon"), ("evidence.csv", "taxon")):
            shipped = without(shipped, file, lambda row, c=column: row[c] == taxon)
        return shipped

    return cut


def without_trait(trait: str):
    def cut(shipped: Files) -> Files:
        columns = (trait, f"{trait}_young")
        shipped = without(shipped, "traits.csv", lambda row: row["id"] == trait)
        shipped = without(shipped, "evidence.csv", lambda row: row["attribute"] in columns)
        if trait == "spots":
            shipped = with_cell(shipped, "traits.csv", "rays", "applies_when", "")
        return cut_columns(shipped, columns)

    return cut


def cut_columns(shipped: Files, columns) -> Files:
    lines = list(csv.reader(io.StringIO(shipped["taxa.csv"].decode())))
    keep = [i for i, column in enumerate(lines[0]) if column not in columns]
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows([[line[i] for i in keep] for line in lines])
    return {**shipped, "taxa.csv": out.getvalue().encode()}


def without_cell(taxon: str, column: str):
    def cut(shipped: Files) -> Files:
        if column not in shipped["taxa.csv"].decode().split("\n")[0].split(","):
            return shipped
        shipped = with_cell(shipped, "taxa.csv", taxon, column, "")
        return without(
            shipped, "evidence.csv", lambda row: (row["taxon"], row["attribute"]) == (taxon, column)
        )

    return cut


def without_source(key: str):
    """A source is gone: its claims are by now another's."""

    def cut(shipped: Files) -> Files:
        rest = "SMITH" if key == "JONES" else "JONES"
        bib = shipped["sources.bib"].decode()
        entries = bib.split("\n@")
        if len(entries) < 3 or f"{{{rest}," not in bib:
            return shipped
        kept = [entries[0], *(e for e in entries[1:] if f"{{{key}," not in e)]
        shipped = {**shipped, "sources.bib": "\n@".join(kept).encode()}
        for name in ("evidence.csv", "taxa.csv"):
            shipped = {**shipped, name: shipped[name].replace(f",{key},".encode(), f",{rest},".encode())}
        return shipped

    return cut


CUTS = [
    without_kind("beta"),
    without_kind("alpha"),
    without_trait("teeth"),
    without_trait("spots"),
    without_trait("tail"),
    without_cell("alpha", "tail"),
    without_cell("gamma", "spots"),
    without_source("JONES"),
    without_source("SMITH"),
]


# -- what can't be said as an addition -------------------------------------------------------------------


def test_what_is_no_addition_is_refused_with_the_way_out():
    table = started()
    changed = replace(table, traits=(replace(table.traits[0], question="Longer?"), *table.traits[1:]))
    care = table.care.copy()
    care.loc[0, "flow"] = "gentle"
    fewer = table.evidence.drop(index=table.evidence.index[table.evidence["note"] == "a second look"])
    other = {
        **table.sources,
        "SMITH": replace(table.sources["SMITH"], entry="@misc{SMITH, title = {Else}}\n"),
    }
    for wrong, named in (
        (changed, "trait 'size'"),
        (replace(table, care=care), "care of 'stones'"),
        (replace(table, evidence=fewer.reset_index(drop=True)), "claim on 'alpha', tail"),
        (replace(table, sources=other), "source 'SMITH'"),
    ):
        with pytest.raises(IdkeyError, match="another_folder") as error:
            saved(wrong)
        assert named in str(error.value)
        assert len(str(error.value).splitlines()) == 1


def test_a_shipped_table_that_was_replaced_meanwhile_is_not_taken_for_the_keepers_work():
    with pytest.raises(IdkeyError, match="load your table again"):
        own_files(whole(NEWER), own_kind(started()))


# -- what the keeper mistyped ----------------------------------------------------------------------------


MINE = {"id": "mine", "scientificName": "Testia mine", "genus": "Testia"}
READ = {"source": "SMITH", "class_": "read", "scope": "species"}


@pytest.mark.parametrize(
    ("file", "row", "place", "column", "value"),
    [
        ("taxa.csv", {**MINE, "tail": "fork"}, "2 (mine)", "tail", "fork"),
        ("taxa.csv", {**MINE, "careGroup": "stone"}, "2 (mine)", "careGroup", "stone"),
        (CHANGES, {"taxon": "alfa", "column": "tail", "own": "forked"}, "2 (alfa)", "taxon", "alfa"),
        (CHANGES, {"taxon": "alpha", "column": "tial", "own": "forked"}, "2 (alpha)", "column", "tial"),
        (CHANGES, {"taxon": "alpha", "column": "tail", "own": "fork"}, "2 (alpha)", "own", "fork"),
        (CHANGES, {"taxon": "alpha", "column": "tail_young", "own": "forked"}, "2 (alpha)", "own", "forked"),
        (CHANGES, {"taxon": "alpha", "column": "scientificName", "own": ""}, "2 (alpha)", "own", ""),
        (CHANGES, {"taxon": "alpha", "column": "id", "own": "alpho"}, "2 (alpha)", "own", "alpho"),
        (CHANGES, {"taxon": "alfa", "column": "id", "own": ""}, "2 (alfa)", "taxon", "alfa"),
        ("evidence.csv", {"taxon": "alpha", "attribute": "tail", "source": "SMYTH", "class": "read",
                          "scope": "species"}, "2 (alpha)", "source", "SMYTH"),
        ("traits.csv", {"id": "fins", "kind": "nominl"}, "2 (fins)", "kind", "nominl"),
    ],
)  # fmt: skip
def test_a_slip_of_the_pen_is_named_with_its_own_row(file, row, place, column, value):
    own = added(saved(started()), file, **row)
    shipped = without_cell("alpha", "tail_young")(SMALL)
    with pytest.raises(TableError) as error:
        laid(shipped, own)
    assert (file, place, column, value) in [(p.file, p.row, p.column, p.value) for p in error.value.problems]


@pytest.mark.parametrize(
    "text",
    [
        "[]",
        "{",
        '{"same_code": 3}',
        '{"renamed": [["trait", "a"]]}',
        '{"version": 1}',
        "\x00",
        '{"over": NaN}',
    ],
)
def test_what_overlay_json_may_not_state(text):
    with pytest.raises(TableError) as error:
        laid(SMALL, {OVERLAY: text.encode()})
    assert {p.file for p in error.value.problems} == {OVERLAY}


def test_a_folder_with_only_overlay_json_is_the_shipped_table():
    assert content(laid(SMALL, {OVERLAY: b"{}"})) == content(whole(SMALL))


# -- conflicts -------------------------------------------------------------------------------------------


def test_a_cell_that_both_changed(place):
    ship, mine = place
    folder.start_table(mine).with_cell("alpha", "tail", "hollow", CLAIM).save()
    ship(upgraded(with_cell(SMALL, "taxa.csv", "alpha", "tail", "straight")))
    table = folder.load_table(mine)
    (conflict,) = table.conflicts
    assert (conflict.kind, conflict.taxon, conflict.column) == ("cell", "alpha", "tail")
    assert (conflict.before, conflict.shipped, conflict.own) == ("forked", "straight", "hollow")
    assert text(table, "alpha", "tail") == "hollow"
    # Saving something else leaves it open.
    own_kind(table).save()
    assert ids(folder.load_table(mine)) == ["cell:alpha:tail"]

    kept = settle(mine, conflict, "own")
    assert kept.conflicts == ()
    assert text(kept, "alpha", "tail") == "hollow"
    ship(upgraded(with_cell(SMALL, "taxa.csv", "alpha", "tail", "straight"), "3.0"))
    assert folder.load_table(mine).conflicts == ()
    ship(upgraded(with_cell(SMALL, "taxa.csv", "alpha", "tail", "straight|forked"), "4.0"))
    given = settle(mine, "cell:alpha:tail", "shipped")
    assert text(given, "alpha", "tail") == "straight|forked"
    assert "seen in the tank" not in set(given.evidence["note"])
    assert "mine" in given.ids


def test_a_cell_on_which_both_agree_is_no_conflict():
    own = saved(started().with_cell("delta", "rays", "8", CLAIM))
    newer = upgraded(with_cell(SMALL, "taxa.csv", "delta", "rays", "8..8"))
    table = laid(newer, own)
    assert table.conflicts == ()
    assert rows_of(own_files(whole(newer), table), CHANGES) == []


def own_kind_shipped() -> Files:
    newer = added(
        SMALL, "taxa.csv", id="mine", scientificName="Testia nova", genus="Testia", tail="straight", size="50"
    )
    for column, value in (("tail", "straight"), ("size", "50")):
        newer = added(newer, "evidence.csv", taxon="mine", attribute=column, value=value, **READ)
    return upgraded(newer)


@pytest.mark.parametrize("keep", ["own", "shipped"])
def test_an_own_kind_that_is_shipped_by_now(place, keep):
    ship, mine = place
    own_kind(folder.start_table(mine), tail="forked", spots="light").save()
    ship(own_kind_shipped())
    table = folder.load_table(mine)
    assert ids(table) == ["taxon:mine"]
    assert (text(table, "mine", "tail"), text(table, "mine", "size")) == ("forked", "")
    table.with_cell("alpha", "teeth", "many", CLAIM).save()
    assert ids(folder.load_table(mine)) == ["taxon:mine"]
    done = settle(mine, "taxon:mine", keep)
    assert done.conflicts == ()
    assert text(done, "mine", "tail") == ("forked" if keep == "own" else "straight")
    assert text(done, "mine", "size") == ("" if keep == "own" else "50")
    assert text(done, "mine", "spots") == ("light" if keep == "own" else "")
    assert text(done, "alpha", "teeth") == "many"
    assert "mine" not in (mine / "taxa.csv").read_text()
    assert content(folder.load_table(mine)) == content(done)


@pytest.mark.parametrize("keep", ["own", "shipped"])
def test_an_own_kind_under_the_trade_code_of_a_new_shipped_one(place, keep):
    ship, mine = place
    own_kind(folder.start_table(mine), tradeCode="T001|T777", tail="forked").save()
    assert folder.load_table(mine).conflicts == ()  # T001 was shared, and said, from the start
    ship(NEWER)
    table = folder.load_table(mine)
    (conflict,) = table.conflicts
    assert (conflict.kind, conflict.own, conflict.shipped) == ("taxon", "mine", "zeta")
    assert "T777" in conflict.text
    assert {"mine", "zeta"} <= set(table.ids)
    table.save()
    assert len(folder.load_table(mine).conflicts) == 1
    done = settle(mine, conflict, keep)
    assert done.conflicts == ()
    assert ("mine" in done.ids) == (keep == "own")
    done = done.save()
    assert folder.load_table(mine).conflicts == ()


SHIPPED_FINS = "fins,Fins,nominal,,long|round,long|round,no,Fins?,,0.1,invented,,5,,no,yes,\n"


def fins_shipped() -> Files:
    newer = {**SMALL, "traits.csv": SMALL["traits.csv"] + SHIPPED_FINS.encode()}
    newer = with_cell(added(newer, "taxa.csv", id="x", fins=""), "taxa.csv", "alpha", "fins", "round")
    newer = without(newer, "taxa.csv", lambda row: row["id"] == "x")
    return upgraded(added(newer, "evidence.csv", taxon="alpha", attribute="fins", value="round", **READ))


@pytest.mark.parametrize("keep", ["own", "shipped"])
def test_an_own_trait_whose_name_is_taken_by_now(place, keep):
    ship, mine = place
    table = own_kind(
        folder.start_table(mine).with_trait(FINS, {"alpha": "short", "beta": "long"}), fins="short"
    )
    table.with_cell("mine", "fins_young", "long").save()
    ship(fins_shipped())
    table = folder.load_table(mine)
    assert ids(table) == ["trait:fins_own"]
    # Neither is taken for the other: both stand in the table.
    assert (text(table, "alpha", "fins"), text(table, "alpha", "fins_own")) == ("round", "short")
    assert table.trait("fins_own").states == ("long", "short")
    table.save()
    assert ids(folder.load_table(mine)) == ["trait:fins_own"]
    done = settle(mine, "trait:fins_own", keep)
    assert done.conflicts == ()
    if keep == "own":
        assert text(done, "mine", "fins_own") == "short"
    else:
        assert "fins_own" not in done.trait_ids
        # What can be read as the shipped trait is kept, what can't is in the old versions of the folder.
        assert [text(done, taxon, "fins") for taxon in ("alpha", "beta", "mine")] == ["round", "long", ""]
        assert text(done, "mine", "fins_young") == "long"
    assert content(folder.load_table(mine)) == content(done)


@pytest.mark.parametrize("keep", ["own", "shipped"])
def test_an_own_source_whose_key_is_taken_by_now(place, keep):
    ship, mine = place
    table = folder.start_table(mine).with_source(source("NOTE", "A note of mine"))
    table.with_cell("alpha", "teeth", "many", source="NOTE").save()
    ship(upgraded({**SMALL, "sources.bib": SMALL["sources.bib"] + source("NOTE", "Something else").encode()}))
    table = folder.load_table(mine)
    assert ids(table) == ["source:NOTE_own"]
    assert "NOTE_own" in set(table.claims("alpha", "teeth")["source"])
    assert "A note of mine" in table.sources["NOTE_own"].full
    assert "Something else" in table.sources["NOTE"].full
    table.save()
    assert ids(folder.load_table(mine)) == ["source:NOTE_own"]
    done = settle(mine, "source:NOTE_own", keep)
    assert done.conflicts == ()
    assert ("NOTE_own" in done.sources) == (keep == "own")
    assert ("NOTE" in set(done.claims("alpha", "teeth")["source"])) == (keep == "shipped")


def cut_column(data: bytes, column: str) -> bytes:
    lines = list(csv.reader(io.StringIO(data.decode())))
    at = lines[0].index(column)
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows([line[:at] + line[at + 1 :] for line in lines])
    return out.getvalue().encode()


@pytest.mark.parametrize("file", ["taxa.csv", "changes.csv", "sources.bib"])
def test_a_file_that_is_gone_from_the_own_folder_is_missed(place, file):
    _, mine = place
    own_kind(folder.start_table(mine), tail="forked").save()
    (mine / file).unlink()
    with pytest.raises(TableError) as error:
        folder.load_table(mine)
    assert [(p.file, p.right) for p in error.value.problems] == [
        (file, "the file is missing from this folder")
    ]


def with_own_care(own: Files) -> Files:
    own = added(own, "care.csv", care_group="caves", flow="strong")
    own = added(own, "care.csv", care_group="sand", taxon="gamma", flow="gentle")
    for who in ({"care_group": "caves"}, {"taxon": "gamma"}):
        own = added(own, "evidence.csv", **who, attribute="flow", class_="memory", scope="group")
    return own


@pytest.mark.parametrize(
    ("file", "column"), [("care.csv", "transport"), ("taxa.csv", "commonness"), ("evidence.csv", "note")]
)
def test_own_files_begun_when_there_were_fewer_columns_still_load(file, column):
    own = saved(own_kind(started(), tail="forked"))
    table = laid(SMALL, {**own, file: cut_column(own[file], column)})
    assert text(table, "mine", "tail") == "forked"
    assert table.conflicts == ()
    found = Found("whole")
    files.parts_from({**SMALL, file: cut_column(SMALL[file], column)}, found)
    assert [problem.column for problem in found] == [column]


@pytest.mark.parametrize("keep", ["own", "shipped"])
def test_own_care_that_is_shipped_by_now(place, keep):
    ship, mine = place
    own_kind(folder.start_table(mine)).save()
    for name, data in with_own_care({n: (mine / n).read_bytes() for n in OVERLAY_FILES}).items():
        (mine / name).write_bytes(data)
    table = folder.load_table(mine).with_cell("mine", "careGroup", "caves")
    table.save()
    newer = added(SMALL, "care.csv", care_group="caves", flow="moderate", ph="5..6")
    newer = added(newer, "care.csv", care_group="sand", taxon="gamma", ph="7..8")
    for who, column in (
        ({"care_group": "caves"}, "flow"),
        ({"care_group": "caves"}, "ph"),
        ({"taxon": "gamma"}, "ph"),
    ):
        newer = added(newer, "evidence.csv", **who, attribute=column, class_="memory", scope="group")
    ship(upgraded(newer))
    table = folder.load_table(mine)
    assert ids(table) == ["care:caves_own", "care:gamma"]
    assert table.taxa.at["mine", "careGroup"] == "caves_own"
    assert list(table.care.loc[table.care["taxon"] == "gamma", "flow"]) == ["gentle"]
    table.save()
    assert ids(folder.load_table(mine)) == ["care:caves_own", "care:gamma"]
    settle(mine, "care:caves_own", keep)
    done = settle(mine, "care:gamma", "shipped")
    assert done.conflicts == ()
    assert done.taxa.at["mine", "careGroup"] == ("caves_own" if keep == "own" else "caves")
    assert list(done.care.loc[done.care["taxon"] == "gamma", "ph"]) == ["7..8"]


def test_what_leans_on_what_is_gone_is_set_aside_and_comes_back(place):
    ship, mine = place
    table = own_kind(
        folder.start_table(mine).with_trait(FINS, {"beta": "long"}), teeth="few", careGroup="stones"
    )
    table = table.with_cell("beta", "size", "95", source="JONES").with_cell("alpha", "teeth", "many", CLAIM)
    table.with_evidence("gamma", "spots", source="JONES").save()
    before = {name: (mine / name).read_bytes() for name in OVERLAY_FILES}
    newer = upgraded(SMALL)
    for cut in (without_kind("beta"), without_trait("teeth"), without_cell("gamma", "spots")):
        newer = cut(newer)
    newer = with_cell(newer, "traits.csv", "spots", "states", "pale|dark|none")
    for file in ("taxa.csv", "traits.csv"):
        newer[file] = newer[file].replace(b"light", b"pale")
    ship(newer)
    table = folder.load_table(mine)
    assert {conflict.kind for conflict in table.conflicts} == {"gone"}
    assert set(ids(table)) == {
        "gone:fins:applies_when", "gone:mine:teeth", "gone:beta:", "gone:alpha:teeth", "gone:gamma:spots",
    }  # fmt: skip
    assert all(conflict.choices == ("shipped",) for conflict in table.conflicts)
    own_kind(table, "another").save()
    assert texts(before) <= texts({name: (mine / name).read_bytes() for name in OVERLAY_FILES})
    assert set(ids(folder.load_table(mine))) == set(ids(table))
    # The shipped table gets it back: so does the keeper.
    ship(upgraded(SMALL, "3.0"))
    table = folder.load_table(mine)
    assert table.conflicts == ()
    assert text(table, "beta", "size") == "95"
    assert text(table, "mine", "teeth") == "few"
    assert table.trait("fins").applies_when == ("spots", ("light",))


def test_what_is_set_aside_can_be_given_up_one_by_one_in_any_order(place):
    ship, mine = place
    table = own_kind(folder.start_table(mine), teeth="few").with_cell("beta", "size", "95", source="JONES")
    table.with_cell("alpha", "tail", "hollow", CLAIM).save()
    before = {name: (mine / name).read_bytes() for name in OVERLAY_FILES}
    newer = without_trait("teeth")(
        without_kind("beta")(with_cell(SMALL, "taxa.csv", "alpha", "tail", "straight"))
    )
    ship(upgraded(newer))
    open_now = ids(folder.load_table(mine))
    assert len(open_now) == 3
    ends = []
    for order in (open_now, open_now[::-1]):
        for name, data in before.items():
            (mine / name).write_bytes(data)
        for i, conflict in enumerate(order):
            table = settle(mine, conflict, "shipped")
            assert set(ids(table)) == set(order[i + 1 :])
        ends.append({name: (mine / name).read_bytes() for name in OVERLAY_FILES})
    assert ends[0] == ends[1]
    assert json.loads(ends[0][OVERLAY])["version"] == "2.0"
    assert text(table, "alpha", "tail") == "straight"


def test_settling_what_is_not_open_or_not_so(place):
    ship, mine = place
    folder.start_table(mine).with_cell("alpha", "tail", "hollow", CLAIM).save()
    with pytest.raises(UnknownName, match="none is"):
        settle(mine, "cell:alpha:tail", "own")
    ship(upgraded(with_cell(SMALL, "taxa.csv", "alpha", "tail", "straight")))
    with pytest.raises(UnknownName, match="did you mean 'cell:alpha:tail'"):
        settle(mine, "cell:alpha:tial", "own")
    with pytest.raises(IdkeyError, match="shipped, own"):
        settle(mine, "cell:alpha:tail", "both")
    with pytest.raises(IdkeyError, match="nothing to settle"):
        settle(mine.parent / "shipped", "cell:alpha:tail", "own")


# -- shown -----------------------------------------------------------------------------------------------


def test_conflicts_are_listed_with_both_sides_and_how_to_settle_them():
    own = saved(started().with_cell("alpha", "vernacularName", "<b>mine</b>"))
    newer = upgraded(with_cell(SMALL, "taxa.csv", "alpha", "vernacularName", "<i>theirs</i>"))
    table = laid(newer, own)
    document = conflicts_document(table)
    words, page = idkey.views.text.render(document), idkey.views.html.render(document)
    for part in ("it was: Alpha", "<i>theirs</i>", "<b>mine</b>", "'cell:alpha:vernacularName', 'own')"):
        assert part in words
    assert "<b>mine" not in page
    assert "<i>theirs" not in page
    assert "&lt;i&gt;theirs" in page
    assert page.count("settle(") == 2
    assert idkey.views.text.render(conflicts_document(started())).count("\n") == 0


# -- the table that is shipped ---------------------------------------------------------------------------


def test_the_real_table_with_a_changed_cell_and_a_newer_version():
    folder = files.shipped_folder()
    real = {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}
    shipped = whole(real)
    taxon = shipped.ids[0]
    own = own_files(shipped, laid(real, own_files(shipped, shipped)).with_cell(taxon, "tail_fork", "forked"))
    assert len(rows_of(own, CHANGES)) == 1
    newer = upgraded(with_cell(real, "taxa.csv", shipped.ids[1], "vernacularName", "Another name"), "9.0")
    table = laid(newer, own)
    assert table.conflicts == ()
    assert text(table, taxon, "tail_fork") == "forked"
    assert table.taxa.at[shipped.ids[1], "vernacularName"] == "Another name"
    other = upgraded(with_cell(real, "taxa.csv", taxon, "tail_fork", "straight"), "9.0")
    assert ids(laid(other, own)) == [f"cell:{taxon}:tail_fork"]
