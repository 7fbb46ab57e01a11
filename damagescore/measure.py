"""One photo from pixels to measured findings: scale, edge, quality, damage, totals."""

from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from damagescore.damage import measure_area, measure_lines
from damagescore.damage.areas import unseen_share
from damagescore.damage.bulge import find_bulges
from damagescore.damage.crack import search_cracks
from damagescore.damage.crumbling import search_crumbling
from damagescore.damage.lines import layer_of
from damagescore.damage.links import Link, bridges_on
from damagescore.damage.record import Finding, FindingKind
from damagescore.damage.unjudged import Unjudged, unjudged_checks
from damagescore.edge import find_edge, on_scale, with_region
from damagescore.edge.record import Edge
from damagescore.errors import DamageScoreError, EdgeError, PhotoError, ScaleError, UsageError
from damagescore.measurement import Measurement, MeasureOptions, View
from damagescore.photo import read_photo
from damagescore.photo.outline import fill_outline
from damagescore.photo.record import Photo
from damagescore.quality import Check, Quality, check_quality
from damagescore.quantity import NotMeasured, Quantity
from damagescore.scale import find_scale, with_centre, with_cylinder
from damagescore.scale.record import Scale
from damagescore.totals import FACE_TOTALS, TOTAL_UNITS, totals_of

__all__ = [
    "MeasureOptions",
    "Measurement",
    "area_mask",
    "edge_if_found",
    "layer_at",
    "measure_file",
    "measure_finding",
    "measure_photo",
    "remeasure",
    "unreadable",
    "with_findings",
]

Points = NDArray[np.float64]


def measure_photo(
    photo: Photo,
    options: MeasureOptions,
    *,
    before: Measurement | None = None,
    tell: Callable[[str], None] = lambda _step: None,
) -> Measurement:
    """Measure one photo; a photo that cannot be judged is refused, with the reason.

    A refused photo has no findings, and every total is `NotMeasured`.

    Parameters
    ----------
    photo : Photo
    options : MeasureOptions
    before : Measurement, optional
        An earlier measurement of this photo. Where an inspector put its layers right, they
        are taken over instead of being looked for.
    tell : callable
        Takes a few words as each step begins.

    Returns
    -------
    Measurement
    """
    tell("Looking for the scale")
    scale, scale_fault = _attempt(
        lambda: find_scale(photo, options.scale, view=options.view), ScaleError
    )
    edge, edge_fault = None, None
    if scale is not None:
        found = scale
        tell("Looking for the layers")
        edge, edge_fault = _attempt(
            lambda: _edge(photo, found, options, before=before), EdgeError
        )
    if scale is not None and edge is not None:
        scale = _settled(photo, scale, edge)
    tell("Judging the photo")
    quality = check_quality(
        photo,
        scale=scale,
        edge_polygons_px=None if edge is None else [x.polygon_px for x in edge.rubber],
        smallest_limit_mm=options.smallest_limit_mm,
        view=options.view,
        layers_doubt="" if edge is None else edge.doubt,
    )
    quality = _with_faults(quality, scale_fault=scale_fault, edge_fault=edge_fault)
    findings: tuple[Finding, ...] = ()
    unjudged: tuple[Unjudged, ...] = ()
    links: tuple[Link, ...] = ()
    if quality.usable and scale is not None and edge is not None:
        settled, layers = scale, edge
        tell("Looking for damage")
        found, fault = _attempt(
            lambda: _find(photo, layers, settled, options=options), EdgeError
        )
        findings, unjudged, links = found or ((), (), ())
        quality = _with_faults(quality, scale_fault=None, edge_fault=fault)
        quality = replace(quality, checks=quality.checks + unjudged_checks(unjudged))
    draft = Measurement(
        photo=_photo_facts(photo), view=options.view, scale=scale, quality=quality,
        edge=edge, findings=findings, totals={}, unjudged=unjudged, links=links,
    )  # fmt: skip
    return replace(draft, totals=_totals(draft))


def edge_if_found(photo: Photo, scale: Scale, options: MeasureOptions) -> Edge | None:
    """The layers, or None where the photo shows none (a trace can do without)."""
    try:
        return _edge(photo, scale, options)
    except EdgeError:
        return None


def unreadable(name: str, fault: PhotoError, *, view: View = "face") -> Measurement:
    """The measurement of a file that cannot be read as a photo: refused, with the reason."""
    check = Check(name="photo", outcome="refuse", value=None, unit="", message=str(fault))
    draft = Measurement(
        photo={"path": name, "sha256": None, "width": None, "height": None},
        view=view,
        scale=None,
        quality=Quality(usable=False, checks=(check,)),
        edge=None,
        findings=(),
        totals={},
    )
    return replace(draft, totals=_totals(draft))


def measure_file(path: Path, options: MeasureOptions) -> Measurement:
    """Measure a photo file; one that cannot be read is refused, with the reason."""
    try:
        return measure_photo(read_photo(path), options)
    except PhotoError as fault:
        return unreadable(path.name, fault, view=options.view)


def remeasure(
    photo: Photo,
    measurement: Measurement,
    finding_id: str,
    *,
    lines_px: Iterable[Points] | None = None,
    polygon_px: Points | None = None,
    kind: FindingKind | None = None,
    layer: int | None = None,
    origin: str = "drawn",
) -> Measurement:
    """Measure a corrected or added finding exactly as an automatic one is measured.

    Parameters
    ----------
    photo : Photo
    measurement : Measurement
        Must have a scale and an edge.
    finding_id : str
        An existing finding is replaced; a new id is added.
    lines_px : iterable of ndarray, shape (N, 2), optional
        Centre lines of a crack or a bond gap, photo pixels.
    polygon_px : ndarray, shape (N, 2), optional
        Outline of a crumbled area, photo pixels.
    kind, layer : optional
        Replace what the finding has.
    origin : "traced" or "drawn"

    Raises
    ------
    UsageError
        When the photo was refused, or neither geometry nor finding is known.
    """
    scale, edge = measurement.scale, measurement.edge
    if scale is None or edge is None:
        raise UsageError(
            "The photo was refused, so nothing can be measured on it.",
            remedy="Give it a scale or take it again.",
        )
    old = next((f for f in measurement.findings if f.id == finding_id), None)
    lines = tuple(np.asarray(x, np.float64) for x in lines_px or ()) or (
        old.lines_px if old is not None and polygon_px is None else ()
    )
    polygon = polygon_px if polygon_px is not None else (old.polygon_px if old else None)
    chosen = kind or (old.kind if old else ("crumbling" if polygon is not None else "crack"))
    if not lines and polygon is None:
        raise UsageError(
            f"There is no finding {finding_id!r} and no geometry was given.",
            remedy="Give the points of the new finding.",
        )
    moved = lines_px is not None or polygon_px is not None or old is None
    draft = Finding(
        id=finding_id,
        kind=chosen,
        layer=layer if layer is not None else (None if moved or old is None else old.layer),
        strength=1.0 if moved or old is None else old.strength,
        lines_px=lines,
        polygon_px=polygon,
        quantities=old.quantities if old else {},
        origin=origin if moved or old is None else old.origin,
        bridged_px=old.bridged_px if old else (),
    )
    changed = draft
    if chosen != "bulge" or moved:
        changed = measure_finding(photo, draft, scale, edge=edge, unjudged=measurement.unjudged)
    return with_findings(measurement, _replaced(measurement.findings, changed))


def with_findings(measurement: Measurement, findings: Iterable[Finding]) -> Measurement:
    """The same measurement with other findings and the totals that follow from them."""
    draft = replace(measurement, findings=tuple(findings))
    return replace(draft, totals=_totals(draft))


def _attempt(
    work: Callable[[], Any], kind: type[DamageScoreError]
) -> tuple[Any, DamageScoreError | None]:
    try:
        return work(), None
    except kind as fault:
        return None, fault


def _photo_facts(photo: Photo) -> dict[str, Any]:
    return {
        "path": photo.name,
        "sha256": photo.sha256,
        "width": photo.width,
        "height": photo.height,
    }


def _edge(
    photo: Photo, scale: Scale, options: MeasureOptions, *, before: Measurement | None = None
) -> Edge:
    """Find the layers; a number that the user gave is used where the photo alone errs.

    People count rubber layers, or rubber and shims together: either may be meant, and a
    free search that agrees with one of them settles which.
    """
    wanted = options.n_layers
    region = None if options.region_px is None else np.array(options.region_px)
    keep_out = [np.array(x) for x in options.keep_out_px]
    if before is not None and before.edge is not None and before.edge.by_hand is not None:
        assert before.scale is not None  # layers are measured on a scale
        kept = on_scale(before.edge, scale, before=before.scale)
        return with_region(kept, region_px=region, keep_out_px=keep_out)
    find = partial(
        find_edge, photo, scale, view=options.view, region_px=region, keep_out_px=keep_out
    )
    if wanted is None:
        return find()
    try:
        free = find()
        if wanted in (len(free.rubber), len(free.layers)):
            return replace(free, doubt="") if wanted == len(free.rubber) else free
    except EdgeError:
        pass  # the number may be what the search needs
    return find(n_layers=wanted)


def _settled(photo: Photo, scale: Scale, edge: Edge) -> Scale:
    """State the scale where the edge is judged, and turn a round edge to its layers."""
    scale = with_centre(scale, _centre_of(edge))
    radius_mm = scale.surface.radius_mm
    if radius_mm is None:
        return scale
    return with_cylinder(scale, photo, radius_mm=radius_mm, direction_deg=edge.direction_deg)


def _centre_of(edge: Edge) -> tuple[float, float]:
    points = np.vstack([x.polygon_px for x in edge.layers])
    middle = (points.min(axis=0) + points.max(axis=0)) / 2
    return float(middle[0]), float(middle[1])


def _with_faults(
    quality: Quality,
    *,
    scale_fault: DamageScoreError | None,
    edge_fault: DamageScoreError | None,
) -> Quality:
    """Put the reason why no scale or no edge was found into its check."""
    faults = {"scale": scale_fault, "edge": edge_fault}
    if scale_fault is not None:
        faults.pop("edge")  # without a scale no edge was looked for
    added = tuple(
        Check(name=name, outcome="refuse", value=None, unit="", message=str(fault))
        for name, fault in faults.items()
        if fault is not None
    )
    unknown = {"edge"} if scale_fault is not None else set()
    told = {c.name for c in added} | unknown
    kept = tuple(c for c in quality.checks if c.name not in told)
    return Quality(usable=quality.usable and not added, checks=kept + added)


def _find(
    photo: Photo, edge: Edge, scale: Scale, *, options: MeasureOptions
) -> tuple[tuple[Finding, ...], tuple[Unjudged, ...], tuple[Link, ...]]:
    if options.view == "profile":
        return find_bulges(photo, edge, scale), (), ()
    crumbling, unjudged = search_crumbling(photo, edge, scale, sensitivity=options.sensitivity)
    exclude = area_mask(crumbling, edge.shape)
    cracks, links = search_cracks(
        photo, edge, scale, sensitivity=options.sensitivity, exclude=exclude
    )
    return cracks + crumbling, unjudged, links


def area_mask(findings: Iterable[Finding], shape: tuple[int, int]) -> NDArray[np.bool_] | None:
    """True inside the outlines of findings, shape (H, W); None where none has an outline."""
    outlines = [f.polygon_px for f in findings if f.polygon_px is not None]
    if not outlines:
        return None
    covered = np.zeros(shape, dtype=np.uint8)
    for outline in outlines:
        fill_outline(covered, outline, 1)
    return covered > 0


def measure_finding(
    photo: Photo, draft: Finding, scale: Scale, *, edge: Edge, unjudged: tuple[Unjudged, ...]
) -> Finding:
    """Fill in the quantities of a line or an outline, and its layer where it has none.

    UsageError for a bulge, or where kind and geometry do not fit.
    """
    lines, polygon = draft.lines_px, draft.polygon_px
    if draft.kind == "bulge":
        raise UsageError(
            "A bulge is measured from the profile outline and cannot be drawn.",
            remedy="Measure a profile photo, or enter the height as a hand measurement.",
        )
    if draft.kind == "crumbling":
        if polygon is None:
            raise UsageError(
                "Crumbling is an area, and only a line was given.",
                remedy="Draw the outline of the crumbled area.",
            )
        lines = ()
        faint = unseen_share(draft.quantities) if draft.origin == "auto" else 0.0
        options: dict[str, Any] = {"origin": draft.origin, "unjudged": unjudged}
        quantities = measure_area(polygon, scale, edge=edge, u_unseen=faint, **options)
        points = polygon
    else:
        if not lines:
            raise UsageError(
                "A crack or a bond gap is a line, and only an outline was given.",
                remedy="Trace the line with two or more clicks.",
            )
        polygon = None
        quantities = measure_lines(
            photo, lines, scale, edge=edge, kind=draft.kind, origin=draft.origin,
            bridged_px=draft.bridged_px,
        )  # fmt: skip
        points = np.vstack(lines)
    layer = draft.layer if draft.layer is not None else layer_at(points, edge)
    return replace(
        draft, lines_px=lines, polygon_px=polygon, quantities=quantities, layer=layer,
        bridged_px=bridges_on(lines, draft.bridged_px),
    )  # fmt: skip


def layer_at(points_px: Points, edge: Edge) -> int | None:
    """Index of the rubber layer that holds most of the points; None if none does."""
    return layer_of([points_px], edge)


def _replaced(findings: tuple[Finding, ...], changed: Finding) -> tuple[Finding, ...]:
    if any(f.id == changed.id for f in findings):
        return tuple(changed if f.id == changed.id else f for f in findings)
    return (*findings, changed)


def _totals(draft: Measurement) -> dict[str, Quantity]:
    reason = _why_not_measured(draft)
    if reason or draft.edge is None or draft.scale is None:
        return {name: NotMeasured(reason=reason, unit=u) for name, u in TOTAL_UNITS.items()}
    totals = totals_of(draft.findings, draft.edge, scale=draft.scale, unjudged=draft.unjudged)
    blind: tuple[str, ...] = ("bulge_peak",)
    why = "A face view cannot show how far rubber stands out."
    if draft.view == "profile":
        blind, why = FACE_TOTALS, "A profile view shows the outline only."
    return totals | {name: NotMeasured(reason=why, unit=TOTAL_UNITS[name]) for name in blind}


def _why_not_measured(draft: Measurement) -> str:
    refused = [c.words() for c in draft.quality.checks if c.outcome == "refuse"]
    if draft.quality.usable:
        return ""
    return "The photo was refused: " + (refused[0] if refused else "see its quality checks.")
