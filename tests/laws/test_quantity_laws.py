"""Laws of measured values that hold for all numbers."""

import math
from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from damagescore.quantity import (
    Contribution,
    Measured,
    NotMeasured,
    from_budget,
    places_for,
    quantity_from_dict,
    round_half_even,
    total,
)

numbers = st.floats(-1e6, 1e6, allow_subnormal=False)
spreads = st.floats(0, 1e3, allow_subnormal=False)
units = st.sampled_from(["mm", "mm2", "%", "1", "deg"])
lines = st.lists(
    st.builds(Contribution, source=st.sampled_from(["scale", "tip", "focus"]), u=spreads),
    min_size=1, max_size=4,
).map(tuple)  # fmt: skip
measured = st.builds(lambda v, b, u: from_budget(v, b, unit=u), numbers, lines, units)


@given(measured | st.builds(NotMeasured, reason=st.text(), unit=units))
def test_plain_form_comes_back_equal(quantity: Measured | NotMeasured) -> None:
    assert quantity_from_dict(quantity.to_dict()) == quantity


@given(measured)
def test_plain_form_may_leave_out_its_budget(quantity: Measured) -> None:
    assert set(quantity.to_dict(with_budget=False)) == {"value", "u", "unit"}


@given(st.lists(measured, min_size=1, max_size=5))
def test_a_sum_lies_between_independent_and_fully_correlated(parts: list[Measured]) -> None:
    summed = total(parts, unit="mm")
    independent = math.hypot(*(p.u for p in parts))
    linear = math.fsum(p.u for p in parts)
    assert independent * (1 - 1e-12) <= summed.u <= linear * (1 + 1e-12)
    assert math.isclose(summed.value, math.fsum(p.value for p in parts), abs_tol=1e-9)


@given(measured, st.floats(1e-3, 1e3))
def test_scaling_scales_value_uncertainty_and_budget(quantity: Measured, by: float) -> None:
    scaled = quantity.scaled(by, unit="mm")
    again = from_budget(scaled.value, scaled.budget, unit="mm")
    assert math.isclose(scaled.u, quantity.u * by, rel_tol=1e-12)
    assert math.isclose(scaled.u, again.u, rel_tol=1e-9, abs_tol=1e-12)


@given(numbers, st.integers(-3, 6))
def test_rounding_stays_within_half_a_step_and_settles(value: float, places: int) -> None:
    rounded = round_half_even(value, places=places)
    step = Decimal(1).scaleb(-places)
    assert abs(rounded - Decimal(str(value))) <= step / 2
    assert round_half_even(rounded, places=places) == rounded


@given(st.floats(1e-12, 1.0), st.integers(1, 4))
def test_an_uncertainty_is_shown_with_its_digits(u: float, digits: int) -> None:
    places = places_for(u, digits=digits)
    shown = round_half_even(u, places=places)
    # As many figures as asked for: from 10^(digits-1) to 10^digits - 1 units of the last.
    units_of_last = int(shown.scaleb(places))
    assert places == 0 or 10 ** (digits - 1) <= units_of_last < 10**digits
