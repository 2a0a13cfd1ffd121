"""Tell spotted suckermouth catfishes apart: a trait table, a key, a nearest match and care sheets.

Each name is fetched when it is first used, so that `import idkey` is quick: it loads neither ipywidgets
nor matplotlib nor scikit-learn.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # for editors, which show what a name is before it is fetched
    from idkey.book.book import open_book
    from idkey.book.box import check_box
    from idkey.book.pair import same_kind
    from idkey.care.room import check_tank
    from idkey.care.sheet import CareSheet, care_for
    from idkey.errors import IdkeyError
    from idkey.model.compare import compare
    from idkey.model.identify import Identification
    from idkey.model.key import build_key
    from idkey.model.match import NearestMatch
    from idkey.phone.file import pocket
    from idkey.table.folder import load_table, start_table
    from idkey.table.own import use_table
    from idkey.table.table import TraitTable
    from idkey.widgets.box import box_view
    from idkey.widgets.care import care_view
    from idkey.widgets.compare import compare_view
    from idkey.widgets.editor import table_editor
    from idkey.widgets.identify import identify
    from idkey.widgets.photo import photo_view

_HOMES = {
    "book.book": ("open_book",),
    "book.box": ("check_box",),
    "book.pair": ("same_kind",),
    "care.sheet": ("CareSheet", "care_for"),
    "care.room": ("check_tank",),
    "errors": ("IdkeyError",),
    "model.compare": ("compare",),
    "model.identify": ("Identification",),
    "model.key": ("build_key",),
    "model.match": ("NearestMatch",),
    "phone.file": ("pocket",),
    "table.folder": ("load_table", "start_table"),
    "table.own": ("use_table",),
    "table.table": ("TraitTable",),
    "widgets.box": ("box_view",),
    "widgets.care": ("care_view",),
    "widgets.compare": ("compare_view",),
    "widgets.editor": ("table_editor",),
    "widgets.identify": ("identify",),
    "widgets.photo": ("photo_view",),
}
_HOME = {name: f"idkey.{home}" for home, names in _HOMES.items() for name in names}

__all__ = sorted(_HOME)


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'idkey' has no attribute {name!r}")
    return globals().setdefault(name, getattr(import_module(_HOME[name]), name))


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
