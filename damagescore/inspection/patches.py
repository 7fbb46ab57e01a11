"""Small changes as plain data: what an edit keeps, so that it can be taken back."""

from collections.abc import Mapping
from dataclasses import asdict, replace
from typing import Any, TypeGuard

from damagescore.errors import RecordError
from damagescore.inspection.plain import (
    hand_from_dict,
    hand_to_dict,
    photo_from_dict,
    photo_to_dict,
)
from damagescore.inspection.record import Inspection, Part, PhotoEntry, Review, Task

Patch = Mapping[str, Any]
"""`slot` names the place, the rest its content; None means that nothing is there."""


def is_patch(value: object) -> TypeGuard[Patch]:
    """Whether what an edit keeps is a patch, which can be put back."""
    return isinstance(value, Mapping) and "slot" in value


def put(inspection: Inspection, patch: Patch) -> Inspection:
    """Write the content of a patch to its place."""
    slot = patch["slot"]
    if slot == "part":
        return replace(inspection, part=Part(**patch["part"]))
    if slot == "task":
        return replace(inspection, task=Task(**patch["task"]))
    if slot == "hand":
        return replace(inspection, hand=tuple(hand_from_dict(h) for h in patch["hand"]))
    if slot == "photo":
        return _put_photo(inspection, patch)
    return _put_finding(inspection, patch)


def part_patch(part: Part) -> Patch:
    """Give the whole part."""
    return {"slot": "part", "part": asdict(part)}


def task_patch(task: Task) -> Patch:
    """Give all that is said of the work."""
    return {"slot": "task", "task": asdict(task)}


def hand_patch(inspection: Inspection) -> Patch:
    """Give all hand measurements."""
    return {"slot": "hand", "hand": [hand_to_dict(h) for h in inspection.hand]}


def photo_patch(sha256: str, entry: PhotoEntry | None, *, position: int) -> Patch:
    """Give a photo with its place in the list, or say that it is not there."""
    plain = None if entry is None else photo_to_dict(entry)
    return {"slot": "photo", "photo": sha256, "position": position, "entry": plain}


def review_patch(entry: PhotoEntry, finding_id: str, review: Review | None) -> Patch:
    """Give the review of a finding; its geometry stays as it is."""
    return {
        "slot": "finding",
        "photo": entry.sha256,
        "id": finding_id,
        "review": None if review is None else asdict(review),
    }


def finding_patch(
    entry: PhotoEntry, finding_id: str, *, measurement: Mapping[str, Any], review: Review | None
) -> Patch:
    """Give a finding as a measurement has it, with the totals that follow from it."""
    return {
        **review_patch(entry, finding_id, review),
        "finding": finding_in(measurement, finding_id),
        "totals": measurement.get("totals"),
    }


def entry_of(inspection: Inspection, sha256: str) -> PhotoEntry:
    """Give the photo of a hash; RecordError when there is none."""
    for entry in inspection.photos:
        if entry.sha256 == sha256:
            return entry
    raise RecordError(
        f"The record has no photo {sha256[:12]!r}.", remedy="Choose one of its photos."
    )


def finding_in(measurement: Mapping[str, Any], finding_id: str) -> dict[str, Any] | None:
    """Give the finding of an id; None when there is none."""
    found: list[dict[str, Any]] = measurement.get("findings") or []
    return next((f for f in found if f["id"] == finding_id), None)


def _put_photo(inspection: Inspection, patch: Patch) -> Inspection:
    others = [p for p in inspection.photos if p.sha256 != patch["photo"]]
    if patch["entry"] is not None:
        others.insert(patch["position"], photo_from_dict(patch["entry"]))
    return replace(inspection, photos=tuple(others))


def _put_finding(inspection: Inspection, patch: Patch) -> Inspection:
    entry = entry_of(inspection, patch["photo"])
    finding_id, review = patch["id"], patch["review"]
    reviews = {k: r for k, r in entry.reviews.items() if k != finding_id}
    if review is not None:
        reviews[finding_id] = Review(**review)
    measurement = entry.measurement
    if "finding" in patch:
        measurement = {
            **measurement,
            "findings": _replaced(measurement, finding_id, patch["finding"]),
            "totals": patch["totals"],
        }
    changed = replace(entry, reviews=reviews, measurement=measurement)
    photos = tuple(changed if p is entry else p for p in inspection.photos)
    return replace(inspection, photos=photos)


def _replaced(
    measurement: Mapping[str, Any], finding_id: str, finding: dict[str, Any] | None
) -> list[dict[str, Any]]:
    old: list[dict[str, Any]] = list(measurement.get("findings") or [])
    at = next((i for i, f in enumerate(old) if f["id"] == finding_id), len(old))
    return [*old[:at], *([] if finding is None else [finding]), *old[at + 1 :]]
