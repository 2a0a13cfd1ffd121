"""The table editor: kinds added and cells changed, told at once what that does, and saved in one step."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import partial
from pathlib import Path
from typing import Any, Literal

import ipywidgets as w

from idkey import display
from idkey.arguments import checked
from idkey.errors import IdkeyError
from idkey.model.changes import Change, Past, what_changes
from idkey.model.key import Key, build_key
from idkey.model.lookalikes import apart
from idkey.table.draft import Draft, is_shipped, own_folder
from idkey.table.fields import UNITS
from idkey.table.folder import load_table, settle
from idkey.table.names import new_id
from idkey.table.reading import new_trait
from idkey.table.spreadsheet import Import, read_spreadsheet
from idkey.table.table import TraitTable
from idkey.table.units import number_of
from idkey.views import edit, html
from idkey.widgets.base import (
    Screen,
    area,
    checkbox,
    choose,
    dropdown,
    field,
    folds,
    row,
    shown,
    told_apart,
)
from idkey.widgets.editor_form import EditorPart, FormPart

_FORM, _SHEET = "one kind as a form", "all kinds as a sheet"
_ELSEWHERE = "Save to another folder"
_KEY_LATER = '<p class="idk-soft" role="status">What it does to the key is being worked out.</p>'
_STALE = '<p class="idk-soft">Something was changed after this was checked.</p>'
_KINDS = (
    ("states, in no order", "nominal"),
    ("states in an order", "ordinal"),
    ("a number or a range", "measure"),
    ("largest known length", "ceiling"),
)
_OWN = (
    "The shipped table is not saved over. The folder will hold a table of your own; when there is a better "
    "shipped table, the two are merged."
)
_WHOLE = "The folder will hold the whole table. It must be new or empty."


@checked
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
        self.form, self.conflicts = FormPart(self), ConflictPart(self)
        parts = {
            "Add a kind": AddKind(self),
            "Add a trait": AddTrait(self),
            "Read a spreadsheet": ImportPart(self),
            "Take this kind out": Confirm(self, take_out),
            _ELSEWHERE: SaveElsewhere(self),
            "Undo all changes": Confirm(self, undo_all),
        }
        opened = ((words, part, partial(self._before, part)) for words, part in parts.items())
        self.folds = folds(self, opened)
        self.children = [self._top, *self._laid_out()]
        self._refresh()

    def _laid_out(self) -> list[w.Widget]:
        """Put what is pressed again and again at the top; what is told stands beside the form."""
        self._head.add_class("idk-edit-head")
        chosen = row(self._kind, self._mode, self._check_button, self._save_button, name="idk-tools")
        openers = row(*(fold.button for fold in self.folds.values()), name="idk-tools")
        parts = [fold.box for fold in self.folds.values()]
        told = w.VBox([self._told, self._changes], layout=w.Layout(flex="1 1 340px", min_width="0"))
        self.form.layout.min_width, self.form.layout.margin = "0", "0 24px 8px 0"
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
            self._head.value = edit.head_html(self.draft)
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


# -- what is opened beside the form: a kind, a trait, a sheet, conflicts, another folder ---------------------


class AddKind(EditorPart):
    """A form for a new kind; an id is proposed from its name."""

    def __init__(self, desk: Screen):
        super().__init__(desk)
        self._proposed = ""
        name = field("Scientific name", hint="Hypancistrus sp.", width="360px")
        self._name = self.watch(name, self._propose)
        self._code = self.watch(field("Trade code", hint="L999", width="200px"), self._propose)
        self._group = dropdown("Care group", [("not chosen", "")], width="300px")
        self._id = field("Id in the table", hint="lower case, digits and _", width="360px")
        self._add = self.button("Add this kind", self._on_add)
        self.children = [row(self._name, self._code, self._group), row(self._id, self._add)]
        names = {"scientificName": self._name, "tradeCode": self._code, "careGroup": self._group}
        for column, control in names.items():
            shown(control, column in self.draft.names)

    def refresh(self) -> None:
        """Offer the care groups of the table."""
        self._group.options = edit.name_choices(self.draft, "careGroup") or self._group.options

    def _propose(self, _value: str) -> None:
        if self._id.value.strip() in ("", self._proposed):
            name = self._name.value
            self._proposed = new_id(self.draft.ids, name, self._code.value) if name.strip() else ""
            self._id.value = self._proposed

    def _on_add(self) -> None:
        taxon, name = self._id.value.strip(), " ".join(self._name.value.split())
        given = {"scientificName": name, "genus": name.partition(" ")[0]}
        given |= {"tradeCode": self._code.value.strip(), "careGroup": self._group.value}
        self.draft.add(taxon, **{c: text for c, text in given.items() if c in self.draft.names})
        self._name.value = self._code.value = self._id.value = ""
        self.desk.done(taxon, self.draft.wide.trait_ids[0])


class AddTrait(EditorPart):
    """A form for a new trait."""

    def __init__(self, desk: Screen):
        super().__init__(desk)
        self._label = field("Short name", hint="Eye ring")
        self._kind = self.watch(dropdown("It is answered with", _KINDS, width="360px"), self._show_fields)
        self._unit = dropdown("Unit", [(unit, unit) for unit in UNITS if unit], width="180px")
        self._question = field("Question", hint="Is there a pale ring round the eye?", width="560px")
        self._states = area("States, one a line", hint="no ring\npale ring")
        self._adult = checkbox("Says nothing about young fish")
        self._add = self.button("Add this trait", self._on_add)
        head, last = row(self._label, self._kind, self._unit), row(self._adult, self._add)
        self.children = [head, self._question, self._states, last]
        self._show_fields(self._kind.value)

    def _show_fields(self, kind: str) -> None:
        states = kind in ("nominal", "ordinal")
        shown(self._states, states)
        shown(self._unit, not states)

    def _on_add(self) -> None:
        given = {"states": self._states, "unit": self._unit, "question": self._question}
        texts = {name: control.value for name, control in given.items()}
        trait = new_trait(self._label.value, self._kind.value, needs_adult=self._adult.value, **texts)
        self.draft.add_trait(trait)
        self._label.value = self._question.value = self._states.value = ""
        self._adult.value = False
        self.desk.done(column=trait.id)


class ImportPart(EditorPart):
    """A spreadsheet read into the draft, after a look at what was understood."""

    def __init__(self, desk: Screen):
        super().__init__(desk)
        self._path = field("File", hint="my_kinds.xlsx or my_kinds.csv", width="420px")
        self._sheet = field("Sheet", hint="the first that names kinds")
        self._look = self.button("Read it", self._on_look)
        self._report = w.HTML()
        self._take = self.button("Take these into the draft", self._on_take)
        self.children = [row(self._path, self._sheet, self._look), self._report, self._take]
        self._show(None, "")

    def _show(self, read: Import | None, report: str) -> None:
        self._read, self._report.value = read, report
        shown(self._take, read is not None and bool(read.changes))

    def _on_look(self) -> None:
        self._show(None, "")
        sheet = self._sheet.value.strip() or None
        read = read_spreadsheet(self._path.value.strip(), self.draft.sound, sheet=sheet)
        self._show(read, edit.report_html(read))

    def _on_take(self) -> None:
        if self._read is not None:
            cells = number_of(self.draft.take(self._read.changes, self._read.claims), "cell")
            self._show(None, html.status(f"{cells} taken into the draft; nothing is saved yet."))
            self.desk.changed()
            self._path.focus()


class ConflictPart(EditorPart):
    """Where the shipped table and the keeper's own say different things, one conflict at a time."""

    def __init__(self, desk: Screen):
        super().__init__(desk)
        self._at = 0
        self._shows = w.HTML()
        self._shipped = self.button("Keep what the shipped table says", self._settle, "shipped")
        self._own = self.button("Keep mine", self._settle, "own")
        self._later = self.button("Show the next one", self._on_later)
        self.children = [self._shows, row(self._shipped, self._own, self._later)]
        self.add_class("idk-edit-part")

    def refresh(self) -> None:
        """Show the conflict it stands at; hidden where there is none."""
        conflicts = self.draft.saved.conflicts
        shown(self, bool(conflicts))
        if conflicts:
            self._at %= len(conflicts)
            conflict = conflicts[self._at]
            self._shows.value = edit.conflict_html(conflict, self._at + 1, len(conflicts))
            shown(self._later, len(conflicts) > 1)

    def _on_later(self) -> None:
        self._at += 1
        self.refresh()

    def _settle(self, keep: str) -> None:
        saved = self.draft.saved
        if saved.origin is not None:
            self.draft.rebase(settle(saved.origin.folder, saved.conflicts[self._at], keep))
            self.desk.done()
            # The button that was pressed may be gone.
            if self.draft.saved.conflicts:
                self._shipped.focus()


class Confirm(EditorPart):
    """A question before something is done; `asks` gives its words, the words of the button, and the act."""

    def __init__(self, desk: Screen, asks: Callable[[Screen], tuple[str, str, Callable[[], None]]]):
        super().__init__(desk)
        self._asks, self._words, self._yes = asks, w.HTML(), self.button("", self._on_yes)
        self.children = [self._words, self._yes]

    def refresh(self) -> None:
        """Ask about the kind that is chosen."""
        words, self._yes.description, self._act = self._asks(self.desk)
        self._words.value = html.status(words)

    def _on_yes(self) -> None:
        self._act()
        self.desk.done()


def take_out(desk: Screen) -> tuple[str, str, Callable[[], None]]:
    """Ask whether the kind is to be taken out; until it is saved it can be put back."""
    name, draft = desk.draft.label(desk.taxon), desk.draft
    if desk.taxon in draft.removed:
        words = f"{name} is taken out; saving leaves it out."
        return words, "Put it back", partial(draft.put_back, desk.taxon)
    words = f"Take out {name}? Until you save it can be put back; a new kind is forgotten at once."
    return words, "Yes, take it out", partial(draft.remove, desk.taxon)


def undo_all(desk: Screen) -> tuple[str, str, Callable[[], None]]:
    """Ask whether all changes are to be forgotten."""
    words = "Go back to the table as it is saved? What is not saved is lost."
    return words, "Yes, undo all of it", desk.draft.revert_all


class SaveElsewhere(EditorPart):
    """A folder to save to."""

    def __init__(self, desk: Screen):
        super().__init__(desk)
        self._folder = field("New folder", hint="my_traits", width="420px")
        self._save = self.button("Save there", self._on_save)
        self._note = w.HTML()
        self.children = [self._note, row(self._folder, self._save)]

    def refresh(self) -> None:
        """Say what will be in the folder."""
        self._note.value = html.status(_OWN if is_shipped(self.draft.saved) else _WHOLE)

    def _on_save(self) -> None:
        folder = self._folder.value.strip()
        if not folder:
            raise IdkeyError("Name the folder first: a new one, beside the notebook or anywhere else.")
        self.desk.save(folder)
