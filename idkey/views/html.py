"""Documents as HTML: in a notebook, and as a self-contained page to be printed.

Pure: the same document gives the same bytes, and every text is cleaned and escaped here.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import cache
from html import escape
from importlib.resources import files
from string import Template
from urllib.parse import urlsplit

from idkey.views import doc
from idkey.views.doc import PRINT, SCREEN, Block, Content, Document, Runs, clean, one_line, parts, pick, plain

FEW = 3
"""So many names at one end of a key are set in bold; more are set small."""
_WRAPS = {doc.Strong: "<strong>{}</strong>", doc.Code: "<code>{}</code>"}
_WRAPS |= {doc.Soft: '<span class="idk-soft">{}</span>'}
_UNSAFE = re.compile(r"[^A-Za-z0-9 .,]")
_SIZES = {"A4": "A4", "Letter": "letter"}
_SVG = re.compile(r"<svg\b([^>]*)>(?:<title>.*?</title>)?(.*)</svg>", re.DOTALL)
_VIEW_BOX = re.compile(r'viewBox="([^"]*)"')


@cache
def stylesheet() -> str:
    """Return the stylesheet of all views, as a style element."""
    return f"<style>\n{_file('style.css')}</style>"


def _file(name: str) -> str:
    return (files("idkey.views") / name).read_text(encoding="utf-8")


def page(body: str) -> str:
    """Wrap a piece of HTML so that it can stand in a cell's output on its own."""
    return f'{stylesheet()}\n<div class="idk">\n{body}\n</div>'


def render(document: Document) -> str:
    """Return a document as a piece of HTML that can stand in a cell's output on its own."""
    title = f"<h3>{_text(document.title)}</h3>\n" if SCREEN in document.titled else ""
    return page(title + blocks(document.blocks))


def blocks(some: Iterable[Block]) -> str:
    """Return blocks as HTML, without the stylesheet: to stand inside a page or a widget."""
    return _Writer(SCREEN).blocks(some)


def runs(some: Runs) -> str:
    """Return words on a line as HTML."""
    return _Writer(SCREEN).runs(some)


def status(words: Runs, style: str = "") -> str:
    """Return a line that a screen reader says when it changes."""
    return f'<p class="idk-{style}" role="status">{runs(words)}</p>'


def printed(document: Document, paper: str = "A4") -> str:
    """Return a document as one file of HTML to be printed: black on white, page rules inside, no script."""
    writer, title, stamp = _Writer(PRINT), _title(document.title), document.stamp
    body = (f"<h1>{title}</h1>\n" if PRINT in document.titled else "") + writer.blocks(document.blocks)
    # In a style sheet every character that could end the text is written as its number.
    words = clean(f"{document.title}  |  {stamp}" if stamp else document.title)
    foot = _UNSAFE.sub(lambda m: f"\\{ord(m[0]):x} ", words)
    rules = {"style": _file("print.css"), "size": _SIZES[paper], "foot": foot}
    page = {"title": title, "shapes": writer.shapes(), "body": body, "stamp": _text(stamp)}
    return Template(_file("print.html")).substitute(rules | page)


def _text(text: object) -> str:
    return escape(clean(text)).replace("\n", "<br>")


def _title(text: object) -> str:
    return escape(one_line(text))


class _Writer:
    """Writes blocks for one place; on paper a small drawing is put into the document once."""

    def __init__(self, medium: str):
        self.medium = medium
        self._drawn: dict[str, tuple[str, str]] = {}

    def blocks(self, some: Iterable[Block]) -> str:
        return "\n".join(getattr(self, f"_{type(b).__name__.lower()}")(b) for b in pick(some, self.medium))

    def runs(self, some: Runs) -> str:
        if isinstance(some, tuple):
            return "".join(self.runs(piece) for piece in some)
        if isinstance(some, str):
            return _text(some)
        if type(some) in _WRAPS:
            return _WRAPS[type(some)].format(_text(some.text))
        return getattr(self, f"_{type(some).__name__.lower()}")(some)

    def _tag(self, piece: doc.Tag) -> str:
        return f'<span class="idk-tag idk-tag-{piece.style}">{_text(piece.text)}</span>'

    def _bar(self, piece: doc.Bar) -> str:
        filled = f'<span style="width:{piece.share * 100:.1f}%"></span>'
        bar = f'<span class="idk-bar" aria-hidden="true">{filled}</span>'
        if not piece.label:
            return f"{_text(piece.figure)}{bar}"
        figure = f'<span class="idk-share">{_text(piece.figure)}</span>'
        return f'<span class="idk-name-row">{figure}{bar}<span>{_text(piece.label)}</span></span>'

    def _link(self, piece: doc.Link) -> str:
        if piece.to.startswith("#"):
            return f'<a href="{escape(piece.to)}">{_text(piece.text)}</a>'
        if urlsplit(piece.to).scheme not in ("http", "https"):
            return _text(piece.text)
        away = 'target="_blank" rel="noopener noreferrer"'
        return f'<a href="{escape(piece.to)}" {away}>{_text(piece.text)}</a>'

    def _icon(self, piece: doc.Icon) -> str:
        match = _SVG.fullmatch(piece.svg.strip())
        if self.medium == SCREEN or match is None:
            return f'<span class="idk-icon">{piece.svg}</span>'
        opening, shapes = match.groups()
        box = _VIEW_BOX.search(opening)[1]
        name = f"i{len(self._drawn)}"
        symbol = f'<symbol id="{name}" viewBox="{box}">{shapes}</symbol>'
        name, _ = self._drawn.setdefault(piece.svg, (name, symbol))
        width, height = box.split()[2:]
        words = f'role="img" aria-label="{_title(piece.words)}"' if piece.words else 'aria-hidden="true"'
        return (
            f'<svg class="idk-icon" viewBox="0 0 {width} {height}" {words} fill="none" '
            f'stroke-linejoin="round" stroke-linecap="round"><use href="#{name}"/></svg>'
        )

    def shapes(self) -> str:
        """Return the shapes that the drawings on lines use."""
        defs = "".join(symbol for _, symbol in self._drawn.values())
        hidden = 'width="0" height="0" style="position:absolute" aria-hidden="true"'
        return f"<svg {hidden}><defs>{defs}</defs></svg>\n" if defs else ""

    def _heading(self, block: doc.Heading) -> str:
        level = block.level + (1 if self.medium == PRINT else 3)
        return f"<h{level}>{self.runs(block.text)}</h{level}>"

    def _lines(self, block: doc.Lines) -> str:
        style = f' class="idk-{block.style}"' if block.style else ""
        if not block.marks:
            return "\n".join(f"<p{style}>{self.runs(item)}</p>" for item in block.items)
        items = "".join(f"<li>{self.runs(item)}</li>" for item in block.items)
        kind = "ol" if block.marks == "numbered" else "ul"
        return f"<{kind}{style}>{items}</{kind}>"

    def _table(self, block: doc.Table) -> str:
        style = f" idk-{block.style}" if block.style else ""
        caption = f"<caption>{self.runs(block.caption)}</caption>" if plain(block.caption) else ""
        shares = block.shares if self.medium == PRINT else ()
        widths = "".join(f'<col style="width:{100 * share / sum(shares):.1f}%">' for share in shares)
        widths = f"<colgroup>{widths}</colgroup>" if widths else ""
        heads = "".join(f'<th scope="col">{self.runs(head)}</th>' for head in block.heads)
        heads = f"<thead><tr>{heads}</tr></thead>" if heads else ""
        first = '<th scope="row">{}</th>' if block.row_heads else "<td>{}</td>"
        rows = "\n".join(self._row(row, first) for row in block.rows)
        return (
            f'<div class="idk-scroll"><table class="idk-grid{style}">{caption}{widths}{heads}\n'
            f"<tbody>\n{rows}\n</tbody></table></div>"
        )

    def _row(self, row: tuple[Content, ...], first: str) -> str:
        head, *cells = map(self._cell, row)
        return f"<tr>{first.format(head)}{''.join(f'<td>{cell}</td>' for cell in cells)}</tr>"

    def _cell(self, content: Content) -> str:
        pieces = parts(content, self.medium)
        return "".join(self.runs(p) if isinstance(p, tuple) else self.blocks((p,)) for p in pieces)

    def _picture(self, block: doc.Picture) -> str:
        heading = f"<figcaption>{self.runs(block.heading)}</figcaption>" if plain(block.heading) else ""
        note = f'<p class="idk-small idk-soft">{self.runs(block.note)}</p>' if plain(block.note) else ""
        kind = "idk-picture" if block.fit else "idk-scroll"
        return f'<figure class="{kind}">{heading}{block.svg}{note}</figure>'

    def _fold(self, block: doc.Fold) -> str:
        inside = self.blocks(block.blocks)
        if self.medium == PRINT:
            return f"<h2>{self.runs(block.summary)}</h2>\n{inside}"
        style = f' class="idk-{block.style}"' if block.style else ""
        summary = f"<summary>{self.runs(block.summary)}</summary>"
        return f'<details{style}>{summary}<div class="idk-open">{inside}</div></details>'

    def _columns(self, block: doc.Columns) -> str:
        items = "".join(f"<li>{self.runs(entry)}</li>" for entry in block.entries)
        return f'<ul class="idk-columns" style="columns:{block.count}">{items}</ul>'

    def _group(self, block: doc.Group) -> str:
        style = "idk-group" + " idk-across" * block.across + " idk-frame" * block.frame
        return f'<div class="{style}">{self.blocks(block.blocks)}</div>'

    def _couplets(self, block: doc.Couplets) -> str:
        one = self._couplet if self.medium == PRINT else self._couplet_on_screen
        items = "\n".join(map(one, block.couplets))
        return f'<ol class="idk-key">\n{items}\n</ol>'

    def _couplet_on_screen(self, couplet: doc.Couplet) -> str:
        leads = []
        for lead in couplet.leads:
            name = f"<strong>{couplet.number}{lead.letter}</strong>"
            head, end = ("go to", str(lead.to)) if lead.to is not None else (lead.head, "; ".join(lead.names))
            end = f'<span class="idk-end">{_text(head)}{" " * bool(head)}<strong>{_text(end)}</strong></span>'
            leads.append(f'<div class="idk-lead">{name}<span>{self.runs(lead.words)}</span>{end}</div>')
        return f"<li>{''.join(leads)}</li>"

    def _couplet(self, couplet: doc.Couplet) -> str:
        back = ", ".join(f'<a href="#c{n}">{n}</a>' for n in couplet.before)
        asked = f"{f'(from {back}) ' if back else ''}{_text(couplet.question)}"
        number = f'<span class="number">{couplet.number}</span><span class="idk-small">{asked}</span>'
        return f'<li id="c{couplet.number}">{number}{"".join(map(self._lead, couplet.leads))}</li>'

    def _lead(self, lead: doc.Lead) -> str:
        icons = "".join(map(self._icon, lead.icons))
        beside = f'<span class="icons">{icons}</span>' if icons else ""
        shown = _text("; ".join(lead.names))
        shown = f"<strong>{shown}</strong>" if len(lead.names) <= FEW else shown
        goes_on = f'<a class="number" href="#c{lead.to}">{lead.to}</a>' if lead.to is not None else ""
        end = f'<span class="dots"></span>{goes_on or shown}'
        # Several names stand below the words.
        if several := not goes_on and len(lead.names) != 1:
            small = "" if len(lead.names) <= FEW else " idk-small"
            end = f'<span class="names{small}">{_text(lead.head)} {shown}</span>'
        says = (
            f'<span class="says{"" if several else " on"}"><span>{self.runs(lead.words)}</span>{end}</span>'
        )
        plain = "" if icons else " plain"
        return f'<div class="lead{plain}"><strong>{lead.letter}</strong>{beside}{says}</div>'
