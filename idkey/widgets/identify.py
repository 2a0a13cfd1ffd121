"""The identify screen: one question at a time, the names still possible beside it."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape
from typing import Any

import ipywidgets as w

from idkey.model.identify import Identification
from idkey.model.lengths import in_millimetres
from idkey.table.files import load_table
from idkey.table.schema import LIFE_STAGE, Trait
from idkey.table.table import TraitTable
from idkey.views.html import (
    answer_words,
    asked_html,
    bag_html,
    identification_html,
    names_html,
    outcome_html,
    read_as_html,
    together_html,
)
from idkey.views.text import identification_text
from idkey.widgets.base import Screen, guarded, shown, style_element
from idkey.widgets.state_choice import StateChoice

__all__ = ["IdentifyScreen", "identify"]

_AUTO = ""
_AGES = (("not known", ""), ("adult", "adult"), ("young", "young"))
_LABEL = {"description_width": "initial"}
_COMPARE, _HIDE = "Compare the first two", "Hide the comparison"


def _auto() -> w.Layout:
    # One for each widget: a shared layout would show and hide them all together.
    return w.Layout(width="auto", min_width="0")


def _row(*widgets: w.Widget, name: str) -> w.HBox:
    row = w.HBox(widgets, layout=w.Layout(flex_flow="row wrap", align_items="center"))
    row.add_class(name)
    return row


def identify(table: TraitTable | None = None, answers: Mapping[str, Any] | None = None) -> IdentifyScreen:
    """Open the identify screen in a notebook.

    Parameters
    ----------
    table : TraitTable, optional
        By default the shipped table.
    answers : mapping of str to object, optional
        Answers to start with, as for `Identification.answer`.

    Returns
    -------
    IdentifyScreen
        Put it last in a cell. Its `identification` holds the answers.

    Raises
    ------
    AnswerError
        One of the answers is not one the table can take.
    """
    fish = Identification(load_table() if table is None else table)
    for trait, value in (answers or {}).items():
        fish.answer(trait, value)
    return IdentifyScreen(fish)


class _SeenRow(w.HBox):
    """One line of what was seen, with the button that asks it again."""

    def __init__(self, trait: Trait, on_change: Any):
        self.line = w.HTML(layout=w.Layout(flex="1 1 180px"))
        self.button = w.Button(description=f"Change {trait.name.lower()}", layout=_auto())
        self.button.on_click(on_change)
        super().__init__(
            [self.line, self.button], layout=w.Layout(flex_flow="row wrap", align_items="center")
        )


class IdentifyScreen(Screen):
    """Questions on one side, the names still possible on the other; see `identify`.

    Attributes
    ----------
    identification : Identification
        What has been answered; usable from the next cell.
    """

    def __init__(self, fish: Identification):
        self.identification = fish
        self._asked: Trait | None = None
        self._picked: list[str] = []
        self._updating = False
        self._compared: tuple[str, ...] = ()
        self._rows: dict[str, _SeenRow] = {}
        self._make_controls()
        super().__init__()
        self.children = [style_element(), *self._laid_out()]
        self._refresh()

    def _make_controls(self) -> None:
        fish = self.identification
        self._skip = w.Button(description="Can't see it", layout=_auto())
        self._undo = w.Button(description="Undo", layout=_auto())
        self._restart = w.Button(description="Start again", layout=_auto())
        self._age = w.Dropdown(options=_AGES, description="Age of the fish", style=_LABEL, layout=_auto())
        self._outcome = w.HTML()
        self._question = w.HTML()
        most = max((len(t.states) for t in fish.table.traits), default=0)
        self._choices = [StateChoice(self._on_state) for _ in range(most)]
        self._several = w.Checkbox(
            value=False, description="Not sure: let me pick several", indent=False, layout=_auto()
        )
        self._number = w.Text(style=_LABEL, layout=w.Layout(width="280px"))
        self._read_as = w.HTML()
        self._take = w.Button(description="Take this answer", layout=_auto())
        # Always the same list: a list that changes could be a moment older on the screen than in the kernel.
        features = [("what settles most", _AUTO), *((t.name, t.id) for t in fish.table.traits)]
        self._other = w.Dropdown(
            options=features, description="Answer another feature", style=_LABEL, layout=_auto()
        )
        self._bag = w.Text(
            description="Name on the bag",
            placeholder="trade code or name",
            continuous_update=False,
            style=_LABEL,
            layout=w.Layout(width="320px"),
        )
        self._bag_says = w.HTML()
        self._seen_head = w.HTML("<h4>What was seen</h4>")
        self._seen = w.VBox()
        self._seen.add_class("idk-seen")
        self._side_by_side = w.Button(description=_COMPARE, layout=_auto())
        self._names = w.HTML()
        self._together = w.HTML()
        self._comparison = w.HTML(layout=w.Layout(margin="12px 0 0 0"))
        for button, handler in (
            (self._skip, self._on_skip),
            (self._undo, self._on_undo),
            (self._restart, self._on_restart),
            (self._take, self._on_take),
            (self._side_by_side, self._on_compare),
        ):
            button.on_click(handler)
        for field, handler in (
            (self._several, self._on_several),
            (self._number, self._on_number),
            (self._age, self._on_age),
            (self._other, self._on_other),
            (self._bag, self._on_bag),
        ):
            field.observe(handler, names="value")
        # Enter in the field is the same as the button beside it.
        self._number.on_msg(self._on_enter)

    def _laid_out(self) -> list[w.Widget]:
        """Put what never moves at the top, and give the question room that stays."""
        states = w.HBox(self._choices, layout=w.Layout(flex_flow="row wrap", align_items="stretch"))
        states.add_class("idk-states")
        asking = w.VBox(
            [
                self._question,
                states,
                _row(self._number, self._several, self._take, self._read_as, name="idk-take"),
            ]
        )
        asking.add_class("idk-asking")
        ask = w.VBox(
            [asking, self._bag, self._bag_says, self._seen],
            layout=w.Layout(flex="1 1 380px", min_width="0", padding="0 18px 0 0"),
        )
        head = _row(w.HTML("<h3>Names still possible</h3>"), self._side_by_side, name="idk-names-head")
        names = w.VBox([head, self._names, self._together], layout=w.Layout(flex="1 1 340px", min_width="0"))
        body = w.HBox([ask, names], layout=w.Layout(flex_flow="row wrap", align_items="flex-start"))
        tools = _row(self._skip, self._undo, self._restart, self._other, self._age, name="idk-tools")
        self._outcome.add_class("idk-stands")
        return [tools, self._outcome, self._alert, body, self._comparison]

    # -- what the person does ---------------------------------------------------------------------

    @guarded
    def _on_state(self, button: w.Button) -> None:
        state = next(c.state for c in self._choices if c.button is button)
        if not state:
            return
        if not self._several.value:
            self._answer(state)
            return
        if state in self._picked:
            self._picked.remove(state)
        else:
            self._picked.append(state)
        for choice in self._choices:
            choice.mark(choice.state in self._picked)
        self._take.disabled = not self._picked

    @guarded
    def _on_several(self, change: Any) -> None:
        if self._updating:
            return
        self._picked = []
        for choice in self._choices:
            choice.mark(False)
        shown(self._take, change["new"])
        self._take.disabled = bool(change["new"])

    @guarded
    def _on_take(self, _button: w.Button) -> None:
        self._take_answer()

    @guarded
    def _on_enter(self, _widget: w.Widget, content: Any, _buffers: Any) -> None:
        if content.get("event") == "submit":
            self._take_answer()

    def _take_answer(self) -> None:
        if self._asked is None:
            return
        if self._asked.has_states:
            self._answer("|".join(self._picked))
        elif self._number.value.strip():
            self._answer(self._number_read())

    def _number_read(self) -> str:
        in_mm = self._asked is not None and self._asked.unit == "mm"
        return in_millimetres(self._number.value) if in_mm else self._number.value.strip()

    @guarded
    def _on_number(self, _change: Any) -> None:
        if not self._updating and self._asked is not None:
            self._read_as.value = read_as_html(self._asked, self._number.value, self._number_read())

    def _answer(self, value: str) -> None:
        if self._asked is not None:
            self.identification.answer(self._asked.id, value)
            self._refresh(focus=True)

    @guarded
    def _on_skip(self, _button: w.Button) -> None:
        if self._asked is not None:
            self.identification.answer(self._asked.id, None)
            self._refresh()

    @guarded
    def _on_undo(self, _button: w.Button) -> None:
        self.identification.undo()
        self._refresh()

    @guarded
    def _on_restart(self, _button: w.Button) -> None:
        self.identification.clear()
        self._refresh()

    @guarded
    def _on_age(self, change: Any) -> None:
        if not self._updating:
            value = change["new"]
            if value:
                self.identification.answer(LIFE_STAGE, value)
            else:
                self.identification.forget(LIFE_STAGE)
            self._refresh()

    @guarded
    def _on_other(self, change: Any) -> None:
        if self._updating:
            return
        # The focus stays on the menu, so that the arrow keys can go on through it.
        if change["new"] == _AUTO:
            self._refresh()
        else:
            self._ask(self.identification.table.trait(change["new"]))

    @guarded
    def _on_bag(self, change: Any) -> None:
        self._bag_says.value = bag_html(self.identification, change["new"])

    @guarded
    def _on_compare(self, _button: w.Button) -> None:
        two = self._first_two()
        self._show_comparison(() if self._compared else two)

    def _change(self, trait: str) -> Any:
        @guarded
        def change(screen: IdentifyScreen, _button: w.Button) -> None:
            screen._ask(screen.identification.table.trait(trait))
            screen._first_control().focus()

        return lambda button: change(self, button)

    # -- what the person sees ---------------------------------------------------------------------

    def _refresh(self, *, focus: bool = False) -> None:
        """Show the state of the identification: first what the answer did, then the rest.

        `focus` puts the keyboard on the next question, since the button pressed may be gone.
        """
        fish = self.identification
        self._updating = True
        try:
            self._outcome.value = outcome_html(fish, live=True)
            self._names.value = names_html(fish, care=False)
            best = fish.next_question()
            self._show_question(best.trait if best else None)
            if focus:
                self._first_control().focus()
            self._show_seen()
            self._age.value = fish.answers.get(LIFE_STAGE, "")
            self._bag_says.value = bag_html(fish, self._bag.value)
            self._side_by_side.layout.visibility = "visible" if len(self._first_two()) > 1 else "hidden"
            if self._compared != self._first_two():
                self._show_comparison(())
            self._together.value = together_html(fish)
            self._names.value = names_html(fish)
        finally:
            self._updating = False

    def _ask(self, trait: Trait) -> None:
        """Put a question out of turn."""
        self._updating = True
        try:
            self._show_question(trait, chosen=True)
        finally:
            self._updating = False

    def _show_question(self, trait: Trait | None, *, chosen: bool = False) -> None:
        self._asked = trait
        self._picked = []
        self._several.value = False
        self._other.value = trait.id if chosen and trait else _AUTO
        states = trait is not None and trait.has_states
        number = trait is not None and not trait.has_states
        self._question.value = asked_html(self.identification, trait, chosen=chosen)
        for choice, state in zip(self._choices, trait.states if trait else (), strict=False):
            choice.show(trait, state)
        for choice in self._choices[len(trait.states) if trait else 0 :]:
            choice.hide()
        shown(self._number, number)
        shown(self._take, number)
        shown(self._several, states)
        self._take.disabled = False
        self._skip.disabled = trait is None
        self._number.value = ""
        self._read_as.value = ""
        if number:
            unit = "" if trait.unit in ("", "count") else f" ({trait.unit})"
            self._number.description = f"{trait.name}{unit}"
            self._number.placeholder = (
                "64, 2.5 in or 6..7 cm" if unit == " (mm)" else "a number, or a range 5..6"
            )

    def _first_control(self) -> w.DOMWidget:
        if self._asked is None:
            return self._other
        return self._choices[0].button if self._asked.has_states else self._number

    def _show_seen(self) -> None:
        fish = self.identification
        said = {
            t: answer_words(fish.table.trait(t), a)
            for t, a in fish.answers.items()
            if t in fish.table.trait_ids
        }
        said |= {t: "can't be seen" for t in fish.unseen if t in fish.table.trait_ids}
        rows = []
        for trait_id, words in said.items():
            trait = fish.table.trait(trait_id)
            if trait_id not in self._rows:
                self._rows[trait_id] = _SeenRow(trait, self._change(trait_id))
            row = self._rows[trait_id]
            row.line.value = f"{escape(trait.name)}: <strong>{escape(words)}</strong>"
            rows.append(row)
        if rows:
            rows.insert(0, self._seen_head)
        if tuple(rows) != self._seen.children:
            self._seen.children = rows

    # -- two names side by side ---------------------------------------------------------------------

    def _first_two(self) -> tuple[str, ...]:
        return self.identification.outcome().taxa[:2] if self.identification.answers else ()

    def _show_comparison(self, two: tuple[str, ...]) -> None:
        html = ""
        if two:
            from idkey.model.compare import compare
            from idkey.views.compare import compare_html

            html = compare_html(compare(self.identification.table, *two))
        self._comparison.value = html
        self._compared = two
        self._side_by_side.description = _HIDE if two else _COMPARE

    # -- what is saved ----------------------------------------------------------------------------

    def _static_html(self) -> str:
        return identification_html(self.identification)

    def _static_text(self) -> str:
        return identification_text(self.identification)
