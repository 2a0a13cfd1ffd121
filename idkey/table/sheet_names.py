"""What a spreadsheet calls its columns and the kinds in its rows."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from idkey.errors import one_of
from idkey.table.ids import is_id
from idkey.table.names import folded, new_id
from idkey.table.schema import YOUNG

if TYPE_CHECKING:
    from idkey.table.table import TraitTable

__all__ = ["NAMING", "ColumnNames", "ColumnRead", "Kind", "KindNames", "NotTaken"]

KEY, NAME, QUALIFIER = "id", "scientificName", "identificationQualifier"
CODE, GENUS, CARE, COMMON = "tradeCode", "genus", "careGroup", "vernacularName"
_UNNAMED = ("sp", "sp.", "spec", "spec.")
_QUALIFIERS = {"cf": "cf.", "cf.": "cf.", "aff": "aff.", "aff.": "aff."}


# -- columns ----------------------------------------------------------------------------------------

NAMING = ("id", "tradeCode", "scientificName")
_SYNONYMS = {
    "id": ("taxon", "taxon id", "kind id"),
    "tradeCode": ("trade number", "L number", "L no", "L nr", "L code", "L numbers", "LDA number", "code"),
    "scientificName": ("name", "species", "latin name", "kind", "fish"),
    "identificationQualifier": ("qualifier",),
    "vernacularName": ("common name", "english name", "trade name"),
    "nameAccordingTo": ("name source", "according to"),
    "careGroup": ("care",),
    "commonness": ("how common", "in trade"),
    "source": ("source", "reference", "citation", "literature"),
    "locator": ("locator", "page", "pages", "where"),
}
"""What keepers call the columns that are no traits; a trait goes by its id or its label."""
_UNIT_IN_HEADER = re.compile(
    r"(?:\s*[(\[]\s*(?:in\s+)?(mm|cm|inches|inch|in)\s*[)\]]|\s+in\s+(mm|cm|inches|inch)|[\s_](mm|cm))\s*\Z",
    re.IGNORECASE,
)
_MOST_HEADER = 500


@dataclass(frozen=True, slots=True)
class ColumnRead:
    """How a column of a spreadsheet was read.

    Attributes
    ----------
    name, unit : str
        Its header, and the unit that it states.
    meaning : str
        The column of the table; ``source`` or ``locator``, or that after the column it is for; blank where
        the column was not taken.
    text : str
        What it was read as, or why it was not taken.
    at : int
        Its place, from 0.
    """

    name: str
    meaning: str
    text: str
    at: int
    unit: str = ""


class ColumnNames:
    """The names that the columns of a table may go by."""

    def __init__(self, table: TraitTable):
        self._traits = {c: t for t in table.traits for c in (t.id, t.id + YOUNG)}
        labels = [(t.id, t.label) for t in table.traits if t.label]
        labels += [(t + YOUNG, f"{label} young") for t, label in labels]
        self._columns = dict.fromkeys(("id", *table.taxa.columns, *self._traits))
        called = [*((c, c) for c in self._columns), *labels]
        words = {c: words for c, words in _SYNONYMS.items() if c in (*self._columns, "source", "locator")}
        if "scientificName" not in words:
            words["id"] += _SYNONYMS["scientificName"]
        # What is said first counts, for two columns that mean the same and for a name with two meanings.
        self._names: dict[str, tuple[int, str]] = {}
        for rank, names in enumerate(
            (
                [(c, c) for c in self._columns],
                labels,
                [(f"{c} source", form.format(n)) for c, n in called for form in ("{} source", "source of {}")]
                + [(f"{c} locator", form.format(n)) for c, n in called for form in ("{} locator", "{} page")]
                + [
                    (t.id + YOUNG, form.format(t.name))
                    for t in table.traits
                    for form in ("young {}", "juvenile {}", "{} juvenile")
                ],
                [(c, word) for c, synonyms in words.items() for word in synonyms],
            )
        ):
            meanings: dict[str, set[str]] = {}
            for meaning, name in names:
                meanings.setdefault(_joined(name), set()).add(meaning)
            for name, meant in meanings.items():
                if name and len(meant) == 1:
                    self._names.setdefault(name, (rank, min(meant)))
        self._shown = [*self._columns, *(label for _, label in labels)]

    def known(self, header: Sequence[str]) -> int:
        """Return how many cells are names of columns; 0 where none of them names the kinds."""
        meanings = {meaning for _, meaning, _ in map(self._meaning, header) if meaning}
        return len(meanings) if not meanings.isdisjoint(NAMING) else 0

    def read(self, header: Sequence[str]) -> tuple[ColumnRead, ...]:
        """Read a header; of columns that mean the same one is taken."""
        found = [self._meaning(name) for name in header]
        taken: dict[str, int] = {}
        for at in sorted(range(len(header)), key=lambda at: (found[at][0], at)):
            taken.setdefault(found[at][1], at)
        return tuple(self._column(at, header, found[at], taken) for at in range(len(header)))

    def _meaning(self, name: str) -> tuple[int, str, str]:
        """Return how near the name is, what it means, and the unit in it."""
        if name in self._columns:
            return -1, name, ""
        rank, meaning = self._names.get(_joined(name), (0, ""))
        match = None if meaning else _UNIT_IN_HEADER.search(" ".join(name.split())[:_MOST_HEADER])
        if match is None:
            return rank, meaning, ""
        rank, meaning = self._names.get(_joined(match.string[: match.start()]), (0, ""))
        is_length = meaning in self._traits and self._traits[meaning].unit == "mm"
        return (rank, meaning, next(u for u in match.groups() if u).lower()) if is_length else (0, "", "")

    def _column(
        self, at: int, header: Sequence[str], found: tuple[int, str, str], taken: Mapping[str, int]
    ) -> ColumnRead:
        name, (_, meaning, unit) = header[at], found
        if not meaning:
            right = (
                one_of(name, self._shown, "a column") if name else "the header cell is blank; name the column"
            )
            return ColumnRead(name or f"column {at + 1}", "", right, at)
        if taken[meaning] != at:
            right = f"means the same as {header[taken[meaning]]!r}, which was taken; keep one of the two"
            return ColumnRead(name, "", right, at)
        said = "" if meaning == name else f"read as {meaning}"
        said += f", numbers in {unit}" if unit and unit != "mm" else ""
        return ColumnRead(name, meaning, said, at, unit)


def _joined(name: str) -> str:
    return "".join(c for c in name.casefold() if c.isalnum())


# -- kinds ------------------------------------------------------------------------------------------


class NotTaken(Exception):  # noqa: N818 - never leaves the reading of a row
    """A row that is of no kind, or of no one kind: column, value, what would be right."""


class Kind(NamedTuple):
    """Which kind a row is about, what it calls it, and what was made of that."""

    taxon: str
    new: bool
    names: Mapping[str, str]
    said: tuple[str, ...]
    by_id: bool = False


class KindNames:
    """The kinds of a table by what the row of a sheet may call them."""

    def __init__(self, table: TraitTable):
        self._table = table
        self.genera: dict[str, str] = {}
        self._groups: dict[str, set[str]] = {}
        for row in table.taxa.to_dict("records"):
            genus = row.get(GENUS, "")
            self.genera[folded(genus)] = genus
            self._groups.setdefault(folded(genus), set()).update(filter(None, [row.get(CARE)]))

    def group(self, genus: str) -> str:
        """Return the care group that all kinds of a genus share; blank where there is not one."""
        groups = self._groups.get(folded(genus), ())
        return min(groups) if len(groups) == 1 else ""

    def find(self, cells: Mapping[str, str]) -> Kind:
        """Return the kind that a row is about; raises NotTaken."""
        table, given = self._table, cells.get(KEY, "")
        names, said = self._written_names(cells)
        if given:
            known = [given] if given in table.taxa.index else table.names.called.get(folded(given), [])
            if len(known) == 1:
                return Kind(known[0], False, names, said, by_id=True)
            if NAME in table.taxa.columns and not is_id(given):
                right = (
                    "an id is lower-case letters, digits and _, starting with a letter; it may be left blank"
                )
                raise NotTaken(KEY, given, right)
            return Kind(given, True, names, said, by_id=True)
        taxon = self._called(cells, names)
        if taxon:
            common = table.taxa.at[taxon, COMMON] if COMMON in table.taxa.columns else ""
            if common and folded(cells.get(NAME, "")) == folded(common):
                # The name that keepers use stands in the sheet.
                said = (f"{cells[NAME]!r} read as the common name of {table.label(taxon)}",)
                names = {}
            return Kind(taxon, False, names, said)
        taxon = new_id(table.taxa.index, names[NAME], cells.get(CODE, ""), names[QUALIFIER])
        return Kind(taxon, True, names, (*said, f"id made: {taxon}"))

    def _called(self, cells: Mapping[str, str], names: Mapping[str, str]) -> str:
        """Return the kind of this trade code or name; blank for one that the table does not have."""
        table, written, code, name = self._table, cells.get(NAME, ""), cells.get(CODE, ""), names[NAME]
        unnamed = name.endswith(" sp.")
        genus, _, species = name.partition(" ")
        named = table.names.called.get(folded(f"{genus} {names[QUALIFIER]} {species}"), [])
        named = named or ([] if names[QUALIFIER] else table.names.whole(folded(written)))
        coded = table.names.coded(code)
        if len(coded) > 1:
            coded = [t for t in coded if t in named] or coded
        if len(coded) > 1:
            raise NotTaken(CODE, code, f"several kinds have this trade code; give the id: {', '.join(coded)}")
        if coded and name and not unnamed and coded[0] not in named:
            # Codes on bags are often wrong: a name of its own speaks against the kind that has the code.
            if named:
                right = (
                    f"this trade code is {coded[0]}, but the name is that of {', '.join(named)}; give the id"
                )
                raise NotTaken(CODE, code, right)
            called = table.label(coded[0])
            right = f"{code} is the trade code of {called}; leave the name blank if it is that, or give an id"
            raise NotTaken(NAME, written, right)
        if coded or (code and unnamed):
            return coded[0] if coded else ""
        if len(named) > 1:
            right = f"several kinds go by this name; give the trade code or the id: {', '.join(named)}"
            raise NotTaken(NAME, written, right)
        if named and code and table.taxa.at[named[0], CODE]:
            right = f"{named[0]} goes by another trade code; give its id to add this one, or a new id"
            raise NotTaken(CODE, code, right)
        if not named and len(name.split()) < 2:
            keeps_names = NAME in table.taxa.columns
            right = (
                "name the kind: genus and species, such as 'Hypancistrus sp.'" if keeps_names else "name it"
            )
            raise NotTaken(NAME if keeps_names else KEY, written, right)
        return named[0] if named else ""

    def _written_names(self, cells: Mapping[str, str]) -> tuple[dict[str, str], tuple[str, ...]]:
        """Return the scientific name, its qualifier and the genus as the table writes them."""
        written, genus, qualifier = (cells.get(c, "") for c in (NAME, GENUS, QUALIFIER))
        qualifier = _QUALIFIERS.get(qualifier.casefold(), qualifier)
        words = written.split()
        if len(words) > 2 and words[1].casefold() in _QUALIFIERS and not qualifier:
            qualifier = _QUALIFIERS[words.pop(1).casefold()]
        if len(words) == 1 and genus and folded(genus) != folded(words[0]):
            words = [genus, words[0]]
        if len(words) == 1 and folded(words[0]) in self.genera or not words and genus and cells.get(CODE):
            words = [*(words or [genus]), "sp."]
        if len(words) == 2 and words[1].casefold() in _UNNAMED:
            words[1] = "sp."
        if words:
            words[0] = self.genera.get(folded(words[0])) or words[0][0].upper() + words[0][1:]
        name = " ".join(words)
        said: tuple[str, ...] = ()
        if name and (name, qualifier) != (written, cells.get(QUALIFIER, "")):
            more = f", qualifier {qualifier}" if qualifier else ""
            said = (f"{written or genus!r} read as {name}{more}",)
        return {NAME: name, QUALIFIER: qualifier, GENUS: genus or (words[0] if words else "")}, said
