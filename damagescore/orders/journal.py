"""What was measured, kept as it comes: a run that was cut off goes on where it stopped."""

import hashlib
import json
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from damagescore import __version__
from damagescore.errors import RecordError
from damagescore.measurement import MeasureOptions


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One photo to measure.

    Parameters
    ----------
    path : Path
    sha256 : str
        Of the file.
    options : MeasureOptions
    """

    path: Path
    sha256: str
    options: MeasureOptions

    @property
    def key(self) -> str:
        """Names the result: program version, photo, its name, and how it is measured."""
        said = [__version__, self.sha256, self.path.name, self.options.to_dict()]
        text = json.dumps(said, sort_keys=True, separators=(",", ":"))
        return hashlib.sha256(text.encode("utf-8")).hexdigest()


@dataclass(frozen=True, slots=True, kw_only=True)
class Journal:
    """A folder with one file for each measured photo, named by the job's key.

    A file appears whole or not at all, and writing it twice changes nothing, so that
    several processes or machines may write at once. Its first line is the SHA-256 of the
    second, which is the measurement as JSON.
    """

    folder: Path

    def has(self, key: str) -> bool:
        return self.read(key) is not None

    def read(self, key: str) -> str | None:
        """Text of a measurement; None where there is none, or it was damaged."""
        try:
            kept = self._path(key).read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError):
            return None
        sha256, _, text = kept.partition("\n")
        return text if sha256 == _sha256(text) else None

    def measurement(self, key: str) -> Mapping[str, Any] | None:
        """The measurement as plain data; None where there is none."""
        text = self.read(key)
        return None if text is None else json.loads(text)

    def write(self, key: str, text: str) -> None:
        """Keep the text of a measurement durably.

        Raises
        ------
        RecordError
            When the folder cannot be written.
        """
        path = self._path(key)
        half = path.with_name(f"{key}.{os.getpid()}.part")
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            with half.open("w", encoding="utf-8", newline="\n") as file:
                file.write(f"{_sha256(text)}\n{text}")
                file.flush()
                os.fsync(file.fileno())
            half.replace(path)
        except OSError as fault:
            raise RecordError(
                f"The result cannot be kept in {self.folder}: {fault.strerror or fault}.",
                remedy="Check its permissions and free space, then start again: what was "
                "measured so far is kept.",
            ) from fault

    def _path(self, key: str) -> Path:
        return self.folder / f"{key}.json"


def text_of(measurement: Mapping[str, Any]) -> str:
    """A measurement as one line of JSON; floats are read back as they were."""
    return json.dumps(measurement, ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def _sha256(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8")).hexdigest()
