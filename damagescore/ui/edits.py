"""Changes to the open inspection: each is saved at once, under the name of who works."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from damagescore import inspection as aggregate
from damagescore.damage import trace_crack
from damagescore.damage.record import Finding
from damagescore.errors import DamageScoreError, RecordError, UsageError
from damagescore.inspection.record import (
    Disposition,
    HandMeasurement,
    Inspection,
    Part,
    PhotoEntry,
)
from damagescore.limits import LimitSet
from damagescore.measure import Measurement, remeasure, with_findings
from damagescore.photo.record import Photo
from damagescore.quantity import MM_PER_INCH, Quantity
from damagescore.ui.measuring import Measured, measure_again, with_two_points
from damagescore.ui.session import change, flash, inspector, photo_of, store
from damagescore.ui.words import method_words
from damagescore.ui.workspace import Op

Fault = DamageScoreError | None

LARGEST_SCALE_CHANGE = 0.05
"""Two clicked points are good to a few percent; beyond that something is mistaken."""


def set_part(inspection_id: str, part: Part) -> None:
    """Change the part; runs as a callback, so an error is kept for the next run."""
    fault = change(inspection_id, lambda x: aggregate.set_part(x, part, by=inspector()))
    if fault is not None:
        flash(str(fault), bad=True)


def add_measured(inspection_id: str, measured: Measured) -> Fault:
    """Add a measured photo."""
    return change(
        inspection_id,
        lambda x: aggregate.add_photo(
            x, sha256=measured.sha256, name=measured.name, measurement=measured.measurement,
            options=measured.options, by=inspector(),
        ),
    )  # fmt: skip


def replace_measured(inspection_id: str, measured: Measured) -> Fault:
    """Take over a new measurement of a photo; its findings are proposed anew."""
    return change(
        inspection_id,
        lambda x: aggregate.replace_measurement(
            x, measured.sha256, measurement=measured.measurement, options=measured.options,
            by=inspector(),
        ),
    )  # fmt: skip


def remove_photo(inspection_id: str, sha256: str, *, reason: str) -> Fault:
    """Take a photo out of the record, for a reason."""
    return change(
        inspection_id,
        lambda x: aggregate.remove_photo(x, sha256, by=inspector(), reason=reason),
    )


def add_hand(
    inspection_id: str,
    *,
    quantity: str,
    value: Quantity,
    gauge_id: str,
    layer: int | None,
    note: str,
) -> Fault:
    """Add a value taken by hand."""
    hand = HandMeasurement(
        quantity=quantity, value=value, gauge_id=gauge_id, by=inspector(), at="", layer=layer,
        note=note,
    )  # fmt: skip
    return change(inspection_id, lambda x: aggregate.add_hand_measurement(x, hand))


def remove_hand(inspection_id: str, number: int, *, reason: str) -> Fault:
    """Take out a hand measurement, counted from 1, for a reason."""
    return change(
        inspection_id,
        lambda x: aggregate.remove_hand_measurement(x, number, by=inspector(), reason=reason),
    )


def assess_with(inspection_id: str, limit_set: LimitSet) -> Fault:
    """Compare with a limit set, which then belongs to the record."""
    return change(
        inspection_id, lambda x: aggregate.assess_inspection(x, limit_set, by=inspector())
    )


def sign(
    inspection_id: str,
    *,
    name: str,
    authorisation: str,
    statement: str,
    disposition: Disposition,
    reason: str,
) -> Fault:
    """Sign the record."""
    return change(
        inspection_id,
        lambda x: aggregate.sign_inspection(
            x, name=name, authorisation=authorisation, statement=statement,
            disposition=disposition, reason=reason,
        ),
    )  # fmt: skip


def supersede(inspection_id: str, *, reason: str) -> str | DamageScoreError:
    """Make a record that supersedes a signed one; give its id, or why there is none."""
    try:
        made = aggregate.supersede(store().load(inspection_id), reason=reason, by=inspector())
        store().save(made, expected_revision=0)
    except DamageScoreError as fault:
        return fault
    return made.id


def smallest_limit(inspection: Inspection) -> float | None:
    """Smallest length that the chosen limits ask for, mm; the quality gate needs it."""
    if inspection.limit_set is None:
        return None
    return LimitSet.from_dict(inspection.limit_set).smallest_length_mm


def apply_op(inspection_id: str, sha256: str, *, op: Op) -> Fault:
    """Apply one edit of the workspace and save it."""
    if not inspector():
        return RecordError("Nobody is named as working.", remedy="Give your name first.")
    edit = _EDITS.get(str(op["do"]))
    if edit is None:
        return UsageError(f"There is no edit {op['do']!r}.", remedy="Load the page again.")
    before = _scale_of(inspection_id, sha256) if op["do"] == "scale" else None
    fault = change(inspection_id, lambda x: edit(x, _entry(x, sha256), op))
    if fault is None and before is not None:
        return _scale_warning(before, _scale_of(inspection_id, sha256))
    return fault


def _scale_of(inspection_id: str, sha256: str) -> Mapping[str, Any] | None:
    found: Mapping[str, Any] | None
    found = _entry(store().load(inspection_id), sha256).measurement.get("scale")
    return found


def _scale_warning(before: Mapping[str, Any], after: Mapping[str, Any] | None) -> Fault:
    """Warn when clicked points give another scale than what was found before.

    A mistyped distance changes every length of the photo, and its focus in
    millimetres too, so that a bad photo may pass.
    """
    if after is None:
        return None
    ratio = after["mm_per_px"] / before["mm_per_px"] - 1
    if abs(ratio) < LARGEST_SCALE_CHANGE:
        return None
    words = method_words(before["method"]).lower()
    return UsageError(
        f"The two points are taken over, but they change the scale by {100 * ratio:+.0f} % "
        f"against the one by {words}.",
        remedy="Check the distance that you gave, or take this back with Undo.",
    )


def _entry(inspection: Inspection, sha256: str) -> PhotoEntry:
    for entry in inspection.photos:
        if entry.sha256 == sha256:
            return entry
    raise RecordError("This photo was removed meanwhile.", remedy="Choose another photo.")


def _confirm(inspection: Inspection, entry: PhotoEntry, op: Op) -> Inspection:
    return aggregate.confirm_finding(inspection, entry.sha256, op["id"], by=inspector())


def _reject(inspection: Inspection, entry: PhotoEntry, op: Op) -> Inspection:
    return aggregate.reject_finding(
        inspection, entry.sha256, op["id"], by=inspector(), reason=op["reason"]
    )


def _undo(inspection: Inspection, _entry: PhotoEntry, _op: Op) -> Inspection:
    return aggregate.undo(inspection, by=inspector())


def _kind(inspection: Inspection, entry: PhotoEntry, op: Op) -> Inspection:
    changed = remeasure(*_basis(entry), op["id"], kind=op["to"])
    return aggregate.change_finding(
        inspection, entry.sha256, op["id"], measurement=changed.to_dict(), by=inspector(),
        action="change_kind",
    )  # fmt: skip


def _layer(inspection: Inspection, entry: PhotoEntry, op: Op) -> Inspection:
    changed = remeasure(*_basis(entry), op["id"], layer=int(op["to"]))
    return aggregate.change_finding(
        inspection, entry.sha256, op["id"], measurement=changed.to_dict(), by=inspector(),
        action="change_layer",
    )  # fmt: skip


def _trace(inspection: Inspection, entry: PhotoEntry, op: Op) -> Inspection:
    photo, measurement = _basis(entry)
    finding_id = new_id(measurement, op["kind"])
    changed = _traced(photo, measurement, finding_id, op=op, kind=op["kind"])
    return aggregate.add_finding(
        inspection, entry.sha256, finding_id, measurement=changed.to_dict(), by=inspector()
    )


def _retrace(inspection: Inspection, entry: PhotoEntry, op: Op) -> Inspection:
    photo, measurement = _basis(entry)
    old = next((f for f in measurement.findings if f.id == op["id"]), None)
    kind = old.kind if old is not None else "crack"
    changed = _traced(photo, measurement, op["id"], op=op, kind=kind)
    return aggregate.change_finding(
        inspection, entry.sha256, op["id"], measurement=changed.to_dict(), by=inspector()
    )


def _area(inspection: Inspection, entry: PhotoEntry, op: Op) -> Inspection:
    photo, measurement = _basis(entry)
    finding_id = new_id(measurement, "crumbling")
    changed = remeasure(
        photo, measurement, finding_id, polygon_px=_points(op), kind="crumbling"
    )
    return aggregate.add_finding(
        inspection, entry.sha256, finding_id, measurement=changed.to_dict(), by=inspector()
    )


def _scale(inspection: Inspection, entry: PhotoEntry, op: Op) -> Inspection:
    factor = MM_PER_INCH if op["unit"] == "in" else 1.0
    options = with_two_points(
        entry.options, op["points"], length_mm=float(op["length"]) * factor
    )
    measured = measure_again(entry.sha256, entry.name, options)
    return aggregate.replace_measurement(
        inspection, entry.sha256, measurement=measured.measurement, options=measured.options,
        by=inspector(), reason="Scale given by two points",
    )  # fmt: skip


_EDITS: Mapping[str, Callable[[Inspection, PhotoEntry, Op], Inspection]] = {
    "confirm": _confirm,
    "reject": _reject,
    "undo": _undo,
    "kind": _kind,
    "layer": _layer,
    "trace": _trace,
    "retrace": _retrace,
    "area": _area,
    "scale": _scale,
}


def new_id(measurement: Measurement, kind: str) -> str:
    """Give an id for a finding that a person adds; "t" and a number that is free."""
    known = {f.id for f in measurement.findings}
    stem = kind.replace("_", "-")
    number = 1
    while f"{stem}-t{number}" in known:
        number += 1
    return f"{stem}-t{number}"


def _basis(entry: PhotoEntry) -> tuple[Photo, Measurement]:
    measurement = Measurement.from_dict(entry.measurement)
    return photo_of(entry.sha256, entry.name), measurement


def _points(op: Op) -> Any:
    return np.asarray(op["points"], dtype=np.float64).reshape(-1, 2)


def _traced(
    photo: Photo, measurement: Measurement, finding_id: str, *, op: Op, kind: Any
) -> Measurement:
    """Measure a line along the dark way between the points, or straight through them."""
    if not op.get("snap", True):
        return remeasure(
            photo, measurement, finding_id, lines_px=[_points(op)], kind=kind, origin="drawn"
        )
    if measurement.scale is None or measurement.edge is None:
        raise UsageError(
            "The photo has no scale or no edge, so nothing can be measured on it.",
            remedy="Give the scale by two points, or take the photo again.",
        )
    finding = trace_crack(
        photo, _points(op), measurement.scale, edge=measurement.edge, finding_id=finding_id,
        kind=kind,
    )  # fmt: skip
    return with_findings(measurement, _put(measurement.findings, finding))


def _put(findings: tuple[Finding, ...], finding: Finding) -> tuple[Finding, ...]:
    if any(f.id == finding.id for f in findings):
        return tuple(
            replace(finding, strength=f.strength) if f.id == finding.id else f for f in findings
        )
    return (*findings, finding)
