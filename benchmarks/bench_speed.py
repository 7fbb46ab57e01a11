"""Time and memory of one face photo at 12 and 24 MP: `python -m benchmarks.bench_speed`.

Seconds depend on the machine, which is printed; the steps' shares and the ratio to
decoding are measured side by side in the same run. Memory is the peak of a fresh
process that measures the photo once. The photo of 24 MP is the other one enlarged, so that
both show the same damage and the growth with the number of pixels can be read off.
"""

import argparse
import os
import platform
import re
import subprocess
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

from benchmarks.stopwatch import best_s
from damagescore.damage import find_cracks, find_crumbling
from damagescore.edge import find_edge
from damagescore.measure import measure_photo
from damagescore.photo import read_photo
from damagescore.quality import check_quality
from damagescore.scale import find_scale
from damagescore.scenes.reading import Case, cases_in


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


def enlarged(case: Case, folder: Path, *, megapixels: float) -> Case:
    """The same photo with more pixels; the truth beside it no longer counts."""
    image = cv2.imread(str(case.path))
    assert image is not None
    factor = (megapixels * 1e6 / (image.shape[0] * image.shape[1])) ** 0.5
    path = folder / f"{case.path.stem}-{megapixels:.0f}mp.jpg"
    larger = cv2.resize(image, None, fx=factor, fy=factor, interpolation=cv2.INTER_CUBIC)
    cv2.imwrite(str(path), larger, [cv2.IMWRITE_JPEG_QUALITY, 92])
    return replace(case, path=path)


def own_peak_mb() -> float:
    """Peak of this process since it began; `getrusage` would count its parent's too."""
    status = Path("/proc/self/status").read_text(encoding="ascii")
    found = re.search(r"VmHWM:\s+(\d+) kB", status)
    assert found is not None
    return int(found[1]) / 1024


def peak_mb(case: Case, folder: Path) -> float:
    """Peak memory of a fresh process that measures the photo once, MB."""
    command = [
        sys.executable, "-m", "benchmarks.bench_speed", str(folder), "--once", str(case.path)
    ]  # fmt: skip
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    return float(done.stdout.strip().splitlines()[-1])


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", nargs="?", type=Path, default=Path("demo_images"))
    parser.add_argument("--once", type=Path, help=argparse.SUPPRESS)
    given = parser.parse_args()
    case = largest_face(given.folder)
    if given.once:
        measure_photo(read_photo(given.once), case.options())
        print(own_peak_mb())
        return 0
    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}, "
          f"OpenCV {cv2.__version__}, {case.path.name}\n")  # fmt: skip
    with tempfile.TemporaryDirectory() as made:
        large = enlarged(case, Path(made), megapixels=24)
        _print_table([case, large], given.folder)
    return 0


def _print_table(cases: list[Case], folder: Path) -> None:
    pixels = [np.prod(read_photo(c.path).rgb.shape[:2]) / 1e6 for c in cases]
    steps = [steps_of(c) for c in cases]
    heads = [f"{p:.1f} MP, s | times the reading" for p in pixels]
    print(f"| step | {' | '.join(heads)} | growth |\n|---|---|---|---|---|---|")
    for name in steps[0]:
        cells = [f"{s[name]:.2f} | {s[name] / s['read']:.1f}" for s in steps]
        print(f"| {name} | {' | '.join(cells)} | {steps[1][name] / steps[0][name]:.2f} |")
    peaks = [peak_mb(c, folder) for c in cases]
    cells = [f"{p:.0f} MB | " for p in peaks]
    print(f"| peak memory | {' | '.join(cells)} | {peaks[1] / peaks[0]:.2f} |")


if __name__ == "__main__":
    sys.exit(main())
