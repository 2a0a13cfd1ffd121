"""The table editor: kinds added and cells changed, told at once what that does, and saved in one step."""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial
from pathlib import Path
from typing import Any, Literal

import ipywidgets as w

from idkey import display
from idkey.errors import IdkeyError
from idkey.model.changes import Change, Past, what_changes
from idkey.model.key import Key, build_key
from idkey.model.lookalikes import apart
from idkey.table.draft import Draft, own_folder
from idkey.table.folder import load_table
from idkey.table.table import TraitTable
from idkey.views import edit, html
from idkey.widgets import editor_tools as tools
from idkey.widgets.base import Fold, Screen, choose, dropdown, row, style_element, told_apart
from idkey.widgets.editor_form import EditorPart, FormPart

_FORM, _SHEET = "one kind as a form", "all kinds as a sheet"
_ELSEWHERE = "Save to another folder"
_KEY_LATER = '<p class="idk-soft" role="status">What it does to the key is being worked out.</p>'
_STALE = '<p class="idk-soft">Something was changed after this was checked.</p>'


def table_editor(
    table: TraitTable | None = None, folder: str | Path | None = None, past: Iterable[Past] = ()
) -> TableEditor:
    """Open the table editor in a notebook; put it last in a cell.

    Its `draft` holds what is not saved, its `table` the table as last checked or saved, its `change` what the
    last check said. Raises TableError for a folder with a fault in it.

    Parameters
    ----------
    table : TraitTable, optional
        By default the table in `folder`, or the shipped one where there is none yet.
    folder : str or pathlib.Path, optional
        Where Save writes: by default where the table was loaded from. The shipped table is never saved over;
        what is added to it goes into a folder of your own.
    past : iterable of Identification or mapping, optional
        Past identifications; a check says which of them come out otherwise.
    """
    if table is None:
        is_held = folder is not None and Path(folder).is_dir() and any(Path(folder).iterdir())
        table = load_table(folder if is_held else None)
    return TableEditor(table, folder, past)


class TableEditor(Screen):
    """A table to change; see `table_editor`. Its `taxon` is the kind that is chosen."""

    def __init__(self, table: TraitTable, folder: str | Path | None = None, past: Iterable[Past] = ()):
        super().__init__()
        self.table, self.draft = table, Draft(table)
        self.change: Change | None = None
        self._folder, self._past = folder, tuple(past)
        self._key: Key | None = None
        self._is_fresh = False
        kinds = self._kinds()
        self.taxon = kinds[0][1]
        self._head, self._saved, self._told, self._changes = (w.HTML() for _ in range(4))
        self._kind = self.watch(dropdown("Kind of fish", kinds, width="430px"), self._on_kind)
        modes = w.RadioButtons(options=[_FORM, _SHEET], description="Look at", orientation="horizontal")
        modes.style.description_width, modes.layout.width = "initial", "auto"
        self._mode = self.watch(modes, self._on_mode)
        self._check_button = self.button("Check", self.check)
        self._save_button = self.button("Save", self._on_save)
        self.form, self.conflicts = FormPart(self), tools.ConflictPart(self)
        self.folds = {
            title: Fold(self, title, f"Close: {title}", part, partial(self._before, part))
            for title, part in (
                ("Add a kind", tools.AddKind(self)),
                ("Add a trait", tools.AddTrait(self)),
                ("Read a spreadsheet", tools.ImportPart(self)),
                ("Take this kind out", tools.Confirm(self, tools.take_out)),
                (_ELSEWHERE, tools.SaveElsewhere(self)),
                ("Undo all changes", tools.Confirm(self, tools.undo_all)),
            )
        }
        self.children = [style_element(), *self._laid_out()]
        self._refresh()

    def _laid_out(self) -> list[w.Widget]:
        """Put what is pressed again and again at the top; what is told stands beside the form."""
        self._head.add_class("idk-edit-head")
        chosen = row(self._kind, self._mode, self._check_button, self._save_button, name="idk-tools")
        openers = row(*(fold.button for fold in self.folds.values()), name="idk-tools")
        parts = [fold.box for fold in self.folds.values()]
        for part in parts:
            part.add_class("idk-edit-part")
        told = w.VBox([self._told, self._changes], layout=w.Layout(flex="1 1 340px", min_width="0"))
        self.form.layout = w.Layout(min_width="0", margin="0 24px 8px 0")
        body = w.HBox([self.form, told], layout=w.Layout(flex_flow="row wrap", align_items="flex-start"))
        return [self._head, chosen, self._alert, self._saved, self.conflicts, openers, *parts, body]

    # -- what the person does ---------------------------------------------------------------------

    def _on_kind(self, taxon: str) -> None:
        self.taxon = taxon
        self._shut()
        self._refresh()

    def _on_mode(self, mode: str) -> None:
        self.form.is_sheet = mode == _SHEET
        self._refresh()

    def _shut(self) -> None:
        for fold in self.folds.values():
            fold.show(False)

    def _before(self, part: EditorPart) -> None:
        """Shut what is open, and bring up to date what is to be opened."""
        self._shut()
        part.refresh()

    def done(self, taxon: str = "", column: str = "") -> None:
        """Show a changed draft and shut what is open; the keyboard goes to a cell, or back where it was."""
        back = next((fold.button for fold in self.folds.values() if fold.is_open), self._kind)
        self.taxon = taxon or self.taxon
        self._shut()
        self.changed()
        if column:
            self.form.open_cell(column)
        else:
            back.focus()

    def _on_save(self) -> None:
        if self._folder is None and own_folder(self.draft.saved) is None:
            self.folds[_ELSEWHERE].show(True)
        else:
            self.save(self._folder)

    # -- checked and saved ------------------------------------------------------------------------

    def check(self) -> None:
        """Check the draft and show what it does, or what has to be mended first."""
        if self._show_problems():
            return
        self.table = self.draft.made()
        if self._key is None:
            # The key takes longest, so the rest stands there first.
            self._show_change(key=False)
            self._changes.value += _KEY_LATER
            self._key = build_key(self.draft.saved)
        self._show_change(key=self._key)
        self._is_fresh = True
        self._told.value = self._told_html()

    def _show_change(self, key: Key | Literal[False]) -> None:
        self.change = what_changes(self.draft.saved, self.table, key=key, past=self._past)
        self._changes.value = display.html(self.change)

    def save(self, folder: str | Path | None = None) -> None:
        """Save the draft, to its own folder or to a new one. Raises as `TraitTable.save`."""
        if self._show_problems():
            return
        try:
            self.draft.save(folder)
        except IdkeyError:
            # Nothing is lost: the draft is as it was, and another folder can take the whole.
            self.folds[_ELSEWHERE].show(True)
            self.changed()
            raise
        self.table = self.draft.saved
        self._folder = self._key = None
        self.done()
        place = own_folder(self.table)
        self._saved.value = html.status(f"Saved to {place}." if place else "Saved.")
        # The button that was pressed can't be pressed again.
        self._kind.focus()

    def _show_problems(self) -> bool:
        """List what has to be mended and go to the first of it; False where all is well."""
        problems = edit.problems_html(self.draft)
        self._changes.value = problems or self._changes.value
        if self.draft.wrong:
            self.taxon, column = next(iter(self.draft.wrong))
            self._refresh()
            self.form.open_cell(column)
        return bool(problems)

    # -- what the person sees ---------------------------------------------------------------------

    def changed(self) -> None:
        """Show a draft that has been changed."""
        self._saved.value = ""
        self._is_fresh = False
        if self._changes.value and not self._changes.value.startswith(_STALE):
            self._changes.value = _STALE + self._changes.value
        self._refresh()

    def _kinds(self) -> list[tuple[str, str]]:
        marks = edit.kind_marks(self.draft)
        labels = told_apart((self.draft.label(taxon), taxon) for taxon in self.draft.ids)
        return [(f"{label}{marks.get(taxon, '')}", taxon) for label, taxon in labels]

    def _refresh(self) -> None:
        kinds = self._kinds()
        if self.taxon not in self.draft.ids:
            self.taxon = kinds[0][1]
        with self.filling():
            self._head.value = html.status(edit.state_words(self.draft), "outcome")
            choose(self._kind, kinds, self.taxon)
        # The sheet needs the whole width; what is told goes below it.
        self.form.layout.flex = "1 1 100%" if self.form.is_sheet else "2 1 520px"
        self.form.refresh()
        self.conflicts.refresh()
        self._save_button.disabled = not self.draft.is_changed
        self._told.value = self._told_html()

    def _told_html(self) -> str:
        """Tell at once which kinds a kind that was changed can't be told from."""
        touched = self.taxon in self.draft.new or any(t == self.taxon for t, _ in self.draft.changed)
        table = self.draft.sound
        # A check that still holds has said it already.
        if not touched or self._is_fresh or self.taxon not in table.taxa.index:
            return ""
        return display.html(apart(table, self.taxon))

    def _things(self) -> list[Any]:
        return [thing for thing in (self.draft, self.change) if thing is not None]
