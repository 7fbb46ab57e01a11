"""Closed forms of measured values, sums, units and how they are shown."""

import math

import pytest

from damagescore.quantity import (
    Contribution,
    Measured,
    NotMeasured,
    format_quantity,
    from_budget,
    in_length_unit,
    itemised,
    places_for,
    quantity_from_dict,
    total,
)


def test_interval_is_two_sided_95_percent() -> None:
    low, high = Measured(value=10.0, u=1.0, unit="mm").interval95
    # Normal quantile 1.959964 from tables; 1.96 is that to two places.
    assert (low, high) == pytest.approx((10 - 1.959964, 10 + 1.959964), abs=1e-4)


@pytest.mark.parametrize(
    ("value", "u"), [(math.nan, 1.0), (math.inf, 1.0), (1.0, math.nan), (1.0, -1e-9)]
)
def test_what_is_no_measurement_is_refused(value: float, u: float) -> None:
    with pytest.raises(ValueError, match="not a measurement"):
        Measured(value=value, u=u, unit="mm")


def test_root_sum_of_squares() -> None:
    lines = [Contribution(source="a", u=3.0), Contribution(source="b", u=4.0)]
    assert from_budget(1.0, lines, unit="mm").u == 5.0
    assert from_budget(1.0, [], unit="mm").u == 0.0


def test_total_of_shared_and_own_parts() -> None:
    lines = (Contribution(source="scale", u=3.0), Contribution(source="tip", u=4.0))
    part = from_budget(10.0, lines, unit="mm")
    both = total([part, part], unit="mm")
    assert both.value == 20.0
    assert both.u == pytest.approx(math.sqrt(6**2 + 2 * 4**2), rel=1e-15)  # one rounding
    # Without a budget a part is independent of the others.
    plain = Measured(value=1.0, u=3.0, unit="mm")
    assert total([plain, plain], unit="mm").u == pytest.approx(3 * math.sqrt(2), rel=1e-15)
    assert total([], unit="mm") == Measured(
        value=0.0, u=0.0, unit="mm",
        budget=(Contribution(source="scale", u=0.0), Contribution(source="all others", u=0.0)),
    )  # fmt: skip


def test_a_negative_factor_keeps_the_uncertainty_positive() -> None:
    lines = [Contribution(source="a", u=0.5)]
    turned = from_budget(2.0, lines, unit="mm").scaled(-3.0, unit="%")
    assert (turned.value, turned.u, turned.unit) == (-6.0, 1.5, "%")
    assert turned.budget == (Contribution(source="a", u=1.5),)


def test_inches_and_square_inches() -> None:
    length = in_length_unit(Measured(value=50.8, u=2.54, unit="mm"), "in")
    area = in_length_unit(Measured(value=1290.32, u=64.516, unit="mm2"), "in")
    assert isinstance(length, Measured)
    assert isinstance(area, Measured)
    # 1e-15: one rounding in binary arithmetic.
    assert (length.value, length.u) == pytest.approx((2.0, 0.1), rel=1e-15)
    assert (area.value, area.u) == pytest.approx((2.0, 0.1), rel=1e-15)
    assert (length.unit, area.unit) == ("in", "in2")
    missing = in_length_unit(NotMeasured(reason="Blurred.", unit="mm2"), "in")
    assert missing == NotMeasured(reason="Blurred.", unit="in2")
    share = Measured(value=5.0, u=1.0, unit="%")
    assert in_length_unit(share, "in") is share


@pytest.mark.parametrize(
    ("value", "u", "unit", "text"),
    [
        (12.34, 0.0255, "mm", "12.340 ± 0.050 mm"),
        (12.34, 5.0, "mm", "12.3 ± 9.8 mm"),
        (1234.5, 50.0, "mm2", "1234 ± 98 mm²"),
        (25.0, 1.0, "%", "25.0 ± 2.0 %"),
        (3.0, 0.0, "1", "3.000 ± 0.000"),
        (1.0, 1e-9, "mm", "1.0000 ± 0.0000 mm"),
    ],
)
def test_shown_values(value: float, u: float, unit: str, text: str) -> None:
    assert format_quantity(Measured(value=value, u=u, unit=unit)) == text  # type: ignore[arg-type]


def test_missing_values_are_never_shown_as_numbers() -> None:
    assert format_quantity(NotMeasured(reason="Blurred.", unit="mm")) == "not measured"
    plain = NotMeasured(reason="Blurred.", unit="mm").to_dict()
    assert plain == {"value": None, "u": None, "unit": "mm", "reason": "Blurred."}
    assert quantity_from_dict({"value": None, "unit": "mm"}) == NotMeasured(
        reason="", unit="mm"
    )
    assert quantity_from_dict({"value": 0.0, "u": 0.0, "unit": "mm"}) == Measured(
        value=0.0, u=0.0, unit="mm"
    )


def test_without_uncertainty_three_places_are_shown() -> None:
    assert places_for(0.0) == 3


def test_a_shared_line_splits_into_its_sources_without_changing_u():
    parts = (Contribution(source="corner noise", u=0.003), Contribution(source="tilt", u=0.004))
    measured = from_budget(
        20.0,
        [Contribution(source="scale", u=0.1), Contribution(source="end points", u=0.07)],
        unit="mm",
    )
    lines = {c.source: c.u for c in itemised(measured, parts)}
    # 3-4-5: the shares of 0.1 are 0.06 and 0.08
    assert lines == pytest.approx(
        {"scale: tilt": 0.08, "end points": 0.07, "scale: corner noise": 0.06}, rel=1e-12
    )  # 1e-12: rounding of binary arithmetic
    assert list(lines) == ["scale: tilt", "end points", "scale: corner noise"]
    assert math.hypot(*lines.values()) == pytest.approx(measured.u, rel=1e-12)  # as above
    assert itemised(measured, ()) == measured.budget
