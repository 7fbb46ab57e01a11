"""Work orders: each whole as JSON, with what it is listed by."""

from damagescore.records.migrations.statements import run

revision = "0006"
down_revision = "0005"


def upgrade() -> None:
    """Make the table."""
    run("""
CREATE TABLE work_order (
    id TEXT PRIMARY KEY, revision INTEGER NOT NULL, number TEXT NOT NULL,
    customer_reference TEXT NOT NULL, created_at TEXT NOT NULL, saved_at TEXT NOT NULL,
    body TEXT NOT NULL)

CREATE INDEX work_order_by_time ON work_order (created_at)
""")
