"""The one file: a page, its style and code, and a table as data, under a policy that forbids any request."""

from __future__ import annotations

import base64
import hashlib
import json
import os
from importlib.resources import files
from pathlib import Path
from string import Template
from typing import Any

from idkey.arguments import checked
from idkey.errors import IdkeyError
from idkey.phone.compiled import compiled
from idkey.phone.shown import opened, shown
from idkey.table.onefile import check_free, write_whole
from idkey.table.table import TraitTable
from idkey.views.doc import Heading
from idkey.views.html import blocks, runs
from idkey.views.words import CAUTIONS, stamp

_ROOM = files("idkey.phone")


@checked
def pocket(table: TraitTable, path: str | os.PathLike[str], *, overwrite: bool = False) -> None:
    """Write the whole key into one HTML file that a phone opens without a network.

    Parameters
    ----------
    table : TraitTable
        The whole of it, or the kinds you keep: ``table.only(kept)``.
    path : str or pathlib.Path
        Ends in .html. A file that is there already is replaced with `overwrite` alone.

    Raises
    ------
    IdkeyError
        For another ending, such a file, and a place that cannot be written to.
    """
    place = Path(path)
    if place.suffix.lower() != ".html":
        raise IdkeyError(f"pocket: {os.fspath(path)!r}: let the file's name end in .html")
    check_free(place, overwrite)
    made = page(table).encode("utf-8")
    write_whole(place, lambda file: file.write(made), overwrite)


def page(table: TraitTable) -> str:
    """Return the text of the file."""
    style, script = _text("page.css"), "\n".join(map(_text, ("model.js", "words.js", "page.js")))
    allowed = f"default-src 'none'; base-uri 'none'; form-action 'none'; script-src {_digest(script)}"
    return Template(_text("page.html")).substitute(
        policy=f"{allowed}; style-src {_digest(style)}",
        style=style,
        script=script,
        stamp=runs(stamp(table)),
        cautions=blocks((Heading(CAUTIONS[0].text, 0), *CAUTIONS[1:])),
        model=_json(compiled(table) | shown(table)),
        more=_json(opened(table)),
    )


def _text(name: str) -> str:
    return (_ROOM / name).read_text(encoding="utf-8")


def _digest(text: str) -> str:
    """Return the one text that the policy lets in, by its SHA-256."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def _json(data: Any) -> str:
    """Return data as JSON that can end no script; what is no letter of its own stands as an escape."""
    text = json.dumps(data, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
