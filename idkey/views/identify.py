"""An identification and a question as documents; and the parts of a screen that asks."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING
from urllib.parse import quote
from weakref import WeakKeyDictionary

from idkey.care.sheet import CareSheet, care_for
from idkey.errors import IdkeyError
from idkey.model.evidence import NONE
from idkey.table.names import inside
from idkey.table.reading import trait_answer
from idkey.table.schema import LIFE_STAGE, Trait, answer_text
from idkey.table.words import cell_words, percent
from idkey.views import doc, html
from idkey.views.care import care_document
from idkey.views.words import answer_words, none_words, number_of

if TYPE_CHECKING:
    from idkey.model.ask import Question
    from idkey.model.identify import Identification, Ranked
    from idkey.table.table import TraitTable

__all__ = [
    "asked_html",
    "bag_html",
    "identification_document",
    "names_html",
    "outcome_html",
    "question_document",
    "read_as_html",
    "together_html",
]

_MOST_NAMES = 8
_MOST_TOGETHER = 8
_MOST_ON_BAG = 5
_LITTLE = 1.0
_SHEETS: WeakKeyDictionary[TraitTable, dict[str, tuple[doc.Block, ...]]] = WeakKeyDictionary()
"""Care sheets by table and kind: a screen shows the same ones after every answer."""


# -- an identification ------------------------------------------------------------------------------


def identification_document(fish: Identification) -> doc.Document:
    """Return where an identification stands: outcome, names as bars, what to look at next, answers."""
    question = fish.next_question()
    ask: tuple[doc.Block, ...] = ()
    if question is not None:
        trait = question.trait
        ask = (
            doc.Lines(
                ((doc.Strong("Look next:"), f" {trait.question or trait.name} ", doc.Soft(f"({trait.id})")),)
            ),
        )
    left = [row for row in fish.ranked() if row.candidate]
    bars = [("  ", _bar(row)) for row in left[:_MOST_NAMES]]
    more = [f"  and {len(left) - _MOST_NAMES} more"] if len(left) > _MOST_NAMES else []
    blocks = (
        doc.Lines((fish.outcome().text,), style="outcome"),
        doc.On(doc.SCREEN, _names(fish, care=False)),
        doc.On(doc.TEXT, (doc.Lines((*bars, *more)),)),
        *ask,
        doc.On(doc.SCREEN, _seen(fish)),
    )
    return doc.Document("", blocks, titled=())


def _bar(row: Ranked) -> doc.Bar:
    return doc.Bar(row.probability, percent(row.probability), none_words(row.taxon, row.name))


def _seen(fish: Identification) -> tuple[doc.Block, ...]:
    rows = []
    for trait_id, text in fish.answers.items():
        label, words = "Age" if trait_id == LIFE_STAGE else trait_id, text
        if trait_id in fish.table.trait_ids:
            trait = fish.table.trait(trait_id)
            label, words = trait.name, answer_words(trait, text)
        rows.append((label, words))
    rows += [(fish.table.trait(t).name, "can't be seen") for t in fish.unseen if t in fish.table.trait_ids]
    return (doc.Table((), tuple(rows), "What was seen"),) if rows else ()


def _names(fish: Identification, *, care: bool) -> tuple[doc.Block, ...]:
    """Return the names still possible as bars; each opens to its reasons, and its care sheet if asked for."""
    if not fish.answers:
        return (doc.Lines(("The names still possible will stand here, likeliest first.",), style="soft"),)
    ranking = fish.ranked()
    left = [row for row in ranking if row.candidate]
    blocks: list[doc.Block] = [
        doc.Fold(_bar(row), _inside(fish, row, care=care), "name") for row in left[:_MOST_NAMES]
    ]
    if rest := left[_MOST_NAMES:]:
        items = tuple(f"{none_words(row.taxon, row.name)}: {percent(row.probability)}" for row in rest)
        fold = doc.Fold(f"and {number_of(len(rest), 'name', 'more')}", (doc.Lines(items, "bullets"),), "name")
        blocks.append(fold)
    if out := len(ranking) - len(left):
        hold = "holds" if out == 1 else "hold"
        most = f"{number_of(out, 'name', 'other')} {hold} at most {(1 - fish.coverage) * 100:.0f} % together."
        blocks.append(doc.Lines((most,), style="soft"))
    return tuple(blocks)


def _inside(fish: Identification, row: Ranked, *, care: bool) -> tuple[doc.Block, ...]:
    """Return what speaks for and against a name, whose name it is, and its care sheet."""
    blocks = _why(fish, row)
    if row.taxon != NONE:
        blocks += _according_to(fish.table, row.taxon)
        blocks += _care(fish.table, row.taxon) if care else ()
    return blocks


def _why(fish: Identification, row: Ranked) -> tuple[doc.Block, ...]:
    groups: dict[str, list[str]] = defaultdict(list)
    for reason in fish.reasons(row.taxon):
        little = abs(reason.decibans) < _LITTLE
        side = "Says little" if little else "Speaks for it" if reason.decibans > 0 else "Speaks against it"
        if not little or reason.trait != LIFE_STAGE:
            groups[side].append(reason.text)
    if not groups:
        return (doc.Lines(("No answer yet, so nothing speaks for or against it.",)),)
    blocks: list[doc.Block] = []
    for side in ("Speaks for it", "Speaks against it", "Says little"):
        if side in groups:
            blocks += [doc.Heading(side), doc.Lines(tuple(groups[side]), "bullets")]
    if row.compared:
        agreement = (
            f"Plain agreement: {row.agreement * 100:.0f} % over the {number_of(row.compared, 'answer')} "
            "that the table can compare."
        )
        blocks.append(doc.Lines((agreement,), style="soft"))
    return tuple(blocks)


def _according_to(table: TraitTable, taxon: str) -> tuple[doc.Block, ...]:
    """Link to the paper whose name it is, where there is one."""
    if "nameAccordingTo" not in table.taxa.columns:
        return ()
    source = table.sources.get(str(table.taxa.at[taxon, "nameAccordingTo"]))
    if source is None or not source.doi:
        return ()
    link = doc.Link(source.short or source.key, f"https://doi.org/{quote(source.doi, safe='/:;()')}")
    return (doc.Lines((("Name according to ", link, "."),), style="soft"),)


def _care(table: TraitTable, taxon: str) -> tuple[doc.Block, ...]:
    """Return the care sheet of a name behind a fold; nothing for a table without care sheets."""
    sheets = _SHEETS.setdefault(table, {})
    if taxon not in sheets:
        try:
            sheets[taxon] = (_care_fold("Care sheet", care_for(table, taxon)),)
        except IdkeyError:
            sheets[taxon] = ()
    return sheets[taxon]


def _care_fold(summary: str, sheet: CareSheet) -> doc.Fold:
    made = care_document(sheet, drawn=False)
    return doc.Fold(summary, (doc.Heading(made.title, 0), *made.blocks), "care")


# -- the parts of a screen --------------------------------------------------------------------------


def names_html(fish: Identification, *, care: bool = True) -> str:
    """Return the names still possible as bars; each opens to its reasons, and its care sheet if asked for."""
    return html.blocks(_names(fish, care=care))


def outcome_html(fish: Identification) -> str:
    """Return the one sentence on where an identification stands, which a screen reader says."""
    return html.status(fish.outcome().text, "outcome")


def asked_html(fish: Identification, trait: Trait | None, *, chosen: bool = False) -> str:
    """Return the question a screen puts; `chosen` where the person chose the feature.

    Where no question is left the trait is None.
    """
    if trait is None:
        return (
            "<h3>No question left</h3><p>Nothing the table knows would settle it further. "
            "Read the care sheets, or answer another feature.</p>"
        )
    blocks = [doc.Lines((trait.how,), style="soft")] if trait.how else []
    if trait.id in fish.answers:
        so_far = answer_words(trait, fish.answers[trait.id])
        blocks.append(doc.Lines((("So far: ", doc.Strong(so_far), "."),)))
    elif chosen:
        blocks.append(doc.Lines(("You chose this feature.",), style="soft"))
    return f"<h3>{html.runs(trait.question or trait.name)}</h3>{html.blocks(blocks)}"


def read_as_html(trait: Trait, typed: str) -> str:
    """Say how a number was read, where that is not how it was typed."""
    try:
        answer = trait_answer(trait, typed)
    except IdkeyError:
        return ""
    if answer is None or answer_text(trait, answer) == typed.strip():
        return ""
    return html.status(f"read as {cell_words(trait, answer)}", "soft")


def bag_html(fish: Identification, text: str) -> str:
    """Say which kinds go by the name or code on a bag, and where they stand; it is itself no evidence."""
    if not text.strip():
        return ""
    kinds = set(inside(fish.table, text))
    ranked = [row for row in fish.ranked() if row.taxon != NONE]
    places = [(place, row) for place, row in enumerate(ranked, start=1) if row.taxon in kinds]
    if not places:
        return html.blocks((doc.Lines((f"No kind in this table is called {text.strip()}.",)),))
    lower = len(places) - _MOST_ON_BAG
    more = f"and {number_of(lower, 'name', 'more')}" if lower > 0 else ""
    if not fish.answers:
        names = "; ".join(row.name for _, row in places[:_MOST_ON_BAG])
        line = f"In this table that is {names}{more and ' ' + more}."
        return html.blocks((doc.Lines((f"{line} Answer a question to see where it stands.",)),))
    items = [
        f"{row.name}: {_ordinal(place)} of {len(ranked)}, {percent(row.probability)}"
        f"{'' if row.candidate else ', not among the names still possible'}"
        for place, row in places[:_MOST_ON_BAG]
    ]
    items += [f"{more} lower down"] if more else []
    note = doc.Lines(("The name on the bag does not count as evidence.",), style="soft")
    return html.blocks((doc.Lines(tuple(items), "bullets"), note))


def _ordinal(n: int) -> str:
    ending = "th" if n % 100 in (11, 12, 13) else {1: "st", 2: "nd", 3: "rd"}.get(n % 10, "th")
    return f"{n}{ending}"


def together_html(fish: Identification) -> str:
    """Return the care that is right for all the names still possible, while they are few but not one.

    An unlikely name counts as much as a likely one: a fish can die of it.
    """
    left = [row for row in fish.ranked() if row.candidate and row.taxon != NONE]
    if not fish.answers or not 2 <= len(left) <= _MOST_TOGETHER:
        return ""
    summary = f"Care that is right until the name is settled, for all {len(left)} names"
    try:
        return html.blocks((_care_fold(summary, care_for(fish)),))
    except IdkeyError:
        return ""


# -- a question -------------------------------------------------------------------------------------


def question_document(question: Question) -> doc.Document:
    """Return a question with its states."""
    trait = question.trait
    states = zip(trait.states, trait.words, strict=True)
    number = trait.unit and not trait.has_states
    blocks = (
        *((doc.Lines((trait.how,), style="soft"),) if trait.how else ()),
        *((doc.Lines((f"A number in {trait.unit}.",)),) if number else ()),
        doc.Lines(tuple((f"{word} ", doc.Soft(f"({state})")) for state, word in states), "bullets"),
    )
    return doc.Document(trait.question or trait.name, blocks)
