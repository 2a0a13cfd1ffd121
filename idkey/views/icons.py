"""The small drawings of the states, ready drawn, so that a screen never waits for matplotlib.

`idkey.views.draw.state_svg` drew them; ``python tests/tools/draw_icons.py`` draws them again.
"""

from __future__ import annotations

import json
from functools import lru_cache
from html import escape
from importlib.resources import files
from typing import Any

__all__ = ["ICON_FILE", "icon_svg"]

ICON_FILE = "icons.json"


@lru_cache(maxsize=1)
def _icons() -> dict[str, Any]:
    return dict(json.loads((files("idkey.views") / ICON_FILE).read_text(encoding="utf-8")))


def icon_svg(trait_id: str, state: str, title: str) -> str | None:
    """Return the drawing of one state of one trait, the same as `state_svg` gives.

    Parameters
    ----------
    trait_id, state : str
    title : str
        The drawing's name for those who do not see it.

    Returns
    -------
    str or None
        An ``<svg>`` element without ids; None where there is nothing to draw.
    """
    shapes = _icons()["shapes"].get(trait_id, {}).get(state)
    return None if shapes is None else f"{_icons()['start']}<title>{escape(title)}</title>{shapes}"
