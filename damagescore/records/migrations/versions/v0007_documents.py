"""Documents in versions: graded photos, answers, scales of grades, studies, checks."""

from damagescore.records.migrations.statements import keep, no_replacing, run

revision = "0007"
down_revision = "0006"


def upgrade() -> None:
    """Make the table; a version is added, never changed."""
    run("""
CREATE TABLE document (
    kind TEXT NOT NULL, id TEXT NOT NULL, version INTEGER NOT NULL,
    at TEXT NOT NULL, body TEXT NOT NULL,
    PRIMARY KEY (kind, id, version))
""")
    keep("document", "UPDATE", what="a kept version")
    keep("document", "DELETE", what="a kept version")
    no_replacing(
        "document",
        matches="kind = NEW.kind AND id = NEW.id AND version = NEW.version",
        what="a kept version",
    )
