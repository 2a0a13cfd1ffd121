"""datapackage.json: a table described for other programs (Data Package standard, version 2.0)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from idkey.table.care import CARE_ATTRIBUTES
from idkey.table.describe_columns import (
    CARE_FIELDS,
    META_FIELDS,
    TRAIT_FIELDS,
    Field,
    evidence_fields,
    trait_field,
)
from idkey.table.schema import YOUNG
from idkey.table.stamp import json_bytes

__all__ = ["PROFILES", "describe"]

PROFILES = "https://datapackage.org/profiles/2.0/"


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


def describe(about: Mapping[str, Any], traits: Sequence[Mapping[str, str]], columns: Sequence[str]) -> bytes:
    """Describe the files of a table.

    Parameters
    ----------
    about : mapping of str to object
        What is said of the table as a whole; stands first, as it is.
    traits : sequence of mapping of str to str
        The rows of traits.csv.
    columns : sequence of str
        The trait columns of taxa.csv, in their order.

    Returns
    -------
    bytes
        The content of datapackage.json.
    """
    by_id = {row["id"]: row for row in traits}
    of = {c: by_id[c if c in by_id else c.removesuffix(YOUNG)] for c in columns}
    care = [a.id for a in CARE_ATTRIBUTES]
    resources = [
        _table(
            "taxa",
            "Kinds of fish",
            "The trait table: one row a kind of fish, one column a trait.",
            [*META_FIELDS, *(trait_field(of[c], c) for c in columns)],
            primaryKey=["id"],
            foreignKeys=[_key("careGroup", "care", "care_group")],
        ),
        _table(
            "traits",
            "Traits",
            "One row a trait: how it is asked, and how far an answer can be trusted.",
            list(TRAIT_FIELDS),
            primaryKey=["id"],
        ),
        _table(
            "care",
            "Care needs",
            "One row a care group, and one a kind of fish where it differs from its group.",
            list(CARE_FIELDS),
            uniqueKeys=[["care_group", "taxon"]],
            foreignKeys=[_key("taxon", "taxa", "id")],
        ),
        _table(
            "evidence",
            "Evidence",
            "One row a claim: what one source says of one cell of taxa.csv or care.csv.",
            evidence_fields([*columns, *care]),
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
    ]
    return json_bytes({**about, "resources": resources})
