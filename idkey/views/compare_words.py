"""A comparison in words: how often a look is right, how likely a mix-up is, where the care differs."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from idkey.care.sheet import CareSheet, care_for
from idkey.errors import IdkeyError

if TYPE_CHECKING:
    from idkey.model.compare import Comparison

__all__ = [
    "TELLS_NOTHING",
    "at_any_age",
    "care_line",
    "chance_words",
    "listed",
    "look_words",
    "mix_up_words",
    "one_in",
    "share_of_the_way",
]

_NUMBER_WORDS = {2: "two", 3: "three"}
_CARE = ("diet_type", "temperature_c", "adult_length_mm", "flow")
_MOST_CARE = 3
TELLS_NOTHING = "tells nothing"


# -- chances in words -------------------------------------------------------------------------------


def chance_words(right: float) -> str:
    """Write how often a look is right, never as certain.

    Examples
    --------
    >>> chance_words(0.5), chance_words(0.88), chance_words(0.96), chance_words(0.999)
    ('5 in 10', '9 in 10', '24 in 25', '99 in 100')
    """
    of = _shown_of(right)
    return f"{right * 10:.0f} in 10" if of == 10 else f"{of - 1} in {of}"


def _shown_of(right: float) -> int:
    """Return the number out of which a chance is shown."""
    if right < 0.93:
        return 10
    return min((20, 25, 50, 100), key=lambda n: abs(1 / n - max(1 - right, 0.01)))


def look_words(right: float | None, k: int = 2) -> str:
    """Say how well one look tells k kinds apart.

    Examples
    --------
    >>> look_words(0.9), look_words(0.52), look_words(None)
    ('well, 9 in 10', 'hardly, 5 in 10', 'tells nothing')
    """
    if right is None:
        return TELLS_NOTHING
    return f"{_strength(right, k)}, {chance_words(right)}"


def _strength(right: float, k: int) -> str:
    # By the number as it is shown, so that two looks of the same number have the same word; but what
    # hardly tells is told by the exact one.
    of = _shown_of(right)
    share = share_of_the_way(round(right * 10) / 10 if of == 10 else 1 - 1 / of, k)
    share = min(share, 0.0999) if share_of_the_way(right, k) < 0.1 - 1e-9 else max(share, 0.1)
    for limit, word in ((0.1, "hardly"), (0.4, "weakly"), (0.7, "fairly"), (0.9, "well")):
        if share < limit - 1e-9:
            return word
    return "very well"


def share_of_the_way(right: float, k: int) -> float:
    """Part of the way from a guess to certainty."""
    return max(0.0, (right - 1 / k) / (1 - 1 / k))


def one_in(chance: float) -> str:
    """Write a chance of going wrong as one in so many.

    Examples
    --------
    >>> one_in(0.0279), one_in(0.4), one_in(0.0001)
    ('1 in 36', '4 in 10', 'fewer than 1 in 200')
    """
    if chance < 0.005:
        return "fewer than 1 in 200"
    # Two figures are more than the observer errors are known to.
    return f"{chance * 10:.0f} in 10" if chance >= 0.25 else f"1 in {float(f'{1 / chance:.2g}'):.0f}"


def mix_up_words(comparison: Comparison, *, young: bool = False) -> str:
    """Say in a sentence how likely a mix-up is after the best looks."""
    looks = comparison.looks_young if young else comparison.looks
    chance = comparison.mix_up_young if young else comparison.mix_up
    fish = "fish, adult or young," if at_any_age(comparison) else "young fish" if young else "adults"
    if not looks:
        return f"Nothing the table knows tells {fish} apart; between these names it would be a guess."
    names = listed(t.name.lower() for t in looks)
    count = "the best look" if len(looks) == 1 else f"the {_NUMBER_WORDS[len(looks)]} best looks together"
    return f"After {count} ({names}) about {one_in(chance)} {fish} would still get the wrong name.".replace(
        "about fewer", "fewer"
    )


def at_any_age(comparison: Comparison) -> bool:
    """Whether young fish are told apart by the same looks, as well as adults."""
    return comparison.looks == comparison.looks_young and comparison.mix_up == comparison.mix_up_young


def listed(words: Iterable[str]) -> str:
    """Return words as a list in a sentence."""
    found = list(words)
    return found[0] if len(found) == 1 else f"{', '.join(found[:-1])} and {found[-1]}"


# -- the care difference ----------------------------------------------------------------------------


def care_line(comparison: Comparison) -> str:
    """Say in one line where the care differs most; blank for a table without care sheets."""
    try:
        both = care_for(comparison.table, *comparison.taxa)
        sheets = [care_for(comparison.table, taxon) for taxon in comparison.taxa]
    except IdkeyError:
        return ""
    apart = {a: _apart(sheets, a) for a in _CARE if not both.attributes[a].unknown_for}
    chosen = sorted((a for a in apart if apart[a] > 0), key=lambda a: -apart[a])[:_MOST_CARE]
    if not chosen:
        known = [both.attributes[a].label.lower() for a in apart]
        return f"Care: the same on file in {listed(known)}." if known else "Care: not known for all of them."
    names = dict(zip(both.names, both.short_labels, strict=True))
    parts = []
    for attribute in chosen:
        need = both.attributes[attribute]
        # One line: the second unit, in brackets, is left to the care sheet.
        words = {taxon: need.by_name[taxon].partition(" (")[0] for taxon in names}
        each = "; ".join(f"{name} {words[taxon]}" for taxon, name in names.items())
        parts.append(f"{need.label.lower()} ({'nothing suits all: ' if need.conflict else ''}{each})")
    return f"Care differs in {listed(parts)}."


def _apart(sheets: Sequence[CareSheet], attribute: str) -> float:
    """How far needs are apart, 0 (the same) to 1 (nothing in common); the length by its upper end."""
    values = [sheet.attributes[attribute].value for sheet in sheets]
    if all(isinstance(v, frozenset) for v in values):
        return 1 - len(frozenset.intersection(*values)) / len(frozenset.union(*values))
    if not all(isinstance(v, tuple) for v in values):
        return 0.0
    lows, highs = zip(*values, strict=True)
    if attribute == "adult_length_mm":
        return 1 - min(highs) / max(highs)
    if max(highs) == min(lows):
        return 0.0
    return 1 - max(0.0, min(highs) - max(lows)) / (max(highs) - min(lows))
