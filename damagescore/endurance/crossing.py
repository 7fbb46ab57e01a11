"""The hour at which a series reaches its criterion."""

from damagescore.endurance.record import Lifetime
from damagescore.errors import UsageError
from damagescore.history.record import Series
from damagescore.limits import DecisionRule, decide
from damagescore.quantity import Measured


def lifetime_of(series: Series) -> Lifetime:
    """Between which inspections the criterion was reached.

    From the last inspection that shows it not reached to the first that shows it
    reached, both by the decision rule of the limits: borderline inspections between
    them, and those without a value, widen the interval. Where no later inspection shows
    it reached, the life is censored at the last that shows it not reached.

    Raises
    ------
    UsageError
        When the series has no limit.
    """
    rule = DecisionRule(kind="custom", guard_factor=series.guard_factor)
    limit = _limit(series)
    low = 0.0
    for point in sorted(series.points, key=lambda p: p.use):
        outcome = decide(
            point.value, limit, direction=series.direction, inclusive=series.inclusive,
            rule=rule,
        ).outcome  # fmt: skip
        if outcome == "exceeded":
            return Lifetime(low=low, high=point.use)
        if outcome == "within":
            low = point.use
    return Lifetime(low=low, high=None)


def interpolated(series: Series) -> float | None:
    """Hour at which straight lines between the values reach the limit; None if they never do.

    An estimate within the interval of `lifetime_of`, as growth between two inspections
    is not seen. Known bias: late where growth speeds up.
    """
    limit = _limit(series)
    sign = 1.0 if series.direction == "max" else -1.0
    before: tuple[float, Measured] | None = None
    for use, value in sorted(series.measured, key=lambda p: p[0]):
        if sign * (value.value - limit) >= 0:
            if before is None:
                return use
            start, old = before
            share = (limit - old.value) / (value.value - old.value)
            return start + share * (use - start)
        before = (use, value)
    return None


def _limit(series: Series) -> float:
    if series.limit is None:
        raise UsageError(
            f"{series.label} has no limit, so nothing can be reached.",
            remedy="Name a limit set with a criterion for it.",
        )
    return series.limit
