"""What a screen needs of the browser and ipywidgets has no word for."""

from __future__ import annotations

from html import escape
from importlib.resources import files
from itertools import count

import anywidget
import ipywidgets as w


class _Watcher(anywidget.AnyWidget):
    """A widget without a look of its own; it serves the screen that it is put into."""

    _esm = (files("idkey.widgets") / "frame.js").read_text(encoding="utf-8")


class Frame(w.VBox):
    """Part of a screen that is not seen.

    Keys that are pressed in the screen stay there: in JupyterLab a letter would be a command for the cells of
    the notebook. What a person opened stays open when its text is written anew.
    """

    def __init__(self) -> None:
        # anywidget loses all messages to a widget that took longer than two seconds to load, as on a slow
        # computer, so what is asked for comes as an element.
        self._asked, self._turn = w.HTML(), count()
        super().__init__([_Watcher(), self._asked])

    def focus_on(self, selector: str) -> None:
        """Put the keyboard on what a CSS selector finds in the screen, a heading, say."""
        self._ask("focus", selector)

    def bring(self, selector: str) -> None:
        """Bring into view what a CSS selector finds in the screen."""
        self._ask("show", selector)

    def _ask(self, what: str, selector: str) -> None:
        data = f'data-{what}="{escape(selector)}" data-turn="{next(self._turn)}"'
        self._asked.value = f'<i class="idk-asked" {data}></i>'
