"""One row of a tank check, and amounts in words."""

from __future__ import annotations

from dataclasses import dataclass

from idkey.care.demand import Demand
from idkey.care.water import CM_PER_INCH, LITRES_PER_US_GALLON, dgh_to_caco3

__all__ = [
    "AMMONIA_LIMIT",
    "PRACTICE",
    "TOLERANCE",
    "VERDICTS",
    "VITAL",
    "Check",
    "amount",
    "figure",
    "listed",
    "with_unknown",
]

VERDICTS = ("pass", "fails", "not measured", "need not known", "names disagree", "read")
"""What a row can say; ``read`` is a text for the keeper to judge by, and never counts as a pass."""

VITAL = ("adult_length_mm", "tank_volume_l", "temperature_c", "ph", "oxygen_mg_l", "ammonia_mg_l")
"""Needs without which no tank is said to fit: room and water (our own choice)."""

AMMONIA_LIMIT = 0.05
"""mg/L un-ionised ammonia nitrogen; more harms gills (University of Florida, IFAS, sheet FA16: a copy)."""

PRACTICE = "common practice"
TOLERANCE = 1e-9
"""Relative; a volume worked out from its sides may miss its last digit."""


@dataclass(frozen=True)
class Check:
    """One row of the answer.

    Attributes
    ----------
    attribute, label : str
        Column of care.csv (or ``ammonia_mg_l``, ``growth``), and what it is called.
    wanted, found : str
        What the names call for and what the tank has, units shown.
    verdict : {"pass", "fails", "not measured", "need not known", "names disagree", "read"}
    short_by : str
        How far off and on which side; blank unless it fails.
    change : str
        What to do.
    basis : str
        Where the need or the rule comes from.
    off : float
        How far off as a share of the need, to rank tanks by; 0 unless it fails.
    """

    attribute: str
    label: str
    wanted: str
    found: str
    verdict: str
    short_by: str = ""
    change: str = ""
    basis: str = ""
    off: float = 0.0

    @property
    def open(self) -> bool:
        """Whether it can't be said yet."""
        return self.verdict in ("not measured", "need not known", "names disagree")

    @property
    def vital(self) -> bool:
        """Whether a tank can't be said to fit while this row is open.

        That is so for everything that a measurement would settle, since the measurement may fail; for a need
        that is not known only where it is of room or water.
        """
        return self.open and (self.verdict != "need not known" or self.attribute in VITAL)


# -- amounts in words -------------------------------------------------------------------------------

_UNITS: dict[str, tuple[str, str, float, float]] = {
    # metric unit, other unit, factor and offset of the other
    "adult_length_mm": ("mm", "in", 0.1 / CM_PER_INCH, 0.0),
    "tank_volume_l": ("L", "US gal", 1 / LITRES_PER_US_GALLON, 0.0),
    "tank_length_cm": ("cm", "in", 1 / CM_PER_INCH, 0.0),
    "temperature_c": ("°C", "°F", 9 / 5, 32.0),
    "ph": ("", "", 0.0, 0.0),
    "gh_dgh": ("°dGH", "mg/L as CaCO3", float(dgh_to_caco3(1.0)), 0.0),
    "oxygen_mg_l": ("mg/L", "", 0.0, 0.0),
    "turnover_per_hour": ("tank volumes an hour", "", 0.0, 0.0),
}
_UNITS["group_volume_l"] = _UNITS["tank_volume_l"]
_UNITS["tank_width_cm"] = _UNITS["tank_length_cm"]


def amount(attribute: str, low: float, high: float | None = None, *, difference: bool = False) -> str:
    """Put an amount, or a range, into words: metric first, the other unit in brackets.

    Examples
    --------
    >>> amount("temperature_c", 26.0, 30.0), amount("temperature_c", 2.0, difference=True)
    ('26 to 30 °C (78.8 to 86 °F)', '2 °C (3.6 °F)')
    """
    unit, other, factor, offset = _UNITS[attribute]
    ends = [low] if high is None or high == low else [low, high]
    if ends == [1] and unit.startswith("tank volumes"):
        unit = unit.replace("volumes", "volume")
    text = f"{' to '.join(figure(end) for end in ends)} {unit}".rstrip()
    if not other:
        return text
    shift = 0.0 if difference else offset
    return f"{text} ({' to '.join(figure(end * factor + shift, 1) for end in ends)} {other})"


def figure(x: float, digits: int = 2) -> str:
    """Write a number without needless digits; never as 0 where there is something."""
    step = 10.0**-digits
    if 0 < x < step / 2:
        return f"less than {step:g}"
    text = f"{x:.{digits}f}"
    return text.rstrip("0").rstrip(".") if digits else text


def listed(labels: tuple[str, ...]) -> str:
    """List names in words."""
    return " and ".join(filter(None, ("; ".join(labels[:-1]), labels[-1])))


def with_unknown(demand: Demand, wanted: str) -> str:
    """Say what is wanted, and for whom it is not known."""
    if not wanted:
        return "not known"
    return f"{wanted}; not known for {listed(demand.unknown)}" if demand.unknown else wanted
