"""Where the shipped table and the keeper's own say different things: shown and settled one by one."""

from __future__ import annotations

from typing import TYPE_CHECKING

import ipywidgets as w

from idkey.table.overlay import settle
from idkey.views.edit import conflict_html
from idkey.widgets.base import guarded, shown
from idkey.widgets.editor_parts import Part, button, row

if TYPE_CHECKING:
    from idkey.widgets.editor import TableEditor

__all__ = ["ConflictPart"]

_SHIPPED, _DROP = "Keep what the shipped table says", "Give up what is set aside"


class ConflictPart(Part):
    """The first conflict that is not settled; hidden where there is none."""

    def __init__(self, editor: TableEditor):
        self._at = 0
        self._shows = w.HTML()
        self._shipped = button(_SHIPPED, self._on_shipped)
        self._own = button("Keep mine", self._on_own)
        self._later = button("Show the next one", self._on_later)
        super().__init__(editor)
        self.children = [self._shows, row(self._shipped, self._own, self._later)]
        self.add_class("idk-edit-part")
        self.refresh()

    def refresh(self) -> None:
        """Show the conflict it stands at."""
        open_ones = self.draft.saved.conflicts
        shown(self, bool(open_ones))
        if open_ones:
            self._at %= len(open_ones)
            conflict = open_ones[self._at]
            self._shows.value = conflict_html(conflict, self._at + 1, len(open_ones))
            self._shipped.description = _DROP if conflict.kind == "gone" else _SHIPPED
            shown(self._shipped, "shipped" in conflict.choices)
            shown(self._own, "own" in conflict.choices)
            shown(self._later, len(open_ones) > 1)

    @guarded
    def _on_shipped(self, _button: w.Button) -> None:
        self._settle("shipped")

    @guarded
    def _on_own(self, _button: w.Button) -> None:
        self._settle("own")

    @guarded
    def _on_later(self, _button: w.Button) -> None:
        self._at += 1
        self.refresh()

    def _settle(self, keep: str) -> None:
        saved = self.draft.saved
        if saved.origin is not None:
            self.draft.rebase(settle(saved.origin.folder, saved.conflicts[self._at], keep))
            self.refresh()
            self.editor.changed()
            # The button that was pressed may be gone.
            (self._shipped if self.draft.saved.conflicts else self.editor.first()).focus()
