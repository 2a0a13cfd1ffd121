"""Same kind? Two fish, by what was seen on each and by where they came from.

Two ways in which the two may have come about are held against each other, over the names k of the model with
their prior shares ``p_k`` (commonness in the trade, and the strangers) and the likelihoods ``L1_k``, ``L2_k``
of what was answered on each fish:

* one draw: a name is drawn, and both fish are of it, ``P(answers | one draw) = sum_k p_k L1_k L2_k``;
* two draws: each fish is drawn by itself, ``P(answers | two draws) = (sum_k p_k L1_k) (sum_k p_k L2_k)``.

The `ratio` is the first over the second. It depends on no prior but that of the names, is 1 where nothing was
answered on one of the fish, and ``1 / p_k`` where both are k beyond doubt: the likelihood ratio of a match in
something that occurs with the frequency p_k (Evett & Weir 1998, Interpreting DNA Evidence: from memory).

Two draws may bring the same kind by chance. With c the chance, before anyone looks, that the two are one draw
(`ORIGINS`), the probability that they are one kind is::

    sum_k s_k (c + (1 - c) p_k) p_k L1_k L2_k / (c P(answers | one draw) + (1 - c) P(answers | two draws))

``s_k`` is 1 for a kind of the table. A stranger's name stands for all the kinds of its genus that the table
lacks: two strangers of one genus are one kind in `STRANGERS_ONE` of cases, so that looks can never make it
surer than that. What one stranger shows of its unknown kind is not used to foretell the other.

What the seller says of the river is left out: of two fish of one bag it is one statement, not two looks.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations
from numbers import Real
from typing import Any, Literal, NamedTuple

import numpy as np
import pandas as pd

from idkey.display import Printed
from idkey.errors import IdkeyError, one_of
from idkey.model.answers import code_answers, code_frame, read_answer
from idkey.model.ask import MIN_GAIN, asker_of
from idkey.model.combine import NONE_PRIOR, check_table, model_of, prior_vector
from idkey.model.distinguish import HEARSAY
from idkey.model.identify import LITTLE, Identification, strength
from idkey.table.folder import load_table
from idkey.table.reading import parse_answer
from idkey.table.schema import NONE, Trait, cell_words
from idkey.table.table import TraitTable
from idkey.table.units import percent

ORIGINS = {"same bag": 0.8, "same label": 0.5, "elsewhere": 0.0}
"""Chance that two fish are one draw before anyone looks, by where they came from (judgement). Elsewhere is
the careful choice: what makes them one kind then is only what was seen on them."""
_FROM = dict(zip(ORIGINS, ("out of one bag", "sold under one name", "not out of one bag"), strict=True))
STRANGERS_ONE = 0.5
"""Share of pairs of strangers of one genus, or of none, that are one kind (judgement: nothing is known)."""
SURE = 0.95
"""Probability from which on two fish are called one kind, or two."""
SEEN = 10.0
"""Ratio, for or against, that it takes beside: a bag in common, or none, is not enough (judgement)."""
CAUTION = (
    "A hybrid can look like either parent or lie between them, and then no look tells.",
    "Do not let fish breed that may be of two kinds. Young of a pair that is not settled are not sold, or "
    "given away, under the name of a kind.",
)

Origin = Literal["same bag", "same label", "elsewhere"] | float
Fish = Identification | Mapping[str, Any]
"""An identification, or its answers: trait id to answer."""


class PairLook(NamedTuple):
    """A look that helps to settle whether two fish are one kind.

    The `gain` is the expected drop in entropy of "one kind or two", bits; the `rate` that per second, on all
    the fish that are to be looked at.
    """

    trait: Trait
    fish: tuple[str, ...]
    gain: float
    rate: float


class PairReason(NamedTuple):
    """What the answers to one trait do for one draw, or (negative) for two.

    The `decibans` are those by which the ratio would be another without them.
    """

    trait: str
    label: str
    said: tuple[str, str]
    decibans: float
    text: str


@dataclass(frozen=True, eq=False, repr=False)
class SameKind(Printed):
    """Whether two fish are one kind; see `idkey.book.pair` for the formulas.

    Attributes
    ----------
    answers : pair of mappings
        What was answered on each fish, as text by trait.
    names : pair of str
        What the two fish are called here.
    origin : str
        Where they came from, in words; `together` is the chance of one draw that was taken for it.
    ratio : float
        How many times likelier the answers are of one draw than of two.
    before, probability : float
        That they are one kind: before anyone looked, and by the answers.
    kinds : tuple of (taxon, float)
        Which kind, if they are one: with 1 % or more, likeliest first; "none of these" for strangers.
    """

    table: TraitTable
    answers: tuple[Mapping[str, str], Mapping[str, str]]
    names: tuple[str, str]
    origin: str
    together: float
    ratio: float
    before: float
    probability: float
    kinds: tuple[tuple[str, float], ...]

    @property
    def verdict(self) -> Literal["one kind", "two kinds", "can't be told"]:
        """What it comes to: one or the other from `SURE` on, where the looks alone say so too (`SEEN`)."""
        if self.probability >= SURE and self.ratio >= SEEN:
            return "one kind"
        two = self.probability <= 1 - SURE and self.ratio <= 1 / SEEN
        return "two kinds" if two else "can't be told"

    @property
    def text(self) -> str:
        """The verdict, the probability and what it rests on, in two or three sentences."""
        words = {
            "one kind": "Probably one kind",
            "two kinds": "Probably two kinds",
            "can't be told": "Can't be told yet",
        }
        text = f"{words[self.verdict]}: {percent(self.probability)} that {self.names[0]} and {self.names[1]} "
        text += f"are one kind ({percent(self.before)} before anyone looked; {self.origin}). {self.weight}"
        if self.verdict != "two kinds" and self.kinds and self.kinds[0][1] >= 0.5:
            taxon, share = self.kinds[0]
            which = "a kind that the table does not hold" if taxon == NONE else self.table.label(taxon)
            text += f" If they are one, it is most likely {which} ({percent(share)})."
        return text

    @property
    def weight(self) -> str:
        """The ratio in words; one sentence."""
        if 1 / 1.05 < self.ratio < 1.05:
            return "What was seen speaks for neither."
        times, ways = max(self.ratio, 1 / self.ratio), ["of one name", "each drawn by itself"]
        likelier, other = ways if self.ratio > 1 else ways[::-1]
        return f"What was seen is {_times(times)} likelier of two fish that are {likelier} than {other}."

    @cached_property
    def reasons(self) -> tuple[PairReason, ...]:
        """What the answers to each trait do that was answered on both, strongest first."""
        looks = (t.id for t in self.table.traits if t.id not in HEARSAY)
        both = [t for t in looks if all(t in given for given in self.answers)]
        rows = [{t: x for t, x in given.items() if t != but} for but in both for given in self.answers]
        if not rows:
            return ()
        prior, likelihoods = _likelihoods(self.table, rows)
        found = []
        for i, trait_id in enumerate(both):
            without = weighed(prior, len(self.table), *likelihoods[2 * i : 2 * i + 2], self.together).ratio
            decibans = float(10 * np.log10(self.ratio / without))
            trait, given = self.table.trait(trait_id), [answers[trait_id] for answers in self.answers]
            said = tuple(cell_words(trait, parse_answer(trait, answer)) for answer in given)
            seen = f"{said[0]} on both" if said[0] == said[1] else f"{said[0]}, and {said[1]}"
            words = strength(decibans) + " one kind" * (abs(decibans) >= LITTLE)
            found.append(PairReason(trait_id, trait.name, said, decibans, f"{trait.name}: {seen} ({words})"))
        return tuple(sorted(found, key=lambda r: (-abs(r.decibans), r.trait)))

    @cached_property
    def looks(self) -> tuple[PairLook, ...]:
        """What to look at to settle it, that which settles most for least trouble first.

        The river that the seller names is no look, and a length tells little of a kind.
        """
        table = self.table
        fish = [Identification(table) for _ in self.answers]
        for one, given in zip(fish, self.answers, strict=True):
            for trait_id, answer in given.items():
                one.answer(trait_id, answer)
        prior, likelihoods = _likelihoods(table, self.answers)
        model, asker = model_of(table), asker_of(table)
        coded = [code_answers(table, given) for given in self.answers]
        seen = [asker.foreseen(model.stage_weights(c)[0], model.said_in_group(c)) for c in coded]
        nothing, found = (np.ones((1, model.width)),) * 2, []
        for trait in table.traits:
            missing = [i for i, given in enumerate(self.answers) if trait.id not in given]
            asked = missing and all(trait.id in fish[i].askable for i in missing)
            if not asked or trait.kind == "ceiling" or trait.id in HEARSAY:
                continue
            parts = [seen[i][trait.id] if i in missing else nothing for i in (0, 1)]
            gain = _gain(prior, len(table), likelihoods, self.together, self.probability, parts)
            if gain >= MIN_GAIN:
                names = tuple(self.names[i] for i in missing)
                found.append(PairLook(trait, names, gain, gain / (trait.effort * len(missing))))
        return tuple(sorted(found, key=lambda look: (-look.rate, look.trait.id)))


def same_kind(
    a: Fish,
    b: Fish,
    table: TraitTable | None = None,
    prior: Origin = "elsewhere",
    names: tuple[str, str] = ("the first", "the second"),
) -> SameKind:
    """Say how likely it is that two fish are one kind.

    Parameters
    ----------
    a, b : Identification or mapping of trait id to answer
        What was seen on each; the label of neither counts.
    table : TraitTable, optional
        By default that of `a` or `b`, else the shipped one.
    prior : {"elsewhere", "same label", "same bag"} or float
        Where they came from, or the chance that both are one draw: 0, 0.5 and 0.8 (judgement).
    names : pair of str
        What the two are called in the result.

    Raises
    ------
    IdkeyError
        A prior that is none, a fish that is none, or an answer that the table can't take.

    Examples
    --------
    >>> frame = pd.DataFrame({"kind": ["a", "b"], "tail": ["forked", "straight"]})
    >>> table = TraitTable.from_frame(frame, taxon="kind")
    >>> found = same_kind({"tail": "forked"}, {"tail": "straight"}, table, prior="same bag")
    >>> found.ratio < 1, found.before > 0.8, found.probability < 0.8
    (True, True, True)
    """
    held = next((f.table for f in (a, b) if isinstance(f, Identification)), None)
    table = table if table is not None else held if held is not None else load_table()
    check_table(table)
    return pairs(table, (a, b), names, prior)[0]


def pairs(
    table: TraitTable, fish: Sequence[Fish], names: Sequence[str], prior: Origin = "same bag"
) -> tuple[SameKind, ...]:
    """Hold every two of some fish against each other; those least likely to be one kind first."""
    together, origin = _origin(prior)
    given = [_answers(table, one) for one in fish]
    shares, likelihoods = _likelihoods(table, given)
    ones = np.ones(len(shares))
    before = weighed(shares, len(table), ones, ones, together).probability
    found = []
    for i, j in combinations(range(len(given)), 2):
        both = weighed(shares, len(table), likelihoods[i], likelihoods[j], together)
        kinds = _kinds(table, both.one)
        of = (given[i], given[j]), (names[i], names[j]), origin, together
        found.append(SameKind(table, *of, both.ratio, before, both.probability, kinds))
    return tuple(sorted(found, key=lambda pair: (pair.probability, pair.names)))


def _origin(prior: Any) -> tuple[float, str]:
    if isinstance(prior, Real) and not isinstance(prior, bool) and 0 <= prior <= 1:
        return float(prior), f"chance of one draw given as {float(prior):g}"
    if not isinstance(prior, str | float):
        raise IdkeyError(
            f"prior: {type(prior).__name__}: give a chance from 0 to 1, or one of {', '.join(ORIGINS)}"
        )
    if prior not in ORIGINS:
        right = one_of(prior, [*ORIGINS], "a chance from 0 to 1, or one of")
        raise IdkeyError(f"prior: {prior!r}: {right}")
    return ORIGINS[prior], _FROM[prior]


def _answers(table: TraitTable, fish: Any) -> dict[str, str]:
    """Return what was answered on a fish, as the table reads it."""
    if isinstance(fish, Identification) and fish.table is table:
        return dict(fish.answers)
    given = fish.answers if isinstance(fish, Identification) else fish
    if not isinstance(given, Mapping):
        right = "give an Identification, or its answers: trait id to answer"
        raise IdkeyError(f"fish: {type(fish).__name__}: {right}")
    read = {trait: read_answer(table, trait, value) for trait, value in given.items()}
    return {trait: text for trait, text in read.items() if text is not None}


def _likelihoods(table: TraitTable, rows: Sequence[Mapping[str, str]]) -> tuple[np.ndarray, np.ndarray]:
    """Prior of every name, (n_names,), and likelihoods, each fish over its largest, (n_fish, n_names)."""
    model, rows = model_of(table), [{t: x for t, x in row.items() if t not in HEARSAY} for row in rows]
    coded = code_frame(table, pd.DataFrame(rows, index=range(len(rows)), dtype=object))
    logs = model.log_likelihoods(coded)
    prior = np.exp(model.log_prior(prior_vector(table, "commonness", NONE_PRIOR)))
    return prior, np.exp(logs - logs.max(axis=1, keepdims=True))


class Weighed(NamedTuple):
    """`one`, (n_taxa + 1,), is P(both are of one kind, and of this one); it sums to `probability`."""

    ratio: float
    probability: float
    one: np.ndarray


def _being_one(prior: np.ndarray, n_taxa: int, together: float) -> np.ndarray:
    """P(both are this name and one kind) over the prior of the name, (n_names,)."""
    kinds = np.where(np.arange(len(prior)) < n_taxa, 1.0, STRANGERS_ONE)
    return kinds * (together + (1 - together) * prior)


def weighed(prior: np.ndarray, n_taxa: int, a: np.ndarray, b: np.ndarray, together: float) -> Weighed:
    """Weigh the likelihoods of two fish, each (n_names,); the first `n_taxa` are kinds, the rest strangers.

    `together` is the chance of one draw. The two stand alike: swapping them changes no bit.
    """
    drawn = prior * (a * b)
    once, twice = drawn.sum(), (prior * a).sum() * (prior * b).sum()
    one = drawn * _being_one(prior, n_taxa, together) / (together * once + (1 - together) * twice)
    one = np.append(one[:n_taxa], one[n_taxa:].sum())
    return Weighed(float(once / twice), float(one.sum()), one)


def _kinds(table: TraitTable, one: np.ndarray) -> tuple[tuple[str, float], ...]:
    shares = one / one.sum()
    names = [*sorted(table.ids), NONE]
    found = [(name, float(share)) for name, share in zip(names, shares, strict=True) if share >= 0.01]
    return tuple(sorted(found, key=lambda kind: (-kind[1], kind[0])))


def _gain(
    prior: np.ndarray,
    n_taxa: int,
    likelihoods: np.ndarray,
    together: float,
    before: float,
    looks: Sequence[tuple[np.ndarray, np.ndarray]],
) -> float:
    """Expected drop in the entropy of "one kind or two" by one look at each fish, bits, 0 or more.

    `before` is the probability of one kind by the answers so far; `looks` are, for each fish, how likely each
    answer is for every name, and how it would be judged.
    """
    a, b = (prior * of for of in likelihoods)
    drawn = prior * likelihoods[0] * likelihoods[1]

    def whole(rows: Sequence[np.ndarray]) -> np.ndarray:
        once = (rows[0] * drawn) @ rows[1].T
        return together * once + (1 - together) * np.outer(rows[0] @ a, rows[1] @ b)

    given, judged = zip(*looks, strict=True)
    chance, total = whole(given), whole(judged)
    one = (judged[0] * (drawn * _being_one(prior, n_taxa, together))) @ judged[1].T / total
    spent = (chance * _entropy(one)).sum() / chance.sum()
    return max(float(_entropy(before) - spent), 0.0)


def _entropy(p: np.ndarray | float) -> np.ndarray:
    """Entropy of a chance and its opposite, bits."""
    p = np.clip(p, 1e-300, 1 - 1e-16)
    return -p * np.log2(p) - (1 - p) * np.log2(1 - p)


def _times(ratio: float) -> str:
    """Write how many times likelier, with no more figures than it is known to."""
    return f"{float(f'{ratio:.2g}'):,g} times" if ratio < 1e6 else "over a million times"
