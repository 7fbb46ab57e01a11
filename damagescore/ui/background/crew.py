"""The processes that measure, and who of them has which photo.

One that dies takes only its own photo with it, and one that is no longer wanted can be
ended at once: a pool of the standard library can do neither. They are plain programs,
since a process of `multiprocessing` would first run the app's own main script.
"""

import contextlib
import os
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from multiprocessing import Pipe
from multiprocessing.connection import Connection
from pathlib import Path

from damagescore.ui.background.waiting import Waiting
from damagescore.ui.background.worker import Told

DIED = (
    "The process that measured it ended unexpectedly; the memory may not suffice. "
    "Add the photo again, alone."
)

ROOT = Path(__file__).resolve().parents[3]

PROGRAM = "from damagescore.ui.background.worker import main; main()"


@dataclass(eq=False, slots=True)
class Worker:
    """One process, and the photo that it measures."""

    process: subprocess.Popen[bytes]
    line: Connection
    photo: Waiting | None = None

    def take(self, photo: Waiting, *, threads: int) -> None:
        """Hand over a photo, and how many threads may work on it."""
        self.photo = photo
        # A process that died is seen when its line is read.
        with contextlib.suppress(OSError):
            self.line.send((photo, threads))

    def hear(self) -> Told:
        """Read what it says; its death is a fault of its photo."""
        try:
            told = self.line.recv()
        except (EOFError, OSError):
            return Told(kind="fault", said=DIED)
        assert isinstance(told, Told)
        return told

    def end(self) -> None:
        """End it, whatever it does."""
        self.line.close()
        self.process.terminate()
        self.process.wait()


class Crew:
    """As many workers as cores, started when they are needed.

    Parameters
    ----------
    photos, tiles : Path
        Folders of the vault and of the image tiles.
    most : int
        Largest number of processes; each needs about 0.7 GB for a 12-megapixel photo.
    """

    def __init__(self, *, photos: Path, tiles: Path, most: int) -> None:
        self._photos, self._tiles, self._most = photos, tiles, most
        self.workers: list[Worker] = []

    def assign(self, photos: Sequence[Waiting]) -> None:
        """Hand photos to whoever is free, and start processes while more are allowed.

        A photo that is alone has all the cores; they are shared where more are at work.
        """
        busy = sum(w.photo is not None for w in self.workers) + len(photos)
        threads = max(1, self._most // max(1, busy))
        for photo in photos:
            free = next((w for w in self.workers if w.photo is None), None)
            if free is None and len(self.workers) < self._most:
                # Without memory for one more, those that there are go on.
                with contextlib.suppress(OSError):
                    free = self._start()
            if free is None:
                return
            free.take(photo, threads=threads)

    def stand_by(self) -> None:
        """Start a process where there is none, for the first photo to come."""
        if not self.workers:
            # Without memory for it, the photo will tell.
            with contextlib.suppress(OSError):
                self._start()

    def dismiss(self, worker: Worker) -> None:
        """End one worker."""
        self.workers.remove(worker)
        worker.end()

    def close(self) -> None:
        """End all."""
        for worker in list(self.workers):
            self.dismiss(worker)

    def _start(self) -> Worker:
        here, there = Pipe()
        places = (str(there.fileno()), str(self._photos.resolve()), str(self._tiles.resolve()))
        process = subprocess.Popen(  # noqa: S603 - our own program with our own paths
            [sys.executable, "-c", PROGRAM, *places],
            pass_fds=[there.fileno()],
            env={**os.environ, "PYTHONPATH": _places()},
        )
        there.close()
        worker = Worker(process, here)
        self.workers.append(worker)
        return worker


def _places() -> str:
    """Where a process finds this package first of all.

    Not all of `sys.path`: while a page runs, Streamlit puts the folder of the main script
    first there, and our `inspect` in it would hide that of the standard library.
    """
    given = os.environ.get("PYTHONPATH", "")
    return os.pathsep.join([str(ROOT), *([given] if given else [])])
