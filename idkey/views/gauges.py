"""Small drawings of a care sheet: temperature span, flow gauge, fish in the footprint of a tank.

Plain SVG in the ink of the page, so they read on light and dark alike, and in black and white: filled is
right, hollow is what one kind alone needs, dotted is not known. Every number stays in words. No ids; a title
for screen readers.
"""

from __future__ import annotations

import math
from html import escape
from typing import TYPE_CHECKING

from idkey.care.needs import Value
from idkey.table.units import amount

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
_DOTTED = 'stroke-dasharray="1 3" stroke-linecap="round"'


def temperature_svg(sheet: CareSheet) -> str:
    """Return the temperatures of a sheet on a scale in °C, with °F below; blank where none is known."""
    need = sheet.attributes.get("temperature_c")
    ends = [end for span in need.values.values() if span is not None for end in span] if need else []
    if not ends:
        return ""
    first = min(_SCALE[0], 2 * math.floor(min(ends) / 2))
    last = max(_SCALE[1], 2 * math.ceil(max(ends) / 2))
    # About eight steps, whatever a table of one's own holds.
    step = 2 * math.ceil((last - first) / 16)
    last = first + step * math.ceil((last - first) / step)

    def at(t: float) -> float:
        return _LEFT + (t - first) / (last - first) * _ROOM

    parts, y = [], 4.0
    for who, span, filled in _lines(sheet, need):
        if who:
            parts.append(_text(_LEFT, y + 9, who, "bold" if filled else ""))
            y += _LINE - 2
        if span is not None:
            x0, x1 = at(span[0]), max(at(span[1]), at(span[0]) + 2.0)
            parts += [_box(x0, y, x1 - x0, 10, filled=filled), _text(x0 - 4, y + 9, f"{span[0]:g}", "end")]
            parts.append(_text(x1 + 4, y + 9, f"{span[1]:g}"))
        elif not filled:
            parts.append(_line(_LEFT, y + 5, _WIDE - _LEFT, y + 5, _DOTTED))
        y += 16 if span is not None or not filled else 2
    y += 4
    parts.append(_line(_LEFT, y, _WIDE - _LEFT, y))
    for t in range(first, last + 1, step):
        fahrenheit = f"{t * 9 / 5 + 32:.0f}"
        parts += [_line(at(t), y, at(t), y + 4), _text(at(t), y + 15, f"{t}", "middle")]
        parts.append(_text(at(t), y + 28, fahrenheit, "middle soft"))
    return _svg(f"Temperature: {need.text.splitlines()[0]}", y + 33, parts)


def flow_svg(sheet: CareSheet) -> str:
    """Return three steps of flow, those that are right filled; blank where none is known."""
    need = sheet.attributes.get("flow")
    if need is None or not need.origin:
        return ""
    states = sheet.columns["flow"].states
    wide = _ROOM / len(states)
    parts, y = [], 4.0
    for who, value, filled in _lines(sheet, need):
        if who:
            parts.append(_text(_LEFT, y + 9, who, "bold" if filled else ""))
            y += _LINE
        if value is None and filled:
            continue
        for i, state in enumerate(states):
            right, x = value is not None and state in value, _LEFT + i * wide
            mark = "?" if value is None else "✓" if right else "–"
            parts.append(_box(x, y, wide - 6, 22, filled=filled and right, dotted=value is None, thick=right))
            style = "middle bold" if right else "middle"
            parts.append(_text(x + (wide - 6) / 2, y + 15, f"{mark} {state}", style))
        y += 30
    return _svg(f"Flow: {need.text.splitlines()[0]}", y, parts)


def _lines(sheet: CareSheet, need: Need) -> list[tuple[str, Value, bool]]:
    """Return who needs what, names of equal need together, and last, filled, what is right for all."""
    groups: dict[Value, list[str]] = {}
    for name, label in zip(sheet.names, sheet.short_labels, strict=True):
        groups.setdefault(need.values[name], []).append(label)
    if len(groups) == 1:
        return [("", value, True) for value in groups]
    lines = []
    for value, (first, *more) in groups.items():
        # The table below names all of them.
        who = f"{_cut(first, _FIRST)} and {len(more)} more" if more else first
        lines.append((_cut(f"{who}: not known" if value is None else who), value, False))
    rest = ": none" if need.conflict else ": not known" if need.unknown_for else ""
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
    scale = _ROOM / max(long or 0.0, fish * (1 + _TAIL) * 1.15, 30.0)
    parts, y, thick = [], 4.0, fish * _FISH_WIDE * scale
    words = [f"adult up to {amount(length[1], unit='mm')}"]
    if long:
        height = max(deep * scale if deep else max(thick * 1.6, 46.0), thick + 8)
        right, low = _LEFT + long * scale, y + height
        # Where the width is not known, its sides are dotted and left open.
        parts = [_line(_LEFT, low, right, low, 'stroke-width="2"')]
        parts += [_line(x, y, x, low, _DOTTED) for x in (_LEFT, right)]
        if deep:
            parts = [_box(_LEFT, y, long * scale, height)]
        parts.append(_fish(_LEFT + 4, y + height / 2, fish * scale))
        y += height
        wide = f", {amount(deep, unit='cm')} wide" if deep else ", width not known"
        words.append(f"tank at least {amount(long, unit='cm')} long{wide}")
    else:
        parts.append(_fish(_LEFT, y + thick / 2 + 2, fish * scale))
        y += thick + 6
        words.append("tank length not known")
    y += 10
    parts.append(_line(_LEFT, y, _LEFT + 10 * scale, y, 'stroke-width="2"'))
    parts += [_line(x, y - 3, x, y + 3) for x in (_LEFT, _LEFT + 10 * scale)]
    parts.append(_text(_LEFT + 10 * scale + 6, y + 4, amount(10, unit="cm"), "soft"))
    y += 8
    for word in words:
        y += _LINE - 2
        parts.append(_text(_LEFT, y, word[0].upper() + word[1:]))
    return _svg("; ".join(["Seen from above, to scale", *words]), y + 6, parts)


def _fish(x: float, middle: float, long: float) -> str:
    def area(outline: list[tuple[float, float]]) -> str:
        d = "L".join(
            f"{x + along * long:.1f} {middle + off * long * _FISH_WIDE:.1f}" for along, off in outline
        )
        return (
            f'<path d="M{d}Z" fill="currentColor" fill-opacity="0.3" stroke="currentColor" '
            'stroke-width="1.2" stroke-linejoin="round"/>'
        )

    fins = [area([(along, side * off) for along, off in fin]) for fin in _FINS for side in (-1, 1)]
    # Seen from above the tail fin is a blade on edge, and so is the fin on the back.
    tail = area([(1.0, -0.05), (1 + _TAIL, -0.01), (1 + _TAIL, 0.01), (1.0, 0.05)])
    body = area([*((along, -off) for along, off in _BODY), *reversed(_BODY)])
    back = _line(x + _BACK[0] * long, middle, x + _BACK[1] * long, middle, 'stroke-width="2"')
    eyes = [
        f'<circle cx="{x + _EYE[0] * long:.1f}" cy="{middle + side * _EYE[1] * long * _FISH_WIDE:.1f}" '
        f'r="{max(0.018 * long, 0.8):.1f}" fill="currentColor"/>'
        for side in (-1, 1)
    ]
    return "".join([*fins, tail, body, back, *eyes])


# -- SVG --------------------------------------------------------------------------------------------


def _svg(title: str, height: float, parts: list[str]) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="0 0 {_WIDE:g} {height:.0f}" '
        'font-family="sans-serif" font-size="11" fill="none" style="width:100%;height:auto">'
        f"<title>{escape(title)}</title>{''.join(parts)}</svg>"
    )


_STYLES = {
    "middle": ' text-anchor="middle"',
    "end": ' text-anchor="end"',
    "bold": ' font-weight="bold"',
    "soft": ' fill-opacity="0.75"',
}


def _text(x: float, y: float, text: str, style: str = "") -> str:
    look = "".join(_STYLES[word] for word in style.split())
    return f'<text x="{x:.1f}" y="{y:.1f}" fill="currentColor"{look}>{escape(text)}</text>'


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
    return (
        f'<rect x="{x:.1f}" y="{y:.1f}" width="{wide:.1f}" height="{high:.1f}"{inside} stroke="currentColor" '
        f'stroke-width="{1.6 if thick else 0.6}"{f" {_DOTTED}" if dotted else ""}/>'
    )


def _line(x0: float, y0: float, x1: float, y1: float, style: str = 'stroke-width="1"') -> str:
    ends = f'x1="{x0:.1f}" y1="{y0:.1f}" x2="{x1:.1f}" y2="{y1:.1f}"'
    return f'<line {ends} stroke="currentColor" {style}/>'


def _cut(text: str, longest: int = _LONGEST) -> str:
    return text if len(text) <= longest else f"{text[: longest - 1].rstrip()}…"
