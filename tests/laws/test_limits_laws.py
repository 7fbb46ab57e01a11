"""Laws of decisions and limit sets that hold for all numbers."""

import math

from hypothesis import given, settings
from hypothesis import strategies as st

from damagescore.limits import (
    Criterion,
    DecisionRule,
    LimitSet,
    Observation,
    assess,
    decide,
    limit_set_to_toml,
    parse_limit_set,
    quantities,
)
from damagescore.quantity import Measured

RANK = {"within": 0, "borderline": 1, "exceeded": 2}

values = st.floats(0, 1e4, allow_subnormal=False)
limits = st.floats(1e-3, 1e4)
spreads = st.floats(0, 1e3, allow_subnormal=False)
factors = st.floats(0, 10)
texts = st.text(
    st.characters(codec="utf-8", exclude_categories=["Cs", "Cc"]), min_size=1, max_size=40
).filter(lambda t: bool(t.strip()))


def _mm(value: float, u: float) -> Measured:
    return Measured(value=value, u=u, unit="mm")


@given(values, values, limits, spreads, factors, st.booleans())
def test_more_damage_is_never_judged_milder(
    a: float, b: float, limit: float, u: float, factor: float, inclusive: bool
) -> None:
    rule = DecisionRule(kind="custom", guard_factor=factor)
    less, more = sorted((a, b))
    low, high = (decide(_mm(x, u), limit, inclusive=inclusive, rule=rule) for x in (less, more))
    assert RANK[low.outcome] <= RANK[high.outcome]
    assert low.usage is not None
    assert high.usage is not None
    assert low.usage <= high.usage
    assert low.probability_exceeding <= high.probability_exceeding  # type: ignore[operator]


@given(values, limits, spreads, spreads, st.booleans())
def test_more_uncertainty_never_proves_more(
    value: float, limit: float, u1: float, u2: float, inclusive: bool
) -> None:
    sure, doubtful = (decide(_mm(value, u), limit, inclusive=inclusive)
                      for u in sorted((u1, u2)))  # fmt: skip
    if doubtful.outcome != "borderline" and u1 > 0 and u2 > 0:
        assert sure.outcome == doubtful.outcome


@given(values, limits, st.floats(1e-6, 1e3), st.booleans())
def test_proof_has_its_probability(
    value: float, limit: float, u: float, inclusive: bool
) -> None:
    decision = decide(_mm(value, u), limit, inclusive=inclusive)
    p = decision.probability_exceeding
    assert p is not None
    # 0.04947 is the normal tail beyond 1.65; 1e-6 covers the tolerance for rounding noise.
    if decision.outcome == "within":
        assert p <= 0.049472
    elif decision.outcome == "exceeded":
        assert p >= 1 - 0.049472
    else:
        assert 0.04947 <= p <= 1 - 0.04947


@given(values, limits, spreads, st.sampled_from([2.0**-4, 0.5, 4.0, 1024.0]))
def test_a_change_of_unit_changes_nothing(
    value: float, limit: float, u: float, factor: float
) -> None:
    # Powers of two scale without rounding.
    assert decide(_mm(value, u), limit) == decide(
        _mm(value * factor, u * factor), limit * factor
    )


@given(st.floats(-50, 50), st.floats(1, 100), st.floats(1e-3, 10))
def test_upper_and_lower_limits_mirror(offset: float, limit: float, u: float) -> None:
    upper = decide(_mm(limit + offset, u), limit)
    lower = decide(_mm(limit - offset, u), limit, direction="min")
    assert upper.outcome == lower.outcome
    assert math.isclose(
        upper.probability_exceeding,  # type: ignore[arg-type]
        lower.probability_exceeding,  # type: ignore[arg-type]
        rel_tol=1e-6, abs_tol=1e-12,  # limit ± offset rounds differently
    )  # fmt: skip


@given(st.lists(st.tuples(values, spreads), min_size=1, max_size=6), limits)
def test_score_is_that_of_the_worst_never_an_average(
    found: list[tuple[float, float]], limit: float
) -> None:
    criterion = Criterion(id="c", text="t", quantity="crack_length", limit=limit, unit="mm")
    seen = [
        Observation(quantity="crack_length", value=_mm(v, u), item=str(i), finding=True)
        for i, (v, u) in enumerate(found)
    ]
    result = assess(LimitSet(title="t", criteria=(criterion,)), seen)
    alone = [assess(LimitSet(title="t", criteria=(criterion,)), [o]).outcome for o in seen]
    assert RANK[result.outcome] == max(RANK[o] for o in alone)
    worst = max(RANK[o] for o in alone)
    usages = [v / limit for (v, _), o in zip(found, alone, strict=True) if RANK[o] == worst]
    assert result.score == 100 * max(usages)


@st.composite
def criteria(draw: st.DrawFn) -> Criterion:
    kind = draw(st.sampled_from(quantities()))
    statistic = draw(st.sampled_from(
        [s for s in kind.statistics if ("min" if s == "smallest" else "max") in kind.directions]
    ))  # fmt: skip
    unit = {"count": "1", "share": "%"}.get(statistic, kind.unit)
    if unit in ("mm", "mm2"):
        unit = draw(st.sampled_from([unit, unit.replace("mm", "in")]))
    sized = statistic in ("total", "count") and draw(st.booleans())
    sums = statistic in ("total", "count", "share")
    return Criterion(
        id=draw(texts), text=draw(texts), quantity=kind.name, statistic=statistic,
        direction="min" if statistic == "smallest" else "max", unit=unit,  # type: ignore[arg-type]
        scope=draw(st.sampled_from(["part", "layer"] if sums else ["finding", "layer"])),
        limit=draw(st.floats(1e-6, 1e6)), inclusive=draw(st.booleans()),
        min_size=draw(st.floats(0, 1e3)) if sized else None,
        min_size_unit=kind.unit if sized else None,
    )  # fmt: skip


sets = st.builds(
    LimitSet,
    title=texts,
    source_document=st.just("") | texts,
    revision=st.just("") | texts,
    notes=st.just("") | texts,
    effective_date=st.just("") | st.dates().map(lambda d: d.isoformat()),
    unit=st.sampled_from(["mm", "in"]),
    invented=st.booleans(),
    criteria=st.lists(criteria(), min_size=1, max_size=4, unique_by=lambda c: c.id).map(tuple),
    decision=st.sampled_from([DecisionRule.of("simple"), DecisionRule()])
    | factors.map(lambda f: DecisionRule(kind="custom", guard_factor=f)),
)


@settings(deadline=None, max_examples=40)
@given(sets, sets)
def test_written_limits_read_back_equal(limits: LimitSet, before: LimitSet) -> None:
    assert LimitSet.from_dict(limits.to_dict()) == limits
    text = limit_set_to_toml(limits)
    assert parse_limit_set(text) == limits
    # Also over any other file, and over itself without a change.
    assert parse_limit_set(limit_set_to_toml(limits, previous_text=limit_set_to_toml(before))) \
        == limits  # fmt: skip
    assert limit_set_to_toml(limits, previous_text=text) == text
