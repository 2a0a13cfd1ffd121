"""An identification and a question as documents; and the parts of a screen that asks."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any
from urllib.parse import quote
from uuid import uuid4

from idkey.care.needs import format_value, sentences
from idkey.care.sheet import care_for
from idkey.errors import IdkeyError
from idkey.model.ask import Question
from idkey.model.combine import kept
from idkey.model.compare import contrasts
from idkey.model.genus import a_kind, genera_words, settles_little, turning
from idkey.model.identify import LITTLE, UNKNOWN, Identification
from idkey.model.sayings import say
from idkey.table.reading import ABOUT, is_total, parse_answer, without_about
from idkey.table.schema import LIFE_STAGE, NONE, States, Trait, answer_text, cell_words
from idkey.table.table import TraitTable
from idkey.table.units import listed, number_of, percent
from idkey.views import doc, html
from idkey.views.care import care_blocks
from idkey.views.doc import SCREEN, TEXT, Block, Document, Fold, Lines, On, Soft, line
from idkey.views.fish import how_svg
from idkey.views.sheet import can_draw, fish_shapes, fish_svg
from idkey.views.words import answer_words, codes_from_memory, none_words, state_icons

LITTLE_GAIN = 0.1
"""Bits below which an answer is expected to change the names little (judgement)."""
MOST_RIVALS, MOST_TOGETHER = 2, 8
"""Names that the first is held against in the end, and names for which one care is given."""
MOST_LIKELIEST, MOST_LOOKS = 3, 2
"""Of many names those that are shown in the end, and the looks that would settle most."""
FIRST_NEEDS = ("temperature_c", "flow")
"""What a fish dies of first."""
MOST_NAMES = 8
"""Names that a screen shows with their fish."""
_MOST_ON_BAG = 5
_NAME_COLUMN = 35  # where names begin beside their bars in a console
SIDES = ("Speaks for it", "Speaks against it", "Says little", "The table does not know")


def identification_document(fish: Identification) -> Document:
    """Return where an identification stands: outcome, names as bars, what to look at next, answers."""
    ask: doc.Runs = ()
    first, after = _stands(fish)
    if question := fish.next_question():
        trait = question.trait
        ask = (doc.Strong("Look next:"), f" {trait.asked} ", Soft(f"({trait.id})"))
    bars = [("  ", _bar(row)) for row in fish.ranked() if row.candidate]
    more = [f"  and {len(bars) - MOST_NAMES} more"] if len(bars) > MOST_NAMES else []
    blocks = (
        line(first, "outcome"),
        line(after),
        On(SCREEN, _names(fish)),
        On(TEXT, (Lines((*bars[:MOST_NAMES], *more), indent=_NAME_COLUMN),)),
        line(ask),
        On(SCREEN, _seen(fish)),
    )
    return Document("", blocks, titled=())


def _stands(fish: Identification) -> tuple[str, str]:
    """Return where an identification stands, in one sentence, and what is said after it of a doubt."""
    outcome = fish.outcome()
    if outcome.kind not in ("little known", "none of these"):
        return outcome.text, ""
    first, *more = sentences(outcome.text)
    return first, " ".join(more)


def _bar(row: Any) -> doc.Bar:
    return doc.Bar(row.probability, percent(row.probability), none_words(row.taxon, row.name))


def _seen(fish: Identification) -> tuple[Block, ...]:
    rows = [_seen_words(fish.table, *answer) for answer in fish.answers.items()]
    rows += [(fish.table.trait(t).name, "can't be seen") for t in fish.unseen if t in fish.table.trait_ids]
    return (doc.Table((), tuple(rows), "What was seen"),) if rows else ()


def _seen_words(table: TraitTable, trait_id: str, text: str) -> tuple[str, str]:
    """Return what was looked at, and what was seen, in words."""
    if trait_id not in table.trait_ids:
        return "Age", text
    trait = table.trait(trait_id)
    return trait.name, answer_words(trait, text)


def _names(fish: Identification, *, held: bool = False, mark: str = "") -> Iterator[Block]:
    """Give the names still possible as bars; each opens to its reasons, and care where that is held."""
    if not fish.answers:
        yield line("The names still possible will stand here, likeliest first.", "soft")
        return
    ranking = fish.ranked()
    left = [row for row in ranking if row.candidate]
    for row in left[:MOST_NAMES]:
        under, summary = _why(fish, row), (_bar(row),)
        if row.taxon != NONE:
            place = _place(fish.table, row.taxon) if held else ""
            under += (*_according_to(fish.table, row.taxon), *(doc.Held(place),) * held)
            summary = (*_drawn(fish.table, row.taxon, mark, place), *summary)
        yield Fold(summary, under, "name")
    if rest := left[MOST_NAMES:]:
        items = tuple(f"{none_words(row.taxon, row.name)}: {percent(row.probability)}" for row in rest)
        yield Fold(f"and {number_of(len(rest), 'name', 'more')}", (Lines(items, "bullets"),), "name")
    if out := len(ranking) - len(left):
        hold = f"Together they hold at most {(1 - fish.coverage) * 100:.0f} %."
        why = "To see why one of them is out, write its name or code as the name on the bag."
        yield Fold(f"{number_of(out, 'name')} hardly possible any more", (line(f"{hold} {why}"),), "name")


def _why(fish: Identification, row: Any) -> tuple[Block, ...]:
    """Return what speaks for and against a name."""
    sides: dict[str, list[str]] = {side: [] for side in SIDES}
    unknown = []
    for reason in fish.reasons(row.taxon):
        little = abs(reason.decibans) < LITTLE
        if reason.row == UNKNOWN and reason.decibans > -LITTLE:
            unknown.append(reason.label.lower())
        elif not little or reason.trait != LIFE_STAGE:
            side = 3 if reason.row == UNKNOWN else 2 if little else reason.decibans < 0
            sides[SIDES[side]].append(reason.text)
    if unknown:
        sides[SIDES[3]].append(f"{listed(unknown).capitalize()}: {say('by kin')}.")
    told = [(doc.Heading(side), Lines(tuple(texts), "bullets")) for side, texts in sides.items() if texts]
    if not told:
        return (line("No answer yet, so nothing speaks for or against it."),)
    blocks = [block for part in told for block in part]
    if row.taxon == NONE:
        judged = (
            "No kind stands behind this: answers are held against its likeliest genus or the whole table."
        )
        blocks.append(line(judged, "soft"))
    if row.compared:
        over = f"over the {number_of(row.compared, 'answer')} that it can compare"
        agrees = line(f"The answers agree with the table to {row.agreement * 100:.0f} %, {over}.")
        blocks.append(Fold("Figures", (agrees,)))
    return tuple(blocks)


def _according_to(table: TraitTable, taxon: str) -> tuple[Block, ...]:
    """Link to the paper whose name it is, where there is one, and say which trade codes rest on memory."""
    codes, link = codes_from_memory(table, taxon), _paper(table, taxon)
    kind = "trade codes" if len(codes) > 1 else "a trade code"
    remembered = f"{', '.join(codes)}: {kind} from memory; no source read ties it to this name."
    said = (line(("Name according to ", link, "."), "soft"),) if link else ()
    return (*said, line(remembered, "soft")) if codes else said


def _paper(table: TraitTable, taxon: str) -> doc.Link | None:
    if "nameAccordingTo" not in table.taxa.columns:
        return None
    source = table.sources.get(str(table.taxa.at[taxon, "nameAccordingTo"]))
    if source is None or not source.doi:
        return None
    return doc.Link(source.short or source.key, f"https://doi.org/{quote(source.doi, safe='/:;()')}")


def _care_fold(summary: str, *kinds: Any) -> tuple[Block, ...]:
    """Return a care sheet behind a fold; nothing for a table without care sheets."""
    try:
        return (Fold(summary, care_blocks(care_for(*kinds)), "care"),)
    except IdkeyError:
        return ()


def _drawn(table: TraitTable, taxon: str, mark: str = "", place: str = "") -> tuple[doc.Icon, ...]:
    if not can_draw(table):
        return ()
    shapes = f'<use href="#{place}"/>' if place else ""
    return (doc.Icon(fish_svg(table, taxon, mark=mark, wide=96, shapes=shapes), table.label(taxon)),)


@kept
def _mark_of(_table: TraitTable) -> str:
    # Screens of several tables, and of several kernels, stand on one page.
    return uuid4().hex[:8]


def _place(table: TraitTable, taxon: str) -> str:
    return f"idk-{_mark_of(table)}-{table.position(taxon)}"


def names_html(fish: Identification, *, mark: str = "") -> str:
    """Return the names still possible as bars; each opens to its reasons and its care sheet.

    Beside each is its fish, with the feature `mark` ringed on it. Fish and care are in `kind_html`, which
    is to be on the page for each of `kinds_shown`.
    """
    return html.blocks(_names(fish, held=True, mark=mark))


def kinds_shown(fish: Identification) -> list[str]:
    """Return the kinds that `names_html` draws."""
    left = [row.taxon for row in fish.ranked() if row.candidate][:MOST_NAMES] if fish.answers else []
    return [taxon for taxon in left if taxon != NONE]


def kind_html(table: TraitTable, taxon: str) -> str:
    """Return what `names_html` shows of a kind and no answer changes, out of sight: its fish and its care."""
    shapes = fish_shapes(table, taxon) if can_draw(table) else ""
    return html.held(_place(table, taxon), shapes, _care_fold("Care sheet", table, taxon))


def outcome_html(fish: Identification) -> str:
    """Return where an identification stands, which a screen reader says, and the names next to the first.

    The latter are for a narrow screen, where the list of names is out of sight.
    """
    first, more = _stands(fish)
    left = fish.kinds(possible=True)[1:3] if fish.answers else []
    then = listed([f"{row.name} ({percent(row.probability)})" for row in left])
    return html.status(first, "outcome", more) + html.blocks((line(f"Then {then}." if then else "", "then"),))


def asked_html(fish: Identification, trait: Trait | None, *, chosen: bool = False) -> str:
    """Return the question of a feature, `chosen` by the person or not, or that no question is left."""
    if trait is None:
        more = "" if fish.next_question() else say("go on")
        return html.blocks((*_ending(fish), line(more, "soft")))
    blocks: list[Block] = [doc.Heading(trait.asked, 0)]
    if stop := settles_little(fish) and not chosen:
        blocks.append(line((doc.Strong(genera_words(fish)), say("can stop"))))
    blocks += [line(trait.how, "soft")] if trait.how else []
    blocks.append(line("" if stop else _settles(fish, trait), "soft"))
    if (svg := how_svg(trait.id, trait.name, fish.answers)) is not None:
        blocks.append(doc.Picture(svg, trait.name))
    if trait.id in fish.answers:
        blocks.append(line(("So far: ", doc.Strong(answer_words(trait, fish.answers[trait.id])), ".")))
    elif chosen:
        blocks.append(line("You chose this feature.", "soft"))
    return html.blocks(blocks)


def _settles(fish: Identification, trait: Trait) -> str:
    """Say what a question can still settle, where that is little."""
    gains = {question.trait.id: question.gain for question in fish.questions()}
    if not fish.answers or gains.get(trait.id, 1.0) >= LITTLE_GAIN:
        return ""
    if max(gains.values()) < LITTLE_GAIN:
        return "No question that is left will change the names much: you can stop here."
    return "This will hardly change the names."


def read_as_html(trait: Trait, typed: str) -> str:
    """Say how a number was read, where that is not how it was typed."""
    try:
        answer = parse_answer(trait, typed)
    except IdkeyError:
        return ""
    if answer is None or answer_text(trait, answer) == typed.strip():
        return ""
    said = f"read as {cell_words(trait, answer)}"
    said += " without the tail fin; a length with it says no more" * is_total(trait, typed)
    said += f", since about may be {percent(ABOUT)} off either way" * bool(without_about(trait, typed))
    return html.status(said, "soft")


def bag_html(fish: Identification, text: str) -> str:
    """Say which kinds go by the name or code on a bag, and where they stand; it is itself no evidence."""
    if not text.strip():
        return ""
    kinds = set(fish.table.names.inside(text))
    ranked = fish.kinds()
    places = [(place, row) for place, row in enumerate(ranked, start=1) if row.taxon in kinds]
    if not places:
        return html.blocks([line(f"No kind in this table is called {text.strip()}.")])
    lower, shown = len(places) - _MOST_ON_BAG, places[:_MOST_ON_BAG]
    more = f"and {number_of(lower, 'name', 'more')}" if lower > 0 else ""
    if not fish.answers:
        names = f"{'; '.join(row.name for _, row in shown)} {more}".rstrip()
        text = f"In this table that is {names}. Answer a question to see where it stands."
        return html.blocks([line(text)])
    blocks: list[Block] = [line(_bag_sentence(fish, places))]
    for place, row in shown:
        placed = line(f"It comes as number {place} of {len(ranked)}.", "soft")
        icon = _drawn(fish.table, row.taxon)
        blocks.append(Fold((*icon, _bar(row)), (*_why(fish, row), placed), "name"))
    blocks.append(line(f"{more} lower down" if more else "", "soft"))
    blocks.append(line("The name on the bag does not count as evidence.", "soft"))
    return html.blocks(blocks)


def _bag_sentence(fish: Identification, places: list[tuple[int, Any]]) -> str:
    """Say whether the fish may be what is written on its bag, and if not, what speaks against it most."""
    likelier = places[0][0] - 1
    if not likelier:
        return "It may be what the bag says: no kind is likelier."
    possible = [row for _, row in places if row.candidate]
    text = "It hardly is what the bag says"
    if possible:
        are = "are" if likelier > 1 else "is"
        text = f"It may be what the bag says, but {number_of(likelier, 'kind')} {are} likelier"
    against = [r for row in possible or [row for _, row in places] for r in fish.against(row.taxon)[:1]]
    if not against:
        return f"{text}." if possible else f"{text}: other names fit better."
    most = min(against, key=lambda reason: reason.decibans)
    saw = answer_words(fish.table.trait(most.trait), most.answer)
    return f"{text}. {most.label}: you saw {saw}; that kind has {most.row}."


def together_html(fish: Identification) -> str:
    """Return the care that is right for all the names still possible, while they are few but not one.

    An unlikely name counts as much as a likely one: a fish can die of it. A stranger has that of its genus.
    """
    if not fish.answers:
        return ""
    left = fish.kinds(possible=True)
    genus = fish.stranger()[0] if fish.outcome().kind == "none of these" else ""
    if genus:
        summary = say("care of genus", name=genus)
    elif 2 <= len(left) <= MOST_TOGETHER:
        summary = say("care for all", count=len(left))
    else:
        return ""
    return html.blocks(_care_fold(summary, fish))


def question_document(question: Question) -> Document:
    """Return a question with its states."""
    trait = question.trait
    states = zip(trait.states, trait.words, strict=True)
    blocks = (
        line(trait.how, "soft"),
        line(f"A number in {trait.unit}." if trait.unit and not trait.has_states else ""),
        Lines(tuple((f"{word} ", Soft(f"({state})")) for state, word in states), "bullets"),
        On(TEXT, (Lines((f"({trait.id}, expected to settle {question.gain:.2f} bits)",)),)),
    )
    return Document(trait.asked, blocks)


def _ending(fish: Identification) -> Iterator[Block]:
    outcome = fish.outcome()
    named = outcome.kind in ("one name", "several names", "not told apart") and outcome.taxa
    if named and len(outcome.taxa) <= 1 + MOST_RIVALS:
        first, *others = outcome.taxa
        share = next(row.probability for row in fish.ranked() if row.taxon == first)
        yield doc.Heading(say("probably" if share >= 0.5 else "perhaps", name=fish.table.label(first)), 0)
        for other in others:
            yield from _could_be(fish, first, other)
    else:
        yield doc.Heading(genera_words(fish) or say("no name yet"), 0)
        if outcome.kind not in ("no answers", "none of these"):
            yield from _of_many(fish)
    yield from map(line, _turned(fish))
    yield line(_until_then(fish))


def _of_many(fish: Identification) -> Iterator[Block]:
    """Give the likeliest of many names, each with its fish, and what would settle most."""
    left = fish.kinds(possible=True)
    yield line(say("likeliest", count=number_of(len(left), "name")) if left else "")
    for row in left[:MOST_LIKELIEST]:
        yield line((*_drawn(fish.table, row.taxon), doc.Strong(row.name), f" ({percent(row.probability)})"))
    looks = sorted(fish.questions(), key=lambda question: (-question.gain, question.trait.id))
    most = [q.trait.name.lower() for q in looks[:MOST_LOOKS] if q.gain >= LITTLE_GAIN]
    yield line(say("settles most", traits="; ".join(most)) if most else say("nothing settles"))


def _turned(fish: Identification) -> Iterator[str]:
    for turn in turning(fish):
        label, said = _seen_words(fish.table, turn.trait, fish.answers[turn.trait])
        genus, share = a_kind(turn.genus), percent(turn.share)
        yield say("turned", trait=label.lower(), said=said, genus=genus, share=share)


def turned_html(fish: Identification) -> str:
    """Say which answer alone turns the genus; blank where none does."""
    return "".join(map(html.status, _turned(fish)))


def _could_be(fish: Identification, first: str, other: str) -> Iterator[Block]:
    """Say what another name would show instead, with both drawn."""
    table, name = fish.table, fish.table.label(other)
    found = contrasts(table, (first, other))
    looks = (c.trait for c in found if c.kind == "differs" and not c.hearsay)
    trait = next((t for t in looks if t.id in fish.askable), None)
    if trait is None:
        yield line((say("could be"), doc.Strong(name), say("nothing tells")))
        return
    yield line((say("could be"), doc.Strong(name), say("look at", trait=trait.name.lower())))
    cells = (table.cells[trait.id][table.position(taxon)] for taxon in (first, other))
    icons = [state_icons(trait, c.names[:2]) if isinstance(c, States) else () for c in cells]
    said = (table.words(taxon, trait.id) for taxon in (first, other))
    row = tuple((*icon, "\n", words) if icon else words for icon, words in zip(icons, said, strict=True))
    heads = tuple(map(table.label, (first, other)))
    yield doc.Table(heads, (row,), row_heads=False)


def _until_then(fish: Identification) -> str:
    """Say the needs that a fish dies of first."""
    try:
        sheet = care_for(fish)
    except IdkeyError:
        return ""
    needs, words = sheet.attributes, []
    for need in (needs[a] for a in FIRST_NEEDS if a in needs and needs[a].known):
        if need.conflict:
            continue
        text = format_value(need.column, need.shared)
        text = say("flow", flow=text) if need.attribute == "flow" else text
        if need.unknown:
            text = say("known of", need=text, known=len(need.known), of=len(need.parts))
        words.append(text)
    what = "until then, likeliest" if sheet.others else "until then"
    return say(what, count=len(sheet.names), needs="; ".join(words)) if words else ""
