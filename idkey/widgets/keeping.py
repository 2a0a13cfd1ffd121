"""Keep this fish: what a screen writes into the book, and how a fish is opened from it again."""

from __future__ import annotations

import datetime as dt
import os
import uuid
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any, Protocol

import ipywidgets as w

from idkey.book.book import Book, open_book
from idkey.book.records import Bag, Fish, Photo
from idkey.errors import IdkeyError, TableWarning
from idkey.model.identify import Identification
from idkey.views.book import fish_words
from idkey.views.html import status
from idkey.widgets.base import Part, as_wide, checkbox, choose, dropdown, field, row, shown, whole_number
from idkey.widgets.frame import Frame
from idkey.widgets.photo import Measuring

_NO_BAG, _NO_FISH, _NONE_FOUND = ("no bag", ""), ("none in the book yet", 0), ("none found", 0)
_MOST_BOXES, _LAST = 10, 20
_NOTHING = (({}, ()), None)
_WHEN = "set_at"
"""Beside the points of a picture: when they were set, so that the latest are shown again."""
_KEEP, _AGAIN = "Keep this fish", "Write down what was seen now"


class Desk(Protocol):
    """A screen with a fish that can be kept."""

    identification: Identification
    frame: Frame
    bag_name: str
    measuring: Measuring | None

    def show_fish(self, fish: Identification) -> None:
        """Show another fish."""

    def show_photo(self, photo: Photo) -> None:
        """Show the picture that it was measured on."""


def book_of(book: Book | str | os.PathLike[str] | None) -> Book | None:
    """Return a book that is open; an address is opened. Raises IdkeyError as `open_book` does."""
    return book if book is None or isinstance(book, Book) else open_book(book)


def where_html(book: Book) -> str:
    """Say where the book is, and how much it holds."""
    return status(f"The book: {book}", "soft")


class Keeping(Part):
    """Where the fish of a screen is kept: bag, tank, tag; and the fish kept last, to go on with.

    The part itself is what keeps the fish, `again` what opens another. `number` is that of the fish in the
    book, None until it is kept. A fish has its id from the start, so that no second press keeps it twice.
    """

    def __init__(self, say: Callable[[str], None], book: Book, desk: Desk):
        super().__init__(say)
        self.book, self.desk = book, desk
        self._where, self._said = (w.HTML(layout=as_wide()) for _ in range(2))
        self.bag = dropdown("Bag", [_NO_BAG], width="320px")
        self.tank, self.tag = field("Tank", width="200px"), field("Tag", width="200px")
        self.count = whole_number("How many")
        self.who = field("Seen by", hint="initials will do", width="220px")
        self.press = self.button(_KEEP, self.keep)
        self.next = self.button("Next fish", self._leave, self._on_next)
        self.find = self.watch(
            field("Find", hint="number, tag, tank, label or name", width="320px"), self._list
        )
        self.choice = dropdown("Fish", [_NO_FISH], width="430px")
        self.opens = self.button("Open it", self._leave, self._on_open)
        self.copy = checkbox("Copy its picture into the folder of the book")
        about = row(self.bag, self.tank, self.tag, self.count, self.who)
        self.children = [about, row(self.press, self.next, self.copy), self._said, self._where]
        self.again = w.VBox([row(self.find, self.choice, self.opens), self._said, self._where])
        for part in (self, self.again):
            part.add_class("idk-keeping")
        self._start(None)
        self._say_where()

    def ready(self, tank: str) -> None:
        """Have the bags and fish of the book at hand, and the tank that was checked written down."""
        self._list_bags()
        self._list()
        measuring = self.desk.measuring
        shown(self.copy, measuring is not None and self.book.pictures is not None)
        if self.number is None and not self.tank.value:
            self.tank.value = tank

    # -- what the person does -------------------------------------------------------------------

    def keep(self) -> None:
        """Write the fish into the book; of one that is there already, what was seen now and where it went."""
        fish, who, photos = self.desk.identification, self.who.value, self._photos()
        whose, done = "", []
        if self.number is None and (own := self._own_fish()):
            done, whose = self._take_up(own), ", the fish of this bag"
        tank = self.tank.value.strip()
        if self.number is None:
            kept = self.book.keep(
                fish,
                self.bag.value or None,
                tank,
                self.tag.value,
                count=self.count.value,
                who=who,
                photos=photos,
                fish_id=self._id,
                label="" if self.bag.value else self.desk.bag_name,
            )
            self._start(kept)
            self._tell(f"Kept as No. {kept.number}. It is in the book.")
            return
        said, marks = self._seen
        if any(said) and said != self._written[0]:
            self.book.look(self.number, fish, who)
            self._written = said, self._written[1]
            done.append("what was seen now")
        if photos and marks != self._written[1]:
            self.book.add_photo(self.number, *photos)
            self._written = said, marks
            done.append("what was measured")
        if tank != self._tank:
            self.book.tell(self.number, "moved", tank, who)
            self._tank = tank
            done.append("where it went")
        nothing = f"Nothing new to write down of No. {self.number}{whose}."
        self._tell(f"No. {self.number}{whose}: {' and '.join(done)} is in the book." if done else nothing)

    def _own_fish(self) -> Fish | None:
        """Return the fish of the bag where it holds one alone and that is in the book."""
        bag = self.bag.value
        if not bag or bag.count != 1 or self.count.value != 1:
            return None
        bags = {found.id: found for found in self.book.box(bag.box.number).bags}
        return self.book.fish(bags[bag.id].fish[0].number) if len(bags[bag.id].fish) == 1 else None

    def _take_up(self, own: Fish) -> list[str]:
        """Go on with a fish that is in the book, and write its tag down; tell what was written."""
        tank, tag = self.tank.value.strip(), self.tag.value.strip()
        if tag and tag != own.tag:
            self.book.tell(own.number, "note", f"tag {tag}", self.who.value)
        self._start(own)
        self.tank.value = tank or own.tank
        self._written = ((dict(own.look.answers), tuple(own.look.unseen)) if own.look else ({}, ())), None
        return ["its tag as a note"] * bool(tag and tag != own.tag)

    def _leave(self, act: Callable[[], None]) -> None:
        """Go on to another fish; of one whose answers are in no book this is asked twice."""
        seen = self._seen
        if seen not in (_NOTHING, self._written, self._warned):
            self._warned = seen
            msg = "These answers are not in the book yet. Keep the fish first, or press again to leave it."
            raise IdkeyError(msg)
        act()

    def _on_next(self) -> None:
        old = self.desk.identification
        self._start(None)
        self.tag.value, self.count.value = "", 1
        self.desk.show_fish(Identification(old.table, old.prior, old.none_prior, old.coverage))
        self._tell("A new fish.")

    def _on_open(self) -> None:
        if not self.choice.value:
            raise IdkeyError("There is no fish to open; find one by its number, tag, tank, label or name.")
        with warnings.catch_warnings(record=True) as caught:
            warnings.simplefilter("always", TableWarning)
            fish = self.book.reopen(self.choice.value, self.desk.identification.table)
        kept = self.book.fish(self.choice.value)
        self.desk.show_fish(fish)
        left = " ".join(str(warning.message) for warning in caught)
        if kept.photos:
            try:
                self.desk.show_photo(max(kept.photos, key=lambda photo: photo.points.get(_WHEN, "")))
                left = f'{left} Its picture stands under "Measure on a photo".'
            except IdkeyError as error:
                left = f"{left} Its picture is not shown: {error}."
        self._start(kept)
        self._tell(f"No. {kept.number} again. {left}".strip())

    # -- what the person sees -------------------------------------------------------------------

    @property
    def text(self) -> str:
        """Where the fish is in the book; blank for one that is not kept."""
        return "" if self.number is None else f"No. {self.number} in the book {self.book.place}"

    def _start(self, kept: Fish | None) -> None:
        """Begin a fish: a new one, or one that is in the book."""
        self.number, self._warned = kept and kept.number, None
        self._id = uuid.uuid4()
        self._written = self._seen if kept else _NOTHING
        self._tank = kept.tank if kept else ""
        if kept:
            bag = (_bag_words(kept.bag), kept.bag) if kept.bag else _NO_BAG
            choose(self.bag, [bag], bag[1])
            self.tank.value, self.tag.value, self.count.value = kept.tank, kept.tag, kept.count
        else:
            self._list_bags()
        for control in (self.bag, self.tag, self.count):
            control.disabled = kept is not None
        self.press.description = _AGAIN if kept else _KEEP

    @property
    def _seen(self) -> tuple[Any, Any]:
        """All that was said of the fish, and what was set on its picture."""
        measuring = self.desk.measuring
        return seen_of(self.desk.identification), measuring and measuring.marks

    def _photos(self) -> list[tuple[Path, dict[str, Any]]]:
        """Return the picture with what is set on it, copied beside the book if that is asked for."""
        measuring = self.desk.measuring
        if measuring is None or measuring.picture is None:
            return []
        path, folder = measuring.picture.path, self.book.pictures
        if self.copy.value and folder is not None and (path is None or path.parent != folder):
            measuring.picture = measuring.picture.copy_to(folder)
            measuring.show_path()
        if measuring.picture.path is None:
            right = "tick the copy into the folder of the book, or open it by its path"
            raise IdkeyError(f"{measuring.picture.name}: the browser does not say where it lies; {right}")
        now = dt.datetime.now(dt.UTC).isoformat()
        return [(measuring.picture.path, measuring.marks | {_WHEN: now})]

    def _tell(self, words: str) -> None:
        self._said.value = status(words)
        self._say_where()

    def _say_where(self) -> None:
        self._where.value = where_html(self.book)

    def _list_bags(self) -> None:
        if self.number is None:
            bags = [bag for box in self.book.boxes(_MOST_BOXES) for bag in box.bags]
            chosen = next((bag for bag in bags if self.bag.value and bag.id == self.bag.value.id), "")
            choose(self.bag, [_NO_BAG, *((_bag_words(bag), bag) for bag in bags)], chosen)

    def _list(self, _text: str = "") -> None:
        text = self.find.value
        found = self.book.find(text) if text.strip() else self.book.last(_LAST)
        table = self.desk.identification.table
        options = [(fish_words(table, fish), fish.number) for fish in found]
        options = options or [_NONE_FOUND if text.strip() else _NO_FISH]
        choose(self.choice, options, options[0][1])


def _bag_words(bag: Bag) -> str:
    return f"box {bag.box.number}, bag {bag.number}: {bag.label}"


def seen_of(fish: Identification) -> tuple[dict[str, str], tuple[str, ...]]:
    """Return all that was said of a fish."""
    return dict(fish.answers), fish.unseen
