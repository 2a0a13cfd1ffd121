"""What a care sheet demands of a tank in one respect: for all its names together, and name by name."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from idkey.care.attributes import Value
from idkey.care.need import CLASS_WORDS, Need
from idkey.care.sheet import CareSheet, care_for

__all__ = ["Demand", "Demands"]


@dataclass(frozen=True)
class Demand:
    """What is wanted in one respect.

    Attributes
    ----------
    attribute : str
    value : Value
        What suits every name of which it is known; None where it is known of none, or no value suits all.
    each : tuple of (str, Value)
        Label and need of every name of which it is known.
    unknown : tuple of str
        Labels of the names of which it is not known.
    disagree : bool
        Whether no value suits all the names of which it is known.
    basis : str
        Where the need comes from, in words; blank where nothing is known.
    """

    attribute: str
    value: Value
    each: tuple[tuple[str, Value], ...]
    unknown: tuple[str, ...]
    disagree: bool
    basis: str


class Demands:
    """The needs of a care sheet, ready to hold a tank against.

    A sheet for several names gives no value where it is not known of one of them, or where none suits all.
    Who needs what is then looked up in its table.

    Parameters
    ----------
    care : CareSheet
    """

    def __init__(self, care: CareSheet):
        self.care = care
        self._labels = dict(zip(care.names, care.labels, strict=True))
        self._alone: dict[str, CareSheet] = {}

    def of(self, attribute: str) -> Demand:
        """Return the demand in one respect; a column that the sheet does not have is not known."""
        need = self.care.attributes.get(attribute)
        if need is None:
            return Demand(attribute, None, (), self.care.labels, False, "")
        everyone = "; ".join(self.care.labels)
        unknown = tuple(self._labels[name] for name in need.unknown_for)
        if need.value is not None and not unknown:
            return Demand(attribute, need.value, ((everyone, need.value),), (), False, _basis(need))
        known = [name for name in self.care.names if name not in need.unknown_for]
        each = tuple(
            (self._labels[name], value)
            for name in known
            if (value := self._value(name, attribute)) is not None
        )
        together = self._together(known, attribute)
        if not each:
            unknown = self.care.labels
        return Demand(attribute, together, each, unknown, bool(need.conflict), _basis(need))

    def _value(self, name: str, attribute: str) -> Value:
        table = self.care.table
        if table is None:
            return None
        if name not in self._alone:
            self._alone[name] = care_for(table, name)
        return self._alone[name].attributes[attribute].value

    def _together(self, known: list[str], attribute: str) -> Value:
        """Return what suits all the names of which it is known."""
        if self.care.table is None or not known or len(known) == len(self.care.names):
            return None
        return care_for(self.care.table, *known).attributes[attribute].value

    def texts(self, *attributes: str) -> str:
        """Return the texts of one or more columns on one line; blank where nothing is known."""
        needs = [self.care.attributes[a] for a in attributes if a in self.care.attributes]
        return " ".join(line for n in needs if n.origin for line in n.text.splitlines())

    def sources(self, *attributes: str) -> str:
        """Return where the texts come from."""
        needs = [self.care.attributes[a] for a in attributes if a in self.care.attributes]
        return "; ".join(dict.fromkeys(b for n in needs if (b := _basis(n))))

    def every(self, attribute: str) -> Iterable[tuple[str, Value]]:
        """Return label and need of each name of which it is known, even where they agree."""
        if len(self.care.names) == 1 or self.care.table is None:
            return self.of(attribute).each
        found = ((name, self._value(name, attribute)) for name in self.care.names)
        return [(self._labels[name], value) for name, value in found if value is not None]


def _basis(need: Need) -> str:
    if not need.origin:
        return ""
    words = [CLASS_WORDS.get(c, c) for c in need.classes]
    if need.origin == "group":
        words.insert(0, "for the care group")
    return ": ".join(part for part in ("; ".join(words), "; ".join(need.sources)) if part)
