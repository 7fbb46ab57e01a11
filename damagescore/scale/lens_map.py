"""What a lens does to a photo: pixels as seen, and as a lens without distortion gives them."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]

NEWTON_STEPS = 6
"""Newton's method doubles the right digits: from 1 % off, five steps reach the last one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LensMap:
    """Radial and decentring distortion of one upright photo (Brown 1971).

    With (x, y) the ideal place over the focal length, measured from the principal point,
    and r² = x² + y², the photo shows the point at x (1 + k1 r² + k2 r⁴) + 2 p1 x y +
    p2 (r² + 2 x²), and y alike with p1 and p2 exchanged; the order of the coefficients is
    that of OpenCV's `distCoeffs`. The ideal photo has its principal point in its middle, so
    that a plane before it needs no further shift.

    Parameters
    ----------
    focal_px : float
    centre_px : tuple of float
        Principal point in the photo as seen.
    distortion : tuple of float
        k1, k2, p1, p2.
    middle_px : tuple of float
        Principal point in the ideal photo.
    """

    focal_px: float
    centre_px: tuple[float, float]
    distortion: tuple[float, float, float, float]
    middle_px: tuple[float, float]

    def to_ideal(self, points_px: Points) -> Points:
        """Places as seen to ideal ones, shape (N, 2), by Newton's method."""
        seen = (_shaped(points_px) - self.centre_px) / self.focal_px
        place = seen.copy()
        for _ in range(NEWTON_STEPS):
            missing = seen - self._bent(place)
            xx, xy, yy = self._slopes(place)
            scale = 1 / (xx * yy - xy * xy)
            x, y = missing.T
            place += np.column_stack([(yy * x - xy * y) * scale, (xx * y - xy * x) * scale])
        return np.asarray(place * self.focal_px + self.middle_px)

    def to_seen(self, points_px: Points) -> Points:
        """Ideal places to those as seen, shape (N, 2)."""
        ideal = (_shaped(points_px) - self.middle_px) / self.focal_px
        return np.asarray(self._bent(ideal) * self.focal_px + self.centre_px)

    def _bent(self, place: Points) -> Points:
        k1, k2, p1, p2 = self.distortion
        r2 = np.sum(place**2, axis=1)[:, None]
        decentring = np.array([p2, p1])
        lean = 2 * (place @ decentring)[:, None]
        return np.asarray(place * (1 + k1 * r2 + k2 * r2**2 + lean) + r2 * decentring)

    def _slopes(self, place: Points) -> tuple[Points, Points, Points]:
        """Derivatives of the bent place: along x, mixed (symmetric), along y."""
        k1, k2, p1, p2 = self.distortion
        x, y = place.T
        r2 = x * x + y * y
        radial, growth = 1 + k1 * r2 + k2 * r2**2, 2 * (k1 + 2 * k2 * r2)
        return (
            radial + growth * x * x + 2 * p1 * y + 6 * p2 * x,
            growth * x * y + 2 * p1 * x + 2 * p2 * y,
            radial + growth * y * y + 6 * p1 * y + 2 * p2 * x,
        )

    def to_dict(self) -> dict[str, Any]:
        return {
            "focal_px": self.focal_px,
            "centre_px": list(self.centre_px),
            "distortion": list(self.distortion),
            "middle_px": list(self.middle_px),
        }

    @classmethod
    def from_dict(cls, plain: Mapping[str, Any]) -> "LensMap":
        (cx, cy), (mx, my) = plain["centre_px"], plain["middle_px"]
        k1, k2, p1, p2 = plain["distortion"]
        return cls(
            focal_px=plain["focal_px"], centre_px=(cx, cy), middle_px=(mx, my),
            distortion=(k1, k2, p1, p2),
        )  # fmt: skip


def _shaped(points_px: Points) -> Points:
    return np.asarray(points_px, dtype=np.float64).reshape(-1, 2)
