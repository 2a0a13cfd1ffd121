"""Kinds side by side, and who is mistaken for whom, as documents."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

import pandas as pd

from idkey.care.needs import Need, format_value
from idkey.care.sheet import care_for
from idkey.errors import IdkeyError
from idkey.model.compare import Comparison, Contrast
from idkey.model.lookalikes import Lookalikes
from idkey.table.schema import YOUNG, States, Trait
from idkey.table.units import listed, number_of, percent
from idkey.views import doc, words
from idkey.views.charts import map_svg, on_map
from idkey.views.doc import PRINT, SCREEN, TEXT, Block, Document, Fold, Lines, On, Runs, Soft, Table, line
from idkey.views.fish import state_svg
from idkey.views.sheet import drawn, look_of

_MOST_PAIRS, _MOST_IN_TEXT, _MOST_ICONS, _MOST_MARKED = 20, 10, 3, 4
_MAP_LEAST, _MOST_ON_MAP = 0.15, 100
_NOT_KNOWN, _HEARSAY = "not known", "no look at the fish"
_RECKONED = "Reckoned with all these names equally likely and with the observer errors of the table."
_COUNTS = {1: "the best look", 2: "the two best looks together", 3: "the three best looks together"}
_CARE, _MOST_CARE = ("diet_type", "temperature_c", "adult_length_mm", "flow"), 3
_HOW_READ = (
    "The larger the mark, the oftener the two are mixed up by looks alone. The figure is the most it can be "
    "if everything is looked at; 50 % is a guess."
)
_HOLLOW = "Hollow: fewer than three traits are known of both, so they look alike because little is known."


def compare_document(kinds: Comparison, *, young: bool = False) -> Document:
    """Return kinds side by side, drawn and ordered for adults or for young fish.

    They are drawn on one scale; then comes what differs, what is shared and what is not known.
    """
    ages = (young,) if _at_any_age(kinds) else (young, not young)
    first, *others = (mix_up_words(kinds, young=age) for age in ages)
    looks = tuple(trait.asked for trait in _looks(kinds, young))
    states = [look_of(kinds.table, taxon, young=young).states for taxon in kinds.taxa]
    marked = _marked(kinds, states, young)
    marks = tuple(contrast.trait.id for contrast in marked)
    blocks = (
        On(PRINT, (words.made_from(kinds.table),)),
        On(
            (SCREEN, PRINT),
            (*drawn(kinds.table, kinds.taxa, young=young, marks=marks), *_near(kinds, states, marked)),
        ),
        On(PRINT, (doc.Heading("Look first at"), Lines(looks, "numbered"))),
        line(first, "outcome"),
        On((SCREEN, PRINT), (line(" ".join((*others, _RECKONED)), "soft"),)),
        On(TEXT, (Lines(tuple(others)),)),
        line(care_line(kinds)),
        On((SCREEN, PRINT), (_differ(kinds, young), *_alike(kinds))),
        On(SCREEN, _sources(kinds)),
        On(TEXT, _in_lines(kinds)),
        On(PRINT, (*words.CAUTIONS, line(words.sources_line(kinds.table), "small"))),
    )
    title = listed(words.introduced(kinds.table, taxon) for taxon in kinds.taxa)
    return words.of_table(kinds.table, title, blocks)


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
        whom = "them, adult or young," if _at_any_age(kinds) else fish
        return f"Nothing the table knows tells {whom} apart; between these names it would be a guess."
    names = listed(trait.name.lower() for trait in looks)
    wrong = words.one_in(kinds.mix_up_young if young else kinds.mix_up)
    wrong = wrong if wrong.startswith("fewer") else f"about {wrong}"
    return f"After {_COUNTS[len(looks)]} ({names}) {wrong} {fish} would still get the wrong name."


def _in_order(kinds: Comparison, young: bool) -> Sequence[Contrast]:
    """Return what differs, what tells most first."""
    return sorted(kinds.differ, key=lambda c: -round(c.right_young or 0.0, 12)) if young else kinds.differ


def _marked(kinds: Comparison, states: Sequence[Mapping[str, str]], young: bool) -> list[Contrast]:
    """Return what differs in the states that are drawn of each kind, the best looks first."""
    looks = _looks(kinds, young)
    order = sorted(_in_order(kinds, young), key=lambda c: c.trait not in looks)
    drawn_of = ((c, {s.get(c.trait.id) for s in states}) for c in order)
    return [c for c, own in drawn_of if len(own) > 1 and None not in own][:_MOST_MARKED]


def _near(
    kinds: Comparison, states: Sequence[Mapping[str, str]], marked: Sequence[Contrast]
) -> tuple[Block, ...]:
    """Return what is marked on the fish, of each kind near by, in its own colours."""
    if not marked:
        return ()
    rows = []
    for number, c in enumerate(marked, 1):
        cells = []
        for own, said in zip(states, c.cells, strict=True):
            svg = state_svg(c.trait.id, own[c.trait.id], c.trait.word(own[c.trait.id]), own, 300)
            cells.append(doc.Picture(svg, note=said, tallest=28.0))
        name = f"{number} {c.trait.name}" if len(marked) > 1 else c.trait.name
        rows.append((name, *cells))
    shares = (28.0, *[50.0] * len(kinds.taxa))
    return (Table(("Look at", *kinds.labels), tuple(rows), style="near", shares=shares),)


def _differ(kinds: Comparison, young: bool) -> Block:
    if not kinds.differ:
        return line(doc.Strong("Nothing differs in what the table knows of each of them."))
    k, looks, rows = len(kinds.taxa), _looks(kinds, young), []
    for c in _in_order(kinds, young):
        marks = [_HEARSAY] if c.hearsay else []
        if c.trait in looks:
            marks.insert(0, f"best look {looks.index(c.trait) + 1}" if len(looks) > 1 else "best look")
        name = (c.trait.name, *(("\n", Soft("; ".join(marks))) if marks else ()))
        at_young = "the same" if _same_at_any_age(c) else _tells(c.right_young, k)
        rows.append((name, *_cells(kinds, c, young), _tells(c.right, k), at_young))
    heads = ("Look at", *kinds.labels, "One look tells adults apart", "Young fish")
    caption = ("What differs, strongest first ", Soft(f"(a guess is right {words.chance_words(1 / k)})"))
    return Table(heads, tuple(rows), caption, "cmp", (28.0, *[30.0] * k, 33.0, 33.0))


def _cells(kinds: Comparison, contrast: Contrast, young: bool) -> Iterator[doc.Content]:
    """Return the cells of a trait, each with the drawings of its states, the young fish's where asked for."""
    trait, table = contrast.trait, kinds.table
    for taxon, text in zip(kinds.taxa, contrast.cells, strict=True):
        cell = table.young_cell(taxon, trait.id) if young else None
        cell = cell or table.cells[trait.id][table.position(taxon)]
        icons = words.state_icons(trait, cell.names[:_MOST_ICONS] if isinstance(cell, States) else ())
        yield (*icons, "\n", text) if icons else text


def _tells(right: float | None, k: int) -> Runs:
    """Say how well a look tells, with a bar from a guess to certainty."""
    text = words.look_words(right, k)
    return text if right is None else (text, "\n", doc.Bar(words.share_of_the_way(right, k)))


def _same_at_any_age(contrast: Contrast) -> bool:
    return contrast.right_young is not None and abs(contrast.right_young - contrast.right) < 1e-9


def _alike(kinds: Comparison) -> Iterator[Block]:
    """Return what is shared and what can't be compared, each behind a fold."""
    if rows := tuple((c.trait.name, c.cells[0]) for c in kinds.shared):
        title = f"What they share: {number_of(len(rows), 'trait')}"
        yield Fold(title, (Table((), rows, shares=(40.0, 138.0)),))
    some, nowhere = _half_known(kinds)
    title = f"What can't be compared, being unknown: {number_of(len(kinds.unknown), 'trait')}"
    blocks: list[Block] = []
    if some:
        title += f" ({len(some)} known for one but not for all)"
        rows = tuple((c.trait.name, *(Soft(t) if t == _NOT_KNOWN else t for t in c.cells)) for c in some)
        blocks.append(Table(("Trait", *kinds.labels), rows))
    if nowhere:
        blocks.append(line(f"Not known for any of them: {_names(nowhere)}."))
    if blocks:
        yield Fold(title, tuple(blocks))


def _half_known(kinds: Comparison) -> tuple[list[Contrast], list[Contrast]]:
    """Part what is known for some of the kinds from what is known for none."""
    nowhere = [c for c in kinds.unknown if set(c.cells) == {_NOT_KNOWN}]
    return [c for c in kinds.unknown if c not in nowhere], nowhere


def _names(contrasts: Iterable[Contrast]) -> str:
    return ", ".join(c.trait.name.lower() for c in contrasts)


def _sources(kinds: Comparison) -> tuple[Block, ...]:
    """Return where the cells that differ are written, behind a fold; nothing for a table without sources."""
    items = []
    for trait in (contrast.trait for contrast in kinds.differ):
        for taxon, label in zip(kinds.taxa, kinds.labels, strict=True):
            columns = (trait.id, trait.id + YOUNG)
            if written := [
                claim for column in columns for claim in words.claims_of(kinds.table, taxon, column)
            ]:
                items.append(f"{trait.name}, {label}: {'; '.join(written)}")
    return (Fold("Where it is written", (Lines(tuple(items), "bullets"),)),) if items else ()


def _in_lines(kinds: Comparison) -> tuple[Block, ...]:
    """Return what differs, is shared and is not known as lines for a console."""
    k, lines = len(kinds.taxa), []
    for c in kinds.differ:
        hearsay = f" ({_HEARSAY})" if c.hearsay else ""
        young = "" if _same_at_any_age(c) else f"; of young fish: {words.look_words(c.right_young, k)}"
        lines.append(f"{c.trait.name}{hearsay}: {words.look_words(c.right, k)}{young}")
        lines += [f"    {label}: {text}" for label, text in zip(kinds.labels, c.cells, strict=True)]
    titles = ("Shared", "Not known for one of them", "Not known for any of them")
    rest = zip(titles, (kinds.shared, *_half_known(kinds)), strict=True)
    named = tuple(f"{title}: {_names(contrasts)}" for title, contrasts in rest if contrasts)
    return Lines(tuple(lines), indent=8), Lines(named, indent=4)


def care_line(kinds: Comparison) -> str:
    """Say in one line where the care differs most; blank for a table without care sheets."""
    try:
        needs = care_for(kinds.table, *kinds.taxa).attributes
    except IdkeyError:
        return ""
    apart = {a: _apart(needs[a]) for a in _CARE if not needs[a].unknown}
    chosen = sorted((a for a in apart if apart[a] > 0), key=lambda a: -apart[a])[:_MOST_CARE]
    if not chosen:
        known = [needs[a].label.lower() for a in apart]
        return f"Care: the same on file in {listed(known)}." if known else "Care: not known for all of them."
    parts = []
    for need in map(needs.get, chosen):
        # One line: the second unit, in brackets, is left to the care sheet.
        words = (f"{p.label} {format_value(need.column, p.value).partition(' (')[0]}" for p in need.parts)
        each = "; ".join(words)
        parts.append(f"{need.label.lower()} ({'nothing suits all: ' if need.conflict else ''}{each})")
    return f"Care differs in {listed(parts)}."


def _apart(need: Need) -> float:
    """How far needs are apart, 0 (the same) to 1 (nothing in common); the length by its upper end."""
    values = [p.value for p in need.parts]
    if all(isinstance(v, frozenset) for v in values):
        return 1 - len(frozenset.intersection(*values)) / len(frozenset.union(*values))
    if not all(isinstance(v, tuple) for v in values):
        return 0.0
    lows, highs = zip(*values, strict=True)
    if need.attribute == "adult_length_mm":
        return 1 - min(highs) / max(highs)
    most = max(highs) - min(lows)
    return 1 - max(0.0, min(highs) - max(lows)) / most if most else 0.0


def lookalikes_document(pairs: Lookalikes) -> Document:
    """Return the map of lookalikes and the pairs most alike."""
    shown = on_map(pairs, _MAP_LEAST, _MOST_ON_MAP)
    frame, fish = pairs.frame, "young fish" if pairs.stage == "young" else "adults"
    alike, hardly = frame[~frame["hardly_compared"]], frame[frame["hardly_compared"]]
    note = _HOLLOW
    if out := len(pairs.ids) - len(shown):
        least = f"without a lookalike of {percent(_MAP_LEAST)} or more left out"
        note = f"{number_of(out, 'kind')} {least}. {note}"
    few = f"{number_of(len(hardly), 'pair')} hardly compared"
    on_page = (
        line(_HOW_READ),
        *((doc.Picture(map_svg(pairs, shown), fit=False, tallest=160.0),) if len(shown) > 1 else ()),
        line(note, "soft"),
        *_pairs(pairs, alike, "Most alike"),
        *(
            (Fold(f"{few}: too little is known", _pairs(pairs, hardly, "Hardly compared")),)
            if len(hardly)
            else ()
        ),
    )
    lines = [f"Lookalikes among {number_of(len(pairs.ids), 'kind')}, {fish}; mixed up at most:"]
    for r in alike.head(_MOST_IN_TEXT).itertuples():
        names = f"{pairs.table.label(r.a)} / {pairs.table.label(r.b)}"
        lines.append(f"  {r.mix_up_at_most * 100:3.0f} %  {names}")
        lines.append(f"         best told by: {_best(pairs, r.best_trait)}")
    if len(alike) > _MOST_IN_TEXT:
        lines.append(f"  and {len(alike) - _MOST_IN_TEXT} more")
    if len(hardly):
        lines.append(f"  {few}: fewer than three traits known of both")
    blocks = (On((SCREEN, PRINT), on_page), On(TEXT, (Lines(tuple(lines), indent=9),)))
    return words.of_table(pairs.table, f"Who is mistaken for whom ({fish})", blocks, titled=(SCREEN, PRINT))


def _pairs(pairs: Lookalikes, frame: pd.DataFrame, caption: str) -> tuple[Block, ...]:
    if not len(frame):
        return (line("No two kinds are this much alike."),)
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
    left = (f"and {more} more pairs, in ", doc.Code(".frame")) if more > 0 else ()
    return Table(heads, rows, caption, shares=(60.0, 25.0, 25.0, 40.0, 28.0)), line(left, "soft")


def _share(share: float) -> str:
    return f"{share * 100:.0f} %{' (a guess)' if round(share * 100) == 50 else ''}"


def _best(pairs: Lookalikes, trait_id: str) -> str:
    return pairs.table.trait(trait_id).name if trait_id else "nothing in the table"
