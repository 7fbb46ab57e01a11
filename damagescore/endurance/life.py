"""Lives of two groups of parts: a common Weibull shape and the ratio of lives."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import chdtrc, ndtri

from damagescore.endurance.record import Lifetime
from damagescore.quantity import count_words

Array = NDArray[np.float64]

COVERAGE = 0.95
FEWEST_REACHED = 2
"""Fewer ends of life in a group tell nothing of the spread between its parts."""

SHAPES_DIFFER = 0.05
"""Chance below which one shape for both groups is doubted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WeibullFit:
    """Weibull distributions of several groups with one shape.

    Parameters
    ----------
    scales : tuple of float
        Characteristic life of each group: 63.2 % have ended by then.
    shape : float
    covariance : tuple of tuple of float
        Of the logarithms of the scales, then of log(1/shape).
    log_likelihood : float
        Densities for exact lives, chances for intervals and censored ones.
    """

    scales: tuple[float, ...]
    shape: float
    covariance: tuple[tuple[float, ...], ...]
    log_likelihood: float


@dataclass(frozen=True, slots=True, kw_only=True)
class NoRatio:
    """Why two groups cannot be compared as designs."""

    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LifeRatio:
    """How many times as long the second group lasts as the first.

    Parameters
    ----------
    value, low, high : float
        Ratio of characteristic lives (with one shape, of any lives) and its 95 % interval.
    shape : float
        Common Weibull shape.
    p_shapes : float
        Chance of shapes as unlike as these where they are the same.
    """

    value: float
    low: float
    high: float
    shape: float
    p_shapes: float

    @property
    def difference_shown(self) -> bool:
        return not self.low <= 1 <= self.high

    @property
    def shapes_differ(self) -> bool:
        return self.p_shapes < SHAPES_DIFFER


def fit_weibull(groups: Sequence[Sequence[Lifetime]]) -> WeibullFit:
    """Fit Weibull lives with one shape by greatest likelihood.

    log T = mu_g + sigma·E with E of the smallest extreme value distribution; censored and
    interval lives enter with their probabilities (Meeker and Escobar 1998, chapters 8 and
    17). The covariance is that of the observed information.

    Parameters
    ----------
    groups : sequence of sequences of Lifetime
        Each group needs one life that ended.
    """
    data = [_arrays(g) for g in groups]
    start = np.array([*(_typical(d) for d in data), 0.0])
    found = minimize(_loss, start, args=(data,), method="BFGS", options={"gtol": 1e-7})
    best = _polished(found.x, data)
    covariance = np.linalg.inv(_curvature(best, data))
    return WeibullFit(
        scales=tuple(np.exp(best[:-1]).tolist()), shape=float(np.exp(-best[-1])),
        covariance=tuple(tuple(row) for row in covariance.tolist()),
        log_likelihood=-float(_loss(best, data)),
    )  # fmt: skip


def life_ratio(first: Sequence[Lifetime], second: Sequence[Lifetime]) -> LifeRatio | NoRatio:
    """Ratio of lives, second over first, with its 95 % interval.

    Normal interval for the logarithm of the ratio (Nelson 1982, chapter 12). Known
    bias: a little narrow with few ends of life.

    Returns
    -------
    LifeRatio or NoRatio
        NoRatio where a group has fewer than two ends of life.
    """
    for name, group in (("first", first), ("second", second)):
        ended = sum(x.reached for x in group)
        if ended < FEWEST_REACHED:
            return NoRatio(
                reason=f"The {name} group has {count_words(ended, 'part')} that "
                f"reached it; at least {FEWEST_REACHED} in each group are needed to tell a "
                "difference of designs from one between parts."
            )
    both = fit_weibull([first, second])
    apart = [fit_weibull([g]).log_likelihood for g in (first, second)]
    c = np.array(both.covariance)
    u = math.sqrt(c[0, 0] + c[1, 1] - 2 * c[0, 1])
    log_ratio = math.log(both.scales[1] / both.scales[0])
    half = float(ndtri((1 + COVERAGE) / 2)) * u
    gain = max(2 * (math.fsum(apart) - both.log_likelihood), 0.0)
    return LifeRatio(
        value=math.exp(log_ratio), low=math.exp(log_ratio - half),
        high=math.exp(log_ratio + half), shape=both.shape, p_shapes=float(chdtrc(1, gain)),
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class _Lives:
    """Logarithms of the lives of one group, by how they are known; shape (N,) each."""

    exact: Array
    low: Array
    high: Array
    censored: Array


def _arrays(group: Sequence[Lifetime]) -> _Lives:
    # A part that failed at its very start has still lived for a moment.
    least = 1e-6 * max((x.high or x.low for x in group), default=1.0)
    between = [x for x in group if x.high is not None and not x.exact]

    def logs(values: Sequence[float]) -> Array:
        return np.asarray(np.log(np.maximum(np.array(values, np.float64), least)))

    return _Lives(
        exact=logs([x.low for x in group if x.exact]),
        low=logs([x.low for x in between]),
        high=logs([x.high or 0.0 for x in between]),
        censored=logs([x.low for x in group if x.high is None and x.low > 0]),
    )


def _typical(lives: _Lives) -> float:
    return float(np.mean(np.concatenate([lives.exact, lives.high, lives.censored])))


def _loss(at: Array, data: Sequence[_Lives]) -> float:
    sigma = math.exp(min(max(float(at[-1]), -12.0), 12.0))
    return -math.fsum(
        _log_likelihood(lives, float(mu), sigma)
        for mu, lives in zip(at[:-1], data, strict=True)
    )


def _log_likelihood(lives: _Lives, mu: float, sigma: float) -> float:
    z = np.minimum((lives.exact - mu) / sigma, 600.0)
    density = z - np.exp(z) - math.log(sigma) - lives.exact
    low = np.exp(np.minimum((lives.low - mu) / sigma, 600.0))
    high = np.exp(np.minimum((lives.high - mu) / sigma, 600.0))
    # log(exp(-low) - exp(-high)) without the loss of digits
    between = -low + np.log(-np.expm1(-np.maximum(high - low, 1e-300)))
    beyond = -np.exp(np.minimum((lives.censored - mu) / sigma, 600.0))
    return float(density.sum() + between.sum() + beyond.sum())


def _polished(at: Array, data: Sequence[_Lives]) -> Array:
    """A last search without derivatives: BFGS stops early where they are noisy."""
    found = minimize(
        _loss, at, args=(data,), method="Nelder-Mead",
        options={"xatol": 1e-9, "fatol": 1e-11, "maxiter": 4000,
                 "initial_simplex": np.vstack([at, at + 0.01 * np.eye(len(at))])},
    )  # fmt: skip
    return np.asarray(found.x)


def _curvature(at: Array, data: Sequence[_Lives]) -> Array:
    """Second derivatives of the loss by central differences."""
    n, step = len(at), 1e-4
    found = np.empty((n, n))
    unit = step * np.eye(n)
    for i in range(n):
        for j in range(n):
            corners = (
                _loss(at + unit[i] + unit[j], data) - _loss(at + unit[i] - unit[j], data)
                - _loss(at - unit[i] + unit[j], data) + _loss(at - unit[i] - unit[j], data)
            )  # fmt: skip
            found[i, j] = corners / (4 * step**2)
    return found
