"""How an edit is made, kept and taken back."""

from collections.abc import Mapping
from dataclasses import replace

from damagescore.errors import RecordError
from damagescore.inspection.assessing import assessed_again
from damagescore.inspection.checks import check_open, checked_time, name_of, text_of
from damagescore.inspection.patches import Patch, put
from damagescore.inspection.record import Edit, Inspection


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


def undo(
    inspection: Inspection, *, by: str, reason: str = "", at: str | None = None
) -> Inspection:
    """Take back the last change that was not yet taken back, as an edit of its own.

    Raises
    ------
    RecordError
        When there is nothing to take back.
    """
    edit = last_undoable(inspection)
    if edit is None:
        raise RecordError("There is no change to take back.", remedy="Make one first.")
    return edited(
        inspection, "undo", f"edit {edit.number}", by=by, reason=reason, at=at,
        before=edit.after, after=edit.before,
    )  # fmt: skip


def last_undoable(inspection: Inspection) -> Edit | None:
    """Give the change that `undo` would take back."""
    gone = {e.target for e in inspection.edits if e.action == "undo"}
    for edit in reversed(inspection.edits):
        is_patch = isinstance(edit.before, Mapping) and "slot" in edit.before
        if is_patch and edit.action != "undo" and f"edit {edit.number}" not in gone:
            return edit
    return None
