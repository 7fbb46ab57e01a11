"""A limit set and its criteria, as the user's document words them."""

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields
from typing import Any

from damagescore.errors import LimitError
from damagescore.limits.decision import DecisionRule
from damagescore.limits.faults import FieldError, choice_error, shown
from damagescore.limits.quantities import (
    SCOPES,
    Direction,
    QuantityKind,
    Scope,
    Statistic,
    quantity_kind,
)
from damagescore.limits.units import UNITS, Dimension, to_base
from damagescore.quantity import Length, Unit

MOST_TEXT = 2000
"""Longest text of a field."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Criterion:
    """One limit.

    Parameters
    ----------
    id : str
        Unique in the set.
    text : str
        As the user's document words it.
    quantity : str
        One of `damagescore.limits.quantities()`.
    statistic : str
        "largest" ("longest" means the same), "smallest", "total", "count", "share".
    scope : str
        "finding", "layer" (worst layer) or "part".
    limit : float
        In `unit`, as written.
    unit : str
        "mm", "in", "mm2", "in2", "%", or "1" for a count.
    inclusive : bool
        True where reaching the limit already violates it.
    direction : "max" or "min"
        "min" for a lower limit.
    min_size : float or None
        Smaller items are not counted in a total or a count.
    min_size_unit : str
        Needed where `min_size` is given.
    """

    id: str
    text: str
    quantity: str
    limit: float
    unit: Unit
    statistic: Statistic = "largest"
    scope: Scope = "finding"
    inclusive: bool = False
    direction: Direction = "max"
    min_size: float | None = None
    min_size_unit: Unit | None = None

    def __post_init__(self) -> None:
        check_text(self.id, "id", most=80)
        check_text(self.text, "text")
        kind = quantity_kind(self.quantity)
        _check_statistic(self, kind)
        _check_limit(self)
        _check_min_size(self, kind)

    @property
    def kind(self) -> QuantityKind:
        return quantity_kind(self.quantity)

    @property
    def dimension(self) -> Dimension:
        """Dimension of the limit."""
        return dimension_of(self.kind, self.statistic)

    @property
    def base_unit(self) -> Unit:
        """Unit of `base_limit`: mm, mm2, % or 1."""
        return UNITS[self.dimension][0]

    @property
    def base_limit(self) -> float:
        """The limit in mm, mm2, % or 1."""
        return to_base(self.limit, self.unit)

    @property
    def base_min_size(self) -> float | None:
        """Smallest item that counts, in mm, mm2 or %."""
        if self.min_size is None or self.min_size_unit is None:
            return None
        return to_base(self.min_size, self.min_size_unit)

    def to_dict(self) -> dict[str, Any]:
        return asdict(self)

    @classmethod
    def from_dict(cls, plain: Mapping[str, Any]) -> "Criterion":
        return cls(**plain)


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitSet:
    """All limits of one document.

    Parameters
    ----------
    title, source_document, revision, effective_date, notes : str
        As the user names them; the date is ISO 8601.
    unit : "mm" or "in"
        Of criteria that name none.
    invented : bool
        True where the numbers are made up for demonstration; shown with every result.
    criteria : tuple of Criterion
    decision : DecisionRule
    """

    title: str
    criteria: tuple[Criterion, ...]
    source_document: str = ""
    revision: str = ""
    effective_date: str = ""
    notes: str = ""
    unit: Length = "mm"
    invented: bool = False
    decision: DecisionRule = field(default_factory=DecisionRule)

    def __post_init__(self) -> None:
        check_text(self.title, "title", most=200)
        for name in ("source_document", "revision", "effective_date", "notes"):
            check_text(getattr(self, name), name, empty=True)
        if self.unit not in ("mm", "in"):
            raise choice_error("unit", self.unit, ("mm", "in"))
        if not self.criteria:
            raise FieldError(
                "The limit set has no criteria.",
                remedy="Add at least one [[criteria]] table.",
                field="criteria",
            )
        seen: set[str] = set()
        for criterion in self.criteria:
            if criterion.id in seen:
                raise LimitError(
                    f'Two criteria have the id "{criterion.id}".',
                    remedy="Give each criterion its own id.",
                )
            seen.add(criterion.id)

    @property
    def smallest_length_mm(self) -> float | None:
        """Smallest length that a photo must show for these limits; None for no length."""
        asked = [c for c in self.criteria if c.kind.source != "hand" and c.base_unit == "mm"]
        lengths = [c.base_limit for c in asked if c.base_limit > 0]
        sizes = [c.base_min_size for c in asked if c.base_min_size]
        return min((*lengths, *sizes), default=None)

    def to_dict(self) -> dict[str, Any]:
        plain: dict[str, Any] = {f.name: getattr(self, f.name) for f in fields(self)}
        plain["criteria"] = [c.to_dict() for c in self.criteria]
        plain["decision"] = self.decision.to_dict()
        return plain

    @classmethod
    def from_dict(cls, plain: Mapping[str, Any]) -> "LimitSet":
        """Read back what `to_dict` wrote; LimitError when it is something else."""
        try:
            criteria = tuple(Criterion.from_dict(c) for c in plain["criteria"])
            decision = DecisionRule.from_dict(plain["decision"])
            return cls(**{**plain, "criteria": criteria, "decision": decision})
        except (KeyError, TypeError) as fault:
            raise LimitError(
                f"The stored limit set cannot be read: {fault}.",
                remedy="Load the limit set again from its file.",
            ) from fault


def check_text(value: object, name: str, *, most: int = MOST_TEXT, empty: bool = False) -> None:
    """Refuse what is not a text, is empty or too long."""
    if not isinstance(value, str):
        raise FieldError(
            f"{name} is {shown(value)}, not a text.", remedy="Put it in quotes.", field=name
        )
    if not empty and not value.strip():
        raise FieldError(f"{name} is empty.", remedy="Give it a text.", field=name)
    if len(value) > most:
        raise FieldError(
            f"{name} has {len(value)} characters, more than {most}.",
            remedy="Shorten it.",
            field=name,
        )


def dimension_of(kind: QuantityKind, statistic: str) -> Dimension:
    """Dimension of a statistic of a quantity."""
    if statistic == "count":
        return "count"
    return "percent" if statistic == "share" else kind.dimension


def _check_statistic(criterion: Criterion, kind: QuantityKind) -> None:
    if criterion.statistic not in kind.statistics:
        raise choice_error("statistic", criterion.statistic, kind.statistics)
    scopes = SCOPES[criterion.statistic]
    if criterion.scope not in scopes:
        raise choice_error("scope", criterion.scope, scopes)
    if criterion.direction not in kind.directions:
        raise choice_error("direction", criterion.direction, kind.directions)
    if (criterion.direction == "min") != (criterion.statistic == "smallest"):
        raise FieldError(
            f'statistic "{criterion.statistic}" does not go with direction '
            f'"{criterion.direction}".',
            remedy='A lower limit ("min") is compared with the "smallest" value, an upper '
            'one ("max") with the others.',
            field="statistic",
        )
    if not isinstance(criterion.inclusive, bool):
        raise FieldError(
            f"inclusive is {shown(criterion.inclusive)}, neither true nor false.",
            remedy="Write true where reaching the limit already violates it, else false.",
            field="inclusive",
        )


def _check_limit(criterion: Criterion) -> None:
    check_number(criterion.limit, "limit")
    units = UNITS[criterion.dimension]
    if criterion.unit not in units:
        raise choice_error("unit", criterion.unit, units)
    if criterion.limit == 0 and (criterion.inclusive or criterion.direction == "min"):
        raise FieldError(
            "limit is 0, which every part or no part would violate.",
            remedy="Set inclusive = false for an upper limit of 0; give a lower limit above 0.",
            field="limit",
        )


def _check_min_size(criterion: Criterion, kind: QuantityKind) -> None:
    if criterion.min_size is None:
        return
    check_number(criterion.min_size, "min_size")
    if criterion.statistic not in ("total", "count"):
        raise FieldError(
            f'min_size is given with statistic "{criterion.statistic}".',
            remedy='Leave it out, or use statistic "total" or "count".',
            field="min_size",
        )
    if criterion.min_size_unit not in UNITS[kind.dimension]:
        raise choice_error("min_size_unit", criterion.min_size_unit, UNITS[kind.dimension])


def check_number(value: object, name: str) -> None:
    """Refuse what is not a finite number of at least 0."""
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if not number or not math.isfinite(value) or value < 0:  # type: ignore[arg-type,operator]
        raise FieldError(
            f"{name} is {shown(value)}, not a number of 0 or more.",
            remedy="Give a number without a unit, for instance 12.5.",
            field=name,
        )
