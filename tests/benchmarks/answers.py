"""How many answers a name takes: run by hand, ``python tests/benchmarks/answers.py``.

Specimens are drawn from the shipped table by the model's own law (`specimens.py`), with every trait to be
seen. They are answered one trait at a time until a name holds 95 %, in three orders:

* the next question, as the package asks it;
* random order;
* hindsight: at each step the answer that raises the right name most, which no one can know beforehand. No
  order that is chosen without knowing the name can be expected to beat it by much: it stands for the bound.

A fish that never gets there counts as many answers as there are traits.
"""

from functools import partial

import numpy as np
import pandas as pd
from specimens import draw

from idkey import Identification, NearestMatch, load_table
from idkey.table.schema import LIFE_STAGE

SPECIMENS = 150
ENOUGH = 0.95
HINDSIGHT = 60


def adaptive(table, answers, _truth):
    """Ask the best next question; what can't be answered is said to be unseen."""
    fish = Identification(table)
    while questions := fish.questions():
        trait = questions[0].trait.id
        fish.answer(trait, answers.get(trait))
        if trait in answers:
            yield trait


def hindsight(match, answers, truth):
    """Give the answer that raises the right name most."""
    given = {}
    while len(given) < len(answers):
        left = [t for t in answers if t not in given]
        frame = pd.DataFrame([{**given, t: answers[t]} for t in left])
        best = left[int(match.predict_proba(frame)[:, list(match.classes_).index(truth)].argmax())]
        given[best] = answers[best]
        yield best


def steps(match, order, answers, truth):
    """Number of answers until a name holds enough; None where none ever does."""
    given = {}
    for count, trait in enumerate(order(answers, truth), start=1):
        given[trait] = answers[trait]
        if match.predict_proba(pd.DataFrame([given])).max() >= ENOUGH:
            return count
    return None


def main():
    table = load_table()
    match = NearestMatch().fit(table)
    drawn = draw(table, SPECIMENS, seed=5, gaps=(0.0, 0.0), none_prior=0.0)
    drawn.answers.drop(columns=LIFE_STAGE, inplace=True)
    fish = [(drawn.fish(i), truth) for i, truth in enumerate(drawn.truth)]
    rng = np.random.default_rng(3)
    orders = {
        "the next question": (partial(adaptive, table), SPECIMENS),
        "random order": (lambda answers, _truth: rng.permutation(list(answers)), SPECIMENS),
        f"hindsight (first {HINDSIGHT} fish)": (partial(hindsight, match), HINDSIGHT),
    }
    print(f"{SPECIMENS} specimens, {len(table)} kinds, until a name holds {ENOUGH:.0%}")
    rows = {}
    for name, (order, n) in orders.items():
        counts = pd.Series([steps(match, order, *one) for one in fish[:n]], dtype=float)
        all_counts = counts.fillna(len(table.traits))
        rows[name] = {
            "get there": counts.notna().mean(),
            "mean answers": all_counts.mean(),
            "median": all_counts.median(),
            "within 6": (all_counts <= 6).mean(),
        }
    print(pd.DataFrame(rows).T.round(2).to_string())


if __name__ == "__main__":
    main()
