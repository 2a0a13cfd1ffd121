"""What is written into a book: checked, and made into records."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import re
import uuid
import warnings
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from idkey.arguments import shown
from idkey.book.editions import edition_id
from idkey.book.records import Event, Fish, Look, Photo, Word
from idkey.errors import IdkeyError, TableWarning, refusal
from idkey.model.identify import Identification
from idkey.table.csvfile import cell_problem
from idkey.table.layout import VERSION
from idkey.table.names import folded
from idkey.table.schema import LIFE_STAGE
from idkey.table.table import TraitTable

LEAST = 1e-4
"""Least probability that is kept of a name."""
_STARTS = 5
_BREAK = re.compile(r"\s*[\n\r\v\f\x1c-\x1e\x85\u2028\u2029]\s*")


def look_of(fish: Identification, who: str) -> Look:
    """Return an identification as a record, without its time."""
    stage = fish.answers.get(LIFE_STAGE)
    prior = fish.prior if isinstance(fish.prior, str | Mapping | None) else [*fish.prior]
    if isinstance(prior, Mapping):
        prior = {str(taxon): float(weight) for taxon, weight in prior.items()}
    return Look(
        answers=dict(fish.answers),
        unseen=[*fish.unseen],
        young=None if stage is None else stage == "young",
        label=None,
        prior={"prior": prior, "none_prior": fish.none_prior, "coverage": fish.coverage},
        names={row.taxon: float(row.probability) for row in fish.ranked() if row.probability >= LEAST},
        edition_id=edition_id(fish.table),
        package=VERSION,
        who=text_of("who", who),
    )


def likeliest(fish: Identification) -> list[str]:
    """Return what a fish is found by before it is named: its likeliest kind, once anything was answered."""
    return [fish.ranked()[0].name] if fish.answers else []


def same(there: Fish, look: Look) -> Fish:
    """Return a fish that was written before. Raises IdkeyError where it was not seen so then."""
    first = there.looks[0]
    if (first.answers, first.unseen) != (look.answers, look.unseen):
        raise IdkeyError(f"fish {there.number}: is kept under this id with other answers; add a look to it")
    return there


def find_by(session: Session, fish: Fish, **texts: Sequence[str]) -> None:
    """Have a fish found by these texts: by all names that it had, and by its present tank alone."""
    there = {
        (word.what, word.text): word for word in session.scalars(select(Word).filter_by(number=fish.number))
    }
    wanted = {(what, words) for what, said in texts.items() for text in said for words in starts_of(text)}
    for what, words in sorted(wanted - there.keys()):
        session.add(Word(number=fish.number, what=what, text=words))
    if "tank" in texts:
        for left in there.keys() - wanted:
            if left[0] == "tank":
                session.delete(there[left])


def own_words(fish: Fish) -> dict[str, list[str]]:
    """Return what a fish is found by but for its names, as `find_by` takes it."""
    return {"tag": [fish.tag], "tank": [fish.tank], "label": [fish.bag.label] if fish.bag else []}


def first_events(look: Look, tank: str, label: str) -> list[Event]:
    """Return what is written of a fish when it is kept; a label of a bag that is in no box is a note."""
    said = [("kept", tank)] + [("note", f"bag: {label}")] * bool(label)
    return [
        Event(
            what=what, detail=detail, who=look.who, at=look.at + dt.timedelta(microseconds=i), zone=look.zone
        )
        for i, (what, detail) in enumerate(said)
    ]


def reopened(fish: Fish, table: TraitTable) -> Identification:
    """Return a fish as it was last seen, by a table; what the table can't take is left out with a warning."""
    look, left = fish.looks[-1], []
    try:
        found = Identification(table, **look.prior)
    except IdkeyError as error:
        left.append(str(error))
        found = Identification(table)
    for trait, answer in {**look.answers, **dict.fromkeys(look.unseen)}.items():
        try:
            found.answer(trait, answer)
        except IdkeyError as error:
            left.append(str(error))
    if left:
        warnings.warn(f"fish {fish.number}: left out: {'; '.join(left)}", TableWarning, stacklevel=3)
    return found


def starts_of(text: str) -> list[str]:
    """Return a text from each of its words on: what is looked for may be the second."""
    words = folded(text).split()
    return [" ".join(words[start:]) for start in range(min(len(words), _STARTS))]


def time_of(at: dt.datetime | None = None) -> tuple[dt.datetime, str]:
    """Return a time with its zone, by default now, in UTC, and the keeper's clock, as "+02:00"."""
    at = at or dt.datetime.now(dt.UTC).astimezone()
    return at.astimezone(dt.UTC), at.isoformat()[-6:]


def moment_after(earlier: Sequence[Any]) -> tuple[dt.datetime, str]:
    """Return the time of what is written now, later than all before it: clocks of two desks may differ."""
    now, zone = time_of()
    return max([now, *(record.at + dt.timedelta(microseconds=1) for record in earlier)]), zone


def text_of(what: str, value: Any) -> str:
    """Return what a person wrote. Raises IdkeyError for what can't be written."""
    # A line break is but how it was set.
    text = "" if value is None else _BREAK.sub(" ", str(value)).strip()
    if problem := cell_problem(text):
        raise IdkeyError(f"{what}: {text[:100]!r}: {problem}")
    return text


def count_of(value: Any) -> int:
    """Return how many fish. Raises IdkeyError."""
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value < 10**9:
        raise IdkeyError(f"count: {shown(value)}: how many fish, a whole number from 1")
    return value


def day_of(value: dt.date | str | None) -> dt.date:
    """Return a day, by default today. Raises IdkeyError."""
    if isinstance(value, dt.datetime):
        return value.date()
    if isinstance(value, dt.date):
        return value
    try:
        return dt.date.fromisoformat(value) if value else dt.date.today()
    except ValueError:
        raise IdkeyError(f"date: {value!r}: write the day as 2026-05-31") from None


def id_of(value: uuid.UUID | str | None) -> uuid.UUID:
    """Return an id, by default a new one. Raises IdkeyError."""
    if value is None or isinstance(value, uuid.UUID):
        return value or uuid.uuid4()
    try:
        return uuid.UUID(value)
    except (TypeError, ValueError, AttributeError):
        raise IdkeyError(f"fish_id: {value!r}: give a UUID, as uuid.uuid4() makes") from None


def photo_of(photo: Any) -> Photo:
    """Return a picture, and the points on it, as a record. Raises IdkeyError where it can't be read."""
    path, points = photo if isinstance(photo, tuple) else (photo, {})
    try:
        json.dumps(dict(points), allow_nan=False)
    except (TypeError, ValueError):
        raise IdkeyError(
            f"photo: {shown(points)}: give what JSON can hold, as Points.to_json() does"
        ) from None
    try:
        place = Path(path).resolve()
        digest = hashlib.sha256(place.read_bytes()).hexdigest()
    except (OSError, TypeError, ValueError) as error:
        raise IdkeyError(f"photo: {str(path)!r}: the file can't be read ({refusal(error)})") from None
    return Photo(place=str(place), sha256=digest, points=dict(points))
