"""The printed key as PDF: couplets with drawings, dots and ends."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from idkey.views.draw import state_svg
from idkey.views.report_pdf import Block, Paper, Row
from idkey.views.report_words import (
    CAUTIONS,
    HOW_TO_USE,
    came_from,
    end_words,
    index,
    key_title,
    labels,
    lead_line,
    lead_states,
    looks,
    plain,
    scope_line,
    sources_line,
    stamp,
)

if TYPE_CHECKING:
    from idkey.model.key import Couplet, Key, Lead

__all__ = ["write_key"]

_LETTER = 6.0
_ICON = (14.4, 9.6)
_ACROSS = 2
_TEXT = _LETTER + _ACROSS * (_ICON[0] + 1.0) + 2.0
_FEW = 3
"""So many names at one end are set in bold; more are set small."""


def write_key(paper: Paper, key: Key, title: str) -> None:
    """Put a key on paper."""
    paper.head(key_title(key, title), "title")
    paper.paragraph(scope_line(key))
    paper.paragraph(f"Made from {stamp(key.table)}.")
    paper.gap(1.5)
    paper.head("How to use it")
    for number, line in enumerate(HOW_TO_USE, start=1):
        paper.paragraph(line, mark=f"{number}.")
    paper.gap(1.5)
    paper.head("Mind the fish and yourself")
    for line in CAUTIONS:
        paper.paragraph(line, mark="•")
    paper.gap(2.0)
    paper.head("The key")
    if not key.couplets:
        names = labels(key.table, [t for t in key.table.ids if t not in key.left_out])
        paper.paragraph(f"These can't be told apart by this table: {'; '.join(names)}.")
    links = {couplet.number: paper.pdf.add_link() for couplet in key.couplets}
    before = came_from(key)
    for couplet in key.couplets:
        paper.blocks.append(_couplet(paper, key, couplet, links, before[couplet.number]))
    _ending(paper, key)


def _ending(paper: Paper, key: Key) -> None:
    """Put what stands behind the couplets: how to look, the index, what is left out, sources."""
    if key.couplets:
        paper.gap(3.0)
        paper.head("How to look")
        for trait in looks(key):
            if trait.how:
                pieces = [(f"{plain(trait.name)}:", "small bold"), (trait.how, "small")]
                paper.blocks.append(Block((*paper.rows(pieces), Row(0.8, lambda y: None))))
    if key.left_out:
        paper.gap(3.0)
        paper.head("Left out")
        names = "; ".join(labels(key.table, key.left_out))
        paper.paragraph(f"Too little is known to key these out; they stay possible at every end: {names}")
    paper.gap(3.0)
    paper.head("Sources")
    paper.paragraph(sources_line(key.table))
    paper.gap(3.0)
    paper.head("Index of names, with the leads at which they stand")
    entries = [
        [(f"{name}:" if where else name, "small bold"), (", ".join(where), "small")]
        for name, where in index(key)
    ]
    paper.columns(entries, 3 if paper.width > 150 else 2)


def _couplet(paper: Paper, key: Key, couplet: Couplet, links: dict[int, int], before: Sequence[int]) -> Block:
    pieces = [(str(couplet.number), "number")]
    if before:
        pieces.append((f"(from {', '.join(map(str, before))})", "small"))
    pieces.append((plain(couplet.trait.question or couplet.trait.name), "small"))
    rows = [Row(2.2, lambda y: None), *paper.rows(pieces), Row(0.6, lambda y: None)]
    for letter, lead in (("a", couplet.a), ("b", couplet.b)):
        rows += _lead(paper, key, couplet, letter, lead, links)
    return Block(tuple(rows), link=links[couplet.number])


def _lead(
    paper: Paper, key: Key, couplet: Couplet, letter: str, lead: Lead, links: dict[int, int]
) -> list[Row]:
    drawn = [state_svg(couplet.trait.id, state) for state in lead_states(couplet, lead)]
    icons = [svg for svg in drawn if svg]
    indent = _TEXT if icons else _LETTER
    rows = _words(paper, key, couplet, lead, indent, links)
    first = rows[0]

    def begin(y: float) -> None:
        paper.put([(0.0, "bold", letter)], paper.left, y)
        for i, svg in enumerate(icons):
            down, right = divmod(i, _ACROSS)
            x = paper.left + _LETTER + right * (_ICON[0] + 1.0)
            paper.picture(svg, x, y + down * (_ICON[1] + 0.8), *_ICON)
        first.draw(y)

    rows[0] = Row(first.height, begin)
    deep = -(-len(icons) // _ACROSS) * (_ICON[1] + 0.8)
    short = deep - sum(row.height for row in rows)
    return [*rows, Row(max(short, 0.0) + 1.0, lambda y: None)]


def _words(
    paper: Paper, key: Key, couplet: Couplet, lead: Lead, indent: float, links: dict[int, int]
) -> list[Row]:
    """Return what a lead says, dots, and where it goes."""
    room = paper.width - indent
    lines = paper.wrap([(lead_line(couplet, lead), "text")], room)
    head, names = end_words(key, lead)
    target = links.get(lead.goes_to) if lead.goes_to is not None else None
    end = str(lead.goes_to) if lead.goes_to is not None else ""
    if lead.goes_to is None and len(names) == 1:
        end = paper.clean(names[0])
    rows = [paper.row(line, indent) for line in lines]
    if end:
        style = "number" if target is not None else "bold"
        wide = paper.wide(end, style)
        used = paper.end_of(lines[-1], paper.wide)
        if used + wide + 6.0 > room:
            rows.append(Row(4.6, lambda y: None))
            used = -1.0
        last = rows[-1]

        def finish(y: float) -> None:
            last.draw(y)
            right = paper.left + paper.width
            paper.leader(paper.left + indent + used + 1.2, right - wide - 1.2, y + 3.1)
            paper.put([(0.0, style, end)], right - wide, y)
            if target is not None:
                paper.pdf.link(right - wide - 2.0, y, wide + 2.0, 4.6, target)

        if wide <= room:
            rows[-1] = Row(max(last.height, 4.6), finish)
            return rows
        rows = rows[: len(lines)]
    style = "bold" if len(names) <= _FEW else "small"
    pieces = [(head, "text" if len(names) <= _FEW else "small")] if head else []
    pieces.append(("; ".join(names), style))
    return rows + paper.rows(pieces, indent)
