"""A printed care sheet and a printed comparison, as PDF."""

from __future__ import annotations

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
    from idkey.views.report_pdf import Paper

__all__ = ["write_care"]

_TALLEST = 135.0


def write_care(paper: Paper, sheet: CareSheet, table: TraitTable | None, picture: str, note: str) -> None:
    """Put a care sheet on paper; `picture` is an SVG, `note` the line below it."""
    title = care_title(sheet)
    paper.head(title, "title")
    paper.paragraph(f"Made from {stamp(table)}." if table is not None else f"Made with {stamp(None)}.")
    if standing := care_standing(sheet):
        paper.paragraph(standing)
    _picture(paper, picture, title, note)
    rows = [[[("Need", "bold")], [("What is right", "bold")], [("How we know", "bold")]]]
    for row in care_rows(sheet):
        right = [("CONFLICT:", "bold")] if row.conflict else []
        rows.append([[(row.label, "bold")], [*right, (row.text, "text")], [(row.why, "small")]])
    paper.grid(rows, (32, 98, 48))
    paper.gap(2.0)
    paper.paragraph(CLASS_NOTE, "small")
    if table is not None:
        paper.paragraph(sources_line(table), "small")


def _picture(paper: Paper, picture: str, title: str, note: str) -> None:
    if picture:
        paper.drawing(picture, title, _TALLEST)
        paper.paragraph(note, "small")
