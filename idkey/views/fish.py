"""Pictures of the traits and of whole fish: which layers are drawn, in what colours, with what spots on them.

A state has one layer, on a button and in a whole fish. What a button is about is inked, the rest a ghost.
White, yellow, orange and a dark body are steps of grey. What is not known is left out or drawn plain, as no
state is: a dorsal fin half raised, a closed tail, a snout without outline, spots between two sizes.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from functools import lru_cache
from html import escape

from idkey.views.art import BORDER, INK, PAPER, Art, outlines, read_art, rows, sown
from idkey.views.doc import clean

STATES = {trait: tuple(row["states"].split()) for trait, row in rows("pictures").items()}
"""Trait id -> the states that can be drawn."""
MARKS = {"white": PAPER, "yellow": "#f0bd33", "orange": "#dd6a22"}
_HEMS = {"dark": INK, "white": PAPER, "orange": MARKS["orange"]}
_SPOTTED = ("light_spots", "dark_spots")
_TRAIT_OF = {row["part"]: trait for trait, row in rows("pictures").items() if row["part"]}
_USUAL = {trait: row["usual"] for trait, row in rows("pictures").items() if row["usual"]}
_ROLE_OF = {row["swatch"]: role for role, row in rows("colours").items()}
_COLOUR, _WEIGHT = re.compile(r"#[0-9a-fA-F]{6}\b"), re.compile(r'(stroke-width[=:]\s*"?)([\d.]+)')
# Radius of a spot as a share of what it is held against; the first trait that is known decides.
_SIZES = {
    "spot_size": ("eye-rim", {"small": 0.33, "medium": 0.66, "large": 1.05}),
    "spot_vs_pupil": ("pupil", {"under_half": 0.42, "smaller": 0.75, "larger": 1.35}),
    "spot_vs_nostril": ("nostril-opening", {"smaller": 0.55, "equal": 1.0, "larger": 1.7}),
}
_GAPS = {"sparse": 5.4, "moderate": 3.4, "dense": 2.3, "": 4.3}  # least, from middle to middle, in radii


def ground_tone(states: Mapping[str, str]) -> dict[str, str]:
    """Return the colour of each role; a ground not known is grey, dark or light as its spots need it."""
    pattern = states.get("pattern", "")
    ground = states.get("ground_colour") or (pattern if pattern in _SPOTTED else "unknown")
    tone = {role: row[ground] for role, row in rows("colours").items()}
    if pattern in _SPOTTED:
        known = MARKS.get(states.get("spot_colour", "")) if pattern == "light_spots" else None
        tone["mark"] = known or rows("colours")["mark"][pattern]
    return tone


@lru_cache(maxsize=512)
def _shapes(file: str, known: frozenset[tuple[str, str]], inked: frozenset[str], weight: float) -> str:
    art, states, shapes, spots = read_art(file), dict(known), [], ""
    inks, ghost = ground_tone(states), {role: row["ghost"] for role, row in rows("colours").items()}
    hem = _HEMS.get(states.get("fin_edging", ""), "")
    if states.get("dorsal_reach") in {"reaches", "joined"}:
        states.setdefault("adipose_fin", "present")  # there is a fin to reach
    for part, state, pieces in art.layers:
        full = part in inked if inked else "measure" not in part
        if state not in {"", states.get(_TRAIT_OF.get(part, ""), "plain")}:
            continue
        if not full and ("measure" in part or part in {"plates", "pattern"}):
            continue
        if (part, state) == ("pattern", "") and states.get("pattern") in _SPOTTED:
            shapes.append(_spots(art, states, inks["mark"]))
        for kind, text, path in pieces:
            if kind == "clip-fins" and full and states.get("fin_spots") == "yes":
                radius = min(0.75 * _radius(art, states), 2.6)
                apart = max(_GAPS[states.get("spot_density", "")] * radius, 7.0)
                spots = _dots(sown(outlines(path), apart, radius + 1.0), radius, inks["mark"])
            if kind not in {"clip-fins", "detail"}:  # they lie on the rays
                shapes.append(spots)
                spots = ""
            if (full or kind != "detail") and (kind != "hem" or (full and hem)):
                tone = (inks | {"fin": hem} if kind == "hem" else inks) if full else ghost
                text = _COLOUR.sub(lambda c, tone=tone: tone.get(_ROLE_OF.get(c[0].lower(), ""), c[0]), text)  # noqa: PLW2901
                shapes.append(_WEIGHT.sub(lambda w: f"{w[1]}{float(w[2]) * weight:.3g}", text))
    return "".join(shapes)


def _dots(points: Iterable[tuple[float, float]], radius: float, colour: str) -> str:
    data = "".join(f"M{x:.1f} {y:.1f}h.01" for x, y in points)
    return f'<path d="{data}" stroke="{colour}" stroke-width="{2 * radius:.3g}"/>'


def _radius(art: Art, states: Mapping[str, str]) -> float:
    """Return the radius of the body spots, held against the eye, the pupil or the nostril as drawn."""
    radii = {name.removesuffix("-left"): circle[2] for name, circle in art.circles.items()}
    for trait, (measure, shares) in _SIZES.items():
        if trait in states and measure in radii:
            return radii[measure] * shares[states[trait]]
    return radii.get("eye-rim", 6.0) * 0.5  # between small and medium


def _spots(art: Art, states: Mapping[str, str], colour: str) -> str:
    """Sow the spots of the body; where nothing is known of those on the head the face stays plain."""
    gap, on_head, body = _GAPS[states.get("spot_density", "")], states.get("head_spots"), _radius(art, states)
    holes = [(x, y, r + 1.4) for name, (x, y, r) in art.circles.items() if not name.startswith("pupil")]

    def spots(clips: Iterable[str], radius: float, gap: float = gap, start: float = 0.0) -> str:
        area = [outline for clip in clips for outline in art.clips[clip]]
        apart = max(min(gap * radius, 27.0), 2 * radius + 1.4)
        return _dots(sown(area, apart, radius + 0.6, holes, start), radius, colour)

    if "clip-belly" in art.clips:
        return spots(art.clips, max(body, 2.0), 4.0) if states.get("belly_spots") == "yes" else ""
    if on_head in {"same", None}:
        return spots(art.clips, body, gap, 0.0 if on_head else max(x + r for x, _, r in holes))
    return spots(["clip-flank"], body) + (spots(["clip-head"], 0.55 * body) if on_head == "smaller" else "")


def picture(view: str, states: Mapping[str, str], inked: Iterable[str] = (), weight: float = 1.0) -> str:
    """Return the shapes of a view of a fish, 240 wide and 160 high, as SVG text without ids.

    The view is a file of the art; what is left out of the states is not known; where parts are inked the rest
    is a ghost; the weight is that of the lines against the art's.
    """
    known = frozenset((t, s) for t, s in states.items() if s in STATES.get(t, ()))
    return _shapes(view, known, frozenset(inked), weight)


def state_svg(trait_id: str, state: str, title: str = "", answers: Mapping | None = None) -> str | None:
    """Return a small drawing of one state of one trait, None where there is nothing to draw.

    Its title is by default the ids in plain words. It takes over the answers given already, so that dark
    spots on pale stay so; what of them cannot be drawn is passed over.
    """
    if state not in STATES.get(trait_id, ()):
        return None
    row = rows("pictures")[trait_id]
    known = {t: s for t, s in (answers or {}).items() if isinstance(s, str) and s in STATES.get(t, ())}
    states = _USUAL | known | {trait_id: state}
    if trait_id == "spot_colour" or ("spot" in trait_id and states["pattern"] not in _SPOTTED):
        states["pattern"] = "light_spots"
    if trait_id in _SIZES:
        states = {t: s for t, s in states.items() if t == trait_id or t not in _SIZES}
    shapes = picture(row["view"], states, row["inked"].split(), 1.15 * float(row["window"].split()[2]) / 240)
    title = title or f"{trait_id}: {state}".replace("_", " ")
    return svg_text(shapes, title, row["window"], 'width="120" height="80"')


def svg_text(shapes: str, title: str, window: str, more: str, desc: str = "") -> str:
    """Return a drawing on a card, with a title and a description for those who do not see it."""
    left, top, width, height = window.split()
    card = f'd="M{left} {top}h{width}v{height}h-{width}z" fill="{PAPER}" stroke="{BORDER}" stroke-width="2"'
    said = f"<title>{escape(clean(title))}</title>" + (f"<desc>{escape(clean(desc))}</desc>" if desc else "")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="{window}" {more} fill="none" '
        f'stroke-linejoin="round" stroke-linecap="round">{said}<path {card}/>{shapes}</svg>'
    )
