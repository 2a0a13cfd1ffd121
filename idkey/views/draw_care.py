"""Small drawings of a care sheet: temperature span, flow gauge, fish in the footprint of a tank.

Plain SVG in the ink of the page, so they read on light and dark alike, and in black and white: filled is
right, hollow is what one kind alone needs, dotted is not known. Every number stays in words. No ids; a title
for screen readers.
"""

from __future__ import annotations

import math
from html import escape
from typing import TYPE_CHECKING

from idkey.care.columns import COLUMNS as ATTRIBUTES
from idkey.care.needs import Value, format_value

if TYPE_CHECKING:
    from idkey.care.needs import Need
    from idkey.care.sheet import CareSheet

__all__ = ["flow_svg", "size_svg", "temperature_svg"]

_WIDE, _LEFT = 300.0, 12.0
_ROOM = _WIDE - 2 * _LEFT
_LINE = 15.0
_LONGEST, _FIRST = 46, 26
"""Letters that fit over the width, and those left for a name before "and 3 more: not known"."""
_SCALE = (18, 34)
_FISH_WIDE = 0.46
"""Width across the spread fins as a share of standard length: an outline to show size, no portrait."""
_TAIL = 0.2
"""Length of the tail fin as a share of standard length, which ends at its base."""

# One side of the fish from above: along it, as shares of standard length; off its middle, of its width.
_BODY = ((0.0, 0.07), (0.03, 0.18), (0.09, 0.26), (0.18, 0.32), (0.28, 0.33), (0.4, 0.28), (0.55, 0.2),
         (0.75, 0.12), (1.0, 0.06))  # fmt: skip
_FINS = (((0.22, 0.3), (0.44, 0.5), (0.47, 0.45), (0.36, 0.28)), ((0.5, 0.2), (0.63, 0.31), (0.57, 0.18)))
_BACK = (0.36, 0.6)
_EYE = (0.17, 0.17)


def temperature_svg(sheet: CareSheet) -> str:
    """Return the temperatures of a sheet on a scale in °C, with °F below; blank where none is known."""
    need = sheet.attributes.get("temperature_c")
    if need is None:
        return ""
    groups = [(who, value) for who, value in _own(sheet, need) if isinstance(value, tuple)]
    if not groups:
        return ""
    ends = [end for _, value in groups for end in value]
    first = min(_SCALE[0], 2 * math.floor(min(ends) / 2))
    last = max(_SCALE[1], 2 * math.ceil(max(ends) / 2))
    # About eight steps, whatever a table of one's own holds.
    step = 2 * math.ceil((last - first) / 16)
    last = first + step * math.ceil((last - first) / step)

    def at(t: float) -> float:
        return _LEFT + (t - first) / (last - first) * _ROOM

    # Names of one and the same need are drawn as one.
    several = len(_own(sheet, need)) > 1
    parts, y = [], 4.0
    for who, value in _own(sheet, need):
        if several:
            parts.append(_text(_LEFT, y + 9, _cut(who)))
            y += _LINE - 2
        if isinstance(value, tuple):
            x, wide = at(value[0]), max(at(value[1]) - at(value[0]), 2.0)
            parts.append(_box(x, y, wide, 10, filled=not several))
            parts += _ends(value, x, x + wide, y + 9)
        else:
            parts.append(_line(_LEFT, y + 5, _WIDE - _LEFT, y + 5, dotted=True))
        y += 16
    if several:
        parts.append(_text(_LEFT, y + 10, _for_all(need), bold=True))
        y += _LINE
        if isinstance(need.value, tuple):
            x, wide = at(need.value[0]), max(at(need.value[1]) - at(need.value[0]), 2.0)
            parts.append(_box(x, y, wide, 10, filled=True))
            parts += _ends(need.value, x, x + wide, y + 9)
            y += 16
    y += 4
    parts.append(_line(_LEFT, y, _WIDE - _LEFT, y))
    for t in range(first, last + 1, step):
        parts.append(_line(at(t), y, at(t), y + 4))
        parts.append(_text(at(t), y + 15, f"{t}", middle=True))
        parts.append(_text(at(t), y + 28, f"{t * 9 / 5 + 32:.0f}", middle=True, soft=True))
    return _svg(f"Temperature: {need.text.splitlines()[0]}", y + 33, parts)


def flow_svg(sheet: CareSheet) -> str:
    """Return three steps of flow, those that are right filled; blank where none is known."""
    need = sheet.attributes.get("flow")
    if need is None or not need.origin:
        return ""
    # Names of one and the same need are drawn as one.
    several = len(_own(sheet, need)) > 1
    parts, y = [], 4.0
    for who, value in _own(sheet, need):
        if several:
            parts.append(_text(_LEFT, y + 9, _cut(who)))
            y += _LINE
        parts += _steps(value, y, filled=not several)
        y += 30
    if several:
        parts.append(_text(_LEFT, y + 9, _for_all(need), bold=True))
        y += _LINE
        if need.value is not None:
            parts += _steps(need.value, y, filled=True)
            y += 30
    return _svg(f"Flow: {need.text.splitlines()[0]}", y, parts)


def _steps(value: Value, y: float, *, filled: bool) -> list[str]:
    states = ATTRIBUTES["flow"].states
    wide = _ROOM / len(states)
    parts = []
    for i, state in enumerate(states):
        right = isinstance(value, frozenset) and state in value
        x = _LEFT + i * wide
        box = _box(x, y, wide - 6, 22, filled=filled and right, dotted=value is None, thick=right)
        mark = "?" if value is None else "✓" if right else "–"
        parts += [box, _text(x + (wide - 6) / 2, y + 15, f"{mark} {state}", middle=True, bold=right)]
    return parts


def size_svg(sheet: CareSheet) -> str:
    """Return the largest adult fish on the smallest right tank, both from above, with a bar of 10 cm.

    Blank where no adult length is known; without a tank length only the fish and the bar are drawn.
    """
    length = _known_value(sheet, "adult_length_mm")
    if not isinstance(length, tuple):
        return ""
    fish = length[1] / 10
    tank = _known_value(sheet, "tank_length_cm")
    width = _known_value(sheet, "tank_width_cm")
    long = tank if isinstance(tank, float) else 0.0
    scale = _ROOM / max(long, fish * (1 + _TAIL) * 1.15, 30.0)
    parts, y = [], 4.0
    thick = fish * _FISH_WIDE * scale
    words = [f"adult up to {format_value(ATTRIBUTES['adult_length_mm'], (length[1], length[1]))}"]
    if long:
        deep = width if isinstance(width, float) else 0.0
        # Where the width is not known, its sides are dotted and left open.
        height = deep * scale if deep else max(thick * 1.6, 46.0)
        height = max(height, thick + 8)
        if deep:
            parts.append(_box(_LEFT, y, long * scale, height))
        else:
            right, low = _LEFT + long * scale, y + height
            parts.append(_line(_LEFT, low, right, low, thick=True))
            parts += [_line(x, y, x, low, dotted=True) for x in (_LEFT, right)]
        parts.append(_fish(_LEFT + 4, y + height / 2, fish * scale))
        y += height
        words.append(
            f"tank at least {long:g} cm long" + (f", {deep:g} cm wide" if deep else ", width not known")
        )
    else:
        parts.append(_fish(_LEFT, y + thick / 2 + 2, fish * scale))
        y += thick + 6
        words.append("tank length not known")
    y += 10
    parts += [_line(_LEFT, y, _LEFT + 10 * scale, y, thick=True)]
    parts += [_line(x, y - 3, x, y + 3) for x in (_LEFT, _LEFT + 10 * scale)]
    parts.append(_text(_LEFT + 10 * scale + 6, y + 4, "10 cm (3.9 in)", soft=True))
    y += 8
    for word in words:
        y += _LINE - 2
        parts.append(_text(_LEFT, y, word[0].upper() + word[1:]))
    return _svg("; ".join(["Seen from above, to scale", *words]), y + 6, parts)


def _fish(x: float, middle: float, long: float) -> str:
    wide = long * _FISH_WIDE

    def at(along: float, off: float) -> tuple[float, float]:
        return x + along * long, middle + off * wide

    fins = [_path([at(a, side * o) for a, o in fin]) for fin in _FINS for side in (-1, 1)]
    # Seen from above the tail fin is a blade on edge, and so is the fin on the back.
    tail = _path([at(1.0, -0.05), at(1 + _TAIL, -0.01), at(1 + _TAIL, 0.01), at(1.0, 0.05)])
    body = _path([*(at(a, -o) for a, o in _BODY), *(at(a, o) for a, o in reversed(_BODY))])
    back = _line(*at(_BACK[0], 0), *at(_BACK[1], 0), thick=True)
    eyes = [_dot(*at(_EYE[0], side * _EYE[1]), 0.018 * long) for side in (-1, 1)]
    return "".join([*fins, tail, body, back, *eyes])


def _path(points: list[tuple[float, float]]) -> str:
    d = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points) + "Z"
    return (
        f'<path d="{d}" fill="currentColor" fill-opacity="0.3" stroke="currentColor" stroke-width="1.2" '
        'stroke-linejoin="round"/>'
    )


def _dot(x: float, y: float, radius: float) -> str:
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{max(radius, 0.8):.1f}" fill="currentColor"/>'


# -- what is drawn ----------------------------------------------------------------------------------


def _own(sheet: CareSheet, need: Need) -> list[tuple[str, Value]]:
    """Return the needs of the names, names of equal need together."""
    groups: dict[Value, list[str]] = {}
    for name, label in zip(sheet.names, sheet.short_labels, strict=True):
        groups.setdefault(need.values[name], []).append(label)
    return [
        (_few(names) + (": not known" if value is None else ""), value) for value, names in groups.items()
    ]


def _few(names: list[str]) -> str:
    """Return names as one line of a drawing; the table below names all of them."""
    return names[0] if len(names) == 1 else f"{_cut(names[0], _FIRST)} and {len(names) - 1} more"


def _known_value(sheet: CareSheet, attribute: str) -> Value:
    need = sheet.attributes.get(attribute)
    return need.value if need is not None else None


def _for_all(need: Need) -> str:
    if need.conflict:
        return "Right for all: none"
    return "Right for all: not known" if need.unknown_for else "Right for all"


# -- SVG --------------------------------------------------------------------------------------------


def _svg(title: str, height: float, parts: list[str]) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="0 0 {_WIDE:g} {height:.0f}" '
        'font-family="sans-serif" font-size="11" fill="none" style="width:100%;height:auto">'
        f"<title>{escape(title)}</title>{''.join(parts)}</svg>"
    )


def _text(
    x: float,
    y: float,
    text: str,
    *,
    middle: bool = False,
    end: bool = False,
    bold: bool = False,
    soft: bool = False,
) -> str:
    anchor = ' text-anchor="middle"' if middle else ' text-anchor="end"' if end else ""
    weight = ' font-weight="bold"' if bold else ""
    pale = ' fill-opacity="0.75"' if soft else ""
    return f'<text x="{x:.1f}" y="{y:.1f}" fill="currentColor"{anchor}{weight}{pale}>{escape(text)}</text>'


def _box(
    x: float,
    y: float,
    wide: float,
    high: float,
    *,
    filled: bool = False,
    dotted: bool = False,
    thick: bool = True,
) -> str:
    inside = ' fill="currentColor" fill-opacity="0.3"' if filled else ""
    dash = ' stroke-dasharray="1 3" stroke-linecap="round"' if dotted else ""
    weight = 1.6 if thick else 0.6
    return (
        f'<rect x="{x:.1f}" y="{y:.1f}" width="{wide:.1f}" height="{high:.1f}"{inside} stroke="currentColor" '
        f'stroke-width="{weight}"{dash}/>'
    )


def _line(x0: float, y0: float, x1: float, y1: float, *, dotted: bool = False, thick: bool = False) -> str:
    dash = ' stroke-dasharray="1 3" stroke-linecap="round"' if dotted else ""
    return (
        f'<line x1="{x0:.1f}" y1="{y0:.1f}" x2="{x1:.1f}" y2="{y1:.1f}" stroke="currentColor" '
        f'stroke-width="{2 if thick else 1}"{dash}/>'
    )


def _ends(value: tuple[float, float], x0: float, x1: float, y: float) -> list[str]:
    low, high = value
    return [_text(x0 - 4, y, f"{low:g}", end=True), _text(x1 + 4, y, f"{high:g}")]


def _cut(text: str, longest: int = _LONGEST) -> str:
    return text if len(text) <= longest else text[: longest - 1].rstrip() + "…"
