"""The care sheet of a name, and what is right for several names at once."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import pandas as pd

from idkey.care.attributes import ATTRIBUTES, GENERAL
from idkey.care.need import Claim, FrozenMap, Need, Part, bring_together
from idkey.errors import IdkeyError, UnknownName, one_of
from idkey.table.care import EVERY_GROUP

if TYPE_CHECKING:
    from idkey.table.table import TraitTable

__all__ = ["CareSheet", "Claim", "Need", "care_for"]


@dataclass(frozen=True, slots=True)
class CareSheet:
    """What one name calls for, or what is right for several names at once.

    Attributes
    ----------
    names : tuple of str
        Taxon ids, each once, in the order given.
    labels : tuple of str
        Their display names.
    attributes : mapping of str to Need
        Column of care.csv -> need, in the order of the sheet.
    table : TraitTable or None
        The table it was read from, for drawings and for the stamp on a printed sheet.
    """

    names: tuple[str, ...]
    labels: tuple[str, ...]
    attributes: Mapping[str, Need]
    table: TraitTable | None = field(default=None, repr=False, compare=False)

    @property
    def conflicts(self) -> tuple[Need, ...]:
        """Needs for which nothing suits all the names."""
        return tuple(need for need in self.attributes.values() if need.conflict)

    def to_frame(self) -> pd.DataFrame:
        """Return the sheet as a table of text, one row a need.

        Returns
        -------
        pandas.DataFrame
            Columns ``attribute``, ``need``, ``evidence class``, ``sources``, ``conflict``.
        """
        rows = [
            (n.attribute, n.text, ", ".join(n.classes), "; ".join(n.sources), n.conflict)
            for n in self.attributes.values()
        ]
        columns = ["attribute", "need", "evidence class", "sources", "conflict"]
        return pd.DataFrame(rows, columns=columns, dtype="str")

    def to_dict(self) -> dict[str, Any]:
        """Return the sheet as plain lists, dicts, numbers and text, ready for JSON."""
        return {
            "names": list(self.names),
            "labels": list(self.labels),
            "needs": {need.attribute: _plain(need) for need in self.attributes.values()},
        }

    def save(self, path: str | os.PathLike[str], paper: str = "A4", *, overwrite: bool = False) -> None:
        """Print the sheet to a ``.html`` or ``.pdf`` file; see `Key.save`. Raises IdkeyError."""
        from idkey.views.report import printed

        printed(self, path, paper, overwrite)

    def __repr__(self) -> str:
        from idkey.views.care import care_text

        return care_text(self)

    def _repr_html_(self) -> str:
        from idkey.views.care import care_html

        return care_html(self)


def care_for(table: TraitTable, *taxa: str) -> CareSheet:
    """Return what is right for one name or for all of several names.

    A row of care.csv for the taxon stands over the row of its care group; cautions of both are given. Numeric
    ranges give the overlap, minimums the largest, lengths the span; where nothing suits all, the need has no
    value and names who needs what. What is not known for one of the names is never given as settled.

    Parameters
    ----------
    table : TraitTable
    *taxa : str
        Taxon ids; a repeated id counts once and the order changes only the order of names on the sheet.

    Raises
    ------
    UnknownName
        If an id is not in the table.
    IdkeyError
        If no id is given, or the table has no care sheets.
    """
    names = tuple(dict.fromkeys(_taxon(table, name) for name in taxa))
    if not names:
        msg = "care_for needs at least one taxon id, for example care_for(table, 'hypancistrus_zebra')"
        raise IdkeyError(msg)
    labels = tuple(str(table.label(name)) for name in names)
    care, called = _care(table), dict(zip(names, _short(labels), strict=True))
    needs = (
        (a.id, bring_together(a, [care.part(name, called[name], a.id) for name in names]))
        for a in ATTRIBUTES.values()
    )
    return CareSheet(names, labels, FrozenMap(needs), table)


def _taxon(table: TraitTable, name: str) -> str:
    if not isinstance(name, str):
        msg = f"{name!r} is not a taxon id: give ids as separate texts, care_for(table, 'a', 'b')"
        raise UnknownName(msg)
    if name not in table.taxa.index:
        right = one_of(name, [str(i) for i in table.taxa.index], "a taxon id")
        called = [str(i) for i, row in table.taxa.iterrows() if name.casefold() in _other_names(row)]
        if called:
            right = f"use the id of a kind that is called so: {', '.join(called)}"
        msg = f"taxon {name!r} is not in the table: {right}"
        raise UnknownName(msg)
    return name


def _other_names(row: pd.Series) -> set[str]:
    columns = ("scientificName", "vernacularName", "tradeCode")
    return {part.casefold() for c in columns for part in str(row.get(c, "")).split("|") if part}


def _short(labels: tuple[str, ...]) -> list[str]:
    """Leave the trade codes in brackets out of the names, where the rest still tells them apart."""
    bare = [label.partition(" (")[0] for label in labels]
    return [
        label if name.endswith(" sp.") or bare.count(name) > 1 else name
        for label, name in zip(labels, bare, strict=True)
    ]


@lru_cache(maxsize=4)
def _care(table: TraitTable) -> _Care:
    # A table never changes, so its rows and claims are gathered once.
    return _Care(table)


class _Care:
    """The care rows and the claims of a table, ready to look up."""

    def __init__(self, table: TraitTable):
        self.table = table
        care = getattr(table, "care", None)
        if care is None or not len(care) or "careGroup" not in table.taxa.columns:
            msg = f"{getattr(table, 'name', 'table')}: this table has no care sheets; load one with care.csv"
            raise IdkeyError(msg)
        self.taxon_rows: dict[str, dict[str, str]] = {}
        self.group_rows: dict[str, dict[str, str]] = {}
        for row in care.to_dict("records"):
            (self.taxon_rows if row["taxon"] else self.group_rows)[row["taxon"] or row["care_group"]] = row
        self.claims: dict[tuple[str, str, str], list[Claim]] = {}
        evidence = getattr(table, "evidence", None)
        if evidence is not None and len(evidence):
            for row in evidence[evidence["attribute"].isin(ATTRIBUTES)].to_dict("records"):
                key = (row["taxon"], row["care_group"], row["attribute"])
                self.claims.setdefault(key, []).append(self._claim(row))

    def _claim(self, row: dict[str, str]) -> Claim:
        source = self.table.sources.get(row["source"]) if row["source"] else None
        return Claim(
            row["taxon"],
            row["care_group"],
            row["attribute"],
            row["value"],
            row["source"],
            getattr(source, "short", "") or row["source"],
            row["locator"],
            row["class"],
            row["scope"],
            row["note"],
        )

    def part(self, name: str, label: str, attribute: str) -> Part:
        """Return one attribute of one name: its own row over that of its group."""
        group = str(self.table.taxa.at[name, "careGroup"] or "")
        if group not in self.group_rows:
            right = f"care group {group!r} has no row" if group else "it has no care group"
            msg = f"{name}: this table has no care sheets for it: {right} in care.csv"
            raise IdkeyError(msg)
        places = [
            (self.taxon_rows.get(name, {}), (name, ""), "species"),
            (self.group_rows[group], ("", group), "group"),
        ]
        column = attribute
        if attribute == GENERAL:
            column = "cautions"
            places = [(self.group_rows.get(EVERY_GROUP, {}), ("", EVERY_GROUP), "all")]
        found = [
            (row[column].strip(), who, origin) for row, who, origin in places if row.get(column, "").strip()
        ]
        if column != "cautions":
            found = found[:1]
        return Part(
            name,
            label,
            tuple(cell for cell, _, _ in found),
            tuple(claim for _, who, _ in found for claim in self.claims.get((*who, column), ())),
            found[0][2] if found else "",
        )


def _plain(need: Need) -> dict[str, Any]:
    value: Any = need.value
    if isinstance(value, tuple):
        value = list(value)
    elif isinstance(value, frozenset):
        value = [state for state in ATTRIBUTES[need.attribute].states if state in value]
    return {
        "label": need.label,
        "unit": need.unit,
        "value": value,
        "text": need.text,
        "conflict": need.conflict,
        "by_name": dict(need.by_name),
        "origin": need.origin,
        "unknown_for": list(need.unknown_for),
        "evidence": [
            {
                "taxon": c.taxon,
                "care_group": c.care_group,
                "value": c.value,
                "source": c.source,
                "locator": c.locator,
                "class": c.evidence_class,
                "scope": c.scope,
                "note": c.note,
            }
            for c in need.evidence
        ],
    }
