"""A corrected layer: every finding, share and total of the photo follows."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from damagescore.damage.areas import visible_area_mm2
from damagescore.damage.bulge import find_bulges
from damagescore.damage.evidence import GAP_ALONG, bond_reach_mm
from damagescore.damage.record import Finding, FindingKind
from damagescore.damage.unjudged import Unjudged, unjudged_checks
from damagescore.edge.along import frame_mm
from damagescore.edge.record import Edge
from damagescore.errors import UsageError
from damagescore.measure import layer_at, measure_finding, with_findings
from damagescore.measurement import Measurement
from damagescore.photo.record import Photo
from damagescore.quality import Check, Quality
from damagescore.quantity import Measured
from damagescore.scale.record import Scale

Points = NDArray[np.float64]

LEAST_UNSEARCHED_PERCENT = 0.5
"""Newly judged rubber below this is the width of a drawn line, which hides no damage."""


def with_layers(photo: Photo, measurement: Measurement, edge: Edge) -> Measurement:
    """Measure what was found on other layers, without searching again.

    Lines and outlines stay where they are, under their ids, so what an inspector has
    decided about them stays too. Each gets the layer it lies on now, and is measured
    against it; a layer that the inspector chose for it stays, under its new number. A
    line that comes to lie along a border becomes a bond gap, and one that no longer does
    a crack, where its kind was what its place said. Bulges hang on the layers, so those of
    a profile view are found anew.

    Rubber that was none when the photo was searched has not been looked at: the quality
    check "layers" says how much that is.

    Parameters
    ----------
    photo : Photo
    measurement : Measurement
        Of this photo; must have a scale and layers.
    edge : Edge
        The corrected layers, for instance from `correct_layer`.

    Raises
    ------
    UsageError
        When the photo was refused, or the layers are those of another photo.
    EdgeError
        When a profile view has no outline against these layers.
    """
    if measurement.edge is None or measurement.scale is None:
        raise UsageError(
            "The photo was refused, so it has no layers to correct.",
            remedy="Give it a scale or take it again.",
        )
    if edge.shape != (photo.height, photo.width):
        raise UsageError(
            f"The layers belong to a photo of {edge.shape[1]} × {edge.shape[0]} px, this one "
            f"has {photo.width} × {photo.height} px.",
            remedy="Correct the layers of this photo.",
        )
    unjudged = _unjudged_on(measurement, edge)
    quality = _with_unsearched(measurement, edge, unjudged)
    moved = replace(measurement, edge=edge, quality=quality, unjudged=unjudged)
    if measurement.view == "profile":
        return with_findings(moved, find_bulges(photo, edge, measurement.scale))
    followed = [_followed(photo, moved, f, before=measurement.edge) for f in moved.findings]
    return with_findings(moved, followed)


def kind_at(finding: Finding, edge: Edge, scale: Scale) -> FindingKind:
    """Kind of a line by its place, as the search has it: along a border it is a bond gap.

    Parameters
    ----------
    finding : Finding
        A crack or a bond gap with a layer; anything else keeps its kind.
    edge : Edge
    scale : Scale
    """
    layer = next((x for x in edge.layers if x.index == finding.layer), None)
    if layer is None or not finding.lines_px or finding.polygon_px is not None:
        return finding.kind
    along, across = frame_mm(np.vstack(finding.lines_px), edge, scale)
    upper, lower = (
        _height_along(c, along, edge, scale) for c in (layer.upper_px, layer.lower_px)
    )
    high_mm = float(np.median(np.abs(upper - lower)))
    reach = bond_reach_mm(1000, 1000 / max(high_mm, 1e-6))
    along_border = max(np.mean(np.abs(across - x) < reach) for x in (upper, lower))
    return "bond_gap" if along_border > GAP_ALONG else "crack"


def _height_along(curve_px: Points, at: Points, edge: Edge, scale: Scale) -> Points:
    along, across = frame_mm(curve_px, edge, scale)
    order = np.argsort(along)
    return np.interp(at, along[order], across[order])


def _followed(photo: Photo, moved: Measurement, finding: Finding, *, before: Edge) -> Finding:
    edge, scale = moved.edge, moved.scale
    assert edge is not None
    assert scale is not None
    now = replace(finding, layer=_layer_now(finding, edge, before))
    if finding.kind == kind_at(finding, before, scale):
        now = replace(now, kind=kind_at(now, edge, scale))
    if now.kind == "bulge":
        return now  # none is seen in a face view; one that a record holds stays as it is
    return measure_finding(photo, now, scale, edge=edge, unjudged=moved.unjudged)


def _layer_now(finding: Finding, edge: Edge, before: Edge) -> int | None:
    """The layer that a finding lies on; one chosen by hand stays under its new number."""
    chosen = next((x for x in before.rubber if x.index == finding.layer), None)
    if chosen is None or finding.layer == layer_at(finding.points_px, before):
        return layer_at(finding.points_px, edge)
    middle = (chosen.upper_px[::4], chosen.lower_px[::4])
    count = min(len(x) for x in middle)
    return layer_at((middle[0][:count] + middle[1][:count]) / 2, edge)


def _unjudged_on(measurement: Measurement, edge: Edge) -> tuple[Unjudged, ...]:
    """The parts that could not be judged, on the layers that they lie on now."""
    scale, before = measurement.scale, measurement.edge
    assert scale is not None
    assert before is not None
    found = []
    for part in measurement.unjudged:
        index = layer_at(part.polygon_px, edge)
        if index is None:
            continue
        old, new = (
            next(visible_area_mm2(x, e, scale=scale) for x in e.rubber if x.index == number)
            for e, number in ((before, part.layer), (edge, index))
        )
        share = part.share_of_layer
        if isinstance(share, Measured) and new > 0:
            share = share.scaled(old / new, unit="%")
        found.append(replace(part, layer=index, share_of_layer=share))
    return tuple(found)


def _with_unsearched(
    measurement: Measurement, edge: Edge, unjudged: tuple[Unjudged, ...]
) -> Quality:
    """The quality with a check of how much rubber was not searched as rubber."""
    quality, before = measurement.quality, measurement.edge
    assert before is not None
    kept = tuple(c for c in quality.checks if c.name not in ("layers", "unjudged"))
    old = [c for c in quality.checks if c.name == "layers" and c.unit == "%"]
    fresh = 100 * float((edge.judged & ~before.judged).sum()) / max(1, edge.judged.sum())
    percent = round(fresh + sum(c.value or 0.0 for c in old), 1)
    searched = measurement.view == "profile" or percent < LEAST_UNSEARCHED_PERCENT
    words = "The layers were put right by hand."
    if not searched:
        words = (
            f"The layers were put right by hand, and {percent:g} % of the rubber was none "
            "when the photo was searched: measure the photo again to search it."
        )
    check = Check(
        name="layers", outcome="pass" if searched else "warn", value=percent, unit="%",
        message=words,
    )  # fmt: skip
    return Quality(usable=quality.usable, checks=(*kept, check, *unjudged_checks(unjudged)))
