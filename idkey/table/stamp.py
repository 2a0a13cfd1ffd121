"""Version and date of a table, as datapackage.json states them (Frictionless Data Package 2.0)."""

from __future__ import annotations

import json
from pathlib import Path

from idkey.errors import Problem

__all__ = ["read_stamp"]


def read_stamp(path: Path, found: list[Problem]) -> dict[str, str]:
    """Return what a data package states of its version and of the day it was made.

    Parameters
    ----------
    path : pathlib.Path
        A datapackage.json; a folder may do without one.
    found : list of Problem
        A file that is there but is no JSON object is added to it.

    Returns
    -------
    dict of str to str
        ``version`` and ``date`` (the day of its ``created``: YYYY-MM-DD), blank where not stated.
    """
    blank = {"version": "", "date": ""}
    try:
        stated = json.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        return blank
    except (OSError, ValueError, RecursionError) as error:
        what = " ".join(str(error).split())
        found.append(Problem(path.name, "", "", what, "not JSON that can be read; mend or delete the file"))
        return blank
    if not isinstance(stated, dict):
        right = "a data package is a JSON object, in braces; mend or delete the file"
        found.append(Problem(path.name, "", "", type(stated).__name__, right))
        return blank
    return {"version": str(stated.get("version") or ""), "date": str(stated.get("created") or "")[:10]}
