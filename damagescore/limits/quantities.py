"""The quantities that a limit can be set on."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from damagescore.limits.faults import choice_error
from damagescore.limits.units import UNITS, Dimension
from damagescore.quantity import Unit

Statistic = Literal["largest", "longest", "smallest", "total", "count", "share"]
Scope = Literal["finding", "layer", "part"]
Direction = Literal["max", "min"]
Source = Literal["face", "profile", "hand"]

SCOPES: Mapping[str, tuple[Scope, ...]] = {
    "largest": ("finding", "layer", "part"),
    "longest": ("finding", "layer", "part"),
    "smallest": ("finding", "layer", "part"),
    "total": ("part", "layer"),
    "count": ("part", "layer"),
    "share": ("part", "layer"),
}
"""By statistic: the scopes it can have, the usual one first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class QuantityKind:
    """What a limit can be set on.

    Parameters
    ----------
    name : str
        The key in a limit set.
    label : str
        Plain words for a person.
    dimension : "length", "area" or "percent"
        Of one item.
    source : "face", "profile" or "hand"
        Which photo view shows it, or that it is measured by hand.
    statistics : tuple of str
        Allowed in a criterion, the usual one first.
    share_of : str
        What a share is a share of; empty where there is none.
    direction : "max" or "min"
        The usual side of the limit.
    directions : tuple of str
        The sides that make sense.
    """

    name: str
    label: str
    dimension: Dimension
    source: Source
    statistics: tuple[Statistic, ...]
    share_of: str = ""
    direction: Direction = "max"
    directions: tuple[Direction, ...] = ("max",)

    @property
    def unit(self) -> Unit:
        """Unit of one item inside the program."""
        return UNITS[self.dimension][0]

    @property
    def needs(self) -> str:
        """What must be done to get a value."""
        if self.source == "hand":
            return f"enter the {self.label} as a hand measurement"
        return f"add a usable {self.source} photo"


_LENGTH: tuple[Statistic, ...] = ("largest", "longest", "total", "count", "share")
_ONE: tuple[Statistic, ...] = ("largest",)
_HAND: tuple[Statistic, ...] = ("largest", "longest")
_EITHER: tuple[Statistic, ...] = ("smallest", "largest")

_KINDS = (
    QuantityKind(
        name="crack_length", label="crack length", dimension="length", source="face",
        statistics=_LENGTH, share_of="visible length of the layers",
    ),
    QuantityKind(
        name="crack_width", label="greatest crack width", dimension="length", source="face",
        statistics=_ONE,
    ),
    QuantityKind(
        name="bond_gap_length", label="bond gap length", dimension="length", source="face",
        statistics=_LENGTH, share_of="visible bond lines",
    ),
    QuantityKind(
        name="crumbling_area", label="crumbling area", dimension="area", source="face",
        statistics=("largest", "total", "count", "share"), share_of="visible rubber",
    ),
    QuantityKind(
        name="bulge_peak", label="bulge height", dimension="length", source="profile",
        statistics=("largest", "count"),
    ),
    QuantityKind(
        name="bulge_over_thickness", label="bulge height over layer thickness",
        dimension="percent", source="profile", statistics=_ONE,
    ),
    QuantityKind(
        name="recess", label="recess depth", dimension="length", source="profile",
        statistics=_ONE,
    ),
    QuantityKind(
        name="crack_depth", label="probed crack depth", dimension="length", source="hand",
        statistics=_HAND,
    ),
    QuantityKind(
        name="free_height", label="free height", dimension="length", source="hand",
        statistics=_EITHER, direction="min", directions=("min", "max"),
    ),
    QuantityKind(
        name="height_loss", label="height loss", dimension="length", source="hand",
        statistics=_ONE,
    ),
    QuantityKind(
        name="height_loss_percent", label="height loss as a share of the new height",
        dimension="percent", source="hand", statistics=_ONE,
    ),
    QuantityKind(
        name="stiffness_retention", label="stiffness retention", dimension="percent",
        source="hand", statistics=_EITHER, direction="min", directions=("min", "max"),
    ),
)  # fmt: skip


def quantities() -> tuple[QuantityKind, ...]:
    """Everything that a limit can be set on."""
    return _KINDS


def hand_quantities() -> tuple[QuantityKind, ...]:
    """What is measured by hand."""
    return tuple(k for k in _KINDS if k.source == "hand")


def quantity_kind(name: str) -> QuantityKind:
    """Give the quantity of a name; LimitError with a suggestion when there is none."""
    for kind in _KINDS:
        if kind.name == name:
            return kind
    raise choice_error("quantity", name, [k.name for k in _KINDS])
