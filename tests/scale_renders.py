"""Analytic renders of scale marks: exact truth, area-sampled, for the tests of the scale.

Light is averaged over each pixel's area and blurred while it is still proportional to
light; only then comes the display curve (power 1/2.2), the noise and the rounding to 8 bits,
as in a camera.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.photo.record import CameraFacts, Photo
from damagescore.scale.record import SurfaceMap

Field = NDArray[np.float64]
Print = Callable[[Field, Field], Field]

INK, PAPER = 0.04, 0.75


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """Where the camera stands: `scale` mm per px in the middle, two tilts, turn, focal."""

    mm_per_px: float = 0.05
    tilt_x_deg: float = 0.0
    tilt_y_deg: float = 0.0
    turn_deg: float = 0.0
    focal_px: float = 2400.0
    size_px: tuple[int, int] = (800, 600)

    @property
    def projection(self) -> Field:
        """Points (x right, y down, z away from the camera, 1), mm, to pixels, shape (3, 4)."""
        ax, ay, az = (
            math.radians(a) for a in (self.tilt_x_deg, self.tilt_y_deg, self.turn_deg)
        )
        rx = np.array(
            [[1, 0, 0], [0, math.cos(ax), -math.sin(ax)], [0, math.sin(ax), math.cos(ax)]]
        )
        ry = np.array(
            [[math.cos(ay), 0, math.sin(ay)], [0, 1, 0], [-math.sin(ay), 0, math.cos(ay)]]
        )
        rz = np.array(
            [[math.cos(az), -math.sin(az), 0], [math.sin(az), math.cos(az), 0], [0, 0, 1]]
        )
        turned = rx @ ry @ rz
        camera = np.array(
            [
                [self.focal_px, 0, (self.size_px[0] - 1) / 2],
                [0, self.focal_px, (self.size_px[1] - 1) / 2],
                [0, 0, 1.0],
            ]
        )
        away = np.array([0, 0, self.focal_px * self.mm_per_px])
        return camera @ np.column_stack([turned, away])

    @property
    def mm_to_px(self) -> Field:
        """Plane of the print (x right, y down, mm, middle at 0, 0) to pixels."""
        return self.projection[:, [0, 1, 3]]

    @property
    def surface(self) -> SurfaceMap:
        """The exact map from pixels to millimetres."""
        return SurfaceMap(px_to_mm=np.linalg.inv(self.mm_to_px))

    @property
    def tilt_deg(self) -> float:
        cosine = math.cos(math.radians(self.tilt_x_deg)) * math.cos(
            math.radians(self.tilt_y_deg)
        )
        return math.degrees(math.acos(cosine))


def render(
    view: View,
    print_: Print,
    *,
    blur_px: float = 0.8,
    noise_dn: float = 0.0,
    seed: int = 0,
    with_focal: bool = False,
    fine: int = 6,
) -> Photo:
    """Photograph a print; `print_` gives the reflectance at (x, y) mm."""
    width, height = view.size_px
    at = (np.arange(width * fine) + 0.5) / fine - 0.5
    up = (np.arange(height * fine) + 0.5) / fine - 0.5
    rows = []
    px_to_mm = np.linalg.inv(view.mm_to_px)
    for start in range(0, height * fine, 100 * fine):
        x, y = np.meshgrid(at, up[start : start + 100 * fine])
        mm = cv2.perspectiveTransform(np.stack([x, y], axis=-1), px_to_mm)
        light = print_(mm[..., 0], mm[..., 1])
        rows.append(light.reshape(light.shape[0] // fine, fine, width, fine).mean(axis=(1, 3)))
    light = np.vstack(rows)
    if blur_px > 0:
        light = cv2.GaussianBlur(light, (0, 0), blur_px, borderType=cv2.BORDER_REPLICATE)
    return photo_of_light(
        light, noise_dn=noise_dn, seed=seed, focal_px=view.focal_px if with_focal else None
    )


def photo_of_light(
    light: Field, *, noise_dn: float = 0.0, seed: int = 0, focal_px: float | None = None
) -> Photo:
    """Display curve, noise and 8-bit rounding of a light image on a 0 to 1 scale."""
    shown = 255 * np.clip(light, 0, 1) ** (1 / 2.2)
    noisy = shown + noise_dn * np.random.default_rng(seed).standard_normal(light.shape)
    level = np.clip(np.round(noisy), 0, 255).astype(np.uint8)
    return photo_of_grey(level, focal_px=focal_px)


def photo_of_grey(level: NDArray[np.uint8], *, focal_px: float | None = None) -> Photo:
    return Photo(
        name="render.png",
        sha256="0" * 64,
        rgb=np.dstack([level] * 3),
        grey=level.astype(np.float32),
        bit_depth=8,
        camera=CameraFacts(focal_px=focal_px),
    )


def squares_print(
    *,
    ids: tuple[int, ...] = (3,),
    side_mm: float = 10.0,
    centres_mm: tuple[tuple[float, float], ...] = ((0.0, 0.0),),
    family: int = cv2.aruco.DICT_4X4_50,
) -> Print:
    """Fiducial squares on paper; the reflectance is constant inside each cell."""
    dictionary = cv2.aruco.getPredefinedDictionary(family)
    cells = dictionary.markerSize + 2
    grids = [cv2.aruco.generateImageMarker(dictionary, i, cells) > 127 for i in ids]

    def reflectance(x: Field, y: Field) -> Field:
        out = np.full(x.shape, PAPER)
        for grid, (cx, cy) in zip(grids, centres_mm, strict=True):
            column = np.floor((x - cx + side_mm / 2) / side_mm * cells).astype(int)
            row = np.floor((y - cy + side_mm / 2) / side_mm * cells).astype(int)
            inside = (column >= 0) & (column < cells) & (row >= 0) & (row < cells)
            white = grid[np.clip(row, 0, cells - 1), np.clip(column, 0, cells - 1)]
            out = np.where(inside, np.where(white, PAPER, INK), out)
        return out

    return reflectance


def true_corners_px(view: View, *, side_mm: float, centre_mm: tuple[float, float]) -> Field:
    """Corners in the fiducial's own order: top left, then clockwise."""
    half = side_mm / 2
    corners = np.array([[-half, -half], [half, -half], [half, half], [-half, half]])
    placed = (corners + np.array(centre_mm)).reshape(-1, 1, 2)
    return cv2.perspectiveTransform(placed, view.mm_to_px).reshape(-1, 2)


def rule_print(
    *,
    pitch_mm: float = 1.0,
    ticks: int = 31,
    missing: tuple[int, ...] = (),
    width_mm: float = 0.16,
) -> Print:
    """Light metal with a row of ticks, longer at every fifth and tenth, on a dark ground."""
    start = -(ticks - 1) / 2 * pitch_mm

    def reflectance(x: Field, y: Field) -> Field:
        number = np.round((x - start) / pitch_mm)
        away = np.abs(x - start - number * pitch_mm)
        reach = np.where(number % 10 == 0, 6.0, np.where(number % 5 == 0, 4.6, 3.2)) * pitch_mm
        real = (number >= 0) & (number < ticks) & ~np.isin(number, missing)
        tick = real & (away < width_mm / 2) & (y > 0.15 * pitch_mm) & (y < reach)
        metal = (np.abs(x) < -start + 4 * pitch_mm) & (y > 0) & (y < 11 * pitch_mm)
        return np.where(tick, 0.03, np.where(metal, 0.42, 0.08))

    return reflectance


def dots_print(*, distance_mm: float = 20.0, diameter_mm: float = 4.0) -> Print:
    """Two black discs on a card."""

    def reflectance(x: Field, y: Field) -> Field:
        near = np.minimum(np.hypot(x - distance_mm / 2, y), np.hypot(x + distance_mm / 2, y))
        card = (np.abs(x) < distance_mm / 2 + 1.5 * diameter_mm) & (
            np.abs(y) < 1.3 * diameter_mm
        )
        return np.where(near < diameter_mm / 2, INK, np.where(card, PAPER, 0.12))

    return reflectance
