"""What kinds of fish need: the rows and claims of care.csv as the needs of one kind, or of several."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import TypeAlias

from idkey.errors import IdkeyError
from idkey.model.combine import kept
from idkey.table.claims import CLASSES, NOT_FOLLOWED
from idkey.table.schema import EVERY_GROUP, CareColumn, Range, States, parse_care
from idkey.table.table import TraitTable
from idkey.table.units import amount, listed, percent

Value: TypeAlias = tuple[float, float] | float | frozenset[str] | str | None
"""A need as a value: a range, a minimum, states, a text, or None for not known or not settled."""

CLASS_WORDS = {
    "read": "read in the source",
    "secondary": "second-hand",
    "memory": "from memory, no source",
    "common practice": "common practice, no source",
}
"""The classes of evidence in words a keeper reads."""

_ORIGIN_WORDS = {"species": "for the kind itself", "group": "for the care group", "all": "for every fish"}
_CAUTIONS = "cautions"
"""Column in which what is said of a kind, of its group and of every fish adds up."""
_FEW = 2
"""Names that are listed even where something holds for all of them."""
_SENTENCE_END = re.compile(r"(?<=\.)(?<![ (][A-Z]\.) (?=[A-Z])")


def sentences(text: str) -> list[str]:
    """Split a text into its sentences; the capital and full stop of a genus (``H. zebra``) end none."""
    return [part for part in _SENTENCE_END.split(text) if part]


def read_cell(column: CareColumn, cell: str) -> Value:
    """Read a cell of care.csv; None for a blank one. Raises IdkeyError."""
    try:
        value = parse_care(column, cell)
    except ValueError as error:
        raise IdkeyError(f"care.csv, {column.id}: {cell!r}: {error}") from None
    if isinstance(value, Range):
        return value.low, value.high
    return frozenset(value.names) if isinstance(value, States) else value


def format_value(column: CareColumn, value: Value) -> str:
    """Put a value into words: states in their order, figures metric first, the other unit in brackets."""
    if value is None or isinstance(value, str):
        return value or "not known"
    if isinstance(value, frozenset):
        words = zip(column.states, column.state_words, strict=True)
        return listed((word for state, word in words if state in value), "or")
    return amount(*(value if isinstance(value, tuple) else (value,)), unit=column.unit)


@dataclass(frozen=True, slots=True)
class Backing:
    """One row of evidence.csv behind a need."""

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
        """Whether the sheet goes by it; a figure that was set aside says so in its note."""
        return not self.note.startswith(NOT_FOLLOWED)


@dataclass(frozen=True, slots=True)
class Part:
    """One need of one name (a taxon id, what sentences call it, its share of a posterior if it has one).

    `cells` holds the cell, or for cautions those of the kind and of its group; it is empty where not known.
    """

    name: str
    label: str
    cells: tuple[str, ...] = ()
    value: Value = None
    evidence: tuple[Backing, ...] = ()
    origin: str = ""
    share: float | None = field(default=None, compare=False)


def names_in_words(parts: Iterable[Part], *, shares: bool = False) -> str:
    """Return names as a list in words, with `shares` each with its share where it has one."""
    return listed(
        f"{p.label} ({percent(p.share)})" if shares and p.share is not None else p.label for p in parts
    )


def alike(parts: Iterable[Part]) -> dict[Value, list[Part]]:
    """Return names of the same need together."""
    groups: dict[Value, list[Part]] = {}
    for part in parts:
        groups.setdefault(part.value, []).append(part)
    return groups


@dataclass(frozen=True, slots=True)
class Need:
    """What one name, or several at once, call for in one respect.

    `parts` holds the need of each name; `shared` the range, minimum, states or text that suits every name of
    which it is known. `text` is the need in words, units shown; `conflict` who needs what, where no value
    suits all names, otherwise blank.
    """

    column: CareColumn
    parts: tuple[Part, ...]
    shared: Value = None
    text: str = ""
    conflict: str = ""

    @property
    def attribute(self) -> str:
        """Column of care.csv."""
        return self.column.id

    @property
    def label(self) -> str:
        """What a keeper calls it."""
        return self.column.label

    @property
    def known(self) -> list[Part]:
        """The names of which it is known."""
        return [p for p in self.parts if p.cells]

    @property
    def unknown(self) -> list[Part]:
        """The names of which it is not known."""
        return [p for p in self.parts if not p.cells]

    @property
    def value(self) -> Value:
        """What suits all names; None also where it is not known for one of them."""
        return None if self.unknown else self.shared

    @property
    def origin(self) -> str:
        """Whether the figures are for the kinds themselves ("species"), their care "group", or "all" fish.

        Blank where nothing is known.
        """
        origins = {p.origin for p in self.known}
        return origins.pop() if len(origins) == 1 else "group" if origins else ""

    @property
    def evidence(self) -> tuple[Backing, ...]:
        """The claims behind it, each once."""
        return tuple(dict.fromkeys(b for p in self.parts for b in p.evidence))

    @property
    def classes(self) -> tuple[str, ...]:
        """Classes of the evidence that the need goes by, strongest first."""
        followed = {b.evidence_class for b in self.evidence if b.followed}
        return tuple(c for c in CLASSES if c in followed)

    @property
    def sources(self) -> tuple[str, ...]:
        """Sources that the need goes by, each once."""
        return tuple(dict.fromkeys(b.source_label for b in self.evidence if b.followed and b.source))

    @property
    def grounds(self) -> str:
        """Whom the figures are about and how we know them, in words; blank where nothing is known."""
        words = (_ORIGIN_WORDS.get(self.origin), *(CLASS_WORDS.get(c, c) for c in self.classes))
        return "; ".join(filter(None, words))

    @property
    def basis(self) -> str:
        """The same, and the sources."""
        return ": ".join(filter(None, (self.grounds, "; ".join(self.sources))))


class CareRows:
    """The care rows and the claims of a table, ready to look up."""

    def __init__(self, table: TraitTable):
        if not len(table.care) or "careGroup" not in table.taxa.columns:
            raise IdkeyError(f"{table.name}: this table has no care sheets; load one with care.csv")
        self._table = table
        records = table.care.to_dict("records")
        self._rows = {(row["taxon"], "" if row["taxon"] else row["care_group"]): row for row in records}
        self._evidence: dict[tuple[str, str, str], list[Backing]] = {}
        columns = {column.id for column in table.care_columns}
        for row in table.evidence.to_dict("records"):
            if row["attribute"] in columns:
                source = table.sources.get(row["source"])
                label = source.short if source is not None else row["source"]
                row.pop("genus", None)
                backing = Backing(source_label=label, evidence_class=row.pop("class"), **row)
                key = backing.taxon, backing.care_group, backing.attribute
                self._evidence.setdefault(key, []).append(backing)

    def check(self, names: Sequence[str]) -> None:
        """Raise IdkeyError where no name has a group with a row; of some of the names it may not be known."""
        groups = [self._group(name) for name in names]
        if not any(("", group) in self._rows for group in groups):
            right = f"care group {groups[0]!r} has no row" if groups[0] else "it has no care group"
            raise IdkeyError(f"{names[0]}: this table has no care sheets for it: {right} in care.csv")

    def _group(self, name: str) -> str:
        return str(self._table.taxa.at[name, "careGroup"] or "")

    def part(self, column: CareColumn, name: str, label: str = "", share: float | None = None) -> Part:
        """Return one need of one name: its own row over that of its group.

        Cautions, and what concerns every fish, add up with the row `all`, a sentence of two rows given once.
        """
        places = {"species": (name, ""), "group": ("", self._group(name)), "all": ("", EVERY_GROUP)}
        cells = {o: self._rows.get(at, {}).get(column.id, "").strip() for o, at in places.items()}
        filled = [origin for origin, cell in cells.items() if cell]
        if not (column.id == _CAUTIONS or column.every_fish):
            del filled[1:]
        texts = [cells[origin] for origin in filled]
        if column.every_fish:
            texts = [sentence for text in texts for sentence in sentences(text)]
        texts = tuple(dict.fromkeys(texts))
        claims = (c for origin in filled for c in self._evidence.get((*places[origin], column.id), ()))
        value = read_cell(column, " ".join(texts))
        return Part(name, label, texts, value, tuple(claims), next(iter(filled), ""), share)


@kept
def care_rows(table: TraitTable) -> CareRows:
    """Return the care rows and claims of a table. Raises IdkeyError for a table without."""
    return CareRows(table)


def bring_together(column: CareColumn, parts: Iterable[Part]) -> Need:
    """Bring the same need of one or more names together, by the rule of its column."""
    need = Need(column, tuple(parts))
    if not need.known:
        return replace(need, text="not known")
    shared, text, conflict = _RULES[column.combine](need)
    return replace(need, shared=shared, text=with_unknown(need, text), conflict=conflict)


def overlap(values: Iterable[tuple[float, float]]) -> tuple[float, float]:
    """Return the overlap of ranges; where they don't meet its lower end stands above its upper one."""
    lows, highs = zip(*values, strict=True)
    return max(lows), min(highs)


_Joined: TypeAlias = tuple[Value, str, str]
"""What suits all the names, the need in words, and who needs what where nothing suits all."""


def _agreed(need: Need) -> _Joined:
    """Return the overlap of ranges or the states that all share; without any, who needs what on one line."""
    column, values = need.column, [p.value for p in need.known]
    if column.combine == "shared":
        shared = frozenset.intersection(*values)
    else:
        low, high = overlap(values)
        shared = (low, high) if low <= high else None
    if shared:
        return shared, format_value(column, shared), ""
    conflict = "; ".join(_each(column, need.known, shares=True))
    return None, f"nothing suits all ({conflict})", conflict


def _span(need: Need) -> _Joined:
    """Return the span of all: of lengths what to plan for; of facts, which are no needs, each by name."""
    lows, highs = zip(*(p.value for p in need.known), strict=True)
    span = min(lows), max(highs)
    text = format_value(need.column, span)
    if need.column.combine == "list" and len(alike(need.known)) > 1:
        text = "; ".join(_each(need.column, need.known))
    elif need.column.combine == "span" and len(need.known) > 1:
        largest = [p for p in need.known if p.value[1] == span[1]]
        text += f"; plan for the largest, {format_value(need.column, span[1])}, {_counted(largest)}"
    return span, text, ""


def _largest(need: Need) -> _Joined:
    most = max(p.value for p in need.known)
    largest = [p for p in need.known if p.value == most]
    by = "" if len(largest) == len(need.known) else f", set by {_counted(largest)}"
    return most, f"{format_value(need.column, most)}{by}", ""


def _text(need: Need) -> _Joined:
    cells = [p.cells for p in need.known]
    if len(set(cells)) == 1:
        text = " ".join(cells[0])
        return text, f"{_all_of(need)}{text}" if need.unknown else text, ""
    shared = [c for c in cells[0] if all(c in other for other in cells)]
    lines = [f"{_all_of(need)}{' '.join(shared)}"] if shared else []
    rest = [replace(p, value=" ".join(c for c in p.cells if c not in shared)) for p in need.known]
    return None, "\n".join([*lines, *_each(need.column, [p for p in rest if p.value])]), ""


_RULES: dict[str, Callable[[Need], _Joined]] = {
    "overlap": _agreed,
    "shared": _agreed,
    "span": _span,
    "list": _span,
    "largest": _largest,
    "text": _text,
}
"""How the needs of several kinds are brought together, by what care_columns.csv says."""


def _each(column: CareColumn, parts: Sequence[Part], *, shares: bool = False) -> list[str]:
    """Return "names: need", names of the same need together."""
    groups = alike(parts).items()
    return [f"{names_in_words(some, shares=shares)}: {format_value(column, value)}" for value, some in groups]


def _counted(parts: Sequence[Part], many: str = "{} of the names") -> str:
    """Return few names as a list, and of many how many there are."""
    return names_in_words(parts) if len(parts) <= _FEW else many.format(len(parts))


def with_unknown(need: Need, text: str) -> str:
    """Say whom a text holds for, and of whom nothing is known, where that is so."""
    if not need.unknown:
        return text
    # One of the two lists of names is enough to tell who is on the other.
    unknown = (_counted if len(need.known) <= _FEW else names_in_words)(need.unknown)
    if need.column.combine == "text":
        return f"{text}\nnot known for {unknown}"
    return f"not known for {unknown}; for {_counted(need.known, 'the other {}')}: {text}"


def _all_of(need: Need) -> str:
    """Say whom it holds for what all the known names share; what holds for every fish needs no name."""
    if need.column.every_fish and not need.unknown:
        return ""
    many = f"{{}} of {len(need.parts)} names" if need.unknown else "All of them"
    return f"{_counted(need.known, many)}: "
