"""Columns and cells as people write them in a spreadsheet -> columns and cell text of a trait table.

Whatever is not the table's own syntax is turned into it only where it can mean one thing, and said.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from idkey.errors import one_of
from idkey.table.schema import YOUNG

if TYPE_CHECKING:
    from idkey.table.table import TraitTable

__all__ = ["NAMING", "ColumnNames", "ColumnRead"]

NAMING = ("id", "tradeCode", "scientificName")
"""Columns that say which kind a row is about."""

_SYNONYMS = {
    "id": ("taxon", "taxon id", "kind id"),
    "tradeCode": ("trade number", "L number", "L no", "L nr", "L code", "L numbers", "LDA number", "code"),
    "scientificName": ("name", "species", "latin name", "kind", "fish"),
    "identificationQualifier": ("qualifier",),
    "vernacularName": ("common name", "english name", "trade name"),
    "nameAccordingTo": ("name source", "according to"),
    "careGroup": ("care",),
    "commonness": ("how common", "in trade"),
    "source": ("reference", "citation", "literature"),
    "locator": ("page", "pages", "where"),
}
"""What keepers call the columns that are no traits; a trait goes by its id or its label."""
_UNIT_IN_HEADER = re.compile(
    r"(?:\s*[(\[]\s*(?:in\s+)?(mm|cm|inches|inch|in)\s*[)\]]|\s+in\s+(mm|cm|inches|inch)|[\s_](mm|cm))\s*\Z",
    re.IGNORECASE,
)
_MOST_TEXT = 500


# -- columns ----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ColumnRead:
    """How a column of a spreadsheet was read.

    Attributes
    ----------
    name : str
        Its header.
    meaning : str
        The column of the table; ``source`` or ``locator``, or that after the column it is for; blank where
        the column was not taken.
    text : str
        What it was read as, or why it was not taken.
    at : int
        Its place, from 0.
    unit : str
        The unit that the header states.
    """

    name: str
    meaning: str
    text: str
    at: int
    unit: str = ""


class ColumnNames:
    """The names that the columns of a table may go by.

    Parameters
    ----------
    table : TraitTable
    """

    def __init__(self, table: TraitTable):
        self._traits = {t.id: t for t in table.traits}
        own = [c for c in _SYNONYMS if c in table.taxa.columns]
        meta = list(dict.fromkeys(["id", *table.taxa.columns]))
        columns = [*meta, *(c for t in table.trait_ids for c in (t, t + YOUNG))]
        labels = [(c, self._label(c)) for c in columns if self._label(c)]
        ids = [(c, c) for c in columns]
        claims = [(f"{c} {w}", f"{n} {w}") for c, n in [*ids, *labels] for w in ("source", "locator")]
        pages = [(f"{c} locator", f"{n} page") for c, n in [*ids, *labels]]
        turned = [(f"{c} source", f"source of {n}") for c, n in [*ids, *labels]]
        young = [
            (t + YOUNG, f"{w} {self._traits[t].name}") for t in table.trait_ids for w in ("young", "juvenile")
        ]
        young += [(t + YOUNG, f"{self._traits[t].name} juvenile") for t in table.trait_ids]
        words = [(c, w) for c in ("id", *own, "source", "locator") for w in _SYNONYMS[c]]
        if "scientificName" not in own:
            words += [("id", w) for w in _SYNONYMS["scientificName"]]
        words += [(c, c) for c in ("source", "locator")]
        self._exact = {c: c for c in columns}
        # What is said first counts where two columns go by the same words.
        self._passes = [
            _by_words(found) for found in (ids, labels, [*claims, *pages, *turned, *young], words)
        ]
        self._shown = [*columns, *(label for _, label in labels)]

    def _label(self, column: str) -> str:
        trait = self._traits.get(column)
        if trait is not None:
            return trait.label
        young = self._traits.get(column.removesuffix(YOUNG))
        return f"{young.label} young" if young is not None and young.label else ""

    def known(self, header: Sequence[str]) -> int:
        """Return how many cells are names of columns; 0 where none of them names the kinds."""
        meanings = [c.meaning for c in self.read(header) if c.meaning]
        return len(meanings) if any(m in NAMING for m in meanings) else 0

    def read(self, header: Sequence[str]) -> tuple[ColumnRead, ...]:
        """Read a header; a column that means the same as one before it is not taken."""
        found: dict[int, tuple[str, str]] = {}
        taken: dict[str, int] = {}
        exact = self._exact
        for names in (exact, *self._passes):
            for at, name in enumerate(header):
                meaning, unit = self._meaning(name, names)
                if at not in found and meaning:
                    found[at] = meaning, unit
                    taken.setdefault(meaning, at)
        return tuple(self._column(at, name, found.get(at), taken, header) for at, name in enumerate(header))

    def _meaning(self, name: str, names: dict[str, str]) -> tuple[str, str]:
        if names is self._exact:
            return names.get(name, ""), ""
        if _joined(name) in names:
            return names[_joined(name)], ""
        match = _UNIT_IN_HEADER.search(" ".join(name.split())[:_MOST_TEXT])
        meaning = names.get(_joined(match.string[: match.start()]), "") if match else ""
        trait = self._traits.get(meaning.removesuffix(YOUNG))
        if match is None or trait is None or trait.unit != "mm":
            return "", ""
        return meaning, next(u for u in match.groups() if u).lower()

    def _column(
        self, at: int, name: str, found: tuple[str, str] | None, taken: dict[str, int], header: Sequence[str]
    ) -> ColumnRead:
        if found is None:
            right = (
                one_of(name, self._shown, "a column") if name else "the header cell is blank; name the column"
            )
            return ColumnRead(name or f"column {at + 1}", "", right, at)
        meaning, unit = found
        if taken[meaning] != at:
            right = f"means the same as {header[taken[meaning]]!r}, which was taken; keep one of the two"
            return ColumnRead(name, "", right, at)
        said = "" if meaning == name else f"read as {meaning}"
        if unit and unit != "mm":
            said += f", numbers in {unit}"
        return ColumnRead(name, meaning, said, at, unit)


def _joined(name: str) -> str:
    return "".join(c for c in name.casefold() if c.isalnum())


def _by_words(names: Iterable[tuple[str, str]]) -> dict[str, str]:
    """Return the meaning of each name; a name with two meanings has none."""
    found: dict[str, str] = {}
    for meaning, name in names:
        word = _joined(name)
        found[word] = meaning if found.get(word, meaning) == meaning else ""
    return {word: meaning for word, meaning in found.items() if word and meaning}
