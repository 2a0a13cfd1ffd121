"""datapackage.json (Frictionless Data Package 2.0): what is stated of a table, and its files described.

A column that holds a Darwin Core term names it (https://dwc.tdwg.org/terms/).
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from idkey.table import layout
from idkey.table.csvfile import Found, text_of
from idkey.table.fields import ABOUT, FIELDS, Field
from idkey.table.schema import NEVER_NEGATIVE, CareColumn, Trait

PACKAGE = "datapackage.json"
PROFILES = "https://datapackage.org/profiles/2.0/"

ADDED_TO = " with additions"
"""Ending of the version of a table that is no longer the one that was given out."""
_DARWIN_CORE = "http://rs.tdwg.org/dwc/terms/"
_UNREADABLE = "not a JSON object that can be read; mend or delete the file"
_SHOWN = 100
_UNSIGNED = r"[0-9]+(\.[0-9]+)?"
_SIGNED = f"-?{_UNSIGNED}"
_SPECIAL = re.compile(r"[.\\?*+{}()\[\]^]")


# -- what is stated of the whole ---------------------------------------------------------------------------


def added_to(about: Mapping[str, Any]) -> dict[str, Any]:
    """Return what is stated of a table once it has been added to; a table without a version gets none."""
    version = str(about.get("version") or "")
    if not version:
        return dict(about)
    return {**about, "version": version.removesuffix(ADDED_TO) + ADDED_TO}


def read_about(data: bytes | None, found: Found) -> dict[str, Any]:
    """Return what a data package says of the whole, in the order of the file; a folder may do without one.

    ``resources`` is left out: it describes the files and is made afresh.
    """
    text = None if data is None else text_of(PACKAGE, data, found, layout.MOST_PACKAGE_BYTES)
    if text is None:
        return {}
    try:
        stated = json.loads(text)
        if not isinstance(stated, dict):
            raise ValueError(f"a {type(stated).__name__} stands in no braces")
        stated.pop("resources", None)
        # What cannot be written again must not be taken in.
        json_bytes(stated)
    except (ValueError, RecursionError) as error:
        found.add(PACKAGE, "", "", " ".join(str(error).split())[:_SHOWN], _UNREADABLE)
        return {}
    for key in ("name", "version", "created"):
        if not isinstance(stated.get(key, ""), str):
            found.add(PACKAGE, "", key, str(stated[key])[:_SHOWN], "write it in quotation marks, as text")
    return stated


def json_bytes(stated: Mapping[str, Any]) -> bytes:
    """Write JSON as datapackage.json holds it. Raises ValueError for what JSON or UTF-8 does not know."""
    text = json.dumps(dict(stated), indent=2, ensure_ascii=False, allow_nan=False)
    return f"{text}\n".encode()


# -- the files ---------------------------------------------------------------------------------------------


def describe(
    about: Mapping[str, Any],
    traits: Mapping[str, Trait],
    care: Iterable[CareColumn],
    genera: Sequence[str] = (),
) -> bytes:
    """Return the content of datapackage.json: what is said of the whole, as it is, then the files.

    `traits` are those of the columns of taxa.csv, `care` the columns of care.csv, in their order; `genera`
    the trait columns of genera.csv, none where there is no such file.
    """
    more = {
        "taxa.csv": [_trait_field(trait, column) for column, trait in traits.items()],
        "genera.csv": [_trait_field(traits[column], column, genus=True) for column in genera],
        "care.csv": [_care_field(column) for column in care],
    }
    attributes = [field.name for file in ("taxa.csv", "care.csv") for field in more[file]] + ["tradeCode"]
    files = [file for file in ABOUT if genera or file != "genera.csv"]
    resources = [_resource(file, more.get(file, ()), attributes, files) for file in files]
    about_sources = "The works that evidence.csv and taxa.csv name by their keys, as BibTeX."
    resources.append(_file("sources.bib", "Sources", about_sources, "text/x-bibtex"))
    return json_bytes({**about, "resources": resources})


def _file(path: str, title: str, about: str, mediatype: str) -> dict[str, Any]:
    name, _, ending = path.partition(".")
    return {
        "$schema": PROFILES + "dataresource.json",
        "name": name,
        **({"type": "table"} if ending == "csv" else {}),
        "path": path,
        "title": title,
        "description": about,
        "format": ending,
        "mediatype": mediatype,
        "encoding": "utf-8",
    }


def _resource(
    file: str, more: Sequence[Field], attributes: list[str], files: Sequence[str]
) -> dict[str, Any]:
    title, about = ABOUT[file]
    fields = [*FIELDS[file].values(), *more]
    described = [_described(field) for field in fields]
    keys: dict[str, Any] = {}
    if any(field.unique for field in fields):
        keys["primaryKey"] = [field.name for field in fields if field.unique]
    if file == "care.csv":
        keys["uniqueKeys"] = [["care_group", "taxon"]]
    there = {f.removesuffix(".csv") for f in files}
    pointers = [(field.name, *to) for field in fields if (to := field.to.split("."))[0] in there]
    if pointers:
        keys["foreignKeys"] = [
            {"fields": [name], "reference": {"resource": resource, "fields": [to]}}
            for name, resource, to in pointers
        ]
    if file == "evidence.csv":
        attribute = next(field for field in described if field["name"] == "attribute")
        attribute["constraints"]["enum"] = attributes
    schema = {"$schema": PROFILES + "tableschema.json", "fields": described, "missingValues": [""], **keys}
    return {**_file(file, title, about, "text/csv"), "schema": schema}


def _described(field: Field) -> dict[str, Any]:
    """Return a field as the standard writes it; only what is stated of it."""
    boolean = field.type == "boolean"
    words = [] if boolean else list(field.choices)
    constraints = {
        "enum": words,
        "required": field.required or None,
        "unique": field.unique or None,
        "exclusiveMinimum": field.above,
        "exclusiveMaximum": field.below,
        "pattern": field.pattern,
    }
    stated = {
        "name": field.name,
        "type": field.type,
        "title": field.title,
        "description": field.about,
        "rdfType": field.term and _DARWIN_CORE + field.term,
        "categories": words,
        "categoriesOrdered": field.ordered if words else None,
        "trueValues": ["yes"] if boolean else None,
        "falseValues": ["no"] if boolean else None,
        "constraints": _filled(constraints),
    }
    return _filled(stated)


def _filled(stated: Mapping[str, Any]) -> dict[str, Any]:
    whole = {k: int(v) if isinstance(v, float) and v.is_integer() else v for k, v in stated.items()}
    return {k: v for k, v in whole.items() if v not in (None, "", [], {})}


def _trait_field(trait: Trait, column: str, *, genus: bool = False) -> Field:
    """Return the column that holds a trait, or what young fish show of it."""
    young = column != trait.id
    about = [trait.question]
    if young:
        about.append("What a young fish shows; blank where young fish are like the adults.")
    if trait.states:
        pattern = _states_pattern(trait.states)
        about.append(
            "One state, or several joined by |, with shares such as a:0.8|b:0.2 where they are known."
        )
        about.append("; ".join(map(": ".join, zip(trait.states, trait.words, strict=True))) + ".")
    elif trait.kind == "ceiling":
        pattern = _UNSIGNED
        about.append(f"Largest recorded length, in {trait.unit}.")
    else:
        pattern = _range_pattern(_UNSIGNED if trait.unit in NEVER_NEGATIVE else _SIGNED)
        about.append(f"A range lo..hi or one number, in {trait.unit}.")
    if genus:
        about.append("Blank where nothing holds for the whole genus.")
    else:
        about.append(
            "Blank where it is what genera.csv says of the genus, or not known; ? where it is not known in "
            "spite of the genus; - where the trait does not exist in this kind."
        )
    title = f"{trait.name}, young fish" if young else trait.name
    return Field(column, title, " ".join(about), pattern=f"-|{pattern}" if genus else f"-|\\?|{pattern}")


def _care_field(column: CareColumn) -> Field:
    unit = f", in {column.unit}" if column.unit else ""
    if column.kind == "minimum":
        return Field(column.id, column.label, f"{column.about} One number{unit}.", above=0)
    about, pattern = "Plain sentences.", ""
    if column.kind == "range":
        about, pattern = f"A range lo..hi or one number{unit}.", _range_pattern(_SIGNED)
    elif column.kind == "states":
        about = f"One or several of {', '.join(column.states)}, joined by |."
        pattern = _states_pattern(column.states, shares=False)
    return Field(column.id, column.label, f"{column.about} {about}", pattern=pattern)


def _states_pattern(states: Iterable[str], *, shares: bool = True) -> str:
    """Pattern of one or more states joined by ``|``, each with its share or none of them."""
    # $ in brackets means the same to every program.
    names = (_SPECIAL.sub(r"\\\g<0>", state).replace("$", "[$]") for state in states)
    one = f"({'|'.join(names)})"
    plain = f"{one}(\\|{one})*"
    return f"{plain}|{one}:{_UNSIGNED}(\\|{one}:{_UNSIGNED})*" if shares else plain


def _range_pattern(number: str) -> str:
    """Pattern of ``lo..hi`` or one number."""
    return f"{number}(\\.\\.{number})?"
