"""One new file, written whole or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import BinaryIO

from idkey.errors import IdkeyError, refusal


def write_whole(place: Path, write: Callable[[BinaryIO], object], overwrite: bool) -> None:
    """Have a new file written, whole or not at all. Raises IdkeyError."""
    check_free(place, overwrite)
    try:
        with tempfile.TemporaryDirectory(dir=place.parent, prefix=".idkey-") as folder:
            beside = Path(folder) / place.name
            with beside.open("wb") as file:
                write(file)
                file.flush()
                os.fsync(file.fileno())
            if not overwrite:
                # A second name is never put in place of a file that has come there meanwhile.
                with suppress(OSError):
                    os.link(beside, place)
                    return
                check_free(place, overwrite)
            beside.replace(place)
    except OSError as error:
        why = refusal(error)
        msg = f"{str(place)!r}: cannot be written here ({why}); choose a folder that you may write to"
        raise IdkeyError(msg) from error


def check_free(place: Path, overwrite: bool) -> None:
    """Raise IdkeyError where something is in this place that is not to be written over."""
    here = place.is_file()
    if place.exists() and not (overwrite and here):
        right = "say overwrite=True to write over it" if here else "this is no file; add a file's name"
        raise IdkeyError(f"{str(place)!r} is there already; {right}, or choose another name")
