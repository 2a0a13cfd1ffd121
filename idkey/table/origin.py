"""Where a table was loaded from, and what states its version."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

__all__ = ["ADDED_TO", "Origin", "added_to"]

ADDED_TO = " with additions"
"""Ending of the version of a table that is no longer the one that was given out."""


@dataclass(frozen=True, slots=True)
class Origin:
    """The folder a table was loaded from or saved to, and how its files stood then.

    Attributes
    ----------
    folder : pathlib.Path
    digests : mapping of str to str
        SHA-256 of each file by name; a file that was not there is left out.
    overlay : bool
        Whether the folder holds only additions to the shipped table.
    """

    folder: Path
    digests: Mapping[str, str]
    overlay: bool = False


def added_to(about: Mapping[str, Any]) -> dict[str, Any]:
    """Return what is stated of a table once it has been added to; a table without a version gets none."""
    version = str(about.get("version") or "")
    if not version:
        return dict(about)
    return {**about, "version": version.removesuffix(ADDED_TO) + ADDED_TO}
