"""One kind as a form, or all as a sheet: lines that open to the cell, and where the cell stands written."""

from __future__ import annotations

import ipywidgets as w

from idkey.table.claims import CLASSES, SCOPES, Claim
from idkey.table.draft import taken_over
from idkey.table.reading import joined, parted, states_in, toggled
from idkey.table.schema import YOUNG, Trait
from idkey.views import edit
from idkey.widgets import base
from idkey.widgets.base import Fold, Part, choose, dropdown, field, row, shown, tick

_YOUNG, _ADULT = "Young fish differ", "Back to adult fish"
_GIVE, _HIDE = "Give a source", "Hide the source fields"
_NEW, _HIDE_NEW = "A source that is not in the list", "Hide the new source"
_BIBTEX = "@book{KEY,\n  author = {...},\n  title = {...},\n  year = {...},\n}"
_SHOW = (
    ("traits every kind should have", "core"),
    ("all traits", "all"),
    ("what is known", "known"),
    ("what is not known", "blank"),
    ("what is changed or to mend", "changed"),
    ("names and care group", "names"),
)


class EditorPart(Part):
    """A part of the editor; the desk it stands on is the screen, a `TableEditor`."""

    def __init__(self, desk: base.Screen):
        self.desk, self.draft = desk, desk.draft
        super().__init__(desk.say)

    def refresh(self) -> None:
        """Show the draft as it stands now."""


class FormPart(EditorPart):
    """The kind that is chosen, a line a column, or all kinds as a sheet (`is_sheet`).

    The cell in `column` is open to write in; where that is blank, none is.
    """

    def __init__(self, desk: base.Screen):
        super().__init__(desk)
        self.is_sheet, self.column = False, ""
        self._lines: dict[str, w.HBox] = {}
        left_out = {"core": any(t.core for t in self.draft.wide.traits), "names": bool(self.draft.names)}
        show = [option for option in _SHOW if left_out.get(option[1], True)]
        self._show = self.watch(dropdown("Show", show, width="330px"), lambda _show: self.refresh())
        self._column = self.watch(dropdown("Column", self._columns(), width="360px"), self._on_column)
        self._none = w.HTML('<p class="idk-soft">No trait of this sort.</p>')
        self.cell = CellPart(desk, self)
        self._rows, self._grid = w.VBox([self.cell]), w.HTML()
        self._rows.add_class("idk-edit-lines")
        self.children = [row(self._show, self._column), self._none, self._rows, self._grid]

    def _columns(self) -> list[tuple[str, str]]:
        return [(edit.column_words(self.draft, c), c) for c in self.draft.columns]

    def _on_column(self, column: str) -> None:
        self.column = column
        self.refresh()

    def open_cell(self, column: str) -> None:
        """Open a cell of the kind and put the keyboard there."""
        self._on_column(column)
        self.cell.focus_first()

    def open_next(self) -> None:
        """Open the cell after the one that is open; after the last, none."""
        columns = self.draft.columns if self.is_sheet else self._wanted()
        after = columns[columns.index(self.column if self.is_sheet else self._opened) + 1 :]
        if after:
            self.open_cell(after[0])
        else:
            self.shut()

    def shut(self) -> None:
        """Shut the cell that is open; the keyboard goes back to where it was opened."""
        was, self.column = self._opened, ""
        self.refresh()
        (self._column if self.is_sheet else self._lines[was].children[1]).focus()

    def refresh(self) -> None:
        """Show the kind, or the sheet, as it stands now."""
        draft, sheet, taxon = self.draft, self.is_sheet, self.desk.taxon
        if self.column not in draft.columns:
            self.column = draft.wide.trait_ids[0] if sheet else ""
        wanted = [] if sheet else self._wanted()
        fresh = {column: self._line(column) for column in wanted if column not in self._lines}
        if fresh:
            self._lines |= fresh
            self._rows.children = (self.cell, *self._lines.values())
        # The cell is put under its line by order: moved in the list it would be built anew.
        order = {column: 2 * n for n, column in enumerate(wanted)}
        for column, line in self._lines.items():
            shown(line, column in order)
            if column in order:
                line.layout.order = str(order[column])
                line.children[0].value = edit.line_html(draft, taxon, column)
        self.cell.layout.order = str(order.get(self._opened, 0) + 1)
        for widget, show in ((self._show, not sheet), (self._column, sheet), (self._grid, sheet)):
            shown(widget, show)
        shown(self._none, not wanted and not sheet)
        shown(self.cell, bool(self.column))
        if self.column:
            self.cell.show(taxon, self.column)
        if sheet:
            with self.filling():
                choose(self._column, self._columns(), self.column)
            self._grid.value = edit.sheet_html(draft, taxon, self.column)

    def _line(self, column: str) -> w.HBox:
        """Return one line, with the button that opens its cell."""
        words = w.HTML(layout=w.Layout(flex="1 1 260px", min_width="0"))
        name = edit.column_words(self.draft, column).lower()
        return row(words, self.button(f"Change {name}", self.open_cell, column), name="idk-edit-line")

    @property
    def _opened(self) -> str:
        """The column of the line that is open: what young fish show stands in the line of its trait."""
        is_trait = self.column and self.column not in self.draft.names
        return self.draft.wide.trait_of(self.column).id if is_trait else self.column

    def _wanted(self) -> list[str]:
        """Return the columns to show; the one that is open stays."""
        columns = (*self.draft.names, *self.draft.wide.trait_ids)
        return [column for column in columns if column == self._opened or self._is_wanted(column)]

    def _is_wanted(self, column: str) -> bool:
        draft, show = self.draft, self._show.value
        if column in draft.names or show == "names":
            return column in draft.names and show == "names"
        places = [(self.desk.taxon, column), (self.desk.taxon, column + YOUNG)]
        if show == "changed":
            return any(p in draft.changed or p in draft.claims or p in draft.wrong for p in places)
        if show in ("known", "blank"):
            known = any(draft.text(*p).strip(" ?") or taken_over(draft.sound, *p)[1] for p in places)
            return known == (show == "known")
        return show == "all" or draft.wide.trait(column).core


class CellPart(EditorPart):
    """One cell, whichever is open: its states as buttons, its two numbers or a list, and the same as text."""

    def __init__(self, desk: base.Screen, form: FormPart):
        super().__init__(desk)
        self.form, self.place = form, ("", "")
        self.trait: Trait | None = None
        self._question, self._feedback, self._syntax = w.HTML(), w.HTML(), w.HTML()
        self._states = base.StateChoices(lambda state: self.run(self._on_state, state))
        self._choice = self.watch(dropdown("One of", [("not chosen", "")], width="420px"), self._set)
        self._low = self.watch(field(width="200px"), self._on_number)
        self._high = self.watch(field("to", hint="highest", width="160px"), self._on_number)
        self._unknown = self.button("Not known", self._on_unknown)
        self._absent = self.button("Does not apply", self._set, "-")
        self._text = self.watch(field("Write it", width="380px"), self._set)
        self._undo = self.button("Undo this cell", self._on_undo)
        self._young = self.button(_YOUNG, self._on_young)
        self._next = self.button("Next trait", form.open_next)
        self.source = SourcePart(desk)
        self.children = [
            self._question,
            self._states,
            row(self._choice, self._low, self._high, self._unknown, self._absent),
            self._feedback,
            row(self._text, self._syntax),
            self.source,
            row(self._undo, self._young, self._next, self.button("Done", form.shut)),
        ]
        self.add_class("idk-edit-cell")

    def focus_first(self) -> None:
        """Put the keyboard on the first state, number or text."""
        (base.first_control(self) or self._text).focus()

    def _set(self, text: str) -> None:
        self.draft.set(*self.place, text)
        self.desk.changed()

    def _on_state(self, state: str) -> None:
        self._set(toggled(self.trait, self.draft.text(*self.place), state))

    def _on_number(self, _value: str) -> None:
        self._set(joined(self.trait, self._low.value, self._high.value))

    def _on_unknown(self) -> None:
        self._set("")
        if taken_over(self.draft.sound, *self.place)[1]:
            # Not known in spite of what a blank cell takes over.
            self._set("?")

    def _on_young(self) -> None:
        adult = self.trait.id
        self.form.open_cell(adult + YOUNG if self.place[1] == adult else adult)

    def _on_undo(self) -> None:
        self.draft.revert(*self.place)
        self.desk.changed()
        # The button that was pressed is gone.
        self.focus_first()

    def show(self, *place: str) -> None:
        """Show the cell of a kind and a column."""
        draft, column = self.draft, place[1]
        moved, self.place = place != self.place, place
        self.trait = trait = None if column in draft.names else draft.wide.trait_of(column)
        text, takes_over = draft.text(*place), bool(taken_over(draft.sound, *place)[1])
        with self.filling():
            if moved:
                self._show_controls(trait)
            choices = edit.name_choices(draft, column, text)
            shown(self._choice, bool(choices))
            shown(self._text, not choices)
            if choices:
                choose(self._choice, choices, text)
            if trait is not None:
                self._states.mark(states_in(trait, text))
                self._low.value, self._high.value = parted(text)
                self.source.show(*place)
            tick(self._unknown, text.strip() in ("", "?") and not takes_over)
            tick(self._absent, text.strip() == "-")
            self._text.value = text
            self._feedback.value = edit.feedback_html(draft, *place)
            shown(self._undo, place in draft.changed or place in draft.claims)

    def _show_controls(self, trait: Trait | None) -> None:
        """Show the controls for a trait; None stands for a name."""
        column = self.place[1]
        self._question.value = edit.question_html(self.draft, column)
        self._syntax.value = edit.syntax_html(trait)
        self._states.show(trait)
        kind = "" if trait is None else trait.kind
        shown(self._low, kind in ("measure", "ceiling"))
        shown(self._high, kind == "measure")
        shown(self._young, trait is not None and (column != trait.id or not trait.needs_adult))
        for widget in (self._unknown, self._absent, self.source):
            shown(widget, trait is not None)
        if trait is not None:
            low = "Longest known" if kind == "ceiling" else "From"
            self._low.description = f"{low}{base.unit_words(trait)}"
            self._low.placeholder = "64, 2.5 in or 6 cm" if trait.unit == "mm" else "lowest"
            self._young.description = _YOUNG if column == trait.id else _ADULT


class SourcePart(EditorPart):
    """Where a cell stands written: the claims behind it, and fields to give one."""

    def __init__(self, desk: base.Screen):
        super().__init__(desk)
        self._place = ("", "")
        self._claims = w.HTML()
        self._source = dropdown("Source", [("none named", "")], width="420px")
        self._locator = field("Page or table", width="240px")
        classes = [("as usual", ""), *((c, c) for c in CLASSES)]
        self._class = dropdown("How it is known", classes, width="260px")
        self._scope = dropdown("It speaks of the", [(s, s) for s in SCOPES], width="220px")
        self._give = self.button("Put it behind this cell", self._on_give)
        self._back = self.button("Take back the source given", self._claim, None)
        self._bibtex = base.area("BibTeX", hint=_BIBTEX, rows=5)
        self._add = self.button("Add this source to the list", self._on_add)
        adding = w.VBox([self._bibtex, row(self._add)])
        self._new = Fold(self, _NEW, _HIDE_NEW, adding, lambda: None)
        lines = (self._source, self._locator), (self._class, self._scope), (self._give, self._new.button)
        fields = w.VBox([*(row(*line) for line in lines), adding])
        self._fold = Fold(self, _GIVE, _HIDE, fields, self._fill)
        head = w.HTML("<h4>Who says so</h4>")
        self.children = [head, self._claims, row(self._fold.button, self._back), fields]

    def show(self, *place: str) -> None:
        """Show the claims behind a cell."""
        if place != self._place:
            self._place = place
            self._fold.show(False)
        self._claims.value = edit.claims_html(self.draft, *place)
        shown(self._back, place in self.draft.claims)

    def _fill(self) -> None:
        self._new.show(False)
        options, chosen = edit.source_options(self.draft), self._source.value
        choose(self._source, options, chosen if chosen in dict(options).values() else "")

    def _on_give(self) -> None:
        fields = (self._source, self._locator, self._class, self._scope)
        self._claim(Claim(*(control.value.strip() for control in fields)))

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
