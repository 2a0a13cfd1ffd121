"""Which columns care.csv has, and how their cells read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from idkey.table.schema import Range, parse_range

__all__ = ["CARE_ATTRIBUTES", "EVERY_GROUP", "CareAttribute", "parse_care"]

EVERY_GROUP = "all"
"""Care group whose row holds for every fish."""


@dataclass(frozen=True, slots=True)
class CareAttribute:
    """One column of care.csv.

    Attributes
    ----------
    id, label, unit : str
    kind : {"range", "minimum", "states", "text"}
    states : tuple of str
        Allowed states, mildest first.
    """

    id: str
    label: str
    kind: Literal["range", "minimum", "states", "text"]
    unit: str = ""
    states: tuple[str, ...] = ()


CARE_ATTRIBUTES: tuple[CareAttribute, ...] = (
    CareAttribute("adult_length_mm", "Adult length", "range", "mm"),
    CareAttribute(
        "diet_type", "Diet", "states", "", ("algae", "aufwuchs", "wood", "omnivore", "molluscs", "meat")
    ),
    CareAttribute("diet_offer", "Offer", "text"),
    CareAttribute("diet_avoid", "Avoid", "text"),
    CareAttribute("flow", "Flow", "states", "", ("gentle", "moderate", "strong")),
    CareAttribute("turnover_per_hour", "Turnover", "range", "tank volumes/h"),
    CareAttribute("temperature_c", "Temperature", "range", "degC"),
    CareAttribute("ph", "pH", "range"),
    CareAttribute("gh_dgh", "General hardness", "range", "dGH"),
    CareAttribute("oxygen_mg_l", "Oxygen, at least", "minimum", "mg/L"),
    CareAttribute("tank_length_cm", "Tank length, at least", "minimum", "cm"),
    CareAttribute("tank_width_cm", "Tank width, at least", "minimum", "cm"),
    CareAttribute("tank_volume_l", "Tank volume, at least", "minimum", "L"),
    CareAttribute("group_volume_l", "Volume for a group, at least", "minimum", "L"),
    CareAttribute("substrate", "Bottom", "text"),
    CareAttribute("shelters", "Shelters", "text"),
    CareAttribute("cave", "Breeding cave", "text"),
    CareAttribute("temperament", "Temperament", "text"),
    CareAttribute("companions", "Companions", "text"),
    CareAttribute("breeding", "Breeding", "text"),
    CareAttribute("eggs", "Eggs in a clutch", "range"),
    CareAttribute("hatch_days", "Eggs hatch after", "range", "days"),
    CareAttribute("handling", "Handling", "text"),
    CareAttribute("acclimation", "Settling in", "text"),
    CareAttribute("transport", "Transport", "text"),
    CareAttribute("medicine", "Medicine", "text"),
    CareAttribute("law", "Law", "text"),
    CareAttribute("cautions", "Cautions", "text"),
)


def parse_care(attribute: CareAttribute, text: str) -> Range | float | tuple[str, ...] | str | None:
    """Read a care cell; None where it is blank.

    Raises
    ------
    ValueError
        With a sentence that says what would be right.
    """
    text = text.strip()
    if not text:
        return None
    if attribute.kind == "range":
        return parse_range(text)
    if attribute.kind == "minimum":
        found = parse_range(text)
        if found.low != found.high or found.low <= 0:
            msg = f"write one number more than 0, in {attribute.unit}"
            raise ValueError(msg)
        return found.low
    if attribute.kind == "states":
        parts = [p.strip() for p in text.split("|")]
        wrong = [p for p in parts if p not in attribute.states]
        if wrong:
            msg = f"{wrong[0]!r} is not one of {', '.join(attribute.states)}"
            raise ValueError(msg)
        return tuple(s for s in attribute.states if s in parts)
    return text
