"""A small table with care sheets, a tank and a reader of pages, made up for the tests of the care room."""

from collections.abc import Mapping
from html.parser import HTMLParser

import pandas as pd

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


RAPIDS = {
    "adult_length_mm": "80..100",
    "tank_volume_l": "120",
    "temperature_c": "26..30",
    "ph": "5.8..7.2",
    "gh_dgh": "1..6",
    "oxygen_mg_l": "6",
    "flow": "moderate|strong",
    "turnover_per_hour": "4..10",
    "tank_length_cm": "90",
    "temperament": "Placid.",
    "diet_type": "omnivore",
    "shelters": "Caves.",
    "cautions": "Do not disturb a brood.",
}
FOREST = {
    "adult_length_mm": "85..130",
    "tank_volume_l": "160",
    "temperature_c": "22..25",
    "ph": "6.8..7.6",
    "flow": "gentle",
    "turnover_per_hour": "2..6",
    "diet_type": "wood",
    "shelters": "Wood.",
}
GROUPS = {
    "all": {"handling": "Dry your hands. See a vet about a sick fish."},
    "rapids": RAPIDS,
    "forest": FOREST,
    "unread": {},
    "snailer": {**RAPIDS, "diet_type": "molluscs|meat"},
    "timid": {**RAPIDS, "temperament": "Peaceful, and bullied by larger suckermouths."},
}
# Four kinds whose needs overlap, differ or are unknown, and three that are unlike their tank mates.
TAXA = {
    "zebra": ("rapids", {"ph": "6.5..7.0", "cautions": "Trade needs papers."}),
    "worm": ("rapids", {}),
    "stripe": ("forest", {}),
    "ghost": ("unread", {}),
    "fang": ("snailer", {}),
    "shy": ("timid", {}),
    "giant": ("rapids", {"adult_length_mm": "450..600"}),
}
CLAIMS = tuple(
    {"attribute": attribute, "value": value, "source": source, "class": grade, **more}
    for attribute, value, source, grade, more in (
        ("temperature_c", "26..30", "BOOK1", "read", {"care_group": "rapids", "locator": "p. 2"}),
        (
            "temperature_c",
            "22..24",
            "PAGE2",
            "secondary",
            {"care_group": "rapids", "note": "Not followed: colder than the river"},
        ),
        ("oxygen_mg_l", "6", "", "common practice", {"care_group": "rapids"}),
        ("ph", "5.8..7.2", "BOOK1", "read", {"care_group": "rapids"}),
        ("ph", "6.5..7.0", "PAGE2", "secondary", {"taxon": "zebra", "scope": "species"}),
        ("handling", "Dry your hands.", "", "common practice", {"care_group": "all"}),
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


class Tags(HTMLParser):
    """The tags of a page with their attributes, and its words, style sheets left out."""

    def __init__(self, html: str):
        super().__init__()
        self.open: list[str] = []
        self.seen: list[tuple[str, dict]] = []
        self.words: list[str] = []
        self.feed(html)
        self.close()
        assert not self.open

    def handle_starttag(self, tag, attrs):
        self.seen.append((tag, dict(attrs)))
        if tag != "br":
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if "style" not in self.open:
            self.words.append(data)


def safe_words(html: str) -> str:
    """Return the words of a page that holds whole tags, no id, and nothing that runs."""
    tags = Tags(html)
    assert not {"script", "img"} & {tag for tag, _ in tags.seen}
    assert not any("id" in attrs or any(a.startswith("on") for a in attrs) for _, attrs in tags.seen)
    return " ".join(tags.words)
