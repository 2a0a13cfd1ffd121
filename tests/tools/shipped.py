"""The table that comes with the package, loaded once for all tests: what is worked out of it is shared."""

import csv
from pathlib import Path

from idkey import load_table

FOLDER = Path(__file__).resolve().parents[2] / "traits"
TABLE = load_table()


def rows(name: str) -> list[dict[str, str]]:
    """Read the rows of one of its files as any program does."""
    with (FOLDER / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))
