"""A question of a fish on a screen: states with their drawings or a number, several where one is not sure."""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import partial
from itertools import zip_longest

import ipywidgets as w

from idkey.errors import AnswerError
from idkey.model.doubt import doubt_of
from idkey.model.identify import Identification
from idkey.model.sayings import say
from idkey.table.reading import more_like
from idkey.table.schema import Trait
from idkey.views.html import status
from idkey.views.identify import asked_html, read_as_html
from idkey.widgets import base
from idkey.widgets.base import (
    Part,
    StateChoices,
    checkbox,
    choose,
    dropdown,
    field,
    row,
    shown,
    unit_words,
)
from idkey.widgets.frame import Frame

_NO_LEANING = ("can't say", "")
_MOST_READINGS = 4


class Asking(Part):
    """One question at a time; `answer` is called with what is taken for it, as `Identification.answer` does.

    `trait` is what is asked, None for nothing; `most` states have their room from the start. A question that
    has just come takes no answer for a moment: a second tap was meant for the one before.
    """

    def __init__(
        self, say: Callable[[str], None], frame: Frame, most: int, answer: Callable[[str | None], None]
    ):
        super().__init__(say)
        self._frame, self._since, self._turn = frame, 0.0, False
        self.trait: Trait | None = None
        self.picked: list[str] = []
        self._answer = answer
        self.question, self.read_as = w.HTML(), w.HTML()
        self.states = StateChoices(partial(self.run, self._on_state), most)
        self.skip = self.button("Can't see it", self._give, None)
        self.skip.add_class("idk-skip")
        self.skip.layout.width = "144px"
        self.choices = row(self.states, self.skip, name="idk-choices")
        self.several = self.watch(checkbox("Not sure: let me pick several"), self._on_several)
        # All states of the question, picked or not: a list that changes with each pick moves under the hand.
        self.leaning = self.watch(dropdown("More like this one", [_NO_LEANING]), self._on_leaning)
        self.number = self.watch(field(width="280px", live=True), self._on_number)
        # Enter in the field is the same as the button beside it.
        self.number.on_msg(lambda _w, message, _b: message.get("event") == "submit" and self.take.click())
        self.take = self.button("Take this answer", self._take)
        taking = row(self.number, self.several, self.leaning, self.take, self.read_as)
        self._doubt, self._meant = w.HTML(), [""] * _MOST_READINGS
        self.readings = [self.button("", self._mean, at) for at in range(_MOST_READINGS)]
        self.asked_back = row(self._doubt, *self.readings)
        self.asked_back.add_class("idk-asked-back")
        self.children = [self.question, self.choices, taking, self.asked_back]
        self.add_class("idk-asking")

    def show(self, fish: Identification, trait: Trait | None, *, chosen: bool = False) -> None:
        """Ask for a feature of a fish, `chosen` by the person or not; None is that no question is left."""
        if trait is not self.trait:
            self._since, self._turn = time.monotonic(), not self._turn
            # Two names of one look, in turn: the same one would not be played again.
            self.choices.remove_class(f"idk-fresh-{1 + self._turn}")
            self.choices.add_class(f"idk-fresh-{2 - self._turn}")
        self.trait, self.picked, self._fish = trait, [], fish
        shown(self.asked_back, False)
        with self.filling():
            self.several.value, self.number.value, self.read_as.value = False, "", ""
            self.question.value = asked_html(fish, trait, chosen=chosen)
            self.states.show(trait, fish.answers)
            states = zip(trait.words, trait.states, strict=True) if trait is not None else ()
            choose(self.leaning, [_NO_LEANING, *states], "")
        shown(self.leaning, False)
        number = trait is not None and not trait.has_states
        (self.add_class if number else self.remove_class)("idk-number")
        shown(self.number, number)
        shown(self.take, number)
        shown(self.several, trait is not None and trait.has_states)
        shown(self.skip, trait is not None)
        self.take.disabled = False
        if trait is not None and number:
            in_mm = trait.unit == "mm"
            self.number.description = f"{trait.name}{unit_words(trait)}"
            self.number.placeholder = "64, 2.5 in or 6..7 cm" if in_mm else "a number, or a range 5..6"

    def focus_question(self) -> None:
        """Put the keyboard on the question: no answer is to look chosen."""
        self._frame.focus_on(".idk-asking h3")

    def _give(self, answer: str | None) -> None:
        if time.monotonic() - self._since < base.SETTLING:
            return
        self._answer(answer)
        # What was pressed while this was worked out waits in line until now.
        self._since = time.monotonic()

    def _on_state(self, state: str) -> None:
        if not self.several.value:
            self._give(state)
            return
        self._pick([s for s in self.picked if s != state] + [state] * (state not in self.picked))

    def _pick(self, states: list[str]) -> None:
        self.picked = states
        self.states.mark(states)
        self.take.disabled = not states
        if self.leaning.value not in states:
            with self.filling():
                self.leaning.value = ""

    def _on_leaning(self, state: str) -> None:
        # Who leans to a state takes it to be possible.
        if state and state not in self.picked:
            self._pick([*self.picked, state])

    def _on_several(self, several: bool) -> None:
        shown(self.take, several)
        shown(self.leaning, several)
        self._pick([])
        self.take.disabled = several

    def _take(self) -> None:
        text = self.number.value
        if self.picked and self.trait is not None:
            text = more_like(self.trait, self.picked, self.leaning.value)
        try:
            if text.strip() and not self._ask_back(text):
                self._give(text)
        except AnswerError as error:
            # A keeper knows the name of a feature, not its id.
            raise AnswerError(f"{self.trait.name}{str(error).removeprefix(self.trait.id)}") from None

    def _ask_back(self, text: str) -> bool:
        """Ask whether a number that can hardly be was meant so; tell whether that was needed."""
        doubt = doubt_of(self._fish, self.trait, text) if not self.trait.has_states else None
        shown(self.asked_back, doubt is not None)
        if doubt is not None:
            self._doubt.value = status(doubt.text)
            meant = [*doubt.others, (say("it is", said=doubt.read), text)]
            self._meant = [answer for _, answer in meant]
            for button, (words, _) in zip_longest(self.readings, meant, fillvalue=("", "")):
                button.description = words
                shown(button, bool(words))
        return doubt is not None

    def _mean(self, at: int) -> None:
        self._give(self._meant[at])

    def _on_number(self, text: str) -> None:
        shown(self.asked_back, False)
        if self.trait is not None:
            self.read_as.value = read_as_html(self.trait, text)
