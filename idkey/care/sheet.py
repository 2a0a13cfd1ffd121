"""The care sheet of a name, and what is right for several names at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import pandas as pd

from idkey.care.advice import Settling, safest_choice, settle
from idkey.care.needs import FrozenMap, Need, bring_together, care_rows
from idkey.display import Printed
from idkey.errors import IdkeyError
from idkey.model.evidence import NONE
from idkey.model.identify import Identification
from idkey.table.names import every
from idkey.table.schema import CareColumn
from idkey.table.table import TraitTable

_MOST_NAMES = 8
"""Names on a sheet made from an identification; with more, the fish is not known well enough for a sheet."""


@dataclass(frozen=True, slots=True, repr=False)
class CareSheet(Printed):
    """What one name calls for, or what is right for several names at once.

    Attributes
    ----------
    names, labels : tuple of str
        Taxon ids, each once, in the order given, and their display names.
    attributes, columns : mapping
        Column of care.csv -> need, and what the table says of the column, in the order of the sheet.
    table : TraitTable or None
        The table it was read from, for drawings and for the stamp on a printed sheet.
    safest : mapping of str to str
        Column of care.csv -> the safest choice until the name is settled; empty for one name.
    shares, none_share : mapping of str to float, float
        Taxon id -> its share of the posterior, and that of "none of these", for which nothing here holds;
        empty unless made from an identification. Two sheets with the same needs are equal whatever these are.
    others, others_share : int, float
        How many less likely names are still possible but not on the sheet, and their share together.
    settling : tuple of Settling
        Which question settles each conflict.
    """

    names: tuple[str, ...]
    labels: tuple[str, ...]
    attributes: Mapping[str, Need]
    columns: Mapping[str, CareColumn] = field(repr=False, compare=False)
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
        """Return the sheet as a table of text, one row a need."""
        rows = [
            (n.attribute, n.text, ", ".join(n.classes), "; ".join(n.sources), n.conflict)
            for n in self.attributes.values()
        ]
        columns = ["attribute", "need", "evidence class", "sources", "conflict"]
        return pd.DataFrame(rows, columns=columns, dtype="str")


def care_for(table: TraitTable | Identification, *taxa: str) -> CareSheet:
    """Return what is right for one name, for all of several names, or for a fish that is being identified.

    A row of care.csv for the taxon stands over the row of its care group; cautions of both are given. Numeric
    ranges give the overlap, minimums the largest, lengths the span; where nothing suits all, the need has no
    value and names who needs what. What is not known for one of the names is never given as settled.

    Of an identification the names still possible count, likeliest first, at most 8, the unlikely as much as
    the likely: a fish can die of a name at 1 %. Their shares stand beside who needs what, and each conflict
    says which question settles it. If one name is left, the sheet is that of the name.

    For a table, `taxa` are ids, trade codes or names: a code of several kinds gives what is right for all of
    them, a repeated kind counts once, and the order changes only the order of names on the sheet.

    Raises IdkeyError for a name that is not in the table (UnknownName), no name, a table without care sheets,
    or an identification that leaves no kind of the table.
    """
    if isinstance(table, Identification):
        if taxa:
            msg = f"care_for: {taxa[0]!r} beside an identification: give one, or a table and taxon ids"
            raise IdkeyError(msg)
        return _care_of_fish(table)
    names = every(table, taxa)
    if not names:
        msg = "care_for needs at least one taxon id, for example care_for(table, 'hypancistrus_zebra')"
        raise IdkeyError(msg)
    care_rows(table).check(*names)
    return _sheet(table, names)


def _care_of_fish(fish: Identification) -> CareSheet:
    rows = fish.ranked()
    left = [row for row in rows if row.candidate and row.taxon != NONE]
    if not left:
        msg = "care_for: this fish is none of the kinds in the table; change an answer, or give a taxon id"
        raise IdkeyError(msg)
    care = care_rows(fish.table)
    care.check(*(row.taxon for row in left), anyone=True)
    shown, rest = left[:_MOST_NAMES], left[_MOST_NAMES:]
    shares = {row.taxon: float(row.probability) for row in shown}
    sheet = _sheet(fish.table, tuple(shares), shares)
    # Only a conflict between names on the sheet is asked about, but every kind still possible has its say.
    asked = [column for a, column in sheet.columns.items() if sheet.attributes[a].conflict]
    settling = settle(fish, {c: {row.taxon: care.part(c, row.taxon).value for row in left} for c in asked})
    needs = dict(sheet.attributes)
    for s in settling:
        needs[s.attribute] = replace(needs[s.attribute], text=f"{needs[s.attribute].text}\n{s.text}")
    return replace(
        sheet,
        attributes=FrozenMap(needs.items()),
        shares=FrozenMap(shares.items()),
        none_share=float(next((row.probability for row in rows if row.taxon == NONE), 0.0)),
        others=len(rest),
        others_share=float(sum(row.probability for row in rest)),
        settling=settling,
    )


def _sheet(table: TraitTable, names: tuple[str, ...], shares: Mapping[str, float] = FrozenMap()) -> CareSheet:
    """Bring names together; `shares` stand beside who needs what and weigh the safest choice."""
    care = care_rows(table)
    labels = tuple(str(table.label(name)) for name in names)
    called = dict(zip(names, _short(labels), strict=True))
    needs, safest = {}, {}
    for column in table.care_columns:
        parts = [care.part(column, name, called[name], shares.get(name)) for name in names]
        need = bring_together(column, parts)
        if len(names) > 1 and (choice := safest_choice(column, parts)):
            safest[column.id] = choice
            if need.conflict:
                need = replace(need, text=f"{need.text}\nUntil the name is settled: {choice}.")
        needs[column.id] = need
    columns = FrozenMap((column.id, column) for column in table.care_columns)
    return CareSheet(names, labels, FrozenMap(needs.items()), columns, table, FrozenMap(safest.items()))


def _short(labels: tuple[str, ...]) -> list[str]:
    """Leave the trade codes in brackets out of the names, where the rest still tells them apart."""
    bare = [label.partition(" (")[0] for label in labels]
    return [
        label if name.endswith(" sp.") or bare.count(name) > 1 else name
        for label, name in zip(labels, bare, strict=True)
    ]
