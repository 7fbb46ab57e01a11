"""The check target: what is drawn is what is measured, through a known camera.

The page that we print is rasterised by poppler and photographed by a pinhole camera, so
neither the drawing nor the photo shares code with the measuring.
"""

from datetime import UTC, datetime, timedelta

import cv2
import numpy as np
import pytest

from damagescore.capability.standing import control_chart, standing
from damagescore.capability.target import TargetCheck, Tolerances, check_target
from damagescore.errors import DamageScoreError
from damagescore.quantity import Measured, NotMeasured
from tests.target_photos import photo_of, printed


@pytest.fixture(scope="module")
def check() -> TargetCheck:
    return check_target(photo_of(printed()), line_mm=100.0)


def test_a_true_print_passes(check) -> None:
    assert check.passed, [r for r in check.readings if not r.passed]
    assert len(check.readings) == 1 + 2 * 5 + 2 + 2 + 3


def test_readings_are_near_the_truth(check) -> None:
    for reading in check.readings:
        assert isinstance(reading.measured, Measured)
        # 2.5 standard uncertainties: 18 readings, one in four runs at k = 2 would be outside.
        assert abs(reading.off) < 2.5 * reading.measured.u, reading.name


def test_distance_and_areas_are_exact(check) -> None:
    by_name = {r.name: r for r in check.readings}
    assert by_name["distance of the squares"].off == pytest.approx(
        0, abs=0.05
    )  # 0.06 %: corners to 0.1 px
    assert by_name["area 8 x 6 mm"].off == pytest.approx(
        0, abs=0.15
    )  # 0.3 %: borders to 0.1 px


def test_a_tilted_camera_passes_too() -> None:
    check = check_target(
        photo_of(printed(), px_per_mm=24.0, tilt_deg=12.0, seed=2), line_mm=100
    )
    assert check.passed, [r for r in check.readings if not r.passed]


def test_a_print_that_is_too_small_fails_only_if_the_calliper_says_so() -> None:
    # A print shrunk by 1 %: the program cannot see it, the calliper does.
    small = cv2.resize(printed(), None, fx=0.99, fy=0.99, interpolation=cv2.INTER_AREA)
    photo = photo_of(np.asarray(small, np.uint8))
    told = check_target(photo, line_mm=99.0)
    by_name = {r.name: r for r in told.readings}
    assert not by_name["distance of the squares"].passed
    assert by_name["distance of the squares"].off == pytest.approx(
        0.88, abs=0.1
    )  # 1 % of 88 mm
    assert not told.passed


def test_a_smeared_photo_fails_in_words() -> None:
    check = check_target(photo_of(printed(), blur_px=7.0), line_mm=100.0)
    assert not check.passed
    failed = [r for r in check.readings if not r.passed]
    assert all(isinstance(r.measured, NotMeasured | Measured) for r in failed)


def test_tolerances_are_the_users() -> None:
    photo = photo_of(printed())
    assert not check_target(photo, line_mm=100.0, tolerances=Tolerances(step_mm=1e-6)).passed


@pytest.mark.parametrize("line_mm", [0.0, 96.0, 103.0])
def test_a_calliper_value_of_no_true_print_is_refused(line_mm) -> None:
    with pytest.raises(DamageScoreError, match="The 100 mm line is given as"):
        check_target(photo_of(printed()), line_mm=line_mm)


def test_a_covered_square_is_named() -> None:
    covered = printed().copy()
    covered[:, -1000:] = 255
    with pytest.raises(DamageScoreError, match="Square 41"):
        check_target(photo_of(covered), line_mm=100.0)


NOW = datetime(2026, 11, 25, tzinfo=UTC)


def _ago(days: float) -> datetime:
    return NOW - timedelta(days=days)


@pytest.mark.parametrize(
    ("checks", "state"),
    [
        ([], "none"),
        ([(_ago(3), True)], "valid"),
        ([(_ago(31), True)], "overdue"),
        ([(_ago(1), False), (_ago(3), True)], "failed"),
        ([(_ago(1), True), (_ago(3), False)], "valid"),
    ],
)
def test_whether_the_last_check_holds(checks, state) -> None:
    found = standing(checks, now=NOW, valid_days=30)
    assert found.state == state
    assert found.words.endswith(".")


def test_few_checks_have_no_control_limits() -> None:
    assert control_chart([1.0] * 7).low is None
