"""What stands on a sheet beside the fish: words, a ruler in millimetres, and the sheet itself."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from html import escape

from .draw_style import BORDER, INK, PAPER

__all__ = ["LINE", "bar", "dotted_box", "lines_of", "paragraph", "placed", "ruler", "sheet", "words"]

LINE = 17.0
_SOFT = "#5f574d"
# A wide letter for the face of a screen; the browser may choose any sans-serif.
_LETTER = 0.51
_STEPS = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)
_LEAST_GAP = 34.0


def words(
    x: float,
    y: float,
    text: str,
    *,
    size: float = 13.0,
    bold: bool = False,
    soft: bool = False,
    middle: bool = False,
) -> str:
    """Return one line of text whose baseline starts (or whose middle stands) at (x, y)."""
    look = (' font-weight="600"' if bold else "") + (' text-anchor="middle"' if middle else "")
    colour = _SOFT if soft else INK
    return f'<text x="{x:.4g}" y="{y:.5g}" font-size="{size:g}" fill="{colour}"{look}>{escape(text)}</text>'


def lines_of(text: str, room: float, size: float = 13.0) -> list[str]:
    """Break text into lines that fit into so many units; a long word is broken."""
    return textwrap.wrap(text, max(8, int(room / (_LETTER * size))), break_on_hyphens=False) or [""]


def paragraph(x: float, y: float, text: str, room: float) -> tuple[str, float]:
    """Return the text as lines from y downwards, and the y below them."""
    lines = lines_of(text, room)
    return "".join(words(x, y + i * LINE, line) for i, line in enumerate(lines)), y + len(lines) * LINE + 5.0


def placed(shapes: str, x: float, y: float, scale: float) -> str:
    """Return shapes drawn at another place and size."""
    return f'<g transform="translate({x:.2f} {y:.2f}) scale({scale:.4g})">{shapes}</g>'


def ruler(x: float, y: float, per_mm: float, length: float, room: float) -> str:
    """Draw a ruler from 0 to the round number at or after the length (or before it, for want of room).

    Parameters
    ----------
    x, y : float
        Where its 0 stands.
    per_mm : float
        Units of the sheet per millimetre.
    length : float
        In millimetres.
    room : float
        How long the ruler may be, in units of the sheet.
    """
    step = next((s for s in _STEPS if s * per_mm >= _LEAST_GAP), _STEPS[-1])
    last = -int(-length // step) * step
    if last * per_mm > room:
        last = max(last - step, step)
    half = step / 2
    marks = "".join(
        f"M{x + k * half * per_mm:.1f} {y:.1f}v{7 if k % 2 == 0 else 4}" for k in range(int(last / half) + 1)
    )
    line = f"M{x:.1f} {y:.1f}h{last * per_mm:.1f}"
    labels = "".join(
        words(x + mm * per_mm, y + 20.0, f"{mm}", size=11.5, middle=True) for mm in range(0, last + 1, step)
    )
    unit = words(x + last * per_mm + 5.0 + 3.8 * len(f"{last}"), y + 20.0, "mm", size=11.5)
    return f'<path d="{line}{marks}" style="stroke:{INK};stroke-width:1"/>{labels}{unit}'


def bar(x: float, y: float, per_mm: float) -> str:
    """Draw the bar of 100 mm."""
    wide = 100 * per_mm
    path = f"M{x:.1f} {y:.1f}h{wide:.1f}v5h-{wide:.1f}z"
    return f'<path d="{path}" style="fill:{INK}"/>{words(x + wide + 8.0, y + 7.0, "100 mm", size=11.5)}'


def dotted_box(x: float, y: float, wide: float, high: float) -> str:
    """Draw the dotted box around a fish of unknown length."""
    path = f"M{x:.1f} {y:.1f}h{wide:.1f}v{high:.1f}h-{wide:.1f}z"
    return f'<path d="{path}" style="stroke:{INK};stroke-width:1.1;stroke-dasharray:0.01,3.5"/>'


def sheet(title: str, said: Sequence[str], body: str, wide: float, high: float) -> str:
    """Return the whole sheet: opaque paper with a border, a title, and in words what else it says."""
    edge = f"M.5 .5H{wide - 0.5:g}V{high - 0.5:.1f}H.5z"
    desc = f"<desc>{escape(' '.join(said))}</desc>" if said else ""
    size = f'viewBox="0 0 {wide:g} {high:.1f}" width="{wide:g}" height="{high:.1f}"'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" {size} style="max-width:100%;height:auto" '
        'font-family="system-ui,sans-serif" stroke-linejoin="round" stroke-linecap="round" fill="none">'
        f"<title>{escape(title)}</title>{desc}"
        f'<path d="{edge}" style="fill:{PAPER};stroke:{BORDER}"/>{body}</svg>'
    )
