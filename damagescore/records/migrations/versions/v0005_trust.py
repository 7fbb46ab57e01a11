"""Keys of inspectors, hashes of the parts of signed records, disposals, the audit log."""

from damagescore.records.migrations.statements import append_only, run, run_for

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    """Make the tables, and let a signed record go once its disposal is noted."""
    run("""
CREATE TABLE inspector_key (
    public_key TEXT PRIMARY KEY, name TEXT NOT NULL, authorisation TEXT NOT NULL,
    made_at TEXT NOT NULL)

CREATE TABLE signed_sections (inspection_id TEXT PRIMARY KEY, hashes TEXT NOT NULL)

CREATE TABLE disposal (
    inspection_id TEXT PRIMARY KEY, at TEXT NOT NULL, by_name TEXT NOT NULL,
    reason TEXT NOT NULL, archive_sha256 TEXT NOT NULL)

CREATE TABLE audit_log (
    number INTEGER PRIMARY KEY, at TEXT NOT NULL, by_name TEXT NOT NULL,
    action TEXT NOT NULL, target TEXT NOT NULL, detail TEXT NOT NULL,
    previous_sha256 TEXT NOT NULL, entry_sha256 TEXT NOT NULL)

CREATE INDEX audit_log_by_target ON audit_log (target)
""")
    append_only("inspector_key", key="public_key", what="the public key of an inspector")
    append_only("signed_sections", key="inspection_id", what="what a signed record held")
    append_only("disposal", key="inspection_id", what="the note of a disposal")
    append_only("audit_log", key="number", what="the audit log")
    _delete_once_noted()


def _delete_once_noted() -> None:
    run_for(
        sqlite="""
DROP TRIGGER signed_is_not_deleted

CREATE TRIGGER signed_is_not_deleted BEFORE DELETE ON inspection
WHEN OLD.signed AND NOT EXISTS (SELECT 1 FROM disposal WHERE inspection_id = OLD.id)
BEGIN SELECT RAISE(ABORT, 'a signed record cannot be deleted'); END;
""",
        postgresql="""
DROP TRIGGER signed_is_not_deleted ON inspection

CREATE FUNCTION refuse_delete() RETURNS trigger LANGUAGE plpgsql AS
$$ BEGIN
IF OLD.signed AND NOT EXISTS (SELECT 1 FROM disposal WHERE inspection_id = OLD.id) THEN
RAISE EXCEPTION 'a signed record cannot be deleted'; END IF;
RETURN OLD; END $$

CREATE TRIGGER signed_is_not_deleted BEFORE DELETE ON inspection
FOR EACH ROW EXECUTE FUNCTION refuse_delete()
""",
    )
