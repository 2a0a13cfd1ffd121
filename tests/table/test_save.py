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

from .small_folder import SMALL, table_of
from .test_own import step as stepped
from .test_own import steps

NEW = {"scientificName": "Testia nova", "genus": "Testia", "careGroup": "stones", "tail": "forked"}
REAL = shipped_folder()


@pytest.fixture(scope="module")
def shipped(tmp_path_factory) -> Path:
    """A small folder, which the tests take for the one that comes with the package."""
    folder = tmp_path_factory.mktemp("shipped") / "traits"
    folder.mkdir()
    for name, data in files_of(table_of(SMALL)).items():
        (folder / name).write_bytes(data)
    return folder


@pytest.fixture
def small_is_shipped(shipped, monkeypatch) -> Path:
    monkeypatch.setattr(layout, "shipped_folder", lambda: shipped)
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
    table.save(tmp_path / "copy")
    for name in FILES:
        assert (tmp_path / "copy" / name).read_bytes() == (REAL / name).read_bytes(), name
    again = load_table(tmp_path / "copy")
    pd.testing.assert_frame_equal(again.to_frame(), table.to_frame())
    pd.testing.assert_frame_equal(again.care, table.care)
    pd.testing.assert_frame_equal(again.evidence, table.evidence)
    assert again.traits == table.traits
    assert again.sources == table.sources
    assert again.about == table.about


def test_a_saved_table_knows_where_it_is_and_can_be_saved_again(tmp_path):
    table = table_of(SMALL)
    assert table.origin is None
    alone, table = table, table.save(tmp_path / "mine")
    assert alone.origin is None
    assert table.origin.folder == (tmp_path / "mine").resolve()
    assert table.origin == load_table(tmp_path / "mine").origin
    table.save()
    assert versions(tmp_path / "mine") == ()  # nothing had changed
    more = table.with_taxon("nova", **NEW)
    more = more.save()
    most = more.with_cell("nova", "tail", "hollow").save()
    assert files_of(load_table(tmp_path / "mine")) == files_of(most)
    assert len(versions(tmp_path / "mine")) == 2


def test_each_save_changes_only_the_files_that_it_must(folder):
    table = load_table(folder)
    (folder / "photo.jpg").write_bytes(b"picture")
    (folder / "notes").mkdir()
    before = {path.name: path.stat().st_mtime_ns for path in folder.iterdir() if path.is_file()}
    table.with_evidence("alpha", "size", note="seen again").save()
    after = {path.name: path.stat().st_mtime_ns for path in folder.iterdir() if path.is_file()}
    assert {name for name in after if after[name] != before.get(name)} <= {"evidence.csv", "datapackage.json"}
    assert (folder / "photo.jpg").read_bytes() == b"picture"
    assert (folder / "notes").is_dir()


@pytest.mark.parametrize("own", [False, True], ids=["whole", "own"])
@settings(max_examples=15)
@given(steps=st.lists(st.tuples(steps, st.booleans()), min_size=1, max_size=6))
def test_any_sequence_of_additions_saves_and_loads_is_the_identity(tmp_path_factory, shipped, own, steps):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(layout, "shipped_folder", lambda: shipped)
        folder = tmp_path_factory.mktemp("any") / "mine"
        if own:
            table = start_table(folder)
        else:
            table = table_of(SMALL)
            table = table.save(folder)
        for step, load_anew in steps:
            table = stepped(table, *step).save()
            again = load_table(folder)
            assert files_of(again) == files_of(table)
            assert again.origin == table.origin
            assert again.conflicts == table.conflicts == ()
            if load_anew:
                table = again


# -- what is refused ----------------------------------------------------------------------------------


def test_each_file_edited_by_hand_meanwhile_is_noticed_and_nothing_is_written(folder):
    table = load_table(folder)
    more = table.with_taxon("nova", **NEW)
    for name in (*FILES, BASE) if table.origin.base else FILES:
        was = (folder / name).read_bytes() if (folder / name).exists() else None
        with (folder / name).open("ab") as file:
            file.write(b"\n")
        before = _all_bytes(folder)
        with pytest.raises(IdkeyError, match="changed since it was loaded") as caught:
            more.save()
        assert f"loaded: {name};" in str(caught.value)
        assert _all_bytes(folder) == before
        if was is None:
            (folder / name).unlink()
        else:
            (folder / name).write_bytes(was)
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
    before = _all_bytes(folder)
    with pytest.raises(IdkeyError, match=r"holds another table \(.*taxa\.csv.*choose an empty folder"):
        other.save(folder)
    assert _all_bytes(folder) == before
    other.save(tmp_path / "other")
    with pytest.raises(IdkeyError, match="holds another table"):
        load_table(folder).save(tmp_path / "other")


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
    shape = "column scientificName is missing; only a table of the shape of the shipped one"
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


def test_a_folder_that_went_away_is_not_made_anew_unasked(folder):
    table = load_table(folder).with_taxon("nova", **NEW)
    shutil.rmtree(folder)
    with pytest.raises(IdkeyError, match="changed since it was loaded"):
        table.save()


# -- one's own ----------------------------------------------------------------------------------------


def test_ones_own_table_starts_as_the_shipped_one(tmp_path, small_is_shipped):
    table = start_table(tmp_path / "new" / "mine")
    assert files_of(table) == files_of(load_table(small_is_shipped))
    assert table.origin.base
    assert set(table.origin.digests) == {*FILES, BASE} - {"genera.csv"}
    assert files_of(load_table(tmp_path / "new" / "mine")) == files_of(table)


def test_ones_own_table_starts_in_an_empty_folder_only(tmp_path, small_is_shipped):
    (tmp_path / ".hidden").write_text("x")
    start_table(tmp_path)
    before = _all_bytes(tmp_path)
    with pytest.raises(IdkeyError, match="is not empty .it holds"):
        start_table(tmp_path)
    assert _all_bytes(tmp_path) == before


def test_the_real_table_can_be_added_to_under_ones_own_name(tmp_path):
    table = start_table(tmp_path / "mine")
    real = load_table()
    group = real.taxa["careGroup"].iloc[0]
    more = table.with_taxon("testia_nova", scientificName="Testia nova", genus="Testia", careGroup=group)
    more.save()
    again = load_table(tmp_path / "mine")
    assert again.ids == (*real.ids, "testia_nova")
    assert files_of(again) == files_of(more)


# -- old versions -------------------------------------------------------------------------------------


def test_an_old_version_comes_back_and_the_present_one_is_kept(folder):
    first = files_of(load_table(folder))
    table = load_table(folder).with_taxon("nova", **NEW)
    table.save()
    second = files_of(table)
    kept = versions(folder)[0]
    back = restore(folder, kept.name)
    assert files_of(back) == files_of(load_table(folder)) == first
    assert versions(folder)[0].note == f"put back {kept.name}"
    assert files_of(restore(folder, versions(folder)[0].name)) == second


def test_putting_back_keeps_what_was_edited_by_hand(folder):
    load_table(folder).with_taxon("nova", **NEW).save()
    with (folder / "taxa.csv").open("ab") as file:
        file.write(b"half a row")
    restore(folder, versions(folder)[0].name)
    newest = disk.version_files(folder, versions(folder)[0].name)
    assert newest["taxa.csv"].endswith(b"half a row")


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


def test_a_table_whose_origin_was_taken_over_is_still_the_same(tmp_path):
    table = table_of(SMALL).save(tmp_path / "mine")
    moved = replace(table, name="other")
    moved.save()
    assert versions(tmp_path / "mine") == ()
