"""A care sheet as a document: on the screen, in a console, on paper."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress

from idkey.care.needs import CLASS_WORDS, Backing, Need, format_value, read_cell, sentences
from idkey.care.sheet import CareSheet
from idkey.errors import IdkeyError
from idkey.table.schema import EVERY_GROUP
from idkey.table.units import percent
from idkey.views import doc, html
from idkey.views.doc import PRINT, SCREEN, TEXT, Block, Document, Heading, Lines, On
from idkey.views.gauges import flow_svg, size_svg, temperature_svg
from idkey.views.sheet import drawn as sheet_drawn
from idkey.views.words import cut, made_from, number_of, of_table

_WIDTH = 100
_OWN = "cautions"
_FOLD_WORDS = "Before you handle, move or sell it"
_DOUBT = 0.01
"""Share of "none of these" from which a sheet speaks of it."""
_SURE = 0.95
"""Share from which a name that is left alone is taken for settled, as an identification does by default."""
_GAUGES = (
    ("Temperature (°C, below it °F)", temperature_svg),
    ("Flow", flow_svg),
    ("Largest adult, seen from above", size_svg),
)


def care_document(sheet: CareSheet, *, full: bool = False, drawn: bool = True) -> Document:
    """Return a care sheet as a document, with the fish drawn for paper where `drawn`.

    In a console a need longer than a line is cut; with `full` each is whole, with its evidence and sources.
    """
    several = len(sheet.names) > 1
    own, needs, every = _in_reading_order(sheet)
    cited: dict[str, int] = {}
    title = f"{'Care that is right for all of' if several else 'Care'}: {'; '.join(sheet.labels)}"
    cautions = tuple(
        doc.Group((Lines((doc.Strong(n.label), *n.text.splitlines())), *_why(n, sheet, cited)), frame=True)
        for n in own
    )
    rows = [(n.label, _right(n), _why(n, sheet, cited)) for n in needs if n.origin]
    rows += [(head, doc.Soft(labels), "") for head, labels in _blanks(needs)]
    caption = f"What {'they need' if several else 'it needs'}"
    heads = ("Need", "What is right", "How we know")
    table = doc.Table(heads, tuple(rows), caption, "care-grid", (32.0, 98.0, 48.0))
    for_all = [b for n in every for b in (Heading(n.label, 2), _points(n), *_why(n, sheet, cited))]
    drawings = ((words, draw(sheet)) for words, draw in _GAUGES)
    gauges = tuple(doc.Picture(svg, words, heading=words, tallest=40.0) for words, svg in drawings if svg)
    blocks = (
        On(PRINT, (made_from(sheet.table),)),
        Lines(_standing(sheet)),
        Lines(_conflicts(sheet), style="outcome"),
        On((SCREEN, PRINT), cautions),
        On(PRINT, sheet_drawn(sheet.table, sheet.names) if drawn else ()),
        On((SCREEN, PRINT), (doc.Group(gauges, across=True),) if gauges else ()),
        On((SCREEN, PRINT), (table, *([doc.Fold(_FOLD_WORDS, tuple(for_all))] if for_all else []))),
        On(PRINT, _sources(sheet, cited)),
        On(TEXT, _text_lines(sheet, full)),
    )
    return of_table(sheet.table, title, blocks, width=_WIDTH)


def _sources(sheet: CareSheet, cited: dict[str, int]) -> tuple[Block, ...]:
    sources = sheet.table.sources if sheet.table is not None else {}
    full = {key: source.full for key, source in sources.items()}
    entries = tuple(f"{number}. {full.get(key, key)}" for key, number in cited.items())
    return (Heading("Sources"), doc.Columns(entries, 2)) if entries else ()


def care_blocks(sheet: CareSheet) -> tuple[Block, ...]:
    """Return a care sheet under its title, to stand inside another document on the screen."""
    document = care_document(sheet, drawn=False)
    return Heading(document.title, 0), *document.blocks


def care_html(sheet: CareSheet) -> str:
    """Return a care sheet as HTML without the stylesheet, to stand inside a page or a widget."""
    return html.blocks(care_blocks(sheet))


def care_text(sheet: CareSheet, *, full: bool = False) -> str:
    """Return a care sheet as plain text; with `full` every need whole, with its evidence and sources."""
    return doc.as_text(care_document(sheet, full=full, drawn=False))


def _in_reading_order(sheet: CareSheet) -> tuple[Sequence[Need], Sequence[Need], Sequence[Need]]:
    """Return the cautions of these kinds, the needs, and what concerns every fish where that is on record."""
    of_every_fish = [a for a, column in sheet.columns.items() if column.every_fish]
    needs = sheet.attributes
    own = [need for a, need in needs.items() if a == _OWN and need.origin]
    every = [needs[a] for a in of_every_fish if a in needs and needs[a].origin]
    return own, [n for a, n in needs.items() if a not in of_every_fish and n not in own], every


def _right(need: Need) -> doc.Content:
    lines = Lines(tuple(need.text.splitlines()))
    return (doc.Tag("conflict"), lines) if need.conflict else lines


def _points(need: Need) -> Lines:
    """Return a long text one sentence a point; where names differ in it one line, to keep who it is about."""
    lines = need.text.splitlines()
    points = lines if need.value is None else [point for line in lines for point in sentences(line)]
    return Lines(tuple(points), "bullets")


def _blanks(needs: Sequence[Need]) -> list[tuple[str, str]]:
    """Return ("Not known", labels) and the like for needs on which nothing is known."""
    labels: dict[str, list[str]] = {}
    for need in needs:
        if not need.origin:
            label = need.label.removesuffix(", at least")
            labels.setdefault(need.text.capitalize(), []).append(label if label == "pH" else label.lower())
    return [(head, ", ".join(names)) for head, names in labels.items()]


def _standing(sheet: CareSheet) -> tuple[str, ...]:
    """Say how likely each name of a sheet is; nothing for a settled name, or if not made from a fish."""
    if not sheet.shares or (len(sheet.names) == 1 and sheet.shares[sheet.names[0]] >= _SURE):
        return ()
    names = zip(sheet.names, sheet.short_labels, strict=True)
    line = f"Still possible: {'; '.join(f'{label} {percent(sheet.shares[name])}' for name, label in names)}."
    if sheet.others:
        others = number_of(sheet.others, "less likely name")
        line += (
            f" {others} {'is' if sheet.others == 1 else 'are'} possible as well "
            f"({percent(sheet.others_share)}) and not on this sheet: answer more before you go by it."
        )
    if sheet.none_share >= _DOUBT:
        line += f" None of the kinds in the table: {percent(sheet.none_share)}; then nothing here holds."
    return (line,)


def _conflicts(sheet: CareSheet) -> tuple[str, ...]:
    what = ", ".join(need.label for need in sheet.conflicts)
    count = number_of(len(sheet.conflicts), "conflict")
    return (f"{count}: {what}. No one answer suits all these names there.",) if what else ()


def _why(need: Need, sheet: CareSheet, cited: dict[str, int]) -> tuple[doc.Inline | Block, ...]:
    """Return how we know: on the screen each claim behind a fold, on paper the classes and the sources.

    The sources are numbered, in `cited`, as they are first met.
    """
    if not need.evidence:
        return ()
    claims = tuple(dict.fromkeys(_claim(backing, sheet) for backing in need.evidence))
    keys = dict.fromkeys(b.source for b in need.evidence if b.followed and b.source)
    numbers = sorted(cited.setdefault(key, len(cited) + 1) for key in keys)
    on_paper = Lines((f"{need.grounds} {numbers or ''}".rstrip(),), style="small")
    return On(SCREEN, (doc.Fold(need.grounds, (Lines(claims, "bullets"),)),)), On(PRINT, (on_paper,))


def _claim(backing: Backing, sheet: CareSheet) -> str:
    value = backing.value
    with suppress(IdkeyError):  # what no cell can hold, such as "high", stands as it is
        column = sheet.columns[backing.attribute]
        value = format_value(column, read_cell(column, value))
    where = ", ".join(filter(None, (backing.source_label, backing.locator)))
    basis = CLASS_WORDS.get(backing.evidence_class, backing.evidence_class)
    words = f"{value} ({'; '.join(filter(None, (where, basis)))})"
    if len(sheet.names) > 1 and backing.care_group != EVERY_GROUP:
        label = dict(zip(sheet.names, sheet.short_labels, strict=True)).get(backing.taxon)
        words = f"{label or backing.care_group.replace('_', ' ').capitalize()}: {words}"
    return f"{words}. {backing.note}" if backing.note else words


def _text_lines(sheet: CareSheet, full: bool) -> tuple[Block, ...]:
    own, needs, every = _in_reading_order(sheet)
    indent = max((len(need.label) for need in sheet.attributes.values()), default=0) + 2
    lines = []
    for need in (*own, *(n for n in needs if n.origin), *(every if full else ())):
        words = ("conflict: " if need.conflict else "") + need.text
        why = f"\n[{need.basis}]" if full and need.evidence else ""
        line = f"{need.label:<{indent}}{words if full else ' / '.join(words.splitlines())}{why}"
        # What keeps a fish from harm is never cut short.
        lines.append(line if full or need.attribute == _OWN or need.conflict else cut(line, _WIDTH))
    lines += [f"{head:<{indent}}{labels}" for head, labels in _blanks(needs)]
    labels = ", ".join(need.label.lower() for need in every)
    rest = (f"{_FOLD_WORDS}: {labels}; care_text(sheet, full=True) has it all",)
    return Lines(tuple(lines), indent=indent), Lines(rest if every and not full else ())
