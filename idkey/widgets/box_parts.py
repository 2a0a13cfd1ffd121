"""Parts of the box screen: a bag in its list, the bag that is open, what is printed, what is in the book."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any, Protocol

import ipywidgets as w

from idkey.book.book import Book
from idkey.book.box import BagCheck, BoxCheck, check_bag
from idkey.book.box_rows import BagRead
from idkey.book.letter import Letter
from idkey.book.records import Bag, Box
from idkey.errors import IdkeyError
from idkey.model.identify import Identification
from idkey.table.table import TraitTable
from idkey.views.box import bag_html, letter_html
from idkey.views.html import status
from idkey.views.print import PAPERS, save
from idkey.widgets.base import Part, checkbox, choose, dropdown, field, row, shown, whole_number
from idkey.widgets.frame import Frame
from idkey.widgets.keeping import seen_of
from idkey.widgets.looking import Looking


class BoxDesk(Protocol):
    """The screen that the parts belong to."""

    table: TraitTable
    check: BoxCheck | None
    kept: Kept | None
    frame: Frame

    def say(self, words: str) -> None:
        """Ask for attention."""

    def changed(self, focus: bool = False) -> None:
        """Show what a step did."""

    def open_bag(self, bag: BagRead, at: int = 0) -> None:
        """Open a bag."""

    @property
    def letter(self) -> Letter:
        """The letter to the seller."""

    @property
    def heading(self) -> str:
        """The box in words."""


class BagLine(Part):
    """A bag in the list: what it comes to, and a button that opens it."""

    def __init__(self, desk: BoxDesk):
        super().__init__(desk.say)
        self._table, self._was = desk.table, None
        self.bag: BagRead | None = None
        self.check: BagCheck | None = None
        self._told = w.HTML(layout=w.Layout(flex="1 1 340px", min_width="0"))
        self.look = self.button("Look", lambda: self.bag and desk.open_bag(self.bag))
        line = row(self._told, self.look, name="idk-box-line")
        line.layout.align_items = "flex-start"
        self.children = [line]

    def show(self, bag: BagRead, is_open: bool) -> None:
        """Show a bag with what it comes to; it is judged again only where something in it has changed."""
        fish = [(tag, fish, [*fish.answers.items()]) for tag, fish in bag.fish]
        now = (bag.number, bag.label, bag.count, bag.tank, fish)
        if now != self._was:
            self.bag, self._was, self.check = bag, now, check_bag(self._table, bag)
            self._told.value = bag_html(self.check)
        self.look.description = f"Look at bag {bag.number}"
        (self.add_class if is_open else self.remove_class)("idk-box-open")


class OpenBag(Part):
    """The bag that is looked at: its label, count and tank, its fish, and what asks about one of them."""

    def __init__(self, desk: BoxDesk):
        super().__init__(desk.say)
        self.desk, self.bag, self._at = desk, None, 0
        self.label = self.watch(field("Label of the bag", width="320px"), self._on_label)
        self.count = self.watch(whole_number("Fish in it"), self._on_count)
        self.tank = self.watch(field("Its tank", width="180px"), self._on_tank)
        self.fish = self.watch(dropdown("Fish", [("1", 0)]), self._on_fish)
        self.more = self.button("Another fish of this bag", self._on_more)
        self._head = w.HTML()
        self.looking = Looking(desk.say, desk.frame, Identification(desk.table), desk.changed)
        self.looking.children = [self.looking.tools, self.looking.asking, self.looking.seen]
        about = row(self.label, self.count, self.tank, self.fish, self.more, name="idk-tools")
        self.children = [self._head, about, self.looking]
        self.add_class("idk-edit-part")
        shown(self, False)

    def show(self, bag: BagRead, at: int = 0) -> None:
        """Open a bag at one of its fish."""
        self.bag, self._at = bag, at
        self.looking.fish = bag.fish[at][1]
        with self.filling():
            self.label.value, self.count.value, self.tank.value = bag.label, bag.count, bag.tank
        shown(self, True)

    def refresh(self, *, focus: bool = False) -> None:
        """Show the open bag as it now stands; nothing while none is."""
        if self.bag is None:
            return
        kept = self.desk.kept is not None and self.desk.kept.holds(self.bag)
        for control in (self.label, self.count, self.tank):
            control.disabled = kept
        several = len(self.bag.fish) > 1
        names = [(f"{tag or n}", n - 1) for n, (tag, _) in enumerate(self.bag.fish, start=1)]
        with self.filling():
            choose(self.fish, names, self._at)
        shown(self.fish, several)
        fish = f", fish {names[self._at][0]}" if several else ""
        self._head.value = status(f"Bag {self.bag.number}{fish}", "outcome")
        self.looking.show_next(focus=focus)
        self.looking.show_seen()

    def _on_label(self, text: str) -> None:
        if not text.strip():
            raise IdkeyError("label: blank: write it as it stands on the bag; the last one stays until then")
        self.bag.label = text.strip()
        self.desk.changed()

    def _on_count(self, count: int) -> None:
        self.bag.count = count
        self.desk.changed()

    def _on_tank(self, text: str) -> None:
        self.bag.tank = text.strip()
        self.desk.changed()

    def _on_fish(self, at: int) -> None:
        self._at = at
        self.looking.fish = self.bag.fish[at][1]
        self.desk.changed()

    def _on_more(self) -> None:
        self.bag.fish.append(("", Identification(self.desk.table)))
        self.bag.count = max(self.bag.count, len(self.bag.fish))
        self.desk.open_bag(self.bag, len(self.bag.fish) - 1)


class Printing(Part):
    """The page, the letter and the labels, to be saved as PDF or HTML; the letter as it now reads."""

    def __init__(self, desk: BoxDesk):
        super().__init__(desk.say)
        self.desk = desk
        self.paper = dropdown("Paper", [(paper, paper) for paper in PAPERS])
        self.over = checkbox("Write over a file of this name")
        self.files = {
            what: field(f"Save the {what} as", width="380px") for what in ("summary", "letter", "labels")
        }
        for what, control in self.files.items():
            control.value = f"box_{what}.pdf"
        lines = {
            what: row(control, self.button(f"Save the {what}", self._save, what))
            for what, control in self.files.items()
        }
        self._said, self._letter = w.HTML(), w.HTML()
        shown(lines["labels"], desk.kept is not None)
        self.children = [row(self.paper, self.over), *lines.values(), self._said, self._letter]

    def refresh(self) -> None:
        """Show the letter as it now reads."""
        self._said.value = ""
        self._letter.value = letter_html(self.desk.letter) if self.desk.check is not None else ""

    def _save(self, what: str) -> None:
        letter, file = self.desk.letter, self.files[what].value.strip()
        options: dict[str, Any] = {"heading": self.desk.heading} if what == "summary" else {}
        thing: Any = {"summary": self.desk.check, "letter": letter}.get(what)
        if what == "labels":
            thing = self.desk.kept.labels(self.desk.table, self.paper.value)
        save(thing, file, self.paper.value, self.over.value, **options)
        self._said.value = status(f"The {what} is saved as {file}.".replace("labels is", "labels are"))


class Kept:
    """What of a box is in the book, and the way there: each bag and each fish once, however often asked."""

    def __init__(self, book: Book):
        self.book = book
        self.box: Box | None = None
        self._bags: dict[int, Bag] = {}
        self._ids: dict[int, uuid.UUID] = {}
        self._fish: dict[int, tuple[int, Any]] = {}

    def holds(self, bag: BagRead) -> bool:
        """Whether a bag is in the book."""
        return id(bag) in self._bags

    def write(self, about: tuple[str, dt.date | None, str], bags: list[BagRead]) -> str:
        """Write what is not in the book yet, and say what that was; about: seller, day, invoice."""
        if self.box is None:
            self.box = self.book.add_box(*about)
        new = again = 0
        for bag in bags:
            if not self.holds(bag):
                self._bags[id(bag)] = self.book.add_bag(self.box, bag.label, bag.count, bag.tank)
            for tag, fish in bag.fish:
                seen, (number, written) = seen_of(fish), self._fish.get(id(fish), (0, None))
                if not number:
                    # The id is there before the first try, so that a second one writes nothing twice.
                    made = self._ids.setdefault(id(fish), uuid.uuid4())
                    count = bag.count if len(bag.fish) == 1 else 1
                    kept = self.book.keep(fish, self._bags[id(bag)], tag=tag, count=count, fish_id=made)
                    number, new = kept.number, new + 1
                elif seen != written:
                    self.book.look(number, fish)
                    again += 1
                self._fish[id(fish)] = number, seen
        said = [f"{new} fish"] * bool(new) + [f"{again} more looks"] * bool(again)
        return (
            f"Box {self.box.number}: {' and '.join(said)} written." if said else "Nothing new to write down."
        )

    def labels(self, table: TraitTable, sheet: str) -> Any:
        """Return the labels of the fish of this box. Raises IdkeyError before the box is in the book."""
        if not self._fish:
            raise IdkeyError("labels: the box is not in the book yet; press Keep this box first")
        return self.book.labels([number for number, _ in self._fish.values()], table, sheet)
