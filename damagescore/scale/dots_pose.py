"""The plane of two like discs: round on the plane, at a known distance."""

import math

import numpy as np
from scipy.optimize import least_squares

from damagescore.scale.plane import (
    TILT_PRIOR,
    FittedPose,
    Pose,
    focal_prior,
    length_spread,
)
from damagescore.scale.record import Points, SurfaceMap

SMALLEST_NOISE_PX = 0.03


def pose_of_dots(
    outlines_px: tuple[Points, Points],
    *,
    distance_mm: float,
    size_px: tuple[int, int],
    focal_px: float | None = None,
    view: str = "face",
) -> FittedPose:
    """Fit the plane on which both outlines are circles of one radius.

    The centres of the ellipses in the photo are not the discs' centres when the card is
    tilted; fitting circles on the plane has no such bias.

    Parameters
    ----------
    outlines_px : two ndarrays, shape (N, 2)
        Sub-pixel points around each disc.
    distance_mm : float
        Between the discs' centres.
    size_px : tuple of int
        Width and height of the photo.
    focal_px : float or None
        From EXIF.
    view : "face" or "profile"
    """
    centres = np.array([o.mean(axis=0) for o in outlines_px])
    apart = float(np.hypot(*(centres[1] - centres[0])))
    scale = distance_mm / apart
    usual, u_focal = focal_prior(focal_px, size_px)
    middle = (np.array(size_px) - 1) / 2

    def pose_of(x: Points) -> Pose:
        return Pose(
            mm_per_px=scale * math.exp(x[0]), tilt_x=x[1], tilt_y=x[2],
            focal_px=usual * math.exp(x[3]), size_px=size_px,
        )  # fmt: skip

    def misfit_px(x: Points) -> Points:
        surface = SurfaceMap(px_to_mm=pose_of(x).px_to_mm)
        first = x[4:6] * scale
        second = first + distance_mm * np.array([math.cos(x[6]), math.sin(x[6])])
        rows = [
            np.hypot(*(surface.to_mm(o) - c).T) / scale - x[7]
            for o, c in zip(outlines_px, (first, second), strict=True)
        ]
        return np.concatenate(rows)

    def residuals(x: Points, noise_px: float) -> Points:
        priors = [x[1] / TILT_PRIOR[view], x[2] / TILT_PRIOR[view], x[3] / u_focal]
        return np.concatenate([misfit_px(x) / noise_px, priors])

    turn = math.atan2(*(centres[1] - centres[0])[::-1])
    radius = float(np.mean(np.hypot(*(outlines_px[0] - centres[0]).T)))
    rest = [0.0, *(centres[0] - middle), turn, radius]
    # Two tilts of opposite sign look alike without perspective: start from each side.
    tilts = ((0.02, 0.02), (0.15, 0.0), (-0.15, 0.0), (0.0, 0.15), (0.0, -0.15))
    noise, starts = 0.1, [np.array([0.0, *t, *rest]) for t in tilts]
    for _ in range(2):  # the noise is read from the fit itself
        tries = [least_squares(residuals, s, args=(noise,), method="lm") for s in starts]
        fit = min(tries, key=lambda r: float(r.cost))
        noise = max(SMALLEST_NOISE_PX, float(np.sqrt(np.mean(misfit_px(fit.x) ** 2))))
    covariance = np.linalg.inv(fit.jac.T @ fit.jac)
    return FittedPose(
        pose=pose_of(fit.x),
        u_relative=length_spread(fit.x, covariance, pose_of),
        u_log_focal=float(np.sqrt(covariance[3, 3])),
        residual_px=noise,
    )
