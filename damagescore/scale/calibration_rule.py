"""Whether a calibration is good enough to be used, with the reasons."""

from dataclasses import dataclass
from typing import Any

from damagescore.quantity import count_words
from damagescore.scale.calibrate import Calibration

LEAST_PHOTOS = 8
LEAST_TILT_DEG = 30.0
LEAST_COVERAGE_PERCENT = 60.0
LARGEST_RMS_PX = 0.5
LARGEST_RMS_SHARE = 2.5e-4
"""The misfit may reach 0.5 px, or this share of the photo's longer side: 1 px of 4000."""
LARGEST_U_FOCAL_PERCENT = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibrationCheck:
    """One check of a calibration: passed or not, with the value seen and what to do."""

    name: str
    passed: bool
    value: float
    unit: str
    message: str

    def to_dict(self) -> dict[str, Any]:
        return {
            "name": self.name, "outcome": "pass" if self.passed else "refuse",
            "value": self.value, "unit": self.unit, "message": self.message,
        }  # fmt: skip


def judge(calibration: Calibration) -> tuple[CalibrationCheck, ...]:
    """Check a calibration; it may be used when every check passes.

    The bounds are common practice, no source.
    """
    lens = calibration.lens
    rms_bound = max(LARGEST_RMS_PX, LARGEST_RMS_SHARE * max(lens.size_px))
    u_focal = 100 * lens.u_focal_px / lens.focal_px
    return (
        _check(
            "photos", lens.photos >= LEAST_PHOTOS, lens.photos, "",
            f"The board shows well in {count_words(lens.photos, 'photo')}",
            f"{LEAST_PHOTOS} are the least: take more, sharp, with the board in different "
            "places and tilts",
        ),
        _check(
            "coverage", lens.coverage_percent >= LEAST_COVERAGE_PERCENT,
            lens.coverage_percent, "%",
            f"The boards cover {lens.coverage_percent:.0f} % of the photo's field",
            f"{LEAST_COVERAGE_PERCENT:.0f} % are the least: bring the board to every side "
            "and corner of the photo",
        ),
        _check(
            "tilt", calibration.tilt_range_deg >= LEAST_TILT_DEG,
            calibration.tilt_range_deg, "deg",
            f"The boards differ in tilt by up to {calibration.tilt_range_deg:.0f} degrees",
            f"{LEAST_TILT_DEG:.0f} are the least: tilt the board, or the camera, by 20 to 40 "
            "degrees to each side in turn",
        ),
        _check(
            "misfit", lens.rms_px <= rms_bound, lens.rms_px, "px",
            f"The corners lie {lens.rms_px:.2f} px (root mean square) off",
            f"{rms_bound:.2f} px is the most: glue the board to something flat, hold still, "
            "keep zoom and focus as they are",
        ),
        _check(
            "focal_length", u_focal <= LARGEST_U_FOCAL_PERCENT, u_focal, "%",
            f"The focal length is known to {u_focal:.2f} % (standard uncertainty)",
            f"{LARGEST_U_FOCAL_PERCENT:g} % is the most: take more with the board tilted",
        ),
        _folding(calibration),
    )  # fmt: skip


def _folding(calibration: Calibration) -> CalibrationCheck:
    """A distortion that turns back before the corner maps two places onto one."""
    lens = calibration.lens
    k1, k2, *_ = lens.distortion
    corner = (
        (lens.size_px[0] / lens.focal_px) ** 2 + (lens.size_px[1] / lens.focal_px) ** 2
    ) / 4
    least = min(1 + 3 * k1 * r2 + 5 * k2 * r2**2 for r2 in (corner * i / 20 for i in range(25)))
    percent = 100 * lens.corner_bend
    return _check(
        "distortion", least > 0.2, percent, "%",
        f"The lens shifts the photo's corner by {percent:+.1f} %",
        "that cannot be undone: bring the board into the corners, or use another lens",
    )  # fmt: skip


def _check(
    name: str, passed: bool, value: float, unit: str, seen: str, otherwise: str
) -> CalibrationCheck:
    message = f"{seen}." if passed else f"{seen}; {otherwise}."
    return CalibrationCheck(
        name=name, passed=passed, value=float(value), unit=unit, message=message
    )
