"""The same findings in the photos of the inspections of a part."""

from collections.abc import Callable
from dataclasses import dataclass

from damagescore.damage.record import Finding
from damagescore.errors import DamageScoreError
from damagescore.history.edge_view import edge_view, thicknesses
from damagescore.history.lives import Life, use_of
from damagescore.history.overlay import TwoViews, two_views
from damagescore.history.predict import predict
from damagescore.history.record import Series
from damagescore.history.register import NotRegistered
from damagescore.history.tracks import (
    Look,
    Step,
    Track,
    compare_looks,
    series_of_track,
    steps_of,
    tracks_of,
)
from damagescore.inspection.record import Inspection, PhotoEntry
from damagescore.limits import LimitSet
from damagescore.measurement import Measurement
from damagescore.photo import read_photo
from damagescore.photo.record import Photo
from damagescore.report.followed import Followed, SidePhoto
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


def follow_findings(
    life: Life, loader: PhotoLoader, *, limit_set: LimitSet | None = None
) -> Followed | None:
    """Follow every finding through the first face photo of each inspection.

    Photos are read one after the other and only the flat edge of each is kept.

    Parameters
    ----------
    life : Life
    loader : callable
        Gives a photo's bytes by its SHA-256.
    limit_set : LimitSet, optional
        Its limits on single findings are drawn beside each.

    Returns
    -------
    Followed or None
        None where fewer than two inspections have a usable face photo at hand.
    """
    looks: list[Look] = []
    sides: list[SidePhoto] = []
    for inspection in life.inspections:
        seen = _look(inspection, life, loader, like=looks[0] if looks else None)
        if seen is not None:
            looks.append(seen[0])
            sides = [*sides[-1:], seen[1]]
    if len(looks) < 2:
        return None
    steps = steps_of(looks)
    tracks = tracks_of(looks, steps)
    return Followed(
        uses=tuple(x.use for x in looks), tracks=tracks, last=steps[-1],
        earlier=sides[0], later=sides[1], axis=life.axis,
        refused=tuple(
            f"{looks[s.earlier].use:.0f} and {looks[s.later].use:.0f}: {s.registration.reason}"
            for s in steps
            if isinstance(s.registration, NotRegistered)
        ),
        predictions=tuple(
            predict(series_of_track(t, looks, axis=life.axis, like=_limit_for(t, limit_set)))
            for t in tracks
        ),
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoLooks:
    """Two inspections laid on one another; `views` is None where they cannot be."""

    step: Step
    views: TwoViews | None


def two_looks(
    earlier: Inspection,
    later: Inspection,
    life: Life,
    loader: PhotoLoader,
    *,
    lines: bool = True,
) -> TwoLooks | None:
    """Lay the first face photos of two inspections on one another.

    Returns
    -------
    TwoLooks or None
        None where one of them has no usable face photo at hand.
    """
    first = _look(earlier, life, loader, like=None)
    second = _look(later, life, loader, like=None if first is None else first[0])
    if first is None or second is None:
        return None
    step = compare_looks(first[0], second[0])
    if isinstance(step.registration, NotRegistered):
        return TwoLooks(step=step, views=None)
    findings = (first[0].findings, second[0].findings) if lines else ((), ())
    views = two_views(first[0].view, second[0].view, step.registration, findings=findings)
    return TwoLooks(step=step, views=views)


def _look(
    inspection: Inspection, life: Life, loader: PhotoLoader, *, like: Look | None
) -> tuple[Look, SidePhoto] | None:
    entry = face_photo(inspection)
    if entry is None:
        return None
    measured = Measurement.from_dict(dict(entry.measurement))
    edge, scale = measured.edge, measured.scale
    try:
        photo = read_photo(loader(entry.sha256), name=entry.name)
        if edge is None or scale is None:
            return None
        rows = None
        if like is not None and len(like.view.edge.layers) == len(edge.layers):
            rows = thicknesses(like.view.edge, like.view.scale)
        view = edge_view(photo, edge, scale, thickness_mm=rows)
    except DamageScoreError:
        return None
    use = use_of(inspection.part, life.axis) or 0.0
    look = Look(
        use=use, view=view, findings=findings_that_count(entry), record_id=inspection.id,
        at=inspection.created_at,
    )  # fmt: skip
    return look, side_of(entry, photo, caption=f"{use:.0f} {life.axis}: {entry.name}")


def side_of(entry: PhotoEntry, photo: Photo, *, caption: str) -> SidePhoto:
    """A photo to show beside another."""
    return SidePhoto(
        caption=caption, rgb=photo.rgb, measurement=entry.measurement, states=states_of(entry)
    )


QUANTITY_OF = {
    "crack": "crack_length", "bond_gap": "bond_gap_length", "crumbling": "crumbling_area",
}  # fmt: skip


def _limit_for(track: Track, limit_set: LimitSet | None) -> Series | None:
    """A limit on each single finding of the track's kind, as an empty series."""
    criteria = () if limit_set is None else limit_set.criteria
    found = [
        c
        for c in criteria
        if c.quantity == QUANTITY_OF.get(track.kind)
        and c.statistic in ("largest", "longest")
        and c.direction == "max"
    ]
    if not found or limit_set is None:
        return None
    least = min(found, key=lambda c: c.base_limit)
    return Series(
        id=least.id, label=least.text, unit=least.base_unit, points=(), limit=least.base_limit,
        inclusive=least.inclusive, guard_factor=limit_set.decision.guard_factor,
        text=least.text, invented=limit_set.invented,
    )  # fmt: skip
