"""What is large or made to be: read within bounds of memory, or refused before the work.

IDKEY_LONG_TESTS=1 tries the largest sizes. Memory is what tracemalloc counts, the arrays of numpy included.
"""

import os
import tracemalloc
from contextlib import contextmanager

import numpy as np
import pandas as pd
import pytest
from shipped import TABLE

import idkey
from idkey.care.room import read_room
from idkey.errors import TableError
from idkey.table import layout
from idkey.table.claims import parse_sources
from idkey.table.csvfile import Found
from idkey.table.fields import META
from idkey.table.spreadsheet import read_spreadsheet

from .small_folder import EVIDENCE_COLUMNS, TRAIT_COLUMNS, csv_of, small_files, table_of

LONG = bool(os.environ.get("IDKEY_LONG_TESTS"))
MB = 1_000_000
ROOM, SHEET = b"name,length_cm,width_cm,height_cm\n", b"id,source\n"
NEAR = layout.MOST_BYTES - 100


@contextmanager
def at_most(size):
    """Fail where more memory than this was held at once."""
    tracemalloc.start()
    try:
        yield
        assert tracemalloc.get_traced_memory()[1] < size
    finally:
        tracemalloc.stop()


READERS = {"room": read_room, "sheet": lambda path: read_spreadsheet(path, TABLE)}
LARGE = {
    "line feeds": b"\n" * NEAR,
    "carriage returns": b"\r" * NEAR,
    "both": b"\r\n" * (NEAR // 2),
    "commas": b"," * NEAR,
    "commas and lines": b",\n" * (NEAR // 2),
    "short rows": b"a\n" * (NEAR // 2),
    "quotation marks": b'"' * NEAR,
    "a tank and blank lines": ROOM + b"a,1,2,3\n" + b"\n" * NEAR,
    "a kind and blank rows": SHEET + b"a,b\n" + b",\n" * (NEAR // 2),
    "rows that are filled": SHEET + b"a,b\n" * (layout.MOST_SHEET_ROWS * 2),
    "too large": b"x" * (10 * layout.MOST_BYTES),
}


@pytest.mark.parametrize("data", LARGE.values(), ids=LARGE)
@pytest.mark.parametrize("read", READERS.values(), ids=READERS)
def test_a_file_of_lines_or_commas_is_refused_within_bounds(tmp_path, read, data):
    path = tmp_path / "it.csv"
    path.write_bytes(data)
    with at_most(7 * layout.MOST_BYTES), pytest.raises(TableError) as refused:
        read(path)
    assert 1 <= len(refused.value.problems) <= layout.MOST_PROBLEMS + 1
    assert all(problem.file == "it.csv" for problem in refused.value.problems)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="Windows has no such files")
@pytest.mark.parametrize("read", READERS.values(), ids=READERS)
def test_a_pipe_a_device_and_a_folder_are_no_file(tmp_path, read):
    os.mkfifo(tmp_path / "pipe")
    for path in (tmp_path / "pipe", "/dev/zero", "/dev/tty", tmp_path):
        with pytest.raises(TableError, match="missing|no such file"):
            read(path)


def test_lines_end_in_any_of_three_ways_and_a_cell_may_hold_one(tmp_path):
    path = tmp_path / "room.csv"
    rows = ["name,length_cm,width_cm,height_cm", "", '"a\nb",80,40,40', "c,80,40,40"]
    for end in ("\n", "\r\n", "\r"):
        path.write_text(end.join(rows), newline="")
        assert [tank.name for tank in read_room(path)] == ["a\nb", "c"]


# -- short names in sources.bib ---------------------------------------------------------------------------

FIRST = '@string{a0 = "' + "x" * 400 + '"}\n'
CHAINS = {"alias": "@string{{a{0} = a{1}}}\n", "twice": "@string{{a{0} = a{1} # a{1}}}\n"}
CHAINS["longer"] = '@string{{a{0} = a{1} # "' + "y" * 60 + '"}}\n'


@pytest.mark.parametrize("number", [4_000, *([15_000] if LONG else [])])
@pytest.mark.parametrize("chain", CHAINS.values(), ids=CHAINS)
def test_short_names_that_stand_for_one_another_take_no_more_than_they_are_long(chain, number):
    text = FIRST + "".join(chain.format(i, i - 1) for i in range(1, number))
    text += "".join(f"@misc{{k{i}, title = a{number - 1}, note = a{i}}}\n" for i in range(1, 500))
    with at_most(60 * MB):
        found = Found()
        sources = parse_sources(text, found)
    assert found or len(sources) == 499


# -- many kinds -------------------------------------------------------------------------------------------


def many(kinds, traits, blank=0.5):
    """Return an invented table of kinds with states drawn at random."""
    rng = np.random.default_rng(0)
    cells = rng.choice(
        np.array(["a", "b", "c", "d", ""], dtype=object),
        (kinds, traits),
        p=[0.25 * (1 - blank)] * 4 + [blank],
    )
    frame = pd.DataFrame(cells, columns=[f"t{j}" for j in range(traits)])
    return idkey.TraitTable.from_frame(frame.assign(kind=[f"kind {i}" for i in range(kinds)]), taxon="kind")


@pytest.mark.parametrize("kinds", [1_000, *([5_000] if LONG else [])])
def test_a_review_of_many_kinds_holds_a_few_figures_a_pair(kinds):
    table = many(kinds, 8)
    with at_most(60 * kinds**2):
        found = table.review()
    assert found.lookalikes.matrix.shape == (kinds, kinds)
    assert len(found.lookalikes.frame) > 10_000


def test_a_table_of_many_kinds_with_a_claim_a_cell_loads_whole():
    kinds, traits = (5_000, 60) if LONG else (400, 20)
    ids, names = [f"k{i}" for i in range(kinds)], [f"t{j}" for j in range(traits)]
    states = "straight|hollow|forked"
    rest = ["no", "Which?", "", "0.1", "invented", "", "10", "", "no", "yes", "", "", "", ""]
    taxa = [[k, f"Testia {k}", "", "", "Testia", "", "", "", "", *["forked"] * traits] for k in ids]
    claims = [[k, "", "", t, "forked", "SMITH", "", "read", "species", ""] for k in ids for t in names]
    files = small_files() | {
        "traits.csv": csv_of(TRAIT_COLUMNS, [[t, t, "nominal", "", states, states, *rest] for t in names]),
        "taxa.csv": csv_of((*META, *names), taxa),
        "evidence.csv": csv_of(EVIDENCE_COLUMNS, claims),
    }
    files["care.csv"] = files["care.csv"].split(b"\n")[0] + b"\n"
    table = table_of(files)
    assert (len(table), len(table.evidence)) == (kinds, kinds * traits)
