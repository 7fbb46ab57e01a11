"""What only the embedded database has: its file, its locks, its disk, older versions of it."""

import json
import shutil
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import event

from damagescore.errors import RecordError
from damagescore.inspection import inspection_to_dict
from damagescore.inspection.record import Inspection
from damagescore.inspection.seal import sorted_json
from damagescore.records import Filters, Store
from damagescore.records.chain import GENESIS, link_of, sha256_of
from damagescore.records.database import LOG_PAGES, PAGES_KIB, open_database
from damagescore.records.migrations import FOLDER, NEWEST, migrate, stored_version
from damagescore.records.tables import Base
from tests.record_samples import AT, an_edit, an_inspection, signed

# The tables as the program made them before Alembic, taken from it and not changed since.
FIRST_TABLES = """
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
FIRST_TRIGGERS = """
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


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path) as opened:
        yield opened


def test_a_save_is_on_the_disk_before_it_is_acknowledged(store: Store) -> None:
    with store.engine.connect() as connection:
        asked = ("journal_mode", "synchronous", "cache_size", "wal_autocheckpoint")
        found = [connection.exec_driver_sql(f"PRAGMA {x}").scalar() for x in asked]
    # https://www.sqlite.org/pragma.html, seen 2026-11-26: 2 is FULL, which syncs the log with
    # every commit; a negative cache size is in KiB.
    assert found == ["wal", 2, -PAGES_KIB, LOG_PAGES]


def test_a_change_does_not_read_the_long_text_again(store: Store) -> None:
    revision = store.save(an_inspection())
    read: list[str] = []
    event.listen(
        store.engine, "before_cursor_execute",
        lambda _c, _cursor, statement, *_more: read.append(statement),
    )  # fmt: skip
    changed = an_inspection(edits=(an_edit(1),))
    store.save(changed, expected_revision=revision)
    selects = [x for x in read if x.startswith("SELECT")]
    assert selects
    assert not any("body" in x for x in selects)
    assert store.load("rec-1") == changed


def test_the_folder_that_cannot_be_made_and_the_file_that_is_no_database(
    tmp_path: Path,
) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(RecordError, match="cannot be made"):
        Store(tmp_path / "file" / "data")
    (tmp_path / "records.sqlite").write_bytes(b"not a database at all " * 100)
    with pytest.raises(RecordError, match="not a database"):
        Store(tmp_path)


def test_a_newer_store_is_refused_with_both_versions(store: Store, tmp_path: Path) -> None:
    store.close()
    raw = sqlite3.connect(tmp_path / "records.sqlite")
    raw.execute("INSERT INTO damagescore_schema VALUES (99, 'later')")
    raw.commit()
    raw.close()
    with pytest.raises(RecordError, match=f"version 99; this program knows up to {NEWEST}"):
        Store(tmp_path)


def test_a_locked_file_says_so(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store.close()
    monkeypatch.setattr("damagescore.records.database.BUSY_SECONDS", 0)
    waiting = Store(tmp_path)
    raw = sqlite3.connect(tmp_path / "records.sqlite", isolation_level=None)
    raw.execute("BEGIN EXCLUSIVE")
    with pytest.raises(RecordError, match="locked"):
        waiting.save(an_inspection())
    raw.execute("ROLLBACK")
    raw.close()
    assert waiting.save(an_inspection()) == 1
    waiting.close()


def test_a_full_disk_says_so_and_keeps_what_was_saved(store: Store, tmp_path: Path) -> None:
    store.save(an_inspection())
    url = f"sqlite:///{tmp_path / 'records.sqlite'}"
    small = Store(tmp_path, url=url)
    with small.engine.connect() as connection:
        pages = connection.exec_driver_sql("PRAGMA page_count").scalar()
    # SQLite refuses to grow beyond this, with the same words as on a full disk.
    from sqlalchemy import event  # noqa: PLC0415

    def limited(connection: sqlite3.Connection, _record: object) -> None:
        connection.execute(f"PRAGMA max_page_count = {pages}")

    event.listen(small.engine, "connect", limited)
    small.engine.dispose()
    big = an_inspection("rec-2", supersede_reason="x" * 400_000)
    with pytest.raises(RecordError, match="disk is full"):
        small.save(big)
    assert store.load("rec-1") == an_inspection()
    assert store.revision("rec-2") == 0
    small.close()


def test_an_address_that_is_no_database_is_refused(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match="address is not usable"):
        Store(tmp_path, url="nothing://here")


def test_the_tables_are_those_that_the_program_reads(tmp_path: Path) -> None:
    Store(tmp_path).close()
    raw = sqlite3.connect(tmp_path / "records.sqlite")
    for table in Base.metadata.sorted_tables:
        made = {row[1] for row in raw.execute(f"PRAGMA table_info({table.name})")}
        assert made == {column.name for column in table.columns}
    assert raw.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    raw.close()


def test_the_newest_revision_is_the_one_that_the_program_names() -> None:
    config = Config()
    config.set_main_option("script_location", str(FOLDER))
    revisions = list(ScriptDirectory.from_config(config).walk_revisions())
    assert [int(r.revision) for r in reversed(revisions)] == list(range(1, NEWEST + 1))


def with_another_revision(folder: Path, body: str) -> Path:
    """The revisions of the program, and one more."""
    copied = folder / "further"
    shutil.copytree(FOLDER, copied)
    (copied / "versions" / "further.py").write_text(
        f"from alembic import op\nrevision = '{NEWEST + 1:04d}'\n"
        f"down_revision = '{NEWEST:04d}'\ndef upgrade():\n    {body}\n"
    )
    return copied


def test_a_revision_that_fails_changes_nothing(tmp_path: Path) -> None:
    engine = open_database(f"sqlite:///{tmp_path / 'r.sqlite'}")
    further = with_another_revision(
        tmp_path, "op.execute('CREATE TABLE extra (x)'); raise RuntimeError('broken step')"
    )
    with pytest.raises(RuntimeError, match="broken"), engine.begin() as connection:
        migrate(connection, folder=further, newest=NEWEST + 1)
    with engine.begin() as connection:
        names = {r[0] for r in connection.exec_driver_sql("SELECT name FROM sqlite_master")}
        assert stored_version(connection) == NEWEST
    assert "extra" not in names


def test_a_store_of_today_is_brought_forward_with_its_records(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        store.save(an_inspection())
    engine = open_database(f"sqlite:///{tmp_path / 'records.sqlite'}")
    further = with_another_revision(
        tmp_path, "op.execute('ALTER TABLE limit_set ADD note TEXT')"
    )
    with engine.begin() as connection:
        migrate(connection, folder=further, newest=NEWEST + 1)
        assert stored_version(connection) == NEWEST + 1
        body = connection.exec_driver_sql("SELECT body FROM inspection").scalar()
    assert json.loads(body)["id"] == "rec-1"
    with pytest.raises(RecordError, match=f"version {NEWEST + 1}; this program knows up to"):
        Store(tmp_path)


@pytest.mark.parametrize("version", [1, 2])
def test_a_store_from_before_alembic_is_brought_forward_in_one_go(
    tmp_path: Path, version: int
) -> None:
    before = signed(an_inspection())
    old_store(tmp_path / "records.sqlite", before, version=version)
    with Store(tmp_path) as store:
        assert store.load("rec-1") == before
        (found,) = store.find(Filters(text="hv-2210 wo-7", signed=True)).records
        assert (found.id, found.work_order) == ("rec-1", "WO-7")
        assert store.verify() == []
    # A program from before looks here, and refuses what is newer than its version 2.
    with sqlite3.connect(tmp_path / "records.sqlite") as raw:
        assert raw.execute("SELECT max(version) FROM damagescore_schema").fetchone() == (
            NEWEST,
        )
    raw.close()


def old_store(path: Path, record: Inspection, *, version: int) -> None:
    """A store as the program made it when its tables had this version."""
    body = sorted_json(inspection_to_dict(record))
    link = link_of(position=1, inspection_id="rec-1", body_sha256=sha256_of(body),
                   previous=GENESIS)  # fmt: skip
    raw = sqlite3.connect(path)
    raw.executescript(FIRST_TABLES)
    if version > 1:
        raw.executescript(FIRST_TRIGGERS)
    raw.executemany("INSERT INTO damagescore_schema VALUES (?, ?)",
                    [(v, AT) for v in range(1, version + 1)])  # fmt: skip
    raw.execute(
        "INSERT INTO inspection VALUES ('rec-1', 3, ?, ?, 'HV-2210', '0042', 'WO-7', "
        "'B. Rowan', NULL, NULL, 1, ?, 'remove', NULL, 'rec-1', ?)", (AT, AT, AT, body),
    )  # fmt: skip
    raw.execute("INSERT INTO signed_chain VALUES (1, 'rec-1', ?, ?, ?)",
                (sha256_of(body), GENESIS, link))  # fmt: skip
    raw.commit()
    raw.close()
