"""Claims and sources: where it stands written that a kind has this state, and how far that can be trusted."""

from __future__ import annotations

import logging
import re
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import bibtexparser

from idkey.arguments import ODD_CHARACTER, checked
from idkey.errors import one_of
from idkey.table import layout
from idkey.table.csvfile import Found, cell_problem, text_of
from idkey.table.fields import CLASSES, SCOPES
from idkey.table.schema import Cell, NotKnown, Range, States, Trait, parse_cell

SOURCES = "sources.bib"

_KEY = re.compile(r"@\w+\s*\{\s*([^\s,={}]+)")
_SHORT_NAME = re.compile(r"@string[^@]*", re.IGNORECASE)
_UNREADABLE = "not a BibTeX entry that can be read; look for a missing brace, comma or a key used twice"
_SHOWN = 60
_LOGGER = logging.getLogger("bibtexparser.splitter")
SOURCED = ("read", "secondary")
"""Classes that need a source."""
NOT_FOLLOWED = "Not followed"
"""How the note of a claim begins that the cell does not go by."""
UNSOURCED = "no source given yet"
"""Note of the claim that stands behind a cell until somebody names its source."""


@dataclass(frozen=True, slots=True)
class Source:
    """Where a claim is written: BibTeX key, author and year, the whole reference on one line, and its DOI.

    `entry` is the text in sources.bib, with the comments before it.
    """

    key: str
    short: str
    full: str
    doi: str = ""
    entry: str = ""


@checked
@dataclass(frozen=True, slots=True)
class Claim:
    """What one source says of one cell; each part is the column of evidence.csv of that name.

    A blank value stands for what the cell says; a blank class for secondary where a source is named, else for
    memory.
    """

    source: str = ""
    locator: str = ""
    evidence_class: str = ""
    scope: str = "species"
    value: str = ""
    note: str = ""

    def row(self, taxon: str, attribute: str, cell: str, *, care_group: str = "") -> dict[str, str]:
        """Return the claim as a row of evidence.csv; `cell` is the text of the cell it stands behind."""
        given = self.source or self.evidence_class or self.locator or self.value
        return {
            "taxon": taxon,
            "genus": "",
            "care_group": care_group,
            "attribute": attribute,
            "value": self.value or cell,
            "source": self.source,
            "locator": self.locator,
            "class": self.evidence_class or ("secondary" if self.source else "memory"),
            "scope": self.scope,
            "note": self.note or ("" if given else UNSOURCED),
        }

    def problems(self, sources: Collection[str]) -> Iterator[tuple[str, str]]:
        """Yield each thing that is wrong: the value, and what would be right."""
        for text in (self.source, self.locator, self.value, self.note):
            if right := cell_problem(text):
                yield text[:_SHOWN], right
        if self.evidence_class and self.evidence_class not in CLASSES:
            yield self.evidence_class, one_of(self.evidence_class, CLASSES, "an evidence class")
        if self.scope not in SCOPES:
            yield self.scope, one_of(self.scope, SCOPES, "a scope")
        if self.source and self.source not in sources:
            hint = one_of(self.source, sorted(sources), "the key of a source")
            yield self.source, f"{hint}; a new source is added first, with with_source"
        if not self.source and self.evidence_class in SOURCED:
            yield self.evidence_class, f"class {self.evidence_class} needs the key of a source"


# -- a claim beside its cell ------------------------------------------------------------------------


def claimed_cell(trait: Trait, value: str) -> Cell:
    """Read what a claim says as a cell; None where it is blank or in free words."""
    try:
        claim = parse_cell(trait, value)
    except ValueError:
        return None
    return None if isinstance(claim, NotKnown) else claim


def is_within(claim: Cell, cell: Cell) -> bool:
    """Whether a cell allows all that a claim says."""
    if isinstance(claim, States) and isinstance(cell, States):
        return set(claim.names) <= set(cell.names)
    if isinstance(claim, Range) and isinstance(cell, Range):
        return cell.low <= claim.low and claim.high <= cell.high
    return type(claim) is type(cell)


def is_covered(cell: Cell, claims: Collection[Cell]) -> bool:
    """Whether claims together say all that a cell says."""
    alike: list[Any] = [claim for claim in claims if type(claim) is type(cell)]
    if isinstance(cell, States):
        return set(cell.names) <= {name for claim in alike for name in claim.names}
    if isinstance(cell, Range) and alike:
        hull = Range(min(claim.low for claim in alike), max(claim.high for claim in alike))
        return is_within(cell, hull)
    return bool(alike)


# -- sources.bib -----------------------------------------------------------------------------------------


def parse_sources(text: str | bytes | None, found: Found) -> dict[str, Source] | None:
    """Read BibTeX or the bytes of sources.bib; None where that is no text. Problems are added to `found`.

    An entry that cannot be read is there by its key alone, so that what points to it is not reported as well.
    The texts of all entries joined are the whole text.
    """
    if not isinstance(text, str):
        text = text_of(SOURCES, text, found, layout.MOST_SOURCES_BYTES)
    if text is None:
        return None
    # A byte-order mark that was pasted along would be gone once it stands first in the file.
    text = text.replace("\ufeff", "")
    if odd := ODD_CHARACTER.search(text):
        row = str(text.count("\n", 0, odd.start()) + 1)
        found.add(SOURCES, row, "", odd.group(), "the line holds a control character; delete it")
        return None
    if right := _too_much(text):
        found.add(SOURCES, "", "", len(text), right)
        return None
    logs, _LOGGER.disabled = _LOGGER.disabled, True  # What it would log is told as a problem.
    try:
        library = bibtexparser.parse_string(text)
    except Exception as error:  # noqa: BLE001 - whatever the library trips over, the file cannot be read
        found.add(SOURCES, "", "", f"{type(error).__name__}: {error}"[:_SHOWN], _UNREADABLE)
        return None
    finally:
        _LOGGER.disabled = logs
    sources: dict[str, Source] = {}
    for block in library.failed_blocks:
        row = str(block.start_line + 1) if block.start_line is not None else ""
        first = (block.raw or "").strip().splitlines()[:1]
        found.add(SOURCES, row, "", first[0][:_SHOWN] if first else "", _UNREADABLE)
        sources.update({key: Source(key, key, key) for key in _KEY.findall(block.raw or "")})
    texts = _entry_texts(text, library)
    for entry, entry_text in zip(library.entries, texts, strict=True):
        row = str((entry.start_line or 0) + 1)
        if not entry.key:
            found.add(SOURCES, row, "", "", "the entry has no key; write it after the brace")
        long = next((f.key for f in entry.fields if len(str(f.value)) > layout.MOST_CELL), None)
        if long is not None:
            right = f"the field is longer than {layout.MOST_CELL} characters; shorten it"
            found.add(SOURCES, row, "", long[:_SHOWN], right)
            sources[entry.key] = Source(entry.key, entry.key, entry.key)
            continue
        sources[entry.key] = _source(entry, entry_text)
    return sources


def _too_much(text: str) -> str:
    """Say what is more than sources.bib may hold; blank where nothing is."""
    if text.count("@") > layout.MOST_ENTRIES:
        return f"the file has more than {layout.MOST_ENTRIES} entries (signs @)"
    if text.count("=") > layout.MOST_FIELDS:
        return f"the file has more than {layout.MOST_FIELDS} fields (signs =)"
    # A short name may stand for a long text, and so a small file for a very large one.
    if any(len(found.group()) > layout.MOST_SHORT_NAME for found in _SHORT_NAME.finditer(text)):
        return f"shorten it: at most {layout.MOST_SHORT_NAME} characters from an @string to the next entry"
    return ""


def _entry_texts(text: str, library: Any) -> list[str]:
    """Cut the text after each entry, so that what stands before an entry goes with it."""
    texts: list[str] = []
    start = end = 0
    entries = {id(entry) for entry in library.entries}
    for block in library.blocks:
        raw = block.raw or ""
        at = text.find(raw, end)
        # A block that the library did not keep as it stood goes with the entry after it.
        end = end if at < 0 else at + len(raw)
        if id(block) in entries:
            texts.append(text[start:end])
            start = end
    if texts:
        texts[-1] += text[start:]
    return texts


def _source(entry: Any, text: str) -> Source:
    fields = entry.fields_dict

    def value(name: str) -> str:
        field = fields.get(name)
        return " ".join(str(field.value).replace("{", "").replace("}", "").split()) if field else ""

    authors = [a.strip() for a in value("author").split(" and ") if a.strip()]
    surnames = [a.split(",")[0] if "," in a else a.split()[-1] for a in authors]
    who = f"{surnames[0]} et al." if len(surnames) > 2 else " & ".join(surnames) or value("title")
    short = " ".join(part for part in (who, value("year")) if part) or entry.key
    place = value("journal") or value("howpublished") or value("publisher") or value("booktitle")
    number = f"({value('number')})" if value("volume") and value("number") else ""
    where = " ".join(filter(None, (place, value("volume") + number, value("pages").replace("--", "-"))))
    doi = value("doi")
    parts = (", ".join(authors), value("year"), value("title"), where, doi and f"doi:{doi}")
    full = ". ".join(filter(None, parts))
    return Source(key=entry.key, short=short, full=full, doi=doi, entry=text)


def bibtex(sources: Iterable[Source]) -> str:
    """Return sources as the text of sources.bib: each entry as it was read."""
    text = ""
    for source in sources:
        if text and source.entry.startswith("@"):
            text += "\n" if text.endswith("\n") else "\n\n"
        text += source.entry
    return f"{text}\n" if text and not text.endswith("\n") else text
