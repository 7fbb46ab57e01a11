"""Small photos of crumbled layers: `python -m benchmarks.crumbled_closeups TABLE --out DIR`.

To fit the search for crumbled patches and their border on. Three or four rubber layers, two
of them crumbled, fill a photo without a mark: a patch costs a fifteenth of what it does in a
whole photo. Finishes, lights and cameras are drawn from the development tables, never from the
checking set. "faint" walks through pits of a fifth of the usual depth to all of it and through
lamps from the side, from the front and soft: what a search may miss.
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
from damagescore.scenes.spec import (
    CrumblingSpec,
    LightSpec,
    MarkSpec,
    SceneSpec,
    StackSpec,
)
from damagescore.scenes.variety import VarietyTable, draw_spec

TABLES = {"development": development_table, "hard": hard_table, "broad": broad_table}
SEED = 888_000
FAINT_SEED = 991_000
WIDTH_PX = 1250
FULL_PX = (2200, 1650)
FACES = (2, 7, 12, 22, 27)
"""Numbers that the tables give a face view with a crumbled area, of every thirty."""


FAINT = "faint"
DEPTHS = (0.2, 0.35, 0.6, 1.0)
"""Shares of the usual depth of pits."""

LAMPS = (
    ((9.0, 14.5), (0.45, 0.95)),
    ((32.0, 52.0), (0.42, 0.63)),
    ((76.0, 88.0), (0.42, 0.95)),
    ((30.0, 88.0), (0.1, 0.24)),
)
"""Elevation in degrees and share of the lamp: raking, usual, from the front, soft."""

FAINT_WIDE_MM, FAINT_PX = 52.0, (1100, 1700)


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


def faint_spec(number: int) -> SceneSpec:
    """One photo of patches hard to see: its number sets the depth and the lamp."""
    rng = np.random.default_rng([4321, number])
    tables = (broad_table, hard_table, broad_table, development_table)
    table = tables[int(rng.integers(4))]()
    walk, seed = 30 * number + 2 + 5 * int(rng.integers(3)), FAINT_SEED + number
    spec = draw_spec(table, walk, name=f"faint-{number:04d}", seed=seed, size_px=FULL_PX)
    density = spec.camera.px_per_mm
    density = float(rng.uniform(20, 27)) if density > 50 else density
    layers = 4 if spec.stack.rubber_mm < 3 else 3
    stack = replace(spec.stack, rubber_layers=layers, plate_below_mm=2.2, plate_above_mm=2.2)
    if stack.radius_mm is not None and rng.random() < 0.6:
        stack = replace(stack, radius_mm=None)
    height_mm = nominal_height_mm(stack)
    width = int(np.clip(FAINT_WIDE_MM * density, *FAINT_PX))
    chosen = rng.permutation(np.arange(0, 2 * layers - 1, 2))[:2]
    depth = DEPTHS[number % len(DEPTHS)]
    patches = tuple(
        _faint_patch(int(layer), stack, width / density / 2, depth, rng) for layer in chosen
    )
    size = width, int((height_mm + 3.5) * density)
    camera = replace(
        spec.camera, size_px=size, px_per_mm=density, target_mm=(0.0, height_mm / 2)
    )
    return replace(
        spec, stack=stack, camera=camera, crumbling=patches, cracks=(), pieces=0,
        light=_lamp(spec.light, number, rng), mark=MarkSpec(kind="none", ids=()),
        verdict="ok", reason="",
    )  # fmt: skip


def _lamp(light: LightSpec, number: int, rng: np.random.Generator) -> LightSpec:
    elevation, direct = LAMPS[number // len(DEPTHS) % len(LAMPS)]
    return replace(
        light, elevation_deg=float(rng.uniform(*elevation)), direct=float(rng.uniform(*direct))
    )


def _faint_patch(
    layer: int, stack: StackSpec, half_mm: float, depth: float, rng: np.random.Generator
) -> CrumblingSpec:
    """A patch of 3 to 14 mm, one in seven or so at the photo's side."""
    length_mm = float(np.exp(rng.uniform(np.log(3.0), np.log(14.0))))
    share = float(rng.uniform(0.5, 0.95))
    length_mm = min(length_mm, 1.2 * half_mm)
    room_mm = max(min(half_mm - 0.6 * length_mm, 0.5 * (stack.radius_mm or np.inf)), 0.0)
    if rng.random() < 0.15 and stack.radius_mm is None:
        room_mm = half_mm - 0.2 * length_mm
    return CrumblingSpec(
        layer=layer,
        s_mm=float(rng.uniform(-1, 1)) * room_mm,
        length_mm=length_mm,
        share=share,
        grain_mm=float(np.clip(0.13 * stack.rubber_mm * rng.uniform(0.7, 1.2), 0.2, 0.6)),
        depth_mm=depth * float(rng.uniform(0.3, 0.9)),
    )


def main() -> int:
    """Render a run of close-ups of one table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("table", choices=[*sorted(TABLES), FAINT])
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--count", type=int, default=60)
    given = parser.parse_args()
    numbers = range(given.first, given.first + given.count)
    for number in tqdm(numbers, unit="photo", file=sys.stderr, disable=None):
        faint = given.table == FAINT
        spec = faint_spec(number) if faint else closeup_spec(TABLES[given.table](), number)
        seed = (FAINT_SEED if faint else SEED) + number
        write_scene(render(spec, seed), given.out, with_mask=False)
    return 0


if __name__ == "__main__":
    sys.exit(main())
