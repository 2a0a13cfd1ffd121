"""Kinds side by side, and who is mistaken for whom, as documents."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from idkey.care.sheet import CareSheet, care_for
from idkey.errors import IdkeyError
from idkey.table.schema import YOUNG, States, Trait
from idkey.table.words import young_cell
from idkey.views import doc
from idkey.views.charts import map_svg, on_map
from idkey.views.sheet import drawn
from idkey.views.words import (
    CAUTIONS,
    chance_words,
    listed,
    look_words,
    made_from,
    number_of,
    one_in,
    percent,
    share_of_the_way,
    sources_line,
    stamp,
    state_icon,
    table_date,
)

if TYPE_CHECKING:
    import pandas as pd

    from idkey.model.compare import Comparison, Contrast
    from idkey.model.lookalikes import Lookalikes

__all__ = ["care_line", "compare_document", "lookalikes_document", "mix_up_words"]

_MOST_PAIRS = 20
_MOST_SHOWN = 10
_MAP_LEAST = 0.15
_MOST_ON_MAP = 100
_MOST_ICONS = 3
_NOT_KNOWN = "not known"
_RECKONED = "Reckoned with all these names equally likely and with the observer errors of the table."
_HEARSAY = "no look at the fish"
_COUNTS = {1: "the best look", 2: "the two best looks together", 3: "the three best looks together"}
_CARE = ("diet_type", "temperature_c", "adult_length_mm", "flow")
_MOST_CARE = 3


# -- kinds side by side -----------------------------------------------------------------------------


def compare_document(kinds: Comparison, *, young: bool = False) -> doc.Document:
    """Return kinds side by side, drawn and ordered for adults or for young fish.

    They are drawn on one scale; then comes what differs, what is shared and what is not known.
    """
    table = kinds.table
    ages = (young,) if _at_any_age(kinds) else (young, not young)
    first, *others = (mix_up_words(kinds, young=age) for age in ages)
    care = tuple(filter(None, (care_line(kinds),)))
    looks = tuple(trait.question or trait.name for trait in _looks(kinds, young))
    shown = (doc.SCREEN, doc.PRINT)
    blocks = (
        doc.On(doc.PRINT, (doc.Lines((made_from(table),)),)),
        doc.On(shown, drawn(table, kinds.taxa, young=young)),
        doc.On(doc.PRINT, (doc.Heading("Look first at"), doc.Lines(looks, "numbered"))),
        doc.Lines((first,), style="outcome"),
        doc.On(shown, (doc.Lines((" ".join((*others, _RECKONED)),), style="soft"),)),
        doc.On(doc.TEXT, (doc.Lines(tuple(others)),)),
        doc.Lines(care),
        doc.On(shown, (*_differ(kinds, young), *_shared(kinds), *_unknown(kinds))),
        doc.On(doc.SCREEN, _sources(kinds)),
        doc.On(doc.TEXT, _in_lines(kinds)),
        doc.On(doc.PRINT, (*CAUTIONS, doc.Lines((sources_line(table),), style="small"))),
    )
    return doc.Document(listed(kinds.labels), blocks, stamp(table), table_date(table))


def _looks(kinds: Comparison, young: bool) -> tuple[Trait, ...]:
    return kinds.looks_young if young else kinds.looks


def _at_any_age(kinds: Comparison) -> bool:
    """Whether young fish are told apart by the same looks, as well as adults."""
    return kinds.looks == kinds.looks_young and kinds.mix_up == kinds.mix_up_young


def mix_up_words(kinds: Comparison, *, young: bool = False) -> str:
    """Say in a sentence how likely a mix-up is after the best looks."""
    looks = _looks(kinds, young)
    fish = "fish, adult or young," if _at_any_age(kinds) else "young fish" if young else "adults"
    if not looks:
        return f"Nothing the table knows tells {fish} apart; between these names it would be a guess."
    names = listed(trait.name.lower() for trait in looks)
    wrong = f"about {one_in(kinds.mix_up_young if young else kinds.mix_up)}".replace("about fewer", "fewer")
    return f"After {_COUNTS[len(looks)]} ({names}) {wrong} {fish} would still get the wrong name."


def _differ(kinds: Comparison, young: bool) -> tuple[doc.Block, ...]:
    if not kinds.differ:
        return (doc.Lines((doc.Strong("No trait of which the table knows all of them differs."),)),)
    k = len(kinds.taxa)
    order = sorted(kinds.differ, key=lambda c: -round(c.right_young or 0.0, 12)) if young else kinds.differ
    heads = ("Look at", *kinds.labels, "One look tells adults apart", "Young fish")
    rows = []
    for contrast in order:
        same = _same_at_any_age(contrast)
        rows.append(
            (
                (contrast.trait.name, *_marks(kinds, contrast, young)),
                *_cells(kinds, contrast, young),
                _tells(contrast.right, k),
                "the same" if same else _tells(contrast.right_young, k),
            )
        )
    caption = ("What differs, strongest first ", doc.Soft(f"(a guess is right {chance_words(1 / k)})"))
    shares = (28.0, *[30.0] * k, 33.0, 33.0)
    return (doc.Table(heads, tuple(rows), caption, "cmp", shares),)


def _marks(kinds: Comparison, contrast: Contrast, young: bool) -> tuple[doc.Runs, ...]:
    looks, trait = _looks(kinds, young), contrast.trait
    place = f"best look {looks.index(trait) + 1}" if len(looks) > 1 and trait in looks else "best look"
    marks = [*([place] if trait in looks else []), *([_HEARSAY] if contrast.hearsay else [])]
    return ("\n", doc.Soft("; ".join(marks))) if marks else ()


def _cells(kinds: Comparison, contrast: Contrast, young: bool) -> tuple[doc.Content, ...]:
    """Return the cells of a trait, each with the drawings of its states, the young fish's where asked for."""
    cells: list[doc.Content] = []
    for taxon, words in zip(kinds.taxa, contrast.cells, strict=True):
        cell = young_cell(kinds.table, taxon, contrast.trait) if young else None
        cell = cell or kinds.table.cells[contrast.trait.id][kinds.table.position(taxon)]
        names = cell.names[:_MOST_ICONS] if isinstance(cell, States) else ()
        icons = tuple(filter(None, (state_icon(contrast.trait, name) for name in names)))
        cells.append((*icons, "\n", words) if icons else words)
    return tuple(cells)


def _tells(right: float | None, k: int) -> doc.Runs:
    """Say how well a look tells, with a bar from a guess to certainty."""
    words = look_words(right, k)
    return words if right is None else (words, "\n", doc.Bar(share_of_the_way(right, k)))


def _same_at_any_age(contrast: Contrast) -> bool:
    return contrast.right_young is not None and abs(contrast.right_young - contrast.right) < 1e-9


def _shared(kinds: Comparison) -> tuple[doc.Block, ...]:
    rows = tuple((c.trait.name, c.cells[0]) for c in kinds.shared)
    title = f"What they share: {number_of(len(rows), 'trait')}"
    return (doc.Fold(title, (doc.Table((), rows, shares=(40.0, 138.0)),)),) if rows else ()


def _unknown(kinds: Comparison) -> tuple[doc.Block, ...]:
    if not kinds.unknown:
        return ()
    some, nowhere = _half_known(kinds)
    title = f"What can't be compared, being unknown: {number_of(len(kinds.unknown), 'trait')}"
    blocks: tuple[doc.Block, ...] = ()
    if some:
        title += f" ({len(some)} known for one but not for all)"
        rows = tuple((c.trait.name, *(_cell(words) for words in c.cells)) for c in some)
        blocks += (doc.Table(("Trait", *kinds.labels), rows),)
    if nowhere:
        blocks += (doc.Lines((f"Not known for any of them: {_names(nowhere)}.",)),)
    return (doc.Fold(title, blocks),)


def _cell(words: str) -> doc.Runs:
    return doc.Soft(words) if words == _NOT_KNOWN else words


def _half_known(kinds: Comparison) -> tuple[list[Contrast], list[Contrast]]:
    """Part what is known for some of the kinds from what is known for none."""
    nowhere = [c for c in kinds.unknown if all(words == _NOT_KNOWN for words in c.cells)]
    return [c for c in kinds.unknown if c not in nowhere], nowhere


def _names(contrasts: Iterable[Contrast]) -> str:
    return ", ".join(c.trait.name.lower() for c in contrasts)


def _sources(kinds: Comparison) -> tuple[doc.Block, ...]:
    """Return where the cells that differ are written, behind a fold; nothing for a table without sources."""
    items = []
    for contrast in kinds.differ:
        for taxon, label in zip(kinds.taxa, kinds.labels, strict=True):
            columns = (contrast.trait.id, contrast.trait.id + YOUNG)
            written = [text for column in columns for text in _claims(kinds, taxon, column)]
            if written:
                items.append(f"{contrast.trait.name}, {label}: {'; '.join(written)}")
    return (doc.Fold("Where it is written", (doc.Lines(tuple(items), "bullets"),)),) if items else ()


def _claims(kinds: Comparison, taxon: str, column: str) -> Iterable[str]:
    claims = []
    for row in kinds.table.claims(taxon, column).to_dict("records"):
        source = kinds.table.sources.get(row["source"])
        where = ", ".join(filter(None, (source.short if source else row["source"], row["locator"])))
        claims.append(f"{where} ({row['class']})" if where else row["class"])
    return dict.fromkeys(claims)


def _in_lines(kinds: Comparison) -> tuple[doc.Block, ...]:
    """Return what differs, is shared and is not known as lines for a console."""
    k, lines = len(kinds.taxa), []
    for contrast in kinds.differ:
        hearsay = f" ({_HEARSAY})" if contrast.hearsay else ""
        same = _same_at_any_age(contrast)
        young = "" if same else f"; of young fish: {look_words(contrast.right_young, k)}"
        lines.append(f"{contrast.trait.name}{hearsay}: {look_words(contrast.right, k)}{young}")
        lines += [f"    {label}: {words}" for label, words in zip(kinds.labels, contrast.cells, strict=True)]
    some, nowhere = _half_known(kinds)
    rest = (
        ("Shared", kinds.shared),
        ("Not known for one of them", some),
        ("Not known for any of them", nowhere),
    )
    named = tuple(f"{title}: {_names(contrasts)}" for title, contrasts in rest if contrasts)
    return doc.Lines(tuple(lines), indent=8), doc.Lines(named, indent=4)


# -- where the care differs -------------------------------------------------------------------------


def care_line(kinds: Comparison) -> str:
    """Say in one line where the care differs most; blank for a table without care sheets."""
    try:
        both = care_for(kinds.table, *kinds.taxa)
        sheets = [care_for(kinds.table, taxon) for taxon in kinds.taxa]
    except IdkeyError:
        return ""
    apart = {a: _apart(sheets, a) for a in _CARE if not both.attributes[a].unknown_for}
    chosen = sorted((a for a in apart if apart[a] > 0), key=lambda a: -apart[a])[:_MOST_CARE]
    if not chosen:
        known = [both.attributes[a].label.lower() for a in apart]
        return f"Care: the same on file in {listed(known)}." if known else "Care: not known for all of them."
    names = dict(zip(both.names, both.short_labels, strict=True))
    parts = []
    for attribute in chosen:
        need = both.attributes[attribute]
        # One line: the second unit, in brackets, is left to the care sheet.
        words = {taxon: need.by_name[taxon].partition(" (")[0] for taxon in names}
        each = "; ".join(f"{name} {words[taxon]}" for taxon, name in names.items())
        parts.append(f"{need.label.lower()} ({'nothing suits all: ' if need.conflict else ''}{each})")
    return f"Care differs in {listed(parts)}."


def _apart(sheets: Sequence[CareSheet], attribute: str) -> float:
    """How far needs are apart, 0 (the same) to 1 (nothing in common); the length by its upper end."""
    values = [sheet.attributes[attribute].value for sheet in sheets]
    if all(isinstance(v, frozenset) for v in values):
        return 1 - len(frozenset.intersection(*values)) / len(frozenset.union(*values))
    if not all(isinstance(v, tuple) for v in values):
        return 0.0
    lows, highs = zip(*values, strict=True)
    if attribute == "adult_length_mm":
        return 1 - min(highs) / max(highs)
    if max(highs) == min(lows):
        return 0.0
    return 1 - max(0.0, min(highs) - max(lows)) / (max(highs) - min(lows))


# -- who is mistaken for whom -----------------------------------------------------------------------

_HOW_READ = (
    "The larger the mark, the oftener the two are mixed up by looks alone. The figure is the most it can be "
    "if the best look of each group of traits is taken (half the Bhattacharyya coefficient); 50 % is a guess."
)
_HARDLY_NOTE = (
    "Hollow: fewer than three traits are known of both, so they look alike because little is known."
)


def lookalikes_document(pairs: Lookalikes) -> doc.Document:
    """Return the map of lookalikes and the pairs most alike."""
    shown = on_map(pairs, _MAP_LEAST, _MOST_ON_MAP)
    out = len(pairs.ids) - len(shown)
    note = f"{number_of(out, 'kind')} without a lookalike of {percent(_MAP_LEAST)} or more left out. " * bool(
        out
    )
    drawn = (doc.Picture(map_svg(pairs, shown), fit=False, tallest=160.0),) if len(shown) > 1 else ()
    frame, fish = pairs.frame, "young fish" if pairs.stage == "young" else "adults"
    alike, hardly = frame[~frame["hardly_compared"]], frame[frame["hardly_compared"]]
    few = f"{len(hardly)} pairs are hardly compared: too little is known of them"
    on_page = (
        doc.Lines((_HOW_READ,)),
        *drawn,
        doc.Lines((note + _HARDLY_NOTE,), style="soft"),
        *_pairs(pairs, alike, "Most alike"),
        *((doc.Fold(few, _pairs(pairs, hardly, "Hardly compared")),) if len(hardly) else ()),
    )
    head = f"Lookalikes among {number_of(len(pairs.ids), 'kind')}, {fish}; mixed up at most:"
    in_lines = doc.Lines((head, *_pair_lines(pairs, alike, len(hardly))), indent=9)
    blocks = (doc.On((doc.SCREEN, doc.PRINT), on_page), doc.On(doc.TEXT, (in_lines,)))
    table = pairs.table
    return doc.Document(
        f"Who is mistaken for whom ({fish})",
        blocks,
        stamp(table),
        table_date(table),
        titled=(doc.SCREEN, doc.PRINT),
    )


def _pairs(pairs: Lookalikes, frame: pd.DataFrame, caption: str) -> tuple[doc.Block, ...]:
    if not len(frame):
        return (doc.Lines(("No two kinds are this much alike.",)),)
    rows = tuple(
        (
            f"{pairs.table.label(r.a)}\n{pairs.table.label(r.b)}",
            _share(r.mix_up_at_most),
            _share(r.mix_up_young_at_most),
            _best(pairs, r.best_trait) + ("\nadults only" if r.adults_only else ""),
            str(r.compared),
        )
        for r in frame.head(_MOST_PAIRS).itertuples()
    )
    heads = ("Kinds", "Mixed up, at most", "Young fish", "Best told by", "Traits known of both")
    more = len(frame) - _MOST_PAIRS
    left = doc.Lines(((f"and {more} more pairs, in ", doc.Code(".frame")),) if more > 0 else (), style="soft")
    return doc.Table(heads, rows, caption, shares=(60.0, 25.0, 25.0, 40.0, 28.0)), left


def _share(share: float) -> str:
    words = f"{share * 100:.0f} %"
    return f"{words} (a guess)" if round(share * 100) == 50 else words


def _best(pairs: Lookalikes, trait_id: str) -> str:
    return pairs.table.trait(trait_id).name if trait_id else "nothing in the table"


def _pair_lines(pairs: Lookalikes, alike: pd.DataFrame, hardly: int) -> Iterable[str]:
    for r in alike.head(_MOST_SHOWN).itertuples():
        yield f"  {r.mix_up_at_most * 100:3.0f} %  {pairs.table.label(r.a)} / {pairs.table.label(r.b)}"
        yield f"         best told by: {_best(pairs, r.best_trait)}"
    if len(alike) > _MOST_SHOWN:
        yield f"  and {len(alike) - _MOST_SHOWN} more"
    if hardly:
        yield f"  {hardly} pairs hardly compared: fewer than three traits known of both"
