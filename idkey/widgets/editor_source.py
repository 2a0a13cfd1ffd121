"""Where a cell stands written: the claims behind it, and fields to give one."""

from __future__ import annotations

from typing import TYPE_CHECKING

import ipywidgets as w

from idkey.table.claims import CLASSES, SCOPES, Claim
from idkey.views.edit import claims_html, source_options
from idkey.widgets.base import guarded, shown
from idkey.widgets.editor_parts import Part, area, button, dropdown, field, row

if TYPE_CHECKING:
    from idkey.widgets.editor import TableEditor

__all__ = ["SourcePart"]

_GIVE, _HIDE = "Give a source", "Hide the source fields"
_NEW, _HIDE_NEW = "A source that is not in the list", "Hide the new source"
_BIBTEX = "@book{KEY,\n  author = {...},\n  title = {...},\n  year = {...},\n}"


class SourcePart(Part):
    """The claims behind one cell."""

    def __init__(self, editor: TableEditor):
        self._taxon = self._column = ""
        self._claims = w.HTML()
        self._toggle = button(_GIVE, self._on_toggle)
        self._back = button("Take back the source given", self._on_back)
        self._source = dropdown("Source", [("none named", "")], width="420px")
        self._locator = field("Page or table", width="240px")
        self._class = dropdown(
            "How it is known", [("as usual", ""), *((c, c) for c in CLASSES)], width="260px"
        )
        self._scope = dropdown("It speaks of the", [(s, s) for s in SCOPES], width="220px")
        self._give = button("Put it behind this cell", self._on_give)
        self._new = button(_NEW, self._on_new)
        self._bibtex = area("BibTeX", hint=_BIBTEX, rows=5)
        self._add = button("Add this source to the list", self._on_add)
        self._adding = w.VBox([self._bibtex, row(self._add)])
        self._fields = w.VBox(
            [
                row(self._source, self._locator),
                row(self._class, self._scope),
                row(self._give, self._new),
                self._adding,
            ]
        )
        super().__init__(editor)
        self.children = [
            w.HTML("<h4>Where it stands written</h4>"),
            self._claims,
            row(self._toggle, self._back),
            self._fields,
        ]
        self._open(False)

    def show(self, taxon: str, column: str) -> None:
        """Show the claims behind a cell."""
        if (taxon, column) != (self._taxon, self._column):
            self._taxon, self._column = taxon, column
            self._open(False)
        html = claims_html(self.draft, taxon, column)
        if self._claims.value != html:
            self._claims.value = html
        shown(self._back, (taxon, column) in self.draft.claims)

    def _open(self, show: bool) -> None:
        shown(self._fields, show)
        shown(self._adding, False)
        self._new.description = _NEW
        self._toggle.description = _HIDE if show else _GIVE

    @guarded
    def _on_toggle(self, _button: w.Button) -> None:
        show = self._toggle.description == _GIVE
        if show:
            self._fill(self._source.value)
        self._open(show)
        if show:
            self._source.focus()

    def _fill(self, chosen: str) -> None:
        options = source_options(self.draft)
        if list(self._source.options) != options:
            self._source.options = options
        self._source.value = chosen if chosen in dict(options).values() else ""

    @guarded
    def _on_give(self, _button: w.Button) -> None:
        claim = Claim(self._source.value, self._locator.value.strip(), self._class.value, self._scope.value)
        self.draft.claim(self._taxon, self._column, claim)
        self._open(False)
        self.editor.changed()
        self._toggle.focus()

    @guarded
    def _on_back(self, _button: w.Button) -> None:
        self.draft.claim(self._taxon, self._column, None)
        self.editor.changed()
        self._toggle.focus()

    @guarded
    def _on_new(self, _button: w.Button) -> None:
        show = self._new.description == _NEW
        shown(self._adding, show)
        self._new.description = _HIDE_NEW if show else _NEW
        if show:
            self._bibtex.focus()

    @guarded
    def _on_add(self, _button: w.Button) -> None:
        keys = self.draft.add_source(self._bibtex.value)
        self._bibtex.value = ""
        self._fill(keys[0] if keys else self._source.value)
        shown(self._adding, False)
        self._new.description = _NEW
        self.editor.changed()
        self._source.focus()
