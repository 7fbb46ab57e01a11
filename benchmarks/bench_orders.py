"""Photos of an order a minute, on this machine and on a Dask cluster, with 1 and 2 workers.

    python -m benchmarks.bench_orders [FOLDER]

FOLDER is an order folder; without it the demonstration order is rendered first. Each way
starts with an empty journal, and all have to give the same results, bit for bit. A cluster
is started on this machine, which shows what sending costs, not what more machines bring.
"""

import argparse
import os
import platform
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from tqdm import tqdm

from damagescore.orders import read_order_folder
from damagescore.orders.journal import Job, Journal
from damagescore.orders.measuring import measure_jobs
from damagescore.orders.record import options_of
from damagescore.scenes.order import order_specs, write_order
from damagescore.scenes.render import render, write_scene

WORKERS = (1, 2)

Way = Callable[[list[Job], Journal], object]


def jobs_in(folder: Path) -> list[Job]:
    found = read_order_folder(folder)
    return [
        Job(path=found.files[photo.sha256], sha256=photo.sha256,
            options=options_of(part, photo))
        for part in found.order.parts
        for photo in found.order.photos_of(part)
    ]  # fmt: skip


@contextmanager
def ways(workers: int) -> Iterator[dict[str, Way]]:
    """Ways to measure; a cluster is up and warm before it is timed."""
    from distributed import LocalCluster  # noqa: PLC0415 - starts threads when imported

    with LocalCluster(
        n_workers=workers, threads_per_worker=1, dashboard_address=None, silence_logs=50
    ) as cluster:
        address = cluster.scheduler_address
        yield {
            "processes": lambda jobs, journal: measure_jobs(jobs, journal, workers=workers),
            "cluster": lambda jobs, journal: measure_jobs(jobs, journal, scheduler=address),
        }


def measured(way: Way, jobs: list[Job]) -> tuple[float, dict[str, str | None]]:
    """Seconds, and all results."""
    with tempfile.TemporaryDirectory() as folder:
        journal = Journal(folder=Path(folder))
        start = time.perf_counter()
        way(jobs, journal)
        return time.perf_counter() - start, {j.key: journal.read(j.key) for j in jobs}


def rendered(folder: Path) -> Path:
    write_order(folder)
    for number, spec in enumerate(tqdm(order_specs(), desc="rendering", unit="photo")):
        write_scene(render(spec, 1200 + number), folder)
    return folder


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", nargs="?", type=Path)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        jobs = jobs_in(given.folder or rendered(Path(scratch)))
        print(f"{platform.machine()}, {len(os.sched_getaffinity(0))} cores, load "
              f"{os.getloadavg()[0]:.1f}, Python {platform.python_version()}, "
              f"{len(jobs)} photos\n")  # fmt: skip
        print("| measured by | workers | photos a minute | same results |\n|---|---|---|---|")
        first: dict[str, str | None] = {}
        for workers in WORKERS:
            with ways(workers) as known:
                for name, way in known.items():
                    seconds, results = measured(way, jobs)
                    first = first or results
                    same = "yes" if results == first and None not in results.values() else "NO"
                    print(f"| {name} | {workers} | {60 * len(jobs) / seconds:.1f} | {same} |")
    return 0


if __name__ == "__main__":
    sys.exit(main())
