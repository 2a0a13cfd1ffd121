"""Describe traits/ for other programs: ``python tests/tools/describe_table.py > traits/datapackage.json``.

Names, states, units and limits come from traits.csv and from the constants of `idkey.table`, so that the
descriptor can't say anything else than the loader; only the sentences are written here. The properties are
those of the Data Package standard, version 2.0 (https://datapackage.org/standard/table-schema/); a column
that holds a Darwin Core term names it (https://dwc.tdwg.org/terms/).
"""

from __future__ import annotations

import csv
import json
import sys
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from idkey.table.care import CARE_ATTRIBUTES, EVERY_GROUP, CareAttribute
from idkey.table.files import CLASSES, COMMONNESS, EVIDENCE_COLUMNS, META, SCOPES, TRAIT_COLUMNS, UNITS
from idkey.table.schema import KINDS, NEVER_NEGATIVE, YOUNG

ROOT = Path(__file__).resolve().parents[2]
MADE = "2026-11-25T00:00:00Z"
"""Day on which the facts of the table were last changed; to be set with every change of a fact."""
PROFILES = "https://datapackage.org/profiles/2.0/"
DARWIN_CORE = "http://rs.tdwg.org/dwc/terms/"
ID = "[a-z][a-z0-9_]*"
UNSIGNED = r"[0-9]+(\.[0-9]+)?"
SIGNED = f"-?{UNSIGNED}"

Field = dict[str, Any]


# -- building blocks -------------------------------------------------------------------------------------


def field(name: str, type_: str, title: str, description: str, **rest: Any) -> Field:
    """One column; `rest` holds the constraints and, by their own names, other properties."""
    own = {
        k: rest.pop(k)
        for k in ("rdfType", "categories", "categoriesOrdered", "trueValues", "falseValues")
        if k in rest
    }
    made = {"name": name, "type": type_, "title": title, "description": description, **own}
    return {**made, "constraints": rest} if rest else made


def choice(
    name: str, title: str, description: str, values: Iterable[str], *, ordered: bool, **rest: Any
) -> Field:
    """One column that holds one of a few words."""
    words = list(values)
    return field(
        name, "string", title, description, categories=words, categoriesOrdered=ordered, enum=words, **rest
    )


def yes_no(name: str, title: str, description: str) -> Field:
    """One column of yes and no."""
    return field(name, "boolean", title, description, trueValues=["yes"], falseValues=["no"], required=True)


def states_pattern(states: Iterable[str], *, shares: bool = True) -> str:
    """Pattern of one or more states joined by ``|``, each with its share or none of them."""
    one = f"({'|'.join(states)})"
    plain = f"{one}(\\|{one})*"
    return f"{plain}|{one}:{UNSIGNED}(\\|{one}:{UNSIGNED})*" if shares else plain


def range_pattern(number: str) -> str:
    """Pattern of ``lo..hi`` or one number."""
    return f"{number}(\\.\\.{number})?"


def trait_pattern(trait: Mapping[str, str]) -> str:
    """Cell syntax of a trait as a pattern."""
    if trait["states"]:
        return f"-|{states_pattern(trait['states'].split('|'))}"
    if trait["kind"] == "ceiling":
        return f"-|{UNSIGNED}"
    return f"-|{range_pattern(UNSIGNED if trait['unit'] in NEVER_NEGATIVE else SIGNED)}"


# -- taxa.csv --------------------------------------------------------------------------------------------

_META: dict[str, Field] = {
    "id": field(
        "id",
        "string",
        "Id",
        "Short name of the kind of fish for use in the other files; lower-case letters, digits and _.",
        rdfType=DARWIN_CORE + "taxonID",
        required=True,
        unique=True,
        pattern=ID,
    ),
    "scientificName": field(
        "scientificName",
        "string",
        "Scientific name",
        "Genus and species without author; 'sp.' where the species has no name yet.",
        rdfType=DARWIN_CORE + "scientificName",
        required=True,
    ),
    "identificationQualifier": field(
        "identificationQualifier",
        "string",
        "Qualifier",
        "How sure the name is, such as 'cf.' or 'aff.'; it stands between genus and species.",
        rdfType=DARWIN_CORE + "identificationQualifier",
    ),
    "vernacularName": field(
        "vernacularName",
        "string",
        "Common name",
        "Name used in the trade or in plain speech.",
        rdfType=DARWIN_CORE + "vernacularName",
    ),
    "genus": field("genus", "string", "Genus", "Genus.", rdfType=DARWIN_CORE + "genus", required=True),
    "nameAccordingTo": field(
        "nameAccordingTo",
        "string",
        "Name according to",
        "Key in sources.bib of the work in whose sense the name is used.",
        rdfType=DARWIN_CORE + "nameAccordingTo",
    ),
    "tradeCode": field(
        "tradeCode",
        "string",
        "Trade codes",
        "Codes under which the trade sells this kind, joined by |.",
        pattern=r"[^|]+(\|[^|]+)*",
    ),
    "careGroup": field(
        "careGroup",
        "string",
        "Care group",
        "Group of care.csv whose care needs hold for this kind.",
        pattern=ID,
    ),
    "commonness": choice(
        "commonness",
        "Commonness",
        "How often the trade offers this kind, from most to least often; blank where nobody says.",
        COMMONNESS,
        ordered=True,
    ),
}


def trait_field(trait: Mapping[str, str], column: str) -> Field:
    """Column of taxa.csv that holds a trait."""
    young = column != trait["id"]
    said = [trait["question"]]
    if young:
        said.append("What a young fish shows; blank where young fish are like the adults.")
    if trait["states"]:
        pairs = zip(trait["states"].split("|"), trait["state_words"].split("|"), strict=True)
        said.append(
            "One state, or several joined by |, with shares such as a:0.8|b:0.2 where they are known. "
        )
        said[-1] += "; ".join(f"{state}: {words}" for state, words in pairs) + "."
    elif trait["kind"] == "ceiling":
        said.append(f"Largest recorded length, in {trait['unit']}.")
    else:
        said.append(f"A range lo..hi or one number, in {trait['unit']}.")
    said.append("- where the trait does not exist in this kind; blank where it is not known.")
    title = f"{trait['label']}, young fish" if young else trait["label"]
    return field(column, "string", title, " ".join(said), pattern=trait_pattern(trait))


# -- traits.csv ------------------------------------------------------------------------------------------

_ONE_OR_MORE_STATES = r"[^|]+(\|[^|]+)+"

_TRAITS: dict[str, Field] = {
    "id": field(
        "id",
        "string",
        "Id",
        "Short name of the trait, and of its column in taxa.csv.",
        required=True,
        unique=True,
        pattern=ID,
    ),
    "label": field("label", "string", "Label", "Short name for a screen."),
    "kind": choice(
        "kind",
        "Kind",
        "nominal: states without an order; ordinal: states in order; measure: a number with a range; "
        "ceiling: the largest recorded length, which only a longer fish contradicts.",
        KINDS,
        ordered=False,
        required=True,
    ),
    "unit": choice(
        "unit",
        "Unit",
        "Unit of a measure or ceiling; HL is head length, SL standard length.",
        UNITS[1:],
        ordered=False,
    ),
    "states": field(
        "states",
        "string",
        "States",
        "Ids of the states, joined by |; for an ordinal trait from one end to the other. Blank for numbers.",
        pattern=_ONE_OR_MORE_STATES,
    ),
    "state_words": field(
        "state_words",
        "string",
        "States in plain words",
        "The same states in plain words, in the same order, joined by |.",
        pattern=_ONE_OR_MORE_STATES,
    ),
    "core": yes_no("core", "Core", "Whether this is one of the traits that every kind should have filled."),
    "question": field(
        "question", "string", "Question", "What to look for, asked in plain words.", required=True
    ),
    "how_to_look": field("how_to_look", "string", "How to look", "How to look, and what misleads."),
    "error": field(
        "error",
        "number",
        "Observer error",
        "Share of answers, between 0 and 1, that say nothing about the fish.",
        required=True,
        exclusiveMinimum=0,
        exclusiveMaximum=1,
    ),
    "error_basis": field("error_basis", "string", "Basis of the error", "Where the error figure comes from."),
    "spread": field(
        "spread",
        "string",
        "Measuring error",
        "Standard deviation of a measurement in its unit, or per cent of the value such as 5%. Numbers only.",
        pattern=f"{UNSIGNED}%?",
    ),
    "effort_s": field(
        "effort_s", "number", "Effort", "Seconds it takes to look.", required=True, exclusiveMinimum=0
    ),
    "applies_when": field(
        "applies_when",
        "string",
        "Applies when",
        "Only asked while another trait may be in one of these states: trait=state|state. Blank for always.",
        pattern=f"{ID}=[^|]+(\\|[^|]+)*",
    ),
    "needs_adult": yes_no(
        "needs_adult", "Needs an adult", "Whether the trait says nothing about a young fish."
    ),
    "in_key": yes_no("in_key", "In the printed key", "Whether the key may use the trait for its steps."),
    "group": field("group", "string", "Group", "Traits of one group repeat one another."),
}


# -- care.csv --------------------------------------------------------------------------------------------

_CARE_WORDS = {
    "adult_length_mm": "Length of grown fish.",
    "diet_type": "What the fish lives on.",
    "diet_offer": "What to feed.",
    "diet_avoid": "What not to feed.",
    "flow": "How strong the current should be.",
    "turnover_per_hour": "How often an hour the filter should move the water of the tank.",
    "temperature_c": "Water temperature.",
    "ph": "Acidity of the water.",
    "gh_dgh": "General hardness of the water.",
    "oxygen_mg_l": "Dissolved oxygen, at least.",
    "tank_length_cm": "Length of the tank, at least.",
    "tank_width_cm": "Width of the tank from front to back, at least.",
    "tank_volume_l": "Volume of the tank for one fish, at least.",
    "group_volume_l": "Volume of the tank for a pair or a group, at least.",
    "substrate": "What the bottom is covered with.",
    "shelters": "What to hide in.",
    "cave": "Size and shape of the cave it breeds in.",
    "temperament": "How the fish gets on with others.",
    "companions": "Whom to keep it with, and how many.",
    "breeding": "How it breeds, and in what water.",
    "eggs": "How many eggs a clutch has.",
    "hatch_days": "Days from laying to hatching.",
    "handling": "Spines, wet hands and mains power, infection.",
    "acclimation": "How to bring it from the bag into the tank.",
    "transport": "How to pack and send it.",
    "medicine": "What to know before dosing.",
    "law": "Listing, import, sale and release, with dates.",
    "cautions": "What else can go wrong with this group or kind.",
}


def care_field(attribute: CareAttribute) -> Field:
    """Column of care.csv."""
    said = _CARE_WORDS[attribute.id]
    unit = f", in {attribute.unit}" if attribute.unit else ""
    if attribute.kind == "range":
        said += f" A range lo..hi or one number{unit}."
        return field(attribute.id, "string", attribute.label, said, pattern=range_pattern(SIGNED))
    if attribute.kind == "minimum":
        return field(attribute.id, "number", attribute.label, f"{said} One number{unit}.", exclusiveMinimum=0)
    if attribute.kind == "states":
        said += f" One or several of {', '.join(attribute.states)}, joined by |."
        pattern = states_pattern(attribute.states, shares=False)
        return field(attribute.id, "string", attribute.label, said, pattern=pattern)
    return field(attribute.id, "string", attribute.label, f"{said} Plain sentences.")


_CARE_GROUP = field(
    "care_group",
    "string",
    "Care group",
    f"Group of kinds with the same needs; '{EVERY_GROUP}' holds for every fish.",
    required=True,
    pattern=ID,
)
_CARE_TAXON = field(
    "taxon",
    "string",
    "Taxon",
    "Kind of taxa.csv whose needs differ from those of its group; blank for the group itself.",
    pattern=ID,
)


# -- evidence.csv ----------------------------------------------------------------------------------------


def evidence_fields(attributes: list[str]) -> dict[str, Field]:
    """Columns of evidence.csv."""
    return {
        "taxon": field(
            "taxon",
            "string",
            "Taxon",
            "Kind of taxa.csv the claim is about; blank for a care group.",
            pattern=ID,
        ),
        "care_group": field(
            "care_group",
            "string",
            "Care group",
            "Group of care.csv the claim is about; blank for a taxon.",
            pattern=ID,
        ),
        "attribute": field(
            "attribute",
            "string",
            "Attribute",
            "Column of taxa.csv or care.csv that the claim fills.",
            required=True,
            enum=attributes,
        ),
        "value": field("value", "string", "Value", "What this source says, in the syntax of the cell."),
        "source": field(
            "source",
            "string",
            "Source",
            "Key in sources.bib; blank for memory and common practice.",
        ),
        "locator": field("locator", "string", "Locator", "Page, table, couplet or section."),
        "class": choice(
            "class",
            "Class",
            "read: the passage itself was read; secondary: told by somebody else; memory: no source at hand; "
            "common practice: a rule of thumb of the trade.",
            CLASSES,
            ordered=False,
            required=True,
        ),
        "scope": choice(
            "scope",
            "Scope",
            "What the source speaks of, from narrow to wide: the kind itself, its genus, a wider group.",
            SCOPES,
            ordered=True,
            required=True,
        ),
        "note": field("note", "string", "Note", "Doubts, conversions and what the source leaves open."),
    }


# -- the whole -------------------------------------------------------------------------------------------


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _header(path: Path) -> list[str]:
    with path.open(encoding="utf-8", newline="") as file:
        return next(csv.reader(file))


def _table(name: str, title: str, description: str, fields: list[Field], **schema: Any) -> dict[str, Any]:
    return {
        "$schema": PROFILES + "dataresource.json",
        "name": name,
        "type": "table",
        "path": f"{name}.csv",
        "title": title,
        "description": description,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "schema": {
            "$schema": PROFILES + "tableschema.json",
            "fields": fields,
            "missingValues": [""],
            **schema,
        },
    }


def _key(fields: str, resource: str, to: str) -> dict[str, Any]:
    return {"fields": [fields], "reference": {"resource": resource, "fields": [to]}}


def describe(folder: Path) -> dict[str, Any]:
    """Describe the trait table in a folder.

    Raises
    ------
    KeyError
        For a column that has no description here yet.
    """
    traits = {row["id"]: row for row in _rows(folder / "traits.csv")}
    columns = [c for c in _header(folder / "taxa.csv") if c not in META]
    of = {c: traits[c if c in traits else c.removesuffix(YOUNG)] for c in columns}
    care = [a.id for a in CARE_ATTRIBUTES]
    evidence = evidence_fields([*columns, *care])
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    licence = (ROOT / "LICENSE").read_text(encoding="utf-8").splitlines()[0]
    return {
        "$schema": PROFILES + "datapackage.json",
        "name": "idkey-traits",
        "title": "Traits and care of spotted suckermouth catfishes",
        "description": "What is known of each kind of spotted suckermouth catfish, how to ask for it, "
        "what care the fish needs, and where each claim stands written.",
        "version": project["version"],
        "created": MADE,
        "licenses": [{"name": project["license"], "title": licence}],
        "resources": [
            _table(
                "taxa",
                "Kinds of fish",
                "The trait table: one row a kind of fish, one column a trait.",
                [*(_META[c] for c in META), *(trait_field(of[c], c) for c in columns)],
                primaryKey=["id"],
                foreignKeys=[_key("careGroup", "care", "care_group")],
            ),
            _table(
                "traits",
                "Traits",
                "One row a trait: how it is asked, and how far an answer can be trusted.",
                [_TRAITS[c] for c in TRAIT_COLUMNS],
                primaryKey=["id"],
            ),
            _table(
                "care",
                "Care needs",
                "One row a care group, and one a kind of fish where it differs from its group.",
                [_CARE_GROUP, _CARE_TAXON, *(care_field(a) for a in CARE_ATTRIBUTES)],
                uniqueKeys=[["care_group", "taxon"]],
                foreignKeys=[_key("taxon", "taxa", "id")],
            ),
            _table(
                "evidence",
                "Evidence",
                "One row a claim: what one source says of one cell of taxa.csv or care.csv.",
                [evidence[c] for c in EVIDENCE_COLUMNS],
                foreignKeys=[_key("taxon", "taxa", "id"), _key("care_group", "care", "care_group")],
            ),
            {
                "$schema": PROFILES + "dataresource.json",
                "name": "sources",
                "path": "sources.bib",
                "title": "Sources",
                "description": "The works that evidence.csv and taxa.csv name by their keys, as BibTeX.",
                "format": "bib",
                "mediatype": "text/x-bibtex",
                "encoding": "utf-8",
            },
        ],
    }


def text(folder: Path) -> str:
    """The descriptor as it stands in the file."""
    return json.dumps(describe(folder), indent=2, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    sys.stdout.reconfigure(encoding="utf-8", newline="\n")  # type: ignore[union-attr]
    sys.stdout.write(text(ROOT / "traits"))
