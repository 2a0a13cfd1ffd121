"""The care screen: the care of a fish, and the tanks of a room held against it."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from contextlib import suppress
from html import escape
from typing import Any

import ipywidgets as w

from idkey.arguments import checked
from idkey.care.room import RoomCheck, TankCheck, check_room, check_tank, read_room
from idkey.care.sheet import CareSheet, care_for
from idkey.care.tank import SIZE, Tank, TankError, asked_back
from idkey.errors import IdkeyError
from idkey.model.identify import Identification
from idkey.table.names import every
from idkey.table.own import own_table
from idkey.table.table import TraitTable
from idkey.views.care import care_blocks, room_table, tank_table
from idkey.views.html import blocks, page
from idkey.widgets.base import Part, Screen, choose, dropdown, field, row, shown, told_apart

# What the lists hold beside kinds and tanks.
_NO_KIND, _START, _TYPE_IN = "", "*", -1
_CHOOSE, _POSSIBLE = "choose a kind", "the names still possible after the answers"
_MANY = 4
"""So many names are counted, not named, over a tank."""
_CHANGE, _HIDE = "Change its measures", "Hide its measures"
_MEASURES = {
    "length_cm": "Length (cm)",
    "width_cm": "Width, front to back (cm)",
    "height_cm": "Height (cm)",
    "fill_cm": "Filled to (cm)",
    "pump_l_h": "Pump (L/h)",
    "temperature_c": "Temperature (\u00b0C)",
    "ph": "pH",
    "gh_dgh": "General hardness (\u00b0dGH)",
    "oxygen_mg_l": "Oxygen (mg/L)",
    "ammonia_mg_l": "Total ammonia, as N (mg/L)",
    "altitude_m": "Altitude (m)",
}
_HINTS = dict.fromkeys(SIZE, "80, or 31 in") | {
    "pump_l_h": "750, or 200 gal/h",
    "temperature_c": "26, or 79 °F",
    "altitude_m": "0",
}


@checked
def care_view(
    what: str | Iterable[str] | Identification | None = None,
    table: TraitTable | None = None,
    room: str | os.PathLike[str] | Iterable[Tank] | None = None,
) -> CareScreen:
    """Open the care screen in a notebook; put it last in a cell.

    Its `care`, `tank`, `check` and `room_check` hold what is shown.

    Parameters
    ----------
    what : str, iterable of str or Identification, optional
        The fish: an id, trade code or name, several taken together, or an identification, whose names still
        possible are taken together as its answers stand now. By default no kind is chosen yet.
    table : TraitTable, optional
        By default the one named with `idkey.use_table`, else the shipped one. An identification
        brings its own.
    room : path or iterable of Tank, optional
        The tanks to choose from: a CSV file as for `idkey.care.room.read_room`, or tanks. By default none; a
        tank can always be typed in.
    """
    return CareScreen(what, table, room)


class Caring(Part):
    """The care of a fish, and the tanks of a room held against it; the screen lays the two boxes out.

    `care` is None while no kind is chosen; `tank` while its size is not complete or a measure can't be read.
    `sheet_box` holds the kind and its care, `tank_box` the tank and how it is held against that.
    """

    def __init__(self, say: Callable[[str], None], table: TraitTable, room: Any = None):
        super().__init__(say)
        self.table = table
        self._tanks = tuple(read_room(room) if isinstance(room, str | os.PathLike) else room or ())
        # What was typed, for each tank: one that is left and come back to stands as it was.
        self._typed = {n: _texts(tank) for n, tank in enumerate(self._tanks)} | {_TYPE_IN: _texts(None)}
        self._start: tuple[Any, ...] = ()
        self.care = self.tank = self.check = self.room_check = None
        names = [tank.name for tank in self._tanks]
        tanks = [(f"{name} [{n + 1}]" if names.count(name) > 1 else name, n) for n, name in enumerate(names)]
        tanks.append(("a tank I type in", _TYPE_IN))
        kind = dropdown("Kind of fish", self._kinds((_CHOOSE, _NO_KIND)), _NO_KIND, width="430px")
        self._kind = self.watch(kind, lambda _: self._show())
        self._which = self.watch(dropdown("Tank", tanks, width="300px"), self._on_tank)
        self._change = self.button(_CHANGE, lambda: self._show_measures(self._change.description == _CHANGE))
        self._back = self.button("Back to the tank as listed", self._on_back)
        # A size that few tanks have is asked back: the measures that were said to be so.
        self._so: dict[str, str] = {}
        self._is_so = self.button("It is as I wrote it", self._on_so)
        self._fields = {}
        for key, label in _MEASURES.items():
            hint = _HINTS.get(key, "not measured")
            self._fields[key] = self.watch(field(label, hint=hint, width="350px"), self._on_measure)
            # Labels of one width, so that the fields stand under one another.
            self._fields[key].style.description_width = "205px"
        self._measures = row(*self._fields.values())
        self._verdict, self._sheet = w.HTML(), w.HTML()
        # The rows of one tank need more room than the ranking; side by side only where both can be read.
        self._checks = w.HTML(layout=w.Layout(flex="3 1 560px", min_width="0", margin="0 24px 8px 0"))
        self._ranked = w.HTML(layout=w.Layout(flex="2 1 400px", min_width="0", margin="0 0 8px 0"))
        across = w.Layout(flex_flow="row wrap", align_items="flex-start")
        checked = w.HBox([self._checks, self._ranked], layout=across)
        self.sheet_box = w.VBox([row(self._kind, name="idk-tools"), self._sheet])
        tools = row(self._which, self._change, self._back, name="idk-tools")
        self.tank_box = w.VBox([tools, self._measures, self._verdict, self._is_so, checked])
        self._fill()
        self._open_measures()

    def _kinds(self, first: tuple[str, str]) -> list[tuple[str, str]]:
        return [first, *told_apart((self.table.label(taxon), taxon) for taxon in self.table.ids)]

    def take(self, what: Any) -> None:
        """Show the care of an identification, of kinds by their names, or of None yet. Raises IdkeyError.

        A kind that the person chose stays chosen while the answers of a fish change.
        """
        another = True
        if isinstance(what, Identification):
            first, chosen = (_POSSIBLE, _START), _START
            another = not what.answers or self._start != (what,)
            self._start = (what,)
        else:
            ids = () if what is None else every(self.table, what)
            self._start = (self.table, *ids)
            first, chosen = (_CHOOSE, _NO_KIND), ids[0] if ids else _NO_KIND
            if len(ids) > 1:
                first, chosen = (f"{len(ids)} kinds together", _START), _START
        with self.filling():
            if self._kind.options[0] != first:
                choose(self._kind, self._kinds(first), chosen)
            elif another:
                self._kind.value = chosen
        self._show()

    def _on_tank(self, _which: int) -> None:
        self._fill()
        self._open_measures()
        self._show()

    def _open_measures(self) -> None:
        which = self._which.value
        shown(self._change, which != _TYPE_IN)
        self._show_measures(which == _TYPE_IN)

    def _on_measure(self, _text: str) -> None:
        self._typed[self._which.value] = {key: control.value for key, control in self._fields.items()}
        self._show()

    def _on_back(self) -> None:
        which = self._which.value
        self._typed[which] = _texts(self._tanks[which])
        self._fill()
        self._show()
        # The button that was pressed is gone.
        self._change.focus()

    def _on_so(self) -> None:
        self._so = dict(self._typed[self._which.value])
        self._show()
        self._which.focus()

    def _fill(self) -> None:
        """Put the measures of the tank that is chosen into the fields."""
        with self.filling():
            for key, text in self._typed[self._which.value].items():
                self._fields[key].value = text

    def _show_measures(self, show: bool) -> None:
        shown(self._measures, show)
        self._change.description = _HIDE if show else _CHANGE

    def _show(self) -> None:
        """Show care, check and room; where one can't be made, nothing older is left standing."""
        self.care = self.tank = self.check = self.room_check = None
        failed, asked = True, ""
        try:
            kind = self._kind.value
            if kind != _NO_KIND:
                self.care = care_for(*self._start) if kind == _START else care_for(self.table, kind)
                tanks = list(self._tanks)
                for n, listed in enumerate(self._tanks):
                    # One whose measures can't be read counts as listed.
                    with suppress(IdkeyError):
                        tanks[n] = self._tank_now(n)[0] or listed
                self.room_check = check_room(self.care, tanks) if tanks else None
                self.tank, asked = self._tank_now(self._which.value)
                self.check = check_tank(self.care, self.tank) if self.tank is not None else None
            failed = False
        finally:
            shown(self._back, self._is_changed(self._which.value))
            shown(self._is_so, bool(asked))
            self._verdict.value = "" if failed else self._verdict_html(asked)
            self._sheet.value = blocks(care_blocks(self.care, drawn=True)) if self.care is not None else ""
            for part, made, table in (
                (self._checks, self.check, tank_table),
                (self._ranked, self.room_check, room_table),
            ):
                part.value = blocks((table(made),)) if made is not None else ""
                # An empty part would keep its place beside the other.
                shown(part, made is not None)

    def _tank_now(self, which: int) -> tuple[Tank | None, str]:
        """Return a tank with what was typed, None while its size is not complete; and what is asked back."""
        rest = {"name": "the tank typed in"}
        if which != _TYPE_IN:
            if not self._is_changed(which):
                return self._tanks[which], ""
            rest = {key: getattr(self._tanks[which], key) for key in ("name", "substrate", "companions")}
        typed = self._typed[which]
        if not all(typed[key].strip() for key in SIZE):
            return None, ""
        try:
            tank = Tank.of(rest | typed)
        except TankError as error:
            # In the words of the screen.
            wrong = (f"{_MEASURES.get(m, m)}: {typed.get(m, '')!r}: {right}" for m, _, right in error.wrong)
            raise IdkeyError("; ".join(wrong)) from None
        sizes = {key: asked_back(key, getattr(tank, key)) for key in SIZE}
        asked = "; ".join(f"{_MEASURES[key]} {text}" for key, text in sizes.items() if text)
        return (None, asked) if asked and typed != self._so else (tank, "")

    def _is_changed(self, which: int) -> bool:
        return which != _TYPE_IN and self._typed[which] != _texts(self._tanks[which])

    @property
    def static_html(self) -> str:
        """What is shown, without the controls."""
        return "\n".join(part.value for part in (self._verdict, self._checks, self._ranked, self._sheet))

    def _verdict_html(self, asked: str) -> str:
        head = note = ""
        if self.care is None:
            words = "Choose a kind of fish: its care will stand here, held against the tank."
        elif self.check is None:
            blank = "Give the length, width and height of the tank. What is not measured is left blank."
            words = asked or blank
        else:
            words = self.check.verdict
            labels = self.care.labels
            whose = "; ".join(labels) if len(labels) < _MANY else f"{len(labels)} kinds together"
            head = f"<h3>{escape(self.check.tank.name)} for {escape(whose)}</h3>"
            if self._is_changed(self._which.value):
                note = '<p class="idk-soft">With measures changed here; the list of tanks stays as it is.</p>'
        return f'{head}<p class="idk-outcome" role="status">{escape(words)}</p>{note}'


class CareScreen(Screen):
    """The care of a fish, and tanks held against it; see `care_view`."""

    def __init__(self, what: Any, table: TraitTable | None, room: Any):
        super().__init__()
        is_fish = isinstance(what, Identification)
        table = what.table if is_fish else own_table() if table is None else table
        self.caring = Caring(self.say, table, room)
        try:
            self.caring.take(what)
        except IdkeyError as error:
            # The answers may leave no name; another kind can still be chosen here.
            if not is_fish:
                raise
            self.say(str(error))
        sheet, tank = self.caring.sheet_box, self.caring.tank_box
        self.children = [self._top, *sheet.children[:1], self._alert, tank, *sheet.children[1:]]

    @property
    def table(self) -> TraitTable:
        """The table that the care is from."""
        return self.caring.table

    @property
    def care(self) -> CareSheet | None:
        """The care of the fish; None while no kind is chosen."""
        return self.caring.care

    @property
    def tank(self) -> Tank | None:
        """The tank; None while its size is not complete or a measure can't be read."""
        return self.caring.tank

    @property
    def check(self) -> TankCheck | None:
        """The tank held against the care."""
        return self.caring.check

    @property
    def room_check(self) -> RoomCheck | None:
        """The tanks of the room, ranked for the fish."""
        return self.caring.room_check

    def _static_html(self) -> str:
        # Nobody needs to be told of a change in what is saved.
        return page(self.caring.static_html.replace(' role="status"', ""))

    def _static_text(self) -> str:
        made = (repr(thing) for thing in (self.check, self.care) if thing is not None)
        return "\n\n".join(made) or "No kind of fish chosen yet."


def _texts(tank: Tank | None) -> dict[str, str]:
    """Return the measures of a tank as they stand in the fields; all blank for None."""
    values = {key: getattr(tank, key, None) for key in _MEASURES}
    return {key: "" if value is None else f"{value:.10g}" for key, value in values.items()}
