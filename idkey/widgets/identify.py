"""The identify screen: one question at a time, the names still possible beside it."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from html import escape
from typing import Any

import ipywidgets as w

from idkey import display
from idkey.arguments import checked
from idkey.book.book import Book
from idkey.model.compare import compare
from idkey.model.identify import Identification
from idkey.table.folder import load_table
from idkey.table.schema import LIFE_STAGE, Trait
from idkey.table.table import TraitTable
from idkey.views import html
from idkey.views import identify as views
from idkey.views.doc import line
from idkey.views.words import answer_words
from idkey.widgets import base
from idkey.widgets.asking import Asking
from idkey.widgets.base import Screen, dropdown, field, row
from idkey.widgets.keeping import Keeping, book_of

_AUTO = ""
_AGES = (("not known", ""), ("adult", "adult"), ("young", "young"))


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


class IdentifyScreen(Screen):
    """Questions on one side, the names still possible on the other; see `identify`."""

    def __init__(self, fish: Identification, book: Book | None = None):
        super().__init__()
        self.identification = fish
        self._first_two: tuple[str, ...] = ()
        self._rows: dict[str, w.HBox] = {}
        self._make_controls()
        self.keeping = Keeping(self.say, book, self) if book is not None else None
        self.children = [base.style_element(), *self._laid_out()]
        self._refresh()

    def _make_controls(self) -> None:
        table = self.identification.table
        self._skip = self.button("Can't see it", lambda: self._answer(None, focus=False))
        self._undo = self.button("Undo", lambda: self._do(self.identification.undo))
        self._restart = self.button("Start again", lambda: self._do(self.identification.clear))
        self._age = self.watch(dropdown("Age of the fish", _AGES), self._on_age)
        most = max((len(t.states) for t in table.traits), default=0)
        self.asking = Asking(self.say, most, self._answer)
        # Always the same list: a list that changes could be a moment older on the screen than in the kernel.
        features = [("what settles most", _AUTO), *((t.name, t.id) for t in table.traits)]
        self._other = self.watch(dropdown("Answer another feature", features), self._on_other)
        bag = field("Name on the bag", hint="trade code or name", width="320px")
        self._bag = self.watch(bag, self._show_bag)
        self._outcome, self._bag_says = w.HTML(), w.HTML()
        self._names, self._together = w.HTML(), w.HTML()
        self._seen_head, self._seen = w.HTML("<h4>What was seen</h4>"), w.VBox()
        self._comparison = w.HTML(layout=w.Layout(margin="12px 0 0 0"))
        two = w.VBox([self._comparison])
        self._beside = base.Fold(self, "Compare the first two", "Hide the comparison", two, self._on_compare)

    def _laid_out(self) -> list[w.Widget]:
        """Put what never moves at the top, and give the question room that stays."""
        beside = w.Layout(flex="1 1 380px", min_width="0", padding="0 18px 0 0")
        ask = w.VBox([self.asking, self._bag, self._bag_says, self._seen], layout=beside)
        head = row(w.HTML("<h3>Names still possible</h3>"), self._beside.button, name="idk-names-head")
        names = w.VBox([head, self._names, self._together], layout=w.Layout(flex="1 1 340px", min_width="0"))
        body = w.HBox([ask, names], layout=w.Layout(flex_flow="row wrap", align_items="flex-start"))
        tools = row(self._skip, self._undo, self._restart, self._other, self._age, name="idk-tools")
        self._seen.add_class("idk-seen")
        self._outcome.add_class("idk-stands")
        keeping = [self.keeping] if self.keeping else []
        return [tools, *keeping, self._outcome, self._alert, body, self._beside.box]

    # -- what the person does ---------------------------------------------------------------------

    def _answer(self, value: str | None, *, focus: bool = True) -> None:
        if self.asking.trait is not None:
            self.identification.answer(self.asking.trait.id, value)
            self._refresh(focus=focus)

    def _do(self, act: Callable[..., Any], *args: Any) -> None:
        act(*args)
        self._refresh()

    def _on_age(self, age: str) -> None:
        fish = self.identification
        self._do(*((fish.answer, LIFE_STAGE, age) if age else (fish.forget, LIFE_STAGE)))

    def _on_other(self, trait: str) -> None:
        # The focus stays on the menu, so that the arrow keys can go on through it.
        if trait == _AUTO:
            self._refresh()
        else:
            self._ask(trait, focus=False)

    def _on_compare(self) -> None:
        self._comparison.value = display.html(compare(self.identification.table, *self._first_two))

    def show_fish(self, fish: Identification) -> None:
        """Show another fish; its table is that of the screen."""
        self.identification = fish
        self._refresh()

    # -- what the person sees ---------------------------------------------------------------------

    def _refresh(self, *, focus: bool = False) -> None:
        """Show the state of the identification: first what the answer did, then the rest.

        `focus` puts the keyboard on the next question, since the button pressed may be gone.
        """
        fish = self.identification
        with self.filling():
            self._outcome.value = views.outcome_html(fish)
            self._names.value = views.names_html(fish, care=False)
            best = fish.next_question()
            self._show_question(best.trait if best else None)
            if focus:
                self._focus()
            self._show_seen()
            self._age.value = fish.answers.get(LIFE_STAGE, "")
            self._show_bag(self._bag.value)
            two = fish.outcome().taxa[:2] if fish.answers else ()
            self._beside.button.layout.visibility = "visible" if len(two) > 1 else "hidden"
            if two != self._first_two:
                self._first_two = two
                self._beside.show(False)
            self._together.value = views.together_html(fish)
            self._names.value = views.names_html(fish)

    def _ask(self, trait: str, *, focus: bool = True) -> None:
        """Put a question out of turn."""
        with self.filling():
            self._show_question(self.identification.table.trait(trait), chosen=True)
        if focus:
            self._focus()

    def _show_question(self, trait: Trait | None, *, chosen: bool = False) -> None:
        self._other.value = trait.id if chosen and trait else _AUTO
        self.asking.show(self.identification, trait, chosen=chosen)
        self._skip.disabled = trait is None

    def _focus(self) -> None:
        """Put the keyboard on the question, or on the menu where nothing is asked."""
        (self.asking.focus_question if self.asking.trait is not None else self._other.focus)()

    def _show_bag(self, name: str) -> None:
        self._bag_says.value = views.bag_html(self.identification, name)

    def _show_seen(self) -> None:
        fish, table = self.identification, self.identification.table
        seen: dict[str, Any] = {**fish.answers, **dict.fromkeys(fish.unseen)}
        rows = []
        for trait in (table.trait(name) for name in seen if name in table.trait_ids):
            if trait.id not in self._rows:
                line = w.HTML(layout=w.Layout(flex="1 1 180px"))
                change = self.button(f"Change {trait.name.lower()}", self._ask, trait.id)
                self._rows[trait.id] = row(line, change, name="idk-seen-row")
            words = "can't be seen" if seen[trait.id] is None else answer_words(trait, seen[trait.id])
            rows.append(self._rows[trait.id])
            rows[-1].children[0].value = f"{escape(trait.name)}: <strong>{escape(words)}</strong>"
        rows = [self._seen_head, *rows] if rows else []
        if tuple(rows) != self._seen.children:
            self._seen.children = rows

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
