"""What shows an object: which document is made of it, and how that is drawn; behind `idkey.display`."""

from __future__ import annotations

from collections.abc import Callable
from functools import singledispatch
from typing import Any

from idkey.care.check import TankCheck
from idkey.care.room import RoomCheck
from idkey.care.sheet import CareSheet
from idkey.model.ask import Question
from idkey.model.changes import Change
from idkey.model.compare import Comparison
from idkey.model.identify import Identification
from idkey.model.key import Key
from idkey.model.lookalikes import Apart, Lookalikes
from idkey.model.review import Review
from idkey.table.draft import Draft
from idkey.table.spreadsheet import Import
from idkey.table.table import TraitTable
from idkey.views import care, changes, compare, edit, identify, key, spreadsheet, table, tank
from idkey.views import html as html_views
from idkey.views import text as text_views
from idkey.views.doc import Document
from idkey.views.review import review_document

_DOCUMENTS: dict[type, Callable[..., Document]] = {
    Apart: changes.apart_document,
    CareSheet: care.care_document,
    Change: changes.change_document,
    Comparison: compare.compare_document,
    Draft: edit.draft_document,
    Identification: identify.identification_document,
    Import: spreadsheet.import_document,
    Key: key.key_document,
    Lookalikes: compare.lookalikes_document,
    Question: identify.question_document,
    Review: review_document,
    RoomCheck: tank.room_document,
    TankCheck: tank.tank_document,
    TraitTable: table.table_document,
}
"""What makes a document of an object; its HTML, its text and its print follow."""


@singledispatch
def document(thing: Any, **options: Any) -> Document:
    """Return an object as a document. Raises TypeError for what has none."""
    msg = f"nothing shows a {type(thing).__name__}"
    raise TypeError(msg)


for _kind, _made in _DOCUMENTS.items():
    document.register(_kind)(_made)


def text(thing: Any, **options: Any) -> str:
    """Return an object as lines of plain text."""
    return text_views.render(document(thing, **options))


def html(thing: Any, **options: Any) -> str:
    """Return an object as a self-contained piece of HTML."""
    return html_views.render(document(thing, **options))
