"""A key with more kinds in it: what is printed stays, and the new kinds are put in where they fall.

Each kind runs down the old couplets by its states, behind both leads where it varies or is not known. Where
a new kind, or one whose cells have changed, comes to an end, the kinds that stand there together are keyed on
by the method of `build_key`: exactly where the old key is exact, else by its lookahead, with the share of
each kind that came this way. A couplet that parts no kinds any more goes. A new trait is asked at the ends
alone. So the key may cost more than one that is built afresh, but what stood above the ends stays.

Where a trait that the old key may ask is gone or asked in another way, the key is built afresh.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import replace

import numpy as np

from idkey.errors import IdkeyError
from idkey.model.evidence import ADULT_FROM
from idkey.model.key import Bounds, Couplet, Key, build_key, keyed_kinds, numbered_couplets
from idkey.model.prior import Prior
from idkey.model.solve import EXACT_STATES, Builder, Node, bit_mask
from idkey.model.splits import Split, all_splits, share_below
from idkey.table.schema import Trait
from idkey.table.table import TraitTable

__all__ = ["grow_key"]

_Question = tuple[str, tuple[str, ...], float | None]
"""What a couplet asks: the trait, the states of lead a, the threshold (None for states)."""


def grow_key(key: Key, table: TraitTable, taxa: Collection[str], *, prior: Prior = None) -> Key:
    """Put kinds into a key that is there.

    Parameters
    ----------
    key : Key
        The key to the old table, made by `build_key` or by this function.
    table : TraitTable
        The new table. Kinds that it lacks are taken out.
    taxa : collection of str
        Kinds that are new or whose cells have changed.
    prior : {"commonness", "uniform"} or mapping of taxon id to weight, default uniform
        What the expected cost is weighted by, as for `build_key`.

    Returns
    -------
    Key

    Raises
    ------
    IdkeyError
        A key to groups, which is built afresh.

    Examples
    --------
    >>> import pandas as pd
    >>> frame = pd.DataFrame({"kind": ["a", "b"], "tail": ["forked", "straight"], "fin": ["red", "blue"]})
    >>> old = TraitTable.from_frame(frame, taxon="kind")
    >>> new = old.with_taxon("c", tail="straight", fin="red")
    >>> [len(k.couplets) for k in (build_key(old), grow_key(build_key(old), new, ["c"]))]
    [1, 2]
    """
    if any(lead.group for couplet in key.couplets for lead in (couplet.a, couplet.b)):
        msg = "this key is to groups: build it afresh, with build_key(table, groups=...)"
        raise IdkeyError(msg)
    if not _asks_the_same(key.table, table):
        return build_key(table, prior)
    keyed, w, left_out = keyed_kinds(table, prior)
    builder = _Growing(key, keyed, w, taxa)
    nodes = builder.grow()
    cost = builder.cost_of(nodes)
    bounds = Bounds(cost.steps, cost.bits, cost.seconds, cost.bits * builder.cheapest, None)
    return Key(table, numbered_couplets(keyed, builder, nodes, ("",) * len(keyed)), bounds, left_out)


def _asks_the_same(old: TraitTable, new: TraitTable) -> bool:
    """Whether every trait that the old key may ask is still there and means the same."""
    traits = {t.id: t for t in new.traits}
    return all(t.id in traits and _asked(t) == _asked(traits[t.id]) for t in old.traits if t.in_key)


def _asked(trait: Trait) -> tuple[object, ...]:
    """What a couplet on a trait depends on; wording is not part of it."""
    return trait.kind, trait.states, trait.unit, trait.error, trait.effort, trait.in_key


class _Growing(Builder):
    """Keeps the couplets of an old key and finds those that are needed at its ends.

    Parameters
    ----------
    key : Key
    table : TraitTable
        The kinds to be keyed.
    w : ndarray, shape (n_taxa,)
        Their weights.
    taxa : collection of str
        Those that are new or whose cells have changed.
    """

    def __init__(self, key: Key, table: TraitTable, w: np.ndarray, taxa: Collection[str]):
        self._old = key
        splits = all_splits(table, w)
        self._index = {_question(s): i for i, s in enumerate(splits)}
        for couplet in key.couplets:
            # A threshold of the old key need not be among those that the new table suggests.
            if _question(couplet) not in self._index:
                self._index[_question(couplet)] = len(splits)
                splits.append(_split_of(table, couplet, w))
        super().__init__(splits, w)
        self._of = {taxon: 1 << i for i, taxon in enumerate(table.ids)}
        self._fresh = self._set(taxa)
        self._has_more_traits = bool(set(table.trait_ids) - set(key.table.trait_ids))
        self._exactly = key.bounds().optimum_seconds is not None

    def _set(self, taxa: Iterable[str]) -> int:
        """Return the bit mask of those of these kinds that are keyed."""
        found = 0
        for taxon in taxa:
            found |= self._of.get(taxon, 0)
        return found

    def grow(self) -> dict[int, Node]:
        """Return the couplet for each set of kinds that the new key meets."""
        nodes: dict[int, Node] = {}
        couplets, start = self._old.couplets, 1 if self._old.couplets else None
        keyed = [t for t in self._old.table.ids if t not in self._old.left_out]
        waiting = [(start, tuple(keyed), self.full, np.arange(self.n), self.w)]
        while waiting:
            number, names, mask, taxa, w = waiting.pop()
            if mask in nodes:
                continue
            if number is None:
                self._key_on(nodes, names, mask, taxa, w)
                continue
            couplet = couplets[number - 1]
            split = self._index[_question(couplet)]
            leads = (couplet.a, couplet.b)
            a, b = self.sides(split, mask)
            if mask in (a, b):
                # Nothing is told apart here any more; go on behind the lead that all take.
                lead = leads[0] if a == mask else leads[1]
                waiting.append((lead.goes_to, lead.taxa, mask, taxa, w))
                continue
            nodes[mask] = Node(split, a, b)
            for lead, child in zip(leads, self.children(split, mask, taxa, w), strict=True):
                waiting.append((lead.goes_to, lead.taxa, *child))
        return nodes

    def _key_on(
        self, nodes: dict[int, Node], names: tuple[str, ...], mask: int, taxa: np.ndarray, w: np.ndarray
    ) -> None:
        """Go on from an end of the old key, where these kinds stand together now."""
        # A kind that has gone may be all that kept the others together.
        same = mask == self._set(names) and mask.bit_count() == len(names)
        if same and not mask & self._fresh and not self._has_more_traits:
            return
        if self._exactly:
            self._key_on_exactly(nodes, taxa, w)
            return
        waiting = [(mask, taxa, w)]
        while waiting:
            mask, taxa, w = waiting.pop()
            if mask in nodes:
                continue
            split = self._best_by_lookahead(mask, taxa, w)
            if split is not None:
                nodes[mask] = Node(split, *self.sides(split, mask))
                waiting += self.children(split, mask, taxa, w)[::-1]

    def _key_on_exactly(self, nodes: dict[int, Node], taxa: np.ndarray, w: np.ndarray) -> None:
        """Key these kinds as if there were no others, and take over the couplets."""
        few = Builder([_of_these(split, taxa) for split in self.splits], w)
        found, _ = few.solve(EXACT_STATES)
        for node in found.values():
            a, b = (self._widened(side, few, taxa) for side in (node.a, node.b))
            nodes.setdefault(a | b, Node(node.split, a, b))

    def _widened(self, mask: int, few: Builder, taxa: np.ndarray) -> int:
        """Return a set of a few of the kinds as a set of all."""
        flags = np.zeros(self.n, dtype=bool)
        flags[taxa[few.members(mask)]] = True
        return bit_mask(flags)


def _question(asked: Split | Couplet) -> _Question:
    states = asked.states if isinstance(asked, Split) else asked.a.states
    return asked.trait.id, states, None if np.isnan(asked.threshold) else float(asked.threshold)


def _of_these(split: Split, taxa: np.ndarray) -> Split:
    return replace(split, share=split.share[taxa], both=split.both[taxa], applies=split.applies[taxa])


def _split_of(table: TraitTable, couplet: Couplet, w: np.ndarray) -> Split:
    """Return the question of an old couplet, put to the kinds of a new table."""
    trait, column = table.trait(couplet.trait.id), table.column(couplet.trait.id)
    known = column.known
    if trait.has_states:
        share = column.shares[:, [trait.index(s) for s in couplet.a.states]].sum(axis=1)
        share[share > 1 - 1e-12] = 1.0
    else:
        low = ADULT_FROM * column.high if trait.kind == "ceiling" else column.low
        share = share_below(low, column.high, couplet.threshold)
    mean = float(np.average(share[known], weights=w[known])) if w[known].sum() > 0 else 0.5
    return Split(
        trait=trait,
        states=couplet.a.states,
        threshold=couplet.threshold,
        share=np.where(known, share, mean),
        both=~known | ((share > 0) & (share < 1)),
        applies=column.applies,
        cost=trait.effort / (1 - trait.error),
    )
