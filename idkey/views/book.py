"""A fish of the book in one line, as lists show it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from idkey.book.labels import LOOKED_AT
from idkey.table.table import TraitTable
from idkey.table.units import percent
from idkey.views.doc import one_line
from idkey.views.words import none_words

if TYPE_CHECKING:
    from idkey.book.records import Fish


def fish_words(table: TraitTable, fish: Fish) -> str:
    """Return a fish on one line: number, name as certain as it is, where it is."""
    places = (f"tank {fish.tank}" if fish.tank else "", fish.tag, f"{fish.count} fish" * (fish.count > 1))
    return one_line(", ".join(filter(None, (f"No. {fish.number}: {_name(table, fish)}", *places))))


def _name(table: TraitTable, fish: Fish) -> str:
    naming, look = fish.naming, fish.look
    if naming:
        return naming.name if naming.ground != LOOKED_AT else f"{naming.name}, by its looks"
    if look is None or not look.answers:
        return "not looked at yet"
    taxon, share = max(look.names.items(), key=lambda name: name[1])
    known = taxon in table.taxa.index
    return f"likeliest {none_words(taxon, table.label(taxon) if known else taxon)} ({percent(share)})"
