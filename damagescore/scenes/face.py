"""Face view: the camera looks at the exposed edge."""

from dataclasses import dataclass, replace

import numpy as np

from damagescore.scenes.camera import Camera, SurfaceMap, aim_camera, surface_map
from damagescore.scenes.compose import Canvas, draw_pieces, finish_light, lay_edge, set_stage
from damagescore.scenes.crumbles import Patch, grow_patch
from damagescore.scenes.dressing import Notes, dress_surface
from damagescore.scenes.fractures import Fracture, grow_fracture
from damagescore.scenes.laminate import Grid, Laminate, build_laminate, nominal_height_mm
from damagescore.scenes.outline import Outline
from damagescore.scenes.placing import design_card, lay_mark
from damagescore.scenes.shading import shade_surface
from damagescore.scenes.spec import SceneSpec
from damagescore.scenes.surface import Surface, build_surface


@dataclass(frozen=True, slots=True, kw_only=True)
class Plate:
    """Undeveloped photo of a scene with what is known about it.

    `outline` is the silhouette of a profile view, else None; `focus_mm` the distance that
    the lens is set to.
    """

    canvas: Canvas
    camera: Camera
    laminate: Laminate
    fractures: tuple[Fracture, ...]
    patches: tuple[Patch, ...]
    markers: list[dict[str, object]]
    notes: Notes
    focus_mm: float
    outline: Outline | None = None


def seeded(seed: int, part: int) -> np.random.Generator:
    """Independent draws for each part, so that changing one part leaves the others alone."""
    return np.random.default_rng([seed, part])


def face_camera(spec: SceneSpec) -> Camera:
    """Camera of a face view, aimed so that stack and mark both show."""
    height = nominal_height_mm(spec.stack)
    target = spec.camera.target_mm or (0.0, (height - 0.75 * spec.stack.plate_below_mm) / 2)
    return aim_camera(spec.camera, np.array([target[0], target[1], 0.0]))


def _face_grid(spec: SceneSpec, seen: SurfaceMap, top_mm: float) -> Grid:
    if spec.surface_mm is not None:
        return _same_grid(spec, spec.surface_mm, top_mm)
    hit = seen.cover > 0
    pitch = 1 / (spec.oversample * spec.camera.px_per_mm)
    s0, s1 = float(seen.s[hit].min()) - 0.3, float(seen.s[hit].max()) + 0.3
    v0 = max(float(seen.v.min()), -spec.stack.plate_below_mm) - 0.5
    v1 = min(float(seen.v.max()), top_mm) + 0.5
    shape = (int((v1 - v0) / pitch) + 1, int((s1 - s0) / pitch) + 1)
    return Grid(s0_mm=s0, v0_mm=v1, pitch_mm=pitch, shape=shape)


SAME_PITCH_MM = 1 / 37.5
"""Texel of a part that several photos show: 1.5 texels a pixel at 25 px/mm."""


def _same_grid(spec: SceneSpec, span_mm: tuple[float, float], top_mm: float) -> Grid:
    """A grid that no camera moves, so that all textures stay where they are."""
    foot = -spec.stack.plate_below_mm - 0.5
    shape = (
        int((top_mm + 0.5 - foot) / SAME_PITCH_MM) + 1,
        int((span_mm[1] - span_mm[0]) / SAME_PITCH_MM) + 1,
    )
    return Grid(s0_mm=span_mm[0], v0_mm=top_mm + 0.5, pitch_mm=SAME_PITCH_MM, shape=shape)


def seed_of_visit(spec: SceneSpec, seed: int) -> int:
    """Seed of what changes from photo to photo of one part."""
    return seed + 100_003 * spec.visit


def render_face(spec: SceneSpec, seed: int) -> Plate:
    """Render the face view of a flat or cylindrical edge to linear light."""
    camera = face_camera(spec)
    visit = seed_of_visit(spec, seed)
    radius = spec.stack.radius_mm
    seen = surface_map(camera, radius)
    top = nominal_height_mm(spec.stack) + spec.stack.plate_above_mm
    grid = _face_grid(spec, seen, top)
    reach = (grid.s_mm[0] - 3, grid.s_mm[-1] + 3)
    laminate = build_laminate(spec.stack, reach, seeded(seed, 1))
    draw = seeded(seed, 2)
    grown = [grow_fracture(c, laminate, draw) for c in spec.cracks]
    fractures = tuple(f for f in grown if f.spec.grown > 0)
    patches = tuple(grow_patch(c, laminate, draw) for c in spec.crumbling)
    surface = build_surface(spec, grid, laminate, fractures, patches, seeded(seed, 3))
    notes = dress_surface(surface, laminate, spec, seeded(visit, 4))
    turn_top_edge(surface, top)
    card = design_card(spec)
    canvas, pieces = set_stage(spec, camera, card[0] if card else None, seeded(visit, 7))
    behind = sum(piece.z_mm < spec.mark.standoff_mm for piece in pieces)
    radiance = shade_surface(surface, spec.light, camera, (radius, 0.0), seeded(visit, 5))
    seen = _trim(seen, spec, top)
    lay_edge(canvas, spec, seen, (surface, radiance))
    draw_pieces(canvas, spec, camera, pieces[:behind], seeded(visit, 9))
    markers = lay_mark(canvas, spec, camera, card, seeded(visit, 6)) if card else []
    draw_pieces(canvas, spec, camera, pieces[behind:], seeded(visit, 10))
    finish_light(canvas, spec, seeded(visit, 8))
    focus = camera.depth(np.array([[0.0, laminate.height_mm / 2, 0.0]]))[0]
    return Plate(
        canvas=canvas,
        camera=camera,
        laminate=laminate,
        fractures=fractures,
        patches=patches,
        markers=markers,
        notes=notes,
        focus_mm=float(focus),
    )


def turn_top_edge(surface: Surface, top_mm: float) -> None:
    """A small chamfer at the top of the upper plate, which catches the light."""
    v = surface.grid.v_mm
    over = np.clip((v - (top_mm - 0.5)) / 0.5, 0, 1.5).astype(np.float32)
    surface.height_mm[...] -= np.float32(0.45) * over[:, None]


def _trim(seen: SurfaceMap, spec: SceneSpec, top_mm: float) -> SurfaceMap:
    """Cover only between the foot and the top of the part, soft over one pixel."""
    scale = np.float32(spec.camera.px_per_mm)
    foot = np.float32(spec.stack.plate_below_mm)
    above = np.clip((seen.v + foot) * scale + 0.5, 0, 1)
    below = np.clip((np.float32(top_mm) - seen.v) * scale + 0.5, 0, 1)
    return replace(seen, cover=seen.cover * above * below)
