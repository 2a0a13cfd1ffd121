"""How figures, leads and lists are put into words: each in one place, for every document."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from functools import lru_cache
from importlib.metadata import PackageNotFoundError, version
from typing import TYPE_CHECKING

from idkey.model.evidence import NONE
from idkey.table.schema import Trait, parse_answer
from idkey.table.words import cell_words, percent
from idkey.views.doc import Block, Heading, Lines, clean

if TYPE_CHECKING:
    from idkey.model.key import Couplet, Lead
    from idkey.table.table import TraitTable

__all__ = [
    "CAUTIONS",
    "answer_words",
    "lead_states",
    "lead_words",
    "listed",
    "made_from",
    "made_with",
    "none_words",
    "number_of",
    "percent",
    "sources_line",
    "stamp",
    "table_date",
]

CAUTIONS: tuple[Block, ...] = (
    Heading("Mind the fish and yourself"),
    Lines(
        (
            "Fin spines and cheek hooks (odontodes) cut, and tangle in nets: look through a rigid clear box, "
            "and keep your hands and all that touches the fish wet. Never prise a mouth open; look from "
            "below while the fish clings to glass.",
            "Switch mains equipment off, at the plug, before a hand goes into the water. Fish can carry "
            "infections that pass through broken skin: see a doctor; for a sick fish, ask a vet.",
            "Never release a fish. Law on import, keeping and sale differs from country to country and "
            "changes: check your own country's rules.",
            "This is a help for looking, not an authority.",
        ),
        "bullets",
    ),
)


# -- figures ----------------------------------------------------------------------------------------


def number_of(count: int, thing: str, which: str = "") -> str:
    """Write how many there are of a thing.

    Examples
    --------
    >>> number_of(1, "name"), number_of(3200, "name", "more")
    ('1 name', '3,200 more names')
    """
    which = f"{which} " if which else ""
    return f"{count:,} {which}{thing}{'' if count == 1 else 's'}"


def listed(words: Iterable[str]) -> str:
    """Return words as a list in a sentence."""
    *first, last = words
    return f"{', '.join(first)} and {last}" if first else last


# -- answers and leads ------------------------------------------------------------------------------


def answer_words(trait: Trait, text: str) -> str:
    """Return an answer, held as text, in plain words."""
    return cell_words(trait, parse_answer(trait, text))


def states_words(trait: Trait, states: Iterable[str]) -> str:
    """Return states of a trait in plain words, any of which may hold."""
    return " or ".join(trait.word(state) for state in states)


def none_words(taxon: str, label: str) -> str:
    """Return the name of a row of a ranking."""
    return "None of the kinds in the table" if taxon == NONE else label


def lead_states(couplet: Couplet, lead: Lead) -> tuple[str, ...]:
    """Return the states of a lead that its words name."""
    return (lead.shown or lead.states) if couplet.trait.has_states else ()


def lead_words(couplet: Couplet, lead: Lead) -> str:
    """Say in words what one lead of a couplet holds, with the traits that confirm it."""
    confirms = (f"; {trait.name.lower()}: {states_words(trait, states)}" for trait, states in lead.confirms)
    return _asked_words(couplet, lead) + "".join(confirms)


def _asked_words(couplet: Couplet, lead: Lead) -> str:
    trait = couplet.trait
    if trait.has_states:
        words = states_words(trait, lead_states(couplet, lead))
        not_so = lead is couplet.b and len(couplet.a.states) == 1 and len(lead.shown) != 1
        return f"{trait.name}: not so ({words})" if not_so else f"{trait.name}: {words}"
    cut = trait.number(couplet.threshold)
    side = f"at most {cut}" if lead is couplet.a else f"more than {cut}"
    return f"{trait.name} of an adult: {side}" if trait.kind == "ceiling" else f"{trait.name}: {side}"


# -- which table a document was made from -----------------------------------------------------------


@lru_cache(maxsize=1)
def made_with() -> str:
    """Return the name and version of the package."""
    try:
        return f"idkey {version('idkey')}"
    except PackageNotFoundError:  # run from a folder that was never installed
        return "idkey"


def table_date(table: TraitTable | None) -> date | None:
    """Return the date that a table states, None where it states none that can be read."""
    try:
        return date.fromisoformat(str(getattr(table, "date", "") or "")[:10])
    except ValueError:
        return None


def stamp(table: TraitTable | None) -> str:
    """Say which table a document was made from, with its version and date."""
    if table is None:
        return made_with()
    stated = getattr(table, "version", "") or ""
    day = table_date(table)
    parts = (
        f"table {table.name!r}",
        f"version {stated}" if stated else "version not stated",
        f"{day.day} {day:%B %Y}" if day else "date not stated",
        made_with(),
    )
    return clean(", ".join(parts))


def made_from(table: TraitTable | None) -> str:
    """Say what a document was made from, in a sentence."""
    return f"Made {'with' if table is None else 'from'} {stamp(table)}."


def sources_line(table: TraitTable | None) -> str:
    """Say where the sources stand, which are too many to print."""
    if table is None or not len(table.evidence):
        return "This table names no sources."
    return (
        f"The source of each filled cell stands in evidence.csv and sources.bib of the table {table.name!r} "
        f"({len(table.sources)} sources); they are too many to print."
    )
