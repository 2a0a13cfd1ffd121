"""Solvers that share nothing with the package: the least that a key can cost, and what each lead takes."""

import math
from functools import cache

from idkey.table.schema import States


def known_shares(table, trait_id, states):
    """Return the share of each kind that shows these states; a kind that is not known is left out."""
    share = {}
    for taxon in table.ids:
        cell = table.cell(taxon, trait_id)
        if isinstance(cell, States):
            parts = zip(cell.names, cell.shares, strict=True)
            share[taxon] = round(sum(s for name, s in parts if name in states), 12)
    return share


def like_the_rest(share, weights):
    """Return the share of every kind: a blank shares like the kinds that are known."""
    mean = sum(weights[t] * s for t, s in share.items()) / sum(weights[t] for t in share)
    return {t: share.get(t, mean) for t in weights}


def walk(key, weights):
    """Yield each lead of a key: its trait, itself, the weight of each kind that takes it, and its depth."""
    share = {
        c.number: like_the_rest(known_shares(key.table, c.trait.id, c.a.states), weights)
        for c in key.couplets
    }
    waiting = [(1, dict(weights), 1)] if key.couplets else []
    while waiting:
        number, flow, depth = waiting.pop()
        couplet = key.couplets[number - 1]
        assert couplet.number == number
        for lead, is_a in ((couplet.a, True), (couplet.b, False)):
            part = {t: w * (share[number][t] if is_a else 1 - share[number][t]) for t, w in flow.items()}
            yield couplet.trait, lead, part, depth
            if lead.goes_to is not None:
                waiting.append((lead.goes_to, part, depth + 1))


def least_path_length(n):
    """Return the least total path length of n leaves in a two-way tree: n k - 2**k + n, k = ceil(log2 n).

    Knuth, The Art of Computer Programming 3, 5.3.1 (from memory; equal to Huffman's cost for equal weights).
    """
    k = math.ceil(math.log2(n))
    return n * k - 2**k + n


def questions_of(table):
    """Return (cost, share of each kind known that takes lead a) of every question."""
    found = []
    for trait in table.traits:
        last = len(trait.states) - (trait.kind == "ordinal" or len(trait.states) == 2)
        for i in range(last):
            in_a = trait.states[i : i + 1] if trait.kind == "nominal" else trait.states[: i + 1]
            share = known_shares(table, trait.id, in_a)
            if {0.0, 1.0} <= set(share.values()):
                found.append((trait.effort / (1 - trait.error), share))
    return found


def least_by_trees(table, prior):
    """Return the least expected seconds, by going through every tree; kinds may vary or be blank."""
    questions = [(cost, like_the_rest(share, prior)) for cost, share in questions_of(table)]

    @cache
    def least(flow):
        best = math.inf
        for cost, share in questions:
            a = frozenset((t, w * share[t]) for t, w in flow if share[t] > 0)
            b = frozenset((t, w * (1 - share[t])) for t, w in flow if share[t] < 1)
            if len(a) < len(flow) and len(b) < len(flow):
                best = min(best, cost * sum(w for _, w in flow) + least(a) + least(b))
        return 0.0 if best == math.inf else best

    return least(frozenset(prior.items())) / sum(prior.values())
