"""Crumbled areas: the outline of the missing surface, and how deep grains broke out."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt, gaussian_filter
from scipy.spatial import cKDTree
from skimage.draw import polygon2mask
from skimage.measure import find_contours

from benchmarks.relief.layup import Layup

Points = NDArray[np.float64]
Field = NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True)
class Crumbled:
    """Where a layer crumbled: outline `loop_mm` (N, 2) as (s, v)."""

    layer: int
    loop_mm: Points
    grain_mm: float

    @property
    def area_mm2(self) -> float:
        s, v = self.loop_mm.T
        return float(abs(np.dot(s, np.roll(v, -1)) - np.dot(v, np.roll(s, -1))) / 2)


def crumbled(
    layup: Layup, *, layer: int, centre_s_mm: float, length_mm: float, grain_mm: float,
    rng: np.random.Generator,
) -> Crumbled:  # fmt: skip
    """A ragged region along a layer: a bundle of overlapping lobes, bitten by grains.

    The lobes are drawn on a fine raster (0.025 mm); the outline of the largest piece is the
    truth, and the height field is cut along that same outline.
    """
    step = 0.025
    s = np.arange(-0.65 * length_mm, 0.65 * length_mm, step)
    low, high = (float(x[0]) for x in layup.bounds(layer, np.array([centre_s_mm])))
    v = np.arange(low - 0.5, high + 0.5, step)
    grid_s, grid_v = np.meshgrid(s, v)
    field = np.full(grid_s.shape, -np.inf)
    for _ in range(int(rng.integers(3, 6))):
        at_s = rng.uniform(-0.3, 0.3) * length_mm
        at_v = low + (high - low) * rng.uniform(0.3, 0.7)
        a, b = length_mm * rng.uniform(0.18, 0.26), (high - low) * rng.uniform(0.3, 0.55)
        lobe = 1 - np.hypot((grid_s - at_s) / a, (grid_v - at_v) / b)
        field = np.maximum(field, lobe)
    for scale, share in ((2.5 * grain_mm, 0.3), (0.8 * grain_mm, 0.18)):
        rough = gaussian_filter(rng.normal(size=field.shape), scale / 2 / step)
        field += share * rough / rough.std()
    bounds = layup.bounds(layer, grid_s[0] + centre_s_mm)
    inside = (field > 0) & (grid_v > bounds[0] + 0.04) & (grid_v < bounds[1] - 0.04)
    loop = _largest_loop(inside)
    loop_mm = np.column_stack(
        [loop[:, 0] * step + s[0] + centre_s_mm, loop[:, 1] * step + v[0]]
    )
    return Crumbled(layer=layer, loop_mm=loop_mm, grain_mm=grain_mm)


def _largest_loop(inside: NDArray[np.bool_]) -> Points:
    """Outline of the largest piece as (column, row), its border smoothed below the raster."""
    smooth = gaussian_filter(inside.astype(np.float64), 1.5)
    loops = find_contours(np.pad(smooth, 1), 0.5)
    return max(loops, key=len)[:-1, ::-1] - 1.0


def inside_loop(loop_mm: Points, grid_s: Field, grid_v: Field) -> NDArray[np.bool_]:
    """Which nodes of a regular grid (s along columns, v along rows) lie in an outline."""
    step_s, step_v = grid_s[0, 1] - grid_s[0, 0], grid_v[1, 0] - grid_v[0, 0]
    nodes = (loop_mm - [grid_s[0, 0], grid_v[0, 0]]) / [step_s, step_v]
    return polygon2mask(grid_s.shape, nodes[:, ::-1])


def broken_depth(
    inside: NDArray[np.bool_], *, step_mm: float, grain_mm: float, rng: np.random.Generator
) -> tuple[Field, Field]:
    """Depth below the old surface and a tone for each grain; both zero outside.

    Grains are the cells round scattered points: each cell broke out at its own depth, with a
    domed face; the rim drops over about 0.08 mm.
    """
    rows, columns = np.nonzero(inside)
    depth, tone = np.zeros((2, *inside.shape), np.float32)
    if not len(rows):
        return depth, tone
    here = np.column_stack([columns, rows]) * step_mm
    count = max(6, round(len(rows) * step_mm**2 / (0.6 * grain_mm**2)))
    seeds = here[rng.integers(0, len(here), count)] + rng.normal(0, grain_mm / 6, (count, 2))
    far, cell = cKDTree(seeds).query(here)
    base = rng.gamma(4.0, 0.25, count) * 0.9 * grain_mm + 0.12
    dome = 0.5 * grain_mm * (1 - np.clip(far / grain_mm, 0, 1) ** 2)
    cut = base[cell] - dome + 0.25 * grain_mm
    rim = distance_transform_edt(inside)[rows, columns] * step_mm
    depth[rows, columns] = np.maximum(cut, 0.1) * np.clip(rim / 0.08, 0.25, 1)
    tone[rows, columns] = rng.normal(0, 1, count)[cell]
    depth = cv2.GaussianBlur(depth, (0, 0), 0.03 / step_mm) * inside
    fine = gaussian_filter(rng.normal(size=inside.shape).astype(np.float32), 0.05 / step_mm)
    depth += inside * np.float32(0.04) * fine / max(float(fine.std()), 1e-9)
    return depth.astype(np.float32), tone


def loose_crumbs(area: Crumbled, rng: np.random.Generator) -> list[tuple[float, float, float]]:
    """Crumbs that cling below or in an area: (s, v, radius), mm."""
    low, high = area.loop_mm.min(axis=0), area.loop_mm.max(axis=0)
    crumbs = []
    for _ in range(int(rng.integers(4, 10))):
        s = rng.uniform(low[0], high[0])
        v = rng.uniform(low[1] - 0.3, (low[1] + high[1]) / 2)
        crumbs.append((s, v, area.grain_mm * math.exp(rng.normal(-1.3, 0.3))))
    return crumbs
