"""Which files a table's folder holds, which columns they have, and how large they may be."""

from __future__ import annotations

from idkey.table.care import CARE_ATTRIBUTES

__all__ = [
    "CARE_COLUMNS",
    "CLASSES",
    "EVIDENCE_COLUMNS",
    "FILES",
    "META",
    "MOST_BYTES",
    "MOST_CELL",
    "MOST_CELLS",
    "MOST_COLUMNS",
    "MOST_ENTRIES",
    "MOST_FIELDS",
    "MOST_LINES",
    "MOST_NAME",
    "MOST_PACKAGE_BYTES",
    "MOST_PROBLEMS",
    "MOST_ROW",
    "MOST_ROWS",
    "MOST_SHORT_NAME",
    "MOST_SOURCES_BYTES",
    "MOST_STATES",
    "OURS",
    "SCOPES",
    "TABLES",
    "TRAIT_COLUMNS",
    "UNITS",
]

TABLES = ("traits.csv", "taxa.csv", "care.csv", "evidence.csv")
"""The files that are read as a table, in the order in which they are read."""
FILES = ("taxa.csv", "traits.csv", "care.csv", "evidence.csv", "sources.bib", "datapackage.json")
OURS = frozenset({*FILES, "genera.csv", "care_columns.csv", "base.zip", "overlay.json", "changes.csv"})
"""Every file that a save may write: those of a table, and those of one's own table, older forms included."""

CLASSES = ("read", "secondary", "common practice", "memory")
"""Classes of evidence, the strongest first: a rule of the trade is held by many, a memory by one."""
SCOPES = ("species", "genus", "group")
UNITS = ("", "mm", "count", "% HL", "% SL", "degrees", "ratio")
META = (
    "id",
    "scientificName",
    "identificationQualifier",
    "vernacularName",
    "genus",
    "nameAccordingTo",
    "tradeCode",
    "careGroup",
    "commonness",
)
TRAIT_COLUMNS = (
    "id",
    "label",
    "kind",
    "unit",
    "states",
    "state_words",
    "core",
    "question",
    "how_to_look",
    "error",
    "error_basis",
    "spread",
    "effort_s",
    "applies_when",
    "needs_adult",
    "in_key",
    "group",
)
CARE_COLUMNS = ("care_group", "taxon", *(a.id for a in CARE_ATTRIBUTES))
EVIDENCE_COLUMNS = (
    "taxon",
    "care_group",
    "attribute",
    "value",
    "source",
    "locator",
    "class",
    "scope",
    "note",
)

# Limits: far above any table of fish, low enough that a wrong file cannot use up time or memory.
MOST_BYTES = 20_000_000
"""Bytes in one file."""
MOST_SOURCES_BYTES = 2_000_000
"""Bytes in sources.bib, which takes longer to read."""
MOST_ENTRIES = 20_000
"""Entries in sources.bib."""
MOST_FIELDS = 100_000
"""Fields of all entries in sources.bib together."""
MOST_SHORT_NAME = 500
"""Characters in a text that sources.bib gives a short name to (``@string``)."""
MOST_PACKAGE_BYTES = 5_000_000
"""Bytes in datapackage.json."""
MOST_ROWS = 200_000
"""Rows in one file, the header not counted."""
MOST_LINES = 1_100_000
"""Rows in one file, the blank ones counted; a spreadsheet has fewer."""
MOST_COLUMNS = 1_000
"""Columns in one file."""
MOST_CELLS = 2_000_000
"""Cells in one file: rows times columns."""
MOST_ROW = 1_000_000
"""Characters in one row."""
MOST_CELL = 10_000
"""Characters in one cell."""
MOST_NAME = 100
"""Characters in an id or in the name of a state."""
MOST_STATES = 50
"""States of one trait."""
MOST_PROBLEMS = 1_000
"""Problems that are looked for before a table is given up."""
