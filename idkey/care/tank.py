"""A tank as it was measured, and what a measurement can plausibly be."""

from __future__ import annotations

import numbers
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from typing import Any, TypeAlias

from idkey.arguments import checked, shown
from idkey.errors import IdkeyError, one_of
from idkey.table.reading import quantity
from idkey.table.units import unit_words

# Water formulas hold from 0 to 40 degC and above half an atmosphere, which is 5400 m.
_LIMITS = {
    "length_cm": (5, 2000, "cm"),
    "width_cm": (5, 2000, "cm"),
    "height_cm": (5, 500, "cm"),
    "fill_cm": (1, 500, "cm"),
    "pump_l_h": (0, 1_000_000, "L/h"),
    "temperature_c": (0, 40, "degC"),
    "ph": (3, 11, ""),
    "gh_dgh": (0, 60, "dGH"),
    "oxygen_mg_l": (0, 30, "mg/L"),
    "ammonia_mg_l": (0, 100, "mg/L"),
    "altitude_m": (-430, 5400, "m"),
}
"""What is plausible for each measure, and its unit."""
_USUAL = {"length_cm": (20, 400), "width_cm": (15, 200), "height_cm": (15, 150), "fill_cm": (8, 145)}
"""What few tanks are beyond (judgement): what lies outside is more often a slip than a tank."""
SIZE = ("length_cm", "width_cm", "height_cm")
"""What must be measured of every tank."""
_COMPANION = re.compile(r"([^:|]+)(?::([^:|]*))?(?::\s*([0-9]*)\s*)?")
_WRITE_COMPANIONS = (
    "give companions, or write name:length in mm:count, several joined by |, such as tetra:30:12|corydoras::6"
)
Wrong: TypeAlias = tuple[str, Any, str]
"""Measure, value, and what would be right."""


class TankError(IdkeyError):
    """Measures that no tank has; `wrong` lists each with its value and what would be right."""

    def __init__(self, name: Any, wrong: Iterable[Wrong]):
        self.wrong = tuple(wrong)
        problems = "; ".join(
            f"{m}{'' if v is None else f' {shown(v)}'}: {right}" for m, v, right in self.wrong
        )
        # A name may hold a line break; an error stays on one line.
        super().__init__(
            " ".join(f"tank{f' {name!r}' if isinstance(name, str) and name else ''}: {problems}".split())
        )


def _right(value: Any, low: float, high: float, unit: str = "") -> str:
    """Say what would be right for a number; blank where it is."""
    # A bool is a number to Python, and never a measurement.
    is_number = isinstance(value, numbers.Real) and not isinstance(value, bool)
    if is_number and low <= value <= high:
        return ""
    return f"give a number, {low:g} to {high:g} {unit_words(unit)}".rstrip()


def asked_back(measure: str, value: float) -> str:
    """Ask about a measure that is plausible but that few tanks have; blank for any other.

    >>> asked_back("length_cm", 800)
    '800 cm: did you mean 80 cm?'
    """
    low, high = _USUAL.get(measure, (value, value))
    if low <= value <= high:
        return ""
    meant = {"cm": value / 10 if value > high else value * 10, "in": value * 2.54}
    meant = {unit: cm for unit, cm in meant.items() if low <= cm <= high}
    words = " or ".join(f"{value if unit == 'in' else cm:g} {unit}" for unit, cm in meant.items())
    return f"{value:g} cm: {f'did you mean {words}' if words else 'is it so'}?"


@dataclass(frozen=True)
class Companion:
    """What lives in the tank already; `length_mm` is that of an adult, None where it is not known."""

    name: str
    length_mm: float | None = None
    count: int = 1

    def __post_init__(self) -> None:
        named = isinstance(self.name, str) and self.name.strip()
        whole = isinstance(self.count, numbers.Integral) and 1 <= self.count <= 10_000
        for field, right in (
            ("name", "" if named else "give a name"),
            ("length_mm", "" if self.length_mm is None else _right(self.length_mm, 1, 3000, "mm")),
            ("count", "" if whole else "give a whole number, 1 to 10000"),
        ):
            if right:
                value = shown(getattr(self, field))
                raise IdkeyError(f"companion {shown(self.name)}, {field} {value}: {right}")

    @classmethod
    @checked
    def of(cls, text: str) -> Companion:
        """Read ``name:length in mm:count``. Raises IdkeyError with what would be right."""
        match = _COMPANION.fullmatch(text.strip())
        if match is None:
            raise IdkeyError(_WRITE_COMPANIONS)
        name, length, count = match.groups("")
        return cls(name.strip(), quantity(length, "mm") if length.strip() else None, int(count or 1))


@dataclass(frozen=True)
class Tank:
    """A tank as it was measured; what is None was not. Raises TankError, one line for all that is wrong.

    Attributes
    ----------
    length_cm, width_cm, height_cm, fill_cm : float
        Inside measures; width is front to back. The water is filled to a height from the bottom, or from the
        top of the sand where there is sand.
    pump_l_h : float or None
        What the pumps move in L/h, measured at the outlet with a bucket and a watch where that can be done.
    temperature_c, ph, gh_dgh, oxygen_mg_l : float or None
        degC, pH, German degrees of general hardness, mg/L.
    ammonia_mg_l : float or None
        Total ammonia as nitrogen in mg/L. A kit that reads as ammonium (NH4) shows more: take 14.007 / 18.039
        of its reading (molar masses).
    altitude_m : float
        Metres above the sea; it lowers the oxygen that water can hold.
    """

    name: str
    length_cm: float
    width_cm: float
    height_cm: float
    fill_cm: float | None = None
    pump_l_h: float | None = None
    temperature_c: float | None = None
    ph: float | None = None
    gh_dgh: float | None = None
    oxygen_mg_l: float | None = None
    ammonia_mg_l: float | None = None
    altitude_m: float = 0.0
    substrate: str = ""
    companions: tuple[Companion, ...] = ()

    def __post_init__(self) -> None:
        wrong: dict[str, str] = {}
        for measure, limits in _LIMITS.items():
            value = getattr(self, measure)
            if value is not None or measure in (*SIZE, "altitude_m"):
                wrong[measure] = _right(value, *limits)
        measured = self.fill_cm is not None and not (wrong["fill_cm"] or wrong["height_cm"])
        if measured and self.fill_cm > self.height_cm:
            wrong["fill_cm"] = f"the water can't stand higher than the tank, {self.height_cm:g} cm"
        if not isinstance(self.name, str) or not self.name.strip():
            wrong["name"] = "give the tank a name"
        if not isinstance(self.substrate, str):
            wrong["substrate"] = "give a text, such as sand"
        is_tuple = isinstance(self.companions, tuple)
        if not is_tuple or not all(isinstance(c, Companion) for c in self.companions):
            wrong["companions"] = _WRITE_COMPANIONS
        if any(wrong.values()):
            raise TankError(self.name, ((m, getattr(self, m), right) for m, right in wrong.items() if right))
        for measure in _LIMITS:
            if (value := getattr(self, measure)) is not None:
                object.__setattr__(self, measure, float(value))

    @classmethod
    def of(cls, measures: Mapping[str, Any]) -> Tank:
        """Return a tank from a mapping of these names, such as a row of a file or what was typed in.

        A number may be text (``"26.5"``); None and blank text are not measured. Companions may be as in a
        file: ``"tetra:30:12|corydoras::6"``. Raises TankError with one line for everything that is wrong.
        """
        if not isinstance(measures, Mapping):
            msg = f"{shown(measures)} is no tank: give a Tank, or a mapping such as {{'length_cm': 100, ...}}"
            raise IdkeyError(msg)
        values: dict[str, Any] = {"name": "tank", **dict.fromkeys(SIZE)}
        wrong: dict[str, Wrong] = {}
        for measure, value in measures.items():
            if measure not in TANK_FIELDS:
                wrong[measure] = measure, value, one_of(measure, TANK_FIELDS, "a measure of a tank")
            elif not (value is None or isinstance(value, str) and not value.strip()):
                try:
                    values[measure] = _read(measure, value)
                except ValueError as error:
                    values[measure], wrong[measure] = None, (measure, value, str(error))
        try:
            tank = cls(**values)
        except TankError as error:
            wrong = {measure: (measure, value, right) for measure, value, right in error.wrong} | wrong
        if wrong:
            raise TankError(measures.get("name"), wrong.values())
        return tank

    @property
    def full_volume_l(self) -> float:
        """Litres when it is filled to the brim; stones, wood and sand are not taken off."""
        return self.length_cm * self.width_cm * self.height_cm / 1000

    @property
    def volume_l(self) -> float | None:
        """Litres of water; None where the height of the water was not measured."""
        return None if self.fill_cm is None else self.length_cm * self.width_cm * self.fill_cm / 1000

    @property
    def turnover(self) -> float | None:
        """Tank volumes an hour; None without a flow or a volume."""
        return None if None in (self.pump_l_h, self.fill_cm) else self.pump_l_h / self.volume_l


TANK_FIELDS: tuple[str, ...] = tuple(f.name for f in fields(Tank))
"""What is measured of a tank, in the order of a file."""


def _read(measure: str, value: Any) -> Any:
    """Read what may be text. Raises ValueError with what would be right."""
    if measure == "companions" and isinstance(value, Iterable):
        return tuple(map(Companion.of, value.split("|"))) if isinstance(value, str) else tuple(value)
    if isinstance(value, str):
        return quantity(value, _LIMITS[measure][2]) if measure in _LIMITS else value.strip()
    return value
