"""The verdict on a photo: single checks with their values, and whether it is usable."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

Outcome = Literal["pass", "warn", "refuse"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One check of a photo.

    Parameters
    ----------
    name : str
        "scale", "scale_uncertainty", "edge", "focus", "focus_rubber", "resolution",
        "exposure", "exposure_mark", "glare", "tilt", "marks", "planes", "layers".
    outcome : "pass", "warn" or "refuse"
    value : float or None
        None where nothing could be measured.
    unit : str
        Unit of the value; empty where there is none.
    message : str
        One sentence with the value and, unless passed, what to do.
    """

    name: str
    outcome: Outcome
    value: float | None
    unit: str
    message: str

    def to_dict(self) -> dict[str, Any]:
        return {
            "name": self.name,
            "outcome": self.outcome,
            "value": self.value,
            "unit": self.unit,
            "message": self.message,
        }

    @classmethod
    def from_dict(cls, plain: Mapping[str, Any]) -> "Check":
        return cls(
            name=plain["name"],
            outcome=plain["outcome"],
            value=plain["value"],
            unit=plain["unit"],
            message=plain["message"],
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Quality:
    """All checks of a photo; it is usable when none of them refuses it."""

    usable: bool
    checks: tuple[Check, ...]

    @classmethod
    def of(cls, checks: tuple[Check, ...]) -> "Quality":
        """Judge by the worst check."""
        return cls(usable=all(c.outcome != "refuse" for c in checks), checks=checks)

    def to_dict(self) -> dict[str, Any]:
        return {"usable": self.usable, "checks": [c.to_dict() for c in self.checks]}

    @classmethod
    def from_dict(cls, plain: Mapping[str, Any]) -> "Quality":
        return cls(
            usable=plain["usable"],
            checks=tuple(Check.from_dict(c) for c in plain["checks"]),
        )
