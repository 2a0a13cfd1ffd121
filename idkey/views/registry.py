"""What stands behind the doors of `idkey.display`: what shows, prints or answers for which object."""

from __future__ import annotations

from collections.abc import Callable

import idkey.table.folder  # noqa: F401 - says how a table is saved
from idkey import display
from idkey.care.check import TankCheck
from idkey.care.room import RoomCheck
from idkey.care.sheet import CareSheet
from idkey.model.ask import Question
from idkey.model.changes import Change, what_changes
from idkey.model.compare import Comparison
from idkey.model.identify import Identification
from idkey.model.key import Key
from idkey.model.lookalikes import Apart, Lookalikes, lookalikes
from idkey.model.review import Review, review
from idkey.table.draft import Draft
from idkey.table.spreadsheet import Import
from idkey.table.table import TraitTable
from idkey.views import care, changes, compare, edit, html, identify, key, spreadsheet, table, tank, text
from idkey.views import print as print_views
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

for _kind, _made in _DOCUMENTS.items():
    display.document.register(_kind)(_made)
display.text.register(object)(lambda thing, **options: text.render(display.document(thing, **options)))
display.html.register(object)(lambda thing, **options: html.render(display.document(thing, **options)))
display.save.register(object)(print_views.save)
display.changes.register(TraitTable)(lambda new, old, **more: what_changes(old, new, **more))
display.review.register(TraitTable)(review)
display.lookalikes.register(TraitTable)(lookalikes)
