"""What every screen shares: errors are shown, never swallowed; a saved notebook keeps a static picture."""

from __future__ import annotations

import functools
import logging
from collections.abc import Callable
from html import escape
from typing import Any

import ipywidgets as w

from idkey.errors import IdkeyError
from idkey.views.html import page, stylesheet

__all__ = ["Screen", "guarded", "shown", "style_element"]

_LOG = logging.getLogger("idkey.widgets")

RAISE = False
"""Tests set this, so that an exception in a callback fails them."""


def guarded(handler: Callable[..., None]) -> Callable[..., None]:
    """Show an exception of a callback on the screen instead of losing it."""

    @functools.wraps(handler)
    def call(self: Screen, *args: Any) -> None:
        try:
            self.say("")
            handler(self, *args)
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

    return call


class Screen(w.VBox):
    """A screen: a box whose static picture is saved with the notebook.

    Subclasses give `_static_html` and `_static_text`, and put `self._alert` among their children.
    """

    def __init__(self, **options: Any):
        self._alert = w.HTML()
        super().__init__(**options)
        self.add_class("idk")

    def say(self, message: str) -> None:
        """Show a message that asks for attention; blank takes it away."""
        html = f'<div class="idk-alert" role="alert">{escape(message)}</div>' if message else ""
        if self._alert.value != html:
            self._alert.value = html

    def _static_html(self) -> str:
        raise NotImplementedError

    def _static_text(self) -> str:
        raise NotImplementedError

    def _repr_mimebundle_(self, **options: Any) -> dict[str, Any]:
        bundle = dict(super()._repr_mimebundle_(**options) or {})
        note = page('<p class="idk-soft">Run this cell to use the controls.</p>')
        bundle["text/html"] = f"{self._static_html()}\n{note}"
        bundle["text/plain"] = self._static_text()
        return bundle


def shown(widget: w.DOMWidget, show: bool) -> None:
    """Show a widget, or take it off the screen."""
    widget.layout.display = "" if show else "none"


def style_element() -> w.HTML:
    """Return the stylesheet as a widget of no height."""
    return w.HTML(stylesheet(), layout=w.Layout(height="0", margin="0"))
