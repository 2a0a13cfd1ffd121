"""Tables in folders: load, save, start one's own, settle, go back. What is written loads again.

One's own table is a whole one in the usual files, with base.zip beside them: the shipped table that it
started from. When a later version of this package brings another shipped table, the two are merged.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from idkey.arguments import checked
from idkey.errors import IdkeyError, TableError, TableWarning
from idkey.table import disk, files, layout
from idkey.table.claims import UNSOURCED, Source, bibtex, parse_sources
from idkey.table.csvfile import Found, Sheet, read_sheet, write_sheet
from idkey.table.disk import Version
from idkey.table.fields import META
from idkey.table.files import Parts
from idkey.table.merge import Conflict, Merge
from idkey.table.package import ADDED_TO, added_to
from idkey.table.schema import YOUNG
from idkey.table.state import CARE_COLUMNS, EVIDENCE, GENERA, SOURCES, TAXA, TRAITS, State
from idkey.table.table import Origin, TraitTable

BASE = "base.zip"
"""In a keeper's own folder: the shipped table that it started from, with what is not settled as it was."""
_OLD, _CHANGES = "overlay.json", "changes.csv"
"""Files of a table of one's own as version 0.1.0 wrote it: additions and changes alone."""
_NAMES = tuple(sorted(layout.OURS))
_USUAL = (*layout.TABLES, SOURCES)
_MOST_WARNINGS = 40
_UNREADABLE = "the shipped table that this one started from can't be read; put an old version back"


@checked
def load_table(path: str | Path | None = None) -> TraitTable:
    """Load a trait table and check all of it.

    Parameters
    ----------
    path : str or pathlib.Path, optional
        A folder of taxa.csv, traits.csv, care.csv, evidence.csv and sources.bib, or one made by
        `start_table`; by default the shipped one.

    Warns with a TableWarning where a cell and the claims behind it disagree. Raises TableError with every
    problem: file, row, column, value, and what would be right; IdkeyError when another program keeps the
    folder locked, or a save can be neither finished nor read.
    """
    table, parts = _read(layout.shipped_folder() if path is None else _folder(path, "load_table"))
    odd = list(map(str, files.disagreeing(parts, table)))
    more = [f"... and {len(odd) - _MOST_WARNINGS} more"] if len(odd) > _MOST_WARNINGS else []
    for problem in (*odd[:_MOST_WARNINGS], *more):
        warnings.warn(problem, TableWarning, stacklevel=3)  # past the check of arguments
    return table


def _read(place: Path) -> tuple[TraitTable, Parts]:
    found = Found(place.name)
    if not place.is_dir():
        found.add(str(place), "", "", place.name, "no such folder; give the folder that holds taxa.csv")
        raise TableError(found)
    try:
        read = disk.read_files(place, _NAMES)
    except TableError as error:
        raise TableError(error.problems) from None
    return _opened(read, place, disk.digests(read))


@checked
def save_table(table: TraitTable, folder: str | Path | None = None) -> TraitTable:
    """Write a table to a folder and return it as it then stands there; see `TraitTable.save`."""
    if folder is None and table.origin is None:
        raise IdkeyError("this table was not loaded from a folder; give a folder: table.save('my_traits')")
    place = table.origin.folder if folder is None else _folder(folder, "save")
    shipped = layout.shipped_folder().resolve()
    if place == shipped or (place.exists() and place.samefile(shipped)):
        raise IdkeyError(
            "the shipped table is not saved over; start your own with idkey.start_table('my_traits')"
        )
    origin = table.origin if table.origin and table.origin.folder == place else Origin(place, {})
    if place.is_dir() and not origin.digests and (held := disk.read_files(place, _NAMES)):
        raise IdkeyError(
            f"{place}: holds another table ({', '.join(held)}); nothing was saved; choose an empty folder, "
            "or load that table and add to it"
        )
    new, again = files.written(table, place.name)
    return _kept(place, new, origin, again, "saved")


@checked
def start_table(folder: str | Path) -> TraitTable:
    """Start a table of one's own on top of the shipped one.

    When a later version of this package brings a better shipped table, what you added and changed is merged
    with it; where the two then say different things, the table's `conflicts` list it, to be settled.

    `folder` is a new or empty one; open it later with ``load_table(folder)``.

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
    held = [path.name for path in place.iterdir()] if place.is_dir() else []
    if held := sorted(name for name in held if not name.startswith(".")):
        raise IdkeyError(
            f"{folder}: is not empty (it holds {held[0]}); give a new or empty folder, "
            "or open a table that is there with load_table"
        )
    shipped = _shipped()
    disk.commit(place, {**shipped, BASE: files.packed(shipped)}, {}, "started")
    return _read(place)[0]


@checked
def settle(folder: str | Path, conflict: Conflict | str, keep: str) -> TraitTable:
    """Settle one conflict of a table of one's own, save that, and return the table as it is then.

    `conflict` is one of the table's `conflicts`, or its id; `keep`, "own" or "shipped", is what is to count
    from now on. What is given up stays in the old versions of the folder. Raises UnknownName where no such
    conflict is open, IdkeyError where the folder can't be saved to.
    """
    place = _folder(folder, "settle")
    read = disk.read_files(place, _NAMES)
    if not {BASE, _OLD} & read.keys():
        raise IdkeyError(
            f"{place}: this is no table of your own over the shipped one, so there is nothing to settle"
        )
    name = conflict.id if isinstance(conflict, Conflict) else conflict
    own = _Own(read, place.name)
    own.merge = own.merge.settled(name, keep)
    new, table = files.written(own.table(), place.name)
    return _kept(place, new, Origin(place, disk.digests(read), own.base()), table, f"settled {name}: {keep}")


@checked
def versions(folder: str | Path) -> tuple[Version, ...]:
    """Return the old versions that are kept of a table's folder, newest first."""
    return disk.versions(_folder(folder, "versions"))


@checked
def restore(folder: str | Path, version: Version | str) -> TraitTable:
    """Put an old version of a table back. What stands there now becomes a version in its turn.

    `version` is one of `versions`, or its `name`. Raises UnknownName where no such version is kept,
    TableError where it does not load any more; everything stays as it is then.
    """
    place = _folder(folder, "restore")
    name = version.name if isinstance(version, Version) else version
    old = disk.version_files(place, name)
    try:
        _opened(old, place, {})
    except TableError as error:
        raise TableError(error.problems, "put back") from None
    known = disk.digests(disk.read_files(place, _NAMES))
    disk.commit(place, {name: old.get(name) for name in _NAMES}, known, f"put back {name}")
    return _read(place)[0]


# -- parts of these -----------------------------------------------------------------------------------


def _shipped() -> dict[str, bytes]:
    return disk.read_files(layout.shipped_folder(), layout.FILES)


def _opened(read: Mapping[str, bytes], place: Path, known: Mapping[str, str]) -> tuple[TraitTable, Parts]:
    """Make the table of a folder's files. Raises TableError."""
    base = files.unpacked(read[BASE], BASE, _UNREADABLE) if BASE in read else None
    if _OLD in read or (base is not None and base != _shipped()):
        own = _Own(read, place.name)
        return replace(own.table(), origin=Origin(place, known, own.base())), own.parts(own.merge.rows)
    found = Found(place.name)
    parts = files.parts_from(read, found)
    return replace(files.table_from(parts, place.name, found), origin=Origin(place, known, base)), parts


def _kept(place: Path, new: Mapping[str, bytes], origin: Origin, table: TraitTable, note: str) -> TraitTable:
    """Write the files of a table, and return it as it then stands there."""
    if origin.base is not None:
        new = {**new, BASE: files.packed(origin.base)}
    known = disk.commit(place, {name: new.get(name) for name in _NAMES}, origin.digests, note)
    if origin.base is None or origin.base == _shipped():
        return replace(table, origin=replace(origin, digests=known))
    return _opened(new, place, known)[0]


class _Own:
    """A table of one's own and the shipped one of today, merged."""

    def __init__(self, read: Mapping[str, bytes], name: str):
        self._name, self._found, self._shipped = name, Found(name), _shipped()
        self._theirs = files.parts_from(self._shipped, self._found)
        base, mine = (self._additions if _OLD in read else self._whole)(read)
        self.merge = Merge(base, mine, State(self._theirs.sheets, self._theirs.sources))

    def table(self) -> TraitTable:
        return replace(self._table(self.merge.rows), conflicts=self.merge.conflicts)

    def base(self) -> dict[str, bytes]:
        """Return the files of the shipped table, with what is not settled as it was."""
        if not self.merge.conflicts:
            return self._shipped
        held = self.parts(self.merge.held_back())
        sheets = {
            file: write_sheet(sheet.header, ([*row.values.values()] for row in sheet.rows))
            for file, sheet in held.sheets.items()
        }
        return {**self._shipped, **sheets, SOURCES: bibtex((held.sources or {}).values()).encode()}

    def _table(self, rows: State) -> TraitTable:
        return files.table_from(self.parts(rows), self._name, Found(self._name))

    def parts(self, rows: State) -> Parts:
        """Return rows as the files of a table."""
        both = self._theirs.sheets, self._mine.sheets
        headers = {file: [c for sheets in both for c in sheets[file].header] for file in self._theirs.sheets}
        entries = (Source(key, "", "", entry=row["entry"]) for key, row in rows[SOURCES].items())
        about = self._theirs.about | self._stated
        sources = parse_sources(bibtex(entries), self._found)
        return Parts(rows.sheets(headers), sources, added_to(about) if self._added else about)

    def _whole(self, read: Mapping[str, bytes]) -> tuple[State, State]:
        """Read a whole table, and the shipped one it started from."""
        self._mine = mine = files.parts_from(read, self._found)
        files.table_from(mine, self._name, self._found)
        base = files.parts_from(files.unpacked(read[BASE], BASE, _UNREADABLE), Found(), partial=True)
        self._added = str(mine.about.get("version", "")).endswith(ADDED_TO)
        kept = {key: text for key, text in mine.about.items() if base.about.get(key) != text}
        self._stated = {key: text for key, text in kept.items() if key not in ("version", "created")}
        return State(base.sheets, base.sources), State(mine.sheets, mine.sources)

    def _additions(self, read: Mapping[str, bytes]) -> tuple[State, State]:
        """Read additions and changes as version 0.1.0 kept them; the base is the shipped table of today."""
        found = self._found
        own = {name: read[name] for name in _USUAL if name in read}
        for name in (name for name in (*_USUAL, _CHANGES) if own and name not in read):
            found.add(name, "", "", self._name, "the file is missing from this folder")
        self._mine = files.parts_from(own, found, partial=True)
        changes = Sheet(_CHANGES, (), ())
        if _CHANGES in read:
            changes = read_sheet(_CHANGES, read[_CHANGES], found, ("taxon", "column", "shipped", "own"))
        base, mine, theirs = (State(self._theirs.sheets, self._theirs.sources) for _ in range(3))
        added = State(self._mine.sheets, self._mine.sources)
        claims = added[EVIDENCE]
        added |= {CARE_COLUMNS: {}, GENERA: {}, EVIDENCE: {}}
        self._stated, self._added = {}, bool(changes.rows or claims or any(added.values()))
        out = {row["taxon"] for row in changes.rows if row["column"] == "id"}
        for taxon in out:
            mine.take(State(), (TAXA, taxon, ""))
        for file, key in ((file, key) for file, rows in added.items() for key in rows):
            mine.take(State(), (file, key, ""))
            if key not in out:
                base.take(State(), (file, key, ""))
            mine[file][key] = added[file][key]
        frame = files.table_from(self._theirs, self._name, found).to_frame()
        for row in (row for row in changes.rows if row["column"] != "id"):
            place = _, taxon, column = TAXA, row["taxon"], row["column"]
            known = column in META or column.removesuffix(YOUNG) in mine[TRAITS]
            if taxon not in theirs[TAXA] or taxon in out or not known:
                found.at(row)("column", "no such cell is in the shipped table; mend the id or the column")
                continue
            # What the shipped kind had of itself it may take over from its genus by now.
            raw, says = theirs.text(place), frame.at[taxon, column] if column in frame else ""
            base.fill(place, raw if row["shipped"] in (raw, says) else row["shipped"])
            if not row["own"]:
                mine.take(State(), place)
            blank = "?" if not raw and row["shipped"] and says not in ("", "-") else ""
            mine.fill(place, row["own"] or blank)
        if found:
            raise TableError(found)
        places = {_about(row) for row in claims.values()}
        kept = mine[EVIDENCE].items()
        kept = {k: row for k, row in kept if row["note"] != UNSOURCED or _about(row) not in places}
        mine[EVIDENCE] = kept | claims
        frame = self._table(mine).to_frame()
        for taxon in added[TAXA]:
            # A blank meant that it is not known; nothing was taken over from the genus.
            row = mine[TAXA][taxon]
            mine[TAXA][taxon] = row | {c: "?" for c in frame if frame.at[taxon, c] and not row.get(c)}
        return base, mine


def _about(claim: Mapping[str, str]) -> tuple[str, ...]:
    return tuple(claim[column] for column in ("taxon", "genus", "care_group", "attribute"))


def _folder(folder: str | Path, call: str) -> Path:
    if not str(folder):
        raise IdkeyError(f"{call}: {folder!r}: write the path of a folder")
    try:
        return Path(folder).resolve()
    except (OSError, ValueError, RuntimeError) as error:
        raise IdkeyError(f"{call}: {str(folder)!r}: can be no folder ({error})") from error
