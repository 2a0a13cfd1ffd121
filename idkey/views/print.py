"""Documents on paper, as PDF: pages are broken, tables and drawings set, by Typst.

The same document gives the same bytes: no clock is read, no font of the machine is used, and the date in the
file is that of the table. A letter that no font has is printed as a mark.
"""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterable
from dataclasses import fields, is_dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

import matplotlib
import typst

from idkey import display
from idkey.errors import IdkeyError, one_of
from idkey.table.onefile import check_free, write_whole
from idkey.views import doc, html
from idkey.views.words import MADE_WITH, cut

PAPERS = {"A4": "a4", "Letter": "us-letter"}
"""Paper sizes, A4 of ISO 216 and Letter of ANSI Y14.1, as Typst calls them."""
POCKETS = {f"{paper} pocket": paper for paper in PAPERS}
"""Sheets to be folded in four, and the paper of each; a key alone is set so."""

_A_PAGE = 2400
"""Letters over the width of a page that surely fit on it: what has fewer is kept whole."""
_FOOT = 100
_LONG_WORD, _UP_TO_TEN = re.compile(r"\S{25,}"), re.compile(r".{1,10}")
_VIEW_BOX = re.compile(r'viewBox="\S+ \S+ (\S+) ([^"\s]+)"')
_TITLE = re.compile(r"<(title|desc)>.*?</\1>", re.DOTALL)


def pdf(document: doc.Document, paper: str = "A4") -> bytes:
    """Return a document as a PDF file on A4 or Letter, a key on either folded in four as well."""
    setter = _Setter(document.blocks)
    title, stamp, day = doc.one_line(document.title), doc.clean(document.stamp), document.day
    foot = cut(title, max(20, _FOOT - len(stamp)))
    data = {
        "title": title,
        "author": MADE_WITH,
        "day": [day.year, day.month, day.day] if day else None,
        "paper": PAPERS[POCKETS.get(paper, paper)],
        "pocket": paper in POCKETS,
        "foot": f"{foot}  |  {stamp}" if stamp else foot,
        "few": html.FEW,
        "titled": doc.PRINT in document.titled,
        "blocks": setter.blocks,
        "drawings": [_TITLE.sub("", svg) for svg in setter.drawings],  # a title is said by the words
    }
    template = (files("idkey.views") / "print.typ").read_bytes()
    return typst.compile(template, font_paths=_fonts(), format="pdf", sys_inputs={"data": json.dumps(data)})


@cache
def _fonts() -> typst.Fonts:
    folder = str(Path(matplotlib.get_data_path()) / "fonts" / "ttf")
    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=[folder])


class _Setter:
    """Turns blocks into plain data for the typesetter; a drawing goes in once, however often it is shown."""

    def __init__(self, blocks: Iterable[doc.Block]):
        self.drawings: dict[str, int] = {}
        picked = tuple(doc.pick(blocks, doc.PRINT))
        self._places = {f"#c{c.number}" for b in picked if isinstance(b, doc.Couplets) for c in b.couplets}
        self.blocks = self._data(picked)

    def _data(self, thing: Any) -> Any:
        """Return a string, a number, a tuple or a part of a document as plain data."""
        if isinstance(thing, str):  # in a long word there are places at which a line may end
            return _LONG_WORD.sub(lambda word: "\u200b".join(_UP_TO_TEN.findall(word[0])), doc.clean(thing))
        if isinstance(thing, tuple):
            return [self._data(part) for part in doc.pick(thing, doc.PRINT)]
        if not is_dataclass(thing):
            return thing
        if isinstance(thing, doc.Link) and thing.to.startswith("#") and thing.to not in self._places:
            return self._data(thing.text)
        made = {f.name: self._data(getattr(thing, f.name)) for f in fields(thing) if f.name != "svg"}
        made |= {"is": type(thing).__name__, "block": isinstance(thing, doc.Block)}
        if isinstance(thing, doc.Link):
            made["to"] = thing.to
        elif isinstance(thing, doc.Icon | doc.Picture | doc.Card):
            made["svg"] = self.drawings.setdefault(thing.svg, len(self.drawings))
        elif isinstance(thing, doc.Couplet | doc.Group):
            made["whole"] = _letters(thing) < _A_PAGE / 2
        if isinstance(thing, doc.Picture):
            width, height = map(float, _VIEW_BOX.search(thing.svg).groups())
            made["width"] = thing.tallest * width / height
        return made | self._table(thing) if isinstance(thing, doc.Table) else made

    def _table(self, table: doc.Table) -> dict[str, Any]:
        """Return the widths of the columns, and the rows, each kept whole unless it is very tall."""
        count = max([len(table.heads), *map(len, table.rows)])
        shares = table.shares or (1.0,) * count
        room, rows = _A_PAGE / sum(shares), []
        for row in table.rows:
            filled = (*row, *[""] * (count - len(row)))
            whole = all(_letters(cell) < room * share for cell, share in zip(filled, shares, strict=True))
            cells = [self._data(cell if isinstance(cell, tuple) else (cell,)) for cell in filled]
            rows.append({"cells": cells, "whole": whole})
        return {"shares": shares, "rows": rows}


def _letters(thing: Any) -> int:
    """Return how many letters a part of a document holds, about."""
    if isinstance(thing, str):
        return len(thing)
    if isinstance(thing, tuple):
        return sum(map(_letters, thing))
    if isinstance(thing, doc.Icon | doc.Picture):
        return 60
    return _letters(tuple(getattr(thing, f.name) for f in fields(thing))) if is_dataclass(thing) else 0


def save(
    thing: Any, path: str | os.PathLike[str], paper: str = "A4", overwrite: bool = False, **options: Any
) -> None:
    """Print an object to a file, whole or not at all; `options` are for what makes its document.

    Parameters and errors are those of `idkey.display.Printed.save`.
    """
    place = Path(path)
    ending = place.suffix.lower()
    if ending not in (".html", ".pdf"):
        raise IdkeyError(f"save: {os.fspath(path)!r}: let the file's name end in .html or .pdf")
    if paper not in (papers := (*PAPERS, *POCKETS)):
        raise IdkeyError(f"paper {paper!r}: {one_of(paper, papers, 'one of')}")
    check_free(place, overwrite)
    document = display.document(thing, **options)
    if paper in POCKETS and not (
        ending == ".pdf" and any(isinstance(b, doc.Couplets) for b in document.blocks)
    ):
        raise IdkeyError(
            f"paper {paper!r}: only a key with a question in it is folded, and as a PDF; "
            f"say paper={POCKETS[paper]!r} for all else"
        )
    made = pdf(document, paper) if ending == ".pdf" else html.printed(document, paper).encode("utf-8")
    write_whole(place, lambda file: file.write(made), overwrite)
