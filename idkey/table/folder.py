"""Tables in folders: load, save, start one's own, go back. Nothing is written that would not load again."""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from idkey.errors import IdkeyError, Problem, TableError, TableWarning
from idkey.table import disk, files, layout
from idkey.table.csvfile import Found
from idkey.table.disk import Version
from idkey.table.files import Parts, files_of
from idkey.table.merge import Conflict, lay_over
from idkey.table.overlay import OVERLAY_FILES, is_overlay, own_files, read_overlay
from idkey.table.table import Origin, TraitTable

__all__ = ["load_table", "read_table", "restore", "save_table", "start_table", "versions"]

_NAMES = tuple(dict.fromkeys((*layout.FILES, *OVERLAY_FILES)))

_MOST_WARNINGS = 40


def load_table(path: str | Path | None = None) -> TraitTable:
    """Load a trait table and check all of it.

    Parameters
    ----------
    path : str or pathlib.Path, optional
        A folder of taxa.csv, traits.csv, care.csv, evidence.csv and sources.bib, or one made by
        `start_table`; by default the shipped one.

    Warns
    -----
    TableWarning
        Where a cell and the claims behind it disagree: file, row, column, value, and what would be right.

    Raises
    ------
    TableError
        With every problem: file, row, column, value, and what would be right. Nothing is loaded then.
    IdkeyError
        When another program keeps the folder locked, or a save can be neither finished nor read.
    """
    if path is not None and not isinstance(path, (str, Path)):
        msg = f"load_table: {path!r}: write the path of a folder"
        raise IdkeyError(msg)
    table, odd = _read(files.shipped_folder() if path is None else Path(path))
    for problem in odd[:_MOST_WARNINGS]:
        warnings.warn(str(problem), TableWarning, stacklevel=2)
    if len(odd) > _MOST_WARNINGS:
        warnings.warn(f"... and {len(odd) - _MOST_WARNINGS} more", TableWarning, stacklevel=2)
    return table


def read_table(place: Path) -> TraitTable:
    """Load a table that the caller has loaded or made before: nothing is told of cells and claims again."""
    return _read(place)[0]


def _read(place: Path) -> tuple[TraitTable, list[Problem]]:
    found = Found(place.name)
    if not place.is_dir():
        found.add(str(place), "", "", place.name, "no such folder; give the folder that holds taxa.csv")
        raise TableError(found)
    try:
        read = disk.read_files(place, _NAMES)
    except TableError as error:
        raise TableError(error.problems) from None
    overlay = is_overlay(read)
    known = disk.digests({name: data for name, data in read.items() if name in _names(overlay)})
    parts, conflicts = _parts_of(read, found)
    table = files.table_from(parts, place.name, found)
    odd = list(files.disagreeing(parts, table))
    return replace(table, origin=Origin(place.resolve(), known, overlay), conflicts=conflicts), odd


def save_table(table: TraitTable, folder: str | Path | None = None) -> TraitTable:
    """Write a table to a folder, all of it or nothing; see `TraitTable.save`.

    Parameters
    ----------
    table : TraitTable
    folder : str or pathlib.Path, optional
        A new folder, or one without a table. By default the folder that the table was loaded from.

    Raises
    ------
    TableError
        With every problem that the table would not load for; nothing is saved then.
    IdkeyError
        No folder, a folder that holds another table, or a file that was changed since it was loaded.
    """
    place = _place_to_save(table, folder)
    origin = table.origin if table.origin and table.origin.folder == place else Origin(place, {})
    if not origin.digests:
        _refuse_other_table(place)
    whole = files_of(table)
    new = own_files(read_table(files.shipped_folder()), table) if origin.overlay else whole
    again = _read_back(new, place.name)
    # What the table of an overlay states of itself comes from the shipped one.
    got = files_of(replace(again, about=table.about) if origin.overlay else again)
    other = sorted(name for name in {*whole, *got} if whole.get(name) != got.get(name))
    if again.cells != table.cells:
        other.append("a cell of taxa.csv")
    if other:
        msg = f"{place}: {', '.join(other)} would not be read back as the table has it; nothing was saved"
        raise IdkeyError(msg)
    names = _names(origin.overlay)
    known = disk.commit(place, {name: new.get(name) for name in names}, origin.digests, "saved")
    return replace(again, origin=replace(origin, digests=known))


def start_table(folder: str | Path) -> TraitTable:
    """Start a table of one's own on top of the shipped one.

    The folder holds only what is added to the shipped table or changed in it. When a later version of this
    package brings a better shipped table, the additions are laid over that one; where the two then say
    different things, the table's `conflicts` list it, to be settled one by one.

    Parameters
    ----------
    folder : str or pathlib.Path
        A new or empty folder.

    Returns
    -------
    TraitTable
        The shipped table, ready to be added to. Open it later with ``load_table(folder)``.

    Raises
    ------
    IdkeyError
        When the folder is not empty or cannot be written to.

    Examples
    --------
    >>> import tempfile
    >>> folder = tempfile.mkdtemp()
    >>> table = start_table(folder)
    >>> more = table.with_taxon("barred_one", scientificName="Panaqolus sp.", pattern="bars")
    >>> more = more.save()
    >>> len(load_table(folder)) - len(table)
    1
    """
    place = _folder(folder, "start_table")
    held = sorted(path.name for path in place.iterdir()) if place.is_dir() else []
    held = [name for name in held if not name.startswith(".")]
    if held:
        msg = (
            f"{folder}: is not empty (it holds {held[0]}); give a new or empty folder, "
            "or open a table that is there with load_table"
        )
        raise IdkeyError(msg)
    shipped = read_table(files.shipped_folder())
    disk.commit(place, own_files(shipped, shipped), {}, "started")
    return read_table(place)


def versions(folder: str | Path) -> tuple[Version, ...]:
    """Return the old versions that are kept of a table's folder, newest first.

    Raises
    ------
    IdkeyError
        When the folder cannot be read.
    """
    return disk.versions(_folder(folder, "versions"))


def restore(folder: str | Path, version: Version | str) -> TraitTable:
    """Put an old version of a table back. What stands there now becomes a version in its turn.

    Parameters
    ----------
    folder : str or pathlib.Path
    version : Version or str
        One of `versions`, or its `name`.

    Raises
    ------
    UnknownName
        When no version of this name is kept.
    TableError
        When it does not load any more; everything stays as it is then.
    """
    place = _folder(folder, "restore")
    name = version.name if isinstance(version, Version) else version
    old = disk.version_files(place, name)
    try:
        _table_of(old, place.name, Found(place.name))
    except TableError as error:
        raise TableError(error.problems, "put back") from None
    now = disk.read_files(place, _NAMES)
    ours = {*_names(is_overlay(old)), *_names(is_overlay(now))}
    known = disk.digests({name: data for name, data in now.items() if name in ours})
    disk.commit(place, {name: old.get(name) for name in ours}, known, f"put back {name}")
    return read_table(place)


# -- parts of these -----------------------------------------------------------------------------------


def _names(overlay: bool) -> tuple[str, ...]:
    return OVERLAY_FILES if overlay else layout.FILES


def _table_of(read: Mapping[str, bytes], name: str, found: Found) -> TraitTable:
    """Make the table of a folder's files. Raises TableError."""
    parts, conflicts = _parts_of(read, found)
    return replace(files.table_from(parts, name, found), conflicts=conflicts)


def _parts_of(read: Mapping[str, bytes], found: Found) -> tuple[Parts, tuple[Conflict, ...]]:
    if not is_overlay(read):
        return files.parts_from(read, found), ()
    place = files.shipped_folder()
    shipped = files.parts_from(disk.read_files(place, layout.FILES), found)
    return lay_over(shipped, *read_overlay(read, found), found)


def _folder(folder: str | Path, call: str) -> Path:
    if not isinstance(folder, (str, Path)) or not str(folder):
        msg = f"{call}: {folder!r}: write the path of a folder"
        raise IdkeyError(msg)
    try:
        return Path(folder).resolve()
    except (OSError, ValueError, RuntimeError) as error:
        msg = f"{call}: {str(folder)!r}: can be no folder ({error})"
        raise IdkeyError(msg) from error


def _place_to_save(table: TraitTable, folder: str | Path | None) -> Path:
    if folder is None and table.origin is None:
        msg = "this table was not loaded from a folder; give a folder: table.save('my_traits')"
        raise IdkeyError(msg)
    place = table.origin.folder if folder is None else _folder(folder, "save")
    shipped = files.shipped_folder().resolve()
    if place == shipped or (place.exists() and place.samefile(shipped)):
        msg = "the shipped table is not saved over; start your own with idkey.start_table('my_traits')"
        raise IdkeyError(msg)
    return place


def _refuse_other_table(place: Path) -> None:
    held = disk.read_files(place, _NAMES) if place.is_dir() else {}
    if held:
        msg = (
            f"{place}: holds another table ({', '.join(held)}); nothing was saved; choose an empty folder, "
            "or load that table and add to it"
        )
        raise IdkeyError(msg)


def _read_back(new: Mapping[str, bytes], name: str) -> TraitTable:
    try:
        return _table_of(new, name, Found(name))
    except TableError as error:
        raise TableError(error.problems, "saved") from None
