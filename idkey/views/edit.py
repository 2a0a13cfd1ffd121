"""A draft of a table as HTML and text: what is changed, what a cell says, where it stands written."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from pathlib import Path
from typing import Any

from idkey.table import words
from idkey.table.claims import CLASSES, UNSOURCED
from idkey.table.conflicts import Conflict
from idkey.table.draft import Draft
from idkey.table.schema import YOUNG, Trait, parse_cell
from idkey.views.html import page

__all__ = [
    "cell_words",
    "claims_html",
    "column_words",
    "conflict_html",
    "draft_html",
    "draft_text",
    "elsewhere_html",
    "feedback_html",
    "head_html",
    "kind_marks",
    "line_html",
    "name_choices",
    "problems_html",
    "question_html",
    "saved_html",
    "sheet_html",
    "source_options",
    "syntax_html",
    "take_out_html",
    "taken_html",
]

_MOST_ROWS = 150
"""Kinds that the sheet shows; changed ones come on top of that."""
_MOST_CHANGES = 40
_MOST_BEHIND = 2
_LONGEST_SOURCE = 60
_NAME_WORDS = {
    "scientificName": "Scientific name",
    "identificationQualifier": "Qualifier (cf., aff.)",
    "vernacularName": "Common name",
    "genus": "Genus",
    "nameAccordingTo": "Name according to",
    "tradeCode": "Trade code",
    "careGroup": "Care group",
    "commonness": "How often offered",
}


# -- the whole draft --------------------------------------------------------------------------------


def _count(n: int, what: str) -> str:
    return f"1 {what}" if n == 1 else f"{n} {what}s"


def _few(lines: list[str]) -> list[str]:
    more = len(lines) - _MOST_CHANGES
    return lines if more <= 0 else [*lines[:_MOST_CHANGES], f"and {more} more"]


def _list(lines: Iterable[str]) -> str:
    items = "".join(f"<li>{escape(line)}</li>" for line in lines)
    return f"<ul>{items}</ul>" if items else ""


def _state(draft: Draft) -> str:
    """Say in one sentence what is not saved."""
    cells, kinds = draft.changed, {taxon for taxon, _ in draft.changed}
    parts = [
        f"{_count(len(cells), 'cell')} changed in {_count(len(kinds), 'kind')}" if cells else "",
        _count(len(draft.new), "new kind") if draft.new else "",
        f"{_count(len(draft.removed), 'kind')} taken out" if draft.removed else "",
        f"{_count(len(draft.claims), 'source')} given" if draft.claims else "",
        _count(len(draft.traits), "new trait") if draft.traits else "",
        f"{_count(len(draft.sources), 'reference')} added" if draft.sources else "",
    ]
    given = ", ".join(part for part in parts if part)
    return f"{given}; not saved." if given else "Nothing is changed."


def head_html(draft: Draft) -> str:
    """Say what is not saved, for the top of a screen; a screen reader says it when it changes."""
    return f'<p class="idk-outcome" role="status">{escape(_state(draft))}</p>'


def saved_html(folder: Path | None) -> str:
    """Say where a table was saved."""
    return f'<p role="status">Saved{"" if folder is None else f" to {escape(str(folder))}"}.</p>'


def elsewhere_html(*, shipped: bool) -> str:
    """Say what a new folder will hold."""
    if shipped:
        return (
            "<p>The shipped table is not saved over. The folder will hold your additions and changes; the "
            "rest comes from the shipped table, and from a better one when there is one.</p>"
        )
    return "<p>The folder will hold the whole table. It must be new or empty.</p>"


def take_out_html(draft: Draft, taxon: str) -> str:
    """Ask whether a kind is to be taken out, or say that it is."""
    name = escape(draft.label(taxon))
    if taxon in draft.removed:
        return f"<p>{name} is taken out; saving leaves it out.</p>"
    return f"<p>Take out {name}? Until you save it can be put back; a new kind is forgotten at once.</p>"


def taken_html(cells: int) -> str:
    """Say how much of a spreadsheet is in the draft."""
    return f'<p role="status">{_count(cells, "cell")} taken into the draft; nothing is saved yet.</p>'


def kind_marks(draft: Draft) -> dict[str, str]:
    """Return what stands behind the name of a kind that is changed, new or taken out."""
    marks = dict.fromkeys((taxon for taxon, _ in (*draft.changed, *draft.claims)), ", changed")
    return marks | dict.fromkeys(draft.new, ", new") | dict.fromkeys(draft.removed, ", taken out")


def problems_html(draft: Draft) -> str:
    """List what can't be saved as it stands; blank where all is well."""
    problems = [str(problem) for problem in draft.problems()]
    head = f"{_count(len(problems), 'thing')} to mend before this can be checked or saved"
    return f'<p class="idk-outcome">{head}</p>{_list(_few(problems))}' if problems else ""


def draft_html(draft: Draft) -> str:
    """Return the static picture of a draft: what is not saved, cell by cell."""
    head = f'<p class="idk-outcome">{escape(_state(draft))}</p><p>{_size(draft)}</p>'
    return page(f"{head}{_list(_changes(draft))}{problems_html(draft)}")


def draft_text(draft: Draft) -> str:
    """Return what is not saved, cell by cell, as plain text."""
    lines = [_state(draft), _size(draft), *(f"- {line}" for line in _changes(draft))]
    return "\n".join([*lines, *map(str, draft.problems())])


def _size(draft: Draft) -> str:
    table = draft.sound()
    return f"{_count(len(table), 'kind')}, {_count(len(table.traits), 'trait')}."


def _changes(draft: Draft) -> list[str]:
    lines = [f"{draft.label(taxon)}: taken out" for taxon in draft.removed]
    for (taxon, column), text in draft.changed.items():
        before = "" if taxon in draft.new else f", was {draft.was(taxon, column) or 'blank'}"
        lines.append(f"{draft.label(taxon)}, {column}: {text or 'blank'}{before}")
    return _few(lines)


# -- one cell ---------------------------------------------------------------------------------------


def column_words(draft: Draft, column: str) -> str:
    """Name a column in plain words."""
    if column in draft.names:
        return _NAME_WORDS.get(column, column)
    trait = draft.wide.trait_of(column)
    return trait.name if column == trait.id else f"{trait.name}, young fish"


def cell_words(trait: Trait, text: str) -> str:
    """Return the text of a cell in plain words; a text that can't be read as it is."""
    try:
        cell = parse_cell(trait, text)
    except ValueError:
        return f"\u201c{text}\u201d can't be read"
    return words.cell_words(trait, cell)


def line_html(draft: Draft, taxon: str, trait: Trait) -> str:
    """Return what a kind shows of one trait, in one line with its marks and what stands behind it."""
    adult, young = (taxon, trait.id), (taxon, trait.id + YOUNG)
    line = f"{escape(trait.name)}: {_cell_html(draft, adult, trait)}"
    if draft.text(*young).strip() or young in draft.changed:
        line += f"; young: {_cell_html(draft, young, trait)}"
    if adult in draft.claims or young in draft.claims:
        line += ' <span class="idk-edit-mark">source given</span>'
    behind = escape(_behind(draft, [place for place in (adult, young) if draft.text(*place).strip()]))
    return f'{line}<br><span class="idk-soft idk-edit-source">{behind}</span>' if behind else line


def _cell_html(draft: Draft, place: tuple[str, str], trait: Trait) -> str:
    text = draft.text(*place)
    words = escape(cell_words(trait, text))
    if place in draft.wrong:
        html = f'<span class="idk-edit-wrong">to mend: {words}</span>'
    else:
        html = words if text.strip() else f'<span class="idk-soft">{words}</span>'
    if place in draft.changed:
        was = f"changed, was {escape(cell_words(trait, draft.was(*place)))}"
        html += f' <span class="idk-edit-mark">{"new" if place[0] in draft.new else was}</span>'
    return html


def _behind(draft: Draft, places: list[tuple[str, str]]) -> str:
    """Say in a few words where a line stands written: strongest class first, the rest counted."""
    strength = {
        _short_claim(draft, row): CLASSES.index(row["class"])
        for place in places
        for row in _claims_of(draft, *place)
    }
    named = sorted(strength, key=strength.__getitem__)
    more = len(named) - _MOST_BEHIND
    return "; ".join(named[:_MOST_BEHIND]) + (f"; {more} more" if more > 0 else "")


def _short_claim(draft: Draft, row: dict[str, Any]) -> str:
    if row["note"] == UNSOURCED:
        return UNSOURCED
    source = draft.wide.sources.get(row["source"])
    who = source.short if source is not None else row["source"]
    return f"{who[:_LONGEST_SOURCE]} ({row['class']})" if who else row["class"]


def question_html(trait: Trait, *, young: bool) -> str:
    """Return what a cell is about: the question, and how to look behind a fold."""
    title = f"{trait.name}, where young fish differ" if young else trait.name
    question = f"<p>{escape(trait.question)}</p>" if trait.question else ""
    how = f"<p>{escape(trait.how)}</p>" if trait.how else ""
    if trait.applies_when is not None:
        other, states = trait.applies_when
        how += f"<p>Only asked where {escape(other)} is {escape(' or '.join(states))}.</p>"
    fold = f"<details><summary>How to look</summary>{how}</details>" if how else ""
    return f"<h4>{escape(title)}</h4>{question}{fold}"


def syntax_html(trait: Trait) -> str:
    """Say in one line how a cell of this trait is written."""
    if trait.has_states:
        how = f"One of {', '.join(trait.states)}; several joined by |"
    elif trait.kind == "ceiling":
        how = f"The largest recorded length in {trait.unit or 'numbers'}"
    else:
        unit = f" in {trait.unit}" if trait.unit not in ("", "count") else ""
        how = f"A range lo..hi{unit}, such as 12..16, or one number"
    return f'<span class="idk-soft">{escape(how)}; blank is not known; - does not apply.</span>'


def feedback_html(draft: Draft, taxon: str, column: str) -> str:
    """Say whether a cell can be read, and what it was before it was changed."""
    place = (taxon, column)
    if place in draft.wrong:
        return f'<p class="idk-edit-wrong" role="status">To mend: {escape(draft.wrong[place])}</p>'
    if place not in draft.changed:
        return ""
    if taxon in draft.new:
        return '<p role="status">Can be read.</p>'
    was = draft.was(taxon, column)
    if column not in draft.names:
        was = cell_words(draft.wide.trait_of(column), was)
    return f'<p role="status">Can be read. Changed; it was: {escape(was or "blank")}.</p>'


def claims_html(draft: Draft, taxon: str, column: str) -> str:
    """List where a cell stands written: as saved, and as given now."""
    items = [_claim_line(draft, row) for row in _claims_of(draft, taxon, column)]
    given, text = draft.claims.get((taxon, column)), draft.text(taxon, column)
    if given is not None:
        waits = "" if text.strip() else " (waits until the cell is filled)"
        mark = '<span class="idk-edit-mark">given now, not saved</span>'
        items.append(f"{_claim_line(draft, given.row(taxon, column, text))} {mark}{waits}")
    if not items:
        return '<p class="idk-soft">No source stands behind this cell yet.</p>'
    return f"<ul>{''.join(f'<li>{item}</li>' for item in items)}</ul>"


def _claims_of(draft: Draft, taxon: str, column: str) -> list[dict[str, Any]]:
    if taxon not in draft.saved.taxa.index or "taxon" not in draft.saved.evidence.columns:
        return []
    return draft.saved.claims(taxon, column).to_dict("records")


def _claim_line(draft: Draft, row: dict[str, Any]) -> str:
    value = f": {escape(row['value'])}" if row["value"] else ""
    if row["note"] == UNSOURCED:
        return f"{escape(UNSOURCED)}{value}"
    source = draft.wide.sources.get(row["source"])
    who = source.short or source.key if source is not None else row["source"]
    scope = "" if row["scope"] == "species" else f"speaks of the {row['scope']}"
    parts = (who or row["class"], row["locator"], row["class"] if who else "", scope)
    note = f' <span class="idk-soft">{escape(row["note"])}</span>' if row["note"] else ""
    return f"{', '.join(escape(part) for part in parts if part)}{value}{note}"


def source_options(draft: Draft) -> list[tuple[str, str]]:
    """Return the sources for a list: author and year with the key, and the key."""
    sources = draft.wide.sources.items()
    named = [(f"{source.short} [{key}]" if source.short else key, key) for key, source in sources]
    return [("none named", ""), *sorted(named, key=lambda source: source[0].casefold())]


def name_choices(draft: Draft, column: str, now: str = "") -> list[tuple[str, str]]:
    """Return what a column of names may hold, for a list; empty where anything can be written.

    `now` is what the cell says, which is offered even where it is not allowed.
    """
    allowed = draft.wide.allowed().get(column)
    if allowed is None:
        return []
    by_source = column == "nameAccordingTo"
    choices = source_options(draft) if by_source else [("not chosen", ""), *((v, v) for v in allowed)]
    return choices if now in (value for _, value in choices) else [*choices, (f"{now} (to mend)", now)]


def conflict_html(conflict: Conflict, number: int, of: int) -> str:
    """Return one place where the shipped table and the keeper's own say different things."""
    sides = (
        ("When you wrote it, the shipped table said", conflict.before),
        ("Now the shipped table says", conflict.shipped),
        ("Yours says", conflict.own),
    )
    rows = "".join(
        f'<tr><th scope="row">{who}</th><td>{escape(text) or "nothing"}</td></tr>' for who, text in sides
    )
    return (
        f"<h4>The shipped table and your own differ ({number} of {of})</h4><p>{escape(conflict.text)}</p>"
        f'<table class="idk-grid"><tbody>{rows}</tbody></table>'
    )


# -- the sheet --------------------------------------------------------------------------------------


def sheet_html(draft: Draft, taxon: str, column: str) -> str:
    """Return the draft as a table of cell texts, kinds by columns; the cell that is chosen is marked."""
    touched = {t for t, _ in draft.changed} | {taxon}
    ids = [t for i, t in enumerate(draft.ids) if i < _MOST_ROWS or t in touched]
    used = {*draft.saved.cells, *(c for _, c in draft.changed)}
    columns = [c for c in draft.columns if not c.endswith(YOUNG) or c in used]
    head = "".join(f'<th scope="col">{escape(column_words(draft, c))}</th>' for c in columns)
    rows = []
    for t in ids:
        cells = "".join(_sheet_cell(draft, (t, c), chosen=(t, c) == (taxon, column)) for c in columns)
        out = ' <span class="idk-edit-mark">taken out</span>' if t in draft.removed else ""
        rows.append(f'<tr><th scope="row">{escape(draft.label(t))}{out}</th>{cells}</tr>')
    left = len(draft.ids) - len(ids)
    note = f'<p class="idk-soft">and {left} more kinds; choose one above to see it here</p>' if left else ""
    # A box that scrolls must be reachable by keyboard.
    return (
        '<div class="idk-edit-sheet" tabindex="0" role="region" aria-label="The table">'
        f'<table class="idk-grid"><thead><tr><th scope="col">Kind</th>{head}</tr></thead>'
        f"<tbody>{''.join(rows)}</tbody></table></div>{note}"
    )


def _sheet_cell(draft: Draft, place: tuple[str, str], *, chosen: bool) -> str:
    mark = "to mend" if place in draft.wrong else "changed" if place in draft.changed else ""
    marked = f' <span class="idk-edit-mark">{mark}</span>' if mark else ""
    here = ' class="idk-edit-here"' if chosen else ""
    return f"<td{here}>{escape(draft.text(*place))}{marked}</td>"
