"""A fish that is being looked at: the questions, in any order, and what was seen of it."""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from typing import Any

import ipywidgets as w

from idkey.model.identify import Identification
from idkey.table.schema import LIFE_STAGE, Trait
from idkey.views.identify import turned_html
from idkey.views.words import answer_words
from idkey.widgets.asking import Asking
from idkey.widgets.base import Part, dropdown, row
from idkey.widgets.frame import Frame

_AUTO = ""
_ENOUGH = "Enough: what is it?"
_AGES = (("not known", ""), ("adult", "adult"), ("young", "young"))


class Looking(Part):
    """What asks about a fish and takes it down; `changed` is called after each step.

    The screen lays out `tools`, `asking` and `seen`, and calls `show_next` and `show_seen` when it shows what
    a step did; `changed` is told whether the keyboard goes to the next question.
    """

    def __init__(
        self,
        say: Callable[[str], None],
        frame: Frame,
        fish: Identification,
        changed: Callable[[bool], None],
    ):
        super().__init__(say)
        self.fish, self._changed = fish, changed
        self._rows: dict[str, w.HBox] = {}
        traits = fish.table.traits
        self.undo = self.button("Undo", lambda: self._do(self.fish.undo))
        self.restart = self.button("Start again", lambda: self._do(self.fish.clear))
        self.enough = self.button(_ENOUGH, self._stop_or_go_on)
        # Its words change; what stands beside it does not move.
        self.enough.layout.width = "170px"
        self.age = self.watch(dropdown("Age of the fish", _AGES), self._on_age)
        self.asking = Asking(say, frame, max((len(t.states) for t in traits), default=0), self._answer)
        # Always the same list: a list that changes could be a moment older on the screen than in the kernel.
        features = [("what settles most", _AUTO), *((t.name, t.id) for t in traits)]
        self.other = self.watch(dropdown("Answer another feature", features), self._on_other)
        self.tools = row(self.undo, self.restart, self.enough, self.other, self.age, name="idk-tools")
        self._seen_head, self.turned, self.seen = w.HTML("<h4>What was seen</h4>"), w.HTML(), w.VBox()
        self.seen.add_class("idk-seen")

    # -- what the person does ---------------------------------------------------------------------

    def _answer(self, value: str | None) -> None:
        if self.asking.trait is not None:
            self.fish.answer(self.asking.trait.id, value)
            self._changed(True)

    def _do(self, act: Callable[..., Any], *args: Any) -> None:
        act(*args)
        self._changed(False)

    def _stop_or_go_on(self) -> None:
        if self.asking.trait is None:
            self.show_next(focus=True)
        else:
            self._show_question(None)
            self.focus_question()

    def _on_age(self, age: str) -> None:
        self._do(*((self.fish.answer, LIFE_STAGE, age) if age else (self.fish.forget, LIFE_STAGE)))

    def _on_other(self, trait: str) -> None:
        # The focus stays on the menu, so that the arrow keys can go on through it.
        if trait == _AUTO:
            self._changed(False)
        else:
            self.ask(trait, focus=False)

    # -- what the person sees ---------------------------------------------------------------------

    def ask(self, trait: str, *, focus: bool = True) -> None:
        """Put a question out of turn."""
        self._show_question(self.fish.table.trait(trait), chosen=True)
        if focus:
            self.focus_question()

    def show_next(self, *, focus: bool = False) -> None:
        """Ask what settles most; `focus` puts the keyboard there, since the button pressed may be gone."""
        best = self.fish.next_question()
        self._show_question(best.trait if best else None)
        if focus:
            self.focus_question()

    def _show_question(self, trait: Trait | None, *, chosen: bool = False) -> None:
        with self.filling():
            self.other.value = trait.id if chosen and trait else _AUTO
        self.asking.show(self.fish, trait, chosen=chosen)
        self.enough.description = _ENOUGH if trait else "Go on asking"

    def focus_question(self) -> None:
        """Put the keyboard on the question, or on that none is left."""
        self.asking.focus_question()

    def show_seen(self) -> None:
        """Show each answer, with a button that asks it again, the age, and what alone turns the genus."""
        fish, table = self.fish, self.fish.table
        seen: dict[str, Any] = {**fish.answers, **dict.fromkeys(fish.unseen)}
        rows = []
        for trait in (table.trait(name) for name in seen if name in table.trait_ids):
            if trait.id not in self._rows:
                line = w.HTML(layout=w.Layout(flex="1 1 180px"))
                change = self.button(f"Change {trait.name.lower()}", self.ask, trait.id)
                self._rows[trait.id] = row(line, change, name="idk-seen-row")
            words = "can't be seen" if seen[trait.id] is None else answer_words(trait, seen[trait.id])
            rows.append(self._rows[trait.id])
            rows[-1].children[0].value = f"{escape(trait.name)}: <strong>{escape(words)}</strong>"
        self.turned.value = turned_html(fish)
        rows = [self._seen_head, *rows, self.turned] if rows else []
        if tuple(rows) != self.seen.children:
            self.seen.children = rows
        with self.filling():
            self.age.value = fish.answers.get(LIFE_STAGE, "")
