"""One need of a care sheet, for one name or brought together for several."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

from idkey.care.attributes import FOR_EVERY_FISH, GENERAL, Value, format_value, read_cell, unit_words
from idkey.table.care import CareAttribute
from idkey.table.claims import CLASSES
from idkey.table.words import percent

__all__ = [
    "CLASS_WORDS",
    "Claim",
    "FrozenMap",
    "Need",
    "Part",
    "bring_together",
    "names_in_words",
    "sentences",
]

CLASS_WORDS = {
    "read": "read in the source",
    "secondary": "second-hand",
    "memory": "from memory, no source",
    "common practice": "common practice, no source",
}
"""The same in words a keeper reads."""

NOT_FOLLOWED = "Not followed"
"""How the note of a claim begins that the sheet does not go by."""

_CAUTIONS = ("cautions", GENERAL, *FOR_EVERY_FISH)
_FEW = 2
"""Names that are listed even where something holds for all of them."""
_SENTENCE_END = re.compile(r"(?<=\.)(?<![ (][A-Z]\.) (?=[A-Z])")

V = TypeVar("V")


def sentences(text: str) -> list[str]:
    """Split a text into its sentences; the capital and full stop of a genus (``H. zebra``) end none.

    Examples
    --------
    >>> sentences("H. zebra is placid. Keep three.")
    ['H. zebra is placid.', 'Keep three.']
    """
    return [part for part in _SENTENCE_END.split(text) if part]


def names_in_words(parts: Sequence[Part], *, shares: bool = False) -> str:
    """Return names as a list in words; with `shares` the share of each stands beside it, where it has one."""
    called = [f"{p.label} ({percent(p.share)})" if shares and p.share is not None else p.label for p in parts]
    return called[0] if len(called) == 1 else f"{', '.join(called[:-1])} and {called[-1]}"


class FrozenMap(Mapping[str, V], Generic[V]):
    """A small mapping that keeps its order and cannot be changed."""

    __slots__ = ("_items",)

    def __init__(self, items: Iterable[tuple[str, V]] = ()):
        self._items = dict(items)

    def __getitem__(self, key: str) -> V:
        return self._items[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self._items)

    def __len__(self) -> int:
        return len(self._items)

    def __hash__(self) -> int:
        return hash(frozenset(self._items.items()))

    def __repr__(self) -> str:
        return repr(self._items)


@dataclass(frozen=True, slots=True)
class Claim:
    """One row of evidence behind a need.

    Attributes
    ----------
    taxon, care_group, attribute, value, source, locator, evidence_class, scope, note : str
        The columns of evidence.csv; exactly one of `taxon` and `care_group` is filled.
    source_label : str
        The source as it is shown.
    """

    taxon: str
    care_group: str
    attribute: str
    value: str
    source: str
    source_label: str
    locator: str
    evidence_class: str
    scope: str
    note: str

    @property
    def followed(self) -> bool:
        """Whether the sheet goes by this claim; a figure that was set aside says so in its note."""
        return not self.note.startswith(NOT_FOLLOWED)


@dataclass(frozen=True, slots=True)
class Need:
    """What one name, or several at once, call for in one respect.

    Attributes
    ----------
    attribute : str
        Column of care.csv, or ``cautions_all`` for what concerns every fish.
    label, unit : str
        What a keeper calls it, and its metric unit.
    value : tuple of float, float, frozenset of str, str or None
        Range, minimum, states or text. None where it is not known, not known for one of the names, or where
        no value suits all names.
    text : str
        The need in words, units shown.
    evidence : tuple of Claim
    conflict : str
        Who needs what, where no value suits all names; otherwise blank.
    by_name : mapping of str to str
        Taxon id -> its own need in words.
    values : mapping of str to value
        Taxon id -> its own need as a value, None where it is not known.
    origin : {"species", "group", "all", ""}
        Whether the figures are stated for the kinds themselves or taken over from their care group; ``all``
        for what concerns every fish; blank where nothing is known.
    unknown_for : tuple of str
        Taxon ids for which it is not known.
    """

    attribute: str
    label: str
    unit: str
    value: Value
    text: str
    evidence: tuple[Claim, ...] = ()
    conflict: str = ""
    by_name: Mapping[str, str] = FrozenMap()
    origin: str = ""
    unknown_for: tuple[str, ...] = ()
    values: Mapping[str, Value] = FrozenMap()

    @property
    def settled(self) -> bool:
        """Whether it is known for every name and one answer suits all of them."""
        return not self.conflict and not self.unknown_for

    @property
    def classes(self) -> tuple[str, ...]:
        """Classes of the evidence that the need goes by, strongest first."""
        found = {c.evidence_class for c in self.evidence if c.followed}
        return tuple(c for c in CLASSES if c in found)

    @property
    def sources(self) -> tuple[str, ...]:
        """Sources that the need goes by, each once."""
        return tuple(dict.fromkeys(c.source_label for c in self.evidence if c.followed and c.source))


@dataclass(frozen=True, slots=True)
class Part:
    """One attribute of one name, before names are brought together.

    Attributes
    ----------
    name, label : str
        Taxon id and the name used in sentences.
    cells : tuple of str
        The cell, or for cautions those of the kind and of its group; empty where nothing is known.
    claims : tuple of Claim
    origin : str
    share : float or None
        Its share of the posterior, where the names come from an identification.
    """

    name: str
    label: str
    cells: tuple[str, ...]
    claims: tuple[Claim, ...]
    origin: str
    share: float | None = None

    def value(self, attribute: CareAttribute) -> Value:
        """Return its need as a value; None where it is not known."""
        return read_cell(attribute, " ".join(self.cells))


def bring_together(attribute: CareAttribute, parts: Sequence[Part]) -> Need:
    """Bring the same attribute of one or more names together.

    Ranges give their overlap, lengths the span, minimums the largest, states what is shared, texts are listed
    by name where they differ; counts of eggs and days to hatch are facts and not needs, so they are listed by
    name and never in conflict. Where nothing suits all names there is no value and `conflict` says who needs
    what. Where it is not known for a name there is no value either.

    Parameters
    ----------
    attribute : CareAttribute
    parts : sequence of Part
        At least one, names all different.
    """
    names = _Names(attribute, parts)
    value, text, conflict = _RULES[_rule(attribute)](names)
    if names.unknown and names.known:
        value, text = None, names.with_unknown(text)
    origins = {p.origin for p in parts if p.cells}
    return Need(
        attribute=attribute.id,
        label=attribute.label,
        unit=unit_words(attribute),
        value=value,
        text=text,
        evidence=tuple(dict.fromkeys(c for p in parts for c in p.claims)),
        conflict=conflict,
        by_name=FrozenMap((p.name, names.words(p)) for p in parts),
        origin=origins.pop() if len(origins) == 1 else "group" if origins else "",
        unknown_for=tuple(p.name for p in names.unknown),
        values=FrozenMap((p.name, p.value(attribute)) for p in parts),
    )


class _Names:
    """The parts of one attribute, with the wording that the rules share."""

    def __init__(self, attribute: CareAttribute, parts: Sequence[Part]):
        self.attribute = attribute
        self.parts = parts
        self.known = [p for p in parts if p.cells]
        self.unknown = [p for p in parts if not p.cells]
        self.nothing = "none on record" if attribute.id in _CAUTIONS else "not known"
        self.values = [p.value(attribute) for p in self.known]

    def words(self, part: Part) -> str:
        """Return the need of one name in words."""
        return format_value(self.attribute, part.value(self.attribute)) if part.cells else self.nothing

    def each(self, parts: Sequence[Part], *, shares: bool = False) -> list[tuple[str, str]]:
        """Return (names, need) with names of the same need taken together."""
        groups: dict[str, list[Part]] = {}
        for part in parts:
            groups.setdefault(self.words(part), []).append(part)
        return [(names_in_words(members, shares=shares), words) for words, members in groups.items()]

    def who_needs_what(self) -> str:
        """Return who needs what on one line."""
        return "; ".join(f"{who}: {words}" for who, words in self.each(self.known, shares=True))

    def with_unknown(self, text: str) -> str:
        """Say whom a text holds for, and of whom nothing is known."""
        # One of the two lists of names is enough to tell who is on the other.
        few = len(self.known) <= _FEW < len(self.unknown)
        unknown = f"{len(self.unknown)} of the names" if few else names_in_words(self.unknown)
        if _rule(self.attribute) == "text":
            return f"{text}\n{self.nothing} for {unknown}"
        known = names_in_words(self.known) if len(self.known) <= _FEW else f"the other {len(self.known)}"
        return f"{self.nothing} for {unknown}; for {known}: {text}"


_Result = tuple[Value, str, str]


def _rule(attribute: CareAttribute) -> str:
    """Return which rule brings names together; a length is a span, and what a brood is like is no need."""
    return _OTHER_RULE.get(attribute.id, attribute.kind)


def _ranges(names: _Names) -> _Result:
    ranges = [v for v in names.values if isinstance(v, tuple)]
    if not ranges:
        return None, names.nothing, ""
    low, high = max(v[0] for v in ranges), min(v[1] for v in ranges)
    if low > high:
        conflict = names.who_needs_what()
        return None, f"no range suits all ({conflict})", conflict
    return (low, high), format_value(names.attribute, (low, high)), ""


def _spans(names: _Names) -> _Result:
    spans = [v for v in names.values if isinstance(v, tuple)]
    if not spans:
        return None, names.nothing, ""
    low, high = min(v[0] for v in spans), max(v[1] for v in spans)
    text = format_value(names.attribute, (low, high))
    if len(names.known) > 1:
        largest = [p for p, v in zip(names.known, spans, strict=True) if v[1] == high]
        longest = format_value(names.attribute, (high, high))
        text += f"; plan for the largest, {longest}, {_deciding(largest)}"
    return (low, high), text, ""


def _facts(names: _Names) -> _Result:
    ranges = [v for v in names.values if isinstance(v, tuple)]
    if not ranges:
        return None, names.nothing, ""
    each = names.each(names.known)
    text = each[0][1] if len(each) == 1 else "; ".join(f"{who}: {words}" for who, words in each)
    return (min(v[0] for v in ranges), max(v[1] for v in ranges)), text, ""


def _minimums(names: _Names) -> _Result:
    numbers = [v for v in names.values if isinstance(v, float)]
    if not numbers:
        return None, names.nothing, ""
    most = max(numbers)
    text = format_value(names.attribute, most)
    if min(numbers) < most:
        deciding = [p for p, v in zip(names.known, numbers, strict=True) if v == most]
        text += f", set by {_deciding(deciding)}"
    return most, text, ""


def _deciding(parts: Sequence[Part]) -> str:
    return names_in_words(parts) if len(parts) <= _FEW else f"{len(parts)} of the names"


def _states(names: _Names) -> _Result:
    sets = [v for v in names.values if isinstance(v, frozenset)]
    if not sets:
        return None, names.nothing, ""
    shared = frozenset.intersection(*sets)
    if shared:
        return shared, format_value(names.attribute, shared), ""
    conflict = names.who_needs_what()
    return None, f"none suits all ({conflict})", conflict


def _texts(names: _Names) -> _Result:
    if not names.known:
        return None, names.nothing, ""
    if len({p.cells for p in names.known}) == 1:
        text = " ".join(names.known[0].cells)
        return text, f"{_all_of(names)}{text}" if names.unknown else text, ""
    shared = [c for c in names.known[0].cells if all(c in p.cells for p in names.known)]
    lines = [f"{_all_of(names)}{' '.join(shared)}"] if shared else []
    own = [
        Part(p.name, p.label, tuple(c for c in p.cells if c not in shared), (), p.origin) for p in names.known
    ]
    lines += [f"{who}: {words}" for who, words in names.each([p for p in own if p.cells])]
    return None, "\n".join(lines), ""


def _all_of(names: _Names) -> str:
    """Say whom it holds for what all the known names share; what holds for every fish needs no name."""
    if names.attribute.id in FOR_EVERY_FISH and not names.unknown:
        return ""
    if len(names.known) <= _FEW:
        return f"{names_in_words(names.known)}: "
    return f"{len(names.known)} of {len(names.parts)} names: " if names.unknown else "All of them: "


_OTHER_RULE = {"adult_length_mm": "span", "eggs": "fact", "hatch_days": "fact"}
_RULES: dict[str, Callable[[_Names], _Result]] = {
    "range": _ranges,
    "span": _spans,
    "fact": _facts,
    "minimum": _minimums,
    "states": _states,
    "text": _texts,
}
