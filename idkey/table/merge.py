"""A keeper's own table and a newer shipped one, merged cell by cell.

Three states are held against one another: the shipped table the keeper started from (base), the keeper's
own (mine), and the shipped table of today (theirs). What one side alone changed is taken from that side, what
both changed alike is fine, and what both changed differently is a conflict: the keeper's stands until it is
settled, and the base keeps the old state of the place until then. What is the keeper's and leans on something
that the shipped table no longer has holds that in place. So nothing is lost, and the merged table loads.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass
from itertools import count

from idkey.errors import IdkeyError, UnknownName, one_of
from idkey.table.claims import Claim
from idkey.table.csvfile import Found
from idkey.table.fields import HEADERS, META
from idkey.table.rows import check_sheets, taken_over
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
    Cells,
    Place,
    State,
    codes_of,
    filled,
    key_of,
    leans_on,
    name_of,
    reads,
    words_of,
)

__all__ = ["Conflict", "Merge"]

_WHAT = {TRAITS: "trait", SOURCES: "source", CARE: "care of", CARE_COLUMNS: "care column", GENERA: "genus"}
_ROW = {TAXA: "taxon", TRAITS: "trait", SOURCES: "source"}
"""How the id of a conflict over a whole row begins, where not as the name of the file."""


@dataclass(frozen=True, slots=True)
class Conflict:
    """One place where the shipped table and the keeper's own say different things.

    `id` names it, for `idkey.table.folder.settle`, and stays the same as long as it is open. `before`,
    `shipped` and `own`: what the shipped table said when the keeper wrote, what it says now, and what the
    keeper wrote. `text` tells what happened and what counts meanwhile. `place` (file, key, column) is taken
    from the one side or the other; `other` is the keeper's kind, where it may be the same as the shipped one.
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
        self._open: dict[str, Conflict] = {}
        self._theirs_read, _ = theirs.readers()
        self._part_sources()
        self.rows = State()
        for file in KEYS:
            for key in dict.fromkeys([*theirs[file], *self.mine[file]]):
                self.rows.put(file, key, self._merged(file, key))
        self._mend()
        self._share_codes()
        self.conflicts = tuple(self._open.values())

    def _part_sources(self) -> None:
        """Give a source of the keeper's another key where that of a new shipped one is the same."""
        keys = self.mine[SOURCES].keys() & self.theirs[SOURCES].keys() - self.base[SOURCES].keys()
        for key in sorted(keys):
            own, theirs = (words_of(SOURCES, side[SOURCES][key]) for side in (self.mine, self.theirs))
            names = (f"{key}_own{'' if n == 1 else n}" for n in count(1))
            taken = {*self.mine[SOURCES], *self.theirs[SOURCES]}
            if own != theirs:
                self.mine.rename_source(key, next(name for name in names if name not in taken))

    def _merged(self, file: str, key: Hashable) -> Cells | None:
        was, own, now = (side[file].get(key) for side in self._sides)
        if was and own and now and file != SOURCES:
            return {column: self._cell((file, key, column)) for column in now | own}
        was_said, own_said, now_said = (filled(file, row) for row in (was, own, now))
        if file == TAXA and was and now:
            # A trait that is gone makes no other kind of it.
            was_said = {c: text for c, text in was_said.items() if c in META or c in self._theirs_read}
        if own_said in (was_said, now_said):
            return now
        if was_said != now_said:
            self._differ((file, key, ""))
        return own

    def _cell(self, place: Place) -> str:
        was, own, now = (side.text(place) for side in self._sides)
        if own in (was, now):
            return now
        (file, _, column), read = place, self._theirs_read
        gone = file == TAXA and column not in META and column not in read
        both = reads(read, column, own) and reads(read, column, now)
        if was != now and not gone and not (both and read[column](own) == read[column](now)):
            self._differ(place)
        return own

    # -- what one side leans on -----------------------------------------------------------------

    def _mend(self) -> None:
        """Keep what the keeper's rows lean on, and leave out what has nothing to stand on."""
        for file, key, column in [conflict.place for conflict in self._open.values()]:
            if not column and key in self.mine[file] and (key not in self.theirs[file] or file in COLUMNS_OF):
                # Nothing of another trait of that name.
                self.rows.take(State(), (file, key, ""))
                self.rows.take(self.mine, (file, key, ""))
                self._open = {n: c for n, c in self._open.items() if c.place[2] not in (key, f"{key}{YOUNG}")}
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
                known = text and column in readers and name in self.rows[file]
                if known and not reads(readers, column, text):
                    amiss.add((file, name, ""))
        return amiss

    def _bring_back(self) -> None:
        while lacking := next(((f, k, "") for f, k in self._needed() if k not in self.rows[f]), None):
            kept = lacking[1] in self.mine[lacking[0]]
            self.rows.take(self.mine if kept else self.theirs, lacking)
            if kept:
                self._differ(lacking, gone=True)
        for key, claim in self.rows[EVIDENCE].items():
            place = self._cell_of(claim)
            own = key not in self.theirs[EVIDENCE] and not self.rows.text(place) and self.mine.text(place)
            if own:
                self.rows.fill(place, own)
                self._differ(place)

    def _needed(self) -> Iterator[tuple[str, Hashable]]:
        """Yield what has to be there for what is there."""
        for taxon, row in self.rows[TAXA].items():
            for column, text in filled(TAXA, row).items():
                if column == "careGroup":
                    yield CARE, (text, "")
                elif column == "nameAccordingTo":
                    yield SOURCES, text
                elif column not in META and text != self.base.text((TAXA, taxon, column)):
                    yield TRAITS, column if column in self.mine[TRAITS] else column.removesuffix(YOUNG)
        yield from ((TRAITS, leans_on(row)) for row in self.rows[TRAITS].values() if leans_on(row))
        for key, row in self.rows[CARE].items():
            if filled(CARE, row) != filled(CARE, self.base[CARE].get(key)):
                yield from [(TAXA, row["taxon"])] if row["taxon"] else ()
                yield from ((CARE_COLUMNS, c) for c in filled(CARE, row) if c in self.mine[CARE_COLUMNS])
        for key, row in self.rows[EVIDENCE].items():
            yield from [(SOURCES, row["source"])] if row["source"] else ()
            if key not in self.theirs[EVIDENCE]:
                yield from [(TAXA, row["taxon"])] if row["taxon"] else ()
                yield self._cell_of(row)[:2]
                for name in {row["attribute"], row["attribute"].removesuffix(YOUNG)}:
                    yield from ((file, name) for file in COLUMNS_OF if name in self.mine[file])

    def _cell_of(self, claim: Cells) -> Place:
        """Return the cell that a claim stands behind."""
        taxon, attribute = claim["taxon"], claim["attribute"]
        if claim.get("genus"):
            return GENERA, claim["genus"], attribute
        if taxon and attribute not in self.rows[CARE_COLUMNS]:
            return TAXA, taxon, attribute
        return CARE, ("", taxon) if taxon else (claim["care_group"], ""), attribute

    def _tidy(self) -> None:
        """Leave out what stands for nothing, and have a claim behind each cell and no other."""
        taxa, sources = self.rows[TAXA], self.rows[SOURCES]
        care = self.rows[CARE].items()
        self.rows[CARE] = {k: row for k, row in care if not row["taxon"] or row["taxon"] in taxa}
        sheets = self.rows.sheets({})
        self.rows = State(sheets)
        self.rows[SOURCES] = sources
        taken = {(TAXA, who, c) for (_, who), c in taken_over(sheets, check_sheets(sheets, None, Found()))}
        held = {conflict.place for conflict in self._open.values()}
        claims: dict[Hashable, Cells] = {}
        backed: set[Place] = set()
        for key, row in self.rows[EVIDENCE].items():
            place = self._cell_of(row)
            said = place in taken or self.rows.text(place) not in ("", "?")
            if said and (key in self.mine[EVIDENCE] or not {place, (*place[:2], "")} & held):
                claims[key] = row
                backed.add(place)
        for file in (TAXA, GENERA, CARE):
            for key, row in self.rows[file].items():
                for place, text in (((file, key, column), text) for column, text in row.items()):
                    if text not in ("", "?") and place[2] not in HEADERS[file] and place not in backed:
                        claims |= self._behind(place, text)
        self.rows[EVIDENCE] = claims

    def _behind(self, place: Place, text: str) -> dict[Hashable, Cells]:
        """Return what either side puts behind a cell that says so, or that nobody names a source."""
        for side in (self.theirs, self.mine):
            claims = side.claims(place)
            known = all(row["source"] in {"", *self.rows[SOURCES]} for row in claims.values())
            if claims and known and side.text(place) == text:
                return claims
        file, key, column = place
        names = ("taxon",) if file == TAXA else KEYS[file]
        row = Claim().row("", column, text) | dict(zip(names, key if file == CARE else (key,), strict=True))
        return {key_of(EVIDENCE, row): row}

    # -- conflicts ------------------------------------------------------------------------------

    def _differ(self, place: Place, *, gone: bool = False) -> None:
        """Note that both say different things of a place."""
        file, key, column = place
        was, own, now = rows = [side[file].get(key) for side in self._sides]
        name = name_of(key)
        what = words_of(file, own or was or now) if file == TAXA else f"the {_WHAT[file]} {name!r}"
        said = [side.text(place) for side in self._sides] if column else [words_of(file, row) for row in rows]
        if column:
            before, yours, today = (repr(text) if text else "nothing" for text in said)
            did = "wrote" if before != yours else "gave a claim for"
            text = f"{what}, {column}: you {did} {yours} where the shipped table said {before}; it now says "
            text += f"{today}, and yours counts"
        elif now is None:
            text = f"The shipped table no longer has {what}, which you changed or built on; it stays"
        elif own is None:
            text = f"You left out {what}, which the shipped table has changed since; it stays out"
        elif was is not None:
            text = f"You and the shipped table changed {what}, each otherwise; yours counts"
        elif file == TAXA:
            text = f"The shipped table now has a kind {name!r} ({said[2]}) too; your row ({what}) counts"
        else:
            text = f"The shipped table now has {what} too; yours counts"
        start = file.partition(".")[0]
        if gone or not column:
            start = "gone" if gone else _ROW.get(file, start)
        elif file == TAXA:
            start = "cell"
        self._note(":".join(filter(None, (start, name, column))), said, text, place)

    def _share_codes(self) -> None:
        """Ask about a shipped kind that since then goes by the trade code of one of the keeper's own."""
        taxa, shipped = self.rows[TAXA], self.theirs[TAXA]
        for taxon in [taxon for taxon in taxa if taxon in shipped]:
            new = codes_of(taxa[taxon]) & codes_of(shipped[taxon]) - codes_of(self.base[TAXA].get(taxon))
            for own in [own for own in taxa if own not in shipped and new & codes_of(taxa[own])]:
                theirs, mine = (words_of(TAXA, taxa[name]) for name in (taxon, own))
                code = min(new & codes_of(taxa[own]))
                text = f"The shipped table has {theirs} under the trade code {code} of your {mine}"
                place, said = (TAXA, taxon, "tradeCode"), ("", own, taxon)
                self._note(f"taxon:{own}={taxon}", said, f"{text}: the same fish? Both count", place, own)

    def _note(self, name: str, said: Sequence[str], text: str, place: Place, other: str = "") -> None:
        before, own, shipped = said
        made = Conflict(name, before, shipped, own, f"{text} until you settle it.", place, other)
        self._open.setdefault(name, made)

    def held_back(self) -> State:
        """Return the base of the next merge: the shipped table, but for what is not settled."""
        held = self.theirs.copy()
        for conflict in self.conflicts:
            held.take(self.base, conflict.place)
        return held

    def settled(self, name: str, keep: str) -> Merge:
        """Return the merge with one conflict settled. Raises UnknownName, IdkeyError."""
        if name not in self._open:
            known = one_of(name, list(self._open), "one of those that are") if self._open else "none is"
            msg = f"no conflict {name!r} is open: {known}"
            raise UnknownName(msg)
        if keep not in ("shipped", "own"):
            msg = f"{name}: keep={keep!r}: {one_of(keep, ('shipped', 'own'))}"
            raise IdkeyError(msg)
        conflict, base, mine = self._open[name], self.held_back(), self.rows.copy()
        file, key, _ = place = conflict.place
        base.take(self.theirs, place)
        if keep == "shipped" and conflict.other:
            mine.take(State(), (TAXA, conflict.other, ""))
        elif keep == "shipped":
            mine.take(self.theirs, place)
            if key not in self.theirs[file]:
                mine.let_go(file, name_of(key))
        mine.ask_always()
        return Merge(base, mine, self.theirs)
