"""When a growing damage reaches its limit, how surely, and how likely by a given time."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr, stdtrit

from damagescore.history.curve import Curve, bent, slope, unbent
from damagescore.history.fit import (
    FEWEST,
    MODEL_WORDS,
    NO_CLEAR_CHOICE,
    NOT_CONTRADICTED,
    SIGNIFICANCE,
    Fit,
    NoFit,
    fit_growth,
)
from damagescore.history.record import Series

Array = NDArray[np.float64]

COVERAGE = 0.95
REACH = 1.0
"""A forecast goes as far ahead as the history goes back, and no farther."""

STEPS = 600


@dataclass(frozen=True, slots=True, kw_only=True)
class NoForecast:
    """Hours to the limit cannot be predicted; never a number, always a reason."""

    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """Hours or cycles at which the limit is reached.

    Parameters
    ----------
    at : float or None
        By the curve; None where that lies beyond the horizon.
    earliest : float
        Lower end of the 95 % interval; the last use seen where the limit may be reached
        already.
    latest : float or None
        Upper end; None where it lies beyond the horizon.
    now : float
        Last use seen.
    horizon : float
        Farthest use that is spoken of.
    """

    at: float | None
    earliest: float | None
    latest: float | None
    now: float
    horizon: float

    @property
    def left(self) -> float | None:
        """Hours or cycles left by the curve."""
        return None if self.at is None else max(self.at - self.now, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Prediction:
    """What the history of one quantity says about its limit.

    Parameters
    ----------
    series : Series
    fit : Fit or None
        The curve used.
    fits : tuple of Fit
        All curves that could be fitted, the best first.
    supported : tuple of Fit
        Those that the points do not contradict; the interval and every chance are the most
        cautious of them.
    choice : str
        How the curve was chosen, in words.
    forecast : Forecast or NoForecast
    notes : tuple of str
    """

    series: Series
    fit: Fit | None
    fits: tuple[Fit, ...]
    supported: tuple[Fit, ...]
    choice: str
    forecast: Forecast | NoForecast
    notes: tuple[str, ...] = ()

    def chance_by(self, use: float) -> float | None:
        """Chance that the true value is beyond the limit at some use; None: not told."""
        if isinstance(self.forecast, NoForecast) or use > self.forecast.horizon:
            return None
        return float(self.chances([use])[0])

    def chances(self, uses: Sequence[float], *, cautious: bool = True) -> Array:
        """Chance of being beyond the limit at each use: the greatest of all supported curves.

        Not `cautious` gives the smallest. There must be a limit.
        """
        limit, upper = self.series.limit, self.series.direction == "max"
        assert limit is not None
        each = [chance_beyond(f, limit, uses, upper=upper) for f in self.supported]
        return np.asarray(np.max(each, axis=0) if cautious else np.min(each, axis=0))


def predict(series: Series, *, reach: float = REACH) -> Prediction:
    """Predict when a quantity reaches its limit.

    The interval holds the time at which the *true* value passes the limit with 95 %
    chance, by inverting the prediction band of the curve (for a straight line without
    stated uncertainty, Natrella 1963, NBS Handbook 91, section 5-4.1). The curve is
    chosen by AICc; of several that fit about as well the one that reaches the limit
    first. The interval covers those of all curves that the points do not contradict, as
    the choice itself is uncertain. Known bias: it is too wide where the curve chosen is
    the right one, and with four points it cannot allow for growth faster than
    exponential.

    Parameters
    ----------
    series : Series
    reach : float
        How far ahead of the last point is spoken of, as a multiple of the span seen.
    """
    fits = fit_growth(series.measured)
    if isinstance(fits, NoFit):
        return _untold(series, fits.reason)
    if not fits:
        return _untold(series, "No curve can be fitted to these points.")
    fit, choice = _chosen(fits, series)
    least = min(f.deviance for f in fits)
    supported = tuple(f for f in fits if f is fit or f.deviance - least <= NOT_CONTRADICTED)
    draft = Prediction(
        series=series, fit=fit, fits=fits, supported=supported, choice=choice,
        forecast=NoForecast(reason=""), notes=_notes(series, fit),
    )  # fmt: skip
    return replace(draft, forecast=_forecast(draft, fit, reach=reach))


def chance_beyond(fit: Fit, limit: float, uses: Sequence[float], *, upper: bool) -> Array:
    """Chance that the true value is beyond a limit at each use, Student's distribution.

    On the scale on which the curve is straight (`curve.bent`), with the uncertainty of
    all parameters carried along by first order (GUM 5.1.2) and the scatter about the
    curve, which counts as real.
    """
    at = np.asarray(uses, np.float64)
    power = fit.curve.power
    if power != 1 and limit <= 0:
        return np.zeros(len(at)) if not upper else np.ones(len(at))
    middle, u = _band(fit, at)
    target = float(bent(np.array([limit]), power)[0])
    distance = (middle - target) if upper else (target - middle)
    return np.asarray(stdtr(fit.dof, distance / u))


def band(fit: Fit, uses: Sequence[float], *, coverage: float = COVERAGE) -> tuple[Array, Array]:
    """Lower and upper prediction band of the true value at each use."""
    middle, u = _band(fit, np.asarray(uses, np.float64))
    half = stdtrit(fit.dof, (1 + coverage) / 2) * u
    power = fit.curve.power
    return unbent(middle - half, power), unbent(middle + half, power)


def _band(fit: Fit, at: Array) -> tuple[Array, Array]:
    """Middle and standard uncertainty of the curve on its straight scale."""
    curve = fit.curve
    ends = bent(np.array([curve.y_first, curve.y_last]), curve.power)
    share = (at - curve.first) / (curve.last - curve.first)
    middle = ends[0] + (ends[1] - ends[0]) * share
    gradient = _gradient(fit, share)
    variance = np.einsum("ni,ij,nj->n", gradient, np.array(fit.covariance), gradient)
    # The scatter is that of the values seen; past them it would be stretched without end.
    seen = np.clip(curve.at(at), min(fit.values), max(fit.values)) if curve.power != 1 else at
    scatter = fit.scatter * slope(np.maximum(seen, 1e-300), curve.power)
    return middle, np.sqrt(np.maximum(variance, 0.0) + scatter**2)


def _gradient(fit: Fit, share: Array) -> Array:
    curve = fit.curve
    lean = slope(np.array([curve.y_first, curve.y_last]), curve.power)
    columns = [(1 - share) * lean[0], share * lean[1]]
    if len(fit.covariance) == 3:
        columns.append(_by_power(curve, share))
    return np.column_stack(columns)


def _by_power(curve: Curve, share: Array) -> Array:
    """Derivative by the power of the curve, on the straight scale of the power fitted.

    In closed form, for z = y^p at the ends: the curve's own logarithm changes by
    d(ln y)/dp = (dz/dp)/(p z) - ln(z)/p², and the straight scale by y^p times that.
    """
    step = 1e-4
    down, up = (_line(curve, share, curve.power + d) for d in (-step, step))
    middle = _line(curve, share, curve.power)
    grown = np.exp(np.clip(curve.power * middle, -60, 60))
    return np.asarray(grown * (up - down) / (2 * step))


def _line(curve: Curve, share: Array, power: float) -> Array:
    """Logarithm of a curve with the same ends and another power."""
    ends = bent(np.array([curve.y_first, curve.y_last]), power)
    z = ends[0] + (ends[1] - ends[0]) * share
    if abs(power) < 1e-6:
        return np.asarray(z)
    return np.asarray(np.log(np.maximum(1 + power * z, 1e-6)) / power)


def _chosen(fits: tuple[Fit, ...], series: Series) -> tuple[Fit, str]:
    """Take the best curve, or of those nearly as good the first at the limit."""
    best = fits[0]
    near = [f for f in fits if f.aicc - best.aicc < NO_CLEAR_CHOICE or f is best]
    words = MODEL_WORDS[best.model]
    if not math.isfinite(best.aicc):
        return best, (
            f"{words.capitalize()} lies nearest to the points; with so few of them no "
            "criterion can tell whether another curve would be better."
        )
    if len(near) == 1 or series.limit is None:
        return best, f"{words.capitalize()} describes the points best (lowest AICc)."
    first = min(near, key=lambda f: _when(f, series))
    return first, (
        f"{' and '.join(MODEL_WORDS[f.model] for f in near).capitalize()} describe the points "
        f"about equally well (AICc within {NO_CLEAR_CHOICE:g}); {MODEL_WORDS[first.model]} is "
        "used, which reaches the limit first."
    )


def _when(fit: Fit, series: Series) -> float:
    assert series.limit is not None
    when = fit.curve.when(series.limit)
    return math.inf if when is None or when < fit.uses[0] else when


def _forecast(draft: Prediction, fit: Fit, *, reach: float) -> Forecast | NoForecast:
    series = draft.series
    if series.limit is None:
        return NoForecast(reason="There is no limit for this quantity.")
    upper = series.direction == "max"
    change, u = fit.growth
    towards = change if upper else -change
    now = fit.uses[-1]
    already = _is_beyond(fit.values[-1], series.limit, upper=upper)
    if not already and towards < stdtrit(fit.dof, 1 - SIGNIFICANCE) * u:
        return NoForecast(reason=_no_growth(series, towards, u, fit))
    horizon = now + reach * fit.span
    uses = np.linspace(now, horizon, STEPS)
    most, least = draft.chances(uses.tolist()), draft.chances(uses.tolist(), cautious=False)
    tail = (1 - COVERAGE) / 2
    when = fit.curve.when(series.limit)
    return Forecast(
        at=when if when is not None and when <= horizon else None,
        earliest=_first(uses, most, tail), latest=_first(uses, least, 1 - tail),
        now=now, horizon=horizon,
    )  # fmt: skip


def _is_beyond(value: float, limit: float, *, upper: bool) -> bool:
    return value > limit if upper else value < limit


def _no_growth(series: Series, towards: float, u: float, fit: Fit) -> str:
    unit = "" if series.unit == "1" else f" {series.unit.replace('mm2', 'mm²')}"
    spread = stdtrit(fit.dof, 1 - SIGNIFICANCE) * u
    return (
        f"No growth is shown: {towards:.3g}{unit} over {fit.span:.0f} {series.use_unit} is not "
        f"more than the {spread:.2g}{unit} that chance alone may give (5 % one-sided)."
    )


def _first(uses: Array, chance: Array, level: float) -> float | None:
    """First use at which the chance reaches a level, between the steps by a line."""
    reached = np.flatnonzero(chance >= level)
    if not len(reached):
        return None
    i = int(reached[0])
    if i == 0:
        return float(uses[0])
    share = (level - chance[i - 1]) / (chance[i] - chance[i - 1])
    return float(uses[i - 1] + share * (uses[i] - uses[i - 1]))


def _untold(series: Series, reason: str) -> Prediction:
    return Prediction(
        series=series, fit=None, fits=(), supported=(), choice="",
        forecast=NoForecast(reason=reason),
    )  # fmt: skip


def _turned_back(series: Series) -> tuple[float, float] | None:
    """Where a value moved away from its limit by more than three standard uncertainties."""
    sign = 1.0 if series.direction == "max" else -1.0
    for (start, old), (end, new) in pairwise(series.measured):
        # Three, as one of many steps goes back by two now and then.
        if sign * (old.value - new.value) > 3 * math.hypot(old.u, new.u):
            return start, end
    return None


def _notes(series: Series, fit: Fit) -> tuple[str, ...]:
    notes = []
    left_out = len(series.measured) - len(fit.uses)
    if left_out:
        notes.append(
            f"{left_out} inspection{'s' if left_out > 1 else ''} before the damage was first "
            "found are not fitted."
        )
    if len(fit.uses) == FEWEST:
        notes.append("Four points cannot show growth that is faster than exponential.")
    turned = _turned_back(series)
    if turned is not None:
        notes.append(
            f"The value went back between {turned[0]:.0f} and {turned[1]:.0f} "
            f"{series.use_unit} by more than its uncertainty: a repair, another part or a "
            "finding that was missed. Check that before the forecast is used."
        )
    if any(not p.reviewed for p in series.points):
        notes.append("Some findings behind these points are proposals that nobody reviewed.")
    return tuple(notes)
