"""What Alembic runs: the revisions, on the connection and in the transaction it is given."""

from collections.abc import Collection, Mapping
from datetime import UTC, datetime
from typing import Any

from alembic import context
from alembic.runtime.migration import MigrationContext, MigrationInfo
from sqlalchemy import Connection, text

from damagescore.records.tables import Base


def _noted(
    ctx: MigrationContext,
    step: MigrationInfo,
    heads: Collection[Any],  # noqa: ARG001 - Alembic names all four
    run_args: Mapping[str, Any],  # noqa: ARG001
) -> None:
    if step.is_stamp:
        return
    assert ctx.connection is not None
    ctx.connection.execute(
        text("INSERT INTO damagescore_schema (version, changed_at) VALUES (:v, :t)"),
        {
            "v": int(step.up_revision_ids[0]),
            "t": datetime.now(UTC).isoformat(timespec="seconds"),
        },
    )


def _run(connection: Connection) -> None:
    context.configure(
        connection=connection, target_metadata=Base.metadata, on_version_apply=_noted
    )
    with context.begin_transaction():
        context.run_migrations()


_run(context.config.attributes["connection"])
