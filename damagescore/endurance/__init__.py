"""Endurance tests of several parts on one load spectrum, and their comparison."""

from damagescore.endurance.compare import (
    Comparison,
    CriterionComparison,
    compare,
)
from damagescore.endurance.life import LifeRatio, NoRatio, life_ratio
from damagescore.endurance.record import Ending, Lifetime, Specimen

__all__ = [
    "Comparison",
    "CriterionComparison",
    "Ending",
    "LifeRatio",
    "Lifetime",
    "NoRatio",
    "Specimen",
    "compare",
    "life_ratio",
]
