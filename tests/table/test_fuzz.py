"""Whatever bytes stand in a folder: a table, or an error that says where; no crash, no hang."""

import csv
import io
import logging
import os
import random
import signal
import tracemalloc
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from idkey.errors import TableError
from idkey.table.claims import Claim
from idkey.table.files import files_of
from idkey.table.layout import FILES, OURS, shipped_folder
from idkey.table.table import TraitTable

from .small_folder import (
    FINS,
    NEWER,
    WITH_GENUS,
    Files,
    csv_of,
    laid,
    own_kind,
    saved,
    source,
    started,
    table_of,
)

Mutation = Callable[[bytes, random.Random], bytes]
load = partial(table_of, name="fish")

CSV_FILES = ("taxa.csv", "traits.csv", "care.csv", "evidence.csv")
LONG = bool(os.environ.get("IDKEY_LONG_TESTS"))
SMALL_TABLES, FULL_TABLES, OWN_TABLES, OLD_TABLES = (19_800, 200, 2_000, 200) if LONG else (943, 4, 50, 3)
HANG = 30.0
"""Seconds after which a load of some milliseconds counts as hanging, also on a busy machine."""
MOST_MEMORY = 100_000_000

TOKENS = rb"""
    " "" ' , ; \ | |-| -| : :0.5 .. 1.. 5..3 - -1..1 -1e308..1e308 1e999 1e-320% 0.1% nan inf NaN null _ 1_0
    id all yes _young =cmd|'/C'!A0 @SUM(1) <script>alert(1)</script> </td><img/src=x/onerror=alert(1)>
    @string{a={b}} @misc{x,title=a#b} @comment{ \ud800
""".split()
TOKENS += [b"\x00", b"\x1b[31m", b"\x7f", b"\xef\xbb\xbf", b"\xff\xfe", b"\xc3", b"\xed\xa0\x80"]
TOKENS += [b"\n", b"\r", b"\r\n", b"\n" * 200, b"\t", b'"' * 501, b"," * 1200, b"|" * 300, b"9" * 400]
TOKENS += [b"a" * 12_000, b"{" * 2000, b"}" * 2000, b"[" * 5000, b'{"a":' * 500]
TOKENS += ["\u00e9\u6f22\U0001f41f\u202e\u2028\u0085\u0663".encode()]


# -- folders to start from -------------------------------------------------------------------------------

WHOLE = table_of(WITH_GENUS).only(["alpha", "nova"])
CARE = WHOLE.care.loc[:, WHOLE.care.ne("").any()]
NEEDS = tuple(column for column in WHOLE.care_columns if column.id in CARE)
SMALL = files_of(replace(WHOLE, care=CARE, care_columns=NEEDS))
FULL = {name: (shipped_folder() / name).read_bytes() for name in FILES}
OLD = {path.name: path.read_bytes() for path in (Path(__file__).parent / "own_0_1_0").iterdir()}
"""Additions to the shipped table as version 0.1.0 kept them."""

MINE = started().with_trait(FINS, {"alpha": "long"}).with_source(source("MINE"))
MINE = own_kind(MINE, tail="forked", fins="short").with_cell("alpha", "size", "99", Claim("MINE"))
OWN = saved(MINE)
"""A table of one's own over the small one: a kind, a trait, a changed cell and a source more."""


# -- what is done to the bytes ---------------------------------------------------------------------------


def moved(data, rng: random.Random):
    """Leave out a piece of bytes or of a list of lines, or all that follows; double it, or move it."""
    start = rng.randrange(len(data) + 1)
    end = start + rng.choice((1, 2, 5, 20, 100, 1000, len(data)))
    piece, rest = data[start:end], data[:start] + data[end:]
    at = rng.choice((start, rng.randrange(len(rest) + 1)))
    return rest[:at] + piece * rng.choice((0, 0, 1, 2, 3, 21)) + rest[at:]


def flip(data: bytes, rng: random.Random) -> bytes:
    """Change some bytes, by a bit each or to another printable sign."""
    changed = bytearray(data)
    for _ in range(rng.choice((1, 1, 2, 8)) if data else 0):
        i = rng.randrange(len(data))
        changed[i] = rng.choice((changed[i] ^ 1 << rng.randrange(8), rng.randrange(32, 127)))
    return bytes(changed)


def insert(data: bytes, rng: random.Random) -> bytes:
    i = rng.randrange(len(data) + 1)
    return data[:i] + rng.choice(TOKENS) + data[i:]


def cell(data: bytes, rng: random.Random) -> bytes:
    """Put a token in the place of a cell."""
    commas = [i for i, sign in enumerate(data) if sign == 44]
    if len(commas) < 2:
        return insert(data, rng)
    k = rng.randrange(len(commas) - 1)
    return data[: commas[k] + 1] + rng.choice(TOKENS) + data[commas[k + 1] :]


def lines(data: bytes, rng: random.Random) -> bytes:
    """Drop, double or move whole lines, mix up their order, or leave the first alone."""
    found = data.splitlines(keepends=True)
    mixed = rng.sample(found, len(found))
    return b"".join(rng.choice([moved(found, rng), moved(found, rng), mixed, found[:1]]))


def harmless(data: bytes, rng: random.Random) -> bytes:
    """Change what a spreadsheet or an editor changes without being asked."""
    more = b"\n" * rng.randrange(1, 5)
    return rng.choice([b"\xef\xbb\xbf" + data, data.replace(b"\n", b"\r\n"), data + more, data.rstrip(b"\n")])


MUTATIONS: tuple[Mutation, ...] = (flip, moved, cell) * 3 + (harmless, lines) * 2 + (insert,) * 3


def mutated(files: Files, rng: random.Random) -> Files:
    made = dict(files)
    for _ in range(rng.choice((1, 1, 1, 2, 3))):
        name = rng.choice(list(files))
        if rng.random() < 0.005:
            made.pop(name, None)
        elif name in made:
            made[name] = rng.choice(MUTATIONS)(made[name], rng)
    return made


# -- the one property ------------------------------------------------------------------------------------


class HangsError(BaseException):
    """A load that does not end; no ``except Exception`` may swallow it."""


def alarm(seconds: float) -> None:
    if hasattr(signal, "SIGALRM"):  # not on Windows
        signal.setitimer(signal.ITIMER_REAL, seconds)


def outcome(files: Files, load: Callable[[Files], TraitTable], known: tuple[str, ...], *, again=False) -> str:
    """Load, and check what holds for a table and for an error; `again`, what is taken in can be given out."""
    alarm(HANG)
    try:
        table = load(files)
    except TableError as error:
        refused = error
    else:
        assert len(table) > 0
        if again:
            written = files_of(table)
            assert files_of(load(written)) == written
        return "loaded"
    finally:
        alarm(0)
    assert refused.problems
    assert all(problem.file in known and problem.right for problem in refused.problems), refused
    # One line each, however many line breaks a file brings.
    assert len(str(refused).splitlines()) <= 1 + len(refused.problems)
    return "refused"


def tried(base: Files, number: int, seed: int, load=load, known: tuple[str, ...] = FILES) -> Counter[str]:
    rng = random.Random(seed)
    counts: Counter[str] = Counter()
    for i in range(number):
        files = mutated(base, rng)
        try:
            counts[outcome(files, load, known, again=base is SMALL and i % 16 == 0)] += 1
        except BaseException as error:
            changed = {n: d for n, d in files.items() if d != base[n]}
            error.add_note(f"table {counts.total()} of seed {seed}: {str(changed)[:2000]}")
            raise
    return counts


@pytest.fixture(autouse=True)
def guarded(caplog):
    """A load that hangs is stopped; the BibTeX library logs what is reported anyway."""

    def stop(*_) -> None:
        raise HangsError

    caplog.set_level(logging.CRITICAL, logger="bibtexparser")
    if hasattr(signal, "SIGALRM"):
        signal.signal(signal.SIGALRM, stop)


def test_the_folders_to_start_from_are_good():
    assert len(load(SMALL)) == 2
    assert files_of(load(SMALL)) == SMALL
    assert set(SMALL) == set(FULL) == set(FILES)
    assert {"mine", "alpha"} <= set(laid(NEWER, OWN).ids)


def test_bytes_changed_at_random_load_or_say_where():
    counts = tried(SMALL, SMALL_TABLES, 1) + tried(FULL, FULL_TABLES, 2)
    assert counts.total() == SMALL_TABLES + FULL_TABLES
    assert min(counts["loaded"], counts["refused"]) > SMALL_TABLES / 20


def test_memory_stays_small():
    tracemalloc.start()
    try:
        tried(SMALL, 40 if LONG else 8, 3)
        tried(FULL, 4 if LONG else 1, 4)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak < MOST_MEMORY


def test_a_table_of_ones_own_changed_at_random_loads_or_says_where():
    counts = tried(OWN, OWN_TABLES, 5, partial(laid, NEWER), tuple(OURS))
    assert min(counts["loaded"], counts["refused"]) > 0
    counts += tried(OLD, OLD_TABLES, 5, partial(laid, FULL), tuple(OURS))
    assert counts.total() == OWN_TABLES + OLD_TABLES


# -- cells and rows that fit into the file ---------------------------------------------------------------

texts = st.one_of(
    st.text(max_size=20),
    st.text("-.|:0129e%=+@'\n ", max_size=8),
    st.sampled_from([token.decode() for token in TOKENS if token.isascii()]),
)


@st.composite
def folders(draw) -> Files:
    """The small folder with other texts in some cells, rows moved, and columns left out or renamed."""
    made = dict(SMALL)
    for name in draw(st.lists(st.sampled_from(CSV_FILES), min_size=1, max_size=3, unique=True)):
        rows = list(csv.reader(io.StringIO(made[name].decode(), newline="")))
        i, j = draw(st.integers(0, len(rows) - 1)), draw(st.integers(0, len(rows[0]) - 1))
        what = draw(st.sampled_from(["cell", "cell", "cell", "drop", "double", "column"]))
        if what == "cell":
            rows[i][j] = draw(st.one_of(texts, st.sampled_from([row[j] for row in rows])))
        elif what == "column":
            rows = [row[:j] + row[j + 1 :] for row in rows]
        else:  # never the header
            rows[i + 1 : i + 2] *= 2 if what == "double" else 0
        made[name] = csv_of(rows[0], rows[1:])
    return made


@settings(max_examples=500 if LONG else 30, deadline=None)
@given(folders())
def test_other_cells_load_or_say_where(files):
    outcome(files, load, FILES, again=True)
