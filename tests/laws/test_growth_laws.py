"""Laws of growth curves and lives: units, origins and order do not matter."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from damagescore.endurance.life import LifeRatio, life_ratio
from damagescore.endurance.record import Lifetime
from damagescore.history import Forecast, Point, Series, predict
from damagescore.history.curve import Curve, bent, unbent
from damagescore.quantity import Measured

USES = np.linspace(0, 700, 8)
WOBBLE = np.array([0.05, -0.06, 0.03, -0.04, 0.06, -0.03, 0.02, -0.05])


def grown(*, stretch: float = 1.0, shift: float = 0.0, size: float = 1.0) -> Series:
    values = size * (4 * np.exp(USES / 500) + WOBBLE)
    points = tuple(
        Point(
            use=float(stretch * t + shift),
            value=Measured(value=float(v), u=0.1 * size, unit="mm"),
        )
        for t, v in zip(USES, values, strict=True)
    )
    return Series(id="a", label="a", unit="mm", points=points, limit=20.0 * size)


def forecast(**how: float) -> Forecast:
    found = predict(grown(**how)).forecast
    assert isinstance(found, Forecast)
    assert found.at is not None
    return found


PLAIN = forecast()


@settings(max_examples=8, deadline=None)
@given(size=some.floats(0.01, 100))
def test_the_unit_of_the_damage_does_not_matter(size: float) -> None:
    found = forecast(size=size)
    assert found.at == pytest.approx(PLAIN.at, rel=1e-4)  # least squares stop at 1e-10 of cost
    assert found.earliest == pytest.approx(PLAIN.earliest, rel=1e-3)  # as above


@settings(max_examples=8, deadline=None)
@given(stretch=some.floats(0.1, 1000), shift=some.floats(-500, 5000))
def test_the_unit_and_origin_of_the_hours_do_not_matter(stretch: float, shift: float) -> None:
    found = forecast(stretch=stretch, shift=shift)
    assert (found.at - shift) / stretch == pytest.approx(PLAIN.at, rel=1e-4)  # as above
    assert (found.earliest - shift) / stretch == pytest.approx(PLAIN.earliest, rel=1e-3)


@given(power=some.floats(-4, 4), value=some.floats(0.1, 50))
def test_bending_and_back_changes_nothing(power: float, value: float) -> None:
    # A steep negative power leaves few digits of a large value.
    back = unbent(bent(np.array([value]), power), power)
    assert back[0] == pytest.approx(value, rel=1e-3)


@given(power=some.floats(-3, 3), share=some.floats(0.1, 2.0))
def test_a_curve_has_a_value_when_it_says_so(power: float, share: float) -> None:
    curve = Curve(first=0, last=100, y_first=2.0, y_last=3.0, power=power)
    value = float(curve.at(100 * share))
    if value < 1e2:  # past the end of its law there is no time
        assert curve.when(value) == pytest.approx(100 * share, rel=1e-5)  # rounding of powers


LIVES = [Lifetime(low=a, high=b) for a, b in ((80, 120), (150, 150), (200, 260), (300, None))]
LONGER = [Lifetime(low=a, high=b) for a, b in ((90, 130), (210, 250), (330, 400), (420, None))]


@settings(max_examples=8, deadline=None)
@given(unit=some.floats(0.01, 1000))
def test_a_ratio_of_lives_has_no_unit(unit: float) -> None:
    def scaled(lives):
        return [
            Lifetime(low=unit * x.low, high=None if x.high is None else unit * x.high)
            for x in lives
        ]

    plain, found = life_ratio(LIVES, LONGER), life_ratio(scaled(LIVES), scaled(LONGER))
    assert isinstance(plain, LifeRatio)
    assert isinstance(found, LifeRatio)
    assert found.value == pytest.approx(plain.value, rel=1e-4)  # search to 1e-9 of the log
    assert found.low == pytest.approx(plain.low, rel=1e-3)  # numerical second derivatives


def test_the_ratio_turned_round_is_its_inverse() -> None:
    there, back = life_ratio(LIVES, LONGER), life_ratio(LONGER, LIVES)
    assert isinstance(there, LifeRatio)
    assert isinstance(back, LifeRatio)
    assert there.value == pytest.approx(1 / back.value, rel=1e-5)  # search to 1e-9 of the log
    assert there.low == pytest.approx(1 / back.high, rel=1e-3)  # numerical second derivatives
