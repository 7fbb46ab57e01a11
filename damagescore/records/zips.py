"""ZIP files from elsewhere: opened with bounds, and read member by member, never unpacked.

Nothing of a ZIP file is written to a path that it names, and no more is read than its
directory announces and the bounds allow.
"""

import hashlib
import json
import os
import re
import struct
import tempfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from zipfile import ZIP_DEFLATED, ZIP_STORED, BadZipFile, ZipFile, ZipInfo

from damagescore.errors import RecordError

MOST_MEMBERS = 200_000
MOST_RATIO = 200
"""Unpacked over packed size, where that is more than `SMALL`; the most that a ZIP file can
reach is about 1000."""

SMALL = 2**16

MOST_TEXT = 512 * 2**20
"""Bytes of one JSON member."""

CHUNK = 2**20

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]*(/[A-Za-z0-9][A-Za-z0-9_.-]*)*")
# What `zipfile` raises on files that are none, or are encrypted, cut or packed otherwise.
_DAMAGE = (BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, ValueError,
           struct.error)  # fmt: skip


@contextmanager
def opened(path: Path, *, most_bytes: int) -> Iterator[ZipFile]:
    """Open a ZIP file after looking at its directory.

    Raises
    ------
    RecordError
        When the file cannot be read, is no ZIP file or a damaged one, holds too much or
        unpacks to far more than it is, or names a member as none of this program is.
    """
    try:
        given = ZipFile(path)
    except OSError as fault:
        raise RecordError(
            f"{path} cannot be read: {fault.strerror or fault}.", remedy="Check the path."
        ) from fault
    except _DAMAGE as fault:
        raise _damaged(path, str(fault)) from fault
    with given:
        _check(given.infolist(), path=path, most_bytes=most_bytes)
        yield given


def read_member(given: ZipFile, name: str, *, most: int = MOST_TEXT) -> bytes:
    """Give the bytes of one member; RecordError when it is missing or too large."""
    if name not in given.namelist():
        raise _damaged(given.filename, f"it has no {name}")
    if given.getinfo(name).file_size > most:
        raise _damaged(given.filename, f"{name} has more than {most} bytes")
    try:
        with given.open(name) as member:
            return member.read(most + 1)
    except (*_DAMAGE, OSError) as fault:
        raise _damaged(given.filename, f"{name} cannot be unpacked") from fault


def read_json(given: ZipFile, name: str) -> Any:
    """Give one member as JSON data."""
    try:
        return json.loads(read_member(given, name))
    except (ValueError, RecursionError) as fault:
        raise _damaged(given.filename, f"{name} is no JSON text") from fault


def member_has(given: ZipFile, name: str, sha256: object) -> bool:
    """Whether a member's bytes have this SHA-256; read piece by piece."""
    digest = hashlib.sha256()
    try:
        with given.open(name) as member:
            while piece := member.read(CHUNK):
                digest.update(piece)
    except (*_DAMAGE, OSError):
        return False
    return digest.hexdigest() == sha256


def faults_of_files(given: ZipFile, files: Any, *, besides: str) -> list[str]:
    """Compare the members with a list of their hashes, which is kept in `besides`."""
    if not isinstance(files, dict):
        return [f"{besides} has no list of files."]
    names = set(given.namelist()) - {besides}
    faults = [f"{name} is missing." for name in sorted(set(files) - names)]
    faults += [f"{name} is not in the list of files." for name in sorted(names - set(files))]
    changed = (n for n in sorted(names & set(files)) if not member_has(given, n, files[n]))
    return [*faults, *(f"{name} was altered." for name in changed)]


class ZipMaker:
    """Writes a ZIP file whose members are listed with their hashes at its end."""

    def __init__(self, given: ZipFile) -> None:
        self._given = given
        self.files: dict[str, str] = {}

    def add(self, name: str, data: bytes, *, packed: bool = True) -> None:
        """Add a member."""
        info = ZipInfo(name)
        info.compress_type = ZIP_DEFLATED if packed else ZIP_STORED
        info.external_attr = 0o600 << 16
        self._given.writestr(info, data)
        self.files[name] = hashlib.sha256(data).hexdigest()

    def add_lines(self, name: str, lines: Iterator[str]) -> None:
        """Add a member of text lines, one after the other."""
        info = ZipInfo(name)
        info.compress_type = ZIP_DEFLATED
        digest = hashlib.sha256()
        with self._given.open(info, "w", force_zip64=True) as member:
            for line in lines:
                data = f"{line}\n".encode()
                digest.update(data)
                member.write(data)
        self.files[name] = digest.hexdigest()

    def add_file(self, name: str, path: Path) -> None:
        """Add a file, piece by piece."""
        info = ZipInfo(name)
        info.compress_type = ZIP_DEFLATED
        digest = hashlib.sha256()
        with self._given.open(info, "w", force_zip64=True) as member, path.open("rb") as file:
            while piece := file.read(CHUNK):
                digest.update(piece)
                member.write(piece)
        self.files[name] = digest.hexdigest()


@contextmanager
def making(path: Path) -> Iterator[ZipMaker]:
    """Write a ZIP file that appears under its name only when it is whole and on the disk.

    Raises
    ------
    RecordError
        When it cannot be written.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=".part-")
        part = Path(name)
        try:
            with os.fdopen(handle, "wb") as file:
                with ZipFile(file, "w", allowZip64=True) as given:
                    yield ZipMaker(given)
                file.flush()
                os.fsync(file.fileno())
            part.replace(path)
        finally:
            part.unlink(missing_ok=True)
    except OSError as fault:
        raise RecordError(
            f"{path} cannot be written: {fault.strerror or fault}.",
            remedy="Check the folder's permissions and free space.",
        ) from fault


def _check(members: list[ZipInfo], *, path: Path, most_bytes: int) -> None:
    names = [m.filename for m in members]
    strange = next((n for n in names if not _NAME.fullmatch(n) or ".." in n), None)
    if strange is not None:
        raise _damaged(path, f"it names the file {strange[:60]!r}")
    if len(set(names)) < len(names):
        raise _damaged(path, "it holds two files of the same name")
    if len(names) > MOST_MEMBERS:
        raise _damaged(path, f"it holds {len(names)} files, more than {MOST_MEMBERS}")
    total = sum(m.file_size for m in members)
    packed = sum(m.compress_size for m in members)
    if total > most_bytes:
        raise _damaged(path, f"it unpacks to {total} bytes, more than {most_bytes}")
    if total > MOST_RATIO * max(packed, SMALL):
        raise _damaged(path, f"it unpacks to {total} bytes from {packed}")
    if packed > path.stat().st_size:
        raise _damaged(path, "its files overlap")


def _damaged(path: object, how: str) -> RecordError:
    return RecordError(
        f"{path} is not a usable file of this program: {how}.",
        remedy="Take another copy of it.",
    )
