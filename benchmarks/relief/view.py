"""The camera: one pinhole pose for the renderer and for the truth."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """Pinhole camera in a world of x right, y up, z towards the viewer, in mm.

    `turn` (3, 3) holds the camera's right, down and forward directions as rows, `eye_mm` its
    centre, `focal_px` the focal length, `size_px` (width, height), `distance_mm` how far the
    point lies that it looks at. Pixel centres lie at integers, x right, y down.
    """

    turn: Points
    eye_mm: Points
    focal_px: float
    size_px: tuple[int, int]
    distance_mm: float

    @property
    def px_per_mm(self) -> float:
        """Magnification at the point that it looks at."""
        return self.focal_px / self.distance_mm

    @property
    def k(self) -> Points:
        """Camera matrix, shape (3, 3)."""
        width, height = self.size_px
        return np.array(
            [
                [self.focal_px, 0, (width - 1) / 2],
                [0, self.focal_px, (height - 1) / 2],
                [0, 0, 1],
            ]
        )

    @property
    def t(self) -> Points:
        """Translation of x ~ K (R X + t)."""
        return -self.turn @ self.eye_mm

    @property
    def field_deg(self) -> float:
        """Horizontal field of view, over whole pixels: the renderer counts them as areas."""
        return math.degrees(2 * math.atan(self.size_px[0] / 2 / self.focal_px))

    @property
    def to_world(self) -> Points:
        """Camera-to-world, shape (4, 4), for a camera with x to the left and y up."""
        matrix = np.eye(4)
        matrix[:3, :3] = np.column_stack([-self.turn[0], -self.turn[1], self.turn[2]])
        matrix[:3, 3] = self.eye_mm
        return matrix

    def project(self, world_mm: Points) -> Points:
        """World points, shape (N, 3), to pixels, shape (N, 2)."""
        seen = (np.asarray(world_mm, float) - self.eye_mm) @ self.turn.T @ self.k.T
        return seen[:, :2] / seen[:, 2:]

    def plane_to_image(self, x_mm: float = 0.0, z_mm: float = 0.0) -> Points:
        """Homography to pixels from (x - `x_mm`, y) on the plane z = `z_mm`."""
        origin = self.turn @ np.array([x_mm, 0.0, z_mm]) + self.t
        return self.k @ np.column_stack([self.turn[:, 0], self.turn[:, 1], origin])


def view_at(
    target_mm: Points, *, distance_mm: float, px_per_mm: float, size_px: tuple[int, int],
    yaw_deg: float, pitch_deg: float, roll_deg: float,
) -> View:  # fmt: skip
    """Look at a point; positive yaw is from the right, positive pitch from above."""
    yaw, pitch, roll = np.deg2rad([yaw_deg, pitch_deg, roll_deg])
    out = np.array(
        [math.sin(yaw) * math.cos(pitch), math.sin(pitch), math.cos(yaw) * math.cos(pitch)]
    )
    right = np.array([math.cos(yaw), 0.0, -math.sin(yaw)])
    down = np.cross(-out, right)
    rolled = (
        math.cos(roll) * right + math.sin(roll) * down,
        math.cos(roll) * down - math.sin(roll) * right,
    )
    return View(
        turn=np.stack([*rolled, -out]), eye_mm=target_mm + distance_mm * out,
        focal_px=px_per_mm * distance_mm, size_px=size_px,
        distance_mm=distance_mm,
    )  # fmt: skip


def on_surface(
    points_mm: Points, radius_mm: float | None, height_mm: Points | float = 0.0
) -> Points:
    """Surface points (s, v), shape (N, 2), raised by a height, to the world, shape (N, 3)."""
    s, v = np.asarray(points_mm, float).T
    h = np.broadcast_to(np.asarray(height_mm, float), s.shape)
    if radius_mm is None:
        return np.stack([s, v, h], axis=1)
    angle = s / radius_mm
    return np.stack(
        [(radius_mm + h) * np.sin(angle), v, (radius_mm + h) * np.cos(angle) - radius_mm],
        axis=1,
    )
