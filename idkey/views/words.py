"""How figures, leads and lists are put into words: each in one place, for every document."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any

from idkey.care.needs import CLASS_WORDS
from idkey.model.combine import kept
from idkey.table.layout import VERSION
from idkey.table.names import trade_codes
from idkey.table.reading import parse_answer
from idkey.table.schema import NONE, Trait, cell_words
from idkey.table.table import TraitTable
from idkey.views.doc import Block, Document, Heading, Icon, Lines, clean, line
from idkey.views.fish import state_svg

MADE_WITH = f"idkey {VERSION}"
CAUTIONS: tuple[Block, ...] = (
    Heading("Mind the fish and yourself"),
    Lines(
        (
            "Fin spines and cheek hooks (odontodes) cut, and tangle in nets: look through a rigid clear box, "
            "and keep your hands and all that touches the fish wet. Never prise a mouth open; look from "
            "below while the fish clings to glass.",
            "Switch mains equipment off, at the plug, before a hand goes into the water. Fish can carry "
            "infections that pass through broken skin: see a doctor; for a sick fish, ask a vet.",
            "Never release a fish. Law on import, keeping and sale differs from country to country and "
            "changes: check your own country's rules.",
            "This is a help for looking, not an authority.",
        ),
        "bullets",
    ),
)

CAUTION_IN_SHORT = (
    "Spines and cheek hooks cut: a rigid box, wet hands. A sick fish: ask a vet. Never release a fish."
)
"""The same where there is room for one line."""


def some(texts: Iterable[str], most: int) -> tuple[str, ...]:
    """Return the first few texts, and how many are left."""
    every = tuple(texts)
    return every if len(every) <= most else (*every[:most], f"and {len(every) - most:,} more")


def cut(text: str, longest: int) -> str:
    """Return a text, or as much of it as there is room for."""
    return text if len(text) <= longest else f"{text[: longest - 1].rstrip(' ,')}…"


def _shown(right: float) -> tuple[float, str]:
    """Return a chance as it is shown, and in words; never as certain."""
    if right < 0.93:
        return round(right * 10) / 10, f"{right * 10:.0f} in 10"
    of = min((20, 25, 50, 100), key=lambda n: abs(1 / n - max(1 - right, 0.01)))
    return 1 - 1 / of, f"{of - 1} in {of}"


def chance_words(right: float) -> str:
    """Write how often a look is right: "9 in 10", "24 in 25"."""
    return _shown(right)[1]


def look_words(right: float | None, k: int = 2) -> str:
    """Say how well one look tells k kinds apart."""
    if right is None:
        return "tells nothing"
    # By the number as it is shown, so that two looks of the same number have the same word; but what
    # hardly tells is told by the exact one.
    shown, words = _shown(right)
    share = share_of_the_way(shown, k)
    share = min(share, 0.0999) if share_of_the_way(right, k) < 0.1 - 1e-9 else max(share, 0.1)
    steps = ((0.1, "hardly"), (0.4, "weakly"), (0.7, "fairly"), (0.9, "well"))
    word = next((word for limit, word in steps if share < limit - 1e-9), "very well")
    return f"{word}, {words}"


def share_of_the_way(right: float, k: int) -> float:
    """Part of the way from a guess to certainty."""
    return max(0.0, (right - 1 / k) / (1 - 1 / k))


def one_in(chance: float) -> str:
    """Write a chance of going wrong as one in so many: "1 in 36", "4 in 10"."""
    if chance < 0.005:
        return "fewer than 1 in 200"
    # Two figures are more than the observer errors are known to.
    return f"{chance * 10:.0f} in 10" if chance >= 0.25 else f"1 in {float(f'{1 / chance:.2g}'):.0f}"


def claim_words(source: str, locator: str, evidence_class: str) -> str:
    """Say where a claim stands written, and how far that can be trusted."""
    where, how = ", ".join(filter(None, (source, locator))), CLASS_WORDS.get(evidence_class, evidence_class)
    return f"{where} ({how})" if where else how


def claims_of(table: TraitTable, taxon: str, column: str) -> tuple[str, ...]:
    """Return where a cell of a kind stands written, each claim once."""
    claims = []
    for row in table.claims(taxon, column).to_dict("records"):
        source = table.sources.get(row["source"])
        claims.append(claim_words(source.short if source else row["source"], row["locator"], row["class"]))
    return tuple(dict.fromkeys(claims))


@kept
def _codes_from_memory(table: TraitTable) -> dict[str, list[str]]:
    """Trade codes that no source ties to their kind, by kind."""
    claims = table.evidence
    if claims.empty or "taxon" not in claims.columns:
        return {}
    classes: dict[tuple[str, str], set[str]] = {}
    claims = claims[claims["attribute"] == "tradeCode"]
    for taxon, value, class_ in claims[["taxon", "value", "class"]].itertuples(index=False):
        for code in trade_codes(value):
            classes.setdefault((taxon, code), set()).add(class_)
    found: dict[str, list[str]] = {}
    for (taxon, code), known in classes.items():
        if known == {"memory"}:
            found.setdefault(taxon, []).append(code)
    return found


def codes_from_memory(table: TraitTable, taxon: str) -> tuple[str, ...]:
    """Return the trade codes of a kind that rest on memory."""
    if not (remembered := _codes_from_memory(table).get(taxon)):
        return ()
    codes = trade_codes(str(table.taxa.at[taxon, "tradeCode"]))
    return tuple(code for code in codes if code in remembered)


def introduced(table: TraitTable, taxon: str) -> str:
    """Return the name of a kind where it is first met: trade codes that rest on memory are said to."""
    label, remembered = table.label(taxon), codes_from_memory(table, taxon)
    if not remembered:
        return label
    codes = trade_codes(str(table.taxa.at[taxon, "tradeCode"]))
    said = [", ".join(code for code in codes if code not in remembered)]
    said.append(f"{', '.join(remembered)}, code{'s' * (len(remembered) > 1)} from memory")
    return f"{label.rpartition(' (')[0]} ({'; '.join(filter(None, said))})"


def answer_words(trait: Trait, text: str) -> str:
    """Return an answer, held as text, in plain words."""
    return cell_words(trait, parse_answer(trait, text))


def states_words(trait: Trait, states: Iterable[str]) -> str:
    """Return states of a trait in plain words, any of which may hold."""
    return " or ".join(map(trait.word, states))


def state_icons(trait: Trait, states: Iterable[str]) -> tuple[Icon, ...]:
    """Return the small drawings of states, of those that can be drawn."""
    drawn = ((state_svg(trait.id, state, trait.word(state)), trait.word(state)) for state in states)
    return tuple(Icon(svg, word) for svg, word in drawn if svg)


def none_words(taxon: str, label: str) -> str:
    """Return the name of a row of a ranking."""
    return "None of the kinds in the table" if taxon == NONE else label


def of_table(table: TraitTable, title: str, blocks: Iterable[Block], **more: Any) -> Document:
    """Return a document that was made from a table, with its stamp and date."""
    return Document(title, tuple(blocks), stamp(table), _date(table), **more)


def _date(table: TraitTable) -> date | None:
    """Return the date that a table states, None where it states none that can be read."""
    try:
        return date.fromisoformat(table.date[:10])
    except ValueError:
        return None


def day_words(day: date) -> str:
    """Write a day: 3 May 2026."""
    return f"{day.day} {day:%B %Y}"


def stamp(table: TraitTable) -> str:
    """Say which table a document was made from, with its version and date."""
    day = _date(table)
    dated = day_words(day) if day else "date not stated"
    return clean(f"table {table.name!r}, version {table.version or 'not stated'}, {dated}, {MADE_WITH}")


def made_from(table: TraitTable) -> Lines:
    """Say what a document was made from, in a sentence."""
    return line(f"Made from {stamp(table)}.")


def sources_line(table: TraitTable) -> str:
    """Say where the sources stand, which are too many to print."""
    if not len(table.evidence):
        return "This table names no sources."
    return (
        f"The source of each filled cell stands in evidence.csv and sources.bib of the table {table.name!r} "
        f"({len(table.sources)} sources); they are too many to print."
    )
