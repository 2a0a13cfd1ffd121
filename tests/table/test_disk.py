"""A folder of bytes: a save is whole or not at all, refuses what was edited meanwhile, can be taken back."""

import errno
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
import warnings
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path

import pytest
from filelock import FileLock
from hypothesis import given, settings
from hypothesis import strategies as st

from idkey.errors import IdkeyError, UnknownName
from idkey.table import disk
from idkey.table.disk import MOST_VERSIONS, commit, digests, read_files, version_files, versions

NAMES = ("taxa.csv", "traits.csv", "sources.bib")
FIRST = {"taxa.csv": b"one\n", "traits.csv": b"two\n"}


NO_LINKS = pytest.mark.skipif(os.name == "nt", reason="making a link needs a right on Windows")


class Killed(BaseException):
    """Stands for a program that ends in the middle."""


def _start(folder: Path, files: dict[str, bytes] = FIRST) -> dict[str, str]:
    return commit(folder, files, {}, "first")


def _own(folder: Path) -> set[str]:
    return {path.name for path in (folder / ".idkey").iterdir()}


def _by_hand(folder: Path) -> list[Path]:
    return sorted(path for path in folder.iterdir() if "edited by hand" in path.name)


def test_what_is_saved_is_read_back(tmp_path):
    folder = tmp_path / "not" / "there" / "yet"
    known = _start(folder)
    assert known == digests(FIRST)
    assert read_files(folder, NAMES) == FIRST
    assert versions(folder) == ()  # nothing stood there before
    # A name without bytes is taken away, and the others stay.
    (folder / "notes.txt").write_bytes(b"mine")
    known = commit(folder, {"taxa.csv": None, "sources.bib": b"three"}, known)
    now = {"traits.csv": b"two\n", "sources.bib": b"three"}
    assert (read_files(folder, NAMES), known) == (now, digests(now))
    assert (folder / "notes.txt").read_bytes() == b"mine"
    assert _own(folder) == {"lock", "versions"}
    if os.name != "nt":  # where making a link needs a right
        (link := tmp_path / "link").symlink_to(folder, target_is_directory=True)
        commit(link, {"taxa.csv": b"1"}, known)
        assert link.is_symlink()
        assert read_files(link, NAMES) == now | {"taxa.csv": b"1"}


def test_a_save_that_changes_nothing_writes_nothing(tmp_path):
    known = commit(tmp_path, {"taxa.csv": b"1"}, _start(tmp_path))
    (by_hand := tmp_path / "by_hand").mkdir()
    (by_hand / "taxa.csv").write_bytes(b"1")
    before = {path: path.stat().st_mtime_ns for path in tmp_path.rglob("*")}
    assert commit(tmp_path, {"taxa.csv": b"1", "sources.bib": None}, known) == known
    assert read_files(by_hand, NAMES) == {"taxa.csv": b"1"}
    assert versions(by_hand) == ()
    commit(by_hand, {"taxa.csv": b"1"}, digests({"taxa.csv": b"1"}))
    assert {path: path.stat().st_mtime_ns for path in tmp_path.rglob("*")} == before


@pytest.mark.parametrize("saved_before", [True, False])
def test_each_file_that_was_edited_meanwhile_is_named_and_nothing_is_written(tmp_path, saved_before):
    if saved_before:
        known = _start(tmp_path)
    else:
        known = digests(FIRST)
        for name, data in FIRST.items():
            (tmp_path / name).write_bytes(data)
    (tmp_path / "taxa.csv").write_bytes(b"edited")
    (tmp_path / "traits.csv").unlink()
    (tmp_path / "sources.bib").write_bytes(b"new")
    before = sorted(tmp_path.rglob("*"))
    with pytest.raises(
        IdkeyError, match=r"changed since it was loaded: sources\.bib, taxa\.csv, traits\.csv; nothing was"
    ):
        commit(tmp_path, {"taxa.csv": b"1", "sources.bib": b"3"}, known)
    assert sorted(tmp_path.rglob("*")) == before
    assert read_files(tmp_path, NAMES) == {"taxa.csv": b"edited", "sources.bib": b"new"}
    # A file that is not saved is looked at, too.
    (tmp_path / "taxa.csv").write_bytes(FIRST["taxa.csv"])
    (tmp_path / "sources.bib").unlink()
    with pytest.raises(IdkeyError, match=r"loaded: traits\.csv"):
        commit(tmp_path, {"taxa.csv": b"1"}, known)


def test_versions_are_whole_limited_and_newest_first(tmp_path):
    known = _start(tmp_path, {"taxa.csv": b"0", "traits.csv": b"0"})
    no_versions = ("..", "nothing", "", "../../other", "000009-20260101T000000Z")
    for name in no_versions:
        with pytest.raises(UnknownName, match="no version is kept yet"):
            version_files(tmp_path, name)
    for i in range(1, MOST_VERSIONS + 5):
        known = commit(tmp_path, {"taxa.csv": b"%d" % i, "traits.csv": b"%d" % i}, known, f"save {i}")
    kept = versions(tmp_path)
    assert [version.note for version in kept] == [f"save {i}" for i in range(MOST_VERSIONS + 4, 4, -1)]
    for i, version in zip(range(MOST_VERSIONS + 3, 3, -1), kept, strict=True):
        assert version_files(tmp_path, version.name) == {"taxa.csv": b"%d" % i, "traits.csv": b"%d" % i}
        assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\+00:00", version.when)
    for name in no_versions:
        with pytest.raises(UnknownName, match=r"use the name of a version \(000014-"):
            version_files(tmp_path, name)


# -- cut short ----------------------------------------------------------------------------------------


def _count_steps(monkeypatch, stop_at: int | None = None) -> list[str]:
    """Note every step that a save takes on the disk; from `stop_at` on none is taken, as if killed."""
    steps: list[str] = []

    def watched(name):
        real = getattr(os, name)

        def step(*args, **kwargs):
            if len(steps) == stop_at:
                raise Killed
            steps.append(name)
            return real(*args, **kwargs)

        return step

    for name in ("rename", "replace", "fsync", "unlink", "mkdir", "rmdir"):
        monkeypatch.setattr(os, name, watched(name))
    return steps


def test_stopped_at_any_step_the_folder_holds_the_old_or_the_new(tmp_path, monkeypatch):
    new = {"taxa.csv": b"1", "traits.csv": None, "sources.bib": b"3"}
    after = {"taxa.csv": b"1", "sources.bib": b"3"}
    with monkeypatch.context() as patch:
        known = _start(tmp_path / "count")
        steps = _count_steps(patch)
        commit(tmp_path / "count", new, known)
    outcomes = []
    for stop in range(len(steps)):
        folder = tmp_path / str(stop)
        known = _start(folder)
        with monkeypatch.context() as patch:
            _count_steps(patch, stop)
            with pytest.raises(Killed):
                commit(folder, new, known)
        # Whoever comes next may be stopped as well, at every step of tidying up.
        for again in range(6):
            with monkeypatch.context() as patch:
                _count_steps(patch, again)
                try:
                    read_files(folder, NAMES)
                except Killed:
                    continue
        found = read_files(folder, NAMES)
        assert found in (FIRST, after)
        outcomes.append(found == after)
        assert _own(folder) <= {"lock", "versions"}
        assert len(versions(folder)) == (found == after)
        assert not _by_hand(folder)
        # It can be saved to as ever.
        commit(folder, {"taxa.csv": b"last"}, digests(found))
    assert outcomes == sorted(outcomes)  # old up to the one moment, new from then on
    assert 3 < sum(outcomes) < len(outcomes) - 3


def _pending(folder: Path, known: dict[str, str], new: dict[str, bytes | None], monkeypatch) -> None:
    """Leave a save in the folder that counts and has not been put in place."""
    with monkeypatch.context() as patch:
        patch.setattr(disk, "_put", lambda *args: (_ for _ in ()).throw(Killed))
        with pytest.raises(Killed):
            commit(folder, new, known)
    assert "commit" in _own(folder)


def test_what_was_edited_by_hand_before_a_save_was_finished_is_kept_beside(tmp_path, monkeypatch):
    known = _start(tmp_path)
    for i in range(3):  # within one second
        new = {"taxa.csv": b"%d" % i, "traits.csv": b"2" if i % 2 else None, "sources.bib": b"3%d" % i}
        _pending(tmp_path, known, new, monkeypatch)
        for name in NAMES:
            (tmp_path / name).write_bytes(b"by hand %d " % i + name.encode())
        found = read_files(tmp_path, NAMES)
        assert found == {name: data for name, data in new.items() if data}
        known = digests(found)
    kept = {path.read_bytes() for path in _by_hand(tmp_path)}
    assert kept == {b"by hand %d " % i + name.encode() for i in range(3) for name in NAMES}
    assert any(re.fullmatch(r"taxa \(edited by hand \d{8}T\d{6}Z\)\.csv", p.name) for p in _by_hand(tmp_path))


def test_an_edit_of_a_file_that_is_in_place_already_is_left_alone(tmp_path, monkeypatch):
    known, put = _start(tmp_path), disk._put
    with monkeypatch.context() as patch:
        patch.setattr(disk, "_put", lambda at, *rest: put(at, *rest) if at.name == "taxa.csv" else 1 / 0)
        with pytest.raises(ZeroDivisionError):
            commit(tmp_path, {"taxa.csv": b"1", "traits.csv": b"2"}, known)
    (tmp_path / "taxa.csv").write_bytes(b"later")
    assert read_files(tmp_path, NAMES) == {"taxa.csv": b"later", "traits.csv": b"2"}
    assert not _by_hand(tmp_path)


# -- a folder from somebody else ----------------------------------------------------------------------


def _everything(folder: Path) -> dict[str, bytes | str | None]:
    return {
        str(path.relative_to(folder)): os.readlink(path)
        if path.is_symlink()
        else path.read_bytes()
        if path.is_file()
        else None
        for path in sorted(folder.rglob("*"))
        if path.name != "lock" and "table" not in path.relative_to(folder).parts[:1]
    }


def _table_and_outside(tmp_path: Path) -> Path:
    folder, outside = tmp_path / "table", tmp_path / "outside"
    known = _start(folder)
    commit(folder, {"taxa.csv": b"1"}, known)
    for name in (*NAMES, "gone-1/x", "next-1/x", "000001-20200101T000000Z/taxa.csv", "new/taxa.csv"):
        (outside / name).parent.mkdir(parents=True, exist_ok=True)
        (outside / name).write_bytes(b"precious")
    return folder


def _unfinished(folder: Path, files: dict[str, object], version: object = None) -> Path:
    """Write what a save that counts and is not in place yet looks like."""
    pending = folder / ".idkey" / "commit"
    (pending / "new").mkdir(parents=True)
    (pending / "before").mkdir()
    for name in ("taxa.csv", "x"):
        (pending / "new" / name).write_bytes(b"planted")
    (pending / "manifest.json").write_text(json.dumps({"version": version, "files": files}))
    return pending


PLANTED = {"old": digests({"": b"precious"})[""], "new": digests({"": b"planted"})[""]}
GONE = {**PLANTED, "new": None}


OTHERS = ["../outside/taxa.csv", "ABSOLUTE", "x", "..", "", ".", ".idkey/lock", "sub/taxa.csv"]


@pytest.mark.parametrize("both", [PLANTED, GONE], ids=["overwrite", "delete"])
@pytest.mark.parametrize("name", [*OTHERS, "..\\outside\\taxa.csv"])
def test_an_unfinished_save_that_names_other_files_is_left_alone_and_said(tmp_path, name, both):
    folder = _table_and_outside(tmp_path)
    name = str(tmp_path / "outside" / "taxa.csv") if name == "ABSOLUTE" else name
    _unfinished(folder, {"taxa.csv": PLANTED, name: both})
    outside, inside = _everything(tmp_path), _everything(folder)
    with pytest.warns(UserWarning, match="an unfinished save names what is no file of a table") as told:
        assert read_files(folder, NAMES) == {**FIRST, "taxa.csv": b"1"}
    assert repr(name[:60]) in str(told[0].message)
    with pytest.raises(
        IdkeyError, match="names what is no file of a table: .*nothing was saved; move .idkey"
    ):
        commit(folder, {"taxa.csv": b"2"}, digests({**FIRST, "taxa.csv": b"1"}))
    with pytest.warns(UserWarning, match="no file of a table"):
        assert len(versions(folder)) == 1
    assert (_everything(tmp_path), _everything(folder)) == (outside, inside)
    # The same of a version that would be put elsewhere.
    shutil.rmtree(folder / ".idkey" / "commit")
    _unfinished(folder, {"taxa.csv": PLANTED}, "../../../outside/stolen")
    before = _everything(tmp_path)
    with pytest.warns(UserWarning, match=r"no file of a table: '\.\./\.\./"):
        read_files(folder, NAMES)
    assert _everything(tmp_path) == before


LINKS = dict.fromkeys(
    ("", "/versions", "/commit", "/commit/new", "/commit/before", "/next-2")
    + ("/versions/000001-20200101T000000Z",),
    "outside",
) | dict.fromkeys(("/commit/new/taxa.csv", "/commit/manifest.json", "/lock"), "outside/taxa.csv")


@NO_LINKS
@pytest.mark.parametrize(("link", "target"), LINKS.items())
def test_links_in_idkey_are_not_followed(tmp_path, link, target):
    folder = _table_and_outside(tmp_path)
    pending = _unfinished(folder, {"taxa.csv": PLANTED}, "000002-20200101T000000Z")
    if "commit" not in link:
        shutil.rmtree(pending)
    place = folder / (link := f".idkey{link}")
    if place.is_dir():
        shutil.rmtree(place)
    else:
        place.unlink(missing_ok=True)
    place.symlink_to(tmp_path / target)
    before = _everything(tmp_path)
    with pytest.warns(UserWarning, match=f"{re.escape(link)} stands for something outside this folder"):
        assert read_files(folder, NAMES) == {**FIRST, "taxa.csv": b"1"}
    with pytest.raises(IdkeyError, match="outside this folder; nothing was saved; move .idkey out of"):
        commit(folder, {"taxa.csv": None, "traits.csv": b"2"}, digests({**FIRST, "taxa.csv": b"1"}))
    assert _everything(tmp_path) == before
    assert read_files(tmp_path / "outside", NAMES) == dict.fromkeys(NAMES, b"precious")


@NO_LINKS
@pytest.mark.parametrize("new", [b"2", None], ids=["overwrite", "delete"])
def test_a_file_of_the_table_that_is_a_link_is_replaced_not_what_it_stands_for(tmp_path, new, monkeypatch):
    folder = _table_and_outside(tmp_path)
    for name in ("taxa.csv", "traits.csv"):
        (folder / name).unlink()
        (folder / name).symlink_to(tmp_path / "outside" / name)
    before = _everything(tmp_path)
    known = digests(read_files(folder, NAMES))
    _pending(folder, known, {"taxa.csv": new}, monkeypatch)
    assert read_files(folder, ("taxa.csv",)) == ({"taxa.csv": new} if new else {})
    assert _everything(tmp_path) == before


def test_a_lock_that_is_a_second_name_of_another_file_is_not_opened(tmp_path):
    folder = _table_and_outside(tmp_path)
    (folder / ".idkey" / "lock").unlink()
    os.link(tmp_path / "outside" / "taxa.csv", folder / ".idkey" / "lock")
    with pytest.warns(UserWarning, match="lock stands for something outside"):
        read_files(folder, NAMES)
    assert (tmp_path / "outside" / "taxa.csv").read_bytes() == b"precious"


def _damages(folder: Path) -> dict[str, Callable[[], object]]:
    """Ways to damage what stands beside the files: each by the part of .idkey that it breaks."""
    own = folder / ".idkey"
    good = {"taxa.csv": PLANTED}

    def manifest(text: str) -> None:
        (_unfinished(folder, good) / "manifest.json").write_text(text)

    def in_place_of(name: str, make: Callable[[Path], object]) -> None:
        if "commit" in name and name != "commit":
            _unfinished(folder, good)
        shutil.rmtree(own / name) if (own / name).is_dir() else (own / name).unlink(missing_ok=True)
        make(own / name)

    def other_bytes() -> None:
        (_unfinished(folder, good) / "new" / "taxa.csv").write_bytes(b"cut sho")

    kept = "000001-20200101T000000Z"
    shapes = [[], {"taxa.csv": None}, {"taxa.csv": {"old": 1, "new": None}}, 7]
    return {
        **{f"commit {shape}": partial(_unfinished, folder, shape) for shape in shapes},
        "commit cut short": partial(manifest, "{"),
        "commit nested": partial(manifest, "[" * 100_000),
        "commit is a file": partial(in_place_of, "commit", Path.touch),
        "commit new": partial(in_place_of, "commit/new", Path.touch),
        "commit new/taxa.csv": partial(in_place_of, "commit/new/taxa.csv", Path.mkdir),
        "commit manifest.json": partial(in_place_of, "commit/manifest.json", Path.mkdir),
        "commit other bytes": other_bytes,
        "commit kept twice": lambda: (_unfinished(folder, good, kept), (own / "versions" / kept).mkdir()),
        "versions is a file": partial(in_place_of, "versions", Path.touch),
        "lock is a folder": partial(in_place_of, "lock", Path.mkdir),
        ".idkey is a file": lambda: (shutil.rmtree(own), own.touch()),
    }


@pytest.mark.parametrize("which", range(15))
def test_what_is_damaged_beside_the_files_is_set_aside_and_told_and_they_load(tmp_path, which):
    folder = _table_and_outside(tmp_path)
    what, damage = list(_damages(folder).items())[which]
    damage()
    now = {**FIRST, "taxa.csv": b"1"}
    part = what.split()[0]
    with pytest.warns(UserWarning, match=f"{part}: was damaged.*set aside as {part}-damaged-.*as they stand"):
        assert read_files(folder, NAMES) == now
    # Once: from then on it is a folder like any other.
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        known = commit(folder, {"taxa.csv": b"2"}, digests(now))
        assert read_files(folder, NAMES) == {**now, "taxa.csv": b"2"}
        assert version_files(folder, versions(folder)[0].name) == now
        commit(folder, {"taxa.csv": b"3"}, known)
    assert any("-damaged-" in path.name for path in folder.rglob("*"))


def test_as_much_is_set_aside_by_a_save(tmp_path):
    folder = _table_and_outside(tmp_path)
    shutil.rmtree(folder / ".idkey")
    (folder / ".idkey").write_bytes(b"mine")
    with pytest.warns(UserWarning, match="idkey: was damaged"):
        commit(folder, {"taxa.csv": b"2"}, digests({**FIRST, "taxa.csv": b"1"}))
    assert len(versions(folder)) == 1
    assert [path.read_bytes() for path in folder.glob(".idkey-damaged-*")] == [b"mine"]


def test_folders_within_folders_too_deep_to_look_through_are_left_alone(tmp_path, monkeypatch):
    _start(tmp_path)
    monkeypatch.chdir(tmp_path / ".idkey")
    for _ in range(1_500):
        os.mkdir("d")
        os.chdir("d")
    try:
        with warnings.catch_warnings():
            warnings.filterwarnings("ignore", message=".*(too deep|stands for something outside)")
            assert read_files(tmp_path, NAMES) == FIRST
            assert versions(tmp_path) == ()
    finally:
        for _ in range(1_500):  # or nobody can clear them up
            os.chdir("..")
            os.rmdir("d")


def test_a_note_that_can_not_be_read_hides_no_version(tmp_path):
    known = _start(tmp_path)
    commit(tmp_path, {"taxa.csv": b"1"}, known)
    (note,) = (tmp_path / ".idkey" / "versions").glob("*/note.json")
    for text in ("[]", "[" * 100_000, "{"):
        note.write_text(text)
        assert [version.note for version in versions(tmp_path)] == [""]
        assert version_files(tmp_path, versions(tmp_path)[0].name) == FIRST


# -- what is in the way -------------------------------------------------------------------------------


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EDQUOT, errno.EACCES, errno.EIO])
@pytest.mark.parametrize("at", range(8))
def test_a_full_disk_at_any_write_leaves_the_old_state(tmp_path, monkeypatch, number, at):
    known = _start(tmp_path)
    real, calls = os.fsync, []

    def fsync(handle):
        calls.append(handle)
        if len(calls) > at:
            raise OSError(number, os.strerror(number))
        real(handle)

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", fsync)
        with pytest.raises(IdkeyError, match="nothing was saved") as caught:
            commit(tmp_path, {"taxa.csv": b"1", "sources.bib": b"3"}, known)
    assert "\n" not in str(caught.value)
    assert str(tmp_path) in str(caught.value)
    if number in (errno.ENOSPC, errno.EDQUOT):
        assert "no room is left on the disk" in str(caught.value)
    assert _own(tmp_path) == {"lock"}
    assert read_files(tmp_path, NAMES) == FIRST


def test_an_error_past_the_one_moment_says_that_the_save_is_kept(tmp_path, monkeypatch):
    known = _start(tmp_path)

    def replace(old, new):
        raise PermissionError(errno.EACCES, "held", str(new))

    with monkeypatch.context() as patch:
        patch.setattr(os, "replace", replace)
        with pytest.raises(IdkeyError, match=r"taxa\.csv: there is no right.*the save is kept"):
            commit(tmp_path, {"taxa.csv": b"1"}, known)
    assert read_files(tmp_path, NAMES) == {**FIRST, "taxa.csv": b"1"}


def _only_for_reading(patch) -> None:
    """A folder without the right to write; a test run by an administrator may write anywhere."""

    def acquire(self, *args, **kwargs):
        raise PermissionError(errno.EACCES, "denied", self.lock_file)

    patch.setattr(FileLock, "acquire", acquire)


@pytest.mark.parametrize("which", [None, *range(15)])
def test_a_folder_without_the_right_to_write_is_never_written_to(tmp_path, monkeypatch, which):
    folder = _table_and_outside(tmp_path)
    if which is None:
        (folder / ".idkey" / "lock").unlink()
        (folder / ".idkey" / "next-1").mkdir()
    else:
        list(_damages(folder).values())[which]()
    before = {path: path.lstat().st_mtime_ns for path in [folder, *folder.rglob("*")]}
    monkeypatch.setattr(os, "access", lambda path, mode: mode != os.W_OK)
    assert read_files(folder, NAMES) == {**FIRST, "taxa.csv": b"1"}
    versions(folder)
    assert {path: path.lstat().st_mtime_ns for path in [folder, *folder.rglob("*")]} == before


def test_a_folder_that_is_only_for_reading(tmp_path, monkeypatch):
    known = _start(tmp_path)
    with monkeypatch.context() as patch:
        _only_for_reading(patch)
        assert read_files(tmp_path, NAMES) == FIRST
        assert versions(tmp_path) == ()
        with pytest.raises(IdkeyError, match="no right to read or write here.*nothing was saved"):
            commit(tmp_path, {"taxa.csv": b"1"}, known)
    _pending(tmp_path, known, {"taxa.csv": b"1"}, monkeypatch)
    with monkeypatch.context() as patch:
        _only_for_reading(patch)
        patch.setattr(disk, "_POLL_S", 0.001)
        with pytest.raises(IdkeyError, match="is not finished; load it once with the right to write"):
            read_files(tmp_path, NAMES)


def test_a_reader_without_the_lock_never_gets_half_a_save(tmp_path, monkeypatch):
    known = _start(tmp_path, {"taxa.csv": b"0", "traits.csv": b"0"})
    real, met = disk._bytes_of, []

    def read_between(path):
        data = real(path)
        if path.name == "taxa.csv" and len(met) < 3:
            # Another program replaces both files between the reading of the one and of the other.
            met.append(data)
            for name in ("taxa.csv", "traits.csv"):
                (tmp_path / "next").write_bytes(b"%d" % len(met))
                os.replace(tmp_path / "next", tmp_path / name)
        return data

    assert known
    with monkeypatch.context() as patch:
        _only_for_reading(patch)
        patch.setattr(disk, "_bytes_of", read_between)
        found = read_files(tmp_path, ("taxa.csv", "traits.csv"))
    assert len(met) == 3
    assert found == {"taxa.csv": b"3", "traits.csv": b"3"}


def test_names_that_can_be_no_folder(tmp_path):
    (tmp_path / "file").write_text("text")
    for folder in (tmp_path / "file", tmp_path / "file" / "inside", "nul\0byte"):
        for call in (lambda at: commit(at, FIRST, {}), lambda at: read_files(at, NAMES)):
            with pytest.raises(IdkeyError) as caught:
                call(folder)
            assert "\n" not in str(caught.value)
    assert (tmp_path / "file").read_text() == "text"


def test_a_name_taken_by_a_folder_a_pipe_or_a_huge_file(tmp_path, monkeypatch):
    (tmp_path / "taxa.csv").mkdir()
    with pytest.raises(IdkeyError, match=r"taxa\.csv: .*the file cannot be read \(it is no plain file"):
        read_files(tmp_path, NAMES)
    with pytest.raises(IdkeyError, match=r"taxa\.csv: .*the file cannot be read \(it is no plain file"):
        commit(tmp_path, FIRST, {})
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "traits.csv")
        with pytest.raises(IdkeyError, match=r"traits\.csv: .*it is no plain file"):
            read_files(tmp_path, ("traits.csv",))
    # Of a huge file no more is read than shows that it is too long.
    monkeypatch.setattr(disk, "MOST_BYTES", 100)
    (tmp_path / "sources.bib").write_bytes(b"x" * 1000)
    assert len(read_files(tmp_path, ("sources.bib",))["sources.bib"]) == 101


# -- two at once --------------------------------------------------------------------------------------


def test_a_folder_that_is_being_saved_to_is_waited_for_and_then_given_up(tmp_path, monkeypatch):
    known = _start(tmp_path)
    monkeypatch.setattr(disk, "_WAIT_S", 0.1)
    with FileLock(str(tmp_path / ".idkey" / "lock")), ThreadPoolExecutor(1) as pool:
        for act in ((commit, tmp_path, {"taxa.csv": b"1"}, known), (read_files, tmp_path, NAMES)):
            error = pool.submit(*act).exception()
            assert isinstance(error, IdkeyError)
            assert str(error).endswith("another program is saving to this folder; try again")
    commit(tmp_path, {"taxa.csv": b"1"}, known)


def _writer(folder: Path, who: str, times: int) -> None:
    """Save in turns with others: each state is the same in all files and names who wrote it."""
    done = 0
    while done < times:
        files = read_files(folder, NAMES)
        assert len(set(files.values())) == 1, files
        state = f"{who} {done}".encode()
        try:
            commit(folder, dict.fromkeys(NAMES, state), digests(files))
        except IdkeyError as error:
            if "changed since it was loaded" not in str(error):  # as it is where the other one was quicker
                raise
        else:
            done += 1


def test_threads_that_save_at_once_never_mix(tmp_path):
    _start(tmp_path, dict.fromkeys(NAMES, b"start"))
    with ThreadPoolExecutor(3) as pool:
        list(pool.map(_writer, [tmp_path] * 3, ("thread 0", "thread 1", "thread 2"), [10] * 3))
    assert read_files(tmp_path, NAMES)["taxa.csv"].endswith(b" 9")
    assert len(versions(tmp_path)) == MOST_VERSIONS


def test_programs_that_save_at_once_never_mix(tmp_path):
    _start(tmp_path, dict.fromkeys(NAMES, b"start"))
    code = (
        "import sys; from pathlib import Path; from table.test_disk import _writer\n"
        "_writer(Path(sys.argv[1]), sys.argv[2], 10)"
    )
    here = Path(__file__).resolve()
    paths = os.pathsep.join(map(str, (here.parents[1], here.parents[2])))
    running = [
        subprocess.Popen(
            [sys.executable, "-c", code, str(tmp_path), who], env={**os.environ, "PYTHONPATH": paths}
        )
        for who in ("one", "two")
    ]
    seen = set()
    while any(program.poll() is None for program in running):
        files = read_files(tmp_path, NAMES)
        assert len(set(files.values())) == 1
        seen.add(files["taxa.csv"])
        time.sleep(0.005)
    assert [program.returncode for program in running] == [0, 0]
    assert {state.split()[0] for state in seen} <= {b"start", b"one", b"two"}
    assert read_files(tmp_path, NAMES)["taxa.csv"] in (b"one 9", b"two 9")


@pytest.mark.skipif(os.name == "nt", reason="no SIGKILL on Windows")
def test_the_lock_is_free_once_its_holder_is_killed(tmp_path):
    known = _start(tmp_path)
    code = (
        "import sys, time; from filelock import FileLock\n"
        "FileLock(sys.argv[1]).acquire(); print('held', flush=True); time.sleep(60)"
    )
    lock = str(tmp_path / ".idkey" / "lock")
    with subprocess.Popen([sys.executable, "-c", code, lock], stdout=subprocess.PIPE) as holder:
        assert holder.stdout.readline() == b"held\n"
        holder.send_signal(signal.SIGKILL)
    commit(tmp_path, {"taxa.csv": b"1"}, known)
    assert read_files(tmp_path, NAMES)["taxa.csv"] == b"1"


# -- any sequence -------------------------------------------------------------------------------------

STATES = st.dictionaries(st.sampled_from(NAMES), st.binary(max_size=20), min_size=1)


@settings(max_examples=25)
@given(st.lists(STATES, min_size=1, max_size=6))
def test_any_sequence_of_saves_reads_back_and_each_one_before_is_kept(tmp_path_factory, states):
    folder = tmp_path_factory.mktemp("any")
    known: dict[str, str] = {}
    told: list[dict[str, bytes]] = []
    now: dict[str, bytes] = {}
    for state in states:
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(os, "fsync", lambda handle: None)  # no power is cut here
            known = commit(folder, {name: state.get(name) for name in NAMES}, known)
        if now and state != now:
            told.insert(0, now)
        now = state
        assert read_files(folder, NAMES) == now
        assert known == digests(now)
    assert [version_files(folder, version.name) for version in versions(folder)] == told
    for kept in (folder / ".idkey" / "versions").glob("*/note.json"):
        assert set(json.loads(kept.read_text())) == {"when", "note"}
