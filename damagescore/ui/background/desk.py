"""The desk of one server: takes photos in, has them measured, writes what comes out.

A thread of its own owns the processes and all that they say; pages hand photos in and
read the state under a lock. Each result is saved at once, so a reload loses nothing, and
what still waits lies on disk, so a restart takes it up again.
"""

import os
import threading
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from multiprocessing import Pipe
from multiprocessing.connection import wait
from typing import Any

from damagescore import inspection as aggregate
from damagescore.errors import DamageScoreError
from damagescore.inspection.record import Inspection
from damagescore.records import Store
from damagescore.ui.background.crew import DIED, Crew, Worker
from damagescore.ui.background.waiting import Waiting, WaitingRoom
from damagescore.ui.background.worker import Told

IDLE_SECONDS = 60.0
"""Processes are kept this long for the next photo: starting them takes a second or two."""

TRIES = 5
"""Times that a result is written while others save the same record in between."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """How far one photo has come; `step` is empty while it waits."""

    photo: Waiting
    step: str = ""

    @property
    def words(self) -> str:
        """What is going on, in a few words."""
        return self.photo.fault or self.step or "Waiting for its turn"


class Desk:
    """The queue of photos of one data folder in this server.

    Parameters
    ----------
    store : Store
    workers : int or None
        Photos measured at once; every core that this process may use by default.
    """

    def __init__(self, store: Store, *, workers: int | None = None) -> None:
        self._store = store
        self._room = WaitingRoom(folder=store.folder / "waiting")
        self._crew = Crew(
            photos=store.folder / "photos", tiles=store.folder / "tiles",
            most=workers or len(os.sched_getaffinity(0)),
        )  # fmt: skip
        self._lock = threading.Lock()
        self._changed = threading.Condition(self._lock)
        self._photos = {p.id: p for p in self._room.all()}
        self._steps: dict[str, str] = {}
        self._ears, self._bell = Pipe(duplex=False)
        self._open, self._expecting = True, False
        self._thread = threading.Thread(target=self._run, name="measuring", daemon=True)
        self._thread.start()

    def expect(self) -> None:
        """Have a process ready: a photo is about to be handed in.

        It reads its packages meanwhile, and ends after `IDLE_SECONDS` if none comes.
        """
        with self._lock:
            self._expecting = True
        self._ring()

    def hand_in(self, photos: Iterable[Waiting]) -> None:
        """Take in photos that lie in the vault already; each is placed in this order.

        Raises
        ------
        RecordError
            When the queue cannot be written, or there is no such record.
        """
        behind: dict[str, tuple[str, ...]] = {}
        for photo in photos:
            of = photo.inspection_id
            if of not in behind:
                behind[of] = self._known(of)
            queued = replace(photo, behind=behind[of])
            behind[of] += (photo.sha256,)
            self._room.put(queued)
            with self._lock:
                self._photos[photo.id] = queued
                self._follow(queued)
        self._ring()

    def _known(self, inspection_id: str) -> tuple[str, ...]:
        """Photos that a record has or waits for; the queue first: it ends in the record."""
        waiting = tuple(p.photo.sha256 for p in self.progress(inspection_id))
        return tuple(p.sha256 for p in self._store.load(inspection_id).photos) + waiting

    def _follow(self, retake: Waiting) -> None:
        """Keep what waits behind a photo behind its retake too."""
        for other in list(self._photos.values()):
            behind = other.behind or ()
            if retake.replaces in behind and other.id != retake.id:
                moved = replace(other, behind=(*behind, retake.sha256))
                self._room.put(moved)
                self._photos[moved.id] = moved

    def progress(self, inspection_id: str) -> list[Progress]:
        """Photos of an inspection that wait, are measured, or failed; in order."""
        with self._lock:
            return [
                Progress(photo=p, step=self._steps.get(p.id, ""))
                for p in self._photos.values()
                if p.inspection_id == inspection_id
            ]

    def drop(self, ids: Iterable[str]) -> None:
        """Cancel photos that wait or are measured, or forget failed ones."""
        with self._lock:
            for photo in [p for i in ids if (p := self._photos.pop(i, None)) is not None]:
                self._room.remove(photo)
                self._steps.pop(photo.id, None)
            self._changed.notify_all()
        self._ring()

    def settled(self, inspection_id: str, *, seconds: float) -> bool:
        """Wait until nothing of an inspection is left to measure; False if it takes longer."""

        def done() -> bool:
            mine = (p for p in self._photos.values() if p.inspection_id == inspection_id)
            return all(p.fault for p in mine)

        with self._changed:
            return self._changed.wait_for(done, timeout=seconds)

    def close(self) -> None:
        """End all processes; what waits stays on disk."""
        self._open = False
        self._ring()
        self._thread.join()

    def _ring(self) -> None:
        with self._lock:
            self._bell.send(None)

    def _run(self) -> None:
        while self._open:
            self._crew.assign(self._next())
            if self._expected():
                self._crew.stand_by()
            busy = {w.line: w for w in self._crew.workers if w.photo is not None}
            self._begin(w.photo for w in busy.values())
            # Idle processes are ended after a while; one that could not start is tried again.
            pause = not busy and bool(self._crew.workers or self._next())
            ready = wait([self._ears, *busy], timeout=IDLE_SECONDS if pause else None)
            if not ready:
                self._crew.close()
            for line in ready:
                if line is self._ears:
                    self._ears.recv()
                    self._end_dropped()
                elif (worker := busy[line]) in self._crew.workers:  # type: ignore[index]
                    self._take(worker, worker.hear())
        self._crew.close()

    def _begin(self, photos: Iterable[Waiting | None]) -> None:
        with self._lock:
            for photo in photos:
                if photo is not None and photo.id in self._photos:
                    self._steps.setdefault(photo.id, "Starting")

    def _next(self) -> list[Waiting]:
        taken = {w.photo.id for w in self._crew.workers if w.photo is not None}
        with self._lock:
            return [p for p in self._photos.values() if not p.fault and p.id not in taken]

    def _expected(self) -> bool:
        """Whether a photo was announced since this was asked last."""
        with self._lock:
            expecting, self._expecting = self._expecting, False
        return expecting

    def _end_dropped(self) -> None:
        with self._lock:
            known = set(self._photos)
        for worker in list(self._crew.workers):
            if worker.photo is not None and worker.photo.id not in known:
                self._crew.dismiss(worker)

    def _take(self, worker: Worker, told: Told) -> None:
        photo = worker.photo
        assert photo is not None
        if told.kind == "step":
            with self._lock:
                if photo.id in self._photos:
                    self._steps[photo.id] = told.said
            return
        worker.photo = None
        if told.kind == "fault" and told.said == DIED:
            self._crew.dismiss(worker)
        with self._lock:
            if photo.id not in self._photos:
                return  # cancelled in this moment
            photo = self._photos[photo.id]
        fault = told.said if told.kind == "fault" else self._save(photo, told.said)
        with self._lock:
            self._steps.pop(photo.id, None)
            if fault:
                self._photos[photo.id] = self._failed(photo, fault)
            else:
                self._photos.pop(photo.id, None)
                self._room.remove(photo)
            self._changed.notify_all()

    def _failed(self, photo: Waiting, fault: str) -> Waiting:
        """Keep a fault; on a full disk in memory only, so that the others go on."""
        try:
            return self._room.fail(photo, fault)
        except DamageScoreError:
            return replace(photo, fault=fault)

    def _save(self, photo: Waiting, measurement: Mapping[str, Any]) -> str:
        """Write a result into its record; why it could not be, or an empty text."""
        try:
            if any(self._saved(photo, measurement) for _ in range(TRIES)):
                return ""
        except DamageScoreError as fault:
            return str(fault)
        return "The record was changed by others again and again. Add the photo again."

    def _saved(self, photo: Waiting, measurement: Mapping[str, Any]) -> bool:
        """Try to write a result; False when somebody saved the record in between."""
        revision = self._store.revision(photo.inspection_id)
        after = with_measured(self._store.load(photo.inspection_id), photo, measurement)
        try:
            self._store.save(after, expected_revision=revision)
        except DamageScoreError:
            if self._store.revision(photo.inspection_id) == revision:
                raise
            return False
        return True


def with_measured(
    inspection: Inspection, photo: Waiting, measurement: Mapping[str, Any]
) -> Inspection:
    """Add a measured photo to a record, in the place of another where it replaces one.

    A photo that the record has already, written by a server that then ended, stays.
    """
    known = {p.sha256 for p in inspection.photos}
    if photo.replaces == photo.sha256:
        return aggregate.replace_measurement(
            inspection, photo.sha256, measurement=measurement, options=photo.options,
            by=photo.by,
        )  # fmt: skip
    if photo.sha256 in known:
        return inspection
    if photo.replaces in known:
        return aggregate.retake_photo(
            inspection, photo.replaces, sha256=photo.sha256, name=photo.name,
            measurement=measurement, options=photo.options, by=photo.by,
            reason=f"Replaced by {photo.name}: {photo.reason}",
        )  # fmt: skip
    return aggregate.add_photo(
        inspection, sha256=photo.sha256, name=photo.name, measurement=measurement,
        options=photo.options, by=photo.by,
        position=photo.place_in([p.sha256 for p in inspection.photos]),
    )  # fmt: skip
