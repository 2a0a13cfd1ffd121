"""The one door upward: how an object shows itself, and what is asked of a table that rooms above it answer.

The rooms above register what they can do, by the type of the object; nothing below imports them. They are
loaded when a door is first opened, so that `import idkey` stays quick.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from functools import singledispatch
from typing import Any, TypeVar

__all__ = [
    "Door",
    "Printed",
    "Shown",
    "changes",
    "document",
    "fill_with",
    "html",
    "lookalikes",
    "review",
    "save",
    "save_table",
    "text",
]

_F = TypeVar("_F", bound=Callable[..., Any])
_fillers: list[Callable[[], Any]] = []


def fill_with(load: Callable[[], Any]) -> None:
    """Say how the rooms above are loaded; called once, by the package itself."""
    _fillers.append(load)


class Door:
    """A function chosen by the type of its first argument, among those that rooms above have registered.

    Raises TypeError for an object that no room has registered.
    """

    def __init__(self, name: str, doc: str):
        self.__name__, self.__doc__ = name, doc
        self._chosen = singledispatch(self._nothing)

    def _nothing(self, thing: Any, *args: Any, **options: Any) -> Any:
        msg = f"{self.__name__}: nothing is known of a {type(thing).__name__}"
        raise TypeError(msg)

    def register(self, kind: type) -> Callable[[_F], _F]:
        """Register a function for a type and those derived from it."""
        return self._chosen.register(kind)

    def __call__(self, thing: Any, *args: Any, **options: Any) -> Any:
        """Call the function registered for the type of `thing`. Raises TypeError where there is none."""
        # What is registered already needs nothing of the rooms above.
        while _fillers and self._chosen.dispatch(type(thing)) == self._nothing:
            _fillers[-1]()
            _fillers.pop()
        return self._chosen(thing, *args, **options)


document = Door("document", "Return an object as a document: what it says, however it is drawn.")
text = Door("text", "Return an object as lines of plain text.")
html = Door("html", "Return an object as a self-contained piece of HTML.")
save = Door("save", "Write an object to a file as a printed document.")
changes = Door("changes", "Return what sets a table apart from an older one.")
review = Door("review", "Return what a table knows, how well, and what is weakest.")
save_table = Door("save_table", "Write a table to a folder; return it as it then stands there.")
lookalikes = Door("lookalikes", "Return who is mistaken for whom in a table.")


class Shown:
    """An object that shows itself in a console and in a notebook."""

    __slots__ = ()

    def __repr__(self) -> str:
        return text(self)

    def _repr_html_(self) -> str:
        return html(self)


class Printed(Shown):
    """An object that can be printed, too."""

    __slots__ = ()

    def save(self, path: str | os.PathLike[str], paper: str = "A4", *, overwrite: bool = False) -> None:
        """Write the object as a printed document, HTML or PDF by the ending of the path.

        Parameters
        ----------
        path : str or path
            Ends in ``.html`` or ``.pdf``.
        paper : {"A4", "Letter"}
        overwrite : bool
            Whether a file that is there already may be replaced.

        Raises
        ------
        IdkeyError
            Another ending or paper, a file that is there already, or a place that cannot be written to.
        """
        save(self, path, paper, overwrite)
