"""Control limits of individual values against a worked example.

Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, ten batches: mean 50.81, mean
moving range 1.8778, limits 55.8041 and 45.8159. Values from memory; computing from the
remembered batches lands on the remembered limits.
Tolerance: the handbook rounds the mean moving range to four decimals.
"""

import pytest

from damagescore.capability.standing import control_chart


def test_ten_batches() -> None:
    batches = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
    chart = control_chart(batches)
    assert (chart.centre, chart.low, chart.high) == pytest.approx(
        (50.81, 45.8159, 55.8041), abs=2e-4
    )  # rounding of the range
    assert chart.outside == ()
    assert control_chart([*batches, 60.0]).outside == (10,)
