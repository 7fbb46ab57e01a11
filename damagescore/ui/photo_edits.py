"""Edits of the photo workspace: each is one change to one photo, saved at once."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from damagescore import inspection as aggregate
from damagescore.damage import trace_crack
from damagescore.damage.record import Finding
from damagescore.errors import DamageScoreError, RecordError, UsageError
from damagescore.inspection.edits import Change
from damagescore.inspection.record import Inspection, PhotoEntry
from damagescore.joined import with_joined
from damagescore.measure import Measurement, remeasure, with_findings
from damagescore.measurement import MeasureOptions
from damagescore.photo.record import Photo
from damagescore.quantity import MM_PER_INCH
from damagescore.ui.carry import free_id
from damagescore.ui.layer_edits import LAYER_EDITS, REASONS, layer_warning
from damagescore.ui.measuring import with_two_points
from damagescore.ui.photo_basis import anew, basis, finding_of, plain_part, points_of
from damagescore.ui.session import change, inspector, load
from damagescore.ui.shapes import Points, joined, spliced, taken_away, tidied
from damagescore.ui.words import method_words
from damagescore.ui.workspace import Op

Fault = DamageScoreError | None

LARGEST_SCALE_CHANGE = 0.05
"""Two clicked points are good to a few percent; beyond that something is mistaken."""


def apply_op(inspection_id: str, sha256: str, *, op: Op) -> Fault:
    """Apply one edit of the workspace and save it."""
    if not inspector():
        return RecordError("Nobody is named as working.", remedy="Give your name first.")
    edit = _EDITS.get(str(op["do"]))
    if edit is None:
        return UsageError(f"There is no edit {op['do']!r}.", remedy="Load the page again.")
    watched = op["do"] in ("scale", *REASONS)
    before = _entry(load(inspection_id), sha256) if watched else None
    fault = change(inspection_id, lambda x: edit(x, _entry(x, sha256), op), seen=op.get("seen"))
    if fault is not None or before is None:
        return fault
    now = load(inspection_id)
    after = _entry(now, sha256)
    if op["do"] == "scale":
        return _scale_warning(*(e.measurement.get("scale") for e in (before, after)))
    return layer_warning(now, before, after)


def edited(inspection: Inspection, sha256: str, op: Op) -> Inspection:
    """Apply one edit of the workspace without saving it; KeyError for an unknown one."""
    return _EDITS[str(op["do"])](inspection, _entry(inspection, sha256), op)


def _scale_warning(before: Mapping[str, Any] | None, after: Mapping[str, Any] | None) -> Fault:
    """Warn when clicked points give another scale than what was found before.

    A mistyped distance changes every length of the photo, and its focus in
    millimetres too, so that a bad photo may pass.
    """
    if before is None or after is None:
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


def _undo(inspection: Inspection, entry: PhotoEntry, _op: Op) -> Inspection:
    return aggregate.undo(inspection, by=inspector(), photo=entry.sha256)


def _redo(inspection: Inspection, entry: PhotoEntry, _op: Op) -> Inspection:
    return aggregate.redo(inspection, by=inspector(), photo=entry.sha256)


def _bridge(inspection: Inspection, entry: PhotoEntry, op: Op) -> Inspection:
    """Join two findings across a gap."""
    whole = with_joined(*basis(entry), op["link"])
    link = next(x for x in whole.links if x.id == op["link"])
    return aggregate.join_link(
        inspection, entry.sha256, link.id, measurement=plain_part(whole, link.first),
        by=inspector(),
    )  # fmt: skip


def _apart(inspection: Inspection, entry: PhotoEntry, op: Op) -> Inspection:
    return aggregate.leave_apart(inspection, entry.sha256, op["link"], by=inspector())


def _kind(inspection: Inspection, entry: PhotoEntry, op: Op) -> Inspection:
    changed = remeasure(*basis(entry), op["id"], kind=op["to"])
    return _changed(inspection, entry, op["id"], changed, action="change_kind")


def _layer(inspection: Inspection, entry: PhotoEntry, op: Op) -> Inspection:
    changed = remeasure(*basis(entry), op["id"], layer=int(op["to"]))
    return _changed(inspection, entry, op["id"], changed, action="change_layer")


def _trace(inspection: Inspection, entry: PhotoEntry, op: Op) -> Inspection:
    photo, measurement = basis(entry)
    finding_id = new_id(measurement, op["kind"])
    changed = _traced(photo, measurement, finding_id, op=op, kind=op["kind"])
    return aggregate.add_finding(
        inspection,
        entry.sha256,
        finding_id,
        measurement=plain_part(changed, finding_id),
        by=inspector(),
    )


def _retrace(inspection: Inspection, entry: PhotoEntry, op: Op) -> Inspection:
    photo, measurement = basis(entry)
    old = next((f for f in measurement.findings if f.id == op["id"]), None)
    kind = old.kind if old is not None else "crack"
    changed = _traced(photo, measurement, op["id"], op=op, kind=kind)
    return _changed(inspection, entry, op["id"], changed)


def _area(inspection: Inspection, entry: PhotoEntry, op: Op) -> Inspection:
    return _add_area(inspection, entry.sha256, tidied(points_of(op)))


def _add_area(inspection: Inspection, sha256: str, outline: Points) -> Inspection:
    photo, measurement = basis(_entry(inspection, sha256))
    finding_id = new_id(measurement, "crumbling")
    changed = remeasure(photo, measurement, finding_id, polygon_px=outline, kind="crumbling")
    return aggregate.add_finding(
        inspection,
        sha256,
        finding_id,
        measurement=plain_part(changed, finding_id),
        by=inspector(),
    )


def _join(inspection: Inspection, entry: PhotoEntry, op: Op) -> Inspection:
    outline = joined(_outline_of(entry, op), points_of(op))[0]
    return _reshaped(inspection, entry, op["id"], polygon_px=outline)


def _cut(inspection: Inspection, entry: PhotoEntry, op: Op) -> Inspection:
    """Take away from an area; where that parts it, the smaller parts become new findings."""
    first, *others = taken_away(_outline_of(entry, op), points_of(op))
    changed = _reshaped(inspection, entry, op["id"], polygon_px=first)
    for outline in others:
        changed = _add_area(changed, entry.sha256, outline)
    return changed


def _outline_of(entry: PhotoEntry, op: Op) -> Points:
    outline = finding_of(entry, op["id"]).polygon_px
    if outline is None:
        raise UsageError(
            f"{op['id']} is a line and has no area.", remedy="Select a crumbled area first."
        )
    return outline


def _shape(inspection: Inspection, entry: PhotoEntry, op: Op) -> Inspection:
    """Put points in the place of a stretch of a line or an outline.

    `line` is the number of the line, or None for the outline; `count` is how many points
    it had when the stretch was chosen.
    """
    finding = finding_of(entry, op["id"])
    old = _line_of(finding, op)
    points = points_of(op)
    first, last = int(op["first"]), int(op["last"])
    if op.get("snap") and finding.polygon_px is None:
        points = _followed(entry, old, points, first=first, last=last)
    new = spliced(old, points, first=first, last=last)
    if op["line"] is None:
        return _reshaped(inspection, entry, op["id"], polygon_px=new)
    lines = list(finding.lines_px)
    lines[op["line"]] = new
    return _reshaped(inspection, entry, op["id"], lines_px=[x for x in lines if len(x) > 1])


def _line_of(finding: Finding, op: Op) -> Points:
    number = op["line"]
    old = finding.polygon_px
    if number is not None:
        old = finding.lines_px[number] if number < len(finding.lines_px) else None
    if old is None or len(old) != op["count"]:
        raise UsageError(
            f"The shape of {finding.id} changed meanwhile, so this change was not made.",
            remedy="Look at what is shown now, then repeat it.",
        )
    return old


def _followed(
    entry: PhotoEntry, old: Points, points: Points, *, first: int, last: int
) -> Points:
    """The dark way through the points, from the point before the stretch to the one after."""
    photo, measurement = basis(entry)
    assert measurement.scale is not None
    before, after = old[max(0, first - 1) : first], old[last + 1 : last + 2]
    way = trace_crack(
        photo, np.vstack([before, points, after]), measurement.scale, edge=measurement.edge
    ).lines_px[0]
    # The ends of the way are the points that stay.
    return way[len(before) : len(way) - len(after)]


def _drop(inspection: Inspection, entry: PhotoEntry, op: Op) -> Inspection:
    """Take a branch out of a finding."""
    finding = finding_of(entry, op["id"])
    _line_of(finding, op)
    lines = [x for number, x in enumerate(finding.lines_px) if number != op["line"]]
    if not lines:
        raise UsageError(
            "This is the only line of the finding.",
            remedy="Reject the finding instead, with the reason.",
        )
    return _reshaped(inspection, entry, op["id"], lines_px=lines)


def _reshaped(
    inspection: Inspection, entry: PhotoEntry, finding_id: str, **shape: Any
) -> Inspection:
    # What was not touched is known no better than before, so the origin stays.
    origin = finding_of(entry, finding_id).origin
    changed = remeasure(*basis(entry), finding_id, origin=origin, **shape)
    return _changed(inspection, entry, finding_id, changed)


def _changed(
    inspection: Inspection,
    entry: PhotoEntry,
    finding_id: str,
    measurement: Measurement,
    action: Change = "replace_geometry",
) -> Inspection:
    return aggregate.change_finding(
        inspection, entry.sha256, finding_id, measurement=plain_part(measurement, finding_id),
        by=inspector(), action=action,
    )  # fmt: skip


def _scale(inspection: Inspection, entry: PhotoEntry, op: Op) -> Inspection:
    factor = MM_PER_INCH if op["unit"] == "in" else 1.0
    options = with_two_points(
        entry.options, op["points"], length_mm=float(op["length"]) * factor
    )
    return anew(inspection, entry, options, reason="Scale given by two points")


def _region(inspection: Inspection, entry: PhotoEntry, op: Op) -> Inspection:
    """Judge inside a region only, or with no points the whole photo again."""
    options = MeasureOptions.from_dict(entry.options)
    if op["points"] is None:
        whole = replace(options, region_px=None)
        return anew(inspection, entry, whole, reason="The whole photo is judged again")
    region = _plain_outline(tidied(points_of(op)))
    drawn = replace(options, region_px=region)
    return anew(inspection, entry, drawn, reason="Region to judge drawn")


def _keep_out(inspection: Inspection, entry: PhotoEntry, op: Op) -> Inspection:
    """Keep an area out, or with `remove` judge that one again."""
    options = MeasureOptions.from_dict(entry.options)
    areas = options.keep_out_px
    if "remove" in op:
        fewer = tuple(x for i, x in enumerate(areas) if i != op["remove"])
        again = replace(options, keep_out_px=fewer)
        return anew(inspection, entry, again, reason="An area kept out is judged again")
    more = (*areas, _plain_outline(tidied(points_of(op))))
    return anew(
        inspection, entry, replace(options, keep_out_px=more), reason="Area to keep out drawn"
    )


def _plain_outline(outline: Points) -> tuple[tuple[float, float], ...]:
    return tuple((round(float(x), 1), round(float(y), 1)) for x, y in outline)


_EDITS: Mapping[str, Callable[[Inspection, PhotoEntry, Op], Inspection]] = {
    "confirm": _confirm,
    "reject": _reject,
    "undo": _undo,
    "redo": _redo,
    "bridge": _bridge,
    "apart": _apart,
    "kind": _kind,
    "layer": _layer,
    "trace": _trace,
    "retrace": _retrace,
    "area": _area,
    "join": _join,
    "cut": _cut,
    "shape": _shape,
    "drop": _drop,
    "scale": _scale,
    "region": _region,
    "keepout": _keep_out,
    **LAYER_EDITS,
}


def new_id(measurement: Measurement, kind: str) -> str:
    """Give an id for a finding that a person adds; "t" and a number that is free."""
    return free_id(f"{kind.replace('_', '-')}-t", {f.id for f in measurement.findings})


def _traced(
    photo: Photo, measurement: Measurement, finding_id: str, *, op: Op, kind: Any
) -> Measurement:
    """Measure a line along the dark way between the points, or straight through them."""
    if not op.get("snap", True):
        return remeasure(
            photo, measurement, finding_id, lines_px=[points_of(op)], kind=kind, origin="drawn"
        )
    if measurement.scale is None or measurement.edge is None:
        raise UsageError(
            "The photo has no scale or no edge, so nothing can be measured on it.",
            remedy="Give the scale by two points, or take the photo again.",
        )
    finding = trace_crack(
        photo, points_of(op), measurement.scale, edge=measurement.edge, finding_id=finding_id,
        kind=kind,
    )  # fmt: skip
    return with_findings(measurement, _put(measurement.findings, finding))


def _put(findings: tuple[Finding, ...], finding: Finding) -> tuple[Finding, ...]:
    if any(f.id == finding.id for f in findings):
        return tuple(
            replace(finding, strength=f.strength) if f.id == finding.id else f for f in findings
        )
    return (*findings, finding)
