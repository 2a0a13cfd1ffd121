"""Which files a table's folder holds, where the shipped one is, and how large they may be."""

from __future__ import annotations

from pathlib import Path

from idkey.errors import IdkeyError

VERSION = "0.1.0"
"""Of this package."""

TABLES = ("traits.csv", "taxa.csv", "care.csv", "evidence.csv")
"""The files that every table has, in the order in which they are read."""
FILES = ("taxa.csv", "genera.csv", "traits.csv", "care.csv", "care_columns.csv", "evidence.csv") + (
    "sources.bib",
    "datapackage.json",
)
OURS = frozenset({*FILES, "base.zip", "overlay.json", "changes.csv"})
"""Every file that a save may write: those of a table, and those of one's own table, older forms included."""

# Limits: far above any table of fish, low enough that a wrong file cannot use up time or memory.
MOST_BYTES = 20_000_000  # in one file
MOST_SOURCES_BYTES = 2_000_000  # in sources.bib, which takes longer to read
MOST_ENTRIES, MOST_FIELDS = 20_000, 100_000  # in sources.bib
MOST_SHORT_NAME = 500  # characters in a text that sources.bib gives a short name to (@string)
MOST_PACKAGE_BYTES = 5_000_000  # in datapackage.json
MOST_ROWS = 400_000  # in one file, the header not counted
MOST_COLUMNS = 1_000
MOST_CELLS = 4_000_000  # rows times columns
MOST_LINES = 2_000_000  # blank ones counted
MOST_LINE = 1_000_000  # characters from one line break to the next
MOST_SHEET_ROWS = 20_000  # in a keeper's sheet, the blank ones not counted
MOST_CELL = 10_000  # characters
MOST_NAME = 100  # characters in an id or in the name of a state
MOST_STATES = 50
MOST_PROBLEMS = 1_000  # that are looked for before a table is given up


def shipped_folder() -> Path:
    """Return the folder of the table that comes with the package. Raises IdkeyError where it is missing."""
    package = Path(__file__).resolve().parents[1]
    for folder in (package / "traits", package.parent / "traits"):
        if (folder / "taxa.csv").is_file():
            return folder
    raise IdkeyError(f"{package / 'traits'}: the shipped trait table is missing; install the package again")
