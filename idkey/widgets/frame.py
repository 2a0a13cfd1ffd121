"""What a screen needs of the browser and ipywidgets has no word for."""

from __future__ import annotations

from importlib.resources import files

import anywidget


class Frame(anywidget.AnyWidget):
    """A widget without a look of its own; it serves the screen that it is put into.

    Keys that are pressed in the screen stay there: in JupyterLab a letter would be a command for the cells of
    the notebook. What a person opened stays open when its text is written anew.
    """

    _esm = (files("idkey.widgets") / "frame.js").read_text(encoding="utf-8")

    def focus_on(self, selector: str) -> None:
        """Put the keyboard on what a CSS selector finds in the screen, a heading, say."""
        self.send({"focus": selector})

    def bring(self, selector: str) -> None:
        """Bring into view what a CSS selector finds in the screen."""
        self.send({"show": selector})
