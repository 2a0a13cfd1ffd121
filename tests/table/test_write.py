"""A table written as the files of a folder and read again: the same table, the same bytes, no formula."""

import csv
import io
import re
from dataclasses import replace

import pandas as pd
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from idkey.errors import IdkeyError, TableError
from idkey.table.claims import Source, bibtex
from idkey.table.csvfile import Found, guarded_cell, plain_cell, read_sheet, write_sheet
from idkey.table.fields import HEADERS, META, UNITS
from idkey.table.files import files_of, parts_from, written
from idkey.table.folder import load_table
from idkey.table.rows import shipped_care_columns, trait_row
from idkey.table.schema import NEVER_NEGATIVE, NOT_APPLICABLE, NOT_KNOWN, YOUNG, Range, States, Trait
from idkey.table.table import TraitTable

from .small_folder import table_of

FORMULA_SIGNS = "=+-@\t\r"
"""What a spreadsheet takes for the start of a formula: https://owasp.org/www-community/attacks/CSV_Injection"""
NASTY = [
    *("=1+1", "+49 170", "-", "-3..4", "-x", "@SUM(A1)", "'=1", "''@x", "'", "it's", '"', 'say "no", twice'),
    *("one\ntwo\r\nthree", "one\rtwo", "a,b;c", "<script>alert(1)</script>", "é \u2028 漢字 \U0001f41f"),
    *("1e5", "nan", "0x10", "'\t=x"),
]


# -- tables, as small as they can be ---------------------------------------------------------------------

written_text = st.one_of(
    st.sampled_from(NASTY),
    st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=12),
    st.text("=+-@'\" \n\t,|.1ae", max_size=8),
).map(str.strip)
some_text = written_text.filter(bool)
state_text = some_text.filter(lambda s: "|" not in s and s not in ("-", "?"))
ids = st.from_regex(r"[a-z][a-z0-9_]{0,6}", fullmatch=True).filter(lambda s: not s.endswith(YOUNG))
shares = st.floats(0.001, 0.999)
amounts = st.floats(1e-9, 1e9)


@st.composite
def traits(draw, trait_id: str, others: list[Trait]) -> Trait:
    kind = draw(st.sampled_from(["nominal", "ordinal", "measure", "ceiling"]))
    has_states = kind in ("nominal", "ordinal")
    states = tuple(draw(st.lists(state_text, min_size=2, max_size=4, unique=True))) if has_states else ()
    words = tuple(draw(state_text) for _ in states)
    applies = None
    asked = [t for t in others if t.states]
    if asked and draw(st.booleans()):
        other = draw(st.sampled_from(asked))
        applies = (other.id, tuple(draw(st.lists(st.sampled_from(other.states), min_size=1, unique=True))))
    return Trait(
        id=trait_id,
        kind=kind,
        label=draw(written_text),
        question=draw(some_text),
        how=draw(written_text),
        unit=draw(st.sampled_from(UNITS if has_states else UNITS[1:])),
        states=states,
        words=words,
        error=draw(shares),
        error_basis=draw(written_text),
        spread=draw(amounts),
        spread_is_relative=draw(st.booleans()),
        effort=draw(amounts),
        applies_when=applies,
        needs_adult=draw(st.booleans()),
        in_key=draw(st.booleans()),
        group=draw(written_text),
        core=draw(st.booleans()),
    )


@st.composite
def cells(draw, trait: Trait):
    choice = draw(st.integers(0, 5))
    if choice == 0:
        return None
    if choice == 5:
        return NOT_KNOWN
    if choice == 1:
        return NOT_APPLICABLE
    if trait.has_states:
        names = draw(st.lists(st.sampled_from(trait.states), min_size=1, unique=True))
        weights = [draw(st.integers(1, 5)) if choice == 2 else 1 for _ in names]
        order = sorted(range(len(names)), key=lambda i: trait.states.index(names[i]))
        return States(tuple(names[i] for i in order), tuple(float(weights[i]) / sum(weights) for i in order))
    low = draw(st.one_of(st.integers(-50, 50), st.floats(-1e12, 1e12)))
    if trait.kind == "ceiling":
        return Range(0.0, abs(float(low)) + 1)
    low = abs(low) if trait.unit in NEVER_NEGATIVE else low
    return Range(float(low), float(low) + draw(st.sampled_from([0.0, 0.5, 1.0, 1e6])))


@st.composite
def tables(draw) -> TraitTable:
    trait_ids = draw(st.lists(ids.filter(lambda s: s not in META), min_size=1, max_size=3, unique=True))
    made: list[Trait] = []
    for trait_id in trait_ids:
        made.append(draw(traits(trait_id, made)))
    taxa = draw(st.lists(ids, min_size=1, max_size=3, unique=True))
    columns = {t.id: tuple(draw(cells(t)) for _ in taxa) for t in made}
    if draw(st.booleans()):
        columns[made[0].id + YOUNG] = tuple(draw(cells(made[0])) for _ in taxa)
    keys = draw(st.lists(ids, max_size=2, unique=True))
    sources = {k: draw(source(k)) for k in keys}
    groups = draw(st.lists(ids.filter(lambda s: s not in taxa), max_size=1))
    care = [{"care_group": g, "breeding": draw(written_text), "ph": "6..7"} for g in groups]
    if groups:
        care.append({"care_group": groups[0], "taxon": taxa[0], "cautions": draw(written_text)})
    evidence = [
        {"taxon": taxon, "attribute": column, "value": draw(written_text), "note": draw(written_text)}
        for column, found in columns.items()
        for taxon, cell in zip(taxa, found, strict=True)
        if cell not in (None, NOT_KNOWN)
    ]
    genus = [draw(st.sampled_from(["Aus", "=Bus", draw(some_text)])) for _ in taxa]
    said = {g: {t.id: draw(cells(t)) for t in made} for g in dict.fromkeys(genus)}
    said = {g: {c: v for c, v in row.items() if v not in (None, NOT_KNOWN)} for g, row in said.items()}
    genera = {g: row for g, row in said.items() if row and draw(st.booleans())}
    evidence += [{"genus": g, "attribute": c} for g, row in genera.items() for c in row]
    for row in care:
        who = {"taxon": row["taxon"]} if "taxon" in row else {"care_group": row["care_group"]}
        evidence += [{**who, "attribute": c} for c in ("breeding", "ph", "cautions") if row.get(c)]
    evidence = [{**row, "class": "memory", "scope": "species"} for row in evidence]
    if keys and evidence:
        evidence[0] |= {"source": keys[0], "class": "read", "locator": draw(written_text)}
    meta = [
        {
            "scientificName": draw(some_text),
            "genus": genus[i],
            "vernacularName": draw(written_text),
            "tradeCode": draw(written_text),
            "careGroup": groups[0] if groups else "",
            "commonness": draw(st.sampled_from(["", "common", "rare"])),
            "nameAccordingTo": keys[0] if keys else "",
        }
        for i in range(len(taxa))
    ]
    about = draw(st.one_of(st.just({}), st.fixed_dictionaries({"version": some_text, "more": json_values})))
    return TraitTable(
        traits=tuple(made),
        taxa=frame(meta, META[1:], pd.Index(taxa, name="id")),
        own_cells=columns,
        genera=genera,
        care=frame(care, [*HEADERS["care.csv"], *(column.id for column in shipped_care_columns())]),
        evidence=frame(evidence, HEADERS["evidence.csv"]),
        sources=sources,
        name="fish",
        about=about,
    )


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | some_text,
    lambda inner: st.lists(inner, max_size=2) | st.dictionaries(some_text, inner, max_size=2),
    max_leaves=4,
)


def frame(rows: list[dict[str, str]], columns, index=None) -> pd.DataFrame:
    texts = {c: [row.get(c, "") for row in rows] for c in columns}
    return pd.DataFrame(texts, index=index, dtype="str")


@st.composite
def source(draw, key: str) -> Source:
    title = draw(some_text)
    before = draw(st.sampled_from(["", "\n", "% a word before it\n\n"]))
    plain = re.sub(r'[{}\\"@]', "", title)
    return Source(key, key, title, entry=f"{before}@misc{{{key},\n  title = {{{plain}}},\n}}")


# -- there and back --------------------------------------------------------------------------------------


@settings(max_examples=50)
@given(tables())
def test_a_table_is_the_same_after_writing_and_reading_and_no_written_cell_starts_a_formula(table):
    files = files_of(table)
    again = table_of(files, "fish")
    assert files_of(again) == files
    for name in ("traits", "own_cells", "genera", "cells", "about"):
        assert getattr(again, name) == getattr(table, name)
    assert set(again.sources) == set(table.sources)
    for name in ("taxa", "care", "evidence"):
        pd.testing.assert_frame_equal(getattr(again, name), getattr(table, name))
    number = re.compile(r"-|[-+]?[0-9.]+(e[-+]?\d+)?(\.\.[-+]?[0-9.]+(e[-+]?\d+)?)?", re.I)
    sheets = (io.StringIO(data.decode(), newline="") for name, data in files.items() if name.endswith(".csv"))
    for cell in (cell for sheet in sheets for line in csv.reader(sheet) for cell in line):
        assert number.fullmatch(cell) or not cell.startswith(tuple(FORMULA_SIGNS))


# -- cells -----------------------------------------------------------------------------------------------


@given(st.one_of(st.text("=+-@'\t\r. 1ex", max_size=8), st.text(), st.sampled_from(NASTY)))
def test_guarding_a_cell_is_undone_by_reading_it(text):
    guarded = guarded_cell(text)
    assert plain_cell(guarded) == text
    assert re.sub("'", "", guarded) == re.sub("'", "", text)


@pytest.mark.parametrize("sign", [";", "\t"])
@given(text=written_text)
@example("safe;=1+1")
@example('a, b; "=1"')
@example("x\n=1")
@example("x\t@y")
@example("1,2;-3")
def test_no_formula_starts_where_another_sign_parts_the_cells(sign, text):
    data = write_sheet(("a", "b"), [("kind", text)])
    # As a program reads it that is set to another language.
    lines = csv.reader(io.StringIO(data.decode(), newline=""), delimiter=sign)
    cells = [cell.lstrip(' "') for line in list(lines)[1:] for cell in line]
    assert not [cell for cell in cells if cell.startswith(tuple(FORMULA_SIGNS))]


PLAIN = ["-", "-3", "-3..-1", "-0.5..4", "+5", "-1e+300..2", "12..16", "", "a=b", "'tis"]
FORMULAS = ["=1", "+1+1", "-1-1", "--1", "@x", "\tx", "'=1", "-..4", "-1..x"]


@pytest.mark.parametrize("text", [*PLAIN, *FORMULAS])
def test_formulas_get_an_apostrophe_and_nothing_else(text):
    assert guarded_cell(text) == f"{'' if text in PLAIN else chr(39)}{text}"


@given(st.lists(st.lists(written_text, min_size=3, max_size=3), max_size=4))
def test_a_written_sheet_is_read_by_any_csv_reader(rows):
    data = write_sheet(("a", "b", "c"), rows)
    read = list(csv.reader(io.StringIO(data.decode(), newline=""), strict=True))
    assert [[plain_cell(c) for c in line] for line in read] == [["a", "b", "c"], *rows]
    # An apostrophe of a spreadsheet is taken off, and quotation marks stand only where they are needed.
    found = Found()
    sheet = read_sheet("x.csv", b"a,b\n'=1+1,'tis\n' x,'-5\n", found, ("a", "b"))
    assert [row.values for row in sheet.rows] == [{"a": "=1+1", "b": "'tis"}, {"a": "' x", "b": "-5"}]
    assert not found
    rows = [("plain", "it's", 'a "b"'), ("x,y", "one\rtwo", "-1..2")]
    assert write_sheet(("a", "b", "c"), rows) == b'a,b,c\nplain,it\'s,"a ""b"""\n"x,y","one\rtwo",-1..2\n'


# -- traits ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("spread", "relative", "text"),
    [(0.05, True, "5%"), (0.07, True, "7%"), (0.003, True, "0.3%"), (2.0, False, "2"), (0.1, False, "0.1")],
)
def test_measuring_error_as_a_keeper_writes_it(spread, relative, text):
    trait = Trait("size", "measure", unit="mm", spread=spread, spread_is_relative=relative)
    assert trait_row(trait)["spread"] == text
    row = trait_row(Trait("size", "measure", unit="mm", effort=20.0, error=1 / 3))
    assert (row["effort_s"], row["error"]) == ("20", "0.3333333333333333")


# -- what is left out, and what is refused ---------------------------------------------------------------


def test_a_table_of_some_kinds_leaves_out_what_is_said_of_the_others():
    whole = load_table()
    some = whole.only(whole.ids[:3])
    files, again = written(some, "fish")
    assert (again.ids, again.cells, files_of(again)) == (some.ids, some.cells, files)
    assert set(again.evidence["taxon"]) - {""} <= set(some.ids)
    assert again.evidence["taxon"].eq("").sum() == whole.evidence["taxon"].eq("").sum()


@pytest.mark.parametrize(
    ("change", "place"),
    [
        ({"error": 1.0}, ("traits.csv", "error")),
        ({"question": ""}, ("traits.csv", "question")),
        ({"unit": "cm"}, ("traits.csv", "unit")),
        ({"how": "x" * 20_000}, ("traits.csv", "how_to_look")),
    ],
)
def test_what_could_not_be_loaded_again_is_not_written(change, place):
    table = load_table()
    first, *rest = table.traits
    with pytest.raises(TableError, match="nothing was written") as caught:
        written(replace(table, traits=(replace(first, **change), *rest)), "fish")
    assert place in {(p.file, p.column) for p in caught.value.problems}


@pytest.mark.parametrize(
    "change", [{"error": 2.0}, {"effort": 0.0}, {"spread": 0.0}, {"spread": float("nan")}, {"how": "a\x00b"}]
)
def test_what_no_trait_can_have_is_refused_when_it_is_made(change, shipped):
    first, *rest = shipped.traits
    with pytest.raises(IdkeyError, match=next(iter(change))):
        replace(shipped, traits=(replace(first, **change), *rest))


def test_what_is_no_text_is_refused():
    table = load_table()
    evidence = table.evidence.astype({"note": object})
    evidence.loc[0, "note"] = "\ud800"
    wrong = [{"about": {**table.about, "more": value}} for value in (float("nan"), {1, 2}, "\ud800")]
    for change in ({"evidence": evidence}, *wrong):
        with pytest.raises(IdkeyError, match="cannot be written as text"):
            files_of(replace(table, **change))


# -- sources ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("entry", ["", "@misc{OLD,\n  title = {New},\n}\n"])
def test_a_source_without_an_entry_of_its_key_is_refused(entry):
    table = load_table()
    sources = {**table.sources, "NEW": Source("NEW", "New", "New", entry=entry)}
    with pytest.raises(TableError, match=r"sources\.bib: 'NEW': no entry of this key"):
        written(replace(table, sources=sources), "fish")


def test_entries_keep_their_text_and_what_stands_before_it():
    first = "% first\n@string{j = {Journal}}\n@misc{A,\n  journal = j,\n}"
    second = "\n\n% of B\n@comment{@misc{A}}\n@misc(B, title={b})\n% end"
    text = first + second
    found = Found()
    read = parts_from({"sources.bib": text.encode()}, found, partial=True).sources
    assert not found
    assert [s.entry for s in read.values()] == [first, second]
    assert bibtex(read.values()) == text + "\n"
