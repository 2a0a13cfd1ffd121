"""How fast the package is, and how work grows: ``python tests/benchmarks/speed.py [--grow]``.

Nothing here is collected by pytest and no time is asserted. A figure is the best and the median of some
repeats after a warm-up. Where there is a yardstick, it is measured turn by turn with the thing itself, in the
same run, so that the ratio says something on any machine:

* `gower`, the PyPI package gower 0.1.2, computes a matrix of the same shape (specimens x kinds, all traits)
  with Gower's similarity. It can take neither gaps nor cells with several values, so it gets specimens and
  the table with every gap filled at random, one value a cell, coded as numbers: a lesser job.
* "bare NumPy" is the least that a table of logs can cost: for each trait, take the row of each specimen
  into a buffer and add it up, in blocks. Same shapes as the package, nothing else.

With ``--grow``: a million specimens of the shipped table, with the most memory the process has held; and
answering and key building from 50 to 5,000 kinds x 40 traits.
"""

from __future__ import annotations

import gc
import resource
import sys
from collections.abc import Callable
from time import perf_counter

import gower
import numpy as np
import pandas as pd
from specimens import draw

from idkey import Identification, NearestMatch, TraitTable, build_key, load_table
from idkey.model.answers import Coded, code_frame
from idkey.model.combine import model_of
from idkey.model.match import posterior
from idkey.model.prior import prior_vector
from idkey.table.schema import Range, States, Trait

SEED, SPECIMENS, NOT_ANSWERED, BLOCK, TRAITS = 20240, 5_000, 0.4, 1024, 40
MILLION, CHUNK = 1_000_000, 10_000
Task = Callable[[], object]


def measure(*tasks: Task, repeats: int) -> list[np.ndarray]:
    """Seconds of each task, shape (repeats,), after a warm-up; the tasks take turns."""
    for task in tasks:
        task()
    seconds = np.empty((len(tasks), repeats))
    for turn in range(repeats):
        for i, task in enumerate(tasks):
            gc.collect()
            start = perf_counter()
            task()
            seconds[i, turn] = perf_counter() - start
    return list(seconds)


def show(what: str, seconds: np.ndarray) -> None:
    print(f"{what:<62}{seconds.min() * 1e3:>9.1f} ms{np.median(seconds) * 1e3:>9.1f} ms", flush=True)


def show_ratio(what: str, over: np.ndarray, under: np.ndarray) -> None:
    print(f"{what:<62}{over.min() / under.min():>9.1f} x {np.median(over) / np.median(under):>9.1f} x")


def random_table(n: int, *, blank: float = 0.0, measures: int = 0) -> TraitTable:
    """Return a table of n kinds x `TRAITS`: traits of 2 to 5 states, then some measured ranges."""
    rng = np.random.default_rng(SEED)
    columns: dict[str, list[str]] = {"kind": [f"kind{i:04d}" for i in range(n)]}
    for j in range(TRAITS):
        if j < TRAITS - measures:
            cells = [f"s{k}" for k in rng.integers(2 + j % 4, size=n)]
        else:
            low = rng.integers(5, 40, size=n)
            cells = [f"{a}..{b}" for a, b in zip(low, low + rng.integers(1, 10, size=n), strict=True)]
        columns[f"t{j:02d}"] = np.where(rng.random(n) < blank, "", cells).tolist()
    kinds = {f"t{j:02d}": "measure" for j in range(TRAITS - measures, TRAITS)}
    return TraitTable.from_frame(pd.DataFrame(columns), taxon="kind", kinds=kinds)


def numbers(table: TraitTable, kinds: np.ndarray, rng: np.random.Generator) -> pd.DataFrame:
    """Return one number a cell for each of these kinds, states by their position; gaps filled at random."""
    columns = {}
    for trait in table.traits:
        column = table.column(trait.id)
        known = column.known[kinds]
        if trait.has_states:
            shares = np.where(known[:, None], column.shares[kinds], 1 / len(trait.states))
            drawn = (shares.cumsum(axis=1) < rng.random((len(kinds), 1))).sum(axis=1)
            columns[trait.id] = np.minimum(drawn, len(trait.states) - 1).astype(float)
        else:
            columns[trait.id] = np.where(known, column.high[kinds], np.nanmax(column.high))
    return pd.DataFrame(columns)


def bare_numpy(coded: Coded, width: int) -> Task:
    """Return a task that takes rows of logs and adds them up, over the same answers in the same blocks."""
    rng = np.random.default_rng(SEED)
    logs = {t: rng.random((int(codes.max()) + 1, width)) for t, codes in coded.codes.items()}

    def task() -> np.ndarray:
        out = np.zeros((coded.n, width))
        buffer = np.empty((BLOCK, width))
        for start in range(0, coded.n, BLOCK):
            rows = slice(start, min(start + BLOCK, coded.n))
            taken = buffer[: rows.stop - start]
            for trait, table in logs.items():
                np.take(table, coded.codes[trait][rows], axis=0, out=taken, mode="clip")
                out[rows] += taken
        return out

    return task


def matching(table: TraitTable) -> None:
    """Time the posterior of many specimens, against gower and against bare NumPy."""
    rng = np.random.default_rng(SEED)
    frame = draw(table, SPECIMENS, seed=SEED, gaps=(NOT_ANSWERED, NOT_ANSWERED)).answers
    whole = numbers(table, rng.integers(len(table), size=SPECIMENS), rng)
    rows = numbers(table, np.arange(len(table)), rng)
    nominal = [trait.kind == "nominal" for trait in table.traits]
    match, model = NearestMatch().fit(table), model_of(table)
    prior, coded = prior_vector(table, "commonness", 0.05), code_frame(table, frame)
    ours, coded_before, bare, gowers = measure(
        lambda: match.predict_proba(frame),
        lambda: posterior(model, coded, prior),
        bare_numpy(coded, len(table) + 1),
        lambda: gower.gower_matrix(whole, rows, cat_features=nominal),
        repeats=15,
    )
    show("gower 0.1.2 on numbers, no gaps", gowers)
    show("bare NumPy, take and add", bare)
    show("predict_proba, text coded each time", ours)
    show("posterior, coded beforehand", coded_before)
    show_ratio("gower / predict_proba", gowers, ours)
    show_ratio("predict_proba / bare NumPy", ours, bare)
    show_ratio("posterior, coded beforehand / bare NumPy", coded_before, bare)


def true_answer(table: TraitTable, taxon: str, trait: Trait) -> str | None:
    """Return an answer that the row of a kind gives."""
    cell = table.cell(taxon, trait.id)
    if isinstance(cell, States):
        return cell.names[0]
    if isinstance(cell, Range):
        return f"{cell.high:g}" if trait.kind == "ceiling" else f"{(cell.low + cell.high) / 2:g}"
    return None


def answering(name: str, table: TraitTable) -> None:
    """Time the first question, and each answer to the next question, on the way to a few kinds."""
    show(f"first question, {name}", *measure(lambda: Identification(table).next_question(), repeats=5))
    seconds = []
    for kind in np.random.default_rng(SEED).integers(len(table), size=5):
        fish = Identification(table)
        while (question := fish.next_question()) is not None:
            start = perf_counter()
            fish.answer(question.trait.id, true_answer(table, table.ids[kind], question.trait))
            fish.next_question()
            seconds.append(perf_counter() - start)
    show(f"answer to next question, {name}, best and median", np.array(seconds))
    show(f"answer to next question, {name}, the slowest", np.array([max(seconds)]))


def building(name: str, table: TraitTable) -> None:
    key = build_key(table)
    (seconds,) = measure(lambda: build_key(table), repeats=1 if len(table) > 1_000 else 3)
    questions = f"{len(key.couplets)} couplets, {key.expected_questions():.1f} questions"
    show(f"build_key, {name} ({questions})", seconds)


def grow() -> None:
    """Name a million specimens, then answer and build on larger and larger tables."""
    table = load_table()
    match, chunk = NearestMatch().fit(table), draw(table, CHUNK, seed=11).answers
    start = perf_counter()
    for done in range(CHUNK, MILLION + 1, CHUNK):
        match.predict(chunk)
        if done % (MILLION // 10) == 0:
            peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
            print(f"{done:>12,} specimens {perf_counter() - start:>8.1f} s {peak:>8.0f} MB at most")
    for n in (50, 200, 1_000, 5_000):
        larger = random_table(n)
        answering(f"{n:,} x {TRAITS}", larger)
        building(f"{n:,} x {TRAITS}", larger)


def main() -> None:
    shipped = load_table()
    print(f"{len(shipped)} kinds x {len(shipped.traits)} traits, {SPECIMENS} specimens; best, median\n")
    matching(shipped)
    answering("shipped table", shipped)
    answering(f"1,000 x {TRAITS}", random_table(1_000, measures=10))
    building("shipped table", shipped)
    building(f"1,000 x {TRAITS}, crisp", random_table(1_000))
    building(f"1,000 x {TRAITS}, 20 % blank", random_table(1_000, blank=0.2))
    show("load_table", *measure(load_table, repeats=5))


if __name__ == "__main__":
    grow() if "--grow" in sys.argv else main()
