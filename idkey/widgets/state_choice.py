"""The states of a question as large buttons: each with its drawing, and the words under it."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping

import ipywidgets as w

from idkey.table.schema import Trait
from idkey.views.fish import state_svg
from idkey.widgets.base import shown, tick

__all__ = ["StateChoice", "StateChoices"]


class StateChoice(w.VBox):
    """A state: the drawing lies under the button, so that a click on either answers.

    `state` is the id of the state shown now; blank while hidden.
    """

    def __init__(self, choose: Callable[[str], None]):
        self.state = ""
        self.drawing = w.HTML()
        self.drawing.add_class("idk-drawing")
        self.button = w.Button(layout=w.Layout(width="100%", height="auto"))
        self.button.add_class("idk-answer")
        self.button.on_click(lambda _button: self.state and choose(self.state))
        super().__init__([self.drawing, self.button], layout=w.Layout(display="none"))
        self.add_class("idk-choice")

    def show(self, trait: Trait, state: str, answers: Mapping[str, object] | None = None) -> None:
        """Show a state, with its drawing where there is one; a blank state hides it."""
        self.state = state
        shown(self, bool(state))
        if state:
            self.button.description = words = trait.word(state)
            self.drawing.value = svg = state_svg(trait.id, state, words, answers) or ""
            shown(self.drawing, bool(svg))
            (self.button.add_class if svg else self.button.remove_class)("idk-drawn")


class StateChoices(w.HBox):
    """The states of one trait; the same buttons for whichever trait is shown."""

    def __init__(self, choose: Callable[[str], None], room: int = 0):
        self._choose = choose
        super().__init__(layout=w.Layout(flex_flow="row wrap", align_items="stretch"))
        self.add_class("idk-states")
        self._make(room)

    def _make(self, room: int) -> None:
        more = room - len(self.children)
        if more > 0:
            self.children = [*self.children, *(StateChoice(self._choose) for _ in range(more))]

    def show(self, trait: Trait | None, answers: Mapping[str, object] | None = None) -> None:
        """Show the states of a trait; none of a trait of numbers, and none where nothing is asked.

        The drawings take over the answers given already.
        """
        states = trait.states if trait is not None else ()
        self._make(len(states))
        for n, choice in enumerate(self.children):
            choice.show(trait, states[n] if n < len(states) else "", answers)

    def mark(self, chosen: Collection[str]) -> None:
        """Tick these states and no others."""
        for choice in self.children:
            tick(choice.button, choice.state in chosen)
