"""The table editor: kinds added and cells changed, told at once what that does, and saved in one step."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import ipywidgets as w

from idkey.errors import IdkeyError
from idkey.model.change import Change, what_changes
from idkey.model.identify import Identification
from idkey.model.key import Key, build_key
from idkey.model.lookalikes import apart
from idkey.table.draft import Draft
from idkey.table.draft_io import is_shipped, own_folder, save_draft
from idkey.table.files import load_table
from idkey.table.table import TraitTable
from idkey.views.change import apart_html, change_html, change_text
from idkey.views.edit import (
    draft_html,
    draft_text,
    elsewhere_html,
    head_html,
    kind_options,
    problems_html,
    saved_html,
)
from idkey.widgets.base import Screen, guarded, shown, style_element
from idkey.widgets.editor_add import AddKind, AddTrait, TakeOut, UndoAll
from idkey.widgets.editor_conflicts import ConflictPart
from idkey.widgets.editor_form import FormPart
from idkey.widgets.editor_import import ImportPart
from idkey.widgets.editor_parts import Folds, Part, button, dropdown, field, row
from idkey.widgets.editor_sheet import SheetPart

__all__ = ["TableEditor", "table_editor"]

_FORM, _SHEET = "one kind as a form", "all kinds as a sheet"
_ELSEWHERE = "Save to another folder"
_KEY_LATER = '<p class="idk-soft" role="status">What it does to the key is being worked out.</p>'
_STALE = '<p class="idk-soft">Something was changed after this was checked.</p>'


def table_editor(
    table: TraitTable | None = None,
    folder: str | Path | None = None,
    past: Iterable[Identification | Mapping[str, Any]] = (),
) -> TableEditor:
    """Open the table editor in a notebook.

    Parameters
    ----------
    table : TraitTable, optional
        By default the table in `folder`, or the shipped one where there is none yet.
    folder : str or pathlib.Path, optional
        Where Save writes: by default where the table was loaded from. The shipped table is never saved over;
        what is added to it goes into a folder of your own.
    past : iterable of Identification or mapping, optional
        Past identifications; a check says which of them come out otherwise.

    Returns
    -------
    TableEditor
        Put it last in a cell. Its `draft` holds what is not saved, its `table` the table as last checked or
        saved, its `change` what the last check said.

    Raises
    ------
    TableError
        A folder that holds a table with something wrong in it.
    """
    if table is None:
        place = None if folder is None else Path(folder)
        held = place is not None and place.is_dir() and any(place.iterdir())
        table = load_table(place if held else None)
    return TableEditor(table, folder, past)


class TableEditor(Screen):
    """A table to change; see `table_editor`.

    Attributes
    ----------
    draft : Draft
        What is not saved.
    table : TraitTable
        The table as it was last checked or saved.
    change : Change or None
        What the last check said.
    taxon : str
        The kind that is chosen.
    """

    change: Change | None

    def __init__(
        self,
        table: TraitTable,
        folder: str | Path | None = None,
        past: Iterable[Identification | Mapping[str, Any]] = (),
    ):
        self.table = table
        self.draft = Draft(table)
        self.change = None
        self._folder = folder
        self._is_fresh = False
        self._past = tuple(past)
        self._key: Key | None = None
        self._updating = False
        self.taxon = kind_options(self.draft)[0][1]
        self._make_controls()
        super().__init__()
        self.children = [style_element(), *self._laid_out()]
        self._refresh()

    def _make_controls(self) -> None:
        self._head, self._saved, self._told, self._changes = (w.HTML() for _ in range(4))
        self._kind = dropdown("Kind of fish", kind_options(self.draft), self._on_kind, width="430px")
        self._mode = w.RadioButtons(
            options=[_FORM, _SHEET],
            description="Look at",
            orientation="horizontal",
            style={"description_width": "initial"},
            layout=w.Layout(width="auto"),
        )
        self._mode.observe(self._on_mode, names="value")
        self._check_button = button("Check", self._on_check)
        self._save_button = button("Save", self._on_save)
        self.form, self.sheet = FormPart(self), SheetPart(self)
        self.conflicts = ConflictPart(self)
        self._elsewhere = _SaveElsewhere(self)
        self.folds = Folds(
            [
                ("Add a kind", AddKind(self)),
                ("Add a trait", AddTrait(self)),
                ("Read a spreadsheet", ImportPart(self)),
                ("Take this kind out", TakeOut(self)),
                (_ELSEWHERE, self._elsewhere),
                ("Undo all changes", UndoAll(self)),
            ]
        )

    def _laid_out(self) -> list[w.Widget]:
        """Put what is pressed again and again at the top; what is told stands beside the form."""
        self._head.add_class("idk-edit-head")
        tools = row(self._kind, self._mode, self._check_button, self._save_button, name="idk-tools")
        told = w.VBox([self._told, self._changes], layout=w.Layout(flex="1 1 340px", min_width="0"))
        self.form.layout = w.Layout(flex="2 1 520px", min_width="0", margin="0 24px 8px 0")
        # The sheet needs the whole width; what is told goes below it.
        self.sheet.layout = w.Layout(flex="1 1 100%", min_width="0", margin="0 0 8px 0")
        body = w.HBox(
            [self.form, self.sheet, told], layout=w.Layout(flex_flow="row wrap", align_items="flex-start")
        )
        return [self._head, tools, self._alert, self._saved, self.conflicts, self.folds, body]

    # -- what the person does ---------------------------------------------------------------------

    @guarded
    def _on_kind(self, change: Any) -> None:
        if not self._updating:
            self.taxon = change["new"]
            self.folds.shut_all()
            self._refresh()

    @guarded
    def _on_mode(self, _change: Any) -> None:
        self._refresh()

    @guarded
    def _on_check(self, _button: w.Button) -> None:
        self.check()

    @guarded
    def _on_save(self, _button: w.Button) -> None:
        if self._folder is None and own_folder(self.draft.saved) is None:
            self.folds.open_one(_ELSEWHERE)
        else:
            self.save(self._folder)

    # -- checked and saved ------------------------------------------------------------------------

    def check(self) -> bool:
        """Check the draft and show what it does; False where something has to be mended first."""
        if self._show_problems():
            return False
        new = self.draft.made()
        self.change = what_changes(self.draft.saved, new, key=self._key or False, past=self._past)
        self._changes.value = change_html(self.change)
        if self._key is None:
            # It takes longest, so the rest stands there first.
            self._changes.value += _KEY_LATER
            self._key = build_key(self.draft.saved)
            self.change = what_changes(self.draft.saved, new, key=self._key, past=self._past)
            self._changes.value = change_html(self.change)
        self.table = new
        self._is_fresh = True
        self._told.value = self._told_html()
        return True

    def save(self, folder: str | Path | None = None) -> None:
        """Save the draft, to its own folder or to a new one."""
        if self._show_problems():
            return
        try:
            save_draft(self.draft, folder)
        except IdkeyError as error:
            # Nothing is lost: the draft is as it was, and another folder can take the whole.
            self.folds.open_one(_ELSEWHERE)
            self.changed()
            self.say(str(error))
            return
        self.table = self.draft.saved
        self._folder = self._key = None
        self.folds.shut_all()
        self.changed()
        self._saved.value = saved_html(own_folder(self.table))
        # The button that was pressed can't be pressed again.
        self._kind.focus()

    def _show_problems(self) -> bool:
        """List what has to be mended and go to the first of it; False where all is well."""
        html = problems_html(self.draft)
        if not html:
            return False
        self._changes.value = html
        for taxon, column in self.draft.wrong:
            self.go_to(taxon, column)
            break
        return True

    # -- what the person sees ---------------------------------------------------------------------

    def changed(self, taxon: str | None = None) -> None:
        """Show a draft that has been changed; `taxon` is chosen where it is given."""
        if taxon is not None:
            self.taxon = taxon
        if self.taxon not in self.draft.ids:
            self.taxon = kind_options(self.draft)[0][1]
        self._saved.value = ""
        self._is_fresh = False
        if self._changes.value and not self._changes.value.startswith(_STALE):
            self._changes.value = _STALE + self._changes.value
        self._refresh()

    def first(self) -> w.DOMWidget:
        """Return the control that the keyboard goes to when what had it is gone."""
        return self._kind

    def go_to(self, taxon: str, column: str) -> None:
        """Choose a kind and open one of its cells."""
        self.taxon = taxon
        self._refresh()
        (self.form if self._mode.value == _FORM else self.sheet).open_cell(column)

    def _refresh(self) -> None:
        draft = self.draft
        self._updating = True
        try:
            self._head.value = head_html(draft)
            options = kind_options(draft)
            if list(self._kind.options) != options:
                self._kind.options = options
            self._kind.value = self.taxon
        finally:
            self._updating = False
        is_form = self._mode.value == _FORM
        shown(self.form, is_form)
        shown(self.sheet, not is_form)
        (self.form if is_form else self.sheet).refresh()
        self._save_button.disabled = not draft.is_changed
        self._told.value = self._told_html()

    def _told_html(self) -> str:
        """Tell at once which kinds a kind that was changed can't be told from."""
        touched = self.taxon in self.draft.new or any(t == self.taxon for t, _ in self.draft.changed)
        table = self.draft.sound()
        # A check that still holds has said it already.
        if not touched or self._is_fresh or self.taxon not in table.taxa.index:
            return ""
        return apart_html(apart(table, self.taxon))

    # -- what is saved in the notebook --------------------------------------------------------------

    def _static_html(self) -> str:
        return "\n".join([draft_html(self.draft), *([change_html(self.change)] if self.change else [])])

    def _static_text(self) -> str:
        return "\n\n".join([draft_text(self.draft), *([change_text(self.change)] if self.change else [])])


class _SaveElsewhere(Part):
    """A folder to save to."""

    def __init__(self, editor: TableEditor):
        self._folder = field("New folder", hint="my_traits", width="420px")
        self._save = button("Save there", self._on_save)
        self._note = w.HTML()
        super().__init__(editor)
        self.children = [self._note, row(self._folder, self._save)]

    def first(self) -> w.DOMWidget:
        """Return the control that the keyboard goes to first."""
        return self._folder

    def opened(self) -> None:
        """Say what will be in the folder."""
        self._note.value = elsewhere_html(shipped=is_shipped(self.draft.saved))

    @guarded
    def _on_save(self, _button: w.Button) -> None:
        folder = self._folder.value.strip()
        if not folder:
            msg = "Name the folder first: a new one, beside the notebook or anywhere else."
            raise IdkeyError(msg)
        self.editor.save(folder)
