"""The kinds of a table, drawn: one sheet for a kind, and several kinds on one millimetre scale.

A picture is drawn from the row and from nothing else: it is no portrait, and says so. Of a trait that varies
the likeliest state is drawn and the others are named; what is not known is dotted, hollow or blank, and
named too. The style is written down in `idkey.views.draw_style`.

Lengths are standard lengths in mm, snout to the base of the tail fin, as in the table. An adult is drawn at
the largest length on record, a young fish at half of it (a choice, not a measurement); the ruler starts at
the snout.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence

from idkey.errors import IdkeyError
from idkey.table.schema import YOUNG, NotApplicable, Range, States
from idkey.table.table import TraitTable

from .draw import VIEWS
from .draw_card import CARD, Card
from .draw_look import STATES, Look
from .draw_sheet import LINE, bar, dotted_box, lines_of, paragraph, placed, ruler, sheet, words
from .draw_side import SIDE, SNOUT, TAIL_BASE

__all__ = ["DRAWN_NOTE", "can_draw", "look_of", "scale_svg", "taxon_svg", "unknown", "varies"]

DRAWN_NOTE = "Drawn from the table, not a portrait."
"""Stands on every sheet."""

LENGTH = "adult_size"
"""The trait that holds the largest length on record."""

YOUNG_SHARE = 0.5
"""Length at which a young fish is drawn, as a share of the largest on record."""

STAND_IN = 100.0
"""Length in mm at which a fish of unknown length stands beside others, in a dotted box."""

_WIDE, _MARGIN, _GAP = 720.0, 20.0, 16.0
_ROOM = _WIDE - 2 * _MARGIN
_FISH = 520.0
_STANDARD = TAIL_BASE - SNOUT
# From the snout to the ends of the longest tail; tips of a tall and of any other dorsal fin; the lowest fin.
_WHOLE, _TALL, _TOP, _LOW = 115.5, 3.0, 12.5, 69.5
_PANELS = (
    ("head", "Head from above"),
    ("under", "Underside"),
    ("front", "From the front"),
    ("jaws", "Mouth and lower tooth rows"),
    ("teeth", "Teeth, upper and lower jaw"),
    ("tail", "Tail fin"),
)


# -- what can be drawn of a row ------------------------------------------------------------------------


def can_draw(table: TraitTable) -> bool:
    """Tell whether the table has any trait that can be drawn; a table of flowers has none."""
    return any(trait.id in STATES and set(trait.states) & set(STATES[trait.id]) for trait in table.traits)


def look_of(table: TraitTable, taxon: str, *, young: bool = False) -> Look:
    """Return what can be drawn of a row.

    Parameters
    ----------
    table : TraitTable
    taxon : str
    young : bool
        Take ``<trait>_young`` where it is filled, else the adult state.

    Returns
    -------
    Look
        The one state known or, of several, the likeliest (the largest share, the first on a tie); None for
        what is not known, does not apply, or cannot be drawn.

    Raises
    ------
    UnknownName
    """
    cells = _cells(table, taxon, young)
    return Look.of({trait: _likeliest(cell) for trait, cell in cells.items() if isinstance(cell, States)})


def varies(table: TraitTable, taxon: str, *, young: bool = False) -> tuple[str, ...]:
    """Say which drawn traits vary: the state drawn and the others, in words.

    Parameters
    ----------
    table, taxon, young
        As for `look_of`.

    Returns
    -------
    tuple of str
        Such as ``"Tail fin edge: shallow hollow; also clearly forked"``.

    Raises
    ------
    UnknownName
    """
    said = []
    for trait_id, cell in _cells(table, taxon, young).items():
        if isinstance(cell, States) and len(cell.names) > 1:
            trait, drawn = table.trait(trait_id), _likeliest(cell)
            others = [trait.word(name) for name in cell.names if name != drawn]
            said.append(f"{trait.name}: {trait.word(drawn)}; also {' or '.join(others)}")
    return tuple(said)


def unknown(table: TraitTable, taxon: str) -> tuple[str, ...]:
    """Name the drawable traits of which the row says nothing; one that does not apply is not among them.

    Raises
    ------
    UnknownName
    """
    return _unknown(table, taxon, young=False)


def _unknown(table: TraitTable, taxon: str, *, young: bool) -> tuple[str, ...]:
    return tuple(table.trait(t).name for t, cell in _cells(table, taxon, young).items() if cell is None)


def _cells(table: TraitTable, taxon: str, young: bool) -> dict[str, States | NotApplicable | None]:
    """Return the cells of the drawable traits of a row."""
    row = table.position(taxon)
    found = {}
    for trait in table.traits:
        if trait.id in STATES and trait.has_states:
            cell = table.cells[trait.id][row]
            if young and trait.id + YOUNG in table.cells:
                said = table.cells[trait.id + YOUNG][row]
                cell = cell if said is None else said
            found[trait.id] = cell
    return found


def _likeliest(cell: States) -> str:
    return cell.names[max(range(len(cell.names)), key=cell.shares.__getitem__)]


def _young_differ(table: TraitTable, taxon: str) -> bool:
    return _cells(table, taxon, young=True) != _cells(table, taxon, young=False)


def _length(table: TraitTable, taxon: str, *, young: bool) -> float | None:
    """Return the length in mm at which a kind is drawn, None where no length is on record."""
    if LENGTH not in table.trait_ids or table.trait(LENGTH).unit != "mm":
        return None
    cell = table.cell(taxon, LENGTH)
    if not isinstance(cell, Range) or cell.high <= 0:
        return None
    return cell.high * (YOUNG_SHARE if young else 1.0)


def _stage_words(length: float | None, *, young: bool) -> str:
    if young:
        return (
            "Young fish, length not known"
            if length is None
            else f"Young fish, drawn at half the recorded length: {length:g} mm"
        )
    return "Adult, length not known" if length is None else f"Adult, largest recorded length: {length:g} mm"


def _refuse_other_tables(table: TraitTable) -> None:
    if not can_draw(table):
        msg = f"table {table.name!r} has no trait that can be drawn; drawable are {', '.join(STATES)}"
        raise IdkeyError(msg)


@functools.lru_cache(maxsize=512)
def _drawn(look: Look, view: str, weight: float, digits: int, border: bool) -> str:
    card = Card(border=border, digits=digits, weight=weight)
    VIEWS[view](card, look)
    return card.shapes()


def _picture(look: Look, view: str, scale: float, *, border: bool = False) -> str:
    """Return one view whose lines come out equally thick at any size."""
    weight = round(min(2.0, 1.25 / scale), 2)
    return _drawn(look, view, weight, 2 if scale > 2.5 else 1, border)


def _side(look: Look, x: float, y: float, scale: float) -> str:
    """Place the side view so that its snout lies at x and its lowest fin at y."""
    left, top, _ = SIDE
    return placed(_picture(look, "side", scale), x - (SNOUT - left) * scale, y - (_LOW - top) * scale, scale)


def _height(look: Look) -> float:
    """Return the height of the side view, lowest fin to the tip of the highest, in units."""
    return _LOW - (_TALL if look.dorsal_height == "tall" else _TOP)


# -- a sheet -------------------------------------------------------------------------------------------


def taxon_svg(table: TraitTable, taxon: str, *, young: bool = False) -> str:
    """Draw one kind on a sheet: from the side on a ruler, and its head, underside, mouth, teeth and tail.

    Parameters
    ----------
    table : TraitTable
    taxon : str
    young : bool
        Draw a young fish, at half the length on record. Only for a kind whose row says that the young look
        different; for any other the adult is drawn.

    Returns
    -------
    str
        An ``<svg>`` element 720 wide, opaque, without ids, with a title; the same bytes every time.

    Raises
    ------
    UnknownName
    IdkeyError
        The table has no trait that can be drawn.
    """
    _refuse_other_tables(table)
    young = young and _young_differ(table, taxon)
    look, length = look_of(table, taxon, young=young), _length(table, taxon, young=young)
    stage = _stage_words(length, young=young)
    body, y = [], 30.0
    for line in lines_of(table.label(taxon), _ROOM, 17.0):
        body.append(words(_MARGIN, y, line, size=17.0, bold=True))
        y += 20.0
    body.append(words(_MARGIN, y, stage + ("" if length is None else ", snout to base of the tail fin")))
    body.append(words(_MARGIN, y + LINE, DRAWN_NOTE, soft=True))
    fish, y = _on_ruler(look, length, y + LINE + 8.0)
    body.append(fish)
    wide = (_ROOM - 2 * _GAP) / 3
    step = wide * CARD[1] / CARD[0] + 32.0
    for i, (view, caption) in enumerate(_PANELS):
        left, top = _MARGIN + (i % 3) * (wide + _GAP), y + (i // 3) * step
        body.append(words(left, top, caption, size=12.5))
        scale = wide / CARD[0]
        body.append(placed(_picture(look, view, scale, border=True), left, top + 7.0, scale))
    y += 2 * step + 6.0
    said = _notes(table, taxon, young=young)
    for note in said:
        lines, y = paragraph(_MARGIN, y, note, _ROOM)
        body.append(lines)
    title = f"{table.label(taxon)}. {stage}. {DRAWN_NOTE}"
    return sheet(title, said, "".join(body), _WIDE, y)


def _notes(table: TraitTable, taxon: str, *, young: bool) -> list[str]:
    said = []
    varying, blank = varies(table, taxon, young=young), _unknown(table, taxon, young=young)
    if varying:
        said.append(f"Varies, the first is drawn. {'. '.join(varying)}.")
    if blank:
        said.append(f"Not known, so dotted, hollow or left blank: {', '.join(blank)}.")
    return said


def _on_ruler(look: Look, length: float | None, y: float) -> tuple[str, float]:
    """Draw the side view on its ruler with the bar of 100 mm, and say where they end."""
    scale = _FISH / _WHOLE
    left = _MARGIN + 8.0
    if length is not None:
        # A fish far shorter than the bar is drawn smaller, so that the bar still fits.
        scale = min(scale, (_ROOM - 60.0) / 100.0 * length / _STANDARD)
    y += _height(look) * scale
    fish = _side(look, left, y, scale)
    y += 10.0
    if length is None:
        return fish, y + 22.0
    per_mm = scale * _STANDARD / length
    return fish + ruler(left, y, per_mm, length, _ROOM - 60.0) + bar(left, y + 30.0, per_mm), y + 62.0


# -- several kinds on one scale ------------------------------------------------------------------------


def scale_svg(table: TraitTable, taxa: Sequence[str], *, young: bool = False) -> str:
    """Draw several kinds from the side, two in a row, all on one millimetre scale.

    Parameters
    ----------
    table : TraitTable
    taxa : sequence of str
        At least one.
    young : bool
        Draw young fish for the kinds whose row says that the young look different, at half the length on
        record; the others stay adults, and every label says which.

    Returns
    -------
    str
        An ``<svg>`` element as from `taxon_svg`, with a ruler below each fish and a bar of 100 mm. A fish of
        unknown length stands in a dotted box, as if 100 mm long, and its label says so; where no length is
        known there is no ruler.

    Raises
    ------
    UnknownName
    IdkeyError
        No taxon given, or the table has no trait that can be drawn.
    """
    _refuse_other_tables(table)
    if not taxa:
        msg = "no taxon given; name at least one kind to draw"
        raise IdkeyError(msg)
    stages = [young and _young_differ(table, taxon) for taxon in taxa]
    lengths = [_length(table, taxon, young=stage) for taxon, stage in zip(taxa, stages, strict=True)]
    column = (_ROOM - 2 * _GAP) / 2 if len(taxa) > 1 else _FISH
    longest = max(STAND_IN if length is None else length for length in lengths)
    # Every fish must fit into its column, and so must the bar.
    per_mm = min((column - 16.0) * _STANDARD / _WHOLE / longest, (column - 60.0) / 100.0)
    known = any(length is not None for length in lengths)
    body, y = [], 14.0
    for start in range(0, len(taxa), 2):
        row = range(start, min(start + 2, len(taxa)))
        drawn = [
            (look_of(table, taxa[i], young=stages[i]), per_mm / _STANDARD * (lengths[i] or STAND_IN))
            for i in row
        ]
        bottom = y + max(_height(look) * scale for look, scale in drawn)
        below = []
        for k, (i, (look, scale)) in enumerate(zip(row, drawn, strict=True)):
            left = _MARGIN + 8.0 + k * (column + 2 * _GAP)
            body.append(_side(look, left, bottom, scale))
            if lengths[i] is None:
                high = _height(look) * scale + 8.0
                body.append(dotted_box(left - 4.0, bottom + 4.0 - high, _WHOLE * scale + 8.0, high))
            below.append(_label(table, taxa[i], lengths[i], stages[i], left, bottom, column, known))
            if known:
                body.append(ruler(left, bottom + 12.0, per_mm, longest, column - 30.0))
        body += [text for text, _ in below]
        y = max(end for _, end in below) + 14.0
    if known:
        body.append(bar(_MARGIN + 8.0, y - 4.0, per_mm))
        y += 22.0
    body.append(words(_MARGIN + 8.0, y, DRAWN_NOTE, soft=True))
    said = [
        f"{table.label(taxon)}: {_stage_words(length, young=stage)}."
        for taxon, length, stage in zip(taxa, lengths, stages, strict=True)
    ]
    title = f"{'; '.join(table.label(taxon) for taxon in taxa)}, on one scale. {DRAWN_NOTE}"
    return sheet(title, said, "".join(body), _WIDE, y + 14.0)


def _label(
    table: TraitTable,
    taxon: str,
    length: float | None,
    young: bool,
    left: float,
    y: float,
    room: float,
    known: bool,
) -> tuple[str, float]:
    """Write the name and the length below a fish and its ruler, and say where that ends."""
    y += 54.0 if known else 24.0
    lines = lines_of(table.label(taxon), room, 13.5)
    text = "".join(words(left, y + i * LINE, line, size=13.5, bold=True) for i, line in enumerate(lines))
    y += len(lines) * LINE
    stage = _stage_words(length, young=young)
    if length is None:
        stage += f"; in the dotted box, as if {STAND_IN:g} mm" if known else "; not to scale"
    more, y = paragraph(left, y, stage, room)
    return text + more, y
