"""build_key: a dichotomous key of numbered couplets, and the Key that comes of it.

What is minimised is the prior-weighted mean cost of running a fish through the key, the cost of a couplet
being the seconds it takes for an answer that can be relied on. A kind that varies in the trait, or whose
state is not known, goes down both leads.

Where the table is small the optimum is exact: dynamic programming over the sets of kinds still possible
(Garey 1972, SIAM J. Appl. Math. 23:173-186). The best key to a set is the cheapest couplet plus the best
keys to the two sets it leaves, since what was asked before no longer matters once the set is known; so
each set is solved once. For a crisp table (nothing varies or is unknown) a set of total weight W can't be
keyed for less than W times the entropy of its distinguishable kinds times the cheapest couplet (Shannon's
bound), which cuts off couplets that can't win. Past that, for a crisp table, the couplet is taken that leaves
the least expected work, each remaining set being judged by its entropy over the best rate at which one more
couplet would settle it; for a table with kinds that vary or are unknown, the couplet that settles most per
second, less the share of kinds that would have to be printed behind both leads.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from idkey.errors import AnswerError, one_of
from idkey.model.answers import parse_stage
from idkey.model.prior import Prior, weights
from idkey.model.splits import Split, all_splits
from idkey.table.schema import LIFE_STAGE, Range, States, Trait, parse_answer
from idkey.table.table import TraitTable

__all__ = ["Couplet", "Key", "Lead", "build_key"]

_EXACT_STATES = 5_000
_LOOK_AT = 5
_WORTH_PRINTING = 0.9
"""Bits that a couplet must settle, summed over the kinds at hand (a kind that went down k leads counts as
the share of it that came this way). Two whole kinds parted are 2 bits, so in a crisp table nothing is left
unparted; where much is unknown it keeps the key from repeating the same few kinds on every page."""


_Confirms = tuple[tuple[Trait, tuple[str, ...]], ...]
_Set = tuple[int, np.ndarray, np.ndarray]
"""A set of kinds as a bit mask, the same as row numbers, and the weight of each kind that came this way."""


@dataclass(frozen=True, slots=True)
class Lead:
    """One half of a couplet.

    Attributes
    ----------
    states : tuple of str
        States that take this lead; empty for a threshold.
    shown : tuple of str
        Those of them that a kind behind this lead is known to show.
    goes_to : int or None
        Number of the next couplet.
    taxa : tuple of str
        Where the lead ends: the names, several where the table can't tell them apart. Empty otherwise.
    confirms : tuple of (Trait, tuple of str)
        Other traits in which every kind behind this lead differs from every kind behind the other.
    """

    states: tuple[str, ...]
    shown: tuple[str, ...]
    goes_to: int | None
    taxa: tuple[str, ...]
    confirms: tuple[tuple[Trait, tuple[str, ...]], ...] = ()


@dataclass(frozen=True, slots=True)
class Couplet:
    """A numbered question with two leads.

    Attributes
    ----------
    number : int
        From 1.
    trait : Trait
    threshold : float
        For numbers: lead a is at most this. NaN for states.
    a, b : Lead
    """

    number: int
    trait: Trait
    threshold: float
    a: Lead
    b: Lead


@dataclass(frozen=True, slots=True)
class _Node:
    split: int
    a: int
    b: int


class Key:
    """A dichotomous key; made by `build_key`.

    Attributes
    ----------
    table : TraitTable
    couplets : tuple of Couplet
        Couplet 1 is where to start; empty where nothing in the table can be told apart.
    is_exact : bool
        Whether no key over the same questions has a lower expected cost.
    """

    def __init__(
        self, table: TraitTable, couplets: tuple[Couplet, ...], steps: float, seconds: float, is_exact: bool
    ):
        self.table = table
        self.couplets = couplets
        self.is_exact = is_exact
        self._steps = steps
        self._seconds = seconds

    def expected_questions(self) -> float:
        """Mean number of couplets from the start to a name, weighted by the prior."""
        return self._steps

    def expected_seconds(self) -> float:
        """Mean effort from the start to a name, weighted by the prior; seconds."""
        return self._seconds

    def endings(self) -> tuple[tuple[str, ...], ...]:
        """Return the names at each end of the key, in the order of the leads."""
        leads = [lead for couplet in self.couplets for lead in (couplet.a, couplet.b)]
        return tuple(lead.taxa for lead in leads if lead.taxa)

    def classify(self, answers: Mapping[str, Any]) -> tuple[str, ...]:
        """Run a fish through the key; a couplet that is not answered is followed down both leads.

        Parameters
        ----------
        answers : mapping of str to object
            As for `Identification.answer`.

        Returns
        -------
        tuple of str
            Names still possible, in the order of the table.

        Raises
        ------
        AnswerError
        """
        parsed = {}
        for trait_id, value in answers.items():
            if trait_id == LIFE_STAGE and LIFE_STAGE not in self.table.trait_ids:
                parsed[LIFE_STAGE] = parse_stage(value)
                continue
            if trait_id not in self.table.trait_ids:
                known = one_of(trait_id, self.table.trait_ids, "a trait id")
                msg = f"{trait_id!r} is no trait of this table: {known}"
                raise AnswerError(msg)
            parsed[trait_id] = parse_answer(self.table.trait(trait_id), value)
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
        return tuple(t for t in self.table.ids if t in names)

    def text(self) -> str:
        """Return the key as plain text, couplets numbered, two leads each."""
        from idkey.views.text import key_text

        return key_text(self)

    def html(self) -> str:
        """Return the key as a self-contained piece of HTML."""
        from idkey.views.html import key_html

        return key_html(self)

    def __repr__(self) -> str:
        how = "least possible" if self.is_exact else "by lookahead"
        return (
            f"Key: {len(self.table)} taxa, {len(self.couplets)} couplets, "
            f"{self._steps:.2f} questions expected ({how})"
        )

    def _repr_html_(self) -> str:
        return self.html()


def _ways(couplet: Couplet, said: Mapping[str, Any]) -> Iterator[tuple[Lead, Mapping[str, Any]]]:
    """Yield the leads that a fish may take, each with the part of an unsure answer that is left there."""
    trait, answer = couplet.trait, said.get(couplet.trait.id)
    if isinstance(answer, States):
        for lead in (couplet.a, couplet.b):
            names = tuple(name for name in answer.names if name in lead.states)
            if names:
                yield lead, {**said, trait.id: States(names, (1.0 / len(names),) * len(names))}
    elif answer is None or (trait.kind == "ceiling" and _may_grow(answer, couplet.threshold, said)):
        yield couplet.a, said
        yield couplet.b, said
    else:
        if answer.low <= couplet.threshold:
            yield couplet.a, {**said, trait.id: Range(answer.low, min(answer.high, couplet.threshold))}
        if answer.high > couplet.threshold:
            above = math.nextafter(couplet.threshold, math.inf)
            yield couplet.b, {**said, trait.id: Range(max(answer.low, above), answer.high)}


def _may_grow(answer: Range, threshold: float, said: Mapping[str, Any]) -> bool:
    """Whether a fish may still outgrow a length: a short one may, unless it is known to be adult."""
    return answer.low <= threshold and said.get(LIFE_STAGE) != "adult"


def build_key(table: TraitTable, prior: Prior = None, *, exact_states: int = _EXACT_STATES) -> Key:
    """Build a dichotomous key to the kinds of a table.

    Parameters
    ----------
    table : TraitTable
    prior : {"commonness", "uniform"} or mapping of taxon id to weight, default uniform
        What the expected cost is weighted by.
    exact_states : int
        How many sets of kinds the exact method may visit before the lookahead takes over.

    Returns
    -------
    Key

    Raises
    ------
    IdkeyError
        A prior that makes no sense.
    """
    w = weights(table, "uniform" if prior is None else prior)
    builder = _Builder(all_splits(table, w), w)
    nodes, is_exact = builder.solve(exact_states)
    return _finish(table, builder, nodes, is_exact)


class _TooManyStates(Exception):  # noqa: N818 - a signal, not an error
    pass


class _Builder:
    """Finds the couplets. Sets of kinds are bit masks; weights ride along for kinds that vary."""

    def __init__(self, splits: list[Split], w: np.ndarray):
        self.splits = splits
        self.n = len(w)
        self.w = np.where(w > 0, w, 1e-12)
        s = len(splits)
        self.share = np.array([x.share for x in splits]).reshape(s, self.n)
        self.into_a = (np.array([x.both | (x.share > 0) for x in splits]).reshape(s, self.n)).astype(bool)
        self.into_b = (np.array([x.both | (x.share < 1) for x in splits]).reshape(s, self.n)).astype(bool)
        self.applies = np.array([x.applies for x in splits], dtype=bool).reshape(s, self.n)
        self.cost = np.array([x.cost for x in splits])
        self.crisp = not bool((self.into_a & self.into_b).any())
        self.full = (1 << self.n) - 1
        self.masks = [
            (_mask(a), _mask(b), _mask(fits))
            for a, b, fits in zip(self.into_a, self.into_b, self.applies, strict=True)
        ]

    # -- both methods ---------------------------------------------------------------------------

    def members(self, mask: int) -> np.ndarray:
        bits = np.frombuffer(mask.to_bytes((self.n + 7) // 8, "little"), dtype=np.uint8)
        return np.flatnonzero(np.unpackbits(bits, bitorder="little")[: self.n])

    def useful(self, mask: int) -> np.ndarray:
        """Return the splits that apply to all of a set and leave fewer kinds on either side."""
        found = [
            i
            for i, (a, b, fits) in enumerate(self.masks)
            if mask & fits == mask and mask & a != mask and mask & b != mask
        ]
        return np.array(found, dtype=np.intp)

    def rates(self, taxa: np.ndarray, w: np.ndarray, useful: np.ndarray) -> np.ndarray:
        """Return the expected drop in entropy per second of each useful split."""
        share = self.share[np.ix_(useful, taxa)]
        a, b = share * w, (1 - share) * w
        after = _entropy(a) + _entropy(b)
        before = _entropy(w[None])[0]
        return np.maximum(before - after, 0.0) / (self.cost[useful] * w.sum())

    def sides(self, split: int, mask: int) -> tuple[int, int]:
        """Sets behind lead a and lead b."""
        a, b, _ = self.masks[split]
        return mask & a, mask & b

    def child(self, split: int, lead: int, taxa: np.ndarray, w: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Kinds behind one lead (0 or 1) and their weights."""
        into, share = self.into_b[split, taxa], 1 - self.share[split, taxa]
        if lead == 0:
            into, share = self.into_a[split, taxa], self.share[split, taxa]
        return taxa[into], (share * w)[into]

    def children(self, split: int, mask: int, taxa: np.ndarray, w: np.ndarray) -> list[_Set]:
        """Sets, kinds and weights behind lead a and lead b."""
        return [
            (side, *self.child(split, lead, taxa, w)) for lead, side in enumerate(self.sides(split, mask))
        ]

    def solve(self, exact_states: int) -> tuple[dict[int, _Node], bool]:
        """Return the couplet chosen for each set of kinds that the key meets, and whether it is optimal."""
        try:
            return _Exact(self, exact_states).solve(), True
        except _TooManyStates:
            return self._look_ahead(), False

    # -- lookahead ------------------------------------------------------------------------------

    def _look_ahead(self) -> dict[int, _Node]:
        nodes: dict[int, _Node] = {}
        waiting = [(self.full, np.arange(self.n), self.w)]
        while waiting:
            mask, taxa, w = waiting.pop()
            if mask in nodes:
                continue
            split = self._best_by_lookahead(mask, taxa, w)
            if split is None:
                continue
            nodes[mask] = _Node(split, *self.sides(split, mask))
            waiting += self.children(split, mask, taxa, w)[::-1]
        return nodes

    def _best_by_lookahead(self, mask: int, taxa: np.ndarray, w: np.ndarray) -> int | None:
        useful = self.useful(mask)
        if not len(useful):
            return None
        left = w / self.w[taxa]
        settled = self.rates(taxa, left, useful) * self.cost[useful] * left.sum()
        useful = useful[settled >= _WORTH_PRINTING]
        if not len(useful):
            return None
        rates = self._short_rates(taxa, w, useful)
        first = useful[np.argsort(-rates, kind="stable")[:_LOOK_AT]]
        if not self.crisp:
            # The work left does not see that a kind behind both leads is printed twice; the rate does.
            return int(first[0])
        totals = [
            self.cost[s] * w.sum()
            + sum(self._work_left(*child) for child in self.children(int(s), mask, taxa, w))
            for s in first
        ]
        return int(first[int(np.argmin(totals))])

    def _short_rates(self, taxa: np.ndarray, w: np.ndarray, useful: np.ndarray) -> np.ndarray:
        """Rates, less the share of kinds that a split sends down both leads: they make the key long."""
        both = (self.into_a & self.into_b)[np.ix_(useful, taxa)]
        left = w / self.w[taxa]
        return self.rates(taxa, w, useful) * (1 - (both * left).sum(axis=1) / left.sum())

    def _work_left(self, mask: int, taxa: np.ndarray, w: np.ndarray) -> float:
        useful = self.useful(mask)
        if not len(useful):
            return 0.0
        rate = float(self._short_rates(taxa, w, useful).max())
        entropy = float(_entropy(w[None])[0])
        return entropy / rate if rate > 1e-9 else entropy * float(self.cost.max())


def _entropy(w: np.ndarray) -> np.ndarray:
    """Entropy in bits of unnormalised weights times their sum; shape (n, m) -> (n,)."""
    total = w.sum(axis=1)
    inner = (w * np.log2(np.where(w > 0, w, 1.0))).sum(axis=1)
    return total * np.log2(np.where(total > 0, total, 1.0)) - inner


def _mask(flags: np.ndarray) -> int:
    """Return the bit mask of a set of kinds, kind 0 in the lowest bit."""
    return int.from_bytes(np.packbits(flags, bitorder="little").tobytes(), "little")


class _Exact:
    """Dynamic programming with branch and bound over sets of kinds; see the module docstring."""

    def __init__(self, builder: _Builder, most: int):
        self.builder = builder
        self.most = most
        self.solved: dict[tuple[int, bytes], tuple[float, int | None]] = {}
        self.cheapest = float(builder.cost.min()) if len(builder.cost) else 0.0
        self.alike = self._alike() if builder.crisp else None

    def _alike(self) -> np.ndarray:
        """Number the classes of kinds that no split parts."""
        rows = (
            self.builder.into_a.T if len(self.builder.splits) else np.zeros((self.builder.n, 0), dtype=bool)
        )
        applies = self.builder.applies.T if len(self.builder.splits) else rows
        _, classes = np.unique(np.hstack([rows, applies]), axis=0, return_inverse=True)
        return classes.ravel()

    def solve(self) -> dict[int, _Node]:
        builder = self.builder
        waiting = [(builder.full, np.arange(builder.n), builder.w)]
        self._best(*waiting[0])
        nodes: dict[int, _Node] = {}
        while waiting:
            mask, taxa, w = waiting.pop()
            split = self.solved[self._key(mask, w)][1]
            if split is None or mask in nodes:
                continue
            nodes[mask] = _Node(split, *builder.sides(split, mask))
            waiting += builder.children(split, mask, taxa, w)[::-1]
        return nodes

    def _key(self, mask: int, w: np.ndarray) -> tuple[int, bytes]:
        # In a crisp table the weights follow from the set; else they are part of what is solved.
        return mask, b"" if self.builder.crisp else np.round(w / w.sum(), 9).tobytes()

    def _bounds(self, taxa: np.ndarray, w: np.ndarray, useful: np.ndarray) -> np.ndarray:
        """Least that the sets behind lead a and lead b can cost, shape (n_useful, 2)."""
        if self.alike is None:
            return np.zeros((len(useful), 2))
        _, first, member = np.unique(self.alike[taxa], return_index=True, return_inverse=True)
        grouped = np.bincount(member, weights=w)
        in_a = self.builder.into_a[np.ix_(useful, taxa[first])]
        entropy = np.stack([_entropy(grouped * in_a), _entropy(grouped * ~in_a)], axis=1)
        return self.cheapest * entropy - 1e-12

    def _best(self, mask: int, taxa: np.ndarray, w: np.ndarray) -> float:
        """Least cost of keying a set, times its weight."""
        builder = self.builder
        key = self._key(mask, w)
        scale = 1.0 if builder.crisp else w.sum()
        if key in self.solved:
            return self.solved[key][0] * scale
        if len(self.solved) >= self.most:
            raise _TooManyStates
        useful = builder.useful(mask)
        if not len(useful):
            self.solved[key] = (0.0, None)
            return 0.0
        bounds = self._bounds(taxa, w, useful)
        total = w.sum()
        best, choice = np.inf, None
        for i in np.argsort(-builder.rates(taxa, w, useful), kind="stable"):
            split = int(useful[i])
            cost = builder.cost[split] * total
            if cost + (bounds[i, 0] + bounds[i, 1]) >= best:
                continue
            for lead, side in enumerate(builder.sides(split, mask)):
                if lead == 1 and cost + bounds[i, 1] >= best:
                    break
                if builder.crisp and (side, b"") in self.solved:
                    cost += self.solved[side, b""][0]
                else:
                    cost += self._best(side, *builder.child(split, lead, taxa, w))
            else:
                if cost < best - 1e-12:
                    best, choice = cost, split
        self.solved[key] = (best / scale, choice)
        return best


def _finish(table: TraitTable, builder: _Builder, nodes: dict[int, _Node], is_exact: bool) -> Key:
    """Number the couplets as they are printed and weigh the paths."""
    numbers: dict[int, int] = {}
    waiting = [builder.full]
    while waiting:
        mask = waiting.pop()
        if mask in numbers or mask not in nodes:
            continue
        numbers[mask] = len(numbers) + 1
        waiting += [nodes[mask].b, nodes[mask].a]
    couplets, confirming = [], _Confirming(table)
    for mask, number in numbers.items():
        node = nodes[mask]
        split = builder.splits[node.split]
        sides = (builder.members(node.a), builder.members(node.b))
        confirms = confirming.of(split.trait, node.a, node.b)
        rest = tuple(s for s in split.trait.states if s not in split.states)
        leads = [
            Lead(
                states=states,
                shown=_shown(table, split.trait, states, side),
                goes_to=numbers.get(child),
                taxa=() if child in numbers else tuple(table.ids[i] for i in side),
                confirms=confirm,
            )
            for states, child, side, confirm in zip(
                (split.states, rest), (node.a, node.b), sides, confirms, strict=True
            )
        ]
        couplets.append(Couplet(number, split.trait, split.threshold, leads[0], leads[1]))
    steps, seconds = _expected(builder, nodes)
    return Key(table, tuple(couplets), steps, seconds, is_exact)


def _shown(table: TraitTable, trait: Trait, states: tuple[str, ...], side: np.ndarray) -> tuple[str, ...]:
    seen = table.column(trait.id).shares[side].sum(axis=0) > 0
    return tuple(s for s in states if seen[trait.index(s)])


def _expected(builder: _Builder, nodes: dict[int, _Node]) -> tuple[float, float]:
    """Mean number of couplets and mean cost: the weight that enters each couplet, summed."""
    flow = {builder.full: builder.w / builder.w.sum()}
    steps = seconds = 0.0
    # A couplet's kinds are fewer than those of any couplet before it, so larger sets come first.
    for mask in sorted(nodes, key=lambda m: (-m.bit_count(), m)):
        entering = flow.get(mask)
        if entering is None:
            continue
        node = nodes[mask]
        steps += entering.sum()
        seconds += entering.sum() * builder.cost[node.split]
        share = builder.share[node.split]
        for child, part in ((node.a, share), (node.b, 1 - share)):
            flow[child] = flow.get(child, 0.0) + entering * part
    return float(steps), float(seconds)


class _Confirming:
    """Finds the traits that confirm a lead.

    Parameters
    ----------
    table : TraitTable
    """

    def __init__(self, table: TraitTable):
        usable = (t for t in table.traits if t.has_states and t.in_key)
        self._traits = []
        for trait in sorted(usable, key=lambda t: (t.effort, t.id)):
            column = table.column(trait.id)
            shown = [_mask(has_state) for has_state in (column.shares > 0).T]
            self._traits.append((trait, _mask(column.known), shown))

    def of(self, asked: Trait, a: int, b: int) -> tuple[_Confirms, _Confirms]:
        """Return up to two other traits in which all kinds of one side differ from all of the other."""
        if a | b in (a, b):
            return (), ()
        found_a, found_b = [], []
        for trait, known, shown in self._traits:
            if trait.id == asked.id or (a | b) & known != a | b or any(has & a and has & b for has in shown):
                continue
            found_a.append((trait, tuple(s for s, has in zip(trait.states, shown, strict=True) if has & a)))
            found_b.append((trait, tuple(s for s, has in zip(trait.states, shown, strict=True) if has & b)))
            if len(found_a) == 2:
                break
        return tuple(found_a), tuple(found_b)
