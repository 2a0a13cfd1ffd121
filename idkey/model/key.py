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

from collections.abc import Mapping
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
        seen: set[int] = set()
        waiting = [1]
        while waiting:
            number = waiting.pop()
            if number in seen:
                continue
            seen.add(number)
            couplet = self.couplets[number - 1]
            for lead, taken in zip((couplet.a, couplet.b), _taken(couplet, parsed), strict=True):
                if not taken:
                    continue
                names.update(lead.taxa)
                if lead.goes_to is not None:
                    waiting.append(lead.goes_to)
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


def _taken(couplet: Couplet, answers: Mapping[str, Any]) -> tuple[bool, bool]:
    answer = answers.get(couplet.trait.id)
    if answer is None:
        return True, True
    if isinstance(answer, States):
        inside = [name in couplet.a.states for name in answer.names]
        return any(inside), not all(inside)
    assert isinstance(answer, Range)
    short = answer.low <= couplet.threshold
    long = answer.high > couplet.threshold
    if couplet.trait.kind == "ceiling" and short and answers.get(LIFE_STAGE) != "adult":
        # A short fish may still grow, unless it is known to be adult.
        return True, True
    return short, long


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

    # -- both methods ---------------------------------------------------------------------------

    def members(self, mask: int) -> np.ndarray:
        bits = np.frombuffer(mask.to_bytes((self.n + 7) // 8, "little"), dtype=np.uint8)
        return np.flatnonzero(np.unpackbits(bits, bitorder="little")[: self.n])

    @staticmethod
    def mask_of(taxa: np.ndarray) -> int:
        mask = 0
        for t in taxa:
            mask |= 1 << int(t)
        return mask

    def useful(self, taxa: np.ndarray) -> np.ndarray:
        """Return the splits that apply to all of a set and leave fewer kinds on either side."""
        if not len(self.splits):
            return np.zeros(0, dtype=np.intp)
        fits = self.applies[:, taxa].all(axis=1)
        fewer = ~self.into_a[:, taxa].all(axis=1) & ~self.into_b[:, taxa].all(axis=1)
        return np.flatnonzero(fits & fewer)

    def rates(self, taxa: np.ndarray, w: np.ndarray, useful: np.ndarray) -> np.ndarray:
        """Return the expected drop in entropy per second of each useful split."""
        share = self.share[np.ix_(useful, taxa)]
        a, b = share * w, (1 - share) * w
        after = _entropy(a) + _entropy(b)
        before = _entropy(w[None])[0]
        return np.maximum(before - after, 0.0) / (self.cost[useful] * w.sum())

    def children(self, split: int, taxa: np.ndarray, w: np.ndarray) -> list[tuple[np.ndarray, np.ndarray]]:
        """Kinds and weights behind lead a and lead b."""
        share = self.share[split, taxa]
        a, b = self.into_a[split, taxa], self.into_b[split, taxa]
        return [(taxa[a], (share * w)[a]), (taxa[b], ((1 - share) * w)[b])]

    def solve(self, exact_states: int) -> tuple[dict[int, _Node], bool]:
        """Return the couplet chosen for each set of kinds that the key meets, and whether it is optimal."""
        try:
            return _Exact(self, exact_states).solve(), True
        except _TooManyStates:
            return self._look_ahead(), False

    # -- lookahead ------------------------------------------------------------------------------

    def _look_ahead(self) -> dict[int, _Node]:
        nodes: dict[int, _Node] = {}
        waiting = [(np.arange(self.n), self.w)]
        while waiting:
            taxa, w = waiting.pop()
            mask = self.mask_of(taxa)
            if mask in nodes:
                continue
            split = self._best_by_lookahead(taxa, w)
            if split is None:
                continue
            children = self.children(split, taxa, w)
            nodes[mask] = _Node(split, self.mask_of(children[0][0]), self.mask_of(children[1][0]))
            waiting += children[::-1]
        return nodes

    def _best_by_lookahead(self, taxa: np.ndarray, w: np.ndarray) -> int | None:
        useful = self.useful(taxa)
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
            self.cost[s] * w.sum() + sum(self._work_left(*child) for child in self.children(int(s), taxa, w))
            for s in first
        ]
        return int(first[int(np.argmin(totals))])

    def _short_rates(self, taxa: np.ndarray, w: np.ndarray, useful: np.ndarray) -> np.ndarray:
        """Rates, less the share of kinds that a split sends down both leads: they make the key long."""
        both = (self.into_a & self.into_b)[np.ix_(useful, taxa)]
        left = w / self.w[taxa]
        return self.rates(taxa, w, useful) * (1 - (both * left).sum(axis=1) / left.sum())

    def _work_left(self, taxa: np.ndarray, w: np.ndarray) -> float:
        if len(taxa) < 2:
            return 0.0
        useful = self.useful(taxa)
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
        taxa = np.arange(builder.n)
        self._best(taxa, builder.w)
        nodes: dict[int, _Node] = {}
        waiting = [(taxa, builder.w)]
        while waiting:
            taxa, w = waiting.pop()
            split = self.solved[self._key(taxa, w)][1]
            mask = builder.mask_of(taxa)
            if split is None or mask in nodes:
                continue
            children = builder.children(split, taxa, w)
            nodes[mask] = _Node(split, builder.mask_of(children[0][0]), builder.mask_of(children[1][0]))
            waiting += children[::-1]
        return nodes

    def _key(self, taxa: np.ndarray, w: np.ndarray) -> tuple[int, bytes]:
        mask = self.builder.mask_of(taxa)
        # In a crisp table the weights follow from the set; else they are part of what is solved.
        return mask, b"" if self.builder.crisp else np.round(w / w.sum(), 9).tobytes()

    def _bound(self, taxa: np.ndarray, w: np.ndarray) -> float:
        if self.alike is None:
            return 0.0
        grouped = np.bincount(self.alike[taxa], weights=w)
        return self.cheapest * float(_entropy(grouped[None])[0]) - 1e-12

    def _best(self, taxa: np.ndarray, w: np.ndarray) -> float:
        """Least cost of keying a set, times its weight."""
        key = self._key(taxa, w)
        scale = 1.0 if self.builder.crisp else w.sum()
        if key in self.solved:
            return self.solved[key][0] * scale
        if len(self.solved) >= self.most:
            raise _TooManyStates
        useful = self.builder.useful(taxa) if len(taxa) > 1 else np.zeros(0, dtype=np.intp)
        if not len(useful):
            self.solved[key] = (0.0, None)
            return 0.0
        rates = self.builder.rates(taxa, w, useful)
        best, choice = np.inf, None
        for split in useful[np.argsort(-rates, kind="stable")]:
            here = self.builder.cost[split] * w.sum()
            children = self.builder.children(int(split), taxa, w)
            bounds = [self._bound(*child) for child in children]
            if here + sum(bounds) >= best:
                continue
            cost = here + self._best(*children[0])
            if cost + bounds[1] >= best:
                continue
            cost += self._best(*children[1])
            if cost < best - 1e-12:
                best, choice = cost, int(split)
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
    couplets = []
    for mask, number in numbers.items():
        node = nodes[mask]
        split = builder.splits[node.split]
        sides = (builder.members(node.a), builder.members(node.b))
        confirms = _confirming(table, split.trait, *sides)
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


def _confirming(
    table: TraitTable, asked: Trait, a: np.ndarray, b: np.ndarray
) -> tuple[tuple[tuple[Trait, tuple[str, ...]], ...], ...]:
    """Up to two other traits in which all kinds of one side differ from all of the other."""
    found_a, found_b = [], []
    only_a, only_b = np.setdiff1d(a, b), np.setdiff1d(b, a)
    usable = (t for t in table.traits if t.has_states and t.in_key and t.id != asked.id)
    for trait in sorted(usable, key=lambda t: (t.effort, t.id)):
        column = table.column(trait.id)
        everyone = np.union1d(a, b)
        if not column.known[everyone].all():
            continue
        in_a, in_b = column.shares[a].sum(axis=0) > 0, column.shares[b].sum(axis=0) > 0
        if len(only_a) and len(only_b) and not np.any(in_a & in_b):
            found_a.append((trait, tuple(s for s, x in zip(trait.states, in_a, strict=True) if x)))
            found_b.append((trait, tuple(s for s, x in zip(trait.states, in_b, strict=True) if x)))
    return tuple(found_a[:2]), tuple(found_b[:2])
