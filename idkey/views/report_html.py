"""Printed documents as one self-contained HTML file each: black on white, page rules inside, no script."""

from __future__ import annotations

import re
from functools import lru_cache
from html import escape
from importlib.resources import files
from typing import TYPE_CHECKING

from idkey.views.report_words import (
    CLASS_NOTE,
    care_rows,
    care_standing,
    care_title,
    sources_line,
    stamp,
)

if TYPE_CHECKING:
    from idkey.care.sheet import CareSheet
    from idkey.table.table import TraitTable

__all__ = ["care_document", "whole_page"]

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


# -- the key ----------------------------------------------------------------------------------------


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


def _picture(picture: str, note: str) -> str:
    if not picture:
        return ""
    return f'<div class="picture">{picture}\n<p class="small">{escape(note)}</p></div>\n'
