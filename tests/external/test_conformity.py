"""Conformity probabilities, guard bands and risks against published examples.

Sources
-------
JCGM 106:2012, clauses 7.3, 7.4, 8.3.3, 9.5 and Table 1; ISO 14253-1:2017; ILAC-G8:09/2019,
table of decision rules; risk tables and the process examples N(10, 0.4), N(10.5, 0.4),
N(12, 0.4) with limits 9 and 11 of a public metrology risk calculator's test file. Seen as
secondary transcriptions on 2026-11-25; the printed figures of the clauses of JCGM 106 that
are marked "from memory" were not seen in the document itself. Every expected number was
also recomputed from the normal distribution.

Tolerances: 1e-5 where the number was recomputed to five digits, and half a unit of the last
printed digit where only the printed figure is compared.
"""

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from damagescore.limits import DecisionRule, conformity_probability, decide
from damagescore.quantity import Measured


def _value(value: float, u: float) -> Measured:
    return Measured(value=value, u=u, unit="1")


def test_two_sided_viscosity() -> None:
    # JCGM 106:2012, 7.4: y = 13.6, u = 1.8, limits 12.5 and 16.3; prints 0.66 (from memory).
    p = conformity_probability(_value(13.6, 1.8), lower=12.5, upper=16.3)
    assert p == pytest.approx(0.66263, abs=1e-5)  # recomputed to five digits
    assert p == pytest.approx(0.66, abs=0.005)  # half of the last printed digit


@pytest.mark.parametrize(
    ("y", "u", "limit", "direction", "conforming"),
    [
        # JCGM 106:2012, 7.3, breakdown voltage, upper limit; inputs from memory.
        (-5.47, 0.05, -5.40, "max", 0.91924),
        # JCGM 106:2012, 7.3, burst pressure, lower limit; inputs from memory.
        (509.7, 8.6, 490.0, "min", 0.98901),
    ],
)
def test_one_sided(y: float, u: float, limit: float, direction: str, conforming: float) -> None:
    value = _value(y, u)
    sides = {"upper": limit} if direction == "max" else {"lower": limit}
    # 1e-5: recomputed to five digits.
    assert conformity_probability(value, **sides) == pytest.approx(conforming, abs=1e-5)
    decision = decide(value, limit, direction=direction)  # type: ignore[arg-type]
    assert decision.probability_exceeding == pytest.approx(1 - conforming, abs=1e-5)


@pytest.mark.parametrize(
    ("z", "p"),
    [(0.8416, 0.80), (1.2816, 0.90), (1.6449, 0.95), (2.3263, 0.99), (3.0902, 0.999)],
)
def test_table_1_of_one_sided_conformity(z: float, p: float) -> None:
    # JCGM 106:2012, Table 1. The density at these points times half a unit of the last
    # digit of z is at most 1.4e-5.
    assert conformity_probability(_value(0.0, 1.0), upper=z) == pytest.approx(p, abs=2e-5)


def test_guarded_rejection_of_speed() -> None:
    # JCGM 106:2012, 8.3.3 (from memory): limit 100, u = 2 % of the reading, 99.9 %:
    # a reading of 106.587 or more is proof; that is 107 km/h in whole numbers.
    rule = DecisionRule(kind="custom", guard_factor=3.0902)
    outcomes = {y: decide(_value(y, 0.02 * y), 100.0, rule=rule).outcome
                for y in (106.0, 106.57, 106.60, 107.0)}  # fmt: skip
    assert outcomes == {
        106.0: "borderline", 106.57: "borderline", 106.60: "exceeded", 107.0: "exceeded",
    }  # fmt: skip
    assert decide(_value(106.587, 2.13174), 100.0).probability_exceeding == pytest.approx(
        0.999, abs=2e-5  # the density at 3.09 times the rounding of the limit
    )  # fmt: skip


@pytest.mark.parametrize(
    ("width_in_u", "pfa"),
    [
        # ILAC-G8:09/2019 names 3U, 1.5U, 1U, 0.83U and 0 (U = 2u). The exact normal tails;
        # the document rounds 1.5U to 0.16 % and 1U to 2.5 %, which are other quantiles.
        (6.0, 9.87e-10), (3.0, 0.00135), (2.0, 0.02275), (1.66, 0.04846), (1.65, 0.04947),
        (0.0, 0.5),
    ],
)  # fmt: skip
def test_specific_risk_at_the_edge_of_acceptance(width_in_u: float, pfa: float) -> None:
    u, limit = 0.37, 25.4
    decision = decide(_value(limit - width_in_u * u, u), limit)
    # Half of the last digit given: 1e-5 for most, 1e-12 for the 9.87e-10.
    assert decision.probability_exceeding == pytest.approx(pfa, abs=6e-6, rel=1e-3)
    if width_in_u == 6.0:
        assert decision.probability_exceeding == pytest.approx(9.87e-10, rel=1e-3)


@pytest.mark.parametrize(
    ("y", "outcome"),
    [
        (9.66, "within"), (9.67, "within"), (9.68, "borderline"), (10.0, "borderline"),
        (10.32, "borderline"), (10.33, "exceeded"), (10.34, "exceeded"),
    ],
)  # fmt: skip
def test_default_rule_of_iso_14253_1(y: float, outcome: str) -> None:
    # ISO 14253-1:2017: proof up to limit - 1.65 u and from limit + 1.65 u on, so 9.67 and
    # 10.33 for limit 10, u = 0.2. Exact.
    assert decide(_value(y, 0.2), 10.0).outcome == outcome
    # The same at a lower limit, mirrored.
    mirrored = decide(_value(20.0 - y, 0.2), 10.0, direction="min")
    assert mirrored.outcome == outcome


@pytest.mark.parametrize(
    ("mean", "low", "high"),
    # Limits 9 and 11, standard deviation 0.4; printed to five digits.
    [(10.0, 0.00621, 0.00621), (10.5, 0.00009, 0.10565), (12.0, 0.0, 0.99379)],
)
def test_specific_risk_of_a_process(mean: float, low: float, high: float) -> None:
    value = _value(mean, 0.4)
    below = decide(value, 9.0, direction="min").probability_exceeding
    above = decide(value, 11.0).probability_exceeding
    assert below == pytest.approx(low, abs=5e-6)  # half of the last printed digit
    assert above == pytest.approx(high, abs=5e-6)
    whole = conformity_probability(value, lower=9.0, upper=11.0)
    assert 1 - whole == pytest.approx(low + high, abs=1e-5)


def _false_accept(sigma: float, u: float, half: float) -> float:
    """Global risk of simple acceptance within ± half, process N(0, sigma).

    What is known of an accepted value is the normal posterior (JCGM 106:2012, A.4).
    """
    gain = sigma**2 / (sigma**2 + u**2)
    u_posterior = u * math.sqrt(gain)
    spread = math.hypot(sigma, u)
    simple = DecisionRule.of("simple")

    def risk(y: float) -> float:
        upper = decide(_value(y, u), half, rule=simple).outcome
        lower = decide(_value(y, u), -half, direction="min", rule=simple).outcome
        if (upper, lower) != ("within", "within"):
            return 0.0
        known = _value(gain * y, u_posterior)
        bad = 1 - conformity_probability(known, lower=-1.0, upper=1.0)
        return bad * float(norm.pdf(y, scale=spread))

    found, _ = quad(risk, -half, half, epsabs=1e-12, limit=200)
    return float(found)


@pytest.mark.parametrize(
    ("in_tolerance", "pfa_percent"),
    # Test uncertainty ratio 4 (u is a quarter of sigma), limits ±1, simple acceptance.
    [(0.60, 4.83860326), (0.80, 2.85583037), (0.95, 0.87100925), (0.99, 0.19991684)],
)
def test_unguarded_global_risk(in_tolerance: float, pfa_percent: float) -> None:
    sigma = 1 / norm.ppf((1 + in_tolerance) / 2)
    # 1e-6: the table's own digits allow 1e-8, the quadrature 1e-10.
    assert 100 * _false_accept(sigma, sigma / 4, 1.0) == pytest.approx(pfa_percent, abs=1e-6)


@pytest.mark.parametrize(
    ("accept", "consumer", "producer"),
    # JCGM 106:2012, 9.5: resistors N(1500, 0.12), u = 0.04, tolerance ± 0.20.
    [(0.20, 0.018942, 0.037208), (0.18, 0.009878, 0.069027)],
)
def test_global_risks_of_the_resistors(accept: float, consumer: float, producer: float) -> None:
    sigma, u, half = 0.12, 0.04, 0.20
    gain = sigma**2 / (sigma**2 + u**2)
    spread = math.hypot(sigma, u)
    y = np.linspace(-1.0, 1.0, 20001)
    density = norm.pdf(y, scale=spread)
    good = np.array([
        conformity_probability(_value(gain * x, u * math.sqrt(gain)), lower=-half, upper=half)
        for x in y
    ])  # fmt: skip
    # The acceptance interval as a guard factor: half - accept = factor * u.
    rule = DecisionRule(kind="custom", guard_factor=(half - accept) / u)
    accepted = np.array([
        decide(_value(abs(x), u), half, rule=rule).outcome == "within" for x in y
    ])  # fmt: skip
    # 1e-4: the sum may misplace one step of 1e-4 at both borders, where the density is 0.9.
    assert np.trapezoid(density * (1 - good) * accepted, y) == pytest.approx(consumer, abs=1e-4)
    assert np.trapezoid(density * good * ~accepted, y) == pytest.approx(producer, abs=1e-4)


@pytest.mark.parametrize(
    ("value", "limit", "outcome"),
    [
        # A published light-helicopter maintenance manual, section 5-34, words its limits as
        # "deeper than 0.10 in" and "more than 25 %": the limit itself is still allowed.
        (2.54, 2.54, "within"), (2.5400001, 2.54, "exceeded"), (25.0, 25.0, "within"),
        (100 * 0.07 / 0.28, 25.0, "within"),  # 25.000000000000004 in binary arithmetic
        (25.001, 25.0, "exceeded"),
    ],
)  # fmt: skip
def test_strict_wording(value: float, limit: float, outcome: str) -> None:
    assert decide(_value(value, 0.0), limit, inclusive=False).outcome == outcome


@pytest.mark.parametrize(
    ("value", "outcome"), [(14.999, "within"), (15.0, "exceeded"), (15.001, "exceeded")]
)
def test_inclusive_wording(value: float, outcome: str) -> None:
    # AASHTO bridge element condition states: bulging of "15 % or more" of the thickness.
    assert decide(_value(value, 0.0), 15.0, inclusive=True).outcome == outcome
