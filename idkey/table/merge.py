"""The shipped table with a keeper's own additions laid over it, and where the two say different things.

A newer shipped table never stops an own table from loading. What can't be read any more is set aside and
shown, and a save writes it back as it was. Nothing is looked up here and nothing is written.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from idkey.table.care import parse_care
from idkey.table.claims import UNSOURCED
from idkey.table.conflicts import Conflict, Conflicts
from idkey.table.csvfile import Found, Row, Sheet
from idkey.table.edit import added_to
from idkey.table.fields import COMMONNESS, HEADERS, META
from idkey.table.names import trade_codes
from idkey.table.own import CHANGES, ID, OVERLAY, Own
from idkey.table.rows import read_traits, shipped_care_columns
from idkey.table.schema import YOUNG, Trait, cell_text, parse_cell

if TYPE_CHECKING:
    from idkey.table.files import Parts

__all__ = ["CHANGES", "OVERLAY", "Conflict", "Laid", "lay", "lay_over"]

_CARE = {a.id: a for a in shipped_care_columns()}
_NO_KIND = "no such kind is left"
_UNBACKED = "no claim that can be read stands behind it"
_BACK = "no row of evidence.csv stands behind this cell; add one or blank the cell"


@dataclass(frozen=True)
class Laid:
    """What came of laying an own table over the shipped one; `own` has the names that now count."""

    parts: Parts
    conflicts: tuple[Conflict, ...]
    own: Own


def lay_over(shipped: Parts, own: Parts, changes: Sheet, found: Found) -> tuple[Parts, tuple[Conflict, ...]]:
    """Lay an own table over the shipped one.

    Parameters
    ----------
    shipped : Parts
    own, changes : Parts, Sheet
        As `idkey.table.overlay.read_overlay` gives them.
    found : Found
        What the keeper mistyped is added to it.

    Returns
    -------
    tuple of (Parts, tuple of Conflict)
    """
    laid = lay(shipped, own, changes, found)
    return laid.parts, laid.conflicts


def lay(shipped: Parts, own: Parts, changes: Sheet, found: Found) -> Laid:
    """Lay an own table over the shipped one; see `lay_over`."""
    mine = Own.read(own, changes)
    sheets = [*shipped.sheets.values(), *own.sheets.values(), changes]
    if own.sources is None or shipped.sources is None or not all(s.readable for s in sheets):
        # What can't be read is named already; nothing can be said of the rest.
        return Laid(shipped, (), mine)
    laying = _Laying(shipped, mine, found)
    return Laid(laying.parts(), laying.conflicts.found(), mine)


class _Laying:
    """The rows that count, and the conflicts met on the way."""

    def __init__(self, shipped: Parts, own: Own, found: Found):
        self.shipped = shipped
        self.own = own
        self.found = found
        since = {key: own.stated[key] for key in ("version", "created") if key in own.stated}
        self.conflicts = Conflicts(since)
        # By the same shipped table the keeper wrote this: what it does not know is a slip of the pen.
        self.upgraded = any(text != str(shipped.about.get(key, "")) for key, text in since.items())
        self.added = not own.empty
        self.cleared: set[tuple[str, str]] = set()
        self.care_replaced: set[str] = set()
        for both in own.part_names(shipped):
            self.conflicts.two_meanings(both)

    def parts(self) -> Parts:
        rows = {file: list(sheet.rows) for file, sheet in self.shipped.sheets.items()}
        self._leave_out(rows)
        self._same_kinds(rows)
        self.sources = {**(self.shipped.sources or {}), **self.own.sources}
        rows["traits.csv"] = self._with_traits(rows["traits.csv"])
        self.known = {row[ID] for row in rows["traits.csv"]}
        quiet = Found()
        traits = list(read_traits(Sheet("traits.csv", (), tuple(rows["traits.csv"])), quiet))
        self.traits = {t.id: t for t in traits} | {t.id + YOUNG: t for t in traits}
        self.groups = {
            r["care_group"] for r in [*rows["care.csv"], *self.own.rows["care.csv"]] if not r["taxon"]
        }
        self.claimed = {
            (row.who, row["attribute"])
            for row in self.own.rows["evidence.csv"]
            if not row["source"] or row["source"] in self.sources
        }
        self.backed = {(row.who, row["attribute"]) for row in rows["evidence.csv"]}
        self.genera = {(r["genus"], c): text for r in rows["genera.csv"] for c, text in r.values.items()}
        columns = self._columns()
        kinds = [*self._changed(rows["taxa.csv"]), *map(self._kind, self.own.rows["taxa.csv"])]
        columns = self._without_blank_companions(columns, kinds)
        kinds = [replace(row, values={c: row.values.get(c, "") for c in columns}) for row in kinds]
        care = self._with_care(rows["care.csv"], {row[ID] for row in kinds})
        evidence = self._with_evidence(rows["evidence.csv"], kinds, care)
        new = {
            "traits.csv": rows["traits.csv"],
            "taxa.csv": kinds,
            "care.csv": care,
            "evidence.csv": evidence,
        }
        headers = {"taxa.csv": columns}
        sheets = {
            file: Sheet(file, headers.get(file, self.shipped.sheets[file].header), tuple(found))
            for file, found in new.items()
        }
        about = added_to(self.shipped.about) if self.added else self.shipped.about
        return replace(
            self.shipped, sheets={**self.shipped.sheets, **sheets}, sources=self.sources, about=about
        )

    # -- kinds ----------------------------------------------------------------------------------

    def _leave_out(self, rows: dict[str, list[Row]]) -> None:
        """Take out the shipped kinds that the keeper left out."""
        there = {row[ID] for row in rows["taxa.csv"]}
        out = set()
        for row in self.own.rows[CHANGES]:
            if row["column"] != ID:
                continue
            if row["own"]:
                self.found.at(row)("own", "leave this blank to leave the kind out; an id can't be changed")
            elif row["taxon"] in there:
                out.add(row["taxon"])
            elif not self.upgraded:
                self.found.at(row)("taxon", self.found.one_of(row["taxon"], there, "a shipped kind"))
        _take_out(rows, out)

    def _same_kinds(self, rows: dict[str, list[Row]]) -> None:
        """Find the keeper's kinds that the shipped table now has: by their id, or by their trade code."""
        theirs = {row[ID]: row for row in rows["taxa.csv"]}
        asked = {(str(mine), str(other)) for mine, other in self.own.stated.get("same_code", ())}
        codes: dict[str, list[str]] = {}
        for row in theirs.values():
            for code in sorted(trade_codes(row["tradeCode"])):
                codes.setdefault(code, []).append(row[ID])
        for row in list(self.own.rows["taxa.csv"]):
            taxon = row[ID]
            if taxon in theirs:
                if _filled(row) == _filled(theirs[taxon]):
                    self.own.rows["taxa.csv"].remove(row)
                    continue
                self.conflicts.same_kind(row, theirs[taxon])
                _take_out(rows, {taxon})
                continue
            for code in sorted(trade_codes(row["tradeCode"])):
                for other in codes.get(code, ()):
                    if (taxon, other) in asked:
                        continue
                    asked.add((taxon, other))
                    self.conflicts.same_code(row, theirs[other], code)

    def _kind(self, row: Row) -> Row:
        """Return an own kind without the cells that can't be read any more."""
        if not self.upgraded:
            return row
        values = dict(row.values)
        for column, text in row.values.items():
            why = self._why_not(row[ID], column, text)[0] if text and column != ID else ""
            if why:
                self.conflicts.gone(row, column, why, (ID, column))
                values[column] = ""
        return replace(row, values=values)

    def _why_not(self, taxon: str, column: str, text: str) -> tuple[str, str]:
        """Say why a filled cell can't stand in today's table, and what would be right; blank if it can."""
        names: dict[str, tuple[Collection[str], str]] = {
            "careGroup": (self.groups, "a care group"),
            "nameAccordingTo": (self.sources, "the key of a source"),
            "commonness": (COMMONNESS, "one"),
        }
        if column in META:
            known, what = names.get(column, ((text,), ""))
            return (
                ("", "")
                if text in known
                else (f"there is no such {column}", self.found.one_of(text, known, what))
            )
        if not self._is_column(column):
            return "no trait has this name", self.found.one_of(column, [*META[1:], *self.known], "a column")
        trait = self.traits.get(column)
        if trait is not None:
            try:
                parse_cell(trait, text)
            except ValueError as error:
                return "it is no value of this trait", str(error)
        return ("", "") if self._is_backed((taxon, column)) else (_UNBACKED, _BACK)

    def _is_column(self, column: str) -> bool:
        return column in META or column in self.known or column.removesuffix(YOUNG) in self.known

    def _is_backed(self, place: tuple[str, str]) -> bool:
        return place in self.claimed or (place in self.backed and place not in self.cleared)

    # -- changed cells --------------------------------------------------------------------------

    def _changed(self, kinds: list[Row]) -> list[Row]:
        """Return the shipped kinds with the keeper's changes."""
        by_id = {row[ID]: row for row in kinds}
        places: dict[tuple[str, str], list[Row]] = {}
        for row in self.own.rows[CHANGES]:
            if row["column"] != ID:
                places.setdefault((row["taxon"], row["column"]), []).append(row)
        for (taxon, column), rows in places.items():
            why, at, right = self._cannot(by_id, rows)
            if not why:
                text = self._change(by_id[taxon], rows)
                by_id[taxon] = replace(by_id[taxon], values={**by_id[taxon].values, column: text})
            elif self.upgraded:
                for row in rows:
                    self.conflicts.gone(row, "" if why == _NO_KIND else column, why)
            else:
                self.found.at(rows[-1])(at, right)
        return list(by_id.values())

    def _cannot(self, kinds: Mapping[str, Row], rows: list[Row]) -> tuple[str, str, str]:
        """Say why a change can't be made, in which column that is wrong, and what would be right."""
        row = rows[-1]
        taxon, column, text = row["taxon"], row["column"], row["own"]
        if taxon in {r[ID] for r in self.own.rows["taxa.csv"]}:
            return "the kind is your own", "taxon", "this kind is your own; change its row in taxa.csv"
        if taxon not in kinds:
            return _NO_KIND, "taxon", self.found.one_of(taxon, kinds, "a shipped kind")
        if not self._is_column(column):
            why, right = self._why_not(taxon, column, text)
            return why, "column", right
        if any(r["own"] for r in rows[:-1]) or len(rows) > 2:
            right = "this cell is changed twice; keep one of the rows"
            return "the cell is changed twice", "column", right
        if len(rows) == 2:
            self.cleared.add((taxon, column))
        if not text:
            needed = column in ("scientificName", "genus")
            return ("a kind needs it", "own", "fill this cell") if needed else ("", "", "")
        why, right = self._why_not(taxon, column, text)
        return why, "own", right

    def _change(self, kind: Row, rows: list[Row]) -> str:
        """Return what the cell says; note a conflict where the shipped table says something new."""
        row = rows[-1]
        taxon, column, text = row["taxon"], row["column"], row["own"]
        if not text:
            self.cleared.add((taxon, column))
        trait = self.traits.get(column)
        taken = self._taken_over(kind, column)
        shipped = kind.values.get(column, "") or (taken if row["shipped"] else "")
        before, now, own = (_plain(trait, t) for t in (row["shipped"], shipped, text))
        if now not in (before, own):
            self.conflicts.cell(kind, row, now)
        # Written when the cell was the kind's own: then blank meant that it is not known.
        return "?" if row["shipped"] and not text and taken not in ("", "-") else text

    def _taken_over(self, kind: Row, column: str) -> str:
        """Return what a blank cell of a shipped kind takes over."""
        trait = self.traits.get(column)
        if trait is not None and trait.applies_when and column == trait.id:
            other, states = trait.applies_when
            shown = kind.values.get(other, "") or self.genera.get((kind["genus"], other), "")
            if shown == "-" or (shown and not {s.partition(":")[0] for s in shown.split("|")} & {*states}):
                return "-"
        return self.genera.get((kind["genus"], column), "")

    # -- traits, columns, care, evidence --------------------------------------------------------

    def _with_traits(self, shipped: list[Row]) -> list[Row]:
        """Add the keeper's traits; one that leans on a state that is gone is always asked meanwhile."""
        own = self.own.rows["traits.csv"]
        states = {row[ID]: set(row["states"].split("|")) for row in [*shipped, *own]}
        added = []
        for row in own:
            applies = row["applies_when"]
            trait, sign, rest = applies.partition("=")
            wanted = {state.strip() for state in rest.split("|")}
            if self.upgraded and sign and not wanted <= states.get(trait.strip(), set()):
                self.conflicts.gone(row, "applies_when", "there is no such state", (ID, "applies_when"))
                added.append(replace(row, values={**row.values, "applies_when": ""}))
            else:
                added.append(row)
        return [*shipped, *added]

    def _columns(self) -> tuple[str, ...]:
        """Return the columns of kinds: in the keeper's order, then what the shipped table has besides."""
        wanted = [*self.own.columns, *self.shipped.sheets["taxa.csv"].header]
        wanted += [row[ID] for row in self.own.rows["traits.csv"]]
        wanted += [row["column"] for row in self.own.rows[CHANGES] if row["column"] in self.traits]
        columns = tuple(dict.fromkeys(wanted))
        if not self.upgraded:
            return columns
        return tuple(c for c in columns if self._is_column(c))

    def _without_blank_companions(self, columns: tuple[str, ...], kinds: list[Row]) -> tuple[str, ...]:
        """Leave out a column for young fish that nothing is known in any more."""
        return tuple(
            c
            for c in columns
            if c in META or c not in self.traits or c in self.known or any(row.values.get(c) for row in kinds)
        )

    def _with_care(self, shipped: list[Row], kinds: set[str]) -> list[Row]:
        """Add the keeper's rows of care; of two rows on one kind the keeper's counts."""
        theirs = {row["taxon"]: row for row in shipped if row["taxon"]}
        added = []
        for row in self.own.rows["care.csv"]:
            taxon = row["taxon"]
            if self.upgraded and taxon and taxon not in kinds:
                self.conflicts.gone(row, "", _NO_KIND)
                continue
            if taxon in theirs:
                self.conflicts.care(row, theirs[taxon])
                shipped = [r for r in shipped if r["taxon"] != taxon]
                self.care_replaced.add(taxon)
            added.append(self._care_row(row) if self.upgraded else row)
        return [*shipped, *added]

    def _care_row(self, row: Row) -> Row:
        values = dict(row.values)
        for column, attribute in _CARE.items():
            try:
                parse_care(attribute, row[column])
            except ValueError as error:
                why = f"it can't be read ({error})"
            else:
                why = _UNBACKED if row[column] and not self._is_backed((row.who, column)) else ""
            if why:
                self.conflicts.gone(row, column, why, ("care_group", "taxon", column))
                values[column] = ""
        return replace(row, values=values)

    def _with_evidence(self, shipped: list[Row], kinds: list[Row], care: list[Row]) -> list[Row]:
        """Add the keeper's claims; leave out those that nothing stands in front of any more."""
        filled = {(row.who, c) for row in [*kinds, *care] for c, text in row.values.items() if text}
        filled |= {(k[ID], c) for k in kinds for g, c in self.genera if self.genera[g, c] and g == k["genus"]}
        own = self.own.rows["evidence.csv"]
        there = {row.who for row in [*kinds, *care]}
        kept = []
        for row in shipped:
            place = row.who, row["attribute"]
            replaced = row["taxon"] in self.care_replaced and row["attribute"] in _CARE
            outdated = place in self.claimed and row["note"] == UNSOURCED
            if place not in self.cleared and not replaced and not outdated:
                kept.append(row)
        if not self.upgraded:
            return [*kept, *own]
        said = {_claim(row) for row in kept}
        added = []
        for row in own:
            if row.who not in there:
                self.conflicts.gone(row, "", _NO_KIND)
            elif row["source"] and row["source"] not in self.sources:
                self.conflicts.gone(row, row["attribute"], "no source has this key")
            elif (row.who, row["attribute"]) not in filled:
                self.conflicts.gone(row, row["attribute"], "the cell behind which it stands is blank or gone")
            elif _claim(row) not in said:
                added.append(row)
        return [*kept, *added]


def _take_out(rows: dict[str, list[Row]], taxa: Collection[str]) -> None:
    """Take out all that a table holds on some kinds."""
    for file, column in (("taxa.csv", ID), ("care.csv", "taxon"), ("evidence.csv", "taxon")):
        rows[file] = [row for row in rows[file] if row[column] not in taxa]


def _plain(trait: Trait | None, text: str) -> str:
    """Return a cell as it is written by rule, so that 7 and 7..7 are the same."""
    if trait is None:
        return text
    try:
        return cell_text(trait, parse_cell(trait, text))
    except ValueError:
        return text


def _filled(row: Row) -> dict[str, str]:
    return {column: text for column, text in row.values.items() if text}


def _claim(row: Row) -> tuple[str, ...]:
    return tuple(row[c] for c in HEADERS["evidence.csv"])
