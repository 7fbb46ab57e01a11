"""Layers put right in the photo workspace, and measuring lines kept on the photo."""

from collections.abc import Callable, Mapping

import numpy as np

from damagescore import inspection as aggregate
from damagescore.edge import add_shim, boundaries_of, correct_layer, remove_layer
from damagescore.edge.missed import shim_at
from damagescore.edge.record import Edge
from damagescore.errors import DamageScoreError, UsageError
from damagescore.inspection.layer_edits import LayerChange
from damagescore.inspection.record import Inspection, PhotoEntry
from damagescore.layers import with_layers
from damagescore.measure import Measurement
from damagescore.measurement import MeasureOptions
from damagescore.scale.record import Scale
from damagescore.ui.photo_basis import anew, basis, points_of
from damagescore.ui.session import inspector
from damagescore.ui.shapes import spliced
from damagescore.ui.words import KIND_WORDS
from damagescore.ui.workspace import Op

REASONS: Mapping[str, str] = {
    "boundary": "Boundary lay wrong",
    "shim": "Shim was missed",
    "layerout": "No layer there",
}
"""Why layers are changed, where the inspector gives no other words."""


def layer_warning(
    inspection: Inspection, before: PhotoEntry, after: PhotoEntry
) -> DamageScoreError | None:
    """Say what followed from other layers that a person would want to look at.

    Parameters
    ----------
    inspection : Inspection
    before, after : PhotoEntry
        The photo with its old and its new layers.
    """
    old = {f["id"]: f for f in before.measurement["findings"]}
    said = []
    for finding in after.measurement["findings"]:
        known = old.get(finding["id"], finding)
        if known["kind"] != finding["kind"]:
            said.append(f"{finding['id']} is now a {KIND_WORDS[finding['kind']].lower()}.")
        if finding["layer"] is None and known["layer"] is not None:
            said.append(f"{finding['id']} lies in no layer any more.")
    counts = [len(e.measurement["layers"]) for e in (before, after)]
    if counts[0] != counts[1] and any(h.layer is not None for h in inspection.hand):
        said.append("The layers are numbered anew; hand measurements name theirs by number.")
    if not said:
        return None
    return UsageError(
        "The layers are changed. " + " ".join(said),
        remedy="Look at what followed, or take it back with Undo.",
    )


def _boundary(inspection: Inspection, entry: PhotoEntry, op: Op) -> Inspection:
    """Put points in the place of a stretch of a boundary, counted from the lowest."""
    photo, measurement = basis(entry)
    edge, scale = _layers(measurement)
    curves, number = boundaries_of(edge), int(op["line"])
    if not 0 <= number < len(curves) or len(curves[number]) != op["count"]:
        raise UsageError(
            "The layers changed meanwhile, so this change was not made.",
            remedy="Look at what is shown now, then repeat it.",
        )
    line = spliced(curves[number], points_of(op), first=int(op["first"]), last=int(op["last"]))
    if number < len(edge.layers):
        changed = correct_layer(edge, scale, edge.layers[number].index, lower_px=line)
    else:
        changed = correct_layer(edge, scale, edge.layers[-1].index, upper_px=line)
    target = f"between layers {number - 1} and {number}"
    if number in (0, len(edge.layers)):
        target = f"{'lower' if number == 0 else 'upper'} end of the stack"
    return _taken(
        inspection, entry, op, with_layers(photo, measurement, changed),
        action="move_boundary", target=target,
    )  # fmt: skip


def _shim(inspection: Inspection, entry: PhotoEntry, op: Op) -> Inspection:
    photo, measurement = basis(entry)
    edge, scale = _layers(measurement)
    place = shim_at(photo, edge, scale, point_px=points_of(op)[0])
    changed = add_shim(
        edge, scale, upper_px=place.upper_px, lower_px=place.lower_px, outer_px=place.outer_px
    )
    known = [x.upper_px for x in edge.layers]
    number = next(
        x.index for x in changed.shims if not any(np.array_equal(x.upper_px, y) for y in known)
    )
    return _taken(
        inspection, entry, op, with_layers(photo, measurement, changed), action="add_shim",
        target=f"layer {number}",
    )  # fmt: skip


def _out(inspection: Inspection, entry: PhotoEntry, op: Op) -> Inspection:
    photo, measurement = basis(entry)
    edge, scale = _layers(measurement)
    changed = remove_layer(edge, scale, int(op["layer"]))
    return _taken(
        inspection, entry, op, with_layers(photo, measurement, changed),
        action="remove_layer", target=f"layer {int(op['layer'])}",
    )  # fmt: skip


def _again(inspection: Inspection, entry: PhotoEntry, op: Op) -> Inspection:
    """Search the photo again: on the layers as they are, or with the layers found anew."""
    options = MeasureOptions.from_dict(entry.options)
    if op.get("find"):
        return anew(inspection, entry, options, reason="Layers found anew", keep_layers=False)
    return anew(inspection, entry, options, reason="Searched on the corrected layers")


def _ruler(inspection: Inspection, entry: PhotoEntry, op: Op) -> Inspection:
    return aggregate.add_ruler(
        inspection, entry.sha256, op["points"], by=inspector(),
        screen_px=float(op.get("screen", 1.0)),
    )  # fmt: skip


def _ruler_out(inspection: Inspection, entry: PhotoEntry, op: Op) -> Inspection:
    return aggregate.remove_ruler(inspection, entry.sha256, int(op["number"]), by=inspector())


LAYER_EDITS: Mapping[str, Callable[[Inspection, PhotoEntry, Op], Inspection]] = {
    "boundary": _boundary,
    "shim": _shim,
    "layerout": _out,
    "search": _again,
    "ruler": _ruler,
    "rulerout": _ruler_out,
}


def _layers(measurement: Measurement) -> tuple[Edge, Scale]:
    if measurement.edge is None or measurement.scale is None:
        raise UsageError(
            "The photo was refused, so it has no layers to correct.",
            remedy="Give it a scale or take it again.",
        )
    return measurement.edge, measurement.scale


def _taken(
    inspection: Inspection,
    entry: PhotoEntry,
    op: Op,
    measurement: Measurement,
    *,
    action: LayerChange,
    target: str,
) -> Inspection:
    reason = str(op.get("reason") or "").strip() or REASONS[str(op["do"])]
    return aggregate.change_layers(
        inspection, entry.sha256, measurement=measurement.to_dict(), target=target,
        by=inspector(), reason=reason, action=action,
    )  # fmt: skip
