"""A small table with care sheets, and a tank, made up for the tests of care."""

from collections.abc import Mapping

import pandas as pd
from markup import Page

from idkey import TraitTable, care_for
from idkey.table.rows import shipped_care_columns
from idkey.table.schema import Trait
from idkey.table.table import Source

ATTRIBUTES = {column.id: column for column in shipped_care_columns()}
FOR_EVERY_FISH = ("handling", "acclimation", "transport", "medicine", "law")
EVIDENCE = ["taxon", "care_group", "attribute", "value", "source", "locator", "class", "scope", "note"]
EVIL = "<script>alert(1)</script><img src=x onerror=\"alert('2')\">&amp;"


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
    frame = pd.DataFrame(
        {
            "scientificName": [(names or {}).get(t, t.capitalize()) for t in taxa],
            **dict.fromkeys(("identificationQualifier", "vernacularName", "genus", "tradeCode"), ""),
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
        evidence=pd.DataFrame(evidence, columns=EVIDENCE, dtype="str").fillna(""),
        sources=sources or {},
    )


def sheet_of(cells: Mapping[str, str], every: Mapping[str, str] | None = None, **own: str):
    """Return the sheet of one kind, `worm`, in a group with these cells."""
    return care_for(make_table({"all": every or {}, "g": cells}, {"worm": ("g", own)}), "worm")


def cells(text: str) -> dict[str, str]:
    return dict(cell.split(maxsplit=1) for cell in text.split(";"))


RAPIDS = cells(
    "adult_length_mm 80..100; tank_volume_l 120; tank_length_cm 90; temperature_c 26..30; ph 5.8..7.2;"
    "gh_dgh 1..6; oxygen_mg_l 6; flow moderate|strong; turnover_per_hour 4..10; temperament Placid.;"
    "diet_type omnivore; shelters Caves.; cautions Do not disturb a brood."
)
FOREST = cells(
    "adult_length_mm 85..130; tank_volume_l 160; temperature_c 22..25; ph 6.8..7.6; flow gentle;"
    "turnover_per_hour 2..6; diet_type wood; shelters Wood."
)
GROUPS = {
    "all": {"handling": "Dry your hands. See a vet about a sick fish."},
    "rapids": RAPIDS,
    "forest": FOREST,
    "unread": {},
    "snailer": {**RAPIDS, "diet_type": "molluscs|meat"},
    "group": {**RAPIDS, "group_volume_l": "300"},
    "biter": {"handling": "It bites. Dry your hands.", "eggs": "6..12"},
    "timid": {**RAPIDS, "temperament": "Peaceful, and bullied by larger suckermouths."},
}
# Four kinds whose needs overlap, differ or are unknown, four that care who is beside them, three that bite.
TAXA = {
    "zebra": ("rapids", {"ph": "6.5..7.0", "cautions": "Trade needs papers."}),
    "worm": ("rapids", {}),
    "stripe": ("forest", {}),
    "ghost": ("unread", {}),
    "fang": ("snailer", {}),
    "shy": ("timid", {}),
    "pair": ("group", {}),
    "giant": ("rapids", {"adult_length_mm": "450..600"}),
    "nip": ("biter", {}),
    "sting": ("biter", {"handling": "It stings.", "eggs": "100..100"}),
    "gnaw": ("biter", {}),
}
CLAIMS = tuple(
    dict(zip([column for column in EVIDENCE if column != "scope"], claim, strict=True))
    for claim in (
        ("", "rapids", "temperature_c", "26..30", "BOOK1", "p. 2", "read", ""),
        ("", "rapids", "temperature_c", "22..24", "PAGE2", "", "secondary", "Not followed: too cold"),
        ("", "rapids", "oxygen_mg_l", "6", "", "", "common practice", ""),
        ("", "rapids", "ph", "5.8..7.2", "BOOK1", "", "read", ""),
        ("zebra", "", "ph", "6.5..7.0", "PAGE2", "", "secondary", ""),
        ("", "all", "handling", "Dry your hands.", "", "", "common practice", ""),
    )
)
TABLE = make_table(GROUPS, TAXA, CLAIMS, {"BOOK1": Source("BOOK1", "Author 1999", "Author. 1999. Book")})
WORM = care_for(TABLE, "worm")
GOOD = {
    "name": "Good",
    "length_cm": 100,
    "width_cm": 40,
    "height_cm": 45,
    "fill_cm": 40,
    "pump_l_h": 1000,
    "temperature_c": 28,
    "ph": 6.5,
    "gh_dgh": 4,
    "oxygen_mg_l": 7,
    "ammonia_mg_l": 0.2,
}


def safe_words(html: str) -> str:
    """Return the words of a page that holds whole tags, no id, and nothing that runs."""
    page = Page(html)
    assert not {"script", "img"} & set(page.tags)
    assert not any(name == "id" or name.startswith("on") for name, _ in page.attributes)
    return page.words
