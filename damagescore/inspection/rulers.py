"""Measuring lines that the inspector keeps on a photo; they are no damage, in no total."""

from collections.abc import Sequence
from dataclasses import replace

from damagescore.errors import RecordError
from damagescore.inspection.checks import name_of
from damagescore.inspection.editing import edited
from damagescore.inspection.patches import entry_of, rulers_patch
from damagescore.inspection.record import Inspection, PhotoEntry

MOST_RULERS = 50


def add_ruler(
    inspection: Inspection,
    sha256: str,
    points_px: Sequence[Sequence[float]],
    *,
    by: str,
    screen_px: float = 1.0,
    at: str | None = None,
) -> Inspection:
    """Keep a measuring line between two points of a photo, photo pixels.

    Parameters
    ----------
    screen_px : float
        Photo pixels that one pixel of the screen covered when it was drawn; its
        uncertainty rests on it.

    Raises
    ------
    RecordError
        Without two points, or where the photo has 50 lines already.
    """
    entry = entry_of(inspection, sha256)
    if len(points_px) != 2 or len(entry.rulers) >= MOST_RULERS:
        raise RecordError(
            f"A measuring line has two points, {len(points_px)} given; the photo keeps "
            f"{len(entry.rulers)} of at most {MOST_RULERS} lines.",
            remedy="Click its two ends, or take out a line that is not needed.",
        )
    line = {
        "points_px": [[round(float(v), 2) for v in p] for p in points_px],
        "screen_px": round(float(screen_px), 3),
        "by": name_of(by, "The name", needed=True),
    }
    after = replace(entry, rulers=(*entry.rulers, line))
    return _changed(inspection, after, "add_measuring_line", len(after.rulers), by=by, at=at)


def remove_ruler(
    inspection: Inspection, sha256: str, number: int, *, by: str, at: str | None = None
) -> Inspection:
    """Take out the measuring line of a number, counted from 1."""
    entry = entry_of(inspection, sha256)
    if not 1 <= number <= len(entry.rulers):
        raise RecordError(
            f"There is no measuring line {number}; the photo has {len(entry.rulers)}.",
            remedy="Give the number that stands beside it.",
        )
    kept = entry.rulers[: number - 1] + entry.rulers[number:]
    after = replace(entry, rulers=kept)
    return _changed(inspection, after, "remove_measuring_line", number, by=by, at=at)


def _changed(
    inspection: Inspection, after: PhotoEntry, action: str, number: int, *, by: str,
    at: str | None,
) -> Inspection:  # fmt: skip
    before = entry_of(inspection, after.sha256)
    place = inspection.photos.index(before) + 1
    return edited(
        inspection, action, f"line {number}, photo {place} ({before.name})", by=by, at=at,
        before=rulers_patch(before), after=rulers_patch(after),
    )  # fmt: skip
