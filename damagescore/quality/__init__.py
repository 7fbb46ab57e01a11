"""The quality gate: may this photo be measured, and if not, why not and what to do."""

from damagescore.quality.gate import check_quality
from damagescore.quality.record import Amount, Check, Outcome, Quality
from damagescore.quality.rule import Bounds, QualityRule

__all__ = ["Amount", "Bounds", "Check", "Outcome", "Quality", "QualityRule", "check_quality"]
