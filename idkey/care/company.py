"""The ground of a tank and who lives in it, beside a care sheet: each function makes one row."""

from __future__ import annotations

import re
from dataclasses import replace

from idkey.care.check import Check, amount, listed
from idkey.care.demand import Demands
from idkey.care.measures import Companion, Tank

__all__ = ["companions", "same_kind", "substrate"]


def substrate(demands: Demands, tank: Tank) -> Check:
    """Show the ground that is wanted beside what lies in the tank."""
    wanted = demands.texts("substrate")
    row = Check(
        "substrate", "Substrate", wanted or "not known", tank.substrate or "not stated", "need not known"
    )
    return replace(row, verdict="read", basis=demands.sources("substrate")) if wanted else row


_SHELLED = re.compile(r"\b(snail|nerite|mussel|clam|shrimp|prawn|crab|crayfish)(e?s)?\b", re.IGNORECASE)
_BULLIED = re.compile(r"\bbullied by larger\b", re.IGNORECASE)
_CODE = re.compile(r"\(([^()]+)\)\s*$")


def companions(demands: Demands, tank: Tank) -> Check:
    """Hold companions against what the sources say.

    Two things fail: what a mollusc-eater eats, and a larger fish beside one that the sheet says is bullied by
    larger ones. All else is a text to read beside who is in the tank.
    """
    wanted = demands.texts("temperament", "companions")
    basis = demands.sources("temperament", "companions")
    row = Check(
        "companions",
        "Companions",
        wanted or "not known",
        "; ".join(_companion_words(c, demands) for c in tank.companions) or "none named",
        "read" if wanted else "need not known",
        basis=basis,
    )
    eaters = [
        label
        for label, diet in demands.every("diet_type")
        if isinstance(diet, frozenset) and "molluscs" in diet
    ]
    food = [c.name for c in tank.companions if _SHELLED.search(c.name)]
    if eaters and food:
        return replace(
            row,
            wanted=f"{wanted} It eats snails and the like.".strip(),
            verdict="fails",
            short_by=f"{len(food)} that it eats",
            change=f"Take out: {', '.join(food)}. {listed(tuple(eaters))} would eat them.",
            basis="; ".join(filter(None, (basis, f"diet {demands.sources('diet_type')}"))),
            off=1.0,
        )
    return _beside_larger(row, demands, tank)


def _beside_larger(row: Check, demands: Demands, tank: Tank) -> Check:
    """Tell whether a fish that larger ones bully has larger ones beside it."""
    told = [*demands.every("temperament"), *demands.every("companions")]
    timid = {label for label, text in told if isinstance(text, str) and _BULLIED.search(text)}
    others = [c for c in tank.companions if not same_kind(c, demands)]
    if not timid or not others:
        return row
    lengths = [
        v[1] for label, v in demands.every("adult_length_mm") if label in timid and isinstance(v, tuple)
    ]
    own = min(lengths, default=None)
    larger = [c for c in others if own is not None and c.length_mm is not None and c.length_mm > own]
    if larger and own is not None:
        excess = max(c.length_mm or 0.0 for c in larger) - own
        return replace(
            row,
            verdict="fails",
            short_by=f"{amount('adult_length_mm', excess)} larger than it",
            change=f"Keep it apart from: {', '.join(c.name for c in larger)}. Larger fish bully it.",
            off=excess / own,
        )
    unsure = [c.name for c in others if own is None or c.length_mm is None]
    if unsure:
        change = f"Find out how long they grow: {', '.join(unsure)}. Larger fish bully this one."
        return replace(row, verdict="not measured", change=change)
    return row


def _companion_words(companion: Companion, demands: Demands) -> str:
    text = f"{companion.count} {companion.name}"
    if companion.length_mm is not None:
        text += f", {amount('adult_length_mm', companion.length_mm)}"
    return f"{text} (its own kind)" if same_kind(companion, demands) else text


def same_kind(companion: Companion, demands: Demands) -> bool:
    """Tell whether a companion goes by the id, the name or the trade code of one of the names."""
    names = set(demands.care.names)
    for label in demands.care.labels:
        bare = label.partition(" (")[0]
        # "Hypancistrus sp." may be any of a genus; its trade code tells which.
        names |= {label} if bare.endswith(" sp.") else {label, bare}
        code = _CODE.search(label)
        names |= set(re.split(r"\s*[,|/]\s*", code[1])) if code else set()
    called = companion.name.casefold()
    return any(re.search(rf"(?<!\w){re.escape(name.casefold())}(?!\w)", called) for name in names if name)
