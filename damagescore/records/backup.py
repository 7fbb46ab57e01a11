"""The whole store in one file, and back: database, photos, keys."""

import json
import re
import shutil
import sqlite3
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from zipfile import ZipFile

from sqlalchemy import Connection, Engine, inspect, select, text

from damagescore import __version__
from damagescore.errors import RecordError
from damagescore.inspection.checks import now_utc
from damagescore.records.database import open_database, translated
from damagescore.records.migrations import NEWEST, migrate
from damagescore.records.store import Store, embedded_url
from damagescore.records.tables import (
    Base,
    ChainRow,
    IndexRow,
    IndexStateRow,
    InspectionRow,
    SchemaRow,
    SignInRow,
    WordRow,
    WrongPasswordRow,
)
from damagescore.records.vault import PhotoVault, vault_at
from damagescore.records.zips import (
    ZipMaker,
    faults_of_files,
    making,
    opened,
    read_json,
)

SCHEMA = "damagescore/backup/1"

MOST_BYTES = 2**42
"""Of a backup unpacked, 4 TiB: more than such a store holds, and a bound all the same."""

# Who is signed in now is of no use later, though it could be of some to a thief.
_OF_THE_DAY = (SignInRow.__tablename__, WrongPasswordRow.__tablename__)

# The index is made anew, and each database notes its own revisions.
_LEFT_OUT = frozenset(
    (*_OF_THE_DAY, *(x.__tablename__ for x in (IndexRow, WordRow, IndexStateRow, SchemaRow)))
)

_COLUMN = re.compile(r"[a-z][a-z0-9_]*")

Rows = Iterable[tuple[str, Sequence[str], Iterator[Sequence[Any]]]]
"""For each table its name, its columns, and its rows."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Backup:
    """What a backup holds, and the photos that could not be read for it."""

    n_photos: int
    problems: tuple[str, ...]


def write_backup(store: Store, out: Path, *, by: str) -> Backup:
    """Write the whole store into one file, while it may be in use.

    The database is taken at one moment; photos are only ever added, so that all which
    it names are there. SQLite is copied by its own online backup, PostgreSQL row by row.

    Raises
    ------
    RecordError
        When the file cannot be written or the database fails.
    """
    store.note("backup", by=by, target=out.name)
    problems = []
    with making(out) as made:
        _add_database(store, made)
        for path in sorted((store.folder / "keys").glob("*.pem")):
            made.add(f"keys/{path.name}", path.read_bytes())
        keys = store.photo_keys()
        for sha256 in keys:
            try:
                made.add(f"photos/{sha256}", store.photo_bytes(sha256), packed=False)
            except RecordError as fault:
                problems.append(fault.message)
        listed = {
            "schema": SCHEMA, "made_at": now_utc(), "software": f"damagescore {__version__}",
            "revision": NEWEST, "problems": problems, "files": dict(made.files),
        }  # fmt: skip
        made.add("backup.json", json.dumps(listed, indent=1).encode())
    return Backup(n_photos=len(keys) - len(problems), problems=tuple(problems))


def restore_backup(
    path: Path,
    folder: Path,
    *,
    by: str,
    url: str | None = None,
    photos: str | None = None,
) -> Store:
    """Make a store from a backup, and open it.

    Everything in the file is checked before anything is written, and the folder appears
    only when all of it is there.

    Parameters
    ----------
    path : Path
        The backup.
    folder : Path
        Of the new store; must not hold anything.
    by : str
        Who restores it, for the audit log.
    url : str or None
        Address of a database without records; SQLite in the folder by default.
    photos : str or None
        Address of another place for the photos, see `Store`.

    Raises
    ------
    RecordError
        When the file is damaged or made by a newer program, the folder or database
        holds something already, or cannot be written.
    """
    if folder.exists() and any(folder.iterdir()):
        raise RecordError(
            f"The folder {folder} is not empty.", remedy="Restore into a new folder."
        )
    with opened(path, most_bytes=MOST_BYTES) as given:
        _check(given, path)
        try:
            folder.parent.mkdir(parents=True, exist_ok=True)
            part = Path(tempfile.mkdtemp(dir=folder.parent, prefix=".restore-"))
            try:
                _unpack(given, part)
                if url is not None or "records.sqlite" not in given.namelist():
                    _fill(given, part, url=url or embedded_url(part))
                if photos is not None:
                    _move_photos(part / "photos", photos)
                part.replace(folder)
            finally:
                shutil.rmtree(part, ignore_errors=True)
        except OSError as fault:
            raise RecordError(
                f"The backup cannot be restored to {folder}: {fault.strerror or fault}.",
                remedy="Check the folder's permissions and free space.",
            ) from fault
    store = Store(folder, url=url, photos=photos)
    store.note("restore", by=by, target=path.name)
    return store


def _add_database(store: Store, made: ZipMaker) -> None:
    if store.engine.dialect.name == "sqlite":
        with tempfile.TemporaryDirectory(dir=store.folder) as folder:
            copy = Path(folder) / "records.sqlite"
            _copy_sqlite(store.engine, copy)
            made.add_file("records.sqlite", copy)
        return
    with translated(store.engine), store.engine.connect() as connection:
        connection.execution_options(isolation_level="REPEATABLE READ")
        for table, columns, rows in _rows_of(connection):
            lines = (json.dumps(list(row)) for row in rows)
            made.add_lines(f"tables/{table}.jsonl", _after(json.dumps(columns), lines))


def _after(first: str, lines: Iterator[str]) -> Iterator[str]:
    yield first
    yield from lines


def _copy_sqlite(engine: Engine, target: Path) -> None:
    source = engine.raw_connection()
    try:
        with closing(sqlite3.connect(target)) as copy:
            source.driver_connection.backup(copy)  # type: ignore[union-attr]
            copy.execute("PRAGMA secure_delete = ON")
            for table in _OF_THE_DAY:
                copy.execute(f"DELETE FROM {table}")  # noqa: S608 - our own names
            copy.commit()
            # One file without its journal, so that the copy is whole by itself.
            copy.execute("PRAGMA journal_mode = DELETE")
    finally:
        source.close()


def _rows_of(connection: Connection) -> Rows:
    for table in Base.metadata.sorted_tables:
        if table.name in _LEFT_OUT:
            continue
        query = select(table).order_by(*table.primary_key.columns)
        if table.name == InspectionRow.__tablename__:
            # What supersedes is written after what it supersedes: that was signed before.
            query = (
                select(table)
                .outerjoin(ChainRow, ChainRow.inspection_id == table.c.id)
                .order_by(ChainRow.position.is_(None), ChainRow.position, table.c.id)
            )
        found = connection.execution_options(yield_per=100).execute(query)
        yield table.name, [c.name for c in table.columns], iter(found)


def _check(given: ZipFile, path: Path) -> None:
    listed = read_json(given, "backup.json")
    if not isinstance(listed, dict) or listed.get("schema") != SCHEMA:
        raise RecordError(f"{path} is not a backup of a store.", remedy="Give one.")
    if not isinstance(listed.get("revision"), int) or listed["revision"] > NEWEST:
        raise RecordError(
            f"The backup has table version {listed.get('revision')}; this program knows up to "
            f"{NEWEST}.",
            remedy="Use the newer version of the program that wrote it.",
        )
    faults = faults_of_files(given, listed.get("files"), besides="backup.json")
    if faults:
        raise RecordError(
            f"The backup {path} is damaged: {faults[0]}", remedy="Take another copy of it."
        )


def _unpack(given: ZipFile, folder: Path) -> None:
    for name in given.namelist():
        kind, _, key = name.partition("/")
        if kind == "photos" and re.fullmatch(r"[0-9a-f]{64}", key):
            target = folder / "photos" / key[:2] / key[2:]
        elif (kind == "keys" and re.fullmatch(r"[0-9a-f]{64}\.pem", key)) or (
            name == "records.sqlite"
        ):
            target = folder / name
        else:
            continue
        target.parent.mkdir(parents=True, exist_ok=True)
        with given.open(name) as member, target.open("wb") as file:
            shutil.copyfileobj(member, file)
        if kind == "keys":
            target.chmod(0o600)


def _move_photos(folder: Path, place: str) -> None:
    here, there = PhotoVault(folder=folder), vault_at(place)
    kept = here.keys()
    for sha256 in kept:
        there.put(here.read(sha256))
        here.drop(sha256)


def _fill(given: ZipFile, folder: Path, *, url: str) -> None:
    revision = read_json(given, "backup.json")["revision"]
    snapshot = folder / "records.sqlite"
    if not snapshot.exists():
        _insert(_rows_in(given), url=url, revision=revision)
        return
    source = open_database(embedded_url(folder))  # which brings it to the newest revision
    try:
        with source.connect() as connection:
            _insert(_rows_of(connection), url=url, revision=NEWEST)
    finally:
        source.dispose()
    for left in folder.glob("records.sqlite*"):
        left.unlink()


def _rows_in(given: ZipFile) -> Rows:
    names = [n for n in given.namelist() if n.startswith("tables/")]
    order = [t.name for t in Base.metadata.sorted_tables]
    for name in sorted(names, key=lambda n: _place(order, Path(n).stem)):
        lines = iter(given.open(name))
        yield Path(name).stem, json.loads(next(lines)), (json.loads(x) for x in lines)


def _place(order: Sequence[str], table: str) -> int:
    return order.index(table) if table in order else len(order)


def _insert(source: Rows, *, url: str, revision: int) -> None:
    engine = open_database(url, revision=revision)
    try:
        with translated(engine), engine.execution_options(writes=True).begin() as connection:
            _refuse_filled(connection)
            for table, columns, rows in source:
                _insert_rows(connection, table, columns, rows)
            migrate(connection)
    finally:
        engine.dispose()


def _refuse_filled(connection: Connection) -> None:
    if connection.scalar(text("SELECT count(*) FROM inspection")):
        place = connection.engine.url.render_as_string()
        raise RecordError(
            f"The database {place} has records already.",
            remedy="Restore into a database without any.",
        )


def _insert_rows(
    connection: Connection, table: str, columns: Sequence[str], rows: Iterator[Sequence[Any]]
) -> None:
    there = inspect(connection)
    known = there.get_table_names()
    if table not in known or set(columns) != {c["name"] for c in there.get_columns(table)}:
        raise RecordError(
            f"The backup has a table {table[:40]!r} that this program does not know.",
            remedy="Use the version of the program that wrote it.",
        )
    assert all(_COLUMN.fullmatch(c) for c in columns)
    into, values = ", ".join(columns), ", ".join(f":{c}" for c in columns)
    statement = text(f"INSERT INTO {table} ({into}) VALUES ({values})")  # noqa: S608 - checked
    for row in rows:
        connection.execute(statement, dict(zip(columns, row, strict=True)))
