"""How many answers a name takes: run by hand, ``python tests/benchmarks/answers.py``.

Specimens are drawn from the shipped table by the model's own law (`specimens.py`), with every trait to be
seen. They are answered one trait at a time until a name holds 95 %, in four orders:

* the next question, as the package asks it;
* the printed key: the couplets on the fish's way through it, then the rest at random;
* random order;
* hindsight: at each step the answer that raises the right name most, which no one can know beforehand. No
  order that is chosen without knowing the name can be expected to beat it by much: it stands for the bound.

A fish that never gets there counts as many answers as there are traits.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial

import numpy as np
import pandas as pd
from specimens import draw

from idkey import Identification, Key, NearestMatch, TraitTable, build_key, load_table
from idkey.table.schema import LIFE_STAGE

SPECIMENS = 150
ENOUGH = 0.95
HINDSIGHT = 60

Answers = dict[str, object]


def adaptive(table: TraitTable, answers: Answers, _truth: str) -> Iterator[str]:
    """Ask the best next question; what can't be answered is said to be unseen."""
    fish = Identification(table)
    while questions := fish.questions():
        trait = questions[0].trait.id
        fish.answer(trait, answers.get(trait))
        if trait in answers:
            yield trait


def by_key(key: Key, rng: np.random.Generator, answers: Answers, _truth: str) -> Iterator[str]:
    """Follow the printed key, then go on at random."""
    asked: list[str] = []
    number: int | None = 1
    while number is not None:
        couplet = key.couplets[number - 1]
        trait, value = couplet.trait.id, answers.get(couplet.trait.id)
        if trait in answers and trait not in asked:
            asked.append(trait)
            yield trait
        if value is None:
            first = bool(rng.random() < 0.5)
        elif couplet.trait.has_states:
            first = value in couplet.a.states
        else:
            first = float(value) <= couplet.threshold
        number = (couplet.a if first else couplet.b).goes_to
    yield from rng.permutation([t for t in answers if t not in asked])


def at_random(rng: np.random.Generator, answers: Answers, _truth: str) -> Iterator[str]:
    """Ask in random order."""
    yield from rng.permutation(list(answers))


def hindsight(match: NearestMatch, answers: Answers, truth: str) -> Iterator[str]:
    """Give the answer that raises the right name most."""
    given: Answers = {}
    while len(given) < len(answers):
        left = [t for t in answers if t not in given]
        frame = pd.DataFrame([{**given, t: answers[t]} for t in left])
        best = left[int(match.predict_proba(frame)[:, list(match.classes_).index(truth)].argmax())]
        given[best] = answers[best]
        yield best


def steps(match: NearestMatch, order: Callable, answers: Answers, truth: str) -> int | None:
    """Number of answers until a name holds enough; None where none ever does."""
    given: Answers = {}
    for count, trait in enumerate(order(answers, truth), start=1):
        given[trait] = answers[trait]
        if match.predict_proba(pd.DataFrame([given])).max() >= ENOUGH:
            return count
    return None


def main() -> None:
    table = load_table()
    match = NearestMatch().fit(table)
    rng = np.random.default_rng(3)
    drawn = draw(table, SPECIMENS, seed=5, gaps=(0.0, 0.0), none_prior=0.0)
    drawn.answers.drop(columns=LIFE_STAGE, inplace=True)
    fish = [(drawn.fish(i), truth) for i, truth in enumerate(drawn.truth)]
    orders = {
        "the next question": (partial(adaptive, table), SPECIMENS),
        "the printed key, then random": (partial(by_key, build_key(table), rng), SPECIMENS),
        "random order": (partial(at_random, rng), SPECIMENS),
        f"hindsight (first {HINDSIGHT} fish)": (partial(hindsight, match), HINDSIGHT),
    }
    print(f"{SPECIMENS} specimens, {len(table)} kinds, until a name holds {ENOUGH:.0%}")
    print(f"{'order':<32}{'get there':>10}{'mean answers':>14}{'median':>8}{'within 6':>10}")
    for name, (order, n) in orders.items():
        counts = [steps(match, order, *one) for one in fish[:n]]
        there = [c for c in counts if c is not None]
        all_counts = [len(table.traits) if c is None else c for c in counts]
        within = np.mean([c <= 6 for c in all_counts])
        print(
            f"{name:<32}{len(there) / n:>10.0%}{np.mean(all_counts):>14.1f}"
            f"{np.median(all_counts):>8.0f}{within:>10.0%}"
        )


if __name__ == "__main__":
    main()
