"""A printed review of a table: what a club can go through in an evening, as HTML or PDF."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

from idkey.views.draw_review import GridSheet, grid_note, grid_sheets
from idkey.views.report_html import whole_page
from idkey.views.report_pdf import Block, Row
from idkey.views.report_words import CLASS_NOTE, plain, sources_line, stamp
from idkey.views.review import Part, parts, sentences

if TYPE_CHECKING:
    from idkey.model.review import Review
    from idkey.views.report_pdf import Paper

__all__ = ["review_document", "review_title", "write_review"]

_GRID = "What each cell rests on"
_TALLEST = 226.0
"""Height of the grid on paper, mm: a page of Letter with its heading."""
_POINTS = 72 / 25.4


def review_title(review: Review) -> str:
    """Return the title of a printed review."""
    return f"The trait table looked over: {len(review.taxa):,} kinds by {len(review.traits):,} traits"


def review_document(review: Review, paper: str) -> str:
    """Return a review as an HTML document."""
    title, foot = review_title(review), stamp(review.table)
    figures = "".join(f"<li>{escape(plain(line))}</li>" for line in sentences(review))
    tables = "\n".join(_part(part) for part in parts(review))
    drawn = "\n".join(f'<div class="picture">{_tall(sheet)}</div>' for sheet in grid_sheets(review))
    left = f'<p class="small">{escape(grid_note(review))}</p>\n' if grid_note(review) else ""
    notes = "".join(f'<p class="small">{escape(note)}</p>\n' for note in _notes(review))
    body = (
        f"<h1>{escape(title)}</h1>\n<p>Made from {escape(foot)}.</p>\n<ul>{figures}</ul>\n{notes}"
        f"{tables}\n<h2>{_GRID}</h2>\n{left}{drawn}"
    )
    return whole_page(title, foot, paper, body)


def _notes(review: Review) -> tuple[str, ...]:
    return (CLASS_NOTE, sources_line(review.table)) if review.has_evidence else ()


def _part(part: Part) -> str:
    shares = _shares(part.rows)
    columns = "".join(f'<col style="width: {100 * share / sum(shares):.0f}%">' for share in shares)
    heads = "".join(f'<th scope="col">{escape(head)}</th>' for head in part.heads)
    rows = "\n".join(
        f'<tr><th scope="row">{escape(plain(row[0]))}</th>'
        f"{''.join(f'<td>{escape(plain(cell))}</td>' for cell in row[1:])}</tr>"
        for row in part.rows
    )
    return (
        f'<div style="break-inside: avoid">\n<h2>{escape(part.heading)}</h2>\n'
        f'<p class="small">{escape(_shown(part.count, len(part.rows)))}{escape(part.note)}</p>\n'
        f"<table>\n<colgroup>{columns}</colgroup>\n<thead><tr>{heads}</tr></thead>\n"
        f"<tbody>\n{rows}\n</tbody>\n</table>\n</div>"
    )


def _shown(count: int, shown: int) -> str:
    return f"The first {shown} of {count:,}. " if count > shown else ""


def _tall(sheet: GridSheet) -> str:
    """Return a sheet that may fill its page; the stylesheet keeps pictures low."""
    return sheet.svg().replace("<svg ", f'<svg style="max-height: {_TALLEST:g}mm" ', 1)


def write_review(paper: Paper, review: Review) -> None:
    """Put a review on paper."""
    paper.head(review_title(review), "title")
    paper.paragraph(f"Made from {stamp(review.table)}.")
    for line in sentences(review):
        paper.paragraph(line, mark="•")
    for note in _notes(review):
        paper.paragraph(note, "small")
    for part in parts(review):
        paper.gap(2.0)
        start = len(paper.blocks)
        paper.head(part.heading)
        paper.paragraph(f"{_shown(part.count, len(part.rows))}{part.note}", "small")
        rows = [[[(head, "bold")] for head in part.heads]]
        rows += [[[(row[0], "bold")], *([(cell, "text")] for cell in row[1:])] for row in part.rows]
        paper.grid(rows, _shares(part.rows))
        # A heading and the head of a table never stand at the foot of a page without a row.
        first = paper.blocks[start : start + 4]
        together = tuple(row for block in first for row in block.rows)
        paper.blocks[start : start + 4] = [Block(together, outline=first[0].outline)]
    if grid_note(review):
        paper.paragraph(grid_note(review), "small")
    for number, sheet in enumerate(grid_sheets(review)):
        if number == 0:
            paper.head(_GRID)
        _put_grid(paper, sheet)


def _shares(rows: tuple[tuple[str, ...], ...]) -> tuple[float, ...]:
    """Return shares of the width by how long the entries of each column are."""
    longest = [max(len(cell) for cell in column) for column in zip(*rows, strict=True)]
    return tuple(float(min(max(n, 14), 60)) for n in longest)


def _put_grid(paper: Paper, sheet: GridSheet) -> None:
    """Put a sheet of the grid: its shapes as a drawing, its words in the type of the page."""
    scale = min(paper.width / sheet.width, _TALLEST / sheet.height)
    shapes = sheet.svg(words=False)

    def draw(y: float) -> None:
        paper.picture(
            shapes, paper.left, y, scale * sheet.width, scale * sheet.height, f"{sheet.title}. {sheet.says}"
        )
        for word in sheet.words:
            text = paper.clean(word.text)
            paper.pdf.set_font("dejavu", "", scale * word.size * _POINTS * 0.9)
            wide = paper.pdf.get_string_width(text)
            back = {"start": 0.0, "middle": wide / 2, "end": wide}[word.anchor]
            x, base = paper.left + scale * word.x, y + scale * word.y
            with paper.pdf.rotation(90 if word.turned else 0, x, base):
                paper.pdf.text(x - back, base, text)

    paper.blocks.append(Block((Row(scale * sheet.height + 2.0, draw),)))
