"""A tank as it was measured, and what a measurement can plausibly be."""

from __future__ import annotations

import numbers
from collections.abc import Iterable, Mapping
from dataclasses import MISSING, dataclass, fields
from typing import Any

import numpy as np

from idkey.care.water import turnover, volume_l
from idkey.errors import IdkeyError, one_of
from idkey.table.reading import quantity
from idkey.table.units import unit_words


@dataclass(frozen=True, slots=True)
class _Limit:
    """What a measurement is called and the range that is plausible for it."""

    label: str
    low: float
    high: float
    unit: str

    @property
    def span(self) -> str:
        return f"{self.low:g} to {self.high:g} {unit_words(self.unit)}".rstrip()

    def wrong(self, value: Any) -> str:
        """Say what is wrong with a value; blank where nothing is."""
        # A bool is a number to Python, and never a measurement.
        if isinstance(value, (bool, np.bool_)) or not isinstance(value, numbers.Real):
            return f"give a number, {self.span}"
        return "" if self.low <= float(value) <= self.high else f"the {self.label} of a tank is {self.span}"


# Water formulas hold from 0 to 40 degC and above half an atmosphere, which is 5400 m.
_LIMITS: dict[str, _Limit] = {
    "length_cm": _Limit("length", 5, 2000, "cm"),
    "width_cm": _Limit("width", 5, 2000, "cm"),
    "height_cm": _Limit("height", 5, 500, "cm"),
    "fill_cm": _Limit("height of the water", 1, 500, "cm"),
    "pump_l_h": _Limit("flow of the pump", 0, 1_000_000, "L/h"),
    "temperature_c": _Limit("temperature", 0, 40, "degC"),
    "ph": _Limit("pH", 3, 11, ""),
    "gh_dgh": _Limit("general hardness", 0, 60, "dGH"),
    "oxygen_mg_l": _Limit("oxygen", 0, 30, "mg/L"),
    "ammonia_mg_l": _Limit("total ammonia nitrogen", 0, 100, "mg/L"),
    "altitude_m": _Limit("altitude", -430, 5400, "m"),
}
_NEEDED = ("length_cm", "width_cm", "height_cm")
_COMPANION_MM = _Limit("length of a companion", 1, 3000, "mm")
_MOST = 10_000
_WRITE_COMPANIONS = "write name:length in mm:count, several joined by |, such as tetra:30:12|corydoras::6"


@dataclass(frozen=True)
class Companion:
    """What lives in the tank already; `length_mm` is that of an adult, None where it is not known."""

    name: str
    length_mm: float | None = None
    count: int = 1

    def __post_init__(self) -> None:
        named = isinstance(self.name, str) and self.name.strip()
        whole = isinstance(self.count, numbers.Integral) and not isinstance(self.count, bool)
        for field, right in (
            ("name", "" if named else "give a name"),
            ("length_mm", "" if self.length_mm is None else _COMPANION_MM.wrong(self.length_mm)),
            ("count", "" if whole and 1 <= self.count <= _MOST else f"give a whole number, 1 to {_MOST}"),
        ):
            if right:
                msg = f"companion {self.name!r}, {field} {getattr(self, field)!r}: {right}"
                raise IdkeyError(msg)


@dataclass(frozen=True)
class Tank:
    """A tank as it was measured. What is None was not measured.

    Attributes
    ----------
    name : str
    length_cm, width_cm, height_cm : float
        Inside measures in cm; width is front to back.
    fill_cm : float or None
        Height of the water in cm, from the bottom (from the top of the sand where there is sand).
    pump_l_h : float or None
        What the pumps move in L/h, measured at the outlet with a bucket and a watch where that can be done.
    temperature_c, ph, gh_dgh, oxygen_mg_l : float or None
        degC, pH, German degrees of general hardness, mg/L.
    ammonia_mg_l : float or None
        Total ammonia as nitrogen in mg/L. A kit that reads as ammonium (NH4) shows more: take 14.007 / 18.039
        of its reading (molar masses).
    altitude_m : float
        Metres above the sea; it lowers the oxygen that water can hold.
    substrate : str
    companions : tuple of Companion

    Raises
    ------
    IdkeyError
        One line for everything that is wrong: the measure, the value and the plausible range.
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
        wrong = _what_is_wrong({f.name: getattr(self, f.name) for f in fields(self)})
        if wrong:
            raise IdkeyError(_one_line(self.name, wrong))
        for measure in _LIMITS:
            value = getattr(self, measure)
            if value is not None:
                object.__setattr__(self, measure, float(value))

    @classmethod
    def of(cls, mapping: Mapping[str, Any]) -> Tank:
        """Return a tank from a mapping of these names, such as a row of a file or what was typed in.

        A number may be text (``"26.5"``); None and blank text are not measured. Companions may be as in a
        file: ``"tetra:30:12|corydoras::6"``. Raises IdkeyError with one line for everything that is wrong.
        """
        if not isinstance(mapping, Mapping):
            msg = f"{mapping!r} is no tank: give a Tank, or a mapping such as {{'length_cm': 100, ...}}"
            raise IdkeyError(msg)
        tank, wrong = tank_from(mapping)
        if tank is None:
            raise IdkeyError(_one_line(mapping.get("name"), wrong))
        return tank

    @property
    def full_volume_l(self) -> float:
        """Litres when it is filled to the brim."""
        return volume_l(self.length_cm, self.width_cm, self.height_cm)

    @property
    def volume_l(self) -> float | None:
        """Litres of water; None where the height of the water was not measured."""
        return None if self.fill_cm is None else volume_l(self.length_cm, self.width_cm, self.fill_cm)

    @property
    def turnover(self) -> float | None:
        """Tank volumes an hour; None without a flow or a volume."""
        known = self.volume_l is not None and self.pump_l_h is not None
        return turnover(self.pump_l_h, self.volume_l) if known else None


TANK_FIELDS: tuple[str, ...] = tuple(f.name for f in fields(Tank))
"""What is measured of a tank, in the order of a file."""
Wrong = tuple[str, Any, str]
"""Measure, value, and what would be right."""


def tank_from(mapping: Mapping[str, Any]) -> tuple[Tank | None, list[Wrong]]:
    """Return the tank, or None and everything that is wrong with it; see `Tank.of`."""
    strange = [key for key in mapping if key not in TANK_FIELDS]
    wrong = [(str(key), mapping[key], one_of(key, TANK_FIELDS, "a measure of a tank")) for key in strange]
    values: dict[str, Any] = {}
    for f in fields(Tank):
        value = mapping.get(f.name)
        value = (value.strip() or None) if isinstance(value, str) else value
        if value is None:
            value = "tank" if f.name == "name" else None if f.default is MISSING else f.default
        values[f.name] = value
        try:
            values[f.name] = _read(f.name, value)
        except ValueError as error:
            wrong.append((f.name, value, str(error)))
    unread = {measure for measure, _, _ in wrong}
    wrong += [w for w in _what_is_wrong(values) if w[0] not in unread]
    return (None, wrong) if wrong else (Tank(**values), [])


def _read(measure: str, value: Any) -> Any:
    """Read what may be text. Raises ValueError with a sentence that says what would be right."""
    if measure == "companions":
        return _companions(value)
    is_written = measure in _LIMITS and isinstance(value, str)
    return quantity(value, _LIMITS[measure].unit) if is_written else value


def _companions(value: Any) -> tuple[Companion, ...]:
    """Read ``name:length in mm:count`` joined by ``|``, or an iterable of Companion or of mappings."""
    if isinstance(value, str):
        return tuple(_companion(part) for part in value.split("|"))
    if not isinstance(value, Iterable):
        raise ValueError(_WRITE_COMPANIONS)
    companions = []
    for one in value:
        try:
            companions.append(Companion(**one) if isinstance(one, Mapping) else one)
        except TypeError:
            right = f"{dict(one)!r}: a companion has name, length_mm and count"
            raise ValueError(right) from None
    return tuple(companions)


def _companion(text: str) -> Companion:
    name, length, count, *more = [*(part.strip() for part in text.split(":")), "", ""]
    if len(more) > 2 or not name:
        raise ValueError(_WRITE_COMPANIONS)
    try:
        length_mm, how_many = quantity(length, "mm") if length else None, int(count) if count else 1
    except ValueError:
        raise ValueError(_WRITE_COMPANIONS) from None
    return Companion(name, length_mm, how_many)


def _what_is_wrong(values: Mapping[str, Any]) -> list[Wrong]:
    """Return everything that is wrong with the measures of a tank; empty for a good tank."""
    wrong: dict[str, str] = {}
    if not isinstance(values["name"], str) or not values["name"].strip():
        wrong["name"] = "give the tank a name"
    for measure, limit in _LIMITS.items():
        value = values[measure]
        if value is not None:
            wrong[measure] = limit.wrong(value)
        elif measure in _NEEDED:
            why = "a turnover needs a volume: " if values["pump_l_h"] is not None else ""
            wrong[measure] = f"{why}give the {limit.label}, {limit.span}"
        elif measure == "altitude_m":
            wrong[measure] = f"give a number, {limit.span}; 0 at the sea"
    fill, height = values["fill_cm"], values["height_cm"]
    if fill is not None and not wrong["fill_cm"] and not wrong["height_cm"] and fill > height:
        wrong["fill_cm"] = f"the water can't stand higher than the tank, {height:g} cm"
    if not isinstance(values["substrate"], str):
        wrong["substrate"] = "give a text, such as sand"
    companions = values["companions"]
    if not isinstance(companions, tuple) or not all(isinstance(c, Companion) for c in companions):
        wrong["companions"] = "give a tuple of Companion"
    return [(measure, values[measure], right) for measure, right in wrong.items() if right]


def _one_line(name: Any, wrong: Iterable[Wrong]) -> str:
    problems = "; ".join(f"{m}{'' if value is None else f' {value!r}'}: {right}" for m, value, right in wrong)
    # A name may hold a line break; an error stays on one line.
    return " ".join(f"tank {name!r}: {problems}".split()) if name else f"tank: {problems}"
