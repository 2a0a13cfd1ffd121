"""A spreadsheet read into the draft, after a look at what was understood."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

import ipywidgets as w

from idkey.table.draft_io import take_over
from idkey.table.spreadsheet import Import, read_spreadsheet
from idkey.widgets.base import guarded, shown
from idkey.widgets.editor_parts import Part, button, field, row

if TYPE_CHECKING:
    from idkey.widgets.editor import TableEditor

__all__ = ["ImportPart"]


class ImportPart(Part):
    """The path of a file, the report on it, and a button that takes it."""

    def __init__(self, editor: TableEditor):
        self._read: Import | None = None
        self._path = field("File", hint="my_kinds.xlsx or my_kinds.csv", width="420px")
        self._sheet = field("Sheet", hint="the first that names kinds", width="300px")
        self._look = button("Read it", self._on_look)
        self._report = w.HTML()
        self._take = button("Take these into the draft", self._on_take)
        super().__init__(editor)
        self.children = [row(self._path, self._sheet, self._look), self._report, self._take]
        shown(self._take, False)

    def first(self) -> w.DOMWidget:
        """Return the control that the keyboard goes to first."""
        return self._path

    @guarded
    def _on_look(self, _button: w.Button) -> None:
        self._read = None
        self._report.value = ""
        shown(self._take, False)
        path = self._path.value.strip()
        self._read = read_spreadsheet(path, self.draft.sound(), sheet=self._sheet.value.strip() or None)
        self._report.value = self._read._repr_html_()
        shown(self._take, any(row.what in ("new", "changed") for row in self._read.rows))

    @guarded
    def _on_take(self, _button: w.Button) -> None:
        if self._read is None:
            return
        taken = take_over(self.draft, self._read.table)
        self._read = None
        cells = "1 cell" if taken == 1 else f"{taken} cells"
        self._report.value = (
            f'<p role="status">{escape(cells)} taken into the draft; nothing is saved yet.</p>'
        )
        shown(self._take, False)
        self.editor.changed()
        self._path.focus()
