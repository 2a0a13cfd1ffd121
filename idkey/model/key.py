"""build_key: a dichotomous key of numbered couplets, and the Key that comes of it.

Which couplet is asked where, and what it costs, is found in `idkey.model.solve`; here the couplets are
numbered, worded and walked.
"""

from __future__ import annotations

import math
import os
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from graphlib import TopologicalSorter
from types import MappingProxyType
from typing import Any

import numpy as np

from idkey import display
from idkey.arguments import checked
from idkey.model.answers import parsed_answer
from idkey.model.combine import Prior, weights
from idkey.model.evidence import ADULT_FROM
from idkey.model.solve import EXACT_STATES, Builder, bit_mask, entropy
from idkey.table.names import one
from idkey.table.schema import LIFE_STAGE, Range, States, Trait
from idkey.table.table import Column, TraitTable
from idkey.table.units import number_of

_Confirms = tuple[tuple[Trait, tuple[str, ...]], ...]


@dataclass(frozen=True, slots=True)
class Lead:
    """One half of a couplet.

    Attributes
    ----------
    states, shown : tuple of str
        States that take this lead, none for a threshold; those that a kind behind it is known to show.
    goes_to : int or None
        Number of the next couplet.
    taxa : tuple of str
        Where the lead ends: the names, several where the table can't tell them apart. Empty otherwise.
    confirms : tuple of (Trait, tuple of str)
        Other traits in which every kind behind this lead differs from every kind behind the other.
    genus : str
        In a key to genera, the genus whose part of the key this lead goes to.
    """

    states: tuple[str, ...]
    shown: tuple[str, ...]
    goes_to: int | None
    taxa: tuple[str, ...]
    confirms: _Confirms = ()
    genus: str = ""


@dataclass(frozen=True, slots=True)
class Couplet:
    """A question, numbered from 1, with two leads; of numbers, lead a is at most the threshold, else NaN."""

    number: int
    trait: Trait
    threshold: float
    a: Lead
    b: Lead


_ENOUGH_TRAITS = 10
_MOST_ENDS = 10
_LEAST_KNOWN = 0.5
"""A kind that would stand at more than `_MOST_ENDS` ends is not keyed, if of at least `_ENOUGH_TRAITS` traits
less than this share is known of it. A name that is met at every turn places no fish, and crowds out names
that would; a kind that is well known but varies stays, as the key is right to name it often (judgement; half
is also what `Identification` asks of a kind before it gives its name)."""
_PLACES = 3


@checked
@dataclass(frozen=True, eq=False, repr=False)
class Key(display.Shown):
    """A dichotomous key; made by `build_key`.

    A two-way question settles at most one bit (Shannon 1948, Bell Syst. Tech. J. 27:379-423), so no key that
    tells as much asks fewer questions on average than the bits this one settles; nor can it cost less than
    so many of the cheapest couplet.

    Attributes
    ----------
    table : TraitTable
    couplets : tuple of Couplet
        Couplet 1 is where to start; empty where nothing in the table can be told apart.
    left_out : tuple of str
        Kinds of which too little is known to key them out; they stay possible wherever the key ends. See
        `would_place`.
    questions, least_questions : float
        Mean number of couplets to a name, weighted by the prior, and Shannon's bound on it.
    seconds, least_seconds : float
        Mean effort to a name, and the bound on it.
    optimum_seconds : float or None
        Least mean effort of all keys over the same questions, where it could be had. A key whose kinds vary
        may cost more, as it prints one couplet for a set of kinds that two would serve better.
    genera : mapping of str to int
        Of a key to genera first, the number of the couplet where the kinds of a genus begin.
    """

    table: TraitTable
    couplets: tuple[Couplet, ...]
    left_out: tuple[str, ...]
    questions: float
    least_questions: float
    seconds: float
    least_seconds: float
    optimum_seconds: float | None
    genera: Mapping[str, int] = field(default_factory=lambda: MappingProxyType({}))

    @property
    def is_exact(self) -> bool:
        """Whether no key over the same questions has a lower expected cost."""
        return self.optimum_seconds is not None and self.seconds <= self.optimum_seconds * (1 + 1e-9)

    def endings(self) -> tuple[tuple[str, ...], ...]:
        """Return the names at each end of the key, in the order of the leads."""
        leads = [lead for couplet in self.couplets for lead in (couplet.a, couplet.b)]
        return tuple(lead.taxa for lead in leads if lead.taxa)

    def would_place(self, taxon: str) -> tuple[Trait, ...]:
        """Return up to three traits, blank in a kind, that would do most to place it in this key.

        They are those that the key asks most often of a fish of which no more is known than of the kind;
        where a trait is blank or varies, half of the fish take either lead.
        """
        row, asked = self.table.position(one(self.table, taxon)), dict.fromkeys(self.table.traits, 0.0)
        onward = {c.number: [x.goes_to for x in (c.a, c.b) if x.goes_to is not None] for c in self.couplets}
        come = dict.fromkeys(onward, 0.0) | {1: 1.0}
        # Every couplet after all that lead to it.
        for number in [*TopologicalSorter(onward).static_order()][::-1]:
            couplet = self.couplets[number - 1]
            column = self.table.column(couplet.trait.id)
            if column.applies[row] and not column.known[row]:
                asked[couplet.trait] += come[number]
            leads = _leads_of(couplet, column, row)
            for lead in leads:
                if lead.goes_to is not None:
                    come[lead.goes_to] += come[number] / len(leads)
        most = sorted((t for t in asked if asked[t] > 0), key=lambda t: (-asked[t], t.id))
        return tuple(most[:_PLACES])

    def crossed_out(self) -> tuple[tuple[str, int], ...]:
        """Return the kinds that share ends with one other, with the number of these ends, most first.

        So many more ends hold one name once the kind is crossed out.
        """
        pairs = Counter(taxon for ending in self.endings() if len(ending) == 2 for taxon in ending)
        return tuple(sorted(pairs.items(), key=lambda pair: (-pair[1], self.table.position(pair[0]))))

    def classify(self, answers: Mapping[Any, Any]) -> tuple[str, ...]:
        """Run a fish through the key; a couplet that is not answered is followed down both leads.

        `answers` are as for `Identification.answer`. Returned are the names still possible, in the order of
        the table. Raises AnswerError.
        """
        parsed = {trait_id: parsed_answer(self.table, trait_id, value) for trait_id, value in answers.items()}
        if not self.couplets:
            return self.table.ids
        names: set[str] = set()
        seen: set[tuple[int, frozenset[tuple[str, Any]]]] = set()
        waiting: list[tuple[int, Mapping[str, Any]]] = [(1, parsed)]
        while waiting:
            number, said = waiting.pop()
            place = number, frozenset(said.items())
            if place in seen:
                continue
            seen.add(place)
            for lead, left in _ways(self.couplets[number - 1], said):
                names.update(lead.taxa)
                if lead.goes_to is not None:
                    waiting.append((lead.goes_to, left))
        names.update(self.left_out)
        return tuple(t for t in self.table.ids if t in names)

    def text(self) -> str:
        """Return the key as plain text, couplets numbered, two leads each."""
        return display.text(self)

    def html(self) -> str:
        """Return the key as a self-contained piece of HTML."""
        return display.html(self)

    def save(
        self,
        path: str | os.PathLike[str],
        paper: display.Paper = "A4",
        *,
        overwrite: bool = False,
        title: str = "",
    ) -> None:
        """Print the key to a file, with a title of your own; see `idkey.display.Printed.save`."""
        display.save(self, path, paper, overwrite, title=title)

    def __repr__(self) -> str:
        how = "least possible cost" if self.is_exact else "least cost not proven"
        return (
            f"Key: {len(self.table)} taxa, {number_of(len(self.couplets), 'couplet')}, "
            f"{self.questions:.1f} questions expected, bound {self.least_questions:.1f} ({how})"
        )


def _ways(couplet: Couplet, said: Mapping[str, Any]) -> Iterator[tuple[Lead, Mapping[str, Any]]]:
    """Yield the leads that a fish may take, each with the part of an unsure answer that is left there."""
    trait, answer = couplet.trait, said.get(couplet.trait.id)
    # A short fish may outgrow a length, unless it is known to be adult.
    may_grow = said.get(LIFE_STAGE) != "adult"
    if isinstance(answer, States):
        for lead in (couplet.a, couplet.b):
            names = tuple(name for name in answer.names if name in lead.states)
            if names:
                yield lead, {**said, trait.id: States(names, (1.0 / len(names),) * len(names))}
    elif answer is None or (trait.kind == "ceiling" and may_grow and answer.low <= couplet.threshold):
        yield couplet.a, said
        yield couplet.b, said
    else:
        if answer.low <= couplet.threshold:
            yield couplet.a, {**said, trait.id: Range(answer.low, min(answer.high, couplet.threshold))}
        if answer.high > couplet.threshold:
            above = math.nextafter(couplet.threshold, math.inf)
            yield couplet.b, {**said, trait.id: Range(max(answer.low, above), answer.high)}


def _leads_of(couplet: Couplet, column: Column, row: int) -> tuple[Lead, ...]:
    """Return the leads that a kind stands behind, by what is known of it."""
    if not column.known[row]:
        return couplet.a, couplet.b
    if couplet.trait.has_states:
        shown = column.shares[row] > 0
        has = {s for s, is_shown in zip(couplet.trait.states, shown, strict=True) if is_shown}
        behind = bool(has & {*couplet.a.states}), bool(has & {*couplet.b.states})
    else:
        low = (ADULT_FROM * column.high if couplet.trait.kind == "ceiling" else column.low)[row]
        behind = low <= couplet.threshold, column.high[row] > couplet.threshold
    return tuple(lead for lead, here in zip((couplet.a, couplet.b), behind, strict=True) if here)


@checked
def build_key(
    table: TraitTable, prior: Prior = None, *, genera: bool = False, exact_states: int = EXACT_STATES
) -> Key:
    """Build a dichotomous key to the kinds of a table.

    Parameters
    ----------
    table : TraitTable
    prior : {"commonness", "uniform"} or mapping of taxon id to weight, default uniform
        What the expected cost is weighted by.
    genera : bool
        Make a key to genera first, then to the kinds within each, which stand together. It asks more, as
        what was asked on the way to the genus is not made use of within it; a lead ends at once where one
        kind is left, or where kinds of several genera can't be told apart.
    exact_states : int
        How many sets of kinds the exact method may visit before the lookahead takes over.

    Raises
    ------
    IdkeyError
        A prior that makes no sense; `UnknownName` for a taxon that is not in the table.
    """
    w = weights(table, "uniform" if prior is None else prior)
    keyed, builder = _keyed(table, w)
    if genera and len(set(keyed.genus)) > 1:
        return _key_to_genera(table, keyed, builder.w, exact_states)
    nodes, optimum = builder.solve(exact_states)
    steps, seconds, bits, _ = builder.cost_of(nodes)
    couplets = _couplets(keyed, builder, nodes)
    left_out = tuple(t for t in table.ids if t not in keyed.ids)
    return Key(table, couplets, left_out, steps, bits, seconds, bits * builder.cheapest, optimum)


def _key_to_genera(table: TraitTable, keyed: TraitTable, w: np.ndarray, exact_states: int) -> Key:
    # A kind of no genus is one by itself.
    genera = [genus or taxon for genus, taxon in zip(keyed.genus, keyed.ids, strict=True)]
    builder = Builder(keyed, w, genera)
    nodes = builder.by_lookahead
    steps, seconds, bits, ends = builder.cost_of(nodes)
    come: dict[str, list[int]] = {}
    for mask in ends:
        members = builder.members(mask)
        found = {genera[i] for i in members}
        if len(found) == 1 and len(members) > 1:
            come.setdefault(found.pop(), []).append(mask)
    couplets: list[Couplet] = []
    starts, places, cheapest = {}, {}, builder.cheapest
    for genus, masks in sorted(come.items()):
        entering = sum(ends[mask] for mask in masks)
        rows = np.flatnonzero(sum(builder.standing(mask) for mask in masks))
        kinds = keyed.only([keyed.ids[i] for i in rows])
        within = Builder(kinds, entering[rows])
        inner, _ = within.solve(exact_states)
        if not inner:
            continue
        starts[genus] = len(nodes) + len(couplets) + 1
        places |= dict.fromkeys(masks, (genus, starts[genus]))
        couplets += _couplets(kinds, within, inner, starts[genus])
        more_steps, more_seconds, more_bits, _ = within.cost_of(inner)
        steps += float(entering.sum() * more_steps)
        seconds += float(entering.sum() * more_seconds)
        # Several ends become one before it is told apart.
        before = sum(entropy(ends[mask][None])[0] for mask in masks)
        bits += float(before - entropy(entering[None])[0] + entering.sum() * more_bits)
        cheapest = min(cheapest, within.cheapest)
    every = (*_couplets(keyed, builder, nodes, places=places), *couplets)
    left_out = tuple(t for t in table.ids if t not in keyed.ids)
    bits = max(bits, 0.0)
    return Key(table, every, left_out, steps, bits, seconds, bits * cheapest, None, MappingProxyType(starts))


def _keyed(table: TraitTable, w: np.ndarray) -> tuple[TraitTable, Builder]:
    """Return the kinds of which enough is known for a key, and what finds its couplets."""
    usable = [table.column(t.id) for t in table.traits if t.in_key]
    known = np.mean([c.known | ~c.applies for c in usable], axis=0) if usable else np.ones(len(table))
    rows = np.arange(len(table))
    keyed, builder = table, Builder(table, w)
    while len(usable) >= _ENOUGH_TRAITS and (known[rows] < _LEAST_KNOWN).any():
        places = sum(builder.standing(side) for side in builder.ends(builder.by_lookahead))
        stays = (places <= _MOST_ENDS) | (known[rows] >= _LEAST_KNOWN)
        if stays.all():
            break
        rows = rows[stays]
        keyed = table.only([table.ids[i] for i in rows])
        builder = Builder(keyed, w[rows])
    return keyed, builder


def _couplets(
    table: TraitTable,
    builder: Builder,
    nodes: Mapping[int, int],
    start: int = 1,
    places: Mapping[int, tuple[str, int]] = MappingProxyType({}),
) -> tuple[Couplet, ...]:
    """Number the couplets as they are printed, and say where each lead goes.

    `places` are ends that go on in the part of the key to a genus, which begins at a number.
    """
    numbers: dict[int, int] = {}
    waiting = [builder.full]
    while waiting:
        mask = waiting.pop()
        if mask in numbers or mask not in nodes:
            continue
        numbers[mask] = start + len(numbers)
        waiting += builder.sides(nodes[mask], mask)[::-1]
    couplets, confirming = [], _confirming(table)
    for mask, number in numbers.items():
        split, sides = builder.splits[nodes[mask]], builder.sides(nodes[mask], mask)
        rest = tuple(s for s in split.trait.states if s not in split.states)
        seen = table.column(split.trait.id).shares > 0
        leads = []
        for states, side, other in ((split.states, *sides), (rest, *sides[::-1])):
            members = builder.members(side)
            shown = tuple(s for s in states if seen[members, split.trait.states.index(s)].any())
            genus, place = places.get(side, ("", numbers.get(side)))
            taxa = () if place is not None else tuple(table.ids[i] for i in members)
            confirms = _confirms(confirming, split.trait, side, other)
            leads.append(Lead(states, shown, place, taxa, confirms, genus))
        couplets.append(Couplet(number, split.trait, split.threshold, *leads))
    return tuple(couplets)


def _confirming(table: TraitTable) -> list[tuple[Trait, int, list[int]]]:
    """Return the traits that may confirm a lead, with the kinds known in each, and those of each state."""
    usable = sorted((t for t in table.traits if t.has_states and t.in_key), key=lambda t: (t.effort, t.id))
    columns = ((trait, table.column(trait.id)) for trait in usable)
    return [(trait, bit_mask(c.known), [bit_mask(has) for has in (c.shares > 0).T]) for trait, c in columns]


def _confirms(
    confirming: list[tuple[Trait, int, list[int]]], asked: Trait, side: int, other: int
) -> _Confirms:
    """Return up to two other traits in which all kinds of one side differ from all of the other."""
    both, found = side | other, []
    if both in (side, other):
        return ()
    for trait, known, shown in confirming:
        differs = both & known == both and not any(has & side and has & other for has in shown)
        if trait.id != asked.id and differs:
            found.append((trait, tuple(s for s, has in zip(trait.states, shown, strict=True) if has & side)))
    return tuple(found[:2])
