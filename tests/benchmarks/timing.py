"""What the benchmarks share: tasks timed by turns, a line for each, and random tables of any size."""

from __future__ import annotations

import gc
from collections.abc import Callable
from time import perf_counter

import numpy as np
import pandas as pd

from idkey import TraitTable

Task = Callable[[], object]
TRAITS = 40


def measure(*tasks: Task, repeats: int = 1, warm_up: bool = True) -> list[np.ndarray]:
    """Seconds of each task, shape (repeats,); the tasks take turns."""
    for task in tasks if warm_up else ():
        task()
    seconds = np.empty((len(tasks), repeats))
    for turn in range(repeats):
        for i, task in enumerate(tasks):
            gc.collect()
            start = perf_counter()
            task()
            seconds[i, turn] = perf_counter() - start
    return list(seconds)


def show(what: str, seconds: np.ndarray | list[float]) -> None:
    """Print the best, the median and the slowest."""
    best, median, slowest = (f(seconds) * 1e3 for f in (np.min, np.median, np.max))
    print(f"{what:<62}{best:>9.1f} ms{median:>9.1f} ms{slowest:>9.1f} ms", flush=True)


def random_cells(n: int, *, blank: float = 0.0, measures: int = 0, seed: int = 1) -> pd.DataFrame:
    """Return the cells of n kinds x `TRAITS`: traits of 2 to 5 states, then some measured ranges."""
    rng = np.random.default_rng(seed)
    columns = {}
    for j in range(TRAITS):
        if j < TRAITS - measures:
            cells = [f"s{k}" for k in rng.integers(2 + j % 4, size=n)]
        else:
            low = rng.integers(5, 40, size=n)
            cells = [f"{a}..{b}" for a, b in zip(low, low + rng.integers(1, 10, size=n), strict=True)]
        columns[f"t{j:02d}"] = np.where(rng.random(n) < blank, "", cells)
    return pd.DataFrame(columns)


def table_of(cells: pd.DataFrame) -> TraitTable:
    """Return a table of such cells, its kinds k0 and on."""
    return TraitTable.from_frame(cells.assign(kind=[f"k{i}" for i in range(len(cells))]), taxon="kind")
