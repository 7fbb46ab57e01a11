"""The first tables: inspections, the chain of signed ones, limit sets."""

from damagescore.records.migrations.statements import run

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the tables."""
    run("""
CREATE TABLE damagescore_schema (version INTEGER PRIMARY KEY, changed_at TEXT NOT NULL)

CREATE TABLE inspection (
    id TEXT PRIMARY KEY, revision INTEGER NOT NULL,
    created_at TEXT NOT NULL, saved_at TEXT NOT NULL,
    part_number TEXT NOT NULL, serial_number TEXT NOT NULL, work_order TEXT NOT NULL,
    inspectors TEXT NOT NULL, outcome TEXT, score DOUBLE PRECISION,
    signed BOOLEAN NOT NULL, signed_at TEXT, disposition TEXT,
    supersedes TEXT UNIQUE REFERENCES inspection (id),
    search_text TEXT NOT NULL, body TEXT NOT NULL)

CREATE INDEX inspection_by_time ON inspection (created_at, id)

CREATE INDEX inspection_by_part ON inspection (part_number, serial_number)

CREATE INDEX inspection_by_order ON inspection (work_order)

CREATE TABLE signed_chain (
    position INTEGER PRIMARY KEY, inspection_id TEXT NOT NULL UNIQUE,
    body_sha256 TEXT NOT NULL, previous_sha256 TEXT NOT NULL, link_sha256 TEXT NOT NULL)

CREATE TABLE limit_set (
    title TEXT NOT NULL, revision TEXT NOT NULL, version INTEGER NOT NULL,
    saved_at TEXT NOT NULL, invented BOOLEAN NOT NULL, source_document TEXT NOT NULL,
    body TEXT NOT NULL, PRIMARY KEY (title, revision, version))
""")
