"""One measuring process: takes photos over a line, one at a time, and tells what it does."""

import contextlib
import os
import sys
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any, Literal

import cv2

from damagescore.errors import DamageScoreError
from damagescore.measure import Measurement, MeasureOptions, measure_photo
from damagescore.photo import read_photo
from damagescore.records.vault import vault_at
from damagescore.ui.background.waiting import Waiting
from damagescore.ui.tiles import Pyramid


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What a process says of its photo: a step that begins, the result, or a fault."""

    kind: Literal["step", "result", "fault"]
    said: Any


def main() -> None:
    """Begin with what the crew gave: the line's number, the vault, the tiles."""
    line, photos, tiles = sys.argv[1:]
    if os.name == "posix":
        os.nice(5)  # the page comes first
    work(Connection(int(line)), photos=Path(photos), tiles=Path(tiles))


def work(line: Connection, *, photos: Path, tiles: Path) -> None:
    """Measure what comes, until the line is closed."""
    vault = vault_at(os.environ.get("DAMAGESCORE_PHOTOS") or str(photos))
    pyramid = Pyramid(folder=tiles, photo_bytes=vault.read)

    def step(words: str) -> None:
        line.send(Told(kind="step", said=words))

    # The server that hands out photos may end at any moment.
    with contextlib.suppress(EOFError, BrokenPipeError, ConnectionResetError):
        while True:
            photo, threads = line.recv()
            cv2.setNumThreads(threads)
            line.send(_measured(photo, pyramid, step=step))


def _measured(waiting: Waiting, pyramid: Pyramid, *, step: Callable[[str], None]) -> Told:
    try:
        step("Reading the photo")
        photo = read_photo(pyramid.photo_bytes(waiting.sha256), name=waiting.name)
        pyramid.write(waiting.sha256, photo.rgb)
        options = MeasureOptions.from_dict(waiting.options)
        before = waiting.before and Measurement.from_dict(waiting.before)
        found = measure_photo(photo, options, before=before or None, tell=step)
        return Told(kind="result", said=found.to_dict())
    except DamageScoreError as fault:
        return Told(kind="fault", said=str(fault))
