"""A key as a document: couplets on the screen and in a console; on paper all that is needed at the tanks."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator
from itertools import islice, pairwise

from idkey.model.key import Couplet, Key, Lead
from idkey.table.units import number_of
from idkey.views import doc, words
from idkey.views.doc import (
    PRINT,
    SCREEN,
    TEXT,
    Columns,
    Document,
    Heading,
    Lines,
    Link,
    On,
    Soft,
    Strong,
    line,
    one_line,
)
from idkey.views.sheet import can_draw, fish_svg

_CROSSED_OUT = 5


def how_to_use(key: Key) -> tuple[str, ...]:
    """Return how the key is used, by the first place in it where one couplet sends on to another."""
    back = ((number, before[0]) for number, before in came_from(key).items() if before)
    turns = [
        f"Took a wrong turn? (from {sent}) beside {number} says that couplet {sent} sent you there."
        for number, sent in islice(back, 1)
    ]
    return (
        "Start at 1. Read both leads, a and b; take the one that fits the fish, and go on at the number that "
        "stands at its end.",
        "Can't see it, or not sure? Follow both leads: the fish is one of the names at the ends you reach. Do"
        " the same with a length, unless you know that the fish is adult.",
        *turns,
        "Stop at a name. Check it against everything else that you know of the fish; if that does not fit, "
        "the fish is a kind that this key does not hold. Never sell or pair a fish under a name that you "
        "doubt.",
    )


def key_document(key: Key, *, title: str = "") -> Document:
    """Return a key as a document, in print under a title of your own where one is given."""
    table = key.table
    if key.couplets:
        before = came_from(key)
        couplets = tuple(_parts(key, before))
        start = "Start at 1; go to the number at the end of the lead that fits."
    else:
        names = "; ".join(_labels(key, (t for t in table.ids if t not in key.left_out)))
        couplets, start = (line(f"These can't be told apart by this table: {names}."),), ""
    use = (Heading("How to use it"), Lines(how_to_use(key), "numbered"), *words.CAUTIONS, Heading("The key"))
    blocks = (
        On((SCREEN, PRINT), (line(_scope(key)), line(_crossed_out(key)))),
        line(_left_out(key), "small"),
        On(TEXT, (Lines(("",) if key.left_out else ()),)),
        On(SCREEN, (line(start),)),
        On(PRINT, (words.made_from(table), *use)),
        *couplets,
        On(PRINT, (*_how_to_look(key), Heading("Sources"), line(words.sources_line(table)), *_index(key))),
    )
    named = one_line(title) or f"Key to {_kinds_held(key)}"
    return words.of_table(table, named, blocks, titled=(PRINT,))


def _parts(key: Key, before: dict[int, tuple[int, ...]]) -> Iterator[doc.Block]:
    """Yield the couplets; of a key to genera first those, then the kinds of each under its name."""
    starts = [(1, ""), *sorted((number, genus) for genus, number in key.genera.items())]
    for (start, genus), (end, _) in pairwise([*starts, (len(key.couplets) + 1, "")]):
        if genus:
            yield Heading(one_line(genus))
        yield doc.Couplets(
            tuple(_couplet(key, c, before[c.number]) for c in key.couplets[start - 1 : end - 1])
        )


def _labels(key: Key, taxa: Iterable[str]) -> tuple[str, ...]:
    return tuple(one_line(key.table.label(t)) for t in taxa)


def _kinds_held(key: Key) -> str:
    return number_of(len(key.table) - len(key.left_out), "kind")


def _scope(key: Key) -> str:
    """Say what the key holds, how long it is, and what is left out."""
    if not key.couplets:
        return f"Covers {_kinds_held(key)}, which this table can't tell apart."
    scope = (
        f"Covers {_kinds_held(key)} in {number_of(len(key.couplets), 'couplet')}; "
        f"on average {key.questions:.1f} questions lead to an end (no key as telling needs fewer "
        f"than {key.least_questions:.1f})."
    )
    names = [name for ending in key.endings() for name in ending]
    if len(names) != len(set(names)):
        scope += " A kind that varies, or of which the feature is not known, stands at several ends."
    return scope


def _left_out(key: Key) -> str:
    """Name the kinds that are not keyed, each with the features that would place it."""
    kinds = []
    for taxon, name in zip(key.left_out, _labels(key, key.left_out), strict=True):
        places = ", ".join(one_line(trait.name).lower() for trait in key.would_place(taxon))
        kinds.append(f"{name}: {places}" if places else name)
    if not kinds:
        return ""
    return (
        "Too little is known to key out, so possible at every end; the features behind each name, once "
        f"known, would place it. {'; '.join(kinds)}."
    )


def _crossed_out(key: Key) -> str:
    """Say which kinds, crossed out by a keeper who does not keep them, leave most ends with one name."""
    found = key.crossed_out()[:_CROSSED_OUT]
    if not found:
        return ""
    (first, *rest), (most, *counts) = _labels(key, (taxon for taxon, _ in found)), (n for _, n in found)
    more = (f", {count} without {name}" for count, name in zip(counts, rest, strict=True))
    return (
        "Cross out the kinds that you do not keep: "
        f"{number_of(most, 'more end')} would hold one name without {first}{''.join(more)}."
    )


def came_from(key: Key) -> dict[int, tuple[int, ...]]:
    """Return for each couplet the couplets that lead to it."""
    before: dict[int, set[int]] = defaultdict(set)
    for couplet in key.couplets:
        for lead in (couplet.a, couplet.b):
            before[lead.goes_to or 0].add(couplet.number)
    return {couplet.number: tuple(sorted(before[couplet.number])) for couplet in key.couplets}


def _couplet(key: Key, couplet: Couplet, before: tuple[int, ...]) -> doc.Couplet:
    leads = []
    for letter, lead in (("a", couplet.a), ("b", couplet.b)):
        states, names = _states(couplet, lead), _labels(key, lead.taxa)
        head = "not told apart:" if len(names) > 1 else ""
        icons = words.state_icons(couplet.trait, states)
        says, *more = lead_words(couplet, lead).split("; ", 1)
        runs = (says, *(Soft(f"; {rest}") for rest in more))
        shows = ()
        if len(names) == 1 and can_draw(key.table):
            shows = (doc.Icon(fish_svg(key.table, lead.taxa[0]), names[0]),)
        leads.append(doc.Lead(letter, runs, icons, lead.goes_to, head, names, shows))
    return doc.Couplet(couplet.number, before, couplet.trait.asked, tuple(leads))


def _states(couplet: Couplet, lead: Lead) -> tuple[str, ...]:
    """Return the states of a lead that its words name."""
    return (lead.shown or lead.states) if couplet.trait.has_states else ()


def lead_words(couplet: Couplet, lead: Lead) -> str:
    """Say in words what one lead of a couplet holds, with the traits that confirm it."""
    trait = couplet.trait
    if trait.has_states:
        holds = words.states_words(trait, _states(couplet, lead))
        if lead is couplet.b and len(couplet.a.states) == 1 and len(lead.shown) != 1:
            holds = f"not so ({holds})"
    elif trait.unit == "count":
        most = math.floor(couplet.threshold)
        holds = f"{most} or fewer" if lead is couplet.a else f"{most + 1} or more"
    else:
        holds = f"{'at most' if lead is couplet.a else 'more than'} {trait.number(couplet.threshold)}"
    name = f"{trait.name} of an adult" if trait.kind == "ceiling" else trait.name
    confirms = (f"{t.name.lower()}: {words.states_words(t, states)}" for t, states in lead.confirms)
    genus = (f"this is {lead.genus}",) if lead.genus else ()
    return "; ".join((f"{name}: {holds}", *confirms, *genus))


def _how_to_look(key: Key) -> tuple[doc.Block, ...]:
    """Return how to look at each trait that the key asks, in the order in which it first asks them."""
    traits = {couplet.trait.id: couplet.trait for couplet in key.couplets}.values()
    hows = tuple((Strong(f"{trait.name}:"), f" {trait.how}") for trait in traits if trait.how)
    return doc.headed("How to look", hows, "", "small")


def index(key: Key) -> list[tuple[str, tuple[str, ...]]]:
    """Return every name that is keyed with the leads at which it stands, by name."""
    places: dict[str, list[str]] = {t: [] for t in key.table.ids if t not in key.left_out}
    for couplet in key.couplets:
        for letter in "ab":
            for taxon in getattr(couplet, letter).taxa:
                places[taxon].append(f"{couplet.number}{letter}")
    names = (one_line(words.introduced(key.table, taxon)) for taxon in places)
    entries = zip(names, map(tuple, places.values()), strict=True)
    return sorted(entries, key=lambda entry: (entry[0].casefold(), entry[0]))


def _index(key: Key) -> tuple[doc.Block, ...]:
    entries = []
    for name, where in index(key):
        links = [piece for place in where for piece in (", ", Link(place, f"#c{place[:-1]}"))]
        entries.append((Strong(f"{name}:" if where else name), " ", *links[1:]))
    return Heading("Index of names, with the leads at which they stand"), Columns(tuple(entries))
