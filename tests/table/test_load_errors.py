"""Break the folder in every way: all problems at once, each on one line, and nothing is loaded."""

import csv
import io
import warnings
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import pandas as pd
import pytest

from idkey.errors import IdkeyError, Problem, TableError, TableWarning
from idkey.table import layout
from idkey.table.folder import load_table
from idkey.table.layout import shipped_folder
from idkey.table.rows import shipped_care_columns
from idkey.table.schema import Range, parse_care

from .small_folder import SMALL, WITH_GENUS, Files, added, csv_of, put_down, table_of, with_cell

SHEETS = ("taxa.csv", "traits.csv", "care.csv", "evidence.csv")
FILES = (*SHEETS, "sources.bib")
CARE = shipped_care_columns()
TANK = {"attribute": "tank_volume_l", "value": "100", "source": "SMITH", "class_": "read", "scope": "group"}
FOLDER = {name: SMALL[name] for name in FILES}
FOLDER = with_cell(FOLDER, "care.csv", "stones", "tank_volume_l", "100")
FOLDER = added(FOLDER, "evidence.csv", care_group="stones", **TANK)


def problems(files: Files) -> tuple[Problem, ...]:
    """Load, expect an error, and check what holds for each."""
    with pytest.raises(TableError) as caught:
        table_of(files, "fish")
    error = caught.value
    count, (first, *lines) = len(error.problems), str(error).splitlines()
    assert first == f"{count} problem{'s' * (count > 1)} in the table; nothing was loaded"
    assert lines[:40] == [str(p) for p in error.problems[:40]]
    for problem in error.problems:
        assert len(str(problem).splitlines()) == 1
        assert problem.file in (*FILES, "care_columns.csv", "genera.csv", "datapackage.json")
        assert str(problem).startswith(problem.file)
        assert len(problem.right) > 10
    return error.problems


def on_disk(tmp_path: Path, files: Files = FOLDER) -> Path:
    return put_down(tmp_path / "fish", files)


# -- ways to change a folder; rows are counted as a spreadsheet does ---------------------------------------


def swap(name: str, old: str, new: str, files: Files = FOLDER) -> Files:
    assert old.encode() in files[name]
    return {**files, name: files[name].replace(old.encode(), new.encode(), 1)}


def edit(name: str, change: Callable[[list[list[str]]], list[list[str]]], files: Files = FOLDER) -> Files:
    """Change the rows of a file."""
    header, *rows = change(list(csv.reader(io.StringIO(files[name].decode(), newline=""))))
    return {**files, name: csv_of(header, rows)}


def put(name: str, row: int, column: str, value: str, files: Files = FOLDER) -> Files:
    def changed(rows: list[list[str]]) -> list[list[str]]:
        rows[row - 1][rows[0].index(column)] = value
        return rows

    return edit(name, changed, files)


def add(name: str, *lines: str, files: Files = FOLDER) -> Files:
    return {**files, name: files[name] + "".join(f"{line}\n" for line in lines).encode()}


def column(name: str, header: str) -> Files:
    """Add a blank column."""
    return edit(name, lambda rows: [[*r, "" if i else header] for i, r in enumerate(rows)])


def line(name: str, row: int, change: Callable[[str], str]) -> Files:
    """Change a line as it is written."""
    lines = FOLDER[name].decode().split("\n")
    return {**FOLDER, name: "\n".join([*lines[: row - 1], change(lines[row - 1]), *lines[row:]]).encode()}


def test_the_small_folder_is_good(tmp_path):
    more = "volume = {1},\n  number = {2},\n  pages = {3--4},\n  doi"
    table = load_table(on_disk(tmp_path, swap("sources.bib", "doi", more)))
    assert repr(table) == "TraitTable: 5 taxa, 5 traits, 19 of 25 cells filled"
    assert table.name == "fish"
    smith = table.sources["SMITH"]
    assert smith.short == "Smith & Roe 2001"
    assert smith.full == "Smith, Ann, Roe, Bo. 2001. Invented fish. Journal 1(2) 3-4. doi:10.1000/1"
    assert table.sources["JONES"].short == "Invented page on fish"


# -- one wrong cell: where it is, what is written into it, and what would be right -----------------------

# These are in different places, and are tried alone and all at once.
NINE = [
    ("traits.csv", 2, "unit", "cm", "mm, count, % HL"),
    ("traits.csv", 3, "kind", "ordnal", "did you mean 'ordinal'?"),
    ("traits.csv", 2, "in_key", "1", "yes or no"),
    ("traits.csv", 5, "spread", "", "measuring error"),
    ("taxa.csv", 2, "commonness", "comon", "did you mean 'common'?"),
    ("taxa.csv", 2, "nameAccordingTo", "SMITHE", "did you mean 'SMITH'?"),
    ("care.csv", 2, "flow", "torrent", "gentle, moderate, strong"),
    ("evidence.csv", 2, "class", "reed", "did you mean 'read'?"),
    ("evidence.csv", 23, "source", "", "class secondary needs a key"),
]


@pytest.mark.parametrize(
    ("file", "row", "column", "value", "right"),
    [
        *NINE,
        ("taxa.csv", 2, "rays", "8..7", "write 7..8"),
        ("taxa.csv", 3, "id", "alpha", "there already"),
        ("taxa.csv", 2, "id", "Alpha x", "lower-case letters"),
        ("taxa.csv", 2, "scientificName", "", "fill this cell"),
        ("traits.csv", 4, "id", "spots_young", "_young is kept"),
        ("traits.csv", 2, "unit", "", "needs a unit"),
        ("traits.csv", 4, "states", "light", "at least two different states"),
        ("traits.csv", 4, "states", "light|dark|light", "different states"),
        ("traits.csv", 4, "state_words", "light|dark", "each of the 3 states"),
        ("traits.csv", 5, "states", "few|many", "has no states"),
        ("traits.csv", 2, "question", "", "in plain words"),
        ("traits.csv", 2, "error", "1", "more than 0 and less than 1"),
        ("traits.csv", 2, "effort_s", "long", "seconds"),
        ("traits.csv", 5, "applies_when", "spots", "trait=state|state"),
        ("traits.csv", 3, "applies_when", "tail=forked", "another trait"),
        ("traits.csv", 5, "applies_when", "spots=lite", "did you mean 'light'?"),
        ("care.csv", 2, "ph", "7..6", "write 6..7"),
        ("care.csv", 2, "tank_volume_l", "100..200", "one number more than 0, in L"),
        ("care.csv", 4, "care_group", "", "name the care group"),
        ("evidence.csv", 2, "taxon", "alfa", "did you mean 'alpha'?"),
        ("evidence.csv", 2, "taxon", "", "one of taxon, genus and care_group"),
        ("evidence.csv", 24, "taxon", "alpha", "one of taxon, genus and care_group"),
        ("evidence.csv", 3, "attribute", "tale", "did you mean 'tail'?"),
        ("evidence.csv", 3, "attribute", "", "name the trait column"),
        ("evidence.csv", 2, "source", "SMYTH", "did you mean 'SMITH'?"),
        ("care_columns.csv", 2, "label", "", "name the column"),
        ("care_columns.csv", 2, "combine", "text", "it is overlap or span or list"),
        ("care_columns.csv", 2, "tank_rule", "read", "it is within or room"),
        ("care_columns.csv", 2, "states", "a|b", "a column of kind states has states"),
        ("care_columns.csv", 2, "least_width", "-1", "a number more than 0"),
    ],
)
def test_one_wrong_cell(file, row, column, value, right):
    found = problems(put(file, row, column, value, SMALL if file == "care_columns.csv" else FOLDER))
    (problem,) = [p for p in found if (p.file, p.column, p.value) == (file, column, value)]
    assert problem.row.split(" ")[0] == str(row)
    assert right in problem.right
    assert f"row {row}" in str(problem)
    assert repr(value) in str(problem)
    # Only these stand in more than one place, so that more than one line is to be said.
    assert len(found) == 1 or column in ("id", "taxon", "attribute", "care_group", "states")


# -- one thing wrong in rows, headers and whole files ----------------------------------------------------

HEADS = {name: FOLDER[name].decode().split("\n")[0].split(",") for name in SHEETS}


def wrong_rows() -> Iterator[tuple[Files, str, str]]:
    forkd = "(straight, hollow, forked); did you mean 'forked'?"
    yield put("taxa.csv", 3, "tail", "forkd"), "taxa.csv, row 3 (beta), tail: 'forkd': use a state of", forkd
    for who, column, place in (
        ("beta", "tail", "taxa.csv, row 3 (beta), tail: 'straight|hollow'"),
        ("alpha", "tail_young", "taxa.csv, row 2 (alpha), tail_young: 'straight'"),
        ("stones", "adult_length_mm", "care.csv, row 2 (stones), adult_length_mm: '80..120'"),
        ("beta", "adult_length_mm", "care.csv, row 4 (beta), adult_length_mm: '80..90'"),
    ):
        of = who, column
        files = edit("evidence.csv", lambda rows, of=of: [r for r in rows if (r[0] or r[2], r[3]) != of])
        yield files, place, "add one or blank the cell"
    right = "fill the cell or delete this row"
    yield put("taxa.csv", 2, "rays", ""), "evidence.csv, row 5 (alpha), rays: '7..8': ", right
    for claim in (
        "beta,,,tail_young,straight,JONES,,secondary,species,",
        ",,stones,breeding,In caves.,SMITH,,read,group,",
        "alpha,,,breeding,In caves.,SMITH,,read,species,",  # alpha has no row in care.csv at all
        ",,stones,tail,forked,SMITH,,read,group,",  # a group has no tail
    ):
        yield add("evidence.csv", claim), "evidence.csv, row 33 ", right
    for *who, row in (("stones,", "5 (stones)"), ("stones,beta", "5 (beta)"), ("x,", "x,beta", "6 (beta)")):
        files = add("care.csv", *(w + "," * len(CARE) for w in who))
        yield files, f"care.csv, row {row}, care_group: ", "has a row already"
    for name, who, more in (("taxa.csv", "alpha", 1), ("evidence.csv", "alpha", -1)):
        files = line(name, 2, lambda t, more=more: f"{t},x" if more > 0 else t.rpartition(",")[0])
        right = f"the header has {len(HEADS[name])}"
        yield files, f"{name}, row 2 ({who}): '{len(HEADS[name]) + more}'", right
    files = swap("taxa.csv", ",Alpha,", ',"1\n2\r\n3",', swap("taxa.csv", "straight|", "frk|"))
    yield files, "taxa.csv, row 3 (beta), tail", ""


def wrong_headers() -> Iterator[tuple[Files, str, str]]:
    for name, gone in zip(SHEETS, ("genus", "error", "flow", "class"), strict=True):
        at, other = HEADS[name].index(gone), HEADS[name][3]
        files = edit(name, lambda rows, at=at: [r[:at] + r[at + 1 :] for r in rows])
        yield files, f"{name}, row 1, {gone}", "missing from the"
        yield edit(name, lambda rows: [[*r, r[3]] for r in rows]), f"{name}, row 1, {other}: ", "two columns"
        yield column(name, "colour"), f"{name}, row 1, colour: ", "use a"
    yield column("taxa.csv", ""), "taxa.csv, row 1, column 16: ", ""
    yield column("taxa.csv", "a\nb"), "taxa.csv, row 1, a b: ", ""
    yield swap("taxa.csv", "tail_young", "tail\x00young"), "taxa.csv, row 1, column 15: ", ""
    files = edit("taxa.csv", lambda rows: [r + ["x"] * layout.MOST_COLUMNS for r in rows])
    yield files, "taxa.csv, row 1: '1015': ", "1000 are the most"


def wrong_files() -> Iterator[tuple[Files, str, str]]:
    for name in SHEETS:
        yield line(name, 3, lambda t: t.replace(",", ',"', 1)), f"{name}, row 3", "unclosed quotation"
        yield {**FOLDER, name: b""}, f"{name}, row 1", "the file is empty; the first row holds"
    files = {**FOLDER, "care.csv": FOLDER["care.csv"].replace(b",", b";")}
    yield files, "care.csv, row 1: 'care_group;taxon;", "save as CSV with commas"
    bare = {name: FOLDER[name].split(b"\n")[0] for name in SHEETS if name != "traits.csv"}
    yield FOLDER | bare, "taxa.csv, row 2", "at least one"
    for n in (layout.MOST_CELL + 1, 200_000):
        yield put("evidence.csv", 3, "note", "x" * n), "evidence.csv, row 3", str(layout.MOST_CELL)
    for old, new, place, right in (
        ("page on fish}", "page on fish", "10: '@misc{JONES,'", "brace"),
        ("  year = {2001}", "year=1,\n  year = {2001}", "2: '@article{SMITH,'", "not a BibTeX entry"),
        ("@misc{J", "@misc{SMITH,\n  a = {b},\n}\n@misc{J", "10: '@misc{SMITH,'", "a key used twice"),
        ("}\n\n@misc", "}\n@misc{,\n  a = {b},\n}\n\n@misc", "9: ''", "no key"),
        ("page on fish", "x" * (layout.MOST_CELL + 1), "10: 'title'", "shorten it"),
    ):
        yield swap("sources.bib", old, new), f"sources.bib, row {place}: ", right
    for more, right in (
        ("@misc{" * (layout.MOST_ENTRIES + 1), "entries"),
        ("@misc{A, " + "x = y, " * (layout.MOST_FIELDS + 1) + "}", "fields"),
        ("@String{l = {" + "x" * layout.MOST_SHORT_NAME + "}}", "shorten"),
    ):
        yield add("sources.bib", more), "sources.bib: ", right
    bad = ["{", '{"a": NaN}', '{"a": 1e999}', '{"a": "\\ud800"}', '{"a": ' + "9" * 5000 + "}", "[" * 100_000]
    bad.append('{"a": ' + "[" * 50_000 + "]" * 50_000 + "}")
    package = {"mend or delete": bad, "a JSON object": ["[1]"]}
    package["as text"] = ['{"version": 2}', '{"created": ["2026"]}']
    for right, texts in package.items():
        for text in texts:
            yield {**FOLDER, "datapackage.json": text.encode()}, "datapackage.json", right


@pytest.mark.parametrize(("files", "place", "right"), [*wrong_rows(), *wrong_headers(), *wrong_files()])
def test_one_thing_wrong_is_one_problem(files, place, right):
    (found,) = problems(files)
    assert str(found).startswith(place)
    assert right in found.right
    assert len(str(found)) < 300 or "the first row holds" in right


STATES = "|".join(f"s{i}" for i in range(layout.MOST_STATES + 1))
MANY = swap("traits.csv", "light|dark|none,light|dark|no spots", f"{STATES},{STATES}")
SPOTS = "traits.csv, row 4 (spots), states: "
TOO_LONG = "b" * (layout.MOST_NAME + 1)
of_genus = partial(swap, "genera.csv", files=WITH_GENUS)
claimed = partial(swap, "evidence.csv", "Testia,,tail", files=WITH_GENUS)


@pytest.mark.parametrize(
    ("files", "place", "right"),
    [
        (swap("taxa.csv", ",rays,", ",ray,"), "taxa.csv, row 1, ray: ", "did you mean 'rays'?"),
        (swap("taxa.csv", ",rays,", ",ray,"), "taxa.csv, row 1, rays: ", "has no column here"),
        (swap("taxa.csv", "tail_young", "tale_young"), "taxa.csv, row 1, tale_young: ", ""),
        (put("care.csv", 2, "taxon", "alpha"), "taxa.csv, row 2 (alpha), careGroup: ", ""),
        (MANY, SPOTS, f"at most {layout.MOST_STATES} states"),
        (put("traits.csv", 4, "states", "light|dark|-"), SPOTS, "another name"),
        (put("taxa.csv", 3, "id", TOO_LONG), "taxa.csv, row 3 (bbb", "an id is"),
        (swap("traits.csv", "\nrays,", "\ngenus,"), "taxa.csv, row 1, genus: ", "rename the trait"),
        (edit("traits.csv", lambda rows: rows[:1]), "traits.csv, row 2, id: ", "at least one"),
        (of_genus("hollow", "holow"), "genera.csv, row 2 (Testia), tail: ", "did you mean 'hollow'"),
        (of_genus("hollow", "?"), "genera.csv, row 2 (Testia), tail: ", "leave it blank"),
        (of_genus("tail", "tale"), "genera.csv, row 1, tale: ", "did you mean 'tail'"),
        (of_genus("Testia,", ","), "genera.csv, row 2, genus: ", "name the genus"),
        (of_genus("Testia", "Testia,,\nTestia"), "genera.csv, row 3 (Testia), genus: ", "there already"),
        (claimed("Testa,,tail"), "evidence.csv, row 32 (Testa), genus: ", "did you mean 'Testia'"),
        (claimed("Testia,x,tail"), "evidence.csv, row 32 (Testia), taxon: ", "fill one of"),
        (claimed("Testia,,rays"), "evidence.csv, row 32 (Testia), rays: ", "evidence for a blank cell"),
        (put("taxa.csv", 7, "genus", "", WITH_GENUS), "taxa.csv, row 7 (nova), genus: ", "fill this cell"),
    ],
)
def test_what_is_wrong_in_several_places_is_told_where_it_was_written(files, place, right):
    assert any(str(p).startswith(place) and right in p.right for p in problems(files))


@pytest.mark.parametrize("name", FILES)
@pytest.mark.parametrize("sign", ["\x00", "\x07", "\x1b", "\x7f"])
def test_control_characters_are_refused_with_their_place(name, sign):
    files = line(name, 2, lambda text: text.replace("e", f"e{sign}", 1))
    (found,) = [p for p in problems(files) if "control character" in p.right]
    assert (found.file, found.row.split(" ")[0]) == (name, "2")
    assert sign not in str(found)


@pytest.mark.parametrize("name", FILES)
def test_a_file_that_is_not_there_or_cannot_be_read(tmp_path, name):
    (found,) = problems({n: data for n, data in FOLDER.items() if n != name})
    assert (found.file, found.value, found.right) == (name, "fish", "the file is missing from this folder")
    (found,) = problems({**FOLDER, name: FOLDER[name].rstrip(b"\n") + "é\n".encode("latin-1")})
    assert (found.file, "UTF-8" in found.right) == (name, True)
    folder = on_disk(tmp_path)
    (folder / name).unlink()
    (folder / name).mkdir()
    with pytest.raises(TableError, match=rf"^1 problem in the table.*\n{name}: .*cannot be read"):
        load_table(folder)


def test_what_is_no_path():
    for path in (5, ["traits"]):
        with pytest.raises(IdkeyError, match=r"load_table: path: .*: give a path"):
            load_table(path)


# -- limits ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("limit", "most", "where", "right"),
    [
        ("MOST_BYTES", 1500, {("evidence.csv", "")}, "larger than 1500"),
        ("MOST_SOURCES_BYTES", 100, {("sources.bib", "")}, "larger than 100 bytes"),
        ("MOST_ROWS", 1, {(name, "3") for name in SHEETS}, "than 1 rows"),
        ("MOST_CELLS", 100, {("evidence.csv", "12")}, "more than 10 rows of 10 columns"),
    ],
)
def test_limits(monkeypatch, limit, most, where, right):
    assert 50 * max(f.stat().st_size for f in shipped_folder().iterdir()) < layout.MOST_BYTES
    monkeypatch.setattr(layout, limit, most)
    assert {(p.file, p.row) for p in problems(FOLDER) if right in p.right} == where


def test_where_everything_is_wrong_the_list_ends_and_the_message_before_it():
    wrong = ["alfa", "", "", "sise", "1", "X", "", "reed", "specie", ""]
    found = problems(edit("evidence.csv", lambda rows: [rows[0], *[wrong] * 10_000]))
    assert len(found) == layout.MOST_PROBLEMS + 1
    assert "there is more wrong from here on" in found[-1].right
    assert str(TableError(found)).splitlines()[-1] == f"... and {len(found) - 40} more"


# -- what is no problem ----------------------------------------------------------------------------------


def test_blank_rows_are_passed_over_but_counted():
    files = swap("taxa.csv", "beta,", f"\n{',' * 14}\nbeta,")
    assert table_of(files).ids[:2] == ("alpha", "beta")
    (found,) = problems(put("taxa.csv", 5, "tail", "forkd", files))
    assert found.row == "5 (beta)"


def test_utf_8_with_a_mark_and_the_longest_cell_are_good_and_only_line_breaks_split_a_row():
    # Python takes these signs for line breaks, too.
    note = "from\u2028the\x85web\x0bor\x0cnot\x1c."
    files = put("evidence.csv", 3, "note", note + "x" * (layout.MOST_CELL - len(note)))
    table = table_of({n: b"\xef\xbb\xbf" + data.replace(b"\n", b"\r\n") for n, data in files.items()})
    assert len(table) == 5
    assert table.evidence["note"].iloc[1].startswith(note)
    assert len(table.evidence["note"].iloc[1]) == layout.MOST_CELL


def test_what_is_said_of_the_whole_is_kept_in_order_without_the_files():
    said = '{"b": 1.5, "resources": [{"name": "x"}], "a": ["é", null], "version": "7"}'
    table = table_of({**FOLDER, "datapackage.json": said.encode()})
    assert list(table.about.items()) == [("b", 1.5), ("a", ["é", None]), ("version", "7")]
    assert table.version == "7"


# -- genera, columns of care, and files of an older table ------------------------------------------------


def test_a_blank_cell_is_what_its_genus_says():
    table, columns = table_of(WITH_GENUS), ["size", "tail", "spots", "rays"]
    assert table.to_frame().loc["nova", columns].tolist() == ["", "hollow", "light", ""]
    assert table.to_frame(own=True).loc["nova", columns].tolist() == [""] * 4
    claims = table.claims("nova", "tail")[["taxon", "genus", "source"]]
    assert claims.to_numpy().tolist() == [["nova", "Testia", "SMITH"]]
    # An own cell wins, and ? is not known in spite of the genus.
    assert table.to_frame().loc["beta", "spots"] == "none"
    files = put("taxa.csv", 7, "spots", "none", put("taxa.csv", 7, "tail", "?", WITH_GENUS))
    table = table_of(add("evidence.csv", "nova,,,spots,none,JONES,,secondary,species,", files=files))
    assert table.cell("nova", "tail") is None
    assert len(table.claims("nova", "tail")) == 0
    # What has no meaning for a kind without spots does not apply, by the claim on its spots.
    assert table.to_frame().loc["nova", "rays"] == "-"
    assert table.claims("nova", "rays")[["value", "source"]].to_numpy().tolist() == [["-", "JONES"]]


def test_an_older_folder_has_the_shipped_columns_of_care_and_is_saved_with_them(tmp_path):
    table = load_table(on_disk(tmp_path, edit("evidence.csv", lambda rows: [[r[0], *r[2:]] for r in rows])))
    assert table.care_columns == table_of(SMALL).care_columns == CARE
    assert not table.genera
    again = table.save(tmp_path / "new")
    assert {p.name for p in (tmp_path / "new").iterdir()} >= {"care_columns.csv"}
    assert not (tmp_path / "new" / "genera.csv").exists()
    pd.testing.assert_frame_equal(again.to_frame(own=True), table.to_frame(own=True))
    assert (tmp_path / "new" / "evidence.csv").read_bytes().startswith(b"taxon,genus,care_group,")


# -- cells and their claims ------------------------------------------------------------------------------

ASIDE = put("evidence.csv", 3, "note", "Not followed: a misprint", put("taxa.csv", 2, "tail", "hollow"))
ASIDE = add("evidence.csv", "alpha,,,tail,hollow,JONES,,secondary,species,", files=ASIDE)
OF_GENUS = swap("genera.csv", "hollow,light", "forked,light", WITH_GENUS)
TAIL = "taxa.csv, row 3 (beta), tail: 'straight|hollow|forked': its"


@pytest.mark.parametrize(
    ("files", "told"),
    [
        # A cell that its claim is not within, and one that says more than its claims.
        (put("taxa.csv", 2, "tail", "hollow"), "evidence.csv, row 3 (alpha), tail: 'forked': taxa.csv has"),
        (put("taxa.csv", 3, "tail", "straight|hollow|forked"), TAIL),
        (put("taxa.csv", 2, "rays", "7..9"), "taxa.csv, row 2 (alpha), rays: '7..9': its claims have only 7"),
        (put("taxa.csv", 3, "size", "80"), "evidence.csv, row 8 (beta), size: '90': taxa.csv has 80; mend"),
        (put("care.csv", 2, "ph", "6..8"), "care.csv, row 2 (stones), ph: '6..8': its"),
        (put("care.csv", 2, "ph", "6.2..6.8"), ""),
        (put("care.csv", 2, "flow", "gentle|strong"), "care.csv, row 2 (stones), flow: 'gentle|strong': its"),
        (OF_GENUS, "evidence.csv, row 32 (Testia), tail: 'hollow': genera.csv has forked"),
        # Free words, what is said of the genus, and a claim that is set aside.
        (put("evidence.csv", 3, "value", "deeply forked"), ""),
        (put("taxa.csv", 3, "tail", "forked", put("evidence.csv", 9, "scope", "genus")), ""),
        (ASIDE, ""),
    ],
)
def test_a_cell_that_disagrees_with_its_claims_is_told_and_loaded(tmp_path, files, told):
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        table = load_table(on_disk(tmp_path, files))
    assert len(table) in (5, 6)
    assert [str(w.message)[: len(told)] for w in caught] == ([told] if told else [])
    assert all(w.category is TableWarning and len(str(w.message).splitlines()) == 1 for w in caught)


# -- many at once ----------------------------------------------------------------------------------------


def test_ten_breakages_give_ten_problems_and_nothing_is_loaded():
    files = add("sources.bib", "@misc{SMITH,\n}")
    places = [("sources.bib", "13", "")]
    for file, row, column, value, _ in NINE:
        files = put(file, row, column, value, files)
        places.append((file, str(row), column))
    assert sorted((p.file, p.row.split(" ")[0], p.column) for p in problems(files)) == sorted(places)


def test_a_file_that_cannot_be_read_does_not_hide_what_is_wrong_in_the_others():
    files = swap("sources.bib", "page on fish}", "page on fish")
    del files["care.csv"]
    for place in (("taxa.csv", 2, "spots", "lite"), ("evidence.csv", 9, "class", "heard")):
        files = put(*place, files)
    found = problems(put("traits.csv", 4, "core", "maybe", files))
    assert [p.file for p in found] == ["care.csv", "sources.bib", "traits.csv", "taxa.csv", "evidence.csv"]


def test_an_installation_without_its_table_says_so(tmp_path, monkeypatch):
    monkeypatch.setattr(layout, "__file__", str(tmp_path / "idkey" / "table" / "layout.py"))
    with pytest.raises(IdkeyError, match=r"the shipped trait table is missing; install the package again"):
        shipped_folder()


def test_care_cells_are_read_as_their_kind():
    by_id = {a.id: a for a in CARE}
    assert parse_care(by_id["ph"], " 5.8..7 ") == Range(5.8, 7.0)
    assert parse_care(by_id["ph"], "6") == Range(6.0, 6.0)
    assert parse_care(by_id["tank_volume_l"], "120") == 120.0
    assert parse_care(by_id["flow"], "strong|gentle").names == ("gentle", "strong")
    assert parse_care(by_id["breeding"], "In caves.") == "In caves."
    assert parse_care(by_id["breeding"], "  ") is None
