"""The answers of a study: an estimate with its interval, or why there is none."""

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A statistic with its two-sided confidence interval.

    Parameters
    ----------
    value, low, high : float
        Best estimate and the ends of the interval.
    n : int
        Subjects (photos, parts, sites) that it rests on.
    method : str
        Name of the statistic and of the way to its interval, in words.
    confidence : float
        0.95 for a 95 % interval.
    """

    value: float
    low: float
    high: float
    n: int
    method: str
    confidence: float = 0.95

    def to_dict(self) -> dict[str, Any]:
        return {
            "value": self.value, "low": self.low, "high": self.high, "n": self.n,
            "method": self.method, "confidence": self.confidence,
        }  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class NoEstimate:
    """A statistic that these data do not determine: never the same as 0."""

    reason: str
    method: str

    def to_dict(self) -> dict[str, Any]:
        return {"value": None, "reason": self.reason, "method": self.method}


Answer = Estimate | NoEstimate
