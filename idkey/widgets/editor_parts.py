"""What the parts of the table editor share: rows, fields, buttons that open one part at a time."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import ipywidgets as w

from idkey.table.draft import Draft
from idkey.widgets.base import guarded, shown

if TYPE_CHECKING:
    from idkey.widgets.editor import TableEditor

__all__ = ["Folds", "Part", "area", "button", "dropdown", "field", "row", "tick"]

_LABEL = {"description_width": "initial"}
_TICK = "\u2713 "
_CLOSE = "Close: "


class Part(w.VBox):
    """A part of the editor; its messages stand where those of the whole screen stand.

    Attributes
    ----------
    editor : TableEditor
    """

    def __init__(self, editor: TableEditor, **options: Any):
        self.editor = editor
        self._updating = False
        super().__init__(**options)

    @property
    def draft(self) -> Draft:
        """The changes that are not saved."""
        return self.editor.draft

    def say(self, message: str) -> None:
        """Show a message on the screen."""
        self.editor.say(message)

    def first(self) -> w.DOMWidget:
        """Return the control that the keyboard goes to first."""
        raise NotImplementedError

    def opened(self) -> None:
        """Bring it up to date; called when it is opened."""


class Folds(w.VBox):
    """Buttons in a row that open one part below at a time."""

    def __init__(self, parts: Sequence[tuple[str, Part]]):
        self._parts = dict(parts)
        self.buttons = {title: button(title, self._on_press) for title in self._parts}
        super().__init__([row(*self.buttons.values(), name="idk-tools"), *self._parts.values()])
        for part in self._parts.values():
            part.add_class("idk-edit-part")
            shown(part, False)

    def say(self, message: str) -> None:
        """Show a message on the screen."""
        next(iter(self._parts.values())).say(message)

    @guarded
    def _on_press(self, pressed: w.Button) -> None:
        title = pressed.description.removeprefix(_CLOSE)
        if pressed.description == title:
            self.open_one(title)
        else:
            self.shut_all()

    def open_one(self, title: str) -> None:
        """Open one part and put the keyboard there."""
        self.shut_all()
        part = self._parts[title]
        part.opened()
        shown(part, True)
        self.buttons[title].description = f"{_CLOSE}{title}"
        part.first().focus()

    def leave(self) -> None:
        """Shut the part that is open; the keyboard goes back to its button."""
        for title, part in self._parts.items():
            if part.layout.display != "none":
                self.buttons[title].focus()
        self.shut_all()

    def shut_all(self) -> None:
        """Show the buttons alone."""
        for title, part in self._parts.items():
            shown(part, False)
            self.buttons[title].description = title


def row(*widgets: w.Widget, name: str = "idk-take") -> w.HBox:
    """Put widgets beside each other; what has no room goes below."""
    box = w.HBox(widgets, layout=w.Layout(flex_flow="row wrap", align_items="center"))
    box.add_class(name)
    return box


def button(words: str, on_click: Callable[..., None]) -> w.Button:
    """Return a button as wide as its words."""
    made = w.Button(description=words, layout=w.Layout(width="auto", min_width="0"))
    made.on_click(on_click)
    return made


def field(
    words: str, on_value: Callable[..., None] | None = None, *, hint: str = "", width: str = "300px"
) -> w.Text:
    """Return a field for one line of text."""
    made = w.Text(
        description=words,
        placeholder=hint,
        continuous_update=False,
        style=_LABEL,
        layout=w.Layout(width=width, max_width="100%"),
    )
    if on_value is not None:
        made.observe(on_value, names="value")
    return made


def area(words: str, *, hint: str = "", rows: int = 4) -> w.Textarea:
    """Return a field for several lines of text."""
    return w.Textarea(
        description=words,
        placeholder=hint,
        rows=rows,
        style=_LABEL,
        layout=w.Layout(width="560px", max_width="100%"),
    )


def dropdown(
    words: str,
    options: Sequence[tuple[str, Any]],
    on_value: Callable[..., None] | None = None,
    *,
    width: str = "300px",
) -> w.Dropdown:
    """Return a list to choose one of; the first is chosen."""
    made = w.Dropdown(
        options=options,
        value=options[0][1],
        description=words,
        style=_LABEL,
        layout=w.Layout(width=width, max_width="100%"),
    )
    if on_value is not None:
        made.observe(on_value, names="value")
    return made


def tick(pressed: w.Button, chosen: bool) -> None:
    """Tick a button, or take the tick away."""
    words = pressed.description.removeprefix(_TICK)
    pressed.description = f"{_TICK}{words}" if chosen else words
