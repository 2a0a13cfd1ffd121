"""A review of a table as a document: its figures in sentences, the weakest points, the grid of its cells."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import partial

from idkey.model.lookalikes import FEW
from idkey.model.review import Review
from idkey.table.units import listed
from idkey.views import doc
from idkey.views.charts import MOST_COLUMNS, MOST_ROWS, MOST_SHEETS, grid_sheets
from idkey.views.doc import PRINT, SCREEN, TEXT, Block, Document, Group, Heading, Lines, On
from idkey.views.words import made_from, number_of, of_table, sources_line

_MOST_ROWS, _MOST_IN_TEXT = 6, 4
_TALLEST = 226.0
"""Height of a sheet of the grid on paper, mm: a page of Letter with its heading."""
_CLASSES = (
    "How we know: read = the passage itself was read; secondary = second-hand; memory = no source at hand; "
    "common practice = a rule of the trade."
)


def review_document(review: Review) -> Document:
    """Return a review of a table as a document."""
    first, *rest = _sentences(review)
    notes = (_CLASSES, sources_line(review.table)) if review.has_evidence else ()
    sheets = [doc.Picture(svg, words, tallest=_TALLEST, fit=False) for svg, words in grid_sheets(review)]
    heading, left_out = Heading("What each cell rests on"), Lines(_left_out(review), style="small")
    on_paper = (made_from(review.table), Lines((first, *rest), "bullets"), Lines(notes, style="small"))
    blocks = (
        On(SCREEN, (Lines((first,), style="outcome"), Lines(tuple(rest), "bullets"))),
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


def _left_out(review: Review) -> tuple[str, ...]:
    """Say what the grid leaves out; nothing where it is whole."""
    kinds, traits = len(review.taxa) - MOST_SHEETS * MOST_ROWS, len(review.traits) - MOST_COLUMNS
    left = [number_of(n, what, "more") for n, what in ((kinds, "kind"), (traits, "trait")) if n > 0]
    return (f"Not shown: {listed(left)}; .grid has all.",) if left else ()


def _sentences(review: Review) -> Iterator[str]:
    """Give the figures of a review, one sentence each, the plainest first."""
    columns = ("filled", "not_applicable", "blank", "core", "core_filled")
    filled, away, blank, core, had = map(int, review.taxa.sum()[list(columns)])
    share = _share(filled, filled + blank)
    line = f"{_size(review)}: {filled:,} of the {filled + blank:,} cells that apply are filled ({share})"
    yield f"{line}; {away:,} do not apply." if away else f"{line}."
    if core:
        share = _share(had, core)
        yield f"Of the cells that every kind should have, {had:,} of {core:,} are filled ({share})."
    yield from _evidence(review)
    yield _pairs(review)
    if review.doubts:
        yield f"{number_of(len(review.doubts), 'cell')} in doubt: against the genus, or against a source."
    if review.idle:
        none = "does not earn its place" if len(review.idle) == 1 else "do not earn their place"
        names = ", ".join(w.trait.name.lower() for w in review.idle)
        yield f"{number_of(len(review.idle), 'trait')} {none}: {names}."


def _evidence(review: Review) -> Iterator[str]:
    if not review.has_evidence:
        yield "This table does not say what its cells rest on."
        return
    sums, cells = review.taxa.sum(), review.cells
    total, read, memory = (int(sums[c]) for c in ("filled", "read", "memory"))
    yield (
        f"Of the filled cells {read:,} were read at the source ({_share(read, total)}), "
        f"{sums['secondary']:,} are second-hand, {sums['common practice']:,} common practice and "
        f"{memory:,} from memory ({_share(memory, total)})."
    )
    few, genus = len(review.single_source), int(cells["genus_only"].sum())
    yield (
        f"With the cells for young fish, {few:,} of {len(cells):,} rest on one source or none, and {genus:,} "
        "on what is said of the genus or a group, not of the kind itself."
    )
    if len(review.unsourced):
        yield f"{number_of(len(review.unsourced), 'cell')} still without a source."


def _pairs(review: Review) -> str:
    kinds, untold = len(review.taxa), review.untold
    if kinds < 2:
        return "One kind alone can't be mixed up."
    if not len(untold):
        return "Every two adults are told apart by some look."
    few = int(untold["hardly_compared"].sum())
    line = f"{len(untold):,} of {kinds * (kinds - 1) // 2:,} pairs of adults are told apart by no single look"
    because = f", {few:,} of them because fewer than {FEW} traits are known of both" if few else ""
    return f"{line}{because}."


def _share(part: int, whole: int) -> str:
    return f"{100 * part / whole:.0f} %" if whole else "none"


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


def _parts(review: Review) -> Iterator[tuple[Block, ...]]:
    """Give the weakest points, those first that can be mended soonest; no empty part."""
    table = review.table
    kind = partial(_named, table.label)
    trait = partial(_named, lambda trait_id: table.trait(trait_id).name)
    one_source = ("On one source or none",) if review.has_evidence else ()

    blanks = review.fill_next.drop_duplicates("taxon")
    rows = [
        (kind(r.taxon), trait(r.trait), str(r.untold), f"{r.likely:.0f}" if r.likely >= 1 else "under 1")
        for r in blanks.head(_MOST_ROWS).itertuples()
    ]
    heads = ("Kind", "Look at", "Not told from", "Would tell, likely")
    yield _part("Fill next", "fill_next", heads, rows, len(blanks))

    rows = [(doubt.column, doubt.text) for doubt in review.doubts]
    yield _part("Cells in doubt", "doubts", ("Column", "What speaks against it"), rows)

    rows = [(r.taxon, r.column) for r in review.unsourced.itertuples()]
    yield _part("Without a source", "unsourced", ("Kind", "Column"), rows)

    pairs = review.lookalikes.frame[~review.lookalikes.frame["hardly_compared"]]
    rows = [
        (
            f"{kind(r.a)} / {kind(r.b)}",
            f"{100 * r.mix_up_at_most:.0f} %",
            table.trait(r.best_trait).name if r.best_trait else "nothing in the table",
        )
        for r in pairs.head(_MOST_ROWS).itertuples()
    ]
    yield _part("Most alike", "lookalikes", ("Kinds", "Mixed up, at most", "Best told by"), rows, len(pairs))

    taxa = review.taxa[review.taxa["blank"] > 0]
    thin = taxa.iloc[(taxa["filled"] / (taxa["filled"] + taxa["blank"])).argsort(kind="stable")]
    rows = [
        (kind(r.Index), f"{r.filled} of {r.filled + r.blank}", str(r.one_source))[: 2 + len(one_source)]
        for r in thin.itertuples()
    ]
    yield _part("Least known kinds", "taxa", ("Kind", "Filled", *one_source), rows)

    weak = review.traits.assign(weak=review.traits["memory"] + review.traits["common practice"])
    weak = weak.query("weak > 0").sort_values("weak", ascending=False, kind="stable")
    rows = [
        (trait(r.Index), *map(str, (r.filled, r.memory, r.weak - r.memory, r.one_source)))
        for r in weak.itertuples()
    ]
    heads = ("Trait", "Kinds known", "From memory", "Common practice", *one_source)
    yield _part("Weakest evidence", "traits", heads, rows)

    rows = [(trait(w.trait.id), w.text) for w in review.idle]
    yield _part("Traits that do not earn their place", "idle", ("Trait", "Why"), rows)


def _part(
    heading: str, where: str, heads: tuple[str, ...], rows: Sequence[tuple[str, ...]], count: int = 0
) -> tuple[Block, ...]:
    """Return one sort of weak point, the first of `count` or all rows; `where` is the attribute with all."""
    if not rows:
        return ()
    count, rows = count or len(rows), rows[:_MOST_ROWS]
    longest = [max(map(len, column)) for column in zip(*rows, strict=True)]
    table = doc.Table(heads, tuple(rows), shares=tuple(float(min(max(n, 14), 60)) for n in longest))
    note, named = _NOTES.get(heading, ""), replace(table, caption=heading)
    few = replace(named, rows=table.rows[:_MOST_IN_TEXT])
    more, rest = count - len(rows), count - len(few.rows)
    beyond = (" " if note else "", f"{more:,} more in ", doc.Code(f".{where}")) if more else ()
    first = f"The first {len(rows)} of {count:,}. {note}" if more else note
    return (
        On(PRINT, (Group((Heading(heading), Lines((first,), style="small"), table)),)),
        On(SCREEN, (named, Lines(((note, *beyond),), style="soft"))),
        On(TEXT, (Lines(("",)), few, Lines((f"  and {rest:,} more, in .{where}",) if rest else ()))),
    )


def _named(name_of: Callable[[str], str], id_: str) -> str:
    """Return a name with its id behind it, where the one does not give away the other."""
    name = name_of(id_)
    return name if name.lower().replace(" ", "_") == id_.lower() else f"{name} [{id_}]"
