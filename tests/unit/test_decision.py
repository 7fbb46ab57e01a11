"""The corner cases of a decision and of an assessment."""

import json
import math
from typing import Any

import pytest

from damagescore.errors import LimitError
from damagescore.limits import (
    Assessment,
    Criterion,
    DecisionRule,
    LimitSet,
    Observation,
    assess,
    conformity_probability,
    decide,
    judge,
)
from damagescore.quantity import Contribution, Measured, NotMeasured, from_budget

GUARDED = DecisionRule()


def _mm(value: float, u: float = 0.0) -> Measured:
    return Measured(value=value, u=u, unit="mm")


def _criterion(**given: Any) -> Criterion:
    usual: dict[str, Any] = {"id": "c", "text": "t", "quantity": "crack_length", "limit": 10.0}
    return Criterion(**{**usual, "unit": "mm", **given})


def _crack(number: int, value: Any, **given: Any) -> Observation:
    usual: dict[str, Any] = {"finding": True, "photo": 1, "layer": 0}
    return Observation(
        quantity="crack_length", value=value, item=f"crack-{number}, photo 1",
        **{**usual, **given},
    )  # fmt: skip


def _set(*criteria: Criterion, **given: Any) -> LimitSet:
    return LimitSet(title="Invented", criteria=criteria, **given)


@pytest.mark.parametrize(
    ("value", "inclusive", "outcome", "probability"),
    [
        (9.99, False, "within", 0.0), (10.0, False, "within", 0.0),
        (10.01, False, "exceeded", 1.0), (9.99, True, "within", 0.0),
        (10.0, True, "exceeded", 1.0), (10.01, True, "exceeded", 1.0),
    ],
)  # fmt: skip
def test_without_uncertainty_the_value_decides(
    value: float, inclusive: bool, outcome: str, probability: float
) -> None:
    decision = decide(_mm(value), 10.0, inclusive=inclusive)
    assert (decision.outcome, decision.probability_exceeding) == (outcome, probability)


@pytest.mark.parametrize(
    ("value", "inclusive", "outcome"),
    [
        (10.01, False, "within"), (10.0, False, "within"), (9.99, False, "exceeded"),
        (10.01, True, "within"), (10.0, True, "exceeded"), (9.99, True, "exceeded"),
    ],
)  # fmt: skip
def test_lower_limit(value: float, inclusive: bool, outcome: str) -> None:
    decision = decide(_mm(value), 10.0, direction="min", inclusive=inclusive)
    assert decision.outcome == outcome


def test_simple_rule_ignores_the_uncertainty_but_not_the_probability() -> None:
    rule = DecisionRule.of("simple")
    decision = decide(_mm(10.1, 1.0), 10.0, rule=rule)
    assert decision.outcome == "exceeded"
    # Normal table: 0.1 standard deviations, 0.53983; half of the last digit.
    assert decision.probability_exceeding == pytest.approx(0.53983, abs=5e-6)
    assert decide(_mm(9.9, 1.0), 10.0, rule=rule).outcome == "within"


def test_usage_and_its_uncertainty() -> None:
    upper = decide(_mm(4.0, 0.5), 10.0)
    assert (upper.usage, upper.u_usage) == (0.4, 0.05)
    lower = decide(_mm(40.0, 2.0), 10.0, direction="min")
    assert lower.usage == 0.25
    # d(L/v) = L u / v²
    assert lower.u_usage == pytest.approx(10 * 2.0 / 1600, rel=1e-12)
    assert decide(_mm(-0.1, 0.2), 10.0).usage == 0.0


def test_limit_of_zero_allows_nothing() -> None:
    none = decide(_mm(0.0), 0.0)
    assert (none.outcome, none.usage, none.u_usage) == ("within", 0.0, None)
    some = decide(_mm(0.3, 0.1), 0.0)
    assert (some.outcome, some.usage) == ("exceeded", math.inf)
    doubtful = decide(_mm(0.1, 0.1), 0.0)
    assert (doubtful.outcome, doubtful.usage) == ("borderline", math.inf)
    gone = decide(_mm(0.0), 5.0, direction="min")
    assert (gone.outcome, gone.usage) == ("exceeded", math.inf)


def test_not_measured_decides_nothing() -> None:
    decision = decide(NotMeasured(reason="No photo.", unit="mm"), 10.0)
    assert decision.outcome == "not_measured"
    assert (decision.usage, decision.probability_exceeding) == (None, None)
    assert decision.reason == "No photo."


def test_conformity_without_uncertainty() -> None:
    assert conformity_probability(_mm(3.0), lower=3.0, upper=4.0) == 1.0
    assert conformity_probability(_mm(4.0), lower=3.0, upper=4.0) == 1.0
    assert conformity_probability(_mm(4.1), lower=3.0, upper=4.0) == 0.0


@pytest.mark.parametrize("factor", [-0.1, 10.1, math.nan, math.inf])
def test_senseless_guard_factors_are_refused(factor: float) -> None:
    with pytest.raises(LimitError, match="guard_factor"):
        DecisionRule(kind="custom", guard_factor=factor)


def test_rule_text_names_its_factor() -> None:
    assert "1.65" in GUARDED.text
    assert "ISO 14253-1" in GUARDED.text
    assert "2.5" in DecisionRule.of("custom", 2.5).text
    assert "ISO" not in DecisionRule.of("custom", 2.5).text
    assert "simple acceptance" in DecisionRule.of("simple").text


def test_worst_item_is_named_and_all_are_listed() -> None:
    seen = [_crack(1, _mm(3.0)), _crack(2, _mm(7.0), layer=4), _crack(3, _mm(5.0))]
    result = judge(_criterion(), seen, rule=GUARDED)
    assert (result.item, result.layer, result.usage) == ("crack-2, photo 1", 4, 0.7)
    assert [i.item[:7] for i in result.items] == ["crack-2", "crack-3", "crack-1"]
    assert (result.outcome, result.complete) == ("within", True)


def test_worst_outcome_goes_before_the_larger_usage() -> None:
    # 9.9 ± 0.01 is proven within; 9.5 ± 1 is not.
    seen = [_crack(1, _mm(9.9, 0.01)), _crack(2, _mm(9.5, 1.0))]
    result = judge(_criterion(), seen, rule=GUARDED)
    assert (result.outcome, result.item) == ("borderline", "crack-2, photo 1")


def test_smallest_looks_at_the_lowest_value() -> None:
    criterion = _criterion(
        quantity="free_height", statistic="smallest", direction="min", limit=40.0
    )
    seen = [
        Observation(quantity="free_height", value=_mm(v), item=str(v), finding=True)
        for v in (44.0, 39.0, 41.0)
    ]
    result = judge(criterion, seen, rule=GUARDED)
    assert (result.outcome, result.item) == ("exceeded", "39.0")


def test_total_adds_over_the_part_and_the_shared_scale_linearly() -> None:
    lines = (Contribution(source="scale", u=0.3), Contribution(source="tip position", u=0.4))
    seen = [_crack(n, from_budget(4.0, lines, unit="mm"), layer=n) for n in (0, 2)]
    result = judge(_criterion(statistic="total", scope="part"), seen, rule=GUARDED)
    assert isinstance(result.value, Measured)
    assert result.value.value == 8.0
    # (0.3 + 0.3)² + 0.4² + 0.4²
    assert result.value.u == pytest.approx(math.sqrt(0.36 + 0.32), rel=1e-12)
    assert result.item == "2 findings"
    per_layer = judge(_criterion(statistic="total", scope="layer"), seen, rule=GUARDED)
    assert [i.value.value for i in per_layer.items] == [4.0, 4.0]  # type: ignore[union-attr]


def test_small_items_are_left_out_of_totals_and_counts() -> None:
    seen = [_crack(1, _mm(1.9)), _crack(2, _mm(2.0)), _crack(3, _mm(6.0))]
    least: dict[str, Any] = {"min_size": 2.0, "min_size_unit": "mm", "scope": "part"}
    summed = judge(_criterion(statistic="total", **least), seen, rule=GUARDED)
    assert summed.value == Measured(
        value=8.0, u=0.0, unit="mm",
        budget=(Contribution(source="scale", u=0.0), Contribution(source="all others", u=0.0)),
    )  # fmt: skip
    counted = judge(_criterion(statistic="count", unit="1", **least), seen, rule=GUARDED)
    assert counted.value == Measured(value=2.0, u=0.0, unit="1")


def test_items_near_the_smallest_size_make_a_count_uncertain() -> None:
    seen = [_crack(1, _mm(2.0, 0.1)), _crack(2, _mm(6.0, 0.1)), _crack(3, _mm(2.0, 0.1))]
    criterion = _criterion(
        statistic="count", unit="1", scope="part", limit=3.0, min_size=2.0, min_size_unit="mm"
    )
    result = judge(criterion, seen, rule=GUARDED)
    assert isinstance(result.value, Measured)
    # Two items at even odds: sqrt(2 · 0.25).
    assert result.value.u == pytest.approx(math.sqrt(0.5), rel=1e-12)
    assert result.value.value == 3.0
    assert result.outcome == "borderline"
    total = judge(
        _criterion(statistic="total", scope="part", min_size=2.0, min_size_unit="mm"),
        [_crack(1, _mm(2.0, 0.1))], rule=GUARDED,
    )  # fmt: skip
    assert isinstance(total.value, Measured)
    # Own 0.1, and even odds that its 2 mm do not count: 2 · 0.5.
    assert total.value.u == pytest.approx(math.hypot(0.1, 1.0), rel=1e-12)


def test_findings_of_unknown_size_count_where_every_size_counts() -> None:
    unknown = NotMeasured(reason="No scale.", unit="mm")
    seen = [_crack(1, unknown), _crack(2, _mm(3.0))]
    criterion = _criterion(statistic="count", unit="1", scope="part", limit=1.0)
    result = judge(criterion, seen, rule=GUARDED)
    assert (result.outcome, result.complete) == ("exceeded", True)
    total = judge(_criterion(statistic="total", scope="part"), seen, rule=GUARDED)
    assert (total.outcome, total.complete) == ("not_measured", False)
    assert "No scale." in total.reason
    assert total.usage == 0.3


def test_a_photo_that_cannot_be_judged_proves_nothing() -> None:
    refused = Observation(
        quantity="crack_length", value=NotMeasured(reason="Blurred.", unit="mm"),
        item="photo 2", photo=2,
    )  # fmt: skip
    for statistic, scope in (("largest", "finding"), ("total", "part"), ("total", "layer")):
        criterion = _criterion(statistic=statistic, scope=scope)
        result = judge(criterion, [_crack(1, _mm(3.0)), refused], rule=GUARDED)
        assert (result.outcome, result.complete) == ("not_measured", False)
        assert (result.usage, "photo 2: Blurred." in result.reason) == (0.3, True)
        over = judge(criterion, [_crack(1, _mm(13.0)), refused], rule=GUARDED)
        assert (over.outcome, over.complete) == ("exceeded", False)


def test_nothing_measured_says_what_to_do() -> None:
    depth = _criterion(quantity="crack_depth")
    result = judge(depth, [_crack(1, _mm(3.0))], rule=GUARDED)
    assert result.outcome == "not_measured"
    assert "hand measurement" in result.reason
    assert result.usage is None


def test_exceeded_goes_before_not_fully_assessed_before_borderline() -> None:
    long, wide = _criterion(), _criterion(id="w", quantity="crack_width")
    known = assess(_set(long, wide), [_crack(1, _mm(10.0, 1.0))])
    assert (known.outcome, known.fully_assessed) == ("not_fully_assessed", False)
    assert known.score == 100.0
    over = assess(_set(wide, long), [_crack(1, _mm(20.0, 1.0))])
    assert (over.outcome, over.fully_assessed, over.worst) == ("exceeded", False, "c")
    assert over.score == 200.0
    only = assess(_set(long), [_crack(1, _mm(10.0, 1.0))])
    assert (only.outcome, only.fully_assessed) == ("borderline", True)
    fine = assess(_set(long), [_crack(1, _mm(1.0, 0.1))])
    assert (fine.outcome, fine.score) == ("within", 10.0)
    empty = assess(_set(long), [])
    assert (empty.outcome, empty.score, empty.worst) == ("not_fully_assessed", None, None)


def test_proposed_findings_count_until_rejected() -> None:
    zero = Observation(quantity="crack_length", value=_mm(0.0), item="photo 1", photo=1)
    seen = [_crack(1, _mm(20.0), proposed=True), _crack(2, _mm(4.0)), zero]
    result = assess(_set(_criterion()), seen)
    assert (result.outcome, result.score, result.n_proposed) == ("exceeded", 200.0, 1)
    assert (result.confirmed_outcome, result.confirmed_score) == ("within", 40.0)
    assert "Not reviewed, counted until rejected: 1 proposed finding." in result.notes
    reviewed = assess(_set(_criterion()), [_crack(1, _mm(20.0)), zero])
    assert reviewed.n_proposed == 0
    assert (reviewed.confirmed_outcome, reviewed.confirmed_score) == ("exceeded", 200.0)
    assert not reviewed.notes


def test_a_share_can_be_had_without_its_proposals() -> None:
    share = Observation(
        quantity="crack_length", value=Measured(value=50.0, u=1.0, unit="%"), item="all",
        aspect="part_share", photo=1,
        confirmed_value=Measured(value=20.0, u=1.0, unit="%"),
    )  # fmt: skip
    proposed = _crack(1, _mm(5.0), proposed=True)
    limits = _set(_criterion(statistic="share", scope="part", unit="%", limit=25.0))
    result = assess(limits, [share, proposed])
    assert (result.score, result.confirmed_score) == (200.0, 80.0)
    # A share of a layer is another thing than one of the whole.
    layer = _set(_criterion(statistic="share", scope="layer", unit="%", limit=25.0))
    assert assess(layer, [share]).outcome == "not_fully_assessed"


def test_sums_over_photos_carry_a_note() -> None:
    seen = [_crack(1, _mm(3.0)), _crack(2, _mm(3.0), photo=2)]
    total = _criterion(statistic="total", scope="part")
    assert any("counted twice" in n for n in assess(_set(total), seen).notes)
    assert not assess(_set(total), seen[:1]).notes
    assert not assess(_set(_criterion()), seen).notes


def test_limits_in_inches_are_compared_in_millimetres() -> None:
    result = judge(_criterion(limit=0.1, unit="in"), [_crack(1, _mm(2.54))], rule=GUARDED)
    assert (result.limit, result.unit, result.usage) == (2.54, "mm", 1.0)
    assert (result.limit_as_written, result.unit_as_written) == (0.1, "in")
    assert result.outcome == "within"


def test_plain_form_is_json_and_comes_back_equal() -> None:
    zero = _criterion(id="z", limit=0.0)
    invented = _set(_criterion(), zero, invented=True)
    result = assess(invented, [_crack(1, _mm(5.0, 0.1), proposed=True)])
    assert result.score == math.inf
    plain = json.loads(json.dumps(result.to_dict(), allow_nan=False))
    assert plain["score"] is None
    assert plain["score_unbounded"] is True
    assert Assessment.from_dict(plain) == result
    assert any("invented" in note for note in result.notes)
