"""Line drawings of the traits and of whole fish, as small SVG pictures.

The style is written down in `idkey.views.draw_style`; the fish in the modules beside it.
"""

from __future__ import annotations

import functools
import html
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

from .draw_card import CARD, Card
from .draw_look import STATES, Look
from .draw_mouth import draw_jaws, draw_teeth
from .draw_plan import draw_front, draw_head, draw_under
from .draw_side import draw_side, draw_tail
from .draw_style import Canvas

__all__ = [
    "Look",
    "draw_front",
    "draw_head",
    "draw_jaws",
    "draw_side",
    "draw_state",
    "draw_tail",
    "draw_teeth",
    "draw_under",
    "fish_svg",
    "state_svg",
]

VIEWS: dict[str, Callable[..., None]] = {
    "side": draw_side,
    "head": draw_head,
    "under": draw_under,
    "tail": draw_tail,
    "front": draw_front,
    "jaws": draw_jaws,
    "teeth": draw_teeth,
}

_PLAIN = Look(
    pattern="plain",
    ground_colour="dark",
    tail_fork="concave",
    fin_edging="none",
    mouth_shape="medium",
    head_spots="same",
    fin_spots="no",
    belly_spots="no",
    jaw_angle="acute",
    tooth_form="even",
    snout_tentacles="none",
    snout_shape="rounded",
    dorsal_reach="gap",
    dorsal_height="normal",
    adipose_fin="present",
    body_keels="none",
    body_depth="normal",
    belly_plates="naked",
)
_SPOTTED = replace(
    _PLAIN, pattern="light_spots", spot_size="medium", spot_density="moderate", spot_colour="white"
)
_COMPARED = replace(_SPOTTED, spot_size=None)
_WHOLE = (3.0, 4.0, 116.0)
_SIDE_HEAD = (5.0, 33.5, 46.0)
_BACK = (38.0, 20.0, 66.0)


@dataclass(frozen=True, slots=True)
class _Icon:
    """How one trait is shown: the view, the parts inked, the rest of the fish."""

    view: str
    focus: tuple[str, ...]
    look: Look = _PLAIN
    options: dict[str, Any] = field(default_factory=dict)


_ICONS = {
    "pattern": _Icon("side", ("flank",), _SPOTTED, {"window": _WHOLE}),
    "tail_fork": _Icon("tail", ("tail",)),
    "fin_edging": _Icon("side", ("dorsal", "tail"), _PLAIN, {"window": _WHOLE}),
    "spot_size": _Icon("side", ("flank",), _SPOTTED, {"window": _WHOLE}),
    "mouth_shape": _Icon("under", ("mouth",), _PLAIN, {"upright": True}),
    "spot_vs_nostril": _Icon("side", ("flank", "nostril"), _COMPARED, {"window": _SIDE_HEAD}),
    "spot_vs_pupil": _Icon("side", ("flank", "eye"), _COMPARED, {"window": _SIDE_HEAD}),
    "head_spots": _Icon("head", ("flank",), _SPOTTED, {"window": (-6.0, 0.0, 120.0)}),
    "spot_density": _Icon("side", ("flank",), _SPOTTED, {"window": _WHOLE}),
    "spot_colour": _Icon(
        "side", ("flank",), replace(_SPOTTED, spot_size="large"), {"window": (26.0, 25.0, 66.0)}
    ),
    "fin_spots": _Icon("side", ("flank", "dorsal", "tail"), _SPOTTED, {"window": _WHOLE}),
    "belly_spots": _Icon("under", ("belly",), _SPOTTED),
    "ground_colour": _Icon(
        "side", ("flank", "dorsal", "tail", "adipose", "fins"), _PLAIN, {"window": _WHOLE}
    ),
    "jaw_angle": _Icon("jaws", ("jaws",)),
    "tooth_form": _Icon("teeth", ("teeth",)),
    "snout_tentacles": _Icon("head", ("tentacles",), _PLAIN, {"window": (-6.0, 8.0, 96.0)}),
    "snout_shape": _Icon("head", ("snout",), _PLAIN, {"window": (-6.0, 8.0, 96.0)}),
    "dorsal_reach": _Icon("side", ("dorsal", "adipose", "folded"), _PLAIN, {"window": _BACK}),
    "dorsal_height": _Icon("side", ("dorsal", "depth")),
    "adipose_fin": _Icon("side", ("adipose",), _PLAIN, {"window": (36.0, 12.0, 82.0)}),
    "body_keels": _Icon("side", ("keels",), _PLAIN, {"window": (30.0, 27.0, 64.0)}),
    "body_depth": _Icon("front", ("flank",)),
    "belly_plates": _Icon("under", ("belly",), replace(_PLAIN, pattern="dark_spots")),
    "cheek_spines": _Icon("head", ("cheek",), _PLAIN, {"window": (-6.0, 0.0, 120.0)}),
}


def state_svg(trait_id: str, state: str, title: str | None = None) -> str | None:
    """Return a small drawing of one state of one trait.

    Parameters
    ----------
    trait_id : str
        Id of the trait.
    state : str
        One of its states.
    title : str, optional
        The drawing's name for those who do not see it; the ids in plain words by default.

    Returns
    -------
    str or None
        An ``<svg>`` element without ids, so that it can stand in a page any number of times; None where
        there is nothing to draw.

    Examples
    --------
    >>> state_svg("tail_fork", "forked")[:27]
    '<svg xmlns="http://www.w3.o'
    >>> state_svg("basin", "xingu") is None
    True
    """
    if state not in STATES.get(trait_id, ()):
        return None
    words = f"{trait_id}: {state}".replace("_", " ") if title is None else title
    return _titled(_state_shapes(trait_id, state), words)


def draw_state(ax: Canvas, trait_id: str, state: str) -> None:
    """Draw one state of one trait on axes whose sides are as 3 to 2, or on a card.

    Parameters
    ----------
    ax : matplotlib.axes.Axes or Card
        What to draw on.
    trait_id, state : str
        A key of `STATES` and one of its states.
    """
    icon = _ICONS[trait_id]
    look = replace(icon.look, **{trait_id: state})
    if look.pattern == "dark_spots":
        look = replace(look, ground_colour="pale")
    VIEWS[icon.view](ax, look, focus=icon.focus, **icon.options)


def fish_svg(look: Look, view: str, title: str) -> str:
    """Return a drawing of a whole fish, with what is not known dotted.

    Parameters
    ----------
    look : Look
        The fish.
    view : str
        side, head (from above), under, tail, front, jaws or teeth.
    title : str
        The drawing's name for those who do not see it.

    Returns
    -------
    str
        An ``<svg>`` element without ids.
    """
    return _titled(_fish_shapes(look, view), title)


@functools.lru_cache(maxsize=256)
def _state_shapes(trait_id: str, state: str) -> str:
    return _shapes(lambda ax: draw_state(ax, trait_id, state))


@functools.lru_cache(maxsize=256)
def _fish_shapes(look: Look, view: str) -> str:
    return _shapes(lambda ax: VIEWS[view](ax, look))


def _shapes(draw: Callable[[Card], None]) -> str:
    """Draw on a card, and return nothing but the shapes as SVG, short."""
    card = Card()
    draw(card)
    return card.shapes()


def _titled(shapes: str, title: str) -> str:
    width, height = CARD
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="0 0 {width:g} {height:g}" '
        f'width="{width:g}" height="{height:g}" stroke-linejoin="round" stroke-linecap="round" fill="none">'
        f"<title>{html.escape(title)}</title>{shapes}</svg>"
    )
