"""The height field of the edge and what it is made of at every node."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from benchmarks.relief.cracks import Fracture, Opening
from benchmarks.relief.layup import Layup
from benchmarks.relief.pits import Crumbled, broken_depth, inside_loop

Field = NDArray[np.float32]


@dataclass(slots=True, kw_only=True)
class Skin:
    """Fields on a regular grid, rows along v and columns along s, `step_mm` apart.

    `height_mm` outwards; `metal` 1 where the shim shows, 0 on rubber; `colour` (rows,
    columns, 3) reflectance of rubber or tint of metal; `gloss` the roughness of the rubber.
    """

    s_mm: Field
    v_mm: Field
    step_mm: float
    height_mm: Field
    metal: Field
    colour: Field
    gloss: Field


@dataclass(frozen=True, slots=True, kw_only=True)
class Finish:
    """How the sound surface looks; amounts from 0 (none) to 1."""

    rubber: tuple[float, float, float]
    bulges_mm: tuple[float, ...]
    shim_rise_mm: tuple[float, ...]
    texture_mm: float
    gloss: float
    bloom: float
    dust: float
    smear: float
    tarnish: float
    flash_layers: tuple[int, ...]
    scratches: int


def clouds(shape: tuple[int, int], scale_px: float, rng: np.random.Generator) -> Field:
    """Smooth noise of unit deviation, features about `scale_px` nodes across."""
    coarse = max(1.0, scale_px / 3)
    small = [int(np.ceil(n / coarse)) + 8 for n in shape]
    noise = cv2.GaussianBlur(
        rng.normal(size=small).astype(np.float32), (0, 0), scale_px / coarse / 2
    )
    noise = cv2.resize(noise, None, fx=coarse, fy=coarse, interpolation=cv2.INTER_CUBIC)
    noise = noise[: shape[0], : shape[1]]
    return (noise - noise.mean()) / max(float(noise.std()), 1e-9)


def step_up(field: Field, low: float, high: float) -> Field:
    """Smooth step from 0 at `low` to 1 at `high`."""
    t = np.clip((field - low) / (high - low), 0, 1)
    return np.asarray(t * t * (3 - 2 * t), np.float32)


def bare_skin(
    layup: Layup, finish: Finish, *, span_mm: tuple[float, float], step_mm: float,
    rng: np.random.Generator,
) -> Skin:  # fmt: skip
    """The sound edge: bulged layers, menisci at the shims, moulded texture, wear."""
    s = np.arange(span_mm[0], span_mm[1], step_mm)
    v = np.linspace(0, layup.height_mm, round(layup.height_mm / step_mm) + 1)
    grid_s, grid_v = (x.astype(np.float32) for x in np.meshgrid(s, v))
    lines = np.stack([np.interp(s, layup.s_mm, line) for line in layup.lines_mm])
    lines[0], lines[-1] = -1e-3, layup.height_mm + 1e-3
    layer = sum((grid_v >= line).astype(np.int16) for line in lines[1:-1])
    low, high = np.take_along_axis(lines, layer, 0), np.take_along_axis(lines, layer + 1, 0)
    t = ((grid_v - low) / (high - low)).astype(np.float32)
    metal = (layer % 2).astype(np.float32)
    skin = Skin(
        s_mm=grid_s, v_mm=grid_v, step_mm=step_mm, height_mm=np.zeros_like(grid_s), metal=metal,
        colour=np.ones((*grid_s.shape, 3), np.float32),
        gloss=np.full_like(grid_s, finish.gloss),
    )  # fmt: skip
    _shape(skin, finish, layer, t, rng)
    _paint(skin, finish, rng)
    _smear(skin, finish, t, rng)
    _flash(skin, finish, layup, rng)
    return skin


def _shape(
    skin: Skin, finish: Finish, layer: NDArray, t: Field, rng: np.random.Generator
) -> None:
    """Rubber domed between its bond lines; shims flat, filed, a little in or out."""
    shape, per_mm = skin.metal.shape, 1 / skin.step_mm
    dome = np.asarray(finish.bulges_mm, np.float32)[layer] * 4 * t * (1 - t)
    dome *= 1 + np.float32(0.15) * clouds(shape, 15 * per_mm, rng)
    fine = clouds(shape, 0.12 * per_mm, rng) + 0.8 * clouds(shape, 0.35 * per_mm, rng)
    moulded = fine + 1.5 * clouds(shape, 1.2 * per_mm, rng)
    filed = cv2.blur(rng.normal(size=shape).astype(np.float32), (max(3, int(2 * per_mm)), 1))
    rise = np.asarray(finish.shim_rise_mm, np.float32)[layer]
    shim = (
        rise
        + np.float32(0.0025) * filed / filed.std()
        + 0.004 * clouds(shape, 0.5 * per_mm, rng)
    )
    rubber = dome + np.float32(finish.texture_mm) * moulded
    mix = cv2.GaussianBlur(skin.metal, (0, 0), 0.02 * per_mm + 0.3)
    skin.height_mm = mix * shim + (1 - mix) * rubber


def _paint(skin: Skin, finish: Finish, rng: np.random.Generator) -> None:
    """Colour of rubber with mottle, bloom and dust; tint of metal with tarnish."""
    shape, per_mm = skin.metal.shape, 1 / skin.step_mm
    mottle = 1 + 0.1 * clouds(shape, 7 * per_mm, rng) + 0.07 * clouds(shape, 0.8 * per_mm, rng)
    rubber = np.asarray(finish.rubber, np.float32) * np.clip(mottle, 0.5, 2)[..., None]
    veil = finish.bloom * step_up(
        clouds(shape, 5 * per_mm, rng) + 0.4 * clouds(shape, per_mm, rng), -0.5, 2
    )
    pale = np.array([0.36, 0.37, 0.36], np.float32)
    rubber += 0.22 * veil[..., None] * (pale - rubber)
    stain = finish.tarnish * step_up(clouds(shape, 3 * per_mm, rng), 0.0, 2.0)
    spots = finish.tarnish * step_up(clouds(shape, 0.35 * per_mm, rng), 1.6, 2.4)
    metal = 1 - np.clip(0.45 * stain + 0.6 * spots, 0, 0.85)[..., None] * np.array(
        [0.75, 0.88, 1.0]
    )
    skin.colour = np.where(skin.metal[..., None] > 0.5, metal, rubber).astype(np.float32)
    skin.gloss += 0.25 * veil + 0.05 * clouds(shape, 2 * per_mm, rng)
    _dust(skin, finish, rng)


def _dust(skin: Skin, finish: Finish, rng: np.random.Generator) -> None:
    """Flakes that lie on the surface: pale, and a few hundredths of a millimetre proud."""
    canvas = np.zeros(skin.metal.shape, np.float32)
    area_mm2 = canvas.size * skin.step_mm**2
    for _ in range(rng.poisson(0.12 * finish.dust * area_mm2)):
        at = (int(rng.integers(canvas.shape[1])), int(rng.integers(canvas.shape[0])))
        size = np.exp(rng.normal(-2.9, 0.45)) / skin.step_mm
        axes = (max(1, round(size)), max(1, round(size * rng.uniform(0.4, 1))))
        cv2.ellipse(canvas, at, axes, rng.uniform(0, 180), 0, 360, rng.uniform(0.3, 1), -1)
    canvas = cv2.GaussianBlur(canvas, (0, 0), 0.7)
    film = 0.12 * finish.dust * step_up(clouds(canvas.shape, 0.2 / skin.step_mm, rng), 1.2, 3)
    cover = np.clip(0.6 * canvas + film, 0, 0.8)[..., None]
    skin.colour += cover * (np.array([0.4, 0.38, 0.34], np.float32) - skin.colour)
    skin.height_mm += 0.025 * canvas
    skin.gloss = np.clip(skin.gloss + 0.3 * cover[..., 0], 0.2, 0.95)


def _smear(skin: Skin, finish: Finish, t: Field, rng: np.random.Generator) -> None:
    """Rubber drawn over the shims' edges, most from the bond lines inward."""
    per_mm = 1 / skin.step_mm
    lumps = clouds(t.shape, 1.2 * per_mm, rng) + 0.5 * clouds(t.shape, 0.25 * per_mm, rng)
    cover = step_up(
        lumps + 1.5 * np.abs(2 * t - 1), 3.6 - 1.8 * finish.smear, 3.75 - 1.8 * finish.smear
    )
    cover *= skin.metal
    skin.metal = skin.metal * (1 - cover)
    skin.colour += cover[..., None] * (
        1.25 * np.asarray(finish.rubber, np.float32) - skin.colour
    )
    skin.height_mm += 0.03 * cv2.GaussianBlur(cover, (0, 0), 0.04 * per_mm)


def _flash(skin: Skin, finish: Finish, layup: Layup, rng: np.random.Generator) -> None:
    """Ridges where mould halves met, and shallow scratches."""
    s = skin.s_mm[0].astype(float)
    for layer in finish.flash_layers:
        low, high = layup.bounds(layer, s)
        sway = clouds((1, len(s)), 6 / skin.step_mm, rng)[0]
        at = low + (high - low) * (rng.uniform(0.3, 0.7) + 0.02 * sway)
        torn = np.clip(1 + 0.5 * clouds((1, len(s)), 1.5 / skin.step_mm, rng)[0], 0.1, 1.6)
        ridge = rng.uniform(0.05, 0.12) * torn * np.exp(-(((skin.v_mm - at) / 0.06) ** 2))
        skin.height_mm += ridge.astype(np.float32)
    for _ in range(finish.scratches):
        _scratch(skin, rng)


def _scratch(skin: Skin, rng: np.random.Generator) -> None:
    rows, columns = skin.metal.shape
    start = rng.uniform([0, 0], [columns, rows])
    turn = rng.normal(0, 0.5) + (np.pi / 2 if rng.random() < 0.3 else 0)
    reach = rng.uniform(2, 9) / skin.step_mm * np.array([np.cos(turn), np.sin(turn)])
    bow = rng.normal(0, 0.03, 2) * np.abs(reach).max()
    u = np.linspace(0, 1, 24)[:, None]
    path = start + u * reach + 4 * u * (1 - u) * bow
    canvas = np.zeros((rows, columns), np.float32)
    nodes = np.round(path * 16).astype(np.int32)
    thickness = max(1, round(rng.uniform(0.03, 0.08) / skin.step_mm))
    cv2.polylines(canvas, [nodes], False, 1.0, thickness, cv2.LINE_AA, 4)
    canvas = cv2.GaussianBlur(canvas, (0, 0), 0.8)
    skin.height_mm -= np.float32(rng.uniform(0.006, 0.016)) * canvas
    skin.colour *= (1 + rng.uniform(0.1, 0.5) * canvas * (1 - skin.metal))[..., None]


def cut_fracture(skin: Skin, fracture: Fracture, rng: np.random.Generator) -> None:
    """Cut every run as a V with rough lips; open rubber inside is dull and dark."""
    for run in fracture.runs:
        _cut(skin, run, rng)


def _cut(skin: Skin, run: Opening, rng: np.random.Generator) -> None:
    margin = 0.6 * float(run.widths_mm.max()) + 0.35
    grid0 = np.array([skin.s_mm[0, 0], skin.v_mm[0, 0]], float)
    step = np.array([skin.step_mm, skin.v_mm[1, 0] - skin.v_mm[0, 0]], float)
    low = np.floor((run.points_mm.min(axis=0) - margin - grid0) / step).astype(int).clip(0)
    high = np.ceil((run.points_mm.max(axis=0) + margin - grid0) / step).astype(int).clip(0)
    window = np.s_[low[1] : high[1], low[0] : high[0]]
    s, v = skin.s_mm[window].astype(float), skin.v_mm[window].astype(float)
    if s.size == 0:
        return
    far, nearest = cKDTree(run.points_mm).query(
        np.column_stack([s.ravel(), v.ravel()]), distance_upper_bound=margin
    )
    near = np.minimum(nearest, len(run.points_mm) - 1)
    far = np.where(np.isfinite(far), far, 9.0).reshape(s.shape).astype(np.float32)
    width = run.widths_mm[near].reshape(s.shape).astype(np.float32)
    ragged = far + 0.14 * width * clouds(s.shape, 0.12 / skin.step_mm, rng)
    depth = np.clip(3.0 * width, 0.15, 1.2)
    groove = np.clip(1.25 * (1 - ragged / (width / 2)), 0, 1)
    lip = 0.12 * width * np.exp(-np.clip(far - width / 2, 0, None) / 0.12) * (far < 8)
    skin.height_mm[window] += np.where(
        groove > 0, -depth * groove, lip * (1 - skin.metal[window])
    )
    inside = step_up(groove, 0.0, 0.3)
    skin.metal[window] *= 1 - inside
    skin.gloss[window] += 0.4 * inside * (0.9 - skin.gloss[window])


def break_out(skin: Skin, area: Crumbled, rng: np.random.Generator) -> None:
    """Lower the surface inside an outline to broken grains, dull and uneven in tone."""
    inside = inside_loop(area.loop_mm, skin.s_mm, skin.v_mm)
    depth, tone = broken_depth(inside, step_mm=skin.step_mm, grain_mm=area.grain_mm, rng=rng)
    skin.height_mm -= depth
    skin.metal *= ~inside
    skin.colour *= np.where(inside, np.clip(1.05 + 0.12 * tone, 0.6, 1.6), 1)[..., None]
    skin.gloss = np.where(inside, 0.75, skin.gloss).astype(np.float32)
