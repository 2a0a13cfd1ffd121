"""What is opened beside the form: new kinds and traits, a spreadsheet, conflicts, another folder."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import ipywidgets as w

from idkey.errors import IdkeyError
from idkey.table.draft import is_shipped
from idkey.table.fields import UNITS
from idkey.table.folder import settle
from idkey.table.names import new_id
from idkey.table.reading import new_trait
from idkey.table.spreadsheet import Import, read_spreadsheet
from idkey.views import edit, html
from idkey.views.words import number_of
from idkey.widgets.base import Screen, area, checkbox, dropdown, field, row, shown
from idkey.widgets.editor_form import EditorPart

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
