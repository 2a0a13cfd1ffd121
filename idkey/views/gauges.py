"""Small drawings of a care sheet: temperature span, flow gauge, fish in the footprint of a tank.

Plain SVG in the ink of the page, so they read on light and dark alike, and in black and white: filled is
right, hollow is what one kind alone needs, dotted is not known. Every number stays in words. No ids; a title
for screen readers.
"""

from __future__ import annotations

import math
from html import escape

from idkey.care.needs import Need, Value, alike
from idkey.care.sheet import CareSheet
from idkey.table.units import amount
from idkey.views.words import cut

_WIDE, _LEFT = 300.0, 12.0
_ROOM = _WIDE - 2 * _LEFT
_LONGEST, _FIRST = 46, 26
"""Letters that fit over the width, and those left for a name before "and 3 more: not known"."""
_DOTTED = 'stroke-dasharray="1 3" stroke-linecap="round"'
_STYLES = {"middle": ' text-anchor="middle"', "end": ' text-anchor="end"'}
_STYLES |= {"bold": ' font-weight="bold"', "soft": ' fill-opacity="0.75"'}
_FISH_LONG, _FISH_WIDE = 1.2, 0.46
"""Length with the tail fin and width across the spread fins, as shares of standard length."""
_FISH = (
    "M.22 -.138L.44 -.23L.47 -.207L.36 -.129ZM.22 .138L.44 .23L.47 .207L.36 .129ZM.5 -.092L.63 -.143"
    "L.57 -.083ZM.5 .092L.63 .143L.57 .083ZM1 -.023L1.2 -.005L1.2 .005L1 .023ZM0 -.032L.03 -.083"
    "L.09 -.12L.18 -.147L.28 -.152L.4 -.129L.55 -.092L.75 -.055L1 -.028L1 .028L.75 .055L.55 .092L.4 .129"
    "L.28 .152L.18 .147L.09 .12L.03 .083L0 .032ZM.36 0L.6 0"
    "M.16 -.078a.01 .01 0 1 0 .02 0a.01 .01 0 1 0 -.02 0M.16 .078a.01 .01 0 1 0 .02 0a.01 .01 0 1 0 -.02 0"
)
"""Fins, tail fin, body, back fin and eyes from above, the snout at 0: to show size, no portrait."""


def temperature_svg(sheet: CareSheet) -> str:
    """Return the temperatures of a sheet on a scale in °C, with °F below; blank where none is known."""
    need = sheet.attributes.get("temperature_c")
    ends = [end for part in need.known for end in part.value] if need else []
    if not ends:
        return ""
    first, last = min(18, 2 * math.floor(min(ends) / 2)), max(34, 2 * math.ceil(max(ends) / 2))
    # About eight steps, whatever a table of one's own holds.
    step = 2 * math.ceil((last - first) / 16)
    last = first + step * math.ceil((last - first) / step)
    parts, y = [], 4.0

    def at(t: float) -> float:
        return _LEFT + (t - first) / (last - first) * _ROOM

    for who, span, right in _lines(need):
        parts += [_text(_LEFT, y + 9, who, "bold" if right else "")] if who else []
        y += 13 if who else 0
        if span is not None:
            x, wide = at(span[0]), max(at(span[1]) - at(span[0]), 2.0)
            parts += [_box(x, y, wide, 10, filled=right), _text(x - 4, y + 9, f"{span[0]:g}", "end")]
            parts.append(_text(x + wide + 4, y + 9, f"{span[1]:g}"))
        elif not right:
            parts.append(_line(_LEFT, y + 5, _WIDE - _LEFT, y + 5, _DOTTED))
        y += 16
    y += 4
    parts.append(_line(_LEFT, y, _WIDE - _LEFT, y))
    for t in range(first, last + 1, step):
        parts += [_line(at(t), y, at(t), y + 4), _text(at(t), y + 15, f"{t}", "middle")]
        parts.append(_text(at(t), y + 28, f"{t * 9 / 5 + 32:.0f}", "middle soft"))
    return _svg(f"Temperature: {need.text.splitlines()[0]}", y + 33, parts)


def flow_svg(sheet: CareSheet) -> str:
    """Return three steps of flow, those that are right filled; blank where none is known."""
    need = sheet.attributes.get("flow")
    if need is None or not need.known:
        return ""
    states = need.column.states
    wide = _ROOM / len(states)
    parts, y = [], 4.0
    for who, value, right in _lines(need):
        parts += [_text(_LEFT, y + 9, who, "bold" if right else "")] if who else []
        y += 15 if who else 0
        if value is None and right:
            continue
        for i, state in enumerate(states):
            fits, x = value is not None and state in value, _LEFT + i * wide
            words = f"{'?' if value is None else '✓' if fits else '–'} {state}"
            style = _DOTTED if value is None else f'stroke-width="{1.6 if fits else 0.6}"'
            parts.append(_box(x, y, wide - 6, 22, style, filled=right and fits))
            parts.append(_text(x + wide / 2 - 3, y + 15, words, "middle bold" if fits else "middle"))
        y += 30
    return _svg(f"Flow: {need.text.splitlines()[0]}", y, parts)


def _lines(need: Need) -> list[tuple[str, Value, bool]]:
    """Return who needs what, names of equal need together, and last what is right for all."""
    groups = alike(need.parts)
    if len(groups) == 1:
        return [("", need.value, True)]
    lines = []
    for value, (first, *more) in groups.items():
        # The table below names all of them.
        who = f"{cut(first.label, _FIRST)} and {len(more)} more" if more else first.label
        lines.append((cut(f"{who}: not known" if value is None else who, _LONGEST), value, False))
    rest = ": none" if need.conflict else ": not known" if need.unknown else ""
    return [*lines, (f"Right for all{rest}", need.value, True)]


def size_svg(sheet: CareSheet) -> str:
    """Return the largest adult fish on the smallest right tank, both from above, with a bar of 10 cm.

    Blank where no adult length is known; without a tank length only the fish and the bar are drawn.
    """
    columns = ("adult_length_mm", "tank_length_cm", "tank_width_cm")
    length, long, deep = (need and need.value for need in map(sheet.attributes.get, columns))
    if length is None:
        return ""
    fish = length[1] / 10
    scale = _ROOM / max(long or 0.0, fish * _FISH_LONG * 1.15, 30.0)
    thick, ten = fish * _FISH_WIDE * scale, _LEFT + 10 * scale
    height, parts = thick + 6, []
    words = [f"Adult reported up to {amount(length[1], unit='mm')}", "Tank length not known"]
    if long:
        height = max(deep * scale if deep else max(thick * 1.6, 46.0), thick + 8)
        right, low = _LEFT + long * scale, 4 + height
        if deep:
            parts = [_box(_LEFT, 4, long * scale, height)]
        else:  # its sides are dotted and left open
            parts = [_line(x, 4, x, low, _DOTTED) for x in (_LEFT, right)]
            parts.append(_line(_LEFT, low, right, low, 'stroke-width="2"'))
        sides = amount(long, *([deep] if deep else []), unit="cm", between=" × ")
        words[1] = f"Tank at least {sides}{'' if deep else ' long, width not known'}"
    place = f"translate({_LEFT + 4 * bool(long):.1f} {4 + height / 2:.1f}) scale({fish * scale:.2f})"
    thin = f'fill-opacity="0.3" stroke-width="{1.2 / fish / scale:.4f}"'
    parts.append(f'<path transform="{place}" d="{_FISH}" {thin}/>')
    y = height + 14
    parts += [_line(_LEFT, y, ten, y, 'stroke-width="2"'), *(_line(x, y - 3, x, y + 3) for x in (_LEFT, ten))]
    parts.append(_text(ten + 6, y + 4, amount(10, unit="cm"), "soft"))
    parts += [_text(_LEFT, y + 8 + 13 * n, line) for n, line in enumerate(words, start=1)]
    return _svg("; ".join(["Seen from above, to scale", *words]), y + 40, parts)


def _svg(title: str, height: float, parts: list[str]) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="0 0 {_WIDE:g} {height:.0f}" '
        'font-family="sans-serif" font-size="11" fill="currentColor" stroke="currentColor" '
        f'style="width:100%;height:auto"><title>{escape(title)}</title>{"".join(parts)}</svg>'
    )


def _text(x: float, y: float, text: str, style: str = "") -> str:
    look = "".join(_STYLES[word] for word in style.split())
    return f'<text x="{x:.1f}" y="{y:.1f}" stroke="none"{look}>{escape(text)}</text>'


def _box(
    x: float, y: float, wide: float, high: float, style: str = 'stroke-width="1.6"', *, filled: bool = False
) -> str:
    place = f'x="{x:.1f}" y="{y:.1f}" width="{wide:.1f}" height="{high:.1f}"'
    return f'<rect {place} fill-opacity="{0.3 if filled else 0}" {style}/>'


def _line(x0: float, y0: float, x1: float, y1: float, style: str = "") -> str:
    return f'<line x1="{x0:.1f}" y1="{y0:.1f}" x2="{x1:.1f}" y2="{y1:.1f}" {style}/>'
