"""What a book tells: a fish on one line, fish judged again, how often we err, whether two are one kind."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from idkey.book.labels import LOOKED_AT
from idkey.book.pair import CAUTION, SameKind
from idkey.book.rates import Rates
from idkey.book.recheck import Named, Recheck, Rechecked
from idkey.table.table import TraitTable
from idkey.table.units import percent
from idkey.views import doc
from idkey.views.doc import Document, Soft, Table, headed, line, one_line
from idkey.views.words import claims_of, none_words, of_table

if TYPE_CHECKING:
    from idkey.book.records import Fish

_WIDTH = 100
_MOST_LOOKS, _MOST_FISH, _MOST_CHANGES = 3, 200, 20
_SINCE = {
    "table": "the table says otherwise",
    "package": "the package judges otherwise",
    "both": "the table says, and the package judges, otherwise",
    "not known": "the table of then is not to be had",
}


def fish_words(table: TraitTable, fish: Fish) -> str:
    """Return a fish on one line: number, name as certain as it is, where it is."""
    places = (f"tank {fish.tank}" if fish.tank else "", fish.tag, f"{fish.count:,} fish" * (fish.count > 1))
    return one_line(", ".join(filter(None, (f"No. {fish.number}: {_name(table, fish)}", *places))))


def _name(table: TraitTable, fish: Fish) -> str:
    naming, look = fish.naming, fish.look
    if naming:
        return naming.name if naming.ground != LOOKED_AT else f"{naming.name}, by its looks"
    if look is None or not look.answers:
        return "not looked at yet"
    return f"likeliest {_named(table, Named(*max(look.names.items(), key=lambda name: name[1])))}"


def _named(table: TraitTable, named: Named) -> str:
    label = table.label(named.taxon) if named.taxon in table.taxa.index else named.taxon
    return f"{none_words(named.taxon, label)} ({percent(named.probability)})"


def same_kind_document(pair: SameKind) -> Document:
    """Return whether two fish are one kind: the verdict, what speaks for it, what would settle it."""
    looks = tuple(f"{look.trait.asked} ({' and '.join(look.fish)})" for look in pair.looks)
    blocks = (
        line(pair.text, "outcome"),
        *headed("What was seen on both", tuple(reason.text for reason in pair.reasons), "bullets"),
        *headed("To settle it, look next", looks[:_MOST_LOOKS], "numbered"),
        *headed("Before they breed", CAUTION, "bullets"),
    )
    title = f"Are {pair.names[0]} and {pair.names[1]} one kind?"
    return of_table(pair.table, title, blocks, width=_WIDTH)


def recheck_document(recheck: Recheck) -> Document:
    """Return the fish that come out otherwise, with another name first."""
    heads = ("Fish", "Then", "Now", "Moved", "Since what")
    rows = tuple(_rechecked(recheck, fish) for fish in recheck.fish[:_MOST_FISH])
    more = len(recheck.fish) - len(rows)
    table = (Table(heads, rows, "", "", (28.0, 38.0, 38.0, 16.0, 58.0)),) if rows else ()
    moved = "Moved is the share of the probability that has gone to other names."
    less = f" Of {recheck.slightly:,} more the probabilities changed a little." if recheck.slightly else ""
    note = line(f"{moved}{less}" if rows else less.strip(), "soft")
    left = line(f"Not shown: {more:,} more; .to_frame() has all." if more else "")
    changes = headed("What has changed in the table", _changes(recheck), "bullets")
    blocks = (line(recheck.text, "outcome"), *changes, *table, left, note)
    return of_table(recheck.table, "The fish of the book, judged again", blocks, width=_WIDTH)


def _changes(recheck: Recheck) -> tuple[str, ...]:
    """Return each change once, with its sources as they now are, that first which bears on most fish."""
    fish = Counter((c.what, c.taxon, c.trait, c.text) for f in recheck.fish for c in f.causes)
    told = []
    for (what, taxon, trait, text), count in fish.most_common(_MOST_CHANGES):
        claims = claims_of(recheck.table, taxon, trait) if what in ("cell", "relative") else ()
        kin = ", by which blank cells are judged" if what == "relative" else ""
        sources = f"; source: {'; '.join(claims)}" if claims else ""
        told.append(f"{text}{kin} ({count:,} fish{sources})")
    more = len(fish) - len(told)
    return (*told, *([f"and {more:,} more"] if more else []))


def _rechecked(recheck: Recheck, fish: Rechecked) -> tuple[doc.Content, ...]:
    gone = f"{fish.gone} {fish.to}".strip() if fish.gone else ""
    named = f"named {fish.name}, {fish.ground}" if fish.name else ""
    about = "; ".join(filter(None, (fish.tag, fish.label and f"sold as {fish.label}", named, gone)))
    old = recheck.editions[fish.edition] or recheck.table
    why = (_SINCE[fish.since], *(cause.text for cause in fish.causes))
    why += tuple(f"can't be taken any more: {answer}" for answer in fish.unread)
    head = (f"No. {fish.number}", Soft(f"\n{about}" if about else ""))
    return head, _named(old, fish.then), _named(recheck.table, fish.now), percent(fish.moved), "\n".join(why)


def rates_document(rates: Rates) -> Document:
    """Return how often answers were wrong, trait by trait, what is offered first."""
    others = tuple(rate.text for rate in rates.traits if rate.answers and not rate.is_enough)
    blocks = (
        line(rates.text, "outcome"),
        *headed("Offered as your own rates", tuple(rate.text for rate in rates.offered), "bullets"),
        *headed("Too few answers yet", others, "bullets"),
        *headed("Fish left out", rates.left_out, "bullets"),
    )
    return of_table(rates.table, "How often do we err?", blocks, width=_WIDTH)
