"""The plane of the marks seen by a pinhole camera: scale, tilt and focal length."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from damagescore.scale.record import Points, SurfaceMap
from damagescore.scale.squares import Square

FOCAL_IN_WIDTHS = 3.3
"""Where EXIF is silent: a close-up lens, 1.5 to 7 photo widths at two standard deviations."""
U_LOG_FOCAL = 0.4
U_LOG_FOCAL_EXIF = 0.05
MISFIT_SEEN = 3.0
"""Misfit over noise from which squares are held not to lie in one plane."""

WIDEST_FOCAL = 2.0
"""Standard deviations beyond which a focal length is not believed."""

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


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedPose:
    """A pose fitted to one mark.

    `u_relative` is the standard uncertainty of a length on the plane, `u_log_focal`
    that of the focal length's logarithm, `residual_px` the misfit.
    """

    pose: Pose
    u_relative: float
    u_log_focal: float
    residual_px: float


def focal_prior(focal_px: float | None, size_px: tuple[int, int]) -> tuple[float, float]:
    """Focal length, px, from EXIF or as usual, and the u of its logarithm."""
    if focal_px:
        return focal_px, U_LOG_FOCAL_EXIF
    return FOCAL_IN_WIDTHS * max(size_px), U_LOG_FOCAL


@dataclass(frozen=True, slots=True, kw_only=True)
class Plane:
    """The fitted pose with its evidence.

    `u_relative` is the standard uncertainty of the local scale that the corners' noise
    gives over the middle of the photo; `u_log_focal` that of the focal length;
    `disagreement` the largest relative difference between the squares' sides on the
    common plane, None with one square.
    """

    pose: Pose
    u_relative: float
    u_log_focal: float
    residual_px: float
    disagreement: float | None


def plane_of_squares(
    squares: Sequence[Square],
    *,
    sides_mm: Sequence[float],
    size_px: tuple[int, int],
    focal_px: float | None = None,
    view: str = "face",
) -> Plane:
    """Fit one plane to all squares, each free to lie anywhere and turned in it.

    Each square is compared with the best placed true square, so that no distance
    between squares needs to be known. Where the corners cannot tell (one small square),
    tilt and focal length stay near what is usual.

    Parameters
    ----------
    squares : sequence of Square
    sides_mm : sequence of float
        True side of each.
    size_px : tuple of int
        Width and height of the photo.
    focal_px : float or None
        From EXIF.
    view : "face" or "profile"
    """
    start = float(np.mean([s / q.side_px for s, q in zip(sides_mm, squares, strict=True)]))
    usual, u_focal = focal_prior(focal_px, size_px)
    u_px = max(0.03, float(np.mean([q.u_corner_px for q in squares])))

    def pose_of(x: Points) -> Pose:
        return Pose(
            mm_per_px=start * math.exp(x[0]), tilt_x=x[1], tilt_y=x[2],
            focal_px=usual * math.exp(x[3]), size_px=size_px,
        )  # fmt: skip

    def residuals(x: Points) -> Points:
        rows = _misfits(pose_of(x), squares, sides_mm) / (start * u_px)
        # no lens lies far beyond the usual: squares that ask for one lie in two planes
        beyond = max(0.0, abs(x[3]) / u_focal - WIDEST_FOCAL) * 50
        priors = [*(x[1:3] / TILT_PRIOR[view]), x[3] / u_focal, beyond]
        return np.concatenate([rows, priors])

    # Two tilts of opposite sign look alike without perspective: start from each side.
    starts = [np.array([0.0, tx, ty, 0.0]) for tx, ty in
              ((0.01, 0.01), (0.2, 0.0), (-0.2, 0.0), (0.0, 0.2), (0.0, -0.2))]  # fmt: skip
    fit = min((least_squares(residuals, s, method="lm") for s in starts), key=lambda r: r.cost)
    pose = pose_of(fit.x)
    residual = float(np.sqrt(np.mean((_misfits(pose, squares, sides_mm) / start) ** 2)))
    jac = np.array(fit.jac)
    jac[: 8 * len(squares)] /= max(1.0, residual / u_px)  # what misfits is less certain
    covariance = np.linalg.inv(jac.T @ jac)
    return Plane(
        pose=pose,
        u_relative=length_spread(fit.x, covariance, pose_of),
        u_log_focal=float(np.sqrt(covariance[3, 3])),
        residual_px=residual,
        disagreement=_disagreement(
            _pose_by_shape(fit.x, pose_of, squares, sides_mm, view=view)
            if residual > MISFIT_SEEN * u_px
            else pose,
            squares,
            sides_mm,
        ),
    )


def _pose_by_shape(
    x: Points,
    pose_of: Callable[[Points], Pose],
    squares: Sequence[Square],
    sides_mm: Sequence[float],
    *,
    view: str,
) -> Pose:
    """The plane by the squares' shapes alone, at the usual focal length.

    Squares that do not fit one plane bend it so as to seem less different; left free in
    size, they do not.
    """

    def residuals(tilts: Points) -> Points:
        surface = SurfaceMap(px_to_mm=pose_of(np.array([0.0, *tilts, 0.0])).px_to_mm)
        rows = []
        for square, side in zip(squares, sides_mm, strict=True):
            mm = surface.to_mm(square.corners_px)
            size = math.sqrt(surface.area_mm2(square.corners_px))
            rows.append(_rigid_misfit(mm * side / size, side) / side)
        return np.concatenate([*rows, 1e-3 * tilts / TILT_PRIOR[view]])

    tilts = least_squares(residuals, x[1:3], method="lm").x
    return pose_of(np.array([0.0, *tilts, 0.0]))


def _misfits(pose: Pose, squares: Sequence[Square], sides_mm: Sequence[float]) -> Points:
    surface = SurfaceMap(px_to_mm=pose.px_to_mm)
    rows = [
        _rigid_misfit(surface.to_mm(q.corners_px), side)
        for q, side in zip(squares, sides_mm, strict=True)
    ]
    return np.concatenate(rows)


def _rigid_misfit(corners_mm: Points, side_mm: float) -> Points:
    half = side_mm / 2
    true = np.array([[-half, -half], [half, -half], [half, half], [-half, half]])
    moved = corners_mm - corners_mm.mean(axis=0)
    turn = math.atan2(
        float(np.sum(true[:, 0] * moved[:, 1] - true[:, 1] * moved[:, 0])),
        float(np.sum(true * moved)),
    )
    cos, sin = math.cos(turn), math.sin(turn)
    return np.asarray(moved - true @ np.array([[cos, sin], [-sin, cos]])).ravel()


def _disagreement(
    pose: Pose, squares: Sequence[Square], sides_mm: Sequence[float]
) -> float | None:
    if len(squares) < 2:
        return None
    surface = SurfaceMap(px_to_mm=pose.px_to_mm)
    ratios = [
        math.sqrt(surface.area_mm2(q.corners_px)) / side
        for q, side in zip(squares, sides_mm, strict=True)
    ]
    return (max(ratios) - min(ratios)) / min(ratios)


def length_spread(
    x: Points, covariance: NDArray[np.float64], pose_of: Callable[[Points], Pose]
) -> float:
    """Relative u of a length on the plane, over places and directions of the photo's middle.

    Drawn, not linearised: near a square view a tilt acts by its square, which a first
    derivative does not see (JCGM 101:2008 asks for draws in such a case).
    """
    width, height = pose_of(x).size_px
    grid = [(0.5 + u, 0.5 + v) for u in (-0.25, 0.0, 0.25) for v in (-0.2, 0.1)]
    places = np.array(grid) * [width, height]
    turns = np.radians([0.0, 45.0, 90.0, 135.0])
    steps = 4.0 * np.column_stack([np.cos(turns), np.sin(turns)])
    ends = np.vstack([places + s for s in steps])
    starts = np.vstack([places - s for s in steps])

    def logs(values: Points) -> Points:
        surface = SurfaceMap(px_to_mm=pose_of(values).px_to_mm)
        return np.asarray(np.log(np.hypot(*(surface.to_mm(ends) - surface.to_mm(starts)).T)))

    draws = np.random.default_rng(1).multivariate_normal(x, covariance, size=60)
    base = logs(x)
    return float(np.sqrt(np.mean([(logs(d) - base) ** 2 for d in draws])))
