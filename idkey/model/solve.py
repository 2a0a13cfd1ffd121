"""Which two-way question for which set of kinds: an exact method for small tables, a lookahead for the rest.

What is minimised is the prior-weighted mean cost of running a fish through the key, the cost of a couplet
being the seconds it takes for an answer that can be relied on. A kind that varies in the trait, or whose
state is not known, goes down both leads.

Where the table is small the optimum is exact: dynamic programming over the sets of kinds still possible
(Garey 1972, SIAM J. Appl. Math. 23:173-186). The best key to a set is the cheapest couplet plus the best
keys to the two sets it leaves, since what was asked before no longer matters once the set is known; so
each set is solved once. For a crisp table (nothing varies or is unknown) a set of total weight W can't be
keyed for less than W times the entropy of its distinguishable kinds times the cheapest couplet (Shannon's
bound), which cuts off couplets that can't win; and once a set costs no more than its kinds would by Huffman's
code, no better key to it is looked for. Past that, for a crisp table, the couplet is taken that leaves
the least expected work, each remaining set being judged by its entropy over the best rate at which one more
couplet would settle it. For a table with kinds that vary or are unknown it is the couplet that takes most
off the names that are left, in bits (log2 of their number, as the fish that comes this way will find it) per
second. What an answer tells is lessened by what errors take away, ``1 - H(error / 2)`` with H the entropy of
a two-way answer (Shannon 1948: an error says nothing, so half of the errors take the wrong lead), so a trait
that fades or is a matter of opinion comes after one that is plain; by half where it can't be had of young
fish; and by the square of the share of names that stand behind one lead alone, as those that vary or are
blank are printed twice and told from nothing. In a key to groups of kinds (genera) the names are those of the
groups; where no couplet takes off any and several are left, those of the kinds; one group is an end.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from heapq import heapify, heappop, heapreplace

import numpy as np

from idkey.model.evidence import ADULT_FROM
from idkey.table.schema import Trait
from idkey.table.table import Column, TraitTable

EXACT_STATES = 5_000
MOST_THRESHOLDS = 12
"""Thresholds tried for one measured trait; more are thinned out evenly."""
_LEAST_SHARE = 0.01
_LOOK_AT = 5
_SHORT = 12
"""Kinds up to which a key to kinds that vary or are unknown is short: the exact method is tried, with a tenth
of the sets as it has no bounds there, and couplets are printed as long as any tells something."""
_WORTH_PRINTING = 0.5
"""Bits of names that a couplet of a longer key must take off in a table that is not crisp, summed over the
kinds at hand (a kind that went down k leads counts as the share of it that came this way). Two whole kinds
parted are 2 bits; where much is unknown this keeps the key from repeating the same few kinds on every page.
Of the shipped table 0.3 makes a key of 129 ends, 0.5 one of 112 and 0.9 one of 91, with over three names at
5, 12 and 23 % of them."""
_YOUNG = 0.5
"""What an answer counts that only an adult fish can give; most fish in a bag are young (judgement)."""


_Set = tuple[int, np.ndarray, np.ndarray]
"""A set of kinds as a bit mask, the same as row numbers, and the weight of each kind that came this way."""


class _TooManyStates(Exception):  # noqa: N818 - a signal, not an error
    pass


# -- the questions --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Split:
    """One way to part the kinds in two; the arrays are of shape (n_taxa,).

    Lead a has these `states` (lead b the rest), or is at most the `threshold`, NaN for states. A `share` of
    each taxon goes down it, 1 or 0, or between where the kind varies or is unknown; `both` marks those that
    go down both. Where the trait does not exist (not `applies`) the question makes no sense. The `cost` is
    the seconds of effort for one answer that can be relied on.
    """

    trait: Trait
    states: tuple[str, ...]
    threshold: float
    share: np.ndarray
    both: np.ndarray
    applies: np.ndarray
    cost: float


def _all_splits(table: TraitTable, weights: np.ndarray) -> list[Split]:
    """Every split of the table that parts at least one taxon from another.

    A kind whose state is not known goes down both leads in the shares of the kinds that are known, weighted.
    """
    found = []
    for trait in table.traits:
        if not trait.in_key:
            continue
        column = table.column(trait.id)
        known = column.known
        expected = weights[known].sum() > 0
        for states, threshold, share in _shares(trait, column):
            if (share[known] == 1).any() and (share[known] == 0).any():
                mean = float(np.average(share[known], weights=weights[known])) if expected else 0.5
                both = ~known | ((share > 0) & (share < 1))
                cost = trait.effort / (1 - trait.error)
                filled = np.where(known, share, mean)
                found.append(Split(trait, states, threshold, filled, both, column.applies, cost))
    return found


def _shares(trait: Trait, column: Column) -> list[tuple[tuple[str, ...], float, np.ndarray]]:
    if trait.kind == "nominal":
        k = len(trait.states)
        # With two states the second split is the first one upside down.
        return [((trait.states[i],), np.nan, column.shares[:, i]) for i in range(k if k > 2 else k - 1)]
    if trait.kind == "ordinal":
        upto = np.cumsum(column.shares, axis=1)
        upto[upto > 1 - 1e-12] = 1.0
        return [(trait.states[: i + 1], np.nan, upto[:, i]) for i in range(len(trait.states) - 1)]
    low, high = column.low, column.high
    if trait.kind == "ceiling":
        low = ADULT_FROM * high
    cuts = _thresholds(low[column.known], high[column.known])
    return [((), cut, _share_below(low, high, cut)) for cut in cuts]


def _share_below(low: np.ndarray, high: np.ndarray, cut: float) -> np.ndarray:
    """Share of the fish of each kind that are at most the cut, 0 where nothing is known, shape (n_taxa,)."""
    width = np.where(high > low, high - low, 1.0)
    # A range that begins at the cut has fish on both sides of it.
    crossing = np.maximum((np.clip(cut, low, high) - low) / width, _LEAST_SHARE)
    share = np.where(high <= cut, 1.0, np.where(low > cut, 0.0, crossing))
    return np.nan_to_num(share)


def _thresholds(low: np.ndarray, high: np.ndarray) -> list[float]:
    """Cuts in the gaps between an upper end and the next lower end."""
    cuts = set()
    lows = np.unique(low)
    for top in np.unique(high):
        above = lows[lows > top]
        if len(above):
            cuts.add(_plain(float(top), float(above[0])))
    ordered = sorted(cuts)
    if len(ordered) > MOST_THRESHOLDS:
        at = np.linspace(0, len(ordered) - 1, MOST_THRESHOLDS).round().astype(int)
        ordered = [ordered[i] for i in at]
    return ordered


def _plain(low: float, high: float) -> float:
    """Return the roundest number that is at least `low` and less than `high`."""
    middle = (low + high) / 2
    for digits in range(-3, 6):
        cut = round(middle, digits)
        if low <= cut < high:
            return cut
    return low


# -- which is asked where -------------------------------------------------------------------------------


class Builder:
    """Finds the couplets for the kinds of a table.

    Sets of kinds are bit masks; weights ride along for kinds that vary.
    """

    def __init__(self, table: TraitTable, weights: np.ndarray, groups: Sequence[str] = ()):
        names = dict.fromkeys(groups)
        # Of a key to groups of kinds, which kind is of which, (n_taxa, n_groups).
        self._of_group = np.array([[g == name for name in names] for g in groups], dtype=int)
        self.splits = _all_splits(table, weights)
        self.n = len(weights)
        self.w = np.where(weights > 0, weights, 1e-12)
        shape = len(self.splits), self.n
        self.share = np.array([x.share for x in self.splits]).reshape(shape)
        both = np.array([x.both for x in self.splits], dtype=bool).reshape(shape)
        applies = np.array([x.applies for x in self.splits], dtype=bool).reshape(shape)
        self.into_a, self.into_b = both | (self.share > 0), both | (self.share < 1)
        self.cost = np.array([x.cost for x in self.splits])
        self.cheapest = float(self.cost.min(initial=np.inf)) if self.splits else 0.0
        self._told = np.array([_told(x.trait) for x in self.splits])
        self.crisp = not bool((self.into_a & self.into_b).any())
        self.full = (1 << self.n) - 1
        self._masks = [
            tuple(map(bit_mask, row)) for row in zip(self.into_a, self.into_b, applies, strict=True)
        ]
        self._solved: dict[tuple[int, bytes], tuple[float, int | None]] = {}
        # Kinds that no split parts can't end apart, (n, n_classes).
        rows = np.unique(self.into_a.T, axis=0, return_inverse=True)[1].ravel()
        self._ends = np.eye(rows.max(initial=-1) + 1)[rows] if self.crisp else None

    def members(self, mask: int) -> np.ndarray:
        """Return the row numbers of a set."""
        return np.flatnonzero(self.standing(mask))

    def standing(self, mask: int) -> np.ndarray:
        """Return 1 for each kind of a set, else 0; shape (n_taxa,)."""
        bits = np.frombuffer(mask.to_bytes((self.n + 7) // 8, "little"), dtype=np.uint8)
        return np.unpackbits(bits, bitorder="little")[: self.n].astype(int)

    def sides(self, split: int, mask: int) -> tuple[int, int]:
        """Sets behind lead a and lead b."""
        a, b, _ = self._masks[split]
        return mask & a, mask & b

    def solve(self, exact_states: int) -> tuple[dict[int, int], float | None]:
        """Return the split chosen for each set of kinds that the key meets, and the least cost if known.

        A set that is met twice has one couplet. Where kinds vary, the two may arrive in other proportions and
        each want a couplet of its own; then the key costs more than the least.
        """
        most = exact_states if self.crisp else exact_states // 10 if self.n <= _SHORT else 0
        try:
            least = self._least(*self._everything, most=most) / self.w.sum()
        except _TooManyStates:
            return self.by_lookahead, None
        return self._nodes(lambda mask, _, w: self._solved[self._key(mask, w)][1]), float(least)

    @cached_property
    def by_lookahead(self) -> dict[int, int]:
        """The split chosen for each set of kinds that the key meets, looking one couplet ahead."""
        if len(self._of_group):
            return self._nodes(self._best_to_groups)
        return self._nodes(self._best_by_lookahead if self.crisp else self._best_where_kinds_vary)

    def ends(self, nodes: dict[int, int]) -> list[int]:
        """Return the sets of kinds at the ends."""
        return [
            side for mask, split in nodes.items() for side in self.sides(split, mask) if side not in nodes
        ]

    def cost_of(self, nodes: dict[int, int]) -> tuple[float, float, float, dict[int, np.ndarray]]:
        """Mean couplets and seconds, as the weight that enters each couplet, summed; the bits settled.

        The last are the weights that come to each end.
        """
        flow = {self.full: self.w / self.w.sum()}
        steps = seconds = 0.0
        bits = entropy(flow[self.full][None])[0]
        # A couplet's kinds are fewer than those of any couplet before it, so larger sets come first.
        for mask in sorted(nodes, key=lambda m: (-m.bit_count(), m)):
            entering = flow.pop(mask, None)
            if entering is None:
                continue
            split = nodes[mask]
            steps += entering.sum()
            seconds += entering.sum() * self.cost[split]
            for child, part in zip(
                self.sides(split, mask), (self.share[split], 1 - self.share[split]), strict=True
            ):
                flow[child] = flow.get(child, 0.0) + entering * part
        bits -= sum(entropy(end[None])[0] for end in flow.values())
        return float(steps), float(seconds), max(float(bits), 0.0), flow

    @property
    def _everything(self) -> _Set:
        return self.full, np.arange(self.n), self.w

    def _nodes(self, choose: Callable[[int, np.ndarray, np.ndarray], int | None]) -> dict[int, int]:
        """Return the split chosen for each set, from all kinds down."""
        nodes: dict[int, int] = {}
        waiting = [self._everything]
        while waiting:
            mask, taxa, w = waiting.pop()
            split = None if mask in nodes else choose(mask, taxa, w)
            if split is not None:
                nodes[mask] = split
                waiting += self._children(split, mask, taxa, w)[::-1]
        return nodes

    def _children(self, split: int, mask: int, taxa: np.ndarray, w: np.ndarray) -> list[_Set]:
        """Return the sets behind lead a and lead b."""
        share, children = self.share[split, taxa], []
        leads = ((self.into_a, share), (self.into_b, 1 - share))
        for side, (into, part) in zip(self.sides(split, mask), leads, strict=True):
            here = into[split, taxa]
            children.append((side, taxa[here], (part * w)[here]))
        return children

    def _useful(self, mask: int) -> np.ndarray:
        """Return the splits that apply to all of a set and leave fewer kinds on either side."""
        parts = [mask & fits == mask and mask & a != mask and mask & b != mask for a, b, fits in self._masks]
        return np.flatnonzero(parts)

    def _rates(self, taxa: np.ndarray, w: np.ndarray, useful: np.ndarray) -> np.ndarray:
        """Return the expected drop in entropy per second of each useful split."""
        share = self.share[np.ix_(useful, taxa)]
        drop = np.maximum(entropy(w[None]) - entropy(share * w) - entropy((1 - share) * w), 0.0)
        return drop / (self.cost[useful] * w.sum())

    # -- lookahead ------------------------------------------------------------------------------

    def _best_by_lookahead(self, mask: int, taxa: np.ndarray, w: np.ndarray) -> int | None:
        useful = self._useful(mask)
        if not len(useful):
            return None
        first = useful[np.argsort(-self._rates(taxa, w, useful), kind="stable")[:_LOOK_AT]]
        totals = [
            self.cost[s] * w.sum()
            + sum(self._work_left(*child) for child in self._children(int(s), mask, taxa, w))
            for s in first
        ]
        return int(first[int(np.argmin(totals))])

    def _best_where_kinds_vary(self, mask: int, taxa: np.ndarray, w: np.ndarray) -> int | None:
        # The work left does not see that a kind behind both leads is printed twice; the names do.
        return self._best_for(np.eye(len(taxa), dtype=int), mask, taxa, w)

    def _best_to_groups(self, mask: int, taxa: np.ndarray, w: np.ndarray) -> int | None:
        """Return the split that takes off most groups; where none does, and several are left, most kinds."""
        groups = self._of_group[taxa]
        if groups.any(axis=0).sum() == 1:
            return None
        best = self._best_for(groups, mask, taxa, w)
        return self._best_where_kinds_vary(mask, taxa, w) if best is None else best

    def _best_for(self, named: np.ndarray, mask: int, taxa: np.ndarray, w: np.ndarray) -> int | None:
        """Return the split that takes off most names, `named` being 1 for the name of a kind, else 0."""
        useful = self._useful(mask)
        n, grid = named.any(axis=0).sum(), np.ix_(useful, taxa)
        share = self.share[grid]
        names = [((into[grid] @ named) > 0).sum(axis=1) for into in (self.into_a, self.into_b)]

        def taken(weight: np.ndarray) -> np.ndarray:
            into_a = share @ weight
            left = into_a * np.log2(names[0]) + (weight.sum() - into_a) * np.log2(names[1])
            return weight.sum() * np.log2(n) - left

        alone = 2 - (names[0] + names[1]) / n
        worth = taken(w) * self._told[useful] * alone**2 / self.cost[useful]
        worth[taken(w / self.w[taxa]) < (_WORTH_PRINTING if self.n > _SHORT else 1e-9)] = 0.0
        return int(useful[worth.argmax()]) if worth.max(initial=0.0) > 0 else None

    def _work_left(self, mask: int, taxa: np.ndarray, w: np.ndarray) -> float:
        useful = self._useful(mask)
        if not len(useful):
            return 0.0
        rate = float(self._rates(taxa, w, useful).max())
        bits = float(entropy(w[None])[0])
        return bits / rate if rate > 1e-9 else bits * float(self.cost.max())

    # -- dynamic programming with branch and bound -----------------------------------------------

    def _key(self, mask: int, w: np.ndarray) -> tuple[int, bytes]:
        # In a crisp table the weights follow from the set; else they are part of what is solved.
        return mask, b"" if self.crisp else np.round(w / w.sum(), 9).tobytes()

    def _bounds(self, taxa: np.ndarray, w: np.ndarray, useful: np.ndarray) -> np.ndarray:
        """Least that the sets behind lead a and lead b can cost, shape (n_useful, 2)."""
        if self._ends is None:
            return np.zeros((len(useful), 2))
        in_a, ends = self.into_a[np.ix_(useful, taxa)], self._ends[taxa]
        bits = np.stack([entropy((in_a * w) @ ends), entropy((~in_a * w) @ ends)])
        return self.cheapest * bits.T - 1e-12

    def _floor(self, taxa: np.ndarray, w: np.ndarray) -> float:
        """Least that a set can cost by Huffman's code, which no two-way tree beats; dearer to find."""
        return 0.0 if self._ends is None else self.cheapest * _huffman(w @ self._ends[taxa])

    def _least(self, mask: int, taxa: np.ndarray, w: np.ndarray, most: int) -> float:
        """Least cost of keying a set, times its weight."""
        key, total = self._key(mask, w), w.sum()
        scale = 1.0 if self.crisp else total
        if key in self._solved:
            return self._solved[key][0] * scale
        if len(self._solved) >= most:
            raise _TooManyStates
        useful = self._useful(mask)
        if not len(useful):
            self._solved[key] = (0.0, None)
            return 0.0
        bounds, floor = self._bounds(taxa, w, useful), self._floor(taxa, w) * (1 + 1e-12)
        best, choice = np.inf, None
        for i in np.argsort(-self._rates(taxa, w, useful), kind="stable"):
            split = int(useful[i])
            cost = self.cost[split] * total
            if cost + (bounds[i, 0] + bounds[i, 1]) >= best:
                continue
            a, b = self._children(split, mask, taxa, w)
            cost += self._least(*a, most)
            if cost + bounds[i, 1] >= best:
                continue
            cost += self._least(*b, most)
            if cost < best - 1e-12:
                best, choice = cost, split
            if best <= floor:
                break
        self._solved[key] = (best / scale, choice)
        return best


def _told(trait: Trait) -> float:
    """Return the share of a bit that a two-way answer tells; see the module docstring."""
    wrong = trait.error / 2
    told = 1 - float(entropy(np.array([[wrong, 1 - wrong]]))[0])
    return told * (_YOUNG if trait.needs_adult else 1)


def entropy(w: np.ndarray) -> np.ndarray:
    """Entropy in bits of unnormalised weights times their sum; shape (n, m) -> (n,)."""
    total = w.sum(axis=1)
    inner = (w * np.log2(np.where(w > 0, w, 1.0))).sum(axis=1)
    return total * np.log2(np.where(total > 0, total, 1.0)) - inner


def _huffman(w: np.ndarray) -> float:
    """Return the least sum of weight times depth of a two-way tree (Huffman 1952, Proc. IRE 40:1098-1101)."""
    heap = w[w > 0].tolist()
    heapify(heap)
    total = 0.0
    while len(heap) > 1:
        both = heappop(heap) + heap[0]
        heapreplace(heap, both)
        total += both
    return total


def bit_mask(flags: np.ndarray) -> int:
    """Return the bit mask of a set of kinds, kind 0 in the lowest bit."""
    return int.from_bytes(np.packbits(flags, bitorder="little").tobytes(), "little")
