"""Ranks by sorting against NumPy's own."""

import numpy as np
import pytest
from scipy.stats import theilslopes

from damagescore.ranks import median, median_slope, quantile


@pytest.mark.parametrize("kind", [np.int16, np.uint8, np.float32, np.float64])
def test_the_median_is_that_of_numpy(kind: type) -> None:
    rng = np.random.default_rng(1)
    for _ in range(300):
        values = (rng.normal(120, 40, rng.integers(1, 400)) % 256).astype(kind)
        assert median(values) == float(np.median(values))
    assert median(np.array([32767, 32767], np.int16)) == 32767


@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_a_quantile_is_that_of_numpy(kind: type) -> None:
    rng = np.random.default_rng(2)
    for share in (0.0, 0.1, 0.3, 0.33, 0.75, 1.0):
        for _ in range(100):
            values = rng.normal(0, 1, (rng.integers(1, 400), 2)).astype(kind)
            # older NumPy interpolates singles in doubles: the last bit may differ
            assert quantile(values, share) == pytest.approx(
                np.quantile(values, share), rel=1e-6
            )


def test_the_median_slope_is_that_of_a_reference_library() -> None:
    """`scipy.stats.theilslopes` (BSD-licensed reference library, an independent writing)."""
    rng = np.random.default_rng(3)
    for _ in range(50):
        x = rng.uniform(0, 100, rng.integers(2, 40))
        rows = 0.3 * x + rng.standard_t(1, (3, len(x)))
        expected = [theilslopes(y, x).slope for y in rows]
        np.testing.assert_allclose(median_slope(x, rows), expected, rtol=1e-9)


def test_pairs_that_lie_together_do_not_count() -> None:
    x = np.array([0.0, 0.0, 1.0, 2.0])
    y = np.array([0.0, 50.0, 2.0, 4.0])
    assert median_slope(x, y, least=1.5) == pytest.approx((2.0 - 23.0) / 2)
    assert median_slope(np.zeros(3), y[:3]) == 0.0
    assert median_slope(np.zeros(1), np.zeros((2, 1))).tolist() == [0.0, 0.0]
