"""The verdict on a photo: single checks with their values, and whether it is usable."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any, Literal

from damagescore.quantity import MM_PER_INCH, Length

Outcome = Literal["pass", "warn", "refuse"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Amount:
    """A number in a sentence that is shown in the unit chosen.

    Parameters
    ----------
    value : float
    unit : "mm" or "px/mm"
    form : str
        Format of the number in that unit; in inches three figures are kept.
    """

    value: float
    unit: Literal["mm", "px/mm"]
    form: str = ".3g"

    def words(self, unit: Length) -> str:
        """Number and unit."""
        if unit == "mm":
            return f"{self.value:{self.form}} {self.unit}"
        if self.unit == "mm":
            return f"{self.value / MM_PER_INCH:.3g} in"
        return f"{self.value * MM_PER_INCH:.3g} px/in"


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One check of a photo.

    Parameters
    ----------
    name : str
        "scale", "scale_uncertainty", "edge", "focus", "focus_rubber", "resolution",
        "exposure", "exposure_mark", "glare", "tilt", "marks", "planes", "lens", "layers".
    outcome : "pass", "warn" or "refuse"
    value : float or None
        None where nothing could be measured.
    unit : str
        Unit of the value; empty where there is none.
    message : str
        One sentence with the value and, unless passed, what to do; a name in braces
        stands for an amount. Shown by `words`.
    amounts : mapping of str to Amount
        Numbers of the sentence that follow the unit; empty leaves the sentence as it is.
    """

    name: str
    outcome: Outcome
    value: float | None
    unit: str
    message: str
    amounts: Mapping[str, Amount] = field(default_factory=dict)

    def words(self, unit: Length = "mm") -> str:
        """The sentence with its amounts in the unit chosen."""
        if not self.amounts:
            return self.message
        return self.message.format(**{k: a.words(unit) for k, a in self.amounts.items()})

    def to_dict(self) -> dict[str, Any]:
        """As plain data; "message" is the sentence in millimetres, for any reader."""
        plain: dict[str, Any] = {
            "name": self.name,
            "outcome": self.outcome,
            "value": self.value,
            "unit": self.unit,
            "message": self.words(),
        }
        if self.amounts:
            plain["wording"] = {
                "text": self.message,
                "amounts": {k: asdict(a) for k, a in self.amounts.items()},
            }
        return plain

    @classmethod
    def from_dict(cls, plain: Mapping[str, Any]) -> "Check":
        # Records of earlier versions hold the finished sentence alone.
        wording = plain.get("wording") or {"text": plain["message"], "amounts": {}}
        return cls(
            name=plain["name"],
            outcome=plain["outcome"],
            value=plain["value"],
            unit=plain["unit"],
            message=wording["text"],
            amounts={k: Amount(**a) for k, a in wording["amounts"].items()},
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
