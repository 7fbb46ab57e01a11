"""The edge as fields on a grid: height, reflectance and gloss of every texel."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.scenes.crumbles import Patch
from damagescore.scenes.finish import (
    Finish,
    pick_finish,
    plate_finishes,
    rubber_finishes,
    shim_finishes,
)
from damagescore.scenes.fractures import Fracture
from damagescore.scenes.laminate import Grid, Laminate
from damagescore.scenes.noise import Field, fractal_noise, smooth_noise
from damagescore.scenes.relief import DamageFields, lay_damage
from damagescore.scenes.spec import SceneSpec


@dataclass(frozen=True, slots=True, kw_only=True)
class Surface:
    """Fields of the edge, each of shape (rows, columns), float32.

    `height_mm` outwards; `colour` has a last axis of 3; `gloss` is the mirror-like share with
    slope spreads `width_along` and `width_across`; `hole` is how far a texel looks into a
    crack or a pit (0 to 1); `rubber`, `shim`, `plate` are shares of the texel; `crack` and
    `crumbled` are the shares of damage; `label` is 0 plate, 1 rubber, 2 shim, 4 crack,
    5 crumbling.
    """

    grid: Grid
    height_mm: Field
    colour: Field
    gloss: Field
    width_along: Field
    width_across: Field
    hole: Field
    rubber: Field
    shim: Field
    crack: Field
    crumbled: Field
    label: NDArray[np.uint8]


def _ramp(v_mm: Field, line_mm: NDArray[np.float64], pitch_mm: float) -> Field:
    """Share of each texel above a line: an exact box edge for a nearly level line."""
    return np.asarray(np.clip((v_mm - line_mm[None, :]) / pitch_mm + 0.5, 0, 1), np.float32)


def layer_shares(grid: Grid, laminate: Laminate) -> tuple[Field, Field]:
    """Shares of rubber and of shim in each texel; the rest is plate."""
    s, v = grid.s_mm, grid.v_mm.astype(np.float32)[:, None]
    lines = [np.interp(s, laminate.s_mm, row) for row in laminate.interfaces_mm]
    shim = np.zeros(grid.shape, np.float32)
    for layer in range(1, laminate.count, 2):
        low, high = lines[layer], lines[layer + 1]
        band = grid.rows_between(low.min() - grid.pitch_mm, high.max() + grid.pitch_mm)
        part = _ramp(v[band], low, grid.pitch_mm) - _ramp(v[band], high, grid.pitch_mm)
        shim[band] += part
    stack = _ramp(v, lines[0], grid.pitch_mm) - _ramp(v, lines[-1], grid.pitch_mm)
    return stack - shim, shim


def _smear(grid: Grid, shim: Field, rng: np.random.Generator, strength: float) -> Field:
    """Share of the shims that moulded rubber covers: rags at the lines, in places only."""
    if strength <= 0:
        return np.zeros(grid.shape, np.float32)
    fine = fractal_noise(rng, grid.shape, scale_px=0.35 / grid.pitch_mm, octaves=4, stretch=1.6)
    slow = smooth_noise(rng, grid.shape, scale_px=5.0 / grid.pitch_mm, stretch=1.5)
    # deep inside the shim a blurred share stays near 1, so rubber creeps in from the lines
    depth = cv2.GaussianBlur(shim, (0, 0), max(1.0, 0.09 / grid.pitch_mm))
    level = fine + 0.55 * slow - 1.75 - 1.6 * (depth - 0.75) + 0.35 * np.log(strength)
    return np.asarray(np.clip(level * 6, 0, 1) * shim, np.float32)


def _texture(finish: Finish, grid: Grid, rng: np.random.Generator) -> tuple[Field, Field]:
    """Relative reflectance and fine relief of one material."""
    p, shape = grid.pitch_mm, grid.shape
    stretch = 1.0 + 8.0 * min(1.0, finish.streaks * 2)
    mottle = fractal_noise(rng, shape, scale_px=6.0 / p, octaves=5, gain=0.7)
    grain = smooth_noise(
        rng, shape, scale_px=max(1.3, 0.05 / p), stretch=1 + finish.streaks * 6
    )
    grain = 0.7 * grain + 0.7 * smooth_noise(rng, shape, scale_px=max(2.0, 0.14 / p))
    tone = 1 + finish.mottle * mottle + finish.grain * grain
    relief = finish.relief_mm * grain
    if finish.streaks:
        lines = smooth_noise(rng, shape, scale_px=max(1.2, 0.045 / p), stretch=60 * stretch)
        lines = lines + 0.6 * smooth_noise(rng, shape, scale_px=0.4 / p, stretch=40)
        tone += 0.30 * finish.streaks * lines
        relief += 0.35 * finish.relief_mm * lines
    return np.clip(tone, 0.15, 3.0), np.asarray(relief, np.float32)


def _steps(grid: Grid, shim: Field, plate: Field, rng: np.random.Generator) -> Field:
    """Each layer stands a little back or proud of its neighbours, with rounded shoulders."""
    p = grid.pitch_mm
    height = 0.05 * smooth_noise(rng, grid.shape, scale_px=9.0 / p, stretch=4)
    height *= np.float32(0.5)
    height += shim * np.float32(rng.uniform(-0.06, 0.03)) + plate * np.float32(
        rng.uniform(-0.02, 0.18)
    )
    soft = cv2.GaussianBlur(height, (0, 0), max(0.8, 0.05 / p))
    return np.asarray(soft, np.float32)


def _add_meniscus(
    height: Field, grid: Grid, laminate: Laminate, depth_mm: float, rng: np.random.Generator
) -> None:
    """Hollow or swell each rubber layer between its lines, as moulding leaves it (in place)."""
    s, v = grid.s_mm, grid.v_mm.astype(np.float32)[:, None]
    for layer in range(0, laminate.count, 2):
        low, high = (line.astype(np.float32) for line in laminate.bounds_mm(layer, s))
        rows = grid.rows_between(float(low.min()), float(high.max()))
        u = np.clip((v[rows] - low) / (high - low), 0, 1)
        height[rows] += np.float32(4 * depth_mm * rng.uniform(0.6, 1.3)) * u * (1 - u)


def build_surface(
    spec: SceneSpec,
    grid: Grid,
    laminate: Laminate,
    fractures: tuple[Fracture, ...],
    patches: tuple[Patch, ...],
    rng: np.random.Generator,
) -> Surface:
    """Lay materials, relief and damage on the grid."""
    rubber, shim = layer_shares(grid, laminate)
    # A part seen again keeps its textures while its cracks grow.
    own = rng if spec.surface_mm is None else rng.spawn(1)[0]
    damage = lay_damage(grid, fractures, patches, own)
    label = _labels(rubber, shim, damage)
    smear = np.maximum(_smear(grid, shim, rng, spec.stack.smears), shim * damage.crumbled)
    loose = 1 - damage.crumbs
    bare, plate = (shim - smear) * loose, (1 - rubber - shim) * loose
    coat = 1 - bare - plate
    finishes = (
        (coat, pick_finish(rubber_finishes(), spec.stack.rubber)),
        (bare, pick_finish(shim_finishes(), spec.stack.shim)),
        (plate, pick_finish(plate_finishes(), spec.stack.plate)),
    )
    height = _steps(grid, bare, plate, rng) + np.float32(0.03) * smear
    colour = np.zeros((*grid.shape, 3), np.float32)
    gloss, along, across = (np.zeros(grid.shape, np.float32) for _ in range(3))
    for share, finish in finishes:
        tone, relief = _texture(finish, grid, rng)
        weight = share * tone
        for channel in range(3):
            colour[..., channel] += np.float32(finish.colour[channel]) * weight
        height += share * relief
        gloss += np.float32(finish.gloss) * share
        along += np.float32(finish.width_along) * share
        across += np.float32(finish.width_across) * share
    _add_meniscus(height, grid, laminate, spec.stack.meniscus_mm, rng)
    height += damage.height_mm
    gloss *= 1 - np.clip(damage.crumbled + damage.crack, 0, 1)
    return Surface(
        grid=grid,
        height_mm=height,
        colour=colour,
        gloss=gloss,
        width_along=along,
        width_across=across,
        hole=damage.hole,
        rubber=coat,
        shim=bare,
        crack=damage.crack,
        crumbled=damage.crumbled,
        label=label,
    )


def _labels(rubber: Field, shim: Field, damage: DamageFields) -> NDArray[np.uint8]:
    label = np.zeros(rubber.shape, np.uint8)
    label[rubber > 0.5] = 1
    label[shim > 0.5] = 2
    label[damage.crumbled > 0.5] = 5
    label[damage.crack > 0.3] = 4
    return label
