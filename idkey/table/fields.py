"""Each column of each file, declared once, in fields.csv beside this module.

Headers, the checks while a file is read, what is written and datapackage.json come from there. Columns that
hold traits are made of traits.csv, the needs in care.csv of care_columns.csv.
"""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, Literal

from idkey.errors import one_of

_YES_NO = ("yes", "no")
LEAST, MOST = 1e-100, 1e100
"""Least number where one is to be more than 0, and largest: beyond them sums and ratios overflow."""


@dataclass(frozen=True, slots=True)
class Field:
    """One column.

    `title` is its label, `about` what it holds, `right` what to write, for the message on a cell that is
    wrong, or what its `choices` are: the words that may stand in it, `ordered` where they have an order, yes
    and no for a boolean. Numbers are more than `above` and less than `below`. `pattern` is that of the
    whole cell, for other programs; here cells are read by their syntax. `to` is the column in which its names
    stand, as ``taxa.id``, or ``sources`` for the keys of sources.bib; `term` the Darwin Core term that it
    holds. Files of older tables may be without it where it came `later`.
    """

    name: str
    title: str
    about: str
    right: str = ""
    required: bool = False
    unique: bool = False
    choices: tuple[str, ...] = ()
    ordered: bool = False
    above: float | None = None
    below: float | None = None
    pattern: str = ""
    to: str = ""
    term: str = ""
    later: bool = False

    @property
    def type(self) -> Literal["string", "number", "boolean"]:
        """Type as the Data Package standard names it."""
        if self.choices == _YES_NO:
            return "boolean"
        return "string" if self.above is None and self.below is None else "number"

    def problem(self, text: str) -> str:
        """Say what would be right in place of a text; blank where nothing is wrong."""
        if not text and not self.required:
            return ""
        if self.type == "boolean":
            return "" if text in self.choices else "write yes or no"
        if self.choices:
            return "" if text in self.choices else one_of(text, self.choices, self.right or "one of")
        if self.type == "number":
            return self.right if number_in(text, self.above, self.below) is None else ""
        return "" if text else self.right or "fill this cell"


def number_in(text: str, above: float | None = None, below: float | None = None) -> float | None:
    """Read a number between two limits, `LEAST` and `MOST` among them; None where it is none."""
    try:
        # Python would read 1_0 as 10.
        value = math.nan if "_" in text else float(text)
    except ValueError:
        return None
    inside = (above is None or value > above) and (below is None or value < below)
    return value if abs(value) <= MOST and inside and (above != 0 or value >= LEAST) else None


def parts_of(text: str) -> tuple[str, ...]:
    """Return the texts of a cell that are joined by ``|``."""
    return tuple(part.strip() for part in text.split("|") if part.strip())


def _read() -> dict[str, dict[str, Field]]:
    files: dict[str, dict[str, Field]] = {}
    kinds = {f.name: str(f.type).partition(" ")[0] for f in fields(Field)}
    read: dict[str, Any] = {"bool": bool, "float": number_in, "tuple[str,": parts_of}
    with Path(__file__).with_suffix(".csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            path = f"{row.pop('file')}.csv"
            if not row["name"]:
                ABOUT[path], files[path] = (row["title"], row["about"]), {}
                continue
            made = {name: read.get(kinds[name], str)(text) for name, text in row.items()}
            files[path][row["name"]] = Field(**made)
    return files


ABOUT: dict[str, tuple[str, str]] = {}
"""What each file is called, and what one row of it is."""
FIELDS = _read()
"""The fields of each file, by file name and column."""
HEADERS = {file: tuple(columns) for file, columns in FIELDS.items()}
"""Columns of each file, beside those that are made of traits and of care columns."""
META = HEADERS["taxa.csv"]

CLASSES = FIELDS["evidence.csv"]["class"].choices
"""Classes of evidence, the strongest first: a rule of the trade is held by many, a memory by one."""
SCOPES = FIELDS["evidence.csv"]["scope"].choices
COMMONNESS = FIELDS["taxa.csv"]["commonness"].choices
"""How often a kind is offered in the trade."""
KINDS = FIELDS["traits.csv"]["kind"].choices
UNITS = ("", *FIELDS["traits.csv"]["unit"].choices)
