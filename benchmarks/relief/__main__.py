"""Render photos with their truth: `python -m benchmarks.relief trial --out DIR --count N`."""

import argparse
import json
import sys
from pathlib import Path

from tqdm import tqdm

from benchmarks.relief.outline import EVERY, plan_profile, profile_truth
from benchmarks.relief.plan import plan_scene
from benchmarks.relief.ranges import TABLES
from benchmarks.relief.sensor import exposed, write_jpeg
from benchmarks.relief.stage import damaged_skin, radiance, stage
from benchmarks.relief.truth import scene_truth


def make_photo(table: str, number: int, folder: Path) -> Path:
    """Render one scene of a table; writes NAME.jpg and NAME.json."""
    in_profile = number % EVERY == EVERY - 1
    plan = plan_profile(table, number) if in_profile else plan_scene(table, number)
    rng, skin = plan.rng(6), damaged_skin(plan)
    # A round edge seen from the side is deep: one would stop the lens down.
    aperture_mm = 0.3 if in_profile else 0.9
    scene = stage(plan, skin)
    light = radiance(scene, plan.view, seed=plan.seed, aperture_mm=aperture_mm)
    path = folder / f"{plan.name}.jpg"
    low, high = plan.ranges.jpeg_quality
    write_jpeg(path, exposed(light, plan.ranges, rng), int(rng.integers(low, high + 1)))
    truth = profile_truth(plan, skin, path.name) if in_profile else scene_truth(plan, path.name)
    path.with_suffix(".json").write_text(json.dumps(truth), encoding="utf-8")
    return path


def main() -> int:
    """Render a run of scenes."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("table", choices=sorted(TABLES))
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--count", type=int, default=12)
    parser.add_argument("--first", type=int, default=0, help="number of the first scene")
    given = parser.parse_args()
    given.out.mkdir(parents=True, exist_ok=True)
    numbers = range(given.first, given.first + given.count)
    for number in tqdm(numbers, unit="photo", file=sys.stderr, disable=None):
        make_photo(given.table, number, given.out)
    return 0


if __name__ == "__main__":
    sys.exit(main())
