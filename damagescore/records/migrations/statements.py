"""Run SQL that is written out in a revision, for SQLite and for PostgreSQL."""

from alembic import op


def run(sql: str) -> None:
    """Run statements that blank lines part; a trigger has semicolons of its own."""
    for statement in sql.split("\n\n"):
        if statement.strip():
            op.execute(statement.strip().removesuffix(";"))


def run_for(**sql_by_dialect: str) -> None:
    """Run the statements of the dialect in use; a dialect that is not named has none."""
    run(sql_by_dialect.get(op.get_context().dialect.name, ""))


def append_only(table: str, *, key: str, what: str) -> None:
    """Let rows be added to a table, and never changed, replaced or taken out.

    Parameters
    ----------
    table : str
    key : str
        Its key column.
    what : str
        What a row is, to say that it cannot be changed.
    """
    keep(table, "UPDATE", what=what)
    keep(table, "DELETE", what=what)
    no_replacing(table, matches=f"{key} = NEW.{key}", what=what)


def keep(table: str, event: str, *, what: str, when: str = "") -> None:
    """Refuse an UPDATE or DELETE of rows; `when` names those rows by `OLD`."""
    name = f"{table}_{event.lower()}_refused"
    condition = f"WHEN ({when})" if when else ""
    run_for(
        sqlite=f"""
CREATE TRIGGER {name} BEFORE {event} ON {table} {condition}
BEGIN SELECT RAISE(ABORT, '{what} cannot be changed'); END;
""",
        postgresql=f"""
CREATE TRIGGER {name} BEFORE {event} ON {table} FOR EACH ROW {condition}
EXECUTE FUNCTION refuse_change('{what} cannot be changed')
""",
    )


def no_replacing(table: str, *, matches: str, what: str) -> None:
    """Refuse SQLite's INSERT OR REPLACE of a row, and PostgreSQL's TRUNCATE of all.

    Neither of them asks the triggers that `keep` makes.
    """
    run_for(  # names and words are those of the revisions, never a user's
        sqlite=f"""
CREATE TRIGGER {table}_replace_refused BEFORE INSERT ON {table}
WHEN EXISTS (SELECT 1 FROM {table} WHERE {matches})
BEGIN SELECT RAISE(ABORT, '{what} cannot be replaced'); END;
""",  # noqa: S608
        postgresql=f"""
CREATE TRIGGER {table}_truncate_refused BEFORE TRUNCATE ON {table} FOR EACH STATEMENT
EXECUTE FUNCTION refuse_change('{what} cannot be changed')
""",
    )
