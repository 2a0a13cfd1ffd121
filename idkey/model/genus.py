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
    names, shares = _shares(fish, ())
    if not names:
        return (), 0.0
    order = np.argsort(-shares[0], kind="stable")
    upto = np.cumsum(shares[0][order])
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
    answers = tuple(fish.answers)
    names, shares = _shares(fish, answers)
    if not names or len(answers) < 2:
        return ()
    now, *then = shares.argmax(axis=1)
    found = [
        Turning(answer, str(names[at]), float(row[at]))
        for answer, at, row in zip(answers, then, shares[1:], strict=True)
        if at != now and row[at] >= _HALF
    ]
    return tuple(sorted(found, key=lambda turn: (-turn.share, turn.trait)))


def a_kind(genus: str) -> str:
    """Return a genus with its article, as a keeper speaks of one fish of it."""
    return f"{'an' if genus[:1] in 'AEIOU' else 'a'} {genus}"


def _shares(fish: Identification, without: tuple[str, ...]) -> tuple[tuple[str, ...], np.ndarray]:
    """Return the genera and their shares, a row for all answers and one without each of some.

    A stranger of a genus belongs to it.
    """
    table, model = fish.table, model_of(fish.table)
    one, left = code_answers(table, fish.answers), np.array(("", *without))
    codes = {trait: np.where(left == trait, 0, code) for trait, code in one.codes.items()}
    stage = np.where(left == LIFE_STAGE, 0, one.stage)
    coded = Coded(len(left), codes, one.distinct, stage)
    prior = prior_vector(table, fish.prior, fish.none_prior)
    of_names = posterior(model, coded, prior, by_genus=True)
    of = [*(table.genus[i] for i in model.order), *model.genera, ""]
    return model.genera, of_names @ np.array([[genus == name for name in model.genera] for genus in of])
