"""Labels for bags and tanks as a document: each a card with a code that a phone reads."""

from __future__ import annotations

from itertools import groupby

import segno

from idkey.book.labels import Label, Labels
from idkey.care.needs import CLASS_WORDS, format_value
from idkey.care.sheet import CareSheet, care_for, shortened
from idkey.errors import IdkeyError
from idkey.model.combine import COVERAGE
from idkey.model.fit import POOR_FIT
from idkey.model.identify import Identification
from idkey.model.sayings import say
from idkey.table.table import TraitTable
from idkey.table.units import amount, number_of, percent
from idkey.views.doc import SCREEN, TEXT, Block, Card, Cards, Document, Heading, Lines, Strong, line
from idkey.views.words import CAUTION_IN_SHORT, cut, introduced, none_words, of_table

_QUIET = 4
"""Modules of blank round a code, as ISO/IEC 18004 asks."""
_MOST_NAMES, _FEW_NAMES = 3, 2
_LONGEST = {"name": 130, "note": 150, "line": 120, "place": 40}
"""Letters of each part for which there is room on a label."""
BRIEF_NEEDS = ("temperature_c", "ph", "tank_volume_l", "diet_type")
BRIEF = {
    "Water": "{temperature_c}; pH {ph}",
    "Tank": "at least {tank_volume_l}; {adult_length_mm}",
    "Food": "{diet_type}{diet_avoid}",
}
"""Care in three lines, by their heads."""
WEAK = ("memory", "common practice")
"""Classes of evidence that are said beside a need."""


def code_svg(number: int) -> str:
    """Return a number as a code that a phone reads (QR, ISO/IEC 18004), dark on light in every theme."""
    # The strongest correction, since labels get wet and scratched: a number still fits the smallest code.
    code = segno.make_qr(str(number), error="h")
    side, path = code.symbol_size(border=_QUIET)[0], []
    for y, row in enumerate(code.matrix_iter(border=_QUIET)):
        x = 0
        for dark, run in groupby(row):
            width = len([*run])
            path += [f"M{x} {y}h{width}v1h-{width}z"] if dark else []
            x += width
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {side} {side}" shape-rendering="crispEdges">'
        f'<path fill="#fff" d="M0 0h{side}v{side}H0z"/><path fill="#000" d="{"".join(path)}"/></svg>'
    )


def labels_document(labels: Labels) -> Document:
    """Return labels as a document of cards."""
    cards = tuple(_card(labels.table, label) for label in labels.labels)
    title = number_of(len(cards), "label")
    return of_table(labels.table, title, (Cards(cards),), titled=(SCREEN, TEXT))


def _card(table: TraitTable, label: Label) -> Card:
    name, note = name_words(table, label)
    place = (cut(words, _LONGEST["place"]) for words in (label.tank, label.tag) if words)
    count = (f"{label.count:,} fish",) if label.count > 1 else ()
    below = (Heading(f"No. {label.number}"), Lines((*place, *count)))
    blocks = (
        Heading(cut(name, _LONGEST["name"])),
        line(cut(note, _LONGEST["note"]), "small"),
        *_care(table, label),
        line(CAUTION_IN_SHORT, "small"),
    )
    return Card(code_svg(label.number), f"code: {label.number}", below, blocks)


def name_words(table: TraitTable, label: Label) -> tuple[str, str]:
    """Return the name of a fish as certain as it is, and on what it rests."""
    if not label.taxon:
        return standing_words(label.identification)
    known = label.taxon in table.taxa.index
    name = introduced(table, label.taxon) if known else none_words(label.taxon, label.name)
    if label.settled:
        return name, label.ground
    share = label.probability
    note = "by its looks" if share is None else f"by its looks, {percent(share)}"
    return name if share is not None and share >= COVERAGE else f"probably {name}", note


def standing_words(fish: Identification) -> tuple[str, str]:
    """Return what the answers alone make of a fish, in a few words, and what is behind it."""
    table, kind = fish.table, fish.outcome().kind
    left, first = fish.kinds(possible=True), fish.kinds()[0]
    name, share = introduced(table, first.taxon), percent(first.probability)
    if kind == "no answers":
        return "not looked at yet", ""
    if kind == "none of these":
        genus, sure = fish.stranger()
        return "none of the kinds in the table", f"of the genus {genus}, {percent(sure)}" if genus else ""
    if kind == "little known":
        return f"perhaps {name}", "not settled: too little is known of it to go by"
    if kind == "one name":
        sure = first.probability >= COVERAGE and first.deviation >= POOR_FIT
        return name if sure else f"probably {name}", f"by its looks, {share}"
    short = dict(zip(left, shortened([row.name for row in left]), strict=True))
    rest = [words for row, words in short.items() if row is not first]
    more = f" and {len(rest) - _FEW_NAMES} more" if len(rest) > _FEW_NAMES else ""
    others = f"or {'; '.join(rest[:_FEW_NAMES])}{more}" if rest else "or none of the kinds"
    if first.probability >= 0.5:
        return f"probably {name}", f"{share} by its looks; {others}"
    if len(left) <= _MOST_NAMES:
        return f"one of: {'; '.join(introduced(table, row.taxon) for row in left)}", "by its looks"
    return f"one of {number_of(len(left), 'name')}", f"likeliest {name}, {share}; {others}"


def _care(table: TraitTable, label: Label) -> tuple[Block, ...]:
    """Return three lines of care: right for every name still possible, or for the one that is settled."""
    known = label.settled and label.taxon in table.taxa.index
    if not known and not label.identification.answers:
        return (line("Care: look at it first; the care sheet of the name on the bag is not enough."),)
    try:
        sheet = care_for(table, label.taxon) if known else care_for(label.identification)
    except IdkeyError as error:
        return (line(f"Care: none to give ({error})", "small"),)
    needs = [sheet.attributes[name] for name in (*BRIEF_NEEDS, "adult_length_mm") if name in sheet.attributes]
    said = []
    if sheet.others:
        said += [f"right for the {len(sheet.names)} likeliest of {len(sheet.names) + sheet.others} names"]
    if any(need.known and need.unknown for need in needs):
        said += ["as far as known"]
    told = tuple(
        (Strong(f"{head}: "), cut(words, _LONGEST["line"])) for head, words in care_in_brief(sheet, 60)
    )
    return (line(f"Care {', '.join(said)}:" if said else "", "small"), Lines(told))


def care_in_brief(sheet: CareSheet, food: int | None = None) -> tuple[tuple[str, str], ...]:
    """Return lines of care, each with its head; what to avoid in so many letters, by default all of it."""
    words = {name: _short(sheet, name) for name in BRIEF_NEEDS}
    size, avoid = (sheet.attributes.get(name) for name in ("adult_length_mm", "diet_avoid"))
    words["adult_length_mm"] = say("length not known")
    if size and size.known:
        words["adult_length_mm"] = say("grows", length=amount(size.shared[1], unit="mm"))
    # What one of the names should avoid harms none to go without.
    foods = " ".join(dict.fromkeys(cell for part in (avoid.known if avoid else ()) for cell in part.cells))
    words["diet_avoid"] = say("avoid", foods=cut(foods, food or len(foods))) if foods else ""
    return tuple((head, text.format(**words)) for head, text in BRIEF.items())


def _short(sheet: CareSheet, name: str) -> str:
    """Return what suits all names of which a need is known; that it rests on no source is said."""
    need = sheet.attributes.get(name)
    if need is None or not need.known:
        return say("need not known")
    if need.conflict:
        return say("names disagree")
    words, best = format_value(need.column, need.shared), next(iter(need.classes), "")
    return say("known so", need=words, known=CLASS_WORDS[best]) if best in WEAK else words
