"""Which genera a fish surely belongs to, and which answer alone turns the genus."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from idkey.model.answers import Coded, code_answers
from idkey.model.combine import model_of, prior_vector
from idkey.model.identify import Identification
from idkey.model.match import posterior
from idkey.model.sayings import say
from idkey.table.schema import LIFE_STAGE
from idkey.table.units import first_up, listed, percent

MOST_GENERA = 3
"""Genera that make a group which can be acted on (judgement)."""
LITTLE_BITS = 0.5
"""The next question settles little where it is expected to settle less (judgement)."""
_HALF = 0.5


class Turning(NamedTuple):
    """An answer without which the likeliest genus would be another, and the share of that genus then."""

    trait: str
    genus: str
    share: float


def genera(fish: Identification) -> tuple[tuple[str, ...], float]:
    """Return the genera that a fish surely belongs to, likeliest first, and their share of the posterior.

    They are the fewest that hold the coverage of the fish, kinds that the table does not hold among them;
    where these are more than `MOST_GENERA`, the likeliest alone.
    """
    model = model_of(fish.table)
    names, shares = model.genera, model.by_genus(fish.of_names)
    if not names:
        return (), 0.0
    order = np.argsort(-shares, kind="stable")
    upto = np.cumsum(shares[order])
    few = int(np.searchsorted(upto, fish.coverage)) + 1
    few = few if few <= min(MOST_GENERA, len(names)) else 1
    return tuple(str(names[i]) for i in order[:few]), float(upto[few - 1])


def genera_words(fish: Identification) -> str:
    """Say of which genera a fish is, as surely as the posterior says; blank for less than a half."""
    names, share = genera(fish)
    if not fish.answers or share < _HALF:
        return ""
    said = "surely" if share >= fish.coverage else "likely"
    return first_up(say(said, genus=listed(map(a_kind, names), "or"), share=percent(share)))


def settles_little(fish: Identification) -> bool:
    """Whether one genus is sure, and the next question is expected to settle little."""
    names, share = genera(fish)
    question = fish.next_question()
    sure = bool(fish.answers) and len(names) == 1 and share >= fish.coverage
    return sure and question is not None and question.gain < LITTLE_BITS


def turning(fish: Identification) -> tuple[Turning, ...]:
    """Return the answers each of which alone turns the genus, what speaks most for another one first."""
    model, answers = model_of(fish.table), tuple(fish.answers)
    if not model.genera or len(answers) < 2:
        return ()
    now = model.by_genus(fish.of_names).argmax()
    then = model.by_genus(_without_each(fish, answers))
    found = [
        Turning(answer, str(model.genera[at]), float(row[at]))
        for answer, at, row in zip(answers, then.argmax(axis=1), then, strict=True)
        if at != now and row[at] >= _HALF
    ]
    return tuple(sorted(found, key=lambda turn: (-turn.share, turn.trait)))


def a_kind(genus: str) -> str:
    """Return a genus with its article, as a keeper speaks of one fish of it."""
    return f"{'an' if genus[:1] in 'AEIOU' else 'a'} {genus}"


def _without_each(fish: Identification, answers: tuple[str, ...]) -> np.ndarray:
    """Return the posterior of every name without each of the answers, (n_answers, n_names)."""
    table = fish.table
    one, left = code_answers(table, fish.answers), np.array(answers)
    codes = {trait: np.where(left == trait, 0, code) for trait, code in one.codes.items()}
    stage = np.where(left == LIFE_STAGE, 0, one.stage)
    coded = Coded(len(left), codes, one.distinct, stage)
    prior = prior_vector(table, fish.prior, fish.none_prior)
    return posterior(model_of(table), coded, prior, by_genus=True)
