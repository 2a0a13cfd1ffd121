"""A keeper's own table and a newer shipped one, merged cell by cell.

What the shipped table that the keeper started from (base), the keeper's own (mine) and the shipped table of
today (theirs) say of a place are held against one another. What one side alone changed is taken from it; what
both changed differently is a conflict: the keeper's stands until it is settled, and the base keeps the old
state of the place. What the keeper's leans on and the shipped table no longer has is held in place.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Hashable, Iterator
from dataclasses import dataclass
from itertools import count

from idkey.errors import IdkeyError, UnknownName, one_of
from idkey.table.claims import Claim
from idkey.table.csvfile import Found
from idkey.table.fields import HEADERS, META
from idkey.table.names import trade_codes
from idkey.table.rows import check_sheets, taken_over
from idkey.table.schema import YOUNG
from idkey.table.state import (
    CARE,
    CARE_COLUMNS,
    COLUMNS_OF,
    EVIDENCE,
    FILES,
    GENERA,
    NAMED_IN,
    SOURCES,
    TAXA,
    TRAITS,
    Cells,
    Place,
    State,
    filled,
    key_of,
    leans_on,
    reads,
)

_KEYS = ("id", "genus", "key", "care_group", "taxon")  # they name a row; a claim is named by all it says
_SHAPE = ("kind", "unit", "states", "state_words")  # columns that fit together, by which cells are read
_ENTRY = re.compile(r"(@\w+\s*[{(]\s*)([^\s,={}]+)")
_WHAT = {TAXA: "taxon", TRAITS: "trait", SOURCES: "source", GENERA: "genus"}
_WHAT |= {CARE: "care of", CARE_COLUMNS: "column of care"}
_OPEN = " until you settle it."


def _name_of(key: Hashable) -> str:
    """Return the name in a key: of care that of the kind, or of the group."""
    return str(key[1] or key[0]) if isinstance(key, tuple) else str(key)


def _codes_of(row: Cells | None) -> set[str]:
    return {*trade_codes((row or {}).get("tradeCode", ""))}


def _words_of(file: str, row: Cells | None, columns: Collection[str] | None = None) -> str:
    """Return a row on one line, its name left out; of a kind its name, with its trade codes.

    Of other files, what is said in these columns; by default in all.
    """
    if row and file == TAXA:
        codes = row["tradeCode"].replace("|", ", ")
        return f"{row['scientificName']} ({codes})" if codes else row["scientificName"]
    named = [column for column in filled(row) if column not in _KEYS and (not columns or column in columns)]
    said = "; ".join(filled(row)[column] for column in named)
    return _ENTRY.sub(lambda m: m[1], said) if file == SOURCES else said


@dataclass(frozen=True, slots=True)
class Conflict:
    """One place where the shipped table and the keeper's own say different things.

    `id` names it, for `idkey.table.folder.settle`. `before`, `shipped` and `own`: what the shipped table said
    when the keeper wrote, what it says now, and what the keeper wrote. `text` tells what happened and what
    counts meanwhile. `place` is where; `other` the keeper's kind that may be the same as the shipped one.
    """

    id: str
    before: str
    shipped: str
    own: str
    text: str
    place: Place
    other: str = ""

    def __repr__(self) -> str:
        return f"{self.id}: {self.text}"


class Merge:
    """Three states of a table brought together: `rows` is the merged table, with its `conflicts`."""

    def __init__(self, base: State, mine: State, theirs: State):
        self.base, self.mine, self.theirs = base, mine.copy(), theirs
        self._sides = base, self.mine, theirs
        self._open: dict[Place, bool] = {}  # where they differ; whether what the keeper's leans on is gone
        self._theirs_read, _ = theirs.readers()
        self._part_sources()
        new = (row for key, row in self.mine[EVIDENCE].items() if key not in base[EVIDENCE])
        self._claimed = {self.mine.cell_of(row) for row in new}
        self._part_from_genus()
        self.rows = State()
        for file in FILES:
            for key in dict.fromkeys([*theirs[file], *self.mine[file]]):
                if row := self._merged(file, key):
                    self.rows[file][key] = row
        self._mend()
        self.conflicts = (*self._told(), *self._shared_codes())

    def _part_sources(self) -> None:
        """Give a source of the keeper's another key where that of a new shipped one is the same."""
        mine, theirs, now = self.mine[SOURCES], self.theirs[SOURCES], {}
        for key in [key for key in mine if key in theirs and key not in self.base[SOURCES]]:
            if _words_of(SOURCES, mine[key]) != _words_of(SOURCES, theirs[key]):
                names = (f"{key}_own{n or ''}" for n in count())
                now[key] = next(name for name in names if name not in {*mine, *theirs})
        for row in [row for key, row in mine.items() if key in now]:
            mine[row["key"]] = row | {"entry": _ENTRY.sub(lambda m: m[1] + now.get(m[2], m[2]), row["entry"])}
        for file, column in ((SOURCES, "key"), (EVIDENCE, "source"), (TAXA, NAMED_IN[SOURCES])):
            rows = [row | {column: now.get(row[column], row[column])} for row in self.mine[file].values()]
            self.mine[file] = {key_of(file, row): row for row in rows}

    def _part_from_genus(self) -> None:
        """Give a kind of its own what the keeper claimed of it, where its genus no longer says so."""
        for place in sorted(
            place for place in self._claimed if place[0] == TAXA and place[1] in self.mine[TAXA]
        ):
            genus = GENERA, self.mine[TAXA][place[1]]["genus"], place[2]
            was, own, now = (side.text(genus) for side in self._sides)
            if was == own != now and not self.mine.text(place):
                self.mine.fill(place, own)

    def _merged(self, file: str, key: Hashable) -> Cells | None:
        was, own, now = (side[file].get(key) for side in self._sides)
        if was and own and now and file != SOURCES:
            return {column: self._cell((file, key, column)) for column in now | own}
        if file == CARE and own is None and key[1] and key[1] not in self.mine[TAXA]:
            return now  # Of a kind that the keeper left out, if it was one: its own row settles that.
        was_said, own_said, now_said = (filled(row) for row in (was, own, now))
        if file in (TAXA, GENERA) and was:
            # A trait that is gone makes no other kind of it, nor does it matter that the keeper blanked it.
            known = {*HEADERS[file], *self._theirs_read, *(() if now else own_said)}
            was_said = {c: text for c, text in was_said.items() if c in known}
        if own_said in (was_said, now_said):
            return now
        if was_said != now_said:
            self._differ((file, key, ""))
        return own

    def _cell(self, place: Place) -> str:
        was, own, now = (side.text(place) for side in self._sides)
        if own == now or (own == was and not (place in self._claimed and not now)):
            return now
        (file, _, column), read = place, self._theirs_read
        gone = file in (TAXA, GENERA, CARE) and column not in HEADERS[file] and column not in read
        both = reads(read, column, own) and reads(read, column, now)
        if was != now and not gone and not (both and read[column](own) == read[column](now)):
            # Half of one side's states and half of the other's would be no trait.
            self._differ((*place[:2], "") if file in COLUMNS_OF and column in _SHAPE else place)
        return own

    def _mend(self) -> None:
        """Keep what the keeper's rows lean on, and leave out what has nothing to stand on."""
        columns = {name for file, name, column in self._open if file in COLUMNS_OF and not column}
        for file, key, column in list(self._open):
            # The cells of a row or a column that both changed are settled with it.
            if column and ((file, key, "") in self._open or column.removesuffix(YOUNG) in columns):
                del self._open[file, key, column]
        for place in self._open:
            if not place[2]:
                # Nothing of another trait of that name.
                self.rows.take(State(), place)
            self.rows.take(self.mine, place)
        self._bring_back()
        held: set[Place] = set()
        while amiss := self._amiss() - held:
            for place in sorted(amiss):
                self.rows.take(self.mine, place)
                self._differ(place)
            held |= amiss
            self._bring_back()
        self.rows.ask_always()
        self._tidy()

    def _amiss(self) -> set[Place]:
        """Return the traits and the columns of care that can't be read, or by which some cell can't."""
        readers, amiss = self.rows.readers()
        for file, others in COLUMNS_OF.items():
            cells = {cell for other in others for row in self.rows[other].values() for cell in row.items()}
            for column, text in cells:
                name = column if column in self.rows[file] else column.removesuffix(YOUNG)
                if name in self.rows[file] and column in readers and not reads(readers, column, text):
                    amiss.add((file, name, ""))
        return amiss

    def _bring_back(self) -> None:
        while lacking := next(((f, k, "") for f, k in self._needed() if k and k not in self.rows[f]), None):
            kept = lacking[1] in self.mine[lacking[0]]
            self.rows.take(self.mine if kept else self.theirs, lacking)
            if kept:
                self._differ(lacking, gone=True)

    def _needed(self) -> Iterator[tuple[str, Hashable]]:
        """Yield what has to be there for what is there."""
        for taxon, row in self.rows[TAXA].items():
            for column, text in filled(row).items():
                if column == "careGroup":
                    yield CARE, (text, "")
                elif column == "nameAccordingTo":
                    yield SOURCES, text
                elif column not in META and text != self.base.text((TAXA, taxon, column)):
                    yield TRAITS, column if column in self.mine[TRAITS] else column.removesuffix(YOUNG)
        yield from ((TRAITS, leans_on(row)) for row in self.rows[TRAITS].values())
        for key, row in self.rows[CARE].items():
            if filled(row) not in (filled(side[CARE].get(key)) for side in (self.base, self.theirs)):
                yield TAXA, row["taxon"]
                yield from ((CARE_COLUMNS, c) for c in filled(row) if c in self.mine[CARE_COLUMNS])
        for key, row in self.rows[EVIDENCE].items():
            yield SOURCES, row["source"]
            # A claim that was shipped brings nothing back.
            if key not in self.theirs[EVIDENCE] and key not in self.base[EVIDENCE]:
                yield TAXA, row["taxon"]
                yield self.rows.cell_of(row)[:2]
                for name in {row["attribute"], row["attribute"].removesuffix(YOUNG)}:
                    yield from ((file, name) for file in COLUMNS_OF if name in self.mine[file])

    def _tidy(self) -> None:
        """Leave out what stands for nothing, and have a claim behind each cell and no other."""
        taxa, care = self.rows[TAXA], self.rows[CARE].items()
        self.rows[CARE] = {k: row for k, row in care if not row["taxon"] or row["taxon"] in taxa}
        sheets, sources = self.rows.sheets({}), self.rows[SOURCES]
        self.rows = rows = State(sheets)
        rows[SOURCES] = sources
        taken = {(TAXA, who, c) for (_, who), c in taken_over(sheets, check_sheets(sheets, None, Found()))}
        places = {key: rows.cell_of(row) for key, row in rows[EVIDENCE].items()}
        backed = {place for place in places.values() if place in taken or rows.text(place) not in ("", "?")}
        claims = {key: row for key, row in rows[EVIDENCE].items() if places[key] in backed}
        for file in (TAXA, GENERA, CARE):
            for key, row in rows[file].items():
                for place, text in (((file, key, column), text) for column, text in row.items()):
                    if text not in ("", "?") and place[2] not in HEADERS[file] and place not in backed:
                        claims |= self._behind(place, text)
        rows[EVIDENCE] = claims

    def _behind(self, place: Place, text: str) -> dict[Hashable, Cells]:
        """Return what either side puts behind a cell that says so, or that nobody names a source."""
        for side in (self.theirs, self.mine):
            claims = side.claims(place)
            known = all(row["source"] in {"", *self.rows[SOURCES]} for row in claims.values())
            if claims and known and side.text(place) == text:
                return claims
        file, key, column = place
        who = {"taxon" if file == TAXA else "genus": key}
        if file == CARE:
            who = {"care_group": key[0], "taxon": key[1]}
        row = Claim().row("", column, text) | who
        return {key_of(EVIDENCE, row): row}

    def _differ(self, place: Place, *, gone: bool = False) -> None:
        """Note that both say different things of a place."""
        self._open.setdefault(place, gone)

    def _told(self) -> Iterator[Conflict]:
        """Yield what is to be settled; of a row, what it says in the columns that there are."""
        columns = {file: sheet.header for file, sheet in self.rows.sheets({}).items()}
        for place, gone in self._open.items():
            file, key, column = place
            was, own, now = (side[file].get(key) for side in self._sides)
            name = _name_of(key)
            what = _words_of(file, own or was or now) if file == TAXA else f"the {_WHAT[file]} {name!r}"
            before, yours, today = said = [
                side.text(place) if column else _words_of(file, side[file].get(key), columns.get(file))
                for side in self._sides
            ]
            if column:
                before, yours, today = (repr(text) if text else "nothing" for text in said)
                did = "wrote" if before != yours else "gave a claim for"
                text = f"{what}, {column}: you {did} {yours} where the shipped table said {before}; it now "
                text += f"says {today}, and yours counts"
            elif now is None:
                text = f"The shipped table no longer has {what}, which you changed or built on; it stays"
            elif own is None:
                text = f"You left out {what}, which the shipped table has changed since; it stays out"
            elif was is not None:
                text = f"You and the shipped table changed {what}, each otherwise; yours counts"
            elif file == TAXA:
                text = f"The shipped table now has a kind {name!r} ({today}) too; your row ({what}) counts"
            else:
                text = f"The shipped table now has {what} too; yours counts"
            # A trait, a column of care, a group of it and a kind may all go by one name.
            kind = "group" if file == CARE and key[0] else _WHAT[file].split()[0]
            kind = "cell" if file == TAXA and column else kind
            name, text = ":".join(filter(None, ("gone" * gone, kind, name, column))), f"{text}{_OPEN}"
            yield Conflict(name, said[0], said[2], said[1], text, place)

    def _shared_codes(self) -> Iterator[Conflict]:
        """Ask about a shipped kind that since then goes by the trade code of one of the keeper's own."""
        taxa, shipped = self.rows[TAXA], self.theirs[TAXA]
        mine = {taxon: _codes_of(row) for taxon, row in taxa.items() if taxon not in shipped}
        for taxon in [taxon for taxon in taxa if taxon in shipped]:
            new = _codes_of(taxa[taxon]) & _codes_of(shipped[taxon]) - _codes_of(self.base[TAXA].get(taxon))
            for own in [own for own, codes in mine.items() if codes & new]:
                theirs, yours = (_words_of(TAXA, taxa[kind]) for kind in (taxon, own))
                code, place = min(mine[own] & new), (TAXA, taxon, "tradeCode")
                text = f"The shipped table has {theirs} under the trade code {code} of your {yours}"
                text += f": the same fish? Both count{_OPEN}"
                yield Conflict(f"taxon:{own}={taxon}", "", taxon, own, text, place, own)

    def held_back(self, settled: Conflict | None = None) -> State:
        """Return the base of the next merge: the shipped table, but for what is not settled.

        With a column none of the rows and cells is settled that are open themselves.
        """
        held = self.theirs.copy()
        for conflict in sorted(self.conflicts, key=lambda c: (c.place[0] not in COLUMNS_OF, c is settled)):
            held.take(self.theirs if conflict is settled else self.base, conflict.place)
        return held

    def settled(self, name: str, keep: str) -> Merge:
        """Return the merge with one conflict settled. Raises UnknownName, IdkeyError."""
        open_now = {conflict.id: conflict for conflict in self.conflicts}
        if name not in open_now:
            known = one_of(name, list(open_now), "one of those that are") if open_now else "none is"
            raise UnknownName(f"no conflict {name!r} is open: {known}")
        if keep not in ("shipped", "own"):
            raise IdkeyError(f"{name}: keep={keep!r}: {one_of(keep, ('shipped', 'own'))}")
        conflict, mine = open_now[name], self.rows.copy()
        file, key, _ = place = conflict.place
        if keep == "shipped" and conflict.other:
            mine.take(State(), (TAXA, conflict.other, ""))
        elif keep == "shipped":
            mine.take(self.theirs, place)
            cells, read = mine[file].get(key, {}) if file in (TAXA, GENERA) else {}, mine.readers()[0]
            for column in [c for c, text in cells.items() if c in read and not reads(read, c, text)]:
                # It comes with the trait by which it can be read, once that is settled.
                mine.fill((file, key, column), "")
            if key not in self.theirs[file]:
                mine.let_go(file, _name_of(key), self.theirs)
        mine.ask_always()
        return Merge(self.held_back(conflict), mine, self.theirs)
