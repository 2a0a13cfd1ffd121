"""Which couplet for which set of kinds: an exact method for small tables, a lookahead for the rest.

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
couplet would settle it; for a table with kinds that vary or are unknown, the couplet that settles most per
second, less the share of kinds that would have to be printed behind both leads.

A key may be to groups of kinds (a genus, a care group): then a set is settled once all of it is one group,
and entropies are those of the group totals. The bounds hold for these too: each group (with those it
can't be told from) has a least deep end, and those ends by themselves are a two-way tree (Kraft).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from heapq import heapify, heappop, heapreplace

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from idkey.model.splits import Split

__all__ = ["EXACT_STATES", "Builder", "Node", "bit_mask"]

EXACT_STATES = 5_000
_LOOK_AT = 5
_WORTH_PRINTING = 0.9
"""Bits that a couplet must settle in a table that is not crisp, summed over the kinds at hand (a kind that
went down k leads counts as the share of it that came this way). Two whole kinds parted are 2 bits; where much
is unknown this keeps the key from repeating the same few kinds on every page."""


_Set = tuple[int, np.ndarray, np.ndarray]
"""A set of kinds as a bit mask, the same as row numbers, and the weight of each kind that came this way."""


@dataclass(frozen=True, slots=True)
class Node:
    """The couplet chosen for a set of kinds: a split, and the sets behind lead a and lead b."""

    split: int
    a: int
    b: int


class _TooManyStates(Exception):  # noqa: N818 - a signal, not an error
    pass


class Builder:
    """Finds the couplets for kinds of these weights, or for groups of them, by kind.

    Sets of kinds are bit masks; weights ride along for kinds that vary.
    """

    def __init__(self, splits: list[Split], w: np.ndarray, groups: Sequence[str] | None = None):
        self.splits = splits
        self.n = len(w)
        self.w = np.where(w > 0, w, 1e-12)
        s = len(splits)
        self.share = np.array([x.share for x in splits]).reshape(s, self.n)
        self.into_a = (np.array([x.both | (x.share > 0) for x in splits]).reshape(s, self.n)).astype(bool)
        self.into_b = (np.array([x.both | (x.share < 1) for x in splits]).reshape(s, self.n)).astype(bool)
        self.applies = np.array([x.applies for x in splits], dtype=bool).reshape(s, self.n)
        self.cost = np.array([x.cost for x in splits])
        self.cheapest = float(self.cost.min()) if s else 0.0
        self.crisp = not bool((self.into_a & self.into_b).any())
        self.full = (1 << self.n) - 1
        self.masks = [
            (bit_mask(a), bit_mask(b), bit_mask(fits))
            for a, b, fits in zip(self.into_a, self.into_b, self.applies, strict=True)
        ]
        self.group = np.arange(self.n) if groups is None else np.unique(groups, return_inverse=True)[1]
        self.in_group = np.eye(self.group.max(initial=-1) + 1)[self.group]
        self._same = [bit_mask(self.group == g) for g in self.group]

    # -- both methods ---------------------------------------------------------------------------

    def members(self, mask: int) -> np.ndarray:
        """Return the row numbers of a set."""
        bits = np.frombuffer(mask.to_bytes((self.n + 7) // 8, "little"), dtype=np.uint8)
        return np.flatnonzero(np.unpackbits(bits, bitorder="little")[: self.n])

    def is_settled(self, mask: int) -> bool:
        """Whether all of a set is one group."""
        first = (mask & -mask).bit_length() - 1
        return mask & self._same[first] == mask

    def useful(self, mask: int) -> np.ndarray:
        """Return the splits that apply to all of an unsettled set and leave fewer kinds on either side."""
        if self.is_settled(mask):
            return np.array([], dtype=np.intp)
        found = [mask & fits == mask and mask & a != mask and mask & b != mask for a, b, fits in self.masks]
        return np.flatnonzero(found)

    def rates(self, taxa: np.ndarray, w: np.ndarray, useful: np.ndarray) -> np.ndarray:
        """Return the expected drop in entropy of the groups per second of each useful split."""
        share = self.share[np.ix_(useful, taxa)]
        before, a, b = (self._grouped(x, taxa) for x in (w[None], share * w, (1 - share) * w))
        drop = np.maximum(_entropy(before) - _entropy(a) - _entropy(b), 0.0)
        return drop / (self.cost[useful] * w.sum())

    def _grouped(self, w: np.ndarray, taxa: np.ndarray) -> np.ndarray:
        """Weights of kinds, one row a set, as weights of groups."""
        return w if self.in_group.shape[1] == self.n else w @ self.in_group[taxa]

    def entropy(self, taxa: np.ndarray, w: np.ndarray) -> float:
        """Return the entropy of the groups of a set, times its weight."""
        return float(_entropy(self._grouped(w[None], taxa))[0])

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

    def solve(self, exact_states: int) -> tuple[dict[int, Node], float | None]:
        """Return the couplet chosen for each set of kinds that the key meets, and the least cost if known.

        A set that is met twice has one couplet. Where kinds vary, the two may arrive in other proportions and
        each want a couplet of its own; then the key costs more than the least.
        """
        try:
            return _Exact(self, exact_states).solve()
        except _TooManyStates:
            return self._look_ahead(), None

    def cost_of(self, nodes: dict[int, Node]) -> tuple[float, float, float]:
        """Mean couplets and seconds, as the weight that enters each couplet, summed; and the bits settled."""
        everything = np.arange(self.n)
        flow = {self.full: self.w / self.w.sum()}
        steps = seconds = 0.0
        bits = self.entropy(everything, flow[self.full])
        # A couplet's kinds are fewer than those of any couplet before it, so larger sets come first.
        for mask in sorted(nodes, key=lambda m: (-m.bit_count(), m)):
            entering = flow.pop(mask, None)
            if entering is None:
                continue
            node = nodes[mask]
            steps += entering.sum()
            seconds += entering.sum() * self.cost[node.split]
            share = self.share[node.split]
            for child, part in ((node.a, share), (node.b, 1 - share)):
                flow[child] = flow.get(child, 0.0) + entering * part
        bits -= sum(self.entropy(everything, end) for end in flow.values())
        return float(steps), float(seconds), max(bits, 0.0)

    # -- lookahead ------------------------------------------------------------------------------

    def _look_ahead(self) -> dict[int, Node]:
        nodes: dict[int, Node] = {}
        waiting = [(self.full, np.arange(self.n), self.w)]
        while waiting:
            mask, taxa, w = waiting.pop()
            if mask in nodes:
                continue
            split = self._best_by_lookahead(mask, taxa, w)
            if split is None:
                continue
            nodes[mask] = Node(split, *self.sides(split, mask))
            waiting += self.children(split, mask, taxa, w)[::-1]
        return nodes

    def _best_by_lookahead(self, mask: int, taxa: np.ndarray, w: np.ndarray) -> int | None:
        useful = self.useful(mask)
        if not len(useful):
            return None
        if not self.crisp:
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
        entropy = self.entropy(taxa, w)
        return entropy / rate if rate > 1e-9 else entropy * float(self.cost.max())


def _entropy(w: np.ndarray) -> np.ndarray:
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


class _Exact:
    """Dynamic programming with branch and bound over sets of kinds; see the module docstring."""

    def __init__(self, builder: Builder, most: int):
        self.builder = builder
        self.most = most
        self.solved: dict[tuple[int, bytes], tuple[float, int | None]] = {}
        self.ends = self._ends() if builder.crisp else None

    def _ends(self) -> np.ndarray:
        """Gather kinds that need not or can't end apart: one group, or parted by no split; (n, n_classes)."""
        builder = self.builder
        _, rows = np.unique(builder.into_a.T, axis=0, return_inverse=True)
        links = np.stack([rows.ravel(), rows.max() + 1 + builder.group])
        size = int(links.max()) + 1
        _, classes = connected_components(coo_array((np.ones(builder.n), links), shape=(size, size)))
        return np.eye(classes.max() + 1)[classes[links[0]]]

    def solve(self) -> tuple[dict[int, Node], float]:
        builder = self.builder
        waiting = [(builder.full, np.arange(builder.n), builder.w)]
        least = self._best(*waiting[0]) / builder.w.sum()
        nodes: dict[int, Node] = {}
        while waiting:
            mask, taxa, w = waiting.pop()
            split = self.solved[self._key(mask, w)][1]
            if split is None or mask in nodes:
                continue
            nodes[mask] = Node(split, *builder.sides(split, mask))
            waiting += builder.children(split, mask, taxa, w)[::-1]
        return nodes, float(least)

    def _key(self, mask: int, w: np.ndarray) -> tuple[int, bytes]:
        # In a crisp table the weights follow from the set; else they are part of what is solved.
        return mask, b"" if self.builder.crisp else np.round(w / w.sum(), 9).tobytes()

    def _bounds(self, taxa: np.ndarray, w: np.ndarray, useful: np.ndarray) -> np.ndarray:
        """Least that the sets behind lead a and lead b can cost, shape (n_useful, 2)."""
        if self.ends is None:
            return np.zeros((len(useful), 2))
        in_a = self.builder.into_a[np.ix_(useful, taxa)]
        entropy = np.stack([_entropy((in_a * w) @ self.ends[taxa]), _entropy((~in_a * w) @ self.ends[taxa])])
        return self.builder.cheapest * entropy.T - 1e-12

    def _floor(self, taxa: np.ndarray, w: np.ndarray) -> float:
        """Least that a set can cost by Huffman's code, which no two-way tree beats; dearer to find."""
        if self.ends is None:
            return 0.0
        return self.builder.cheapest * _huffman(w @ self.ends[taxa])

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
        bounds, floor = self._bounds(taxa, w, useful), self._floor(taxa, w) * (1 + 1e-12)
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
                if best <= floor:
                    break
        self.solved[key] = (best / scale, choice)
        return best
