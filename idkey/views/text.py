"""Objects as plain text: what a console shows, and what can be pasted into a message."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from idkey.model.evidence import NONE
from idkey.table.schema import Trait

if TYPE_CHECKING:
    from idkey.model.identify import Identification
    from idkey.model.key import Couplet, Key, Lead

__all__ = ["identification_text", "key_text", "lead_words", "percent"]

_WIDTH = 78
_MOST_NAMES = 8
_BAR = 20


def percent(share: float) -> str:
    """Write a share as per cent, without ever claiming 0 or 100.

    Examples
    --------
    >>> percent(0.463), percent(0.0004), percent(0.9999)
    ('46 %', 'under 1 %', 'over 99 %')
    """
    if share < 0.01:
        return "under 1 %"
    if share > 0.99:
        return "over 99 %"
    return f"{share * 100:.0f} %"


def identification_text(fish: Identification) -> str:
    """One screen: where it stands, the names still possible as bars, what to look at next."""
    lines = [str(fish.outcome())]
    left = [row for row in fish.ranked() if row.candidate]
    for row in left[:_MOST_NAMES]:
        bar = "#" * max(1, round(row.probability * _BAR))
        lines.append(f"  {percent(row.probability):>9}  {bar:<{_BAR}}  {row.name}")
    if len(left) > _MOST_NAMES:
        lines.append(f"  and {len(left) - _MOST_NAMES} more")
    question = fish.next_question()
    if question is not None:
        lines.append(f"Look next: {question.trait.question or question.trait.name} ({question.trait.id})")
    return "\n".join(lines)


def lead_words(couplet: Couplet, lead: Lead) -> str:
    """Say in words what one lead of a couplet holds."""
    trait = couplet.trait
    if trait.has_states:
        if lead is couplet.b and len(couplet.a.states) == 1 and len(lead.shown) != 1:
            return f"{trait.name}: not so ({_either(trait, lead.shown or lead.states)})"
        return f"{trait.name}: {_either(trait, lead.shown or lead.states)}"
    cut = trait.number(couplet.threshold)
    side = f"at most {cut}" if lead is couplet.a else f"more than {cut}"
    return f"{trait.name} of an adult: {side}" if trait.kind == "ceiling" else f"{trait.name}: {side}"


def _either(trait: Trait, states: tuple[str, ...]) -> str:
    return " or ".join(trait.word(s) for s in states)


def key_text(key: Key) -> str:
    """Return the traditional key: numbered couplets, two leads each, dots to the next number or the name."""
    if not key.couplets:
        names = ", ".join(key.table.label(t) for t in key.table.ids)
        return f"These can't be told apart by this table: {names}"
    lines = []
    for couplet in key.couplets:
        for letter, lead in (("a", couplet.a), ("b", couplet.b)):
            lines += _lead_lines(key, couplet, letter, lead)
        lines.append("")
    if key.left_out:
        names = "; ".join(key.table.label(t) for t in key.left_out)
        lines += [*_wrap(f"Too little is known to key out, so possible at every end: {names}", _WIDTH), ""]
    return "\n".join(lines[:-1])


def _lead_lines(key: Key, couplet: Couplet, letter: str, lead: Lead) -> list[str]:
    words = lead_words(couplet, lead)
    words += "".join(f"; {trait.name.lower()}: {_either(trait, states)}" for trait, states in lead.confirms)
    if lead.goes_to is not None:
        end = str(lead.goes_to)
    else:
        names = [key.table.label(t) for t in lead.taxa]
        end = names[0] if len(names) == 1 else f"not told apart: {'; '.join(names)}"
        if lead.group and len(names) > 1:
            end = f"{lead.group}: {'; '.join(names)}"
    head = f"{couplet.number}{letter}"
    body = _wrap(words, _WIDTH - 6)
    lines = [f"{head:<6}{body[0]}", *(f"{'':<6}{line}" for line in body[1:])]
    room = _WIDTH - len(lines[-1]) - len(end) - 2
    if room >= 3:
        lines[-1] += f" {'.' * room} {end}"
        return lines
    tail = _wrap(end, _WIDTH - 10)
    return [*lines, *(f"{'':<10}{line}" for line in tail)]


def _wrap(text: str, width: int) -> list[str]:
    return textwrap.wrap(text, width, break_long_words=False, break_on_hyphens=False) or [""]


def none_words(taxon: str, label: str) -> str:
    """Name of a row of the ranking."""
    return "None of the kinds in the table" if taxon == NONE else label
