"""Bring the tables of a store to the revision that this program writes.

Alembic runs the revisions in `versions/`; they are added at the end, never changed, and
are written out instead of taken from `tables`, so that old stores and new ones pass
through the same steps whatever the tables become. Each revision is also noted in
`damagescore_schema`, where programs from before Alembic look and refuse what is newer.
"""

from pathlib import Path

from sqlalchemy import Connection, inspect, text

from damagescore.errors import RecordError

FOLDER = Path(__file__).parent

NEWEST = 8
"""Number of the newest revision in `versions/`."""

BEFORE_ALEMBIC = 2
"""Stores up to this revision know only `damagescore_schema`."""


def migrate(
    connection: Connection,
    *,
    folder: Path = FOLDER,
    newest: int = NEWEST,
    to: int | None = None,
) -> None:
    """Run the missing revisions; the caller's transaction holds them all, or none.

    Parameters
    ----------
    connection : Connection
    folder : Path
        Holds `env.py` and `versions/`.
    newest : int
        Number of the newest revision in the folder.
    to : int, optional
        Stop at this revision, to take rows of an older backup.

    Raises
    ------
    RecordError
        When the store was written by a newer version of the program.
    """
    if connection.dialect.name == "postgresql":
        # Two programs that open a new database at once make its tables one after the other.
        connection.execute(text("SELECT pg_advisory_xact_lock(74201)"))
    version = stored_version(connection)
    if version > newest:
        raise RecordError(
            f"The records have table version {version}; this program knows up to {newest}.",
            remedy="Use the newer version of the program that wrote them.",
        )
    wanted = newest if to is None else to
    if version < wanted:
        _upgrade(connection, version, folder=folder, to=wanted)


def _upgrade(connection: Connection, version: int, *, folder: Path, to: int) -> None:
    # Loading Alembic takes as long as all else here, and most stores are up to date.
    from alembic import command  # noqa: PLC0415
    from alembic.config import Config  # noqa: PLC0415

    config = Config()
    config.set_main_option("script_location", str(folder).replace("%", "%%"))
    config.attributes["connection"] = connection
    if 0 < version <= BEFORE_ALEMBIC:
        command.stamp(config, f"{version:04d}")
    command.upgrade(config, f"{to:04d}")


def stored_version(connection: Connection) -> int:
    """Number of the store's revision; 0 for an empty database.

    Raises
    ------
    RecordError
        When the database has tables, but not those of this program.
    """
    tables = inspect(connection).get_table_names()
    if "damagescore_schema" in tables:
        found = connection.scalar(text("SELECT max(version) FROM damagescore_schema"))
        return int(found or 0)
    if "inspection" in tables:
        raise RecordError(
            "The database has a table named inspection that this program did not make.",
            remedy="Choose another data folder or database.",
        )
    return 0
