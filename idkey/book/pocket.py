"""Fish kept in the file on a phone: the text that it hands over, read."""

from __future__ import annotations

import datetime as dt
import json
import uuid
import warnings
from collections.abc import Callable
from typing import Any, NamedTuple

from idkey.book.editions import edition_id
from idkey.book.entries import id_of
from idkey.errors import IdkeyError, TableWarning
from idkey.model.identify import Identification
from idkey.table.schema import LIFE_STAGE
from idkey.table.table import TraitTable

_RIGHT = "give the text of the fish kept, as the file on the phone hands it over"


class Seen(NamedTuple):
    """A fish that was kept on a phone; `label` is what was written on its bag."""

    fish: Identification
    fish_id: uuid.UUID
    at: dt.datetime
    tag: str
    label: str
    tank: str


def seen_in(text: str, table: TraitTable, edition_of: Callable[[str], TraitTable]) -> list[Seen]:
    """Return the fish in a text, in its order.

    `edition_of` gives a table by its id, or raises IdkeyError; then `table` stands in, with a TableWarning.
    Raises IdkeyError that names the fish and what is wrong with it.
    """

    def table_of(edition: str) -> TraitTable:
        if edition == edition_id(table):
            return table
        try:
            return edition_of(edition)
        except IdkeyError:
            said = f"pocket: made from another table than {table.name!r}, which judges its fish now"
            warnings.warn(said, TableWarning, stacklevel=5)
            return table

    try:
        data = json.loads(text.strip().removeprefix("\ufeff"))
        rows = data["fish"] if data["idkey pocket"] == 1 else None
    except (ValueError, LookupError, TypeError, RecursionError):
        rows = None
    if not isinstance(rows, list):
        raise IdkeyError(f"pocket: {text[:40]!r}: {_RIGHT}")
    found = []
    for number, row in enumerate(rows, start=1):
        try:
            found.append(_seen(row, table_of))
        except IdkeyError as error:
            raise IdkeyError(f"pocket, fish {number}: {error}") from None
        except (ValueError, LookupError, TypeError, AttributeError, OverflowError):
            raise IdkeyError(f"pocket, fish {number}: {str(row)[:40]!r}: {_RIGHT}") from None
    return found


def _seen(row: dict[str, Any], table_of: Callable[[str], TraitTable]) -> Seen:
    fish = Identification(table_of(str(row["edition"])), prior=list(row["named"]) or "commonness")
    for trait, answer in {**row["answers"], **dict.fromkeys(row["unseen"])}.items():
        fish.answer(trait, answer)
    if row["stage"]:
        fish.answer(LIFE_STAGE, row["stage"])
    at = dt.datetime.fromisoformat(row["at"])
    if at.tzinfo is None:
        raise IdkeyError(f"at: {row['at']!r}: a time has its zone, as 2026-05-31T12:00:00+02:00")
    return Seen(fish, id_of(row["id"]), at, row["tag"], row["bag"], row["tank"])
