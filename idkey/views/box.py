"""A box held against its labels: the page to print, the parts of its screen, and the letter to the seller."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from idkey.book.box import BagCheck, BoxCheck, FishCheck
from idkey.book.letter import Letter
from idkey.model.identify import Reason
from idkey.table.schema import LIFE_STAGE, NONE, YOUNG
from idkey.table.table import TraitTable
from idkey.table.units import first_up, listed, number_of, percent
from idkey.views import doc, html
from idkey.views.doc import PRINT, SCREEN, TEXT, Block, Document, Heading, Lines, On, Soft, Table, line
from idkey.views.words import answer_words, claims_of, day_words, introduced, of_table

_WIDTH = 100
_MOST_LOOKS = 5
_SIGNS = {"does not fit": "✕", "can't be told": "?", "fits with others": "✓", "fits": "✓"}
_WORDS = {"fits with others": "fits, and so do others"}
_STYLES = {"does not fit": "loud", "can't be told": "open"}


def box_document(check: BoxCheck, heading: str = "") -> Document:
    """Return a box as one page: its bags, what to look at next, and what could not be read."""
    blocks = (
        line(heading),
        line(check.text, "outcome"),
        On((SCREEN, PRINT), (_bags_table(check),)),
        On(TEXT, (Lines(tuple(map(_bag_line, check.bags)), indent=4),)),
        *doc.headed("Can the fish of one bag be one kind?", _pairs(check), "bullets"),
        *doc.headed("What to look at next", _looks(check)[:_MOST_LOOKS], "numbered"),
        *doc.headed(
            "Not taken from the sheet", (*map(str, check.problems), *check.notes), "bullets", "small"
        ),
        line(check.prior, "soft"),
    )
    return of_table(check.table, "A box held against its labels", blocks, width=_WIDTH)


def _bags_table(check: BoxCheck) -> Table:
    """Return the bags, one a row, each with its verdict, why, and what was seen."""
    rows = tuple((bag.number, _label(bag), _verdict_tag(bag.verdict), _why(bag)) for bag in check.bags)
    heads = ("Bag", "Label as written", "The label", "Why, and what was seen")
    return Table(heads, rows, "", "box-grid", (9.0, 32.0, 33.0, 104.0))


def _verdict_tag(verdict: str) -> doc.Inline:
    """Return what a bag comes to as a sign and a word, framed where it needs a look."""
    text = f"{_SIGNS[verdict]} {_WORDS.get(verdict, verdict)}"
    return doc.Tag(text, _STYLES[verdict]) if verdict in _STYLES else text


def stands_html(check: BoxCheck) -> str:
    """Return how the bags come out, and which look at which bag comes next."""
    look = check.next_look()
    ask = "No look is left that would settle more."
    if look:
        ask = f"Look next at {look.fish.name}: {look.question.trait.asked}"
    return html.status(check.text, "outcome", ask)


def bag_html(bag: BagCheck) -> str:
    """Return one bag: number and label, the verdict, and why."""
    head = (doc.Strong(f"Bag {bag.number} "), _verdict_tag(bag.verdict))
    return html.blocks((line(head), line(_label(bag)), *_why(bag)))


def letter_html(letter: Letter) -> str:
    """Return the letter as it now reads, to stand inside a screen."""
    document = letter_document(letter)
    return html.blocks((Heading(document.title, 0), *document.blocks))


def _label(bag: BagCheck) -> tuple[doc.Inline, ...]:
    rest = (f"{bag.count:,} fish" if bag.count > 1 else "", f"tank {bag.tank}" if bag.tank else "")
    rest = ", ".join(filter(None, rest))
    return (bag.label or "no label", Soft(f"\n{rest}" if rest else ""))


def _why(bag: BagCheck) -> doc.Content:
    said = [On(SCREEN, (line(bag.text),)), On(PRINT, (line(bag.text, "small"),))]
    said += [line(bag.hint, "soft")] if bag.hint else []
    for fish in bag.fish:
        if seen := _seen_words(fish):
            name = f"{fish.name}: " if len(bag.fish) > 1 else "Seen: "
            said.append(line(f"{name}{seen}.", "soft"))
    return tuple(said)


def _seen_words(fish: FishCheck) -> str:
    """Return all that was answered of a fish, in plain words."""
    seen = []
    for trait_id, answer in fish.fish.answers.items():
        if trait_id == LIFE_STAGE:
            seen.append(answer)
        else:
            trait = fish.fish.table.trait(trait_id)
            seen.append(f"{trait.name.lower()}: {answer_words(trait, answer)}")
    return "; ".join(seen)


def _bag_line(bag: BagCheck) -> str:
    return f"{bag.number}. {bag.label or 'no label'}: {doc.plain(_verdict_tag(bag.verdict))}. {bag.text}"


def _pairs(check: BoxCheck) -> tuple[str, ...]:
    """Say of each bag in which two fish were looked at whether they can be one kind."""
    return tuple(bag.pairs[0].text for bag in check.bags if bag.pairs)


def _looks(check: BoxCheck) -> tuple[str, ...]:
    """Say which look at which bag next settles most for least trouble: the best at each fish."""
    best = {}
    for look in check.looks:
        best.setdefault(look.fish.name, look.question.trait)
    return tuple(f"{first_up(name)}: {trait.asked}" for name, trait in best.items())


# -- the letter ------------------------------------------------------------------------------------------


def letter_document(letter: Letter) -> Document:
    """Return a letter as a document: what was seen, what the table says and where it has it from."""
    check, cited = letter.check, dict[str, None]()
    blocks = (
        line(f"Dear {letter.seller}," if letter.seller else "Dear Sir or Madam,"),
        line(f"Thank you for the box{_of(letter)}. It held {number_of(len(check.bags), 'bag')}."),
        line(_opening(check)),
        line(_rest(check)),
        line(_CLOSING),
        line(f"With kind regards\n{letter.sender}".strip()),
        *(block for bag in check.of("does not fit") for block in _bag_blocks(letter, bag, cited)),
        *_in_one_bag(check),
        *_sources(check.table, cited),
    )
    title = f"About the box{_of(letter)}"
    return of_table(check.table, title, blocks, width=_WIDTH)


_CLOSING = (
    "Names pass through many hands before a fish reaches a tank, and young fish are easily taken for one "
    "another. We draw no conclusion about how these names came about, and the table may be incomplete or "
    "mistaken, as may we. If you know more of where the fish come from, or have a better name for them, "
    "we should be glad to hear it."
)


def _of(letter: Letter) -> str:
    of = f" of {day_words(letter.day)}" if letter.day else ""
    return f"{of}, invoice {letter.invoice}" if letter.invoice else of


def _opening(check: BoxCheck) -> str:
    wrong = check.of("does not fit")
    if not wrong:
        return "We looked at the fish, and in what we saw nothing rules out a name on a bag."
    return (
        "We looked at the fish and held what we saw against a table of features, which says for each how it "
        f"is known. For {_bags(wrong)} the two differ. Both are set out below, with the sources, so that you "
        "can check them."
    )


def _bags(bags: Iterable[BagCheck]) -> str:
    numbers = [bag.number for bag in bags]
    return f"bag{'s' * (len(numbers) > 1)} {listed(numbers)}"


def _bag_blocks(letter: Letter, bag: BagCheck, cited: dict[str, None]) -> Iterator[Block]:
    table, count = bag.table, f", {bag.count:,} fish" if bag.count > 1 else ""
    yield Heading(f"Bag {bag.number}, labelled \u201c{bag.label}\u201d{count}")
    named = listed(introduced(table, taxon) for taxon in bag.taxa)
    yield line(f"In the table this label means {named}.")
    for fish in bag.fish:
        if fish.verdict == "does not fit":
            heads = ("Feature", "Seen on the fish", "The table has", "Source")
            rows = tuple(_compared(table, fish, reason, cited) for reason in fish.against)
            caption = first_up(fish.name) if len(bag.fish) > 1 else ""
            yield Table(heads, rows, caption, "", (34.0, 40.0, 44.0, 60.0))
            yield line(f"All that was seen: {_seen_words(fish)}.")
            yield line(_nearest(table, fish))
    if pictures := letter.pictures.get(bag.number):
        yield line(f"Pictures enclosed: {listed(pictures)}.")


def _compared(table: TraitTable, fish: FishCheck, reason: Reason, cited: dict[str, None]) -> tuple[str, ...]:
    """Return one answer beside what the table has, and where it has it from; `cited` notes the sources."""
    trait, claims = table.trait(reason.trait), dict[str, None]()
    # Of a label that means several kinds the answers were held against the likeliest.
    taxon = next(row.taxon for row in fish.fish.ranked() if row.taxon in fish.taxa)
    for column in (trait.id, trait.id + YOUNG):
        cited |= dict.fromkeys(table.claims(taxon, column).get("source", ()))
        claims |= dict.fromkeys(claims_of(table, taxon, column))
    return trait.name, answer_words(trait, reason.answer), reason.row, "; ".join(claims) or "not stated"


def _nearest(table: TraitTable, fish: FishCheck) -> str:
    if fish.likeliest == NONE:
        return "By these answers the fish is most likely none of the kinds in the table."
    name, share = introduced(table, fish.likeliest), percent(fish.probability)
    return f"Of the kinds in the table these answers agree best with {name} ({share})."


def _in_one_bag(check: BoxCheck) -> Iterator[Block]:
    for bag in check.bags:
        for pair in bag.mixed[:1]:
            yield Heading(f"Bag {bag.number}: two fish that differ")
            yield line(f"{first_up(pair.names[0])} and {pair.names[1]} are probably of two kinds:")
            yield Lines(tuple(f"{r.label}: {r.said[0]}, and {r.said[1]}" for r in pair.reasons), "bullets")


def _rest(check: BoxCheck) -> str:
    fits = (*check.of("fits"), *check.of("fits with others"))
    told = [f"What we saw agrees with the label of {_bags(fits)}."] if fits else []
    if later := check.of("can't be told"):
        told.append(f"Of {_bags(later)} we can't say yet.")
    return " ".join(told)


def _sources(table: TraitTable, cited: Iterable[str]) -> Iterator[Block]:
    entries = tuple(table.sources[key].full for key in cited if key in table.sources)
    if entries:
        yield Heading("Sources")
        yield doc.Columns(entries, 2)
