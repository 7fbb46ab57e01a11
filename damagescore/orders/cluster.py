"""Measure on the workers of a Dask scheduler. Needs the package `distributed`."""

import json
import platform
from collections.abc import Iterator, Sequence
from importlib import import_module
from itertools import islice
from typing import Any

import cv2
import numpy as np
import scipy

from damagescore import __version__
from damagescore.errors import DamageScoreError, UsageError
from damagescore.measure import MeasureOptions
from damagescore.orders.journal import Job, Journal
from damagescore.orders.measuring import measured_text, sentence_of

AHEAD = 3
"""Photos sent ahead for each thread of the cluster, so that none waits and none holds more
than a few photos in memory."""

CONNECT_SECONDS = 10


def measured_on_cluster(
    jobs: Sequence[Job], journal: Journal, address: str
) -> Iterator[tuple[Job, str]]:
    """Measure photos on the cluster; yield each job with its fault, empty for none.

    Photos are sent as bytes and results come back as text, so that no folder has to be
    shared. A worker that dies loses nothing: its photos are measured by another one, and a
    result that comes twice is written twice with the same content.

    Raises
    ------
    UsageError
        When the package is missing, the scheduler cannot be reached, it has no workers, or
        one of them has other versions than this program.
    """
    client = _connected(address)
    try:
        threads = _checked_threads(client, address)
        yield from _streamed(client, jobs, journal, most=AHEAD * threads)
    finally:
        client.close()


def environment() -> str:
    """Versions that the results depend on."""
    return (
        f"damagescore {__version__}, Python {platform.python_version()}, numpy "
        f"{np.__version__}, OpenCV {cv2.__version__}, SciPy {scipy.__version__}"
    )


def _connected(address: str) -> Any:
    library = _library()
    try:
        return library.Client(address, timeout=CONNECT_SECONDS, set_as_default=False)
    except (OSError, ValueError) as fault:
        raise UsageError(
            f"The scheduler {address} cannot be reached: {str(fault)[:120]}.",
            remedy="Give its address as tcp://host:port, and check that it runs.",
        ) from fault


def _library() -> Any:
    """The optional package, untyped."""
    try:
        return import_module("distributed")
    except ImportError as fault:
        raise UsageError(
            "Measuring on a scheduler needs the package 'distributed', which is missing.",
            remedy="Install it: pip install -r requirements-cluster.txt",
        ) from fault


def _checked_threads(client: Any, address: str) -> int:
    threads = sum(client.nthreads().values())
    if threads == 0:
        raise UsageError(
            f"The scheduler {address} has no workers.", remedy="Start one or more."
        )
    here = environment()
    others = {v for v in client.run(environment).values() if v != here}
    if others:
        raise UsageError(
            f"A worker has {min(others)}; this program has {here}.",
            remedy="Install the same versions on all machines, or results could differ.",
        )
    return int(threads)


def _streamed(
    client: Any, jobs: Sequence[Job], journal: Journal, *, most: int
) -> Iterator[tuple[Job, str]]:
    waiting = iter(jobs)
    running = {_sent(client, job): job for job in islice(waiting, most)}
    pool = _library().as_completed(list(running), loop=client.loop)
    for future in pool:
        job = running.pop(future)
        fault = future.exception()
        if fault is None:
            journal.write(job.key, future.result())
        future.release()
        yield job, "" if fault is None else _said(fault)
        for following in islice(waiting, 1):
            sent = _sent(client, following)
            running[sent] = following
            pool.add(sent)


def _sent(client: Any, job: Job) -> Any:
    # The key makes the task the same wherever it is run, and however often.
    return client.submit(
        _measure_sent, job.path.read_bytes(), job.path.name, job.options.to_dict(),
        key=f"photo-{job.key}", pure=True,
    )  # fmt: skip


def _measure_sent(data: bytes, name: str, options: dict[str, Any]) -> str:
    plain = json.loads(json.dumps(options))
    return measured_text(data, name, MeasureOptions.from_dict(plain))


def _said(fault: BaseException) -> str:
    if type(fault).__name__ == "KilledWorker":
        raise DamageScoreError(
            "Several workers died, one after the other, on the same photo.",
            remedy="Their memory may not suffice; what was measured is kept.",
        ) from fault
    return sentence_of(fault)
