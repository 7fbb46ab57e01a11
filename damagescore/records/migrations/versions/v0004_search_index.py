"""What is searched moves from the records to tables of its own, made from their bodies.

A signed record's row cannot be changed, but what a later version of the program wants
to search by has to reach the records of before too.
"""

from damagescore.records.migrations.statements import run

revision = "0004"
down_revision = "0003"

_MOVED = (
    "part_number", "serial_number", "work_order", "inspectors", "outcome", "score",
    "disposition", "search_text",
)  # fmt: skip


def upgrade() -> None:
    """Make the index; it is filled when the store is opened."""
    run("""
CREATE TABLE record_index (
    inspection_id TEXT PRIMARY KEY, created_at TEXT NOT NULL,
    part_number TEXT NOT NULL, serial_number TEXT NOT NULL, description TEXT NOT NULL,
    position TEXT NOT NULL, work_order TEXT NOT NULL,
    hours DOUBLE PRECISION, cycles DOUBLE PRECISION,
    outcome TEXT, score DOUBLE PRECISION, signed BOOLEAN NOT NULL, signed_at TEXT,
    signer TEXT, disposition TEXT, limit_title TEXT, limit_revision TEXT, invented BOOLEAN,
    n_photos INTEGER NOT NULL, n_findings INTEGER NOT NULL,
    inspectors TEXT NOT NULL, search_text TEXT NOT NULL)

CREATE INDEX record_index_by_time ON record_index (created_at, inspection_id)

CREATE INDEX record_index_by_part ON record_index (part_number, serial_number)

CREATE INDEX record_index_by_order ON record_index (work_order)

CREATE INDEX record_index_by_score ON record_index (score)

CREATE INDEX record_index_by_signing ON record_index (signed_at)

CREATE TABLE record_word (
    inspection_id TEXT NOT NULL, field TEXT NOT NULL, value TEXT NOT NULL,
    PRIMARY KEY (inspection_id, field, value))

CREATE INDEX record_word_by_value ON record_word (field, value, inspection_id)

CREATE TABLE record_index_state (version INTEGER PRIMARY KEY)

DROP INDEX inspection_by_time

DROP INDEX inspection_by_part

DROP INDEX inspection_by_order
""")
    for column in _MOVED:
        run(f"ALTER TABLE inspection DROP COLUMN {column}")
