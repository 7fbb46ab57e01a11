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
    of_photo = {
        "photo": _put_photo, "layers": _put_layers, "rulers": _put_rulers, "link": _put_link,
    }  # fmt: skip
    return of_photo.get(slot, _put_finding)(inspection, patch)


def part_patch(part: Part) -> Patch:
    """Give the whole part."""
    return {"slot": "part", "part": asdict(part)}


def task_patch(task: Task) -> Patch:
    """Give all that is said of the work."""
    return {"slot": "task", "task": asdict(task)}


def hand_patch(inspection: Inspection) -> Patch:
    """Give all hand measurements."""
    return {"slot": "hand", "hand": [hand_to_dict(h) for h in inspection.hand]}


def photo_patch(
    sha256: str, entry: PhotoEntry | None, *, position: int, instead_of: str = ""
) -> Patch:
    """Give a photo with its place in the list, or say that it is not there.

    `instead_of` is the photo that is not there while this one is.
    """
    plain = None if entry is None else photo_to_dict(entry)
    patch = {"slot": "photo", "photo": sha256, "position": position, "entry": plain}
    return patch | ({"instead_of": instead_of} if instead_of else {})


def is_of_photo(patch: Patch, sha256: str) -> bool:
    """Whether a patch changes a photo, or takes it out for another."""
    return sha256 in (patch.get("photo"), patch.get("instead_of"))


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


def layers_patches(before: PhotoEntry, after: PhotoEntry) -> tuple[Patch, Patch]:
    """Give the layers of a photo before and after, with what followed from them.

    Only layers and findings that differ are kept, by number and by id; None means that
    there is none.
    """
    return _layers_patch(before, after), _layers_patch(after, before)


def link_patch(one: PhotoEntry, other: PhotoEntry, link: Mapping[str, Any]) -> Patch:
    """Give what `one` has of a link: its review, and findings and totals that differ."""
    review = one.reviews.get(link["id"])
    patch = {
        "slot": "link",
        "photo": one.sha256,
        "id": link["id"],
        "between": [x for x in (link["first"], link["second"]) if x is not None],
        "review": None if review is None else asdict(review),
    }
    findings = _differing(one, other, "findings", "id")
    return patch | (
        {
            "findings": findings,
            "order": [f["id"] for f in one.measurement.get("findings") or ()],
            "totals": one.measurement.get("totals"),
            "reviews": _reviews_apart(one, other, besides=link["id"]),
        }
        if findings
        else {}
    )


def _reviews_apart(one: PhotoEntry, other: PhotoEntry, *, besides: str = "") -> dict[str, Any]:
    """Reviews of `one` that differ in `other`, by finding; None where there is none."""
    return {
        k: None if (r := one.reviews.get(k)) is None else asdict(r)
        for k in {**one.reviews, **other.reviews}
        if k != besides and one.reviews.get(k) != other.reviews.get(k)
    }


def rulers_patch(entry: PhotoEntry) -> Patch:
    """Give the measuring lines kept on a photo."""
    return {"slot": "rulers", "photo": entry.sha256, "rulers": list(entry.rulers)}


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
    others = [p for p in inspection.photos if not is_of_photo(patch, p.sha256)]
    if patch["entry"] is not None:
        others.insert(patch["position"], photo_from_dict(patch["entry"]))
    return replace(inspection, photos=tuple(others))


def _put_finding(inspection: Inspection, patch: Patch) -> Inspection:
    entry = entry_of(inspection, patch["photo"])
    finding_id, review = patch["id"], patch["review"]
    reviews = _with_reviews(entry, {finding_id: review})
    measurement = entry.measurement
    if "finding" in patch:
        measurement = {
            **measurement,
            "findings": _replaced(measurement, finding_id, patch["finding"]),
            "totals": patch["totals"],
        }
    return _with_photo(inspection, entry, reviews=reviews, measurement=measurement)


def _with_reviews(
    entry: PhotoEntry, changed: Mapping[str, dict[str, Any] | None]
) -> dict[str, Review]:
    """Reviews of a photo with some put in, by finding or link; None takes one out."""
    kept = {k: r for k, r in entry.reviews.items() if k not in changed}
    return kept | {k: Review(**r) for k, r in changed.items() if r is not None}


_FOLLOWS = ("edge", "quality", "totals", "unjudged")


def _layers_patch(one: PhotoEntry, other: PhotoEntry) -> Patch:
    layers, findings = (_differing(one, other, *what) for what in _NUMBERED)
    return {
        "slot": "layers",
        "photo": one.sha256,
        "layers": layers,
        "n_layers": len(one.measurement.get("layers") or ()),
        "findings": findings,
        "order": [f["id"] for f in one.measurement.get("findings") or ()],
        "reviews": _reviews_apart(one, other),
        **{name: one.measurement[name] for name in _FOLLOWS if name in one.measurement},
    }


_NUMBERED = (("layers", "index"), ("findings", "id"))


def _differing(one: PhotoEntry, other: PhotoEntry, key: str, name: str) -> dict[str, Any]:
    mine, theirs = (
        {str(x[name]): x for x in e.measurement.get(key) or ()} for e in (one, other)
    )
    return {k: mine.get(k) for k in {**mine, **theirs} if mine.get(k) != theirs.get(k)}


def _put_layers(inspection: Inspection, patch: Patch) -> Inspection:
    entry = entry_of(inspection, patch["photo"])
    layers, findings = (
        {str(x[name]): x for x in entry.measurement.get(key) or ()} | patch[key]
        for key, name in _NUMBERED
    )
    kept = sorted((x for x in layers.values() if x is not None), key=lambda x: x["index"])
    measurement = {
        **entry.measurement,
        **{name: patch[name] for name in _FOLLOWS if name in patch},
        "layers": kept,
        "findings": [findings[k] for k in patch["order"]],
    }
    reviews = _with_reviews(entry, patch["reviews"])
    return _with_photo(inspection, entry, measurement=measurement, reviews=reviews)


def _put_link(inspection: Inspection, patch: Patch) -> Inspection:
    entry = entry_of(inspection, patch["photo"])
    measurement = entry.measurement
    if "findings" in patch:
        findings = {f["id"]: f for f in measurement.get("findings") or ()} | patch["findings"]
        measurement = {
            **measurement,
            "findings": [findings[k] for k in patch["order"]],
            "totals": patch["totals"],
        }
    changed = {**patch.get("reviews", {}), patch["id"]: patch["review"]}
    reviews = _with_reviews(entry, changed)
    return _with_photo(inspection, entry, measurement=measurement, reviews=reviews)


def _put_rulers(inspection: Inspection, patch: Patch) -> Inspection:
    entry = entry_of(inspection, patch["photo"])
    return _with_photo(inspection, entry, rulers=tuple(patch["rulers"]))


def _with_photo(inspection: Inspection, entry: PhotoEntry, **changes: Any) -> Inspection:
    changed = replace(entry, **changes)
    return replace(
        inspection, photos=tuple(changed if p is entry else p for p in inspection.photos)
    )


def _replaced(
    measurement: Mapping[str, Any], finding_id: str, finding: dict[str, Any] | None
) -> list[dict[str, Any]]:
    old: list[dict[str, Any]] = list(measurement.get("findings") or [])
    at = next((i for i, f in enumerate(old) if f["id"] == finding_id), len(old))
    return [*old[:at], *([] if finding is None else [finding]), *old[at + 1 :]]
