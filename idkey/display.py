"""The one door upward: how an object shows itself, and what is asked of a table that rooms above it answer.

Nothing below imports the rooms above; a door names the function behind it, and loads it when it is first
opened, so that `import idkey` stays quick.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from importlib import import_module
from typing import Any, Literal

from idkey.arguments import checked

Paper = Literal["A4", "Letter", "A4 pocket", "Letter pocket"]


def _door(module: str, name: str) -> Callable[..., Any]:
    """Return a function that calls the one of this name in a module above."""

    def door(*args: Any, **options: Any) -> Any:
        return getattr(import_module(f"idkey.{module}"), name)(*args, **options)

    return door


document = _door("views.registry", "document")
"""Return an object as a document: what it says, however it is drawn. Raises TypeError for what has none."""
text = _door("views.registry", "text")
html = _door("views.registry", "html")
save = _door("views.print", "save")
save_table = _door("table.folder", "save_table")
what_changes = _door("model.changes", "what_changes")
review = _door("model.review", "review")
lookalikes = _door("model.lookalikes", "lookalikes")


class Shown:
    """An object that shows itself in a console and in a notebook."""

    __slots__ = ()

    def __repr__(self) -> str:
        return text(self)

    def _repr_html_(self) -> str:
        return html(self)


@checked
class Printed(Shown):
    """An object that can be printed, too."""

    __slots__ = ()

    def save(self, path: str | os.PathLike[str], paper: Paper = "A4", *, overwrite: bool = False) -> None:
        """Write the object as a printed document, HTML or PDF by the ending of the path.

        `paper` is "A4" or "Letter", of a key "A4 pocket" or "Letter pocket" too, to be folded in four; a file
        that is there already is replaced with `overwrite` alone. Raises IdkeyError for another ending or
        paper, such a file, and a place that cannot be written to.
        """
        save(self, path, paper, overwrite)
