"""Compare an inspection with a limit set."""

from dataclasses import replace
from typing import Any

from damagescore.inspection.checks import check_open, checked_time, name_of
from damagescore.inspection.link_notes import link_notes
from damagescore.inspection.observe import observations_of
from damagescore.inspection.record import Edit, Inspection
from damagescore.limits import Assessment, LimitSet, assess


def assess_inspection(
    inspection: Inspection, limit_set: LimitSet, *, by: str = "", at: str | None = None
) -> Inspection:
    """Compare everything seen and measured with a limit set.

    The limit set and the assessment become part of the record; every later change is
    assessed anew with the same limits. Without any change the record stays the same.

    Raises
    ------
    RecordError
        When the record is signed.
    """
    check_open(inspection)
    given = limit_set.to_dict()
    found = _assessed(inspection, limit_set)
    if inspection.limit_set == given and inspection.assessment == found:
        return inspection
    edit = Edit(
        number=len(inspection.edits) + 1,
        at=checked_time(at),
        by=name_of(by, "The name"),
        action="assess",
        target=" ".join(x for x in (limit_set.title, limit_set.revision) if x),
        before=(inspection.assessment or {}).get("outcome"),
        after=found["outcome"],
    )
    return replace(
        inspection, limit_set=given, assessment=found, edits=(*inspection.edits, edit)
    )


def assessed_again(inspection: Inspection) -> Inspection:
    """Assess a changed record with the limits it already has; nothing where it has none."""
    if inspection.limit_set is None:
        return inspection
    limit_set = LimitSet.from_dict(inspection.limit_set)
    found = _assessed(inspection, limit_set)
    return replace(inspection, assessment=found)


def _assessed(inspection: Inspection, limit_set: LimitSet) -> dict[str, Any]:
    seen = observations_of(inspection)
    return assess(limit_set, seen, notes=link_notes(inspection)).to_dict()


def assessment_of(inspection: Inspection) -> Assessment | None:
    """Give the assessment of a record; None when it was never assessed."""
    if inspection.assessment is None:
        return None
    return Assessment.from_dict(inspection.assessment)
