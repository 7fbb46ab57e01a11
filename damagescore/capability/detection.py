"""What size of damage is found: probability of detection from a study with known truth.

A site is a place where damage of known size is, or is known not to be. The curve is fitted to
found or missed (hit/miss) here, to the strength of a signal in `signal_response`. The terms
and the plan follow MIL-HDBK-1823A (2009) and ASTM E2862 and E3023.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, stats
from scipy.special import logit
from statsmodels.genmod.families import Binomial
from statsmodels.genmod.generalized_linear_model import GLM

from damagescore.capability.curve import Axis, Curve, curve_from
from damagescore.capability.record import Answer, Estimate, NoEstimate
from damagescore.errors import StudyError

Origin = Literal["prepared", "rendered", "field"]

ASKED_HIT_MISS = 60
"""Sites with damage that MIL-HDBK-1823A asks for in a hit/miss study."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """One place of a detection study.

    Parameters
    ----------
    size_mm : float or None
        True size of the damage; None where it is known that there is none.
    found : bool
        Whether it was called damage.
    signal : float or None
        Strength of the answer (a length, a chance), for a signal response study.
    origin : "prepared", "rendered" or "field"
        Made for the study, rendered with exact truth, or found in service.
    """

    size_mm: float | None
    found: bool
    signal: float | None = None
    origin: Origin = "prepared"


def checked(sites: Sequence[Site]) -> tuple[Site, ...]:
    """Refuse sites that cannot be part of a detection study.

    Raises
    ------
    StudyError
        For finds from service: what was missed there is not known, so the chance of
        finding would come out too high.
    """
    field = sum(site.origin == "field" for site in sites)
    if field:
        raise StudyError(
            f"{field} of {len(sites)} sites are finds from service.",
            remedy="Use prepared or rendered sites: of damage in service nobody knows what "
            "was missed, so it cannot tell the chance of finding.",
        )
    wrong = [s.size_mm for s in sites if s.size_mm is not None and not s.size_mm > 0]
    if wrong:
        raise StudyError(
            f"{len(wrong)} sites have a size such as {wrong[0]:g} mm.",
            remedy="Give a size above 0, or none for a site without damage.",
        )
    return tuple(sites)


def false_calls(sites: Sequence[Site]) -> Answer:
    """Share of the sites without damage that were called damage, in 0 to 1.

    Notes
    -----
    Exact binomial interval (Clopper & Pearson, Biometrika 26 (1934) 404-413).
    """
    blank = [s for s in checked(sites) if s.size_mm is None]
    method = "false calls, exact binomial interval"
    if not blank:
        return NoEstimate(reason="no site without damage is in the study", method=method)
    called = sum(s.found for s in blank)
    interval = stats.binomtest(called, len(blank)).proportion_ci(method="exact")
    return Estimate(
        value=called / len(blank), low=float(interval.low), high=float(interval.high),
        n=len(blank), method=method,
    )  # fmt: skip


def hit_miss(sites: Sequence[Site], *, axis: Axis = "log") -> Curve | NoEstimate:
    """Fit the chance of finding against size to found and missed sites.

    Parameters
    ----------
    sites : sequence of Site
        Sites without damage do not enter the curve.
    axis : "log" or "plain"
        Whether the chance goes with the logarithm of the size or with the size itself.

    Returns
    -------
    Curve or NoEstimate
        No estimate where the data do not determine a rising curve.

    Raises
    ------
    StudyError
        For finds from service, or a size of 0 or less.

    Notes
    -----
    Logistic regression by maximum likelihood; bounds by the likelihood ratio, as
    MIL-HDBK-1823A appendix G does.
    """
    damaged = [s for s in checked(sites) if s.size_mm is not None]
    method = f"hit/miss, logistic on {'log size' if axis == 'log' else 'size'}"
    sizes = np.array([s.size_mm for s in damaged], np.float64)
    found = np.array([s.found for s in damaged], bool)
    reason = _undetermined(sizes, found)
    if reason:
        return NoEstimate(reason=reason, method=method)
    x = np.log(sizes) if axis == "log" else sizes
    intercept, slope = _fit(x, found)
    if slope <= 0:
        return NoEstimate(reason="larger damage was not found more often", method=method)

    def best_through(at: float, chance: float) -> float:
        """Return the largest log likelihood of a curve that has this chance at this place."""
        level = float(logit(chance))
        result = optimize.minimize_scalar(
            lambda log_slope: -_log_likelihood(level + np.exp(log_slope) * (x - at), found),
            bounds=(np.log(slope) - 6, np.log(slope) + 6), method="bounded",
        )  # fmt: skip
        return -float(result.fun)

    best = _log_likelihood(intercept + slope * x, found)

    def place_of(chance: float) -> float:
        return float((logit(chance) - intercept) / slope)

    return curve_from(
        place_of,
        lambda at, chance: 2 * (best - best_through(at, chance)),
        axis=axis, sizes=sizes, found=found, asked=ASKED_HIT_MISS, method=method,
    )  # fmt: skip


def _undetermined(sizes: NDArray[np.float64], found: NDArray[np.bool_]) -> str:
    if len(sizes) < 10:
        return f"{len(sizes)} sites with damage are too few for a curve"
    if found.all() or not found.any():
        return f"all {len(sizes)} sites were {'found' if found.all() else 'missed'}"
    if sizes[~found].max() < sizes[found].min():
        return (
            f"all above {sizes[found].min():.3g} mm were found and all below missed: add sites "
            f"near {sizes[~found].max():.3g} mm until both happen"
        )
    return ""


def _log_likelihood(eta: NDArray[np.float64], found: NDArray[np.bool_]) -> float:
    return float(np.sum(np.where(found, eta, 0.0) - np.logaddexp(0.0, eta)))


def _fit(x: NDArray[np.float64], found: NDArray[np.bool_]) -> tuple[float, float]:
    """Intercept and slope of the logistic curve."""
    centre, spread = float(x.mean()), float(x.std())
    design = np.column_stack([np.ones_like(x), (x - centre) / spread])
    intercept, slope = GLM(found.astype(np.float64), design, family=Binomial()).fit().params
    return float(intercept - slope * centre / spread), float(slope / spread)
