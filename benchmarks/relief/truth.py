"""What is known exactly about a scene, in the form that `benchmarks.truth` reads."""

import numpy as np
from numpy.typing import NDArray

from benchmarks.relief.card import Card
from benchmarks.relief.cracks import Fracture
from benchmarks.relief.pits import Crumbled
from benchmarks.relief.plan import Plan
from benchmarks.relief.view import View, on_surface

Points = NDArray[np.float64]
Record = dict[str, object]


def scene_truth(plan: Plan, file: str) -> Record:
    """The whole record of a face photo."""
    view, radius = plan.view, plan.layup.radius_mm
    cracks = [_crack(i, fracture, view, radius) for i, fracture in enumerate(plan.fractures)]
    gaps = [c | {"crack_id": c["id"]} for c in cracks if c["kind"] == "bond_line"]
    patches = [_patch(i, area, view, radius) for i, area in enumerate(plan.areas)]
    return {
        "id": plan.name, "file": file, "seed": plan.seed, "view": "face",
        "image_size": list(view.size_px), "radius_mm": radius,
        "face": "flat" if radius is None else "cylinder",
        "expected": {"verdict": "ok", "reason": ""},
        "pixel_convention": "integer coordinates at pixel centres, x right, y down",
        "plane": "z = 0: (x, v) in mm; the tangent plane nearest the camera on a cylinder",
        "surface_parametrisation": "(s, v): arc length along the layers and height, mm",
        "camera": camera_truth(view), "homography_image_to_plane_mm": homography(view),
        "markers": mark_truth(plan.card, view), "layers": _layers(plan),
        "cracks": cracks, "bond_gaps": gaps,
        "total_crack_length_mm": round(sum(f.length_mm for f in plan.fractures), 3),
        "crumbling": patches,
        "total_crumbling_area_mm2": round(sum(a.area_mm2 for a in plan.areas), 3),
        "bulges": [],
        "materials": {"rubber": list(plan.finish.rubber), "shim": plan.metal[0],
                      "plate": plan.plate, "light": plan.rig, "bench": plan.bench},
    }  # fmt: skip


def camera_truth(view: View) -> Record:
    """K, R, t and the angle between the view and the world's z axis."""
    tilt = np.rad2deg(np.arccos(np.clip(-view.turn[2, 2], -1, 1)))
    return {
        "K": view.k.tolist(), "R": view.turn.tolist(), "t": view.t.tolist(),
        "tilt_deg": round(float(tilt), 3), "note": "x_image ~ K (R X + t), X in world mm",
    }  # fmt: skip


def homography(view: View, x_mm: float = 0.0, z_mm: float = 0.0) -> list[list[float]]:
    """From pixels to (x, y) mm on a plane that faces the world's z axis."""
    back = np.linalg.inv(view.plane_to_image(x_mm, z_mm))
    rows: list[list[float]] = (back / back[2, 2]).tolist()
    return rows


def mark_truth(card: Card, view: View) -> list[Record]:
    """Every mark with its points in the world and in the photo."""
    names = {"corners_mm": ("corners_px", "corners_world_mm"),
             "centres_mm": ("centres_px", "centres_world_mm"),
             "ends_mm": ("first_last_tick_px", "first_last_tick_world_mm")}  # fmt: skip
    records = []
    for mark in card.marks:
        record: Record = {k: v for k, v in mark.items() if k not in names}
        for key, (in_photo, in_world) in names.items():
            if key in mark:
                world = card.to_world(np.asarray(mark[key]))
                record[in_photo] = view.project(world).round(3).tolist()
                record[in_world] = world.round(4).tolist()
        records.append(record | {"card": 0, "coplanar_with_surface": True})
    return records


def _pixels(points_mm: Points, view: View, radius_mm: float | None) -> Points:
    return view.project(on_surface(points_mm, radius_mm))


def in_photo(points_px: Points, view: View) -> NDArray[np.bool_]:
    x, y = points_px.T
    width, height = view.size_px
    return np.asarray((x >= 0) & (y >= 0) & (x <= width - 1) & (y <= height - 1))


def _layers(plan: Plan) -> list[Record]:
    layup, radius = plan.layup, plan.layup.radius_mm
    first, last = plan.ends_mm
    if radius is not None:
        first, last = max(first, -1.2 * radius), min(last, 1.2 * radius)
    s = np.linspace(first, last, 120)
    records: list[Record] = []
    for layer in range(layup.count):
        low, high = layup.bounds(layer, s)
        loop = np.vstack([np.column_stack([s, low]), np.column_stack([s, high])[::-1]])
        px = _pixels(loop, plan.view, radius)
        records.append({
            "index": layer, "kind": "shim" if layer % 2 else "rubber",
            "v_bottom_mean_mm": round(float(low.mean()), 4),
            "v_top_mean_mm": round(float(high.mean()), 4),
            "thickness_mm": round(layup.thickness_mm(layer), 4),
            "polygon_px": px.round(2).tolist(), "in_image": bool(in_photo(px, plan.view).any()),
        })  # fmt: skip
    return records


def _crack(number: int, fracture: Fracture, view: View, radius: float | None) -> Record:
    px = [_pixels(run.points_mm, view, radius) for run in fracture.runs]
    widths = np.concatenate([run.widths_mm for run in fracture.runs])
    return {
        "id": number, "kind": fracture.kind, "layer": fracture.layer,
        "length_mm": round(fracture.length_mm, 3),
        "longest_path_mm": round(max(run.length_mm for run in fracture.runs), 3),
        "branches": len(fracture.runs) - 1,
        "width_max_mm": round(float(widths.max()), 3),
        "width_mean_mm": round(float(widths.mean()), 3),
        "fraction_in_image": round(float(in_photo(np.vstack(px), view).mean()), 3),
        "polylines_mm": [run.points_mm.round(4).tolist() for run in fracture.runs],
        "polylines_px": [part.round(3).tolist() for part in px],
        "widths_mm": [run.widths_mm.round(4).tolist() for run in fracture.runs],
    }  # fmt: skip


def _patch(number: int, area: Crumbled, view: View, radius: float | None) -> Record:
    return {
        "patch": number, "layer": area.layer, "area_mm2": round(area.area_mm2, 3),
        "polygons_mm": [area.loop_mm.round(4).tolist()],
        "polygons_px": [_pixels(area.loop_mm, view, radius).round(3).tolist()],
        "grain_mm": area.grain_mm,
    }  # fmt: skip
