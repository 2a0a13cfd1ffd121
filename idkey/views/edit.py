"""A draft of a table as HTML and text: what is changed, what a cell says, where it stands written."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from typing import TYPE_CHECKING

from idkey.table import words
from idkey.table.claims import CLASSES, UNSOURCED
from idkey.table.schema import YOUNG, Trait, parse_cell
from idkey.views.html import page

if TYPE_CHECKING:
    from pathlib import Path

    import pandas as pd

    from idkey.table.conflicts import Conflict
    from idkey.table.draft import Draft
    from idkey.table.table import TraitTable

__all__ = [
    "MOST_ROWS",
    "cell_words",
    "claims_html",
    "column_words",
    "conflict_html",
    "draft_html",
    "draft_text",
    "elsewhere_html",
    "feedback_html",
    "head_html",
    "kind_options",
    "line_html",
    "name_choices",
    "problems_html",
    "question_html",
    "saved_html",
    "sheet_html",
    "source_options",
    "state_words",
    "syntax_html",
]

MOST_ROWS = 150
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


def state_words(draft: Draft) -> str:
    """Say in one sentence what is not saved."""
    cells, kinds = draft.changed, {taxon for taxon, _ in draft.changed}
    parts = [
        f"{_count(len(cells), 'cell')} changed in {_count(len(kinds), 'kind')}" if cells else "",
        f"{_count(len(draft.new), 'new kind')}" if draft.new else "",
        f"{_count(len(draft.removed), 'kind')} taken out" if draft.removed else "",
        f"{_count(len(draft.claims), 'source')} given" if draft.claims else "",
        f"{_count(len(draft.traits), 'new trait')}" if draft.traits else "",
        f"{_count(len(draft.sources), 'reference')} added" if draft.sources else "",
    ]
    said = ", ".join(part for part in parts if part)
    return f"{said}; not saved" if said else "Nothing is changed"


def _count(n: int, what: str) -> str:
    return f"1 {what}" if n == 1 else f"{n} {what}s"


def head_html(draft: Draft) -> str:
    """Say what is not saved, for the top of a screen; a screen reader says it when it changes."""
    return f'<p class="idk-outcome" role="status">{escape(state_words(draft))}.</p>'


def saved_html(folder: Path | None) -> str:
    """Say where a table was saved."""
    where = f" to {escape(str(folder))}" if folder is not None else ""
    return f'<p role="status">Saved{where}.</p>'


def elsewhere_html(*, shipped: bool) -> str:
    """Say what a new folder will hold."""
    if shipped:
        words = (
            "The shipped table is not saved over. The folder will hold your additions and changes; the rest "
            "comes from the shipped table, and from a better one when there is one."
        )
    else:
        words = "The folder will hold the whole table. It must be new or empty."
    return f"<p>{words}</p>"


def kind_options(draft: Draft) -> list[tuple[str, str]]:
    """Return the kinds for a list: a name that says what is changed, and the id."""
    changed = {taxon for taxon, _ in (*draft.changed, *draft.claims)}
    marks = dict.fromkeys(changed, ", changed")
    marks |= dict.fromkeys(draft.new, ", new") | dict.fromkeys(draft.removed, ", taken out")
    labels = [draft.label(taxon) for taxon in draft.ids]
    twice = {label for label in labels if labels.count(label) > 1} if len({*labels}) < len(labels) else set()
    named = [
        (f"{label} [{taxon}]" if label in twice else label, taxon)
        for label, taxon in zip(labels, draft.ids, strict=True)
    ]
    named.sort(key=lambda kind: kind[0].casefold())
    return [(f"{label}{marks.get(taxon, '')}", taxon) for label, taxon in named]


def problems_html(draft: Draft) -> str:
    """List what can't be saved as it stands; blank where all is well."""
    problems = draft.problems()
    if not problems:
        return ""
    items = "".join(f"<li>{escape(str(problem))}</li>" for problem in problems[:_MOST_CHANGES])
    more = len(problems) - _MOST_CHANGES
    items += f"<li>and {more} more</li>" if more > 0 else ""
    head = f"{_count(len(problems), 'thing')} to mend before this can be checked or saved"
    return f'<p class="idk-outcome">{head}</p><ul>{items}</ul>'


def draft_html(draft: Draft) -> str:
    """Return the static picture of a draft: what is not saved, cell by cell."""
    items = "".join(f"<li>{escape(line)}</li>" for line in _changes(draft))
    changes = f"<ul>{items}</ul>" if items else ""
    head = f'<p class="idk-outcome">{escape(state_words(draft))}.</p>'
    return page(f"{head}<p>{escape(_size(draft.sound()))}</p>{changes}{problems_html(draft)}")


def draft_text(draft: Draft) -> str:
    """Return what is not saved, cell by cell, as plain text."""
    lines = [f"{state_words(draft)}.", _size(draft.sound()), *(f"- {line}" for line in _changes(draft))]
    return "\n".join([*lines, *(str(problem) for problem in draft.problems())])


def _size(table: TraitTable) -> str:
    return f"{_count(len(table), 'kind')}, {_count(len(table.traits), 'trait')}."


def _changes(draft: Draft) -> list[str]:
    lines = [f"{draft.label(taxon)}: taken out" for taxon in draft.removed]
    for (taxon, column), text in draft.changed.items():
        was = draft.was(taxon, column) or "blank"
        before = "" if taxon in draft.new else f", was {was}"
        lines.append(f"{draft.label(taxon)}, {column}: {text or 'blank'}{before}")
    more = len(lines) - _MOST_CHANGES
    return lines if more <= 0 else [*lines[:_MOST_CHANGES], f"and {more} more"]


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
    """Return what a kind shows of one trait, in one line with its marks."""
    wrong = draft.wrong
    parts = []
    for column in (trait.id, trait.id + YOUNG):
        text = draft.text(taxon, column)
        changed = (taxon, column) in draft.changed
        if column != trait.id and not text.strip() and not changed:
            continue
        words = escape(cell_words(trait, text))
        soft = ' class="idk-soft"' if not text.strip() else ""
        said = f"<span{soft}>{words}</span>"
        if (taxon, column) in wrong:
            said = f'<span class="idk-edit-wrong">to mend: {words}</span>'
        if column != trait.id:
            said = f"young: {said}"
        if changed:
            said += f' <span class="idk-edit-mark">{_changed_words(draft, taxon, column, trait)}</span>'
        parts.append(said)
    given = any((taxon, column) in draft.claims for column in (trait.id, trait.id + YOUNG))
    source = ' <span class="idk-edit-mark">source given</span>' if given else ""
    behind = _behind_words(draft, taxon, trait)
    said = f'<br><span class="idk-soft idk-edit-source">{escape(behind)}</span>' if behind else ""
    return f"{escape(trait.name)}: {'; '.join(parts)}{source}{said}"


def _behind_words(draft: Draft, taxon: str, trait: Trait) -> str:
    """Say in a few words where a line stands written: strongest class first, the rest counted."""
    columns = [c for c in (trait.id, trait.id + YOUNG) if draft.text(taxon, c).strip()]
    said = {
        _short_claim(draft, row): CLASSES.index(row["class"])
        for column in columns
        for row in _claims_of(draft, taxon, column)
    }
    named = sorted(said, key=said.__getitem__)
    if not named:
        return ""
    more = len(named) - _MOST_BEHIND
    return "; ".join(named[:_MOST_BEHIND]) + (f"; {more} more" if more > 0 else "")


def _short_claim(draft: Draft, row: dict[str, str]) -> str:
    if row["note"] == UNSOURCED:
        return UNSOURCED
    source = draft.wide.sources.get(row["source"])
    who = source.short if source is not None else row["source"]
    return f"{who[:_LONGEST_SOURCE]} ({row['class']})" if who else row["class"]


def _changed_words(draft: Draft, taxon: str, column: str, trait: Trait) -> str:
    if taxon in draft.new:
        return "new"
    was = draft.was(taxon, column)
    return f"changed, was {escape(cell_words(trait, was))}"


def question_html(trait: Trait, *, young: bool) -> str:
    """Return what a cell is about: the question, and how to look behind a fold."""
    title = f"{trait.name}, where young fish differ" if young else trait.name
    how = f"<p>{escape(trait.how)}</p>" if trait.how else ""
    when = ""
    if trait.applies_when is not None:
        other, states = trait.applies_when
        when = f"<p>Only asked where {escape(other)} is {escape(' or '.join(states))}.</p>"
    fold = f"<details><summary>How to look</summary>{how}{when}</details>" if how or when else ""
    question = f"<p>{escape(trait.question)}</p>" if trait.question else ""
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


def source_options(draft: Draft) -> list[tuple[str, str]]:
    """Return the sources for a list: author and year with the key, and the key."""
    found = [
        (f"{source.short} [{key}]" if source.short else key, key)
        for key, source in draft.wide.sources.items()
    ]
    return [("none named", ""), *sorted(found, key=lambda source: source[0].casefold())]


def feedback_html(draft: Draft, taxon: str, column: str) -> str:
    """Say whether a cell can be read, and what it was before it was changed."""
    place = (taxon, column)
    wrong = draft.wrong.get(place)
    if wrong is not None:
        return f'<p class="idk-edit-wrong" role="status">To mend: {escape(wrong)}</p>'
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
    given = draft.claims.get((taxon, column))
    if given is not None:
        waits = "" if draft.text(taxon, column).strip() else " (waits until the cell is filled)"
        row = given.row(taxon, column, draft.text(taxon, column))
        mark = '<span class="idk-edit-mark">given now, not saved</span>'
        items.append(f"{_claim_line(draft, row)} {mark}{waits}")
    if not items:
        return '<p class="idk-soft">No source stands behind this cell yet.</p>'
    return f"<ul>{''.join(f'<li>{item}</li>' for item in items)}</ul>"


def _claims_of(draft: Draft, taxon: str, column: str) -> Iterable[dict[str, str]]:
    if taxon not in draft.saved.taxa.index or "taxon" not in draft.saved.evidence.columns:
        return []
    claims: pd.DataFrame = draft.saved.claims(taxon, column)
    return claims.to_dict("records")


def _claim_line(draft: Draft, row: dict[str, str]) -> str:
    source = draft.wide.sources.get(row["source"])
    who = source.short or source.key if source is not None else row["source"]
    parts = [who or row["class"], row["locator"], row["class"] if who else "", _scope(row["scope"])]
    said = ", ".join(escape(part) for part in parts if part)
    value = f": {escape(row['value'])}" if row["value"] else ""
    note = f' <span class="idk-soft">{escape(row["note"])}</span>' if row["note"] else ""
    if row["note"] == UNSOURCED:
        return f"{escape(UNSOURCED)}{value}"
    return f"{said}{value}{note}"


def _scope(scope: str) -> str:
    return "" if scope == "species" else f"speaks of the {scope}"


def name_choices(draft: Draft, column: str, now: str = "") -> list[tuple[str, str]]:
    """Return what a column of names may hold, for a list; empty where anything can be written.

    `now` is what the cell says, which is offered even where it is not allowed.
    """
    allowed = draft.wide.allowed().get(column)
    if allowed is None:
        return []
    if column == "nameAccordingTo":
        choices = source_options(draft)
    else:
        choices = [("not chosen", ""), *((value, value) for value in allowed)]
    return choices if any(value == now for _, value in choices) else [*choices, (f"{now} (to mend)", now)]


def conflict_html(conflict: Conflict, number: int, of: int) -> str:
    """Return one place where the shipped table and the keeper's own say different things."""
    said = (
        ("When you wrote it, the shipped table said", conflict.before),
        ("Now the shipped table says", conflict.shipped),
        ("Yours says", conflict.own),
    )
    rows = "".join(
        f'<tr><th scope="row">{escape(who)}</th><td>{escape(text) or "nothing"}</td></tr>'
        for who, text in said
    )
    return (
        f"<h4>The shipped table and your own differ ({number} of {of})</h4><p>{escape(conflict.text)}</p>"
        f'<table class="idk-grid"><tbody>{rows}</tbody></table>'
    )


# -- the sheet --------------------------------------------------------------------------------------


def sheet_html(draft: Draft, taxon: str = "", column: str = "") -> str:
    """Return the draft as a table of cell texts, kinds by columns; the cell that is chosen is marked."""
    changed, wrong = draft.changed, draft.wrong
    touched = {t for t, _ in changed} | {taxon}
    ids = [t for i, t in enumerate(draft.ids) if i < MOST_ROWS or t in touched]
    columns = [c for c in draft.columns if not c.endswith(YOUNG) or _is_used(draft, c)]
    head = "".join(f'<th scope="col">{escape(column_words(draft, c))}</th>' for c in columns)
    removed = set(draft.removed)
    rows = []
    for t in ids:
        cells = []
        for c in columns:
            said = escape(draft.text(t, c))
            mark = "to mend" if (t, c) in wrong else "changed" if (t, c) in changed else ""
            if mark:
                said = f'{said} <span class="idk-edit-mark">{mark}</span>'
            here = ' class="idk-edit-here"' if (t, c) == (taxon, column) else ""
            cells.append(f"<td{here}>{said}</td>")
        out = ' <span class="idk-edit-mark">taken out</span>' if t in removed else ""
        rows.append(f'<tr><th scope="row">{escape(draft.label(t))}{out}</th>{"".join(cells)}</tr>')
    left = len(draft.ids) - len(ids)
    note = f'<p class="idk-soft">and {left} more kinds; choose one above to see it here</p>' if left else ""
    grid = (
        f'<table class="idk-grid"><thead><tr><th scope="col">Kind</th>{head}</tr></thead>'
        f"<tbody>{''.join(rows)}</tbody></table>"
    )
    # A box that scrolls must be reachable by keyboard.
    box = f'<div class="idk-edit-sheet" tabindex="0" role="region" aria-label="The table">{grid}</div>'
    return f"{box}{note}"


def _is_used(draft: Draft, column: str) -> bool:
    return column in draft.saved.cells or any(c == column for _, c in draft.changed)
