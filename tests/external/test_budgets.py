"""Uncertainty budgets against published examples and the `uncertainties` package.

Sources
-------
GUM (JCGM 100:2008), example H.1 (end gauge) and 4.3.7; EA-4/02, supplements S4 (gauge
block) and S10 (vernier calliper). The figures of H.1 were seen in public transcriptions
on 2026-11-25; those of 4.3.7 and EA-4/02 are from memory and were recomputed. The general
reference for propagation is the package `uncertainties` (linear propagation with
correlations).
"""

import math

import pytest
from uncertainties import ufloat

from damagescore.quantity import (
    Contribution,
    Measured,
    from_budget,
    rectangular,
    total,
)


def _combined(*components: float) -> float:
    lines = [Contribution(source=str(i), u=u) for i, u in enumerate(components)]
    return from_budget(0.0, lines, unit="mm").u


def test_end_gauge() -> None:
    # GUM H.1: l = l_S + d - l_S (dalpha theta + alpha_S dtheta), nm.
    length = 50_000_623.0
    components = {
        "standard": 25.0,
        "repeatability": 5.8,
        "comparator, random": 3.9,
        "comparator, systematic": 6.7,
        "expansion coefficients": length * 0.1 * rectangular(1e-6),
        "temperature difference": length * 11.5e-6 * rectangular(0.05),
    }
    lines = [Contribution(source=s, u=u) for s, u in components.items()]
    result = from_budget(length + 215.0, lines, unit="mm")
    assert result.value == 50_000_838.0
    assert components["expansion coefficients"] == pytest.approx(2.8868, rel=1e-4)  # rounded
    assert components["temperature difference"] == pytest.approx(16.599, rel=1e-4)  # rounded
    assert result.u == pytest.approx(31.6639, abs=1e-4)  # recomputed to four places
    assert result.u == pytest.approx(32.0, abs=0.5)  # printed as 32
    difference = _combined(5.8, 3.9, 6.7)
    assert difference == pytest.approx(9.682, abs=5e-4)  # half of the last digit


def test_rectangular_half_width() -> None:
    # GUM 4.3.7: expansion of copper, ± 0.40e-6 per degree, u = 0.23e-6.
    assert rectangular(0.40e-6) == pytest.approx(0.2309e-6, abs=5e-11)  # half of the last digit
    assert rectangular(3.0) == pytest.approx(math.sqrt(3.0), rel=1e-15)  # one rounding


def test_vernier_calliper() -> None:
    # EA-4/02 S10, micrometres: block, temperature, resolution, mechanical effects.
    components = (rectangular(0.8), rectangular(2 * 1.15), rectangular(25), rectangular(50))
    assert components == pytest.approx((0.462, 1.328, 14.434, 28.868), abs=5e-4)  # last digit
    assert _combined(*components) == pytest.approx(32.31, abs=5e-3)  # last digit
    assert _combined(*components) == pytest.approx(33, abs=0.7)  # prints 33 from 15 and 29


def test_gauge_block() -> None:
    # EA-4/02 S4, nanometres; the drift is triangular: a / sqrt(6).
    components = (
        15.0, 30 / math.sqrt(6), 12 / math.sqrt(5), rectangular(32),
        575 * rectangular(0.05), 0.236e-6 * 50e6, rectangular(6.7),
    )  # fmt: skip
    assert components[1] == pytest.approx(12.25, abs=5e-3)  # last digit
    assert components[3] == pytest.approx(18.48, abs=5e-3)
    assert components[4] == pytest.approx(16.60, abs=5e-3)
    assert _combined(*components) == pytest.approx(34.28, abs=5e-3)
    assert _combined(*components) == pytest.approx(34.3, abs=0.05)  # printed


def test_photo_scale_budget_against_uncertainties() -> None:
    # Closed form: L = N R / M with 480 px ± 0.7, 50.00 mm ± 0.02, 2000 px ± 1.0.
    n, r, m = ufloat(480, 0.7), ufloat(50.0, 0.02), ufloat(2000, 1.0)
    reference = n * r / m
    length = 480 * 50.0 / 2000
    lines = [
        Contribution(source="line", u=length * 0.7 / 480),
        Contribution(source="scale", u=length * math.hypot(0.02 / 50.0, 1.0 / 2000)),
    ]
    result = from_budget(length, lines, unit="mm")
    assert result.value == reference.nominal_value == 12.0
    assert result.u == pytest.approx(reference.std_dev, rel=1e-12)  # the same arithmetic
    assert result.u == pytest.approx(0.019113, abs=5e-7)  # last digit


def _measured(length: float, u_own: float, u_relative: float) -> Measured:
    lines = [
        Contribution(source="scale", u=u_relative * length),
        Contribution(source="tip position", u=u_own),
    ]
    return from_budget(length, lines, unit="mm")


def test_total_of_lengths_with_one_scale_against_uncertainties() -> None:
    # The scale is the same random variable in all lengths: they are correlated.
    u_relative, lengths, own = 0.004, (12.0, 3.5, 40.25), (0.05, 0.08, 0.2)
    scale = ufloat(1.0, u_relative)
    reference = sum(scale * ufloat(x, u) for x, u in zip(lengths, own, strict=True))
    summed = total(
        [_measured(x, u, u_relative) for x, u in zip(lengths, own, strict=True)], unit="mm"
    )
    assert summed.value == pytest.approx(reference.nominal_value, rel=1e-15)  # one rounding
    assert summed.u == pytest.approx(reference.std_dev, rel=1e-12)  # the same arithmetic
    # As if independent it would be too small by a visible amount.
    parts = [_measured(x, u, u_relative).u for x, u in zip(lengths, own, strict=True)]
    assert summed.u > 1.01 * math.hypot(*parts)


def test_unit_change_against_uncertainties() -> None:
    reference = ufloat(12.34, 0.056) / 25.4
    shown = Measured(value=12.34, u=0.056, unit="mm").scaled(1 / 25.4, unit="in")
    assert shown.value == pytest.approx(reference.nominal_value, rel=1e-15)  # one rounding
    assert shown.u == pytest.approx(reference.std_dev, rel=1e-15)
