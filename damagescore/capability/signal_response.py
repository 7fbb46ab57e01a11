"""Chance of finding from the strength of the answer: signal response (a-hat against a)."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize
from scipy.special import log_ndtr
from scipy.stats import norm

from damagescore.capability.curve import Axis, Curve, curve_from
from damagescore.capability.detection import Site, checked
from damagescore.capability.record import NoEstimate
from damagescore.errors import StudyError

ASKED = 40
"""Sites with damage that MIL-HDBK-1823A asks for in a signal response study."""


LOG_ROOT_TWO_PI = 0.5 * float(np.log(2 * np.pi))


@dataclass(frozen=True, slots=True, kw_only=True)
class Gates:
    """Between which signals an answer can be read, in the unit of the signal.

    Parameters
    ----------
    decision : float
        Signals from here on are called damage.
    noise : float
        Signals below are lost in noise: it is only known that they are smaller.
    saturation : float
        Signals above are only known to be larger.
    """

    decision: float
    noise: float = 0.0
    saturation: float = np.inf


@dataclass(frozen=True, slots=True, kw_only=True)
class _Answers:
    """Places, signals on the fitted axis, and which of them are bounds only."""

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    below: NDArray[np.bool_]
    above: NDArray[np.bool_]

    def log_likelihood(self, level: float, slope: float, spread: float) -> float:
        z = (self.y - level - slope * self.x) / spread
        seen = z[~self.below & ~self.above]
        return float(
            -0.5 * seen @ seen - len(seen) * (np.log(spread) + LOG_ROOT_TWO_PI)
            + log_ndtr(z[self.below]).sum() + log_ndtr(-z[self.above]).sum()
        )  # fmt: skip


def signal_response(
    sites: Sequence[Site], *, gates: Gates, axis: Axis = "log"
) -> Curve | NoEstimate:
    """Fit the chance of finding to signals that grow with size.

    Parameters
    ----------
    sites : sequence of Site
        Those with damage need a `signal`.
    gates : Gates
    axis : "log" or "plain"
        Fit logarithms of size and signal, or both as they are.

    Returns
    -------
    Curve or NoEstimate

    Raises
    ------
    StudyError
        For finds from service, a site without signal, or gates out of order.

    Notes
    -----
    Censored linear regression with normal errors by maximum likelihood; the chance of
    finding is that of a signal above the decision gate; bounds by the likelihood ratio
    (MIL-HDBK-1823A, appendix G).
    """
    damaged = [s for s in checked(sites) if s.size_mm is not None]
    method = f"signal response, {'logarithms of' if axis == 'log' else 'plain'} size and signal"
    answers, decision = _answers(damaged, gates, axis)
    seen = int((~answers.below & ~answers.above).sum())
    if len(damaged) < 10 or seen < 5:
        reason = f"{len(damaged)} sites with damage, {seen} with a readable signal, are too few"
        return NoEstimate(reason=reason, method=method)
    level, slope, spread, best = _fit(answers)
    if slope <= 0:
        return NoEstimate(reason="larger damage did not give stronger signals", method=method)

    def place_of(chance: float) -> float:
        return float((decision - level + norm.ppf(chance) * spread) / slope)

    def deviance(at: float, chance: float) -> float:
        return 2 * (best - _best_through(answers, at, decision, chance, (slope, spread)))

    sizes = np.array([s.size_mm for s in damaged], np.float64)
    found = answers.y >= decision
    return curve_from(
        place_of, deviance, axis=axis, sizes=sizes, found=found, asked=ASKED, method=method
    )


def _answers(damaged: Sequence[Site], gates: Gates, axis: Axis) -> tuple[_Answers, float]:
    if not gates.noise <= gates.decision <= gates.saturation or gates.decision <= 0:
        raise StudyError(
            f"Noise {gates.noise:g}, decision {gates.decision:g} and saturation "
            f"{gates.saturation:g} are not in rising order.",
            remedy="Give a decision above 0 that lies between noise and saturation.",
        )
    silent = sum(s.signal is None for s in damaged)
    if silent:
        raise StudyError(
            f"{silent} of {len(damaged)} sites with damage have no signal.",
            remedy="Give their signals, 0 where nothing was seen, or use the hit/miss way.",
        )
    sizes = np.array([s.size_mm for s in damaged], np.float64)
    signals = np.array([s.signal for s in damaged], np.float64)
    # On the log axis a signal of 0 is only known to be below the smallest readable one.
    floor = max(gates.noise, _smallest(signals)) if axis == "log" else gates.noise
    below, above = (signals < floor) | (signals <= gates.noise), signals >= gates.saturation
    read = np.clip(signals, floor, gates.saturation)
    if axis == "log":
        return _Answers(x=np.log(sizes), y=np.log(read), below=below, above=above), float(
            np.log(gates.decision)
        )
    return _Answers(x=sizes, y=read, below=below, above=above), gates.decision


def _smallest(signals: NDArray[np.float64]) -> float:
    positive = signals[signals > 0]
    return float(positive.min()) if len(positive) else 1.0


def _fit(answers: _Answers) -> tuple[float, float, float, float]:
    """Level, slope, scatter and the log likelihood of the best line."""
    slope, level = np.polyfit(answers.x, answers.y, 1)
    spread = max(float(np.std(answers.y - level - slope * answers.x)), 1e-6)
    result = optimize.minimize(
        lambda p: -answers.log_likelihood(p[0], p[1], float(np.exp(p[2]))),
        x0=[level, slope, np.log(spread)],
        method="Nelder-Mead",
        options={"xatol": 1e-7, "fatol": 1e-9, "maxiter": 4000, "maxfev": 4000},
    )
    level, slope, log_spread = result.x
    return float(level), float(slope), float(np.exp(log_spread)), -float(result.fun)


def _best_through(
    answers: _Answers, at: float, decision: float, chance: float, start: tuple[float, float]
) -> float:
    """Return the largest log likelihood of a line with this chance of finding at this place."""
    z = float(norm.ppf(chance))

    def loss(p: NDArray[np.float64]) -> float:
        slope, spread = float(np.exp(p[0])), float(np.exp(p[1]))
        level = decision + z * spread - slope * at
        return -answers.log_likelihood(level, slope, spread)

    result = optimize.minimize(loss, x0=np.log(start), method="L-BFGS-B")
    return -float(result.fun)
