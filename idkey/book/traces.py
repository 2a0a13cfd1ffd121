"""A person's traces in a book, deleted: of a seller, a buyer, or one who looked at fish."""

from __future__ import annotations

import re
from typing import Any

from sqlalchemy import func, select, update
from sqlalchemy.orm import Session

from idkey.book.records import Box, Event, Look, Naming
from idkey.errors import IdkeyError

_FREE = (Box.note, Event.detail)
"""Columns of free words, in which a name may stand anywhere."""
_A_NAME = re.compile(r"[^\W\d_]{3}")


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
        (Event.detail, {"detail": ""}),
    ):
        more = [Event.what == "sold"] if column is Event.detail else []
        for said in _said(session, column, *more):
            if whole.fullmatch(said.strip()):
                count += _change(session, column, said, blanked, *more)
    for column in _FREE if _A_NAME.search(person) else ():
        for said in _said(session, column):
            if within.search(said):
                count += _change(session, column, said, {column.key: within.sub("", said).strip()})
    return count


def _said(session: Session, column: Any, *where: Any) -> list[str]:
    return [*session.scalars(select(column).where(column != "", *where).distinct())]


def _change(session: Session, column: Any, said: str, new: dict[str, str], *where: Any) -> int:
    kind = column.class_
    count = session.scalar(select(func.count()).select_from(kind).where(column == said, *where)) or 0
    session.execute(update(kind).where(column == said, *where).values(new))
    return count
