"""Measure the photos of an order: several at once, resumed after a crash."""

import os
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from multiprocessing import get_context, parent_process
from pathlib import Path
from typing import Any

import cv2

from damagescore.errors import DamageScoreError, PhotoError, UsageError
from damagescore.measure import MeasureOptions, measure_photo, unreadable
from damagescore.orders.journal import Job, Journal, text_of
from damagescore.photo import read_photo

Progress = Callable[[int, int, str], None]
"""Told how many photos are done, of how many, and the name of the last one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """What came of measuring.

    Parameters
    ----------
    measured : mapping of str to mapping
        By the job's key: the measurement.
    failed : mapping of str to str
        By the job's key: one sentence on what went wrong.
    resumed : int
        How many were measured before.
    """

    measured: Mapping[str, Mapping[str, Any]]
    failed: Mapping[str, str]
    resumed: int


def measure_jobs(
    jobs: Sequence[Job],
    journal: Journal,
    *,
    workers: int | None = None,
    scheduler: str | None = None,
    progress: Progress | None = None,
) -> Batch:
    """Measure all photos that the journal does not have yet.

    The results are the same, bit for bit, however many processes or machines measure.

    Parameters
    ----------
    jobs : sequence of Job
    journal : Journal
        Each result is kept there the moment it comes.
    workers : int or None
        Processes on this machine; None uses every core, 1 measures here.
    scheduler : str or None
        Address of a Dask scheduler, "tcp://host:port", whose workers measure instead.
    progress : callable or None

    Raises
    ------
    UsageError
        When the number of workers is below 1, or the scheduler's workers differ.
    DamageScoreError
        When a measuring process died; what was measured is kept.
    """
    if workers is not None and workers < 1:
        raise UsageError(f"The number of workers is {workers}.", remedy="Give 1 or more.")
    by_key = {job.key: job for job in jobs}
    missing = [job for key, job in by_key.items() if not journal.has(key)]
    failed: dict[str, str] = {}
    done = len(by_key) - len(missing)
    if progress is not None:
        progress(done, len(by_key), "")
    for job, fault in _measured(missing, journal, workers=workers, scheduler=scheduler):
        done += 1
        if fault:
            failed[job.key] = f"{job.path.name}: {fault}"
        if progress is not None:
            progress(done, len(by_key), job.path.name)
    kept = {key: journal.measurement(key) for key in by_key if key not in failed}
    return Batch(
        measured={k: m for k, m in kept.items() if m is not None},
        failed=failed,
        resumed=len(by_key) - len(missing),
    )


def measured_text(data: bytes | Path, name: str, options: MeasureOptions) -> str:
    """Measure one photo given as its bytes or its file; the measurement as JSON text."""
    try:
        photo = read_photo(data, name=name) if isinstance(data, bytes) else read_photo(data)
    except PhotoError as fault:
        return text_of(unreadable(name, fault, view=options.view).to_dict())
    return text_of(measure_photo(photo, options).to_dict())


def sentence_of(fault: BaseException) -> str:
    """Say in one sentence why a photo could not be measured."""
    if isinstance(fault, DamageScoreError):
        return fault.message
    return f"The program failed on it ({type(fault).__name__}: {str(fault)[:120]})."


def _measured(
    jobs: Sequence[Job], journal: Journal, *, workers: int | None, scheduler: str | None
) -> Iterator[tuple[Job, str]]:
    if not jobs:
        return
    if scheduler is not None:
        # Only here: the library behind it is not needed to measure on one machine.
        from damagescore.orders.cluster import measured_on_cluster  # noqa: PLC0415

        yield from measured_on_cluster(jobs, journal, scheduler)
        return
    count = min(workers or len(os.sched_getaffinity(0)), len(jobs))
    if count == 1:
        yield from _measured_here(jobs, journal)
        return
    # "spawn" because a forked child of a process with threads may wait for ever on a lock
    with ProcessPoolExecutor(
        count, mp_context=get_context("spawn"), initializer=_begin_worker
    ) as pool:
        futures = {pool.submit(_measure_into, job, journal): job for job in jobs}
        yield from _as_done(futures, count)


def _measured_here(jobs: Iterable[Job], journal: Journal) -> Iterator[tuple[Job, str]]:
    for job in jobs:
        try:
            _measure_into(job, journal)
        except DamageScoreError:
            raise
        except Exception as fault:  # noqa: BLE001 - said in the summary, and the rest goes on
            yield job, sentence_of(fault)
        else:
            yield job, ""


def _as_done(futures: Mapping["Future[None]", Job], count: int) -> Iterator[tuple[Job, str]]:
    for future in as_completed(futures):
        if isinstance(future.exception(), BrokenProcessPool):
            raise DamageScoreError(
                f"One of {count} measuring processes ended unexpectedly.",
                remedy="The memory may not suffice: start again with one worker; what was "
                "measured is kept.",
            ) from future.exception()
        yield futures[future], _fault_of(future)


def _fault_of(future: "Future[None]") -> str:
    """What went wrong with one photo; a full disk stops all."""
    fault = future.exception()
    if fault is None:
        return ""
    if isinstance(fault, DamageScoreError) or not isinstance(fault, Exception):
        raise fault
    return sentence_of(fault)


def _measure_into(job: Job, journal: Journal) -> None:
    journal.write(job.key, measured_text(job.path, job.path.name, job.options))


def _begin_worker() -> None:
    """One thread for each process; and end with the parent, even where it was killed."""
    cv2.setNumThreads(1)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
