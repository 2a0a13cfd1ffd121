"""The care sheet of a name, and what is right for several names at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import pandas as pd

from idkey.care.advice import Settling, safest_choice, settle
from idkey.care.attributes import ATTRIBUTES, FOR_EVERY_FISH, GENERAL
from idkey.care.need import Claim, FrozenMap, Need, Part, bring_together, sentences
from idkey.display import Printed
from idkey.errors import IdkeyError
from idkey.model.combine import kept
from idkey.model.evidence import NONE
from idkey.model.identify import Identification
from idkey.table.care import EVERY_GROUP
from idkey.table.names import every

if TYPE_CHECKING:
    from idkey.table.table import TraitTable

__all__ = ["CareSheet", "Claim", "Need", "Settling", "care_for"]

_MOST_NAMES = 8
"""Names on a sheet made from an identification; with more, the fish is not known well enough for a sheet."""


@dataclass(frozen=True, slots=True, repr=False)
class CareSheet(Printed):
    """What one name calls for, or what is right for several names at once.

    Attributes
    ----------
    names : tuple of str
        Taxon ids, each once, in the order given.
    labels : tuple of str
        Their display names.
    attributes : mapping of str to Need
        Column of care.csv -> need, in the order of the sheet; ``cautions_all`` only where the row ``all`` has
        cautions.
    table : TraitTable or None
        The table it was read from, for drawings and for the stamp on a printed sheet.
    safest : mapping of str to str
        Column of care.csv -> the safest choice until the name is settled; empty for one name. See
        `idkey.care.advice.safest_choice` for the rule of each column and its reason.
    shares : mapping of str to float
        Taxon id -> its share of the posterior; empty unless made from an identification. Two sheets with the
        same needs are equal whatever their shares.
    none_share : float
        Share of "none of these", for which nothing on the sheet holds.
    others, others_share : int, float
        How many less likely names are still possible but not on the sheet, and their share together.
    settling : tuple of Settling
        Which question settles each conflict; empty unless made from an identification.
    """

    names: tuple[str, ...]
    labels: tuple[str, ...]
    attributes: Mapping[str, Need]
    table: TraitTable | None = field(default=None, repr=False, compare=False)
    safest: Mapping[str, str] = FrozenMap()
    shares: Mapping[str, float] = field(default=FrozenMap(), compare=False)
    none_share: float = field(default=0.0, compare=False)
    others: int = field(default=0, compare=False)
    others_share: float = field(default=0.0, compare=False)
    settling: tuple[Settling, ...] = field(default=(), compare=False)

    @property
    def short_labels(self) -> tuple[str, ...]:
        """Display names without the trade codes in brackets, where the rest still tells them apart."""
        return tuple(_short(self.labels))

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
            "safest": dict(self.safest),
            "shares": dict(self.shares),
            "none_share": self.none_share,
            "others": self.others,
            "others_share": self.others_share,
            "settling": [
                {"attribute": s.attribute, "trait": s.trait, "question": s.question, "settles": s.settles}
                for s in self.settling
            ],
        }


def care_for(table: TraitTable | Identification, *taxa: str) -> CareSheet:
    """Return what is right for one name, for all of several names, or for a fish that is being identified.

    A row of care.csv for the taxon stands over the row of its care group; cautions of both are given. Numeric
    ranges give the overlap, minimums the largest, lengths the span; where nothing suits all, the need has no
    value and names who needs what. What is not known for one of the names is never given as settled.

    Of an identification the names still possible count, likeliest first, at most 8, the unlikely as much as
    the likely: a fish can die of a name at 1 %. Their shares stand beside who needs what, and each conflict
    says which question settles it. If one name is left, the sheet is that of the name.

    Parameters
    ----------
    table : TraitTable or Identification
    *taxa : str
        Ids, trade codes or names, for a table: a code of several kinds gives the care that is right for all
        of them, a repeated kind counts once, and the order changes only the order of names on the sheet.

    Raises
    ------
    UnknownName
        If an id is not in the table.
    IdkeyError
        If no id is given, the table has no care sheets, or an identification leaves no kind of the table.
    """
    if isinstance(table, Identification):
        return _care_of_fish(table, taxa)
    names = every(table, taxa)
    if not names:
        msg = "care_for needs at least one taxon id, for example care_for(table, 'hypancistrus_zebra')"
        raise IdkeyError(msg)
    care = _care(table)
    for name in names:
        care.check(name)
    return _sheet(care, names)


def _care_of_fish(fish: Identification, taxa: tuple[str, ...]) -> CareSheet:
    if taxa:
        msg = f"care_for: {taxa[0]!r} beside an identification: give one, or a table and taxon ids"
        raise IdkeyError(msg)
    rows = fish.ranked()
    left = [row for row in rows if row.candidate and row.taxon != NONE]
    if not left:
        msg = "care_for: this fish is none of the kinds in the table; change an answer, or give a taxon id"
        raise IdkeyError(msg)
    care = _care(fish.table)
    if not any(care.has(row.taxon) for row in left):
        care.check(left[0].taxon)
    shown, rest = left[:_MOST_NAMES], left[_MOST_NAMES:]
    shares = {row.taxon: float(row.probability) for row in shown}
    sheet = _sheet(care, tuple(shares), shares)
    # Only a conflict between names on the sheet is asked about, but every kind still possible has its say.
    needs = {
        ATTRIBUTES[need.attribute]: {
            row.taxon: care.part(row.taxon, "", need.attribute).value(ATTRIBUTES[need.attribute])
            for row in left
        }
        for need in sheet.conflicts
    }
    settling = settle(fish, needs)
    texts = {s.attribute: s.text for s in settling}
    attributes = FrozenMap(
        (a, replace(need, text=f"{need.text}\n{texts[a]}") if a in texts else need)
        for a, need in sheet.attributes.items()
    )
    return replace(
        sheet,
        attributes=attributes,
        shares=FrozenMap(shares.items()),
        none_share=float(next((row.probability for row in rows if row.taxon == NONE), 0.0)),
        others=len(rest),
        others_share=float(sum(row.probability for row in rest)),
        settling=settling,
    )


def _sheet(care: _Care, names: tuple[str, ...], shares: Mapping[str, float] | None = None) -> CareSheet:
    """Bring names together; `shares` stand beside who needs what and weigh the safest choice."""
    labels = tuple(str(care.table.label(name)) for name in names)
    called = dict(zip(names, _short(labels), strict=True))
    needs, safest = {}, {}
    for a in ATTRIBUTES.values():
        parts = [care.part(name, called[name], a.id) for name in names]
        # Its parts stand in columns of their own now; only an older table still has them in one.
        if a.id == GENERAL and not any(part.cells for part in parts):
            continue
        if shares is not None:
            parts = [replace(part, share=shares[part.name]) for part in parts]
        need = bring_together(a, parts)
        if len(names) > 1 and (choice := safest_choice(a, parts)):
            safest[a.id] = choice
            if need.conflict:
                need = replace(need, text=f"{need.text}\nUntil the name is settled: {choice}.")
        needs[a.id] = need
    return CareSheet(names, labels, FrozenMap(needs.items()), care.table, FrozenMap(safest.items()))


def _short(labels: tuple[str, ...]) -> list[str]:
    """Leave the trade codes in brackets out of the names, where the rest still tells them apart."""
    bare = [label.partition(" (")[0] for label in labels]
    return [
        label if name.endswith(" sp.") or bare.count(name) > 1 else name
        for label, name in zip(labels, bare, strict=True)
    ]


@kept
def _care(table: TraitTable) -> _Care:
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

    def has(self, name: str) -> bool:
        """Tell whether the care group of a name has a row."""
        return self._group(name) in self.group_rows

    def check(self, name: str) -> None:
        """Raise IdkeyError for a name whose care group has no row."""
        if not self.has(name):
            group = self._group(name)
            right = f"care group {group!r} has no row" if group else "it has no care group"
            msg = f"{name}: this table has no care sheets for it: {right} in care.csv"
            raise IdkeyError(msg)

    def _group(self, name: str) -> str:
        return str(self.table.taxa.at[name, "careGroup"] or "")

    def part(self, name: str, label: str, attribute: str) -> Part:
        """Return one attribute of one name: its own row over that of its group.

        Cautions of the kind and of its group add up; what concerns every fish stands in the row `all`, and a
        group or kind adds to it. A sentence that stands in two rows is given once.
        """
        group = self._group(name)
        own = [
            (self.taxon_rows.get(name, {}), (name, ""), "species"),
            (self.group_rows.get(group, {}), ("", group), "group"),
        ]
        every = (self.group_rows.get(EVERY_GROUP, {}), ("", EVERY_GROUP), "all")
        places = {GENERAL: [every], **dict.fromkeys(FOR_EVERY_FISH, [*own, every])}.get(attribute, own)
        column = "cautions" if attribute == GENERAL else attribute
        found = [
            (row[column].strip(), who, origin) for row, who, origin in places if row.get(column, "").strip()
        ]
        adds_up = column == "cautions" or column in FOR_EVERY_FISH
        if not adds_up:
            found = found[:1]
        cells = [cell for cell, _, _ in found]
        if column in FOR_EVERY_FISH:
            cells = list(dict.fromkeys(s for cell in cells for s in sentences(cell)))
        return Part(
            name,
            label,
            tuple(dict.fromkeys(cells)),
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
