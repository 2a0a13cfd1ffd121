"""A keeper's own table and a newer shipped one, merged cell by cell.

Three states are held against one another: the shipped table the keeper started from (base), the keeper's
own (mine), and the shipped table of today (theirs). What one side alone changed is taken from that side, what
both changed alike is fine, and what both changed differently is a conflict: the keeper's stands until it is
settled, and the base keeps the old state of the place until then. What is the keeper's and leans on something
that the shipped table no longer has holds that in place. So nothing is lost, and the merged table loads.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Iterator
from dataclasses import dataclass
from itertools import count

from idkey.errors import IdkeyError, UnknownName, one_of
from idkey.table.claims import UNSOURCED
from idkey.table.csvfile import Found
from idkey.table.fields import HEADERS, META
from idkey.table.names import trade_codes
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
    filled,
    key_of,
    leans_on,
    name_of,
    reads,
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

    `id` names it, for `idkey.table.folder.settle`, and stays the same as long as it is open. `kind` is "cell"
    where both changed one; "taxon", "trait", "source" or "care" where both have one under one name; "gone"
    where what the keeper's leans on is gone from the shipped table. `taxon` and `column` are blank where it
    is not about one. `before`, `shipped` and `own`: what the shipped table said when the keeper wrote, what
    it says now, and what the keeper wrote. `text` tells what happened and what counts meanwhile. `place`
    (file, key, column) is taken from the one side or the other; `other` is the name of the keeper's own row,
    where it is not that of the shipped one.
    """

    id: str
    kind: str
    taxon: str
    column: str
    before: str
    shipped: str
    own: str
    text: str
    place: Place
    other: str = ""
    choices: tuple[str, ...] = ("shipped", "own")

    def __repr__(self) -> str:
        return f"{self.id}: {self.text}"


class Merge:
    """Three states of a table brought together: `rows` is the merged table, with its `conflicts`.

    `asked` lists the names found to have two meanings, by this merge or an earlier one, and not settled:
    file, own name, shipped name.
    """

    def __init__(self, base: State, mine: State, theirs: State, asked: Iterable[tuple[str, str, str]] = ()):
        self.base, self.mine, self.theirs = base, mine.copy(), theirs
        self._sides = base, self.mine, theirs
        self._open: dict[str, Conflict] = {}
        self._theirs_read = theirs.readers()
        self.asked = [*asked, *self._taken_names()]
        self.rows = State()
        for file in KEYS:
            for key in dict.fromkeys([*theirs[file], *self.mine[file]]):
                self.rows.put(file, key, self._merged(file, key))
        self.asked += self._shared_codes()
        self._mend()
        self.asked = [names for names in dict.fromkeys(self.asked) if self._two_meanings(*names)]
        self.conflicts = tuple(self._open.values())

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

    # -- names with two meanings ----------------------------------------------------------------

    def _taken_names(self) -> Iterator[tuple[str, str, str]]:
        """Give what is the keeper's another name where the shipped table has one of that name by now."""
        for file in _NAMED:
            for key, row in list(self.mine[file].items()):
                theirs = self.theirs[file].get(key)
                if theirs is None or key in self.base[file] or (file == CARE and key[1]):
                    continue
                if words_of(file, row) != words_of(file, theirs):
                    was = name_of(key)
                    taken = {name_of(k) for side in (self.mine, self.theirs) for k in side[file]}
                    names = (f"{was}_own{'' if n == 1 else n}" for n in count(1))
                    now = next(name for name in names if name not in taken)
                    self.mine.rename(file, was, now)
                    yield file, now, was

    def _shared_codes(self) -> Iterator[tuple[str, str, str]]:
        """Find new shipped kinds under the trade code of one of the keeper's own."""
        new = [taxon for taxon in self.theirs[TAXA] if taxon not in self.base[TAXA]]
        for own in [taxon for taxon in self.rows[TAXA] if taxon not in self.theirs[TAXA]]:
            yield from (("code", own, taxon) for taxon in new if self._codes(own) & self._codes(taxon))

    def _codes(self, taxon: str) -> set[str]:
        return {*trade_codes(self.rows.text((TAXA, taxon, "tradeCode")))}

    def _two_meanings(self, file: str, own: str, theirs: str) -> bool:
        """Note the question which of two is meant; False where there is none any more."""
        if file == "code":
            if not (shared := self._codes(own) & self._codes(theirs)):
                return False
            mine, other = (words_of(TAXA, self.rows[TAXA][taxon]) for taxon in (own, theirs))
            text = f"{other} under the trade code {min(shared)} of your {mine}: the same fish? Both count"
            made = f"taxon:{own}={theirs}", "taxon", own, "tradeCode", "", theirs, own
        else:
            keys = [(name, "") if file == CARE else name for name in (own, theirs)]
            if keys[0] not in self.rows[file] or keys[1] not in self.theirs[file]:
                return False
            kind = _NAMED[file]
            text = (
                f"a {kind}{' group' if file == CARE else ''} {theirs!r} too, and not the same as yours; "
                f"yours goes by {own!r}"
            )
            said = words_of(file, self.theirs[file][keys[1]]), words_of(file, self.rows[file][keys[0]])
            made = f"{kind}:{own}", kind, "", theirs, "", *said
        text = f"The shipped table {'' if file == 'code' else 'now '}has {text} {_UNTIL}."
        self._open[made[0]] = Conflict(*made, text, (file, theirs, ""), own)
        return True

    # -- what one side leans on -----------------------------------------------------------------

    def _mend(self) -> None:
        """Keep what the keeper's rows lean on, and leave out what has nothing to stand on."""
        for file, key, column in [conflict.place for conflict in self._open.values()]:
            if not column and key in self.mine[file] and key not in self.theirs[file]:
                self.rows.take(self.mine, (file, key, ""))
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
        amiss: set[Place] = set()
        readers = self.rows.readers(amiss)
        for file, others in COLUMNS_OF.items():
            for column, text in (
                cell for other in others for row in self.rows[other].values() for cell in row.items()
            ):
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
        traits = {name for key in self.rows[TRAITS] for name in (key, f"{key}{YOUNG}")}
        named = {*META, *(column for columns in KEYS.values() for column in columns)}
        known = {
            TAXA: traits | {*META},
            GENERA: traits | named,
            CARE: {*self.rows[CARE_COLUMNS], *KEYS[CARE]},
        }
        for file, columns in known.items():
            for key, row in self.rows[file].items():
                self.rows[file][key] = {c: text for c, text in row.items() if c in columns}
        care, taxa = self.rows[CARE].items(), self.rows[TAXA]
        self.rows[CARE] = {k: row for k, row in care if not row["taxon"] or row["taxon"] in taxa}
        sheets = self.rows.sheets({})
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
        for file in known:
            for key, row in self.rows[file].items():
                for column, text in filled(file, row).items():
                    if column not in named and text != "?" and (file, key, column) not in backed:
                        claims |= self._behind((file, key, column), text)
        self.rows[EVIDENCE] = claims

    def _behind(self, place: Place, text: str) -> dict[Hashable, Cells]:
        """Return what either side puts behind a cell that says so, or that nobody names a source."""
        for side in (self.theirs, self.mine):
            claims = side.claims(place)
            known = all(row["source"] in {"", *self.rows[SOURCES]} for row in claims.values())
            if claims and known and side.text(place) == text:
                return claims
        file, key, column = place
        names = {TAXA: ("taxon",)}.get(file, KEYS[file])
        who = dict(zip(names, key if file == CARE else (key,), strict=True))
        said = {"attribute": column, "value": text, "class": "memory", "scope": "species", "note": UNSOURCED}
        row = dict.fromkeys(HEADERS[EVIDENCE], "") | who | said
        return {key_of(EVIDENCE, row): row}

    # -- conflicts ------------------------------------------------------------------------------

    def _differ(self, place: Place, *, gone: bool = False) -> None:
        """Note that both say different things of a place."""
        file, key, column = place
        was, own, now = rows = [side[file].get(key) for side in self._sides]
        name = name_of(key)
        what = words_of(file, own or was or now) if file == TAXA else f"{_WHAT[file]} {name!r}"
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
        kind = "gone" if gone else "cell" if column else "taxon" if file == TAXA else _NAMED.get(file, "cell")
        start = kind if file == TAXA or (not column and kind != "cell") else file.partition(".")[0]
        where = ":".join(filter(None, (start, name, column)))
        taxon = name if file == TAXA or (file == CARE and key[1]) else ""
        at = column or ("id" if file == TAXA and not gone else "")
        made = Conflict(where, kind, taxon, at, said[0], said[2], said[1], f"{text} {_UNTIL}.", place)
        self._open.setdefault(where, made)

    def held_back(self) -> State:
        """Return the base of the next merge: the shipped table, but for what is not settled."""
        held = self.theirs.copy()
        for conflict in self.conflicts:
            if not conflict.other:
                held.take(self.base, conflict.place)
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
        base, mine = self.held_back(), self.rows.copy()
        file, theirs, _ = conflict.place
        asked = [names for names in self.asked if names != (file, conflict.other, theirs)]
        if not conflict.other:
            base.take(self.theirs, conflict.place)
        if keep == "shipped":
            if file == "code":
                mine.take(State(), (TAXA, conflict.other, ""))
            elif conflict.other:
                mine.fold(self._theirs_read, file, conflict.other, theirs)
            else:
                mine.take(self.theirs, conflict.place)
                if theirs not in self.theirs[file]:
                    mine.let_go(conflict.place)
            mine.ask_always()
        return Merge(base, mine, self.theirs, asked)
