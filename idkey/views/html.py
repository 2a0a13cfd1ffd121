"""Objects as HTML. Pure: the same object gives the same bytes, and every text of a table is escaped."""

from __future__ import annotations

from functools import lru_cache
from html import escape
from importlib.resources import files
from typing import TYPE_CHECKING

from idkey.errors import IdkeyError
from idkey.model.evidence import NONE
from idkey.table.schema import LIFE_STAGE, Trait, parse_answer
from idkey.views.text import lead_words, none_words, percent

if TYPE_CHECKING:
    import pandas as pd

    from idkey.model.ask import Question
    from idkey.model.identify import Identification
    from idkey.model.key import Key, Lead
    from idkey.table.table import TraitTable

__all__ = [
    "answer_words",
    "identification_html",
    "key_html",
    "names_html",
    "page",
    "question_html",
    "stylesheet",
    "table_html",
    "together_html",
]

_MOST_NAMES = 8
_MOST_ROWS = 12
_MOST_TOGETHER = 6
_LIKELY = 0.1
_LITTLE = 1.0


@lru_cache(maxsize=1)
def stylesheet() -> str:
    """Return the stylesheet of all views, as a style element."""
    css = (files("idkey.views") / "style.css").read_text(encoding="utf-8")
    return f"<style>\n{css}</style>"


def page(body: str) -> str:
    """Wrap a piece of HTML so that it can stand in a cell's output on its own."""
    return f'{stylesheet()}\n<div class="idk">\n{body}\n</div>'


def answer_words(trait: Trait, text: str) -> str:
    """Return an answer, held as text, in plain words."""
    if trait.has_states:
        return " or ".join(trait.word(s) for s in text.split("|"))
    answer = parse_answer(trait, text)
    low, high = answer.low, answer.high
    return trait.number(low) if low == high else f"{low:g} to {trait.number(high)}"


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


def outcome_html(fish: Identification) -> str:
    """Return the one sentence on where an identification stands."""
    return f'<p class="idk-outcome">{escape(fish.outcome().text)}</p>'


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
    ranking = fish.ranking()
    left = ranking[ranking["candidate"]]
    shown = left.head(_MOST_NAMES)
    rows = "\n".join(_name_html(fish, row, care=care) for row in shown.itertuples())
    more = ""
    if len(left) > len(shown):
        rest = "; ".join(none_words(r.taxon, r.name) for r in left.iloc[len(shown) :].itertuples())
        more = (
            f'<details class="idk-name"><summary>and {len(left) - len(shown)} more names</summary>'
            f'<div class="idk-open">{escape(rest)}</div></details>'
        )
    out = int((~ranking["candidate"]).sum())
    ruled_out = f'<p class="idk-soft">{_ruled_out(out, fish.coverage)}</p>' if out else ""
    return f"{rows}\n{more}\n{ruled_out}"


def _answers(count: int) -> str:
    return "1 answer" if count == 1 else f"{count} answers"


def _ruled_out(count: int, coverage: float) -> str:
    names = "1 other name holds" if count == 1 else f"{count} other names hold"
    return f"{names} at most {(1 - coverage) * 100:.0f} % together."


def _name_html(fish: Identification, row: pd.Series, *, care: bool) -> str:
    none = row.taxon == NONE
    name = none_words(row.taxon, row.name)
    filled = f'<span style="width:{row.probability * 100:.1f}%"></span>'
    bar = f'<span class="idk-bar" aria-hidden="true">{filled}</span>'
    label = f'<span class="idk-none">{escape(name)}</span>' if none else f"<span>{escape(name)}</span>"
    share = f'<span class="idk-share">{percent(row.probability)}</span>'
    head = f'<span class="idk-name-row">{share} {bar} {label}</span>'
    inside = _why_html(fish, row.taxon, row)
    if care and not none:
        inside += _care_html(fish.table, (row.taxon,))
    return (
        f'<details class="idk-name"><summary>{head}</summary><div class="idk-open">{inside}</div></details>'
    )


def _why_html(fish: Identification, taxon: str, row: pd.Series) -> str:
    why = fish.why(taxon)
    why = why[(why["trait"] != LIFE_STAGE) | (why["decibans"].abs() >= _LITTLE)]
    if not len(why):
        return "<p>No answer yet, so nothing speaks for or against it.</p>"
    parts = []
    groups = (
        ("Speaks for it", why["decibans"] >= _LITTLE),
        ("Speaks against it", why["decibans"] <= -_LITTLE),
        ("Says little", why["decibans"].abs() < _LITTLE),
    )
    for title, chosen in groups:
        texts = why.loc[chosen, "text"]
        if len(texts):
            items = "".join(f"<li>{escape(t)}</li>" for t in texts)
            parts.append(f"<h4>{title}</h4><ul>{items}</ul>")
    if row.compared:
        parts.append(
            f'<p class="idk-soft">Plain agreement: {row.agreement:.0%} over the '
            f"{_answers(row.compared)} that the table can compare.</p>"
        )
    return "".join(parts)


def together_html(fish: Identification) -> str:
    """Return the care that is right for all the likely names, while they are few but not one."""
    ranking = fish.ranking()
    likely = ranking[ranking["candidate"] & (ranking["probability"] >= _LIKELY) & (ranking["taxon"] != NONE)]
    if not fish.answers or not 2 <= len(likely) <= _MOST_TOGETHER:
        return ""
    title = f"Care that is right until the name is settled, for {', '.join(likely['name'])}"
    return _care_html(fish.table, tuple(likely["taxon"]), title)


@lru_cache(maxsize=512)
def _care_html(table: TraitTable, taxa: tuple[str, ...], title: str = "Care sheet") -> str:
    """Return the care sheet of names behind a fold; nothing for a table without care sheets."""
    from idkey.care.sheet import care_for
    from idkey.views.care import care_html

    try:
        sheet = care_for(table, *taxa)
    except IdkeyError:
        return ""
    return f'<details class="idk-care"><summary>{escape(title)}</summary>{care_html(sheet)}</details>'


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


# -- a key ------------------------------------------------------------------------------------------


def key_html(key: Key) -> str:
    """Return the numbered couplets, each lead with where it goes."""
    if not key.couplets:
        names = ", ".join(key.table.label(t) for t in key.table.ids)
        return page(f"<p>These can't be told apart by this table: {escape(names)}.</p>")
    items = []
    for couplet in key.couplets:
        leads = []
        for letter, lead in (("a", couplet.a), ("b", couplet.b)):
            words = escape(lead_words(couplet, lead))
            words += "".join(
                f"; {escape(trait.name.lower())}: {escape(' or '.join(trait.word(s) for s in states))}"
                for trait, states in lead.confirms
            )
            leads.append(
                f'<div class="idk-lead"><strong>{couplet.number}{letter}</strong><span>{words}</span>'
                f'<span class="idk-end">{_end_html(key, lead)}</span></div>'
            )
        items.append(f"<li>{''.join(leads)}</li>")
    head = (
        f"<p>{len(key.table)} kinds, {len(key.couplets)} couplets; on average {key.expected_questions():.1f} "
        f"questions lead to a name (no key as telling needs fewer than {key.bounds().least_questions:.1f}). "
        "Start at 1; go to the number at the end of the lead that fits.</p>"
    )
    left_out = "; ".join(escape(key.table.label(t)) for t in key.left_out)
    if left_out:
        left_out = f"<p>Too little is known to key out, so possible at every end: {left_out}.</p>"
    return page(f'{head}<ol class="idk-key">{"".join(items)}</ol>{left_out}')


def _end_html(key: Key, lead: Lead) -> str:
    if lead.goes_to is not None:
        return f"go to <strong>{lead.goes_to}</strong>"
    names = "; ".join(escape(key.table.label(t)) for t in lead.taxa)
    if lead.group and len(lead.taxa) > 1:
        return f"<strong>{escape(lead.group)}</strong>: {names}"
    return f"<strong>{names}</strong>" if len(lead.taxa) == 1 else f"not told apart: <strong>{names}</strong>"


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
