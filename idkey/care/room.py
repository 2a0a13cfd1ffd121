"""Tanks held against a care sheet: one, and a fish room from a CSV file, ranked for one fish."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from idkey.arguments import checked
from idkey.care.rules import Check, rows
from idkey.care.sheet import CareSheet
from idkey.care.tank import SIZE, TANK_FIELDS, Tank, TankError
from idkey.display import Printed
from idkey.errors import TableError, one_of
from idkey.table.csvfile import Found, bytes_of, read_sheet
from idkey.table.units import first_down

_COLUMNS = ("attribute", "label", "wanted", "found", "verdict", "short_by", "change", "basis")


@dataclass(frozen=True, repr=False)
class TankCheck(Printed):
    """What came of holding a tank against a care sheet, for the names in `labels`: one row a need."""

    labels: tuple[str, ...]
    tank: Tank
    checks: tuple[Check, ...]

    @property
    def fails(self) -> tuple[Check, ...]:
        """Rows that fail."""
        return tuple(c for c in self.checks if c.verdict == "fails")

    @property
    def vital(self) -> tuple[Check, ...]:
        """Rows that keep it open whether the tank fits; see `Check`."""
        return tuple(c for c in self.checks if c.vital)

    @property
    def ok(self) -> bool:
        """Whether nothing fails, all that can be measured was, and the vital needs are known."""
        return bool(self.checks) and not self.fails and not self.vital

    @property
    def verdict(self) -> str:
        """The answer in words: it fits, what to measure before it can be said, or what fails by how much."""
        if self.fails:
            failures = "; ".join(f"{first_down(c.label)}, {c.short_by}" for c in self.fails)
            besides = f" Can't be said yet: {_labels(self.vital)}." if self.vital else ""
            return f"Fails: {' '.join(failures.split())}.{besides}"
        words = {
            "not measured": "Measure",
            "names disagree": "The names disagree on",
            "need not known": f"Not known what {'it needs' if len(self.labels) == 1 else 'all of them need'}",
            "read": "To judge by reading",
        }
        head = "Fits, in all that can be measured." if self.ok else "Can't be said yet."
        for verdict, what in words.items():
            asked = self.checks if self.ok else self.vital
            if labels := _labels(c for c in asked if c.verdict == verdict):
                head += f" {what}: {labels}."
        right = not self.ok and any(c.verdict == "pass" for c in self.checks)
        return f"{head} Nothing that was measured is wrong." if right else head

    def to_frame(self) -> pd.DataFrame:
        """Return the rows as a table of text, a column each part of a `Check`."""
        cells = [[getattr(c, column) for column in _COLUMNS] for c in self.checks]
        return pd.DataFrame(cells, columns=list(_COLUMNS), dtype="str")


@dataclass(frozen=True, repr=False)
class RoomCheck(Printed):
    """The tanks of a room: fewest failures first, then fewest vital needs open, least far off, by name."""

    labels: tuple[str, ...]
    checks: tuple[TankCheck, ...]

    @property
    def fitting(self) -> tuple[TankCheck, ...]:
        """Tanks that fit."""
        return tuple(c for c in self.checks if c.ok)

    def to_frame(self) -> pd.DataFrame:
        """Return the ranking: ``tank``, ``fits``, ``fails``, ``open`` (vital needs), ``verdict``."""
        rows = [(c.tank.name, c.ok, len(c.fails), len(c.vital), c.verdict) for c in self.checks]
        kinds = {"tank": "str", "fits": bool, "fails": int, "open": int, "verdict": "str"}
        return pd.DataFrame(rows, columns=list(kinds)).astype(kinds)


@checked
def check_tank(care: CareSheet, tank: Tank | Mapping[str, Any]) -> TankCheck:
    """Hold a tank against a care sheet.

    A range fails where the tank lies outside it, a minimum where it has less; what was not measured, or is
    not known of the fish, is never a pass. Where several names have no value in common the names disagree,
    unless the tank suits none of them. The tank is a Tank or a mapping of the same names. A measure that
    can't be is an IdkeyError: one line with the value and the plausible range.
    """
    if not isinstance(tank, Tank):
        tank = Tank.of(tank)
    return TankCheck(care.labels, tank, tuple(rows(care, tank)))


def _labels(checks: Iterable[Check]) -> str:
    return ", ".join(first_down(c.label) for c in checks)


@checked
def check_room(care: CareSheet, tanks: Iterable[Tank | Mapping[str, Any]]) -> RoomCheck:
    """Hold every tank of a room against a care sheet and rank them; their order changes nothing.

    Raises IdkeyError for a measure that can't be.
    """
    checks = sorted((check_tank(care, tank) for tank in tanks), key=_rank)
    return RoomCheck(care.labels, tuple(checks))


def _rank(check: TankCheck) -> tuple[int, int, float, str, str]:
    # The last only so that two tanks of one name stand in one order.
    off = sum(c.off for c in check.fails)
    return len(check.fails), len(check.vital), off, check.tank.name.casefold(), repr(check.tank)


@checked
def read_room(path: str | os.PathLike[str]) -> tuple[Tank, ...]:
    """Read the tanks of a room from a CSV file, in its order.

    The columns are those of `Tank` (``name``, ``length_cm``, ``width_cm`` and ``height_cm`` at least), one
    row a tank, blank where it was not measured, numbers with a decimal point. Companions are written
    ``name:length in mm:count``, several joined by ``|``; length and count may be left out. Raises TableError
    with everything that is wrong: file, row, column, value, and what would be right.
    """
    file, tanks = Path(path), {}
    found = Found(str(file.parent))
    sheet = read_sheet(file.name, bytes_of(file), found, ("name", *SIZE), more=True)
    strange = [column for column in sheet.header if column not in TANK_FIELDS]
    for column in strange:
        found.add(file.name, "1", column, column, one_of(column, TANK_FIELDS, "a measure of a tank"))
    for row in () if strange else sheet.rows:
        if found.full:
            break
        name = row["name"]
        place = f"{row.number} ({name})" if name else str(row.number)
        if not name:
            found.add(file.name, place, "name", "", "give the tank a name")
        elif name in tanks:
            found.add(file.name, place, "name", name, f"row {tanks[name][0]} has this name already")
        try:
            tank = Tank.of(row.values)
        except TankError as error:
            tank = None
            for measure, _, right in error.wrong:
                found.add(file.name, place, measure, row.values.get(measure, ""), right)
        tanks.setdefault(name, (row.number, tank))
    if not found and not tanks:
        found.add(file.name, "2", "", "", "the file holds no tank; write one row a tank")
    if found:
        raise TableError(found)
    return tuple(tank for _, tank in tanks.values())
