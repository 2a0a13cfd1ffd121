"""A keeper works on a table of one's own while shipped tables come and go: nothing typed is lost or undone.

Each walk is drawn from a seed: the keeper types, leaves out, gives claims and sources, edits files by hand
and settles conflicts; shipped tables change, grow and shrink, and older ones come back.
What the keeper did is noted from the files before and after it, apart from the merge, and held against the
table after each step. The tables are invented.
"""

from __future__ import annotations

import os
import random
import re
from collections.abc import Callable

import pytest

from idkey.errors import IdkeyError
from idkey.table import folder
from idkey.table.claims import Claim
from idkey.table.files import files_of, packed, written
from idkey.table.folder import BASE
from idkey.table.schema import Trait
from idkey.table.table import TraitTable

from .small_folder import (
    FINS,
    READ,
    SMALL,
    STATES,
    WITH_GENUS,
    Files,
    added,
    laid,
    rewritten,
    rows_of,
    saved,
    source,
    started,
    table_of,
    with_cell,
    without,
    without_columns,
    without_kind,
    without_trait,
)

LONG = bool(os.environ.get("IDKEY_LONG_TESTS"))
WALKS = 2_000 if LONG else 60
KINDS = ("alpha", "beta", "gamma", "delta", "omega", "nova", "mine", "other")
KEYS = {"taxa.csv": "id", "traits.csv": "id", "genera.csv": "genus", "care_columns.csv": "id"}
ROWS = (*KEYS, "care.csv")
COLUMNS_OF = {"taxa.csv": "traits.csv", "genera.csv": "traits.csv", "care.csv": "care_columns.csv"}
NEEDS = {"flow": ["", "gentle", "strong"], "ph": ["", "5..6", "6..7"], "substrate": ["", "Gravel.", "Sand."]}


def _start() -> Files:
    """The small table with few columns of care, and nothing stated of the whole, which takes most time."""
    files = {name: data for name, data in WITH_GENUS.items() if name != "datapackage.json"}
    files = without(files, "care_columns.csv", lambda row: row["id"] not in NEEDS)
    files = without(files, "evidence.csv", lambda row: row["attribute"] in ("adult_length_mm", "diet_type"))
    out = [c for c in rows_of(files, "care.csv")[0] if c not in ("care_group", "taxon", *NEEDS)]
    files = without_columns(files, "care.csv", out)
    return backed(with_cell(files, "care.csv", "beta", "ph", "6..7"), {"taxon": "beta"}, "ph", "6..7", READ)


Row = dict[str, str]
Place = tuple[str, str, str]  # file, key, column; the column is blank for a whole row


# -- what the files say ------------------------------------------------------------------------------------


def said_in(files: Files) -> dict[str, dict[str, Row]]:
    """Return the rows of the files by key; blank cells are left out."""
    made: dict[str, dict[str, Row]] = {}
    for file in ROWS:
        rows = rows_of(files, file) if file in files else []
        key = KEYS.get(file)
        made[file] = {
            row[key] if key else "/".join((row["care_group"] * (not row["taxon"]), row["taxon"])): {
                c: text for c, text in row.items() if text
            }
            for row in rows
        }
    return made


def claims_in(files: Files) -> set[frozenset]:
    return {frozenset((c, text) for c, text in row.items() if text) for row in rows_of(files, "evidence.csv")}


def titles_in(files: Files) -> dict[str, str]:
    return dict(re.findall(r"@\w+\{(\w+),[^@]*?title = \{(.*?)\}", files["sources.bib"].decode(), re.DOTALL))


def place_of(claim: frozenset) -> Place:
    row = dict(claim)
    taxon, column = row.get("taxon", ""), row["attribute"]
    if "genus" in row:
        return "genera.csv", row["genus"], column
    traits = [*STATES, "size", "rays", "fins", "odd"]
    if taxon and column.removesuffix("_young") in traits:
        return "taxa.csv", taxon, column
    return "care.csv", f"{row.get('care_group', '')}/{taxon}", column


# -- what is done to a table -------------------------------------------------------------------------------

VALUES = {
    **{c: ["", "?", *s, "|".join(s[:2])] for c, s in STATES.items()},
    "size": ["", "60", "90", "200"],
    "rays": ["", "7..8", "9..9"],
    "tail_young": ["", "straight", "forked"],
    "fins": ["", "long", "round"],
    "vernacularName": ["", "Alpha", "Spotty"],
    "tradeCode": ["", "T001", "T777", "T900"],
    "careGroup": ["stones", "sand", "caves"],
    "nameAccordingTo": ["", "SMITH", "JONES", "MINE"],
}
META = ("vernacularName", "tradeCode", "careGroup", "nameAccordingTo")
TITLES = ("Invented page on fish", "A note", "Another note")


def backed(files: Files, who: Row, column: str, text: str, claim: Row) -> Files:
    """Return the files with one claim behind a cell, where that is filled."""
    about = {"taxon": "", "genus": "", "care_group": "", **who}
    files = without(files, "evidence.csv", lambda r: r["attribute"] == column and about.items() <= r.items())
    if text in ("", "?") or column in META:
        return files
    return added(files, "evidence.csv", **about, attribute=column, value=text, **claim)


def with_need(files: Files, rng: random.Random, claim: Row) -> Files:
    """Change a need of a group or of a kind, or give one a row."""
    group, taxon = rng.choice(
        [("stones", ""), ("sand", ""), ("caves", ""), ("stones", "beta"), ("sand", "gamma")]
    )
    column = rng.choice([*NEEDS])
    text = rng.choice(NEEDS[column])
    if (taxon or group) not in {row["taxon"] or row["care_group"] for row in rows_of(files, "care.csv")}:
        files = added(files, "care.csv", care_group=group, taxon=taxon)
    files = with_cell(files, "care.csv", taxon or group, column, text)
    return backed(files, {"taxon": taxon} if taxon else {"care_group": group}, column, text, claim)


def with_genus_cell(files: Files, rng: random.Random, claim: Row) -> Files:
    column, genus = rng.choice(["tail", "spots"]), "Testia"
    text = rng.choice(["", *STATES[column]])
    if "genera.csv" not in files:
        files = {**files, "genera.csv": b"genus,tail,spots\nTestia,,\n"}
    rows = rows_of(files, "genera.csv")
    if column not in rows[0]:
        return files
    files = rewritten(files, "genera.csv", [{**row, column: text} for row in rows])
    return backed(files, {"genus": genus}, column, text, {**claim, "scope": "genus"})


def with_question(files: Files, rng: random.Random, _: Row) -> Files:
    trait, column = (
        rng.choice(["size", "tail", "teeth", "fins"]),
        rng.choice(["question", "effort_s", "error"]),
    )
    text = {"question": "Really?", "effort_s": "77", "error": "0.2"}[column]
    return with_cell(files, "traits.csv", trait, column, text)


def with_state(files: Files, rng: random.Random, _: Row) -> Files:
    """Add a state to a trait."""
    trait = rng.choice([*STATES])
    rows = rows_of(files, "traits.csv")
    for row in rows:
        if row["id"] == trait and "round" not in row["states"]:
            row["states"], row["state_words"] = row["states"] + "|round", row["state_words"] + "|round"
    return rewritten(files, "traits.csv", rows)


def without_a_claim(files: Files, rng: random.Random, _: Row) -> Files:
    out = rng.choice(rows_of(files, "evidence.csv"))
    return without(files, "evidence.csv", lambda row: row == out)


def with_title(files: Files, rng: random.Random, _: Row) -> Files:
    old, new = (rng.choice(TITLES).encode() for _ in range(2))
    return {**files, "sources.bib": files["sources.bib"].replace(old, new)}


BY_HAND = [with_need, with_need, with_genus_cell, with_question, with_state, without_a_claim, with_title]
HAND_CLAIM = {"class_": "memory", "scope": "species", "note": "written by hand"}


def by_api(table: TraitTable, rng: random.Random) -> TraitTable:
    """One change as a keeper makes it; IdkeyError where it can't be made."""
    what, kind = rng.choice("cccccmkkotees"), rng.choice(KINDS)
    note = f"seen {rng.randrange(9)}"
    claim = rng.choice(
        [None, Claim(evidence_class="memory", note=note), Claim("SMITH", note), Claim("MINE", note)]
    )
    if what in "cm":
        column = rng.choice(META if what == "m" else [c for c in VALUES if c not in META])
        value = rng.choice(VALUES[column])
        return table.with_cell(kind, column, value, claim if what == "c" and value not in ("", "?") else None)
    if what == "k":
        columns = rng.sample([*VALUES], rng.randrange(5))
        cells = {c: rng.choice(VALUES[c]) for c in columns}
        return table.with_taxon(kind, **{"scientificName": f"Testia {kind}", **cells})
    if what == "o":
        return table.without_taxon(kind)
    if what == "t":
        trait = rng.choice([FINS, Trait("odd", "nominal", question="Odd?", states=("yes", "no"))])
        return table.with_trait(trait, {"alpha": rng.choice(trait.states), kind: trait.states[0]})
    if what == "e":
        who, column = rng.choice(
            [(kind, rng.choice(["tail", "spots", "size"])), ("stones", "flow"), ("sand", "flow")]
        )
        return table.with_evidence(who, column, claim or Claim(evidence_class="memory", note=note))
    return table.with_source(source(rng.choice(["MINE", "OTHER"]), rng.choice(TITLES[1:])))


def ship(files: Files, rng: random.Random) -> Files:
    """One change of the shipped table, which may leave it unsound."""
    what, kind = rng.choice("ccccmkkoottrehhhhhhlsg"), rng.choice((*KINDS, "zeta"))
    if what in "cm":
        column = rng.choice(META if what == "m" else [c for c in VALUES if c not in META])
        if column not in rows_of(files, "taxa.csv")[0]:
            return files
        text = rng.choice(VALUES[column])
        return backed(with_cell(files, "taxa.csv", kind, column, text), {"taxon": kind}, column, text, READ)
    if what == "k":
        cells = {c: rng.choice([v for v in VALUES[c] if v != "?"]) for c in rng.sample([*VALUES], 4)}
        files = added(files, "taxa.csv", id=kind, scientificName=f"Testia {kind}", genus="Testia", **cells)
        for column, text in cells.items():
            files = backed(files, {"taxon": kind}, column, text, READ)
        return files
    if what == "o":
        return without_kind(kind)(files)
    if what == "t":
        name, states = rng.choice([("fins", "long|round"), ("fins", "long|short"), ("odd", "yes|no|may be")])
        cells = {"id": name, "kind": "nominal", "states": states, "state_words": states, "in_key": "no"}
        more = {"question": "Fins?", "error": "0.1", "error_basis": "invented", "effort_s": "5"}
        files = added(files, "traits.csv", **cells, **more, needs_adult="no", core="yes")
        text = rng.choice(states.split("|"))
        return backed(with_cell(files, "taxa.csv", kind, name, text), {"taxon": kind}, name, text, READ)
    if what == "r":
        return without_trait(rng.choice(["teeth", "spots", "tail", "fins", "odd"]))(files)
    if what == "e":
        row = rng.choice(rows_of(files, "evidence.csv"))
        row = {f"{c}_" if c == "class" else c: text for c, text in row.items()}
        return added(files, "evidence.csv", **{**row, "note": f"a look {rng.randrange(9)}"})
    if what == "h":
        return rng.choice(BY_HAND)(files, rng, READ)
    if what == "l":  # a state or a care group gets another name
        old, new = rng.choice([(b"light", b"pale"), (b"stones", b"rocks"), (b"forked", b"split")])
        return {name: data.replace(old, new) for name, data in files.items()}
    if what == "s":
        if rng.random() < 0.5:
            return {
                **files,
                "sources.bib": files["sources.bib"] + source(rng.choice(["MINE", "OTHER"])).encode(),
            }
        old, new = rng.choice([(b",SMITH,", b",JONES,"), (b",JONES,", b",SMITH,")])
        first, *rest = files["sources.bib"].decode().split("\n@")
        kept = [entry for entry in rest if old[1:-1].decode() not in entry.partition(",")[0]]
        files = {**files, "sources.bib": "\n@".join([first, *kept]).encode()}
        return {n: d.replace(old, new) if n in ("taxa.csv", "evidence.csv") else d for n, d in files.items()}
    files = without(files, "evidence.csv", lambda row: bool(row["genus"]))
    return {name: data for name, data in files.items() if name != "genera.csv"}


def shipped_after(files: Files, rng: random.Random) -> Files:
    """Return a sound shipped table some changes on."""
    for _ in range(rng.randrange(1, 6)):
        try:
            table_of(new := ship(files, rng))
        except IdkeyError:
            continue
        files = new
    return files


# -- what must hold ----------------------------------------------------------------------------------------


START = _start()


class Walk:
    """A keeper's table and the shipped one.

    `said` is what the keeper made of a place, `seen` what the shipped table said there when the keeper did so
    or settled it; `claims` the keeper gave, `gone` are those taken away.
    """

    def __init__(self, seed: int):
        self.rng = random.Random(seed)
        self.shipped = START
        self.older = [self.shipped]
        self.theirs = said_in(files_of(table_of(self.shipped)))
        self.table = started(self.shipped)
        self.written: tuple[TraitTable | None, Files] = None, {}  # the table last written, and its files
        self.said: dict[Place, str | Row | None] = {}
        self.seen: dict[Place, str | Row | None] = {}
        self.claims: set[frozenset] = set()
        self.gone: set[frozenset] = set()
        self.titles: set[str] = set()
        self.columns: set[str] = set()  # of traits and needs that are the keeper's by decision
        self.earlier: list = []
        self.log: list[str] = []

    def files(self) -> Files:
        table, files = self.written
        if table is not self.table:
            files = written(self.table, "mine")[0] | {BASE: packed(self.table.origin.base)}
            self.written = self.table, files
        return files

    def lookup(self, rows, place: Place):
        file, key, column = place
        return rows[file].get(key, {}).get(column, "") if column else rows[file].get(key)

    # -- steps

    def keep(self) -> None:
        before = self.files()
        try:
            if self.rng.random() < 0.7:
                self.table = by_api(self.table, self.rng)
            else:
                change = self.rng.choice(BY_HAND)
                self.table = laid(self.shipped, change(before, self.rng, HAND_CLAIM))
        except IdkeyError:
            return
        self.note(before, self.files())

    def note(self, before: Files, after: Files) -> None:
        was, now = said_in(before), said_in(after)
        for file in ROWS:
            for key in {*was[file], *now[file]}:
                row = file, key, ""
                old, new = was[file].get(key), now[file].get(key)
                if old == new:
                    continue
                self.log.append(f"keeper {row}: {diff(old, new)}")
                if old is None and new and (shipped := self.lookup(self.theirs, row)):
                    # Written anew under a name that the shipped table has: cell by cell another.
                    self.forget(lambda p, row=row: p == row)
                    old = shipped
                if new is None or old is None or isinstance(self.said.get(row), dict):
                    self.forget(lambda p, row=row: p[:2] == row[:2] and p[2])
                    self.say(row, new)
                else:
                    for column in {*old, *new}:
                        if old.get(column) != new.get(column):
                            self.say((file, key, column), new.get(column, ""))
        rows = [place for c in self.table.conflicts if (place := placed(c.place))[0] in ROWS and not place[2]]
        if any((self.lookup(was, row) is None) != (self.lookup(now, row) is None) for row in rows):
            # What is open of a row that is left out or written anew is another, once that is saved.
            self.table = laid(self.shipped, after)
        more, fewer = claims_in(after) - claims_in(before), claims_in(before) - claims_in(after)
        self.log += [f"keeper claim + {dict(c)}" for c in more] + [f"keeper claim - {dict(c)}" for c in fewer]
        self.claims, self.gone = (self.claims | more) - fewer, (self.gone | fewer) - more
        was, now = titles_in(before), titles_in(after)
        self.titles |= {title for key, title in now.items() if was.get(key) != title}
        self.titles -= {title for title in was.values() if title not in now.values()}

    def say(self, place: Place, text) -> None:
        self.said[place] = text
        self.seen.setdefault(place, self.lookup(self.theirs, place))

    def forget(self, fits: Callable[[Place], bool]) -> None:
        for place in [place for place in self.said if fits(place)]:
            del self.said[place], self.seen[place]

    def upgrade(self) -> None:
        if self.rng.random() < 0.2:
            new = self.rng.choice(self.older)
        else:
            new = shipped_after(self.shipped, self.rng)
        before = self.files()
        self.older.append(new)
        self.shipped, was = new, self.theirs
        self.earlier.append(self.theirs)
        self.theirs = said_in(files_of(table_of(new)))
        for file in ROWS:
            for key in {*was[file], *self.theirs[file]}:
                if (old := was[file].get(key)) != (to := self.theirs[file].get(key)):
                    self.log.append(f"shipped {file} {key}: {diff(old, to)}")
        self.table = laid(new, before)
        self.log.append(f"open {[c.id for c in self.table.conflicts]}")

    def settle(self) -> None:
        if not self.table.conflicts:
            return
        conflict, keep = self.rng.choice(self.table.conflicts), self.rng.choice(["own", "shipped"])
        self.log.append(f"settle {conflict.id} {keep}")
        before = {c.id for c in self.table.conflicts}
        self.table = settled(self.shipped, self.files(), conflict.id, keep)
        left = {c.id for c in self.table.conflicts}
        self.log.append(f"open {sorted(left)}")
        assert conflict.id not in left
        file, key, column = place = placed(conflict.place)
        if keep == "own":
            # The care of a kind is settled with it.
            assert before - left <= {conflict.id, f"care:{key}"}
        if conflict.other:
            if keep == "shipped":
                self.drop("taxa.csv", conflict.other)
            return
        if keep == "own":
            self.hold(place)
        else:
            self.drop(file, key, column)
            now = said_in(self.files())
            if file in ROWS:
                got, theirs = (self.lookup(rows, place) for rows in (now, self.theirs))
                if not column and got and theirs:
                    # What the trait in conflict can't read comes when that is settled.
                    wait = {(c.place[0], c.place[1]) for c in self.table.conflicts if not c.place[2]}
                    of = COLUMNS_OF.get(file, "")
                    theirs = {c: t for c, t in theirs.items() if c in got or (of, c) not in wait}
                assert got == theirs, f"settled for the shipped {place}: {theirs}, now {got}"

    def hold(self, place: Place) -> None:
        """What the shipped table says of a place by now the keeper has seen."""
        file, key, column = place
        if file in ("traits.csv", "care_columns.csv") and not column:
            self.columns.add(key)
        if not column and file in ROWS:
            now, more = said_in(self.files()), ("care.csv", f"/{key}", "")
            for at in (place, more) if file == "taxa.csv" else (place,):
                row, theirs = (self.lookup(rows, at) for rows in (now, self.theirs))
                self.forget(lambda p, at=at: p[:2] == at[:2])
                if row is None or theirs is None:
                    self.say(at, row)
                    continue
                for c in {*row, *theirs}:
                    if row.get(c) != theirs.get(c):
                        self.say((*at[:2], c), row.get(c, ""))
        self.know(file, key)
        if column and file in ROWS:
            self.say(place, self.lookup(said_in(self.files()), place))
        for p in self.said:
            if (
                p[:2] == (file, key)
                and column in ("", p[2])
                or not column
                and COLUMNS_OF.get(p[0]) == file
                and p[2].removesuffix("_young") == key
            ):
                self.seen[p] = self.lookup(self.theirs, p)

    def know(self, file: str, key: str) -> None:
        """With a column that is settled the keeper has seen its cells, in rows that are left out too."""
        for p, row in self.seen.items():
            if isinstance(row, dict) and COLUMNS_OF.get(p[0]) == file:
                theirs = self.lookup(self.theirs, p) or {}
                cells = {c: theirs.get(c) for c in (key, f"{key}_young")}
                self.seen[p] = {c: text for c, text in {**row, **cells}.items() if text}

    def drop(self, file: str, key: str, column: str = "") -> None:
        """Forget what the keeper gave up; what can be read by the shipped trait of the name stays."""
        left = said_in(self.files())

        def fits(p: Place) -> bool:
            if p[:2] == (file, key) and column in ("", p[2]):
                return True
            if not column and COLUMNS_OF.get(p[0]) == file and p[2].removesuffix("_young") == key:
                return p not in self.said or self.lookup(left, p) != self.said[p]
            if (file, column) == ("traits.csv", "") and p[0] == file:
                return p[2] == "applies_when"
            if file == "taxa.csv" and not column:
                return p[:2] == ("care.csv", f"/{key}")
            named = {"care.csv": "careGroup", "sources.bib": "nameAccordingTo"}.get(file)
            return not column and p[2] == named and self.said.get(p) == key.rstrip("/")

        self.forget(fits)
        self.columns.discard(key)
        self.know(file, key)
        for p, row in self.said.items():
            if isinstance(row, dict) and row.get("applies_when", "").startswith(f"{key}="):
                self.said[p] = {c: text for c, text in row.items() if c != "applies_when"}
        for p, row in self.said.items():
            if not column and isinstance(row, dict) and COLUMNS_OF.get(p[0]) == file:
                there = self.lookup(left, p) or {}
                self.said[p] = {
                    c: t for c, t in row.items() if c.removesuffix("_young") != key or there.get(c) == t
                }
        away = {c for c in self.claims | self.gone if fits(place_of(c))}
        if file == "sources.bib":
            away |= {c for c in self.claims if dict(c).get("source") == key}
            self.titles.clear()
        self.claims -= away
        self.gone -= away

    # -- checks

    def check(self) -> None:
        files = self.files()
        now, open_at = said_in(files), {placed(c.place): c for c in self.table.conflicts}

        def told(place: Place) -> bool:
            file, key, column = place
            more = {(COLUMNS_OF.get(file, ""), column.removesuffix("_young"), "")}
            if file == "care.csv":
                more.add(("taxa.csv", key.lstrip("/"), ""))
            if column == "applies_when":
                more.add((file, self.theirs[file][key].get(column, "").partition("=")[0], ""))
            return bool({place, (file, key, ""), *more} & {*open_at})

        for place, want in self.said.items():
            file, key, column = place
            got, theirs, seen = self.lookup(now, place), self.lookup(self.theirs, place), self.seen[place]
            assert like(got, want), f"lost {place}: typed {want}, now {got}"
            if not column and isinstance(seen, dict) and file in COLUMNS_OF:
                seen = (
                    {c: t for c, t in seen.items() if c in theirs or c in META}
                    if theirs is not None
                    else seen
                )
            # What a kind needs that was left out is settled with it; and it may be as it once was.
            left_out = file == "care.csv" and ("taxa.csv", key.lstrip("/"), "") in self.said
            once = want is None and any(self.lookup(said, place) == theirs for said in self.earlier)
            if theirs not in (seen, want) and not left_out and not once:
                assert told(place), f"no conflict at {place}: typed {want}, shipped {seen} -> {theirs}"
            if place in open_at and column:
                assert (open_at[place].own, open_at[place].shipped) == (want, theirs), place
        claimed = {*map(place_of, self.claims)}
        for file, rows in self.theirs.items():
            for key, row in rows.items():
                if (file, key, "") in self.said or self.said.get(
                    ("taxa.csv", key.lstrip("/"), ""), 1
                ) is None:
                    continue
                for column in {*row, *now[file].get(key, {})}:
                    place = file, key, column
                    leans = row.get(column, "").partition("=")[0] if column == "applies_when" else ""
                    if place in self.said or {column.removesuffix("_young"), leans} & self.columns:
                        continue
                    if (column == "genus" and file == "genera.csv") or place in claimed:
                        continue
                    assert self.lookup(now, place) == row.get(column, "") or told(place), (
                        f"not taken in: {place}"
                    )
            for key in now[file].keys() - rows.keys():
                place = file, key, ""
                assert place in self.said or told(place), f"{place} stays, and nothing is said"
        got = claims_in(files)
        plain = {parted(c) for c in got}
        for claim in self.claims:
            assert parted(claim) in plain, f"lost claim {dict(claim)}"
        for claim in self.gone & got:
            place = place_of(claim)
            others = {c for c in got if place_of(c) == place} - self.gone
            assert told(place) or not others, f"claim is back: {dict(claim)}"
        assert self.titles <= {*titles_in(files).values()}
        again = laid(self.shipped, files)
        one, two = (
            {(c.id, *map(words, (c.before, c.shipped, c.own))) for c in t.conflicts}
            for t in (again, self.table)
        )
        assert one == two, f"saved and loaded, its conflicts are others: {sorted(one ^ two)}"
        one, two = (
            {n: sorted(filter(None, d.splitlines())) for n, d in said.items() if n != BASE}
            for said in (files_of(again), files)
        )
        other = {n: {*one[n]} ^ {*two[n]} for n in one if one[n] != two[n]}
        assert not other, f"saved and loaded, it is another: {other}"
        # What both say by now is no longer the keeper's alone, unless there is something open about it.
        self.gone &= claims_in(self.shipped)
        same = [p for p, want in self.said.items() if like(self.lookup(self.theirs, p), want)]
        self.forget(lambda p: p in same and not told(p))


def words(said: str) -> str:
    return "; ".join(sorted(said.split("; ")))


def diff(old: Row | None, new: Row | None) -> str:
    if old is None or new is None:
        return f"{old} -> {new}"
    return str({c: (old.get(c), new.get(c)) for c in {*old, *new} if old.get(c) != new.get(c)})


def placed(place) -> Place:
    file, key, column = place
    return file, "/".join(key) if isinstance(key, tuple) else key, column


def parted(claim) -> frozenset:
    """A claim, whatever was put behind the key of a source of the keeper's to tell it from a shipped one."""
    return frozenset((c, re.sub(r"_own\d*$", "", t) if c == "source" else t) for c, t in claim)


def like(got, want) -> bool:
    if isinstance(got, dict) and isinstance(want, dict):
        return parted(got.items()) == parted(want.items())
    if isinstance(got, str) and isinstance(want, str):
        return re.sub(r"_own\d*$", "", got) == re.sub(r"_own\d*$", "", want)
    return got == want


def settled(shipped: Files, files: Files, conflict: str, keep: str) -> TraitTable:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(folder, "_shipped", lambda: dict(shipped))
        own = folder._Own(files, "mine")
        own.merge = own.merge.settled(conflict, keep)
        new, table = written(own.table(), "mine")
    return laid(shipped, new | {BASE: packed(own.base())})


def walk(seed: int) -> None:
    made = Walk(seed)
    try:
        for _ in range(made.rng.randrange(1, 4)):
            for _ in range(made.rng.randrange(1, 6)):
                made.keep()
            made.check()
            made.upgrade()
            made.check()
            for _ in range(made.rng.randrange(3)):
                made.settle()
                made.check()
    except BaseException as error:
        error.add_note(f"walk {seed}\n" + "\n".join(made.log))
        raise


def test_no_upgrade_loses_or_undoes_what_a_keeper_did():
    for seed in range(WALKS):
        walk(seed)


@pytest.mark.parametrize("seed", [659, 1492])
def test_a_trait_that_is_settled_closes_no_conflict_of_a_kind_left_out(seed):
    walk(seed)


def test_a_care_column_that_is_settled_closes_no_conflict_of_care_left_out():
    own = without(saved(started(START)), "care.csv", lambda row: row["taxon"] == "beta")
    own = with_cell(backed(own, {"taxon": "beta"}, "ph", "", READ), "care_columns.csv", "ph", "unit", "count")
    new = backed(with_cell(START, "care.csv", "beta", "ph", "5..6"), {"taxon": "beta"}, "ph", "5..6", READ)
    new = with_cell(new, "care_columns.csv", "ph", "unit", "% SL")
    table = laid(new, own)
    assert [c.id for c in table.conflicts] == ["column:ph", "care:beta"]
    assert [c.id for c in settled(new, saved(table), "column:ph", "own").conflicts] == ["care:beta"]


def test_a_trait_that_is_settled_closes_no_conflict_of_a_cell_left_blank():
    own = saved(started().with_cell("alpha", "spots", "").with_trait(FINS))
    new = {name: data.replace(b"light", b"pale") for name, data in SMALL.items()}
    table = laid(new, own)
    assert [c.id for c in table.conflicts] == ["cell:alpha:spots", "trait:spots"]
    table = settled(new, saved(table), "trait:spots", "own")
    assert [(c.id, c.before, c.own) for c in table.conflicts] == [("cell:alpha:spots", "light", "")]


def test_a_genus_in_conflict_is_told_the_same_once_it_is_saved():
    own = rewritten(
        saved(started(START)), "genera.csv", [{"genus": "Testia", "tail": "forked", "spots": "light"}]
    )
    new = without(START, "evidence.csv", lambda row: bool(row["genus"]))
    new = without_trait("spots")({name: data for name, data in new.items() if name != "genera.csv"})
    for _ in range(2):
        table = laid(new, own)
        assert [(c.before, c.own, c.shipped) for c in table.conflicts] == [("hollow", "forked", "")]
        own = saved(table)
