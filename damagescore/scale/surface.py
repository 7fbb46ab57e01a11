"""The map from the pixels of a photo to the metric surface."""

import math
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.photo.outline import signed_area
from damagescore.scale.lens_map import LensMap

Points = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class SurfaceMap:
    """Map between photo pixels and millimetres on the judged surface.

    The metric frame has x to the right and y down, as the photo has, so that
    nothing is mirrored; its origin and its turn are arbitrary.

    Parameters
    ----------
    px_to_mm : ndarray, shape (3, 3)
        Homography from pixels to the (tangent) plane.
    radius_mm : float or None
        Radius of a cylindrical edge; None for a flat one.
    facing_mm : float
        x of the line of the cylinder that faces the camera (its tangent line),
        in the frame of `px_to_mm` turned by `axis_deg`.
    axis_deg : float
        Direction of the cylinder's axis from the metric y axis, degrees.
    eye_mm : tuple of float or None
        Camera centre (x, y, distance) over the tangent plane, mm, where known:
        rays are then met with the cylinder. Without it the view is taken as
        parallel: arc = R asin(x / R).
    lens : LensMap or None
        Undoes the lens's distortion before `px_to_mm`; None where it is not known.
    """

    px_to_mm: Points
    radius_mm: float | None = None
    facing_mm: float = 0.0
    axis_deg: float = 0.0
    eye_mm: tuple[float, float, float] | None = None
    lens: LensMap | None = None

    def to_mm(self, points_px: Points) -> Points:
        """Pixels, shape (N, 2), to surface millimetres, shape (N, 2)."""
        plane = self._on_plane(points_px)
        if self.radius_mm is None:
            return plane
        return self._unroll(plane)

    def to_px(self, points_mm: Points) -> Points:
        """Surface millimetres, shape (N, 2), to pixels, shape (N, 2)."""
        plane: Points = np.asarray(points_mm, dtype=np.float64).reshape(-1, 2)
        if self.radius_mm is not None:
            plane = self._roll(plane)
        px = _project(np.asarray(np.linalg.inv(self.px_to_mm), np.float64), plane)
        return px if self.lens is None else self.lens.to_seen(px)

    def _on_plane(self, points_px: Points) -> Points:
        ideal = points_px if self.lens is None else self.lens.to_ideal(points_px)
        return _project(self.px_to_mm, ideal)

    def jacobian(self, point_px: Points) -> Points:
        """d(mm)/d(px) at one pixel, shape (2, 2)."""
        x, y = np.asarray(point_px, dtype=np.float64)
        step = 0.5
        around = np.array([[x + step, y], [x - step, y], [x, y + step], [x, y - step]])
        mm = self.to_mm(around)
        return np.column_stack([mm[0] - mm[1], mm[2] - mm[3]]) / (2 * step)

    def mm_per_px_at(self, point_px: Points) -> float:
        """Square root of the area scale at a pixel."""
        return math.sqrt(abs(float(np.linalg.det(self.jacobian(point_px)))))

    def length_mm(self, line_px: Points) -> float:
        """Length on the surface of an open polyline, shape (N, 2) px."""
        mm = self.to_mm(line_px)
        return float(np.sum(np.hypot(*np.diff(mm, axis=0).T)))

    def area_mm2(self, polygon_px: Points) -> float:
        """Area on the surface inside a closed polygon, shape (N, 2) px."""
        return abs(signed_area(self.to_mm(polygon_px)))

    def turn_deg(self, points_px: Points) -> Points:
        """Angle from the facing line on the cylinder, degrees; 0 on a flat edge."""
        plane = self._on_plane(points_px)
        if self.radius_mm is None:
            return np.zeros(len(plane))
        turned = plane @ _turn(self.axis_deg)
        return np.degrees(self._angle(turned))

    def _angle(self, turned: Points) -> Points:
        radius = self.radius_mm
        assert radius is not None
        x = turned[:, 0] - self.facing_mm
        if self.eye_mm is None:
            return np.arcsin(np.clip(x / radius, -1.0, 1.0))
        eye_x, _, eye_z = self.eye_mm
        dx, dz = x - (eye_x - self.facing_mm), -eye_z
        start_x, start_z = eye_x - self.facing_mm, eye_z + radius
        a = dx**2 + dz**2
        b = 2 * (start_x * dx + start_z * dz)
        c = start_x**2 + start_z**2 - radius**2
        inside = np.maximum(b**2 - 4 * a * c, 0.0)
        t = (-b - np.sqrt(inside)) / (2 * a)
        return np.arctan2(start_x + t * dx, start_z + t * dz)

    def _unroll(self, plane: Points) -> Points:
        radius = self.radius_mm
        assert radius is not None
        turned = plane @ _turn(self.axis_deg)
        angle = self._angle(turned)
        y = turned[:, 1]
        if self.eye_mm is not None:
            depth = radius * (1 - np.cos(angle))
            y = self.eye_mm[1] + (y - self.eye_mm[1]) * (1 + depth / self.eye_mm[2])
        unrolled = np.column_stack([self.facing_mm + radius * angle, y])
        return unrolled @ _turn(self.axis_deg).T

    def _roll(self, surface: Points) -> Points:
        radius = self.radius_mm
        assert radius is not None
        turned = surface @ _turn(self.axis_deg)
        angle = (turned[:, 0] - self.facing_mm) / radius
        x, y = radius * np.sin(angle), turned[:, 1]
        if self.eye_mm is not None:
            eye_x, eye_y, eye_z = self.eye_mm
            depth = radius * (1 - np.cos(angle))
            shrink = eye_z / (eye_z + depth)
            start = eye_x - self.facing_mm
            x, y = start + (x - start) * shrink, eye_y + (y - eye_y) * shrink
        return np.column_stack([self.facing_mm + x, y]) @ _turn(self.axis_deg).T

    def to_dict(self) -> dict[str, Any]:
        return {
            "px_to_mm": self.px_to_mm.tolist(),
            "radius_mm": self.radius_mm,
            "facing_mm": self.facing_mm,
            "axis_deg": self.axis_deg,
            "eye_mm": None if self.eye_mm is None else list(self.eye_mm),
            "lens": None if self.lens is None else self.lens.to_dict(),
        }

    @classmethod
    def from_dict(cls, plain: dict[str, Any]) -> "SurfaceMap":
        eye, lens = plain.get("eye_mm"), plain.get("lens")
        return cls(
            px_to_mm=np.array(plain["px_to_mm"], dtype=np.float64),
            radius_mm=plain.get("radius_mm"),
            facing_mm=plain.get("facing_mm", 0.0),
            axis_deg=plain.get("axis_deg", 0.0),
            eye_mm=None if eye is None else (eye[0], eye[1], eye[2]),
            lens=None if lens is None else LensMap.from_dict(lens),
        )


def _project(homography: Points, points: Points) -> Points:
    shaped = np.asarray(points, dtype=np.float64).reshape(-1, 1, 2)
    if len(shaped) == 0:
        return np.empty((0, 2))
    return np.asarray(cv2.perspectiveTransform(shaped, homography), np.float64).reshape(-1, 2)


def _turn(angle_deg: float) -> Points:
    angle = math.radians(angle_deg)
    return np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
