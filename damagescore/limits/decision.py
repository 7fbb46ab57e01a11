"""Whether a value is within a limit, given its uncertainty."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from damagescore.limits.faults import FieldError, choice_error, shown
from damagescore.limits.quantities import Direction
from damagescore.quantity import Measured, NotMeasured, Quantity

RuleKind = Literal["guarded", "simple", "custom"]
CriterionOutcome = Literal["within", "borderline", "exceeded", "not_measured"]

GUARD_FACTOR = 1.65
"""Factor on u for 95 % in one tail, as ISO 14253-1:2017 has it by default."""

NOISE = 1e-12
"""Relative difference that is rounding in binary arithmetic, not a difference."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DecisionRule:
    """How the uncertainty acts on a decision.

    Parameters
    ----------
    kind : "guarded", "simple" or "custom"
        "guarded": 1.65 u on both sides of the limit is undecided (the default of
        ISO 14253-1:2017). "simple": the value alone decides (simple acceptance,
        JCGM 106:2012, 8.2). "custom": `guard_factor` u is undecided.
    guard_factor : float
        Fixed by the kind unless it is "custom".
    """

    kind: RuleKind = "guarded"
    guard_factor: float = GUARD_FACTOR

    def __post_init__(self) -> None:
        fixed = {"guarded": GUARD_FACTOR, "simple": 0.0}
        if self.kind not in ("guarded", "simple", "custom"):
            raise choice_error("kind", self.kind, ("guarded", "simple", "custom"))
        factor = self.guard_factor
        if not math.isfinite(factor) or not 0 <= factor <= 10:
            raise FieldError(
                f"guard_factor is {shown(factor)}, outside 0 to 10.",
                remedy="Give the multiple of the standard uncertainty, for instance 1.65.",
                field="guard_factor",
            )
        if factor != fixed.get(self.kind, factor):
            raise FieldError(
                f'guard_factor is {shown(factor)}, but kind "{self.kind}" means '
                f"{fixed[self.kind]}.",
                remedy='Leave guard_factor out, or set kind = "custom".',
                field="guard_factor",
            )

    @classmethod
    def of(cls, kind: RuleKind, guard_factor: float | None = None) -> "DecisionRule":
        """Make a rule whose factor follows from its kind unless it is given."""
        usual = 0.0 if kind == "simple" else GUARD_FACTOR
        return cls(kind=kind, guard_factor=usual if guard_factor is None else guard_factor)

    @property
    def text(self) -> str:
        """One sentence for a report."""
        if self.guard_factor == 0:
            return "Decision rule: simple acceptance; the uncertainty does not move the limit."
        source = ", as ISO 14253-1:2017" if self.kind == "guarded" else ""
        return (
            f"Decision rule{source}: a value nearer to its limit than {self.guard_factor:g} "
            "standard uncertainties is borderline."
        )

    def to_dict(self) -> dict[str, Any]:
        return {"kind": self.kind, "guard_factor": self.guard_factor}

    @classmethod
    def from_dict(cls, plain: Mapping[str, Any]) -> "DecisionRule":
        return cls(kind=plain["kind"], guard_factor=plain["guard_factor"])


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """The result of comparing one value with one limit.

    Parameters
    ----------
    outcome : "within", "borderline", "exceeded" or "not_measured"
    usage : float or None
        Value over limit (limit over value for a lower limit); 1 is at the limit.
        Infinite where any damage exceeds a limit of 0; None when not measured.
    u_usage : float or None
        Standard uncertainty of the usage; None where the usage is not finite.
    probability_exceeding : float or None
        Probability that the true value violates the limit, normal distribution.
    reason : str
        Why there is no value.
    """

    outcome: CriterionOutcome
    usage: float | None = None
    u_usage: float | None = None
    probability_exceeding: float | None = None
    reason: str = ""


def decide(
    value: Quantity,
    limit: float,
    *,
    direction: Direction = "max",
    inclusive: bool = False,
    rule: DecisionRule | None = None,
) -> Decision:
    """Compare a value with a limit.

    A value beyond the limit by at least the guard band exceeds it, one short of it by
    at least the guard band is within; between them, on either side of the limit, it is
    borderline (ISO 14253-1:2017). Where there is no guard band the value alone decides,
    and `inclusive` says to which side the limit itself belongs.

    Parameters
    ----------
    value : Measured or NotMeasured
        In the unit of `limit`.
    limit : float
        0 means that no damage is allowed: 0 uses nothing of it, anything more is an
        infinite usage.
    direction : "max" or "min"
        An upper or a lower limit.
    inclusive : bool
        True where reaching the limit already violates it ("15 % or more").
    rule : DecisionRule, optional
        The guarded rule with 1.65 u by default.
    """
    if isinstance(value, NotMeasured):
        return Decision(outcome="not_measured", reason=value.reason)
    guard = (rule or DecisionRule()).guard_factor * value.u
    beyond = _beyond(value.value, limit, direction=direction)
    usage = _usage(value.value, limit, direction=direction)
    return Decision(
        outcome=_outcome(beyond, guard, noise=NOISE * max(abs(limit), abs(value.value), guard),
                         inclusive=inclusive),
        usage=usage,
        u_usage=_u_usage(value, limit, direction=direction),
        probability_exceeding=_probability(value, limit, direction=direction,
                                           inclusive=inclusive),
    )  # fmt: skip


def conformity_probability(
    value: Measured, *, lower: float = -math.inf, upper: float = math.inf
) -> float:
    """Probability that the true value lies between the limits (JCGM 106:2012, 7.2).

    Normal distribution of standard deviation `value.u`; with u = 0 the value decides
    and the limits belong to the interval.
    """
    if value.u == 0:
        return float(lower <= value.value <= upper)
    below = _phi((lower - value.value) / value.u)
    above = _phi((value.value - upper) / value.u)
    return max(0.0, 1.0 - below - above)


def _outcome(beyond: float, guard: float, *, noise: float, inclusive: bool) -> CriterionOutcome:
    # A percentage that is 25 but for the last bit must not turn the decision.
    if guard <= noise:
        at_limit = abs(beyond) <= noise
        violated = inclusive if at_limit else beyond > 0
        return "exceeded" if violated else "within"
    if beyond >= guard - noise:
        return "exceeded"
    return "within" if beyond <= noise - guard else "borderline"


def _beyond(value: float, limit: float, *, direction: Direction) -> float:
    return value - limit if direction == "max" else limit - value


def _usage(value: float, limit: float, *, direction: Direction) -> float:
    part, whole = (value, limit) if direction == "max" else (limit, value)
    if whole > 0:
        return max(0.0, part / whole)
    return 0.0 if part <= 0 else math.inf


def _u_usage(value: Measured, limit: float, *, direction: Direction) -> float | None:
    if direction == "max":
        return value.u / limit if limit > 0 else None
    return limit * value.u / value.value**2 if value.value > 0 else None


def _probability(
    value: Measured, limit: float, *, direction: Direction, inclusive: bool
) -> float:
    beyond = _beyond(value.value, limit, direction=direction)
    if value.u == 0:
        noise = NOISE * max(abs(limit), abs(value.value))
        return float(_outcome(beyond, 0.0, noise=noise, inclusive=inclusive) == "exceeded")
    return _phi(beyond / value.u)


def _phi(z: float) -> float:
    """Distribution function of the standard normal; accurate in both tails."""
    return 0.5 * math.erfc(-z / math.sqrt(2))
