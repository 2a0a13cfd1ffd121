"""The columns of a care sheet in its order."""

from __future__ import annotations

from dataclasses import replace

from idkey.care.water import CACO3_PER_DGH, CM_PER_INCH, LITRES_PER_US_GALLON
from idkey.table.care import CareColumn as CareAttribute
from idkey.table.rows import shipped_care_columns

__all__ = ["COLUMNS", "FOR_EVERY_FISH", "GENERAL", "STATE_WORDS", "amount", "unit_words"]

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
    known = {a.id: a for a in shipped_care_columns()}
    ordered = {i: known.pop(i) for i in _ORDER if i in known}
    ordered["ph"] = replace(ordered["ph"], unit="pH")
    return {**ordered, **known, GENERAL: CareAttribute(GENERAL, "For every fish", "text")}


COLUMNS: dict[str, CareAttribute] = _in_order()
"""The columns of care.csv in the order of a care sheet, and the cautions for every fish."""

STATE_WORDS = {
    "omnivore": "mixed food",
    "meat": "meaty food",
    "molluscs": "snails and mussels",
    "wood": "wood with other food",
    "aufwuchs": "growth on stones",
    "algae": "algae and plant food",
}


_UNITS: dict[str, tuple[str, str, float, float, int]] = {
    # unit as shown, other unit, factor and offset of the other, its digits
    "mm": ("mm", "in", 0.1 / CM_PER_INCH, 0.0, 1),
    "cm": ("cm", "in", 1 / CM_PER_INCH, 0.0, 0),
    "L": ("L", "US gal", 1 / LITRES_PER_US_GALLON, 0.0, 0),
    "degC": ("°C", "°F", 9 / 5, 32.0, 0),
    "dGH": ("°dGH", "mg/L as CaCO3", CACO3_PER_DGH, 0.0, 0),
    "pH": ("", "", 0.0, 0.0, 0),
    "tank volumes/h": ("tank volumes an hour", "", 0.0, 0.0, 0),
}


def unit_words(unit: str) -> str:
    """Return a unit as it is shown."""
    return _UNITS.get(unit, (unit,))[0]


def amount(low: float, high: float | None = None, unit: str = "", *, difference: bool = False) -> str:
    """Put an amount, a range or a difference into words: metric first, the other unit in brackets."""
    shown, other, factor, offset, digits = _UNITS.get(unit, (unit, "", 0.0, 0.0, 0))
    ends = [low] if high is None or high == low else [low, high]
    if ends == [1]:
        shown = shown.replace("volumes", "volume")
    figures = [_figure(end, 2) for end in ends]
    if unit == "pH" and not difference:
        figures = [f"{figure}.0" if "." not in figure else figure for figure in figures]
    text = f"{' to '.join(figures)} {shown}".rstrip()
    if not other:
        return text
    if difference:
        others = [_figure(end * factor, 1) for end in ends]
    else:
        others = [f"{end * factor + offset:.{digits}f}" for end in ends]
    return f"{text} ({' to '.join(dict.fromkeys(others))} {other})"


def _figure(x: float, digits: int) -> str:
    """Write a number without needless digits; never as 0 where there is something."""
    if 0 < x < 0.5 * 10.0**-digits:
        return f"less than {10.0**-digits:g}"
    return f"{x:.{digits}f}".rstrip("0").rstrip(".")
