"""What a history says, and what it refuses to say."""

import numpy as np
import pytest

from damagescore.errors import UsageError
from damagescore.history import (
    Forecast,
    NoForecast,
    Point,
    ReinspectionRule,
    Series,
    predict,
    suggest,
)
from damagescore.history.lives import lives_of
from damagescore.history.series import nearest_limit, series_of
from damagescore.inspection import Part, add_photo, new_inspection
from damagescore.limits import Criterion
from damagescore.quantity import Measured, NotMeasured, Quantity
from tests.inspection_samples import BY, SHA, limits, line_finding, measurement


def series(
    *pairs: tuple[float, float], u: float = 0.1, limit: float = 20.0, **more: object
) -> Series:
    points = tuple(Point(use=t, value=Measured(value=v, u=u, unit="mm")) for t, v in pairs)
    return Series(
        id="a", label="Crack length, longest", unit="mm", points=points, limit=limit, **more
    )  # type: ignore[arg-type]


def steady(
    n: int = 6, *, rate: float = 0.01, start: float = 4.0, step: float = 100.0
) -> list[tuple[float, float]]:
    wobble = (0.05, -0.06, 0.03, -0.04, 0.06, -0.03, 0.02, -0.05)
    return [(i * step, start + rate * i * step + wobble[i % 8]) for i in range(n)]


def inspected(
    hours: float | None, length_px: float, *, number: int, serial: str = "0117", **more: object
):
    part = Part(
        part_number="HV-2210", serial_number=serial, hours=hours, cycles=10 * (hours or 0)
    )
    at = f"2031-0{number}-01T08:00:00+00:00"
    begun = new_inspection(part, by=BY, at=at, inspection_id=f"record-{number}-{serial}")
    found = measurement(line_finding("crack-1", (50.0, 50.0 + length_px)), **more)  # type: ignore[arg-type]
    return add_photo(begun, sha256=SHA, name="a.jpg", measurement=found, by=BY, at=at)


def test_steady_growth_reaches_the_limit_by_its_line() -> None:
    found = predict(series(*steady(8), limit=14.0))
    assert isinstance(found.forecast, Forecast)
    assert found.forecast.at == pytest.approx(1000, rel=0.03)  # the wobble's own slope
    assert found.forecast.earliest < found.forecast.at
    assert found.fit.model == "straight"


@pytest.mark.parametrize("n", [0, 1, 3])
def test_too_few_points_give_a_reason_and_no_number(n: int) -> None:
    found = predict(series(*steady(8)[:n]))
    assert isinstance(found.forecast, NoForecast)
    assert "at least 4 are needed" in found.forecast.reason
    assert found.chance_by(1000.0) is None
    assert suggest(found).ahead is None


def test_noise_without_growth_gives_a_reason() -> None:
    found = predict(series((0, 5.0), (100, 5.4), (200, 4.8), (300, 5.3), (400, 4.9), u=0.3))
    assert isinstance(found.forecast, NoForecast)
    assert found.forecast.reason.startswith("No growth is shown")


def test_all_points_at_the_same_hours_give_a_reason() -> None:
    found = predict(series((100, 5.0), (100, 5.1), (100, 5.2), (100, 5.1)))
    assert "same hours" in found.forecast.reason


def test_nothing_is_said_farther_ahead_than_the_history_goes_back() -> None:
    found = predict(series(*steady(6), limit=60.0))
    assert isinstance(found.forecast, Forecast)
    assert found.forecast.at is None
    assert found.forecast.horizon == 1000.0
    assert found.chance_by(1001.0) is None
    suggested = suggest(found)
    assert suggested.ahead == 500.0
    assert "does not tell farther ahead" in suggested.reason


def test_a_limit_passed_already_says_inspect_now() -> None:
    found = predict(series(*steady(8), limit=9.0))
    assert isinstance(found.forecast, Forecast)
    assert found.forecast.earliest == found.forecast.now
    assert found.chance_by(700.0) > 0.99
    assert "inspect now" in suggest(found).reason


def test_a_lower_limit_is_reached_from_above() -> None:
    falling = [(t, 100 - v) for t, v in steady(8)]
    found = predict(series(*falling, limit=86.0, direction="min"))
    assert isinstance(found.forecast, Forecast)
    assert found.forecast.at == pytest.approx(1000, rel=0.04)  # the wobble's own slope


def test_growth_away_from_the_limit_is_no_growth() -> None:
    found = predict(series(*steady(8), limit=2.0, direction="min"))
    assert isinstance(found.forecast, NoForecast)


def test_zeros_before_the_damage_are_left_out_and_said() -> None:
    early = [(-300.0, 0.0), (-200.0, 0.0)]
    found = predict(series(*early, *steady(6)))
    assert len(found.fit.uses) == 6
    assert "2 inspections before the damage was first found" in found.notes[0]


def test_a_value_that_goes_back_is_said() -> None:
    repaired = [*steady(5), (500.0, 4.1), (600.0, 5.2)]
    notes = predict(series(*repaired)).notes
    assert "went back between 400 and 500 h" in notes[0]
    assert not [n for n in predict(series(*steady(8))).notes if "went back" in n]


def test_points_not_measured_are_skipped() -> None:
    whole = series(*steady(8))
    blind = Point(use=350.0, value=NotMeasured(reason="Too blurred.", unit="mm"))
    more = Series(id="a", label="a", unit="mm", limit=20.0, points=(*whole.points, blind))
    assert predict(more).fit.uses == predict(whole).fit.uses


def test_points_exactly_on_a_line_predict_exactly() -> None:
    found = predict(series(*[(100.0 * i, 2.0 + i) for i in range(8)], u=0.0, limit=12.0))
    assert found.forecast.at == pytest.approx(1000, rel=1e-6)  # rounding
    assert found.forecast.latest - found.forecast.earliest < 5  # two steps of the search


def test_rules_keep_to_what_they_say() -> None:
    found = predict(series(*steady(8), limit=14.0))
    by_chance = suggest(found, ReinspectionRule(kind="chance", chance=0.05))
    assert found.chance_by(700 + by_chance.ahead) <= 0.05
    assert found.chance_by(700 + by_chance.ahead + 3) > 0.05  # one step of the search is 1.2 h
    by_share = suggest(found, ReinspectionRule(kind="share", share=0.5))
    assert by_share.ahead == pytest.approx(found.forecast.left / 2, rel=1e-9)  # by definition


@pytest.mark.parametrize("wrong", [{"kind": "never"}, {"chance": 0.0}, {"share": 1.5}])
def test_rules_that_make_no_sense_are_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(UsageError):
        ReinspectionRule(**wrong)  # type: ignore[arg-type]


def test_hours_that_fall_begin_a_new_life() -> None:
    records = [inspected(h, 50, number=i) for i, h in enumerate((300, 600, 0, 250), start=1)]
    lives, left_out = lives_of(reversed(records))
    assert [(x.number, [i.part.hours for i in x.inspections]) for x in lives] == [
        (1, [300, 600]), (2, [0, 250]),
    ]  # fmt: skip
    assert left_out == ()
    assert lives[1].last_use == 250


def test_parts_that_cannot_be_told_apart_are_left_out() -> None:
    lives, left_out = lives_of([
        inspected(100, 50, number=1, serial=""), inspected(None, 50, number=2),
        inspected(100, 50, number=3),
    ])  # fmt: skip
    assert len(lives) == 1
    assert [x.reason for x in left_out] == [
        "It has no serial number, so the part cannot be told from others.",
        "It has no hours.",
    ]


def test_cycles_can_be_the_axis() -> None:
    lives, _ = lives_of([inspected(100, 50, number=1)], axis="cycles")
    assert lives[0].last_use == 1000
    assert series_of(lives[0])[0].use_unit == "cycles"


def test_series_follow_the_limits_over_all_inspections() -> None:
    records = [inspected(100.0 * i, 25.0 * i, number=i) for i in range(1, 6)]
    (life,), _ = lives_of(records)
    found = series_of(life, limits())
    assert found[0].id == "long"
    assert [p.value.value for p in found[0].points] == pytest.approx(
        [1, 2, 3, 4, 5]
    )  # 0.04 mm/px
    assert found[0].limit == 5.0
    assert not found[0].points[0].reviewed
    assert "crack_width:largest" in [s.id for s in found]
    assert nearest_limit(found).id == "long"
    assert predict(found[0]).notes[-1].startswith("Some findings behind these points")


def test_a_refused_photo_is_no_zero() -> None:
    records = [inspected(100, 50, number=1), inspected(200, 50, number=2, usable=False)]
    (life,), _ = lives_of(records)
    value: Quantity = series_of(life, limits())[0].points[1].value
    assert isinstance(value, NotMeasured)
    assert "Too blurred." in value.reason


def test_a_total_counts_once_for_each_inspection() -> None:
    total = Criterion(id="sum", text="together", quantity="crack_length", statistic="total",
                      scope="part", limit=9.0, unit="mm")  # fmt: skip
    (life,), _ = lives_of([inspected(100, 100, number=1)])
    found = series_of(life, limits(total))
    assert found[0].points[0].value.value == pytest.approx(4.0)  # 100 px of 0.04 mm
    assert "crack_length:largest" in [s.id for s in found]


def test_fit_speed_is_even_over_lengths() -> None:
    """Many points are no trap: a fit of 200 is still one of a few curves."""
    uses = np.arange(200.0)
    found = predict(series(*[(t, 3 + 0.05 * t + 0.1 * np.sin(t)) for t in uses], limit=20.0))
    assert len(found.fits) == 3
