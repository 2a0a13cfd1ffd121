"""What stands beside a picture that is measured: where a point is set, the measures, and their answers."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache

from idkey.model.identify import Identification
from idkey.photo.measures import Measure, Measures
from idkey.photo.points import PointKind
from idkey.table.reading import parse_answer
from idkey.table.schema import States, Trait
from idkey.table.units import figure, first_up
from idkey.views import html
from idkey.views.doc import (
    Block,
    Document,
    Fold,
    Heading,
    Icon,
    Lines,
    Runs,
    Soft,
    Strong,
    Table,
    line,
)
from idkey.views.fish import INK, PAPER, picture, rows, state_svg, svg_text
from idkey.views.words import answer_words

_MARK = "#c2185b"
_SPREAD = {"tail_fork": "forked", "dorsal_height": "normal", "adipose_fin": "present"}
_WIDE = 240
_TICKS = "".join(f"M{x} 138v{6 if x % 45 == 22 else 3.5}" for x in range(22, 203, 9))
_BESIDE = {
    "ruler": f'<path d="M14 138h196v14h-196z" fill="{PAPER}" stroke="{INK}" stroke-width="1.3"/>'
    f'<path d="{_TICKS}" stroke="{INK}" stroke-width="0.9"/>',
    "white": f'<path d="M10 12h36v24h-36z" fill="#ffffff" stroke="{INK}" stroke-width="1.3"/>',
}
"""What lies beside the fish, by how the name of a point begins."""


@cache
def point_svg(name: str, label: str, facing: str = "left") -> str:
    """Draw where a point is set, on a fish that looks "left" or "right"."""
    row = rows("points")[name]
    left, top, width, height = map(float, row["window"].split())
    share = width / _WIDE
    shapes = picture("side-deep", _SPREAD) + _BESIDE.get(name.partition("_")[0], "")
    x, y, ring = float(row["x"]), float(row["y"]), 13 * share
    for colour, stroke in ((PAPER, 8), (_MARK, 4)):
        shapes += (
            f'<circle cx="{x}" cy="{y}" r="{ring:.3g}" stroke="{colour}" stroke-width="{stroke * share}"/>'
        )
    shapes += f'<circle cx="{x}" cy="{y}" r="{2.6 * share:.3g}" fill="{_MARK}"/>'
    if facing == "right":
        shapes = f'<g transform="translate({_WIDE} 0) scale(-1 1)">{shapes}</g>'
        left = _WIDE - left - width
    return svg_text(shapes, label, f"{left:g} {top:g} {width:g} {height:g}", 'width="168" height="112"')


def point_html(kind: PointKind | None, facing: str) -> str:
    """Say which point is to be set, and show where; None is that all are set or left out."""
    if kind is None:
        return html.blocks(
            (Heading("All points are set or left out", 0), line("Drag one to move it.", "soft"))
        )
    drawing = html.runs(Icon(point_svg(kind.name, kind.label, facing or "left"), kind.label))
    return f"{drawing}{html.blocks((Heading(kind.label, 0), line(kind.where)))}"


def measures_document(measures: Measures) -> Document:
    """Return what was measured, each with its interval, formula and source, and what could not be."""
    return Document("Measured on the picture", tuple(_measured(measures)))


def measures_html(measures: Measures) -> str:
    """Return what was measured behind a fold, for a screen."""
    summary = f"All measures ({len(measures)}), how they are worked out, and what is missing"
    return html.blocks((Fold(summary, tuple(_measured(measures)), "photo-all"),)) if measures else ""


def _measured(measures: Measures) -> Iterable[Block]:
    found = tuple(
        (m.label, _amount(m), ("\n".join(filter(None, (m.formula, m.note))), Soft(f"\n{m.source}")))
        for m in measures.values()
    )
    if found:
        heads = ("Measure", "Value, and where it lies nine times of ten", "How it is worked out")
        yield Table(heads, found)
    if measures.missing:
        items = tuple(f"{name}: {why}" for name, why in measures.missing.items())
        yield Fold("Not measured", (Lines(items, "bullets"),))


def _amount(measure: Measure) -> str:
    unit = "" if measure.unit in ("ratio", "count") else f" {measure.unit}"
    digits = 0 if measure.unit == "count" else 1 if measure.high >= 10 else 2
    value, low, high = (figure(x, digits) for x in (measure.value, measure.low, measure.high))
    return f"{value}{unit} ({low} to {high})"


def offer_html(fish: Identification, trait: Trait, text: str, measures: Measures) -> str:
    """Return an answer that was measured: its likeliest state drawn, in words, and by which measure."""
    answer, drawn = parse_answer(trait, text), ""
    if isinstance(answer, States):
        state = max(zip(answer.shares, answer.names, strict=True))[1]
        drawn = state_svg(trait.id, state, trait.word(state), fish.answers) or ""
    said: list[Runs] = [(f"{trait.name}: ", Strong(answer_words(trait, text)))]
    found = [measures[name] for name in trait.measured if name in measures]
    said += [Soft(f"{measure.label}: {_amount(measure)}") for measure in found]
    notes = dict.fromkeys(measure.note for measure in found)
    said += [Soft(f"{first_up(note)}.") for note in notes if note]
    before = fish.answers.get(trait.id)
    if before is not None and before != text:
        said.append(Soft(f"So far: {answer_words(trait, before)}."))
    picture_ = f'<div class="idk-drawing">{drawn}</div>' if drawn else ""
    return f'<div class="idk-photo-said">{picture_}<div>{html.blocks((Lines(tuple(said)),))}</div></div>'
