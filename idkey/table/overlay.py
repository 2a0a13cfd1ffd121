"""A keeper's own table: only what was added to the shipped one or changed in it, in a folder of its own.

taxa.csv, traits.csv, care.csv, evidence.csv and sources.bib hold the keeper's own rows. changes.csv holds
cells of shipped kinds: what the shipped table said, and what the keeper says. overlay.json says by which
version of the shipped table that was written.

A change whose column is ``id`` leaves out the whole kind. A change to a blank takes the shipped claims behind
the cell with it; a second change of the same cell may then fill it anew.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from idkey.errors import IdkeyError, TableError
from idkey.table import files
from idkey.table.claims import UNSOURCED, Source
from idkey.table.conflicts import Conflict
from idkey.table.csvfile import Found, Row, Sheet, read_sheet
from idkey.table.edit import ADDED_TO
from idkey.table.fields import META
from idkey.table.layout import FILES, TABLES
from idkey.table.merge import lay
from idkey.table.names import trade_codes
from idkey.table.own import CARE_COLUMNS, CHANGE_COLUMNS, CHANGES, EVIDENCE_COLUMNS, ID, OVERLAY, Own, own_row
from idkey.table.package import read_about
from idkey.table.rows import trait_row
from idkey.table.settle import kept_open, settled
from idkey.table.sources import SOURCES

if TYPE_CHECKING:
    from idkey.table.files import Parts
    from idkey.table.table import TraitTable

__all__ = ["CHANGES", "OVERLAY", "OVERLAY_FILES", "is_overlay", "own_files", "read_overlay", "settle"]

OVERLAY_FILES = ("taxa.csv", "traits.csv", "care.csv", "evidence.csv", SOURCES, CHANGES, OVERLAY)
"""The files that a folder of additions may hold."""

_WAY_OUT = "save a whole table to a new folder: table.save('another_folder')"
_LISTS = {"same_code": 2, "renamed": 3}


def is_overlay(names: Collection[str]) -> bool:
    """Whether the files of a folder, by their names, are additions to the shipped table."""
    return OVERLAY in names


def read_overlay(read: Mapping[str, bytes], found: Found) -> tuple[Parts, Sheet]:
    """Read the files of a folder of additions.

    Parameters
    ----------
    read : mapping of str to bytes
        Content by file name; only overlay.json has to be there.
    found : Found
        What is wrong is added to it.

    Returns
    -------
    tuple of (Parts, Sheet)
        The keeper's own rows, with what overlay.json states as `about`; and the changes.

    Raises
    ------
    TableError
        Where some of the files are there and others are not.
    """
    own = {name: read[name] for name in (*TABLES, SOURCES) if name in read}
    # With none of them the folder was only begun; a single one that is gone took the keeper's rows along.
    missing = [name for name in (*TABLES, SOURCES, CHANGES) if name not in read]
    if own and missing:
        for name in missing:
            found.add(name, "", "", found.folder, "the file is missing from this folder")
        raise TableError(found)
    parts = files.parts_from(own, found, partial=True)
    changes = Sheet(CHANGES, CHANGE_COLUMNS, ())
    if CHANGES in read:
        changes = read_sheet(CHANGES, read[CHANGES], found, CHANGE_COLUMNS, ())
    inside = Found(found.folder)
    stated = read_about(read.get(OVERLAY), inside)
    found.extend(replace(problem, file=OVERLAY) for problem in inside)
    for key, size in _LISTS.items():
        if not _is_list_of_names(stated.get(key, []), size):
            found.add(OVERLAY, "", key, str(stated.pop(key))[:60], f"write a list of lists of {size} names")
    return replace(parts, about=stated), changes


def _is_list_of_names(value: Any, size: int) -> bool:
    return isinstance(value, list) and all(
        isinstance(names, list) and len(names) == size and all(isinstance(name, str) for name in names)
        for names in value
    )


def own_files(shipped: TraitTable, table: TraitTable) -> dict[str, bytes]:
    """Return the files that make `table` out of the shipped one.

    Parameters
    ----------
    shipped, table : TraitTable
        `table` came from laying additions over `shipped`, and was added to or changed since.

    Returns
    -------
    dict of str to bytes
        All of `OVERLAY_FILES`.

    Raises
    ------
    IdkeyError
        Where what was changed can't be said as an addition, or the shipped table was replaced meanwhile.
    """
    return _Difference(shipped, table).own().files()


def settle(folder: str | Path, conflict: Conflict | str, keep: str) -> TraitTable:
    """Settle one conflict of an own table, and save that.

    Parameters
    ----------
    folder : str or pathlib.Path
        The folder of the own table.
    conflict : Conflict or str
        One of the table's `conflicts`, or its id.
    keep : {"own", "shipped"}
        What is to count from now on. What is given up stays in the old versions of the folder.

    Returns
    -------
    TraitTable
        The table as it is then.

    Raises
    ------
    UnknownName
        When no such conflict is open.
    IdkeyError
        When the conflict can't be settled that way, or the folder can't be saved to.
    """
    from idkey.table import disk
    from idkey.table.folder import read_table

    place = Path(folder)
    read = disk.read_files(place, OVERLAY_FILES)
    if not is_overlay(read):
        msg = f"{place}: this is no table of additions to the shipped one, so there is nothing to settle"
        raise IdkeyError(msg)
    found = Found(place.name)
    shipped = files.parts_from(disk.read_files(files.shipped_folder(), FILES), found)
    name = conflict.id if isinstance(conflict, Conflict) else conflict
    new = settled(shipped, *read_overlay(read, found), name, keep, found).files()
    again = Found(place.name)
    files.table_from(lay(shipped, *read_overlay(new, again), again).parts, place.name, again)
    disk.commit(place, new, disk.digests(read), f"settled {name}: {keep}")
    return read_table(place)


class _Difference:
    """What sets a table apart from the shipped one."""

    def __init__(self, shipped: TraitTable, table: TraitTable):
        self.shipped = shipped
        self.table = table
        self.amiss: list[str] = []
        # While it is open whose kind it is, the keeper's row stands in for the shipped one.
        hidden = {c.taxon for c in table.conflicts if c.kind == "taxon" and c.column == ID}
        ids = [taxon for taxon in shipped.ids if taxon not in hidden]
        self.theirs, self.mine = _apart(ids, table.ids)
        self.left_out = sorted(set(ids).difference(self.theirs), key=ids.index)
        self.before, self.now = _kinds(shipped), _kinds(table)
        self.columns = tuple(dict.fromkeys([*META[1:], *shipped.cells, *table.cells]))
        self.care_replaced = {c.taxon for c in table.conflicts if c.kind == "care" and c.taxon}

    def own(self) -> Own:
        """Return the keeper's own rows. Raises IdkeyError where something can't be said by such rows."""
        self._same_version()
        evidence, cleared = self._evidence()
        rows = {
            "traits.csv": self._traits(),
            "taxa.csv": [own_row("taxa.csv", {ID: taxon, **self.now[taxon]}) for taxon in self.mine],
            CHANGES: self._changes(cleared),
            "care.csv": self._care(),
            "evidence.csv": evidence,
        }
        sources = self._sources()
        if self.amiss:
            msg = (
                f"{self.table.name}: {'; '.join(dict.fromkeys(self.amiss))}: that can't be kept as an "
                f"addition to the shipped table; {_WAY_OUT}"
            )
            raise IdkeyError(msg)
        own = Own(rows, (*META, *self.table.cells), sources, self._stated())
        own.put_back([aside for conflict in self.table.conflicts for aside in conflict.aside])
        return own

    def _same_version(self) -> None:
        then = dict(self.table.about)
        then["version"] = self.table.version.removesuffix(ADDED_TO)
        if then != {**self.shipped.about, "version": self.shipped.version}:
            msg = (
                f"{self.table.name}: the shipped table is another version than the one this table was laid "
                f"over; load your table again, or {_WAY_OUT}"
            )
            raise IdkeyError(msg)

    def _traits(self) -> list[Row]:
        now = {trait.id: trait_row(trait) for trait in self.table.traits}
        for trait in self.shipped.traits:
            if now.pop(trait.id, None) != trait_row(trait):
                self.amiss.append(f"the shipped trait {trait.id!r} was changed")
        return [own_row("traits.csv", row) for row in now.values()]

    def _sources(self) -> dict[str, Source]:
        for key, source in self.shipped.sources.items():
            if self.table.sources.get(key) != source:
                self.amiss.append(f"the shipped source {key!r} was changed")
        return {key: s for key, s in self.table.sources.items() if key not in self.shipped.sources}

    def _care(self) -> list[Row]:
        before, now = _rows(self.shipped, "care.csv"), _rows(self.table, "care.csv")
        gone = {*self.shipped.ids} - {*self.theirs} | self.care_replaced
        missing, own = _less(now, [row for row in before if row["taxon"] not in gone])
        self.amiss += [f"the shipped care of {row.who!r} was changed" for row in missing]
        return own

    def _evidence(self) -> tuple[list[Row], set[tuple[str, str]]]:
        """Return the keeper's claims, and the filled cells of which all shipped claims were taken away."""
        before, now = _rows(self.shipped, "evidence.csv"), _rows(self.table, "evidence.csv")
        gone = {*self.shipped.ids} - {*self.theirs}
        cells = {*self.shipped.cells}
        claims: dict[tuple[str, str], list[Row]] = {}
        for row in before:
            column = row["attribute"]
            replaced = row["taxon"] in self.care_replaced and column in CARE_COLUMNS
            blank = row["taxon"] and column in cells and not self.now.get(row["taxon"], {}).get(column)
            if row["taxon"] not in gone and not replaced and not blank:
                claims.setdefault((row.who, column), []).append(row)
        missing, own = _less(now, [row for rows in claims.values() for row in rows])
        claimed = {(row.who, row["attribute"]) for row in own}
        lost = Counter(
            (row.who, row["attribute"])
            for row in missing
            if row["note"] != UNSOURCED or (row.who, row["attribute"]) not in claimed
        )
        cleared = set()
        for (who, column), count in lost.items():
            all_of_them = sum(row["note"] != UNSOURCED for row in claims[who, column]) <= count
            if all_of_them and who in self.now and column in cells:
                cleared.add((who, column))
            else:
                self.amiss.append(f"a shipped claim on {who!r}, {column} was taken away")
        return own, cleared

    def _changes(self, cleared: Collection[tuple[str, str]]) -> list[Row]:
        then = {(c.taxon, c.column): c.before for c in self.table.conflicts if c.kind == "cell"}
        rows = [(taxon, ID, taxon, "") for taxon in self.left_out]
        for taxon in self.theirs:
            before, now = self.before[taxon], self.now[taxon]
            for column in self.columns:
                shipped, own = before.get(column, ""), now.get(column, "")
                place = taxon, column
                if shipped == own and place not in cleared:
                    continue
                said = then.get(place, shipped)
                if place in cleared:
                    rows.append((*place, said, ""))
                rows.append((*place, said, own))
        return [own_row(CHANGES, dict(zip(CHANGE_COLUMNS, row, strict=True))) for row in rows]

    def _stated(self) -> dict[str, Any]:
        """Return what overlay.json states; what a conflict is about stays as it was until it is settled."""
        about = self.shipped.about
        stated: dict[str, Any] = {"over": str(about.get("name", ""))}
        stated |= {key: about[key] for key in ("version", "created") if key in about}
        codes = {taxon: set(trade_codes(self.now[taxon].get("tradeCode", ""))) for taxon in self.table.ids}
        asked = {(c.own, c.shipped) for c in self.table.conflicts if c.kind == "taxon" and c.column != ID}
        pairs = [
            [mine, other]
            for mine in self.mine
            for other in self.theirs
            if codes[mine] & codes[other] and (mine, other) not in asked
        ]
        if pairs:
            stated["same_code"] = pairs
        return kept_open(stated, self.table.conflicts)


def _apart(shipped: Sequence[str], ids: Sequence[str]) -> tuple[list[str], list[str]]:
    """Part kinds into the shipped ones, in their order, and the keeper's own, which follow."""
    place = {taxon: i for i, taxon in enumerate(shipped)}
    last = -1
    theirs: list[str] = []
    for taxon in ids:
        if place.get(taxon, -1) <= last:
            break
        last = place[taxon]
        theirs.append(taxon)
    return theirs, list(ids[len(theirs) :])


def _kinds(table: TraitTable) -> dict[str, dict[str, str]]:
    """Return the kinds as text: cells by column, by id."""
    frame = table.to_frame(own=True)
    columns = [frame[column].tolist() for column in frame.columns]
    return {
        taxon: dict(zip(frame.columns, cells, strict=True))
        for taxon, cells in zip(table.ids, zip(*columns, strict=True), strict=True)
    }


def _rows(table: TraitTable, file: str) -> list[Row]:
    columns, frame = (CARE_COLUMNS, table.care) if file == "care.csv" else (EVIDENCE_COLUMNS, table.evidence)
    cells = zip(*(frame[column].tolist() for column in columns), strict=True)
    return [own_row(file, dict(zip(columns, row, strict=True))) for row in cells]


def _less(rows: Sequence[Row], shipped: Sequence[Row]) -> tuple[list[Row], list[Row]]:
    """Return the shipped rows that are missing among these, and the rows that are there beside them."""
    wanted = Counter(tuple(row.values.values()) for row in shipped)
    own = []
    for row in rows:
        cells = tuple(row.values.values())
        if wanted[cells] > 0:
            wanted[cells] -= 1
        else:
            own.append(row)
    missing = []
    for row in shipped:
        cells = tuple(row.values.values())
        if wanted[cells] > 0:
            wanted[cells] -= 1
            missing.append(row)
    return missing, own
