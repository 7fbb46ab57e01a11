"""Profile views: the silhouette of a round edge, with bulged layers, before a backdrop."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from benchmarks.relief.card import square_card
from benchmarks.relief.layup import Layup
from benchmarks.relief.plan import SIZE_PX, Plan, plan_scene
from benchmarks.relief.skin import Skin
from benchmarks.relief.truth import Record, camera_truth, homography, in_photo, mark_truth
from benchmarks.relief.view import View, on_surface, view_at

Points = NDArray[np.float64]

EVERY = 6
"""Of as many scenes the last one is in profile."""

SMALLEST_BULGE_MM = 0.4


def plan_profile(table: str, number: int) -> Plan:
    """A scene of the table turned to profile: some layers bulge far, nothing else is wrong."""
    face = plan_scene(table, number - number % 3 + 2)  # every third scene is round
    rng = np.random.default_rng([face.seed, number, 77])
    radius = face.layup.radius_mm
    assert radius is not None
    distance = face.view.distance_mm
    width_mm = SIZE_PX[0] / face.view.px_per_mm
    side = 8.0 if width_mm > 42 else 6.0
    card = square_card(
        "apriltag_36h11", side_mm=side, count=1, apart_mm=0.0, centre_mm=(0.0, 0.0),
        turn_deg=float(rng.uniform(-2, 2)), rng=rng,
    )  # fmt: skip
    below = float(card.size_mm[1] * rng.uniform(0.3, 0.8))
    x = radius + 0.5 * card.size_mm[0] + rng.uniform(3.0, 5.0)
    card = replace(card, centre_mm=(x, 0.5 * card.size_mm[1] - below), z_mm=-radius)
    right = card.centre_mm[0] + 0.6 * card.size_mm[0]
    low, high = -below - 1.0, face.layup.height_mm
    view = view_at(
        np.array([right - 0.48 * width_mm, (low + high) / 2, -radius]), distance_mm=distance,
        px_per_mm=face.view.px_per_mm, size_px=SIZE_PX, yaw_deg=float(rng.uniform(-1.5, 1.5)),
        pitch_deg=float(rng.uniform(0.0, 2.0)), roll_deg=float(rng.normal(0, 0.7)),
    )  # fmt: skip
    return replace(
        face, name=f"{table}-{number:03d}", fractures=(), areas=(), card=card, view=view,
        finish=replace(face.finish, bulges_mm=_bulges(face.layup, rng)), profile=True,
        plate_below_mm=below, ends_mm=(-2 * radius, 2 * radius),
    )  # fmt: skip


def _bulges(layup: Layup, rng: np.random.Generator) -> tuple[float, ...]:
    """Peak of each layer: one to three bulge by 0.15 to 0.4 of their thickness."""
    peaks = [float(rng.normal(0.02, 0.03)) if i % 2 == 0 else 0.0 for i in range(layup.count)]
    rubber = np.arange(0, layup.count, 2)
    count = min(len(rubber) - 1, int(rng.integers(1, 4)))
    for layer in rng.choice(rubber, size=count, replace=False):
        share = rng.uniform(0.15, 0.4) * layup.thickness_mm(int(layer))
        peaks[layer] = float(max(SMALLEST_BULGE_MM, share))
    return tuple(peaks)


def _tangent(view: View, radius_mm: float, reach_mm: Points) -> Points:
    """Where sight lines that graze circles of radii `reach_mm` cross the plane of the axis.

    With the camera at (c, d) from the axis, the line through (x, 0) grazes the circle r when
    x^2 d^2 = r^2 ((c - x)^2 + d^2).
    """
    c, d = float(view.eye_mm[0]), float(view.eye_mm[2] + radius_mm)
    r = np.asarray(reach_mm, float)
    return (r * d * np.sqrt(c**2 + d**2 - r**2) - r**2 * c) / (d**2 - r**2)


def silhouette_s(plan: Plan) -> float:
    """The s at which the camera's sight lines graze the edge."""
    radius = plan.layup.radius_mm
    assert radius is not None
    x = float(_tangent(plan.view, radius, np.array(radius)))
    eye = plan.view.eye_mm
    return radius * (np.pi / 2 - float(np.arctan2(x - eye[0], eye[2] + radius)))


def silhouette(plan: Plan, skin: Skin) -> tuple[Points, Points]:
    """Height v of each row of the field, and how far the outline stands out there, mm.

    Points beside the grazed line stand farther in by the cosine of the angle between.
    """
    radius = plan.layup.radius_mm
    assert radius is not None
    apart = (skin.s_mm[0].astype(float) - silhouette_s(plan)) / radius
    near = np.abs(apart) < 0.05
    out = (radius + skin.height_mm[:, near]) * np.cos(apart[near]) - radius
    return skin.v_mm[:, 0].astype(float), out.max(axis=1)


def profile_truth(plan: Plan, skin: Skin, file: str) -> Record:
    """The record of a profile photo; its plane is (z, v), z outward from the shims' circle.

    Peaks are those of the height field at the grazed line. `outline_px` takes each height v
    by itself: a camera that looks down sees a bulge's outline up to 0.3 mm lower or higher,
    at the same distance outwards.
    """
    view, radius = plan.view, plan.layup.radius_mm
    assert radius is not None
    v, out = silhouette(plan, skin)
    a, b = _shim_line(plan.layup, v, out, silhouette_s(plan))
    return {
        "id": plan.name, "file": file, "seed": plan.seed, "view": "profile", "face": "cylinder",
        "image_size": list(view.size_px), "radius_mm": radius,
        "expected": {"verdict": "ok", "reason": ""},
        "pixel_convention": "integer coordinates at pixel centres, x right, y down",
        "plane": "silhouette plane: (z, v) in mm, z outward from the nominal shim edge",
        "camera": camera_truth(view),
        "homography_image_to_plane_mm": homography(view, radius, -radius),
        "markers": mark_truth(plan.card, view), "layers": _layers(plan),
        "cracks": [], "bond_gaps": [], "total_crack_length_mm": 0.0,
        "crumbling": [], "total_crumbling_area_mm2": 0.0,
        "bulges": _bulge_records(plan, v, out - a * v - b),
        "shim_edge_line": {"a": round(a, 6), "b": round(b, 5), "note": "z = a v + b, mm"},
        "outline_px": _at_silhouette(out[::3], v[::3], view, radius).round(2).tolist(),
    }  # fmt: skip


def _at_silhouette(out: Points, v: Points, view: View, radius_mm: float) -> Points:
    x = _tangent(view, radius_mm, radius_mm + out)
    return view.project(np.column_stack([x, v, np.full(len(v), -radius_mm)]))


def _limits(layup: Layup, layer: int, s_mm: float) -> tuple[float, float]:
    low, high = layup.bounds(layer, np.array([s_mm]))
    return float(low[0]), float(high[0])


def _shim_line(layup: Layup, v: Points, out: Points, s_mm: float) -> tuple[float, float]:
    nodes = []
    for layer in range(1, layup.count, 2):
        low, high = _limits(layup, layer, s_mm)
        inside = np.abs(v - (low + high) / 2) < 0.3 * (high - low)
        nodes.append(((low + high) / 2, float(np.median(out[inside]))))
    a, b = np.polyfit(*np.array(nodes).T, 1)
    return float(a), float(b)


def _bulge_records(plan: Plan, v: Points, beyond: Points) -> list[Record]:
    at = silhouette_s(plan)
    records: list[Record] = []
    for layer in range(0, plan.layup.count, 2):
        low, high = _limits(plan.layup, layer, at)
        inside = np.flatnonzero((v > low) & (v < high))
        top = inside[np.argmax(beyond[inside])]
        records.append({
            "layer": layer, "peak_mm": round(float(beyond[top]), 4),
            "peak_v_mm": round(float(v[top]), 3),
            "is_bulge": plan.finish.bulges_mm[layer] >= SMALLEST_BULGE_MM,
        })  # fmt: skip
    return records


def _layers(plan: Plan) -> list[Record]:
    """Outlines of the layers over the part that the camera sees, out to the silhouette."""
    layup, radius = plan.layup, plan.layup.radius_mm
    assert radius is not None
    s = np.linspace(-0.3, np.pi / 2, 90) * radius
    records: list[Record] = []
    for layer in range(layup.count):
        low, high = layup.bounds(layer, s)
        loop = np.vstack([np.column_stack([s, low]), np.column_stack([s, high])[::-1]])
        px = plan.view.project(on_surface(loop, radius))
        records.append({
            "index": layer, "kind": "shim" if layer % 2 else "rubber",
            "thickness_mm": round(layup.thickness_mm(layer), 4),
            "polygon_px": px.round(2).tolist(), "in_image": bool(in_photo(px, plan.view).any()),
        })  # fmt: skip
    return records
