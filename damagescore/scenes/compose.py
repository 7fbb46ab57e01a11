"""Putting stage, edge and mark together in one photo of linear light."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.scenes.camera import Camera, SurfaceMap
from damagescore.scenes.marks import Card
from damagescore.scenes.noise import Field, line_noise, wide_blur
from damagescore.scenes.sensor import defocus
from damagescore.scenes.shading import colour_of
from damagescore.scenes.spec import LightSpec, SceneSpec
from damagescore.scenes.surface import Surface
from damagescore.scenes.surroundings import (
    Piece,
    backdrop,
    bench_radiance,
    draw_piece,
    scatter_pieces,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Canvas:
    """A photo in the making; its arrays are painted in place.

    `photo` is linear radiance (H, W, 3), `depth_mm` (H, W) the distance along the optical
    axis, `label` (H, W) the mask.
    """

    photo: Field
    depth_mm: Field
    label: NDArray[np.uint8]


def set_stage(
    spec: SceneSpec,
    camera: Camera,
    card: Card | None,
    rng: np.random.Generator,
) -> tuple[Canvas, tuple[Piece, ...]]:
    """Wall and bench before the part is put in, and the small pieces to stand on the bench.

    A card that reaches the bench shades it at its foot, and no piece hides the card.
    """
    width, height = camera.size_px
    photo = backdrop(spec.backdrop, (height, width), spec.light, rng)
    depth = np.full((height, width), spec.camera.distance_mm + 150, np.float32)
    foot = None if card is None else card.foot_mm()
    pieces = scatter_pieces(
        rng,
        width_mm=width / spec.camera.px_per_mm,
        count=spec.pieces,
        clear_mm=None if foot is None else (float(foot[0, 0]) - 1, float(foot[1, 0]) + 1),
        climb=float(np.tan(np.deg2rad(spec.camera.pitch_deg))),
    )
    label = np.zeros((height, width), np.uint8)
    canvas = Canvas(photo=photo, depth_mm=depth, label=label)
    lay_bench(canvas, spec, camera, (pieces, foot), rng)
    # the stage is blurred before the part is put in, so that nothing sharp bleeds into it
    away = depth - np.float32(spec.camera.distance_mm)
    rate = spec.sensor.depth_blur_px_per_mm
    photo[...] = defocus(photo, away, px_per_mm_away=rate)
    depth[...] = spec.camera.distance_mm
    return canvas, tuple(sorted(pieces, key=lambda item: item.z_mm))


def draw_pieces(
    canvas: Canvas,
    spec: SceneSpec,
    camera: Camera,
    pieces: tuple[Piece, ...],
    rng: np.random.Generator,
) -> None:
    """Draw pieces from the farthest to the nearest (in place)."""
    for piece in pieces:
        draw_piece(canvas.photo, camera, piece, spec, rng)


def lay_bench(
    canvas: Canvas,
    spec: SceneSpec,
    camera: Camera,
    things: tuple[tuple[Piece, ...], NDArray[np.float64] | None],
    rng: np.random.Generator,
) -> None:
    """Draw the bench top, the plane under the lower plate, where rays meet it (in place)."""
    pieces, foot = things
    level_mm = -spec.stack.plate_below_mm
    dx, dy, dz = camera.rays()
    cx, cy, cz = camera.centre_mm
    along = (level_mm - cy) / np.where(dy < -1e-6, dy, -1e-6)
    back = -1.0 if spec.view == "face" and spec.stack.radius_mm is None else -140.0
    valid = (dy < -1e-6) & (along > 0) & (cz + along * dz > back) & (along < 900)
    rows = np.flatnonzero(valid.any(axis=1))
    if not len(rows):
        return
    part = slice(rows[0], rows[-1] + 1)
    along, valid = along[part], valid[part]
    x, z = cx + along * dx[part], cz + along * dz[part]
    pitch = 0.09
    xs = np.arange(x[valid].min() - 1, x[valid].max() + 1, pitch)
    zs = np.arange(z[valid].min() - 1, z[valid].max() + 1, pitch)
    gap = _foot_gap(xs, zs, spec)
    if foot is not None and foot[:, 1].min() < 0.2 - spec.stack.plate_below_mm:
        gap = np.minimum(gap, _line_gap(xs, zs, foot[:, [0, 2]]))
    tone = bench_radiance(spec.bench, (xs, zs, gap), spec.light, pieces, rng)
    columns = ((x - xs[0]) / pitch).astype(np.float32)
    lines = ((z - zs[0]) / pitch).astype(np.float32)
    seen = cv2.remap(tone, columns, lines, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
    canvas.photo[part][valid] = seen[valid]
    canvas.depth_mm[part][valid] = along[valid]


def _foot_gap(xs: NDArray[np.float64], zs: NDArray[np.float64], spec: SceneSpec) -> Field:
    radius = spec.stack.radius_mm
    x, z = xs[None, :], zs[:, None]
    profile = spec.view == "profile"
    if radius is None:
        gap = np.hypot(np.maximum(z, 0), np.maximum(x, 0) if profile else 0 * x)
    elif profile:
        gap = np.maximum(np.hypot(x + radius, z) - radius, 0)
    else:
        gap = np.maximum(np.hypot(x, z + radius) - radius, 0)
    return np.asarray(gap, np.float32)


def _line_gap(
    xs: NDArray[np.float64], zs: NDArray[np.float64], ends: NDArray[np.float64]
) -> Field:
    """Distance of every grid point from a line segment."""
    along = ends[1] - ends[0]
    px, pz = xs[None, :] - ends[0, 0], zs[:, None] - ends[0, 1]
    share = np.clip((px * along[0] + pz * along[1]) / (along @ along), 0, 1)
    return np.asarray(np.hypot(px - share * along[0], pz - share * along[1]), np.float32)


def lay_edge(
    canvas: Canvas,
    spec: SceneSpec,
    seen: SurfaceMap,
    parts: tuple[Surface, Field],
) -> None:
    """Bring the shaded edge into the photo (in place) through the exact map.

    `seen.cover` says how much of each pixel it takes.
    """
    surface, radiance = parts
    share = seen.cover
    grid = surface.grid
    columns = ((seen.s - np.float32(grid.s0_mm)) / np.float32(grid.pitch_mm)).astype(np.float32)
    lines = ((np.float32(grid.v0_mm) - seen.v) / np.float32(grid.pitch_mm)).astype(np.float32)
    # averaging over about one photo pixel before sampling keeps thin lines free of aliasing
    soft = cv2.GaussianBlur(radiance, (0, 0), 0.38 * spec.oversample)
    edge = cv2.remap(soft, columns, lines, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    canvas.photo[...] += share[..., None] * (edge - canvas.photo)
    whole = share > 0.5
    canvas.depth_mm[whole] = seen.depth[whole]
    names = cv2.remap(surface.label, columns, lines, cv2.INTER_NEAREST)
    canvas.label[whole] = names[whole]


def finish_light(canvas: Canvas, spec: SceneSpec, rng: np.random.Generator) -> None:
    """Shadow of something beside the camera, and a streak of glare (in place)."""
    light, photo = spec.light, canvas.photo
    rows, cols = photo.shape[:2]
    x = np.linspace(0, 1, cols, dtype=np.float32)[None, :]
    y = np.linspace(0, 1, rows, dtype=np.float32)[:, None]
    if light.shadow_line is not None:
        wander = 0.01 * line_noise(rng, rows, scale=rows / 2).astype(np.float32)[:, None]
        place = (x - light.shadow_line + 0.06 * (y - 0.5) + wander) / 0.05
        shade = 1 - 0.6 * light.direct / (1 + np.exp(np.clip(place, -30, 30)))
        photo *= shade[..., None].astype(np.float32)
    if light.glare is not None:
        _add_glare(canvas, light, x - light.glare + 0.10 * (y - 0.5))


def _add_glare(canvas: Canvas, light: LightSpec, offset: Field) -> None:
    """A broad sheen that follows the surface's own grain."""
    band = np.exp(-((offset / 0.055) ** 2)) + 0.35 * np.exp(-((offset / 0.16) ** 2))
    band = band * (canvas.label != 3)
    grey = canvas.photo.mean(axis=-1)
    local = np.clip(grey / np.maximum(wide_blur(grey, 12.0), 1e-4), 0.6, 1.4)
    sheen = np.float32(0.10 * light.direct) * band.astype(np.float32) * local
    canvas.photo[...] += sheen[..., None] * colour_of(light.kelvin).astype(np.float32)
