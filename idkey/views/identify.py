"""An identification, a question and a trait table, as HTML and as text."""

from __future__ import annotations

from functools import lru_cache
from html import escape
from typing import TYPE_CHECKING
from urllib.parse import quote

from idkey.errors import IdkeyError
from idkey.model.evidence import NONE
from idkey.table.names import inside
from idkey.table.schema import LIFE_STAGE, Trait
from idkey.views.html import page
from idkey.views.words import answer_words, none_words, percent

if TYPE_CHECKING:
    from idkey.model.ask import Question
    from idkey.model.identify import Identification, Ranked
    from idkey.table.table import TraitTable

__all__ = [
    "asked_html",
    "bag_html",
    "identification_html",
    "identification_text",
    "names_html",
    "outcome_html",
    "question_html",
    "read_as_html",
    "table_html",
    "together_html",
]

_MOST_NAMES = 8
_MOST_ROWS = 12
_MOST_TOGETHER = 8
_MOST_ON_BAG = 5
_LITTLE = 1.0
_BAR = 20


# -- an identification ------------------------------------------------------------------------------


def identification_html(fish: Identification) -> str:
    """Return the static picture of an identification: outcome, names, answers, next question."""
    question = fish.next_question()
    ask = ""
    if question is not None:
        asked = escape(question.trait.question or question.trait.name)
        name = escape(question.trait.id)
        ask = f'<p><strong>Look next:</strong> {asked} <span class="idk-soft">({name})</span></p>'
    return page(f"{outcome_html(fish)}\n{names_html(fish, care=False)}\n{ask}{_answers_html(fish)}")


def outcome_html(fish: Identification, *, live: bool = False) -> str:
    """Return the one sentence on where an identification stands; `live` has a screen reader say it."""
    role = ' role="status"' if live else ""
    return f'<p class="idk-outcome"{role}>{escape(fish.outcome().text)}</p>'


def asked_html(fish: Identification, trait: Trait | None, *, chosen: bool = False) -> str:
    """Return the question a screen puts.

    Parameters
    ----------
    fish : Identification
    trait : Trait or None
        None where no question is left.
    chosen : bool
        The person chose the feature; what was said before stands beside it.
    """
    if trait is None:
        return (
            "<h3>No question left</h3><p>Nothing the table knows would settle it further. "
            "Read the care sheets, or answer another feature.</p>"
        )
    how = f'<p class="idk-soft">{escape(trait.how)}</p>' if trait.how else ""
    before = ""
    if trait.id in fish.answers:
        before = f"<p>So far: <strong>{escape(answer_words(trait, fish.answers[trait.id]))}</strong>.</p>"
    elif chosen:
        before = '<p class="idk-soft">You chose this feature.</p>'
    return f"<h3>{escape(trait.question or trait.name)}</h3>{how}{before}"


def read_as_html(trait: Trait, typed: str, read: str) -> str:
    """Say how a number was read, where that is not how it was typed."""
    if read == typed.strip() or not read:
        return ""
    try:
        words = answer_words(trait, read)
    except IdkeyError:
        return ""
    return f'<p class="idk-soft" role="status">read as {escape(words)}</p>'


def _answers_html(fish: Identification) -> str:
    if not fish.answers and not fish.unseen:
        return ""
    rows = []
    for trait_id, text in fish.answers.items():
        label, words = trait_id, text
        if trait_id in fish.table.trait_ids:
            trait = fish.table.trait(trait_id)
            label, words = trait.name, answer_words(trait, text)
        elif trait_id == LIFE_STAGE:
            label = "Age"
        rows.append(f'<tr><th scope="row">{escape(label)}</th><td>{escape(words)}</td></tr>')
    rows += [
        f'<tr><th scope="row">{escape(fish.table.trait(t).name)}</th><td>can\'t be seen</td></tr>'
        for t in fish.unseen
        if t in fish.table.trait_ids
    ]
    return f'<table class="idk-grid"><caption>What was seen</caption><tbody>{"".join(rows)}</tbody></table>'


def names_html(fish: Identification, *, care: bool = True) -> str:
    """Return the names still possible as bars; each opens to its reasons and its care sheet.

    Parameters
    ----------
    fish : Identification
    care : bool
        Put the care sheet inside, where the table has one.
    """
    if not fish.answers:
        return '<p class="idk-soft">The names still possible will stand here, likeliest first.</p>'
    ranking = fish.ranked()
    left = [row for row in ranking if row.candidate]
    rows = "\n".join(_name_html(fish, row, care=care) for row in left[:_MOST_NAMES])
    more = ""
    if len(left) > _MOST_NAMES:
        rest = "".join(
            f"<li>{escape(none_words(row.taxon, row.name))}: {percent(row.probability)}</li>"
            for row in left[_MOST_NAMES:]
        )
        more = (
            f'<details class="idk-name"><summary>and {_names(len(left) - _MOST_NAMES, "more")}</summary>'
            f'<div class="idk-open"><ul>{rest}</ul></div></details>'
        )
    out = len(ranking) - len(left)
    ruled_out = f'<p class="idk-soft">{_ruled_out(out, fish.coverage)}</p>' if out else ""
    return f"{rows}\n{more}\n{ruled_out}"


def _names(count: int, which: str) -> str:
    return f"1 {which} name" if count == 1 else f"{count} {which} names"


def _answers(count: int) -> str:
    return "1 answer" if count == 1 else f"{count} answers"


def _ruled_out(count: int, coverage: float) -> str:
    names = "1 other name holds" if count == 1 else f"{count} other names hold"
    return f"{names} at most {(1 - coverage) * 100:.0f} % together."


def _name_html(fish: Identification, row: Ranked, *, care: bool) -> str:
    none = row.taxon == NONE
    name = none_words(row.taxon, row.name)
    filled = f'<span style="width:{row.probability * 100:.1f}%"></span>'
    bar = f'<span class="idk-bar" aria-hidden="true">{filled}</span>'
    label = f'<span class="idk-none">{escape(name)}</span>' if none else f"<span>{escape(name)}</span>"
    share = f'<span class="idk-share">{percent(row.probability)}</span>'
    head = f'<span class="idk-name-row">{share} {bar} {label}</span>'
    inside = _why_html(fish, row)
    if not none:
        inside += _source_html(fish.table, row.taxon)
        inside += _care_html(fish.table, row.taxon) if care else ""
    return (
        f'<details class="idk-name"><summary>{head}</summary><div class="idk-open">{inside}</div></details>'
    )


def _why_html(fish: Identification, row: Ranked) -> str:
    why = [r for r in fish.reasons(row.taxon) if r.trait != LIFE_STAGE or abs(r.decibans) >= _LITTLE]
    if not why:
        return "<p>No answer yet, so nothing speaks for or against it.</p>"
    groups: dict[str, list[str]] = {"Speaks for it": [], "Speaks against it": [], "Says little": []}
    for reason in why:
        size = abs(reason.decibans)
        side = "Speaks for it" if reason.decibans > 0 else "Speaks against it"
        groups["Says little" if size < _LITTLE else side].append(reason.text)
    parts = [
        f"<h4>{title}</h4><ul>{''.join(f'<li>{escape(text)}</li>' for text in texts)}</ul>"
        for title, texts in groups.items()
        if texts
    ]
    if row.compared:
        parts.append(
            f'<p class="idk-soft">Plain agreement: {row.agreement:.0%} over the '
            f"{_answers(row.compared)} that the table can compare.</p>"
        )
    return "".join(parts)


def _source_html(table: TraitTable, taxon: str) -> str:
    """Link to the paper whose name it is, where there is one."""
    if "nameAccordingTo" not in table.taxa.columns:
        return ""
    source = table.sources.get(str(table.taxa.at[taxon, "nameAccordingTo"]))
    if source is None or not source.doi:
        return ""
    href = escape(f"https://doi.org/{quote(source.doi, safe='/:;()')}")
    link = (
        f'<a href="{href}" target="_blank" rel="noopener noreferrer">{escape(source.short or source.key)}</a>'
    )
    return f'<p class="idk-soft">Name according to {link}.</p>'


def bag_html(fish: Identification, text: str) -> str:
    """Say which kinds go by the name on the bag, and where they stand; the name itself is no evidence.

    Parameters
    ----------
    fish : Identification
    text : str
        What stands on the bag: a trade code, a scientific or a common name. Blank gives nothing.
    """
    if not text.strip():
        return ""
    kinds = set(inside(fish.table, text))
    ranked = [row for row in fish.ranked() if row.taxon != NONE]
    found = [(place, row) for place, row in enumerate(ranked, start=1) if row.taxon in kinds]
    if not found:
        return f"<p>No kind in this table is called {escape(text.strip())}.</p>"
    if not fish.answers:
        names = "; ".join(escape(row.name) for _, row in found[:_MOST_ON_BAG])
        more = f" and {_names(len(found) - _MOST_ON_BAG, 'more')}" if len(found) > _MOST_ON_BAG else ""
        return f"<p>In this table that is {names}{more}. Answer a question to see where it stands.</p>"
    items = "".join(
        f"<li>{escape(row.name)}: {_ordinal(place)} of {len(ranked)}, {percent(row.probability)}"
        f"{'' if row.candidate else ', not among the names still possible'}</li>"
        for place, row in found[:_MOST_ON_BAG]
    )
    if len(found) > _MOST_ON_BAG:
        items += f"<li>and {_names(len(found) - _MOST_ON_BAG, 'more')} lower down</li>"
    return f'<ul>{items}</ul><p class="idk-soft">The name on the bag does not count as evidence.</p>'


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
    from idkey.care.sheet import care_for
    from idkey.views.care import care_html

    try:
        sheet = care_for(fish)
    except IdkeyError:
        return ""
    return (
        f'<details class="idk-care"><summary>Care that is right until the name is settled, for all '
        f"{len(left)} names</summary>{care_html(sheet)}</details>"
    )


@lru_cache(maxsize=512)
def _care_html(table: TraitTable, taxon: str) -> str:
    """Return the care sheet of a name behind a fold; nothing for a table without care sheets."""
    from idkey.care.sheet import care_for
    from idkey.views.care import care_html

    try:
        sheet = care_for(table, taxon)
    except IdkeyError:
        return ""
    return f'<details class="idk-care"><summary>Care sheet</summary>{care_html(sheet)}</details>'


def question_html(question: Question) -> str:
    """Return a question with its states."""
    trait = question.trait
    rows = "".join(
        f"<li>{escape(word)} <span class='idk-soft'>({escape(state)})</span></li>"
        for state, word in zip(trait.states, trait.words, strict=True)
    )
    unit = f"<p>A number in {escape(trait.unit)}.</p>" if trait.unit and not trait.has_states else ""
    how = f'<p class="idk-soft">{escape(trait.how)}</p>' if trait.how else ""
    return page(f"<h3>{escape(trait.question or trait.name)}</h3>{how}{unit}<ul>{rows}</ul>")


def identification_text(fish: Identification) -> str:
    """One screen: where it stands, the names still possible as bars, what to look at next."""
    lines = [str(fish.outcome())]
    left = [row for row in fish.ranked() if row.candidate]
    for row in left[:_MOST_NAMES]:
        bar = "#" * max(1, round(row.probability * _BAR))
        lines.append(f"  {percent(row.probability):>9}  {bar:<{_BAR}}  {row.name}")
    if len(left) > _MOST_NAMES:
        lines.append(f"  and {len(left) - _MOST_NAMES} more")
    question = fish.next_question()
    if question is not None:
        lines.append(f"Look next: {question.trait.question or question.trait.name} ({question.trait.id})")
    return "\n".join(lines)


# -- a table ----------------------------------------------------------------------------------------


def table_html(table: TraitTable) -> str:
    """Return the first rows and columns of a trait table."""
    shown = [t for t in table.traits if t.core] or list(table.traits[:6])
    frame = table.to_frame()
    head = "".join(f'<th scope="col">{escape(t.name)}</th>' for t in shown)
    rows = []
    for taxon in table.ids[:_MOST_ROWS]:
        cells = "".join(f"<td>{escape(str(frame.at[taxon, t.id])) or '&nbsp;'}</td>" for t in shown)
        rows.append(f'<tr><th scope="row">{escape(table.label(taxon))}</th>{cells}</tr>')
    left = f"<p>and {len(table) - _MOST_ROWS} more taxa</p>" if len(table) > _MOST_ROWS else ""
    grid = (
        f'<table class="idk-grid"><caption>{escape(repr(table))}</caption>'
        f'<thead><tr><th scope="col">Taxon</th>{head}</tr></thead><tbody>{"".join(rows)}</tbody></table>'
    )
    return page(f'<div class="idk-scroll">{grid}</div>{left}')
