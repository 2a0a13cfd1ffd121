"""A table, its conflicts and a draft of it; what a cell says; and a spreadsheet as it was read."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import partial
from typing import Any

from idkey.table.cells import GENUS
from idkey.table.claims import CLASSES, UNSOURCED
from idkey.table.draft import Draft, Place, taken_over
from idkey.table.fields import FIELDS
from idkey.table.merge import Conflict
from idkey.table.names import trade_codes
from idkey.table.schema import YOUNG, Trait, cell_words, parse_cell
from idkey.table.spreadsheet import Import, ImportRow
from idkey.table.table import TraitTable
from idkey.table.units import first_up, listed, number_of
from idkey.views import doc, html
from idkey.views.doc import Document, Fold, Heading, Inline, Lines, Runs, Soft, Table, Tag, line
from idkey.views.words import claim_words, cut, some

_NAMES = FIELDS["taxa.csv"]
_MOST_ROWS, _MOST_IN_SHEET = 12, 150
"""Kinds that a table and a draft of it show; changed ones come on top of that."""
_MOST_CHANGES, _MOST_BEHIND, _LONGEST_SOURCE = 40, 2, 60
_MOST_SHOWN, _MOST_IN_LIST = 12, 200
_ALL = ".to_frame() lists them all"
_TITLES = {"not taken": "\u2715 Rows that were not taken", "new": "+ New kinds"}
_TITLES |= {"changed": "\u2260 Changed", "unchanged": "= As they are"}
_short = partial(cut, longest=120)
_KEEP = {"shipped": "take what the shipped table says", "own": "keep yours"}
_SIDES = ("it was", "shipped table now", "yours")


def table_document(table: TraitTable) -> Document:
    """Return the first rows and columns of a trait table, below what is to be settled in it."""
    shown, frame = [t for t in table.traits if t.core] or list(table.traits[:6]), table.to_frame()
    rows = tuple(
        (table.label(taxon), *(str(frame.at[taxon, t.id]) for t in shown)) for taxon in table.ids[:_MOST_ROWS]
    )
    conflicts = conflicts_document(table).blocks if table.conflicts else ()
    grid = Table(("Taxon", *(t.name for t in shown)), rows, repr(table))
    more = len(table) - _MOST_ROWS
    left = (line(f"and {more} more taxa"),) if more > 0 else ()
    return Document(table.name, (*conflicts, grid, *left), titled=())


def conflicts_document(table: TraitTable) -> Document:
    """Return each conflict: what was, what the shipped table says now, what is yours, how to settle it."""
    heading = f"{number_of(len(table.conflicts), 'conflict')} to settle"
    folder = str(table.origin.folder) if table.origin else table.name
    rows: list[tuple] = []
    lines: list[Runs] = [heading]
    for conflict in table.conflicts:
        call = f"table = idkey.table.folder.settle({folder!r}, {conflict.id!r}, "
        ways = [(f"{words}: ", doc.Code(f"{call}{keep!r})")) for keep, words in _KEEP.items()]
        sides = (conflict.before, conflict.shipped, conflict.own)
        rows.append((conflict.text, *sides, Lines(tuple(ways), "bullets")))
        told = [f"  {words}: {side}" for words, side in zip(_SIDES, sides, strict=True) if side]
        lines += ["", conflict.text, *told, *(("  to ", *way) for way in ways)]
    heads = ("What happened", *map(first_up, _SIDES), "To settle it")
    blocks = (
        doc.On(doc.SCREEN, (Table(heads, tuple(rows), heading),)),
        doc.On(doc.TEXT, (Lines(tuple(lines)),)),
    )
    none = (line("Nothing to settle: the shipped table and your own additions agree."),)
    return Document("Conflicts", blocks if rows else none, titled=())


def conflict_html(conflict: Conflict, number: int, of: int) -> str:
    """Return one place where the shipped table and the keeper's own say different things."""
    sides = (
        ("When you wrote it, the shipped table said", conflict.before or "nothing"),
        ("Now the shipped table says", conflict.shipped or "nothing"),
        ("Yours says", conflict.own or "nothing"),
    )
    head = Heading(f"The shipped table and your own differ ({number} of {of})")
    return html.blocks((head, line(conflict.text), Table((), sides)))


def state_words(draft: Draft) -> str:
    """Say in one sentence what is not saved."""
    kinds = len({taxon for taxon, _ in draft.changed})
    parts = (
        (len(draft.changed), "cell", f" changed in {number_of(kinds, 'kind')}"),
        (len(draft.new), "new kind", ""),
        (len(draft.removed), "kind", " taken out"),
        (len(draft.claims), "source", " given"),
        (len(draft.traits), "new trait", ""),
        (len(draft.sources), "reference", " added"),
    )
    given = ", ".join(f"{number_of(count, thing)}{rest}" for count, thing, rest in parts if count)
    return f"{given}; not saved." if given else "Nothing is changed."


def head_html(draft: Draft) -> str:
    """Say what is not saved and, in the open, what may be saved but is seldom meant."""
    return html.status(state_words(draft), "outcome") + html.blocks(_notices(draft))


def _notices(draft: Draft) -> tuple[Lines, ...]:
    """Name trade codes that another kind has too, and kinds without a care group, of what is not saved."""
    table, found = draft.sound, []
    for taxon in (taxon for taxon in _fresh(draft, "tradeCode") if taxon in table.taxa.index):
        for code in trade_codes(draft.text(taxon, "tradeCode")):
            others = [table.label(t) for t in table.names.coded(code) if t != taxon]
            if others:
                has = "has" if len(others) == 1 else "have"
                found.append(f"{draft.label(taxon)}: {listed(others)} {has} the trade code {code}, too.")
    for taxon in _fresh(draft, "careGroup"):
        if not draft.text(taxon, "careGroup").strip():
            found.append(f"{draft.label(taxon)}: no care group is chosen, so there is no care sheet for it.")
    return (Lines(some(found, _MOST_CHANGES), "bullets"),) if found else ()


def _fresh(draft: Draft, column: str) -> Iterable[str]:
    """Return the kinds that are new or changed in a column; none where the table has no such column."""
    changed = (taxon for taxon, where in draft.changed if where == column)
    return dict.fromkeys((*draft.new, *changed)) if column in draft.names else ()


def kind_marks(draft: Draft) -> dict[str, str]:
    """Return what stands behind the name of a kind that is changed, new or taken out."""
    marks = dict.fromkeys((taxon for taxon, _ in (*draft.changed, *draft.claims)), ", changed")
    return marks | dict.fromkeys(draft.new, ", new") | dict.fromkeys(draft.removed, ", taken out")


def draft_document(draft: Draft) -> Document:
    """Return what is not saved, cell by cell, and what has to be mended."""
    size = f"{number_of(len(draft.sound), 'kind')}, {number_of(len(draft.sound.traits), 'trait')}."
    changes = [f"{draft.label(taxon)}: taken out" for taxon in draft.removed]
    for (taxon, column), text in draft.changed.items():
        before = "" if taxon in draft.new else f", was {draft.was(taxon, column) or 'blank'}"
        changes.append(f"{draft.label(taxon)}, {column}: {text or 'blank'}{before}")
    every = (Lines(some(changes, _MOST_CHANGES), "bullets"),) if changes else ()
    told = (*_notices(draft), *_problems(draft))
    blocks = (line(state_words(draft), "outcome"), line(size), *every, *told)
    return Document("Changes that are not saved", blocks, titled=())


def problems_html(draft: Draft) -> str:
    """List what can't be saved as it stands; blank where all is well."""
    return html.blocks(_problems(draft))


def _problems(draft: Draft) -> tuple[Lines, ...]:
    head = f"{number_of(len(draft.problems), 'thing')} to mend before this can be checked or saved"
    problems = Lines(some(map(str, draft.problems), _MOST_CHANGES), "bullets")
    return (line(head, "outcome"), problems) if draft.problems else ()


def column_words(draft: Draft, column: str) -> str:
    """Name a column in plain words."""
    if column in draft.names:
        return _NAMES[column].title if column in _NAMES else column
    trait = draft.wide.trait_of(column)
    return f"{trait.name}{'' if column == trait.id else ', young fish'}"


def _said(draft: Draft, place: Place, text: str, table: TraitTable) -> str:
    """Return the text of a cell in plain words; where it is blank, what it takes over in a table."""
    column = place[1]
    if column in draft.names:
        return text or "blank"
    trait = draft.wide.trait_of(column)
    cell, by = taken_over(table, *place)
    if by and not text.strip():
        rests = "from the genus" if by == GENUS else f"by {draft.wide.trait(by).name.lower()}"
        return f"{cell_words(trait, cell)}, {rests}"
    try:
        return cell_words(trait, parse_cell(trait, text))
    except ValueError:
        return f"\u201c{text}\u201d can't be read"


def line_html(draft: Draft, taxon: str, column: str) -> str:
    """Return what a kind has in a column, in one line with its marks and what stands behind it."""
    cell, young = (taxon, column), (taxon, column + YOUNG)
    words: list[Inline] = [f"{column_words(draft, column)}: ", *_cell(draft, cell)]
    if column in draft.names:
        return html.runs(tuple(words))
    if draft.text(*young).strip() or young in draft.changed:
        words += ["; young: ", *_cell(draft, young)]
    if cell in draft.claims or young in draft.claims:
        words += _mark("source given")
    filled = [p for p in (cell, young) if draft.text(*p).strip() or taken_over(draft.sound, *p)[1]]
    # The strongest class first, the rest counted.
    rows = sorted(_claims(draft, filled), key=lambda row: CLASSES.index(row["class"]))
    if behind := list(dict.fromkeys(_claim_words(draft, row) for row in rows)):
        more = len(behind) - _MOST_BEHIND
        words += ["\n", Soft("; ".join([*behind[:_MOST_BEHIND], *[f"{more} more"] * (more > 0)]))]
    return html.runs(tuple(words))


def _cell(draft: Draft, place: Place) -> list[Inline]:
    text = draft.text(*place)
    said = _said(draft, place, text, draft.sound)
    cell: Inline = said if text.strip() else Soft(said)
    if place in draft.wrong:
        cell = Tag(f"to mend: {said}")
    if place not in draft.changed:
        return [cell]
    was = f"changed, was {_said(draft, place, draft.was(*place), draft.saved)}"
    return [cell, *_mark("new" if place[0] in draft.new else was)]


def question_html(draft: Draft, column: str) -> str:
    """Return what a cell is about: the question, and how to look behind a fold."""
    if column in draft.names:
        about = _NAMES[column].about if column in _NAMES else ""
        return html.blocks((Heading(column_words(draft, column)), line(about)))
    trait = draft.wide.trait_of(column)
    how = [trait.how] if trait.how else []
    if trait.applies_when is not None:
        other, states = trait.applies_when
        how.append(f"Only asked where {other} is {' or '.join(states)}.")
    title = f"{trait.name}{'' if column == trait.id else ', where young fish differ'}"
    fold = (Fold("How to look", (Lines(tuple(how)),)),) if how else ()
    return html.blocks((Heading(title), line(trait.question), *fold))


def syntax_html(trait: Trait | None) -> str:
    """Say in one line how a cell of this trait is written."""
    if trait is None:
        return ""
    unit = "" if trait.unit in ("", "count") else f" in {trait.unit}"
    how = f"A range lo..hi{unit}, such as 12..16, or one number"
    if trait.has_states:
        how = f"One of {', '.join(trait.states)}; several joined by |"
    elif trait.kind == "ceiling":
        how = f"The largest recorded length{unit}"
    return html.runs(Soft(f"{how}; blank is not known; - does not apply."))


def feedback_html(draft: Draft, taxon: str, column: str) -> str:
    """Say whether a cell can be read, and what it was before it was changed."""
    place = (taxon, column)
    if place in draft.wrong:
        return html.status(Tag(f"To mend: {draft.wrong[place]}"))
    if place not in draft.changed:
        return ""
    was = "" if taxon in draft.new else _said(draft, place, draft.was(*place), draft.saved)
    return html.status(f"Can be read. Changed; it was: {was}." if was else "Can be read.")


def claims_html(draft: Draft, taxon: str, column: str) -> str:
    """List where a cell stands written: as saved, and as given now."""
    lines: list[Runs] = [_claim(draft, row) for row in _claims(draft, [(taxon, column)])]
    given, text = draft.claims.get((taxon, column)), draft.text(taxon, column)
    if given is not None:
        waits = "" if text.strip() else " (waits until the cell is filled)"
        lines.append((*_claim(draft, given.row(taxon, column, text)), *_mark("given now, not saved"), waits))
    none = line("No source stands behind this cell yet.", "soft")
    return html.blocks((Lines(tuple(lines), "bullets") if lines else none,))


def _claims(draft: Draft, places: list[Place]) -> list[dict[str, Any]]:
    saved = draft.saved
    if "taxon" not in saved.evidence.columns:
        return []
    kept = (saved.claims(*place) for place in places if place[0] in saved.taxa.index)
    return [row for claims in kept for row in claims.to_dict("records")]


def _claim_words(draft: Draft, row: dict[str, Any], locator: str = "") -> str:
    if row["note"] == UNSOURCED:
        return UNSOURCED
    source = draft.wide.sources.get(row["source"])
    named = row["source"] if source is None else source.short or source.key
    return claim_words(named[:_LONGEST_SOURCE], locator, row["class"])


def _claim(draft: Draft, row: dict[str, Any]) -> tuple[Inline, ...]:
    scope = "" if row["scope"] == "species" else f", speaks of the {row['scope']}"
    value = f": {row['value']}" if row["value"] else ""
    words = f"{_claim_words(draft, row, row['locator'])}{scope}{value} "
    return words, Soft(row["note"].removeprefix(UNSOURCED))


def source_options(draft: Draft) -> list[tuple[str, str]]:
    """Return the sources for a list: author and year with the key, and the key."""
    sources = draft.wide.sources.items()
    named = [(f"{source.short} [{key}]" if source.short else key, key) for key, source in sources]
    return [("none named", ""), *sorted(named, key=lambda source: source[0].casefold())]


def name_choices(draft: Draft, column: str, now: str = "") -> list[tuple[str, str]]:
    """Return what a column of names may hold, for a list; empty where anything can be written.

    `now` is what the cell says, which is offered even where it is not allowed.
    """
    allowed = draft.wide.allowed().get(column) if column in draft.names else None
    if allowed is None:
        return []
    choices = [("not chosen", ""), *((v, v) for v in allowed)]
    choices = source_options(draft) if column == "nameAccordingTo" else choices
    return choices if now in (value for _, value in choices) else [*choices, (f"{now} (to mend)", now)]


def sheet_html(draft: Draft, taxon: str, column: str) -> str:
    """Return the draft as a table of cell texts, kinds by columns; the cell that is chosen is marked."""
    touched = {t for t, _ in draft.changed} | {taxon}
    ids = [t for i, t in enumerate(draft.ids) if i < _MOST_IN_SHEET or t in touched]
    used = {*draft.saved.cells, *(c for _, c in draft.changed)}
    columns = [c for c in draft.columns if not c.endswith(YOUNG) or c in used]

    def cell(*place: str) -> tuple[Inline, ...]:
        text = draft.text(*place)
        mark = "to mend" if place in draft.wrong else "changed" if place in draft.changed else ""
        return Tag(text, "here") if place == (taxon, column) else text, *_mark(mark)

    rows = tuple(
        ((draft.label(t), *_mark("taken out" if t in draft.removed else "")), *(cell(t, c) for c in columns))
        for t in ids
    )
    sheet = Table(("Kind", *(column_words(draft, c) for c in columns)), rows)
    left = len(draft.ids) - len(ids)
    note = f"and {number_of(left, 'kind', 'more')}; choose one above to see it here"
    # A box that scrolls must be reachable by keyboard.
    return (
        '<div class="idk-edit-sheet" tabindex="0" role="region" aria-label="The table">'
        f"{html.blocks((sheet,))}</div>{html.runs(Soft(note)) if left else ''}"
    )


def _mark(word: str) -> tuple[Inline, ...]:
    return (" ", Tag(word, "mark")) if word else ()


# -- a spreadsheet as it was understood --------------------------------------------------------------------


def import_document(found: Import) -> Document:
    """Return a spreadsheet that was read as a document."""
    return Document(f"{found.place}: {_counts(found)}", tuple(_blocks(found)), width=100)


def report_html(found: Import) -> str:
    """Return the same for a screen that has its style: a screen reader says the counts."""
    return f"{html.status(_counts(found), 'outcome')}\n{html.blocks(_blocks(found))}"


def _counts(found: Import) -> str:
    """Say how many rows there are and what became of them."""
    new, changed, same, refused = map(found.count, ("new", "changed", "unchanged", "not taken"))
    became = (
        (new, number_of(new, "kind", "new")),
        (changed, f"{changed} changed"),
        (same, f"{same} as {'it is' if same == 1 else 'they are'}"),
        (refused, f"{refused} not taken"),
    )
    texts = ", ".join(text for count, text in became if count) or "nothing in it"
    return f"{number_of(len(found.rows), 'row')}: {texts}"


def _blocks(found: Import) -> Iterator[doc.Block]:
    wrong = [f"{_short(c.name)}: {c.text}" for c in found.columns if not c.meaning]
    read = [f"{_short(c.name)}: {c.text or 'read as it is'}" for c in found.columns if c.meaning]
    if found.notes:
        yield Lines(found.notes, style="soft")
    if wrong:
        yield from (Heading(f"Columns that were not taken ({len(wrong)})"), *_list(wrong))
    yield doc.On((doc.SCREEN, doc.PRINT), (Fold(f"How the columns were read ({len(read)})", _list(read)),))
    for what, title in _TITLES.items():
        rows = [row for row in found.rows if row.what == what]
        told = [row for row in rows if what != "unchanged" or row.said or row.problems]
        if told:
            yield Heading(f"{title} ({len(rows)})")
            yield from _rows(told)
        elif rows:
            yield doc.On((doc.SCREEN, doc.PRINT), (Fold(f"{title} ({len(rows)})", _list(map(_head, rows))),))


def _rows(rows: Sequence[ImportRow]) -> Iterator[doc.Block]:
    """Tell each row; of many the most are folded, or counted in a console."""
    for row in rows[:_MOST_SHOWN]:
        yield from _row(row)
    if rest := rows[_MOST_SHOWN:]:
        folded = [block for row in rest[:_MOST_IN_LIST] for block in _row(row)]
        if len(rest) > _MOST_IN_LIST:
            folded.append(Lines((f"More rows than can be shown here; {_ALL}.",)))
        yield doc.On((doc.SCREEN, doc.PRINT), (Fold(f"and {len(rest)} more", tuple(folded)),))
        yield doc.On(doc.TEXT, (Lines((f"and {number_of(len(rest), 'row', 'more')}; {_ALL}",)),))


def _row(row: ImportRow) -> Iterator[doc.Block]:
    """Say what of a row went into the table, what stood there before, how it was read, what was not taken."""
    before = {c: f"{_short(text) or 'not known'} \u2192 " for c, text in row.before.items()}
    taken = [f"{c}: {before.get(c, '')}{_short(text)}" for c, text in row.taken.items()]
    places = [f"{p.column or 'the row'} {_short(p.value)!r}" if p.value else p.column for p in row.problems]
    wrong = [f"not taken: {place}: {p.right}" for place, p in zip(places, row.problems, strict=True)]
    told = _list([*taken, *map(_short, row.said)])
    yield Lines((_head(row),))
    yield from (Fold(f"{len(taken)} cells", told),) if len(taken) > _MOST_SHOWN else told
    yield from _list(wrong)


def _head(row: ImportRow) -> str:
    return f"row {row.number}, {_short(row.label) or 'no name'}"


def _list(lines: Iterable[str]) -> tuple[doc.Block, ...]:
    shown = some(lines, _MOST_IN_LIST)
    return (Lines(shown, "bullets"),) if shown else ()
