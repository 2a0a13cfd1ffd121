"""All kinds as a table of cell texts, and one cell of it to write in."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import ipywidgets as w

from idkey.views.edit import column_words, feedback_html, sheet_html, syntax_html
from idkey.widgets.base import guarded, shown
from idkey.widgets.editor_parts import Part, button, dropdown, field, row

if TYPE_CHECKING:
    from idkey.widgets.editor import TableEditor

__all__ = ["SheetPart"]


class SheetPart(Part):
    """The sheet; the kind is the one that is chosen above."""

    def __init__(self, editor: TableEditor):
        self._text = field("Cell", self._on_text, width="420px")
        self._undo = button("Undo this cell", self._on_undo)
        self._syntax, self._feedback, self._grid = w.HTML(), w.HTML(), w.HTML()
        super().__init__(editor)
        self._column = dropdown("Column", self._columns(), width="360px")
        self._column.value = self.draft.wide.traits[0].id
        self._column.observe(self._on_column, names="value")
        self.children = [row(self._column, self._text, self._undo), self._syntax, self._feedback, self._grid]

    def first(self) -> w.DOMWidget:
        """Return the control that the keyboard goes to first."""
        return self._text

    def _columns(self) -> list[tuple[str, str]]:
        return [(column_words(self.draft, c), c) for c in self.draft.columns]

    @guarded
    def _on_column(self, _change: Any) -> None:
        if not self._updating:
            self.refresh()

    @guarded
    def _on_text(self, change: Any) -> None:
        if not self._updating:
            self.draft.set(self.editor.taxon, self._column.value, change["new"])
            self.editor.changed()

    @guarded
    def _on_undo(self, _button: w.Button) -> None:
        self.draft.revert(self.editor.taxon, self._column.value)
        self.editor.changed()
        self._text.focus()

    def open_cell(self, column: str) -> None:
        """Choose a column and put the keyboard on its cell."""
        self._column.value = column
        self._text.focus()

    def refresh(self) -> None:
        """Show the sheet as it stands now."""
        self._updating = True
        try:
            columns = self._columns()
            column = self._column.value
            if list(self._column.options) != columns:
                self._column.options = columns
                self._column.value = column if column in self.draft.columns else columns[0][1]
                column = self._column.value
            taxon = self.editor.taxon
            self._text.value = self.draft.text(taxon, column)
            is_name = column in self.draft.names
            self._syntax.value = "" if is_name else syntax_html(self.draft.wide.trait_of(column))
            self._feedback.value = feedback_html(self.draft, taxon, column)
            shown(self._undo, (taxon, column) in self.draft.changed)
            self._grid.value = sheet_html(self.draft, taxon, column)
        finally:
            self._updating = False
