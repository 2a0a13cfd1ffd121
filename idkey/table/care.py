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
    """One column of care.csv; what each attribute is for, fields.csv says of the column of that name."""

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
    """Read a care cell; None where it is blank. Raises ValueError that says what would be right."""
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
