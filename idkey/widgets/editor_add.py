"""A new kind, a new trait, and a kind taken out of the table."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING, Any

import ipywidgets as w

from idkey.table.layout import UNITS
from idkey.table.typed import new_trait, proposed_id
from idkey.views.edit import name_choices
from idkey.widgets.base import guarded, shown
from idkey.widgets.editor_parts import Part, area, button, dropdown, field, row

if TYPE_CHECKING:
    from idkey.widgets.editor import TableEditor

__all__ = ["AddKind", "AddTrait", "TakeOut", "UndoAll"]

_KINDS = (
    ("states, in no order", "nominal"),
    ("states in an order", "ordinal"),
    ("a number or a range", "measure"),
    ("largest known length", "ceiling"),
)


class AddKind(Part):
    """A form for a new kind; an id is proposed from its name."""

    def __init__(self, editor: TableEditor):
        self._proposed = ""
        self._name = field("Scientific name", self._on_name, hint="Hypancistrus sp.", width="360px")
        self._code = field("Trade code", self._on_name, hint="L999", width="200px")
        self._group = dropdown("Care group", [("not chosen", "")], width="300px")
        self._id = field("Id in the table", hint="lower case, digits and _", width="360px")
        self._add = button("Add this kind", self._on_add)
        super().__init__(editor)
        self.children = [row(self._name, self._code, self._group), row(self._id, self._add)]
        names = self.draft.names
        shown(self._name, "scientificName" in names)
        shown(self._code, "tradeCode" in names)
        shown(self._group, "careGroup" in names)

    def first(self) -> w.DOMWidget:
        """Return the control that the keyboard goes to first."""
        return self._name if "scientificName" in self.draft.names else self._id

    def opened(self) -> None:
        """Offer the care groups of the table."""
        if "careGroup" in self.draft.names:
            self._group.options = name_choices(self.draft, "careGroup")

    @guarded
    def _on_name(self, _change: Any) -> None:
        if self._id.value.strip() in ("", self._proposed):
            name = self._name.value
            self._proposed = proposed_id(self.draft.ids, name, self._code.value) if name.strip() else ""
            self._id.value = self._proposed

    @guarded
    def _on_add(self, _button: w.Button) -> None:
        given = {
            "scientificName": " ".join(self._name.value.split()),
            "genus": self._name.value.partition(" ")[0],
            "tradeCode": self._code.value.strip(),
            "careGroup": self._group.value,
        }
        texts = {column: text for column, text in given.items() if column in self.draft.names}
        taxon = self._id.value.strip()
        self.draft.add(taxon, **texts)
        self._name.value = self._code.value = self._id.value = ""
        self.editor.changed(taxon)
        self.editor.folds.shut_all()
        self.editor.go_to(taxon, self.draft.wide.traits[0].id)


class AddTrait(Part):
    """A form for a new trait."""

    def __init__(self, editor: TableEditor):
        self._label = field("Short name", hint="Eye ring", width="300px")
        self._kind = dropdown("It is answered with", _KINDS, self._on_kind, width="360px")
        self._unit = dropdown("Unit", [(unit, unit) for unit in UNITS if unit], width="180px")
        self._question = field("Question", hint="Is there a pale ring round the eye?", width="560px")
        self._states = area("States, one a line", hint="no ring\npale ring")
        self._adult = w.Checkbox(
            value=False,
            description="Says nothing about young fish",
            indent=False,
            layout=w.Layout(width="auto"),
        )
        self._add = button("Add this trait", self._on_add)
        super().__init__(editor)
        self.children = [
            row(self._label, self._kind, self._unit),
            self._question,
            self._states,
            row(self._adult, self._add),
        ]
        self._show_fields()

    def first(self) -> w.DOMWidget:
        """Return the control that the keyboard goes to first."""
        return self._label

    def _show_fields(self) -> None:
        states = self._kind.value in ("nominal", "ordinal")
        shown(self._states, states)
        shown(self._unit, not states)

    @guarded
    def _on_kind(self, _change: Any) -> None:
        self._show_fields()

    @guarded
    def _on_add(self, _button: w.Button) -> None:
        trait = new_trait(
            self._label.value,
            self._kind.value,
            states=self._states.value,
            unit=self._unit.value,
            question=self._question.value,
            needs_adult=self._adult.value,
        )
        self.draft.add_trait(trait)
        self._label.value = self._question.value = self._states.value = ""
        self._adult.value = False
        self.editor.changed()
        self.editor.folds.shut_all()
        self.editor.go_to(self.editor.taxon, trait.id)


class TakeOut(Part):
    """Asks before a kind is taken out; one that is taken out can be put back until it is saved."""

    def __init__(self, editor: TableEditor):
        self._asks = w.HTML()
        self._yes = button("Yes, take it out", self._on_yes)
        self._back = button("Put it back", self._on_back)
        super().__init__(editor)
        self.children = [self._asks, row(self._yes, self._back)]

    def first(self) -> w.DOMWidget:
        """Return the control that the keyboard goes to first."""
        return self._back if self._is_out else self._yes

    @property
    def _is_out(self) -> bool:
        return self.editor.taxon in self.draft.removed

    def opened(self) -> None:
        """Ask about the kind that is chosen."""
        name = escape(self.draft.label(self.editor.taxon))
        asks = f"{name} is taken out; saving leaves it out." if self._is_out else f"Take out {name}?"
        note = "" if self._is_out else " Until you save it can be put back; a new kind is forgotten at once."
        self._asks.value = f"<p>{asks}{note}</p>"
        shown(self._yes, not self._is_out)
        shown(self._back, self._is_out)

    @guarded
    def _on_yes(self, _button: w.Button) -> None:
        self.draft.remove(self.editor.taxon)
        self._close()

    @guarded
    def _on_back(self, _button: w.Button) -> None:
        self.draft.put_back(self.editor.taxon)
        self._close()

    def _close(self) -> None:
        self.editor.changed()
        self.editor.folds.leave()


class UndoAll(Part):
    """Asks before all changes are forgotten."""

    def __init__(self, editor: TableEditor):
        self._yes = button("Yes, undo all of it", self._on_yes)
        super().__init__(editor)
        self.children = [
            w.HTML("<p>Go back to the table as it is saved? What is not saved is lost.</p>"),
            self._yes,
        ]

    def first(self) -> w.DOMWidget:
        """Return the control that the keyboard goes to first."""
        return self._yes

    @guarded
    def _on_yes(self, _button: w.Button) -> None:
        self.draft.revert_all()
        self.editor.changed()
        self.editor.folds.leave()
