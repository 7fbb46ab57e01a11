"""Crumbled rubber: a ragged patch, its broken relief and the crumbs around it."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.scenes.laminate import Grid, Laminate
from damagescore.scenes.noise import fractal_noise
from damagescore.scenes.spec import CrumblingSpec

Points = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Patch:
    """A crumbled patch: its spec and outlines in (s, v) mm, each of shape (N, 2), N >= 3."""

    spec: CrumblingSpec
    outlines_mm: tuple[Points, ...]

    @property
    def area_mm2(self) -> float:
        """Area within the outlines (they do not overlap)."""
        return sum(shoelace_mm2(outline) for outline in self.outlines_mm)


def shoelace_mm2(outline_mm: Points) -> float:
    """Area of a simple polygon, shape (N, 2)."""
    x, y = outline_mm.T
    return float(abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2)


def grow_patch(spec: CrumblingSpec, laminate: Laminate, rng: np.random.Generator) -> Patch:
    """Draw a ragged outline within one rubber layer.

    The patch is where an ellipse-like hill plus fractal noise is positive, kept inside the
    layer; pieces below 2 % of the largest are dropped and holes are filled.
    """
    fine = 0.02
    margin = 0.35 * spec.length_mm
    s = np.arange(
        spec.s_mm - spec.length_mm / 2 - margin, spec.s_mm + spec.length_mm / 2 + margin, fine
    )
    low, high = laminate.bounds_mm(spec.layer, s)
    v = np.arange(low.min() - 0.2, high.max() + 0.2, fine)
    within = (v[:, None] - low[None, :]) / (high - low)[None, :]
    middle = rng.uniform(min(0.5, spec.share / 2), max(0.5, 1 - spec.share / 2))
    across = (within - middle) / (spec.share / 2)
    along = (s[None, :] - spec.s_mm) / (spec.length_mm / 2)
    hill = 1 - np.abs(along) ** 3 - np.abs(across) ** 4
    shape = (len(v), len(s))
    rough = fractal_noise(rng, shape, scale_px=1.1 / fine, octaves=6, gain=0.62)
    inside = (hill + 0.42 * rough > 0) & (within > 0.0) & (within < 1.0)
    return Patch(spec=spec, outlines_mm=_outlines(inside, s, v, fine))


def _outlines(
    inside: NDArray[np.bool_], s: Points, v: Points, fine: float
) -> tuple[Points, ...]:
    found, _ = cv2.findContours(
        inside.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
    )
    loops = [loop[:, 0, :].astype(float) for loop in found if len(loop) >= 6]
    areas = [shoelace_mm2(loop) for loop in loops]
    kept = [p for p, a in zip(loops, areas, strict=True) if a >= 0.02 * max(areas)]
    return tuple(
        np.stack([s[0] + fine * loop[:, 0], v[0] + fine * loop[:, 1]], axis=1)[::2]
        for loop in kept
    )


def paint_patch(cover: NDArray[np.float32], grid: Grid, patch: Patch) -> None:
    """Raise `cover` to the share of each texel inside the patch (in place)."""
    fine = 2
    canvas = np.zeros((grid.shape[0] * fine, grid.shape[1] * fine), np.uint8)
    for outline in patch.outlines_mm:
        x = (grid.column(outline[:, 0]) + 0.5) * fine - 0.5
        y = (grid.row(outline[:, 1]) + 0.5) * fine - 0.5
        points = np.round(np.stack([x, y], axis=1) * 16).astype(np.int32)
        cv2.fillPoly(canvas, [points], 255, cv2.LINE_8, 4)
    size = (grid.shape[1], grid.shape[0])
    share = cv2.resize(canvas, size, interpolation=cv2.INTER_AREA)
    np.maximum(cover, share.astype(np.float32) / 255.0, out=cover)


def grain_relief(
    rng: np.random.Generator, shape: tuple[int, int], *, grain_px: float
) -> NDArray[np.float32]:
    """Packed angular lumps of three sizes, heights from 0 to about 1 (in grain diameters)."""
    relief = np.zeros(shape, np.float32)
    for size, weight in ((1.35, 0.9), (0.75, 0.8), (0.4, 0.6)):
        lumps = _angular_lumps(rng, shape, diameter_px=max(3.0, size * grain_px))
        relief += np.float32(weight * size) * lumps
    rough = fractal_noise(rng, shape, scale_px=max(2.0, 0.35 * grain_px), octaves=3)
    return np.asarray(relief * np.float32(0.5) + np.float32(0.05) * rough, np.float32)


def _angular_lumps(
    rng: np.random.Generator, shape: tuple[int, int], *, diameter_px: float
) -> NDArray[np.float32]:
    """Cells around scattered seeds, each a dome with its own height and tilted top."""
    rows, cols = (np.arange(0, n, diameter_px) for n in shape)
    y, x = np.meshgrid(rows, cols, indexing="ij")
    y = (y + rng.uniform(0, diameter_px, y.shape)).clip(0, shape[0] - 1).astype(int)
    x = (x + rng.uniform(0, diameter_px, x.shape)).clip(0, shape[1] - 1).astype(int)
    seeds = np.full(shape, 1, np.uint8)
    seeds[y, x] = 0
    distance, cell = cv2.distanceTransformWithLabels(
        seeds, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    table = np.zeros((int(cell.max()) + 1, 5), np.float32)
    table[:, 0] = rng.uniform(0.35, 1.0, len(table))
    table[:, 1:3] = rng.normal(0, 0.55, (len(table), 2))
    table[cell[y, x].ravel(), 3] = y.ravel()
    table[cell[y, x].ravel(), 4] = x.ravel()
    facts = table[cell]
    dy = (np.arange(shape[0], dtype=np.float32)[:, None] - facts[..., 3]) / diameter_px
    dx = (np.arange(shape[1], dtype=np.float32)[None, :] - facts[..., 4]) / diameter_px
    dome = np.sqrt(np.clip(1 - (distance / (0.66 * diameter_px)) ** 2, 0, 1))
    top = facts[..., 0] + facts[..., 1] * dy + facts[..., 2] * dx
    return np.asarray(np.clip(dome * top, 0, 1.3), np.float32)
