"""A review of a table in words: its figures in sentences, and the weakest points as short tables."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

from idkey.model.lookalikes import FEW
from idkey.views.html import page

if TYPE_CHECKING:
    from idkey.model.review import Review
    from idkey.table.schema import Trait
    from idkey.table.table import TraitTable

__all__ = ["Part", "parts", "review_html", "review_text", "sentences"]

_MOST_ROWS = 6
_MOST_LINES = 4
_WIDTH = 78


@dataclass(frozen=True, slots=True)
class Part:
    """One sort of weak point.

    Attributes
    ----------
    heading : str
    note : str
        What it means; blank where the heading says it.
    where : str
        Attribute of the review that holds all of them.
    heads : tuple of str
    rows : tuple of tuple of str
        The weakest first, as they stand in the table: not escaped.
    count : int
        How many there are in all.
    """

    heading: str
    note: str
    where: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    count: int


# -- the figures ------------------------------------------------------------------------------------


def sentences(review: Review) -> tuple[str, ...]:
    """Return the figures of a review, one sentence each, the plainest first."""
    found = [_coverage(review)]
    core, had = int(review.taxa["core"].sum()), int(review.taxa["core_filled"].sum())
    if core:
        found.append(
            f"Of the cells that every kind should have, {had:,} of {core:,} are filled ({_share(had, core)})."
        )
    found += _evidence(review)
    found.append(_pairs(review))
    if review.doubts:
        found.append(f"{_n(len(review.doubts), 'cell')} in doubt: against the genus, or against a source.")
    if review.idle:
        none = "does not earn its place" if len(review.idle) == 1 else "do not earn their place"
        found.append(
            f"{_n(len(review.idle), 'trait')} {none}: {', '.join(w.trait.name.lower() for w in review.idle)}."
        )
    return tuple(found)


def _coverage(review: Review) -> str:
    filled, away, blank = (int(review.taxa[c].sum()) for c in ("filled", "not_applicable", "blank"))
    kinds, traits = len(review.taxa), len(review.traits)
    line = f"{_n(kinds, 'kind')} by {_n(traits, 'trait')}: "
    line += (
        f"{filled:,} of the {filled + blank:,} cells that apply are filled ({_share(filled, filled + blank)})"
    )
    return f"{line}; {away:,} do not apply." if away else f"{line}."


def _evidence(review: Review) -> Iterator[str]:
    if not review.has_evidence:
        yield "This table does not say what its cells rest on."
        return
    count = {
        name: int(review.taxa[name].sum()) for name in ("read", "secondary", "common practice", "memory")
    }
    total = int(review.taxa["filled"].sum())
    yield (
        f"Of the filled cells {count['read']:,} were read at the source ({_share(count['read'], total)}), "
        f"{count['secondary']:,} are second-hand, {count['common practice']:,} common practice and "
        f"{count['memory']:,} from memory ({_share(count['memory'], total)})."
    )
    cells = review.cells
    few, genus = len(review.single_source), int(cells["genus_only"].sum())
    yield (
        f"With the cells for young fish, {few:,} of {len(cells):,} rest on one source or none, and {genus:,} "
        "on what is said of the genus or a group, not of the kind itself."
    )
    if len(review.unsourced):
        yield f"{_n(len(review.unsourced), 'cell')} still without a source."


def _pairs(review: Review) -> str:
    kinds = len(review.taxa)
    untold = review.untold
    if kinds < 2:
        return "One kind alone can't be mixed up."
    if not len(untold):
        return "Every two adults are told apart by some look."
    few = int(untold["hardly_compared"].sum())
    line = f"{len(untold):,} of {kinds * (kinds - 1) // 2:,} pairs of adults are told apart by no single look"
    return (
        f"{line}, {few:,} of them because fewer than {FEW} traits are known of both." if few else f"{line}."
    )


def _n(count: int, what: str) -> str:
    return f"{count:,} {what}" if count == 1 else f"{count:,} {what}s"


def _share(part: int, whole: int) -> str:
    return f"{100 * part / whole:.0f} %" if whole else "none"


# -- the weakest points -----------------------------------------------------------------------------


def parts(review: Review) -> tuple[Part, ...]:
    """Return the weakest points, those first that can be mended soonest; no empty part."""
    made = (
        _fill_next(review),
        _doubts(review),
        _unsourced(review),
        _alike(review),
        _thin_kinds(review),
        _weak_traits(review),
        _idle(review),
    )
    return tuple(part for part in made if part.count)


def _kind(table: TraitTable, taxon: str) -> str:
    return _with_id(table.label(taxon), taxon)


def _trait(trait: Trait) -> str:
    return _with_id(trait.name, trait.id)


def _with_id(name: str, id_: str) -> str:
    """Return a name with its id behind it, where the one does not give away the other."""
    return name if name.lower().replace(" ", "_") == id_.lower() else f"{name} [{id_}]"


def _fill_next(review: Review) -> Part:
    best = review.fill_next.drop_duplicates("taxon")
    rows = [
        (
            _kind(review.table, r.taxon),
            _trait(review.table.trait(r.trait)),
            str(r.untold),
            f"{r.likely:.0f}" if r.likely >= 1 else "under 1",
        )
        for r in best.head(_MOST_ROWS).itertuples()
    ]
    note = (
        "For each kind the blank cell that would help most: how many kinds nothing tells from it now, and "
        "how many of these the cell would tell if it came out like that of a kind drawn at random."
    )
    return Part(
        "Fill next",
        note,
        "fill_next",
        ("Kind", "Look at", "Not told from", "Would tell, likely"),
        tuple(rows),
        len(best),
    )


def _doubts(review: Review) -> Part:
    rows = [(d.column, d.text) for d in review.doubts[:_MOST_ROWS]]
    note = "A doubt is no error; look at the fish and the page once more."
    return Part(
        "Cells in doubt",
        note,
        "doubts",
        ("Column", "What speaks against it"),
        tuple(rows),
        len(review.doubts),
    )


def _unsourced(review: Review) -> Part:
    found = review.unsourced
    rows = [(r.taxon, r.column) for r in found.head(_MOST_ROWS).itertuples()]
    note = "Filled, but nobody has said yet where it is written."
    return Part("Without a source", note, "unsourced", ("Kind", "Column"), tuple(rows), len(found))


def _alike(review: Review) -> Part:
    frame = review.lookalikes.frame
    frame = frame[~frame["hardly_compared"]]
    rows = [
        (
            f"{_kind(review.table, r.a)} / {_kind(review.table, r.b)}",
            f"{100 * r.mix_up_at_most:.0f} %",
            review.table.trait(r.best_trait).name if r.best_trait else "nothing in the table",
        )
        for r in frame.head(_MOST_ROWS).itertuples()
    ]
    note = "Adults, by all looks together; 50 % is a guess."
    return Part(
        "Most alike",
        note,
        "lookalikes",
        ("Kinds", "Mixed up, at most", "Best told by"),
        tuple(rows),
        len(frame),
    )


def _thin_kinds(review: Review) -> Part:
    taxa = review.taxa
    share = taxa["filled"] / (taxa["filled"] + taxa["blank"]).clip(lower=1)
    thin = taxa[taxa["blank"] > 0].assign(share=share).sort_values("share", kind="stable")
    rows = [_thin_row(review, r) for r in thin.head(_MOST_ROWS).itertuples()]
    heads = ("Kind", "Filled", *(("On one source or none",) if review.has_evidence else ()))
    return Part("Least known kinds", "", "taxa", heads, tuple(rows), len(thin))


def _thin_row(review: Review, row: tuple) -> tuple[str, ...]:
    cells = (_kind(review.table, row.Index), f"{row.filled} of {row.filled + row.blank}")
    return (*cells, str(row.one_source)) if review.has_evidence else cells


def _weak_traits(review: Review) -> Part:
    traits = review.traits
    weak = traits["memory"] + traits["common practice"]
    found = traits.assign(weak=weak)[weak > 0].sort_values("weak", ascending=False, kind="stable")
    rows = [
        (
            _trait(review.table.trait(str(r.Index))),
            str(r.filled),
            str(r.memory),
            str(r.weak - r.memory),
            str(r.one_source),
        )
        for r in found.head(_MOST_ROWS).itertuples()
    ]
    heads = ("Trait", "Kinds known", "From memory", "Common practice", "On one source or none")
    note = "A cell counts by the strongest claim behind it."
    return Part("Weakest evidence", note, "traits", heads, tuple(rows), len(found))


def _idle(review: Review) -> Part:
    rows = [(_trait(w.trait), w.text) for w in review.idle[:_MOST_ROWS]]
    note = "Adults, one look each; such a trait may still confirm a name or tell young fish."
    return Part(
        "Traits that do not earn their place", note, "idle", ("Trait", "Why"), tuple(rows), len(review.idle)
    )


# -- text and HTML ----------------------------------------------------------------------------------


def review_text(review: Review) -> str:
    """Return a review as plain text: the figures, and the first of each sort of weak point."""
    lines = [line for sentence in sentences(review) for line in textwrap.wrap(sentence, _WIDTH)]
    for part in parts(review):
        lines += ["", f"{part.heading} ({'; '.join(part.heads)}):"]
        for row in part.rows[:_MOST_LINES]:
            lines += textwrap.wrap("; ".join(row), _WIDTH, initial_indent="  ", subsequent_indent=" " * 6)
        if part.count > _MOST_LINES:
            lines.append(f"  and {part.count - _MOST_LINES:,} more, in .{part.where}")
    return "\n".join(lines)


def review_html(review: Review) -> str:
    """Return a review as HTML: the figures, the weakest points, the grid."""
    from idkey.views.draw_review import grid_note, grid_svg

    first, *rest = sentences(review)
    figures = f'<p class="idk-outcome">{escape(first)}</p>\n{_list(rest)}'
    weak = "\n".join(_part_html(part) for part in parts(review))
    note = f'<p class="idk-soft">{escape(grid_note(review))}</p>' if grid_note(review) else ""
    grid = f'<h4>What each cell rests on</h4>\n<div class="idk-scroll">{grid_svg(review)}</div>{note}'
    return page(f"<h3>The table looked over</h3>\n{figures}\n{weak}\n{grid}")


def _list(lines: Iterable[str]) -> str:
    return f"<ul>{''.join(f'<li>{escape(line)}</li>' for line in lines)}</ul>"


def _part_html(part: Part) -> str:
    heads = "".join(f'<th scope="col">{escape(head)}</th>' for head in part.heads)
    rows = "".join(
        f'<tr><th scope="row">{escape(row[0])}</th>'
        f"{''.join(f'<td>{escape(cell)}</td>' for cell in row[1:])}</tr>"
        for row in part.rows
    )
    left = part.count - len(part.rows)
    more = f"{left:,} more in <code>.{part.where}</code>" if left else ""
    note = " ".join(filter(None, (escape(part.note), more)))
    return (
        f'<div class="idk-scroll"><table class="idk-grid"><caption>{escape(part.heading)}</caption>'
        f"<thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table></div>"
        f'<p class="idk-soft">{note}</p>'
    )
