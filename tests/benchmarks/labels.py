"""Is a right label ever said not to fit, and is a wrong one found? ``python tests/benchmarks/labels.py``.

Fish are drawn from the shipped table by the model's own law (`specimens.py`) and held against three labels:
the right one, that of the kind which the answers make likeliest beside it (the wrong label that is hardest to
see), and that of another kind at random. Two fish are held against each other as in a bag of which
`ORIGINS["same bag"]` are one draw. Printed: how often each verdict falls, and how often pairs are one kind by
how likely that was said to be.
"""

import numpy as np
import pandas as pd
from specimens import draw

from idkey import Identification, load_table
from idkey.book.box import check_fish
from idkey.book.pair import ORIGINS, same_kind
from idkey.table.schema import NONE

FISH = 3000
PAIRS = 4000


def identified(table, answers):
    """Return answers as an identification."""
    fish = Identification(table)
    for trait, answer in answers.items():
        fish.answer(trait, answer)
    return fish


def labels(table, gaps):
    """Print the verdicts, fish with so many traits left out."""
    drawn, rng, rows = draw(table, FISH, seed=11, none_prior=0.0, gaps=gaps), np.random.default_rng(12), []
    for i, truth in enumerate(drawn.truth):
        fish = identified(table, drawn.fish(i))
        alike = next(row.taxon for row in fish.ranked() if row.taxon not in (truth, NONE))
        other = rng.choice([taxon for taxon in table.ids if taxon != truth])
        for label, taxon in (("right", truth), ("likeliest wrong one", alike), ("another", other)):
            rows.append((label, check_fish(fish, taxon, (taxon,)).verdict))
    frame = pd.DataFrame(rows, columns=["label", "verdict"])
    print(f"\n{FISH} fish, {gaps[0]:.0%} to {gaps[1]:.0%} of the traits left out:")
    print(pd.crosstab(frame["label"], frame["verdict"], normalize="index").round(3).to_string())


def one_kind(table):
    """Print how often pairs are one kind, by what was said."""
    rng, rows = np.random.default_rng(13), []
    drawn = draw(table, 20_000, seed=14, none_prior=0.0)
    of_kind = {taxon: np.flatnonzero(np.array(drawn.truth) == taxon) for taxon in table.ids}
    for _ in range(PAIRS):
        a = rng.integers(len(drawn.truth))
        together = rng.random() < ORIGINS["same bag"]
        b = rng.choice(of_kind[drawn.truth[a]]) if together else rng.integers(len(drawn.truth))
        pair = same_kind(drawn.fish(a), drawn.fish(b), table, "same bag")
        rows.append((pair.verdict, pair.probability, drawn.truth[a] == drawn.truth[b]))
    frame = pd.DataFrame(rows, columns=["verdict", "said", "one"])
    print(f"\n{PAIRS} pairs of one bag, by what was said of them:")
    tenths = frame.groupby((frame["said"] * 10).astype(int).clip(0, 9) / 10)
    print(tenths.agg(n=("one", "size"), said=("said", "mean"), one=("one", "mean")).round(3).to_string())
    print(frame.groupby("verdict").agg(n=("one", "size"), one=("one", "mean")).round(3).to_string())


def main():
    """Print all of it."""
    table = load_table()
    for gaps in ((0.3, 0.7), (0.7, 0.9)):
        labels(table, gaps)
    one_kind(table)


if __name__ == "__main__":
    main()
