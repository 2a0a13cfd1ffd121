"""Measures to answers with a leaning, by the borders between states that stand in traits.csv.

What points and outlines leave in doubt is in the leaning. An answer is judged by the observer error of its
trait all the same: that holds for rows and for fish that are not as described, too, which no picture mends.
In `tests/benchmarks/photo.py` half of it left fewer names, was right no more often, and less honest.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from idkey.table.reading import parse_answer
from idkey.table.schema import Range, States, Trait, answer_text
from idkey.table.table import TraitTable

_LEAST_SHARE = 0.01
"""A state that holds fewer of the draws than this is left out of the answer."""


def answers_of(table: TraitTable, draws: Mapping[str, np.ndarray]) -> dict[str, str]:
    """Return the answer to each trait that can be answered of what was measured.

    `draws` are values of each measure that could all be the true one, each as likely. The weight of a state
    is the share of draws on its side of the borders. A number is answered by where nine of ten draws lie.
    That it was measured is said, so that it does not count when the errors of an eye are counted.
    """
    found = {}
    for trait in table.traits:
        # The last border reached decides; a head without spots has none to compare in size.
        last = draws.get(trait.measured[-1]) if trait.measured else None
        if last is not None:
            lacking = np.full_like(last, np.nan)
            values = np.array([draws.get(name, lacking) for name in trait.measured])
            answer = _leaning(trait, values) if trait.has_states else _between(trait, values[0])
            text = answer_text(trait, answer)
            # One that leans to no state at all, or is open for the most part, is no answer.
            is_open = np.isnan(values).any() and max(answer.shares) <= 0.5
            if parse_answer(trait, text) is not None and not is_open:
                found[trait.id] = text
    return found


def _leaning(trait: Trait, values: np.ndarray) -> States:
    """Return how many draws lie in each state: the last one whose border is reached.

    `values`, (1 or borders, draws), NaN of a measure that is lacking: what the others leave open is shared by
    its state and the first. The borders of one measure may fall instead of rise; then a state is reached from
    above.
    """
    borders = np.array([np.nan if border is None else border for border in trait.borders])
    falling = len(values) == 1 and len(borders) > 1 and borders[-1] < borders[0]
    sign = -1.0 if falling else 1.0
    # A state without a border, NaN, is never reached.
    reached = sign * values >= sign * borders[:, None]
    state = np.where(reached.any(axis=0), len(borders) - np.argmax(reached[::-1], axis=0), 0)
    share = np.bincount(state, minlength=len(trait.states)) / len(state)
    open_ = [0, *(1 + np.flatnonzero(np.isnan(values).all(axis=1)))]
    share[open_] = share[open_].mean()
    kept = np.flatnonzero(share >= _LEAST_SHARE)
    shares = share[kept] / share[kept].sum()
    names = tuple(trait.states[i] for i in kept)
    return States(names, tuple(round(float(s), 6) for s in shares), measured=True)


def _between(trait: Trait, values: np.ndarray) -> Range:
    low, high = np.percentile(values, (5, 95))
    digits = 0 if trait.unit == "count" else 1
    return Range(round(float(low), digits), round(float(high), digits), measured=True)
