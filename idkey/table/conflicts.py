"""Conflict: one place where the shipped table and a keeper's own additions say different things."""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from typing import Any

from idkey.table.csvfile import Row
from idkey.table.own import CHANGES, ID, TwoMeanings

__all__ = ["Aside", "Conflict", "Conflicts"]

Aside = tuple[str, tuple[tuple[str, str], ...]]
"""A row of the keeper's that is set aside: its file, and its cells by column."""

_BOTH = ("shipped", "own")
_UNTIL = "until you settle it"
_WHAT = {"trait": "a trait", "source": "a source", "care": "a care group"}


@dataclass(frozen=True, slots=True)
class Conflict:
    """One place where the shipped table and the keeper's own additions say different things.

    Attributes
    ----------
    id : str
        Names the conflict, for `idkey.table.overlay.settle`; the same as long as it is open.
    kind : {"cell", "taxon", "trait", "source", "care", "gone"}
        Both changed a cell; both have a kind, a trait, a source or a row of care under one name; or what the
        keeper's row leans on is gone from the shipped table.
    taxon, column : str
        Where it is; blank where it is not about a kind, or not about one column.
    before, shipped, own : str
        What the shipped table said when the keeper wrote, what it says now, and what the keeper wrote.
    text : str
        What happened and what counts meanwhile, in one sentence.
    choices : tuple of str
        What can be kept: "shipped", "own".
    aside : tuple of Aside
        The keeper's rows that are not in the table meanwhile; a save writes them back as they were.
    stated : str
        What overlay.json has to state while this is open, as JSON.
    """

    id: str
    kind: str
    taxon: str
    column: str
    before: str
    shipped: str
    own: str
    text: str
    choices: tuple[str, ...] = _BOTH
    aside: tuple[Aside, ...] = ()
    stated: str = ""

    def __repr__(self) -> str:
        return f"{self.id}: {self.text}"


class Conflicts:
    """The conflicts met while an own table is laid over the shipped one.

    Parameters
    ----------
    since : mapping
        By which shipped table the keeper wrote, as overlay.json states it.
    """

    def __init__(self, since: Mapping[str, Any]):
        self._since = json.dumps(dict(since))
        self._found: dict[str, Conflict] = {}

    def found(self) -> tuple[Conflict, ...]:
        """Return all of them, in the order in which they were met."""
        return tuple(self._found.values())

    def _add(self, conflict: Conflict) -> None:
        self._found[conflict.id] = conflict

    def two_meanings(self, both: TwoMeanings) -> None:
        """The shipped table now uses a name of the keeper's for something else."""
        text = (
            f"The shipped table now has {_WHAT[both.kind]} {both.was!r} too, and not the same as yours; "
            f"yours goes by {both.now!r} {_UNTIL}."
        )
        stated = json.dumps({"renamed": [[both.kind, both.now, both.was]]})
        where = f"{both.kind}:{both.now}"
        self._add(Conflict(where, both.kind, "", both.was, "", both.shipped, both.own, text, stated=stated))

    def same_kind(self, own: Row, shipped: Row) -> None:
        """The shipped table now has a kind of the same id as one of the keeper's."""
        theirs, mine = called(shipped), called(own)
        text = (
            f"The shipped table now has a kind {own[ID]!r} ({theirs}) too; your row ({mine}) counts {_UNTIL}."
        )
        self._add(Conflict(f"taxon:{own[ID]}", "taxon", own[ID], ID, "", theirs, mine, text))

    def same_code(self, own: Row, shipped: Row, code: str) -> None:
        """The shipped table has a kind of another id under the trade code of one of the keeper's."""
        text = (
            f"The shipped table has {called(shipped)} under the trade code {code} of your {called(own)}: "
            f"the same fish? Both count {_UNTIL}."
        )
        where = f"taxon:{own[ID]}={shipped[ID]}"
        self._add(Conflict(where, "taxon", own[ID], "tradeCode", "", shipped[ID], own[ID], text))

    def cell(self, kind: Row, change: Row, now: str) -> None:
        """Both changed one cell."""
        column, before, own = change["column"], change["shipped"], change["own"]
        text = (
            f"{called(kind)}, {column}: you wrote {_shown(own)} where the shipped table said "
            f"{_shown(before)}; it now says {_shown(now)}, and yours counts {_UNTIL}."
        )
        where = f"cell:{kind[ID]}:{column}"
        self._add(Conflict(where, "cell", kind[ID], column, before, now, own, text))

    def care(self, own: Row, shipped: Row) -> None:
        """Both have a row of care on one kind."""
        taxon = own["taxon"]
        text = f"The shipped table now has a row of care on {taxon!r} too; yours counts {_UNTIL}."
        theirs, mine = (
            "; ".join(f"{c}: {t}" for c, t in row.values.items() if t and c not in ("care_group", "taxon"))
            for row in (shipped, own)
        )
        self._add(Conflict(f"care:{taxon}", "care", taxon, "", "", theirs, mine, text, ("shipped",)))

    def gone(self, row: Row, column: str, why: str, cells: Collection[str] = ()) -> None:
        """Set a row of the keeper's aside, or of it only some cells: those that name it, and the cell."""
        where = f"gone:{row.who}:{column}"
        kept = (row.file, tuple((c, t) for c, t in row.values.items() if not cells or c in cells))
        known = self._found.get(where)
        if known is not None:
            self._add(replace(known, aside=(*known.aside, kept)))
            return
        before = row.values["shipped"] if row.file == CHANGES else ""
        own = row.values.get("own") or row.values.get(column) or row.values.get("value", "")
        place = ", ".join(part for part in (row.who, column) if part)
        text = (
            f"{place}: what you wrote ({_shown(own)}) is set aside, for in the shipped table of today {why}."
        )
        taxon = row.values.get("taxon", row.who if row.file == "taxa.csv" else "")
        self._add(
            Conflict(where, "gone", taxon, column, before, "", own, text, ("shipped",), (kept,), self._since)
        )


def called(row: Row) -> str:
    """Return the name of a kind, with its trade codes."""
    codes = row["tradeCode"].replace("|", ", ")
    return f"{row['scientificName']} ({codes})" if codes else row["scientificName"]


def _shown(text: str) -> str:
    return repr(text) if text else "nothing"
