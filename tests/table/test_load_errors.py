"""Break the folder in every way: all problems at once, each on one line, and nothing is loaded."""

import csv
import io
import shutil
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path

import pandas as pd
import pytest

from idkey.errors import IdkeyError, Problem, TableError, TableWarning
from idkey.table import layout
from idkey.table.fields import HEADERS
from idkey.table.folder import load_table
from idkey.table.layout import shipped_folder
from idkey.table.rows import shipped_care_columns
from idkey.table.schema import Range, parse_care

TRAITS = Path(__file__).resolve().parents[2] / "traits"
SHEETS = ("taxa.csv", "traits.csv", "care.csv", "evidence.csv")
FILES = (*SHEETS, "sources.bib")
CARE = shipped_care_columns()
STONES = {"adult_length_mm": "80..120", "diet_type": "omnivore", "flow": "strong", "temperature_c": "24..28"}
STONES |= {"oxygen_mg_l": "6", "tank_volume_l": "100"}


def care_row(who: str, cells: dict[str, str]) -> str:
    return ",".join([who, *(cells.get(column.id, "") for column in CARE)]) + "\n"


# A folder as small as one can be, so that each test says in full what it breaks. It has no genera and does
# not name the genus of a claim, as tables of older versions do not.
SMALL = {
    "traits.csv": ",".join(HEADERS["traits.csv"])
    + """
size,Length,ceiling,mm,,,yes,How long?,,0.01,,5%,20,,no,yes,
tail,Tail,ordinal,,straight|hollow|forked,cut|hollow|forked,yes,What tail?,,0.1,,,10,,no,yes,
spots,Spots,nominal,,light|dark|none,light|dark|no spots,no,What spots?,,0.1,,,5,,no,yes,
rays,Rays,measure,count,,,no,How many?,,0.05,,3%,30,spots=light|dark,no,yes,
""",
    "taxa.csv": ",".join(HEADERS["taxa.csv"])
    + """,size,tail,spots,rays,tail_young
alpha,Genus alpha,,,Genus,SMITH,L001,stones,common,120,forked,light,7..8,straight
beta,Genus beta,,,Genus,,,stones,rare,90,straight|hollow,none,-,
""",
    "care.csv": care_row("care_group,taxon", {column.id: column.id for column in CARE})
    + care_row("stones,", STONES)
    + care_row("stones,beta", {"adult_length_mm": "80..90"}),
    "evidence.csv": """\
taxon,care_group,attribute,value,source,locator,class,scope,note
alpha,,size,120,SMITH,p. 1,read,species,
alpha,,tail,forked,SMITH,p. 1,read,species,
alpha,,tail_young,straight,SMITH,p. 2,read,species,
alpha,,spots,light,SMITH,p. 1,read,species,
alpha,,rays,7..8,SMITH,p. 1,read,species,
beta,,size,90,JONES,,secondary,species,
beta,,tail,straight|hollow,,,memory,genus,
beta,,spots,none,JONES,,secondary,species,
beta,,rays,-,JONES,,secondary,species,
beta,,adult_length_mm,80..90,JONES,,secondary,species,
,stones,adult_length_mm,80..120,SMITH,,read,group,
,stones,diet_type,omnivore,SMITH,,read,group,
,stones,flow,strong,,rule of thumb,common practice,group,
,stones,temperature_c,24..28,SMITH,,read,group,
,stones,oxygen_mg_l,6,SMITH,,read,group,
,stones,tank_volume_l,100,SMITH,,read,group,
""",
    "sources.bib": """\
@article{SMITH,
  author = {Smith, Ann and Roe, Bo},
  year = {2001},
  title = {Fish},
  journal = {Journal},
  volume = {1},
  number = {2},
  pages = {3--4},
  doi = {10.1000/1},
}

@misc{JONES,
  title = {Page on fish},
}
""",
}

Change = Callable[[Path], object]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A small good folder."""
    made = tmp_path / "fish"
    made.mkdir()
    for name, text in SMALL.items():
        (made / name).write_text(text, encoding="utf-8", newline="")
    return made


def problems(folder: Path) -> tuple[Problem, ...]:
    """Load, expect an error, and check what holds for each."""
    with pytest.raises(TableError) as caught:
        load_table(folder)
    error = caught.value
    assert isinstance(error, IdkeyError)
    lines, count = [t for t in str(error).splitlines() if not t.startswith("... and ")], len(error.problems)
    assert count
    assert lines[0].startswith("1 problem " if count == 1 else f"{count} problems ")
    assert "nothing was loaded" in lines[0]
    assert lines[1:] == [str(p) for p in error.problems][: len(lines) - 1]
    for problem in error.problems:
        assert len(str(problem).splitlines()) == 1
        assert problem.file in (*FILES, "care_columns.csv", "genera.csv", "datapackage.json")
        assert str(problem).startswith(problem.file)
        assert len(problem.right) > 10
    return error.problems


# -- ways to change a folder -----------------------------------------------------------------------------


def rewrite(name: str, change: Callable[[str], str]) -> Change:
    def changed(folder: Path) -> None:
        text = (folder / name).read_bytes().decode() if (folder / name).exists() else ""
        (folder / name).write_bytes(change(text).encode())

    return changed


def edit(name: str, change: Callable[[list[list[str]]], list[list[str]]]) -> Change:
    """Change the rows of a file."""

    def changed(text: str) -> str:
        out = io.StringIO()
        csv.writer(out, lineterminator="\n").writerows(
            change(list(csv.reader(io.StringIO(text, newline=""))))
        )
        return out.getvalue()

    return rewrite(name, changed)


def read(folder: Path, name: str) -> list[list[str]]:
    with (folder / name).open(encoding="utf-8", newline="") as file:
        return list(csv.reader(file))


def put(name: str, row: int, column: str, value: str) -> Change:
    """Write a cell; `row` as a spreadsheet counts."""

    def changed(rows: list[list[str]]) -> list[list[str]]:
        rows[row - 1][rows[0].index(column)] = value
        return rows

    return edit(name, changed)


def add(name: str, *lines: str) -> Change:
    return rewrite(name, lambda text: text + "".join(f"{line}\n" for line in lines))


def swap(name: str, old: str, new: str) -> Change:
    def swapped(text: str) -> str:
        assert old in text
        return text.replace(old, new, 1)

    return rewrite(name, swapped)


def column(name: str, header: str) -> Change:
    """Add a blank column."""
    return edit(name, lambda rows: [[*r, "" if i else header] for i, r in enumerate(rows)])


def line(name: str, row: int, change: Callable[[str], str]) -> Change:
    """Change a line as it is written; `row` as a spreadsheet counts."""

    def changed(text: str) -> str:
        lines = text.split("\n")
        return "\n".join((*lines[: row - 1], change(lines[row - 1]), *lines[row:]))

    return rewrite(name, changed)


def test_the_small_folder_is_good(folder):
    table = load_table(folder)
    assert repr(table) == "TraitTable: 2 taxa, 4 traits, 8 of 8 cells filled"
    assert table.name == "fish"
    assert table.sources["SMITH"].short == "Smith & Roe 2001"
    assert table.sources["SMITH"].full == "Smith, Ann, Roe, Bo. 2001. Fish. Journal 1(2) 3-4. doi:10.1000/1"
    assert table.sources["JONES"].short == "Page on fish"


# -- one wrong cell: the cell, what is written into it, and what would be right --------------------------

CELLS = {
    # taxa.csv: values
    "unknown state": ("taxa.csv", 2, "tail", "forkd", "did you mean 'forked'?"),
    "unknown state of young fish": ("taxa.csv", 2, "tail_young", "forkd", "did you mean 'forked'?"),
    "malformed range": ("taxa.csv", 2, "rays", "7-8", "lo..hi such as 12..16"),
    "backwards range": ("taxa.csv", 2, "rays", "8..7", "write 7..8"),
    "ceiling is a range": ("taxa.csv", 2, "size", "90..120", "the largest recorded length in mm"),
    # taxa.csv: names
    "taxon twice": ("taxa.csv", 3, "id", "alpha", "there already"),
    "taxon id with a blank": ("taxa.csv", 2, "id", "Alpha x", "lower-case letters"),
    "no scientific name": ("taxa.csv", 2, "scientificName", "", "fill this cell"),
    "unknown commonness": ("taxa.csv", 2, "commonness", "comon", "did you mean 'common'?"),
    "dangling care group": ("taxa.csv", 2, "careGroup", "stone", "did you mean 'stones'?"),
    "dangling name source": ("taxa.csv", 2, "nameAccordingTo", "SMITHE", "did you mean 'SMITH'?"),
    # traits.csv
    "trait twice": ("traits.csv", 4, "id", "tail", "there already"),
    "trait id in capitals": ("traits.csv", 2, "id", "Size", "lower-case letters"),
    "trait id kept for young fish": ("traits.csv", 4, "id", "spots_young", "_young is kept"),
    "unknown kind": ("traits.csv", 3, "kind", "ordnal", "did you mean 'ordinal'?"),
    "unknown unit": ("traits.csv", 2, "unit", "cm", "mm, count, % HL"),
    "no unit": ("traits.csv", 2, "unit", "", "needs a unit"),
    "one state": ("traits.csv", 4, "states", "light", "at least two different states"),
    "the same state twice": ("traits.csv", 4, "states", "light|dark|light", "different states"),
    "words are too few": ("traits.csv", 4, "state_words", "light|dark", "each of the 3 states"),
    "states of a number": ("traits.csv", 5, "states", "few|many", "has no states"),
    "no question": ("traits.csv", 2, "question", "", "in plain words"),
    "error is one": ("traits.csv", 2, "error", "1", "more than 0 and less than 1"),
    "error in per cent": ("traits.csv", 2, "error", "10%", "such as 0.1"),
    "error is blank": ("traits.csv", 2, "error", "", "such as 0.1"),
    "effort is a word": ("traits.csv", 2, "effort_s", "long", "seconds"),
    "spread is blank": ("traits.csv", 5, "spread", "", "measuring error"),
    "spread is negative": ("traits.csv", 5, "spread", "-3%", "measuring error"),
    "in_key is neither yes nor no": ("traits.csv", 2, "in_key", "1", "yes or no"),
    "applies_when without a state": ("traits.csv", 5, "applies_when", "spots", "trait=state|state"),
    "applies_when of no trait": ("traits.csv", 5, "applies_when", "dots=light", "trait=state|state"),
    "applies_when of itself": ("traits.csv", 3, "applies_when", "tail=forked", "another trait"),
    "applies_when of a number": ("traits.csv", 5, "applies_when", "size=120", "that has states"),
    "applies_when of no state": ("traits.csv", 5, "applies_when", "spots=lite", "did you mean 'light'?"),
    # care.csv
    "care range backwards": ("care.csv", 2, "temperature_c", "28..24", "write 24..28"),
    "care minimum is a range": ("care.csv", 2, "tank_volume_l", "100..200", "one number more than 0, in L"),
    "care minimum is nought": ("care.csv", 2, "oxygen_mg_l", "0", "one number more than 0, in mg/L"),
    "care state unknown": ("care.csv", 2, "flow", "torrent", "gentle, moderate, strong"),
    "care of a dangling taxon": ("care.csv", 3, "taxon", "bet", "did you mean 'beta'?"),
    "care of no group": ("care.csv", 3, "care_group", "", "name the care group"),
    # evidence.csv
    "evidence of a dangling taxon": ("evidence.csv", 2, "taxon", "alfa", "did you mean 'alpha'?"),
    "evidence of a dangling group": ("evidence.csv", 14, "care_group", "stone", "did you mean 'stones'?"),
    "evidence of nobody": ("evidence.csv", 2, "taxon", "", "one of taxon, genus and care_group"),
    "evidence of both": ("evidence.csv", 12, "taxon", "alpha", "one of taxon, genus and care_group"),
    "evidence of no column": ("evidence.csv", 3, "attribute", "tale", "did you mean 'tail'?"),
    "evidence of a blank column": ("evidence.csv", 3, "attribute", "", "name the trait column"),
    "dangling source": ("evidence.csv", 2, "source", "SMYTH", "did you mean 'SMITH'?"),
    "no source for what was read": ("evidence.csv", 2, "source", "", "class read needs a key"),
    "no source for what was told": ("evidence.csv", 7, "source", "", "class secondary needs a key"),
    "unknown class": ("evidence.csv", 2, "class", "reed", "did you mean 'read'?"),
    "unknown scope": ("evidence.csv", 2, "scope", "specie", "did you mean 'species'?"),
}


@pytest.mark.parametrize("case", CELLS.values(), ids=CELLS)
def test_one_wrong_cell(folder, case):
    *_, right = file, row, column, value, _ = case
    put(file, row, column, value)(folder)
    found = problems(folder)
    (problem,) = [p for p in found if (p.file, p.column, p.value) == (file, column, value)]
    assert problem.row.split(" ")[0] == str(row)
    assert right in problem.right
    assert f"row {row}" in str(problem)
    assert repr(value) in str(problem)
    # Only these stand in more than one place, so that more than one line is to be said.
    assert len(found) == 1 or column in ("id", "taxon", "attribute", "care_group", "states")


# -- one thing wrong in rows, headers and whole files ----------------------------------------------------

HEADS = {name: SMALL[name].split("\n")[0].split(",") for name in SHEETS}
NO_JSON = ["{", '{"a": NaN}', '{"a": 1e999}', '{"a": "\\ud800"}', '{"a": ' + "9" * 5000 + "}", "[" * 100_000]


def wrong_rows() -> Iterator[tuple[Change, str, str]]:
    forkd = "(straight, hollow, forked); did you mean 'forked'?"
    yield (
        put("taxa.csv", 3, "tail", "forkd"),
        "taxa.csv, row 3 (beta), tail: 'forkd': use a state of tail",
        forkd,
    )
    for *who, place in (
        ("beta", "", "tail", "taxa.csv, row 3 (beta), tail: 'straight|hollow'"),
        ("alpha", "", "tail_young", "taxa.csv, row 2 (alpha), tail_young: 'straight'"),
        ("", "stones", "adult_length_mm", "care.csv, row 2 (stones), adult_length_mm: '80..120'"),
        ("beta", "", "adult_length_mm", "care.csv, row 3 (beta), adult_length_mm: '80..90'"),
    ):
        change = edit("evidence.csv", lambda rows, who=who: [r for r in rows if r[:3] != who])
        yield change, place, "add one or blank the cell"
    right = "fill the cell or delete this row"
    yield put("taxa.csv", 2, "rays", ""), "evidence.csv, row 6 (alpha), rays: '7..8': ", right
    for claim in (
        "beta,,tail_young,straight,JONES,,secondary,species,",
        ",stones,breeding,In caves.,SMITH,,read,group,",
        "alpha,,breeding,In caves.,SMITH,,read,species,",  # alpha has no row in care.csv at all
        ",stones,tail,forked,SMITH,,read,group,",  # a group has no tail
    ):
        yield add("evidence.csv", claim), "evidence.csv, row 18 ", right
    for *who, row in (
        ("stones,", "4 (stones)"),
        ("stones,beta", "4 (beta)"),
        ("sand,", "sand,beta", "5 (beta)"),
    ):
        change = add("care.csv", *(w + "," * len(CARE) for w in who))
        yield change, f"care.csv, row {row}, care_group: ", "has a row already"
    for name, who in (("taxa.csv", "alpha"), ("evidence.csv", "alpha"), ("care.csv", "stones")):
        for n, change in ((1, lambda t: f"{t},more"), (-1, lambda t: t.rpartition(",")[0])):
            place = f"{name}, row 2 ({who}): '{len(HEADS[name]) + n}'"
            yield line(name, 2, change), place, f"the header has {len(HEADS[name])}"
    change = swap("taxa.csv", "alpha,Genus alpha,,,", 'alpha,Genus alpha,,"1\n2\r\n3",')
    yield lambda f: (change(f), swap("taxa.csv", "straight|", "frk|")(f)), "taxa.csv, row 3 (beta), tail", ""


def wrong_headers() -> Iterator[tuple[Change, str, str]]:
    for name, gone in zip(SHEETS, ("genus", "error", "flow", "class"), strict=True):
        at, other = HEADS[name].index(gone), HEADS[name][1]
        change = edit(name, lambda rows, at=at: [r[:at] + r[at + 1 :] for r in rows])
        yield change, f"{name}, row 1, {gone}", "missing from the"
        yield edit(name, lambda rows: [[*r, r[1]] for r in rows]), f"{name}, row 1, {other}: ", "two columns"
        yield column(name, "colour"), f"{name}, row 1, colour: ", "use a"
    yield column("taxa.csv", ""), "taxa.csv, row 1, column 15: ", ""
    yield column("taxa.csv", "a\nb"), "taxa.csv, row 1, a b: ", ""
    yield swap("taxa.csv", "tail_young", "tail\x00young"), "taxa.csv, row 1, column 14: ", ""
    change = edit("taxa.csv", lambda rows: [r + ["x"] * layout.MOST_COLUMNS for r in rows])
    yield change, "taxa.csv, row 1: '1014': ", "1000 are the most"


def wrong_files() -> Iterator[tuple[Change, str, str]]:
    for name in SHEETS:
        yield line(name, 3, lambda t: t.replace(",", ',"', 1)), f"{name}, row 3", "unclosed quotation"
        yield rewrite(name, lambda _: ""), f"{name}, row 1", "the file is empty; the first row holds"
    change = rewrite("care.csv", lambda text: text.replace(",", ";"))
    yield change, "care.csv, row 1: 'care_group;taxon;", "save as CSV with commas"
    names = [name for name in SHEETS if name != "traits.csv"]
    yield lambda f: [edit(n, lambda rows: rows[:1])(f) for n in names], "taxa.csv, row 2", "at least one"
    for n in (layout.MOST_CELL + 1, 200_000):
        yield put("evidence.csv", 3, "note", "x" * n), "evidence.csv, row 3", str(layout.MOST_CELL)
    for old, new, place, right in (
        ("title = {Page on fish}", "title = {Page on fish", "12: '@misc{JONES,'", "brace"),
        ("  year = {2001}", "year=1,\n  year = {2001}", "1: '@article{SMITH,'", "not a BibTeX entry"),
        ("@misc{J", "@misc{SMITH,\n  a = {b},\n}\n@misc{J", "12: '@misc{SMITH,'", "a key used twice"),
        ("}\n\n@misc", "}\n@misc{,\n  a = {b},\n}\n\n@misc", "11: ''", "no key"),
        ("Page on fish", "x" * (layout.MOST_CELL + 1), "12: 'title'", "shorten it"),
    ):
        yield swap("sources.bib", old, new), f"sources.bib, row {place}: ", right
    for more, right in (
        ("@misc{" * (layout.MOST_ENTRIES + 1), "entries"),
        ("@misc{A, " + "x = y, " * (layout.MOST_FIELDS + 1) + "}", "fields"),
        ("@String{l = {" + "x" * layout.MOST_SHORT_NAME + "}}", "shorten"),
    ):
        yield add("sources.bib", more), "sources.bib: ", right
    deep = '{"a": ' + "[" * 50_000 + "]" * 50_000 + "}"
    for right, texts in {
        "mend or delete": [*NO_JSON, deep],
        "a JSON object": ["[1]"],
        "as text": ['{"version": 2}', '{"created": ["2026"]}'],
    }.items():
        for text in texts:
            yield add("datapackage.json", text), "datapackage.json", right


@pytest.mark.parametrize(("change", "place", "right"), [*wrong_rows(), *wrong_headers(), *wrong_files()])
def test_one_thing_wrong_is_one_problem(folder, change, place, right):
    change(folder)
    (found,) = problems(folder)
    assert str(found).startswith(place)
    assert right in found.right
    assert len(str(found)) < 300 or "the first row holds" in right


STATES = "|".join(f"s{i}" for i in range(layout.MOST_STATES + 1))
MANY = swap("traits.csv", "light|dark|none,light|dark|no spots", f"{STATES},{STATES}")
LONG = "b" * (layout.MOST_NAME + 1)


@pytest.mark.parametrize(
    ("change", "file", "column", "right"),
    [
        (swap("taxa.csv", ",rays,", ",ray,"), "taxa.csv", "ray", "did you mean 'rays'?"),
        (swap("taxa.csv", ",rays,", ",ray,"), "taxa.csv", "rays", "has no column here"),
        (swap("taxa.csv", "tail_young", "tale_young"), "taxa.csv", "tale_young", ""),
        (put("care.csv", 2, "taxon", "alpha"), "taxa.csv", "careGroup", ""),
        (MANY, "traits.csv", "states", f"at most {layout.MOST_STATES} states"),
        (put("traits.csv", 4, "states", "light|dark|-"), "traits.csv", "states", "another name"),
        (put("taxa.csv", 3, "id", LONG), "taxa.csv", "id", "an id is"),
        (swap("traits.csv", "\nrays,", "\ngenus,"), "", "genus", "rename the trait"),
        (edit("traits.csv", lambda rows: rows[:1]), "traits.csv", "id", "at least one"),
    ],
)
def test_what_is_wrong_in_several_places_is_told_where_it_was_written(folder, change, file, column, right):
    change(folder)
    assert any(p.column == column and file in p.file and right in p.right for p in problems(folder))


@pytest.mark.parametrize("name", FILES)
@pytest.mark.parametrize("sign", ["\x00", "\x07", "\x1b", "\x7f"])
def test_control_characters_are_refused_with_their_place(folder, name, sign):
    line(name, 2, lambda text: text.replace("e", f"e{sign}", 1))(folder)
    (found,) = [p for p in problems(folder) if "control character" in p.right]
    assert (found.file, found.row.split(" ")[0]) == (name, "2")
    assert sign not in str(found)


@pytest.mark.parametrize("name", FILES)
@pytest.mark.parametrize("how", ["missing from this folder", "cannot be read", "UTF-8"])
def test_a_file_that_is_not_there_or_cannot_be_read(folder, name, how):
    text = (folder / name).read_bytes()
    (folder / name).unlink()
    if how == "cannot be read":
        (folder / name).mkdir()
    elif how == "UTF-8":
        (folder / name).write_bytes(text.rstrip(b"\n") + "é\n".encode("latin-1"))
    (found,) = problems(folder)
    assert found.file == name
    assert how in found.right
    assert found.value == "fish" or how != "missing from this folder"


@pytest.mark.parametrize("path", [5, ["traits"]])
def test_what_is_no_path(path):
    with pytest.raises(IdkeyError, match="write the path of a folder"):
        load_table(path)


# -- limits ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("limit", "most", "where", "right"),
    [
        ("MOST_BYTES", 600, {("evidence.csv", "")}, "larger than 600"),
        ("MOST_SOURCES_BYTES", 100, {("sources.bib", "")}, "larger than 100 bytes"),
        ("MOST_ROWS", 1, {(name, "3") for name in SHEETS}, "than 1 rows"),
        ("MOST_CELLS", 100, {("evidence.csv", "13")}, "more than 11 rows of 9 columns"),
    ],
)
def test_limits(folder, monkeypatch, limit, most, where, right):
    assert 50 * max(f.stat().st_size for f in TRAITS.iterdir()) < layout.MOST_BYTES
    monkeypatch.setattr(layout, limit, most)
    assert {(p.file, p.row) for p in problems(folder) if right in p.right} == where


def test_where_everything_is_wrong_the_list_ends(folder):
    wrong = ["alfa", "", "sise", "1", "X", "", "reed", "specie", ""]
    edit("evidence.csv", lambda rows: [rows[0], *[wrong] * 10_000])(folder)
    found = problems(folder)
    assert len(found) == layout.MOST_PROBLEMS + 1
    assert "there is more wrong from here on" in found[-1].right


# -- what is no problem ----------------------------------------------------------------------------------


def test_blank_rows_are_passed_over_but_counted(folder):
    swap("taxa.csv", "beta,", "\n,,,,,,,,,,,,,\nbeta,")(folder)
    assert load_table(folder).ids == ("alpha", "beta")
    put("taxa.csv", 5, "tail", "forkd")(folder)
    (found,) = problems(folder)
    assert found.row == "5 (beta)"


def test_utf_8_with_a_mark_and_the_longest_cell_are_good_and_only_line_breaks_split_a_row(folder):
    # Python takes these signs for line breaks, too.
    note = "from\u2028the\x85web\x0bor\x0cnot\x1c."
    put("evidence.csv", 3, "note", note + "x" * (layout.MOST_CELL - len(note)))(folder)
    for name in FILES:
        text = (folder / name).read_bytes().decode()
        (folder / name).write_bytes(text.replace("\n", "\r\n").encode("utf-8-sig"))
    table = load_table(folder)
    assert len(table) == 2
    assert table.evidence["note"].iloc[1].startswith(note)
    assert len(table.evidence["note"].iloc[1]) == layout.MOST_CELL


def test_what_is_said_of_the_whole_is_kept_in_order_without_the_files(folder):
    said = '{"b": 1.5, "resources": [{"name": "x"}], "a": ["é", null], "version": "7"}'
    (folder / "datapackage.json").write_text(said, encoding="utf-8")
    table = load_table(folder)
    assert list(table.about.items()) == [("b", 1.5), ("a", ["é", None]), ("version", "7")]
    assert table.version == "7"


# -- genera, columns of care, and files of an older table ------------------------------------------------


@pytest.fixture
def with_genera(folder: Path) -> Path:
    """The small folder, with a genus that says something, and a kind that takes it over."""
    (folder / "genera.csv").write_text("genus,tail,spots\nGenus,hollow,light\n", encoding="utf-8")
    edit("evidence.csv", lambda rows: [[r[0], "" if i else "genus", *r[1:]] for i, r in enumerate(rows)])(
        folder
    )
    claims = (f",Genus,,{cell},SMITH,,read,genus," for cell in ("tail,hollow", "spots,light"))
    add("evidence.csv", *claims)(folder)
    add("taxa.csv", "gamma,Genus gamma,,,Genus,,,,,,,,,")(folder)
    return folder


def test_a_blank_cell_is_what_its_genus_says(with_genera):
    table, columns = load_table(with_genera), ["size", "tail", "spots", "rays"]
    assert table.to_frame().loc["gamma", columns].tolist() == ["", "hollow", "light", ""]
    assert table.to_frame(own=True).loc["gamma", columns].tolist() == [""] * 4
    claims = table.claims("gamma", "tail")[["taxon", "genus", "source"]]
    assert claims.to_numpy().tolist() == [["gamma", "Genus", "SMITH"]]
    # An own cell wins, and ? is not known in spite of the genus.
    assert table.to_frame().loc["beta", "spots"] == "none"
    put("taxa.csv", 4, "tail", "?")(with_genera)
    put("taxa.csv", 4, "spots", "none")(with_genera)
    add("evidence.csv", "gamma,,,spots,none,JONES,,secondary,species,")(with_genera)
    table = load_table(with_genera)
    assert table.cell("gamma", "tail") is None
    assert len(table.claims("gamma", "tail")) == 0
    # What has no meaning for a kind without spots does not apply, by the claim on its spots.
    assert table.to_frame().loc["gamma", "rays"] == "-"
    assert table.claims("gamma", "rays")[["value", "source"]].to_numpy().tolist() == [["-", "JONES"]]


@pytest.mark.parametrize(
    ("file", "old", "new", "place", "right"),
    [
        ("genera.csv", "hollow", "holow", ("2 (Genus)", "tail"), "did you mean 'hollow'"),
        ("genera.csv", "hollow", "?", ("2 (Genus)", "tail"), "leave it blank"),
        ("genera.csv", "tail", "tale", ("1", "tale"), "did you mean 'tail'"),
        ("genera.csv", "Genus,", ",", ("2", "genus"), "name the genus"),
        ("genera.csv", "Genus,", "Genus,hollow,\nGenus,", ("3 (Genus)", "genus"), "there already"),
        ("evidence.csv", ",Genus,", ",Genius,", ("18 (Genius)", "genus"), "did you mean 'Genus'"),
        ("evidence.csv", ",Genus,,tail", "alpha,Genus,,tail", ("18 (alpha)", "taxon"), "fill one of"),
        ("evidence.csv", ",Genus,,tail", ",Genus,,rays", ("18 (Genus)", "rays"), "evidence for a blank cell"),
        ("taxa.csv", ",,,Genus,,,,,,,,,", ",,,,,,,,,,,,", ("4 (gamma)", "genus"), "fill this cell"),
    ],
)
def test_what_can_be_wrong_with_a_genus(with_genera, file, old, new, place, right):
    swap(file, old, new)(with_genera)
    found = {(p.row, p.column): p.right for p in problems(with_genera) if p.file == file}
    assert right in found[place]


@pytest.mark.parametrize(
    ("column", "value", "right"),
    [
        ("kind", "rnage", "did you mean 'range'"),
        ("label", "", "name the column"),
        ("combine", "text", "it is overlap or span or list"),
        ("tank_rule", "read", "it is within or room"),
        ("vital", "maybe", "yes or no"),
        ("states", "a|b", "a column of kind states has states"),
        ("least_width", "-1", "a number more than 0"),
        ("id", "Length", "lower-case letters"),
    ],
)
def test_what_can_be_wrong_with_a_column_of_care(folder, column, value, right):
    shutil.copyfile(TRAITS / "care_columns.csv", folder / "care_columns.csv")
    assert load_table(folder).care_columns == CARE
    put("care_columns.csv", 2, column, value)(folder)
    found = {(p.file, p.row.split(" ")[0], p.column): p.right for p in problems(folder)}
    assert right in found["care_columns.csv", "2", column]


def test_an_older_folder_has_the_shipped_columns_of_care_and_is_saved_with_them(folder, tmp_path):
    table = load_table(folder)
    assert table.care_columns == CARE
    assert not table.genera
    again = table.save(tmp_path / "new")
    assert {p.name for p in (tmp_path / "new").iterdir()} >= {"care_columns.csv"}
    assert not (tmp_path / "new" / "genera.csv").exists()
    pd.testing.assert_frame_equal(again.to_frame(own=True), table.to_frame(own=True))
    assert read(tmp_path / "new", "evidence.csv")[0][:3] == ["taxon", "genus", "care_group"]


# -- cells and their claims ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("file", "row", "column", "value", "told"),
    [
        # A cell that its claim is not within, and one that says more than its claims.
        ("taxa.csv", 2, "tail", "hollow", "evidence.csv, row 3 (alpha), tail: 'forked': taxa.csv has hollow"),
        ("taxa.csv", 2, "tail", "hollow|forked", "taxa.csv, row 2 (alpha), tail: 'hollow|forked': its"),
        ("taxa.csv", 2, "rays", "7..9", "taxa.csv, row 2 (alpha), rays: '7..9': its claims have only 7..8"),
        ("taxa.csv", 3, "size", "80", "evidence.csv, row 7 (beta), size: '90': taxa.csv has 80; mend one of"),
        ("care.csv", 2, "temperature_c", "24..29", "care.csv, row 2 (stones), temperature_c: '24..29': its"),
        ("care.csv", 2, "temperature_c", "25..27", ""),
        ("care.csv", 2, "flow", "moderate|strong", "care.csv, row 2 (stones), flow: 'moderate|strong': its"),
        # Free words, and what is said of the genus.
        ("evidence.csv", 3, "value", "deeply forked", ""),
        ("taxa.csv", 3, "tail", "forked", ""),
    ],
)
def test_a_cell_that_disagrees_with_its_claims_is_told_and_loaded(folder, file, row, column, value, told):
    put(file, row, column, value)(folder)
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        table = load_table(folder)
    assert len(table) == 2
    assert [str(w.message)[: len(told)] for w in caught] == ([told] if told else [])
    assert all(w.category is TableWarning and len(str(w.message).splitlines()) == 1 for w in caught)


@pytest.mark.filterwarnings("error")
def test_a_claim_that_is_set_aside_is_no_disagreement(folder):
    put("taxa.csv", 2, "tail", "hollow")(folder)
    put("evidence.csv", 3, "note", "Not followed: a slip of the printer")(folder)
    add("evidence.csv", "alpha,,tail,hollow,JONES,,secondary,species,")(folder)
    load_table(folder)


@pytest.mark.filterwarnings("ignore::idkey.errors.TableWarning")
def test_a_genus_may_have_several_states_and_one_that_disagrees_with_its_claims_is_told(with_genera):
    swap("genera.csv", "hollow,light", "forked,light|dark")(with_genera)
    said = r"evidence.csv, row 18 \(Genus\), tail: 'hollow': genera.csv has forked"
    with pytest.warns(TableWarning, match=said):
        table = load_table(with_genera)
    assert table.to_frame().loc["gamma", "spots"] == "light|dark"


# -- many at once ----------------------------------------------------------------------------------------


def test_ten_breakages_give_ten_problems_and_nothing_is_loaded(folder):
    ten = ["unknown unit", "unknown kind", "in_key is neither yes nor no", "spread is blank"]
    ten += ["unknown commonness", "dangling name source", "care state unknown", "unknown class"]
    ten += ["no source for what was told"]
    places = [("sources.bib", "15", "")]
    add("sources.bib", "@misc{SMITH,\n}")(folder)
    for file, row, column, value, _ in (CELLS[name] for name in ten):
        put(file, row, column, value)(folder)
        places.append((file, str(row), column))
    assert sorted((p.file, p.row.split(" ")[0], p.column) for p in problems(folder)) == sorted(places)


def test_a_file_that_cannot_be_read_does_not_hide_what_is_wrong_in_the_others(folder):
    (folder / "care.csv").unlink()
    swap("sources.bib", "title = {Page on fish}", "title = {Page on fish")(folder)
    put("taxa.csv", 2, "spots", "lite")(folder)
    put("evidence.csv", 9, "class", "heard")(folder)
    put("traits.csv", 4, "core", "maybe")(folder)
    files = ["care.csv", "sources.bib", "traits.csv", "taxa.csv", "evidence.csv"]
    assert [p.file for p in problems(folder)] == files


def test_long_lists_are_cut_in_the_message_only(folder):
    add("evidence.csv", *["alpha,,size,1,X,,read,species,"] * 60)(folder)
    with pytest.raises(TableError) as caught:
        load_table(folder)
    assert len(caught.value.problems) == 60
    assert str(caught.value).splitlines()[-1] == "... and 20 more"


def test_an_installation_without_its_table_says_so(tmp_path, monkeypatch):
    monkeypatch.setattr(layout, "__file__", str(tmp_path / "idkey" / "table" / "layout.py"))
    with pytest.raises(IdkeyError, match=r"the shipped trait table is missing; install the package again"):
        shipped_folder()


def test_care_cells_are_read_as_their_kind():
    by_id = {a.id: a for a in CARE}
    assert parse_care(by_id["ph"], " 5.8..7 ") == Range(5.8, 7.0)
    assert parse_care(by_id["ph"], "6") == Range(6.0, 6.0)
    assert parse_care(by_id["tank_volume_l"], "120") == 120.0
    assert parse_care(by_id["flow"], "strong|gentle") == ("gentle", "strong")
    assert parse_care(by_id["breeding"], "In caves.") == "In caves."
    assert parse_care(by_id["breeding"], "  ") is None
