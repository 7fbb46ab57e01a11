"""Limit sets, the decision rule, and the comparison of what was seen with the limits."""

from importlib.resources import files

from damagescore.limits.assess import (
    Assessment,
    CriterionResult,
    ItemResult,
    Outcome,
    assess,
    judge,
)
from damagescore.limits.decision import (
    Decision,
    DecisionRule,
    conformity_probability,
    decide,
)
from damagescore.limits.observation import Aspect, Observation
from damagescore.limits.quantities import (
    QuantityKind,
    hand_quantities,
    quantities,
    quantity_kind,
)
from damagescore.limits.reader import parse_limit_set, read_limit_set
from damagescore.limits.record import Criterion, LimitSet
from damagescore.limits.units import to_base
from damagescore.limits.writer import limit_set_to_toml

__all__ = [
    "Aspect",
    "Assessment",
    "Criterion",
    "CriterionResult",
    "Decision",
    "DecisionRule",
    "ItemResult",
    "LimitSet",
    "Observation",
    "Outcome",
    "QuantityKind",
    "assess",
    "conformity_probability",
    "decide",
    "demo_limit_set_text",
    "hand_quantities",
    "judge",
    "limit_set_to_toml",
    "parse_limit_set",
    "quantities",
    "quantity_kind",
    "read_limit_set",
    "to_base",
]


def demo_limit_set_text() -> str:
    """TOML text of the invented demonstration limits."""
    shipped = files("damagescore.limits").joinpath("demo_limits.toml")
    return shipped.read_text(encoding="utf-8")
