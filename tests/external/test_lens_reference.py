"""Our lens map and calibration against OpenCV's own functions.

Source: OpenCV 4.5 to 5.0 (opencv-python-headless), `projectPoints`, `undistortPoints` and
`calibrateCameraExtended` with CALIB_FIX_ASPECT_RATIO and CALIB_FIX_K3. Tolerances: both
compute in double precision; `undistortPoints` is asked for 1e-12, and the uncertainties
differ by the rounding of corners to single precision.
"""

import cv2
import numpy as np
import pytest

from damagescore.scale.board import COLUMNS, ROWS, black_cells, board_of
from damagescore.scale.calibrate import FLAGS, calibrate
from tests.lens_boards import DISTORTION, FOCAL_PX, MATRIX, SIZE_PX, lens_map, views

MIDDLE = (np.array(SIZE_PX) - 1) / 2
STRONG = (-0.3, 0.12, 0.002, -0.003)


def grid() -> np.ndarray:
    x, y = np.meshgrid(np.linspace(0, SIZE_PX[0] - 1, 23), np.linspace(0, SIZE_PX[1] - 1, 17))
    return np.column_stack([x.ravel(), y.ravel()])


@pytest.mark.parametrize("distortion", [DISTORTION, STRONG, (0.05, -0.02, 0.0, 0.0)])
def test_bending_is_that_of_projected_points(distortion):
    ideal = grid()
    rays = np.column_stack([(ideal - MIDDLE) / FOCAL_PX, np.ones(len(ideal))])
    zero = np.zeros(3)
    theirs = cv2.projectPoints(rays, zero, zero, MATRIX, np.array(distortion))[0]
    ours = lens_map(distortion=distortion).to_seen(ideal)
    np.testing.assert_allclose(ours, theirs.reshape(-1, 2), atol=1e-9)  # px, rounding


@pytest.mark.parametrize("distortion", [DISTORTION, STRONG, (0.05, -0.02, 0.0, 0.0)])
def test_unbending_is_that_of_undistorted_points(distortion):
    seen = grid()
    until = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 200, 1e-14)
    theirs = cv2.undistortPoints(
        seen.reshape(-1, 1, 2), MATRIX, np.array(distortion), None, np.eye(3), None, until
    ).reshape(-1, 2)  # fmt: skip
    ours = lens_map(distortion=distortion).to_ideal(seen)
    np.testing.assert_allclose(ours, theirs * FOCAL_PX + MIDDLE, atol=1e-6)  # their stop


def test_uncertainties_are_those_of_the_extended_calibration():
    seen = views(np.random.default_rng(8))
    found = calibrate(seen).lens
    boards = [
        np.column_stack([v.board_mm, np.zeros(len(v.board_mm))]).astype(np.float32)[:, None]
        for v in seen
    ]
    corners = [v.corners_px.astype(np.float32)[:, None] for v in seen]
    _, matrix, distortion, _, _, deviations, _, _ = cv2.calibrateCameraExtended(
        boards, corners, SIZE_PX, np.eye(3), np.zeros(5), flags=FLAGS
    )
    u = np.ravel(deviations)
    assert found.focal_px == pytest.approx(matrix[0, 0], rel=1e-6)
    np.testing.assert_allclose(found.distortion, np.ravel(distortion)[:4], rtol=1e-4, atol=1e-6)
    ours = [*found.u_centre_px, *found.u_distortion]
    np.testing.assert_allclose(ours, u[2:8], rtol=0.02)  # degrees of freedom counted apart
    assert found.u_focal_px == pytest.approx(max(u[:2]), rel=0.02)


def test_the_printed_board_is_opencvs_own():
    cells, _ = black_cells()
    size = (COLUMNS * 80, ROWS * 80)
    theirs = board_of().generateImage(size, marginSize=0, borderBits=1) < 128
    assert np.array_equal(np.kron(cells, np.ones((10, 10), bool)), theirs)
