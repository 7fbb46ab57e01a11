"""A PostgreSQL server of Debian's package for the tests, each test in a schema of its own."""

import os
import pwd
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

START_SECONDS = 30  # a cold start on a slow disk


def binaries() -> Path | None:
    """Folder of the newest server's programs, where one is installed."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/postgres"))
    return found[-1].parent if found else None


@contextmanager
def postgres_server() -> Iterator[str]:
    """Run a server on a free port, without safety of its files; give its address."""
    programs = binaries()
    assert programs is not None
    folder = Path(tempfile.mkdtemp(prefix="damagescore-pg-"))
    _run(programs / "initdb", "-D", folder / "data", "-A", "trust", "-U", "postgres",
         "--no-sync", "-E", "UTF8", "--locale", "C.UTF-8", folder=folder)  # fmt: skip
    port = _free_port()
    options = (
        f"-p {port} -c listen_addresses=localhost -c unix_socket_directories={folder} "
        "-c fsync=off -c max_connections=80"
    )
    _run(programs / "pg_ctl", "-D", folder / "data", "-w", "-t", START_SECONDS, "-o", options,
         "-l", folder / "log", "start", folder=folder)  # fmt: skip
    try:
        yield f"postgresql+psycopg://postgres@localhost:{port}/postgres"
    finally:
        _run(
            programs / "pg_ctl", "-D", folder / "data", "-m", "immediate", "stop", folder=folder
        )
        shutil.rmtree(folder)


def _run(*command: object, folder: Path) -> None:
    # The server refuses to run as root: then it runs as the user its package made.
    root = os.geteuid() == 0
    user = pwd.getpwnam("postgres") if root else None
    if user is not None:
        os.chown(folder, user.pw_uid, user.pw_gid)
    subprocess.run(
        [str(part) for part in command],
        check=True,
        cwd=folder,
        stdout=subprocess.DEVNULL,
        user=None if user is None else user.pw_uid,
        group=None if user is None else user.pw_gid,
        extra_groups=None if user is None else [],
    )


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("localhost", 0))
        return int(probe.getsockname()[1])
