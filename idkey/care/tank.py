"""A tank held against a care sheet: what passes, what fails and by how much, and what can't be said yet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from idkey.care.check import AMMONIA_LIMIT, VERDICTS, VITAL, Check
from idkey.care.company import companions, substrate
from idkey.care.demand import Demands
from idkey.care.measures import TANK_FIELDS, Companion, Tank
from idkey.care.rules_room import group_volume, growth, length, room_to_turn, volume, width
from idkey.care.rules_water import ammonia, flow, hardness, oxygen, ph, temperature, turnover
from idkey.care.sheet import CareSheet
from idkey.display import Shown
from idkey.errors import IdkeyError

__all__ = [
    "AMMONIA_LIMIT",
    "TANK_FIELDS",
    "VERDICTS",
    "VITAL",
    "Check",
    "Companion",
    "Tank",
    "TankCheck",
    "check_against",
    "check_tank",
]

_RULES = (
    room_to_turn,
    volume,
    group_volume,
    length,
    width,
    temperature,
    ph,
    hardness,
    oxygen,
    ammonia,
    flow,
    turnover,
    substrate,
    companions,
    growth,
)
_COLUMNS = ("attribute", "label", "wanted", "found", "verdict", "short_by", "change", "basis")


@dataclass(frozen=True, repr=False)
class TankCheck(Shown):
    """What came of holding a tank against a care sheet.

    Attributes
    ----------
    names : tuple of str
        Taxon ids of the sheet.
    tank : Tank
    checks : tuple of Check
        One row a need, in the order of a care sheet.
    labels : tuple of str
        The names as they are shown.
    """

    names: tuple[str, ...]
    tank: Tank
    checks: tuple[Check, ...]
    labels: tuple[str, ...] = ()

    @property
    def fails(self) -> tuple[Check, ...]:
        """Rows that fail."""
        return tuple(c for c in self.checks if c.verdict == "fails")

    @property
    def open(self) -> tuple[Check, ...]:
        """Rows of which it can't be said yet: not measured, need not known, or the names disagree."""
        return tuple(c for c in self.checks if c.open)

    @property
    def ok(self) -> bool:
        """Whether nothing fails, all that can be measured was, and the vital needs are known (`VITAL`)."""
        return bool(self.checks) and not self.fails and not any(c.vital for c in self.checks)

    @property
    def off(self) -> float:
        """How far off the tank is: the shares of all rows that fail, added up. Our own choice, to rank by."""
        return sum(c.off for c in self.fails)

    @property
    def verdict(self) -> str:
        """The answer in words: it fits, what to measure before it can be said, or what fails by how much."""
        if self.fails:
            said = "; ".join(f"{_low(c.label)}, {c.short_by}" for c in self.fails)
            besides = _labels(c for c in self.checks if c.vital)
            return f"Fails: {_flat(said)}." + (f" Can't be said yet: {besides}." if besides else "")
        unknown = "Not known what it needs" if len(self.names) == 1 else "Not known what all of them need"
        if self.ok:
            parts = [
                "Fits, in all that can be measured.",
                *self._part(unknown, "need not known"),
                *self._part("To judge by reading", "read", leave_out=("growth",)),
            ]
        else:
            parts = [
                "Can't be said yet.",
                *self._part("Measure", "not measured", vital=True),
                *self._part("The names disagree on", "names disagree", vital=True),
                *self._part(unknown, "need not known", vital=True),
            ]
        return " ".join(parts)

    def _part(
        self, words: str, verdict: str, *, vital: bool = False, leave_out: tuple[str, ...] = ()
    ) -> list[str]:
        found = _labels(
            c
            for c in self.checks
            if c.verdict == verdict and c.attribute not in leave_out and (c.vital or not vital)
        )
        return [f"{words}: {found}."] if found else []

    def to_frame(self) -> pd.DataFrame:
        """Return the rows as a table of text.

        Returns
        -------
        pandas.DataFrame
            Columns ``attribute``, ``label``, ``wanted``, ``found``, ``verdict``, ``short_by``, ``change``,
            ``basis``.
        """
        rows = [tuple(getattr(c, column) for column in _COLUMNS) for c in self.checks]
        return pd.DataFrame(rows, columns=list(_COLUMNS), dtype="str")


def check_tank(care: CareSheet, tank: Tank | Mapping[str, Any]) -> TankCheck:
    """Hold a tank against a care sheet.

    A range fails where the tank lies outside it, a minimum where it has less; what was not measured, or is
    not known of the fish, is never a pass. Where several names have no value in common the names disagree,
    unless the tank suits none of them.

    Parameters
    ----------
    care : CareSheet
        From `care_for`; for several names all of them count.
    tank : Tank or mapping
        A mapping of the same names, such as ``{"length_cm": 100, "width_cm": 40, "height_cm": 40}``.

    Returns
    -------
    TankCheck

    Raises
    ------
    IdkeyError
        A measure that can't be: one line with the value and the plausible range.

    Examples
    --------
    >>> from idkey import care_for, load_table
    >>> care = care_for(load_table(), "hypancistrus_zebra")
    >>> check_tank(care, {"length_cm": 60, "width_cm": 30, "height_cm": 30, "temperature_c": 22}).ok
    False
    """
    return check_against(demands_of(care), tank)


def demands_of(care: CareSheet) -> Demands:
    """Return the demands of a sheet, to hold many tanks against.

    Raises IdkeyError for what is no care sheet.
    """
    if not isinstance(care, CareSheet):
        msg = (
            f"{type(care).__name__} is no care sheet: give care_for(table, 'hypancistrus_zebra') or the like"
        )
        raise IdkeyError(msg)
    return Demands(care)


def check_against(demands: Demands, tank: Tank | Mapping[str, Any]) -> TankCheck:
    """Hold a tank against demands; see `check_tank`."""
    if not isinstance(tank, Tank):
        tank = Tank.of(tank)
    care = demands.care
    return TankCheck(care.names, tank, tuple(rule(demands, tank) for rule in _RULES), care.labels)


def _labels(checks: Any) -> str:
    return ", ".join(_low(c.label) for c in checks)


def _low(label: str) -> str:
    """Write a label inside a sentence."""
    return label if label.startswith("pH") else label[:1].lower() + label[1:]


def _flat(text: str) -> str:
    return " ".join(text.split())
