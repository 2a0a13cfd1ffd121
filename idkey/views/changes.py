"""What a change of the table does, as a document: what needs doing first, what is well last."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial

from idkey.model.changes import Change, PastChange
from idkey.model.evidence import NONE
from idkey.model.lookalikes import FEW, Apart, Pair, Settle
from idkey.table.table import TraitTable
from idkey.table.units import listed, percent
from idkey.views.doc import PRINT, SCREEN, TEXT, Block, Document, Fold, Lines, On, Runs, Strong
from idkey.views.words import none_words, number_of, of_table, one_in, some

_MOST_NAMES, _MOST_KINDS, _MOST_WAYS = 4, 6, 2
_some = partial(some, most=5)


def change_document(change: Change) -> Document:
    """Return what a change does as a document."""
    return of_table(change.new, "What the change does", _change_blocks(change), titled=(PRINT,))


def apart_document(found: Apart) -> Document:
    """Return how well a kind is told from all others as a document."""
    title = f"{found.table.label(found.taxon)} against all others"
    return of_table(found.table, title, _apart_blocks(found), titled=(PRINT,))


def _calm(text: str, under: tuple[str, ...] = (), summary: Runs = "") -> Iterator[Block]:
    """What is well: on the screen its details are folded under `summary`, by default the text itself."""
    if not under:
        yield Lines((text,), style="outcome" if summary else "")
        return
    details = (Lines(under, "bullets"),)
    yield On(SCREEN, (Fold(summary or text, details),))
    yield On((TEXT, PRINT), (Lines((text,)), *details))


def _note(text: str, under: tuple[str, ...] = ()) -> Iterator[Block]:
    """What needs a look: stands out, its details folded."""
    return _calm(text, under, Strong(text))


def _change_blocks(change: Change) -> Iterator[Block]:
    if change.is_empty:
        yield from _calm("Nothing has changed.")
        return
    yield from _calm(_headline(change))
    troubled = [found for found in change.apart if not found.is_told]
    for found in troubled[:_MOST_KINDS]:
        yield from _apart_blocks(found)
    if rest := [found.taxon for found in troubled[_MOST_KINDS:]]:
        names = _names(change.new, rest)
        yield from _note(f"Nor well told from all others, the first of them least: {names}.")
    if change.not_held:
        more = number_of(change.not_held, "kind")
        yield from _note(f"{more} more changed, not held against the others.")
    if change.doubts:
        yield from _note("Cells that something speaks against:", _some(d.text for d in change.doubts))
    if change.past_count:
        yield from _past_blocks(change)
    for worths, say, text in (
        (change.idle, _note, "Traits that do not earn their place now:"),
        (change.missed, _note, "What is lost with the traits taken out:"),
        (change.useful, _calm, "What the new traits do:"),
    ):
        if worths:
            yield from say(text, _some(f"{w.trait.name}: {w.text}" for w in worths))
    if calm := [found.taxon for found in change.apart if found.is_told]:
        verb = "is" if len(calm) == 1 else "are"
        yield from _calm(f"{_names(change.new, calm)} {verb} told from every other kind.")
    if change.key_before is not None:
        yield from _key_blocks(change)


def _headline(change: Change) -> str:
    kinds = (
        ("added", change.new, change.added),
        ("changed", change.new, change.altered),
        ("names or claims changed", change.new, change.touched),
        ("taken out", change.old, change.removed),
    )
    traits = (
        ("new trait", change.traits_added),
        ("trait changed", change.traits_altered),
        ("trait taken out", change.traits_removed),
    )
    parts = [f"{verb}: {_names(table, taxa)}" for verb, table, taxa in kinds if taxa]
    parts += [f"{verb}: {_shortened([t.name for t in which])}" for verb, which in traits if which]
    text = "; ".join(parts)
    return f"{text[0].upper()}{text[1:]}."


def _past_blocks(change: Change) -> Iterator[Block]:
    past, of = "Past identifications", f"of {change.past_count:,}"
    if other := [_renamed_words(change, p) for p in change.past if p.is_renamed]:
        yield from _note(f"{past} that get another name: {len(other):,} {of}.", _some(other))
    if unread := [f"number {p.index + 1}: {'; '.join(p.unread)}" for p in change.past if p.unread]:
        text = f"{past} with answers the table can't take any more: {len(unread):,} {of}."
        yield from _note(text, _some(unread))
    wider = [p for p in change.past if not p.is_renamed and (p.gained or p.lost)]
    if wider:
        text = f"{past} that keep their name, but not what else is possible: {len(wider):,} {of}."
        yield from _calm(text, _some(_wider_words(change, p) for p in wider))
    if not change.past:
        yield from _calm(f"{past} looked at: {change.past_count:,}; nothing changes.")


def _renamed_words(change: Change, found: PastChange) -> str:
    before, after = _name(change.old, found.before), _name(change.new, found.after)
    return (
        f"number {found.index + 1}: was {before} ({percent(found.probability_before)}), "
        f"now {after} ({percent(found.probability_after)})"
    )


def _wider_words(change: Change, found: PastChange) -> str:
    parts = [f"now also {_names(change.new, found.gained)}"] if found.gained else []
    parts += [f"no longer {_names(change.old, found.lost)}"] if found.lost else []
    return f"number {found.index + 1}, {_name(change.new, found.after)}: {'; '.join(parts)}"


def _key_blocks(change: Change) -> Iterator[Block]:
    before, key = change.key_before, change.key_after or change.key_before
    if out := [t for t in key.left_out if t in {*change.added, *change.altered}]:
        names = _names(change.new, out)
        yield from _note(f"Left out of the key, since too little is known: {names}.")
    if change.key_after is None:
        yield from _calm("The new key is left to build_key, as it takes a while.")
        return
    count = len(key.couplets)
    more, size = count - len(before.couplets), f"{number_of(count, 'couplet')}, as before"
    if more:
        size = f"{number_of(abs(more), 'couplet')} {'more' if more > 0 else 'fewer'}, {count} in all"
    was, now = (f"{k.expected_questions():.1f}" for k in (before, key))
    asked = f"{now}, as before" if was == now else f"{was} -> {now}"
    yield from _calm(f"In the key: {size}; questions to a name: {asked}.")


def _apart_blocks(found: Apart) -> Iterator[Block]:
    """Say how well one kind is told from all others."""
    table = found.table
    who = table.label(found.taxon)
    if found.is_told:
        yield from _calm(f"{who} is told from every other kind.")
    if found.never:
        text = f"{who} can't be told from {_names(table, found.never)} by anything in the table."
        yield from (Lines((text,), style="alert"), Lines(_under(found, "never"), "bullets"))
    if found.one_look:
        text = f"{who} is told from {_names(table, found.one_look)} by one look at most, and that one errs."
        yield from _note(text, _under(found, "one look"))
    if found.adults_only:
        text = f"Only adults of {who} are told from {_names(table, found.adults_only)}; young fish are not."
        yield from _note(text, _under(found, "adults only"))
    if found.hardly_known:
        others = _names(table, found.hardly_known)
        text = f"Too little is known of both {who} and {others} to tell them apart (fewer than {FEW} traits)."
        yield from _calm(text)


def _under(found: Apart, why: str) -> tuple[str, ...]:
    pairs = [p for p in found.pairs if p.why == why]
    return tuple(f"{found.table.label(p.other)}: {_pair_words(p)}. {_settle_words(found, p)}" for p in pairs)


def _pair_words(pair: Pair) -> str:
    if pair.why == "never":
        return f"the same in all {pair.compared} traits known of both"
    if pair.trait is None:
        return "no look says more than a guess"
    look = _lower(pair.trait.name)
    return f"{look}, wrong {one_in(1 - pair.right)}" if pair.why == "one look" else f"adults by {look}"


def _settle_words(found: Apart, pair: Pair) -> str:
    ways = "; ".join(_way_words(found, way) for way in pair.settle[:_MOST_WAYS])
    return f"What would settle it: {ways}." if ways else "To settle it takes a new trait."


def _way_words(found: Apart, way: Settle) -> str:
    trait, among = _lower(way.trait.name), way.among or "kinds"
    if len(way.blank) > 1:
        share = f"{way.differ * 10:.0f} in 10" if way.differ < 0.95 else "all"
        return f"{trait}, blank for both ({share} pairs of the {way.known} {among} known differ)"
    count = round(way.differ * way.known)
    often = f"of the {way.known} {among} known, {count} differ from the other kind"
    return f"{trait}, blank for {found.table.label(way.blank[0])} ({often})"


def _lower(name: str) -> str:
    """Return a name as it stands within a sentence."""
    return name[:1].lower() + name[1:]


def _name(table: TraitTable, taxon: str) -> str:
    return _lower(none_words(taxon, "")) if taxon == NONE else table.label(taxon)


def _names(table: TraitTable, taxa: Sequence[str]) -> str:
    return _shortened([_name(table, taxon) for taxon in taxa])


def _shortened(names: Sequence[str]) -> str:
    many = len(names) > _MOST_NAMES
    return listed([*names[: _MOST_NAMES - 1], f"{len(names) - _MOST_NAMES + 1} more"] if many else names)
