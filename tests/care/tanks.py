"""Care sheets and a tank, made up for the tests of the tank room."""

from __future__ import annotations

from html.parser import HTMLParser

from care_tables import make_table

from idkey import care_for

EVIL = "<script>alert(1)</script><img src=x onerror=\"alert('2')\">&amp;"

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
}
FOREST = {
    "adult_length_mm": "85..130",
    "tank_volume_l": "160",
    "temperature_c": "22..25",
    "ph": "6.8..7.6",
    "flow": "gentle",
    "turnover_per_hour": "2..6",
    "oxygen_mg_l": "5",
    "diet_type": "wood",
}
GROUPS = {
    "all": {"cautions": "Dry your hands."},
    "rapids": RAPIDS,
    "forest": FOREST,
    "unread": {},
    "snailer": {**RAPIDS, "diet_type": "molluscs|meat"},
    "timid": {**RAPIDS, "temperament": "Peaceful, and bullied by larger suckermouths."},
}
TAXA = {
    "worm": ("rapids", {}),
    "stripe": ("forest", {}),
    "ghost": ("unread", {}),
    "fang": ("snailer", {}),
    "shy": ("timid", {}),
    "giant": ("rapids", {"adult_length_mm": "450..600"}),
}
TABLE = make_table(GROUPS, TAXA)
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
    def __init__(self):
        super().__init__()
        self.open: list[str] = []
        self.seen: list[tuple[str, dict]] = []
        self.words: list[str] = []

    def handle_starttag(self, tag, attrs):
        self.seen.append((tag, dict(attrs)))
        if tag != "br":
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if "style" not in self.open:
            self.words.append(data)
