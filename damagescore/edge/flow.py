"""The course of the layers through the photo: direction, bow and convergence."""

import math
from dataclasses import dataclass, field, replace

import cv2
import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]
Image = NDArray[np.float32]

BOW_TERMS = 4
STRETCH_TERMS = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Flow:
    """Coordinates that follow the layers.

    `s` runs along the layers from the photo's centre, `v` is the level of a
    layer line where it crosses s = 0 (down the photo), both in photo pixels. A
    line of constant v lies at y = v + bow(s) + wave(s) + v stretch(s) across the layers.

    Parameters
    ----------
    centre_px : tuple of float
    direction_rad : float
        Direction of increasing s from the photo's x axis, clockwise on the screen.
    length_px : float
        Unit of s for the polynomials: half the photo's diagonal.
    bow : ndarray, shape (4,)
        Coefficients of (s / length)^1..4, pixels.
    stretch : ndarray, shape (2,)
        Coefficients of (s / length)^1..2, dimensionless: layers that converge.
    wave_s_px, wave_px : ndarray, shape (W,)
        What all layers share besides, as values at places s; 0 where there are none.
    """

    centre_px: tuple[float, float]
    direction_rad: float
    length_px: float
    bow: Points
    stretch: Points
    wave_s_px: Points = field(default_factory=lambda: np.zeros(1))
    wave_px: Points = field(default_factory=lambda: np.zeros(1))

    @property
    def along(self) -> Points:
        return np.array([math.cos(self.direction_rad), math.sin(self.direction_rad)])

    @property
    def across(self) -> Points:
        return np.array([-math.sin(self.direction_rad), math.cos(self.direction_rad)])

    def height(self, s: Points, v: Points) -> Points:
        """Distance across from the centre line, pixels, of (s, v)."""
        return np.asarray(v * self._grown(s) + self.shift(s))

    def shift(self, s: Points) -> Points:
        """Distance across from the centre line, pixels, of the line v = 0 at s."""
        s = np.asarray(s, dtype=np.float64)
        bow = powers(s / self.length_px, BOW_TERMS) @ self.bow
        return np.asarray(bow + np.interp(s, self.wave_s_px, self.wave_px))

    def _grown(self, s: Points) -> Points:
        u = np.asarray(s, dtype=np.float64) / self.length_px
        return np.asarray(1 + powers(u, STRETCH_TERMS) @ self.stretch)

    def level(self, s: Points, height: Points) -> Points:
        """Inverse of `height`: the level v at (s, height)."""
        return np.asarray((height - self.shift(s)) / self._grown(s))

    def to_px(self, s: Points, v: Points) -> Points:
        """Photo pixels, shape (..., 2), of (s, v)."""
        s = np.asarray(s, np.float64)
        y = self.height(s, np.asarray(v, np.float64))
        x0, y0 = self.centre_px
        (ax, ay), (nx, ny) = self.along, self.across
        return np.stack([x0 + s * ax + y * nx, y0 + s * ay + y * ny], axis=-1)

    def grid_px(self, s: Points, v: Points) -> tuple[Image, Image]:
        """Photo pixels at all pairs of s (S,) and v (V,): x and y, shape (V, S).

        In single precision, which keeps 0.001 px of a photo 10 000 px wide.
        """
        bow, grown = self.shift(s), self._grown(s)
        level = v.astype(np.float32)[:, None]
        axes = zip(self.centre_px, self.along, self.across, strict=True)
        x, y = (
            (start + s * along + bow * across).astype(np.float32)
            + level * (grown * across).astype(np.float32)
            for start, along, across in axes
        )
        return x, y

    def from_px(self, points_px: Points) -> tuple[Points, Points]:
        """(s, v) of photo pixels, shape (..., 2)."""
        moved = np.asarray(points_px, np.float64) - np.array(self.centre_px)
        s, y = moved @ self.along, moved @ self.across
        return s, self.level(s, y)

    def corrected(self, bow: Points, stretch: Points) -> "Flow":
        """Return the flow with terms added."""
        return replace(self, bow=self.bow + bow, stretch=self.stretch + stretch)

    def waved(self, s_px: Points, wave_px: Points) -> "Flow":
        """Return the flow with a wave, given at places s, added."""
        before = np.interp(s_px, self.wave_s_px, self.wave_px)
        return replace(self, wave_s_px=s_px, wave_px=before + wave_px)


@dataclass(frozen=True, slots=True, kw_only=True)
class Slopes:
    """Local directions of edges, at points of the photo.

    `points_px` (N, 2), `angle_rad` (N,) in [-pi/2, pi/2), `weight` (N,).
    """

    points_px: Points
    angle_rad: Points
    weight: Points


def local_slopes(log_grey: Image, factor: float, *, usable: NDArray[np.bool_]) -> Slopes:
    """Directions of edges from the smoothed structure tensor.

    Parameters
    ----------
    log_grey : ndarray of float32, shape (h, w)
        Logarithm of the reduced photo: a step weighs the same in light and shade.
    factor : float
        Reduced pixels per photo pixel.
    usable : ndarray of bool, shape (h, w)
        False on the scale card and the like.
    """
    smooth = cv2.GaussianBlur(log_grey, (0, 0), 1.0)
    gx = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, ksize=3) / 8
    gy = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, ksize=3) / 8
    xx, yy, xy = (
        cv2.GaussianBlur(p, (0, 0), 4.0)[::4, ::4] for p in (gx * gx, gy * gy, gx * gy)
    )
    energy = xx + yy
    spread = np.hypot(xx - yy, 2 * xy)
    # The square root keeps one strong edge (card, bench) from outvoting the layers.
    weight = np.sqrt(energy) * (spread / (energy + 1e-6)) ** 2
    # Below that lie noise and compression blocks, which favour the pixel axes.
    kept = usable[::4, ::4] & (weight > np.percentile(weight, 80))
    rows, columns = np.nonzero(kept)
    normal = 0.5 * np.arctan2(2 * xy, xx - yy)[kept]
    angle = (normal + math.pi) % math.pi - math.pi / 2
    points: Points = (
        np.column_stack([columns, rows]).astype(np.float64) * 4 + 0.5
    ) / factor - 0.5
    return Slopes(
        points_px=points,
        angle_rad=angle.astype(np.float64),
        weight=weight[kept].astype(np.float64),
    )


def main_directions(slopes: Slopes, *, most: int = 2) -> list[float]:
    """Directions (radians) in which most edges run, strongest first.

    Directions less than 20 degrees from a stronger one are not listed.
    """
    votes, bins = np.histogram(
        slopes.angle_rad, bins=360, range=(-math.pi / 2, math.pi / 2), weights=slopes.weight
    )
    kernel = np.exp(-0.5 * (np.arange(-12, 13) / 4.0) ** 2)
    padded = np.concatenate([votes[-12:], votes, votes[:12]])
    votes = np.convolve(padded, kernel, mode="valid")
    middle = (bins[:-1] + bins[1:]) / 2
    found: list[float] = []
    for _ in range(most):
        best = float(middle[int(np.argmax(votes))])
        found.append(best)
        apart = np.abs((middle - best + math.pi / 2) % math.pi - math.pi / 2)
        votes = np.where(apart < math.radians(20), 0.0, votes)
    return found


def fit_flow(slopes: Slopes, direction_rad: float, *, shape: tuple[int, int]) -> Flow:
    """Fit bow and convergence to the local directions, robustly.

    Regresses the slope dy/ds = bow'(s) + v stretch'(s) by iteratively reweighted
    least squares with Cauchy weights; v is taken as the height, which is right to
    first order. Biased towards straight layers by a small ridge.
    """
    height, width = shape
    flat = Flow(
        centre_px=((width - 1) / 2, (height - 1) / 2),
        direction_rad=direction_rad,
        length_px=math.hypot(height, width) / 2,
        bow=np.zeros(BOW_TERMS),
        stretch=np.zeros(STRETCH_TERMS),
    )
    turn = (slopes.angle_rad - direction_rad + math.pi / 2) % math.pi - math.pi / 2
    near = np.abs(turn) < 0.3
    s, v = flat.from_px(slopes.points_px[near])
    u, level = s / flat.length_px, v / flat.length_px
    design = np.column_stack([_rates(u, BOW_TERMS), level[:, None] * _rates(u, STRETCH_TERMS)])
    # The ridge only matters where the photo says nothing (a strip of one layer).
    ridge = np.diag([0.0, 1e-4, 1e-3, 1e-3, 1e-4, 1e-3]) * slopes.weight[near].sum()
    terms = _robust_line_fit(design, np.tan(turn[near]), slopes.weight[near], ridge)
    return flat.corrected(terms[:BOW_TERMS] * flat.length_px, terms[BOW_TERMS:])


def _robust_line_fit(design: Points, target: Points, weight: Points, ridge: Points) -> Points:
    terms = np.zeros(design.shape[1])
    if len(target) < design.shape[1] or weight.sum() <= 0:
        return terms
    for scale in (0.1, 0.05, 0.03, 0.02, 0.01, 0.01, 0.006, 0.006):
        w = weight / (1 + ((target - design @ terms) / scale) ** 2)
        normal = design.T @ (design * w[:, None]) + ridge * (w.sum() / weight.sum()) * 0.1
        terms = np.linalg.solve(normal, design.T @ (w * target))
    return terms


def powers(u: Points, count: int) -> Points:
    """u^1 .. u^count on a new last axis."""
    return np.asarray(np.cumprod(np.repeat(u[..., None], count, axis=-1), axis=-1), np.float64)


def _rates(u: Points, count: int) -> Points:
    return np.stack([(k + 1) * u**k for k in range(count)], axis=-1)
