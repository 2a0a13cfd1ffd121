"""datapackage.json: written by its generator, true of the files, and with the patterns of the loader.

The rules are those of the Data Package standard 2.0: https://datapackage.org/standard/data-package/,
https://datapackage.org/standard/data-resource/ and https://datapackage.org/standard/table-schema/. The terms
are those of Darwin Core, https://dwc.tdwg.org/terms/.
"""

import importlib.util
import json
import re
from functools import partial
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shipped import FOLDER, TABLE, rows

from idkey.table.fields import CLASSES, COMMONNESS, KINDS, SCOPES, UNITS
from idkey.table.layout import VERSION
from idkey.table.schema import cell_text, parse_care, parse_cell

ROOT = Path(__file__).resolve().parents[2]
TOOL = ROOT / "tests" / "tools" / "describe_table.py"
PACKAGE = json.loads((FOLDER / "datapackage.json").read_text(encoding="utf-8"))
RESOURCES = {r["name"]: r for r in PACKAGE["resources"]}
TABLES = {name: r for name, r in RESOURCES.items() if r.get("type") == "table"}
FIELDS = {name: {f["name"]: f for f in r["schema"]["fields"]} for name, r in TABLES.items()}


def pattern(table: str, column: str) -> str:
    return FIELDS[table][column]["constraints"]["pattern"]


def test_the_file_is_what_the_generator_gives():
    spec = importlib.util.spec_from_file_location("describe_table", TOOL)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    committed = (FOLDER / "datapackage.json").read_text(encoding="utf-8")
    assert committed == module.text(FOLDER), "run: python tests/tools/describe_table.py"


# -- the package -----------------------------------------------------------------------------------------


def test_profile_name_version_and_licence():
    assert PACKAGE["$schema"] == "https://datapackage.org/profiles/2.0/datapackage.json"
    assert re.fullmatch(r"[a-z0-9._-]+", PACKAGE["name"])
    assert PACKAGE["title"]
    assert PACKAGE["description"]
    assert PACKAGE["version"] == VERSION
    assert [licence["name"] for licence in PACKAGE["licenses"]] == ["MIT"]
    assert (ROOT / "LICENSE").read_text(encoding="utf-8").startswith(PACKAGE["licenses"][0]["title"])


def test_every_file_of_the_folder_is_described_and_no_other():
    paths = [r["path"] for r in RESOURCES.values()]
    assert sorted(paths) == sorted(f.name for f in FOLDER.iterdir() if f.name != "datapackage.json")
    assert list(TABLES) == ["taxa", "genera", "traits", "care", "care_columns", "evidence"]
    for name, resource in RESOURCES.items():
        assert re.fullmatch(r"[a-z0-9._-]+", name)
        assert resource["encoding"] == "utf-8"
        assert resource["format"] == Path(resource["path"]).suffix[1:]


def test_darwin_core_columns_name_their_terms():
    terms = {n: f["rdfType"] for n, f in FIELDS["taxa"].items() if "rdfType" in f}
    same = ("scientificName", "identificationQualifier", "vernacularName", "genus", "nameAccordingTo")
    expected = {"id": "taxonID", **{term: term for term in same}}
    assert terms == {n: f"http://rs.tdwg.org/dwc/terms/{term}" for n, term in expected.items()}


def test_single_choices_are_those_of_the_loader():
    expected = {
        ("taxa", "commonness"): (COMMONNESS, True),
        ("traits", "kind"): (KINDS, False),
        ("traits", "unit"): (UNITS[1:], False),
        ("evidence", "class"): (CLASSES, False),
        ("evidence", "scope"): (SCOPES, True),
        ("care_columns", "kind"): (("range", "minimum", "states", "text"), False),
        ("care_columns", "combine"): (("overlap", "span", "list", "largest", "shared", "text"), False),
        ("care_columns", "tank_rule"): (("within", "at_least", "room", "read"), False),
    }
    found = {
        (table, name): (tuple(f["categories"]), f["categoriesOrdered"])
        for table, fields in FIELDS.items()
        for name, f in fields.items()
        if "categories" in f
    }
    assert found == expected
    for table, name in expected:
        assert FIELDS[table][name]["constraints"]["enum"] == FIELDS[table][name]["categories"]


def test_keys():
    assert [TABLES[name]["schema"]["primaryKey"] for name in ("taxa", "traits")] == [["id"], ["id"]]
    foreign = {
        (name, *key["fields"], key["reference"]["resource"], *key["reference"]["fields"])
        for name, table in TABLES.items()
        for key in table["schema"].get("foreignKeys", [])
    }
    assert foreign == {
        ("taxa", "careGroup", "care", "care_group"),
        ("care", "taxon", "taxa", "id"),
        ("evidence", "taxon", "taxa", "id"),
        ("evidence", "genus", "genera", "genus"),
        ("evidence", "care_group", "care", "care_group"),
    }


# -- true of the files -----------------------------------------------------------------------------------


@pytest.mark.parametrize("name", TABLES)
def test_every_cell_keeps_type_and_constraints(name):
    """Read the files as a program does that knows nothing but the descriptor."""
    wrong = []
    assert list(FIELDS[name]) == list(rows(f"{name}.csv")[0])
    assert TABLES[name]["schema"]["missingValues"] == [""]
    assert all(field["title"] and field["description"].endswith(".") for field in FIELDS[name].values())
    known = {"required", "unique", "pattern", "enum", "exclusiveMinimum", "exclusiveMaximum"}
    assert all(set(field.get("constraints", {})) <= known for field in FIELDS[name].values())
    for number, row in enumerate(rows(f"{name}.csv"), start=2):
        for field in FIELDS[name].values():
            text, rules = row[field["name"]], field.get("constraints", {})
            if text == "":
                fine = not rules.get("required", False)
            elif field["type"] == "boolean":
                fine = text in field["trueValues"] or text in field["falseValues"]
            elif field["type"] == "number":
                # Decimal notation of XML Schema, which the standard prescribes.
                fine = re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)", text)
                low, high = rules.get("exclusiveMinimum", -1e300), rules.get("exclusiveMaximum", 1e300)
                fine = fine and low < float(text) < high
            else:
                assert field["type"] == "string"
                fine = "pattern" not in rules or re.fullmatch(rules["pattern"], text) is not None
                fine = fine and text in rules.get("enum", [text])
            if not fine:
                wrong.append((number, field["name"], text))
    assert wrong == []


@pytest.mark.parametrize("name", TABLES)
def test_keys_hold(name):
    schema, table = TABLES[name]["schema"], rows(f"{name}.csv")
    unique = [[f["name"]] for f in FIELDS[name].values() if f.get("constraints", {}).get("unique")]
    if "primaryKey" in schema:
        unique.append(schema["primaryKey"])
    for columns in (*unique, *schema.get("uniqueKeys", [])):
        # Rows with a gap do not count, as in SQL.
        keys = [key for row in table if all(key := tuple(row[c] for c in columns))]
        assert len(set(keys)) == len(keys) > 0
    for key in schema.get("foreignKeys", []):
        (column,), (to,) = key["fields"], key["reference"]["fields"]
        there = {row[to] for row in rows(f"{key['reference']['resource']}.csv")}
        used = {row[column] for row in table} - {""}
        assert used
        assert used <= there


# -- patterns and loader say the same --------------------------------------------------------------------


REFUSED = re.compile(
    r"runs backwards|stands twice|shares are more than 0|a largest length is more than 0|not a finite number"
)
READERS = {("taxa", column): partial(parse_cell, TABLE.trait_of(column)) for column in TABLE.cells} | {
    ("care", column.id): partial(parse_care, column)
    for column in TABLE.care_columns
    if column.kind in ("range", "states")
}


@settings(max_examples=100)
@given(st.data())
def test_what_a_pattern_allows_the_loader_reads(data):
    """Save for what no pattern can say: that a range runs upwards, that no state stands twice."""
    place = data.draw(st.sampled_from(list(READERS)))
    text = data.draw(st.from_regex(re.compile(pattern(*place), re.ASCII), fullmatch=True))
    refusal = ""
    try:
        READERS[place](text)
    except ValueError as error:
        refusal = str(error)
    assert not refusal or REFUSED.search(refusal)


@given(st.data())
def test_what_the_loader_reads_and_writes_the_trait_pattern_allows(data):
    column = data.draw(st.sampled_from(list(TABLE.cells)))
    trait = TABLE.trait_of(column)
    if trait.has_states:
        chosen = data.draw(st.lists(st.sampled_from(trait.states), min_size=1, unique=True))
        shares = data.draw(st.lists(st.integers(1, 9), min_size=len(chosen), max_size=len(chosen)))
        text = "|".join(f"{s}:{n}" for s, n in zip(chosen, shares, strict=True))
    else:
        low = data.draw(st.integers(1, 100)) / 2
        text = str(low) if trait.kind == "ceiling" else f"{low}..{low + data.draw(st.integers(0, 9)) / 4}"
    written = cell_text(trait, parse_cell(trait, text))
    for cell in (text, written, "-", "?"):
        assert re.fullmatch(pattern("taxa", column), cell)


def test_trait_patterns_refuse_what_the_loader_refuses():
    for column, texts in {
        "tail_fork": ["forkd", "forked|", "|forked", "forked:", "forked:0.8|straight", "forked straight"],
        "teeth_lower": ["12-16", "12..", "..16", "12..16..18", "12_16", "12,5", "many", "-3..4"],
    }.items():
        for text in texts:
            with pytest.raises(ValueError, match="."):
                READERS["taxa", column](text)
            assert not re.fullmatch(pattern("taxa", column), text)


def test_patterns_need_no_more_than_xml_schema_has():
    """The standard takes its patterns from XML Schema: anchored as a whole, no look-around, no (?: )."""
    for table, fields in FIELDS.items():
        for name, field in fields.items():
            found = field.get("constraints", {}).get("pattern", "")
            assert not re.search(r"\(\?|\\[bBAZzdwsDWS]|[\^$](?![^\[]*\])", found), (table, name)
