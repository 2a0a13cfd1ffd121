"""`printed`: what is written where, and what is refused."""

import os
import sys

import pandas as pd
import pytest

import idkey
from idkey.errors import IdkeyError
from idkey.model.compare import compare
from idkey.views import report
from idkey.views.report import printed, save


@pytest.fixture(scope="module")
def table():
    frame = pd.DataFrame({"kind": ["one", "two"], "tail": ["forked", "straight"]})
    return idkey.TraitTable.from_frame(frame, taxon="kind")


@pytest.fixture(scope="module")
def key(table):
    return idkey.build_key(table)


@pytest.mark.parametrize("name", ["key.html", "key.pdf", "KEY.PDF"])
def test_the_ending_decides(tmp_path, key, name):
    made = printed(key, tmp_path / name)
    data = (tmp_path / name).read_bytes()
    assert data == (made if isinstance(made, bytes) else made.encode())
    assert data.startswith(b"%PDF" if name.lower().endswith("pdf") else b"<!DOCTYPE html>")
    assert os.listdir(tmp_path) == [name]


def test_without_a_path_the_html_is_returned(key):
    assert printed(key) == report.key_page(key)
    assert printed(key, paper="Letter") == report.key_page(key, "Letter")


def test_a_comparison_and_a_care_sheet(tmp_path, table):
    both = compare(table, "one", "two")
    assert printed(both) == report.compare_page(both)
    shipped = idkey.load_table()
    sheet = idkey.care_for(shipped, "hypancistrus_zebra")
    assert printed(sheet) == report.care_page(sheet)
    assert printed(sheet, tmp_path / "care.pdf") == report.care_pdf(sheet)


@pytest.mark.parametrize("name", ["key.txt", "key", ".pdf", "key.pdf.gz"])
def test_an_unknown_ending_is_refused(tmp_path, key, name):
    with pytest.raises(IdkeyError, match=r"end in \.html or \.pdf"):
        printed(key, tmp_path / name)
    assert not os.listdir(tmp_path)


@pytest.mark.parametrize("paper", ["A5", "a4", "", None, ["A4"], 4])
def test_an_unknown_paper_is_refused(tmp_path, key, paper):
    for call in (
        lambda: printed(key, tmp_path / "key.pdf", paper),
        lambda: report.key_page(key, paper),
        lambda: report.key_pdf(key, paper=paper),
    ):
        with pytest.raises(IdkeyError, match=r"one of \(A4, Letter\)") as caught:
            call()
        assert "\n" not in str(caught.value)
    assert not os.listdir(tmp_path)


@pytest.mark.parametrize("thing", [None, "key", 3, idkey.load_table])
def test_what_cannot_be_printed_is_refused(thing):
    with pytest.raises(IdkeyError, match="give a Key, a CareSheet or a Comparison"):
        printed(thing)


@pytest.mark.parametrize("ending", [".html", ".pdf"])
def test_a_file_that_is_there_is_kept_unless_told(tmp_path, key, ending):
    place = tmp_path / f"key{ending}"
    place.write_text("mine")
    with pytest.raises(IdkeyError, match="overwrite=True"):
        printed(key, place)
    assert place.read_text() == "mine"
    made = printed(key, place, overwrite=True)
    assert place.read_bytes() == (made if isinstance(made, bytes) else made.encode())
    assert os.listdir(tmp_path) == [place.name]


def test_a_file_that_comes_meanwhile_is_kept(tmp_path, key, monkeypatch):
    place = tmp_path / "key.html"
    seen = []

    def look(path, overwrite):
        seen.append(path)
        if len(seen) > 1:
            return real(path, overwrite)
        place.write_text("mine")
        return None

    real = report._check_free
    monkeypatch.setattr(report, "_check_free", look)
    with pytest.raises(IdkeyError, match="is there already"):
        save("<!DOCTYPE html>", place)
    assert place.read_text() == "mine"
    assert os.listdir(tmp_path) == [place.name]


def test_a_folder_is_never_written_over(tmp_path, key):
    (tmp_path / "key.pdf").mkdir()
    with pytest.raises(IdkeyError, match="this is no file"):
        printed(key, tmp_path / "key.pdf", overwrite=True)


def test_a_folder_that_is_not_there(tmp_path, key):
    with pytest.raises(IdkeyError, match="cannot be written here") as caught:
        printed(key, tmp_path / "no" / "key.html")
    assert "\n" not in str(caught.value)


def test_a_failed_write_leaves_the_old_file(tmp_path, key, monkeypatch):
    place = tmp_path / "key.html"
    place.write_text("mine")

    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(IdkeyError, match="No space left"):
        printed(key, place, overwrite=True)
    assert place.read_text() == "mine"
    assert os.listdir(tmp_path) == [place.name]


def test_the_wrong_ending_for_a_document(tmp_path):
    with pytest.raises(IdkeyError, match="this document is PDF"):
        save(b"%PDF", tmp_path / "key.html")
    with pytest.raises(IdkeyError, match="this document is HTML"):
        save("<!DOCTYPE html>", tmp_path / "key.pdf")


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such modes")
def test_others_may_read_what_is_written(tmp_path, key):
    printed(key, tmp_path / "key.html")
    assert (tmp_path / "key.html").stat().st_mode & 0o444 == 0o444


# -- the table's version and date ------------------------------------------------------------------------


def test_version_and_date_come_from_the_data_package(tmp_path):
    import json
    import shutil

    from idkey.table.files import shipped_folder

    folder = tmp_path / "mine"
    shutil.copytree(shipped_folder(), folder)
    package = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))
    (folder / "datapackage.json").write_text(
        json.dumps({**package, "version": "2.5", "created": "2026-03-09T10:00:00Z"}), encoding="utf-8"
    )
    table = idkey.load_table(folder)
    assert (table.version, table.date) == ("2.5", "2026-03-09")
    some = table.only(table.ids[:2])
    assert (some.version, some.date) == ("2.5", "2026-03-09")
    assert table.with_taxon("new_kind", scientificName="New sp.").version == "2.5 with additions"
    assert (
        table.with_taxon("new_kind", scientificName="New sp.")
        .with_taxon("newer_kind", scientificName="Newer sp.")
        .version
        == "2.5 with additions"
    )
    (folder / "datapackage.json").unlink()
    assert (idkey.load_table(folder).version, idkey.load_table(folder).date) == ("", "")
    for wrong in ("{", "[1]", '"text"'):
        (folder / "datapackage.json").write_text(wrong, encoding="utf-8")
        with pytest.raises(IdkeyError, match=r"datapackage\.json.*mend or delete"):
            idkey.load_table(folder)
