"""What is known exactly about a scene, in millimetres and in pixels of the photo."""

import numpy as np
from numpy.typing import NDArray

from damagescore.scenes.camera import Camera, scale_at, to_world
from damagescore.scenes.crumbles import Patch
from damagescore.scenes.fractures import Fracture
from damagescore.scenes.laminate import Laminate
from damagescore.scenes.spec import SceneSpec

Points = NDArray[np.float64]
Record = dict[str, object]


def to_pixels(points_mm: Points, camera: Camera, radius_mm: float | None) -> Points:
    """Surface points (s, v) in mm, shape (N, 2), to photo pixels."""
    points = np.asarray(points_mm, float)
    return camera.project(to_world(points[:, 0], points[:, 1], 0.0, radius_mm))


def camera_truth(spec: SceneSpec, camera: Camera, turn: Points) -> Record:
    """K, R, t and the plain facts of the pose; `turn` (3, 3) leads to the truth's world."""
    angles = [spec.camera.yaw_deg, spec.camera.pitch_deg, spec.camera.roll_deg]
    tilt = np.rad2deg(np.arccos(np.clip(abs(camera.r[2, 2]), 0, 1)))
    return {
        "K": camera.k.tolist(),
        "R": (camera.r @ turn.T).tolist(),
        "t": camera.t.tolist(),
        "distance_mm": spec.camera.distance_mm,
        "yaw_pitch_roll_deg": angles,
        "tilt_deg": round(float(tilt), 3),
        "note": "x_image ~ K (R X + t), X in world mm",
    }


def plane_truth(camera: Camera) -> list[list[float]]:
    """Homography from photo to the plane facing the camera: (x, v), in profile (z, v)."""
    along, up = np.array([1.0, 0, 0]), np.array([0, 1.0, 0])
    back = np.linalg.inv(camera.plane_homography(np.zeros(3), along, up))
    rows: list[list[float]] = (back / back[2, 2]).tolist()
    return rows


def in_photo(points_px: Points, size_px: tuple[int, int]) -> NDArray[np.bool_]:
    """Which points, shape (N, 2), lie on the photo."""
    x, y = points_px.T
    return np.asarray((x >= 0) & (y >= 0) & (x <= size_px[0] - 1) & (y <= size_px[1] - 1))


def _seen_span(spec: SceneSpec, camera: Camera, laminate: Laminate) -> tuple[float, float]:
    """Range of s that shows over the whole height of the stack; 55 degrees of turn at most."""
    radius = spec.stack.radius_mm
    s = laminate.s_mm
    if radius is not None:
        s = s[np.abs(s) <= radius * np.deg2rad(55)]
    keep = np.ones(len(s), bool)
    for v in (0.0, laminate.height_mm):
        px = to_pixels(np.stack([s, np.full(len(s), v)], axis=1), camera, radius)
        keep &= in_photo(px, camera.size_px)
    if not keep.any():
        return float(s[0]), float(s[-1])
    return float(s[keep][0]), float(s[keep][-1])


def scale_truth(spec: SceneSpec, camera: Camera, laminate: Laminate) -> Record:
    """Millimetres per pixel over the visible stack, from the camera's Jacobian."""
    radius = spec.stack.radius_mm
    first, last = _seen_span(spec, camera, laminate)
    grid = [
        scale_at(camera, s, v, radius)
        for s in np.linspace(first, last, 15)
        for v in np.linspace(0, laminate.height_mm, 7)
    ]
    values = np.array(grid)
    both = np.sqrt(values[:, 0] * values[:, 1])
    centre = scale_at(camera, 0.0, laminate.height_mm / 2, radius)
    return {
        "mm_per_px_mean": round(float(both.mean()), 6),
        "mm_per_px_along_s_mean": round(float(values[:, 0].mean()), 6),
        "mm_per_px_along_v_mean": round(float(values[:, 1].mean()), 6),
        "mm_per_px_min": round(float(values.min()), 6),
        "mm_per_px_max": round(float(values.max()), 6),
        "mm_per_px_centre_s": round(centre[0], 6),
        "mm_per_px_centre_v": round(centre[1], 6),
        "safe_s_mm": [round(first, 3), round(last, 3)],
    }


def layers_truth(spec: SceneSpec, camera: Camera, laminate: Laminate) -> list[Record]:
    """Outline of every layer: along its lower line, then back along the upper one."""
    radius = spec.stack.radius_mm
    first, last = laminate.s_mm[0], laminate.s_mm[-1]
    if radius is not None:
        limit = radius * np.deg2rad(70)
        first, last = max(first, -limit), min(last, limit)
    s = np.linspace(first, last, 60)
    records = []
    for layer in range(laminate.count):
        low, high = laminate.bounds_mm(layer, s)
        loop = np.vstack([np.stack([s, low], 1), np.stack([s, high], 1)[::-1]])
        px = to_pixels(loop, camera, radius)
        records.append(layer_record(layer, laminate, px, camera))
    return records


def layer_record(layer: int, laminate: Laminate, outline_px: Points, camera: Camera) -> Record:
    """One layer's record with the outline already in pixels."""
    return {
        "index": layer,
        "kind": "rubber" if laminate.is_rubber(layer) else "shim",
        "v_bottom_mean_mm": round(float(laminate.interfaces_mm[layer].mean()), 4),
        "v_top_mean_mm": round(float(laminate.interfaces_mm[layer + 1].mean()), 4),
        "thickness_mm": round(laminate.thickness_mm(layer), 4),
        "polygon_px": outline_px.round(2).tolist(),
        "in_image": bool(in_photo(outline_px, camera.size_px).any()),
    }


def crack_truth(number: int, fracture: Fracture, spec: SceneSpec, camera: Camera) -> Record:
    """One crack or bond gap with all its runs that can be seen."""
    runs = fracture.seen
    px = [to_pixels(run.points_mm, camera, spec.stack.radius_mm) for run in runs]
    inside = np.concatenate([in_photo(part, camera.size_px) for part in px])
    widths = np.concatenate([run.widths_mm for run in runs])
    main = runs[0].points_mm
    return {
        "id": number,
        "kind": fracture.spec.kind,
        "layer": fracture.spec.layer,
        "length_mm": round(fracture.length_mm, 3),
        "longest_path_mm": round(max(run.length_mm for run in runs), 3),
        "chord_mm": round(float(np.hypot(*(main[-1] - main[0]))), 3),
        "branches": len(runs) - 1,
        "width_max_mm": round(fracture.width_max_mm, 3),
        "width_mean_mm": round(float(widths.mean()), 3),
        "faint": fracture.spec.faint,
        "fraction_in_image": round(float(inside.mean()), 3),
        "polylines_mm": [run.points_mm.round(4).tolist() for run in runs],
        "polylines_px": [part.round(3).tolist() for part in px],
        "widths_mm": [run.widths_mm.round(4).tolist() for run in runs],
    }


def gap_truth(crack: Record) -> Record:
    """The bond gap view of a crack record whose kind is "bond_line"."""
    same = ("kind", "layer", "length_mm", "polylines_mm", "polylines_px", "widths_mm")
    shared = {key: crack[key] for key in same}
    return {
        "crack_id": crack["id"],
        **shared,
        "width_max_mm": crack["width_max_mm"],
        "opening_max_mm": crack["width_max_mm"],
        "opening_mean_mm": crack["width_mean_mm"],
    }


def patch_truth(number: int, patch: Patch, spec: SceneSpec, camera: Camera) -> Record:
    """One crumbled patch."""
    radius = spec.stack.radius_mm
    loops = patch.outlines_mm
    return {
        "patch": number,
        "layer": patch.spec.layer,
        "area_mm2": round(patch.area_mm2, 3),
        "polygons_mm": [loop.round(4).tolist() for loop in loops],
        "polygons_px": [to_pixels(loop, camera, radius).round(3).tolist() for loop in loops],
        "grain_mm": patch.spec.grain_mm,
    }
