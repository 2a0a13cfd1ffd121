"""The identify screen: one question at a time, the names still possible beside it."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape
from typing import Any

import ipywidgets as w

from idkey.model.ask import Question
from idkey.model.identify import Identification
from idkey.table.files import load_table
from idkey.table.schema import LIFE_STAGE, Trait
from idkey.table.table import TraitTable
from idkey.views.draw import state_svg
from idkey.views.html import answer_words, identification_html, names_html, outcome_html, together_html
from idkey.views.text import identification_text
from idkey.widgets.base import Screen, guarded, style_element

__all__ = ["IdentifyScreen", "identify"]

_AUTO = ""
_AGES = (("not known", ""), ("adult", "adult"), ("young", "young"))
_LABEL = {"description_width": "initial"}


def _auto() -> w.Layout:
    # One for each widget: a shared layout would show and hide them all together.
    return w.Layout(width="auto", min_width="0")


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


class _StateChoice(w.VBox):
    """One state of the question: its drawing over its button."""

    def __init__(self, on_click: Any):
        self.state = ""
        self.drawing = w.HTML()
        self.drawing.add_class("idk-drawing")
        self.button = w.Button(layout=w.Layout(width="100%", height="auto", min_height="44px"))
        self.button.add_class("idk-answer")
        self.button.on_click(on_click)
        super().__init__([self.drawing, self.button], layout=w.Layout(width="152px", margin="0 6px 8px 0"))

    def show(self, trait: Trait, state: str, *, drawn: bool) -> None:
        self.state = state
        self.button.description = trait.word(state)
        svg = state_svg(trait.id, state, title=trait.word(state)) if drawn else None
        self.drawing.value = svg or ""
        self.drawing.layout.display = "" if svg else "none"
        self.layout.display = ""

    def mark(self, chosen: bool) -> None:
        self.button.description = self.button.description.removeprefix("\u2713 ")
        if chosen:
            self.button.description = f"\u2713 {self.button.description}"

    def hide(self) -> None:
        self.layout.display = "none"


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
        self._question = w.HTML()
        most = max((len(t.states) for t in fish.table.traits), default=0)
        self._choices = [_StateChoice(self._on_state) for _ in range(most)]
        self._states = w.HBox(self._choices, layout=w.Layout(flex_flow="row wrap"))
        self._several = w.Checkbox(
            value=False, description="Not sure: let me pick several", indent=False, layout=_auto()
        )
        self._number = w.Text(continuous_update=False, style=_LABEL, layout=w.Layout(width="260px"))
        self._take = w.Button(description="Take this answer", layout=_auto())
        self._skip = w.Button(description="Can't see it", layout=_auto())
        self._undo = w.Button(description="Undo", layout=_auto())
        self._restart = w.Button(description="Start again", layout=_auto())
        self._age = w.Dropdown(options=_AGES, description="Age of the fish", style=_LABEL, layout=_auto())
        # Always the same list: a list that changes could be a moment older on the screen than in the kernel.
        features = [("what settles most", _AUTO), *((t.name, t.id) for t in fish.table.traits)]
        self._other = w.Dropdown(
            options=features, description="Answer another feature", style=_LABEL, layout=_auto()
        )
        self._seen = w.VBox()
        self._outcome = w.HTML()
        self._names = w.HTML()
        self._together = w.HTML()
        self._several.observe(self._on_several, names="value")
        self._take.on_click(self._on_take)
        self._skip.on_click(self._on_skip)
        self._undo.on_click(self._on_undo)
        self._restart.on_click(self._on_restart)
        self._age.observe(self._on_age, names="value")
        self._other.observe(self._on_other, names="value")
        super().__init__()
        ask = w.VBox(
            [
                self._question,
                self._states,
                w.HBox(
                    [self._number, self._take], layout=w.Layout(flex_flow="row wrap", align_items="center")
                ),
                w.HBox(
                    [self._skip, self._several], layout=w.Layout(flex_flow="row wrap", align_items="center")
                ),
                w.HBox([self._undo, self._restart], layout=w.Layout(flex_flow="row wrap")),
                self._age,
                self._other,
                self._seen,
            ],
            layout=w.Layout(flex="1 1 380px", min_width="0", padding="0 18px 0 0"),
        )
        names = w.VBox(
            [self._outcome, self._names, self._together], layout=w.Layout(flex="1 1 340px", min_width="0")
        )
        body = w.HBox([ask, names], layout=w.Layout(flex_flow="row wrap", align_items="flex-start"))
        self.children = [style_element(), self._alert, body]
        self._refresh()

    # -- what the person does ---------------------------------------------------------------------

    @guarded
    def _on_state(self, button: w.Button) -> None:
        state = next(c.state for c in self._choices if c.button is button)
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
        self._take.layout.display = "" if change["new"] else "none"
        self._take.disabled = bool(change["new"])

    @guarded
    def _on_take(self, _button: w.Button) -> None:
        if self._asked is None:
            return
        if self._asked.has_states:
            self._answer("|".join(self._picked))
        elif self._number.value.strip():
            self._answer(self._number.value)

    def _answer(self, value: str) -> None:
        if self._asked is not None:
            self.identification.answer(self._asked.id, value)
            self._refresh()

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
        if not self._updating and change["new"] != _AUTO:
            self._refresh(ask=self.identification.table.trait(change["new"]))

    def _change(self, trait: str) -> Any:
        @guarded
        def change(screen: IdentifyScreen, _button: w.Button) -> None:
            screen._refresh(ask=screen.identification.table.trait(trait))

        return lambda button: change(self, button)

    # -- what the person sees ---------------------------------------------------------------------

    def _refresh(self, ask: Trait | None = None) -> None:
        """Show the state of the identification; `ask` puts a question out of turn."""
        self._updating = True
        try:
            best = self.identification.next_question()
            self._asked = ask or (best.trait if best else None)
            self._outcome.value = f'<div role="status">{outcome_html(self.identification)}</div>'
            self._names.value = names_html(self.identification)
            self._together.value = together_html(self.identification)
            self._show_seen()
            self._age.value = self.identification.answers.get(LIFE_STAGE, "")
            self._other.value = _AUTO
            # The question comes last: once it stands there, all the rest is up to date.
            self._show_question(best if ask is None else None)
        finally:
            self._updating = False

    def _show_question(self, best: Question | None) -> None:
        trait = self._asked
        self._picked = []
        self._several.value = False
        states = trait is not None and trait.has_states
        number = trait is not None and not trait.has_states
        for widget, shown in (
            (self._number, number),
            (self._take, number),
            (self._several, states),
            (self._skip, trait is not None),
        ):
            widget.layout.display = "" if shown else "none"
        self._take.disabled = False
        self._number.value = ""
        for choice in self._choices:
            choice.hide()
        if trait is None:
            self._question.value = (
                "<h3>No question left</h3><p>Nothing the table knows would settle it further. "
                "Read the care sheets, or answer another feature below.</p>"
            )
            return
        why = "" if best is not None else '<p class="idk-soft">You chose this feature.</p>'
        self._question.value = (
            f'<h3>{escape(trait.question or trait.name)}</h3><p class="idk-soft">{escape(trait.how)}</p>{why}'
        )
        if number:
            self._number.description = (
                trait.name if trait.unit in ("", "count") else f"{trait.name} ({trait.unit})"
            )
            self._number.placeholder = "a number, or a range 5..6"
            return
        for choice, state in zip(self._choices, trait.states, strict=False):
            choice.show(trait, state, drawn=True)

    def _show_seen(self) -> None:
        fish = self.identification
        rows: list[w.Widget] = []
        for trait_id, text in fish.answers.items():
            if trait_id in fish.table.trait_ids:
                trait = fish.table.trait(trait_id)
                rows.append(self._seen_row(trait, answer_words(trait, text)))
        rows += [
            self._seen_row(fish.table.trait(t), "can't be seen")
            for t in fish.unseen
            if t in fish.table.trait_ids
        ]
        if rows:
            rows.insert(0, w.HTML("<h4>What was seen</h4>"))
        for row in self._seen.children:
            row.close()
        self._seen.children = rows

    def _seen_row(self, trait: Trait, words: str) -> w.HBox:
        button = w.Button(description=f"Change {trait.name.lower()}", layout=_auto())
        button.on_click(self._change(trait.id))
        line = w.HTML(
            f"{escape(trait.name)}: <strong>{escape(words)}</strong>", layout=w.Layout(flex="1 1 180px")
        )
        return w.HBox([line, button], layout=w.Layout(flex_flow="row wrap", align_items="center"))

    # -- what is saved ----------------------------------------------------------------------------

    def _static_html(self) -> str:
        return identification_html(self.identification)

    def _static_text(self) -> str:
        return identification_text(self.identification)
