"""sources.bib -> Source objects, through a BibTeX library."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import bibtexparser

from idkey.errors import Problem
from idkey.table.table import Source

__all__ = ["read_sources"]

_KEY = re.compile(r"@\w+\s*\{\s*([^\s,={}]+)")


def read_sources(path: Path, found: list[Problem]) -> dict[str, Source] | None:
    """Read a BibTeX file; problems are added to `found`.

    Returns
    -------
    dict of str to Source, or None
        None where there is no text to read. An entry that cannot be read is there by its key alone, so
        that what points to it is not reported as well.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        found.append(Problem(path.name, "", "", path.parent.name, "the file is missing from this folder"))
        return None
    except (OSError, UnicodeDecodeError) as error:
        found.append(
            Problem(path.name, "", "", path.parent.name, f"the file cannot be read as UTF-8 ({error})")
        )
        return None
    library = bibtexparser.parse_string(text)
    sources: dict[str, Source] = {}
    for block in library.failed_blocks:
        row = str(block.start_line + 1) if block.start_line is not None else ""
        first = (block.raw or "").strip().splitlines()[:1]
        right = "not a BibTeX entry that can be read; look for a missing brace, comma or a key used twice"
        found.append(Problem(path.name, row, "", first[0] if first else "", right))
        sources.update({key: Source(key, key, key) for key in _KEY.findall(block.raw or "")})
    for entry in library.entries:
        if not entry.key:
            row = str((entry.start_line or 0) + 1)
            found.append(Problem(path.name, row, "", "", "the entry has no key; write it after the brace"))
        sources[entry.key] = _source(entry)
    return sources


def _source(entry: Any) -> Source:
    def value(name: str) -> str:
        field = entry.fields_dict.get(name)
        return " ".join(str(field.value).replace("{", "").replace("}", "").split()) if field else ""

    authors = [a.strip() for a in value("author").split(" and ") if a.strip()]
    surnames = [a.split(",")[0] if "," in a else a.split()[-1] for a in authors]
    if len(surnames) > 2:
        who = f"{surnames[0]} et al."
    elif surnames:
        who = " & ".join(surnames)
    else:
        who = value("title")
    short = " ".join(part for part in (who, value("year")) if part) or entry.key
    place = [value("journal") or value("howpublished") or value("publisher") or value("booktitle")]
    if value("volume"):
        place.append(value("volume") + (f"({value('number')})" if value("number") else ""))
    if value("pages"):
        place.append(value("pages").replace("--", "-"))
    doi = value("doi")
    parts = [
        ", ".join(authors),
        value("year"),
        value("title"),
        " ".join(p for p in place if p),
        doi and f"doi:{doi}",
    ]
    return Source(key=entry.key, short=short, full=". ".join(p for p in parts if p), doi=doi)
