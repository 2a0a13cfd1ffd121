"""What datapackage.json says of a table as a whole (Frictionless Data Package 2.0)."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, NoReturn

from idkey.errors import IdkeyError
from idkey.table import layout
from idkey.table.csvfile import Found, text_of

__all__ = ["PACKAGE", "json_bytes", "read_about"]

PACKAGE = "datapackage.json"
_UNREADABLE = "not JSON that can be read; mend or delete the file"
_SHOWN = 100


def read_about(data: bytes | None, found: Found) -> dict[str, Any]:
    """Return what a data package says of the whole, in the order of the file.

    Parameters
    ----------
    data : bytes or None
        None where there is no datapackage.json; a folder may do without one.
    found : Found
        What is wrong is added to it.

    Returns
    -------
    dict of str to object
        All keys but ``resources``, which describe the files and are made afresh.
    """
    if data is None:
        return {}
    text = text_of(PACKAGE, data, found, layout.MOST_PACKAGE_BYTES)
    if text is None:
        return {}
    try:
        stated = json.loads(text, parse_constant=_no_number)
        if isinstance(stated, dict):
            stated.pop("resources", None)
            # What cannot be written again must not be taken in.
            json_bytes(stated)
    except (ValueError, RecursionError) as error:
        found.add(PACKAGE, "", "", " ".join(str(error).split())[:_SHOWN], _UNREADABLE)
        return {}
    if not isinstance(stated, dict):
        right = "a data package is a JSON object, in braces; mend or delete the file"
        found.add(PACKAGE, "", "", type(stated).__name__, right)
        return {}
    for key in ("name", "version", "created"):
        if not isinstance(stated.get(key, ""), str):
            found.add(PACKAGE, "", key, str(stated[key])[:_SHOWN], "write it in quotation marks, as text")
    return stated


def _no_number(text: str) -> NoReturn:
    msg = f"{text} is no number in JSON"
    raise IdkeyError(msg)


def json_bytes(stated: Mapping[str, Any]) -> bytes:
    """Write JSON as datapackage.json holds it.

    Raises
    ------
    ValueError
        For a number that JSON does not know, or text that is no UTF-8.
    """
    text = json.dumps(dict(stated), indent=2, ensure_ascii=False, allow_nan=False)
    return f"{text}\n".encode()
