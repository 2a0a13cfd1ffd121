"""The table editor: kinds added and cells changed, told at once what that does, and saved in one step."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import partial
from pathlib import Path
from typing import Any

import ipywidgets as w

from idkey.errors import IdkeyError
from idkey.model.change import Change, what_changes
from idkey.model.identify import Identification
from idkey.model.key import Key, build_key
from idkey.model.lookalikes import apart
from idkey.table.draft import Draft, is_shipped, own_folder
from idkey.table.files import load_table
from idkey.table.table import TraitTable
from idkey.views.change import apart_html, change_html, change_text
from idkey.views.edit import (
    draft_html,
    draft_text,
    elsewhere_html,
    head_html,
    kind_marks,
    problems_html,
    saved_html,
    take_out_html,
)
from idkey.widgets.base import Screen, dropdown, field, first_control, row, shown, style_element, told_apart
from idkey.widgets.editor_form import Desk, EditorPart, FormPart
from idkey.widgets.editor_sheet import AddKind, AddTrait, ConflictPart, ImportPart, SheetPart

__all__ = ["TableEditor", "table_editor"]

_FORM, _SHEET = "one kind as a form", "all kinds as a sheet"
_ELSEWHERE = "Save to another folder"
_CLOSE = "Close: "
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
    """

    def __init__(
        self,
        table: TraitTable,
        folder: str | Path | None = None,
        past: Iterable[Identification | Mapping[str, Any]] = (),
    ):
        super().__init__()
        self.table = table
        self.draft = Draft(table)
        self.change: Change | None = None
        self._folder = folder
        self._is_fresh = False
        self._past = tuple(past)
        self._key: Key | None = None
        kinds = self._kinds()
        self._desk = Desk(self.draft, kinds[0][1], self.say, self.changed, self._open_cell, self._leave)
        self._head, self._saved, self._told, self._changes = (w.HTML() for _ in range(4))
        self._kind = self.watch(dropdown("Kind of fish", kinds, width="430px"), self._on_kind)
        self._mode = self.watch(
            w.RadioButtons(
                options=[_FORM, _SHEET],
                description="Look at",
                orientation="horizontal",
                style={"description_width": "initial"},
                layout=w.Layout(width="auto"),
            ),
            lambda _mode: self._refresh(),
        )
        self._check_button = self.button("Check", self.check)
        self._save_button = self.button("Save", self._on_save)
        self.form, self.sheet, self.conflicts = (
            part(self._desk) for part in (FormPart, SheetPart, ConflictPart)
        )
        self.parts: dict[str, EditorPart] = {
            "Add a kind": AddKind(self._desk),
            "Add a trait": AddTrait(self._desk),
            "Read a spreadsheet": ImportPart(self._desk),
            "Take this kind out": _TakeOut(self._desk),
            _ELSEWHERE: _SaveElsewhere(self._desk, self.save),
            "Undo all changes": _UndoAll(self._desk),
        }
        self.openers = {title: self.button(title, partial(self._on_opener, title)) for title in self.parts}
        self.children = [style_element(), *self._laid_out()]
        self._refresh()
        self._open("")

    @property
    def taxon(self) -> str:
        """The kind that is chosen."""
        return self._desk.taxon

    def _laid_out(self) -> list[w.Widget]:
        """Put what is pressed again and again at the top; what is told stands beside the form."""
        self._head.add_class("idk-edit-head")
        tools = row(self._kind, self._mode, self._check_button, self._save_button, name="idk-tools")
        openers = row(*self.openers.values(), name="idk-tools")
        for part in self.parts.values():
            part.add_class("idk-edit-part")
        told = w.VBox([self._told, self._changes], layout=w.Layout(flex="1 1 340px", min_width="0"))
        self.form.layout = w.Layout(flex="2 1 520px", min_width="0", margin="0 24px 8px 0")
        # The sheet needs the whole width; what is told goes below it.
        self.sheet.layout = w.Layout(flex="1 1 100%", min_width="0", margin="0 0 8px 0")
        body = w.HBox(
            [self.form, self.sheet, told], layout=w.Layout(flex_flow="row wrap", align_items="flex-start")
        )
        above = [self._head, tools, self._alert, self._saved, self.conflicts]
        return [*above, openers, *self.parts.values(), body]

    # -- what the person does ---------------------------------------------------------------------

    def _on_kind(self, taxon: str) -> None:
        self._desk.taxon = taxon
        self._open("")
        self._refresh()

    def _on_opener(self, title: str) -> None:
        self._open(title if self.openers[title].description == title else "")

    def _on_save(self) -> None:
        if self._folder is None and own_folder(self.draft.saved) is None:
            self._open(_ELSEWHERE)
        else:
            self.save(self._folder)

    def _open(self, wanted: str) -> None:
        """Open one part below the buttons and put the keyboard there; a blank title shuts all."""
        for title, part in self.parts.items():
            is_open = title == wanted
            shown(part, is_open)
            self.openers[title].description = f"{_CLOSE}{title}" if is_open else title
            if is_open:
                part.refresh()
                (first_control(part) or self._kind).focus()

    def _leave(self) -> None:
        """Shut the part that is open; the keyboard goes back to its button, or to the kinds."""
        opened = [title for title, part in self.parts.items() if part.layout.display != "none"]
        self._open("")
        (self.openers[opened[0]] if opened else self._kind).focus()

    # -- checked and saved ------------------------------------------------------------------------

    def check(self) -> None:
        """Check the draft and show what it does, or what has to be mended first."""
        if self._show_problems():
            return
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

    def save(self, folder: str | Path | None = None) -> None:
        """Save the draft, to its own folder or to a new one."""
        if self._show_problems():
            return
        try:
            self.draft.save(folder)
        except IdkeyError:
            # Nothing is lost: the draft is as it was, and another folder can take the whole.
            self._open(_ELSEWHERE)
            self.changed()
            raise
        self.table = self.draft.saved
        self._folder = self._key = None
        self._open("")
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
            self._desk.taxon = taxon
            self._refresh()
            self._open_cell(column)
            break
        return True

    # -- what the person sees ---------------------------------------------------------------------

    def changed(self, taxon: str | None = None) -> None:
        """Show a draft that has been changed; `taxon` is chosen where it is given."""
        self._desk.taxon = taxon or self.taxon
        self._saved.value = ""
        self._is_fresh = False
        if self._changes.value and not self._changes.value.startswith(_STALE):
            self._changes.value = _STALE + self._changes.value
        self._refresh()

    def _kinds(self) -> list[tuple[str, str]]:
        marks = kind_marks(self.draft)
        labels = told_apart((self.draft.label(taxon), taxon) for taxon in self.draft.ids)
        return [(f"{label}{marks.get(taxon, '')}", taxon) for label, taxon in labels]

    @property
    def _shows(self) -> FormPart | SheetPart:
        return self.form if self._mode.value == _FORM else self.sheet

    def _open_cell(self, column: str) -> None:
        self._shows.open_cell(column)

    def _refresh(self) -> None:
        kinds = self._kinds()
        if self.taxon not in self.draft.ids:
            self._desk.taxon = kinds[0][1]
        with self.filling():
            self._head.value = head_html(self.draft)
            if list(self._kind.options) != kinds:
                self._kind.options = kinds
            self._kind.value = self.taxon
        for part in (self.form, self.sheet):
            shown(part, part is self._shows)
        self._shows.refresh()
        self.conflicts.refresh()
        self._save_button.disabled = not self.draft.is_changed
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


class _TakeOut(EditorPart):
    """Asks before a kind is taken out; one that is taken out can be put back until it is saved."""

    def __init__(self, desk: Desk):
        super().__init__(desk)
        self._asks = w.HTML()
        self._yes = self.button("Yes, take it out", lambda: self._do(self.draft.remove))
        self._back = self.button("Put it back", lambda: self._do(self.draft.put_back))
        self.children = [self._asks, row(self._yes, self._back)]

    def refresh(self) -> None:
        """Ask about the kind that is chosen."""
        is_out = self.desk.taxon in self.draft.removed
        self._asks.value = take_out_html(self.draft, self.desk.taxon)
        shown(self._yes, not is_out)
        shown(self._back, is_out)

    def _do(self, act: Any) -> None:
        act(self.desk.taxon)
        self.desk.changed()
        self.desk.leave()


class _UndoAll(EditorPart):
    """Asks before all changes are forgotten."""

    def __init__(self, desk: Desk):
        super().__init__(desk)
        self._yes = self.button("Yes, undo all of it", self._on_yes)
        asks = w.HTML("<p>Go back to the table as it is saved? What is not saved is lost.</p>")
        self.children = [asks, self._yes]

    def _on_yes(self) -> None:
        self.draft.revert_all()
        self.desk.changed()
        self.desk.leave()


class _SaveElsewhere(EditorPart):
    """A folder to save to."""

    def __init__(self, desk: Desk, save: Any):
        super().__init__(desk)
        self._save_to = save
        self._folder = field("New folder", hint="my_traits", width="420px")
        self._save = self.button("Save there", self._on_save)
        self._note = w.HTML()
        self.children = [self._note, row(self._folder, self._save)]

    def refresh(self) -> None:
        """Say what will be in the folder."""
        self._note.value = elsewhere_html(shipped=is_shipped(self.draft.saved))

    def _on_save(self) -> None:
        folder = self._folder.value.strip()
        if not folder:
            msg = "Name the folder first: a new one, beside the notebook or anywhere else."
            raise IdkeyError(msg)
        self._save_to(folder)
