"""Probability of detection against published fits and reference libraries.

Sources
-------
Beetles killed by carbon disulphide: Bliss, Annals of Applied Biology 22 (1935) 134-167; the
logistic fit (-60.72, 34.27) as printed in Dobson, An Introduction to Generalized Linear Models
(2nd ed., 2002), table 7.4; data and fit from memory, the fit recomputed. Calibration of a
load cell, Natrella (1963), NIST/SEMATECH e-Handbook of Statistical Methods, with ordinary
least squares of statsmodels as the reference. Clopper & Pearson 1934: closed form.
"""

import numpy as np
import pytest
from scipy.stats import chi2, norm
from statsmodels.regression.linear_model import OLS

from damagescore.capability.curve import Curve
from damagescore.capability.detection import Site, false_calls, hit_miss
from damagescore.capability.record import Estimate
from damagescore.capability.signal_response import Gates, signal_response

DOSES = (1.6907, 1.7242, 1.7552, 1.7842, 1.8113, 1.8369, 1.8610, 1.8839)
TREATED = (59, 60, 62, 56, 63, 59, 62, 60)
KILLED = (6, 13, 18, 28, 52, 53, 61, 60)

LOAD = [30, 100, 200, 300, 400, 500, 600, 700, 800, 900, 1000, 1100, 1200, 1300, 1400, 1500]
READING = [
    4642,
    4612,
    4565,
    4513,
    4476,
    4433,
    4389,
    4347,
    4303,
    4251,
    4201,
    4140,
    4100,
    4073,
    4024,
    3999,
]


def _beetles() -> list[Site]:
    return [
        Site(size_mm=dose, found=k < killed)
        for dose, treated, killed in zip(DOSES, TREATED, KILLED, strict=True)
        for k in range(treated)
    ]


def test_logistic_curve_of_the_beetles() -> None:
    curve = hit_miss(_beetles(), axis="plain")
    assert isinstance(curve, Curve)
    # (logit 0.9 + 60.72) / 34.27, from the printed coefficients.
    assert curve.a90_mm == pytest.approx(1.8359, abs=2e-4)  # the coefficients have four digits
    slope = np.log(0.98 / 0.02) * 2 / (curve.sizes_mm[-1] - curve.sizes_mm[0])
    assert slope == pytest.approx(34.27, abs=0.005)  # half of the last printed digit


def test_bound_of_the_beetles_has_the_deviance_of_95_percent() -> None:
    curve = hit_miss(_beetles(), axis="plain")
    assert isinstance(curve, Curve)
    assert isinstance(curve.a90_95_mm, Estimate)
    bound = curve.a90_95_mm.value
    dose = np.array([s.size_mm for s in _beetles()])
    dead = np.array([s.found for s in _beetles()])

    def log_likelihood(level: float, slope: float) -> float:
        eta = level + slope * dose
        return float(np.sum(np.where(dead, eta, 0) - np.logaddexp(0, eta)))

    slopes = np.linspace(15, 60, 9001)
    through = max(log_likelihood(np.log(9) - s * bound, s) for s in slopes)
    best = log_likelihood(-60.717, 34.270)
    # A grid search instead of the optimiser; 2.706 is the 90 % quantile of chi squared.
    assert 2 * (best - through) == pytest.approx(chi2.ppf(0.9, 1), abs=0.01)  # five-digit fit


def test_signal_response_without_censoring_is_least_squares() -> None:
    signal = [(5000 - y) / 100 for y in READING]
    sites = [Site(size_mm=x, found=True, signal=s) for x, s in zip(LOAD, signal, strict=True)]
    curve = signal_response(sites, gates=Gates(decision=6.0), axis="plain")
    assert isinstance(curve, Curve)
    fit = OLS(signal, np.column_stack([np.ones(len(LOAD)), LOAD])).fit()
    level, slope = fit.params
    spread = np.sqrt(fit.ssr / len(LOAD))  # maximum likelihood divides by n
    expected = (6.0 - level + norm.ppf(0.9) * spread) / slope
    assert curve.a90_mm == pytest.approx(expected, rel=1e-4)  # optimiser


def test_false_calls_have_the_exact_interval() -> None:
    # None of n: the upper end is 1 - 0.025^(1/n), in closed form.
    clean = [Site(size_mm=None, found=False)] * 30
    answer = false_calls(clean)
    assert isinstance(answer, Estimate)
    assert (answer.value, answer.low) == (0.0, 0.0)
    assert answer.high == pytest.approx(1 - 0.025 ** (1 / 30), abs=1e-12)  # closed form
