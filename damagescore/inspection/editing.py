"""How an edit is made and kept."""

from dataclasses import replace

from damagescore.inspection.assessing import assessed_again
from damagescore.inspection.checks import check_open, checked_time, name_of, text_of
from damagescore.inspection.patches import Patch, put
from damagescore.inspection.record import Edit, Inspection, Review, ReviewState


def edited(
    inspection: Inspection,
    action: str,
    target: str,
    *,
    by: str,
    before: Patch,
    after: Patch,
    reason: str = "",
    at: str | None = None,
) -> Inspection:
    """Write a patch, keep it as an edit, and assess anew where limits were chosen."""
    check_open(inspection)
    edit = Edit(
        number=len(inspection.edits) + 1,
        at=checked_time(at),
        by=name_of(by, "The name"),
        action=action,
        target=target,
        reason=text_of(reason, "The reason"),
        before=before,
        after=after,
    )
    changed = put(inspection, after)
    return assessed_again(replace(changed, edits=(*inspection.edits, edit)))


def new_review(state: ReviewState, *, by: str, at: str | None, reason: str = "") -> Review:
    """A person's decision on a finding or link; RecordError without a name."""
    return Review(
        state=state,
        by=name_of(by, "The reviewer's name", needed=True),
        at=checked_time(at),
        reason=text_of(reason, "The reason"),
    )
