"""A fitted curve of the chance of finding against size, with its confidence bound."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, stats

from damagescore.capability.record import Answer, Estimate, NoEstimate

Axis = Literal["log", "plain"]

CHANCES = np.linspace(0.02, 0.98, 17)

ONE_SIDED_95 = float(stats.chi2.ppf(0.90, 1))
"""Deviance at which one end of a likelihood ratio interval has 95 % confidence."""

REACH = 10.0
"""A bound is sought up to this many spans of the studied sizes beyond the estimate."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """Probability of detection against size, fitted.

    Parameters
    ----------
    sizes_mm, chance : ndarray, shape (N,)
        The fitted curve, from 2 to 98 %.
    bound_mm : ndarray, shape (N,)
        Sizes at which the same chance is reached with 95 % confidence; NaN where the
        data give no bound.
    a90_mm : float
        Size found with 90 % probability, best estimate.
    a90_95_mm : Answer
        The same with 95 % confidence: what a process may claim.
    n, found : int
        Sites with damage, and those of them that were found.
    remarks : tuple of str
        What weakens the study, in words.
    method : str
    """

    sizes_mm: NDArray[np.float64]
    chance: NDArray[np.float64]
    bound_mm: NDArray[np.float64]
    a90_mm: float
    a90_95_mm: Answer
    n: int
    found: int
    remarks: tuple[str, ...]
    method: str

    def to_dict(self) -> dict[str, Any]:
        return {
            "a90_mm": self.a90_mm, "a90_95_mm": self.a90_95_mm.to_dict(), "n": self.n,
            "found": self.found, "remarks": list(self.remarks), "method": self.method,
        }  # fmt: skip


def curve_from(
    place_of: Callable[[float], float],
    deviance: Callable[[float, float], float],
    *,
    axis: Axis,
    sizes: NDArray[np.float64],
    found: NDArray[np.bool_],
    asked: int,
    method: str,
) -> Curve:
    """Turn a fit into a curve with the bound of its likelihood ratio.

    Parameters
    ----------
    place_of : callable
        Place on the fitted axis at which a chance is reached.
    deviance : callable
        Twice the loss of log likelihood when the curve must have a chance (second
        argument) at a place (first argument).
    axis : "log" or "plain"
        Whether places are logarithms of sizes.
    sizes : ndarray, shape (N,)
        Studied sizes, mm.
    found : ndarray of bool, shape (N,)
    asked : int
        Sites with damage that the handbook asks for.
    method : str
    """
    size_of = np.exp if axis == "log" else np.asarray
    places = np.log(sizes) if axis == "log" else sizes
    span = float(np.ptp(places))
    bounds = [_bound(place_of(c), c, deviance, span) for c in CHANCES]
    at90, bound90 = place_of(0.9), _bound(place_of(0.9), 0.9, deviance, span)
    a90 = float(size_of(at90))
    return Curve(
        sizes_mm=size_of(np.array([place_of(c) for c in CHANCES])),
        chance=CHANCES,
        bound_mm=size_of(np.array(bounds)),
        a90_mm=a90,
        a90_95_mm=_claim(a90, float(size_of(bound90)), len(sizes), method),
        n=len(sizes),
        found=int(found.sum()),
        remarks=_remarks(sizes, a90, asked),
        method=method,
    )


def _bound(
    place: float, chance: float, deviance: Callable[[float, float], float], span: float
) -> float:
    """Place beyond the estimate where the deviance reaches that of 95 %; NaN if nowhere."""
    step = span / 50
    far = place + step
    while deviance(far, chance) < ONE_SIDED_95:
        step *= 2
        far = place + step
        if step > REACH * span:
            return float("nan")
    return float(
        optimize.brentq(
            lambda at: deviance(at, chance) - ONE_SIDED_95, place, far, xtol=1e-6 * span
        )
    )


def _claim(a90: float, bound: float, n: int, method: str) -> Answer:
    if not np.isfinite(bound):
        reason = "the sites do not bound the size found with 90 % probability"
        return NoEstimate(reason=reason, method=method)
    return Estimate(
        value=bound, low=a90, high=bound, n=n, confidence=0.95,
        method=f"{method}, likelihood ratio, one-sided",
    )  # fmt: skip


def _remarks(sizes: NDArray[np.float64], a90: float, asked: int) -> tuple[str, ...]:
    remarks = []
    if len(sizes) < asked:
        remarks.append(f"{len(sizes)} sites with damage; MIL-HDBK-1823A asks for {asked}")
    if a90 > sizes.max():
        remarks.append(
            f"the size found with 90 % probability, {a90:.3g} mm, lies beyond the largest "
            f"site, {sizes.max():.3g} mm"
        )
    return tuple(remarks)
