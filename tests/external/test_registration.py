"""The shift between two photos of one edge against phase correlation.

Reference: scikit-image 0.26, `registration.phase_cross_correlation` (Guizar-Sicairos et al.
2008, Opt. Lett. 33, 156), which uses all grey levels where ours matches features.
"""

import numpy as np
import pytest
from skimage.registration import phase_cross_correlation

from damagescore.history.edge_view import PX_PER_MM
from damagescore.history.register import Registration, register
from tests.unit.test_same_crack import seen_at


@pytest.mark.parametrize("left", [60, 133])
def test_shift_agrees_with_phase_correlation(left: int) -> None:
    first, second = seen_at(20), seen_at(left, noise=1)
    found = register(first, second)
    assert isinstance(found, Registration)
    pictures = [v.grey - np.mean(v.grey, axis=1, keepdims=True) for v in (first, second)]
    (_, along), *_ = phase_cross_correlation(*pictures, upsample_factor=10)
    expected = -along / PX_PER_MM + (second.start_mm - first.start_mm)
    # A tenth of a flat pixel of each, and u
    assert found.shift_mm == pytest.approx(expected, abs=0.2 / PX_PER_MM + 2 * found.u_mm)
