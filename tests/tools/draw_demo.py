"""Draw the invented fish of images_demo/truth.json: ``python tests/tools/draw_demo.py``, the same every time.

The fish do not exist. Each is made up so that it agrees with the row of the kind that `truth.json` states.
"""

import json
from pathlib import Path

from idkey.views.fish import picture, rows, svg_text

FOLDER = Path(__file__).resolve().parents[2] / "images_demo"
TRUTH = json.loads((FOLDER / "truth.json").read_text(encoding="utf-8"))


def drawings() -> dict[str, str]:
    """Return the text of every drawing of the folder, by name."""
    drawn = {}
    for fish in TRUTH["fish"]:
        form = rows("forms")[fish["kind"].split("_")[0].capitalize()]["form"]
        title = f"{fish['file'].removesuffix('.svg')}, an invented fish, drawn"
        shapes = picture(f"side-{form}", fish["answers"], weight=0.7)
        drawn[fish["file"]] = svg_text(shapes, title, "0 0 240 160", 'width="480" height="320"') + "\n"
    return drawn


if __name__ == "__main__":
    for file, text in drawings().items():
        (FOLDER / file).write_text(text, encoding="utf-8")
