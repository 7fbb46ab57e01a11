"""Time and memory of one 12 MP face photo: `python -m benchmarks.bench_speed`.

Seconds depend on the machine, which is printed; the steps' shares and the ratio to
decoding are measured side by side in the same run. Memory is the peak of a fresh
process that measures the photo once.
"""

import argparse
import os
import platform
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np

from benchmarks.truth import Case, cases_in
from damagescore.damage import find_cracks, find_crumbling
from damagescore.edge import find_edge
from damagescore.measure import measure_photo
from damagescore.photo import read_photo
from damagescore.quality import check_quality
from damagescore.scale import find_scale

REPEATS = 5


def best_s(work: Callable[[], object]) -> float:
    """Best of five runs, seconds."""
    times = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def largest_face(folder: Path) -> Case:
    faces = [c for c in cases_in(folder) if c.truth["view"] == "face" and c.good]
    return max(faces, key=lambda c: int(np.prod(c.truth["image_size"])))


def steps_of(case: Case) -> dict[str, float]:
    """Seconds of each step and of the whole."""
    options = case.options()
    photo = read_photo(case.path)
    scale = find_scale(photo, options.scale)
    edge = find_edge(photo, scale)
    polygons = [x.polygon_px for x in edge.rubber]
    return {
        "read": best_s(lambda: read_photo(case.path)),
        "scale": best_s(lambda: find_scale(photo, options.scale)),
        "layers": best_s(lambda: find_edge(photo, scale)),
        "quality": best_s(lambda: check_quality(photo, scale=scale, edge_polygons_px=polygons)),
        "crumbling": best_s(lambda: find_crumbling(photo, edge, scale)),
        "cracks": best_s(lambda: find_cracks(photo, edge, scale)),
        "whole": best_s(lambda: measure_photo(read_photo(case.path), options)),
    }


def peak_mb(case: Case) -> float:
    """Peak memory of a fresh process that measures the photo once, MB."""
    command = [sys.executable, "-m", "benchmarks.bench_speed", "--once", str(case.path.parent)]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    return float(done.stdout.strip().splitlines()[-1])


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", nargs="?", type=Path, default=Path("demo_images"))
    parser.add_argument("--once", action="store_true", help=argparse.SUPPRESS)
    given = parser.parse_args()
    case = largest_face(given.folder)
    if given.once:
        measure_photo(read_photo(case.path), case.options())
        print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
        return 0
    width, height = case.truth["image_size"]
    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}, "
          f"OpenCV {cv2.__version__}, {case.path.name}, {width} × {height} px\n")  # fmt: skip
    steps = steps_of(case)
    print("| step | seconds | times the reading |\n|---|---|---|")
    for name, seconds in steps.items():
        print(f"| {name} | {seconds:.2f} | {seconds / steps['read']:.1f} |")
    print(f"| peak memory | {peak_mb(case):.0f} MB | |")
    return 0


if __name__ == "__main__":
    sys.exit(main())
