"""The box screen: bags held against their labels, one look after the other, to the page and the letter."""

from __future__ import annotations

import datetime as dt
import os
from html import escape

import ipywidgets as w
import pandas as pd

from idkey import display
from idkey.arguments import checked
from idkey.book.book import Book
from idkey.book.box import BoxCheck
from idkey.book.box_rows import BagRead, BoxRead, read_box
from idkey.book.letter import Letter
from idkey.errors import IdkeyError
from idkey.model.identify import Identification
from idkey.table.own import own_table
from idkey.table.table import TraitTable
from idkey.table.units import first_up, number_of
from idkey.views import box as views
from idkey.views.html import page, status
from idkey.widgets.base import Screen, as_wide, field, folds, row, shown, whole_number
from idkey.widgets.box_parts import BagLine, Kept, OpenBag, Printing
from idkey.widgets.keeping import book_of, where_html

_READ, _PRINT = "Read a spreadsheet", "Summary and letter"
_EMPTY = "No bag yet: add the bags of a box as their labels are written, or read them from a spreadsheet."
_NOT_READ = BoxRead((), "", (), (), ())


@checked
def box_view(
    table: TraitTable | None = None,
    book: Book | str | os.PathLike[str] | None = None,
    rows: pd.DataFrame | str | os.PathLike[str] | None = None,
) -> BoxScreen:
    """Open the box screen in a notebook; put it last in a cell.

    Its `check` holds the box as it stands against its labels, its `letter` the letter to the seller.

    Parameters
    ----------
    table : TraitTable, optional
        By default the one named with `idkey.use_table`, else the shipped one.
    book : Book, str or path, optional
        Where "Keep this box" writes: a book that is open, or the address of one, as for `open_book`.
    rows : DataFrame, or path of a CSV or XLSX file, optional
        Bags to start with, as for `check_box`; TableError where there is none.
    """
    table = own_table() if table is None else table
    return BoxScreen(table, book_of(book), _NOT_READ if rows is None else read_box(table, rows))


class BoxScreen(Screen):
    """A box and its bags; see `box_view`. `bags` are as typed in or read, `check` what they come to."""

    def __init__(self, table: TraitTable, book: Book | None = None, read: BoxRead = _NOT_READ):
        super().__init__()
        self.table, self.book = table, book
        self.kept = Kept(book) if book is not None else None
        self.bags: list[BagRead] = []
        self.check: BoxCheck | None = None
        self._lines: list[BagLine] = []
        self._stands, self._was_read = w.HTML(), w.HTML()
        self._said, self._where = (w.HTML(layout=as_wide()) for _ in range(2))
        self._stands.add_class("idk-stands")
        self.seller = self.watch(field("Seller", hint="a name, initials or a number"), self._on_about)
        self.invoice = self.watch(field("Invoice", width="200px"), self._on_about)
        self.day = self.watch(field("Day", hint=f"{dt.date.today()}", width="180px"), self._on_about)
        self.sender = self.watch(field("Signed", hint="who writes the letter", width="240px"), self._on_about)
        self.label = field("Label", hint="as it is written on the bag", width="320px")
        self.count, self.tank = whole_number("How many"), field("Tank", width="180px")
        self.add = self.button("Add this bag", self._on_add)
        self.path = field("File", hint="box.xlsx or box.csv", width="360px")
        self.sheet = field("Sheet", hint="the first with labels", width="240px")
        self.read = self.button("Read it", self._on_read)
        reading = w.VBox([row(self.path, self.sheet, self.read), self._was_read])
        self.opened = OpenBag(self)
        self.printing = Printing(self)
        self.keep = self.button("Keep this box", self.keep_box)
        shown(self.keep, book is not None)
        self.go = self.button("Look at it", self._on_go)
        parts = (_READ, reading, lambda: None), (_PRINT, self.printing, self.printing.refresh)
        self.folds = folds(self, parts)
        self._list = w.VBox()
        self._list.add_class("idk-box-list")
        self.children = [self._top, *self._laid_out()]
        self._take(read)
        self._say_where()
        self.changed()

    def _laid_out(self) -> list[w.Widget]:
        about = row(self.seller, self.invoice, self.day, self.sender, name="idk-tools")
        opener = self.folds[_READ].button
        adding = row(self.label, self.count, self.tank, self.add, opener, name="idk-tools")
        reading, printing = self.folds.values()
        next_look = row(self._stands, self.go, name="idk-box-next")
        bags = w.VBox([next_look, self._list], layout=w.Layout(flex="1 1 380px", min_width="0"))
        self.opened.layout.flex, self.opened.layout.min_width = "1.4 1 460px", "0"
        body = w.HBox([bags, self.opened], layout=w.Layout(flex_flow="row wrap", align_items="flex-start"))
        body.add_class("idk-box-body")
        tools = row(printing.button, self.keep, self._where, name="idk-tools")
        return [about, adding, reading.box, self._alert, body, tools, self._said, printing.box]

    # -- what the person does ---------------------------------------------------------------------

    def _on_add(self) -> None:
        if not self.label.value.strip():
            raise IdkeyError("label: blank: write it as it stands on the bag")
        bag = BagRead(
            self._free_number(), self.label.value.strip(), self.count.value, self.tank.value.strip()
        )
        bag.fish.append(("", Identification(self.table)))
        self.bags.append(bag)
        self.label.value, self.count.value = "", 1
        self.changed()
        self.label.focus()

    def _free_number(self) -> str:
        taken = {bag.number for bag in self.bags}
        return next(str(n) for n in range(1, len(taken) + 2) if str(n) not in taken)

    def _on_read(self) -> None:
        read = read_box(self.table, self.path.value.strip(), self.sheet.value.strip() or None)
        self._take(read)
        count = f"{number_of(len(read.bags), 'bag')} read."
        left = (
            f" {number_of(len(read.problems), 'cell')} not taken: see the summary." if read.problems else ""
        )
        self._was_read.value = status(f"{count}{left}")
        self.changed()

    def _take(self, read: BoxRead) -> None:
        for bag in read.bags:
            if any(bag.number == other.number for other in self.bags):
                bag.number = self._free_number()
            self.bags.append(bag)
        self._read = read

    def _on_about(self, _text: str) -> None:
        self._day()
        self._show_letter()

    def _day(self) -> dt.date | None:
        """Return the day of the box; None where none is given. Raises IdkeyError."""
        text = self.day.value.strip()
        try:
            return dt.date.fromisoformat(text) if text else None
        except ValueError:
            raise IdkeyError(f"day: {text!r}: write the day as 2026-05-31") from None

    def _on_go(self) -> None:
        look = self.check.next_look() if self.check else None
        if look is not None:
            at = self.check.bags.index(look.bag)
            self.open_bag(self.bags[at], look.bag.fish.index(look.fish))

    def open_bag(self, bag: BagRead, at: int = 0) -> None:
        """Open a bag at one of its fish, and put the keyboard on what to look at."""
        self.opened.show(bag, at)
        self.changed(focus=True)

    def keep_box(self) -> None:
        """Write the box into the book: what is there already is not written again."""
        if self.kept is not None:
            if not self.bags:
                raise IdkeyError(_EMPTY)
            if not self.seller.value.strip():
                raise IdkeyError("seller: blank: write who sold the box; initials or a number will do")
            about = (self.seller.value, self._day(), self.invoice.value)
            try:
                done = self.kept.write(about, self.bags)
            finally:
                self.changed()
            self._said.value = status(done)
            self._say_where()

    # -- what the person sees ---------------------------------------------------------------------

    @property
    def heading(self) -> str:
        """The box in words, as the summary begins."""
        day, kept = self._day(), self.kept and self.kept.box
        invoice = self.invoice.value.strip()
        parts = (
            f"box {kept.number} of the book" if kept else "",
            f"from {self.seller.value.strip()}" if self.seller.value.strip() else "",
            f"of {day.isoformat()}" if day else "",
            f"invoice {invoice}" if invoice else "",
        )
        text = ", ".join(filter(None, parts))
        return f"{first_up(text)}." if text else ""

    @property
    def letter(self) -> Letter:
        """The letter to the seller as it now stands. Raises IdkeyError without a bag."""
        if self.check is None:
            raise IdkeyError(_EMPTY)
        about = (self.seller.value.strip(), self._day(), self.invoice.value.strip())
        return Letter(self.check, *about, self.sender.value.strip())

    def changed(self, focus: bool = False) -> None:
        """Show the box as it now stands; `focus` puts the keyboard on the next question of the open bag."""
        while len(self._lines) < len(self.bags):
            self._lines.append(BagLine(self))
        for line, bag in zip(self._lines, self.bags, strict=True):
            line.show(bag, self.opened.bag is bag)
        bags, read = tuple(line.check for line in self._lines), self._read
        about = (read.place, read.problems, read.columns, read.notes)
        self.check = BoxCheck(self.table, bags, *about) if bags else None
        self._stands.value = views.stands_html(self.check) if self.check else status(_EMPTY)
        shown(self.go, self.check is not None and self.check.next_look() is not None)
        if len(self._list.children) != len(bags):
            self._list.children = self._lines
        self.opened.refresh(focus=focus)
        self._show_letter()

    def _show_letter(self) -> None:
        if self.folds[_PRINT].is_open:
            self.printing.refresh()

    def _say_where(self) -> None:
        self._where.value = where_html(self.book) if self.book else ""

    def _static_html(self) -> str:
        if self.check is None:
            return page(f"<p>{escape(_EMPTY)}</p>")
        return display.html(self.check, heading=self._heading_or_none())

    def _static_text(self) -> str:
        if self.check is None:
            return _EMPTY
        return display.text(self.check, heading=self._heading_or_none())

    def _heading_or_none(self) -> str:
        try:
            return self.heading
        except IdkeyError:  # a day that is being typed
            return ""
