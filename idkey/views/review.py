"""A table looked over, what a change of it does, and how well a kind is told from all others, as documents.

What needs doing comes first, what is well last.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from typing import Any

import pandas as pd

from idkey.model.changes import Change
from idkey.model.lookalikes import FEW, Apart, Pair, Settle
from idkey.model.review import Review
from idkey.table.schema import NONE
from idkey.table.table import TraitTable
from idkey.table.units import first_down, first_up, listed, number_of, percent
from idkey.views import doc
from idkey.views.charts import MOST_COLUMNS, MOST_ROWS, MOST_SHEETS, grid_sheets
from idkey.views.doc import PRINT, SCREEN, TEXT, Block, Document, Fold, Group, Heading, Lines, On, Runs, line
from idkey.views.words import made_from, none_words, of_table, one_in, some, sources_line

_MOST_ROWS, _MOST_IN_TEXT = 6, 4
_MOST_NAMES, _MOST_KINDS, _MOST_WAYS = 4, 6, 2
_TALLEST = 226.0
"""Height of a sheet of the grid on paper, mm: a page of Letter with its heading."""
_CLASSES = (
    "How we know: read = the passage itself was read; secondary = second-hand; memory = no source at hand; "
    "common practice = a rule of the trade."
)
_NOTES = {
    "Fill next": "For each kind the blank cell that would help most: how many kinds nothing tells from it "
    "now, and how many of these the cell would tell if it came out like that of a kind drawn at random.",
    "Cells in doubt": "A doubt is no error; look at the fish and the page once more.",
    "Without a source": "Filled, but nobody has said yet where it is written.",
    "Most alike": "Adults, by all looks together; 50 % is a guess.",
    "Weakest evidence": "A cell counts by the strongest claim behind it.",
    "Traits that do not earn their place": "Adults, one look each; such a trait may still confirm a name or "
    "tell young fish.",
}
_APART = {
    "never": "{} can't be told from {} by anything in the table.",
    "one look": "{} is told from {} by a single feature at most, and that is easily misread.",
    "adults only": "Only adults of {} are told from {}; young fish are not.",
}
_some = partial(some, most=5)


def review_document(review: Review) -> Document:
    """Return a review of a table: its figures in sentences, the weakest points, the grid of its cells."""
    first, *rest = _sentences(review)
    notes = (_CLASSES, sources_line(review.table)) if review.has_evidence else ()
    sheets = [doc.Picture(svg, words, tallest=_TALLEST, fit=False) for svg, words in grid_sheets(review)]
    heading, left_out = Heading("What each cell rests on"), line(_left_out(review), "small")
    on_paper = (made_from(review.table), Lines((first, *rest), "bullets"), Lines(notes, style="small"))
    blocks = (
        On(SCREEN, (line(first, "outcome"), Lines(tuple(rest), "bullets"))),
        On(TEXT, (Lines((first, *rest)),)),
        On(PRINT, on_paper),
        *(block for part in _parts(review) for block in part),
        On(PRINT, (left_out, Group((heading, *sheets[:1])), *sheets[1:])),
        On(SCREEN, (heading, *sheets, left_out)),
    )
    title = f"The trait table looked over: {_size(review)}"
    return of_table(review.table, title, blocks, titled=(SCREEN, PRINT))


def _size(review: Review) -> str:
    return f"{number_of(len(review.taxa), 'kind')} by {number_of(len(review.traits), 'trait')}"


def _left_out(review: Review) -> str:
    """Say what the grid leaves out; nothing where it is whole."""
    kinds, traits = len(review.taxa) - MOST_SHEETS * MOST_ROWS, len(review.traits) - MOST_COLUMNS
    left = [number_of(n, what, "more") for n, what in ((kinds, "kind"), (traits, "trait")) if n > 0]
    return f"Not shown: {listed(left)}; .grid has all." if left else ""


def _sentences(review: Review) -> Iterator[str]:
    """Give the figures of a review, one sentence each, the plainest first."""
    columns = ("filled", "not_applicable", "blank", "core", "core_filled")
    filled, away, blank, core, had = map(int, review.taxa.sum()[list(columns)])
    share = _share(filled, filled + blank)
    size = f"{_size(review)}: {filled:,} of the {filled + blank:,} cells that apply are filled ({share})"
    yield f"{size}; {away:,} do not apply." if away else f"{size}."
    if core:
        share = _share(had, core)
        yield f"Of the cells that every kind should have, {had:,} of {core:,} are filled ({share})."
    if not review.has_evidence:
        yield "This table does not say what its cells rest on."
    else:
        total, read, memory = (int(review.taxa[c].sum()) for c in ("filled", "read", "memory"))
        second_hand, practice = (int(review.taxa[c].sum()) for c in ("secondary", "common practice"))
        yield (
            f"Of the filled cells {read:,} were read at the source ({_share(read, total)}), "
            f"{second_hand:,} are second-hand, {practice:,} common practice and "
            f"{memory:,} from memory ({_share(memory, total)})."
        )
        few, cells, genus = len(review.single_source), len(review.cells), review.cells["genus_only"].sum()
        yield (
            f"With the cells for young fish, {few:,} of {cells:,} rest on one source or none, and {genus:,} "
            "on what is said of the genus or a group, not of the kind itself."
        )
        if len(review.unsourced):
            yield f"{number_of(len(review.unsourced), 'cell')} still without a source."
    kinds, untold = len(review.taxa), review.untold
    if kinds < 2:
        yield "One kind alone can't be mixed up."
    elif not len(untold):
        yield "Every two adults are told apart by some look."
    else:
        few, pairs = int(untold["hardly_compared"].sum()), number_of(kinds * (kinds - 1) // 2, "pair")
        because = f", {few:,} of them because fewer than {FEW} traits are known of both" if few else ""
        yield f"{len(untold):,} of {pairs} of adults are told apart by no single look{because}."
    if review.doubts:
        yield f"{number_of(len(review.doubts), 'cell')} in doubt: against the genus, or against a source."
    if review.idle:
        none = "does not earn its place" if len(review.idle) == 1 else "do not earn their place"
        names = ", ".join(w.trait.name.lower() for w in review.idle)
        yield f"{number_of(len(review.idle), 'trait')} {none}: {names}."


def _share(part: int, whole: int) -> str:
    return f"{100 * part / whole:.0f} %" if whole else "none"


def _parts(review: Review) -> Iterator[tuple[Block, ...]]:
    """Give the weakest points, those first that can be mended soonest; no empty part."""
    table = review.table
    kind = partial(_named, table.label)
    trait = partial(_named, lambda trait_id: table.trait(trait_id).name)
    one_source = ("On one source or none",) if review.has_evidence else ()
    pairs, taxa = review.lookalikes.frame, review.taxa[review.taxa["blank"] > 0]
    weak = review.traits.assign(weak=review.traits["memory"] + review.traits["common practice"])

    def best(trait_id: str) -> str:
        return table.trait(trait_id).name if trait_id else "nothing in the table"

    yield _part(
        "Fill next",
        "fill_next",
        ("Kind", "Look at", "Not told from", "Would tell, likely"),
        review.fill_next.drop_duplicates("taxon"),
        lambda r: (
            kind(r.taxon),
            trait(r.trait),
            str(r.untold),
            f"{r.likely:.0f}" if r.likely >= 1 else "under 1",
        ),
    )
    heads = ("Column", "What speaks against it")
    yield _part("Cells in doubt", "doubts", heads, review.doubts, lambda doubt: (doubt.column, doubt.text))
    heads = ("Kind", "Column")
    yield _part("Without a source", "unsourced", heads, review.unsourced, lambda r: (r.taxon, r.column))
    yield _part(
        "Most alike",
        "lookalikes",
        ("Kinds", "Mixed up, at most", "Best told by"),
        pairs[~pairs["hardly_compared"]],
        lambda r: (f"{kind(r.a)} / {kind(r.b)}", f"{100 * r.mix_up_at_most:.0f} %", best(r.best_trait)),
    )
    yield _part(
        "Least known kinds",
        "taxa",
        ("Kind", "Filled", *one_source),
        taxa.iloc[(taxa["filled"] / (taxa["filled"] + taxa["blank"])).argsort(kind="stable")],
        lambda r: (kind(r.Index), f"{r.filled} of {r.filled + r.blank}", str(r.one_source)),
    )
    yield _part(
        "Weakest evidence",
        "traits",
        ("Trait", "Kinds known", "From memory", "Common practice", *one_source),
        weak.query("weak > 0").sort_values("weak", ascending=False, kind="stable"),
        lambda r: (trait(r.Index), *map(str, (r.filled, r.memory, r.weak - r.memory, r.one_source))),
    )
    heads = ("Trait", "Why")
    yield _part(
        "Traits that do not earn their place",
        "idle",
        heads,
        review.idle,
        lambda w: (trait(w.trait.id), w.text),
    )


def _part(
    heading: str,
    where: str,
    heads: tuple[str, ...],
    points: pd.DataFrame | Sequence[Any],
    row_of: Callable[[Any], tuple[str, ...]],
) -> tuple[Block, ...]:
    """Return one sort of weak point, the first of all that are in the attribute `where`."""
    first = points.head(_MOST_ROWS).itertuples() if isinstance(points, pd.DataFrame) else points[:_MOST_ROWS]
    rows = tuple(row_of(point)[: len(heads)] for point in first)
    if not rows:
        return ()
    longest = [max(map(len, column)) for column in zip(*rows, strict=True)]
    table = doc.Table(heads, rows, shares=tuple(float(min(max(n, 14), 60)) for n in longest))
    note, named = _NOTES.get(heading, ""), replace(table, caption=heading)
    few = replace(named, rows=rows[:_MOST_IN_TEXT])
    more, rest = len(points) - len(rows), len(points) - len(few.rows)
    beyond = (" " if note else "", f"{more:,} more in ", doc.Code(f".{where}")) if more else ()
    intro = f"The first {len(rows)} of {len(points):,}. {note}" if more else note
    return (
        On(PRINT, (Group((Heading(heading), Lines((intro,), style="small"), table)),)),
        On(SCREEN, (named, line((note, *beyond), "soft"))),
        On(TEXT, (Lines(("",)), few, line(f"  and {rest:,} more, in .{where}" if rest else ""))),
    )


def _named(name_of: Callable[[str], str], id_: str) -> str:
    """Return a name with its id behind it, where the one does not give away the other."""
    name = name_of(id_)
    return name if name.lower().replace(" ", "_") == id_.lower() else f"{name} [{id_}]"


def change_document(change: Change) -> Document:
    """Return what a change of a table does, as a document."""
    return of_table(change.new, "What the change does", _change_blocks(change), titled=(PRINT,))


def apart_document(found: Apart) -> Document:
    """Return how well a kind is told from all others as a document."""
    title = f"{found.table.label(found.taxon)} against all others"
    return of_table(found.table, title, _apart_blocks(found), titled=(PRINT,))


def _calm(text: str, under: tuple[str, ...] = (), summary: Runs = "") -> Iterator[Block]:
    """What is well: on the screen its details are folded under `summary`, by default the text itself."""
    if not under:
        yield line(text, "outcome" if summary else "")
        return
    details = (Lines(under, "bullets"),)
    yield On(SCREEN, (Fold(summary or text, details),))
    yield On((TEXT, PRINT), (line(text), *details))


def _note(text: str, under: tuple[str, ...] = ()) -> Iterator[Block]:
    """What needs a look: stands out, its details folded."""
    return _calm(text, under, doc.Strong(text))


def _change_blocks(change: Change) -> Iterator[Block]:
    if change.is_empty:
        yield line("Nothing has changed.")
        return
    yield line(_headline(change))
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
        yield line(f"{_names(change.new, calm)} {verb} told from every other kind.")
    if change.key_before is not None:
        yield from _key_blocks(change)


def _headline(change: Change) -> str:
    parts = {
        "added": _names(change.new, change.added),
        "changed": _names(change.new, change.altered),
        "names or claims changed": _names(change.new, change.touched),
        "taken out": _names(change.old, change.removed),
        "care or what holds for a genus changed": _shortened(change.groups),
        "sources changed": _shortened(change.sources),
        "new trait": _shortened([t.name for t in change.traits_added]),
        "trait changed": _shortened([t.name for t in change.traits_altered]),
        "trait taken out": _shortened([t.name for t in change.traits_removed]),
    }
    text = "; ".join(f"{what}: {names}" for what, names in parts.items() if names)
    return f"{first_up(text)}."


def _past_blocks(change: Change) -> Iterator[Block]:
    other, unread, wider = [], [], []
    for fish in change.past:
        number, now = f"number {fish.index + 1}", _name(change.new, fish.after)
        if fish.unread:
            unread.append(f"{number}: {'; '.join(fish.unread)}")
        if fish.is_renamed:
            before, after = percent(fish.probability_before), percent(fish.probability_after)
            other.append(f"{number}: was {_name(change.old, fish.before)} ({before}), now {now} ({after})")
        elif fish.gained or fish.lost:
            parts = [f"now also {_names(change.new, fish.gained)}"] if fish.gained else []
            parts += [f"no longer {_names(change.old, fish.lost)}"] if fish.lost else []
            wider.append(f"{number}, {now}: {'; '.join(parts)}")
    for fishes, say, what in (
        (other, _note, "that get another name"),
        (unread, _note, "with answers the table can't take any more"),
        (wider, _calm, "that keep their name, but not what else is possible"),
    ):
        if fishes:
            text = f"Past identifications {what}: {len(fishes):,} of {change.past_count:,}."
            yield from say(text, _some(fishes))
    if not change.past:
        yield line(f"Past identifications looked at: {change.past_count:,}; nothing changes.")


def _key_blocks(change: Change) -> Iterator[Block]:
    before, key = change.key_before, change.key_after or change.key_before
    if out := [t for t in key.left_out if t in {*change.added, *change.altered}]:
        names = _names(change.new, out)
        yield from _note(f"Left out of the key, since too little is known: {names}.")
    if change.key_after is None:
        yield line("The new key is left to build_key, as it takes a while.")
        return
    count = len(key.couplets)
    more, size = count - len(before.couplets), f"{number_of(count, 'couplet')}, as before"
    if more:
        size = f"{number_of(abs(more), 'couplet')} {'more' if more > 0 else 'fewer'}, {count} in all"
    was, now = (f"{k.questions:.1f}" for k in (before, key))
    asked = f"{now}, as before" if was == now else f"{was} -> {now}"
    yield line(f"In the key: {size}; questions to a name: {asked}.")


def _apart_blocks(found: Apart) -> Iterator[Block]:
    """Say how well one kind is told from all others."""
    who, others = found.table.label(found.taxon), partial(_names, found.table)
    if found.is_told:
        yield line(f"{who} is told from every other kind.")
    for why, taxa in (
        ("never", found.never),
        ("one look", found.one_look),
        ("adults only", found.adults_only),
    ):
        if taxa:
            text = _APART[why].format(who, others(taxa))
            pairs = (_pair_words(found, pair) for pair in found.pairs if pair.why == why)
            under = (*pairs, *_every(found.table, taxa))
            loud = (line(text, "alert"), Lines(under, "bullets"))
            yield from loud if why == "never" else _note(text, under)
    if found.hardly_known:
        both = f"{who} and {others(found.hardly_known)}"
        text = f"Too little is known of both {both} to tell them apart (fewer than {FEW} traits)."
        yield from _calm(text, _every(found.table, found.hardly_known))


def _pair_words(found: Apart, pair: Pair) -> str:
    """Say why a kind is not told from another, and what would settle it."""
    look = first_down(pair.trait.name) if pair.trait else ""
    says = f"{look}, wrong {one_in(1 - pair.right)}" if pair.why == "one look" else f"adults by {look}"
    if pair.why == "never":
        says = f"the same in all {pair.compared} traits known of both"
    elif not look:
        says = "no look says more than a guess"
    ways = "; ".join(_way_words(found, way) for way in pair.settle[:_MOST_WAYS])
    settle = f"What would settle it: {ways}." if ways else "To settle it takes a new trait."
    return f"{found.table.label(pair.other)}: {says}. {settle}"


def _way_words(found: Apart, way: Settle) -> str:
    trait, among = first_down(way.trait.name), way.among or "kinds"
    if len(way.blank) > 1:
        share = f"{way.differ * 10:.0f} in 10" if way.differ < 0.95 else "all"
        return f"{trait}, blank for both ({share} pairs of the {way.known} {among} known differ)"
    count = round(way.differ * way.known)
    often = f"of the {way.known} {among} known, {count} differ from the other kind"
    return f"{trait}, blank for {found.table.label(way.blank[0])} ({often})"


def _name(table: TraitTable, taxon: str) -> str:
    return first_down(none_words(taxon, "")) if taxon == NONE else table.label(taxon)


def _names(table: TraitTable, taxa: Sequence[str]) -> str:
    return _shortened([_name(table, taxon) for taxon in taxa])


def _every(table: TraitTable, taxa: Sequence[str]) -> tuple[str, ...]:
    """Name all of the kinds that `_names` cuts short; empty where it cuts none."""
    return (f"All {len(taxa)}: {listed(table.label(t) for t in taxa)}.",) if len(taxa) > _MOST_NAMES else ()


def _shortened(names: Sequence[str]) -> str:
    many = len(names) > _MOST_NAMES
    return listed([*names[: _MOST_NAMES - 1], f"{len(names) - _MOST_NAMES + 1} more"] if many else names)
