"""What the page shows of a table as plain data: names, drawings, cells in words, care, sources, sayings."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any

from idkey.book.editions import edition_id
from idkey.errors import IdkeyError
from idkey.model.combine import model_of
from idkey.model.fit import POOR_FIT
from idkey.model.genus import LITTLE_BITS, MOST_GENERA, a_kind
from idkey.model.identify import FAIR, LITTLE, UNKNOWN, strength
from idkey.model.sayings import SAYINGS
from idkey.phone.needs import needs
from idkey.table.schema import NONE, NOT_APPLICABLE, YOUNG, Cell, States, Trait, cell_words
from idkey.table.table import TraitTable
from idkey.views.fish import how_svg, picture, state_svg
from idkey.views.html import SVG
from idkey.views.identify import LITTLE_GAIN, MOST_LIKELIEST, MOST_LOOKS, MOST_RIVALS, SIDES
from idkey.views.sheet import DRAWN_NOTE, FISH_WINDOW, can_draw, look_of
from idkey.views.words import CAUTION_IN_SHORT, claim_words, introduced, none_words, stamp

_STEPS = (LITTLE, FAIR, 10.0, 20.0)
_TAG = re.compile(r"<[^>]+>")


def shown(table: TraitTable) -> dict[str, Any]:
    """Return what the page shows at once beside the model; kinds are sorted by id, as in the model."""
    ids = sorted(table.ids)
    return {
        "stamp": stamp(table),
        "edition": _edition(table),
        "kinds": [{"id": taxon, "name": table.label(taxon)} for taxon in ids],
        "windows": {t.id: [svg and _parts(svg)[0] for svg in _drawings(t)] for t in table.traits},
        "fishWindow": FISH_WINDOW,
        "canDraw": can_draw(table),
        "rows": {t.id: _cells(table, t, ids) for t in table.traits},
        "care": needs(table),
        "cautionInShort": CAUTION_IN_SHORT,
        "drawnNote": DRAWN_NOTE,
        "noneWords": none_words(NONE, NONE),
        "sayings": SAYINGS,
        "mostRivals": MOST_RIVALS,
        "mostLikeliest": MOST_LIKELIEST,
        "mostLooks": MOST_LOOKS,
        "littleGain": LITTLE_GAIN,
        "mostGenera": MOST_GENERA,
        "littleBits": LITTLE_BITS,
        "aGenus": [*map(a_kind, model_of(table).genera)],
        "sides": SIDES,
        "strengths": [*(_step(limit, limit - 1e-9) for limit in _STEPS), _step(None, 2 * _STEPS[-1])],
        "little": LITTLE,
        "fair": FAIR,
        "poorFit": POOR_FIT,
        "unknown": UNKNOWN,
        "notApplicable": cell_words(table.traits[0], NOT_APPLICABLE),
        "order": list(table.trait_ids),
    }


def opened(table: TraitTable) -> dict[str, Any]:
    """Return what the page shows after the first words: drawings, what is opened of a kind, sources."""
    ids, shapes = sorted(table.ids), _Shapes()
    return {
        "states": {t.id: [svg and shapes.of(_parts(svg)[1]) for svg in _drawings(t)] for t in table.traits},
        "kinds": [_kind(table, taxon, shapes) for taxon in ids],
        "written": _written(table, ids),
        "shapes": [*shapes.places],
        "sources": sorted({source.full for source in table.sources.values()}),
    }


def _edition(table: TraitTable) -> str:
    """Return what a book knows the table by; blank for one that no book can hold."""
    try:
        return edition_id(table)
    except IdkeyError:
        return ""


def _step(below: float | None, decibans: float) -> dict[str, Any]:
    return {"below": below, "for": strength(decibans), "against": strength(-decibans)}


def _drawings(trait: Trait) -> list[str | None]:
    """Return the drawings of the states of a trait, or the one of how its figure is taken."""
    return [state_svg(trait.id, s) for s in trait.states] if trait.has_states else [how_svg(trait.id)]


def _parts(svg: str) -> tuple[str, str]:
    """Return the window of a drawing and its shapes; its title stays behind."""
    return SVG.fullmatch(svg).groups()


class _Shapes:
    """The shapes of all drawings, each written once."""

    def __init__(self) -> None:
        self.places: dict[str, int] = {}

    def of(self, text: str) -> list[int]:
        """Return the places of the shapes of a drawing."""
        return [self.places.setdefault(tag, len(self.places)) for tag in _TAG.findall(text)]


def _kind(table: TraitTable, taxon: str, shapes: _Shapes) -> dict[str, Any]:
    data: dict[str, Any] = {"introduced": introduced(table, taxon)}
    if can_draw(table):
        look = look_of(table, taxon)
        drawing = shapes.of(picture(f"side-{look.form}", look.states))
        data |= {"drawing": drawing, "stage": look.stage, "notes": look.notes}
    return data


def _cells(table: TraitTable, trait: Trait, ids: Iterable[str]) -> dict[str, Any]:
    """Return cells in words, equal ones once; beside each what is drawn of it, None where it is not known."""
    places: dict[Any, int] = {}
    both = ((table.cell(taxon, trait.id), table.young_cell(taxon, trait.id), taxon) for taxon in ids)
    of = [
        places.setdefault((adult, young, table.words(taxon, trait.id)), len(places))
        for adult, young, taxon in both
    ]
    drawn = [None if adult is None else _drawn(trait, adult) for adult, *_ in places]
    return {"texts": [words for *_, words in places], "of": of, "drawn": drawn}


def _drawn(trait: Trait, cell: Cell) -> list[int]:
    return [trait.states.index(name) for name in cell.names[:2]] if isinstance(cell, States) else []


def _written(table: TraitTable, ids: Iterable[str]) -> dict[str, Any]:
    """Return where each cell stands written, by trait."""
    found: dict[tuple[str, str], dict[str, None]] = {}
    if "taxon" in table.evidence.columns:
        columns = ["taxon", "attribute", "source", "locator", "class"]
        for taxon, attribute, key, locator, class_ in table.claims_by_kind[columns].itertuples(index=False):
            source = table.sources.get(key)
            words = claim_words(source.short if source else key, locator, class_)
            found.setdefault((taxon, attribute.removesuffix(YOUNG)), {})[words] = None
    return {t.id: _once("; ".join(found.get((taxon, t.id), ())) for taxon in ids) for t in table.traits}


def _once(texts: Iterable[str]) -> Mapping[str, Any]:
    """Return texts, one a kind, with equal ones written once."""
    places: dict[str, int] = {}
    of = [places.setdefault(text, len(places)) for text in texts]
    return {"texts": [*places], "of": of}
