"""How often do we err? Answers held against the kind that a fish turned out to be, on other grounds.

A fish counts where its name was settled by growing it out, by breeding it, or by a specialist: with a name
that rests on looking, the looks would judge themselves. Of each fish and trait the last answer before that
counts, once. It is *outside* where nothing that the table allows for the kind agrees with it (an answer of
several states where none of them does, a number by more than three measuring errors), for young and adults
alike where the age was not stated; see `idkey.model.fit.outside`. Cells that are blank or do not apply,
lengths (a record is no mean) and what the seller says of the river are left out.

The table's error e is the share of answers that say nothing about the fish. Such an answer may fall on a
state that the kind has, and then nobody sees that it was one: it is outside with the chance q, the sum of the
misreadings that lead outside the row ((K - 1) / K for one state of K of a nominal trait), of a number the
part of the column that the range leaves. Of n answers k are outside:

* the share outside is estimated with Jeffreys's prior, Beta(1/2, 1/2): the mean ``(k + 1/2) / (n + 1)`` of
  its posterior Beta(k + 1/2, n - k + 1/2), and as 95 % interval its 2.5 % and 97.5 % points, with 0 as the
  lower end where k = 0 and 1 as the upper where k = n (Brown LD, Cai TT & DasGupta A 2001, Interval
  estimation for a binomial proportion, Statistical Science 16:101-133, doi 10.1214/ss/1009213286);
* the error is that share over the mean q of these answers, at most 1.

These fish are not drawn at random: who sends a fish to a specialist was in doubt about it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import betaincinv

from idkey.book.labels import SETTLED
from idkey.display import Printed
from idkey.errors import IdkeyError, one_of
from idkey.model.changes import code_past
from idkey.model.combine import check_table
from idkey.model.distinguish import HEARSAY
from idkey.model.evidence import misread, scale_of
from idkey.model.fit import SLIP, outside
from idkey.table.reading import is_measured
from idkey.table.schema import LIFE_STAGES, Trait
from idkey.table.table import TraitTable
from idkey.table.units import listed, number_of, percent

FEWEST = 20
"""Answers below which no rate is offered: even with none outside the interval reaches to 12 % (judgement)."""
_MOST, _LEAST = 0.5, 0.001
"""A rate that is taken into a table lies between these: nobody never errs, and beyond the first a trait says
next to nothing (judgement)."""


@dataclass(frozen=True, slots=True)
class TraitRate:
    """How often answers to one trait were wrong.

    Attributes
    ----------
    trait : Trait
    answers, outside : int
        Answers that could be checked, one a fish, and how many of them were outside what the kind shows.
    seen : float
        Mean chance that an error is seen as one, 0 to 1; NaN without an answer.
    rate, low, high : float
        The error estimated, and its 95 % interval; NaN without an answer.
    assumed : float
        The error that the table takes.
    """

    trait: Trait
    answers: int
    outside: int
    seen: float
    rate: float
    low: float
    high: float
    assumed: float

    @property
    def is_enough(self) -> bool:
        """Whether there are answers enough for a rate of one's own."""
        return self.answers >= FEWEST and self.seen > 0

    @property
    def differs(self) -> bool:
        """Whether the table's rate lies outside the interval."""
        return self.is_enough and not self.low <= self.assumed <= self.high

    @property
    def text(self) -> str:
        """What was found, in a sentence."""
        if not self.answers:
            return f"{self.trait.name}: no answer could be checked."
        counted = f"{self.outside} of {self.answers} answers were outside what the kind shows"
        if not self.is_enough:
            few = f"too few to say how often you err ({FEWEST} are needed)"
            return f"{self.trait.name}: {counted}: {few}."
        interval = f"{percent(self.rate)} ({percent(self.low)} to {percent(self.high)})"
        verdict = "more" if self.low > self.assumed else "less" if self.high < self.assumed else ""
        against = f"the table takes {percent(self.assumed)}"
        against = f"{verdict} than {against}" if verdict else f"{against}, which fits"
        return f"{self.trait.name}: {counted}; error {interval}, {against}."


@dataclass(frozen=True, eq=False, repr=False)
class Rates(Printed):
    """How often the keepers of a book err, trait by trait; see `idkey.book.rates`.

    Attributes
    ----------
    table : TraitTable
        The table against which the answers were held.
    traits : tuple of TraitRate
        Every trait that may be judged, in the order of the table.
    fish : int
        Fish of which the name was settled on other grounds, and which were looked at before.
    left_out : tuple of str
        Of such fish those that could not be used, each with the reason.
    """

    table: TraitTable
    traits: tuple[TraitRate, ...]
    fish: int
    left_out: tuple[str, ...] = ()

    @property
    def offered(self) -> tuple[TraitRate, ...]:
        """Traits with answers enough, those first of which the table's rate lies outside the interval."""
        return tuple(sorted((r for r in self.traits if r.is_enough), key=lambda r: not r.differs))

    @property
    def text(self) -> str:
        """How much there is to go by, and what is offered; two sentences or so."""
        if not self.fish:
            grounds = listed(SETTLED, "or")
            return f"No fish yet that was looked at and later {grounds}: nothing can be said of errors."
        count = "1 fish was" if self.fish == 1 else f"{self.fish:,} fish were"
        text = f"{count} looked at and later named on other grounds."
        if not self.offered:
            return f"{text} Too few to say how often you err: {FEWEST} answers to a trait are needed."
        differ = sum(r.differs for r in self.offered)
        text += f" For {number_of(len(self.offered), 'trait')} a rate of your own is offered; "
        outside = f"for {differ} of them the table's lies outside the interval"
        text += f"{outside if differ else 'the table fits all of them'}."
        return f"{text} They are used only if you accept them."

    def accept(self, traits: Collection[str] | None = None) -> TraitTable:
        """Return the table with the keeper's own rates in place of its own, by default all that are offered.

        `traits` are trait ids. Raises IdkeyError for one that has too few answers.
        """
        offered = {rate.trait.id: rate for rate in self.offered}
        for trait in traits or ():
            if trait not in offered:
                right = one_of(trait, [*offered], "a trait that a rate is offered for")
                raise IdkeyError(f"traits: {trait!r}: {right}")
        chosen = offered if traits is None else {trait: offered[trait] for trait in traits}
        return replace(self.table, traits=tuple(_accepted(t, chosen.get(t.id)) for t in self.table.traits))

    def to_frame(self) -> pd.DataFrame:
        """Return one row a trait: trait, answers, outside, seen, rate, low, high, assumed, is_enough."""
        rows = [
            (r.trait.id, r.answers, r.outside, r.seen, r.rate, r.low, r.high, r.assumed, r.is_enough)
            for r in self.traits
        ]
        kinds = {"trait": "str", "answers": int, "outside": int}
        kinds |= dict.fromkeys(("seen", "rate", "low", "high", "assumed"), float) | {"is_enough": bool}
        return pd.DataFrame(rows, columns=list(kinds)).astype(kinds)


def _accepted(trait: Trait, rate: TraitRate | None) -> Trait:
    if rate is None:
        return trait
    basis = f"own count: {rate.outside} of {rate.answers} answers outside what the kind shows"
    return replace(trait, error=round(float(np.clip(rate.rate, _LEAST, _MOST)), 4), error_basis=basis)


def jeffreys(outside: int, answers: int) -> tuple[float, float, float]:
    """Return the mean, and the ends of the 95 % interval, of a share by Jeffreys's prior; see the module.

    >>> [round(x, 4) for x in jeffreys(0, 10)]
    [0.0455, 0.0, 0.2172]
    """
    a, b = outside + 0.5, answers - outside + 0.5
    low = 0.0 if outside == 0 else float(betaincinv(a, b, 0.025))
    high = 1.0 if outside == answers else float(betaincinv(a, b, 0.975))
    return a / (a + b), low, high


def rates(table: TraitTable, looks: Iterable[Any], namings: Iterable[Any]) -> Rates:
    """Hold answers against the kinds that the fish turned out to be.

    `looks` and `namings` are rows as `Book.looks` and `Book.namings` return them, oldest first.
    """
    check_table(table)
    settled = {naming.number: naming for naming in namings if naming.ground in SETTLED}
    answers: dict[int, dict[str, Any]] = {}
    for look in looks:
        naming = settled.get(look.number)
        if naming is not None and look.at < naming.at:
            # The last answer to each trait counts; what was measured on a photo is no error of an eye.
            by_eye = {t: answer for t, answer in look.answers.items() if not is_measured(answer)}
            answers.setdefault(look.number, {}).update(by_eye)
    known, left_out = {}, []
    for number, given in answers.items():
        taxon = settled[number].taxon
        if taxon in table.taxa.index:
            known[number] = given
        else:
            left_out.append(f"fish {number}: {settled[number].name} is not in the table")
    at = np.array([table.position(settled[number].taxon) for number in known], dtype=np.intp)
    coded, unread = code_past(table, list(known.values()))
    left_out += [f"fish {n}: {'; '.join(some)}" for n, some in zip(known, unread, strict=True) if some]
    found = []
    for trait in table.traits:
        if trait.kind == "ceiling" or trait.id in HEARSAY:
            continue
        codes = coded.codes.get(trait.id, np.zeros(coded.n, dtype=np.intp))
        wrong, seen = [], []
        for code, stage in enumerate((None, *LIFE_STAGES)):
            fish = np.flatnonzero((codes > 0) & (coded.stage == code))
            if len(fish):
                away = outside(table, trait, coded.distinct[trait.id], stage)
                chance = _seen(table, trait, stage)[at[fish]]
                wrong += away[codes[fish] - 1, at[fish]][chance > 0].tolist()
                seen += chance[chance > 0].tolist()
        found.append(_rate(trait, sum(wrong), seen))
    return Rates(table, tuple(found), len(known), tuple(left_out))


def _rate(trait: Trait, wrong: int, seen: list[float]) -> TraitRate:
    if not seen:
        nothing = float("nan")
        return TraitRate(trait, 0, 0, nothing, nothing, nothing, nothing, trait.error)
    q = float(np.mean(seen))
    rate, low, high = (min(share / q, 1.0) for share in jeffreys(wrong, len(seen)))
    return TraitRate(trait, len(seen), wrong, q, rate, low, high, trait.error)


def _seen(table: TraitTable, trait: Trait, stage: str | None) -> np.ndarray:
    """Chance that an answer that says nothing lies outside a row, (n_taxa,); 0 where the row is blank."""
    columns = [table.column(trait.id, young=age == "young") for age in ((stage,) if stage else LIFE_STAGES)]
    known = np.logical_and.reduce([column.known for column in columns])
    if trait.has_states:
        allowed = np.logical_or.reduce([column.shares > 0 for column in columns])
        # Misread from each state that the kind has, as often as it has it.
        misreadings = misread(trait) @ columns[0].shares.T
        chance = np.where(allowed.T, 0.0, misreadings).sum(axis=0)
    else:
        low = np.minimum.reduce([np.nan_to_num(column.low) for column in columns])
        high = np.maximum.reduce([np.nan_to_num(column.high) for column in columns])
        slip = SLIP * trait.spread * (high if trait.spread_is_relative else 1.0)
        chance = 1 - (high - low + 2 * slip) / (scale_of(columns[0]) + 2 * slip)
    return np.where(known, np.clip(chance, 0.0, 1.0), 0.0)
