"""PostgreSQL too refuses to change what is signed, and SQLite to replace or delete it."""

from damagescore.records.migrations.statements import keep, no_replacing, run_for

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Make the triggers that one of the two did not have."""
    run_for(
        postgresql="""
CREATE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS
$$ BEGIN RAISE EXCEPTION '%', TG_ARGV[0]; END $$

CREATE TRIGGER signed_is_kept BEFORE UPDATE ON inspection FOR EACH ROW WHEN (OLD.signed)
EXECUTE FUNCTION refuse_change('a signed record cannot be changed')

CREATE TRIGGER signed_is_not_deleted BEFORE DELETE ON inspection FOR EACH ROW
WHEN (OLD.signed) EXECUTE FUNCTION refuse_change('a signed record cannot be deleted')

CREATE TRIGGER inspection_truncate_refused BEFORE TRUNCATE ON inspection
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('a signed record cannot be deleted')

CREATE TRIGGER chain_is_kept BEFORE UPDATE OR DELETE ON signed_chain FOR EACH ROW
EXECUTE FUNCTION refuse_change('the chain of signed records cannot be changed')

CREATE TRIGGER limits_are_kept BEFORE UPDATE ON limit_set FOR EACH ROW
EXECUTE FUNCTION refuse_change('a saved limit set cannot be changed')
"""
    )
    chain = "the chain of signed records"
    no_replacing(
        "signed_chain",
        matches="position = NEW.position OR inspection_id = NEW.inspection_id",
        what=chain,
    )
    keep("limit_set", "DELETE", what="a saved limit set")
    no_replacing(
        "limit_set",
        matches="title = NEW.title AND revision = NEW.revision AND version = NEW.version",
        what="a saved limit set",
    )
