"""Whatever bytes stand in a folder: a table, or an error that says where; no crash, no hang."""

import csv
import io
import logging
import os
import random
import signal
import tracemalloc
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from idkey.errors import TableError
from idkey.table import folder
from idkey.table.claims import Claim
from idkey.table.files import files_of
from idkey.table.folder import BASE, load_table
from idkey.table.layout import FILES, OURS, shipped_folder
from idkey.table.schema import YOUNG, Trait
from idkey.table.table import TraitTable

from .small_folder import table_of

Files = dict[str, bytes]
Mutation = Callable[[bytes, random.Random], bytes]

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


def cut_down(table: TraitTable, kinds: int, traits: int, needs: int) -> Files:
    """Return a folder of a few kinds, traits and needs of the shipped table, with what stands behind them."""
    some = table.only(table.ids[:kinds])
    kept = [t for t in some.traits if t.applies_when is None][:traits]
    columns = {t.id for t in kept} | {t.id + YOUNG for t in kept}
    cells = {c: found for c, found in some.own_cells.items() if c in columns}
    genera = {g: {c: x for c, x in said.items() if c in columns} for g, said in some.genera.items()}
    genera = {g: said for g, said in genera.items() if g in {*some.taxa["genus"]}}
    groups, care_columns = {*some.taxa["careGroup"]}, some.care_columns[:needs]
    needed = ["care_group", "taxon", *(column.id for column in care_columns)]
    claims = some.evidence
    claims = claims[
        claims["taxon"].isin(some.ids) | claims["care_group"].isin(groups) | claims["genus"].isin(genera)
    ]
    claims = claims[claims["attribute"].isin([*columns, *needed])]
    # One claim a cell and few sources are enough here.
    claims = claims.drop_duplicates(["taxon", "genus", "care_group", "attribute"])
    named = [*some.taxa["nameAccordingTo"], claims["source"].max()]
    claims = claims.assign(source=claims["source"].where(claims["source"].isin(["", *named]), named[-1]))
    return files_of(
        replace(
            some,
            traits=tuple(kept),
            own_cells=cells,
            genera=genera,
            care=some.care.loc[some.care["care_group"].isin(groups), needed],
            care_columns=care_columns,
            evidence=claims,
            sources={key: source for key, source in some.sources.items() if key in named},
            about={"name": "cut-down", "version": "1", "created": "2026-01-01T00:00:00Z"},
        )
    )


def own_table() -> Files:
    """Return a table of one's own over the small one: a kind, a trait, a changed cell and a source more."""
    table = load(SMALL)
    trait = Trait("scent", "nominal", question="What does it smell of?", states=("mud", "hay"), unit="")
    table = table.with_trait(trait, {table.ids[0]: "mud"})
    first = table.traits[0].id
    table = table.with_source("@misc{INVENTED,\n  title = {An invented source},\n}\n")
    claim = Claim("INVENTED", "p. 1")
    kind = {"scientificName": "Genus novus", "genus": "Genus", first: "123", "scent": "hay"}
    table = table.with_rows({"own_kind": kind, table.ids[1]: {first: "99"}}, {("own_kind", first): claim})
    return files_of(table) | {BASE: folder._packed(SMALL)}


OLD = {path.name: path.read_bytes() for path in (Path(__file__).parent / "own_0_1_0").iterdir()}
"""Additions to the shipped table as version 0.1.0 kept them."""


load = partial(table_of, name="fish")


def load_own(files: Files) -> TraitTable:
    """Load a table of one's own over a newer small one; without its base it is a whole table."""
    return folder._opened(files, Path("own"), {})[0]


SHIPPED = load_table()
SMALL = cut_down(SHIPPED, 2, 3, 6)
OWN = own_table()
NEWER = {**SMALL, "traits.csv": SMALL["traits.csv"].replace(b"?", b", please?", 1)}
FULL = {name: (shipped_folder() / name).read_bytes() for name in FILES}


# -- what is done to the bytes ---------------------------------------------------------------------------


def _place(data: bytes, rng: random.Random) -> tuple[int, int]:
    start = rng.randrange(len(data) + 1)
    return start, min(len(data), start + rng.choice((1, 2, 5, 20, 100, 1000)))


def flip(data: bytes, rng: random.Random) -> bytes:
    changed = bytearray(data)
    for _ in range(rng.choice((1, 1, 2, 8)) if data else 0):
        changed[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
    return bytes(changed)


def letter(data: bytes, rng: random.Random) -> bytes:
    """Put one printable sign in the place of another."""
    i = rng.randrange(len(data) + 1)
    return data[:i] + bytes([rng.randrange(32, 127)]) + data[i + 1 :]


def delete(data: bytes, rng: random.Random) -> bytes:
    start, end = _place(data, rng)
    return data[:start] + data[end:]


def duplicate(data: bytes, rng: random.Random) -> bytes:
    start, end = _place(data, rng)
    return data[:end] + data[start:end] * rng.choice((1, 2, 20)) + data[end:]


def truncate(data: bytes, rng: random.Random) -> bytes:
    return data[: rng.randrange(len(data) + 1)]


def swap(data: bytes, rng: random.Random) -> bytes:
    (a, b), (c, d) = sorted((_place(data, rng), _place(data, rng)))
    c = max(b, c)
    d = max(c, d)
    return data[:a] + data[c:d] + data[b:c] + data[a:b] + data[d:]


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
    if not found:
        return data
    i, j = rng.randrange(len(found)), rng.randrange(len(found))
    changed = [
        found[:i] + found[i + 1 :],
        found[:j] + [found[i]] + found[j:],
        [*found[:i], found[j], *found[i + 1 :]],
        rng.sample(found, len(found)),
        found[:1],
    ]
    return b"".join(rng.choice(changed))


def harmless(data: bytes, rng: random.Random) -> bytes:
    """Change what a spreadsheet or an editor changes without being asked."""
    more = b"\n" * rng.randrange(1, 5)
    return rng.choice([b"\xef\xbb\xbf" + data, data.replace(b"\n", b"\r\n"), data + more, data.rstrip(b"\n")])


MUTATIONS: tuple[Mutation, ...] = (flip, delete, duplicate, truncate, swap, lines)
MUTATIONS += (letter, cell, harmless) * 2 + (insert,) * 3


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


@contextmanager
def no_hang() -> Iterator[None]:
    def stop(*_) -> None:
        raise HangsError

    if not hasattr(signal, "SIGALRM"):
        yield
        return
    before = signal.signal(signal.SIGALRM, stop)
    signal.setitimer(signal.ITIMER_REAL, HANG)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def outcome(files: Files, load: Callable[[Files], TraitTable], known: tuple[str, ...], *, again=False) -> str:
    """Load, and check what holds for a table and for an error; `again`, what is taken in can be given out."""
    try:
        with no_hang():
            table = load(files)
    except TableError as error:
        refused = error
    else:
        assert len(table) > 0
        if again:
            written = files_of(table)
            assert files_of(load(written)) == written
        return "loaded"
    assert refused.problems
    assert all(problem.file in known and problem.right for problem in refused.problems), refused
    # One line each, however many line breaks a file brings.
    assert len(str(refused).splitlines()) <= 1 + len(refused.problems)
    return "refused"


def tried(
    base: Files, number: int, seed: int, load: Callable[[Files], TraitTable], known: tuple[str, ...]
) -> Counter[str]:
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
def quiet(caplog):
    """The BibTeX library logs what is reported anyway."""
    caplog.set_level(logging.CRITICAL, logger="bibtexparser")


def test_the_folders_to_start_from_are_good():
    assert len(load(SMALL)) == 2
    assert files_of(load(SMALL)) == SMALL
    assert len(load(FULL)) == len(SHIPPED)
    assert set(SMALL) == set(FULL) == set(FILES)


def test_bytes_changed_at_random_load_or_say_where():
    counts = tried(SMALL, SMALL_TABLES, 1, load, FILES) + tried(FULL, FULL_TABLES, 2, load, FILES)
    assert counts.total() == SMALL_TABLES + FULL_TABLES
    assert min(counts["loaded"], counts["refused"]) > SMALL_TABLES / 20


def test_memory_stays_small():
    tracemalloc.start()
    try:
        tried(SMALL, 40 if LONG else 8, 3, load, FILES)
        tried(FULL, 4 if LONG else 1, 4, load, FILES)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak < MOST_MEMORY


@pytest.mark.parametrize(("own", "number"), [(OWN, OWN_TABLES), (OLD, OLD_TABLES)], ids=["own", "0.1.0"])
def test_a_table_of_ones_own_changed_at_random_loads_or_says_where(monkeypatch, own, number):
    if own is OWN:
        monkeypatch.setattr(folder, "_shipped", lambda: dict(NEWER))
    assert "own_kind" in load_own(own).ids or own is OLD
    counts = tried(own, number, 5, load_own, tuple(OURS))
    assert counts.total() == number
    assert min(counts["loaded"], counts["refused"]) > (0 if own is OWN else -1)


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
    for _ in range(draw(st.integers(1, 3))):
        name = draw(st.sampled_from(CSV_FILES))
        header, *rows = csv.reader(io.StringIO(made[name].decode(), newline=""))
        what = draw(st.sampled_from(["cell", "cell", "cell", "header", "drop", "double", "column"]))
        i, j = draw(st.integers(0, max(0, len(rows) - 1))), draw(st.integers(0, len(header) - 1))
        if what == "header":
            header[j] = draw(texts)
        elif what == "column" and len(header) > 1:
            header, *rows = (row[:j] + row[j + 1 :] for row in (header, *rows))
        elif what == "drop":
            del rows[i : i + 1]
        elif what == "double":
            rows += rows[i : i + 1]
        elif rows:
            rows[i][j] = draw(st.one_of(texts, st.sampled_from([row[j] for row in rows])))
        buffer = io.StringIO(newline="")
        csv.writer(buffer, lineterminator="\n").writerows([header, *rows])
        made[name] = buffer.getvalue().encode()
    return made


@settings(max_examples=500 if LONG else 30, deadline=None)
@given(folders())
def test_other_cells_load_or_say_where(files):
    outcome(files, load, FILES, again=True)
