"""What the inspections of one life say of each limit and each quantity over time."""

from collections.abc import Iterable

from damagescore.history.lives import Life, use_of
from damagescore.history.record import Point, Series
from damagescore.inspection import n_proposed, observations_of
from damagescore.inspection.record import Inspection
from damagescore.limits import Criterion, LimitSet, Observation, QuantityKind, judge, quantities
from damagescore.limits.quantities import Statistic
from damagescore.quantity import NotMeasured

STATISTIC_WORDS = {
    "largest": "largest", "longest": "longest", "smallest": "smallest", "total": "total",
    "count": "number", "share": "share",
}  # fmt: skip


def limit_set_of(life: Life) -> LimitSet | None:
    """Give the limits that the latest assessed inspection of a life was compared with."""
    for inspection in reversed(life.inspections):
        if inspection.limit_set is not None:
            return LimitSet.from_dict(inspection.limit_set)
    return None


def series_of(life: Life, limit_set: LimitSet | None = None) -> tuple[Series, ...]:
    """Every criterion, then every quantity without one, against hours or cycles.

    All inspections are compared with one limit set, so that a change of limits does not
    look like a change of the part.

    Parameters
    ----------
    life : Life
    limit_set : LimitSet, optional
        That of the latest assessed inspection by default.
    """
    limits = limit_set or limit_set_of(life)
    seen = [(i, observations_of(i)) for i in life.inspections]
    found = []
    if limits is not None:
        found += [_of_criterion(c, limits, life, seen) for c in limits.criteria]
    asked = _asked(limits)
    found += [
        _of_quantity(kind, statistic, life, seen)
        for kind in quantities()
        for statistic in kind.statistics[:1]
        if (kind.name, statistic) not in asked and _anything(kind, seen)
    ]
    return tuple(found)


def nearest_limit(series: Iterable[Series]) -> Series | None:
    """Give the series whose last value uses most of its limit."""
    known = [s for s in series if s.limit and s.measured]
    return max(known, key=usage_of, default=None)


def usage_of(series: Series) -> float:
    """Last value over the limit, or limit over value for a lower limit."""
    assert series.limit is not None
    value = series.measured[-1][1].value
    if series.direction == "min":
        return series.limit / value if value > 0 else float("inf")
    return value / series.limit


_Seen = list[tuple[Inspection, tuple[Observation, ...]]]


def _asked(limits: LimitSet | None) -> set[tuple[str, str]]:
    same = {"longest": "largest"}
    criteria = () if limits is None else limits.criteria
    return {(c.quantity, same.get(c.statistic, c.statistic)) for c in criteria}


def _anything(kind: QuantityKind, seen: _Seen) -> bool:
    """Whether any inspection found or measured something of a kind."""
    return any(o.quantity == kind.name and o.finding for _, found in seen for o in found)


def _of_criterion(criterion: Criterion, limits: LimitSet, life: Life, seen: _Seen) -> Series:
    return Series(
        id=criterion.id,
        label=_label(criterion),
        unit=criterion.base_unit,
        axis=life.axis,
        points=tuple(_point(criterion, limits, life, i, found) for i, found in seen),
        limit=criterion.base_limit,
        direction=criterion.direction,
        inclusive=criterion.inclusive,
        guard_factor=limits.decision.guard_factor,
        text=criterion.text,
        invented=limits.invented,
    )


def _of_quantity(kind: QuantityKind, statistic: Statistic, life: Life, seen: _Seen) -> Series:
    criterion = Criterion(
        id=kind.name, text=kind.label, quantity=kind.name, statistic=statistic,
        # Only the value is taken from it: nothing is compared with this number.
        limit=1.0, unit=kind.unit, direction="min" if statistic == "smallest" else "max",
    )  # fmt: skip
    limits = LimitSet(title=kind.label, criteria=(criterion,))
    return Series(
        id=f"{kind.name}:{statistic}",
        label=_label(criterion),
        unit=criterion.base_unit,
        axis=life.axis,
        points=tuple(_point(criterion, limits, life, i, found) for i, found in seen),
        direction=criterion.direction,
    )


def _label(criterion: Criterion) -> str:
    words = criterion.kind.label
    label = f"{words}, {STATISTIC_WORDS[criterion.statistic]}"
    if criterion.statistic == "share" and criterion.kind.share_of:
        label = f"{words}, share of the {criterion.kind.share_of}"
    if criterion.scope == "layer":
        label += " of any layer"
    return label[:1].upper() + label[1:]


def _point(
    criterion: Criterion,
    limits: LimitSet,
    life: Life,
    inspection: Inspection,
    found: tuple[Observation, ...],
) -> Point:
    result = judge(criterion, found, rule=limits.decision)
    use = use_of(inspection.part, life.axis)
    assert use is not None
    value = result.value
    if not result.complete and result.outcome != "exceeded":
        # The largest of what could be seen says nothing of what could not.
        value = NotMeasured(reason=result.reason, unit=criterion.base_unit)
    return Point(
        use=use, value=value, record_id=inspection.id, at=inspection.created_at,
        reviewed=n_proposed(inspection) == 0,
    )  # fmt: skip
