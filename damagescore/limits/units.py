"""Exact conversion between millimetres and inches."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Literal

from damagescore.quantity import MM_PER_INCH, Length, Unit

Dimension = Literal["length", "area", "percent", "count"]

UNITS: Mapping[Dimension, tuple[Unit, ...]] = {
    "length": ("mm", "in"),
    "area": ("mm2", "in2"),
    "percent": ("%",),
    "count": ("1",),
}
"""By dimension: the unit inside the program, then what a file may use instead."""


def unit_of(dimension: Dimension, length_unit: Length) -> Unit:
    """Unit of a dimension in a set that is written in mm or in inches."""
    units = UNITS[dimension]
    return units[-1] if length_unit == "in" else units[0]


def to_base(value: float, unit: Unit) -> float:
    """Convert a written number to mm or mm2, exactly; other units pass unchanged.

    In decimal arithmetic, so that 0.10 in is the same number as 2.54 mm
    (1 in = 25.4 mm by definition).
    """
    power = {"in": 1, "in2": 2}.get(unit, 0)
    return float(Decimal(str(value)) * Decimal(str(MM_PER_INCH)) ** power)
