"""A fish room: several tanks in one CSV file, ranked for one fish."""

from __future__ import annotations

import csv
import io
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

__all__ = ["RoomCheck", "check_room", "read_room"]

_NEEDED = ("name", "length_cm", "width_cm", "height_cm")
_MOST_BYTES = 5_000_000


@dataclass(frozen=True, repr=False)
class RoomCheck(Printed):
    """The tanks of a room, the best for this fish first.

    Attributes
    ----------
    names, labels : tuple of str
        Taxon ids of the sheet, and the names as they are shown.
    checks : tuple of TankCheck
        Fewest failures first, then fewest vital needs open, then least far off, then by name.
    """

    names: tuple[str, ...]
    labels: tuple[str, ...]
    checks: tuple[TankCheck, ...]

    @property
    def fitting(self) -> tuple[TankCheck, ...]:
        """Tanks that fit."""
        return tuple(c for c in self.checks if c.ok)

    def to_frame(self) -> pd.DataFrame:
        """Return the ranking, the best first.

        Returns
        -------
        pandas.DataFrame
            Columns ``tank``, ``fits``, ``fails`` and ``open`` (counts; open of the vital needs), ``verdict``.
        """
        rows = [(c.tank.name, c.ok, len(c.fails), _open(c), c.verdict) for c in self.checks]
        frame = pd.DataFrame(rows, columns=["tank", "fits", "fails", "open", "verdict"])
        return frame.astype({"tank": "str", "fits": bool, "fails": int, "open": int, "verdict": "str"})


def check_room(care: CareSheet, tanks: Iterable[Tank | Mapping[str, Any]]) -> RoomCheck:
    """Hold every tank of a room against a care sheet and rank them for this fish.

    Parameters
    ----------
    care : CareSheet
    tanks : iterable of Tank or mapping
        Their order changes nothing.

    Raises
    ------
    IdkeyError
        Without a tank, or for a measure that can't be.
    """
    if isinstance(tanks, (Tank, Mapping, str)):
        msg = "check_room: give a list of tanks, such as read_room('fish_room.csv'); check_tank takes one"
        raise IdkeyError(msg)
    checks = [check_tank(care, tank) for tank in tanks]
    if not checks:
        msg = "check_room: no tanks; give at least one"
        raise IdkeyError(msg)
    return RoomCheck(care.names, care.labels, tuple(sorted(checks, key=_rank)))


def _open(check: TankCheck) -> int:
    return sum(c.vital for c in check.checks)


def _rank(check: TankCheck) -> tuple[int, int, float, str, str]:
    # The last only so that two tanks of one name stand in one order.
    return len(check.fails), _open(check), check.off, check.tank.name.casefold(), repr(check.tank)


def read_room(path: str | os.PathLike[str]) -> tuple[Tank, ...]:
    """Read the tanks of a room from a CSV file.

    The columns are those of `Tank` (``name``, ``length_cm``, ``width_cm`` and ``height_cm`` at least), one
    row a tank, blank where it was not measured, numbers with a decimal point. Companions are written
    ``name:length in mm:count``, several joined by ``|``; length and count may be left out.

    Parameters
    ----------
    path : str or path

    Returns
    -------
    tuple of Tank
        In the order of the file.

    Raises
    ------
    TableError
        With everything that is wrong: file, row, column, value, and what would be right.
    """
    try:
        file = Path(path)
    except TypeError:
        msg = f"read_room: {path!r}: write the path of a CSV file"
        raise IdkeyError(msg) from None
    found: list[Problem] = []
    header, rows = _rows(file, found)
    tanks: list[Tank] = []
    named: dict[str, int] = {}
    for number, line in rows:
        if len(line) != len(header):
            right = f"the row has {len(line)} cells; the header has {len(header)}"
            found.append(Problem(file.name, str(number), "", str(len(line)), right))
            continue
        cells = {column: cell.strip() for column, cell in zip(header, line, strict=True)}
        name = cells["name"]
        where = f"{number} ({name})" if name else str(number)
        if not name:
            found.append(Problem(file.name, where, "name", "", "give the tank a name"))
        elif name in named:
            found.append(Problem(file.name, where, "name", name, f"row {named[name]} has this name already"))
        named.setdefault(name, number)
        tank, wrong = tank_from(cells)
        found += [Problem(file.name, where, at, cells.get(at, ""), right) for at, _, right in wrong]
        if tank is not None:
            tanks.append(tank)
    if not found and not tanks:
        found.append(Problem(file.name, "2", "", "", "the file holds no tank; write one row a tank"))
    if found:
        raise TableError(found)
    return tuple(tanks)


def _rows(file: Path, found: list[Problem]) -> tuple[tuple[str, ...], list[tuple[int, list[str]]]]:
    """Return the header and the rows that are not blank, each with its number in a spreadsheet."""
    text = _text(file, found)
    lines: list[list[str]] = []
    try:
        lines.extend(csv.reader(io.StringIO(text, newline=""), strict=True))
    except csv.Error as error:
        right = "the file is not well-formed CSV from here on; look for an unclosed quotation mark"
        found.append(Problem(file.name, str(len(lines) + 1), "", str(error), right))
    if found:
        return (), []
    header = tuple(cell.strip() for cell in lines[0]) if lines else ()
    if len(header) == 1 and ";" in header[0]:
        right = "cells are parted by semicolons; save as CSV with commas"
        found.append(Problem(file.name, "1", "", header[0][:60], right))
        return (), []
    for column in _NEEDED:
        if column not in header:
            right = f"column {column} is missing from the header"
            found.append(Problem(file.name, "1", column, ", ".join(header[:12]), right))
    for i, column in enumerate(header):
        if column in header[:i]:
            found.append(Problem(file.name, "1", column, column, "two columns have this name"))
        elif column not in TANK_FIELDS:
            right = one_of(column, TANK_FIELDS, "a measure of a tank")
            found.append(Problem(file.name, "1", column or f"column {i + 1}", column, right))
    if found:
        return (), []
    numbered = enumerate(lines[1:], start=2)
    return header, [(number, line) for number, line in numbered if any(cell.strip() for cell in line)]


def _text(file: Path, found: list[Problem]) -> str:
    right = ""
    try:
        if file.stat().st_size <= _MOST_BYTES:
            return file.read_text(encoding="utf-8-sig")
        right = f"the file is larger than {_MOST_BYTES} bytes; this is no fish room"
    except FileNotFoundError:
        right = "there is no such file; give the CSV file of the tanks"
    except UnicodeDecodeError:
        right = "the file is not UTF-8; save it again as CSV UTF-8"
    except OSError as error:
        right = f"the file cannot be read ({error.strerror})"
    found.append(Problem(file.name, "", "", file.name, right))
    return ""
