"""A keeper's own table and a newer shipped one, merged cell by cell.

Three states are held against one another: the shipped table the keeper started from (base), the keeper's
own (mine), and the shipped table of today (theirs). What one side alone changed is taken from that side, what
both changed alike is fine, and what both changed differently is a conflict: the keeper's stands until it is
settled, and the base keeps the old state of the place until then. What is the keeper's and leans on something
that the shipped table no longer has holds that in place. So nothing is lost, and the merged table loads.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Iterator
from dataclasses import dataclass, replace

from idkey.errors import IdkeyError, UnknownName, one_of
from idkey.table.claims import UNSOURCED
from idkey.table.csvfile import Row
from idkey.table.fields import HEADERS, META
from idkey.table.names import trade_codes
from idkey.table.schema import YOUNG
from idkey.table.states import (
    CARE,
    CARE_COLUMNS,
    COLUMNS_OF,
    EVIDENCE,
    GENERA,
    KEYS,
    SOURCES,
    TAXA,
    TRAITS,
    Place,
    Rows,
    ask_always,
    called,
    filled,
    fold,
    key_of,
    leans_on,
    let_go,
    put,
    readers_of,
    reads,
    rename,
    shown,
    speaks_of,
    take,
    taken_over,
    text_at,
    with_cells,
    words_of,
)

__all__ = ["Conflict", "Merge"]

_NAMED = {TRAITS: "trait", SOURCES: "source", CARE: "care"}
"""Files in which the keeper's row gets another name where theirs is taken by then."""
_WHAT = {
    TRAITS: "the trait",
    SOURCES: "the source",
    CARE: "the care of",
    CARE_COLUMNS: "the care column",
    GENERA: "the genus",
}
_UNTIL = "until you settle it"


@dataclass(frozen=True, slots=True)
class Conflict:
    """One place where the shipped table and the keeper's own say different things.

    Attributes
    ----------
    id : str
        Names the conflict, for `idkey.table.folder.settle`; the same as long as it is open.
    kind : {"cell", "taxon", "trait", "source", "care", "gone"}
        Both changed a cell; both have a kind, a trait, a source or a row of care under one name; or what the
        keeper's leans on is gone from the shipped table.
    taxon, column : str
        Where it is; blank where it is not about a kind, or not about one column.
    before, shipped, own : str
        What the shipped table said when the keeper wrote, what it says now, and what the keeper wrote.
    text : str
        What happened and what counts meanwhile, in one sentence.
    place : tuple of (file, key, column)
        What is taken from the one side or the other.
    other : str
        The name of the keeper's own row, where it is not that of the shipped one.
    """

    id: str
    kind: str
    taxon: str
    column: str
    before: str
    shipped: str
    own: str
    text: str
    choices: tuple[str, ...] = ("shipped", "own")
    place: Place = (TAXA, "", "")
    other: str = ""

    def __repr__(self) -> str:
        return f"{self.id}: {self.text}"


class Merge:
    """Three states of a table brought together.

    Parameters
    ----------
    base, mine, theirs : Rows
    asked : iterable of (file, own name, shipped name)
        Which names were found to have two meanings by an earlier merge, and are not settled.

    Attributes
    ----------
    rows : Rows
        The merged table.
    conflicts : tuple of Conflict
    asked : list of (file, own name, shipped name)
    """

    def __init__(self, base: Rows, mine: Rows, theirs: Rows, asked: Iterable[tuple[str, str, str]] = ()):
        self.base, self.theirs = base, theirs
        self.mine = {file: dict(rows) for file, rows in mine.items()}
        self._open: dict[str, Conflict] = {}
        self._theirs_read = readers_of(theirs)
        self.asked = [*asked, *self._taken_names()]
        self.rows: Rows = {file: {} for file in KEYS}
        for file in KEYS:
            for key in dict.fromkeys([*theirs[file], *self.mine[file]]):
                put(self.rows[file], key, self._merged(file, key))
        self.asked += self._shared_codes()
        self._mend()
        self.asked = [names for names in dict.fromkeys(self.asked) if self._two_meanings(*names)]
        self.conflicts = tuple(self._open.values())

    def _merged(self, file: str, key: Hashable) -> Row | None:
        was, own, now = (side[file].get(key) for side in (self.base, self.mine, self.theirs))
        if was and own and now and file != SOURCES:
            columns = dict.fromkeys([*now.values, *own.values])
            return replace(own, values={column: self._cell((file, key, column)) for column in columns})
        was_said, own_said, now_said = map(filled, (was, own, now))
        if file == TAXA and was_said and now_said:
            # A trait that is gone makes no other kind of it.
            was_said = {c: text for c, text in was_said.items() if c in META or c in self._theirs_read}
        if own_said in (was_said, now_said):
            return now
        if was_said != now_said:
            self._differ((file, key, ""))
        return own

    def _cell(self, place: Place) -> str:
        was, own, now = (text_at(side, place) for side in (self.base, self.mine, self.theirs))
        if own in (was, now):
            return now
        file, _, column = place
        gone = file == TAXA and column not in META and column not in self._theirs_read
        if was != now and not gone and not self._read_alike(column, own, now):
            self._differ(place)
        return own

    def _read_alike(self, column: str, one: str, other: str) -> bool:
        read = self._theirs_read
        both = reads(read, column, one) and reads(read, column, other)
        return both and read[column](one) == read[column](other)

    # -- names with two meanings ----------------------------------------------------------------

    def _taken_names(self) -> Iterator[tuple[str, str, str]]:
        """Give what is the keeper's another name where the shipped table has one of that name by now."""
        for file in _NAMED:
            for key, row in list(self.mine[file].items()):
                theirs = self.theirs[file].get(key)
                if theirs is None or key in self.base[file] or words_of(row) == words_of(theirs):
                    continue
                was = key[0] if file == CARE else key
                if file == CARE and key[1]:
                    continue
                taken = {
                    str(k[0] if file == CARE else k) for side in (self.mine, self.theirs) for k in side[file]
                }
                now = next(
                    f"{was}_own{n or ''}" for n in (0, *range(2, 999)) if f"{was}_own{n or ''}" not in taken
                )
                rename(self.mine, file, was, now)
                yield file, now, was

    def _shared_codes(self) -> Iterator[tuple[str, str, str]]:
        """Find new shipped kinds under the trade code of one of the keeper's own."""
        own = [key for key in self.rows[TAXA] if key not in self.theirs[TAXA]]
        new = [key for key in self.theirs[TAXA] if key not in self.base[TAXA] and key in self.rows[TAXA]]
        for mine in own:
            for theirs in new:
                if self._codes(mine) & self._codes(theirs):
                    yield "code", mine, theirs

    def _codes(self, taxon: str) -> set[str]:
        return {*trade_codes(text_at(self.rows, (TAXA, taxon, "tradeCode")))}

    def _two_meanings(self, file: str, own: str, theirs: str) -> bool:
        """Note the question which of two is meant; False where there is none any more."""
        if file == "code":
            shared = self._codes(own) & self._codes(theirs)
            if not shared:
                return False
            mine, other = (called(self.rows[TAXA][taxon]) for taxon in (own, theirs))
            text = (
                f"The shipped table has {other} under the trade code {min(shared)} of your {mine}: the same "
                f"fish? Both count {_UNTIL}."
            )
            asked = Conflict(f"taxon:{own}={theirs}", "taxon", own, "tradeCode", "", theirs, own, text)
        else:
            keys = [(name, "") if file == CARE else name for name in (own, theirs)]
            if keys[0] not in self.rows[file] or keys[1] not in self.theirs[file]:
                return False
            kind = _NAMED[file]
            text = (
                f"The shipped table now has a {kind}{' group' if file == CARE else ''} {theirs!r} too, "
                f"and not the same as yours; yours goes by {own!r} {_UNTIL}."
            )
            said = [
                words_of(rows[file][key])
                for rows, key in zip((self.theirs, self.rows), keys[::-1], strict=True)
            ]
            asked = Conflict(f"{kind}:{own}", kind, "", theirs, "", *said, text)
        self._open[asked.id] = replace(asked, place=(file, theirs, ""), other=own)
        return True

    # -- what one side leans on -----------------------------------------------------------------

    def _mend(self) -> None:
        """Keep what the keeper's rows lean on, and leave out what has nothing to stand on."""
        for file, key, column in [conflict.place for conflict in self._open.values()]:
            if not column and key in self.mine[file] and key not in self.theirs[file]:
                take(self.rows, self.mine, (file, key, ""))
        self._bring_back()
        held: set[Place] = set()
        while amiss := self._amiss() - held:
            for place in sorted(amiss):
                take(self.rows, self.mine, place)
                self._differ(place)
            held |= amiss
            self._bring_back()
        ask_always(self.rows)
        self._tidy()

    def _amiss(self) -> set[Place]:
        """Return the traits and the columns of care that can't be read, or by which some cell can't."""
        amiss: set[Place] = set()
        readers = readers_of(self.rows, amiss)
        for file, others in COLUMNS_OF.items():
            cells = (
                cell for other in others for row in self.rows[other].values() for cell in row.values.items()
            )
            for column, text in cells:
                name = column if column in self.rows[file] else column.removesuffix(YOUNG)
                if (
                    text
                    and column in readers
                    and name in self.rows[file]
                    and not reads(readers, column, text)
                ):
                    amiss.add((file, name, ""))
        return amiss

    def _bring_back(self) -> None:
        while True:
            lacking = next(((f, key, "") for f, key in self._needed() if key not in self.rows[f]), None)
            if lacking is None:
                break
            file, key, _ = lacking
            if key in self.mine[file]:
                take(self.rows, self.mine, lacking)
                self._differ(lacking, gone=True)
            else:
                take(self.rows, self.theirs, lacking)
        for claim in self._own_claims():
            place = self._cell_of(claim)
            if not text_at(self.rows, place) and text_at(self.mine, place):
                file, key, column = place
                self.rows[file][key] = with_cells(self.rows[file][key], **{column: text_at(self.mine, place)})
                self._differ(place)

    def _own_claims(self) -> list[Row]:
        return [row for key, row in self.rows[EVIDENCE].items() if key not in self.theirs[EVIDENCE]]

    def _needed(self) -> Iterator[tuple[str, Hashable]]:
        """Yield what has to be there for what is there."""
        for row in self.rows[TAXA].values():
            for column, text in filled(row).items():
                if column == "careGroup":
                    yield CARE, (text, "")
                elif column == "nameAccordingTo":
                    yield SOURCES, text
                elif column not in META and text != text_at(self.base, (TAXA, row["id"], column)):
                    yield TRAITS, column if column in self.mine[TRAITS] else column.removesuffix(YOUNG)
        for row in self.rows[TRAITS].values():
            if leans_on(row):
                yield TRAITS, leans_on(row)
        for key, row in self.rows[CARE].items():
            if filled(row) != filled(self.base[CARE].get(key)):
                if row["taxon"]:
                    yield TAXA, row["taxon"]
                yield from ((CARE_COLUMNS, c) for c in filled(row) if c in self.mine[CARE_COLUMNS])
        for row in self.rows[EVIDENCE].values():
            if row["source"]:
                yield SOURCES, row["source"]
        for row in self._own_claims():
            if row["taxon"]:
                yield TAXA, row["taxon"]
            if row["care_group"]:
                yield CARE, (row["care_group"], "")
            for file in COLUMNS_OF:
                for name in {row["attribute"], row["attribute"].removesuffix(YOUNG)} & self.mine[file].keys():
                    yield file, name

    def _cell_of(self, claim: Row) -> Place:
        """Return the cell that a claim stands behind."""
        taxon, attribute = claim["taxon"], claim["attribute"]
        if claim.values.get("genus"):
            return GENERA, claim["genus"], attribute
        if taxon and attribute not in self.rows[CARE_COLUMNS]:
            return TAXA, taxon, attribute
        return CARE, ("", taxon) if taxon else (claim["care_group"], ""), attribute

    def _tidy(self) -> None:
        traits = {name for key in self.rows[TRAITS] for name in (key, f"{key}{YOUNG}")}
        known = {
            TAXA: traits.union(META),
            GENERA: traits.union(*KEYS.values()),
            CARE: self.rows[CARE_COLUMNS],
        }
        for file, columns in known.items():
            kept = {*columns, *KEYS[file]}
            for key, row in list(self.rows[file].items()):
                self.rows[file][key] = replace(row, values={c: t for c, t in row.values.items() if c in kept})
        care = self.rows[CARE].items()
        self.rows[CARE] = {k: r for k, r in care if not r["taxon"] or r["taxon"] in self.rows[TAXA]}
        held = {conflict.place for conflict in self._open.values()}
        taken = taken_over(self.rows)
        claims: dict[Hashable, Row] = {}
        backed: set[Place] = set()
        for key, row in self.rows[EVIDENCE].items():
            place = self._cell_of(row)
            new = key not in self.mine[EVIDENCE]
            said = place in taken or text_at(self.rows, place) not in ("", "?")
            if said and not (new and {place, (*place[:2], "")} & held):
                claims[key] = row
                backed.add(place)
        names = {*META, *(column for columns in KEYS.values() for column in columns)}
        for file in known:
            for key, row in self.rows[file].items():
                for column, text in filled(row).items():
                    if column not in names and text != "?" and (file, key, column) not in backed:
                        claims |= self._behind((file, key, column), text)
        self.rows[EVIDENCE] = claims

    def _behind(self, place: Place, text: str) -> dict[Hashable, Row]:
        """Return what either side puts behind a cell that says so, or that nobody names a source."""
        speaks = speaks_of(place)
        for side in (self.theirs, self.mine):
            claims = {k: r for k, r in side[EVIDENCE].items() if speaks(r)}
            if (
                claims
                and text_at(side, place) == text
                and all(r["source"] in {"", *self.rows[SOURCES]} for r in claims.values())
            ):
                return claims
        file, key, column = place
        who = {"care_group": key[0], "taxon": key[1]} if file == CARE else {KEYS[file][0]: key}
        who = {"taxon": key} if file == TAXA else who
        said = {"attribute": column, "value": text, "class": "memory", "scope": "species", "note": UNSOURCED}
        row = Row(0, dict.fromkeys(HEADERS[EVIDENCE], "") | who | said, EVIDENCE)
        return {key_of(row): row}

    # -- conflicts ------------------------------------------------------------------------------

    def _differ(self, place: Place, *, gone: bool = False) -> None:
        """Note that both say different things of a place."""
        file, key, column = place
        was, own, now = (side[file].get(key) for side in (self.base, self.mine, self.theirs))
        name = str((key[1] or key[0]) if file == CARE else key)
        what = called(own or was or now) if file == TAXA else f"{_WHAT[file]} {name!r}"
        said = [
            text_at(s, place) if column else words_of(s[file].get(key))
            for s in (self.base, self.mine, self.theirs)
        ]
        if column:
            did = f"wrote {shown(said[1])}" if said[0] != said[1] else f"gave a claim for {shown(said[1])}"
            text = (
                f"{what}, {column}: you {did} where the shipped table said {shown(said[0])}; it now says "
                f"{shown(said[2])}, and yours counts {_UNTIL}."
            )
        elif now is None:
            text = (
                f"The shipped table no longer has {what}, which you changed or built on; it stays {_UNTIL}."
            )
        elif own is None:
            text = f"You left out {what}, which the shipped table has changed since; it stays out {_UNTIL}."
        elif was is not None:
            text = f"You and the shipped table changed {what}, each otherwise; yours counts {_UNTIL}."
        elif file == TAXA:
            theirs = f"a kind {name!r} ({called(now)})"
            text = f"The shipped table now has {theirs} too; your row ({what}) counts {_UNTIL}."
        else:
            text = f"The shipped table now has {what} too; yours counts {_UNTIL}."
        kind = "gone" if gone else "cell" if column else "taxon" if file == TAXA else _NAMED.get(file, "cell")
        start = kind if file == TAXA or (not column and kind != "cell") else file.partition(".")[0]
        where = ":".join(filter(None, (start, name, column)))
        taxon = name if file == TAXA or (file == CARE and key[1]) else ""
        at = column or ("id" if file == TAXA and not gone else "")
        self._open.setdefault(
            where, Conflict(where, kind, taxon, at, said[0], said[2], said[1], text, place=place)
        )

    def held_back(self) -> Rows:
        """Return the base of the next merge: the shipped table, but for what is not settled."""
        held = {file: dict(rows) for file, rows in self.theirs.items()}
        for conflict in self.conflicts:
            if not conflict.other:
                take(held, self.base, conflict.place)
        return held

    def settled(self, name: str, keep: str) -> Merge:
        """Return the merge with one conflict settled. Raises UnknownName, IdkeyError."""
        if name not in self._open:
            known = one_of(name, list(self._open), "one of those that are") if self._open else "none is"
            msg = f"no conflict {name!r} is open: {known}"
            raise UnknownName(msg)
        conflict = self._open[name]
        if keep not in conflict.choices:
            msg = f"{name}: keep={keep!r}: {one_of(keep, conflict.choices)}"
            raise IdkeyError(msg)
        base, mine = self.held_back(), {file: dict(rows) for file, rows in self.rows.items()}
        file, theirs, _ = conflict.place
        asked = [names for names in self.asked if names != (file, conflict.other, theirs)]
        if not conflict.other:
            take(base, self.theirs, conflict.place)
        if keep == "shipped":
            if file == "code":
                take(mine, dict.fromkeys(KEYS, {}), (TAXA, conflict.other, ""))
            elif conflict.other:
                fold(mine, self._theirs_read, (file, conflict.other, theirs))
            else:
                take(mine, self.theirs, conflict.place)
                if theirs not in self.theirs[file]:
                    let_go(mine, conflict.place)
            ask_always(mine)
        return Merge(base, mine, self.theirs, asked)
