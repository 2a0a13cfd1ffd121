"""A trait table as it was when a look was judged by it: kept in the book, and read back."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping

from idkey.book.records import Edition
from idkey.errors import Problem, TableError
from idkey.model.combine import kept
from idkey.table.csvfile import Found
from idkey.table.disk import digests
from idkey.table.files import files_of, packed, parts_from, table_from, unpacked
from idkey.table.table import TraitTable

_DAMAGED = "the table that looks were judged by can't be read; go back to a copy of the book"


@kept
def _state(table: TraitTable) -> tuple[str, bytes]:
    files = files_of(table)
    return _id(files), packed(files)


def _id(files: Mapping[str, bytes]) -> str:
    return hashlib.sha256(json.dumps(digests(files), sort_keys=True).encode()).hexdigest()


def edition_id(table: TraitTable) -> str:
    """Return what a table is known by in a book, the SHA-256 of its files. Raises IdkeyError."""
    return _state(table)[0]


def edition_of(table: TraitTable) -> Edition:
    """Return the record of a table as it stands."""
    name, content = _state(table)
    return Edition(id=name, name=table.name, version=table.version, date=table.date, content=content)


def table_of(edition: Edition) -> TraitTable:
    """Return the table of a record. Raises TableError where it can't be read."""
    found, place = Found(edition.name), f"edition {edition.id[:12]}"
    files = unpacked(edition.content, place, _DAMAGED)
    if _id(files) != edition.id:
        raise TableError([Problem(place, "", "", edition.id[:12], _DAMAGED)])
    return table_from(parts_from(files, found), edition.name, found)
