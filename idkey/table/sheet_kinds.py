"""Which kind of a table the row of a spreadsheet is about: by its id, its trade code or its names."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from idkey.table.ids import free_id, id_of, is_id
from idkey.table.names import folded

if TYPE_CHECKING:
    from idkey.table.table import TraitTable

__all__ = [
    "CARE",
    "CODE",
    "COMMON",
    "GENUS",
    "KEY",
    "NAME",
    "QUALIFIER",
    "Kind",
    "Kinds",
    "NotTaken",
    "code_text",
    "trade_codes",
]

KEY, NAME, QUALIFIER = "id", "scientificName", "identificationQualifier"
CODE, GENUS, CARE, COMMON = "tradeCode", "genus", "careGroup", "vernacularName"
_TRADE_CODE = re.compile(r"(l|lda|ll)[\s-]*0*(\d+)([a-z]?)")
"""Trade codes as they are written on bags: L 46, L046 and L-046 are the same."""
_UNNAMED = ("sp", "sp.", "spec", "spec.")
_QUALIFIERS = {"cf": "cf.", "cf.": "cf.", "aff": "aff.", "aff.": "aff."}


def trade_codes(text: str) -> dict[str, str]:
    """Return the trade codes in a cell: in the one spelling in which they are compared, and as written."""
    found = {}
    for part in re.split(r"[|,;/]", text):
        plain = " ".join(part.split())
        match = _TRADE_CODE.fullmatch(plain.casefold())
        if plain:
            found[f"{match[1]}{match[2]}{match[3]}" if match else plain.casefold()] = plain
    return found


def code_text(code: str) -> str:
    """Write a trade code as the table does: L046, L201a, LDA033."""
    match = _TRADE_CODE.fullmatch(code.casefold())
    return f"{match[1].upper()}{match[2]:0>3}{match[3]}" if match else code


def _whole_name(name: str, qualifier: str) -> str:
    genus, _, rest = name.partition(" ")
    return folded(f"{genus} {qualifier.replace('.', '')} {rest}")


class NotTaken(Exception):  # noqa: N818 - never leaves this module
    """A row that is of no kind, or of no one kind: column, value, what would be right."""


@dataclass(frozen=True)
class Kind:
    """Which kind a row is about."""

    taxon: str
    new: bool
    by_id: bool = False
    names: Mapping[str, str] = field(default_factory=dict)  # scientificName, identificationQualifier, genus
    said: tuple[str, ...] = ()


class Kinds:
    """The kinds of a table by what a row may call them."""

    def __init__(self, table: TraitTable):
        self._table = table
        self._ids: dict[str, list[str]] = {}
        self._coded: dict[str, list[str]] = {}
        self._named: dict[str, list[str]] = {}
        self._common: dict[str, list[str]] = {}
        self._genera: dict[str, str] = {}
        self._groups: dict[str, set[str]] = {}
        for taxon, row in zip(table.ids, table.taxa.to_dict("records"), strict=True):
            self._ids.setdefault(folded(taxon), []).append(taxon)
            for code in trade_codes(row.get(CODE, "")):
                self._coded.setdefault(code, []).append(taxon)
            whole = _whole_name(row.get(NAME, ""), row.get(QUALIFIER, ""))
            self._named.setdefault(whole, []).append(taxon)
            if row.get(COMMON):
                self._common.setdefault(folded(row[COMMON]), []).append(taxon)
            self._genera[folded(row.get(GENUS, ""))] = row.get(GENUS, "")
            if row.get(CARE):
                self._groups.setdefault(folded(row.get(GENUS, "")), set()).add(row[CARE])

    def has_genus(self, genus: str) -> bool:
        """Whether a kind of this genus is in the table."""
        return folded(genus) in self._genera

    def group(self, genus: str) -> str:
        """Return the care group that all kinds of a genus share; blank where there is not one."""
        groups = self._groups.get(folded(genus), set())
        return next(iter(groups)) if len(groups) == 1 else ""

    def find(self, cells: Mapping[str, str]) -> Kind:
        """Return the kind that a row is about; raises NotTaken."""
        names, said = self._names(cells)
        given, codes = cells.get("id", ""), trade_codes(cells.get(CODE, ""))
        if given:
            known = [given] if given in self._table.taxa.index else self._ids.get(folded(given), [])
            if len(known) == 1:
                return Kind(known[0], new=False, by_id=True, names=names, said=tuple(said))
            if NAME in self._table.taxa.columns and not is_id(given):
                right = (
                    "an id is lower-case letters, digits and _, starting with a letter; it may be left blank"
                )
                raise NotTaken(KEY, given, right)
            return Kind(given, new=True, by_id=True, names=names, said=tuple(said))
        common = self._common.get(folded(cells.get(NAME, "")), [])
        if len(common) == 1 and not codes:
            read = f"{cells[NAME]!r} read as the common name of {self._table.label(common[0])}"
            return Kind(common[0], new=False, said=(read,))
        taxon = self._called(cells, names, codes)
        if taxon:
            return Kind(taxon, new=False, names=names, said=tuple(said))
        taxon = self._new_id(names, codes)
        return Kind(taxon, new=True, names=names, said=(*said, f"id made: {taxon}"))

    def _called(self, cells: Mapping[str, str], names: Mapping[str, str], codes: Mapping[str, str]) -> str:
        """Return the kind of this trade code or name; blank for one that the table does not have."""
        written, code = cells.get(NAME, ""), cells.get(CODE, "")
        name = names.get(NAME, "")
        named = self._named.get(_whole_name(name, names.get(QUALIFIER, "")), []) if name else []
        coded = list(dict.fromkeys(t for c in codes for t in self._coded.get(c, ())))
        if len(coded) > 1:
            coded = [t for t in coded if t in named] or coded
        if len(coded) > 1:
            raise NotTaken(CODE, code, f"several kinds have this trade code; give the id: {', '.join(coded)}")
        if coded and named and coded[0] not in named and not name.endswith(" sp."):
            right = f"this trade code is {coded[0]}, but the name is that of {', '.join(named)}; give the id"
            raise NotTaken(CODE, code, right)
        if coded and name and not name.endswith(" sp.") and not self._is_called(coded[0], written, name):
            # Codes on bags are often wrong: a name of its own speaks against the kind that has the code.
            called = self._table.label(coded[0])
            right = f"{code} is the trade code of {called}; leave the name blank if it is that, or give an id"
            raise NotTaken(NAME, written, right)
        if coded:
            return coded[0]
        if codes and name.endswith(" sp."):
            return ""
        if len(named) > 1:
            right = f"several kinds go by this name; give the trade code or the id: {', '.join(named)}"
            raise NotTaken(NAME, written, right)
        if named and codes and self._table.taxa.at[named[0], CODE]:
            right = f"{named[0]} goes by another trade code; give its id to add this one, or a new id"
            raise NotTaken(CODE, code, right)
        if named:
            return named[0]
        if len(name.split()) < 2:
            what = NAME if NAME in self._table.taxa.columns else "id"
            right = (
                "name the kind: genus and species, such as 'Hypancistrus sp.'" if what == NAME else "name it"
            )
            raise NotTaken(what, written, right)
        return ""

    def _is_called(self, taxon: str, written: str, name: str) -> bool:
        """Whether a kind goes by a name: its scientific one, with or without qualifier, or a common one."""
        row = self._table.taxa.loc[taxon]
        return folded(name) == folded(row[NAME]) or folded(written) in (
            folded(row[COMMON]),
            folded(row[NAME]),
        )

    def _names(self, cells: Mapping[str, str]) -> tuple[dict[str, str], list[str]]:
        """Return the scientific name, its qualifier and the genus as the table writes them."""
        written, genus = cells.get(NAME, ""), cells.get(GENUS, "")
        qualifier = cells.get(QUALIFIER, "")
        qualifier = _QUALIFIERS.get(qualifier.casefold(), qualifier)
        words = written.split()
        if len(words) > 2 and words[1].casefold() in _QUALIFIERS and not qualifier:
            qualifier = _QUALIFIERS[words.pop(1).casefold()]
        if len(words) == 1 and genus and folded(genus) != folded(words[0]):
            words = [genus, words[0]]
        if len(words) == 1 and folded(words[0]) in self._genera or not words and genus and cells.get(CODE):
            words = [*(words or [genus]), "sp."]
        if len(words) == 2 and words[1].casefold() in _UNNAMED:
            words[1] = "sp."
        if words:
            words[0] = self._genera.get(folded(words[0])) or words[0][0].upper() + words[0][1:]
        name = " ".join(words)
        found = {NAME: name, QUALIFIER: qualifier, GENUS: genus or (words[0] if words else "")}
        said = []
        if name and (name, qualifier) != (written, cells.get(QUALIFIER, "")):
            said.append(
                f"{written or genus!r} read as {name}" + (f", qualifier {qualifier}" if qualifier else "")
            )
        return found, said

    def _new_id(self, names: Mapping[str, str], codes: Mapping[str, str]) -> str:
        genus, *rest = names[NAME].split()
        unnamed = rest == ["sp."]
        qualifier = names.get(QUALIFIER, "")
        coded = [code_text(code) for code in codes]
        ends = coded if unnamed or qualifier else []
        made = id_of(" ".join([genus, qualifier, *([] if unnamed and ends else rest), *ends])) or "kind"
        if made in self._table.taxa.index and coded:
            made = id_of(" ".join([made, *coded]))
        return free_id(made, self._table.taxa.index)
