"""The plane of a rule: tilt from how its graduations crowd, converge and lean on its edge."""

import math
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from damagescore.scale.camera import Camera
from damagescore.scale.plane import FittedPose
from damagescore.scale.pose import TILT_PRIOR, Pose
from damagescore.scale.rule_ends import EndLine
from damagescore.scale.spread import spread_of
from damagescore.scale.surface import Points, SurfaceMap

SMALLEST_NOISE_PX = 0.02
SPREAD_POINTS = 200

U_SQUARE_DEG = 0.2
"""Standard uncertainty of the right angle between graduations and the line of their ends;
common practice, no source."""


def pose_of_rule(
    points_px: Points,
    along_mm: NDArray[np.float64],
    *,
    end_line: EndLine,
    camera: Camera,
    view: str = "face",
) -> FittedPose:
    """Fit the plane in which all points of one graduation share one place along the rule.

    Equally spaced parallel lines fix the plane's vanishing line; with the focal length
    that is the tilt, and with the tilt the scale across the rule. Where the focal length
    is not known, what is usual stands in and its spread goes into the uncertainty. A view
    from aside and from above at once shows the graduations out of square to the rule's
    edge, by about the product of both tilts; with the vanishing line that gives the focal
    length as well. A view from one side only does not.

    Parameters
    ----------
    points_px : ndarray, shape (N, 2)
        Points on the middle lines of the graduations, as a lens without distortion gives
        them.
    along_mm : ndarray, shape (N,)
        Place along the rule of the graduation that each point is on.
    end_line : EndLine
        The line on which the graduations end, as a lens without distortion gives it.
    camera : Camera
    view : "face" or "profile"
    """
    start = _first_guess(points_px, along_mm)
    usual, u_focal = camera.focal_px, camera.u_log_focal
    scale = float(np.hypot(*start[:2]))

    def pose_of(x: Points) -> Pose:
        return Pose(
            mm_per_px=scale * float(np.exp(x[0])), tilt_x=x[1], tilt_y=x[2],
            focal_px=usual * float(np.exp(x[3])), size_px=camera.size_px,
        )  # fmt: skip

    u_lean = math.hypot(math.radians(U_SQUARE_DEG), end_line.u_turn_rad)

    def lean(x: Points, at_px: Points = end_line.points_px) -> float:
        """How far that line is out of square to the graduations, over its u."""
        mm = SurfaceMap(px_to_mm=pose_of(x).px_to_mm).to_mm(at_px)
        step = mm[1] - mm[0]
        aside = step[1] * np.cos(x[4]) - step[0] * np.sin(x[4])
        return float(aside / np.hypot(*step)) / u_lean

    def misfit_px(x: Points, at_px: Points = points_px, every: int = 1) -> Points:
        mm = SurfaceMap(px_to_mm=pose_of(x).px_to_mm).to_mm(at_px[::every])
        found = mm @ np.array([np.cos(x[4]), np.sin(x[4])]) + x[5] * scale
        return np.asarray((found - along_mm[::every]) / scale)

    def residuals(x: Points, noise_px: float, every: int = 1) -> Points:
        # A vanishing line at one place stands for larger tilts through a longer lens: as
        # tilts spread over a range, it is the likelier the longer the lens is. Its density
        # grows with the focal length, which moves the middle of a log-normal by u squared.
        priors = [*(x[1:3] / TILT_PRIOR[view]), x[3] / u_focal - u_focal]
        return np.concatenate([misfit_px(x, every=every) / noise_px, [lean(x)], priors])

    middle = camera.middle_px
    offset = (start[:2] @ middle + start[2]) / scale
    first = np.array([0.0, 0.0, 0.0, 0.0, np.arctan2(start[1], start[0]), offset])
    noise = 0.1
    for _ in range(3):  # the noise is read from the fit itself
        fit = least_squares(residuals, first, args=(noise,), method="lm")
        noise = max(SMALLEST_NOISE_PX, float(np.sqrt(np.mean(misfit_px(fit.x) ** 2))))
        first = fit.x
    # a few hundred points, each weighing more, tell as much of how certain the pose is
    every = max(1, len(points_px) // SPREAD_POINTS)
    noise_each = noise / math.sqrt(every)
    bent = misfit_px(fit.x, camera.bent(points_px), every) - misfit_px(fit.x, every=every)
    leant = lean(fit.x, camera.bent(end_line.points_px)) - lean(fit.x)
    spread = spread_of(
        fit.x, residuals=partial(residuals, noise_px=noise_each, every=every),
        pose_of=pose_of, camera=camera, bend_change=np.append(bent / noise_each, leant),
    )  # fmt: skip
    return FittedPose(pose=pose_of(fit.x), spread=spread, residual_px=noise)


def _first_guess(points_px: Points, along_mm: NDArray[np.float64]) -> Points:
    """Millimetres along the rule as a linear function of x, y: (a, b, c)."""
    design = np.column_stack([points_px, np.ones(len(points_px))])
    return np.asarray(np.linalg.lstsq(design, along_mm, rcond=None)[0])
