"""The columns of a table described for other programs, as datapackage.json does.

Names, states, units and limits come from the traits and from the constants of `idkey.table`, so that the
descriptor can't say anything else than the loader; only the sentences are written here. The properties are
those of the Data Package standard, version 2.0 (https://datapackage.org/standard/table-schema/); a column
that holds a Darwin Core term names it (https://dwc.tdwg.org/terms/).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any

from idkey.table.care import CARE_ATTRIBUTES, EVERY_GROUP, CareAttribute
from idkey.table.layout import CLASSES, SCOPES, UNITS
from idkey.table.schema import KINDS, NEVER_NEGATIVE
from idkey.table.table import COMMONNESS

__all__ = ["CARE_FIELDS", "META_FIELDS", "TRAIT_FIELDS", "Field", "evidence_fields", "trait_field"]

_DARWIN_CORE = "http://rs.tdwg.org/dwc/terms/"
_ID = "[a-z][a-z0-9_]*"
_UNSIGNED = r"[0-9]+(\.[0-9]+)?"
_SIGNED = f"-?{_UNSIGNED}"
_SPECIAL = re.compile(r"[.\\?*+{}()\[\]^]")

Field = dict[str, Any]


# -- building blocks -------------------------------------------------------------------------------------


def _field(name: str, type_: str, title: str, description: str, **rest: Any) -> Field:
    """One column; `rest` holds the constraints and, by their own names, other properties."""
    own = {
        k: rest.pop(k)
        for k in ("rdfType", "categories", "categoriesOrdered", "trueValues", "falseValues")
        if k in rest
    }
    made = {"name": name, "type": type_, "title": title, "description": description, **own}
    return {**made, "constraints": rest} if rest else made


def _text(name: str, title: str, description: str, **rest: Any) -> Field:
    """One column of text."""
    return _field(name, "string", title, description, **rest)


def _choice(
    name: str, title: str, description: str, values: Iterable[str], *, ordered: bool, **rest: Any
) -> Field:
    """One column that holds one of a few words."""
    words = list(values)
    return _field(
        name, "string", title, description, categories=words, categoriesOrdered=ordered, enum=words, **rest
    )


def _yes_no(name: str, title: str, description: str) -> Field:
    """One column of yes and no."""
    return _field(name, "boolean", title, description, trueValues=["yes"], falseValues=["no"], required=True)


def _states_pattern(states: Iterable[str], *, shares: bool = True) -> str:
    """Pattern of one or more states joined by ``|``, each with its share or none of them."""
    one = f"({'|'.join(map(_literally, states))})"
    plain = f"{one}(\\|{one})*"
    return f"{plain}|{one}:{_UNSIGNED}(\\|{one}:{_UNSIGNED})*" if shares else plain


def _literally(state: str) -> str:
    """Pattern of this text alone; $ in brackets means the same to every program."""
    return _SPECIAL.sub(r"\\\g<0>", state).replace("$", "[$]")


def _range_pattern(number: str) -> str:
    """Pattern of ``lo..hi`` or one number."""
    return f"{number}(\\.\\.{number})?"


def _trait_pattern(trait: Mapping[str, str]) -> str:
    """Cell syntax of a trait as a pattern."""
    if trait["states"]:
        return f"-|{_states_pattern(trait['states'].split('|'))}"
    if trait["kind"] == "ceiling":
        return f"-|{_UNSIGNED}"
    return f"-|{_range_pattern(_UNSIGNED if trait['unit'] in NEVER_NEGATIVE else _SIGNED)}"


# -- taxa.csv --------------------------------------------------------------------------------------------

META_FIELDS: tuple[Field, ...] = (
    _text(
        "id",
        "Id",
        "Short name of the kind of fish for use in the other files; lower-case letters, digits and _.",
        rdfType=_DARWIN_CORE + "taxonID",
        required=True,
        unique=True,
        pattern=_ID,
    ),
    _text(
        "scientificName",
        "Scientific name",
        "Genus and species without author; 'sp.' where the species has no name yet.",
        rdfType=_DARWIN_CORE + "scientificName",
        required=True,
    ),
    _text(
        "identificationQualifier",
        "Qualifier",
        "How sure the name is, such as 'cf.' or 'aff.'; it stands between genus and species.",
        rdfType=_DARWIN_CORE + "identificationQualifier",
    ),
    _text(
        "vernacularName",
        "Common name",
        "Name used in the trade or in plain speech.",
        rdfType=_DARWIN_CORE + "vernacularName",
    ),
    _text("genus", "Genus", "Genus.", rdfType=_DARWIN_CORE + "genus", required=True),
    _text(
        "nameAccordingTo",
        "Name according to",
        "Key in sources.bib of the work in whose sense the name is used.",
        rdfType=_DARWIN_CORE + "nameAccordingTo",
    ),
    _text(
        "tradeCode",
        "Trade codes",
        "Codes under which the trade sells this kind, joined by |.",
        pattern=r"[^|]+(\|[^|]+)*",
    ),
    _text("careGroup", "Care group", "Group of care.csv whose care needs hold for this kind.", pattern=_ID),
    _choice(
        "commonness",
        "Commonness",
        "How often the trade offers this kind, from most to least often; blank where nobody says.",
        COMMONNESS,
        ordered=True,
    ),
)


def trait_field(trait: Mapping[str, str], column: str) -> Field:
    """Column of taxa.csv that holds a trait."""
    young = column != trait["id"]
    said = [trait["question"]]
    if young:
        said.append("What a young fish shows; blank where young fish are like the adults.")
    if trait["states"]:
        pairs = zip(trait["states"].split("|"), trait["state_words"].split("|"), strict=True)
        said.append(
            "One state, or several joined by |, with shares such as a:0.8|b:0.2 where they are known."
        )
        said.append("; ".join(f"{state}: {words}" for state, words in pairs) + ".")
    elif trait["kind"] == "ceiling":
        said.append(f"Largest recorded length, in {trait['unit']}.")
    else:
        said.append(f"A range lo..hi or one number, in {trait['unit']}.")
    said.append("- where the trait does not exist in this kind; blank where it is not known.")
    label = trait["label"] or trait["id"]
    title = f"{label}, young fish" if young else label
    return _text(column, title, " ".join(said), pattern=_trait_pattern(trait))


# -- traits.csv ------------------------------------------------------------------------------------------

_ONE_OR_MORE_STATES = r"[^|]+(\|[^|]+)+"

TRAIT_FIELDS: tuple[Field, ...] = (
    _text(
        "id",
        "Id",
        "Short name of the trait, and of its column in taxa.csv.",
        required=True,
        unique=True,
        pattern=_ID,
    ),
    _text("label", "Label", "Short name for a screen."),
    _choice(
        "kind",
        "Kind",
        "nominal: states without an order; ordinal: states in order; measure: a number with a range; "
        "ceiling: the largest recorded length, which only a longer fish contradicts.",
        KINDS,
        ordered=False,
        required=True,
    ),
    _choice(
        "unit",
        "Unit",
        "Unit of a measure or ceiling; HL is head length, SL standard length.",
        UNITS[1:],
        ordered=False,
    ),
    _text(
        "states",
        "States",
        "Ids of the states, joined by |; for an ordinal trait from one end to the other. Blank for numbers.",
        pattern=_ONE_OR_MORE_STATES,
    ),
    _text(
        "state_words",
        "States in plain words",
        "The same states in plain words, in the same order, joined by |.",
        pattern=_ONE_OR_MORE_STATES,
    ),
    _yes_no("core", "Core", "Whether this is one of the traits that every kind should have filled."),
    _text("question", "Question", "What to look for, asked in plain words.", required=True),
    _text("how_to_look", "How to look", "How to look, and what misleads."),
    _field(
        "error",
        "number",
        "Observer error",
        "Share of answers, between 0 and 1, that say nothing about the fish.",
        required=True,
        exclusiveMinimum=0,
        exclusiveMaximum=1,
    ),
    _text("error_basis", "Basis of the error", "Where the error figure comes from."),
    _text(
        "spread",
        "Measuring error",
        "Standard deviation of a measurement in its unit, or per cent of the value such as 5%. Numbers only.",
        pattern=f"{_UNSIGNED}%?",
    ),
    _field("effort_s", "number", "Effort", "Seconds it takes to look.", required=True, exclusiveMinimum=0),
    _text(
        "applies_when",
        "Applies when",
        "Only asked while another trait may be in one of these states: trait=state|state. Blank for always.",
        pattern=f"{_ID}=[^|]+(\\|[^|]+)*",
    ),
    _yes_no("needs_adult", "Needs an adult", "Whether the trait says nothing about a young fish."),
    _yes_no("in_key", "In the printed key", "Whether the key may use the trait for its steps."),
    _text("group", "Group", "Traits of one group repeat one another."),
)


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


def _care_field(attribute: CareAttribute) -> Field:
    """Column of care.csv."""
    said = _CARE_WORDS[attribute.id]
    unit = f", in {attribute.unit}" if attribute.unit else ""
    if attribute.kind == "range":
        said += f" A range lo..hi or one number{unit}."
        return _text(attribute.id, attribute.label, said, pattern=_range_pattern(_SIGNED))
    if attribute.kind == "minimum":
        return _field(
            attribute.id, "number", attribute.label, f"{said} One number{unit}.", exclusiveMinimum=0
        )
    if attribute.kind == "states":
        said += f" One or several of {', '.join(attribute.states)}, joined by |."
        pattern = _states_pattern(attribute.states, shares=False)
        return _text(attribute.id, attribute.label, said, pattern=pattern)
    return _text(attribute.id, attribute.label, f"{said} Plain sentences.")


CARE_FIELDS: tuple[Field, ...] = (
    _text(
        "care_group",
        "Care group",
        f"Group of kinds with the same needs; '{EVERY_GROUP}' holds for every fish.",
        required=True,
        pattern=_ID,
    ),
    _text(
        "taxon",
        "Taxon",
        "Kind of taxa.csv whose needs differ from those of its group; blank for the group itself.",
        pattern=_ID,
    ),
    *(_care_field(a) for a in CARE_ATTRIBUTES),
)


# -- evidence.csv ----------------------------------------------------------------------------------------


def evidence_fields(attributes: list[str]) -> list[Field]:
    """Columns of evidence.csv."""
    return [
        _text("taxon", "Taxon", "Kind of taxa.csv the claim is about; blank for a care group.", pattern=_ID),
        _text(
            "care_group",
            "Care group",
            "Group of care.csv the claim is about; blank for a taxon.",
            pattern=_ID,
        ),
        _text(
            "attribute",
            "Attribute",
            "Column of taxa.csv or care.csv that the claim fills.",
            required=True,
            enum=attributes,
        ),
        _text("value", "Value", "What this source says, in the syntax of the cell."),
        _text("source", "Source", "Key in sources.bib; blank for memory and common practice."),
        _text("locator", "Locator", "Page, table, couplet or section."),
        _choice(
            "class",
            "Class",
            "read: the passage itself was read; secondary: told by somebody else; memory: no source at hand; "
            "common practice: a rule of thumb of the trade.",
            CLASSES,
            ordered=False,
            required=True,
        ),
        _choice(
            "scope",
            "Scope",
            "What the source speaks of, from narrow to wide: the kind itself, its genus, a wider group.",
            SCOPES,
            ordered=True,
            required=True,
        ),
        _text("note", "Note", "Doubts, conversions and what the source leaves open."),
    ]
