"""Bring the tables of a store to the version that this program writes."""

from collections.abc import Callable
from datetime import UTC, datetime

from sqlalchemy import Connection, inspect, text

from damagescore.errors import RecordError

Step = Callable[[Connection], None]

# Written out, and not taken from `tables`, so that old stores and new ones pass
# through the same steps whatever the tables become.
_FIRST_TABLES = """
CREATE TABLE damagescore_schema (version INTEGER PRIMARY KEY, changed_at TEXT NOT NULL);
CREATE TABLE inspection (
    id TEXT PRIMARY KEY, revision INTEGER NOT NULL,
    created_at TEXT NOT NULL, saved_at TEXT NOT NULL,
    part_number TEXT NOT NULL, serial_number TEXT NOT NULL, work_order TEXT NOT NULL,
    inspectors TEXT NOT NULL, outcome TEXT, score DOUBLE PRECISION,
    signed BOOLEAN NOT NULL, signed_at TEXT, disposition TEXT,
    supersedes TEXT UNIQUE REFERENCES inspection (id),
    search_text TEXT NOT NULL, body TEXT NOT NULL);
CREATE INDEX inspection_by_time ON inspection (created_at, id);
CREATE INDEX inspection_by_part ON inspection (part_number, serial_number);
CREATE INDEX inspection_by_order ON inspection (work_order);
CREATE TABLE signed_chain (
    position INTEGER PRIMARY KEY, inspection_id TEXT NOT NULL UNIQUE,
    body_sha256 TEXT NOT NULL, previous_sha256 TEXT NOT NULL, link_sha256 TEXT NOT NULL);
CREATE TABLE limit_set (
    title TEXT NOT NULL, revision TEXT NOT NULL, version INTEGER NOT NULL,
    saved_at TEXT NOT NULL, invented BOOLEAN NOT NULL, source_document TEXT NOT NULL,
    body TEXT NOT NULL, PRIMARY KEY (title, revision, version));
"""


def _first_tables(connection: Connection) -> None:
    for statement in _FIRST_TABLES.split(";\n"):
        if statement.strip():
            connection.execute(text(statement))


# Code refuses these changes too; the triggers hold against other programs.
_TRIGGERS = """
CREATE TRIGGER signed_is_kept BEFORE UPDATE ON inspection WHEN OLD.signed
BEGIN SELECT RAISE(ABORT, 'a signed record cannot be changed'); END;
CREATE TRIGGER signed_is_not_deleted BEFORE DELETE ON inspection WHEN OLD.signed
BEGIN SELECT RAISE(ABORT, 'a signed record cannot be deleted'); END;
CREATE TRIGGER signed_is_not_replaced BEFORE INSERT ON inspection
WHEN EXISTS (SELECT 1 FROM inspection WHERE id = NEW.id AND signed)
BEGIN SELECT RAISE(ABORT, 'a signed record cannot be replaced'); END;
CREATE TRIGGER chain_is_kept BEFORE UPDATE ON signed_chain
BEGIN SELECT RAISE(ABORT, 'the chain of signed records cannot be changed'); END;
CREATE TRIGGER chain_is_not_deleted BEFORE DELETE ON signed_chain
BEGIN SELECT RAISE(ABORT, 'the chain of signed records cannot be changed'); END;
CREATE TRIGGER limits_are_kept BEFORE UPDATE ON limit_set
BEGIN SELECT RAISE(ABORT, 'a saved limit set cannot be changed'); END;
"""


def _signed_is_kept(connection: Connection) -> None:
    if connection.dialect.name != "sqlite":
        return
    for statement in _TRIGGERS.split("END;\n"):
        if statement.strip():
            connection.execute(text(f"{statement}END;"))


MIGRATIONS: tuple[Step, ...] = (_first_tables, _signed_is_kept)
"""Step n brings version n to n + 1. Steps are added at the end, never changed."""


def migrate(connection: Connection, *, steps: tuple[Step, ...] = MIGRATIONS) -> None:
    """Run the missing steps; the caller's transaction holds them all, or none.

    Parameters
    ----------
    connection : Connection
    steps : tuple of callable
        All steps from an empty database onward.

    Raises
    ------
    RecordError
        When the store was written by a newer version of the program.
    """
    version = stored_version(connection)
    if version > len(steps):
        raise RecordError(
            f"The records have table version {version}; this program knows up to {len(steps)}.",
            remedy="Use the newer version of the program that wrote them.",
        )
    for number, step in enumerate(steps[version:], start=version + 1):
        step(connection)
        connection.execute(
            text("INSERT INTO damagescore_schema (version, changed_at) VALUES (:v, :t)"),
            {"v": number, "t": datetime.now(UTC).isoformat(timespec="seconds")},
        )


def stored_version(connection: Connection) -> int:
    """Version of the tables; 0 for an empty database.

    Raises
    ------
    RecordError
        When the database has tables, but not those of this program.
    """
    tables = inspect(connection).get_table_names()
    if "damagescore_schema" in tables:
        found = connection.scalar(text("SELECT max(version) FROM damagescore_schema"))
        return int(found or 0)
    if "inspection" in tables:
        raise RecordError(
            "The database has a table named inspection that this program did not make.",
            remedy="Choose another data folder or database.",
        )
    return 0
