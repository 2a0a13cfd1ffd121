"""A number far outside what can be is asked back before it counts: 4.6 for 46 mm, 460 for 46."""

from __future__ import annotations

from math import inf
from typing import NamedTuple

from idkey.model.identify import Identification
from idkey.model.sayings import say
from idkey.table.reading import parse_answer
from idkey.table.schema import Range, Trait, cell_words
from idkey.table.table import TraitTable
from idkey.table.units import amount

SHORTEST = 10.0
"""mm: a fish shorter than this is hardly ever looked at (judgement)."""
LONGER, FEW, _FAR = 1.5, 0.1, 3.0
"""A record may be passed by half; so small a share is few; times for the rest (judgement)."""
SLIPS = ((10.0, " cm"), (25.4, " in"), (0.1, ""))
"""What a length may be mistaken by: written in cm or in inches, or a point left out."""


class Doubt(NamedTuple):
    """Why a number is asked back, how it was read, and what it may have been meant for: words and answer."""

    text: str
    read: str
    others: tuple[tuple[str, str], ...]


def doubt_of(fish: Identification, trait: Trait, typed: str) -> Doubt | None:
    """Return what is to be asked back about a number, None where there is nothing. Raises AnswerError."""
    answer = parse_answer(trait, typed)
    if not isinstance(answer, Range):
        return None
    length, read = is_length(trait), cell_words(trait, answer)
    if why := (_of_length if length else _of_number)(fish, trait, answer):
        others = tuple(_meant(fish, trait, answer)) if length and answer.low == answer.high else ()
        return Doubt(say("asked back", said=read, why=why), read, others)
    return None


def _meant(fish: Identification, trait: Trait, answer: Range) -> list[tuple[str, str]]:
    found = []
    for factor, unit in SLIPS:
        length = round(answer.low * factor, 1)
        if not _of_length(fish, trait, Range(length, length)):
            words = f"{answer.low:g}{unit}, {length:.0f} mm" if unit else f"{length:g} mm"
            found.append((words, f"{length:g}"))
    return found


def _of_length(fish: Identification, trait: Trait, answer: Range) -> str:
    cells = fish.table.cells[trait.id]
    rows = ((row, cells[fish.table.position(row.taxon)]) for row in fish.kinds())
    known = [(row.probability, cell.high) for row, cell in rows if isinstance(cell, Range)]
    if answer.high < SHORTEST:
        return say("very small")
    grow = sum(share for share, longest in known if longest * LONGER >= answer.low)
    few = grow < FEW * sum(share for share, _ in known)
    return say("too long") if few else ""


def _of_number(fish: Identification, trait: Trait, answer: Range) -> str:
    low, high, why = believed(fish.table, trait)
    return why if answer.high < low or answer.low > high else ""


def believed(table: TraitTable, trait: Trait) -> tuple[float, float, str]:
    """Return between what a number of a trait is taken without a doubt, and what is said beyond."""
    known = [cell for cell in table.cells[trait.id] if isinstance(cell, Range)]
    if not known:
        return -inf, inf, ""
    low, high = min(cell.low for cell in known), max(cell.high for cell in known)
    return low / _FAR, high * _FAR, say("table has", amount=amount(low, high, unit=trait.unit))


def is_length(trait: Trait) -> bool:
    """Whether a trait is a length that may be given in another unit."""
    return trait.kind == "ceiling" and trait.unit == "mm"
