"""What a printed document says: titles, cautions, back references, index. Knows neither HTML nor PDF."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from importlib.metadata import PackageNotFoundError, version
from typing import TYPE_CHECKING

from idkey.views.care import in_reading_order, points, standing_line
from idkey.views.compare_words import at_any_age, care_line, mix_up_words
from idkey.views.words import lead_words, percent

if TYPE_CHECKING:
    from idkey.care.sheet import CareSheet
    from idkey.model.compare import Comparison
    from idkey.model.key import Couplet, Key, Lead
    from idkey.table.schema import Trait
    from idkey.table.table import TraitTable

__all__ = [
    "CAUTIONS",
    "CLASS_NOTE",
    "HOW_TO_USE",
    "CareRow",
    "ContrastGroup",
    "came_from",
    "care_rows",
    "care_standing",
    "care_title",
    "compare_title",
    "contrast_groups",
    "end_words",
    "index",
    "key_title",
    "labels",
    "lead_line",
    "lead_states",
    "looks",
    "looks_lines",
    "made_with",
    "plain",
    "scope_line",
    "sources_line",
    "stamp",
    "text_date",
]

HOW_TO_USE = (
    "Start at 1. Read both leads, a and b; take the one that fits the fish, and go on at the number that "
    "stands at its end.",
    "Can't see it, or not sure? Follow both leads: the fish is one of the names at the ends you reach. Do"
    " the same with a length, unless you know that the fish is adult.",
    "Took a wrong turn? (from 12) beside a number says that couplet 12 sent you there.",
    "Stop at a name. Check it against everything else that you know of the fish; if that does not fit, "
    "the fish is a kind that this key does not hold. Never sell or pair a fish under a name that you "
    "doubt.",
)
"""How to use a key, in four lines."""

CAUTIONS = (
    "Fin spines and cheek hooks (odontodes) cut, and tangle in nets: look through a rigid clear box, and "
    "keep your hands and all that touches the fish wet. Never prise a mouth open; look from below while "
    "the fish clings to glass.",
    "Switch mains equipment off, at the plug, before a hand goes into the water. Fish can carry "
    "infections that pass through broken skin: see a doctor; for a sick fish, ask a vet.",
    "Never release a fish. Law on import, keeping and sale differs from country to country and changes: "
    "check your own country's rules.",
    "This is a help for looking, not an authority.",
)

CLASS_NOTE = (
    "How we know: read = the passage itself was read; secondary = second-hand; memory = no source at hand; "
    "common practice = a rule of the trade."
)

_KEEP = "\n\t "
_HIDDEN = ("Cc", "Cf", "Cs", "Co", "Cn")


def plain(text: object) -> str:
    r"""Return text that can be printed: what has no shape (control, direction, half characters) is a space.

    Examples
    --------
    >>> plain("a\x00b\u202ec")
    'a b c'
    """
    found = str(text)
    if found.isascii() and found.isprintable():
        return found
    return "".join(c if c in _KEEP or unicodedata.category(c) not in _HIDDEN else " " for c in found)


@lru_cache(maxsize=1)
def made_with() -> str:
    """Return the name and version of the package."""
    try:
        return f"idkey {version('idkey')}"
    except PackageNotFoundError:  # run from a folder that was never installed
        return "idkey"


def text_date(table: TraitTable | None) -> date | None:
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
    day = text_date(table)
    parts = [
        f"table {table.name!r}",
        f"version {stated}" if stated else "version not stated",
        f"{day.day} {day:%B %Y}" if day else "date not stated",
        made_with(),
    ]
    return plain(", ".join(parts))


# -- the key ----------------------------------------------------------------------------------------


def key_title(key: Key, title: str = "") -> str:
    """Return the title given, or one that says how many kinds the key holds."""
    return _one_line(title) or f"Key to {_kinds(len(key.table) - len(key.left_out))}"


def _kinds(count: int) -> str:
    return "1 kind" if count == 1 else f"{count} kinds"


def scope_line(key: Key) -> str:
    """Say what the key holds, how long it is, and what is left out."""
    line = f"Covers {_kinds(len(key.table) - len(key.left_out))}"
    if not key.couplets:
        return f"{line}, which this table can't tell apart."
    line += (
        f" in {len(key.couplets)} couplet{'s' if len(key.couplets) > 1 else ''}; "
        f"on average {key.expected_questions():.1f} questions lead to an end."
    )
    names = [n for ending in key.endings() for n in ending]
    if len(names) != len(set(names)):
        line += " A kind that varies, or of which the feature is not known, stands at several ends."
    if key.left_out:
        line += f" {_kinds(len(key.left_out))} left out: see the end."
    return line


def came_from(key: Key) -> dict[int, tuple[int, ...]]:
    """Return for each couplet the couplets that lead to it."""
    found: dict[int, list[int]] = {couplet.number: [] for couplet in key.couplets}
    for couplet in key.couplets:
        for lead in (couplet.a, couplet.b):
            if lead.goes_to is not None and couplet.number not in found[lead.goes_to]:
                found[lead.goes_to].append(couplet.number)
    return {number: tuple(sorted(before)) for number, before in found.items()}


def lead_line(couplet: Couplet, lead: Lead) -> str:
    """Return what a lead says, with the traits that confirm it."""
    return plain(lead_words(couplet, lead))


def lead_states(couplet: Couplet, lead: Lead) -> tuple[str, ...]:
    """Return the states of a lead that its words name, for the drawings beside it."""
    return (lead.shown or lead.states) if couplet.trait.has_states else ()


def end_words(key: Key, lead: Lead) -> tuple[str, tuple[str, ...]]:
    """Return what stands before the names at the end of a lead, and the names."""
    names = labels(key.table, lead.taxa)
    if lead.group and len(names) > 1:
        return f"{plain(lead.group)}:", names
    return ("", names) if len(names) == 1 else ("not told apart:", names)


def labels(table: TraitTable, taxa: Iterable[str]) -> tuple[str, ...]:
    """Return the names of kinds as they are printed."""
    return tuple(_one_line(table.label(t)) for t in taxa)


def _one_line(text: str) -> str:
    return " ".join(plain(text).split())


def looks(key: Key) -> tuple[Trait, ...]:
    """Return the traits that the key asks, each once, in the order in which it first asks them."""
    return tuple({couplet.trait.id: couplet.trait for couplet in key.couplets}.values())


def index(key: Key) -> list[tuple[str, tuple[str, ...]]]:
    """Return every name that is keyed with the leads at which it stands, by name."""
    places: dict[str, list[str]] = {t: [] for t in key.table.ids if t not in key.left_out}
    for couplet in key.couplets:
        for letter, lead in (("a", couplet.a), ("b", couplet.b)):
            for taxon in lead.taxa:
                places[taxon].append(f"{couplet.number}{letter}")
    found = list(zip(labels(key.table, places), map(tuple, places.values()), strict=True))
    return sorted(found, key=lambda entry: (entry[0].casefold(), entry[0]))


def sources_line(table: TraitTable | None) -> str:
    """Say where the sources stand, which are too many to print."""
    if table is None or not len(table.evidence):
        return "This table names no sources."
    return plain(
        f"The source of each filled cell stands in evidence.csv and sources.bib of the table {table.name!r} "
        f"({len(table.sources)} sources); they are too many to print."
    )


# -- a care sheet, a comparison -----------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class CareRow:
    """One need as it is printed: what, what is right, whether nothing suits all names, how we know."""

    label: str
    text: str
    conflict: bool
    why: str


@dataclass(frozen=True, slots=True)
class ContrastGroup:
    """A part of a comparison: its heading, the heads and rows of its table, and lines below the table."""

    heading: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    rest: tuple[str, ...]


DOES_NOT_APPLY, NOT_KNOWN = "does not apply", "not known"


def care_title(sheet: CareSheet) -> str:
    """Return the title of a care sheet."""
    several = len(sheet.labels) > 1
    return _one_line(f"{'Care that is right for all of' if several else 'Care'}: {'; '.join(sheet.labels)}")


def care_standing(sheet: CareSheet) -> str:
    """Say how likely the names are, for a sheet made from an identification; blank for any other."""
    return plain(standing_line(sheet))


def care_rows(sheet: CareSheet) -> list[CareRow]:
    """Return the needs of a care sheet: cautions of these kinds, needs, what concerns every fish."""
    rows = []
    own, needs, folded = in_reading_order(sheet)
    for need in (*own, *needs, *folded):
        why = ", ".join(need.classes)
        if need.sources:
            why += f"; {len(need.sources)} source{'s' if len(need.sources) > 1 else ''}"
        text = need.text
        if need in folded:
            text = "\n".join(f"• {point}" for point in points(need))
        rows.append(CareRow(_one_line(need.label), plain(text), bool(need.conflict), plain(why)))
    return rows


def compare_title(comparison: Comparison) -> str:
    """Return the title of a comparison."""
    return _one_line(" beside ".join(comparison.labels))


def looks_lines(comparison: Comparison) -> tuple[str, ...]:
    """Say which looks tell the kinds apart best, how often the name is wrong after them, how care differs."""
    asked = [f"{i}. {t.question or t.name}" for i, t in enumerate(comparison.looks, start=1)]
    wrong = [
        mix_up_words(comparison, young=y) for y in ((False,) if at_any_age(comparison) else (False, True))
    ]
    care = care_line(comparison)
    return tuple(plain(line) for line in (*asked, *wrong, *([care] if care else [])))


def contrast_groups(comparison: Comparison) -> list[ContrastGroup]:
    """Return what differs, what is shared and what is not known, each with its heading; no empty one."""
    found = []
    for heading, contrasts, measured in (
        ("What differs", comparison.differ, True),
        ("What they share", comparison.shared, False),
        ("Not known of all", comparison.unknown, False),
    ):
        rows, alike = [], {word: [] for word in (DOES_NOT_APPLY, NOT_KNOWN)}
        for c in contrasts:
            if len(set(c.cells)) == 1 and c.cells[0] in alike:
                alike[c.cells[0]].append(c.trait.name.lower())
                continue
            last = (percent(c.right),) if measured else ()
            rows.append(tuple(plain(text) for text in (c.trait.name, *c.cells, *last)))
        rest = tuple(
            plain(f"{word[0].upper()}{word[1:]} for any of them: {', '.join(names)}.")
            for word, names in alike.items()
            if names
        )
        if rows or rest:
            heads = ("Feature", *(_one_line(label) for label in comparison.labels))
            heads += ("One look is right",) if measured else ()
            found.append(ContrastGroup(heading, heads, tuple(rows), rest))
    return found
