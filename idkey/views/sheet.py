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
from idkey.views.doc import Picture, clean
from idkey.views.fish import INK, STATES, outlines, picture, read_art, rows, svg_text

DRAWN_NOTE = "Drawn from the table, not a portrait."
_STAND_IN = 100.0  # mm: so long stands a fish of unknown length beside others, in a dotted box
_STANDARD, _WHOLE = 163.0, 225.0  # of the art: from the snout to the base, and to the tips, of the tail fin
_FACE, _BOLD = 'style="max-width:100%;height:auto" font-family="system-ui,sans-serif"', ' font-weight="600"'


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


def drawn(table: TraitTable, taxa: Sequence[str], *, young: bool = False) -> tuple[Picture, ...]:
    """Return kinds drawn, for a document; nothing where there is nothing to draw from."""
    if not can_draw(table):
        return ()
    if len(taxa) == 1:  # the drawing itself says what is left out
        svg, note = taxon_svg(table, taxa[0], young=young), DRAWN_NOTE
    else:
        svg = scale_svg(table, taxa, young=young)
        note = f"{DRAWN_NOTE} What is not known is left out or drawn plain."
    return (
        Picture(svg, "; ".join(map(table.label, taxa)), note, tallest=100.0 if len(taxa) == 2 else 135.0),
    )


def look_of(table: TraitTable, taxon: str, *, young: bool = False) -> Look:
    """Return what can be drawn of a row, of several states the likeliest; of the young where they differ."""
    row = table.position(taxon)
    adult = {t.id: table.cells[t.id][row] for t in table.traits if t.id in STATES and t.has_states}
    own = {t: table.cells[t + YOUNG][row] for t in adult if young and t + YOUNG in table.cells}
    cells = adult | {t: cell for t, cell in own.items() if cell is not None}
    states, varies = {}, []
    for trait, cell in ((table.trait(t), cell) for t, cell in cells.items() if isinstance(cell, States)):
        first = cell.names[cell.shares.index(max(cell.shares))]
        states |= {trait.id: first} if first in STATES[trait.id] else {}
        others = " or ".join(trait.word(name) for name in cell.names if name != first)
        varies += [f"{trait.name}: {trait.word(first)}; also {others}"] if others else []
    size = table.cell(taxon, "adult_size") if "adult_size" in table.trait_ids else None
    stage, drawn, share = "Adult", "greatest length without the tail fin", 1.0
    if cells != adult:
        stage, drawn, share = "Young fish", "drawn at half the greatest length", 0.5
    known = isinstance(size, Range) and size.high > 0 and table.trait("adult_size").unit == "mm"
    length = size.high * share if known else None
    stage += f", {drawn}: {length:g} mm" if known else ", length not known"
    genus = str(table.taxa["genus"].iloc[row]) if "genus" in table.taxa.columns else ""
    form, depth = rows("forms").get(genus, {}).get("form", ""), states.get("body_depth")
    notes = [f"The outline is drawn as for {genus if form else 'most kinds'}; it is not of this kind alone."]
    form = "flat" if depth == "flat" else "broad" if (form, depth) == ("flat", "normal") else form
    if varies:
        notes.append(f"Varies, the first is drawn. {'. '.join(varies)}.")
    if blank := [table.trait(t).name for t, cell in cells.items() if cell is None]:
        notes.append(f"Not known, so left out or drawn plain: {', '.join(blank)}.")
    return Look(states, form or "deep", length, stage, notes)


def _height(look: Look) -> float:
    """Return the units of the art from the lowest fin to the tip of the dorsal."""
    art, state = read_art(f"side-{look.form}"), look.states.get("dorsal_height", "plain")
    fin = [
        path for part, own, pieces in art.layers if (part, own) == ("dorsal", state) for *_, path in pieces
    ]
    return art.foot[1] - min(run[:, 1].min() for path in fin for run in outlines(path)) + 2.0


class _Page:
    """A sheet that fills downwards from y, and the scale of the fish on it."""

    def __init__(self, table: TraitTable, taxa: Sequence[str], young: bool, y: float) -> None:
        msg = "" if taxa else "no taxon given; name at least one kind to draw"
        if not can_draw(table):
            msg = f"table {table.name!r} has no trait that can be drawn; drawable are {', '.join(STATES)}"
        if msg:
            raise IdkeyError(msg)
        self.looks, self.body = [look_of(table, taxon, young=young) for taxon in taxa], []
        self.y, self.column = y, 324.0 if len(taxa) > 1 else 536.0
        self.longest = max(look.length or _STAND_IN for look in self.looks)
        self.known = any(look.length for look in self.looks)
        # Each fish fits into a column, and the bar.
        fish = (self.column - 16.0) * _STANDARD / _WHOLE / self.longest
        self.per_mm = min(fish, (self.column - 60.0) / 100.0)

    def say(
        self, text: str, left: float = 20.0, room: float = 680.0, size: float = 13.0, more: str = ""
    ) -> None:
        for line in textwrap.wrap(clean(text), max(8, int(room / (0.51 * size))), break_on_hyphens=False):
            start = f'<text x="{left:.5g}" y="{self.y:.5g}" font-size="{size:g}" fill="{INK}"{more}>'
            self.body.append(f"{start}{escape(line)}</text>")
            self.y += 1.3 * size

    def path(self, data: str, more: str = "") -> None:
        self.body.append(f'<path d="{data}" stroke="{INK}"{more}/>')

    def put(self, view: str, look: Look, left: float, top: float, scale: float) -> None:
        # Lines hardly grow with the picture.
        shapes = picture(view, look.states, weight=round(0.68 * scale**-0.73, 2))
        self.body.append(f'<g transform="translate({left:.2f} {top:.2f}) scale({scale:.4g})">{shapes}</g>')

    def stand(self, looks: Sequence[Look]) -> None:
        """Stand fish side by side, each on a ruler if any length is known."""
        scales = [self.per_mm * (look.length or _STAND_IN) / _STANDARD for look in looks]
        highs = [_height(look) * scale for look, scale in zip(looks, scales, strict=True)]
        low = self.y + max(highs)
        for k, (look, scale, high) in enumerate(zip(looks, scales, highs, strict=True)):
            left = 28.0 + k * (self.column + 32.0)
            snout, foot = read_art(f"side-{look.form}").foot
            self.put(f"side-{look.form}", look, left - snout * scale, low - foot * scale, scale)
            if not self.known:
                continue
            self._ruler(left, low + 12.0)
            if look.length is None:
                wide, tall = _WHOLE * scale + 8, high + 8
                box = f"M{left - 4:.1f} {low + 4:.1f}v-{tall:.1f}h{wide:.1f}v{tall:.1f}z"
                self.path(box, ' stroke-dasharray="0.01 3.5"')
        self.y = low + (50.0 if self.known else 22.0)

    def _ruler(self, left: float, top: float) -> None:
        """Draw a ruler to the round number at or after the longest fish, or before it for want of room."""
        step = next((s for s in (1, 2, 5, 10, 20, 50, 100, 200, 500) if s * self.per_mm >= 34.0), 1000)
        last = -int(-self.longest // step) * step
        last = max(last - step, step) if last * self.per_mm > self.column - 30.0 else last
        half = [left + k * step / 2 * self.per_mm for k in range(2 * last // step + 1)]
        ticks = "".join(f"M{x:.1f} {top:.1f}v{7 - k % 2 * 3}" for k, x in enumerate(half))
        self.path(f"M{left:.1f} {top:.1f}h{last * self.per_mm:.1f}{ticks}")
        for k, x in enumerate(half[::2]):
            self.y = top + 20.0
            self.say(f"{k * step}{' mm' * (k * step == last)}", x, size=11.5, more=' text-anchor="middle"')

    def bar(self) -> None:
        if self.known:
            self.path(f"M28 {self.y:.1f}h{100 * self.per_mm:.1f}", ' stroke-width="5" stroke-linecap="butt"')
            self.y += 4.0
            self.say("100 mm", 36.0 + 100 * self.per_mm, size=11.5)
        self.y += 12.0

    def svg(self, title: str, notes: Sequence[str]) -> str:
        more, box = f'width="720" height="{self.y:.1f}" {_FACE}', f"0 0 720 {self.y:.1f}"
        return svg_text("".join(self.body), f"{title} {DRAWN_NOTE}", box, more, " ".join(notes))


def taxon_svg(table: TraitTable, taxon: str, *, young: bool = False) -> str:
    """Draw one kind: from the side on a ruler, its other sides where known. Raises as `scale_svg`."""
    page = _Page(table, [taxon], young, 30.0)
    look = page.looks[0]
    page.say(table.label(taxon), size=17.0, more=_BOLD)
    page.say(look.stage)
    page.say(DRAWN_NOTE)
    page.stand([look])
    page.bar()
    shown = {row["view"] for trait, row in rows("pictures").items() if trait in look.states}
    panels = [view for view in ("head", "belly", "front", "mouth", "teeth", "tail") if view in shown]
    for i, view in enumerate(panels):
        top, left = page.y, 20.0 + i % 3 * 232.0
        page.say(read_art(view).title, left, size=12.5)
        page.put(view, look, left, top + 7.0, 0.9)
        page.y = top + (184.0 if i % 3 == 2 or view == panels[-1] else 0.0)
    for note in look.notes:
        page.say(note)
        page.y += 5.0
    return page.svg(f"{table.label(taxon)}. {look.stage}.", look.notes)


def scale_svg(table: TraitTable, taxa: Sequence[str], *, young: bool = False) -> str:
    """Draw several kinds from the side, two in a row, on one millimetre scale with a bar of 100 mm.

    A fish of unknown length stands in a dotted box as if 100 mm long, and its label says so; where no length
    is known there is no ruler. Raises UnknownName, and IdkeyError where there is nothing to draw.
    """
    page = _Page(table, taxa, young, 14.0)
    kinds = list(zip(map(table.label, taxa), page.looks, strict=True))
    for start in range(0, len(kinds), 2):
        page.stand(page.looks[start : start + 2])
        top, ends = page.y, []
        for k, (label, look) in enumerate(kinds[start : start + 2]):
            page.y, left = top, 28.0 + k * (page.column + 32.0)
            page.say(label, left, page.column, 13.5, _BOLD)
            stand_in = f"; in the dotted box, as if {_STAND_IN:g} mm" if page.known else "; not to scale"
            page.say(look.stage + (stand_in if look.length is None else ""), left, page.column + 24.0)
            ends.append(page.y)
        page.y = max(ends) + 10.0
    page.bar()
    page.say(DRAWN_NOTE, 28.0)
    title = f"{'; '.join(label for label, _ in kinds)}, on one scale."
    return page.svg(title, [f"{label}: {look.stage}." for label, look in kinds])
