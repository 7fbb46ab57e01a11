"""Photos that wait to be measured, one small file each, so that a restart forgets none."""

import json
import tempfile
import time
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from damagescore.errors import RecordError


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiting:
    """One photo of the vault that is to be measured for an inspection.

    Parameters
    ----------
    id : str
        Sorts in the order in which photos were handed in.
    inspection_id, sha256, name : str
    options : mapping
        Of `MeasureOptions.to_dict`.
    by : str
        Who handed it in.
    replaces : str
        Photo of the record that this one takes the place of; its own hash to be
        measured again, empty to be added.
    reason : str
        Why the other one is replaced.
    before : mapping, optional
        Its measurement so far, without findings: layers put right by hand stay.
    fault : str
        Why it could not be measured, in a sentence; empty while it waits.
    behind : tuple of str or None
        Photos that its record had or waited for before it; it gets its place behind them,
        whenever it is measured. None in a queue that did not note it: behind all.
    """

    id: str
    inspection_id: str
    sha256: str
    name: str
    options: Mapping[str, Any]
    by: str
    replaces: str = ""
    reason: str = ""
    before: Mapping[str, Any] | None = None
    fault: str = ""
    behind: tuple[str, ...] | None = None

    @classmethod
    def from_dict(cls, plain: Mapping[str, Any]) -> "Waiting":
        """Read back what `asdict` wrote, after a way through JSON."""
        behind = plain.get("behind")
        return cls(**{**plain, "behind": None if behind is None else tuple(behind)})

    def place_in(self, photos: Sequence[str]) -> int:
        """Where it belongs among the photos of its record, given by their hashes."""
        if self.behind is None:
            return len(photos)
        before = [k for k, sha256 in enumerate(photos) if sha256 in self.behind]
        return max(before, default=-1) + 1


def waiting_for(
    inspection_id: str,
    *,
    sha256: str,
    name: str,
    options: Mapping[str, Any],
    by: str,
    replaces: str = "",
    reason: str = "",
    before: Mapping[str, Any] | None = None,
) -> Waiting:
    """Give a photo its place at the end of the queue."""
    return Waiting(
        id=f"{time.time_ns():020d}-{sha256[:12]}", inspection_id=inspection_id, sha256=sha256,
        name=name, options=options, by=by, replaces=replaces, reason=reason,
        before=before,
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class WaitingRoom:
    """The folder of the photos that wait or failed."""

    folder: Path

    def all(self) -> list[Waiting]:
        """Give all, first come first; a file that cannot be read is passed over."""
        found = []
        for path in sorted(self.folder.glob("*.json")):
            try:
                found.append(Waiting.from_dict(json.loads(path.read_text(encoding="utf-8"))))
            except (OSError, ValueError, TypeError, AttributeError):
                continue  # of another version, or taken by another server in this moment
        return found

    def put(self, waiting: Waiting) -> None:
        """Keep one; the file gets its name only when it is complete.

        Raises
        ------
        RecordError
            When the folder cannot be written.
        """
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            with tempfile.NamedTemporaryFile(
                "w", encoding="utf-8", dir=self.folder, prefix=".part-", delete=False
            ) as part:
                json.dump(asdict(waiting), part)
            Path(part.name).replace(self._path(waiting.id))
        except OSError as fault:
            raise RecordError(
                f"{waiting.name} cannot be put in the queue: {fault.strerror or fault}.",
                remedy=f"Check the space and the permissions of {self.folder}.",
            ) from fault

    def fail(self, waiting: Waiting, fault: str) -> Waiting:
        """Keep why one could not be measured, until somebody has read it."""
        failed = replace(waiting, fault=fault)
        self.put(failed)
        return failed

    def remove(self, waiting: Waiting) -> None:
        """Forget one."""
        self._path(waiting.id).unlink(missing_ok=True)

    def _path(self, waiting_id: str) -> Path:
        return self.folder / f"{waiting_id}.json"
