"""What all kinds need, as data: several kinds are brought together by places, and the words stand written.

The values of a need that kinds have are few, and so are the overlaps of their ranges: each is put into words
once, by the rules of `idkey.care.needs`, and the page finds which one it is.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import combinations
from typing import Any

from idkey.care.needs import CLASS_WORDS, CareRows, Part, care_rows, format_value
from idkey.errors import IdkeyError
from idkey.model.sayings import say
from idkey.table.claims import CLASSES
from idkey.table.schema import CareColumn
from idkey.table.table import TraitTable
from idkey.table.units import amount
from idkey.views.identify import FIRST_NEEDS, MOST_TOGETHER
from idkey.views.labels import BRIEF, BRIEF_NEEDS, WEAK

_TEXTS = ("diet_avoid", "cautions")
_SIZE = "adult_length_mm"


def needs(table: TraitTable) -> dict[str, Any]:
    """Return the needs of the kinds, sorted by id; nothing for a table without care sheets."""
    try:
        rows = care_rows(table)
    except IdkeyError:
        return {}
    ids, columns = sorted(table.ids), {column.id: column for column in table.care_columns}
    wanted = dict.fromkeys((*BRIEF_NEEDS, *FIRST_NEEDS, _SIZE))
    placed = {name: columns[name] for name in wanted if name in columns and columns[name].combine in _PLACED}
    found = {name: [rows.part(column, taxon) for taxon in ids] for name, column in placed.items()}
    cells = {
        name: [rows.part(columns[name], taxon).cells for taxon in ids] for name in _TEXTS if name in columns
    }
    return {
        "covered": [_is_covered(rows, taxon) for taxon in ids],
        "needs": {name: _need(columns[name], parts) for name, parts in found.items()},
        "texts": {name: _texts(each) for name, each in cells.items()},
        "weak": [CLASS_WORDS[c] if c in WEAK else "" for c in CLASSES],
        "brief": BRIEF,
        "first": FIRST_NEEDS,
        "most": MOST_TOGETHER,
    }


def _is_covered(rows: CareRows, taxon: str) -> bool:
    try:
        rows.check([taxon])
    except IdkeyError:
        return False
    return True


def _need(column: CareColumn, parts: list[Part]) -> dict[str, Any]:
    """Return the place of each kind's value, -1 where it is not known, and words for what may come of it."""
    values = {part.value for part in parts if part.cells}
    places, words = _PLACED[column.combine](column, values)
    return {
        "combine": column.combine,
        "of": [places[part.value] if part.cells else -1 for part in parts],
        "best": [_best(part) for part in parts],
        "words": words,
    }


def _best(part: Part) -> int:
    """Return the place of the strongest class that a need goes by."""
    followed = {claim.evidence_class for claim in part.evidence if claim.followed}
    return next((i for i, name in enumerate(CLASSES) if name in followed), len(CLASSES))


_Placed = tuple[dict[Any, Any], Any]


def _ranges(column: CareColumn, values: set[tuple[float, float]]) -> _Placed:
    lows, highs = ([*sorted({value[end] for value in values})] for end in (0, 1))
    places = {value: [lows.index(value[0]), highs.index(value[1])] for value in values}
    return places, [[format_value(column, (a, b)) if a <= b else None for b in highs] for a in lows]


def _states(column: CareColumn, values: set[frozenset[str]]) -> _Placed:
    def bits(states: Iterable[str]) -> int:
        return sum(1 << column.states.index(state) for state in states)

    every, size = set(values), 0
    while len(every) > size:
        size = len(every)
        every |= {one & other for one, other in combinations(every, 2)}
    return {v: bits(v) for v in values}, {bits(v): format_value(column, v) for v in every if v}


def _largest(column: CareColumn, values: set[float]) -> _Placed:
    order = sorted(values)
    return {v: i for i, v in enumerate(order)}, [format_value(column, v) for v in order]


def _longest(column: CareColumn, values: set[tuple[float, float]]) -> _Placed:
    tops = sorted({high for _, high in values})
    words = [say("grows", length=amount(top, unit=column.unit)) for top in tops]
    return {value: tops.index(value[1]) for value in values}, words


_PLACED = {"overlap": _ranges, "shared": _states, "largest": _largest, "span": _longest, "list": _longest}


def _texts(cells: list[tuple[str, ...]]) -> dict[str, Any]:
    places: dict[str, int] = {}
    of = [[places.setdefault(text, len(places)) for text in texts] for texts in cells]
    return {"texts": [*places], "of": of}
