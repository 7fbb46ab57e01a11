"""The same findings in the photos of two inspections of a part."""

from collections.abc import Callable

from damagescore.damage.record import Finding
from damagescore.errors import DamageScoreError
from damagescore.history.lives import use_of
from damagescore.history.record import Axis
from damagescore.history.register import NotRegistered, Seen
from damagescore.history.tracks import Look, compare_looks
from damagescore.inspection.record import Inspection, PhotoEntry
from damagescore.measurement import Measurement
from damagescore.photo import read_photo
from damagescore.photo.record import Photo
from damagescore.report.history_report import SameFindings, SidePhoto
from damagescore.report.rows import states_of

PhotoLoader = Callable[[str], bytes]


def face_photo(inspection: Inspection) -> PhotoEntry | None:
    """The first face photo of an inspection that could be judged."""
    return next(
        (
            p
            for p in inspection.photos
            if p.view == "face" and (p.measurement.get("quality") or {}).get("usable")
        ),
        None,
    )


def findings_that_count(entry: PhotoEntry) -> tuple[Finding, ...]:
    """Findings of a photo that nobody rejected."""
    states = states_of(entry)
    return tuple(
        Finding.from_dict(f)
        for f in entry.measurement.get("findings") or ()
        if states.get(f["id"]) != "rejected"
    )


def look_at(entry: PhotoEntry, photo: Photo, *, use: float) -> Look | None:
    """A photo entry as a look; None where it has no scale or no layers."""
    measured = Measurement.from_dict(dict(entry.measurement))
    if measured.scale is None or measured.edge is None:
        return None
    return Look(
        use=use, seen=Seen(photo=photo, edge=measured.edge, scale=measured.scale),
        findings=findings_that_count(entry),
    )  # fmt: skip


def same_findings(
    earlier: Inspection, later: Inspection, loader: PhotoLoader, *, axis: Axis = "hours"
) -> SameFindings | None:
    """Lay the first face photos of two inspections on one another and pair findings.

    Returns
    -------
    SameFindings or None
        None where an inspection has no usable face photo, or its file is not at hand.
    """
    sides, looks = [], []
    for inspection in (earlier, later):
        entry = face_photo(inspection)
        if entry is None:
            return None
        try:
            photo = read_photo(loader(entry.sha256), name=entry.name)
        except DamageScoreError:
            return None
        use = use_of(inspection.part, axis) or 0.0
        look = look_at(entry, photo, use=use)
        if look is None:
            return None
        looks.append(look)
        sides.append(side_of(entry, photo, caption=f"{use:.0f} {axis}: {entry.name}"))
    return paired(sides[0], sides[1], looks[0], looks[1])


def side_of(entry: PhotoEntry, photo: Photo, *, caption: str) -> SidePhoto:
    """A photo to show beside another."""
    return SidePhoto(
        caption=caption, rgb=photo.rgb, measurement=entry.measurement, states=states_of(entry)
    )


def paired(first: SidePhoto, second: SidePhoto, earlier: Look, later: Look) -> SameFindings:
    """Register two looks; where they cannot be, the reason stands in place of pairs."""
    step = compare_looks(earlier, later)
    pairs = () if isinstance(step.registration, NotRegistered) else step.pairs
    return SameFindings(
        earlier=first, later=second, registration=step.registration, pairs=pairs
    )
