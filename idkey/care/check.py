"""A tank held against a care sheet: what passes, what fails and by how much, and what can't be said yet."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from idkey.care.rules import Check, rows
from idkey.care.sheet import CareSheet
from idkey.care.tank import Tank
from idkey.display import Printed
from idkey.errors import IdkeyError

_COLUMNS = ("attribute", "label", "wanted", "found", "verdict", "short_by", "change", "basis")


@dataclass(frozen=True, repr=False)
class TankCheck(Printed):
    """What came of holding a tank against a care sheet: one row a need, in the order of the sheet.

    `names` and `labels` are the taxon ids of the sheet and the names as they are shown.
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
    def vital(self) -> tuple[Check, ...]:
        """Rows that keep it open whether the tank fits; see `Check`."""
        return tuple(c for c in self.checks if c.vital)

    @property
    def ok(self) -> bool:
        """Whether nothing fails, all that can be measured was, and the vital needs are known."""
        return bool(self.checks) and not self.fails and not self.vital

    @property
    def off(self) -> float:
        """How far off the tank is: the shares of all rows that fail, added up. Our own choice, to rank by."""
        return sum(c.off for c in self.fails)

    @property
    def verdict(self) -> str:
        """The answer in words: it fits, what to measure before it can be said, or what fails by how much."""
        if self.fails:
            failures = "; ".join(f"{_low(c.label)}, {c.short_by}" for c in self.fails)
            besides = f" Can't be said yet: {_labels(self.vital)}." if self.vital else ""
            return f"Fails: {' '.join(failures.split())}.{besides}"
        words = {
            "not measured": "Measure",
            "names disagree": "The names disagree on",
            "need not known": f"Not known what {'it needs' if len(self.names) == 1 else 'all of them need'}",
            "read": "To judge by reading",
        }
        head = "Fits, in all that can be measured." if self.ok else "Can't be said yet."
        for verdict, what in words.items():
            # Growth is no matter of reading.
            asked = (c for c in (self.checks if self.ok else self.vital) if c.attribute != "growth")
            if labels := _labels(c for c in asked if c.verdict == verdict):
                head += f" {what}: {labels}."
        return head

    def to_frame(self) -> pd.DataFrame:
        """Return the rows as a table of text, a column each part of a `Check`."""
        cells = [[getattr(c, column) for column in _COLUMNS] for c in self.checks]
        return pd.DataFrame(cells, columns=list(_COLUMNS), dtype="str")


def check_tank(care: CareSheet, tank: Tank | Mapping[str, Any]) -> TankCheck:
    """Hold a tank against a care sheet.

    A range fails where the tank lies outside it, a minimum where it has less; what was not measured, or is
    not known of the fish, is never a pass. Where several names have no value in common the names disagree,
    unless the tank suits none of them. The tank is a Tank or a mapping of the same names. A measure that
    can't be is an IdkeyError: one line with the value and the plausible range.
    """
    if not isinstance(care, CareSheet):
        right = "give care_for(table, 'hypancistrus_zebra') or the like"
        msg = f"{type(care).__name__} is no care sheet: {right}"
        raise IdkeyError(msg)
    if not isinstance(tank, Tank):
        tank = Tank.of(tank)
    return TankCheck(care.names, tank, tuple(rows(care, tank)), care.labels)


def _labels(checks: Iterable[Check]) -> str:
    return ", ".join(_low(c.label) for c in checks)


def _low(label: str) -> str:
    """Write a label inside a sentence."""
    return label if label.startswith("pH") else label[:1].lower() + label[1:]
