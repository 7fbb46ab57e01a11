"""Claims of detection studies against the truth of simulated ones."""

import numpy as np

from damagescore.capability.curve import Curve
from damagescore.capability.detection import Site, hit_miss
from damagescore.capability.record import Estimate
from damagescore.capability.signal_response import Gates, signal_response


def _sizes(rng: np.random.Generator, n: int) -> np.ndarray:
    return np.exp(rng.uniform(np.log(0.3), np.log(5.0), n))


def test_claimed_size_is_large_enough_in_95_of_100() -> None:
    rng = np.random.default_rng(11)
    truth = np.exp(0.2 + np.log(9) / 4)
    kept = 0
    for _ in range(60):
        sizes = _sizes(rng, 80)
        chance = 1 / (1 + np.exp(-4 * (np.log(sizes) - 0.2)))
        found = rng.random(80) < chance
        curve = hit_miss(
            [Site(size_mm=float(a), found=bool(f)) for a, f in zip(sizes, found, strict=True)]
        )
        assert isinstance(curve, Curve)
        kept += not isinstance(curve.a90_95_mm, Estimate) or curve.a90_95_mm.value >= truth
    assert kept >= 52  # 57 of 60 expected; fewer than 52 has a chance of 1 %


def test_claimed_size_from_signals_with_censoring() -> None:
    rng = np.random.default_rng(12)
    # log signal = 0.1 + 1.1 log size, scatter 0.3; decision at 1.
    truth = np.exp((-0.1 + 1.2815515655446004 * 0.3) / 1.1)
    gates, kept, estimates = Gates(decision=1.0, noise=0.6, saturation=4.0), 0, []
    for _ in range(12):
        sizes = _sizes(rng, 60)
        signals = np.exp(0.1 + 1.1 * np.log(sizes) + rng.normal(0, 0.3, 60))
        sites = [
            Site(size_mm=float(a), found=s > 1, signal=float(s))
            for a, s in zip(sizes, signals, strict=True)
        ]
        curve = signal_response(sites, gates=gates)
        assert isinstance(curve, Curve)
        assert isinstance(curve.a90_95_mm, Estimate)
        estimates.append(curve.a90_mm)
        kept += curve.a90_95_mm.value >= truth
    assert kept >= 9  # 11.4 expected of 12; fewer than 9 has a chance of 0.2 %
    error = np.mean(np.log(estimates)) - np.log(truth)
    assert abs(error) < 4 * np.std(np.log(estimates)) / np.sqrt(12)  # four standard errors
