"""Sharpness against another published measure of blur, on a photograph and a drawn mark.

Source: F. Crete, T. Dolmiere, P. Ladet, M. Nicolas, "The blur effect: perception and
estimation with a new no-reference perceptual blur metric", SPIE 6492 (2007), as written in
scikit-image 0.26, `skimage.measure.blur_effect` (seen 2026-11). It has no unit, so what must
agree is the order; the size in mm is held by the closed forms in tests/truth.
Pictures: a drawn square mark, and the photograph "camera" that comes with scikit-image, of
which one straight dark-bright border (the back of the coat against the sky) is read.
"""

import cv2
import numpy as np
import pytest
from skimage import data
from skimage.measure import blur_effect

from damagescore.quality.sharpness import side_response

COAT = np.array([[66.3, 152.0], [54.0, 175.0]])
"""Ends of a straight stretch of border in the photograph, px."""


def mark(*, sigma_px: float) -> tuple[np.ndarray, np.ndarray]:
    """A black square turned by 6 degrees on white, and the ends of its upper side."""
    corners = cv2.boxPoints(((150.0, 150.0), (160.0, 160.0), 6.0)).astype(np.float64)
    fine = np.full((1200, 1200), 220, np.uint8)
    # Quarter pixels: (x + 0.5) * 4 - 0.5, with 4 fractional bits.
    cv2.fillPoly(
        fine, [np.round(((corners + 0.5) * 4 - 0.5) * 16).astype(np.int32)], 30, shift=4
    )
    grey = cv2.resize(fine, (300, 300), interpolation=cv2.INTER_AREA).astype(np.float32)
    noise = np.random.default_rng(1).normal(0, 0.5, grey.shape)
    blurred = cv2.GaussianBlur(grey, (0, 0), sigma_px) + noise
    upper = corners[np.argsort(corners[:, 1])[:2]]
    return blurred.astype(np.float32), upper


def test_order_of_a_blur_series_agrees() -> None:
    widths, published = [], []
    for sigma_px in (0.5, 1.0, 2.0, 3.0, 4.5, 6.0):
        grey, side = mark(sigma_px=sigma_px)
        found = side_response(grey, side, half_px=24)
        assert found is not None
        widths.append(found.finest_width_px)
        published.append(blur_effect(grey / 255))
    assert np.array_equal(np.argsort(widths), np.argsort(published))
    assert widths == sorted(widths)


@pytest.mark.parametrize("kind", ["gaussian", "motion"])
def test_a_photograph_gets_less_sharp_by_both_measures(kind: str) -> None:
    picture = data.camera().astype(np.float32)
    widths, published = [], []
    for k in (1, 5, 9, 15):
        if kind == "gaussian":
            grey = cv2.GaussianBlur(picture, (0, 0), k / 4)
        else:
            grey = cv2.blur(picture, (k, 1))
        found = side_response(grey, COAT, half_px=12)
        assert found is not None
        widths.append(found.finest_width_px)
        published.append(blur_effect(grey / 255))
    assert widths == sorted(widths)
    assert published == sorted(published)
