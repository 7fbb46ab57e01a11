"""The plane of the marks seen by a pinhole camera: scale, tilt and focal length."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from scipy.optimize import least_squares

from damagescore.scale.camera import Camera
from damagescore.scale.pose import TILT_PRIOR, Pose
from damagescore.scale.spread import Spread, spread_of
from damagescore.scale.squares import Square
from damagescore.scale.surface import Points, SurfaceMap

MISFIT_SEEN = 3.0
"""Misfit over noise from which squares are held not to lie in one plane."""

COVERED_SHARE = 0.005
"""Misfit of a lone square over its side from which a corner of it must be covered. Whole
squares show 0.0003 at most, one with a third of a side hidden 0.02."""

WIDEST_FOCAL = 2.0
"""Standard deviations beyond which a focal length is not believed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedPose:
    """A pose fitted to one mark, its uncertainty, and the misfit in px."""

    pose: Pose
    spread: Spread
    residual_px: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Plane:
    """The fitted pose with its evidence.

    `disagreement` is the largest relative difference between the squares' sides on the
    common plane, None with one square.
    """

    pose: Pose
    spread: Spread
    residual_px: float
    disagreement: float | None


def plane_of_squares(
    squares: Sequence[Square],
    *,
    sides_mm: Sequence[float],
    camera: Camera,
    view: str = "face",
) -> Plane:
    """Fit one plane to all squares, each free to lie anywhere and turned in it.

    Each square is compared with the best placed true square, so that no distance
    between squares needs to be known. Where the corners cannot tell (one small square),
    tilt and focal length stay near what is usual.

    Parameters
    ----------
    squares : sequence of Square
        Their corners as a lens without distortion gives them.
    sides_mm : sequence of float
        True side of each.
    camera : Camera
    view : "face" or "profile"
    """
    start = float(np.mean([s / q.side_px for s, q in zip(sides_mm, squares, strict=True)]))
    usual, u_focal = camera.focal_px, camera.u_log_focal
    u_px = max(0.03, float(np.mean([q.u_corner_px for q in squares])))

    def pose_of(x: Points) -> Pose:
        return Pose(
            mm_per_px=start * math.exp(x[0]), tilt_x=x[1], tilt_y=x[2],
            focal_px=usual * math.exp(x[3]), size_px=camera.size_px,
        )  # fmt: skip

    def residuals(x: Points, noise_px: float = u_px) -> Points:
        rows = _misfits(pose_of(x), squares, sides_mm) / (start * noise_px)
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
    noise_px = max(u_px, residual)  # what misfits is less certain
    bent = [replace(q, corners_px=camera.bent(q.corners_px)) for q in squares]
    change = _misfits(pose, bent, sides_mm) - _misfits(pose, squares, sides_mm)
    spread = spread_of(
        fit.x, residuals=partial(residuals, noise_px=noise_px), pose_of=pose_of,
        camera=camera, bend_change=change / (start * noise_px),
    )  # fmt: skip
    if residual > MISFIT_SEEN * u_px:
        plain = _pose_by_shape(fit.x, pose_of, squares, sides_mm, view=view)
    else:
        plain = pose
    return Plane(
        pose=pose, spread=spread, residual_px=residual,
        disagreement=_disagreement(plain, squares, sides_mm),
    )  # fmt: skip


def whole_squares(
    squares: Sequence[Square], *, camera: Camera, view: str = "face"
) -> list[int]:
    """Which of several squares are squares by themselves; all where none is.

    A thing that lies on a corner of a mark moves that corner far, so that no view of a
    square looks like it; the whole marks then serve alone. Squares that lie in different
    planes pass, each being whole: that they disagree is told by `Plane.disagreement`.
    """
    alone = [
        plane_of_squares([q], sides_mm=[1.0], camera=camera, view=view).residual_px
        for q in squares
    ]
    kept = [i for i, q in enumerate(squares) if alone[i] <= COVERED_SHARE * q.side_px]
    return kept or list(range(len(squares)))


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
