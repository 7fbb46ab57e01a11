"""Taking changes back and making them again; the list of edits only ever grows."""

from collections.abc import Iterator

from damagescore.errors import RecordError
from damagescore.inspection.editing import edited
from damagescore.inspection.patches import is_of_photo, is_patch
from damagescore.inspection.record import Edit, Inspection


def undo(
    inspection: Inspection,
    *,
    by: str,
    photo: str | None = None,
    reason: str = "",
    at: str | None = None,
) -> Inspection:
    """Take back the last change that was not yet taken back, as an edit of its own.

    Parameters
    ----------
    inspection : Inspection
    by : str
    photo : str, optional
        SHA-256 of a photo: only changes to that photo and its findings count.
    reason, at : str, optional

    Raises
    ------
    RecordError
        When there is nothing to take back.
    """
    edit = last_undoable(inspection, photo=photo)
    if edit is None:
        raise RecordError("There is no change to take back.", remedy="Make one first.")
    return edited(
        inspection, "undo", f"edit {edit.number}", by=by, reason=reason, at=at,
        before=edit.after, after=edit.before,
    )  # fmt: skip


def redo(
    inspection: Inspection,
    *,
    by: str,
    photo: str | None = None,
    reason: str = "",
    at: str | None = None,
) -> Inspection:
    """Make the change again that was last taken back, as an edit of its own.

    A new change after an undo leaves nothing to make again.

    Raises
    ------
    RecordError
        When there is nothing to make again.
    """
    edit = last_redoable(inspection, photo=photo)
    if edit is None:
        raise RecordError(
            "There is no change to make again.", remedy="Take one back first, with undo."
        )
    return edited(
        inspection, "redo", f"edit {edit.number}", by=by, reason=reason, at=at,
        before=edit.before, after=edit.after,
    )  # fmt: skip


def last_undoable(inspection: Inspection, *, photo: str | None = None) -> Edit | None:
    """Give the change that `undo` would take back."""
    made, _ = _stacks(inspection, photo)
    return made[-1] if made else None


def last_redoable(inspection: Inspection, *, photo: str | None = None) -> Edit | None:
    """Give the change that `redo` would make again."""
    _, taken_back = _stacks(inspection, photo)
    return taken_back[-1] if taken_back else None


def _stacks(inspection: Inspection, photo: str | None) -> tuple[list[Edit], list[Edit]]:
    """Changes that hold, and changes that were taken back, each in its order."""
    made: list[Edit] = []
    taken_back: list[Edit] = []
    for edit in _patches(inspection, photo):
        if edit.action in ("undo", "redo"):
            source, goal = (made, taken_back) if edit.action == "undo" else (taken_back, made)
            _move(source, goal, edit.target)
        elif photo is not None and edit.action in ("add_photo", "remove_photo"):
            # Taking a photo out or in is no matter of its findings.
            made, taken_back = [], []
        else:
            made.append(edit)
            taken_back = []
    return made, taken_back


def _patches(inspection: Inspection, photo: str | None) -> Iterator[Edit]:
    for edit in inspection.edits:
        patch = edit.before
        if is_patch(patch) and (photo is None or is_of_photo(patch, photo)):
            yield edit


def _move(source: list[Edit], goal: list[Edit], target: str) -> None:
    """Move the edit that an undo or a redo names; adding a photo is on neither stack."""
    for at in reversed(range(len(source))):
        if f"edit {source[at].number}" == target:
            goal.append(source.pop(at))
            return
