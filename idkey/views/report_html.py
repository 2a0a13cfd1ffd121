"""Printed documents as one self-contained HTML file each: black on white, page rules inside, no script."""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import lru_cache
from html import escape
from importlib.resources import files
from typing import TYPE_CHECKING

from idkey.views.draw import state_svg
from idkey.views.report_words import (
    CAUTIONS,
    CLASS_NOTE,
    HOW_TO_USE,
    came_from,
    care_rows,
    care_standing,
    care_title,
    compare_title,
    contrast_groups,
    end_words,
    index,
    key_title,
    labels,
    lead_line,
    lead_states,
    looks,
    looks_lines,
    plain,
    scope_line,
    sources_line,
    stamp,
)

if TYPE_CHECKING:
    from idkey.care.sheet import CareSheet
    from idkey.model.compare import Comparison
    from idkey.model.key import Couplet, Key, Lead
    from idkey.table.table import TraitTable

__all__ = ["care_document", "compare_document", "key_document", "whole_page"]

_FEW = 3
_SAFE = re.compile(r"[^A-Za-z0-9 .,]")
_SIZES = {"A4": "A4", "Letter": "letter"}


@lru_cache(maxsize=1)
def _css() -> str:
    return (files("idkey.views") / "print.css").read_text(encoding="utf-8")


def whole_page(title: str, foot: str, paper: str, body: str) -> str:
    """Wrap a body as a document with its page rules; the foot stands on each page that is printed."""
    # In a style sheet every character that could end the text is written as its number.
    said = _SAFE.sub(lambda m: f"\\{ord(m[0]):x} ", f"{title}  |  {foot}")
    rules = (
        f"@page {{ size: {_SIZES[paper]}; margin: 14mm 16mm 18mm;\n"
        f'  @bottom-left {{ content: "{said}"; font: 7.5pt sans-serif; text-align: left; width: 80%; }}\n'
        '  @bottom-right { content: "page " counter(page) " of " counter(pages); font: 7.5pt sans-serif; } }'
    )
    return (
        '<!DOCTYPE html>\n<html lang="en-GB">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>\n{_css()}{rules}\n</style>\n</head>\n"
        f"<body>\n{body}\n<p class='small'>{escape(foot)}</p>\n</body>\n</html>\n"
    )


def _list(lines: Iterable[str], kind: str) -> str:
    return f"<{kind}>{''.join(f'<li>{escape(line)}</li>' for line in lines)}</{kind}>"


def _cautions() -> str:
    return f"<h2>Mind the fish and yourself</h2>\n{_list(CAUTIONS, 'ul')}"


# -- the key ----------------------------------------------------------------------------------------


def key_document(key: Key, paper: str, title: str) -> str:
    """Return a key as an HTML document."""
    named = key_title(key, title)
    foot = stamp(key.table)
    before = came_from(key)
    drawn: dict[tuple[str, str], str] = {}
    couplets = "\n".join(_couplet(key, couplet, before[couplet.number], drawn) for couplet in key.couplets)
    if not couplets:
        names = "; ".join(labels(key.table, [t for t in key.table.ids if t not in key.left_out]))
        couplets = f"<li>These can't be told apart by this table: {escape(names)}</li>"
    shapes = "".join(drawn.values())
    body = (
        '<svg width="0" height="0" style="position:absolute" aria-hidden="true">'
        f"<defs>{shapes}</defs></svg>\n"
        f"<h1>{escape(named)}</h1>\n<p>{escape(scope_line(key))}</p>\n<p>Made from {escape(foot)}.</p>\n"
        f"<h2>How to use it</h2>\n{_list(HOW_TO_USE, 'ol')}\n{_cautions()}\n"
        f'<h2>The key</h2>\n<ol class="key">\n{couplets}\n</ol>\n{_ending(key)}'
    )
    return whole_page(named, foot, paper, body)


def _couplet(key: Key, couplet: Couplet, before: tuple[int, ...], drawn: dict[tuple[str, str], str]) -> str:
    back = ", ".join(f'<a href="#c{n}">{n}</a>' for n in before)
    back = f"(from {back}) " if back else ""
    asked = escape(plain(couplet.trait.question or couplet.trait.name))
    leads = "".join(
        _lead(key, couplet, letter, lead, drawn) for letter, lead in (("a", couplet.a), ("b", couplet.b))
    )
    return (
        f'<li id="c{couplet.number}"><span class="number">{couplet.number}</span>'
        f'<span class="small">{back}{asked}</span>{leads}</li>'
    )


def _lead(key: Key, couplet: Couplet, letter: str, lead: Lead, drawn: dict[tuple[str, str], str]) -> str:
    icons = "".join(_icon(couplet.trait.id, state, drawn) for state in lead_states(couplet, lead))
    beside = f'<span class="icons">{icons}</span>' if icons else ""
    kind = "lead" if icons else "lead plain"
    says = "says on" if lead.goes_to is not None or len(lead.taxa) == 1 else "says"
    return (
        f'<div class="{kind}"><strong>{letter}</strong>{beside}<span class="{says}">'
        f"<span>{escape(lead_line(couplet, lead))}</span>{_end(key, lead)}</span></div>"
    )


def _icon(trait_id: str, state: str, drawn: dict[tuple[str, str], str]) -> str:
    """Return a drawing; its shapes are put into the document once, however often it is shown."""
    name = f"i-{trait_id}-{state}"
    if (trait_id, state) not in drawn:
        svg = state_svg(trait_id, state)
        if svg is None:
            return ""
        opening, _, rest = svg.partition(">")
        box = opening.partition('viewBox="')[2].partition('"')[0]
        shapes = rest.partition("</title>")[2].removesuffix("</svg>")
        drawn[trait_id, state] = f'<symbol id="{name}" viewBox="{box}">{shapes}</symbol>'
    return (
        '<svg viewBox="0 0 120 80" aria-hidden="true" fill="none" stroke-linejoin="round" '
        f'stroke-linecap="round"><use href="#{name}"/></svg>'
    )


def _end(key: Key, lead: Lead) -> str:
    if lead.goes_to is not None:
        return f'<span class="dots"></span><a class="number" href="#c{lead.goes_to}">{lead.goes_to}</a>'
    head, names = end_words(key, lead)
    if len(names) == 1:
        return f'<span class="dots"></span><strong>{escape(names[0])}</strong>'
    shown = escape("; ".join(names))
    if len(names) <= _FEW:
        return f'<span class="names">{escape(head)} <strong>{shown}</strong></span>'
    return f'<span class="names small">{escape(head)} {shown}</span>'


def _ending(key: Key) -> str:
    parts = []
    hows = [t for t in looks(key) if t.how]
    if hows:
        items = "".join(
            f'<p class="small"><strong>{escape(plain(t.name))}:</strong> {escape(plain(t.how))}</p>'
            for t in hows
        )
        parts.append(f"<h2>How to look</h2>\n{items}")
    if key.left_out:
        names = escape("; ".join(labels(key.table, key.left_out)))
        parts.append(
            f"<h2>Left out</h2>\n<p>Too little is known to key these out; they stay possible at every end: "
            f"{names}</p>"
        )
    parts.append(f"<h2>Sources</h2>\n<p>{escape(sources_line(key.table))}</p>")
    entries = "".join(
        f"<li><strong>{escape(name)}{':' if where else ''}</strong> {', '.join(map(_leads_link, where))}</li>"
        for name, where in index(key)
    )
    parts.append(
        f'<h2>Index of names, with the leads at which they stand</h2>\n<ul class="index">{entries}</ul>'
    )
    return "\n".join(parts)


def _leads_link(place: str) -> str:
    return f'<a href="#c{place[:-1]}">{place}</a>'


# -- a care sheet, a comparison ---------------------------------------------------------------------


def care_document(sheet: CareSheet, paper: str, table: TraitTable | None, picture: str, note: str) -> str:
    """Return a care sheet as an HTML document; `picture` is an SVG, `note` the line below it."""
    title = care_title(sheet)
    foot = stamp(table)
    rows = "\n".join(
        f'<tr><th scope="row">{escape(row.label)}</th><td class="line">'
        f"{'<span class=conflict>CONFLICT</span>' if row.conflict else ''}{escape(row.text)}</td>"
        f'<td class="small">{escape(row.why)}</td></tr>'
        for row in care_rows(sheet)
    )
    sources = f"<p class='small'>{escape(sources_line(table))}</p>" if table is not None else ""
    standing = f"<p>{escape(care_standing(sheet))}</p>\n" if care_standing(sheet) else ""
    body = (
        f"<h1>{escape(title)}</h1>\n<p>Made from {escape(foot)}.</p>\n{standing}{_picture(picture, note)}"
        '<table class="care">\n'
        '<thead><tr><th scope="col">Need</th><th scope="col">What is right</th>'
        f'<th scope="col">How we know</th></tr></thead>\n<tbody>\n{rows}\n</tbody>\n</table>\n'
        f"<p class='small'>{escape(CLASS_NOTE)}</p>\n{sources}"
    )
    return whole_page(title, foot, paper, body)


def compare_document(comparison: Comparison, paper: str, picture: str, note: str) -> str:
    """Return a comparison as an HTML document; `picture` is an SVG, `note` the line below it."""
    title = compare_title(comparison)
    foot = stamp(comparison.table)
    tables = []
    for group in contrast_groups(comparison):
        heads = "".join(f'<th scope="col">{escape(text)}</th>' for text in group.heads)
        rows = "\n".join(
            f'<tr><th scope="row">{escape(row[0])}</th>'
            f"{''.join(f'<td>{escape(cell)}</td>' for cell in row[1:])}</tr>"
            for row in group.rows
        )
        grid = f"<table>\n<thead><tr>{heads}</tr></thead>\n<tbody>\n{rows}\n</tbody>\n</table>\n"
        rest = "".join(f'<p class="small">{escape(line)}</p>\n' for line in group.rest)
        tables.append(f"<h2>{group.heading}</h2>\n{grid if rows else ''}{rest}")
    first = "".join(f"<p>{escape(line)}</p>" for line in looks_lines(comparison))
    body = (
        f"<h1>{escape(title)}</h1>\n<p>Made from {escape(foot)}.</p>\n"
        f"{_picture(picture, note)}<h2>Look first at</h2>\n{first}\n"
        f"{''.join(tables)}\n{_cautions()}\n<p class='small'>{escape(sources_line(comparison.table))}</p>"
    )
    return whole_page(title, foot, paper, body)


def _picture(picture: str, note: str) -> str:
    if not picture:
        return ""
    return f'<div class="picture">{picture}\n<p class="small">{escape(note)}</p></div>\n'
