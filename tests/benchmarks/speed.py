"""How fast the package is: run by hand, from the top folder, with the package and its test extra installed.

    python tests/benchmarks/speed.py
    python -m tests.benchmarks.speed

Nothing here is collected by pytest and no time is asserted. A figure is the best and the median of some
repeats after a warm-up. Where there is a yardstick, it is measured turn by turn with the thing itself, in the
same run, so that the ratio says something on any machine:

* `gower`, the PyPI package gower 0.1.2, computes a matrix of the same shape (specimens x kinds, all traits)
  with Gower's similarity. It can take neither gaps nor cells with several values, so it gets specimens and
  the table with every gap filled at random and one value a cell: a lesser job on more answers. "On text" is
  a frame of states as words, as a person has them and as `predict_proba` takes them; "on numbers" is the
  same coded beforehand, where it is at its fastest.
* "bare NumPy" is the least that a table of logs can cost: for each trait, take the row of each specimen
  into a buffer and add it up, in blocks. Same shapes as the package, nothing else: no strings to code, no
  likelihood to compute, no life stage, no exponential, no division.
"""

from __future__ import annotations

import gc
from collections.abc import Callable
from time import perf_counter

import gower
import numpy as np
import pandas as pd
from pandas.api.types import is_numeric_dtype

from idkey import Identification, NearestMatch, TraitTable, build_key, load_table
from idkey.model.answers import Coded, code_frame
from idkey.model.combine import TableModel
from idkey.model.match import posterior
from idkey.model.prior import prior_vector
from idkey.table.schema import Range, States, Trait

SEED = 20240
SPECIMENS = 5_000
NOT_ANSWERED = 0.4
BLOCK = 1024
TAXA, TRAITS = 1_000, 40

Task = Callable[[], object]
Row = tuple[str, str, str, str, str]


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


# -- what is measured on ---------------------------------------------------------------------------------


def specimens(table: TraitTable, rng: np.random.Generator, *, gaps: float) -> pd.DataFrame:
    """Draw specimens from the table, each of a kind at random, with a share of answers left out.

    Where the table knows nothing the answer is any state or number. Numbers are read to the whole unit.
    """
    kinds = rng.integers(len(table), size=SPECIMENS)
    columns = {trait.id: _answers(table, trait, kinds, rng) for trait in table.traits}
    frame = pd.DataFrame(columns)
    return frame.mask(rng.random(frame.shape) < gaps)


def _answers(table: TraitTable, trait: Trait, kinds: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    column = table.column(trait.id)
    known = column.known[kinds]
    if trait.has_states:
        shares = np.where(known[:, None], column.shares[kinds], 1 / len(trait.states))
        drawn = (shares.cumsum(axis=1) < rng.random((len(kinds), 1))).sum(axis=1)
        return np.array(trait.states, dtype=object)[np.minimum(drawn, len(trait.states) - 1)]
    low, high = column.low, column.high
    if trait.kind == "ceiling":
        low = 0.4 * high
    low, high = (
        np.where(known, end[kinds], fill) for end, fill in ((low, np.nanmin(low)), (high, np.nanmax(high)))
    )
    return np.round(rng.uniform(low, high))


def numbers(table: TraitTable, frame: pd.DataFrame) -> pd.DataFrame:
    """Code a frame without gaps as plain numbers, states by their position."""
    return pd.DataFrame(
        {
            trait.id: [float(trait.index(state)) for state in frame[trait.id]]
            if trait.has_states
            else frame[trait.id]
            for trait in table.traits
        }
    )


def one_value_a_cell(table: TraitTable, rng: np.random.Generator) -> pd.DataFrame:
    """Return the table with one value a cell and every gap filled at random."""
    kinds = np.arange(len(table))
    return pd.DataFrame({trait.id: _answers(table, trait, kinds, rng) for trait in table.traits})


def random_table(rng: np.random.Generator, *, blank: float = 0.0, measures: int = 0) -> TraitTable:
    """Return a table of `TAXA` x `TRAITS`: traits of 2 to 5 states, then some measured ranges."""
    columns: dict[str, list[str]] = {"kind": [f"kind{i:04d}" for i in range(TAXA)]}
    for j in range(TRAITS):
        if j < TRAITS - measures:
            cells = [f"s{k}" for k in rng.integers(2 + j % 4, size=TAXA)]
        else:
            low = rng.integers(5, 40, size=TAXA)
            cells = [f"{a}..{b}" for a, b in zip(low, low + rng.integers(1, 10, size=TAXA), strict=True)]
        columns[f"t{j:02d}"] = np.where(rng.random(TAXA) < blank, "", cells).tolist()
    kinds = {f"t{j:02d}": "measure" for j in range(TRAITS - measures, TRAITS)}
    return TraitTable.from_frame(pd.DataFrame(columns), taxon="kind", kinds=kinds)


# -- the figures -----------------------------------------------------------------------------------------


def match_figures(table: TraitTable) -> list[Row]:
    """Return the posterior of many specimens, against gower and against bare NumPy."""
    rng = np.random.default_rng(SEED)
    frame = specimens(table, rng, gaps=NOT_ANSWERED)
    whole, rows = specimens(table, rng, gaps=0.0), one_value_a_cell(table, rng)
    match = NearestMatch().fit(table)
    model, prior = TableModel(table), prior_vector(table, "commonness", 0.05)
    coded = code_frame(table, frame)
    ours, ours_coded, bare, gower_numbers = measure(
        lambda: match.predict_proba(frame),
        lambda: posterior(model, coded, prior),
        bare_numpy(coded, len(table) + 1),
        gower_task(table, numbers(table, whole), numbers(table, rows)),
        repeats=15,
    )
    (gower_text,) = measure(gower_task(table, as_objects(whole), as_objects(rows)), repeats=2)
    with_coding, without = "predict_proba, text coded each time", "posterior, coded beforehand"
    return [
        _row("gower 0.1.2 on text, no gaps", gower_text),
        _row("gower 0.1.2 on numbers, no gaps", gower_numbers),
        _row("bare NumPy, take and add", bare),
        _row(with_coding, ours),
        _row(without, ours_coded),
        _ratio(f"gower on text / {with_coding}", gower_text, ours, ">= 20"),
        _ratio(f"gower on numbers / {with_coding}", gower_numbers, ours, ">= 20"),
        _ratio(f"gower on numbers / {without}", gower_numbers, ours_coded, ">= 20"),
        _ratio(f"{with_coding} / bare NumPy", ours, bare, "<= 3"),
        _ratio(f"{without} / bare NumPy", ours_coded, bare, "<= 3"),
    ]


def gower_task(table: TraitTable, whole: pd.DataFrame, rows: pd.DataFrame) -> Task:
    """Return a task that computes the matrix with gower; ordinal states are numbers where they are coded."""
    categories = [trait.kind == "nominal" or whole[trait.id].dtype == object for trait in table.traits]
    return lambda: gower.gower_matrix(whole, rows, cat_features=categories)


def as_objects(frame: pd.DataFrame) -> pd.DataFrame:
    """Return the frame with its text as plain objects: gower 0.1.2 does not know pandas' string columns."""
    return frame.astype({c: object for c in frame if not is_numeric_dtype(frame[c])})


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


def step_figures(name: str, table: TraitTable, aim: str = "") -> list[Row]:
    """Return the time to the first question, and from one answer to the next question."""
    steps = _script(table)

    def first() -> object:
        return Identification(table).next_question()

    (opening,) = measure(first, repeats=5)
    replays = np.array([_replay(table, steps) for _ in range(6)])[1:]
    slowest = replays[:, np.median(replays, axis=0).argmax()]
    return [
        _row(f"first question, {name}", opening),
        _row(f"answer to next question, {name}, mean of {len(steps)} steps", replays.mean(axis=1), aim),
        _row(f"answer to next question, {name}, slowest step", slowest, aim),
    ]


def _script(table: TraitTable) -> list[tuple[int, str, str]]:
    """Answers that follow the questions for a few kinds: (kind, trait, answer)."""
    rng = np.random.default_rng(SEED)
    steps = []
    for kind in rng.integers(len(table), size=5):
        fish = Identification(table)
        while (question := fish.next_question()) is not None:
            answer = _true_answer(table, table.ids[kind], question.trait)
            fish.answer(question.trait.id, answer)
            steps.append((int(kind), question.trait.id, answer))
    return steps


def _true_answer(table: TraitTable, taxon: str, trait: Trait) -> str | None:
    cell = table.cell(taxon, trait.id)
    if isinstance(cell, States):
        return cell.names[0]
    if isinstance(cell, Range):
        return f"{cell.high:g}" if trait.kind == "ceiling" else f"{(cell.low + cell.high) / 2:g}"
    return None


def _replay(table: TraitTable, steps: list[tuple[int, str, str]]) -> list[float]:
    fish = Identification(table)
    fish.next_question()
    seconds, before = [], None
    for kind, trait, answer in steps:
        while kind != before and (fish.answers or fish.unseen):
            fish.undo()
        before = kind
        start = perf_counter()
        fish.answer(trait, answer)
        fish.next_question()
        seconds.append(perf_counter() - start)
    return seconds


def key_figures(shipped: TraitTable) -> list[Row]:
    """Return how long a key takes to build."""
    size = f"{TAXA} x {TRAITS}"
    tables = {
        "shipped table": shipped,
        f"{size}, crisp": random_table(np.random.default_rng(SEED)),
        f"{size}, 20 % blank": random_table(np.random.default_rng(SEED), blank=0.2),
    }
    found = []
    for name, table in tables.items():
        key = build_key(table)
        (seconds,) = measure(lambda table=table: build_key(table), repeats=3)
        found.append(_row(f"build_key, {name} ({len(key.couplets)} couplets)", seconds))
    return found


# -- the table -------------------------------------------------------------------------------------------


def _row(what: str, seconds: np.ndarray, aim: str = "") -> Row:
    best, median = seconds.min() * 1e3, float(np.median(seconds)) * 1e3
    return what, f"{best:.1f} ms", f"{median:.1f} ms", aim, _verdict(median, aim)


def _ratio(what: str, over: np.ndarray, under: np.ndarray, aim: str) -> Row:
    best, median = over.min() / under.min(), float(np.median(over) / np.median(under))
    return what, f"{best:.1f} x", f"{median:.1f} x", aim, _verdict(median, aim)


def _verdict(value: float, aim: str) -> str:
    if not aim:
        return ""
    sign, limit = aim.split()[:2]
    met = value >= float(limit) if sign == ">=" else value <= float(limit)
    return "met" if met else "missed"


def main() -> None:
    """Print the figures."""
    shipped = load_table()
    unknown = 100 * NOT_ANSWERED
    print(
        f"idkey: {len(shipped)} kinds x {len(shipped.traits)} traits; {SPECIMENS} specimens, "
        f"{unknown:g} % not answered; seed {SEED}\n"
    )
    show([("what", "best", "median", "aim", "")])
    show(match_figures(shipped))
    show(step_figures("shipped table", shipped))
    random = random_table(np.random.default_rng(SEED), measures=10)
    show(step_figures(f"{TAXA} x {TRAITS}", random, "<= 30 ms"))
    show(key_figures(shipped))
    show([_row("load_table", *measure(load_table, repeats=5))])


def show(rows: list[Row]) -> None:
    """Print rows of the table as they come."""
    for what, best, median, aim, verdict in rows:
        print(f"{what:<62}  {best:>10}  {median:>10}  {aim:>8}  {verdict}".rstrip(), flush=True)


if __name__ == "__main__":
    main()
