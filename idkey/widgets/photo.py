"""Measure on a photo: points set on a picture, the spots found, and the answers they give."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Mapping
from importlib.resources import files
from typing import Any, NamedTuple

import anywidget
import ipywidgets as w
import traitlets as t

from idkey.arguments import checked
from idkey.errors import IdkeyError
from idkey.model.identify import Identification
from idkey.photo.finding import find_spots, toggled
from idkey.photo.measures import Measures, measure
from idkey.photo.picture import Picture, open_picture, read_picture
from idkey.photo.points import KINDS, NAMES, Points
from idkey.photo.spots import Spots
from idkey.table.own import own_table
from idkey.table.reading import quantity
from idkey.table.table import TraitTable
from idkey.table.units import number_of
from idkey.views import identify as views
from idkey.views.html import status
from idkey.views.photo import measures_html, offer_html, point_html
from idkey.widgets.base import Part, Screen, dropdown, field, row, shown, tick

_LONGEST = 4096  # of the side of what is sent to the browser, in pixels
_KIND = {kind.name: kind for kind in KINDS}
_NEXT = ("what is next", "")
_LIGHT = (("lighter or darker", ""), ("lighter", "light"), ("darker", "dark"))


@checked
def photo_view(picture: str | os.PathLike[str] | None = None, table: TraitTable | None = None) -> PhotoScreen:
    """Open the screen that measures a fish on a picture; put it last in a cell.

    Its `identification` holds the answers that were accepted, its `measuring` the `points`, the `spots` and
    the `measures`.

    Parameters
    ----------
    picture : str or path, optional
        A side picture of one fish: JPEG, PNG, WebP, or HEIC with the extra ``idkey[heic]``. By default it is
        chosen on the screen. Raises IdkeyError for what can't be opened.
    table : TraitTable, optional
        By default the one named with `idkey.use_table`, else the shipped one.
    """
    screen = PhotoScreen(Identification(own_table() if table is None else table))
    if picture is not None:
        screen.measuring.show_picture(open_picture(picture))
    return screen


class Canvas(anywidget.AnyWidget):
    """The picture with its points and outlines; `photo.js` draws it and tells what is done on it."""

    # As text: a path would be watched, and what watches it keeps every widget for ever.
    _esm = (files("idkey.widgets") / "photo.js").read_text(encoding="utf-8")
    _css = (files("idkey.widgets") / "photo.css").read_text(encoding="utf-8")
    picture = t.Bytes().tag(sync=True)
    size = t.List([0, 0]).tag(sync=True)
    points = t.Dict().tag(sync=True)
    labels = t.Dict({kind.name: kind.label for kind in KINDS}).tag(sync=True)
    asks = t.List().tag(sync=True)
    outlines = t.List().tag(sync=True)
    sowing = t.Bool(False).tag(sync=True)


class _State(NamedTuple):
    """What undo goes back to."""

    points: Points
    spots: Spots | None
    left_out: frozenset[str]


_NOTHING = _State(Points({}), None, frozenset())


class Measuring(Part):
    """A picture that is measured; `changed` is called when the fish was given answers."""

    def __init__(
        self,
        say: Callable[[str], None],
        fish: Callable[[], Identification],
        changed: Callable[[], None],
    ):
        super().__init__(say)
        self._fish, self._changed = fish, changed
        self._offers: dict[str, w.HBox] = {}
        self._upload = bytearray()
        self._warned: Any = None
        self.picture: Picture | None = None
        self._state, self._history, self._chosen = _NOTHING, [], ""
        self.measures: Measures | None = None
        self._make_controls()
        self.children = self._laid_out()
        self._show()

    def _make_controls(self) -> None:
        self.path = field("Picture", hint="path of a file, or choose one below", width="430px", live=True)
        self.path.on_msg(lambda _w, message, _b: message.get("event") == "submit" and self.opens.click())
        self.opens = self.button(
            "Open it", lambda: self._leave(lambda: open_picture(self.path.value.strip()))
        )
        self.canvas = Canvas(layout=w.Layout(flex="2 1 480px", min_width="0"))
        self.canvas.on_msg(lambda _w, message, buffers: self.run(self._on_canvas, message, buffers))
        self._asked, self._status, self._all = w.HTML(), w.HTML(), w.HTML()
        self._asked.add_class("idk-photo-asked")
        self.skip = self.button("Leave it out", self._on_skip)
        self.undo = self.button("Undo", self._on_undo)
        self.other = self.watch(
            dropdown("Point", [_NEXT, *((k.label, k.name) for k in KINDS)]), self._on_other
        )
        self.ruler = self.watch(
            field("Ruler marks apart (mm)", hint="50, 5 cm or 2 in", width="300px"),
            self._on_ruler,
        )
        self.find = self.button("Find the spots", self._on_find)
        self.light = dropdown("They are", _LIGHT)
        self.sow = self.button("Add or take away spots", self._on_sow)
        self.accept_all = self.button("Accept all", self._on_accept)

    def _laid_out(self) -> list[w.Widget]:
        tools = row(self.skip, self.undo, self.other, name="idk-tools")
        self._offered = w.VBox([])
        self._head = row(w.HTML("<h4>Answers from the picture</h4>"), self.accept_all, name="idk-names-head")
        panel = [
            self._asked,
            tools,
            self.ruler,
            row(self.find, self.light, self.sow),
            self._status,
            self._head,
            self._offered,
        ]
        self._panel = w.VBox([*panel, self._all], layout=w.Layout(flex="1 1 340px", min_width="0"))
        body = w.HBox(
            [self.canvas, self._panel], layout=w.Layout(flex_flow="row wrap", align_items="flex-start")
        )
        body.add_class("idk-photo-body")
        return [row(self.path, self.opens), body]

    # -- what is held -----------------------------------------------------------------------------

    @property
    def points(self) -> Points:
        """The points as they are set."""
        return self._state.points

    @property
    def spots(self) -> Spots | None:
        """The spots found and put right by hand; None where none were looked for."""
        return self._state.spots

    @property
    def marks(self) -> dict[str, Any] | None:
        """What is set on the picture, as a book keeps it; None without a picture."""
        if self.picture is None:
            return None
        spots = json.loads(self.spots.to_json()) if self.spots is not None else None
        return json.loads(self.points.to_json()) | {"spots": spots}

    def show_picture(self, picture: Picture | None, marks: Mapping[str, Any] | None = None) -> None:
        """Show a picture, with the `marks` that a book holds of it; None takes the picture away."""
        state = _NOTHING
        if marks:
            points, spots = Points.from_json(json.dumps(marks)), marks.get("spots")
            spots = None if spots is None else Spots.from_json(json.dumps(spots))
            state = _State(points, spots, frozenset(NAMES) - points.at.keys())
        self.picture, self._state, self._history, self._chosen = picture, state, [], ""
        self.show_path()
        self._show_ruler()
        self.canvas.sowing = False
        self.canvas.size = [picture.width, picture.height] if picture else [0, 0]
        self.canvas.picture = picture.jpeg(_LONGEST) if picture else b""
        self._show()

    def show_path(self) -> None:
        """Show where the picture lies."""
        self.path.value = str(self.picture.path or "") if self.picture else ""

    # -- what the person does -----------------------------------------------------------------------

    def _leave(self, opened: Callable[[], Picture]) -> None:
        """Go on to another picture; where points are set on this one it is asked twice."""
        picture = opened()
        if self._state is not _NOTHING and self._state is not self._warned and self.picture != picture:
            self._warned = self._state
            raise IdkeyError("Another picture takes the points on this one away. Open it again to go on.")
        self.show_picture(picture)

    def _on_canvas(self, message: Mapping[str, Any], buffers: list[Any]) -> None:
        match message:
            case {"kind": "set", "name": str(name), "at": [float() | int() as x, float() | int() as y]}:
                try:
                    self._move(name, (x, y))
                finally:
                    self.canvas.send({"heard": name, "at": [x, y]})
            case {"kind": "take", "name": str(name)}:
                self._take_away(name)
            case {"kind": "spot", "at": [float() | int() as x, float() | int() as y]}:
                self._on_spot(x, y)
            case {"kind": "undo"}:
                self._on_undo()
            case {"kind": "file", "name": str(name), "size": int(size), "at": int(at)}:
                self._on_file(name, size, at, buffers)

    def _on_file(self, name: str, size: int, at: int, buffers: list[Any]) -> None:
        if at == 0:
            self._upload.clear()
        self._upload += bytes(buffers[0])
        if len(self._upload) >= size:
            data = bytes(self._upload)
            self._upload.clear()
            self._leave(lambda: read_picture(data, name))

    def _move(self, name: str, at: tuple[float, float]) -> None:
        self._chosen = ""
        self._do(points=self.points.moved(name, at), left_out=self._state.left_out - {name})

    def _take_away(self, name: str) -> None:
        self._do(points=self.points.moved(name, None), left_out=self._state.left_out | {name})

    def _on_skip(self) -> None:
        if asks := self.canvas.asks:
            self._chosen = ""
            self._take_away(asks[0])

    def _on_other(self, name: str) -> None:
        self._chosen = name
        self._show_asked()

    def _on_ruler(self, text: str) -> None:
        try:
            length = quantity(text, "mm") if text.strip() else None
        except ValueError as error:
            raise IdkeyError(f"Ruler marks apart: {text!r}: {error}") from None
        self._do(points=Points(self.points.at, length))

    def _on_find(self) -> None:
        self._status.value = status("Looking for the spots …")
        try:
            spots = find_spots(
                self._opened, self.points, {"light": True, "dark": False}.get(self.light.value)
            )
        finally:
            self._show_status()
        self._do(spots=spots)

    def _on_sow(self) -> None:
        self.canvas.sowing = not self.canvas.sowing
        self._show_asked()

    def _on_spot(self, x: float, y: float) -> None:
        if self.spots is not None:
            self._do(spots=toggled(self._opened, self.points, self.spots, x, y))

    def _on_undo(self) -> None:
        if self._history:
            self._state = self._history.pop()
            self._chosen = ""
            self._show_ruler()
            self._show()

    def _on_accept(self, *traits: str) -> None:
        for trait in traits or self._answers:
            self._fish().answer(trait, self._answers[trait])
        self._changed()
        self.show_offers()

    def _do(self, **changed: Any) -> None:
        self._history.append(self._state)
        self._state = self._state._replace(**changed)
        self._show()

    @property
    def _opened(self) -> Picture:
        if self.picture is None:
            raise IdkeyError("There is no picture yet: open one first.")
        return self.picture

    # -- what the person sees -------------------------------------------------------------------------

    def _show(self) -> None:
        self.canvas.points = {name: list(at) for name, at in self.points.at.items()}
        self.canvas.outlines = (
            [line.round(1).ravel().tolist() for line in self.spots.outlines] if self.spots else []
        )
        self._show_asked()
        shown(self._panel, self.picture is not None)
        shown(self.ruler, self.points.has("ruler_a", "ruler_b"))
        self.undo.disabled = not self._history
        self.measures = measure(self.picture, self.points, self.spots) if self.picture else None
        self._answers = self.measures.answers(self._fish().table) if self.measures else {}
        self._show_status()
        self._all.value = measures_html(self.measures) if self.measures is not None else ""
        self.show_offers()

    def _show_asked(self) -> None:
        done = self.points.at.keys() | self._state.left_out
        chosen = [self._chosen] if self._chosen else []
        asks = chosen + [name for name in NAMES if name not in done and name not in chosen]
        self.canvas.asks, asked = asks, next(iter(asks), "")
        with self.filling():
            self.other.value = self._chosen
        self._asked.value = point_html(_KIND.get(asked), self.points.facing)
        self.skip.disabled = not asked
        tick(self.sow, self.canvas.sowing)
        shown(self._asked, not self.canvas.sowing)

    def _show_ruler(self) -> None:
        """Show the length that is held, in place of what was typed."""
        length = self.points.ruler_mm
        with self.filling():
            self.ruler.value = "" if length is None else f"{length:g}"

    def _show_status(self) -> None:
        self.sow.disabled = self.spots is None
        words = f"{number_of(len(self.points.at), 'point')} set"
        if self.spots is not None:
            kind = {True: "light ", False: "dark ", None: ""}[self.spots.light]
            words += f", {number_of(len(self.spots), f'{kind}spot')} outlined"
        self._status.value = status(f"{words}.", "soft")

    def show_offers(self) -> None:
        """Show the answers that the picture gives, each with a button that accepts it."""
        fish, rows = self._fish(), []
        for name, text in self._answers.items():
            trait = fish.table.trait(name)
            if name not in self._offers:
                said = w.HTML(layout=w.Layout(flex="1 1 280px", min_width="0"))
                press = self.button(f"Accept {trait.name.lower()}", self._on_accept, name)
                self._offers[name] = row(said, press, name="idk-photo-offer")
            said, press = self._offers[name].children
            said.value = offer_html(fish, trait, text, self.measures)
            tick(press, fish.answers.get(name) == text)
            rows.append(self._offers[name])
        if tuple(rows) != self._offered.children:
            self._offered.children = rows
        shown(self._head, bool(rows))


class PhotoScreen(Screen):
    """A picture that is measured, and what its answers come to; see `photo_view`."""

    def __init__(self, fish: Identification):
        super().__init__()
        self.identification = fish
        self._outcome = w.HTML()
        self._outcome.add_class("idk-stands")
        self.measuring = Measuring(self.say, lambda: self.identification, self._show_outcome)
        self.children = [self._top, self._outcome, self._alert, self.measuring]
        self._show_outcome()

    def _show_outcome(self) -> None:
        self._outcome.value = views.outcome_html(self.identification)

    def _things(self) -> list[Any]:
        measures = self.measuring.measures
        return [self.identification, *([measures] if measures else [])]
