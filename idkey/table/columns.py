"""What the columns of a keeper's sheet mean: names, the words people use for them, units in the header."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from idkey.errors import one_of
from idkey.table.layout import MOST_NAME
from idkey.table.units import UNIT

_UNIT_IN_HEADER = re.compile(
    rf"\s*[(\[](?:in )?({UNIT})[)\]]\s*\Z|[\s_](?:in )?(mm|cm|inch(?:es)?)\s*\Z", re.IGNORECASE
)


@dataclass(frozen=True, slots=True)
class ColumnRead:
    """How a column of a spreadsheet was read.

    `meaning` is the column of the table; ``source`` or ``locator``, or that after the column it is for; blank
    where the column was not taken. `text` is what it was read as, or why it was not taken.
    """

    name: str
    meaning: str
    text: str
    at: int
    unit: str = ""


class ColumnNames:
    """The words that columns go by, each with the column it means; the first of `words` for a column counts.

    `shown` are the names that a message offers; a header must hold one of those `needed`.
    """

    def __init__(
        self,
        columns: Iterable[str],
        words: Iterable[tuple[str, str]],
        shown: Iterable[str],
        needed: Collection[str],
    ):
        self.columns = dict.fromkeys(columns)
        self.shown, self._needed = [*dict.fromkeys(shown)], needed
        self.words: dict[str, tuple[int, str]] = {}
        for column, word in words:
            self.words.setdefault(_letters(word), (len(self.words), column))
        self.words.pop("", None)

    def meaning(self, name: str) -> tuple[int, str, str]:
        """Return how far from its id a column is named, the column, and the unit in its name if not mm."""
        if name in self.columns:
            return -1, name, ""
        rank, column = self.words.get(_letters(name), (0, ""))
        unit = _UNIT_IN_HEADER.search(name) if not column and len(name) <= MOST_NAME else None
        if unit is None:
            return rank, column, ""
        rank, column = self.words.get(_letters(name[: unit.start()]), (0, ""))
        return rank, column, unit[unit.lastindex].lower().replace("mm", "")

    def known(self, header: Sequence[str]) -> int:
        """Return how many cells are names of columns; 0 where none of those needed is there."""
        columns = {column for _, column, _ in map(self.meaning, header) if column}
        return len(columns) if not columns.isdisjoint(self._needed) else 0

    def read(self, header: Sequence[str], filled: Collection[int]) -> tuple[ColumnRead, ...]:
        """Read a header that has cells below these places; of columns that mean the same one is taken."""
        meanings = [self.meaning(name) for name in header]
        taken: dict[str, int] = {}
        for at in sorted(range(len(header)), key=lambda at: meanings[at][0]):
            taken.setdefault(meanings[at][1], at)
        columns = []
        for at, (name, (_, meaning, unit)) in enumerate(zip(header, meanings, strict=True)):
            first = taken[meaning]
            text = "" if meaning == name else f"read as {meaning}"
            text += f", numbers in {unit}" if unit else ""
            if not name:
                text = "the header cell is blank; name the column"
            elif not meaning:
                text = one_of(name, self.shown, "a column")
            elif first != at:
                text = f"means the same as {header[first]!r}, which was taken; keep one of the two"
            if name or at in filled:
                read = ColumnRead(name or f"column {at + 1}", meaning if first == at else "", text, at, unit)
                columns.append(read)
        return tuple(columns)


def _letters(name: str) -> str:
    return "".join(c for c in name.casefold() if c.isalnum())
