"""Ranks by sorting against NumPy's own."""

import numpy as np
import pytest

from damagescore.ranks import median, quantile


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
