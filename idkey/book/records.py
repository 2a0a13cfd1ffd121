"""The records of a book: boxes, bags, fish, looks, names given, what became of a fish.

Ids are made by the program, so that two desks never clash. Nothing is overwritten: a later look, name or
event stands beside the earlier ones. Times are UTC; `zone` is the keeper's clock then, as "+02:00".
"""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from sqlalchemy import JSON, DateTime, ForeignKey, Index, LargeBinary, Text, TypeDecorator, UniqueConstraint
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column, relationship

EVENTS = ("kept", "moved", "paired", "sold", "died", "note")
"""What may become of a fish."""
PLACED = ("kept", "moved")
"""Events whose detail is the tank."""


class _Moment(TypeDecorator[dt.datetime]):
    """A time in UTC; SQLite has no zones, so that it stands there without one."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: dt.datetime | None, dialect: Any) -> dt.datetime | None:
        return value and value.astimezone(dt.UTC)

    def process_result_value(self, value: dt.datetime | None, dialect: Any) -> dt.datetime | None:
        return value and (value.astimezone(dt.UTC) if value.tzinfo else value.replace(tzinfo=dt.UTC))


class Record(DeclarativeBase):
    """What every record has: columns, and a way to be told."""

    type_annotation_map = {  # noqa: RUF012 - read by the library
        dt.datetime: _Moment,
        str: Text,
        bytes: LargeBinary,
        dict[str, Any]: JSON,
        list[str]: JSON,
    }

    def as_dict(self) -> dict[str, Any]:
        """Return the columns of this record by name."""
        return {column.name: getattr(self, column.key) for column in self.__table__.columns}

    def __repr__(self) -> str:
        plain = (int, float, str, dt.date)
        told = (
            (name, cell) for name, cell in self.as_dict().items() if isinstance(cell, plain) and cell != ""
        )
        return f"{type(self).__name__}({', '.join(f'{name}={cell!s}' for name, cell in told)})"


class _Made:
    """An id made by the program."""

    id: Mapped[uuid.UUID] = mapped_column(primary_key=True, default=uuid.uuid4)


class _Act(_Made):
    """Something that a person did, and when."""

    who: Mapped[str] = mapped_column(default="")
    at: Mapped[dt.datetime]
    zone: Mapped[str]


class Volume(Record):
    """The book itself, one row: the version of its form, and what it says of itself."""

    __tablename__ = "book"
    version: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    holds: Mapped[str]


class Counter(Record):
    """The last running number given to a box or a fish: one is never given twice."""

    __tablename__ = "counter"
    name: Mapped[str] = mapped_column(primary_key=True)
    value: Mapped[int]


class Box(_Made, Record):
    """A box as it came: date, seller, invoice; `number` is for people."""

    __tablename__ = "box"
    number: Mapped[int] = mapped_column(unique=True)
    date: Mapped[dt.date]
    seller: Mapped[str]
    invoice: Mapped[str] = mapped_column(default="")
    note: Mapped[str] = mapped_column(default="")
    bags: Mapped[list[Bag]] = relationship(back_populates="box", order_by="Bag.number", lazy="selectin")


class Bag(_Made, Record):
    """A bag of a box: its label as written, how many fish, and the tank they went to."""

    __tablename__ = "bag"
    __table_args__ = (UniqueConstraint("box_id", "number"),)
    box_id: Mapped[uuid.UUID] = mapped_column(ForeignKey("box.id"))
    number: Mapped[int]
    label: Mapped[str]
    count: Mapped[int] = mapped_column(default=1)
    tank: Mapped[str] = mapped_column(default="")
    box: Mapped[Box] = relationship(back_populates="bags", lazy="joined")
    fish: Mapped[list[Fish]] = relationship(back_populates="bag", order_by="Fish.number", lazy="raise")
    """Read with `Book.box` alone."""


class Fish(_Made, Record):
    """A fish, or a lot of `count`; `number` runs over the whole book and is printed on labels."""

    __tablename__ = "fish"
    number: Mapped[int] = mapped_column(unique=True)
    bag_id: Mapped[uuid.UUID | None] = mapped_column(ForeignKey("bag.id"), index=True)
    tag: Mapped[str] = mapped_column(default="")
    count: Mapped[int] = mapped_column(default=1)
    kept_at: Mapped[dt.datetime]
    bag: Mapped[Bag | None] = relationship(back_populates="fish", lazy="joined")
    photos: Mapped[list[Photo]] = relationship(order_by="Photo.place", lazy="selectin")
    looks: Mapped[list[Look]] = relationship(order_by="Look.at", lazy="selectin")
    namings: Mapped[list[Naming]] = relationship(order_by="Naming.at", lazy="selectin")
    events: Mapped[list[Event]] = relationship(order_by="Event.at", lazy="selectin")

    @property
    def look(self) -> Look | None:
        """The latest look."""
        return self.looks[-1] if self.looks else None

    @property
    def naming(self) -> Naming | None:
        """The name that it bears: the one given last."""
        return self.namings[-1] if self.namings else None

    @property
    def tank(self) -> str:
        """Where it was put last."""
        return next((event.detail for event in reversed(self.events) if event.what in PLACED), "")


class _OfFish:
    """Something about one fish."""

    fish_id: Mapped[uuid.UUID] = mapped_column(ForeignKey("fish.id"), index=True)


class Photo(_Made, _OfFish, Record):
    """A picture: where the file is, its SHA-256, and the points marked on it."""

    __tablename__ = "photo"
    place: Mapped[str]
    sha256: Mapped[str]
    points: Mapped[dict[str, Any]] = mapped_column(default=dict)


class Edition(Record):
    """A trait table as it was when looks were judged by it; `content` is a zip of its files.

    `id` is the SHA-256 of the files.
    """

    __tablename__ = "edition"
    id: Mapped[str] = mapped_column(primary_key=True)
    name: Mapped[str]
    version: Mapped[str]
    date: Mapped[str]
    content: Mapped[bytes] = mapped_column(deferred=True)

    def as_dict(self) -> dict[str, Any]:
        """Return the columns but for the content."""
        return {name: getattr(self, name) for name in ("id", "name", "version", "date")}


class Look(_Act, _OfFish, Record):
    """One look at a fish: everything that is needed to judge it again.

    `answers` are those of `Identification.answers`, in their order, `unseen` what could not be seen, `young`
    what was said of the age; `prior` as ``Identification(table, **look.prior)`` takes it, `label` the label
    of the bag where the names on it were the prior. `names` holds the probability then of each kind, by id,
    and of "none of these", from 1e-4; `package` the version of idkey that judged.
    """

    __tablename__ = "look"
    answers: Mapped[dict[str, Any]]
    unseen: Mapped[list[str]]
    young: Mapped[bool | None]
    label: Mapped[str | None]
    prior: Mapped[dict[str, Any]]
    names: Mapped[dict[str, Any]]
    edition_id: Mapped[str] = mapped_column(ForeignKey("edition.id"))
    package: Mapped[str]
    edition: Mapped[Edition] = relationship(lazy="joined")


class Naming(_Act, _OfFish, Record):
    """A name given: the kind, how it was written then, the probability then, and on what ground."""

    __tablename__ = "naming"
    look_id: Mapped[uuid.UUID | None] = mapped_column(ForeignKey("look.id"))
    taxon: Mapped[str]
    name: Mapped[str]
    probability: Mapped[float | None]
    ground: Mapped[str]
    look: Mapped[Look | None] = relationship(lazy="raise")
    """Among `Fish.looks`; stated here so that a look is written before its name."""


class Event(_Act, _OfFish, Record):
    """What became of a fish; `detail` is the tank, the buyer (initials or a number will do), the partner."""

    __tablename__ = "event"
    what: Mapped[str]
    detail: Mapped[str] = mapped_column(default="")


class Word(Record):
    """A text that a fish is found by: of its tag, tank, label or name, in the one spelling for comparing."""

    __tablename__ = "word"
    number: Mapped[int] = mapped_column(ForeignKey("fish.number"), primary_key=True)
    what: Mapped[str] = mapped_column(primary_key=True)
    # Compared byte by byte, so that the index serves for beginnings of words.
    text: Mapped[str] = mapped_column(
        Text().with_variant(Text(collation="C"), "postgresql"), primary_key=True
    )
    # Of the many fish of one name the newest are found in the index alone.
    __table_args__ = (Index("ix_word_text", "text", "number"),)
