"""A photo through a lens that bends: with its profile the scale is right all over it."""

import math
from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest

from damagescore.scale import Scale, ScaleRequest, find_scale
from tests.lens_samples import CAMERA, CENTRE_PX, DISTORTION, FOCAL_PX, LENS, SIZE_PX
from tests.scale_renders import (
    View,
    dots_print,
    photo_of_grey,
    photo_of_light,
    render,
    rule_print,
    squares_print,
)

VIEW = View(mm_per_px=0.05, tilt_x_deg=9, tilt_y_deg=-11, turn_deg=3, focal_px=FOCAL_PX,
            size_px=SIZE_PX)  # fmt: skip

WAYS = {
    "squares": (
        squares_print(ids=(3, 8), centres_mm=((-13.0, 9.0), (12.0, 8.0)), side_mm=8.0),
        ScaleRequest(kind="squares", size_mm=8.0),
    ),
    "rule": (rule_print(), ScaleRequest(kind="rule", size_mm=1.0)),
    "dots": (dots_print(), ScaleRequest(kind="two_dots", size_mm=20.0)),
}


def ideal_of(seen_px: np.ndarray) -> np.ndarray:
    """By OpenCV: places in a photo without distortion, its axis in the photo's middle."""
    matrix = np.array([[FOCAL_PX, 0, CENTRE_PX[0]], [0, FOCAL_PX, CENTRE_PX[1]], [0, 0, 1.0]])
    rays = cv2.undistortPoints(seen_px.reshape(-1, 1, 2), matrix, np.array(DISTORTION))
    return rays.reshape(-1, 2) * FOCAL_PX + (np.array(SIZE_PX) - 1) / 2


@cache
def places_mm(fine: int = 2) -> np.ndarray:
    """Where each part of a pixel lies on the print, shape (H * fine, W * fine, 2)."""
    across, down = ((np.arange(n * fine) + 0.5) / fine - 0.5 for n in SIZE_PX)
    x, y = np.meshgrid(across, down)
    mm = VIEW.surface.to_mm(ideal_of(np.column_stack([x.ravel(), y.ravel()])))
    return mm.reshape(*x.shape, 2)


def bent_photo(print_):
    """A print through the bending lens."""
    light = print_(*np.moveaxis(places_mm(), -1, 0)).astype(np.float32)
    light = cv2.resize(light, SIZE_PX, interpolation=cv2.INTER_AREA)
    light = cv2.GaussianBlur(light, (0, 0), 0.8, borderType=cv2.BORDER_REPLICATE)
    return replace(photo_of_light(light.astype(np.float64), noise_dn=1.0), camera=CAMERA)


def worst_error(scale: Scale) -> float:
    """Largest relative error of short lines all over the photo."""
    errors = []
    for x in (60.0, 450.0, 840.0):
        for y in (60.0, 320.0, 580.0):
            for step in ((20.0, 0.0), (0.0, 20.0), (14.0, 14.0)):
                line = np.array([[x, y], [x + step[0], y + step[1]]])
                true = VIEW.surface.length_mm(ideal_of(line))
                errors.append(abs(scale.surface.length_mm(line) / true - 1))
    return max(errors)


@pytest.fixture(scope="module")
def photos():
    return {way: bent_photo(print_) for way, (print_, _) in WAYS.items()}


@pytest.mark.parametrize("way", WAYS)
def test_with_its_lens_every_length_is_right(photos, way):
    request = WAYS[way][1]
    scale = find_scale(photos[way], replace(request, lens=LENS))
    assert scale.lens is not None
    assert scale.lens.used
    # the lens moves lengths by 1 to 3 % at the corners; edges are found to a tenth of a px
    assert worst_error(scale) < 0.004
    assert scale.tilt_deg == pytest.approx(VIEW.tilt_deg, abs=3 * scale.u_tilt_deg)
    plain = find_scale(photos[way], request)
    assert plain.lens is None
    assert worst_error(plain) > 2 * worst_error(scale)
    assert scale.u_tilt_deg < plain.u_tilt_deg


@pytest.mark.parametrize("way", WAYS)
def test_the_budget_names_its_parts_and_adds_up(photos, way):
    scale = find_scale(photos[way], WAYS[way][1])
    lines = {c.source: c.u for c in scale.budget}
    parts = {"tilt", "focal length", "distortion of the lens", "stand-off of the mark"}
    assert parts < set(lines)
    assert scale.u_relative == pytest.approx(math.sqrt(sum(u**2 for u in lines.values())))
    known = find_scale(photos[way], replace(WAYS[way][1], lens=LENS))
    fewer = {c.source: c.u for c in known.budget}
    assert fewer["distortion of the lens"] < lines["distortion of the lens"]


def test_two_points_with_a_lens():
    photo = replace(photo_of_grey(np.full(SIZE_PX[::-1], 120, np.uint8)), camera=CAMERA)
    points = ((100.0, 100.0), (800.0, 100.0))
    request = ScaleRequest(kind="two_points", size_mm=30.0, points_px=points, lens=LENS)
    scale = find_scale(photo, request)
    assert scale.surface.length_mm(np.array(points)) == pytest.approx(30.0, rel=1e-9)
    ideal = ideal_of(np.array(points))
    assert scale.surface.px_to_mm[0, 0] == pytest.approx(30 / np.hypot(*(ideal[1] - ideal[0])))
    assert scale.tilt_deg is None
    assert scale.u_tilt_deg == pytest.approx(15 / math.sqrt(3))  # GUM 4.3.7


@pytest.mark.parametrize(
    ("camera", "size", "words"),
    [
        (replace(CAMERA, model="Sample B"), SIZE_PX, "another camera (Sample B, not Sample A"),
        (replace(CAMERA, focal_mm=7.0), SIZE_PX, "zoom was set to 7 mm"),
        (CAMERA, (900, 600), "900 x 600 px, the profile holds for 900 x 640 px"),
        (replace(CAMERA, orientation=2), SIZE_PX, "stored mirrored"),
    ],
)
def test_a_lens_that_does_not_fit_is_not_used_and_said(camera, size, words):
    view = View(focal_px=FOCAL_PX, size_px=size)
    photo = replace(render(view, squares_print(), fine=2), camera=camera)
    plain = ScaleRequest(kind="squares", size_mm=10.0)
    scale = find_scale(photo, replace(plain, lens=LENS))
    assert not scale.lens.used
    assert words in scale.lens.note
    assert scale.surface.lens is None
    assert scale.mm_per_px == find_scale(photo, plain).mm_per_px


def test_what_cannot_be_checked_is_said():
    view = View(mm_per_px=0.2, focal_px=FOCAL_PX, size_px=SIZE_PX)
    photo = render(view, squares_print(side_mm=40.0), fine=2)
    request = ScaleRequest(kind="squares", size_mm=40.0, lens=LENS)
    use = find_scale(photo, request).lens
    assert use.used
    assert "nothing tells that the camera and focal length agree" in use.note
    assert "calibrated at 60 to 110 mm and the photo is taken from 300 mm" in use.note


def test_scale_and_request_go_through_plain_data(photos):
    scale = find_scale(photos["squares"], replace(WAYS["squares"][1], lens=LENS))
    again = Scale.from_dict(scale.to_dict())
    points = np.array([[10.0, 20.0], [880.0, 600.0]])
    np.testing.assert_array_equal(again.surface.to_mm(points), scale.surface.to_mm(points))
    assert (again.lens, again.u_tilt_deg) == (scale.lens, scale.u_tilt_deg)
    np.testing.assert_allclose(scale.surface.to_px(scale.surface.to_mm(points)), points)


def test_a_square_with_a_covered_corner_is_left_out():
    marks = squares_print(ids=(3, 8), centres_mm=((-12.0, 0.0), (12.0, 0.0)))

    def covered(x, y):
        return np.where((x > 14.5) & (y > 3.0), 0.45, marks(x, y))

    view = View(tilt_y_deg=14, size_px=(1000, 420))
    scale = find_scale(render(view, covered, fine=3), ScaleRequest(kind="squares", size_mm=10))
    assert [m.id for m in scale.marks] == [3]
    assert scale.disagreement is None
    assert scale.tilt_deg == pytest.approx(14, abs=3 * scale.u_tilt_deg)
