"""A conflict settled in the keeper's own rows: one of the two is kept, the other given up."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from idkey.errors import IdkeyError, TableError, UnknownName, one_of
from idkey.table.csvfile import Found, Row, Sheet
from idkey.table.fields import META
from idkey.table.merge import lay
from idkey.table.own import CHANGE_COLUMNS, CHANGES, ID, Own, own_row
from idkey.table.rows import read_traits, shipped_care_columns
from idkey.table.schema import YOUNG, Trait, parse_cell

if TYPE_CHECKING:
    from idkey.table.conflicts import Conflict
    from idkey.table.files import Parts

__all__ = ["kept_open", "settled"]

_CARE_COLUMNS = {a.id for a in shipped_care_columns()}


def settled(shipped: Parts, own: Parts, changes: Sheet, conflict_id: str, keep: str, found: Found) -> Own:
    """Return the keeper's own rows with one conflict settled.

    Parameters
    ----------
    shipped, own, changes
        As `idkey.table.merge.lay_over` takes them.
    conflict_id : str
    keep : {"own", "shipped"}
    found : Found
        Problems met in the files.

    Raises
    ------
    UnknownName, TableError, IdkeyError
    """
    laid = lay(shipped, own, changes, found)
    if found:
        raise TableError(found)
    open_now = {conflict.id: conflict for conflict in laid.conflicts}
    if conflict_id not in open_now:
        known = one_of(conflict_id, list(open_now), "one of those that are") if open_now else "none is"
        msg = f"no conflict {conflict_id!r} is open: {known}"
        raise UnknownName(msg)
    conflict = open_now[conflict_id]
    if keep not in conflict.choices:
        msg = f"{conflict_id}: keep={keep!r}: {one_of(keep, conflict.choices)}"
        raise IdkeyError(msg)
    mine = laid.own
    _SETTLE[conflict.kind](mine, shipped, conflict, keep)
    known = laid.parts.sheets["taxa.csv"].header
    kinds = mine.rows["taxa.csv"]
    mine.columns = tuple(c for c in mine.columns if c in known or any(row.values.get(c) for row in kinds))
    still = [c for c in laid.conflicts if c.id != conflict_id]
    about = shipped.about
    mine.stated |= {key: about[key] for key in ("version", "created") if key in about}
    mine.stated.pop("renamed", None)
    mine.stated = kept_open(mine.stated, still)
    return mine


def kept_open(stated: Mapping[str, Any], conflicts: Iterable[Conflict]) -> dict[str, Any]:
    """Return what overlay.json has to state while these conflicts are open."""
    kept = dict(stated)
    for conflict in conflicts:
        for key, value in json.loads(conflict.stated or "{}").items():
            kept[key] = [*kept.get(key, []), *value] if isinstance(value, list) else value
    return kept


def _cell(own: Own, shipped: Parts, conflict: Conflict, keep: str) -> None:
    place = conflict.taxon, conflict.column
    if keep == "own":
        own.rows[CHANGES] = [
            replace(row, values={**row.values, "shipped": conflict.shipped})
            if (row["taxon"], row["column"]) == place
            else row
            for row in own.rows[CHANGES]
        ]
    else:
        _drop(own, CHANGES, lambda row: (row["taxon"], row["column"]) == place)
        _drop(own, "evidence.csv", lambda row: (row["taxon"], row["attribute"]) == place)


def _taxon(own: Own, shipped: Parts, conflict: Conflict, keep: str) -> None:
    taxon = conflict.taxon
    if keep == "shipped":
        for file, column in (("taxa.csv", ID), ("care.csv", "taxon"), ("evidence.csv", "taxon")):
            _drop(own, file, lambda row, column=column: row[column] == taxon)
    elif conflict.column == ID:
        (mine,) = (row for row in own.rows["taxa.csv"] if row[ID] == taxon)
        (theirs,) = (row for row in shipped.sheets["taxa.csv"].rows if row[ID] == taxon)
        _drop(own, "taxa.csv", lambda row: row[ID] == taxon)
        for column in dict.fromkeys([*META[1:], *theirs.values, *mine.values]):
            before, text = theirs.values.get(column, ""), mine.values.get(column, "")
            if before != text:
                own.rows[CHANGES].append(_change(taxon, column, before, text))
    else:
        own.stated["same_code"] = [*own.stated.get("same_code", ()), [conflict.own, conflict.shipped]]


def _trait(own: Own, shipped: Parts, conflict: Conflict, keep: str) -> None:
    if keep == "own":
        return
    was, now = conflict.column, _name(conflict)
    own.drop("trait", now)
    sheet = shipped.sheets["traits.csv"]
    (trait,) = (t for t in read_traits(sheet, Found()) if t.id == was)
    theirs = {row[ID]: row.values for row in shipped.sheets["taxa.csv"].rows}
    for mine, column in ((now, was), (now + YOUNG, was + YOUNG)):
        lost = set()
        for i, row in enumerate(own.rows["taxa.csv"]):
            values = dict(row.values)
            text = values.pop(mine, "")
            if text and _reads(trait, text) and not values.get(column):
                values[column] = text
            elif text:
                lost.add(row[ID])
            own.rows["taxa.csv"][i] = replace(row, values=values)
        changes = []
        for row in own.rows[CHANGES]:
            taxon = row["taxon"]
            if row["column"] != mine:
                changes.append(row)
            elif _reads(trait, row["own"]) and not theirs.get(taxon, {}).get(column):
                changes.append(_change(taxon, column, "", row["own"]))
            else:
                lost.add(taxon)
        own.rows[CHANGES] = changes
        _drop(own, "evidence.csv", lambda row, m=mine, lost=lost: row["attribute"] == m and row.who in lost)
        own.columns = tuple(c for c in own.columns if c != mine)
        if any(row.values.get(column) for row in own.rows["taxa.csv"]) and column not in own.columns:
            own.columns = (*own.columns, column)
    # What leans on the name: claims, and traits that are asked only where this one shows something.
    own.rename("trait", now, was)
    for i, row in enumerate(own.rows["traits.csv"]):
        name, _, states = row["applies_when"].partition("=")
        if name == was and not _reads(trait, states):
            own.rows["traits.csv"][i] = replace(row, values={**row.values, "applies_when": ""})


def _source(own: Own, shipped: Parts, conflict: Conflict, keep: str) -> None:
    if keep == "shipped":
        own.drop("source", _name(conflict))
        own.rename("source", _name(conflict), conflict.column)


def _care(own: Own, shipped: Parts, conflict: Conflict, keep: str) -> None:
    taxon = conflict.taxon
    if taxon:
        _drop(own, "care.csv", lambda row: row["taxon"] == taxon)
        _drop(own, "evidence.csv", lambda row: row["taxon"] == taxon and row["attribute"] in _CARE_COLUMNS)
    elif keep == "shipped":
        name = _name(conflict)
        own.drop("care", name)
        _drop(own, "evidence.csv", lambda row: row["care_group"] == name)
        own.rename("care", name, conflict.column)


def _gone(own: Own, shipped: Parts, conflict: Conflict, keep: str) -> None:
    own.take_out(conflict.aside)


_SETTLE = {"cell": _cell, "taxon": _taxon, "trait": _trait, "source": _source, "care": _care, "gone": _gone}


def _name(conflict: Conflict) -> str:
    """Return the name by which the keeper's own goes while it is open whose name it is."""
    return conflict.id.partition(":")[2]


def _reads(trait: Trait, text: str) -> bool:
    try:
        parse_cell(trait, text)
    except ValueError:
        return False
    return True


def _change(taxon: str, column: str, shipped: str, own: str) -> Row:
    return own_row(CHANGES, dict(zip(CHANGE_COLUMNS, (taxon, column, shipped, own), strict=True)))


def _drop(own: Own, file: str, fits: Callable[[Row], bool]) -> None:
    own.rows[file] = [row for row in own.rows[file] if not fits(row)]
