"""The renderer and the truth share one camera: known marks land where the truth puts them.

Needs requirements-scenes.txt; skipped without.
"""

import cv2
import numpy as np
import pytest

pytest.importorskip("mitsuba")
pytest.importorskip("mitsuba_oidn")

from benchmarks.relief.card import dot_card, square_card
from benchmarks.relief.lights import rgb
from benchmarks.relief.renderer import mi
from benchmarks.relief.solid import grid_mesh
from benchmarks.relief.stage import camera, print_things
from benchmarks.relief.truth import mark_truth
from benchmarks.relief.view import on_surface, view_at

VIEW = view_at(
    np.array([1.0, -2.0, 0.0]), distance_mm=240.0, px_per_mm=16.0, size_px=(641, 480),
    yaw_deg=14.0, pitch_deg=9.0, roll_deg=2.5,
)  # fmt: skip


def _render(things: dict, *, samples: int = 48) -> np.ndarray:
    scene = mi.load_dict({
        "type": "scene", **things,
        "sky": {"type": "constant", "radiance": rgb((1, 1, 1))},
        "wall": {"type": "rectangle",
                 "bsdf": {"type": "diffuse", "reflectance": rgb((0.7, 0.7, 0.7))},
                 "to_world": mi.ScalarTransform4f().translate([0, 0, -3]).scale(200)},
    })  # fmt: skip
    sensor = mi.load_dict(camera(VIEW, aperture_mm=0.9, focus_mm=240.0))
    tracer = mi.load_dict({"type": "path", "max_depth": 2})
    return np.array(mi.render(scene, sensor=sensor, integrator=tracer, spp=samples, seed=3))[
        ..., 1
    ]


def _centroid(picture: np.ndarray, at: np.ndarray, reach: int) -> np.ndarray:
    """Centre of darkness in a window round a place."""
    x0, y0 = np.round(at).astype(int) - reach
    dark = np.clip(1 - picture[y0 : y0 + 2 * reach + 1, x0 : x0 + 2 * reach + 1] / 0.6, 0, None)
    y, x = np.mgrid[: dark.shape[0], : dark.shape[1]]
    return np.array([np.sum(x * dark), np.sum(y * dark)]) / np.sum(dark) + [x0, y0]


def test_dots_land_where_the_truth_puts_them() -> None:
    card = dot_card(
        apart_mm=20.0, diameter_mm=4.0, centre_mm=(1.0, -3.0), turn_deg=3.0,
        rng=np.random.default_rng(1),
    )  # fmt: skip
    picture = _render(print_things(card))
    for place in mark_truth(card, VIEW)[0]["centres_px"]:
        found = _centroid(picture, np.array(place), 40)
        # A tenth of a pixel: the perspective shift of an ellipse's centre is 0.02 px here.
        assert found == pytest.approx(place, abs=0.1)


@pytest.mark.parametrize("kind", ["aruco_4x4_50", "apriltag_36h11"])
def test_squares_are_upright_and_their_corners_in_place(kind: str) -> None:
    card = square_card(
        kind, side_mm=10.0, count=2, apart_mm=16.0, centre_mm=(0.5, -2.0), turn_deg=-4.0,
        rng=np.random.default_rng(2),
    )  # fmt: skip
    picture = _render(print_things(card))
    grey = np.clip(255 * picture, 0, 255).astype(np.uint8)
    family = {
        "aruco_4x4_50": cv2.aruco.DICT_4X4_50,
        "apriltag_36h11": cv2.aruco.DICT_APRILTAG_36h11,
    }
    given = cv2.aruco.DetectorParameters()
    given.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_CONTOUR
    finder = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(family[kind]), given)
    corners, numbers, _ = finder.detectMarkers(grey)
    found = {int(n): c[0] for n, c in zip(numbers.ravel(), corners, strict=True)}
    for mark in mark_truth(card, VIEW):
        true = np.array(mark["corners_px"])
        # Single corners are found to half a pixel here; a mirrored or shifted mark is far off.
        assert found[mark["id"]] == pytest.approx(true, abs=0.8)
        assert found[mark["id"]].mean(axis=0) == pytest.approx(true.mean(axis=0), abs=0.3)


def test_a_pit_in_a_round_height_field_lands_where_the_truth_puts_it() -> None:
    radius = 30.0
    s, v = np.meshgrid(np.linspace(-16, 16, 801), np.linspace(-10, 10, 501))
    spots = np.array([[-11.0, 4.0], [0.0, 0.0], [12.0, -5.0]])
    colour = np.full((*s.shape, 3), 0.7)
    for spot in spots:
        colour[np.hypot(s - spot[0], v - spot[1]) < 0.8] = 0.02
    points = on_surface(np.column_stack([s.ravel(), v.ravel()]), radius).reshape(*s.shape, 3)
    paint = {
        "type": "diffuse",
        "reflectance": {"type": "mesh_attribute", "name": "vertex_colour"},
    }
    mesh = grid_mesh(points, mi.load_dict(paint), {"colour": colour})
    picture = _render({"edge": mesh})
    for place in VIEW.project(on_surface(spots, radius)):
        # A tenth of a pixel, and what the curve adds to a spot's centre (0.03 px).
        assert _centroid(picture, place, 20) == pytest.approx(place, abs=0.13)
