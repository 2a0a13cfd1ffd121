"""The kinds of a table, drawn: one sheet for a kind, and several kinds on one millimetre scale.

A picture is drawn from the row and is no portrait. An adult has the largest length on record, a young fish
half of it (a choice, not a measurement): standard lengths in mm, and the ruler starts at the snout.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from html import escape
from typing import NamedTuple

from idkey.errors import IdkeyError
from idkey.table.schema import YOUNG, Range, States
from idkey.table.table import TraitTable
from idkey.views.art import BORDER, INK, genera, read_art, rows
from idkey.views.doc import clean
from idkey.views.fish import STATES, picture, svg_text

__all__ = ["DRAWN_NOTE", "Look", "can_draw", "look_of", "scale_svg", "taxon_svg"]

DRAWN_NOTE = "Drawn from the table, not a portrait."
"""Stands on every sheet."""

_STAND_IN = 100.0  # mm: so long stands a fish of unknown length beside others, in a dotted box
_WIDE, _LEFT, _ROOM = 720.0, 20.0, 680.0
_STANDARD, _WHOLE = 163.0, 225.0  # of the art: from the snout to the base, and to the tips, of the tail fin
_HIGH = {"tall": 134.0, "normal": 116.0}  # from the lowest fin to the tip of the dorsal, else 110
_FACE = ' font-family="system-ui,sans-serif"'
_BOLD, _MIDDLE = ' font-weight="600"', ' text-anchor="middle"'


class Look(NamedTuple):
    """What can be drawn of a row: states, body form, length in mm; in words the stage, and what to add."""

    states: Mapping[str, str]
    form: str
    length: float | None
    stage: str
    notes: list[str]


def can_draw(table: TraitTable) -> bool:
    """Tell whether the table has any trait that can be drawn; a table of flowers has none."""
    return any(set(trait.states) & set(STATES.get(trait.id, ())) for trait in table.traits)


def look_of(table: TraitTable, taxon: str, *, young: bool = False) -> Look:
    """Return what can be drawn of a row, of several states the likeliest; of the young where they differ."""
    row = table.position(taxon)
    traits = [trait for trait in table.traits if trait.id in STATES and trait.has_states]
    adult = {trait.id: table.cells[trait.id][row] for trait in traits}
    own = {t: table.cells[t + YOUNG][row] for t in adult if young and t + YOUNG in table.cells}
    cells = adult | {t: cell for t, cell in own.items() if cell is not None}
    states, varies = {}, []
    for trait in traits:
        if isinstance(cell := cells[trait.id], States):
            states[trait.id] = drawn = cell.names[max(range(len(cell.names)), key=cell.shares.__getitem__)]
            others = " or ".join(trait.word(name) for name in cell.names if name != drawn)
            varies += [f"{trait.name}: {trait.word(drawn)}; also {others}"] if others else []
    young = cells != adult
    size = table.cell(taxon, "adult_size") if "adult_size" in table.trait_ids else None
    known = isinstance(size, Range) and size.high > 0 and table.trait("adult_size").unit == "mm"
    length = size.high * (0.5 if young else 1.0) if known else None
    drawn = "drawn at half the greatest length" if young else "greatest length without the tail fin"
    stage = "Young fish" if young else "Adult"
    stage += f", {drawn}: {length:g} mm" if known else ", length not known"
    genus = str(table.taxa["genus"].iloc[row]) if "genus" in table.taxa.columns else ""
    form, depth = genera().get(genus, ""), states.get("body_depth")
    notes = [f"The outline is drawn as for {genus if form else 'most kinds'}; it is not of this kind alone."]
    if depth == "flat" or (depth == "normal" and form == "flat"):
        form = "flat" if depth == "flat" else "broad"
    if varies:
        notes.append(f"Varies, the first is drawn. {'. '.join(varies)}.")
    if blank := [trait.name for trait in traits if cells[trait.id] is None]:
        notes.append(f"Not known, so left out or drawn plain: {', '.join(blank)}.")
    return Look(states, form or "deep", length, stage, notes)


class _Page:
    """A sheet that fills downwards from y."""

    def __init__(self, y: float) -> None:
        self.body: list[str] = []
        self.y = y

    def say(
        self, text: str, left: float = _LEFT, room: float = _ROOM, size: float = 13.0, more: str = ""
    ) -> None:
        for line in textwrap.wrap(text, max(8, int(room / (0.51 * size))), break_on_hyphens=False) or [""]:
            start = f'<text x="{left:.5g}" y="{self.y:.5g}" font-size="{size:g}" fill="{INK}"{more}>'
            self.body.append(f"{start}{escape(clean(line))}</text>")
            self.y += 1.3 * size

    def path(self, data: str, more: str = "") -> None:
        self.body.append(f'<path d="{data}" stroke="{INK}"{more}/>')

    def put(self, view: str, look: Look, left: float, top: float, scale: float) -> None:
        """Put a view, with lines that hardly grow with the picture."""
        shapes = picture(view, look.states, None, round(0.68 * scale**-0.73, 2))
        self.body.append(f'<g transform="translate({left:.2f} {top:.2f}) scale({scale:.4g})">{shapes}</g>')

    def stand(self, looks: Sequence[Look], per_mm: float, column: float, longest: float) -> None:
        """Stand fish side by side, each on a ruler; without a longest length there is none."""
        scales = [per_mm * (look.length or _STAND_IN) / _STANDARD for look in looks]
        highs = [
            _HIGH.get(k.states.get("dorsal_height", ""), 110.0) * s
            for k, s in zip(looks, scales, strict=True)
        ]
        low = self.y + max(highs)
        for k, (look, scale, high) in enumerate(zip(looks, scales, highs, strict=True)):
            left, view = _LEFT + 8.0 + k * (column + 32.0), f"side-{look.form}"
            snout, foot = read_art(view).foot
            self.put(view, look, left - snout * scale, low - foot * scale, scale)
            if longest:
                self._ruler(left, low + 12.0, per_mm, longest, column - 30.0)
            if longest and look.length is None:
                box = (
                    f"M{left - 4:.1f} {low + 4:.1f}v-{high + 8:.1f}h{_WHOLE * scale + 8:.1f}v{high + 8:.1f}z"
                )
                self.path(box, ' stroke-dasharray="0.01 3.5"')
        self.y = low + (50.0 if longest else 22.0)

    def _ruler(self, left: float, top: float, per_mm: float, length: float, room: float) -> None:
        """Draw a ruler to the round number at or after the length, or before it for want of room."""
        step = next((s for s in (1, 2, 5, 10, 20, 50, 100, 200, 500) if s * per_mm >= 34.0), 1000)
        last = -int(-length // step) * step
        last = max(last - step, step) if last * per_mm > room else last
        marks = [(left + k * step / 2 * per_mm, 7 - k % 2 * 3) for k in range(2 * last // step + 1)]
        line = "".join(f"M{x:.1f} {top:.1f}v{long}" for x, long in marks)
        self.path(f"M{left:.1f} {top:.1f}h{last * per_mm:.1f}{line}")
        for k, (x, _) in enumerate(marks[::2]):
            self.y = top + 20.0
            self.say(f"{k * step}" + (" mm" if k * step == last else ""), x, size=11.5, more=_MIDDLE)

    def bar(self, per_mm: float) -> None:
        """Draw the bar of 100 mm."""
        self.path(
            f"M{_LEFT + 8:.1f} {self.y:.1f}h{100 * per_mm:.1f}", ' stroke-width="5" stroke-linecap="butt"'
        )
        self.y += 4.0
        self.say("100 mm", _LEFT + 16.0 + 100 * per_mm, size=11.5)

    def svg(self, title: str, notes: Sequence[str]) -> str:
        more = f'width="{_WIDE:g}" height="{self.y:.1f}" style="max-width:100%;height:auto"{_FACE}'
        box, edge = f"0 0 {_WIDE:g} {self.y:.1f}", f' stroke="{BORDER}" stroke-width="2"'
        return svg_text("".join(self.body), f"{title} {DRAWN_NOTE}", box, more, edge, " ".join(notes))


def taxon_svg(table: TraitTable, taxon: str, *, young: bool = False) -> str:
    """Draw one kind on a sheet: from the side on a ruler, and what is known of its other sides.

    The young fish is drawn only where the row says that it looks different. Raises as `scale_svg`.
    """
    (look,), column = _looks(table, [taxon], young), 536.0
    per_mm, page = _per_mm(column, look.length or _STAND_IN), _Page(30.0)
    page.say(table.label(taxon), size=17.0, more=_BOLD)
    page.say(look.stage + (", snout to base of the tail fin" if look.length else ""))
    page.say(DRAWN_NOTE)
    page.stand([look], per_mm, _ROOM - 30.0, look.length or 0.0)
    if look.length:
        page.bar(per_mm)
    page.y += 18.0
    shown = {row["view"] for trait, row in rows("pictures").items() if trait in look.states}
    panels = [v for v in ("head", "belly", "front", "mouth", "teeth", "tail") if v in shown]
    for i, view in enumerate(panels):
        top, left = page.y, _LEFT + i % 3 * 232.0
        page.say(read_art(view).title, left, size=12.5)
        page.put(view, look, left, top + 7.0, 0.9)
        page.y = top + (184.0 if i % 3 == 2 or i == len(panels) - 1 else 0.0)
    for note in look.notes:
        page.say(note)
        page.y += 5.0
    return page.svg(f"{table.label(taxon)}. {look.stage}.", look.notes)


def scale_svg(table: TraitTable, taxa: Sequence[str], *, young: bool = False) -> str:
    """Draw several kinds from the side, two in a row, on one millimetre scale with a bar of 100 mm.

    A fish of unknown length stands in a dotted box as if 100 mm long, and its label says so; where no length
    is known there is no ruler. Raises UnknownName, and IdkeyError where there is nothing to draw.
    """
    looks, column = _looks(table, taxa, young), 324.0 if len(taxa) > 1 else 536.0
    longest, known = max(look.length or _STAND_IN for look in looks), any(look.length for look in looks)
    per_mm, page = _per_mm(column, longest), _Page(14.0)
    for start in range(0, len(taxa), 2):
        page.stand(looks[start : start + 2], per_mm, column, longest if known else 0.0)
        top, ends = page.y, []
        for k, (taxon, look) in enumerate(zip(taxa[start : start + 2], looks[start:], strict=False)):
            page.y, left = top, _LEFT + 8.0 + k * (column + 32.0)
            page.say(table.label(taxon), left, column, 13.5, _BOLD)
            stand_in = f"; in the dotted box, as if {_STAND_IN:g} mm" if known else "; not to scale"
            page.say(look.stage + (stand_in if look.length is None else ""), left, column)
            ends.append(page.y)
        page.y = max(ends) + 10.0
    if known:
        page.bar(per_mm)
    page.y += 10.0
    page.say(DRAWN_NOTE, _LEFT + 8.0)
    said = [f"{table.label(taxon)}: {look.stage}." for taxon, look in zip(taxa, looks, strict=True)]
    return page.svg(f"{'; '.join(map(table.label, taxa))}, on one scale.", said)


def _looks(table: TraitTable, taxa: Sequence[str], young: bool) -> list[Look]:
    if not can_draw(table):
        msg = f"table {table.name!r} has no trait that can be drawn; drawable are {', '.join(STATES)}"
        raise IdkeyError(msg)
    if not taxa:
        msg = "no taxon given; name at least one kind to draw"
        raise IdkeyError(msg)
    return [look_of(table, taxon, young=young) for taxon in taxa]


def _per_mm(column: float, longest: float) -> float:
    """Return the units of the sheet for a millimetre, so that each fish and the bar fit into a column."""
    return min((column - 16.0) * _STANDARD / _WHOLE / longest, (column - 60.0) / 100.0)
