"""Small tables with care sheets, made up for the tests of the care room."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from idkey import TraitTable
from idkey.table.rows import shipped_care_columns
from idkey.table.schema import Trait
from idkey.table.table import Source

ATTRIBUTES = {column.id: column for column in shipped_care_columns()}
FOR_EVERY_FISH = ("handling", "acclimation", "transport", "medicine", "law")
EVIDENCE = ["taxon", "care_group", "attribute", "value", "source", "locator", "class", "scope", "note"]


def make_table(
    groups: Mapping[str, Mapping[str, str]],
    taxa: Mapping[str, tuple[str, Mapping[str, str]]],
    evidence: tuple[dict[str, str], ...] = (),
    sources: Mapping[str, Source] | None = None,
    names: Mapping[str, str] | None = None,
) -> TraitTable:
    """Group -> its care cells; taxon -> (its group, its own care cells)."""
    blank = dict.fromkeys(ATTRIBUTES, "")
    care = [{"care_group": g, "taxon": "", **blank, **cells} for g, cells in groups.items()]
    care += [{"care_group": g, "taxon": t, **blank, **cells} for t, (g, cells) in taxa.items() if cells]
    names = names or {}
    frame = pd.DataFrame(
        {
            "scientificName": [names.get(t, t.capitalize()) for t in taxa],
            "identificationQualifier": "",
            "vernacularName": "",
            "genus": "",
            "tradeCode": "",
            "careGroup": [g for g, _ in taxa.values()],
        },
        index=pd.Index(list(taxa), name="id"),
        dtype="str",
    )
    return TraitTable(
        traits=(Trait("colour", "nominal", states=("dark", "pale")),),
        taxa=frame,
        own_cells={"colour": (None,) * len(taxa)},
        care=pd.DataFrame(care, dtype="str"),
        evidence=pd.DataFrame([{**dict.fromkeys(EVIDENCE, ""), **row} for row in evidence], columns=EVIDENCE),
        sources=sources or {},
    )


def room() -> TraitTable:
    """Four kinds whose needs overlap, differ or are unknown."""
    return make_table(
        groups={
            "all": {"handling": "Dry your hands. See a vet about a sick fish."},
            "rapids": {
                "adult_length_mm": "60..150",
                "diet_type": "omnivore|meat",
                "flow": "moderate|strong",
                "temperature_c": "26..30",
                "ph": "5.8..7.2",
                "oxygen_mg_l": "6",
                "tank_volume_l": "120",
                "shelters": "Caves.",
                "cautions": "Do not disturb a brood.",
            },
            "forest": {
                "adult_length_mm": "85..130",
                "diet_type": "wood",
                "flow": "gentle",
                "temperature_c": "22..25",
                "ph": "6.8..7.6",
                "tank_volume_l": "160",
                "shelters": "Wood.",
            },
            "unread": {},
        },
        taxa={
            "zebra": ("rapids", {"ph": "6.5..7.0", "cautions": "Trade needs papers."}),
            "worm": ("rapids", {}),
            "stripe": ("forest", {}),
            "ghost": ("unread", {}),
        },
        evidence=(
            {"care_group": "rapids", "attribute": "temperature_c", "value": "26..30", "source": "BOOK1",
             "locator": "p. 2", "class": "read", "scope": "group"},
            {"care_group": "rapids", "attribute": "temperature_c", "value": "22..24", "source": "PAGE2",
             "class": "secondary", "scope": "group", "note": "Not followed: colder than the river"},
            {"care_group": "rapids", "attribute": "oxygen_mg_l", "value": "6", "class": "common practice",
             "scope": "group"},
            {"care_group": "rapids", "attribute": "ph", "value": "5.8..7.2", "source": "BOOK1",
             "class": "read", "scope": "group"},
            {"taxon": "zebra", "attribute": "ph", "value": "6.5..7.0", "source": "PAGE2",
             "class": "secondary", "scope": "species"},
            {"care_group": "all", "attribute": "handling", "value": "Dry your hands.",
             "class": "common practice", "scope": "group"},
        ),
        sources={"BOOK1": Source("BOOK1", "Author 1999", "Author. 1999. Book")},
    )  # fmt: skip
