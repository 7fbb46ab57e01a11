"""Deciding on a suggested link between two findings: joining them, or leaving them apart."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from damagescore.errors import RecordError
from damagescore.inspection.checks import plain_json
from damagescore.inspection.editing import edited, new_review
from damagescore.inspection.link_notes import open_links, words_of_link
from damagescore.inspection.patches import entry_of, finding_in, link_patch
from damagescore.inspection.record import Inspection, PhotoEntry, Review


def join_link(
    inspection: Inspection,
    sha256: str,
    link_id: str,
    *,
    measurement: Mapping[str, Any],
    by: str,
    at: str | None = None,
) -> Inspection:
    """Take a link: its first finding goes on over the second one, which it replaces.

    One edit, so that one undo brings both findings back. The joined finding counts as
    confirmed by whoever joined it.

    Parameters
    ----------
    measurement : mapping
        What `joined.with_joined` gave, plain: its "findings" and "totals".

    Raises
    ------
    RecordError
        When the link was decided on, or its findings were changed or rejected since.
    """
    entry = entry_of(inspection, sha256)
    link = _open(entry, link_id)
    taken = {"findings": measurement["findings"], "totals": measurement["totals"]}
    given = plain_json(taken, "The measurement")
    whole = finding_in(given, link["first"])
    found = [
        whole if f["id"] == link["first"] else f
        for f in entry.measurement["findings"]
        if f["id"] != link["second"]
    ]
    review = new_review("confirmed", by=by, at=at)
    reviews = {k: r for k, r in entry.reviews.items() if k != link["second"]}
    after = replace(
        entry,
        measurement={**entry.measurement, "findings": found, "totals": given["totals"]},
        reviews=reviews | {link["first"]: review, link["id"]: review},
    )
    return _decided(inspection, entry, after, link=link, action="join", review=review)


def leave_apart(
    inspection: Inspection,
    sha256: str,
    link_id: str,
    *,
    by: str,
    reason: str = "",
    at: str | None = None,
) -> Inspection:
    """Say that the two ends of a link are not one crack; RecordError as for `join_link`."""
    entry = entry_of(inspection, sha256)
    link = _open(entry, link_id)
    review = new_review("rejected", by=by, at=at, reason=reason)
    after = replace(entry, reviews={**entry.reviews, link["id"]: review})
    return _decided(inspection, entry, after, link=link, action="leave_apart", review=review)


def _decided(
    inspection: Inspection,
    before: PhotoEntry,
    after: PhotoEntry,
    *,
    link: Mapping[str, Any],
    action: str,
    review: Review,
) -> Inspection:
    place = inspection.photos.index(before) + 1
    return edited(
        inspection, action, f"{words_of_link(link)}, photo {place} ({before.name})",
        by=review.by, reason=review.reason, at=review.at,
        before=link_patch(before, after, link), after=link_patch(after, before, link),
    )  # fmt: skip


def _open(entry: PhotoEntry, link_id: str) -> Mapping[str, Any]:
    for link in open_links(entry):
        if link["id"] == link_id:
            return link
    raise RecordError(
        f"There is nothing to decide on for {link_id[:80]!r}.",
        remedy="Choose a gap that is shown, or trace the crack.",
    )
