"""Break the folder in every way: all problems at once, each on one line, and nothing is loaded."""

import csv
import shutil
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pandas as pd
import pytest

from idkey.errors import IdkeyError, Problem, TableError, TableWarning
from idkey.table import layout
from idkey.table.care import parse_care
from idkey.table.files import shipped_folder
from idkey.table.folder import load_table
from idkey.table.rows import shipped_care_columns
from idkey.table.schema import Range

TRAITS = Path(__file__).resolve().parents[2] / "traits"
FILES = ("taxa.csv", "traits.csv", "care.csv", "evidence.csv", "sources.bib")


CARE = shipped_care_columns()


def _care_line(who: str, **cells: str) -> str:
    """Return a line of care.csv; the cells that are not named stay blank."""
    return ",".join([who, *(cells.get(a.id, "") for a in CARE)]) + "\n"


# A folder as small as one can be, so that each test says in full what it breaks.
SMALL = {
    "traits.csv": (
        "id,label,kind,unit,states,state_words,core,question,how_to_look,error,error_basis,spread,effort_s,"
        "applies_when,needs_adult,in_key,group\n"
        "size,Length,ceiling,mm,,,yes,How long?,,0.01,,5%,20,,no,yes,\n"
        "tail,Tail,ordinal,,straight|hollow|forked,cut|hollow|forked,yes,What tail?,,0.1,,,10,,no,yes,\n"
        "spots,Spots,nominal,,light|dark|none,light|dark|no spots,no,What spots?,,0.1,,,5,,no,yes,\n"
        "rays,Rays,measure,count,,,no,How many?,,0.05,,3%,30,spots=light|dark,no,yes,\n"
    ),
    "taxa.csv": (
        "id,scientificName,identificationQualifier,vernacularName,genus,nameAccordingTo,tradeCode,careGroup,"
        "commonness,size,tail,spots,rays,tail_young\n"
        "alpha,Genus alpha,,,Genus,SMITH,L001,stones,common,120,forked,light,7..8,straight\n"
        "beta,Genus beta,,,Genus,,,stones,rare,90,straight|hollow,none,-,\n"
    ),
    "care.csv": (
        "care_group,taxon,"
        + ",".join(a.id for a in CARE)
        + "\n"
        + _care_line(
            "stones,",
            adult_length_mm="80..120",
            diet_type="omnivore",
            flow="strong",
            temperature_c="24..28",
            oxygen_mg_l="6",
            tank_volume_l="100",
        )
        + _care_line("stones,beta", adult_length_mm="80..90")
    ),
    "evidence.csv": (
        "taxon,care_group,attribute,value,source,locator,class,scope,note\n"
        "alpha,,size,120,SMITH,p. 1,read,species,\n"
        "alpha,,tail,forked,SMITH,p. 1,read,species,\n"
        "alpha,,tail_young,straight,SMITH,p. 2,read,species,\n"
        "alpha,,spots,light,SMITH,p. 1,read,species,\n"
        "alpha,,rays,7..8,SMITH,p. 1,read,species,\n"
        "beta,,size,90,JONES,,secondary,species,\n"
        "beta,,tail,straight|hollow,,,memory,genus,\n"
        "beta,,spots,none,JONES,,secondary,species,\n"
        "beta,,rays,-,JONES,,secondary,species,\n"
        "beta,,adult_length_mm,80..90,JONES,,secondary,species,\n"
        ",stones,adult_length_mm,80..120,SMITH,,read,group,\n"
        ",stones,diet_type,omnivore,SMITH,,read,group,\n"
        ",stones,flow,strong,,rule of thumb,common practice,group,\n"
        ",stones,temperature_c,24..28,SMITH,,read,group,\n"
        ",stones,oxygen_mg_l,6,SMITH,,read,group,\n"
        ",stones,tank_volume_l,100,SMITH,,read,group,\n"
    ),
    "sources.bib": (
        "@article{SMITH,\n  author = {Smith, Ann and Roe, Bo},\n  year = {2001},\n  title = {Fish},\n"
        "  journal = {Journal},\n  volume = {1},\n  number = {2},\n  pages = {3--4},\n"
        "  doi = {10.1000/1},\n}\n\n"
        "@misc{JONES,\n  title = {Page on fish},\n}\n"
    ),
}


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
    assert error.problems
    lines = str(error).splitlines()
    count = len(error.problems)
    assert lines[0].startswith("1 problem " if count == 1 else f"{count} problems ")
    assert "nothing was loaded" in lines[0]
    assert lines[1:] == [str(p) for p in error.problems][: len(lines) - 1]
    for problem in error.problems:
        assert len(str(problem).splitlines()) == 1
        assert problem.file in (*FILES, "care_columns.csv")
        assert str(problem).startswith(problem.file)
        assert len(problem.right) > 10
    return error.problems


def read(folder: Path, name: str) -> list[list[str]]:
    with (folder / name).open(encoding="utf-8", newline="") as file:
        return list(csv.reader(file))


def write(folder: Path, name: str, rows: list[list[str]]) -> None:
    with (folder / name).open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerows(rows)


def put(folder: Path, name: str, row: int, column: str, value: str) -> None:
    """Write a cell; `row` as a spreadsheet counts."""
    rows = read(folder, name)
    rows[row - 1][rows[0].index(column)] = value
    write(folder, name, rows)


def add(folder: Path, name: str, line: str) -> None:
    with (folder / name).open("a", encoding="utf-8", newline="") as file:
        file.write(line + "\n")


def swap(folder: Path, name: str, old: str, new: str) -> None:
    text = (folder / name).read_text(encoding="utf-8")
    assert old in text
    (folder / name).write_text(text.replace(old, new, 1), encoding="utf-8", newline="")


def test_the_small_folder_is_good(folder):
    table = load_table(folder)
    assert repr(table) == "TraitTable: 2 taxa, 4 traits, 8 of 8 cells filled"
    assert table.name == "fish"
    assert table.sources["SMITH"].short == "Smith & Roe 2001"
    assert table.sources["SMITH"].full == "Smith, Ann, Roe, Bo. 2001. Fish. Journal 1(2) 3-4. doi:10.1000/1"
    assert table.sources["JONES"].short == "Page on fish"


# -- one wrong cell --------------------------------------------------------------------------------------


class Cell(NamedTuple):
    """A cell, what is written into it, and what the message must say would be right."""

    file: str
    row: int
    column: str
    value: str
    right: str


CELLS = {
    # taxa.csv: values
    "unknown state": Cell("taxa.csv", 2, "tail", "forkd", "did you mean 'forked'?"),
    "unknown state of several": Cell("taxa.csv", 3, "tail", "straight|hollo", "straight, hollow, forked"),
    "state twice": Cell("taxa.csv", 3, "tail", "hollow|hollow", "name it once"),
    "share is no number": Cell("taxa.csv", 3, "tail", "straight:most|hollow:0.2", "a share such as"),
    "share is nought": Cell("taxa.csv", 3, "tail", "straight:0|hollow:1", "more than 0"),
    "share not given for all": Cell("taxa.csv", 3, "tail", "straight:0.8|hollow", "each state its share"),
    "unknown state of young fish": Cell("taxa.csv", 2, "tail_young", "forkd", "did you mean 'forked'?"),
    "malformed range": Cell("taxa.csv", 2, "rays", "7-8", "lo..hi such as 12..16"),
    "half a range": Cell("taxa.csv", 2, "rays", "7..", "lo..hi such as 12..16"),
    "underscore for a range": Cell("taxa.csv", 2, "rays", "7_8", "lo..hi such as 12..16"),
    "backwards range": Cell("taxa.csv", 2, "rays", "8..7", "write 7..8"),
    "endless range": Cell("taxa.csv", 2, "rays", "7..inf", "not a finite number"),
    "negative count": Cell("taxa.csv", 2, "rays", "-2..8", "0 or more count"),
    "ceiling is a range": Cell("taxa.csv", 2, "size", "90..120", "the largest recorded length in mm"),
    "ceiling is nought": Cell("taxa.csv", 2, "size", "0", "more than 0"),
    # taxa.csv: names
    "taxon twice": Cell("taxa.csv", 3, "id", "alpha", "there already"),
    "taxon id with a blank": Cell("taxa.csv", 2, "id", "Alpha x", "lower-case letters"),
    "no scientific name": Cell("taxa.csv", 2, "scientificName", "", "fill this cell"),
    "no genus": Cell("taxa.csv", 2, "genus", "", "fill this cell"),
    "unknown commonness": Cell("taxa.csv", 2, "commonness", "comon", "did you mean 'common'?"),
    "dangling care group": Cell("taxa.csv", 2, "careGroup", "stone", "did you mean 'stones'?"),
    "dangling name source": Cell("taxa.csv", 2, "nameAccordingTo", "SMITHE", "did you mean 'SMITH'?"),
    # traits.csv
    "trait twice": Cell("traits.csv", 4, "id", "tail", "there already"),
    "trait id in capitals": Cell("traits.csv", 2, "id", "Size", "lower-case letters"),
    "trait id kept for young fish": Cell("traits.csv", 4, "id", "spots_young", "_young is kept"),
    "unknown kind": Cell("traits.csv", 3, "kind", "ordnal", "did you mean 'ordinal'?"),
    "unknown unit": Cell("traits.csv", 2, "unit", "cm", "mm, count, % HL"),
    "no unit": Cell("traits.csv", 2, "unit", "", "needs a unit"),
    "no states": Cell("traits.csv", 4, "states", "", "at least two different states"),
    "one state": Cell("traits.csv", 4, "states", "light", "at least two different states"),
    "the same state twice": Cell("traits.csv", 4, "states", "light|dark|light", "different states"),
    "words are too few": Cell("traits.csv", 4, "state_words", "light|dark", "each of the 3 states"),
    "states of a number": Cell("traits.csv", 5, "states", "few|many", "has no states"),
    "no question": Cell("traits.csv", 2, "question", "", "in plain words"),
    "error is one": Cell("traits.csv", 2, "error", "1", "more than 0 and less than 1"),
    "error is nought": Cell("traits.csv", 2, "error", "0", "more than 0 and less than 1"),
    "error in per cent": Cell("traits.csv", 2, "error", "10%", "such as 0.1"),
    "error is not a number": Cell("traits.csv", 2, "error", "nan", "such as 0.1"),
    "error is blank": Cell("traits.csv", 2, "error", "", "such as 0.1"),
    "effort is nought": Cell("traits.csv", 2, "effort_s", "0", "seconds"),
    "effort is a word": Cell("traits.csv", 2, "effort_s", "long", "seconds"),
    "spread is blank": Cell("traits.csv", 5, "spread", "", "measuring error"),
    "spread is negative": Cell("traits.csv", 5, "spread", "-3%", "measuring error"),
    "core is neither yes nor no": Cell("traits.csv", 2, "core", "true", "yes or no"),
    "needs_adult is neither yes nor no": Cell("traits.csv", 2, "needs_adult", "", "yes or no"),
    "in_key is neither yes nor no": Cell("traits.csv", 2, "in_key", "1", "yes or no"),
    "applies_when without a state": Cell("traits.csv", 5, "applies_when", "spots", "trait=state|state"),
    "applies_when of no trait": Cell("traits.csv", 5, "applies_when", "dots=light", "trait=state|state"),
    "applies_when of itself": Cell("traits.csv", 3, "applies_when", "tail=forked", "another trait"),
    "applies_when of a number": Cell("traits.csv", 5, "applies_when", "size=120", "that has states"),
    "applies_when of no state": Cell("traits.csv", 5, "applies_when", "spots=lite", "did you mean 'light'?"),
    # care.csv
    "care range malformed": Cell("care.csv", 2, "temperature_c", "24-28", "lo..hi such as 12..16"),
    "care range backwards": Cell("care.csv", 2, "temperature_c", "28..24", "write 24..28"),
    "care minimum is a range": Cell(
        "care.csv", 2, "tank_volume_l", "100..200", "one number more than 0, in L"
    ),
    "care minimum is nought": Cell("care.csv", 2, "oxygen_mg_l", "0", "one number more than 0, in mg/L"),
    "care state unknown": Cell("care.csv", 2, "flow", "torrent", "gentle, moderate, strong"),
    "care of a dangling taxon": Cell("care.csv", 3, "taxon", "bet", "did you mean 'beta'?"),
    "care of no group": Cell("care.csv", 3, "care_group", "", "name the care group"),
    # evidence.csv
    "evidence of a dangling taxon": Cell("evidence.csv", 2, "taxon", "alfa", "did you mean 'alpha'?"),
    "evidence of a dangling group": Cell("evidence.csv", 14, "care_group", "stone", "did you mean 'stones'?"),
    "evidence of nobody": Cell("evidence.csv", 2, "taxon", "", "one of taxon, genus and care_group"),
    "evidence of both": Cell("evidence.csv", 12, "taxon", "alpha", "one of taxon, genus and care_group"),
    "evidence of no column": Cell("evidence.csv", 3, "attribute", "tale", "did you mean 'tail'?"),
    "evidence of a blank column": Cell("evidence.csv", 3, "attribute", "", "name the trait column"),
    "dangling source": Cell("evidence.csv", 2, "source", "SMYTH", "did you mean 'SMITH'?"),
    "no source for what was read": Cell("evidence.csv", 2, "source", "", "class read needs a key"),
    "no source for what was told": Cell("evidence.csv", 7, "source", "", "class secondary needs a key"),
    "unknown class": Cell("evidence.csv", 2, "class", "reed", "did you mean 'read'?"),
    "unknown scope": Cell("evidence.csv", 2, "scope", "specie", "did you mean 'species'?"),
}


@pytest.mark.parametrize("case", CELLS.values(), ids=CELLS)
def test_one_wrong_cell(folder, case):
    put(folder, *case[:4])
    found = [
        p for p in problems(folder) if (p.file, p.column, p.value) == (case.file, case.column, case.value)
    ]
    assert len(found) == 1
    assert found[0].row.split(" ")[0] == str(case.row)
    assert case.right in found[0].right
    assert f"row {case.row}" in str(found[0])
    assert repr(case.value) in str(found[0])


# What these break stands in one place only, so that one line is all there is to say.
@pytest.mark.parametrize(
    "name",
    [n for n, c in CELLS.items() if c.column not in ("id", "taxon", "attribute", "care_group", "states")],
)
def test_one_wrong_cell_is_one_problem(folder, name):
    put(folder, *CELLS[name][:4])
    assert len(problems(folder)) == 1


def test_row_says_who(folder):
    put(folder, "taxa.csv", 3, "tail", "forkd")
    (found,) = problems(folder)
    assert str(found) == (
        "taxa.csv, row 3 (beta), tail: 'forkd': "
        "use a state of tail (straight, hollow, forked); did you mean 'forked'?"
    )


# -- rows ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("who", "column", "file", "row"),
    [
        (["beta", ""], "tail", "taxa.csv", "3 (beta)"),
        (["alpha", ""], "tail_young", "taxa.csv", "2 (alpha)"),
        (["", "stones"], "adult_length_mm", "care.csv", "2 (stones)"),
        (["beta", ""], "adult_length_mm", "care.csv", "3 (beta)"),
    ],
)
def test_missing_evidence(folder, who, column, file, row):
    rows = read(folder, "evidence.csv")
    write(folder, "evidence.csv", [r for r in rows if r[:3] != [*who, column]])
    (found,) = problems(folder)
    assert (found.file, found.row, found.column) == (file, row, column)
    assert found.value
    assert "add one or blank the cell" in found.right


def test_evidence_for_a_blank_cell(folder):
    put(folder, "taxa.csv", 2, "rays", "")
    (found,) = problems(folder)
    assert (found.file, found.row, found.column, found.value) == ("evidence.csv", "6 (alpha)", "rays", "7..8")
    assert "fill the cell or delete this row" in found.right


@pytest.mark.parametrize(
    "line",
    [
        "beta,,tail_young,straight,JONES,,secondary,species,",
        ",stones,breeding,In caves.,SMITH,,read,group,",
        "alpha,,breeding,In caves.,SMITH,,read,species,",  # alpha has no row in care.csv at all
        ",stones,tail,forked,SMITH,,read,group,",  # a group has no tail
    ],
)
def test_evidence_for_a_cell_that_is_blank_or_not_there(folder, line):
    add(folder, "evidence.csv", line)
    (found,) = problems(folder)
    assert found.row.startswith("18 ")
    assert "fill the cell or delete this row" in found.right


@pytest.mark.parametrize("lines", [["stones,"], ["stones,beta"], ["sand,", "sand,beta"]])
def test_care_row_twice(folder, lines):
    for line in lines:
        add(folder, "care.csv", line + "," * len(CARE))
    (found,) = problems(folder)
    assert (found.file, found.row[0], found.column) == ("care.csv", str(3 + len(lines)), "care_group")
    assert "has a row already" in found.right


def test_care_group_needs_a_row_of_its_own(folder):
    rows = read(folder, "care.csv")
    rows[1][1] = "alpha"
    write(folder, "care.csv", rows)
    columns = {(p.file, p.column) for p in problems(folder)}
    assert ("taxa.csv", "careGroup") in columns


@pytest.mark.parametrize(
    ("name", "row"), [("taxa.csv", "2 (alpha)"), ("evidence.csv", "2 (alpha)"), ("care.csv", "2 (stones)")]
)
@pytest.mark.parametrize("change", [1, -1])
def test_ragged_row(folder, name, row, change):
    rows = read(folder, name)
    rows[1] = [*rows[1], "more"] if change > 0 else rows[1][:-1]
    write(folder, name, rows)
    (found,) = problems(folder)
    assert (found.file, found.row, found.value) == (name, row, str(len(rows[1])))
    assert f"the header has {len(rows[0])}" in found.right


def test_blank_rows_are_passed_over_but_counted(folder):
    swap(folder, "taxa.csv", "beta,", "\n,,,,,,,,,,,,,\nbeta,")
    assert load_table(folder).ids == ("alpha", "beta")
    put(folder, "taxa.csv", 5, "tail", "forkd")
    (found,) = problems(folder)
    assert found.row == "5 (beta)"


def test_rows_are_counted_as_a_spreadsheet_does_where_a_cell_holds_line_breaks(folder):
    put(folder, "taxa.csv", 2, "vernacularName", "one\ntwo\r\nthree")
    put(folder, "taxa.csv", 3, "tail", "forkd")
    (found,) = problems(folder)
    assert found.row == "3 (beta)"


@pytest.mark.parametrize("sign", ["\u2028", "\x85", "\x0b", "\x0c", "\x1c"])
def test_signs_that_only_python_takes_for_line_breaks_do_not_split_a_row(folder, sign):
    add(folder, "evidence.csv", f"alpha,,size,110,SMITH,,read,species,from{sign}the web")
    assert load_table(folder).evidence["note"].iloc[-1] == f"from{sign}the web"


# -- headers ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "column"),
    [("taxa.csv", "genus"), ("traits.csv", "error"), ("care.csv", "flow"), ("evidence.csv", "class")],
)
def test_missing_column(folder, name, column):
    rows = read(folder, name)
    i = rows[0].index(column)
    write(folder, name, [r[:i] + r[i + 1 :] for r in rows])
    (found,) = problems(folder)
    assert (found.file, found.row, found.column) == (name, "1", column)
    assert "missing from the header" in found.right


@pytest.mark.parametrize("name", ["taxa.csv", "traits.csv", "care.csv", "evidence.csv"])
def test_column_twice(folder, name):
    rows = read(folder, name)
    write(folder, name, [[*r, r[1]] for r in rows])
    (found,) = problems(folder)
    assert (found.file, found.row, found.column) == (name, "1", rows[0][1])
    assert "two columns" in found.right


@pytest.mark.parametrize("name", ["taxa.csv", "traits.csv", "care.csv", "evidence.csv"])
def test_unknown_column(folder, name):
    write(folder, name, [[*r, "colour" if i == 0 else ""] for i, r in enumerate(read(folder, name))])
    (found,) = problems(folder)
    assert (found.file, found.row, found.column) == (name, "1", "colour")
    assert "use a" in found.right


def test_misspelt_trait_column(folder):
    swap(folder, "taxa.csv", ",rays,", ",ray,")
    found = {p.column: p.right for p in problems(folder) if p.file == "taxa.csv"}
    assert "did you mean 'rays'?" in found["ray"]
    assert "has no column here" in found["rays"]


def test_young_column_of_no_trait(folder):
    swap(folder, "taxa.csv", "tail_young", "tale_young")
    assert "tale_young" in {p.column for p in problems(folder)}


@pytest.mark.parametrize(("name", "column"), [("", "column 15"), ("a\nb", "a\nb")])
def test_header_cell_that_is_blank_or_holds_a_line_break(folder, name, column):
    write(folder, "taxa.csv", [[*r, "" if i else name] for i, r in enumerate(read(folder, "taxa.csv"))])
    (found,) = problems(folder)
    assert (found.row, found.column) == ("1", column)


# -- whole files -----------------------------------------------------------------------------------------


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


def test_missing_folder(tmp_path):
    with pytest.raises(TableError) as caught:
        load_table(tmp_path / "nowhere")
    (problem,) = caught.value.problems
    assert problem.file.endswith("nowhere")
    assert "no such folder" in problem.right


def test_cells_parted_by_semicolons(tmp_path):
    shutil.copytree(shipped_folder(), tmp_path / "mine")
    path = tmp_path / "mine" / "care.csv"
    path.write_text(path.read_text(encoding="utf-8").replace(",", ";"), encoding="utf-8")
    with pytest.raises(TableError) as caught:
        load_table(tmp_path / "mine")
    (problem,) = caught.value.problems
    assert (problem.file, problem.row) == ("care.csv", "1")
    assert "save as CSV with commas" in problem.right


@pytest.mark.parametrize("path", [5, ["traits"]])
def test_what_is_no_path(path):
    with pytest.raises(IdkeyError, match="write the path of a folder"):
        load_table(path)


def test_utf_8_with_a_mark_is_good(folder):
    for name in FILES:
        text = (folder / name).read_text(encoding="utf-8")
        (folder / name).write_bytes(text.replace("\n", "\r\n").encode("utf-8-sig"))
    assert len(load_table(folder)) == 2


@pytest.mark.parametrize("name", ["taxa.csv", "traits.csv", "care.csv", "evidence.csv"])
def test_unclosed_quotation_mark(folder, name):
    lines = (folder / name).read_text(encoding="utf-8").split("\n")
    lines[2] = lines[2][: lines[2].index(",") + 1] + '"' + lines[2][lines[2].index(",") + 1 :]
    (folder / name).write_text("\n".join(lines), encoding="utf-8", newline="")
    (found,) = problems(folder)
    assert (found.file, found.row) == (name, "3")
    assert "unclosed quotation mark" in found.right


@pytest.mark.parametrize("name", ["taxa.csv", "traits.csv", "care.csv", "evidence.csv"])
def test_empty_file(folder, name):
    (folder / name).write_text("", encoding="utf-8")
    (found,) = problems(folder)
    assert (found.file, found.row) == (name, "1")
    assert "the file is empty; the first row holds" in found.right


def test_empty_table(folder):
    for name in ("taxa.csv", "care.csv", "evidence.csv"):
        write(folder, name, read(folder, name)[:1])
    (found,) = problems(folder)
    assert (found.file, found.row) == ("taxa.csv", "2")
    assert "at least one" in found.right


def test_no_trait_at_all(folder):
    write(folder, "traits.csv", read(folder, "traits.csv")[:1])
    write(folder, "taxa.csv", [r[:9] for r in read(folder, "taxa.csv")])
    write(
        folder,
        "evidence.csv",
        [r for r in read(folder, "evidence.csv") if r[1] or r[2] == "adult_length_mm"],
    )
    with pytest.raises(TableError, match="at least one"):
        load_table(folder)


def test_file_too_large(folder, monkeypatch):
    monkeypatch.setattr(layout, "MOST_BYTES", 600)
    names = {p.file for p in problems(folder)}
    assert names == {n for n in FILES[:4] if (folder / n).stat().st_size > 600}
    assert names


def test_the_limit_is_far_above_the_shipped_table():
    assert 50 * max(f.stat().st_size for f in TRAITS.iterdir()) < layout.MOST_BYTES


@pytest.mark.parametrize("name", ["taxa.csv", "traits.csv", "care.csv", "evidence.csv"])
def test_too_many_rows(folder, monkeypatch, name):
    most = len(read(folder, name)) - 2
    monkeypatch.setattr(layout, "MOST_ROWS", most)
    found = [p for p in problems(folder) if p.file == name]
    assert [(p.row, p.column) for p in found] == [(str(most + 2), "")]
    assert f"more than {most} rows" in found[0].right


def test_rows_and_columns_together_are_limited(folder, monkeypatch):
    monkeypatch.setattr(layout, "MOST_CELLS", 100)
    assert "more than 11 rows of 9 columns" in {p.file: p for p in problems(folder)}["evidence.csv"].right


def test_too_many_columns(folder):
    write(folder, "taxa.csv", [r + ["x"] * layout.MOST_COLUMNS for r in read(folder, "taxa.csv")])
    (found,) = problems(folder)
    assert (found.file, found.row, found.value) == ("taxa.csv", "1", "1014")
    assert "1000 are the most" in found.right


@pytest.mark.parametrize("length", [layout.MOST_CELL + 1, 200_000])
def test_cell_too_long(folder, length):
    put(folder, "evidence.csv", 3, "note", "x" * length)
    (found,) = problems(folder)
    assert (found.file, found.row.split(" ")[0]) == ("evidence.csv", "3")
    assert str(layout.MOST_CELL) in found.right
    assert len(str(found)) < 300


def test_the_longest_cell_is_read(folder):
    put(folder, "evidence.csv", 3, "note", "x" * layout.MOST_CELL)
    assert load_table(folder).evidence["note"].str.len().max() == layout.MOST_CELL


@pytest.mark.parametrize("name", FILES)
@pytest.mark.parametrize("sign", ["\x00", "\x07", "\x1b", "\x7f"])
def test_control_characters_are_refused_with_their_place(folder, name, sign):
    lines = (folder / name).read_text(encoding="utf-8").split("\n")
    lines[1] = lines[1].replace("e", f"e{sign}", 1)
    (folder / name).write_text("\n".join(lines), encoding="utf-8", newline="")
    found = [p for p in problems(folder) if "control character" in p.right]
    assert [(p.file, p.row.split(" ")[0]) for p in found] == [(name, "2")]
    assert sign not in str(found[0])


def test_control_character_in_a_header(folder):
    swap(folder, "taxa.csv", "tail_young", "tail\x00young")
    (found,) = problems(folder)
    assert (found.file, found.row, found.column) == ("taxa.csv", "1", "column 14")


def test_too_many_states(folder):
    states = "|".join(f"s{i}" for i in range(layout.MOST_STATES + 1))
    put(folder, "traits.csv", 4, "states", states)
    put(folder, "traits.csv", 4, "state_words", states)
    assert f"at most {layout.MOST_STATES} states" in {p.column: p for p in problems(folder)}["states"].right


def test_id_too_long(folder):
    put(folder, "taxa.csv", 3, "id", "b" * (layout.MOST_NAME + 1))
    assert "an id is" in {p.column: p for p in problems(folder)}["id"].right


def test_where_everything_is_wrong_the_list_ends(folder):
    line = ["alfa", "", "sise", "1", "X", "", "reed", "specie", ""]
    write(folder, "evidence.csv", read(folder, "evidence.csv")[:1] + [line] * 100_000)
    with pytest.raises(TableError) as caught:
        load_table(folder)
    assert len(caught.value.problems) == layout.MOST_PROBLEMS + 1
    assert "there is more wrong from here on" in caught.value.problems[-1].right


def test_a_state_is_no_dash(folder):
    put(folder, "traits.csv", 4, "states", "light|dark|-")
    found = [p for p in problems(folder) if p.file == "traits.csv"]
    assert [(p.row, p.column) for p in found] == [("4 (spots)", "states")]
    assert "give the state another name" in found[0].right


def test_a_trait_may_not_take_the_name_of_another_column(folder):
    swap(folder, "traits.csv", "\nrays,", "\ngenus,")
    assert any(p.column == "genus" and "rename the trait" in p.right for p in problems(folder))


# -- datapackage.json ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "right"),
    [
        ("{", "mend or delete"),
        ("[1]", "a JSON object"),
        ('{"a": NaN}', "mend or delete"),
        ('{"a": 1e999}', "mend or delete"),
        ('{"a": "\\ud800"}', "mend or delete"),
        ('{"a": ' + "9" * 5000 + "}", "mend or delete"),
        ("[" * 100_000, "mend or delete"),
        ('{"a": ' + "[" * 50_000 + "]" * 50_000 + "}", "mend or delete"),
        ('{"version": 2}', "as text"),
        ('{"created": ["2026"]}', "as text"),
    ],
)
def test_a_data_package_that_cannot_be_kept(folder, text, right):
    (folder / "datapackage.json").write_text(text, encoding="utf-8")
    with pytest.raises(TableError) as caught:
        load_table(folder)
    (found,) = caught.value.problems
    assert found.file == "datapackage.json"
    assert right in found.right
    assert len(str(found)) < 300


def test_what_is_said_of_the_whole_is_kept_in_order_without_the_files(folder):
    said = '{"b": 1.5, "resources": [{"name": "x"}], "a": ["é", null], "version": "7"}'
    (folder / "datapackage.json").write_text(said, encoding="utf-8")
    table = load_table(folder)
    assert list(table.about.items()) == [("b", 1.5), ("a", ["é", None]), ("version", "7")]
    assert table.version == "7"


# -- sources.bib -----------------------------------------------------------------------------------------


BIBTEX = {
    "title = {Page on fish}": ("title = {Page on fish", "12", "@misc{JONES,", "brace"),
    "year = {2001}": ("year = {2001},\n  year = {2002}", "1", "@article{SMITH,", "not a BibTeX entry"),
    "@misc{JONES,": ("@misc{SMITH,\n  a = {b},\n}\n@misc{JONES,", "12", "@misc{SMITH,", "a key used twice"),
    "}\n\n@misc": ("}\n@misc{,\n  a = {b},\n}\n\n@misc", "11", "", "no key"),
    "Page on fish": ("x" * (layout.MOST_CELL + 1), "12", "title", "shorten it"),
}


@pytest.mark.parametrize("old", BIBTEX)
def test_broken_bibtex(folder, old):
    new, row, value, right = BIBTEX[old]
    swap(folder, "sources.bib", old, new)
    (found,) = problems(folder)
    assert (found.file, found.row, found.value) == ("sources.bib", row, value)
    assert right in found.right


def test_broken_bibtex_does_not_hide_a_dangling_source(folder):
    swap(folder, "sources.bib", "title = {Page on fish}", "title = {Page on fish")
    put(folder, "evidence.csv", 2, "source", "SMYTH")
    assert [(p.file, p.value) for p in problems(folder)] == [
        ("sources.bib", "@misc{JONES,"),
        ("evidence.csv", "SMYTH"),
    ]


def test_bibtex_too_large(folder, monkeypatch):
    monkeypatch.setattr(layout, "MOST_SOURCES_BYTES", 100)
    (found,) = problems(folder)
    assert (found.file, found.row) == ("sources.bib", "")
    assert "larger than 100 bytes" in found.right


@pytest.mark.parametrize(
    ("text", "right"),
    [
        ("@misc{" * (layout.MOST_ENTRIES + 1), "entries"),
        ("@misc{A, " + "x = y, " * (layout.MOST_FIELDS + 1) + "}", "fields"),
        ("@String{long = {" + "x" * layout.MOST_SHORT_NAME + "}}", "shorten it"),
    ],
)
def test_more_than_sources_may_hold(folder, text, right):
    add(folder, "sources.bib", text)
    (found,) = problems(folder)
    assert (found.file, found.row) == ("sources.bib", "")
    assert right in found.right


def test_a_row_as_long_as_a_file_is_refused_before_it_is_taken_apart(folder):
    add(folder, "evidence.csv", "," * (layout.MOST_ROW + 1))
    (found,) = problems(folder)
    assert (found.file, found.row) == ("evidence.csv", "18")
    assert "a row 1000000" in found.right


# -- genera, columns of care, and files of an older table ----------------------------------------------

GENERA = "genus,tail,spots\nGenus,hollow,light\n"


@pytest.fixture
def with_genera(folder: Path) -> Path:
    """The small folder, with a genus that says something, and a kind that takes it over."""
    (folder / "genera.csv").write_text(GENERA, encoding="utf-8")
    rows = [[r[0], "genus" if i == 0 else "", *r[1:]] for i, r in enumerate(read(folder, "evidence.csv"))]
    said = {"tail": "hollow", "spots": "light"}
    rows += [["", "Genus", "", c, text, "SMITH", "", "read", "genus", ""] for c, text in said.items()]
    write(folder, "evidence.csv", rows)
    blank = ",".join(["gamma", "Genus gamma", "", "", "Genus", *[""] * 9])
    add(folder, "taxa.csv", blank)
    return folder


def test_a_blank_cell_is_what_its_genus_says(with_genera):
    table = load_table(with_genera)
    frame, own = table.to_frame(), table.to_frame(own=True)
    assert frame.loc["gamma", ["size", "tail", "spots", "rays"]].tolist() == ["", "hollow", "light", ""]
    assert own.loc["gamma", ["size", "tail", "spots", "rays"]].tolist() == [""] * 4
    assert table.claims("gamma", "tail")[["taxon", "genus", "source"]].to_numpy().tolist() == [
        ["gamma", "Genus", "SMITH"]
    ]
    # An own cell wins, and ? is not known in spite of the genus.
    assert frame.loc["beta", "spots"] == "none"
    put(with_genera, "taxa.csv", 4, "tail", "?")
    put(with_genera, "taxa.csv", 4, "spots", "none")
    add(with_genera, "evidence.csv", "gamma,,,spots,none,JONES,,secondary,species,")
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
        ("genera.csv", "hollow,light", "hollow,light|dark", None, ""),
        ("evidence.csv", ",Genus,", ",Genius,", ("18 (Genius)", "genus"), "did you mean 'Genus'"),
        ("evidence.csv", ",Genus,,tail", "alpha,Genus,,tail", ("18 (alpha)", "taxon"), "fill one of"),
        ("evidence.csv", ",Genus,,tail", ",Genus,,rays", ("18 (Genus)", "rays"), "evidence for a blank cell"),
        ("taxa.csv", ",,,Genus,,,,,,,,,", ",,,,,,,,,,,,", ("4 (gamma)", "genus"), "fill this cell"),
    ],
)
@pytest.mark.filterwarnings("ignore::idkey.errors.TableWarning")
def test_what_can_be_wrong_with_a_genus(with_genera, file, old, new, place, right):
    swap(with_genera, file, old, new)
    if place is None:
        assert load_table(with_genera).to_frame().loc["gamma", "spots"] == "light|dark"
        return
    with pytest.raises(TableError) as caught:
        load_table(with_genera)
    found = {(p.row, p.column): p.right for p in caught.value.problems if p.file == file}
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
    put(folder, "care_columns.csv", 2, column, value)
    with pytest.raises(TableError) as caught:
        load_table(folder)
    found = {(p.file, p.row.split(" ")[0], p.column): p.right for p in caught.value.problems}
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


# -- cells and their claims ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("file", "row", "column", "value", "told"),
    [
        # A cell that its claim is not within, and one that says more than its claims.
        ("taxa.csv", 2, "tail", "hollow", "evidence.csv, row 3 (alpha), tail: 'forked': taxa.csv has hollow"),
        (
            "taxa.csv",
            2,
            "tail",
            "hollow|forked",
            "taxa.csv, row 2 (alpha), tail: 'hollow|forked': its claims",
        ),
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
    put(folder, file, row, column, value)
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        table = load_table(folder)
    assert len(table) == 2
    assert [str(w.message)[: len(told)] for w in caught] == ([told] if told else [])
    assert all(w.category is TableWarning and len(str(w.message).splitlines()) == 1 for w in caught)


def test_a_claim_that_is_set_aside_is_no_disagreement(folder):
    put(folder, "taxa.csv", 2, "tail", "hollow")
    put(folder, "evidence.csv", 3, "note", "Not followed: a slip of the printer")
    add(folder, "evidence.csv", "alpha,,tail,hollow,JONES,,secondary,species,")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        load_table(folder)


def test_a_genus_that_disagrees_with_its_claims_is_told(with_genera):
    swap(with_genera, "genera.csv", "hollow", "forked")
    with pytest.warns(
        TableWarning, match=r"evidence.csv, row 18 \(Genus\), tail: 'hollow': genera.csv has forked"
    ):
        load_table(with_genera)


# -- many at once ----------------------------------------------------------------------------------------

Breakage = tuple[Callable[[Path], None], tuple[str, str, str]]

TEN: list[Breakage] = [
    (lambda f: put(f, "traits.csv", 2, "unit", "cm"), ("traits.csv", "2 (size)", "unit")),
    (lambda f: put(f, "traits.csv", 3, "kind", "ordnal"), ("traits.csv", "3 (tail)", "kind")),
    (lambda f: put(f, "traits.csv", 4, "core", "maybe"), ("traits.csv", "4 (spots)", "core")),
    (lambda f: put(f, "traits.csv", 5, "effort_s", "0"), ("traits.csv", "5 (rays)", "effort_s")),
    (lambda f: put(f, "taxa.csv", 2, "spots", "lite"), ("taxa.csv", "2 (alpha)", "spots")),
    (lambda f: put(f, "taxa.csv", 3, "careGroup", "sand"), ("taxa.csv", "3 (beta)", "careGroup")),
    (lambda f: put(f, "care.csv", 2, "flow", "torrent"), ("care.csv", "2 (stones)", "flow")),
    (lambda f: put(f, "evidence.csv", 9, "class", "heard"), ("evidence.csv", "9 (beta)", "class")),
    (lambda f: put(f, "evidence.csv", 10, "source", "ROE"), ("evidence.csv", "10 (beta)", "source")),
    (lambda f: add(f, "sources.bib", "@misc{SMITH,\n}"), ("sources.bib", "15", "")),
]


def test_ten_breakages_give_ten_problems_and_nothing_is_loaded(folder):
    for break_it, _ in TEN:
        break_it(folder)
    found = problems(folder)
    assert {(p.file, p.row, p.column) for p in found} == {place for _, place in TEN}
    assert len(found) == len(TEN)


def test_a_file_that_cannot_be_read_does_not_hide_what_is_wrong_in_the_others(folder):
    (folder / "care.csv").unlink()
    put(folder, "taxa.csv", 2, "spots", "lite")
    put(folder, "evidence.csv", 9, "class", "heard")
    put(folder, "traits.csv", 4, "core", "maybe")
    assert [p.file for p in problems(folder)] == ["care.csv", "traits.csv", "taxa.csv", "evidence.csv"]


def test_long_lists_are_cut_in_the_message_only(folder):
    write(
        folder,
        "evidence.csv",
        read(folder, "evidence.csv") + [["alpha", "", "size", "1", "X", "", "read", "species", ""]] * 60,
    )
    with pytest.raises(TableError) as caught:
        load_table(folder)
    assert len(caught.value.problems) == 60
    assert str(caught.value).splitlines()[-1] == "... and 20 more"


@pytest.mark.parametrize(
    ("name", "row", "column", "value"),
    [
        ("taxa.csv", 40, "tail_fork", "forkd"),
        ("evidence.csv", 1500, "class", "reed"),
        ("care.csv", 3, "ph", "x"),
    ],
)
def test_the_shipped_files_break_the_same_way(tmp_path, name, row, column, value):
    copy = tmp_path / "traits"
    shutil.copytree(TRAITS, copy)
    put(copy, name, row, column, value)
    found = [p for p in problems(copy) if p.value == value]
    assert [(p.file, p.row.split(" ")[0], p.column) for p in found] == [(name, str(row), column)]


def test_an_installation_without_its_table_says_so(tmp_path, monkeypatch):
    monkeypatch.setattr(layout, "__file__", str(tmp_path / "idkey" / "table" / "layout.py"))
    with pytest.raises(IdkeyError, match=r"the shipped trait table is missing; install the package again"):
        shipped_folder()


# -- care cells alone ------------------------------------------------------------------------------------


def test_care_cells_are_read_as_their_kind():
    by_id = {a.id: a for a in CARE}
    assert parse_care(by_id["ph"], " 5.8..7 ") == Range(5.8, 7.0)
    assert parse_care(by_id["ph"], "6") == Range(6.0, 6.0)
    assert parse_care(by_id["tank_volume_l"], "120") == 120.0
    assert parse_care(by_id["flow"], "strong|gentle") == ("gentle", "strong")
    assert parse_care(by_id["breeding"], "In caves.") == "In caves."
    assert parse_care(by_id["breeding"], "  ") is None
