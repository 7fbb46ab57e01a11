"""A plane before a pinhole camera."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from damagescore.scale.surface import Points

TILT_PRIOR = {"face": 0.25, "profile": 0.05}
"""Standard deviation of tan(tilt): a face is taken from up to 25 degrees or so aside; the
outline of a profile is only seen when the camera looks along the edge."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pose:
    """A plane before a pinhole camera whose axis meets the middle of the photo.

    Parameters
    ----------
    mm_per_px : float
        Scale at the middle of the photo, across the tilt.
    tilt_x, tilt_y : float
        Components of tan(tilt): positive where the plane comes nearer to the right
        and downwards.
    focal_px : float
    size_px : tuple of int
        Width and height of the photo.
    """

    mm_per_px: float
    tilt_x: float
    tilt_y: float
    focal_px: float
    size_px: tuple[int, int]

    @property
    def middle_px(self) -> Points:
        return (np.array(self.size_px, dtype=np.float64) - 1) / 2

    @property
    def tilt_deg(self) -> float:
        return math.degrees(math.atan(math.hypot(self.tilt_x, self.tilt_y)))

    @property
    def px_to_mm(self) -> NDArray[np.float64]:
        """Homography from pixels to the plane; origin at the middle of the photo.

        With depth Z(p) = Z0 / (1 + tan(tilt)·p / f), a step along the tilt is longer on
        the plane by 1 / cos(tilt) than across it (pinhole geometry).
        """
        t = np.array([self.tilt_x, self.tilt_y])
        strength = float(np.hypot(*t))
        stretch = np.eye(2)
        if strength > 1e-12:
            along = t / strength
            stretch += (math.hypot(1.0, strength) - 1) * np.outer(along, along)
        core = np.eye(3)
        core[:2, :2] = self.mm_per_px * stretch
        core[2, :2] = t / self.focal_px
        shift = np.eye(3)
        shift[:2, 2] = -self.middle_px
        return np.asarray(core @ shift)

    @property
    def eye_mm(self) -> tuple[float, float, float]:
        """Camera centre (x, y, distance) over the plane, in the frame of `px_to_mm`."""
        reach = self.focal_px * self.mm_per_px
        strength = math.hypot(self.tilt_x, self.tilt_y)
        cos = 1 / math.hypot(1.0, strength)
        across = reach * cos
        return float(across * self.tilt_x), float(across * self.tilt_y), float(across)
