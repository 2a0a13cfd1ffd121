"""Are the probabilities honest? Run by hand: ``python tests/benchmarks/calibration.py``.

Specimens are drawn from the shipped table by the model's own law, with gaps, observer errors and young fish
(`specimens.py`), and named by NearestMatch. Printed: how often the first name is right, how often the names
still possible hold the truth, log loss, Brier score and a reliability table; the same with observers erring
twice as often as the table says; and, each kind held back from the table in turn, what becomes of its fish.
Brier score: Brier 1950, Mon. Weather Rev. 78:1-3, summed over the names (0 to 2).
"""

from dataclasses import replace

import numpy as np
import pandas as pd
from sklearn.metrics import brier_score_loss, log_loss, top_k_accuracy_score
from specimens import draw

from idkey import NearestMatch, load_table
from idkey.model.fit import POOR_FIT
from idkey.table.schema import NONE

SPECIMENS = 20_000
HELD_BACK = 300
SURE = 0.9


def report(title, match, drawn):
    """Print how one set of specimens fares."""
    p = match.predict_proba(drawn.answers)
    names = list(match.classes_)
    truth = np.array([names.index(t) for t in drawn.truth])
    labels, each = np.arange(len(names)), np.arange(len(truth))
    inside = np.array([np.isin(names, left) for left in match.candidates(drawn.answers)])
    first, best = p.argmax(axis=1), p.max(axis=1)
    print(f"\n{title}: {len(truth)} specimens, {len(names) - 1} kinds")
    right = np.flatnonzero((first == truth) & (truth < len(names) - 1))[:500]
    rows = {
        "right names that are called a poor fit": np.mean([poor(match, drawn, i) for i in right]),
        "first name right": (first == truth).mean(),
        "right among the first three": top_k_accuracy_score(truth, p, k=3, labels=labels),
        f"names still possible hold the truth ({match.coverage:.0%} asked)": inside[each, truth].mean(),
        "how many names are still possible, median": np.median(inside.sum(axis=1)),
        "log loss": log_loss(truth, p, labels=labels),
        "log loss of a guess among all names": np.log(len(names)),
        "Brier score": brier_score_loss(truth, p, labels=labels, scale_by_half=False),
        f"surer than {SURE:.0%}": (best >= SURE).mean(),
        f"surer than {SURE:.0%} and wrong": ((best >= SURE) & (first != truth)).mean(),
    }
    for what, value in rows.items():
        print(f"  {what:<62} {value:8.3f}")
    names_said = pd.DataFrame({"said": best, "right": first == truth, "n": 1})
    tenths = names_said.groupby((best * 10).astype(int).clip(0, 9) / 10)
    print("  reliability of the first name:")
    print(tenths.agg({"n": "size", "said": "mean", "right": "mean"}).round(3).to_string())


def poor(match, drawn, i):
    """Return whether the first name of a specimen comes with a warning that it fits poorly."""
    return bool(match.rank(drawn.fish(i))["deviation"].iloc[0] < POOR_FIT)


def held_back(table):
    """Take each kind out in turn and see what its fish are called without it."""
    rows = []
    for taxon in table.ids:
        drawn = draw(table, HELD_BACK, seed=7, kind=taxon)
        match = NearestMatch().fit(table.only([t for t in table.ids if t != taxon]))
        p = match.predict_proba(drawn.answers)
        none = list(match.classes_).index(NONE)
        sure = np.flatnonzero(p[:, :none].max(axis=1) >= SURE)
        rows.append(
            {
                "taxon": taxon,
                "none of these first": (p.argmax(axis=1) == none).mean(),
                "none of these still possible": np.mean(
                    [NONE in left for left in match.candidates(drawn.answers)]
                ),
                "sure and wrong": len(sure) / HELD_BACK,
                "of those, the fit is called poor": sum(poor(match, drawn, i) for i in sure) / HELD_BACK,
            }
        )
    return pd.DataFrame(rows).set_index("taxon")


def main():
    table = load_table()
    match = NearestMatch().fit(table)
    report("observers err as the table says", match, draw(table, SPECIMENS, seed=1))
    erring = replace(table, traits=tuple(replace(t, error=min(2 * t.error, 0.95)) for t in table.traits))
    report("observers err twice as often", match, draw(erring, SPECIMENS, seed=2))
    out = held_back(table)
    print(f"\neach kind held back in turn, {HELD_BACK} fish each; mean over kinds:")
    print(out.mean().round(3).to_string())
    print("\nkinds whose fish are most often called something else with confidence:")
    print(out.sort_values("sure and wrong", ascending=False).head(10).round(2).to_string())


if __name__ == "__main__":
    main()
