"""Rounding and units against published examples.

Sources
-------
ASME A112.18.1-2018/CSA B125.1-18, Annex A (half to even; 1.655000 and 1.625000); IS 2:1960
(rounding to a step of 10; 1225.0, 1235.0); ISO 80000-1, Annex B, rule A (from memory);
GUM 7.2.6 (10.057 62 with u of 27 mΩ is given as 10.058; from memory). Seen as secondary
transcriptions on 2026-11-25. The inch is 25.4 mm exactly (1959 agreement).

Everything is compared exactly: rounding has one right answer.
"""

from decimal import Decimal

import pytest

from damagescore.limits import to_base
from damagescore.quantity import (
    MM_PER_INCH,
    Measured,
    format_quantity,
    in_length_unit,
    places_for,
    round_half_even,
)


@pytest.mark.parametrize(
    ("written", "places", "rounded"),
    [
        # ASME A112.18.1, Annex A; half up would give 1.63 for the second.
        ("1.655000", 2, "1.66"), ("1.625000", 2, "1.62"), ("123.55", 1, "123.6"),
        # ISO 80000-1, Annex B.
        ("12.223", 1, "12.2"), ("12.251", 1, "12.3"), ("12.275", 1, "12.3"),
        ("12.25", 1, "12.2"), ("12.35", 1, "12.4"),
        ("1222.3", -1, "1220"), ("1225.1", -1, "1230"), ("1227.5", -1, "1230"),
        ("1225.0", -1, "1220"), ("1235.0", -1, "1240"),
        # Negative numbers mirror.
        ("-1.625", 2, "-1.62"), ("-12.35", 1, "-12.4"),
    ],
)  # fmt: skip
def test_half_to_even(written: str, places: int, rounded: str) -> None:
    assert round_half_even(written, places=places) == Decimal(rounded)
    # A float is rounded as it is printed, not as its nearest binary number.
    assert round_half_even(float(written), places=places) == Decimal(rounded)


def test_uncertainty_sets_the_places() -> None:
    # GUM 7.2.6: 10.057 62 with 0.027 is given as 10.058.
    places = places_for(0.027)
    assert places == 3
    assert round_half_even("10.05762", places=places) == Decimal("10.058")


@pytest.mark.parametrize(
    ("u", "digits", "places"),
    [
        (0.027, 2, 3), (0.27, 2, 2), (2.7, 2, 1), (27.0, 2, 0), (270.0, 2, 0), (0.01, 2, 3),
        (0.1, 2, 2), (1.0, 2, 1), (10.0, 2, 0), (0.027, 1, 2), (0.00999, 2, 3),
        # Rounding itself may carry into the next decade: 0.0996 is 0.10 to two digits.
        (0.0996, 2, 2), (0.996, 2, 1), (0.0994, 2, 3),
    ],
)  # fmt: skip
def test_places_show_that_many_digits(u: float, digits: int, places: int) -> None:
    assert places_for(u, digits=digits) == places


def test_inch_is_exact() -> None:
    assert MM_PER_INCH == 25.4
    assert to_base(0.10, "in") == 2.54
    assert to_base(0.3, "in") == 7.62  # 7.619999999999999 in binary arithmetic
    assert to_base(1.1, "in2") == 709.676
    assert to_base(17.3, "mm") == 17.3
    assert to_base(25.0, "%") == 25.0
    shown = in_length_unit(Measured(value=2.54, u=0.0254, unit="mm"), "in")
    assert isinstance(shown, Measured)
    assert (shown.value, shown.unit) == (pytest.approx(0.10, rel=1e-15), "in")  # one rounding


def test_formatting_follows_the_uncertainty() -> None:
    value = Measured(value=12.345, u=0.05, unit="mm")  # k u = 0.098
    assert format_quantity(value) == "12.345 ± 0.098 mm"
    assert format_quantity(value, k=2.0) == "12.34 ± 0.10 mm"  # half to even: 12.345
    area = Measured(value=645.16, u=6.4516, unit="mm2")
    assert format_quantity(area, unit="in") == "1.000 ± 0.020 in²"
