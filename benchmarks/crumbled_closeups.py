"""Small photos of crumbled layers: `python -m benchmarks.crumbled_closeups TABLE --out DIR`.

To fit the border of crumbled patches on. Three rubber layers, two of them crumbled, fill a
photo without a mark: a patch costs a fifteenth of what it does in a whole photo. Finishes,
lights and cameras are drawn from the development tables, never from the checking set.
"""

import argparse
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
from tqdm import tqdm

from damagescore.scenes.development import broad_table, development_table, hard_table
from damagescore.scenes.laminate import nominal_height_mm
from damagescore.scenes.render import render, write_scene
from damagescore.scenes.spec import CrumblingSpec, MarkSpec, SceneSpec, StackSpec
from damagescore.scenes.variety import VarietyTable, draw_spec

TABLES = {"development": development_table, "hard": hard_table, "broad": broad_table}
SEED = 888_000
WIDTH_PX = 1250
FULL_PX = (2200, 1650)
FACES = (2, 7, 12, 22, 27)
"""Numbers that the tables give a face view with a crumbled area, of every thirty."""


def closeup_spec(table: VarietyTable, number: int) -> SceneSpec:
    """One photo; its truth is that of any scene."""
    seed = SEED + number
    walk = 30 * (number // len(FACES)) + FACES[number % len(FACES)]
    spec = draw_spec(table, walk, name=f"close-{number:04d}", seed=seed, size_px=FULL_PX)
    rng = np.random.default_rng([99, seed])
    density = spec.camera.px_per_mm
    stack = replace(spec.stack, rubber_layers=3, plate_below_mm=2.2, plate_above_mm=2.2)
    height_mm = nominal_height_mm(stack)
    size = WIDTH_PX, int((height_mm + 3.5) * density)
    patches = tuple(
        _patch(int(layer), stack, density, rng) for layer in rng.permutation([0, 2, 4])[:2]
    )
    return replace(
        spec, stack=stack, crumbling=patches, mark=MarkSpec(kind="none", ids=()), pieces=0,
        camera=replace(spec.camera, size_px=size, target_mm=(0.0, height_mm / 2)),
    )  # fmt: skip


def _patch(
    layer: int, stack: StackSpec, density: float, rng: np.random.Generator
) -> CrumblingSpec:
    half_mm = WIDTH_PX / density / 2 - 1.5
    radius = stack.radius_mm or np.inf
    reach_mm = min(0.36 * FULL_PX[0] / density, 0.7 * radius)
    length_mm = min(float(rng.uniform(0.25, 0.6)) * reach_mm, 1.4 * half_mm)
    room_mm = max(min(half_mm - 0.6 * length_mm, 0.5 * radius), 0.0)
    return CrumblingSpec(
        layer=layer,
        s_mm=float(rng.uniform(-1, 1)) * room_mm,
        length_mm=length_mm,
        share=float(rng.uniform(0.6, 0.95)),
        grain_mm=float(np.clip(0.13 * stack.rubber_mm * rng.uniform(0.7, 1.2), 0.2, 0.6)),
        depth_mm=float(rng.uniform(0.3, 0.9)),
    )


def main() -> int:
    """Render a run of close-ups of one table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("table", choices=sorted(TABLES))
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--count", type=int, default=60)
    given = parser.parse_args()
    numbers = range(given.first, given.first + given.count)
    for number in tqdm(numbers, unit="photo", file=sys.stderr, disable=None):
        spec = closeup_spec(TABLES[given.table](), number)
        write_scene(render(spec, SEED + number), given.out, with_mask=False)
    return 0


if __name__ == "__main__":
    sys.exit(main())
