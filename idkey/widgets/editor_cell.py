"""One cell of the table: its states as buttons or its two numbers, as text, and where it stands written."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import ipywidgets as w

from idkey.model.lengths import in_millimetres
from idkey.table.schema import YOUNG, Trait
from idkey.table.typed import joined, parted, states_in, toggled
from idkey.views.edit import feedback_html, question_html, syntax_html
from idkey.widgets.base import guarded, shown
from idkey.widgets.editor_parts import Part, button, field, row, tick
from idkey.widgets.editor_source import SourcePart
from idkey.widgets.state_choice import StateChoices

if TYPE_CHECKING:
    from idkey.widgets.editor import TableEditor

__all__ = ["CellPart"]

_YOUNG, _ADULT = "Young fish differ", "Back to adult fish"


class CellPart(Part):
    """The controls of one cell; the same ones for whichever cell is shown.

    Attributes
    ----------
    taxon, column : str
        The cell that is shown.
    """

    def __init__(self, editor: TableEditor, on_next: Callable[..., None], on_done: Callable[..., None]):
        self.taxon = self.column = ""
        self._question, self._feedback, self._syntax = w.HTML(), w.HTML(), w.HTML()
        self._states = StateChoices(self._on_state)
        self._low = field("From", self._on_number, width="200px")
        self._high = field("to", self._on_number, width="160px")
        self._unknown = button("Not known", self._on_unknown)
        self._absent = button("Does not apply", self._on_absent)
        self._text = field("As text", self._on_text, width="380px")
        self._undo = button("Undo this cell", self._on_undo)
        self._young = button(_YOUNG, self._on_young)
        self._next = button("Next trait", on_next)
        self._done = button("Done", on_done)
        self.source = SourcePart(editor)
        super().__init__(editor)
        self.children = [
            self._question,
            self._states,
            row(self._low, self._high, self._unknown, self._absent),
            self._feedback,
            row(self._text, self._syntax),
            self.source,
            row(self._undo, self._young, self._next, self._done),
        ]
        self.add_class("idk-edit-cell")

    @property
    def trait(self) -> Trait:
        """The trait of the cell that is shown."""
        return self.draft.wide.trait_of(self.column)

    def first(self) -> w.DOMWidget:
        """Return the control that the keyboard goes to first."""
        return self._states.children[0].button if self.trait.has_states else self._low

    # -- what the person does ---------------------------------------------------------------------

    @guarded
    def _on_state(self, state: str) -> None:
        self._set(toggled(self.trait, self.draft.text(self.taxon, self.column), state))

    @guarded
    def _on_number(self, _change: Any) -> None:
        if not self._updating:
            ends = (self._low.value, self._high.value)
            if self.trait.unit == "mm":
                ends = (in_millimetres(ends[0]), in_millimetres(ends[1]))
            self._set(joined(*ends))

    @guarded
    def _on_unknown(self, _button: w.Button) -> None:
        self._set("")

    @guarded
    def _on_absent(self, _button: w.Button) -> None:
        self._set("-")

    @guarded
    def _on_text(self, _change: Any) -> None:
        if not self._updating:
            self._set(self._text.value)

    @guarded
    def _on_undo(self, _button: w.Button) -> None:
        self.draft.revert(self.taxon, self.column)
        self.editor.changed()
        # The button that was pressed is gone.
        self.first().focus()

    @guarded
    def _on_young(self, _button: w.Button) -> None:
        trait = self.trait
        self.show(self.taxon, trait.id if self.column != trait.id else trait.id + YOUNG)

    def _set(self, text: str) -> None:
        self.draft.set(self.taxon, self.column, text)
        self.editor.changed()

    # -- what the person sees ---------------------------------------------------------------------

    def show(self, taxon: str, column: str) -> None:
        """Show a cell."""
        moved = (taxon, column) != (self.taxon, self.column)
        self.taxon, self.column = taxon, column
        trait, text = self.trait, self.draft.text(taxon, column)
        young = column != trait.id
        self._updating = True
        try:
            if moved:
                self._question.value = question_html(trait, young=young)
                self._syntax.value = syntax_html(trait)
                self._states.show(trait)
                self._show_numbers(trait)
                self._young.description = _ADULT if young else _YOUNG
                shown(self._young, young or not trait.needs_adult)
            chosen = states_in(trait, text)
            self._states.mark(chosen)
            if not trait.has_states:
                self._low.value, self._high.value = parted(trait, text)
            tick(self._unknown, not text.strip())
            tick(self._absent, text.strip() == "-")
            self._text.value = text
            self._feedback.value = feedback_html(self.draft, taxon, column)
            shown(self._undo, (taxon, column) in self.draft.changed or (taxon, column) in self.draft.claims)
        finally:
            self._updating = False
        self.source.show(taxon, column)

    def _show_numbers(self, trait: Trait) -> None:
        number = not trait.has_states
        shown(self._low, number)
        shown(self._high, number and trait.kind == "measure")
        unit = "" if trait.unit in ("", "count") else f" ({trait.unit})"
        self._low.description = f"Longest known{unit}" if trait.kind == "ceiling" else f"From{unit}"
        self._low.placeholder = "64, 2.5 in or 6 cm" if trait.unit == "mm" else "lowest"
        self._high.placeholder = "highest"
