"""What the screens share: controls, errors that are shown and never swallowed, a static picture."""

from __future__ import annotations

import logging
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from html import escape
from itertools import zip_longest
from typing import Any

import ipywidgets as w

from idkey import display
from idkey.errors import IdkeyError
from idkey.table.schema import Trait
from idkey.table.units import first_down
from idkey.views.fish import state_svg
from idkey.views.html import page, stylesheet
from idkey.widgets.frame import Frame

_LOG = logging.getLogger("idkey.widgets")
_LABEL = {"description_width": "initial"}
_TICK = "\u2713 "

RAISE = False
"""Tests set this, so that an exception in a callback fails them."""
SETTLING = 0.35
"""Seconds for which what answers a question is dead once it is asked: the second tap was not meant for it."""


class Part(w.VBox):
    """A part of a screen: what its controls do is guarded, and what goes wrong in it is said by `say`."""

    _updating = False

    def __init__(self, say: Callable[[str], None]):
        self.say = say
        super().__init__()

    def run(self, act: Callable[..., None], *args: Any) -> None:
        """Do what a control asks for; an exception is shown on the screen instead of lost."""
        try:
            self.say("")
            act(*args)
        except IdkeyError as error:
            self.say(str(error))
        except Exception as error:
            _LOG.exception("a callback failed")
            # Where it stopped is not known, so neither is what of the screen is up to date.
            self.say(
                f"Something went wrong ({type(error).__name__}: {error}). "
                "What stands here may be out of date: press Undo or run the cell again."
            )
            if RAISE:
                raise

    def button(self, words: str, act: Callable[..., None], *args: Any) -> w.Button:
        """Return a button as wide as its words, that calls `act`."""
        made = w.Button(description=words, layout=as_wide())
        made.on_click(lambda _button: self.run(act, *args))
        return made

    def watch(self, control: w.Widget, act: Callable[[Any], None]) -> w.Widget:
        """Call `act` with each value that a person gives a control; return the control."""
        control.observe(lambda change: self._updating or self.run(act, change["new"]), names="value")
        return control

    @contextmanager
    def filling(self) -> Iterator[None]:
        """Set values that are not to be taken for what a person chose."""
        was, self._updating = self._updating, True
        try:
            yield
        finally:
            self._updating = was


class Fold:
    """A button that calls `before`, opens a box and puts the keyboard there; and shuts it again."""

    def __init__(self, part: Part, closed: str, opened: str, box: w.Box, before: Callable[[], None]):
        self.box, self._words, self._before = box, (closed, opened), before
        self.button = part.button(closed, lambda: self.show(not self.is_open))
        self.show(False)

    @property
    def is_open(self) -> bool:
        """Whether the box is shown."""
        return self.box.layout.display != "none"

    def show(self, show: bool) -> None:
        """Open the box, or shut it."""
        if show:
            self._before()
        shown(self.box, show)
        self.button.description = self._words[show]
        control = first_control(self.box)
        if control is not None:
            control.focus()


class Alert(w.HTML):
    """A message that asks for attention, where it concerns; `say` shows it, and blank takes it away."""

    def say(self, message: str) -> None:
        """Show a message; blank takes away the last."""
        self.value = f'<div class="idk-alert" role="alert">{escape(message)}</div>' if message else ""


def folds(part: Part, parts: Iterable[tuple[str, w.Box, Callable[[], None]]]) -> dict[str, Fold]:
    """Return boxes that are opened and shut, each in a frame, by the words on their buttons."""
    made = {}
    for words, box, before in parts:
        box.add_class("idk-edit-part")
        made[words] = Fold(part, words, f"Close: {first_down(words)}", box, before)
    return made


class Screen(Part):
    """A screen: a box whose static picture is saved with the notebook.

    Subclasses give `_things` that the picture shows, and put `self._top` first and `self._alert` somewhere
    among their children.
    """

    def __init__(self) -> None:
        self._alert, self.frame = Alert(), Frame()
        self._top = w.VBox([w.HTML(stylesheet()), self.frame], layout=w.Layout(height="0", margin="0"))
        super().__init__(self._alert.say)
        self.add_class("idk")

    def close(self) -> None:
        """Close the screen with all that it ever showed: a widget that is not closed is kept for ever."""
        for widget in _widgets_in(self):
            w.Widget.close(widget)

    def _things(self) -> list[Any]:
        return []

    def _static_html(self) -> str:
        return "\n".join(map(display.html, self._things()))

    def _static_text(self) -> str:
        return "\n\n".join(map(display.text, self._things()))

    def _repr_mimebundle_(self, **options: Any) -> dict[str, Any]:
        bundle = dict(super()._repr_mimebundle_(**options) or {})
        note = page('<p class="idk-soft">Run this cell to use the controls.</p>')
        bundle["text/html"] = f"{self._static_html()}\n{note}"
        bundle["text/plain"] = self._static_text()
        return bundle


def _widgets_in(screen: w.Widget) -> list[w.Widget]:
    """Return a widget and all that it holds: children, styles and layouts, what is not shown just now."""
    found: dict[int, w.Widget] = {}
    waiting: list[Any] = [screen]
    while waiting:
        thing = waiting.pop()
        if isinstance(thing, dict):
            waiting += thing.values()
        elif isinstance(thing, list | tuple):
            waiting += thing
        elif isinstance(thing, w.Widget) and id(thing) not in found:
            found[id(thing)] = thing
            waiting.append(vars(thing))
    return [*found.values()]


# -- controls ---------------------------------------------------------------------------------------


def as_wide(width: str = "auto") -> w.Layout:
    """Return a layout of this width, or less where there is no room."""
    # One for each widget: a shared layout would show and hide them all together.
    return w.Layout(width=width, min_width="0", max_width="100%")


def row(*widgets: w.Widget, name: str = "idk-take") -> w.HBox:
    """Put widgets beside each other; what has no room goes below."""
    box = w.HBox(widgets, layout=w.Layout(flex_flow="row wrap", align_items="center"))
    box.add_class(name)
    return box


def field(words: str = "", *, hint: str = "", width: str = "300px", live: bool = False) -> w.Text:
    """Return a field for one line of text; `live` tells of each letter."""
    return w.Text(
        description=words, placeholder=hint, continuous_update=live, style=_LABEL, layout=as_wide(width)
    )


def area(words: str, *, hint: str = "", rows: int = 4) -> w.Textarea:
    """Return a field for several lines of text."""
    return w.Textarea(description=words, placeholder=hint, rows=rows, style=_LABEL, layout=as_wide("560px"))


def whole_number(words: str) -> w.BoundedIntText:
    """Return a field for how many, 1 or more."""
    return w.BoundedIntText(
        value=1, min=1, max=10**6, description=words, style=_LABEL, layout=as_wide("150px")
    )


def dropdown(
    words: str, options: Sequence[tuple[str, Any]], value: Any = None, *, width: str = "auto"
) -> w.Dropdown:
    """Return a list to choose one of; without a value the first is chosen."""
    chosen = options[0][1] if value is None else value
    return w.Dropdown(options=options, value=chosen, description=words, style=_LABEL, layout=as_wide(width))


def choose(control: w.Dropdown, options: Sequence[tuple[str, Any]], value: Any) -> None:
    """Choose from a list that may have changed."""
    # A list that is set anew chooses its first, and tells so.
    if list(control.options) != options:
        control.options = options
    control.value = value


def checkbox(words: str) -> w.Checkbox:
    """Return a box to tick, as wide as its words."""
    return w.Checkbox(value=False, description=words, indent=False, layout=as_wide())


def tick(button: w.Button, chosen: bool) -> None:
    """Tick a button, or take the tick away."""
    words = button.description.removeprefix(_TICK)
    button.description = f"{_TICK}{words}" if chosen else words


def shown(widget: w.DOMWidget, show: bool) -> None:
    """Show a widget, or take it off the screen."""
    widget.layout.display = "" if show else "none"


def first_control(widget: w.DOMWidget) -> w.DOMWidget | None:
    """Return the first control of a box that is shown: where the keyboard goes."""
    if isinstance(widget, w.HTML) or widget.layout.display == "none":
        return None
    if isinstance(widget, w.Box):
        return next(filter(None, map(first_control, widget.children)), None)
    return widget


def told_apart(kinds: Iterable[tuple[str, str]]) -> list[tuple[str, str]]:
    """Put pairs of a label and an id in the order of the labels; a label of several gets its id behind it."""
    kinds = list(kinds)
    count = Counter(label for label, _ in kinds)
    named = ((f"{label} [{name}]" if count[label] > 1 else label, name) for label, name in kinds)
    return sorted(named, key=lambda kind: kind[0].casefold())


def unit_words(trait: Trait) -> str:
    """Return the unit of a trait as it stands behind a label; blank for none and for a count."""
    return "" if trait.unit in ("", "count") else f" ({trait.unit})"


# -- states with their drawings ---------------------------------------------------------------------


class _StateChoice(w.VBox):
    """A state, blank while hidden: the drawing lies under the button, so that a click on either answers."""

    def __init__(self, choose: Callable[[str], None]):
        self.state = ""
        self.drawing = w.HTML()
        self.drawing.add_class("idk-drawing")
        self.button = w.Button(layout=w.Layout(width="100%", height="auto"))
        self.button.add_class("idk-answer")
        self.button.on_click(lambda _button: self.state and choose(self.state))
        super().__init__([self.drawing, self.button], layout=w.Layout(display="none"))
        self.add_class("idk-choice")

    def show(self, trait: Trait | None, state: str, answers: Mapping[str, object] | None) -> None:
        self.state = state
        shown(self, bool(state))
        if trait is not None and state:
            self.button.description = words = trait.word(state)
            self.drawing.value = svg = state_svg(trait.id, state, words, answers) or ""
            shown(self.drawing, bool(svg))
            (self.button.add_class if svg else self.button.remove_class)("idk-drawn")


class StateChoices(w.HBox):
    """The states of a question as large buttons, the same ones for whichever trait is shown."""

    def __init__(self, choose: Callable[[str], None], room: int = 0):
        self._choose = choose
        made = [_StateChoice(choose) for _ in range(room)]
        super().__init__(made, layout=w.Layout(flex_flow="row wrap", align_items="stretch"))
        self.add_class("idk-states")

    def show(self, trait: Trait | None, answers: Mapping[str, object] | None = None) -> None:
        """Show the states of a trait, none of numbers or None; drawings take over the answers given."""
        states = trait.states if trait is not None else ()
        more = range(len(states) - len(self.children))
        if more:
            self.children = [*self.children, *(_StateChoice(self._choose) for _ in more)]
        # What goes is taken away first, from the end: half done, the question is to need no more room than
        # before or after, and what stays is not to move.
        pairs = [*zip_longest(self.children, states, fillvalue="")]
        for choice, state in (*reversed(pairs[len(states) :]), *pairs[: len(states)]):
            choice.show(trait, state, answers)

    def mark(self, chosen: Collection[str]) -> None:
        """Tick these states and no others."""
        for choice in self.children:
            tick(choice.button, choice.state in chosen)
