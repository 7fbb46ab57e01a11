"""Weibull fits and ratios of lives against published data.

Sources, seen 2026-11-25: data of Meeker and Escobar, *Statistical Methods for Reliability
Data* (1998), as the public repository Auburngrads/SMRD has them; Nelson, *Applied Life Data
Analysis* (1982) p. 529 (snubbers); Freireich et al. 1963 as Gehan 1965 tabulates it. The
fits named beside each check were found to agree in lifelines 0.30 and reliability 0.9.
"""

import math

import pytest
from scipy import stats

from damagescore.endurance.life import LifeRatio, NoRatio, fit_weibull, life_ratio
from damagescore.endurance.record import Lifetime

BEARINGS = (
    17.88, 28.92, 33.00, 41.52, 42.12, 45.60, 48.40, 51.84, 51.96, 54.12, 55.56, 67.80, 68.64,
    68.64, 68.88, 84.12, 93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.40,
)  # fmt: skip

SHOCK_FAILED = (6700, 9120, 12200, 13150, 14300, 17520, 20100, 20900, 22700, 26510, 27490)
SHOCK_RUNNING = (
    6950, 7820, 8790, 9660, 9820, 11310, 11690, 11850, 11880, 12140, 12870, 13330, 13470, 14040,
    17540, 17890, 18450, 18960, 18980, 19410, 20100, 20150, 20320, 23490, 27410, 27890, 28100,
)  # fmt: skip


def exact(hours: float) -> Lifetime:
    return Lifetime(low=hours, high=hours)


def running(hours: float) -> Lifetime:
    return Lifetime(low=hours, high=None)


def test_ball_bearings_of_lieblein_and_zelen() -> None:
    """Lawless 1982: 81.88 and 2.102."""
    fit = fit_weibull([[exact(x) for x in BEARINGS]])
    assert fit.scales[0] == pytest.approx(81.8746, rel=1e-5)  # printed to six figures
    assert fit.shape == pytest.approx(2.10185, rel=1e-5)  # printed to six figures
    assert fit.log_likelihood == pytest.approx(-113.69196, abs=1e-4)  # printed to 1e-5


def test_shock_absorbers_censored_to_the_right() -> None:
    """Meeker and Escobar 1998, tables C.2 and 8.1: mu 10.23, sigma 0.3164, SE .1099, .0732."""
    lives = [exact(x) for x in SHOCK_FAILED] + [running(x) for x in SHOCK_RUNNING]
    fit = fit_weibull([lives])
    assert math.log(fit.scales[0]) == pytest.approx(10.22986, abs=2e-5)  # printed to 1e-5
    assert 1 / fit.shape == pytest.approx(0.316409, abs=5e-6)  # printed to 1e-6
    assert math.sqrt(fit.covariance[0][0]) == pytest.approx(0.10989, abs=5e-5)  # to 1e-5
    u_sigma = math.sqrt(fit.covariance[1][1]) / fit.shape
    assert u_sigma == pytest.approx(0.073165, abs=5e-5)  # printed to 1e-6


def test_nist_handbook_example() -> None:
    """NIST/SEMATECH e-Handbook, 8.4.1.2: 606.5280 and 1.7208 (both from memory)."""
    failed = (54, 187, 216, 240, 244, 335, 361, 373, 375, 386)
    fit = fit_weibull([[exact(x) for x in failed] + [running(500)] * 10])
    assert fit.scales[0] == pytest.approx(606.528, rel=1e-5)  # printed to seven figures
    assert fit.shape == pytest.approx(1.7208, abs=1e-4)  # printed to 1e-4


def test_narrow_intervals_tend_to_exact_lives() -> None:
    """The interval likelihood has the density's as its limit; the ball bearings again."""
    lives = [Lifetime(low=x - 0.01, high=x + 0.01) for x in BEARINGS]
    fit = fit_weibull([lives])
    assert fit.scales[0] == pytest.approx(81.8746, rel=1e-5)  # a width of 0.02 adds 1e-8
    assert fit.shape == pytest.approx(2.10185, rel=1e-5)  # as above


CROSSED = (87.5, 100.0, 101.053, 102.778, 103.125, 105.294, 105.714, 108.462, 112.941, 115.333,
           116.875, 117.5)  # fmt: skip
"""Thousands of cycles at which Alloy A specimens reached 1.6 inches; nine did not by 120."""


def test_alloy_a_censored_at_the_end_of_the_test() -> None:
    """Meeker and Escobar 1998, table C.14, by lines between the readings."""
    fit = fit_weibull([[exact(x) for x in CROSSED] + [running(120.0)] * 9])
    assert fit.scales[0] == pytest.approx(121.377, rel=1e-5)  # printed to six figures
    assert fit.shape == pytest.approx(10.1565, rel=1e-5)  # printed to six figures


def test_intervals_between_inspections_agree_with_scipy() -> None:
    """Alloy A known only to the 10 000 cycles of the readings, by scipy's censored fit."""
    low = [10.0 * math.floor(x / 10) for x in CROSSED]
    lives = [Lifetime(low=a, high=a + 10) for a in low] + [running(120.0)] * 9
    fit = fit_weibull([lives])
    data = stats.CensoredData(interval=[(a, a + 10) for a in low], right=[120.0] * 9)
    shape, _, scale = stats.weibull_min.fit(data, floc=0)
    # scipy's search stops at 1e-4 of its unknowns
    assert fit.scales[0] == pytest.approx(scale, rel=1e-3)
    assert fit.shape == pytest.approx(shape, rel=3e-3)


def test_remission_times_of_freireich_show_a_difference() -> None:
    """Accelerated life: log ratio 1.26733, SE .310638 (from memory as well as recomputed)."""
    drug = ((6, 1), (6, 1), (6, 1), (6, 0), (7, 1), (9, 0), (10, 1), (10, 0), (11, 0), (13, 1),
            (16, 1), (17, 0), (19, 0), (20, 0), (22, 1), (23, 1), (25, 0), (32, 0), (32, 0),
            (34, 0), (35, 0))  # fmt: skip
    placebo = (1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23)
    treated = [exact(t) if ended else running(t) for t, ended in drug]
    ratio = life_ratio([exact(t) for t in placebo], treated)
    assert isinstance(ratio, LifeRatio)
    assert ratio.value == pytest.approx(3.551, abs=1e-3)  # printed to 1e-3
    assert ratio.low == pytest.approx(1.932, abs=1e-3)  # printed to 1e-3
    assert ratio.high == pytest.approx(6.528, abs=2e-3)  # printed to 1e-3
    assert 1 / ratio.shape == pytest.approx(0.73219, abs=2e-5)  # printed to 1e-5
    assert ratio.difference_shown


def test_toaster_snubbers_show_no_difference() -> None:
    """Nelson 1982 p. 529: the new design's 1.18 times longer life is within chance."""
    ratio = life_ratio(_snubbers("Old"), _snubbers("New"))
    assert isinstance(ratio, LifeRatio)
    assert ratio.value == pytest.approx(1.17871, rel=1e-4)  # printed to six figures
    assert ratio.low == pytest.approx(0.81228, rel=2e-4)  # numerical second derivatives
    assert ratio.high == pytest.approx(1.71042, rel=2e-4)  # as above
    assert ratio.shape == pytest.approx(1.80896, rel=1e-4)  # printed to six figures
    assert ratio.p_shapes == pytest.approx(0.1818, abs=1e-3)  # printed to 1e-4
    assert not ratio.difference_shown
    assert not ratio.shapes_differ


def test_two_ends_of_life_in_each_group_are_needed() -> None:
    assert isinstance(life_ratio([exact(5), exact(7)], [exact(9), running(9)]), NoRatio)


SNUBBER = {
    "Old": ((90, 2, 1), (190, 0, 1), (218, 0, 2), (241, 0, 1), (268, 1, 0), (349, 0, 1),
            (378, 0, 2), (410, 2, 1), (485, 1, 0), (508, 1, 0), (600, 0, 4), (631, 3, 0),
            (635, 1, 0), (658, 1, 1), (731, 1, 0), (739, 1, 4), (790, 1, 11), (855, 1, 0),
            (980, 2, 5)),
    "New": ((45, 0, 1), (47, 1, 0), (73, 1, 0), (136, 0, 5), (145, 1, 0), (190, 0, 2),
            (281, 0, 1), (311, 1, 0), (417, 0, 1), (485, 0, 2), (490, 1, 0), (569, 0, 1),
            (571, 1, 1), (575, 1, 0), (608, 2, 12), (630, 1, 0), (670, 2, 0), (731, 0, 1),
            (838, 1, 0), (964, 2, 0), (1164, 0, 7), (1198, 1, 1), (1300, 0, 3)),
}  # fmt: skip
"""Cycles, how many failed and how many were taken off then."""


def _snubbers(design: str) -> list[Lifetime]:
    lives = []
    for cycles, failed, off in SNUBBER[design]:
        lives += [exact(cycles)] * failed + [running(cycles)] * off
    return lives
