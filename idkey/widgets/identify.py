"""The identify screen: one question at a time, the names still possible beside it."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import ipywidgets as w

from idkey.arguments import checked
from idkey.book.book import Book
from idkey.book.records import Photo
from idkey.care.tank import Tank
from idkey.errors import IdkeyError
from idkey.model.identify import Identification
from idkey.model.key import build_key
from idkey.phone.file import pocket
from idkey.photo.picture import open_picture
from idkey.table.own import own_table
from idkey.table.table import TraitTable
from idkey.views import html
from idkey.views import identify as views
from idkey.views.doc import line
from idkey.views.print import PAPERS
from idkey.widgets.base import Screen, dropdown, field, row
from idkey.widgets.keeping import book_of
from idkey.widgets.looking import Looking
from idkey.widgets.photo import Measuring
from idkey.widgets.way import Way


@checked
def identify(
    table: TraitTable | None = None,
    answers: Mapping[str, Any] | None = None,
    book: Book | str | os.PathLike[str] | None = None,
    room: str | os.PathLike[str] | Iterable[Tank] | None = None,
) -> IdentifyScreen:
    """Open the identify screen in a notebook; put it last in a cell.

    Its `identification` holds the answers, usable from the next cell.

    Parameters
    ----------
    table : TraitTable, optional
        By default the one named with `idkey.use_table`, else the shipped one.
    answers : mapping of str to object, optional
        Answers to start with, as for `Identification.answer`; AnswerError for one the table can't take.
    book : Book, str or path, optional
        Where "Keep this fish" writes: a book that is open, or the address of one, as for `open_book`. By
        default it asks which.
    room : path or iterable of Tank, optional
        Tanks that the fish can be checked against, as for `care_view`.
    """
    fish = Identification(own_table() if table is None else table)
    for trait, value in (answers or {}).items():
        fish.answer(trait, value)
    return IdentifyScreen(fish, book_of(book), room)


POCKET, KEY = "idkey_pocket.html", "idkey_key.pdf"
"""What the file for a phone and the key for the wall are called; each is made afresh."""


class IdentifyScreen(Screen):
    """Questions on one side, the names still possible on the other; see `identify`."""

    measuring: Measuring | None = None
    """What measures the fish on a picture; None until "Measure on a photo" is opened."""

    def __init__(self, fish: Identification, book: Book | None = None, room: Any = None):
        super().__init__()
        self.looking = Looking(self.say, self.frame, fish, self._refresh)
        self.looking.restart.on_click(lambda _button: self._no_bag())
        self._make_controls()
        self.way = Way(self.say, self, room, book, self.looking.focus_question, self._refresh)
        self.children = [self._top, *self._laid_out()]
        self._refresh()

    def _make_controls(self) -> None:
        bag = field("Name on the bag", hint="trade code or name", width="320px")
        self._bag = self.watch(bag, self._show_bag)
        self._outcome, self._bag_says = w.HTML(), w.HTML()
        self._names, self._together = w.HTML(), w.HTML()
        self._kinds = {w.HTML(): "" for _ in range(2 * views.MOST_NAMES)}
        """What holds drawings and care sheets of the names, and whose they are; names come back."""
        self._paper = dropdown("Paper", [(paper, paper) for paper in PAPERS])
        self._file_says = w.HTML()

    def _laid_out(self) -> list[w.Widget]:
        """Put what never moves at the top, and give the question room that stays."""
        ask = self.looking
        ask.children = [ask.asking, self._bag, self._bag_says, ask.seen]
        ask.layout.flex, ask.layout.min_width, ask.layout.padding = "1 1 380px", "0", "0 18px 0 0"
        head = w.HTML("<h3>Names still possible</h3>")
        names = w.VBox([head, self._names, self._together], layout=w.Layout(flex="1 1 340px", min_width="0"))
        ask.add_class("idk-looking")
        names.add_class("idk-names")
        body = w.HBox([ask, names], layout=w.Layout(flex_flow="row wrap", align_items="flex-start"))
        self._outcome.add_class("idk-stands")
        self._top.children = [*self._top.children, *self._kinds]
        files = row(
            self.button("Make the pocket file", self._make_pocket),
            self.button("Make the key for the wall", self._make_key),
            self._paper,
            self._file_says,
        )
        files.add_class("idk-pocket")
        return [ask.tools, self._outcome, self.way.steps, self._alert, body, self.way, files]

    @property
    def identification(self) -> Identification:
        """The fish, with the answers so far."""
        return self.looking.fish

    @property
    def bag_name(self) -> str:
        """The name on the bag, as it was typed."""
        return self._bag.value.strip()

    # -- what the person does ---------------------------------------------------------------------

    def _make_pocket(self) -> None:
        place = Path(POCKET).resolve()
        pocket(self.identification.table, place, overwrite=True)
        self._file_says.value = html.status(f"Written: {place}. Bring it onto the phone, and open it there.")

    def _make_key(self) -> None:
        place = Path(KEY).resolve()
        build_key(self.identification.table).save(place, self._paper.value, overwrite=True)
        self._file_says.value = html.status(f"Written: {place}. Print it; it can be read at a metre.")

    def show_fish(self, fish: Identification) -> None:
        """Show another fish, without a picture; its table is that of the screen."""
        self.looking.fish = fish
        if self.measuring is not None:
            self.measuring.show_picture(None)
        self._no_bag()
        self._refresh()

    def show_photo(self, photo: Photo) -> None:
        """Show the picture of a fish as it was measured. Raises IdkeyError where it can't be found."""
        picture = open_picture(photo.place)
        if picture.sha256 != photo.sha256:
            raise IdkeyError(f"{photo.place}: is another picture now; put back the one that was measured")
        self.way.make_measuring().show_picture(picture, photo.points)

    def _no_bag(self) -> None:
        with self.filling():
            self._bag.value = self._bag_says.value = ""

    # -- what the person sees ---------------------------------------------------------------------

    def _refresh(self, focus: bool = False) -> None:
        """Show the state of the identification: first what the answer did, then the rest.

        `focus` puts the keyboard on the next question, since the button pressed may be gone.
        """
        fish = self.identification
        with self.filling():
            self._outcome.value = views.outcome_html(fish)
            asked = fish.next_question()
            self._names.value = views.names_html(fish, mark=asked.trait.id if asked else "")
            self.looking.show_next(focus=focus)
            self._show_kinds()
            self.looking.show_seen()
            self._show_bag(self._bag.value)
            self._together.value = views.together_html(fish)
            self.way.refresh()

    def _show_kinds(self) -> None:
        """Bring what the names show of each kind; a kind that is there already is not brought again."""
        table, kinds = self.identification.table, views.kinds_shown(self.identification)
        free = [place for place, taxon in self._kinds.items() if taxon not in kinds]
        for taxon in kinds:
            if taxon not in self._kinds.values():
                place = free.pop(0)
                del self._kinds[place]  # the last to be given up again
                place.value, self._kinds[place] = views.kind_html(table, taxon), taxon

    def _show_bag(self, name: str) -> None:
        self._bag_says.value = views.bag_html(self.identification, name)

    def _things(self) -> list[Any]:
        return [self.identification]

    def _static_html(self) -> str:
        kept = html.blocks((line(self._kept),)) if self._kept else ""
        return f"{kept}\n{super()._static_html()}".strip()

    def _static_text(self) -> str:
        return f"{self._kept}\n{super()._static_text()}".strip()

    @property
    def _kept(self) -> str:
        return self.way.keeping.text if self.way.keeping else ""
