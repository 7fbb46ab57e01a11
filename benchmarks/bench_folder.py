"""Photos a minute with one worker and with every core: `python -m benchmarks.bench_folder`.

Both are measured in one run on the same photos; the ratio is what counts.
"""

import argparse
import os
import platform
import sys
import time
from pathlib import Path

from damagescore.batch import Job, measure_files
from damagescore.scenes.reading import cases_in


def seconds(jobs: list[Job], workers: int) -> float:
    start = time.perf_counter()
    for _ in measure_files(jobs, workers=workers):
        pass
    return time.perf_counter() - start


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", nargs="?", type=Path, default=Path("demo_images"))
    given = parser.parse_args()
    jobs = [(case.path, case.options()) for case in cases_in(given.folder)]
    cores = len(os.sched_getaffinity(0))
    print(f"{platform.machine()}, {cores} cores, Python {platform.python_version()}, "
          f"{len(jobs)} photos of {given.folder.name}\n")  # fmt: skip
    one, all_cores = seconds(jobs, 1), seconds(jobs, cores)
    print("| workers | photos a minute | against one worker |\n|---|---|---|")
    print(f"| 1 | {60 * len(jobs) / one:.0f} | 1.00 |")
    print(f"| {cores} | {60 * len(jobs) / all_cores:.0f} | {one / all_cores:.2f} |")
    return 0


if __name__ == "__main__":
    sys.exit(main())
