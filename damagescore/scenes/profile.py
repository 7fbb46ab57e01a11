"""Profile view: the camera looks along the edge and sees its silhouette.

Inside, the scene is turned so that the camera looks along -z as in the face view: x is
outward (the truth's z), y is up, and z towards the camera is minus the truth's x. The
silhouette plane is z = 0; a cylinder has its axis at x = -R, z = 0.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from damagescore.scenes.camera import Camera, SurfaceMap, aim_camera
from damagescore.scenes.compose import draw_pieces, finish_light, lay_edge, set_stage
from damagescore.scenes.dressing import dress_surface
from damagescore.scenes.face import Plate, seeded
from damagescore.scenes.laminate import Grid, Laminate, build_laminate, nominal_height_mm
from damagescore.scenes.outline import Outline, build_outline, bulge_truth
from damagescore.scenes.placing import design_card, lay_mark
from damagescore.scenes.shading import shade_surface
from damagescore.scenes.spec import SceneSpec
from damagescore.scenes.surface import build_surface
from damagescore.scenes.truth import layer_record

Points = NDArray[np.float64]
Record = dict[str, object]


def world_turn() -> Points:
    """Matrix from the turned world used inside to the world that the truth is told in."""
    return np.array([[0.0, 0.0, -1.0], [0.0, 1.0, 0.0], [1.0, 0.0, 0.0]])


def profile_camera(spec: SceneSpec) -> Camera:
    """Camera level with the silhouette, which then is exact in the plane z = 0."""
    height = nominal_height_mm(spec.stack)
    target = spec.camera.target_mm or (0.0, (height - 0.6 * spec.stack.plate_below_mm) / 2)
    return aim_camera(spec.camera, np.array([target[0], target[1], 0.0]))


def silhouette_map(camera: Camera, outline: Outline, radius_mm: float | None) -> SurfaceMap:
    """Where each pixel's ray meets the part, and the share of it inside the outline."""
    dx, dy, dz = camera.rays()
    cx, cy, cz = camera.centre_mm
    flat = -cz / dz
    x, v = cx + flat * dx, cy + flat * dy
    steep = np.interp(v, outline.v_mm, np.gradient(outline.z_mm, outline.v_mm))
    reach = (outline.at(v) - x) / np.hypot(1.0, np.clip(steep, -5, 5))
    cover = np.clip(0.5 + reach * camera.k[0, 0] / flat, 0, 1)
    depth_mm = flat
    if radius_mm is not None:
        x, v, depth_mm = _round_hit(camera, outline, radius_mm, v)
    s, height, share, depth = (np.asarray(part, np.float32) for part in (x, v, cover, depth_mm))
    return SurfaceMap(s=s, v=height, cover=share, depth=depth)


def _round_hit(
    camera: Camera, outline: Outline, radius_mm: float, v: Points
) -> tuple[Points, Points, Points]:
    """Places s, v and depth on a body of revolution; two rounds settle the local radius."""
    dx, dy, dz = camera.rays()
    cx, cy, cz = camera.centre_mm
    ox = cx + radius_mm
    a = dx * dx + dz * dz
    b = ox * dx + cz * dz
    along = -b / a
    for _ in range(2):
        radius = radius_mm + outline.at(v)
        disc = np.maximum(b * b - a * (ox * ox + cz * cz - radius**2), 0.0)
        along = (-b - np.sqrt(disc)) / a
        v = cy + along * dy
    s = radius_mm * np.arctan2(-(cz + along * dz), ox + along * dx)
    return s, v, along


def render_profile(spec: SceneSpec, seed: int) -> Plate:
    """Render the profile view to linear light."""
    camera = profile_camera(spec)
    radius = spec.stack.radius_mm
    laminate = build_laminate(spec.stack, _reach(spec), seeded(seed, 1))
    outline = build_outline(spec, laminate, seeded(seed, 2))
    seen = silhouette_map(camera, outline, radius)
    grid = _profile_grid(spec, seen)
    surface = build_surface(spec, grid, laminate, (), (), seeded(seed, 3))
    notes = dress_surface(surface, laminate, spec, seeded(seed, 4))
    if radius is not None:
        surface.height_mm[...] += outline.at(grid.v_mm).astype(np.float32)[:, None]
    card = design_card(spec)
    canvas, pieces = set_stage(spec, camera, card[0] if card else None, seeded(seed, 7))
    behind = sum(piece.z_mm < spec.mark.standoff_mm for piece in pieces)
    facing = 0.0 if radius is None else np.pi / 2
    radiance = shade_surface(surface, spec.light, camera, (radius, facing), seeded(seed, 5))
    lay_edge(canvas, spec, _above_bench(seen, spec), (surface, radiance))
    draw_pieces(canvas, spec, camera, pieces[:behind], seeded(seed, 9))
    markers: list[Record] = []
    if card:
        markers = lay_mark(canvas, spec, camera, card, seeded(seed, 6), world=world_turn())
    draw_pieces(canvas, spec, camera, pieces[behind:], seeded(seed, 10))
    finish_light(canvas, spec, seeded(seed, 8))
    focus = camera.depth(np.array([[0.0, laminate.height_mm / 2, 0.0]]))[0]
    return Plate(
        canvas=canvas,
        camera=camera,
        laminate=laminate,
        fractures=(),
        patches=(),
        markers=markers,
        notes=notes,
        focus_mm=float(focus),
        outline=outline,
    )


def _reach(spec: SceneSpec) -> tuple[float, float]:
    width = spec.camera.size_px[0] / spec.camera.px_per_mm
    if spec.stack.radius_mm is None:
        return -width - 10.0, 6.0
    return -3.2 * spec.stack.radius_mm, 6.0


def _profile_grid(spec: SceneSpec, seen: SurfaceMap) -> Grid:
    hit = seen.cover > 0
    pitch = 1 / (spec.oversample * spec.camera.px_per_mm)
    s0, s1 = float(seen.s[hit].min()) - 0.3, float(seen.s[hit].max()) + 0.3
    v0, v1 = float(seen.v[hit].min()) - 0.3, float(seen.v[hit].max()) + 0.3
    top = nominal_height_mm(spec.stack) + spec.stack.plate_above_mm + 1
    v0, v1 = max(v0, -spec.stack.plate_below_mm - 1), min(v1, top)
    shape = (int((v1 - v0) / pitch) + 1, int((s1 - s0) / pitch) + 1)
    return Grid(s0_mm=s0, v0_mm=v1, pitch_mm=pitch, shape=shape)


def _above_bench(seen: SurfaceMap, spec: SceneSpec) -> SurfaceMap:
    scale = np.float32(spec.camera.px_per_mm)
    top = nominal_height_mm(spec.stack) + spec.stack.plate_above_mm
    foot = np.clip((seen.v + np.float32(spec.stack.plate_below_mm)) * scale + 0.5, 0, 1)
    head = np.clip((np.float32(top) - seen.v) * scale + 0.5, 0, 1)
    return replace(seen, cover=seen.cover * foot * head)


def _plane_px(camera: Camera, z_mm: Points, v_mm: Points) -> Points:
    """Silhouette plane coordinates to pixels, shape (N, 2)."""
    return camera.project(np.stack([z_mm, v_mm, np.zeros_like(z_mm)], axis=1))


def profile_truth(spec: SceneSpec, plate: Plate) -> Record:
    """Silhouette, layers and bulges of a profile view."""
    assert plate.outline is not None
    camera, outline = plate.camera, plate.outline
    bulges = bulge_truth(spec, plate.laminate, outline)
    for record in bulges:
        peak = np.array([record.pop("peak_zv_mm")], float)
        record["peak_px"] = _plane_px(camera, peak[:, 0], peak[:, 1])[0].round(3).tolist()
    ends = np.array([0.0, plate.laminate.height_mm])
    line = outline.slope * ends + outline.offset_mm
    shown = slice(0, None, 5)
    return {
        "plane": "silhouette plane x = 0: (z, v) in mm, z outward from the nominal shim edge",
        "scale": _plane_scale(camera, plate.laminate),
        "layers": _profile_layers(spec, plate),
        "cracks": [],
        "total_crack_length_mm": 0,
        "bond_gaps": [],
        "crumbling": [],
        "total_crumbling_area_mm2": 0,
        "shim_edge_line": {
            "note": "least-squares line through the shim edges, z = a v + b (mm)",
            "a": round(outline.slope, 6),
            "b": round(outline.offset_mm, 5),
            "shim_edges_vz_mm": outline.shim_edges_mm.round(4).tolist(),
            "line_px": _plane_px(camera, line, ends).round(3).tolist(),
        },
        "outline_px": _plane_px(camera, outline.z_mm[shown], outline.v_mm[shown])
        .round(2)
        .tolist(),
        "bulges": bulges,
    }


def _plane_scale(camera: Camera, laminate: Laminate) -> Record:
    middle, step = laminate.height_mm / 2, 1e-3
    z = np.array([-step, step, 0.0, 0.0])
    v = np.array([middle, middle, middle - step, middle + step])
    px = _plane_px(camera, z, v)
    along_z = 2 * step / float(np.hypot(*(px[1] - px[0])))
    along_v = 2 * step / float(np.hypot(*(px[3] - px[2])))
    return {
        "mm_per_px_mean": round(float(np.sqrt(along_z * along_v)), 6),
        "mm_per_px_along_z": round(along_z, 6),
        "mm_per_px_along_v": round(along_v, 6),
    }


def _profile_layers(spec: SceneSpec, plate: Plate) -> list[Record]:
    """Outline of each visible layer: lower line, silhouette upward, upper line back."""
    assert plate.outline is not None
    radius, camera, laminate = spec.stack.radius_mm, plate.camera, plate.laminate
    deep = laminate.s_mm[0] if radius is None else -1.5 * radius
    s = np.linspace(deep, 0.0, 50)
    records = []
    for layer in range(laminate.count):
        low, high = laminate.bounds_mm(layer, s)
        rows = (plate.outline.v_mm > low[-1]) & (plate.outline.v_mm < high[-1])
        rim = np.stack(
            [plate.outline.z_mm[rows], plate.outline.v_mm[rows], 0 * plate.outline.v_mm[rows]],
            1,
        )
        lower, upper = (_on_body(s, line, plate.outline, radius) for line in (low, high))
        loop = np.vstack([lower, rim[::4], upper[::-1]])
        records.append(layer_record(layer, laminate, camera.project(loop), camera))
    return records


def _on_body(s: Points, v: Points, outline: Outline, radius: float | None) -> Points:
    out = np.minimum(outline.at(v - 0.02), outline.at(v + 0.02))
    if radius is None:
        return np.stack([np.minimum(s, out), v, 0 * s], axis=1)
    angle = -s / radius
    return np.stack(
        [(radius + out) * np.cos(angle) - radius, v, (radius + out) * np.sin(angle)], axis=1
    )
