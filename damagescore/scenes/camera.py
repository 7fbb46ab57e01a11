"""Pinhole camera and the maps between photo and surface.

Letters: X world point in mm (x right, y up along `v`, z towards the camera); the photo point
is x ~ K (R X + t) with integers at pixel centres, x right, y down. The face of a flat edge is
z = 0; a cylindrical edge of radius R has its axis at x = 0, z = -R, so that it touches z = 0.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from damagescore.scenes.spec import CameraSpec

Points = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Camera:
    """Pinhole camera.

    Parameters
    ----------
    k : ndarray, shape (3, 3)
    r : ndarray, shape (3, 3)
    t : ndarray, shape (3,)
    size_px : tuple of int
        Width and height.
    """

    k: Points
    r: Points
    t: Points
    size_px: tuple[int, int]

    @property
    def centre_mm(self) -> Points:
        """Pinhole in world coordinates, shape (3,)."""
        return np.asarray(-self.r.T @ self.t)

    def project(self, world_mm: Points) -> Points:
        """World points, shape (N, 3), to photo pixels, shape (N, 2)."""
        image = (np.asarray(world_mm, float) @ self.r.T + self.t) @ self.k.T
        return np.asarray(image[:, :2] / image[:, 2:3])

    def depth(self, world_mm: Points) -> Points:
        """Distance of world points, shape (N, 3), along the optical axis in mm."""
        return np.asarray(np.asarray(world_mm, float) @ self.r[2] + self.t[2])

    def plane_homography(self, origin: Points, along: Points, up: Points) -> Points:
        """Map (a, b, 1) of the point origin + a along + b up to homogeneous pixels, (3, 3)."""
        columns = [self.r @ along, self.r @ up, self.r @ origin + self.t]
        return np.asarray(self.k @ np.stack(columns, axis=1))

    def rays(self) -> tuple[Points, Points, Points]:
        """World directions through every pixel, as three arrays of shape (rows, columns)."""
        width, height = self.size_px
        inverse = self.r.T @ np.linalg.inv(self.k)
        x = np.arange(width)[None, :]
        y = np.arange(height)[:, None]
        first, second, third = (row[0] * x + row[1] * y + row[2] for row in inverse)
        return first, second, third


def _turn(axis: int, angle_deg: float) -> Points:
    angle = np.deg2rad(angle_deg)
    c, s = np.cos(angle), np.sin(angle)
    first, second = [i for i in range(3) if i != axis]
    matrix = np.eye(3)
    matrix[first, first] = matrix[second, second] = c
    matrix[first, second], matrix[second, first] = -s, s
    return matrix


def aim_camera(spec: CameraSpec, target_mm: Points, *, facing: Points | None = None) -> Camera:
    """Place the camera so that its axis meets `target_mm` from the spec's distance.

    Parameters
    ----------
    spec : CameraSpec
    target_mm : ndarray, shape (3,)
        World point on the optical axis.
    facing : ndarray, shape (3, 3), optional
        Rows: image right, image down and forward in world axes before yaw, pitch and roll.
        The default looks along -z at the face.
    """
    width, height = spec.size_px
    focal = spec.px_per_mm * spec.distance_mm
    k = np.array([[focal, 0, (width - 1) / 2], [0, focal, (height - 1) / 2], [0, 0, 1.0]])
    base = np.diag([1.0, -1.0, -1.0]) if facing is None else facing
    r = _turn(2, spec.roll_deg) @ _turn(0, spec.pitch_deg) @ _turn(1, spec.yaw_deg) @ base
    centre = target_mm - spec.distance_mm * r[2]
    return Camera(k=k, r=r, t=-r @ centre, size_px=spec.size_px)


def to_world(s: Points, v: Points, h: Points | float, radius_mm: float | None) -> Points:
    """Surface coordinates in mm to world points, shape (N, 3)."""
    s, v = np.asarray(s, float), np.asarray(v, float)
    h = np.broadcast_to(np.asarray(h, float), s.shape)
    if radius_mm is None:
        return np.stack([s, v, h], axis=-1)
    angle = s / radius_mm
    out = radius_mm + h
    return np.stack([out * np.sin(angle), v, out * np.cos(angle) - radius_mm], axis=-1)


@dataclass(frozen=True, slots=True, kw_only=True)
class SurfaceMap:
    """Where each pixel's ray meets the edge: `s`, `v` in mm, and how much of it does.

    All arrays have shape (rows, columns); `cover` is 1 on the edge and 0 beside a cylinder;
    `depth` is the distance along the optical axis in mm.
    """

    s: NDArray[np.float32]
    v: NDArray[np.float32]
    cover: NDArray[np.float32]
    depth: NDArray[np.float32]


def surface_map(camera: Camera, radius_mm: float | None) -> SurfaceMap:
    """Intersect every pixel's ray with the edge, exactly."""
    dx, dy, dz = camera.rays()
    cx, cy, cz = camera.centre_mm
    if radius_mm is None:
        along = -cz / dz
        cover = np.ones(dx.shape)
        s = cx + along * dx
    else:
        along, cover = _cylinder_hit(camera, (dx, dz), radius_mm)
        s = radius_mm * np.arctan2(cx + along * dx, cz + along * dz + radius_mm)
    v = cy + along * dy
    # the forward part of a ray K^-1 [x, y, 1] is 1, so `along` is the depth itself
    fields = (np.asarray(item, np.float32) for item in (s, v, cover, along))
    s32, v32, cover32, depth32 = fields
    return SurfaceMap(s=s32, v=v32, cover=cover32, depth=depth32)


def _cylinder_hit(
    camera: Camera, ray_xz: tuple[Points, Points], radius_mm: float
) -> tuple[Points, Points]:
    dx, dz = ray_xz
    cx, _, cz = camera.centre_mm
    cz = cz + radius_mm
    a = dx * dx + dz * dz
    b = cx * dx + cz * dz
    disc = np.maximum(b * b - a * (cx * cx + cz * cz - radius_mm**2), 0.0)
    along = (-b - np.sqrt(disc)) / a
    miss = np.abs(cx * dz - cz * dx) / np.sqrt(a)
    px_per_mm = camera.k[0, 0] / np.maximum(along, 1.0)
    return along, np.clip(0.5 + (radius_mm - miss) * px_per_mm, 0.0, 1.0)


def scale_at(
    camera: Camera, s_mm: float, v_mm: float, radius_mm: float | None
) -> tuple[float, float]:
    """Millimetres per pixel along s and along v at one place, by a central difference."""
    step = 1e-3
    s = np.array([s_mm - step, s_mm + step, s_mm, s_mm])
    v = np.array([v_mm, v_mm, v_mm - step, v_mm + step])
    px = camera.project(to_world(s, v, 0.0, radius_mm))
    along_s = 2 * step / float(np.hypot(*(px[1] - px[0])))
    along_v = 2 * step / float(np.hypot(*(px[3] - px[2])))
    return along_s, along_v
