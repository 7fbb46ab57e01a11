"""What damage does to the surface: openings, broken relief, loose crumbs, darkness inside."""

from dataclasses import dataclass

import cv2
import numpy as np

from damagescore.scenes.crumbles import Patch, grain_relief, paint_patch
from damagescore.scenes.fractures import Fracture, paint_branch
from damagescore.scenes.laminate import Grid
from damagescore.scenes.noise import Field, fractal_noise, wide_blur


@dataclass(frozen=True, slots=True, kw_only=True)
class DamageFields:
    """Damage on the grid, each field (rows, columns), float32.

    `crack`, `crumbled` and `crumbs` are shares of the texel; `hole` is how far it looks into
    the dark (0 to 1); `height_mm` is added to the sound surface.
    """

    crack: Field
    crumbled: Field
    crumbs: Field
    hole: Field
    height_mm: Field


def lay_damage(
    grid: Grid,
    fractures: tuple[Fracture, ...],
    patches: tuple[Patch, ...],
    rng: np.random.Generator,
) -> DamageFields:
    """Paint all cracks, bond gaps and crumbled patches."""
    crack, crumbled, crumbs, hole, height = (np.zeros(grid.shape, np.float32) for _ in range(5))
    fields = DamageFields(
        crack=crack, crumbled=crumbled, crumbs=crumbs, hole=hole, height_mm=height
    )
    for fracture in fractures:
        _open_fracture(fields, grid, fracture)
    for patch in patches:
        _break_patch(fields, grid, patch, rng)
    return fields


def _open_fracture(fields: DamageFields, grid: Grid, fracture: Fracture) -> None:
    """Cut one crack (in place); its lips curl outwards a little and catch the light."""
    points = np.vstack([branch.points_mm for branch in fracture.branches])
    found = grid.window(points.min(axis=0) - 1.5, points.max(axis=0) + 1.5)
    if not found:
        return
    window, part = found
    cover = np.zeros(part.shape, np.float32)
    for branch in fracture.branches:
        paint_branch(cover, part, branch)
    faint = fracture.spec.faint
    dark = cover * np.float32(0.42 if faint else 0.97)
    groove_mm = np.float32(0.04 if faint else 0.12)
    lips = cv2.GaussianBlur(cover, (0, 0), max(1.0, 0.10 / grid.pitch_mm))
    curl = (0.05 if faint else 0.16) * min(0.4, fracture.spec.width_mm)
    fields.height_mm[window] += np.float32(curl) * lips
    fields.height_mm[window] -= groove_mm * cv2.GaussianBlur(cover, (0, 0), 0.8)
    for field, value in ((fields.crack, cover), (fields.hole, dark)):
        np.maximum(field[window], value, out=field[window])


def _break_patch(
    fields: DamageFields, grid: Grid, patch: Patch, rng: np.random.Generator
) -> None:
    """Replace sound rubber by broken lumps on a sunken floor (in place)."""
    points = np.vstack(patch.outlines_mm)
    found = grid.window(points.min(axis=0) - 2.5, points.max(axis=0) + 2.5)
    if not found:
        return
    window, part = found
    cover = np.zeros(part.shape, np.float32)
    paint_patch(cover, part, patch)
    lumps = grain_relief(rng, part.shape, grain_px=patch.spec.grain_mm / part.pitch_mm)
    slow = fractal_noise(rng, part.shape, scale_px=2.0 / part.pitch_mm, octaves=3)
    rim = np.clip(wide_blur(cover, 0.25 / part.pitch_mm) * 2 - 0.8, 0, 1) * cover
    floor = patch.spec.depth_mm * rim * np.clip(0.75 + 0.3 * slow, 0.2, 1.4)
    broken = patch.spec.grain_mm * (lumps - 0.25)
    fields.height_mm[window] += cover * (broken - floor).astype(np.float32)
    # gaps between lumps see almost no light
    gaps = cover * (0.85 * np.clip(0.36 - lumps, 0, 0.36) / 0.36).astype(np.float32)
    for field, value in ((fields.crumbled, cover), (fields.hole, gaps)):
        np.maximum(field[window], value, out=field[window])
    _scatter_crumbs(fields, window, (cover, part), patch, rng)


def _scatter_crumbs(
    fields: DamageFields,
    window: tuple[slice, slice],
    patch_on: tuple[Field, Grid],
    patch: Patch,
    rng: np.random.Generator,
) -> None:
    """Loose lumps lie thinly around the patch, also on the metal (in place)."""
    cover, part = patch_on
    size_px = 0.75 * patch.spec.grain_mm / part.pitch_mm
    lumps = grain_relief(rng, part.shape, grain_px=size_px)
    near = np.clip(wide_blur(cover, 0.8 / part.pitch_mm), 0, 1) * (1 - cover)
    sparse = fractal_noise(rng, part.shape, scale_px=1.6 * size_px, octaves=2)
    chosen = np.clip((sparse + 2.4 * near - 2.3) * 5, 0, 1) * (1 - cover)
    solid = (chosen * np.clip((lumps - 0.3) * 6, 0, 1)).astype(np.float32)
    fields.height_mm[window] += np.float32(0.5 * patch.spec.grain_mm) * lumps * solid
    np.maximum(fields.crumbs[window], solid, out=fields.crumbs[window])
