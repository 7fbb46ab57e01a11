"""Our line filters against the same bank by SciPy, and a share's interval against SciPy's.

Reference: `scipy.ndimage` and `scipy.stats.binomtest` (Wilson interval) of the SciPy
release in requirements.txt.
"""

import numpy as np
import pytest
from scipy.stats import binomtest

from benchmarks.bench_filters import LIMIT, drawn_layer, our_way, plain_way
from benchmarks.bench_reliability import wilson


def test_the_filters_say_what_the_plain_bank_says():
    dark = drawn_layer()[:, :900]
    ours, plain = (way(dark)[12:-12, 12:-12] for way in (our_way, plain_way))
    # Ours rounds to whole steps, samples the spreads, and halves the grid of the wide filter.
    assert np.corrcoef(ours.ravel(), plain.ravel())[0, 1] > 0.98
    both = np.sum((ours > LIMIT) & (plain > LIMIT)) / np.sum((ours > LIMIT) | (plain > LIMIT))
    assert both > 0.88  # places right at the limit fall on either side


@pytest.mark.parametrize(("hits", "count"), [(0, 5), (3, 10), (8, 10), (50, 51), (7, 7)])
def test_the_interval_of_a_share_is_that_of_scipy(hits, count):
    known = binomtest(hits, count).proportion_ci(0.95, method="wilson")
    assert wilson(hits, count) == pytest.approx((known.low, known.high), abs=1e-6)  # rounding
