"""How the needs of a care sheet are put into words: their order, units and second units."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TypeAlias

from idkey.care.water import CACO3_PER_DGH, CM_PER_INCH, LITRES_PER_US_GALLON
from idkey.errors import IdkeyError
from idkey.table.care import CARE_ATTRIBUTES, CareAttribute, parse_care
from idkey.table.schema import Range

__all__ = ["ATTRIBUTES", "FOR_EVERY_FISH", "GENERAL", "Value", "format_value", "read_cell", "state_words"]

Value: TypeAlias = tuple[float, float] | float | frozenset[str] | str | None
"""A need as a value: a range, a minimum, states, a text, or None for not known or not settled."""

GENERAL = "cautions_all"
"""Id of the cautions that concern every fish (the care row ``all``)."""

FOR_EVERY_FISH = ("handling", "acclimation", "transport", "medicine", "law")
"""Columns whose text in the care row ``all`` holds for every fish, beside what a group or a kind adds."""

_ORDER = (
    "adult_length_mm",
    "tank_volume_l",
    "group_volume_l",
    "tank_length_cm",
    "tank_width_cm",
    "temperature_c",
    "ph",
    "gh_dgh",
    "oxygen_mg_l",
    "flow",
    "turnover_per_hour",
    "substrate",
    "diet_type",
    "diet_offer",
    "diet_avoid",
    "shelters",
    "cave",
    "temperament",
    "companions",
    "breeding",
    "eggs",
    "hatch_days",
    "cautions",
    *FOR_EVERY_FISH,
)


def _in_order() -> dict[str, CareAttribute]:
    known = {a.id: a for a in CARE_ATTRIBUTES}
    ordered = {i: known.pop(i) for i in _ORDER if i in known}
    return {**ordered, **known, GENERAL: CareAttribute(GENERAL, "For every fish", "text")}


ATTRIBUTES: dict[str, CareAttribute] = _in_order()
"""The columns of care.csv in the order of a care sheet, and the cautions for every fish."""

_UNITS = {"degC": "°C", "dGH": "°dGH", "tank volumes/h": "tank volumes an hour"}
_WORDS = {
    "omnivore": "mixed food",
    "meat": "meaty food",
    "molluscs": "snails and mussels",
    "wood": "wood with other food",
    "aufwuchs": "growth on stones",
    "algae": "algae and plant food",
}


def _inches(mm: float) -> str:
    return f"{mm / 10 / CM_PER_INCH:.1f}"


def _other(factor: float, offset: float = 0.0) -> Callable[[float], str]:
    return lambda x: f"{x * factor + offset:.0f}"


_SECOND_UNIT: dict[str, tuple[str, Callable[[float], str]]] = {
    "adult_length_mm": ("in", _inches),
    "tank_volume_l": ("US gal", _other(1 / LITRES_PER_US_GALLON)),
    "group_volume_l": ("US gal", _other(1 / LITRES_PER_US_GALLON)),
    "tank_length_cm": ("in", _other(1 / CM_PER_INCH)),
    "tank_width_cm": ("in", _other(1 / CM_PER_INCH)),
    "temperature_c": ("°F", _other(9 / 5, 32)),
    "gh_dgh": ("mg/L as CaCO3", _other(CACO3_PER_DGH)),
}


def unit_words(attribute: CareAttribute) -> str:
    """Return the metric unit as it is shown."""
    return _UNITS.get(attribute.unit, attribute.unit)


def read_cell(attribute: CareAttribute, cell: str) -> Value:
    """Read a cell of care.csv.

    Parameters
    ----------
    attribute : CareAttribute
    cell : str

    Returns
    -------
    tuple of float, float, frozenset of str, str or None
        None for a blank cell.

    Raises
    ------
    IdkeyError
        If the text does not fit the attribute.

    Examples
    --------
    >>> read_cell(ATTRIBUTES["temperature_c"], "26..30")
    (26.0, 30.0)
    >>> read_cell(ATTRIBUTES["tank_volume_l"], "120")
    120.0
    """
    try:
        value = parse_care(attribute, cell)
    except ValueError as error:
        msg = f"care.csv, {attribute.id}: {cell!r}: {error}"
        raise IdkeyError(msg) from None
    if isinstance(value, Range):
        return value.low, value.high
    return frozenset(value) if isinstance(value, tuple) else value


def state_words(attribute: CareAttribute, states: Iterable[str]) -> str:
    """Put states into words, in their fixed order."""
    chosen = set(states)
    words = [_WORDS.get(state, state) for state in attribute.states if state in chosen]
    return " or ".join(filter(None, (", ".join(words[:-1]), words[-1])))


def _span(low: str, high: str) -> str:
    return low if low == high else f"{low} to {high}"


def format_value(attribute: CareAttribute, value: Value) -> str:
    """Put a value into words: metric first, the other unit in brackets.

    Examples
    --------
    >>> format_value(ATTRIBUTES["temperature_c"], (26.0, 30.0))
    '26 to 30 °C (79 to 86 °F)'
    >>> format_value(ATTRIBUTES["tank_volume_l"], 240.0)
    '240 L (63 US gal)'
    """
    if value is None:
        return "not known"
    if isinstance(value, str):
        return value
    if isinstance(value, frozenset):
        return state_words(attribute, value)
    low, high = value if isinstance(value, tuple) else (value, value)
    digits = ".1f" if attribute.id == "ph" else "g"
    text = " ".join(filter(None, (_span(f"{low:{digits}}", f"{high:{digits}}"), unit_words(attribute))))
    if attribute.id in _SECOND_UNIT:
        unit, convert = _SECOND_UNIT[attribute.id]
        text += f" ({_span(convert(low), convert(high))} {unit})"
    return text
