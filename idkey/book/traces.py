"""A person's traces in a book, deleted: of a seller, a buyer, or one who looked at fish."""

from __future__ import annotations

import re
from typing import Any

from sqlalchemy import delete, func, select, update
from sqlalchemy.orm import Session

from idkey.book.entries import find_by, own_words
from idkey.book.records import Bag, Box, Event, Fish, Look, Naming, Word
from idkey.errors import IdkeyError
from idkey.table.names import folded

_A_NAME = re.compile(r"[^\W\d_]{3}")
_FREE = (Box.note, Bag.label, Bag.tank, Fish.tag, Look.label, Event.detail)
"""Columns in which the name of a person may stand among other words."""


def delete_traces(session: Session, person: str) -> int:
    """Blank a person out, and return in how many records.

    A box bought of the person loses its invoice number, too. Initials and numbers are no traces in free
    words, where they may mean anything; a name of three letters or more is. Case makes no difference.
    """
    words = person.split() if isinstance(person, str) else []
    if not words:
        raise IdkeyError(f"forget: {person!r}: write a name, initials or a number as in the book")
    whole = re.compile(r"\s+".join(map(re.escape, words)), re.IGNORECASE)
    within = re.compile(rf"(?<!\w){whole.pattern}(?!\w)", re.IGNORECASE)
    count = 0
    for column, blanked in (
        (Box.seller, {"seller": "", "invoice": ""}),
        (Look.who, {"who": ""}),
        (Naming.who, {"who": ""}),
        (Event.who, {"who": ""}),
    ):
        for said in _said(session, column):
            if whole.fullmatch(said.strip()):
                count += _change(session, column, said, blanked)
    is_name = _A_NAME.search(person) is not None
    # What is told of a sale is the buyer; elsewhere initials and numbers are not looked for.
    free = dict.fromkeys(_FREE, ()) if is_name else {Event.detail: (Event.what == "sold",)}
    for column, where in free.items():
        for said in _said(session, column, *where):
            if within.search(said):
                new = {column.key: within.sub("", said).strip(" ,;")}
                count += _change(session, column, said, new, *where)
    if is_name and (name := folded(person)):
        said = [said for said in _said(session, Word.text, Word.what != "name") if name in said]
        touched = [*session.scalars(select(Word.number).where(Word.text.in_(said)).distinct())]
        session.execute(delete(Word).where(Word.number.in_(touched), Word.what != "name"))
        for fish in session.scalars(select(Fish).where(Fish.number.in_(touched))).unique():
            find_by(session, fish, **own_words(fish))
    return count


def _said(session: Session, column: Any, *where: Any) -> list[str]:
    return [*session.scalars(select(column).where(column != "", *where).distinct())]


def _change(session: Session, column: Any, said: str, new: dict[str, str], *where: Any) -> int:
    kind = column.class_
    count = session.scalar(select(func.count()).select_from(kind).where(column == said, *where)) or 0
    session.execute(update(kind).where(column == said, *where).values(new))
    return count
