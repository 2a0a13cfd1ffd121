"""The kinds of a table, drawn: one sheet for a kind, and several kinds side by side on one millimetre scale.

A picture is drawn from the row and is no portrait. An adult has the largest length on record, a young fish
half of it (a choice, not a measurement): standard lengths in mm, and the ruler starts at the snout.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from html import escape
from typing import NamedTuple

import numpy as np

from idkey.errors import IdkeyError
from idkey.table.schema import YOUNG, Range, States
from idkey.table.table import TraitTable
from idkey.views.doc import Block, Group, Picture, Strong, clean, line
from idkey.views.fish import INK, PAPER, STATES, outlines, picture, place_of, read_art, rows, svg_text

DRAWN_NOTE = "Drawn from the table, not a portrait."
FISH_WINDOW = "0 0 240 160"
"""The window of a whole fish from the side."""
_STAND_IN = 100.0  # mm: so long stands a fish of unknown length beside others, in a dotted box
_STANDARD, _WHOLE = 163.0, 225.0  # of the art: from the snout to the base, and to the tips, of the tail fin
_LEAST_RINGED = 0.4
_TALL = 85.0 / 400.0  # mm on paper for each unit: two stand beside each other
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


def drawn(
    table: TraitTable, taxa: Sequence[str], *, young: bool = False, marks: Sequence[str] = ()
) -> tuple[Block, ...]:
    """Return kinds drawn, for a document; nothing where there is nothing to draw from."""
    if not can_draw(table):
        return ()
    if len(taxa) == 1:  # the drawing itself says what is left out
        svg = taxon_svg(table, taxa[0], young=young)
        return (Picture(svg, table.label(taxa[0]), DRAWN_NOTE, tallest=135.0),)
    fish = side_by_side(table, taxa, young=young, marks=marks)
    groups = (Group(fish[i : i + 6], across=True) for i in range(0, len(fish), 6))  # six fill a page
    return *groups, line(f"{DRAWN_NOTE} What is not known is left out or drawn plain.", "small")


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
    """A sheet so wide that fills downwards from y, and the scale of the fish on it, the longest so long."""

    def __init__(self, wide: float, y: float, longest: float | None) -> None:
        self.wide, self.y, self.body = wide, y, []
        self.longest, self.known = longest or _STAND_IN, longest is not None
        self.room = wide - 44.0  # for the longest fish, tail fin included
        self.per_mm = self.room * _STANDARD / _WHOLE / self.longest

    def say(
        self, text: str, left: float = 20.0, room: float = 680.0, size: float = 13.0, more: str = ""
    ) -> None:
        for words in textwrap.wrap(clean(text), max(8, int(room / (0.51 * size))), break_on_hyphens=False):
            start = f'<text x="{left:.5g}" y="{self.y:.5g}" font-size="{size:g}" fill="{INK}"{more}>'
            self.body.append(f"{start}{escape(words)}</text>")
            self.y += 1.3 * size

    def path(self, data: str, more: str = "") -> None:
        self.body.append(f'<path d="{data}" stroke="{INK}"{more}/>')

    def put(self, view: str, look: Look, left: float, top: float, scale: float, marked: str = "") -> None:
        # Lines hardly grow with the picture.
        shapes = picture(view, look.states, weight=round(0.68 * scale**-0.73, 2))
        place = f"translate({left:.2f} {top:.2f}) scale({scale:.4g})"
        self.body.append(f'<g transform="{place}">{shapes}{marked}</g>')

    def scale(self, look: Look) -> float:
        return self.per_mm * (look.length or _STAND_IN) / _STANDARD

    def stand(self, look: Look, high: float = 0.0, marks: Sequence[str] = ()) -> None:
        """Stand a fish in room so high, on a ruler if any length is known."""
        view, scale, left = f"side-{look.form}", self.scale(look), 28.0
        own, (snout, foot) = _height(look) * scale, read_art(view).foot
        low = self.y + max(high, own)
        self.put(view, look, left - snout * scale, low - foot * scale, scale, _rings(look, marks, scale))
        if self.known:
            self._ruler(left, low + 12.0)
        if self.known and look.length is None:
            wide, tall = _WHOLE * scale + 8, own + 8
            box = f"M{left - 4:.1f} {low + 4:.1f}v-{tall:.1f}h{wide:.1f}v{tall:.1f}z"
            self.path(box, ' stroke-dasharray="0.01 3.5"')
        self.y = low + (50.0 if self.known else 22.0)

    def _ruler(self, left: float, top: float) -> None:
        """Draw a ruler to the round number at or after the longest fish, or before it for want of room."""
        step = next((s for s in (1, 2, 5, 10, 20, 50, 100, 200, 500) if s * self.per_mm >= 34.0), 1000)
        last = -int(-self.longest // step) * step
        last = max(last - step, step) if last * self.per_mm > self.room - 30.0 else last
        half = [left + k * step / 2 * self.per_mm for k in range(2 * last // step + 1)]
        ticks = "".join(f"M{x:.1f} {top:.1f}v{7 - k % 2 * 3}" for k, x in enumerate(half))
        self.path(f"M{left:.1f} {top:.1f}h{last * self.per_mm:.1f}{ticks}")
        for k, x in enumerate(half[::2]):
            self.y = top + 20.0
            self.say(f"{k * step}{' mm' * (k * step == last)}", x, size=11.5, more=' text-anchor="middle"')

    def svg(self, title: str, notes: Sequence[str]) -> str:
        box = f"0 0 {self.wide:g} {self.y:.1f}"
        more = f'width="{self.wide:g}" height="{self.y:.1f}" {_FACE}'
        return svg_text("".join(self.body), f"{title} {DRAWN_NOTE}", box, more, " ".join(notes))


def _rings(look: Look, marks: Sequence[str], scale: float) -> str:
    """Ring what is looked at for traits, each with its number unless it is the only one.

    A fish drawn so small that they would hide it has none.
    """
    if scale < _LEAST_RINGED:
        return ""
    rings, numbers, taken = "", "", []
    for number, trait_id in enumerate(marks, 1):
        place = place_of(f"side-{look.form}", trait_id, look.states)
        if place is None:
            continue
        x, y, radius = place
        for colour, wide in ((PAPER, 4.5), (INK, 2.0)):
            width = f'stroke="{colour}" stroke-width="{wide / scale:.3g}"'
            rings += f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:.1f}" {width}/>'
        if len(marks) == 1:
            continue
        size = 10.0 / scale
        around = [(x + radius * np.cos(a), y + radius * np.sin(a)) for a in -np.pi / 4 * np.arange(1, 9)]
        free = (p for p in around if all(np.hypot(p[0] - a, p[1] - b) > 2 * size for a, b in taken))
        x, y = next(free, around[0])
        taken.append((x, y))
        numbers += (
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{size:.3g}" fill="{INK}"/>'
            f'<text x="{x:.1f}" y="{y + 0.36 * size:.1f}" font-size="{1.3 * size:.3g}" fill="{PAPER}" '
            f'text-anchor="middle"{_BOLD}>{number}</text>'
        )
    return rings + numbers


def fish_svg(table: TraitTable, taxon: str, *, mark: str = "", wide: int = 120, shapes: str = "") -> str:
    """Draw one kind small, from the side, without words; what is looked at for a trait is ringed.

    `shapes` stand in for its own, where those are in the page already. Raises as `side_by_side`.
    """
    (look,) = _looks(table, [taxon], young=False)
    rings = _rings(look, [mark], wide / 240) if mark else ""
    more = f'width="{wide}" height="{wide * 2 // 3}"'
    title = f"{table.label(taxon)}. {look.stage}. {DRAWN_NOTE}"
    return svg_text((shapes or _small(look)) + rings, title, FISH_WINDOW, more)


def fish_shapes(table: TraitTable, taxon: str) -> str:
    """Return the shapes of `fish_svg`, of an adult. Raises as `side_by_side`."""
    (look,) = _looks(table, [taxon], False)
    return _small(look)


def _small(look: Look) -> str:
    return picture(f"side-{look.form}", look.states, weight=1.2)


def _looks(table: TraitTable, taxa: Sequence[str], young: bool) -> list[Look]:
    msg = "" if taxa else "no taxon given; name at least one kind to draw"
    if not can_draw(table):
        msg = f"table {table.name!r} has no trait that can be drawn; drawable are {', '.join(STATES)}"
    if msg:
        raise IdkeyError(msg)
    return [look_of(table, taxon, young=young) for taxon in taxa]


def _longest(looks: Sequence[Look]) -> float | None:
    known = any(look.length for look in looks)
    return max(look.length or _STAND_IN for look in looks) if known else None


def taxon_svg(table: TraitTable, taxon: str, *, young: bool = False) -> str:
    """Draw one kind: from the side on a ruler, its other sides where known. Raises as `side_by_side`."""
    (look,) = _looks(table, [taxon], young)
    page = _Page(720.0, 30.0, look.length)
    page.say(table.label(taxon), size=17.0, more=_BOLD)
    page.say(look.stage)
    page.say(DRAWN_NOTE)
    page.stand(look)
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


def side_by_side(
    table: TraitTable, taxa: Sequence[str], *, young: bool = False, marks: Sequence[str] = ()
) -> tuple[Picture, ...]:
    """Draw several kinds from the side, each on a ruler, all on one millimetre scale.

    Traits in `marks` are ringed and numbered where they are seen. A fish of unknown length stands in a dotted
    box as if 100 mm long, and its note says so; where no length is known there is no ruler.
    Raises UnknownName, and IdkeyError where there is nothing to draw.
    """
    looks = _looks(table, taxa, young)
    pages = [_Page(400.0, 12.0, _longest(looks)) for _ in looks]
    high, fish = max(p.scale(look) * _height(look) for p, look in zip(pages, looks, strict=True)), []
    for page, look, label in zip(pages, looks, map(table.label, taxa), strict=True):
        page.stand(look, high, marks)
        stand_in = f"; in the dotted box, as if {_STAND_IN:g} mm" if page.known else "; not to scale"
        stage = look.stage + (stand_in if look.length is None else "")
        svg = page.svg(f"{label}. {stage}.", [])
        fish.append(Picture(svg, f"{label}. {stage}.", (Strong(label), f"\n{stage}"), tallest=_TALL * page.y))
    return tuple(fish)
