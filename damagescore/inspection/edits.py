"""Changes to the part, the photos and their findings: each gives a new record."""

from collections.abc import Collection, Mapping
from dataclasses import replace
from typing import Any, Literal

from damagescore.errors import RecordError
from damagescore.inspection.checks import (
    checked_part,
    checked_task,
    name_of,
    plain_json,
    text_of,
)
from damagescore.inspection.editing import edited, new_review
from damagescore.inspection.patches import (
    entry_of,
    finding_in,
    finding_patch,
    part_patch,
    photo_patch,
    review_patch,
    task_patch,
)
from damagescore.inspection.record import (
    Inspection,
    Part,
    PhotoEntry,
    ReviewState,
    Task,
)

Change = Literal["replace_geometry", "change_kind", "change_layer"]


def set_part(
    inspection: Inspection, part: Part, *, by: str = "", reason: str = "", at: str | None = None
) -> Inspection:
    """Change what the part is called; unchanged when it is the same."""
    checked = checked_part(part)
    if checked == inspection.part:
        return inspection
    return edited(
        inspection, "set_part", "part", by=by, reason=reason, at=at,
        before=part_patch(inspection.part), after=part_patch(checked),
    )  # fmt: skip


def set_task(
    inspection: Inspection, task: Task, *, by: str = "", at: str | None = None
) -> Inspection:
    """Change what is said of the work that was done; unchanged when it is the same."""
    checked = checked_task(task)
    if checked == inspection.task:
        return inspection
    return edited(
        inspection, "set_task", "task", by=by, at=at,
        before=task_patch(inspection.task), after=task_patch(checked),
    )  # fmt: skip


def add_photo(
    inspection: Inspection,
    *,
    sha256: str,
    name: str,
    measurement: Mapping[str, Any],
    options: Mapping[str, Any] | None = None,
    position: int | None = None,
    by: str = "",
    at: str | None = None,
) -> Inspection:
    """Add a measured photo; all its findings are proposed.

    Parameters
    ----------
    inspection : Inspection
    sha256 : str
        Key of the photo in the vault.
    measurement : mapping
        Of schema damagescore/measurement/1; its "view" is that of the photo.
    options : mapping, optional
        How it was measured, so that it can be measured again.
    position : int, optional
        Place among the photos; after all others by default.

    Raises
    ------
    RecordError
        When the record already has this photo.
    """
    if any(p.sha256 == sha256 for p in inspection.photos):
        raise _there_already(name)
    entry = _entry(sha256, name, measurement=measurement, options=options or {})
    place = len(inspection.photos) if position is None else position
    return edited(
        inspection, "add_photo", f"photo {place + 1} ({entry.name})", by=by, at=at,
        before=photo_patch(sha256, None, position=place),
        after=photo_patch(sha256, entry, position=place),
    )  # fmt: skip


def replace_measurement(
    inspection: Inspection,
    sha256: str,
    *,
    measurement: Mapping[str, Any],
    options: Mapping[str, Any] | None = None,
    keep_reviews: Collection[str] = (),
    by: str = "",
    reason: str = "",
    at: str | None = None,
) -> Inspection:
    """Take over a new measurement of a photo; its findings are proposed anew.

    The findings named in `keep_reviews` keep their review; the caller has to see to it
    that the new measurement has the same findings under these ids.
    """
    old = entry_of(inspection, sha256)
    given = old.options if options is None else options
    entry = _entry(sha256, old.name, measurement=measurement, options=given)
    kept = {k: r for k, r in old.reviews.items() if k in keep_reviews}
    for finding_id in kept:
        _need(entry, finding_id)
    entry = replace(entry, reviews=kept, rulers=old.rulers)
    place = inspection.photos.index(old)
    return edited(
        inspection, "measure_again", _photo_name(inspection, sha256), by=by, reason=reason,
        at=at, before=photo_patch(sha256, old, position=place),
        after=photo_patch(sha256, entry, position=place),
    )  # fmt: skip


def retake_photo(
    inspection: Inspection,
    old: str,
    *,
    sha256: str,
    name: str,
    measurement: Mapping[str, Any],
    options: Mapping[str, Any] | None = None,
    by: str,
    reason: str,
    at: str | None = None,
) -> Inspection:
    """Put a new photo in the place of another: one edit, so one undo brings that one back.

    `old` is the SHA-256 of the photo that is replaced, the rest as for `add_photo`.

    Raises
    ------
    RecordError
        When the record has no photo `old`, has the new one already, or the reason is empty.
    """
    gone = entry_of(inspection, old)
    if any(p.sha256 == sha256 for p in inspection.photos):
        raise _there_already(name)
    place = inspection.photos.index(gone)
    entry = _entry(sha256, name, measurement=measurement, options=options or {})
    reason = text_of(reason, "The reason for replacing a photo", needed=True)
    return edited(
        inspection, "retake_photo", _photo_name(inspection, old), by=by, reason=reason, at=at,
        before=photo_patch(old, gone, position=place, instead_of=sha256),
        after=photo_patch(sha256, entry, position=place, instead_of=old),
    )  # fmt: skip


def remove_photo(
    inspection: Inspection, sha256: str, *, by: str, reason: str, at: str | None = None
) -> Inspection:
    """Take a photo out of the record; the reason is needed."""
    entry = entry_of(inspection, sha256)
    place = inspection.photos.index(entry)
    reason = text_of(reason, "The reason for removing a photo", needed=True)
    return edited(
        inspection, "remove_photo", _photo_name(inspection, sha256), by=by, reason=reason,
        at=at, before=photo_patch(sha256, entry, position=place),
        after=photo_patch(sha256, None, position=place),
    )  # fmt: skip


def confirm_finding(
    inspection: Inspection,
    sha256: str,
    finding_id: str,
    *,
    by: str,
    reason: str = "",
    at: str | None = None,
) -> Inspection:
    """Accept a finding as damage."""
    return _review(
        inspection, sha256, finding_id, state="confirmed", by=by, reason=reason, at=at
    )


def reject_finding(
    inspection: Inspection,
    sha256: str,
    finding_id: str,
    *,
    by: str,
    reason: str,
    at: str | None = None,
) -> Inspection:
    """Say that a finding is no damage; the reason is needed, and the finding stays listed."""
    reason = text_of(reason, "The reason for rejecting a finding", needed=True)
    return _review(
        inspection, sha256, finding_id, state="rejected", by=by, reason=reason, at=at
    )


def confirm_all(
    inspection: Inspection, sha256: str, *, by: str, reason: str = "", at: str | None = None
) -> Inspection:
    """Accept every finding of a photo that nobody has reviewed, one edit each."""
    entry = entry_of(inspection, sha256)
    for finding in entry.measurement.get("findings") or ():
        if state_of(entry, finding["id"]) == "proposed":
            inspection = confirm_finding(
                inspection, sha256, finding["id"], by=by, reason=reason, at=at
            )
    return inspection


def change_finding(
    inspection: Inspection,
    sha256: str,
    finding_id: str,
    *,
    measurement: Mapping[str, Any],
    by: str,
    reason: str = "",
    action: Change = "replace_geometry",
    at: str | None = None,
) -> Inspection:
    """Take over one finding and the totals from a corrected measurement.

    The finding counts as confirmed by whoever corrected it.

    Parameters
    ----------
    measurement : mapping
        What `remeasure` gave, plain; at least that finding in "findings", and "totals".
    action : "replace_geometry", "change_kind" or "change_layer"

    Raises
    ------
    RecordError
        When the record or the measurement has no such finding.
    """
    entry = entry_of(inspection, sha256)
    _need(entry, finding_id)
    return _take_over(
        inspection, entry, finding_id, measurement=measurement, by=by, reason=reason,
        action=action, at=at,
    )  # fmt: skip


def add_finding(
    inspection: Inspection,
    sha256: str,
    finding_id: str,
    *,
    measurement: Mapping[str, Any],
    by: str,
    reason: str = "",
    at: str | None = None,
) -> Inspection:
    """Add one finding, traced or drawn by the inspector; it counts as confirmed."""
    entry = entry_of(inspection, sha256)
    if finding_in(entry.measurement, finding_id) is not None:
        raise RecordError(
            f"The photo already has a finding {finding_id!r}.",
            remedy="Give the new finding another id, or change the old one.",
        )
    return _take_over(
        inspection, entry, finding_id, measurement=measurement, by=by, reason=reason,
        action="add_finding", at=at,
    )  # fmt: skip


def state_of(entry: PhotoEntry, finding_id: str) -> ReviewState:
    """Review state of a finding; without a review it is proposed."""
    review = entry.reviews.get(finding_id)
    return "proposed" if review is None else review.state


def _review(
    inspection: Inspection,
    sha256: str,
    finding_id: str,
    *,
    state: ReviewState,
    by: str,
    reason: str,
    at: str | None,
) -> Inspection:
    entry = entry_of(inspection, sha256)
    _need(entry, finding_id)
    review = new_review(state, by=by, reason=reason, at=at)
    action = {"confirmed": "confirm", "rejected": "reject"}[state]
    return edited(
        inspection, action, _finding_name(inspection, sha256, finding_id), by=by,
        reason=reason, at=review.at,
        before=review_patch(entry, finding_id, entry.reviews.get(finding_id)),
        after=review_patch(entry, finding_id, review),
    )  # fmt: skip


def _take_over(
    inspection: Inspection,
    entry: PhotoEntry,
    finding_id: str,
    *,
    measurement: Mapping[str, Any],
    by: str,
    reason: str,
    action: str,
    at: str | None,
) -> Inspection:
    finding = finding_in(measurement, finding_id)
    if finding is None:
        raise RecordError(
            f"The new measurement has no finding {finding_id!r}.",
            remedy="Measure the finding under that id.",
        )
    # Nothing else of it is kept, and all of a photo takes long to check.
    taken = {"findings": [finding], "totals": measurement.get("totals")}
    given = plain_json(taken, "The measurement")
    review = new_review("confirmed", by=by, reason=reason, at=at)
    before = finding_patch(
        entry, finding_id, measurement=entry.measurement, review=entry.reviews.get(finding_id)
    )
    after = finding_patch(entry, finding_id, measurement=given, review=review)
    target = _finding_name(inspection, entry.sha256, finding_id)
    return edited(
        inspection, action, target, by=by, reason=reason, at=review.at, before=before,
        after=after,
    )  # fmt: skip


def _entry(
    sha256: str, name: str, *, measurement: Mapping[str, Any], options: Mapping[str, Any]
) -> PhotoEntry:
    plain = plain_json(measurement, "The measurement")
    view = plain.get("view")
    if view not in ("face", "profile"):
        raise RecordError(
            f"The view of the photo is {str(view)[:40]!r}.",
            remedy='Measure it as "face" or "profile".',
        )
    return PhotoEntry(
        sha256=name_of(sha256, "The photo's hash", needed=True),
        name=name_of(name, "The photo's name"),
        view=view,
        options=plain_json(options, "The options"),
        measurement=plain,
    )


def _need(entry: PhotoEntry, finding_id: str) -> None:
    if finding_in(entry.measurement, finding_id) is None:
        raise RecordError(
            f"The photo has no finding {finding_id[:80]!r}.",
            remedy="Choose one of its findings.",
        )


def _there_already(name: str) -> RecordError:
    return RecordError(
        f"The record already has this photo ({name[:80]!r}).",
        remedy="Measure it again instead of adding it twice.",
    )


def _photo_name(inspection: Inspection, sha256: str) -> str:
    entry = entry_of(inspection, sha256)
    return f"photo {inspection.photos.index(entry) + 1} ({entry.name})"


def _finding_name(inspection: Inspection, sha256: str, finding_id: str) -> str:
    return f"{finding_id}, {_photo_name(inspection, sha256)}"
