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
from idkey.views.doc import PRINT, SCREEN, Block, Content, Document, Runs, clean, one_line, pick, plain

FEW = 3
"""So many names at one end of a key are set in bold; more are set small."""
_UNSAFE = re.compile(r"[^A-Za-z0-9 .,]")
_SIZES = {"A4": "A4", "Letter": "letter"}
_HIDDEN = 'width="0" height="0" style="position:absolute" aria-hidden="true"'
SVG = re.compile(r'<svg\b[^>]*viewBox="([^"]*)"[^>]*>(?:<title>.*?</title>)?(.*)</svg>', re.DOTALL)


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
    return _Writer(SCREEN).write(some)


def status(words: Runs, style: str = "", more: Runs = "") -> str:
    """Return a line that a screen reader says when it changes, and what is said after it."""
    if plain(more):
        return f'<div role="status"><p{_class(style)}>{runs(words)}</p><p>{runs(more)}</p></div>'
    return f'<p{_class(style)} role="status">{runs(words)}</p>'


def held(name: str, shapes: str, more: Iterable[Block]) -> str:
    """Return what a screen shows again and again, to be in its page once, out of sight.

    ``<use href="#name">`` draws the shapes; the blocks stand where `doc.Held` is, once that is opened.
    """
    drawn = f'<svg {_HIDDEN}><g id="{name}">{shapes}</g></svg>'
    return f'{drawn}<template id="{name}-more">{blocks(more)}</template>'


def printed(document: Document, paper: str = "A4") -> str:
    """Return a document as one file of HTML to be printed: black on white, page rules inside, no script."""
    writer, title, stamp = _Writer(PRINT), _text(one_line(document.title)), document.stamp
    body = (f"<h1>{title}</h1>\n" if PRINT in document.titled else "") + writer.blocks(document.blocks)
    # In a style sheet every character that could end the text is written as its number.
    words = clean(f"{document.title}  |  {stamp}" if stamp else document.title)
    foot = _UNSAFE.sub(lambda m: f"\\{ord(m[0]):x} ", words)
    rules = {"style": _file("print.css"), "size": _SIZES[paper], "foot": foot}
    parts = {"title": title, "shapes": writer.shapes(), "body": body, "stamp": _text(stamp)}
    return Template(_file("print.html")).substitute(rules | parts)


def _text(text: object) -> str:
    return escape(clean(text)).replace("\n", "<br>")


def _class(style: str) -> str:
    return f' class="idk-{style}"' if style else ""


class _Writer:
    """Writes blocks for one place; on paper a small drawing is put into the document once."""

    def __init__(self, medium: str):
        self._medium, self._on_paper = medium, medium == PRINT
        self._drawn: dict[str, tuple[str, str]] = {}

    def blocks(self, some: Iterable[Block]) -> str:
        return "\n".join(map(self.write, pick(some, self._medium)))

    def write(self, thing: Content) -> str:
        """Return words on a line, a block, or several of these in a row as HTML."""
        write, on_paper = self.write, self._on_paper
        match thing:
            case str():
                return _text(thing)
            case tuple():
                return "".join(map(write, pick(thing, self._medium)))
            case doc.On():
                return write((thing,))
            case doc.Strong(text):
                return f"<strong>{_text(text)}</strong>"
            case doc.Code(text):
                return f"<code>{_text(text)}</code>"
            case doc.Soft(text):
                return f'<span class="idk-soft">{_text(text)}</span>'
            case doc.Tag(text, style):
                return f'<span class="idk-tag idk-tag-{style}">{_text(text)}</span>'
            case doc.Link(text, to) if to.startswith("#"):
                return f'<a href="{escape(to)}">{_text(text)}</a>'
            case doc.Link(text, to) if urlsplit(to).scheme in ("http", "https"):
                return f'<a href="{escape(to)}" target="_blank" rel="noopener noreferrer">{_text(text)}</a>'
            case doc.Link(text):
                return _text(text)
            case doc.Bar():
                return _bar(thing)
            case doc.Icon():
                return self._icon(thing)
            case doc.Heading(text, level):
                level += 1 if on_paper else 3
                return f"<h{level}>{write(text)}</h{level}>"
            case doc.Lines(items, "", style):
                return "\n".join(f"<p{_class(style)}>{write(item)}</p>" for item in items)
            case doc.Lines(items, marks, style):
                kind, texts = "ol" if marks == "numbered" else "ul", [f"<li>{write(i)}</li>" for i in items]
                return f"<{kind}{_class(style)}>{''.join(texts)}</{kind}>"
            case doc.Table():
                return self._table(thing)
            case doc.Picture():
                heading = f"<figcaption>{write(thing.heading)}</figcaption>" if plain(thing.heading) else ""
                note = f'<p class="idk-small idk-soft">{write(thing.note)}</p>' if plain(thing.note) else ""
                kind = "picture" if thing.fit else "scroll"
                return f"<figure{_class(kind)}>{heading}{thing.svg}{note}</figure>"
            case doc.Fold(summary, inside) if on_paper:
                return f"<h2>{write(summary)}</h2>\n{self.blocks(inside)}"
            case doc.Fold(summary, inside, style):
                opened = f'<div class="idk-open">{self.blocks(inside)}</div>'
                return f"<details{_class(style)}><summary>{write(summary)}</summary>{opened}</details>"
            case doc.Held(name):
                return f'<div data-idk-from="{name}"></div>'
            case doc.Columns(entries, count):
                texts = "".join(f"<li>{write(entry)}</li>" for entry in entries)
                return f'<ul class="idk-columns" style="columns:{count}">{texts}</ul>'
            case doc.Group(inside, across, frame):
                kind = "group" + " idk-across" * across + " idk-frame" * frame
                return f"<div{_class(kind)}>{self.blocks(inside)}</div>"
            case doc.Cards(cards):
                return f'<div class="idk-cards">{"".join(map(self._card, cards))}</div>'
            case doc.Couplets(couplets):
                items = "\n".join(map(self._couplet if on_paper else _couplet_on_screen, couplets))
                return f'<ol class="idk-key">\n{items}\n</ol>'
        raise TypeError(thing)

    def _card(self, card: doc.Card) -> str:
        code = f'<span role="img" aria-label="{_text(one_line(card.words))}">{card.svg}</span>'
        left = f'<div class="idk-code">{code}{self.blocks(card.below)}</div>'
        return f'<div class="idk-card">{left}<div>{self.blocks(card.blocks)}</div></div>'

    def _icon(self, piece: doc.Icon) -> str:
        match = None if self._medium == SCREEN else SVG.fullmatch(piece.svg.strip())
        if match is None:
            return f'<span class="idk-icon">{piece.svg}</span>'
        box, shapes = match.groups()
        name = f"i{len(self._drawn)}"
        symbol = f'<symbol id="{name}" viewBox="{box}">{shapes}</symbol>'
        name, _ = self._drawn.setdefault(piece.svg, (name, symbol))
        width, height = box.split()[2:]
        words = (
            f'role="img" aria-label="{_text(one_line(piece.words))}"' if piece.words else 'aria-hidden="true"'
        )
        return (
            f'<svg class="idk-icon" viewBox="0 0 {width} {height}" {words} fill="none" '
            f'stroke-linejoin="round" stroke-linecap="round"><use href="#{name}"/></svg>'
        )

    def shapes(self) -> str:
        """Return the shapes that the drawings on lines use."""
        defs = "".join(symbol for _, symbol in self._drawn.values())
        return f"<svg {_HIDDEN}><defs>{defs}</defs></svg>\n" if defs else ""

    def _table(self, block: doc.Table) -> str:
        write, style = self.write, f" idk-{block.style}" if block.style else ""
        caption = f"<caption>{write(block.caption)}</caption>" if plain(block.caption) else ""
        shares = block.shares if self._on_paper else ()
        widths = "".join(f'<col style="width:{100 * share / sum(shares):.1f}%">' for share in shares)
        widths = f"<colgroup>{widths}</colgroup>" if widths else ""
        heads = "".join(f'<th scope="col">{write(head)}</th>' for head in block.heads)
        heads = f"<thead><tr>{heads}</tr></thead>" if heads else ""
        first, end = ('<th scope="row">', "</th>") if block.row_heads else ("<td>", "</td>")
        # Where there is no room for columns a cell stands under the one before it, and says what it is.
        narrow = (
            [] if self._on_paper else [f' data-head="{_text(one_line(plain(h)))}"' for h in block.heads[1:]]
        )
        rows = []
        for head, *cells in block.rows:
            beside = narrow or [""] * len(cells)
            rest = "".join(f"<td{head}>{write(cell)}</td>" for head, cell in zip(beside, cells, strict=False))
            rows.append(f"<tr>{first}{write(head)}{end}{rest}</tr>\n")
        return (
            f'<div class="idk-scroll"><table class="idk-grid{style}">{caption}{widths}{heads}\n'
            f"<tbody>\n{''.join(rows)}</tbody></table></div>"
        )

    def _couplet(self, couplet: doc.Couplet) -> str:
        back = ", ".join(f'<a href="#c{n}">{n}</a>' for n in couplet.before)
        asked = f"{_text(couplet.question)}{f' (from {back})' if back else ''}"
        number = f'<span class="number">{couplet.number}</span><span class="idk-small">{asked}</span>'
        return f'<li id="c{couplet.number}">{number}{"".join(map(self._lead, couplet.leads))}</li>'

    def _lead(self, lead: doc.Lead) -> str:
        icons, names = "".join(map(self._icon, lead.icons)), _text("; ".join(lead.names))
        beside = f'<span class="icons">{icons}</span>' if icons else ""
        names = f"<strong>{names}</strong>" if len(lead.names) <= FEW else names
        if len(lead.names) > 1:
            names = f'<span class="idk-small">{_text(lead.head)} {names}</span>'
        says = f'<span class="says"><span>{self.write(lead.words)}</span>{names * bool(lead.names)}</span>'
        goes_on = f'<a class="number" href="#c{lead.to}">{lead.to}</a>' if lead.to is not None else ""
        end = goes_on or "".join(map(self._icon, lead.shows))
        kind = "lead" if icons else "lead plain"
        return f'<div class="{kind}"><strong>{lead.letter}</strong>{beside}{says}{end}</div>'


def _bar(piece: doc.Bar) -> str:
    filled = f'<span style="width:{piece.share * 100:.1f}%"></span>'
    bar = f'<span class="idk-bar" aria-hidden="true">{filled}</span>'
    if not piece.label:
        return f"{_text(piece.figure)}{bar}"
    figure = f'<span class="idk-share">{_text(piece.figure)}</span>'
    return f'<span class="idk-name-row">{figure}{bar}<span>{_text(piece.label)}</span></span>'


def _couplet_on_screen(couplet: doc.Couplet) -> str:
    leads = []
    for lead in couplet.leads:
        name = f"<strong>{couplet.number}{lead.letter}</strong>"
        head, end = ("go to", str(lead.to)) if lead.to is not None else (lead.head, "; ".join(lead.names))
        end = f'<span class="idk-end">{_text(head)}{" " * bool(head)}<strong>{_text(end)}</strong></span>'
        leads.append(f'<div class="idk-lead">{name}<span>{runs(lead.words)}</span>{end}</div>')
    return f"<li>{''.join(leads)}</li>"
