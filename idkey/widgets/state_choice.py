"""One state of a question as one large button: the drawing, and the words under it."""

from __future__ import annotations

from collections.abc import Callable

import ipywidgets as w

from idkey.table.schema import Trait
from idkey.views.icons import icon_svg

__all__ = ["StateChoice"]

_TICK = "\u2713 "


class StateChoice(w.VBox):
    """A state: the drawing lies under the button, so that a click on either answers.

    Attributes
    ----------
    state : str
        Id of the state shown now; blank while hidden.
    """

    def __init__(self, on_click: Callable[[w.Button], None]):
        self.state = ""
        self.drawing = w.HTML()
        self.drawing.add_class("idk-drawing")
        self.button = w.Button(layout=w.Layout(width="100%", height="auto"))
        self.button.add_class("idk-answer")
        self.button.on_click(on_click)
        super().__init__([self.drawing, self.button], layout=w.Layout(display="none"))
        self.add_class("idk-choice")

    def show(self, trait: Trait, state: str) -> None:
        """Show a state, with its drawing where there is one."""
        self.state = state
        words = trait.word(state)
        self.button.description = words
        svg = icon_svg(trait.id, state, words) or ""
        self.drawing.value = svg
        self.drawing.layout.display = "" if svg else "none"
        if svg:
            self.button.add_class("idk-drawn")
        else:
            self.button.remove_class("idk-drawn")
        self.layout.display = ""

    def mark(self, chosen: bool) -> None:
        """Tick the state, or take the tick away."""
        words = self.button.description.removeprefix(_TICK)
        self.button.description = f"{_TICK}{words}" if chosen else words

    def hide(self) -> None:
        """Take it off the screen."""
        self.state = ""
        self.layout.display = "none"
