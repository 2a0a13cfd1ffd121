"""A table saved and loaded is the same table; what others did to its folder meanwhile is noticed."""

import os
import shutil
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from idkey.errors import IdkeyError, TableError, UnknownName
from idkey.table import disk, files, layout
from idkey.table.files import files_of
from idkey.table.folder import BASE, load_table, restore, save_table, start_table, versions
from idkey.table.layout import FILES, shipped_folder
from idkey.table.table import TraitTable

from .small_folder import SMALL, put_down, source, steps, table_of
from .small_folder import step as stepped

NEW = {"scientificName": "Testia nova", "genus": "Testia", "careGroup": "stones", "tail": "forked"}
REAL = shipped_folder()


@pytest.fixture(scope="module")
def shipped(tmp_path_factory) -> Path:
    """A small folder, which the tests take for the one that comes with the package."""
    return put_down(tmp_path_factory.mktemp("shipped") / "traits", files_of(table_of(SMALL)))


@pytest.fixture
def small_is_shipped(shipped, monkeypatch) -> Path:
    monkeypatch.setattr(layout, "shipped_folder", lambda: shipped)
    monkeypatch.setattr(os, "fsync", lambda handle: None)  # no power is cut here
    return shipped


@pytest.fixture(params=["whole", "own"])
def folder(request, tmp_path, small_is_shipped) -> Path:
    """A folder that holds the small table, whole or as additions to the shipped one."""
    place = tmp_path / "mine"
    if request.param == "whole":
        save_table(table_of(SMALL), place)
    else:
        start_table(place).with_taxon("first", **NEW).save()
    return place


def _all_bytes(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


# -- the same again -----------------------------------------------------------------------------------


def test_the_shipped_table_saved_is_the_shipped_files_byte_for_byte(tmp_path):
    table = load_table(REAL)
    again = table.save(tmp_path / "copy")
    for name in FILES:
        assert (tmp_path / "copy" / name).read_bytes() == (REAL / name).read_bytes(), name
    for frame in ("care", "evidence", "taxa"):
        pd.testing.assert_frame_equal(getattr(again, frame), getattr(table, frame))
    for name in ("traits", "sources", "about", "cells"):
        assert getattr(again, name) == getattr(table, name)


def test_a_saved_table_knows_where_it_is_and_can_be_saved_again(tmp_path):
    alone, place = table_of(SMALL), tmp_path / "mine"
    table = alone.save(place)
    assert alone.origin is None
    assert table.origin.folder == place.resolve()
    assert table.origin == load_table(place).origin
    replace(table, name="other").save()
    assert versions(place) == ()  # nothing had changed
    most = table.with_taxon("nova", **NEW).save().with_cell("nova", "tail", "hollow").save()
    assert files_of(load_table(place)) == files_of(most)
    assert len(versions(place)) == 2


def test_each_save_changes_only_the_files_that_it_must(folder):
    table = load_table(folder)
    (folder / "photo.jpg").write_bytes(b"picture")
    (folder / "notes").mkdir()
    before = {path.name: path.stat().st_mtime_ns for path in folder.iterdir()}
    table.with_evidence("alpha", "size", note="seen again").save()
    after = {path.name: path.stat().st_mtime_ns for path in folder.iterdir()}
    changed = {name for name in after if after[name] != before.get(name)}
    assert changed - {".idkey"} <= {"evidence.csv", "datapackage.json"}
    assert before.keys() <= after.keys()


@pytest.mark.parametrize("own", [False, True], ids=["whole", "own"])
@settings(max_examples=12)
@given(steps=st.lists(st.tuples(steps, st.booleans()), min_size=1, max_size=6))
def test_any_sequence_of_additions_saves_and_loads_is_the_identity(tmp_path_factory, shipped, own, steps):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(layout, "shipped_folder", lambda: shipped)
        patch.setattr(os, "fsync", lambda handle: None)  # no power is cut here
        folder = tmp_path_factory.mktemp("any") / "mine"
        table = start_table(folder) if own else table_of(SMALL).save(folder)
        for step, load_anew in steps:
            table = stepped(table, *step).save()
            again = load_table(folder)
            assert files_of(again) == files_of(table)
            assert again.origin == table.origin
            assert again.conflicts == table.conflicts == ()
            if load_anew:
                table = again


def test_a_byte_order_mark_pasted_with_a_source_is_left_out(tmp_path):
    folder = put_down(tmp_path / "mine", SMALL)
    pasted = "\ufeff" + source("ONE").lstrip() + "\ufeff" + source("TWO").lstrip()
    (folder / "sources.bib").write_bytes("\ufeff".encode() + SMALL["sources.bib"])
    new = load_table(folder).with_source(pasted).save()
    assert {"ONE", "TWO"} <= {*load_table(folder).sources}
    assert "\ufeff" not in (folder / "sources.bib").read_text("utf-8")
    assert new.sources == load_table(folder).sources


@pytest.mark.parametrize("comments", ["% what I mean to read\n", "% no line end", "@comment{a note}\n\n\n"])
def test_a_file_of_sources_that_holds_comments_alone_keeps_them(tmp_path, comments):
    bare = {**SMALL, "sources.bib": comments.encode()}
    for name in ("evidence.csv", "taxa.csv"):
        bare[name] = bare[name].replace(b",SMITH,", b",,").replace(b",JONES,", b",,")
    bare["evidence.csv"] = (
        bare["evidence.csv"].replace(b",read,", b",memory,").replace(b",secondary,", b",memory,")
    )
    new = load_table(put_down(tmp_path, bare)).with_cell("alpha", "tail", "hollow").save()
    assert (tmp_path / "sources.bib").read_bytes() == comments.encode()
    new.with_source(source("ONE")).save()
    text = (tmp_path / "sources.bib").read_text("utf-8")
    assert text.startswith(comments.rstrip())
    assert "ONE" in load_table(tmp_path).sources
    load_table(tmp_path).with_cell("alpha", "tail", "forked").save()
    assert (tmp_path / "sources.bib").read_text("utf-8") == text


# -- what is refused ----------------------------------------------------------------------------------


def test_each_file_edited_by_hand_meanwhile_is_noticed_and_nothing_is_written(folder):
    table = load_table(folder)
    more = table.with_taxon("nova", **NEW)
    for name in (*FILES, BASE) if table.origin.base else FILES:
        was = (folder / name).read_bytes() if (folder / name).exists() else None
        (folder / name).write_bytes((was or b"") + b"\n")
        before = _all_bytes(folder)
        with pytest.raises(IdkeyError, match=f"changed since it was loaded: {name};"):
            more.save()
        assert _all_bytes(folder) == before
        (folder / name).unlink()
        if was is not None:
            (folder / name).write_bytes(was)
    more.save()
    shutil.rmtree(folder)
    with pytest.raises(IdkeyError, match="changed since it was loaded"):
        more.save()


def test_the_slower_of_two_is_told_and_loses_nothing(folder):
    one, two = load_table(folder), load_table(folder).with_taxon("nana", **NEW)
    one = one.with_taxon("nova", **NEW)
    before = one.origin, dict(one.about), one.conflicts
    new = one.save()
    # A table is not changed by its save, and can't be saved over its successor.
    assert (one.origin, dict(one.about), one.conflicts) == before
    for slower in (two, one.with_cell("nova", "tail", "hollow")):
        with pytest.raises(IdkeyError, match=r"changed since it was loaded: .*taxa\.csv"):
            slower.save()
    new.with_cell("nova", "tail", "hollow").save()
    load_table(folder).with_taxon("nana", **NEW).save()
    assert {"nova", "nana"} <= set(load_table(folder).ids)


def test_another_tables_folder_is_refused(folder, tmp_path):
    other = table_of(SMALL).with_taxon("nova", **NEW)
    other.save(tmp_path / "other")
    before = _all_bytes(tmp_path)
    for table, place in ((other, folder), (load_table(folder), tmp_path / "other")):
        with pytest.raises(IdkeyError, match=r"holds another table \(.*taxa\.csv.*choose an empty folder"):
            table.save(place)
    assert _all_bytes(tmp_path) == before


def test_a_folder_of_ones_own_can_be_saved_whole_elsewhere(tmp_path, small_is_shipped):
    table = start_table(tmp_path / "mine").with_taxon("nova", **NEW).save()
    whole = table.save(tmp_path / "whole")
    assert table.origin.base
    assert not whole.origin.base
    assert set(FILES) - {"genera.csv"} <= {path.name for path in (tmp_path / "whole").iterdir()}
    assert files_of(load_table(tmp_path / "whole")) == files_of(table)
    assert load_table(tmp_path / "mine").ids == table.ids


def test_the_shipped_table_is_not_saved_over(small_is_shipped, tmp_path):
    shipped = small_is_shipped
    before = _all_bytes(shipped)
    table = load_table(shipped)
    places = [None, shipped, str(shipped)]
    if os.name != "nt":
        (tmp_path / "link").symlink_to(shipped, target_is_directory=True)
        places.append(tmp_path / "link")
    for place in places:
        with pytest.raises(
            IdkeyError, match=r"shipped table is not saved over; .*start_table\('my_traits'\)"
        ):
            table.with_taxon("nova", **NEW).save(place)
    assert _all_bytes(shipped) == before


@pytest.mark.parametrize("place", [7, b"bytes", ["x"], "", "nul\0byte"])
def test_what_is_no_path(place):
    for call in (table_of(SMALL).save, start_table, versions, lambda folder: restore(folder, "1")):
        with pytest.raises(IdkeyError) as caught:
            call(place)
        assert "\n" not in str(caught.value)


def test_a_table_from_nowhere_and_one_of_another_shape_are_refused(tmp_path):
    with pytest.raises(IdkeyError, match=r"give a folder: table\.save\('my_traits'\)"):
        table_of(SMALL).save()
    table = TraitTable.from_frame(pd.DataFrame({"kind": ["a", "b"], "tail": ["x", "y"]}), taxon="kind")
    shape = "column scientificName is missing; only a table of the shape of the shipped one is"
    with pytest.raises(IdkeyError, match=shape):
        table.save(tmp_path / "mine")
    assert not (tmp_path / "mine").exists()
    with pytest.raises(TableError, match="no such folder; give the folder that holds"):
        load_table(tmp_path / "none")


@pytest.mark.parametrize(
    ("old", "new", "error"), [(b"Testia nova", b"", TableError), (b"forked", b"hollow", IdkeyError)]
)
def test_what_would_not_be_read_back_as_it_is_is_not_written(folder, monkeypatch, old, new, error):
    table = load_table(folder).with_taxon("nova", **NEW)
    before, made = _all_bytes(folder), [files_of(table)]
    made[0]["taxa.csv"] = made[0]["taxa.csv"].replace(old, new)
    # Only what is to be written is spoiled, not what it is compared with.
    monkeypatch.setattr(files, "files_of", lambda again: made.pop() if made else files_of(again))
    with pytest.raises(error, match="nothing was written"):
        table.save()
    assert _all_bytes(folder) == before


# -- one's own ----------------------------------------------------------------------------------------


def test_ones_own_table_starts_as_the_shipped_one_in_an_empty_folder_only(tmp_path, small_is_shipped):
    place = tmp_path / "new" / "mine"
    place.mkdir(parents=True)
    (place / ".hidden").write_text("x")
    table = start_table(place)
    assert files_of(table) == files_of(load_table(small_is_shipped)) == files_of(load_table(place))
    assert table.origin.base
    assert set(table.origin.digests) == {*FILES, BASE} - {"genera.csv"}
    before = _all_bytes(place)
    with pytest.raises(IdkeyError, match="is not empty .it holds"):
        start_table(place)
    assert _all_bytes(place) == before


# -- old versions -------------------------------------------------------------------------------------


def test_an_old_version_comes_back_and_the_present_one_is_kept_however_it_was_edited(folder):
    first = files_of(load_table(folder))
    second = files_of(load_table(folder).with_taxon("nova", **NEW).save())
    kept = versions(folder)[0]
    assert files_of(restore(folder, kept.name)) == files_of(load_table(folder)) == first
    assert versions(folder)[0].note == f"put back {kept.name}"
    assert files_of(restore(folder, versions(folder)[0].name)) == second
    with (folder / "taxa.csv").open("ab") as file:
        file.write(b"half a row")
    restore(folder, versions(folder)[0].name)
    assert disk.version_files(folder, versions(folder)[0].name)["taxa.csv"].endswith(b"half a row")


def test_a_version_that_does_not_load_any_more_is_not_put_back(folder):
    load_table(folder).with_taxon("nova", **NEW).save()
    kept = versions(folder)[0]
    taxa = folder / ".idkey" / "versions" / kept.name / "taxa.csv"
    taxa.write_bytes(taxa.read_bytes().replace(b"id,", b"od,", 1))
    before = _all_bytes(folder)
    with pytest.raises(TableError, match=r"nothing was put back") as caught:
        restore(folder, kept.name)
    assert caught.value.problems[0].file == "taxa.csv"
    assert _all_bytes(folder) == before
    with pytest.raises(UnknownName, match="is not kept here"):
        restore(folder, "yesterday")
