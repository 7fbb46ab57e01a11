"""What is known of a part from its last inspection, and what has changed since."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from damagescore.errors import DamageScoreError
from damagescore.inspection.record import Inspection, Part
from damagescore.limits import Assessment, CriterionResult, LimitSet
from damagescore.quantity import COVERAGE_FACTOR_95, Length, Measured, format_quantity
from damagescore.ui.session import load, store


def last_of(inspection: Inspection) -> Inspection | None:
    """Give the last inspection of the same part before this one; None where there is none.

    Records that this one supersedes tell of the same day, so they do not count.
    """
    return last_inspection(inspection.part, before=inspection)


def last_inspection(part: Part, *, before: Inspection | None = None) -> Inspection | None:
    """Give the newest record of a part, by part and serial number; None without a serial."""
    if not part.serial_number:
        return None
    own = set() if before is None else {s.id for s in store().history(before.id)}
    for summary in store().search(part.serial_number):
        same = (summary.part_number, summary.serial_number) == (
            part.part_number, part.serial_number,
        )  # fmt: skip
        earlier = before is None or summary.created_at <= before.created_at
        if same and earlier and summary.id not in own and summary.superseded_by is None:
            return load(summary.id)
    return None


def last_options(inspection: Inspection, last: Inspection | None) -> Mapping[str, Any] | None:
    """How the newest photo was measured: of this inspection, else of the last one."""
    for photos in (inspection.photos, last.photos if last else ()):
        if photos and photos[-1].options:
            return photos[-1].options
    return None


def limit_set_of(last: Inspection) -> LimitSet | None:
    """Give the limit set of the last inspection, as it is kept now where it still is."""
    if last.limit_set is None:
        return None
    used = LimitSet.from_dict(last.limit_set)
    try:
        return store().load_limit_set(used.title, used.revision)
    except DamageScoreError:
        return used


def last_results(last: Inspection | None) -> dict[str, CriterionResult]:
    """Results of the last assessment by criterion."""
    if last is None or last.assessment is None:
        return {}
    return {r.id: r for r in Assessment.from_dict(last.assessment).results}


@dataclass(frozen=True, slots=True, kw_only=True)
class Since:
    """When the last inspection was, and how many hours ago by the part's own clock."""

    date: str
    hours: float | None = None
    hours_between: float | None = None

    @classmethod
    def between(cls, last: Inspection, now: Inspection) -> "Since":
        """Read both inspections."""
        then, here = last.part.hours, now.part.hours
        known = then is not None and here is not None
        return cls(
            date=last.created_at[:10], hours=then,
            hours_between=here - then if known else None,  # type: ignore[operator]
        )  # fmt: skip

    @property
    def words(self) -> str:
        """Date, and hours where they are known."""
        return self.date if self.hours is None else f"{self.date} at {self.hours:g} h"


def change_words(
    now: CriterionResult, then: CriterionResult | None, since: Since, *, unit: Length
) -> str:
    """Say what a criterion read last time and what has changed; empty if it was not there.

    The change's uncertainty takes both as independent. Where a source is shared, the same
    card for instance, the change is known better than this says.
    """
    if then is None or then.value.unit != now.value.unit:
        return ""
    if not isinstance(then.value, Measured):
        return f"Last time ({since.words}): not measured."
    said = f"Last time ({since.words}): {shown(then.value, unit=unit)}."
    if not isinstance(now.value, Measured):
        return said
    step = Measured(
        value=now.value.value - then.value.value,
        u=math.hypot(now.value.u, then.value.u),
        unit=now.value.unit,
    )
    return f"{said} {_step_words(step, since, unit=unit)}"


def shown(value: Measured, *, unit: Length) -> str:
    """A value with its uncertainty; a count, or nothing found, has none."""
    if value.unit == "1" or value.u == 0:
        return "none found" if value.value == 0 else f"{value.value:g}"
    return format_quantity(value, unit=unit)


def _step_words(step: Measured, since: Since, *, unit: Length) -> str:
    after = "" if since.hours_between is None else f" in {since.hours_between:g} h"
    if step.value == 0 and step.u == 0:
        return f"No change{after}."
    if abs(step.value) < COVERAGE_FACTOR_95 * step.u:
        return f"No change beyond the uncertainty{after}."
    sign = "+" if step.value > 0 else "−"
    size = Measured(value=abs(step.value), u=step.u, unit=step.unit)
    return f"Change: {sign}{shown(size, unit=unit)}{after}."
