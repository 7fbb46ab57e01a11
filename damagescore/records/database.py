"""Open the database, and say its faults in plain words."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url, text
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError
from sqlalchemy.exc import TimeoutError as PoolTimeout
from sqlalchemy.orm import Session

from damagescore.errors import RecordError
from damagescore.records.migrations import NEWEST, migrate

BUSY_SECONDS = 10

PAGES_KIB = 64_000
"""Changed pages up to this wait in memory for the commit. A record with 200 findings is
larger than the 2 MB that SQLite keeps by itself: half of it would be written twice."""

LOG_PAGES = 4000
"""Pages of 4 KiB in the log of changes before they are moved to where they belong. After the
usual 1000 every second change of such a record would wait for that."""


def open_database(url: str, *, revision: int = NEWEST) -> Engine:
    """Open the database at `url` and bring its tables up to date, or to a revision.

    Raises
    ------
    RecordError
        When the URL is not usable, the file is not a database, or the tables are
        newer than the program.
    """
    try:
        engine = create_engine(_with_driver(url), **_options(url))
    except (ArgumentError, NoSuchModuleError, ModuleNotFoundError) as fault:
        raise RecordError(
            f"The database address is not usable: {fault}",
            remedy="Give an address such as sqlite:///records.sqlite, and install the "
            "database's driver.",
        ) from fault
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", _on_connect)
        event.listen(engine, "begin", _on_begin)
    with translated(engine), engine.execution_options(writes=True).begin() as connection:
        migrate(connection, to=revision)
    return engine


@contextmanager
def writing(engine: Engine) -> Iterator[Session]:
    """Give a session whose changes are all stored at the end, or none of them."""
    with (
        translated(engine),
        Session(engine.execution_options(writes=True), expire_on_commit=False) as session,
        session.begin(),
    ):
        yield session


@contextmanager
def reading(engine: Engine) -> Iterator[Session]:
    """Give a session that only reads."""
    with translated(engine), Session(engine) as session:
        yield session


def lock_writers(session: Session) -> None:
    """Let one writer at a time go on from here to the end of its transaction.

    What follows the last row, as in a chain, must not be decided by two at once. SQLite
    has one writer at a time anyway.
    """
    if session.get_bind().dialect.name == "postgresql":
        session.execute(text("SELECT pg_advisory_xact_lock(74202)"))


@contextmanager
def translated(engine: Engine) -> Iterator[None]:
    """Turn faults of the database into a RecordError with a remedy."""
    try:
        yield
    except DBAPIError as fault:
        raise _record_error(fault, place=_place(engine)) from fault
    except PoolTimeout as fault:
        raise RecordError(
            "The database is busy: no connection came free in time.",
            remedy="Try again; nothing that was saved is lost.",
        ) from fault


def _with_driver(url: str) -> URL:
    # psycopg is the driver that is tested; a plain address means it.
    given = make_url(url)
    return given.set(drivername="postgresql+psycopg") if given.drivername in _PLAIN else given


_PLAIN = ("postgres", "postgresql")


def _options(url: str) -> dict[str, Any]:
    if not url.startswith("sqlite"):
        return {"pool_pre_ping": True}
    return {"connect_args": {"timeout": BUSY_SECONDS}}


def _on_connect(connection: Any, _record: Any) -> None:
    # The driver's own transaction starts are switched off: _on_begin starts them.
    connection.isolation_level = None
    cursor = connection.cursor()
    for pragma in (
        f"busy_timeout = {BUSY_SECONDS * 1000}", "journal_mode = WAL",
        "synchronous = FULL", "foreign_keys = ON", f"cache_size = -{PAGES_KIB}",
        f"wal_autocheckpoint = {LOG_PAGES}",
    ):  # fmt: skip
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()


def _on_begin(connection: Connection) -> None:
    # A writer takes its lock first: a lock taken halfway cannot be waited for.
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _place(engine: Engine) -> str:
    if engine.dialect.name == "sqlite":
        return str(engine.url.database)
    return engine.url.render_as_string(hide_password=True)


# What SQLite says, in its own fixed words, and what it means to the user.
_FAULTS = (
    ("locked", "is in use by another program that keeps it locked",
     "Close the other program and try again; nothing that was saved is lost."),
    ("disk is full", "could not grow: the disk is full",
     "Free some space and try again; nothing that was saved is lost."),
    ("not a database", "is not a database of this program",
     "Choose another data folder, or restore the file from a backup."),
    ("malformed", "is damaged",
     "Stop using it and restore it from a backup."),
    ("readonly", "cannot be written",
     "Check the permissions of the folder and the file."),
    ("unable to open", "cannot be opened",
     "Check that the folder exists and can be written."),
    ("disk i/o error", "could not be read or written: the disk reported an error",
     "Check the disk; restore the folder from a backup if it is failing."),
    ("connection", "cannot be reached",
     "Check that the database runs and that its address and password are right."),
    ("unique constraint", "was changed by someone else in the same moment",
     "Load the record again and repeat your last change."),
    ("a signed record", "refused the change: a signed record cannot be changed",
     "Make a new record that supersedes it."),
)  # fmt: skip


def _record_error(fault: DBAPIError, *, place: str) -> RecordError:
    said = str(fault.orig)
    kind = "record file" if isinstance(fault.orig, sqlite3.Error) else "database"
    for words, meaning, remedy in _FAULTS:
        if words in said.lower():
            return RecordError(f"The {kind} {place} {meaning}.", remedy=remedy)
    return RecordError(
        f"The {kind} {place} refused the work: {said}.",
        remedy="Check the database and try again; nothing that was saved is lost.",
    )
