"""Draw the six invented fish of images_demo/: ``python tests/tools/draw_demo.py``. The same bytes every time.

The fish do not exist. Each is made up so that it agrees with the row of the kind that `truth.json` states.
"""

from __future__ import annotations

import json
from pathlib import Path

from idkey.views.fish import picture, svg_text

FOLDER = Path(__file__).resolve().parents[2] / "images_demo"

_SIZE = 'width="480" height="320"'
_WHITE_ON_BLACK = {"pattern": "light_spots", "ground_colour": "dark", "spot_colour": "white"}
FISH = {
    "fish_1": (
        "hypancistrus_contradens",
        "L201",
        _WHITE_ON_BLACK
        | {"spot_size": "large", "spot_density": "sparse", "head_spots": "same", "tail_fork": "concave"}
        | {"fin_edging": "none", "mouth_shape": "small", "dorsal_reach": "reaches"},
    ),
    "fish_2": (
        "hypancistrus_cf_inspector_l102",
        "L102",
        _WHITE_ON_BLACK | {"spot_size": "medium", "tail_fork": "forked", "fin_edging": "dark"},
    ),
    "fish_3": (
        "hypancistrus_margaritatus",
        "L136",
        {"pattern": "light_spots", "ground_colour": "dark", "spot_colour": "yellow", "spot_size": "small"}
        | {"spot_density": "dense", "head_spots": "same", "tail_fork": "concave", "dorsal_reach": "reaches"},
    ),
    "fish_4": (
        "hypancistrus_phantasma",
        "none",
        {"pattern": "dark_spots", "ground_colour": "pale", "spot_size": "small", "head_spots": "smaller"}
        | {"tail_fork": "concave", "fin_edging": "dark", "belly_plates": "partly"},
    ),
    "fish_5": (
        "panaqolus_nix",
        "L201",
        _WHITE_ON_BLACK | {"spot_size": "small", "head_spots": "smaller", "tail_fork": "streamers"},
    ),
    "fish_6": (
        "scobinancistrus_aureatus",
        "L014",
        {"pattern": "light_spots", "ground_colour": "dark", "spot_size": "small", "spot_density": "dense"}
        | {"tail_fork": "concave", "fin_edging": "orange"},
    ),
}


def files() -> dict[str, str]:
    """Return the text of every file of the folder, by name."""
    found = {}
    for name, (kind, _, states) in FISH.items():
        form = "stout" if kind.startswith("scobinancistrus") else "deep"
        shapes = picture(f"side-{form}", states)
        found[f"{name}.svg"] = (
            svg_text(shapes, f"{name}, an invented fish, drawn", "0 0 240 160", _SIZE) + "\n"
        )
    truth = {
        "about": "Six invented fish, drawn. None of them, nor the bags, exists.",
        "fish": [
            {"file": f"{name}.svg", "kind": kind, "label on the bag": label, "answers": states}
            for name, (kind, label, states) in FISH.items()
        ],
    }
    found["truth.json"] = json.dumps(truth, indent=2) + "\n"
    return found


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for file, text in files().items():
        (FOLDER / file).write_text(text, encoding="utf-8")
