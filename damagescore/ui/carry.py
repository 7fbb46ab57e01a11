"""Keep what the inspector decided when a photo is measured anew."""

from collections.abc import Collection, Iterable
from dataclasses import replace
from itertools import count

import cv2
import numpy as np

from damagescore.damage.gaps import pieces_from, suggested_links
from damagescore.damage.record import Finding
from damagescore.edge.record import Edge
from damagescore.errors import UsageError
from damagescore.measure import Measurement, layer_at, measure_finding, with_findings
from damagescore.photo.record import Photo
from damagescore.ui.shapes import Points

SAME_MM = 0.5
"""Lines nearer to each other than this are taken for the same crack."""

SAME_SHARE = 0.5
"""Share of a new proposal that has to lie on a kept finding to be the same one."""


def carried(
    photo: Photo, new: Measurement, old: Measurement, *, ids: Iterable[str]
) -> Measurement:
    """Put reviewed findings of an old measurement into a new one of the same photo.

    Each is measured again on the new scale and layers. A new proposal that lies on one of
    them is left out, since the inspector has decided on it; the others get free ids. Links
    are looked for anew.

    Parameters
    ----------
    photo : Photo
    new, old : Measurement
    ids : iterable of str
        Findings of `old` to keep.

    Raises
    ------
    UsageError
        When the new measurement refuses the photo, so that nothing can be measured on it.
    """
    wanted = set(ids)
    kept = [f for f in old.findings if f.id in wanted]
    if not kept:
        return new
    edge, scale = new.edge, new.scale
    if edge is None or scale is None or not new.quality.usable:
        raise UsageError(
            "Measured anew the photo is refused, and what was reviewed has no scale or layers.",
            remedy="Draw it another way, or give another scale.",
        )
    reach_px = SAME_MM / scale.mm_per_px
    fresh = [f for f in new.findings if not any(_same(f, k, reach_px) for k in kept)]
    again = [
        f
        if f.kind == "bulge"
        else measure_finding(photo, _on_layer(f, edge), scale, edge=edge, unjudged=new.unjudged)
        for f in kept
    ]
    findings = [*again, *_renamed(fresh, {f.id for f in kept})]
    links = suggested_links(photo, edge, scale, pieces_from(findings))
    return replace(with_findings(new, findings), links=links)


def _on_layer(finding: Finding, edge: Edge) -> Finding:
    """The finding on the layer that it lies on now; on its old one where it lies on none."""
    now = layer_at(finding.points_px, edge) if len(finding.points_px) else None
    return finding if now is None else replace(finding, layer=now)


def _same(fresh: Finding, kept: Finding, reach_px: float) -> bool:
    points = fresh.points_px
    if not len(points):
        return fresh.kind == kept.kind and fresh.layer == kept.layer
    near = [_on(p, kept, reach_px) for p in points[:: max(1, len(points) // 60)]]
    return float(np.mean(near)) >= SAME_SHARE


def _on(point: Points, kept: Finding, reach_px: float) -> bool:
    if kept.polygon_px is not None:
        outline = kept.polygon_px.astype(np.float32).reshape(-1, 1, 2)
        return cv2.pointPolygonTest(outline, tuple(map(float, point)), True) > -reach_px
    return any(np.hypot(*(line - point).T).min() < reach_px for line in kept.lines_px)


def free_id(stem: str, taken: Collection[str]) -> str:
    """Give the first of stem1, stem2 and so on that no finding has."""
    return next(name for n in count(1) if (name := f"{stem}{n}") not in taken)


def _renamed(fresh: list[Finding], taken: set[str]) -> list[Finding]:
    named = []
    for finding in fresh:
        stem = f"{finding.kind.replace('_', '-')}-"
        name = free_id(stem, taken) if finding.id in taken else finding.id
        taken.add(name)
        named.append(replace(finding, id=name))
    return named
