"""How well rendered fish are measured: ``PYTHONPATH=tests/tools python tests/benchmarks/photo.py``.

Every second picture is taken in bad light: dim, uneven, of a warm lamp, blurred, noisy, and with glare.
Points are set off by chance with the standard deviations that `Points.sd` states, the ruler lies about a
centimetre before or behind the fish and is turned a little, the nostril is no disc; spots are as found,
without a click. Printed are, for both lights, the median error of each measure, how often the truth lies in
the interval that is to hold it nine times of ten, how many spots are found and how many of what is found
are none, and how often the likeliest state of an answer is the true one: that in which the true measure
lies by the borders.

Last, what one picture is worth: specimens drawn from the shipped table by the model's own law
(`specimens.py`), of which these traits alone are seen, by eye with the errors that the table states, or
measured: each true state gets an answer of a picture above whose true state it was. What no picture above
showed is left to the eye. Both are judged by the shipped table, and so are measured answers of which every
fiftieth fish has those of other pictures, and the true states, without an error of any kind. Measured answers
and true states are also judged by smaller errors: half of what the table says, and one answer in fifty more.

How often the measuring failed outright, whatever the answer says, is that share m under which the weights of
the true states are likeliest: ``(1 - m) weight + m / K`` of K states each.
"""

from __future__ import annotations

import argparse
import resource
import time
from collections import defaultdict
from dataclasses import replace

import numpy as np
from render_fish import drawn_at_random, jpeg, render
from specimens import draw

import idkey
from idkey.photo.finding import find_spots
from idkey.photo.measures import measure
from idkey.photo.picture import read_picture
from idkey.photo.points import Points
from idkey.table.reading import parse_answer

TRAITS = {
    "spot_size": "spot_vs_eye",
    "spot_vs_nostril": "spot_vs_nostril",
    "spot_vs_pupil": "spot_vs_pupil",
    "spot_density": "gap_vs_spot",
    "tail_fork": "fork_depth",
    "dorsal_height": "dorsal_height",
}
SPECIMENS, CLOSE_TO_NONE, WRONG_PICTURES = 5000, 1e-3, 0.02


def shaken(truth: dict, random: np.random.Generator) -> Points:
    """Points as a person sets them, by the stated standard deviations."""
    right = Points(truth["points"], truth["ruler_mm"])
    return Points(
        {n: tuple(p + random.normal(0, right.sd(n), 2)) for n, p in right.at.items()}, truth["ruler_mm"]
    )


def true_state(trait, value: float) -> str:
    """The state in which a measure lies."""
    falling = len(trait.borders) > 1 and trait.borders[-1] < trait.borders[0]
    passed = sum(value <= b if falling else value >= b for b in trait.borders)
    return trait.states[passed]


def one(seed: int, bad: bool, table: idkey.TraitTable) -> dict:
    """Render, find, measure and answer one fish; return what came of it."""
    fish = drawn_at_random(seed, bad)
    pixels, truth = render(fish)
    picture = read_picture(jpeg(pixels, fish.quality))
    points = shaken(truth, np.random.default_rng(seed))
    started = time.process_time()
    spots = find_spots(picture, points)
    seconds = time.process_time() - started
    measures = measure(picture, points, spots)
    answers = measures.answers(table)
    true = {**truth["measures"], **{k: v for k, v in truth["answers"].items() if k != "pattern"}}
    row: dict = {
        "seconds": seconds,
        "bad": bad,
        "errors": {},
        "held": {},
        "right": {},
        "weight": {},
        "said": {},
    }
    for name, found in measures.items():
        if isinstance(true.get(name), (int, float)):
            row["errors"][name] = (
                found.value - true[name],
                found.value / true[name] - 1 if true[name] else np.nan,
            )
            row["held"][name] = found.low <= true[name] <= found.high
    flank = spots.only(~spots.head)
    if len(flank):
        diameter = float(np.median(flank.diameter))
        right = true["spot_diameter"]
        row["errors"]["diameter"] = diameter - right, diameter / right - 1
    hit = [spots.at(x, y) for x, y, _ in truth["spots"]]
    row["found"] = (
        sum(h is not None for h in hit),
        len(hit),
        len(spots) - len({h for h in hit if h is not None}),
    )
    row["count"] = len(flank), true["flank_spots"]
    states = {t: true_state(table.trait(t), true[m]) for t, m in TRAITS.items()} | truth["answers"]
    for trait, state in states.items():
        # All states, each as likely, are no answer.
        if trait in answers and (answer := parse_answer(table.trait(trait), answers[trait])):
            shares = dict(zip(answer.names, answer.shares, strict=True))
            row["right"][trait] = max(shares, key=shares.get) == state
            row["weight"][trait] = shares.get(state, 0.0)
            row["said"][trait] = state, answers[trait]
    return row


def told(rows: list[dict]) -> None:
    """Print the figures of pictures of one light."""
    errors, held, right, weight = (defaultdict(list) for _ in range(4))
    for row in rows:
        for name, both in row["errors"].items():
            errors[name].append(both)
        for kept, key in ((held, "held"), (right, "right"), (weight, "weight")):
            for name, value in row[key].items():
                kept[name].append(value)
    for name, both in errors.items():
        off, share = np.array(both).T
        inside = f"in the interval {np.mean(held[name]):4.0%}" if name in held else ""
        print(
            f"  {name:18} median error {np.median(abs(off)):7.3f} ({np.nanmedian(abs(share)):5.1%})  "
            f"bias {np.nanmedian(share):+6.1%}  {inside}  n {len(off)}"
        )
    found, all_, false = np.sum([row["found"] for row in rows], axis=0)
    counts = np.array([row["count"] for row in rows])
    print(
        f"  spots found {found / all_:.1%}, of those found none {false / (found + false):.1%}; "
        f"median error of the count on the flank {np.median(abs(counts[:, 0] / counts[:, 1] - 1)):.1%}"
    )
    for trait, hits in right.items():
        print(
            f"  {trait:18} true state first {np.mean(hits):4.0%}, "
            f"its mean weight {np.mean(weight[trait]):.2f}, n {len(hits)}"
        )
    every, sure = [h for hits in right.values() for h in hits], [w for ws in weight.values() for w in ws]
    kept = np.mean(np.array(sure) >= 0.05)
    print(
        f"  all answers        true state first {np.mean(every):.1%}, "
        f"not ruled out (weight 0.05 or more) {kept:.1%}"
    )
    print(
        f"  seconds of processor to find the spots: median {np.median([row['seconds'] for row in rows]):.2f}"
    )


def failed(rows: list[dict], table: idkey.TraitTable) -> None:
    """Print the share of answers that say nothing, over all traits, and its 95 % interval."""
    both = [(w, 1 / len(table.trait(t).states)) for row in rows for t, w in row["weight"].items()]
    weight, even = np.array(both).T
    shares = np.linspace(0, 0.2, 2001)[1:]
    fits = np.array([np.log((1 - m) * weight + m * even).sum() for m in shares])
    # Half of the 95 % point of chi square of one degree of freedom.
    held = shares[fits >= fits.max() - 1.92]
    print(
        f"measuring that failed outright: {shares[fits.argmax()]:.2%} of {len(weight)} answers "
        f"({held[0]:.2%} to {held[-1]:.2%})"
    )


def worth(rows: list[dict], table: idkey.TraitTable) -> None:
    """Print how many names are left, and how often the first is right, by eye and measured."""
    said = defaultdict(list)
    for row in rows:
        for trait, (state, text) in row["said"].items():
            said[trait, state].append(text)
    traits = [*dict.fromkeys(trait for trait, _ in said)]
    exact = replace(
        table, traits=tuple(replace(t, error=CLOSE_TO_NONE) if t.id in traits else t for t in table.traits)
    )
    drawn = [draw(one, SPECIMENS, seed=8, gaps=(0.0, 0.0), none_prior=0.0) for one in (table, exact)]
    assert (drawn[0].truth == drawn[1].truth).all()
    by_eye, true = (one.answers[traits] for one in drawn)
    random, measured = np.random.default_rng(9), by_eye.copy()
    for trait in traits:
        for state in table.trait(trait).states:
            these = (true[trait] == state).to_numpy()
            if texts := said[trait, state]:
                measured.loc[these, trait] = random.choice(texts, these.sum())
            else:
                print(f"left to the eye: {trait} {state}, {these.sum()} specimens")
    mixed, other = measured.copy(), random.random(SPECIMENS) < WRONG_PICTURES
    for trait in traits:
        every = [text for (of, _), texts in said.items() if of == trait for text in texts]
        mixed.loc[other, trait] = random.choice(every, other.sum())
    smaller = tuple(replace(t, error=t.error / 2 + 0.02) if t.id in traits else t for t in table.traits)
    less = replace(table, traits=smaller)
    ways = {
        "by eye": (table, by_eye),
        "measured": (table, measured),
        "measured, smaller errors": (less, measured),
        f"measured, {WRONG_PICTURES:.0%} wrong": (table, mixed),
        "the same, smaller errors": (less, mixed),
        "true states": (table, true),
        "true states, smaller errors": (less, true),
        "true states, no errors": (exact, true),
    }
    print(f"one picture, {len(traits)} traits, {SPECIMENS} specimens of {len(table)} kinds")
    for how, (judge, frame) in ways.items():
        match = idkey.NearestMatch().fit(judge)
        names = np.array(match.classes_)
        shares = match.predict_proba(frame)
        first = names[shares.argmax(axis=1)] == drawn[0].truth
        order = -np.sort(-shares, axis=1)
        left = 1 + (np.cumsum(order, axis=1) < 0.95).sum(axis=1)
        own = shares[names == drawn[0].truth[:, None]]
        held = (shares > own[:, None]).sum(axis=1) < left
        print(
            f"  {how:28} first name right {first.mean():.1%}, names in the 95 % set: mean {left.mean():.1f}, "
            f"median {np.median(left):.0f}; it holds the truth for {held.mean():.1%}; "
            f"log loss {-np.log(own).mean():.3f}"
        )


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--fish", type=int, default=500)
    count = parser.parse_args().fish
    table = idkey.load_table()
    rows = []
    for seed in range(count):
        rows.append(one(seed, bool(seed % 2), table))
        if (seed + 1) % 50 == 0 or seed + 1 == count:
            for bad in (False, True):
                print(f"{seed + 1} fish, {'bad' if bad else 'good'} light")
                told([row for row in rows if row["bad"] == bad])
            print(f"memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB", flush=True)
    failed(rows, table)
    worth(rows, table)


if __name__ == "__main__":
    main()
