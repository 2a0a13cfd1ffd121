"""Ids of kinds and traits: what they look like, and how one is made of words."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Collection

from idkey.table.layout import MOST_NAME

__all__ = ["free_id", "id_of", "is_id"]

_ID = re.compile(r"[a-z][a-z0-9_]*\Z")
_NOT_IN_ID = re.compile(r"[^a-z0-9]+")
_ROOM = 10
"""Characters that are left for a number behind an id."""


def is_id(text: str) -> bool:
    """Whether a text can be the id of a trait or of a taxon."""
    return len(text) <= MOST_NAME and _ID.match(text) is not None


def id_of(words: str) -> str:
    """Return words as an id: lower-case letters, digits and _.

    Examples
    --------
    >>> id_of("Tail: rear edge"), id_of("2 stripes")
    ('tail_rear_edge', 'n2_stripes')
    """
    plain = unicodedata.normalize("NFKD", words.casefold()).encode("ascii", "ignore").decode()
    found = _NOT_IN_ID.sub("_", plain).strip("_")
    found = found if not found or found[0].isalpha() else f"n{found}"
    return found[: MOST_NAME - _ROOM].rstrip("_")


def free_id(wanted: str, taken: Collection[str]) -> str:
    """Return an id that is not in use: the one wanted, or that with a number behind it."""
    found, number = wanted, 2
    while found in taken:
        found, number = f"{wanted}_{number}", number + 1
    return found
