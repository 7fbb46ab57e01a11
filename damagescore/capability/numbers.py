"""How well repeated numbers agree: intraclass correlation and the limits of agreement."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from damagescore.capability.record import Answer, Estimate, NoEstimate
from damagescore.errors import StudyError

Values = NDArray[np.float64]
Form = Literal["one-way", "agreement", "consistency"]

FORMS: Mapping[Form, str] = {
    "one-way": "ICC(1,{k}): each subject measured by other people",
    "agreement": "ICC(2,{k}): the same people measure all, their offsets count",
    "consistency": "ICC(3,{k}): the same people measure all, their offsets do not count",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Squares:
    """Mean squares of a complete table of n subjects and k graders."""

    n: int
    k: int
    between: float
    within: float
    graders: float
    error: float


def _squares(values: Values) -> _Squares:
    n, k = values.shape
    rows, columns, grand = values.mean(axis=1), values.mean(axis=0), values.mean()
    between = k * float(np.sum((rows - grand) ** 2))
    graders = n * float(np.sum((columns - grand) ** 2))
    whole = float(np.sum((values - grand) ** 2))
    return _Squares(
        n=n, k=k, between=between / (n - 1), within=(whole - between) / (n * (k - 1)),
        graders=graders / (k - 1), error=(whole - between - graders) / ((n - 1) * (k - 1)),
    )  # fmt: skip


def intraclass(values: Values, *, form: Form, averaged: bool = False) -> Answer:
    """Intraclass correlation of numbers, with its 95 % interval.

    Parameters
    ----------
    values : ndarray, shape (S, G)
        One number of each grader for each subject; subjects with a gap are left out.
    form : "one-way", "agreement" or "consistency"
        See `FORMS`.
    averaged : bool
        For the mean of the graders instead of one of them.

    Notes
    -----
    Shrout & Fleiss, Psychological Bulletin 86 (1979) 420-428; intervals from the same
    paper, that of "agreement" by Satterthwaite's approximation.
    """
    whole = values[np.isfinite(values).all(axis=1)]
    method = FORMS[form].format(k=values.shape[1] if averaged else 1)
    if len(whole) < 3 or values.shape[1] < 2:
        reason = f"{len(whole)} complete subjects of {values.shape[1]} graders; 3 of 2 needed"
        return NoEstimate(reason=reason, method=method)
    squares = _squares(whole)
    if squares.between <= 0:
        return NoEstimate(reason="all subjects have the same mean", method=method)
    if squares.error <= 0:
        reason = "the numbers leave no scatter to compare the subjects with"
        return NoEstimate(reason=reason, method=method)
    single = _single(squares, form)
    low, high = _single_interval(squares, form, single)
    stretch = squares.k if averaged else 1
    ends = [_averaged(x, stretch) for x in (single, low, high)]
    return Estimate(value=ends[0], low=ends[1], high=ends[2], n=squares.n, method=method)


def _averaged(single: float, k: int) -> float:
    """Reliability of the mean of k (Spearman 1910, Brown 1910)."""
    return k * single / (1 + (k - 1) * single)


def _single(m: _Squares, form: Form) -> float:
    if form == "one-way":
        return (m.between - m.within) / (m.between + (m.k - 1) * m.within)
    spread = m.between + (m.k - 1) * m.error
    if form == "agreement":
        spread += m.k * (m.graders - m.error) / m.n
    return (m.between - m.error) / spread


def _single_interval(m: _Squares, form: Form, single: float) -> tuple[float, float]:
    if form == "agreement":
        return _agreement_interval(m, single)
    noise = m.within if form == "one-way" else m.error
    df = m.n * (m.k - 1) if form == "one-way" else (m.n - 1) * (m.k - 1)
    ratio = m.between / noise
    low = ratio / stats.f.ppf(0.975, m.n - 1, df)
    high = ratio * stats.f.ppf(0.975, df, m.n - 1)
    return (low - 1) / (low + m.k - 1), (high - 1) / (high + m.k - 1)


def _agreement_interval(m: _Squares, single: float) -> tuple[float, float]:
    offsets = m.graders / m.error
    other = m.n * (1 + (m.k - 1) * single) - m.k * single
    top = (m.k - 1) * (m.n - 1) * (m.k * single * offsets + other) ** 2
    df = top / ((m.n - 1) * m.k**2 * single**2 * offsets**2 + other**2)
    f_low = stats.f.ppf(0.975, m.n - 1, df)
    f_high = stats.f.ppf(0.975, df, m.n - 1)
    rest = m.k * m.graders + (m.k * m.n - m.k - m.n) * m.error
    low = m.n * (m.between - f_low * m.error) / (f_low * rest + m.n * m.between)
    high = m.n * (f_high * m.between - m.error) / (rest + m.n * f_high * m.between)
    return float(low), float(high)


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """Two ways of measuring the same subjects, compared.

    Parameters
    ----------
    bias, lower, upper : Estimate
        Mean difference and the limits of agreement, each with its interval, in the unit
        of the values.
    trend : float
        Rank correlation of the difference with the size: away from 0 the limits do not
        hold over the whole range.
    trend_p : float
        Chance of so large a correlation where there is none.
    means, differences : ndarray, shape (S,)
        What a chart shows.
    """

    bias: Estimate
    lower: Estimate
    upper: Estimate
    trend: float
    trend_p: float
    means: Values
    differences: Values


def bland_altman(first: Values, second: Values) -> Difference:
    """Bias and 95 % limits of agreement of two ways of measuring, first minus second.

    Parameters
    ----------
    first, second : ndarray, shape (S,)
        Subjects that one of the two lacks are left out.

    Raises
    ------
    StudyError
        For fewer than 5 pairs.

    Notes
    -----
    Bland & Altman, Lancet 327 (1986) 307-310: limits at 1.96 standard deviations, standard
    error of a limit sqrt(3 s^2 / n).
    """
    both = np.isfinite(first) & np.isfinite(second)
    n = int(both.sum())
    if n < 5:
        raise StudyError(
            f"Only {n} subjects were measured both ways.",
            remedy="Measure at least 5, better 30, both ways.",
        )
    a, b = first[both], second[both]
    differences = a - b
    s, t = float(np.std(differences, ddof=1)), float(stats.t.ppf(0.975, n - 1))
    bias = float(np.mean(differences))
    trend, trend_p = _trend((a + b) / 2, differences)

    def around(value: float, error: float, method: str) -> Estimate:
        return Estimate(
            value=value, low=value - t * error, high=value + t * error, n=n, method=method
        )

    limit_error = float(np.sqrt(3 * s**2 / n))
    return Difference(
        bias=around(bias, s / np.sqrt(n), "mean difference"),
        lower=around(bias - 1.96 * s, limit_error, "lower limit of agreement"),
        upper=around(bias + 1.96 * s, limit_error, "upper limit of agreement"),
        trend=trend, trend_p=trend_p, means=(a + b) / 2, differences=differences,
    )  # fmt: skip


def _trend(means: Values, differences: Values) -> tuple[float, float]:
    if np.ptp(means) == 0 or np.ptp(differences) == 0:
        return 0.0, 1.0
    result = stats.spearmanr(means, differences)
    return float(result.statistic), float(result.pvalue)


def repeatability(first: Values, second: Values) -> float:
    """Coefficient of repeatability of a way used twice on each subject, unit of the values.

    Two readings of one subject differ by less in 95 % of cases: 2 sqrt(mean d^2), the mean
    difference being 0 by the plan (Bland & Altman 1986).
    """
    both = np.isfinite(first) & np.isfinite(second)
    if not both.any():
        raise StudyError("No subject was measured twice.", remedy="Measure some twice.")
    return float(2 * np.sqrt(np.mean((first[both] - second[both]) ** 2)))
