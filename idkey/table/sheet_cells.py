"""Columns and cells as people write them in a spreadsheet -> columns and cell text of a trait table.

Whatever is not the table's own syntax is turned into it only where it can mean one thing, and said.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from idkey.errors import one_of
from idkey.table.schema import YOUNG, Trait, cell_text, parse_cell
from idkey.table.sheet_grid import MADE_A_DATE

if TYPE_CHECKING:
    from idkey.table.table import TraitTable

__all__ = ["NAMING", "CellRead", "CellReader", "ColumnNames", "ColumnRead", "folded"]

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
_UNKNOWN = frozenset(
    ("?", "??", "???", "unknown", "not known", "n/a", "na", "nan", "#n/a", "none known", "tbd", "not seen")
)
_NOT_APPLICABLE = frozenset(("none", "not applicable", "does not apply", "doesn't apply"))
_PARTED = re.compile(r"(\s*[|/,;+&]\s*(?:(?:or|and)\s+)?|\s+(?:or|and|to)\s+)", re.IGNORECASE)
_MOST_PARTS = 40
_MOST_NUMBER = 100
_MOST_TEXT = 500
"""Characters of a cell or a header that is taken apart; what is longer is no state and no number."""
_NUMBER = r"(?:[0-9]+\s+)?[0-9]+/[0-9]+|[0-9]+(?:[.,][0-9]+)?"
_UNIT = 'mm|cm|inches|inch|in|["\u2033\u201d]|%\\s*[HS]L|%|\u00b0|degrees|deg'
_RANGE = re.compile(
    rf"({_NUMBER})\s*({_UNIT})?(?:\s*(?:\.\.\.?|\u2026|[-\u2010-\u2015\u2212]|to)\s*({_NUMBER})\s*({_UNIT})?)?",
    re.IGNORECASE,
)
_AT_MOST = re.compile(r"\s*(?:up to|at most|maximum|max\.?|\u2264|<=)\s*", re.IGNORECASE)
_STANDARD = re.compile(r"\s*\(?\b(?:SL|standard length)\)?\Z", re.IGNORECASE)
_TOTAL = re.compile(r"\b(?:TL|total)\b", re.IGNORECASE)
_MONTH = "(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)"
_DATE = re.compile(
    rf"\d{{4}}-\d\d-\d\d\b.*|\d{{1,2}}[-. /]+{_MONTH}[a-z]*\.?(?:[-. /]+\d+)?|{_MONTH}[a-z]*[-. /]+\d+",
    re.IGNORECASE,
)
_INCH = 25.4
"""Millimetres, exactly (international yard and pound agreement, 1959)."""
_MM = {"mm": 1.0, "cm": 10.0} | dict.fromkeys(("in", "inch", "inches", '"', "\u2033", "\u201d"), _INCH)


def folded(text: str) -> str:
    """Return a text in the one spelling in which words are compared: case, blanks, _ and - are the same."""
    return " ".join(re.sub(r"(?<=\w)[_\-\u2010\u2011]+(?=\w)", " ", text.casefold()).split())


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


# -- cells ------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class CellRead:
    """How a cell was read.

    Attributes
    ----------
    text : str or None
        The cell as the table writes it, blank for not known; None where it was not understood.
    said : str
        What was made of it, where it was not written so.
    right : str
        What would be right, where it was not understood.
    """

    text: str | None
    said: str = ""
    right: str = ""


class CellReader:
    """Reads the cells of one trait.

    Parameters
    ----------
    trait : Trait
    unit : str
        The unit of plain numbers, where it is not that of the trait.
    """

    def __init__(self, trait: Trait, unit: str = ""):
        self.trait = trait
        self.unit = unit or trait.unit
        words = [(s, s) for s in trait.states] + list(zip(trait.states, trait.words, strict=True))
        self._cache: dict[str, CellRead] = {}
        found: dict[str, set[str]] = {}
        for state, word in words:
            found.setdefault(folded(word), set()).add(state)
        self._states = {word: next(iter(states)) for word, states in found.items() if len(states) == 1}

    def read(self, text: str) -> CellRead:
        """Read a cell."""
        found = self._cache.get(text)
        if found is None:
            found = self._cache[text] = self._read(text)
        return found

    def _read(self, text: str) -> CellRead:
        trait, word = self.trait, folded(text)
        if trait.has_states or self.unit == trait.unit or text == "-":
            try:
                return CellRead(cell_text(trait, parse_cell(trait, text)))
            except ValueError as error:
                right = str(error)
        else:
            right = "not a number"
        if word in self._states:
            return self._said(text, self._states[word])
        if word in _UNKNOWN:
            return CellRead("", f"{text!r} read as not known")
        if word in _NOT_APPLICABLE:
            return CellRead("-", f"{text!r} read as - (not applicable to this kind)")
        if len(word) <= _MOST_NUMBER and _DATE.fullmatch(text):
            return CellRead(None, right=MADE_A_DATE)
        plain = " ".join(text.split())
        if len(plain) > _MOST_TEXT:
            return CellRead(None, right=right)
        return self._several(plain, right) if trait.has_states else self._number(plain, right)

    def _said(self, text: str, read: str) -> CellRead:
        cell = cell_text(self.trait, parse_cell(self.trait, read))
        shown = f"{cell} {self.trait.unit}" if self.trait.unit not in ("", "count") else cell
        return CellRead(cell, f"{text!r} read as {shown}")

    def _several(self, text: str, right: str) -> CellRead:
        """Read several states with something between them."""
        parts = _PARTED.split(text)
        found: list[str] = []
        at = 0
        while at < len(parts) and len(parts) < _MOST_PARTS:
            # A wording may itself hold a comma or an "or", so the longest that is one counts.
            ends = (
                end for end in range(len(parts), at, -2) if folded("".join(parts[at:end])) in self._states
            )
            end = next(ends, None)
            if end is None:
                break
            state = self._states[folded("".join(parts[at:end]))]
            if at and parts[at - 1].strip().casefold() == "to":
                if self.trait.kind != "ordinal":
                    break
                first, last = sorted((self.trait.index(found[-1]), self.trait.index(state)))
                found += self.trait.states[first : last + 1]
            found.append(state)
            at = end + 1
        if at < len(parts) or not found:
            hint = "" if "|" in right else "; join several with |"
            return CellRead(None, right=right + hint)
        return self._said(text, "|".join(dict.fromkeys(found)))

    def _number(self, text: str, right: str) -> CellRead:
        trait = self.trait
        if trait.unit == "mm" and _TOTAL.search(text):
            right = "a total length can't be turned into a standard length; measure without the tail fin"
            return CellRead(None, right=right)
        plain = _STANDARD.sub("", text) if trait.unit == "mm" else text
        if trait.kind == "ceiling":
            plain = _AT_MOST.sub("", plain, count=1)
        match = _RANGE.fullmatch(plain.strip()) if len(plain) <= _MOST_NUMBER else None
        if match is None:
            units = "; mm, cm or in may stand behind it" if trait.unit == "mm" else ""
            return CellRead(None, right=right + units)
        try:
            ends = self._ends(match)
            if trait.kind != "ceiling":
                return self._said(text, "..".join(map(_number_text, ends)))
            # A record is one length.
            read = self._said(text, _number_text(max(ends)))
            return replace(read, said=f"{read.said}, the largest of the range") if len(ends) > 1 else read
        except ValueError as error:
            return CellRead(None, right=str(error))

    def _ends(self, match: re.Match[str]) -> list[float]:
        """Return one number, or both ends of a range, in the unit of the trait."""
        low, low_unit, high, high_unit = match.groups()
        if high is None:
            return [self._value(low, low_unit)]
        if low_unit and not high_unit:
            msg = "the second number has no unit; write the unit behind it"
            raise ValueError(msg)
        return [self._value(low, low_unit or high_unit), self._value(high, high_unit)]

    def _value(self, number: str, unit: str | None) -> float:
        value = _value(number, whole=self.trait.unit == "count")
        unit = " ".join((unit or self.unit).split()).casefold()
        own = self.trait.unit.casefold()
        if own != "mm":
            same = {own, own.replace(" ", ""), own[:1] if own.startswith("%") else own}
            if own == "degrees":
                same |= {"\u00b0", "deg"}
            if unit not in same:
                right = "a plain number" if own in ("", "count", "ratio") else f"it in {self.trait.unit}"
                msg = f"the unit is another than that of the trait; write {right}"
                raise ValueError(msg)
            return value
        if unit not in _MM:
            msg = "not a length; mm, cm or in may stand behind the number"
            raise ValueError(msg)
        if "/" in number and _MM[unit] != _INCH:
            msg = "a fraction is read in inches only; write a decimal number"
            raise ValueError(msg)
        if unit == "mm":
            return value
        # Halves go up, as a keeper rounds; a tenth of a millimetre counts in what is small.
        step = 1 if value * _MM[unit] >= 10 else 10
        return math.floor(value * _MM[unit] * step + 0.5) / step


def _value(number: str, *, whole: bool) -> float:
    if "/" in number:
        *before, fraction = number.split()
        top, bottom = fraction.split("/")
        if not int(bottom):
            msg = "a fraction of nothing; write a number"
            raise ValueError(msg)
        return sum(map(int, before)) + int(top) / int(bottom)
    if "," in number and (whole or re.fullmatch(r"[0-9]{1,3},[0-9]{3}", number)):
        plain, point = number.replace(",", ""), number.replace(",", ".")
        msg = f"the comma can mean two things; write {plain} or {point}"
        if whole:
            msg = "a count has no decimal comma; write a range lo..hi such as 12..16"
        raise ValueError(msg)
    return float(number.replace(",", "."))


def _number_text(value: float) -> str:
    return f"{value:.15g}"
