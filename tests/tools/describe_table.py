"""Write traits/datapackage.json, which describes the table: ``python tests/tools/describe_table.py``.

What is said of the table as a whole stands here; the rest comes from the table itself.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from idkey.table.files import files_of
from idkey.table.folder import load_table
from idkey.table.layout import VERSION
from idkey.table.package import PROFILES

ROOT = Path(__file__).resolve().parents[2]
MADE = "2026-11-28T00:00:00Z"
"""Day on which the facts of the table were last changed; to be set with every change of a fact."""


def text(folder: Path) -> str:
    """The descriptor as it stands in the file."""
    table = load_table(folder)
    licence = (ROOT / "LICENSE").read_text(encoding="utf-8").splitlines()[0]
    about = {
        "$schema": PROFILES + "datapackage.json",
        "name": "idkey-traits",
        "title": "Traits and care of spotted suckermouth catfishes",
        "description": "What is known of each kind of spotted suckermouth catfish, how to ask for it, "
        "what care the fish needs, and where each claim stands written.",
        "version": VERSION,
        "created": MADE,
        "licenses": [{"name": "MIT", "title": licence}],
    }
    return files_of(replace(table, about=about))["datapackage.json"].decode()


if __name__ == "__main__":
    (ROOT / "traits" / "datapackage.json").write_text(text(ROOT / "traits"), encoding="utf-8", newline="\n")
