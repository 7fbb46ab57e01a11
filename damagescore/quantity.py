"""Measured values with standard uncertainty, their budgets, units and rounding."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any, Literal

Unit = Literal["mm", "mm2", "%", "1", "deg", "in", "in2"]
Length = Literal["mm", "in"]

MM_PER_INCH = 25.4
"""Exact by definition (international yard and pound agreement, 1959)."""

COVERAGE_FACTOR_95 = 1.96
"""Normal quantile for a two-sided 95 % interval."""

NOT_JUDGED = "not judged"
"""Source of what may be hidden where a photo could not be judged."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Contribution:
    """One line of an uncertainty budget.

    Parameters
    ----------
    source : str
        Plain words, for instance "scale" or "tip position".
    u : float
        Standard uncertainty (k = 1) that this source gives to the result, in
        the unit of the result.
    """

    source: str
    u: float

    def to_dict(self) -> dict[str, Any]:
        return {"source": self.source, "u": self.u}


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A value with its standard uncertainty (k = 1).

    Parameters
    ----------
    value : float
        Best estimate, in `unit`.
    u : float
        Combined standard uncertainty, in `unit`, never negative.
    unit : str
        "mm", "mm2", "%", "1", "deg".
    budget : tuple of Contribution
        The sources behind `u`; their root sum of squares is `u` when they are
        independent (GUM, JCGM 100:2008, 5.1.2).
    """

    value: float
    u: float
    unit: Unit
    budget: tuple[Contribution, ...] = ()

    def __post_init__(self) -> None:
        if not math.isfinite(self.value) or not math.isfinite(self.u) or self.u < 0:
            raise ValueError(f"value {self.value} with u {self.u} is not a measurement")

    @property
    def interval95(self) -> tuple[float, float]:
        """Two-sided 95 % interval for a normal distribution."""
        half = COVERAGE_FACTOR_95 * self.u
        return self.value - half, self.value + half

    def scaled(self, factor: float, *, unit: Unit) -> "Measured":
        """Return the same quantity times `factor`, in another unit."""
        budget = tuple(Contribution(source=c.source, u=abs(factor) * c.u) for c in self.budget)
        return Measured(
            value=self.value * factor, u=self.u * abs(factor), unit=unit, budget=budget
        )

    def to_dict(self, *, with_budget: bool = True) -> dict[str, Any]:
        plain: dict[str, Any] = {"value": self.value, "u": self.u, "unit": self.unit}
        if with_budget and self.budget:
            plain["budget"] = [c.to_dict() for c in self.budget]
        return plain


@dataclass(frozen=True, slots=True, kw_only=True)
class NotMeasured:
    """A quantity that could not be measured: never the same as 0."""

    reason: str
    unit: Unit

    def to_dict(self, *, with_budget: bool = True) -> dict[str, Any]:  # noqa: ARG002 - same call as for a measured value
        return {"value": None, "u": None, "unit": self.unit, "reason": self.reason}


Quantity = Measured | NotMeasured


def from_budget(value: float, contributions: Iterable[Contribution], *, unit: Unit) -> Measured:
    """Combine independent contributions by root sum of squares (GUM 5.1.2)."""
    budget = tuple(contributions)
    u = math.sqrt(math.fsum(c.u**2 for c in budget))
    return Measured(value=value, u=u, unit=unit, budget=budget)


def quantity_from_dict(plain: Mapping[str, Any]) -> Quantity:
    """Read back what `to_dict` wrote."""
    if plain["value"] is None:
        return NotMeasured(reason=plain.get("reason", ""), unit=plain["unit"])
    budget = tuple(Contribution(source=c["source"], u=c["u"]) for c in plain.get("budget", ()))
    return Measured(value=plain["value"], u=plain["u"], unit=plain["unit"], budget=budget)


def total(parts: Iterable[Measured], *, unit: Unit, shared: str = "scale") -> Measured:
    """Sum quantities that share one fully correlated source.

    Contributions named `shared` add linearly (one scale serves every finding of
    a photo), all others as root sum of squares (GUM 5.2.2, note 1).
    """
    parts = tuple(parts)
    # Within one part, lines of the same name are independent, as `from_budget` has them.
    linear = math.fsum(
        math.hypot(*(c.u for c in p.budget if c.source == shared)) for p in parts
    )
    rest = math.sqrt(
        math.fsum(c.u**2 for p in parts for c in p.budget if c.source != shared)
        + math.fsum(p.u**2 for p in parts if not p.budget)
    )
    lines = (Contribution(source=shared, u=linear), Contribution(source="all others", u=rest))
    return from_budget(math.fsum(p.value for p in parts), lines, unit=unit)


def itemised(
    measured: Measured, parts: Iterable[Contribution], *, shared: str = "scale"
) -> tuple[Contribution, ...]:
    """Lines of a budget, largest first, with the shared line split into its own sources.

    Parameters
    ----------
    measured : Measured
    parts : iterable of Contribution
        Budget of the shared source, in any one unit: only the shares of its variance
        count. Empty leaves the shared line whole.
    shared : str
        Name of the line to split.

    Returns
    -------
    tuple of Contribution
        In the unit of `measured`; the root sum of squares is unchanged.
    """
    sources = [p for p in parts if p.u > 0]
    whole = math.hypot(*(p.u for p in sources))
    lines = []
    for line in measured.budget:
        if line.source == shared and whole > 0:
            lines += [
                Contribution(source=f"{shared}: {p.source}", u=line.u * p.u / whole)
                for p in sources
            ]
        else:
            lines.append(line)
    return tuple(sorted(lines, key=lambda c: -c.u))


def rectangular(half_width: float) -> float:
    """Standard uncertainty of a rectangular distribution, a/sqrt(3) (GUM 4.3.7)."""
    return half_width / math.sqrt(3)


def in_length_unit(quantity: Quantity, unit: Length) -> Quantity:
    """Show a length or area in mm or in inches; other units pass unchanged."""
    if unit == "mm" or quantity.unit not in ("mm", "mm2"):
        return quantity
    shown: Unit = "in" if quantity.unit == "mm" else "in2"
    if isinstance(quantity, NotMeasured):
        return NotMeasured(reason=quantity.reason, unit=shown)
    power = 1 if quantity.unit == "mm" else 2
    return quantity.scaled(MM_PER_INCH**-power, unit=shown)


def round_half_even(value: float | str | Decimal, *, places: int) -> Decimal:
    """Round in decimal arithmetic, ties to even (ISO 80000-1 Annex B, rule A)."""
    step = Decimal(1).scaleb(-places)
    return Decimal(str(value)).quantize(step, rounding=ROUND_HALF_EVEN)


def places_for(u: float, *, digits: int = 2) -> int:
    """Decimal places at which `u` shows `digits` significant figures (GUM 7.2.6)."""
    if u <= 0:
        return 3
    seen = Decimal(str(u))
    places = digits - 1 - seen.adjusted()
    # Rounding may carry into the next decade: 0.0996 has two figures as 0.10.
    carried = seen.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_EVEN)
    return max(0, digits - 1 - carried.adjusted())


UNIT_SIGNS: Mapping[str, str] = {
    "mm": "mm", "mm2": "mm²", "in": "in", "in2": "in²", "%": "%", "1": "", "deg": "°",
}  # fmt: skip


def count_words(number: int, one: str, *, many: str = "") -> str:
    """A number with its noun: "1 photo", "2 photos"."""
    return f"{number} {one if number == 1 else many or f'{one}s'}"


def format_quantity(quantity: Quantity, *, unit: Length = "mm", k: float = 1.96) -> str:
    """Format as "12.34 ± 0.05 mm": the value with its expanded uncertainty.

    Parameters
    ----------
    quantity : Measured or NotMeasured
    unit : "mm" or "in"
        In which unit lengths and areas are shown.
    k : float
        Coverage factor of the number behind the sign (1.96: 95 %).
    """
    shown = in_length_unit(quantity, unit)
    sign = UNIT_SIGNS[shown.unit]
    if isinstance(shown, NotMeasured):
        return "not measured"
    places = min(places_for(k * shown.u), 4)
    value = round_half_even(shown.value, places=places)
    spread = round_half_even(k * shown.u, places=places)
    return f"{value} ± {spread} {sign}".strip()
