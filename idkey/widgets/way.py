"""The way of one fish: a photo, what it may be mistaken for, its care, a tank, the book."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import ipywidgets as w

from idkey.book.book import Book
from idkey.errors import IdkeyError
from idkey.model.lookalikes import lookalikes
from idkey.table.schema import LIFE_STAGE
from idkey.widgets.base import Alert, Fold, Part, field, row
from idkey.widgets.care import Caring
from idkey.widgets.compare import Beside
from idkey.widgets.keeping import Desk, Keeping, book_of
from idkey.widgets.photo import Measuring

PHOTO = "Measure on a photo"
BESIDE, CARE, TANK, KEEP = "Side by side", "Its care", "Check a tank", "Keep this fish"
AGAIN = "Open a fish again"
_ON = (BESIDE, CARE, TANK, KEEP)
"""The order in which a fish goes on."""


class Way(Part):
    """The steps after the questions, each one press, for the fish that a screen shows.

    The screen puts `steps` where they are always at hand, and the part itself below all else; it calls
    `refresh` when the fish has changed. What is opened stays open and goes with the fish. `back` brings the
    person to the question again, `changed` is called when answers were taken from a photo.
    """

    def __init__(
        self,
        say: Callable[[str], None],
        desk: Desk,
        room: Any,
        book: Book | None,
        back: Callable[[], None],
        changed: Callable[[], None],
    ):
        super().__init__(say)
        self.desk, self._room, self._back, self._changed = desk, room, back, changed
        # Made when they are first opened: a list of all kinds is slow to make.
        self.beside: Beside | None = None
        self.caring: Caring | None = None
        self.keeping: Keeping | None = None
        hint = "fish_room.sqlite, there or new"
        self._address = field("Your book", hint=hint, width="430px")
        opens = self.button("Open the book", lambda: self.open_book(self._address.value.strip()))
        asks_book = row(self._address, opens, name="idk-tools")
        # What can't be is said where it was done, by one voice for what has its controls in two steps.
        beside, care, self.keep_alert = Alert(), Alert(), Alert()
        self._alerts = {PHOTO: Alert(), BESIDE: beside, CARE: care, TANK: care}
        self._alerts |= {KEEP: self.keep_alert, AGAIN: self.keep_alert}
        self._parts = {words: w.VBox([asks_book] if words in (KEEP, AGAIN) else []) for words in self._alerts}
        self.folds: Mapping[str, Fold] = {words: self._fold(words) for words in self._parts}
        self.steps = row(*(fold.button for fold in self.folds.values()), name="idk-tools")
        self.children = [fold.box for fold in self.folds.values()]
        if book is not None:
            self.open_book(book)

    def _fold(self, words: str) -> Fold:
        head: list[w.Widget] = [w.HTML(f"<h3>{words}</h3>"), self.button("Back to the question", self._back)]
        if words in _ON[:-1]:
            after = _ON[_ON.index(words) + 1]
            head.append(self.button(f"{after} \u2192", lambda: self.folds[after].show(True)))
        box = w.VBox([row(*head, name="idk-way-head"), self._alerts[words], self._parts[words]])
        name = f"idk-way-{[*self._parts].index(words)}"
        box.add_class("idk-way").add_class(name)

        def open_step() -> None:
            self._fill(words)
            self.desk.frame.bring(f".{name}")

        return Fold(self, words, f"Hide: {words[:1].lower()}{words[1:]}", box, open_step)

    def open_book(self, book: Any) -> None:
        """Open the book that the fish of the screen go into: a book, or its address."""
        self.keeping = Keeping(self._alerts[KEEP].say, book_of(book), self.desk)
        self._parts[KEEP].children = [self.keeping]
        self._parts[AGAIN].children = [self.keeping.again]
        self.keeping.ready("")
        for words in (KEEP, AGAIN):
            if self.folds[words].is_open:
                self._fill(words)

    def refresh(self) -> None:
        """Show the fish as it now stands, in what is open."""
        self.folds[BESIDE].button.disabled = not self._may_be
        for words, fold in self.folds.items():
            if fold.is_open and words not in (KEEP, AGAIN):
                self._fill(words)

    def _fill(self, words: str) -> None:
        """Fill a step with the fish; why it can't be is said there."""
        alert, fish = self._alerts[words], self.desk.identification
        alert.say("")
        try:
            if words == PHOTO:
                self.make_measuring().show_offers()
            elif words == BESIDE:
                self._fill_beside(alert)
            elif words in (CARE, TANK):
                if self.caring is None:
                    self.caring = Caring(alert.say, fish.table, self._room)
                    self._parts[CARE].children = [self.caring.sheet_box]
                    self._parts[TANK].children = [self.caring.tank_box]
                self.caring.take(fish)
            elif self.keeping is not None:
                tank = self.caring.tank if self.caring else None
                self.keeping.ready(tank.name if tank else "")
        except IdkeyError as error:
            alert.say(str(error))

    def make_measuring(self) -> Measuring:
        """Return what measures the fish on a photo; it is made once."""
        desk = self.desk
        if desk.measuring is None:
            desk.measuring = Measuring(self._alerts[PHOTO].say, lambda: desk.identification, self._changed)
            self._parts[PHOTO].children = [desk.measuring]
            if self.keeping is not None:
                self.keeping.ready("")
        return desk.measuring

    def _fill_beside(self, alert: Alert) -> None:
        names, fish = self._may_be, self.desk.identification
        if not names:
            raise IdkeyError("No two names to put side by side: answer a question first.")
        if self.beside is None:
            self.beside = Beside(alert.say, fish.table)
            self._parts[BESIDE].children = [self.beside]
        # One name alone stands beside the kind that looks most like it.
        a, b = names[:2] if len(names) > 1 else lookalikes(fish.table).nearest(names[0])
        self.beside.take(a, b, young=fish.answers.get(LIFE_STAGE) == "young")

    @property
    def _may_be(self) -> tuple[str, ...]:
        """The names that the answers leave, likeliest first; none where nothing is answered."""
        fish = self.desk.identification
        return fish.outcome().taxa if fish.answers and len(fish.table) > 1 else ()
