"""A keeper's own table and a newer shipped one, merged cell by cell.

Three states are held against one another: the shipped table the keeper started from (base), the keeper's
own (mine), and the shipped table of today (theirs). What one side alone changed is taken from that side, what
both changed alike is fine, and what both changed differently is a conflict: the keeper's stands until it is
settled, and the base keeps the old state of the place until then. What is the keeper's and leans on something
that the shipped table no longer has holds that in place. So nothing is lost, and the merged table loads.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from idkey.errors import IdkeyError, UnknownName, one_of
from idkey.table.care import parse_care
from idkey.table.check import check_sheets
from idkey.table.claims import UNSOURCED, Source
from idkey.table.csvfile import Found, Row, Sheet
from idkey.table.fields import HEADERS, META
from idkey.table.genera import effective
from idkey.table.names import trade_codes
from idkey.table.rows import read_care_columns, read_traits
from idkey.table.schema import YOUNG, parse_cell

__all__ = ["KEYS", "Conflict", "Merge", "Rows", "rows_of", "sheets_of", "take"]

Rows = dict[str, dict[Hashable, Row]]
"""The rows of a table by file and key."""
Place = tuple[str, Hashable, str]
"""File, key and column; the column is blank for a whole row."""

TAXA, TRAITS, CARE, EVIDENCE, SOURCES = "taxa.csv", "traits.csv", "care.csv", "evidence.csv", "sources.bib"
CARE_COLUMNS, GENERA = "care_columns.csv", "genera.csv"
KEYS = {
    CARE_COLUMNS: ("id",),
    TRAITS: ("id",),
    GENERA: ("genus",),
    TAXA: ("id",),
    CARE: ("care_group", "taxon"),
    SOURCES: ("key",),
    EVIDENCE: (),
}
"""The columns that name a row of each file; a claim is named by all it says."""
_COLUMNS_OF = {TRAITS: (TAXA, GENERA), CARE_COLUMNS: (CARE,)}
"""The files whose columns the rows of a file stand for."""
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
_OWN = re.compile(r"(.+)_own\d*")
_KEY = re.compile(r"(@\w+\s*[{(]\s*)([^\s,={}]+)")


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


# -- rows by their keys ----------------------------------------------------------------------------------


def rows_of(sheets: Mapping[str, Sheet], sources: Mapping[str, Source]) -> Rows:
    """Return the rows of a table by file and key."""
    rows: Rows = {
        file: {_key(row): row for row in sheets[file].rows} if file in sheets else {} for file in KEYS
    }
    rows[SOURCES] = {k: Row(0, {"key": k, "entry": s.entry}, SOURCES) for k, s in sources.items()}
    return rows


def sheets_of(rows: Rows, headers: Mapping[str, Iterable[str]]) -> dict[str, Sheet]:
    """Return rows as the files of a table, their columns in the order of these headers."""
    sheets = {}
    for file in KEYS.keys() - {SOURCES}:
        of = next((f for f, others in _COLUMNS_OF.items() if file in others), "")
        filled = {c for row in rows[file].values() for c, text in row.values.items() if text}
        known = {*HEADERS[file], *(rows[of] if of and file != GENERA else ())}
        young = {f"{name}{YOUNG}" for name in rows.get(of, ())} | {*rows.get(of, ())}
        columns = (c for row in rows[file].values() for c in row.values)
        header = [
            c
            for c in dict.fromkeys([*HEADERS[file], *headers.get(file, ()), *columns])
            if c in known or (c in young and c in filled)
        ]
        lines = (replace(r, values={c: r.values.get(c, "") for c in header}) for r in rows[file].values())
        sheets[file] = Sheet(file, tuple(header), tuple(lines))
    return sheets


def _key(row: Row) -> Hashable:
    if row.file == EVIDENCE:
        return frozenset(_filled(row).items())
    if row.file == CARE:
        return ("", row["taxon"]) if row["taxon"] else (row["care_group"], "")
    return row[KEYS[row.file][0]]


def _filled(row: Row | None) -> dict[str, str] | None:
    """Return what a row says; of a source no more than counts."""
    if row is None:
        return None
    if row.file == SOURCES:
        entry, found = row["entry"], _KEY.search(row["entry"])
        at = found.start() if found else 0
        return {"key": row["key"], "entry": " ".join(entry[at:].split())}
    return {column: text for column, text in row.values.items() if text}


def _text(rows: Rows, place: Place) -> str:
    file, key, column = place
    row = rows[file].get(key)
    return row.values.get(column, "") if row else ""


def _with(row: Row, **cells: str) -> Row:
    return replace(row, values={**row.values, **cells})


def _put(rows: dict[Hashable, Row], key: Hashable, row: Row | None) -> None:
    if row is None:
        rows.pop(key, None)
    else:
        rows[key] = row


def _speaks_of(place: Place) -> Callable[[Row], bool]:
    """Return whether a claim is about a row or a cell."""
    file, key, column = place

    def speaks(claim: Row) -> bool:
        attribute = claim["attribute"]
        if file in _COLUMNS_OF:
            return not column and attribute in (key, f"{key}{YOUNG}")
        if column not in ("", attribute):
            return False
        if file == CARE:
            return (claim["care_group"], claim["taxon"]) == key
        return claim.values.get({TAXA: "taxon", GENERA: "genus"}.get(file, "")) == key

    return speaks


def take(target: Rows, source: Rows, place: Place) -> None:
    """Make all that one state says of a row, a column or a cell what another says of it, claims included."""
    file, key, column = place
    speaks = _speaks_of(place)
    claims = {k: r for k, r in source[EVIDENCE].items() if speaks(r)}
    if column:
        if key in target[file]:
            target[file][key] = _with(target[file][key], **{column: _text(source, place)})
    else:
        _put(target[file], key, source[file].get(key))
    if file == TAXA and not column:
        _put(target[CARE], ("", key), source[CARE].get(("", key)))
    if file in _COLUMNS_OF and not column:
        reads = _readers(source)
        for other in _COLUMNS_OF[file]:
            for who, row in list(target[other].items()):
                for name in (key, f"{key}{YOUNG}"):
                    text = row.values.get(name, "")
                    if who in source[other]:
                        text = _text(source, (other, who, name))
                    elif not text or not _reads(reads, name, text):
                        text = ""
                    elif key in source[file]:
                        # The row is the target's alone, and can still be read.
                        own = _speaks_of((other, who, name))
                        claims |= {k: r for k, r in target[EVIDENCE].items() if own(r)}
                    if text or name in row.values:
                        target[other][who] = _with(target[other][who], **{name: text})
    for name, row in list(target[TRAITS].items()) if file == TRAITS and not column else ():
        if _leans_on(row) == key and name in source[TRAITS] and name != key:
            target[TRAITS][name] = _with(row, applies_when=source[TRAITS][name]["applies_when"])
    target[EVIDENCE] = {k: r for k, r in target[EVIDENCE].items() if not speaks(r)} | claims


def _readers(rows: Rows, amiss: set[Place] | None = None) -> dict[str, Callable[[str], Any]]:
    """Return how the cells of each column are read; note the rows that define none."""
    readers: dict[str, Callable[[str], Any]] = {}
    for file, read, parse in (
        (TRAITS, read_traits, parse_cell),
        (CARE_COLUMNS, read_care_columns, parse_care),
    ):
        found = Found()
        for made in read(Sheet(file, (), tuple(rows[file].values())), found):
            readers[made.id] = readers[made.id + YOUNG] = partial(parse, made)
        by_place = {row.place: row for row in rows[file].values()} if found else {}
        for problem in found if amiss is not None else ():
            row = by_place[problem.row]
            # Whose states it names is to blame, not the trait that leans on them.
            of = _leans_on(row) if problem.column == "applies_when" else ""
            amiss.add((file, of if of in rows[file] else _key(row), ""))
    return readers


def _leans_on(trait: Row) -> str:
    """Return the trait by which it is told whether this one applies."""
    return trait["applies_when"].partition("=")[0].strip()


def _reads(readers: Mapping[str, Callable[[str], Any]], column: str, text: str) -> bool:
    try:
        readers[column](text)
    except (KeyError, ValueError):
        return False
    return True


_LEANS: dict[str, dict[str, tuple[str, ...]]] = {
    TRAITS: {EVIDENCE: ("attribute",)},
    SOURCES: {EVIDENCE: ("source",), TAXA: ("nameAccordingTo",)},
    CARE: {EVIDENCE: ("care_group",), TAXA: ("careGroup",)},
}
"""Where the names that a file gives are used elsewhere."""


def _rename(rows: Rows, file: str, was: str, now: str) -> None:
    """Give a trait, a source or a care group another name, and all that leans on it."""
    both = {was: now, f"{was}{YOUNG}": f"{now}{YOUNG}"} if file == TRAITS else {was: now}

    def renamed(row: Row) -> Row:
        columns = _LEANS[file].get(row.file, ()) if row.file != file else (KEYS[file][0],)
        values = {c: both.get(t, t) if c in columns else t for c, t in row.values.items()}
        if row.file in _COLUMNS_OF.get(file, ()):
            for old, new in both.items():
                if old in values:
                    values[new] = values.pop(old) or values.get(new, "")
        if file == TRAITS and values.get("applies_when", "").partition("=")[0].strip() == was:
            values["applies_when"] = f"{now}={values['applies_when'].partition('=')[2]}"
        if row.file == file == SOURCES:
            values["entry"] = _KEY.sub(lambda m: m[1] + both.get(m[2], m[2]), values["entry"])
        return replace(row, values=values)

    for name in KEYS:
        rows[name] = {_key(row): row for row in map(renamed, rows[name].values())}


def _let_go(rows: Rows, place: Place) -> None:
    """Blank what leans on a row that is gone, and drop the claims that do."""
    file, key, column = place
    name = key[0] if file == CARE else key
    for other, columns in _LEANS.get(file, {}).items() if not column else ():
        for at, row in list(rows[other].items()):
            if any(row.values.get(c) == name for c in columns):
                gone = None if other == EVIDENCE else _with(row, **dict.fromkeys(columns, ""))
                _put(rows[other], at, gone)


def _ask_always(rows: Rows) -> None:
    """Have a trait asked always whose condition can't be read any more."""
    amiss: set[Place] = set()
    _readers(rows, amiss)
    for name, row in list(rows[TRAITS].items()):
        of = _leans_on(row)
        if of and (of not in rows[TRAITS] or (TRAITS, of, "") in amiss):
            rows[TRAITS][name] = _with(row, applies_when="")


# -- the merge -------------------------------------------------------------------------------------------


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
        self._theirs_read = _readers(theirs)
        self.asked = [*asked, *self._taken_names()]
        self.rows: Rows = {file: {} for file in KEYS}
        for file in KEYS:
            for key in dict.fromkeys([*theirs[file], *self.mine[file]]):
                _put(self.rows[file], key, self._merged(file, key))
        self.asked += self._shared_codes()
        self._mend()
        self.asked = [names for names in dict.fromkeys(self.asked) if self._two_meanings(*names)]
        self.conflicts = tuple(self._open.values())

    def _merged(self, file: str, key: Hashable) -> Row | None:
        was, own, now = (side[file].get(key) for side in (self.base, self.mine, self.theirs))
        if was and own and now and file != SOURCES:
            columns = dict.fromkeys([*now.values, *own.values])
            return replace(own, values={column: self._cell((file, key, column)) for column in columns})
        was_said, own_said, now_said = map(_filled, (was, own, now))
        if file == TAXA and was_said and now_said:
            # A trait that is gone makes no other kind of it.
            was_said = {c: text for c, text in was_said.items() if c in META or c in self._theirs_read}
        if own_said in (was_said, now_said):
            return now
        if was_said != now_said:
            self._differ((file, key, ""))
        return own

    def _cell(self, place: Place) -> str:
        was, own, now = (_text(side, place) for side in (self.base, self.mine, self.theirs))
        if own in (was, now):
            return now
        file, _, column = place
        gone = file == TAXA and column not in META and column not in self._theirs_read
        if was != now and not gone and not self._read_alike(column, own, now):
            self._differ(place)
        return own

    def _read_alike(self, column: str, one: str, other: str) -> bool:
        read = self._theirs_read
        both = _reads(read, column, one) and _reads(read, column, other)
        return both and read[column](one) == read[column](other)

    # -- names with two meanings ----------------------------------------------------------------

    def _taken_names(self) -> Iterator[tuple[str, str, str]]:
        """Give what is the keeper's another name where the shipped table has one of that name by now."""
        for file in _NAMED:
            for key, row in list(self.mine[file].items()):
                theirs = self.theirs[file].get(key)
                if theirs is None or key in self.base[file] or _words(row) == _words(theirs):
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
                _rename(self.mine, file, was, now)
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
        return {*trade_codes(_text(self.rows, (TAXA, taxon, "tradeCode")))}

    def _two_meanings(self, file: str, own: str, theirs: str) -> bool:
        """Note the question which of two is meant; False where there is none any more."""
        if file == "code":
            shared = self._codes(own) & self._codes(theirs)
            if not shared:
                return False
            mine, other = (_called(self.rows[TAXA][taxon]) for taxon in (own, theirs))
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
                _words(rows[file][key])
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
        _ask_always(self.rows)
        self._tidy()

    def _amiss(self) -> set[Place]:
        """Return the traits and the columns of care that can't be read, or by which some cell can't."""
        amiss: set[Place] = set()
        readers = _readers(self.rows, amiss)
        for file, others in _COLUMNS_OF.items():
            cells = (
                cell for other in others for row in self.rows[other].values() for cell in row.values.items()
            )
            for column, text in cells:
                name = column if column in self.rows[file] else column.removesuffix(YOUNG)
                if (
                    text
                    and column in readers
                    and name in self.rows[file]
                    and not _reads(readers, column, text)
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
            if not _text(self.rows, place) and _text(self.mine, place):
                file, key, column = place
                self.rows[file][key] = _with(self.rows[file][key], **{column: _text(self.mine, place)})
                self._differ(place)

    def _own_claims(self) -> list[Row]:
        return [row for key, row in self.rows[EVIDENCE].items() if key not in self.theirs[EVIDENCE]]

    def _needed(self) -> Iterator[tuple[str, Hashable]]:
        """Yield what has to be there for what is there."""
        for row in self.rows[TAXA].values():
            for column, text in _filled(row).items():
                if column == "careGroup":
                    yield CARE, (text, "")
                elif column == "nameAccordingTo":
                    yield SOURCES, text
                elif column not in META and text != _text(self.base, (TAXA, row["id"], column)):
                    yield TRAITS, column if column in self.mine[TRAITS] else column.removesuffix(YOUNG)
        for row in self.rows[TRAITS].values():
            if _leans_on(row):
                yield TRAITS, _leans_on(row)
        for key, row in self.rows[CARE].items():
            if _filled(row) != _filled(self.base[CARE].get(key)):
                if row["taxon"]:
                    yield TAXA, row["taxon"]
                yield from ((CARE_COLUMNS, c) for c in _filled(row) if c in self.mine[CARE_COLUMNS])
        for row in self.rows[EVIDENCE].values():
            if row["source"]:
                yield SOURCES, row["source"]
        for row in self._own_claims():
            if row["taxon"]:
                yield TAXA, row["taxon"]
            if row["care_group"]:
                yield CARE, (row["care_group"], "")
            for file in _COLUMNS_OF:
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
        taken = self._taken_over()
        claims: dict[Hashable, Row] = {}
        backed: set[Place] = set()
        for key, row in self.rows[EVIDENCE].items():
            place = self._cell_of(row)
            new = key not in self.mine[EVIDENCE]
            said = place in taken or _text(self.rows, place) not in ("", "?")
            if said and not (new and {place, (*place[:2], "")} & held):
                claims[key] = row
                backed.add(place)
        names = {*META, *(column for columns in KEYS.values() for column in columns)}
        for file in known:
            for key, row in self.rows[file].items():
                for column, text in _filled(row).items():
                    if column not in names and text != "?" and (file, key, column) not in backed:
                        claims |= self._behind((file, key, column), text)
        self.rows[EVIDENCE] = claims

    def _taken_over(self) -> set[Place]:
        """Return the cells of kinds that are blank and still say something."""
        rows = self.rows[TAXA]
        checked = check_sheets(sheets_of(self.rows, {}), None, Found())
        genus = [row["genus"] for row in rows.values()]
        _, basis = effective(checked.traits, checked.cells, checked.genera, genus)
        ids = list(rows)
        return {(TAXA, ids[i], c) for c, rests in basis.items() for i, rest in enumerate(rests) if rest}

    def _behind(self, place: Place, text: str) -> dict[Hashable, Row]:
        """Return what either side puts behind a cell that says so, or that nobody names a source."""
        speaks = _speaks_of(place)
        for side in (self.theirs, self.mine):
            claims = {k: r for k, r in side[EVIDENCE].items() if speaks(r)}
            if (
                claims
                and _text(side, place) == text
                and all(r["source"] in {"", *self.rows[SOURCES]} for r in claims.values())
            ):
                return claims
        file, key, column = place
        who = {"care_group": key[0], "taxon": key[1]} if file == CARE else {KEYS[file][0]: key}
        who = {"taxon": key} if file == TAXA else who
        said = {"attribute": column, "value": text, "class": "memory", "scope": "species", "note": UNSOURCED}
        row = Row(0, dict.fromkeys(HEADERS[EVIDENCE], "") | who | said, EVIDENCE)
        return {_key(row): row}

    # -- conflicts ------------------------------------------------------------------------------

    def _differ(self, place: Place, *, gone: bool = False) -> None:
        """Note that both say different things of a place."""
        file, key, column = place
        was, own, now = (side[file].get(key) for side in (self.base, self.mine, self.theirs))
        name = str((key[1] or key[0]) if file == CARE else key)
        what = _called(own or was or now) if file == TAXA else f"{_WHAT[file]} {name!r}"
        said = [
            _text(s, place) if column else _words(s[file].get(key))
            for s in (self.base, self.mine, self.theirs)
        ]
        if column:
            did = f"wrote {_shown(said[1])}" if said[0] != said[1] else f"gave a claim for {_shown(said[1])}"
            text = (
                f"{what}, {column}: you {did} where the shipped table said {_shown(said[0])}; it now says "
                f"{_shown(said[2])}, and yours counts {_UNTIL}."
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
            theirs = f"a kind {name!r} ({_called(now)})"
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
                self._fold(mine, file, conflict.other, theirs)
            else:
                take(mine, self.theirs, conflict.place)
                if theirs not in self.theirs[file]:
                    _let_go(mine, conflict.place)
            _ask_always(mine)
        return Merge(base, mine, self.theirs, asked)

    def _fold(self, mine: Rows, file: str, own: str, theirs: str) -> None:
        """Have what leans on the keeper's own lean on the shipped one of that name, as far as it can."""
        if file == TRAITS:
            for taxon, row in list(mine[TAXA].items()):
                for name, other in ((own, theirs), (f"{own}{YOUNG}", f"{theirs}{YOUNG}")):
                    text = row.values.get(name, "")
                    if text and (row.values.get(other) or not _reads(self._theirs_read, other, text)):
                        mine[TAXA][taxon] = _with(mine[TAXA][taxon], **{name: ""})
                        speaks = _speaks_of((TAXA, taxon, name))
                        mine[EVIDENCE] = {k: r for k, r in mine[EVIDENCE].items() if not speaks(r)}
        key = (own, "") if file == CARE else own
        if file == CARE:
            take(mine, dict.fromkeys(KEYS, {}), (CARE, key, ""))
        mine[file].pop(key, None)
        _rename(mine, file, own, theirs)


def _called(row: Row) -> str:
    """Return the name of a kind, with its trade codes."""
    codes = row["tradeCode"].replace("|", ", ")
    return f"{row['scientificName']} ({codes})" if codes else row["scientificName"]


def _words(row: Row | None) -> str:
    """Return a row on one line, its name left out."""
    said = _filled(row) or {}
    if row is not None and row.file == SOURCES:
        return _KEY.sub(lambda m: m[1], said["entry"])
    if row is not None and row.file == TAXA:
        return _called(row)
    return "; ".join(text for column, text in said.items() if column not in KEYS[row.file])


def _shown(text: str) -> str:
    return repr(text) if text else "nothing"
