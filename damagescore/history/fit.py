"""Growth curves fitted to measured points, weighted by their uncertainty."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares, minimize_scalar

from damagescore.history.curve import Curve
from damagescore.quantity import Measured

Array = NDArray[np.float64]
ModelName = Literal["straight", "exponential", "power"]

MODELS: tuple[ModelName, ...] = ("straight", "exponential", "power")

MODEL_WORDS: Mapping[ModelName, str] = {
    "straight": "a straight line",
    "exponential": "exponential growth",
    "power": "growth by a power law",
}

FIXED_POWER: Mapping[ModelName, float] = {"straight": 1.0, "exponential": 0.0}

FEWEST = 4
"""A line has two unknowns and the scatter is a third; one more point can contradict them."""

NOT_CONTRADICTED = 3.84
"""A curve whose deviance is within this of the best is not contradicted at 5 % (likelihood
ratio, chi-squared with one degree of freedom: both simpler curves lie within the power law)."""

NO_CLEAR_CHOICE = 2.0
"""AICc differences below this leave a model with substantial support (Burnham and Anderson
2002, section 2.6)."""

STEEPEST = 4.0
"""Powers are looked for from minus to plus this."""

SIGNIFICANCE = 0.05
"""Chance that growth is called shown where there is none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NoFit:
    """Why no curve can be fitted."""

    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """One fitted curve.

    Parameters
    ----------
    model : "straight", "exponential" or "power"
    curve : Curve
    covariance : tuple of tuple of float
        Of y_first, y_last and, where it was fitted, the power.
    scatter : float
        Standard deviation of the points about the curve beyond their own uncertainty.
    dof : int
        Points less parameters.
    deviance : float
        Minus twice the log likelihood at its greatest.
    aicc : float
        Akaike's criterion with its correction for few points; infinite where the points
        are too few for the correction. Lower is better.
    uses, values, u : tuple of float
        The points that were fitted.
    """

    model: ModelName
    curve: Curve
    covariance: tuple[tuple[float, ...], ...]
    scatter: float
    dof: int
    deviance: float
    aicc: float
    uses: tuple[float, ...]
    values: tuple[float, ...]
    u: tuple[float, ...]

    @property
    def residuals(self) -> tuple[float, ...]:
        """Value less curve at each point."""
        return tuple(
            float(r) for r in np.array(self.values) - self.curve.at(np.array(self.uses))
        )

    @property
    def span(self) -> float:
        """Hours or cycles from the first to the last point."""
        return self.uses[-1] - self.uses[0]

    @property
    def growth(self) -> tuple[float, float]:
        """Change over the span seen, by the curve, with its standard uncertainty."""
        c = np.array(self.covariance)
        u = math.sqrt(max(c[0, 0] + c[1, 1] - 2 * c[0, 1], 0.0))
        return self.curve.y_last - self.curve.y_first, u


def fit_growth(points: Iterable[tuple[float, Measured]]) -> tuple[Fit, ...] | NoFit:
    """Fit each growth curve that the points allow, the best first.

    Weighted least squares with weights 1/(u² + scatter²). The scatter beyond the
    measuring uncertainty is chosen so that the weighted sum of squares equals the
    degrees of freedom (Paule and Mandel 1982, J. Res. NBS 87, 377); without any stated
    uncertainty this is ordinary least squares. Curves are compared by AICc (Hurvich and
    Tsai 1989) at their greatest likelihood. Leading zeros, before anything was found,
    are left out: they say when growth began, not how fast it is.

    Parameters
    ----------
    points : iterable of (float, Measured)
        Hours or cycles, and the value there, in the order of use.

    Returns
    -------
    tuple of Fit, or NoFit
        NoFit with the reason where there are fewer than four points with damage, or all
        were taken at the same hours.
    """
    kept = _without_leading_zeros(tuple(points))
    if len(kept) < FEWEST:
        return NoFit(
            reason=f"{len(kept)} inspection{' shows' if len(kept) == 1 else 's show'} this "
            f"damage; at least {FEWEST} are needed to tell how it grows."
        )
    uses = np.array([use for use, _ in kept])
    if uses.max() <= uses.min():
        return NoFit(reason="All values were taken at the same hours or cycles.")
    y = np.array([m.value for _, m in kept])
    # Points that lie exactly on a curve still need a weight.
    u = np.maximum([m.u for _, m in kept], 1e-9 * float(np.abs(y).max()))
    fits = [_fit(model, uses, y, u) for model in MODELS if _allowed(model, y)]
    return tuple(sorted((f for f in fits if f is not None), key=_rank))


def _without_leading_zeros(
    points: tuple[tuple[float, Measured], ...],
) -> tuple[tuple[float, Measured], ...]:
    first = next((i for i, (_, m) in enumerate(points) if m.value != 0), len(points))
    return tuple(sorted(points[first:], key=lambda p: p[0]))


def _allowed(model: ModelName, y: Array) -> bool:
    if model == "straight":
        return True
    # Three unknowns want two points more, as two unknowns do.
    enough = len(y) >= (FEWEST + 1 if model == "power" else FEWEST)
    return enough and bool(np.all(y > 0))


def _rank(fit: Fit) -> tuple[float, float]:
    """By AICc; with four points both curves have two parameters, and likelihood decides."""
    return fit.aicc, fit.deviance


def _fit(model: ModelName, uses: Array, y: Array, u: Array) -> Fit | None:
    """Fit one curve twice: by greatest likelihood to compare, then with fair scatter."""
    start = _start(model, y)
    likely, variance = _settle(model, uses, y, u, start, fair=False)
    best, scatter2 = _settle(model, uses, y, u, likely, fair=True)
    weight = 1 / np.sqrt(u**2 + scatter2)
    jacobian = _jacobian(model, best, uses) * weight[:, None]
    information = jacobian.T @ jacobian
    if not np.all(np.isfinite(information)) or np.linalg.cond(information) > 1e15:
        return None
    covariance = np.linalg.inv(information)
    n, p = len(y), len(best)
    k = p + 1  # the scatter is estimated too
    residuals = y - _curve(model, likely, uses).at(uses)
    spread = _deviance(residuals, u, variance)
    aicc = spread + 2 * k + 2 * k * (k + 1) / (n - k - 1) if n > k + 1 else math.inf
    return Fit(
        model=model, curve=_curve(model, best, uses),
        covariance=tuple(tuple(float(x) for x in row) for row in covariance),
        scatter=math.sqrt(scatter2), dof=n - p, deviance=spread, aicc=float(aicc),
        uses=tuple(uses.tolist()), values=tuple(y.tolist()), u=tuple(u.tolist()),
    )  # fmt: skip


def _start(model: ModelName, y: Array) -> Array:
    ends = [float(y[0]), float(y[-1])]
    return np.array([*ends, 0.01] if model == "power" else ends)


def _curve(model: ModelName, at: Array, uses: Array) -> Curve:
    power = FIXED_POWER[model] if model in FIXED_POWER else float(at[2])
    return Curve(
        first=float(uses[0]), last=float(uses[-1]), y_first=float(at[0]),
        y_last=float(at[1]), power=power,
    )  # fmt: skip


def _deviance(residuals: Array, u: Array, scatter2: float) -> float:
    """Minus twice the log likelihood of normal residuals."""
    variance = u**2 + scatter2
    return float(np.sum(np.log(2 * np.pi * variance) + residuals**2 / variance))


def _settle(
    model: ModelName, uses: Array, y: Array, u: Array, start: Array, *, fair: bool
) -> tuple[Array, float]:
    """Alternate between the curve at a scatter and the scatter at a curve."""
    at, scatter2 = start, 0.0
    for _ in range(30):
        at = _least_squares(model, uses, y, u**2 + scatter2, at)
        residuals = y - _curve(model, at, uses).at(uses)
        new = _fair(residuals, u, len(at)) if fair else _likely(residuals, u)
        done = abs(new - scatter2) <= 1e-6 * (new + float(np.mean(u**2)))
        scatter2 = new
        if done:
            break
    return at, scatter2


def _least_squares(
    model: ModelName, uses: Array, y: Array, variance: Array, start: Array
) -> Array:
    weight = 1 / np.sqrt(variance)
    if model == "straight":
        design = _jacobian(model, start, uses) * weight[:, None]
        return np.asarray(np.linalg.lstsq(design, y * weight, rcond=None)[0])

    def misfit(at: Array) -> Array:
        curve = _curve(model, _from_logs(at), uses)
        return np.asarray((y - curve.at(uses)) * weight)

    # In logarithms of the ends nothing has to be kept above 0.
    found = least_squares(misfit, _to_logs(start), method="lm", xtol=1e-10, ftol=1e-10)
    return _from_logs(np.asarray(found.x))


def _to_logs(at: Array) -> Array:
    return np.concatenate([np.log(at[:2]), at[2:]])


def _from_logs(at: Array) -> Array:
    ends = np.exp(np.clip(at[:2], -300, 300))
    return np.concatenate([ends, np.clip(at[2:], -STEEPEST, STEEPEST)])


def _jacobian(model: ModelName, at: Array, uses: Array) -> Array:
    """Derivative of the curve at each time by each parameter, by central differences."""
    columns = []
    for i, value in enumerate(at):
        step = 1e-5 * max(abs(float(value)), 1e-2)
        up, down = at.copy(), at.copy()
        up[i] += step
        down[i] -= step
        high, low = _curve(model, up, uses).at(uses), _curve(model, down, uses).at(uses)
        columns.append((high - low) / (2 * step))
    return np.column_stack(columns)


def _fair(residuals: Array, u: Array, p: int) -> float:
    """Scatter² at which the weighted sum of squares is n - p (Paule and Mandel 1982)."""
    dof = len(residuals) - p
    most = float(np.sum(residuals**2)) / dof

    def beyond(scatter2: float) -> float:
        return float(np.sum(residuals**2 / (u**2 + scatter2))) - dof

    if beyond(0.0) <= 0:
        return 0.0
    low, high = 0.0, most
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if beyond(middle) > 0 else (low, middle)
    return high


def _likely(residuals: Array, u: Array) -> float:
    """Scatter² of the greatest likelihood."""
    most = float(np.mean(residuals**2))
    found = minimize_scalar(
        lambda s: _deviance(residuals, u, s), bounds=(0.0, 2 * most + 1e-300),
        method="bounded", options={"xatol": 1e-7 * most + 1e-300},
    )  # fmt: skip
    return 0.0 if _deviance(residuals, u, 0.0) <= float(found.fun) else float(found.x)
