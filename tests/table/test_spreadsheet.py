"""A keeper's spreadsheet laid over a table. The keepers, their fish and their figures are invented."""

from __future__ import annotations

import datetime as dt
import io
import os
import re
import zipfile
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from shipped import TABLE

from idkey.errors import IdkeyError, TableError
from idkey.table import csvfile, layout
from idkey.table.claims import UNSOURCED
from idkey.table.spreadsheet import read_spreadsheet
from idkey.table.table import TraitTable

HEADER = "id,Pattern,Tail fin edge,Length,Lower teeth per side\n"
ZEBRA = "hypancistrus_zebra"


def write(tmp_path: Path, text: str, name: str = "fish.csv", encoding: str = "utf-8") -> Path:
    file = tmp_path / name
    file.write_bytes(text.encode(encoding))
    return file


@pytest.fixture
def read(tmp_path):
    """Return a function that reads a CSV file of this text."""
    return lambda text, **how: read_spreadsheet(write(tmp_path, text, **how), TABLE)


def book(tmp_path: Path, sheets: dict[str, list[list]]) -> Path:
    with pd.ExcelWriter(tmp_path / "fish.xlsx") as made:
        for title, rows in sheets.items():
            pd.DataFrame(rows).to_excel(made, sheet_name=title, header=False, index=False)
    return tmp_path / "fish.xlsx"


def changed(file: Path, change) -> Path:
    """Write the parts of a workbook anew, each as `change` makes it."""
    data = io.BytesIO(file.read_bytes())
    with zipfile.ZipFile(data) as old, zipfile.ZipFile(file, "w") as new:
        for part in old.namelist():
            new.writestr(part, change(part, old.read(part)))
    return file


def only(found):
    """Return the one row of an import."""
    (row,) = found.rows
    return row


FRAME = pd.DataFrame({"kind": ["Red", "Blue 2"], "tail": ["yes|no:x", "-"], "rays": ["1..2.5", "-3"]})
OTHER = TraitTable.from_frame(FRAME.assign(tail_young=["", "no:x"]), "kind", {"rays": "measure"})


@pytest.mark.parametrize("ending", ["csv", "xlsx"])
@pytest.mark.parametrize("table", [TABLE, OTHER])
def test_the_table_itself_changes_nothing(tmp_path, table, ending):
    frame = table.to_frame()
    file = tmp_path / f"table.{ending}"
    frame.to_csv(file) if ending == "csv" else frame.to_excel(file)
    found = read_spreadsheet(file, table)
    assert found.problems == ()
    assert {row.what for row in found.rows} == {"unchanged"}
    assert [row.taxon for row in found.rows] == list(table.ids)
    assert not any(row.said for row in found.rows)
    assert found.table is table
    for row in found.rows:
        assert dict(row.understood) == {c: text for c, text in frame.loc[row.taxon].items() if text}


def test_kinds_of_another_table_come_in_whole(tmp_path):
    """All rows but two are taken out, and come back from a sheet."""
    TABLE.to_frame(own=True).to_csv(tmp_path / "all.csv")
    found = read_spreadsheet(tmp_path / "all.csv", TABLE.only(TABLE.ids[:2]))
    assert found.problems == ()
    assert (found.count("unchanged"), found.count("new")) == (2, len(TABLE) - 2)
    assert found.table.to_frame()[list(TABLE.to_frame().columns)].equals(TABLE.to_frame())


@pytest.mark.parametrize(
    ("header", "cells", "taxon"),
    [
        ("ID", "Hypancistrus zebra", ZEBRA),
        ("trade code", "l046 / L98", ZEBRA),
        ("Genus,Species", "Hypancistrus,zebra", ZEBRA),
        ("Species", "Hypancistrus cf. inspector", "hypancistrus_cf_inspector_l102"),
        ("scientificName,qualifier", "Hypancistrus inspector,cf", "hypancistrus_cf_inspector_l102"),
        ("Species", "Hypancistrus inspector", "hypancistrus_inspector"),
        ("L number,Name", "L200,Hemiancistrus subviridis", "hemiancistrus_subviridis"),
        ("Name", "Hypancistrus sp. (L 201)", "hypancistrus_l201"),
    ],
)
def test_a_kind_is_found(read, header, cells, taxon):
    row = only(read(f"{header},Head\n{cells},\n"))
    assert (row.taxon, row.what, row.problems) == (taxon, "unchanged", ())
    assert row.label == TABLE.label(taxon)


# L102 is hypancistrus_cf_inspector_l102; the name that the trade often puts on it is that of another kind.
@pytest.mark.parametrize(
    ("header", "cells", "said"),
    [
        ("L number", "L200", "several kinds are called so; give the id of one: baryancistrus_demantoides, "),
        ("L number,Name", "L102,Hypancistrus inspector", "l102, hypancistrus_inspector); leave one blank"),
        ("L number,Name", "L339,Hypancistrus novus", "trade code and name are not of one kind (hypancistru"),
        ("L number", "L999", "name the kind"),
        ("Name", "Gadget", "genus and species"),
        ("id", "Not an id!", "lower-case letters"),
    ],
)
def test_a_row_of_no_one_kind_is_not_taken(read, header, cells, said):
    found = read(f"{header}\n{cells}\n")
    row = only(found)
    assert (row.what, row.taxon) == ("not taken", "")
    assert said in row.problems[0].right
    assert (row.problems[0].file, row.problems[0].row.split()[0]) == ("fish.csv", "2")
    assert found.table is TABLE


@pytest.mark.parametrize(
    ("cells", "taxon", "name"),
    [
        ("L 999,Hypancistrus sp", "hypancistrus_l999", "Hypancistrus sp."),
        ("LDA999,Ancistrus cf. novus", "ancistrus_cf_novus_lda999", "Ancistrus novus"),
        (",Ancistrus n\u00f3vus-\u00e9", "ancistrus_novus_e", "Ancistrus n\u00f3vus-\u00e9"),
        (",Newgenus sp.", "newgenus_sp", "Newgenus sp."),
        (",\u9c7c \u9c7c", "kind", "\u9c7c \u9c7c"),
        (",Ancistrus sp. L 998", "ancistrus_l998", "Ancistrus sp."),
    ],
)
def test_a_new_kind_gets_an_id_and_a_genus(read, cells, taxon, name):
    found = read(f"L number,Name,Pattern\n{cells},plain\n")
    row = only(found)
    assert (row.what, row.taxon, row.problems) == ("new", taxon, ())
    assert any("id made" in said for said in row.said)
    new = found.table.taxa.loc[taxon]
    assert (new["scientificName"], new["genus"]) == (name, name.split()[0])
    assert found.table.to_frame().at[taxon, "pattern"] == "plain"
    assert found.table.claims(taxon, "pattern")["note"].tolist() == [UNSOURCED]
    assert found.table.label(taxon) == row.label


def test_the_care_group_that_a_genus_shares_and_a_new_genus_are_said(read):
    rows = ("Ancistrus novus,", "Hypancistrus novus,", "Ancistrus alter,Panaque", "Ancistrus aliud,no such")
    found = read("\n".join(("Name,Care group", *rows, "Golden sucker,")))
    groups = [found.table.taxa.at[row.taxon, "careGroup"] for row in found.rows]
    # Hypancistrus has more than one care group.
    assert groups == ["ancistrus", "", "panaque", "", ""]
    assert "care group ancistrus, as all of its genus" in found.rows[0].said
    assert "no care group given" in found.rows[1].said
    assert [p.column for p in found.problems] == ["Care group"]
    assert ["genus Golden is new" in str(row.said) for row in found.rows] == [False] * 4 + [True]


def test_a_kind_is_renamed_by_its_id_only(read):
    by_id = read("id,Name\nhypancistrus_lunaorum,Ancistrus novus\n")
    new = by_id.table.taxa.loc["hypancistrus_lunaorum"]
    assert (by_id.problems, new["scientificName"], new["genus"]) == ((), "Ancistrus novus", "Ancistrus")
    # No other name of the same kind renames it, and a qualifier alone may be given.
    assert read(f"id,Name\n{ZEBRA},Zebra pleco\n").table is TABLE
    cf = only(read(f"id,Name,qualifier\n{ZEBRA},Zebra pleco,cf\n"))
    assert dict(cf.taken) == {"identificationQualifier": "cf."}
    # A trade code stands for its kind where the name does not speak against it.
    for name in ("Hypancistrus lunaorum", "hypancistrus sp", "Hypancistrus L339", ""):
        assert only(read(f"L number,Name,Mouth\nL339,{name},\n")).taxon == "hypancistrus_lunaorum"
    # It is added, never taken away.
    assert read(f"id,L number\n{ZEBRA},L 999\n").table.taxa.at[ZEBRA, "tradeCode"] == "L046|L098|L999"


def test_a_kind_that_stands_twice_is_taken_once(read):
    rows = ("L46,,bars", "", "L98,,plain", "L999,Ancistrus novus,plain", ",Ancistrus novus,bars")
    found = read("\n".join(("L number,Name,Pattern", *rows)))
    assert [row.what for row in found.rows] == ["unchanged", "not taken", "new", "not taken"]
    assert [row.number for row in found.rows] == [2, 4, 5, 6]
    assert "row 2 is of this kind already" in found.rows[1].problems[0].right
    assert found.rows[3].said == ()


def test_every_column_of_the_shipped_table_goes_by_its_label(read):
    forms = {"{}": "", "{} young": "_young", "Young {}": "_young", "{} source": " source"}
    forms["{} page"] = " locator"
    for form, ending in forms.items():
        header = ["id", *(form.format(trait.label.upper().replace(" ", "_")) for trait in TABLE.traits)]
        columns = read(",".join(f'"{name}"' for name in header)).columns
        assert [c.meaning for c in columns] == ["id", *(t.id + ending for t in TABLE.traits)]


def test_a_column_that_is_not_understood_is_said_and_not_taken(read):
    text = "id;Patern;Pattern;pattern;\nhypancistrus_zebra;bars;plain;lines;x\n"
    found = read(text)
    assert [c.meaning for c in found.columns] == ["id", "", "", "pattern", ""]
    texts = [c.text.casefold() for c in found.columns]
    assert "did you mean 'pattern'?" in texts[1]
    assert "means the same as 'pattern'" in texts[2]
    assert (texts[3], "blank" in texts[4]) == ("", True)
    assert found.table.to_frame().at[ZEBRA, "pattern"] == "lines"
    assert [p.row for p in found.problems] == ["1", "1", "1"]
    # Where commas part the cells, the same row may have slipped by one.
    comma = read(text.replace(";", ","))
    assert only(comma).what == "not taken"


@pytest.mark.parametrize(
    ("header", "cells", "read_as"),
    [
        ("Length (cm)", ["17.8", "120 mm"], ["178", "120"]),
        ("length in inches", ["7", "15 cm"], ["178", "150"]),
        ("adult_size_mm", ["178", "120"], ["178", "120"]),
        ("Eye against head (% HL)", ["25", "25..28"], ["25..25", "25..28"]),
        ("Lower teeth per side (cm)", ["12", "14"], [None, None]),
    ],
)
def test_a_unit_in_the_header_holds_for_plain_numbers(read, header, cells, read_as):
    found = read(f"id,{header}\n{ZEBRA},{cells[0]}\nhypancistrus_lunaorum,{cells[1]}\n")
    column = found.columns[1].meaning
    assert [row.understood.get(column) for row in found.rows] == read_as
    assert len(found.problems) == read_as.count(None)


def test_what_is_not_understood_leaves_the_cell(read):
    found = read(HEADER + f"{ZEBRA},zigzag,,12 cm TL,n/a\n")
    assert found.table is TABLE
    where = ("fish.csv", f"2 ({ZEBRA})")
    places = [(p.file, p.row, p.column, p.value) for p in found.problems]
    assert places == [(*where, "Pattern", "zigzag"), (*where, "Length", "12 cm TL")]
    assert only(found).said == ("Lower teeth per side: 'n/a' read as not known",)
    found = read("Name,Common name\nAncistrus novus,a\x1b[0m\nA\x07,b\n")
    places = [(p.row, p.column) for p in found.problems]
    assert places == [("2 (ancistrus_novus)", "Common name"), ("3", "Name"), ("3", "Name")]
    assert "\x1b" not in repr(found) + found.table.taxa.at["ancistrus_novus", "vernacularName"]


def test_what_a_sheet_does_not_know_takes_nothing_away(read):
    found = read(f"id,Name,Pattern,Tail fin edge\n{ZEBRA},,?,\nancistrus_novus,Ancistrus novus,,unknown\n")
    assert [row.what for row in found.rows] == ["unchanged", "new"]
    assert "read as not known" in found.rows[0].said[0]
    # Of a new kind it holds in spite of its genus.
    assert TABLE.genera["Ancistrus"]["tail_fork"]
    assert found.table.to_frame(own=True).at["ancistrus_novus", "tail_fork"] == "?"


def test_a_smaller_record_and_a_dash_that_changes_a_cell_are_said(read):
    found = read(f"id,Pattern,Length\n{ZEBRA},-,61\n")
    assert found.table.to_frame().at[ZEBRA, "pattern"] == "-"
    dash = "Pattern: - read as not applicable to this kind; leave blank what is not known"
    assert only(found).said == (dash, "Length: less than the largest length so far, 100 mm")


def test_sources_become_claims(read):
    found = read(
        "id,Pattern,Lower teeth per side,Upper teeth per side,Source,Page,Upper teeth per side source\n"
        f"{ZEBRA},plain,71-72,73,arm2007,12,TANARM2016\n"
        "hypancistrus_lunaorum,plain,,73,no such,,\n"
    )
    sources = dict.fromkeys(("pattern", "teeth_lower"), ("ARM2007", "12"))
    sources["teeth_upper"] = ("TANARM2016", "")
    for column, source in sources.items():
        last = found.table.claims(ZEBRA, column).iloc[-1][["source", "locator", "class"]]
        assert last.tolist() == [*source, "secondary"]
    assert [(p.column, p.value) for p in found.problems] == [("Source", "no such")]
    unsourced = found.table.claims("hypancistrus_lunaorum", "teeth_upper").iloc[-1]
    assert (unsourced["class"], unsourced["note"]) == ("memory", UNSOURCED)
    # A source behind a cell that does not change adds no claim; a date is no page.
    kept = TABLE.to_frame().at[ZEBRA, "pattern"]
    assert read(f"id,Pattern,Source\n{ZEBRA},{kept},ARM2007\n").table is TABLE
    dated = read(f"id,Pattern,Page\n{ZEBRA},plain,12-Jun\n")
    assert "a spreadsheet made a date of this" in dated.problems[0].right


KEEPER = [
    ["Meine Welse", "", "", ""],
    ["L-number", "Name", "Length", "Fin edging"],
    ["L 46", "Zebra pleco", "17,8 cm", "dark / white"],
    ["", "", "", ""],
    ["L999", "Ancistrus m\u00fclleri", "7 in", "?"],
]


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize(
    ("encoding", "first"),
    # Some programs write a line that names what parts the cells.
    [("utf-8", ""), ("utf-8", "sep=;\r\n"), ("utf-8-sig", "\n"), ("cp1252", ""), ("utf-16", "")],
)
def test_the_dialects_of_one_keeper(read, delimiter, encoding, first):
    quote = '"' if delimiter == "," else ""
    text = "".join(delimiter.join(f"{quote}{c}{quote}" for c in row) + "\r\n" for row in KEEPER)
    found = read(first + text, encoding=encoding)
    zebra, new = found.rows
    assert (zebra.number, new.number) == ((4, 6) if first else (3, 5))
    assert zebra.understood == {"tradeCode": "L046|L098", "adult_size": "178", "fin_edging": "dark|white"}
    assert (new.what, new.taxon) == ("new", "ancistrus_mulleri")
    understood = new.understood["scientificName"], new.understood["adult_size"]
    assert understood == ("Ancistrus m\u00fclleri", "178")
    assert found.problems == ()
    assert any("Windows-1252" in note for note in found.notes) == (encoding == "cp1252")


def test_a_comma_without_quotes_never_moves_a_cell(read):
    found = read(HEADER + f"{ZEBRA},plain,forked,17,8 cm,12\n")
    assert only(found).what == "not taken"
    assert "quote a cell with a comma" in found.problems[0].right
    # One apostrophe is what an export puts before a formula; it is taken off again.
    found = read('Name,Common name\nAncistrus novus,"\'=HYPERLINK(1)"\nAncistrus alter,<b>x</b>\n')
    names = [found.table.taxa.at[row.taxon, "vernacularName"] for row in found.rows]
    assert names == ["=HYPERLINK(1)", "<b>x</b>"]


def test_a_workbook_is_read_as_it_is_seen(tmp_path):
    rows = [
        [None] * 6,
        ["L-number", "Name", "Length", "Lower teeth per side", "Eye against head", "Spots in the fins"],
        [None] * 6,
        ["L46", None, "=50+11", 12, 0.25, True],
        ["L174", None, 54.0, dt.datetime(2016, 12, 1), 0.1 + 0.2, False],
    ]
    file = book(tmp_path, {"Fish": rows})
    made = openpyxl.load_workbook(file)
    made["Fish"]["E4"].number_format = "0%"
    made["Fish"].merge_cells("B4:B5")
    made.save(file)
    # A spreadsheet program keeps the result beside the formula.
    changed(file, lambda _, text: re.sub(rb"</f><v ?/?>(</v>)?", b"</f><v>61</v>", text))
    found = read_spreadsheet(file, TABLE)
    zebra, yudja = found.rows
    assert (zebra.number, yudja.number) == (4, 5)
    read = ("adult_size", "teeth_lower", "eye_size", "fin_spots")
    assert [zebra.understood[c] for c in read] == ["61", "12..12", "25..25", "yes"]
    assert [yudja.understood.get(c) for c in read] == ["54", None, "0.3..0.3", "no"]
    (problem,) = found.problems
    assert (problem.file, problem.column) == ("fish.xlsx, sheet Fish", "Lower teeth per side")
    assert "a spreadsheet made a date of this" in problem.right


def test_the_sheet_that_names_kinds_is_read(tmp_path):
    sheets = {"Diary": [["Day", "Water"], ["Monday", "soft"]], "Blank": []}
    for title, pattern in (("Fish", "bars"), ("Old", "plain")):
        sheets[title] = [["Name", "Pattern"], ["Hypancistrus zebra", pattern]]
    file = book(tmp_path, sheets)
    found = read_spreadsheet(file, TABLE)
    assert found.place == "fish.xlsx, sheet Fish"
    assert found.notes == ("sheet Fish was read; not read: Diary, Old",)
    assert read_spreadsheet(file, TABLE, sheet="old").rows[0].understood["pattern"] == "plain"
    with pytest.raises(TableError, match=r"fish\.xlsx: 'Fisch': .*did you mean 'Fish'\?"):
        read_spreadsheet(file, TABLE, sheet="Fisch")
    with pytest.raises(TableError, match="no column says which kind"):
        read_spreadsheet(file, TABLE, sheet="Blank")


def refused(file: Path, said: str) -> None:
    with pytest.raises(TableError, match=rf"{re.escape(file.name)}.*{re.escape(said)}"):
        read_spreadsheet(file, TABLE)


def test_a_workbook_cut_short_or_hurt(tmp_path):
    data = book(tmp_path, {"Fish": [["id"], [ZEBRA]]}).read_bytes()
    file = tmp_path / "hurt.xlsx"
    for size in range(4, len(data), 397):
        file.write_bytes(data[:size])
        refused(file, "the workbook is broken")
    for at in range(0, len(data), 149):
        file.write_bytes(data[:at] + bytes([data[at] ^ 0x55]) + data[at + 1 :])
        try:
            read_spreadsheet(file, TABLE)
        except IdkeyError as error:
            assert "hurt.xlsx" in str(error)  # noqa: PT017 - most changes are refused, some do no harm
    # One that grows too large.
    file = tmp_path / "bomb.xlsx"
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("[Content_Types].xml", "<x/>")
        packed.writestr("xl/worksheets/sheet1.xml", b"0" * (layout.MOST_BYTES + 1))
    assert file.stat().st_size < 100_000
    refused(file, "unpacks to more than")
    # Entities that grow, and a row beyond all sheets.
    grow = "".join(f'<!ENTITY e{i} "{f"&e{i - 1};" * 10 if i else "ha" * 10}">' for i in range(12))
    sheet = f"<!DOCTYPE x [{grow}]><worksheet>&e11;</worksheet>".encode()
    file = book(tmp_path, {"Fish": [["id"], [ZEBRA]]})
    changed(file, lambda _, text: text.replace(b'<row r="2"', b'<row r="2000000000000"'))
    assert read_spreadsheet(file, TABLE).rows == ()
    changed(file, lambda part, text: sheet if part.startswith("xl/worksheets") else text)
    refused(file, "the workbook is broken")


def test_limits(read, tmp_path, monkeypatch):
    long = read(f"id,Pattern,Length\n{ZEBRA},{'x' * 10_001},61\n")
    assert [p.right for p in long.problems] == ["the cell has 10001 characters; 10000 are the most"]
    assert only(long).understood == {"adult_size": "61"}
    refused(write(tmp_path, "id" + ",Pattern" * 1_000), "at most 1000 columns")
    refused(book(tmp_path, {"Fish": [["id", *["x"] * 1_000]]}), "at most 1000 columns")
    blank = openpyxl.load_workbook(book(tmp_path, {"Fish": [["id"]]}))
    for row in range(2, 5):
        blank["Fish"].cell(row, 30).number_format = "0%"
    blank.save(tmp_path / "blank.xlsx")
    assert read_spreadsheet(tmp_path / "blank.xlsx", TABLE).rows == ()
    monkeypatch.setattr(csvfile, "_MOST_LOOKED_AT", 80)
    refused(tmp_path / "blank.xlsx", "80 cells, blank ones counted")
    monkeypatch.setattr(layout, "MOST_BYTES", 3)
    refused(write(tmp_path, "id\na"), "larger than 3 bytes")


def test_what_is_no_sheet(tmp_path):
    for data, said in (
        (b"id\n\x81\x8d\n", "neither CSV nor XLSX"),
        (b'id,Pattern\n"x', "unclosed quotation mark"),
        (b"\xd0\xcf\x11\xe0old", "save it as .xlsx"),
        (b"PK\x03\x04", "broken"),
        (b"x\n,b\n", "row 1: 'x': no column says which kind a row is; name one id, trade code or sci"),
    ):
        (tmp_path / "odd.csv").write_bytes(data)
        refused(tmp_path / "odd.csv", said)
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe.csv")
    for path in (tmp_path, tmp_path / "none.csv", tmp_path / "pipe.csv"):
        refused(path, "no such file")


SMALL = TABLE.only(TABLE.ids[:3])
COLUMNS = ["id", "Name", "L number", "Genus", "Care group", "Pattern", "Length", "Length young", "Page", "x"]
ODD = ["=1+1", "'=x", "@x", "<b>x</b>", "-", "?", "1/0 in", "12-16", "L46", "a|b", "|", ":", "\x1b[0m"]
TEXTS = st.text(max_size=20) | st.sampled_from([*ODD, "forked:1e999"])


@settings(max_examples=25, deadline=None)
@given(st.lists(st.lists(TEXTS, min_size=10, max_size=10), min_size=1, max_size=4), st.sampled_from(",;\t"))
@example([["", "=cmd()", *[""] * 8]], ",")
@example([["", "", "|", "x", *[""] * 6]], ",")
def test_any_text_is_understood_or_refused(tmp_path_factory, rows, delimiter):
    frame = pd.DataFrame(rows, columns=COLUMNS)
    file = tmp_path_factory.getbasetemp() / "any.csv"
    file.write_bytes(frame.to_csv(index=False, sep=delimiter).encode("utf-8", "replace"))
    try:
        found = read_spreadsheet(file, SMALL)
    except IdkeyError as error:
        assert "any.csv" in str(error)  # noqa: PT017 - either is right
        return
    assert len(found.to_frame()) == len(found.rows)
    assert repr(found)
    assert set(SMALL.ids) <= set(found.table.ids)
    again = read_spreadsheet(file, found.table)
    assert not again.count("changed") or found.count("not taken")


@settings(max_examples=40, deadline=None)
@given(st.binary(max_size=300))
def test_any_bytes_are_refused(tmp_path_factory, data):
    file = tmp_path_factory.getbasetemp() / "bytes.csv"
    file.write_bytes(data)
    with pytest.raises(IdkeyError, match=r"bytes\.csv"):
        read_spreadsheet(file, SMALL)
