"""Edge response against closed forms for a gaussian blur and a full pixel.

Source: analytic. Gaussian of s px: MTF = exp(-2 pi^2 s^2 f^2), so MTF50 lies at
sqrt(ln 2 / 2) / (pi s) = 0.187391 / s, and the 10 to 90 % rise is 2.563103 s; a full
pixel multiplies the MTF by sinc(f). The slanted side is the method of ISO 12233.
"""

import math

import numpy as np
import pytest
from scipy.special import erf

from damagescore.quality.sharpness import EdgeResponse, side_response

SIDE_PX = 200
FINE = 8  # samples over each pixel's width and height


def slanted_edge(sigma_px: float, *, degrees: float = 5.0) -> np.ndarray:
    """A step of 40 to 200 grey levels, blurred, integrated over each pixel."""
    count = SIDE_PX * FINE
    y, x = np.mgrid[0:count, 0:count].astype(np.float32)
    turn = math.radians(degrees)
    middle = (count - 1) / 2
    away = ((x - middle) * math.cos(turn) + (y - middle) * math.sin(turn)) / FINE
    fine = 0.5 * (1 + erf(away / (sigma_px * math.sqrt(2))))
    return (40 + 160 * fine.reshape(SIDE_PX, FINE, SIDE_PX, FINE).mean((1, 3))).astype(
        np.float32
    )


def response(sigma_px: float, *, degrees: float = 5.0, half_px: float = 20.0) -> EdgeResponse:
    middle, run = (SIDE_PX - 1) / 2, math.tan(math.radians(degrees)) * 90
    ends = np.array([[middle + run, middle - 90], [middle - run, middle + 90]])
    found = side_response(slanted_edge(sigma_px, degrees=degrees), ends, half_px=half_px)
    assert found is not None
    return found


def expected_mtf(sigma_px: float, f: np.ndarray) -> np.ndarray:
    return np.sinc(f) * np.exp(-2 * (math.pi * sigma_px * f) ** 2)


@pytest.mark.parametrize("sigma_px", [0.5, 0.7, 1.0, 2.0])
def test_modulation_transfer_follows_the_closed_form(sigma_px: float) -> None:
    f = np.array([0.0996, 0.2002, 0.25, 0.2998, 0.4004, 0.5])
    # 0.01 below Nyquist is the tolerance at which a slanted edge is read as equal.
    assert np.allclose(response(sigma_px).mtf(f), expected_mtf(sigma_px, f), atol=0.01)


def test_table_of_values_for_one_blur() -> None:
    f = np.array([0.0996, 0.2002, 0.25, 0.2998, 0.4004, 0.5])
    table = [0.8937, 0.6348, 0.4919, 0.3600, 0.1605, 0.0568]  # sinc times gaussian, s = 0.7
    assert np.allclose(response(0.7).mtf(f), table, atol=0.01)


@pytest.mark.parametrize(("sigma_px", "mtf50"), [(0.5, 0.323088), (1.0, 0.179964)])
def test_mtf50_of_gaussian_and_pixel(sigma_px: float, mtf50: float) -> None:
    assert response(sigma_px).mtf50_per_px == pytest.approx(mtf50, rel=0.01)  # bins of 1/4 px


@pytest.mark.parametrize("sigma_px", [2.0, 3.0, 4.0])
def test_wide_blur_gives_the_gaussian_rise_and_width(sigma_px: float) -> None:
    found = response(sigma_px, half_px=24.0)
    whole = math.hypot(sigma_px, 12**-0.5)  # pixel box as a gaussian of 1/sqrt(12) px
    assert found.rise_px == pytest.approx(2.563103 * whole, rel=0.02)  # bins of 1/4 px
    assert found.mtf50_per_px == pytest.approx(0.187391 / whole, rel=0.02)
    # erf(w / (2 sqrt(2) s)) = 1/2 at w = 1.348980 s
    assert found.finest_width_px == pytest.approx(1.348980 * whole, rel=0.02)


@pytest.mark.parametrize("degrees", [2.0, 5.0, 12.0, 30.0, 45.0])
def test_the_angle_of_the_side_does_not_matter(degrees: float) -> None:
    plain = 0.179964  # s = 1 px; a pixel seen from its corner is a little wider
    assert response(1.0, degrees=degrees).mtf50_per_px == pytest.approx(plain, rel=0.03)


def test_a_line_of_that_width_keeps_half_its_contrast() -> None:
    """The finest width means what it says: draw such a line and look."""
    sigma = 3.0
    width = response(sigma, half_px=22.0).finest_width_px
    x = np.linspace(-40, 40, 8001)
    blur = np.exp(-((x / sigma) ** 2) / 2)
    line = np.convolve((np.abs(x) <= width / 2).astype(float), blur / blur.sum(), "same")
    assert line.max() == pytest.approx(0.5, abs=0.02)  # the pixel box adds a little blur


def test_no_contrast_and_no_room_give_none() -> None:
    flat = np.full((100, 100), 90, np.float32)
    ends = np.array([[20.0, 50.0], [80.0, 52.0]])
    assert side_response(flat, ends, half_px=10) is None
    assert side_response(flat, ends + 500, half_px=10) is None
    assert side_response(flat, ends[:1].repeat(2, axis=0), half_px=10) is None
