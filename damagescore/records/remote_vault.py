"""Photos kept elsewhere by the SHA-256 of their bytes: any place that fsspec reaches."""

import hashlib
from typing import Any

import fsspec

from damagescore.errors import RecordError
from damagescore.records.vault import KEY, check_key, check_photo, unaltered


class RemoteVault:
    """A place such as an S3 bucket, with each photo at `ab/cdef...` after its hash.

    Such places give an object its name only when it is whole, so that a name never stands
    for half a photo. How the place is reached (address, names, secrets) is said to fsspec
    by its own environment variables and files, never to this program.

    Parameters
    ----------
    url : str
        Such as "s3://bucket/photos" or "memory://photos".

    Raises
    ------
    RecordError
        When fsspec does not know the place, or lacks a package for it.
    """

    def __init__(self, url: str) -> None:
        self.url = url
        try:
            self._files, self._root = fsspec.core.url_to_fs(url)
        except (ImportError, ValueError) as fault:
            raise RecordError(
                f"The place for photos {url} cannot be used: {fault}.",
                remedy="Check its address, and install the package that fsspec names.",
            ) from fault
        self._faults: tuple[type[Exception], ...] = (OSError, *_faults_of(self._files))

    def put(self, data: bytes) -> str:
        """Keep the bytes of one photo file, as they are, and return their SHA-256.

        A photo that is there already is left as it is; a damaged copy is replaced. What
        was written is read back before it counts as kept.

        Raises
        ------
        RecordError
            When there is nothing to keep, or the place cannot be written.
        """
        check_photo(data)
        sha256 = hashlib.sha256(data).hexdigest()
        path = self.path_of(sha256)
        try:
            if not self._holds(path, sha256):
                self._files.pipe_file(path, data)
        except self._faults as fault:
            raise self._fault(fault) from fault
        self.read(sha256)
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
            data = bytes(self._files.cat_file(path))
        except FileNotFoundError:
            raise RecordError(
                f"The photo {sha256[:12]}… is missing from {self.url}.",
                remedy="Restore the photos from a backup.",
            ) from None
        except self._faults as fault:
            raise self._fault(fault) from fault
        return unaltered(data, sha256)

    def keys(self) -> list[str]:
        """SHA-256 of each photo, sorted."""
        try:
            self._files.invalidate_cache()
            paths = self._files.find(self._root)
        except FileNotFoundError:
            return []
        except self._faults as fault:
            raise self._fault(fault) from fault
        found = ("".join(str(p).rsplit("/", 2)[-2:]) for p in paths)
        return sorted(key for key in found if KEY.fullmatch(key))

    def drop(self, sha256: str) -> None:
        """Take a photo out; nothing happens where it is not there."""
        try:
            self._files.rm_file(self.path_of(sha256))
        except FileNotFoundError:
            return
        except self._faults as fault:
            raise self._fault(fault) from fault

    def path_of(self, sha256: str) -> str:
        """Path of a photo; the key is checked, so that no key leads elsewhere."""
        check_key(sha256)
        return f"{self._root}/{sha256[:2]}/{sha256[2:]}"

    def _holds(self, path: str, sha256: str) -> bool:
        try:
            data = self._files.cat_file(path)
        except FileNotFoundError:
            return False
        return hashlib.sha256(data).hexdigest() == sha256

    def _fault(self, fault: Exception) -> RecordError:
        return RecordError(
            f"The place for photos {self.url} cannot be used: {fault}.",
            remedy="Check that it is reached and may be written; what was saved is not lost.",
        )


def _faults_of(files: Any) -> tuple[type[Exception], ...]:
    # The S3 package lets faults of the connection through that are no OSError.
    if "s3" not in files.protocol:
        return ()
    from botocore.exceptions import BotoCoreError  # noqa: PLC0415 - comes with s3fs only

    return (BotoCoreError,)
