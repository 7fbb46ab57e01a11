"""Photos kept by the SHA-256 of their bytes: written once, checked at each reading."""

import errno
import hashlib
import os
import re
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from damagescore.errors import RecordError

KEY = re.compile(r"[0-9a-f]{64}")


class Vault(Protocol):
    """A place for photos, each known by the SHA-256 of its bytes."""

    def put(self, data: bytes) -> str:
        """Keep the bytes of one photo file, as they are, and return their SHA-256."""

    def read(self, sha256: str) -> bytes:
        """Return the bytes of a photo after checking them against their hash."""

    def keys(self) -> list[str]:
        """SHA-256 of each photo, sorted."""

    def drop(self, sha256: str) -> None:
        """Take a photo out; nothing happens where it is not there."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoVault:
    """A folder of photos, each at `ab/cdef...` after its hash.

    Parameters
    ----------
    folder : Path
        Made when the first photo is put in.
    """

    folder: Path

    def put(self, data: bytes) -> str:
        """Keep the bytes of one photo file, as they are, and return their SHA-256.

        The bytes are on the disk before the file gets its name, so that a name in
        the vault never stands for half a photo. A damaged copy is replaced.

        Raises
        ------
        RecordError
            When there is nothing to keep, or the folder cannot be written.
        """
        check_photo(data)
        sha256 = hashlib.sha256(data).hexdigest()
        target = self.path_of(sha256)
        if not _holds(target, sha256):
            _write(target, data)
        return sha256

    def read(self, sha256: str) -> bytes:
        """Return the bytes of a photo after checking them against their hash.

        Raises
        ------
        RecordError
            When the photo is missing, unreadable or not the one that was put in.
        """
        path = self.path_of(sha256)
        try:
            data = path.read_bytes()
        except FileNotFoundError:
            raise RecordError(
                f"The photo {sha256[:12]}… is missing from {self.folder}.",
                remedy="Restore the photos folder from a backup.",
            ) from None
        except OSError as fault:
            raise _folder_fault(path, fault) from fault
        return unaltered(data, sha256)

    def keys(self) -> list[str]:
        """SHA-256 of each photo, sorted."""
        found = (p.parent.name + p.name for p in self.folder.glob("[0-9a-f][0-9a-f]/*"))
        return sorted(key for key in found if KEY.fullmatch(key))

    def drop(self, sha256: str) -> None:
        """Take a photo out; nothing happens where it is not there."""
        path = self.path_of(sha256)
        try:
            path.unlink(missing_ok=True)
        except OSError as fault:
            raise _folder_fault(path, fault) from fault

    def path_of(self, sha256: str) -> Path:
        """Path of a photo; the key is checked, so that no key leads elsewhere."""
        check_key(sha256)
        return self.folder / sha256[:2] / sha256[2:]


def vault_at(place: str) -> Vault:
    """Give the vault of a folder, or of an address such as "s3://bucket/photos".

    Raises
    ------
    RecordError
        When fsspec does not know the address, or lacks a package for it.
    """
    if "://" not in place or place.startswith("file://"):
        return PhotoVault(folder=Path(place.removeprefix("file://")))
    # Loaded only where it is used: disks need no further package.
    from damagescore.records.remote_vault import RemoteVault  # noqa: PLC0415

    return RemoteVault(place)


def check_photo(data: bytes) -> None:
    """Refuse a photo file of no bytes."""
    if not data:
        raise RecordError(
            "The photo file is empty (0 bytes).", remedy="Choose the photo file again."
        )


def check_key(sha256: str) -> None:
    """Refuse what is not the key of a photo, so that no key leads elsewhere."""
    if not KEY.fullmatch(sha256):
        raise RecordError(
            f"{sha256[:80]!r} is not the key of a photo.",
            remedy="A photo's key is its SHA-256: 64 lower-case hexadecimal digits.",
        )


def unaltered(data: bytes, sha256: str) -> bytes:
    """Return the bytes of a photo, or refuse those that are not the ones put in."""
    found = hashlib.sha256(data).hexdigest()
    if found != sha256:
        raise RecordError(
            f"The photo {sha256[:12]}… was altered: its bytes now have the hash {found[:12]}….",
            remedy="Restore this photo from a backup; do not use the altered one.",
        )
    return data


def _holds(path: Path, sha256: str) -> bool:
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest() == sha256
    except OSError:
        return False


def _write(target: Path, data: bytes) -> None:
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=target.parent, prefix=".part-")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            Path(name).replace(target)
        except OSError:
            Path(name).unlink(missing_ok=True)
            raise
        _sync_folder(target.parent)
    except OSError as fault:
        raise _folder_fault(target, fault) from fault


def _sync_folder(folder: Path) -> None:
    # The new name must outlive a power cut too; Windows has no such call.
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _folder_fault(path: Path, fault: OSError) -> RecordError:
    if fault.errno in (errno.ENOSPC, errno.EDQUOT):
        return RecordError(
            f"The disk that holds {path.parent} is full.",
            remedy="Free some space and try again; nothing that was saved is lost.",
        )
    return RecordError(
        f"{path.parent} cannot be used: {fault.strerror or fault}.",
        remedy="Check the folder's permissions, or choose another data folder.",
    )
