"""How fast the package is, and how work grows: ``python tests/benchmarks/speed.py``.

Nothing here is collected by pytest and no time is asserted. A figure is the best, the median and the slowest
of some repeats after a warm-up. Where there is a yardstick, it is measured turn by turn with the thing
itself, in the same run, so that the ratio says something on any machine:

* "bare NumPy" is the least that a table of logs can cost: for each trait, take the row of each specimen
  into a buffer and add it up, in blocks, of answers coded beforehand. Rows are as wide as what comes out, a
  number for each kind and one for "none of these". It judges no answer, knows no age, no strangers by genus
  and no groups, and makes no probabilities of the sums. Coding the answers of a frame is timed apart.
* `import pandas`, for what an import costs, each in a process of its own.

With ``--grow``: a million specimens of the shipped table, with the most memory the process has held; and
answering and key building from 50 to 5,000 kinds x 40 traits. With ``--extend``: what a new kind does to a
crisp table of 1,000 kinds x 40 traits, with past identifications and the old key at hand; the whole, then
its parts, each on tables that nothing has been worked out for.
"""

import gc
import resource
import subprocess
import sys
from dataclasses import replace
from functools import partial
from time import perf_counter

import numpy as np
import pandas as pd
from specimens import draw

from idkey import Identification, NearestMatch, TraitTable, build_key, identify, load_table
from idkey.model.answers import code_frame
from idkey.model.changes import renamed, what_changes
from idkey.model.combine import model_of, prior_vector
from idkey.model.distinguish import worth
from idkey.model.lookalikes import apart
from idkey.model.match import posterior
from idkey.model.suspect_cells import doubts
from idkey.table.claims import Claim, Source
from idkey.table.schema import Range, States
from idkey.views import fish, sheet

TRAITS = 40
SEED, SPECIMENS, NOT_ANSWERED, BLOCK = 20240, 5_000, 0.4, 1024
MILLION, CHUNK = 1_000_000, 10_000
KINDS, PAST, ANSWERED, NEW = 1_000, 1_000, 12, "new"
IMPORTS = (
    "import pandas",
    "import idkey",
    "import idkey; idkey.load_table()",
    "import idkey.views.registry, idkey.model.match",
)


def measure(*tasks, repeats=1, warm_up=True):
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


def show(what, seconds):
    """Print the best, the median and the slowest."""
    best, median, slowest = (f(seconds) * 1e3 for f in (np.min, np.median, np.max))
    print(f"{what:<62}{best:>9.1f} ms{median:>9.1f} ms{slowest:>9.1f} ms", flush=True)


def random_cells(n, *, blank=0.0, measures=0):
    """Return the cells of n kinds x `TRAITS`: traits of 2 to 5 states, then some measured ranges."""
    rng = np.random.default_rng(1)
    columns = {}
    for j in range(TRAITS):
        if j < TRAITS - measures:
            cells = [f"s{k}" for k in rng.integers(2 + j % 4, size=n)]
        else:
            low = rng.integers(5, 40, size=n)
            cells = [f"{a}..{b}" for a, b in zip(low, low + rng.integers(1, 10, size=n), strict=True)]
        columns[f"t{j:02d}"] = np.where(rng.random(n) < blank, "", cells)
    return pd.DataFrame(columns)


def table_of(cells):
    """Return a table of such cells, its kinds k0 and on."""
    return TraitTable.from_frame(cells.assign(kind=[f"k{i}" for i in range(len(cells))]), taxon="kind")


def show_ratio(what, over, under):
    print(f"{what:<62}{over.min() / under.min():>9.1f} x {np.median(over) / np.median(under):>9.1f} x")


def bare_numpy(coded, width):
    """Return a task that takes rows of logs and adds them up, over the same answers in the same blocks."""
    rng = np.random.default_rng(SEED)
    logs = {t: rng.random((int(codes.max()) + 1, width)) for t, codes in coded.codes.items()}

    def task():
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


def matching(table):
    """Time the posterior of many specimens, against bare NumPy."""
    frame = draw(table, SPECIMENS, seed=SEED, gaps=(NOT_ANSWERED, NOT_ANSWERED)).answers
    match, model = NearestMatch().fit(table), model_of(table)
    prior, coded = prior_vector(table, "commonness", 0.05), code_frame(table, frame)
    ours, coded_before, bare = measure(
        lambda: match.predict_proba(frame),
        lambda: posterior(model, coded, prior),
        bare_numpy(coded, len(table) + 1),
        repeats=15,
    )
    show("bare NumPy, take and add", bare)
    show("predict_proba, text coded each time", ours)
    show("posterior, coded beforehand", coded_before)
    show_ratio("predict_proba / bare NumPy", ours, bare)
    show_ratio("posterior, coded beforehand / bare NumPy", coded_before, bare)


def true_answer(table, taxon, trait):
    """Return an answer that the row of a kind gives."""
    cell = table.cell(taxon, trait.id)
    if isinstance(cell, States):
        return cell.names[0]
    if isinstance(cell, Range):
        return f"{cell.high:g}" if trait.kind == "ceiling" else f"{(cell.low + cell.high) / 2:g}"
    return None


def answering(name, table):
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
    show(f"answer to next question, {name}", seconds)


def building(name, table):
    key = build_key(table)
    (seconds,) = measure(lambda: build_key(table), repeats=1 if len(table) > 1_000 else 3)
    questions = f"{len(key.couplets)} couplets, {key.questions:.1f} questions"
    show(f"build_key, {name} ({questions})", seconds)


def importing():
    def process(code):
        return lambda: subprocess.run([sys.executable, "-c", code], check=True)

    empty, *times = measure(process(""), *map(process, IMPORTS), repeats=9)
    for code, seconds in zip(IMPORTS, times, strict=True):
        show_ratio(f"{code} / import pandas", seconds - empty, times[0] - empty)


def drawing(table):
    """Time drawings of which nothing is kept from before, and say how large they are."""
    states = [(trait, state) for trait, states in fish.STATES.items() for state in states]
    tasks = {
        "state icon": [lambda s=s: fish.state_svg(*s) for s in states],
        "sheet of a kind": [lambda i=i: sheet.taxon_svg(table, i) for i in table.ids],
        "two on one scale": [lambda k=k: sheet.side_by_side(table, table.ids[k : k + 2]) for k in range(80)],
    }
    for name, drawings in tasks.items():
        seconds, sizes = [], []
        for draw_one in drawings:
            fish._shapes.cache_clear()
            start = perf_counter()
            sizes.append(len(draw_one().encode()))
            seconds.append(perf_counter() - start)
        show(f"{name}, {np.median(sizes):.0f} bytes, at most {max(sizes)}", seconds)


def clicking():
    """Time clicks on the identify screen along three paths, the first ones included."""
    effects, totals = [], []
    for path in range(3):
        screen, sent = identify(), []
        screen._outcome.observe(lambda _change, sent=sent: sent.append(perf_counter()), names="value")
        for click in range(10):
            if screen.looking.asking.trait is None:
                screen.looking.restart.click()
            states = [c for c in screen.looking.asking.states.children if c.state]
            button = (
                states[(path + click * path) % len(states)].button if states else screen.looking.asking.skip
            )
            sent.clear()
            start = perf_counter()
            button.click()
            totals.append(perf_counter() - start)
            effects.append((sent or [perf_counter()])[0] - start)
    show("a click, until the outcome is sent", effects)
    show("a click, until all is done", totals)


def in_genera(cells, *, claimed):
    """Return a table of these cells, in genera of ten; `claimed` puts a claim behind each filled cell."""
    table = table_of(cells)
    names = {"scientificName": table.ids, "genus": [f"Genus{i // 10}" for i in range(len(table))]}
    table = replace(table, taxa=pd.DataFrame(names, index=table.taxa.index, dtype="str"))
    if not claimed:
        return table
    filled = cells.set_index(table.taxa.index).stack()
    rows = [Claim("invented", "p. 1").row(*place, cell) for place, cell in filled[filled != ""].items()]
    sources = {"invented": Source("invented", "Nobody 2000", "An invented source")}
    return replace(table, evidence=pd.DataFrame(rows, dtype="str"), sources=sources)


def past_fish(cells):
    """Return past identifications: some answers as the row of a kind has them, one in twenty another."""
    rng = np.random.default_rng(2)
    found = []
    for i in rng.integers(0, len(cells), PAST):
        asked = rng.choice(cells.columns, ANSWERED, replace=False)
        answers = {t: cells[t].iloc[i] if rng.random() < 0.95 else "s0" for t in asked}
        found.append({t: s for t, s in answers.items() if s})
    return found


def extending(name, blank, *, claimed):
    """Time the whole and its parts on one table."""
    cells = random_cells(KINDS + 1, blank=blank)
    old, past = in_genera(cells.iloc[:-1], claimed=claimed), past_fish(cells.iloc[:-1])
    values = {t: v for t, v in cells.iloc[-1].items() if v}
    claims = {t: Claim("invented", "p. 2") for t in values} if claimed else None
    add = partial(TraitTable.with_taxon, claims=claims, scientificName="Genus0 nova", genus="Genus0")
    print(f"\n{name}: {KINDS:,} kinds x {TRAITS} traits, {len(old.evidence):,} claims")
    key = build_key(old)
    # Copies, of which nothing is worked out yet.
    fresh, again = replace(old), replace(old)
    start = perf_counter()
    change = what_changes(fresh, add(fresh, NEW, **values), key=key, past=past)
    show("one kind added, with all that is told", [perf_counter() - start])
    new = add(again, NEW, **values)
    parts = {
        "with_taxon": lambda: add(again, NEW, **values),
        "told from the others": lambda: apart(new, NEW),
        "past identifications": lambda: renamed(again, new, past),
        "cells in doubt": lambda: doubts(new, [NEW]),
        "worth of the traits, both tables": lambda: (worth(again), worth(new)),
        "in words": lambda: (repr(change), change._repr_html_()),
    }
    for what, part in parts.items():
        show(f"  {what}", *measure(part, warm_up=False))
    print(f"{len(change.past)} of {PAST:,} past names change")


def grow():
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
        larger = table_of(random_cells(n))
        answering(f"{n:,} x {TRAITS}", larger)
        building(f"{n:,} x {TRAITS}", larger)


def main():
    shipped = load_table()
    print(f"{len(shipped)} kinds x {len(shipped.traits)} traits; best, median, slowest\n")
    matching(shipped)
    answering("shipped table", shipped)
    answering(f"1,000 x {TRAITS}", table_of(random_cells(1_000, measures=10)))
    building("shipped table", shipped)
    building(f"1,000 x {TRAITS}, crisp", table_of(random_cells(1_000)))
    building(f"1,000 x {TRAITS}, 20 % blank", table_of(random_cells(1_000, blank=0.2)))
    show("load_table", *measure(load_table, repeats=5))
    drawing(shipped)
    clicking()
    importing()


if __name__ == "__main__":
    if "--grow" in sys.argv:
        grow()
    elif "--extend" in sys.argv:
        extending("fully filled", 0.0, claimed=False)
        extending("a third blank", 1 / 3, claimed=False)
        extending("with claims", 0.0, claimed=True)
    else:
        main()
