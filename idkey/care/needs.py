"""What kinds of fish need: the rows and claims of care.csv as the needs of one kind, or of several."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Generic, TypeAlias, TypeVar

from idkey.errors import IdkeyError
from idkey.model.combine import kept
from idkey.table.claims import CLASSES, NOT_FOLLOWED
from idkey.table.schema import EVERY_GROUP, CareColumn, Range, parse_care
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

V = TypeVar("V")


def sentences(text: str) -> list[str]:
    """Split a text into its sentences; the capital and full stop of a genus (``H. zebra``) end none."""
    return [part for part in _SENTENCE_END.split(text) if part]


def names_in_words(parts: Sequence[Part], *, shares: bool = False) -> str:
    """Return names as a list in words, with `shares` each with its share where it has one."""
    return listed(
        f"{p.label} ({percent(p.share)})" if shares and p.share is not None else p.label for p in parts
    )


def read_cell(column: CareColumn, cell: str) -> Value:
    """Read a cell of care.csv; None for a blank one. Raises IdkeyError."""
    try:
        value = parse_care(column, cell)
    except ValueError as error:
        msg = f"care.csv, {column.id}: {cell!r}: {error}"
        raise IdkeyError(msg) from None
    if isinstance(value, Range):
        return value.low, value.high
    return frozenset(value) if isinstance(value, tuple) else value


def state_words(column: CareColumn, states: frozenset[str]) -> str:
    """Put states into words, in their fixed order."""
    words = dict(zip(column.states, column.state_words, strict=True))
    return listed((words[state] for state in column.states if state in states), "or")


def format_value(column: CareColumn, value: Value) -> str:
    """Put a value into words: metric first, the other unit in brackets."""
    if value is None or isinstance(value, str):
        return value or "not known"
    if isinstance(value, frozenset):
        return state_words(column, value)
    return amount(*(value if isinstance(value, tuple) else (value,)), unit=column.unit)


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
class Need:
    """What one name, or several at once, call for in one respect.

    Attributes
    ----------
    attribute, label : str
        Column of care.csv, and what a keeper calls it.
    value, shared : tuple of float, float, frozenset of str, str or None
        Range, minimum, states or text: what suits all names, None also where it is not known for one of them;
        and what suits every name of which it is known.
    text, conflict : str
        The need in words, units shown; who needs what, where no value suits all names, otherwise blank.
    by_name, values : mapping
        Taxon id -> its own need, in words and as a value (None where it is not known).
    origin : {"species", "group", "all", ""}
        Whether the figures are stated for the kinds themselves or taken over from their care group; ``all``
        for what concerns every fish; blank where nothing is known.
    unknown_for : tuple of str
        Taxon ids for which it is not known.
    """

    attribute: str
    label: str
    value: Value
    text: str
    evidence: tuple[Backing, ...] = ()
    conflict: str = ""
    by_name: Mapping[str, str] = FrozenMap()
    origin: str = ""
    unknown_for: tuple[str, ...] = ()
    values: Mapping[str, Value] = FrozenMap()
    shared: Value = None

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


@dataclass(frozen=True, slots=True)
class Part:
    """One need of one name (a taxon id, what sentences call it, its share of a posterior if it has one).

    `cells` holds the cell, or for cautions those of the kind and of its group; it is empty where not known.
    """

    name: str
    label: str
    cells: tuple[str, ...]
    value: Value
    evidence: tuple[Backing, ...] = ()
    origin: str = ""
    share: float | None = None


class CareRows:
    """The care rows and the claims of a table, ready to look up."""

    def __init__(self, table: TraitTable):
        if not len(table.care) or "careGroup" not in table.taxa.columns:
            msg = f"{table.name}: this table has no care sheets; load one with care.csv"
            raise IdkeyError(msg)
        self._table = table
        records = table.care.to_dict("records")
        self._kinds = {row["taxon"]: row for row in records if row["taxon"]}
        self._groups = {row["care_group"]: row for row in records if not row["taxon"]}
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

    def check(self, *names: str, anyone: bool = False) -> None:
        """Raise IdkeyError for a name whose group has no row; where `anyone` will do, if none has."""
        missing = [name for name in names if self._group(name) not in self._groups]
        if missing and (len(missing) == len(names) or not anyone):
            group = self._group(missing[0])
            right = f"care group {group!r} has no row" if group else "it has no care group"
            msg = f"{missing[0]}: this table has no care sheets for it: {right} in care.csv"
            raise IdkeyError(msg)

    def _group(self, name: str) -> str:
        return str(self._table.taxa.at[name, "careGroup"] or "")

    def part(self, column: CareColumn, name: str, label: str = "", share: float | None = None) -> Part:
        """Return one need of one name: its own row over that of its group.

        Cautions, and what concerns every fish, add up with the row `all`, a sentence of two rows given once.
        """
        group = self._group(name)
        rows = [(name, "", "species", self._kinds.get(name)), ("", group, "group", self._groups.get(group))]
        if adds_up := column.id == _CAUTIONS or column.every_fish:
            rows.append(("", EVERY_GROUP, "all", self._groups.get(EVERY_GROUP)))
        filled = [(*who, cell) for *who, row in rows if row and (cell := row.get(column.id, "").strip())]
        filled = filled if adds_up else filled[:1]
        cells = [cell for *_, cell in filled]
        if column.every_fish:
            cells = [sentence for cell in cells for sentence in sentences(cell)]
        cells = list(dict.fromkeys(cells))
        return Part(
            name,
            label,
            tuple(cells),
            read_cell(column, " ".join(cells)),
            tuple(b for taxon, of, *_ in filled for b in self._evidence.get((taxon, of, column.id), ())),
            filled[0][2] if filled else "",
            share,
        )


@kept
def care_rows(table: TraitTable) -> CareRows:
    """Return the care rows and claims of a table. Raises IdkeyError for a table without."""
    return CareRows(table)


def bring_together(column: CareColumn, parts: Sequence[Part]) -> Need:
    """Bring the same need of one or more names together.

    Ranges give their overlap, lengths the span, minimums the largest, states what is shared, texts are listed
    by name where they differ; counts of eggs and days to hatch are facts and not needs, so they are listed by
    name and never in conflict. Where nothing suits all names there is no value and `conflict` says who needs
    what. Where it is not known for a name there is no value either.
    """
    names = _Names(column, parts)
    rule = getattr(names, f"_{column.combine}")
    shared, text, conflict = rule() if names.known else (None, names.nothing, "")
    if names.unknown and names.known:
        text = names.with_unknown(text)
    origins = {p.origin for p in names.known}
    return Need(
        attribute=column.id,
        label=column.label,
        value=None if names.unknown else shared,
        text=text,
        evidence=tuple(dict.fromkeys(b for p in parts for b in p.evidence)),
        conflict=conflict,
        by_name=FrozenMap((p.name, names.words(p)) for p in parts),
        origin=origins.pop() if len(origins) == 1 else "group" if origins else "",
        unknown_for=tuple(p.name for p in names.unknown),
        values=FrozenMap((p.name, p.value) for p in parts),
        shared=shared,
    )


def overlap(values: Iterable[tuple[float, float]]) -> tuple[float, float]:
    """Return the overlap of ranges; where they don't meet its lower end stands above its upper one."""
    lows, highs = zip(*values, strict=True)
    return max(lows), min(highs)


class _Names:
    """The parts of one column, and the rules by which they are brought together: value, text, conflict."""

    def __init__(self, column: CareColumn, parts: Sequence[Part]):
        self.column = column
        self.parts = parts
        self.known = [p for p in parts if p.cells]
        self.unknown = [p for p in parts if not p.cells]
        self.nothing = "none on record" if column.id == _CAUTIONS or column.every_fish else "not known"
        self.values = [p.value for p in self.known]

    def words(self, part: Part) -> str:
        return format_value(self.column, part.value) if part.cells else self.nothing

    def _each(self, parts: Sequence[Part], *, shares: bool = False) -> list[str]:
        """Return "names: need", names of the same need together."""
        groups: dict[str, list[Part]] = {}
        for part in parts:
            groups.setdefault(self.words(part), []).append(part)
        return [f"{names_in_words(members, shares=shares)}: {words}" for words, members in groups.items()]

    def _deciding(self, most: float) -> str:
        """Return the names whose need decides."""
        parts = [p for p in self.known if most in (p.value if isinstance(p.value, tuple) else (p.value,))]
        return names_in_words(parts) if len(parts) <= _FEW else f"{len(parts)} of the names"

    def with_unknown(self, text: str) -> str:
        """Say whom a text holds for, and of whom nothing is known."""
        # One of the two lists of names is enough to tell who is on the other.
        few = len(self.known) <= _FEW < len(self.unknown)
        unknown = f"{len(self.unknown)} of the names" if few else names_in_words(self.unknown)
        if self.column.combine == "text":
            return f"{text}\n{self.nothing} for {unknown}"
        known = names_in_words(self.known) if len(self.known) <= _FEW else f"the other {len(self.known)}"
        return f"{self.nothing} for {unknown}; for {known}: {text}"

    def _all_of(self) -> str:
        """Say whom it holds for what all the known names share; what holds for every fish needs no name."""
        if self.column.every_fish and not self.unknown:
            return ""
        if len(self.known) <= _FEW:
            return f"{names_in_words(self.known)}: "
        return f"{len(self.known)} of {len(self.parts)} names: " if self.unknown else "All of them: "

    def _agreed(self, value: Value, nothing: str) -> tuple[Value, str, str]:
        """Return what suits all; where there is no such value, who needs what on one line."""
        if value:
            return value, format_value(self.column, value), ""
        conflict = "; ".join(self._each(self.known, shares=True))
        return None, f"{nothing} suits all ({conflict})", conflict

    def _overlap(self) -> tuple[Value, str, str]:
        span = overlap(self.values)
        return self._agreed(span if span[0] <= span[1] else None, "no range")

    def _shared(self) -> tuple[Value, str, str]:
        return self._agreed(frozenset.intersection(*self.values), "none")

    def _span(self) -> tuple[Value, str, str]:
        lows, highs = zip(*self.values, strict=True)
        span = min(lows), max(highs)
        text = format_value(self.column, span)
        if len(self.known) > 1:
            text += f"; plan for the largest, {format_value(self.column, span[1])}, {self._deciding(span[1])}"
        return span, text, ""

    def _list(self) -> tuple[Value, str, str]:
        lows, highs = zip(*self.values, strict=True)
        alike = len(set(self.values)) == 1
        text = self.words(self.known[0]) if alike else "; ".join(self._each(self.known))
        return (min(lows), max(highs)), text, ""

    def _largest(self) -> tuple[Value, str, str]:
        most = max(self.values)
        text = format_value(self.column, most)
        return most, text if min(self.values) == most else f"{text}, set by {self._deciding(most)}", ""

    def _text(self) -> tuple[Value, str, str]:
        cells = [p.cells for p in self.known]
        if len(set(cells)) == 1:
            text = " ".join(cells[0])
            return text, f"{self._all_of()}{text}" if self.unknown else text, ""
        shared = [c for c in cells[0] if all(c in other for other in cells)]
        lines = [f"{self._all_of()}{' '.join(shared)}"] if shared else []
        rest = [(p, " ".join(c for c in p.cells if c not in shared)) for p in self.known]
        lines += self._each([replace(p, value=text) for p, text in rest if text])
        return None, "\n".join(lines), ""
