"""What shows an object: which document is made of it, and how that is drawn; behind `idkey.display`."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from idkey.views import book, box, care, compare, edit, identify, key, labels, photo, review
from idkey.views import html as on_screen
from idkey.views.doc import Document, as_text

_DOCUMENTS: dict[str, Callable[..., Document]] = {
    "Apart": review.apart_document,
    "BoxCheck": box.box_document,
    "CareSheet": care.care_document,
    "Change": review.change_document,
    "Comparison": compare.compare_document,
    "Draft": edit.draft_document,
    "Identification": identify.identification_document,
    "Import": edit.import_document,
    "Key": key.key_document,
    "Labels": labels.labels_document,
    "Letter": box.letter_document,
    "Lookalikes": compare.lookalikes_document,
    "Measures": photo.measures_document,
    "Question": identify.question_document,
    "Rates": book.rates_document,
    "Recheck": book.recheck_document,
    "Review": review.review_document,
    "RoomCheck": care.room_document,
    "SameKind": book.same_kind_document,
    "TankCheck": care.tank_document,
    "TraitTable": edit.table_document,
}
"""Name of a class -> what makes a document of its objects; their HTML, their text and their print follow."""


def document(thing: Any, **options: Any) -> Document:
    """Return an object as a document. Raises TypeError for what has none."""
    kinds = [kind.__name__ for kind in type(thing).__mro__ if kind.__name__ in _DOCUMENTS]
    if not kinds:
        raise TypeError(f"nothing shows a {type(thing).__name__}")
    return _DOCUMENTS[kinds[0]](thing, **options)


def text(thing: Any, **options: Any) -> str:
    """Return an object as lines of plain text."""
    return as_text(document(thing, **options))


def html(thing: Any, **options: Any) -> str:
    """Return an object as a self-contained piece of HTML."""
    return on_screen.render(document(thing, **options))
