"""One kind as a form: its names, and one line a trait that opens to the cell."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import ipywidgets as w

from idkey.table.schema import YOUNG, Trait
from idkey.views.edit import column_words, line_html, name_choices
from idkey.widgets.base import guarded, shown
from idkey.widgets.editor_cell import CellPart
from idkey.widgets.editor_parts import Part, button, dropdown, field, row

if TYPE_CHECKING:
    from idkey.widgets.editor import TableEditor

__all__ = ["FormPart"]

_NAMES, _HIDE_NAMES = "Names and care group", "Hide names and care group"
_CORE, _ALL = "core", "all"
_SHOW = (
    ("traits every kind should have", _CORE),
    ("all traits", _ALL),
    ("what is known", "known"),
    ("what is not known", "blank"),
    ("what is changed or to mend", "changed"),
)


class _Line(w.HBox):
    """One trait of the kind in one line, with the button that opens it."""

    def __init__(self, trait: Trait, form: FormPart):
        self._trait, self._form = trait, form
        self.line = w.HTML(layout=w.Layout(flex="1 1 260px", min_width="0"))
        self.button = button(f"Change {trait.name.lower()}", self._on_open)
        super().__init__([self.line, self.button])
        self.layout = w.Layout(flex_flow="row wrap", align_items="center")
        self.add_class("idk-edit-line")

    def say(self, message: str) -> None:
        """Show a message on the screen."""
        self._form.say(message)

    @guarded
    def _on_open(self, _button: w.Button) -> None:
        self._form.open_cell(self._trait.id)


class FormPart(Part):
    """The form of the kind that is chosen."""

    def __init__(self, editor: TableEditor):
        self._opened = ""
        self._lines: dict[str, _Line] = {}
        self._names: dict[str, w.Text | w.Dropdown] = {}
        self._names_toggle = button(_NAMES, self._on_names)
        self._names_box = row()
        self._none = w.HTML('<p class="idk-soft">No trait of this sort.</p>')
        self.cell = CellPart(editor, self._on_next, self._on_done)
        self._rows = w.VBox()
        self._rows.add_class("idk-edit-lines")
        super().__init__(editor)
        show = _SHOW if any(t.core for t in self.draft.wide.traits) else _SHOW[1:]
        self._show = dropdown("Show", show, self._on_show, width="330px")
        self.children = [row(self._show, self._names_toggle), self._names_box, self._none, self._rows]
        shown(self._names_toggle, bool(self.draft.names))
        shown(self._names_box, False)
        shown(self.cell, False)

    def first(self) -> w.DOMWidget:
        """Return the control that the keyboard goes to first."""
        return self._show

    # -- what the person does ---------------------------------------------------------------------

    @guarded
    def _on_show(self, _change: Any) -> None:
        self.refresh()

    @guarded
    def _on_names(self, _button: w.Button) -> None:
        self.open_names(self._names_toggle.description == _NAMES)

    @guarded
    def _on_name(self, change: Any) -> None:
        if not self._updating:
            column = next(c for c, control in self._names.items() if control is change["owner"])
            self.draft.set(self.editor.taxon, column, change["new"])
            self.editor.changed()

    @guarded
    def _on_next(self, _button: w.Button) -> None:
        wanted = [trait.id for trait in self._wanted()]
        at = wanted.index(self._opened) + 1 if self._opened in wanted else 0
        if at < len(wanted):
            self.open_cell(wanted[at])
        else:
            self._shut()

    @guarded
    def _on_done(self, _button: w.Button) -> None:
        self._shut()

    # -- what the person sees ---------------------------------------------------------------------

    def open_cell(self, column: str) -> None:
        """Open a cell of the kind and put the keyboard there."""
        if column in self.draft.names:
            self.open_names(True)
            self._names[column].focus()
            return
        self._opened = self.draft.wide.trait_of(column).id
        self.refresh()
        self.cell.show(self.editor.taxon, column)
        self.cell.first().focus()

    def open_names(self, show: bool) -> None:
        """Show the names of the kind, or hide them."""
        if show and not self._names:
            self._make_names()
        shown(self._names_box, show)
        self._names_toggle.description = _HIDE_NAMES if show else _NAMES
        self.refresh()

    def _shut(self) -> None:
        was, self._opened = self._opened, ""
        self.refresh()
        self._lines[was].button.focus()

    def _make_names(self) -> None:
        for column in self.draft.names:
            choices = name_choices(self.draft, column)
            words = column_words(self.draft, column)
            if choices:
                control = dropdown(words, choices, self._on_name, width="330px")
            else:
                control = field(words, self._on_name, width="330px")
            self._names[column] = control
        self._names_box.children = tuple(self._names.values())

    def refresh(self) -> None:
        """Show the kind as it stands now."""
        taxon, draft = self.editor.taxon, self.draft
        wanted = {trait.id: i for i, trait in enumerate(self._wanted())}
        fresh = [trait for trait in draft.wide.traits if trait.id in wanted and trait.id not in self._lines]
        for trait in fresh:
            self._lines[trait.id] = _Line(trait, self)
        if fresh or not self._rows.children:
            self._rows.children = (self.cell, *self._lines.values())
        for trait in draft.wide.traits:
            line = self._lines.get(trait.id)
            if line is None:
                continue
            shown(line, trait.id in wanted)
            if trait.id in wanted:
                # The cell is put under its line by order: moved in the list it would be built anew.
                line.layout.order = str(2 * wanted[trait.id])
                html = line_html(draft, taxon, trait)
                if line.line.value != html:
                    line.line.value = html
        for trait_id in set(self._lines) - set(draft.wide.trait_ids):
            shown(self._lines[trait_id], False)
        shown(self._none, not wanted)
        is_open = self._opened in wanted
        shown(self.cell, is_open)
        if is_open:
            self.cell.layout.order = str(2 * wanted[self._opened] + 1)
            young = self.cell.column == self._opened + YOUNG
            self.cell.show(taxon, self.cell.column if young else self._opened)
        self._refresh_names(taxon)

    def _refresh_names(self, taxon: str) -> None:
        self._updating = True
        try:
            for column, control in self._names.items():
                text = self.draft.text(taxon, column)
                if isinstance(control, w.Dropdown):
                    choices = name_choices(self.draft, column, text)
                    if list(control.options) != choices:
                        control.options = choices
                control.value = text
        finally:
            self._updating = False

    def _wanted(self) -> list[Trait]:
        """Return the traits to show; the one that is open stays."""
        return [t for t in self.draft.wide.traits if t.id == self._opened or self._is_wanted(t)]

    def _is_wanted(self, trait: Trait) -> bool:
        taxon, draft, show = self.editor.taxon, self.draft, self._show.value
        if show in (_CORE, _ALL):
            return trait.core or show == _ALL
        places = [(taxon, trait.id), (taxon, trait.id + YOUNG)]
        if show == "changed":
            return any(p in draft.changed or p in draft.claims or p in draft.wrong for p in places)
        known = any(draft.text(*p).strip() for p in places)
        return known == (show == "known")
