"""The identify screen: one question at a time, the names still possible beside it."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import ipywidgets as w

from idkey import display
from idkey.arguments import checked
from idkey.book.book import Book
from idkey.model.compare import compare
from idkey.model.identify import Identification
from idkey.phone.file import pocket
from idkey.table.folder import load_table
from idkey.table.table import TraitTable
from idkey.views import html
from idkey.views import identify as views
from idkey.views.doc import line
from idkey.widgets import base
from idkey.widgets.base import Screen, field, row
from idkey.widgets.keeping import Keeping, book_of
from idkey.widgets.looking import Looking


@checked
def identify(
    table: TraitTable | None = None,
    answers: Mapping[str, Any] | None = None,
    book: Book | str | os.PathLike[str] | None = None,
) -> IdentifyScreen:
    """Open the identify screen in a notebook; put it last in a cell.

    Its `identification` holds the answers, usable from the next cell.

    Parameters
    ----------
    table : TraitTable, optional
        By default the shipped table.
    answers : mapping of str to object, optional
        Answers to start with, as for `Identification.answer`; AnswerError for one the table can't take.
    book : Book, str or path, optional
        Where "Keep this fish" writes: a book that is open, or the address of one, as for `open_book`. By
        default nothing is kept.
    """
    fish = Identification(load_table() if table is None else table)
    for trait, value in (answers or {}).items():
        fish.answer(trait, value)
    return IdentifyScreen(fish, book_of(book))


POCKET = "idkey_pocket.html"
"""What the file for a phone is called in the folder of the notebook; it is made afresh each time."""


class IdentifyScreen(Screen):
    """Questions on one side, the names still possible on the other; see `identify`."""

    def __init__(self, fish: Identification, book: Book | None = None):
        super().__init__()
        self.looking = Looking(self.say, fish, self._refresh)
        self._first_two: tuple[str, ...] = ()
        self._make_controls()
        self.keeping = Keeping(self.say, book, self) if book is not None else None
        self.children = [base.style_element(), *self._laid_out()]
        self._refresh()

    def _make_controls(self) -> None:
        bag = field("Name on the bag", hint="trade code or name", width="320px")
        self._bag = self.watch(bag, self._show_bag)
        self._outcome, self._bag_says = w.HTML(), w.HTML()
        self._names, self._together = w.HTML(), w.HTML()
        self._pocket_says = w.HTML()
        self._comparison = w.HTML(layout=w.Layout(margin="12px 0 0 0"))
        two = w.VBox([self._comparison])
        self._beside = base.Fold(self, "Compare the first two", "Hide the comparison", two, self._on_compare)

    def _laid_out(self) -> list[w.Widget]:
        """Put what never moves at the top, and give the question room that stays."""
        ask = self.looking
        ask.children = [ask.asking, self._bag, self._bag_says, ask.seen]
        ask.layout.flex, ask.layout.min_width, ask.layout.padding = "1 1 380px", "0", "0 18px 0 0"
        head = row(w.HTML("<h3>Names still possible</h3>"), self._beside.button, name="idk-names-head")
        names = w.VBox([head, self._names, self._together], layout=w.Layout(flex="1 1 340px", min_width="0"))
        body = w.HBox([ask, names], layout=w.Layout(flex_flow="row wrap", align_items="flex-start"))
        self._outcome.add_class("idk-stands")
        keeping = [self.keeping] if self.keeping else []
        pocket_row = row(self.button("Make the pocket file", self._make_pocket), self._pocket_says)
        return [ask.tools, *keeping, self._outcome, self._alert, body, self._beside.box, pocket_row]

    @property
    def identification(self) -> Identification:
        """The fish, with the answers so far."""
        return self.looking.fish

    # -- what the person does ---------------------------------------------------------------------

    def _on_compare(self) -> None:
        self._comparison.value = display.html(compare(self.identification.table, *self._first_two))

    def _make_pocket(self) -> None:
        place = Path(POCKET).resolve()
        pocket(self.identification.table, place, overwrite=True)
        self._pocket_says.value = html.status(
            f"Written: {place}. Bring it onto the phone, and open it there."
        )

    def show_fish(self, fish: Identification) -> None:
        """Show another fish; its table is that of the screen."""
        self.looking.fish = fish
        self._refresh()

    # -- what the person sees ---------------------------------------------------------------------

    def _refresh(self, focus: bool = False) -> None:
        """Show the state of the identification: first what the answer did, then the rest.

        `focus` puts the keyboard on the next question, since the button pressed may be gone.
        """
        fish = self.identification
        with self.filling():
            self._outcome.value = views.outcome_html(fish)
            self._names.value = views.names_html(fish, care=False)
            self.looking.show_next(focus=focus)
            self.looking.show_seen()
            self._show_bag(self._bag.value)
            two = fish.outcome().taxa[:2] if fish.answers else ()
            self._beside.button.layout.visibility = "visible" if len(two) > 1 else "hidden"
            if two != self._first_two:
                self._first_two = two
                self._beside.show(False)
            self._together.value = views.together_html(fish)
            self._names.value = views.names_html(fish)

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
        return self.keeping.text if self.keeping else ""
