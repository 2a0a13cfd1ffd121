"""Tell spotted suckermouth catfishes apart: a trait table, a key, a nearest match and care sheets.

`import idkey` loads neither ipywidgets nor matplotlib; the notebook widgets come when first asked for.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from idkey.care.sheet import CareSheet, care_for
from idkey.care.tank import check_tank
from idkey.errors import IdkeyError
from idkey.model.compare import compare
from idkey.model.identify import Identification
from idkey.model.key import Key, build_key
from idkey.model.match import NearestMatch
from idkey.table.files import load_table
from idkey.table.store import start_table
from idkey.table.table import TraitTable

if TYPE_CHECKING:
    from idkey.widgets.care import care_view
    from idkey.widgets.compare import compare_view
    from idkey.widgets.editor import table_editor
    from idkey.widgets.identify import identify

__all__ = [
    "CareSheet",
    "Identification",
    "IdkeyError",
    "Key",
    "NearestMatch",
    "TraitTable",
    "build_key",
    "care_for",
    "care_view",
    "check_tank",
    "compare",
    "compare_view",
    "identify",
    "load_table",
    "start_table",
    "table_editor",
]

_WIDGETS = {
    "care_view": "idkey.widgets.care",
    "compare_view": "idkey.widgets.compare",
    "identify": "idkey.widgets.identify",
    "table_editor": "idkey.widgets.editor",
}


def __getattr__(name: str) -> Any:
    if name in _WIDGETS:
        return getattr(import_module(_WIDGETS[name]), name)
    msg = f"module 'idkey' has no attribute {name!r}"
    raise AttributeError(msg)
