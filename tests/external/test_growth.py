"""Growth curves and prediction intervals against published worked examples.

Sources, seen 2026-11-25: Natrella, *Experimental Statistics*, NBS Handbook 91 (1963),
section 5-4.1 (its numbers as the public repository sandialabs/suncal tests them); Alloy A
fatigue cracks of Hudak et al. 1978 as Meeker and Escobar 1998 table C.14 has them (public
repository Auburngrads/SMRD).
"""

import math

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from damagescore.endurance.crossing import interpolated
from damagescore.history.fit import NoFit, fit_growth
from damagescore.history.predict import band, chance_beyond
from damagescore.history.record import Point, Series
from damagescore.quantity import Measured

TEMPERATURE = np.array(
    [30, 100, 200, 300, 400, 500, 600, 700, 800, 900, 1000, 1100, 1200, 1300, 1400, 1500.0]
)
MODULUS = np.array(
    [
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
        3999.0,
    ]
)

ALLOY_A = """
1  .90 .95 1.00 1.05 1.12 1.19 1.27 1.35 1.48 1.64
2  .90 .94 .98 1.03 1.08 1.14 1.21 1.28 1.37 1.47 1.60
3  .90 .94 .98 1.03 1.08 1.13 1.19 1.26 1.35 1.46 1.58 1.77
4  .90 .94 .98 1.03 1.07 1.12 1.19 1.25 1.34 1.43 1.55 1.73
5  .90 .94 .98 1.03 1.07 1.12 1.19 1.24 1.34 1.43 1.55 1.71
6  .90 .94 .98 1.03 1.07 1.12 1.18 1.23 1.33 1.41 1.51 1.68
7  .90 .94 .98 1.02 1.07 1.11 1.17 1.23 1.32 1.41 1.52 1.66
8  .90 .93 .97 1.00 1.06 1.11 1.17 1.23 1.30 1.39 1.49 1.62
9  .90 .92 .97 1.01 1.05 1.09 1.15 1.21 1.28 1.36 1.44 1.55 1.72
10 .90 .92 .96 1.00 1.04 1.08 1.13 1.19 1.26 1.34 1.42 1.52 1.67
11 .90 .93 .96 1.00 1.04 1.08 1.13 1.18 1.24 1.31 1.39 1.49 1.65
12 .90 .93 .97 1.00 1.03 1.07 1.10 1.16 1.22 1.29 1.37 1.48 1.64
13 .90 .92 .97 .99 1.03 1.06 1.10 1.14 1.20 1.26 1.31 1.40 1.52
14 .90 .93 .96 1.00 1.03 1.07 1.12 1.16 1.20 1.26 1.30 1.37 1.45
21 .90 .92 .94 .97 .99 1.02 1.04 1.07 1.11 1.14 1.18 1.22 1.27
"""
"""Crack lengths, inches, every 10 000 cycles."""

CROSSED_KCYCLES = {
    1: 87.5, 2: 100.0, 3: 101.053, 4: 102.778, 5: 103.125, 6: 105.294, 7: 105.714, 8: 108.462,
    9: 112.941, 10: 115.333, 11: 116.875, 12: 117.5,
}  # fmt: skip
"""Thousands of cycles to 1.6 inches, by lines between the readings."""

PARIS_MCYCLES = {
    2: 0.10026,
    3: 0.10053,
    8: 0.10869,
    10: 0.11543,
    13: 0.12833,
    14: 0.14088,
    21: 0.17122,
}
"""Millions of cycles to 1.6 inches by the path of the law of Paris, least squares on ln a."""


def alloy(specimen: int) -> list[float]:
    rows = [line.split() for line in ALLOY_A.strip().splitlines()]
    return next([float(x) for x in row[1:]] for row in rows if int(row[0]) == specimen)


def measured(values: np.ndarray, u: float | np.ndarray = 0.0) -> list[Measured]:
    spread = np.broadcast_to(u, np.shape(values))
    return [
        Measured(value=float(v), u=float(s), unit="mm")
        for v, s in zip(values, spread, strict=True)
    ]


def fitted(uses, values, u=0.0):
    fits = fit_growth(zip(map(float, uses), measured(np.asarray(values), u), strict=True))
    assert not isinstance(fits, NoFit)
    return {f.model: f for f in fits}


def test_line_of_natrella() -> None:
    line = fitted(TEMPERATURE, MODULUS)["straight"]
    slope = line.growth[0] / line.span
    assert slope == pytest.approx(-0.44985482, rel=1e-7)  # printed to eight figures
    assert line.scatter == pytest.approx(9.277617, rel=1e-6)  # printed to seven figures
    assert (line.growth[1] / line.span) ** 2 == pytest.approx(2.5649e-5, rel=1e-4)  # printed so


def test_prediction_interval_of_natrella_at_750() -> None:
    low, high = band(fitted(TEMPERATURE, MODULUS)["straight"], [750.0])
    assert low[0] == pytest.approx(4297.08, abs=0.005)  # printed to 0.01
    assert high[0] == pytest.approx(4338.10, abs=0.005)  # printed to 0.01


def test_prediction_band_agrees_with_statsmodels() -> None:
    at = np.array([100.0, 750.0, 1900.0])
    low, high = band(fitted(TEMPERATURE, MODULUS)["straight"], at.tolist())
    model = sm.OLS(MODULUS, sm.add_constant(TEMPERATURE)).fit()
    table = model.get_prediction(sm.add_constant(at)).summary_frame(alpha=0.05)
    assert low == pytest.approx(table["obs_ci_lower"].to_numpy(), rel=1e-8)  # rounding only
    assert high == pytest.approx(table["obs_ci_upper"].to_numpy(), rel=1e-8)  # rounding only


def test_chance_is_that_of_students_distribution() -> None:
    line = fitted(TEMPERATURE, MODULUS)["straight"]
    model = sm.OLS(MODULUS, sm.add_constant(TEMPERATURE)).fit()
    row = model.get_prediction([[1.0, 1700.0]])
    z = (3900.0 - row.predicted_mean[0]) / row.se_obs[0]
    expected = stats.t.cdf(z, 14)
    found = chance_beyond(line, 3900.0, [1700.0], upper=False)[0]
    assert found == pytest.approx(expected, rel=1e-6)  # rounding only


def test_weighted_line_agrees_with_statsmodels_where_u_explains_all() -> None:
    generator = np.random.default_rng(4)
    uses = np.arange(8.0) * 100
    u = np.linspace(0.2, 0.6, 8)
    # Residuals of half their uncertainty leave no scatter to add.
    values = 3 + 0.01 * uses + 0.5 * u * generator.standard_normal(8)
    line = fitted(uses, values, u)["straight"]
    model = sm.WLS(values, sm.add_constant(uses), weights=u**-2).fit(cov_type="fixed scale")
    assert line.scatter == 0
    assert line.growth[0] / line.span == pytest.approx(model.params[1], rel=1e-9)  # rounding
    assert line.growth[1] / line.span == pytest.approx(model.bse[1], rel=1e-7)  # rounding


@pytest.mark.parametrize("specimen", CROSSED_KCYCLES)
def test_alloy_a_reaches_its_limit_between_readings(specimen: int) -> None:
    values = measured(np.array(alloy(specimen)))
    points = tuple(Point(use=10.0 * i, value=v) for i, v in enumerate(values))
    series = Series(id="a", label="Crack", unit="mm", points=points, limit=1.6, inclusive=True)
    assert interpolated(series) == pytest.approx(CROSSED_KCYCLES[specimen], abs=6e-4)  # to 1e-3


def test_alloy_a_specimens_below_the_limit_never_reach_it() -> None:
    points = tuple(
        Point(use=10.0 * i, value=v) for i, v in enumerate(measured(np.array(alloy(13))))
    )
    series = Series(id="a", label="Crack", unit="mm", points=points, limit=1.6)
    assert interpolated(series) is None


@pytest.mark.parametrize("specimen", PARIS_MCYCLES)
def test_power_law_reaches_the_limit_where_the_law_of_paris_does(specimen: int) -> None:
    lengths = np.array(alloy(specimen))
    fits = fitted(np.arange(len(lengths)) * 0.01, lengths, 0.004 * lengths)
    when = fits["power"].curve.when(1.6)
    # 1 %: fitted to a with u in proportion to a, where the source fits ln a
    assert when == pytest.approx(PARIS_MCYCLES[specimen], rel=0.01)
    assert min(fits.values(), key=lambda f: f.aicc).model == "power"


def test_aicc_agrees_with_statsmodels_for_a_line() -> None:
    """Hurvich and Tsai 1989; statsmodels counts the scatter as a parameter when asked."""
    line = fitted(TEMPERATURE, MODULUS)["straight"]
    model = sm.OLS(MODULUS, sm.add_constant(TEMPERATURE)).fit()
    n, k = len(MODULUS), 3
    expected = -2 * model.llf + 2 * k + 2 * k * (k + 1) / (n - k - 1)
    assert line.aicc == pytest.approx(expected, abs=1e-5)  # least squares to 1e-10
    assert math.isfinite(expected)
