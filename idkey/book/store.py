"""Where a book is kept: a file (SQLite) or a server (PostgreSQL), opened, carried forward, read and written.

On SQLite a write takes the lock at once and is on the disk when it comes back (write-ahead log, full sync),
so that a confirmed look survives a power cut; see SQLite's "Write-Ahead Logging" and "PRAGMA synchronous".
"""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from glob import escape
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, insert, inspect, make_url, select, text
from sqlalchemy.exc import ArgumentError, DBAPIError, SQLAlchemyError
from sqlalchemy.orm import Session

from idkey.book.records import Box, Counter, Fish, Record, Volume
from idkey.errors import IdkeyError, refusal

STEPS: tuple[Callable[[Connection], None], ...] = ()
"""What carries a book forward, from version 1 to 2 and on; each is run once, within one transaction."""

HOLDS = (
    "A fish room's book: boxes with their sellers, bags with their labels, fish, looks, names given, what "
    "became of them. Persons stand in box (seller, invoice, note), event.detail (buyers) and the columns "
    "who; initials or a number will do. Book.forget(person) of the Python package idkey deletes a person's "
    "traces."
)
_MARK = 0x69646B79  # SQLite's application_id of a book
_SCHEMES = ("postgresql", "postgresql+psycopg", "postgres")
_WAIT_S, _POLL_S = 10, 0.02
_LOCK = 0x69646B79  # of a server: held while a book is made or carried forward
_ROOM = "no room is left on the disk"
_RIGHT = "there is no right to write here"
_BUSY = f"another program has been writing to it for {_WAIT_S} seconds"
_CLASH = "another desk has written the same at this moment; try again"
_NO_BOOK = "this is no book; give the path of a book, or of a file that is not there yet"
_DAMAGED = "the file is damaged; go back to a copy of it"
_GONE = "the server can't be reached, or has gone"
_OF_SQLITE = {
    sqlite3.SQLITE_FULL: _ROOM,
    sqlite3.SQLITE_READONLY: _RIGHT,
    sqlite3.SQLITE_CANTOPEN: "it can't be opened; there is no right to read or write here",
    sqlite3.SQLITE_PERM: _RIGHT,
    sqlite3.SQLITE_BUSY: _BUSY,
    sqlite3.SQLITE_LOCKED: _BUSY,
    sqlite3.SQLITE_CONSTRAINT: _CLASH,
    sqlite3.SQLITE_NOTADB: _NO_BOOK,
    sqlite3.SQLITE_CORRUPT: _DAMAGED,
    sqlite3.SQLITE_IOERR: "the disk can't be read or written",
}
_OF_SERVER = {
    "53100": _ROOM,
    "25006": _RIGHT,
    "42501": _RIGHT,
    "23505": _CLASH,
    "55P03": _BUSY,
    "40P01": _BUSY,
    "40001": _BUSY,
    "57014": _BUSY,
}
_UNSURE = (
    "what was being written may be in the book or not; give it again, under the same id it is written once"
)


def version() -> int:
    """Return the version of the form in which this package writes a book."""
    return 1 + len(STEPS)


class Store:
    """A book's place, and the two ways to it: `reading` and `writing`. Raises IdkeyError."""

    def __init__(self, address: str | os.PathLike[str]):
        self._is_open = True
        url = _url(address)
        self._file = Path(url.database).resolve() if url.drivername == "sqlite" else None
        self.place = str(self._file or url.render_as_string(hide_password=True).replace("+psycopg", ""))
        with self._plainly("no book was opened"):
            self.engine = self._file_engine(self._file) if self._file else self._server_engine(url)
        try:
            with self._plainly("no book was opened"):
                self._prepare()
        except BaseException:
            self.close()
            raise

    @property
    def is_server(self) -> bool:
        """Whether it is a PostgreSQL server."""
        return self._file is None

    # -- ways to it -----------------------------------------------------------------------------

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """Read what one moment holds."""
        with self._plainly("nothing was changed"), Session(self._reader, expire_on_commit=False) as session:
            yield session

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """Write all of it or nothing; when this comes back it is on the disk."""
        with (
            self._plainly("nothing was written", _UNSURE),
            Session(self._writer, expire_on_commit=False) as session,
            session.begin(),
        ):
            yield session

    def close(self) -> None:
        """Let go of the file or the server."""
        self._is_open = False
        self.engine.dispose()

    @contextmanager
    def _plainly(self, outcome: str, unsure: str = "") -> Iterator[None]:
        """Say in one line what was in the way, where, and what came of it."""
        if not self._is_open:
            raise IdkeyError(f"{self.place}: the book was closed; open it again with idkey.open_book")
        try:
            yield
        except (SQLAlchemyError, sqlite3.Error, OSError, OverflowError) as error:
            why = _why(error)
            outcome = unsure if unsure and why.startswith(_GONE) else outcome
            raise IdkeyError(" ".join(f"{self.place}: {why}; {outcome}".split())) from error

    # -- a file ---------------------------------------------------------------------------------

    def _file_engine(self, file: Path) -> Engine:
        if file.is_dir():
            raise IdkeyError(f"{file}: is a folder; {_NO_BOOK}")
        if not file.parent.is_dir():
            raise IdkeyError(f"{file}: there is no folder {file.parent}; make it, or choose another")
        if file.exists() and file.stat().st_size:
            # Asked before anything is set, so that another program's file is left as it is.
            with closing(sqlite3.connect(f"{file.as_uri()}?mode=ro", uri=True, timeout=_WAIT_S)) as found:
                (mark,) = found.execute("PRAGMA application_id").fetchone()
                (tables,) = found.execute("SELECT count(*) FROM sqlite_master").fetchone()
            if mark != _MARK and tables:
                raise IdkeyError(f"{file}: {_NO_BOOK}")
        engine = create_engine(
            URL.create("sqlite", database=str(file)),
            connect_args={"timeout": _WAIT_S, "check_same_thread": False},
        )
        event.listen(engine, "connect", _set_up)
        event.listen(engine, "begin", _begin)
        self._reader, self._writer = engine, engine.execution_options(write=True)
        return engine

    # -- a server -------------------------------------------------------------------------------

    def _server_engine(self, url: URL) -> Engine:
        try:
            engine = create_engine(
                url,
                pool_pre_ping=True,
                connect_args={
                    "connect_timeout": _WAIT_S,
                    "keepalives_idle": _WAIT_S,
                    "options": f"-c lock_timeout={_WAIT_S}s {url.query.get('options', '')}",
                },
            )
        except ImportError:
            raise IdkeyError(
                f"{self.place}: a server needs psycopg; install it with pip install 'idkey[server]'"
            ) from None
        self._reader = engine.execution_options(isolation_level="REPEATABLE READ")
        self._writer = engine
        return engine

    # -- made and carried forward ---------------------------------------------------------------

    def _prepare(self) -> None:
        with self._reader.begin() as connection:
            found = self._version(connection)
        if found == version():
            return
        with self._writer.begin() as connection:
            if self.is_server:
                connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _LOCK})
            # Asked again under the lock: another desk may have been quicker.
            found = self._version(connection)
            if found is None:
                self._make(connection)
            elif found < version():
                copy = self._copy_on_server if self.is_server else self._copy_of_file
                copy(connection, found)
                for step in STEPS[found - 1 :]:
                    step(connection)
                connection.execute(text("UPDATE book SET version = :new"), {"new": version()})

    def _version(self, connection: Connection) -> int | None:
        """Return the version of the book that is there; None where there is none yet."""
        names = {*inspect(connection).get_table_names()}
        if "book" not in names:
            if taken := sorted(names & {*Record.metadata.tables}):
                raise IdkeyError(f"{self.place}: holds other tables ({', '.join(taken)}); give it a database")
            return None
        found = connection.execute(text("SELECT version FROM book")).scalar_one()
        if found > version():
            raise IdkeyError(
                f"{self.place}: the book has version {found}, and this package knows {version()} and older; "
                "update idkey"
            )
        return found

    def _make(self, connection: Connection) -> None:
        Record.metadata.create_all(connection)
        connection.execute(insert(Volume).values(version=version(), holds=HOLDS))
        counters = [{"name": kind.__tablename__, "value": 0} for kind in (Box, Fish)]
        connection.execute(insert(Counter), counters)
        if not self.is_server:
            connection.exec_driver_sql(f"PRAGMA application_id = {_MARK}")

    def copies(self) -> list[str]:
        """Return where copies of older versions of this book are kept."""
        if self._file:
            return sorted(map(str, self._file.parent.glob(f"{escape(self._file.stem)} (version *).sqlite")))
        with self.reading() as session:
            found = inspect(session.connection())
            names, own = found.get_schema_names(), f"{found.default_schema_name}_version_"
        return [name for name in names if name.startswith(own)]

    def _copy_of_file(self, connection: Connection, old: int) -> None:
        """Copy the file as it was, by SQLite's own backup; `connection` holds the lock meanwhile."""
        assert self._file
        place = self._file.with_name(f"{self._file.stem} (version {old}, {_stamp()}).sqlite")
        half = place.with_suffix(".part")
        try:
            with (
                closing(sqlite3.connect(f"{self._file.as_uri()}?mode=ro", uri=True)) as source,
                closing(sqlite3.connect(half)) as target,
            ):
                source.backup(target)
            os.replace(half, place)
        finally:
            half.unlink(missing_ok=True)

    def _copy_on_server(self, connection: Connection, old: int) -> None:
        """Copy the tables as they were into a schema of their own."""
        found = inspect(connection)
        schema = f'"{found.default_schema_name}_version_{old}_{_stamp()}"'
        connection.execute(text(f"CREATE SCHEMA {schema}"))
        for table in {*found.get_table_names()} & {*Record.metadata.tables}:
            connection.execute(text(f'CREATE TABLE {schema}."{table}" AS TABLE "{table}"'))

    def sweep(self) -> None:
        """Have what was deleted gone from the file, too, and not only from what is found in it."""
        with self._plainly("what was deleted may still be read in the file by force; try again"):
            if self._file:
                with closing(sqlite3.connect(self._file, timeout=_WAIT_S, isolation_level=None)) as bare:
                    bare.execute("VACUUM")
                    bare.execute("PRAGMA wal_checkpoint(TRUNCATE)")
                return
            with self.engine.connect() as connection:
                connection.execution_options(isolation_level="AUTOCOMMIT").execute(text("VACUUM"))


def next_number(session: Session, kind: type[Box] | type[Fish], wished: int = 0) -> int:
    """Return the next running number of a box or a fish, or one that is `wished` and not given away yet.

    Who asks next waits until this one is written.
    """
    counter = session.execute(
        select(Counter).where(Counter.name == kind.__tablename__).with_for_update()
    ).scalar_one()
    counter.value = max(counter.value + 1, wished)
    return counter.value


def _url(address: str | os.PathLike[str]) -> URL:
    """Return an address as the library takes it; a path is one, too."""
    if isinstance(address, os.PathLike) or (address and "://" not in address):
        return URL.create("sqlite", database=os.fspath(address))
    try:
        url = make_url(address)
        if url.drivername in _SCHEMES:
            return url.set(drivername="postgresql+psycopg")
    except (ArgumentError, ValueError):
        pass
    shown = address.split("@")[-1]
    raise IdkeyError(f"open_book: {shown!r}: give the path of a file, or postgresql://user@server/database")


def _set_up(connection: sqlite3.Connection, _: Any) -> None:
    """Prepare one connection to a file: transactions are begun by `_begin` alone."""
    connection.isolation_level = None
    run = connection.execute
    run(f"PRAGMA busy_timeout = {1000 * _WAIT_S}")
    run("PRAGMA foreign_keys = ON")
    run("PRAGMA synchronous = FULL")
    run("PRAGMA secure_delete = ON")
    until = time.monotonic() + _WAIT_S
    # SQLite does not wait for this one by itself. A file that is read only is read as it is.
    while run("PRAGMA journal_mode").fetchone() != ("wal",):
        try:
            run("PRAGMA journal_mode = WAL")
            break
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode == sqlite3.SQLITE_READONLY:
                break
            if error.sqlite_errorcode != sqlite3.SQLITE_BUSY or time.monotonic() > until:
                raise
            time.sleep(_POLL_S)


def _begin(connection: Connection) -> None:
    write = connection.get_execution_options().get("write")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if write else "BEGIN")


def _stamp() -> str:
    return f"{datetime.now(UTC):%Y%m%dT%H%M%SZ}"


def _why(error: Exception) -> str:
    """Return in words what the system or the database did not allow."""
    cause = error.orig if isinstance(error, DBAPIError) else error
    if isinstance(cause, OSError):
        return refusal(cause)
    if isinstance(cause, OverflowError):
        return "a number is too large"
    if isinstance(cause, sqlite3.Error):
        code = getattr(cause, "sqlite_errorcode", None)
        return _OF_SQLITE.get(code and code & 0xFF, str(cause))
    state = getattr(cause, "sqlstate", None)
    if state in _OF_SERVER:
        return _OF_SERVER[state]
    if state is None or state.startswith(("08", "57")):
        # Of a connection that was refused the server says why in its own words.
        _, fatal, said = str(cause).partition("FATAL:")
        return f"{_GONE} ({said.splitlines()[0].strip()})" if fatal else _GONE
    return str(cause)
