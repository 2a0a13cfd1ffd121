"""The fish room's book: what came in, what was seen of each fish, how it was named, what became of it."""

from __future__ import annotations

import datetime as dt
import os
import uuid
import warnings
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, Literal

from sqlalchemy import Row, func, select
from sqlalchemy.orm import Session, selectinload, undefer

from idkey.arguments import checked
from idkey.book.archive import read_darwin_core
from idkey.book.editions import edition_id, edition_of, table_of
from idkey.book.entries import (
    count_of,
    day_of,
    find_by,
    first_events,
    id_of,
    likeliest,
    look_of,
    moment_after,
    photo_of,
    reopened,
    same,
    text_of,
    time_of,
)
from idkey.book.exchange import save_csv, save_darwin_core
from idkey.book.labels import GROUNDS, LOOKED_AT, Label, Labels
from idkey.book.pair import SameKind, same_kind
from idkey.book.pocket import seen_in
from idkey.book.rates import Rates, rates
from idkey.book.recheck import Recheck, recheck
from idkey.book.records import EVENTS, PLACED, Bag, Box, Edition, Event, Fish, Look, Naming, Word
from idkey.book.store import Store, next_number
from idkey.book.traces import delete_traces
from idkey.errors import IdkeyError, TableWarning, one_of
from idkey.model.identify import Identification
from idkey.table.folder import load_table
from idkey.table.names import folded, one
from idkey.table.schema import NONE
from idkey.table.table import TraitTable

_Picture = str | os.PathLike[str] | tuple[str | os.PathLike[str], Mapping[str, Any]]
_MOST_FOUND = 50
_LAST = "\U0010ffff"


@checked
def open_book(address: str | os.PathLike[str] = "fish_room.sqlite") -> Book:
    """Open a book, or begin one where there is none yet.

    Parameters
    ----------
    address : str or pathlib.Path
        The path of a file (SQLite), or ``postgresql://user@server/database``, which several desks can share.
        A file belongs on a disk of this machine, not on a network share.

    A book of an older version is carried forward; a copy of it as it was is kept beside it. Raises
    IdkeyError for a file that is no book, a newer book, a server that can't be reached, a place that can't be
    written to.
    """
    return Book(address)


@checked
class Book:
    """A book that is open; ``with idkey.open_book(...) as book`` closes it again.

    Nothing is overwritten: a later look, name or event stands beside the earlier ones. What a call returned
    is on the disk. What is returned are plain records, cut off from the book: changing one changes nothing.
    Every call raises IdkeyError, one line, where it can't be done; nothing of it is written then.
    """

    def __init__(self, address: str | os.PathLike[str]):
        self._store = Store(address)
        self._tables: dict[str, TraitTable] = {}

    # -- what came in ---------------------------------------------------------------------------

    def add_box(
        self, seller: str, date: dt.date | str | None = None, invoice: str = "", note: str = ""
    ) -> Box:
        """Write down a box: who sold it (initials or a number will do), the day (by default today)."""
        box = Box(
            date=day_of(date),
            seller=text_of("seller", seller),
            invoice=text_of("invoice", invoice),
            note=text_of("note", note),
            bags=[],
        )
        with self._store.writing() as session:
            box.number = next_number(session, Box)
            session.add(box)
        return box

    def add_bag(self, box: Box | int, label: str, count: int = 1, tank: str = "") -> Bag:
        """Write down a bag of a box: its label as written, how many fish are in it, where they went."""
        label, count, tank = text_of("label", label), count_of(count), text_of("tank", tank)
        with self._store.writing() as session:
            number = box.number if isinstance(box, Box) else box
            found = self._numbered(session, Box, number, lock=True)
            number = 1 + max((bag.number for bag in found.bags), default=0)
            bag = Bag(box=found, number=number, label=label, count=count, tank=tank)
            session.add(bag)
        return bag

    def boxes(self, most: int | None = None) -> list[Box]:
        """Return the boxes with their bags, newest first, all of them or so many."""
        with self._store.reading() as session:
            return [*session.scalars(select(Box).order_by(Box.number.desc()).limit(most))]

    def box(self, number: int) -> Box:
        """Return a box with its bags, and with the fish of each."""
        with self._store.reading() as session:
            return self._numbered(session, Box, number, selectinload(Box.bags).selectinload(Bag.fish))

    # -- what was seen --------------------------------------------------------------------------

    def keep(
        self,
        fish: Identification,
        bag: Bag | None = None,
        tank: str = "",
        tag: str = "",
        count: int = 1,
        who: str = "",
        photos: Iterable[_Picture] = (),
        fish_id: uuid.UUID | str | None = None,
        label: str = "",
        at: dt.datetime | None = None,
    ) -> Fish:
        """Keep a fish, or a lot of `count`, with the answers given of it; its `number` goes on its label.

        `label` is of a bag that is not in the book; `at`, with its zone, is when it was looked at.
        `photos` are paths of pictures, or pairs of one and the points marked on it. With a `fish_id` (a UUID)
        of your own it is safe to call this again where it is not known whether it was written: a fish is
        written once under one id.
        """
        pictures = [photo_of(photo) for photo in photos]
        tank = text_of("tank", tank) or (bag.tank if bag else "")
        kept = Fish(id=id_of(fish_id), bag_id=bag and bag.id, tag=text_of("tag", tag), count=count_of(count))
        look = look_of(fish, who)
        label = bag.label if bag else text_of("label", label)
        if label and not isinstance(fish.prior, str | None):
            look.label = label
        with self._store.writing() as session:
            if there := self._read(session, Fish.id == kept.id):
                return same(there, look)
            if bag and session.get(Bag, bag.id) is None:
                raise IdkeyError(f"{self.place}: the bag {bag.label!r} is not in it; give one of its own")
            kept.number = next_number(session, Fish)
            look.at, look.zone = time_of(at)
            look.edition = _kept_edition(session, fish.table)
            kept.photos, kept.looks = pictures, [look]
            kept.kept_at, kept.events = look.at, first_events(look, tank, "" if bag else label)
            session.add(kept)
            session.flush()
            find_by(session, kept, tag=[kept.tag], tank=[tank], label=[label], name=likeliest(fish))
            session.flush()
            session.expunge_all()
            return self._read(session, Fish.id == kept.id)

    def read_pocket(self, text: str, table: TraitTable | None = None) -> list[Fish]:
        """Keep the fish that a phone hands over, `text` as it stands in its file; those kept before are left.

        The table that the phone had judges them if it is in the book, else `table`, by default the shipped.
        """
        table = load_table() if table is None else table
        return [self.keep(**row._asdict()) for row in seen_in(text, table, self.edition)]

    def look(self, number: int, identification: Identification, who: str = "") -> Look:
        """Write down another look at a fish; the earlier ones stay."""
        look = look_of(identification, who)
        with self._store.writing() as session:
            fish = self._numbered(session, Fish, number, lock=True)
            if fish.bag and not isinstance(identification.prior, str | None):
                look.label = fish.bag.label
            look.edition = _kept_edition(session, identification.table)
            look.at, look.zone = moment_after(fish.looks)
            fish.looks.append(look)
            find_by(session, fish, name=likeliest(identification))
        return look

    def name(
        self,
        number: int,
        taxon: str,
        ground: str = LOOKED_AT,
        who: str = "",
        probability: float | None = None,
    ) -> Naming:
        """Give a fish a name: a kind of the table that it was last looked at with, by id, code or name.

        `ground` is "looked at", "grown out", "bred" or "sent to a specialist"; `probability` by default that
        of the last look. `taxon` may be "none of these".
        """
        if ground not in GROUNDS:
            raise IdkeyError(f"ground: {ground!r}: {one_of(ground, GROUNDS, 'a ground')}")
        who = text_of("who", who)
        fish = self.fish(number)
        table = self.edition(fish.looks[-1].edition_id)
        taxon = taxon if taxon == NONE else one(table, taxon)
        name = NONE if taxon == NONE else table.label(taxon)
        if probability is None:
            probability = fish.looks[-1].names.get(taxon, 0.0)
        with self._store.writing() as session:
            fish = self._numbered(session, Fish, number, lock=True)
            at, zone = moment_after(fish.namings)
            given = {"taxon": taxon, "name": name, "probability": probability, "ground": ground}
            naming = Naming(look_id=fish.looks[-1].id, who=who, at=at, zone=zone, **given)
            fish.namings.append(naming)
            find_by(session, fish, name=[name])
        return naming

    def add_photo(self, number: int, photo: _Picture) -> None:
        """Add a picture to a fish, or other points on one that it has; as `photos` of `keep`."""
        with self._store.writing() as session:
            fish = self._numbered(session, Fish, number, lock=True)
            fish.photos.append(photo_of(photo))

    def tell(self, number: int, what: str, detail: str = "", who: str = "") -> Event:
        """Tell what became of a fish.

        `what` is "moved" (`detail`: the tank), "paired" (the partner's number), "sold" (the buyer's initials
        or number), "died", "note" or "kept".
        """
        if what not in EVENTS:
            raise IdkeyError(f"what: {what!r}: {one_of(what, EVENTS, 'what became of it')}")
        detail, who = text_of("detail", detail), text_of("who", who)
        with self._store.writing() as session:
            fish = self._numbered(session, Fish, number, lock=True)
            at, zone = moment_after(fish.events)
            event = Event(what=what, detail=detail, who=who, at=at, zone=zone)
            fish.events.append(event)
            if what in PLACED:
                find_by(session, fish, tank=[detail])
        return event

    # -- what the book holds --------------------------------------------------------------------

    def fish(self, number: int) -> Fish:
        """Return a fish with its bag, photos, looks, names and events."""
        with self._store.reading() as session:
            return self._numbered(session, Fish, number)

    def find(self, text: str) -> list[Fish]:
        """Return the fish whose tag, tank, label or name has a word that begins so, or of this number.

        Case, blanks and marks make no difference. Newest first, 50 at most.
        """
        words, number = folded(str(text)), str(text).strip().lstrip("#")
        if not words:
            return []
        query = select(Word.number).where(Word.text >= words, Word.text < words + _LAST).distinct()
        with self._store.reading() as session:
            found = [*session.scalars(query.order_by(Word.number.desc()).limit(_MOST_FOUND))]
            if number.isascii() and number.isdigit() and len(number) < 10:
                found.append(int(number))
            return self._newest(session, _MOST_FOUND, Fish.number.in_(found))

    def last(self, most: int = 20) -> list[Fish]:
        """Return the fish kept last, newest first."""
        with self._store.reading() as session:
            return self._newest(session, most)

    def reopen(self, number: int, table: TraitTable) -> Identification:
        """Return the latest look at a fish as an identification by `table`, to go on with.

        What this table can't take, as when a state is gone, is left out, with a TableWarning that names it.
        """
        return reopened(self.fish(number), table)

    def labels(
        self, numbers: Iterable[int], table: TraitTable | None = None, sheet: Literal["A4", "Letter"] = "A4"
    ) -> Labels:
        """Return the labels of these fish, to print on A4 or Letter; names as `table` now judges the answers.

        A name that was given on another ground than looks stands.
        """
        table = load_table() if table is None else table
        kept = map(self.fish, numbers)
        return Labels(table, tuple(Label.of(fish, reopened(fish, table)) for fish in kept), sheet)

    def looks(self) -> Sequence[Row[Any]]:
        """Return all looks by fish, oldest first, as plain rows from one query.

        The columns are those of `Look`, and `number`, `tag` and `count` of the fish.
        """
        return self._rows(Look)

    def namings(self) -> Sequence[Row[Any]]:
        """Return all names given by fish, oldest first; columns as in `looks`."""
        return self._rows(Naming)

    def events(self) -> Sequence[Row[Any]]:
        """Return all that became of the fish, oldest first; columns as in `looks`."""
        return self._rows(Event)

    def _rows(self, kind: type[Look] | type[Naming] | type[Event]) -> Sequence[Row[Any]]:
        query = select(*kind.__table__.columns, Fish.number, Fish.tag, Fish.count)
        query = query.join(Fish, kind.fish_id == Fish.id).order_by(Fish.number, kind.at)
        with self._store.reading() as session:
            return session.execute(query).all()

    def edition(self, edition: str) -> TraitTable:
        """Return the table that a look was judged by, as it was then, by the `edition_id` of the look."""
        if edition not in self._tables:
            with self._store.reading() as session:
                query = select(Edition).where(Edition.id == edition).options(undefer(Edition.content))
                found = session.scalars(query).one_or_none()
            if found is None:
                raise IdkeyError(f"{self._store.place}: {edition!r}: the book holds no table of this id")
            self._tables[edition] = table_of(found)
        return self._tables[edition]

    def recheck(self, table: TraitTable) -> Recheck:
        """Judge every fish again by a table; see `idkey.book.recheck`. No name in the book is changed."""
        return recheck(table, self.looks(), self.edition, self.namings(), self.events())

    def same_kind(self, one: int, other: int, table: TraitTable) -> SameKind:
        """Say whether two fish are one kind, by the latest look at each; see `idkey.book.pair`.

        Out of one bag, or sold under one label, they are one draw more likely than fish from elsewhere.
        """
        if one == other:
            raise IdkeyError(f"fish {one}: is given twice; give the numbers of two fish")
        kept = [self.fish(number) for number in (one, other)]
        first, second = (folded(fish.bag.label) if fish.bag else "" for fish in kept)
        of_one_bag = kept[0].bag_id is not None and kept[0].bag_id == kept[1].bag_id
        origin = "same bag" if of_one_bag else "same label" if first and first == second else "elsewhere"
        seen = [reopened(fish, table) for fish in kept]
        return same_kind(*seen, table, origin, (f"No. {one}", f"No. {other}"))

    def rates(self, table: TraitTable) -> Rates:
        """Say how often looks erred, by the fish that were named on other grounds; see `idkey.book.rates`."""
        return rates(table, self.looks(), self.namings())

    # -- out and in -----------------------------------------------------------------------------

    def save_csv(self, folder: str | os.PathLike[str], *, overwrite: bool = False) -> None:
        """Write the whole book to a folder of CSV files, a kind of record each, persons included."""
        with self._store.reading() as session:
            save_csv(session, Path(folder), overwrite)

    def save_darwin_core(self, path: str | os.PathLike[str], *, overwrite: bool = False) -> None:
        """Write all fish, looks and names as a Darwin Core Archive (.zip); see `idkey.book.exchange`.

        Sellers, invoices and buyers are left out.
        """
        with self._store.reading() as session:
            save_darwin_core(session, Path(path), self.edition, overwrite)

    def read_darwin_core(self, path: str | os.PathLike[str]) -> int:
        """Add the fish of a Darwin Core Archive that the book does not hold, and return how many."""
        with self._store.writing() as session:
            return read_darwin_core(session, Path(path))

    def forget(self, person: str) -> int:
        """Delete the traces of a seller, a buyer, or one who looked; return in how many records.

        A box bought of the person loses its invoice number, too. In notes a name of three letters or more is
        taken out; initials and a number may mean anything there. Copies of the book are left as they are; a
        TableWarning names those that a newer version made.
        """
        with self._store.writing() as session:
            count = delete_traces(session, person)
        self._store.sweep()
        if copies := self._store.copies():
            msg = f"copies of older versions are left as they are; delete them: {', '.join(copies)}"
            warnings.warn(msg, TableWarning, stacklevel=2)
        return count

    # -- the book itself ------------------------------------------------------------------------

    @property
    def pictures(self) -> Path | None:
        """The folder beside the book for copies of pictures; a server has none."""
        return None if self._store.is_server else Path(self.place).with_suffix(".pictures")

    @property
    def place(self) -> str:
        """Where the book is: the path of its file, or the address of the server without the password."""
        return self._store.place

    def close(self) -> None:
        """Close the book."""
        self._store.close()

    def __enter__(self) -> Book:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def __str__(self) -> str:
        with self._store.reading() as session:
            counts = {
                kind: session.scalar(select(func.count()).select_from(kind)) or 0
                for kind in (Box, Bag, Fish, Look, Naming)
            }
        words = ("box", "boxes"), ("bag", "bags"), ("fish", "fish"), ("look", "looks"), ("name", "names")
        said = (
            f"{n:,} {one if n == 1 else many}" for n, (one, many) in zip(counts.values(), words, strict=True)
        )
        return f"{self.place}: {', '.join(said)}"

    __repr__ = __str__

    # -- inside ---------------------------------------------------------------------------------

    def _numbered(
        self, session: Session, kind: type[Any], number: int, *more: Any, lock: bool = False
    ) -> Any:
        query = select(kind).where(kind.number == number).options(*more)
        if lock:
            # Two desks at one fish: one after the other.
            query = query.with_for_update(of=kind)
        found = session.scalars(query).unique().one_or_none()
        if found is None:
            what, most = kind.__tablename__, session.scalar(select(func.max(kind.number)))
            right = f"the book holds {what} 1 to {most}" if most else f"the book holds no {what} yet"
            raise IdkeyError(f"{self.place}: {what} {number!r}: {right}")
        return found

    def _read(self, session: Session, where: Any) -> Any:
        return session.scalars(select(Fish).where(where)).unique().one_or_none()

    def _newest(self, session: Session, most: int, *where: Any) -> list[Fish]:
        query = select(Fish).where(*where).order_by(Fish.number.desc()).limit(most)
        return [*session.scalars(query).unique()]


def _kept_edition(session: Session, table: TraitTable) -> Edition:
    return session.get(Edition, edition_id(table)) or edition_of(table)
