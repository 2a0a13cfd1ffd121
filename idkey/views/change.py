"""What a change of the table does, as text and as HTML: what needs doing first, what is well last."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

from idkey.model.evidence import NONE
from idkey.model.lookalikes import FEW
from idkey.views.html import page
from idkey.views.words import listed, none_words, one_in, percent

if TYPE_CHECKING:
    from idkey.model.changes import Change, PastChange
    from idkey.model.lookalikes import Apart, Pair, Settle
    from idkey.table.table import TraitTable

__all__ = ["apart_html", "apart_text", "change_html", "change_text"]

_WIDTH = 78
_MOST_NAMES = 4
_MOST_KINDS = 6
_MOST_LINES = 5
_MOST_WAYS = 2


@dataclass(frozen=True)
class _Line:
    """One thing to say: a sentence, and what belongs under it.

    `weight` is "alert" for what can't be told, "note" for what needs a look, "calm" for the rest.
    """

    text: str
    weight: str = "note"
    under: tuple[str, ...] = ()


# -- text and HTML of the same lines ----------------------------------------------------------------


def change_text(change: Change) -> str:
    """Return what a change does as plain text."""
    return _as_text(_change_lines(change))


def change_html(change: Change) -> str:
    """Return what a change does as HTML."""
    return _as_html(_change_lines(change))


def apart_text(found: Apart) -> str:
    """Return how well a kind is told from all others as plain text."""
    return _as_text(_apart_lines(found))


def apart_html(found: Apart) -> str:
    """Return how well a kind is told from all others as HTML."""
    return _as_html(_apart_lines(found))


def _as_text(lines: Iterable[_Line]) -> str:
    found = []
    for line in lines:
        found += textwrap.wrap(line.text, _WIDTH)
        for text in line.under:
            found += textwrap.wrap(text, _WIDTH, initial_indent="  - ", subsequent_indent="    ")
    return "\n".join(found)


def _as_html(lines: Iterable[_Line]) -> str:
    return page("\n".join(map(_line_html, lines)))


def _line_html(line: _Line) -> str:
    known = {"alert": ' class="idk-alert"', "note": ' class="idk-outcome"', "calm": ""}[line.weight]
    items = "".join(f"<li>{escape(text)}</li>" for text in line.under)
    if items and line.weight != "alert":
        return f"<details><summary{known}>{escape(line.text)}</summary><ul>{items}</ul></details>"
    return f"<p{known}>{escape(line.text)}</p>{f'<ul>{items}</ul>' if items else ''}"


# -- the whole change -------------------------------------------------------------------------------


def _change_lines(change: Change) -> Iterator[_Line]:
    if change.is_empty:
        yield _Line("Nothing has changed.", "calm")
        return
    yield _Line(_headline(change), "calm")
    troubled = [found for found in change.apart if not found.is_told]
    for found in troubled[:_MOST_KINDS]:
        yield from _apart_lines(found)
    yield from _more_kinds(change, troubled[_MOST_KINDS:])
    if change.doubts:
        yield _Line("Cells that something speaks against:", under=_some(d.text for d in change.doubts))
    yield from _past_lines(change)
    yield from _trait_lines(change)
    calm = [found.taxon for found in change.apart if found.is_told]
    if calm:
        verb = "is" if len(calm) == 1 else "are"
        yield _Line(f"{_names(change.new, calm)} {verb} told from every other kind.", "calm")
    yield from _key_lines(change)


def _headline(change: Change) -> str:
    old, new = change.old, change.new
    parts = [
        f"{verb}: {_names(table, taxa)}"
        for verb, table, taxa in (
            ("added", new, change.added),
            ("changed", new, change.altered),
            ("names or claims changed", new, change.touched),
            ("taken out", old, change.removed),
        )
        if taxa
    ]
    parts += [
        f"{verb}: {_shortened([t.name for t in traits])}"
        for verb, traits in (
            ("new trait", change.traits_added),
            ("trait changed", change.traits_altered),
            ("trait taken out", change.traits_removed),
        )
        if traits
    ]
    text = "; ".join(parts)
    return f"{text[0].upper()}{text[1:]}."


def _more_kinds(change: Change, rest: Sequence[Apart]) -> Iterator[_Line]:
    if rest:
        names = _names(change.new, [found.taxon for found in rest])
        yield _Line(f"Nor well told from all others, the first of them least: {names}.")
    if change.not_held:
        yield _Line(f"{_counted(change.not_held, 'kind')} more changed, not held against the others.")


def _past_lines(change: Change) -> Iterator[_Line]:
    if not change.past_count:
        return
    of = f"of {change.past_count:,}"
    other = [p for p in change.past if p.is_renamed]
    wider = [p for p in change.past if not p.is_renamed and (p.gained or p.lost)]
    unread = [p for p in change.past if p.unread]
    if other:
        under = _some(_renamed_words(change, p) for p in other)
        yield _Line(f"Past identifications that get another name: {len(other):,} {of}.", under=under)
    if unread:
        under = _some(f"{_past_name(p)}: {'; '.join(p.unread)}" for p in unread)
        text = f"Past identifications with answers the table can't take any more: {len(unread):,} {of}."
        yield _Line(text, under=under)
    if wider:
        under = _some(_wider_words(change, p) for p in wider)
        text = (
            f"Past identifications that keep their name, but not what else is possible: {len(wider):,} {of}."
        )
        yield _Line(text, "calm", under)
    if not change.past:
        yield _Line(f"Past identifications looked at: {change.past_count:,}; nothing changes.", "calm")


def _past_name(found: PastChange) -> str:
    return f"{found.label} (number {found.index + 1})" if found.label else f"number {found.index + 1}"


def _renamed_words(change: Change, found: PastChange) -> str:
    before, after = _name(change.old, found.before), _name(change.new, found.after)
    return (
        f"{_past_name(found)}: was {before} ({percent(found.probability_before)}), "
        f"now {after} ({percent(found.probability_after)})"
    )


def _wider_words(change: Change, found: PastChange) -> str:
    parts = []
    if found.gained:
        parts.append(f"now also {_names(change.new, found.gained)}")
    if found.lost:
        parts.append(f"no longer {_names(change.old, found.lost)}")
    return f"{_past_name(found)}, {_name(change.new, found.after)}: {'; '.join(parts)}"


def _trait_lines(change: Change) -> Iterator[_Line]:
    if change.idle:
        under = _some(f"{w.trait.name}: {w.text}" for w in change.idle)
        yield _Line("Traits that do not earn their place now:", under=under)
    if change.missed:
        under = _some(f"{w.trait.name}: {w.text}" for w in change.missed)
        yield _Line("What is lost with the traits taken out:", under=under)
    if change.useful:
        yield _Line(
            "What the new traits do:", "calm", _some(f"{w.trait.name}: {w.text}" for w in change.useful)
        )


def _key_lines(change: Change) -> Iterator[_Line]:
    if change.key_before is None or change.key_after is None:
        return
    out = [t for t in change.key_after.left_out if t in {*change.added, *change.altered}]
    if out:
        names = _names(change.new, out)
        yield _Line(f"Left out of the key, since too little is known: {names}.")
    more, count = change.couplets_added, len(change.key_after.couplets)
    size = f"{_counted(count, 'couplet')}, as before"
    if more:
        size = f"{_counted(abs(more), 'couplet')} {'more' if more > 0 else 'fewer'}, {count} in all"
    before, after = f"{change.questions_before:.1f}", f"{change.questions_after:.1f}"
    asked = f"{after}, as before" if before == after else f"{before} -> {after}"
    yield _Line(f"In the key: {size}; questions to a name: {asked}.", "calm")


# -- one kind against all others --------------------------------------------------------------------


def _apart_lines(found: Apart) -> Iterator[_Line]:
    table = found.table
    who = table.label(found.taxon)
    if found.is_told:
        yield _Line(f"{who} is told from every other kind.", "calm")
        return
    if found.never:
        text = f"{who} can't be told from {_names(table, found.never)} by anything in the table."
        yield _Line(text, "alert", _under(found, "never", _never_words))
    if found.one_look:
        text = f"{who} is told from {_names(table, found.one_look)} by one look at most, and that one errs."
        yield _Line(text, "note", _under(found, "one look", _one_look_words))
    if found.adults_only:
        text = f"Only adults of {who} are told from {_names(table, found.adults_only)}; young fish are not."
        yield _Line(text, "note", _under(found, "adults only", _adults_words))
    if found.hardly_known:
        text = (
            f"Too little is known of both {who} and {_names(table, found.hardly_known)} to tell them apart "
            f"(fewer than {FEW} traits)."
        )
        yield _Line(text, "calm")


def _under(found: Apart, why: str, words: Callable[[Apart, Pair], str]) -> tuple[str, ...]:
    return tuple(words(found, pair) for pair in found.pairs if pair.why == why)


def _never_words(found: Apart, pair: Pair) -> str:
    same = f"the same in all {pair.compared} traits known of both"
    return f"{found.table.label(pair.other)}: {same}. {_settle_words(found, pair)}"


def _one_look_words(found: Apart, pair: Pair) -> str:
    look = "no look says more than a guess"
    if pair.trait is not None:
        look = f"{_lower(pair.trait.name)}, wrong {one_in(1 - pair.right)}"
    return f"{found.table.label(pair.other)}: {look}. {_settle_words(found, pair)}"


def _adults_words(found: Apart, pair: Pair) -> str:
    look = f"adults by {_lower(pair.trait.name)}. " if pair.trait is not None else ""
    return f"{found.table.label(pair.other)}: {look}{_settle_words(found, pair)}"


def _settle_words(found: Apart, pair: Pair) -> str:
    if not pair.settle:
        return "To settle it takes a new trait."
    ways = "; ".join(_way_words(found, settle) for settle in pair.settle[:_MOST_WAYS])
    return f"What would settle it: {ways}."


def _way_words(found: Apart, settle: Settle) -> str:
    trait, among = _lower(settle.trait.name), settle.among or "kinds"
    if len(settle.blank) > 1:
        share = f"{settle.differ * 10:.0f} in 10" if settle.differ < 0.95 else "all"
        often = f"{share} pairs of the {settle.known} {among} known differ"
        return f"{trait}, blank for both ({often})"
    count = round(settle.differ * settle.known)
    blank = found.table.label(settle.blank[0])
    often = f"of the {settle.known} {among} known, {count} differ from the other kind"
    return f"{trait}, blank for {blank} ({often})"


# -- words ------------------------------------------------------------------------------------------


def _lower(name: str) -> str:
    """Return a name as it stands within a sentence."""
    return name[:1].lower() + name[1:]


def _name(table: TraitTable, taxon: str) -> str:
    return _lower(none_words(taxon, "")) if taxon == NONE else table.label(taxon)


def _names(table: TraitTable, taxa: Sequence[str]) -> str:
    return _shortened([_name(table, taxon) for taxon in taxa])


def _shortened(names: Sequence[str]) -> str:
    if len(names) <= _MOST_NAMES:
        return listed(names)
    return listed([*names[: _MOST_NAMES - 1], f"{len(names) - _MOST_NAMES + 1} more"])


def _some(texts: Iterable[str]) -> tuple[str, ...]:
    """Return the first few texts, and how many are left."""
    found = list(texts)
    more = len(found) - _MOST_LINES
    return tuple(found) if more <= 0 else (*found[:_MOST_LINES], f"and {more:,} more")


def _counted(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"
