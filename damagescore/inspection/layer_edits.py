"""Layers of a photo put right by hand, as an edit: old and new layers, and what followed."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Literal

from damagescore.errors import RecordError
from damagescore.inspection.checks import plain_json, text_of
from damagescore.inspection.editing import edited
from damagescore.inspection.patches import entry_of, layers_patches
from damagescore.inspection.record import Inspection

LayerChange = Literal["move_boundary", "add_shim", "remove_layer"]


def change_layers(
    inspection: Inspection,
    sha256: str,
    *,
    measurement: Mapping[str, Any],
    target: str,
    by: str,
    reason: str,
    action: LayerChange = "move_boundary",
    at: str | None = None,
) -> Inspection:
    """Take over corrected layers and all that followed from them.

    Reviews stay with their findings; those of bulges, which are found anew on the layers,
    are dropped. Findings whose data are the same stay the same objects.

    Parameters
    ----------
    inspection : Inspection
    sha256 : str
    measurement : mapping
        What `with_layers` gave, plain.
    target : str
        What was corrected, for instance "layer 3".
    by, reason : str
        Both are needed.
    action : "move_boundary", "add_shim" or "remove_layer"

    Raises
    ------
    RecordError
        When the record has no such photo, or the reason is missing.
    """
    entry = entry_of(inspection, sha256)
    given = plain_json(measurement, "The measurement")
    if not by.strip():
        raise RecordError("Nobody is named as working.", remedy="Give your name first.")
    bulges = {f["id"] for f in entry.measurement.get("findings") or () if f["kind"] == "bulge"}
    kept = {k: r for k, r in entry.reviews.items() if k not in bulges}
    before, after = layers_patches(entry, replace(entry, measurement=given, reviews=kept))
    place = inspection.photos.index(entry) + 1
    return edited(
        inspection, action, f"{target}, photo {place} ({entry.name})", by=by,
        reason=text_of(reason, "The reason for changing layers", needed=True), at=at,
        before=before, after=after,
    )  # fmt: skip
