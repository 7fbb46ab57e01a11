"""One quantity of one part against its hours or cycles."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from damagescore.limits.quantities import Direction
from damagescore.quantity import Measured, Quantity, Unit

Axis = Literal["hours", "cycles"]

AXIS_UNITS: Mapping[Axis, str] = {"hours": "h", "cycles": "cycles"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """The quantity at one inspection.

    Parameters
    ----------
    use : float
        Hours or cycles of the part.
    value : Measured or NotMeasured
    record_id : str
        The inspection that says so; empty for a value from elsewhere.
    at : str
        When it was inspected, ISO 8601.
    reviewed : bool
        False where findings behind it are still proposals.
    """

    use: float
    value: Quantity
    record_id: str = ""
    at: str = ""
    reviewed: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """One quantity of one life of a part.

    Parameters
    ----------
    id : str
        Id of the criterion, or name of the quantity.
    label : str
        Plain words.
    unit : str
        Of the values and the limit: mm, mm2, % or 1.
    points : tuple of Point
        In the order of use.
    axis : "hours" or "cycles"
    limit : float or None
    direction : "max" or "min"
        An upper or a lower limit.
    inclusive : bool
        True where reaching the limit already violates it.
    guard_factor : float
        Standard uncertainties on both sides of the limit that are undecided.
    text : str
        The limit as the user's document words it.
    invented : bool
        True where the limit is made up for demonstration.
    """

    id: str
    label: str
    unit: Unit
    points: tuple[Point, ...]
    axis: Axis = "hours"
    limit: float | None = None
    direction: Direction = "max"
    inclusive: bool = False
    guard_factor: float = 1.65
    text: str = ""
    invented: bool = False

    @property
    def measured(self) -> tuple[tuple[float, Measured], ...]:
        """Use and value of the points that have a value."""
        return tuple((p.use, p.value) for p in self.points if isinstance(p.value, Measured))

    @property
    def shows_anything(self) -> bool:
        """Whether any value is more than "looked and found none"."""
        return any(m.value != 0 for _, m in self.measured)

    @property
    def use_unit(self) -> str:
        return AXIS_UNITS[self.axis]
