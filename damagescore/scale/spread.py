"""How uncertain a fitted plane is, told apart by what it comes from."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from damagescore.quantity import Contribution
from damagescore.scale.camera import Camera
from damagescore.scale.pose import Pose
from damagescore.scale.surface import Points, SurfaceMap

DRAWS = 60

FOCAL = 3
TILTS = (1, 2)
"""Places in a pose's parameters: logarithm of the scale, two tilts, logarithm of the focal
length; what follows belongs to the mark alone."""


FOCAL_NODES = (-3.0, -2.0, -1.0, 1.0, 2.0, 3.0, 4.0)
"""Focal lengths, in standard uncertainties from the fitted one, at which the plane is
fitted again: tilt and focal length go together along a bent ridge, which neither a first
derivative nor draws from a normal distribution follow."""

Residuals = Callable[[Points], Points]


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Standard uncertainty of a fitted plane.

    The first four are relative uncertainties of a length on the plane over the middle of
    the photo: `noise` is left when tilt and focal length are held, `tilt` comes on top when
    the tilt is free, `focal` when the focal length is free as well; `bend` is what a lens
    that bends by one standard uncertainty more does to marks and lengths together.
    """

    noise: float
    tilt: float
    focal: float
    bend: float
    u_tilt_deg: float
    u_log_focal: float

    def lines(self, noise_name: str) -> list[Contribution]:
        """Budget lines of a length."""
        return [
            Contribution(source=noise_name, u=self.noise),
            Contribution(source="tilt", u=self.tilt),
            Contribution(source="focal length", u=self.focal),
            Contribution(source="distortion of the lens", u=self.bend),
        ]


def spread_of(
    x: Points,
    *,
    residuals: Residuals,
    pose_of: Callable[[Points], Pose],
    camera: Camera,
    bend_change: NDArray[np.float64],
) -> Spread:
    """The uncertainty of a least-squares pose.

    With the focal length held, lengths are drawn, not linearised: near a square view a tilt
    acts by its square, which a first derivative does not see (JCGM 101:2008 asks for draws
    in such a case). The focal length is summed over (see `FOCAL_NODES`).

    Parameters
    ----------
    x : ndarray, shape (P,)
        Fitted parameters.
    residuals : callable
        Weighted residuals, shape (R,), of parameters; those of the priors come last.
    pose_of : callable
        From parameters to a pose.
    camera : Camera
    bend_change : ndarray, shape (M,)
        Change of the first M weighted residuals when the lens bends the marks by one
        standard uncertainty more.
    """
    slopes = _slopes(residuals, x)
    covariance = np.asarray(np.linalg.inv(slopes.T @ slopes), np.float64)
    starts, ends = _short_lines(camera)
    base = pose_of(x)
    length = _logs(base, starts, ends)
    drawn = [pose_of(d) for d in _draws(x, covariance)]
    noise = math.sqrt(float(_given(covariance, (*TILTS, FOCAL))[0, 0]))
    with_tilt = _root([_logs(p, starts, ends) - length for p in drawn])
    moved = pose_of(x - covariance @ (slopes[: len(bend_change)].T @ bend_change))
    bent = _logs(moved, camera.bent(starts), camera.bent(ends)) - length
    nodes, weights = _over_focal(x, residuals, math.sqrt(float(covariance[FOCAL, FOCAL])))
    others = [pose_of(n) for n in nodes]
    by_focal = [p.tilt_deg - base.tilt_deg for p in others]
    return Spread(
        noise=noise,
        tilt=math.sqrt(max(0.0, with_tilt**2 - noise**2)),
        focal=_root([_logs(p, starts, ends) - length for p in others], weights),
        bend=_root([bent]),
        u_tilt_deg=math.hypot(
            _root([p.tilt_deg - base.tilt_deg for p in drawn]),
            _root(by_focal, weights),
            moved.tilt_deg - base.tilt_deg,
        ),
        u_log_focal=_root([n[FOCAL] - x[FOCAL] for n in nodes], weights),
    )


def _slopes(residuals: Residuals, x: Points) -> NDArray[np.float64]:
    """Derivatives of the residuals by central differences, shape (R, P)."""
    columns = []
    for i in range(len(x)):
        step = np.zeros(len(x))
        step[i] = 1e-5 * max(1.0, abs(float(x[i])))
        columns.append((residuals(x + step) - residuals(x - step)) / (2 * step[i]))
    return np.column_stack(columns)


def _over_focal(x: Points, residuals: Residuals, u_log_focal: float) -> tuple[Points, Points]:
    """Parameters fitted at other focal lengths, and how likely each is; sums to 1.

    The likelihood of each is that of the fit times the volume of what fits as well there
    (Laplace's approximation).
    """
    steps = [x[FOCAL] + step * u_log_focal for step in (0.0, *FOCAL_NODES)]
    fits = [_fitted_at(x, residuals, focal) for focal in steps]
    logs = np.array([log for _, log in fits])
    likely = np.exp(logs - logs.max())
    return np.array([node for node, _ in fits]), likely / likely.sum()


def _fitted_at(x: Points, residuals: Residuals, focal: float) -> tuple[Points, float]:
    """Parameters fitted with the focal length held, and the log of their likelihood."""
    free = [i for i in range(len(x)) if i != FOCAL]

    def held(rest: Points) -> Points:
        return residuals(np.insert(rest, FOCAL, focal))

    fit = least_squares(held, x[free], method="lm", xtol=1e-6, ftol=1e-6)
    _, log_volume = np.linalg.slogdet(fit.jac.T @ fit.jac)
    return np.insert(fit.x, FOCAL, focal), -float(fit.cost) - float(log_volume) / 2


def _root(changes: Sequence[Points | float], weights: Points | None = None) -> float:
    """Root of the weighted mean square."""
    squares = [float(np.mean(np.square(c))) for c in changes]
    return math.sqrt(float(np.average(squares, weights=weights)))


def bend_of_lengths(camera: Camera, mark_px: Points) -> float:
    """Relative change of lengths in the photo's middle when two points give the scale."""
    starts, ends = _short_lines(camera)
    plain = np.log(np.hypot(*(ends - starts).T))
    bent = np.log(np.hypot(*(camera.bent(ends) - camera.bent(starts)).T))
    apart = [float(np.hypot(*(p[1] - p[0]))) for p in (mark_px, camera.bent(mark_px))]
    return math.sqrt(float(np.mean((bent - plain - math.log(apart[1] / apart[0])) ** 2)))


def _short_lines(camera: Camera) -> tuple[Points, Points]:
    """Ends of short lines over places and directions of the photo's middle."""
    grid = [(0.5 + u, 0.5 + v) for u in (-0.25, 0.0, 0.25) for v in (-0.2, 0.1)]
    places = np.array(grid) * camera.size_px
    turns = np.radians([0.0, 45.0, 90.0, 135.0])
    steps = 4.0 * np.column_stack([np.cos(turns), np.sin(turns)])
    return np.vstack([places - s for s in steps]), np.vstack([places + s for s in steps])


def _logs(pose: Pose, starts: Points, ends: Points) -> Points:
    surface = SurfaceMap(px_to_mm=pose.px_to_mm)
    return np.asarray(np.log(np.hypot(*(surface.to_mm(ends) - surface.to_mm(starts)).T)))


def _given(covariance: NDArray[np.float64], held: tuple[int, ...]) -> NDArray[np.float64]:
    """Covariance of the other parameters when some are known exactly (Gaussian)."""
    free = [i for i in range(len(covariance)) if i not in held]
    return np.asarray(np.linalg.inv(np.linalg.inv(covariance)[np.ix_(free, free)]))


def _draws(x: Points, covariance: NDArray[np.float64]) -> Points:
    """Parameters drawn with the focal length held, shape (DRAWS, P)."""
    free = [i for i in range(len(x)) if i != FOCAL]
    root = np.linalg.cholesky(_given(covariance, (FOCAL,)))
    draws = np.tile(x, (DRAWS, 1))
    draws[:, free] += np.random.default_rng(1).standard_normal((DRAWS, len(free))) @ root.T
    return draws
