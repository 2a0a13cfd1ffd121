"""The columns of care.csv, as care_columns.csv states them, and how their cells read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from idkey.table.schema import Range, parse_range

__all__ = ["EVERY_GROUP", "CareColumn", "parse_care"]

EVERY_GROUP = "all"
"""Care group whose row holds for every fish."""


@dataclass(frozen=True, slots=True)
class CareColumn:
    """One column of care.csv; datapackage.json describes each of these in a sentence.

    Attributes
    ----------
    id, label, about : str
        Its name, what a keeper calls it, and what it holds.
    kind : {"range", "minimum", "states", "text"}
    unit : str
        As in `idkey.table.units`.
    states, state_words : tuple of str
        Allowed states, mildest first, and the same in words.
    combine : {"overlap", "span", "list", "largest", "shared", "text"}
        How the needs of several kinds are brought together.
    every_fish : bool
        Whether what is said of every fish holds beside what a group or a kind adds.
    tank_label, tank_measure, tank_rule : str
        What it is called where a tank is held against it, what is measured of the tank, and by which rule:
        "within", "at_least", "room", "read", or blank for none.
    vital : bool
        Whether no tank is said to fit while this is not known.
    below, above, to_raise, to_lower : str
        What a tank is called that is out of the range, and what to do then; ``{end}`` is the nearer end.
    least_width : float or None
        Width by which the distance is judged where the range is narrower.
    """

    id: str
    label: str
    kind: Literal["range", "minimum", "states", "text"]
    unit: str = ""
    states: tuple[str, ...] = ()
    about: str = ""
    state_words: tuple[str, ...] = ()
    combine: str = "text"
    every_fish: bool = False
    tank_label: str = ""
    tank_measure: str = ""
    tank_rule: str = ""
    vital: bool = False
    below: str = ""
    above: str = ""
    to_raise: str = ""
    to_lower: str = ""
    least_width: float | None = None


def parse_care(column: CareColumn, text: str) -> Range | float | tuple[str, ...] | str | None:
    """Read a care cell; None where it is blank.

    Raises
    ------
    ValueError
        With a sentence that says what would be right.
    """
    text = text.strip()
    if not text:
        return None
    if column.kind == "range":
        return parse_range(text)
    if column.kind == "minimum":
        found = parse_range(text)
        if found.low != found.high or found.low <= 0:
            msg = f"write one number more than 0, in {column.unit}"
            raise ValueError(msg)
        return found.low
    if column.kind == "states":
        parts = [p.strip() for p in text.split("|")]
        wrong = next((p for p in parts if p not in column.states), None)
        if wrong is not None:
            msg = f"{wrong!r} is not one of {', '.join(column.states)}"
            raise ValueError(msg)
        return tuple(s for s in column.states if s in parts)
    return text
