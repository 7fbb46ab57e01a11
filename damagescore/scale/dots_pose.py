"""The plane of two like discs: round on the plane, at a known distance."""

import math
from functools import partial

import numpy as np
from scipy.optimize import least_squares

from damagescore.scale.camera import Camera
from damagescore.scale.plane import FittedPose
from damagescore.scale.pose import TILT_PRIOR, Pose
from damagescore.scale.spread import spread_of
from damagescore.scale.surface import Points, SurfaceMap

SMALLEST_NOISE_PX = 0.03


def pose_of_dots(
    outlines_px: tuple[Points, Points],
    *,
    distance_mm: float,
    camera: Camera,
    view: str = "face",
) -> FittedPose:
    """Fit the plane on which both outlines are circles of one radius.

    The centres of the ellipses in the photo are not the discs' centres when the card is
    tilted; fitting circles on the plane has no such bias.

    Parameters
    ----------
    outlines_px : two ndarrays, shape (N, 2)
        Sub-pixel points around each disc, as a lens without distortion gives them.
    distance_mm : float
        Between the discs' centres.
    camera : Camera
    view : "face" or "profile"
    """
    centres = np.array([o.mean(axis=0) for o in outlines_px])
    apart = float(np.hypot(*(centres[1] - centres[0])))
    scale = distance_mm / apart
    usual, u_focal = camera.focal_px, camera.u_log_focal
    middle = camera.middle_px

    def pose_of(x: Points) -> Pose:
        return Pose(
            mm_per_px=scale * math.exp(x[0]), tilt_x=x[1], tilt_y=x[2],
            focal_px=usual * math.exp(x[3]), size_px=camera.size_px,
        )  # fmt: skip

    def misfit_px(x: Points, at_px: tuple[Points, ...] = outlines_px) -> Points:
        surface = SurfaceMap(px_to_mm=pose_of(x).px_to_mm)
        first = x[4:6] * scale
        second = first + distance_mm * np.array([math.cos(x[6]), math.sin(x[6])])
        rows = [
            np.hypot(*(surface.to_mm(o) - c).T) / scale - x[7]
            for o, c in zip(at_px, (first, second), strict=True)
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
    bent = tuple(camera.bent(o) for o in outlines_px)
    change = misfit_px(fit.x, bent) - misfit_px(fit.x)
    spread = spread_of(
        fit.x,
        residuals=partial(residuals, noise_px=noise),
        pose_of=pose_of,
        camera=camera,
        bend_change=change / noise,
    )
    return FittedPose(pose=pose_of(fit.x), spread=spread, residual_px=noise)
