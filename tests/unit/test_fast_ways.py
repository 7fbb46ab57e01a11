"""What is worked out by a shorter way is the same as by the plain one, bit for bit."""

from dataclasses import replace
from itertools import pairwise

import cv2
import numpy as np
import pytest

from damagescore.damage.areas import visible_area_mm2
from damagescore.damage.crack import _widened
from damagescore.edge.sampling import exchanges, medians
from damagescore.scale.profile import linear_light
from damagescore.scale.squares import FAMILIES, _detected, _light_around, _parameters
from tests.conftest import flat_edge, plain_scale


def marks() -> np.ndarray:
    """Two squares of each family on grey, a little blurred."""
    grey = np.full((900, 1500), 230, np.uint8)
    for k, dictionary in enumerate(FAMILIES.values()):
        known = cv2.aruco.getPredefinedDictionary(dictionary)
        for number in (3, 7):
            x, y = 100 + 100 * number, 100 + 400 * k
            grey[y : y + 240, x : x + 240] = cv2.aruco.generateImageMarker(known, number, 240)
    return cv2.GaussianBlur(grey.astype(np.float32), (0, 0), 1.2)


def test_both_families_of_squares_are_found_in_one_search() -> None:
    found = {(f, i): quad for f, i, quad in _detected(marks(), 1600)}
    assert set(found) == {(f, i) for f in FAMILIES for i in (3, 7)}
    for family, dictionary in FAMILIES.items():
        known = cv2.aruco.getPredefinedDictionary(dictionary)
        detector = cv2.aruco.ArucoDetector(known, _parameters())
        corners, ids, _ = detector.detectMarkers(np.clip(marks(), 0, 255).astype(np.uint8))
        for number, quad in zip(ids.ravel(), corners, strict=True):
            assert np.allclose(found[family, int(number)], quad[0], atol=1e-9)  # + and - 0.5


def test_light_around_a_square_is_that_of_the_whole_photo() -> None:
    grey = marks()
    whole = linear_light(grey)
    for _, _, quad in _detected(grey, 1600):
        light = _light_around(grey, quad)
        (x0, y0), (x1, y1) = quad.min(axis=0) - 60, quad.max(axis=0) + 60
        around = np.s_[int(y0) : int(y1), int(x0) : int(x1)]
        assert np.array_equal(light[around], whole[around])


def test_an_excluded_area_is_widened_alike_at_the_photo_s_border() -> None:
    rng = np.random.default_rng(4)
    for _ in range(5):
        exclude = np.zeros((120, 160), bool)
        y, x = rng.integers(0, 100), rng.integers(0, 140)
        exclude[y : y + 20, x : x + 15] = rng.random((20, 15))[: 120 - y, : 160 - x] > 0.5
        kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (17, 17))
        plain = cv2.dilate(exclude.astype(np.uint8), kernel) > 0
        assert np.array_equal(_widened(exclude, plain_scale(0.3 / 8)), plain)


def test_a_layer_s_visible_area_counts_every_pixel() -> None:
    edge = replace(
        flat_edge(), keep_out_px=(np.array([[50, 0], [90, 0], [90, 300], [50, 300]]),)
    )
    for layer in edge.rubber:
        pixels = np.sum((edge.layer_map == layer.index) & edge.judged)
        area = visible_area_mm2(layer, edge, scale=plain_scale(0.04))
        assert np.isclose(area, pixels * 0.04**2, rtol=1e-9)  # sums of doubles


@pytest.mark.parametrize("count", range(13))
def test_exchanges_put_all_in_order(count: int) -> None:
    # What sorts all zeros and ones sorts everything (Knuth, The Art of Computer
    # Programming 3, section 5.3.4, theorem Z; from memory).
    numbers = np.arange(2**count)
    rows = [(numbers >> k) & 1 for k in range(count)]
    for i, j in exchanges(count):
        rows[i], rows[j] = np.minimum(rows[i], rows[j]), np.maximum(rows[i], rows[j])
    assert all((low <= high).all() for low, high in pairwise(rows))


@pytest.mark.parametrize("count", [1, 2, 7, 8, 12, 16, 17, 40])
@pytest.mark.parametrize("axis", [0, 1, 2])
def test_medians_are_those_of_numpy(count: int, axis: int) -> None:
    values = np.random.default_rng(count).normal(size=(count, count, count)).astype(np.float32)
    # exact: the same two middle values and the same division
    assert np.array_equal(medians(values, axis), np.median(values, axis=axis))
