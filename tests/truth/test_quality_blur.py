"""Blur without a mark, against the closed form for a straight edge."""

import math

import cv2
import numpy as np
import pytest

from damagescore.photo.record import CameraFacts, Photo
from damagescore.quality.blur import WIDEST_EDGE_PX, blur_check, plainest_edge_px


def _edge(sigma_px: float, *, angle_deg: float = 7.0) -> np.ndarray:
    y, x = np.mgrid[0:400, 0:400] - 200.0
    angle = math.radians(angle_deg)
    step = (x * math.cos(angle) + y * math.sin(angle) > 0).astype(np.float32) * 150 + 40
    return np.asarray(cv2.GaussianBlur(step, (0, 0), sigma_px), np.float32)


@pytest.mark.parametrize("sigma_px", [2.0, 3.0, 5.0, 8.0])
def test_width_of_a_blurred_edge(sigma_px: float) -> None:
    # range over peak slope of a gaussian-blurred step is sqrt(2 pi) sigma; 7 %: the
    # derivative kernel blurs a little more, most at 2 px
    expected = math.sqrt(2 * math.pi) * sigma_px
    assert plainest_edge_px(_edge(sigma_px)) == pytest.approx(expected, rel=0.07)


def test_width_does_not_depend_on_brightness_or_contrast() -> None:
    edge = _edge(3.0)
    # 1e-3: single precision
    assert plainest_edge_px(edge * 0.4 + 60) == pytest.approx(plainest_edge_px(edge), rel=1e-3)


def test_a_blank_photo_has_no_edge() -> None:
    assert plainest_edge_px(np.full((200, 200), 90, np.float32)) is None


@pytest.mark.parametrize(("sigma_px", "refused"), [(1.0, False), (2.5, False), (5.0, True)])
def test_only_wide_edges_are_refused(sigma_px: float, refused: bool) -> None:
    grey = _edge(sigma_px)
    photo = Photo(
        name="edge", sha256="0" * 64, rgb=np.zeros((*grey.shape, 3), np.uint8), grey=grey,
        bit_depth=8, camera=CameraFacts(),
    )  # fmt: skip
    check = blur_check(photo)
    assert (check is not None) == refused
    if check is not None:
        assert check.value is not None
        assert check.value > WIDEST_EDGE_PX
        assert "out of focus" in check.message
