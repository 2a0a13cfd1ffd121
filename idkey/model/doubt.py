"""A number far outside what can be is asked back before it counts: 4.6 for 46 mm, 460 for 46."""

from __future__ import annotations

from typing import NamedTuple

from idkey.model.identify import Identification
from idkey.table.reading import parse_answer
from idkey.table.schema import NONE, Range, Trait, cell_words
from idkey.table.units import amount

_SHORTEST = 10.0
"""mm: a fish shorter than this is hardly ever looked at (judgement)."""
_LONGER, _FEW, _FAR = 1.5, 0.1, 3.0
"""A record may be passed by half; so small a share is few; times for the rest (judgement)."""
_SLIPS = ((10.0, " cm"), (25.4, " in"), (0.1, ""))
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
    is_length, read = trait.kind == "ceiling" and trait.unit == "mm", cell_words(trait, answer)
    if why := (_of_length if is_length else _of_number)(fish, trait, answer):
        others = tuple(_meant(fish, trait, answer)) if is_length and answer.low == answer.high else ()
        return Doubt(f"{read}? {why}", read, others)
    return None


def _meant(fish: Identification, trait: Trait, answer: Range) -> list[tuple[str, str]]:
    found = []
    for factor, unit in _SLIPS:
        length = round(answer.low * factor, 1)
        if not _of_length(fish, trait, Range(length, length)):
            words = f"{answer.low:g}{unit}, {length:.0f} mm" if unit else f"{length:g} mm"
            found.append((words, f"{length:g}"))
    return found


def _of_length(fish: Identification, trait: Trait, answer: Range) -> str:
    cells = fish.table.cells[trait.id]
    rows = ((row, cells[fish.table.position(row.taxon)]) for row in fish.ranked() if row.taxon != NONE)
    known = [(row.probability, cell.high) for row, cell in rows if isinstance(cell, Range)]
    if answer.high < _SHORTEST:
        return "That is very small."
    grow = sum(share for share, longest in known if longest * _LONGER >= answer.low)
    few = grow < _FEW * sum(share for share, _ in known)
    return "Hardly any name still possible grows so long." if few else ""


def _of_number(fish: Identification, trait: Trait, answer: Range) -> str:
    known = [cell for cell in fish.table.cells[trait.id] if isinstance(cell, Range)]
    if not known:
        return ""
    low, high = min(cell.low for cell in known), max(cell.high for cell in known)
    far = answer.high < low / _FAR or answer.low > high * _FAR
    return f"This table has {amount(low, high, unit=trait.unit)}." if far else ""
