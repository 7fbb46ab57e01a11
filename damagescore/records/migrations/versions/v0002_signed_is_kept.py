"""SQLite refuses to change what is signed; code refuses it too."""

from damagescore.records.migrations.statements import run_for

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Make the triggers that hold against other programs."""
    run_for(
        sqlite="""
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
    )
