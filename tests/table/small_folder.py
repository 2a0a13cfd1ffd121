"""A small folder that stands in for the shipped table, and ways to change it. All of it is invented."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Collection, Mapping
from functools import cache
from pathlib import Path

import pytest
from hypothesis import strategies as st

from idkey.errors import TableError, UnknownName
from idkey.table import folder
from idkey.table.claims import Claim
from idkey.table.csvfile import Found
from idkey.table.fields import HEADERS, META
from idkey.table.files import files_of, packed, parts_from, table_from
from idkey.table.folder import BASE
from idkey.table.layout import shipped_folder
from idkey.table.rows import shipped_care_columns
from idkey.table.schema import Trait
from idkey.table.table import TraitTable

Files = dict[str, bytes]

TRAIT_COLUMNS, EVIDENCE_COLUMNS = HEADERS["traits.csv"], HEADERS["evidence.csv"]
CARE_COLUMNS = (*HEADERS["care.csv"], *(column.id for column in shipped_care_columns()))

_TRAITS = """\
size,Length,ceiling,mm,,,yes,How long?,,0.01,invented,5%,20,,no,yes,,,,
tail,Tail,ordinal,,straight|hollow|forked,cut|hollow|clearly forked,yes,What tail?,,0.1,invented,,10,\
,no,yes,,fork_depth,0.1|0.3,invented
spots,Spots,nominal,,light|dark|none,light|dark|no spots,yes,What spots?,Its side.,0.1,invented,,5,,no,yes,,,,
rays,Rays,measure,count,,,no,How many rays?,,0.05,invented,3%,30,spots=light|dark,no,yes,,,,
teeth,Teeth,nominal,,few|many,few|many,no,How many teeth?,,0.1,invented,,60,,yes,yes,,,,
"""

_TRAIT_IDS = ("size", "tail", "spots", "rays", "teeth", "tail_young")
_TAXA = """\
alpha,Testia alpha,,Alpha,Testia,SMITH,T001,stones,common,120,forked,light,7..8,few,straight
beta,Testia beta,,,Testia,,T002|T003,stones,rare,90,straight|hollow,none,-,,
gamma,Testia gamma,cf.,,Testia,SMITH,,sand,occasional,150,hollow,dark,,many,
delta,Otherus delta,,Delta,Otherus,JONES,T004,sand,,60,forked,light:0.75|dark:0.25,9..11,,
omega,Otherus sp.,,,Otherus,,T005,,,,,light,,few|many,straight|hollow
"""

_GROUPS = {
    ("stones", ""): {"adult_length_mm": "80..120", "diet_type": "omnivore", "flow": "strong", "ph": "6..7"},
    ("sand", ""): {"adult_length_mm": "60..150", "flow": "gentle|moderate", "substrate": "Sand, not sharp."},
    ("stones", "beta"): {"adult_length_mm": "80..90"},
}

_SOURCES = """\
% invented, for tests
@article{SMITH,
  author = {Smith, Ann and Roe, Bo},
  year = {2001},
  title = {Invented fish},
  journal = {Journal},
  doi = {10.1000/1},
}

@misc{JONES,
  title = {Invented page on fish},
}
"""

_ABOUT = {"name": "small", "title": "Invented kinds", "version": "1.0", "created": "2020-01-01T00:00:00Z"}


def small_files() -> Files:
    """Return the folder: five kinds, five traits, two care groups, a claim behind each cell, two sources."""
    taxa = list(csv.reader(io.StringIO(_TAXA)))
    header = (*META, *_TRAIT_IDS)
    care = [[*who, *(cells.get(c, "") for c in CARE_COLUMNS[2:])] for who, cells in _GROUPS.items()]
    return {
        "taxa.csv": csv_of(header, taxa),
        "traits.csv": csv_of(TRAIT_COLUMNS, csv.reader(io.StringIO(_TRAITS))),
        "care.csv": csv_of(CARE_COLUMNS, care),
        "care_columns.csv": (shipped_folder() / "care_columns.csv").read_bytes(),
        "evidence.csv": csv_of(EVIDENCE_COLUMNS, _claims(header, taxa)),
        "sources.bib": _SOURCES.encode(),
        "datapackage.json": (json.dumps(_ABOUT, indent=2) + "\n").encode(),
    }


def _claims(header: tuple[str, ...], taxa: list[list[str]]) -> list[list[str]]:
    claims = []
    for line in taxa:
        for column, text in zip(header[len(META) :], line[len(META) :], strict=True):
            if text:
                claims.append([line[0], "", "", column, text, "SMITH", "p. 1", "read", "species", ""])
    claims.append(["alpha", "", "", "tail", "forked", "JONES", "", "secondary", "genus", "a second look"])
    for (group, taxon), cells in _GROUPS.items():
        who = ["", "", group] if not taxon else [taxon, "", ""]
        claims += [[*who, c, text, "JONES", "", "secondary", "group", ""] for c, text in cells.items()]
    return claims


def csv_of(header, rows) -> bytes:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows([header, *rows])
    return out.getvalue().encode()


def rows_of(files: Mapping[str, bytes], file: str) -> list[dict[str, str]]:
    """Return the rows of one of the CSV files, as text."""
    return list(csv.DictReader(io.StringIO(files[file].decode(), newline="")))


def rewritten(files: Mapping[str, bytes], file: str, rows: list[dict[str, str]]) -> Files:
    """Return the folder with these rows in a file; a column that is new comes last."""
    header = list(
        dict.fromkeys([*files[file].decode().split("\n")[0].split(","), *(c for r in rows for c in r)])
    )
    return {**files, file: csv_of(header, [[row.get(c, "") for c in header] for row in rows])}


def added(files: Mapping[str, bytes], file: str, **cells: str) -> Files:
    """Return the folder with one more row; a column that is new is blank in the other rows.

    Write ``class_`` for the column ``class``.
    """
    row = {column.removesuffix("_") if column == "class_" else column: text for column, text in cells.items()}
    return rewritten(files, file, [*rows_of(files, file), row])


def with_cell(files: Mapping[str, bytes], file: str, who: str, column: str, text: str) -> Files:
    """Return the folder with another text in a column of all rows about `who`."""
    rows = [{**r, column: text} if _who(r) == who else r for r in rows_of(files, file)]
    return rewritten(files, file, rows)


def without(files: Mapping[str, bytes], file: str, fits: Callable[[dict[str, str]], bool]) -> Files:
    """Return the folder without the rows that fit."""
    return rewritten(files, file, [row for row in rows_of(files, file) if not fits(row)])


def without_columns(files: Mapping[str, bytes], file: str, columns: Collection[str]) -> Files:
    """Return the folder with a file that lacks these columns."""
    rows = [{c: text for c, text in row.items() if c not in columns} for row in rows_of(files, file)]
    return {**files, file: csv_of([*rows[0]], [[*row.values()] for row in rows])}


def without_kind(kind: str) -> Callable[[Files], Files]:
    def cut(files: Files) -> Files:
        for file, column in (("taxa.csv", "id"), ("care.csv", "taxon"), ("evidence.csv", "taxon")):
            files = without(files, file, lambda row, c=column: row[c] == kind)
        return files

    return cut


def without_trait(trait: str) -> Callable[[Files], Files]:
    def cut(files: Files) -> Files:
        columns = (trait, f"{trait}_young")
        files = without(files, "traits.csv", lambda row: row["id"] == trait)
        files = without(files, "evidence.csv", lambda row: row["attribute"] in columns)
        files = with_cell(files, "traits.csv", "rays", "applies_when", "") if trait == "spots" else files
        for file in files.keys() & {"taxa.csv", "genera.csv"}:
            files = without_columns(files, file, columns)
        return files

    return cut


def _who(row: Mapping[str, str]) -> str:
    return row.get("id") or row.get("taxon") or row.get("care_group") or ""


def put_down(folder: Path, files: Mapping[str, bytes]) -> Path:
    """Write files into a folder, and return it."""
    folder.mkdir(exist_ok=True)
    for name, data in files.items():
        (folder / name).write_bytes(data)
    return folder


def source(key: str, title: str = "Invented note") -> str:
    """Return a BibTeX entry."""
    return f"\n@misc{{{key},\n  title = {{{title}}},\n}}\n"


def table_of(files: Mapping[str, bytes], name: str = "small") -> TraitTable:
    """Load the files of a folder."""
    found = Found(name)
    return table_from(parts_from(files, found), name, found)


def upgraded(files: Mapping[str, bytes], version: str = "2.0") -> Files:
    """Return the folder as a later version of the same table."""
    about = json.loads(files["datapackage.json"])
    about |= {"version": version, "created": "2021-01-01T00:00:00Z"}
    return {**files, "datapackage.json": (json.dumps(about, indent=2) + "\n").encode()}


SMALL = small_files()


def _with_genus() -> Files:
    """Return the folder with a genus that says something, and a kind that takes it over."""
    files = added(SMALL, "taxa.csv", id="nova", scientificName="Testia nova", genus="Testia")
    for column, text in (("tail", "hollow"), ("spots", "light")):
        claim = {"attribute": column, "value": text, "source": "SMITH", "class_": "read", "scope": "genus"}
        files = added(files, "evidence.csv", genus="Testia", **claim)
    return {**files, "genera.csv": b"genus,tail,spots\nTestia,hollow,light\n"}


WITH_GENUS = _with_genus()


# -- one's own table over it ----------------------------------------------------------------------------

CLAIM = Claim(evidence_class="memory", note="seen in the tank")
READ = {"source": "SMITH", "class_": "read", "scope": "species"}
FINS = Trait(
    "fins",
    "nominal",
    label="Fins",
    question="Fins?",
    states=("long", "short"),
    applies_when=("spots", ("light",)),
)


@cache
def _whole(shipped: tuple[tuple[str, bytes], ...]) -> TraitTable:
    return table_of(dict(shipped))


def whole(shipped: Files) -> TraitTable:
    return _whole(tuple(shipped.items()))


def laid(shipped: Files, own: Files) -> TraitTable:
    """Load an own table while this shipped one is there."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(folder, "_shipped", lambda: dict(shipped))
        return folder._opened(own, Path("mine"), {})[0]


def started(shipped: Files = SMALL) -> TraitTable:
    return laid(shipped, {**shipped, BASE: packed(shipped)})


def saved(table: TraitTable) -> Files:
    return files_of(table) | {BASE: packed(table.origin.base)}


def own_kind(table: TraitTable, taxon: str = "mine", **cells: str) -> TraitTable:
    return table.with_taxon(taxon, **{"scientificName": "Testia mine", **cells})


STATES = {
    "tail": ("straight", "hollow", "forked"),
    "spots": ("light", "dark", "none"),
    "teeth": ("few", "many"),
}
cells = st.one_of(
    *(st.tuples(st.just(c), st.sampled_from(["", "-", *s, "|".join(s[:2])])) for c, s in STATES.items()),
    st.tuples(st.sampled_from(["tail_young", "spots_young"]), st.sampled_from(["", "-"])),
    st.tuples(st.just("size"), st.integers(1, 900).map(str)),
    st.tuples(st.just("rays"), st.floats(0, 90).map(repr)),
    st.tuples(st.sampled_from(["vernacularName", "tradeCode"]), st.sampled_from(["", "T001", "'=x", "<b>&"])),
    st.tuples(st.just("careGroup"), st.sampled_from(["", "stones", "sand"])),
)
nasty = Claim(note="=a\n\"',-+@<é")
claims = st.sampled_from([None, CLAIM, Claim("SMITH", "p. 9"), Claim("JONES", scope="genus"), nasty])
steps = st.one_of(
    st.tuples(st.just("cell"), st.sampled_from(["alpha", "beta", "gamma", "delta", "omega"]), cells, claims),
    st.tuples(
        st.just("kind"), st.sampled_from(["mine", "other", "beta"]), st.lists(cells, max_size=4), claims
    ),
    st.tuples(st.just("out"), st.sampled_from(["beta", "delta", "mine"]), st.none(), st.none()),
    st.tuples(st.just("claim"), st.sampled_from(["alpha", "stones"]), st.none(), claims),
    st.tuples(st.just("trait"), st.just("fins"), st.sampled_from(["long", "short", "long|short"]), claims),
    st.tuples(st.just("source"), st.sampled_from(["MINE", "OTHER"]), st.none(), st.none()),
)


def step(table: TraitTable, what: str, who: str, given, claim: Claim | None) -> TraitTable:
    """Make one change, as far as it can be made to this table."""
    try:
        if what == "cell":
            column, value = given
            has_cell = column in STATES or column in ("size", "rays", "tail_young")
            return table.with_cell(who, column, value, claim if value and has_cell else None)
        if what == "kind":
            return own_kind(table, who, **dict(given))
        if what == "out":
            return table.without_taxon(who)
        if what == "claim":
            return table.with_evidence(who, "tail" if who == "alpha" else "flow", claim or CLAIM)
        if what == "trait":
            return table.with_trait(FINS, {"alpha": given}, {"alpha": claim} if claim else None)
        return table.with_source(source(who))
    except (TableError, UnknownName):
        return table


ZETA = {"id": "zeta", "scientificName": "Testia zeta", "genus": "Testia", "tradeCode": "T777", "size": "70"}
NEWER = added(with_cell(SMALL, "taxa.csv", "gamma", "scientificName", "Testia gammoides"), "taxa.csv", **ZETA)
NEWER = upgraded(added(NEWER, "evidence.csv", taxon="zeta", attribute="size", value="70", **READ))
