"""The table that the screens open: one's own, once it was said which, else the shipped one."""

from __future__ import annotations

import os
from pathlib import Path

from idkey.arguments import checked
from idkey.errors import IdkeyError, refusal
from idkey.table.folder import load_table
from idkey.table.table import TraitTable


@checked
def use_table(folder: str | Path | None) -> TraitTable:
    """Open this table on every screen from now on, in each notebook; return it.

    Parameters
    ----------
    folder : str, pathlib.Path or None
        A folder as for `load_table`; None is the shipped table again.

    The folder is noted in ``~/.idkey/table.txt``, or in the folder that the environment variable
    IDKEY_SETTINGS names; it is loaded first, so what `load_table` raises leaves the note as it was.
    IdkeyError where the note can't be written.
    """
    table, note = load_table(folder), _note()
    try:
        if folder is None:
            note.unlink(missing_ok=True)
        else:
            note.parent.mkdir(parents=True, exist_ok=True)
            note.write_text(str(Path(folder).expanduser().resolve()), encoding="utf-8")
    except OSError as error:
        raise IdkeyError(
            f"{note}: can't be written ({refusal(error)}); give the table to each screen"
        ) from None
    return table


def own_table() -> TraitTable:
    """Return the table that `use_table` named, else the shipped one.

    Raises IdkeyError where its folder is gone, and what `load_table` raises.
    """
    note = _note()
    try:
        folder = note.read_text(encoding="utf-8").strip()
    except FileNotFoundError:
        return load_table()
    except (OSError, UnicodeDecodeError):
        raise IdkeyError(f"{note}: can't be read; say anew which with idkey.use_table('my_traits')") from None
    if not Path(folder).is_dir():
        right = "put it back, or say idkey.use_table(None) for the shipped table"
        raise IdkeyError(f"{folder}: the folder of your table is not there; {right}")
    return load_table(folder)


def _note() -> Path:
    return Path(os.environ.get("IDKEY_SETTINGS") or Path.home() / ".idkey") / "table.txt"
