"""Face view: the camera looks at the exposed edge."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.scenes.camera import Camera, SurfaceMap, aim_camera, surface_map
from damagescore.scenes.crumbles import Patch, grow_patch
from damagescore.scenes.dressing import Notes, dress_surface
from damagescore.scenes.fractures import Fracture, grow_fracture
from damagescore.scenes.laminate import Grid, Laminate, build_laminate, nominal_height_mm
from damagescore.scenes.marks import Card, card_radiance, make_card, mark_truth
from damagescore.scenes.noise import Field, line_noise, wide_blur
from damagescore.scenes.shading import colour_of, lamp_direction, shade_surface
from damagescore.scenes.spec import LightSpec, SceneSpec
from damagescore.scenes.surface import Surface, build_surface
from damagescore.scenes.surroundings import (
    Piece,
    backdrop,
    bench_radiance,
    draw_piece,
    scatter_pieces,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plate:
    """Undeveloped photo of a scene with what is known about it.

    `photo` is linear radiance (H, W, 3), `depth_mm` (H, W), `label` (H, W) as in the mask.
    """

    photo: Field
    depth_mm: Field
    label: NDArray[np.uint8]
    camera: Camera
    laminate: Laminate
    fractures: tuple[Fracture, ...]
    patches: tuple[Patch, ...]
    markers: list[dict[str, object]]
    notes: Notes
    focus_mm: float


def _seeded(seed: int, part: int) -> np.random.Generator:
    """Independent draws for each part, so that changing one part leaves the others alone."""
    return np.random.default_rng([seed, part])


def face_camera(spec: SceneSpec) -> Camera:
    """Camera of a face view, aimed so that stack and mark both show."""
    height = nominal_height_mm(spec.stack)
    target = spec.camera.target_mm or (0.0, (height - 0.75 * spec.stack.plate_below_mm) / 2)
    return aim_camera(spec.camera, np.array([target[0], target[1], 0.0]))


def _face_grid(spec: SceneSpec, seen: SurfaceMap, top_mm: float) -> Grid:
    hit = seen.cover > 0
    pitch = 1 / (spec.oversample * spec.camera.px_per_mm)
    s0, s1 = float(seen.s[hit].min()) - 0.3, float(seen.s[hit].max()) + 0.3
    v0 = max(float(seen.v.min()), -spec.stack.plate_below_mm) - 0.5
    v1 = min(float(seen.v.max()), top_mm) + 0.5
    shape = (int((v1 - v0) / pitch) + 1, int((s1 - s0) / pitch) + 1)
    return Grid(s0_mm=s0, v0_mm=v1, pitch_mm=pitch, shape=shape)


def render_face(spec: SceneSpec, seed: int) -> Plate:
    """Render the face view of a flat or cylindrical edge to linear light."""
    camera = face_camera(spec)
    radius = spec.stack.radius_mm
    seen = surface_map(camera, radius)
    top = nominal_height_mm(spec.stack) + spec.stack.plate_above_mm
    grid = _face_grid(spec, seen, top)
    reach = (grid.s_mm[0] - 3, grid.s_mm[-1] + 3)
    laminate = build_laminate(spec.stack, reach, _seeded(seed, 1))
    draw = _seeded(seed, 2)
    fractures = tuple(grow_fracture(c, laminate, draw) for c in spec.cracks)
    patches = tuple(grow_patch(c, laminate, draw) for c in spec.crumbling)
    surface = build_surface(spec, grid, laminate, fractures, patches, _seeded(seed, 3))
    notes = dress_surface(surface, laminate, spec, _seeded(seed, 4))
    _turn_top_edge(surface, top)
    photo, depth, pieces = set_stage(spec, camera, _seeded(seed, 7))
    label = np.zeros(seen.s.shape, np.uint8)
    radiance = shade_surface(surface, spec.light, camera, radius, _seeded(seed, 5))
    _lay_edge(photo, depth, label, spec, seen, (surface, radiance, top))
    for piece in pieces:
        draw_piece(
            photo, camera, piece, -spec.stack.plate_below_mm, spec.light, _seeded(seed, 9)
        )
    markers = _lay_mark(photo, depth, label, spec, camera, _seeded(seed, 6))
    _finish_light(photo, label, spec, _seeded(seed, 8))
    focus = camera.depth(np.array([[0.0, laminate.height_mm / 2, 0.0]]))[0]
    return Plate(
        photo=photo,
        depth_mm=depth,
        label=label,
        camera=camera,
        laminate=laminate,
        fractures=fractures,
        patches=patches,
        markers=markers,
        notes=notes,
        focus_mm=float(focus),
    )


def _turn_top_edge(surface: Surface, top_mm: float) -> None:
    """A small chamfer at the top of the upper plate, which catches the light."""
    v = surface.grid.v_mm
    over = np.clip((v - (top_mm - 0.5)) / 0.5, 0, 1.5).astype(np.float32)
    surface.height_mm[...] -= np.float32(0.45) * over[:, None]


def set_stage(
    spec: SceneSpec, camera: Camera, rng: np.random.Generator
) -> tuple[Field, Field, tuple[Piece, ...]]:
    """Wall and bench before the part is put in, their depth, and the pieces to stand on it."""
    width, height = camera.size_px
    photo = backdrop(spec.backdrop, (height, width), spec.light, rng)
    depth = np.full((height, width), spec.camera.distance_mm + 150, np.float32)
    pieces = scatter_pieces(
        rng, width_mm=width / spec.camera.px_per_mm, nearest_mm=2.0, count=spec.pieces
    )
    lay_bench(photo, depth, spec, camera, pieces, rng)
    return photo, depth, tuple(sorted(pieces, key=lambda item: item.z_mm))


def lay_bench(
    photo: Field,
    depth: Field,
    spec: SceneSpec,
    camera: Camera,
    pieces: tuple[Piece, ...],
    rng: np.random.Generator,
) -> None:
    """Draw the bench top, the plane under the lower plate, where rays meet it (in place)."""
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
    tone = bench_radiance(spec.bench, (xs, zs, gap), spec.light, pieces, rng)
    columns = ((x - xs[0]) / pitch).astype(np.float32)
    lines = ((z - zs[0]) / pitch).astype(np.float32)
    seen = cv2.remap(tone, columns, lines, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
    photo[part][valid] = seen[valid]
    depth[part][valid] = along[valid]


def _foot_gap(xs: NDArray[np.float64], zs: NDArray[np.float64], spec: SceneSpec) -> Field:
    radius = spec.stack.radius_mm
    if radius is None:
        gap = np.abs(zs)[:, None] + np.zeros_like(xs)[None, :]
    else:
        gap = np.abs(np.hypot(xs[None, :], zs[:, None] + radius) - radius)
    return np.asarray(gap, np.float32)


def _lay_edge(
    photo: Field,
    depth: Field,
    label: NDArray[np.uint8],
    spec: SceneSpec,
    seen: SurfaceMap,
    parts: tuple[Surface, Field, float],
) -> None:
    """Bring the shaded edge into the photo (in place) through the exact map."""
    surface, radiance, top_mm = parts
    grid = surface.grid
    columns = ((seen.s - np.float32(grid.s0_mm)) / np.float32(grid.pitch_mm)).astype(np.float32)
    lines = ((np.float32(grid.v0_mm) - seen.v) / np.float32(grid.pitch_mm)).astype(np.float32)
    # averaging over about one photo pixel before sampling keeps thin lines free of aliasing
    soft = cv2.GaussianBlur(radiance, (0, 0), 0.38 * spec.oversample)
    edge = cv2.remap(soft, columns, lines, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    scale = np.float32(spec.camera.px_per_mm)
    above = np.clip((seen.v + np.float32(spec.stack.plate_below_mm)) * scale + 0.5, 0, 1)
    below = np.clip((np.float32(top_mm) - seen.v) * scale + 0.5, 0, 1)
    share = seen.cover * above * below
    photo += share[..., None] * (edge - photo)
    whole = share > 0.5
    depth[whole] = seen.depth[whole]
    names = cv2.remap(surface.label, columns, lines, cv2.INTER_NEAREST)
    label[whole] = names[whole]


def _lay_mark(
    photo: Field,
    depth: Field,
    label: NDArray[np.uint8],
    spec: SceneSpec,
    camera: Camera,
    rng: np.random.Generator,
) -> list[dict[str, object]]:
    at = spec.mark.centre_mm or (0.0, -spec.stack.plate_below_mm / 2)
    axes = (np.array([1.0, 0, 0]), np.array([0, 1.0, 0]), np.array([0, 0, 1.0]))
    made = make_card(
        spec.mark,
        pitch_mm=1 / (spec.oversample * spec.camera.px_per_mm),
        middle_world=np.array([at[0], at[1], 0.0]),
        axes=axes,
    )
    if made is None:
        return []
    card, notes = made
    _shade_behind(photo, card, camera, spec)
    paste_card(photo, depth, label, card, spec, camera, rng)
    good = spec.mark.standoff_mm == 0 and spec.mark.turn_deg == 0
    return mark_truth(card, notes, camera, in_plane=good)


def _shade_behind(photo: Field, card: Card, camera: Camera, spec: SceneSpec) -> None:
    """Soft shadow of the card on the part behind it (in place)."""
    lamp = lamp_direction(spec.light)
    width, height = card.size_mm
    corners = card.to_world(np.array([[0, 0], [width, 0], [width, height], [0, height]], float))
    gap = np.maximum(corners[:, 2], 0) + 0.7
    if spec.stack.radius_mm is not None:
        gap = gap + corners[:, 0] ** 2 / (2 * spec.stack.radius_mm) * 0.5
    fallen = corners + np.outer(gap, -lamp / max(lamp[2], 0.2) + np.array([0, 0, 1.0]))
    fallen[:, 2] = 0
    dark = np.zeros(photo.shape[:2], np.float32)
    spread = float(gap.mean())
    for points, weight, reach in ((fallen, 0.62, 0.35 + 0.35 * spread), (corners, 0.3, 0.8)):
        px = np.round(camera.project(points) * 16).astype(np.int32)
        quad = np.zeros(photo.shape[:2], np.uint8)
        cv2.fillConvexPoly(quad, px, 255, cv2.LINE_AA, 4)
        soft = wide_blur(quad.astype(np.float32) / 255, reach * spec.camera.px_per_mm * 0.5)
        strength = weight * (spec.light.direct if weight > 0.5 else 1.0)
        dark = 1 - (1 - dark) * (1 - np.float32(strength) * soft)
    photo *= (1 - dark)[..., None]


def paste_card(
    photo: Field,
    depth: Field,
    label: NDArray[np.uint8],
    card: Card,
    spec: SceneSpec,
    camera: Camera,
    rng: np.random.Generator,
) -> None:
    """Warp the card into the photo by its exact homography (in place)."""
    lamp = lamp_direction(spec.light)
    out = np.cross(card.along, card.up)
    facing = max(float(lamp @ out), 0.0) * spec.light.direct + (1 - spec.light.direct)
    shade = card_radiance(card, facing * (4.0 if spec.mark.overexposed else 1.0), rng)
    soft = cv2.GaussianBlur(shade, (0, 0), 0.38 * spec.oversample)
    size = (photo.shape[1], photo.shape[0])
    matrix = card.texel_homography(camera)
    seen = cv2.warpPerspective(soft, matrix, size, borderMode=cv2.BORDER_REPLICATE)
    cover = cv2.warpPerspective(np.ones_like(soft), matrix, size)
    tint = facing and (
        spec.light.direct * colour_of(spec.light.kelvin)
        + (1 - spec.light.direct) * colour_of(spec.light.room_kelvin)
    )
    rows = np.flatnonzero(cover.max(axis=1) > 0)
    if not len(rows):
        return
    part = slice(rows[0], rows[-1] + 1)
    paper = seen[part][..., None] * np.asarray(tint, np.float32) * _side_light(size, spec)[part]
    photo[part] += cover[part][..., None] * (paper - photo[part])
    whole = cover[part] > 0.5
    label[part][whole] = 3
    middle = card.to_world(np.array([card.size_mm]) / 2)
    depth[part][whole] = np.float32(camera.depth(middle)[0])


def _side_light(size: tuple[int, int], spec: SceneSpec) -> Field:
    """Slow unevenness of the light on the card, brighter towards the lamp."""
    reach = size[0] / spec.camera.px_per_mm / spec.light.lamp_distance_mm
    tilt = 0.7 * reach * lamp_direction(spec.light)[0]
    field = 1 + tilt * np.linspace(-0.5, 0.5, size[0], dtype=np.float32)
    return np.broadcast_to(field[None, :, None], (size[1], size[0], 1)).astype(np.float32)


def _finish_light(
    photo: Field, label: NDArray[np.uint8], spec: SceneSpec, rng: np.random.Generator
) -> None:
    """Shadow of something beside the camera, and a streak of glare (in place)."""
    light = spec.light
    rows, cols = photo.shape[:2]
    x = np.linspace(0, 1, cols, dtype=np.float32)[None, :]
    y = np.linspace(0, 1, rows, dtype=np.float32)[:, None]
    if light.shadow_line is not None:
        wander = 0.01 * line_noise(rng, rows, scale=rows / 2).astype(np.float32)[:, None]
        place = (x - light.shadow_line + 0.06 * (y - 0.5) + wander) / 0.05
        shade = 1 - 0.6 * light.direct / (1 + np.exp(np.clip(place, -30, 30)))
        photo *= shade[..., None].astype(np.float32)
    if light.glare is not None:
        _add_glare(photo, label, light, x - light.glare + 0.10 * (y - 0.5))


def _add_glare(photo: Field, label: NDArray[np.uint8], light: LightSpec, offset: Field) -> None:
    """A broad sheen that follows the surface's own grain."""
    band = np.exp(-((offset / 0.055) ** 2)) + 0.35 * np.exp(-((offset / 0.16) ** 2))
    band = band * (label != 3)
    grey = photo.mean(axis=-1)
    local = np.clip(grey / np.maximum(wide_blur(grey, 12.0), 1e-4), 0.3, 1.8)
    sheen = np.float32(0.10 * light.direct) * band.astype(np.float32) * local
    photo += sheen[..., None] * colour_of(light.kelvin).astype(np.float32)
