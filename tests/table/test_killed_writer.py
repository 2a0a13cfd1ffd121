"""A program that saves is killed, 25 times (IDKEY_LONG_TESTS=1: 200): the folder holds a whole state.

A server with all imports done forks the writers. Each notes a state in a file of its own once the save of it
came back, so that what may stand on the disk is known to the state: the last one noted, or the one after it.
"""

import os
import random
import signal
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from killed import run_and_kill, server

from idkey.table.disk import MOST_VERSIONS, commit, digests, read_files, version_files, versions
from idkey.table.files import files_of
from idkey.table.folder import load_table, save_table
from idkey.table.layout import FILES
from idkey.table.table import TraitTable

from .small_folder import SMALL, table_of

pytestmark = pytest.mark.skipif(os.name == "nt", reason="Windows has neither fork nor SIGKILL")

LONG = bool(os.environ.get("IDKEY_LONG_TESTS"))
NAMES = ("taxa.csv", "traits.csv", "sources.bib")
WATCHED = ("rename", "replace", "fsync", "unlink", "rmdir", "mkdir", "open", "close")


# -- what is written ----------------------------------------------------------------------------------


def bytes_state(number: int) -> dict[str, bytes]:
    """Return three files of one state; every third state does without the last of them."""
    data = b"%d\n" % number * (1 + number * 7919 % 900)
    return {name: name.encode() + data for name in (NAMES if number % 3 else NAMES[:2])}


def numbered_table(number: int) -> TraitTable:
    """Return a small table; each of its files names the state."""
    marks = (
        (b",120,", b",%d," % (1000 + number)),
        (b"Invented fish", b"Invented fish %d" % number),
        (b"How long?", b"How long (%d)?" % number),
        (b"Sand, not sharp.", b"Sand, not sharp. %d" % number),
        (b'"1.0"', b'"1.%d"' % number),
    )
    files = dict(SMALL)
    for old, new in marks:
        files = {name: data.replace(old, new) for name, data in files.items()}
    return table_of(files)


def table_state(number: int) -> dict[str, bytes]:
    """Return the folder of that table."""
    return files_of(numbered_table(number))


def save_bytes(folder: Path, number: int) -> None:
    state = bytes_state(number)
    commit(folder, {name: state.get(name) for name in NAMES}, digests(read_files(folder, NAMES)), str(number))


def save_as_table(folder: Path, number: int) -> None:
    origin = load_table(folder).origin if (folder / "taxa.csv").exists() else None
    save_table(replace(numbered_table(number), origin=origin), folder)


WAYS: dict[str, tuple[Callable[[Path, int], None], Callable[[int], dict[str, bytes]], tuple[str, ...]]] = {
    "bytes": (save_bytes, bytes_state, NAMES),
    "table": (save_as_table, table_state, FILES),
}


# -- the writers --------------------------------------------------------------------------------------


def _die_at_step(step: int) -> None:
    """Have this program kill itself at a step that it takes on the disk."""
    left = [step]

    def watched(real):
        def taken(*args, **kwargs):
            left[0] -= 1
            if left[0] < 0:
                os.kill(os.getpid(), signal.SIGKILL)
            return real(*args, **kwargs)

        return taken

    for name in WATCHED:
        setattr(os, name, watched(getattr(os, name)))


def write_for_ever(way: str, folder: str, noted: str, first: str, step: str) -> None:
    save = WAYS[way][0]
    handle = os.open(noted, os.O_WRONLY | os.O_APPEND)
    if int(step) >= 0:
        _die_at_step(int(step))
    number = int(first)
    while True:
        save(Path(folder), number)
        os.write(handle, b"%d\n" % number)
        number += 1


@pytest.fixture(scope="module")
def writers():
    with server("table.test_killed_writer", "write_for_ever") as running:
        yield running


# -- the tests ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("way", "by_clock", "by_itself", "steps"),
    [("bytes", 60, 60, 90), ("table", 40, 40, 110)] if LONG else [("bytes", 8, 7, 90), ("table", 4, 6, 110)],
)
def test_killed_at_any_moment_the_folder_holds_a_whole_state(
    writers, tmp_path, way, by_clock, by_itself, steps
):
    _, state, names = WAYS[way]
    folder, noted = tmp_path / "folder", tmp_path / "noted"
    chance = random.Random(way)
    turns = [True] * by_clock + [False] * by_itself
    chance.shuffle(turns)
    reached, cut_short, finished_later = 0, 0, 0
    folder.mkdir()
    noted.touch()
    began = time.perf_counter()
    WAYS[way][0](folder, 0)
    latest_s = min(3 * (time.perf_counter() - began), 0.2)
    for clock in turns:
        step = -1 if clock else chance.randrange(steps)
        after_s = chance.uniform(0, latest_s) if clock else None
        run_and_kill(writers, way, folder, noted, reached + 1, step, after_s=after_s)

        left = {path.name for path in (folder / ".idkey").iterdir()}
        cut_short += any(name == "commit" or name.startswith("next-") for name in left)
        finished_later += "commit" in left
        came_back = max([reached, *map(int, noted.read_text().split())])
        found = read_files(folder, names)
        assert found in (state(came_back), state(came_back + 1)), (left, came_back)
        reached = came_back if found == state(came_back) else came_back + 1
        if way == "table":
            table = load_table(folder)
            assert table.cell("alpha", "size").high == 1000 + reached
            assert table.version == f"1.{reached}"

        # Nothing is left over, and every version is a whole state that was written once, in its order.
        assert {path.name for path in folder.iterdir()} == {".idkey", *found}
        assert {path.name for path in (folder / ".idkey").iterdir()} <= {"lock", "versions"}
        kept = versions(folder)
        assert len(kept) <= MOST_VERSIONS
        if kept:
            assert version_files(folder, kept[0].name) == state(reached - 1)
    for back, version in enumerate(kept, start=1):
        assert version_files(folder, version.name) == state(reached - back)
    # The kills did hit saves on their way, on both sides of the one moment that counts.
    assert cut_short > len(turns) / 10
    assert 0 < finished_later < cut_short
    assert reached > len(turns) / 10
