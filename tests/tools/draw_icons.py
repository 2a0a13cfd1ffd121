"""Draw the icons of all states into idkey/views/icons.json: ``python tests/tools/draw_icons.py``."""

from __future__ import annotations

import json
import re
from pathlib import Path

from idkey.views.draw import state_svg
from idkey.views.draw_look import STATES
from idkey.views.icons import ICON_FILE

FILE = Path(__file__).resolve().parents[2] / "idkey" / "views" / ICON_FILE
_TITLE = re.compile(r"<title>[^<]*</title>")


def icons_text() -> str:
    """Return the text of the file: how every drawing starts, and the rest of each by trait and state."""
    starts: set[str] = set()
    shapes: dict[str, dict[str, str]] = {}
    for trait_id, states in STATES.items():
        for state in states:
            svg = state_svg(trait_id, state)
            if svg is not None:
                start, rest = _TITLE.split(svg, maxsplit=1)
                starts.add(start)
                shapes.setdefault(trait_id, {})[state] = rest
    (start,) = starts
    return json.dumps({"start": start, "shapes": shapes}, indent=1, sort_keys=True, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    FILE.write_text(icons_text(), encoding="utf-8")
