"""One kind as a form: its names, a line a trait that opens to the cell, and where the cell stands written."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import ipywidgets as w

from idkey.model.lengths import in_millimetres
from idkey.table.claims import CLASSES, SCOPES, Claim
from idkey.table.draft import Draft
from idkey.table.schema import YOUNG, Trait
from idkey.table.typed import joined, parted, states_in, toggled
from idkey.views import edit
from idkey.widgets.base import Fold, Part, area, dropdown, field, first_control, row, shown, tick
from idkey.widgets.state_choice import StateChoices

__all__ = ["Desk", "EditorPart", "FormPart"]

_NAMES, _HIDE_NAMES = "Names and care group", "Hide names and care group"
_YOUNG, _ADULT = "Young fish differ", "Back to adult fish"
_GIVE, _HIDE = "Give a source", "Hide the source fields"
_NEW, _HIDE_NEW = "A source that is not in the list", "Hide the new source"
_BIBTEX = "@book{KEY,\n  author = {...},\n  title = {...},\n  year = {...},\n}"
_CORE, _ALL, _CHANGED, _KNOWN, _BLANK = "core", "all", "changed", "known", "blank"
_SHOW = (
    ("traits every kind should have", _CORE),
    ("all traits", _ALL),
    ("what is known", _KNOWN),
    ("what is not known", _BLANK),
    ("what is changed or to mend", _CHANGED),
)


@dataclass
class Desk:
    """What the parts of the editor work on, and what they ask of the whole screen."""

    draft: Draft
    taxon: str
    """The kind that is chosen."""
    say: Callable[[str], None]
    """Shows a message."""
    changed: Callable[[], None]
    """Shows the draft after a change."""
    done: Callable[..., None]
    """The same, with what was opened by a button shut: `done(taxon, column)` goes on to a cell."""


class EditorPart(Part):
    """A part of the editor."""

    def __init__(self, desk: Desk):
        self.desk, self.draft = desk, desk.draft
        super().__init__(desk.say)

    def refresh(self) -> None:
        """Show the draft as it stands now."""


class FormPart(EditorPart):
    """The form of the kind that is chosen."""

    def __init__(self, desk: Desk):
        super().__init__(desk)
        self._opened = ""
        self._lines: dict[str, w.HBox] = {}
        show = _SHOW if any(t.core for t in self.draft.wide.traits) else _SHOW[1:]
        self._show = self.watch(dropdown("Show", show, width="330px"), lambda _value: self.refresh())
        self._names = {c: self.watch(self._name(c), partial(self._set, c)) for c in self.draft.names}
        names = row(*self._names.values())
        self._names_fold = Fold(self, _NAMES, _HIDE_NAMES, names, self._refresh_names)
        self._none = w.HTML('<p class="idk-soft">No trait of this sort.</p>')
        self.cell = CellPart(desk, self._on_next, self._shut)
        self._rows = w.VBox([self.cell])
        self._rows.add_class("idk-edit-lines")
        self.children = [row(self._show, self._names_fold.button), names, self._none, self._rows]
        shown(self._names_fold.button, bool(self._names))

    def _name(self, column: str) -> w.Text | w.Dropdown:
        words, choices = edit.column_words(self.draft, column), edit.name_choices(self.draft, column)
        return dropdown(words, choices, width="330px") if choices else field(words, width="330px")

    def _set(self, column: str, text: str) -> None:
        self.draft.set(self.desk.taxon, column, text)
        self.desk.changed()

    def open_cell(self, column: str) -> None:
        """Open a cell of the kind and put the keyboard there."""
        if column in self._names:
            self._names_fold.show(True)
            self._names[column].focus()
            return
        self._opened = self.draft.wide.trait_of(column).id
        self.refresh()
        self.cell.show(self.desk.taxon, column)
        self.cell.focus_first()

    def _on_next(self) -> None:
        wanted = [trait.id for trait in self._wanted()]
        at = wanted.index(self._opened) + 1 if self._opened in wanted else 0
        if at < len(wanted):
            self.open_cell(wanted[at])
        else:
            self._shut()

    def _shut(self) -> None:
        was, self._opened = self._opened, ""
        self.refresh()
        self._lines[was].children[1].focus()

    def refresh(self) -> None:
        """Show the kind as it stands now."""
        taxon, draft = self.desk.taxon, self.draft
        wanted = {trait.id: trait for trait in self._wanted()}
        fresh = {trait_id: self._line(wanted[trait_id]) for trait_id in wanted if trait_id not in self._lines}
        if fresh:
            self._lines |= fresh
            self._rows.children = (self.cell, *self._lines.values())
        # The cell is put under its line by order: moved in the list it would be built anew.
        order = {trait_id: 2 * n for n, trait_id in enumerate(wanted)}
        for trait_id, line in self._lines.items():
            shown(line, trait_id in wanted)
            if trait_id in wanted:
                line.layout.order = str(order[trait_id])
                line.children[0].value = edit.line_html(draft, taxon, wanted[trait_id])
        shown(self._none, not wanted)
        shown(self.cell, self._opened in wanted)
        if self._opened in wanted:
            self.cell.layout.order = str(order[self._opened] + 1)
            young = self.cell.column == self._opened + YOUNG
            self.cell.show(taxon, self.cell.column if young else self._opened)
        if self._names_fold.is_open:
            self._refresh_names()

    def _line(self, trait: Trait) -> w.HBox:
        """Return one line for a trait, with the button that opens it."""
        words = w.HTML(layout=w.Layout(flex="1 1 260px", min_width="0"))
        change = self.button(f"Change {trait.name.lower()}", partial(self.open_cell, trait.id))
        return row(words, change, name="idk-edit-line")

    def _refresh_names(self) -> None:
        with self.filling():
            for column, control in self._names.items():
                text = self.draft.text(self.desk.taxon, column)
                if isinstance(control, w.Dropdown):
                    choices = edit.name_choices(self.draft, column, text)
                    if list(control.options) != choices:
                        control.options = choices
                control.value = text

    def _wanted(self) -> list[Trait]:
        """Return the traits to show; the one that is open stays."""
        return [t for t in self.draft.wide.traits if t.id == self._opened or self._is_wanted(t)]

    def _is_wanted(self, trait: Trait) -> bool:
        draft, show = self.draft, self._show.value
        if show in (_CORE, _ALL):
            return trait.core or show == _ALL
        places = [(self.desk.taxon, trait.id), (self.desk.taxon, trait.id + YOUNG)]
        if show == _CHANGED:
            return any(p in draft.changed or p in draft.claims or p in draft.wrong for p in places)
        return any(draft.text(*p).strip() for p in places) == (show == _KNOWN)


class CellPart(EditorPart):
    """One cell, whichever is shown: its states as buttons or its two numbers, and the same as text."""

    def __init__(self, desk: Desk, on_next: Callable[[], None], on_done: Callable[[], None]):
        super().__init__(desk)
        self.taxon = self.column = ""
        self._question, self._feedback, self._syntax = w.HTML(), w.HTML(), w.HTML()
        self._states = StateChoices(lambda state: self.run(self._on_state, state))
        self._low = self.watch(field(width="200px"), self._on_number)
        self._high = self.watch(field("to", hint="highest", width="160px"), self._on_number)
        self._unknown = self.button("Not known", partial(self._set, ""))
        self._absent = self.button("Does not apply", partial(self._set, "-"))
        self._text = self.watch(field("As text", width="380px"), self._set)
        self._undo = self.button("Undo this cell", self._on_undo)
        self._young = self.button(_YOUNG, self._on_young)
        self._next = self.button("Next trait", on_next)
        self.source = SourcePart(desk)
        self.children = [
            self._question,
            self._states,
            row(self._low, self._high, self._unknown, self._absent),
            self._feedback,
            row(self._text, self._syntax),
            self.source,
            row(self._undo, self._young, self._next, self.button("Done", on_done)),
        ]
        self.add_class("idk-edit-cell")

    @property
    def trait(self) -> Trait:
        """The trait of the cell that is shown."""
        return self.draft.wide.trait_of(self.column)

    def focus_first(self) -> None:
        """Put the keyboard on the first state or number."""
        (first_control(self._states) or self._low).focus()

    def _set(self, text: str) -> None:
        self.draft.set(self.taxon, self.column, text)
        self.desk.changed()

    def _on_state(self, state: str) -> None:
        self._set(toggled(self.trait, self.draft.text(self.taxon, self.column), state))

    def _on_number(self, _value: str) -> None:
        ends = [self._low.value, self._high.value]
        self._set(joined(*(map(in_millimetres, ends) if self.trait.unit == "mm" else ends)))

    def _on_undo(self) -> None:
        self.draft.revert(self.taxon, self.column)
        self.desk.changed()
        # The button that was pressed is gone.
        self.focus_first()

    def _on_young(self) -> None:
        trait = self.trait
        self.show(self.taxon, trait.id if self.column != trait.id else trait.id + YOUNG)

    def show(self, taxon: str, column: str) -> None:
        """Show a cell."""
        moved = (taxon, column) != (self.taxon, self.column)
        self.taxon, self.column = taxon, column
        trait, text = self.trait, self.draft.text(taxon, column)
        with self.filling():
            if moved:
                self._show_trait(trait, young=column != trait.id)
            self._states.mark(states_in(trait, text))
            if not trait.has_states:
                self._low.value, self._high.value = parted(trait, text)
            tick(self._unknown, not text.strip())
            tick(self._absent, text.strip() == "-")
            self._text.value = text
            self._feedback.value = edit.feedback_html(self.draft, taxon, column)
            shown(self._undo, (taxon, column) in self.draft.changed or (taxon, column) in self.draft.claims)
        self.source.show(taxon, column)

    def _show_trait(self, trait: Trait, *, young: bool) -> None:
        self._question.value = edit.question_html(trait, young=young)
        self._syntax.value = edit.syntax_html(trait)
        self._states.show(trait)
        shown(self._low, not trait.has_states)
        shown(self._high, trait.kind == "measure")
        unit = "" if trait.unit in ("", "count") else f" ({trait.unit})"
        self._low.description = f"Longest known{unit}" if trait.kind == "ceiling" else f"From{unit}"
        self._low.placeholder = "64, 2.5 in or 6 cm" if trait.unit == "mm" else "lowest"
        self._young.description = _ADULT if young else _YOUNG
        shown(self._young, young or not trait.needs_adult)


class SourcePart(EditorPart):
    """Where a cell stands written: the claims behind it, and fields to give one."""

    def __init__(self, desk: Desk):
        super().__init__(desk)
        self._place = ("", "")
        self._claims = w.HTML()
        self._source = dropdown("Source", [("none named", "")], width="420px")
        self._locator = field("Page or table", width="240px")
        self._class = dropdown(
            "How it is known", [("as usual", ""), *((c, c) for c in CLASSES)], width="260px"
        )
        self._scope = dropdown("It speaks of the", [(s, s) for s in SCOPES], width="220px")
        self._give = self.button("Put it behind this cell", self._on_give)
        self._back = self.button("Take back the source given", lambda: self._claim(None))
        self._bibtex = area("BibTeX", hint=_BIBTEX, rows=5)
        self._add = self.button("Add this source to the list", self._on_add)
        adding = w.VBox([self._bibtex, row(self._add)])
        self._new = Fold(self, _NEW, _HIDE_NEW, adding, lambda: None)
        lines = (self._source, self._locator), (self._class, self._scope), (self._give, self._new.button)
        fields = w.VBox([*(row(*line) for line in lines), adding])
        self._fold = Fold(self, _GIVE, _HIDE, fields, self._fill)
        head = w.HTML("<h4>Where it stands written</h4>")
        self.children = [head, self._claims, row(self._fold.button, self._back), fields]

    def show(self, taxon: str, column: str) -> None:
        """Show the claims behind a cell."""
        if (taxon, column) != self._place:
            self._place = (taxon, column)
            self._fold.show(False)
        self._claims.value = edit.claims_html(self.draft, taxon, column)
        shown(self._back, self._place in self.draft.claims)

    def _fill(self) -> None:
        self._new.show(False)
        options, chosen = edit.source_options(self.draft), self._source.value
        if list(self._source.options) != options:
            self._source.options = options
        self._source.value = chosen if chosen in dict(options).values() else ""

    def _on_give(self) -> None:
        self._claim(
            Claim(self._source.value, self._locator.value.strip(), self._class.value, self._scope.value)
        )

    def _claim(self, claim: Claim | None) -> None:
        self.draft.claim(*self._place, claim)
        self._fold.show(False)
        self.desk.changed()
        self._fold.button.focus()

    def _on_add(self) -> None:
        keys = self.draft.add_source(self._bibtex.value)
        self._bibtex.value = ""
        self._fill()
        if keys:
            self._source.value = keys[0]
        self.desk.changed()
        self._source.focus()
