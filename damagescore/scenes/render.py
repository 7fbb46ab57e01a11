"""From a spec and a seed to a photo with its truth and label mask."""

import json
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.scenes.face import Plate, render_face, seed_of_visit
from damagescore.scenes.profile import profile_truth, render_profile, world_turn
from damagescore.scenes.sensor import develop
from damagescore.scenes.spec import SceneSpec
from damagescore.scenes.truth import (
    camera_truth,
    crack_truth,
    gap_truth,
    layers_truth,
    patch_truth,
    plane_truth,
    scale_truth,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """A rendered scene.

    Parameters
    ----------
    name : str
        File stem.
    image : ndarray, shape (H, W, 3), uint8
        RGB photo.
    truth : dict
        What is known exactly; pixels have integers at pixel centres, x right, y down.
    mask : ndarray, shape (H, W), uint8
        0 background, 1 rubber, 2 shim, 3 card, 4 crack, 5 crumbling.
    jpeg_quality : int
    """

    name: str
    image: NDArray[np.uint8]
    truth: dict[str, object]
    mask: NDArray[np.uint8]
    jpeg_quality: int


def render(spec: SceneSpec, seed: int) -> Scene:
    """Render one photo; the same spec, seed and library versions give the same bytes.

    Known limits: relief does not hide what lies behind it (crack walls and crumbs are shaded,
    not displaced), there is no lens distortion, and light does not bounce between surfaces.
    """
    profile = spec.view == "profile"
    plate = render_profile(spec, seed) if profile else render_face(spec, seed)
    noise = np.random.default_rng([seed_of_visit(spec, seed), 99])
    image = develop(
        plate.canvas.photo, plate.canvas.depth_mm, spec.sensor, plate.focus_mm, noise
    )
    body = profile_truth(spec, plate) if profile else _face_truth(spec, plate)
    return Scene(
        name=spec.name,
        image=image,
        truth=_head_truth(spec, seed, plate) | body,
        mask=plate.canvas.label,
        jpeg_quality=spec.sensor.jpeg_quality,
    )


def _head_truth(spec: SceneSpec, seed: int, plate: Plate) -> dict[str, object]:
    radius = spec.stack.radius_mm
    turn = world_turn() if spec.view == "profile" else np.eye(3)
    return {
        "id": spec.name,
        "file": f"{spec.name}.jpg",
        "mask": f"{spec.name}_mask.png",
        "title": spec.title,
        "seed": seed,
        "image_size": list(plate.camera.size_px),
        "view": spec.view,
        "face": "flat" if radius is None else "cylinder",
        "radius_mm": radius,
        "expected": {"verdict": spec.verdict, "reason": spec.reason},
        "jpeg_quality": spec.sensor.jpeg_quality,
        "pixel_convention": "integer coordinates at pixel centres, x right, y down",
        "camera": camera_truth(spec, plate.camera, turn),
        "homography_image_to_plane_mm": plane_truth(plate.camera),
        "markers": plate.markers,
        "marker_kinds": sorted({str(mark["kind"]) for mark in plate.markers}),
        "distractors": plate.notes,
        "materials": {
            "rubber": spec.stack.rubber,
            "shim": spec.stack.shim,
            "plate": spec.stack.plate,
        },
    }


def _face_truth(spec: SceneSpec, plate: Plate) -> dict[str, object]:
    camera = plate.camera
    cracks = [crack_truth(i, f, spec, camera) for i, f in enumerate(plate.fractures)]
    patches = [patch_truth(i, p, spec, camera) for i, p in enumerate(plate.patches)]
    return {
        "plane": "z = 0: (x, v) in mm; the tangent plane nearest the camera on a cylinder",
        "surface_parametrisation": "(s, v): arc length along the layers and height, mm",
        "scale": scale_truth(spec, camera, plate.laminate),
        "layers": layers_truth(spec, camera, plate.laminate),
        "cracks": cracks,
        "total_crack_length_mm": round(sum(f.length_mm for f in plate.fractures), 3),
        "bond_gaps": [gap_truth(c) for c in cracks if c["kind"] == "bond_line"],
        "crumbling": patches,
        "total_crumbling_area_mm2": round(sum(p.area_mm2 for p in plate.patches), 3),
        "bulges": [],
    }


def write_scene(scene: Scene, folder: Path, *, with_mask: bool = False) -> tuple[Path, ...]:
    """Write NAME.jpg and NAME.json, and NAME_mask.png when asked; return the paths."""
    folder.mkdir(parents=True, exist_ok=True)
    photo = folder / f"{scene.name}.jpg"
    options = [cv2.IMWRITE_JPEG_QUALITY, scene.jpeg_quality]
    _, data = cv2.imencode(".jpg", scene.image[..., ::-1], options)
    photo.write_bytes(data.tobytes())
    truth = dict(scene.truth)
    if not with_mask:
        truth.pop("mask")
    record = folder / f"{scene.name}.json"
    record.write_text(json.dumps(truth, indent=None, separators=(",", ":")) + "\n")
    if not with_mask:
        return photo, record
    mask = folder / f"{scene.name}_mask.png"
    _, data = cv2.imencode(".png", scene.mask)
    mask.write_bytes(data.tobytes())
    return photo, record, mask
