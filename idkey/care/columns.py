"""The columns of a care sheet in its order."""

from __future__ import annotations

from dataclasses import replace

from idkey.table.care import CareColumn as CareAttribute
from idkey.table.rows import shipped_care_columns

__all__ = ["COLUMNS", "FOR_EVERY_FISH", "GENERAL", "STATE_WORDS"]

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
