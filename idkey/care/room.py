"""A fish room: several tanks in one CSV file, ranked for one fish."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from idkey.care.check import TankCheck, check_tank
from idkey.care.sheet import CareSheet
from idkey.care.tank import TANK_FIELDS, Tank, tank_from
from idkey.display import Printed
from idkey.errors import IdkeyError, Problem, TableError, one_of
from idkey.table.csvfile import Found, read_sheet

_NEEDED = ("name", "length_cm", "width_cm", "height_cm")


@dataclass(frozen=True, repr=False)
class RoomCheck(Printed):
    """The tanks of a room: fewest failures first, then fewest vital needs open, least far off, by name.

    `names` and `labels` are the taxon ids of the sheet and the names as they are shown.
    """

    names: tuple[str, ...]
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


def check_room(care: CareSheet, tanks: Iterable[Tank | Mapping[str, Any]]) -> RoomCheck:
    """Hold every tank of a room against a care sheet and rank them; their order changes nothing.

    Raises IdkeyError without a tank, or for a measure that can't be.
    """
    if isinstance(tanks, (Tank, Mapping, str)):
        msg = "check_room: give a list of tanks, such as read_room('fish_room.csv'); check_tank takes one"
        raise IdkeyError(msg)
    checks = [check_tank(care, tank) for tank in tanks]
    if not checks:
        msg = "check_room: no tanks; give at least one"
        raise IdkeyError(msg)
    return RoomCheck(care.names, care.labels, tuple(sorted(checks, key=_rank)))


def _rank(check: TankCheck) -> tuple[int, int, float, str, str]:
    # The last only so that two tanks of one name stand in one order.
    return len(check.fails), len(check.vital), check.off, check.tank.name.casefold(), repr(check.tank)


def read_room(path: str | os.PathLike[str]) -> tuple[Tank, ...]:
    """Read the tanks of a room from a CSV file, in its order.

    The columns are those of `Tank` (``name``, ``length_cm``, ``width_cm`` and ``height_cm`` at least), one
    row a tank, blank where it was not measured, numbers with a decimal point. Companions are written
    ``name:length in mm:count``, several joined by ``|``; length and count may be left out.

    Raises
    ------
    TableError
        With everything that is wrong: file, row, column, value, and what would be right.
    """
    if not isinstance(path, str | os.PathLike):
        msg = f"read_room: {path!r}: write the path of a CSV file"
        raise IdkeyError(msg)
    file, found = Path(path), Found()
    try:
        data = file.read_bytes()
    except OSError as error:
        missing = isinstance(error, FileNotFoundError)
        right = f"the file cannot be read ({error.strerror})"
        right = "there is no such file; give the CSV file of the tanks" if missing else right
        raise TableError([Problem(file.name, "", "", file.name, right)]) from None
    sheet = read_sheet(file.name, data, found, _NEEDED, more=True)
    for column in sheet.header:
        if column not in TANK_FIELDS:
            found.add(file.name, "1", column, column, one_of(column, TANK_FIELDS, "a measure of a tank"))
    tanks: list[Tank] = []
    named: dict[str, int] = {}
    for row in sheet.rows if set(sheet.header) <= set(TANK_FIELDS) else ():
        name = row["name"]
        place = f"{row.number} ({name})" if name else str(row.number)
        if not name:
            found.add(file.name, place, "name", "", "give the tank a name")
        elif name in named:
            found.add(file.name, place, "name", name, f"row {named[name]} has this name already")
        named.setdefault(name, row.number)
        tank, wrong = tank_from(row.values)
        for measure, _, right in wrong:
            found.add(file.name, place, measure, row.values.get(measure, ""), right)
        if tank is not None:
            tanks.append(tank)
    if not found and not tanks:
        found.add(file.name, "2", "", "", "the file holds no tank; write one row a tank")
    if found:
        raise TableError(found)
    return tuple(tanks)
