"""How work grows: run by hand, ``python tests/benchmarks/grow.py``.

One million specimens of the shipped table, named in chunks, with the most memory the process has held after
each tenth; and answering and key building on random crisp tables from 50 to 5,000 kinds x 40 traits.
"""

from __future__ import annotations

import resource
from time import perf_counter

import numpy as np
import pandas as pd
from specimens import draw

from idkey import Identification, NearestMatch, TraitTable, build_key, load_table

MILLION = 1_000_000
CHUNK = 10_000
SIZES = (50, 200, 1_000, 5_000)
TRAITS = 40


def peak_mb() -> float:
    """Most memory the process has held, MB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def a_million() -> None:
    """Name a million specimens."""
    table = load_table()
    match = NearestMatch().fit(table)
    chunk = draw(table, CHUNK, seed=11).answers
    match.predict(chunk)
    start, done = perf_counter(), 0
    print(f"{'specimens':>12}{'seconds':>10}{'peak MB':>10}")
    while done < MILLION:
        match.predict(chunk)
        done += CHUNK
        if done % (MILLION // 10) == 0:
            print(f"{done:>12,}{perf_counter() - start:>10.1f}{peak_mb():>10.0f}")


def random_table(n: int, seed: int = 1) -> TraitTable:
    """Return a crisp table of n kinds and 40 traits of 2 to 5 states."""
    rng = np.random.default_rng(seed)
    columns = {f"t{j:02d}": rng.integers(0, rng.integers(2, 6), n).astype(str) for j in range(TRAITS)}
    return TraitTable.from_frame(pd.DataFrame({"kind": [f"k{i}" for i in range(n)], **columns}), taxon="kind")


def sizes() -> None:
    """Time an answer with its next question, and a key, on larger and larger tables."""
    print(f"\n{'kinds':>8}{'ms an answer':>14}{'s a key':>10}{'couplets':>10}{'questions':>11}")
    for n in SIZES:
        table = random_table(n)
        fish = Identification(table)
        fish.next_question()
        times = []
        for _ in range(6):
            question = fish.next_question()
            if question is None:
                break
            start = perf_counter()
            fish.answer(question.trait.id, question.trait.states[0])
            fish.next_question()
            times.append(perf_counter() - start)
        start = perf_counter()
        key = build_key(table)
        seconds = perf_counter() - start
        print(
            f"{n:>8,}{np.mean(times) * 1000:>14.1f}{seconds:>10.1f}"
            f"{len(key.couplets):>10,}{key.expected_questions():>11.2f}"
        )


if __name__ == "__main__":
    a_million()
    sizes()
